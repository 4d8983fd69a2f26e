//! Whether every wire ends somewhere of its own, and the watchdog can do its work.

use std::collections::BTreeMap;

use super::super::bounds::{COILS, INPUTS, REGISTERS};
use super::super::{FieldSpec, LitBy, SwingAway};
use super::ms;
use crate::document::{Problem, Problems};
use crate::image::Coil;

pub(super) fn check(problems: &mut Problems, field: &FieldSpec, lit_by: Option<LitBy>) {
    let contacts = field.contacts.iter().filter_map(|contact| {
        Some((format!("field.contact.{}.input", contact.tag.key()), contact.input?))
    });
    within_reach(problems, "discrete input", contacts.clone(), INPUTS);
    once(problems, "discrete input", contacts);
    let coils = field
        .coils
        .iter()
        .filter_map(|coil| Some((format!("field.coil.{}.output", coil.coil.key()), coil.output?)));
    within_reach(problems, "coil", coils.clone(), COILS);
    once(problems, "coil", coils);
    let tachometer = &field.tachometer;
    let analogues = field.analogues.iter().filter_map(|analogue| {
        Some((format!("field.analogue.{}.register", analogue.tag.key()), analogue.register?))
    });
    let period = "field.tachometer.period_register".to_owned();
    let counters = [
        (period.clone(), tachometer.period_register),
        (period, tachometer.period_register.saturating_add(1)),
        ("field.tachometer.count_register".to_owned(), tachometer.count_register),
        ("field.tachometer.since_register".to_owned(), tachometer.since_register),
        ("field.cycle_register".to_owned(), field.cycle_register),
    ];
    let registers = analogues.chain(counters);
    within_reach(problems, "input register", registers.clone(), REGISTERS);
    once(problems, "input register", registers);
    fittings(problems, field, lit_by);
    watchdog(problems, field);
}

/// All addresses of a kind lie near enough for one request, and none is the last that a frame can name:
/// what follows the last of ours has an address too.
fn within_reach(
    problems: &mut Problems,
    what: &str,
    used: impl Iterator<Item = (String, u16)> + Clone,
    most: u16,
) {
    let Some(first) = used.clone().map(|(_, address)| address).min() else { return };
    let Some((path, last)) = used.max_by_key(|(_, address)| *address) else { return };
    let reach = first.saturating_add(most - 1).min(u16::MAX - 1);
    if last > reach {
        problems.push(
            Problem::error(
                path,
                format!("{what} {last} is too far from {first}, the first one, for one request"),
            )
            .accepted(format!("from {first} to {reach}: one request has up to {most}"))
            .help("correct the number, or wire it to a terminal nearer to the others"),
        );
    }
}

/// Every address is used by one signal only.
fn once(problems: &mut Problems, what: &str, used: impl Iterator<Item = (String, u16)>) {
    let mut taken: BTreeMap<u16, String> = BTreeMap::new();
    for (path, address) in used {
        if let Some(other) = taken.get(&address) {
            // The low word of the period is the register after the one that is written.
            let whose =
                if taken.values().any(|known| *known == path) { "its low word: " } else { "" };
            problems.push(
                Problem::error(
                    path,
                    format!("{whose}{what} {address} is taken already, by `{other}`"),
                )
                .accepted(format!("for each signal its own {what}"))
                .help("follow both wires to their terminals and correct one of the numbers"),
            );
        } else {
            taken.insert(address, path);
        }
    }
}

/// What the rig says it can do, it has the outputs for.
fn fittings(problems: &mut Problems, field: &FieldSpec, lit_by: Option<LitBy>) {
    let fitted =
        |coil: Coil| field.coils.iter().any(|spec| spec.coil == coil && spec.output.is_some());
    if lit_by == Some(LitBy::Igniter) && !fitted(Coil::Igniter) {
        problems.push(
            Problem::error("lit_by", "the torch is lit by an igniter that is not fitted")
                .accepted("\"hand\", or an igniter under field.coil.igniter")
                .help("write its output, or light by hand"),
        );
    }
    if field.swing_away == SwingAway::Fitted && !fitted(Coil::SwingAway) {
        problems.push(
            Problem::error(
                "field.swing_away",
                "the torch swings away by an output that is not fitted",
            )
            .accepted("\"not_fitted\", or an output under field.coil.swing_away")
            .help("write its output, or say that the rig cannot"),
        );
    }
}

fn watchdog(problems: &mut Problems, field: &FieldSpec) {
    let watchdog = &field.watchdog;
    if watchdog.beat < field.poll_every {
        problems.push(
            Problem::error(
                "field.watchdog.beat",
                format!(
                    "the beat cannot change every {}: coils are written every {}",
                    ms(watchdog.beat),
                    ms(field.poll_every)
                ),
            )
            .accepted(format!("at least {}, as field.poll_every says", ms(field.poll_every)))
            .help("lengthen the beat, or poll the module more often"),
        );
    }
    if watchdog.relay < watchdog.beat * 2.0 {
        problems.push(
            Problem::error(
                "field.watchdog.relay",
                format!(
                    "the relay drops after {}, before a second beat is due",
                    ms(watchdog.relay)
                ),
            )
            .accepted(format!("at least twice the beat of {}", ms(watchdog.beat)))
            .help("one lost frame would shut the gas: beat faster"),
        );
    }
}
