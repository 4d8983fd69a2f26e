//! The coat along a zone, as far as a record lets it be estimated.
//!
//! The planner's coat is taken pass by pass, and each pass counts for what it did: by the feed that
//! was measured over the zone against the planned one, and by where powder came and ceased against
//! where it was to. Powder is taken as it was set: what the hopper lost is told beside it, not used
//! here. No coat was measured for this.

use evenpass_core::coat::plume::edge_share;
use evenpass_core::quantity::{Length, Quantity as _, Time};

use crate::record::facts::EdgeKind;
use crate::record::figures::PassFigures;
use crate::record::planned::{PlannedCoat, PlannedPass, PlannedSpray, PlannedZone};

/// The coat at places along a zone.
pub(crate) type Along = Vec<(Length, Length)>;

/// The coat of a zone after all planned passes; empty where the record does not have it.
pub(crate) fn planned(zone: &PlannedZone) -> Along {
    let along = zone.coat.iter().flat_map(|coat| &coat.along);
    along.map(|point| (point.at, point.sprayed)).collect()
}

/// The coat that the passes of a zone as they went come to.
pub(crate) fn estimated(zone: &PlannedZone, passes: &[PassFigures]) -> Along {
    let Some(coat) = &zone.coat else { return Along::new() };
    let of_zone = passes.iter().filter(|pass| pass.row.zone.as_ref() == Some(&zone.step.zone));
    let went: Vec<Went> = of_zone.filter_map(|pass| Went::of(zone, coat, pass)).collect();
    // Passes are alike: each leaves its share of the whole.
    let planned: f64 = zone.step.passes.iter().map(|_| 1.0).sum();
    let along = coat.along.iter().map(|point| {
        let share: f64 = went.iter().map(|went| went.share_at(point.at)).sum();
        (point.at, point.sprayed * (share / planned))
    });
    along.collect()
}

/// The mean of a coat.
pub(crate) fn mean(along: &Along) -> Option<Length> {
    let count: f64 = along.iter().map(|_| 1.0).sum();
    let sum: Length = along.iter().map(|(_, coat)| *coat).sum();
    (count > 0.0).then(|| sum / count)
}

/// A pass as it went, beside its plan.
struct Went {
    plume: Length,
    /// How many times slower than planned.
    slower: f64,
    /// Where powder was to arrive, low end first.
    wanted: Vec<(Length, Length)>,
    /// Where it arrived.
    arrived: Vec<(Length, Length)>,
}

impl Went {
    fn of(zone: &PlannedZone, coat: &PlannedCoat, pass: &PassFigures) -> Option<Self> {
        let plan = zone.pass(pass.row.pass)?;
        let wanted_feed = plan.mean_feed(zone.step.edges);
        let slower = wanted_feed.zip(pass.feed).map_or(1.0, |(plan, done)| plan / done.mean);
        let arrived = arrived(&zone.step, plan, pass, slower);
        Some(Self {
            plume: coat.plume,
            slower,
            wanted: plan.powder.iter().map(|span| sorted(span.on, span.off)).collect(),
            arrived,
        })
    }

    /// What it left at a place, of what it was to leave there.
    fn share_at(&self, place: Length) -> f64 {
        /// Where less than this of a full coat was to come, nothing is compared.
        const LEAST: f64 = 1e-3;
        let reached = |spans: &[(Length, Length)]| -> f64 {
            let of = |edge: Length| edge_share(place - edge, self.plume).ratio();
            spans.iter().map(|(from, to)| of(*from) - of(*to)).sum()
        };
        let wanted = reached(&self.wanted);
        if wanted < LEAST { 0.0 } else { self.slower * reached(&self.arrived) / wanted }
    }
}

/// Where powder arrived: from each coming to the next ceasing, and where a pass was broken off
/// without one, to where the torch was last.
fn arrived(
    step: &PlannedSpray,
    plan: &PlannedPass,
    pass: &PassFigures,
    slower: f64,
) -> Vec<(Length, Length)> {
    let way = if plan.to > plan.from { 1.0 } else { -1.0 };
    // Powder needs its time through the hose, and the carriage goes on meanwhile.
    let after = |done: Length, lead: Time| {
        let feed = plan.feed_at(done).map_or(0.0, |feed| feed.base() / slower);
        done + Length::from_base(way * feed * lead.base())
    };
    let mut spans = Vec::new();
    let mut from = None;
    for edge in &pass.row.edges {
        match (edge.edge, edge.done, from) {
            (EdgeKind::On, Some(done), _) => from = Some(after(done, step.lead_on)),
            (EdgeKind::Off, Some(done), Some(began)) => {
                spans.push(sorted(began, after(done, step.lead_off)));
                from = None;
            }
            _ => {}
        }
    }
    if let (Some(began), Some(reached), None) = (from, pass.reached, pass.row.ended) {
        spans.push(sorted(began, reached));
    }
    spans
}

fn sorted(one: Length, other: Length) -> (Length, Length) {
    (one.min(other), one.max(other))
}

#[cfg(test)]
mod tests {
    use serde_json::{Value, json};

    use super::*;
    use crate::record::RunRecord;
    use crate::report::fixture::{PASSES, record};

    fn of(record: &RunRecord) -> (Along, Along) {
        let told = crate::report::Report::of_record(record.clone());
        let zone = &told.planned.zones[0];
        (planned(zone), estimated(zone, &told.passes))
    }

    fn at(along: &Along, mm: f64) -> f64 {
        let near = along.iter().min_by(|(one, _), (other, _)| {
            (one.mm() - mm).abs().total_cmp(&(other.mm() - mm).abs())
        });
        near.expect("a place").1.mm()
    }

    #[test]
    fn passes_that_went_as_planned_come_to_the_planned_coat() {
        let (planned, estimated) = of(&record());
        for (place, coat) in &planned {
            let done = at(&estimated, place.mm());
            assert!((done / coat.mm() - 1.0).abs() < 1e-3, "{place}: {coat} {done}");
        }
    }

    #[test]
    fn a_pass_that_was_slower_counts_for_more_and_a_missing_one_for_nothing() {
        let mut slow = record();
        for entry in &mut slow.entries {
            if entry.data.get("feed").is_some() {
                entry.data["feed"] = Value::from("8 mm/s");
            }
        }
        let (planned, estimated) = of(&slow);
        // 10 mm/s were planned.
        assert!((at(&estimated, 50.0) / at(&planned, 50.0) - 1.25).abs() < 1e-3);
        let mut missing = record();
        missing.passes.pop();
        let (planned, estimated) = of(&missing);
        let left = f64::from(PASSES - 1) / f64::from(PASSES);
        assert!((at(&estimated, 50.0) / at(&planned, 50.0) - left).abs() < 1e-3);
    }

    #[test]
    fn powder_that_ceased_in_the_middle_leaves_the_rest_of_its_pass_bare() {
        let mut cut = record();
        // At 10 mm/s with 0.5 s in the hose: nothing arrives from 50 mm on.
        cut.passes[0].edges[1] =
            serde_json::from_value(json!({"pass": 1, "edge": "off", "done": "45 mm"}))
                .expect("one");
        let (planned, estimated) = of(&cut);
        let missing = |mm| 1.0 - at(&estimated, mm) / at(&planned, mm);
        let whole = 1.0 / f64::from(PASSES);
        assert!(missing(20.0) < 1e-3, "{}", missing(20.0));
        assert!((missing(80.0) - whole).abs() < 1e-3, "{}", missing(80.0));
        assert!((missing(50.0) - whole / 2.0).abs() < 0.02, "{}", missing(50.0));
    }
}
