//! The least of a machine that turns what is asked into what is read next: a carriage with a
//! drive, a spindle, gas, a flame, a part that gets warm, a feeder that acts at its edges, and
//! the wired circuits around them. It shares nothing with the twin of the bench.

use std::time::Duration;

use evenpass_core::cia402::PowerState;
use evenpass_core::image::{
    AxisDemand, Coil, Contact, DriveEnable, Level, Outputs, PowderEdge, SpindleDemand,
};
use evenpass_core::moment::Moment;
use evenpass_core::rig::LitBy;

use crate::faults::{Bad, Fault};
use crate::world::World;

/// The drive has torque so long after it is asked (an exchange or two).
const ENABLES_IN: Duration = Duration::from_millis(60);
/// The module and the drives act by themselves after a silence of this.
const COMMUNICATION_LOSS: Duration = Duration::from_millis(200);
/// The wired circuit takes torque so long after guard or emergency stop opens.
const TORQUE_GOES_IN: Duration = Duration::from_millis(500);
/// The watchdog relay drops after this.
const RELAY: Duration = Duration::from_millis(300);
/// Homing takes so long.
const HOMES_IN: Duration = Duration::from_secs(1);
/// The pipe behind the isolation valve fills and vents in so long, s; longer than the spindle takes
/// to rest, so that it is the pressure that is waited for.
const FILLS_IN: f64 = 0.3;
const VENTS_IN: f64 = 2.0;
/// Quick stop, mm/s2, and the spindle's ramp, rpm/s.
const QUICK_STOP: f64 = 250.0;
const SPINDLE_RAMP: f64 = 200.0;
/// The part gains and loses heat so fast, K/s, and the coat under the flame.
const WARMS: f64 = 30.0;
const COOLS: f64 = 4.0;
const COAT_WARMS: f64 = 150.0;
const COAT_COOLS: f64 = 60.0;
/// The coat under the flame stays at this: where it wets, degC.
const COAT_WETS: f64 = 1075.0;

/// A fault that is there, by its place in the world's list, and since when.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Standing {
    pub(crate) kind: u16,
    pub(crate) since: Moment,
}

/// The machine and who is at it.
#[derive(Debug, Clone)]
pub(crate) struct Plant {
    pub(crate) now: Moment,
    /// Whether the devices have answered yet.
    pub(crate) awake: bool,
    pub(crate) position: f64,
    pub(crate) velocity: f64,
    pub(crate) power: PowerState,
    asked_for: Duration,
    /// What the drive was asked in the scan before.
    demanded: AxisDemand,
    pub(crate) in_fault: bool,
    pub(crate) referenced: bool,
    pub(crate) attained: bool,
    homing_for: Duration,
    pub(crate) rpm: f64,
    /// Gas pressure behind the isolation valve, share of what is set.
    pub(crate) pressure: f64,
    pub(crate) fuel: bool,
    pub(crate) oxygen: bool,
    pub(crate) lit: bool,
    pub(crate) part: f64,
    pub(crate) coat: f64,
    pub(crate) hopper: f64,
    pub(crate) feeder: Level,
    pub(crate) pending: Option<PowderEdge>,
    /// The next ON edge finds its line busy and is dropped.
    pub(crate) drops: bool,
    /// Edges dropped so far.
    pub(crate) dropped: u64,
    pub(crate) guard_open_for: Option<Duration>,
    pub(crate) key: bool,
    /// A button that is pressed for one scan.
    pub(crate) pressed: Option<Contact>,
    pub(crate) extraction: bool,
    since_beat: Duration,
    pub(crate) faults: [Option<Standing>; 2],
}

impl Plant {
    /// Power just on: nobody has answered, the carriage somewhere beyond the part, no datum.
    pub(crate) fn new(world: &World) -> Self {
        Self {
            now: Moment::from_micros(1_000_000),
            awake: false,
            position: world.rig.axis.park.mm() - 40.0,
            velocity: 0.0,
            power: PowerState::SwitchOnDisabled,
            asked_for: Duration::ZERO,
            demanded: AxisDemand::Off,
            in_fault: false,
            referenced: false,
            attained: false,
            homing_for: Duration::ZERO,
            rpm: 0.0,
            pressure: 0.0,
            fuel: false,
            oxygen: false,
            lit: false,
            part: 20.0,
            coat: 260.0,
            hopper: 2000.0,
            feeder: Level::Off,
            pending: None,
            drops: false,
            dropped: 0,
            guard_open_for: None,
            key: false,
            pressed: None,
            extraction: false,
            since_beat: RELAY,
            faults: [None; 2],
        }
    }

    /// Whether a fault of that kind is there, and since when.
    pub(crate) fn has(&self, world: &World, fault: Fault) -> Option<Moment> {
        self.faults
            .iter()
            .flatten()
            .find(|standing| world.kind(standing.kind).fault == fault)
            .map(|standing| standing.since)
    }

    fn silent(&self, world: &World, fault: Fault) -> bool {
        self.has(world, fault).is_some_and(|since| self.now.since(since) > COMMUNICATION_LOSS)
    }

    /// Whether anything still moves by itself, so that its time must be resolved.
    pub(crate) fn is_still(&self) -> bool {
        self.velocity == 0.0
            && self.pending.is_none()
            && self.feeder == Level::Off
            && (self.pressure == 0.0 || self.pressure == 1.0)
    }

    pub(crate) fn relay_is_up(&self) -> bool {
        self.since_beat < RELAY
    }

    pub(crate) fn torque_is_allowed(&self, world: &World) -> bool {
        let open = self.guard_open_for.is_some_and(|open| open >= TORQUE_GOES_IN);
        let stopped = self
            .has(world, Fault::Contact(Contact::EmergencyStop, Bad::Wrong))
            .is_some_and(|since| self.now.since(since) >= TORQUE_GOES_IN);
        !open && !stopped
    }

    /// Distance from the park at which the carriage is at it, and whether it is.
    pub(crate) fn is_parked(&self, world: &World) -> bool {
        (self.position - world.rig.axis.park.mm()).abs() <= world.rig.axis.park_tolerance.mm()
    }

    /// Over the part, plume and flame included.
    pub(crate) fn is_over_part(&self, world: &World) -> bool {
        let (part, clear) = (world.program.part, world.program.clear_by.mm());
        self.position > part.low.mm() - clear && self.position < part.high.mm() + clear
    }

    /// So much time passes with these outputs.
    pub(crate) fn advance(&mut self, world: &World, asked: &Outputs, span: Duration) {
        self.now = self.now + span;
        let dt = span.as_secs_f64();
        // A module that hears nothing shuts its outputs; one whose cycle stands acts no more.
        let mut outputs = *asked;
        if [Fault::FieldSilent, Fault::FieldLineDown].iter().any(|one| self.silent(world, *one)) {
            outputs.coils = [Level::Off; Coil::COUNT];
            outputs.powder.now = Level::Off;
            outputs.watchdog = Level::Off;
        }
        self.since_beat =
            if outputs.watchdog.is_on() { Duration::ZERO } else { self.since_beat + span };
        self.feed(&outputs, dt);
        self.drive(world, &outputs, span);
        let wanted = match outputs.spindle {
            SpindleDemand::Stop => 0.0,
            SpindleDemand::Turn(speed) => speed.rpm() * self.spindle_share(world),
        };
        self.rpm += (wanted - self.rpm).clamp(-SPINDLE_RAMP * dt, SPINDLE_RAMP * dt);
        if self.has(world, Fault::SpindleStopped).is_some() {
            self.rpm = 0.0;
        }
        self.burn(world, &outputs, dt);
        self.extraction = outputs.coil(Coil::Extraction).is_on()
            && self.has(world, Fault::ExtractionFails).is_none();
        self.guard_open_for = self.guard_open_for.map(|open| open + span);
    }

    fn spindle_share(&self, world: &World) -> f64 {
        let of = |standing: &Standing| match world.kind(standing.kind).fault {
            Fault::SpindleAt(percent) => Some(f64::from(percent) / 100.0),
            _ => None,
        };
        self.faults.iter().flatten().find_map(of).unwrap_or(1.0)
    }

    fn feed(&mut self, outputs: &Outputs, dt: f64) {
        if let Some(edge) = self.pending.filter(|edge| edge.at <= self.now) {
            self.pending = None;
            if edge.to == Level::On && core::mem::take(&mut self.drops) {
                self.dropped += 1;
            } else {
                self.feeder = edge.to;
            }
        }
        if !outputs.powder.now.is_on() && self.pending.is_none() && outputs.powder.next.is_none() {
            self.feeder = Level::Off;
        }
        if !self.relay_is_up() {
            self.feeder = Level::Off;
        }
        if self.feeder.is_on() {
            self.hopper -= dt;
        }
    }

    /// The module takes in what a scan demands of the feeder.
    pub(crate) fn take_powder(&mut self, outputs: &Outputs) {
        let demand = outputs.powder;
        if !demand.now.is_on() && self.feeder.is_on() {
            self.feeder = Level::Off;
        }
        self.pending =
            demand.next.filter(|edge| edge.to == Level::Off || edge.epoch == demand.epoch);
    }

    fn drive(&mut self, world: &World, outputs: &Outputs, span: Duration) {
        if self.has(world, Fault::DriveTripped).is_some() {
            self.in_fault = true;
        } else if outputs.drive == DriveEnable::ClearFault {
            self.in_fault = false;
        }
        let demand =
            if self.silent(world, Fault::DriveSilent) { AxisDemand::Off } else { outputs.axis };
        let may = self.torque_is_allowed(world) && !self.in_fault;
        // What a drive says of its power follows what it is asked by an exchange.
        let (answers, demanded) = (std::mem::replace(&mut self.demanded, demand), demand);
        let demand = match answers {
            AxisDemand::Off | AxisDemand::QuickStop => demanded,
            before => match demanded {
                AxisDemand::Off | AxisDemand::QuickStop => before,
                _ => demanded,
            },
        };
        self.asked_for =
            if demand == AxisDemand::Off || !may { Duration::ZERO } else { self.asked_for + span };
        let had = self.power;
        self.power = match demand {
            _ if self.in_fault => PowerState::Fault,
            AxisDemand::Off => PowerState::SwitchOnDisabled,
            _ if !may => PowerState::SwitchOnDisabled,
            AxisDemand::QuickStop => match had {
                PowerState::OperationEnabled | PowerState::QuickStopActive => {
                    PowerState::QuickStopActive
                }
                _ => PowerState::SwitchOnDisabled,
            },
            _ if had == PowerState::OperationEnabled => had,
            _ if had == PowerState::QuickStopActive => {
                self.asked_for = Duration::ZERO;
                PowerState::SwitchOnDisabled
            }
            _ if self.asked_for >= ENABLES_IN => PowerState::OperationEnabled,
            _ => PowerState::SwitchOnDisabled,
        };
        self.carry(world, demanded, span);
    }

    fn carry(&mut self, world: &World, demand: AxisDemand, span: Duration) {
        let dt = span.as_secs_f64();
        let moves = self.power == PowerState::OperationEnabled;
        self.homing_for = match demand {
            AxisDemand::Home(_) if moves => self.homing_for + span,
            _ => Duration::ZERO,
        };
        if matches!(demand, AxisDemand::Home(_)) {
            self.attained = self.homing_for >= HOMES_IN;
            if self.attained {
                self.referenced = true;
                self.position = world.rig.axis.datum.mm();
            }
        }
        let stuck = self.has(world, Fault::CarriageStuck).is_some();
        match demand {
            AxisDemand::Travel(travel) if moves && !stuck => {
                let left = travel.to.mm() - self.position;
                let ramp = travel.ramp.mm_per_s2();
                let fastest = travel.at.mm_per_s().abs().min((2.0 * ramp * left.abs()).sqrt());
                let wanted = left.signum() * fastest;
                self.velocity += (wanted - self.velocity).clamp(-ramp * dt, ramp * dt);
                if self.velocity * left >= 0.0 && self.velocity.abs() * dt >= left.abs() {
                    (self.position, self.velocity) = (travel.to.mm(), 0.0);
                } else {
                    self.position += self.velocity * dt;
                }
            }
            _ if stuck => self.velocity = 0.0,
            _ => {
                let step = QUICK_STOP * dt;
                self.velocity -= self.velocity.clamp(-step, step);
                self.position += self.velocity * dt;
            }
        }
    }

    fn burn(&mut self, world: &World, outputs: &Outputs, dt: f64) {
        let supply = outputs.coil(Coil::Supply).is_on();
        if supply {
            self.pressure = (self.pressure + dt / FILLS_IN).min(1.0);
        } else if self.has(world, Fault::Unvented).is_none() {
            self.pressure = (self.pressure - dt / VENTS_IN).max(0.0);
        }
        // The relay gates the gas valves by hardware.
        self.fuel = outputs.coil(Coil::Fuel).is_on() && self.relay_is_up();
        self.oxygen = outputs.coil(Coil::Oxygen).is_on() && self.relay_is_up();
        let dark = self.has(world, Fault::NoFlame).is_some();
        self.lit &= self.gas_flows() && !dark;
        let sparks = world.rig.lit_by == LitBy::Igniter && outputs.coil(Coil::Igniter).is_on();
        if sparks && self.gas_flows() && !dark {
            self.lit = true;
        }
        let heats = self.lit && self.is_over_part(world);
        let hot = (world.aim + 10.0).max(self.part);
        self.part = if heats {
            (self.part + WARMS * dt).min(hot)
        } else {
            (self.part - COOLS * dt).max(20.0)
        };
        self.coat = if heats {
            (self.coat + COAT_WARMS * dt).min(COAT_WETS)
        } else {
            (self.coat - COAT_COOLS * dt).max(260.0)
        };
    }

    /// Whether gas comes out of the torch.
    pub(crate) fn gas_flows(&self) -> bool {
        self.fuel && self.oxygen && self.pressure > 0.3
    }

    /// Somebody holds a lighter to the torch.
    pub(crate) fn light(&mut self) {
        self.lit = self.gas_flows();
    }
}
