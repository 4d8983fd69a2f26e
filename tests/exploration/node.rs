//! One concrete situation of machine and plant, and one scan of it.

use std::time::Duration;

use evenpass_core::image::{Contact, Inputs, Level, Outputs};
use evenpass_core::interlock::durations;
use evenpass_core::request::{Answer, Origin, Request};
use evenpass_core::sequence::{Phase, Situation};

use crate::defects::Defect;
use crate::machine::{Beside, Machine, Missing};
use crate::monitor::Monitor;
use crate::plant::{Plant, Standing};
use crate::reading::read;
use crate::support::observed::Observed;
use crate::world::World;

/// Later than this many periods a scan does not feed the watchdog, as in the program.
const LATE_PERIODS: u32 = 2;

/// Machine and plant at one moment, right after a scan.
#[derive(Debug, Clone)]
pub(crate) struct Node {
    pub(crate) machine: Machine,
    pub(crate) plant: Plant,
    pub(crate) monitor: Monitor,
}

/// What was so before the scan that is looked at.
#[derive(Debug, Clone)]
pub(crate) struct Before {
    pub(crate) outputs: Outputs,
    pub(crate) situation: Situation,
    /// The spindle was read as standing.
    pub(crate) stands: bool,
}

/// Slower than this the spindle rests, rpm.
pub(crate) const SPINDLE_RESTS: f64 = 1.0;

/// The spindle is read as standing, and nothing says that the part turns.
pub(crate) fn stands(inputs: &Inputs) -> bool {
    let read = inputs.spindle.trusted(inputs.now, durations::FIELD_SILENCE);
    read.is_some_and(|read| read.measured.rpm() < SPINDLE_RESTS)
        && !inputs.is_on(Contact::PartTurning, durations::FIELD_SILENCE)
}

impl Node {
    /// Power just on.
    pub(crate) fn power_up(world: &World, defect: Option<Defect>) -> Self {
        let mut node = Self {
            machine: Machine::new(&world.rig, world.program.clone(), defect),
            plant: Plant::new(world),
            monitor: Monitor::default(),
        };
        node.scan(world, world.scan);
        node
    }

    pub(crate) fn situation(&self) -> Situation {
        self.machine.sequence.situation()
    }

    pub(crate) fn observed(&self) -> Observed {
        let machine = &self.machine;
        Observed::of(machine.sequence.leaf(), machine.verdict(), &machine.outputs)
    }

    /// So much time passes, then one scan is made. Says what was so before.
    pub(crate) fn scan(&mut self, world: &World, span: Duration) -> Before {
        let before = Before {
            outputs: self.machine.outputs,
            situation: self.situation(),
            stands: stands(&self.machine.inputs),
        };
        self.plant.advance(world, &before.outputs, span);
        let inputs = read(&self.plant, world);
        let late = span.saturating_sub(COARSEST.max(world.scan)) > world.scan * LATE_PERIODS;
        let beside = Beside {
            dropped: self.plant.dropped,
            on_time: Level::from_bit(!late),
            missing: Missing::WorkedOut { commissioned: self.plant.awake },
        };
        self.machine.scan(inputs, beside);
        self.plant.take_powder(&self.machine.outputs);
        self.plant.pressed = None;
        self.monitor.follow(world, &self.machine, &self.plant, &before, span);
        before
    }

    /// Somebody asks something, and one scan follows if it was accepted.
    pub(crate) fn ask(&mut self, request: Request, origin: Origin) -> Answer {
        let answer = self.machine.request(self.plant.now, request, origin);
        if answer == Answer::Accepted {
            let key = self.machine.inputs.is_on(Contact::EnablingKey, Duration::from_secs(1));
            self.monitor.asked(request, origin, key, self.plant.now);
        }
        answer
    }

    /// Something goes wrong and stays so; `None` when two things are wrong already.
    pub(crate) fn break_down(&mut self, kind: u16) -> Option<()> {
        let since = self.plant.now;
        let slot = self.plant.faults.iter_mut().find(|slot| slot.is_none())?;
        *slot = Some(Standing { kind, since });
        Some(())
    }

    /// Whether nothing can burn, flow or move any more, and nothing waits to.
    pub(crate) fn is_at_rest(&self) -> bool {
        use evenpass_core::image::{AxisDemand, Coil};
        let outputs = &self.machine.outputs;
        let flows = [Coil::Fuel, Coil::Oxygen, Coil::Supply, Coil::Igniter]
            .iter()
            .any(|coil| outputs.coil(*coil).is_on());
        let moves = match outputs.axis {
            AxisDemand::Travel(travel) => (travel.to.mm() - self.plant.position).abs() > 0.1,
            AxisDemand::Home(_) => true,
            _ => false,
        };
        !flows
            && !moves
            && !self.plant.lit
            && self.plant.feeder == Level::Off
            && self.plant.pending.is_none()
            && self.plant.velocity == 0.0
    }

    /// At rest, and in a state that waits for a person for as long as it takes.
    pub(crate) fn rests(&self) -> bool {
        let phase = self.machine.sequence.phase();
        let waits = matches!(
            phase,
            Phase::Idle
                | Phase::Manual
                | Phase::Held
                | Phase::Stopped
                | Phase::Aborted
                | Phase::Complete
                | Phase::Cooling
        );
        waits && self.is_at_rest()
    }
}

/// The coarsest step in which time passes where nothing moves: inside the interlocks' 0.3 s.
pub(crate) const COARSEST: Duration = Duration::from_millis(240);
