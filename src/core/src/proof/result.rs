//! What a proof brings: where it stands, what came about, and the result.

use core::time::Duration;

use serde::Serialize;

use crate::image::{Coil, Contact};

/// Something that the row under proof must bring about.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Effect {
    /// The row is latched, as the first cause of a trip, and powder is refused.
    Latched,
    /// The module has acknowledged the coil as off.
    CoilOff(Coil),
    /// The valve's own contact says shut.
    Shut(Contact),
    /// The drive reports no torque.
    NoTorque,
    /// The watchdog relay has dropped.
    RelayDropped,
}

/// Where a proof stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Stage {
    /// The person prepares; outputs are energised.
    Preparing,
    /// The row is armed; the person acts.
    Acting,
    /// The input was seen; effects are waited for.
    Measuring,
    /// There is a result.
    Ended,
}

/// Why a proof failed.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Failing {
    /// The device did not read healthy before the act.
    NotHealthy,
    /// The row was latched before anybody acted.
    LatchedBefore,
    /// A valve's coil was told to open and the valve is not seen open.
    NotOpened(Coil),
    /// The drive did not get torque.
    NoTorque,
    /// Nothing was seen of the act.
    NotSeen,
    /// The act was seen later than it may.
    SeenLate {
        /// How long after the act.
        after: Duration,
        /// How long it may take.
        within: Duration,
    },
    /// The input was seen and the row did not latch.
    NotLatched,
    /// An effect did not come.
    NoEffect(Effect),
    /// An effect came too late.
    TooSlow(Effect),
    /// Another row tripped first.
    OtherFirst {
        /// Its key.
        key: &'static str,
        /// What it says.
        message: String,
    },
    /// Proving ended before there was a result.
    ProvingEnded,
}

/// The result of a proof.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Proved {
    /// The row.
    pub key: &'static str,
    /// Why it failed; `None` when it passed.
    pub failing: Option<Failing>,
    /// What was expected, in words.
    pub expected: String,
    /// What was found, in words; of a failure, what is wrong and where to look.
    pub found: String,
    /// From the last healthy reading to the last effect seen.
    pub response: Option<Duration>,
    /// The longest it may be.
    pub limit: Duration,
    /// What the limit is made of.
    pub limit_reason: String,
}
