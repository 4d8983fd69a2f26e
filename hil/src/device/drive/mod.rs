//! The carriage drive: CiA 402 words in holding registers, profile position and homing.
//!
//! The step output goes to the screw; the position register reports a scale on the carriage or the
//! motor, as the bench file says. Datum is the edge of the home switch, found while backing off.

mod motion;
mod registers;

use super::power_state::{Command, Happening, PowerState, happens, transition};
use crate::counts::{long_register, words};
use crate::plant::carriage::Carriage;
use crate::plant::profile::Limits;
use crate::spec::{DriveSpec, Feedback};

/// First register of the write block and its length.
const WRITE_BLOCK: (u16, usize) = (0x0200, 16);
/// Fault code of a lost controller (CiA 301/402: life guard or heartbeat error).
const FAULT_COMMUNICATION: u16 = 0x8130;
/// Fault code of a following error out of its window (CiA 402).
const FAULT_FOLLOWING: u16 = 0x8611;
/// Mode of operation: profile position.
const MODE_PROFILE_POSITION: u16 = 1;
/// Mode of operation: homing.
const MODE_HOMING: u16 = 6;
/// Control word: new set-point, or start of homing.
const CONTROL_NEW_SET_POINT: u16 = 1 << 4;
/// Control word: fault reset.
const CONTROL_FAULT_RESET: u16 = 1 << 7;

/// How far homing has come.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Homing {
    Idle,
    Seeking,
    Slowing,
    BackingOff,
    Settling,
    Attained,
    Failed,
}

/// What the drive is asked to do next when its motor comes to rest.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum AtRest {
    Nothing,
    Disable(PowerState),
}

/// The drive.
#[derive(Clone, Debug)]
pub(crate) struct Drive {
    spec: DriveSpec,
    state: PowerState,
    at_rest: AtRest,
    write_block: [u16; WRITE_BLOCK.1],
    fault_code: u16,
    warning: bool,
    torque_allowed: bool,
    homed: bool,
    homing: Homing,
    /// Screw position at count zero, mm.
    screw_datum_mm: f64,
    /// Carriage position at count zero, mm.
    scale_datum_mm: f64,
    /// Where the screw was last sent, mm.
    target_mm: Option<f64>,
    queued_mm: Option<f64>,
    acknowledged: bool,
    reached: bool,
    halted: bool,
    internal_limit: bool,
    heard: bool,
    /// A status word that is reported whatever the state.
    reports: Option<u16>,
}

impl Drive {
    pub(crate) fn new(spec: &DriveSpec, carriage: &Carriage) -> Self {
        let mut drive = Self {
            spec: spec.clone(),
            state: PowerState::NotReadyToSwitchOn,
            at_rest: AtRest::Nothing,
            write_block: [0; WRITE_BLOCK.1],
            fault_code: 0,
            warning: false,
            torque_allowed: true,
            homed: false,
            homing: Homing::Idle,
            screw_datum_mm: 0.0,
            scale_datum_mm: 0.0,
            target_mm: None,
            queued_mm: None,
            acknowledged: false,
            reached: false,
            halted: false,
            internal_limit: false,
            heard: false,
            reports: None,
        };
        drive.power_up(0, carriage);
        drive
    }

    /// Everything that is lost when mains comes back: reference, parameters, state.
    pub(crate) fn power_up(&mut self, now_us: u64, carriage: &Carriage) {
        let pulses = |mm: f64| words(long_register(mm * self.spec.pulses_per_mm));
        let [speed_high, speed_low] = pulses(self.spec.profile_speed_mm_s);
        let [rate_high, rate_low] = pulses(self.spec.acceleration_mm_s2);
        let [quick_high, quick_low] = pulses(self.spec.quick_stop_deceleration_mm_s2);
        let [homing_high, homing_low] = pulses(self.spec.homing_speed_mm_s);
        self.write_block = [
            0,
            MODE_PROFILE_POSITION,
            0,
            0,
            speed_high,
            speed_low,
            rate_high,
            rate_low,
            rate_high,
            rate_low,
            quick_high,
            quick_low,
            self.spec.communication_timeout_ms,
            self.spec.communication_reaction,
            homing_high,
            homing_low,
        ];
        self.state = PowerState::NotReadyToSwitchOn;
        self.at_rest = AtRest::Nothing;
        self.fault_code = 0;
        self.homed = false;
        self.homing = Homing::Idle;
        self.screw_datum_mm = carriage.screw(now_us).0;
        self.scale_datum_mm = carriage.torch_mm(now_us);
        self.target_mm = None;
        self.queued_mm = None;
        self.acknowledged = false;
        self.reached = false;
        self.halted = false;
        self.internal_limit = false;
        self.warning = false;
        self.heard = false;
    }

    /// The self-test after power-up is over.
    pub(crate) fn started(&mut self) {
        if let Some(step) = happens(self.state, Happening::Started) {
            self.state = step.to;
        }
    }

    pub(crate) fn state(&self) -> PowerState {
        self.state
    }

    fn word(&self, at: usize) -> u16 {
        self.write_block.get(at).copied().unwrap_or_default()
    }

    fn long(&self, at: usize) -> u32 {
        u32::from(self.word(at)) << 16 | u32::from(self.word(at + 1))
    }

    fn millimetres(&self, at: usize) -> f64 {
        f64::from(self.long(at)) / self.spec.pulses_per_mm
    }

    fn limits(&self) -> Limits {
        Limits {
            speed_mm_s: self.millimetres(4),
            acceleration_mm_s2: self.millimetres(6),
            deceleration_mm_s2: self.millimetres(8),
        }
    }

    fn quick_mm_s2(&self) -> f64 {
        self.millimetres(10)
    }

    /// When the communication time-out will have run out after a request at `now_us`.
    pub(crate) fn heard(&mut self, now_us: u64) -> Option<u64> {
        self.heard = true;
        self.warning = false;
        let limit_ms = u64::from(self.word(12));
        (limit_ms > 0 && self.word(13) > 0).then(|| now_us.saturating_add(limit_ms * 1_000))
    }

    /// Nothing has been heard for the communication time-out.
    pub(crate) fn communication_lost(&mut self, now_us: u64, carriage: &mut Carriage) {
        match self.word(13) {
            1 => self.warning = true,
            2 => self.fault(now_us, carriage, FAULT_COMMUNICATION),
            3 => {
                self.fault(now_us, carriage, FAULT_COMMUNICATION);
                self.torque_off(now_us, carriage, PowerState::Fault);
            }
            _ => {}
        }
    }

    /// It fails by itself, with this code.
    pub(crate) fn fail(&mut self, now_us: u64, carriage: &mut Carriage, code: u16) {
        self.fault(now_us, carriage, code);
    }

    /// It reports this status word from now on, or its own again.
    pub(crate) fn report(&mut self, word: Option<u16>) {
        self.reports = word;
    }

    /// The scale reads so much less from now on, mm.
    pub(crate) fn scale_slips(&mut self, by_mm: f64) {
        self.scale_datum_mm += by_mm;
    }

    fn fault(&mut self, now_us: u64, carriage: &mut Carriage, code: u16) {
        let Some(step) = happens(self.state, Happening::Fault) else { return };
        let torque = self.state.has_torque();
        self.fault_code = code;
        self.state = step.to;
        self.abandon();
        if torque {
            carriage.stop(now_us, self.quick_mm_s2());
            self.at_rest = AtRest::Disable(PowerState::Fault);
            self.check_rest(now_us, carriage);
        } else {
            self.state = PowerState::Fault;
        }
    }

    fn abandon(&mut self) {
        self.target_mm = None;
        self.queued_mm = None;
        self.halted = false;
        if !matches!(self.homing, Homing::Idle | Homing::Attained | Homing::Failed) {
            self.homing = Homing::Failed;
        }
    }

    fn torque_off(&mut self, now_us: u64, carriage: &mut Carriage, to: PowerState) {
        self.state = to;
        self.at_rest = AtRest::Nothing;
        self.abandon();
        carriage.coast(now_us, self.spec.coast_deceleration_mm_s2);
    }

    fn check_rest(&mut self, now_us: u64, carriage: &Carriage) {
        if carriage.screw(now_us).1 == 0.0
            && let AtRest::Disable(to) = self.at_rest
        {
            // 12 and 14 are the standard's own; 5 waits for the end of its ramp.
            self.state = happens(self.state, Happening::AtRest).map_or(to, |step| step.to);
            self.at_rest = AtRest::Nothing;
        }
    }

    /// The safety circuit asks for a stop (category 1, its first part).
    pub(crate) fn stop_asked(&mut self, now_us: u64, carriage: &mut Carriage) {
        if self.state == PowerState::OperationEnabled {
            self.quick_stop(now_us, carriage);
        }
    }

    fn quick_stop(&mut self, now_us: u64, carriage: &mut Carriage) {
        self.state = PowerState::QuickStopActive;
        self.abandon();
        carriage.stop(now_us, self.quick_mm_s2());
        self.at_rest = AtRest::Disable(PowerState::SwitchOnDisabled);
        self.check_rest(now_us, carriage);
    }

    /// The safety circuit takes the torque away, or gives it back.
    pub(crate) fn set_torque_allowed(
        &mut self,
        now_us: u64,
        carriage: &mut Carriage,
        allowed: bool,
    ) {
        self.torque_allowed = allowed;
        if allowed {
            return;
        }
        match self.state {
            PowerState::Fault | PowerState::FaultReactionActive => {
                self.torque_off(now_us, carriage, PowerState::Fault);
            }
            PowerState::NotReadyToSwitchOn | PowerState::SwitchOnDisabled => {}
            _ => self.torque_off(now_us, carriage, PowerState::SwitchOnDisabled),
        }
    }

    /// Switching on begins from where the scale says that the carriage is: what the nut has slipped
    /// meanwhile is no following error. Play is not taken up: a stepper keeps its steps.
    fn find_screw(&mut self, now_us: u64, carriage: &Carriage) {
        if self.spec.position_feedback == Feedback::Carriage {
            let screw_mm = carriage.screw(now_us).0;
            let on_scale_mm = carriage.torch_mm(now_us) - self.scale_datum_mm;
            if (screw_mm - self.screw_datum_mm - on_scale_mm).abs() > carriage.play_mm() {
                self.screw_datum_mm = screw_mm - on_scale_mm;
            }
        }
    }

    /// The drive compares where it sent the carriage with where it is.
    pub(crate) fn watch_following(&mut self, now_us: u64, carriage: &mut Carriage) {
        if self.state == PowerState::OperationEnabled
            && self.following_mm(now_us, carriage).abs() > self.spec.following_error_limit_mm
        {
            self.fault(now_us, carriage, FAULT_FOLLOWING);
        }
    }

    fn obey(&mut self, now_us: u64, carriage: &mut Carriage, before: u16) {
        let control = self.word(0);
        if control & CONTROL_FAULT_RESET != 0 && before & CONTROL_FAULT_RESET == 0 {
            if let Some(step) = happens(self.state, Happening::Reset) {
                self.state = step.to;
                self.fault_code = 0;
            }
            return;
        }
        self.change_state(now_us, carriage, Command::of(control));
        if self.state == PowerState::OperationEnabled && self.at_rest == AtRest::Nothing {
            self.obey_halt(now_us, carriage, control);
            let rising =
                control & CONTROL_NEW_SET_POINT != 0 && before & CONTROL_NEW_SET_POINT == 0;
            if rising && self.word(1) == MODE_HOMING {
                self.start_homing(now_us, carriage);
            } else if rising {
                self.take_set_point(now_us, carriage, control);
            }
        }
        self.release_acknowledge();
    }

    fn change_state(&mut self, now_us: u64, carriage: &mut Carriage, command: Command) {
        // Twice, because "enable operation" in "ready to switch on" passes 3 and then 4.
        for _ in 0..2 {
            let Some(step) = transition(self.state, command) else { break };
            if !self.torque_allowed && step.number == 2 {
                break;
            }
            match step.number {
                4 => {
                    self.find_screw(now_us, carriage);
                    self.at_rest = AtRest::Nothing;
                    self.state = step.to;
                    self.reached = false;
                    self.halted = false;
                }
                5 => {
                    self.abandon();
                    carriage.stop(now_us, self.millimetres(8));
                    self.at_rest = AtRest::Disable(step.to);
                    self.check_rest(now_us, carriage);
                    break;
                }
                8 | 9 | 12 => self.torque_off(now_us, carriage, step.to),
                11 => self.quick_stop(now_us, carriage),
                16 => {
                    self.at_rest = AtRest::Nothing;
                    self.state = step.to;
                }
                _ => self.state = step.to,
            }
        }
        if command == Command::EnableOperation
            && let AtRest::Disable(PowerState::SwitchedOn) = self.at_rest
        {
            self.at_rest = AtRest::Nothing;
        }
    }

    /// Whether the drive knows where it is.
    pub(crate) fn is_homed(&self) -> bool {
        self.homed
    }
}

#[cfg(test)]
mod tests;
