//! A journal that ends after any of its entries: the pass it tells is the one that was in hand, in
//! whatever state the run was.

use std::time::Duration;

use evenpass::embed;
use evenpass_core::ledger::{Entry, EntryKind};
use evenpass_core::moment::Moment;
use evenpass_core::plan::plan;
use evenpass_core::request::{Answer, Origin, Request};
use evenpass_core::resume::{JOURNAL_EVERY, read};
use evenpass_core::sequence::{Leaf, Phase};

use super::cut::Running;
use super::support::jobs::Texts;

/// Of the entries that are samples only every so many is an end: they are many and alike.
const SAMPLES: usize = 9;

/// What people do in a run, each at a time after a pass has begun.
type Asked<'a> = &'a [(usize, Duration, Request)];

/// A run in which these things are asked, with its entries.
fn run(recipe: &str, asked: Asked<'_>) -> (Running, Phase, evenpass::files::Job) {
    let job = Texts::of(recipe).job();
    let plan = plan(&job.recipe, &job.rig, &job.catalogue).expect("a plan");
    let bench = embed::bench(&job, &plan, 1).expect("the bench takes the part");
    let mut run = Running::new(&job, &plan, bench);
    for (pass, after, request) in asked {
        let begun = |run: &Running| ended(&run.entries, Moment::NEVER, "begun") >= *pass;
        while !begun(&run) && run.phase() != Phase::Complete {
            run.run_until(run.time.now() + Duration::from_millis(100));
        }
        run.run_until(run.time.now() + *after);
        let now = run.time.now();
        let answer = run.time.controller().request(now, *request, Origin::Machine);
        assert_eq!(answer, Answer::Accepted, "{request:?} in pass {pass}: {}", run.told());
        if *request == Request::Hold {
            while run.leaf() != Leaf::HeldLit {
                run.run_until(run.time.now() + Duration::from_millis(100));
            }
            run.run_until(run.time.now() + Duration::from_secs(1));
            let now = run.time.now();
            let answer = run.time.controller().request(now, Request::Restart, Origin::Machine);
            assert_eq!(answer, Answer::Accepted, "{}", run.told());
        }
    }
    let end = run.finish();
    (run, end, job)
}

/// How many passes were begun, or ended, by then.
fn ended(entries: &[Entry], by: Moment, mark: &str) -> usize {
    let is = |entry: &&Entry| {
        entry.kind == EntryKind::Pass && entry.data["mark"] == mark && entry.at <= by
    };
    entries.iter().filter(is).count()
}

/// Reads the journal up to each of its entries; how many ends were looked at.
fn every_end(recipe: &str, asked: Asked<'_>, wanted: Phase) -> usize {
    let (run, end, job) = run(recipe, asked);
    assert_eq!(end, wanted);
    let all = &run.entries;
    let passes: usize = run
        .plan
        .program
        .steps
        .iter()
        .map(|step| match step {
            evenpass_core::program::Step::Spray(step) => step.passes.len(),
            _ => 0,
        })
        .sum();
    let mut looked_at = 0;
    let mut wrong = Vec::new();
    for (index, last) in all.iter().enumerate() {
        if last.kind == EntryKind::Sample && index % SAMPLES != 0 {
            continue;
        }
        looked_at += 1;
        let found = read(&all[..=index], &run.plan, &job.rig, None);
        let done = |by: Moment| ended(all, by, "ended");
        let (least, most) = (done(last.at), done(last.at + JOURNAL_EVERY.to_duration()));
        let told = found.hand.as_ref().map_or(passes + 1, |hand| hand.pass);
        if told < least + 1 || told > most + 1 {
            wrong.push(format!(
                "{} {:?} {}: {found}; {least} to {most} passes are done",
                last.at, found.leaf, last.text
            ));
        }
    }
    assert!(wrong.is_empty(), "{} of {looked_at}:\n{}", wrong.len(), wrong.join("\n"));
    looked_at
}

#[test]
fn the_pass_in_hand_is_told_whatever_entry_a_journal_ends_with() {
    let looked_at = every_end("reference-shaft", &[], Phase::Complete);
    println!("{looked_at} ends of a run that was not disturbed");
}

#[test]
fn the_pass_in_hand_is_told_while_a_hold_withdraws_and_its_restart_comes_back() {
    let second = Duration::from_secs(5);
    let asked = [(3, second, Request::Hold), (6, second, Request::Hold)];
    let looked_at = every_end("reference-shaft", &asked, Phase::Complete);
    println!("{looked_at} ends of a run that was held in passes 3 and 6");
}

#[test]
fn the_pass_in_hand_is_told_while_a_stop_withdraws_and_the_part_cools() {
    for pass in [3, 6] {
        let asked = [(pass, Duration::from_secs(5), Request::Stop)];
        let looked_at = every_end("reference-shaft", &asked, Phase::Stopped);
        println!("{looked_at} ends of a run that was stopped in pass {pass}");
    }
}
