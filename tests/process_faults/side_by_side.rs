//! Many machines side by side, each with its own twin, terminals, controller and fate.

use std::collections::BTreeMap;
use std::fmt;
use std::sync::{LazyLock, Mutex};
use std::thread;
use std::time::{Duration, Instant};

use rustix::process::Signal;
use serde_json::Value;

use crate::checker::{
    nothing_came_on, nothing_moved, safe_after, turned_hot, without_a_controller,
};
use crate::fate::{Day, Fate};
use crate::ptys::{Journal, PATIENCE, Place, Process, RECIPE, edges, program, seconds, states};

/// How long a machine without a controller is watched.
const WATCHED: Duration = Duration::from_secs(3);
/// How long after a stall a tripped run is given to end.
const ENDS_WITHIN: Duration = Duration::from_secs(60);

/// What a machine does that has nothing energised.
const AT_REST: &str = "at rest";

/// What came of one day.
#[derive(Debug)]
pub(crate) struct Told {
    pub(crate) day: Day,
    pub(crate) fate: Fate,
    /// What the machine was doing then.
    pub(crate) doing: String,
    /// How long after death each thing was still on, s.
    pub(crate) safe_after: BTreeMap<&'static str, f64>,
    /// Whether a hot part that turned went on turning.
    pub(crate) turns_on: Option<bool>,
    /// The run's own end.
    pub(crate) ended: Option<i32>,
    /// Whether it waits at rest for a person and says for what.
    pub(crate) waits: bool,
    /// What must not be.
    pub(crate) broken: Vec<String>,
}

impl Told {
    fn of(day: Day, doing: String) -> Self {
        Self {
            day,
            fate: day.fate,
            doing,
            safe_after: BTreeMap::new(),
            turns_on: None,
            ended: None,
            waits: false,
            broken: Vec::new(),
        }
    }
}

impl fmt::Display for Told {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} ({})", self.day, self.doing)?;
        for (what, after) in self.safe_after.iter().filter(|(_, after)| **after > 0.0) {
            write!(f, "; {what} {after:.3} s")?;
        }
        if let Some(code) = self.ended {
            let word = match code {
                0 => "the job went on and is as rehearsed",
                3 => "tripped",
                4 => "stopped as asked",
                _ => "ended otherwise",
            };
            write!(f, "; {word}, exit {code}")?;
        }
        for broken in &self.broken {
            write!(f, "; BROKEN: {broken}")?;
        }
        Ok(())
    }
}

/// How often a day is begun again when the computer itself did not keep up.
const BEGUN_AGAIN: usize = 3;
/// The instant of death is known to within this, or it is no measurement.
const KNOWN_TO: Duration = Duration::from_millis(10);
/// First causes of a run whose computer did not keep up: processes that waited for a processor.
const NOT_KEPT_UP: [&str; 6] = [
    "not read for",
    "never read",
    // The drive's own code of a silent controller.
    "code 33072",
    "Watchdog relay dropped",
    "Controller stall",
    "Spindle inverter",
];

/// Why a day says nothing: the computer did not keep up before anything was done to it.
#[derive(Debug)]
struct NotKeptUp(String);

/// What came of all days.
pub(crate) struct Played {
    /// In the order in which they ended.
    pub(crate) told: Vec<Told>,
    /// Days begun again, and why.
    pub(crate) again: Vec<String>,
}

/// Plays all days, so many at once.
pub(crate) fn play_all(days: Vec<Day>, at_once: usize) -> Played {
    let days = Mutex::new(days.into_iter());
    let played = Mutex::new(Played { told: Vec::new(), again: Vec::new() });
    thread::scope(|scope| {
        for _ in 0..at_once {
            scope.spawn(|| {
                loop {
                    let Some(day) = days.lock().unwrap().next() else { return };
                    let told = play_until_it_counts(day, &played);
                    played.lock().unwrap().told.push(told);
                }
            });
        }
    });
    played.into_inner().unwrap()
}

fn play_until_it_counts(day: Day, played: &Mutex<Played>) -> Told {
    for _ in 0..BEGUN_AGAIN {
        match play(day) {
            Ok(told) => return told,
            Err(NotKeptUp(why)) => played.lock().unwrap().again.push(format!("{day}: {why}")),
        }
    }
    let mut told = Told::of(day, "nothing that counts".to_owned());
    told.broken.push(format!("this computer did not keep up {BEGUN_AGAIN} times"));
    told
}

/// What a run that ended before its time says for itself: the computer, or a defect.
fn ended_early(place: &Place) -> Result<String, NotKeptUp> {
    let printed = place.printed();
    let last = printed.lines().rev().find(|line| !line.is_empty()).unwrap_or_default().to_owned();
    match NOT_KEPT_UP.iter().any(|cause| last.contains(cause)) {
        true => Err(NotKeptUp(last)),
        false => Ok(format!("it had ended by itself: {printed}")),
    }
}

/// A twin's clock against ours: its journal's lines fall on their own instants and reach us late,
/// so the earliest ever seen is the nearest to the truth.
struct Clocks {
    begun: Instant,
    ahead: f64,
}

impl Clocks {
    fn new() -> Self {
        Self { begun: Instant::now(), ahead: f64::NEG_INFINITY }
    }

    fn see(&mut self, line: &Value) {
        let now = self.begun.elapsed().as_secs_f64();
        self.ahead = self.ahead.max(seconds(line) - now);
    }

    /// The twin's time at an instant of ours.
    fn twin(&self, at: Instant) -> f64 {
        at.duration_since(self.begun).as_secs_f64() + self.ahead
    }
}

/// One machine's day, from power-up to the watch after its controller's fate.
fn play(day: Day) -> Result<Told, NotKeptUp> {
    let place = Place::new();
    let (_twin, _said) = place.twin("journal", "present");
    let mut run = place.run();
    let mut journal = Journal::open(&place.at("journal"));
    let mut clocks = Clocks::new();
    let begun = Instant::now();
    let mut lines = Vec::new();
    if let Some(before) = day.asked_to_stop {
        read_until(begun + (day.at - before), &mut journal, &mut clocks, &mut lines);
        run.interrupt();
    }
    read_until(begun + day.at, &mut journal, &mut clocks, &mut lines);
    let mut told = Told::of(day, doing(&lines));
    if let Some(status) = run.0.try_wait().unwrap() {
        told.ended = status.code();
        // A stop that was asked for may have ended the run by then; nothing else may.
        if day.asked_to_stop.is_none() || status.code() != Some(4) {
            told.broken.push(ended_early(&place)?);
        }
        return Ok(told);
    }
    let before = Instant::now();
    match day.fate {
        Fate::Kill => run.kill(),
        Fate::Stop { .. } => run.signal(Signal::STOP),
    }
    if before.elapsed() > KNOWN_TO {
        return Err(NotKeptUp(format!("it died some time within {:?}", before.elapsed())));
    }
    let died = clocks.twin(before);
    match day.fate {
        Fate::Kill => {
            read_until(Instant::now() + WATCHED, &mut journal, &mut clocks, &mut lines);
            let truths = truths(&lines, died - 0.1);
            told.safe_after = safe_after(&truths, died);
            told.broken = without_a_controller(&truths, died);
            told.turns_on = truths.first().map(turned_hot);
        }
        Fate::Stop { still } => {
            read_until(before + still, &mut journal, &mut clocks, &mut lines);
            let went_on = clocks.twin(Instant::now());
            let told_before = everything_told(&place).len();
            run.signal(Signal::CONT);
            let seen = (&mut journal, &mut clocks, &mut lines);
            after_a_stall(&mut told, &place, told_before, &mut run, seen);
            let stalled = truths(&lines, died - 0.1);
            let without: Vec<Value> =
                stalled.iter().filter(|line| seconds(line) < went_on).cloned().collect();
            if still.as_secs_f64() > 0.5 {
                told.safe_after = safe_after(&without, died);
                told.broken.extend(without_a_controller(&without, died));
            }
            // A stop that was asked for before goes on to its end: the torch still leaves.
            if told.waits || matches!(told.ended, Some(3 | 4)) {
                told.broken.extend(nothing_came_on(&lines, went_on));
            }
            if told.waits || told.ended == Some(3) {
                told.broken.extend(nothing_moved(&lines, went_on));
            }
        }
    }
    Ok(told)
}

/// Waits for the end of a run that stood still: a trip at once, the job's end as rehearsed, or,
/// where nothing was energised yet, a machine at rest that says what keeps it from being ready.
fn after_a_stall(
    told: &mut Told,
    place: &Place,
    told_before: usize,
    run: &mut Process,
    (journal, clocks, lines): (&mut Journal, &mut Clocks, &mut Vec<Value>),
) {
    let went_on = Instant::now();
    let mut longest = ENDS_WITHIN;
    let status = loop {
        if let Some(status) = run.0.try_wait().unwrap() {
            break status;
        }
        if went_on.elapsed() > longest {
            if told.doing == AT_REST && waits_and_says_why(place, told_before) {
                told.waits = true;
                return;
            }
            if longest == PATIENCE {
                told.broken.push(format!("neither tripped nor done: {}", place.printed()));
                return;
            }
            // Nothing has tripped: the job goes on, to its end.
            longest = PATIENCE;
        }
        read_until(Instant::now() + Duration::from_millis(50), journal, clocks, lines);
    };
    lines.extend(journal.rest());
    told.ended = status.code();
    match status.code() {
        Some(3) => {}
        Some(4) if told.day.asked_to_stop.is_some() => {}
        Some(0) => as_rehearsed(told, place),
        _ => told.broken.push(format!("{status}: {}", place.printed())),
    }
}

/// Whether what a run told since, beyond what it had told before, ends in not being ready, and
/// says why.
fn waits_and_says_why(place: &Place, told_before: usize) -> bool {
    let told = everything_told(place);
    let since = told.get(told_before..).unwrap_or_default();
    let last = since.lines().last().unwrap_or_default();
    last.contains("Idle: not ready") && since.lines().any(|line| line.starts_with("not ready: "))
}

/// All that the run has printed.
fn everything_told(place: &Place) -> String {
    std::fs::read_to_string(place.text("run.txt")).unwrap()
}

/// A job that went on after a stall took the states and powder edges of its rehearsal.
fn as_rehearsed(told: &mut Told, place: &Place) {
    static REHEARSED: LazyLock<Value> = LazyLock::new(|| program(&["rehearse", RECIPE, "--json"]));
    let records = place.text("records.sqlite");
    let record = program(&["records", "show", "latest", "--records", &records, "--json"]);
    if states(&record["entries"]) != states(&REHEARSED["entries"]) {
        told.broken.push("the job went on through other states than rehearsed".to_owned());
    }
    let order = |of: &Value| -> Vec<(u64, String)> {
        edges(&of["entries"]).into_iter().map(|(pass, edge, _)| (pass, edge)).collect()
    };
    if order(&record) != order(&REHEARSED) {
        told.broken.push("the job went on with other powder edges than rehearsed".to_owned());
    }
}

/// Reads the journal until an instant; keeps the last few seconds before it, and all that follows.
fn read_until(until: Instant, journal: &mut Journal, clocks: &mut Clocks, lines: &mut Vec<Value>) {
    const KEPT: usize = 400;
    loop {
        while let Some(line) = journal.next() {
            if line["kind"] == "truth" {
                clocks.see(&line);
            }
            lines.push(line);
        }
        let left = until.saturating_duration_since(Instant::now());
        if left.is_zero() {
            return;
        }
        if left > Duration::from_secs(5) && lines.len() > KEPT {
            lines.drain(..lines.len() - KEPT);
        }
        thread::sleep(left.min(Duration::from_millis(10)));
    }
}

fn truths(lines: &[Value], from: f64) -> Vec<Value> {
    let wanted = |line: &&Value| line["kind"] == "truth" && seconds(line) >= from;
    lines.iter().filter(wanted).cloned().collect()
}

/// In a few words, what the machine was doing.
fn doing(lines: &[Value]) -> String {
    let Some(truth) = lines.iter().rev().find(|line| line["kind"] == "truth") else {
        return "nothing yet".to_owned();
    };
    let speed = truth["torch_mm_s"].as_f64().unwrap();
    let on = |what: &str| truth[what] == true;
    let mut doing = Vec::new();
    for (what, word) in [
        ("feeder_on", "powder on"),
        ("flame_lit", "flame lit"),
        ("fuel_open", "gas on"),
        ("part_turns", "turning"),
    ] {
        if on(what) {
            doing.push(word.to_owned());
        }
    }
    if speed.abs() > 0.01 {
        doing.push(format!("carriage at {speed:.0} mm/s"));
    }
    if !on("guard_closed") {
        doing.push("guard open".to_owned());
    }
    if doing.is_empty() { AT_REST.to_owned() } else { doing.join(", ") }
}
