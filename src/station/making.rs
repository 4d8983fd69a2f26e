//! How a station is made: a scan begins, on the twin or on serial lines, and a keeper listens to what
//! it tells.

use std::path::PathBuf;
use std::sync::{Arc, Mutex};
use std::time::Instant;

use evenpass_core::ledger::Entry;
use evenpass_core::plan::Plan;
use evenpass_core::rig::Rig;
use evenpass_core::scan::Controller;
use evenpass_hil::{Bench, BenchSpec, HandScript, PartInChuck, Presence};
use tokio::sync::watch;

use super::inbox::{Inbox, ToKeeper, inbox};
use super::keeper::{Keeper, Machine, NextPart, ZonesOf};
use super::scan::Scan;
use super::{Inside, Proofs, Seat, Station};
use crate::clock::paced::{AtBench, Gone, Paced, PacedOrders};
use crate::clock::virtual_time::{Unwitnessed, VirtualTime, Witness};
use crate::clock::wall_time::WallTime;
use crate::comparison::{self, ZoneComparison};
use crate::files::Source;
use crate::port::{Medium, Port};
use crate::proving::keeping::{Lines, demanded, kind_of_run};
use crate::record::RunKind;

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

/// A scan that runs, and where what it tells is kept.
struct Begun {
    scan: Scan,
    lines: Lines,
    kind: RunKind,
    /// Seed of everything random on a twin.
    seed: Option<u64>,
    zones: ZonesOf,
    next_part: NextPart,
    keeper: (ToKeeper, Inbox),
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
        let (to_keeper, from) = inbox();
        let paced = Paced::start(time, pace, telling(&to_keeper))
            .map_err(|trouble| format!("the twin cannot be started: {trouble}"))?;
        let (orders, chuck) = (paced.orders.clone(), paced.orders.clone());
        Self::of(
            setup,
            Begun {
                scan: Scan::Twin(paced),
                lines: Lines::Simulated,
                kind: RunKind::Twin,
                seed: Some(seed),
                zones: Box::new(move |plan| zones_of(&orders, plan)),
                next_part: Box::new(move || {
                    // A twin that has ended has no chuck.
                    let _ = chuck.at_bench(Box::new(Bench::next_part));
                }),
                keeper: (to_keeper, from),
            },
        )
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
        let (to_keeper, from) = inbox();
        let clock = WallTime::start(controller, ports, telling(&to_keeper))
            .map_err(|trouble| format!("the scan cannot be started: {trouble}"))?;
        Self::of(
            setup,
            Begun {
                scan: Scan::Lines(clock),
                lines,
                kind,
                seed: None,
                zones: Box::new(|_| Vec::new()),
                next_part: Box::new(|| ()),
                keeper: (to_keeper, from),
            },
        )
    }

    fn of(setup: Setup, begun: Begun) -> Result<Self, String> {
        let Begun { scan, lines, kind, seed, zones, next_part, keeper: (to_keeper, from) } = begun;
        let windows = scan.windows().clone();
        let machine = Machine {
            kind,
            seed,
            records: setup.records.clone(),
            snapshots: windows.snapshots.clone(),
            zones,
            next_part,
        };
        let keeper = Keeper::start(to_keeper, from, machine)
            .map_err(|trouble| format!("the records cannot be kept: {trouble}"))?;
        Ok(Self {
            inside: Arc::new(Inside {
                scan: Mutex::new(Some(scan)),
                windows,
                kept: keeper.kept(),
                keeper: Mutex::new(Some(keeper)),
                seat: Mutex::new(Seat::default()),
                loaded: watch::channel(None).0,
                chosen: Mutex::default(),
                proofs: Proofs::default(),
                rig: setup.rig,
                rig_source: setup.rig_source,
                kind,
                lines,
                seed,
                records: setup.records,
                turns: tokio::sync::Mutex::new(()),
                began: Instant::now(),
            }),
        })
    }
}

fn controller(setup: &Setup) -> Result<Controller, String> {
    Controller::new(&setup.rig).map_err(|p| format!("{}: {p}", setup.rig_source.name))
}

/// Hands the ledger's entries to the keeper.
fn telling(keeper: &ToKeeper) -> impl FnMut(Entry) + Send + 'static {
    let keeper = keeper.clone();
    move |entry| keeper.entry(entry)
}

/// What lies on the twin's part.
fn zones_of(orders: &PacedOrders, plan: &Plan) -> Vec<ZoneComparison> {
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
