//! What the latched rows come to: class, effects, what comes later, and what a reset needs.

use super::Interlocks;
use crate::image::Level;
use crate::interlock::matrix::{AirEffect, ResetRule};
use crate::interlock::verdict::{Acknowledged, Class, Effects, INSPECTION, SpindleEffect, Veto};
use crate::quantity::SpindleSpeed;

impl Interlocks {
    /// Works out class, effects, what comes later, and what a reset needs.
    pub(super) fn conclude(&mut self) {
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
        let mut withdrawn = Level::Off;
        if let Some(trip) = &mut self.trip {
            sum.carriage = trip.carriage(sum.carriage, self.scene.now);
            if sum.spindle == SpindleEffect::Turn && trip.turn_at_most.is_none() {
                sum.spindle = SpindleEffect::Stop;
            }
            withdrawn = Level::from_bit(trip.withdrawn);
            at_most = trip.turn_at_most.map(SpindleSpeed::from_rpm);
        }
        self.latch.verdict.effects = sum;
        self.latch.verdict.turn_at_most = at_most;
        self.latch.verdict.withdrawn = withdrawn;
    }

    fn pend(&mut self) {
        let now = self.scene.now;
        self.latch.verdict.pending.clear();
        if self.latch.verdict.holds.is_empty() {
            return;
        }
        let stages = self.slots.iter().zip(self.fixed.iter());
        for (_, stage) in stages.filter(|(slot, _)| slot.latched && slot.confirmed) {
            let Some(place) = stage.escalates_to else { continue };
            let (Some(next), Some(later)) = (self.slots.get(place), self.fixed.get(place)) else {
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
            let left = later.figure.delay.saturating_sub(now.since(since));
            self.latch.verdict.pending.push((left, effects));
        }
    }

    fn needs(&mut self) {
        let verdict = &mut self.latch.verdict;
        verdict.reset_needs.clear();
        let Some(trip) = self.trip else { return };
        let trips = self.slots.iter().filter(|slot| slot.latched && slot.row.class == Class::Trip);
        let purge = self.memory.purge_owed && !self.memory.purge_left;
        let mut inspection = false;
        for slot in trips {
            // A purge that is owed gets no air before the inspection: it waits for that as well.
            inspection |= slot.row.reset == ResetRule::Inspected
                || (purge && slot.row.effects.air == AirEffect::Off);
            if slot.present {
                verdict.reset_needs.push(slot.row.advice);
            }
        }
        if verdict.acknowledged == Acknowledged::No {
            verdict.reset_needs.push("Acknowledge the trip.");
        }
        if inspection && !trip.inspected {
            verdict.reset_needs.push(INSPECTION);
        }
        if purge {
            verdict.reset_needs.push("Purge torch and hose, clear of the part.");
        }
    }
}
