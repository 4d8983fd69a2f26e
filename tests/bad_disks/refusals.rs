//! The disk refuses in the middle of a job.
//!
//! Whether it is full, read-only, or does not write or sync for another reason: the job goes on to
//! its end, what is wrong is said in a sentence that names the file and what to do, nothing is
//! called acknowledged that is not on the disk, and what waited is written once it takes again.

use evenpass::attendant::{Attended, End};
use evenpass::clock::virtual_time::Unwitnessed;
use evenpass::keeping::Ended;
use evenpass::record::{Outcome, RunRecord, Store};
use evenpass::twin_job::TwinJob;
use evenpass_core::ledger::Entry;
use evenpass_disk::{Dice, Disk, Refusal, Syncs};

use crate::job::{FILE, TOGETHER, begun, planned};

/// Jobs for each way to refuse; arbitrary.
const SEEDS: u64 = 5;

/// What a person reads.
fn sentence(refusal: Refusal, file: &str) -> String {
    match refusal {
        Refusal::Full => format!(
            "disk full: records file {file} cannot grow; free some space, then what is waiting is \
             written by itself"
        ),
        Refusal::ReadOnly => format!(
            "records file {file} is read-only; give this user the right to write it, or name \
             another file with --records FILE"
        ),
        Refusal::WriteFails | Refusal::SyncFails => format!(
            "records file {file} cannot be used: its disk does not read or write; look after the \
             disk, and keep a copy of the file"
        ),
    }
}

#[test]
fn a_job_goes_on_when_the_disk_refuses_and_what_waited_is_written_when_it_takes_again() {
    for refusal in Refusal::ALL {
        for seed in 0..SEEDS {
            let (waited, refused) = refuses(refusal, seed);
            println!("{refusal:?}, seed {seed}: refused {refused} times, {waited} entries waited");
        }
    }
}

/// Runs the short job on a disk that refuses from some write of it on and takes again after its
/// end; answers how many entries waited, and how often the disk refused.
fn refuses(refusal: Refusal, seed: u64) -> (u64, u64) {
    let folder = tempfile::tempdir().expect("temporary folder");
    let file = folder.path().join(FILE);
    let disk = Disk::under(&file, Syncs::WrittenDown).expect("a disk");
    let (job, plan) = planned("short-job");
    let mut twin = TwinJob::new(&job, &plan, seed, Attended::No, Unwitnessed).expect("a twin");
    let keeping = begun(&job, &plan, seed, &file);
    let id = keeping.id();
    let read = || -> RunRecord {
        Store::open_existing(&file).and_then(|store| store.run(&id)).expect("a reader beside it")
    };
    // Some 600 syncs and 900 writes are made of it.
    disk.refuse(refusal, Dice::new(seed).below(400));
    let mut sent = Vec::<Entry>::new();
    let (mut acknowledged, mut told) = (0, None);
    let end = loop {
        let end = twin.run_until(twin.now() + TOGETHER, &mut |entry| {
            sent.push(entry.clone());
            keeping.deliver(entry);
        });
        if told.is_none() {
            acknowledged = keeping.flush();
            told = keeping.trouble();
        }
        if let Some(end) = end {
            break end;
        }
    };
    assert_eq!(end, End::Complete, "{refusal:?}, seed {seed}");
    assert_eq!(told, Some(sentence(refusal, &file.display().to_string())), "seed {seed}");
    assert_eq!(keeping.flush(), acknowledged, "nothing more is acknowledged");
    let there = read().entries;
    assert!(there.len() as u64 >= acknowledged, "{refusal:?}, seed {seed}");
    assert!(there.iter().eq(sent.iter().take(there.len())), "{refusal:?}, seed {seed}");
    let refused = disk.refused();
    disk.take_again();
    assert_eq!(keeping.flush(), sent.len() as u64, "what waited is written");
    assert_eq!(keeping.trouble(), None);
    keeping
        .finish(&Ended { end, first_cause: None, zones: &[], powder_fed_g: None })
        .expect("finish");
    let record = read();
    assert_eq!((record.summary.outcome, record.lost), (Outcome::Complete, Some(0)));
    assert_eq!(record.gaps, []);
    assert!(record.entries == sent, "{refusal:?}, seed {seed}");
    (sent.len() as u64 - acknowledged, refused)
}
