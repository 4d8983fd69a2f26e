//! What a person changes while a zone is sprayed is what lies on the part: trims of the feed and
//! touch-up passes, on the twin.

#![allow(
    clippy::print_stdout,
    clippy::panic,
    clippy::expect_used,
    clippy::indexing_slicing,
    reason = "a test prints its figures, and fails where it cannot go on"
)]

mod support;

use evenpass_core::ledger::{Entry, EntryKind};
use evenpass_core::quantity::Length;
use evenpass_core::request::{Answer, Origin, Request, Trim};
use evenpass_core::sequence::{Phase, ZoneInHand};
use evenpass_hil::Button;
use serde_json::json;
use support::jobs::Texts;
use support::{Begin, Rehearsal, near};

const SEED: u64 = 7;

fn percent(percent: i8) -> Request {
    Request::Trim(Trim::of_percent(percent))
}

/// The short job with five passes instead of two.
fn short() -> Rehearsal {
    let texts = Texts::of("short-job").recipe("finish = \"0.08 mm\"", "finish = \"0.30 mm\"");
    Rehearsal::new(texts.job(), SEED, Begin::Attended)
}

fn shaft() -> Rehearsal {
    Rehearsal::new(Texts::of("reference-shaft").job(), SEED, Begin::Attended)
}

fn in_hand(run: &mut Rehearsal) -> ZoneInHand {
    run.controller().status().in_hand.expect("a zone is in hand")
}

/// Mean build as sprayed between two places, mm.
fn build(run: &mut Rehearsal, places: (f64, f64)) -> f64 {
    let count = 41;
    let step = (places.1 - places.0) / f64::from(count - 1);
    let places: Vec<f64> = (0..count).map(|index| places.0 + step * f64::from(index)).collect();
    let found = run.bench().build_list_mm(&places);
    found.iter().sum::<f64>() / f64::from(count)
}

/// The inner part of the short job's zone.
const BAND: (f64, f64) = (564.0, 576.0);

fn passes_of(run: &mut Rehearsal) -> usize {
    run.controller().status().progress.and_then(|at| at.pass).map_or(0, |(_, of)| of)
}

/// Runs the short job, asking something in pass 3; what is told of the zone then, and the coat.
fn changed(requests: &[Request]) -> (ZoneInHand, f64, usize) {
    let mut run = short();
    run.until_pass_is_at(3, 570.0);
    for request in requests {
        assert_eq!(run.ask(*request), Answer::Accepted, "{request:?}");
    }
    let (told, passes) = (in_hand(&mut run), passes_of(&mut run));
    run.complete();
    assert_eq!(run.confirmed("trip"), Vec::<String>::new());
    run.watch.always("changed");
    let found = build(&mut run, BAND);
    println!("{requests:?}: {told}; {found:.4} mm found of {passes} passes");
    (told, found, passes)
}

#[test]
fn a_trim_after_pass_3_of_the_short_job_gives_the_coat_that_the_status_foretold() {
    let (planned, untouched, passes) = changed(&[]);
    assert!(passes > 3, "{passes} passes");
    assert_eq!(planned.coat, planned.planned);
    for trim in [5, -5, 10] {
        let (told, found, of) = changed(&[percent(trim)]);
        assert_eq!((told.planned, of), (planned.planned, passes));
        let foretold = told.coat.mm();
        near("the coat against what was told", found / foretold, 1.0, 0.01);
        // And against the twin's own coat of the plan, which leaves the model's error out.
        near("by the trim alone", found / untouched, foretold / planned.coat.mm(), 0.003);
    }
}

#[test]
fn a_touch_up_pass_adds_the_thickness_of_one_pass() {
    let (planned, untouched, passes) = changed(&[]);
    let (told, found, of) = changed(&[Request::TouchUp]);
    assert_eq!((told.touch_ups, of), (1, passes + 1));
    let one = (told.coat - planned.coat).mm();
    println!("one pass more: {:.4} mm found, {one:.4} mm told", found - untouched);
    near("the pass that was added", (found - untouched) / one, 1.0, 0.03);
    near("the coat against what was told", found / told.coat.mm(), 1.0, 0.01);
}

#[test]
fn a_touch_up_of_a_trimmed_zone_asked_while_held_after_the_last_pass_is_sprayed_on_restart() {
    let (_, untouched, passes) = changed(&[percent(-4)]);
    let mut run = short();
    run.until_pass_is_at(3, 570.0);
    assert_eq!(run.ask(percent(-4)), Answer::Accepted);
    run.until_pass_is_at(passes, 570.0);
    assert_eq!(run.ask(Request::HoldAfterPass), Answer::Accepted);
    run.expect("it is held", 60.0, |this| this.phase() == Phase::Held);
    assert!(in_hand(&mut run).next.is_none());
    assert_eq!(run.ask(Request::TouchUp), Answer::Accepted);
    let told = in_hand(&mut run);
    assert_eq!(told.next.map(|next| (next.pass, next.trim.percent())), Some((passes + 1, -4)));
    run.press(Button::Start);
    run.expect("it fuses", 600.0, |this| this.phase() == Phase::Fusing);
    let Answer::Denied(denial) = run.ask(Request::TouchUp) else { panic!("sprayed on a wet coat") };
    assert_eq!(denial.why, "the zone is being fused");
    assert_eq!(in_hand(&mut run).coat, told.coat, "the forecast stays with the zone");
    run.complete();
    let found = build(&mut run, BAND);
    println!("{told}; {found:.4} mm found, {untouched:.4} mm before");
    near("the coat against what was told", found / told.coat.mm(), 1.0, 0.01);
    run.watch.always("touched up");
}

#[test]
fn a_touch_up_taken_back_before_it_begins_leaves_the_coat_as_planned() {
    let (planned, untouched, passes) = changed(&[]);
    let (told, found, of) = changed(&[Request::TouchUp, Request::TakePassBack]);
    assert_eq!((told.touch_ups, told.added_ahead, of), (0, 0, passes));
    assert_eq!(told.coat, planned.coat);
    near("the coat without the pass", found / untouched, 1.0, 1e-9);
}

/// What one pass of the shaft builds, mm: eta m' / (rho pi D F) at 5 mm a turn and 127.3 rpm.
const PASS: f64 = 0.0773;

fn shaft_coat(run: &mut Rehearsal) -> Vec<f64> {
    let places: Vec<f64> = (0..=240).map(|index| 100.0 + 0.5 * f64::from(index)).collect();
    run.bench().thickness_list_mm(&places)
}

#[test]
fn a_hold_in_a_trimmed_pass_leaves_no_seam() {
    for trim in [10, -10] {
        let mut whole = shaft();
        whole.until_pass_is_at(2, 160.0);
        assert_eq!(whole.ask(percent(trim)), Answer::Accepted);
        whole.complete();
        let whole = shaft_coat(&mut whole);
        let mut run = shaft();
        run.until_pass_is_at(2, 160.0);
        assert_eq!(run.ask(percent(trim)), Answer::Accepted);
        for (pass, place) in [(4, 150.0), (5, 131.3)] {
            run.until_pass_is_at(pass, place);
            run.press(Button::Hold);
            run.expect("it is held", 60.0, |this| this.phase() == Phase::Held);
            run.wait(10.0);
            run.press(Button::Start);
            run.expect("it sprays again", 300.0, |this| this.phase() == Phase::Spraying);
        }
        run.complete();
        let held = shaft_coat(&mut run);
        let worst = held.iter().zip(&whole).map(|(held, whole)| (held - whole).abs());
        let worst = worst.fold(0.0, f64::max);
        println!("{trim:+} %: worst {worst:.4} mm, {:.1} % of a pass", worst / PASS * 100.0);
        assert!(worst <= 0.05 * PASS, "{worst}\n{}", run.told());
        run.watch.always("held in a trimmed pass");
    }
}

fn requests_told(run: &Rehearsal) -> Vec<&Entry> {
    run.of_kind(EntryKind::Request).collect()
}

#[test]
fn who_asked_is_written_down_in_the_words_and_in_the_data_and_a_name_stays_in_its_line() {
    let mut run = short();
    run.until_pass_is_at(2, 570.0);
    let now = run.now();
    let names = ["A. Fitter", "B\n00:00 accepted\u{1b}[2J"];
    for name in names {
        let answer = run.controller().request_by(now, percent(2), Origin::Seat, Some(name));
        assert_eq!(answer, Answer::Accepted);
    }
    assert!(matches!(run.ask(percent(7)), Answer::Denied(_)));
    run.look_once();
    let told = requests_told(&run);
    let [.., first, what, second, _, denied] = told.as_slice() else { panic!("{told:?}") };
    assert_eq!(first.text, "trim the feed, +2 %, by A. Fitter from the seat: accepted");
    assert_eq!(first.data["person"], json!("A. Fitter"));
    assert!(what.text.starts_with("zone band: next pass at "), "{}", what.text);
    assert!(what.text.contains("+2 % feed, -2.0 % coat a pass"), "{}", what.text);
    assert_eq!(what.data["changed"]["trim"], json!({ "percent": 2 }));
    assert_eq!(what.data["changed"]["from_pass"], json!(3));
    let coat: Length = serde_json::from_value(what.data["changed"]["coat"].clone()).expect("mm");
    assert!(coat > Length::ZERO);
    assert!(second.text.contains("by B\u{fffd}00:00 accepted\u{fffd}[2J from"), "{}", second.text);
    assert_eq!(second.data["person"], json!(names[1]));
    assert!(denied.data.get("person").is_none(), "{denied:?}");
    assert_eq!(
        denied.cause,
        "+7 % of feed on top of +4 %; stay within 10 % of the plan; plan anew for more"
    );
}
