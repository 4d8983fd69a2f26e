//! What a proof expects and in which time, worked out from the row and from what is energised.

use core::time::Duration;

use super::procedure::Procedure;
use super::result::Effect;
use crate::image::{Coil, Contact, Inputs};
use crate::interlock::durations;
use crate::interlock::matrix::{Row, Source, Watch};
use crate::interlock::{CarriageEffect, Class, Veto};
use crate::moment::Moment;

/// The longest a watchdog relay may hold, by the rig file's own bound.
const RELAY: Duration = Duration::from_millis(300);

/// How long a response may be, and why.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Limit {
    pub(super) longest: Duration,
    pub(super) reason: String,
}

/// What must come about: what the row takes away of what is energised. A contact under proof
/// can't be the witness of its own valve.
pub(super) fn effects(row: &Row, procedure: &Procedure) -> Vec<Effect> {
    let mut effects = vec![Effect::Latched];
    let strokes = procedure.strokes;
    let valves = [
        (strokes.fuel, row.effects.fuel, Coil::Fuel, Contact::FuelShut),
        (strokes.oxygen, row.effects.oxygen, Coil::Oxygen, Contact::OxygenShut),
    ];
    for (stroked, veto, coil, contact) in valves {
        if stroked.is_on() && veto == Veto::Imposed {
            effects.extend([Effect::CoilOff(coil), Effect::Shut(contact)]);
        }
    }
    let taken = matches!(row.effects.carriage, CarriageEffect::Stop | CarriageEffect::Cut);
    if strokes.torque.is_on() && taken {
        effects.push(Effect::NoTorque);
    }
    let silent = matches!(row.watch, Watch::FieldSilent | Watch::FieldFrozen);
    if row.effects.watchdog == Veto::Imposed && row.class == Class::Trip && !silent {
        effects.push(Effect::RelayDropped);
    }
    effects
}

/// The row's own delay, and what the table of permitted durations leaves for the rest of the way.
pub(super) fn limit(row: &Row, delay: Duration, effects: &[Effect]) -> Limit {
    let ms = |span: Duration| span.as_millis();
    let mut longest = delay + durations::DEAD_CONTROLLER;
    let mut reason = format!(
        "delay {} ms + {} ms, in which the machine is safe without a controller",
        ms(delay),
        ms(durations::DEAD_CONTROLLER)
    );
    let mut more = |span: Duration, why: &str| {
        longest += span;
        reason.push_str(&format!(" + {} ms {why}", ms(span)));
    };
    if matches!(row.watch, Watch::DriveSilent | Watch::FieldSilent | Watch::InverterNotOk) {
        more(durations::FIELD_SILENCE, "of silence before it counts");
    }
    if effects.contains(&Effect::NoTorque) && row.effects.carriage == CarriageEffect::Stop {
        more(durations::QUICK_STOP, "of quick stop");
    }
    if effects.contains(&Effect::RelayDropped) {
        more(RELAY, "that the relay holds");
    }
    Limit { longest, reason }
}

/// When what the row watches was true at its device, as the image has it. Of a silent module any
/// contact tells; the emergency stop is on every rig.
pub(super) fn stamp(row: &Row, inputs: &Inputs) -> Moment {
    match row.watch.source() {
        Source::Contact(tag) => inputs.contact(tag).at,
        Source::Analogue(tag) => inputs.analogue(tag).at,
        Source::Drive => inputs.axis.at,
        Source::Tachometer => inputs.spindle.at,
        Source::Inverter => inputs.inverter_ok.at,
        Source::Module => inputs.contact(Contact::EmergencyStop).at,
        Source::Controller | Source::Person => inputs.now,
    }
}
