//! What binds in a zone, and what would free it.

use super::outline::Outline;
use super::passes::{MOST_PASSES, PassCount, ZoneFeed, pitch_of};
use super::problem::{Findings, Limit};
use super::setup::{LONGEST_ZONE_IN_PLUMES, SHORTEST_ZONE_IN_PLUMES};
use super::speeds::{ChosenSpeed, NoSpeedFits, metres_per_minute};
use super::zone::ZoneContext;
use crate::catalogue::{Powder, Torch};
use crate::coat::deposit::Deposit;
use crate::coat::plume::{WIDEST_PITCH_IN_PLUMES, ripple};
use crate::quantity::{Length, Pitch, Speed};
use crate::recipe::{FeedChoice, Zone};

/// Values of a zone that stand by themselves.
pub(crate) fn check_values(
    context: &ZoneContext<'_>,
    zone: &Zone,
    powder: &Powder,
    outline: &Outline,
    place: &str,
    findings: &mut Findings,
) {
    let torch = context.torch;
    for (at, jump) in outline.steps() {
        findings.note(
            place,
            format!(
                "the part has a step at {at}, inside the zone: within {} of it the coat is up to \
                 +-{:.0} % off whatever the feed does, and is not counted as uneven; one zone for \
                 each diameter has a speed of its own",
                torch.plume,
                jump.percent()
            ),
        );
    }
    for (what, value) in [
        ("length", (zone.to - zone.from).mm()),
        ("diameter", outline.diameters().low.mm()),
        ("finish", (zone.finish + zone.allowance).mm()),
        ("powder_rate", zone.powder_rate.g_per_min()),
        ("plume of the torch", torch.plume.mm()),
        ("surface_speed", zone.surface_speed.mm_per_s()),
        ("ramp of the carriage", context.rig.axis.ramp.mm_per_s2()),
    ] {
        if value.is_nan() || value <= 0.0 {
            let found = format!("{what} is {value}, more than zero is needed");
            findings.problem(Limit::Positive, format!("{place}, {what}"), found, "correct it");
        }
    }
    let chosen = match zone.feed {
        FeedChoice::Pitch(pitch) => pitch.mm_per_turn(),
        FeedChoice::Feed(feed) => feed.mm_per_s(),
        FeedChoice::ThicknessPerPass(thickness) => thickness.mm(),
    };
    if chosen.is_nan() || chosen <= 0.0 {
        let found = format!("feed is {chosen}, more than zero is needed");
        findings.problem(Limit::Positive, format!("{place}, feed"), found, "correct it");
    }
    if zone.passes == Some(0) {
        findings.problem(
            Limit::Passes,
            format!("{place}, passes"),
            "zero passes spray nothing",
            "leave the number out and it is worked out, or ask for one at least",
        );
    }
    if let Some(range) = torch.powder_rate
        && !range.contains(zone.powder_rate)
    {
        findings.problem(
            Limit::PowderRate,
            format!("{place}, powder_rate"),
            format!(
                "{} asked for, {} carries {} to {}",
                zone.powder_rate, torch.title, range.low, range.high
            ),
            "stay inside, and let the number of passes make the thickness",
        );
    }
    let window = context.recipe.spray.window;
    if window.low < powder.spray_window.low || window.high > powder.spray_window.high {
        findings.problem(
            Limit::SprayTemperature,
            format!("spray, window ({place})"),
            format!(
                "{} to {}, but {} is sprayed on at {} to {}",
                window.low,
                window.high,
                powder.title,
                powder.spray_window.low,
                powder.spray_window.high
            ),
            "narrow the window",
        );
    }
    let length = zone.to - zone.from;
    if length > torch.plume * LONGEST_ZONE_IN_PLUMES {
        findings.problem(
            Limit::Reach,
            place,
            format!(
                "{length} is more than {LONGEST_ZONE_IN_PLUMES} standard deviations of the plume \
                 ({}): a feed is worked out for no more at once",
                torch.plume
            ),
            "divide the zone, or correct the torch's plume",
        );
    }
    if length < torch.plume * SHORTEST_ZONE_IN_PLUMES {
        findings.note(
            place,
            format!(
                "{length} is shorter than {} standard deviations of the plume: both edges fall \
                 off into each other",
                SHORTEST_ZONE_IN_PLUMES
            ),
        );
    }
}

/// No spindle speed keeps the surface in the torch's window.
pub(crate) fn no_speed(none: &NoSpeedFits, torch: &Torch, place: &str, findings: &mut Findings) {
    let found = format!(
        "at {}, the nearest the spindle has, the surface runs at {} to {}; {} works on {} to {}",
        none.nearest,
        metres_per_minute(none.surface.low),
        metres_per_minute(none.surface.high),
        torch.title,
        metres_per_minute(torch.surface_speed.low),
        metres_per_minute(torch.surface_speed.high),
    );
    let remedy = if none.needed.low > none.needed.high {
        "the diameters differ too much for one spindle speed: split the zone".to_owned()
    } else {
        format!("a speed between {} and {} would do", none.needed.low, none.needed.high)
    };
    findings.problem(Limit::SurfaceSpeed, format!("{place}, surface_speed"), found, remedy);
}

/// The feed against the torch's range.
#[expect(clippy::too_many_arguments, reason = "one check, read once")]
pub(crate) fn check_feed(
    feed: &ZoneFeed,
    zone: &Zone,
    speed: &ChosenSpeed,
    deposit: &Deposit,
    surface: Length,
    torch: &Torch,
    place: &str,
    findings: &mut Findings,
) {
    if torch.feed.low <= feed.range.low && feed.range.high <= torch.feed.high {
        return;
    }
    // The reference at the mean diameter may lie where both ends of the profile fit.
    let low = torch.feed.low * (feed.mean / feed.range.low);
    let high = torch.feed.high * (feed.mean / feed.range.high);
    let remedy = match zone.feed {
        _ if low > high => "the diameters differ too much for one zone: split it".to_owned(),
        FeedChoice::Pitch(_) => format!(
            "at {} a pitch of {} to {} would do",
            speed.spindle,
            pitch_of(low, speed.spindle),
            pitch_of(high, speed.spindle)
        ),
        FeedChoice::Feed(_) => format!("a feed of {low} to {high} would do"),
        FeedChoice::ThicknessPerPass(_) => format!(
            "{:.4} to {:.4} for each pass would do, or another powder rate",
            deposit.thickness_per_pass(surface, high),
            deposit.thickness_per_pass(surface, low)
        ),
    };
    findings.problem(
        Limit::Feed,
        format!("{place}, feed"),
        format!(
            "the feed comes to {} to {}, {} runs at {} to {}",
            feed.range.low, feed.range.high, torch.title, torch.feed.low, torch.feed.high
        ),
        remedy,
    );
}

/// The pitch against the plume.
pub(crate) fn check_pitch(
    pitch: Pitch,
    zone: &Zone,
    speed: &ChosenSpeed,
    fastest: Speed,
    torch: &Torch,
    place: &str,
    findings: &mut Findings,
) {
    let widest = Pitch::from_mm_per_turn(torch.plume.mm() * WIDEST_PITCH_IN_PLUMES);
    if pitch.mm_per_turn() <= widest.mm_per_turn() * (1.0 + 1e-9) {
        return;
    }
    let share = widest / pitch;
    let remedy = match zone.feed {
        FeedChoice::Pitch(wanted) => format!("ask for a pitch of at most {}", wanted * share),
        FeedChoice::Feed(_) | FeedChoice::ThicknessPerPass(_) => format!(
            "a feed of at most {} or a spindle speed of at least {} would do",
            fastest * share,
            speed.spindle / share
        ),
    };
    findings.problem(
        Limit::Pitch,
        format!("{place}, feed"),
        format!(
            "a pitch of {pitch} leaves a ripple of {:.1} % peak to peak; up to {widest}, two \
             standard deviations of the plume, it stays under 3 %",
            ripple(pitch, torch.plume).percent()
        ),
        remedy,
    );
}

/// The number of passes, and the coat they build, against the powder's limit.
pub(crate) fn check_count(
    count: &PassCount,
    build: Length,
    powder: &Powder,
    place: &str,
    findings: &mut Findings,
) {
    if count.planned > MOST_PASSES {
        findings.problem(
            Limit::Passes,
            format!("{place}, feed"),
            format!("{:.0} passes are needed, {MOST_PASSES} are allowed", count.by_area.ceil()),
            "make each pass thicker: a slower feed or more powder",
        );
    } else if build > powder.thickest {
        findings.problem(
            Limit::Thickness,
            format!("{place}, finish"),
            format!(
                "{} passes build {build:.3} as sprayed, {} allows {}",
                count.planned, powder.title, powder.thickest
            ),
            "ask for a thinner coat or fewer passes",
        );
    } else if f64::from(count.planned) + 1e-9 < count.by_area {
        findings.note(
            format!("{place}, passes"),
            format!(
                "{}: {build:.3} of the {:.3} needed is built ({:.2} passes would do)",
                insisted_on(count.planned),
                count.required,
                count.by_area
            ),
        );
    } else if f64::from(count.planned) >= count.by_area + 1.0 {
        findings.note(
            format!("{place}, passes"),
            format!(
                "{}, {:.2} would do: {build:.3} is built, {:.3} needed",
                insisted_on(count.planned),
                count.by_area,
                count.required
            ),
        );
    }
}

/// "1 pass is insisted on".
fn insisted_on(passes: u32) -> String {
    match passes {
        1 => "1 pass is insisted on".to_owned(),
        several => format!("{several} passes are insisted on"),
    }
}
