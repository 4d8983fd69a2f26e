//! What becomes of one record, entry by entry.

use std::time::Duration;

use evenpass_core::batch::Scrapped;
use evenpass_core::ledger::EntryKind;
use evenpass_core::quantity::Mass;
use evenpass_core::request::Request;
use evenpass_core::scan::Controller;
use serde_json::{Value, json};

use super::*;
use crate::batch::before::Need;
use crate::batch::telling;
use crate::files::Places;
use crate::learning::Lessons;
use crate::record::{Batch, BatchId, Ordered, Outcome, RunRecord, Said, Source};

struct Scene {
    keeper: Inside,
    folder: tempfile::TempDir,
    number: u64,
    at: Moment,
    _snapshots: watch::Sender<Arc<Snapshot>>,
}

impl Scene {
    /// A keeper with a loaded job.
    fn new() -> Self {
        let folder = tempfile::tempdir().unwrap();
        let (rig, _) = crate::files::rig(None).unwrap();
        let snapshot = Controller::new(&rig).unwrap().snapshot();
        let (to_snapshots, snapshots) = watch::channel(Arc::new(snapshot));
        let records = Some(folder.path().join("runs.sqlite"));
        let zones: ZonesOf = Box::new(|_| Vec::new());
        let next_part: NextPart = Box::new(|| ());
        let kind = RunKind::Twin;
        let machine = Machine { kind, seed: Some(1), records, snapshots, zones, next_part };
        let mut keeper = Inside::of(machine, watch::channel(Kept::default()).0);
        let recipe =
            std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("config/recipes/short-job.toml");
        let places = Places { rig: None, catalogue: None };
        keeper.loaded = Some(Arc::new(Loaded::read(&recipe, places, Lessons::Ignored).unwrap()));
        Self { keeper, folder, number: 0, at: Moment::START, _snapshots: to_snapshots }
    }

    fn told(&mut self, kind: EntryKind, cause: &str, data: Value) {
        self.number += 1;
        let (number, at, cause) = (self.number, self.at, cause.to_owned());
        self.keeper.entry(Entry { number, at, kind, text: String::new(), cause, data });
    }

    /// Told right after what it led to.
    fn start(&mut self, person: &str, answer: &str) {
        let data = json!({ "request": Request::Start, "answer": answer, "person": person });
        self.told(EntryKind::Request, "", data);
    }

    fn goes(&mut self, from: Leaf, to: Leaf) {
        self.at = self.at + Duration::from_secs(1);
        self.told(EntryKind::State, "", json!({ "from": from.name(), "to": to.name() }));
    }

    fn weighs(&mut self, hopper: &str) {
        self.at = self.at + Duration::from_secs(1);
        self.told(EntryKind::Sample, "", json!({ "hopper": hopper }));
    }

    fn runs(&mut self) -> Vec<RunRecord> {
        self.keeper.give_up();
        let store = Store::open_existing(&self.folder.path().join("runs.sqlite")).unwrap();
        let runs = store.runs().unwrap();
        runs.iter().map(|run| store.run(&run.id).unwrap()).collect()
    }
}

fn starter(run: &RunRecord) -> Option<&str> {
    run.particulars.get("started by").map(String::as_str)
}

#[test]
fn a_record_is_of_who_began_the_job_and_not_of_who_was_denied() {
    let mut scene = Scene::new();
    scene.keeper.opens().unwrap();
    scene.start("Ann", "denied");
    scene.keeper.opens().unwrap();
    scene.goes(Leaf::Ready, Leaf::Checking);
    scene.start("Ben", "accepted");
    scene.goes(Leaf::Checking, Leaf::Stopped);
    let runs = scene.runs();
    assert_eq!(runs.len(), 1, "{runs:?}");
    assert_eq!(starter(&runs[0]), Some("Ben"));
    assert_eq!(runs[0].summary.outcome, Outcome::Stopped);
}

#[test]
fn what_is_said_of_a_part_stands_in_its_record_and_not_in_that_of_the_next_one() {
    let of = |words: &str| {
        let mut part = Particulars::none();
        part.put("serial", words).unwrap();
        part
    };
    let mut scene = Scene::new();
    scene.keeper.opens().unwrap();
    // The record is open already when it is said.
    scene.keeper.say(of("S-6"));
    scene.keeper.say(of("S-7"));
    scene.keeper.say(Particulars::none());
    scene.goes(Leaf::Ready, Leaf::Checking);
    scene.start("Ann", "accepted");
    scene.goes(Leaf::Checking, Leaf::Complete);
    scene.goes(Leaf::Complete, Leaf::Ready);
    for said in [None, Some("S-9")] {
        if let Some(said) = said {
            scene.keeper.say(of(said));
        }
        scene.keeper.opens().unwrap();
        scene.goes(Leaf::Ready, Leaf::Checking);
        scene.start("Ann", "accepted");
        scene.goes(Leaf::Checking, Leaf::Stopped);
        scene.goes(Leaf::Stopped, Leaf::Ready);
    }
    let runs = scene.runs();
    let serials: Vec<_> = runs.iter().map(|run| run.particulars.get("serial")).collect();
    let serials: Vec<_> = serials.into_iter().map(|serial| serial.map(String::as_str)).collect();
    assert_eq!(serials, [Some("S-7"), None, Some("S-9")]);
}

#[test]
fn a_start_that_found_the_datum_names_nobody_who_starts_the_job_by_the_button() {
    let mut scene = Scene::new();
    scene.goes(Leaf::NotReady, Leaf::Homing);
    scene.start("Ann", "accepted");
    scene.goes(Leaf::Homing, Leaf::Ready);
    scene.goes(Leaf::Ready, Leaf::Checking);
    scene.weighs("9000 g");
    scene.start("Ann", "denied");
    scene.goes(Leaf::Checking, Leaf::Stopped);
    assert_eq!(scene.runs().iter().map(starter).collect::<Vec<_>>(), [None]);
}

#[test]
fn times_and_totals_of_a_record_count_from_the_start_of_its_job() {
    let mut scene = Scene::new();
    scene.weighs("2000 g");
    scene.goes(Leaf::NotReady, Leaf::Homing);
    scene.goes(Leaf::Homing, Leaf::Ready);
    scene.keeper.opens().unwrap();
    // The hopper is filled before the start.
    scene.weighs("9000 g");
    scene.goes(Leaf::Ready, Leaf::Checking);
    scene.start("Ann", "accepted");
    scene.weighs("9000 g");
    scene.weighs("8400 g");
    scene.goes(Leaf::Checking, Leaf::Complete);
    let run = scene.runs().remove(0);
    assert_eq!(starter(&run), Some("Ann"));
    assert_eq!(run.summary.powder.unwrap().to_string(), "600 g");
    let numbers: Vec<u64> = run.entries.iter().map(|entry| entry.number).collect();
    assert_eq!(numbers, [5, 6, 7, 8, 9]);
    assert!((run.summary.lasted.s() - 3.0).abs() < 1e-9, "{:?}", run.summary.lasted);
    assert!(run.gaps.is_empty(), "{:?}", run.gaps);
}

#[test]
fn entries_that_found_no_room_are_counted_and_a_state_among_them_is_followed_all_the_same() {
    let mut scene = Scene::new();
    scene.goes(Leaf::Ready, Leaf::Checking);
    scene.start("Ann", "accepted");
    scene.number += 3;
    scene.weighs("8400 g");
    // The entry of the job's end is among these.
    scene.number += 2;
    scene.goes(Leaf::Complete, Leaf::Ready);
    let run = scene.runs().remove(0);
    assert_eq!(run.summary.outcome, Outcome::Complete);
    assert_eq!(run.lost, Some(5));
    assert_eq!(run.gaps.first().map(|gap| (gap.first, gap.last)), Some((3, 5)));
}

#[test]
fn a_record_that_was_opened_for_a_start_that_never_came_ends_as_not_started() {
    let mut scene = Scene::new();
    scene.keeper.opens().unwrap();
    scene.start("Ann", "denied");
    scene.keeper.finish(End::Held);
    let run = scene.runs().remove(0);
    assert_eq!(run.summary.outcome, Outcome::Failed);
    assert!(run.entries.is_empty(), "{:?}", run.entries);
}

#[test]
fn what_a_job_told_while_no_record_could_be_opened_is_counted_where_it_found_no_room() {
    let mut scene = Scene::new();
    let records = scene.keeper.machine.records.replace(scene.folder.path().to_owned());
    scene.goes(Leaf::Ready, Leaf::Checking);
    scene.start("Ann", "accepted");
    (0..BEFORE + 20).for_each(|_| scene.weighs("9000 g"));
    scene.number += 3;
    scene.weighs("9000 g");
    scene.keeper.machine.records = records;
    scene.goes(Leaf::Checking, Leaf::Purging);
    scene.goes(Leaf::Purging, Leaf::Stopped);
    let told = scene.number;
    let run = scene.runs().remove(0);
    assert_eq!(run.summary.outcome, Outcome::Stopped);
    assert_eq!(run.entries.len() as u64 + run.lost.unwrap(), told, "each is there or counted");
    assert_eq!(run.gaps.iter().map(|gap| gap.count()).sum::<u64>(), run.lost.unwrap());
    assert_eq!(run.gaps.first().map(|gap| gap.first), Some(1), "from the job's first entry on");
}

#[test]
fn a_record_that_ended_with_entries_missing_is_shown_until_the_next_one_begins() {
    let mut scene = Scene::new();
    let shown = scene.keeper.show.subscribe();
    scene.goes(Leaf::Ready, Leaf::Checking);
    scene.start("Ann", "accepted");
    scene.number += 3;
    scene.goes(Leaf::Checking, Leaf::Complete);
    while scene.keeper.leaving.iter().any(|leaving| !leaving.is_over()) {
        std::thread::yield_now();
    }
    scene.keeper.look_at_ends();
    let trouble = shown.borrow().trouble.clone().unwrap();
    assert!(trouble.ends_with("misses 3 entries: the disk could not keep up"), "{trouble}");
    scene.keeper.opens().unwrap();
    assert_eq!(shown.borrow().trouble, None);
}

#[test]
fn entries_that_found_no_room_right_before_the_program_ends_are_counted() {
    let mut scene = Scene::new();
    scene.goes(Leaf::Ready, Leaf::Checking);
    let (to, inbox) = super::super::inbox::inbox();
    to.entry(Entry {
        number: 7,
        at: scene.at,
        kind: EntryKind::Sample,
        text: String::new(),
        cause: String::new(),
        data: Value::Null,
    });
    assert!(inbox.next(None).is_ok(), "as if it had found no room");
    to.tell(Told::Quit);
    let folder = scene.folder;
    scene.keeper.run(&inbox);
    let store = Store::open_existing(&folder.path().join("runs.sqlite")).unwrap();
    let run = store.run(&store.find("latest").unwrap()).unwrap();
    assert_eq!((run.entries.len(), run.lost), (1, Some(6)));
}

/// An order for parts of the job in hand.
fn ordered(scene: &Scene, name: &str, serials: &[&str]) -> Store {
    let job = &scene.keeper.loaded.as_ref().unwrap().job;
    let batch = Batch {
        id: BatchId::stored(name.to_owned()),
        made_at: "2026-11-25T08:00:00Z".parse().unwrap(),
        person: "Ann".to_owned(),
        rig: job.rig.title.clone(),
        kind: RunKind::Twin,
        recipe: Source { name: "short-job.toml".to_owned(), text: job.recipe_source.text.clone() },
        ordered: Ordered {
            serials: serials.iter().map(|&serial| serial.to_owned()).collect(),
            measured_every: None,
            scrapped: Scrapped::MadeAgain,
            tip_every: None,
            particulars: std::collections::BTreeMap::new(),
        },
    };
    let mut store = Store::open(&scene.folder.path().join("runs.sqlite")).unwrap();
    store.keep_batch(&batch).unwrap();
    store
}

#[test]
fn a_start_of_the_next_part_of_a_batch_stamps_it_and_tells_what_nobody_told_as_done() {
    let mut scene = Scene::new();
    let store = ordered(&scene, "B2", &["S-1", "S-2"]);
    for serial in ["S-1", "S-2"] {
        scene.keeper.opens().unwrap();
        scene.goes(Leaf::Ready, Leaf::Checking);
        scene.start("Ann", "accepted");
        scene.goes(Leaf::Checking, Leaf::Complete);
        scene.keeper.give_up();
        let run = scene.runs().pop().unwrap();
        let (of, part) = store.batch_of(&run.summary.id).unwrap().unwrap();
        assert_eq!((of.as_str(), part.serial.as_str()), ("B2", serial));
        assert_eq!(run.particulars["serial"], serial);
        assert_eq!(starter(&run), Some("Ann"));
        assert!(run.deviations[0].what.contains("nobody has said what is in the hopper"));
    }
    let loaded = scene.keeper.loaded.clone().unwrap();
    assert!(scene.keeper.part_begun(&loaded).is_none(), "all parts are made");
}

#[test]
fn a_part_is_of_the_order_that_was_chosen_and_of_no_other_be_its_record_open_already() {
    let mut scene = Scene::new();
    ordered(&scene, "B1", &["R-1"]);
    let store = ordered(&scene, "B2", &["S-1", "S-2", "S-3"]);
    // As with a start that came to nothing: the record is open, and says the order made last.
    scene.keeper.opens().unwrap();
    for (chosen, serial) in [
        (Chosen::Order(BatchId::stored("B1".to_owned())), Some("R-1")),
        // All of that order are made, and no part of another is made in its stead.
        (Chosen::Order(BatchId::stored("B1".to_owned())), None),
        (Chosen::Without, None),
        (Chosen::Latest, Some("S-1")),
    ] {
        scene.keeper.order(chosen.clone());
        scene.goes(Leaf::Ready, Leaf::Checking);
        // What is told of an order while a part is made changes nothing of that part.
        scene.keeper.order(Chosen::Latest);
        scene.goes(Leaf::Checking, Leaf::Complete);
        scene.keeper.give_up();
        let run = scene.runs().into_iter().rfind(|run| run.summary.outcome == Outcome::Complete);
        let of = store.batch_of(&run.unwrap().summary.id).unwrap();
        assert_eq!(of.map(|(_, part)| part.serial).as_deref(), serial, "{chosen:?}");
    }
    let outcomes = scene.runs().into_iter().map(|run| run.summary.outcome);
    assert_eq!(outcomes.filter(|outcome| *outcome == Outcome::Complete).count(), 4);
}

#[test]
fn a_start_that_came_to_nothing_is_no_part_that_is_made_and_takes_nothing_of_what_there_is() {
    let mut scene = Scene::new();
    let mut store = ordered(&scene, "B1", &["S-1", "S-2"]);
    let batch = store.batch(&BatchId::stored("B1".to_owned())).unwrap();
    let ended = Timestamp::now();
    for said in
        [Said::Refilled { holds: Mass::from_g(100.0) }, Said::Blasted { parts: vec![1, 2], ended }]
    {
        telling::keep(&mut store, &batch, "Ann", said).unwrap();
    }
    let next = |scene: &Scene| {
        let loaded = scene.keeper.loaded.clone().unwrap();
        let serving = Serving {
            records: scene.keeper.machine.records.as_deref(),
            kind: RunKind::Twin,
            job: &loaded.job,
            plan: &loaded.plan,
            chosen: &Chosen::Latest,
        };
        serving.next(ended + Duration::from_secs(60)).unwrap().unwrap().before
    };
    let before = next(&scene);
    assert_eq!(before.needs, [], "{before:?}");
    scene.keeper.opens().unwrap();
    assert_eq!(next(&scene), before, "while its record is open");
    scene.keeper.order(Chosen::Latest);
    scene.keeper.give_up();
    assert_eq!(scene.runs().len(), 1);
    assert_eq!(next(&scene), before, "once it is shut");
    // One that began is another thing.
    scene.keeper.opens().unwrap();
    scene.goes(Leaf::Ready, Leaf::Checking);
    scene.weighs("100 g");
    scene.keeper.open.as_ref().unwrap().keeping.flush();
    let after = next(&scene);
    assert_eq!(after.part.number, 2);
    assert_eq!(after.needs, [Need::PartIsMade { number: 1 }]);
}
