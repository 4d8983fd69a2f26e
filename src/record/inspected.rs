//! What the marks of a part say of it: what was measured, what became of it, and what stands between
//! it and whoever ordered it.

use std::collections::BTreeMap;
use std::fmt;

use evenpass_core::inspection::{Found, Judged, Limit, Standing, judge};
use evenpass_core::quantity::Length;
use evenpass_core::recipe::Inspection;
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
        self.said().for_each(|(_, said)| read(said, &mut found));
        found
    }

    /// The thinnest coat that was read, the finished one where it was read; `None` without any.
    #[must_use]
    pub fn thinnest(&self) -> Option<Length> {
        let of = |wanted: CoatStage| {
            self.said()
                .filter_map(|(_, said)| match said {
                    Said::Thickness { stage, readings, .. } if *stage == wanted => Some(readings),
                    _ => None,
                })
                .flatten()
                .map(|one| one.thickness)
                .reduce(Length::min)
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
            self.said().rev().find(|(_, said)| is(said)).map(|(kept, _)| kept.number)
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
        not_completed.into_iter().chain(held).chain(limits.map(Open::Limit)).collect()
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
mod tests {
    use evenpass_core::inspection::DyeResult;
    use evenpass_core::learn::ThicknessReading;
    use evenpass_core::quantity::Hardness;
    use jiff::civil::Date;

    use super::super::HardnessReading;
    use super::super::fixture::said as kept;
    use super::*;

    const RECIPE: &str = "[inspection]\nhardness = { from = \"55 HRC\", to = \"62 HRC\" }\n\
                          thickness = { from = \"0.30 mm\", to = \"0.45 mm\" }\n";

    fn limits(recipe: &str) -> Inspection {
        Inspection::of_text(recipe).expect("limits")
    }

    fn day(text: &str) -> Date {
        text.parse().expect("a day")
    }

    fn hardness(text: &str) -> Said {
        let read = Hardness::parse(text).expect("a hardness");
        Said::Hardness {
            readings: vec![HardnessReading { at: Length::from_mm(160.0), read }],
            coat: Length::from_mm(0.35),
            measured_on: day("2026-11-25"),
            gauge: None,
        }
    }

    fn thickness(stage: CoatStage, mm: f64) -> Said {
        let reading =
            ThicknessReading { at: Length::from_mm(160.0), thickness: Length::from_mm(mm) };
        Said::Thickness {
            stage,
            readings: vec![reading],
            temperature: None,
            measured_on: day("2026-11-25"),
            gauge: None,
        }
    }

    fn deviated(limit: Option<Limit>) -> Said {
        Said::Deviated {
            limit,
            words: "thin at the tail".to_owned(),
            reason: "customer agrees".to_owned(),
            from: None,
            to: None,
        }
    }

    fn told(marks: &[MarkRecord], wanted: &Wanted, reason: &str) -> Vec<String> {
        Inspected::of(marks).open(wanted, reason).iter().map(Open::to_string).collect()
    }

    fn open(marks: &[MarkRecord], outcome: Outcome, reason: &str) -> Vec<String> {
        told(marks, &Wanted { outcome, limits: Some(limits(RECIPE)), measured: false }, reason)
    }

    #[test]
    fn nothing_is_open_of_a_complete_run_whose_readings_are_inside() {
        let marks = [
            kept(1, hardness("88 HR15N")),
            kept(2, thickness(CoatStage::Finished, 0.36)),
            // What it was before it was machined has other limits: none.
            kept(3, thickness(CoatStage::Fused, 0.57)),
        ];
        assert_eq!(open(&marks, Outcome::Complete, ""), [""; 0]);
        assert_eq!(Inspected::of(&marks).thinnest(), Some(Length::from_mm(0.36)));
    }

    #[test]
    fn a_limit_that_is_not_kept_is_open_until_somebody_signs_for_it() {
        let mut marks = vec![kept(1, thickness(CoatStage::Finished, 0.28))];
        let told = open(&marks, Outcome::Complete, "");
        assert!(told[0].contains("thickness: found 0.28 mm, limits 0.3 mm to 0.45 mm"), "{told:?}");
        marks.push(kept(2, deviated(None)));
        marks.push(kept(3, deviated(Some(Limit::Hardness))));
        assert_eq!(open(&marks, Outcome::Complete, "").len(), 1, "neither is of the thickness");
        marks.push(kept(4, deviated(Some(Limit::Thickness))));
        assert_eq!(open(&marks, Outcome::Complete, ""), [""; 0]);
        marks[3].taken_back_by = Some(5);
        assert_eq!(open(&marks, Outcome::Complete, "").len(), 1, "it was taken back");
    }

    #[test]
    fn a_signature_for_a_limit_covers_no_reading_outside_that_comes_after_it() {
        let mut marks = vec![
            kept(1, thickness(CoatStage::Finished, 0.28)),
            kept(2, deviated(Some(Limit::Thickness))),
            kept(3, thickness(CoatStage::Finished, 0.36)),
        ];
        assert_eq!(open(&marks, Outcome::Complete, ""), [""; 0], "one inside wants no signature");
        marks.push(kept(4, thickness(CoatStage::Finished, 0.005)));
        let told = open(&marks, Outcome::Complete, "");
        assert!(told[0].contains("thickness: found 0.005 mm"), "{told:?}");
        marks.push(kept(5, deviated(Some(Limit::Thickness))));
        assert_eq!(open(&marks, Outcome::Complete, ""), [""; 0]);
        // The reading was a mistake: the first signature covers what is left.
        (marks[3].taken_back_by, marks[4].taken_back_by) = (Some(6), Some(7));
        assert_eq!(open(&marks, Outcome::Complete, ""), [""; 0]);
    }

    #[test]
    fn a_dye_check_that_is_needed_is_open_until_it_was_made_or_somebody_signed_for_it() {
        let recipe = "[inspection]\ndye_check = \"needed\"\n";
        let limits = Some(limits(recipe));
        let wanted = Wanted { outcome: Outcome::Complete, limits, measured: false };
        let nobody = "dye check: not measured, limits nothing shows; it has to be, unless a deviation \
                      is signed for it";
        assert_eq!(told(&[], &wanted, "looks good"), [nobody]);
        let signed = [kept(1, deviated(Some(Limit::DyeCheck)))];
        assert_eq!(told(&signed, &wanted, ""), [""; 0]);
        let dye = |result| Said::DyeChecked { result, words: None };
        let looked = [kept(1, dye(DyeResult::Nothing))];
        assert_eq!(told(&looked, &wanted, ""), [""; 0]);
        let cracked = [signed[0].clone(), kept(2, dye(DyeResult::Indications))];
        assert!(told(&cracked, &wanted, "")[0].contains("found indications"));
    }

    #[test]
    fn of_a_part_that_is_to_be_measured_every_limit_wants_a_reading() {
        let limits = Some(limits(RECIPE));
        let wanted = |measured| Wanted { outcome: Outcome::Complete, limits, measured };
        let mut marks = vec![kept(1, hardness("88 HR15N"))];
        assert_eq!(told(&marks, &wanted(false), ""), [""; 0], "of a batch only some are");
        let open = told(&marks, &wanted(true), "looks good");
        assert!(open.len() == 1 && open[0].starts_with("thickness: not measured"), "{open:?}");
        marks.push(kept(2, thickness(CoatStage::Finished, 0.36)));
        assert_eq!(told(&marks, &wanted(true), ""), [""; 0]);
    }

    #[test]
    fn a_hold_point_is_open_until_it_is_released_by_its_number() {
        let point =
            |number| kept(number, Said::HoldPoint { point: "bore after fusing".to_owned() });
        let mut marks = vec![point(1), point(2)];
        assert_eq!(open(&marks, Outcome::Complete, "").len(), 2);
        marks.push(kept(3, Said::HoldReleased { mark: 2 }));
        let told = open(&marks, Outcome::Complete, "");
        assert_eq!(told, ["hold point 1 is not released: bore after fusing"]);
    }

    #[test]
    fn a_run_that_was_not_completed_passes_with_a_reason_alone() {
        assert_eq!(open(&[], Outcome::Stopped, "").len(), 1);
        assert_eq!(open(&[], Outcome::Stopped, "stopped in cooling"), [""; 0]);
    }

    #[test]
    fn a_run_that_is_being_made_passes_with_no_reason_at_all() {
        for reason in ["", "looks good"] {
            let told = open(&[], Outcome::Open, reason);
            assert_eq!(told, ["the run is not over, and its part is still being made"]);
        }
    }

    #[test]
    fn of_two_decisions_the_latest_counts_and_one_that_was_taken_back_does_not() {
        let decided = |verdict| Said::Decided { verdict, reason: String::new() };
        let mut marks = vec![kept(1, decided(Verdict::Hold)), kept(2, decided(Verdict::Pass))];
        let number = |marks: &[MarkRecord]| Inspected::of(marks).decision().map(|it| it.number);
        assert_eq!(number(&marks), Some(2));
        marks[1].taken_back_by = Some(3);
        assert_eq!(number(&marks), Some(1));
    }

    #[test]
    fn a_pass_stands_no_more_once_something_came_against_it() {
        let wanted = |outcome| Wanted { outcome, limits: Some(limits(RECIPE)), measured: false };
        let decided = |verdict, reason: &str| Said::Decided { verdict, reason: reason.to_owned() };
        let mut marks = vec![
            kept(1, thickness(CoatStage::Finished, 0.28)),
            kept(2, deviated(Some(Limit::Thickness))),
            kept(3, decided(Verdict::Pass, "stopped in cooling")),
        ];
        let stands = |marks: &[MarkRecord]| Inspected::of(marks).stands(&wanted(Outcome::Stopped));
        assert!(stands(&marks), "its own reason holds");
        marks[1].taken_back_by = Some(4);
        assert!(!stands(&marks), "nobody signs for the thickness any more");
        marks[1].taken_back_by = None;
        marks.push(kept(5, Said::HoldPoint { point: "bore after fusing".to_owned() }));
        let open = Inspected::of(&marks).since_open(&wanted(Outcome::Stopped));
        assert!(matches!(open.as_slice(), [Open::HoldPoint { mark: 5, .. }]), "{open:?}");
        marks.push(kept(6, decided(Verdict::Hold, "bore")));
        assert!(stands(&marks), "a part on hold is on hold");
    }

    #[test]
    fn the_last_dye_check_counts() {
        let dye = |result| Said::DyeChecked { result, words: None };
        let marks = [kept(1, dye(DyeResult::Indications)), kept(2, dye(DyeResult::Nothing))];
        assert_eq!(Inspected::of(&marks).found().dye, Some(DyeResult::Nothing));
    }

    #[test]
    fn everything_that_can_be_said_reads_back_as_it_was_stored() {
        let all = [
            hardness("655 HV0.5"),
            thickness(CoatStage::Finished, 0.36),
            Said::RunOut {
                read: Length::from_mm(0.02),
                measured_on: day("2026-11-25"),
                gauge: None,
            },
            Said::HoldReleased { mark: 3 },
            Said::Particular { name: "drawing".to_owned(), words: "4711 issue C".to_owned() },
        ];
        for said in all {
            let stored = serde_json::to_value(&said).expect("JSON");
            assert_eq!(stored["what"], said.word());
            assert_eq!(serde_json::from_value::<Said>(stored).expect("it reads back"), said);
        }
    }
}
