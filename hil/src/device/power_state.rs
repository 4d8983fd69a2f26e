//! The power state machine of CiA 402 / IEC 61800-7-201 (states, commands and transitions 0 to 16 from
//! memory and from public drive manuals).

/// The eight states.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum PowerState {
    /// Starting up.
    NotReadyToSwitchOn,
    /// Ready for its first command.
    SwitchOnDisabled,
    /// High voltage may be applied.
    ReadyToSwitchOn,
    /// High voltage is applied, no torque.
    SwitchedOn,
    /// Torque; motion commands are taken.
    OperationEnabled,
    /// Stopping by quick stop.
    QuickStopActive,
    /// Stopping after a fault.
    FaultReactionActive,
    /// No torque until reset.
    Fault,
}

use PowerState::{
    Fault, FaultReactionActive, NotReadyToSwitchOn, OperationEnabled, QuickStopActive,
    ReadyToSwitchOn, SwitchOnDisabled, SwitchedOn,
};

impl PowerState {
    /// The state's pattern in bits 0, 1, 2, 3, 5 and 6 of the status word.
    pub(crate) fn pattern(self) -> u16 {
        match self {
            NotReadyToSwitchOn => 0x0000,
            SwitchOnDisabled => 0x0040,
            ReadyToSwitchOn => 0x0021,
            SwitchedOn => 0x0023,
            OperationEnabled => 0x0027,
            QuickStopActive => 0x0007,
            FaultReactionActive => 0x000F,
            Fault => 0x0008,
        }
    }

    /// Whether the motor has torque.
    pub(crate) fn has_torque(self) -> bool {
        matches!(self, OperationEnabled | QuickStopActive | FaultReactionActive)
    }
}

/// Commands of the control word, bits 7, 3, 2, 1, 0.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Command {
    /// 0xxx xx0x: disable voltage.
    DisableVoltage,
    /// 0xxx x01x: quick stop.
    QuickStop,
    /// 0xxx x110: shutdown.
    Shutdown,
    /// 0xxx 0111: switch on, or disable operation.
    SwitchOn,
    /// 0xxx 1111: enable operation, switching on first where needed.
    EnableOperation,
}

impl Command {
    /// The command in a control word.
    pub(crate) fn of(control: u16) -> Self {
        if control & 0x0002 == 0 {
            Self::DisableVoltage
        } else if control & 0x0004 == 0 {
            Self::QuickStop
        } else if control & 0x0001 == 0 {
            Self::Shutdown
        } else if control & 0x0008 == 0 {
            Self::SwitchOn
        } else {
            Self::EnableOperation
        }
    }
}

/// A step from one state to another, with its number.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Transition {
    pub(crate) number: u8,
    pub(crate) to: PowerState,
}

/// The transition that a command asks for in a state, if there is one.
///
/// "Enable operation" in "ready to switch on" passes 3 and then 4; the caller asks again.
#[rustfmt::skip]
pub(crate) fn transition(state: PowerState, command: Command) -> Option<Transition> {
    let (number, to) = match (state, command) {
        (SwitchOnDisabled, Command::Shutdown)        => (2, ReadyToSwitchOn),
        (ReadyToSwitchOn,  Command::SwitchOn)        => (3, SwitchedOn),
        (ReadyToSwitchOn,  Command::EnableOperation) => (3, SwitchedOn),
        (SwitchedOn,       Command::EnableOperation) => (4, OperationEnabled),
        (OperationEnabled, Command::SwitchOn)        => (5, SwitchedOn),
        (SwitchedOn,       Command::Shutdown)        => (6, ReadyToSwitchOn),
        (ReadyToSwitchOn,  Command::QuickStop)       => (7, SwitchOnDisabled),
        (ReadyToSwitchOn,  Command::DisableVoltage)  => (7, SwitchOnDisabled),
        (OperationEnabled, Command::Shutdown)        => (8, ReadyToSwitchOn),
        (OperationEnabled, Command::DisableVoltage)  => (9, SwitchOnDisabled),
        (SwitchedOn,       Command::QuickStop)       => (10, SwitchOnDisabled),
        (SwitchedOn,       Command::DisableVoltage)  => (10, SwitchOnDisabled),
        (OperationEnabled, Command::QuickStop)       => (11, QuickStopActive),
        (QuickStopActive,  Command::DisableVoltage)  => (12, SwitchOnDisabled),
        (QuickStopActive,  Command::EnableOperation) => (16, OperationEnabled),
        _ => return None,
    };
    Some(Transition { number, to })
}

/// The transitions that no command asks for: 0 and 1 at start-up, 12 at the end of a quick stop, 13 at
/// a fault, 14 at the end of its reaction, 15 by the edge of the reset bit.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Happening {
    /// Self-test done.
    Started,
    /// The motor has come to rest.
    AtRest,
    /// A fault with a reaction of its own.
    Fault,
    /// The reset bit has risen and the cause is gone.
    Reset,
}

/// The transition that a happening causes in a state, if there is one.
#[rustfmt::skip]
pub(crate) fn happens(state: PowerState, happening: Happening) -> Option<Transition> {
    let (number, to) = match (state, happening) {
        (NotReadyToSwitchOn,  Happening::Started) => (1, SwitchOnDisabled),
        (QuickStopActive,     Happening::AtRest)  => (12, SwitchOnDisabled),
        (FaultReactionActive, Happening::AtRest)  => (14, Fault),
        (Fault,               Happening::Reset)   => (15, SwitchOnDisabled),
        (Fault | FaultReactionActive, Happening::Fault) => return None,
        (_,                   Happening::Fault)   => (13, FaultReactionActive),
        _ => return None,
    };
    Some(Transition { number, to })
}

#[cfg(test)]
mod tests {
    use super::*;

    const STATES: [PowerState; 8] = [
        NotReadyToSwitchOn,
        SwitchOnDisabled,
        ReadyToSwitchOn,
        SwitchedOn,
        OperationEnabled,
        QuickStopActive,
        FaultReactionActive,
        Fault,
    ];

    #[test]
    fn every_control_word_is_the_command_of_the_standards_bit_table() {
        for control in 0..=u16::MAX {
            let command = Command::of(control);
            let fits = |mask: u16, value: u16| control & mask == value;
            match command {
                Command::DisableVoltage => assert!(fits(0x0002, 0)),
                Command::QuickStop => assert!(fits(0x0006, 0x0002)),
                Command::Shutdown => assert!(fits(0x0007, 0x0006)),
                Command::SwitchOn => assert!(fits(0x000F, 0x0007)),
                Command::EnableOperation => assert!(fits(0x000F, 0x000F)),
            }
        }
    }

    #[test]
    fn all_numbered_transitions_exist_and_no_others() {
        let mut numbers = vec![];
        for state in STATES {
            for control in [0x0000, 0x0002, 0x0006, 0x0007, 0x000F] {
                numbers.extend(transition(state, Command::of(control)).map(|t| t.number));
            }
            for happening in
                [Happening::Started, Happening::AtRest, Happening::Fault, Happening::Reset]
            {
                numbers.extend(happens(state, happening).map(|t| t.number));
            }
        }
        numbers.sort_unstable();
        numbers.dedup();
        // Transition 0 is power-up itself.
        assert_eq!(numbers, (1..=16).collect::<Vec<u8>>());
    }

    #[test]
    fn patterns_differ_under_the_standards_masks() {
        for (n, a) in STATES.iter().enumerate() {
            for b in STATES.iter().skip(n + 1) {
                assert_ne!(a.pattern() & 0x006F, b.pattern() & 0x006F, "{a:?} {b:?}");
            }
        }
    }

    #[test]
    fn shutdown_switch_on_enable_leads_from_disabled_to_enabled() {
        let mut state = SwitchOnDisabled;
        for control in [0x0006, 0x0007, 0x000F] {
            state = transition(state, Command::of(control)).unwrap().to;
        }
        assert_eq!(state, OperationEnabled);
    }
}
