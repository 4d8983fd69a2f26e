//! What the carriage drive says, and how its units become ours.

use crate::cia402::{Mode, StatusWord};
use crate::image::Referenced;
use crate::line::Registers;
use crate::moment::Moment;
use crate::quantity::{Acceleration, Length, Speed};
use crate::rig::{AxisSpec, WordOrder};

/// Registers in the block that is read.
pub(super) const READ_COUNT: u16 = 12;

/// One reading of the drive.
#[derive(Debug, Clone, Copy)]
pub(super) struct Sample {
    pub(super) status: StatusWord,
    /// The mode the drive displays.
    pub(super) mode: u16,
    pub(super) position: i32,
    pub(super) velocity: i32,
    pub(super) fault_code: u16,
    pub(super) following_error: i32,
    /// The drive's own free-running time of the sample, ms.
    pub(super) time: u16,
    pub(super) homed: u16,
    /// When it was sampled, on our time line.
    pub(super) at: Moment,
}

impl Sample {
    /// Reads the block; `None` when it is too short.
    pub(super) fn read(registers: &Registers<'_>, order: WordOrder, at: Moment) -> Option<Self> {
        let long = |place| registers.long(place, order).map(u32::cast_signed);
        Some(Self {
            status: StatusWord(registers.word(0)?),
            mode: registers.word(1)?,
            position: long(2)?,
            velocity: long(4)?,
            fault_code: registers.word(6)?,
            following_error: long(8)?,
            time: registers.word(10)?,
            homed: registers.word(11)?,
            at,
        })
    }

    /// Whether the drive displays a mode. The bits of the status word that depend on the mode
    /// mean nothing in another one.
    pub(super) const fn in_mode(&self, mode: Mode) -> bool {
        self.mode == mode.code()
    }
}

/// The drive's units.
#[derive(Debug, Clone, Copy)]
pub(super) struct Scale {
    pulses_per_mm: f64,
    datum: Length,
    travel: (Length, Length),
}

impl Scale {
    pub(super) fn new(spec: &AxisSpec) -> Self {
        Self {
            pulses_per_mm: spec.pulses_per_mm,
            datum: spec.datum,
            travel: (spec.travel.low, spec.travel.high),
        }
    }

    /// A position of the drive, from the chuck face.
    pub(super) fn position(&self, pulses: i32) -> Length {
        self.datum + self.length(pulses)
    }

    /// A length of the drive.
    pub(super) fn length(&self, pulses: i32) -> Length {
        Length::from_mm(f64::from(pulses) / self.pulses_per_mm)
    }

    /// A speed of the drive.
    pub(super) fn speed(&self, pulses_per_s: i32) -> Speed {
        Speed::from_mm_per_s(f64::from(pulses_per_s) / self.pulses_per_mm)
    }

    /// A target in the drive's pulses, held within the travel where that is known; `None` when it
    /// is no place. Before the datum is found the drive counts from anywhere: held within a travel
    /// that means nothing yet, a target could lie on the other side of the carriage.
    pub(super) fn target(&self, to: Length, referenced: Referenced) -> Option<i32> {
        if !to.mm().is_finite() {
            return None;
        }
        let (low, high) = self.travel;
        let held = match referenced {
            Referenced::Yes => to.max(low).min(high),
            Referenced::No => to,
        };
        super::super::words::signed_long((held - self.datum).mm() * self.pulses_per_mm)
    }

    pub(super) fn pulses_per_s(&self, speed: Speed) -> u32 {
        super::super::words::unsigned_long(speed.mm_per_s() * self.pulses_per_mm)
    }

    pub(super) fn pulses_per_s2(&self, ramp: Acceleration) -> u32 {
        super::super::words::unsigned_long(ramp.mm_per_s2() * self.pulses_per_mm)
    }
}
