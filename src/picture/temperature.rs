//! Temperature over the time of the job, with the window of each step.

use evenpass_core::plan::Plan;
use evenpass_core::plan::forecast::{Certainty, Forecast, TemperaturePoint};
use evenpass_core::program::Step;
use evenpass_core::quantity::{Range, Temperature, Time};

use super::frame::{
    About, At, Frame, Span, UNDER, area, curve, legend, line, picture, rows, text, trimmed,
};
use super::paper::Fault;
use super::pen::Pen;

/// What a step keeps to.
struct Kept {
    window: Option<Range<Temperature>>,
    ceiling: Option<Temperature>,
}

fn kept(step: &Step) -> Kept {
    match step {
        Step::Preheat(step) => Kept { window: Some(step.window), ceiling: None },
        Step::Spray(step) => Kept { window: Some(step.window), ceiling: None },
        Step::Fuse(step) => Kept { window: Some(step.window), ceiling: Some(step.ceiling) },
        Step::ChangeTorch(_) | Step::Cool(_) => Kept { window: None, ceiling: None },
    }
}

/// Draws it.
pub(super) fn draw(plan: &Plan) -> Result<String, Fault> {
    let forecast = &plan.forecast;
    let course = &forecast.temperatures;
    let (unit, seconds) = unit_for(forecast.total);
    let time = |time: Time| time.s() / seconds;
    let highest = course.iter().map(|point| point.hottest.celsius());
    let kept: Vec<Kept> = plan.program.steps.iter().map(kept).collect();
    let limits = kept.iter().flat_map(|kept| [kept.window.map(|w| w.high), kept.ceiling]);
    let highest = limits.flatten().map(Temperature::celsius).chain(highest).fold(0.0, f64::max);
    let across = Span::new(0.0, time(forecast.total));
    let up = Span::new(0.0, highest * 1.06);
    let flat = Frame { top: 0.0, bottom: 260.0, across, up };
    let begins = core::iter::once(Time::ZERO).chain(forecast.steps.iter().map(|s| s.done_at));
    let spans: Vec<(f64, f64)> = begins
        .zip(&forecast.steps)
        .map(|(from, step)| (flat.x(time(from)), flat.x(time(step.done_at))))
        .collect();
    let numbers: Vec<(f64, f64)> =
        spans.iter().map(|(from, to)| (f64::midpoint(*from, *to), 14.0)).collect();
    let rows = rows(&numbers);
    let height = |row: usize| 14.0 * f64::from(u32::try_from(row).unwrap_or(0));
    let top = 20.0 + rows.iter().max().map_or(0.0, |row| height(*row));
    let frame = Frame { top, bottom: top + 260.0, ..flat };
    let about = About { key: "temperature", title: "Temperature over time", says: said(forecast) };
    picture(&about, frame.bottom + UNDER + 26.0, |whole| {
        for ((kept, (from, to)), step) in kept.iter().zip(&spans).zip(&plan.program.steps) {
            // A step of no time has a window that is a line.
            if let Some(window) = kept.window {
                let (low, high) = (frame.y(window.low.celsius()), frame.y(window.high.celsius()));
                area(whole, [(*from, high), (*to, low)], Pen::Window)?;
                for y in [low, high] {
                    line(whole, &[(*from, y), (*to, y)], Pen::WindowEdge)?;
                }
            }
            if let Some(ceiling) = kept.ceiling {
                let y = frame.y(ceiling.celsius());
                line(whole, &[(*from, y), (*to, y)], Pen::Ceiling)?;
            }
            if let Step::Cool(step) = step {
                let y = frame.y(step.turn_until.celsius());
                line(whole, &[(*from, y), (*to, y)], Pen::WindowEdge)?;
            }
        }
        frame.axes(whole, &format!("time, {unit}"), "temperature, °C", trimmed)?;
        let field = frame.field(whole);
        for (number, (((middle, _), row), (_, to))) in
            numbers.iter().zip(&rows).zip(&spans).enumerate()
        {
            line(whole, &[(*to, frame.top), (*to, frame.bottom)], Pen::StepMark)?;
            let y = frame.top - 5.0 - height(*row);
            text(whole, &(number + 1).to_string(), (*middle, y), At::BottomMiddle, Pen::NameText)?;
        }
        let through = |of: fn(&TemperaturePoint) -> Temperature| {
            course.iter().map(|point| (time(point.at), of(point).celsius())).collect()
        };
        curve(&field, through(|point| point.hottest), Pen::Hottest)?;
        curve(&field, through(|point| point.seen), Pen::Temperature)?;
        let entries = [
            (Pen::Temperature, "where the part sensor looks"),
            (Pen::Hottest, "the hottest place"),
            (Pen::Window, "window"),
            (Pen::Ceiling, "ceiling"),
            (Pen::StepMark, "end of a step, as numbered below"),
        ];
        legend(whole, frame.bottom + UNDER + 14.0, &entries)
    })
}

/// The unit of time for a job of that length, and its seconds.
fn unit_for(total: Time) -> (&'static str, f64) {
    /// From here on minutes are counted.
    const LONG: f64 = 180.0;
    if total.s() > LONG { ("min", 60.0) } else { ("s", 1.0) }
}

fn said(forecast: &Forecast) -> String {
    let steps = forecast.steps.iter().enumerate().map(|(index, step)| {
        let at_least = match step.certainty {
            Certainty::AtLeast => " at least",
            Certainty::Planned | Certainty::Estimated | Certainty::ByPerson => "",
        };
        format!(
            "step {}, {}: leaves {:.0} °C after{at_least} {:.0} s",
            index + 1,
            step.what,
            step.leaves_at.celsius(),
            step.done_at.s()
        )
    });
    steps.collect::<Vec<_>>().join("; ") + "."
}
