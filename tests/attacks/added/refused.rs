//! What is not added: figures without units, what nobody of this session asked for, and what no form
//! of the page sends.

use std::path::Path;

use evenpass::record::{RunKind, Store};
use serde_json::Value;

use super::{Fields, PAGE, accepted, marks, reply, sprayed};
use crate::person::{Browser, new_id};
use crate::served::Served;

#[test]
fn a_figure_without_its_unit_is_refused_by_the_name_of_its_field_and_nothing_is_kept() {
    let served = Served::after(sprayed());
    let operator = Browser::of(&served, "Operator");
    let cases: [(Fields<'_>, &str, &str); 12] = [
        (
            &[("add", "diameters"), ("at.0", "570 mm"), ("diameter.0", "22.3")],
            "diameter.0",
            "Diameter with its coat: `22.3` has no unit; write \"22.3 mm\" if that is",
        ),
        (
            &[("add", "diameters"), ("at.2", "570 mm"), ("diameter.2", "250 degC")],
            "diameter.2",
            "Diameter with its coat: ",
        ),
        (
            &[("add", "diameters"), ("at.3", "20 mm"), ("diameter.3", "22.3 mm")],
            "at.3",
            "found a place of 20 mm, where no coat was planned; accepted: ",
        ),
        (&[("add", "diameters")], "at.0", "nothing is given; accepted: a place"),
        (
            &[("add", "thickness"), ("at.0", "570"), ("reading.0", "0.1 mm")],
            "at.0",
            "Place from the chuck face: ",
        ),
        (
            &[
                ("add", "thickness"),
                ("at.0", "570 mm"),
                ("reading.0", "0.1 mm"),
                ("stage", "polished"),
            ],
            "stage",
            "found `polished`; accepted: as-sprayed, fused, finished",
        ),
        (
            &[("add", "hardness"), ("at.0", "570 mm"), ("reading.0", "58")],
            "reading.0",
            "Reading: `58` ",
        ),
        (
            &[("add", "hardness"), ("at.0", "570 mm"), ("reading.0", "58 HRC")],
            "coat",
            "Coat there: nothing is given, and no thickness was read",
        ),
        (&[("add", "run-out"), ("run_out", "0.03")], "run_out", "Run-out: "),
        (
            &[("add", "decide"), ("verdict", "scrap"), ("reason", "")],
            "reason",
            "Reason: nothing is given; accepted: why the part is lost",
        ),
        (
            &[("add", "take-back"), ("number", "x"), ("reason", "y")],
            "number",
            "Number: found `x`; accepted: the number of something that was added",
        ),
        (&[("add", "hold-point"), ("point", "a\u{1b}[2Jb")], "point", "control characters"),
    ];
    for (fields, field, words) in cases {
        let answer = operator.post(PAGE, fields);
        assert_eq!(answer.status, 403, "{answer:?}");
        let reply = reply(&answer);
        println!("{}", reply["why"]);
        assert_eq!((&reply["answer"], &reply["field"]), (&"refused".into(), &field.into()));
        let why = reply["why"].as_str().expect("words");
        assert!(why.contains(words) && why.lines().count() == 1, "{words}: {why}");
        assert!(why.contains("accepted: ") || why.contains("such as"), "{why}");
    }
    served.wrote_refused("record latest: run-out", "0.03");
    let found = marks(&served.records());
    assert!(found.is_empty(), "{found:?}");
}

#[test]
fn what_no_page_of_theirs_has_sent_adds_nothing_and_what_is_sent_again_adds_it_once() {
    let served = Served::after(sprayed());
    let (operator, other) = (Browser::of(&served, "Operator"), Browser::of(&served, "Fitter"));
    let post = |headers: &[(&str, &str)], form: &str, id: &str| {
        let fields = [("add", "hold-point"), ("point", "bore"), ("form", form), ("id", id)];
        served.post(PAGE, headers, &fields)
    };
    let nobody = post(&[], &operator.form, &new_id());
    assert_eq!(nobody.status, 401, "{nobody:?}");
    served.wrote_refused("POST /records/latest", "sign in first");
    let own = operator.headers();
    for elsewhere in [("Origin", "http://elsewhere.example"), ("Sec-Fetch-Site", "cross-site")] {
        let answer = post(&[&own[..], &[elsewhere]].concat(), &operator.form, &new_id());
        assert_eq!(answer.status, 403, "{elsewhere:?}: {answer:?}");
        served.wrote_refused("POST /records/latest", "not the panel's");
    }
    for form in ["", "x", other.form.as_str()] {
        assert_eq!(post(&own, form, &new_id()).status, 403);
    }
    served.wrote_refused("record latest: hold-point", "not come from a page of this session");
    assert_eq!(post(&own, &operator.form, "").status, 400);
    assert!(marks(&served.records()).is_empty());

    let id = new_id();
    assert_eq!(post(&own, &operator.form, &id).status, 200);
    assert_eq!(post(&own, &operator.form, &id).status, 409);
    served.wrote_refused("record latest: hold-point", "answered before");
    assert_eq!(marks(&served.records()).len(), 1);
}

#[test]
fn a_form_that_no_page_has_changes_nothing() {
    let served = Served::after(sprayed());
    let operator = Browser::of(&served, "Operator");
    let many: Vec<(String, String)> =
        (0..5000).map(|row| (format!("at.{row}"), "570 mm".to_owned())).collect();
    let mut many: Vec<(&str, &str)> =
        many.iter().map(|(name, text)| (name.as_str(), text.as_str())).collect();
    many.push(("add", "thickness"));
    let begun = std::time::Instant::now();
    let refused = reply(&operator.post(PAGE, &many));
    println!("5000 readings are refused after {:.0} ms", begun.elapsed().as_secs_f64() * 1000.0);
    assert!(refused["why"].as_str().expect("words").contains("found readings: 5000"), "{refused}");
    for fields in [
        &[("add", "settled")][..],
        &[],
        &[("add", "release"), ("number", "1")],
        &[("add", "take-back"), ("number", "9223372036854775807"), ("reason", "x")],
        &[("add", "thickness"), ("at.18446744073709551615", "570 mm")],
        &[("add", "decide"), ("verdict", "good")],
        // Nobody is somebody else by a field.
        &[("add", "hold-point"), ("person", "B. Engineer"), ("point", "")],
    ] {
        let answer = operator.post(PAGE, fields);
        assert_eq!(answer.status, 403, "{fields:?}: {answer:?}");
    }
    for run in ["2020-01-01-001", "..%2fruns.sqlite", "%00"] {
        let answer = operator.post(&format!("/records/{run}"), &[("add", "run-out")]);
        assert_eq!(answer.status, 403, "{run}: {answer:?}");
    }
    assert!(marks(&served.records()).is_empty());
    let named = [("add", "hold-point"), ("person", "B. Engineer"), ("point", "bore")];
    accepted(&operator.post(PAGE, &named));
    assert_eq!(marks(&served.records())[0].mark.person, "C. Operator");
}

#[test]
fn a_rehearsal_makes_no_part_and_nothing_is_added_to_it() {
    let folder = tempfile::tempdir().expect("a folder");
    let records = folder.path().join("rehearsed.sqlite");
    std::fs::copy(sprayed(), &records).expect("copied");
    rehearse(&records);
    let served = Served::after(&records);
    let operator = Browser::of(&served, "Operator");
    let page = operator.get(PAGE).body;
    assert!(page.contains("a rehearsal makes no part") && !page.contains("name=\"add\""));
    let answer = reply(&operator.post(PAGE, &[("add", "run-out"), ("run_out", "0.03 mm")]));
    assert!(answer["why"].as_str().expect("words").contains("makes no part"), "{answer}");
    assert!(marks(&served.records()).is_empty());
}

/// Adds a rehearsal of the run that is there.
fn rehearse(records: &Path) {
    use evenpass::record::{Ending, Recorder, RunEnd, RunHeader, RunRecord};
    let store = Store::open_existing(records).expect("records");
    let RunRecord { recipe, rig, .. } =
        store.run(&store.find("latest").expect("a run")).expect("a run");
    let header = RunHeader {
        started_at: jiff::Timestamp::now(),
        kind: RunKind::Rehearsed,
        title: "Rehearsed".to_owned(),
        recipe,
        rig,
        program: Value::Null,
        forecast: Value::Null,
        basis: None,
        software: "0".to_owned(),
        seed: None,
        particulars: std::collections::BTreeMap::new(),
        first_entry: 1,
    };
    let end = RunEnd {
        ending: Ending::Complete,
        ended_at: jiff::Timestamp::now(),
        first_cause: None,
        totals: Value::Null,
        deviations: Vec::new(),
    };
    Recorder::begin(store, &header).expect("begun").finish(end).expect("ended");
}
