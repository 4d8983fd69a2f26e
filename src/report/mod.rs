//! One run as a report that a customer keeps, and two runs held against each other: one HTML file
//! each, with its style and its charts inside, made to be printed.
//!
//! - [`Report`] is a run with everything the records hold about it; [`Report::page`] is its page.
//! - [`comparison`] says what two runs have otherwise.
//! - `chart` draws values over time or along the part; the panel draws by it too.
//! - `coat` estimates the coat that the passes as they went come to.

pub(crate) mod chart;
mod charts;
mod coat;
pub mod comparison;
mod earlier;
#[cfg(test)]
pub(crate) mod fixture;
pub(crate) mod frame;
mod head;
mod heat;
mod limits;
mod passes;
pub(crate) mod people;
mod reader;
pub(crate) mod shift;
mod trouble;

use std::collections::BTreeMap;

use evenpass_core::learn::{DiameterReading, PartMeasured, RunBasis};
use evenpass_core::ledger::{Entry, EntryKind};
use evenpass_core::moment::Moment;
use evenpass_core::quantity::{Length, Quantity as _, Temperature};
use jiff::tz::TimeZone;
use maud::html;
use serde::Deserialize;

use self::coat::Along;
pub use self::frame::Paper;
use self::reader::Reader;
use crate::people::Units;
use crate::record::figures::{PassFigures, pass_figures};
use crate::record::planned::Planned;
use crate::record::{
    ActRecord, BatchId, BatchPart, MarkRecord, MeasurementRecord, Of, RESUMES, RecordError, RunId,
    RunRecord, Seal, Store,
};
use crate::resuming::MOST_IN_A_ROW;

/// A run with everything the records hold about it.
#[derive(Debug, Clone)]
#[non_exhaustive]
pub struct Report {
    /// The run.
    pub record: RunRecord,
    /// What its plan wanted.
    pub planned: Planned,
    /// Its passes as they were measured.
    pub passes: Vec<PassFigures>,
    /// What people measured of its part, the withdrawn ones too.
    pub measured: Vec<MeasurementRecord>,
    /// What a hot diameter is brought to cold by; `None` where its record does not keep it.
    pub basis: Option<RunBasis>,
    /// What people asked for in it, by their names.
    pub acts: Vec<ActRecord>,
    /// What people added to its part, in the runs before it too; what was taken back as well.
    pub marks: Vec<MarkRecord>,
    /// What people added to its rig and all that was made there.
    pub rig_marks: Vec<MarkRecord>,
    /// The coat along each zone that lay there before it, as the runs that it goes on with are
    /// estimated to have left it.
    lay_before: BTreeMap<String, Along>,
    /// The batch whose part it makes, and which one.
    pub part_of: Option<(BatchId, BatchPart)>,
    /// What vouches for it.
    pub seal: Option<Seal>,
    /// The runs whose part it went on with, in the order they were begun.
    pub before: Vec<Self>,
    /// The run that went on with its part.
    pub taken_up_by: Option<RunId>,
}

/// For whom and for what a page is made.
#[derive(Debug, Clone)]
pub struct Look {
    /// The units it is read in.
    pub units: Units,
    /// Whose clock the wall's times are told by.
    pub zone: TimeZone,
    /// The paper it is made for; whatever the printer holds when `None`.
    pub paper: Option<Paper>,
}

impl Report {
    /// Reads it.
    ///
    /// # Errors
    /// [`RecordError`] when there is no such run or the file can't be read.
    pub fn of(store: &Store, id: &RunId) -> Result<Self, RecordError> {
        let before = store.runs_of_part(id)?.into_iter().filter(|run| run != id);
        let before = before.map(|run| Self::of_one(store, &run)).collect::<Result<_, _>>()?;
        Ok(Self { before, ..Self::of_one(store, id)? })
    }

    /// Reads one run alone.
    fn of_one(store: &Store, id: &RunId) -> Result<Self, RecordError> {
        let mut report = Self::of_record(store.run(id)?);
        report.measured = store.measurements()?;
        report.measured.retain(|kept| kept.measurement.run.as_ref() == Some(id));
        report.basis = store.basis(id)?;
        report.acts = store.acts_about(id)?;
        report.marks = store.marks(Of::Part(id))?;
        report.rig_marks = store.marks(Of::Rig(&report.rig_title(), report.record.summary.kind))?;
        report.lay_before = lay_before(store, &report.record, MOST_IN_A_ROW)?;
        report.part_of = store.batch_of(id)?;
        report.seal = store.seal(id)?;
        report.taken_up_by = store.taken_up_by(id)?;
        Ok(report)
    }

    /// Of a run alone, without what people measured and asked for.
    fn of_record(record: RunRecord) -> Self {
        let planned = Planned::of(&record);
        let edges = |name: &str| Some(planned.zone(name)?.step.edges);
        let passes = pass_figures(&record.passes, &record.entries, edges);
        Self {
            record,
            planned,
            passes,
            measured: Vec::new(),
            basis: None,
            acts: Vec::new(),
            marks: Vec::new(),
            rig_marks: Vec::new(),
            lay_before: BTreeMap::new(),
            part_of: None,
            seal: None,
            before: Vec::new(),
            taken_up_by: None,
        }
    }

    /// A diameter as it is when the part is cold; `None` where the record does not keep what the
    /// part is made of.
    fn cold(&self, part: &PartMeasured, reading: &DiameterReading) -> Option<Length> {
        match (part.temperature, &self.basis) {
            (None, _) => Some(reading.found),
            (Some(_), Some(basis)) => Some(part.cold(reading, basis)),
            (Some(_), None) => None,
        }
    }

    /// The coat along a zone that its passes come to, as they were made, over what lay there: places
    /// and radial thicknesses as sprayed. Nothing where the record does not have its plan.
    #[must_use]
    pub fn coat(&self, zone: &str) -> Vec<(Length, Length)> {
        let Some(planned) = self.planned.zone(zone) else { return Vec::new() };
        let nothing = Along::new();
        let before = self.lay_before.get(zone).unwrap_or(&nothing);
        coat::estimated(planned, &self.passes, before)
    }

    /// What the rig calls itself; the name of its file where its text says nothing.
    fn rig_title(&self) -> String {
        #[derive(Deserialize)]
        struct Head {
            title: String,
        }
        let head: Result<Head, _> = toml::from_str(&self.record.rig.text);
        head.map_or_else(|_| self.record.rig.name.clone(), |head| head.title)
    }

    /// From when until when the run was first in one of these states without leaving them.
    fn stay(&self, states: &[&str]) -> Option<(Moment, Moment)> {
        let entries = &self.record.entries;
        let to = |entry: &Entry| {
            let state = entry.data.get("to").and_then(|to| to.as_str());
            state.map(|state| states.contains(&state))
        };
        let changes = || entries.iter().filter(|entry| entry.kind == EntryKind::State);
        let from = changes().find(|entry| to(entry) == Some(true))?.at;
        let left = changes().find(|entry| entry.at > from && to(entry) == Some(false));
        Some((from, left.or(entries.last())?.at))
    }

    /// What the part was last measured at until then.
    fn part_at(&self, at: Moment) -> Option<Temperature> {
        let mut until = self.record.entries.iter().rev();
        until.find_map(|entry| {
            let text = entry
                .data
                .get("part")
                .filter(|_| entry.kind == EntryKind::Sample && entry.at <= at);
            Temperature::parse(text?.as_str()?).ok()
        })
    }

    /// The report as one HTML page that needs nothing else.
    #[must_use]
    pub fn page(&self, look: &Look) -> String {
        let reader = Reader::of(self, look);
        let run = &self.record.summary;
        let has_entries = self.record.pruned.is_none();
        let body = html! {
            (head::top(self, &reader))
            (head::part(self, &reader))
            (head::set_up(self, &reader))
            // Of a run whose entries are elsewhere nothing may be told as if it had not been.
            @if has_entries {
            (passes::section(self, &reader))
            (charts::section(self, &reader))
            (heat::fusing(self, &reader))
            (heat::cooling(self, &reader))
            }
            (people::measured(self, &reader))
            (limits::section(self, &reader))
            @if has_entries { (trouble::section(self, &reader)) }
            (people::deviations(self, &reader))
            (people::added(self, &reader))
            @if has_entries { (people::acts(self, &reader)) }
            (head::whole(self, &reader))
            (earlier::section(self, look))
            (head::notes(self))
        };
        let running = format!("{} \u{b7} run {}", run.title, run.id);
        frame::page(
            &format!("Record of run {}: {}", run.id, run.title),
            &running,
            look.paper,
            &body,
        )
    }
}

/// The coat that lay on the part before a run, by zone: what the run that it goes on with left, over
/// what lay there before that. A zone that no later run had passes for stays as it was.
fn lay_before(
    store: &Store,
    record: &RunRecord,
    most: usize,
) -> Result<BTreeMap<String, Along>, RecordError> {
    let earlier = record.particulars.get(RESUMES).filter(|_| most > 0);
    let Some(earlier) = earlier.and_then(|id| store.find(id).ok()) else {
        return Ok(BTreeMap::new());
    };
    let mut report = Report::of_record(store.run(&earlier)?);
    report.lay_before = lay_before(store, &report.record, most - 1)?;
    let zones = report.planned.zones.iter().map(|zone| zone.step.zone.clone());
    let left: Vec<_> = zones.map(|zone| (report.coat(&zone), zone)).collect();
    let mut lay = report.lay_before;
    lay.extend(left.into_iter().map(|(coat, zone)| (zone, coat)));
    Ok(lay)
}

#[cfg(test)]
mod tests {
    use super::fixture::{basis, measured, record};
    use super::*;
    use crate::record::Pruned;

    fn page(record: RunRecord) -> String {
        let look = Look { units: Units::default(), zone: TimeZone::UTC, paper: None };
        Report::of_record(record).page(&look)
    }

    #[test]
    fn a_run_on_the_machine_is_told_by_the_wall_clock_and_with_what_its_interlocks_are_not() {
        let page = page(record());
        // Pass 1 began 10 s after 09:00.
        assert!(page.contains("09:00:10") && page.contains("wall clock, UTC"), "{page}");
        assert!(page.contains("no safety-rated circuit"));
        assert!(page.contains("There were none.") && page.contains("Fusing of seat"));
        assert!(page.contains("10.0"), "the hopper lost 10 g in a pass");
    }

    /// The trade's reference part: 51.552 mm at 250 degC are 51.397 mm cold, 0.699 mm more on the
    /// radius; hot it would seem 0.776 mm.
    #[test]
    fn a_hot_diameter_is_brought_to_cold_before_it_is_held_against_the_bare_part() {
        let mut report = Report::of_record(record());
        report.measured = vec![measured("as_sprayed", "51.552 mm", Some("250 degC"))];
        let look = Look { units: Units::default(), zone: TimeZone::UTC, paper: None };
        let without = report.page(&look);
        assert!(!without.contains(">0.776<") && !without.contains(">0.699<"), "{without}");
        report.basis = Some(basis());
        let page = report.page(&look);
        for figure in ["51.552", "51.397", "0.699"] {
            assert!(page.contains(&format!(">{figure}<")), "no {figure} in {page}");
        }
        assert!(!page.contains(">0.776<"), "{page}");
    }

    #[test]
    fn of_a_band_called_wet_again_after_the_word_was_taken_back_the_last_word_is_told() {
        let mut run = record();
        let called = run.entries.iter().position(|entry| entry.data.get("band").is_some());
        let called = called.expect("the band was called wet");
        let mut again = run.entries[called].clone();
        again.at = Moment::from_micros(52_000_000);
        let after = run.entries.iter().position(|entry| entry.at > again.at).expect("later ones");
        run.entries.insert(after, again);
        let page = page(run);
        assert!(page.contains("<td>09:00:52</td>"), "{page}");
        assert!(!page.contains("<td>09:00:50</td>"), "{page}");
    }

    #[test]
    fn of_entries_that_are_elsewhere_nothing_is_told_as_if_it_had_not_been() {
        let mut run = record();
        run.entries.clear();
        run.passes.clear();
        run.pruned = Some(Pruned {
            at: run.summary.started_at,
            person: "B. Engineer".to_owned(),
            entries: 154,
            file: "2026-11-25-001.json".to_owned(),
            digest: "ab12".to_owned(),
        });
        let page = page(run);
        assert!(page.contains("154 were put into the file 2026-11-25-001.json by B. Engineer"));
        for untrue in ["There were none.", "not called wet", "not reached in this run", "No pass"] {
            assert!(!page.contains(untrue), "{untrue}");
        }
    }
}
