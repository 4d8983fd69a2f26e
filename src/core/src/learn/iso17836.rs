//! Deposition efficiency as ISO 17836 defines it, and powder caught and weighed.

use crate::quantity::{Fraction, Mass, MassFlow, Time};

/// `100 x gain of the test piece / material fed` (ISO 17836:2017). Of a part it counts what was
/// sprayed beside it as lost; `None` without powder fed.
#[must_use]
pub fn deposition_efficiency(gain: Mass, fed: Mass) -> Option<Fraction> {
    (fed > Mass::ZERO).then(|| Fraction::from_ratio(gain / fed))
}

/// The flow that fills a vessel by this mass in this time; `None` without time.
#[must_use]
pub fn rate_caught(caught: Mass, time: Time) -> Option<MassFlow> {
    (time > Time::ZERO).then(|| MassFlow::from_g_per_min(caught.g() / time.s() * 60.0))
}
