//! Values over time or along the part, as lines on a scale: for the panel and for a report.
//!
//! Lines are told apart by their classes, whose dashes stand in the style sheet of the page.

use std::fmt::Write as _;

use evenpass_core::ledger::{Entry, EntryKind};
use evenpass_core::quantity::{Quantity, fixed};
use maud::{Markup, PreEscaped, html};

use crate::shown::escaped;

/// Size of the drawing and its rims.
const SIZE: (f64, f64) = (1000.0, 240.0);
const LEFT: f64 = 64.0;
/// Half of the last label of the axis across.
const RIGHT: f64 = 36.0;
const FOOT: f64 = 30.0;
const TOP: f64 = 14.0;
/// Room above the lines for what is marked over them.
const MARKED_TOP: f64 = 30.0;
/// Width of a letter of a label, at most; only to keep labels apart.
const LETTER: f64 = 9.0;
/// Spans that a line is drawn by at most, each with its least and its greatest value: more tell
/// nothing on a screen, and no peak is left out.
const SPANS: usize = 300;

/// One line.
pub(crate) struct Line {
    /// What it is called.
    pub(crate) name: String,
    /// The class that draws it.
    pub(crate) class: &'static str,
    /// Its points: the place or the time, s, and the value.
    pub(crate) points: Vec<(f64, f64)>,
}

/// A stretch that is marked over the lines, with a label.
pub(crate) struct Stretch {
    /// From where to where.
    pub(crate) span: (f64, f64),
    /// What stands over it.
    pub(crate) label: String,
}

/// What runs from left to right.
pub(crate) enum Across {
    /// Time, s.
    Time,
    /// A length along the part, in this unit.
    Place(&'static str),
}

/// What a chart shows.
pub(crate) struct Chart<'a> {
    /// The lines; those without points are left out.
    pub(crate) lines: Vec<Line>,
    /// What is marked over them.
    pub(crate) stretches: &'a [Stretch],
    /// What runs from left to right.
    pub(crate) across: Across,
    /// Values that the scale has to hold whatever the lines are, such as zero.
    pub(crate) holds: &'a [f64],
    /// The unit of the values, as it is shown.
    pub(crate) unit: &'a str,
    /// What it shows, for those who cannot see it.
    pub(crate) says: &'a str,
}

/// What the samples of a run measured over its time, in this unit.
pub(crate) fn sampled<Q: Quantity>(entries: &[Entry], field: &str, unit: &str) -> Vec<(f64, f64)> {
    let begun = entries.first().map_or(0.0, |entry| entry.at.as_seconds());
    let samples = entries.iter().filter(|entry| entry.kind == EntryKind::Sample);
    let read = |entry: &Entry| {
        let text = entry.data.get(field)?.as_str()?;
        let value = Q::parse(text).ok()?.in_unit(unit)?;
        Some((entry.at.as_seconds() - begun, value))
    };
    samples.filter_map(read).collect()
}

impl Chart<'_> {
    /// Draws it; nothing where there are no values.
    pub(crate) fn draw(mut self) -> Markup {
        self.lines.retain(|line| !line.points.is_empty());
        for line in &mut self.lines {
            line.points = thinned(&line.points);
        }
        let all = || self.lines.iter().flat_map(|line| line.points.iter().copied());
        let least = |of: fn((f64, f64)) -> f64| all().map(of).fold(f64::INFINITY, f64::min);
        let most = |of: fn((f64, f64)) -> f64| all().map(of).fold(f64::NEG_INFINITY, f64::max);
        if all().next().is_none() {
            return html! {};
        }
        let held = |worst: f64, of: fn(f64, f64) -> f64| self.holds.iter().copied().fold(worst, of);
        let marks = round_marks(
            held(least(|(_, value)| value), f64::min),
            held(most(|(_, value)| value), f64::max),
        );
        let (low, high) = (marks.first, marks.at(marks.steps));
        let (from, to) = match self.across {
            Across::Time => (0.0, most(|(at, _)| at).max(1.0)),
            Across::Place(_) => (least(|(at, _)| at), most(|(at, _)| at)),
        };
        let top = if self.stretches.is_empty() { TOP } else { MARKED_TOP };
        let x = |at: f64| LEFT + (at - from) / (to - from) * (SIZE.0 - LEFT - RIGHT);
        let y = |value: f64| SIZE.1 - FOOT - (value - low) / (high - low) * (SIZE.1 - FOOT - top);
        let mut inside = String::new();
        self.stretches(&mut inside, x, top);
        for step in 0..=marks.steps {
            let value = marks.at(step);
            let (at, end) = (y(value), SIZE.0 - RIGHT);
            let _ = write!(
                inside,
                "<line class=\"grid\" x1=\"{LEFT}\" x2=\"{end}\" y1=\"{at:.1}\" y2=\"{at:.1}\"/>\
                 <text class=\"tick\" x=\"{}\" y=\"{:.1}\" text-anchor=\"end\">{}</text>",
                LEFT - 6.0,
                at + 4.0,
                fixed(value, marks.decimals)
            );
        }
        for (at, label) in self.labels(from, to) {
            let _ = write!(
                inside,
                "<text class=\"tick\" x=\"{:.1}\" y=\"{}\" text-anchor=\"middle\">{label}</text>",
                x(at),
                SIZE.1 - 10.0
            );
        }
        for line in &self.lines {
            let mut path = String::new();
            for (at, value) in &line.points {
                let _ = write!(path, "{:.1},{:.1} ", x(*at), y(*value));
            }
            let _ = write!(inside, "<polyline class=\"{}\" points=\"{path}\"/>", line.class);
        }
        html! {
            figure.chart {
                figcaption {
                    @for line in &self.lines {
                        span.key {
                            svg viewBox="0 0 40 8" aria-hidden="true" { line class=(line.class) x1="0" x2="40" y1="4" y2="4" {} }
                            (line.name)
                        }
                    }
                    span { (self.unit) }
                }
                svg viewBox=(format!("0 0 {} {}", SIZE.0, SIZE.1)) role="img" aria-label=(self.says) { (PreEscaped(inside)) }
            }
        }
    }

    /// Draws the stretches, each with its label where there is room for it.
    fn stretches(&self, inside: &mut String, x: impl Fn(f64) -> f64, top: f64) {
        let mut free_from = 0.0;
        for Stretch { span: (from, to), label } in self.stretches {
            let (left, right) = (x(*from), x(*to));
            let _ = write!(
                inside,
                "<rect class=\"stretch\" x=\"{left:.1}\" y=\"{top}\" width=\"{:.1}\" height=\"{:.1}\"/>",
                (right - left).max(0.5),
                SIZE.1 - FOOT - top
            );
            let letters = label.chars().map(|_| LETTER).sum::<f64>();
            let middle = f64::midpoint(left, right);
            if middle - letters / 2.0 >= free_from {
                free_from = middle + letters / 2.0 + LETTER;
                let _ = write!(
                    inside,
                    "<text class=\"tick\" x=\"{middle:.1}\" y=\"{:.1}\" text-anchor=\"middle\">{}</text>",
                    top - 6.0,
                    escaped(label)
                );
            }
        }
    }

    /// Where labels stand under the lines, and what they say.
    fn labels(&self, from: f64, to: f64) -> Vec<(f64, String)> {
        match self.across {
            Across::Time => {
                let every = time_step(to);
                let mut labels = Vec::new();
                let mut at = 0.0;
                while at <= to {
                    let told = if every < 60.0 {
                        format!("{at:.0} s")
                    } else {
                        format!("{:.0} min", at / 60.0)
                    };
                    labels.push((at, told));
                    at += every;
                }
                labels
            }
            Across::Place(unit) => {
                let marks = round_marks(from, to);
                let inside = (0..=marks.steps).map(|step| marks.at(step));
                let inside = inside.filter(|at| (from..=to).contains(at));
                inside.map(|at| (at, format!("{} {unit}", fixed(at, marks.decimals)))).collect()
            }
        }
    }
}

/// Of each of at most [`SPANS`] spans the least and the greatest value, as they followed each other.
fn thinned(points: &[(f64, f64)]) -> Vec<(f64, f64)> {
    let span = points.len().div_ceil(SPANS).max(1);
    let ends = |span: &[(f64, f64)]| {
        let by_value = |one: &&(f64, f64), other: &&(f64, f64)| one.1.total_cmp(&other.1);
        let least = span.iter().min_by(by_value).copied();
        let greatest = span.iter().max_by(by_value).copied();
        let [first, second] = match (least, greatest) {
            (Some(least), Some(greatest)) if greatest.0 < least.0 => [Some(greatest), Some(least)],
            ends => [ends.0, ends.1],
        };
        // A span of one value, or of one and the same, is one point.
        [first, second.filter(|second| Some(*second) != first)]
    };
    points.chunks(span).flat_map(ends).flatten().collect()
}

/// Where the marks of a scale stand.
struct Marks {
    first: f64,
    every: f64,
    steps: u8,
    decimals: usize,
}

impl Marks {
    fn at(&self, step: u8) -> f64 {
        self.first + self.every * f64::from(step)
    }
}

/// Steps that people count in, as parts of a power of ten, with the decimals they need more than
/// that power.
const ROUND: [(f64, usize); 4] = [(1.0, 0), (2.0, 0), (2.5, 1), (5.0, 0)];
/// Marks at most, the first left out.
const STEPS: f64 = 5.0;

/// The closest round marks, not more than [`STEPS`], that have all values between them.
fn round_marks(low: f64, high: f64) -> Marks {
    let span = (high - low).max(high.abs() * 0.02).max(1e-3);
    let power = (span / STEPS).log10().floor();
    let every = |ten: f64, times: f64| times * 10_f64.powf(ten);
    let candidates = [power, power + 1.0, power + 2.0].into_iter().flat_map(|ten| {
        ROUND.map(|(times, more)| {
            let every = every(ten, times);
            let first = (low / every).floor() * every;
            let steps = ((first + span).max(high) - first) / every;
            // Both are small whole numbers.
            #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss)]
            let (steps, decimals) = (steps.ceil() as u8, (-ten).max(0.0) as usize + more);
            Marks { first, every, steps, decimals: if ten >= 1.0 { 0 } else { decimals } }
        })
    });
    let mut last = Marks { first: low, every: span, steps: 1, decimals: 2 };
    for marks in candidates {
        let fits = f64::from(marks.steps) <= STEPS;
        last = marks;
        if fits {
            break;
        }
    }
    last
}

/// Time between two marks, s: one that clocks are read in, so that there are some six of them.
fn time_step(last: f64) -> f64 {
    let clock = [1.0, 2.0, 5.0, 10.0, 20.0, 30.0, 60.0, 120.0, 300.0, 600.0, 900.0, 1800.0, 3600.0];
    clock
        .into_iter()
        .find(|step| last / step <= 6.0)
        .unwrap_or_else(|| (last / 6.0 / 3600.0).ceil() * 3600.0)
}

#[cfg(test)]
mod tests {
    use evenpass_core::moment::Moment;
    use evenpass_core::quantity::Temperature;

    use super::*;

    fn sample(second: u64, celsius: f64) -> Entry {
        Entry {
            number: second,
            at: Moment::from_micros(second * 1_000_000),
            kind: EntryKind::Sample,
            text: String::new(),
            cause: String::new(),
            data: serde_json::json!({ "part": Temperature::from_celsius(celsius).to_string() }),
        }
    }

    fn drawn(entries: &[Entry]) -> String {
        let points = sampled::<Temperature>(entries, "part", "degC");
        let lines = vec![Line { name: "part".to_owned(), class: "first-line", points }];
        let chart = Chart {
            lines,
            stretches: &[],
            holds: &[],
            across: Across::Time,
            unit: "degC",
            says: "part",
        };
        chart.draw().into_string()
    }

    #[test]
    fn a_line_rises_where_its_values_do() {
        let entries = [sample(0, 20.0), sample(10, 220.0), sample(20, 420.0)];
        let drawn = drawn(&entries);
        let points = drawn.split("points=\"").nth(1).and_then(|rest| rest.split('"').next());
        let heights: Vec<f64> = points
            .unwrap()
            .split_whitespace()
            .map(|point| point.split(',').nth(1).unwrap().parse().unwrap())
            .collect();
        assert_eq!(heights.len(), 3);
        assert!(heights[0] > heights[1] && heights[1] > heights[2], "{heights:?}");
        assert!((heights[0] + heights[2] - 2.0 * heights[1]).abs() < 0.3, "{heights:?}");
    }

    /// Every 7th of 4001 samples shows neither of the two.
    #[test]
    fn a_peak_of_one_sample_and_a_dip_are_drawn_where_they_were_however_long_the_run() {
        let mut points: Vec<(f64, f64)> =
            (0..4001_u32).map(|second| (f64::from(second), 300.0)).collect();
        points[2003].1 = 395.0;
        points[2005].1 = 210.0;
        let drawn = thinned(&points);
        assert!(drawn.len() <= 2 * SPANS, "{}", drawn.len());
        assert!(drawn.is_sorted_by(|one, next| one.0 < next.0), "in their order");
        assert!(drawn.contains(&(2003.0, 395.0)) && drawn.contains(&(2005.0, 210.0)));
        let few = &points[2000..2010];
        assert_eq!(thinned(few), few, "few are drawn as they are");
    }

    #[test]
    fn marks_are_round_and_hold_all_values() {
        for (low, high, marks) in [
            (20.0, 306.0, "0 100 200 300 400"),
            (0.0, 2.5, "0.0 0.5 1.0 1.5 2.0 2.5"),
            (2.49, 2.51, "2.48 2.50 2.52 2.54"),
            (0.0, 0.0, "0.0000 0.0002 0.0004 0.0006 0.0008 0.0010"),
            (-12.0, 118.0, "-50 0 50 100 150"),
        ] {
            let found = round_marks(low, high);
            let words: Vec<String> =
                (0..=found.steps).map(|step| fixed(found.at(step), found.decimals)).collect();
            assert_eq!(words.join(" "), marks, "{low} to {high}");
        }
        assert_eq!(
            [5.0, 59.0, 427.0, 4371.0, 90_000.0].map(time_step),
            [1.0, 10.0, 120.0, 900.0, 18_000.0]
        );
    }

    #[test]
    fn without_values_nothing_is_drawn() {
        assert_eq!(drawn(&[]), "");
    }

    #[test]
    fn a_stretch_lies_where_it_was_and_its_label_stands_on_no_other() {
        let line = Line {
            name: "a".to_owned(),
            class: "first-line",
            points: vec![(0.0, 1.0), (100.0, 2.0)],
        };
        let stretch = |from, to, label: &str| Stretch { span: (from, to), label: label.to_owned() };
        let stretches =
            [stretch(10.0, 20.0, "1"), stretch(20.5, 20.6, "2"), stretch(60.0, 70.0, "<3>")];
        let drawn = Chart {
            lines: vec![line],
            stretches: &stretches,
            holds: &[],
            across: Across::Time,
            unit: "degC",
            says: "",
        };
        let drawn = drawn.draw().into_string();
        assert_eq!(drawn.matches("class=\"stretch\"").count(), 3);
        // 64 to 964 is 100 s.
        assert!(drawn.contains("class=\"stretch\" x=\"154.0\" y=\"30\" width=\"90.0\""), "{drawn}");
        assert!(drawn.contains(">1</text>") && drawn.contains(">&lt;3&gt;</text>"), "{drawn}");
    }
}
