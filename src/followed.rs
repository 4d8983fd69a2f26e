//! What is followed of a torch with a powder: one figure from each measurement, in the order they
//! were made, with its control chart.

use evenpass_core::catalogue::Catalogue;
use evenpass_core::inspection::{
    Chart, Finding, Side, Tracked, footprint_of_stripe, point_of_delay, point_of_part,
};
use evenpass_core::learn::{Figures, LARGEST_CHANGE, Lesson, Measured};
use evenpass_core::quantity::fixed;
use jiff::civil::Date;
use serde::Serialize;

use crate::learning::{Whose, counting, grounds};
use crate::record::{MeasurementRecord, RecordError, Store};

/// One point.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Point {
    /// The measurement, by its number in the records.
    pub measurement: i64,
    /// The day it was measured.
    pub on: Date,
    /// The run whose part it is of, if it is of one.
    pub run: Option<String>,
    /// The figure, in the unit of what is followed.
    pub value: f64,
}

/// A figure that is followed.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Followed {
    /// Which.
    pub tracked: Tracked,
    /// Its unit.
    pub unit: &'static str,
    /// What plans stand on now; `None` where nothing says it.
    pub planned: Option<f64>,
    /// The points, in the order they were measured; at least one.
    pub points: Vec<Point>,
    /// The chart; `None` of a single point.
    pub chart: Option<Chart>,
}

/// Everything that is followed of a pair and was measured, beside what `known` and the catalogue have
/// plans stand on. What teaches a plan nothing, because its
/// run says otherwise or its readings contradict each other, is no point either.
///
/// # Errors
/// The records cannot be read.
pub fn followed(
    store: &Store,
    whose: Whose<'_>,
    known: &Lesson,
    catalogue: &Catalogue,
) -> Result<Vec<Followed>, RecordError> {
    let pair = &known.pair;
    let figures: &Figures = &known.knowledge.catalogue;
    let mut kept = counting(store, whose, pair)?;
    // Told later is not measured later.
    kept.sort_by_key(|one| (one.measurement.measured_on, one.number));
    let mut points: Vec<(Tracked, Point)> = Vec::new();
    for one in &kept {
        let Ok(basis) = grounds(store, &one.measurement)? else { continue };
        let put = match (&one.measurement.measured, &basis) {
            (Measured::Part(part), Some(basis)) => {
                let found = point_of_part(part, basis, pair, figures);
                vec![(Tracked::Efficiency, found.map(|share| share.percent()))]
            }
            (Measured::Stripe(stripe), _) => {
                vec![(Tracked::Footprint, footprint_of_stripe(stripe).map(|wide| wide.mm()))]
            }
            (Measured::PowderDelay(delay), _) => [Tracked::DelayOn, Tracked::DelayOff]
                .map(|which| (which, point_of_delay(delay, which).map(|time| time.s())))
                .to_vec(),
            (Measured::Part(_) | Measured::Feeder(_), _) => Vec::new(),
        };
        let found = put.into_iter().filter_map(|(which, value)| Some((which, point(one, value?))));
        points.extend(found);
    }
    let each = Tracked::ALL.into_iter().map(|tracked| {
        let of = points.iter().filter(|(which, _)| *which == tracked);
        let points: Vec<Point> = of.map(|(_, point)| point.clone()).collect();
        let values: Vec<f64> = points.iter().map(|point| point.value).collect();
        let (chart, planned) = (Chart::of(&values), planned(tracked, known, catalogue));
        Followed { tracked, unit: tracked.unit(), planned, points, chart }
    });
    Ok(each.filter(|followed| !followed.points.is_empty()).collect())
}

/// What plans stand on, in the unit of what is followed.
fn planned(tracked: Tracked, known: &Lesson, catalogue: &Catalogue) -> Option<f64> {
    let torch = catalogue.torch(&known.pair.torch);
    match tracked {
        Tracked::Efficiency => Some(known.in_force.efficiency.percent()),
        Tracked::Footprint => Some(known.in_force.footprint.mm()),
        Tracked::DelayOn => torch.map(|torch| torch.powder_delay_on.s()),
        Tracked::DelayOff => torch.map(|torch| torch.powder_delay_off.s()),
    }
}

fn point(kept: &MeasurementRecord, value: f64) -> Point {
    Point {
        measurement: kept.number,
        on: kept.measurement.measured_on,
        run: kept.measurement.run.as_ref().map(ToString::to_string),
        value,
    }
}

impl Followed {
    /// That the latest point is so far from what plans stand on that the engineer decides; `None`
    /// where it is not.
    #[must_use]
    pub fn far_off(&self) -> Option<String> {
        let (latest, planned) = (self.points.last()?, self.planned?);
        let change = latest.value / planned - 1.0;
        (change.abs() > LARGEST_CHANGE).then(|| {
            format!(
                "{}: measurement {}, the latest, is {:+.1} % off the {} {} that plans stand on, and \
                 more than {:.0} % waits for the engineer",
                self.tracked.title(),
                latest.measurement,
                change * 100.0,
                fixed(planned, 2),
                self.unit,
                LARGEST_CHANGE * 100.0
            )
        })
    }

    /// What is no chance, and what waits for the engineer, one sentence each.
    #[must_use]
    pub fn sentences(&self) -> Vec<String> {
        self.no_chance().into_iter().chain(self.far_off()).collect()
    }

    fn no_chance(&self) -> Vec<String> {
        let Some(chart) = &self.chart else { return Vec::new() };
        let title = self.tracked.title();
        let number = |place: usize| {
            let point = self.points.get(place);
            point.map_or_else(String::new, |point| format!("measurement {}", point.measurement))
        };
        let side = |side: Side| match side {
            Side::Above => "above",
            Side::Below => "below",
        };
        let told = chart.findings.iter().map(|finding| match *finding {
            Finding::Outside { point, side: Side::Above } => {
                format!("{title}: {} lies above the limits", number(point))
            }
            Finding::Outside { point, side: Side::Below } => {
                format!("{title}: {} lies below the limits", number(point))
            }
            Finding::Jump { point } => {
                format!("{title}: {} is further from the one before than chance", number(point))
            }
            Finding::Run { from, to, side: which } => format!(
                "{title}: {} in a row lie {} the mean, {} to {}",
                to - from + 1,
                side(which),
                number(from),
                number(to)
            ),
        });
        told.collect()
    }
}
