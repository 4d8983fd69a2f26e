//! Every numbered row of the trade's cause-and-effect list, and the rows that implement it.

use std::collections::BTreeSet;

use crate::interlock::matrix::{BEYOND, row, rows};

/// Number of the trade's row, and the keys of the rows, or of the causes answered elsewhere,
/// that implement it; staged and conditional ones have several. 0 stands for the further causes
/// that the list names without a number.
const TRADE: &[(u8, &[&str])] = &[
    (1, &["emergency_stop", "torque_contradicts", "torque_not_allowed"]),
    (2, &["flame_lost", "powder_unlit"]),
    (3, &["flame_from_nothing", "flame_remains_warn", "flame_remains"]),
    (4, &["no_ignition", "ignition_lockout"]),
    (5, &["fuel_low_warn", "fuel_low"]),
    (6, &["fuel_high_warn", "fuel_high", "fuel_limit"]),
    (7, &["oxygen_low_warn", "oxygen_low"]),
    (8, &["oxygen_high_warn", "oxygen_high"]),
    (9, &["flashback", "bad_flame"]),
    (10, &["carrier_low_warn", "carrier_low"]),
    (
        11,
        &[
            "extraction_flow_warn",
            "extraction_flow",
            "extraction_flow_trip",
            "extraction_lost",
            "extraction_lost_trip",
        ],
    ),
    (12, &["gas_detector", "flammable_gas_warn", "flammable_gas"]),
    (13, &["oxygen_monitor", "oxygen_rich_air", "oxygen_poor_air"]),
    (14, &["spindle_stopped", "spindle_slow", "tachometer"]),
    (15, &["speed_warn", "speed_error"]),
    (16, &["following_error", "carriage_stalled"]),
    (17, &["outside_travel", "outside_travel_lit"]),
    (18, &["limit_minus", "limit_plus"]),
    (19, &["part_hot_warn", "part_hot"]),
    (20, &["fuse_hot_warn", "fuse_hot", "fuse_overheat"]),
    (21, &["part_cold"]),
    (22, &["part_sensor", "fuse_sensor"]),
    (
        23,
        &[
            "fuel_transmitter",
            "oxygen_transmitter",
            "carrier_transmitter",
            "extraction_transmitter",
            "extraction_transmitter_trip",
            "flammable_transmitter",
            "air_transmitter",
            "hopper_scale",
            "back_pressure_transmitter",
        ],
    ),
    (24, &["hopper_low", "hopper_weight_low", "hopper_empty", "feed_falls"]),
    (25, &["hose_blocked"]),
    (26, &["drive_silent", "drive_fault", "drive_unknown"]),
    (
        27,
        &[
            "field_silent",
            "field_frozen",
            "watchdog_dropped",
            "scan_late",
            "stall_reported",
            "controller_dead",
        ],
    ),
    (28, &["inverter"]),
    (29, &["guard_open"]),
    (30, &["hold_to_run_released"]),
    (31, &["clamp_lost"]),
    (32, &["plant_air"]),
    (33, &["mains_lost"]),
    (34, &["fire"]),
    (35, &["hold_button", "hold_requested", "waits"]),
    (36, &["stop_button", "stop_requested"]),
    (
        0,
        &[
            "abort_button",
            "abort_requested",
            "attendance",
            "coat_lifting",
            "overdue",
            "part_not_turning",
            "overspeed",
            "torch_bumped",
            "feed_pulses",
            "flame_above_70_kw",
            "powder_still",
            "flame_at_rest",
            "park_contradicts",
            "fuel_not_shut",
            "oxygen_not_shut",
            "fuel_contact_wrong",
        ],
    ),
];

#[test]
fn every_numbered_row_of_the_trade_is_implemented_and_every_row_of_the_matrix_has_its_number() {
    let numbers: BTreeSet<u8> = TRADE.iter().map(|(number, _)| *number).collect();
    assert_eq!(numbers, (0..=36).collect());
    let mut named = BTreeSet::new();
    for (number, keys) in TRADE {
        assert!(!keys.is_empty(), "row {number}");
        for key in *keys {
            let known = row(key).is_some() || BEYOND.iter().any(|beyond| beyond.key == *key);
            assert!(known, "row {number}: nothing is called {key}");
            assert!(named.insert(*key), "{key} stands twice");
        }
    }
    let all: BTreeSet<&str> =
        rows().map(|row| row.key).chain(BEYOND.iter().map(|beyond| beyond.key)).collect();
    assert_eq!(named, all);
    println!(
        "36 numbered rows of the trade, {} rows of the matrix, {} answered elsewhere",
        rows().len(),
        BEYOND.len()
    );
}
