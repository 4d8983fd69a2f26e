//! The coat along a zone, as far as a record lets it be estimated.
//!
//! The planner's coat is taken pass by pass, and each pass counts for what it did: by the feed that
//! was measured over the zone against the planned one, and by where powder came and ceased against
//! where it was to. Powder is taken as it was set: what the hopper lost is told beside it, not used
//! here. No coat was measured for this.
//!
//! The plan of a run that goes on with another one is of the whole coat, what lay there with it. Its
//! passes leave what that has more than what lay there, which is what the earlier run is estimated to
//! have left.

use evenpass_core::coat::plume::edge_share;
use evenpass_core::quantity::{Length, Quantity as _, Time};

use crate::record::facts::EdgeKind;
use crate::record::figures::PassFigures;
use crate::record::planned::{PlannedPass, PlannedSpray, PlannedZone};

/// The coat at places along a zone.
pub(crate) type Along = Vec<(Length, Length)>;

/// The coat of a zone after all planned passes; empty where the record does not have it.
pub(crate) fn planned(zone: &PlannedZone) -> Along {
    let along = zone.coat.iter().flat_map(|coat| &coat.along);
    along.map(|point| (point.at, point.sprayed)).collect()
}

/// The coat that the passes of a zone as they went come to, over what lay there before them.
pub(crate) fn estimated(zone: &PlannedZone, passes: &[PassFigures], before: &Along) -> Along {
    /// Where less than this of a full pass was to come, nothing is compared.
    const LEAST: f64 = 1e-3;
    let Some(coat) = &zone.coat else { return Along::new() };
    let of_zone = passes.iter().filter(|pass| pass.row.zone.as_ref() == Some(&zone.step.zone));
    let went: Vec<Went> = of_zone.filter_map(|pass| Went::of(zone, pass)).collect();
    let planned = |pass: &PlannedPass| -> Vec<(Length, Length)> {
        pass.powder.iter().map(|span| sorted(span.on, span.off)).collect()
    };
    let planned: Vec<_> = zone.step.passes.iter().map(planned).collect();
    let along = coat.along.iter().map(|point| {
        let reached = |spans: &Vec<(Length, Length)>| reached(spans, point.at, coat.plume);
        let wanted: f64 = planned.iter().map(reached).sum();
        let came: f64 = went.iter().map(|went| went.slower * reached(&went.arrived)).sum();
        let lay = at(before, point.at);
        let share = if wanted < LEAST { 0.0 } else { came / wanted };
        (point.at, lay + (point.sprayed - lay) * share)
    });
    along.collect()
}

/// How much of a full coat powder between these places leaves at a place.
fn reached(spans: &[(Length, Length)], place: Length, plume: Length) -> f64 {
    let of = |edge: Length| edge_share(place - edge, plume).ratio();
    spans.iter().map(|(from, to)| of(*from) - of(*to)).sum()
}

/// A coat at a place, linear between those it is known at; none where it is known nowhere.
fn at(along: &Along, place: Length) -> Length {
    let after = along.partition_point(|(at, _)| *at <= place);
    let before = after.checked_sub(1).and_then(|before| along.get(before));
    match (before, along.get(after)) {
        (Some((low, thin)), Some((high, thick))) => {
            *thin + (*thick - *thin) * ((place - *low) / (*high - *low))
        }
        (Some((_, only)), None) | (None, Some((_, only))) => *only,
        (None, None) => Length::ZERO,
    }
}

/// The mean of a coat.
pub(crate) fn mean(along: &Along) -> Option<Length> {
    let count: f64 = along.iter().map(|_| 1.0).sum();
    let sum: Length = along.iter().map(|(_, coat)| *coat).sum();
    (count > 0.0).then(|| sum / count)
}

/// A pass as it went, beside its plan.
struct Went {
    /// How many times slower than planned.
    slower: f64,
    /// Where powder arrived, low end first.
    arrived: Vec<(Length, Length)>,
}

impl Went {
    fn of(zone: &PlannedZone, pass: &PassFigures) -> Option<Self> {
        let plan = zone.pass(pass.row.pass)?;
        let wanted_feed = plan.mean_feed(zone.step.edges);
        let slower = wanted_feed.zip(pass.feed).map_or(1.0, |(plan, done)| plan / done.mean);
        let arrived = arrived(&zone.step, plan, pass, slower);
        Some(Self { slower, arrived })
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
        (planned(zone), told.coat("seat"))
    }

    fn at(along: &Along, mm: f64) -> f64 {
        super::at(along, Length::from_mm(mm)).mm()
    }

    /// A rest of one pass over the far half of the zone: there it leaves a third of the whole coat,
    /// over the two thirds that lay there; the near half had all of it.
    #[test]
    fn a_rest_leaves_what_its_plan_has_more_than_what_lay_there() {
        let mut rest = record();
        let spray = &mut rest.program["steps"][1]["spray"];
        let passes = spray["passes"].as_array_mut().expect("passes");
        passes.truncate(1);
        passes[0]["powder"] = json!([{"on": "50 mm", "off": "105 mm"}]);
        rest.passes.truncate(1);
        let whole = planned(&crate::report::Report::of_record(rest.clone()).planned.zones[0]);
        let lay: Along = whole
            .iter()
            .map(|(at, coat)| (*at, if at.mm() < 50.0 { *coat } else { *coat * (2.0 / 3.0) }))
            .collect();
        let of = |rest: RunRecord| {
            let mut report = crate::report::Report::of_record(rest);
            report.lay_before = [("seat".to_owned(), lay.clone())].into();
            report.coat("seat")
        };
        // Not a pass was made.
        let mut bare = rest.clone();
        bare.passes.clear();
        assert_eq!(of(bare), lay);
        // Its powder came at 50 mm: 0.5 s in the hose, at 10 mm/s.
        rest.passes[0].edges[0] =
            serde_json::from_value(json!({"pass": 1, "edge": "on", "done": "45 mm"})).expect("one");
        let done = of(rest);
        for place in [20.0, 40.0, 60.0, 85.0] {
            assert!((at(&done, place) / at(&whole, place) - 1.0).abs() < 1e-3, "{place}");
        }
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
