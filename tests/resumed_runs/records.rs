//! The same from a records file: a run whose program died in it, and the one that went on with it.

use std::path::Path;
use std::time::Duration;

use evenpass::embed;
use evenpass::files::Job;
use evenpass::keeping::{Begin, Keeping};
use evenpass::record::{Mark, RunId, RunKind, Said, Store, Verdict};
use evenpass::report::Report;
use evenpass::resuming::{GoesOn, cut_off};
use evenpass_core::ledger::Entry;
use evenpass_core::plan::{Plan, plan};
use evenpass_core::quantity::Length;
use evenpass_core::resume::{Checked, Choice, Stood};
use evenpass_core::sequence::Phase;
use jiff::{SignedDuration, Timestamp};

use super::cut::{Death, Left, Running, cut, take_up};
use super::support::jobs::Texts;

/// Keeps what the journal kept, and dies.
fn keep(left: &Left, keeping: Keeping) -> RunId {
    let id = keeping.id();
    for entry in &left.kept {
        keeping.deliver(entry.clone());
    }
    drop(keeping);
    id
}

/// Whether an entry tells that this pass begins.
fn begins(entry: &Entry, pass: u64) -> bool {
    entry.data.get("mark").is_some_and(|mark| mark == "begun")
        && entry.data.get("pass").and_then(serde_json::Value::as_u64) == Some(pass)
}

/// The reference shaft up to the middle of its third pass, and what its journal kept of it.
fn up_to_the_third_pass(job: &Job, plan: &Plan) -> Left {
    let bench = embed::bench(job, plan, 5).expect("the bench takes the part");
    let mut run = Running::new(job, plan, bench);
    while !run.entries.iter().any(|entry| begins(entry, 3)) {
        run.run_until(run.time.now() + Duration::from_millis(20));
    }
    run.run_until(run.time.now() + Duration::from_secs(7));
    cut(run, Death::Killed, Duration::from_millis(150), Duration::from_secs(60))
}

/// That nobody may go on with a run, and may end it or strip its part, with the reason.
fn not_gone_on_with(file: &Path, run: &RunId, stood: Option<Stood>) -> String {
    let store = Store::open_existing(file).expect("open");
    let told = cut_off(&store, run, None, stood).expect("it can be read");
    let choices = told.offer(Timestamp::now()).choices;
    assert_eq!(choices, [Choice::EndHere, Choice::StripAndReblast]);
    told.may(Choice::GoOn, &Checked::default(), Timestamp::now())
        .expect_err("nobody knows what lies there")
}

#[test]
fn a_run_that_sprayed_on_while_the_disk_refused_is_ended_or_stripped_and_never_gone_on_with() {
    let folder = tempfile::tempdir().expect("a folder");
    let file = folder.path().join("runs.sqlite");
    let job = Texts::of("reference-shaft").job();
    let plan = plan(&job.recipe, &job.rig, &job.catalogue).expect("a plan");
    let left = up_to_the_third_pass(&job, &plan);
    let begin = Begin::fresh(RunKind::Twin, Some(5), Some(&file));
    let keeping = Keeping::begin(&job, &plan, &begin).expect("begun");
    let run = keeping.id();
    let second = left.kept.iter().find(|entry| begins(entry, 2)).expect("a second pass").number;
    let kept = |entry: &&Entry| entry.number <= second + 5;
    left.kept.iter().take_while(kept).for_each(|entry| keeping.deliver(entry.clone()));
    assert_eq!(keeping.flush(), second + 5);
    let other = rusqlite::Connection::open(&file).expect("another program");
    other.execute_batch("BEGIN IMMEDIATE").expect("holds the records");
    left.kept.iter().skip_while(kept).for_each(|entry| keeping.deliver(entry.clone()));
    drop(keeping);
    let why = not_gone_on_with(&file, &run, left.stood);
    println!("{why}");
    assert!(why.starts_with("it cannot go on: the journal ends in pass 2, at "), "{why}");
    let says = ": pass 3 of step 2 was begun: what lies on the part is known to nobody";
    assert!(why.contains(says), "{why}");
    other.execute_batch("ROLLBACK").expect("let go");
    // The next run to begin takes the mark away, and keeps what it told.
    drop(Keeping::begin(&job, &plan, &begin).expect("begun"));
    assert_eq!(not_gone_on_with(&file, &run, left.stood), why);
}

#[test]
fn a_run_whose_journal_misses_entries_is_ended_or_stripped_and_that_its_part_is_on_hold_is_told() {
    let folder = tempfile::tempdir().expect("a folder");
    let file = folder.path().join("runs.sqlite");
    let job = Texts::of("reference-shaft").job();
    let plan = plan(&job.recipe, &job.rig, &job.catalogue).expect("a plan");
    let mut left = up_to_the_third_pass(&job, &plan);
    let middle = left.kept.len() / 2;
    left.kept.drain(middle..middle + 10);
    let begin = Begin::fresh(RunKind::Twin, Some(5), Some(&file));
    let run = keep(&left, Keeping::begin(&job, &plan, &begin).expect("begun"));
    let why = not_gone_on_with(&file, &run, left.stood);
    assert!(why.contains("the journal misses 10 entries"), "{why}");
    let mut store = Store::open_existing(&file).expect("open");
    let held = Mark {
        at: Timestamp::now(),
        person: "Ann".to_owned(),
        rig: job.rig.title.clone(),
        kind: RunKind::Twin,
        run: Some(run.clone()),
        batch: None,
        said: Said::Decided { verdict: Verdict::Hold, reason: "the edge".to_owned() },
    };
    store.keep_mark(&held).expect("kept");
    let told = cut_off(&store, &run, None, left.stood).expect("it can be read");
    let told = told.told(Timestamp::now());
    assert!(told.contains(&"its part is on hold, by Ann: the edge".to_owned()), "{told:?}");
}

#[test]
fn a_run_is_taken_up_from_its_record_and_so_is_the_one_that_went_on_with_it() {
    let folder = tempfile::tempdir().expect("a folder");
    let file = folder.path().join("runs.sqlite");
    let job = Texts::of("reference-shaft").job();
    let plan = plan(&job.recipe, &job.rig, &job.catalogue).expect("a plan");
    let mut run =
        Running::new(&job, &plan, embed::bench(&job, &plan, 5).expect("the bench takes the part"));
    let in_pass = |run: &mut Running, pass: usize| {
        for _ in 0..1_000_000 {
            let progress = run.time.controller().status().progress;
            if progress.is_some_and(|at| at.pass.is_some_and(|(now, _)| now == pass)) {
                run.run_until(run.time.now() + Duration::from_secs(7));
                return;
            }
            run.run_until(run.time.now() + Duration::from_millis(20));
        }
        panic!("never in pass {pass}");
    };
    let mut begin = Begin::fresh(RunKind::Twin, Some(5), Some(&file));
    in_pass(&mut run, 3);
    let left = cut(run, Death::Killed, Duration::from_millis(150), Duration::from_secs(60));
    let keeping = Keeping::begin(&job, &plan, &begin).expect("begun");
    let first = keep(&left, keeping);
    let stood = left.stood;
    let store = Store::open_existing(&file).expect("open");
    let now = Timestamp::now();
    let told = cut_off(&store, &first, None, stood).expect("it can be read");
    println!("{}", told.found);
    let hand = told.found.hand.clone().expect("a pass in hand");
    assert_eq!((hand.pass, told.offer(now).choices[0]), (3, Choice::GoOn));
    assert!(told.before(now).len() >= 4);
    let yesterday = now - SignedDuration::from_hours(24);
    let contradicts = (told.downtime(yesterday), told.offer(yesterday).default);
    assert_eq!(contradicts, (None, Choice::StripAndReblast));

    let (_, mut second) = take_up(&job, &plan, left).expect("it can be taken up");
    assert_eq!(told.rest.as_ref().expect("a plan").program, second.plan.program);
    in_pass(&mut second, 2);
    let rest = second.plan.clone();
    let left = cut(second, Death::Mains, Duration::from_millis(50), Duration::from_secs(60));
    begin.goes_on = Some(GoesOn { run: first, stood });
    let keeping = Keeping::begin(&job, &rest, &begin).expect("begun");
    let again = keep(&left, keeping);
    let told = cut_off(&store, &again, None, left.stood).expect("it can be read");
    assert_eq!(told.plan.program, rest.program);
    let hand = told.found.hand.clone().expect("a pass in hand");
    assert_eq!(hand.pass, 2, "{}", told.found);
    // What the report estimates lies where the resume finds it, and where it truly is.
    let zone = &plan.forecast.zones[0];
    let off = |run: &RunId, lies: &dyn Fn(Length) -> f64| {
        let estimated = Report::of(&store, run).expect("a report").coat(&zone.zone);
        assert!(estimated.len() > 20, "along the zone");
        let worst = estimated.into_iter().map(|(at, coat)| (coat.mm() - lies(at)).abs());
        worst.fold(0.0, f64::max) / zone.sprayed.mm() * 100.0
    };
    let by_resume = off(&again, &|at| told.found.coat.thickness_at(at).mm());
    let by_twin = off(&again, &|at| left.bench.thickness_mm(at.mm()));
    println!(
        "estimate off the resume's coat {by_resume:.2} %, off the twin's {by_twin:.2} % of the plan"
    );
    assert!(by_resume < 3.0 && by_twin < 3.0);
    let (_, mut third) = take_up(&job, &rest, left).expect("it can be taken up");
    let end = third.finish();
    assert_eq!(end, Phase::Complete, "{}", third.told());
    begin.goes_on = Some(GoesOn { run: again.clone(), stood: None });
    let keeping = Keeping::begin(&job, &third.plan, &begin).expect("begun");
    third.entries.iter().for_each(|entry| keeping.deliver(entry.clone()));
    let last = keeping.id();
    drop(keeping);
    let bench = third.time.into_bench();
    let by_twin = off(&last, &|at| bench.thickness_mm(at.mm()));
    println!("estimate of the finished coat off the twin's {by_twin:.2} % of the plan");
    assert!(by_twin < 3.0);
    let record = store.run(&again).expect("the record");
    let found = &record.particulars["found"];
    assert!(found.ends_with(" mm, powered"), "in words: {found}");
    assert_eq!(record.particulars["resumes"], store.runs().expect("runs")[0].id.to_string());
}
