//! A run that was cut off, from the records: where it stood and the rest of its job, for whoever offers
//! it to a person. Nothing here moves anything; what a person decides is written by [`settle`] alone.
//!
//! The job is planned again from the record's own recipe and rig; the catalogue is the one that is
//! there, after what was learned or without it. What comes of it must be, to the letter, the program
//! that the record holds: a changed catalogue, or another version of this software, plans another job,
//! and the place of a pass in it would say nothing. A run that went on with an earlier one names it in
//! its particulars, and is read over the plan that this gives.

mod again;

use std::collections::BTreeMap;
use std::path::Path;

use evenpass_core::image::Level;
use evenpass_core::moment::Moment;
use evenpass_core::plan::Plan;
use evenpass_core::quantity::{Fraction, Mass, Time};
use evenpass_core::resume::{
    Before, Checked, Choice, Interruption, Offer, Refusal, Stood, Waited, before, go_on, lacking,
    offer, read, unevenness,
};
use evenpass_core::rig::Rig;
use jiff::Timestamp;

use self::again::planned;
use crate::batch::used::Gathering;
use crate::files::Job;
use crate::keeping::OfBatch;
use crate::record::{
    Gap, Inspected, Mark, MarkRecord, Of, RESUMES, RecordError, RunId, RunKind, RunRecord, Said,
    Store, Verdict,
};

/// The particular that says how the carriage was found then, as a person types it, with every digit:
/// `131.3 mm, powered`.
pub const STOOD: &str = "found";
/// Runs that went on with one another are followed back so far; arbitrary, more than any part bears.
pub(crate) const MOST_IN_A_ROW: usize = 8;

/// Less than this of one pass is told nobody: no gauge finds it (arbitrary).
const NOT_WORTH_TELLING: Fraction = Fraction::from_ratio(0.005);

/// Which run another one goes on with.
#[derive(Debug, Clone, PartialEq)]
pub struct GoesOn {
    /// That run.
    pub run: RunId,
    /// How the carriage was found after it, where that was known.
    pub stood: Option<Stood>,
}

impl GoesOn {
    /// As particulars of the run that goes on.
    #[must_use]
    pub fn particulars(&self) -> Vec<(String, String)> {
        let stood = self.stood.and_then(kept).map(|stood| (STOOD.to_owned(), stood));
        core::iter::once((RESUMES.to_owned(), self.run.to_string())).chain(stood).collect()
    }
}

/// How the carriage was found, as it stands in the record.
fn kept(stood: Stood) -> Option<String> {
    // By its text for the record: what is rounded for people would plan another rest.
    let place = serde_json::to_value(stood.place()).ok()?;
    Some(format!("{}, {}", place.as_str()?, stood.power()))
}

/// How the carriage was found, from the record; older ones have it as JSON, `{"powered":"131.3 mm"}`.
fn found_then(text: &str) -> Option<Stood> {
    serde_json::from_str(text).ok().or_else(|| Stood::typed(text).ok().flatten())
}

/// A run that was cut off, with the rest of its job.
#[derive(Debug)]
pub struct CutOff {
    /// Its id.
    pub run: RunId,
    /// Where it took place.
    pub kind: RunKind,
    /// What it was made from.
    pub job: Job,
    /// What it was to do when it began.
    pub plan: Plan,
    /// Where it stood.
    pub found: Interruption,
    /// What is left, or why it cannot go on.
    pub rest: Result<Plan, Refusal>,
    /// That somebody put its part on hold, with the reason, in words.
    pub on_hold: Option<String>,
    /// When its last entry was written, by the wall clock.
    last_at: Timestamp,
    /// When the first of the runs began that went on with one another.
    first_at: Timestamp,
}

impl CutOff {
    /// How long ago the job ceased; `None` where the clocks contradict each other.
    #[must_use]
    pub fn downtime(&self, now: Timestamp) -> Option<Time> {
        let down = std::time::Duration::try_from(now.duration_since(self.last_at)).ok()?;
        Some(Time::from_duration(down + self.found.over))
    }

    /// How long the part has stood. Its surface is as old as the first of the runs that went on
    /// with one another.
    #[must_use]
    pub fn waited(&self, now: Timestamp) -> Waited {
        let down = self.downtime(now);
        let since_first = std::time::Duration::try_from(now.duration_since(self.first_at)).ok();
        let age = down.zip(since_first).map(|(down, since_first)| {
            (down + Time::from_duration(self.found.lasted)).max(Time::from_duration(since_first))
        });
        Waited { down, age }
    }

    /// What a person may choose.
    #[must_use]
    pub fn offer(&self, now: Timestamp) -> Offer {
        offer(&self.found, self.waited(now), self.rest.is_ok())
    }

    /// What must be done before the rest begins; nothing where it cannot.
    #[must_use]
    pub fn before(&self, now: Timestamp) -> Vec<Before> {
        let rest = self.rest.as_ref().ok();
        rest.map(|rest| before(&self.found, rest, self.waited(now))).unwrap_or_default()
    }

    /// How long it stood, and how well the place is known where powder begins again, in words.
    #[must_use]
    pub fn told(&self, now: Timestamp) -> Vec<String> {
        let mut told = vec![match self.downtime(now) {
            Some(down) if down.s() < 7200.0 => format!("it stood for {:.0} min", down.s() / 60.0),
            Some(down) => format!("it stood for {:.1} h", down.s() / 3600.0),
            None => "nobody knows how long it stood: the clocks contradict each other".to_owned(),
        }];
        told.extend(self.on_hold.clone());
        let uneven = unevenness(&self.found, &self.plan);
        if let Some(uneven) = uneven.filter(|uneven| *uneven > NOT_WORTH_TELLING) {
            told.push(format!(
                "where powder begins again, up to {:.0} % of one pass may lie too much or too little",
                uneven.percent()
            ));
        }
        told
    }

    /// Whether its surface was blasted longer ago than is allowed: to go on
    /// wants the engineer's reason.
    #[must_use]
    pub fn is_overdue(&self, now: Timestamp) -> bool {
        self.before(now).iter().any(|before| before.task.is_overdue())
    }

    /// Whether the torch can have been found there; where nobody said where it was, it can.
    ///
    /// # Errors
    /// It cannot: what to do.
    pub fn was_found(&self) -> Result<(), String> {
        if self.found.stood_elsewhere == Level::Off {
            return Ok(());
        }
        let near = self.found.hand.as_ref().map_or_else(String::new, |hand| {
            format!(": it was cut off between {:.1} and {:.1}", hand.earliest, hand.latest)
        });
        Err(format!(
            "where the torch was found it cannot have come by itself{near}; look again, or say \
             \"unknown\" where it was moved since or nobody knows\n"
        ))
    }

    /// Whether a person may choose that now, after what they have looked at.
    ///
    /// # Errors
    /// Why not, one reason a line.
    pub fn may(&self, choice: Choice, checked: &Checked, now: Timestamp) -> Result<(), String> {
        if choice != Choice::GoOn {
            return Ok(());
        }
        if let Err(refusal) = &self.rest {
            return Err(format!("it cannot go on: {refusal}\n"));
        }
        let lacks = lacking(&self.before(now), checked);
        let lines = lacks.iter().map(|lacks| format!("{lacks}\n"));
        let lines: String = self.was_found().err().into_iter().chain(lines).collect();
        if lines.is_empty() { Ok(()) } else { Err(lines) }
    }
}

/// What a person decided about a run.
#[derive(Debug, Clone, Copy)]
pub struct Decision<'a> {
    /// Who.
    pub person: &'a str,
    /// What.
    pub choice: Choice,
    /// Why.
    pub reason: &'a str,
    /// What they have looked at.
    pub checked: &'a Checked,
}

/// Writes down what a person decided about a run, durable on return. One that cannot be planned any
/// more, and has no `cut` therefore, can be ended or stripped all the same.
///
/// # Errors
/// They may not choose that, or the records refuse: why.
pub fn settle(
    store: &mut Store,
    run: &RunId,
    cut: Option<&CutOff>,
    decision: Decision<'_>,
    now: Timestamp,
) -> Result<(), String> {
    let Decision { person, choice, reason, checked } = decision;
    match cut {
        Some(cut) => cut.may(choice, checked, now)?,
        None if choice == Choice::GoOn => return Err("it cannot go on\n".to_owned()),
        None => {}
    }
    let record = store.run(run).map_err(|problem| problem.whole())?;
    let rig = Rig::read(&record.rig.text)
        .map_err(|problems| problems.render(&record.rig.name, &record.rig.text))?;
    let mut checked = checked.clone();
    // What is fresh is not sprayed on for that reason.
    checked.unblasted = checked.unblasted.filter(|_| cut.is_some_and(|cut| cut.is_overdue(now)));
    let mark = Mark {
        at: now,
        person: person.to_owned(),
        rig: rig.title,
        kind: record.summary.kind,
        run: Some(run.clone()),
        batch: None,
        said: Said::Settled { choice, reason: reason.to_owned(), checked },
    };
    store.keep_mark(&mark).map(drop).map_err(|problem| problem.whole())
}

/// The part of a batch that a run was of: what goes on with it makes the same.
///
/// # Errors
/// [`RecordError`] when the file can't be read.
pub fn part_of(store: &Store, run: &RunId) -> Result<Option<OfBatch>, RecordError> {
    let Some((batch, part)) = store.batch_of(run)? else { return Ok(None) };
    let particulars = of_its_part(store, run)?;
    let of_it = store.batch_parts(&batch)?;
    let (number, serial) = (part.number, part.serial);
    let tried = of_it.iter().filter(|part| part.number == number).count();
    Ok(Some(OfBatch { batch, number, serial, tried, particulars, deviations: Vec::new() }))
}

/// What the record of a run says of its part: true of it in the run that goes on, too.
///
/// # Errors
/// [`RecordError`] when the file can't be read.
pub fn of_its_part(store: &Store, run: &RunId) -> Result<BTreeMap<String, String>, RecordError> {
    let mut particulars = store.particulars(run)?;
    // Of the run that goes on these are its own.
    particulars.retain(|name, _| !["started by", RESUMES, STOOD].contains(&name.as_str()));
    Ok(particulars)
}

/// Reads a run and plans its rest. `stood` is how the carriage was found.
///
/// # Errors
/// The records or the catalogue cannot be read, or they no longer make the job that was run: what is
/// wrong and what to do.
pub fn cut_off(
    store: &Store,
    id: &RunId,
    catalogue: Option<&Path>,
    stood: Option<Stood>,
) -> Result<CutOff, String> {
    let record = store.run(id).map_err(|problem| problem.whole())?;
    let (job, plan) = planned(store, &record, catalogue, MOST_IN_A_ROW)?;
    let found = read(&record.entries, &plan, &job.rig, stood);
    let rest = match not_in_the_journal(store, &record)? {
        Some(why) => Err(Refusal::Unseen(why)),
        None => go_on(&job.recipe, &job.rig, &job.catalogue, &plan, &found),
    };
    let (run, kind, last_at) = (id.clone(), record.summary.kind, last_at(&record));
    let first_at = first_at(store, &record)?;
    let on_hold = on_hold(store, id).map_err(|problem| problem.whole())?;
    Ok(CutOff { run, kind, job, plan, found, rest, on_hold, last_at, first_at })
}

/// What was done and is not in the journal of a run, in words; `None` where it holds all.
fn not_in_the_journal(store: &Store, record: &RunRecord) -> Result<Option<String>, String> {
    let known = store.unseen(&record.summary.id).map_err(|problem| problem.whole())?;
    if let Some(known) = known {
        return Ok(Some(known.beside(record)));
    }
    let missing: u64 = record.gaps.iter().map(Gap::count).sum();
    let lost = record.lost.unwrap_or(0).max(missing);
    Ok((lost > 0)
        .then(|| format!("the journal misses {lost} entries, which the disk did not take")))
}

/// That the part of a run waits for somebody to decide, in words.
///
/// # Errors
/// [`RecordError`] when the file can't be read.
pub fn on_hold(store: &Store, run: &RunId) -> Result<Option<String>, RecordError> {
    let marks = store.marks(Of::Run(run))?;
    let decision = Inspected::of(&marks).decision();
    Ok(decision.and_then(|kept| match &kept.mark.said {
        Said::Decided { verdict: Verdict::Hold, reason } => {
            Some(format!("its part is on hold, by {}: {reason}", kept.mark.person))
        }
        _ => None,
    }))
}

/// When the first of the runs began that went on with one another up to this one.
fn first_at(store: &Store, record: &RunRecord) -> Result<Timestamp, String> {
    let mut began = record.summary.started_at;
    let mut earlier = record.particulars.get(RESUMES).cloned();
    for _ in 0..MOST_IN_A_ROW {
        let Some(name) = earlier else { break };
        let run = store.find(&name).and_then(|id| store.run(&id));
        let run = run.map_err(|problem| problem.whole())?;
        began = run.summary.started_at;
        earlier = run.particulars.get(RESUMES).cloned();
    }
    Ok(began)
}

/// What the hopper holds for the rest of a run: what was told since that run, or else what the scale
/// said last in it; `None` where neither did.
///
/// # Errors
/// [`RecordError`] when the file can't be read, or has no such run.
pub fn hopper_left(store: &Store, run: &RunId) -> Result<Option<Mass>, RecordError> {
    let record = store.run(run)?;
    let left_at = last_at(&record);
    let marks = match Rig::read(&record.rig.text) {
        Ok(rig) => store.marks(Of::Rig(&rig.title, record.summary.kind))?,
        Err(_) => Vec::new(),
    };
    let runs = store.runs_used(record.summary.kind)?;
    let place = runs.iter().find(|used| used.run == *run).map(|used| used.place);
    // What was kept after it was told after it, whatever the clock said.
    let is_after = |kept: &MarkRecord| match kept.told_after.zip(place) {
        Some((after, place)) => after.run > place || (after.run == place && after.ended),
        None => kept.mark.at >= left_at,
    };
    let counting = |kept: &&MarkRecord| kept.taken_back_by.is_none() && is_after(kept);
    let told = marks.iter().rev().filter(counting).find_map(|kept| match kept.mark.said {
        Said::Refilled { holds } => Some(holds),
        _ => None,
    });
    Ok(told.or_else(|| Gathering::of(&record.entries).hopper_left()))
}

/// When the last entry was written, by the wall clock: that of its end, or else of its beginning.
fn last_at(record: &RunRecord) -> Timestamp {
    if let Some(ended) = record.summary.ended_at {
        return ended;
    }
    let first = record.entries.first().map_or(Moment::START, |entry| entry.at);
    let ran = record.entries.last().map_or(Moment::START, |entry| entry.at).since(first);
    record.summary.started_at.saturating_add(ran).unwrap_or(Timestamp::MAX)
}
