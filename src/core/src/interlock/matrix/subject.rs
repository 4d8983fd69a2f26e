//! What a row is about: the hundreds of its number.

use serde::Serialize;

use super::Row;

/// What rows are about.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Subject {
    /// People, guard and buttons.
    People,
    /// Flame and valves.
    Flame,
    /// Pressures.
    Pressures,
    /// The cell's air.
    Air,
    /// The carriage.
    Carriage,
    /// The spindle.
    Spindle,
    /// Heat of the part.
    Heat,
    /// Powder.
    Powder,
    /// Controller and field I/O.
    Controller,
}

impl Subject {
    /// All of them, in the matrix's order.
    pub const ALL: [Self; 9] = [
        Self::People,
        Self::Flame,
        Self::Pressures,
        Self::Air,
        Self::Carriage,
        Self::Spindle,
        Self::Heat,
        Self::Powder,
        Self::Controller,
    ];

    /// In words.
    #[must_use]
    pub const fn title(self) -> &'static str {
        match self {
            Self::People => "People, guard and buttons",
            Self::Flame => "Flame and valves",
            Self::Pressures => "Pressures",
            Self::Air => "Air of the cell",
            Self::Carriage => "Carriage",
            Self::Spindle => "Spindle",
            Self::Heat => "Heat of the part",
            Self::Powder => "Powder",
            Self::Controller => "Controller and field I/O",
        }
    }
}

impl Row {
    /// What it is about.
    #[must_use]
    pub const fn subject(&self) -> Subject {
        match self.number / 100 {
            1 => Subject::People,
            2 => Subject::Flame,
            3 => Subject::Pressures,
            4 => Subject::Air,
            5 => Subject::Carriage,
            6 => Subject::Spindle,
            7 => Subject::Heat,
            8 => Subject::Powder,
            _ => Subject::Controller,
        }
    }
}
