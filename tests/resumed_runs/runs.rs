//! What lies on the part after a run that was cut off and taken up, held against the plan.

use std::time::Duration;

use evenpass::embed;
use evenpass::files::Job;
use evenpass_core::ledger::EntryKind;
use evenpass_core::moment::Moment;
use evenpass_core::plan::{Plan, plan};
use evenpass_core::sequence::Phase;
use evenpass_hil::Bench;

use super::cut::{Death, Running, cut, take_up};
use super::support::jobs::Texts;

/// How far the finished coat may be from the plan anywhere in the zone, as a share.
const WITHIN: f64 = 0.05;
/// How often a run is taken up when nobody says otherwise.
const RUNS: u64 = 6;
const RECIPES: [&str; 4] = ["short-job", "reference-shaft", "pump-sleeve", "taper-spindle"];

/// Numbers from a seed.
pub(crate) struct Dice(pub(crate) u64);

impl Dice {
    /// From 0 to 1 (splitmix64, Steele, Lea and Flood 2014, from memory).
    pub(crate) fn share(&mut self) -> f64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        ((z ^ (z >> 31)) >> 11) as f64 / (1_u64 << 53) as f64
    }
}

/// Largest departure from the plan at its stations, as a share, with its place.
fn worst(plan: &Plan, bench: &Bench) -> (f64, f64) {
    let stations = plan.forecast.zones.iter().flat_map(|zone| &zone.along);
    stations.fold((0.0, 0.0), |worst, station| {
        let found = bench.thickness_mm(station.at.mm());
        let off = found / station.sprayed.mm() - 1.0;
        if off.abs() > f64::abs(worst.0) { (off, station.at.mm()) } else { worst }
    })
}

/// When the job's flame work began and ended in an uninterrupted run, and that run's own departure.
struct Walked {
    job: Job,
    plan: Plan,
    from: Moment,
    to: Moment,
    sprays: Vec<(Moment, Moment)>,
    alone: f64,
}

fn walk(recipe: &str) -> Walked {
    let job = Texts::of(recipe).job();
    let plan = plan(&job.recipe, &job.rig, &job.catalogue).expect("a plan");
    let bench = embed::bench(&job, &plan, 1).expect("the bench takes the part");
    let mut run = Running::new(&job, &plan, bench);
    let end = run.finish();
    assert_eq!(end, Phase::Complete, "{}", run.told());
    let state = |to: &str| {
        let is = |entry: &&evenpass_core::ledger::Entry| {
            entry.kind == EntryKind::State && entry.data["to"] == to
        };
        run.entries.iter().find(is).map(|entry| entry.at)
    };
    let marks = |mark: &str| -> Vec<Moment> {
        let is = |entry: &&evenpass_core::ledger::Entry| {
            entry.kind == EntryKind::Pass && entry.data["mark"] == mark
        };
        run.entries.iter().filter(is).map(|entry| entry.at).collect()
    };
    let sprays = marks("begun").into_iter().zip(marks("ended")).collect();
    let from = state("Traversing").expect("it preheats");
    let to = state("CoolingDown").expect("it cools");
    let alone = worst(&plan, run.time.bench()).0;
    Walked { job, plan, from, to, sprays, alone }
}

#[derive(Default)]
struct Found {
    worst: f64,
    off_by_mm: f64,
    over_stated: f64,
    up: usize,
    down: usize,
    other: usize,
    twice: usize,
}

/// One run, cut at an instant and taken up, perhaps twice.
fn one(seed: u64, walked: &Walked, found: &mut Found) {
    let mut dice = Dice(seed);
    let job = &walked.job;
    // Two of three are cut while a pass is under way: that is where a coat is spoiled.
    let between = |from: Moment, to: Moment, share: f64| from + to.since(from).mul_f64(share);
    let at = if dice.share() < 0.67 {
        let index = (dice.share() * walked.sprays.len() as f64) as usize;
        let (from, to) = walked.sprays[index.min(walked.sprays.len() - 1)];
        between(from, to, dice.share())
    } else {
        between(walked.from, walked.to, dice.share())
    };
    let mut plan = walked.plan.clone();
    let bench = embed::bench(job, &plan, seed).expect("the bench takes the part");
    let mut run = Running::new(job, &plan, bench);
    run.run_until(at);
    let times = if dice.share() < 0.2 { 2 } else { 1 };
    for cutting in 0..times {
        let death = if dice.share() < 0.7 { Death::Killed } else { Death::Mains };
        let lost = Duration::from_secs_f64(0.3 * dice.share());
        let alone = Duration::from_secs_f64(5.0 + 200.0 * dice.share());
        let leaf = run.leaf();
        let left = cut(run, death, lost, alone);
        let ceased = left.ceased_mm;
        let (read, next) = take_up(job, &plan, left)
            .unwrap_or_else(|refusal| panic!("seed {seed}, {leaf:?}, {death:?}: {refusal}"));
        print!("seed {seed:3} {:16} {death:?} in {leaf:?}: {read}", job.recipe_source.name);
        if let (Some(ceased), Some(hand)) = (ceased, &read.hand) {
            let off = (ceased - hand.ceased.mm()).abs();
            let stated =
                (hand.latest - hand.ceased).abs().max((hand.ceased - hand.earliest).abs()).mm();
            print!("; truly {ceased:.1}, off by {off:.2} of {stated:.2} mm");
            if stated > 0.0 {
                found.off_by_mm = found.off_by_mm.max(off);
                found.over_stated = found.over_stated.max(off / stated);
            }
            match hand.direction {
                evenpass_core::plan::Direction::TowardTail => found.up += 1,
                evenpass_core::plan::Direction::TowardChuck => found.down += 1,
            }
        } else {
            found.other += 1;
        }
        plan = next.plan.clone();
        run = next;
        if cutting + 1 < times {
            found.twice += 1;
            // The rest is lit and sprayed within its first minutes.
            let more = plan.forecast.total.to_duration().mul_f64(dice.share());
            run.run_until(run.time.now() + Duration::from_secs(60) + more);
        }
    }
    let end = run.finish();
    let told = run.told();
    assert_eq!(end, Phase::Complete, "seed {seed}\n{told}");
    let (off, place) = worst(&walked.plan, run.time.bench());
    println!(
        "; {:+.2} % of plan at {place:.1} ({:+.2} % uncut)",
        off * 100.0,
        walked.alone * 100.0
    );
    found.worst = found.worst.max(off.abs());
}

#[test]
fn a_run_that_is_cut_off_and_taken_up_leaves_the_coat_that_was_planned() {
    let runs = std::env::var("EVENPASS_RESUMED").ok().and_then(|text| text.parse().ok());
    let first = std::env::var("EVENPASS_FIRST_SEED").ok().and_then(|text| text.parse().ok());
    let (runs, first): (u64, u64) = (runs.unwrap_or(RUNS), first.unwrap_or(1));
    let mut walked: Vec<Option<Walked>> = RECIPES.iter().map(|_| None).collect();
    let mut found = Found::default();
    for seed in first..first + runs {
        let index = usize::try_from(seed).unwrap() % RECIPES.len();
        let walked = walked[index].get_or_insert_with(|| walk(RECIPES[index]));
        one(seed, walked, &mut found);
    }
    println!(
        "{runs} runs: worst {:.2} % of plan; place off by {:.2} mm at most, {:.2} of what was stated; \
         cut {} times toward the tail, {} toward the chuck, {} with nothing under way, {} twice",
        found.worst * 100.0,
        found.off_by_mm,
        found.over_stated,
        found.up,
        found.down,
        found.other,
        found.twice
    );
    assert!(found.worst <= WITHIN, "{:.2} %", found.worst * 100.0);
    assert!(found.over_stated <= 1.0, "{:.2} of what was stated", found.over_stated);
}
