//! Campaigns: the whole program and the whole twin through seeded days on which signals, devices,
//! lines, mains, clocks and people fail as they like. The checker watches what is physically so.
//! When the trouble is over the job must end, or be ended, and everything must be at rest.
//!
//! `EVENPASS_SEEDS` says how many seeds, `EVENPASS_FIRST_SEED` from where; without them a modest
//! number is run. A seed that fails is shortened and printed as a journal; what was kept of such
//! under `tests/seeds` is played again by every run of the tests.

#![allow(
    clippy::print_stdout,
    clippy::panic,
    clippy::expect_used,
    clippy::indexing_slicing,
    clippy::string_slice,
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "a test prints its figures, and fails where it cannot go on"
)]

mod campaign;
#[path = "../support/mod.rs"]
mod support;

use campaign::handicap::Defect;
use campaign::report::Report;
use campaign::schedule::{Event, Journal, Schedule, StallClock, Timed, kept, text};
use campaign::shrink::shrink;
use campaign::world::Extras;
use campaign::{draw, replay, setting};
use evenpass_core::sequence::Phase;
use evenpass_hil::{Coil, Fault, Target, Word};

/// Seeds of an ordinary run of the tests.
const SEEDS: u64 = 200;
/// Seeds of a campaign with something planted.
const CANARIES: u64 = 4;
/// Days on which nothing goes wrong.
const FAIR_DAYS: u64 = 50;

/// A failing seed as a journal, shortened while it fails in the same way.
fn journal(schedule: &Schedule) -> String {
    let whole = replay(schedule);
    let what = whole.violations().first().map(|violation| violation.what);
    let fails = |tried: &Schedule| {
        replay(tried).violations().first().map(|violation| violation.what) == what
    };
    let short = shrink(schedule, fails);
    let outcome = replay(&short);
    let told = outcome.told.len().saturating_sub(60);
    format!(
        "{}\n{:#?}\n{}",
        text(&Journal { lesson: what.unwrap_or_default().to_owned(), schedule: short }),
        outcome.violations(),
        outcome.told[told..].join("\n")
    )
}

fn explain(report: &Report) -> String {
    report.failures.first().map_or_else(String::new, |failure| journal(&failure.schedule))
}

#[test]
fn whatever_fails_whenever_the_machine_stays_within_what_is_permitted_and_comes_to_rest() {
    let seeds = setting("EVENPASS_SEEDS", SEEDS);
    let first = setting("EVENPASS_FIRST_SEED", 0);
    let report = campaign::campaign(first..first + seeds, draw::schedule, Extras::default());
    println!("{}", report.print());
    assert!(report.failures.is_empty(), "{}", explain(&report));
    assert_eq!(report.never_came(), Vec::<String>::new(), "never came");
}

#[test]
fn a_day_on_which_nothing_goes_wrong_completes_without_a_trip_or_a_hold() {
    let seeds = setting("EVENPASS_FAIR_SEEDS", FAIR_DAYS);
    let first = setting("EVENPASS_FIRST_SEED", 0);
    let report = campaign::campaign(first..first + seeds, draw::fair, Extras::default());
    println!("without faults: {}", report.print());
    assert!(report.failures.is_empty(), "{}", explain(&report));
    assert_eq!(report.ended(Phase::Complete), seeds, "all complete");
    assert_eq!((report.tripped, report.held), (0, 0), "no trip, no hold");
}

#[test]
fn what_once_failed_does_not_fail_again() {
    for (name, journal) in kept() {
        let outcome = replay(&journal.schedule);
        assert!(
            outcome.violations().is_empty(),
            "{name}: {}\n{:#?}\n{}",
            journal.lesson,
            outcome.violations(),
            outcome.told.join("\n")
        );
    }
}

#[test]
fn a_run_seen_from_outside_goes_from_idle_through_the_job_to_its_end() {
    let seen = campaign::seen_from_outside(&draw::fair(1));
    let first = seen.first().map(|look| look.leaf.phase());
    let last = seen.last().map(|look| look.leaf.phase());
    assert_eq!((first, last), (Some(Phase::Idle), Some(Phase::Complete)), "{seen:?}");
    assert!(seen.iter().any(|look| look.leaf.phase() == Phase::Fusing));
    assert!(seen.windows(2).all(|pair| pair[0] != pair[1]), "repeats are dropped");
}

/// Whether a campaign with something planted fails by this.
fn is_caught(planted: &str, what: &str, draw: fn(u64) -> Schedule, extras: Extras) {
    let report = campaign::campaign(0..CANARIES, draw, extras);
    let found: Vec<&str> = report
        .failures
        .iter()
        .flat_map(|failure| failure.violations.iter().map(|violation| violation.what))
        .collect();
    println!("{planted}: {} of {CANARIES} seeds fail: {found:?}", report.failures.len());
    assert!(found.contains(&what), "{planted} is not caught by \"{what}\": {found:?}");
}

/// A fair day that nobody mends before its end.
fn unmended(seed: u64) -> Schedule {
    Schedule { mended_at_us: 150_000_000, ..draw::fair(seed) }
}

#[test]
fn a_feeder_that_sticks_without_anybody_having_said_so_makes_the_campaign_fail() {
    let sticks = Fault::Signal { target: Target::Coil(Coil::PowderFeeder), word: Word::Wrong(0.0) };
    let extras = Extras { undeclared: Some((5_000_000, sticks)), ..Extras::default() };
    is_caught("a feeder that runs by itself", "powder without flame", unmended, extras);
}

/// A fair day on which the program stands still for some seconds with the flame over the part.
fn stands_still(seed: u64) -> Schedule {
    let mut schedule = draw::fair(seed);
    let event = Event::Stall { for_us: 4_000_000, clock: StallClock::Runs };
    schedule.events.push(Timed { at_us: 70_000_000, event });
    schedule.mended_at_us = 80_000_000;
    schedule
}

#[test]
fn outputs_that_outlive_the_program_make_the_campaign_fail() {
    let honest = campaign::campaign(0..CANARIES, stands_still, Extras::default());
    assert!(honest.failures.is_empty(), "{}", explain(&honest));
    let extras = Extras { defect: Some(Defect::BeatsOnItsOwn), ..Extras::default() };
    is_caught("a beat of its own", "gas, nobody in command", stands_still, extras);
}

/// A fair day with somebody who takes their time.
fn slow_start(seed: u64) -> Schedule {
    let mut schedule = draw::fair(seed);
    schedule.person.reaction_s = 4.0;
    schedule
}

#[test]
fn a_start_without_an_act_makes_the_campaign_fail() {
    let extras = Extras { defect: Some(Defect::StartsByItself), ..Extras::default() };
    is_caught("a start by itself", "energy without an act", slow_start, extras);
}

#[test]
#[ignore = "to look into one run: EVENPASS_FIRST_SEED says which seed, or EVENPASS_JOURNAL which file"]
fn one_run_in_all_detail() {
    let schedule = std::env::var("EVENPASS_JOURNAL").map_or_else(
        |_| draw::schedule(setting("EVENPASS_FIRST_SEED", 0)),
        |path| campaign::schedule::read(path.as_ref()).schedule,
    );
    let outcome = replay(&schedule);
    println!("{}", text(&Journal { lesson: String::new(), schedule }));
    println!("{}\n{:#?}", outcome.told.join("\n"), outcome.violations());
}
