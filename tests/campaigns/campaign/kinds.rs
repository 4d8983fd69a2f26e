//! Everything that can be drawn, by name, so that what was generated can be counted and a thing
//! that never came is seen.

use std::collections::BTreeMap;

use evenpass_hil::{
    Analogue, Button, Coil, Discrete, Fault, LineFault, LineIndex, PlantFault, Presence, Target,
    Word,
};

use super::schedule::{Event, StallClock};

macro_rules! all {
    ($name:ident, $kind:ident, $count:literal, [$($variant:ident),+ $(,)?]) => {
        pub(crate) const $name: [$kind; $count] = [$($kind::$variant),+];
    };
}

all!(
    DISCRETES,
    Discrete,
    32,
    [
        EmergencyStopOk,
        GuardClosed,
        ClampOk,
        LimitMinusOk,
        LimitPlusOk,
        FlamePresent,
        ArrestorOk,
        ExtractionOk,
        PlantAirOk,
        GasDetectorOk,
        OxygenMonitorOk,
        FireDetectionOk,
        KeyOn,
        StartPressed,
        HoldReleased,
        StopReleased,
        ResetPressed,
        AcceptPressed,
        WetPressed,
        BadFlamePressed,
        CoatLiftingPressed,
        HoldToRunPressed,
        StandOffOk,
        WatchdogRelayUp,
        FuelValveShut,
        OxygenValveShut,
        TorqueAllowed,
        HopperLevelOk,
        AtPark,
        PartTurning,
        AbortReleased,
        Spare,
    ]
);
all!(
    ANALOGUES,
    Analogue,
    10,
    [
        FuelPressure,
        OxygenPressure,
        CarrierPressure,
        ExtractionFlow,
        PreheatTemperature,
        PyrometerTemperature,
        HopperWeight,
        CarrierBackPressure,
        FlammableGas,
        OxygenInAir,
    ]
);
all!(
    COILS,
    Coil,
    16,
    [
        PowderFeeder,
        CarrierAir,
        FuelValve,
        OxygenValve,
        Igniter,
        CoolingAir,
        Extraction,
        WatchdogBeat,
        LampRed,
        LampYellow,
        LampGreen,
        LampBlue,
        LampWhite,
        Horn,
        GasSupply,
        SwingAway,
    ]
);
all!(
    BUTTONS,
    Button,
    11,
    [Start, Hold, Stop, Abort, Reset, Accept, Wet, BadFlame, CoatLifting, HoldToRun, EmergencyStop,]
);

/// Devices, and the pulses.
pub(crate) const DEVICES: [Target; 4] =
    [Target::Tachometer, Target::FieldIo, Target::Drive, Target::Inverter];
/// The eight words, by name. "Ok" is what mending says.
pub(crate) const WORDS: [&str; 8] =
    ["ok", "off", "stuck", "garbage", "wrong", "slow", "delayed", "intermittent"];
const LINE_FAULTS: [&str; 8] = [
    "cut",
    "lost request",
    "bit error",
    "lost reply",
    "late reply",
    "duplicated reply",
    "foreign frame",
    "torn",
];
const PLANT_FAULTS: [&str; 15] = [
    "flame blown out",
    "nut slips",
    "belt off",
    "spindle lever",
    "fuel pressure low",
    "oxygen pressure low",
    "hopper empty",
    "hose blocked",
    "extraction failed",
    "plant air lost",
    "clamp lost",
    "scale slips",
    "drive fails",
    "drive reports wrongly",
    "coat emissivity",
];
const PROGRAM: [&str; 8] = [
    "stall",
    "stall, clock stands",
    "clock forward",
    "clock back",
    "port gone",
    "port back",
    "mains off",
    "mains on",
];
const HANDS: [&str; 9] = [
    "key on",
    "key off",
    "guard opened",
    "guard shut",
    "spark",
    "carriage pushed",
    "hopper filled",
    "nobody there",
    "slow person",
];
/// Requests, each from the seat, from a watcher and from the machine.
pub(crate) const REQUESTS: [&str; 26] = [
    "start",
    "hold",
    "hold after this pass",
    "restart",
    "stop",
    "abort",
    "acknowledge",
    "reset",
    "accept",
    "wet",
    "not wet",
    "bad flame",
    "coat lifting",
    "inspected",
    "home",
    "jog",
    "jog key let go",
    "nudge",
    "take a point",
    "manual work",
    "proving",
    "leave manual work",
    "blasted now",
    "trim the feed",
    "touch up",
    "one pass less",
];
const ORIGINS: [&str; 3] = ["Machine", "Seat", "Watcher"];

fn word(word: Word) -> &'static str {
    let place = match word {
        Word::Ok => 0,
        Word::Off => 1,
        Word::Stuck => 2,
        Word::Garbage => 3,
        Word::Wrong(_) => 4,
        Word::Slow(_) => 5,
        Word::Delayed(_) => 6,
        Word::Intermittent(_) => 7,
    };
    WORDS[place]
}

fn target(target: Target) -> String {
    match target {
        Target::Discrete(input) => format!("contact {input:?}"),
        Target::Analogue(input) => format!("analogue {input:?}"),
        Target::Coil(coil) => format!("coil {coil:?}"),
        Target::Tachometer | Target::FieldIo | Target::Drive | Target::Inverter => {
            format!("{target:?}")
        }
    }
}

fn line_fault(fault: LineFault) -> &'static str {
    let place = match fault {
        LineFault::Cut => 0,
        LineFault::LostRequest => 1,
        LineFault::BitError => 2,
        LineFault::LostReply => 3,
        LineFault::LateReply(_) => 4,
        LineFault::DuplicatedReply => 5,
        LineFault::ForeignFrame => 6,
        LineFault::Torn => 7,
    };
    LINE_FAULTS[place]
}

fn plant_fault(fault: PlantFault) -> &'static str {
    let place = match fault {
        PlantFault::FlameBlownOut => 0,
        PlantFault::NutSlips(_) => 1,
        PlantFault::BeltOff => 2,
        PlantFault::SpindleLever(_) => 3,
        PlantFault::FuelPressureLow(_) => 4,
        PlantFault::OxygenPressureLow(_) => 5,
        PlantFault::HopperEmpty => 6,
        PlantFault::HoseBlocked => 7,
        PlantFault::ExtractionFailed => 8,
        PlantFault::PlantAirLost => 9,
        PlantFault::ClampLost => 10,
        PlantFault::ScaleSlips(_) => 11,
        PlantFault::DriveFails(_) => 12,
        PlantFault::DriveReports(_) => 13,
        PlantFault::CoatEmissivity(_) => 14,
    };
    PLANT_FAULTS[place]
}

/// A name in three parts: group, kind, target.
pub(crate) type Name = (&'static str, String, String);

/// What an event is counted as.
pub(crate) fn name(event: &Event) -> Name {
    let program = |kind: &str| ("program", kind.to_owned(), String::new());
    let by_hand = |kind: &str| ("hands", kind.to_owned(), String::new());
    match event {
        Event::Inject(Fault::Signal { target: at, word: what }) => {
            ("signal", word(*what).to_owned(), target(*at))
        }
        Event::Mend(at) => ("signal", word(Word::Ok).to_owned(), target(*at)),
        Event::Inject(Fault::Line { line, fault, .. }) => {
            ("line", line_fault(*fault).to_owned(), format!("{line:?}"))
        }
        Event::Inject(Fault::Plant(fault)) => {
            ("plant", plant_fault(*fault).to_owned(), String::new())
        }
        Event::MendLine(line) => ("line", "mended".to_owned(), format!("{line:?}")),
        Event::MendPlant => ("plant", "mended".to_owned(), String::new()),
        Event::MainsOff => program("mains off"),
        Event::MainsOn => program("mains on"),
        Event::PortGone(line) => ("program", "port gone".to_owned(), format!("{line:?}")),
        Event::PortBack(line) => ("program", "port back".to_owned(), format!("{line:?}")),
        Event::Stall { clock: StallClock::Runs, .. } => program("stall"),
        Event::Stall { clock: StallClock::Stands, .. } => program("stall, clock stands"),
        Event::ClockForward(_) => program("clock forward"),
        Event::ClockBack(_) => program("clock back"),
        Event::Press { button, .. } => ("button", "pressed".to_owned(), format!("{button:?}")),
        Event::KeyOn => by_hand("key on"),
        Event::KeyOff => by_hand("key off"),
        Event::OpenGuard => by_hand("guard opened"),
        Event::ShutGuard => by_hand("guard shut"),
        Event::Spark => by_hand("spark"),
        Event::PushCarriage(_) => by_hand("carriage pushed"),
        Event::FillHopper(_) => by_hand("hopper filled"),
        Event::Stands(Presence::Absent) => by_hand("nobody there"),
        Event::Stands(_) => by_hand("slow person"),
        Event::Ask(what, who) => {
            let title = match what {
                evenpass_core::request::Request::Jog(_) => "jog",
                other => other.title(),
            };
            ("request", title.to_owned(), format!("{who:?}"))
        }
    }
}

/// Everything there is, with nothing counted yet.
pub(crate) fn nothing_yet() -> BTreeMap<Name, u64> {
    let mut names: Vec<Name> = Vec::new();
    let targets: Vec<String> = DISCRETES
        .iter()
        .map(|input| target(Target::Discrete(*input)))
        .chain(ANALOGUES.iter().map(|input| target(Target::Analogue(*input))))
        .chain(COILS.iter().map(|coil| target(Target::Coil(*coil))))
        .chain(DEVICES.iter().map(|device| target(*device)))
        .collect();
    for word in WORDS {
        names.extend(targets.iter().map(|at| ("signal", word.to_owned(), at.clone())));
    }
    for line in [LineIndex::Field, LineIndex::Motion] {
        let at = format!("{line:?}");
        names.extend(LINE_FAULTS.iter().map(|fault| ("line", (*fault).to_owned(), at.clone())));
        for kind in ["port gone", "port back"] {
            names.push(("program", kind.to_owned(), at.clone()));
        }
    }
    let alone = |group, kinds: &[&str], names: &mut Vec<Name>| {
        let alone = kinds.iter().map(|kind| (group, (*kind).to_owned(), String::new()));
        names.extend(alone.filter(|(_, kind, _)| !kind.starts_with("port")));
    };
    alone("plant", &PLANT_FAULTS, &mut names);
    alone("program", &PROGRAM, &mut names);
    alone("hands", &HANDS, &mut names);
    for button in BUTTONS {
        names.push(("button", "pressed".to_owned(), format!("{button:?}")));
    }
    for request in REQUESTS {
        for origin in ORIGINS {
            names.push(("request", request.to_owned(), origin.to_owned()));
        }
    }
    names.into_iter().map(|name| (name, 0)).collect()
}
