//! Everything that is asked at the panel is written down with who asked and what they were told,
//! on a thread that may wait for the disk. What anybody can ask without end, a refusal or a stop,
//! is counted where it repeats. What cannot be taken in time is counted too, and told with the next
//! that can.

use std::path::Path;
use std::sync::Mutex;
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::mpsc::{Receiver, RecvTimeoutError, SyncSender, sync_channel};
use std::thread::Builder;
use std::time::{Duration, Instant};

use evenpass_core::moment::Moment;
use jiff::Timestamp;
use tracing::warn;

use super::app::locked;
use super::repeats::Repeats;
use super::visitor::Asker;
use crate::record::{ActAnswer, ActRecord, RunId, Store, records_file};
use crate::shown::one_line;

/// Acts that wait for the disk at once; arbitrary, some seconds of everybody who is let in.
const WAITING: usize = 1024;
/// How often it is looked whether something counted is to be told.
const LOOK_EVERY: Duration = Duration::from_millis(250);
/// How long the end of the program waits for the disk.
const ENDS_WITHIN: Duration = Duration::from_secs(5);
/// Longest text of an act, characters.
const LONGEST: usize = 200;

/// What the thread is told.
enum Told {
    Act(ActRecord),
    /// Nothing more comes; the answer says that all is on the disk.
    End(SyncSender<()>),
}

/// Where acts go.
pub(super) struct Acts {
    to: SyncSender<Told>,
    lost: AtomicU64,
    repeats: std::sync::Arc<Mutex<Repeats>>,
    began: Instant,
}

impl Acts {
    /// Opens the records and begins to listen.
    pub(super) fn start(records: Option<&Path>) -> Result<Self, String> {
        let store = records_file(records)
            .and_then(|file| Store::open(&file))
            .map_err(|problem| problem.whole())?;
        let (to, inbox) = sync_channel(WAITING);
        let (repeats, began) = (std::sync::Arc::<Mutex<Repeats>>::default(), Instant::now());
        let counted = repeats.clone();
        Builder::new()
            .name("acts".to_owned())
            .spawn(move || keep(store, &inbox, &counted, began))
            .map_err(|trouble| format!("acts cannot be kept: {trouble}"))?;
        Ok(Self { to, lost: AtomicU64::new(0), repeats, began })
    }

    /// Keeps what somebody asked, and why it was refused if it was. Never waits.
    pub(super) fn keep(
        &self,
        asker: &Asker,
        what: &str,
        refused: Option<&str>,
        run: Option<RunId>,
    ) {
        let act = record(asker, what, refused, run);
        match act.answer {
            ActAnswer::Refused(_) => self.keep_counted(act),
            ActAnswer::Done => self.send(act),
        }
    }

    /// Keeps a stop, which anybody may ask for as often as they like.
    pub(super) fn keep_stop(&self, asker: &Asker, refused: Option<&str>, run: Option<RunId>) {
        self.keep_counted(record(asker, "stop", refused, run));
    }

    /// Waits until all is on the disk, for some seconds at most.
    pub(super) fn end(&self) {
        let (tell, told) = sync_channel(1);
        if self.to.send(Told::End(tell)).is_err() || told.recv_timeout(ENDS_WITHIN).is_err() {
            warn!("the last acts may not be on the disk");
        }
    }

    fn keep_counted(&self, act: ActRecord) {
        let first = locked(&self.repeats).take(act, moment(self.began));
        if let Some(act) = first {
            self.send(act);
        }
    }

    fn send(&self, mut act: ActRecord) {
        let lost = self.lost.swap(0, Ordering::Relaxed);
        if lost > 0 {
            act.what = format!("{} ({lost} acts before this one could not be kept)", act.what);
        }
        if self.to.try_send(Told::Act(act)).is_err() {
            self.lost.fetch_add(lost + 1, Ordering::Relaxed);
        }
    }
}

fn moment(began: Instant) -> Moment {
    Moment::START + began.elapsed()
}

/// An act as it is written. Nothing in it is obeyed by the terminal that shows it.
fn record(asker: &Asker, what: &str, refused: Option<&str>, run: Option<RunId>) -> ActRecord {
    let harmless = |text: &str| one_line(&text.chars().take(LONGEST).collect::<String>());
    ActRecord {
        at: Timestamp::now(),
        person: harmless(&asker.name),
        role: asker.role,
        whence: asker.whence,
        what: harmless(what),
        answer: refused.map_or(ActAnswer::Done, |why| ActAnswer::Refused(harmless(why))),
        run,
    }
}

fn keep(mut store: Store, inbox: &Receiver<Told>, repeats: &Mutex<Repeats>, began: Instant) {
    loop {
        let told = inbox.recv_timeout(LOOK_EVERY);
        let counted = match told {
            Ok(Told::End(_)) | Err(RecvTimeoutError::Disconnected) => {
                locked(repeats).end(Timestamp::now())
            }
            _ => locked(repeats).over(moment(began), Timestamp::now()),
        };
        let (act, end) = match told {
            Ok(Told::Act(act)) => (Some(act), None),
            Ok(Told::End(reply)) => (None, Some(reply)),
            Err(RecvTimeoutError::Timeout) => (None, None),
            Err(RecvTimeoutError::Disconnected) => {
                write(&mut store, counted);
                return;
            }
        };
        write(&mut store, counted.into_iter().chain(act));
        if let Some(reply) = end {
            // Whoever asked has waited long enough already.
            let _ = reply.try_send(());
        }
    }
}

fn write(store: &mut Store, acts: impl IntoIterator<Item = ActRecord>) {
    for act in acts {
        if let Err(trouble) = store.keep_act(&act) {
            warn!("an act could not be kept: {}", trouble.whole());
        }
    }
}
