//! The devices on the lines: they turn a scan's demand into requests, and replies into its image.
//!
//! Three things are kept apart everywhere: what is commanded (wanted by the last scan),
//! acknowledged (the device echoed it: it heard) and confirmed (the device's own state says so).
//! Whoever reads an image reads what was confirmed.

mod axis;
#[cfg(test)]
pub(crate) mod bench;
mod field;
mod lockout;
mod poll;
mod rack;
mod roster;
mod settings;
mod spindle;
mod survey;
#[cfg(test)]
pub(crate) mod tests;
mod words;

use core::time::Duration;

pub use field::{CoilBelief, PowderCounters, RawField, Switched, Urgency};
pub use rack::{Rack, RackProblem, Transmit};
pub use roster::DeviceId;
pub use settings::Commissioned;
pub use survey::{Finding, Read, Survey, SurveyItem};

/// How long a write that a device refused is left alone. Arbitrary: a refusal repeated every few
/// milliseconds would only take the polls' place.
const REFUSED_PAUSE: Duration = Duration::from_millis(100);
