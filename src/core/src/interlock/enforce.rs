//! What is written: the proposal without what the verdict takes away.

use super::durations;
use super::verdict::{CarriageEffect, Effects, SpindleEffect, Verdict, Veto};
use crate::cia402::PowerState;
use crate::image::{
    AxisDemand, Coil, Contact, Inputs, Level, Outputs, Referenced, SpindleDemand, Travel,
};
use crate::quantity::SpindleSpeed;

/// Takes away from a proposal what the verdict does not allow. It never adds energy: coils only
/// go off, motion only becomes a stop or no torque, speeds only fall.
#[must_use]
pub fn enforce(verdict: &Verdict, inputs: &Inputs, proposed: Outputs) -> Outputs {
    let effects = &verdict.effects;
    let mut written = proposed;
    for (coil, veto) in coils(effects) {
        if veto == Veto::Imposed {
            written.set(coil, Level::Off);
        }
    }
    if effects.powder_off == Veto::Imposed {
        written.powder.now = Level::Off;
        written.powder.next = written.powder.next.filter(|edge| edge.to == Level::Off);
    }
    if effects.watchdog_off == Veto::Imposed {
        written.watchdog = Level::Off;
    }
    written.axis = axis(effects.carriage, inputs, proposed.axis);
    written.spindle = spindle(effects.spindle, verdict.turn_at_most, proposed.spindle);
    written
}

/// Which coil each veto takes. Without gas there is nothing to ignite.
fn coils(effects: &Effects) -> [(Coil, Veto); 8] {
    [
        (Coil::Powder, effects.powder_off),
        (Coil::Fuel, effects.fuel_shut),
        (Coil::Oxygen, effects.oxygen_shut),
        (Coil::Igniter, effects.fuel_shut.max(effects.oxygen_shut)),
        (Coil::Supply, effects.supply_shut),
        (Coil::CarrierAir, effects.air_off),
        (Coil::CoolingAir, effects.no_cooling),
        (Coil::Watchdog, effects.watchdog_off),
    ]
}

fn axis(effect: CarriageEffect, inputs: &Inputs, proposed: AxisDemand) -> AxisDemand {
    match (effect, proposed) {
        (CarriageEffect::Free, any) => any,
        (CarriageEffect::Cut, _) | (_, AxisDemand::Off) => AxisDemand::Off,
        (_, AxisDemand::QuickStop) => AxisDemand::QuickStop,
        (CarriageEffect::Stop, _) => AxisDemand::QuickStop,
        (CarriageEffect::Retreat, AxisDemand::Travel(travel)) => retreat(inputs, travel),
        (CarriageEffect::Retreat, AxisDemand::Still) => AxisDemand::Still,
        (CarriageEffect::Retreat, AxisDemand::Home(_)) => AxisDemand::QuickStop,
    }
}

/// A retreat needs a fresh and trusted position, torque, a shut guard and no hard limit in its
/// way. What the history forbids (a break in the enable, a reconnection, a reset) has made the
/// verdict's effect a stop already.
fn retreat(inputs: &Inputs, travel: Travel) -> AxisDemand {
    let Some(reading) = inputs.axis.trusted(inputs.now, durations::DRIVE_SILENCE) else {
        return AxisDemand::Off;
    };
    let budget = durations::FIELD_SILENCE;
    let ahead = if travel.to < reading.position { Contact::LimitMinus } else { Contact::LimitPlus };
    let trusted = reading.power == PowerState::OperationEnabled
        && reading.referenced == Referenced::Yes
        && reading.fault_code == 0
        && inputs.is_on(Contact::Guard, budget)
        && inputs.is_on(ahead, budget);
    if trusted { AxisDemand::Travel(travel) } else { AxisDemand::QuickStop }
}

fn spindle(
    effect: SpindleEffect,
    at_most: Option<SpindleSpeed>,
    proposed: SpindleDemand,
) -> SpindleDemand {
    match (effect, proposed, at_most) {
        (SpindleEffect::Free, any, _) => any,
        (SpindleEffect::Turn, SpindleDemand::Turn(speed), Some(most)) => {
            SpindleDemand::Turn(speed.min(most))
        }
        _ => SpindleDemand::Stop,
    }
}
