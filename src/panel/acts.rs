//! Everything that is asked at the panel is written down with who asked and what they were told,
//! on a thread that may wait for the disk. What anybody can ask without end, a refusal or what only
//! takes away, is counted where it repeats, each for itself: no number of refusals hides a stop. What
//! cannot be taken in time, or not be written, is counted too, and told with the next that can.

use std::path::Path;
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::mpsc::{Receiver, RecvTimeoutError, SyncSender, TrySendError, sync_channel};
use std::sync::{Arc, Mutex};
use std::thread::{Builder, sleep};
use std::time::{Duration, Instant};

use evenpass_core::moment::Moment;
use jiff::Timestamp;
use tracing::warn;

use super::app::locked;
use super::repeats::Repeats;
use super::texts;
use super::visitor::Asker;
use crate::people::{NOT_SIGNED_IN, Whence};
use crate::record::{ActAnswer, ActRecord, RunId, Store, records_file};
use crate::shown::one_line;

/// Acts that wait for the disk at once; arbitrary, some seconds of everybody who is let in.
const WAITING: usize = 1024;
/// How often it is looked whether something counted is to be told.
const LOOK_EVERY: Duration = Duration::from_millis(250);
/// How long the end of the program waits for the disk.
const ENDS_WITHIN: Duration = Duration::from_secs(5);
/// How often it is tried then to tell a thread that has much to write.
const TRY_EVERY: Duration = Duration::from_millis(10);
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
    counts: Arc<Counts>,
    began: Instant,
}

/// What is counted beside what is written.
#[derive(Default)]
struct Counts {
    refused: Mutex<Repeats>,
    taken_away: Mutex<Repeats>,
    /// Acts that were not taken in time, or that the disk refused.
    lost: AtomicU64,
}

impl Counts {
    /// What both have to tell.
    fn told(&self, tell: impl Fn(&mut Repeats) -> Vec<ActRecord>) -> Vec<ActRecord> {
        let mut told = tell(&mut locked(&self.taken_away));
        told.extend(tell(&mut locked(&self.refused)));
        told
    }

    fn lose(&self, acts: u64) {
        self.lost.fetch_add(acts, Ordering::Relaxed);
    }
}

impl Acts {
    /// Opens the records and begins to listen.
    pub(super) fn start(records: Option<&Path>) -> Result<Self, String> {
        let mut store = records_file(records)
            .and_then(|file| Store::open(&file))
            .map_err(|problem| problem.whole())?;
        Self::kept_by(move |act| store.keep_act(act).map(drop).map_err(|trouble| trouble.whole()))
    }

    /// Begins to listen; `write` keeps one act, or says why not.
    fn kept_by(
        write: impl FnMut(&ActRecord) -> Result<(), String> + Send + 'static,
    ) -> Result<Self, String> {
        let (to, inbox) = sync_channel(WAITING);
        let (counts, began) = (Arc::<Counts>::default(), Instant::now());
        let writer = Writer { write, counts: counts.clone() };
        Builder::new()
            .name("acts".to_owned())
            .spawn(move || writer.keep(&inbox, began))
            .map_err(|trouble| format!("acts cannot be kept: {trouble}"))?;
        Ok(Self { to, counts, began })
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
            ActAnswer::Refused(_) => self.keep_counted(&self.counts.refused, act),
            ActAnswer::Done => self.send(act),
        }
    }

    /// Keeps what only takes away, such as a stop, which may be asked for as often as anybody likes.
    pub(super) fn keep_taken_away(
        &self,
        asker: &Asker,
        what: &str,
        refused: Option<&str>,
        run: Option<RunId>,
    ) {
        self.keep_counted(&self.counts.taken_away, record(asker, what, refused, run));
    }

    /// Waits until all is on the disk, for some seconds at most.
    pub(super) fn end(&self) {
        self.end_by(Instant::now() + ENDS_WITHIN);
    }

    fn end_by(&self, until: Instant) {
        let (tell, told) = sync_channel(1);
        let mut end = Told::End(tell);
        let is_told = loop {
            match self.to.try_send(end) {
                Ok(()) => break true,
                Err(TrySendError::Full(again)) if Instant::now() < until => {
                    end = again;
                    sleep(TRY_EVERY);
                }
                Err(_) => break false,
            }
        };
        let left = until.saturating_duration_since(Instant::now());
        if !is_told || told.recv_timeout(left).is_err() {
            warn!("the last acts may not be on the disk");
        }
    }

    fn keep_counted(&self, repeats: &Mutex<Repeats>, act: ActRecord) {
        let first = locked(repeats).take(act, moment(self.began));
        if let Some(act) = first {
            self.send(act);
        }
    }

    fn send(&self, act: ActRecord) {
        if self.to.try_send(Told::Act(act)).is_err() {
            self.counts.lose(1);
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

/// The thread's side.
struct Writer<W> {
    write: W,
    counts: Arc<Counts>,
}

impl<W: FnMut(&ActRecord) -> Result<(), String>> Writer<W> {
    fn keep(mut self, inbox: &Receiver<Told>, began: Instant) {
        loop {
            let told = inbox.recv_timeout(LOOK_EVERY);
            let at = Timestamp::now();
            let counted = match told {
                Ok(Told::End(_)) | Err(RecvTimeoutError::Disconnected) => {
                    self.counts.told(|repeats| repeats.end(at))
                }
                _ => self.counts.told(|repeats| repeats.over(moment(began), at)),
            };
            self.write_all(counted);
            match told {
                Ok(Told::Act(act)) => self.write_all([act]),
                Ok(Told::End(reply)) => {
                    self.write_lost();
                    // Whoever asked has waited long enough already.
                    let _ = reply.try_send(());
                }
                Err(RecvTimeoutError::Timeout) => {}
                Err(RecvTimeoutError::Disconnected) => return self.write_lost(),
            }
        }
    }

    /// Writes them, each with how many before it could not be kept.
    fn write_all(&mut self, acts: impl IntoIterator<Item = ActRecord>) {
        for mut act in acts {
            let lost = self.counts.lost.swap(0, Ordering::Relaxed);
            if lost > 0 {
                act.what = format!("{} ({lost} {})", act.what, texts::LOST_BEFORE);
            }
            if let Err(trouble) = (self.write)(&act) {
                self.counts.lose(lost + 1);
                warn!("an act could not be kept: {trouble}");
            }
        }
    }

    /// Writes how many could not be kept, where no act comes any more that could tell it.
    fn write_lost(&mut self) {
        let lost = self.counts.lost.load(Ordering::Relaxed);
        if lost > 0 {
            let nobody = Asker { name: NOT_SIGNED_IN.into(), role: None, whence: Whence::Machine };
            let why = Some(texts::DISK_REFUSED);
            let act = record(&nobody, &format!("{lost} {}", texts::LOST), why, None);
            match (self.write)(&act) {
                Ok(()) => self.counts.lost.store(0, Ordering::Relaxed),
                Err(trouble) => warn!("{lost} acts could not be kept: {trouble}"),
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use std::sync::mpsc::channel;

    use super::*;

    fn asker() -> Asker {
        Asker {
            name: "Ann".into(),
            role: Some(crate::people::Role::Operator),
            whence: Whence::Machine,
        }
    }

    #[test]
    fn acts_that_the_disk_refuses_are_counted_and_told_by_the_next_or_at_the_end() {
        let written = Arc::<Mutex<Vec<String>>>::default();
        let (kept, mut number) = (written.clone(), 0);
        let acts = Acts::kept_by(move |act| {
            number += 1;
            if matches!(number, 1 | 2 | 4) {
                return Err("no room".to_owned());
            }
            locked(&kept).push(act.what.clone());
            Ok(())
        })
        .unwrap();
        for what in ["one", "two", "three", "four"] {
            acts.keep(&asker(), what, None, None);
        }
        acts.end();
        let told = locked(&written).clone();
        assert_eq!(told, ["three (2 acts before this one could not be kept)", "1 acts not kept"]);
    }

    #[test]
    fn a_disk_that_hangs_keeps_nobody_from_the_end() {
        let (hold, held) = channel::<()>();
        let acts = Acts::kept_by(move |_| {
            // For as long as the test runs.
            let _ = held.recv();
            Ok(())
        })
        .unwrap();
        for _ in 0..WAITING + 2 {
            acts.keep(&asker(), "start", None, None);
        }
        let begun = Instant::now();
        acts.end_by(begun + Duration::from_millis(100));
        assert!(begun.elapsed() < ENDS_WITHIN, "{:?}", begun.elapsed());
        drop(hold);
    }

    #[test]
    fn a_stop_has_a_line_of_its_own_however_many_kinds_of_refusal_came_before_it() {
        let written = Arc::<Mutex<Vec<ActRecord>>>::default();
        let kept = written.clone();
        let acts = Acts::kept_by(move |act| {
            locked(&kept).push(act.clone());
            Ok(())
        })
        .unwrap();
        for number in 0..1000 {
            acts.keep(&asker(), &format!("made up {number}"), Some("no"), None);
        }
        acts.keep_taken_away(&asker(), "stop", None, None);
        acts.end();
        let written = locked(&written);
        let stop = written.iter().find(|act| act.what == "stop");
        assert!(stop.is_some_and(|act| act.answer == ActAnswer::Done), "{stop:?}");
    }
}
