//! What every scan's proposal ends with, whatever the state: powder only where powder belongs,
//! air and extraction with gas and powder, lamps by IEC 60073, and the prompt of the moment.

use core::time::Duration;

use crate::cia402::PowerState;
use crate::image::{Analogue, AxisDemand, Coil, DriveEnable, Level};
use crate::interlock::{Acknowledged, Class};
use crate::moment::Moment;

use super::context::Scan;
use super::event::Happening;
use super::leaf::{Leaf, Phase};
use super::machine::{Machine, Owed};
use super::prompt::{Ask, Prompt};
use super::state::State;
use super::states::{access, holding, spraying, starting};

/// Extraction runs on after the last gas or powder (cause-and-effect practice: at least 5 min).
const EXTRACTION_OVERRUN: Duration = Duration::from_secs(300);

impl State {
    /// What the state asks of a person, and until when.
    pub(super) fn asks(&self, machine: &Machine, scan: &Scan<'_>) -> Option<(Ask, Option<Moment>)> {
        match self {
            Self::Ready => Some((Ask::Start, None)),
            Self::Homing(homing) => homing.prompt(),
            Self::Checking { until, .. } => starting::prompt_checking(*until, machine, scan),
            Self::SpinningUp { phase, .. } => phase.prompt(machine, scan),
            Self::Opening(opening) => Some(opening.prompt()),
            Self::ConfirmingFlame(confirming) => Some(confirming.prompt()),
            Self::Inside { until } => Some((Ask::ChangeTorch, Some(*until))),
            Self::ClosingUp { until } => access::prompt_closing_up(scan, *until),
            Self::Heating { until, .. } | Self::FuseTurning { until, .. } => {
                Some((Ask::CallWet, Some(*until)))
            }
            Self::CoolingDown(cooling) => cooling.prompt(scan.now),
            Self::Restarting { until, .. } => Some(holding::prompt(*until)),
            _ => None,
        }
    }

    /// Completes the proposal.
    pub(super) fn finish(&self, machine: &mut Machine, scan: &mut Scan<'_>) {
        let sprays = matches!(machine.leaf, Leaf::Crossing | Leaf::SprayTurning);
        let expects = machine.feeder.level() == Level::On || machine.feeder.next().is_some();
        if !sprays && expects {
            machine.feeder.void();
        }
        scan.outputs.powder = machine.feeder.demand();
        scan.outputs.watchdog = Level::On;
        if machine.last.powder.now.is_on() && !scan.outputs.powder.now.is_on() {
            machine.hose_empty_at = scan.now + spraying::emptying(machine, scan);
        }

        let gas = [Coil::Fuel, Coil::Oxygen].into_iter().any(|gas| scan.outputs.coil(gas).is_on());
        // A valve stroked in proving lets nothing flow, unless its gas shows after all.
        if leaked(machine, scan) {
            machine.purge = Owed::Owed;
        }
        let flows = gas && machine.leaf != Leaf::Proving;
        if flows || scan.outputs.powder.now.is_on() {
            scan.energise(Coil::CarrierAir);
            machine.purge = Owed::Owed;
            machine.extraction_until = scan.now + EXTRACTION_OVERRUN;
        }
        if scan.now < machine.extraction_until {
            scan.energise(Coil::Extraction);
        }
        // Torque is only taken from a carriage at rest: one that moves is stopped first.
        let moves = scan.axis().is_some_and(|axis| {
            matches!(axis.power, PowerState::OperationEnabled | PowerState::QuickStopActive)
        }) && !scan.at_rest();
        if scan.outputs.axis == AxisDemand::Off && moves {
            scan.outputs.axis = AxisDemand::QuickStop;
        }
        if scan.now < machine.clear_fault_until {
            scan.outputs.drive = DriveEnable::ClearFault;
        }
        self.prompt(machine, scan);
        self.lamps(machine, scan);
        machine.last = scan.outputs;
    }

    fn prompt(&self, machine: &mut Machine, scan: &mut Scan<'_>) {
        let attendance = scan
            .attendance
            .map(|asked| (Ask::Attendance, Some(asked + scan.figures.attend_within)));
        let asks = attendance.or_else(|| self.asks(machine, scan));
        let before = machine.prompt;
        let now = asks.map(|(ask, until)| {
            let since = before.filter(|old| old.ask == ask).map_or(scan.now, |old| old.since);
            Prompt { ask, since, until }
        });
        let (old, new) = (before.map(|prompt| prompt.ask), now.map(|prompt| prompt.ask));
        if old != new {
            if let Some(ask) = old {
                scan.tell(Happening::PromptGone(ask));
            }
            if let Some(ask) = new {
                scan.tell(Happening::Prompted(ask));
            }
        }
        machine.prompt = now;
    }

    fn lamps(&self, machine: &Machine, scan: &mut Scan<'_>) {
        let phase = self.phase();
        let tripped = scan.verdict.tripped() || matches!(phase, Phase::Aborting | Phase::Aborted);
        if tripped {
            scan.energise(Coil::LampRed);
        }
        if scan.verdict.tripped() && scan.verdict.acknowledged == Acknowledged::No {
            scan.energise(Coil::Horn);
        }
        let abnormal =
            matches!(phase, Phase::Holding | Phase::Held | Phase::Stopping | Phase::Stopped)
                || scan.verdict.class.is_some_and(|class| class < Class::Trip);
        if abnormal {
            scan.energise(Coil::LampYellow);
        }
        if phase.is_running() && !tripped {
            scan.energise(Coil::LampGreen);
        }
        if machine.prompt.is_some_and(|prompt| calls(prompt.ask, machine, scan)) {
            scan.energise(Coil::LampBlue);
        }
        if matches!(self, Self::Inside { .. }) {
            scan.energise(Coil::LampWhite);
        }
    }
}

/// Whether a valve stood open in the last scan with its gas behind it.
fn leaked(machine: &Machine, scan: &Scan<'_>) -> bool {
    [(Coil::Fuel, Analogue::FuelPressure), (Coil::Oxygen, Analogue::OxygenPressure)]
        .into_iter()
        .filter(|(valve, _)| machine.last.coil(*valve).is_on())
        .any(|(_, gas)| scan.value(gas).is_some_and(|bar| bar >= scan.figures.vented_below.bar()))
}

/// Whether a prompt calls a person to the machine. Whoever asked for the start stands there still when
/// guard and extraction are checked, and reads which is missing: the lamp could not say it. Wetting is watched for all the time; the lamp
/// calls once the pyrometer reads what the coat is expected to wet at.
fn calls(ask: Ask, machine: &Machine, scan: &Scan<'_>) -> bool {
    let expected = scan.fuse(machine.cursor).map(|step| step.window.low);
    match ask {
        Ask::CallWet => scan.coat_temperature().zip(expected).is_none_or(|(coat, low)| coat >= low),
        _ => machine.leaf != Leaf::Checking,
    }
}
