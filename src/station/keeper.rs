//! Keeps the records of one job after another, on a thread that may wait for the disk.
//!
//! A record is opened when a start is asked for, before the start is: its header is durable by then.
//! A start that comes to nothing leaves it open for the next one: only with the job's first state it
//! begins, by the name of whoever started that, and takes entries from there on. A start by
//! the button at the machine cannot wait for it: the button is wired to the controller, which starts
//! in the scan that reads it, and no scan waits for a disk. Its record is opened right after. Where
//! it cannot be, the run goes on without it, [`Kept::trouble`] says so on every page and among the
//! acts, and it is tried anew with every state that the job enters. It ends when the job has; an end
//! that the disk refuses is tried again until it is written or the program ends.

mod open;

use std::collections::VecDeque;
use std::path::PathBuf;
use std::sync::Arc;
use std::sync::mpsc::RecvTimeoutError;
use std::thread::{Builder, JoinHandle};
use std::time::Duration;

use evenpass_core::ledger::Entry;
use evenpass_core::moment::Moment;
use evenpass_core::plan::Plan;
use evenpass_core::scan::Snapshot;
use evenpass_core::sequence::{Leaf, Phase};
use jiff::Timestamp;
use tokio::sync::{oneshot, watch};
use tracing::warn;

use self::open::{Open, is_left, is_start, moved, runs};
use super::inbox::{Inbox, ToKeeper};
use super::loading::Loaded;
use crate::attendant::End;
use crate::batch::served::{BatchNext, Chosen, Serving};
use crate::comparison::ZoneComparison;
use crate::keeping::{Begin, Keeping, OfBatch};
use crate::particulars::Particulars;
use crate::record::{Leaving, RunId, RunKind, Store, records_file};
use crate::resuming::part_of;

/// Entries of a job that wait for a record that cannot be opened; arbitrary, some ten seconds.
const BEFORE: usize = 500;
/// How often an end that the disk refuses is looked at.
const LOOK_EVERY: Duration = Duration::from_millis(500);

/// What there is to see of the records.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Kept {
    /// The record that is being written, or was last.
    pub run: Option<RunId>,
    /// What keeps the disk from taking more, if anything does.
    pub trouble: Option<String>,
    /// How many records have come to their end on the disk: whoever counts parts looks anew.
    pub ended: usize,
}

/// What the keeper is told.
pub(super) enum Told {
    /// The next entry of the ledger.
    Entry(Entry),
    /// Another job is loaded, made for that order.
    Loaded(Arc<Loaded>, Chosen),
    /// Somebody says what is to be known of the part that is made next.
    Said(Particulars),
    /// The order was chosen, or something was told of one.
    Order(Chosen),
    /// A start is about to be asked for.
    Opens(oneshot::Sender<Result<(), String>>),
    /// Nothing more comes.
    Quit,
}

/// Says what lies on a part, zone by zone of its plan.
pub(super) type ZonesOf = Box<dyn Fn(&Plan) -> Vec<ZoneComparison> + Send>;

/// Sees to the next part once a job was left.
pub(super) type NextPart = Box<dyn Fn() + Send>;

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
    /// Puts the next part into the twin's chuck; a machine waits for a person who does.
    pub(super) next_part: NextPart,
}

/// The keeper's thread.
pub(super) struct Keeper {
    to: ToKeeper,
    kept: watch::Receiver<Kept>,
    thread: JoinHandle<()>,
}

impl Keeper {
    /// Starts it before its inbox.
    pub(super) fn start(to: ToKeeper, inbox: Inbox, machine: Machine) -> std::io::Result<Self> {
        let (show, kept) = watch::channel(Kept::default());
        let thread = Builder::new().name("keeper".to_owned()).spawn(move || {
            Inside::of(machine, show).run(&inbox);
        })?;
        Ok(Self { to, kept, thread })
    }

    /// What there is to see.
    pub(super) fn kept(&self) -> watch::Receiver<Kept> {
        self.kept.clone()
    }

    /// Tells it something.
    pub(super) fn tell(&self, told: Told) {
        self.to.tell(told);
    }

    /// Ends it, the record in hand with it.
    pub(super) fn quit(self) {
        self.to.tell(Told::Quit);
        if self.thread.join().is_err() {
            warn!("the keeper of the records broke down");
        }
    }
}

/// A job that runs.
struct Runs {
    /// When it was started.
    since: Moment,
    /// The number of its first entry.
    first: u64,
    /// Who asked for that, where it is known.
    by: Option<String>,
}

struct Inside {
    machine: Machine,
    show: watch::Sender<Kept>,
    loaded: Option<Arc<Loaded>>,
    /// What was said of the part that is made next, or is in hand.
    said: Particulars,
    chosen: Chosen,
    job: Option<Runs>,
    /// What was told of the job while no record takes it.
    before: VecDeque<Entry>,
    open: Option<Open>,
    /// Records whose job has ended, and whose end is not on the disk.
    leaving: Vec<Leaving>,
    /// The state that was entered last.
    leaf: Option<Leaf>,
    /// The highest number that was told.
    last: u64,
}

impl Inside {
    const fn of(machine: Machine, show: watch::Sender<Kept>) -> Self {
        let chosen = Chosen::Latest;
        let before = VecDeque::new();
        let leaving = Vec::new();
        let said = Particulars::none();
        let (loaded, job, open, leaf) = (None, None, None, None);
        Self { machine, show, loaded, said, chosen, job, before, open, leaving, leaf, last: 0 }
    }

    fn run(mut self, inbox: &Inbox) {
        while let Some(told) = self.next(inbox) {
            match told {
                Told::Entry(entry) => self.entry(entry),
                Told::Loaded(loaded, chosen) => {
                    self.finish(End::NotStarted);
                    (self.loaded, self.chosen) = (Some(loaded), chosen);
                    self.said = Particulars::none();
                    self.job = None;
                    self.before.clear();
                }
                Told::Said(said) => self.say(said),
                Told::Order(chosen) => self.order(chosen),
                Told::Opens(reply) => {
                    // Whoever asked may have gone; the next start finds the record open.
                    let _ = reply.send(self.opens());
                }
                Told::Quit => break,
            }
        }
        // The last entries may have found no room.
        self.miss(inbox.highest() + 1);
        let aborted = self.machine.snapshots.borrow().status.phase == Phase::Aborted;
        self.finish(if aborted { End::Tripped } else { End::Held });
        self.give_up();
    }

    /// What was told next; ends that the disk refuses are looked at meanwhile.
    fn next(&mut self, inbox: &Inbox) -> Option<Told> {
        loop {
            self.look_at_ends();
            let within = (!self.leaving.is_empty()).then_some(LOOK_EVERY);
            match inbox.next(within) {
                Ok(told) => return Some(told),
                Err(RecvTimeoutError::Timeout) => {}
                Err(RecvTimeoutError::Disconnected) => return None,
            }
        }
    }

    /// Ends that were written are through; what keeps others from the disk is shown.
    fn look_at_ends(&mut self) {
        if self.leaving.is_empty() {
            return;
        }
        let (over, left): (Vec<_>, Vec<_>) = self.leaving.drain(..).partition(Leaving::is_over);
        self.leaving = left;
        if !over.is_empty() {
            self.show.send_modify(|kept| kept.ended += over.len());
        }
        let wrong = |over: Leaving| match over.give_up() {
            Ok(closed) => closed.missing(),
            Err(problem) => Some(problem.whole()),
        };
        let wrong = over.into_iter().filter_map(wrong).last();
        self.show_trouble(wrong.or_else(|| self.trouble()));
    }

    /// Nobody is left who could wait for the ends of records: one last try.
    fn give_up(&mut self) {
        for leaving in self.leaving.drain(..) {
            match leaving.give_up().map(|closed| closed.missing()) {
                Ok(None) => {}
                Ok(Some(missing)) => warn!("{missing}"),
                Err(problem) => warn!("the end of a record is lost: {}", problem.whole()),
            }
        }
    }

    /// What keeps the records from the disk now.
    fn trouble(&self) -> Option<String> {
        let open = self.open.as_ref().and_then(|open| open.keeping.trouble());
        open.or_else(|| self.leaving.iter().find_map(Leaving::trouble))
    }

    /// A record that is open and whose job has not begun takes it too.
    fn say(&mut self, said: Particulars) {
        self.said = std::mem::take(&mut self.said).and(said);
        if let Some(open) = self.open.as_mut().filter(|open| open.first.is_none()) {
            open.keeping.say(&self.said);
        }
    }

    /// Opens the record of the loaded job unless it is open.
    fn opens(&mut self) -> Result<(), String> {
        if self.open.is_some() {
            return Ok(());
        }
        let Some(loaded) = self.loaded.clone() else { return Ok(()) };
        let part = self.part_begun(&loaded);
        let begin = Begin {
            kind: self.machine.kind,
            seed: self.machine.seed,
            records: self.machine.records.as_deref(),
            first_entry: self.last + 1,
            goes_on: loaded.goes_on.clone(),
            part: part.as_ref(),
            particulars: self.said.clone(),
            virtually_at: None,
        };
        let keeping = match Keeping::begin(&loaded.job, &loaded.plan, &begin) {
            Ok(keeping) => keeping,
            Err(trouble) => {
                self.show_trouble(Some(trouble.clone()));
                return Err(trouble);
            }
        };
        self.show.send_modify(|kept| {
            (kept.run, kept.trouble) = (Some(keeping.id()), None);
        });
        self.open = Some(Open::of(keeping, loaded));
        Ok(())
    }

    fn entry(&mut self, entry: Entry) {
        self.miss(entry.number);
        if let Some((from, to)) = moved(&entry) {
            if self.leaf.is_some() && from != self.leaf {
                // The entry of that state found no room.
                self.enter(from, entry.at);
            }
            let at = entry.at;
            if runs(to.phase()) && self.job.is_none() {
                self.job = Some(Runs { since: at, first: self.last, by: None });
            }
            self.take(entry);
            self.enter(Some(to), at);
            if from.is_some_and(|from| is_left(from.phase(), to.phase())) {
                self.said = Particulars::none();
                (self.machine.next_part)();
            }
        } else {
            self.name(&entry);
            self.take(entry);
        }
    }

    /// A start is told right after the state that it led to: it says who began the job.
    fn name(&mut self, entry: &Entry) {
        let Some(job) = self.job.as_mut().filter(|job| job.since == entry.at) else { return };
        if is_start(entry) {
            let person = entry.data.get("person").and_then(|person| person.as_str());
            job.by = person.map(str::to_owned);
            if let Some((open, first)) = self.open.as_ref().and_then(|o| Some((o, o.first?))) {
                open.keeping.started(job.by.clone(), first);
            }
        }
    }

    /// Entries before this number that were not told are lost to the record.
    fn miss(&mut self, number: u64) {
        let lost = number.saturating_sub(self.last + 1);
        self.last = self.last.max(number);
        if let Some(open) = self.open.as_ref().filter(|open| open.first.is_some() && lost > 0) {
            open.keeping.lose(lost);
        }
    }

    fn take(&mut self, entry: Entry) {
        if let Some(open) = self.open.as_mut().filter(|open| open.first.is_some()) {
            open.take(entry);
            self.show_trouble(self.trouble());
        } else if self.job.is_some() {
            if self.before.len() == BEFORE {
                self.before.pop_front();
            }
            self.before.push_back(entry);
        }
        // A machine at rest tells much that belongs to no job.
    }

    /// A state was entered: the job begins, goes on or has ended.
    fn enter(&mut self, leaf: Option<Leaf>, at: Moment) {
        self.leaf = leaf;
        let Some(phase) = leaf.map(|leaf| leaf.phase()) else { return };
        match phase {
            phase if runs(phase) => {
                self.job.get_or_insert(Runs { since: at, first: self.last, by: None });
                self.begin();
            }
            // Tripped; whether it goes on is yet to come.
            Phase::Aborting | Phase::Aborted => {}
            phase => {
                let has_begun = self.open.as_ref().is_some_and(|open| open.first.is_some());
                if has_begun {
                    let is_complete = phase == Phase::Complete;
                    self.finish(if is_complete { End::Complete } else { End::Stopped });
                }
                self.job = None;
                self.before.clear();
            }
        }
    }

    /// The job runs: its record begins, unless it has.
    fn begin(&mut self) {
        // The start button at the machine could not wait; `opens` has shown what is wrong.
        if self.opens().is_err() {
            return;
        }
        let Some(open) = self.open.as_mut().filter(|open| open.first.is_none()) else { return };
        let first = self.job.as_ref().map_or(self.last, |job| job.first);
        open.first = Some(first);
        open.keeping.started(self.job.as_ref().and_then(|job| job.by.clone()), first);
        // Of what the job told while no record took it, some found no room; the entry in hand may be
        // among what waits, or is yet to be taken.
        let waits = self.before.len() as u64;
        let comes = self.before.back().is_none_or(|entry| entry.number < self.last);
        let told = (self.last + 1).saturating_sub(first);
        open.keeping.lose(told.saturating_sub(waits + u64::from(comes)));
        for entry in self.before.drain(..) {
            open.take(entry);
        }
    }

    fn finish(&mut self, end: End) {
        let Some(open) = self.open.take() else { return };
        let snapshot = self.machine.snapshots.borrow().clone();
        self.leaving.push(open.leave(end, &self.machine.zones, &snapshot));
    }

    /// What the next part is of, and what it needs, was told anew: a record that was opened for a start
    /// that came to nothing would still say it as it was.
    fn order(&mut self, chosen: Chosen) {
        self.chosen = chosen;
        if self.open.as_ref().is_some_and(|open| open.first.is_none()) {
            self.finish(End::NotStarted);
        }
    }

    /// The part of an order that the job makes: what goes on with a run makes that run's part. Records
    /// that cannot be read are told where the record is opened: they are no reason against a start.
    fn part_begun(&self, loaded: &Loaded) -> Option<OfBatch> {
        let Some(on) = &loaded.goes_on else {
            let serving = Serving {
                records: self.machine.records.as_deref(),
                kind: self.machine.kind,
                job: &loaded.job,
                plan: &loaded.plan,
                chosen: &self.chosen,
            };
            return serving.next(Timestamp::now()).ok().flatten().map(BatchNext::begun);
        };
        let store = records_file(self.machine.records.as_deref())
            .and_then(|file| Store::open_existing(&file));
        match store.and_then(|store| part_of(&store, &on.run)) {
            Ok(part) => part,
            Err(problem) => {
                warn!("which part run {} was of cannot be read: {}", on.run, problem.whole());
                None
            }
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

#[cfg(test)]
mod tests;
