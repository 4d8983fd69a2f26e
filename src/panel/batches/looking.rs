//! How the order in hand stands, looked up from time to time by a thread that may wait for the disk.

use std::sync::Arc;
use std::sync::atomic::Ordering;
use std::time::{Duration, Instant};

use evenpass_core::sequence::Phase;
use jiff::Timestamp;
use tracing::warn;

use crate::batch::served::{Chosen, Serving, Shown};
use crate::panel::app::{App, locked};
use crate::record::RunId;
use crate::station::Loaded;

/// How often it is looked how the order stands while nothing is known to have changed: surfaces grow
/// old by the minute, and the command line tells nobody here (arbitrary).
const LOOK_EVERY: Duration = Duration::from_secs(10);
/// How many times as long as a look took none follows it, where only time goes by (arbitrary).
const LOOKS_REST: u32 = 50;

/// A loading of a job: another one is another, be it of the same recipe.
#[derive(Clone, Default)]
struct Loading(Option<Arc<Loaded>>);

impl PartialEq for Loading {
    fn eq(&self, other: &Self) -> bool {
        self.0.as_ref().map(Arc::as_ptr) == other.0.as_ref().map(Arc::as_ptr)
    }
}

/// What a look was of: whatever changes here is a reason to look anew.
#[derive(Clone, Default, PartialEq)]
struct Seen {
    loaded: Loading,
    chosen: Chosen,
    run: Option<RunId>,
    under_way: bool,
    ended: usize,
    told: u64,
}

/// What was found when it was last looked.
#[derive(Default)]
pub(in crate::panel) struct Looked {
    of: Seen,
    again: Option<Instant>,
    found: Option<Arc<Shown>>,
}

impl App {
    /// How the order in hand stands, as it was last looked at.
    pub(in crate::panel) fn order(&self) -> Option<Arc<Shown>> {
        locked(&self.inside.order).found.clone()
    }

    /// Looks how it stands, where that may have changed since. Waits for nothing itself.
    pub(in crate::panel) fn look_for_order(&self) {
        let station = self.station();
        let kept = station.kept();
        let rests = matches!(
            station.snapshot().status.phase,
            Phase::Idle | Phase::Manual | Phase::Complete | Phase::Stopped
        );
        let of = Seen {
            loaded: Loading(station.loaded()),
            chosen: station.chosen(),
            run: kept.run,
            under_way: !rests,
            ended: kept.ended,
            told: self.inside.told_of_orders.load(Ordering::Relaxed),
        };
        {
            let looked = locked(&self.inside.order);
            if looked.of == of && looked.again.is_some_and(|again| Instant::now() < again) {
                return;
            }
        }
        let Ok(turn) = self.inside.looking_order.clone().try_acquire_owned() else { return };
        let app = self.clone();
        tokio::task::spawn_blocking(move || {
            let began = Instant::now();
            let found = of.loaded.0.as_ref().and_then(|loaded| app.shown(loaded, &of));
            let rest = LOOK_EVERY.max(began.elapsed() * LOOKS_REST);
            let again = Some(Instant::now() + rest);
            *locked(&app.inside.order) = Looked { of, again, found };
            drop(turn);
        });
    }

    fn shown(&self, loaded: &Loaded, of: &Seen) -> Option<Arc<Shown>> {
        let serving = Serving {
            records: self.station().records(),
            kind: self.station().kind(),
            job: &loaded.job,
            plan: &loaded.plan,
            chosen: &of.chosen,
        };
        let run = of.run.as_ref().filter(|_| of.under_way);
        match serving.shown(run, Timestamp::now()) {
            Ok(mut shown) => {
                // The rest of a run is of that run's part, whatever is ordered.
                if loaded.goes_on.is_some() {
                    (shown.order, shown.next) = (None, None);
                }
                Some(Arc::new(shown))
            }
            Err(problem) => {
                warn!("how the order stands is not known: {}", problem.whole());
                None
            }
        }
    }

    /// Something of an order was told or chosen.
    pub(super) fn look_at_order_anew(&self) {
        self.inside.told_of_orders.fetch_add(1, Ordering::Relaxed);
        self.look_for_order();
    }
}
