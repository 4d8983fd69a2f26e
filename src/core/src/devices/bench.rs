//! The bench's rig as a value, for tests: two lines at 115,200 baud, field I/O on one, drive and
//! inverter on the other. All figures are invented for the bench.

use crate::image::{Analogue, Coil, Contact, Level};
use crate::quantity::{Acceleration, Length, Pressure, Range, Speed, SpindleSpeed, Time};
use crate::rig::{
    AnalogueSpec, Attendance, AxisRegisters, AxisSpec, CoilSpec, CommunicationLoss, ContactSpec,
    FieldSpec, InverterRegisters, InverterSpec, IsolationSpec, LineId, LineSpec, LitBy, Parity,
    Rig, RigKind, Sense, SpindleSpec, StopBits, SwingAway, TachometerSpec, WatchdogSpec, WordOrder,
};

pub(crate) fn line(name: &str) -> LineSpec {
    LineSpec {
        name: name.to_owned(),
        port: None,
        baud: 115_200,
        parity: Parity::Even,
        stop_bits: StopBits::One,
        reply_within: Time::from_s(0.025),
        quarantine: Time::from_s(0.030),
        turn_round: Time::from_s(0.003),
        misses: 3,
        probe_every: Time::from_s(1.0),
    }
}

/// The contacts in the order of the module's inputs 0 to 30.
const INPUTS: [Contact; 31] = [
    Contact::EmergencyStop,
    Contact::Guard,
    Contact::Clamp,
    Contact::LimitMinus,
    Contact::LimitPlus,
    Contact::Flame,
    Contact::Arrestor,
    Contact::Extraction,
    Contact::PlantAir,
    Contact::GasDetector,
    Contact::OxygenMonitor,
    Contact::FireDetection,
    Contact::EnablingKey,
    Contact::StartButton,
    Contact::HoldButtonRest,
    Contact::StopButtonRest,
    Contact::ResetButton,
    Contact::AcceptButton,
    Contact::WetButton,
    Contact::BadFlameButton,
    Contact::CoatLiftingButton,
    Contact::HoldToRun,
    Contact::Standoff,
    Contact::WatchdogRelay,
    Contact::FuelShut,
    Contact::OxygenShut,
    Contact::TorqueAllowed,
    Contact::HopperLevel,
    Contact::ParkSwitch,
    Contact::PartTurning,
    Contact::AbortButtonRest,
];

/// Value of each analogue at 4 and at 20 mA, in the order of [`Analogue::ALL`] and of the
/// module's registers.
const SPANS: [(f64, f64); Analogue::COUNT] = [
    (0.0, 2.5),
    (0.0, 10.0),
    (0.0, 6.0),
    (0.0, 100.0),
    (0.0, 1000.0),
    (250.0, 1_300.0),
    (0.0, 5_000.0),
    (0.0, 1.0),
    (0.0, 100.0),
    (0.0, 25.0),
];

fn field() -> FieldSpec {
    let contacts = Contact::ALL.iter().map(|tag| ContactSpec {
        tag: *tag,
        input: INPUTS.iter().position(|wired| wired == tag).and_then(|at| u16::try_from(at).ok()),
        absent: Level::Off,
        sense: Sense::Straight,
    });
    let analogues = Analogue::ALL.iter().zip(SPANS).map(|(tag, (low, high))| AnalogueSpec {
        tag: *tag,
        register: u16::try_from(tag.index()).ok(),
        microampere_per_count: 1.0,
        at_4_ma: low,
        at_20_ma: high,
    });
    let coils = Coil::ALL.iter().map(|coil| CoilSpec {
        coil: *coil,
        output: match coil {
            Coil::SwingAway => None,
            fitted => u16::try_from(fitted.index()).ok(),
        },
    });
    FieldSpec {
        line: LineId(0),
        unit: 1,
        contacts: contacts.collect(),
        analogues: analogues.collect(),
        coils: coils.collect(),
        tachometer: TachometerSpec {
            pulses_per_turn: 8,
            period_register: 10,
            count_register: 12,
            since_register: 13,
        },
        cycle_register: 14,
        communication_register: Some(0),
        communication_loss: Time::from_s(0.2),
        coil_latency: Time::from_s(0.002),
        age_budget: Time::from_s(0.15),
        poll_every: Time::from_s(0.020),
        registers_every: Time::from_s(0.040),
        watchdog: WatchdogSpec { relay: Time::from_s(0.3), beat: Time::from_s(0.05) },
        isolation: IsolationSpec {
            vented_below: Pressure::from_bar(0.05),
            within: Time::from_s(10.0),
        },
        swing_away: SwingAway::NotFitted,
    }
}

fn axis() -> AxisSpec {
    AxisSpec {
        line: LineId(1),
        unit: 1,
        registers: AxisRegisters {
            read_block: 0x0100,
            write_block: 0x0200,
            word_order: WordOrder::HighFirst,
        },
        pulses_per_mm: 400.0,
        datum: Length::from_mm(-50.0),
        travel: Range { low: Length::from_mm(-40.0), high: Length::from_mm(900.0) },
        park: Length::from_mm(880.0),
        park_tolerance: Length::from_mm(1.0),
        positioning: Speed::from_mm_per_s(50.0),
        jog: Speed::from_mm_per_s(10.0),
        homing: Speed::from_mm_per_s(10.0),
        ramp: Acceleration::from_mm_per_s2(200.0),
        quick_stop: Acceleration::from_mm_per_s2(1_000.0),
        backlash: Length::from_mm(0.1),
        speed_step: Speed::from_mm_per_s(0.05),
        age_budget: Time::from_s(0.15),
        poll_every: Time::from_s(0.020),
        communication_loss: CommunicationLoss { after: Time::from_s(0.2), reaction: 2 },
    }
}

fn inverter() -> InverterSpec {
    InverterSpec {
        line: LineId(1),
        unit: 2,
        registers: InverterRegisters { write_block: 0x0010, read_block: 0x0020 },
        rpm_per_count: 0.1,
        speeds: Range { low: SpindleSpeed::from_rpm(10.0), high: SpindleSpeed::from_rpm(400.0) },
        age_budget: Time::from_s(1.0),
        poll_every: Time::from_s(0.2),
        communication_loss: CommunicationLoss { after: Time::from_s(1.0), reaction: 1 },
        ride_on: Time::from_s(120.0),
    }
}

pub(crate) fn rig() -> Rig {
    Rig {
        swing: Length::from_mm(400.0),
        title: "bench".to_owned(),
        kind: RigKind::Twin,
        lit_by: LitBy::Igniter,
        scan: Time::from_s(0.020),
        lines: vec![line("field"), line("motion")],
        field: field(),
        axis: axis(),
        spindle: SpindleSpec::Inverter(inverter()),
        attendance: Attendance { every: Time::from_s(600.0), answer_within: Time::from_s(60.0) },
        interlocks: Vec::new(),
    }
}
