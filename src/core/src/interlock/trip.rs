//! One trip from its first cause to its reset: what motion it still allows.

use super::durations;
use super::memory::Memory;
use super::scene::Scene;
use super::verdict::CarriageEffect;
use crate::image::Contact;
use crate::moment::Moment;

/// What a trip remembers of the moment it began.
#[derive(Debug, Clone, Copy)]
pub(super) struct Trip {
    began: Moment,
    /// The drive has had torque without a break since before the trip.
    may_retreat: bool,
    /// Since when the carriage has been stopping.
    stopping: Option<Moment>,
    /// The torch stood at the park when it began.
    was_parked: bool,
    /// The carriage might retreat in some scan of it.
    retreated: bool,
    /// It did: the torch is clear of the part, and was not at the park before.
    pub(super) withdrawn: bool,
    /// The speed the spindle may keep; none once it was asked to stop.
    pub(super) turn_at_most: Option<f64>,
    /// Somebody has inspected torch, hoses and arrestors since.
    pub(super) inspected: bool,
}

impl Trip {
    /// A trip that begins in this scan.
    pub(super) fn begin(memory: &Memory, scene: &Scene) -> Self {
        Self {
            began: scene.now,
            may_retreat: memory.enabled_without_break(),
            stopping: None,
            was_parked: scene.contacts.is_on(Contact::ParkSwitch),
            retreated: false,
            withdrawn: false,
            turn_at_most: scene.spindle_asked,
            inspected: false,
        }
    }

    /// Trust once lost is not given back before the reset.
    pub(super) fn follow(&mut self, memory: &Memory, scene: &Scene) {
        let guard = scene.contacts.is_on(Contact::Guard);
        let in_time = scene.now.since(self.began) < durations::RETREAT;
        self.withdrawn |= self.retreated && !self.was_parked && scene.clear;
        self.may_retreat &= memory.enabled_without_break() && guard && in_time;
        self.turn_at_most = match (self.turn_at_most, scene.spindle_asked) {
            (Some(most), Some(asked)) => Some(most.min(asked)),
            _ => None,
        };
    }

    /// A retreat that is not trusted is a stop, and a stop that has had its time a cut.
    pub(super) fn carriage(&mut self, effect: CarriageEffect, now: Moment) -> CarriageEffect {
        let effect = match effect {
            CarriageEffect::Retreat if !self.may_retreat => CarriageEffect::Stop,
            other => other,
        };
        self.retreated |= effect == CarriageEffect::Retreat;
        if effect != CarriageEffect::Stop {
            self.stopping = None;
            return effect;
        }
        let since = *self.stopping.get_or_insert(now);
        if now.since(since) >= durations::QUICK_STOP { CarriageEffect::Cut } else { effect }
    }
}
