//! The controller's process dies or stands still, at random instants of a job: real processes over
//! pseudo-terminals, in wall time.
//!
//! However it dies (`kill -9`), powder, gas and carriage are safe within half a second, by the
//! machine alone, and nothing comes on again. After it stood still (SIGSTOP, then SIGCONT) no
//! powder edge comes late and no motion is resumed: the run trips, unless the job was none the
//! worse and goes on as rehearsed.
//!
//! A few of each by default; `EVENPASS_KILLS` and `EVENPASS_STOPS` set how many,
//! `EVENPASS_AT_ONCE` how many machines run side by side (eight), `EVENPASS_SEED` the instants.

#![allow(
    clippy::print_stdout,
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    clippy::indexing_slicing,
    reason = "a test prints its figures, and fails where it cannot go on"
)]

mod checker;
mod fate;
#[path = "../ptys/mod.rs"]
mod ptys;
mod side_by_side;

use fate::{Fate, draw};
use side_by_side::{Played, Told, play_all};

fn count(name: &str, default: u64) -> u64 {
    std::env::var(name).map_or(default, |text| {
        text.parse().unwrap_or_else(|_| panic!("{name} is \"{text}\", no whole number"))
    })
}

#[test]
fn a_controller_killed_or_stopped_at_any_instant_of_a_job_leaves_a_machine_that_is_safe() {
    let (kills, stops) = (count("EVENPASS_KILLS", 3), count("EVENPASS_STOPS", 2));
    let at_once = usize::try_from(count("EVENPASS_AT_ONCE", 8)).unwrap().max(1);
    let seed = count("EVENPASS_SEED", 20_000);
    let fates = draw(seed, kills, stops);
    println!("{kills} kills and {stops} stops, {at_once} machines at once, seed {seed}");
    if !*ptys::MAY_GO_FIRST {
        println!(
            "twins share the processor with everything else here: their times are no devices'"
        );
    }
    let Played { told, again } = play_all(fates, at_once);
    for one in &told {
        println!("{one}");
    }
    for why in &again {
        println!("begun again, the computer did not keep up: {why}");
    }
    worst(&told);
    let broken: Vec<String> =
        told.iter().filter(|one| !one.broken.is_empty()).map(ToString::to_string).collect();
    assert!(broken.is_empty(), "seed {seed}:\n{}", broken.join("\n"));
    assert_eq!(told.len() as u64, kills + stops, "each was played");
}

/// The worst of every time, and how often what was on.
fn worst(told: &[Told]) {
    for what in checker::SAFE {
        let times = || told.iter().filter_map(|one| one.safe_after.get(what).copied());
        let on = times().filter(|after| *after > 0.0).count();
        let worst = times().fold(0.0, f64::max);
        println!("{what}: on at {on} of {} instants, worst {worst:.3} s from death", told.len());
    }
    let stopped: Vec<&Told> =
        told.iter().filter(|one| matches!(one.fate, Fate::Stop { .. })).collect();
    let went_on = stopped.iter().filter(|one| one.ended == Some(0)).count();
    let waits = stopped.iter().filter(|one| one.waits).count();
    let tripped = stopped.iter().filter(|one| one.ended == Some(3)).count();
    println!(
        "of {} stops {tripped} tripped, {went_on} went on to a job as rehearsed, {waits} wait at rest and \
         say for what",
        stopped.len()
    );
    let turning = told.iter().filter(|one| one.turns_on == Some(true)).count();
    println!("a hot part that turned went on turning {turning} times");
}
