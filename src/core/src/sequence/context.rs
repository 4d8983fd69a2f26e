//! The context of one call: what the chart may read and where it may speak. States see the
//! machine only through the questions asked here, and each answers "no" to what is unknown or
//! stale.

use crate::image::{Analogue, AxisReading, Contact, Inputs, Level, Outputs, Referenced};
use crate::interlock::Verdict;
use crate::moment::Moment;
use crate::program::{FuseStep, PreheatStep, Program, SprayStep, Step, TorchPlan};
use crate::proof::Strokes;
use crate::quantity::{Length, Pressure, SpindleSpeed, Temperature};

use super::cause::Unproved;
use super::event::{Event, Happening, Wish};
use super::machine::{Cursor, Figures};
use super::outbox::Outbox;

/// Whether all permissives are given.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Permitted {
    Yes,
    No,
}

/// Slower than this counts as at rest, mm/s: well under the slowest feed, above the noise of a
/// velocity register; arbitrary.
pub(super) const AT_REST: f64 = 0.2;
/// Nearer than this counts as there, mm; arbitrary, a fortieth of the narrowest plume.
pub(super) const THERE: f64 = 0.1;
/// A spindle slower than this is at rest, rpm: a tachometer with too many pulses missing reads
/// zero, so that any turning spindle reads far more.
const SPINDLE_AT_REST: f64 = 0.5;

/// The context of one call.
pub(super) struct Scan<'a> {
    pub(super) now: Moment,
    pub(super) inputs: &'a Inputs,
    pub(super) verdict: &'a Verdict,
    pub(super) program: Option<&'a Program>,
    pub(super) permitted: Permitted,
    pub(super) figures: Figures,
    pub(super) outputs: Outputs,
    /// Since when an attendance request waits for an answer.
    pub(super) attendance: Option<Moment>,
    /// What a proof test wants energised in this scan.
    pub(super) strokes: Strokes,
    pub(super) outbox: &'a mut Outbox,
}

impl<'a> Scan<'a> {
    /// Tells the record.
    pub(super) fn tell(&mut self, what: Happening) {
        self.outbox.tell(Event { at: self.now, what });
    }

    /// Asks the interlocks.
    pub(super) fn wish(&mut self, wish: Wish) {
        self.outbox.wish(wish);
    }

    // The program.

    pub(super) fn step(&self, cursor: Cursor) -> Option<&'a Step> {
        self.program.and_then(|program| program.steps.get(cursor.step))
    }

    pub(super) fn spray(&self, cursor: Cursor) -> Option<&'a SprayStep> {
        match self.step(cursor) {
            Some(Step::Spray(step)) => Some(step),
            _ => None,
        }
    }

    pub(super) fn fuse(&self, cursor: Cursor) -> Option<&'a FuseStep> {
        match self.step(cursor) {
            Some(Step::Fuse(step)) => Some(step),
            _ => None,
        }
    }

    /// The preheat in hand, or the last one before the step in hand.
    pub(super) fn preheat(&self, cursor: Cursor) -> Option<&'a PreheatStep> {
        let program = self.program?;
        program.steps.iter().take(cursor.step.saturating_add(1)).rev().find_map(|step| match step {
            Step::Preheat(step) => Some(step),
            _ => None,
        })
    }

    pub(super) fn torch(&self, torch: usize) -> Option<&'a TorchPlan> {
        self.program.and_then(|program| program.torches.get(torch))
    }

    pub(super) fn park(&self) -> Length {
        self.program.map_or(self.figures.park, |program| program.park)
    }

    // The carriage.

    pub(super) fn axis(&self) -> Option<AxisReading> {
        self.inputs.axis.trusted(self.now, self.figures.axis_age)
    }

    /// The position, if the reading is fresh and the drive referenced.
    pub(super) fn position(&self) -> Option<Length> {
        self.axis().filter(|axis| axis.referenced == Referenced::Yes).map(|axis| axis.position)
    }

    /// The drive answers and has no datum: where the carriage is will not be known again in a job.
    pub(super) fn datum_is_lost(&self) -> bool {
        self.axis().is_some_and(|axis| axis.referenced == Referenced::No)
    }

    pub(super) fn at_rest(&self) -> bool {
        self.axis().is_some_and(|axis| axis.velocity.mm_per_s().abs() < AT_REST)
    }

    /// At rest at a place.
    pub(super) fn is_at(&self, place: Length) -> bool {
        self.at_rest()
            && self.position().is_some_and(|position| (position - place).abs().mm() < THERE)
    }

    /// Within the park's tolerance, moving or not: nothing can burn there.
    pub(super) fn is_clear(&self) -> bool {
        let tolerance = self.figures.park_tolerance;
        self.position().is_some_and(|position| (position - self.park()).abs() <= tolerance)
    }

    /// At rest at the park.
    pub(super) fn is_parked(&self) -> bool {
        self.at_rest() && self.is_clear()
    }

    // Contacts, spindle, values.

    pub(super) fn is_on(&self, contact: Contact) -> bool {
        self.inputs.is_on(contact, self.figures.field_age)
    }

    pub(super) fn is_off(&self, contact: Contact) -> bool {
        self.inputs.is_off(contact, self.figures.field_age)
    }

    pub(super) fn spindle(&self) -> Option<SpindleSpeed> {
        self.inputs
            .spindle
            .trusted(self.now, self.figures.field_age)
            .map(|spindle| spindle.measured)
    }

    pub(super) fn spindle_is_at_rest(&self) -> bool {
        self.spindle().is_some_and(|speed| speed.rpm() < SPINDLE_AT_REST)
    }

    pub(super) fn value(&self, analogue: Analogue) -> Option<f64> {
        self.inputs.analogue(analogue).trusted(self.now, self.figures.field_age)
    }

    /// Part temperature by contact or long-wave sensor.
    pub(super) fn temperature(&self) -> Option<Temperature> {
        self.value(Analogue::PartTemperature).map(Temperature::from_celsius)
    }

    /// Coat temperature by pyrometer.
    pub(super) fn coat_temperature(&self) -> Option<Temperature> {
        self.value(Analogue::FuseTemperature).map(Temperature::from_celsius)
    }

    /// Fuel and oxygen read as vented.
    pub(super) fn is_vented(&self) -> bool {
        let below = self.figures.vented_below.bar();
        [Analogue::FuelPressure, Analogue::OxygenPressure]
            .into_iter()
            .all(|pressure| self.value(pressure).is_some_and(|bar| bar < below))
    }

    /// Purge air is really there, by its pressure; a coil that is on says nothing.
    pub(super) fn sees_air(&self, torch: Option<&TorchPlan>) -> bool {
        let found = self.value(Analogue::CarrierPressure).map(Pressure::from_bar);
        let set = torch.map(|torch| torch.carrier_pressure);
        self.figures.purge_air.is_seen(found, set)
    }

    /// Guard shut, and the extraction proved.
    pub(super) fn cell_is_proved(&self) -> bool {
        self.unproved().is_none()
    }

    /// What of the cell is not proved.
    pub(super) fn unproved(&self) -> Option<Unproved> {
        match (self.is_on(Contact::Guard), self.is_on(Contact::Extraction)) {
            (true, true) => None,
            (false, true) => Some(Unproved::Guard),
            (true, false) => Some(Unproved::Extraction),
            (false, false) => Some(Unproved::Both),
        }
    }

    /// Names an output energised.
    pub(super) fn energise(&mut self, coil: crate::image::Coil) {
        self.outputs.set(coil, Level::On);
    }
}
