//! The effects of a row in their order, each with its delay from the confirmed cause.
//!
//! A trip: feeder and carrier, fuel and oxygen (after a flashback oxygen before fuel, and no
//! air), supply, carriage, spindle, all asked in one scan and the coils in one frame; then what
//! takes its time. A hold: powder off, the hose empties over the rest of the pass, the torch
//! clear, the flame out by itself. A stop: as a hold, then gases, purge, and the spindle until
//! the part is cool.

use core::time::Duration;

use serde::Serialize;

use super::row::{AirEffect, ResetRule, Row};
use crate::interlock::durations;
use crate::interlock::verdict::{CarriageEffect, Class, SpindleEffect};

/// How long the flame of a held job waits at the park; the sequence's own figure.
const HELD_LIT: Duration = Duration::from_secs(60);

/// What is done.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Act {
    /// The feeder is off.
    PowderOff,
    /// Carrier and purge air is off while the torch is over the part.
    AirHeld,
    /// Carrier and purge air is off until somebody has inspected the torch.
    AirOff,
    /// The fuel valve is shut.
    FuelShut,
    /// The oxygen valve is shut.
    OxygenShut,
    /// The supply outside the cell is shut.
    SupplyShut,
    /// No cooling jet.
    NoCooling,
    /// The watchdog may not beat.
    WatchdogOff,
    /// The carriage leaves the part for the park, if position and drive are trusted.
    Retreat,
    /// The carriage stops.
    CarriageStops,
    /// The carriage loses its torque.
    TorqueOff,
    /// The spindle keeps turning.
    SpindleTurns,
    /// The spindle stops and is not started again.
    SpindleStops,
    /// What is in the hose still lands, over the rest of the pass.
    HoseEmpties,
    /// The torch goes to the park, flame lit.
    TorchClear,
    /// Both gases are shut in the order of the torch's handbook.
    GasShut,
    /// Air through hose and tip.
    Purge,
    /// The spindle turns until the part is cool.
    TurnsUntilCool,
}

/// Who does it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Actor {
    /// The interlocks take it away; nothing can hold it back.
    Interlocks,
    /// The sequence does it, with what the interlocks have left it.
    Sequence,
}

/// When, from the confirmed cause.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum When {
    /// In the same scan.
    AtOnce,
    /// So long after.
    After(Duration),
    /// Once the torch is clear of the part.
    OnceClear,
    /// Once the hose is empty, by the torch's own figure.
    OnceEmpty,
    /// Once both gases are shut.
    OnceShut,
    /// As long as the condition lasts.
    WhileItLasts,
    /// Clear, and so long after the cause at the latest.
    ClearWithin(Duration),
}

/// Which output an act is about: the columns of the matrix.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Column {
    /// Powder feeder.
    Powder,
    /// Fuel valve.
    Fuel,
    /// Oxygen valve.
    Oxygen,
    /// Supply outside the cell.
    Supply,
    /// Carrier and purge air.
    Air,
    /// Carriage.
    Carriage,
    /// Spindle.
    Spindle,
    /// Cooling jet.
    Cooling,
    /// Watchdog.
    Watchdog,
}

impl Column {
    /// All of them, in order.
    pub const ALL: [Self; 9] = [
        Self::Powder,
        Self::Fuel,
        Self::Oxygen,
        Self::Supply,
        Self::Air,
        Self::Carriage,
        Self::Spindle,
        Self::Cooling,
        Self::Watchdog,
    ];

    /// In words.
    #[must_use]
    pub const fn title(self) -> &'static str {
        match self {
            Self::Powder => "powder feeder",
            Self::Fuel => "fuel valve",
            Self::Oxygen => "oxygen valve",
            Self::Supply => "gas supply",
            Self::Air => "carrier air",
            Self::Carriage => "carriage",
            Self::Spindle => "spindle",
            Self::Cooling => "cooling jet",
            Self::Watchdog => "watchdog",
        }
    }
}

impl Act {
    /// In words.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::PowderOff => "powder off",
            Self::AirHeld => "carrier air held back over the part",
            Self::AirOff => "no air until inspected",
            Self::FuelShut => "fuel shut",
            Self::OxygenShut => "oxygen shut",
            Self::SupplyShut => "supply shut outside the cell",
            Self::NoCooling => "no cooling jet",
            Self::WatchdogOff => "watchdog stops beating",
            Self::Retreat => "torch withdrawn to the park",
            Self::CarriageStops => "carriage stopped",
            Self::TorqueOff => "carriage without torque",
            Self::SpindleTurns => "spindle keeps turning",
            Self::SpindleStops => "spindle stopped",
            Self::HoseEmpties => "hose empties over the rest of the pass",
            Self::TorchClear => "torch to the park",
            Self::GasShut => "fuel and oxygen shut",
            Self::Purge => "hose and tip purged",
            Self::TurnsUntilCool => "spindle turns until the part is cool",
        }
    }

    /// Its column; both gas valves for [`Self::GasShut`].
    #[must_use]
    pub const fn columns(self) -> &'static [Column] {
        match self {
            Self::PowderOff => &[Column::Powder],
            Self::AirHeld | Self::AirOff | Self::HoseEmpties | Self::Purge => &[Column::Air],
            Self::FuelShut => &[Column::Fuel],
            Self::OxygenShut => &[Column::Oxygen],
            Self::GasShut => &[Column::Fuel, Column::Oxygen],
            Self::SupplyShut => &[Column::Supply],
            Self::NoCooling => &[Column::Cooling],
            Self::WatchdogOff => &[Column::Watchdog],
            Self::Retreat | Self::CarriageStops | Self::TorqueOff | Self::TorchClear => {
                &[Column::Carriage]
            }
            Self::SpindleTurns | Self::SpindleStops | Self::TurnsUntilCool => &[Column::Spindle],
        }
    }
}

/// One effect of a row in its place.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub struct OrderedEffect {
    /// Its place in the order, from 1; effects of one place go out together.
    pub order: u8,
    /// What.
    pub act: Act,
    /// When.
    pub when: When,
    /// By whom.
    pub actor: Actor,
}

/// Effects gathered place by place.
#[derive(Default)]
struct Course {
    effects: Vec<OrderedEffect>,
    order: u8,
}

impl Course {
    /// Opens the next place with those of its acts that are wanted; none opens no place.
    fn place(&mut self, actor: Actor, when: When, acts: &[(bool, Act)]) {
        let before = self.effects.len();
        let order = self.order + 1;
        let wanted = acts.iter().filter(|(wanted, _)| *wanted);
        self.effects.extend(wanted.map(|(_, act)| OrderedEffect { order, act: *act, when, actor }));
        if self.effects.len() > before {
            self.order = order;
        }
    }

    /// An act in the place that is open.
    fn with(&mut self, actor: Actor, when: When, act: Act) {
        self.effects.push(OrderedEffect { order: self.order.max(1), act, when, actor });
    }
}

impl Row {
    /// Its effects in their order.
    #[must_use]
    pub fn course(&self) -> Vec<OrderedEffect> {
        let mut course = Course::default();
        match self.class {
            Class::Warn => {}
            Class::Hold => self.hold(&mut course),
            Class::Stop => self.stop(&mut course),
            Class::Trip => self.trip(&mut course),
        }
        course.effects
    }

    /// The effects of one column, in their order.
    #[must_use]
    pub fn effects_on(&self, column: Column) -> Vec<OrderedEffect> {
        let mut effects = self.course();
        effects.retain(|effect| effect.act.columns().contains(&column));
        effects
    }

    fn trip(&self, course: &mut Course) {
        use Actor::{Interlocks, Sequence};
        use When::{After, AtOnce, OnceClear};
        let effects = self.effects;
        let flashback = self.reset == ResetRule::Inspected;
        let no_air = effects.air == AirEffect::Off;
        let oxygen = (effects.oxygen.is_imposed(), Act::OxygenShut);
        let fuel = (effects.fuel.is_imposed(), Act::FuelShut);
        let feed = [
            (effects.powder.is_imposed(), Act::PowderOff),
            (effects.air == AirEffect::UntilClear, Act::AirHeld),
            (no_air, Act::AirOff),
        ];
        if flashback {
            course.place(Interlocks, AtOnce, &[oxygen]);
            course.place(Interlocks, AtOnce, &[fuel]);
            course.place(Interlocks, AtOnce, &feed);
        } else {
            course.place(Interlocks, AtOnce, &feed);
            course.place(Interlocks, AtOnce, &[fuel, oxygen]);
        }
        course.place(
            Interlocks,
            AtOnce,
            &[
                (effects.supply.is_imposed(), Act::SupplyShut),
                (effects.watchdog.is_imposed(), Act::WatchdogOff),
                (effects.cooling.is_imposed(), Act::NoCooling),
            ],
        );
        course.place(
            Interlocks,
            AtOnce,
            &[
                (effects.carriage == CarriageEffect::Retreat, Act::Retreat),
                (effects.carriage == CarriageEffect::Stop, Act::CarriageStops),
                (effects.carriage == CarriageEffect::Cut, Act::TorqueOff),
            ],
        );
        course.place(
            Interlocks,
            AtOnce,
            &[
                (effects.spindle == SpindleEffect::Turn, Act::SpindleTurns),
                (effects.spindle == SpindleEffect::Stop, Act::SpindleStops),
            ],
        );
        if effects.carriage == CarriageEffect::Stop {
            course.place(Interlocks, After(durations::QUICK_STOP), &[(true, Act::TorqueOff)]);
        }
        if !no_air {
            course.place(Sequence, OnceClear, &[(true, Act::Purge)]);
        }
    }

    fn hold(&self, course: &mut Course) {
        use Actor::{Interlocks, Sequence};
        let effects = self.effects;
        course.place(
            Interlocks,
            When::AtOnce,
            &[
                (effects.powder.is_imposed(), Act::PowderOff),
                (effects.cooling.is_imposed(), Act::NoCooling),
            ],
        );
        if effects.carriage == CarriageEffect::Stop {
            course.with(Interlocks, When::WhileItLasts, Act::CarriageStops);
        }
        course.place(Sequence, When::AtOnce, &[(true, Act::HoseEmpties)]);
        course.place(Sequence, When::OnceEmpty, &[(true, Act::TorchClear)]);
        course.place(Sequence, When::ClearWithin(HELD_LIT), &[(true, Act::GasShut)]);
        course.place(Sequence, When::OnceShut, &[(true, Act::Purge)]);
    }

    fn stop(&self, course: &mut Course) {
        use Actor::{Interlocks, Sequence};
        let powder = (self.effects.powder.is_imposed(), Act::PowderOff);
        course.place(Interlocks, When::AtOnce, &[powder]);
        course.place(Sequence, When::AtOnce, &[(true, Act::HoseEmpties)]);
        course.place(Sequence, When::OnceEmpty, &[(true, Act::TorchClear)]);
        course.place(Sequence, When::OnceClear, &[(true, Act::GasShut)]);
        course.place(Sequence, When::OnceShut, &[(true, Act::Purge)]);
        course.place(Sequence, When::OnceShut, &[(true, Act::TurnsUntilCool)]);
    }

    /// What is done at once, in words.
    #[must_use]
    pub fn done_at_once(&self) -> String {
        let mut words = String::new();
        for effect in self.course().iter().filter(|effect| effect.when == When::AtOnce) {
            if !words.is_empty() {
                words.push_str(", ");
            }
            words.push_str(effect.act.words());
        }
        words
    }
}
