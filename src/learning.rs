//! What the records teach a plan: measured parts, weighed powder and stripes of one rig, joined
//! to what the catalogue says.
//!
//! A machine learns from what was sprayed on it alone; the twin, whose coats are computed, teaches
//! plans for the twin alone; a rehearsal makes no part and teaches nothing.

use std::path::Path;

use evenpass_core::catalogue::Catalogue;
use evenpass_core::learn::{
    Accepted, Evidence, Figures, Lesson, Measured, Pair, RunBasis, Witness, learn,
};
use evenpass_core::recipe::Recipe;
use evenpass_core::rig::Rig;
use serde::Serialize;

use crate::proving::keeping::kind_of;
use crate::record::{Measurement, RecordError, RunKind, Store, records_file};

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
}

impl<'a> Whose<'a> {
    /// Those of a rig.
    #[must_use]
    pub fn of(rig: &'a Rig) -> Self {
        Self { rig: &rig.title, kind: kind_of(rig) }
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
                lesson(store, Whose::of(rig), &pair, &figures).map_err(|problem| problem.whole())?
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
        Lessons::From(file) => records_file(Some(file))?,
        Lessons::Kept(chosen) => match records_file(chosen) {
            Ok(file) if file.exists() => file,
            Ok(_) | Err(RecordError::NoDataFolder) => return Ok(None),
            Err(problem) => return Err(problem),
        },
    };
    Store::open_existing(&file).map(Some)
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
    let mut kept: Vec<(String, &Measured, Option<RunBasis>)> = Vec::new();
    for one in counting.iter().rev().take(LATEST).rev() {
        let basis = match &one.run {
            Some(run) => store.basis(run)?,
            None => None,
        };
        kept.push((source(one), &one.measured, basis));
    }
    let evidence: Vec<Evidence<'_>> = kept
        .iter()
        .filter_map(|(source, measured, basis)| {
            let witness = match (measured, basis) {
                (Measured::Part(part), Some(basis)) => Witness::Part(part, basis),
                (Measured::Part(_), None) => return None,
                (Measured::Feeder(feeder), _) => Witness::Feeder(feeder),
                (Measured::Stripe(stripe), _) => Witness::Stripe(stripe),
            };
            Some(Evidence { source, witness })
        })
        .collect();
    let accepted = store
        .acceptances()?
        .into_iter()
        .rev()
        .find(|known| whose.owns(&known.rig, known.kind) && known.pair == *pair)
        .map(|known| Accepted {
            catalogue: known.catalogue,
            figures: known.figures,
            by: known.person,
            on: known.made_at.strftime("%Y-%m-%d").to_string(),
        });
    Ok(Lesson::of(pair.clone(), learn(pair, figures, &evidence), accepted))
}

/// The measurements of a pair that count, the latest last.
///
/// # Errors
/// The records cannot be read.
pub fn counting(
    store: &Store,
    whose: Whose<'_>,
    pair: &Pair,
) -> Result<Vec<Measurement>, RecordError> {
    let all = store.measurements()?.into_iter().filter(|kept| kept.withdrawn.is_none());
    let told = all.map(|kept| kept.measurement);
    Ok(told.filter(|one| whose.owns(&one.rig, one.kind) && one.pair == *pair).collect())
}

fn source(one: &Measurement) -> String {
    match (&one.measured, &one.run) {
        (Measured::Part(_), Some(run)) => format!("run {run}"),
        (Measured::Part(_), None) => format!("a part of {}", one.measured_on),
        (Measured::Feeder(_), _) => format!("the feeder of {}", one.measured_on),
        (Measured::Stripe(_), _) => format!("the stripe of {}", one.measured_on),
    }
}
