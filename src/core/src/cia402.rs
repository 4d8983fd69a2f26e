//! The power state machine of a drive by CiA 402 (IEC 61800-7-201).
//!
//! ```text
//!   Not ready ─auto─> Switch on disabled ─2─> Ready to switch on ─3─> Switched on ─4─> Operation
//!                      ^  ^   ^   ^  <──────────7──────────┘  <──────6──────┘  <─5──┘  enabled
//!                      │  │   │   └────────────────10────────────────┘                │
//!                      │  │   └─────────────────9─────────────────────────────────────┤
//!                      │  └─12─ Quick stop active <─────────────11────────────────────┤
//!                      15                                                             │
//!                    Fault <─auto─ Fault reaction active <────13, from anywhere───────┘
//! ```
//!
//! Each step is commanded by the control word, acknowledged by the line's echo of it, and
//! confirmed only by the status word: [`next_command`] decides from the status word alone.
//! Source of states, masks, commands and transitions: the state table of CiA 402 /
//! IEC 61800-7-201, patterns checked against a second reprint, transition numbers from memory.

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

/// The state table: a status word is in a state when its bits under the mask are the value.
#[rustfmt::skip]
const STATES: [(u16, u16, PowerState); 8] = [
    // mask    value
    (0x004F, 0x0000, PowerState::NotReadyToSwitchOn),
    (0x004F, 0x0040, PowerState::SwitchOnDisabled),
    (0x006F, 0x0021, PowerState::ReadyToSwitchOn),
    (0x006F, 0x0023, PowerState::SwitchedOn),
    (0x006F, 0x0027, PowerState::OperationEnabled),
    (0x006F, 0x0007, PowerState::QuickStopActive),
    (0x004F, 0x000F, PowerState::FaultReactionActive),
    (0x004F, 0x0008, PowerState::Fault),
];

/// A status word.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct StatusWord(pub u16);

impl StatusWord {
    /// The state of the power section.
    #[must_use]
    pub fn power(self) -> PowerState {
        STATES
            .iter()
            .find(|(mask, value, _)| self.0 & mask == *value)
            .map_or(PowerState::Unknown, |(_, _, state)| *state)
    }

    /// Bit 10: the target is reached; under halt, the axis stands.
    #[must_use]
    pub const fn target_reached(self) -> bool {
        self.0 & 1 << 10 != 0
    }

    /// Bit 12 in profile position: the set-point is taken. In homing: the datum is attained.
    #[must_use]
    pub const fn acknowledged(self) -> bool {
        self.0 & 1 << 12 != 0
    }

    /// Bit 13 in homing: homing failed. In profile position: following error.
    #[must_use]
    pub const fn failed(self) -> bool {
        self.0 & 1 << 13 != 0
    }
}

/// Modes of operation that are used here.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Mode {
    /// To an end point by a profile; code 1.
    ProfilePosition,
    /// Looking for the datum; code 6.
    Homing,
}

impl Mode {
    /// Its code.
    #[must_use]
    pub const fn code(self) -> u16 {
        match self {
            Self::ProfilePosition => 1,
            Self::Homing => 6,
        }
    }
}

/// A command of the power state machine.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Command {
    /// Transitions 2, 6 and 8.
    Shutdown,
    /// Transition 3.
    SwitchOn,
    /// Transitions 4 and 16.
    EnableOperation,
    /// Transitions 7, 9, 10 and 12.
    DisableVoltage,
    /// Transitions 7, 10 and 11.
    QuickStop,
    /// Transition 15, on the rising edge.
    FaultReset,
}

impl Command {
    /// The control word that gives it, all mode bits zero.
    #[must_use]
    pub const fn word(self) -> u16 {
        match self {
            Self::Shutdown => 0x0006,
            Self::SwitchOn => 0x0007,
            Self::EnableOperation => 0x000F,
            Self::DisableVoltage => 0x0000,
            Self::QuickStop => 0x0002,
            Self::FaultReset => 0x0080,
        }
    }
}

/// Control bit 4: take the new set-point, or start homing, on the rising edge.
pub const START: u16 = 1 << 4;
/// Control bit 5: change to the new set-point at once.
pub const AT_ONCE: u16 = 1 << 5;
/// Control bit 8: stand still under torque.
pub const HALT: u16 = 1 << 8;

/// What the power section is wanted to be.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Goal {
    /// Without torque.
    Off,
    /// Stopped by the quick-stop ramp, or already without torque.
    Stopped,
    /// Under torque.
    Enabled,
}

/// The command that leads one step from a confirmed state towards the goal; `None` when it is
/// reached or only waiting helps. A fault is left by [`Command::FaultReset`] alone, which is a
/// person's decision and never made here.
#[must_use]
pub const fn next_command(state: PowerState, goal: Goal) -> Option<Command> {
    use PowerState as S;
    match (goal, state) {
        // Nothing to do but wait for the drive or for a person.
        (_, S::NotReadyToSwitchOn | S::FaultReactionActive | S::Fault) => None,

        (Goal::Enabled, S::SwitchOnDisabled) => Some(Command::Shutdown),
        (Goal::Enabled, S::ReadyToSwitchOn) => Some(Command::SwitchOn),
        (Goal::Enabled, S::SwitchedOn) => Some(Command::EnableOperation),
        (Goal::Enabled, S::OperationEnabled | S::Unknown) => None,
        // Transition 16, straight back to enabled, is optional: not every drive has it.
        (Goal::Enabled, S::QuickStopActive) => Some(Command::DisableVoltage),

        (Goal::Off, S::SwitchOnDisabled) => None,
        (Goal::Off, _) => Some(Command::DisableVoltage),

        (Goal::Stopped, S::SwitchOnDisabled | S::QuickStopActive) => None,
        (Goal::Stopped, _) => Some(Command::QuickStop),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The table once more, as patterns of bits 7 to 0 (x: any), so that masks and values above
    /// are checked against another form of the same source: CiA 402 / IEC 61800-7-201.
    const PATTERNS: [(&str, PowerState); 8] = [
        ("x0xx0000", PowerState::NotReadyToSwitchOn),
        ("x1xx0000", PowerState::SwitchOnDisabled),
        ("x01x0001", PowerState::ReadyToSwitchOn),
        ("x01x0011", PowerState::SwitchedOn),
        ("x01x0111", PowerState::OperationEnabled),
        ("x00x0111", PowerState::QuickStopActive),
        ("x0xx1111", PowerState::FaultReactionActive),
        ("x0xx1000", PowerState::Fault),
    ];

    fn fits(word: u16, pattern: &str) -> bool {
        pattern.chars().rev().enumerate().all(|(bit, wanted)| match wanted {
            'x' => true,
            wanted => (word >> bit & 1 == 1) == (wanted == '1'),
        })
    }

    #[test]
    fn of_all_words_12288_are_in_exactly_one_state_and_53248_in_none() {
        let (mut one, mut none) = (0, 0);
        for word in 0..=u16::MAX {
            let fitting: Vec<_> =
                PATTERNS.iter().filter(|(pattern, _)| fits(word, pattern)).collect();
            match fitting.as_slice() {
                [] => {
                    none += 1;
                    assert_eq!(StatusWord(word).power(), PowerState::Unknown, "{word:04X}");
                }
                [(_, state)] => {
                    one += 1;
                    assert_eq!(StatusWord(word).power(), *state, "{word:04X}");
                }
                _ => panic!("{word:04X} is in two states"),
            }
        }
        assert_eq!((one, none), (12_288, 53_248));
    }

    /// Sample words printed in drive documentation.
    #[test]
    fn words_that_drives_print_read_as_their_states() {
        for (word, state) in [
            (0x0000, PowerState::NotReadyToSwitchOn),
            (0x0250, PowerState::SwitchOnDisabled),
            (0x0270, PowerState::SwitchOnDisabled),
            (0x0231, PowerState::ReadyToSwitchOn),
            (0x0233, PowerState::SwitchedOn),
            (0x0237, PowerState::OperationEnabled),
            (0x0637, PowerState::OperationEnabled),
            (0x1237, PowerState::OperationEnabled),
            (0x0217, PowerState::QuickStopActive),
            (0x021F, PowerState::FaultReactionActive),
            (0x0218, PowerState::Fault),
            (0x0208, PowerState::Fault),
            (0x0011, PowerState::Unknown),
        ] {
            assert_eq!(StatusWord(word).power(), state, "{word:04X}");
        }
    }

    /// Command masks of CiA 402 / IEC 61800-7-201.
    #[test]
    fn each_command_s_word_has_the_bits_its_mask_asks() {
        for (command, mask, value) in [
            (Command::Shutdown, 0x0087, 0x0006),
            (Command::SwitchOn, 0x008F, 0x0007),
            (Command::EnableOperation, 0x008F, 0x000F),
            (Command::DisableVoltage, 0x0082, 0x0000),
            (Command::QuickStop, 0x0086, 0x0002),
            (Command::FaultReset, 0x0080, 0x0080),
        ] {
            assert_eq!(command.word() & mask, value, "{command:?}");
            assert_eq!(command.word() & (START | AT_ONCE | HALT), 0, "{command:?}");
        }
    }

    /// A drive that obeys the transitions of the table.
    fn after(state: PowerState, command: Command) -> PowerState {
        use PowerState as S;
        match (state, command) {
            (S::SwitchOnDisabled, Command::Shutdown)
            | (S::SwitchedOn | S::OperationEnabled, Command::Shutdown) => S::ReadyToSwitchOn,
            (S::ReadyToSwitchOn, Command::SwitchOn) => S::SwitchedOn,
            (S::SwitchedOn, Command::EnableOperation) => S::OperationEnabled,
            (S::ReadyToSwitchOn | S::SwitchedOn, Command::QuickStop) => S::SwitchOnDisabled,
            (S::OperationEnabled, Command::QuickStop) => S::QuickStopActive,
            (S::Fault, Command::FaultReset) => S::SwitchOnDisabled,
            (S::Fault, _) => S::Fault,
            (_, Command::DisableVoltage) => S::SwitchOnDisabled,
            (state, _) => state,
        }
    }

    fn walk(mut state: PowerState, goal: Goal) -> Vec<PowerState> {
        let mut path = vec![state];
        while let Some(command) = next_command(state, goal) {
            let next = after(state, command);
            assert_ne!(next, state, "{command:?} leads nowhere from {state:?}");
            state = next;
            path.push(state);
            assert!(path.len() < 8, "{path:?}");
        }
        path
    }

    #[test]
    fn enabling_walks_through_every_state_in_order() {
        use PowerState as S;
        assert_eq!(
            walk(S::SwitchOnDisabled, Goal::Enabled),
            [S::SwitchOnDisabled, S::ReadyToSwitchOn, S::SwitchedOn, S::OperationEnabled]
        );
        assert_eq!(walk(S::QuickStopActive, Goal::Enabled).last(), Some(&S::OperationEnabled));
    }

    #[test]
    fn every_goal_is_reached_from_every_state_without_a_fault() {
        use PowerState as S;
        for start in [
            S::SwitchOnDisabled,
            S::ReadyToSwitchOn,
            S::SwitchedOn,
            S::OperationEnabled,
            S::QuickStopActive,
        ] {
            assert_eq!(walk(start, Goal::Off).last(), Some(&S::SwitchOnDisabled));
            let stopped = walk(start, Goal::Stopped);
            assert!(matches!(stopped.last(), Some(S::SwitchOnDisabled | S::QuickStopActive)));
            assert_eq!(walk(start, Goal::Enabled).last(), Some(&S::OperationEnabled));
        }
    }

    #[test]
    fn no_goal_ever_leaves_a_fault_by_itself() {
        for goal in [Goal::Off, Goal::Stopped, Goal::Enabled] {
            assert_eq!(next_command(PowerState::Fault, goal), None);
            assert_eq!(next_command(PowerState::FaultReactionActive, goal), None);
        }
    }

    #[test]
    fn an_unknown_state_is_stopped_but_never_enabled() {
        assert_eq!(next_command(PowerState::Unknown, Goal::Enabled), None);
        assert_eq!(next_command(PowerState::Unknown, Goal::Off), Some(Command::DisableVoltage));
        assert_eq!(next_command(PowerState::Unknown, Goal::Stopped), Some(Command::QuickStop));
    }
}
