//! Set-points, halt, homing, limits: what the drive does with its motor while it has torque.

use super::{AtRest, CONTROL_NEW_SET_POINT, Drive, Homing};
use crate::device::power_state::PowerState;
use crate::plant::carriage::Carriage;
use crate::plant::profile::Limits;

/// Share of the homing speed with which the carriage backs off the switch.
const BACK_OFF_SHARE: f64 = 0.2;
/// Backing off gives up after this distance, mm.
const BACK_OFF_LIMIT_MM: f64 = 30.0;
/// A home switch must come within this distance, mm.
const SEEK_LIMIT_MM: f64 = 2_000.0;
/// Control word: change at once.
const CONTROL_AT_ONCE: u16 = 1 << 5;
/// Control word: halt.
const CONTROL_HALT: u16 = 1 << 8;

impl Drive {
    /// The carriage has ended a stretch of its motion or passed a switch.
    pub(crate) fn carriage_moved(&mut self, now_us: u64, carriage: &mut Carriage) {
        let switches = carriage.switches(now_us);
        let (screw_mm, speed) = carriage.screw(now_us);
        let into_limit =
            (!switches.limit_minus_ok && speed < 0.0) || (!switches.limit_plus_ok && speed > 0.0);
        if into_limit && self.state == PowerState::OperationEnabled {
            self.internal_limit = true;
            self.abandon();
            carriage.stop(now_us, self.quick_mm_s2());
            return;
        }
        if switches.limit_minus_ok && switches.limit_plus_ok {
            self.internal_limit = false;
        }
        match self.homing {
            Homing::Seeking if switches.home => {
                self.homing = Homing::Slowing;
                carriage.stop(now_us, self.quick_mm_s2().max(self.millimetres(8)));
            }
            Homing::Slowing if speed == 0.0 => self.back_off(now_us, carriage),
            Homing::BackingOff if !switches.home => {
                self.homing = Homing::Settling;
                self.screw_datum_mm = screw_mm;
                self.scale_datum_mm = carriage.torch_mm(now_us);
                carriage.stop(now_us, self.millimetres(8));
            }
            Homing::Settling if speed == 0.0 => {
                self.homing = Homing::Attained;
                self.homed = true;
                self.reached = true;
            }
            Homing::Seeking | Homing::BackingOff if speed == 0.0 => self.homing = Homing::Failed,
            _ => {}
        }
        if speed == 0.0 {
            self.check_rest(now_us, carriage);
            self.come_to_rest(now_us, carriage);
        }
    }

    pub(super) fn come_to_rest(&mut self, now_us: u64, carriage: &mut Carriage) {
        if self.state != PowerState::OperationEnabled {
            return;
        }
        if self.halted {
            self.reached = true;
            return;
        }
        if let Some(target) = self.target_mm
            && (carriage.screw(now_us).0 - target).abs() < 1e-6
        {
            self.target_mm = None;
            self.reached = true;
            if let Some(next) = self.queued_mm.take() {
                self.go(now_us, carriage, next);
                self.release_acknowledge();
            }
        }
    }

    pub(super) fn back_off(&mut self, now_us: u64, carriage: &mut Carriage) {
        self.homing = Homing::BackingOff;
        let limits = Limits { speed_mm_s: self.millimetres(14) * BACK_OFF_SHARE, ..self.limits() };
        let to = carriage.screw(now_us).0 + BACK_OFF_LIMIT_MM;
        carriage.drive_to(now_us, to, limits);
    }

    pub(super) fn start_homing(&mut self, now_us: u64, carriage: &mut Carriage) {
        self.target_mm = None;
        self.queued_mm = None;
        self.reached = false;
        if carriage.switches(now_us).home {
            if carriage.screw(now_us).1 == 0.0 {
                self.back_off(now_us, carriage);
            } else {
                self.homing = Homing::Slowing;
                carriage.stop(now_us, self.quick_mm_s2().max(self.millimetres(8)));
            }
            return;
        }
        self.homing = Homing::Seeking;
        let limits = Limits { speed_mm_s: self.millimetres(14), ..self.limits() };
        let to = carriage.screw(now_us).0 - SEEK_LIMIT_MM;
        carriage.drive_to(now_us, to, limits);
    }

    pub(super) fn go(&mut self, now_us: u64, carriage: &mut Carriage, target_mm: f64) {
        let from = carriage.screw(now_us).0;
        let switches = carriage.switches(now_us);
        let refused = (!switches.limit_minus_ok && target_mm < from)
            || (!switches.limit_plus_ok && target_mm > from);
        if refused {
            self.internal_limit = true;
            return;
        }
        self.target_mm = Some(target_mm);
        self.reached = false;
        if !self.halted {
            carriage.drive_to(now_us, target_mm, self.limits());
            if carriage.screw(now_us) == (target_mm, 0.0) {
                self.target_mm = None;
                self.reached = true;
            }
        }
    }

    pub(super) fn release_acknowledge(&mut self) {
        if self.word(0) & CONTROL_NEW_SET_POINT == 0 && self.queued_mm.is_none() {
            self.acknowledged = false;
        }
    }

    pub(super) fn take_speed(&mut self, now_us: u64, carriage: &mut Carriage) {
        if let (PowerState::OperationEnabled, AtRest::Nothing, false, Some(target)) =
            (self.state, self.at_rest, self.halted, self.target_mm)
        {
            carriage.drive_to(now_us, target, self.limits());
        }
    }

    pub(super) fn take_set_point(&mut self, now_us: u64, carriage: &mut Carriage, control: u16) {
        if self.homing != Homing::Attained {
            self.homing = Homing::Idle;
        }
        let counts = f64::from(self.long(2).cast_signed());
        let target = self.screw_datum_mm + counts / self.spec.pulses_per_mm;
        if control & CONTROL_AT_ONCE != 0 || self.target_mm.is_none() {
            self.queued_mm = None;
            self.go(now_us, carriage, target);
            self.acknowledged = true;
        } else if self.queued_mm.is_none() {
            self.queued_mm = Some(target);
            self.acknowledged = true;
        }
    }

    pub(super) fn obey_halt(&mut self, now_us: u64, carriage: &mut Carriage, control: u16) {
        let halt = control & CONTROL_HALT != 0;
        if halt && !self.halted {
            self.halted = true;
            self.reached = false;
            if !matches!(self.homing, Homing::Idle | Homing::Attained | Homing::Failed) {
                self.homing = Homing::Failed;
            }
            carriage.stop(now_us, self.millimetres(8));
            self.come_to_rest_if_still(now_us, carriage);
        } else if !halt && self.halted {
            self.halted = false;
            if let Some(target) = self.target_mm {
                self.go(now_us, carriage, target);
            }
        }
    }

    pub(super) fn come_to_rest_if_still(&mut self, now_us: u64, carriage: &mut Carriage) {
        if carriage.screw(now_us).1 == 0.0 {
            self.come_to_rest(now_us, carriage);
        }
    }
}
