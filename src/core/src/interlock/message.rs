//! A cause in words: what, where, found, expected, how old.

use core::fmt::Write as _;
use core::time::Duration;

use super::figures::Figure;
use super::judge::{View, longest_rest, threshold, trial};
use super::matrix::{Reference, Row, Watch};
use super::scene::Onset;
use crate::image::{Analogue, Contact, Failure, Kind, Level, Signal};

/// The sentence that tells a confirmed cause, with the pass in hand and where the torch was when
/// its condition began.
pub(super) fn message(row: &Row, figure: &Figure, onset: Option<Onset>, view: &View<'_>) -> String {
    let mut text = row.title.to_owned();
    if let Some(pass) = view.limits.pass {
        add(&mut text, format_args!(", pass {pass}"));
    }
    if let Some(onset) = onset {
        add(&mut text, format_args!(", {onset}"));
    }
    let found = found(row.watch, figure.set_point, view);
    if !found.is_empty() {
        add(&mut text, format_args!(": {found}"));
    }
    if let Some(tag) = &figure.tag {
        add(&mut text, format_args!(" [{tag}]"));
    }
    text
}

/// The same for a cause that was raised, with what whoever raised it says.
pub(super) fn raised(row: &Row, words: &str) -> String {
    if words.is_empty() { row.title.to_owned() } else { format!("{}: {words}", row.title) }
}

/// Writing to a `String` cannot fail.
fn add(text: &mut String, words: core::fmt::Arguments<'_>) {
    let _ = text.write_fmt(words);
}

/// How old a signal is, or why it says nothing.
fn standing<T: Copy>(signal: Signal<T>, view: &View<'_>, budget: Duration) -> String {
    let age = signal.age(view.scene.now).as_secs_f64();
    match signal.kind {
        Kind::Failed(why) => reason(why).to_owned(),
        Kind::Measured | Kind::Held if signal.age(view.scene.now) > budget => {
            format!("not read for {age:.2} s")
        }
        Kind::Measured => format!("read {age:.3} s ago"),
        Kind::Held => format!("held for {age:.3} s"),
    }
}

const fn reason(why: Failure) -> &'static str {
    match why {
        Failure::NeverRead => "never read",
        Failure::BrokenWire => "broken wire (current too low)",
        Failure::ShortCircuit => "short circuit (current too high)",
        Failure::Uncertain => "current in the uncertain bands",
        Failure::Frozen => "the module's cycle stands still",
        Failure::Refused => "the device can't say",
        Failure::Implausible => "a jump no process makes",
    }
}

fn contact(tag: Contact, expected: &str, view: &View<'_>) -> String {
    let signal = view.inputs.contact(tag);
    let budget = view.plant.field_budget;
    let level = match signal.trusted(view.scene.now, budget) {
        Some(Level::On) => "on",
        Some(Level::Off) => "off",
        None => "not known",
    };
    format!("{} {level} ({}), expected {expected}", tag.title(), standing(signal, view, budget))
}

fn value(
    tag: Analogue,
    reference: Reference,
    set_point: f64,
    side: &str,
    view: &View<'_>,
) -> String {
    let signal = view.inputs.analogue(tag);
    let unit = tag.unit();
    let age = standing(signal, view, view.plant.field_budget);
    let found = format!("{} {:.2} {unit} ({age})", tag.title(), signal.value);
    match threshold(reference, set_point, view.scene, view.limits) {
        Some(limit) => format!("{found}, expected at {side} {limit:.2} {unit}"),
        None => format!("{found}, but nobody has set a figure to compare it with"),
    }
}

fn found(watch: Watch, set_point: f64, view: &View<'_>) -> String {
    match watch {
        Watch::Open(tag) => contact(tag, "on", view),
        Watch::Pressed(tag) | Watch::PressedOr(tag, _) => contact(tag, "off", view),
        Watch::Person(_) => String::new(),
        Watch::Failed(tag) => {
            let signal = view.inputs.analogue(tag);
            let why = standing(signal, view, view.plant.field_budget);
            format!("{} says nothing: {why}", tag.title())
        }
        Watch::Below(tag, reference) => value(tag, reference, set_point, "least", view),
        Watch::Above(tag, reference) => value(tag, reference, set_point, "most", view),
        Watch::NoFlame => contact(Contact::Flame, "on", view),
        Watch::FlameFromNothing | Watch::FlameRemains => {
            let shut = view.scene.fuel_shut_for.as_secs_f64();
            format!("{}; fuel shut for {shut:.1} s", contact(Contact::Flame, "off", view))
        }
        Watch::TrialOver => format!(
            "fuel open for {:.1} s without a flame, expected at most {:.1} s",
            view.scene.fuel_open_for.as_secs_f64(),
            trial(view.limits)
        ),
        Watch::FuelNotShut => contact(Contact::FuelShut, "on", view),
        Watch::OxygenNotShut => contact(Contact::OxygenShut, "on", view),
        Watch::FuelShutContradicts => contact(Contact::FuelShut, "off", view),
        Watch::RelayDropped => contact(Contact::WatchdogRelay, "on", view),
        Watch::FieldSilent => {
            let signal = view.inputs.contact(Contact::EmergencyStop);
            format!("no contact is known: {}", standing(signal, view, view.plant.field_budget))
        }
        Watch::FieldFrozen => "its cycle counter stands still".to_owned(),
        Watch::ScanGap => format!(
            "{:.2} s since the scan before, expected at most {set_point:.2} s",
            view.scene.gap.as_secs_f64()
        ),
        Watch::MissedPulses
        | Watch::SpindleSlow
        | Watch::TachometerSilent
        | Watch::Overspeed
        | Watch::SpeedError
        | Watch::InverterNotOk => spindle(watch, set_point, view),
        Watch::FeedFalls | Watch::FeedPulses => format!(
            "the hopper lost {:.0} % of what it lost at first",
            view.scene.feed_share.unwrap_or_default() * 100.0
        ),
        Watch::HoseBlocked => format!(
            "back-pressure {:.2} bar, {:.2} bar with air alone",
            view.inputs.analogue(Analogue::BackPressure).value,
            view.scene.back_pressure_before.unwrap_or_default()
        ),
        _ => carriage(watch, set_point, view),
    }
}

fn carriage(watch: Watch, set_point: f64, view: &View<'_>) -> String {
    let scene = view.scene;
    let drive = || {
        let axis = view.inputs.axis;
        format!(
            "drive {:?}, code {} ({})",
            axis.value.power,
            axis.value.fault_code,
            standing(axis, view, view.plant.drive_budget)
        )
    };
    match watch {
        Watch::FollowingError => format!(
            "{:.2} mm behind, expected at most {set_point:.2} mm",
            view.inputs.axis.value.following_error.abs().mm()
        ),
        Watch::Crawl => {
            format!("{:.2} mm/s, expected {:.2} mm/s", scene.speed_toward, scene.expected_speed)
        }
        Watch::LimitTowardChuck => contact(Contact::LimitMinus, "on", view),
        Watch::LimitTowardTail => contact(Contact::LimitPlus, "on", view),
        Watch::OutsideTravel | Watch::OutsideTravelLit => {
            let bounds = view.plant.travel;
            match scene.travel {
                Some(travel) => format!(
                    "asked to {:.1}, bounds {:.1} to {:.1}",
                    travel.to, bounds.low, bounds.high
                ),
                None => String::new(),
            }
        }
        Watch::TorqueContradicts => format!(
            "{}; {}; {}",
            contact(Contact::EmergencyStop, "to agree", view),
            contact(Contact::TorqueAllowed, "to agree", view),
            drive()
        ),
        Watch::ParkContradicts => {
            contact(Contact::ParkSwitch, "on at the park and off over the part", view)
        }
        Watch::CarriageStill => {
            format!("{:.2}, expected to move", view.inputs.axis.value.velocity)
        }
        Watch::FlameRests => format!(
            "{:.1} s over one spot, expected at most {:.1} s",
            scene.rested_for.as_secs_f64(),
            longest_rest(view.limits, set_point)
        ),
        _ => drive(),
    }
}

fn spindle(watch: Watch, set_point: f64, view: &View<'_>) -> String {
    let signal = view.inputs.spindle;
    let measured = signal.value.measured;
    let against = |reference: Option<f64>| {
        let reference = reference.unwrap_or_default();
        format!("{measured:.1}, asked {reference:.1} rpm")
    };
    match watch {
        Watch::InverterNotOk => format!(
            "fault, open run latch or silence ({})",
            standing(view.inputs.inverter_ok, view, view.plant.inverter_budget)
        ),
        Watch::MissedPulses => format!(
            "{measured:.1}, {:.0} pulses missing, expected fewer than {set_point:.0}",
            signal.value.missed_pulses
        ),
        Watch::Overspeed => against(view.scene.spindle_high),
        Watch::SpindleSlow | Watch::SpeedError => against(view.scene.spindle_low),
        _ => standing(signal, view, view.plant.field_budget),
    }
}
