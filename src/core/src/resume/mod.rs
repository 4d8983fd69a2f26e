//! Going on with a job that was cut off: by power loss, a killed controller, an abort, an orderly
//! stop.
//!
//! Pure, like all of the core: [`read`] takes the entries of a run and tells where it stood; [`go_on`]
//! plans the rest from what lies on the part; [`offer`] tells what a person may choose and what must be
//! done before anything moves, [`lacking`] what of that nobody has told yet. Nothing here starts anything: the rest is a plan like any other, and
//! its start an act at the machine.
//!
//! Why powder begins again at the *best estimate* of where it ceased: both edges fall off with the
//! plume and complement each other, so that a place that is right leaves nothing to be seen, and one
//! that is off by `e` leaves a lump or a lack of `e / (sigma sqrt(2 pi))` of one pass. That is as bad
//! either way, so the least is to be expected from the middle of what is possible. The torch sets out
//! two standard deviations of the plume before the *earliest* place, without powder, so that it has its
//! feed and its powder's lead before any place that matters.

mod checked;
mod course;
mod even;
mod interruption;
mod journal;
mod offer;
mod reader;
mod rest;
mod stood;

pub use checked::{Checked, Lacking, lacking, unevenness};
pub use interruption::{Fused, Interruption, JOURNAL_EVERY, PassInHand, Stretch, read};
pub use offer::{Before, Choice, DOWNTIME, Offer, Task, Waited, before, offer};
pub use rest::{Refusal, go_on};
pub use stood::Stood;

#[cfg(test)]
mod tests;
