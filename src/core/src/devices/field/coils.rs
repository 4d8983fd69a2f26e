//! The coils as three things kept apart: what is wanted, what the module acknowledged (its echo
//! of a write), and what it confirmed (its own coils, read back).
//!
//! A coil whose last write was not echoed is known as neither on nor off.

use core::time::Duration;

use crate::image::{Coil, Level};
use crate::line::{COILS_MAX, Request, mask};
use crate::moment::Moment;
use crate::rig::FieldSpec;

/// Coils that let gas flow or light it. The powder feeder needs an edge to start and the others
/// may come back by themselves.
const GAS: [Coil; 4] = [Coil::Fuel, Coil::Oxygen, Coil::Igniter, Coil::Supply];

/// A coil that changed in the module.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Switched {
    /// When it changed: the end of the command on the wire and the module's latency behind it.
    pub at: Moment,
    /// Which.
    pub coil: Coil,
    /// To what.
    pub level: Level,
    /// When it was planned to change, for a powder edge.
    pub planned: Option<Moment>,
}

/// What is believed of one coil.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct CoilBelief {
    /// What the last write asked; `None` when it was never written.
    pub commanded: Option<Level>,
    /// What the module echoed; `None` while a write is unanswered.
    pub acknowledged: Option<Level>,
    /// What the module's own coils said last.
    pub confirmed: Option<Level>,
}

/// Coils that are written together: a run without the powder feeder's.
#[derive(Debug, Clone, Copy, Default)]
struct Run {
    address: u16,
    count: u16,
    mask: u64,
}

/// All coils of the module from the first to the last of ours. Coils between that are not ours
/// are written de-energised.
#[derive(Debug, Clone)]
pub(super) struct CoilBank {
    fitted: Vec<(Coil, u64)>,
    address: u16,
    count: u16,
    all: u64,
    powder: u64,
    powder_address: u16,
    watchdog: u64,
    runs: [Run; 2],
    latency: Duration,

    gas: u64,

    wanted: u64,
    withheld: u64,
    written: u64,
    commanded: u64,
    known: u64,
    acknowledged: u64,
    read_back: u64,
    confirmed: u64,
    switched: Vec<Switched>,
}

/// The run between two coils, the second not included.
fn run(base: u16, from: u16, to: u16) -> Run {
    let count = to.saturating_sub(from);
    Run { address: from, count, mask: mask(count) << from.saturating_sub(base).min(63) }
}

impl CoilBank {
    /// `None` when the coils lie further apart than one request reaches, or the powder feeder or
    /// the watchdog has none.
    pub(super) fn new(spec: &FieldSpec) -> Option<Self> {
        let outputs = || spec.coils.iter().filter_map(|coil| coil.output);
        let (address, last) = (outputs().min()?, outputs().max()?);
        let count = last.checked_sub(address)?.checked_add(1)?;
        if count > COILS_MAX {
            return None;
        }
        let bit = |output: u16| 1_u64 << output.saturating_sub(address).min(63);
        let output_of = |wanted: Coil| {
            spec.coils.iter().find(|coil| coil.coil == wanted).and_then(|coil| coil.output)
        };
        let powder_address = output_of(Coil::Powder)?;
        let end = address.checked_add(count)?;
        let gas = GAS.iter().filter_map(|coil| output_of(*coil)).fold(0, |all, at| all | bit(at));
        Some(Self {
            fitted: spec
                .coils
                .iter()
                .filter_map(|coil| Some((coil.coil, bit(coil.output?))))
                .collect(),
            address,
            count,
            all: mask(count),
            powder: bit(powder_address),
            powder_address,
            watchdog: bit(output_of(Coil::Watchdog)?),
            runs: [
                run(address, address, powder_address),
                run(address, powder_address.saturating_add(1), end),
            ],
            latency: spec.coil_latency.to_duration(),
            gas,
            wanted: 0,
            withheld: gas,
            written: 0,
            commanded: 0,
            known: 0,
            acknowledged: 0,
            read_back: 0,
            confirmed: 0,
            switched: Vec::new(),
        })
    }

    /// Asks levels of all coils but the powder feeder's and the watchdog's. A gas coil that was
    /// asked on when the module came back stays off until it has been asked off once: a
    /// reconnection opens no valve.
    pub(super) fn want(&mut self, level_of: impl Fn(Coil) -> Level) {
        let mut wanted = self.wanted & self.watchdog;
        for (coil, bit) in &self.fitted {
            if !matches!(coil, Coil::Powder | Coil::Watchdog) && level_of(*coil).is_on() {
                wanted |= bit;
            }
        }
        self.withheld &= wanted;
        self.wanted = wanted & !self.withheld;
    }

    /// Asks the safe level of every coil; the watchdog's stays, so that no edge feeds its relay.
    pub(super) fn want_nothing(&mut self) {
        self.wanted &= self.watchdog;
    }

    /// Asks an edge of the watchdog's coil.
    pub(super) fn beat(&mut self) {
        self.wanted ^= self.watchdog;
    }

    /// Whether a coil other than the watchdog's is not acknowledged as the trip wants it.
    pub(super) fn trip_pending(&self) -> bool {
        let judged = self.all & !self.watchdog;
        self.known & judged != judged || (self.acknowledged ^ self.wanted) & judged != 0
    }

    /// The run that has something to be written, if any.
    pub(super) fn pending_run(&self) -> Option<usize> {
        self.runs.iter().position(|run| {
            self.known & run.mask != run.mask || (self.acknowledged ^ self.wanted) & run.mask != 0
        })
    }

    /// Whether the powder feeder is acknowledged off.
    pub(super) const fn powder_is_off(&self) -> bool {
        self.known & self.powder != 0 && self.acknowledged & self.powder == 0
    }

    /// Whether the powder feeder's last write was echoed.
    pub(super) const fn powder_is_known(&self) -> bool {
        self.known & self.powder != 0
    }

    /// What was last asked of the powder feeder.
    pub(super) const fn powder_commanded(&self) -> Level {
        Level::from_bit(self.commanded & self.powder != 0)
    }

    /// De-energises everything.
    pub(super) const fn clear_request(&self) -> Request {
        Request::WriteCoils { address: self.address, count: self.count, levels: 0 }
    }

    /// Every coil as wanted, the powder feeder off.
    pub(super) const fn trip_request(&self) -> Request {
        Request::WriteCoils {
            address: self.address,
            count: self.count,
            levels: self.wanted & !self.powder,
        }
    }

    pub(super) fn run_request(&self, index: usize) -> Request {
        let run = self.runs.get(index).copied().unwrap_or_default();
        let shift = u32::from(run.address.saturating_sub(self.address)).min(63);
        let levels = (self.wanted & run.mask) >> shift;
        Request::WriteCoils { address: run.address, count: run.count, levels }
    }

    pub(super) const fn powder_request(&self, level: Level) -> Request {
        Request::WriteCoil { address: self.powder_address, level }
    }

    pub(super) const fn read_back_request(&self) -> Request {
        Request::ReadCoils { address: self.address, count: self.count }
    }

    /// The coils a write touches and the levels it asks, in this bank's bits.
    fn reach(&self, request: &Request) -> (u64, u64) {
        let shift = |address: u16| u32::from(address.saturating_sub(self.address)).min(63);
        match *request {
            Request::WriteCoil { address, level } => {
                let bit = 1 << shift(address);
                (bit, if level.is_on() { bit } else { 0 })
            }
            Request::WriteCoils { address, count, levels } => {
                let touched = mask(count) << shift(address);
                (touched, (levels << shift(address)) & touched)
            }
            _ => (0, 0),
        }
    }

    /// A write left for the module: until it is echoed, its coils are unknown.
    pub(super) fn handle_sent(&mut self, request: &Request) {
        let (touched, levels) = self.reach(request);
        self.known &= !touched;
        self.written |= touched;
        self.commanded = self.commanded & !touched | levels;
    }

    /// The module echoed a write whose last byte was on the wire at `request_end`. Returns when
    /// its coils changed.
    pub(super) fn handle_echo(
        &mut self,
        request: &Request,
        request_end: Moment,
        planned: Option<Moment>,
    ) -> Moment {
        let (touched, levels) = self.reach(request);
        let changed = (self.acknowledged ^ levels) & touched;
        self.acknowledged = self.acknowledged & !touched | levels;
        self.known |= touched;
        let at = request_end + self.latency;
        self.record(changed, at, planned);
        at
    }

    /// The module's own coils, as they were at a moment. They settle what a lost echo left open;
    /// where they contradict an echo, they are believed.
    pub(super) fn handle_read_back(&mut self, levels: u64, at: Moment) {
        self.confirmed = levels;
        self.read_back = self.all;
        let changed = (self.acknowledged ^ levels) & self.all;
        self.acknowledged = levels & self.all;
        self.known |= self.all;
        self.record(changed, at, None);
    }

    /// The module was away: nothing is known of its coils.
    pub(super) fn forget(&mut self) {
        self.known = 0;
        self.read_back = 0;
        self.wanted = 0;
        self.withheld = self.gas;
    }

    fn record(&mut self, changed: u64, at: Moment, planned: Option<Moment>) {
        if changed & !self.watchdog == 0 {
            return;
        }
        for (coil, bit) in &self.fitted {
            if changed & bit & !self.watchdog != 0 {
                let level = Level::from_bit(self.acknowledged & bit != 0);
                self.switched.push(Switched { at, coil: *coil, level, planned });
            }
        }
    }

    pub(super) fn drain_switched(&mut self) -> std::vec::Drain<'_, Switched> {
        self.switched.drain(..)
    }

    /// What is believed of each coil that is fitted.
    pub(super) fn beliefs(&self) -> Vec<(Coil, CoilBelief)> {
        self.fitted.iter().map(|(coil, _)| (*coil, self.belief(*coil))).collect()
    }

    pub(super) fn belief(&self, coil: Coil) -> CoilBelief {
        let bit = self.fitted.iter().find(|(tag, _)| *tag == coil).map_or(0, |(_, bit)| *bit);
        let level = |valid: u64, levels: u64| {
            (valid & bit != 0).then(|| Level::from_bit(levels & bit != 0))
        };
        CoilBelief {
            commanded: level(self.written, self.commanded),
            acknowledged: level(self.known, self.acknowledged),
            confirmed: level(self.read_back, self.confirmed),
        }
    }
}
