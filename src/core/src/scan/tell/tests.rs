//! What the record reads out of an entry's data, to the letter.

use super::*;
use crate::devices::bench;
use crate::image::{PowderEdge, Signal};
use crate::ledger::Entry;
use crate::plan::{Plan, plan, support};

fn at(seconds: u64) -> Moment {
    Moment::from_micros(seconds * 1_000_000)
}

fn planned() -> Plan {
    plan(&support::recipe(), &support::rig(), &support::catalogue()).expect("the reference job")
}

/// The entries made by events, with the reference job's program.
fn told(teller: &mut Teller, events: &[Happening]) -> Vec<Entry> {
    let program = planned().program;
    let mut ledger = Ledger::with_capacity(64);
    for what in events {
        teller.event(&Event { at: at(1), what: what.clone() }, Some(&program), None, &mut ledger);
    }
    core::iter::from_fn(|| ledger.take()).collect()
}

/// An image with the carriage at 100 mm, moving at 10 mm/s since second 5.
fn moving() -> Inputs {
    let mut inputs = Inputs::unknown();
    let mut axis = inputs.axis.value;
    axis.position = Length::from_mm(100.0);
    axis.velocity = Speed::from_mm_per_s(10.0);
    axis.referenced = Referenced::Yes;
    inputs.axis = Signal::measured(axis, at(5));
    inputs
}

fn switched(level: Level, at: Moment, planned: Option<Moment>) -> Switched {
    Switched { at, coil: Coil::Powder, level, planned }
}

/// The reference job: nine passes over one zone, from 78.2 to 241.8 mm.
#[test]
fn a_pass_that_begins_and_ends_has_its_number_its_zone_and_its_ends() {
    let mut teller = Teller::new(&bench::rig());
    let program = planned().program;
    let Some(Step::Spray(spray)) = program.steps.get(1) else { panic!("sprays second") };
    let entries = told(
        &mut teller,
        &[Happening::PassBegan { step: 2, pass: 1 }, Happening::PassEnded { step: 2, pass: 1 }],
    );
    let pass = &spray.passes[0];
    let from = json!(pass.from);
    assert!(from.as_str().is_some_and(|text| text.starts_with("78.207") && text.ends_with(" mm")));
    let expected = |mark: &str| {
        json!({
            "mark": mark,
            "step": 2,
            "pass": 1,
            "of": spray.passes.len(),
            "zone": "journal",
            "from": pass.from,
            "to": pass.to,
        })
    };
    let [began, ended] = entries.as_slice() else { panic!("two entries: {entries:?}") };
    assert_eq!((began.kind, &began.data), (EntryKind::Pass, &expected("begun")));
    assert_eq!((ended.kind, &ended.data), (EntryKind::Pass, &expected("ended")));
}

#[test]
fn a_pass_without_a_program_still_has_its_mark_and_number() {
    assert_eq!(pass_data("begun", 2, 4, None), json!({ "mark": "begun", "pass": 4 }));
}

/// 30 ms after the reading at 10 mm/s the carriage is 0.3 mm farther.
#[test]
fn a_powder_edge_has_where_it_was_planned_and_where_the_carriage_was_when_it_came() {
    let mut teller = Teller::new(&bench::rig());
    let due = Moment::from_micros(5_020_000);
    let edge = PowderEdge { at: due, to: Level::On, epoch: 0 };
    told(
        &mut teller,
        &[
            Happening::PassBegan { step: 2, pass: 3 },
            Happening::PowderFixed { edge, carriage: Length::from_mm(100.2) },
        ],
    );
    let mut ledger = Ledger::with_capacity(4);
    let came = Moment::from_micros(5_030_000);
    teller.switched(switched(Level::On, came, Some(due)), &moving(), &mut ledger);
    let entry = ledger.take().expect("told");
    assert_eq!(entry.kind, EntryKind::Powder);
    assert_eq!(entry.text, "powder on at 100.30 mm");
    assert_eq!(entry.data["pass"], json!(3));
    assert_eq!(entry.data["edge"], json!("on"));
    assert_eq!(entry.data["planned"], json!("100.2 mm"));
    let done = entry.data["done"].as_str().and_then(|text| text.strip_suffix(" mm"));
    let done: f64 = done.and_then(|text| text.parse().ok()).expect("a length");
    assert!((done - 100.3).abs() < 1e-9, "{done}");
}

#[test]
fn an_edge_that_no_plan_asked_for_has_no_planned_place_and_without_a_datum_none_at_all() {
    let mut teller = Teller::new(&bench::rig());
    let mut ledger = Ledger::with_capacity(4);
    let mut inputs = moving();
    teller.switched(switched(Level::Off, at(5), None), &inputs, &mut ledger);
    let entry = ledger.take().expect("told");
    assert_eq!((&entry.data["planned"], &entry.data["done"]), (&Value::Null, &json!("100 mm")));
    inputs.axis.value.referenced = Referenced::No;
    teller.switched(switched(Level::Off, at(5), None), &inputs, &mut ledger);
    let entry = ledger.take().expect("told");
    assert_eq!(entry.text, "powder off");
    assert_eq!(entry.data["done"], Value::Null);
}

#[test]
fn an_edge_that_was_dropped_is_told_with_its_place_and_what_to_do() {
    let mut teller = Teller::new(&bench::rig());
    let edge = PowderEdge { at: at(5), to: Level::On, epoch: 0 };
    told(
        &mut teller,
        &[
            Happening::PassBegan { step: 2, pass: 3 },
            Happening::PowderFixed { edge, carriage: Length::from_mm(78.75) },
        ],
    );
    let mut ledger = Ledger::with_capacity(4);
    let words = teller.dropped(at(5), &mut ledger);
    assert!(words.starts_with("powder on at 78.75 mm in pass 3 could not be sent in time"));
    let entry = ledger.take().expect("told");
    assert_eq!(entry.kind, EntryKind::Powder);
    assert_eq!(entry.data, json!({ "pass": 3, "edge": "on", "planned": "78.75 mm" }));
}

#[test]
fn a_contact_is_told_when_it_changes_between_two_measurements() {
    let teller = Teller::new(&bench::rig());
    let mut ledger = Ledger::with_capacity(4);
    let mut before = Inputs::unknown();
    let mut after = Inputs::unknown();
    let slot = Contact::Guard.index();
    before.contacts[slot] = Signal::measured(Level::On, at(1));
    after.contacts[slot] = Signal::measured(Level::Off, at(2));
    teller.contacts(&before, &after, &mut ledger);
    let entry = ledger.take().expect("told");
    assert_eq!(entry.data, json!({ "contact": Contact::Guard.key(), "level": Level::Off }));
    // Known for the first time is no change.
    teller.contacts(&Inputs::unknown(), &after, &mut ledger);
    assert_eq!(ledger.take(), None);
}
