//! What is measured of a part while it is made and when it is finished, and what that says.
//!
//! - [`cold`] makes of a hot diameter what it is when the part is cold.
//! - [`CoatCheck`] holds a coat that is measured between two passes against the plan: how much is
//!   missing, and how many passes make it good.
//! - [`convert`] and [`thinnest_coat`] are about hardness: from one scale to another, and what coat
//!   a reading needs under it.
//! - [`judge`] holds readings against the limits of a recipe.
//! - [`Chart`] shows whether a figure of a torch with a powder stays where it was; [`Tracked`] are
//!   those that are followed, one point from each measurement.

mod chart;
mod coat_check;
mod cold;
mod conversion;
mod limits;
mod places;
mod points;
mod thinnest;

pub use chart::{Chart, FEWEST, Finding, RUN, Side};
pub use coat_check::{CoatCheck, CoatFound, Decides, PassesMade};
pub use cold::{Cold, Hot, cold};
pub use conversion::{CONVERSION_SOURCE, Converted, convert};
pub use limits::{DyeResult, Found, Judged, Limit, Standing, judge};
pub use places::{Place, Together, together};
pub use points::{Tracked, footprint_of_stripe, point_of_delay, point_of_part};
pub use thinnest::{TooThin, suits, thinnest_coat};
