//! The thread that writes a run: it gathers entries into batches and commits them.
//!
//! What somebody may wait for (anything but a sample) is committed as soon as the channel is empty;
//! samples wait a little, so that an idle run doesn't wear the disk. A commit that fails keeps its
//! batch and is tried again; meanwhile entries gather up to a bound, then the newer ones are
//! counted lost. Whatever is left of the run is kept, from its beginning.

use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::mpsc::{Receiver, RecvTimeoutError, SyncSender};
use std::sync::{Mutex, PoisonError};
use std::time::{Duration, Instant};

use evenpass_core::ledger::{Entry, EntryKind};

use super::store::{OpenRun, Store, Tally};
use super::{Beginning, RecordError, RunEnd, RunId};

/// Bounds of a recorder.
#[derive(Debug, Clone, Copy)]
pub(super) struct Bounds {
    /// Entries in the channel. At about 50 a second: over a minute of a disk that hangs.
    pub(super) channel: usize,
    /// Entries in one commit.
    pub(super) batch: usize,
    /// Entries kept while commits fail.
    pub(super) waiting: usize,
    /// Longest a sample waits for its commit.
    pub(super) gather: Duration,
    /// From a commit that failed to the next try.
    pub(super) retry: Duration,
}

impl Bounds {
    /// Arbitrary, but for `gather`: half of what lies between two samples while powder is out, whose
    /// last one tells where a job that is cut off lost its powder.
    pub(super) const USUAL: Self = Self {
        channel: 4096,
        batch: 256,
        waiting: 16_384,
        gather: Duration::from_millis(100),
        retry: Duration::from_secs(1),
    };
}

/// What the writer is asked to do.
#[derive(Debug)]
pub(super) enum Job {
    /// Keep this.
    Keep(Entry),
    /// What was opened begins.
    Started(Box<Beginning>),
    /// Offer everything so far to the disk, then answer.
    Flush(SyncSender<()>),
    /// Write the end of the run; the highest number handed in was this.
    End(Box<RunEnd>, Option<u64>, Patience),
}

/// What becomes of an end that the disk refuses.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Patience {
    /// It is given up, and whoever waits is told why.
    Once,
    /// It is tried again until the disk takes it or nobody is left who would be told.
    UntilLeft,
}

/// What both sides can see of the writing.
#[derive(Debug, Default)]
pub(super) struct Progress {
    /// Highest number on the disk.
    pub(super) committed: AtomicU64,
    /// Entries that were not kept.
    pub(super) lost: AtomicU64,
    /// Why commits fail; held only to swap or copy a sentence.
    trouble: Mutex<Option<String>>,
}

impl Progress {
    pub(super) fn trouble(&self) -> Option<String> {
        self.trouble.lock().unwrap_or_else(PoisonError::into_inner).clone()
    }

    fn set_trouble(&self, words: Option<String>) {
        *self.trouble.lock().unwrap_or_else(PoisonError::into_inner) = words;
    }
}

/// A run that was written to its end.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Closed {
    /// Its id.
    pub id: RunId,
    /// The highest number on the disk.
    pub committed: u64,
    /// How many entries were not kept.
    pub lost: u64,
}

impl Closed {
    /// What is missing, in a sentence for a person; `None` when nothing is.
    #[must_use]
    pub fn missing(&self) -> Option<String> {
        (self.lost > 0).then(|| missing(&self.id, self.lost))
    }
}

/// What a person reads of a record that lost entries.
pub(super) fn missing(run: &RunId, lost: u64) -> String {
    format!("the record of run {run} misses {lost} entries: the disk could not keep up")
}

/// Whether the last commit went through.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Disk {
    Takes,
    Refuses,
}

/// The writing side.
pub(super) struct Writer<'a> {
    pub(super) store: Store,
    pub(super) run: OpenRun,
    /// What is not yet on the disk of its beginning.
    pub(super) beginning: Option<Box<Beginning>>,
    pub(super) jobs: Receiver<Job>,
    pub(super) progress: &'a Progress,
    pub(super) bounds: Bounds,
}

impl Writer<'_> {
    /// Writes until the end of the run is asked for, or until nobody is left who could: the run
    /// then stays open in the record and reads as interrupted.
    pub(super) fn write(mut self) -> Result<Closed, RecordError> {
        let mut batch = Vec::with_capacity(self.bounds.batch);
        let mut due: Option<Instant> = None;
        let mut disk = Disk::Takes;
        loop {
            let flushed = match self.next(due) {
                Ok(Job::Keep(entry)) => {
                    due = self.gather(&mut batch, entry, due, disk);
                    if disk == Disk::Refuses || batch.len() < self.bounds.batch {
                        continue;
                    }
                    None
                }
                Ok(Job::Started(beginning)) => {
                    self.beginning = Some(beginning);
                    None
                }
                Ok(Job::Flush(answer)) => Some(answer),
                Ok(Job::End(end, last, patience)) => {
                    return self.end(&batch, &end, last, patience);
                }
                Err(RecvTimeoutError::Timeout) => None,
                Err(RecvTimeoutError::Disconnected) => {
                    self.commit(&mut batch);
                    return Err(RecordError::WriterGone);
                }
            };
            disk = self.commit(&mut batch);
            due = (disk == Disk::Refuses).then(|| Instant::now() + self.bounds.retry);
            if let Some(answer) = flushed {
                // Nobody waits any more when this fails.
                let _ = answer.send(());
            }
        }
    }

    fn next(&self, due: Option<Instant>) -> Result<Job, RecvTimeoutError> {
        match due {
            None => self.jobs.recv().map_err(|_| RecvTimeoutError::Disconnected),
            Some(due) => self.jobs.recv_timeout(due.saturating_duration_since(Instant::now())),
        }
    }

    /// Puts an entry with those that wait; answers when the batch is due.
    fn gather(
        &self,
        batch: &mut Vec<Entry>,
        entry: Entry,
        due: Option<Instant>,
        disk: Disk,
    ) -> Option<Instant> {
        if batch.len() >= self.bounds.waiting {
            self.progress.lost.fetch_add(1, Ordering::Relaxed);
            return due;
        }
        let kind = entry.kind;
        batch.push(entry);
        match (disk, kind) {
            (Disk::Refuses, _) => due,
            (Disk::Takes, EntryKind::Sample) => {
                due.or_else(|| Some(Instant::now() + self.bounds.gather))
            }
            (Disk::Takes, _) => Some(Instant::now()),
        }
    }

    fn commit(&mut self, batch: &mut Vec<Entry>) -> Disk {
        if batch.is_empty() && self.beginning.is_none() {
            return Disk::Takes;
        }
        match self.begin().and_then(|()| self.store.append(&self.run, batch)) {
            Ok(()) => {
                self.committed(batch);
                batch.clear();
                self.progress.set_trouble(None);
                Disk::Takes
            }
            Err(error) => {
                self.progress.set_trouble(Some(error.whole()));
                Disk::Refuses
            }
        }
    }

    fn begin(&mut self) -> Result<(), RecordError> {
        if let Some(beginning) = &self.beginning {
            self.store.started(&self.run, beginning)?;
            self.beginning = None;
        }
        Ok(())
    }

    fn committed(&self, batch: &[Entry]) {
        if let Some(highest) = batch.iter().map(|entry| entry.number).max() {
            self.progress.committed.fetch_max(highest, Ordering::Release);
            tracing::debug!("run {} is on the disk up to entry {highest}", self.run.id);
        }
    }

    fn end(
        mut self,
        batch: &[Entry],
        end: &RunEnd,
        last: Option<u64>,
        patience: Patience,
    ) -> Result<Closed, RecordError> {
        loop {
            let lost = self.progress.lost.load(Ordering::Relaxed);
            let tally = Tally { last, lost };
            let written = self.begin().and_then(|()| self.store.end(&self.run, batch, end, tally));
            let Err(error) = written else {
                self.committed(batch);
                self.progress.set_trouble(None);
                let id = self.run.id.clone();
                self.run.close();
                let committed = self.progress.committed.load(Ordering::Acquire);
                return Ok(Closed { id, committed, lost });
            };
            self.progress.set_trouble(Some(error.whole()));
            if patience == Patience::Once || self.is_left() {
                return Err(error);
            }
        }
    }

    /// Waits for the next try; answers whether nobody waits for the run any more.
    fn is_left(&self) -> bool {
        let next = Instant::now() + self.bounds.retry;
        loop {
            match self.next(Some(next)) {
                // What comes after the end is none of the run's.
                Ok(_) => {}
                Err(RecvTimeoutError::Timeout) => return false,
                Err(RecvTimeoutError::Disconnected) => return true,
            }
        }
    }
}
