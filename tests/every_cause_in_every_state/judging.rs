//! What became of a row in a place, held against what the matrix says of it.

use std::time::Duration;

use evenpass_core::interlock::Veto;
use evenpass_core::interlock::matrix::{AirEffect, Row};
use evenpass_core::interlock::{CarriageEffect, Class, SpindleEffect};
use evenpass_core::moment::Moment;
use evenpass_core::sequence::{Leaf, Phase};
use evenpass_hil::{Coil, Truth};

use crate::trial::Trial;
use crate::trial::told::{Happened, What};
use crate::trying::{Acted, CONTROL, Stand, seconds};

/// From a confirmation to what it takes away: one scan's write behind the longest exchange in flight,
/// and the module's own cycle; the trade's figure for relays is 50 ms.
const TAKEN_WITHIN: f64 = 0.05;
/// By the machine alone when module or program are dead: the safety rules' figure, from the act.
const MACHINE_ALONE: f64 = 0.5;
/// Quick stop and then no torque, s.
const NO_TORQUE_WITHIN: f64 = 0.8;

/// What is energised after an act that counts for nothing was going to be so anyway.
pub(crate) fn harmless(stand: &Stand, trial: &Trial, wrong: &mut Vec<String>) {
    let count = |told: &[Happened], what: What, longest: f64, start: Moment| {
        told.iter().filter(|t| t.what == what && seconds(start, t.at) <= longest).count()
    };
    for coil in
        [Coil::PowderFeeder, Coil::FuelValve, Coil::OxygenValve, Coil::GasSupply, Coil::Igniter]
    {
        let what = What::Coil(coil, true);
        let without = count(&stand.told, what, CONTROL, stand.start);
        let with = count(&trial.told, what, CONTROL, stand.start);
        if with > without {
            wrong.push(format!("{} {with} times, without it {without}", what.words()));
        }
    }
}

pub(crate) fn judge(
    row: &Row,
    stand: &Stand,
    before: &Truth,
    acted: &Acted,
    trial: &Trial,
    start: Moment,
    wrong: &mut Vec<String>,
) {
    match row.class {
        Class::Warn => warning(stand, acted, trial, start, wrong),
        Class::Hold => {
            let running = stand.place.leaf.phase().is_running();
            let ends = acted.rest.phase();
            let held = matches!(ends, Phase::Held | Phase::Holding);
            if acted.first.is_none() && running && !held {
                wrong.push(format!("ends in {}", acted.rest.name()));
            }
            powder_off(row, stand, before, acted, wrong);
        }
        Class::Stop => {
            let running = stand.place.leaf.phase().is_running()
                || matches!(stand.place.leaf.phase(), Phase::Holding | Phase::Held);
            let ended = matches!(acted.rest.phase(), Phase::Stopping | Phase::Stopped);
            if acted.first.is_none() && running && !ended {
                wrong.push(format!("ends in {}", acted.rest.name()));
            }
            powder_off(row, stand, before, acted, wrong);
        }
        Class::Trip => trip(row, before, acted, wrong),
    }
    nothing_back_on(row, acted, wrong);
}

fn powder_off(row: &Row, stand: &Stand, before: &Truth, acted: &Acted, wrong: &mut Vec<String>) {
    let off = acted.first(What::Coil(Coil::PowderFeeder, false));
    if before.feeder_on && off.is_none_or(|off| off > TAKEN_WITHIN) {
        wrong.push(format!("feeder off after {off:?} s"));
    }
    let (dry, clear) = (acted.first(What::Nozzle(false)), acted.first(What::Clear(true)));
    if let (Some(off), Some(dry)) = (off, dry)
        && dry < off
        && row.key != "hose_blocked"
    {
        wrong.push(format!("hose empty at {dry} before the feeder at {off}"));
    }
    if let (Some(dry), Some(clear)) = (dry, clear)
        && clear < dry
        && acted.first.is_none()
        && stand.place.leaf != Leaf::Aborting
    {
        wrong.push(format!("clear at {clear} before the hose is empty at {dry}"));
    }
}

/// After a confirmation nothing that it takes away comes back.
fn nothing_back_on(row: &Row, acted: &Acted, wrong: &mut Vec<String>) {
    let taken = [
        (row.effects.powder, Coil::PowderFeeder),
        (row.effects.fuel, Coil::FuelValve),
        (row.effects.oxygen, Coil::OxygenValve),
        (row.effects.supply, Coil::GasSupply),
    ];
    for (veto, coil) in taken {
        let on = What::Coil(coil, true);
        let back = acted.effects.iter().find(|(at, what)| *what == on && *at > TAKEN_WITHIN);
        if veto == Veto::Imposed
            && let Some((at, _)) = back
        {
            wrong.push(format!("{} {at:.3} s after it was taken away", on.words()));
        }
    }
}

/// Told, and nothing else: all goes on as without it.
fn warning(stand: &Stand, acted: &Acted, trial: &Trial, start: Moment, wrong: &mut Vec<String>) {
    let alone = trial.confirmed.iter().all(|cause| cause.class == "warn");
    // What the sequence reads as well changes what it does.
    let read = ["part_hot_warn", "fuse_hot_warn", "feed_pulses", "speed_warn"];
    let key = trial.confirmed.first().map(|cause| cause.key.clone()).unwrap_or_default();
    if !alone || read.contains(&key.as_str()) {
        return;
    }
    let until = acted.confirmed + 0.9;
    let told = |told: &[Happened], start: Moment| -> Vec<(u64, What)> {
        told.iter()
            .filter(|t| matches!(t.what, What::Coil(..) | What::State(_)))
            .filter(|t| seconds(start, t.at) <= until.min(CONTROL - 1.0))
            .map(|t| (t.at.as_micros(), t.what))
            .collect()
    };
    let (with, without) = (told(&trial.told, start), told(&stand.told, stand.start));
    if with != without {
        wrong.push(format!("a warning changes what happens: {with:?}, without it {without:?}"));
    }
}

fn trip(row: &Row, before: &Truth, acted: &Acted, wrong: &mut Vec<String>) {
    // Module or program are dead: the machine does it alone, from the act.
    let alone = matches!(row.key, "field_silent" | "field_frozen" | "scan_late" | "stall_reported");
    let energy = [
        (before.feeder_on, row.effects.powder, Coil::PowderFeeder),
        (before.fuel_open, row.effects.fuel, Coil::FuelValve),
        (before.oxygen_open, row.effects.oxygen, Coil::OxygenValve),
        (before.supply_open, row.effects.supply, Coil::GasSupply),
    ];
    for (on, veto, coil) in energy {
        if !on || veto == Veto::None || (alone && coil == Coil::GasSupply) {
            continue;
        }
        let off = acted.first(What::Coil(coil, false));
        let longest =
            if alone { MACHINE_ALONE - acted.confirmed } else { TAKEN_WITHIN }.max(TAKEN_WITHIN);
        if off.is_none_or(|off| off > longest) {
            wrong.push(format!("{} after {off:?} s", What::Coil(coil, false).words()));
        }
    }
    if before.flame_lit {
        let out = acted.first(What::Flame(false));
        if out.is_none_or(|out| out > 1.0) {
            wrong.push(format!("flame out after {out:?} s"));
        }
    }
    air(row, before, acted, wrong);
    carriage(row, before, acted, wrong);
    if row.effects.spindle == SpindleEffect::Stop
        && before.spindle_rpm > 1.0
        && acted.first(What::Spindle(false)).is_none()
    {
        wrong.push("the spindle turns on".to_owned());
    }
    if !matches!(acted.rest.phase(), Phase::Aborting | Phase::Aborted) {
        wrong.push(format!("ends in {}", acted.rest.name()));
    }
    let aborting = acted.first(What::State(Leaf::Aborting));
    if let Some(aborting) = aborting
        && aborting > 0.021
    {
        wrong.push(format!("is carried out {aborting} s after it counted"));
    }
}

/// No air through the hose over the part.
fn air(row: &Row, before: &Truth, acted: &Acted, wrong: &mut Vec<String>) {
    if row.effects.air == AirEffect::Keep || !before.carrier_on {
        return;
    }
    let clear = before.torch_z_mm > 320.0;
    let off = acted.first(What::Coil(Coil::CarrierAir, false));
    if !clear && off.is_none_or(|off| off > MACHINE_ALONE) {
        wrong.push(format!("carrier air off after {off:?} s over the part"));
    }
    let on = acted
        .effects
        .iter()
        .find(|(at, what)| *what == What::Coil(Coil::CarrierAir, true) && *at > 0.0);
    let free = acted.first(What::Clear(true));
    if let Some((on, _)) = on
        && !clear
        && free.is_none_or(|free| free > *on)
    {
        wrong.push(format!("carrier air on at {on} over the part"));
    }
}

fn carriage(row: &Row, before: &Truth, acted: &Acted, wrong: &mut Vec<String>) {
    let stops = matches!(row.effects.carriage, CarriageEffect::Stop | CarriageEffect::Cut);
    if stops && before.drive_torque {
        let off = acted.first(What::Torque(false));
        let longest = NO_TORQUE_WITHIN + Duration::from_millis(20).as_secs_f64();
        if off.is_none_or(|off| off > longest) {
            wrong.push(format!("torque off after {off:?} s"));
        }
    }
    if stops && before.torch_mm_s.abs() > 0.05 {
        let rest = acted.first(What::Carriage(false));
        if rest.is_none_or(|rest| rest > NO_TORQUE_WITHIN) {
            wrong.push(format!("carriage at rest after {rest:?} s"));
        }
    }
}
