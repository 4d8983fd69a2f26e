//! A plan as one page with its pictures: nothing outside the file is needed to read it.

use std::fmt::Write as _;

use evenpass_core::plan::forecast::{
    Certainty, EXPECTED_TO_FAIL, STALL_RISE, StepForecast, ZoneForecast, clock,
};
use evenpass_core::plan::powder::EdgePlaces;
use evenpass_core::plan::{Direction, Plan, Weight};
use evenpass_core::program::{FuseStep, Step};
use evenpass_core::quantity::{Length, Range, Temperature, Time, Volume, fixed};
use evenpass_core::recipe::{End, Substrate};
use evenpass_core::rig::RigKind;

use super::figures::{Figure, Group, groups};
use crate::cli::learned;
use crate::files::Job;
use crate::picture::{self, Pictures};
use crate::shown::escaped;

const STYLE: &str = include_str!("page.css");

/// Writing to a `String` cannot fail.
macro_rules! put {
    ($page:expr, $($words:tt)*) => {{ let _ = writeln!($page, $($words)*); }};
}

/// What a page is made from.
pub(super) struct Sheet<'a> {
    /// The job that was planned: with the changes, where there are any.
    pub(super) job: &'a Job,
    pub(super) plan: &'a Plan,
    pub(super) pictures: &'a Pictures,
    pub(super) date: &'a str,
    /// What was set otherwise than in the recipe's file.
    pub(super) changes: &'a [String],
}

impl Sheet<'_> {
    /// The whole page.
    pub(super) fn page(&self) -> String {
        let mut page = String::with_capacity(128 * 1024);
        let (title, date) = (escaped(&self.job.recipe.title), escaped(self.date));
        put!(page, "<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">");
        put!(page, "<meta name=\"viewport\" content=\"width=device-width\">");
        put!(page, "<meta name=\"color-scheme\" content=\"light dark\">");
        put!(page, "<title>Plan: {title}, {date}</title>");
        put!(page, "<style>\n{}{STYLE}</style>\n</head>\n<body>", picture::STYLE);
        self.head(&mut page, &title, &date);
        let groups = groups(self.job, self.plan);
        self.failing(&mut page);
        if let Some(job) = groups.first() {
            glance(&mut page, job, self.plan);
        }
        self.coat(&mut page, &groups);
        self.powder(&mut page);
        self.heat(&mut page);
        self.fusing(&mut page);
        self.gas(&mut page);
        self.notes(&mut page);
        self.learned(&mut page);
        put!(page, "</body>\n</html>");
        page
    }

    fn head(&self, page: &mut String, title: &str, date: &str) {
        put!(
            page,
            "<header><h1>{title}</h1><p class=\"day\">{date}<span>evenpass {}</span></p></header>",
            env!("CARGO_PKG_VERSION")
        );
        if !self.changes.is_empty() {
            put!(
                page,
                "<section class=\"what-if\"><h2>What if: not the recipe's own plan</h2><ul>"
            );
            for change in self.changes {
                put!(page, "<li><code>{}</code></li>", escaped(change));
            }
            put!(page, "</ul><p>The recipe's file is as it was.</p></section>");
        }
        let recipe = &self.job.recipe;
        let kind = match self.job.rig.kind {
            RigKind::Twin => "twin: no gas, no motion",
            RigKind::Machine => "machine",
        };
        put!(page, "<dl class=\"about\">");
        let mut told = vec![
            ("part", format!("{}, {}", recipe.part.name, substrate(recipe.part.substrate))),
            ("recipe", format!("{}, revision {}", self.job.recipe_source.name, recipe.revision)),
            ("rig", format!("{} ({kind})", self.job.rig.title)),
        ];
        told.extend(
            self.plan.forecast.powder.iter().map(|powder| ("powder", powder.title.clone())),
        );
        let torches = self.plan.program.torches.iter().map(|torch| torch.title.clone());
        let mut torches: Vec<String> = torches.collect();
        torches.dedup();
        told.extend(torches.into_iter().map(|torch| ("torch", torch)));
        told.push(("standoff", recipe.spray.standoff.to_string()));
        told.extend(recipe.note.iter().map(|note| ("note", note.clone())));
        for (what, value) in told {
            put!(page, "<div><dt>{what}</dt><dd>{}</dd></div>", escaped(&value));
        }
        put!(page, "</dl>");
        put!(
            page,
            "<section class=\"caution\"><h2>&#9888; Cautions</h2><ul>\
             <li><b>Software is not the safety circuit.</b> Emergency stop, gas shut-off, flame \
             safeguard, guard and hard limits are wired and work without it.</li>\
             <li>The handbooks of the torch's and the gas equipment's makers and local codes \
             override every figure here.</li>\
             <li>Every figure is a forecast. Until torch, powder and feeder are measured it rests \
             on the catalogue's examples; times of heating and fusing are the least.</li>\
             <li>Acetylene never above 1.03 bar gauge; no oil on oxygen; arrestors fitted; \
             extraction and respirator against metal dust. The part is hot and turns.</li>\
             </ul></section>"
        );
    }

    fn coat(&self, page: &mut String, groups: &[Group]) {
        put!(page, "<section><h2>Coat</h2>");
        put!(page, "<figure>{}<figcaption>", self.pictures.outline);
        put!(
            page,
            "Length and radius have one scale. The coat is drawn <b>×{}</b>, radially.\
             </figcaption></figure>",
            self.pictures.exaggeration
        );
        put!(page, "<figure>{}</figure>", self.pictures.thickness);
        // The job's own figures come first, then one group for each zone.
        let zones: Vec<&Group> =
            groups.iter().skip(1).take(self.plan.forecast.zones.len()).collect();
        let mut heads = vec![""];
        heads.extend(zones.iter().map(|zone| zone.title.as_str()));
        let names = zones.first().map_or(&[] as &[_], |zone| zone.figures.as_slice());
        let rows = names.iter().enumerate().map(|(place, figure)| {
            let mut row = vec![named(figure.what, figure.unit)];
            row.extend(
                zones
                    .iter()
                    .map(|zone| zone.figures.get(place).map_or_else(String::new, Figure::told)),
            );
            row
        });
        put!(page, "<div class=\"narrow\">");
        table(page, &heads, rows);
        put!(page, "</div>");
        self.sizes(page);
        put!(
            page,
            "<p class=\"small\">± is one standard deviation. Thicknesses are radial. Unevenness is the farthest from the \
             wanted thickness inside the zone, by the model.</p></section>"
        );
    }

    /// Diameters where each zone is thinnest and thickest.
    fn sizes(&self, page: &mut String) {
        let heads = ["diameters, mm", "bare", "sprayed", "sprayed, hot", "fused", "machined"];
        let zones = self.plan.forecast.zones.iter();
        let rows = zones.flat_map(|zone| zone.sizes.iter().map(|size| (&zone.zone, size)));
        let rows = rows.map(|(zone, size)| {
            vec![
                format!("{zone}, at {}", fixed(size.at.mm(), 2)),
                fixed(size.bare.mm(), 3),
                fixed(size.sprayed.mm(), 3),
                fixed(size.sprayed_hot.mm(), 3),
                size.fused.map_or_else(|| "-".to_owned(), |fused| fixed(fused.mm(), 3)),
                fixed(size.machined.mm(), 3),
            ]
        });
        table(page, &heads, rows);
    }

    fn powder(&self, page: &mut String) {
        put!(page, "<section><h2>Feed and powder</h2>");
        put!(page, "<figure>{}</figure>", self.pictures.feed);
        let heads =
            ["zone, pass", "toward", "coil on at", "arrives at", "coil off at", "ceases at"];
        let rows = self.plan.forecast.zones.iter().flat_map(commands);
        table(page, &heads, rows);
        put!(
            page,
            "<p class=\"small\">Places in mm from the chuck face; those of the coil by the \
             drive, lost motion taken up. Passes of which one repeats the last but one are told \
             once.</p></section>"
        );
    }

    fn heat(&self, page: &mut String) {
        put!(page, "<section><h2>Heat and time</h2>");
        put!(page, "<figure>{}</figure>", self.pictures.temperature);
        let heads = ["step", "takes", "done at", "part then", "window"];
        let steps = self.plan.forecast.steps.iter().zip(&self.plan.program.steps);
        let rows = steps.enumerate().map(|(index, (forecast, step))| {
            vec![
                format!("{}  {}", index + 1, forecast.what),
                takes(forecast),
                clock(forecast.done_at),
                celsius(forecast.leaves_at),
                window(step),
            ]
        });
        table(page, &heads, rows);
        put!(
            page,
            "<p class=\"small\">The part then: what its sensor is expected to see at the end of the \
             step, always an estimate; after fusing the hottest place.</p>"
        );
        for stall in &self.plan.forecast.stalls {
            put!(
                page,
                "<p class=\"small\">If the carriage stalls, the surface at D {:.2} under the {} is \
                 {} hotter after {:.2}; the interlock shuts it after {:.2}, {:.0} hotter by \
                 then.</p>",
                stall.diameter,
                stall.flame.words(),
                STALL_RISE,
                stall.too_hot,
                stall.shut_after,
                stall.rise
            );
        }
        put!(page, "</section>");
    }

    fn fusing(&self, page: &mut String) {
        let fused: Vec<(&FuseStep, &StepForecast)> = self
            .plan
            .program
            .steps
            .iter()
            .zip(&self.plan.forecast.steps)
            .filter_map(|(step, forecast)| match step {
                Step::Fuse(fuse) => Some((fuse, forecast)),
                _ => None,
            })
            .collect();
        if fused.is_empty() {
            return;
        }
        put!(page, "<section><h2>Fusing</h2>");
        let heads = ["zone", "from", "bands", "oscillation", "feed", "window", "ceiling", "takes"];
        let rows = fused.into_iter().map(|(step, forecast)| {
            vec![
                step.zone.clone(),
                match step.starts {
                    End::ChuckSide => "chuck side".to_owned(),
                    End::TailSide => "tail side".to_owned(),
                },
                step.bands.len().to_string(),
                step.oscillation.to_string(),
                step.feed.to_string(),
                span(step.window.low, step.window.high),
                celsius(step.ceiling),
                takes(forecast),
            ]
        });
        table(page, &heads, rows);
        let heads = [
            "coat, mm",
            "flame turns at, mm",
            "wet after, at least",
            "through",
            "reads up to",
            "ceiling after",
        ];
        let mm = |range: Range<Length>| {
            format!("{} to {}", fixed(range.low.mm(), 1), fixed(range.high.mm(), 1))
        };
        let zones = self.plan.forecast.fusing.iter();
        let bands = zones.flat_map(|zone| zone.bands.iter().map(|band| (&zone.zone, band)));
        let told = |time: Option<Time>| time.map_or_else(|| "-".to_owned(), clock);
        let rows = bands.map(|(zone, band)| {
            vec![
                format!("{zone}, {}", mm(band.band.coat)),
                mm(band.band.travel),
                told(band.at_least),
                told(band.through),
                celsius(band.reads),
                told(band.to_ceiling),
            ]
        });
        table(page, &heads, rows);
        put!(
            page,
            "<p class=\"small\">A person calls each band wet: the program shows a temperature and \
             does not see the coat.</p></section>"
        );
    }

    fn gas(&self, page: &mut String) {
        put!(page, "<section><h2>Powder and gas</h2>");
        let powders = self.plan.forecast.powder.iter().map(|used| {
            vec![used.title.clone(), format!("{:.1} g", used.fed.g()), clock(used.arriving)]
        });
        table(page, &["powder", "fed", "arriving"], powders);
        let torches = self.plan.forecast.gas.iter().map(|used| {
            vec![
                used.torch.clone(),
                clock(used.burning),
                format!("{:.0} L {}", used.fuel.l(), used.fuel_gas),
                format!("{:.0} L", used.oxygen.l()),
                used.cylinders.as_ref().map_or_else(String::new, |need| {
                    let contents = |volume: Volume| format!("{:.1} m³", volume.l() / 1000.0);
                    format!(
                        "{}; {} at 1/10 an hour, {} without a pause",
                        contents(need.by_catalogue),
                        contents(need.intermittent),
                        contents(need.continuous)
                    )
                }),
            ]
        });
        let heads = ["torch", "alight", "fuel gas", "oxygen", "on the manifold"];
        table(page, &heads, torches);
        put!(page, "</section>");
    }

    /// What keeps the job from ending well comes first.
    fn failing(&self, page: &mut String) {
        let mut failing =
            self.plan.notes.iter().filter(|note| note.weight == Weight::Fails).peekable();
        if failing.peek().is_none() {
            return;
        }
        put!(page, "<section class=\"failing\"><h2>⚠ {EXPECTED_TO_FAIL}</h2><ul>");
        for note in failing {
            put!(page, "<li>{}</li>", shown(&note.to_string()));
        }
        put!(page, "</ul></section>");
    }

    fn notes(&self, page: &mut String) {
        let mut told = self.plan.notes.iter().filter(|note| note.weight == Weight::Told).peekable();
        if told.peek().is_none() {
            return;
        }
        put!(page, "<section><h2>Notes</h2><ul>");
        for note in told {
            put!(page, "<li>{}</li>", shown(&note.to_string()));
        }
        put!(page, "</ul></section>");
    }

    fn learned(&self, page: &mut String) {
        let known = learned::how_well(self.job, self.plan);
        if !known.is_empty() {
            put!(page, "<section><h2>{}</h2>", learned::HOW_WELL);
            let rows = known.into_iter().map(|(of, band)| vec![of, band]);
            table(page, &["coat", "how far off it may be"], rows);
            put!(page, "</section>");
        }
        let lines = learned::lines(self.job);
        if lines.is_empty() {
            return;
        }
        put!(page, "<section><h2>{}</h2><ul>", learned::LEARNED);
        for line in lines.lines() {
            put!(page, "<li>{}</li>", shown(line));
        }
        put!(page, "</ul></section>");
    }
}

/// The job's figures in one row.
fn glance(page: &mut String, job: &Group, plan: &Plan) {
    put!(page, "<dl class=\"glance\">");
    let passes: u32 = plan.forecast.zones.iter().map(|zone| zone.passes.planned).sum();
    put!(page, "<div><dt>passes</dt><dd>{passes}</dd></div>");
    for figure in &job.figures {
        let value = match figure.unit {
            "s" if figure.places == 0 => clock(Time::from_s(figure.value)),
            unit => format!("{} {unit}", figure.told()),
        };
        put!(page, "<div><dt>{}</dt><dd>{}</dd></div>", figure.what, shown(&value));
    }
    put!(page, "</dl>");
}

/// A table; the first cell of a row is its head.
fn table(page: &mut String, heads: &[&str], rows: impl Iterator<Item = Vec<String>>) {
    put!(page, "<table>\n<thead><tr>");
    for head in heads {
        put!(page, "<th scope=\"col\">{}</th>", escaped(head));
    }
    put!(page, "</tr></thead>\n<tbody>");
    for row in rows {
        let mut cells = row.iter();
        let head = cells.next().map_or("", String::as_str);
        put!(page, "<tr><th scope=\"row\">{}</th>", shown(head));
        for cell in cells {
            put!(page, "<td>{}</td>", shown(cell));
        }
        put!(page, "</tr>");
    }
    put!(page, "</tbody>\n</table>");
}

/// Text as it may stand in the page, with the degree's own sign.
fn shown(text: &str) -> String {
    escaped(text).replace("degC", "°C")
}

fn named(what: &str, unit: &str) -> String {
    if unit.is_empty() { what.to_owned() } else { format!("{what}, {unit}") }
}

/// Rows of the commands of a zone, each pattern once.
fn commands(zone: &ZoneForecast) -> Vec<Vec<String>> {
    let place = |edge: Option<EdgePlaces>, of: fn(EdgePlaces) -> f64| {
        edge.map_or_else(|| "stays on".to_owned(), |edge| fixed(of(edge), 3))
    };
    let all = &zone.commands;
    let new = all.iter().enumerate().filter(|(index, pass)| {
        !index.checked_sub(2).and_then(|before| all.get(before)).is_some_and(|before| {
            (before.on, before.off, before.direction) == (pass.on, pass.off, pass.direction)
        })
    });
    new.map(|(_, pass)| {
        vec![
            format!("{}, pass {}", zone.zone, pass.pass),
            match pass.direction {
                Direction::TowardTail => "tail".to_owned(),
                Direction::TowardChuck => "chuck".to_owned(),
            },
            place(pass.on, |edge| edge.drive.mm()),
            place(pass.on, |edge| edge.arrives.mm()),
            place(pass.off, |edge| edge.drive.mm()),
            place(pass.off, |edge| edge.arrives.mm()),
        ]
    })
    .collect()
}

fn takes(step: &StepForecast) -> String {
    let time = clock(step.takes);
    match step.certainty {
        Certainty::Planned => format!("{time}, as planned"),
        Certainty::Estimated => format!("{time}, estimated"),
        Certainty::AtLeast => format!("{time} or more"),
        Certainty::ByPerson => "by hand".to_owned(),
    }
}

fn window(step: &Step) -> String {
    match step {
        Step::Preheat(step) => span(step.window.low, step.window.high),
        Step::Spray(step) => span(step.window.low, step.window.high),
        Step::Fuse(step) => span(step.window.low, step.window.high),
        Step::Cool(step) => format!("turns until {}", celsius(step.turn_until)),
        Step::ChangeTorch(_) => String::new(),
    }
}

fn span(low: Temperature, high: Temperature) -> String {
    format!("{:.0} to {:.0} °C", low.celsius(), high.celsius())
}

fn celsius(temperature: Temperature) -> String {
    format!("{:.0} °C", temperature.celsius())
}

const fn substrate(substrate: Substrate) -> &'static str {
    match substrate {
        Substrate::PlainSteel => "plain steel",
        Substrate::AirHardeningSteel => "steel that hardens in air",
        Substrate::StainlessSteel => "stainless steel",
        Substrate::CastIron => "cast iron",
    }
}
