//! Keeps one job in the records: its header at the start, its entries as they come, its totals
//! at the end.

use std::collections::BTreeMap;
use std::path::Path;
use std::sync::{Mutex, PoisonError};

use evenpass_core::learn::RunBasis;
use evenpass_core::ledger::Entry;
use evenpass_core::plan::Plan;
use evenpass_core::quantity::{Mass, Quantity as _};
use serde_json::{Map, Value, json};

use crate::attendant::End;
use crate::comparison::{self, ZoneComparison};
use crate::files::Job;
use crate::record::changes::Changes;
use crate::record::{
    Beginning, Ending, Leaving, Recorder, RunEnd, RunHeader, RunId, RunKind, Source, Store,
    records_file,
};
use crate::resuming::GoesOn;

/// What a record begins with besides the job itself.
#[derive(Debug, Clone)]
pub struct Begin<'a> {
    /// Where the job runs.
    pub kind: RunKind,
    /// Seed of everything random.
    pub seed: Option<u64>,
    /// The records file; the user's own when `None`.
    pub records: Option<&'a Path>,
    /// Number of the ledger's first entry that belongs to it.
    pub first_entry: u64,
    /// The run that it goes on with, if it does.
    pub goes_on: Option<GoesOn>,
}

impl<'a> Begin<'a> {
    /// The record of a controller that has only just begun.
    #[must_use]
    pub const fn fresh(kind: RunKind, seed: Option<u64>, records: Option<&'a Path>) -> Self {
        Self { kind, seed, records, first_entry: 1, goes_on: None }
    }
}

/// A record being written.
#[derive(Debug)]
pub struct Keeping {
    recorder: Recorder,
    /// Powder planned for each zone.
    powder: Vec<(String, Mass)>,
    changes: Mutex<Changes>,
    /// What its job began with besides who started it.
    particulars: BTreeMap<String, String>,
}

impl Keeping {
    /// Begins a record; its header is durable on return.
    ///
    /// # Errors
    /// The records cannot be opened or written: what is wrong and what to do.
    pub fn begin(job: &Job, plan: &Plan, begin: &Begin<'_>) -> Result<Self, String> {
        let store = records_file(begin.records)
            .and_then(|file| Store::open(&file))
            .map_err(|problem| problem.whole())?;
        let json = |value: Result<Value, serde_json::Error>| value.unwrap_or(Value::Null);
        let source = |source: &crate::files::Source| Source {
            name: source.name.clone(),
            text: source.text.clone(),
        };
        let (recipe, catalogue) = job.as_written();
        // A coat of several runs teaches nothing of any one.
        let basis = RunBasis::of(recipe, catalogue, &plan.program);
        let basis = basis.filter(|_| begin.goes_on.is_none());
        let goes_on = begin.goes_on.iter().flat_map(GoesOn::particulars);
        let particulars: BTreeMap<String, String> = goes_on.collect();
        let header = RunHeader {
            started_at: jiff::Timestamp::now(),
            kind: begin.kind,
            title: job.recipe.title.clone(),
            recipe: source(&job.recipe_source),
            rig: source(&job.rig_source),
            program: json(serde_json::to_value(&plan.program)),
            forecast: json(serde_json::to_value(&plan.forecast)),
            basis,
            software: format!("evenpass {}", env!("CARGO_PKG_VERSION")),
            seed: begin.seed,
            particulars: particulars.clone(),
            first_entry: begin.first_entry,
        };
        let recorder = Recorder::begin(store, &header).map_err(|problem| problem.whole())?;
        let zones = &plan.forecast.zones;
        let powder = zones.iter().map(|zone| (zone.zone.clone(), zone.powder)).collect();
        Ok(Self { recorder, powder, changes: Mutex::default(), particulars })
    }

    /// Its name.
    #[must_use]
    pub fn id(&self) -> RunId {
        self.recorder.id().clone()
    }

    /// The job begins now, with that entry; where a person started it, by their name. A record that
    /// was opened before begins with it.
    pub fn started(&self, by: Option<String>, first_entry: u64) {
        let by = by.map(|person| ("started by".to_owned(), person));
        let particulars = self.particulars.clone().into_iter().chain(by).collect();
        let started_at = jiff::Timestamp::now();
        self.recorder.started(Beginning { started_at, particulars, first_entry });
    }

    /// Counts entries lost that never came.
    pub fn lose(&self, entries: u64) {
        self.recorder.lose(entries);
    }

    /// Takes an entry without ever waiting; what cannot be taken is counted lost.
    pub fn send(&self, entry: Entry) {
        self.follow(&entry);
        self.recorder.send(entry);
    }

    /// Takes an entry, waiting for room: for a driver that has time.
    pub fn deliver(&self, entry: Entry) {
        self.follow(&entry);
        self.recorder.deliver(entry);
    }

    fn follow(&self, entry: &Entry) {
        // The lock is held for a moment; whoever broke down with it left whole changes.
        self.changes.lock().unwrap_or_else(PoisonError::into_inner).take(entry);
    }

    /// What keeps the disk from taking more, if anything does.
    #[must_use]
    pub fn trouble(&self) -> Option<String> {
        self.recorder.trouble()
    }

    /// The highest entry number on the disk; zero before the first.
    #[must_use]
    pub fn committed(&self) -> u64 {
        self.recorder.committed()
    }

    /// Waits until everything so far was offered to the disk, and returns
    /// [`committed`](Self::committed): for a driver that has time.
    pub fn flush(&self) -> u64 {
        self.recorder.flush()
    }

    /// Ends the record and returns its name. What it misses is said in the log.
    ///
    /// # Errors
    /// The records cannot be written: what is wrong and what to do.
    pub fn finish(self, told: &Ended<'_>) -> Result<String, String> {
        let (recorder, end) = self.with_its_end(told);
        let closed = recorder.finish(end).map_err(|problem| problem.whole())?;
        if let Some(missing) = closed.missing() {
            tracing::warn!("{missing}");
        }
        Ok(closed.id.to_string())
    }

    /// Ends the record without waiting for the disk; its end is tried again while the disk refuses
    /// it.
    #[must_use]
    pub fn leave(self, told: &Ended<'_>) -> Leaving {
        let (recorder, end) = self.with_its_end(told);
        recorder.leave(end)
    }

    fn with_its_end(self, told: &Ended<'_>) -> (Recorder, RunEnd) {
        let mut totals = Map::new();
        let mut put = |name: &str, value: Value| {
            totals.insert(name.to_owned(), value);
        };
        let changes = self.changes.into_inner().unwrap_or_else(PoisonError::into_inner);
        let planned: Mass = self.powder.iter().map(|(_, powder)| *powder).sum();
        put("powder_planned", json!(planned.to_string()));
        let as_changed = powder_as_changed(&self.powder, &changes);
        if (as_changed - planned).abs() > Mass::ZERO {
            put("powder_as_changed", json!(as_changed.to_string()));
        }
        if let Some(grams) = told.powder_fed_g {
            put("powder", json!(Mass::from_g(grams).to_string()));
        }
        for (zone, words) in coats(told.zones, &changes) {
            put(&format!("coat of {zone}"), json!(words));
        }
        let ending = match told.end {
            End::Complete => Ending::Complete,
            End::Stopped => Ending::Stopped,
            End::Tripped => Ending::Tripped,
            End::Held | End::NotStarted => Ending::Failed,
        };
        let end = RunEnd {
            ending,
            ended_at: jiff::Timestamp::now(),
            first_cause: told.first_cause.clone(),
            totals: Value::Object(totals),
            deviations: changes.made().to_vec(),
        };
        (self.recorder, end)
    }
}

/// What is known of a job at its end.
#[derive(Debug, Clone)]
pub struct Ended<'a> {
    /// How it ended.
    pub end: End,
    /// What it ended of, unless it came to its own end.
    pub first_cause: Option<String>,
    /// What lies on the part, where that is known.
    pub zones: &'a [ZoneComparison],
    /// Powder that left the hopper, g.
    pub powder_fed_g: Option<f64>,
}

/// What is told of each zone's coat: as planned, as people changed it where they did, and as it lies
/// on the part where that is known.
fn coats(zones: &[ZoneComparison], changes: &Changes) -> Vec<(String, String)> {
    let mut told: Vec<(String, String)> = comparison::as_changed(zones.to_vec(), changes)
        .into_iter()
        .map(|zone| {
            let changed = zone
                .as_changed
                .map_or_else(String::new, |changed| format!("as changed {changed:.4}, "));
            let off = zone.off_percent();
            let words = format!(
                "planned {:.4}, {changed}deposited {:.4} ({off:+.2} %)",
                zone.planned, zone.deposited
            );
            (zone.zone, words)
        })
        .collect();
    for zone in changes.zones().iter().filter(|zone| zone.share().is_some()) {
        if told.iter().all(|(known, _)| *known != zone.zone) {
            let words = format!("planned {:.4}, as changed {:.4}", zone.planned, zone.coat);
            told.push((zone.zone.clone(), words));
        }
    }
    told
}

/// Powder for all passes as people changed them.
fn powder_as_changed(planned: &[(String, Mass)], changes: &Changes) -> Mass {
    let of = |(zone, planned): &(String, Mass)| {
        let changed = changes.zones().iter().find(|one| one.zone == *zone && one.share().is_some());
        changed.and_then(|zone| zone.powder).unwrap_or(*planned)
    };
    planned.iter().map(of).sum()
}

/// Powder that the hopper lost, by the samples, g.
#[must_use]
pub fn powder_used(entries: &[Entry]) -> Option<f64> {
    let mut weights = entries.iter().filter_map(|entry| {
        entry.data.get("hopper").and_then(|text| Mass::parse(text.as_str()?).ok())
    });
    let first = weights.next()?;
    let last = weights.next_back()?;
    Some((first - last).max(Mass::ZERO).g())
}
