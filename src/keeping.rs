//! Keeps one job in the records: its header at the start, its entries as they come, its totals
//! at the end.

use std::collections::BTreeMap;
use std::path::Path;
use std::sync::{Mutex, PoisonError};
use std::time::Duration;

use evenpass_core::learn::RunBasis;
use evenpass_core::ledger::Entry;
use evenpass_core::moment::Moment;
use evenpass_core::plan::Plan;
use evenpass_core::quantity::{Mass, Quantity as _};
use jiff::Timestamp;
use serde_json::{Map, Value, json};

use crate::attendant::End;
use crate::batch::gas::GasFlow;
use crate::batch::used::Gathering;
use crate::comparison::{self, ZoneComparison};
use crate::files::Job;
use crate::particulars::Particulars;
use crate::record::changes::Changes;
use crate::record::{
    BatchId, Beginning, Deviation, Ending, FUEL_OF, Leaving, PartToMake, Recorder, RunEnd,
    RunHeader, RunId, RunKind, Source, Store, records_file,
};
use crate::resuming::{GoesOn, of_its_part};

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
    /// The part of a batch that it makes, if it makes one.
    pub part: Option<&'a OfBatch>,
    /// What a person said of the part that is made.
    pub particulars: Particulars,
    /// When it begins where time is virtual: it then goes as fast as its entries say. `None` for the
    /// wall clock.
    pub virtually_at: Option<Timestamp>,
}

/// The part of a batch that a record is of, and what is known of it.
#[derive(Debug, Clone, PartialEq)]
pub struct OfBatch {
    /// The batch.
    pub batch: BatchId,
    /// Which part, from 1.
    pub number: u32,
    /// Its serial.
    pub serial: String,
    /// How many runs there were for it when it was looked at.
    pub tried: usize,
    /// What stands in the record of it and of who makes it, by name.
    pub particulars: BTreeMap<String, String>,
    /// What is done otherwise than the order wants it, with who and why.
    pub deviations: Vec<Deviation>,
}

impl OfBatch {
    fn to_make(&self) -> PartToMake {
        let Self { batch, number, serial, tried, .. } = self;
        let (batch, serial) = (batch.clone(), serial.clone());
        PartToMake { batch, number: *number, serial, tried: *tried }
    }
}

impl<'a> Begin<'a> {
    /// The record of a controller that has only just begun.
    #[must_use]
    pub const fn fresh(kind: RunKind, seed: Option<u64>, records: Option<&'a Path>) -> Self {
        let (part, goes_on, virtually_at) = (None, None, None);
        let particulars = Particulars::none();
        Self { kind, seed, records, first_entry: 1, goes_on, part, particulars, virtually_at }
    }
}

/// A record being written.
#[derive(Debug)]
pub struct Keeping {
    recorder: Recorder,
    /// Powder planned for each zone.
    powder: Vec<(String, Mass)>,
    flow: GasFlow,
    followed: Mutex<Followed>,
    /// What is known of the part by its order and by the run that this one goes on with.
    known: BTreeMap<String, String>,
    /// What a person said of it.
    said: Particulars,
    deviations: Vec<Deviation>,
    virtually_at: Option<Timestamp>,
}

/// What is worked out of the entries on their way.
#[derive(Debug, Default)]
struct Followed {
    changes: Changes,
    used: Gathering,
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
        let mut known = match &begin.goes_on {
            Some(goes_on) => {
                of_its_part(&store, &goes_on.run).map_err(|problem| problem.whole())?
            }
            None => BTreeMap::new(),
        };
        known.extend(begin.part.iter().flat_map(|part| part.particulars.clone()));
        known.extend(begin.goes_on.iter().flat_map(GoesOn::particulars));
        let said = begin.particulars.clone();
        let header = RunHeader {
            started_at: begin.virtually_at.unwrap_or_else(Timestamp::now),
            kind: begin.kind,
            title: job.recipe.title.clone(),
            recipe: source(&job.recipe_source),
            rig: source(&job.rig_source),
            program: json(serde_json::to_value(&plan.program)),
            forecast: json(serde_json::to_value(&plan.forecast)),
            basis,
            software: format!("evenpass {}", env!("CARGO_PKG_VERSION")),
            seed: begin.seed,
            particulars: said.beside(known.clone()),
            first_entry: begin.first_entry,
        };
        let part = begin.part.map(OfBatch::to_make);
        let recorder = Recorder::begin_part(store, &header, part.as_ref())
            .map_err(|problem| problem.whole())?;
        let zones = &plan.forecast.zones;
        let powder = zones.iter().map(|zone| (zone.zone.clone(), zone.powder)).collect();
        Ok(Self {
            recorder,
            powder,
            flow: GasFlow::of(plan, catalogue),
            followed: Mutex::default(),
            known,
            said,
            deviations: begin.part.map(|part| part.deviations.clone()).unwrap_or_default(),
            virtually_at: begin.virtually_at,
        })
    }

    /// Its name.
    #[must_use]
    pub fn id(&self) -> RunId {
        self.recorder.id().clone()
    }

    /// A person says anew what is to be known of the part, before its job begins.
    pub fn say(&mut self, said: &Particulars) {
        self.said = said.clone();
    }

    /// The job begins now, with that entry; where a person started it, by their name. A record that
    /// was opened before begins with it.
    pub fn started(&self, by: Option<String>, first_entry: u64) {
        let mut particulars = self.said.beside(self.known.clone());
        particulars.extend(by.map(|person| ("started by".to_owned(), person)));
        let started_at = Timestamp::now();
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
        let mut followed = self.followed.lock().unwrap_or_else(PoisonError::into_inner);
        followed.changes.take(entry);
        followed.used.take(entry);
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
        let Followed { changes, used } =
            self.followed.into_inner().unwrap_or_else(PoisonError::into_inner);
        let planned: Mass = self.powder.iter().map(|(_, powder)| *powder).sum();
        put("powder_planned", json!(planned.to_string()));
        let as_changed = powder_as_changed(&self.powder, &changes);
        if (as_changed - planned).abs() > Mass::ZERO {
            put("powder_as_changed", json!(as_changed.to_string()));
        }
        if let Some(grams) = told.powder_fed_g {
            put("powder", json!(Mass::from_g(grams).to_string()));
        }
        let gases = used.gas(&self.flow);
        put("flame_lit", json!(used.flame_lit().to_string()));
        put("fuel", json!(format!("{:.1}", gases.fuel())));
        for (gas, volume) in &gases.fuels {
            put(&format!("{FUEL_OF}{gas}"), json!(format!("{volume:.1}")));
        }
        put("oxygen", json!(format!("{:.1}", gases.oxygen)));
        if let Some(left) = used.hopper_left() {
            put("hopper_left", json!(left.to_string()));
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
        let lasted = used.last().map_or(Duration::ZERO, |last| last - Moment::START);
        let virtually = self.virtually_at.and_then(|began| began.checked_add(lasted).ok());
        let deviations = self.deviations.iter().chain(changes.made()).cloned().collect();
        let end = RunEnd {
            ending,
            ended_at: virtually.unwrap_or_else(Timestamp::now),
            first_cause: told.first_cause.clone(),
            totals: Value::Object(totals),
            deviations,
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
