//! Whether the lines can carry what is asked of them, in time.
//!
//! Frame lengths are those of the Modbus application protocol V1.1b3; the gap t3.5 is that of
//! the serial line specification V1.02: 3.5 characters, and 1.75 ms above 19,200 baud.

use super::super::{FieldSpec, LineId, LineSpec, Parity, SpindleSpec, StopBits, bounds};
use super::{Draft, ms};
use crate::document::{Problem, Problems};
use crate::image::{Coil, Contact};
use crate::quantity::Time;

/// Bytes of a request to read: unit, function, first, count, check.
const READ: usize = 8;
/// Bytes of a reply to a read beside its data.
const READ_REPLY: usize = 5;
/// Bytes of a request to write several beside its data.
const WRITE: usize = 9;
/// Bytes of a reply to a write of several.
const WRITE_REPLY: usize = 8;
/// Registers of the drive's read block.
const AXIS_BLOCK: usize = 12;
/// Registers of the inverter's read block.
const SPINDLE_BLOCK: usize = 4;

/// One exchange that comes again and again.
struct Poll {
    line: LineId,
    request: usize,
    reply: usize,
    every: Time,
    what: &'static str,
}

pub(super) fn check(problems: &mut Problems, draft: &Draft) {
    let polls = polls(draft);
    for (place, line) in draft.lines.iter().enumerate() {
        let Some(line) = line else { continue };
        let path = format!("line.{}", line.name);
        characters(problems, &path, line);
        let on_it: Vec<&Poll> = polls.iter().filter(|poll| poll.line == LineId(place)).collect();
        budgets(problems, &path, line, &on_it);
        load(problems, &path, line, &on_it);
    }
    ages(problems, draft);
    addresses(problems, draft);
}

/// Time of one character.
fn character(line: &LineSpec) -> Time {
    Time::from_s(f64::from(line.bits_per_character()) / f64::from(line.baud.max(1)))
}

/// The gap between frames.
fn gap(line: &LineSpec) -> Time {
    if line.baud > 19_200 { Time::from_s(0.001_75) } else { character(line) * 3.5 }
}

fn polls(draft: &Draft) -> Vec<Poll> {
    let mut polls = Vec::new();
    if let Some(field) = &draft.field {
        let inputs = Contact::COUNT.div_ceil(8);
        let coils = Coil::COUNT.div_ceil(8);
        let registers = registers(field);
        let poll =
            |request, reply, every, what| Poll { line: field.line, request, reply, every, what };
        polls.push(poll(
            READ,
            READ_REPLY + inputs,
            field.poll_every,
            "reading the discrete inputs",
        ));
        polls.push(poll(WRITE + coils, WRITE_REPLY, field.poll_every, "writing the coils"));
        polls.push(poll(
            READ,
            READ_REPLY + 2 * registers,
            field.registers_every,
            "reading the registers",
        ));
    }
    if let Some(axis) = &draft.axis {
        let reply = READ_REPLY + 2 * AXIS_BLOCK;
        polls.push(Poll {
            line: axis.line,
            request: READ,
            reply,
            every: axis.poll_every,
            what: "reading the drive",
        });
    }
    if let Some(motor) = draft.spindle.as_ref().map(SpindleSpec::motor) {
        let reply = READ_REPLY + 2 * SPINDLE_BLOCK;
        polls.push(Poll {
            line: motor.line,
            request: READ,
            reply,
            every: motor.poll_every,
            what: "reading the spindle",
        });
    }
    polls
}

/// Registers of the field module, read in one piece from the lowest to the highest.
fn registers(field: &FieldSpec) -> usize {
    let tachometer = &field.tachometer;
    let others = [
        tachometer.period_register.saturating_add(1),
        tachometer.count_register,
        tachometer.since_register,
        field.cycle_register,
    ];
    let used = || field.analogues.iter().filter_map(|analogue| analogue.register).chain(others);
    let low = used().chain([tachometer.period_register]).min().unwrap_or(0);
    usize::from(used().max().unwrap_or(0) - low) + 1
}

fn characters(problems: &mut Problems, path: &str, line: &LineSpec) {
    if line.parity == Parity::None && line.stop_bits == StopBits::One {
        problems.push(
            Problem::warning(
                format!("{path}.stop_bits"),
                "without parity a character has 10 bits only",
            )
            .accepted("two stop bits without parity (Modbus serial line V1.02)")
            .help("many devices do it all the same; check that all on this line do"),
        );
    }
}

/// Waiting long enough for a good reply, and short enough to know of a silent device in time.
fn budgets(problems: &mut Problems, path: &str, line: &LineSpec, polls: &[&Poll]) {
    let first_byte = line.turn_round + gap(line);
    if line.reply_within < first_byte {
        problems.push(
            Problem::error(
                format!("{path}.reply_within"),
                format!("{} is too short for a good reply", ms(line.reply_within)),
            )
            .accepted(format!(
                "at least {}: the turn-round of {} and the gap of {:.2} ms",
                ms(first_byte),
                ms(line.turn_round),
                gap(line).s() * 1e3
            ))
            .help("lengthen it, or raise the baud rate"),
        );
    }
    let longest = polls.iter().map(|poll| poll.reply).max().unwrap_or(0);
    let late = character(line) * count(longest) + gap(line);
    if line.quarantine < late {
        problems.push(
            Problem::error(
                format!("{path}.quarantine"),
                format!("{} is shorter than a late reply", ms(line.quarantine)),
            )
            .accepted(format!("at least {}: {longest} characters and the gap", ms(late)))
            .help("lengthen it: a late reply must never be taken for the next one"),
        );
    }
    let known = (line.reply_within + line.quarantine) * f64::from(line.misses);
    if known > bounds::SILENCE_KNOWN {
        problems.push(
            Problem::error(
                format!("{path}.misses"),
                format!(
                    "a silent device is known after {} only: {} times {} and {}",
                    ms(known),
                    line.misses,
                    ms(line.reply_within),
                    ms(line.quarantine)
                ),
            )
            .accepted(format!("within {}", ms(bounds::SILENCE_KNOWN)))
            .help("shorten reply_within or quarantine, or count fewer misses"),
        );
    }
}

/// The share of the line's time that its polls take.
fn load(problems: &mut Problems, path: &str, line: &LineSpec, polls: &[&Poll]) {
    let exchange = |poll: &Poll| {
        character(line) * count(poll.request + poll.reply) + gap(line) * 2.0 + line.turn_round
    };
    let load: f64 = polls.iter().map(|poll| exchange(poll) / poll.every).sum();
    if load > bounds::LINE_LOAD {
        let parts: Vec<String> = polls
            .iter()
            .map(|poll| format!("{} {} every {}", poll.what, ms(exchange(poll)), ms(poll.every)))
            .collect();
        problems.push(
            Problem::error(
                format!("{path}.baud"),
                format!(
                    "the polls take {:.0} % of the time of this line: {}",
                    load * 100.0,
                    parts.join(", ")
                ),
            )
            .accepted(format!(
                "at most {:.0} %: trips and powder edges need room",
                bounds::LINE_LOAD * 100.0
            ))
            .help("raise the baud rate, poll less often, or move a device to the other line"),
        );
    }
}

/// A signal is read at least twice before it counts as stale.
fn ages(problems: &mut Problems, draft: &Draft) {
    let mut age = |path: &str, budget: Time, every: Time| {
        if budget < every * 2.0 {
            problems.push(
                Problem::error(
                    path,
                    format!("{} is less than two polls of {}", ms(budget), ms(every)),
                )
                .accepted(format!("at least {}: one lost frame must not trip", ms(every * 2.0)))
                .help("poll more often, or lengthen the budget within its limit"),
            );
        }
    };
    if let Some(field) = &draft.field {
        age("field.age_budget", field.age_budget, field.poll_every.max(field.registers_every));
    }
    if let Some(axis) = &draft.axis {
        age("axis.age_budget", axis.age_budget, axis.poll_every);
    }
    if let Some(motor) = draft.spindle.as_ref().map(SpindleSpec::motor) {
        age("spindle.age_budget", motor.age_budget, motor.poll_every);
    }
}

/// No two devices of a line have one address.
fn addresses(problems: &mut Problems, draft: &Draft) {
    let devices = [
        draft.field.as_ref().map(|field| ("field", field.line, field.unit)),
        draft.axis.as_ref().map(|axis| ("axis", axis.line, axis.unit)),
        draft
            .spindle
            .as_ref()
            .map(|spindle| ("spindle", spindle.motor().line, spindle.motor().unit)),
    ];
    let devices: Vec<_> = devices.into_iter().flatten().collect();
    for (place, (name, line, unit)) in devices.iter().enumerate() {
        let same =
            devices.iter().take(place).find(|(_, other, address)| other == line && address == unit);
        if let Some((other, _, _)) = same {
            problems.push(
                Problem::error(
                    format!("{name}.unit"),
                    format!("unit {unit} of this line is `{other}` already"),
                )
                .accepted("an address of its own for each device of a line")
                .help("change the address in the device and here, or its line"),
            );
        }
    }
}

/// A number of characters, for arithmetic.
fn count(characters: usize) -> f64 {
    f64::from(u32::try_from(characters).unwrap_or(u32::MAX))
}
