//! Whether purge air really flows: a coil that is on says nothing of a shut-off cock or a dead
//! compressor.

use crate::quantity::Pressure;

/// Share of the torch's carrier pressure from which on air counts as flowing: as the row
/// `carrier_low`, under which no torch may burn.
const LEAST_SHARE: f64 = 0.65;

/// Judges the carrier's pressure as read: `None` for a reading that is failed or stale, which is
/// no air. `set` is what the torch is set to; without it anything that is not `nothing` counts.
#[must_use]
pub fn is_purge_air(found: Option<Pressure>, set: Option<Pressure>, nothing: Pressure) -> bool {
    let least = set.map_or(nothing, |set| (set * LEAST_SHARE).max(nothing));
    found.is_some_and(|found| found.bar() > 0.0 && found >= least)
}

#[cfg(test)]
mod tests {
    use super::{LEAST_SHARE, is_purge_air};
    use crate::interlock::matrix::row;
    use crate::quantity::Pressure;

    #[test]
    fn air_counts_from_where_the_row_for_low_carrier_pressure_is_silent() {
        let floor = row("carrier_low").and_then(|row| row.set_point).expect("a floor").value;
        assert_eq!(floor, LEAST_SHARE * 100.0);
        let bar = Pressure::from_bar;
        let flows = |found: Option<f64>, set: Option<f64>| {
            is_purge_air(found.map(bar), set.map(bar), bar(0.05))
        };
        assert!(flows(Some(2.0), Some(3.0)) && flows(Some(0.1), None));
        assert!(!flows(Some(1.9), Some(3.0)) && !flows(Some(0.0), None));
        assert!(!flows(None, Some(3.0)) && !flows(None, None), "unknown is no air");
    }
}
