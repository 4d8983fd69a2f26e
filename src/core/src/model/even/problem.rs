//! What is to be coated evenly, and what the feed must keep.

use super::turns::Turns;
use crate::model::shape::Shape;
use crate::model::spray::Plume;

/// An even coat wanted.
#[derive(Debug, Clone, PartialEq)]
pub struct Problem {
    /// The part.
    pub shape: Shape,
    /// The torch over it.
    pub plume: Plume,
    /// Powder, kg/s.
    pub rate: f64,
    /// Where thickness is judged, m: low and high end.
    pub zone: (f64, f64),
    /// How far beyond the zone's low and high end the powder stays on, m; not negative.
    pub overrun: (f64, f64),
    /// Where the error is looked at, m; see [`stations`](super::stations).
    pub stations: Vec<f64>,
    /// Thickness wanted as sprayed, m.
    pub target: f64,
    /// Slowest and fastest feed allowed, m/s.
    pub feed: (f64, f64),
    /// What the carriage may be asked for while the feed changes, m/s2; `None` where it is known not
    /// to bind.
    pub acceleration: Option<f64>,
    /// Turns made with the powder on; `None` where it is off outside the overruns.
    pub turns: Option<Turns>,
}

/// Why there is nothing to solve.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Unsolvable {
    /// This figure is not a positive number.
    NotPositive(&'static str),
    /// The zone's or the feed's upper end lies below the lower one, or an overrun is negative.
    Reversed(&'static str),
    /// There is no station.
    NoStation,
    /// The torch gives nothing at this place, m: radius 0, or a face that looks away.
    Unreached(f64),
}

impl core::fmt::Display for Unsolvable {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        match self {
            Self::NotPositive(what) => write!(f, "{what}: expected a positive number"),
            Self::Reversed(what) => write!(f, "{what}: expected low before high"),
            Self::NoStation => write!(f, "no place at which thickness is judged"),
            Self::Unreached(at) => write!(f, "the torch gives nothing at z {:.1} mm", at * 1e3),
        }
    }
}

impl core::error::Error for Unsolvable {}

impl Problem {
    /// Where the powder is on, m.
    #[must_use]
    pub fn window(&self) -> (f64, f64) {
        (self.zone.0 - self.overrun.0, self.zone.1 + self.overrun.1)
    }

    pub(super) fn check(&self) -> Result<(), Unsolvable> {
        let positive = [
            ("sigma_axial", self.plume.sigma_axial),
            ("sigma_lateral", self.plume.sigma_lateral),
            ("density", self.plume.density),
            ("rate", self.rate),
            ("target", self.target),
            ("slowest feed", self.feed.0),
            ("fastest feed", self.feed.1),
            ("acceleration", self.acceleration.unwrap_or(1.0)),
            ("acceleration of a turn", self.turns.map_or(1.0, |turns| turns.acceleration)),
        ];
        for (name, value) in positive {
            if !(value.is_finite() && value > 0.0) {
                return Err(Unsolvable::NotPositive(name));
            }
        }
        let ordered = [
            ("zone", self.zone.1 - self.zone.0 > 0.0),
            ("feed", self.feed.1 >= self.feed.0),
            ("overrun", self.overrun.0 >= 0.0 && self.overrun.1 >= 0.0),
            ("dwell", self.turns.is_none_or(|turns| turns.dwell >= 0.0)),
        ];
        for (name, holds) in ordered {
            if !holds {
                return Err(Unsolvable::Reversed(name));
            }
        }
        if self.stations.is_empty() { Err(Unsolvable::NoStation) } else { Ok(()) }
    }
}
