//! The machine as it is served: one controller that runs for as long as the program does, the job
//! it has loaded, its records, the seat, and the proof test in hand. Panel and command line come
//! to it; it knows nothing of either.
//!
//! - [`Seat`] says who commands; [`JogHold`] whether a jog key is still held.
//! - [`Loaded`] is a job that was read, planned and drawn.
//! - [`Proofs`] leads one proof test at a time, with a person at the panel.
//! - the keeper writes the record of one job after another.
//!
//! A [`Station`] is made in `making`, asked in `commanding`, given a job in `loading` and ended in
//! `ending`.

mod commanding;
mod ending;
mod inbox;
mod jog;
mod keeper;
mod loading;
mod making;
mod proofs;
mod scan;
mod seat;

use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::Instant;

use evenpass_core::coat::Coat;
use evenpass_core::moment::Moment;
use evenpass_core::rig::Rig;
use evenpass_core::scan::Snapshot;
use tokio::sync::watch;

pub use self::commanding::{Commander, Place, Refused};
pub use self::jog::{Follows, JogHold, PULSE_EVERY, Sign};
use self::keeper::Keeper;
pub use self::keeper::Kept;
pub use self::loading::{Loaded, SinceLast};
pub use self::making::Setup;
pub use self::proofs::{ProofEnd, ProofShown, Proofs};
use self::scan::Scan;
pub use self::seat::{NotSeated, Seat, Sitter, Taking, is_same_person, shown_name};
use crate::batch::served::Chosen;
use crate::clock::orders::{Order, Windows};
use crate::clock::paced::{AtBench, Gone};
use crate::files::Source;
use crate::particulars::Particulars;
use crate::proving::keeping::{Lines, demanded};
use crate::record::{RecordError, RunKind};

/// The station. Cheap to clone; all clones are the same one.
#[derive(Clone)]
pub struct Station {
    inside: Arc<Inside>,
}

struct Inside {
    scan: Mutex<Option<Scan>>,
    windows: Windows,
    keeper: Mutex<Option<Keeper>>,
    kept: watch::Receiver<Kept>,
    seat: Mutex<Seat>,
    loaded: watch::Sender<Option<Arc<Loaded>>>,
    /// For which order the loaded job is made.
    chosen: Mutex<Chosen>,
    proofs: Proofs,
    rig: Rig,
    rig_source: Source,
    kind: RunKind,
    lines: Lines,
    /// Seed of everything random on the twin.
    seed: Option<u64>,
    records: Option<PathBuf>,
    began: Instant,
    /// One loading or start at a time: plan, twin, record and what is shown are of one job.
    turns: tokio::sync::Mutex<()>,
}

/// A lock is only ever held for a moment; whoever broke down with it left a whole value.
pub(crate) fn locked<T>(what: &Mutex<T>) -> MutexGuard<'_, T> {
    what.lock().unwrap_or_else(PoisonError::into_inner)
}

impl Station {
    /// The rig.
    #[must_use]
    pub fn rig(&self) -> &Rig {
        &self.inside.rig
    }

    /// The rig's text as it was read.
    #[must_use]
    pub fn rig_source(&self) -> &Source {
        &self.inside.rig_source
    }

    /// Where its jobs run.
    #[must_use]
    pub fn kind(&self) -> RunKind {
        self.inside.kind
    }

    /// The records file that was named, if one was.
    #[must_use]
    pub fn records(&self) -> Option<&Path> {
        self.inside.records.as_deref()
    }

    /// The newest snapshot, and a way to wait for the next.
    #[must_use]
    pub fn snapshots(&self) -> watch::Receiver<Arc<Snapshot>> {
        self.inside.windows.snapshots.clone()
    }

    /// The newest snapshot.
    #[must_use]
    pub fn snapshot(&self) -> Arc<Snapshot> {
        self.inside.windows.snapshots.borrow().clone()
    }

    /// The newest estimate of the coat.
    #[must_use]
    pub fn coat(&self) -> Option<Arc<Coat>> {
        self.inside.windows.coats.borrow().clone()
    }

    /// The loaded job.
    #[must_use]
    pub fn loaded(&self) -> Option<Arc<Loaded>> {
        self.inside.loaded.borrow().clone()
    }

    /// For which order the loaded job is made, as somebody has chosen.
    #[must_use]
    pub fn chosen(&self) -> Chosen {
        locked(&self.inside.chosen).clone()
    }

    /// What there is to see of the records.
    #[must_use]
    pub fn kept(&self) -> Kept {
        let mut kept = self.inside.kept.borrow().clone();
        // Until it is asked to end, it ends only by breaking down.
        let is_wanted = locked(&self.inside.keeper).is_some();
        if is_wanted && self.inside.kept.has_changed().is_err() {
            kept.trouble = Some(RecordError::WriterGone.to_string());
        }
        kept
    }

    /// Somebody says what is to be known of the part that is made next: it stands in that part's record.
    pub fn say_of_part(&self, said: Particulars) {
        if let Some(keeper) = &*locked(&self.inside.keeper) {
            keeper.tell(keeper::Told::Said(said));
        }
    }

    /// The proof test in hand.
    #[must_use]
    pub fn proofs(&self) -> &Proofs {
        &self.inside.proofs
    }

    /// The time by which seat and jog keys are judged.
    #[must_use]
    pub fn now(&self) -> Moment {
        Moment::START + self.inside.began.elapsed()
    }

    /// Looks at the seat, or changes it.
    pub fn seat<T>(&self, act: impl FnOnce(&mut Seat, Moment) -> T) -> T {
        let now = self.now();
        let mut seat = locked(&self.inside.seat);
        seat.look(now);
        act(&mut seat, now)
    }

    /// Tells the scan something.
    fn order(&self, order: Order) -> Result<(), Gone> {
        locked(&self.inside.scan).as_ref().ok_or(Gone)?.tell(order)
    }

    /// Does something at the twin's bench; a machine has none.
    ///
    /// # Errors
    /// There is no twin, or it has ended.
    pub fn at_bench(&self, act: AtBench) -> Result<(), Gone> {
        locked(&self.inside.scan).as_ref().ok_or(Gone)?.at_bench(act)
    }

    /// Reads anew where the proof tests stand.
    ///
    /// # Errors
    /// The records cannot be read, or the scan has ended: why.
    pub fn look_at_proofs(&self) -> Result<(), String> {
        let inside = &self.inside;
        let standings = demanded(&inside.rig, inside.lines, inside.records.as_deref())?;
        self.order(Order::Proofs(standings)).map_err(|gone| gone.to_string())
    }
}
