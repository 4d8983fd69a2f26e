//! Random people, contacts, trips and temperatures; what must hold in every scan, and the job
//! that must come to an end or to rest once the chaos stops.

use super::fixture::{geared_rig, mm, whole_job};
use super::plant::{Person, Plant};
use super::reach::reach;
use crate::image::{AxisDemand, Coil, Contact, Level, SpindleDemand};
use crate::interlock::{CarriageEffect, Presence};
use crate::request::{Direction, Origin, Request};
use crate::sequence::{Ask, Leaf, Phase};

/// A linear congruential generator (Knuth's MMIX figures): the seed reproduces everything.
struct Dice(u64);

impl Dice {
    fn below(&mut self, bound: u64) -> u64 {
        self.0 =
            self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (self.0 >> 33) % bound
    }

    fn pick<T: Copy>(&mut self, from: &[T]) -> T {
        from[usize::try_from(self.below(from.len() as u64)).expect("small")]
    }
}

const REQUESTS: [Request; 16] = [
    Request::Start,
    Request::Hold,
    Request::HoldAfterPass,
    Request::Restart,
    Request::Stop,
    Request::Abort,
    Request::Reset,
    Request::Accept,
    Request::Wet,
    Request::NotWet,
    Request::Home,
    Request::Jog(Direction::TowardChuck),
    Request::TakePoint,
    Request::EnterManual,
    Request::EnterProving,
    Request::LeaveManual,
];

const CONTACTS: [Contact; 10] = [
    Contact::Guard,
    Contact::Extraction,
    Contact::EnablingKey,
    Contact::StartButton,
    Contact::HoldButtonRest,
    Contact::StopButtonRest,
    Contact::ResetButton,
    Contact::AcceptButton,
    Contact::WetButton,
    Contact::HoldToRun,
];

/// What holds in every scan, whatever people do.
fn check(plant: &Plant, seed: u64) {
    let leaf = plant.leaf();
    let on = |coil| plant.outputs.coil(coil).is_on();
    let story = || format!("seed {seed}, {leaf:?}: {}", plant.story());
    let powder = plant.outputs.powder;
    if powder.now.is_on() || powder.next.is_some() {
        assert!(matches!(leaf, Leaf::Crossing | Leaf::SprayTurning), "{}", story());
    }
    if powder.now.is_on() || on(Coil::Fuel) || on(Coil::Oxygen) {
        assert!(on(Coil::Extraction) && on(Coil::CarrierAir), "{}", story());
    }
    if on(Coil::Fuel) {
        assert!(on(Coil::Supply), "{}", story());
        let dark = matches!(
            plant.phase(),
            Phase::Idle | Phase::Manual | Phase::Stopped | Phase::Aborted | Phase::Complete
        );
        assert!(!dark, "{}", story());
        // Over the part a flame has a turning spindle under it.
        let clear = (plant.position - super::fixture::PARK).abs() < 1.5;
        assert!(clear || plant.outputs.spindle != SpindleDemand::Stop, "{}", story());
    }
    if matches!(leaf, Leaf::Inside) {
        assert_eq!(plant.outputs.axis, AxisDemand::Off, "{}", story());
        assert_eq!(plant.outputs.spindle, SpindleDemand::Stop, "{}", story());
        assert!(!on(Coil::Supply) && !on(Coil::Fuel) && !on(Coil::Oxygen), "{}", story());
    }
    if matches!(plant.outputs.axis, AxisDemand::Home(_)) {
        assert_eq!(leaf, Leaf::Homing, "{}", story());
    }
    assert_eq!(on(Coil::LampWhite), leaf == Leaf::Inside, "{}", story());
    // Wetting is watched for all the time: the lamp calls once the pyrometer reads 1020 degC.
    let prompt = plant.sequence.prompt();
    let calls = prompt.is_some_and(|prompt| prompt.ask != Ask::CallWet || plant.coat >= 1020.0);
    assert_eq!(on(Coil::LampBlue), calls, "{}", story());
}

fn disturb(plant: &mut Plant, dice: &mut Dice) {
    match dice.below(100) {
        0..=29 => {
            let request = dice.pick(&REQUESTS);
            let origin = dice.pick(&[Origin::Seat, Origin::Machine, Origin::Watcher]);
            plant.ask_from(request, origin);
        }
        30..=69 => {
            let contact = dice.pick(&CONTACTS);
            let level = dice.pick(&[Level::On, Level::Off]);
            plant.set(contact, level);
        }
        70..=74 => {
            let effects = [CarriageEffect::Retreat, CarriageEffect::Stop, CarriageEffect::Cut];
            if !plant.verdict.tripped() {
                plant.trip(dice.pick(&effects));
            }
        }
        75..=79 => plant.hold_by_interlock(dice.pick(&[Presence::Active, Presence::Returned])),
        80..=84 => plant.part = dice.pick(&[20.0, 190.0, 260.0, 399.0]),
        85..=87 => plant.lights = dice.pick(&[true, true, false]),
        88..=89 => plant.frozen = dice.pick(&[false, false, true]),
        90..=91 => plant.lies = dice.pick(&[false, false, true]),
        92..=93 => plant.vents = dice.pick(&[true, true, false]),
        94 => {
            plant.ask_from(Request::Nudge(mm(2.0)), Origin::Seat);
        }
        _ => plant.person = dice.pick(&[Person::Helpful, Person::Helpful, Person::Absent]),
    }
}

fn calm(plant: &mut Plant) {
    for contact in CONTACTS {
        let rest = matches!(
            contact,
            Contact::Guard
                | Contact::Extraction
                | Contact::EnablingKey
                | Contact::HoldButtonRest
                | Contact::StopButtonRest
        );
        plant.set(contact, Level::from_bit(rest));
    }
    plant.person = Person::Helpful;
    (plant.lights, plant.frozen, plant.lies, plant.vents) = (true, false, false, true);
    plant.verdict.holds.clear();
    if !plant.verdict.tripped() {
        plant.verdict.class = None;
    }
}

/// A person who wants the job done: starts, restarts, resets, accepts.
fn finish(plant: &mut Plant, seed: u64) {
    let end = plant.now + core::time::Duration::from_secs(6000);
    while plant.leaf() != Leaf::Complete {
        assert!(
            plant.now < end,
            "seed {seed} never ends, in {:?}: {}",
            plant.leaf(),
            plant.story()
        );
        match plant.phase() {
            Phase::Manual => {
                plant.ask(Request::LeaveManual);
            }
            Phase::Stopped | Phase::Aborted => plant.reset(),
            Phase::Idle | Phase::Held => {
                // Some began without a job; where one is held, this is denied.
                let _ = plant.sequence.load(whole_job());
                plant.press(Contact::StartButton);
            }
            Phase::Restarting if plant.leaf() == Leaf::Restarting => {
                plant.press(Contact::AcceptButton);
            }
            _ => {}
        }
        plant.run(1.0);
        check(plant, seed);
    }
}

#[test]
fn no_chaos_breaks_what_must_hold_and_after_it_the_job_can_be_finished() {
    let mut seen = std::collections::BTreeSet::new();
    for seed in 0..140_u64 {
        let mut dice = Dice(seed);
        let mut plant = if seed % 7 == 0 {
            let mut plant = Plant::ready(&geared_rig(), whole_job());
            plant.press(Contact::StartButton);
            plant.run(f64::from(u32::try_from(dice.below(280)).expect("small")));
            plant
        } else {
            reach(dice.pick(Leaf::ALL))
        };
        let rare = dice.pick(&[10, 40, 120]);
        for _ in 0..1000 {
            if dice.below(rare) == 0 {
                disturb(&mut plant, &mut dice);
            }
            plant.scan();
            check(&plant, seed);
            seen.insert(plant.leaf());
            if dice.below(400) == 0 {
                calm(&mut plant);
                plant.run(5.0);
            }
        }
        calm(&mut plant);
        finish(&mut plant, seed);
        assert!(plant.is_safe());
    }
    println!("{} of {} states seen in chaos", seen.len(), Leaf::ALL.len());
    assert!(seen.len() > 30, "the chaos reached only {seen:?}");
}
