//! The interlocks of one rig: judge, latch, and say what is taken away.

mod standing;

use core::time::Duration;

use super::Limits;
use super::figures::{FigureProblem, figures};
use super::judge::{Finding, View, armed, find};
use super::latch::{Latch, Onset};
use super::matrix::{AirEffect, ROWS, Raised, ResetRule, Watch};
use super::memory::Memory;
use super::message::{message, raised};
use super::news::News;
use super::permissive::{Permissive, permissives};
use super::plant::Plant;
use super::proof::{ProofFinding, ProofWatch, Proved, find_under_proof};
use super::scene::{Contacts, Scene};
use super::slot::{Look, Slot};
use super::trip::Trip;
use super::verdict::{Acknowledged, Class, Effects, SpindleEffect, Verdict, Veto};
use crate::image::{Coil, Inputs, Level, Outputs};
use crate::moment::Moment;
use crate::quantity::SpindleSpeed;
use crate::rig::Rig;

/// Whether torch and hose have been purged since the trip.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum PurgeDone {
    /// Not as far as the caller knows.
    No,
    /// Yes, by the torch's handbook.
    Yes,
}

/// Whether somebody has inspected torch, hoses and arrestors since the trip.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Inspected {
    /// No.
    No,
    /// Yes, and what was found is in the record.
    Yes,
}

/// What became of a cause that was raised.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Taken {
    /// It counts.
    Yes,
    /// Neither gas nor powder is asked, so there is nothing it could be about.
    NothingToAct,
}

/// The interlocks.
#[derive(Debug, Clone)]
pub struct Interlocks {
    plant: Plant,
    /// By priority, so that the first of one scan comes first.
    slots: Vec<Slot>,
    memory: Memory,
    scene: Scene,
    limits: Limits,
    extraction_asked: bool,
    latch: Latch,
    trip: Option<Trip>,
    /// The row to be proved in the next step, and in that one only.
    proof: Option<ProofWatch>,
    proof_finding: Option<ProofFinding>,
}

impl Interlocks {
    /// Interlocks with the rig's tightened figures.
    ///
    /// # Errors
    /// [`FigureProblem`] when the rig names an unknown row, loosens a figure or gives none.
    pub fn new(rig: &Rig) -> Result<Self, FigureProblem> {
        let figures = figures(&rig.interlocks)?;
        let plant = Plant::new(rig, &figures);
        let mut slots: Vec<Slot> =
            ROWS.iter().zip(figures).map(|(row, figure)| Slot::new(row, figure)).collect();
        slots.sort_by_key(|slot| (slot.row.priority, slot.row.number));
        let stages: Vec<Option<usize>> =
            slots.iter().map(|slot| later_stage(slot, &slots)).collect();
        for (slot, stage) in slots.iter_mut().zip(stages) {
            slot.escalates_to = stage;
        }
        Ok(Self {
            plant,
            slots,
            memory: Memory::default(),
            scene: Scene::default(),
            limits: Limits::default(),
            extraction_asked: false,
            latch: Latch::default(),
            trip: None,
            proof: None,
            proof_finding: None,
        })
    }

    /// Judges one scan: the inputs just read, what was last written, and the limits of the step
    /// in hand. Time is the inputs'.
    pub fn step(&mut self, inputs: &Inputs, last: &Outputs, limits: &Limits) {
        // Taken, not kept: whoever proves asks again before every scan, or nothing is proved.
        let proved = Proved::of(self.proof.take());
        self.proof_finding = None;
        let Self { plant, slots, memory, latch, trip, proof_finding, .. } = self;
        let scene = memory.update(inputs, last, limits, plant);
        let view = View { scene: &scene, inputs, limits, plant };
        let now = scene.now;
        for slot in slots.iter_mut() {
            if proved.is(slot.row) {
                let found = find_under_proof(slot.row, slot.figure.set_point, &view);
                *proof_finding = Some(ProofFinding::of(found));
            }
            let look = slot.look(&view, proved);
            slot.follow_onset(&scene);
            match look {
                Look::Same => {}
                Look::Confirmed => {
                    let words = |slot: &Slot| {
                        let words = message(slot.row, &slot.figure, slot.onset, &view);
                        if proved.arms(slot.row) { format!("Proof test: {words}") } else { words }
                    };
                    if latch.confirm(slot, now, words) == Onset::First {
                        *trip = Some(Trip::begin(memory, &scene));
                    }
                    inspect_anew(slot, trip);
                }
                Look::Returned => latch.return_to_normal(slot, now),
            }
            let ends = slot.row.class == Class::Stop && slot.latched && !slot.present;
            if ends && !scene.energised {
                latch.clear(slot, now);
            }
        }
        if let Some(trip) = trip {
            trip.follow(memory, &scene);
        }
        self.scene = scene;
        self.limits = *limits;
        self.extraction_asked = last.coil(Coil::Extraction).is_on();
        self.conclude();
    }

    /// The verdict of the last scan, and of what was raised since.
    #[must_use]
    pub const fn verdict(&self) -> &Verdict {
        &self.latch.verdict
    }

    /// Lets the next step look at a row under proof, and arm it on top of what arms it. It holds
    /// for that one step: a proof that is not asked for again is over.
    pub fn prove(&mut self, watch: ProofWatch) {
        self.proof = Some(watch);
    }

    /// What the last step found of the row under proof; `None` when it looked at none.
    #[must_use]
    pub const fn proof_finding(&self) -> Option<ProofFinding> {
        self.proof_finding
    }

    /// How long a row's condition must last on this rig before it counts; `None` for a key that
    /// no row has.
    #[must_use]
    pub fn delay(&self, key: &str) -> Option<Duration> {
        self.slots.iter().find(|slot| slot.row.key == key).map(|slot| slot.figure.delay)
    }

    /// Raises a person's cause. It counts at once.
    pub fn request(&mut self, now: Moment, cause: Raised) -> Taken {
        self.raise(now, cause, "")
    }

    /// The same with words about what was found: which deadline passed, which try failed.
    pub fn raise(&mut self, now: Moment, cause: Raised, words: &str) -> Taken {
        let inputs = Inputs::unknown();
        let view =
            View { scene: &self.scene, inputs: &inputs, limits: &self.limits, plant: &self.plant };
        let mut taken = Taken::NothingToAct;
        for slot in &mut self.slots {
            let is_it = match slot.row.watch {
                Watch::Person(own) | Watch::PressedOr(_, own) => own == cause,
                _ => false,
            };
            if is_it && armed(slot.row.arming, &view) {
                taken = Taken::Yes;
                if self.latch.confirm(slot, now, |slot| raised(slot.row, words)) == Onset::First {
                    self.trip = Some(Trip::begin(&self.memory, &self.scene));
                }
                inspect_anew(slot, &mut self.trip);
            }
        }
        self.conclude();
        taken
    }

    /// Somebody has seen the trip.
    pub fn acknowledge(&mut self, now: Moment) {
        self.latch.acknowledge(now);
        self.conclude();
    }

    /// Somebody has inspected torch, hoses and arrestors after a flashback; from now on the hose
    /// may be purged again.
    pub fn inspected(&mut self) {
        if let Some(trip) = &mut self.trip {
            trip.inspected = true;
        }
        self.conclude();
    }

    /// Torch and hose were purged by the torch's handbook. Carrier air that is seen for five
    /// seconds with both gases shut is noticed without being told.
    pub fn purged(&mut self) {
        self.memory.purged();
        self.conclude();
    }

    /// The purge can't be made now, and is left to the next lighting: it stays owed, and a reset
    /// no longer waits for it.
    pub fn purge_left(&mut self) {
        self.memory.purge_left = self.memory.purge_owed;
        self.conclude();
    }

    /// Whether torch and hose still have to be purged since gas or powder last flowed.
    #[must_use]
    pub const fn owes_purge(&self) -> bool {
        self.memory.purge_owed
    }

    /// Resets the trip. Motion, gas and powder start by nothing but a later act of a person.
    ///
    /// # Errors
    /// What is still needed, in words.
    pub fn reset(
        &mut self,
        inputs: &Inputs,
        last: &Outputs,
        purge: PurgeDone,
        inspected: Inspected,
    ) -> Result<(), Vec<&'static str>> {
        if purge == PurgeDone::Yes {
            self.memory.purged();
        }
        if inspected == Inspected::Yes {
            self.inspected();
        }
        let contacts = Contacts::read(inputs, &self.plant);
        let scene = Scene { contacts, ..self.scene };
        let view = View { scene: &scene, inputs, limits: &self.limits, plant: &self.plant };
        for slot in self.slots.iter_mut().filter(|slot| slot.latched) {
            let lasting = slot.row.reset != ResetRule::AtRest;
            slot.present |=
                lasting && find(slot.row, slot.figure.set_point, &view) != Finding::Clear;
        }
        self.conclude();
        let mut needs = self.latch.verdict.reset_needs.clone();
        let asked = [Coil::Fuel, Coil::Oxygen].iter().any(|coil| last.coil(*coil).is_on());
        if asked || last.powder.now.is_on() {
            needs.push("Gas or powder is still asked for: wait until it is shut.");
        }
        if !needs.is_empty() {
            return Err(needs);
        }
        self.latch.clear_trips(&mut self.slots, inputs.now);
        self.trip = None;
        self.conclude();
        Ok(())
    }

    /// A restart, or the end of a job, clears holds and stops whose condition is gone.
    ///
    /// # Errors
    /// The advice of those that remain.
    pub fn clear_holds(&mut self, now: Moment) -> Result<(), Vec<&'static str>> {
        let mut remain = Vec::new();
        for slot in &mut self.slots {
            let held = slot.latched && slot.row.class != Class::Trip;
            if held && slot.present && !matches!(slot.row.watch, Watch::Person(_)) {
                remain.push(slot.row.advice);
            } else if held {
                self.latch.clear(slot, now);
            }
        }
        self.conclude();
        if remain.is_empty() { Ok(()) } else { Err(remain) }
    }

    /// Whether the torch is clear of part, chuck and centre as far as the last scan showed.
    #[must_use]
    pub const fn torch_clear(&self) -> Level {
        Level::from_bit(self.scene.clear)
    }

    /// Takes out what is new about causes, for the record.
    pub fn drain_news(&mut self) -> impl Iterator<Item = News> + '_ {
        self.latch.news.drain(..)
    }

    /// How many news were dropped because nobody took them out.
    #[must_use]
    pub const fn lost_news(&self) -> u64 {
        self.latch.lost_news
    }

    /// What must be so before anything starts, one by one, in the order of the matrix. Uses what
    /// the last step saw asked, and the inputs given.
    #[must_use]
    pub fn permissives(&self, inputs: &Inputs, limits: &Limits) -> Vec<Permissive> {
        let mut slots: Vec<&Slot> = self.slots.iter().collect();
        slots.sort_by_key(|slot| slot.row.number);
        let scene = Scene { contacts: Contacts::read(inputs, &self.plant), ..self.scene };
        permissives(&slots, &scene, self.extraction_asked, inputs, limits, &self.plant)
    }

    /// Works out class, effects, what comes later, and what a reset needs.
    fn conclude(&mut self) {
        self.effects();
        self.pend();
        self.needs();
        let verdict = &mut self.latch.verdict;
        let held = verdict.holds.iter().map(|hold| hold.class).max();
        let warned = verdict.warnings.first().map(|_| Class::Warn);
        verdict.class = verdict.first.as_ref().map(|_| Class::Trip).or(held).or(warned);
    }

    fn effects(&mut self) {
        let mut sum = Effects::default();
        let mut air = AirEffect::Keep;
        let slots = if self.latch.is_empty() { &[] } else { self.slots.as_slice() };
        for slot in slots.iter().filter(|slot| slot.latched) {
            let row = slot.row.effects;
            sum.powder_off = sum.powder_off.max(row.powder);
            sum.fuel_shut = sum.fuel_shut.max(row.fuel);
            sum.oxygen_shut = sum.oxygen_shut.max(row.oxygen);
            sum.supply_shut = sum.supply_shut.max(row.supply);
            sum.no_cooling = sum.no_cooling.max(row.cooling);
            sum.watchdog_off = sum.watchdog_off.max(row.watchdog);
            air = air.max(row.air);
            // A hold stops the carriage only while its condition lasts: the torch must leave.
            if slot.row.class == Class::Trip || slot.confirmed {
                sum.carriage = sum.carriage.max(row.carriage);
                sum.spindle = sum.spindle.max(row.spindle);
            }
        }
        if !self.scene.field_known || self.scene.field_frozen {
            sum.watchdog_off = Veto::Imposed;
        }
        let blown = match air {
            AirEffect::Keep => true,
            AirEffect::UntilClear => self.scene.clear,
            AirEffect::Off => self.scene.clear && self.trip.is_some_and(|trip| trip.inspected),
        };
        if !blown {
            sum.air_off = Veto::Imposed;
        }
        let mut at_most = None;
        if let Some(trip) = &mut self.trip {
            sum.carriage = trip.carriage(sum.carriage, self.scene.now);
            if sum.spindle == SpindleEffect::Turn && trip.turn_at_most.is_none() {
                sum.spindle = SpindleEffect::Stop;
            }
            at_most = trip.turn_at_most.map(SpindleSpeed::from_rpm);
        }
        self.latch.verdict.effects = sum;
        self.latch.verdict.turn_at_most = at_most;
    }

    fn pend(&mut self) {
        let now = self.scene.now;
        self.latch.verdict.pending.clear();
        if self.latch.verdict.holds.is_empty() {
            return;
        }
        for slot in self.slots.iter().filter(|slot| slot.latched && slot.confirmed) {
            let Some(next) = slot.escalates_to.and_then(|place| self.slots.get(place)) else {
                continue;
            };
            let Some(since) = next.since.filter(|_| !next.latched) else { continue };
            let row = next.row.effects;
            let effects = Effects {
                powder_off: row.powder,
                fuel_shut: row.fuel,
                oxygen_shut: row.oxygen,
                supply_shut: row.supply,
                air_off: if row.air == AirEffect::Keep { Veto::None } else { Veto::Imposed },
                no_cooling: row.cooling,
                carriage: row.carriage,
                spindle: row.spindle,
                watchdog_off: row.watchdog,
            };
            let left = next.figure.delay.saturating_sub(now.since(since));
            self.latch.verdict.pending.push((left, effects));
        }
    }

    fn needs(&mut self) {
        let verdict = &mut self.latch.verdict;
        verdict.reset_needs.clear();
        let Some(trip) = self.trip else { return };
        let trips = self.slots.iter().filter(|slot| slot.latched && slot.row.class == Class::Trip);
        let mut inspection = false;
        for slot in trips {
            inspection |= slot.row.reset == ResetRule::Inspected;
            if slot.present {
                verdict.reset_needs.push(slot.row.advice);
            }
        }
        if verdict.acknowledged == Acknowledged::No {
            verdict.reset_needs.push("Acknowledge the trip.");
        }
        if inspection && !trip.inspected {
            verdict
                .reset_needs
                .push("Inspect torch, hoses and arrestors, and write down what was found.");
        }
        if self.memory.purge_owed && !self.memory.purge_left {
            verdict.reset_needs.push("Purge torch and hose, clear of the part.");
        }
    }
}

/// An inspection counts for what happened before it: a flashback after it wants another.
fn inspect_anew(slot: &Slot, trip: &mut Option<Trip>) {
    if slot.row.reset == ResetRule::Inspected
        && let Some(trip) = trip
    {
        trip.inspected = false;
    }
}

/// The later, severer stage of the same cause.
fn later_stage(slot: &Slot, slots: &[Slot]) -> Option<usize> {
    slots.iter().position(|other| {
        other.row.watch == slot.row.watch
            && other.row.arming == slot.row.arming
            && other.row.class > slot.row.class
            && other.row.delay > slot.row.delay
    })
}
