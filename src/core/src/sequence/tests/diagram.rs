//! The diagram in the chart's head against what is observed.

use std::collections::BTreeSet;
use std::sync::Arc;

use super::fixture::{geared_rig, mm, program, rig, s, spray, whole_job};
use super::plant::{Person, Plant};
use super::reach::reach;
use crate::image::{Contact, Level};
use crate::interlock::CarriageEffect;
use crate::program::Step;
use crate::request::{Direction, Request};
use crate::sequence::{Leaf, Phase};

type Edge = (&'static str, &'static str);

/// Arrows of the diagram: one a line, `from -> to`, a group in brackets for each of its states.
fn drawn() -> BTreeSet<Edge> {
    let mut edges = BTreeSet::new();
    let lines = include_str!("../diagram.txt").lines();
    // The sketch above the list is for the eye.
    for line in lines.skip_while(|line| !line.starts_with("Of every state")) {
        let Some((from, rest)) = line.split_once("->") else { continue };
        let to = rest.split_whitespace().next().expect("an arrow has a head");
        for from in named(from.trim()) {
            for to in named(to) {
                edges.insert((from.name(), to.name()));
            }
        }
    }
    edges
}

fn named(text: &str) -> Vec<Leaf> {
    let all = Leaf::ALL.iter().copied();
    let found: Vec<_> = match text {
        "[running]" => all
            .filter(|leaf| {
                leaf.phase().is_running() && !matches!(leaf, Leaf::Inside | Leaf::ClosingUp)
            })
            .collect(),
        "[job]" => all
            .filter(|leaf| {
                leaf.phase().is_running() || matches!(leaf.phase(), Phase::Holding | Phase::Held)
            })
            .collect(),
        "[any]" => {
            all.filter(|leaf| !matches!(leaf.phase(), Phase::Aborting | Phase::Aborted)).collect()
        }
        "[manual]" => all.filter(|leaf| leaf.phase() == Phase::Manual).collect(),
        name => all.filter(|leaf| leaf.name() == name).collect(),
    };
    assert!(!found.is_empty(), "the diagram names {text:?}, which is no state");
    found
}

fn observed() -> BTreeSet<Edge> {
    let mut edges = BTreeSet::new();
    let mut note = |plant: &Plant| {
        for (from, to, _) in plant.edges() {
            edges.insert((from.name(), to.name()));
        }
    };
    for leaf in Leaf::ALL {
        let plant = reach(*leaf);
        for request in [
            Request::Hold,
            Request::Stop,
            Request::Abort,
            Request::Home,
            Request::EnterManual,
            Request::EnterProving,
            Request::LeaveManual,
            Request::TakePoint,
            Request::Jog(Direction::TowardTail),
            Request::Reset,
        ] {
            let mut plant = plant.clone();
            plant.ask(request);
            plant.set(Contact::Extraction, Level::On);
            plant.run(0.1);
            note(&plant);
        }
        // Left alone, with nobody there, until whatever is waited for has its deadline.
        let mut alone = plant.clone();
        alone.person = Person::Absent;
        let long = matches!(leaf, Leaf::Soaking | Leaf::WaitingForTemperature);
        alone.run(if long { 3700.0 } else { 720.0 });
        note(&alone);
        let mut unvented = plant.clone();
        unvented.vents = false;
        unvented.run(80.0);
        note(&unvented);
        // The carriage stops answering.
        let mut frozen = plant.clone();
        frozen.frozen = true;
        frozen.run(400.0);
        note(&frozen);
        // The flame goes out, or the spindle does, and the rows that trip on it are silent.
        let mut dark = plant.clone();
        dark.lights = false;
        dark.lit = false;
        dark.run(100.0);
        note(&dark);
        let mut still = plant.clone();
        still.gear = Some(0.0);
        still.run(100.0);
        note(&still);
        // The part gets cold, or hot.
        for part in [150.0, 399.0] {
            let mut plant = plant.clone();
            plant.part = part;
            plant.run(60.0);
            note(&plant);
        }
        // A permissive goes; the flame sensor lies.
        let mut missing = plant.clone();
        missing.missing = vec!["something"];
        missing.run(0.1);
        note(&missing);
        let mut lying = plant.clone();
        lying.lies = true;
        lying.run(5.0);
        note(&lying);
        // A trip, its reset, and the job to its end.
        let mut tripped = plant;
        tripped.trip(CarriageEffect::Retreat);
        tripped.until(Leaf::Aborted, 60.0);
        tripped.set(Contact::Guard, Level::On);
        tripped.reset();
        tripped.press(Contact::StartButton);
        tripped.run(0.2);
        if tripped.leaf() == Leaf::Restarting {
            tripped.press(Contact::AcceptButton);
        }
        tripped.run(400.0);
        note(&tripped);
    }
    for plant in specials() {
        note(&plant);
    }
    edges
}

/// Jobs that take the rarer arrows.
fn specials() -> Vec<Plant> {
    let mut plants = Vec::new();
    let mut run = |rig: &crate::rig::Rig, steps: Vec<Step>, part: f64, to: Leaf| {
        let mut plant = Plant::ready(rig, Arc::new(program(steps)));
        plant.part = part;
        plant.press(Contact::StartButton);
        plant.until(to, 1500.0);
        plants.push(plant);
    };
    // Two zones of one speed, and of two.
    let slower = || {
        let mut step = spray(2);
        step.spindle = crate::quantity::SpindleSpeed::from_rpm(63.0);
        Step::Spray(step)
    };
    let zone = || Step::Spray(spray(1));
    run(&rig(), vec![zone(), zone()], 260.0, Leaf::Complete);
    run(&geared_rig(), vec![zone(), slower()], 260.0, Leaf::Complete);
    run(&rig(), vec![super::fixture::preheat(), slower()], 20.0, Leaf::Complete);
    run(&rig(), vec![super::fixture::preheat(), super::fixture::cool()], 20.0, Leaf::Complete);
    run(&rig(), vec![super::fixture::preheat(), super::fixture::fuse()], 20.0, Leaf::Complete);
    run(
        &rig(),
        vec![super::fixture::preheat(), Step::ChangeTorch(1), super::fixture::cool()],
        20.0,
        Leaf::Complete,
    );
    run(&rig(), vec![zone(), super::fixture::cool()], 260.0, Leaf::Complete);
    run(&rig(), vec![zone(), super::fixture::fuse()], 260.0, Leaf::Complete);
    run(&rig(), vec![super::fixture::fuse(), zone()], 260.0, Leaf::Crossing);
    run(&rig(), vec![super::fixture::cool()], 260.0, Leaf::Complete);
    // A second pass that begins elsewhere.
    let mut moved = spray(2);
    if let Some(pass) = moved.passes.last_mut() {
        pass.from = mm(260.0);
    }
    run(&rig(), vec![Step::Spray(moved)], 260.0, Leaf::Complete);
    // The first pass finds the part too hot.
    run(&rig(), vec![zone()], 390.0, Leaf::WaitingForTemperature);
    // A dwell so long that the wait for it is seen.
    let mut dwelling = spray(2);
    dwelling.dwell = s(3.0);
    run(&rig(), vec![Step::Spray(dwelling)], 260.0, Leaf::Complete);

    // The pass that was added is taken back while the part cools for it.
    let nexts =
        [vec![zone()], vec![slower()], vec![Step::ChangeTorch(1)], vec![super::fixture::cool()]];
    for (rig, next) in [rig(), geared_rig(), rig(), rig()].iter().zip(nexts) {
        let mut plant = Plant::ready(rig, Arc::new(program([vec![zone()], next].concat())));
        plant.part = 260.0;
        plant.press(Contact::StartButton);
        plant.until(Leaf::Crossing, 200.0);
        plant.ask(Request::TouchUp);
        plant.part = 390.0;
        plant.until(Leaf::WaitingForTemperature, 60.0);
        plant.part = 260.0;
        plant.ask(Request::TakePassBack);
        plant.scan();
        plants.push(plant);
    }

    let mut after_pass = reach(Leaf::Crossing);
    after_pass.ask(Request::HoldAfterPass);
    after_pass.until(Leaf::HeldLit, 60.0);
    plants.push(after_pass);
    for leaf in [Leaf::HeldLit, Leaf::HeldUnlit, Leaf::Restarting] {
        let mut restarted = reach(leaf);
        restarted.run(7.0);
        restarted.ask(Request::Restart);
        if restarted.leaf() == Leaf::Restarting {
            restarted.ask(Request::Accept);
        }
        restarted.until(Leaf::Complete, 900.0);
        plants.push(restarted);
    }
    // Asked about the surface with the gas already shut; held while asked, lit and unlit.
    let mut unlit = reach(Leaf::Restarting);
    unlit.ask(Request::Hold);
    unlit.until(Leaf::HeldUnlit, 100.0);
    unlit.run(8.0);
    unlit.ask(Request::Restart);
    unlit.scan();
    plants.push(unlit.clone());
    unlit.person = Person::Absent;
    unlit.run(700.0);
    plants.push(unlit);
    // Restarts that do not get far: no extraction, no carriage, a flame that is none, no answer.
    for spoil in [
        |plant: &mut Plant| plant.set(Contact::Extraction, Level::Off),
        |plant: &mut Plant| {
            plant.frozen = true;
            plant.position = 250.0;
        },
        |plant: &mut Plant| plant.lies = plant.leaf() == Leaf::Purging,
        |plant: &mut Plant| plant.person = Person::Absent,
    ] {
        let mut plant = reach(Leaf::HeldUnlit);
        plant.run(8.0);
        plant.ask(Request::Restart);
        for _ in 0..40_000 {
            if plant.phase() != Phase::Held {
                spoil(&mut plant);
            }
            plant.scan();
        }
        plants.push(plant);
    }
    // Wet at a turn, and the last band too.
    for band in 0..2 {
        let mut plant = reach(Leaf::FuseTurning);
        plant.person = Person::Absent;
        if band == 1 {
            plant.ask(Request::Wet);
            plant.until(Leaf::Wetting, 10.0);
            plant.until(Leaf::FuseTurning, 60.0);
        }
        plant.ask(Request::Wet);
        plant.run(1.0);
        plants.push(plant);
    }
    // Not wet after all.
    let mut wet = reach(Leaf::Wetting);
    wet.ask(Request::NotWet);
    wet.run(1.0);
    plants.push(wet);
    // Ended by a reset, and by accept.
    for request in [Request::Reset, Request::Accept] {
        let mut done = reach(Leaf::Complete);
        done.ask(request);
        done.scan();
        plants.push(done);
    }
    // A trip while the job is being ended.
    let mut ending = reach(Leaf::Stopping);
    ending.trip(CarriageEffect::Retreat);
    ending.until(Leaf::Aborted, 60.0);
    ending.reset();
    plants.push(ending);
    // Found and started in one breath: a job loaded after homing.
    let mut homing = Plant::ready(&rig(), whole_job());
    homing.ask(Request::Home);
    homing.press(Contact::StartButton);
    homing.run(6.0);
    plants.push(homing);
    plants
}

#[test]
fn the_diagram_draws_what_is_observed_and_nothing_else() {
    let (drawn, observed) = (drawn(), observed());
    let undrawn: Vec<_> = observed.difference(&drawn).collect();
    let unseen: Vec<_> = drawn.difference(&observed).collect();
    assert!(
        undrawn.is_empty() && unseen.is_empty(),
        "not drawn: {undrawn:#?}\nnot seen: {unseen:#?}"
    );
    println!("{} arrows drawn and observed", drawn.len());
}
