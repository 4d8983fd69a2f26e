//! Readings held against the limits of a recipe.

use serde::{Deserialize, Serialize};

use super::conversion::{Converted, convert};
use crate::quantity::{Hardness, Length, Range};
use crate::recipe::{DyeCheck, Inspection};

/// What is limited.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Limit {
    /// Hardness of the coat.
    Hardness,
    /// Radial thickness of the coat on the finished part.
    Thickness,
    /// Total run-out.
    RunOut,
    /// Cracks and pores that a dye shows.
    DyeCheck,
}

impl Limit {
    /// All of them.
    pub const ALL: [Self; 4] = [Self::Hardness, Self::Thickness, Self::RunOut, Self::DyeCheck];

    /// What it is called.
    #[must_use]
    pub const fn title(self) -> &'static str {
        match self {
            Self::Hardness => "hardness",
            Self::Thickness => "thickness",
            Self::RunOut => "run-out",
            Self::DyeCheck => "dye check",
        }
    }
}

/// What a dye check showed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum DyeResult {
    /// Nothing.
    Nothing,
    /// Something: cracks, pores in a row, an edge that lifts.
    Indications,
}

/// What was found of a finished part.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Found {
    /// Hardness, reading by reading.
    pub hardness: Vec<Hardness>,
    /// Radial thickness, place by place.
    pub thickness: Vec<Length>,
    /// Run-out, reading by reading.
    pub run_out: Vec<Length>,
    /// The last dye check.
    pub dye: Option<DyeResult>,
}

/// How a limit is kept.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Standing {
    /// Every reading is inside.
    Inside,
    /// A reading is outside.
    Outside,
    /// Nothing was measured.
    NotMeasured,
    /// A reading cannot be brought to the scale of the limit.
    NotComparable,
}

/// One limit and what was found.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Judged {
    /// What is limited.
    pub limit: Limit,
    /// The limits, in words.
    pub limits: String,
    /// The reading that is nearest to a limit, or farthest outside; in words.
    pub found: Option<String>,
    /// How.
    pub standing: Standing,
    /// How far that reading is inside, or outside, in words.
    pub margin: Option<String>,
    /// The reading on the scale of the limit, where it was read on another: approximate.
    pub converted: Option<Converted>,
    /// Decimals with which that stands as it does.
    #[serde(skip)]
    converted_places: usize,
}

impl Judged {
    /// How the limit is kept, in words.
    #[must_use]
    pub fn told(&self) -> String {
        let words = match (self.standing, &self.margin) {
            (Standing::NotMeasured, _) => "not measured",
            (Standing::NotComparable, _) => "no table brings it to the scale of the limits",
            (_, Some(margin)) => margin,
            (Standing::Inside, None) => "inside",
            (Standing::Outside, None) => "outside",
        };
        match &self.converted {
            Some(about) => format!("{words}; {about:.*}", self.converted_places),
            None => words.to_owned(),
        }
    }
}

/// Every limit of a recipe, with what was found.
#[must_use]
pub fn judge(limits: &Inspection, found: &Found) -> Vec<Judged> {
    let hardness = limits.hardness.map(|range| hardness(range, &found.hardness));
    let thickness =
        limits.thickness.map(|range| lengths(Limit::Thickness, range, &found.thickness));
    let run_out = limits.run_out.map(|most| {
        let judged =
            lengths(Limit::RunOut, Range { low: Length::ZERO, high: most }, &found.run_out);
        Judged { limits: format!("at most {most}"), ..judged }
    });
    let dye = (limits.dye_check == DyeCheck::Needed).then(|| dye(found.dye));
    [hardness, thickness, run_out, dye].into_iter().flatten().collect()
}

/// How far inside a range a figure is, below zero outside; a low end of zero is no limit.
fn inside(value: f64, low: f64, high: f64) -> f64 {
    if low > 0.0 { (value - low).min(high - value) } else { high - value }
}

fn standing(margin: f64) -> Standing {
    // Rounding of a sum is no violation.
    if margin >= -1e-9 { Standing::Inside } else { Standing::Outside }
}

/// With how many decimals a figure stands as it does: what is outside is not shown inside.
fn places_of(value: f64, least: usize, margin: impl Fn(f64) -> f64) -> usize {
    /// No gauge shows more.
    const MOST: usize = 7;
    let stands = |places: &usize| {
        let as_shown = crate::quantity::fixed(value, *places).parse().unwrap_or(value);
        standing(margin(as_shown)) == standing(margin(value))
    };
    (least..MOST).find(stands).unwrap_or(MOST)
}

fn shown(value: f64, least: usize, margin: impl Fn(f64) -> f64) -> String {
    crate::quantity::fixed(value, places_of(value, least, margin))
}

/// A margin with so many decimals that it is not shown as none where there is one.
fn shown_margin(margin: f64, least: usize) -> String {
    shown(margin.abs(), least, |size| if size > 1e-9 { -size } else { size })
}

/// A figure with decimals, without the noughts at its end.
fn short(figure: &str) -> &str {
    figure.trim_end_matches('0').trim_end_matches('.')
}

fn side(margin: f64) -> &'static str {
    if standing(margin) == Standing::Inside { "inside" } else { "outside" }
}

fn lengths(limit: Limit, range: Range<Length>, read: &[Length]) -> Judged {
    let margin = |value: &Length| inside(value.mm(), range.low.mm(), range.high.mm());
    let worst = read.iter().min_by(|a, b| margin(a).total_cmp(&margin(b)));
    Judged {
        limit,
        limits: format!("{} to {}", range.low, range.high),
        found: worst.map(|worst| {
            let along = |mm: f64| margin(&Length::from_mm(mm));
            format!("{} mm", short(&shown(worst.mm(), 3, along)))
        }),
        standing: worst.map_or(Standing::NotMeasured, |worst| standing(margin(worst))),
        margin: worst.map(|worst| {
            let by = margin(worst);
            format!("{} mm {}", short(&shown_margin(by, 3)), side(by))
        }),
        converted: None,
        converted_places: 0,
    }
}

fn hardness(range: Range<Hardness>, read: &[Hardness]) -> Judged {
    let scale = range.low.scale();
    let nothing = Judged {
        limit: Limit::Hardness,
        limits: format!("{} to {}", range.low, range.high),
        found: None,
        standing: Standing::NotMeasured,
        margin: None,
        converted: None,
        converted_places: 0,
    };
    let mut worst: Option<(f64, Converted)> = None;
    for reading in read {
        let Some(about) = convert(*reading, scale) else {
            let found = Some(reading.to_string());
            return Judged { found, standing: Standing::NotComparable, ..nothing };
        };
        let margin = inside(about.about.value(), range.low.value(), range.high.value());
        if worst.is_none_or(|(before, _)| margin < before) {
            worst = Some((margin, about));
        }
    }
    let Some((margin, about)) = worst else { return nothing };
    let along = |value: f64| inside(value, range.low.value(), range.high.value());
    Judged {
        found: Some(about.from.to_string()),
        standing: standing(margin),
        margin: Some(format!("{} {scale} {}", shown_margin(margin, 1), side(margin))),
        converted: (about.from.scale() != scale).then_some(about),
        converted_places: places_of(about.about.value(), 0, along),
        ..nothing
    }
}

fn dye(found: Option<DyeResult>) -> Judged {
    Judged {
        limit: Limit::DyeCheck,
        limits: "nothing shows".to_owned(),
        found: found.map(|result| {
            match result {
                DyeResult::Nothing => "nothing",
                DyeResult::Indications => "indications",
            }
            .to_owned()
        }),
        standing: match found {
            None => Standing::NotMeasured,
            Some(DyeResult::Nothing) => Standing::Inside,
            Some(DyeResult::Indications) => Standing::Outside,
        },
        margin: None,
        converted: None,
        converted_places: 0,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(text: &str) -> Hardness {
        Hardness::parse(text).expect("a hardness")
    }

    fn mm(value: f64) -> Length {
        Length::from_mm(value)
    }

    fn limits() -> Inspection {
        Inspection {
            hardness: Some(Range { low: read("55 HRC"), high: read("62 HRC") }),
            thickness: Some(Range { low: mm(0.30), high: mm(0.45) }),
            run_out: Some(mm(0.05)),
            dye_check: DyeCheck::Needed,
        }
    }

    fn standings(found: &Found) -> Vec<Standing> {
        judge(&limits(), found).iter().map(|judged| judged.standing).collect()
    }

    #[test]
    fn the_worst_reading_decides_and_says_its_margin() {
        let found = Found {
            hardness: vec![read("59 HRC"), read("56 HRC"), read("57 HRC")],
            thickness: vec![mm(0.36), mm(0.28), mm(0.33)],
            run_out: vec![mm(0.02), mm(0.05)],
            dye: Some(DyeResult::Nothing),
        };
        let judged = judge(&limits(), &found);
        let told: Vec<(Standing, Option<&str>)> =
            judged.iter().map(|one| (one.standing, one.margin.as_deref())).collect();
        assert_eq!(
            told,
            [
                (Standing::Inside, Some("1.0 HRC inside")),
                (Standing::Outside, Some("0.02 mm outside")),
                // A run-out has no low end: zero is best.
                (Standing::Inside, Some("0 mm inside")),
                (Standing::Inside, None),
            ]
        );
        assert!(judged.iter().all(|one| one.converted.is_none()));
    }

    #[test]
    fn a_reading_on_another_scale_is_converted_and_marked_or_not_judged_at_all() {
        let found = Found { hardness: vec![read("577 HV0.5")], ..Found::default() };
        let judged = judge(&limits(), &found);
        let hardness = judged.first().expect("limited");
        // 577 HV are 54 HRC (ASTM E140, table 1).
        assert_eq!(hardness.standing, Standing::Outside);
        assert_eq!(hardness.margin.as_deref(), Some("1.0 HRC outside"));
        assert!(hardness.converted.is_some());
        let soft = Found { hardness: vec![read("200 HV0.5")], ..Found::default() };
        assert_eq!(standings(&soft).first(), Some(&Standing::NotComparable));
    }

    #[test]
    fn a_figure_is_shown_with_the_decimals_by_which_it_is_outside() {
        let found = Found {
            hardness: vec![read("594 HV0.3")],
            thickness: vec![mm(0.2996)],
            ..Found::default()
        };
        let judged = judge(&limits(), &found);
        let told: Vec<(Option<&str>, Option<&str>)> =
            judged.iter().map(|one| (one.found.as_deref(), one.margin.as_deref())).collect();
        assert_eq!(told.get(1), Some(&(Some("0.2996 mm"), Some("0.0004 mm outside"))));
        // 594 HV lie between 54 and 55 HRC (ASTM E140, table 1), at 54.94.
        let hardness = judged.first().expect("limited").told();
        assert!(hardness.contains("outside; about 54.9 HRC"), "{hardness}");
    }

    #[test]
    fn what_was_not_measured_is_neither_inside_nor_outside() {
        assert_eq!(standings(&Found::default()), [Standing::NotMeasured; 4]);
        let cracked = Found { dye: Some(DyeResult::Indications), ..Found::default() };
        assert_eq!(standings(&cracked).last(), Some(&Standing::Outside));
    }
}
