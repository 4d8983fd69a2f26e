//! Trims and touch-up passes while a zone is sprayed.

use std::sync::Arc;

use super::fixture::{FEED, mm, preheat, program, rig, spray, whole_job};
use super::plant::Plant;
use super::reach::reach;
use crate::image::{AxisDemand, Contact, Level};
use crate::interlock::CarriageEffect;
use crate::program::{Parts, Program, Step};
use crate::quantity::{Acceleration, Range};
use crate::request::{Answer, Denial, Origin, Request, Trim};
use crate::sequence::{Happening, Leaf, Phase};

const fn trim(percent: i8) -> Request {
    Request::Trim(Trim::of_percent(percent))
}

fn job(passes: usize) -> Program {
    program(vec![Step::Spray(spray(passes))])
}

/// A job that crosses its zone for the first time.
fn crossing(program: Program) -> Plant {
    let mut plant = Plant::ready(&rig(), Arc::new(program));
    plant.part = 260.0;
    plant.press(Contact::StartButton);
    plant.until(Leaf::Crossing, 100.0);
    plant.run(5.0);
    plant
}

/// The feed that is asked of the carriage, mm/s.
fn feed(plant: &Plant) -> f64 {
    match plant.outputs.axis {
        AxisDemand::Travel(travel) => travel.at.mm_per_s(),
        other => panic!("no travel: {other:?}"),
    }
}

/// To the middle of the next pass.
fn into_next_pass(plant: &mut Plant) {
    plant.until(Leaf::SprayTurning, 60.0);
    plant.until(Leaf::Crossing, 5.0);
    plant.run(7.0);
}

fn near(found: f64, wanted: f64, within: f64) {
    assert!((found - wanted).abs() <= within, "{found} for {wanted} within {within}");
}

fn why(answer: Answer) -> String {
    match answer {
        Answer::Denied(Denial { why, .. }) => why,
        other => panic!("not denied: {other:?}"),
    }
}

#[test]
fn a_trim_in_mid_pass_leaves_that_pass_its_feed_and_the_next_ones_have_theirs() {
    let mut plant = crossing(job(3));
    assert_eq!(plant.ask(trim(5)), Answer::Accepted);
    plant.run(1.0);
    near(feed(&plant), FEED, 1e-9);
    let next = plant.sequence.status().in_hand.and_then(|zone| zone.next).expect("two are ahead");
    assert_eq!((next.pass, next.trim), (2, Trim::of_percent(5)));
    near(next.feed.mm_per_s(), FEED * 1.05, 1e-9);
    into_next_pass(&mut plant);
    near(feed(&plant), FEED * 1.05, 1e-9);
    // Once begun, it keeps that.
    assert_eq!(plant.ask(trim(-3)), Answer::Accepted);
    plant.run(1.0);
    near(feed(&plant), FEED * 1.05, 1e-9);
    into_next_pass(&mut plant);
    near(feed(&plant), FEED * 1.02, 1e-9);
    assert_eq!(why(plant.ask(trim(1))), "no pass is left that has not begun");
    assert_eq!(plant.ask(trim(0)), Answer::AlreadySo);
}

/// Leads are times: the coil of a faster pass changes a longer way ahead of the same edge.
#[test]
fn powder_of_a_trimmed_pass_arrives_and_ceases_at_the_same_edges() {
    for percent in [-10, 10] {
        let mut plant = crossing(job(3));
        assert_eq!(plant.ask(trim(percent)), Answer::Accepted);
        plant.until(Leaf::Complete, 600.0);
        let edges = plant.powder_edges();
        assert_eq!(edges.len(), 6, "{edges:?}");
        let feed = FEED * Trim::of_percent(percent).of_feed();
        for (pair, way) in edges[2..].chunks(2).zip([-1.0, 1.0]) {
            let (on, off) = if way > 0.0 { (85.0, 235.0) } else { (235.0, 85.0) };
            near(pair[0].1 + way * feed * 0.6, on, 0.35);
            near(pair[1].1 + way * feed * 0.8, off, 0.35);
        }
    }
}

#[test]
fn the_status_tells_what_a_trim_and_a_touch_up_make_of_the_coat() {
    let mut plant = crossing(job(3));
    assert_eq!(plant.ask(trim(-5)), Answer::Accepted);
    assert_eq!(plant.ask(Request::TouchUp), Answer::Accepted);
    let zone = plant.sequence.status().in_hand.expect("a zone is in hand");
    assert_eq!(zone.touch_ups, 1);
    assert_eq!(
        zone.to_string(),
        "next pass at 9.9 mm/s, -5 % feed, +5.3 % coat a pass; 1 pass added; 0.326 mm as sprayed, \
         0.235 mm planned"
    );
    let changes = |event: &&crate::sequence::Event| {
        matches!(event.what, Happening::PassesChanged { step: 1, pass: 2 })
    };
    assert_eq!(plant.events.iter().filter(changes).count(), 2);
}

#[test]
fn a_touch_up_asked_in_the_last_pass_is_sprayed_after_it() {
    let mut plant = crossing(job(1));
    assert_eq!(plant.ask(Request::TouchUp), Answer::Accepted);
    assert_eq!(plant.sequence.status().progress.and_then(|at| at.pass), Some((1, 2)));
    plant.until(Leaf::Complete, 600.0);
    let edges = plant.powder_edges();
    assert_eq!(edges.len(), 4, "{edges:?}");
    near(edges[2].1 - FEED * 0.6, 235.0, 0.35);
    near(edges[3].1 - FEED * 0.8, 85.0, 0.35);
}

#[test]
fn a_touch_up_is_added_while_held_after_the_last_pass_and_sprayed_by_the_restart() {
    let mut plant = crossing(job(1));
    plant.ask(Request::HoldAfterPass);
    plant.until(Leaf::HeldLit, 60.0);
    assert_eq!(why(plant.ask(trim(2))), "no pass is left that has not begun");
    assert_eq!(plant.ask(Request::TouchUp), Answer::Accepted);
    // Not begun, so that a trim still reaches it.
    assert_eq!(plant.ask(trim(2)), Answer::Accepted);
    plant.press(Contact::StartButton);
    plant.until(Leaf::Complete, 600.0);
    assert_eq!(plant.powder_edges().len(), 4);
}

/// The powder's edges of the passes as planned, and nothing after them.
#[test]
fn a_touch_up_taken_back_in_the_last_planned_pass_is_never_sprayed() {
    let mut plant = crossing(job(1));
    assert_eq!(why(plant.ask(Request::TakePassBack)), "no pass has been added to this zone");
    assert_eq!(plant.ask(Request::TouchUp), Answer::Accepted);
    let added = |plant: &Plant| plant.sequence.status().in_hand.map(|zone| zone.added_ahead);
    assert_eq!(added(&plant), Some(1));
    assert_eq!(plant.ask(Request::TakePassBack), Answer::Accepted);
    assert_eq!(added(&plant), Some(0));
    assert_eq!(plant.sequence.status().progress.and_then(|at| at.pass), Some((1, 1)));
    plant.until(Leaf::Complete, 600.0);
    assert_eq!(plant.powder_edges().len(), 2, "{:?}", plant.powder_edges());
}

#[test]
fn a_touch_up_that_has_begun_is_not_taken_back_nor_one_left_in_its_middle() {
    let mut plant = crossing(job(1));
    assert_eq!(plant.ask(Request::TouchUp), Answer::Accepted);
    plant.until(Leaf::SprayTurning, 60.0);
    let begun = "the pass that was added has begun";
    assert_eq!(why(plant.ask(Request::TakePassBack)), begun, "its leg is laid out");
    plant.until(Leaf::Crossing, 5.0);
    plant.run(7.0);
    assert_eq!(why(plant.ask(Request::TakePassBack)), begun);
    plant.ask(Request::Hold);
    plant.until(Leaf::HeldLit, 60.0);
    assert!(plant.sequence.status().powder_lost.is_some());
    assert_eq!(why(plant.ask(Request::TakePassBack)), begun);
    assert_eq!(plant.sequence.status().in_hand.map(|zone| zone.added_ahead), Some(0));
}

#[test]
fn a_touch_up_taken_back_while_held_or_while_the_part_cools_lets_the_job_go_on_without_it() {
    // Held after the last planned pass.
    let mut held = crossing(job(1));
    held.ask(Request::TouchUp);
    held.ask(Request::HoldAfterPass);
    held.until(Leaf::HeldLit, 60.0);
    assert_eq!(held.ask(Request::TakePassBack), Answer::Accepted);
    // A part gone cold is not warmed for a pass that never comes.
    held.part = 150.0;
    held.press(Contact::StartButton);
    held.until(Leaf::CoolingDown, 60.0);
    // Too hot for the added pass: nobody waits for it any more.
    let mut hot = crossing(job(1));
    hot.ask(Request::TouchUp);
    hot.part = 390.0;
    hot.until(Leaf::WaitingForTemperature, 60.0);
    hot.run(2.0);
    assert_eq!(hot.ask(Request::TakePassBack), Answer::Accepted);
    hot.scan();
    assert_eq!(hot.leaf(), Leaf::CoolingDown);
    for plant in [&held, &hot] {
        assert_eq!(plant.powder_edges().len(), 2, "{:?}", plant.powder_edges());
    }
}

#[test]
fn a_pass_left_in_its_middle_is_taken_up_at_the_feed_it_had() {
    let mut plant = crossing(job(2));
    plant.ask(Request::Hold);
    plant.until(Leaf::HeldLit, 60.0);
    assert!(plant.sequence.status().powder_lost.is_some());
    assert_eq!(plant.ask(trim(6)), Answer::Accepted);
    plant.press(Contact::StartButton);
    plant.until(Leaf::Crossing, 60.0);
    plant.run(7.0);
    near(feed(&plant), FEED, 1e-9);
    into_next_pass(&mut plant);
    near(feed(&plant), FEED * 1.06, 1e-9);
}

/// With no ramp to spare, the trimmed passes turn farther out: the carriage goes there first.
#[test]
fn a_pass_whose_turning_point_moved_out_begins_there_and_its_edges_stay() {
    let mut job = job(3);
    job.ramp = Acceleration::from_mm_per_s2(2000.0);
    for step in &mut job.steps {
        let Step::Spray(step) = step else { continue };
        for pass in &mut step.passes {
            let way = if pass.to > pass.from { 1.0 } else { -1.0 };
            pass.from = pass.powder[0].on - mm(way * FEED * 0.61);
            pass.to = pass.powder[0].off + mm(way * FEED * 0.61);
        }
    }
    let mut plant = crossing(job);
    assert_eq!(plant.ask(trim(10)), Answer::Accepted);
    plant.until(Leaf::Approaching, 60.0);
    plant.until(Leaf::Crossing, 5.0);
    assert!(plant.position > 235.0 + FEED * 1.1 * 0.6, "{}", plant.position);
    plant.until(Leaf::Complete, 600.0);
    let edges = plant.powder_edges();
    assert_eq!(edges.len(), 6, "{edges:?}");
    near(edges[2].1 - FEED * 1.1 * 0.6, 235.0, 0.4);
    near(edges[4].1 + FEED * 1.1 * 0.6, 85.0, 0.4);
}

#[test]
fn a_change_needs_the_seat_with_the_key_and_a_zone_that_is_sprayed() {
    let mut plant = crossing(job(3));
    for request in [trim(1), Request::TouchUp, Request::TakePassBack] {
        assert!(why(plant.ask_from(request, Origin::Watcher)).contains("only stop"));
        plant.set(Contact::EnablingKey, Level::Off);
        assert!(why(plant.ask(request)).contains("enabling key"));
        plant.set(Contact::EnablingKey, Level::On);
        let denied = |leaf: Leaf| why(reach(leaf).ask(request));
        assert_eq!(denied(Leaf::Ready), "no zone is being sprayed");
        assert_eq!(denied(Leaf::Traversing), "no zone is being sprayed yet");
        assert_eq!(denied(Leaf::Holding), "the torch is still withdrawing");
        assert_eq!(denied(Leaf::Inside), "the torch is being changed for fusing");
        assert_eq!(denied(Leaf::Heating), "the zone is being fused");
        assert_eq!(denied(Leaf::CoolingDown), "all zones are sprayed");
        assert_eq!(denied(Leaf::Aborted), "a trip is latched");
        assert_eq!(denied(Leaf::Complete), "the job has ended");
    }
}

#[test]
fn a_denied_change_changes_nothing() {
    let mut narrow = job(3);
    for step in &mut narrow.steps {
        let Step::Spray(step) = step else { continue };
        step.bounds.thickest = mm(0.236);
        step.bounds.feed = Range { low: step.bounds.feed.low, high: step.passes[0].feed[0].feed };
    }
    let mut plant = crossing(narrow);
    let before = plant.sequence.program().cloned();
    for request in [trim(1), trim(-10), trim(11), Request::TouchUp] {
        assert!(matches!(plant.ask(request), Answer::Denied(_)), "{request:?}");
    }
    assert_eq!(plant.sequence.program().cloned(), before);
}

/// The same job for another part is the job that was loaded.
#[test]
fn a_job_that_is_started_again_is_sprayed_as_it_was_planned() {
    let mut plant = crossing(job(2));
    let planned = plant.sequence.program().cloned();
    assert_eq!(plant.ask(trim(5)), Answer::Accepted);
    assert_eq!(plant.ask(Request::TouchUp), Answer::Accepted);
    plant.until(Leaf::Complete, 600.0);
    assert_ne!(plant.sequence.program().cloned(), planned, "what was done is still shown");
    assert_eq!(plant.ask(Request::Reset), Answer::Accepted);
    plant.run(1.0);
    assert_eq!(plant.sequence.program().cloned(), planned);
}

/// A last state, and how a job comes to it.
type Ending<'a> = (Leaf, &'a dyn Fn(&mut Plant));

/// The button at the machine is wired to the controller and asks nobody else.
#[test]
fn the_rest_of_a_job_is_started_on_its_own_part_alone() {
    let rest = Program { parts: Parts::TheOneInTheChuck, ..job(1) };
    let ends: [Ending<'_>; 3] = [
        (Leaf::Complete, &|_| {}),
        (Leaf::Stopped, &|plant| assert_eq!(plant.ask(Request::Stop), Answer::Accepted)),
        (Leaf::Stopped, &|plant| {
            plant.trip(CarriageEffect::Retreat);
            plant.until(Leaf::Aborted, 60.0);
            plant.reset();
            assert_eq!(plant.leaf(), Leaf::HeldUnlit, "the same part may go on");
            assert_eq!(plant.ask(Request::Stop), Answer::Accepted);
        }),
    ];
    for (leaf, end) in ends {
        let mut plant = crossing(rest.clone());
        end(&mut plant);
        plant.until(leaf, 900.0);
        assert_eq!(plant.ask(Request::Reset), Answer::Accepted);
        plant.run(1.0);
        assert_eq!(plant.sequence.program(), None);
        plant.press(Contact::StartButton);
        plant.run(1.0);
        assert_eq!(plant.phase(), Phase::Idle);
        assert_eq!(why(plant.ask(Request::Start)), "no job is loaded");
        assert_eq!(plant.sequence.load(whole_job()), Answer::Accepted);
        plant.run(1.0);
        assert_eq!(plant.sequence.program().cloned(), Some(whole_job()));
    }
}

#[test]
fn a_rest_whose_part_is_not_to_be_sprayed_on_is_dropped_and_a_whole_job_stays() {
    let mut plant = crossing(job(1));
    plant.until(Leaf::Complete, 600.0);
    assert_eq!(plant.ask(Request::Reset), Answer::Accepted);
    plant.run(1.0);
    assert_eq!(plant.sequence.drop_rest(), Answer::Accepted);
    assert!(plant.sequence.program().is_some(), "it is no rest");
    let rest = Arc::new(Program { parts: Parts::TheOneInTheChuck, ..job(1) });
    assert_eq!(plant.sequence.load(rest), Answer::Accepted);
    plant.run(1.0);
    assert_eq!(plant.sequence.drop_rest(), Answer::Accepted);
    plant.run(1.0);
    plant.press(Contact::StartButton);
    plant.run(1.0);
    assert_eq!((plant.phase(), plant.sequence.program()), (Phase::Idle, None));
    let mut under_way = crossing(Program { parts: Parts::TheOneInTheChuck, ..job(1) });
    assert!(matches!(under_way.sequence.drop_rest(), Answer::Denied(_)));
}

/// A rest that is loaded while another job's end is on the screen is not that job's.
#[test]
fn a_rest_that_is_loaded_before_the_last_part_is_left_stays_loaded() {
    let mut plant = crossing(job(1));
    plant.until(Leaf::Complete, 600.0);
    let rest = Arc::new(Program { parts: Parts::TheOneInTheChuck, ..job(1) });
    assert_eq!(plant.sequence.load(rest.clone()), Answer::Accepted);
    plant.run(1.0);
    assert_eq!(plant.ask(Request::Reset), Answer::Accepted);
    plant.run(1.0);
    assert_eq!(plant.sequence.program().cloned(), Some(rest));
}

/// A part held after a pass is taken up as one between two passes is: no hotter than the pass before
/// leads to expect.
#[test]
fn a_part_held_after_a_pass_that_heated_it_much_cools_before_the_next() {
    let mut plant = crossing(job(2));
    plant.ask(Request::HoldAfterPass);
    plant.part = 345.0;
    plant.scan();
    plant.until(Leaf::HeldLit, 60.0);
    plant.part = 300.0;
    plant.press(Contact::StartButton);
    plant.until(Leaf::WaitingForTemperature, 60.0);
}

/// The next zone, and the next job, are sprayed as they were planned.
#[test]
fn a_change_ends_with_its_zone_and_with_its_job() {
    let two = program(vec![preheat(), Step::Spray(spray(2)), Step::Spray(spray(2))]);
    let mut plant = Plant::ready(&rig(), Arc::new(two));
    plant.press(Contact::StartButton);
    plant.until(Leaf::Crossing, 200.0);
    assert_eq!(plant.ask(trim(5)), Answer::Accepted);
    assert_eq!(plant.ask(Request::TouchUp), Answer::Accepted);
    assert_eq!(plant.sequence.situation().touch_ups, 1);
    let in_step = |plant: &Plant| plant.sequence.status().progress.map_or(0, |at| at.step);
    for _ in 0..20_000 {
        if in_step(&plant) < 3 {
            plant.scan();
        }
    }
    assert_eq!(in_step(&plant), 3);
    let zone = plant.sequence.status().in_hand.expect("the second zone");
    assert_eq!((zone.coat, zone.touch_ups), (zone.planned, 0));
    assert_eq!(plant.sequence.situation().touch_ups, 0);
    plant.ask(Request::Stop);
    plant.until(Leaf::Stopped, 700.0);
    assert_eq!(plant.sequence.load(whole_job()), Answer::Accepted);
    assert_eq!(plant.phase(), Phase::Stopped);
    assert_eq!(plant.sequence.program().cloned(), Some(whole_job()));
}
