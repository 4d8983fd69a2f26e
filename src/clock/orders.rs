//! What the thread that drives the controller is told by the rest of the program.

use std::sync::Arc;

use evenpass_core::coat::Coat;
use evenpass_core::moment::Moment;
use evenpass_core::plan::Plan;
use evenpass_core::proof::Standing;
use evenpass_core::request::{Answer, Origin, Request};
use evenpass_core::scan::{Controller, Snapshot};
use tokio::sync::{oneshot, watch};

/// How often the newest picture is published, and how many of those later the coat.
const COAT_EVERY: u32 = 5;

/// Who asks what, and from where.
#[derive(Debug, Clone)]
pub struct Asked {
    /// What is asked.
    pub request: Request,
    /// From where.
    pub origin: Origin,
    /// Who asks, where that is known.
    pub person: Option<Arc<str>>,
}

/// What the thread is told.
#[derive(Debug)]
pub enum Order {
    /// A request, with where its answer goes.
    Request(Asked, oneshot::Sender<Answer>),
    /// Take a planned job over, with where the answer goes.
    Load(Box<Plan>, oneshot::Sender<Answer>),
    /// Drop the rest of a job, if that is what is loaded, with where the answer goes.
    DropRest(oneshot::Sender<Answer>),
    /// Where the proof tests stand now.
    Proofs(Vec<(&'static str, Standing)>),
    /// Begin the proof test of an interlock, with where the answer goes.
    Prove(String, oneshot::Sender<Answer>),
    /// The person has done what the proof under way asks at the device.
    ProofDone,
    /// End the thread: the watchdog stops beating.
    Quit,
}

/// Whether the thread goes on.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Then {
    /// It does.
    GoOn,
    /// It ends.
    End,
}

impl Order {
    /// Carries the order out now. Where nobody waits for an answer any more, the order stands all
    /// the same.
    pub fn carry_out(self, now: Moment, controller: &mut Controller) -> Then {
        match self {
            Self::Request(asked, reply) => {
                let Asked { request, origin, person } = asked;
                let _ = reply.send(controller.request_by(now, request, origin, person.as_deref()));
            }
            Self::Load(plan, reply) => {
                let _ = reply.send(controller.load(&plan));
            }
            Self::DropRest(reply) => {
                let _ = reply.send(controller.drop_rest());
            }
            Self::Proofs(standings) => controller.set_proofs(standings),
            Self::Prove(key, reply) => {
                let _ = reply.send(controller.prove(now, &key));
            }
            Self::ProofDone => controller.proof_done(now),
            Self::Quit => return Then::End,
        }
        Then::GoOn
    }
}

/// What others see of the controller: always the newest.
#[derive(Debug, Clone)]
pub struct Windows {
    /// The newest snapshot.
    pub snapshots: watch::Receiver<Arc<Snapshot>>,
    /// The newest estimate of the coat; `None` without a job.
    pub coats: watch::Receiver<Option<Arc<Coat>>>,
}

/// The thread's side of [`Windows`].
#[derive(Debug)]
pub struct Publisher {
    snapshots: watch::Sender<Arc<Snapshot>>,
    coats: watch::Sender<Option<Arc<Coat>>>,
    until_coat: u32,
}

impl Publisher {
    /// With what there is to see already.
    #[must_use]
    pub fn new(controller: &Controller) -> (Self, Windows) {
        let (to_snapshots, snapshots) = watch::channel(Arc::new(controller.snapshot()));
        let (to_coats, coats) = watch::channel(None);
        let publisher = Self { snapshots: to_snapshots, coats: to_coats, until_coat: 0 };
        (publisher, Windows { snapshots, coats })
    }

    /// Shows how things stand now.
    pub fn publish(&mut self, controller: &Controller) {
        self.snapshots.send_replace(Arc::new(controller.snapshot()));
        if let Some(left) = self.until_coat.checked_sub(1) {
            self.until_coat = left;
            return;
        }
        self.until_coat = COAT_EVERY - 1;
        self.coats.send_replace(controller.coat().cloned().map(Arc::new));
    }
}
