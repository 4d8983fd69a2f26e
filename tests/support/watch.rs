//! What must never be so, and what was never so: the bench's truth, looked at once a scan.

use evenpass_core::program::Program;
use evenpass_core::sequence::Phase;
use evenpass_hil::Truth;

/// One look, s.
const LOOK: f64 = 0.02;
/// Faster than this the carriage moves, mm/s.
const MOVES: f64 = 0.01;

/// What has been seen since the watch began.
#[derive(Debug, Clone)]
pub(crate) struct Watch {
    /// Where a torch is over the part, flame's reach included, mm.
    over_part: (f64, f64),
    start_z: f64,
    /// How long a flame was over a part that stood still, s.
    pub(crate) flame_on_still_part_s: f64,
    /// How long a flame was over the part, s.
    pub(crate) flame_over_part_s: f64,
    /// Slowest spindle with a flame over the part, rpm.
    pub(crate) slowest_under_flame_rpm: f64,
    /// How long powder left the nozzle without a flame, s.
    pub(crate) powder_without_flame_s: f64,
    /// How long the feeder ran with a carriage at rest over the part, s.
    pub(crate) feeder_at_rest_over_part_s: f64,
    /// How long torque was on with the guard open, after the wired half second, s.
    pub(crate) torque_in_open_guard_s: f64,
    guard_open_s: f64,
    /// Gas flowed.
    pub(crate) gas: bool,
    /// The isolation valve was open.
    pub(crate) supply: bool,
    /// A flame burned.
    pub(crate) flame: bool,
    /// The feeder ran.
    pub(crate) feeder: bool,
    /// The carriage had torque.
    pub(crate) torque: bool,
    /// The carriage went as far as this from where it stood, mm.
    pub(crate) moved_mm: f64,
    /// Fastest spindle, rpm.
    pub(crate) fastest_rpm: f64,
    /// All outputs that were energised, bit by terminal.
    pub(crate) energised: u16,
    /// Super-states that were entered, in their order.
    pub(crate) phases: Vec<Phase>,
}

impl Watch {
    pub(crate) fn new(program: &Program, truth: &Truth) -> Self {
        let clear = program.clear_by.mm();
        Self::over((program.part.low.mm() - clear, program.part.high.mm() + clear), truth)
    }

    fn over(over_part: (f64, f64), truth: &Truth) -> Self {
        Self {
            over_part,
            start_z: truth.torch_z_mm,
            flame_on_still_part_s: 0.0,
            flame_over_part_s: 0.0,
            slowest_under_flame_rpm: f64::INFINITY,
            powder_without_flame_s: 0.0,
            feeder_at_rest_over_part_s: 0.0,
            torque_in_open_guard_s: 0.0,
            guard_open_s: 0.0,
            gas: false,
            supply: false,
            flame: false,
            feeder: false,
            torque: false,
            moved_mm: 0.0,
            fastest_rpm: 0.0,
            energised: 0,
            phases: Vec::new(),
        }
    }

    /// Begins anew, from how things are.
    pub(crate) fn begin_anew(&mut self, truth: &Truth) {
        *self = Self::over(self.over_part, truth);
    }

    pub(crate) fn look(&mut self, phase: Phase, truth: &Truth) {
        if self.phases.last() != Some(&phase) {
            self.phases.push(phase);
        }
        let over_part = (self.over_part.0..=self.over_part.1).contains(&truth.torch_z_mm);
        if truth.flame_lit && over_part {
            self.flame_over_part_s += LOOK;
            self.slowest_under_flame_rpm = self.slowest_under_flame_rpm.min(truth.spindle_rpm);
            if !truth.part_turns {
                self.flame_on_still_part_s += LOOK;
            }
        }
        if truth.powder_g_s > 0.0 && !truth.flame_lit {
            self.powder_without_flame_s += LOOK;
        }
        if truth.feeder_on && over_part && truth.torch_mm_s.abs() < MOVES {
            self.feeder_at_rest_over_part_s += LOOK;
        }
        self.guard_open_s = if truth.guard_closed { 0.0 } else { self.guard_open_s + LOOK };
        if truth.drive_torque && self.guard_open_s > 0.55 {
            self.torque_in_open_guard_s += LOOK;
        }
        self.gas |= truth.fuel_open || truth.oxygen_open;
        self.supply |= truth.supply_open;
        self.flame |= truth.flame_lit;
        self.feeder |= truth.feeder_on;
        self.torque |= truth.drive_torque;
        self.moved_mm = self.moved_mm.max((truth.torch_z_mm - self.start_z).abs());
        self.fastest_rpm = self.fastest_rpm.max(truth.spindle_rpm);
        self.energised |= truth.energised;
    }

    /// No gas, no flame, no powder, no torque, no motion, spindle at rest since the watch began.
    #[track_caller]
    pub(crate) fn nothing_happened(&self, when: &str) {
        self.no_gas(when);
        assert!(!self.torque, "torque {when}: {self:?}");
        assert!(self.moved_mm < 0.01, "the carriage moved {when}: {self:?}");
        assert!(self.fastest_rpm < 0.1, "the spindle turned {when}: {self:?}");
    }

    /// No gas, no flame, no powder.
    #[track_caller]
    pub(crate) fn no_gas(&self, when: &str) {
        assert!(!self.gas && !self.supply, "gas {when}: {self:?}");
        assert!(!self.flame, "a flame {when}: {self:?}");
        assert!(!self.feeder, "powder {when}: {self:?}");
    }

    /// What holds in every run, whatever happens.
    #[track_caller]
    pub(crate) fn always(&self, when: &str) {
        assert!(self.flame_on_still_part_s == 0.0, "flame on a still part {when}: {self:?}");
        assert!(self.torque_in_open_guard_s == 0.0, "torque in an open guard {when}: {self:?}");
    }
}
