//! Measurements that make a figure, and those that make none.

use super::*;
use crate::catalogue::Catalogue;
use crate::document::set;
use crate::model::{Coverage, Plume, Release, Shape, coat};
use crate::quantity::{Length, Speed, SpindleSpeed, Time, Turns};
use crate::request::Direction;
use crate::rig::{Rig, support};

const BENCH: &str = include_str!("../../../../config/rigs/bench.toml");
const TORCHES: &str = include_str!("../../../../config/torches.toml");
const POWDERS: &str = include_str!("../../../../config/powders.toml");

fn mm(value: f64) -> Length {
    Length::from_mm(value)
}

fn s(value: f64) -> Time {
    Time::from_s(value)
}

fn refused<T: core::fmt::Debug>(result: Result<T, Box<Problem>>) -> String {
    result.expect_err("it is refused").to_string()
}

/// The bench's file with what was found written into it, read by its own reader.
fn written(found: &Calibrated) -> Rig {
    let text = set(BENCH, &found.writes).unwrap_or_else(|told| panic!("{told}"));
    Rig::read(&text).unwrap_or_else(|told| panic!("{}", told.render("bench", &text)))
}

fn scale(commanded: f64, measured: f64) -> Result<Calibrated, Box<Problem>> {
    let measured =
        ScaleMeasured { commanded: mm(commanded), measured: mm(measured), reading: mm(0.2) };
    axis_scale(&support::bench().axis, &measured)
}

#[test]
fn a_carriage_that_goes_too_far_gets_fewer_pulses_in_a_millimetre_and_then_goes_right() {
    // 500 mm by the file are 500 x 400 pulses; 505 mm of way they were: 200 000 / 505 a mm.
    let found = scale(500.0, 505.0).expect("within five percent");
    let rig = written(&found);
    assert!((rig.axis.pulses_per_mm - 200_000.0 / 505.0).abs() < 1e-4, "{found:?}");
    assert!(found.found.contains("goes too far by 0.990 %"), "{}", found.found);
    let again = 505.0 * rig.axis.pulses_per_mm / 400.0;
    assert!((again - 500.0).abs() < 1e-3, "the same way now shows {again} mm");
    assert!(scale(500.0, 495.0).expect("fine").found.contains("too short by 1.010 %"));
}

#[test]
fn a_scale_that_agrees_with_the_rule_is_left_as_it_is() {
    let found = scale(500.0, 500.3).expect("fine");
    assert_eq!(found.writes, []);
    assert!(found.found.contains("no more than a rule read off by 0.2 mm makes"));
    assert_eq!(scale(500.0, 500.5).expect("fine").writes.len(), 1);
}

#[test]
fn a_scale_that_is_no_calibration_is_refused_with_what_it_may_be() {
    for (commanded, measured, words) in [
        (99.0, 99.0, "commanded: 99 mm between the two places"),
        (1000.0, 1000.0, "100 mm to 920 mm, the travel"),
        (500.0, 19.7, "one of the two is in inches"),
        (500.0, 1000.0, "the drive counts other steps"),
        (500.0, 400.0, "look at the screw's lead"),
        (500.0, 0.0, "measured: 0 mm measured where 500 mm were driven"),
        (500.0, f64::NAN, "measured where 500 mm were driven"),
    ] {
        let said = refused(scale(commanded, measured));
        assert!(said.contains(words), "{said}");
    }
    let exact = ScaleMeasured { commanded: mm(500.0), measured: mm(500.0), reading: mm(0.0) };
    assert!(refused(axis_scale(&support::bench().axis, &exact)).contains("0.2 mm is usual"));
}

fn pairs(lost: &[f64]) -> BacklashMeasured {
    let pair = |lost: &f64| GaugePair { toward_tail: mm(1.0), toward_chuck: mm(1.0 + lost) };
    BacklashMeasured { pairs: lost.iter().map(pair).collect() }
}

fn backlash_of(lost: &[f64]) -> Result<Calibrated, Box<Problem>> {
    backlash(&support::bench().axis, &pairs(lost), mm(15.0), mm(6.0))
}

#[test]
fn a_lost_motion_of_0_30_is_0_088_percent_with_15_mm_of_overrun_and_1_99_percent_at_the_edge() {
    let effect = backlash_effect(mm(0.30), mm(15.0), mm(6.0));
    assert!((effect.at_overrun.percent() - 0.088).abs() < 0.0005, "{effect:?}");
    assert!((effect.at_edge.percent() - 1.99).abs() < 0.006, "{effect:?}");
    let found = backlash_of(&[0.29, 0.30, 0.31]).expect("it agrees");
    assert_eq!(written(&found).axis.backlash, mm(0.3));
    for words in ["0.3 mm of lost motion, 0.05 mm in the file", "0.088 %", "1.99 %"] {
        assert!(found.found.contains(words), "{}", found.found);
    }
    assert!(found.notes.iter().any(|note| note.contains("moving toward the tail")));
    // The gauge may stand on either side.
    assert_eq!(backlash_of(&[-0.3, -0.3, -0.3]).expect("fine").writes, found.writes);
}

/// Thickness at Z 100 of the reference job when powder arrives from there on, by the deposit
/// model: a plume of 6 mm over 50 mm, powder laid down evenly.
fn thickness_at_the_edge(powder_from: f64) -> f64 {
    const STEP: f64 = 0.01;
    let mut releases = Vec::new();
    let mut at = powder_from + STEP / 2.0;
    while at < 160.0 {
        releases.push(Release { at: at * 1e-3, mass: STEP });
        at += STEP;
    }
    let shape = Shape::new(vec![(0.0, 0.025), (0.3, 0.025)]).expect("a shaft");
    let plume = Plume {
        standoff: 0.165,
        reference_radius: 0.025,
        sigma_axial: 0.006,
        sigma_lateral: 0.006,
        growth: 0.0,
        exponent: 0.0,
        efficiency: 0.85,
        density: 6600.0,
    };
    coat(&shape, &plume, &Coverage { releases }, &[0.1]).thickness[0]
}

#[test]
fn the_deposit_model_finds_the_same_effect_of_a_lost_motion_at_an_edge() {
    let full = thickness_at_the_edge(40.0);
    for (overrun, percent, near) in [(15.0, 0.088, 0.0007), (0.0, 1.99, 0.006)] {
        // Half of it to either side: what passes to and fro differ by.
        let [near_edge, far] = [0.15, -0.15].map(|by| thickness_at_the_edge(100.0 - overrun + by));
        let found = (far - near_edge) / full * 100.0;
        println!("overrun {overrun} mm: {found:.4} %");
        assert!((found - percent).abs() < near, "overrun {overrun}: {found}");
        let effect = backlash_effect(mm(0.30), mm(overrun), mm(6.0)).at_overrun.percent();
        assert!((found - effect).abs() < 0.001, "{found} by the model, {effect} told");
    }
}

#[test]
fn gauge_readings_that_say_nothing_are_refused() {
    for (lost, words) in [
        (vec![0.3, 0.3], "it was measured 2 times; accepted: 3 times or more"),
        (vec![], "nothing was measured"),
        (vec![0.1, 0.3, 0.2], "the pairs differ by 0.2 mm"),
        (vec![-0.3, 0.3, 0.3], "the pairs differ by 0.6 mm"),
        (vec![2.5, 2.5, 2.5], "the nut or its bearing is loose"),
        (vec![f64::NAN, 0.3, 0.3], "NaN mm of lost motion"),
    ] {
        let said = refused(backlash_of(&lost));
        assert!(said.contains(words), "{lost:?}: {said}");
    }
    let found = backlash_of(&[0.05, 0.05, 0.05]).expect("as in the file");
    assert_eq!((found.writes.len(), found.notes.len()), (0, 1));
}

fn torch(key: &str) -> crate::catalogue::Torch {
    let files = [("powders.toml", POWDERS), ("torches.toml", TORCHES)];
    let catalogue = Catalogue::read(&files).expect("the shipped catalogue");
    catalogue.torch(key).expect("a torch").clone()
}

fn timed(times: &[f64]) -> Vec<DelayReading> {
    times.iter().map(|time| DelayReading::Timed(s(*time))).collect()
}

#[test]
fn delays_by_a_watch_go_into_the_entry_of_the_torch_and_no_other() {
    let measured = DelayMeasured { on: timed(&[0.9, 1.0, 0.95]), off: timed(&[0.8, 0.85, 0.75]) };
    let found = powder_delay(&torch("spray-6"), &measured).expect("it agrees");
    let text = set(TORCHES, &found.writes).unwrap_or_else(|told| panic!("{told}"));
    assert_eq!(
        text,
        TORCHES.replacen("powder_delay_on = \"0.6 s\"", "powder_delay_on = \"0.95 s\"", 1)
    );
    assert_eq!(
        found.found,
        "on after 0.95 s, 0.6 s in the catalogue; off after 0.8 s, 0.8 s in the catalogue"
    );
}

#[test]
fn a_stripe_shows_the_delay_before_its_half_thickness_by_the_rise_of_the_flow() {
    // 10 mm/s: 10.5 mm are 1.05 s, of which 0.1 s is the rise.
    let ran = |ran: f64| DelayReading::Stripe { feed: Speed::from_mm_per_s(10.0), ran: mm(ran) };
    let measured = DelayMeasured { on: vec![ran(10.4), ran(10.5), ran(10.6)], off: Vec::new() };
    let found = powder_delay(&torch("spray-6"), &measured).expect("it agrees");
    let expected = FieldValue::Text("0.95 s".to_owned());
    assert_eq!(found.writes, [("torch[spray-6].powder_delay_on".to_owned(), expected)]);
}

#[test]
fn delays_that_no_hose_has_are_refused() {
    let of = |on: &[f64]| DelayMeasured { on: timed(on), off: Vec::new() };
    for (on, words) in [
        (vec![0.6, 0.6], "it was measured 2 times"),
        (vec![], "nothing was measured"),
        (vec![0.6, 1.2, 0.6], "the times differ by 0.60 s"),
        (vec![60.0, 60.0, 60.0], "a delay of 60 s; accepted: 0 s to 5 s"),
        (vec![-1.0, -1.0, -1.0], "a delay of -1 s"),
        (vec![f64::NAN, 0.6, 0.6], "a delay of NaN s"),
    ] {
        let said = refused(powder_delay(&torch("spray-6"), &of(&on)));
        assert!(said.contains(words), "{on:?}: {said}");
    }
    let said = refused(powder_delay(&torch("fuse-heavy"), &of(&[0.6, 0.6, 0.6])));
    assert!(said.contains("has no powder"), "{said}");
}

fn counted(turns: f64, time: f64, read: f64) -> Result<Calibrated, Box<Problem>> {
    let counted = TurnsCounted {
        turns: Turns::from_turns(turns),
        time: s(time),
        read: SpindleSpeed::from_rpm(read),
    };
    tachometer(&support::bench().field.tachometer, &counted)
}

#[test]
fn a_speed_shown_twice_too_fast_comes_of_twice_the_pulses() {
    let found = counted(60.0, 58.0, 124.0).expect("sixteen");
    assert_eq!(written(&found).field.tachometer.pulses_per_turn, 16);
    assert_eq!(counted(60.0, 60.0, 60.3).expect("eight").writes, []);
}

#[test]
fn a_count_that_cannot_tell_the_pulses_is_refused() {
    for (turns, time, read, words) in [
        (10.0, 10.0, 60.0, "10 turns were counted; accepted: 20 turns or more"),
        (60.0, 0.0, 60.0, "time: 60 turns in 0 s"),
        (60.0, 60.0, 0.0, "no pulse comes"),
        (60.0, 60.0, 64.0, "8.53 pulses in a turn; accepted: a whole number"),
        (60.0, 60.0, 30.0, "4 pulses in a turn; accepted: 8 to 1024"),
        (20.0, 20.0, 600.0, "count the targets on the disc"),
    ] {
        let said = refused(counted(turns, time, read));
        assert!(said.contains(words), "{said}");
    }
}

#[test]
fn the_park_is_taken_inside_the_travel() {
    let axis = support::bench().axis;
    let found = park(&axis, mm(800.0), Some(Direction::TowardTail)).expect("inside");
    assert_eq!(written(&found).axis.park, mm(800.0));
    let from_the_tail = park(&axis, mm(800.0), Some(Direction::TowardChuck)).expect("inside");
    assert_eq!(from_the_tail.notes.len(), found.notes.len() + 1);
    assert_eq!(park(&axis, mm(720.5), None).expect("where it is").writes, []);
    assert!(refused(park(&axis, mm(900.0), None)).contains("outside the travel"));
}

#[test]
fn every_procedure_has_steps_and_names_fields_that_its_file_has() {
    for known in PROCEDURES {
        assert_eq!(procedure(known.key), Some(known));
        assert!(!known.steps.is_empty(), "{}", known.key);
        let file = match known.holder {
            Holder::Rig => BENCH,
            Holder::Torches => TORCHES,
        };
        for path in known.writes {
            let path = path.replace("KEY", "spray-6");
            let text = FieldValue::Text("x".to_owned());
            let set = set(file, &[(path.clone(), text)]).unwrap_or_else(|told| panic!("{told}"));
            assert_eq!(set.lines().count(), file.lines().count(), "{path} is there already");
        }
    }
}
