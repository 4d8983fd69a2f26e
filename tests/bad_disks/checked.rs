//! The disk made anew as it was left, and what the record says there.

use std::fmt;
use std::fs;
use std::path::Path;
use std::time::Duration;

use evenpass::record::{Outcome, RunRecord, Store};
use evenpass_core::ledger::Entry;
use evenpass_core::quantity::{Length, Quantity as _};
use evenpass_core::sequence::{Leaf, Phase};
use evenpass_disk::{Dice, Left};
use rusqlite::Connection;
use serde_json::Value;

use crate::job::{FILE, Recorded, begun};

/// Longest from one journalled place to the next.
const PLACE_EVERY: Duration = Duration::from_secs(1);

/// What was found on the disk.
pub(crate) enum Found {
    /// Nothing, and a file was made anew.
    Nothing,
    /// The record as it is without the run.
    WithoutTheRun,
    /// The run.
    Run(Box<RunRecord>),
    /// A promise was broken.
    Broken(String),
}

/// Makes the disk anew in a folder of its own and reads the record there, as its next user would.
pub(crate) fn rebuilt(run: &Recorded, cut: usize, left: &Left, seed: u64) -> Found {
    let folder = tempfile::tempdir().expect("temporary folder");
    let file = folder.path().join(FILE);
    for (part, bytes) in left {
        fs::write(folder.path().join(format!("{FILE}{}", part.suffix())), bytes).expect("written");
    }
    let mut dice = Dice::new(seed);
    let mark = folder.path().join(format!("{FILE}-{}.running", run.id));
    if dice.coin() {
        fs::write(&mark, "").expect("a mark that was left");
    }
    let found = read(run, cut, &file);
    if matches!(found, Found::Run(_)) && cut < run.ending && dice.below(8) == 0 {
        return match goes_on(run, &file, &mark) {
            Ok(()) => found,
            Err(why) => Found::Broken(why),
        };
    }
    found
}

fn read(run: &Recorded, cut: usize, file: &Path) -> Found {
    match Store::open(file) {
        Ok(store) => reads(run, cut, &store).unwrap_or_else(Found::Broken),
        Err(trouble) => Found::Broken(trouble.whole()),
    }
}

fn reads(run: &Recorded, cut: usize, store: &Store) -> Result<Found, String> {
    let whole = |trouble: evenpass::record::RecordError| trouble.whole();
    is_sound(store)?;
    let runs = store.runs().map_err(whole)?;
    if cut >= run.earlier_by {
        let id = store.find(run.earlier.summary.id.as_str()).map_err(whole)?;
        if store.run(&id).map_err(whole)? != run.earlier {
            return Err("the run recorded before is not what it was".to_owned());
        }
    }
    if let Some(one) = runs.iter().find(|one| one.id.as_str() == run.id) {
        return store.run(&one.id).map(|one| Found::Run(Box::new(one))).map_err(whole);
    }
    match cut >= run.begun {
        true => Err("the run was begun and is not in the record".to_owned()),
        false if runs.is_empty() => Ok(Found::Nothing),
        false => Ok(Found::WithoutTheRun),
    }
}

/// By SQLite's own check of every page and index, and by the chains through all rows.
fn is_sound(store: &Store) -> Result<(), String> {
    match store.verify(None) {
        Ok(found) if found.flaws.is_empty() => Ok(()),
        Ok(found) => {
            Err(found.flaws.iter().map(ToString::to_string).collect::<Vec<_>>().join("; "))
        }
        Err(trouble) => Err(trouble.whole()),
    }
}

/// The next run works in the same file, calls the dead one interrupted, and sweeps its mark away.
fn goes_on(run: &Recorded, file: &Path, mark: &Path) -> Result<(), String> {
    let next = begun(&run.job, &run.plan, 5, file);
    run.sent.iter().take(20).for_each(|entry| next.deliver(entry.clone()));
    let kept = next.flush();
    if kept != 20 {
        return Err(format!("the next run keeps {kept} entries of 20"));
    }
    if mark.exists() {
        return Err(format!("{} was not swept", mark.display()));
    }
    let stored: String = Connection::open(file)
        .and_then(|connection| {
            let outcome = "SELECT outcome FROM run WHERE id = ?1";
            connection.query_row(outcome, [&run.id], |row| row.get(0))
        })
        .map_err(|trouble| trouble.to_string())?;
    if stored != Outcome::Interrupted.word() {
        return Err(format!("the next run leaves the dead one {stored}"));
    }
    Ok(())
}

/// What came of all cuts.
#[derive(Debug, Default)]
pub(crate) struct Tally {
    pub(crate) cuts: u64,
    /// Entries that were acknowledged before their cut, and those of them that are not there.
    pub(crate) acknowledged: u64,
    pub(crate) lost: u64,
    /// Entries that were not acknowledged and are there all the same.
    beyond: u64,
    /// Cuts before there was anything.
    pub(crate) made_anew: u64,
    /// Cuts after the run's end.
    ended: u64,
    /// Cuts that left a place, the worst error of one, its bound, and the oldest place, s.
    pub(crate) places: u64,
    worst_mm: f64,
    worst_share: f64,
    /// The worst error of a place at which powder flowed.
    worst_sprayed_mm: f64,
    oldest_s: f64,
    pub(crate) broken: Vec<String>,
}

impl Tally {
    pub(crate) fn take(&mut self, run: &Recorded, cut: usize, seed: u64, found: Found) {
        self.cuts += 1;
        let (acknowledged, _) = run.at(cut);
        self.acknowledged += acknowledged;
        let told = match found {
            Found::Nothing => {
                self.made_anew += 1;
                Ok(())
            }
            Found::WithoutTheRun => Ok(()),
            Found::Run(found) => self.judge(run, cut, &found),
            Found::Broken(why) => {
                self.lost += acknowledged;
                Err(why)
            }
        };
        if let Err(why) = told {
            self.broken.push(format!("{} cut at operation {cut}, seed {seed}: {why}", run.id));
        }
    }

    /// Holds a run that was found against what was sent.
    fn judge(&mut self, run: &Recorded, cut: usize, found: &RunRecord) -> Result<(), String> {
        let (acknowledged, now) = run.at(cut);
        let there = found.entries.len() as u64;
        self.lost += acknowledged.saturating_sub(there);
        self.beyond += there.saturating_sub(acknowledged);
        if there < acknowledged {
            return Err(format!("{acknowledged} entries were acknowledged, {there} are there"));
        }
        if there > now.map_or(0, |step| step.sent) {
            return Err("an entry is there that was not sent".to_owned());
        }
        if let Some((one, sent)) =
            found.entries.iter().zip(&run.sent).find(|(one, sent)| one != sent)
        {
            return Err(format!("entry {} is not as entry {} was sent", one.number, sent.number));
        }
        if !found.gaps.is_empty() {
            return Err(format!("gaps: {:?}", found.gaps));
        }
        let outcome = found.summary.outcome;
        self.ended += u64::from(outcome == Outcome::Complete);
        let may_be = match cut {
            cut if cut >= run.ended => [Outcome::Complete; 2],
            cut if cut >= run.ending => [Outcome::Complete, Outcome::Interrupted],
            _ => [Outcome::Interrupted; 2],
        };
        if !may_be.contains(&outcome) {
            return Err(format!("the run reads as {}", outcome.word()));
        }
        self.place(run, cut, &found.entries)
    }

    /// Holds the last place in the record against the true one: no further than the fastest travel
    /// goes between two journalled places, lost motion aside.
    fn place(&mut self, run: &Recorded, cut: usize, entries: &[Entry]) -> Result<(), String> {
        let (_, Some(now)) = run.at(cut) else { return Ok(()) };
        let Some((at, z, powder)) = entries.iter().rev().find_map(|entry| {
            let z = Length::parse(entry.data.get("z")?.as_str()?).ok()?;
            Some((entry.at, z.mm(), entry.data.get("powder") == Some(&Value::Bool(true))))
        }) else {
            return Ok(());
        };
        let axis = &run.job.rig.axis;
        let fastest = axis.positioning.mm_per_s().max(axis.homing.mm_per_s());
        let bound = fastest * PLACE_EVERY.as_secs_f64() + axis.backlash.mm();
        let error = (now.torch_mm - z).abs();
        self.places += 1;
        self.worst_mm = self.worst_mm.max(error);
        self.worst_share = self.worst_share.max(error / bound);
        if powder {
            self.worst_sprayed_mm = self.worst_sprayed_mm.max(error);
        }
        // A machine at rest is not sampled: nothing moves.
        let age = if is_at_rest(entries) { Duration::ZERO } else { now.at.since(at) };
        self.oldest_s = self.oldest_s.max(age.as_secs_f64());
        if error > bound {
            return Err(format!(
                "the torch is {error:.1} mm from its last place, bound {bound:.1}"
            ));
        }
        if age > PLACE_EVERY && cut < run.ending {
            return Err(format!("the last place is {age:?} old"));
        }
        Ok(())
    }
}

/// Whether the last state that is told of is one of rest.
fn is_at_rest(entries: &[Entry]) -> bool {
    let to = entries.iter().rev().find_map(|entry| entry.data.get("to")?.as_str());
    let leaf = Leaf::ALL.iter().find(|leaf| Some(leaf.name()) == to);
    leaf.is_some_and(|leaf| matches!(leaf.phase(), Phase::Idle | Phase::Complete | Phase::Stopped))
}

impl fmt::Display for Tally {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(
            f,
            "{} power cuts, {} before there was a file, {} after the end; {} entries acknowledged \
             before their cut, {} of them lost; {} more were there; {} places, the worst {:.2} mm \
             off, {:.0} % of its bound, with powder {:.2} mm, the oldest {:.2} s; {} promises broken",
            self.cuts,
            self.made_anew,
            self.ended,
            self.acknowledged,
            self.lost,
            self.beyond,
            self.places,
            self.worst_mm,
            100.0 * self.worst_share,
            self.worst_sprayed_mm,
            self.oldest_s,
            self.broken.len()
        )
    }
}
