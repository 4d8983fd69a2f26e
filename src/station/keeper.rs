//! Keeps the records of one job after another, on a thread that may wait for the disk.
//!
//! A record begins when a start is asked for, before the start is: its header is durable by then.
//! A start by the button at the machine cannot wait for that: the button is wired to the controller,
//! which starts in the scan that reads it, and no scan waits for a disk. Its record begins right
//! after, with what was told shortly before. Where it cannot begin, the run goes on without it,
//! [`Kept::trouble`] says so on every page and among the acts, and it is tried anew with every state
//! that the job enters. It ends when the job has.

use std::collections::{BTreeMap, VecDeque};
use std::path::PathBuf;
use std::sync::Arc;
use std::sync::mpsc::{Receiver, Sender, channel};
use std::thread::{Builder, JoinHandle};

use evenpass_core::ledger::{Entry, EntryKind};
use evenpass_core::plan::Plan;
use evenpass_core::scan::Snapshot;
use evenpass_core::sequence::{Leaf, Phase};
use tokio::sync::{oneshot, watch};
use tracing::warn;

use super::loading::Loaded;
use crate::attendant::{End, first_cause};
use crate::comparison::ZoneComparison;
use crate::keeping::{Begin, Keeping, powder_used};
use crate::record::{RunId, RunKind};

/// Entries from before a start that its record begins with; arbitrary, some minutes of a machine
/// at rest.
const BEFORE: usize = 500;

/// What there is to see of the records.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Kept {
    /// The record that is being written, or was last.
    pub run: Option<RunId>,
    /// What keeps the disk from taking more, if anything does.
    pub trouble: Option<String>,
}

/// What the keeper is told.
pub(super) enum Told {
    /// The next entry of the ledger.
    Entry(Entry),
    /// Another job is loaded.
    Loaded(Arc<Loaded>),
    /// A start is about to be asked for, by somebody.
    Opens(Option<Arc<str>>, oneshot::Sender<Result<(), String>>),
    /// Nothing more comes.
    Quit,
}

/// Says what lies on a part, zone by zone of its plan.
pub(super) type ZonesOf = Box<dyn Fn(&Plan) -> Vec<ZoneComparison> + Send>;

/// What the keeper needs to know of the machine.
pub(super) struct Machine {
    /// Where the jobs run.
    pub(super) kind: RunKind,
    /// Seed of everything random on a twin.
    pub(super) seed: Option<u64>,
    /// The records file; the user's own when `None`.
    pub(super) records: Option<PathBuf>,
    /// The newest picture of the controller.
    pub(super) snapshots: watch::Receiver<Arc<Snapshot>>,
    /// What lies on the twin's part; nothing of a machine's.
    pub(super) zones: ZonesOf,
}

/// The keeper's thread.
pub(super) struct Keeper {
    to: Sender<Told>,
    kept: watch::Receiver<Kept>,
    thread: JoinHandle<()>,
}

impl Keeper {
    /// Starts it on what was prepared by [`Self::channel`].
    pub(super) fn start(
        to: Sender<Told>,
        inbox: Receiver<Told>,
        machine: Machine,
    ) -> std::io::Result<Self> {
        let (show, kept) = watch::channel(Kept::default());
        let thread = Builder::new().name("keeper".to_owned()).spawn(move || {
            Inside { machine, show, loaded: None, before: VecDeque::new(), open: None }.run(&inbox);
        })?;
        Ok(Self { to, kept, thread })
    }

    /// Where it is told, and where it listens: the controller's thread needs the first before the
    /// keeper can be made.
    pub(super) fn channel() -> (Sender<Told>, Receiver<Told>) {
        channel()
    }

    /// What there is to see.
    pub(super) fn kept(&self) -> watch::Receiver<Kept> {
        self.kept.clone()
    }

    /// Tells it something; one that has ended keeps nothing any more, which is shown.
    pub(super) fn tell(&self, told: Told) {
        let _ = self.to.send(told);
    }

    /// Ends it, the record in hand with it.
    pub(super) fn quit(self) {
        let _ = self.to.send(Told::Quit);
        if self.thread.join().is_err() {
            warn!("the keeper of the records broke down");
        }
    }
}

/// A record being written.
struct Open {
    keeping: Keeping,
    loaded: Arc<Loaded>,
    begun: bool,
    /// States, and the first and the last sample: what its end is told from.
    told: Vec<Entry>,
    last_sample: Option<Entry>,
}

struct Inside {
    machine: Machine,
    show: watch::Sender<Kept>,
    loaded: Option<Arc<Loaded>>,
    before: VecDeque<Entry>,
    open: Option<Open>,
}

impl Inside {
    fn run(mut self, inbox: &Receiver<Told>) {
        while let Ok(told) = inbox.recv() {
            match told {
                Told::Entry(entry) => self.entry(entry),
                Told::Loaded(loaded) => {
                    self.finish(End::NotStarted);
                    self.loaded = Some(loaded);
                    self.before.clear();
                }
                Told::Opens(person, reply) => {
                    // Whoever asked may have gone; the record is open all the same.
                    let _ = reply.send(self.opens(person.as_deref()));
                }
                Told::Quit => break,
            }
        }
        let aborted = self.machine.snapshots.borrow().status.phase == Phase::Aborted;
        self.finish(if aborted { End::Tripped } else { End::Held });
    }

    /// Opens the record of the loaded job unless it is open.
    fn opens(&mut self, person: Option<&str>) -> Result<(), String> {
        if self.open.is_some() {
            return Ok(());
        }
        let Some(loaded) = self.loaded.clone() else { return Ok(()) };
        let mut particulars = BTreeMap::new();
        if let Some(person) = person {
            particulars.insert("started by".to_owned(), person.to_owned());
        }
        let begin = Begin {
            kind: self.machine.kind,
            seed: self.machine.seed,
            records: self.machine.records.as_deref(),
            particulars,
            first_entry: self.before.front().map_or(1, |entry| entry.number),
        };
        let keeping = match Keeping::begin(&loaded.job, &loaded.plan, &begin) {
            Ok(keeping) => keeping,
            Err(trouble) => {
                self.show_trouble(Some(trouble.clone()));
                return Err(trouble);
            }
        };
        self.show.send_replace(Kept { run: Some(keeping.id()), trouble: None });
        let mut open = Open { keeping, loaded, begun: false, told: Vec::new(), last_sample: None };
        for entry in self.before.drain(..) {
            open.take(entry);
        }
        self.open = Some(open);
        Ok(())
    }

    fn entry(&mut self, entry: Entry) {
        let leaf = entered(&entry);
        if leaf.is_some_and(|leaf| runs(leaf.phase())) && self.open.is_none() {
            // The start button at the machine could not wait; `opens` has shown what is wrong.
            let _ = self.opens(None);
        }
        match &mut self.open {
            Some(open) => {
                open.take(entry);
                let trouble = open.keeping.trouble();
                self.show_trouble(trouble);
            }
            None => {
                if self.before.len() == BEFORE {
                    self.before.pop_front();
                }
                self.before.push_back(entry);
            }
        }
        if let Some(leaf) = leaf {
            self.follow(leaf);
        }
    }

    /// A state was entered: the job begins, goes on or has ended.
    fn follow(&mut self, leaf: Leaf) {
        let Some(open) = &mut self.open else { return };
        match leaf.phase() {
            Phase::Complete => self.finish(End::Complete),
            Phase::Stopped => self.finish(End::Stopped),
            Phase::Idle | Phase::Manual if open.begun => self.finish(End::Stopped),
            phase => open.begun |= runs(phase),
        }
    }

    fn finish(&mut self, end: End) {
        let Some(open) = self.open.take() else { return };
        let zones = (self.machine.zones)(&open.loaded.plan);
        let snapshot = self.machine.snapshots.borrow().clone();
        let mut told = open.told;
        told.extend(open.last_sample);
        let cause = first_cause(end, &snapshot, &told);
        if let Err(trouble) = open.keeping.finish(end, cause, &zones, powder_used(&told)) {
            self.show_trouble(Some(trouble));
        }
    }

    fn show_trouble(&self, trouble: Option<String>) {
        self.show.send_if_modified(|kept| {
            let changed = kept.trouble != trouble;
            if changed {
                kept.trouble = trouble;
            }
            changed
        });
    }
}

impl Open {
    fn take(&mut self, entry: Entry) {
        match entry.kind {
            EntryKind::State => self.told.push(entry.clone()),
            EntryKind::Sample if self.last_sample.is_none() => {
                self.told.push(entry.clone());
                self.last_sample = Some(entry.clone());
            }
            EntryKind::Sample => self.last_sample = Some(entry.clone()),
            _ => {}
        }
        self.keeping.send(entry);
    }
}

/// The state that an entry tells the entering of.
fn entered(entry: &Entry) -> Option<Leaf> {
    if entry.kind != EntryKind::State {
        return None;
    }
    let name = entry.data.get("to")?.as_str()?;
    Leaf::ALL.iter().copied().find(|leaf| leaf.name() == name)
}

/// Whether a job is under way, be it held or tripped.
const fn runs(phase: Phase) -> bool {
    !matches!(phase, Phase::Idle | Phase::Manual | Phase::Complete | Phase::Stopped)
        && !matches!(phase, Phase::Aborting | Phase::Aborted)
}
