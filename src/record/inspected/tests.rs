use evenpass_core::inspection::DyeResult;
use evenpass_core::learn::ThicknessReading;
use evenpass_core::quantity::Hardness;
use evenpass_core::resume::Checked;
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
    let reading = ThicknessReading { at: Length::from_mm(160.0), thickness: Length::from_mm(mm) };
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
    let read = Inspected::of(&marks).thickness().expect("it was read");
    assert_eq!(read.low, Length::from_mm(0.36));
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
    let point = |number| kept(number, Said::HoldPoint { point: "bore after fusing".to_owned() });
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

fn settled(choice: Choice) -> Said {
    Said::Settled { choice, reason: String::new(), checked: Checked::default() }
}

#[test]
fn what_was_read_before_a_part_was_gone_on_with_is_not_of_its_finished_coat() {
    let wanted =
        Wanted { outcome: Outcome::Complete, limits: Some(limits(RECIPE)), measured: true };
    let mut marks = vec![
        kept(1, hardness("58 HRC")),
        kept(2, thickness(CoatStage::Finished, 0.36)),
        kept(3, settled(Choice::EndHere)),
    ];
    assert_eq!(told(&marks, &wanted, ""), [""; 0]);
    marks.push(kept(4, settled(Choice::GoOn)));
    assert_eq!(told(&marks, &wanted, "").len(), 2, "both are to be read anew");
    marks.extend([kept(5, hardness("58 HRC")), kept(6, thickness(CoatStage::Finished, 0.37))]);
    assert_eq!(told(&marks, &wanted, ""), [""; 0]);
}

#[test]
fn a_part_whose_coat_is_taken_off_passes_with_no_reason_at_all() {
    let marks = [kept(1, settled(Choice::StripAndReblast))];
    let told = open(&marks, Outcome::Interrupted, "looks fine");
    assert_eq!(told, ["its coat is to be taken off, and the part to be made in another run"]);
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
        Said::RunOut { read: Length::from_mm(0.02), measured_on: day("2026-11-25"), gauge: None },
        Said::HoldReleased { mark: 3 },
        Said::Particular { name: "drawing".to_owned(), words: "4711 issue C".to_owned() },
    ];
    for said in all {
        let stored = serde_json::to_value(&said).expect("JSON");
        assert_eq!(stored["what"], said.word());
        assert_eq!(serde_json::from_value::<Said>(stored).expect("it reads back"), said);
    }
}
