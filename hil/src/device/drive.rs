//! The carriage drive: CiA 402 words in holding registers, profile position and homing.
//!
//! The step output goes to the screw; the position register reports a scale on the carriage or the
//! motor, as the bench file says. Datum is the edge of the home switch, found while backing off.

use super::power_state::{Command, Happening, PowerState, happens, transition};
use crate::counts::{long_register, signed_register, words, wrapping};
use crate::plant::carriage::Carriage;
use crate::plant::profile::Limits;
use crate::spec::{DriveSpec, Feedback};
use crate::wire::pdu::Refusal;

/// First register of the read block and its length.
const READ_BLOCK: (u16, usize) = (0x0100, 12);
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
/// Control word: change at once.
const CONTROL_AT_ONCE: u16 = 1 << 5;
/// Control word: fault reset.
const CONTROL_FAULT_RESET: u16 = 1 << 7;
/// Control word: halt.
const CONTROL_HALT: u16 = 1 << 8;
/// Share of the homing speed with which the carriage backs off the switch.
const BACK_OFF_SHARE: f64 = 0.2;
/// Backing off gives up after this distance, mm.
const BACK_OFF_LIMIT_MM: f64 = 30.0;
/// A home switch must come within this distance, mm.
const SEEK_LIMIT_MM: f64 = 2_000.0;

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

    fn come_to_rest(&mut self, now_us: u64, carriage: &mut Carriage) {
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

    fn back_off(&mut self, now_us: u64, carriage: &mut Carriage) {
        self.homing = Homing::BackingOff;
        let limits = Limits { speed_mm_s: self.millimetres(14) * BACK_OFF_SHARE, ..self.limits() };
        let to = carriage.screw(now_us).0 + BACK_OFF_LIMIT_MM;
        carriage.drive_to(now_us, to, limits);
    }

    fn start_homing(&mut self, now_us: u64, carriage: &mut Carriage) {
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

    fn go(&mut self, now_us: u64, carriage: &mut Carriage, target_mm: f64) {
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

    fn release_acknowledge(&mut self) {
        if self.word(0) & CONTROL_NEW_SET_POINT == 0 && self.queued_mm.is_none() {
            self.acknowledged = false;
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

    fn following_mm(&self, now_us: u64, carriage: &Carriage) -> f64 {
        if !self.state.has_torque() {
            return 0.0;
        }
        match self.spec.position_feedback {
            Feedback::Motor => 0.0,
            Feedback::Carriage => {
                (carriage.screw(now_us).0 - self.screw_datum_mm)
                    - (carriage.torch_mm(now_us) - self.scale_datum_mm)
            }
        }
    }

    fn position_mm(&self, now_us: u64, carriage: &Carriage) -> (f64, f64) {
        match self.spec.position_feedback {
            Feedback::Motor => {
                let (screw, speed) = carriage.screw(now_us);
                (screw - self.screw_datum_mm, speed)
            }
            Feedback::Carriage => {
                (carriage.torch_mm(now_us) - self.scale_datum_mm, carriage.torch_mm_s(now_us))
            }
        }
    }

    fn status(&self) -> u16 {
        let homing_mode = self.word(1) == MODE_HOMING;
        let bits = [
            (4, self.torque_allowed),
            (7, self.warning),
            (9, true),
            (10, self.reached),
            (11, self.internal_limit),
            (12, if homing_mode { self.homing == Homing::Attained } else { self.acknowledged }),
            (13, homing_mode && self.homing == Homing::Failed),
        ];
        bits.iter().fold(self.state.pattern(), |word, &(bit, set)| word | u16::from(set) << bit)
    }

    /// Registers for a read.
    pub(crate) fn read(
        &self,
        now_us: u64,
        carriage: &Carriage,
        start: u16,
        count: u16,
        reply: impl FnOnce(&[u16]),
    ) -> Result<(), Refusal> {
        if start >= WRITE_BLOCK.0 {
            let range = within(WRITE_BLOCK, start, count).ok_or(Refusal::Address)?;
            reply(self.write_block.get(range).ok_or(Refusal::Address)?);
            return Ok(());
        }
        let range = within(READ_BLOCK, start, count).ok_or(Refusal::Address)?;
        let block = self.read_block(now_us, carriage);
        reply(block.get(range).ok_or(Refusal::Address)?);
        Ok(())
    }

    fn read_block(&self, now_us: u64, carriage: &Carriage) -> [u16; READ_BLOCK.1] {
        let switches = carriage.switches(now_us);
        let (position, speed) = self.position_mm(now_us, carriage);
        let pulses = |mm: f64| words(signed_register(mm * self.spec.pulses_per_mm).cast_unsigned());
        let [position_high, position_low] = pulses(position);
        let [speed_high, speed_low] = pulses(speed);
        let [following_high, following_low] = pulses(self.following_mm(now_us, carriage));
        let inputs = u16::from(switches.limit_minus_ok)
            | u16::from(switches.limit_plus_ok) << 1
            | u16::from(switches.home) << 2;
        [
            self.status(),
            self.word(1),
            position_high,
            position_low,
            speed_high,
            speed_low,
            self.fault_code,
            inputs,
            following_high,
            following_low,
            wrapping(now_us / 1_000),
            u16::from(self.homed),
        ]
    }

    /// Takes written registers and does what they ask for.
    pub(crate) fn write(
        &mut self,
        now_us: u64,
        carriage: &mut Carriage,
        start: u16,
        values: &[[u8; 2]],
    ) -> Result<(), Refusal> {
        let count = u16::try_from(values.len()).map_err(|_| Refusal::Value)?;
        let range = within(WRITE_BLOCK, start, count).ok_or(Refusal::Address)?;
        let wrote = |from: usize, to: usize| range.start <= to && range.end > from;
        let mode = wrote(1, 1).then(|| {
            values.get(1 - range.start.min(1)).map(|v| u16::from_be_bytes(*v)).unwrap_or_default()
        });
        if mode.is_some_and(|m| m != MODE_PROFILE_POSITION && m != MODE_HOMING) {
            return Err(Refusal::Value);
        }
        let before = self.word(0);
        let speed_before = self.long(4);
        let places = self.write_block.get_mut(range.clone()).ok_or(Refusal::Address)?;
        for (place, value) in places.iter_mut().zip(values) {
            *place = u16::from_be_bytes(*value);
        }
        if wrote(0, 0) {
            self.obey(now_us, carriage, before);
        }
        if wrote(4, 5) && self.long(4) != speed_before {
            self.take_speed(now_us, carriage);
        }
        Ok(())
    }

    fn take_speed(&mut self, now_us: u64, carriage: &mut Carriage) {
        if let (PowerState::OperationEnabled, AtRest::Nothing, false, Some(target)) =
            (self.state, self.at_rest, self.halted, self.target_mm)
        {
            carriage.drive_to(now_us, target, self.limits());
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

    fn take_set_point(&mut self, now_us: u64, carriage: &mut Carriage, control: u16) {
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

    fn obey_halt(&mut self, now_us: u64, carriage: &mut Carriage, control: u16) {
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

    fn come_to_rest_if_still(&mut self, now_us: u64, carriage: &mut Carriage) {
        if carriage.screw(now_us).1 == 0.0 {
            self.come_to_rest(now_us, carriage);
        }
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

    /// Position that the drive believes in, mm from its datum; for the journal.
    pub(crate) fn believed_mm(&self, now_us: u64, carriage: &Carriage) -> f64 {
        self.position_mm(now_us, carriage).0
    }

    /// Whether the drive knows where it is.
    pub(crate) fn is_homed(&self) -> bool {
        self.homed
    }
}

fn within(block: (u16, usize), start: u16, count: u16) -> Option<std::ops::Range<usize>> {
    let from = usize::from(start.checked_sub(block.0)?);
    let to = from + usize::from(count);
    (count > 0 && to <= block.1).then_some(from..to)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::spec::BenchSpec;

    struct Axis {
        drive: Drive,
        carriage: Carriage,
        now_us: u64,
    }

    impl Axis {
        fn new() -> Self {
            let mut spec = BenchSpec::default_bench().unwrap();
            spec.carriage.start_mm = 0.0;
            let carriage = Carriage::new(&spec.carriage, &spec.drive);
            let mut drive = Drive::new(&spec.drive, &carriage);
            drive.started();
            Self { drive, carriage, now_us: 0 }
        }

        fn write(&mut self, start: u16, values: &[u16]) -> Result<(), Refusal> {
            let bytes: Vec<[u8; 2]> = values.iter().map(|v| v.to_be_bytes()).collect();
            self.drive.write(self.now_us, &mut self.carriage, start, &bytes)
        }

        fn control(&mut self, word: u16) {
            self.write(0x0200, &[word]).unwrap();
        }

        fn block(&self) -> [u16; 12] {
            self.drive.read_block(self.now_us, &self.carriage)
        }

        fn status(&self) -> u16 {
            self.block()[0]
        }

        fn run(&mut self, seconds: f64) {
            let end = self.now_us + crate::counts::microseconds(seconds);
            while let Some(next) = self.carriage.next_us(self.now_us).filter(|&t| t <= end) {
                self.now_us = next;
                self.carriage.pass(next);
                self.drive.carriage_moved(next, &mut self.carriage);
            }
            self.now_us = end;
        }

        fn enable(&mut self) {
            for word in [0x0006, 0x0007, 0x000F] {
                self.control(word);
            }
        }

        fn target(&mut self, pulses: i32) {
            let [high, low] = words(pulses.cast_unsigned());
            self.write(0x0202, &[high, low]).unwrap();
            self.control(0x003F);
        }
    }

    #[test]
    fn the_start_sequence_of_the_drive_manuals_ends_in_0237() {
        let mut axis = Axis::new();
        assert_eq!(axis.status(), 0x0250);
        axis.control(0x0006);
        assert_eq!(axis.status(), 0x0231);
        axis.control(0x0007);
        assert_eq!(axis.status(), 0x0233);
        axis.control(0x000F);
        assert_eq!(axis.status(), 0x0237);
    }

    #[test]
    fn homing_ends_at_the_switch_edge_and_counts_from_there() {
        let mut axis = Axis::new();
        axis.enable();
        axis.write(0x0201, &[6]).unwrap();
        axis.control(0x001F);
        axis.run(30.0);
        assert_eq!(axis.status() & 0x3400, 0x1400);
        assert_eq!(axis.block()[11], 1);
        let counted = f64::from(
            (u32::from(axis.block()[2]) << 16 | u32::from(axis.block()[3])).cast_signed(),
        );
        let z = axis.carriage.torch_mm(axis.now_us);
        assert!((z + 50.0 - counted / 400.0).abs() < 0.01, "{z} {counted}");
    }

    #[test]
    fn a_set_point_is_taken_on_the_edge_acknowledged_and_reached() {
        let mut axis = Axis::new();
        axis.enable();
        axis.target(4_000);
        assert_eq!(axis.status() & 0x1400, 0x1000);
        axis.control(0x002F);
        assert_eq!(axis.status() & 0x1000, 0);
        axis.run(5.0);
        assert_eq!(axis.status() & 0x0400, 0x0400);
        assert!((axis.carriage.screw(axis.now_us).0 - 10.0).abs() < 1e-9);
    }

    #[test]
    fn a_speed_written_on_the_way_is_taken_up_without_a_new_edge() {
        let mut axis = Axis::new();
        axis.enable();
        axis.target(40_000);
        axis.run(2.0);
        axis.write(0x0204, &[0, 8_000]).unwrap();
        axis.run(1.0);
        assert!((axis.carriage.screw(axis.now_us).1 - 20.0).abs() < 1e-9);
    }

    #[test]
    fn a_lost_controller_ends_in_fault_8130_after_a_quick_stop_and_stays_referenced() {
        let mut axis = Axis::new();
        axis.enable();
        axis.target(40_000);
        axis.run(2.0);
        axis.drive.communication_lost(axis.now_us, &mut axis.carriage);
        assert_eq!(axis.status() & 0x004F, 0x000F);
        axis.run(1.0);
        assert_eq!(axis.status() & 0x004F, 0x0008);
        assert_eq!(axis.block()[6], 0x8130);
        axis.control(0x0080);
        assert_eq!(axis.status() & 0x004F, 0x0040);
    }

    #[test]
    fn without_torque_allowed_the_drive_stays_disabled() {
        let mut axis = Axis::new();
        axis.drive.set_torque_allowed(0, &mut axis.carriage, false);
        axis.enable();
        assert_eq!(axis.status(), 0x0240);
    }

    #[test]
    fn halt_stops_and_its_end_resumes_the_move() {
        let mut axis = Axis::new();
        axis.enable();
        axis.target(40_000);
        axis.run(2.0);
        axis.control(0x013F);
        axis.run(1.0);
        let z = axis.carriage.screw(axis.now_us);
        assert_eq!(z.1, 0.0);
        assert_eq!(axis.status() & 0x0400, 0x0400);
        axis.control(0x003F);
        axis.run(20.0);
        assert!((axis.carriage.screw(axis.now_us).0 - 100.0).abs() < 1e-9);
    }

    #[test]
    fn a_hard_limit_stops_motion_toward_it_and_lets_motion_away() {
        let mut axis = Axis::new();
        axis.enable();
        axis.target(-40_000);
        axis.run(20.0);
        assert!(axis.carriage.torch_mm(axis.now_us) > -62.0);
        assert_eq!(axis.status() & 0x0800, 0x0800);
        axis.control(0x000F);
        axis.target(0);
        axis.run(20.0);
        assert!((axis.carriage.screw(axis.now_us).0).abs() < 1e-9);
    }

    #[test]
    fn addresses_outside_the_map_and_unknown_modes_are_refused() {
        let mut axis = Axis::new();
        assert_eq!(axis.write(0x0210, &[0]), Err(Refusal::Address));
        assert_eq!(axis.write(0x0201, &[3]), Err(Refusal::Value));
        let refused = axis.drive.read(0, &axis.carriage, 0x010C, 1, |_| {});
        assert_eq!(refused, Err(Refusal::Address));
    }
}
