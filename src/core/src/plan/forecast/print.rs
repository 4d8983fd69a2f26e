//! The forecast as a page: sections, aligned columns, units; at most 100 columns wide.

use core::fmt;

use super::{
    Certainty, Forecast, GasUse, GrownWhen, STALL_RISE, Sizes, StepForecast, ZoneForecast, counted,
};
use crate::plan::motion::Direction;
use crate::plan::powder::EdgePlaces;
use crate::plan::problem::{Note, Weight};
use crate::plan::speeds::metres_per_minute;
use crate::quantity::{Length, Time, Volume, fixed};

/// Widest line of the page, in characters.
pub(super) const WIDTH: usize = 100;

/// Over the notes for which a job is not expected to end well.
pub const EXPECTED_TO_FAIL: &str = "As planned this job is not expected to end well";

/// A plan laid out for reading.
#[derive(Debug, Clone, Copy)]
pub struct Page<'a> {
    forecast: &'a Forecast,
    notes: &'a [Note],
}

impl<'a> Page<'a> {
    /// Of a forecast and the notes made with it.
    #[must_use]
    pub const fn new(forecast: &'a Forecast, notes: &'a [Note]) -> Self {
        Self { forecast, notes }
    }
}

impl fmt::Display for Page<'_> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let forecast = self.forecast;
        writeln!(f, "{}", forecast.title)?;
        let failing = || self.notes.iter().filter(|note| note.weight == Weight::Fails);
        if failing().next().is_some() {
            writeln!(f)?;
            writeln!(f, "{EXPECTED_TO_FAIL}")?;
            failing().try_for_each(|note| paragraph(f, &note.to_string()))?;
        }
        for zone in &forecast.zones {
            writeln!(f)?;
            zone_section(f, zone)?;
        }
        writeln!(f)?;
        steps(f, &forecast.steps, forecast.total)?;
        for fusing in &forecast.fusing {
            writeln!(f)?;
            fusing.fmt(f)?;
        }
        writeln!(f)?;
        supplies(f, forecast)?;
        writeln!(f)?;
        writeln!(f, "If the carriage stalls")?;
        for stall in &forecast.stalls {
            row(
                f,
                &format!("surface {STALL_RISE} hotter after"),
                &format!(
                    "{} s under the {}, at D {}",
                    fixed(stall.too_hot.s(), 2),
                    stall.flame.words(),
                    mm(stall.diameter, 2)
                ),
            )?;
            row(
                f,
                "",
                &format!(
                    "the interlock shuts it after {} s, {:.0} hotter by then",
                    fixed(stall.shut_after.s(), 2),
                    stall.rise
                ),
            )?;
        }
        for zone in &forecast.zones {
            row(
                f,
                &shortened(&format!("lump on \"{}\"", zone.zone), 28),
                &format!("{:.4} mm each second with powder on", zone.lump_rate.mm_per_s()),
            )?;
        }
        let told = || self.notes.iter().filter(|note| note.weight == Weight::Told);
        if told().next().is_some() {
            writeln!(f)?;
            writeln!(f, "Notes")?;
        }
        told().try_for_each(|note| paragraph(f, &note.to_string()))
    }
}

/// Text in lines of at most the page's width, hanging under a dash.
fn paragraph(f: &mut fmt::Formatter<'_>, text: &str) -> fmt::Result {
    let mut line = "  -".to_owned();
    for word in text.split_whitespace() {
        if line.chars().count() + 1 + word.chars().count() > WIDTH {
            writeln!(f, "{line}")?;
            line = "   ".to_owned();
        }
        line.push(' ');
        line.push_str(word);
    }
    writeln!(f, "{line}")
}

/// One line: what, and its value.
pub(super) fn row(f: &mut fmt::Formatter<'_>, what: &str, value: &str) -> fmt::Result {
    writeln!(f, "  {what:<28} {value}")
}

fn mm(length: Length, places: usize) -> String {
    fixed(length.mm(), places)
}

/// "50.00 mm", or "50.00 to 80.00 mm".
fn span(low: f64, high: f64, places: usize, unit: &str) -> String {
    let (a, b) = (fixed(low, places), fixed(high, places));
    if a == b { format!("{a} {unit}") } else { format!("{a} to {b} {unit}") }
}

fn zone_section(f: &mut fmt::Formatter<'_>, zone: &ZoneForecast) -> fmt::Result {
    writeln!(f, "Zone \"{}\"", zone.zone)?;
    row(f, "edges", &span(zone.edges.low.mm(), zone.edges.high.mm(), 2, "mm"))?;
    row(f, "diameter", &span(zone.diameters.low.mm(), zone.diameters.high.mm(), 2, "mm"))?;
    row(
        f,
        "spindle",
        &format!(
            "{} (wanted {:.1}, {:+.2} %)",
            zone.speed.spindle,
            zone.speed.wanted.rpm(),
            // Not "-0.00": what rounds to nothing has no sign of its own.
            (zone.speed.mismatch.percent() * 100.0).round() / 100.0 + 0.0
        ),
    )?;
    let (low, high) =
        (metres_per_minute(zone.speed.surface.low), metres_per_minute(zone.speed.surface.high));
    let surface = if low == high { low } else { format!("{low} to {high}") };
    row(f, "surface speed", &surface)?;
    let (slow, fast) = (zone.feed.low.mm_per_s(), zone.feed.high.mm_per_s());
    row(
        f,
        "feed",
        &format!(
            "{} ({})",
            span(slow, fast, 3, "mm/s"),
            span(slow * 60.0, fast * 60.0, 0, "mm/min")
        ),
    )?;
    row(
        f,
        "pitch",
        &format!(
            "{:.2} mm/turn, {:.2} sigma of the plume; ripple {:.2} % peak to peak",
            zone.pitch.mm_per_turn(),
            zone.pitch.mm_per_turn() / zone.plume.mm(),
            zone.ripple.percent()
        ),
    )?;
    row(f, "overrun", &format!("{} past each edge", zone.overrun))?;
    row(f, "caught by the part", &format!("{:.2} % of the plume", zone.capture.percent()))?;
    thickness(f, zone)?;
    growth(f, zone)?;
    commands(f, zone)
}

/// Diameters at both ends of a zone that has more than one.
fn sizes(f: &mut fmt::Formatter<'_>, zone: &ZoneForecast, sizes: &[Sizes]) -> fmt::Result {
    let hot = zone.growth.first().map_or(0.0, |growth| growth.temperature.celsius());
    writeln!(
        f,
        "  {:<28} {:>10} {:>10} {:>12} {:>10} {:>10}",
        "diameters, mm",
        "bare",
        "sprayed",
        format!("at {hot:.0} degC"),
        "fused",
        "machined"
    )?;
    for size in sizes {
        let fused = size.fused.map_or_else(|| "-".to_owned(), |fused| mm(fused, 3));
        writeln!(
            f,
            "    {:<26} {:>10} {:>10} {:>12} {fused:>10} {:>10}",
            format!("at {}", mm(size.at, 2)),
            mm(size.bare, 3),
            mm(size.sprayed, 3),
            mm(size.sprayed_hot, 3),
            mm(size.machined, 3)
        )?;
    }
    Ok(())
}

fn thickness(f: &mut fmt::Formatter<'_>, zone: &ZoneForecast) -> fmt::Result {
    let count = &zone.passes;
    let tapers = zone.sizes.len() > 1;
    row(f, "thickness of one pass", &format!("{} mm radial", mm(zone.thickness_per_pass, 4)))?;
    row(
        f,
        "passes",
        &format!(
            "{} (needed {:.2} by area; {:.2} if it stayed thin, {:.2} as it grows)",
            count.planned, count.by_area, count.thin, count.with_growth
        ),
    )?;
    let (sprayed, required) = (mm(zone.sprayed, 3), mm(count.required, 3));
    let cold = mm(zone.sprayed_diameter, 3);
    let hot = zone.growth.first().map_or(0.0, |growth| growth.temperature.celsius());
    let diameter = if tapers {
        format!("mean D {cold} mm")
    } else {
        format!("D {cold} mm, {} mm at {hot:.0} degC", mm(zone.sprayed_diameter_hot, 3))
    };
    row(f, "as sprayed", &format!("{sprayed} mm radial ({required} needed), {diameter}"))?;
    if let Some(fused) = &zone.fused {
        row(
            f,
            "fused",
            &format!(
                "{} mm radial, {}D {} mm, {} mm over the finish",
                mm(fused.build, 3),
                if tapers { "mean " } else { "" },
                mm(fused.diameter, 3),
                mm(fused.over_finish, 3)
            ),
        )?;
    }
    match zone.sizes.as_slice() {
        [only] => row(f, "machined", &format!("D {} mm", mm(only.machined, 3)))?,
        several => sizes(f, zone, several)?,
    }
    evenness(f, zone)?;
    let thinnest = zone.along.iter().map(|station| station.sprayed).reduce(Length::min);
    let thickest = zone.along.iter().map(|station| station.sprayed).reduce(Length::max);
    if let (Some(low), Some(high)) = (thinnest, thickest) {
        row(
            f,
            "along the zone",
            &format!("{} mm as driven", span(low.mm(), high.mm(), 3, "").trim_end()),
        )?;
    }
    for (index, chunk) in zone.build_up.chunks(8).enumerate() {
        let values: Vec<String> = chunk.iter().map(|build| mm(*build, 4)).collect();
        let what = if index == 0 { "build after each pass, mm" } else { "" };
        row(f, what, &values.join("  "))?;
    }
    Ok(())
}

/// How even the coat is as driven; where the feed changes, also what that is good for, told by two
/// figures that leave the same out.
fn evenness(f: &mut fmt::Formatter<'_>, zone: &ZoneForecast) -> fmt::Result {
    let constant = zone.feed.low == zone.feed.high;
    let how = if constant { ", at a constant feed" } else { "" };
    row(f, "even within", &format!("+-{:.2} % as driven{how}", zone.uneven.percent()))?;
    if constant {
        return Ok(());
    }
    row(
        f,
        "  a thin coat, alone",
        &format!(
            "+-{:.2} % with this feed, +-{:.2} % with the best constant one",
            zone.feed_uneven.percent(),
            zone.constant_uneven.percent()
        ),
    )
}

fn growth(f: &mut fmt::Formatter<'_>, zone: &ZoneForecast) -> fmt::Result {
    for growth in &zone.growth {
        row(
            f,
            &format!("edges at {}", growth.temperature),
            &span(growth.edges.low.mm(), growth.edges.high.mm(), 3, "mm, all of the part hot"),
        )?;
    }
    for grown in &zone.grown {
        let when = match grown.when {
            GrownWhen::Spraying => "when spraying begins",
            GrownWhen::Sprayed => "when it is sprayed",
            GrownWhen::Fused => "when it is fused",
        };
        let edges = span(grown.edges.low.mm(), grown.edges.high.mm(), 3, "mm expected");
        row(f, when, &edges)?;
    }
    if zone.backlash > Length::ZERO {
        row(
            f,
            "lost motion",
            &format!(
                "{} taken up at each turn ({:.3} % of the edge if it were not)",
                zone.backlash,
                zone.backlash_error.percent()
            ),
        )?;
    }
    Ok(())
}

fn commands(f: &mut fmt::Formatter<'_>, zone: &ZoneForecast) -> fmt::Result {
    row(
        f,
        "powder",
        &format!(
            "arrives for {:.1} of {:.1} s, {:.1} g, switched on {}",
            zone.powder_on.s(),
            zone.motion.s(),
            zone.powder.g(),
            counted(zone.switched_on, "time")
        ),
    )?;
    if zone.through > 0 {
        row(f, "", &format!("stays on through {}, counted above", counted(zone.through, "turn")))?;
    }
    writeln!(
        f,
        "  {:<28} {:>12} {:>12} {:>12} {:>12}",
        "powder, mm", "coil on at", "arrives at", "coil off at", "ceases at"
    )?;
    let shown = |edge: Option<EdgePlaces>| match edge {
        Some(edge) => (mm(edge.drive, 3), mm(edge.arrives, 3)),
        None => ("stays on".to_owned(), "-".to_owned()),
    };
    for (index, pass) in zone.commands.iter().enumerate() {
        let same = |other: usize| {
            zone.commands.get(other).is_some_and(|before| {
                before.on == pass.on && before.off == pass.off && before.direction == pass.direction
            })
        };
        // Passes alternate: one that repeats the last but one is not told again.
        if index.checked_sub(2).is_some_and(same) {
            continue;
        }
        let way = match pass.direction {
            Direction::TowardTail => "toward tail",
            Direction::TowardChuck => "toward chuck",
        };
        let ((on_at, on_for), (off_at, off_for)) = (shown(pass.on), shown(pass.off));
        writeln!(
            f,
            "    {:<26} {on_at:>12} {on_for:>12} {off_at:>12} {off_for:>12}",
            format!("pass {}, {way}", pass.pass)
        )?;
    }
    Ok(())
}

fn steps(f: &mut fmt::Formatter<'_>, steps: &[StepForecast], total: Time) -> fmt::Result {
    writeln!(f, "{:<46} {:>10} {:>10} {:>11}  time", "Steps", "takes", "done at", "part then")?;
    for step in steps {
        let how = match step.certainty {
            Certainty::Planned => "as planned",
            Certainty::Estimated => "estimated",
            Certainty::AtLeast => "at least",
            Certainty::ByPerson => "not counted",
        };
        let takes = match step.certainty {
            Certainty::ByPerson => "by hand".to_owned(),
            Certainty::Planned | Certainty::Estimated | Certainty::AtLeast => clock(step.takes),
        };
        let line = format!(
            "  {:<44} {:>10} {:>10} {:>6.0} degC  {how}",
            shortened(&step.what, 44),
            takes,
            clock(step.done_at),
            step.leaves_at.celsius()
        );
        writeln!(f, "{}", line.trim_end())?;
    }
    writeln!(f, "  {:<44} {:>10}", "all together", clock(total))?;
    writeln!(
        f,
        "  The part then: what its sensor is expected to see at the end of the step, always an"
    )?;
    writeln!(
        f,
        "  estimate; after fusing the hottest place. As planned: motion alone, no wait in it."
    )
}

fn supplies(f: &mut fmt::Formatter<'_>, forecast: &Forecast) -> fmt::Result {
    writeln!(f, "Powder and gas")?;
    for used in &forecast.powder {
        writeln!(f, "  {}", shortened(&used.title, WIDTH - 2))?;
        row(f, "  fed", &format!("{:.1} g in {:.1} s", used.fed.g(), used.arriving.s()))?;
    }
    forecast.gas.iter().try_for_each(|used| gas(f, used))
}

fn gas(f: &mut fmt::Formatter<'_>, used: &GasUse) -> fmt::Result {
    writeln!(f, "  {}", shortened(&used.torch, WIDTH - 2))?;
    row(f, "  alight", &clock(used.burning))?;
    let litres =
        format!("{:.0} L {}, {:.0} L oxygen", used.fuel.l(), used.fuel_gas, used.oxygen.l());
    row(f, "  burns", &litres)?;
    if let Some(need) = &used.cylinders {
        let cubic_metres = |volume: Volume| volume.l() / 1000.0;
        row(
            f,
            "  cylinders",
            &format!(
                "{:.1} m3 for {}; {:.1} m3 at 1/10 an hour, {:.1} m3 at 1/15",
                cubic_metres(need.by_catalogue),
                used.fuel_flow,
                cubic_metres(need.intermittent),
                cubic_metres(need.continuous)
            ),
        )?;
    }
    Ok(())
}

/// A span of time as a practitioner reads it: "1:02:03 h", "2:03 min" or "9.5 s".
#[must_use]
pub fn clock(time: Time) -> String {
    let seconds = time.s().round();
    if seconds < 60.0 {
        return format!("{:.1} s", time.s());
    }
    let (hours, rest) = ((seconds / 3600.0).floor(), seconds % 3600.0);
    let (minutes, seconds) = ((rest / 60.0).floor(), rest % 60.0);
    if hours > 0.0 {
        format!("{hours:.0}:{minutes:02.0}:{seconds:02.0} h")
    } else {
        format!("{minutes:.0}:{seconds:02.0} min")
    }
}

/// At most so many characters, an ellipsis where some are left out.
pub(super) fn shortened(text: &str, most: usize) -> String {
    if text.chars().count() <= most {
        return text.to_owned();
    }
    text.chars().take(most.saturating_sub(1)).chain(core::iter::once('…')).collect()
}
