//! Everything that is asked at the panel is written down with who asked and what they were told,
//! on a thread that may wait for the disk. What cannot be taken in time is counted and told with
//! the next that can.

use std::path::Path;
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::mpsc::{Receiver, SyncSender, sync_channel};
use std::thread::Builder;

use jiff::Timestamp;
use tracing::warn;

use super::visitor::Asker;
use crate::record::{ActAnswer, ActRecord, RunId, Store, records_file};

/// Acts that wait for the disk at once; arbitrary, some seconds of somebody who hammers.
const WAITING: usize = 1024;

/// Where acts go.
pub(super) struct Acts {
    to: SyncSender<ActRecord>,
    lost: AtomicU64,
}

impl Acts {
    /// Opens the records and begins to listen.
    pub(super) fn start(records: Option<&Path>) -> Result<Self, String> {
        let store = records_file(records)
            .and_then(|file| Store::open(&file))
            .map_err(|problem| problem.whole())?;
        let (to, inbox) = sync_channel(WAITING);
        Builder::new()
            .name("acts".to_owned())
            .spawn(move || keep(store, &inbox))
            .map_err(|trouble| format!("acts cannot be kept: {trouble}"))?;
        Ok(Self { to, lost: AtomicU64::new(0) })
    }

    /// Keeps what somebody asked, and why it was refused if it was. Never waits.
    pub(super) fn keep(
        &self,
        asker: &Asker,
        what: &str,
        refused: Option<&str>,
        run: Option<RunId>,
    ) {
        let lost = self.lost.swap(0, Ordering::Relaxed);
        let what = match lost {
            0 => what.to_owned(),
            lost => format!("{what} ({lost} acts before this one could not be kept)"),
        };
        let act = ActRecord {
            at: Timestamp::now(),
            person: asker.name.to_string(),
            role: asker.role,
            whence: asker.whence,
            what,
            answer: refused.map_or(ActAnswer::Done, |why| ActAnswer::Refused(why.to_owned())),
            run,
        };
        if self.to.try_send(act).is_err() {
            self.lost.fetch_add(lost + 1, Ordering::Relaxed);
        }
    }
}

fn keep(mut store: Store, inbox: &Receiver<ActRecord>) {
    while let Ok(act) = inbox.recv() {
        if let Err(trouble) = store.keep_act(&act) {
            warn!("an act could not be kept: {}", trouble.whole());
        }
    }
}
