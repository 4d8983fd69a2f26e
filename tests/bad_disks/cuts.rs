//! The power goes at some instant of a job.
//!
//! Jobs run on the twin in virtual time and are recorded as any job is, on a disk that writes down
//! what is done to it. From that the disk is made anew as a power cut leaves it at some operation:
//! what was synced is there, of what was written since each write is there, lost or torn. Then the
//! record must open; the run reads as interrupted; every entry that was acknowledged before is
//! there as it was sent, none that was not sent, in order and without gaps; what was recorded
//! before that run is untouched; and the last place of the carriage in it is no further from the
//! true one than a second of the fastest travel.
//!
//! A hundred cuts by default; `EVENPASS_CUTS` sets how many, `EVENPASS_SEED` draws others. The record
//! is written by its own thread, which may gather entries otherwise when it is run again: what was
//! promised is read off each run anew.

use evenpass_disk::{Dice, Remains, Trust};

use crate::checked::{Found, Tally, rebuilt};
use crate::job::{Recorded, recorded};

/// The jobs that are cut, with the seeds of their twins.
const JOBS: [(&str, u64); 4] =
    [("short-job", 1), ("short-job", 2), ("pump-sleeve", 3), ("reference-shaft", 4)];

fn number(name: &str, usual: u64) -> u64 {
    std::env::var(name).map_or(usual, |text| {
        text.parse().unwrap_or_else(|_| panic!("{name} is \"{text}\", no whole number"))
    })
}

/// Where a run is cut, in order: anywhere in what was done to the disk, anywhere in time, and some
/// while the file is being made and while the end is written.
fn cuts(run: &Recorded, count: u64, dice: &mut Dice) -> Vec<usize> {
    let operations = run.log.len() as u64;
    let mut cuts: Vec<usize> = (0..count)
        .map(|cut| match cut % 8 {
            0 => dice.below(run.begun as u64 + 1),
            1 => run.ending as u64 + dice.below(operations + 1 - run.ending as u64),
            2..=4 => dice.below(operations + 1),
            _ => {
                let step = dice.below(run.steps.len() as u64);
                let (from, to) = run.operations_of(usize::try_from(step).expect("small"));
                from as u64 + dice.below((to - from) as u64 + 1)
            }
        })
        .map(|cut| usize::try_from(cut).expect("small"))
        .collect();
    cuts.sort_unstable();
    cuts
}

/// Cuts a run so often, and tallies what was found.
fn cut(run: &Recorded, count: u64, seed: u64, trust: Trust, tally: &mut Tally) {
    let mut dice = Dice::new(seed);
    let mut remains = Remains::of_nothing(trust);
    let mut done = 0;
    for (index, at) in cuts(run, count, &mut dice).into_iter().enumerate() {
        for operation in run.log.iter().take(at).skip(done) {
            remains.take(done as u64, operation);
            done += 1;
        }
        let seed = seed.wrapping_add(1000 * index as u64);
        let left = remains.cut(&mut Dice::new(seed));
        let found = rebuilt(run, at, &left, seed);
        tally.take(run, at, seed, found);
    }
}

#[test]
fn the_record_of_a_job_whose_power_goes_at_any_instant_holds_all_that_was_acknowledged() {
    let (count, seed) = (number("EVENPASS_CUTS", 100), number("EVENPASS_SEED", 60_000));
    let mut tally = Tally::default();
    for (job, own) in JOBS {
        let run = recorded(job, own);
        println!(
            "{job}: {} entries in {:.0} s, {} operations on the disk, {:.1} MB written",
            run.sent.len(),
            run.lasted().as_seconds(),
            run.log.len(),
            run.written() / 1e6,
        );
        cut(&run, count / JOBS.len() as u64, seed + own, Trust::Kept, &mut tally);
    }
    println!("{tally}");
    assert!(tally.broken.is_empty(), "seed {seed}:\n{}", tally.broken.join("\n"));
    assert_eq!(tally.lost, 0, "entries that were acknowledged and are not there");
    assert!(tally.acknowledged > 0 && tally.places > 0 && tally.made_anew > 0, "{tally}");
}

/// The harness can fail: on a disk that does not do what a sync promises, acknowledged entries are
/// lost, and it is seen.
#[test]
fn a_disk_that_breaks_its_promise_is_found_out() {
    let run = recorded("short-job", 1);
    let mut tally = Tally::default();
    cut(&run, 24, 7, Trust::Broken, &mut tally);
    println!("without syncs, of {} cuts {} broke a promise", tally.cuts, tally.broken.len());
    assert!(tally.broken.len() > 8, "{tally}");
    assert!(tally.lost > 0, "{tally}");
    assert!(matches!(rebuilt(&run, run.log.len(), &run.whole(), 1), Found::Run(_)));
}
