//! What a proof stands on: everything of the rig that the row proved reads, compares, writes and
//! is reached by, as one text. A proof counts only while this text is what it was; whoever keeps
//! proofs keeps a digest of it.

use serde_json::{Value, json};

use super::measure::effects;
use super::procedure::Procedure;
use super::result::Effect;
use crate::image::{Coil, Contact};
use crate::interlock::matrix::{AirEffect, Row, Watch};
use crate::interlock::{CarriageEffect, InForce, Origin, SpindleEffect, Veto, in_force};
use crate::rig::{LineId, Rig, SwingAway};

/// What a row's proof stands on, as text with its parts in a fixed order; the same for the same
/// rig and the same matrix, whenever it is made. Titles, advice and tags are no part of it.
/// `None` when the rig's interlocks are refused or the procedure is of no row.
#[must_use]
pub fn grounds(rig: &Rig, procedure: &Procedure) -> Option<String> {
    let force = in_force(rig).ok()?.into_iter().find(|force| force.row.key == procedure.key)?;
    let text = json!({
        "row": row(&force),
        "scan": rig.scan,
        "module": module(rig),
        "input": input(&force, rig),
        "contacts": contacts(force.row, procedure, rig),
        "coils": coils(force.row, rig),
        "axis": axis(&force, procedure, rig),
        "spindle": spindle(&force, rig),
    });
    Some(text.to_string())
}

fn row(force: &InForce) -> Value {
    let row = force.row;
    json!({
        "key": row.key,
        "class": row.class,
        "watch": row.watch,
        "effects": row.effects,
        "set_point": force.set_point,
        "delay": force.delay,
        "delay_off": force.delay_off,
    })
}

fn line(id: LineId, rig: &Rig) -> Value {
    json!(rig.lines.get(id.0))
}

/// The module is in every way from a device to a valve.
fn module(rig: &Rig) -> Value {
    let field = &rig.field;
    json!({
        "line": line(field.line, rig),
        "unit": field.unit,
        "cycle_register": field.cycle_register,
        "communication_register": field.communication_register,
        "communication_loss": field.communication_loss,
        "coil_latency": field.coil_latency,
        "age_budget": field.age_budget,
        "poll_every": field.poll_every,
        "registers_every": field.registers_every,
        "watchdog": field.watchdog,
    })
}

/// What the row watches, with its terminal and its scale.
fn input(force: &InForce, rig: &Rig) -> Value {
    match force.origin {
        Origin::Input(number) => {
            json!(rig.field.contacts.iter().find(|spec| spec.input == Some(number)))
        }
        Origin::Register(number) => {
            json!(rig.field.analogues.iter().find(|spec| spec.register == Some(number)))
        }
        Origin::Tachometer => json!(rig.field.tachometer),
        origin => json!(origin),
    }
}

/// What else is read: the witnesses of the effects, and the second contact of a row with two.
fn contacts(row: &Row, procedure: &Procedure, rig: &Rig) -> Value {
    let witnesses = effects(row, procedure).into_iter().filter_map(|effect| match effect {
        Effect::Shut(contact) => Some(contact),
        Effect::RelayDropped => Some(Contact::WatchdogRelay),
        Effect::Latched | Effect::CoilOff(_) | Effect::NoTorque => None,
    });
    let second = (row.watch == Watch::TorqueContradicts).then_some(Contact::EmergencyStop);
    let specs = witnesses
        .chain(second)
        .filter_map(|tag| rig.field.contacts.iter().find(|spec| spec.tag == tag));
    json!(specs.collect::<Vec<_>>())
}

/// The coils that the row takes away.
fn coils(row: &Row, rig: &Rig) -> Value {
    let effects = &row.effects;
    let taken = |veto: Veto| veto == Veto::Imposed;
    let swings =
        effects.carriage == CarriageEffect::Retreat && rig.field.swing_away == SwingAway::Fitted;
    let written = [
        (taken(effects.powder), Coil::Powder),
        (taken(effects.fuel), Coil::Fuel),
        (taken(effects.oxygen), Coil::Oxygen),
        // Without gas there is nothing to ignite.
        (taken(effects.fuel) || taken(effects.oxygen), Coil::Igniter),
        (taken(effects.supply), Coil::Supply),
        (effects.air != AirEffect::Keep, Coil::CarrierAir),
        (taken(effects.cooling), Coil::CoolingAir),
        (taken(effects.watchdog), Coil::Watchdog),
        (swings, Coil::SwingAway),
    ];
    let specs = written
        .into_iter()
        .filter(|(is_written, _)| *is_written)
        .filter_map(|(_, coil)| rig.field.coils.iter().find(|spec| spec.coil == coil));
    json!(specs.collect::<Vec<_>>())
}

/// The drive, where the row watches it, moves it or has its torque for a witness; where it may
/// travel is a matter of the job and no part of it.
fn axis(force: &InForce, procedure: &Procedure, rig: &Rig) -> Value {
    let touched = force.origin == Origin::Drive
        || force.row.effects.carriage != CarriageEffect::Free
        || procedure.strokes.torque.is_on()
        || force.row.watch == Watch::TorqueContradicts;
    let axis = &rig.axis;
    if !touched {
        return Value::Null;
    }
    json!({
        "line": line(axis.line, rig),
        "unit": axis.unit,
        "registers": axis.registers,
        "pulses_per_mm": axis.pulses_per_mm,
        "position_from": axis.position_from,
        "quick_stop": axis.quick_stop,
        "age_budget": axis.age_budget,
        "poll_every": axis.poll_every,
        "communication_loss": axis.communication_loss,
    })
}

/// The inverter, where the row watches or stops it.
fn spindle(force: &InForce, rig: &Rig) -> Value {
    let touched =
        force.origin == Origin::Inverter || force.row.effects.spindle == SpindleEffect::Stop;
    let motor = rig.spindle.motor();
    if !touched {
        return Value::Null;
    }
    json!({
        "line": line(motor.line, rig),
        "unit": motor.unit,
        "registers": motor.registers,
        "age_budget": motor.age_budget,
        "poll_every": motor.poll_every,
        "communication_loss": motor.communication_loss,
    })
}

#[cfg(test)]
mod tests {
    use super::grounds;
    use crate::proof::{procedure, procedures_of};
    use crate::rig::Rig;

    const BENCH: &str = include_str!("../../../../config/rigs/bench.toml");

    fn of(key: &str, changes: &[(&str, &str)]) -> String {
        let text = changes.iter().fold(BENCH.to_owned(), |text, (from, to)| {
            assert!(text.contains(from), "{from}");
            text.replace(from, to)
        });
        let rig = Rig::read(&text).expect("an accepted rig");
        grounds(&rig, procedure(key).expect(key)).expect(key)
    }

    #[test]
    fn a_proof_stands_on_whatever_its_row_reads_compares_and_writes_and_is_reached_by() {
        let swapped = [
            ("guard = { input = 1 }", "guard = { input = 40 }"),
            ("clamp = { input = 2 }", "clamp = { input = 1 }"),
        ];
        let addressed = [("line = \"field\"\nunit = 1", "line = \"field\"\nunit = 9")];
        let tightened =
            [("[attendance]", "[interlock.flammable_gas]\nset_point = \"15 % LEL\"\n[attendance]")];
        for (key, changes) in [
            ("guard_open", swapped.as_slice()),
            ("clamp_lost", swapped.as_slice()),
            ("flammable_gas", tightened.as_slice()),
            (
                "flammable_gas",
                &[("flammable_gas = { register = 8", "flammable_gas = { register = 20")],
            ),
            (
                "flammable_gas",
                &[("\"0 %\", at_20_ma = \"100 %\" }    #", "\"0 %\", at_20_ma = \"90 %\" }    #")],
            ),
            ("guard_open", &[("fuel = { output = 2 }", "fuel = { output = 20 }")]),
            ("guard_open", &[("igniter = { output = 4 }", "igniter = { output = 21 }")]),
            ("guard_open", &[("fuel_shut = { input = 24 }", "fuel_shut = { input = 50 }")]),
            ("guard_open", addressed.as_slice()),
            (
                "guard_open",
                &[("baud = 115200\nparity = \"even\"", "baud = 115200\nparity = \"odd\"")],
            ),
            ("drive_silent", &[("write_block = 0x0200", "write_block = 0x0300")]),
        ] {
            assert_ne!(of(key, &[]), of(key, changes), "{key}: {changes:?}");
        }
    }

    #[test]
    fn a_proof_stands_on_nothing_that_is_not_its_rows() {
        for (key, change) in [
            ("guard_open", ("title = \"Bench\"", "title = \"Other\"")),
            ("guard_open", ("hopper_level = { input = 27 }", "hopper_level = { input = 60 }")),
            ("guard_open", ("jog = \"20 mm/s\"", "jog = \"10 mm/s\"")),
            ("flammable_gas", ("guard = { input = 1 }", "guard = { input = 40 }")),
        ] {
            assert_eq!(of(key, &[]), of(key, &[change]), "{key}: {change:?}");
        }
    }

    #[test]
    fn every_proof_of_a_rig_stands_on_something_of_its_own() {
        let rig = Rig::read(BENCH).expect("the bench");
        let mut all: Vec<String> =
            procedures_of(&rig).map(|known| grounds(&rig, known).expect(known.key)).collect();
        let count = all.len();
        all.sort();
        all.dedup();
        assert_eq!(all.len(), count);
    }
}
