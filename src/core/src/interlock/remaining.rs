//! What an abort can still do as things stand, and by what. A field line that is dead leaves
//! the watchdog relay; a drive that is silent leaves the drive's own reaction; and so on.

use core::time::Duration;

use serde::Serialize;

use super::durations;
use super::matrix::Act;
use crate::cia402::PowerState;
use crate::image::{Contact, Inputs, Kind, Level, Referenced};
use crate::quantity::Length;
use crate::rig::{Rig, SpindleSpec};

/// By what an effect can still be carried out, the strongest first.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Means {
    /// The controller's command over its line.
    Command,
    /// The watchdog relay: the controller stops beating, and hardware shuts.
    WatchdogRelay,
    /// The field I/O module lets go of its outputs by its own time-out.
    ModuleTimeOut,
    /// The drive's own reaction to a silent controller.
    DriveTimeOut,
    /// The inverter's own reaction: it rides on, then ramps down.
    InverterTimeOut,
    /// The wired safety circuit, without any program.
    WiredCircuit,
    /// Nothing but a person: isolation valve and cylinders outside the cell.
    ByHand,
    /// Nothing.
    Nothing,
}

impl Means {
    /// In words.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::Command => "by command",
            Self::WatchdogRelay => "by the watchdog relay",
            Self::ModuleTimeOut => "by the module's own time-out",
            Self::DriveTimeOut => "by the drive's own time-out",
            Self::InverterTimeOut => "by the inverter's own time-out",
            Self::WiredCircuit => "by the wired circuit",
            Self::ByHand => "only by hand, outside the cell",
            Self::Nothing => "not possible",
        }
    }
}

/// One effect of an abort and what can still carry it out.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Remaining {
    /// The effect.
    pub act: Act,
    /// By what.
    pub means: Means,
    /// How long that takes by itself; none by command, which takes a scan and a frame.
    pub within: Option<Duration>,
    /// Why not by command; empty where it is by command.
    pub why: &'static str,
}

impl Remaining {
    /// In words.
    #[must_use]
    pub fn words(&self) -> String {
        let within = self
            .within
            .map(|within| format!(" within {:.2} s", within.as_secs_f64()))
            .unwrap_or_default();
        let why = if self.why.is_empty() { String::new() } else { format!(" ({})", self.why) };
        format!("{} {}{within}{why}", self.act.words(), self.means.words())
    }
}

/// What the rig answers with when its controller is silent.
#[derive(Debug, Clone)]
pub struct Abilities {
    relay: Duration,
    module: Duration,
    drive: Duration,
    ride_on: Duration,
    has_inverter: bool,
    park: Length,
    field_budget: Duration,
    drive_budget: Duration,
    inverter_budget: Duration,
    wired: [bool; Contact::COUNT],
}

/// How the field module stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Module {
    Answers,
    Frozen,
    Silent,
}

impl Abilities {
    /// Those of a rig.
    #[must_use]
    pub fn of(rig: &Rig) -> Self {
        let mut wired = [false; Contact::COUNT];
        for spec in rig.field.contacts.iter().filter(|spec| spec.input.is_some()) {
            if let Some(slot) = wired.get_mut(spec.tag.index()) {
                *slot = true;
            }
        }
        let axis = &rig.axis;
        let stopping = axis.positioning.mm_per_s() / axis.quick_stop.mm_per_s2().max(1e-3);
        let stopping = Duration::try_from_secs_f64(stopping).unwrap_or(durations::QUICK_STOP);
        let motor = rig.spindle.motor();
        let latency = rig.field.coil_latency.to_duration();
        Self {
            relay: rig.field.watchdog.relay.to_duration(),
            module: rig.field.communication_loss.to_duration() + latency,
            drive: axis.communication_loss.after.to_duration() + stopping,
            ride_on: motor.communication_loss.after.to_duration() + motor.ride_on.to_duration(),
            has_inverter: matches!(rig.spindle, SpindleSpec::Inverter(_)),
            park: axis.park,
            field_budget: rig.field.age_budget.to_duration().min(durations::FIELD_SILENCE),
            drive_budget: axis.age_budget.to_duration().min(durations::DRIVE_SILENCE),
            inverter_budget: motor.age_budget.to_duration(),
            wired,
        }
    }

    /// What an abort can still do with the image at hand, effect by effect in a trip's order.
    #[must_use]
    pub fn remaining(&self, inputs: &Inputs) -> Vec<Remaining> {
        let module = self.module(inputs);
        let [powder, fuel, oxygen, supply] =
            [Act::PowderOff, Act::FuelShut, Act::OxygenShut, Act::SupplyShut]
                .map(|act| self.coil(act, module, inputs));
        let mut all = vec![powder, fuel, oxygen, supply];
        all.extend(self.carriage(inputs));
        all.push(self.spindle(inputs));
        all.push(self.purge(module, inputs));
        all
    }

    fn module(&self, inputs: &Inputs) -> Module {
        let fitted =
            || inputs.contacts.iter().zip(self.wired).filter(|(_, wired)| *wired).map(|(s, _)| s);
        let frozen = fitted()
            .any(|signal| matches!(signal.kind, Kind::Failed(crate::image::Failure::Frozen)));
        let known = fitted().any(|signal| signal.trusted(inputs.now, self.field_budget).is_some());
        match (frozen, known) {
            (true, _) => Module::Frozen,
            (false, true) => Module::Answers,
            (false, false) => Module::Silent,
        }
    }

    /// A coil of the field module. The supply does not hang on the relay: its module lets go.
    fn coil(&self, act: Act, module: Module, inputs: &Inputs) -> Remaining {
        let supply = act == Act::SupplyShut;
        let remaining = |means, within, why| Remaining { act, means, within: Some(within), why };
        match module {
            Module::Silent if supply => {
                remaining(Means::ModuleTimeOut, self.module, "the field I/O does not answer")
            }
            Module::Silent => {
                remaining(Means::WatchdogRelay, self.relay, "the field I/O does not answer")
            }
            Module::Frozen if supply => Remaining {
                act,
                means: Means::ByHand,
                within: None,
                why: "the field I/O is frozen",
            },
            Module::Frozen => {
                remaining(Means::WatchdogRelay, self.relay, "the field I/O is frozen")
            }
            Module::Answers if !supply && self.is_off(Contact::WatchdogRelay, inputs) => {
                remaining(Means::WatchdogRelay, Duration::ZERO, "the relay has dropped already")
            }
            Module::Answers => Remaining { act, means: Means::Command, within: None, why: "" },
        }
    }

    fn is_off(&self, tag: Contact, inputs: &Inputs) -> bool {
        self.wired.get(tag.index()).copied().unwrap_or(false)
            && inputs.is_off(tag, self.field_budget)
    }

    /// The retreat, and the stop that is left where it is not possible.
    fn carriage(&self, inputs: &Inputs) -> [Remaining; 2] {
        let retreat = |means, why| Remaining { act: Act::Retreat, means, within: None, why };
        let stop = |means, within, why| Remaining { act: Act::CarriageStops, means, within, why };
        let command = stop(Means::Command, None, "");
        let Some(axis) = inputs.axis.trusted(inputs.now, self.drive_budget) else {
            let why = "the drive does not answer";
            return [
                retreat(Means::Nothing, why),
                stop(Means::DriveTimeOut, Some(self.drive), why),
            ];
        };
        let emergency = inputs.is_off(Contact::EmergencyStop, self.field_budget);
        let no_torque = self.is_off(Contact::TorqueAllowed, inputs);
        if emergency || no_torque {
            let why = "the wired circuit has it";
            return [
                retreat(Means::Nothing, why),
                stop(Means::WiredCircuit, Some(durations::QUICK_STOP), why),
            ];
        }
        let budget = self.field_budget;
        let ahead =
            if self.park < axis.position { Contact::LimitMinus } else { Contact::LimitPlus };
        let hindrance = if matches!(
            axis.power,
            PowerState::Fault | PowerState::FaultReactionActive | PowerState::Unknown
        ) {
            Some("the drive is in fault")
        } else if axis.power != PowerState::OperationEnabled {
            Some("the drive has no torque")
        } else if axis.referenced == Referenced::No {
            Some("its position is not known")
        } else if !inputs.is_on(Contact::Guard, budget) {
            Some("the guard is not known shut")
        } else if !inputs.is_on(ahead, budget) {
            Some("the limit on its way is not known free")
        } else {
            None
        };
        match hindrance {
            Some(why) => [retreat(Means::Nothing, why), command],
            None => [retreat(Means::Command, ""), command],
        }
    }

    fn spindle(&self, inputs: &Inputs) -> Remaining {
        let act = Act::SpindleStops;
        let answers = inputs.inverter_ok.trusted(inputs.now, self.inverter_budget).is_some();
        if answers {
            return Remaining { act, means: Means::Command, within: None, why: "" };
        }
        let why = "the spindle's drive does not answer";
        if self.has_inverter {
            Remaining { act, means: Means::InverterTimeOut, within: Some(self.ride_on), why }
        } else {
            Remaining { act, means: Means::WiredCircuit, within: None, why }
        }
    }

    fn purge(&self, module: Module, inputs: &Inputs) -> Remaining {
        let act = Act::Purge;
        let nothing = |why| Remaining { act, means: Means::Nothing, within: None, why };
        match module {
            Module::Silent => nothing("the field I/O does not answer"),
            Module::Frozen => nothing("the field I/O is frozen"),
            Module::Answers if self.is_off(Contact::PlantAir, inputs) => {
                nothing("plant air is missing")
            }
            Module::Answers => Remaining { act, means: Means::Command, within: None, why: "" },
        }
    }
}

/// Whether anything an abort would do is not possible by command.
#[must_use]
pub fn is_hindered(remaining: &[Remaining]) -> Level {
    Level::from_bit(remaining.iter().any(|one| one.means != Means::Command))
}
