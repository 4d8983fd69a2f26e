//! The power state machine of a drive by CiA 402 (IEC 61800-7-201).

use serde::{Deserialize, Serialize};

/// State of a drive's power section, read from its status word.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum PowerState {
    /// Initialising; no torque.
    NotReadyToSwitchOn,
    /// No torque; may be made ready.
    SwitchOnDisabled,
    /// No torque; may be switched on.
    ReadyToSwitchOn,
    /// Power on, no motion.
    SwitchedOn,
    /// Torque; follows its set-points.
    OperationEnabled,
    /// Stopping by its quick-stop ramp.
    QuickStopActive,
    /// Reacting to a fault.
    FaultReactionActive,
    /// In fault; no torque.
    Fault,
    /// A status word that matches no state: believed to be none of them.
    #[default]
    Unknown,
}
