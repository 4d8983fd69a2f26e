//! Interlocks: causes judged from images and outputs, latched, and what they take away.
//!
//! [`matrix`] holds the rows; [`Interlocks`] judges them every scan and keeps the latched
//! [`Verdict`]; [`enforce`] takes away from a proposal what the verdict does not allow.

pub mod durations;
mod enforce;
mod feed;
mod figures;
mod in_force;
mod interlocks;
mod judge;
mod judge_carriage;
mod latch;
mod limits;
pub mod matrix;
mod memory;
mod message;
mod news;
mod permissive;
mod plant;
mod proof;
mod purge;
mod remaining;
mod scene;
mod sense;
mod slot;
mod told;
mod totals;
mod trip;
mod verdict;
pub mod what_if;

#[cfg(test)]
mod tests;

pub use enforce::enforce;
pub use figures::{Field, FigureProblem, check_figures};
pub use in_force::{InForce, Origin, in_force};
pub use interlocks::{Inspected, Interlocks, PressureWindow, PressureWindows, PurgeDone, Taken};
pub use limits::Limits;
pub use matrix::Raised;
pub use news::{Change, News};
pub use permissive::{Permissive, PermissiveState};
pub use proof::{ProofFinding, ProofWatch};
pub use purge::PurgeAir;
pub use remaining::{Abilities, Means, Remaining, is_hindered};
pub use told::{AlarmState, Told};
pub use totals::{LONGER, TRIP_TOTAL, Total, permitted_total};
pub use verdict::{
    Acknowledged, CarriageEffect, Class, Effects, Occurrence, Presence, SpindleEffect, Verdict,
    Veto,
};
