//! Powder from the hopper through the hose to the nozzle.
//!
//! The hose delays both edges; it holds what is in it when the carrier air stops, and gives it up when
//! the air comes back.

use std::collections::VecDeque;

use crate::counts::{microseconds, seconds};
use crate::spec::PowderSpec;

/// Less than this is nothing: a grain, g.
const GRAIN_G: f64 = 1e-6;

/// Whether something flows.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Flow {
    /// It flows.
    On,
    /// It does not.
    Off,
}

/// Feeder, hopper, hose and nozzle.
#[derive(Clone, Debug)]
pub(crate) struct Powder {
    spec: PowderSpec,
    rate_g_s: f64,
    feeder: Flow,
    carrier_held_since_us: Option<u64>,
    blocked: bool,
    feeding: Flow,
    feeding_since_us: u64,
    hopper_g: f64,
    fed_g: f64,
    edges: VecDeque<(u64, Flow)>,
    nozzle: Flow,
    /// Flow at the nozzle when last looked at, g/s.
    flow_g_s: f64,
    settled_us: u64,
    through_nozzle_g: f64,
}

impl Powder {
    pub(crate) fn new(spec: &PowderSpec) -> Self {
        Self {
            rate_g_s: spec.rate_g_min / 60.0,
            hopper_g: spec.hopper_g,
            spec: spec.clone(),
            feeder: Flow::Off,
            carrier_held_since_us: Some(0),
            blocked: false,
            feeding: Flow::Off,
            feeding_since_us: 0,
            fed_g: 0.0,
            edges: VecDeque::with_capacity(16),
            nozzle: Flow::Off,
            flow_g_s: 0.0,
            settled_us: 0,
            through_nozzle_g: 0.0,
        }
    }

    /// Whether anything arrives at the nozzle or is on its way.
    pub(crate) fn is_quiet(&self) -> bool {
        self.flow_g_s == 0.0 && (self.nozzle == Flow::Off || self.carrier_held_since_us.is_some())
    }

    /// Flow at the nozzle, g/s, as last settled.
    pub(crate) fn flow_g_s(&self) -> f64 {
        self.flow_g_s
    }

    /// Powder that has left the hopper, g.
    pub(crate) fn fed_g(&self, now_us: u64) -> f64 {
        self.fed_g + self.hopper_g - self.hopper_g(now_us)
    }

    /// Powder that has left the nozzle, g, as last settled.
    pub(crate) fn through_nozzle_g(&self) -> f64 {
        self.through_nozzle_g
    }

    /// Powder in the hopper, g.
    pub(crate) fn hopper_g(&self, now_us: u64) -> f64 {
        let running = match self.feeding {
            Flow::On => seconds(now_us.saturating_sub(self.feeding_since_us)) * self.rate_g_s,
            Flow::Off => 0.0,
        };
        let left = self.hopper_g - running;
        if left < GRAIN_G { 0.0 } else { left }
    }

    /// Empties or fills the hopper.
    pub(crate) fn set_hopper(&mut self, now_us: u64, hopper_g: f64) {
        self.account(now_us);
        self.hopper_g = hopper_g;
        self.refeed(now_us);
    }

    /// The feeder's motor.
    pub(crate) fn set_feeder(&mut self, now_us: u64, feeder: Flow) {
        self.feeder = feeder;
        self.refeed(now_us);
    }

    /// The carrier air through the hose.
    pub(crate) fn set_carrier(&mut self, now_us: u64, carrier: Flow) {
        match (carrier, self.carrier_held_since_us) {
            (Flow::On, Some(since)) => {
                let held = now_us.saturating_sub(since);
                for edge in &mut self.edges {
                    edge.0 = edge.0.saturating_add(held);
                }
                self.carrier_held_since_us = None;
            }
            (Flow::Off, None) => self.carrier_held_since_us = Some(now_us),
            _ => {}
        }
        self.refeed(now_us);
    }

    /// Blocks the hose or frees it.
    pub(crate) fn set_blocked(&mut self, now_us: u64, blocked: bool) {
        self.blocked = blocked;
        self.refeed(now_us);
    }

    pub(crate) fn is_blocked(&self) -> bool {
        self.blocked
    }

    fn account(&mut self, now_us: u64) {
        let left = self.hopper_g(now_us);
        self.fed_g += self.hopper_g - left;
        self.hopper_g = left;
        self.feeding_since_us = now_us;
    }

    /// Works out anew whether powder enters the hose.
    pub(crate) fn refeed(&mut self, now_us: u64) {
        self.account(now_us);
        let feeding = self.feeder == Flow::On
            && self.carrier_held_since_us.is_none()
            && !self.blocked
            && self.hopper_g > 0.0;
        let feeding = if feeding { Flow::On } else { Flow::Off };
        if feeding == self.feeding {
            return;
        }
        self.feeding = feeding;
        let delay_s = match feeding {
            Flow::On => self.spec.transport_delay_on_s,
            Flow::Off => self.spec.transport_delay_off_s,
        };
        let arrives_us = now_us.saturating_add(microseconds(delay_s));
        // A front cannot overtake the one before it: the gap between them closes in the hose.
        match self.edges.back() {
            Some(&(at, _)) if at >= arrives_us => {
                self.edges.pop_back();
            }
            _ => self.edges.push_back((arrives_us, feeding)),
        }
    }

    /// When the flow at the nozzle next changes its kind, or the hopper runs empty.
    pub(crate) fn next_us(&self) -> Option<u64> {
        let empty_us = match self.feeding {
            Flow::On if self.rate_g_s > 0.0 => {
                let left_s = self.hopper_g / self.rate_g_s;
                Some(self.feeding_since_us.saturating_add(microseconds(left_s)))
            }
            _ => None,
        };
        let edge_us = match self.carrier_held_since_us {
            None => self.edges.front().map(|e| e.0),
            Some(_) => None,
        };
        [empty_us, edge_us].into_iter().flatten().min()
    }

    /// Powder that left the nozzle since the last call, g. To be called before anything changes.
    pub(crate) fn settle(&mut self, now_us: u64) -> f64 {
        let t = seconds(now_us.saturating_sub(self.settled_us));
        self.settled_us = now_us;
        let held = self.carrier_held_since_us.is_some() || self.blocked;
        let target = if held || self.nozzle == Flow::Off { 0.0 } else { self.rate_g_s };
        let constant_s = match self.nozzle {
            _ if held => 0.0,
            Flow::On => self.spec.rise_time_constant_s,
            Flow::Off => self.spec.fall_time_constant_s,
        };
        let released = if constant_s > 0.0 {
            let left = (-t / constant_s).exp();
            let gap = self.flow_g_s - target;
            self.flow_g_s = target + gap * left;
            if self.flow_g_s < 1e-6 * self.rate_g_s {
                self.flow_g_s = 0.0;
            }
            target * t + gap * constant_s * (1.0 - left)
        } else {
            self.flow_g_s = target;
            target * t
        };
        self.through_nozzle_g += released;
        released
    }

    /// Takes due edges; the flow must be settled up to now.
    pub(crate) fn pass(&mut self, now_us: u64) {
        if self.carrier_held_since_us.is_none() {
            while let Some(&(_, flow)) = self.edges.front().filter(|e| e.0 <= now_us) {
                self.nozzle = flow;
                self.edges.pop_front();
            }
        }
        self.refeed(now_us);
        self.settle(now_us);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::spec::BenchSpec;

    /// Runs the powder to an instant and returns what left the nozzle, g.
    fn run(powder: &mut Powder, until_us: u64) -> f64 {
        let mut released = 0.0;
        while let Some(at) = powder.next_us().filter(|&t| t <= until_us) {
            released += powder.settle(at);
            powder.pass(at);
        }
        released + powder.settle(until_us)
    }

    fn powder() -> Powder {
        let mut powder = Powder::new(&BenchSpec::default_bench().unwrap().powder);
        powder.set_carrier(0, Flow::On);
        powder
    }

    #[test]
    fn powder_arrives_0_6_s_after_on_and_ceases_0_8_s_after_off() {
        let mut powder = powder();
        powder.set_feeder(1_000_000, Flow::On);
        assert_eq!(run(&mut powder, 1_600_000), 0.0);
        assert!((run(&mut powder, 3_000_000) - 1.4).abs() < 1e-9);
        powder.set_feeder(3_000_000, Flow::Off);
        assert!((run(&mut powder, 9_000_000) - 0.8).abs() < 1e-9);
        assert!((powder.hopper_g(9_000_000) - 1998.0).abs() < 1e-9);
    }

    #[test]
    fn the_hose_keeps_its_content_when_the_carrier_air_stops() {
        let mut powder = powder();
        powder.set_feeder(0, Flow::On);
        run(&mut powder, 2_000_000);
        powder.set_feeder(2_000_000, Flow::Off);
        powder.set_carrier(2_000_000, Flow::Off);
        assert_eq!(run(&mut powder, 9_000_000), 0.0);
        powder.set_carrier(9_000_000, Flow::On);
        assert!((run(&mut powder, 20_000_000) - 0.8).abs() < 1e-9);
    }

    #[test]
    fn a_short_gap_closes_in_the_hose() {
        let mut powder = powder();
        powder.set_feeder(0, Flow::On);
        run(&mut powder, 2_000_000);
        powder.set_feeder(2_000_000, Flow::Off);
        powder.set_feeder(2_100_000, Flow::On);
        assert!((run(&mut powder, 4_000_000) - 2.0).abs() < 1e-9);
    }

    #[test]
    fn an_empty_hopper_ends_the_flow() {
        let mut powder = powder();
        powder.set_hopper(0, 1.0);
        powder.set_feeder(0, Flow::On);
        assert!((run(&mut powder, 10_000_000) - 1.2).abs() < 1e-9);
        assert_eq!(powder.hopper_g(10_000_000), 0.0);
    }

    #[test]
    fn a_slow_rise_releases_the_exact_integral_of_its_exponential() {
        let mut spec = BenchSpec::default_bench().unwrap().powder;
        spec.rise_time_constant_s = 0.25;
        let mut powder = Powder::new(&spec);
        powder.set_carrier(0, Flow::On);
        powder.set_feeder(0, Flow::On);
        let released = run(&mut powder, 1_600_000);
        let exact = 1.0 - 0.25 * (1.0 - (-4.0_f64).exp());
        assert!((released - exact).abs() < 1e-9);
    }
}
