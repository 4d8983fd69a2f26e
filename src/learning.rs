//! What the records teach a plan: measured parts, weighed powder and stripes of one rig, joined
//! to what the catalogue says.
//!
//! A machine learns from what was sprayed on it alone; the twin, whose coats are computed, teaches
//! plans for the twin alone; a rehearsal makes no part and teaches nothing.

use std::path::Path;

use evenpass_core::catalogue::Catalogue;
use evenpass_core::learn::{
    Accepted, Contradiction, Evidence, Figures, Lesson, Measured, Pair, RunBasis, Witness, learn,
};
use evenpass_core::recipe::Recipe;
use evenpass_core::rig::Rig;
use jiff::Timestamp;
use serde::Serialize;

use crate::proving::keeping::kind_of;
use crate::record::{
    AcceptanceRecord, Measurement, MeasurementRecord, Origin, Outcome, RecordError, RunKind,
    Sprayed, Store, records_file,
};

/// How many measurements of a pair count, the latest: a nozzle wears, and what was true of it
/// years ago is not now (arbitrary).
const LATEST: usize = 20;

/// Where a plan's lessons come from.
#[derive(Debug, Clone, Copy)]
pub enum Lessons<'a> {
    /// Nowhere: the catalogue alone.
    Ignored,
    /// The records, the user's own when `None`; records that are not there teach nothing.
    Kept(Option<&'a Path>),
    /// A records file that has to be there.
    From(&'a Path),
    /// The same as it was at a time, by the wall clock: what was told later teaches nothing.
    AsOf(&'a Path, Timestamp),
}

/// What a job's plan stands on besides its files.
#[derive(Debug, Clone, Default, Serialize)]
pub struct Learned {
    /// One for each powder of the job.
    pub lessons: Vec<Lesson>,
    /// Recipe and catalogue as they were written, where the lessons changed them.
    #[serde(skip)]
    pub as_written: Option<Box<(Recipe, Catalogue)>>,
}

/// Whose measurements count: those of one rig, on one side of the border between twin and
/// machine.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Whose<'a> {
    /// The rig's title.
    pub rig: &'a str,
    /// Twin or machine.
    pub kind: RunKind,
    /// What had been told by then, by the wall clock; everything when `None`.
    pub by: Option<Timestamp>,
}

impl<'a> Whose<'a> {
    /// Those of a rig.
    #[must_use]
    pub fn of(rig: &'a Rig) -> Self {
        Self { rig: &rig.title, kind: kind_of(rig), by: None }
    }

    /// The measurements that had been told by then, withdrawn where they had been by then.
    fn told(&self, store: &Store) -> Result<Vec<MeasurementRecord>, RecordError> {
        let mut all = store.measurements()?;
        all.retain(|kept| self.knows(kept.measurement.kept_at));
        for kept in &mut all {
            kept.withdrawn.take_if(|withdrawn| !self.knows(withdrawn.made_at));
        }
        Ok(all)
    }

    fn knows(&self, told_at: Timestamp) -> bool {
        self.by.is_none_or(|by| told_at <= by)
    }

    fn owns(&self, rig: &str, kind: RunKind) -> bool {
        // Nobody keeps a measurement of a rehearsal; one that stood there all the same counts not.
        self.rig == rig && self.kind == kind && kind != RunKind::Rehearsed
    }
}

/// The lessons of a job, one for each of its powders.
///
/// # Errors
/// The records cannot be read: what is wrong and what to do.
pub fn lessons(
    from: Lessons<'_>,
    rig: &Rig,
    recipe: &Recipe,
    catalogue: &Catalogue,
) -> Result<Vec<Lesson>, String> {
    let store = open(from).map_err(|problem| problem.whole())?;
    let by = match from {
        Lessons::AsOf(_, by) => Some(by),
        Lessons::Ignored | Lessons::Kept(_) | Lessons::From(_) => None,
    };
    let whose = Whose { by, ..Whose::of(rig) };
    let mut powders: Vec<&str> = recipe.zones.iter().map(|zone| zone.powder.as_str()).collect();
    powders.sort_unstable();
    powders.dedup();
    let pairs = powders
        .into_iter()
        .map(|powder| Pair { torch: recipe.spray.torch.clone(), powder: powder.to_owned() });
    let mut lessons = Vec::new();
    for pair in pairs {
        // A recipe that was read names nothing that its catalogue lacks.
        let Some(figures) = Figures::of(catalogue, &pair) else { continue };
        let learned = match &store {
            Some(store) => {
                lesson(store, whose, &pair, &figures).map_err(|problem| problem.whole())?
            }
            None => Lesson::of(pair.clone(), learn(&pair, &figures, &[]), None),
        };
        lessons.push(learned);
    }
    Ok(lessons)
}

fn open(from: Lessons<'_>) -> Result<Option<Store>, RecordError> {
    let file = match from {
        Lessons::Ignored => return Ok(None),
        Lessons::From(file) | Lessons::AsOf(file, _) => records_file(Some(file))?,
        Lessons::Kept(chosen) => match records_file(chosen) {
            Ok(file) if file.exists() => file,
            Ok(_) | Err(RecordError::NoDataFolder) => return Ok(None),
            Err(problem) => return Err(problem),
        },
    };
    Store::open_to_read(&file).map(Some)
}

/// What the records teach of one torch with one powder, whose catalogue says `figures`.
///
/// # Errors
/// The records cannot be read.
pub fn lesson(
    store: &Store,
    whose: Whose<'_>,
    pair: &Pair,
    figures: &Figures,
) -> Result<Lesson, RecordError> {
    let counting = counting(store, whose, pair)?;
    let (mut kept, mut left_out) = (Vec::new(), Vec::new());
    for one in counting.iter().rev().filter(|one| teaches(&one.measurement.measured)) {
        if kept.len() == LATEST {
            break;
        }
        match grounds(store, &one.measurement)? {
            Ok(basis) => kept.push((one, source(&one.measurement), basis)),
            Err(why) => left_out.push(format!("measurement {} is left out: {why}", one.number)),
        }
    }
    kept.reverse();
    left_out.reverse();
    let evidence: Vec<Evidence<'_>> = kept
        .iter()
        .filter_map(|(one, source, basis)| {
            let witness = match (&one.measurement.measured, basis) {
                (Measured::Part(part), Some(basis)) => Witness::Part(part, basis),
                (Measured::Part(_), None) => return None,
                (Measured::Feeder(feeder), _) => Witness::Feeder(feeder),
                (Measured::Stripe(stripe), _) => Witness::Stripe(stripe),
                (Measured::PowderDelay(_), _) => return None,
            };
            Some(Evidence { number: one.number, source, witness })
        })
        .collect();
    let (accepted, fallen) = accepted(store, whose, pair, figures)?;
    left_out.extend(fallen);
    let (accepted, given_for) = accepted.unzip();
    let of = |evidence: &[Evidence<'_>]| {
        Lesson::of(pair.clone(), learn(pair, figures, evidence), accepted.clone())
    };
    let mut lesson = of(&evidence);
    if lesson.held_back.is_some() {
        // What was accepted stands on the first of them, and is not taken back either.
        let first = match (&lesson.accepted, given_for) {
            (Some(_), Some(grounds)) => evidence
                .iter()
                .rposition(|one| grounds.contains(&one.number))
                .map_or(0, |at| at + 1),
            _ => 0,
        };
        let earlier = (first + 1..evidence.len())
            .rev()
            .filter_map(|count| evidence.get(..count).map(of))
            .find(|earlier| earlier.held_back.is_none());
        if let Some(earlier) = earlier {
            lesson = lesson.meanwhile(earlier);
        }
    }
    Ok(Lesson { left_out, ..lesson })
}

/// Whether a measurement is of a figure that a plan stands on.
const fn teaches(measured: &Measured) -> bool {
    match measured {
        Measured::Part(_) | Measured::Feeder(_) | Measured::Stripe(_) => true,
        Measured::PowderDelay(_) => false,
    }
}

/// What an engineer confirmed, with the numbers of the measurements that it was given for.
type Grounded = (Accepted, Vec<i64>);

/// What an engineer confirmed last and still counts, with the numbers of the measurements that it was
/// given for; and that what was confirmed after it counts
/// no more, and why, as a phrase.
fn accepted(
    store: &Store,
    whose: Whose<'_>,
    pair: &Pair,
    figures: &Figures,
) -> Result<(Option<Grounded>, Option<String>), RecordError> {
    let measurements = whose.told(store)?;
    let mut fell = None;
    for known in store.acceptances()?.into_iter().rev() {
        let is_theirs = whose.owns(&known.rig, known.kind) && whose.knows(known.made_at);
        if !is_theirs || known.pair != *pair {
            continue;
        }
        let on = known.made_at.strftime("%Y-%m-%d").to_string();
        let Some(why) = known.fallen(&measurements) else {
            let given_for =
                measurements.iter().filter(|one| known.is_given_for(one)).map(|one| one.number);
            let given_for = given_for.collect();
            let AcceptanceRecord { catalogue, figures, person: by, .. } = known;
            return Ok((Some((Accepted { catalogue, figures, by, on }, given_for)), fell));
        };
        // One that was given for another catalogue was not in force before it fell.
        if fell.is_none() && known.catalogue == *figures {
            fell = Some(format!("what {} accepted on {on} counts no more: {why}", known.person));
        }
    }
    Ok((None, fell))
}

/// What a measurement is held against, where it needs anything; or why it teaches nothing. What
/// it says of itself has to be what its run says: records that were mixed or tampered with must
/// not carry what the twin computed over to a machine, or one torch's coat to another's.
pub(crate) fn grounds(
    store: &Store,
    one: &Measurement,
) -> Result<Result<Option<RunBasis>, String>, RecordError> {
    let part = match &one.measured {
        Measured::Part(part) => part,
        Measured::Feeder(feeder) => {
            return Ok(match feeder.contradiction() {
                None => Ok(None),
                Some(_) => Err("its catches contradict each other".to_owned()),
            });
        }
        Measured::Stripe(stripe) => {
            return Ok(match stripe.contradiction() {
                None => Ok(None),
                Some(odd) => Err(contradicts(&odd)),
            });
        }
        Measured::PowderDelay(_) => return Ok(Ok(None)),
    };
    let Some(run) = &one.run else {
        return Ok(Err("its run is not in these records".to_owned()));
    };
    let Some(origin) = store.origin(run)? else {
        return Ok(Err(format!("its run {run} is not in these records")));
    };
    let basis = match store.sprayed(run)? {
        Sprayed::There { basis, .. } => basis,
        Sprayed::NotKept => {
            return Ok(Err(format!("its run {run} does not say where its powder was released")));
        }
        Sprayed::Untold { .. } => {
            return Ok(Err(format!(
                "the passes of its run {run} were changed, and the entries that say how are not in \
                 these records"
            )));
        }
    };
    Ok(match mismatch(one, &origin, &basis) {
        Some(why) => Err(format!("{why} in its run {run}")),
        None => match part.contradiction(&basis) {
            Some(odd) => Err(contradicts(&odd)),
            None => Ok(Some(basis)),
        },
    })
}

fn contradicts(odd: &Contradiction) -> String {
    format!("{} and {} at {} contradict each other", odd.readings.0, odd.readings.1, odd.at)
}

/// What a measurement says otherwise than its run; a phrase that goes on with "in its run".
fn mismatch(one: &Measurement, origin: &Origin, basis: &RunBasis) -> Option<String> {
    let differs = |what: &str, said: &str, found: &str| {
        (said != found).then(|| format!("it says {what} \"{said}\", and it was \"{found}\""))
    };
    if origin.kind == RunKind::Rehearsed {
        return Some("a rehearsal makes no part, and it was one".to_owned());
    }
    if origin.outcome != Outcome::Complete {
        return Some(format!("what was planned was not done: it is {}", origin.outcome.word()));
    }
    // A rig file of an older version may not be readable any more; its title then says nothing.
    let title = Rig::read(&origin.rig).ok().map(|rig| rig.title);
    differs("where:", one.kind.word(), origin.kind.word())
        .or_else(|| differs("the rig", &one.rig, title.as_deref().unwrap_or(&one.rig)))
        .or_else(|| differs("the torch", &one.pair.torch, &basis.torch))
        .or_else(|| {
            let powders = basis.powders();
            let powder = powders.iter().find(|powder| **powder == one.pair.powder);
            let all = || powders.join("\" and \"");
            powder.map_or_else(|| differs("the powder", &one.pair.powder, &all()), |_| None)
        })
}

/// The measurements of a pair that count, the latest last.
///
/// # Errors
/// The records cannot be read.
pub fn counting(
    store: &Store,
    whose: Whose<'_>,
    pair: &Pair,
) -> Result<Vec<MeasurementRecord>, RecordError> {
    let mut all = whose.told(store)?;
    all.retain(|kept| {
        let one = &kept.measurement;
        kept.withdrawn.is_none() && whose.owns(&one.rig, one.kind) && one.pair == *pair
    });
    Ok(all)
}

fn source(one: &Measurement) -> String {
    match (&one.measured, &one.run) {
        (Measured::Part(_), Some(run)) => format!("run {run}"),
        (Measured::Part(_), None) => format!("a part of {}", one.measured_on),
        (Measured::Feeder(_), _) => format!("the feeder of {}", one.measured_on),
        (Measured::Stripe(_), _) => format!("the stripe of {}", one.measured_on),
        (Measured::PowderDelay(_), _) => format!("the powder's delay of {}", one.measured_on),
    }
}
