//! The machine as it is served: one controller that runs for as long as the program does, the job
//! it has loaded, its records, the seat, and the proof test in hand. Panel and command line come
//! to it; it knows nothing of either.
//!
//! - [`Seat`] says who commands; [`JogHold`] whether a jog key is still held.
//! - [`Loaded`] is a job that was read, planned and drawn.
//! - [`Proofs`] leads one proof test at a time, with a person at the panel.
//! - the keeper writes the record of one job after another.

mod jog;
mod keeper;
mod loading;
mod proofs;
mod seat;

use std::path::PathBuf;
use std::sync::{Arc, Mutex, PoisonError};
use std::time::{Duration, Instant};

use evenpass_core::coat::Coat;
use evenpass_core::moment::Moment;
use evenpass_core::plan::Plan;
use evenpass_core::request::{Answer, Denial, Origin, Request};
use evenpass_core::rig::Rig;
use evenpass_core::scan::{Controller, Snapshot};
use evenpass_core::sequence::{Leaf, Phase};
use evenpass_hil::{Bench, BenchSpec, HandScript, PartInChuck, Presence};
use tokio::sync::{oneshot, watch};

pub use self::jog::{Follows, JogHold, PULSE_EVERY, Sign};
pub use self::keeper::Kept;
use self::keeper::{Keeper, Machine, Told};
pub use self::loading::{Loaded, SinceLast};
pub use self::proofs::{ProofEnd, ProofShown, Proofs};
pub use self::seat::{NotSeated, Seat, Sitter, Taking, shown_name};
use crate::clock::orders::{Asked, Order, Windows};
use crate::clock::paced::{AtBench, Gone, Paced};
use crate::clock::virtual_time::{Unwitnessed, VirtualTime, Witness};
use crate::clock::wall_time::WallTime;
use crate::comparison::{self, ZoneComparison};
use crate::embed;
use crate::files::Source;
use crate::port::{Medium, Port};
use crate::proving::keeping::{Lines, demanded, kind_of_run};
use crate::record::RunKind;

/// How long the end of a program waits for a stop in order: longest retreat and purge, with room.
const STOPS_WITHIN: Duration = Duration::from_secs(60);
/// How often that is looked at.
const LOOK_EVERY: Duration = Duration::from_millis(50);

/// What a station is made of.
#[derive(Debug)]
pub struct Setup {
    /// The rig.
    pub rig: Rig,
    /// Its text.
    pub rig_source: Source,
    /// The records file; the user's own when `None`.
    pub records: Option<PathBuf>,
}

/// Who asks for something, and from where.
#[derive(Debug, Clone)]
pub struct Commander {
    /// The person, at one signed-in place.
    pub sitter: Sitter,
    /// Whether that place is at the machine.
    pub place: Place,
    /// The turn in the seat that the command was made in.
    pub turn: u64,
}

/// Where somebody is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Place {
    /// At the machine: what they do there are acts at the machine, with the key on.
    AtMachine,
    /// Elsewhere: they watch, and can stop.
    Elsewhere,
}

/// Why a command did not reach the controller.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum Refused {
    /// Its maker does not command.
    #[error("{0}")]
    NotSeated(#[from] NotSeated),
    /// Its maker is not at the machine.
    #[error("only somebody at the machine may do that; from elsewhere: stop, hold, abort")]
    Elsewhere,
    /// The scan has ended.
    #[error("{0}")]
    Gone(#[from] Gone),
}

enum Clock {
    Lines(WallTime),
    Twin(Paced),
}

/// The station. Cheap to clone; all clones are the same one.
#[derive(Clone)]
pub struct Station {
    inside: Arc<Inside>,
}

struct Inside {
    clock: Mutex<Option<Clock>>,
    windows: Windows,
    keeper: Mutex<Option<Keeper>>,
    kept: watch::Receiver<Kept>,
    seat: Mutex<Seat>,
    loaded: watch::Sender<Option<Arc<Loaded>>>,
    proofs: Proofs,
    rig: Rig,
    rig_source: Source,
    kind: RunKind,
    lines: Lines,
    records: Option<PathBuf>,
    began: Instant,
}

/// A lock is only ever held for a moment; whoever broke down with it left a whole value.
fn locked<T>(what: &Mutex<T>) -> std::sync::MutexGuard<'_, T> {
    what.lock().unwrap_or_else(PoisonError::into_inner)
}

impl Station {
    /// A station on the embedded twin, `pace` times as fast as life.
    ///
    /// # Errors
    /// The rig cannot be driven, the bench not be built, or a thread not be made: why.
    pub fn on_twin(setup: Setup, seed: u64, pace: f64) -> Result<Self, String> {
        Self::on_twin_seen_by(setup, seed, pace, Unwitnessed)
    }

    /// The same, with somebody who watches the lines.
    ///
    /// # Errors
    /// As [`Self::on_twin`].
    pub fn on_twin_seen_by<W: Witness + Send + 'static>(
        setup: Setup,
        seed: u64,
        pace: f64,
        witness: W,
    ) -> Result<Self, String> {
        let controller = controller(&setup)?;
        let spec = BenchSpec::default_bench().map_err(|problem| format!("twin: {problem}"))?;
        let mut bench = Bench::new(&spec, &PartInChuck::plain_shaft(), seed)
            .map_err(|problem| format!("twin: {problem}"))?;
        let hands = HandScript { presence: Presence::Assisting, presses: Vec::new() };
        bench.follow_script(&hands);
        let time = VirtualTime::new(&setup.rig, controller, bench, witness);
        let (to_keeper, inbox) = Keeper::channel();
        let keep = to_keeper.clone();
        let paced = Paced::start(time, pace, move |entry| {
            // A keeper that has ended keeps nothing, which is shown.
            let _ = keep.send(Told::Entry(entry));
        })
        .map_err(|trouble| format!("the twin cannot be started: {trouble}"))?;
        let windows = paced.windows.clone();
        let orders = paced.orders.clone();
        let machine = Machine {
            kind: RunKind::Twin,
            seed: Some(seed),
            records: setup.records.clone(),
            snapshots: windows.snapshots.clone(),
            zones: Box::new(move |plan| zones_of(&orders, plan)),
        };
        let keeper = Keeper::start(to_keeper, inbox, machine)
            .map_err(|trouble| format!("the records cannot be kept: {trouble}"))?;
        Ok(Self::of(setup, Clock::Twin(paced), windows, keeper, RunKind::Twin, Lines::Simulated))
    }

    /// A station on serial lines.
    ///
    /// # Errors
    /// A port cannot be opened, the rig not be driven, or a thread not be made: why.
    pub fn on_lines(setup: Setup, ports: Vec<Port>) -> Result<Self, String> {
        let mut controller = controller(&setup)?;
        let simulated = ports.iter().all(|port| port.medium() == Medium::PseudoTerminal);
        let lines = if simulated { Lines::Simulated } else { Lines::Real };
        let kind = kind_of_run(&setup.rig, lines);
        controller.set_proofs(demanded(&setup.rig, lines, setup.records.as_deref())?);
        let (to_keeper, inbox) = Keeper::channel();
        let keep = to_keeper.clone();
        let clock = WallTime::start(controller, ports, move |entry| {
            // A keeper that has ended keeps nothing, which is shown.
            let _ = keep.send(Told::Entry(entry));
        })
        .map_err(|trouble| format!("the scan cannot be started: {trouble}"))?;
        let windows = clock.windows.clone();
        let machine = Machine {
            kind,
            seed: None,
            records: setup.records.clone(),
            snapshots: windows.snapshots.clone(),
            zones: Box::new(|_| Vec::new()),
        };
        let keeper = Keeper::start(to_keeper, inbox, machine)
            .map_err(|trouble| format!("the records cannot be kept: {trouble}"))?;
        Ok(Self::of(setup, Clock::Lines(clock), windows, keeper, kind, lines))
    }

    fn of(
        setup: Setup,
        clock: Clock,
        windows: Windows,
        keeper: Keeper,
        kind: RunKind,
        lines: Lines,
    ) -> Self {
        let kept = keeper.kept();
        Self {
            inside: Arc::new(Inside {
                clock: Mutex::new(Some(clock)),
                windows,
                keeper: Mutex::new(Some(keeper)),
                kept,
                seat: Mutex::new(Seat::default()),
                loaded: watch::channel(None).0,
                proofs: Proofs::default(),
                rig: setup.rig,
                rig_source: setup.rig_source,
                kind,
                lines,
                records: setup.records,
                began: Instant::now(),
            }),
        }
    }

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
    pub fn records(&self) -> Option<&std::path::Path> {
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

    /// What there is to see of the records.
    #[must_use]
    pub fn kept(&self) -> Kept {
        self.inside.kept.borrow().clone()
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
        match &*locked(&self.inside.clock) {
            Some(Clock::Lines(clock)) => clock.orders.send(order).map_err(|_| Gone),
            Some(Clock::Twin(paced)) => paced.orders.send(order),
            None => Err(Gone),
        }
    }

    /// Does something at the twin's bench; a machine has none.
    ///
    /// # Errors
    /// There is no twin, or it has ended.
    pub fn at_bench(&self, act: AtBench) -> Result<(), Gone> {
        match &*locked(&self.inside.clock) {
            Some(Clock::Twin(paced)) => paced.orders.at_bench(act),
            Some(Clock::Lines(_)) | None => Err(Gone),
        }
    }

    /// A stop: from anyone, without seat, right or name. It waits for nothing and nobody.
    ///
    /// # Errors
    /// The scan has ended.
    pub async fn stop(&self, person: Option<Arc<str>>) -> Result<Answer, Gone> {
        self.ask(Asked { request: Request::Stop, origin: Origin::Watcher, person }).await
    }

    /// A command. Holding and aborting are taken from everyone; all else from whoever has the seat
    /// at the machine. A start waits until the header of its record is durable.
    ///
    /// # Errors
    /// Why it did not reach the controller.
    pub async fn command(&self, who: &Commander, request: Request) -> Result<Answer, Refused> {
        let person = Some(who.sitter.name.clone());
        if request.only_takes_away() {
            return Ok(self.ask(Asked { request, origin: Origin::Watcher, person }).await?);
        }
        if who.place == Place::Elsewhere {
            return Err(Refused::Elsewhere);
        }
        self.seat(|seat, _| seat.may_command(&who.sitter.key, who.turn))?;
        if request == Request::Start
            && self.snapshot().status.leaf == Leaf::Ready
            && let Err(trouble) = self.open_record(person.clone()).await
        {
            return Ok(Answer::Denied(Denial {
                why: format!("the record of the job cannot be begun: {trouble}"),
                help: "make room on the disk or look at the records file, then start again"
                    .to_owned(),
            }));
        }
        Ok(self.ask(Asked { request, origin: Origin::Seat, person }).await?)
    }

    async fn ask(&self, asked: Asked) -> Result<Answer, Gone> {
        let (reply, answer) = oneshot::channel();
        self.order(Order::Request(asked, reply))?;
        answer.await.map_err(|_| Gone)
    }

    async fn open_record(&self, person: Option<Arc<str>>) -> Result<(), String> {
        let (reply, opened) = oneshot::channel();
        match &*locked(&self.inside.keeper) {
            Some(keeper) => keeper.tell(Told::Opens(person, reply)),
            None => return Err("the records are shut".to_owned()),
        }
        opened.await.unwrap_or_else(|_| Err("the keeper of the records has ended".to_owned()))
    }

    /// Loads a job; the twin is set up for it anew, as if it had been switched off and on.
    ///
    /// # Errors
    /// The scan has ended, or the bench cannot take the part: why.
    pub async fn load(&self, loaded: Loaded) -> Result<Answer, String> {
        let gone = |gone: Gone| gone.to_string();
        let on_twin = matches!(&*locked(&self.inside.clock), Some(Clock::Twin(_)));
        let bench = match on_twin {
            true => Some(
                embed::bench(&loaded.job, &loaded.plan, 1)
                    .map_err(|problem| format!("twin: {problem}"))?,
            ),
            false => None,
        };
        let (reply, answer) = oneshot::channel();
        self.order(Order::Load(Box::new(loaded.plan.clone()), reply)).map_err(gone)?;
        let answer = answer.await.map_err(|_| Gone.to_string())?;
        if answer != Answer::Accepted {
            return Ok(answer);
        }
        if let Some(bench) = bench {
            self.at_bench(Box::new(move |old| take_over(old, bench))).map_err(gone)?;
        }
        let loaded = Arc::new(loaded);
        if let Some(keeper) = &*locked(&self.inside.keeper) {
            keeper.tell(Told::Loaded(loaded.clone()));
        }
        self.inside.loaded.send_replace(Some(loaded));
        Ok(answer)
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

    /// Whether the scan has ended by itself.
    #[must_use]
    pub fn has_ended(&self) -> bool {
        match &*locked(&self.inside.clock) {
            Some(Clock::Lines(clock)) => clock.has_ended(),
            Some(Clock::Twin(paced)) => paced.has_ended(),
            None => true,
        }
    }

    /// Ends everything: a stop in order, then the scan, then the record. Waits for as long as that
    /// takes, but not for the part to cool: the machine's own reaction keeps the spindle turning.
    ///
    /// # Errors
    /// What the scan broke down of.
    pub fn quit(&self) -> Result<(), String> {
        let (reply, _) = oneshot::channel();
        let asked = Asked { request: Request::Stop, origin: Origin::Watcher, person: None };
        if self.order(Order::Request(asked, reply)).is_ok() {
            let until = Instant::now() + STOPS_WITHIN;
            std::thread::sleep(LOOK_EVERY * 4);
            while Instant::now() < until && !self.has_ended() && !is_at_rest(&self.snapshot()) {
                std::thread::sleep(LOOK_EVERY);
            }
        }
        // The lock is let go before the thread is waited for.
        let clock = locked(&self.inside.clock).take();
        let ended = match clock {
            Some(Clock::Lines(clock)) => clock.quit(),
            Some(Clock::Twin(paced)) => paced.quit(),
            None => Ok(()),
        };
        let keeper = locked(&self.inside.keeper).take();
        if let Some(keeper) = keeper {
            keeper.quit();
        }
        ended.map_err(|trouble| format!("the scan broke down: {trouble}"))
    }
}

fn controller(setup: &Setup) -> Result<Controller, String> {
    Controller::new(&setup.rig).map_err(|p| format!("{}: {p}", setup.rig_source.name))
}

/// Whether nothing burns and nothing of a job is under way but the cooling.
fn is_at_rest(snapshot: &Snapshot) -> bool {
    use evenpass_core::image::Coil;
    let shut = |coil| !snapshot.outputs.coil(coil).is_on();
    let gases = shut(Coil::Fuel) && shut(Coil::Oxygen);
    let phase = snapshot.status.phase;
    gases
        && matches!(
            phase,
            Phase::Idle | Phase::Stopped | Phase::Complete | Phase::Aborted | Phase::Manual
        )
}

/// What lies on the twin's part.
fn zones_of(orders: &crate::clock::paced::PacedOrders, plan: &Plan) -> Vec<ZoneComparison> {
    let (reply, zones) = std::sync::mpsc::channel();
    let plan = plan.clone();
    let look: AtBench = Box::new(move |bench| {
        // The keeper waits for it.
        let _ = reply.send(comparison::zones(&plan, bench));
    });
    match orders.at_bench(look) {
        Ok(()) => zones.recv().unwrap_or_default(),
        Err(Gone) => Vec::new(),
    }
}

/// Another bench in the place of the old one, at the same time, its key as it stood.
fn take_over(old: &mut Bench, mut bench: Bench) {
    let hands = HandScript { presence: Presence::Assisting, presses: Vec::new() };
    bench.follow_script(&hands);
    if old.truth().key_on {
        bench.turn_key_on();
    }
    bench.advance(old.now_us());
    *old = bench;
}
