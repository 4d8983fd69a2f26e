//! The machine in every state of the chart, as a person and the plant bring it there: the reference
//! shaft walked through once, a copy kept where a state shows what is worst in it. Nobody is at the
//! machine in a copy: what happens next is the product's own doing.

use std::collections::BTreeMap;
use std::time::Duration;

use evenpass_core::request::{Answer, Direction, Request};
use evenpass_core::scan::NO_DATUM;
use evenpass_core::sequence::{Leaf, Phase};

use evenpass_hil::{Analogue, Fault, Target, Word};

use super::Trial;
use crate::support::jobs::Texts;

const SEED: u64 = 35;

/// The machine in a state.
#[derive(Clone)]
pub(crate) struct Place {
    pub(crate) leaf: Leaf,
    /// What is going on in it, where the state's name alone does not say.
    pub(crate) note: &'static str,
    pub(crate) trial: Trial,
}

impl Place {
    pub(crate) fn name(&self) -> String {
        let name = self.leaf.name();
        if self.note.is_empty() { name.to_owned() } else { format!("{name}, {}", self.note) }
    }
}

/// The places kept so far.
#[derive(Default)]
struct Kept(Vec<Place>);

impl Kept {
    /// A copy, the person gone. It must be where it says it is.
    fn keep(&mut self, leaf: Leaf, note: &'static str, walk: &Trial) {
        let mut trial = walk.clone();
        assert_eq!(trial.leaf(), leaf, "{note}");
        trial.leave();
        trial.begin_record();
        self.0.push(Place { leaf, note, trial });
    }
}

/// Every state of the chart, in the chart's order, some more than once.
pub(crate) fn places() -> Vec<Place> {
    let mut kept = Kept::default();
    // A rest at each turn, so that it can be looked at.
    let texts = Texts::of("reference-shaft")
        .recipe("dwell = \"0 s\"", "dwell = \"0.5 s\"")
        // The front is drawn along for long enough to look at.
        .recipe("feed = \"12 mm/s\"", "feed = \"6 mm/s\"")
        .rig("every = \"10 min\"", "every = \"1 min\"")
        .rig("answer_within = \"60 s\"", "answer_within = \"10 s\"");
    let mut walk = Trial::new(texts.job(), SEED);
    before_the_job(&mut walk, &mut kept);
    to_the_flame(&mut walk, &mut kept);
    preheating(&mut walk, &mut kept);
    spraying(&mut walk, &mut kept);
    change_of_torch(&mut walk, &mut kept);
    fusing_and_after(&mut walk, &mut kept);
    let order: BTreeMap<Leaf, usize> =
        Leaf::ALL.iter().enumerate().map(|(at, leaf)| (*leaf, at)).collect();
    kept.0.sort_by_key(|place| order.get(&place.leaf).copied());
    for leaf in Leaf::ALL {
        assert!(kept.0.iter().any(|place| place.leaf == *leaf), "{} was not reached", leaf.name());
    }
    kept.0
}

fn before_the_job(walk: &mut Trial, kept: &mut Kept) {
    walk.expect("only the datum is missing", 30.0, |this| this.status().missing == [NO_DATUM]);
    kept.keep(Leaf::NotReady, "", walk);
    walk.wait(1.0);
    assert_eq!(walk.ask(Request::Home), Answer::Accepted);
    walk.expect("homing moves", 30.0, |this| this.truth().torch_mm_s.abs() > 30.0);
    walk.wait(1.0);
    kept.keep(Leaf::Homing, "seeking", walk);
    walk.reach(Leaf::Ready, 120.0);
    kept.keep(Leaf::Ready, "", walk);
    let mut manual = walk.clone();
    manual.leave();
    assert_eq!(manual.ask(Request::EnterManual), Answer::Accepted);
    manual.wait(0.5);
    let mut jogging = manual.clone();
    jogging.renewed = Some(Request::Jog(Direction::TowardChuck));
    jogging.expect("it jogs", 5.0, |this| this.truth().torch_mm_s < -19.0);
    jogging.wait(0.5);
    kept.keep(Leaf::Jogging, "key held down", &jogging);
    assert_eq!(manual.ask(Request::TakePoint), Answer::Accepted);
    manual.wait(0.5);
    kept.keep(Leaf::Teaching, "", &manual);
    assert_eq!(manual.ask(Request::EnterProving), Answer::Accepted);
    manual.wait(0.5);
    kept.keep(Leaf::Proving, "", &manual);
    // Somebody has pushed the carriage away from the park.
    let mut parking = walk.clone();
    parking.leave();
    parking.wait(1.0);
    parking.bench().push_carriage_to(400.0);
    parking.come_back();
    parking.reach(Leaf::Parking, 60.0);
    parking.expect("it moves", 5.0, |this| this.truth().torch_mm_s > 50.0);
    kept.keep(Leaf::Parking, "", &parking);
}

fn to_the_flame(walk: &mut Trial, kept: &mut Kept) {
    walk.reach(Leaf::Checking, 60.0);
    walk.wait(0.1);
    kept.keep(Leaf::Checking, "", walk);
    walk.reach(Leaf::SpinningUp, 60.0);
    walk.wait(1.0);
    kept.keep(Leaf::SpinningUp, "before the flame", walk);
    walk.reach(Leaf::Purging, 60.0);
    walk.wait(1.0);
    kept.keep(Leaf::Purging, "", walk);
    walk.reach(Leaf::Opening, 60.0);
    walk.wait(0.1);
    kept.keep(Leaf::Opening, "a person is asked", walk);
    walk.expect("gas flows", 60.0, |this| this.truth().fuel_open);
    walk.wait(0.1);
    kept.keep(Leaf::Opening, "gas flows unlit", walk);
    walk.reach(Leaf::ConfirmingFlame, 10.0);
    walk.wait(1.5);
    kept.keep(Leaf::ConfirmingFlame, "guard open", walk);
    walk.reach(Leaf::SpinningUp, 60.0);
    walk.wait(1.0);
    kept.keep(Leaf::SpinningUp, "flame lit", walk);
}

fn preheating(walk: &mut Trial, kept: &mut Kept) {
    walk.reach(Leaf::PreheatTurning, 60.0);
    walk.reach(Leaf::Traversing, 5.0);
    walk.wait(2.0);
    kept.keep(Leaf::Traversing, "", walk);
    walk.reach(Leaf::PreheatTurning, 60.0);
    kept.keep(Leaf::PreheatTurning, "", walk);
    walk.reach(Leaf::Soaking, 900.0);
    walk.expect("it is parked", 60.0, |this| this.truth().torch_mm_s == 0.0);
    walk.wait(1.0);
    kept.keep(Leaf::Soaking, "", walk);
}

fn spraying(walk: &mut Trial, kept: &mut Kept) {
    walk.reach(Leaf::Approaching, 60.0);
    walk.expect("it moves", 5.0, |this| this.truth().torch_mm_s < -50.0);
    kept.keep(Leaf::Approaching, "", walk);
    walk.reach(Leaf::Crossing, 60.0);
    kept.keep(Leaf::Crossing, "powder to come", walk);
    walk.expect("the feeder runs", 10.0, |this| this.truth().feeder_on);
    walk.wait(6.0);
    kept.keep(Leaf::Crossing, "powder on", walk);
    held(walk, kept);
    ended(walk, kept);
    // With a flame as strong as this one every pass is waited for; a sensor that does not follow
    // brings the turn without a wait.
    let mut turning = walk.clone();
    let target = Target::Analogue(Analogue::PreheatTemperature);
    turning.bench().inject(Fault::Signal { target, word: Word::Stuck });
    turning.reach(Leaf::SprayTurning, 60.0);
    turning.bench().inject(Fault::Signal { target, word: Word::Ok });
    kept.keep(Leaf::SprayTurning, "", &turning);
    walk.reach(Leaf::WaitingForTemperature, 300.0);
    walk.expect("it rests", 60.0, |this| this.truth().torch_mm_s == 0.0);
    walk.wait(1.0);
    kept.keep(Leaf::WaitingForTemperature, "", walk);
}

/// Held in mid-pass, and what follows.
fn held(walk: &Trial, kept: &mut Kept) {
    let mut held = walk.clone();
    assert_eq!(held.ask(Request::Hold), Answer::Accepted);
    held.reach(Leaf::Holding, 1.0);
    held.wait(0.2);
    kept.keep(Leaf::Holding, "hose emptying", &held);
    held.expect("the carriage leaves", 5.0, |this| this.truth().torch_mm_s > 30.0);
    kept.keep(Leaf::Holding, "leaving the part", &held);
    held.reach(Leaf::HeldLit, 60.0);
    held.wait(1.0);
    kept.keep(Leaf::HeldLit, "", &held);
    held.leave();
    held.reach(Leaf::HeldUnlit, 120.0);
    held.wait(1.0);
    kept.keep(Leaf::HeldUnlit, "being purged", &held);
    held.wait(15.0);
    kept.keep(Leaf::HeldUnlit, "at rest", &held);
    // Held for so long that the surface is asked about.
    let blasted_within = held.of.plan.program.blasted_within.to_duration();
    held.run_to(held.now() + blasted_within + Duration::from_secs(60));
    held.look();
    assert_eq!(held.ask(Request::Restart), Answer::Accepted);
    held.reach(Leaf::Restarting, 1.0);
    held.wait(0.2);
    kept.keep(Leaf::Restarting, "the surface is asked about", &held);
}

/// Stopped and aborted in mid-pass.
fn ended(walk: &Trial, kept: &mut Kept) {
    let mut stopped = walk.clone();
    stopped.leave();
    assert_eq!(stopped.ask(Request::Stop), Answer::Accepted);
    stopped.reach(Leaf::Stopping, 1.0);
    stopped.wait(0.2);
    kept.keep(Leaf::Stopping, "hose emptying", &stopped);
    stopped.expect("gas is shut", 60.0, |this| !this.truth().fuel_open);
    stopped.wait(0.5);
    kept.keep(Leaf::Stopping, "purging", &stopped);
    stopped.wait(15.0);
    kept.keep(Leaf::Stopping, "turning until cool", &stopped);
    stopped.reach(Leaf::Stopped, 7200.0);
    stopped.wait(10.0);
    kept.keep(Leaf::Stopped, "", &stopped);
    let mut aborted = walk.clone();
    aborted.leave();
    assert_eq!(aborted.ask(Request::Abort), Answer::Accepted);
    aborted.reach(Leaf::Aborting, 1.0);
    aborted.wait(0.5);
    kept.keep(Leaf::Aborting, "retreating", &aborted);
    aborted.expect("it is purged", 60.0, |this| this.truth().carrier_on);
    aborted.wait(0.5);
    kept.keep(Leaf::Aborting, "purging", &aborted);
    aborted.reach(Leaf::Aborted, 60.0);
    aborted.wait(2.0);
    kept.keep(Leaf::Aborted, "", &aborted);
}

fn change_of_torch(walk: &mut Trial, kept: &mut Kept) {
    walk.reach(Leaf::Isolating, 3.0 * 3600.0);
    walk.wait(0.5);
    kept.keep(Leaf::Isolating, "leaving the part", walk);
    walk.expect("supply is shut", 60.0, |this| !this.truth().supply_open);
    walk.wait(0.2);
    kept.keep(Leaf::Isolating, "gas shut", walk);
    walk.reach(Leaf::Inside, 60.0);
    walk.expect("the guard is open", 10.0, |this| !this.truth().guard_closed);
    walk.wait(2.0);
    kept.keep(Leaf::Inside, "guard open", walk);
    walk.reach(Leaf::ClosingUp, 120.0);
    walk.expect("supply is open", 10.0, |this| this.truth().supply_open);
    kept.keep(Leaf::ClosingUp, "", walk);
}

fn fusing_and_after(walk: &mut Trial, kept: &mut Kept) {
    walk.reach(Leaf::FuseTurning, 600.0);
    kept.keep(Leaf::FuseTurning, "", walk);
    walk.reach(Leaf::Heating, 5.0);
    walk.wait(1.0);
    kept.keep(Leaf::Heating, "", walk);
    walk.reach(Leaf::Wetting, 1200.0);
    walk.wait(0.5);
    kept.keep(Leaf::Wetting, "", walk);
    walk.reach(Leaf::CoolingDown, 1200.0);
    walk.wait(0.2);
    kept.keep(Leaf::CoolingDown, "leaving the part", walk);
    walk.wait(30.0);
    kept.keep(Leaf::CoolingDown, "turning", walk);
    walk.reach(Leaf::Complete, 7200.0);
    assert_eq!(walk.status().phase, Phase::Complete);
    walk.wait(10.0);
    kept.keep(Leaf::Complete, "", walk);
}
