//! From the field I/O module's outputs to the plant: relay, emergency stop, valves, feeder, flame.

use crate::agenda::{NEVER, Slot};
use crate::bench::Bench;
use crate::device::field_io::Beat;
use crate::plant::flame::Gases;
use crate::plant::gas::{LEAST_BURNING_BAR, Pipe};
use crate::plant::powder::Flow;
use crate::truth::Switched;
use crate::wiring::{COILS, Coil, LOGGED, energised};

/// Switchings kept for a reader who does not come.
const SWITCHED_LIMIT: usize = 65_536;

impl Bench {
    pub(crate) fn coils_act(&mut self) {
        self.field_io.act();
        self.watch_beat();
        self.switch_outputs();
    }

    /// The relay sees the beat as the wire between module and relay brings it.
    pub(crate) fn watch_beat(&mut self) {
        let outputs = if self.powered { self.field_io.acting() } else { 0 };
        let seen = if self.signal_faults.is_empty() { outputs } else { self.faulty_coils(outputs) };
        if self.field_io.beat(seen & Coil::WatchdogBeat.mask()) == Beat::Edge {
            let hold = crate::counts::microseconds(self.spec.field_io.watchdog_hold_s);
            self.agenda.set(Slot::WatchdogRelay, self.now_us + hold);
        }
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
            self.powder.set_carrier(carrier);
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

    pub(crate) fn log_switched(&mut self, changed: u16) {
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

    pub(crate) fn set_supply(&mut self) {
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

    pub(crate) fn set_extraction(&mut self) {
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

    pub(crate) fn spark(&mut self) {
        self.settle_powder();
        self.flame.spark(self.gases());
    }
}
