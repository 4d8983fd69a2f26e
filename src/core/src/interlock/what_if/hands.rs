//! What the sequence would propose, in short: the phase goes on until a hold withdraws the torch
//! or a trip takes over. Only so much as the interlocks need to act on.

use core::time::Duration;

use super::phase::{self, FEED, ScenePhase, TURNS};
use crate::image::{AxisDemand, Coil, Inputs, Level, Outputs, SpindleDemand};
use crate::interlock::durations;
use crate::interlock::verdict::{CarriageEffect, Class, SpindleEffect, Verdict};
use crate::moment::Moment;
use crate::quantity::Length;
use crate::rig::Rig;

/// The hose empties so long after the feeder is off.
const EMPTIES: Duration = Duration::from_millis(800);
/// The flame of a held job waits so long at the park.
const HELD_LIT: Duration = Duration::from_secs(60);

/// Stands in for the sequence.
#[derive(Debug, Clone)]
pub(super) struct Hands {
    phase: ScenePhase,
    rig: Rig,
    /// Which of the two turns the torch goes to.
    toward: usize,
    withdrawn_from: Option<Moment>,
    purge_from: Option<Moment>,
    spindle: SpindleDemand,
    lit: Level,
}

impl Hands {
    pub(super) fn new(phase: ScenePhase, rig: &Rig) -> Self {
        Self {
            phase,
            rig: rig.clone(),
            toward: 1,
            withdrawn_from: None,
            purge_from: None,
            spindle: phase::asks(phase, rig).spindle,
            lit: Level::Off,
        }
    }

    /// The gases are opened: lighting begins.
    pub(super) fn light(&mut self) {
        self.lit = Level::On;
    }

    /// What is proposed for this scan.
    pub(super) fn propose(&mut self, inputs: &Inputs, verdict: &Verdict, clear: Level) -> Outputs {
        if verdict.effects.spindle == SpindleEffect::Stop {
            self.spindle = SpindleDemand::Stop;
        }
        match verdict.class {
            Some(Class::Trip) => self.abort(inputs, verdict, clear),
            Some(Class::Hold | Class::Stop) => self.withdraw(inputs, verdict, clear),
            Some(Class::Warn) | None => self.go_on(inputs),
        }
    }

    fn go_on(&mut self, inputs: &Inputs) -> Outputs {
        let mut outputs = phase::asks(self.phase, &self.rig);
        outputs.spindle = self.spindle;
        if self.phase == ScenePhase::Spraying {
            outputs.powder.now = Level::On;
        }
        if self.lit.is_on() {
            outputs = outputs.with(Coil::Fuel).with(Coil::Oxygen);
        }
        if self.phase.works() {
            let end = TURNS.get(self.toward).copied().unwrap_or_default();
            if (inputs.axis.value.position - Length::from_mm(end)).abs().mm() < 0.5 {
                self.toward = 1 - self.toward.min(1);
            }
            let to = TURNS.get(self.toward).copied().unwrap_or_default();
            outputs.axis = phase::travel(Length::from_mm(to), FEED, &self.rig);
        }
        outputs
    }

    /// As a hold does it; a stop shuts the gases once clear.
    fn withdraw(&mut self, inputs: &Inputs, verdict: &Verdict, clear: Level) -> Outputs {
        let from = *self.withdrawn_from.get_or_insert(inputs.now);
        let mut outputs = self.go_on(inputs);
        outputs.powder.now = Level::Off;
        let stops = verdict.class == Some(Class::Stop);
        let burns = outputs.coil(Coil::Fuel).is_on();
        if burns && inputs.now.since(from) >= EMPTIES {
            outputs.axis = self.to_park(clear);
        }
        let waited = inputs.now.since(from) >= HELD_LIT;
        if clear.is_on() && (stops || waited) {
            for coil in [Coil::Fuel, Coil::Oxygen, Coil::Supply] {
                outputs.set(coil, Level::Off);
            }
            outputs.set(Coil::CarrierAir, self.purge(inputs));
        }
        outputs
    }

    fn abort(&mut self, inputs: &Inputs, verdict: &Verdict, clear: Level) -> Outputs {
        let mut outputs =
            Outputs { watchdog: Level::On, spindle: self.spindle, ..Outputs::default() }
                .with(Coil::Extraction);
        let may =
            matches!(verdict.effects.carriage, CarriageEffect::Free | CarriageEffect::Retreat);
        let powered = phase::asks(self.phase, &self.rig).axis != AxisDemand::Off;
        outputs.axis = match (powered, may, clear) {
            (false, _, _) => AxisDemand::Off,
            (true, true, Level::Off) => self.to_park(clear),
            (true, true, Level::On) | (true, false, _) => AxisDemand::QuickStop,
        };
        let flowed = self.phase.burns() || self.lit.is_on();
        if flowed && clear.is_on() && !verdict.effects.air_off.is_imposed() {
            outputs.set(Coil::CarrierAir, self.purge(inputs));
        }
        outputs
    }

    fn to_park(&self, clear: Level) -> AxisDemand {
        if clear.is_on() && self.phase.works() {
            return AxisDemand::Still;
        }
        phase::travel(self.rig.axis.park, self.rig.axis.positioning.mm_per_s(), &self.rig)
    }

    fn purge(&mut self, inputs: &Inputs) -> Level {
        let from = *self.purge_from.get_or_insert(inputs.now);
        Level::from_bit(inputs.now.since(from) < durations::PURGE + Duration::from_millis(100))
    }
}
