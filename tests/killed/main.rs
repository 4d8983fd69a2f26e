//! The program is killed (`kill -9`) at any instant of a job, and its record holds what it
//! promised: real processes, in wall time, one after another at the same records.
//!
//! What a process promised is what it said itself before it died: with `EVENPASS_LOG=debug` it says
//! each commit. After every kill the record opens, the run reads as interrupted, every entry that
//! was said to be on the disk is there without a gap, nothing that was recorded before is changed,
//! and the next process works in the same file, settles the dead run and sweeps its mark away. How
//! the machine fares is another matter: `tests/process_faults`.
//!
//! Thirty kills by default; `EVENPASS_KILLS` sets how many, `EVENPASS_SEED` draws other instants.

#![allow(
    clippy::print_stdout,
    clippy::panic,
    clippy::expect_used,
    reason = "a test prints its figures, and fails where it cannot go on"
)]

mod process;

use std::collections::BTreeMap;
use std::path::Path;
use std::time::Duration;

use evenpass::record::{Outcome, RunRecord, Store};
use evenpass_core::sequence::Leaf;

use process::{Killed, complete, killed};

/// Kills at one records file: what was recorded before is read whole after each.
const AT_ONE_FILE: u64 = 25;
/// The latest that a process is killed, which is when its job would end of itself.
const LATEST: Duration = Duration::from_millis(2400);

fn number(name: &str, usual: u64) -> u64 {
    std::env::var(name).map_or(usual, |text| {
        text.parse().unwrap_or_else(|_| panic!("{name} is \"{text}\", no whole number"))
    })
}

/// What came of all kills.
#[derive(Debug, Default)]
struct Tally {
    kills: u64,
    /// Kills before there was a run, and after its end.
    before: u64,
    ended: u64,
    acknowledged: u64,
    there: u64,
    lost: u64,
    broken: Vec<String>,
}

#[test]
fn whatever_a_killed_program_said_was_recorded_is_and_the_next_one_goes_on() {
    let (kills, seed) = (number("EVENPASS_KILLS", 6), number("EVENPASS_SEED", 70_000));
    let mut dice = fastrand::Rng::with_seed(seed);
    let mut tally = Tally::default();
    while tally.kills < kills {
        let folder = tempfile::tempdir().expect("temporary folder");
        let file = folder.path().join("records.sqlite");
        let mut known = BTreeMap::new();
        for _ in 0..AT_ONE_FILE.min(kills - tally.kills) {
            let after = LATEST.mul_f64(dice.f64());
            let told = killed(&file, after);
            tally.kills += 1;
            if let Err(why) = tally.judge(&file, &told, &mut known) {
                tally.broken.push(format!("kill {} after {after:?}: {why}", tally.kills));
            }
        }
        complete(&file);
        let store = Store::open_existing(&file).expect("open");
        let last = store.runs().expect("list").pop().expect("the last run");
        assert_eq!(last.outcome, Outcome::Complete, "the file is as good as any");
        let left = marks(folder.path());
        if left > 0 {
            tally.broken.push(format!("after kill {}: {left} marks of the dead stay", tally.kills));
        }
    }
    println!(
        "{} kills, {} before there was a run, {} after its end; {} entries acknowledged, {} there, \
         {} of them lost; {} promises broken",
        tally.kills,
        tally.before,
        tally.ended,
        tally.acknowledged,
        tally.there,
        tally.lost,
        tally.broken.len()
    );
    assert!(tally.broken.is_empty(), "seed {seed}:\n{}", tally.broken.join("\n"));
    assert_eq!(tally.lost, 0);
    assert!(tally.acknowledged > 0, "no process lived long enough to promise anything");
}

/// Whether the last state that a run tells of is that of a job that is done.
fn came_to_its_end(run: &RunRecord) -> bool {
    let to = run.entries.iter().rev().find_map(|entry| entry.data.get("to")?.as_str());
    to == Some(Leaf::Complete.name())
}

/// Marks of processes that write.
fn marks(folder: &Path) -> usize {
    let files = std::fs::read_dir(folder).expect("folder").filter_map(Result::ok);
    files.filter(|file| file.file_name().to_string_lossy().ends_with(".running")).count()
}

impl Tally {
    /// Holds what is in the record against what the dead process said and what was there before.
    fn judge(
        &mut self,
        file: &Path,
        told: &Killed,
        known: &mut BTreeMap<String, usize>,
    ) -> Result<(), String> {
        let store = match Store::open_existing(file) {
            Ok(store) => store,
            Err(_) if known.is_empty() && told.run.is_none() => {
                self.before += 1;
                return Ok(());
            }
            Err(trouble) => return Err(trouble.whole()),
        };
        let read = || -> Result<_, evenpass::record::RecordError> {
            let flaws = store.verify(None)?.flaws;
            let runs = store.runs()?;
            let all = runs.iter().map(|run| store.run(&run.id));
            Ok((flaws, all.collect::<Result<Vec<_>, _>>()?))
        };
        let (flaws, runs) = read().map_err(|trouble| trouble.whole())?;
        if let Some(flaw) = flaws.first() {
            return Err(flaw.to_string());
        }
        let mut new = None;
        for run in &runs {
            let id = run.summary.id.to_string();
            let count = run.entries.len();
            match known.insert(id.clone(), count) {
                Some(before) if before != count => {
                    return Err(format!("run {id} had {before} entries and has {count}"));
                }
                Some(_) => {}
                None => new = Some(run),
            }
            if let Some(gap) = run.gaps.first() {
                return Err(format!("run {id} misses entries {} to {}", gap.first, gap.last));
            }
        }
        let Some(run) = new else {
            self.before += 1;
            return match &told.run {
                Some(id) => Err(format!("run {id} was said to be on the disk and is not there")),
                None => Ok(()),
            };
        };
        let there = run.entries.last().map_or(0, |entry| entry.number);
        self.acknowledged += told.committed;
        self.there += there;
        self.lost += told.committed.saturating_sub(there);
        match run.summary.outcome {
            Outcome::Interrupted => {}
            Outcome::Complete if came_to_its_end(run) => self.ended += 1,
            other => return Err(format!("the run reads as {}", other.word())),
        }
        match told.committed > there {
            true => Err(format!("up to {} acknowledged, up to {there} there", told.committed)),
            false => Ok(()),
        }
    }
}
