//! Interlocks: causes judged from images and outputs, latched, and what they take away.

mod limits;
mod verdict;

pub use limits::Limits;
pub use verdict::{
    Acknowledged, CarriageEffect, Class, Effects, Occurrence, Presence, SpindleEffect, Verdict,
    Veto,
};
