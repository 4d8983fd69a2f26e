//! The scene a fault falls into: what is asked and what is so in one phase of a job. Invented
//! figures of an acetylene torch over a part of 300 mm; what the rig file gives is the rig's.

use serde::Serialize;

use crate::image::{AxisDemand, Coil, Level, Outputs, SpindleDemand, Travel};
use crate::interlock::Limits;
use crate::quantity::{Length, Pressure, Range, SpindleSpeed, Temperature, Time};
use crate::rig::{LitBy, Rig, SpindleSpec};

/// A phase of a job, by the words of the state chart.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum ScenePhase {
    /// Nothing is asked.
    Idle,
    /// The gases have just been opened; the flame comes two seconds later.
    Lighting,
    /// Flame over the turning part, no powder.
    Preheating,
    /// In the middle of a pass.
    Spraying,
    /// The fusing flame over the coat.
    Fusing,
    /// Held with the flame lit at the park.
    Held,
    /// Gas shut, the part turning under the cooling jet.
    Cooling,
    /// Gas isolated and vented, spindle and carriage without energy.
    Access,
    /// Jogging, gas isolated.
    Manual,
}

impl ScenePhase {
    /// All of them.
    pub const ALL: [Self; 9] = [
        Self::Idle,
        Self::Lighting,
        Self::Preheating,
        Self::Spraying,
        Self::Fusing,
        Self::Held,
        Self::Cooling,
        Self::Access,
        Self::Manual,
    ];

    /// As it is written.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Idle => "idle",
            Self::Lighting => "lighting",
            Self::Preheating => "preheating",
            Self::Spraying => "spraying",
            Self::Fusing => "fusing",
            Self::Held => "held",
            Self::Cooling => "cooling",
            Self::Access => "access",
            Self::Manual => "manual",
        }
    }

    /// Whether a flame burns in it.
    pub(super) const fn burns(self) -> bool {
        matches!(self, Self::Preheating | Self::Spraying | Self::Fusing | Self::Held)
    }

    /// Whether the torch goes to and fro over the part in it.
    pub(super) const fn works(self) -> bool {
        matches!(self, Self::Preheating | Self::Spraying | Self::Fusing)
    }

    /// Whether the part turns in it.
    const fn turns(self) -> bool {
        self.burns() || matches!(self, Self::Cooling)
    }
}

/// Fuel pressure of the scene's torch, bar.
pub(super) const FUEL: f64 = 0.5;
/// Oxygen pressure of the scene's torch, bar.
pub(super) const OXYGEN: f64 = 2.0;
/// Carrier pressure of the scene's torch, bar.
pub(super) const CARRIER: f64 = 3.0;
/// Feed of the scene's passes, mm/s.
pub(super) const FEED: f64 = 10.0;
/// Where the scene's passes turn, mm.
pub(super) const TURNS: [f64; 2] = [78.0, 242.0];
/// The part's end, mm.
const PART: f64 = 300.0;
/// Clear of the part by so much, mm.
const CLEAR_BY: f64 = 45.0;

/// The scene's spindle speed: 125 rpm, or what the rig has next to it.
pub(super) fn spindle_speed(rig: &Rig) -> SpindleSpeed {
    let wanted = SpindleSpeed::from_rpm(125.0);
    match &rig.spindle {
        SpindleSpec::Inverter(inverter) => {
            wanted.max(inverter.speeds.low).min(inverter.speeds.high)
        }
        SpindleSpec::Gears(table) => {
            let off = |speed: &SpindleSpeed| (speed.rpm() / wanted.rpm()).ln().abs();
            let near = table.speeds.iter().min_by(|one, other| off(one).total_cmp(&off(other)));
            near.copied().unwrap_or(wanted)
        }
    }
}

/// A travel of the carriage by the rig's ramp.
pub(super) fn travel(to: Length, at_mm_per_s: f64, rig: &Rig) -> AxisDemand {
    let at = crate::quantity::Speed::from_mm_per_s(at_mm_per_s);
    AxisDemand::Travel(Travel { to, at, ramp: rig.axis.ramp })
}

/// What the phase asks of the machine before anything happens.
pub(super) fn asks(phase: ScenePhase, rig: &Rig) -> Outputs {
    let mut outputs = Outputs { watchdog: Level::On, ..Outputs::default() };
    if phase.burns() {
        outputs = outputs
            .with(Coil::Supply)
            .with(Coil::Fuel)
            .with(Coil::Oxygen)
            .with(Coil::CarrierAir)
            .with(Coil::Extraction);
    }
    if phase == ScenePhase::Lighting {
        outputs = outputs.with(Coil::Supply).with(Coil::CarrierAir).with(Coil::Extraction);
    }
    if phase == ScenePhase::Cooling {
        outputs = outputs.with(Coil::CoolingAir).with(Coil::Extraction);
    }
    if phase.turns() {
        outputs.spindle = SpindleDemand::Turn(spindle_speed(rig));
    }
    outputs.axis = match phase {
        ScenePhase::Idle | ScenePhase::Access | ScenePhase::Cooling => AxisDemand::Off,
        ScenePhase::Lighting | ScenePhase::Held => AxisDemand::Still,
        ScenePhase::Manual => travel(rig.axis.travel.low, rig.axis.jog.mm_per_s(), rig),
        ScenePhase::Preheating | ScenePhase::Spraying | ScenePhase::Fusing => {
            travel(Length::from_mm(TURNS[1]), FEED, rig)
        }
    };
    outputs
}

/// What the step in hand sets for the interlocks.
pub(super) fn limits(phase: ScenePhase, rig: &Rig) -> Limits {
    let mut limits = Limits { park: rig.axis.park, ..Limits::default() };
    if matches!(phase, ScenePhase::Idle | ScenePhase::Manual) {
        return limits;
    }
    limits.fuel_pressure = Some(Pressure::from_bar(FUEL));
    limits.fuel_pressure_limit = Some(Pressure::from_bar(1.03));
    limits.oxygen_pressure = Some(Pressure::from_bar(OXYGEN));
    limits.carrier_pressure = Some(Pressure::from_bar(CARRIER));
    limits.spindle = Some(spindle_speed(rig));
    limits.part = Some(Range { low: Length::ZERO, high: Length::from_mm(PART) });
    limits.clear_by = Length::from_mm(CLEAR_BY);
    limits.longest_rest = Some(Time::from_s(2.0));
    limits.trial = Some(Time::from_s(5.0));
    match phase {
        ScenePhase::Fusing => limits.fuse_ceiling = Some(Temperature::from_celsius(1100.0)),
        ScenePhase::Spraying => {
            limits.spray_window = Some(Range {
                low: Temperature::from_celsius(200.0),
                high: Temperature::from_celsius(350.0),
            });
        }
        _ => {}
    }
    limits
}

/// Whether the guard stands open: only for lighting by hand, and while somebody is inside.
pub(super) fn guard(phase: ScenePhase, rig: &Rig) -> Level {
    let by_hand = phase == ScenePhase::Lighting && rig.lit_by == LitBy::Hand;
    Level::from_bit(!by_hand && phase != ScenePhase::Access)
}
