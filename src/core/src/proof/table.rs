//! The procedures themselves, and the rows without one.
//!
//! Columns of a procedure: key; what is energised (`Valves` both, `Fuel` or `Oxygen` one of them,
//! `Air` the extraction, `Torque` the drive at rest, `Nothing`); how soon the controller must see
//! the act, in ms; then preparation, act and how it is put back.
//!
//! Contacts and wires must be seen within 1 s: a poll, its misses and a person's thumb on the
//! terminal fit in; arbitrary. Flows and gas sensors have the time such sensors take (common
//! practice, no source).

use core::time::Duration;

use super::procedure::{Covered, Procedure, Strokes};
use crate::image::Level;

const OFF: Level = Level::Off;
const ON: Level = Level::On;

macro_rules! strokes {
    (Nothing) => {
        Strokes { fuel: OFF, oxygen: OFF, extraction: OFF, torque: OFF }
    };
    (Valves) => {
        Strokes { fuel: ON, oxygen: ON, extraction: OFF, torque: OFF }
    };
    (Fuel) => {
        Strokes { fuel: ON, oxygen: OFF, extraction: OFF, torque: OFF }
    };
    (Oxygen) => {
        Strokes { fuel: OFF, oxygen: ON, extraction: OFF, torque: OFF }
    };
    (Air) => {
        Strokes { fuel: ON, oxygen: ON, extraction: ON, torque: OFF }
    };
    (Torque) => {
        Strokes { fuel: OFF, oxygen: OFF, extraction: OFF, torque: ON }
    };
}

macro_rules! procedures {
    ($($key:literal, $strokes:ident, $within:literal, $prepare:literal, $act:literal, $restore:literal;)+) => {
        &[$(Procedure {
            key: $key,
            strokes: strokes!($strokes),
            prepare: $prepare,
            act: $act,
            restore: $restore,
            within: Duration::from_millis($within),
            missing: concat!(
                "The proof test of `", $key, "` is overdue, failed or was never made: ",
                "run `evenpass prove ", $key, "`."
            ),
        }),+]
    };
}

macro_rules! covered {
    ($($key:literal, $why:literal;)+) => {
        &[$(Covered { key: $key, why: $why }),+]
    };
}

/// The procedures, in the order of the matrix.
#[rustfmt::skip]
pub const PROCEDURES: &[Procedure] = procedures! {
    // People and wiring.
    "emergency_stop", Valves, 1000, "",
        "Press the emergency stop. With several, press another one each time and note which.",
        "Pull the emergency stop out and reset its relay.";
    "guard_open", Valves, 1000, "",
        "Open the guard by a hand's width. Stay outside it.",
        "Shut the guard.";
    "clamp_lost", Valves, 1000, "",
        "Release the work clamp at its own valve, hands clear of the jaws, no part in them.",
        "Clamp again.";
    "abort_button", Valves, 1000, "",
        "Press the abort button.",
        "Let the abort button go; turn it out if it latches.";
    "fire", Valves, 1000, "",
        "Press the fire detection's test button, or blow test smoke at the detector. Tell the site's fire post first.",
        "Clear the detector and reset its panel.";
    "stop_button", Nothing, 1000, "",
        "Press the stop button.",
        "Let the stop button go.";
    "hold_button", Nothing, 1000, "",
        "Press the hold button.",
        "Let the hold button go.";
    "coat_lifting", Nothing, 1000, "",
        "Press the coat-lifting button.",
        "Let the button go.";

    // Flame and valves. The flame row is proved by covering the real sensor.
    "flame_lost", Valves, 1000,
        "Hold a test lamp (UV or flicker, as the sensor's maker says) before the flame sensor, in its own line of sight. No lighter: there is no gas, and it stays so.",
        "Cover the sensor's window with the hand.",
        "Put the test lamp away and clean the window.";
    "flame_from_nothing", Oxygen, 1000, "",
        "Hold a test lamp before the flame sensor.",
        "Put the test lamp away.";
    "flashback", Valves, 1000, "",
        "Open the arrestor's contact: pull its plug at the arrestor. Do not heat the arrestor.",
        "Plug the arrestor in again.";
    "bad_flame", Valves, 1000, "",
        "Press the bad-flame button.",
        "Let the button go.";
    "fuel_not_shut", Oxygen, 1000, "",
        "Pull the plug of the fuel valve's shut contact.",
        "Plug the contact in again.";
    "oxygen_not_shut", Fuel, 1000, "",
        "Pull the plug of the oxygen valve's shut contact.",
        "Plug the contact in again.";
    "fuel_contact_wrong", Valves, 1000, "",
        "Bridge the fuel valve's shut contact at its plug.",
        "Take the bridge off and look that it is off.";

    // Transmitters: a wire off is the fault they are told from a value by. The two gas pressures
    // are what shows the pipe vented: with either unknown no valve may be open.
    "fuel_transmitter", Nothing, 1000, "",
        "Take one wire of the fuel pressure transmitter off its terminal.",
        "Put the wire back and tug at it.";
    "oxygen_transmitter", Nothing, 1000, "",
        "Take one wire of the oxygen pressure transmitter off its terminal.",
        "Put the wire back and tug at it.";
    "carrier_transmitter", Valves, 1000, "",
        "Take one wire of the carrier pressure transmitter off its terminal.",
        "Put the wire back and tug at it.";
    "plant_air", Nothing, 1000, "",
        "Pull the plug of the plant air's pressure switch; once a year shut the main valve and vent instead.",
        "Plug the switch in again, or open the main valve.";

    // The cell's air.
    "extraction_flow", Air, 30000, "",
        "Switch the extraction fan off at its own isolator, or shut its damper.",
        "Switch the fan on again, or open the damper.";
    "extraction_flow_trip", Air, 30000, "",
        "Switch the extraction fan off at its own isolator, or shut its damper, and leave it so.",
        "Switch the fan on again, or open the damper.";
    "extraction_lost", Air, 30000, "",
        "Pull the plug of the extraction's flow switch.",
        "Plug the switch in again.";
    "extraction_lost_trip", Air, 30000, "",
        "Pull the plug of the extraction's flow switch, and leave it so.",
        "Plug the switch in again.";
    "extraction_transmitter", Nothing, 1000, "",
        "Take one wire of the extraction flow transmitter off its terminal.",
        "Put the wire back and tug at it.";
    "extraction_transmitter_trip", Valves, 1000, "",
        "Take one wire of the extraction flow transmitter off its terminal, and leave it so.",
        "Put the wire back and tug at it.";
    "gas_detector", Valves, 60000, "",
        "Apply the maker's test gas to the gas detector until it alarms.",
        "Take the test gas away, wait until it clears, reset the detector.";
    "flammable_gas", Valves, 60000, "",
        "Apply test gas of half the lower explosive limit to the gas sensor, as its maker says.",
        "Take the test gas away and wait until the reading is zero.";
    "flammable_transmitter", Valves, 1000, "",
        "Take one wire of the flammable gas transmitter off its terminal.",
        "Put the wire back and tug at it.";
    "oxygen_monitor", Valves, 60000, "",
        "Apply the maker's test gas to the oxygen monitor, or breathe at it, until it alarms.",
        "Wait until it clears, reset the monitor.";
    "oxygen_rich_air", Valves, 60000, "",
        "Apply test gas of 25 % oxygen to the oxygen sensor, as its maker says. No oil, no open light.",
        "Take the test gas away and wait until the reading is that of air.";
    "oxygen_poor_air", Valves, 60000, "",
        "Apply nitrogen to the oxygen sensor, as its maker says.",
        "Take the nitrogen away and wait until the reading is that of air.";
    "air_transmitter", Valves, 1000, "",
        "Take one wire of the oxygen-in-air transmitter off its terminal.",
        "Put the wire back and tug at it.";

    // The carriage.
    "drive_silent", Valves, 2000, "",
        "Pull the serial plug of the carriage drive.",
        "Plug it in again.";
    "limit_minus", Valves, 1000, "",
        "Operate the travel limit on the chuck side by hand. The drive has no torque; stay out of the carriage's way all the same.",
        "Let the switch go and look that its lever is free.";
    "limit_plus", Valves, 1000, "",
        "Operate the travel limit on the tail side by hand. The drive has no torque; stay out of the carriage's way all the same.",
        "Let the switch go and look that its lever is free.";
    "torch_bumped", Valves, 1000, "",
        "Push the torch mount against its stand-off switch.",
        "Let it spring back and look that the torch sits where it sat.";
    "torque_contradicts", Torque, 1000, "The drive gets torque and holds its place. Stand clear of the carriage.",
        "Pull the plug of the contact that reads \"torque allowed\" back. Do not press the emergency stop.",
        "Plug the contact in again.";
    "torque_not_allowed", Torque, 1000, "The drive gets torque and holds its place. Stand clear of the carriage.",
        "Pull the plug of the contact that reads \"torque allowed\" back. Do not press the emergency stop.",
        "Plug the contact in again.";

    // The spindle, isolated and turned by hand.
    "spindle_stopped", Valves, 5000,
        "Set the gear lever to neutral or the belt loose, and turn the chuck steadily by hand, about one turn in two seconds.",
        "Hold the chuck still.",
        "Set gear lever and belt as they were.";
    "part_not_turning", Valves, 5000,
        "Turn the part steadily by hand, so that its sensor sees it turn.",
        "Hold the part still.",
        "Nothing is to be put back.";
    "inverter", Nothing, 2000, "",
        "Pull the serial plug of the spindle inverter.",
        "Plug it in again.";

    // Heat. A source in the sensor's place proves wire, module and row, not the sensor.
    "part_hot", Nothing, 30000, "",
        "Heat the part's sensor in a dry block to 400 degC, or put a current source of that reading in its place and write that down.",
        "Put the sensor back where it looks at the part.";
    "part_sensor", Nothing, 1000, "",
        "Take one wire of the part temperature sensor off its terminal.",
        "Put the wire back and tug at it.";
    "fuse_hot", Nothing, 30000, "",
        "Put a current source in the fusing pyrometer's place and raise it above 1250 degC.",
        "Put the pyrometer back on its terminals and clean its lens.";
    "fuse_overheat", Valves, 30000, "",
        "Put a current source in the fusing pyrometer's place and raise it above 1250 degC.",
        "Put the pyrometer back on its terminals and clean its lens.";
    "fuse_sensor", Nothing, 1000, "",
        "Take one wire of the fusing pyrometer off its terminal.",
        "Put the wire back and tug at it.";

    // Powder.
    "hopper_empty", Nothing, 30000, "",
        "Lift the hopper off its scale.",
        "Set the hopper back on its scale.";
    "hopper_scale", Nothing, 1000, "",
        "Take one wire of the hopper's scale off its terminal.",
        "Put the wire back and tug at it.";
    "back_pressure_transmitter", Nothing, 1000, "",
        "Take one wire of the back-pressure transmitter off its terminal.",
        "Put the wire back and tug at it.";

    // Controller and field I/O.
    "field_silent", Nothing, 2000, "",
        "Pull the serial plug of the field I/O module. Look and listen: relay and valves let go by themselves within half a second.",
        "Plug it in again.";
    "watchdog_dropped", Valves, 1000, "",
        "Pull the watchdog relay out of its socket.",
        "Put the relay back.";
};

/// Rows that hold or trip and that nobody can prove at a field device with gas isolated.
#[rustfmt::skip]
pub const COVERED: &[Covered] = covered! {
    "abort_requested", "A request has no field device; `abort_button` proves the same trip, and every test of the program tries the request in every state.";
    "stop_requested", "A request has no field device; `stop_button` proves the same stop.";
    "hold_requested", "A request has no field device; `hold_button` proves the same hold.";
    "attendance", "The sequence raises it when nobody answers; the accept button is used in every job.";
    "overdue", "The sequence raises it when a wait is over; no device watches it.";
    "flame_remains", "Same sensor, wire and valves as `flame_from_nothing`; only its time differs.";
    "no_ignition", "A backstop behind the sequence's own trial time, with gas before the valve; same sensor as `flame_lost`, same valves.";
    "ignition_lockout", "The sequence raises it after its last try; no device watches it.";
    "fuel_low", "Compares with the pressure a job is set to, with gas on, which no proof may have. `fuel_transmitter` proves the wire; calibrate the transmitter by its maker, and the running job's reading beside a gauge.";
    "fuel_high", "As `fuel_low`: any pressure but zero ends a proof.";
    "fuel_limit", "As `fuel_low`: any pressure but zero ends a proof. The regulator's relief valve is tested by its maker.";
    "oxygen_low", "As `fuel_low`, with `oxygen_transmitter`.";
    "oxygen_high", "As `fuel_low`, with `oxygen_transmitter`.";
    "carrier_low", "Compares with the pressure a job is set to, and a proof has no job. `carrier_transmitter` proves the wire, `plant_air` the supply; read the transmitter beside a gauge.";
    "drive_fault", "A drive can't be made to fault without harm by the same act everywhere; commissioning raises one with the drive maker's own means. `drive_silent` proves the line.";
    "drive_unknown", "A status word that matches no state comes from a wrong register map; `evenpass rig check` reads it.";
    "following_error", "Needs a carriage that moves against something; commissioning tries it at jog speed with the clutch loose.";
    "carriage_stalled", "As `following_error`.";
    "outside_travel", "The program's own figures are compared; no device watches it, and every plan is checked before it is loaded.";
    "outside_travel_lit", "As `outside_travel`.";
    "park_contradicts", "Needs a part and a job to say where the part is; homing compares switch and position every time.";
    "flame_at_rest", "Needs a flame; it is worked out from the readings that `flame_lost` and `drive_silent` prove.";
    "spindle_slow", "Same tachometer as `spindle_stopped`; only the figure differs, and it needs a speed that is asked for.";
    "tachometer", "The module must say that it can't read its counter; a broken wire of the tachometer shows as a stopped spindle, see `spindle_stopped`.";
    "overspeed", "Needs a speed that is asked for; same tachometer as `spindle_stopped`. The inverter's highest frequency is set at commissioning.";
    "speed_error", "As `spindle_slow`.";
    "part_cold", "A cold part reads cold at every start and is preheated first; `part_hot` and `part_sensor` prove the sensor.";
    "powder_unlit", "Needs powder in the air without a flame, which is what it prevents. `flame_lost` proves the sensor, and the feeder's coil goes off with the valves.";
    "powder_still", "Needs powder; the carriage's reading is proved by `drive_silent`.";
    "feed_falls", "Needs powder flowing; `hopper_scale` and `hopper_empty` prove the scale.";
    "hose_blocked", "Needs carrier air and powder in the hose; `back_pressure_transmitter` proves the wire.";
    "field_frozen", "A module whose cycle stands still while it answers can't be made; commissioning trusts the maker, and the program is tested with one.";
    "scan_late", "The controller watches itself; tested by stopping the program, see the tests of its process.";
    "stall_reported", "As `scan_late`.";
};
