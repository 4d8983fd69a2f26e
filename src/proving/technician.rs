//! The hands at the bench's field devices: what a procedure says in words, done to the twin. Where
//! the bench has the device itself (guard, buttons) that is operated; elsewhere plug, wire or
//! sensor.

use evenpass_core::image::{Analogue as Transmitter, Contact};
use evenpass_core::interlock::matrix::{Row, Watch};
use evenpass_hil::{Analogue, AtContact, Bench, Button, Discrete, Fault, InLoop, Target, Word};

/// A chuck turned steadily by hand, rpm.
const BY_HAND_RPM: f64 = 30.0;

/// What is held, mounted or turned before the act.
pub fn prepare(bench: &mut Bench, key: &str) {
    match key {
        "flame_lost" => bench.at_contact(Discrete::FlamePresent, AtContact::Closed),
        "spindle_stopped" => bench.turn_chuck_by_hand(BY_HAND_RPM),
        "part_not_turning" => bench.at_contact(Discrete::PartTurning, AtContact::Closed),
        _ => {}
    }
}

/// The act.
pub fn act(bench: &mut Bench, row: &Row) {
    match row.watch {
        Watch::Open(Contact::PartTurning) | Watch::NoFlame => {
            if let Some(input) = contact_of(row.watch) {
                bench.at_contact(input, AtContact::Untouched);
            }
        }
        Watch::Open(Contact::Guard) => bench.open_guard(),
        Watch::Open(tag) | Watch::Pressed(tag) | Watch::PressedOr(tag, _)
            if button(tag).is_some() =>
        {
            if let Some(button) = button(tag) {
                bench.press(button);
            }
        }
        Watch::FlameFromNothing | Watch::FuelShutContradicts => {
            if let Some(input) = contact_of(row.watch) {
                bench.at_contact(input, AtContact::Closed);
            }
        }
        Watch::Failed(tag) => bench.in_loop(transmitter(tag), InLoop::WireOff),
        Watch::Above(..) | Watch::Below(..) => {
            if let Some((input, source)) = source(row.key) {
                bench.in_loop(input, InLoop::Source(source));
            }
        }
        Watch::DriveSilent => silence(bench, Target::Drive, Word::Off),
        Watch::FieldSilent => silence(bench, Target::FieldIo, Word::Off),
        Watch::InverterNotOk => silence(bench, Target::Inverter, Word::Off),
        Watch::MissedPulses => bench.turn_chuck_by_hand(0.0),
        _ => {
            if let Some(input) = contact_of(row.watch) {
                bench.at_contact(input, AtContact::Opened);
            }
        }
    }
}

/// Everything put back.
pub fn restore(bench: &mut Bench, row: &Row) {
    match row.watch {
        Watch::Open(Contact::Guard) => bench.shut_guard(),
        Watch::DriveSilent => silence(bench, Target::Drive, Word::Ok),
        Watch::FieldSilent => silence(bench, Target::FieldIo, Word::Ok),
        Watch::InverterNotOk => silence(bench, Target::Inverter, Word::Ok),
        Watch::MissedPulses => bench.turn_chuck_by_hand(0.0),
        Watch::Failed(tag) | Watch::Above(tag, _) | Watch::Below(tag, _) => {
            bench.in_loop(transmitter(tag), InLoop::Untouched);
        }
        watch => {
            if let Some(input) = contact_of(watch) {
                bench.at_contact(input, AtContact::Untouched);
            }
            if let Watch::Open(tag) | Watch::Pressed(tag) | Watch::PressedOr(tag, _) = watch
                && let Some(button) = button(tag)
            {
                bench.release(button);
            }
        }
    }
}

fn silence(bench: &mut Bench, target: Target, word: Word) {
    bench.inject(Fault::Signal { target, word });
}

/// What stands before the sensor, or in its place: microamperes by the scales on the bench's
/// type plates.
fn source(key: &str) -> Option<(Analogue, f64)> {
    let between =
        |value: f64, low: f64, high: f64| 4_000.0 + 16_000.0 * (value - low) / (high - low);
    Some(match key {
        "extraction_flow" | "extraction_flow_trip" => {
            (Analogue::ExtractionFlow, between(20.0, 0.0, 100.0))
        }
        "flammable_gas" => (Analogue::FlammableGas, between(50.0, 0.0, 100.0)),
        "oxygen_rich_air" => (Analogue::OxygenInAir, between(25.0, 0.0, 25.0)),
        "oxygen_poor_air" => (Analogue::OxygenInAir, between(2.0, 0.0, 25.0)),
        "part_hot" => (Analogue::PreheatTemperature, between(400.0, 0.0, 1000.0)),
        "fuse_hot" | "fuse_overheat" => {
            (Analogue::PyrometerTemperature, between(1260.0, 250.0, 1300.0))
        }
        "hopper_empty" => (Analogue::HopperWeight, between(0.0, 0.0, 5000.0)),
        _ => return None,
    })
}

/// The button that opens or closes a contact, where it is one.
const fn button(tag: Contact) -> Option<Button> {
    Some(match tag {
        Contact::EmergencyStop => Button::EmergencyStop,
        Contact::AbortButtonRest => Button::Abort,
        Contact::StopButtonRest => Button::Stop,
        Contact::HoldButtonRest => Button::Hold,
        Contact::BadFlameButton => Button::BadFlame,
        Contact::CoatLiftingButton => Button::CoatLifting,
        _ => return None,
    })
}

const fn transmitter(tag: Transmitter) -> Analogue {
    match tag {
        Transmitter::FuelPressure => Analogue::FuelPressure,
        Transmitter::OxygenPressure => Analogue::OxygenPressure,
        Transmitter::CarrierPressure => Analogue::CarrierPressure,
        Transmitter::ExtractionFlow => Analogue::ExtractionFlow,
        Transmitter::PartTemperature => Analogue::PreheatTemperature,
        Transmitter::FuseTemperature => Analogue::PyrometerTemperature,
        Transmitter::HopperWeight => Analogue::HopperWeight,
        Transmitter::BackPressure => Analogue::CarrierBackPressure,
        Transmitter::FlammableGas => Analogue::FlammableGas,
        Transmitter::OxygenInAir => Analogue::OxygenInAir,
    }
}

/// The contact at whose device the act takes place.
const fn contact_of(watch: Watch) -> Option<Discrete> {
    Some(match watch {
        Watch::Open(tag) | Watch::Pressed(tag) | Watch::PressedOr(tag, _) => match tag {
            Contact::Clamp => Discrete::ClampOk,
            Contact::Arrestor => Discrete::ArrestorOk,
            Contact::Extraction => Discrete::ExtractionOk,
            Contact::PlantAir => Discrete::PlantAirOk,
            Contact::GasDetector => Discrete::GasDetectorOk,
            Contact::OxygenMonitor => Discrete::OxygenMonitorOk,
            Contact::FireDetection => Discrete::FireDetectionOk,
            Contact::Standoff => Discrete::StandOffOk,
            Contact::TorqueAllowed => Discrete::TorqueAllowed,
            Contact::PartTurning => Discrete::PartTurning,
            _ => return None,
        },
        Watch::NoFlame | Watch::FlameFromNothing => Discrete::FlamePresent,
        Watch::FuelNotShut | Watch::FuelShutContradicts => Discrete::FuelValveShut,
        Watch::OxygenNotShut => Discrete::OxygenValveShut,
        Watch::LimitTowardChuck => Discrete::LimitMinusOk,
        Watch::LimitTowardTail => Discrete::LimitPlusOk,
        Watch::TorqueContradicts => Discrete::TorqueAllowed,
        Watch::RelayDropped => Discrete::WatchdogRelayUp,
        _ => return None,
    })
}
