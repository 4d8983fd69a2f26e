//! Values of a run over its time, as lines.

use std::fmt::Write as _;

use evenpass_core::ledger::{Entry, EntryKind};
use evenpass_core::quantity::{Quantity, fixed};
use maud::{Markup, PreEscaped, html};

/// Size of the drawing and its rims.
const SIZE: (f64, f64) = (1000.0, 240.0);
const LEFT: f64 = 64.0;
/// Half of the last label of the time axis.
const RIGHT: f64 = 36.0;
const FOOT: f64 = 30.0;
const TOP: f64 = 14.0;
/// Points of a line at most; more tell nothing on a screen.
const POINTS: usize = 600;

/// One line: the sample's field, what it is called, the class that draws it.
pub(super) struct Line {
    pub(super) field: &'static str,
    pub(super) name: &'static str,
    pub(super) class: &'static str,
}

/// Values of one quantity over time, in a person's unit.
pub(super) fn chart<Q: Quantity>(entries: &[Entry], lines: &[Line], unit: &'static str) -> Markup {
    let samples: Vec<&Entry> =
        entries.iter().filter(|entry| entry.kind == EntryKind::Sample).collect();
    let begun = entries.first().map_or(0.0, |entry| entry.at.as_seconds());
    let values = |field: &str| -> Vec<(f64, f64)> {
        let every = samples.len().div_ceil(POINTS).max(1);
        samples
            .iter()
            .step_by(every)
            .filter_map(|entry| {
                let text = entry.data.get(field)?.as_str()?;
                let value = Q::parse(text).ok()?.in_unit(unit)?;
                Some((entry.at.as_seconds() - begun, value))
            })
            .collect()
    };
    let drawn: Vec<(&Line, Vec<(f64, f64)>)> =
        lines.iter().map(|line| (line, values(line.field))).collect();
    let all = || drawn.iter().flat_map(|(_, points)| points.iter().copied());
    if all().next().is_none() {
        return html! {};
    }
    let last = all().map(|(at, _)| at).fold(1.0, f64::max);
    let (low, high) = round_ends(
        all().map(|(_, value)| value).fold(f64::INFINITY, f64::min),
        all().map(|(_, value)| value).fold(f64::NEG_INFINITY, f64::max),
    );
    let x = |at: f64| LEFT + at / last * (SIZE.0 - LEFT - RIGHT);
    let y = |value: f64| SIZE.1 - FOOT - (value - low) / (high - low) * (SIZE.1 - FOOT - TOP);
    let mut inside = String::new();
    for step in 0..=4_u8 {
        let value = low + (high - low) * f64::from(step) / 4.0;
        let (at, end) = (y(value), SIZE.0 - RIGHT);
        let _ = write!(
            inside,
            "<line class=\"grid\" x1=\"{LEFT}\" x2=\"{end}\" y1=\"{at:.1}\" y2=\"{at:.1}\"/>\
             <text class=\"tick\" x=\"{}\" y=\"{:.1}\" text-anchor=\"end\">{}</text>",
            LEFT - 6.0,
            at + 4.0,
            fixed(value, usize::from(high - low < 20.0) * 2)
        );
        let minutes = last * f64::from(step) / 4.0;
        let _ = write!(
            inside,
            "<text class=\"tick\" x=\"{:.1}\" y=\"{}\" text-anchor=\"middle\">{} s</text>",
            x(minutes),
            SIZE.1 - 10.0,
            fixed(minutes, 0)
        );
    }
    for (line, points) in &drawn {
        let mut path = String::new();
        for (at, value) in points {
            let _ = write!(path, "{:.1},{:.1} ", x(*at), y(*value));
        }
        let _ = write!(inside, "<polyline class=\"{}\" points=\"{path}\"/>", line.class);
    }
    html! {
        figure.chart {
            figcaption {
                @for (line, _) in &drawn {
                    span.key {
                        svg viewBox="0 0 40 8" aria-hidden="true" { line class=(line.class) x1="0" x2="40" y1="4" y2="4" {} }
                        (line.name)
                    }
                }
                span { (unit) }
            }
            svg viewBox=(format!("0 0 {} {}", SIZE.0, SIZE.1)) role="img" { (PreEscaped(inside)) }
        }
    }
}

/// Ends of a scale that hold all values and have some room between them.
fn round_ends(low: f64, high: f64) -> (f64, f64) {
    let span = (high - low).max(high.abs() * 0.02).max(1e-3);
    let step = 10_f64.powf(span.log10().floor());
    ((low / step).floor() * step, (high / step).ceil() * step + step * 0.1)
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

    const PART: Line = Line { field: "part", name: "part", class: "first-line" };

    #[test]
    fn a_line_rises_where_its_values_do() {
        let entries = [sample(0, 20.0), sample(10, 220.0), sample(20, 420.0)];
        let drawn = chart::<Temperature>(&entries, &[PART], "degC").into_string();
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

    #[test]
    fn without_values_nothing_is_drawn() {
        assert_eq!(chart::<Temperature>(&[], &[PART], "degC").into_string(), "");
    }
}
