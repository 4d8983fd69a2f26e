//! The drive's register map.

use super::{Drive, Homing, MODE_HOMING, MODE_PROFILE_POSITION, WRITE_BLOCK};
use crate::counts::{signed_register, words, wrapping};
use crate::plant::carriage::Carriage;
use crate::spec::Feedback;
use crate::wire::pdu::Refusal;

/// First register of the read block and its length.
const READ_BLOCK: (u16, usize) = (0x0100, 12);

impl Drive {
    pub(super) fn following_mm(&self, now_us: u64, carriage: &Carriage) -> f64 {
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

    pub(super) fn position_mm(&self, now_us: u64, carriage: &Carriage) -> (f64, f64) {
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

    pub(super) fn status(&self) -> u16 {
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

    pub(super) fn read_block(&self, now_us: u64, carriage: &Carriage) -> [u16; READ_BLOCK.1] {
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
            self.reports.unwrap_or_else(|| self.status()),
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

    /// Position that the drive believes in, mm from its datum; for the journal.
    pub(crate) fn believed_mm(&self, now_us: u64, carriage: &Carriage) -> f64 {
        self.position_mm(now_us, carriage).0
    }
}

fn within(block: (u16, usize), start: u16, count: u16) -> Option<std::ops::Range<usize>> {
    let from = usize::from(start.checked_sub(block.0)?);
    let to = from + usize::from(count);
    (count > 0 && to <= block.1).then_some(from..to)
}
