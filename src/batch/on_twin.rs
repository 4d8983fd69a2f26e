//! Parts of a batch made one after another on the twin in virtual time, each with its checks before.
//! The shift's clock is the twin's: it begins when it is told to, and goes as fast as the twin's time.

use std::path::Path;
use std::time::Duration;

use evenpass_core::batch::{Course, Drift, Fate, WhyMeasured, drifts};
use evenpass_core::ledger::Entry;
use evenpass_core::moment::Moment;
use evenpass_core::plan::Plan;
use evenpass_core::quantity::{Mass, Volume};
use jiff::Timestamp;

use super::before::{Before, Need, Surface, Weight};
use super::line::PartLine;
use super::shift::{ToldLine, words};
use super::standing::{Ended, Standing};
use super::used::Gathering;
use crate::attendant::{Attended, End, ended, first_cause};
use crate::clock::virtual_time::Unwitnessed;
use crate::comparison;
use crate::files::Job;
use crate::keeping::{self, Begin, Keeping, OfBatch};
use crate::particulars::{BLASTED_AT, LOT_OF, OPERATOR};
use crate::record::facts::passes;
use crate::record::{
    Batch, Mark, NOT_MEASURED, Outcome, RecordError, RunKind, Said, Store, TO_BE_MEASURED,
};
use crate::twin_job::TwinJob;

/// The longest part: two days of virtual time.
const LONGEST: Moment = Moment::from_micros(172_800_000_000);
/// What a full hopper of the twin holds (the bench's own).
const FULL: Mass = Mass::from_g(2000.0);
/// What a full bottle of either gas holds for the twin (arbitrary: two of 8 m3).
const FULL_BOTTLES: Volume = Volume::from_l(16_000.0);
/// By which name the twin's hands stand in the record.
pub const HANDS: &str = "the twin's hands";

/// Where parts are kept as they are made.
#[derive(Debug, Clone, Copy)]
pub struct Kept<'a> {
    /// The records file.
    pub records: &'a Path,
    /// As what.
    pub kind: RunKind,
}

/// What is made, and how.
#[derive(Debug, Clone, Copy)]
pub struct Setup<'a> {
    /// The batch.
    pub batch: &'a Batch,
    /// Its job.
    pub job: &'a Job,
    /// Its plan.
    pub plan: &'a Plan,
    /// Seed of the first part's randomness; each part after it has the next one.
    pub seed: u64,
    /// How long people need from the end of a part to the start of the next.
    pub between: Duration,
    /// Where it is kept; `None` to keep nothing.
    pub kept: Option<Kept<'a>>,
}

/// What happens to the twin while a part is made, besides the job itself.
pub type Meddling<'a> = &'a mut dyn FnMut(&mut TwinJob<Unwitnessed>, &mut dyn FnMut(Entry));

/// Parts made on the twin.
pub struct OnTwin<'a> {
    setup: Setup<'a>,
    standing: Standing,
    clock: Timestamp,
    parts: u64,
}

impl<'a> OnTwin<'a> {
    /// Begins with an order as it stands, at a time of the shift's clock.
    #[must_use]
    pub const fn new(setup: Setup<'a>, standing: Standing, begins: Timestamp) -> Self {
        Self { setup, standing, clock: begins, parts: 0 }
    }

    /// The shift's clock.
    #[must_use]
    pub const fn now(&self) -> Timestamp {
        self.clock
    }

    /// The order as it stands.
    #[must_use]
    pub const fn standing(&self) -> &Standing {
        &self.standing
    }

    /// Reads the order anew, after people have added to its records.
    ///
    /// # Errors
    /// The records cannot be read.
    pub fn read_anew(&mut self) -> Result<(), RecordError> {
        let Some(kept) = self.setup.kept else { return Ok(()) };
        let store = Store::open_existing(kept.records)?;
        let Setup { batch, job, plan, .. } = self.setup;
        self.standing = Standing::of(&store, batch, kept.kind, job, plan)?;
        Ok(())
    }

    /// The next part with what it needs first; `None` when all are made.
    #[must_use]
    pub fn before_next(&self) -> Option<Before> {
        Before::next(&self.standing, self.clock)
    }

    /// The twin's hands do what is needed before a part, and tell it.
    ///
    /// # Errors
    /// What they told cannot be kept.
    pub fn see_to(&mut self, before: &Before) -> Result<Vec<ToldLine>, String> {
        let mut told = Vec::new();
        for need in &before.needs {
            let said = match need {
                // A surface that still may be sprayed is.
                Need::Blast { .. } if need.weight() == Weight::Told => continue,
                Need::HopperNotTold | Need::Powder { .. } => Said::Refilled { holds: FULL },
                Need::Gas { of, .. } => Said::Lot {
                    of: of.clone(),
                    lot: "of the twin".to_owned(),
                    certificate: None,
                    contents: Some(FULL_BOTTLES),
                },
                Need::Blast { .. } => Said::Blasted { parts: self.to_blast(), ended: self.clock },
                Need::CleanTip { tip } => Said::TipCleaned {
                    torch: self.standing.torch.clone(),
                    burned: Some(tip.burned),
                },
                Need::PartIsMade { .. } | Need::PartOutlastsTip { .. } | Need::Measure { .. } => {
                    continue;
                }
            };
            told.push(self.tell(HANDS, said)?);
        }
        Ok(told)
    }

    /// The parts that are blasted together: as many as can be made before a surface is old.
    fn to_blast(&self) -> Vec<u32> {
        let takt = self.setup.plan.forecast.total.to_duration() + self.setup.between;
        let fresh = self.standing.blast_limits.warn.to_duration();
        let queue = self.standing.tally().queue;
        let in_time = (0_u32..).zip(&queue).take_while(|(place, _)| takt * *place < fresh);
        in_time.map(|(_, queued)| queued.number).collect()
    }

    /// Somebody tells something of the batch.
    ///
    /// # Errors
    /// It cannot be kept.
    pub fn tell(&mut self, person: &str, said: Said) -> Result<ToldLine, String> {
        if let Some(kept) = self.setup.kept {
            let batch = self.setup.batch;
            let mark = Mark {
                at: self.clock,
                person: person.to_owned(),
                rig: batch.rig.clone(),
                kind: kept.kind,
                run: None,
                batch: Some(batch.id.clone()),
                said: said.clone(),
            };
            Store::open_existing(kept.records)
                .and_then(|mut store| store.keep_mark(&mark))
                .map_err(|problem| problem.whole())?;
        }
        self.standing.hear(&said);
        Ok(ToldLine { at: self.clock, person: person.to_owned(), words: words(&said) })
    }

    /// Makes the next part from power-up to its end.
    ///
    /// # Errors
    /// Something of what it needs first is not done, the twin cannot make it, or it cannot be kept.
    pub fn make(
        &mut self,
        before: &Before,
        person: &str,
        meddling: Meddling<'_>,
    ) -> Result<PartLine, String> {
        if let Some(need) = before.stopped_by(Surface::AsTheOrderWants).next() {
            return Err(format!("{}: {need}", before.title()));
        }
        let Setup { job, plan, .. } = self.setup;
        let started_at = self.clock;
        let part = of_batch(self.setup.batch, before, &self.standing, Some(person));
        let seed = self.setup.seed + self.parts;
        let keeping = match self.setup.kept {
            Some(kept) => {
                let begin = Begin {
                    part: Some(&part),
                    virtually_at: Some(started_at),
                    ..Begin::fresh(kept.kind, Some(seed), Some(kept.records))
                };
                Some(Keeping::begin(job, plan, &begin)?)
            }
            None => None,
        };
        let run = keeping.as_ref().map(Keeping::id);
        let mut twin = TwinJob::new(job, plan, seed, Attended::No, Unwitnessed)?;
        if let Some(holds) = self.standing.hopper {
            twin.bench().fill_hopper(holds.g());
        }
        let mut entries = Vec::new();
        let mut keep = |entry: Entry| {
            if let Some(keeping) = &keeping {
                keeping.deliver(entry.clone());
            }
            entries.push(entry);
        };
        meddling(&mut twin, &mut keep);
        let end = twin.run_until(LONGEST, &mut keep).unwrap_or(End::Held);
        let end = ended(end, &entries);
        let first_cause = first_cause(end, &twin.snapshot(), &entries);
        let powder = twin.bench().truth().powder_fed_g;
        if let Some(keeping) = keeping {
            let zones = comparison::zones(plan, twin.bench());
            keeping.finish(&keeping::Ended {
                end,
                first_cause: first_cause.clone(),
                zones: &zones,
                powder_fed_g: Some(powder),
            })?;
        }
        self.parts += 1;
        let used = Gathering::of(&entries);
        let lasted = twin.now() - Moment::START;
        let ended_at = after(started_at, lasted);
        self.clock = after(ended_at, self.setup.between);
        let fate = fate(end, &used);
        let course = used.course();
        let first = self.standing.first_good;
        let gas = used.gas(self.standing.flow());
        let number = before.part.number;
        let powder = Mass::from_g(powder);
        let to_be_measured = before.measured;
        self.standing.take(&Ended { number, fate, ended_at, powder, used, to_be_measured });
        let rows = passes(&entries);
        let done = rows.iter().filter(|row| row.ended.is_some()).count();
        Ok(PartLine {
            batch: self.setup.batch.id.clone(),
            number,
            serial: before.serial.clone(),
            run,
            started_at,
            ended_at: Some(ended_at),
            takt: None,
            attempt: before.part.scrapped_before + 1,
            outcome: outcome(end),
            is_whole: end == End::Complete,
            fate,
            decided: None,
            settled: None,
            first_cause,
            passes_done: u32::try_from(done).unwrap_or(u32::MAX),
            passes_planned: Some(plan.forecast.zones.iter().map(|zone| zone.passes.planned).sum()),
            course,
            powder: Some(powder),
            gas: Some((gas.fuel(), gas.oxygen)),
            to_be_measured: before.measured,
            found: Vec::new(),
            inspected: false,
            drifts: drifted(first, end, &course),
            deviations: part.deviations,
            person: Some(person.to_owned()),
        })
    }
}

/// What stands in the record of a part of a batch, and of who makes it where that is known.
#[must_use]
pub fn of_batch(
    batch: &Batch,
    before: &Before,
    standing: &Standing,
    person: Option<&str>,
) -> OfBatch {
    let number = before.part.number;
    let mut particulars = batch.ordered.particulars.clone();
    let mut put = |name: &str, words: String| {
        particulars.insert(name.to_owned(), words);
    };
    put("batch", batch.id.to_string());
    put("part", format!("{number} of {}", before.of));
    put("serial", before.serial.clone());
    if let Some(person) = person {
        put(OPERATOR, person.to_owned());
    }
    if let Some(at) = standing.blasted_at(number) {
        put(BLASTED_AT, at.to_string());
    }
    put(TO_BE_MEASURED, before.measured.map_or(NOT_MEASURED, WhyMeasured::words).to_owned());
    for (of, lot) in &standing.lots {
        put(&format!("{LOT_OF}{of}"), lot.clone());
    }
    OfBatch {
        batch: batch.id.clone(),
        number,
        serial: before.serial.clone(),
        tried: standing.tried(number),
        particulars,
        deviations: Vec::new(),
    }
}

/// How far a part is off the first good one. One that did not come to its end never came to the
/// figures of a whole part.
#[must_use]
pub fn drifted(first_good: Option<(u32, Course)>, end: End, course: &Course) -> Vec<Drift> {
    let first = first_good.filter(|_| end == End::Complete);
    first.map_or_else(Vec::new, |(_, first)| drifts(&first, course))
}

/// What a part's drift is, in lines for a person.
#[must_use]
pub fn drift_lines(number: u32, first: u32, drifts: &[Drift]) -> Vec<String> {
    let line = |drift: &Drift| format!("part {number} has drifted from part {first}: {drift}");
    drifts.iter().map(line).collect()
}

const fn outcome(end: End) -> Outcome {
    match end {
        End::Complete => Outcome::Complete,
        End::Stopped => Outcome::Stopped,
        End::Tripped => Outcome::Tripped,
        End::Held | End::NotStarted => Outcome::Failed,
    }
}

const fn fate(end: End, used: &Gathering) -> Fate {
    match (end, used.passes_begun()) {
        (End::Complete, _) => Fate::Made,
        (_, 0) => Fate::Bare,
        (..) => Fate::BrokenOff,
    }
}

fn after(at: Timestamp, by: Duration) -> Timestamp {
    at.checked_add(by).unwrap_or(at)
}
