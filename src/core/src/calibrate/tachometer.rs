//! The tachometer's pulses in a turn.

use super::{Calibrated, PROVE_AGAIN, START_ANEW, number, refuse};
use crate::document::{FieldValue, Problem};
use crate::quantity::{SpindleSpeed, Time, Turns};
use crate::rig::{PULSES_PER_TURN, TachometerSpec};

/// How far a count of turns by eye is off at the most, turns: half a turn at both ends together.
const COUNTED_WITHIN: f64 = 0.5;
/// How far a watch is off at the most, s: a thumb at both ends (common practice, no source).
const TIMED_WITHIN: f64 = 0.5;
/// Fewest turns worth counting.
const FEWEST: Turns = Turns::from_turns(20.0);

/// Turns counted by eye while a speed was read.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TurnsCounted {
    /// How many.
    pub turns: Turns,
    /// In how long.
    pub time: Time,
    /// The speed shown meanwhile.
    pub read: SpindleSpeed,
}

/// Pulses in a turn: the present ones times the speed read over the speed counted. It is a whole
/// number, and taken only where the count can tell which.
///
/// # Errors
/// A count that cannot be, one that cannot tell, and fewer pulses than a stopped spindle is seen
/// by in time.
pub fn tachometer(
    spec: &TachometerSpec,
    counted: &TurnsCounted,
) -> Result<Calibrated, Box<Problem>> {
    let TurnsCounted { turns, time, read } = *counted;
    if !(turns >= FEWEST && turns.turns().is_finite()) {
        return refuse(
            Problem::error("turns", format!("{turns} were counted"))
                .accepted(format!("{FEWEST} or more"))
                .help("count a minute long at some 60 rpm"),
        );
    }
    if !(time > Time::ZERO && time.s().is_finite()) {
        return refuse(
            Problem::error("time", format!("{turns} in {time}"))
                .accepted("the time they took, by a watch"),
        );
    }
    if !(read > SpindleSpeed::ZERO && read.rpm().is_finite()) {
        return refuse(
            Problem::error("read", format!("a speed of {read} was shown"))
                .accepted("a speed above 0 rpm, steady while the turns are counted")
                .help("look at the sensor, its gap and its wire: no pulse comes"),
        );
    }
    let speed = SpindleSpeed::from_rpm(turns.turns() / time.s() * 60.0);
    let pulses = f64::from(spec.pulses_per_turn) * (read / speed);
    let within = pulses * (COUNTED_WITHIN / turns.turns() + TIMED_WITHIN / time.s());
    let said = format!("{turns} in {time} are {speed:.1}, shown as {read:.1}");
    if within >= 0.5 {
        return refuse(
            Problem::error("turns", format!("{said}: {pulses:.1} ± {within:.1} pulses"))
                .accepted("a count that can tell one number of pulses from the next")
                .help("count more turns, or count the targets on the disc"),
        );
    }
    let whole = pulses.round();
    let (fewest, most) = (*PULSES_PER_TURN.start(), *PULSES_PER_TURN.end());
    let limits = f64::from(fewest)..=f64::from(most);
    if (pulses - whole).abs() > within {
        return refuse(Problem::error("read", format!("{said}: {pulses:.2} pulses in a turn"))
            .accepted(format!("a whole number, to {within:.2}"))
            .help("wait until the speed is steady and count again; pulses may be missed or come twice"));
    }
    if !limits.contains(&whole) {
        return refuse(
            Problem::error("read", format!("{said}: {whole} pulses in a turn"))
                .accepted(format!(
                    "{fewest} to {most}: with fewer a stopped spindle is seen too late"
                ))
                .help("look whether every target passes the sensor near enough, or fit more"),
        );
    }
    let present = f64::from(spec.pulses_per_turn);
    if (whole - present).abs() < 0.5 {
        let found = format!("{said}: {} pulses in a turn, as in the file", number(whole, 0));
        return Ok(Calibrated {
            procedure: "tachometer",
            found,
            writes: Vec::new(),
            notes: Vec::new(),
        });
    }
    Ok(Calibrated {
        procedure: "tachometer",
        found: format!("{said}: {} pulses in a turn instead of {present}", number(whole, 0)),
        writes: vec![(
            "field.tachometer.pulses_per_turn".to_owned(),
            FieldValue::Plain(number(whole, 0)),
        )],
        notes: vec![START_ANEW, PROVE_AGAIN],
    })
}
