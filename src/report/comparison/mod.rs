//! Two runs held against each other: what their files, plans, passes and measured parts have
//! otherwise.

mod page;

use std::collections::BTreeMap;

use evenpass_core::document::{Difference, differences};
use evenpass_core::learn::{Finish, Measured};
use evenpass_core::plan::forecast::clock;
use evenpass_core::quantity::{Length, Quantity, Speed, SpindleSpeed, Time};
use serde::Serialize;

pub use self::page::page;
use super::reader::{NOTHING, figure};
use super::{Report, coat};
use crate::people::{Scale, Units};
use crate::record::figures::{PassFigures, Spread};
use crate::record::{Pruned, RunId, Source};

/// Two places closer than this are the same place of a part.
const SAME_PLACE: Length = Length::from_mm(0.5);

/// One figure of two runs, each as it is shown with its unit.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Contrast {
    /// What it is of.
    pub what: String,
    /// In the first run.
    pub one: String,
    /// In the second run.
    pub other: String,
    /// Whether both are shown alike.
    pub alike: bool,
}

/// Figures that belong together.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Group {
    /// What they are of.
    pub title: String,
    /// The figures.
    pub figures: Vec<Contrast>,
}

impl Group {
    /// Those that are not alike.
    pub fn otherwise(&self) -> impl Iterator<Item = &Contrast> {
        self.figures.iter().filter(|figure| !figure.alike)
    }
}

/// What two runs have otherwise.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Comparison {
    /// The two runs.
    pub runs: [RunId; 2],
    /// Fields of the recipe that differ; `None` where a text cannot be read any more.
    pub recipe: Option<Vec<Difference>>,
    /// Fields of the rig that differ.
    pub rig: Option<Vec<Difference>>,
    /// Where the entries of each went to, if they did: what was done in the passes of the two is not
    /// compared then.
    pub pruned: [Option<Pruned>; 2],
    /// All figures that were compared.
    pub groups: Vec<Group>,
}

/// Both sides of a row.
struct Sides<'a> {
    units: Units,
    reports: [&'a Report; 2],
}

impl Comparison {
    /// Compares two runs, in a reader's units.
    #[must_use]
    pub fn of(one: &Report, other: &Report, units: Units) -> Self {
        let sides = Sides { units, reports: [one, other] };
        let mut groups = vec![sides.whole(), sides.plan()];
        let pruned = [one, other].map(|report| report.record.pruned.clone());
        if pruned.iter().all(Option::is_none) {
            groups.extend(sides.passes());
        }
        groups.push(sides.measured());
        groups.retain(|group| !group.figures.is_empty());
        let fields = |of: fn(&Report) -> &Source| differences(&of(one).text, &of(other).text).ok();
        Self {
            runs: [one.record.summary.id.clone(), other.record.summary.id.clone()],
            recipe: fields(|report| &report.record.recipe),
            rig: fields(|report| &report.record.rig),
            pruned,
            groups,
        }
    }

    /// What could not be compared, and where it is, in words.
    #[must_use]
    pub fn elsewhere(&self) -> Vec<String> {
        let both = self.runs.iter().zip(&self.pruned);
        both.filter_map(|(run, pruned)| {
            let file = &pruned.as_ref()?.file;
            Some(format!(
                "What was done in the passes is not compared: the entries of run {run} were put into \
                 {file}."
            ))
        })
        .collect()
    }
}

fn contrast(what: impl Into<String>, [one, other]: [String; 2]) -> Contrast {
    let alike = one == other;
    Contrast { what: what.into(), one, other, alike }
}

fn or_nothing(words: Option<String>) -> String {
    words.unwrap_or_else(|| NOTHING.to_owned())
}

impl Sides<'_> {
    /// The same question to both.
    fn row(&self, what: &str, of: impl Fn(&Report) -> Option<String>) -> Contrast {
        contrast(what, self.reports.map(|report| or_nothing(of(report))))
    }

    fn whole(&self) -> Group {
        let total = |name: &'static str| {
            move |report: &Report| Some(report.record.totals.get(name)?.as_str()?.to_owned())
        };
        Group {
            title: "The runs".to_owned(),
            figures: vec![
                self.row("outcome", |report| Some(report.record.summary.outcome.word().to_owned())),
                self.row("first cause", |report| report.record.summary.first_cause.clone()),
                self.row("where", |report| Some(report.record.summary.kind.word().to_owned())),
                self.row("software", |report| Some(report.record.software.clone())),
                self.row("took", |report| Some(clock(report.record.summary.lasted))),
                self.row("passes done", |report| {
                    Some(report.record.summary.passes_done.to_string())
                }),
                self.row("powder", total("powder")),
                self.row("deviations", |report| Some(report.record.deviations.len().to_string())),
            ],
        }
    }

    fn plan(&self) -> Group {
        let mut figures = vec![self.row("whole job", |report| report.planned.total.map(clock))];
        for zone in self.zones() {
            let of = |what: &str, told: &dyn Fn(&crate::record::planned::PlannedZone) -> Option<String>| {
                let row = |report: &Report| told(report.planned.zone(&zone)?);
                self.row(&format!("{zone}: {what}"), row)
            };
            let thin = self.units.of_thicknesses();
            figures.push(of("passes", &|zone| Some(zone.step.passes.len().to_string())));
            figures.push(of("spindle", &|zone| Some(format!("{:.1}", zone.step.spindle))));
            figures.push(of("powder rate", &|zone| Some(self.units.powder(zone.step.powder_rate))));
            figures.push(of("powder", &|zone| Some(format!("{:.1}", zone.step.powder))));
            figures.push(of("feed of pass 1", &|zone| {
                Some(self.units.feed(zone.pass(1)?.mean_feed(zone.step.edges)?))
            }));
            figures
                .push(of("coat as sprayed", &|zone| Some(thin.shown(zone.coat.as_ref()?.sprayed))));
        }
        Group { title: "The plans".to_owned(), figures }
    }

    /// The zones of both, by name.
    fn zones(&self) -> Vec<String> {
        let mut names: Vec<String> = Vec::new();
        for zone in self.reports.iter().flat_map(|report| &report.planned.zones) {
            if !names.contains(&zone.step.zone) {
                names.push(zone.step.zone.clone());
            }
        }
        names
    }

    /// A group for each zone: its coat, then pass by pass, by their order in the zone.
    fn passes(&self) -> Vec<Group> {
        let groups = self.zones().into_iter().map(|name| {
            let title = format!("Passes over {name}");
            let holds = |report: &Report| report.planned.zone(&name).is_some();
            // A zone that only one of them has is one difference.
            if !self.reports.iter().all(|report| holds(report)) {
                let has = self.row("zone", |report| {
                    Some(if holds(report) { "sprayed" } else { "not in its plan" }.to_owned())
                });
                return Group { title, figures: vec![has] };
            }
            let thin = self.units.of_thicknesses();
            let mut figures = vec![self.row("coat as estimated, mean", |report| {
                let zone = report.planned.zone(&name)?;
                Some(thin.shown(coat::mean(&report.coat(&zone.step.zone))?))
            })];
            let of_zone = self.reports.map(|report| {
                let passes = report.passes.iter();
                passes.filter(|pass| pass.row.zone.as_ref() == Some(&name)).collect::<Vec<_>>()
            });
            let of_zone = of_zone.map(counted);
            let mut goes: Vec<(u32, u32)> =
                of_zone.iter().flat_map(|passes| passes.keys().copied()).collect();
            goes.sort_unstable();
            goes.dedup();
            for go in goes {
                figures.extend(self.pass(go, of_zone.each_ref().map(|all| all.get(&go).copied())));
            }
            Group { title, figures }
        });
        groups.collect()
    }

    fn pass(&self, (number, time): (u32, u32), both: [Option<&PassFigures>; 2]) -> Vec<Contrast> {
        let which = match time {
            1 => format!("pass {number}"),
            again => format!("pass {number}, run {again} times"),
        };
        let row = |what: &str, of: &dyn Fn(&PassFigures) -> Option<String>| {
            contrast(format!("{which}: {what}"), both.map(|pass| or_nothing(pass.and_then(of))))
        };
        let degrees = self.units.of_temperatures();
        let bar = self.units.of_pressures();
        let rpm = Scale { symbol: "rpm", places: 1 };
        vec![
            row("took", &|pass| {
                Some(clock(Time::from_duration(pass.row.ended?.since(pass.row.began))))
            }),
            row("spindle, mean", &|pass| mean::<SpindleSpeed>(rpm, pass.spindle)),
            row("feed, mean", &|pass| mean::<Speed>(self.units.of_feeds(), pass.feed)),
            row("part, hottest", &|pass| Some(degrees.shown(pass.row.part?.high))),
            row("part, coldest", &|pass| Some(degrees.shown(pass.row.part?.low))),
            row("fuel, mean", &|pass| mean(bar, pass.fuel)),
            row("oxygen, mean", &|pass| mean(bar, pass.oxygen)),
            row("carrier, mean", &|pass| mean(bar, pass.carrier)),
            row("powder", &|pass| Some(format!("{:.1}", pass.powder?))),
        ]
    }

    /// Cold diameters at the same places and of the same finish, by what was measured last of it
    /// and counts.
    fn measured(&self) -> Group {
        let finishes = [(Finish::AsSprayed, "as sprayed"), (Finish::Fused, "fused")];
        let figures = finishes.into_iter().flat_map(|(finish, word)| self.diameters(finish, word));
        Group { title: "Measured".to_owned(), figures: figures.collect() }
    }

    fn diameters(&self, finish: Finish, word: &str) -> Vec<Contrast> {
        let readings = self.reports.map(|report| {
            let counts = report.measured.iter().filter(|kept| kept.withdrawn.is_none());
            let last = counts.rev().find_map(|kept| match &kept.measurement.measured {
                Measured::Part(part) if part.finish == finish => Some(part),
                _ => None,
            });
            let all = last.map(|part| (part, part.diameters.as_slice()));
            all.map_or_else(Vec::new, |(part, all)| {
                all.iter().map(|reading| (reading.at, report.cold(part, reading))).collect()
            })
        });
        let mut places: Vec<Length> = Vec::new();
        for (at, _) in readings.iter().flatten() {
            if !places.iter().any(|known| (*known - *at).abs() <= SAME_PLACE) {
                places.push(*at);
            }
        }
        let thin = self.units.of_thicknesses();
        let figures = places.into_iter().map(|place| {
            let found = readings.each_ref().map(|all| {
                let near = all.iter().find(|(at, _)| (*at - place).abs() <= SAME_PLACE);
                figure(thin, near.and_then(|(_, cold)| *cold))
            });
            let place = self.units.length(place);
            contrast(format!("cold diameter {word} at Z {place}, {}", thin.symbol), found)
        });
        figures.collect()
    }
}

/// Passes by their number and which time it is that they were run.
fn counted(passes: Vec<&PassFigures>) -> BTreeMap<(u32, u32), &PassFigures> {
    let mut times = BTreeMap::<u32, u32>::new();
    let mut one = |pass: &'_ PassFigures| {
        let time = times.entry(pass.row.pass).or_default();
        *time += 1;
        (pass.row.pass, *time)
    };
    passes.into_iter().map(|pass| (one(pass), pass)).collect()
}

fn mean<Q: Quantity>(scale: Scale, spread: Option<Spread<Q>>) -> Option<String> {
    spread.map(|spread| scale.shown(spread.mean))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::fixture::{basis, measured, record};

    fn told(found: &Comparison) -> Vec<(String, String, String)> {
        let otherwise = found.groups.iter().flat_map(Group::otherwise);
        otherwise.map(|row| (row.what.clone(), row.one.clone(), row.other.clone())).collect()
    }

    #[test]
    fn a_run_differs_from_itself_in_nothing() {
        let report = Report::of_record(record());
        let found = Comparison::of(&report, &report, Units::default());
        assert_eq!((told(&found), found.recipe, found.rig), (vec![], Some(vec![]), Some(vec![])));
        assert!(found.groups.iter().map(|group| group.figures.len()).sum::<usize>() > 20);
    }

    #[test]
    fn what_differs_is_told_by_field_figure_and_pass_with_both_values() {
        let mut hotter = record();
        hotter.recipe.text = hotter.recipe.text.replace("revision = 3", "revision = 4");
        for entry in &mut hotter.entries {
            let in_second = entry.at.as_seconds() > 30.0 && entry.at.as_seconds() < 43.0;
            if in_second && entry.data.get("spindle").is_some() {
                entry.data["spindle"] = "120 rpm".into();
            }
        }
        let (one, other) = (Report::of_record(record()), Report::of_record(hotter));
        let found = Comparison::of(&one, &other, Units::default());
        let [field] = found.recipe.as_deref().expect("read") else { panic!("{:?}", found.recipe) };
        assert_eq!(
            (&*field.path, field.old.as_deref(), field.new.as_deref()),
            ("revision", Some("3"), Some("4"))
        );
        let row =
            ("pass 2: spindle, mean".to_owned(), "127.2 rpm".to_owned(), "120.5 rpm".to_owned());
        let told = told(&found);
        let [(what, first, _)] = told.as_slice() else { panic!("{told:?}") };
        assert_eq!((what, first), (&row.0, &row.1));
    }

    #[test]
    fn a_pass_that_only_one_run_has_is_told() {
        let mut short = record();
        short.passes.pop();
        let (one, other) = (Report::of_record(record()), Report::of_record(short));
        let told = told(&Comparison::of(&one, &other, Units::default()));
        assert!(
            told.iter().any(|(what, _, other)| what == "pass 2: took" && other == NOTHING),
            "{told:?}"
        );
    }
    #[test]
    fn a_pass_is_held_against_the_pass_of_its_number_though_one_was_run_twice() {
        let mut twice = record();
        let again = twice.passes.first().expect("a pass").clone();
        twice.passes.insert(1, again);
        let (one, other) = (Report::of_record(twice), Report::of_record(record()));
        let told = told(&Comparison::of(&one, &other, Units::default()));
        let of_passes: Vec<_> = told.iter().filter(|row| row.0.starts_with("pass ")).collect();
        assert!(!of_passes.is_empty(), "{told:?}");
        for (what, _, other) in of_passes {
            assert!(what.starts_with("pass 1, run 2 times: ") && other == NOTHING, "{what}");
        }
    }

    /// 51.552 mm at 250 degC are 51.397 mm cold: the trade's reference part.
    #[test]
    fn diameters_are_compared_cold_and_only_with_those_of_the_same_finish() {
        let of = |finish: &str, found: &str, temperature| {
            let mut report = Report::of_record(record());
            report.basis = Some(basis());
            report.measured = vec![measured(finish, found, temperature)];
            report
        };
        let hot = of("as_sprayed", "51.552 mm", Some("250 degC"));
        let cold = of("as_sprayed", "51.397 mm", None);
        let fused = of("fused", "51.397 mm", None);
        let of_diameters = |one: &Report, other: &Report| {
            let told = told(&Comparison::of(one, other, Units::default()));
            told.into_iter().filter(|row| row.0.contains("diameter")).collect::<Vec<_>>()
        };
        assert_eq!(of_diameters(&hot, &cold), []);
        let told = of_diameters(&hot, &fused);
        let [(sprayed, _, nothing), (fused, none, _)] = told.as_slice() else { panic!("{told:?}") };
        assert!(sprayed.contains("as sprayed") && nothing == NOTHING, "{told:?}");
        assert!(fused.contains("fused") && none == NOTHING, "{told:?}");
    }
}
