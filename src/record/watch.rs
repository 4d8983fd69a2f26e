//! Watches that the journal of a run keeps up, and writes down how far the run is where it does not.

use std::sync::atomic::Ordering;
use std::sync::mpsc::{Receiver, RecvTimeoutError, SyncSender, sync_channel};
use std::sync::{Arc, Mutex, PoisonError};
use std::thread::{self, JoinHandle};
use std::time::{Duration, Instant};

use super::RecordError;
use super::alive::Slate;
use super::unseen::Unseen;
use super::writer::Progress;

/// How often it is looked.
const LOOK_EVERY: Duration = Duration::from_millis(250);
/// An entry that waits longer than this for the disk is behind. Arbitrary: a disk that takes its time
/// is no disk that refuses; what is sprayed within it is little.
const BEHIND: Duration = Duration::from_secs(1);

/// The thread that watches. It waits for no lock but that of [`Unseen`], which is held for a moment.
#[derive(Debug)]
pub(super) struct Watch {
    end: Option<SyncSender<()>>,
    thread: Option<JoinHandle<()>>,
}

/// What is watched.
#[derive(Debug)]
pub(super) struct Watched {
    pub(super) slate: Slate,
    pub(super) known: Arc<Mutex<Unseen>>,
    pub(super) progress: Arc<Progress>,
}

impl Watch {
    pub(super) fn start(watched: Watched) -> Result<Self, RecordError> {
        let (end, ended) = sync_channel(1);
        let thread = thread::Builder::new()
            .name("watch".to_owned())
            .spawn(move || watched.watch(&ended))
            .map_err(|_| RecordError::WriterGone)?;
        Ok(Self { end: Some(end), thread: Some(thread) })
    }

    /// Once the journal is written no more: what is known and is not in it is written down.
    pub(super) fn end(&mut self) {
        self.end = None;
        if let Some(thread) = self.thread.take() {
            // Who broke down has nothing more to write.
            let _ = thread.join();
        }
    }
}

impl Watched {
    fn watch(self, ended: &Receiver<()>) {
        let mut waits: Option<(u64, Instant)> = None;
        let mut written = None;
        while ended.recv_timeout(LOOK_EVERY) == Err(RecvTimeoutError::Timeout) {
            let (known, committed) = self.look();
            match waits {
                Some((number, since)) if number > committed => {
                    if since.elapsed() >= BEHIND {
                        self.write(&known, &mut written);
                    }
                }
                _ => {
                    let last = known.last.filter(|last| *last > committed);
                    waits = last.map(|last| (last, Instant::now()));
                }
            }
        }
        let (known, committed) = self.look();
        if known.last.is_some_and(|last| last > committed) {
            self.write(&known, &mut written);
        }
    }

    fn look(&self) -> (Unseen, u64) {
        let known = *self.known.lock().unwrap_or_else(PoisonError::into_inner);
        (known, self.progress.committed.load(Ordering::Acquire))
    }

    fn write(&self, known: &Unseen, written: &mut Option<Unseen>) {
        if written.as_ref() == Some(known) {
            return;
        }
        match self.slate.write(known) {
            Ok(()) => *written = Some(*known),
            Err(trouble) => tracing::info!("how far the run is cannot be written: {trouble}"),
        }
    }
}
