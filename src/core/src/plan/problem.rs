//! What stands in the way of a plan: which limit binds, where, and what would free it.

use core::fmt;

use serde::Serialize;

/// Which limit binds.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Limit {
    /// At least one zone.
    Zones,
    /// The catalogue has no such entry.
    Catalogue,
    /// A torch that is not for this work.
    TorchPurpose,
    /// The torch's range of standoff.
    Standoff,
    /// The torch's range of powder flow.
    PowderRate,
    /// The torch's range of feed.
    Feed,
    /// The torch's range of surface speed, at the speeds the spindle has.
    SurfaceSpeed,
    /// Two standard deviations of the plume for a turn.
    Pitch,
    /// The carriage's travel.
    Travel,
    /// Longest dwell under flame over the part.
    Dwell,
    /// Longest rest over the part that the rig's interlocks bear.
    Rest,
    /// Temperatures at which the powder may be sprayed on.
    SprayTemperature,
    /// Longest preheat.
    Preheat,
    /// Thickest coat of the powder.
    Thickness,
    /// Number of passes.
    Passes,
    /// A zone that is too near to steps of the part all along.
    PartStep,
    /// A park that is clear of the part.
    Park,
    /// A surface that looks away from the torch, or none.
    Reach,
    /// A value that must be more than zero.
    Positive,
}

/// One thing in the way.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct PlanProblem {
    /// Which limit binds.
    pub limit: Limit,
    /// Where in the recipe (or the rig): a path such as `zone "journal", overrun`.
    pub place: String,
    /// What was found and what is accepted.
    pub found: String,
    /// What would free it.
    pub remedy: String,
}

impl fmt::Display for PlanProblem {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}: {}; {}", self.place, self.found, self.remedy)
    }
}

/// Everything in the way of a plan, in the order of the recipe; never empty.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
#[serde(transparent)]
pub struct PlanProblems(Vec<PlanProblem>);

impl PlanProblems {
    /// A recipe without a zone.
    pub(crate) fn nothing_to_coat() -> Self {
        Self(vec![PlanProblem {
            limit: Limit::Zones,
            place: "zones".to_owned(),
            found: "the recipe coats nothing".to_owned(),
            remedy: "add a zone".to_owned(),
        }])
    }

    /// All of them.
    #[must_use]
    pub fn all(&self) -> &[PlanProblem] {
        &self.0
    }
}

impl fmt::Display for PlanProblems {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let mut first = true;
        for problem in &self.0 {
            if !first {
                writeln!(f)?;
            }
            first = false;
            write!(f, "{problem}")?;
        }
        Ok(())
    }
}

impl core::error::Error for PlanProblems {}

/// Something to know that is in nobody's way.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Note {
    /// Where in the recipe.
    pub place: String,
    /// What it is, and what to do where there is something to do.
    pub text: String,
    /// What it means for the job.
    pub weight: Weight,
}

/// What a note means for the job.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Weight {
    /// It is only told.
    Told,
    /// As planned the job is not expected to run to its end, or not to end with a good part.
    Fails,
}

impl fmt::Display for Note {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}: {}", self.place, self.text)
    }
}

/// Collects problems and notes while a plan is made, so that a reader learns of all at once.
#[derive(Debug, Default)]
pub(crate) struct Findings {
    problems: Vec<PlanProblem>,
    notes: Vec<Note>,
}

impl Findings {
    pub(crate) fn problem(
        &mut self,
        limit: Limit,
        place: impl Into<String>,
        found: impl Into<String>,
        remedy: impl Into<String>,
    ) {
        self.problems.push(PlanProblem {
            limit,
            place: place.into(),
            found: found.into(),
            remedy: remedy.into(),
        });
    }

    pub(crate) fn note(&mut self, place: impl Into<String>, text: impl Into<String>) {
        self.add(place.into(), text.into(), Weight::Told);
    }

    /// Something for which the job is not expected to end well.
    pub(crate) fn failing(&mut self, place: impl Into<String>, text: impl Into<String>) {
        self.add(place.into(), text.into(), Weight::Fails);
    }

    fn add(&mut self, place: String, text: String, weight: Weight) {
        self.notes.push(Note { place, text, weight });
    }

    /// How many problems so far: a stage that found none of its own may go on.
    pub(crate) fn count(&self) -> usize {
        self.problems.len()
    }

    /// The notes, or the problems when there are any.
    pub(crate) fn into_notes(self) -> Result<Vec<Note>, PlanProblems> {
        if self.problems.is_empty() { Ok(self.notes) } else { Err(PlanProblems(self.problems)) }
    }
}
