//! The bench as a whole: it takes bytes and time, and gives bytes, switch instants and the truth.

use std::collections::VecDeque;

use crate::agenda::{Agenda, NEVER, Slot};
use crate::device::drive::Drive;
use crate::device::field_io::{Beat, FieldIo};
use crate::device::inverter::Inverter;
use crate::fault::{Fault, LineFault, LineIndex, PlantFault, SignalFault, Target, Word};
use crate::hands::{HandScript, Hands, Movement, Sight};
use crate::plant::bar::{Bar, Heating};
use crate::plant::carriage::Carriage;
use crate::plant::deposit::{Deposit, Landing};
use crate::plant::flame::{Flame, Gases};
use crate::plant::gas::{LEAST_BURNING_BAR, Pipe};
use crate::plant::powder::{Flow, Powder};
use crate::plant::spindle::Spindle;
use crate::plant::surface::Surface;
use crate::spec::{BenchSpec, PartInChuck, SpecError, TorchSpec};
use crate::truth::Switched;
use crate::wire::Frame;
use crate::wire::receiver::{LineTiming, Receiver};
use crate::wiring::{Button, COILS, Coil, LOGGED, energised};

/// Regular step of what changes slowly, us.
pub(crate) const TICK_US: u64 = 25_000;
/// The part's temperature takes two ticks a step, s.
const HEAT_STEP_S: f64 = 0.05;
/// Slower than this the part counts as standing still, rpm.
pub(crate) const STILL_RPM: f64 = 1.0;
/// Switchings kept for a reader who does not come.
const SWITCHED_LIMIT: usize = 65_536;

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
    igniter_since_us: Option<u64>,
    pub(crate) flame: Flame,
    pub(crate) powder: Powder,
    pub(crate) deposit: Deposit,
    pub(crate) bar: Bar,
    pub(crate) hands: Hands,
    pub(crate) torch: usize,
    /// How many torches of the job card have been mounted.
    torches_used: usize,
    pub(crate) energised: u16,
    pub(crate) buttons: u16,
    pub(crate) key_on: bool,
    pub(crate) guard_closed: bool,
    pub(crate) torque_allowed: bool,
    stop_asked: bool,
    pub(crate) powered: bool,
    pub(crate) troubles: Troubles,
    pub(crate) signal_faults: Vec<SignalFault>,
    pub(crate) line_faults: Vec<OnLine>,
    pub(crate) memory: Vec<(Target, Frame, Frame)>,
    pub(crate) dice: fastrand::Rng,
    switched: VecDeque<Switched>,
    settled_mm: f64,
    heated_at_mm: Option<f64>,
    odd_tick: bool,
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
        let beyond = spec.carriage.stop_beyond_limit_mm + 1.0;
        let travel =
            (spec.carriage.hard_limit_minus_mm - beyond, spec.carriage.hard_limit_plus_mm + beyond);
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
            deposit: Deposit::new(&spec.plume, surface, travel),
            hands: Hands::new(&spec.hands),
            torch: first.unwrap_or_default(),
            torches_used: 1,
            energised: 0,
            buttons: 0,
            key_on: false,
            guard_closed: true,
            torque_allowed: true,
            stop_asked: false,
            powered: true,
            troubles: Troubles::default(),
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

    fn receiver(&self, line: LineIndex) -> &Receiver {
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

    fn happen(&mut self, slot: Slot) {
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

    fn coils_act(&mut self) {
        if self.field_io.act(Coil::WatchdogBeat.mask()) == Beat::Edge {
            let hold = crate::counts::microseconds(self.spec.field_io.watchdog_hold_s);
            self.agenda.set(Slot::WatchdogRelay, self.now_us + hold);
        }
        self.switch_outputs();
    }

    /// Works out what is energised in fact and lets the plant follow.
    pub(crate) fn switch_outputs(&mut self) {
        let emergency_ok = self.emergency_ok();
        let outputs = if self.powered { self.field_io.acting() } else { 0 };
        let driven = energised(outputs, self.field_io.relay_up(), emergency_ok);
        let driven = if self.signal_faults.is_empty() { driven } else { self.faulty_coils(driven) };
        let changed = driven ^ self.energised;
        if changed == 0 {
            return;
        }
        self.settle_powder();
        self.energised = driven;
        self.log_switched(changed);
        let on = |coil: Coil| driven & coil.mask() != 0;
        let flow = |coil: Coil| if on(coil) { Flow::On } else { Flow::Off };
        let was = |coil: Coil| changed & coil.mask() != 0;
        let now = self.now_us;
        if was(Coil::PowderFeeder) || was(Coil::CarrierAir) {
            let carrier =
                if self.troubles.plant_air_lost { Flow::Off } else { flow(Coil::CarrierAir) };
            self.powder.set_feeder(now, flow(Coil::PowderFeeder));
            self.powder.set_carrier(now, carrier);
            self.powder.pass(now);
            self.plan_powder();
        }
        if was(Coil::FuelValve) {
            self.fuel_shut_since_us = (!on(Coil::FuelValve)).then_some(now);
        }
        if was(Coil::OxygenValve) {
            self.oxygen_shut_since_us = (!on(Coil::OxygenValve)).then_some(now);
        }
        if was(Coil::GasSupply) {
            self.set_supply();
        }
        if was(Coil::Igniter) {
            self.igniter_since_us = on(Coil::Igniter).then_some(now);
        }
        if was(Coil::Extraction) {
            self.set_extraction();
        }
        self.feed_flame();
    }

    fn log_switched(&mut self, changed: u16) {
        let torch_z_mm = self.carriage.torch_mm(self.now_us);
        for coil in COILS {
            if changed & coil.mask() & LOGGED != 0 {
                if self.switched.len() >= SWITCHED_LIMIT {
                    self.switched.pop_front();
                }
                self.switched.push_back(Switched {
                    time_us: self.now_us,
                    coil,
                    energised: self.energised & coil.mask() != 0,
                    torch_z_mm,
                });
            }
        }
    }

    /// Outputs that have switched in fact since the last call, oldest first.
    pub fn take_switched(&mut self) -> impl Iterator<Item = Switched> + '_ {
        self.switched.drain(..)
    }

    pub(crate) fn is_on(&self, coil: Coil) -> bool {
        self.energised & coil.mask() != 0
    }

    pub(crate) fn mounted(&self) -> Option<&TorchSpec> {
        self.spec.torch.get(self.torch)
    }

    fn set_supply(&mut self) {
        let now = self.now_us;
        let gas = &self.spec.gas;
        if self.is_on(Coil::GasSupply) {
            let torch = self.mounted();
            let fuel = torch.and_then(|t| t.fuel_bar).unwrap_or(gas.fuel_bar);
            let oxygen = torch.and_then(|t| t.oxygen_bar).unwrap_or(gas.oxygen_bar);
            let fill = gas.fill_time_constant_s;
            let fuel = fuel * self.troubles.fuel_share.unwrap_or(1.0);
            let oxygen = oxygen * self.troubles.oxygen_share.unwrap_or(1.0);
            self.fuel.go(now, fuel, fill);
            self.oxygen.go(now, oxygen, fill);
        } else {
            let vent = gas.vent_time_constant_s;
            self.fuel.go(now, 0.0, vent);
            self.oxygen.go(now, 0.0, vent);
        }
    }

    fn set_extraction(&mut self) {
        let runs = self.is_on(Coil::Extraction) && !self.troubles.extraction_failed;
        let cell = &self.spec.cell;
        let flow = if runs { cell.extraction_percent } else { 0.0 };
        self.extraction.go(self.now_us, flow, cell.extraction_time_constant_s);
    }

    pub(crate) fn gases(&self) -> Gases {
        let flows = |coil: Coil, pipe: &Pipe| {
            self.is_on(coil) && pipe.value(self.now_us) >= LEAST_BURNING_BAR
        };
        if flows(Coil::FuelValve, &self.fuel) && flows(Coil::OxygenValve, &self.oxygen) {
            Gases::Flowing
        } else {
            Gases::Missing
        }
    }

    pub(crate) fn feed_flame(&mut self) {
        if !self.flame.is_lit() {
            return;
        }
        self.settle_powder();
        let out_us = self.flame.feed(self.now_us, self.gases());
        self.agenda.set(Slot::Flame, out_us.unwrap_or(NEVER));
    }

    fn spark(&mut self) {
        self.settle_powder();
        self.flame.spark(self.gases());
    }

    pub(crate) fn plan_carriage(&mut self) {
        let next = self.carriage.next_us(self.now_us);
        self.agenda.set(Slot::Carriage, next.unwrap_or(NEVER));
    }

    pub(crate) fn plan_spindle(&mut self) {
        let next = self.spindle.next_us(self.now_us);
        self.agenda.set(Slot::Spindle, next.unwrap_or(NEVER));
    }

    fn plan_powder(&mut self) {
        self.agenda.set(Slot::Powder, self.powder.next_us().unwrap_or(NEVER));
    }

    fn carriage_passes(&mut self) {
        self.settle_powder();
        self.carriage.pass(self.now_us);
        self.drive.carriage_moved(self.now_us, &mut self.carriage);
        self.plan_carriage();
    }

    fn powder_passes(&mut self) {
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

    fn tick(&mut self) {
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
            self.switch_outputs();
        }
        let sight = self.sight();
        self.hands.look(self.now_us, &sight);
        self.agenda.set(Slot::Hands, self.hands.next_us().unwrap_or(NEVER));
    }

    /// Two ticks a step: the first notes where the flame is, the second heats from there.
    fn heat(&mut self) {
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

    fn sight(&self) -> Sight {
        let now = self.now_us;
        let lamps = if self.powered { self.field_io.acting() } else { 0 };
        let fusing = self.mounted().is_some_and(|t| !t.takes_powder);
        let lamp_blue = lamps & Coil::LampBlue.mask() != 0;
        // Nobody looks closely at what does not call.
        let wet = lamp_blue
            && fusing
            && self.flame.is_lit()
            && self.bar.highest_near_c(self.carriage.torch_mm(now), 10.0) >= self.spec.heat.wet_c;
        Sight {
            lamp_blue,
            lamp_red: lamps & Coil::LampRed.mask() != 0,
            spindle_turns: self.spindle.rpm(now) >= STILL_RPM,
            supply_open: self.is_on(Coil::GasSupply),
            gauges_zero: self.fuel.value(now).max(self.oxygen.value(now)) < LEAST_BURNING_BAR,
            gas_flows: self.gases() == Gases::Flowing,
            flame: self.flame.is_lit(),
            guard_open: !self.guard_closed,
            at_park: self.carriage.switches(now).park,
            carriage_free: !self.drive.state().has_torque(),
            job_started: false,
            fusing_torch: fusing,
            coat_wet: wet,
        }
    }

    fn move_hands(&mut self) {
        while let Some(movement) = self.hands.take_due(self.now_us) {
            match movement {
                Movement::KeyOn => self.key_on = true,
                Movement::Press(button) => self.press(button),
                Movement::Release(button) => self.release(button),
                Movement::OpenGuard => self.open_guard(),
                Movement::ShutGuard => self.shut_guard(),
                Movement::Spark => self.spark(),
                Movement::NextTorch => self.mount_next_torch(),
            }
        }
        self.agenda.set(Slot::Hands, self.hands.next_us().unwrap_or(NEVER));
    }

    fn mount_next_torch(&mut self) {
        let next = self.part.torch_order.get(self.torches_used);
        if let Some(index) = next.and_then(|name| self.spec.torch_index(name)) {
            self.settle_powder();
            self.torch = index;
            self.torches_used += 1;
            self.set_supply();
        }
    }

    /// Lays down who stands at the machine and what is pressed when.
    pub fn follow_script(&mut self, script: &HandScript) {
        self.hands.follow(script);
        self.agenda.set(Slot::Hands, self.hands.next_us().unwrap_or(NEVER));
    }

    /// Somebody presses a button and keeps it pressed.
    pub fn press(&mut self, button: Button) {
        self.buttons |= button.mask();
        self.chain_changed();
    }

    /// Somebody lets go of a button, or pulls the emergency stop out.
    pub fn release(&mut self, button: Button) {
        self.buttons &= !button.mask();
        self.chain_changed();
    }

    /// Somebody turns the key on.
    pub fn turn_key_on(&mut self) {
        self.key_on = true;
    }

    /// Somebody turns the key off.
    pub fn turn_key_off(&mut self) {
        self.key_on = false;
    }

    /// Somebody opens the guard.
    pub fn open_guard(&mut self) {
        self.guard_closed = false;
        self.chain_changed();
    }

    /// Somebody shuts the guard.
    pub fn shut_guard(&mut self) {
        self.guard_closed = true;
        self.chain_changed();
    }

    pub(crate) fn chain_changed(&mut self) {
        self.judge_chain();
        self.switch_outputs();
    }

    /// Somebody sparks at the torch.
    pub fn spark_by_hand(&mut self) {
        self.spark();
    }

    /// Somebody pushes the carriage to a place, mm; it does not give way while the motor has torque.
    pub fn push_carriage_to(&mut self, z_mm: f64) {
        if !self.drive.state().has_torque() {
            self.settle_powder();
            self.carriage.place_by_hand(z_mm);
            self.settled_mm = self.carriage.torch_mm(self.now_us);
            self.plan_carriage();
        }
    }

    /// Somebody sets the gear lever of the spindle, rpm.
    pub fn set_lever_rpm(&mut self, rpm: f64) {
        self.inverter.set_lever(self.now_us, &mut self.spindle, rpm);
        self.plan_spindle();
    }

    /// Another part in the chuck, bare, with its own job card.
    ///
    /// # Errors
    /// When the part does not fit the bench: see the sentence. The old part then stays.
    pub fn change_part(&mut self, part: &PartInChuck) -> Result<(), SpecError> {
        part.check(&self.spec)?;
        self.settle_powder();
        let surface = Surface::new(part);
        let beyond = self.spec.carriage.stop_beyond_limit_mm + 1.0;
        let travel = (
            self.spec.carriage.hard_limit_minus_mm - beyond,
            self.spec.carriage.hard_limit_plus_mm + beyond,
        );
        self.bar = Bar::new(&self.spec.heat, part, &surface);
        self.deposit = Deposit::new(&self.spec.plume, surface, travel);
        self.part = part.clone();
        self.torches_used = 0;
        self.mount_next_torch();
        self.hands.new_part();
        Ok(())
    }

    /// Mains fails: valves shut by their springs, drives lose torque, devices fall silent.
    pub fn cut_power(&mut self) {
        let now = self.now_us;
        self.powered = false;
        self.field_io.power_up();
        self.agenda.clear(Slot::WatchdogRelay);
        self.drive.set_torque_allowed(now, &mut self.carriage, false);
        self.inverter.power_down(now, &mut self.spindle);
        for slot in [
            Slot::Coils,
            Slot::FieldTimeout,
            Slot::DriveTimeout,
            Slot::InverterTimeout,
            Slot::DriveStart,
        ] {
            self.agenda.clear(slot);
        }
        self.switch_outputs();
        self.plan_carriage();
        self.plan_spindle();
    }

    /// Mains comes back: devices start with their parameters after power-up, the drive unreferenced.
    pub fn restore_power(&mut self) {
        let now = self.now_us;
        self.powered = true;
        self.field_io.power_up();
        self.inverter.power_up();
        self.drive.power_up(now, &self.carriage);
        self.drive.set_torque_allowed(now, &mut self.carriage, self.torque_allowed);
        let start_up = crate::counts::microseconds(self.spec.drive.start_up_s);
        self.agenda.set(Slot::DriveStart, now + start_up);
    }

    /// Lets a fault come, or go by [`Word::Ok`].
    pub fn inject(&mut self, fault: Fault) {
        match fault {
            Fault::Signal { target, word } => {
                self.signal_faults.retain(|f| f.target != target);
                self.memory.retain(|m| m.0 != target);
                if word != Word::Ok {
                    self.signal_faults.push(SignalFault::new(target, word, self.now_us));
                    self.observe_faults();
                }
                self.switch_outputs();
            }
            Fault::Line { line, fault, chance } => {
                self.line_faults.push(OnLine { line, fault, chance });
            }
            Fault::Plant(fault) => self.trouble(fault),
        }
    }

    /// Takes all faults away; what they have done stays done.
    pub fn clear_faults(&mut self) {
        let now = self.now_us;
        self.settle_powder();
        self.signal_faults.clear();
        self.line_faults.clear();
        self.memory.clear();
        self.troubles = Troubles::default();
        self.carriage.set_slip(now, None);
        self.spindle.set_belt_off(now, false);
        self.spindle.set_wrong_rpm(now, None);
        self.powder.set_blocked(now, false);
        self.after_trouble();
    }

    fn trouble(&mut self, fault: PlantFault) {
        let now = self.now_us;
        self.settle_powder();
        match fault {
            PlantFault::FlameBlownOut => self.flame.blow_out(),
            PlantFault::NutSlips(at_mm) => self.carriage.set_slip(now, Some(at_mm)),
            PlantFault::BeltOff => self.spindle.set_belt_off(now, true),
            PlantFault::SpindleLever(rpm) => self.spindle.set_wrong_rpm(now, Some(rpm)),
            PlantFault::FuelPressureLow(share) => self.troubles.fuel_share = Some(share),
            PlantFault::OxygenPressureLow(share) => self.troubles.oxygen_share = Some(share),
            PlantFault::HopperEmpty => self.powder.set_hopper(now, 0.0),
            PlantFault::HoseBlocked => self.powder.set_blocked(now, true),
            PlantFault::ExtractionFailed => self.troubles.extraction_failed = true,
            PlantFault::PlantAirLost => self.troubles.plant_air_lost = true,
            PlantFault::ClampLost => self.troubles.clamp_lost = true,
        }
        self.after_trouble();
    }

    fn after_trouble(&mut self) {
        let carrier = self.is_on(Coil::CarrierAir) && !self.troubles.plant_air_lost;
        let carrier = if carrier { Flow::On } else { Flow::Off };
        self.powder.set_carrier(self.now_us, carrier);
        self.powder.pass(self.now_us);
        self.plan_powder();
        self.set_supply();
        self.set_extraction();
        self.plan_carriage();
        self.plan_spindle();
        self.chain_changed();
    }
}
