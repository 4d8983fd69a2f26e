//! The feed that coats a part evenly: along the part, the passes over the feed as one unknown.
//!
//! Thickness is linear in the weight `W = passes / feed` (s/m), so that the least worst error
//! within the limits is one convex problem. `W` is linear between places half a standard deviation
//! of the plume apart, over the zone and its overruns; a little roughness is paid for, so that the
//! feed is smooth where nothing is to be gained (in `interior`).

pub(crate) mod banded;
mod feed;
mod influence;
mod interior;
mod kernel;
mod limits;
mod obstacle;
mod passes;
mod problem;
mod solve;
mod stations;
mod turns;

pub use obstacle::{Limit, Obstacle};
pub use passes::{Choice, choose};
pub use problem::{Problem, Unsolvable};
pub use solve::{Even, Field};
pub use stations::stations;
pub use turns::{End, Turns};
