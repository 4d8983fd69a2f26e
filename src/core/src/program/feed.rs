//! The feed along a pass.

use serde::{Deserialize, Serialize};

use crate::quantity::{Length, Speed};

/// A point of a feed profile: the feed holds linearly between points and constant outside.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct FeedPoint {
    /// Where.
    pub at: Length,
    /// How fast.
    pub feed: Speed,
}

/// The feed at a place, of points by rising position, whichever way the pass goes: linear between
/// points, constant outside; zero without points.
#[must_use]
pub fn feed_at(profile: &[FeedPoint], at: Length) -> Speed {
    let mut before: Option<&FeedPoint> = None;
    for point in profile {
        if point.at >= at {
            return match before {
                None => point.feed,
                Some(start) if point.at > start.at => {
                    let share = (at - start.at) / (point.at - start.at);
                    start.feed + (point.feed - start.feed) * share
                }
                Some(_) => point.feed,
            };
        }
        before = Some(point);
    }
    before.map_or(Speed::ZERO, |point| point.feed)
}
