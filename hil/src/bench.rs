//! The bench as a whole: it takes bytes and time, and gives bytes, switch instants and the truth.

use std::collections::VecDeque;

use crate::agenda::{Agenda, NEVER, Slot};
use crate::at_device::Tampered;
use crate::device::drive::Drive;
use crate::device::field_io::FieldIo;
use crate::device::inverter::Inverter;
use crate::fault::{LineFault, LineIndex, SignalFault, Target};
use crate::hands::Hands;
use crate::part::PartInChuck;
use crate::plant::bar::{Bar, Heating};
use crate::plant::carriage::Carriage;
use crate::plant::deposit::{Deposit, Landing};
use crate::plant::flame::Flame;
use crate::plant::gas::Pipe;
use crate::plant::powder::Powder;
use crate::plant::spindle::Spindle;
use crate::plant::surface::Surface;
use crate::spec::{BenchSpec, SpecError, TorchSpec};
use crate::truth::Switched;
use crate::watching::Watching;
use crate::wire::Frame;
use crate::wire::receiver::{LineTiming, Receiver};
use crate::wiring::Button;

/// Regular step of what changes slowly, us.
pub(crate) const TICK_US: u64 = 25_000;
/// The part's temperature takes two ticks a step, s.
const HEAT_STEP_S: f64 = 0.05;
/// Slower than this the part counts as standing still, rpm.
pub(crate) const STILL_RPM: f64 = 1.0;
/// Bytes that a device puts on a line.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Burst {
    /// The line.
    pub line: LineIndex,
    /// When the first byte starts to leave, us. It may lie ahead of the bench's time.
    pub start_us: u64,
    /// The bytes, one after the other without a pause.
    pub bytes: Frame,
}

/// What has gone wrong with the plant.
#[derive(Clone, Debug, Default)]
pub(crate) struct Troubles {
    pub(crate) fuel_share: Option<f64>,
    pub(crate) oxygen_share: Option<f64>,
    pub(crate) extraction_failed: bool,
    pub(crate) plant_air_lost: bool,
    pub(crate) clamp_lost: bool,
    pub(crate) coat_emissivity: Option<f64>,
}

/// A fault on a line.
#[derive(Clone, Copy, Debug)]
pub(crate) struct OnLine {
    pub(crate) line: LineIndex,
    pub(crate) fault: LineFault,
    pub(crate) chance: f64,
}

/// A machine to control: plant, devices on two lines, and a person.
///
/// Calls come in four kinds. *Time*: [`Bench::advance`] brings the world to an instant, and
/// [`Bench::next_wake_us`] says by when that should be; earlier calls are harmless and change nothing
/// of what follows. *Bytes in*: [`Bench::receive`]. *Bytes out*: [`Bench::poll_transmit`], to be asked
/// until it is empty after each `advance`. *The rest* looks ([`Bench::truth`], [`Bench::thickness_mm`],
/// [`Bench::take_switched`]) or plays fate ([`Bench::inject`], [`Bench::follow_script`], buttons and guard).
/// Time never runs backwards: an instant before the bench's own counts as now.
#[derive(Clone, Debug)]
pub struct Bench {
    pub(crate) spec: BenchSpec,
    pub(crate) part: PartInChuck,
    pub(crate) now_us: u64,
    pub(crate) agenda: Agenda,
    pub(crate) field_line: Receiver,
    pub(crate) motion_line: Receiver,
    pub(crate) out: VecDeque<Burst>,
    pub(crate) field_io: FieldIo,
    pub(crate) drive: Drive,
    pub(crate) inverter: Inverter,
    pub(crate) carriage: Carriage,
    pub(crate) spindle: Spindle,
    pub(crate) fuel: Pipe,
    pub(crate) oxygen: Pipe,
    pub(crate) extraction: Pipe,
    pub(crate) fuel_shut_since_us: Option<u64>,
    pub(crate) oxygen_shut_since_us: Option<u64>,
    pub(crate) igniter_since_us: Option<u64>,
    pub(crate) flame: Flame,
    pub(crate) powder: Powder,
    pub(crate) deposit: Deposit,
    pub(crate) bar: Bar,
    pub(crate) hands: Hands,
    pub(crate) torch: usize,
    pub(crate) watching: Watching,
    /// How many torches of the job card have been mounted.
    pub(crate) torches_used: usize,
    pub(crate) energised: u16,
    pub(crate) buttons: u16,
    pub(crate) key_on: bool,
    pub(crate) guard_closed: bool,
    pub(crate) torque_allowed: bool,
    pub(crate) stop_asked: bool,
    pub(crate) powered: bool,
    pub(crate) troubles: Troubles,
    pub(crate) tampered: Tampered,
    pub(crate) signal_faults: Vec<SignalFault>,
    pub(crate) line_faults: Vec<OnLine>,
    pub(crate) memory: Vec<(Target, Frame, Frame)>,
    pub(crate) dice: fastrand::Rng,
    pub(crate) switched: VecDeque<Switched>,
    pub(crate) settled_mm: f64,
    pub(crate) heated_at_mm: Option<f64>,
    pub(crate) odd_tick: bool,
}

impl Bench {
    /// A bench that has just been switched on, its gas shut, its guard closed, its key off.
    ///
    /// The same spec, part, seed and calls give the same bytes.
    ///
    /// # Errors
    /// When the part does not fit the bench: see the sentence.
    pub fn new(spec: &BenchSpec, part: &PartInChuck, seed: u64) -> Result<Self, SpecError> {
        part.check(spec)?;
        let surface = Surface::new(part);
        let carriage = Carriage::new(&spec.carriage, &spec.drive);
        let character_ns = u64::from(spec.line.bits_per_character) * 1_000_000_000
            / u64::from(spec.line.baud.max(1));
        let line = Receiver::new(LineTiming {
            character_ns,
            inter_character_us: spec.line.inter_character_gap_us,
            frame_gap_us: spec.line.frame_gap_us,
        });
        let first = part.torch_order.first().and_then(|name| spec.torch_index(name));
        let mut bench = Self {
            part: part.clone(),
            now_us: 0,
            agenda: Agenda::new(),
            field_line: line.clone(),
            motion_line: line,
            out: VecDeque::with_capacity(8),
            field_io: FieldIo::new(&spec.field_io),
            drive: Drive::new(&spec.drive, &carriage),
            inverter: Inverter::new(&spec.inverter, &spec.spindle),
            spindle: Spindle::new(&spec.spindle),
            fuel: Pipe::at(0.0),
            oxygen: Pipe::at(0.0),
            extraction: Pipe::at(0.0),
            fuel_shut_since_us: Some(0),
            oxygen_shut_since_us: Some(0),
            igniter_since_us: None,
            flame: Flame::new(crate::counts::microseconds(spec.flame.out_after_s)),
            powder: Powder::new(&spec.powder),
            bar: Bar::new(&spec.heat, part, &surface),
            deposit: Deposit::new(&spec.plume, surface, spec.carriage.travel_mm()),
            hands: Hands::new(&spec.hands),
            torch: first.unwrap_or_default(),
            watching: Watching::default(),
            torches_used: 1,
            energised: 0,
            buttons: 0,
            key_on: false,
            guard_closed: true,
            torque_allowed: true,
            stop_asked: false,
            powered: true,
            troubles: Troubles::default(),
            tampered: Tampered::default(),
            signal_faults: Vec::new(),
            line_faults: Vec::new(),
            memory: Vec::new(),
            dice: fastrand::Rng::with_seed(seed),
            switched: VecDeque::with_capacity(64),
            settled_mm: carriage.torch_mm(0),
            heated_at_mm: None,
            odd_tick: false,
            carriage,
            spec: spec.clone(),
        };
        bench.agenda.set(Slot::DriveStart, crate::counts::microseconds(spec.drive.start_up_s));
        bench.agenda.set(Slot::Tick, TICK_US);
        Ok(bench)
    }

    /// The bench's own time, us since it was switched on.
    #[must_use]
    pub fn now_us(&self) -> u64 {
        self.now_us
    }

    /// By when [`Bench::advance`] should be called; changes with every call that takes `&mut self`.
    #[must_use]
    pub fn next_wake_us(&self) -> u64 {
        self.agenda.earliest_us()
    }

    /// A burst of bytes without pauses has arrived; its last byte ended at `last_byte_at_us`.
    ///
    /// Silence between this burst and the one before counts: up to t1.5 the frame goes on, beyond it
    /// the frame is spoilt, and t3.5 of silence ends it.
    pub fn receive(&mut self, line: LineIndex, last_byte_at_us: u64, bytes: &[u8]) {
        if bytes.is_empty() {
            return;
        }
        let start = self.receiver(line).start_of(last_byte_at_us, bytes.len());
        self.advance(start);
        if self.is_cut(line) {
            return;
        }
        let (slot, receiver) = match line {
            LineIndex::Field => (Slot::FieldFrame, &mut self.field_line),
            LineIndex::Motion => (Slot::MotionFrame, &mut self.motion_line),
        };
        let ends_us = receiver.receive(last_byte_at_us.max(self.now_us), bytes);
        self.agenda.set(slot, ends_us);
    }

    pub(crate) fn receiver(&self, line: LineIndex) -> &Receiver {
        match line {
            LineIndex::Field => &self.field_line,
            LineIndex::Motion => &self.motion_line,
        }
    }

    /// Another limit for the silence inside a frame, us: where bytes come through an operating system,
    /// pauses are its own and not the line's.
    pub fn set_inter_character_gap_us(&mut self, limit_us: u64) {
        self.field_line.set_inter_character_us(limit_us);
        self.motion_line.set_inter_character_us(limit_us);
    }

    /// The next bytes that a device puts on a line, in the order of decision.
    pub fn poll_transmit(&mut self) -> Option<Burst> {
        self.out.pop_front()
    }

    /// Brings the world to `now_us`.
    pub fn advance(&mut self, now_us: u64) {
        while let Some((slot, at_us)) = self.agenda.take_due(now_us) {
            self.now_us = self.now_us.max(at_us);
            self.happen(slot);
        }
        self.now_us = self.now_us.max(now_us);
    }

    pub(crate) fn happen(&mut self, slot: Slot) {
        let now = self.now_us;
        match slot {
            Slot::FieldFrame => self.end_of_frame(LineIndex::Field),
            Slot::MotionFrame => self.end_of_frame(LineIndex::Motion),
            Slot::Coils => self.coils_act(),
            Slot::WatchdogRelay => {
                self.field_io.drop_relay();
                self.switch_outputs();
            }
            Slot::FieldTimeout => {
                self.field_io.communication_lost();
                self.coils_act();
            }
            Slot::DriveTimeout => {
                self.drive.communication_lost(now, &mut self.carriage);
                self.plan_carriage();
            }
            Slot::InverterTimeout => {
                let again = self.inverter.communication_lost(now, &mut self.spindle);
                self.agenda.set(Slot::InverterTimeout, again.unwrap_or(NEVER));
                self.plan_spindle();
            }
            Slot::DriveStart => self.drive.started(),
            Slot::Carriage => self.carriage_passes(),
            Slot::Spindle => self.plan_spindle(),
            Slot::Powder => self.powder_passes(),
            Slot::Flame => self.feed_flame(),
            Slot::TorqueOff => {
                self.torque_allowed = false;
                self.drive.set_torque_allowed(now, &mut self.carriage, false);
                self.plan_carriage();
            }
            Slot::Hands => self.move_hands(),
            Slot::Tick => self.tick(),
        }
    }

    pub(crate) fn mounted(&self) -> Option<&TorchSpec> {
        self.spec.torch.get(self.torch)
    }

    pub(crate) fn plan_carriage(&mut self) {
        let next = self.carriage.next_us(self.now_us);
        self.agenda.set(Slot::Carriage, next.unwrap_or(NEVER));
    }

    pub(crate) fn plan_spindle(&mut self) {
        let next = self.spindle.next_us(self.now_us);
        self.agenda.set(Slot::Spindle, next.unwrap_or(NEVER));
    }

    pub(crate) fn plan_powder(&mut self) {
        self.agenda.set(Slot::Powder, self.powder.next_us().unwrap_or(NEVER));
    }

    pub(crate) fn carriage_passes(&mut self) {
        self.settle_powder();
        self.carriage.pass(self.now_us);
        self.drive.carriage_moved(self.now_us, &mut self.carriage);
        self.plan_carriage();
    }

    pub(crate) fn powder_passes(&mut self) {
        self.settle_powder();
        self.powder.pass(self.now_us);
        self.plan_powder();
    }

    /// Lets the powder since the last call land along the way that the torch has gone.
    pub(crate) fn settle_powder(&mut self) {
        let mass_g = self.powder.settle(self.now_us);
        let z = self.carriage.torch_mm(self.now_us);
        let from = std::mem::replace(&mut self.settled_mm, z);
        if mass_g > 0.0 {
            let landing = if !self.flame.is_lit() || !self.mounted().is_some_and(|t| t.takes_powder)
            {
                Landing::Cold
            } else if self.part_rpm() < STILL_RPM {
                Landing::OneSided
            } else {
                Landing::Hot
            };
            self.deposit.release(from, z, mass_g, landing);
        }
    }

    pub(crate) fn part_rpm(&self) -> f64 {
        if self.troubles.clamp_lost { 0.0 } else { self.spindle.rpm(self.now_us) }
    }

    pub(crate) fn emergency_ok(&self) -> bool {
        self.buttons & Button::EmergencyStop.mask() == 0
    }

    /// The hard-wired circuit: emergency stop and guard take the torque by a category 1 stop; emergency
    /// stop, clamp and an open guard drop the spindle's run latch.
    pub(crate) fn judge_chain(&mut self) {
        let now = self.now_us;
        let torque_ok = self.emergency_ok() && self.guard_closed;
        if !torque_ok && !self.stop_asked {
            self.stop_asked = true;
            self.drive.stop_asked(now, &mut self.carriage);
            self.plan_carriage();
            let after = crate::counts::microseconds(self.spec.cell.torque_off_after_s);
            self.agenda.set(Slot::TorqueOff, now + after);
        } else if torque_ok && self.stop_asked {
            self.stop_asked = false;
            self.torque_allowed = true;
            self.agenda.clear(Slot::TorqueOff);
            self.drive.set_torque_allowed(now, &mut self.carriage, true);
        }
        let turning = self.spindle.rpm(now) >= STILL_RPM || self.inverter.is_running();
        let healthy =
            self.emergency_ok() && !self.troubles.clamp_lost && (self.guard_closed || !turning);
        let was = self.inverter.latch_closed();
        self.inverter.set_chain(now, &mut self.spindle, healthy);
        if was != self.inverter.latch_closed() {
            self.plan_spindle();
        }
    }

    pub(crate) fn tick(&mut self) {
        self.agenda.set(Slot::Tick, self.now_us + TICK_US);
        if !self.powder.is_quiet() {
            self.settle_powder();
        }
        self.heat();
        self.feed_flame();
        if let Some(since) = self.igniter_since_us
            && self.spec.flame.igniter_fitted
            && self.now_us >= since + crate::counts::microseconds(self.spec.flame.igniter_delay_s)
        {
            self.spark();
        }
        self.drive.watch_following(self.now_us, &mut self.carriage);
        if self.drive.state().has_torque() {
            self.plan_carriage();
        }
        self.judge_chain();
        if !self.signal_faults.is_empty() {
            self.observe_faults();
            self.watch_beat();
            self.switch_outputs();
        }
        let sight = self.sight();
        self.hands.look(self.now_us, &sight);
        self.agenda.set(Slot::Hands, self.hands.next_us().unwrap_or(NEVER));
    }

    /// Two ticks a step: the first notes where the flame is, the second heats from there.
    pub(crate) fn heat(&mut self) {
        self.odd_tick = !self.odd_tick;
        if self.odd_tick {
            let lit = self.flame.is_lit();
            self.heated_at_mm = lit.then(|| self.carriage.torch_mm(self.now_us));
            return;
        }
        let heating = match (self.heated_at_mm, self.spec.torch.get(self.torch)) {
            (Some(at_mm), Some(torch)) => Some(Heating { torch, at_mm }),
            _ => None,
        };
        self.bar.step(HEAT_STEP_S, heating);
    }
}
