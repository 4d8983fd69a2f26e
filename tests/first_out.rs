//! The first cause with its images around it, and the effects with their times, from the machine
//! to the record.

#![allow(
    clippy::print_stdout,
    clippy::panic,
    clippy::expect_used,
    clippy::indexing_slicing,
    reason = "a test prints its figures, and fails where it cannot go on"
)]

mod support;

use std::collections::BTreeMap;

use evenpass::cli::records::{self, Reader};
use evenpass::record::response::{EffectRow, Response, responses};
use evenpass::record::{Ending, Recorder, RunEnd, RunHeader, RunKind, Source, Store};
use evenpass_core::ledger::Entry;
use evenpass_core::request::{Answer, Request};
use evenpass_core::sequence::Phase;
use evenpass_hil::{Fault, LineFault, LineIndex, PlantFault};
use jiff::tz::TimeZone;
use serde_json::Value;
use support::jobs::Texts;
use support::{Begin, Rehearsal};

const SEED: u64 = 11;

fn shaft() -> Rehearsal {
    Rehearsal::new(Texts::of("reference-shaft").job(), SEED, Begin::Attended)
}

fn only(run: &Rehearsal) -> Response {
    let mut all = responses(&run.entries);
    assert_eq!(all.len(), 1, "seed {SEED}: {all:#?}");
    all.remove(0)
}

fn effect<'a>(response: &'a Response, part: &str) -> &'a EffectRow {
    let found = response.effects.iter().find(|row| row.part == part);
    found.unwrap_or_else(|| panic!("seed {SEED}: no {part} in {:#?}", response.effects))
}

/// A flame blown out in mid-pass, run to the latched trip.
fn flame_lost() -> Rehearsal {
    let mut run = shaft();
    run.until_pass_is_at(3, 160.0);
    run.bench().inject(Fault::Plant(PlantFault::FlameBlownOut));
    run.expect("the trip is carried out", 60.0, |this| this.phase() == Phase::Aborted);
    run
}

#[test]
fn a_trip_records_every_effect_with_its_time_in_the_order_of_the_trade() {
    let run = flame_lost();
    let trip = only(&run);
    assert_eq!((trip.key.as_str(), trip.class.as_str()), ("flame_lost", "trip"));
    assert_eq!(trip.remaining, "everything can be done by command");
    let cause = trip.cause.as_ref().expect("told whole");
    assert!(cause.done.starts_with("powder off, fuel shut, oxygen shut"), "{}", cause.done);
    let since = cause.since.expect("since when");
    assert_eq!((cause.at - since).as_millis(), 300, "the filter of 0.3 s");
    // All in one scan, one frame on the wire, then the module's own latency.
    let mut wires = Vec::new();
    for part in ["powder", "fuel", "oxygen"] {
        let row = effect(&trip, part);
        assert_eq!(row.asked_us, Some(0), "{part}");
        let wire = row.on_the_wire_us.expect(part);
        assert!(wire < 100_000, "{part}: {wire} us");
        wires.push(wire);
        let read_back = row.read_back_us.expect(part);
        assert!(wire < read_back, "{part}: acknowledged before it is read back");
    }
    assert!(wires.windows(2).all(|pair| pair[0] == pair[1]), "one frame: {wires:?}");
    for part in ["fuel", "oxygen"] {
        assert!(effect(&trip, part).seen_us.is_some(), "{part} proved shut");
    }
    let carriage = effect(&trip, "carriage");
    assert_eq!(carriage.asked_us, Some(0));
    assert!(carriage.what.starts_with("torch withdrawn"), "{}", carriage.what);
    let clear = effect(&trip, "torch").seen_us.expect("clear");
    let purge = effect(&trip, "purge");
    let (begun, ended) = (purge.asked_us.expect("begun"), purge.seen_us.expect("ended"));
    assert!(clear <= begun, "purged only once clear");
    assert!(ended - begun >= 5_000_000, "a purge of five seconds: {}", ended - begun);
    println!("seed {SEED}: wire {wires:?} us, clear {clear} us, purge {begun} to {ended} us");
}

#[test]
fn the_images_around_a_trip_show_the_flame_going_with_its_age_before_and_after() {
    let run = flame_lost();
    let images = only(&run).images.expect("kept");
    let before = images.times_us.iter().filter(|time| **time < 0).count();
    let after = images.times_us.iter().filter(|time| **time > 0).count();
    assert!(before >= 12 && after >= 10, "{:?}", images.times_us);
    assert!(images.times_us.windows(2).all(|pair| pair[0] < pair[1]), "{:?}", images.times_us);
    let flame = images.signals.iter().find(|signal| signal.name == "flame sensor").expect("told");
    assert_eq!(flame.shown.first().map(String::as_str), Some("on"), "before it was lost");
    let zero = images.times_us.iter().position(|time| *time == 0).expect("the scan it counted in");
    assert_eq!(flame.shown[zero], "off");
    assert!(flame.age_ms.iter().flatten().all(|age| *age < 200), "{:?}", flame.age_ms);
    let powder = images.signals.iter().find(|signal| signal.name == "powder asked").expect("told");
    // What was asked when the image was read: the scan itself takes it away.
    assert_eq!((powder.shown[zero].as_str(), powder.shown[zero + 1].as_str()), ("on", "off"));
}

#[test]
fn a_hold_and_a_stop_asked_from_the_seat_have_their_times_too() {
    let mut run = shaft();
    run.until_pass_is_at(2, 160.0);
    assert_eq!(run.ask(Request::Hold), Answer::Accepted);
    run.expect("held", 60.0, |this| this.phase() == Phase::Held);
    run.wait(2.0);
    assert_eq!(run.ask(Request::Stop), Answer::Accepted);
    run.expect("stopped", 3600.0, |this| this.phase() == Phase::Stopped);
    let all = responses(&run.entries);
    let classes: Vec<&str> = all.iter().map(|one| one.class.as_str()).collect();
    assert_eq!(classes, ["hold", "stop"], "seed {SEED}");
    let hold = &all[0];
    assert_eq!(effect(hold, "powder").asked_us, Some(0));
    let sent = effect(hold, "carriage").asked_us.expect("sent to the park");
    assert!(sent >= 500_000, "the hose empties over the pass first: {sent} us");
    assert!(hold.effects.iter().all(|row| row.part != "fuel"), "lit at the park");
    let stop = &all[1];
    let fuel = effect(stop, "fuel").asked_us.expect("shut");
    let purge = effect(stop, "purge");
    assert!(purge.asked_us.expect("begun") >= fuel, "purged after the gas was shut");
}

#[test]
fn with_the_field_line_cut_the_record_says_that_only_the_relay_is_left() {
    let mut run = shaft();
    run.until_pass_is_at(2, 160.0);
    run.bench().inject(Fault::Line { line: LineIndex::Field, fault: LineFault::Cut, chance: 1.0 });
    run.expect("tripped", 5.0, |this| this.phase() == Phase::Aborting);
    run.wait(2.0);
    let trip = only(&run);
    assert_eq!(trip.key, "field_silent");
    assert!(trip.remaining.contains("fuel shut by the watchdog relay"), "{}", trip.remaining);
    assert!(trip.remaining.contains("torch withdrawn to the park not possible"));
    let fuel = effect(&trip, "fuel");
    assert_eq!((fuel.asked_us, fuel.on_the_wire_us), (Some(0), None), "asked, never heard");
}

#[test]
fn records_show_tells_the_first_cause_its_effects_and_the_images_around_it() {
    let run = flame_lost();
    let folder = tempfile::tempdir().expect("a temporary folder");
    let file = folder.path().join("records.sqlite");
    record(&file, &run.entries);
    let store = Store::open_existing(&file).expect("open");
    let mut shown = Vec::new();
    records::show(&store, "latest", Reader::Person, &TimeZone::UTC, &mut shown).expect("shown");
    let shown = String::from_utf8(shown).expect("text");
    println!("{shown}");
    for told in [
        "Flame lost, pass ",
        "powder off, fuel shut, oxygen shut",
        "since",
        "to do",
        "fuel shut",
        "on the wire",
        "Images around it",
        "flame sensor",
    ] {
        assert!(shown.contains(told), "{told} is missing:\n{shown}");
    }
    assert!(shown.lines().all(|line| line.chars().count() <= 100), "{shown}");
}

fn record(file: &std::path::Path, entries: &[Entry]) {
    let source = || Source { name: "reference-shaft.toml".to_owned(), text: String::new() };
    let header = RunHeader {
        started_at: "2026-11-28T09:00:00Z".parse().expect("RFC 3339"),
        kind: RunKind::Rehearsed,
        title: "Reference shaft".to_owned(),
        recipe: source(),
        rig: source(),
        program: Value::Null,
        forecast: Value::Null,
        basis: None,
        software: "0.1.0".to_owned(),
        seed: Some(SEED),
        particulars: BTreeMap::new(),
        first_entry: 1,
    };
    let recorder = Recorder::begin(Store::open(file).expect("open"), &header).expect("begin");
    entries.iter().for_each(|entry| recorder.deliver(entry.clone()));
    let end = RunEnd {
        ending: Ending::Tripped,
        ended_at: "2026-11-28T09:30:00Z".parse().expect("RFC 3339"),
        first_cause: Some("Flame lost".to_owned()),
        totals: Value::Null,
        deviations: Vec::new(),
    };
    recorder.finish(end).expect("finish");
}
