//! A control chart: the figures in their order with mean and limits, and their moving ranges below.

use super::frame::{About, At, Frame, Span, UNDER, curve, legend, line, picture, text, trimmed};
use super::paper::{Drawn, Fault};
use super::pen::Pen;
use crate::followed::Followed;
use evenpass_core::inspection::{Chart, Finding};

/// Half the height of the stroke that marks a point, pixels.
const MARK: f64 = 5.0;

/// Draws it; nothing of a single point.
///
/// # Errors
/// [`Fault`], only by a mistake in the drawing itself.
pub fn control_chart(followed: &Followed) -> Result<Option<String>, Fault> {
    let Some(chart) = &followed.chart else { return Ok(None) };
    let (title, unit) = (followed.tracked.title(), followed.unit);
    let across = Span::new(0.0, count(chart.values.len()) + 1.0);
    let values = chart.values.iter().copied().chain([chart.lower, chart.upper]);
    let above = Frame { top: 10.0, bottom: 210.0, across, up: around(values) };
    let ranges = chart.ranges.iter().copied().chain([0.0, chart.range_upper]);
    let below = Frame { top: 268.0, bottom: 368.0, across, up: around(ranges) };
    let about = About {
        key: followed.tracked.title(),
        title: &format!("Control chart of {title}"),
        says: format!(
            "{} points, mean {} {unit}, limits {} and {} {unit}; {} findings.",
            chart.values.len(),
            trimmed(chart.centre),
            trimmed(chart.lower),
            trimmed(chart.upper),
            chart.findings.len()
        ),
    };
    let about = About { key: &about.key.replace(' ', "-"), ..about };
    let drawn = picture(&about, below.bottom + UNDER + 26.0, |whole| {
        above.axes(whole, "point", &format!("{title}, {unit}"), trimmed)?;
        below.axes(whole, "point", &format!("moving range, {unit}"), trimmed)?;
        series(whole, &above, &chart.values, 1.0, &|place| is_found(chart, place))?;
        level(whole, &above, chart.centre, Pen::Mean)?;
        level(whole, &above, chart.upper, Pen::ControlLimit)?;
        level(whole, &above, chart.lower, Pen::ControlLimit)?;
        // The range of a point and the one before stands at the point.
        series(whole, &below, &chart.ranges, 2.0, &|place| is_jump(chart, place + 1))?;
        level(whole, &below, chart.mean_range, Pen::Mean)?;
        level(whole, &below, chart.range_upper, Pen::ControlLimit)?;
        let entries = [
            (Pen::Followed, "measured"),
            (Pen::Mean, "mean"),
            (Pen::ControlLimit, "limit of chance"),
            (Pen::Command, "no chance, by its number"),
        ];
        legend(whole, below.bottom + UNDER + 14.0, &entries)
    });
    drawn.map(Some)
}

/// A small count as a figure of a scale.
fn count(of: usize) -> f64 {
    u32::try_from(of).map_or(f64::MAX, f64::from)
}

/// All of the figures with a little room.
fn around(values: impl Iterator<Item = f64>) -> Span {
    const FREE: f64 = 0.08;
    let (low, high) = values
        .fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), one| (low.min(one), high.max(one)));
    // Figures that are all the same have no range.
    let room = ((high - low) * FREE).max(high.abs() * 1e-3).max(1e-6);
    Span::new(low - room, high + room)
}

fn is_found(chart: &Chart, place: usize) -> bool {
    chart.findings.iter().any(|finding| match *finding {
        Finding::Outside { point, .. } => point == place,
        Finding::Run { from, to, .. } => (from..=to).contains(&place),
        Finding::Jump { .. } => false,
    })
}

fn is_jump(chart: &Chart, place: usize) -> bool {
    chart.findings.iter().any(|one| matches!(one, Finding::Jump { point } if *point == place))
}

/// Figures one beside the other; what was found carries a stroke and its number.
fn series(
    whole: &super::frame::Whole<'_>,
    frame: &Frame,
    values: &[f64],
    first: f64,
    found: &dyn Fn(usize) -> bool,
) -> Drawn {
    let places: Vec<(f64, f64)> =
        values.iter().enumerate().map(|(place, value)| (count(place) + first, *value)).collect();
    curve(&frame.field(whole), places.clone(), Pen::Followed)?;
    for (place, (across, up)) in places.into_iter().enumerate() {
        let (x, y) = (frame.x(across), frame.y(up));
        line(whole, &[(x, y - MARK / 2.0), (x, y + MARK / 2.0)], Pen::Followed)?;
        if found(place) {
            line(whole, &[(x, y - MARK), (x, y + MARK)], Pen::Command)?;
            let number = trimmed(across);
            text(whole, &number, (x, y - MARK - 2.0), At::BottomMiddle, Pen::NoteText)?;
        }
    }
    Ok(())
}

/// A line across at a figure.
fn level(whole: &super::frame::Whole<'_>, frame: &Frame, at: f64, pen: Pen) -> Drawn {
    let ends = vec![(frame.across.low, at), (frame.across.high, at)];
    curve(&frame.field(whole), ends, pen)
}

#[cfg(test)]
mod tests {
    use evenpass_core::inspection::Tracked;

    use super::*;
    use crate::followed::Point;

    fn of(values: &[f64]) -> Followed {
        let points = (1..).zip(values).map(|(measurement, value)| Point {
            measurement,
            on: "2026-11-25".parse().expect("a day"),
            run: None,
            value: *value,
        });
        Followed {
            tracked: Tracked::DelayOn,
            unit: "s",
            planned: Some(0.6),
            points: points.collect(),
            chart: Chart::of(values),
        }
    }

    #[test]
    fn mean_limits_and_what_was_found_are_drawn_each_with_its_own_pen() {
        let values = [0.6, 0.61, 0.6, 0.61, 0.6, 0.61, 0.6, 0.61, 0.6, 0.61, 0.6, 0.61, 0.9];
        let svg = control_chart(&of(&values)).expect("drawn").expect("a chart");
        let times = |class: &str| svg.matches(&format!("class=\"{class}\"")).count();
        // Two means; two limits and that of the range; the last point, its jump, and the twelve before
        // it that lie below the mean it has lifted.
        assert_eq!(times("mean"), 2 + 1, "and one in the legend");
        assert_eq!(times("control-limit"), 3 + 1, "and one in the legend");
        assert_eq!(times("command"), 2 + 12 + 1, "and one in the legend");
        assert!(svg.contains("id=\"picture-powder-delay-on\""), "{svg}");
    }

    #[test]
    fn a_latest_point_a_tenth_off_what_plans_stand_on_waits_for_the_engineer() {
        assert_eq!(of(&[0.9, 0.65]).far_off(), None);
        let told = of(&[0.6, 0.67]).far_off().expect("far off");
        assert!(told.contains("measurement 2, the latest, is +11.7 % off the 0.60 s"), "{told}");
    }

    #[test]
    fn one_point_has_no_picture_and_equal_ones_have_one() {
        assert_eq!(control_chart(&of(&[0.6])).expect("drawn"), None);
        let svg = control_chart(&of(&[0.6; 4])).expect("drawn").expect("a chart");
        assert!(!svg.contains("NaN"), "{svg}");
    }
}
