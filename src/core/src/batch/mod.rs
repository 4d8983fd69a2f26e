//! Many parts alike, one after another: which part is next, whether it is measured, what has to be
//! done before it, and how far it has drifted from the first good one.
//!
//! Nothing here starts a part: every start is a person's act.

mod drift;
mod order;
mod stock;
mod timers;

pub use drift::{Course, Drift, Figure, LIMIT, drifts};
pub use order::{
    Attempt, Fate, Order, PowderLot, Queued, Scrapped, Tally, WhyMeasured, tally, why_measured,
};
pub use stock::{Expected, Reach, Stock, expected, reach};
pub use timers::{BlastLimits, Blasted, Blasting, Tip, blasting, tip};
