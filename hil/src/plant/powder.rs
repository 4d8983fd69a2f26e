//! Powder from the hopper through the hose to the nozzle.
//!
//! ```text
//! coil ──> feeder ─────────────────────> hose ──────────────────────> nozzle
//!          starts and ceases late,       everything takes as long,    what the feeder gave,
//!          rises and falls               only while the air flows     so much later
//! ```
//!
//! No powder is made or lost on the way: what leaves the nozzle is what left the hopper. That off
//! takes longer to arrive than on is therefore the feeder's, which runs on after its coil: a hose
//! delays everything alike. When the carrier air stops, or the hose is blocked, the feeder gives
//! nothing, and the hose holds what is in it and gives it up when the air comes back.

use std::collections::VecDeque;

use crate::counts::{microseconds, seconds};
use crate::spec::PowderSpec;

/// Less than this is nothing: a grain, g.
const GRAIN_G: f64 = 1e-6;
/// A flow that has fallen below this share of the full one has ceased.
const CEASED: f64 = 1e-6;

/// Whether something flows.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Flow {
    /// It flows.
    On,
    /// It does not.
    Off,
}

/// Where a flow tends, and how fast.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Tendency {
    target_g_s: f64,
    /// Time constant, s; 0 = a jump.
    constant_s: f64,
}

/// A flow on its way to where it tends: the exact exponential.
#[derive(Clone, Copy, Debug)]
struct Stream {
    flow_g_s: f64,
    tends: Tendency,
}

impl Stream {
    const fn still() -> Self {
        Self { flow_g_s: 0.0, tends: Tendency { target_g_s: 0.0, constant_s: 0.0 } }
    }

    fn tend(&mut self, tends: Tendency) {
        self.tends = tends;
        if tends.constant_s <= 0.0 {
            self.flow_g_s = tends.target_g_s;
        }
    }

    /// Lets it flow for a time, s, and returns what flowed, g. What a flow that has ceased would
    /// still have given comes with it, so that nothing is lost in the cutting.
    fn over(&mut self, time_s: f64, full_g_s: f64) -> f64 {
        let Tendency { target_g_s, constant_s } = self.tends;
        if constant_s <= 0.0 {
            return target_g_s * time_s;
        }
        let left = (-time_s / constant_s).exp();
        let gap = self.flow_g_s - target_g_s;
        self.flow_g_s = target_g_s + gap * left;
        let mut flowed_g = target_g_s * time_s + gap * constant_s * (1.0 - left);
        if target_g_s == 0.0 && self.flow_g_s < CEASED * full_g_s {
            flowed_g += self.flow_g_s * constant_s;
            self.flow_g_s = 0.0;
        }
        flowed_g
    }

    /// The most that it can flow before it tends elsewhere, g/s.
    fn most_g_s(&self) -> f64 {
        self.flow_g_s.max(self.tends.target_g_s)
    }
}

/// Feeder, hopper, hose and nozzle.
#[derive(Clone, Debug)]
pub(crate) struct Powder {
    spec: PowderSpec,
    rate_g_s: f64,
    /// What every grain takes through the hose, in time during which the air flows.
    hose_us: u64,
    carrier: Flow,
    blocked: bool,
    /// Whether the feeder doses.
    dosing: Flow,
    /// When it answers its coil, and how, if it has not yet.
    answer: Option<(u64, Flow)>,
    hopper_g: f64,
    fed_g: f64,
    inlet: Stream,
    nozzle: Stream,
    /// What the inlet did, by when it comes out at the nozzle on the air's own clock.
    on_the_way: VecDeque<(u64, Tendency)>,
    /// How long the air has flowed.
    air_us: u64,
    settled_us: u64,
    through_nozzle_g: f64,
}

impl Powder {
    pub(crate) fn new(spec: &PowderSpec) -> Self {
        let hose_s = spec.transport_delay_on_s.min(spec.transport_delay_off_s);
        Self {
            rate_g_s: spec.rate_g_min / 60.0,
            hose_us: microseconds(hose_s),
            hopper_g: spec.hopper_g,
            spec: spec.clone(),
            carrier: Flow::Off,
            blocked: false,
            dosing: Flow::Off,
            answer: None,
            fed_g: 0.0,
            inlet: Stream::still(),
            nozzle: Stream::still(),
            on_the_way: VecDeque::with_capacity(16),
            air_us: 0,
            settled_us: 0,
            through_nozzle_g: 0.0,
        }
    }

    /// Whether nothing leaves the nozzle until something changes.
    pub(crate) fn is_quiet(&self) -> bool {
        self.is_held() || self.nozzle.most_g_s() == 0.0
    }

    /// Flow at the nozzle, g/s, as last settled.
    pub(crate) fn flow_g_s(&self) -> f64 {
        if self.is_held() { 0.0 } else { self.nozzle.flow_g_s }
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
        let mut inlet = self.inlet;
        let left = self.hopper_g - inlet.over(self.flows_for_s(now_us), self.rate_g_s);
        if left < GRAIN_G { 0.0 } else { left }
    }

    /// Empties or fills the hopper; the flow must be settled up to now, as for all that follow.
    pub(crate) fn set_hopper(&mut self, hopper_g: f64) {
        self.hopper_g = hopper_g;
        self.refeed();
    }

    /// The feeder's coil. A coil that comes back before the feeder has answered changes nothing.
    pub(crate) fn set_feeder(&mut self, now_us: u64, coil: Flow) {
        if self.answer.map_or(self.dosing, |(_, flow)| flow) == coil {
            return;
        }
        let late_us = match coil {
            Flow::On => microseconds(self.spec.transport_delay_on_s),
            Flow::Off => microseconds(self.spec.transport_delay_off_s),
        };
        let answers_us = now_us.saturating_add(late_us.saturating_sub(self.hose_us));
        self.answer = (self.dosing != coil).then_some((answers_us, coil));
    }

    /// The carrier air through the hose.
    pub(crate) fn set_carrier(&mut self, carrier: Flow) {
        self.carrier = carrier;
        self.refeed();
    }

    /// Blocks the hose or frees it.
    pub(crate) fn set_blocked(&mut self, blocked: bool) {
        self.blocked = blocked;
        self.refeed();
    }

    pub(crate) fn is_blocked(&self) -> bool {
        self.blocked
    }

    /// Whether what is in the hose stays there.
    fn is_held(&self) -> bool {
        self.carrier == Flow::Off || self.blocked
    }

    /// How long the air has flowed since the flow was last settled, s.
    fn flows_for_s(&self, now_us: u64) -> f64 {
        if self.is_held() { 0.0 } else { seconds(now_us.saturating_sub(self.settled_us)) }
    }

    /// Works out anew what enters the hose.
    fn refeed(&mut self) {
        let (target_g_s, constant_s) = if self.is_held() || self.hopper_g <= 0.0 {
            (0.0, 0.0)
        } else {
            match self.dosing {
                Flow::On => (self.rate_g_s, self.spec.rise_time_constant_s),
                Flow::Off => (0.0, self.spec.fall_time_constant_s),
            }
        };
        let tends = Tendency { target_g_s, constant_s };
        if tends != self.inlet.tends {
            self.inlet.tend(tends);
            self.on_the_way.push_back((self.air_us.saturating_add(self.hose_us), tends));
        }
    }

    /// When the flow at the nozzle next changes its kind, the feeder answers its coil, or the
    /// hopper may run empty.
    pub(crate) fn next_us(&self) -> Option<u64> {
        let answer_us = self.answer.map(|(at, _)| at);
        if self.is_held() {
            return answer_us;
        }
        let most_g_s = self.inlet.most_g_s();
        // A flow that still rises takes longer than this, and is asked again.
        let empty_us = (most_g_s > 0.0 && self.hopper_g > 0.0).then(|| {
            self.settled_us.saturating_add(microseconds(self.hopper_g / most_g_s)).saturating_add(1)
        });
        let arrives_us = self
            .on_the_way
            .front()
            .map(|(at, _)| self.settled_us.saturating_add(at.saturating_sub(self.air_us)));
        [answer_us, empty_us, arrives_us].into_iter().flatten().min()
    }

    /// Powder that left the nozzle since the last call, g. To be called before anything changes.
    pub(crate) fn settle(&mut self, now_us: u64) -> f64 {
        let time_s = self.flows_for_s(now_us);
        if !self.is_held() {
            self.air_us = self.air_us.saturating_add(now_us.saturating_sub(self.settled_us));
        }
        self.settled_us = now_us;
        let fed_g = self.inlet.over(time_s, self.rate_g_s).min(self.hopper_g);
        self.fed_g += fed_g;
        self.hopper_g -= fed_g;
        if self.hopper_g < GRAIN_G {
            self.fed_g += std::mem::take(&mut self.hopper_g);
        }
        let released_g = self.nozzle.over(time_s, self.rate_g_s);
        self.through_nozzle_g += released_g;
        released_g
    }

    /// Takes what is due; the flow must be settled up to now.
    pub(crate) fn pass(&mut self, now_us: u64) {
        if let Some((_, flow)) = self.answer.filter(|(at, _)| *at <= now_us) {
            self.dosing = flow;
            self.answer = None;
        }
        self.refeed();
        while let Some((_, tends)) = self.on_the_way.pop_front_if(|(at, _)| *at <= self.air_us) {
            self.nozzle.tend(tends);
        }
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
        powder.set_carrier(Flow::On);
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
        assert!((powder.hopper_g(9_000_000) - 1997.8).abs() < 1e-9);
    }

    #[test]
    fn the_hose_keeps_its_content_when_the_carrier_air_stops() {
        let mut powder = powder();
        powder.set_feeder(0, Flow::On);
        run(&mut powder, 2_000_000);
        powder.set_feeder(2_000_000, Flow::Off);
        powder.set_carrier(Flow::Off);
        assert_eq!(run(&mut powder, 9_000_000), 0.0);
        powder.set_carrier(Flow::On);
        // Without air the feeder does not run on: the hose holds what 0.6 s have put in.
        assert!((run(&mut powder, 20_000_000) - 0.6).abs() < 1e-9);
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
        powder.set_hopper(1.0);
        powder.set_feeder(0, Flow::On);
        assert!((run(&mut powder, 10_000_000) - 1.0).abs() < 2.0 * GRAIN_G);
        assert_eq!(powder.hopper_g(10_000_000), 0.0);
    }

    #[test]
    fn a_slow_rise_releases_the_exact_integral_of_its_exponential() {
        let mut spec = BenchSpec::default_bench().unwrap().powder;
        spec.rise_time_constant_s = 0.25;
        let mut powder = Powder::new(&spec);
        powder.set_carrier(Flow::On);
        powder.set_feeder(0, Flow::On);
        let released = run(&mut powder, 1_600_000);
        let exact = 1.0 - 0.25 * (1.0 - (-4.0_f64).exp());
        assert!((released - exact).abs() < 1e-9);
    }

    /// Every way that the hose can be switched, stopped, blocked and run empty, with edges that
    /// come closer than the feeder answers.
    #[test]
    fn what_leaves_the_nozzle_is_what_left_the_hopper_whatever_the_edges_do() {
        let default = BenchSpec::default_bench().unwrap().powder;
        for (on_s, off_s) in [(0.6, 0.8), (0.8, 0.6), (0.5, 0.5)] {
            for (rise_s, fall_s) in [(0.0, 0.0), (0.1, 0.1), (0.05, 0.4)] {
                for hopper_g in [2000.0, 4.0] {
                    let spec = PowderSpec {
                        transport_delay_on_s: on_s,
                        transport_delay_off_s: off_s,
                        rise_time_constant_s: rise_s,
                        fall_time_constant_s: fall_s,
                        hopper_g,
                        ..default.clone()
                    };
                    let mut powder = Powder::new(&spec);
                    powder.set_carrier(Flow::On);
                    let mut now = 0;
                    let mut after = |powder: &mut Powder, tenths: u64| {
                        now += tenths * 100_000;
                        run(powder, now);
                        now
                    };
                    for tenths in [5, 13, 1, 20, 1] {
                        let on = after(&mut powder, tenths);
                        powder.set_feeder(on, Flow::On);
                        let off = after(&mut powder, tenths + 2);
                        powder.set_feeder(off, Flow::Off);
                    }
                    after(&mut powder, 3);
                    powder.set_carrier(Flow::Off);
                    after(&mut powder, 30);
                    powder.set_carrier(Flow::On);
                    let on = after(&mut powder, 1);
                    powder.set_feeder(on, Flow::On);
                    after(&mut powder, 20);
                    powder.set_blocked(true);
                    after(&mut powder, 20);
                    powder.set_blocked(false);
                    let off = after(&mut powder, 7);
                    powder.set_feeder(off, Flow::Off);
                    let end = after(&mut powder, 200);
                    let (fed, out) = (powder.fed_g(end), powder.through_nozzle_g());
                    let of = format!("{on_s}/{off_s} s, {rise_s}/{fall_s} s, {hopper_g} g");
                    assert!(fed > 3.0 && (fed - out).abs() < 1e-5, "{fed} fed, {out} out: {of}");
                    assert!((powder.hopper_g(end) + fed - hopper_g).abs() < 1e-9, "{of}");
                }
            }
        }
    }
}
