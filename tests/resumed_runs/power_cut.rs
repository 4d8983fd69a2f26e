//! The trade's bad day: power is cut in pass 5 of 9 of the reference job, going to the tail.

use std::time::Duration;

use evenpass::embed;
use evenpass_core::ledger::{Entry, EntryKind};
use evenpass_core::plan::{Direction, Plan, plan};
use evenpass_core::program::Step;
use evenpass_core::quantity::Time;
use evenpass_core::resume::{Choice, Interruption, Task, Waited, before, go_on, offer, read};
use serde_json::json;

use super::cut::{Death, Running, cut, take_up};
use super::support::jobs::Texts;
use super::support::near;

fn reference() -> (evenpass::files::Job, Plan) {
    // The trade's figures are those of the gear next to 20 m/min, 125 rpm at 5 mm a turn.
    let feed = ("pitch = \"5 mm/turn\"", "feed = \"10.41667 mm/s\"");
    let job = Texts::of("reference-shaft").recipe(feed.0, feed.1).job();
    let plan = plan(&job.recipe, &job.rig, &job.catalogue).expect("a plan");
    (job, plan)
}

fn is_in_pass_five(entries: &[Entry]) -> bool {
    let begun = |entry: &&Entry| entry.kind == EntryKind::Pass && entry.data["mark"] == "begun";
    entries.iter().rfind(begun).is_some_and(|entry| entry.data["pass"] == 5)
}

fn z(entry: &Entry) -> Option<f64> {
    let text = entry.data.get("z").filter(|_| entry.kind == EntryKind::Sample)?;
    text.as_str()?.strip_suffix(" mm")?.parse().ok()
}

/// The run up to its first sample in pass 5 beyond 131.3 mm.
fn cut_off(job: &evenpass::files::Job, plan: &Plan) -> Running {
    let bench = embed::bench(job, plan, 7).expect("the bench takes the part");
    let mut run = Running::new(job, plan, bench);
    for _ in 0..1_000_000 {
        run.run_until(run.time.now() + Duration::from_millis(20));
        let there =
            run.entries.iter().rev().take(3).any(|entry| z(entry).is_some_and(|z| z >= 131.3));
        if there && is_in_pass_five(&run.entries) {
            return run;
        }
    }
    panic!("never in pass 5");
}

/// The journal as it would be, its last place exactly at 131.3 mm.
fn journal(run: &Running) -> Vec<Entry> {
    let mut kept = run.entries.clone();
    let last = kept.iter().rposition(|entry| z(entry).is_some()).expect("a sample");
    kept.truncate(last + 1);
    kept[last].data["z"] = json!("131.3 mm");
    kept
}

fn found() -> (evenpass::files::Job, Plan, Interruption) {
    let (job, plan) = reference();
    let run = cut_off(&job, &plan);
    let found = read(&journal(&run), &plan, &job.rig, None);
    (job, plan, found)
}

/// Trade figures, computed there: the last journal at Z 131.3 and one second at 10.417 mm/s; .39050 mm
/// after five passes, .31288 after four; two standard deviations of 6 mm before the earliest place.
#[test]
fn a_power_cut_in_pass_five_is_told_with_its_place_and_coat_and_the_torch_sets_out_before_it() {
    let (job, plan, found) = found();
    println!("{found}");
    let hand = found.hand.clone().expect("a pass in hand");
    assert_eq!((hand.pass, hand.of, hand.direction), (5, 9, Direction::TowardTail));
    near("earliest", hand.earliest.mm(), 131.3, 1e-6);
    near("latest", hand.latest.mm(), 141.7, 0.05);
    assert!(hand.earliest < hand.ceased && hand.ceased < hand.latest, "{hand:?}");
    let builds: Vec<f64> = found.stretches.iter().map(|stretch| stretch.build.mm()).collect();
    near("coat behind the place", builds[0], 0.391, 0.002);
    near("coat before it", builds[1], 0.313, 0.002);
    let rest = go_on(&job.recipe, &job.rig, &job.catalogue, &plan, &found).expect("a plan");
    let Some(Step::Spray(step)) = rest.program.steps.get(1) else { panic!("it sprays") };
    assert_eq!(step.passes.len(), 5);
    near("the torch sets out", step.passes[0].from.mm(), 119.3, 1e-6);
    near("powder arrives", step.passes[0].powder[0].on.mm(), hand.ceased.mm(), 1e-6);
    assert!(matches!(rest.program.steps[0], Step::Preheat(_)));
    assert!(matches!(rest.program.steps.last(), Some(Step::Cool(_))));
    let told = &rest.forecast.zones[0];
    let whole = &plan.forecast.zones[0];
    for (rest, whole) in told.along.iter().zip(&whole.along) {
        let off = rest.sprayed / whole.sprayed - 1.0;
        assert!(off.abs() < 0.02, "{}: {off}", rest.at);
    }
    let seam = rest.notes.iter().find(|note| note.text.contains("powder ceased"));
    assert!(seam.is_some(), "that the place is not known well is told: {:?}", rest.notes);
}

#[test]
fn what_may_be_done_is_offered_and_after_two_hours_or_with_no_clock_stripping_comes_first() {
    let (job, plan, found) = found();
    let waited = |down| Waited { down, age: down };
    let offered = |down| offer(&found, waited(down), true);
    let half_an_hour = Some(Time::from_s(1800.0));
    assert_eq!(
        offered(half_an_hour).choices,
        [Choice::GoOn, Choice::EndHere, Choice::StripAndReblast]
    );
    assert_eq!(offered(half_an_hour).default, Choice::GoOn);
    assert_eq!(offered(Some(Time::from_s(7201.0))).default, Choice::StripAndReblast);
    assert_eq!(offered(None).default, Choice::StripAndReblast);
    let rest = go_on(&job.recipe, &job.rig, &job.catalogue, &plan, &found).expect("a plan");
    let tasks: Vec<Task> =
        before(&found, &rest, waited(half_an_hour)).into_iter().map(|before| before.task).collect();
    assert!(matches!(
        tasks.as_slice(),
        [
            Task::Home,
            Task::DatumCheck { .. },
            Task::FitTorch(_),
            Task::Temperature(_),
            Task::Surface { .. }
        ]
    ));
}

#[test]
fn after_a_power_cut_nothing_moves_and_nothing_opens_by_itself() {
    let (job, plan) = reference();
    let run = cut_off(&job, &plan);
    let left = cut(run, Death::Mains, Duration::from_millis(200), Duration::from_secs(60));
    // Looks at it with nobody there, and fails where anything does.
    take_up(&job, &plan, left).expect("it can be taken up");
}
