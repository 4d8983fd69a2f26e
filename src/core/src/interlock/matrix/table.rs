//! The rows themselves.
//!
//! Columns of a row, in order:
//! number, key, priority among causes of one scan, class, arming, what is watched, set-point,
//! delay before it counts and delay before it counts as gone, in ms; effects, what makes it gone,
//! lamp, what a person may do meanwhile, whether a wired circuit must do the same without this
//! program; then title and advice.
//!
//! Effects, in order: powder, fuel, oxygen, supply, air, carriage, spindle, cooling, watchdog.
//! `X` takes the output away, `_` leaves it to the sequence, which in a hold withdraws the torch,
//! keeps the part turning and times the flame.
//!
//! A delay before gone is a contact's bounce (0.2 s), a value that must have settled (2 s), a
//! device that must have answered for a while (1 s) or a cell that must have aired (5 s); all
//! arbitrary. A row whose value means nothing once its arming is off is gone with it.
//!
//! Set-points without a source beside them are common practice, to be replaced by the torch
//! maker's handbook and the risk assessment; a rig file can only tighten them.

use core::time::Duration;

use super::row::{
    AirEffect, Arming, Circuit, Lamp, Meanwhile, Raised, Reference, ResetRule, Row, RowEffects,
    SetPoint, Tighter, Watch,
};
use crate::image::{Analogue, Contact};
use crate::interlock::verdict::{CarriageEffect, Class, SpindleEffect, Veto};

use Raised::{Abort, Attendance, BadFlame, CoatLifting, IgnitionLockout, Overdue, Stalled};
use Watch::{Above, Below, Failed, Open, Person, PressedOr};

/// Customary limit of free acetylene, bar gauge (15 psi); the step may name another gas's.
pub(in crate::interlock) const FUEL_LIMIT: f64 = 1.03;

/// For rows that compare with nothing.
const NONE: Option<SetPoint> = None;

/// A figure that a value must not fall under.
const fn floor(value: f64, unit: &'static str) -> Option<SetPoint> {
    Some(SetPoint { value, unit, tighter: Tighter::Higher })
}

/// A figure that a value must not exceed.
const fn ceiling(value: f64, unit: &'static str) -> Option<SetPoint> {
    Some(SetPoint { value, unit, tighter: Tighter::Lower })
}

macro_rules! veto {
    (X) => {
        Veto::Imposed
    };
    (_) => {
        Veto::None
    };
}

macro_rules! matrix {
    ($($number:literal, $key:literal, $priority:literal, $class:ident, $arming:ident, $watch:expr, $set:expr, $delay:literal, $off:literal,
       [$powder:tt $fuel:tt $oxygen:tt $supply:tt $air:ident $carriage:ident $spindle:ident $cooling:tt $watchdog:tt],
       $reset:ident, $lamp:ident, $may:ident, $circuit:ident, $title:literal, $advice:literal;)+) => {
        &[$(Row {
            number: $number,
            key: $key,
            title: $title,
            class: Class::$class,
            priority: $priority,
            arming: Arming::$arming,
            watch: $watch,
            set_point: $set,
            delay: Duration::from_millis($delay),
            delay_off: Duration::from_millis($off),
            effects: RowEffects {
                powder: veto!($powder),
                fuel: veto!($fuel),
                oxygen: veto!($oxygen),
                supply: veto!($supply),
                air: AirEffect::$air,
                carriage: CarriageEffect::$carriage,
                spindle: SpindleEffect::$spindle,
                cooling: veto!($cooling),
                watchdog: veto!($watchdog),
            },
            reset: ResetRule::$reset,
            lamp: Lamp::$lamp,
            meanwhile: Meanwhile::$may,
            circuit: Circuit::$circuit,
            advice: $advice,
        }),+]
    };
}

/// The matrix.
#[rustfmt::skip]
pub(in crate::interlock) const ROWS: &[Row] = matrix! {
    // People and wiring. Emergency stop, guard, clamp and fire stop the spindle: people come
    // before the part. A request counts whatever is armed, since it was somebody's act.
    101, "emergency_stop",      1, Trip, Energised,       Open(Contact::EmergencyStop),             NONE,                  0,  200,
        [X X X _ UntilClear Stop    Stop _ _], Healthy,   Red,    ResetWhenGone,   AlsoWired, "Emergency stop", "Make the cell safe, then pull the emergency stop out and reset its relay.";
    102, "guard_open",          2, Trip, GuardNeeded,     Open(Contact::Guard),                     NONE,                  0,  200,
        [X X X _ UntilClear Stop    Stop _ _], Healthy,   Red,    ResetWhenGone,   AlsoWired, "Guard open", "Shut the guard; look at its switch and cable.";
    103, "clamp_lost",          3, Trip, Energised,       Open(Contact::Clamp),                     NONE,                  0,  200,
        [X X X _ UntilClear Retreat Stop _ _], Healthy,   Red,    ResetWhenGone,   AlsoWired, "Work clamp lost", "Clamp the part again; look at clamp pressure and switch.";
    104, "abort_button",        4, Trip, Energised,       Open(Contact::AbortButtonRest),           NONE,                  0,  200,
        [X X X _ UntilClear Retreat Turn _ _], Healthy,   Red,    ResetWhenGone,   Software,  "Abort button", "Release the abort button; a broken wire reads pressed.";
    105, "abort_requested",     4, Trip, Always,          Person(Abort),                            NONE,                  0,    0,
        [X X X _ UntilClear Retreat Turn _ _], AtRest,    Red,    ResetWhenGone,   Software,  "Abort requested", "See why it was asked for.";
    106, "fire",                1, Trip, Energised,       Open(Contact::FireDetection),             NONE,                  0,  200,
        [X X X X Off        Cut     Stop X X], Healthy,   Red,    LeaveCell,       AlsoWired, "Fire detection", "Follow the site's fire plan; leave the cell.";
    107, "stop_button",         5, Stop, Energised,       Open(Contact::StopButtonRest),            NONE,                  0,  200,
        [X _ _ _ Keep       Free    Free _ _], Healthy,   Yellow, LetItEnd,        Software,  "Stop button", "The job ends in order; a broken wire reads pressed.";
    108, "stop_requested",      5, Stop, Always,          Person(Raised::Stop),                     NONE,                  0,    0,
        [X _ _ _ Keep       Free    Free _ _], AtRest,    Yellow, LetItEnd,        Software,  "Stop requested", "The job ends in order.";
    109, "hold_button",         5, Hold, Process,         Open(Contact::HoldButtonRest),            NONE,                  0,  200,
        [X _ _ _ Keep       Free    Free _ _], Healthy,   Yellow, RestartWhenGone, Software,  "Hold button", "Release the hold button; a broken wire reads pressed.";
    110, "hold_requested",      5, Hold, Always,          Person(Raised::Hold),                     NONE,                  0,    0,
        [X _ _ _ Keep       Free    Free _ _], AtRest,    Yellow, RestartWhenGone, Software,  "Hold requested", "Restart when ready.";
    111, "attendance",          5, Hold, Always,          Person(Attendance),                       NONE,                  0,    0,
        [X _ _ _ Keep       Free    Free _ _], AtRest,    Blue,   RestartWhenGone, Software,  "Nobody answered", "Somebody must be there while the flame is lit: answer at the machine, then restart.";
    112, "coat_lifting",        5, Hold, Process,         PressedOr(Contact::CoatLiftingButton, CoatLifting), NONE,        0,    0,
        [X _ _ _ Keep       Free    Free _ _], AtRest,    Blue,   RestartWhenGone, Software,  "Coat lifting", "Look at the coat: a lifted coat must be stripped and blasted again.";
    113, "overdue",             5, Hold, Always,          Person(Overdue),                          NONE,                  0,    0,
        [X _ _ _ Keep       Free    Free _ _], AtRest,    Yellow, RestartWhenGone, Software,  "Waited too long", "See what did not come, and why.";

    // Flame and valves. Flame trips shut the carrier with the feeder; the hose is purged later,
    // clear of the part.
    201, "flame_lost",          4, Trip, Burning,         Watch::NoFlame,                           NONE,                300,    0,
        [X X X _ UntilClear Retreat Turn _ _], AtRest,    Red,    ResetWhenGone,   AlsoWired, "Flame lost", "Wait, purge, find out why it went out; look at gas pressures, tip and sensor window.";
    // A torch that should be dark and at its park has no reason to move.
    202, "flame_from_nothing",  4, Trip, Energised,       Watch::FlameFromNothing,                  NONE,                500, 2000,
        [X X X _ UntilClear Stop    Turn _ _], Healthy,   Red,    ResetWhenGone,   AlsoWired, "Flame signal not believable", "Nothing should burn: look for a leaking valve, then at the sensor and what it sees.";
    203, "flame_remains_warn",  8, Warn, GasPresent,      Watch::FlameRemains,                      ceiling(1.0, "s"),     0, 2000,
        [_ _ _ _ Keep       Free    Free _ _], Healthy,   Yellow, GoOn,            Software,  "Flame still seen after shutting", "Watch the torch. If it burns, shut the isolation valve outside the cell.";
    204, "flame_remains",       3, Trip, Always,          Watch::FlameRemains,                      ceiling(5.0, "s"),     0, 2000,
        [X X X X UntilClear Retreat Turn _ _], Healthy,   Red,    ShutByHand,      AlsoWired, "Flame seen with gas shut", "Shut the isolation valve outside the cell by hand as well. A glowing part or sparks can look the same: make sure.";
    205, "no_ignition",         4, Trip, Lighting,        Watch::TrialOver,                         ceiling(0.2, "s"),     0,    0,
        [X X X _ UntilClear Retreat Turn _ _], AtRest,    Red,    ResetWhenGone,   AlsoWired, "Gas open unlit for too long", "Wait until the gas has dispersed; the sequence should have shut it: report this.";
    206, "ignition_lockout",    4, Trip, Always,          Person(IgnitionLockout),                  NONE,                  0,    0,
        [X X X _ UntilClear Retreat Turn _ _], AtRest,    Red,    ResetWhenGone,   AlsoWired, "Torch does not light", "No further try: look at gas, tip, igniter and sensor, then reset at the machine.";
    207, "flashback",           2, Trip, GasPresent,      Open(Contact::Arrestor),                  NONE,                  0,  200,
        [X X X _ Off        Retreat Turn _ _], Inspected, Red,    InspectFirst,    AlsoWired, "Flashback", "Do not relight. Let everything cool, inspect torch, hoses and arrestors, and write down what was found.";
    208, "bad_flame",           2, Trip, Process,         PressedOr(Contact::BadFlameButton, BadFlame), NONE,              0,    0,
        [X X X _ Off        Retreat Turn _ _], Inspected, Red,    InspectFirst,    Software,  "Bad flame", "Popping or squeal: it may burn inside. Let it cool, inspect torch and hoses, and write down what was found.";
    209, "fuel_not_shut",       4, Trip, GasPresent,      Watch::FuelNotShut,                       NONE,               1000,  500,
        [X X X X UntilClear Retreat Turn _ _], Healthy,   Red,    ShutByHand,      Software,  "Fuel valve not proved shut", "Shut the isolation valve outside the cell; look at valve and contact.";
    210, "oxygen_not_shut",     4, Trip, GasPresent,      Watch::OxygenNotShut,                     NONE,               1000,  500,
        [X X X X UntilClear Retreat Turn _ _], Healthy,   Red,    ShutByHand,      Software,  "Oxygen valve not proved shut", "Shut the isolation valve outside the cell; look at valve and contact.";
    211, "fuel_contact_wrong",  8, Hold, Process,         Watch::FuelShutContradicts,               NONE,               1000,  500,
        [X _ _ _ Keep       Free    Free _ _], AtRest,    Yellow, RestartWhenGone, Software,  "Fuel valve open, contact says shut", "Its contact can't prove the valve shut: look at valve and contact.";

    // Pressures. A transmitter's failure is told as that, sooner than any value row, and
    // inhibits them. Shares are of what the torch is set to.
    301, "fuel_low_warn",       8, Warn, FuelSettled,     Below(Analogue::FuelPressure, Reference::FuelPressure), floor(85.0, "%"), 500, 2000,
        [_ _ _ _ Keep       Free    Free _ _], AtRest,    Yellow, GoOn,            Software,  "Fuel pressure falling", "Look at cylinder and regulator.";
    302, "fuel_low",            6, Trip, FuelSettled,     Below(Analogue::FuelPressure, Reference::FuelPressure), floor(70.0, "%"), 500, 2000,
        [X X X _ UntilClear Retreat Turn _ _], AtRest,    Red,    ResetWhenGone,   AlsoWired, "Fuel pressure low", "Low fuel backfires: look at cylinder, regulator and hose.";
    303, "fuel_high_warn",      8, Warn, FuelSettled,     Above(Analogue::FuelPressure, Reference::FuelPressure), ceiling(115.0, "%"), 500, 2000,
        [_ _ _ _ Keep       Free    Free _ _], AtRest,    Yellow, GoOn,            Software,  "Fuel pressure rising", "Look at the regulator.";
    304, "fuel_high",           6, Trip, SupplyOpen,      Above(Analogue::FuelPressure, Reference::FuelPressure), ceiling(130.0, "%"), 500, 2000,
        [X X X X UntilClear Retreat Turn _ _], AtRest,    Red,    ResetWhenGone,   AlsoWired, "Fuel pressure high", "Look at the regulator.";
    305, "fuel_limit",          5, Trip, SupplyOpen,      Above(Analogue::FuelPressure, Reference::FuelLimit), ceiling(FUEL_LIMIT, "bar"), 500, 2000,
        [X X X X UntilClear Retreat Turn _ _], AtRest,    Red,    ResetWhenGone,   AlsoWired, "Fuel over its gas's limit", "Acetylene can decompose above 1.03 bar: shut it at the cylinder, look at the regulator.";
    306, "fuel_transmitter",    6, Trip, SupplyOpen,      Failed(Analogue::FuelPressure),           NONE,                100, 1000,
        [X X X _ UntilClear Retreat Turn _ _], Healthy,   Red,    ResetWhenGone,   Software,  "Fuel pressure transmitter", "A sensor fault, not a pressure: look at its wiring.";
    307, "oxygen_low_warn",     8, Warn, OxygenSettled,   Below(Analogue::OxygenPressure, Reference::OxygenPressure), floor(85.0, "%"), 500, 2000,
        [_ _ _ _ Keep       Free    Free _ _], AtRest,    Yellow, GoOn,            Software,  "Oxygen pressure falling", "Look at cylinder and regulator.";
    308, "oxygen_low",          6, Trip, OxygenSettled,   Below(Analogue::OxygenPressure, Reference::OxygenPressure), floor(70.0, "%"), 500, 2000,
        [X X X _ UntilClear Retreat Turn _ _], AtRest,    Red,    ResetWhenGone,   AlsoWired, "Oxygen pressure low", "Fuel can flow back into the oxygen hose: look at cylinder, regulator and non-return valve.";
    309, "oxygen_high_warn",    8, Warn, OxygenSettled,   Above(Analogue::OxygenPressure, Reference::OxygenPressure), ceiling(115.0, "%"), 500, 2000,
        [_ _ _ _ Keep       Free    Free _ _], AtRest,    Yellow, GoOn,            Software,  "Oxygen pressure rising", "Look at the regulator.";
    310, "oxygen_high",         6, Trip, SupplyOpen,      Above(Analogue::OxygenPressure, Reference::OxygenPressure), ceiling(130.0, "%"), 500, 2000,
        [X X X X UntilClear Retreat Turn _ _], AtRest,    Red,    ResetWhenGone,   AlsoWired, "Oxygen pressure high", "Look at the regulator.";
    311, "oxygen_transmitter",  6, Trip, SupplyOpen,      Failed(Analogue::OxygenPressure),         NONE,                100, 1000,
        [X X X _ UntilClear Retreat Turn _ _], Healthy,   Red,    ResetWhenGone,   Software,  "Oxygen pressure transmitter", "A sensor fault, not a pressure: look at its wiring.";
    312, "carrier_low_warn",    8, Warn, CarrierSettled,  Below(Analogue::CarrierPressure, Reference::CarrierPressure), floor(85.0, "%"), 1000, 2000,
        [_ _ _ _ Keep       Free    Free _ _], AtRest,    Yellow, GoOn,            Software,  "Carrier air falling", "Look at regulator and filter.";
    313, "carrier_low",         6, Trip, CarrierSettled,  Below(Analogue::CarrierPressure, Reference::CarrierPressure), floor(65.0, "%"), 1000, 2000,
        [X X X _ Keep       Retreat Turn _ _], AtRest,    Red,    ResetWhenGone,   Software,  "Carrier air low", "The tip is no longer cooled: look at regulator, filter and hose.";
    314, "carrier_transmitter", 6, Trip, CarrierSettled,  Failed(Analogue::CarrierPressure),        NONE,                100, 1000,
        [X X X _ Keep       Retreat Turn _ _], Healthy,   Red,    ResetWhenGone,   Software,  "Carrier pressure transmitter", "A sensor fault, not a pressure: look at its wiring.";
    315, "plant_air",           7, Hold, Process,         Open(Contact::PlantAir),                  NONE,               1000,  200,
        [X _ _ _ Keep       Free    Free _ _], Healthy,   Yellow, RestartWhenGone, Software,  "Plant air missing", "Look at compressor, main valve and pressure switch.";

    // The cell's air. Low extraction holds first; gas is shut ten seconds later.
    401, "extraction_flow_warn", 8, Warn, Process,        Below(Analogue::ExtractionFlow, Reference::Own), floor(80.0, "%"), 1000, 2000,
        [_ _ _ _ Keep       Free    Free _ _], Healthy,   Yellow, GoOn,            Software,  "Extraction falling", "Look at filter and fan.";
    402, "extraction_flow",     7, Hold, Process,         Below(Analogue::ExtractionFlow, Reference::Own), floor(60.0, "%"), 3000, 2000,
        [X _ _ _ Keep       Free    Free _ _], Healthy,   Yellow, RestartWhenGone, Software,  "Extraction low", "Look at filter and fan; gas is shut ten seconds later.";
    403, "extraction_flow_trip", 6, Trip, Process,        Below(Analogue::ExtractionFlow, Reference::Own), floor(60.0, "%"), 13000, 2000,
        [X X X _ UntilClear Retreat Turn _ _], Healthy,   Red,    ResetWhenGone,   AlsoWired, "Extraction stayed low", "Look at filter and fan.";
    404, "extraction_lost",     7, Hold, Process,         Open(Contact::Extraction),                NONE,               3000,  200,
        [X _ _ _ Keep       Free    Free _ _], Healthy,   Yellow, RestartWhenGone, Software,  "Extraction not proved", "Look at the fan and its switch; gas is shut ten seconds later.";
    405, "extraction_lost_trip", 6, Trip, Process,        Open(Contact::Extraction),                NONE,              13000,  200,
        [X X X _ UntilClear Retreat Turn _ _], Healthy,   Red,    ResetWhenGone,   AlsoWired, "Extraction stayed unproved", "Look at the fan and its switch.";
    406, "extraction_transmitter", 7, Hold, Process,      Failed(Analogue::ExtractionFlow),         NONE,                100, 1000,
        [X _ _ _ Keep       Free    Free _ _], Healthy,   Yellow, RestartWhenGone, Software,  "Extraction flow transmitter", "A sensor fault, not a flow: look at its wiring.";
    407, "extraction_transmitter_trip", 6, Trip, Process, Failed(Analogue::ExtractionFlow),         NONE,              10100, 1000,
        [X X X _ UntilClear Retreat Turn _ _], Healthy,   Red,    ResetWhenGone,   Software,  "Extraction flow transmitter stayed failed", "A sensor fault, not a flow: look at its wiring.";
    408, "gas_detector",        2, Trip, Energised,       Open(Contact::GasDetector),               NONE,                  0, 5000,
        [X X X X Keep       Stop    Turn _ _], Healthy,   Red,    LeaveCell,       AlsoWired, "Gas detector", "Leave the cell, shut the cylinders, ventilate. A broken wire reads the same.";
    409, "flammable_gas_warn",  8, Warn, Always,          Above(Analogue::FlammableGas, Reference::Own), ceiling(10.0, "% LEL"), 500, 2000,
        [_ _ _ _ Keep       Free    Free _ _], Healthy,   Yellow, GoOn,            Software,  "Flammable gas in the cell", "Look for the leak; ventilate.";
    410, "flammable_gas",       2, Trip, Energised,       Above(Analogue::FlammableGas, Reference::Own), ceiling(20.0, "% LEL"), 500, 5000,
        [X X X X Keep       Stop    Turn _ _], Healthy,   Red,    LeaveCell,       AlsoWired, "Flammable gas in the cell, dangerous", "Leave the cell, shut the cylinders, ventilate.";
    411, "flammable_transmitter", 6, Trip, Energised,     Failed(Analogue::FlammableGas),           NONE,                100, 1000,
        [X X X _ UntilClear Retreat Turn _ _], Healthy,   Red,    ResetWhenGone,   Software,  "Flammable gas transmitter", "A sensor fault: look at its wiring; until then nobody knows the air.";
    412, "oxygen_monitor",      2, Trip, Energised,       Open(Contact::OxygenMonitor),             NONE,                  0, 5000,
        [X X X X Keep       Stop    Turn _ _], Healthy,   Red,    LeaveCell,       AlsoWired, "Oxygen monitor", "Leave the cell, shut the cylinders, ventilate. A broken wire reads the same.";
    // 23.5 % and 19.5 % are OSHA's limits of enriched and deficient air (29 CFR 1910.146, from memory).
    413, "oxygen_rich_air",     2, Trip, Energised,       Above(Analogue::OxygenInAir, Reference::Own), ceiling(23.5, "%"), 2000, 5000,
        [X X X X Keep       Stop    Turn _ _], Healthy,   Red,    LeaveCell,       AlsoWired, "Too much oxygen in the air", "Leave the cell: clothes burn fiercely. Shut the cylinders, ventilate.";
    414, "oxygen_poor_air",     2, Trip, Energised,       Below(Analogue::OxygenInAir, Reference::Own), floor(19.5, "%"), 2000, 5000,
        [X X X X Keep       Stop    Turn _ _], Healthy,   Red,    LeaveCell,       AlsoWired, "Too little oxygen in the air", "Leave the cell: danger of suffocation. Ventilate.";
    415, "air_transmitter",     6, Trip, Energised,       Failed(Analogue::OxygenInAir),            NONE,                100, 1000,
        [X X X _ UntilClear Retreat Turn _ _], Healthy,   Red,    ResetWhenGone,   Software,  "Oxygen-in-air transmitter", "A sensor fault: look at its wiring; until then nobody knows the air.";

    // The carriage. What can't be moved can't be withdrawn: gas is shut where it stands.
    501, "drive_silent",        4, Trip, DriveNeeded,     Watch::DriveSilent,                       ceiling(0.3, "s"),     0, 1000,
        [X X X _ UntilClear Cut     Turn _ _], Healthy,   Red,    ResetWhenGone,   Software,  "Carriage drive silent", "Look at the drive's supply and serial cable; home again.";
    // The drive keeps its own fault until the reset clears it; one that stays trips again.
    502, "drive_fault",         4, Trip, DriveNeeded,     Watch::DriveFault,                        NONE,                  0,    0,
        [X X X _ UntilClear Cut     Turn _ _], AtRest,    Red,    ResetWhenGone,   Software,  "Carriage drive in fault", "Read the drive's code, mend the cause; the reset clears the fault; home again.";
    503, "drive_unknown",       4, Trip, DriveNeeded,     Watch::DriveUnknown,                      NONE,                100, 1000,
        [X X X _ UntilClear Cut     Turn _ _], Healthy,   Red,    ResetWhenGone,   Software,  "State of the carriage drive unknown", "Its status word matches no state: look at unit address and register map.";
    504, "following_error",     4, Trip, Travelling,      Watch::FollowingError,                    ceiling(2.0, "mm"),  300,    0,
        [X X X _ UntilClear Stop    Turn _ _], AtRest,    Red,    ResetWhenGone,   Software,  "Carriage does not follow", "Look at nut, screw and what stands in the way; home again.";
    505, "carriage_stalled",    4, Trip, Travelling,      Watch::Crawl,                             floor(50.0, "%"),    300,    0,
        [X X X _ UntilClear Stop    Turn _ _], AtRest,    Red,    ResetWhenGone,   Software,  "Carriage stalled", "Look at nut, screw and what stands in the way; home again.";
    506, "limit_minus",         3, Trip, DriveNeeded,     Watch::LimitTowardChuck,                  NONE,                  0,    0,
        [X X X _ UntilClear Cut     Turn _ _], AtRest,    Red,    JogAway,         AlsoWired, "Travel limit on the chuck side", "Jog away from it; see why it ran there.";
    507, "limit_plus",          3, Trip, DriveNeeded,     Watch::LimitTowardTail,                   NONE,                  0,    0,
        [X X X _ UntilClear Cut     Turn _ _], AtRest,    Red,    JogAway,         AlsoWired, "Travel limit on the tail side", "Jog away from it; see why it ran there.";
    508, "outside_travel",      7, Hold, Travelling,      Watch::OutsideTravel,                     NONE,                  0,    0,
        [X _ _ _ Keep       Stop    Free _ _], AtRest,    Yellow, RestartWhenGone, Software,  "Travel outside the bounds", "Teach or plan it again inside the rig's travel.";
    509, "outside_travel_lit",  6, Trip, Travelling,      Watch::OutsideTravelLit,                  NONE,                  0,    0,
        [X X X _ UntilClear Retreat Turn _ _], AtRest,    Red,    ResetWhenGone,   Software,  "Travel outside the bounds, flame lit", "Teach or plan it again inside the rig's travel.";
    510, "torch_bumped",        3, Trip, WorkingMotion,   Open(Contact::Standoff),                  NONE,                  0,    0,
        [X X X _ UntilClear Stop    Turn _ _], AtRest,    Red,    ResetWhenGone,   Software,  "Torch bumped", "Jog it free, look at torch and stand-off, teach again.";
    // The wired circuit stops the drive first and takes its torque 0.5 s later (IEC 60204-1, category 1).
    511, "torque_contradicts",  4, Trip, Always,          Watch::TorqueContradicts,                 NONE,                700,  500,
        [X X X _ UntilClear Cut     Turn _ _], Healthy,   Red,    ResetWhenGone,   Software,  "Torque circuit disagrees", "The wired safety circuit and its read-back differ: have it looked at before anything moves.";
    512, "torque_not_allowed",  4, Trip, Travelling,      Open(Contact::TorqueAllowed),             NONE,                500,    0,
        [X X X _ UntilClear Cut     Turn _ _], AtRest,    Red,    ResetWhenGone,   Software,  "Torque not allowed", "The wired safety circuit has taken the drive's torque: see why.";
    513, "park_contradicts",    7, Hold, Process,         Watch::ParkContradicts,                   NONE,                500,    0,
        [X _ _ _ Keep       Free    Free _ _], AtRest,    Yellow, RestartWhenGone, Software,  "Park switch and position disagree", "Home again; look at the park switch.";
    514, "flame_at_rest",       4, Trip, FlameOverPart,   Watch::FlameRests,                        ceiling(3.0, "s"),     0,    0,
        [X X X _ UntilClear Retreat Turn _ _], AtRest,    Red,    ResetWhenGone,   Software,  "Flame rested over the part", "The part may be overheated there: look at it, see why the carriage stood.";

    // The spindle. A part that stops under the flame is not started again: it may be bowed.
    601, "spindle_stopped",     3, Trip, FlameOverPart,   Watch::MissedPulses,                      ceiling(3.0, "pulses"), 0,    0,
        [X X X _ UntilClear Retreat Stop _ _], AtRest,    Red,    ResetWhenGone,   AlsoWired, "Spindle stopped under flame", "Hold the part as scrap-suspect where it was heated; look at belt, chuck, motor and tachometer.";
    602, "spindle_slow",        3, Trip, FlameOverPart,   Watch::SpindleSlow,                       floor(50.0, "%"),    100,    0,
        [X X X _ UntilClear Retreat Stop _ _], AtRest,    Red,    ResetWhenGone,   AlsoWired, "Spindle slow under flame", "Hold the part as scrap-suspect where it was heated; look at belt, gear lever and motor.";
    603, "tachometer",          3, Trip, FlameOverPart,   Watch::TachometerSilent,                  NONE,                100, 1000,
        [X X X _ UntilClear Retreat Turn _ _], Healthy,   Red,    ResetWhenGone,   Software,  "Tachometer not known", "A sensor fault, not a speed: look at tachometer and wiring.";
    604, "part_not_turning",    3, Trip, FlameOverPart,   Open(Contact::PartTurning),               NONE,                300,    0,
        [X X X _ UntilClear Retreat Stop _ _], AtRest,    Red,    ResetWhenGone,   AlsoWired, "Part does not turn", "The chuck may slip: hold the part as scrap-suspect, look at the clamp.";
    605, "overspeed",           3, Trip, Process,         Watch::Overspeed,                         ceiling(120.0, "%"), 500,    0,
        [X X X _ UntilClear Retreat Stop _ _], AtRest,    Red,    ResetWhenGone,   Software,  "Spindle too fast", "Look at gear lever and inverter; see that the part still sits.";
    606, "speed_warn",          8, Warn, SpindleSettled,  Watch::SpeedError,                        ceiling(5.0, "%"),  1000, 1000,
        [_ _ _ _ Keep       Free    Free _ _], AtRest,    Yellow, GoOn,            Software,  "Spindle speed off", "Look at belt and gear lever.";
    607, "speed_error",         7, Hold, SpindleSettled,  Watch::SpeedError,                        ceiling(15.0, "%"), 2000,    0,
        [X _ _ _ Keep       Free    Free _ _], AtRest,    Yellow, RestartWhenGone, Software,  "Spindle speed wrong", "Look at belt and gear lever.";
    608, "inverter",            7, Hold, SpindleNeeded,   Watch::InverterNotOk,                     NONE,                500, 1000,
        [X _ _ _ Keep       Free    Free _ _], Healthy,   Yellow, RestartWhenGone, Software,  "Spindle inverter", "Read its code; look at its run latch and serial cable.";

    // Heat. Too hot in fusing withdraws the torch without a cooling jet, which would crack the
    // coat; it trips when the reading still rises. Offsets are from the step's own limits;
    // absent ones are 200 and 350 degC for spraying and 1204 degC (2200 degF) for fusing.
    701, "part_hot_warn",       8, Warn, SprayHeat,       Above(Analogue::PartTemperature, Reference::SprayHigh), ceiling(-20.0, "K"), 500, 2000,
        [_ _ _ _ Keep       Free    Free _ _], AtRest,    Yellow, GoOn,            Software,  "Part near its ceiling", "It will wait after this pass.";
    702, "part_hot",            7, Hold, SprayHeat,       Above(Analogue::PartTemperature, Reference::SprayHigh), ceiling(0.0, "K"), 1000, 2000,
        [X _ _ _ Keep       Free    Free _ _], AtRest,    Yellow, RestartWhenGone, Software,  "Part too hot to spray", "Let it cool, turning; then restart.";
    703, "part_cold",           7, Hold, Powder,          Below(Analogue::PartTemperature, Reference::SprayLow), floor(0.0, "K"), 1000, 2000,
        [X _ _ _ Keep       Free    Free _ _], AtRest,    Yellow, RestartWhenGone, Software,  "Part too cold to spray", "Powder does not bond on it: preheat again.";
    704, "part_sensor",         7, Hold, SprayHeat,       Failed(Analogue::PartTemperature),        NONE,                100, 1000,
        [X _ _ _ Keep       Free    Free _ _], Healthy,   Yellow, RestartWhenGone, Software,  "Part temperature sensor", "A sensor fault, not a temperature: look at its wiring.";
    705, "fuse_hot_warn",       8, Warn, FuseHeat,        Above(Analogue::FuseTemperature, Reference::FuseCeiling), ceiling(-20.0, "K"), 500, 2000,
        [_ _ _ _ Keep       Free    Free _ _], AtRest,    Yellow, GoOn,            Software,  "Coat near its ceiling", "Call it wet or withdraw soon.";
    706, "fuse_hot",            7, Hold, FuseHeat,        Above(Analogue::FuseTemperature, Reference::FuseCeiling), ceiling(0.0, "K"), 500, 2000,
        [X _ _ _ Keep       Free    Free X _], AtRest,    Yellow, RestartWhenGone, Software,  "Coat too hot", "The torch withdraws, the part keeps turning; look for sag.";
    707, "fuse_overheat",       4, Trip, FuseHeat,        Above(Analogue::FuseTemperature, Reference::FuseCeiling), ceiling(40.0, "K"), 500, 2000,
        [X X X _ UntilClear Retreat Turn X _], AtRest,    Red,    ResetWhenGone,   Software,  "Coat overheated, still rising", "Keep it turning until it is solid; look for sag and cracks.";
    708, "fuse_sensor",         7, Hold, Fusing,          Failed(Analogue::FuseTemperature),        NONE,                100, 1000,
        [X _ _ _ Keep       Free    Free X _], Healthy,   Yellow, RestartWhenGone, Software,  "Fusing pyrometer", "A sensor fault, not a temperature: look at lens, purge air and wiring.";

    // Powder.
    801, "powder_unlit",        5, Trip, Powder,          Watch::NoFlame,                           NONE,                300,    0,
        [X X X _ UntilClear Retreat Turn _ _], AtRest,    Red,    ResetWhenGone,   Software,  "Powder without flame", "Strip what landed cold; see why the feeder ran.";
    802, "powder_still",        6, Hold, PowderOverPart,  Watch::CarriageStill,                     NONE,                300,    0,
        [X _ _ _ Keep       Free    Free _ _], AtRest,    Yellow, RestartWhenGone, Software,  "Powder with the carriage at rest", "Look at the coat there: a lump must be ground off.";
    803, "hopper_low",          8, Warn, Always,          Open(Contact::HopperLevel),               NONE,               1000,  200,
        [_ _ _ _ Keep       Free    Free _ _], Healthy,   Yellow, GoOn,            Software,  "Hopper low", "Fill it before the next part.";
    804, "hopper_weight_low",   8, Warn, Always,          Below(Analogue::HopperWeight, Reference::Own), floor(200.0, "g"), 1000, 2000,
        [_ _ _ _ Keep       Free    Free _ _], Healthy,   Yellow, GoOn,            Software,  "Little powder left", "Fill it before the next part.";
    805, "hopper_empty",        7, Hold, Powder,          Below(Analogue::HopperWeight, Reference::Own), floor(20.0, "g"), 1000, 2000,
        [X _ _ _ Keep       Free    Free _ _], Healthy,   Yellow, RestartWhenGone, Software,  "Hopper empty", "Fill it; see from where on the pass is thin.";
    806, "hopper_scale",        7, Hold, Powder,          Failed(Analogue::HopperWeight),           NONE,                100, 1000,
        [X _ _ _ Keep       Free    Free _ _], Healthy,   Yellow, RestartWhenGone, Software,  "Hopper scale", "A sensor fault, not a weight: look at its wiring.";
    807, "feed_falls",          7, Hold, Powder,          Watch::FeedFalls,                         floor(50.0, "%"),      0,    0,
        [X _ _ _ Keep       Free    Free _ _], AtRest,    Yellow, RestartWhenGone, Software,  "Powder feed falls", "Look at hopper, feeder and hose; see from where on the pass is thin.";
    808, "feed_pulses",         8, Warn, Powder,          Watch::FeedPulses,                        ceiling(30.0, "%"),    0, 1000,
        [_ _ _ _ Keep       Free    Free _ _], AtRest,    Yellow, GoOn,            Software,  "Powder feed uneven", "Look at feeder, hose bends and damp powder.";
    809, "hose_blocked",        7, Hold, Powder,          Watch::HoseBlocked,                       ceiling(30.0, "%"), 1000,    0,
        [X _ _ _ Keep       Free    Free _ _], AtRest,    Yellow, RestartWhenGone, Software,  "Powder hose blocked", "Blow the hose free, clear of the part; look at the tip.";
    810, "back_pressure_transmitter", 7, Hold, Powder,    Failed(Analogue::BackPressure),           NONE,                100, 1000,
        [X _ _ _ Keep       Free    Free _ _], Healthy,   Yellow, RestartWhenGone, Software,  "Back-pressure transmitter", "A sensor fault, not a pressure: look at its wiring.";

    // Controller and field I/O. While the module is silent its contacts are not judged one by
    // one: this row shuts everything, and the wired run latch still stops the spindle.
    901, "field_silent",        2, Trip, Energised,       Watch::FieldSilent,                       ceiling(0.3, "s"),     0, 1000,
        [X X X X UntilClear Cut     Turn _ X], Healthy,   Red,    ResetWhenGone,   AlsoWired, "Field I/O silent", "Look at the module's supply and serial cable.";
    902, "field_frozen",        2, Trip, Energised,       Watch::FieldFrozen,                       NONE,                  0, 1000,
        [X X X X UntilClear Cut     Turn _ X], Healthy,   Red,    ResetWhenGone,   AlsoWired, "Field I/O frozen", "It answers, but its inputs stand still: restart or replace the module.";
    903, "watchdog_dropped",    4, Trip, WatchdogBeating, Watch::RelayDropped,                      NONE,                100,  500,
        [X X X _ UntilClear Retreat Turn _ _], Healthy,   Red,    ResetWhenGone,   AlsoWired, "Watchdog relay dropped", "It has shut gas and powder by itself: look at relay and beat.";
    904, "scan_late",           3, Trip, Energised,       Watch::ScanGap,                           ceiling(0.3, "s"),     0,    0,
        [X X X _ UntilClear Stop    Turn _ _], AtRest,    Red,    ResetWhenGone,   AlsoWired, "Controller stalled", "The controller stood still: find out what kept its computer busy.";
    905, "stall_reported",      3, Trip, Always,          Person(Stalled),                          NONE,                  0,    0,
        [X X X _ UntilClear Stop    Turn _ _], AtRest,    Red,    ResetWhenGone,   Software,  "Controller stall reported", "The controller stood still: find out what kept its computer busy.";
};
