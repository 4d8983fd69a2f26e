//! The spindle inverter: run command, speed reference, communication-loss reaction.

use crate::counts::register;
use crate::plant::spindle::{Ramp, Spindle};
use crate::spec::{InverterSpec, SpindleKind, SpindleSpec};
use crate::wire::pdu::Refusal;

/// First register of the write block and its length.
const WRITE_BLOCK: (u16, usize) = (0x0010, 5);
/// First register of the read block and its length.
const READ_BLOCK: (u16, usize) = (0x0020, 4);
/// Fault code after a lost controller (invented for the bench).
const FAULT_COMMUNICATION: u16 = 0x0051;
/// Command: run.
const COMMAND_RUN: u16 = 1;
/// Command: quick ramp.
const COMMAND_QUICK: u16 = 1 << 1;
/// Command: fault reset, by its rising edge.
const COMMAND_RESET: u16 = 1 << 7;

/// What a lost controller has led to.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Link {
    Heard,
    RidingOn,
}

/// The inverter.
#[derive(Clone, Debug)]
pub(crate) struct Inverter {
    spec: InverterSpec,
    kind: SpindleKind,
    lever_rpm: f64,
    write_block: [u16; WRITE_BLOCK.1],
    fault_code: u16,
    link: Link,
    latch_closed: bool,
    /// The run command counts: given since the last fault or drop of the latch.
    run: bool,
}

impl Inverter {
    pub(crate) fn new(spec: &InverterSpec, spindle: &SpindleSpec) -> Self {
        let mut inverter = Self {
            spec: spec.clone(),
            kind: spindle.kind,
            lever_rpm: spindle.lever_rpm,
            write_block: [0; WRITE_BLOCK.1],
            fault_code: 0,
            link: Link::Heard,
            latch_closed: true,
            run: false,
        };
        inverter.power_up();
        inverter
    }

    /// Back to the parameters after power-up.
    pub(crate) fn power_up(&mut self) {
        self.write_block = [
            0,
            0,
            self.spec.communication_timeout_ms,
            self.spec.communication_reaction,
            self.spec.ride_on_s,
        ];
        self.fault_code = 0;
        self.link = Link::Heard;
        self.run = false;
    }

    fn word(&self, at: usize) -> u16 {
        self.write_block.get(at).copied().unwrap_or_default()
    }

    /// When the communication time-out will have run out after a request at `now_us`.
    pub(crate) fn heard(&mut self, now_us: u64) -> Option<u64> {
        self.link = Link::Heard;
        let limit_ms = u64::from(self.word(2));
        (limit_ms > 0 && self.word(3) > 0).then(|| now_us.saturating_add(limit_ms * 1_000))
    }

    /// The communication time-out or the ride-on is over; returns when to ask again.
    pub(crate) fn communication_lost(&mut self, now_us: u64, spindle: &mut Spindle) -> Option<u64> {
        let ride_on = self.word(3) == 1 && self.link == Link::Heard;
        if ride_on {
            self.link = Link::RidingOn;
            return Some(now_us.saturating_add(u64::from(self.word(4)) * 1_000_000));
        }
        self.fault_code = FAULT_COMMUNICATION;
        self.run = false;
        spindle.drive(now_us, 0.0, Ramp::Ordinary);
        None
    }

    /// What the safety circuit allows: the latch drops when it does not, and closes again only after
    /// the run command has been withdrawn.
    pub(crate) fn set_chain(&mut self, now_us: u64, spindle: &mut Spindle, healthy: bool) {
        if !healthy && self.latch_closed {
            self.latch_closed = false;
            self.run = false;
            spindle.drive(now_us, 0.0, Ramp::Brake);
        } else if healthy && !self.latch_closed && self.word(0) & COMMAND_RUN == 0 {
            self.latch_closed = true;
        }
    }

    /// Whether the run command is in force.
    pub(crate) fn is_running(&self) -> bool {
        self.run
    }

    pub(crate) fn latch_closed(&self) -> bool {
        self.latch_closed
    }

    /// Somebody sets the gear lever.
    pub(crate) fn set_lever(&mut self, now_us: u64, spindle: &mut Spindle, rpm: f64) {
        self.lever_rpm = rpm;
        if self.kind == SpindleKind::Lever && self.run {
            spindle.drive(now_us, rpm, Ramp::Ordinary);
        }
    }

    /// Mains is gone: the motor runs out.
    pub(crate) fn power_down(&mut self, now_us: u64, spindle: &mut Spindle) {
        self.run = false;
        spindle.drive(now_us, 0.0, Ramp::Ordinary);
    }

    fn obey(&mut self, now_us: u64, spindle: &mut Spindle, before: u16) {
        let command = self.word(0);
        if command & COMMAND_RESET != 0 && before & COMMAND_RESET == 0 {
            self.fault_code = 0;
        }
        let wanted = command & COMMAND_RUN != 0;
        let rising = wanted && before & COMMAND_RUN == 0;
        // After a lost controller or a dropped latch the command has to be given anew.
        let run = wanted && self.fault_code == 0 && self.latch_closed && (self.run || rising);
        self.run = run;
        let rpm = match (run, self.kind) {
            (false, _) => 0.0,
            (true, SpindleKind::Inverter) => f64::from(self.word(1)) / 10.0,
            (true, SpindleKind::Lever) => self.lever_rpm,
        };
        let ramp = if command & COMMAND_QUICK != 0 { Ramp::Quick } else { Ramp::Ordinary };
        if rpm != spindle.wanted_rpm() {
            spindle.drive(now_us, rpm, ramp);
        }
    }

    /// Takes written registers and does what they ask for.
    pub(crate) fn write(
        &mut self,
        now_us: u64,
        spindle: &mut Spindle,
        start: u16,
        values: &[[u8; 2]],
    ) -> Result<(), Refusal> {
        let from = usize::from(start.checked_sub(WRITE_BLOCK.0).ok_or(Refusal::Address)?);
        let before = self.word(0);
        let places = self.write_block.get_mut(from..from + values.len()).ok_or(Refusal::Address)?;
        for (place, value) in places.iter_mut().zip(values) {
            *place = u16::from_be_bytes(*value);
        }
        self.obey(now_us, spindle, before);
        Ok(())
    }

    /// Registers for a read.
    pub(crate) fn read(
        &self,
        now_us: u64,
        spindle: &Spindle,
        start: u16,
        count: u16,
        reply: impl FnOnce(&[u16]),
    ) -> Result<(), Refusal> {
        let slice = |first: u16| {
            let from = usize::from(start.checked_sub(first)?);
            Some(from..from + usize::from(count))
        };
        if start < READ_BLOCK.0 {
            let range = slice(WRITE_BLOCK.0).ok_or(Refusal::Address)?;
            reply(self.write_block.get(range).ok_or(Refusal::Address)?);
            return Ok(());
        }
        let range = slice(READ_BLOCK.0).ok_or(Refusal::Address)?;
        let rpm = spindle.motor_rpm(now_us);
        let turning = rpm > 0.0;
        let at_speed = turning && (rpm - spindle.wanted_rpm()).abs() < 0.5;
        let status = u16::from(self.fault_code == 0)
            | u16::from(turning) << 1
            | u16::from(at_speed && self.run) << 2
            | u16::from(self.fault_code != 0) << 3
            | u16::from(self.latch_closed) << 4;
        let current = if turning { self.spec.rated_current_a * 100.0 } else { 0.0 };
        let block = [status, register(rpm * 10.0), register(current), self.fault_code];
        reply(block.get(range).ok_or(Refusal::Address)?);
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::spec::BenchSpec;

    fn pair() -> (Inverter, Spindle) {
        let spec = BenchSpec::default_bench().unwrap();
        (Inverter::new(&spec.inverter, &spec.spindle), Spindle::new(&spec.spindle))
    }

    fn write(pair: &mut (Inverter, Spindle), now_us: u64, start: u16, values: &[u16]) {
        let bytes: Vec<[u8; 2]> = values.iter().map(|v| v.to_be_bytes()).collect();
        pair.0.write(now_us, &mut pair.1, start, &bytes).unwrap();
    }

    fn status(pair: &(Inverter, Spindle), now_us: u64) -> u16 {
        let mut word = 0;
        pair.0.read(now_us, &pair.1, 0x0020, 1, |r| word = r[0]).unwrap();
        word
    }

    #[test]
    fn run_ramps_to_the_reference() {
        let mut pair = pair();
        write(&mut pair, 0, 0x0010, &[1, 1_250]);
        assert_eq!(status(&pair, 1_000_000), 0b1_0011);
        assert_eq!(pair.1.rpm(10_000_000), 125.0);
        assert_eq!(status(&pair, 10_000_000), 0b1_0111);
    }

    #[test]
    fn a_lost_controller_lets_it_ride_on_and_then_ramp_down_for_good() {
        let mut pair = pair();
        write(&mut pair, 0, 0x0010, &[1, 1_250]);
        let (inverter, spindle) = &mut pair;
        assert_eq!(inverter.heard(0), Some(1_000_000));
        assert_eq!(inverter.communication_lost(1_000_000, spindle), Some(121_000_000));
        assert_eq!(spindle.rpm(100_000_000), 125.0);
        assert_eq!(inverter.communication_lost(121_000_000, spindle), None);
        assert_eq!(spindle.rpm(130_000_000), 0.0);
        write(&mut pair, 130_000_000, 0x0010, &[1]);
        assert_eq!(pair.1.rpm(140_000_000), 0.0);
        write(&mut pair, 140_000_000, 0x0010, &[0x80]);
        write(&mut pair, 140_100_000, 0x0010, &[1]);
        assert_eq!(pair.1.rpm(150_000_000), 125.0);
    }

    #[test]
    fn the_latch_brakes_and_closes_only_after_the_command_is_withdrawn() {
        let mut pair = pair();
        write(&mut pair, 0, 0x0010, &[1, 1_250]);
        pair.0.set_chain(10_000_000, &mut pair.1, false);
        assert_eq!(pair.1.rpm(11_000_000), 0.0);
        pair.0.set_chain(12_000_000, &mut pair.1, true);
        assert!(!pair.0.latch_closed());
        write(&mut pair, 13_000_000, 0x0010, &[0]);
        pair.0.set_chain(13_000_000, &mut pair.1, true);
        assert!(pair.0.latch_closed());
        write(&mut pair, 14_000_000, 0x0010, &[1]);
        assert_eq!(pair.1.rpm(20_000_000), 125.0);
    }
}
