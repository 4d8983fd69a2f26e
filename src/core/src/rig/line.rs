//! A serial line and its budgets.

use serde::{Deserialize, Serialize};

use crate::quantity::Time;

/// Which line: its place in the rig's list.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(transparent)]
pub struct LineId(pub usize);

/// Parity of a character.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Parity {
    /// Even: the default of the Modbus serial line specification.
    Even,
    /// Odd.
    Odd,
    /// None; two stop bits then keep the character at 11 bits.
    None,
}

/// Stop bits of a character.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum StopBits {
    /// One.
    One,
    /// Two.
    Two,
}

/// One RS-485 line.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[non_exhaustive]
pub struct LineSpec {
    /// Its name.
    pub name: String,
    /// The port's path in the operating system; the embedded twin needs none.
    pub port: Option<String>,
    /// Bits in a second.
    pub baud: u32,
    /// Parity.
    pub parity: Parity,
    /// Stop bits.
    pub stop_bits: StopBits,
    /// Longest time from the end of a request to the first byte of its reply.
    pub reply_within: Time,
    /// Silence kept after a time-out, so that a late reply is never taken for the next one: at
    /// least the worst reply time of any device on the line.
    pub quarantine: Time,
    /// Longest turn-round the devices are expected to need; used for planning, not for judging.
    pub turn_round: Time,
    /// Misses in a row after which a device counts as silent.
    pub misses: u32,
    /// How often a silent device is tried again.
    pub probe_every: Time,
}

impl LineSpec {
    /// Bits of one character, start bit and all.
    #[must_use]
    pub fn bits_per_character(&self) -> u32 {
        let parity = u32::from(!matches!(self.parity, Parity::None));
        let stop = match self.stop_bits {
            StopBits::One => 1,
            StopBits::Two => 2,
        };
        1 + 8 + parity + stop
    }
}
