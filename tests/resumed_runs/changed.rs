//! What people changed in a run is kept when it is taken up.

use std::time::Duration;

use evenpass::embed;
use evenpass_core::ledger::EntryKind;
use evenpass_core::plan::plan;
use evenpass_core::program::Step;
use evenpass_core::request::{Answer, Origin, Request, Trim};
use evenpass_core::sequence::Phase;

use super::cut::{Death, Running, cut, take_up};
use super::support::jobs::Texts;

#[test]
fn a_run_with_a_trim_and_an_added_pass_is_taken_up_with_both() {
    let job = Texts::of("reference-shaft").job();
    let plan = plan(&job.recipe, &job.rig, &job.catalogue).expect("a plan");
    let bench = embed::bench(&job, &plan, 3).expect("the bench takes the part");
    let mut run = Running::new(&job, &plan, bench);
    let passes = |run: &Running, mark: &str| {
        let is = |entry: &&evenpass_core::ledger::Entry| {
            entry.kind == EntryKind::Pass && entry.data["mark"] == mark
        };
        run.entries.iter().filter(is).count()
    };
    let wait_for = |run: &mut Running, pass: usize| {
        for _ in 0..1_000_000 {
            if passes(run, "begun") >= pass {
                return;
            }
            run.run_until(run.time.now() + Duration::from_millis(20));
        }
        panic!("never in pass {pass}");
    };
    wait_for(&mut run, 2);
    for request in [Request::Trim(Trim::of_percent(8)), Request::TouchUp] {
        let now = run.time.now();
        let answer = run.time.controller().request(now, request, Origin::Seat);
        assert_eq!(answer, Answer::Accepted);
    }
    wait_for(&mut run, 4);
    run.run_until(run.time.now() + Duration::from_secs(6));
    let left = cut(run, Death::Killed, Duration::from_millis(100), Duration::from_secs(30));
    let (found, mut rest) = take_up(&job, &plan, left).expect("it can be taken up");
    let hand = found.hand.as_ref().expect("a pass in hand");
    assert_eq!((hand.pass, hand.of), (4, plan.forecast.zones[0].passes.planned as usize + 1));
    let Some(Step::Spray(step)) = rest.plan.program.steps.get(1) else { panic!("it sprays") };
    assert_eq!((step.touch_ups, step.passes[1].trim.percent()), (1, 8));
    let end = rest.finish();
    assert_eq!(end, Phase::Complete, "{}", rest.told());
    // A faster feed and a pass more: the coat that both make, and not the plan's.
    let planned = plan.forecast.zones[0].passes.planned;
    let of_plan = (2.0 + f64::from(planned - 1) / 1.08) / f64::from(planned);
    for station in &plan.forecast.zones[0].along {
        let lies = rest.time.bench().thickness_mm(station.at.mm());
        let off = lies / (station.sprayed.mm() * of_plan) - 1.0;
        assert!(off.abs() < 0.05, "{}: {:+.1} %", station.at, off * 100.0);
    }
}
