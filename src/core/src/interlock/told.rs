//! A cause told whole: what and where, since when, what was done, what to do.

use core::time::Duration;

use serde::Serialize;

use super::matrix::row;
use super::verdict::{Acknowledged, CarriageEffect, Occurrence, Presence, SpindleEffect, Verdict};

/// How a latched cause stands, by ISA-18.2 and IEC 62682.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum AlarmState {
    /// Active, and nobody has acknowledged it.
    Unacknowledged,
    /// Active and acknowledged.
    Acknowledged,
    /// Gone but latched, and nobody has acknowledged it.
    LatchedUnacknowledged,
    /// Gone but latched, and acknowledged.
    LatchedAcknowledged,
}

impl AlarmState {
    /// In words.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::Unacknowledged => "active, unacknowledged",
            Self::Acknowledged => "active, acknowledged",
            Self::LatchedUnacknowledged => "gone, latched, unacknowledged",
            Self::LatchedAcknowledged => "gone, latched, acknowledged",
        }
    }
}

/// One cause told whole.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Told {
    /// What, where, found and expected.
    pub what: String,
    /// How long the condition had held when it counted.
    pub held_for: Duration,
    /// What was done, in words.
    pub done: String,
    /// What to do now.
    pub to_do: &'static str,
    /// What a person may do meanwhile.
    pub meanwhile: &'static str,
}

impl Verdict {
    /// The listed cause of that row, whatever its class.
    #[must_use]
    pub fn listed(&self, key: &str) -> Option<&Occurrence> {
        self.first
            .iter()
            .chain(&self.consequent)
            .chain(&self.holds)
            .chain(&self.warnings)
            .find(|occurrence| occurrence.key == key)
    }

    /// How a cause of this verdict stands.
    #[must_use]
    pub const fn alarm_state(&self, occurrence: &Occurrence) -> AlarmState {
        match (occurrence.present, self.acknowledged) {
            (Presence::Active, Acknowledged::No) => AlarmState::Unacknowledged,
            (Presence::Active, Acknowledged::Yes) => AlarmState::Acknowledged,
            (Presence::Returned, Acknowledged::No) => AlarmState::LatchedUnacknowledged,
            (Presence::Returned, Acknowledged::Yes) => AlarmState::LatchedAcknowledged,
        }
    }

    /// A cause of this verdict told whole. What was done is what is in force: a retreat that was
    /// not trusted is told as the stop it became.
    #[must_use]
    pub fn told(&self, occurrence: &Occurrence) -> Told {
        let row = row(occurrence.key);
        Told {
            what: occurrence.message.clone(),
            held_for: occurrence.confirmed.since(occurrence.since),
            done: self.done(),
            to_do: occurrence.advice,
            meanwhile: row.map_or("", |row| row.meanwhile.words()),
        }
    }

    /// The effects in force, in a trip's order.
    fn done(&self) -> String {
        let effects = &self.effects;
        let vetoes = [
            (effects.powder_off, "powder off"),
            (effects.fuel_shut, "fuel shut"),
            (effects.oxygen_shut, "oxygen shut"),
            (effects.supply_shut, "supply shut outside the cell"),
            (effects.air_off, "carrier air held back"),
            (effects.no_cooling, "no cooling jet"),
            (effects.watchdog_off, "watchdog stopped"),
        ];
        let mut words: Vec<&str> =
            vetoes.iter().filter(|(veto, _)| veto.is_imposed()).map(|(_, words)| *words).collect();
        if effects.carriage == CarriageEffect::Retreat || self.withdrawn.is_on() {
            words.push("torch withdrawn");
        }
        words.extend(match effects.carriage {
            CarriageEffect::Free | CarriageEffect::Retreat => None,
            CarriageEffect::Stop => Some("carriage stopped"),
            CarriageEffect::Cut => Some("carriage without torque"),
        });
        words.extend(match effects.spindle {
            SpindleEffect::Free => None,
            SpindleEffect::Turn => Some("spindle kept turning"),
            SpindleEffect::Stop => Some("spindle stopped"),
        });
        if words.is_empty() { "nothing taken away".to_owned() } else { words.join(", ") }
    }
}
