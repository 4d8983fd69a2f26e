//! What is read of the plant, with what is wrong about it.

use evenpass_core::cia402::PowerState;
use evenpass_core::image::{
    Analogue, AxisReading, Contact, Failure, Inputs, Level, LineHealth, Referenced, Signal,
    SpindleReading,
};
use evenpass_core::moment::Moment;
use evenpass_core::quantity::{Length, Speed, SpindleSpeed};

use crate::faults::{AT_REST, Bad, Fault, Off};
use crate::plant::Plant;
use crate::world::World;

/// The hard limits lie so far beyond the travel, mm: past the datum.
const BEYOND: f64 = 30.0;

/// Reads everything now.
pub(crate) fn read(plant: &Plant, world: &World) -> Inputs {
    let mut inputs = Inputs::unknown();
    let now = plant.now;
    inputs.now = now;
    if !plant.awake {
        return inputs;
    }
    inputs.lines = [LineHealth::Up; 2];
    for tag in Contact::ALL {
        inputs.contacts[tag.index()] = Signal::measured(contact(plant, world, *tag), now);
    }
    let torch = &world.program.torches[0];
    let air = 2.0_f64.max(torch.carrier_pressure.bar());
    for (tag, value) in [
        (Analogue::FuelPressure, torch.fuel_pressure.bar() * plant.pressure),
        (Analogue::OxygenPressure, torch.oxygen_pressure.bar() * plant.pressure),
        (Analogue::CarrierPressure, air),
        (Analogue::ExtractionFlow, if plant.extraction { 95.0 } else { 0.0 }),
        (Analogue::PartTemperature, plant.part),
        (Analogue::FuseTemperature, plant.coat),
        (Analogue::HopperWeight, plant.hopper),
        (Analogue::BackPressure, 0.3),
        (Analogue::FlammableGas, 0.0),
        (Analogue::OxygenInAir, 20.9),
    ] {
        inputs.analogues[tag.index()] = Signal::measured(value, now);
    }
    inputs.axis = Signal::measured(
        AxisReading {
            power: plant.power,
            position: Length::from_mm(plant.position),
            velocity: Speed::from_mm_per_s(plant.velocity),
            following_error: Length::ZERO,
            referenced: if plant.referenced { Referenced::Yes } else { Referenced::No },
            fault_code: u16::from(plant.in_fault),
            arrived: Level::from_bit(plant.velocity == 0.0),
            homing_attained: Level::from_bit(plant.attained),
            homing_failed: Level::Off,
        },
        now,
    );
    let turning = SpindleReading {
        measured: SpindleSpeed::from_rpm(plant.rpm),
        missed_pulses: if plant.rpm > 1.0 { 0.5 } else { 4.0 },
        ..SpindleReading::default()
    };
    inputs.spindle = Signal::measured(turning, now);
    inputs.inverter_ok = Signal::measured(Level::On, now);
    for standing in plant.faults.iter().flatten() {
        spoil(&mut inputs, world.kind(standing.kind).fault, standing.since);
    }
    inputs
}

fn contact(plant: &Plant, world: &World, tag: Contact) -> Level {
    let so = match tag {
        Contact::Guard => plant.guard_open_for.is_none(),
        Contact::Flame => plant.lit,
        Contact::Extraction => plant.extraction,
        Contact::EnablingKey => plant.key,
        Contact::WatchdogRelay => plant.relay_is_up(),
        Contact::FuelShut => !plant.fuel,
        Contact::OxygenShut => !plant.oxygen,
        Contact::TorqueAllowed => plant.torque_is_allowed(world),
        Contact::LimitMinus => plant.position > world.rig.axis.travel.low.mm() - BEYOND,
        Contact::LimitPlus => plant.position < world.rig.axis.travel.high.mm() + BEYOND,
        Contact::ParkSwitch => plant.is_parked(world),
        Contact::PartTurning => plant.rpm > 1.0,
        other if AT_REST.contains(&other) => plant.pressed == Some(other),
        other => plant.pressed != Some(other),
    };
    Level::from_bit(so)
}

fn opposite(level: Level) -> Level {
    Level::from_bit(!level.is_on())
}

/// What is stale stays as old as the first fault made it.
fn spoil(inputs: &mut Inputs, fault: Fault, since: Moment) {
    let now = inputs.now;
    match fault {
        Fault::Contact(tag, bad) => {
            let signal = &mut inputs.contacts[tag.index()];
            match bad {
                Bad::Wrong => signal.value = opposite(signal.value),
                Bad::Failed => *signal = Signal::failed(signal.value, now, Failure::Refused),
                Bad::Stale => signal.at = since,
            }
        }
        Fault::Analogue(tag, off) => {
            let signal = &mut inputs.analogues[tag.index()];
            match off {
                Off::Failed => *signal = Signal::failed(signal.value, now, Failure::BrokenWire),
                Off::Stale => signal.at = since,
                #[expect(clippy::cast_precision_loss, reason = "readings are far smaller")]
                Off::Reads(thousandths) => signal.value = thousandths as f64 * 1e-3,
            }
        }
        Fault::DriveSilent => inputs.axis.at = since,
        Fault::DriveUnknown => inputs.axis.value.power = PowerState::Unknown,
        Fault::NotFollowing => inputs.axis.value.following_error = Length::from_mm(3.0),
        Fault::TachometerStale => inputs.spindle.at = since,
        Fault::TachometerFailed => {
            inputs.spindle = Signal::failed(inputs.spindle.value, now, Failure::Implausible);
        }
        Fault::Inverter => inputs.inverter_ok.value = Level::Off,
        Fault::InverterStale => inputs.inverter_ok.at = since,
        Fault::FieldSilent | Fault::FieldLineDown => {
            for contact in &mut inputs.contacts {
                contact.at = contact.at.min(since);
            }
            for analogue in &mut inputs.analogues {
                analogue.at = analogue.at.min(since);
            }
            inputs.spindle.at = inputs.spindle.at.min(since);
            if fault == Fault::FieldLineDown {
                inputs.inverter_ok.at = inputs.inverter_ok.at.min(since);
            }
        }
        Fault::FieldFrozen => {
            for contact in &mut inputs.contacts {
                *contact = Signal::failed(contact.value, now, Failure::Frozen);
            }
        }
        Fault::FeedFails => inputs.analogues[Analogue::HopperWeight.index()].value = 1900.0,
        Fault::HoseBlocked => inputs.analogues[Analogue::BackPressure.index()].value = 0.9,
        Fault::DriveTripped
        | Fault::CarriageStuck
        | Fault::SpindleStopped
        | Fault::SpindleAt(_)
        | Fault::NoFlame
        | Fault::ExtractionFails
        | Fault::Unvented => {}
    }
}
