//! What ends a trip, a hold or a stop: what people have seen and done, and what is still needed.

use super::Interlocks;
use crate::image::{Coil, Inputs, Outputs};
use crate::interlock::judge::{Finding, View, find};
use crate::interlock::matrix::{ResetRule, Watch};
use crate::interlock::scene::{Contacts, Scene};
use crate::interlock::verdict::Class;
use crate::moment::Moment;

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

impl Interlocks {
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
        let slots = self.slots.iter_mut().zip(self.fixed.iter());
        for (slot, fixed) in slots.filter(|(slot, _)| slot.latched) {
            let lasting = slot.row.reset != ResetRule::AtRest;
            slot.present |=
                lasting && find(slot.watch, fixed.figure.set_point, &view) != Finding::Clear;
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
}
