//! What the marks of a part say of it: what was measured, what became of it, and what stands between
//! it and whoever ordered it.

use std::collections::BTreeMap;
use std::fmt;

use evenpass_core::inspection::{Found, Judged, Limit, Standing, judge};
use evenpass_core::quantity::{Length, Range};
use evenpass_core::recipe::Inspection;
use evenpass_core::resume::Choice;
use serde::Serialize;

use super::{CoatStage, MarkRecord, Outcome, Said, Verdict, Wanted};

/// The marks that count.
#[derive(Debug, Clone)]
pub struct Inspected<'a> {
    marks: Vec<&'a MarkRecord>,
}

/// Something that has to be settled before a part can pass.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(rename_all = "snake_case", tag = "open")]
pub enum Open {
    /// A hold point that nobody has released.
    HoldPoint {
        /// The number of the mark that asked for it.
        mark: i64,
        /// What is to be seen.
        point: String,
    },
    /// A limit that is not kept, cannot be judged or was to be measured, for which nobody has signed.
    Limit(Judged),
    /// The run was not completed, and nobody says why its part is good all the same; or it is not
    /// over, and no reason helps.
    NotCompleted {
        /// What became of it.
        outcome: Outcome,
    },
    /// The coat was taken off, and no reason helps.
    Stripped,
}

impl fmt::Display for Open {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::HoldPoint { mark, point } => {
                write!(f, "hold point {mark} is not released: {point}")
            }
            Self::Limit(judged) if judged.standing == Standing::NotMeasured => {
                let title = judged.limit.title();
                write!(f, "{title}: not measured, limits {}", judged.limits)?;
                f.write_str("; it has to be, unless a deviation is signed for it")
            }
            Self::Limit(judged) => {
                let title = judged.limit.title();
                let found = judged.found.as_deref().unwrap_or("nothing");
                write!(f, "{title}: found {found}, limits {}, {}", judged.limits, judged.told())?;
                f.write_str("; no deviation is signed for what was read")
            }
            Self::NotCompleted { outcome: Outcome::Open } => {
                f.write_str("the run is not over, and its part is still being made")
            }
            Self::NotCompleted { outcome } => {
                write!(f, "the run is {}, and no reason is given", outcome.word())
            }
            Self::Stripped => {
                f.write_str("its coat is to be taken off, and the part to be made in another run")
            }
        }
    }
}

impl<'a> Inspected<'a> {
    /// Of all marks of a part, those of the runs that were taken up before the last one too
    /// ([`Of::Part`](super::Of::Part)); those that were taken back count no more.
    #[must_use]
    pub fn of(marks: &'a [MarkRecord]) -> Self {
        Self { marks: marks.iter().filter(|kept| kept.taken_back_by.is_none()).collect() }
    }

    fn said(&self) -> impl DoubleEndedIterator<Item = (&'a MarkRecord, &'a Said)> + '_ {
        self.marks.iter().map(|kept| (*kept, &kept.mark.said))
    }

    /// What was last done about a run of the part that did not come to its end, with its number.
    fn settled(&self) -> Option<(i64, Choice)> {
        self.said().rev().find_map(|(kept, said)| match said {
            Said::Settled { choice, .. } => Some((kept.number, *choice)),
            _ => None,
        })
    }

    /// Whether the coat was taken off, or is to be.
    #[must_use]
    pub fn is_stripped(&self) -> bool {
        self.settled().is_some_and(|(_, choice)| choice == Choice::StripAndReblast)
    }

    /// What was said since the coat is as it is now: where a run was gone on with, what was read
    /// before was of no finished coat.
    fn said_of_it(&self) -> impl DoubleEndedIterator<Item = (&'a MarkRecord, &'a Said)> + '_ {
        let since = self.said().rev().find_map(|(kept, said)| match said {
            Said::Settled { choice: Choice::GoOn | Choice::StripAndReblast, .. } => {
                Some(kept.number)
            }
            _ => None,
        });
        self.said().filter(move |(kept, _)| since.is_none_or(|since| kept.number > since))
    }

    /// What became of the part: the latest decision.
    #[must_use]
    pub fn decision(&self) -> Option<&'a MarkRecord> {
        self.said()
            .rev()
            .find(|(_, said)| matches!(said, Said::Decided { .. }))
            .map(|(kept, _)| kept)
    }

    /// What was read of the finished part. Of hardness, thickness and run-out every reading counts,
    /// of dye checks the last.
    #[must_use]
    pub fn found(&self) -> Found {
        let mut found = Found::default();
        self.said_of_it().for_each(|(_, said)| read(said, &mut found));
        found
    }

    /// The thinnest and the thickest coat that was read, of the finished one where it was read; `None`
    /// without any.
    #[must_use]
    pub fn thickness(&self) -> Option<Range<Length>> {
        let of = |wanted: CoatStage| {
            self.said_of_it()
                .filter_map(|(_, said)| match said {
                    Said::Thickness { stage, readings, .. } if *stage == wanted => Some(readings),
                    _ => None,
                })
                .flatten()
                .map(|one| Range { low: one.thickness, high: one.thickness })
                .reduce(|all, one| Range {
                    low: all.low.min(one.low),
                    high: all.high.max(one.high),
                })
        };
        of(CoatStage::Finished)
            .or_else(|| of(CoatStage::Fused))
            .or_else(|| of(CoatStage::AsSprayed))
    }

    /// What is told of the part by name, the latest of each.
    #[must_use]
    pub fn particulars(&self) -> BTreeMap<&'a str, &'a str> {
        let told = self.said().filter_map(|(_, said)| match said {
            Said::Particular { name, words } => Some((name.as_str(), words.as_str())),
            _ => None,
        });
        told.collect()
    }

    /// Hold points that nobody has released.
    #[must_use]
    pub fn held(&self) -> Vec<(&'a MarkRecord, &'a str)> {
        let released = |number: i64| {
            let by = |said: &Said| matches!(said, Said::HoldReleased { mark } if *mark == number);
            self.said().any(|(_, said)| by(said))
        };
        let points = self.said().filter_map(|(kept, said)| match said {
            Said::HoldPoint { point } => Some((kept, point.as_str())),
            _ => None,
        });
        points.filter(|(kept, _)| !released(kept.number)).collect()
    }

    /// Whether somebody signed for a limit after the last reading outside it: a signature is of what
    /// was known then, and of no reading that comes after it.
    fn is_signed_for(&self, wanted: Limit, limits: &Inspection) -> bool {
        let signs = |said: &Said| matches!(said, Said::Deviated { limit: Some(limit), .. } if *limit == wanted);
        let is_outside = |said: &Said| {
            let mut found = Found::default();
            read(said, &mut found);
            let is = |one: &Judged| one.limit == wanted && is_violated(one.standing);
            judge(limits, &found).iter().any(is)
        };
        let number = |is: &dyn Fn(&Said) -> bool| {
            self.said_of_it().rev().find(|(_, said)| is(said)).map(|(kept, _)| kept.number)
        };
        number(&signs).is_some_and(|signed| Some(signed) > number(&is_outside))
    }

    /// Every limit of the recipe with what was found.
    #[must_use]
    pub fn judged(&self, limits: Option<&Inspection>) -> Vec<Judged> {
        limits.map(|limits| judge(limits, &self.found())).unwrap_or_default()
    }

    /// What stands between the part and a pass; `reason` is what whoever decides says. A limit of
    /// which nothing was measured does where a reading of it is wanted: of a batch only some parts
    /// are measured.
    #[must_use]
    pub fn open(&self, wanted: &Wanted, reason: &str) -> Vec<Open> {
        let completed = match wanted.outcome {
            Outcome::Complete => true,
            Outcome::Open => false,
            _ => !reason.is_empty(),
        };
        let not_completed = (!completed).then_some(Open::NotCompleted { outcome: wanted.outcome });
        let held = self
            .held()
            .into_iter()
            .map(|(kept, point)| Open::HoldPoint { mark: kept.number, point: point.to_owned() });
        let stands = |one: &Judged| match one.standing {
            Standing::Inside => false,
            // Limits have a dye check only where it is needed.
            Standing::NotMeasured => wanted.measured || one.limit == Limit::DyeCheck,
            Standing::Outside | Standing::NotComparable => true,
        };
        let limits = wanted.limits.iter().flat_map(|limits| {
            let judged = judge(limits, &self.found()).into_iter();
            judged.filter(|one| stands(one) && !self.is_signed_for(one.limit, limits))
        });
        let stripped = self.is_stripped().then_some(Open::Stripped);
        let first = stripped.into_iter().chain(not_completed);
        first.chain(held).chain(limits.map(Open::Limit)).collect()
    }

    /// What came against a pass after it was given, for the reason it was given; nothing where the
    /// decision that counts is no pass.
    #[must_use]
    pub fn since_open(&self, wanted: &Wanted) -> Vec<Open> {
        match self.decision().map(|kept| &kept.mark.said) {
            Some(Said::Decided { verdict: Verdict::Pass, reason }) => self.open(wanted, reason),
            _ => Vec::new(),
        }
    }

    /// Whether the decision that counts still stands; where it does not, nobody has decided of the
    /// part as it is now.
    #[must_use]
    pub fn stands(&self, wanted: &Wanted) -> bool {
        self.since_open(wanted).is_empty()
    }
}

/// Takes in what was read of a finished part.
fn read(said: &Said, found: &mut Found) {
    match said {
        Said::Hardness { readings, .. } => {
            found.hardness.extend(readings.iter().map(|one| one.read));
        }
        Said::Thickness { stage: CoatStage::Finished, readings, .. } => {
            found.thickness.extend(readings.iter().map(|one| one.thickness));
        }
        Said::RunOut { read, .. } => found.run_out.push(*read),
        Said::DyeChecked { result, .. } => found.dye = Some(*result),
        _ => {}
    }
}

/// Whether a limit is not kept, or nobody can tell.
const fn is_violated(standing: Standing) -> bool {
    matches!(standing, Standing::Outside | Standing::NotComparable)
}

#[cfg(test)]
mod tests;
