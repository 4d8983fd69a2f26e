//! A rig tightens, and never loosens.

use super::bench::{Bench, rig};
use crate::image::Analogue;
use crate::interlock::matrix::{Tighter, row, rows};
use crate::interlock::{FigureProblem, Interlocks, PressureWindow, check_figures};
use crate::quantity::{Measure, Pressure, Time};
use crate::rig::{InterlockFigures, Rig};

fn rig_with(key: &str, set_point: Option<f64>, delay: Option<f64>) -> Rig {
    let mut rig = rig();
    rig.interlocks.push(InterlockFigures {
        key: key.to_owned(),
        set_point: set_point.map(|value| Measure::new(value, unit_of(key))),
        delay: delay.map(Time::from_s),
        delay_off: None,
        tag: Some("PT-101".to_owned()),
    });
    rig
}

/// The unit of the row's own figure.
fn unit_of(key: &str) -> &'static str {
    row(key).and_then(|row| row.set_point).map_or("%", |own| own.unit)
}

fn problem(rig: &Rig) -> FigureProblem {
    Interlocks::new(rig).expect_err("a bad figure")
}

#[test]
fn an_unknown_key_names_the_nearest_one() {
    let found = problem(&rig_with("flame_lots", None, None));
    assert_eq!(
        found.to_string(),
        "interlock.flame_lots: no interlock is called that; accepted: the key of a row of the \
         interlocks; did you mean `flame_lost`?"
    );
}

#[test]
fn any_set_point_may_be_tightened_and_none_loosened() {
    for row in rows() {
        let Some(own) = row.set_point else {
            let found = problem(&rig_with(row.key, Some(1.0), None));
            assert_eq!(found, FigureProblem::NoSetPoint { key: row.key });
            continue;
        };
        let step = match own.tighter {
            Tighter::Higher => 0.001,
            Tighter::Lower => -0.001,
        };
        assert!(Interlocks::new(&rig_with(row.key, Some(own.value), None)).is_ok());
        assert!(Interlocks::new(&rig_with(row.key, Some(own.value + step), None)).is_ok());
        let found = problem(&rig_with(row.key, Some(own.value - step), None));
        assert!(matches!(found, FigureProblem::LooserSetPoint { .. }), "{}", row.key);
        let found = problem(&rig_with(row.key, Some(f64::NAN), None));
        assert!(matches!(found, FigureProblem::NoFigure { .. }), "{}", row.key);
    }
}

#[test]
fn a_set_point_that_would_stop_a_healthy_machine_is_taken_for_a_slip() {
    for (key, value, words) in [
        (
            "fuel_high",
            1.2,
            "interlock.fuel_high.set_point: 1.2 % would stop a machine on which all is well; \
             accepted: 100 % to 130 %; see that the unit and the decimal point are what was meant",
        ),
        (
            "oxygen_poor_air",
            21.5,
            "interlock.oxygen_poor_air.set_point: 21.5 % would stop a machine on which all is \
             well; accepted: 19.5 % to 20.9 %; see that the unit and the decimal point are what \
             was meant",
        ),
    ] {
        assert_eq!(problem(&rig_with(key, Some(value), None)).to_string(), words);
    }
    for (key, value) in [("drive_silent", 0.0), ("part_hot", -5000.0), ("hopper_empty", 999_999.0)]
    {
        let found = problem(&rig_with(key, Some(value), None));
        assert!(matches!(found, FigureProblem::BeyondSense { .. }), "{key}: {found}");
    }
}

#[test]
fn a_set_point_in_a_unit_of_another_dimension_names_the_right_ones() {
    let mut rig = rig_with("fuel_limit", Some(0.9), None);
    rig.interlocks[0].set_point = Some(Measure::new(80.0, "%"));
    assert_eq!(
        problem(&rig).to_string(),
        "interlock.fuel_limit.set_point: 80 % is no figure in bar, which this interlock compares; \
         accepted: a number and a unit (bar, mbar, kPa, MPa, Pa, psi); `evenpass rig matrix \
         --keys` shows every figure with its unit"
    );
}

#[test]
fn any_delay_may_be_shortened_and_none_lengthened() {
    for row in rows() {
        let own = row.delay.as_secs_f64();
        assert!(Interlocks::new(&rig_with(row.key, None, Some(own))).is_ok(), "{}", row.key);
        assert!(Interlocks::new(&rig_with(row.key, None, Some(own / 2.0))).is_ok());
        let found = problem(&rig_with(row.key, None, Some(own + 0.001)));
        assert!(matches!(found, FigureProblem::LongerDelay { .. }), "{}", row.key);
        assert!(matches!(
            problem(&rig_with(row.key, None, Some(-1.0))),
            FigureProblem::NoFigure { .. }
        ));
    }
}

#[test]
fn any_delay_before_gone_may_be_lengthened_and_none_shortened() {
    let with = |key: &str, delay_off: f64| {
        let mut rig = rig_with(key, None, None);
        rig.interlocks[0].delay_off = Some(Time::from_s(delay_off));
        rig
    };
    for row in rows() {
        let own = row.delay_off.as_secs_f64();
        assert!(Interlocks::new(&with(row.key, own)).is_ok(), "{}", row.key);
        assert!(Interlocks::new(&with(row.key, own + 1.0)).is_ok(), "{}", row.key);
        let found = problem(&with(row.key, -1.0));
        assert!(matches!(found, FigureProblem::NoFigure { .. }), "{}", row.key);
        if own > 0.0 {
            let found = problem(&with(row.key, own - 0.001));
            assert!(matches!(found, FigureProblem::ShorterDelayOff { .. }), "{}", row.key);
        }
    }
    assert_eq!(
        problem(&with("plant_air", 0.1)).to_string(),
        "interlock.plant_air.delay_off: 0.1 s is shorter than the program's 0.2 s; accepted: \
         0.2 s or more: a rig may only tighten an interlock; lengthen it, or leave it out"
    );
}

#[test]
fn a_key_that_stands_twice_is_refused() {
    let mut rig = rig_with("fuel_low", Some(80.0), None);
    let again = rig.interlocks[0].clone();
    rig.interlocks.push(again);
    assert_eq!(problem(&rig), FigureProblem::Twice { key: "fuel_low" });
}

#[test]
fn a_tightened_figure_is_the_one_in_force_and_its_tag_is_told() {
    let rig = rig_with("fuel_low", Some(80.0), Some(0.1));
    let mut bench = Bench::spraying_with(&rig);
    bench.analogue(Analogue::FuelPressure, 0.39);
    bench.run(0.12);
    let first = bench.verdict().first.clone().expect("78 % is under 80 %");
    assert_eq!(first.key, "fuel_low");
    assert!(first.message.ends_with("expected at least 0.40 bar [PT-101]"), "{}", first.message);
}

#[test]
fn a_refusal_says_what_was_found_and_what_to_write() {
    let found = problem(&rig_with("fuel_low", Some(60.0), None));
    assert_eq!(
        found.to_string(),
        "interlock.fuel_low.set_point: 60 % is looser than the program's 70 %; accepted: 70 % or \
         more: a rig may only tighten an interlock; tighten it, or leave it out"
    );
}

#[test]
fn every_bad_figure_of_a_rig_is_reported_by_its_path_and_not_only_the_first() {
    let mut rig = rig_with("fuel_low", Some(60.0), Some(99.0));
    rig.interlocks.extend(rig_with("flame_lots", None, None).interlocks);
    rig.interlocks.extend(rig_with("flame_lost", Some(1.0), None).interlocks);
    let paths: Vec<String> =
        check_figures(&rig).iter().map(|problem| problem.path.clone()).collect();
    assert_eq!(
        paths,
        [
            "interlock.flame_lots",
            "interlock.fuel_low.set_point",
            "interlock.fuel_low.delay",
            "interlock.flame_lost.set_point"
        ]
    );
    assert!(check_figures(&rig_with("fuel_low", Some(80.0), None)).is_empty());
}

/// What the torch of the test is set to: fuel 0.5 bar, by hand 0.9 * 0.5 and 1.15 * 0.5.
#[test]
fn windows_of_pressures_are_those_of_the_rows_in_force_and_open_where_no_row_watches() {
    let set = Pressure::from_bar;
    let windows = |rig: &Rig| {
        let mut bench = Bench::idle_with(rig);
        assert_eq!(bench.interlocks.pressure_windows().carrier, PressureWindow::default());
        bench.limits.fuel_pressure = Some(set(0.5));
        bench.limits.oxygen_pressure = Some(set(2.0));
        bench.limits.carrier_pressure = Some(set(1.0));
        bench.run(0.1);
        bench.interlocks.pressure_windows()
    };
    let bar = |end: Option<Pressure>| end.map(|end| (end.bar() * 1000.0).round() / 1000.0);
    let shipped = windows(&rig());
    assert_eq!((bar(shipped.fuel.low), bar(shipped.fuel.high)), (Some(0.425), Some(0.575)));
    assert_eq!((bar(shipped.oxygen.low), bar(shipped.oxygen.high)), (Some(1.7), Some(2.3)));
    assert_eq!((bar(shipped.carrier.low), bar(shipped.carrier.high)), (Some(0.85), None));
    let tighter = windows(&rig_with("fuel_low_warn", Some(90.0), None));
    assert_eq!((bar(tighter.fuel.low), bar(tighter.fuel.high)), (Some(0.45), Some(0.575)));
    let trips_first = windows(&rig_with("fuel_limit", Some(0.55), None));
    assert_eq!(bar(trips_first.fuel.high), Some(0.55), "a trip is stricter here than the warning");
}
