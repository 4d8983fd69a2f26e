//! Keeps one job in the records: its header at the start, its entries as they come, its totals
//! at the end.

use std::collections::BTreeMap;
use std::path::Path;

use evenpass_core::learn::RunBasis;
use evenpass_core::ledger::Entry;
use evenpass_core::plan::Plan;
use evenpass_core::quantity::{Mass, Quantity as _};
use serde_json::{Map, Value, json};

use crate::attendant::End;
use crate::comparison::{self, ZoneComparison};
use crate::files::Job;
use crate::record::{
    Ending, Recorder, RunEnd, RunHeader, RunId, RunKind, Source, Store, records_file,
};

/// What a record begins with besides the job itself.
#[derive(Debug, Clone)]
pub struct Begin<'a> {
    /// Where the job runs.
    pub kind: RunKind,
    /// Seed of everything random.
    pub seed: Option<u64>,
    /// The records file; the user's own when `None`.
    pub records: Option<&'a Path>,
    /// What is known of the part and of who makes it, by name.
    pub particulars: BTreeMap<String, String>,
    /// Number of the ledger's first entry that belongs to it.
    pub first_entry: u64,
}

impl<'a> Begin<'a> {
    /// The record of a controller that has only just begun.
    #[must_use]
    pub const fn fresh(kind: RunKind, seed: Option<u64>, records: Option<&'a Path>) -> Self {
        Self { kind, seed, records, particulars: BTreeMap::new(), first_entry: 1 }
    }
}

/// A record being written.
#[derive(Debug)]
pub struct Keeping {
    recorder: Recorder,
    planned_powder: Mass,
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
        let header = RunHeader {
            started_at: jiff::Timestamp::now(),
            kind: begin.kind,
            title: job.recipe.title.clone(),
            recipe: source(&job.recipe_source),
            rig: source(&job.rig_source),
            program: json(serde_json::to_value(&plan.program)),
            forecast: json(serde_json::to_value(&plan.forecast)),
            basis: RunBasis::of(recipe, catalogue, &plan.program),
            software: format!("evenpass {}", env!("CARGO_PKG_VERSION")),
            seed: begin.seed,
            particulars: begin.particulars.clone(),
            first_entry: begin.first_entry,
        };
        let recorder = Recorder::begin(store, &header).map_err(|problem| problem.whole())?;
        Ok(Self { recorder, planned_powder: comparison::planned_powder(plan) })
    }

    /// Its name.
    #[must_use]
    pub fn id(&self) -> RunId {
        self.recorder.id().clone()
    }

    /// Takes an entry without ever waiting; what cannot be taken is counted lost.
    pub fn send(&self, entry: Entry) {
        self.recorder.send(entry);
    }

    /// Takes an entry, waiting for room: for a driver that has time.
    pub fn deliver(&self, entry: Entry) {
        self.recorder.deliver(entry);
    }

    /// What keeps the disk from taking more, if anything does.
    #[must_use]
    pub fn trouble(&self) -> Option<String> {
        self.recorder.trouble()
    }

    /// Ends the record and returns its name.
    ///
    /// # Errors
    /// The records cannot be written: what is wrong and what to do.
    pub fn finish(
        self,
        end: End,
        first_cause: Option<String>,
        zones: &[ZoneComparison],
        powder_fed_g: Option<f64>,
    ) -> Result<String, String> {
        let mut totals = Map::new();
        let mut put = |name: &str, value: Value| {
            totals.insert(name.to_owned(), value);
        };
        put("powder_planned", json!(self.planned_powder.to_string()));
        if let Some(grams) = powder_fed_g {
            put("powder", json!(Mass::from_g(grams).to_string()));
        }
        for zone in zones {
            put(
                &format!("coat of {}", zone.zone),
                json!(format!(
                    "planned {:.4}, deposited {:.4} ({:+.2} %)",
                    zone.planned,
                    zone.deposited,
                    zone.off_percent()
                )),
            );
        }
        let ending = match end {
            End::Complete => Ending::Complete,
            End::Stopped => Ending::Stopped,
            End::Tripped => Ending::Tripped,
            End::Held | End::NotStarted => Ending::Failed,
        };
        let closed = self
            .recorder
            .finish(RunEnd {
                ending,
                ended_at: jiff::Timestamp::now(),
                first_cause,
                totals: Value::Object(totals),
                deviations: Vec::new(),
            })
            .map_err(|problem| problem.whole())?;
        Ok(closed.id.to_string())
    }
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
