//! The matrix as a table.

use std::collections::BTreeSet;

use crate::interlock::durations::{self, PERMITTED};
use crate::interlock::matrix::{AirEffect, ResetRule, Watch, row, rows};
use crate::interlock::{CarriageEffect, Class, SpindleEffect};

#[test]
fn numbers_and_keys_are_unique_and_numbers_rise() {
    let numbers: Vec<u16> = rows().map(|row| row.number).collect();
    assert!(numbers.windows(2).all(|pair| pair[0] < pair[1]), "{numbers:?}");
    let keys: BTreeSet<&str> = rows().map(|row| row.key).collect();
    assert_eq!(keys.len(), rows().len());
    println!("rows: {}", rows().len());
}

#[test]
fn every_row_speaks_and_has_a_snake_case_key() {
    for row in rows() {
        let snake = |c: char| c.is_ascii_lowercase() || c.is_ascii_digit() || c == '_';
        assert!(row.key.chars().all(snake), "{}", row.key);
        assert!(!row.title.is_empty() && row.advice.ends_with('.'), "{}", row.key);
    }
}

#[test]
fn warnings_take_nothing_away() {
    for row in rows().filter(|row| row.class == Class::Warn) {
        let effects = row.effects;
        let vetoes = [effects.powder, effects.fuel, effects.oxygen, effects.supply];
        assert!(vetoes.iter().all(|veto| !veto.is_imposed()), "{}", row.key);
        assert!(!effects.cooling.is_imposed() && !effects.watchdog.is_imposed(), "{}", row.key);
        assert_eq!(effects.air, AirEffect::Keep, "{}", row.key);
        assert_eq!(effects.carriage, CarriageEffect::Free, "{}", row.key);
        assert_eq!(effects.spindle, SpindleEffect::Free, "{}", row.key);
    }
}

#[test]
fn only_causes_that_endanger_people_or_spoil_the_part_by_turning_stop_the_spindle() {
    let stopping: Vec<&str> = rows()
        .filter(|row| row.effects.spindle == SpindleEffect::Stop)
        .map(|row| row.key)
        .collect();
    assert_eq!(
        stopping,
        [
            "emergency_stop",
            "guard_open",
            "clamp_lost",
            "fire",
            "spindle_stopped",
            "spindle_slow",
            "part_not_turning",
            "overspeed"
        ]
    );
}

#[test]
fn a_flashback_takes_the_air_and_asks_for_an_inspection() {
    for key in ["flashback", "bad_flame"] {
        let row = row(key).expect("in the matrix");
        assert_eq!(row.effects.air, AirEffect::Off);
        assert_eq!(row.reset, ResetRule::Inspected);
        assert!(row.effects.oxygen.is_imposed() && row.effects.fuel.is_imposed());
    }
}

#[test]
fn delays_stay_inside_the_permitted_durations() {
    // What is left covers two scans and the frames on the line.
    let reaction = core::time::Duration::from_millis(100);
    for (key, permitted) in [
        ("flame_lost", durations::FUEL_AFTER_FLAME_LOSS),
        ("flame_lost", durations::POWDER_WITHOUT_FLAME),
        ("powder_unlit", durations::POWDER_WITHOUT_FLAME),
        ("powder_still", durations::POWDER_WITHOUT_MOTION),
        ("carriage_stalled", durations::POWDER_WITHOUT_MOTION),
        ("spindle_slow", durations::FLAME_ON_STILL_PART),
    ] {
        let row = row(key).expect("in the matrix");
        assert!(row.delay + reaction <= permitted, "{key}");
    }
}

#[test]
fn set_points_in_seconds_are_those_of_the_permitted_durations() {
    for (key, permitted) in [
        ("field_silent", durations::FIELD_SILENCE),
        ("drive_silent", durations::DRIVE_SILENCE),
        ("scan_late", durations::SCAN_GAP),
        ("flame_remains_warn", durations::FLAME_AFTER_SHUT),
        ("flame_remains", durations::FLAME_BEFORE_ISOLATION),
        ("no_ignition", durations::TRIAL_MARGIN),
        ("flame_at_rest", durations::FLAME_AT_REST),
    ] {
        let set_point = row(key).and_then(|row| row.set_point).expect("in the matrix");
        assert_eq!(set_point.unit, "s", "{key}");
        assert!((set_point.value - permitted.as_secs_f64()).abs() < 1e-12, "{key}");
    }
    let row = row("fuel_not_shut").expect("in the matrix");
    assert_eq!(row.delay, durations::VALVE_NOT_SHUT);
}

#[test]
fn a_plan_holds_its_turns_against_the_figures_of_the_rows_that_judge_them() {
    let at_rest = row("flame_at_rest").and_then(|row| row.set_point).expect("in the matrix");
    assert!((at_rest.value - crate::plan::FLAME_RESTS.s()).abs() < 1e-12);
    let still = row("powder_still").expect("in the matrix");
    assert_eq!(still.delay, crate::plan::POWDER_RESTS.to_duration());
}

#[test]
fn permitted_durations_have_unique_names_and_reasons() {
    let keys: BTreeSet<&str> = PERMITTED.iter().map(|permitted| permitted.key).collect();
    assert_eq!(keys.len(), PERMITTED.len());
    assert!(PERMITTED.iter().all(|permitted| !permitted.why.is_empty()));
    println!("permitted durations: {}", PERMITTED.len());
}

#[test]
fn every_row_that_compares_has_a_figure() {
    for row in rows() {
        if matches!(row.watch, Watch::Below(..) | Watch::Above(..)) {
            assert!(row.set_point.is_some(), "{}", row.key);
        }
        if matches!(row.watch, Watch::Open(_) | Watch::Failed(_) | Watch::Person(_)) {
            assert!(row.set_point.is_none(), "{}", row.key);
        }
    }
}
