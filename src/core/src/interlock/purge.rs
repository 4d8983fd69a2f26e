//! Whether purge air really flows: a coil that is on says nothing of a shut-off cock or a dead
//! compressor.

use super::matrix::row;
use crate::quantity::Pressure;
use crate::rig::Rig;

/// The row under whose set-point no torch may burn, and no air counts.
const ROW: &str = "carrier_low";

/// What counts as purge air on one rig.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PurgeAir {
    /// Least share of the carrier pressure that the torch is set to.
    share: f64,
    /// Least pressure in any case: what the rig takes for vented.
    nothing: Pressure,
}

impl PurgeAir {
    /// As the row `carrier_low` is in force on the rig: where it is tightened, so is this.
    #[must_use]
    pub fn of(rig: &Rig) -> Self {
        let tightened = rig.interlocks.iter().find(|figures| figures.key == ROW);
        let own = row(ROW).and_then(|row| row.set_point).map(|own| own.value);
        let percent = tightened
            .and_then(|figures| figures.set_point)
            .map(|given| given.value)
            .into_iter()
            .chain(own);
        // Without a figure nothing less than what is set counts.
        let share = percent.reduce(f64::max).unwrap_or(100.0) / 100.0;
        Self { share, nothing: rig.field.isolation.vented_below }
    }

    /// Judges the carrier's pressure as read: `None` for a reading that is failed or stale, which
    /// is no air. `set` is what the torch is set to; without it anything counts that is more than
    /// vented.
    #[must_use]
    pub fn is_seen(self, found: Option<Pressure>, set: Option<Pressure>) -> bool {
        let least = set.map_or(self.nothing, |set| (set * self.share).max(self.nothing));
        found.is_some_and(|found| found.bar() > 0.0 && found >= least)
    }
}

#[cfg(test)]
mod tests {
    use super::PurgeAir;
    use crate::interlock::tests::bench::rig;
    use crate::quantity::{Measure, Pressure};
    use crate::rig::InterlockFigures;

    fn seen(air: PurgeAir, found: Option<f64>, set: Option<f64>) -> bool {
        air.is_seen(found.map(Pressure::from_bar), set.map(Pressure::from_bar))
    }

    #[test]
    fn air_counts_from_where_the_row_for_low_carrier_pressure_is_silent() {
        let air = PurgeAir::of(&rig());
        assert!(seen(air, Some(1.96), Some(3.0)) && seen(air, Some(0.1), None));
        assert!(!seen(air, Some(1.94), Some(3.0)) && !seen(air, Some(0.0), None));
        assert!(!seen(air, None, Some(3.0)) && !seen(air, None, None), "unknown is no air");
    }

    #[test]
    fn a_rig_that_tightens_the_row_asks_for_as_much_air_to_purge_with() {
        let mut rig = rig();
        rig.interlocks.retain(|figures| figures.key != "carrier_low");
        rig.interlocks.push(InterlockFigures {
            key: "carrier_low".to_owned(),
            set_point: Some(Measure::new(80.0, "%")),
            delay: None,
            delay_off: None,
            tag: None,
        });
        let air = PurgeAir::of(&rig);
        assert!(!seen(air, Some(2.39), Some(3.0)), "enough for the row as the program has it");
        assert!(seen(air, Some(2.41), Some(3.0)));
    }
}
