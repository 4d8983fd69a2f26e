//! How an order stands after runs that were cut off, taken up again, refilled in, decided about.

use std::path::Path;
use std::time::Duration;

use evenpass_core::batch::{Blasted, PowderLot, Scrapped, WhyMeasured};
use evenpass_core::learn::{Finish, Measured, Pair, PartMeasured};
use evenpass_core::ledger::{Entry, EntryKind};
use evenpass_core::moment::Moment;
use evenpass_core::plan::{Plan, plan};
use evenpass_core::quantity::{Length, Mass, Time, Volume};
use evenpass_core::resume::{Checked, Choice};
use jiff::Timestamp;
use jiff::civil::date;
use serde_json::{Value, json};
use tempfile::TempDir;

use super::before::{Before, Need, Surface, Weight};
use super::on_twin;
use super::shift::{Asked, Shift};
use super::standing::Standing;
use super::used::Gathering;
use crate::attendant::End;
use crate::files::{self, Job, Places};
use crate::keeping::{Begin, Ended, Keeping, OfBatch};
use crate::learning::Lessons;
use crate::record::{
    Batch, BatchId, Mark, Measurement, Ordered, RunId, RunKind, Said, Source, Store,
    TO_BE_MEASURED, Verdict,
};
use crate::report::shift::rows;
use crate::resuming::{self, GoesOn};

/// An order of three parts on the twin, and the runs that make them.
struct Shop {
    folder: TempDir,
    job: Job,
    plan: Plan,
    batch: Batch,
}

/// What a run is made of: by default a whole part that took 5 g.
struct Made<'a> {
    number: u32,
    begins: &'a str,
    passes: u32,
    end: End,
    powder_g: f64,
    resumes: Option<&'a RunId>,
    to_be_measured: &'a str,
    more: Vec<Entry>,
}

impl Default for Made<'_> {
    fn default() -> Self {
        let (number, begins) = (1, "2026-11-25T08:00:00Z");
        let (passes, end, powder_g) = (2, End::Complete, 5.0);
        let (resumes, to_be_measured, more) = (None, "no", Vec::new());
        Self { number, begins, passes, end, powder_g, resumes, to_be_measured, more }
    }
}

fn entry(seconds: u64, kind: EntryKind, data: Value) -> Entry {
    let at = Moment::START + Duration::from_secs(seconds);
    Entry { number: 0, at, kind, text: String::new(), cause: String::new(), data }
}

impl Shop {
    fn new() -> Self {
        Self::fused_by("both-6")
    }

    /// Its parts are fused by another torch than they are sprayed by.
    fn fused_by(torch: &str) -> Self {
        let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("config/recipes/short-job.toml");
        let text = std::fs::read_to_string(&path).unwrap();
        let text =
            text.replace("[fuse]\ntorch = \"both-6\"", &format!("[fuse]\ntorch = \"{torch}\""));
        let source = files::Source { name: "short-job.toml".to_owned(), text };
        let places = Places { rig: None, catalogue: None };
        let job = files::job_of(source, &path, places, Lessons::Ignored).unwrap();
        let plan = plan(&job.recipe, &job.rig, &job.catalogue).unwrap();
        let batch = Batch {
            id: BatchId::stored("B3".to_owned()),
            made_at: "2026-11-25T06:00:00Z".parse().unwrap(),
            person: "Ann".to_owned(),
            rig: job.rig.title.clone(),
            kind: RunKind::Twin,
            recipe: Source {
                name: "short-job.toml".to_owned(),
                text: job.recipe_source.text.clone(),
            },
            ordered: Ordered {
                serials: ["S-1", "S-2", "S-3"].map(str::to_owned).to_vec(),
                measured_every: None,
                scrapped: Scrapped::MadeAgain,
                tip_every: None,
                particulars: std::collections::BTreeMap::new(),
            },
        };
        let folder = tempfile::tempdir().unwrap();
        let shop = Self { folder, job, plan, batch };
        shop.store().keep_batch(&shop.batch).unwrap();
        shop
    }

    fn store(&self) -> Store {
        Store::open(&self.folder.path().join("records.sqlite")).unwrap()
    }

    fn standing(&self) -> Standing {
        let Self { job, plan, batch, .. } = self;
        Standing::of(&self.store(), batch, RunKind::Twin, job, plan).unwrap()
    }

    fn shift(&self) -> Shift {
        let asked = Asked {
            batches: std::slice::from_ref(&self.batch),
            kind: RunKind::Twin,
            since: None,
            until: None,
        };
        Shift::of(&self.store(), asked, &self.job.catalogue).unwrap()
    }

    /// A run up to its end, which is not written yet.
    fn begun(&self, made: &Made<'_>) -> Keeping {
        let part = OfBatch {
            batch: self.batch.id.clone(),
            number: made.number,
            serial: format!("S-{}", made.number),
            tried: self.standing().tried(made.number),
            particulars: [(TO_BE_MEASURED.to_owned(), made.to_be_measured.to_owned())]
                .into_iter()
                .collect(),
            deviations: Vec::new(),
        };
        let file = self.folder.path().join("records.sqlite");
        let begin = Begin {
            part: Some(&part),
            goes_on: made.resumes.map(|run| GoesOn { run: run.clone(), stood: None }),
            virtually_at: Some(made.begins.parse().unwrap()),
            ..Begin::fresh(RunKind::Twin, Some(1), Some(&file))
        };
        let keeping = Keeping::begin(&self.job, &self.plan, &begin).unwrap();
        let pass = |pass: u32, mark: &str, at: u64| {
            let data = json!({ "mark": mark, "pass": pass, "of": 2, "zone": "band" });
            entry(at, EntryKind::Pass, data)
        };
        let mut entries = vec![entry(0, EntryKind::State, json!({ "to": "preheating" }))];
        for number in 1..=made.passes {
            let at = u64::from(number) * 20;
            entries.extend([pass(number, "begun", at), pass(number, "ended", at + 10)]);
        }
        entries.push(entry(100, EntryKind::State, json!({ "to": "complete" })));
        entries.extend(made.more.iter().cloned());
        entries.sort_by_key(|entry| entry.at);
        for (number, mut entry) in (1..).zip(entries) {
            entry.number = number;
            keeping.deliver(entry);
        }
        keeping
    }

    fn made(&self, made: Made<'_>) -> RunId {
        let keeping = self.begun(&made);
        Self::over(keeping, &made)
    }

    /// Something is told by the wall clock while a run is under way.
    fn made_while(&self, made: &Made<'_>, at: &str, said: Said) -> RunId {
        let keeping = self.begun(made);
        keeping.flush();
        self.told(at, None, said);
        Self::over(keeping, made)
    }

    fn over(keeping: Keeping, made: &Made<'_>) -> RunId {
        let run = keeping.id();
        let powder_fed_g = Some(made.powder_g);
        let told = Ended { end: made.end, first_cause: None, zones: &[], powder_fed_g };
        keeping.finish(&told).unwrap();
        run
    }

    fn measured(&self, run: &RunId) {
        let part = PartMeasured {
            finish: Finish::AsSprayed,
            diameters: Vec::new(),
            micrometer: Length::from_mm(0.005),
            temperature: None,
            weights: None,
            fed: None,
        };
        let measurement = Measurement {
            kept_at: "2026-11-25T12:00:00Z".parse().unwrap(),
            measured_on: date(2026, 11, 25),
            run: Some(run.clone()),
            rig: self.batch.rig.clone(),
            kind: RunKind::Twin,
            pair: Pair { torch: "both-6".to_owned(), powder: "nickel-medium".to_owned() },
            person: "Cleo".to_owned(),
            measured: Measured::Part(part),
        };
        self.store().keep_measurement(&measurement).unwrap();
    }

    fn told(&self, at: &str, run: Option<&RunId>, said: Said) {
        let mark = Mark {
            at: at.parse::<Timestamp>().unwrap(),
            person: "Cleo".to_owned(),
            rig: self.batch.rig.clone(),
            kind: RunKind::Twin,
            run: run.cloned(),
            batch: run.is_none().then(|| self.batch.id.clone()),
            said,
        };
        self.store().keep_mark(&mark).unwrap();
    }

    fn decided(&self, run: &RunId, verdict: Verdict) {
        let said = Said::Decided { verdict, reason: "looked at it".to_owned() };
        self.told("2026-11-25T12:00:00Z", Some(run), said);
    }
}

fn next(standing: &Standing) -> Option<u32> {
    standing.tally().next().map(|queued| queued.number)
}

#[test]
fn a_rest_that_ends_before_a_pass_leaves_its_part_on_hold_and_not_to_be_made_anew() {
    let shop = Shop::new();
    shop.made(Made { passes: 0, end: End::Stopped, ..Made::default() });
    assert_eq!(next(&shop.standing()), Some(1), "nothing lies on it");
    let stopped = shop.made(Made { end: End::Stopped, ..Made::default() });
    assert_eq!(next(&shop.standing()), Some(2));
    let rest = Made { passes: 0, end: End::Stopped, resumes: Some(&stopped), ..Made::default() };
    let rest = shop.made(rest);
    let tally = shop.standing().tally();
    assert_eq!((tally.on_hold, tally.queue.len()), (vec![1], 2));
    // Only a person makes it a part to be made again.
    shop.decided(&rest, Verdict::Scrap);
    assert_eq!(shop.standing().tally().queue.last().unwrap().number, 1);
}

#[test]
fn a_part_is_being_made_while_its_run_is_written_whatever_was_decided() {
    let shop = Shop::new();
    for verdict in [Verdict::Pass, Verdict::Scrap] {
        let keeping = shop.begun(&Made::default());
        keeping.flush();
        shop.decided(&keeping.id(), verdict);
        assert_eq!(shop.standing().tally().running, Some(1), "{verdict:?}");
        drop(keeping);
    }
}

/// A sample while powder is on.
fn sprays(seconds: u64, oxygen: &str) -> Entry {
    entry(seconds, EntryKind::Sample, json!({ "oxygen": oxygen, "powder": true }))
}

#[test]
fn what_a_part_takes_is_learned_of_whole_parts_and_not_of_a_rest() {
    let shop = Shop::new();
    shop.made(Made::default());
    let stopped = Made { number: 2, end: End::Stopped, powder_g: 5.2, ..Made::default() };
    let stopped = shop.made(stopped);
    let rest =
        Made { number: 2, passes: 0, powder_g: 0.0, resumes: Some(&stopped), ..Made::default() };
    shop.made(rest);
    shop.made(Made { number: 3, powder_g: 5.4, ..Made::default() });
    let taken: Vec<f64> = shop.standing().powder_taken.iter().map(|powder| powder.g()).collect();
    assert_eq!(taken, [5.0, 5.4]);
    let sums = shop.shift().sums;
    assert_eq!((sums.powder_per_part, sums.undecided), (Some(Mass::from_g(5.2)), 3));
    assert!((sums.powder.g() - 15.6).abs() < 1e-9, "all of it is counted in all");
}

#[test]
fn drift_counts_from_the_first_good_part_that_was_made_whole() {
    let shop = Shop::new();
    let stopped = Made { end: End::Stopped, more: vec![sprays(25, "2 bar")], ..Made::default() };
    let stopped = shop.made(stopped);
    let rest =
        Made { resumes: Some(&stopped), more: vec![sprays(25, "2.5 bar")], ..Made::default() };
    shop.made(rest);
    shop.decided(&stopped, Verdict::Pass);
    for (number, end, oxygen) in
        [(2, End::Complete, "3 bar"), (3, End::Stopped, "4 bar"), (3, End::Complete, "4 bar")]
    {
        shop.made(Made { number, end, more: vec![sprays(25, oxygen)], ..Made::default() });
    }
    assert_eq!(shop.standing().first_good.map(|(number, _)| number), Some(2));
    let drifted: Vec<usize> = shop.shift().parts.iter().map(|line| line.drifts.len()).collect();
    assert_eq!(drifted, [0, 0, 0, 0, 1]);
    let first = shop.standing().first_good;
    let course = Gathering::of(&[sprays(25, "4 bar")]).course();
    assert_eq!(on_twin::drifted(first, End::Complete, &course).len(), 1);
    assert_eq!(on_twin::drifted(first, End::Tripped, &course), []);
}

fn lot(of: &str, contents: Option<f64>) -> Said {
    let (of, contents) = (of.to_owned(), contents.map(Volume::from_l));
    Said::Lot { of, lot: "L-7".to_owned(), certificate: None, contents }
}

#[test]
fn each_fuel_of_a_job_has_its_bottles_and_they_give_what_its_torch_burns() {
    let shop = Shop::fused_by("fuse-propane");
    let standing = shop.standing();
    let keys: Vec<&str> = standing.bottles.iter().map(|bottle| bottle.of.as_str()).collect();
    assert_eq!(keys, ["acetylene", "propane", "oxygen"]);
    for (planned, bottle) in shop.plan.forecast.gas.iter().zip(&standing.bottles) {
        assert!((planned.fuel - bottle.planned).abs() < Volume::from_l(1e-9), "{bottle:?}");
    }
    for of in ["acetylene", "propane"] {
        shop.told("2026-11-25T07:00:00Z", None, lot(of, Some(6000.0)));
    }
    let open = shop.standing().flame_of_part().to_duration().as_secs();
    let valve =
        |at, level: &str| entry(at, EntryKind::Coil, json!({ "coil": "fuel", "level": level }));
    shop.made(Made { more: vec![valve(1, "on"), valve(1 + open, "off")], ..Made::default() });
    for bottle in shop.standing().bottles.iter().take(2) {
        let used = Volume::from_l(6000.0) - bottle.holds.unwrap();
        assert!((used - bottle.planned).abs() < bottle.planned * 0.05, "{bottle:?}");
        assert!((bottle.taken[0] - used).abs() < Volume::from_l(0.01), "{bottle:?}");
    }
}

#[test]
fn a_new_powder_lot_is_one_of_the_recipes_own_powder_until_a_part_is_made_of_it() {
    let shop = Shop::new();
    for of in ["propane", "nickel-hard"] {
        shop.told("2026-11-25T07:00:00Z", None, lot(of, None));
        assert_eq!(shop.standing().powder_lot, PowderLot::Same, "{of}");
    }
    assert!(shop.standing().lots.is_empty(), "no part of this order is made with them");
    shop.told("2026-11-25T07:10:00Z", None, lot("nickel-medium", None));
    assert_eq!(shop.standing().powder_lot, PowderLot::New);
    shop.made(Made { passes: 0, end: End::Stopped, powder_g: 0.0, ..Made::default() });
    assert_eq!(shop.standing().powder_lot, PowderLot::New, "none of it was sprayed");
    shop.made(Made::default());
    assert_eq!(shop.standing().powder_lot, PowderLot::Same);
}

#[test]
fn a_part_is_unmeasured_as_its_own_record_says_and_by_its_latest_attempt_alone() {
    let shop = Shop::new();
    let first = shop.made(Made { to_be_measured: "first-off", ..Made::default() });
    shop.made(Made { number: 2, to_be_measured: "first of a new powder lot", ..Made::default() });
    assert_eq!(shop.standing().unmeasured(), [1, 2], "the first of a lot is not forgotten");
    shop.measured(&first);
    assert_eq!(shop.standing().unmeasured(), [2]);
    shop.decided(&first, Verdict::Scrap);
    let again = shop.made(Made { to_be_measured: "first-off", ..Made::default() });
    assert_eq!(shop.standing().unmeasured(), [1, 2], "what was scrapped was another coat");
    shop.measured(&again);
    shop.made(Made { passes: 0, end: End::Stopped, ..Made::default() });
    assert_eq!(shop.standing().unmeasured(), [2]);
    let wanted = shop
        .shift()
        .parts
        .iter()
        .map(|line| line.to_be_measured.map(WhyMeasured::words))
        .collect::<Vec<_>>();
    let first_off = Some("first-off");
    assert_eq!(wanted, [first_off, Some("first of a new powder lot"), first_off, None]);
}

#[test]
fn a_hopper_filled_while_a_part_is_made_is_short_of_what_the_rest_of_the_part_took() {
    // Four samples with powder, a quarter of them after half a minute; without a scale.
    let more: Vec<Entry> = [10, 20, 25, 35].map(|at| sprays(at, "3 bar")).to_vec();
    for (told, left_g) in
        [("07:59:50", 195.0), ("08:00:30", 198.75), ("08:01:00", 200.0), ("09:00:00", 195.0)]
    {
        let shop = Shop::new();
        shop.told("2026-11-25T07:00:00Z", None, Said::Refilled { holds: Mass::from_g(100.0) });
        let at = format!("2026-11-25T{told}Z");
        let made = Made { more: more.clone(), ..Made::default() };
        shop.made_while(&made, &at, Said::Refilled { holds: Mass::from_g(200.0) });
        let holds = shop.standing().hopper.unwrap().g();
        assert!((holds - left_g).abs() < 1e-9, "filled at {told}: {holds}");
    }
    // Where a scale is fitted it says what is left.
    let shop = Shop::new();
    let weighs = entry(90, EntryKind::Sample, json!({ "hopper": "197.4 g" }));
    let made = Made { more: vec![weighs], ..Made::default() };
    let refilled = Said::Refilled { holds: Mass::from_g(200.0) };
    shop.made_while(&made, "2026-11-25T08:00:30Z", refilled);
    assert_eq!(shop.standing().hopper, Some(Mass::from_g(197.4)));
    shop.told("2026-11-25T08:01:41Z", None, Said::Refilled { holds: Mass::from_g(300.0) });
    assert_eq!(shop.standing().hopper, Some(Mass::from_g(300.0)), "after its end");
}

#[test]
fn a_bottle_changed_and_a_tip_cleaned_while_a_part_is_made_are_used_on_by_the_rest_of_it() {
    let shop = Shop::new();
    let switched = |at, level: &str| {
        let coil = json!({ "coil": "fuel", "level": level });
        let flame = json!({ "contact": "flame", "level": level });
        [entry(at, EntryKind::Coil, coil), entry(at, EntryKind::Contact, flame)]
    };
    // Lit for 40 s, for the last 10 s of them after the change.
    let more = [switched(10, "on"), switched(40, "off"), switched(50, "on"), switched(60, "off")];
    let made = Made { more: more.concat(), ..Made::default() };
    let keeping = shop.begun(&made);
    keeping.flush();
    let at = "2026-11-25T08:00:45Z";
    shop.told(at, None, lot("acetylene", Some(6000.0)));
    let said = Said::TipCleaned { torch: "both-6".to_owned(), burned: None };
    shop.told(at, None, said);
    Shop::over(keeping, &made);
    let standing = shop.standing();
    assert!((standing.tip_burned.s() - 10.0).abs() < 1e-9, "{:?}", standing.tip_burned);
    let bottle = &standing.bottles[0];
    let used = 6000.0 - bottle.holds.unwrap().l();
    assert!((used - bottle.taken[0].l() / 4.0).abs() < 1e-6, "{bottle:?}");
}

#[test]
fn a_rest_goes_on_with_the_hopper_as_the_run_before_left_it_or_as_it_was_filled_since() {
    let shop = Shop::new();
    let weighs = |at, hopper: &str| entry(at, EntryKind::Sample, json!({ "hopper": hopper }));
    shop.told("2026-11-25T07:00:00Z", None, Said::Refilled { holds: Mass::from_g(500.0) });
    let more = vec![weighs(1, "58.2 g"), weighs(90, "43.2 g")];
    let stopped = shop.made(Made { end: End::Stopped, more, ..Made::default() });
    let left = || resuming::hopper_left(&shop.store(), &stopped).unwrap();
    assert_eq!(left(), Some(Mass::from_g(43.2)));
    shop.told("2026-11-25T08:10:00Z", None, Said::Refilled { holds: Mass::from_g(900.0) });
    assert_eq!(left(), Some(Mass::from_g(900.0)));
}

#[test]
fn a_clock_set_back_a_day_leaves_a_run_after_the_refill_and_the_cleaning_that_it_used_up() {
    let shop = Shop::new();
    let flame = |at, level: &str| {
        entry(at, EntryKind::Contact, json!({ "contact": "flame", "level": level }))
    };
    let more = || vec![flame(10, "on"), flame(40, "off")];
    let at = "2026-11-26T07:00:00Z";
    shop.told(at, None, Said::Refilled { holds: Mass::from_g(100.0) });
    shop.told(at, None, Said::TipCleaned { torch: "both-6".to_owned(), burned: None });
    assert!(!shop.standing().clocks_contradict);
    shop.made(Made { more: more(), ..Made::default() });
    let standing = shop.standing();
    assert_eq!(standing.hopper, Some(Mass::from_g(95.0)));
    assert!((standing.tip_burned.s() - 30.0).abs() < 1e-9, "{:?}", standing.tip_burned);
    let before = Before::next(&standing, "2026-11-25T09:00:00Z".parse().unwrap()).unwrap();
    let clocks = before.stocks().into_iter().find(|(name, _)| name == "clocks");
    assert!(clocks.unwrap().1.starts_with("the clocks contradict each other"));
}

#[test]
fn a_clock_set_back_after_a_run_leaves_a_refill_whole_that_was_told_when_it_was_over() {
    let shop = Shop::new();
    shop.told("2026-11-25T07:00:00Z", None, Said::Refilled { holds: Mass::from_g(100.0) });
    let weighs = entry(90, EntryKind::Sample, json!({ "hopper": "95 g" }));
    let run = shop.made(Made { more: vec![weighs], ..Made::default() });
    shop.told("2026-11-24T08:00:00Z", None, Said::Refilled { holds: Mass::from_g(200.0) });
    assert_eq!(shop.standing().hopper, Some(Mass::from_g(200.0)));
    assert_eq!(resuming::hopper_left(&shop.store(), &run).unwrap(), Some(Mass::from_g(200.0)));
}

#[test]
fn a_surface_blasted_in_the_future_or_in_the_flame_since_is_not_known_to_be_fresh() {
    let shop = Shop::new();
    let then = |text: &str| text.parse::<Timestamp>().unwrap();
    let blasted = |at: &str| {
        let said = Said::Blasted { parts: vec![1, 2], ended: then(at) };
        shop.told(at, None, said);
    };
    blasted("2026-11-26T07:00:00Z");
    let standing = shop.standing();
    assert_eq!(standing.since_blasted(1, then("2026-11-25T07:00:00Z")), Blasted::NotKnown);
    let later = then("2026-11-26T07:01:00Z");
    assert_eq!(standing.since_blasted(1, later), Blasted::Ago(Time::from_s(60.0)));
    // A day earlier by the clock, and after it all the same.
    shop.made(Made { end: End::Stopped, passes: 1, ..Made::default() });
    assert_eq!(shop.standing().since_blasted(1, later), Blasted::NotTold);
    assert_eq!(shop.standing().since_blasted(2, later), Blasted::Ago(Time::from_s(60.0)));
    // Told after the flame, by a clock that says that it was before.
    blasted("2026-11-25T06:00:00Z");
    let now = then("2026-11-25T06:01:00Z");
    assert_eq!(shop.standing().since_blasted(1, now), Blasted::NotKnown);
    let before = Before::next(&shop.standing(), then("2026-11-25T05:00:00Z")).unwrap();
    let old = before.stopped_by(Surface::AsTheOrderWants).map(ToString::to_string);
    assert!(old.into_iter().any(|need| need.contains("the clocks contradict each other")));
}

#[test]
fn of_two_that_begin_the_same_part_of_an_order_one_is_refused_and_leaves_no_run() {
    let shop = Shop::new();
    let file = shop.folder.path().join("records.sqlite");
    let standing = shop.standing();
    let before = Before::next(&standing, shop.batch.made_at).unwrap();
    let part = on_twin::of_batch(&shop.batch, &before, &standing, None);
    let begin =
        Begin { part: Some(&part), ..Begin::fresh(RunKind::Twin, Some(1), Some(file.as_path())) };
    let begun: Vec<Result<Keeping, String>> = std::thread::scope(|scope| {
        let one = || scope.spawn(|| Keeping::begin(&shop.job, &shop.plan, &begin));
        let both = [one(), one()];
        both.into_iter().map(|thread| thread.join().unwrap()).collect()
    });
    let refused: Vec<&String> = begun.iter().filter_map(|begun| begun.as_ref().err()).collect();
    assert_eq!(refused.len(), 1, "{refused:?}");
    assert!(refused[0].starts_with("part 1 of batch B3 is being made by run "), "{refused:?}");
    assert_eq!(shop.store().runs().unwrap().len(), 1);
    assert_eq!(shop.store().batch_parts(&shop.batch.id).unwrap().len(), 1);
}

#[test]
fn a_part_that_was_killed_and_ended_stands_among_the_trouble_and_not_silently_outside_the_sums() {
    let shop = Shop::new();
    shop.made(Made::default());
    let keeping = shop.begun(&Made { number: 2, ..Made::default() });
    keeping.flush();
    let run = keeping.id();
    drop(keeping);
    let (choice, checked) = (Choice::EndHere, Checked::default());
    let said = Said::Settled { choice, reason: "the mains failed".to_owned(), checked };
    shop.told("2026-11-25T12:00:00Z", Some(&run), said);
    let shift = shop.shift();
    let trouble = rows::trouble_rows(&shift);
    let (part, words) = &trouble[0];
    assert_eq!((trouble.len(), part.as_str()), (1, "part 2"));
    assert!(words.starts_with("interrupted; ") && words.ends_with("Cleo: the mains failed"));
    assert!(shift.people.contains("Cleo"));
    let head = rows::head(&shift, &jiff::tz::TimeZone::UTC);
    for name in ["powder", "gas"] {
        let (_, words) = head.iter().find(|(of, _)| of == name).unwrap();
        assert!(words.ends_with("; not in it: what part 2 took, which nobody knows"), "{words}");
    }
}

#[test]
fn a_part_whose_coat_is_taken_off_is_the_next_to_be_made() {
    let shop = Shop::new();
    let keeping = shop.begun(&Made::default());
    keeping.flush();
    let run = keeping.id();
    drop(keeping);
    assert_eq!((shop.standing().tally().on_hold, next(&shop.standing())), (vec![1], Some(2)));
    let (choice, checked) = (Choice::StripAndReblast, Checked::default());
    let said = Said::Settled { choice, reason: "it stood too long".to_owned(), checked };
    shop.told("2026-11-25T12:00:00Z", Some(&run), said);
    assert_eq!((shop.standing().tally().on_hold.len(), next(&shop.standing())), (0, Some(1)));
}

#[test]
fn a_tip_that_does_not_last_for_one_part_is_not_to_be_cleaned_again_right_after_a_cleaning() {
    let mut shop = Shop::new();
    let every = shop.standing().flame_of_part() / 2.0;
    shop.batch.ordered.tip_every = Some(every);
    let needs = |standing: &Standing| {
        Before::next(standing, "2026-11-25T09:00:00Z".parse().unwrap()).unwrap().needs
    };
    let tip = |need: &Need| matches!(need, Need::CleanTip { .. });
    let alone = |need: &Need| matches!(need, Need::PartOutlastsTip { .. });
    let flame = |at, level: &str| {
        entry(at, EntryKind::Contact, json!({ "contact": "flame", "level": level }))
    };
    shop.made(Made { more: vec![flame(10, "on"), flame(40, "off")], ..Made::default() });
    let burned = needs(&shop.standing());
    assert!(burned.iter().any(tip) && !burned.iter().any(alone), "{burned:?}");
    let said = Said::TipCleaned { torch: "both-6".to_owned(), burned: None };
    shop.told("2026-11-25T08:30:00Z", None, said);
    let cleaned = needs(&shop.standing());
    assert!(!cleaned.iter().any(tip), "{cleaned:?}");
    let told: Vec<&Need> = cleaned.iter().filter(|need| alone(need)).collect();
    assert_eq!(told.len(), 1);
    assert!(told[0].to_string().starts_with("one part alone burns "), "{}", told[0]);
    assert_eq!((told[0].weight(), told[0].verb("B3", 2)), (Weight::Told, None));
}
