//! The machine as it is served: a job from loading to its end by commands from the seat, with
//! hands at the twin that only do what hands must.

#![allow(
    clippy::print_stdout,
    clippy::panic,
    clippy::expect_used,
    clippy::indexing_slicing,
    clippy::string_slice,
    reason = "a test prints its figures, and fails where it cannot go on"
)]

use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};

use evenpass::files::{self, Places};
use evenpass::learning::Lessons;
use evenpass::record::{Outcome, Store};
use evenpass::station::{Commander, Loaded, Place, Refused, Setup, Sitter, Station};
use evenpass_core::quantity::Length;
use evenpass_core::request::{Answer, Request};
use evenpass_core::scan::NO_DATUM;
use evenpass_core::sequence::{Ask, Leaf, Phase};

/// How many times faster than life the twin goes here.
const PACE: f64 = 20.0;

struct Scene {
    station: Station,
    folder: tempfile::TempDir,
    runtime: tokio::runtime::Runtime,
}

impl Scene {
    fn new() -> Self {
        let folder = tempfile::tempdir().expect("a folder");
        let (rig, rig_source) = files::rig(None).expect("the bench's rig");
        let records = Some(folder.path().join("runs.sqlite"));
        let station = Station::on_twin(Setup { rig, rig_source, records }, 1, PACE);
        let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build();
        Self { station: station.expect("a station"), folder, runtime: runtime.expect("a runtime") }
    }

    fn records(&self) -> PathBuf {
        self.folder.path().join("runs.sqlite")
    }

    fn load(&self, recipe: &str) {
        let config = Path::new(env!("CARGO_MANIFEST_DIR")).join("config");
        let path = config.join("recipes").join(recipe);
        let places = Places { rig: None, catalogue: Some(&config) };
        let loaded = Loaded::read(&path, places, Lessons::Ignored).expect("a job");
        let answer = self.runtime.block_on(self.station.load(loaded)).expect("loaded");
        assert_eq!(answer, Answer::Accepted);
    }

    fn ann(&self) -> Commander {
        let sitter = Sitter { key: "ann".into(), name: "Ann".into() };
        let turn = self.station.seat(|seat, now| {
            seat.take(&sitter, now);
            seat.turn()
        });
        Commander { sitter, place: Place::AtMachine, turn }
    }

    fn command(&self, request: Request) -> Result<Answer, Refused> {
        self.runtime.block_on(self.station.command(&self.ann(), request))
    }

    /// Waits until something is so, for at most so many seconds of the twin.
    fn until(&self, what: &str, seconds: f64, so: impl Fn(&evenpass_core::scan::Snapshot) -> bool) {
        let give_up = Instant::now() + Duration::from_secs_f64(seconds / PACE + 2.0);
        loop {
            let snapshot = self.station.snapshot();
            if so(&snapshot) {
                return;
            }
            let status = &snapshot.status;
            assert!(
                Instant::now() < give_up,
                "{what} never came: {}, missing {:?}, prompt {:?}, first cause {:?}",
                status.text,
                status.missing,
                status.prompt,
                status.first_cause
            );
            std::thread::sleep(Duration::from_millis(10));
        }
    }

    fn make_ready(&self) {
        self.station.at_bench(Box::new(evenpass_hil::Bench::turn_key_on)).expect("a bench");
        self.until("a missing datum alone", 60.0, |now| now.status.missing == [NO_DATUM]);
        assert_eq!(self.command(Request::Home), Ok(Answer::Accepted));
        assert_eq!(self.command(Request::Start), Ok(Answer::Accepted));
        self.until("ready", 120.0, |now| {
            now.status.prompt.is_some_and(|prompt| prompt.ask == Ask::Start)
        });
    }

    /// Answers whatever is asked until the job has ended.
    fn answer_until(&self, end: Phase, seconds: f64) {
        let give_up = Instant::now() + Duration::from_secs_f64(seconds / PACE + 5.0);
        loop {
            let snapshot = self.station.snapshot();
            let status = &snapshot.status;
            if status.phase == end {
                return;
            }
            assert!(Instant::now() < give_up, "still {}", status.text);
            assert_ne!(status.phase, Phase::Aborted, "{:?}", status.first_cause);
            if let Some(prompt) = status.prompt {
                if prompt.ask.is_answered_by_accept() {
                    // What cannot be accepted yet is asked again.
                    let _ = self.command(Request::Accept);
                } else if prompt.ask == Ask::CallWet {
                    let _ = self.command(Request::Wet);
                }
            }
            std::thread::sleep(Duration::from_millis(20));
        }
    }
}

/// Whether a job has begun: at this pace a phase may be over between two looks.
fn runs(now: &evenpass_core::scan::Snapshot) -> bool {
    matches!(now.status.phase, Phase::Starting | Phase::Lighting)
}

#[test]
fn a_job_runs_to_its_end_by_commands_and_its_record_names_who_started_it() {
    let scene = Scene::new();
    scene.load("short-job.toml");
    scene.make_ready();
    assert_eq!(scene.command(Request::Start), Ok(Answer::Accepted));
    scene.answer_until(Phase::Complete, 900.0);
    scene.station.quit().expect("a clean end");
    let store = Store::open_existing(&scene.records()).expect("records");
    let runs = store.runs().expect("a list");
    assert_eq!(runs.len(), 1, "{runs:?}");
    println!("{runs:?}");
    let run = store.run(&runs[0].id).expect("a run");
    assert_eq!(run.particulars.get("started by").map(String::as_str), Some("Ann"));
}

#[test]
fn the_same_job_again_is_another_part_with_a_bare_coat_and_a_record_of_its_own() {
    let scene = Scene::new();
    scene.load("short-job.toml");
    scene.make_ready();
    assert_eq!(scene.command(Request::Start), Ok(Answer::Accepted));
    scene.answer_until(Phase::Complete, 900.0);
    let middle = Length::from_mm(570.0);
    let coat = || scene.station.coat().map(|coat| coat.thickness_at(middle));
    let first = coat().expect("a coat");
    assert!(first > Length::from_mm(0.1), "{first}");
    assert_eq!(scene.command(Request::Reset), Ok(Answer::Accepted));
    scene.until("ready", 60.0, |now| now.status.leaf == Leaf::Ready);
    assert_eq!(scene.command(Request::Start), Ok(Answer::Accepted));
    scene.until("running", 60.0, runs);
    // The coat is published every half second.
    std::thread::sleep(Duration::from_millis(700));
    assert_eq!(coat(), Some(Length::ZERO));
    let stopped = scene.runtime.block_on(scene.station.take_away(Request::Stop, None));
    assert_eq!(stopped, Ok(Answer::Accepted));
    scene.until("stopped", 200.0, |now| now.status.phase == Phase::Stopped);
    scene.station.quit().expect("a clean end");
    let runs = Store::open_existing(&scene.records()).expect("records").runs().expect("a list");
    let outcomes: Vec<Outcome> = runs.iter().map(|run| run.outcome).collect();
    assert_eq!(outcomes, [Outcome::Complete, Outcome::Stopped]);
}

/// Somebody stops in the second of two passes, leaves the job, and takes it up again.
#[test]
fn the_rest_of_a_stopped_job_is_loaded_moves_nothing_and_completes_in_a_record_that_names_it() {
    let scene = Scene::new();
    scene.load("short-job.toml");
    scene.make_ready();
    assert_eq!(scene.command(Request::Start), Ok(Answer::Accepted));
    scene.answer_until(Phase::Spraying, 300.0);
    let in_two = |now: &evenpass_core::scan::Snapshot| {
        now.status.progress.as_ref().is_some_and(|at| at.pass.is_some_and(|(pass, _)| pass == 2))
    };
    scene.until("pass 2", 60.0, in_two);
    let stopped = scene.runtime.block_on(scene.station.take_away(Request::Stop, None));
    assert_eq!(stopped, Ok(Answer::Accepted));
    scene.until("stopped", 300.0, |now| now.status.phase == Phase::Stopped);
    assert_eq!(scene.command(Request::Reset), Ok(Answer::Accepted));
    scene.until("left", 60.0, |now| now.status.phase == Phase::Idle);

    let store = Store::open_existing(&scene.records()).expect("records");
    let rig = scene.station.rig().title.clone();
    let give_up = Instant::now() + Duration::from_secs(5);
    let first = loop {
        if let Some(run) = store.left_undone(&rig, scene.station.kind()).expect("read") {
            break run;
        }
        assert!(Instant::now() < give_up, "it is not found");
        std::thread::sleep(Duration::from_millis(20));
    };
    let config = Path::new(env!("CARGO_MANIFEST_DIR")).join("config");
    let cut = evenpass::resuming::cut_off(&store, &first, Some(&config), None).expect("it is read");
    println!("{}", cut.found);
    let rest = Loaded::rest(cut, None).expect("a rest");
    let answer = scene.runtime.block_on(scene.station.load(rest)).expect("loaded");
    assert_eq!(answer, Answer::Accepted);
    assert_eq!(store.left_undone(&rig, scene.station.kind()).expect("read"), Some(first.clone()));
    // Twenty seconds of the twin, with its key on and hands there: nothing begins by itself.
    for _ in 0..20 {
        std::thread::sleep(Duration::from_millis(50));
        let now = scene.station.snapshot();
        assert_eq!(now.status.phase, Phase::Idle, "{}", now.status.text);
    }
    scene.make_ready();
    assert_eq!(scene.command(Request::Start), Ok(Answer::Accepted));
    scene.answer_until(Phase::Complete, 900.0);
    assert_eq!(scene.command(Request::Reset), Ok(Answer::Accepted));
    scene.until("left", 60.0, |now| now.status.phase == Phase::Idle);
    // The next part is a bare one: the whole job is loaded for it.
    assert_eq!(scene.runtime.block_on(scene.station.next_part()), Ok(()));
    assert!(scene.station.loaded().expect("a job").goes_on.is_none());
    scene.station.quit().expect("a clean end");
    let runs = store.runs().expect("a list");
    let outcomes: Vec<Outcome> = runs.iter().map(|run| run.outcome).collect();
    assert_eq!(outcomes, [Outcome::Stopped, Outcome::Complete]);
    let second = store.run(&runs[1].id).expect("a run");
    assert_eq!(second.particulars["resumes"], first.to_string());
    assert_eq!(second.particulars["started by"], "Ann");
    assert_eq!(second.summary.passes_done, 1);
    assert_eq!(store.left_undone(&rig, scene.station.kind()).expect("read"), None);
}

#[test]
fn who_is_elsewhere_may_stop_and_nothing_that_starts() {
    let scene = Scene::new();
    scene.load("short-job.toml");
    scene.make_ready();
    let ben = Commander { place: Place::Elsewhere, ..scene.ann() };
    let ask = |request| scene.runtime.block_on(scene.station.command(&ben, request));
    assert_eq!(ask(Request::Start), Err(Refused::Elsewhere));
    assert_eq!(scene.command(Request::Start), Ok(Answer::Accepted));
    scene.until("running", 60.0, runs);
    let stopped = scene.runtime.block_on(scene.station.take_away(Request::Stop, None));
    assert_eq!(stopped, Ok(Answer::Accepted));
    scene.until("stopped", 200.0, |now| now.status.phase == Phase::Stopped);
    scene.station.quit().expect("a clean end");
}

#[test]
fn a_start_by_the_button_waits_for_no_record_and_what_keeps_it_from_being_written_is_shown() {
    let scene = Scene::new();
    scene.load("short-job.toml");
    scene.make_ready();
    // The disk turns away before the button is pressed.
    std::fs::create_dir(scene.records()).expect("in the way");
    let press = |bench: &mut evenpass_hil::Bench| bench.press(evenpass_hil::Button::Start);
    scene.station.at_bench(Box::new(press)).expect("a bench");
    scene.until("running", 60.0, runs);
    let give_up = Instant::now() + Duration::from_secs(5);
    while scene.station.kept().trouble.is_none() {
        assert!(Instant::now() < give_up, "nothing is shown: {:?}", scene.station.kept());
        std::thread::sleep(Duration::from_millis(10));
    }
    println!("{:?}", scene.station.kept());
    let stopped = scene.runtime.block_on(scene.station.take_away(Request::Stop, None));
    assert_eq!(stopped, Ok(Answer::Accepted));
    scene.until("stopped", 200.0, |now| now.status.phase == Phase::Stopped);
    scene.station.quit().expect("a clean end");
}

/// Another program that holds the records.
fn held(records: &Path) -> rusqlite::Connection {
    let other = rusqlite::Connection::open(records).expect("records");
    other.execute_batch("BEGIN EXCLUSIVE").expect("held");
    other
}

/// A job that is ready, with records that are there.
fn ready() -> Scene {
    let scene = Scene::new();
    scene.load("short-job.toml");
    scene.make_ready();
    drop(Store::open(&scene.records()).expect("records"));
    scene
}

/// A start by somebody, on a thread of its own, and how long its answer took.
fn starts(
    scene: &Scene,
    who: Commander,
) -> std::thread::JoinHandle<(Result<Answer, Refused>, Duration)> {
    let station = scene.station.clone();
    std::thread::spawn(move || {
        let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build();
        let begun = Instant::now();
        let answer = runtime.expect("a runtime").block_on(station.command(&who, Request::Start));
        (answer, begun.elapsed())
    })
}

#[test]
fn a_start_that_waited_for_the_disk_goes_out_no_more_once_its_maker_has_lost_the_seat() {
    let scene = ready();
    let other = held(&scene.records());
    let ann = starts(&scene, scene.ann());
    std::thread::sleep(Duration::from_millis(300));
    let ben = Sitter { key: "ben".into(), name: "Ben".into() };
    let turn = scene.station.seat(|seat, now| {
        seat.leave("ann");
        seat.take(&ben, now);
        seat.turn()
    });
    other.execute_batch("ROLLBACK").expect("let go");
    let (answer, took) = ann.join().expect("answered");
    println!("after {took:?}: {answer:?}");
    assert!(matches!(answer, Err(Refused::NotSeated(_))), "{answer:?}");
    assert_eq!(scene.station.snapshot().status.leaf, Leaf::Ready);
    // The record that was opened for it is that of the start that comes, and of who made it.
    let ben = Commander { sitter: ben, place: Place::AtMachine, turn };
    assert_eq!(starts(&scene, ben).join().expect("answered").0, Ok(Answer::Accepted));
    scene.until("running", 60.0, runs);
    scene.runtime.block_on(scene.station.take_away(Request::Stop, None)).expect("stopped");
    scene.until("stopped", 200.0, |now| now.status.phase == Phase::Stopped);
    scene.station.quit().expect("a clean end");
    let store = Store::open_existing(&scene.records()).expect("records");
    let runs = store.runs().expect("a list");
    assert_eq!(runs.len(), 1, "{runs:?}");
    let run = store.run(&runs[0].id).expect("a run");
    assert_eq!(run.particulars.get("started by").map(String::as_str), Some("Ben"));
}

#[test]
fn a_start_waits_for_a_disk_that_hangs_no_longer_than_somebody_stands_before_it() {
    let scene = ready();
    let other = held(&scene.records());
    let (answer, took) = starts(&scene, scene.ann()).join().expect("answered");
    println!("after {took:?}: {answer:?}");
    let Ok(Answer::Denied(denial)) = answer else { panic!("{answer:?}") };
    assert!(denial.why.contains("the disk has not answered"), "{denial:?}");
    assert!(took < Duration::from_secs(4), "{took:?}");
    assert_eq!(scene.station.snapshot().status.leaf, Leaf::Ready);
    other.execute_batch("ROLLBACK").expect("let go");
    // Late as it is, what comes of it starts nothing.
    std::thread::sleep(Duration::from_secs(1));
    assert_eq!(scene.station.snapshot().status.leaf, Leaf::Ready);
    scene.station.quit().expect("a clean end");
}

#[test]
fn a_job_that_tripped_and_was_then_stopped_is_kept_as_tripped_with_both_causes() {
    let scene = ready();
    assert_eq!(scene.command(Request::Start), Ok(Answer::Accepted));
    scene.until("running", 60.0, runs);
    assert_eq!(scene.command(Request::Abort), Ok(Answer::Accepted));
    scene.until("tripped", 60.0, |now| now.status.phase == Phase::Aborted);
    assert_eq!(scene.command(Request::Acknowledge), Ok(Answer::Accepted));
    let give_up = Instant::now() + Duration::from_secs(30);
    while scene.station.snapshot().status.phase == Phase::Aborted {
        assert!(Instant::now() < give_up, "{}", scene.station.snapshot().status.text);
        let _ = scene.command(Request::Reset);
        std::thread::sleep(Duration::from_millis(20));
    }
    scene.runtime.block_on(scene.station.take_away(Request::Stop, None)).expect("stopped");
    let over = |phase| matches!(phase, Phase::Stopped | Phase::Idle);
    scene.until("over", 200.0, |now| over(now.status.phase));
    scene.station.quit().expect("a clean end");
    let runs = Store::open_existing(&scene.records()).expect("records").runs().expect("a list");
    println!("{runs:?}");
    assert_eq!(runs.len(), 1);
    assert_eq!(runs[0].outcome, Outcome::Tripped);
    let cause = runs[0].first_cause.as_deref().expect("a cause");
    assert!(cause.starts_with("asked for: abort"), "{cause}");
}
