//! The recorder: what a run holds to have itself written down.

use std::sync::atomic::Ordering;
use std::sync::mpsc::{SyncSender, TrySendError, sync_channel};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::thread::{self, JoinHandle};

use evenpass_core::ledger::Entry;

use super::store::folder_trouble;
use super::unseen::Unseen;
use super::watch::{Watch, Watched};
use super::writer::{Bounds, Closed, Job, Patience, Progress, Writer, missing};
use super::{Beginning, PartToMake, RecordError, RunEnd, RunHeader, RunId, Store};

/// Writes one run from a thread of its own.
///
/// - [`send`](Self::send), [`committed`](Self::committed), [`lost`](Self::lost) and
///   [`trouble`](Self::trouble) are for the scan: none waits for the disk.
/// - [`deliver`](Self::deliver), [`flush`](Self::flush) and [`finish`](Self::finish) wait for it:
///   never call them from a thread that has a stop to carry out.
///
/// Dropped without [`finish`](Self::finish), the run keeps what was sent and reads as interrupted.
#[derive(Debug)]
pub struct Recorder {
    id: RunId,
    jobs: Option<SyncSender<Job>>,
    progress: Arc<Progress>,
    /// What was handed over, by its last entry.
    known: Arc<Mutex<Unseen>>,
    watch: Watch,
    thread: Option<JoinHandle<Result<Closed, RecordError>>>,
}

impl Recorder {
    /// Begins a run: when this returns, its id and header are on the disk.
    ///
    /// # Errors
    /// [`RecordError`] when they can't be written; there is then no run.
    pub fn begin(store: Store, header: &RunHeader) -> Result<Self, RecordError> {
        Self::begin_within(store, header, None, Bounds::USUAL)
    }

    /// Begins a run that makes a part of a batch; both are durable on return.
    ///
    /// # Errors
    /// As [`Recorder::begin`]; somebody else makes that part, or has begun it since it was looked at.
    pub fn begin_part(
        store: Store,
        header: &RunHeader,
        part: Option<&PartToMake>,
    ) -> Result<Self, RecordError> {
        Self::begin_within(store, header, part, Bounds::USUAL)
    }

    fn begin_within(
        mut store: Store,
        header: &RunHeader,
        part: Option<&PartToMake>,
        bounds: Bounds,
    ) -> Result<Self, RecordError> {
        let run = store.begin(header, part)?;
        let id = run.id.clone();
        let (progress, known) = (Arc::<Progress>::default(), Arc::<Mutex<Unseen>>::default());
        let slate = run.slate().map_err(|source| folder_trouble(store.file(), source))?;
        let watched = Watched { slate, known: Arc::clone(&known), progress: Arc::clone(&progress) };
        let watch = Watch::start(watched)?;
        let (sender, receiver) = sync_channel(bounds.channel);
        let seen = Arc::clone(&progress);
        let thread = thread::Builder::new()
            .name("record".to_owned())
            .spawn(move || {
                let beginning = None;
                Writer { store, run, beginning, jobs: receiver, progress: &seen, bounds }.write()
            })
            .map_err(|_| RecordError::WriterGone)?;
        Ok(Self { id, jobs: Some(sender), progress, known, watch, thread: Some(thread) })
    }

    /// The run's id.
    #[must_use]
    pub const fn id(&self) -> &RunId {
        &self.id
    }

    /// Says that what was opened begins now; waits for room.
    pub fn started(&self, beginning: Beginning) {
        // A writer that is gone says so at the end.
        let _ = self.wait_for(Job::Started(Box::new(beginning)));
    }

    /// Counts entries lost that never came.
    pub fn lose(&self, entries: u64) {
        self.progress.lost.fetch_add(entries, Ordering::Relaxed);
    }

    /// Hands an entry over without waiting. With the channel full, or the writer gone, it is lost
    /// and counted.
    pub fn send(&self, entry: Entry) {
        self.known().take(&entry);
        let refused = match &self.jobs {
            Some(jobs) => jobs.try_send(Job::Keep(entry)).err(),
            None => None,
        };
        if let Some(TrySendError::Full(_) | TrySendError::Disconnected(_)) = refused {
            self.lose_one();
        }
    }

    /// Hands an entry over and waits for room, for a run in virtual time: it is faster than any
    /// disk, and nothing in it can be held up.
    pub fn deliver(&self, entry: Entry) {
        self.known().take(&entry);
        if !self.wait_for(Job::Keep(entry)) {
            self.lose_one();
        }
    }

    /// The highest entry number on the disk; zero before the first. What must be durable before
    /// the next step is, when this has reached it and nothing was [lost](Self::lost).
    #[must_use]
    pub fn committed(&self) -> u64 {
        self.progress.committed.load(Ordering::Acquire)
    }

    /// How many entries were not kept: the disk could not keep up, or refused for too long.
    #[must_use]
    pub fn lost(&self) -> u64 {
        self.progress.lost.load(Ordering::Relaxed)
    }

    /// What is wrong with the record now, in a sentence for a person; `None` when all is well.
    /// Lost entries stay lost: that sentence stays.
    #[must_use]
    pub fn trouble(&self) -> Option<String> {
        self.progress.trouble().or_else(|| match self.lost() {
            0 => None,
            lost => Some(missing(&self.id, lost)),
        })
    }

    /// Waits until everything sent so far was offered to the disk, and returns
    /// [`committed`](Self::committed).
    pub fn flush(&self) -> u64 {
        let (answer, answered) = sync_channel(1);
        if self.wait_for(Job::Flush(answer)) {
            // An error says that the writer is gone: then nothing more can be committed.
            let _ = answered.recv();
        }
        self.committed()
    }

    /// Ends the run: waits until everything, and the end, is on the disk.
    ///
    /// # Errors
    /// [`RecordError`] when the disk refuses. The run then reads as interrupted, with what was
    /// committed before.
    pub fn finish(mut self, end: RunEnd) -> Result<Closed, RecordError> {
        self.end(end, Patience::Once);
        self.join().unwrap_or(Err(RecordError::WriterGone))
    }

    /// Ends the run without waiting for the disk: its end is tried again for as long as the disk
    /// refuses it and what is answered is kept.
    #[must_use]
    pub fn leave(self, end: RunEnd) -> Leaving {
        self.end(end, Patience::UntilLeft);
        Leaving { recorder: self }
    }

    fn end(&self, end: RunEnd, patience: Patience) {
        let last = self.known().last;
        // Should the writer be gone, joining it says why.
        let _ = self.wait_for(Job::End(Box::new(end), last, patience));
    }

    /// Nobody holds it for longer than it takes to follow or to copy it.
    fn known(&self) -> MutexGuard<'_, Unseen> {
        self.known.lock().unwrap_or_else(PoisonError::into_inner)
    }

    fn lose_one(&self) {
        self.lose(1);
    }

    #[must_use]
    fn wait_for(&self, job: Job) -> bool {
        self.jobs.as_ref().is_some_and(|jobs| jobs.send(job).is_ok())
    }

    /// Closes the channel and waits for the thread.
    fn join(&mut self) -> Option<Result<Closed, RecordError>> {
        self.jobs = None;
        let written = self.thread.take().map(JoinHandle::join);
        self.watch.end();
        written.map(|written| written.unwrap_or(Err(RecordError::WriterGone)))
    }
}

/// A run whose end is being written.
#[derive(Debug)]
pub struct Leaving {
    recorder: Recorder,
}

impl Leaving {
    /// The run's id.
    #[must_use]
    pub const fn id(&self) -> &RunId {
        self.recorder.id()
    }

    /// What keeps the end from the disk, if anything does.
    #[must_use]
    pub fn trouble(&self) -> Option<String> {
        self.recorder.trouble()
    }

    /// Whether it is over: the end is on the disk, or the writer broke down.
    #[must_use]
    pub fn is_over(&self) -> bool {
        self.recorder.thread.as_ref().is_none_or(JoinHandle::is_finished)
    }

    /// Waits for the try under way, and for no other.
    ///
    /// # Errors
    /// [`RecordError`] when the end is not on the disk. The run then reads as interrupted.
    pub fn give_up(mut self) -> Result<Closed, RecordError> {
        self.recorder.join().unwrap_or(Err(RecordError::WriterGone))
    }
}

impl Drop for Recorder {
    fn drop(&mut self) {
        // Without an end there is nothing to report: the run reads as interrupted.
        drop(self.join());
    }
}

#[cfg(test)]
mod tests {
    use std::time::Duration;

    use evenpass_core::ledger::EntryKind;
    use evenpass_core::moment::Moment;
    use rusqlite::Connection;
    use serde_json::{Value, json};

    use super::*;
    use crate::record::fixture::{file, header};
    use crate::record::{Ending, Outcome};

    fn end() -> RunEnd {
        RunEnd {
            ending: Ending::Complete,
            ended_at: "2026-11-25T09:10:00Z".parse().expect("RFC 3339"),
            first_cause: None,
            totals: json!({}),
            deviations: Vec::new(),
        }
    }

    fn entry(number: u64) -> Entry {
        Entry {
            number,
            at: Moment::from_micros(number * 1000),
            kind: EntryKind::State,
            text: "a state with a text of some length, so that pages fill".repeat(10),
            cause: String::new(),
            data: Value::Null,
        }
    }

    /// A hurried recorder with a small channel.
    const SMALL: Bounds = Bounds {
        channel: 4,
        batch: 4,
        waiting: 8,
        gather: Duration::ZERO,
        retry: Duration::from_secs(3600),
    };

    #[test]
    fn a_channel_that_is_full_loses_and_counts_but_never_waits() {
        let (_folder, path) = file();
        let store = Store::open(&path).expect("open");
        let recorder = Recorder::begin_within(store, &header(), None, SMALL).expect("begin");
        let other = Connection::open(&path).expect("second");
        other.execute_batch("BEGIN IMMEDIATE").expect("held by another program");
        // The writer can hold 4 + 8 + 1 at the most, however long it waits for the lock.
        (1..=100).for_each(|number| recorder.send(entry(number)));
        assert!(recorder.lost() >= 87, "lost {}", recorder.lost());
        other.execute_batch("ROLLBACK").expect("let go");
        let lost = recorder.lost();
        let trouble = recorder.trouble();
        let id = recorder.id().clone();
        let closed = recorder.finish(end()).expect("finish");
        assert!(trouble.is_some());
        assert!(closed.lost >= lost);
        let record = Store::open_existing(&path).and_then(|store| store.run(&id)).expect("read");
        assert_eq!(record.entries.len() as u64 + closed.lost, 100);
        assert_eq!(record.lost, Some(closed.lost));
        assert_eq!(
            record.gaps.iter().map(|gap| gap.count()).sum::<u64>(),
            closed.lost,
            "every lost entry is inside a gap: {:?}",
            record.gaps
        );
    }

    #[test]
    fn a_full_disk_is_an_observation_and_the_run_goes_on() {
        let (_folder, path) = file();
        let store = Store::open(&path).expect("open");
        let pages: u32 = store
            .connection
            .pragma_query_value(None, "page_count", |row| row.get(0))
            .expect("pages");
        store.connection.pragma_update(None, "max_page_count", pages + 3).expect("small disk");
        let recorder = Recorder::begin_within(store, &header(), None, SMALL).expect("begin");
        recorder.deliver(entry(1));
        assert_eq!(recorder.flush(), 1);
        assert_eq!(recorder.trouble(), None);
        (2..=100).for_each(|number| recorder.deliver(entry(number)));
        let committed = recorder.flush();
        assert!((1..100).contains(&committed), "committed {committed}");
        let trouble = recorder.trouble().expect("trouble is shown");
        assert!(trouble.starts_with("disk full: records file"), "{trouble}");
        let id = recorder.id().clone();
        let error = recorder.finish(end()).expect_err("the end cannot be written");
        assert!(matches!(error, RecordError::DiskFull { .. }), "{error}");
        let record = Store::open_existing(&path).and_then(|store| store.run(&id)).expect("read");
        assert_eq!(record.summary.outcome, Outcome::Interrupted);
        assert_eq!(record.entries.last().map(|entry| entry.number), Some(committed));
    }

    #[test]
    fn the_end_of_a_run_is_written_once_the_disk_takes_again() {
        let (_folder, path) = file();
        let store = Store::open(&path).expect("open");
        store.connection.busy_timeout(Duration::ZERO).expect("no patience");
        let hurried = Bounds { retry: Duration::from_millis(5), ..SMALL };
        let recorder = Recorder::begin_within(store, &header(), None, hurried).expect("begin");
        let id = recorder.id().clone();
        let other = Connection::open(&path).expect("second");
        other.execute_batch("BEGIN IMMEDIATE").expect("held by another program");
        (1..=3).for_each(|number| recorder.deliver(entry(number)));
        let leaving = recorder.leave(end());
        while leaving.trouble().is_none() {
            thread::yield_now();
        }
        assert!(!leaving.is_over(), "it is not given up");
        other.execute_batch("ROLLBACK").expect("let go");
        while !leaving.is_over() {
            thread::yield_now();
        }
        assert_eq!(leaving.trouble(), None);
        assert_eq!(leaving.give_up().expect("written").committed, 3);
        let record = Store::open_existing(&path).and_then(|store| store.run(&id)).expect("read");
        assert_eq!(record.summary.outcome, Outcome::Complete);
    }

    #[test]
    fn the_end_of_a_run_that_is_given_up_says_what_was_wrong() {
        let (_folder, path) = file();
        let store = Store::open(&path).expect("open");
        store.connection.busy_timeout(Duration::ZERO).expect("no patience");
        let recorder = Recorder::begin_within(store, &header(), None, SMALL).expect("begin");
        let other = Connection::open(&path).expect("second");
        other.execute_batch("BEGIN IMMEDIATE").expect("held by another program");
        let error = recorder.leave(end()).give_up().expect_err("held");
        assert!(error.whole().contains("held by another program"), "{error}");
    }

    #[test]
    fn what_waited_for_a_disk_is_written_when_it_takes_again() {
        let (_folder, path) = file();
        let store = Store::open(&path).expect("open");
        store.connection.busy_timeout(Duration::ZERO).expect("no patience");
        let recorder = Recorder::begin_within(store, &header(), None, SMALL).expect("begin");
        let other = Connection::open(&path).expect("second");
        other.execute_batch("BEGIN IMMEDIATE").expect("held by another program");
        (1..=6).for_each(|number| recorder.deliver(entry(number)));
        assert_eq!(recorder.flush(), 0);
        let trouble = recorder.trouble().expect("trouble is shown");
        assert!(trouble.contains("held by another program"), "{trouble}");
        other.execute_batch("ROLLBACK").expect("let go");
        assert_eq!(recorder.flush(), 6);
        assert_eq!(recorder.trouble(), None);
        assert_eq!(recorder.finish(end()).expect("finish").lost, 0);
    }
}
