//! The physical world of the bench: what moves, turns, burns, lands and gets hot.

pub(crate) mod bar;
pub(crate) mod carriage;
pub(crate) mod deposit;
pub(crate) mod flame;
pub(crate) mod gas;
pub(crate) mod powder;
pub(crate) mod profile;
pub(crate) mod spindle;
pub(crate) mod surface;

#[cfg(test)]
mod cases;
