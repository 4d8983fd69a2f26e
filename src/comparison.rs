//! Planned against deposited, zone by zone, on the twin.

use evenpass_core::plan::Plan;
use evenpass_core::quantity::{Length, Mass};
use evenpass_hil::Bench;
use serde::Serialize;

use crate::record::changes::{ChangedZone, Changes};

/// One zone's coat as sprayed: what was planned and what lies on the twin's part.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ZoneComparison {
    /// The zone.
    pub zone: String,
    /// Mean radial build planned.
    pub planned: Length,
    /// The same with what people changed in its passes, by the same model; `None` where nobody did.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub as_changed: Option<Length>,
    /// Mean radial build deposited.
    pub deposited: Length,
    /// Thinnest place.
    pub thinnest: Length,
    /// Thickest place.
    pub thickest: Length,
}

impl ZoneComparison {
    /// How far the deposit is off what it was to be, in percent of that: off the plan, as people
    /// changed it where they did; 0 where nothing was planned, which no plan does.
    #[must_use]
    pub fn off_percent(&self) -> f64 {
        let wanted = self.as_changed.unwrap_or(self.planned);
        if wanted > Length::ZERO { (self.deposited / wanted - 1.0) * 100.0 } else { 0.0 }
    }
}

/// Every zone of a plan, compared at the stations of its forecast.
#[must_use]
pub fn zones(plan: &Plan, bench: &Bench) -> Vec<ZoneComparison> {
    plan.forecast
        .zones
        .iter()
        .map(|zone| {
            let count = zone.along.len().max(1);
            #[expect(clippy::cast_precision_loss, reason = "a zone has a few dozen stations")]
            let mean = |sum: Length| sum / count as f64;
            let places: Vec<f64> = zone.along.iter().map(|station| station.at.mm()).collect();
            let found: Vec<Length> =
                bench.build_list_mm(&places).into_iter().map(Length::from_mm).collect();
            ZoneComparison {
                zone: zone.zone.clone(),
                planned: mean(zone.along.iter().map(|station| station.sprayed).sum()),
                as_changed: None,
                deposited: mean(found.iter().copied().sum()),
                thinnest: found.iter().copied().reduce(Length::min).unwrap_or(Length::ZERO),
                thickest: found.iter().copied().reduce(Length::max).unwrap_or(Length::ZERO),
            }
        })
        .collect()
}

/// The same beside what people changed in the passes.
#[must_use]
pub fn as_changed(mut zones: Vec<ZoneComparison>, changes: &Changes) -> Vec<ZoneComparison> {
    for zone in &mut zones {
        let changed = changes.zones().iter().find(|changed| changed.zone == zone.zone);
        let share = changed.and_then(ChangedZone::share);
        zone.as_changed = share.map(|share| zone.planned * share);
    }
    zones
}

/// Powder planned for the whole job.
#[must_use]
pub fn planned_powder(plan: &Plan) -> Mass {
    plan.forecast.zones.iter().map(|zone| zone.powder).sum()
}
