//! The interlocks of one rig: judge, latch, and say what is taken away.

mod before_start;
mod conclude;
mod reset;
mod standing;
mod window;

use std::sync::Arc;

use core::time::Duration;

pub use self::reset::{Inspected, PurgeDone};
pub use self::window::{PressureWindow, PressureWindows};

use super::Limits;
use super::figures::{Figure, FigureProblem, figures};
use super::judge::{View, armed};
use super::latch::{Latch, Onset};
use super::matrix::{ROWS, Raised, ResetRule, Row, Watch};
use super::memory::Memory;
use super::message::{message, raised};
use super::news::News;
use super::plant::Plant;
use super::proof::{ProofFinding, ProofWatch, Proved, find_under_proof};
use super::scene::Scene;
use super::slot::{Fixed, Look, Slot};
use super::trip::Trip;
use super::verdict::{Class, Verdict};
use crate::image::{Coil, Inputs, Level, Outputs};
use crate::moment::Moment;
use crate::rig::Rig;

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
    plant: Arc<Plant>,
    /// By priority, so that the first of one scan comes first.
    slots: Vec<Slot>,
    /// What of each slot never changes, in the same order.
    fixed: Arc<[Fixed]>,
    /// The slots that count before a start, in the matrix's order.
    before_start: Arc<[usize]>,
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
        let mut rows: Vec<(&'static Row, Figure)> = ROWS.iter().zip(figures).collect();
        rows.sort_by_key(|(row, _)| (row.priority, row.number));
        let slots: Vec<Slot> = rows.iter().map(|(row, _)| Slot::new(row)).collect();
        let fixed = rows
            .into_iter()
            .map(|(row, figure)| Fixed { figure, escalates_to: later_stage(row, &slots) })
            .collect();
        let before_start = before_start::places(&slots);
        Ok(Self {
            plant: Arc::new(plant),
            slots,
            fixed,
            before_start,
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
        let Self { plant, slots, fixed, memory, latch, trip, proof_finding, .. } = self;
        let scene = memory.update(inputs, last, limits, plant);
        let view = View { scene: &scene, inputs, limits, plant };
        let now = scene.now;
        for (slot, Fixed { figure, .. }) in slots.iter_mut().zip(fixed.iter()) {
            if proved.is(slot.row) {
                let found = find_under_proof(slot.watch, figure.set_point, &view);
                *proof_finding = Some(ProofFinding::of(found));
            }
            let look = slot.look(figure, &view, proved);
            slot.follow_onset(&scene);
            match look {
                Look::Same => {}
                Look::Confirmed => {
                    let words = |slot: &Slot| {
                        let words = message(slot.row, figure, slot.onset, &view);
                        if proved.arms(slot.row) { format!("Proof test: {words}") } else { words }
                    };
                    if latch.confirm(slot, now, words) == Onset::First {
                        *trip = Some(Trip::begin(memory, &scene));
                    }
                    inspect_anew(slot, trip);
                }
                Look::Returned => latch.return_to_normal(slot, now),
            }
            let ends = slot.latched && !slot.present && slot.row.class == Class::Stop;
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
        let mut slots = self.slots.iter().zip(self.fixed.iter());
        slots.find(|(slot, _)| slot.row.key == key).map(|(_, fixed)| fixed.figure.delay)
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
fn later_stage(row: &Row, slots: &[Slot]) -> Option<usize> {
    slots.iter().position(|other| row.escalates_to(other.row))
}
