//! How each row of the matrix is provoked on the twin: at its contacts, currents, coils and devices,
//! in its plant, at its buttons, and by asking.

use std::time::Duration;

use evenpass_core::image::{Analogue as Wire, Contact};
use evenpass_core::interlock::matrix::{Row, Watch};
use evenpass_core::request::{Answer, Request};
use evenpass_hil::{Analogue, Button, Discrete, Fault, PlantFault, Target, Truth, Word};

use crate::trial::Trial;

/// Something done to the machine.
#[derive(Debug, Clone, Copy)]
pub(crate) enum Step {
    Fault(Fault),
    Press(Button),
    OpenGuard,
    Ask(Request),
    Stall(Duration),
    /// The hopper holds so many grams.
    Hopper(f64),
    /// Whoever is asked accepts with the guard open, and never brings a spark.
    NeverLight,
    /// Nobody does anything: the row comes of that.
    Wait,
}

/// What is done to provoke a row.
#[derive(Debug, Clone)]
pub(crate) struct Provocation {
    pub(crate) steps: Vec<Step>,
    /// On top of the row's own delay: until what is done has its effect at the sensor, s.
    pub(crate) takes: f64,
    /// What is done, for people.
    pub(crate) words: &'static str,
}

/// What became of what was asked for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Asked {
    Taken,
    SoAlready,
}

/// Why a row cannot be provoked here.
pub(crate) type Reason = &'static str;

/// The part of the world that decides what can be provoked.
pub(crate) struct Here<'a> {
    pub(crate) truth: &'a Truth,
    pub(crate) lighting: bool,
    pub(crate) clear_from: f64,
    /// A powder edge is to come.
    pub(crate) edge_to_come: bool,
    /// Readings of the two temperatures, degC.
    pub(crate) part_c: f64,
    pub(crate) coat_c: f64,
    /// The ceiling of the coat in force, degC.
    pub(crate) ceiling_c: f64,
    /// The spindle speed of the step in hand, rpm.
    pub(crate) rpm: f64,
}

const BACKSTOP: Reason = "a backstop: the sequence shuts an unlit trial 0.2 s before this row counts, so that it takes a \
                          fault of the sequence; the interlocks' own tests provoke it";
const NO_SUCH_TRAVEL: Reason = "neither plan nor sequence asks for a travel outside the bounds; the interlocks' own tests \
                                provoke it";
const RESTS_UNSEEN: Reason = "a carriage that stands under a flame is a stalled carriage within 0.3 s: this row is behind \
                              that one; the interlocks' own tests provoke it";
const FUEL_OPEN: Reason = "fuel is open: a flame is expected";
const FUEL_SHUT: Reason = "fuel is shut";
const NO_FLAME: Reason = "no flame burns here that could remain";
const NO_TRY: Reason = "no try to light is under way";
const NO_EDGE: Reason = "no powder edge is due that could be late";
const NOT_OVER_PART: Reason = "the torch is not over the part";
const NO_FLAME_TO_ATTEND: Reason = "nobody is asked for where no flame burns";

fn signal(target: Target, word: Word) -> Step {
    Step::Fault(Fault::Signal { target, word })
}

fn contact(input: Discrete, word: Word) -> Step {
    signal(Target::Discrete(input), word)
}

fn off(input: Analogue, by: f64) -> Step {
    signal(Target::Analogue(input), Word::Wrong(by))
}

const fn plant(fault: PlantFault) -> Step {
    Step::Fault(Fault::Plant(fault))
}

/// What is done for a row here, or why nothing can be.
pub(crate) fn provocation(row: &Row, here: &Here<'_>) -> Result<Provocation, Reason> {
    let (steps, takes, words): (Vec<Step>, f64, &'static str) = match row.key {
        "emergency_stop" => {
            (vec![Step::Press(Button::EmergencyStop)], 0.2, "emergency stop pressed")
        }
        "guard_open" => (vec![Step::OpenGuard], 0.2, "guard opened"),
        "clamp_lost" => (vec![plant(PlantFault::ClampLost)], 0.2, "clamp lets the part go"),
        "abort_button" => (vec![Step::Press(Button::Abort)], 0.2, "abort pressed"),
        "stop_button" => (vec![Step::Press(Button::Stop)], 0.2, "stop pressed"),
        "hold_button" => (vec![Step::Press(Button::Hold)], 0.2, "hold pressed"),
        "coat_lifting" => (vec![Step::Press(Button::CoatLifting)], 0.2, "coat lifting pressed"),
        "bad_flame" => (vec![Step::Press(Button::BadFlame)], 0.2, "bad flame pressed"),
        "abort_requested" => (vec![Step::Ask(Request::Abort)], 0.1, "abort asked for"),
        "stop_requested" => (vec![Step::Ask(Request::Stop)], 0.1, "stop asked for"),
        "hold_requested" => (vec![Step::Ask(Request::Hold)], 0.1, "hold asked for"),
        "attendance" if here.truth.fuel_open && !here.lighting => {
            (vec![Step::Wait], 75.0, "nobody answers for 70 s")
        }
        "attendance" => return Err(NO_FLAME_TO_ATTEND),
        "overdue" if here.edge_to_come => {
            let late = signal(Target::FieldIo, Word::Slow(0.022));
            (vec![late], 4.0, "field I/O answers 22 ms late")
        }
        "overdue" => return Err(NO_EDGE),
        "scan_late" => {
            (vec![Step::Stall(Duration::from_millis(400))], 0.5, "program stands for 0.4 s")
        }
        "stall_reported" => {
            (vec![Step::Stall(Duration::from_millis(600))], 0.7, "program stands for 0.6 s")
        }
        "flame_lost" => (vec![plant(PlantFault::FlameBlownOut)], 0.3, "flame blown out"),
        "powder_unlit" => {
            (vec![contact(Discrete::FlamePresent, Word::Off)], 0.3, "flame sensor dead")
        }
        "flame_from_nothing" if here.truth.fuel_open => return Err(FUEL_OPEN),
        "flame_from_nothing" => {
            (vec![contact(Discrete::FlamePresent, Word::Wrong(0.0))], 0.3, "flame sensor inverted")
        }
        "flame_remains" | "flame_remains_warn" if !here.truth.flame_lit => return Err(NO_FLAME),
        "flame_remains" | "flame_remains_warn" => {
            let stuck = contact(Discrete::FlamePresent, Word::Stuck);
            (vec![stuck, Step::Ask(Request::Abort)], 5.5, "flame sensor stuck, abort asked for")
        }
        "no_ignition" => return Err(BACKSTOP),
        "ignition_lockout" if !here.lighting => return Err(NO_TRY),
        "ignition_lockout" => {
            let out = plant(PlantFault::FlameBlownOut);
            (vec![out, Step::NeverLight], 150.0, "nobody sparks in three tries")
        }
        "fuel_not_shut" => {
            not_shut(Discrete::FuelValveShut, here, "fuel valve's shut contact dead")
        }
        "oxygen_not_shut" => {
            not_shut(Discrete::OxygenValveShut, here, "oxygen valve's shut contact dead")
        }
        "fuel_contact_wrong" if !here.truth.fuel_open => return Err(FUEL_SHUT),
        "fuel_contact_wrong" => {
            let wrong = contact(Discrete::FuelValveShut, Word::Wrong(0.0));
            (vec![wrong], 0.3, "fuel valve's shut contact inverted")
        }
        "fuel_low_warn" => (vec![plant(PlantFault::FuelPressureLow(0.8))], 2.0, "fuel at 80 %"),
        "fuel_low" => (vec![plant(PlantFault::FuelPressureLow(0.6))], 2.0, "fuel at 60 %"),
        "fuel_high_warn" => (vec![plant(PlantFault::FuelPressureLow(1.2))], 2.0, "fuel at 120 %"),
        "fuel_high" => (vec![plant(PlantFault::FuelPressureLow(1.4))], 2.0, "fuel at 140 %"),
        "fuel_limit" => (vec![plant(PlantFault::FuelPressureLow(1.7))], 2.0, "fuel at 170 %"),
        "oxygen_low_warn" => {
            (vec![plant(PlantFault::OxygenPressureLow(0.8))], 2.0, "oxygen at 80 %")
        }
        "oxygen_low" => (vec![plant(PlantFault::OxygenPressureLow(0.6))], 2.0, "oxygen at 60 %"),
        "oxygen_high_warn" => {
            (vec![plant(PlantFault::OxygenPressureLow(1.2))], 2.0, "oxygen at 120 %")
        }
        "oxygen_high" => (vec![plant(PlantFault::OxygenPressureLow(1.4))], 2.0, "oxygen at 140 %"),
        "carrier_low_warn" => {
            (vec![off(Analogue::CarrierPressure, -0.4 / 6.0)], 0.5, "carrier reads 80 %")
        }
        "carrier_low" => {
            (vec![off(Analogue::CarrierPressure, -1.0 / 6.0)], 0.5, "carrier reads 50 %")
        }
        "extraction_flow_warn" => {
            (vec![off(Analogue::ExtractionFlow, -0.2)], 0.5, "extraction reads 20 % less")
        }
        "extraction_flow" | "extraction_flow_trip" => {
            (vec![off(Analogue::ExtractionFlow, -0.4)], 0.5, "extraction reads 40 % less")
        }
        "flammable_gas_warn" => {
            (vec![off(Analogue::FlammableGas, 0.15)], 0.5, "detector reads 15 %")
        }
        "flammable_gas" => (vec![off(Analogue::FlammableGas, 0.25)], 0.5, "detector reads 25 %"),
        "oxygen_rich_air" => (vec![off(Analogue::OxygenInAir, 0.13)], 0.5, "air reads 24.1 %"),
        "oxygen_poor_air" => (vec![off(Analogue::OxygenInAir, -0.08)], 0.5, "air reads 18.9 %"),
        "drive_silent" => (vec![signal(Target::Drive, Word::Off)], 0.5, "drive says nothing"),
        "drive_fault" => (vec![plant(PlantFault::DriveFails(0x4310))], 0.3, "drive too hot"),
        "drive_unknown" => {
            (vec![plant(PlantFault::DriveReports(0x0011))], 0.3, "drive reports no known state")
        }
        "following_error" => {
            (vec![plant(PlantFault::ScaleSlips(3.0))], 0.5, "scale reads 3 mm off")
        }
        "carriage_stalled" | "powder_still" => {
            let at = here.truth.torch_z_mm + here.truth.torch_mm_s * 1e-3;
            (vec![plant(PlantFault::NutSlips(at))], 1.0, "nut slips")
        }
        "outside_travel" | "outside_travel_lit" => return Err(NO_SUCH_TRAVEL),
        "torque_contradicts" if here.truth.drive_torque => {
            (vec![contact(Discrete::TorqueAllowed, Word::Off)], 0.5, "torque contact dead")
        }
        "torque_contradicts" => {
            let stop = contact(Discrete::EmergencyStopOk, Word::Off);
            (vec![stop], 0.5, "emergency-stop contact dead, torque still allowed")
        }
        "park_contradicts" if here.truth.torch_z_mm >= here.clear_from => {
            return Err(NOT_OVER_PART);
        }
        "park_contradicts" => {
            (vec![contact(Discrete::AtPark, Word::Wrong(0.0))], 0.5, "park switch inverted")
        }
        "flame_at_rest" => return Err(RESTS_UNSEEN),
        "spindle_stopped" => (vec![signal(Target::Tachometer, Word::Off)], 1.0, "no pulses"),
        "spindle_slow" => (vec![plant(PlantFault::BeltOff)], 4.0, "belt off"),
        "tachometer" => {
            (vec![signal(Target::Tachometer, Word::Wrong(-1.0))], 0.5, "pulse period reads 0")
        }
        "overspeed" => (lever(here, 1.4), 4.0, "spindle at 140 %"),
        "speed_warn" => (lever(here, 1.08), 12.0, "spindle at 108 %"),
        "speed_error" => (lever(here, 0.8), 12.0, "spindle at 80 %"),
        "inverter" => (vec![signal(Target::Inverter, Word::Off)], 1.0, "inverter says nothing"),
        "part_hot_warn" => {
            (reads(Analogue::PreheatTemperature, 340.0, here), 0.5, "part reads 340 degC")
        }
        "part_hot" => {
            (reads(Analogue::PreheatTemperature, 362.0, here), 0.5, "part reads 362 degC")
        }
        "part_cold" => {
            (reads(Analogue::PreheatTemperature, 180.0, here), 0.5, "part reads 180 degC")
        }
        "fuse_hot_warn" => (coat_over(-10.0, here), 0.5, "coat reads 10 K under its ceiling"),
        "fuse_hot" => (coat_over(12.0, here), 0.5, "coat reads 12 K over its ceiling"),
        "fuse_overheat" => (coat_over(60.0, here), 0.5, "coat reads 60 K over its ceiling"),
        "limit_minus" => (vec![contact(Discrete::LimitMinusOk, Word::Off)], 0.2, "wire broken"),
        "limit_plus" => (vec![contact(Discrete::LimitPlusOk, Word::Off)], 0.2, "wire broken"),
        "hopper_weight_low" => (vec![Step::Hopper(150.0)], 0.5, "hopper at 150 g"),
        "hopper_empty" => (vec![Step::Hopper(10.0)], 0.5, "hopper at 10 g"),
        "feed_falls" => (
            vec![signal(Target::Analogue(Analogue::HopperWeight), Word::Stuck)],
            8.0,
            "scale stuck",
        ),
        "feed_pulses" => {
            let late = signal(Target::Analogue(Analogue::HopperWeight), Word::Delayed(1.7));
            (vec![late], 8.0, "scale 1.7 s behind")
        }
        "hose_blocked" => (vec![plant(PlantFault::HoseBlocked)], 0.5, "hose blocked"),
        "field_silent" => (vec![signal(Target::FieldIo, Word::Off)], 0.5, "field I/O says nothing"),
        "field_frozen" => {
            (vec![signal(Target::FieldIo, Word::Stuck)], 1.0, "field I/O repeats itself")
        }
        _ => by_its_watch(row)?,
    };
    Ok(Provocation { steps, takes, words })
}

/// A contact or a transmitter whose wire is broken.
fn by_its_watch(row: &Row) -> Result<(Vec<Step>, f64, &'static str), Reason> {
    match row.watch {
        Watch::Open(tag) => Ok((vec![contact(input_of(tag)?, Word::Off)], 0.2, "wire broken")),
        Watch::Failed(tag) => {
            let wire = signal(Target::Analogue(current_of(tag)), Word::Off);
            Ok((vec![wire], 0.3, "wire broken"))
        }
        Watch::RelayDropped => {
            let relay = contact(Discrete::WatchdogRelayUp, Word::Off);
            Ok((vec![relay], 0.3, "relay contact dead"))
        }
        _ => Err("not provoked: add it to the provocations"),
    }
}

fn not_shut(
    input: Discrete,
    here: &Here<'_>,
    words: &'static str,
) -> (Vec<Step>, f64, &'static str) {
    let dead = contact(input, Word::Off);
    let open = here.truth.fuel_open || here.truth.oxygen_open;
    // What is open must be shut first.
    let steps = if open { vec![dead, Step::Ask(Request::Abort)] } else { vec![dead] };
    (steps, 0.5, words)
}

fn lever(here: &Here<'_>, share: f64) -> Vec<Step> {
    vec![plant(PlantFault::SpindleLever(here.rpm.max(here.truth.spindle_rpm) * share))]
}

/// A temperature made to read so much.
fn reads(input: Analogue, celsius: f64, here: &Here<'_>) -> Vec<Step> {
    let (reading, span) = match input {
        Analogue::PreheatTemperature => (here.part_c, 1000.0),
        _ => (here.coat_c, 1050.0),
    };
    vec![off(input, (celsius - reading) / span)]
}

fn coat_over(by: f64, here: &Here<'_>) -> Vec<Step> {
    reads(Analogue::PyrometerTemperature, here.ceiling_c + by, here)
}

fn input_of(tag: Contact) -> Result<Discrete, Reason> {
    Ok(match tag {
        Contact::EmergencyStop => Discrete::EmergencyStopOk,
        Contact::Guard => Discrete::GuardClosed,
        Contact::Clamp => Discrete::ClampOk,
        Contact::LimitMinus => Discrete::LimitMinusOk,
        Contact::LimitPlus => Discrete::LimitPlusOk,
        Contact::Arrestor => Discrete::ArrestorOk,
        Contact::Extraction => Discrete::ExtractionOk,
        Contact::PlantAir => Discrete::PlantAirOk,
        Contact::GasDetector => Discrete::GasDetectorOk,
        Contact::OxygenMonitor => Discrete::OxygenMonitorOk,
        Contact::FireDetection => Discrete::FireDetectionOk,
        Contact::Standoff => Discrete::StandOffOk,
        Contact::TorqueAllowed => Discrete::TorqueAllowed,
        Contact::HopperLevel => Discrete::HopperLevelOk,
        Contact::PartTurning => Discrete::PartTurning,
        Contact::AbortButtonRest => Discrete::AbortReleased,
        _ => return Err("not provoked: add its contact to the provocations"),
    })
}

const fn current_of(tag: Wire) -> Analogue {
    match tag {
        Wire::FuelPressure => Analogue::FuelPressure,
        Wire::OxygenPressure => Analogue::OxygenPressure,
        Wire::CarrierPressure => Analogue::CarrierPressure,
        Wire::ExtractionFlow => Analogue::ExtractionFlow,
        Wire::PartTemperature => Analogue::PreheatTemperature,
        Wire::FuseTemperature => Analogue::PyrometerTemperature,
        Wire::HopperWeight => Analogue::HopperWeight,
        Wire::BackPressure => Analogue::CarrierBackPressure,
        Wire::FlammableGas => Analogue::FlammableGas,
        Wire::OxygenInAir => Analogue::OxygenInAir,
    }
}

/// Does it; says whether what was asked for was so already.
pub(crate) fn act(trial: &mut Trial, steps: &[Step]) -> Asked {
    let mut asked = Asked::Taken;
    for step in steps {
        match *step {
            Step::Fault(fault) => trial.bench().inject(fault),
            Step::Press(button) if button == Button::EmergencyStop => trial.bench().press(button),
            Step::Press(button) => trial.press(button),
            Step::OpenGuard => trial.bench().open_guard(),
            Step::Ask(request) => {
                if trial.ask(request) == Answer::AlreadySo {
                    asked = Asked::SoAlready;
                }
            }
            Step::Stall(span) => trial.stall(span),
            Step::Hopper(grams) => trial.bench().fill_hopper(grams),
            Step::NeverLight => trial.never_light = true,
            Step::Wait => {}
        }
    }
    asked
}
