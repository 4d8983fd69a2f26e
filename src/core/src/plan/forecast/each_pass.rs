//! The coat along a zone after each of its passes, as it is driven.

use serde::Serialize;

use crate::coat::Coat;
use crate::plan::Plan;
use crate::plan::motion::LegMotion;
use crate::plan::powder::{TurnPowder, rest_before, turn_powder};
use crate::program::{Pass, Program, SprayStep, Step};
use crate::quantity::{Length, Range};

/// The coat along one zone, pass by pass.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[non_exhaustive]
pub struct PassByPass {
    /// The zone.
    pub zone: String,
    /// Places, rising, from where no powder lands on one side to where none does on the other.
    pub places: Vec<Length>,
    /// Thickness as sprayed, normal to the surface, at each of the places: before the first pass
    /// (what earlier zones have left there), then after each pass.
    pub thickness: Vec<Vec<Length>>,
}

impl PassByPass {
    /// Thickness at each place when the zone is done.
    #[must_use]
    pub fn last(&self) -> &[Length] {
        self.thickness.last().map_or(&[], Vec::as_slice)
    }
}

/// Places beyond the powder's own ends at which the coat is still told, in standard deviations of
/// the plume: less than 0.2 % of a pass lands farther out.
const BEYOND: f64 = 3.0;

/// The coat of every zone after each of its passes, in the order in which they are sprayed, at
/// `count` places (two at least). A place off the part has no coat.
#[must_use]
pub fn pass_by_pass(plan: &Plan, count: u32) -> Vec<PassByPass> {
    let mut coat = Coat::new(&plan.coat);
    let mut zones = Vec::new();
    for (index, step) in plan.program.steps.iter().enumerate() {
        let Step::Spray(step) = step else { continue };
        let plume = plan.coat.layers.iter().find(|layer| layer.step == index);
        let beyond = plume.map_or(Length::ZERO, |layer| layer.plume * BEYOND);
        let places = places(step, beyond, plan.program.part, count);
        coat.select(index);
        let told = |coat: &Coat| places.iter().map(|at| coat.thickness_at(*at)).collect();
        let mut thickness: Vec<Vec<Length>> = vec![told(&coat)];
        let mut previous = None;
        for pass in &step.passes {
            drive_pass(step, &plan.program, previous, pass, &mut coat);
            thickness.push(told(&coat));
            previous = Some(pass);
        }
        zones.push(PassByPass { zone: step.zone.clone(), places, thickness });
    }
    zones
}

/// Evenly spread over the powder's ends and a bit more, inside the part.
fn places(step: &SprayStep, beyond: Length, part: Range<Length>, count: u32) -> Vec<Length> {
    let ends = || {
        let windows = step.passes.iter().flat_map(|pass| &pass.powder);
        windows.flat_map(|window| [window.on, window.off])
    };
    let low = ends().fold(step.edges.low, Length::min) - beyond;
    let high = ends().fold(step.edges.high, Length::max) + beyond;
    let (low, high) = (low.max(part.low), high.min(part.high));
    let count = count.max(2);
    (0..count).map(|index| low + (high - low) * (f64::from(index) / f64::from(count - 1))).collect()
}

/// Drives one pass of a step over the coat, as planned; `previous` is the pass before it.
pub(super) fn drive_pass(
    step: &SprayStep,
    program: &Program,
    previous: Option<&Pass>,
    pass: &Pass,
    coat: &mut Coat,
) {
    let motion = LegMotion::new(pass, program.ramp);
    if previous.is_some_and(|before| turn_powder(before, pass) == TurnPowder::Through) {
        let rest = rest_before(pass, &motion, step.lead_on, step.dwell);
        coat.deposit_between(pass.from, pass.from, rest);
    }
    for window in &pass.powder {
        let way = window.off - window.on;
        // Fine enough that the feed is even within a piece: half a millimetre.
        let pieces = (way.abs().mm() * 2.0).ceil().max(1.0);
        let mut done = 0.0;
        while done < pieces {
            let from = window.on + way * (done / pieces);
            let to = window.on + way * ((done + 1.0) / pieces);
            coat.deposit_between(from, to, motion.time_at(to) - motion.time_at(from));
            done += 1.0;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::plan::{plan, support};

    fn reference() -> Plan {
        plan(&support::recipe(), &support::rig(), &support::catalogue()).expect("it can be planned")
    }

    fn at(zone: &PassByPass, layer: &[Length], mm: f64) -> f64 {
        let near = |place: &&(&Length, &Length)| (place.0.mm() - mm).abs() < 0.3;
        let pairs: Vec<(&Length, &Length)> = zone.places.iter().zip(layer).collect();
        pairs.iter().find(near).map_or(f64::NAN, |(_, thickness)| thickness.mm())
    }

    /// Computed from the mass balance, as in the tests of the coat: 0.07859 mm after one pass,
    /// 0.39050 after five, 0.69862 after nine.
    #[test]
    fn the_middle_grows_pass_by_pass_as_the_mass_balance_says_and_nothing_lands_far_out() {
        let plan = reference();
        let zones = pass_by_pass(&plan, 401);
        assert_eq!(zones.len(), 1);
        let zone = &zones[0];
        assert_eq!(zone.thickness.len(), 10);
        for (passes, thickness) in [(0, 0.0), (1, 0.078_59), (5, 0.390_50), (9, 0.698_62)] {
            let found = at(zone, &zone.thickness[passes], 160.0);
            assert!((found - thickness).abs() < 3e-4, "{passes}: {found}");
        }
        // The overrun of 15 mm and three standard deviations of 6 mm beyond the edges.
        assert!((zone.places[0].mm() - 67.0).abs() < 1e-9, "{}", zone.places[0]);
        let first = zone.last().first().map_or(f64::NAN, |thickness| thickness.mm());
        assert!((0.0..0.002).contains(&first), "{first}");
    }

    #[test]
    fn the_last_pass_leaves_what_the_forecast_tells_along_the_zone() {
        let plan = reference();
        let zones = pass_by_pass(&plan, 401);
        let mut compared = 0;
        for station in &plan.forecast.zones[0].along {
            let found = at(&zones[0], zones[0].last(), station.at.mm());
            if found.is_finite() {
                let told = station.sprayed.mm();
                assert!((found / told - 1.0).abs() < 2e-3, "{}: {found}, {told}", station.at);
                compared += 1;
            }
        }
        assert!(compared > 30, "{compared}");
    }
}
