//! The shift's report, as values: what was made, what became of it, what was used and by whom.

use std::collections::{BTreeMap, BTreeSet};

use evenpass_core::batch::{Course, Fate, Tally, drifts, tally};
use evenpass_core::catalogue::Catalogue;
use evenpass_core::quantity::{Mass, Quantity, Time, Volume};
use jiff::Timestamp;
use serde::Serialize;

use super::gas::OXYGEN;
use super::line::{Decision, PartLine, Settled, found};
use super::standing::{fate_of, is_good, is_inspected, order, stands, to_be_measured};
use super::used::Gathering;
use crate::record::{
    Batch, BatchId, BatchPart, LastLinks, Mark, MarkRecord, MeasurementRecord, Of, RecordError,
    RunId, RunKind, Said, Store,
};

/// A batch in a report.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct BatchLine {
    /// Its name.
    pub id: BatchId,
    /// Its recipe's name.
    pub recipe: String,
    /// Its rig's title.
    pub rig: String,
    /// Who made it.
    pub person: String,
    /// What was told of it, by name.
    pub particulars: BTreeMap<String, String>,
    /// How it stands.
    pub tally: Tally,
}

/// Something that a person told.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ToldLine {
    /// When.
    pub at: Timestamp,
    /// Who.
    pub person: String,
    /// What, in words.
    pub words: String,
}

/// Good, hold and scrap, and what they took.
#[derive(Debug, Clone, Default, PartialEq, Serialize)]
pub struct Sums {
    /// Parts that passed.
    pub passed: usize,
    /// Parts that came to their end, and nobody has decided.
    pub undecided: usize,
    /// Parts on hold, and those broken off.
    pub hold: usize,
    /// Parts scrapped.
    pub scrapped: usize,
    /// Attempts that left the part bare.
    pub bare: usize,
    /// Powder, all attempts together.
    pub powder: Mass,
    /// Fuel, all attempts together.
    pub fuel: Volume,
    /// Oxygen, all attempts together.
    pub oxygen: Volume,
    /// Parts of which nobody knows what powder they took: it is not in the sum.
    pub powder_not_known: Vec<u32>,
    /// The same of their gas.
    pub gas_not_known: Vec<u32>,
    /// Mean takt.
    pub takt: Option<Time>,
    /// Powder of a whole part on the average.
    pub powder_per_part: Option<Mass>,
    /// Fuel of a whole part on the average.
    pub fuel_per_part: Option<Volume>,
    /// Oxygen of a whole part on the average.
    pub oxygen_per_part: Option<Volume>,
}

/// A shift.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Shift {
    /// Where its parts were made.
    pub kind: RunKind,
    /// Its batches.
    pub batches: Vec<BatchLine>,
    /// Its parts, in the order they were begun; one that was made again has a line for each time.
    pub parts: Vec<PartLine>,
    /// What people told meanwhile.
    pub told: Vec<ToldLine>,
    /// Who was at work, each once.
    pub people: BTreeSet<String>,
    /// The sums.
    pub sums: Sums,
    /// What came last in the records when the report was made; `None` of a rehearsal that is not kept.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub last_links: Option<LastLinks>,
}

/// Which parts are asked for.
#[derive(Debug, Clone, Copy)]
pub struct Asked<'a> {
    /// Of these batches.
    pub batches: &'a [Batch],
    /// Made so; a rehearsal is a report of its own.
    pub kind: RunKind,
    /// Begun not before that.
    pub since: Option<Timestamp>,
    /// Begun before that.
    pub until: Option<Timestamp>,
}

impl Asked<'_> {
    fn holds(&self, at: Timestamp) -> bool {
        self.since.is_none_or(|since| at >= since) && self.until.is_none_or(|until| at < until)
    }
}

impl Shift {
    /// As the records say.
    ///
    /// # Errors
    /// The records cannot be read.
    pub fn of(store: &Store, asked: Asked<'_>, catalogue: &Catalogue) -> Result<Self, RecordError> {
        let measurements = store.measurements()?;
        let (mut batches, mut parts, mut told) = (Vec::new(), Vec::new(), Vec::new());
        for batch in asked.batches {
            let marks = store.marks(Of::Batch(&batch.id))?;
            let said: Vec<&MarkRecord> = marks
                .iter()
                .filter(|kept| kept.taken_back_by.is_none() && kept.mark.kind == asked.kind)
                .collect();
            let reader = Reader { store, batch, said: &said, measurements: &measurements };
            let lines = reader.parts(asked.kind, catalogue)?;
            batches.push(batch_line(batch, &lines));
            parts.extend(lines.into_iter().filter(|line| asked.holds(line.started_at)));
            // What was said of a part stands with it.
            let told_of =
                |kept: &&&MarkRecord| kept.mark.run.is_none() && asked.holds(kept.mark.at);
            told.extend(said.iter().filter(told_of).map(|kept| told_line(kept)));
        }
        let shift = Self::from_lines(asked.kind, batches, parts, told);
        Ok(Self { last_links: Some(store.last_links()?), ..shift })
    }

    /// Of lines that are there already: those of a rehearsal that is not kept.
    #[must_use]
    pub fn from_lines(
        kind: RunKind,
        batches: Vec<BatchLine>,
        mut parts: Vec<PartLine>,
        mut told: Vec<ToldLine>,
    ) -> Self {
        parts.sort_by_key(|line| line.started_at);
        told.sort_by_key(|line| line.at);
        let starts: Vec<Timestamp> = parts.iter().map(|line| line.started_at).collect();
        for (line, before) in parts.iter_mut().skip(1).zip(starts) {
            let takt = line.started_at.duration_since(before).unsigned_abs();
            line.takt = Some(Time::from_duration(takt));
        }
        let measured = parts.iter().flat_map(|line| &line.found).map(|found| &found.person);
        let decided = parts.iter().filter_map(|line| Some(&line.decided.as_ref()?.person));
        let settled = parts.iter().filter_map(|line| Some(&line.settled.as_ref()?.person));
        let started = parts.iter().filter_map(|line| line.person.as_ref());
        let deviated = parts.iter().flat_map(|line| &line.deviations);
        let people = told
            .iter()
            .map(|line| &line.person)
            .chain(measured)
            .chain(decided)
            .chain(settled)
            .chain(started)
            .chain(deviated.filter_map(|deviation| deviation.person.as_ref()))
            .cloned()
            .collect();
        let sums = Sums::of(&parts);
        Self { kind, batches, parts, told, people, sums, last_links: None }
    }
}

/// A batch with its tally by its lines.
#[must_use]
pub fn batch_line(batch: &Batch, lines: &[PartLine]) -> BatchLine {
    let attempts: Vec<_> = lines
        .iter()
        .map(|line| evenpass_core::batch::Attempt { number: line.number, fate: line.fate })
        .collect();
    BatchLine {
        id: batch.id.clone(),
        recipe: batch.recipe.name.clone(),
        rig: batch.rig.clone(),
        person: batch.person.clone(),
        particulars: batch.ordered.particulars.clone(),
        tally: tally(&order(batch), &attempts),
    }
}

/// Reads one batch.
struct Reader<'a> {
    store: &'a Store,
    batch: &'a Batch,
    said: &'a [&'a MarkRecord],
    measurements: &'a [MeasurementRecord],
}

impl Reader<'_> {
    fn parts(&self, kind: RunKind, catalogue: &Catalogue) -> Result<Vec<PartLine>, RecordError> {
        let mut lines: Vec<PartLine> = Vec::new();
        let mut first_good: Option<Course> = None;
        let used = self.store.runs_used(kind)?;
        for part in self.store.batch_parts(&self.batch.id)? {
            let Some(used) = used.iter().find(|used| used.run == part.run) else { continue };
            let mut line = self.line(&part, catalogue)?;
            line.powder = used.powder;
            line.gas = used.fuel.zip(used.oxygen);
            let own = lines.iter().filter(|line| line.number == part.number);
            line.attempt = own.count() + 1;
            match &first_good {
                _ if !line.is_whole => {}
                Some(first) => line.drifts = drifts(first, &line.course),
                None if is_good(line.fate) => first_good = Some(line.course),
                None => {}
            }
            lines.push(line);
        }
        Ok(lines)
    }

    fn line(&self, part: &BatchPart, catalogue: &Catalogue) -> Result<PartLine, RecordError> {
        let record = self.store.run(&part.run)?;
        let run = &record.summary;
        let decided = stands(self.store, self.said, &part.run)?;
        Ok(PartLine {
            batch: self.batch.id.clone(),
            number: part.number,
            attempt: 1,
            serial: part.serial.clone(),
            run: Some(part.run.clone()),
            started_at: run.started_at,
            ended_at: run.ended_at,
            takt: None,
            outcome: run.outcome,
            is_whole: run.is_whole(),
            fate: fate_of(self.store, self.said, run)?,
            decided: decided.map(|(verdict, kept)| Decision {
                verdict,
                reason: reason(&kept.mark.said),
                person: kept.mark.person.clone(),
            }),
            settled: settled(self.said, &part.run),
            first_cause: run.first_cause.clone(),
            passes_done: run.passes_done,
            passes_planned: run.passes_planned,
            course: Gathering::of(&record.entries).course(),
            powder: None,
            gas: None,
            to_be_measured: to_be_measured(&record.particulars, &order(self.batch), part.number),
            found: found(self.store, &part.run, self.measurements, catalogue)?,
            inspected: is_inspected(self.said, &part.run),
            drifts: Vec::new(),
            deviations: record.deviations.clone(),
            person: ["started by", "operator"]
                .iter()
                .find_map(|name| record.particulars.get(*name))
                .cloned(),
        })
    }
}

fn settled(said: &[&MarkRecord], run: &RunId) -> Option<Settled> {
    said.iter().rev().filter(|kept| kept.mark.run.as_ref() == Some(run)).find_map(|kept| {
        let Said::Settled { choice, reason, .. } = &kept.mark.said else { return None };
        let (reason, person) = (reason.clone(), kept.mark.person.clone());
        Some(Settled { choice: *choice, reason, person })
    })
}

fn reason(said: &Said) -> String {
    match said {
        Said::Decided { reason, .. } => reason.clone(),
        _ => String::new(),
    }
}

impl Sums {
    fn of(parts: &[PartLine]) -> Self {
        let mut sums = Self::default();
        for line in parts {
            match line.fate {
                Fate::Pass => sums.passed += 1,
                Fate::Made => sums.undecided += 1,
                Fate::Hold | Fate::BrokenOff => sums.hold += 1,
                Fate::Scrap => sums.scrapped += 1,
                Fate::Bare => sums.bare += 1,
                Fate::Running | Fate::Stripped => {}
            }
            if line.fate != Fate::Bare {
                sums.powder_not_known.extend(line.powder.is_none().then_some(line.number));
                sums.gas_not_known.extend(line.gas.is_none().then_some(line.number));
            }
            sums.powder += line.powder.unwrap_or(Mass::ZERO);
            let (fuel, oxygen) = line.gas.unwrap_or((Volume::ZERO, Volume::ZERO));
            sums.fuel += fuel;
            sums.oxygen += oxygen;
        }
        // Of what was broken off, and of its rest, nobody learns what a part takes.
        let whole = || parts.iter().filter(|line| line.is_whole);
        sums.takt = mean(parts.iter().filter_map(|line| line.takt));
        sums.powder_per_part = mean(whole().filter_map(|line| line.powder));
        sums.fuel_per_part = mean(whole().filter_map(|line| Some(line.gas?.0)));
        sums.oxygen_per_part = mean(whole().filter_map(|line| Some(line.gas?.1)));
        sums
    }
}

fn mean<Q: Quantity>(all: impl Iterator<Item = Q>) -> Option<Q> {
    let (mut sum, mut count) = (0.0, 0.0);
    for one in all {
        sum += one.base();
        count += 1.0;
    }
    (count > 0.0).then(|| Q::from_base(sum / count))
}

fn told_line(kept: &MarkRecord) -> ToldLine {
    let Mark { at, person, said, .. } = &kept.mark;
    ToldLine { at: *at, person: person.clone(), words: words(said) }
}

/// What was told, in words.
#[must_use]
pub fn words(said: &Said) -> String {
    match said {
        Said::Lot { of, lot, certificate, contents } => {
            let of = if of == OXYGEN { "oxygen" } else { of };
            let certificate =
                certificate.as_ref().map_or_else(String::new, |one| format!(", certificate {one}"));
            let contents =
                contents.map_or_else(String::new, |contents| format!(", {contents:.0} in it"));
            format!("lot {lot} of {of}{certificate}{contents}")
        }
        Said::Refilled { holds } => format!("hopper refilled, it holds {holds}"),
        Said::TipCleaned { torch, burned } => {
            let after = burned.map_or_else(String::new, |burned| {
                format!(", after {} of flame", super::before::minutes(burned))
            });
            format!("tip of {torch} cleaned{after}")
        }
        Said::Blasted { parts, .. } => format!("blasted: {}", numbers(parts)),
        Said::TakenBack { mark, reason } => format!("number {mark} taken back: {reason}"),
        other => other.word().replace('_', " "),
    }
}

/// "parts 1 to 8, 12": numbers in their order, neighbours together.
#[must_use]
pub fn numbers(parts: &[u32]) -> String {
    let mut sorted = parts.to_vec();
    sorted.sort_unstable();
    sorted.dedup();
    let mut ranges: Vec<(u32, u32)> = Vec::new();
    for number in sorted {
        match ranges.last_mut() {
            Some((_, last)) if *last + 1 == number => *last = number,
            _ => ranges.push((number, number)),
        }
    }
    let words: Vec<String> = ranges
        .iter()
        .map(|&(first, last)| match last - first {
            0 => first.to_string(),
            1 => format!("{first}, {last}"),
            _ => format!("{first} to {last}"),
        })
        .collect();
    let one = ranges.len() == 1 && ranges.iter().all(|(first, last)| first == last);
    format!("{} {}", if one { "part" } else { "parts" }, words.join(", "))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_of_parts_are_told_in_ranges() {
        for (parts, told) in
            [(vec![7], "part 7"), (vec![1, 2], "parts 1, 2"), (vec![3, 1, 2, 9], "parts 1 to 3, 9")]
        {
            assert_eq!(numbers(&parts), told);
        }
    }
}
