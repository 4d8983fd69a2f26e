//! The spindle: ramps, belt, and the pulses of its tachometer.

use crate::counts::{microseconds, seconds};
use crate::spec::SpindleSpec;

/// How hard the spindle changes its speed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Ramp {
    /// The inverter's ordinary ramp.
    Ordinary,
    /// The inverter's quick ramp.
    Quick,
    /// The brake.
    Brake,
}

/// What a tachometer module knows.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Tachometer {
    /// Between the last two pulses, us; nothing before the second.
    pub(crate) period_us: Option<f64>,
    /// Pulses since power-up.
    pub(crate) count: u64,
    /// Since the last pulse, us; nothing before the first.
    pub(crate) since_us: Option<f64>,
}

/// Motor side and chuck side of the spindle.
#[derive(Clone, Debug)]
pub(crate) struct Spindle {
    spec: SpindleSpec,
    motor: Turning,
    chuck: Turning,
    belt_off: bool,
    /// Chuck speed for each rpm of the motor side.
    ratio: f64,
    wrong_rpm: Option<f64>,
    pulses: f64,
    last_pulse_s: Option<f64>,
    pulse_before_s: Option<f64>,
}

/// A speed on its way to another.
#[derive(Clone, Copy, Debug)]
struct Turning {
    start_s: f64,
    from_rpm: f64,
    to_rpm: f64,
    rate_rpm_s: f64,
    /// Angle at the start, turns.
    turns: f64,
}

impl Turning {
    fn rest() -> Self {
        Self { start_s: 0.0, from_rpm: 0.0, to_rpm: 0.0, rate_rpm_s: 1.0, turns: 0.0 }
    }

    fn ramp_s(&self) -> f64 {
        (self.to_rpm - self.from_rpm).abs() / self.rate_rpm_s
    }

    fn slope(&self) -> f64 {
        (self.to_rpm - self.from_rpm).signum() * self.rate_rpm_s
    }

    fn rpm(&self, time_s: f64) -> f64 {
        let t = time_s - self.start_s;
        if t >= self.ramp_s() { self.to_rpm } else { self.from_rpm + self.slope() * t }
    }

    fn turns(&self, time_s: f64) -> f64 {
        let t = (time_s - self.start_s).max(0.0);
        let ramp = t.min(self.ramp_s());
        let ramped = ramp * (self.from_rpm + 0.5 * self.slope() * ramp);
        self.turns + (ramped + (t - ramp) * self.to_rpm) / 60.0
    }

    /// When the angle has reached `turns`.
    fn when(&self, turns: f64) -> f64 {
        let wanted = (turns - self.turns) * 60.0;
        let ramp = self.ramp_s();
        let in_ramp = ramp * (self.from_rpm + self.to_rpm) / 2.0;
        if wanted <= in_ramp {
            let (v, a) = (self.from_rpm, self.slope());
            let root = (v * v + 2.0 * a * wanted).max(0.0).sqrt();
            self.start_s + if v + root > 0.0 { 2.0 * wanted / (v + root) } else { 0.0 }
        } else {
            self.start_s + ramp + (wanted - in_ramp) / self.to_rpm.max(1e-9)
        }
    }

    fn change(&mut self, now_s: f64, to_rpm: f64, rate_rpm_s: f64) {
        *self = Self {
            start_s: now_s,
            from_rpm: self.rpm(now_s),
            to_rpm,
            rate_rpm_s,
            turns: self.turns(now_s),
        };
    }

    fn end_us(&self, now_us: u64) -> Option<u64> {
        let end = microseconds(self.start_s + self.ramp_s());
        (end > now_us).then_some(end)
    }
}

impl Spindle {
    pub(crate) fn new(spec: &SpindleSpec) -> Self {
        Self {
            spec: spec.clone(),
            motor: Turning::rest(),
            chuck: Turning::rest(),
            belt_off: false,
            ratio: 1.0,
            wrong_rpm: None,
            pulses: f64::from(spec.pulses_per_turn),
            last_pulse_s: None,
            pulse_before_s: None,
        }
    }

    /// Speed of chuck and part, rpm.
    pub(crate) fn rpm(&self, now_us: u64) -> f64 {
        self.chuck.rpm(seconds(now_us))
    }

    /// Speed that the inverter believes in, rpm of the spindle.
    pub(crate) fn motor_rpm(&self, now_us: u64) -> f64 {
        self.motor.rpm(seconds(now_us))
    }

    /// Speed that the motor side is going to, rpm of the spindle.
    pub(crate) fn wanted_rpm(&self) -> f64 {
        self.motor.to_rpm
    }

    /// Ramps the motor side to another speed.
    pub(crate) fn drive(&mut self, now_us: u64, to_rpm: f64, ramp: Ramp) {
        let rate = match ramp {
            Ramp::Ordinary => self.spec.ramp_rpm_s,
            Ramp::Quick => self.spec.quick_ramp_rpm_s,
            Ramp::Brake => self.spec.brake_rpm_s,
        };
        self.motor.change(seconds(now_us), to_rpm, rate);
        if to_rpm > 0.0 {
            self.ratio = self.wrong_rpm.map_or(1.0, |rpm| rpm / to_rpm);
        }
        self.couple(now_us);
    }

    /// Throws the belt off or puts it back.
    pub(crate) fn set_belt_off(&mut self, now_us: u64, off: bool) {
        self.belt_off = off;
        self.couple(now_us);
    }

    /// The lever stands at a gear that gives this speed at the set reference, or at the right one.
    pub(crate) fn set_wrong_rpm(&mut self, now_us: u64, rpm: Option<f64>) {
        self.wrong_rpm = rpm;
        let wanted = self.motor.to_rpm;
        self.ratio = match rpm {
            Some(rpm) if wanted > 0.0 => rpm / wanted,
            _ => 1.0,
        };
        self.couple(now_us);
    }

    /// Chuck and part follow the motor side, or run out by themselves.
    fn couple(&mut self, now_us: u64) {
        self.note_pulses(now_us);
        let now = seconds(now_us);
        if self.belt_off {
            self.chuck.change(now, 0.0, self.spec.coast_rpm_s);
        } else {
            let rate = self.motor.rate_rpm_s.max(1e-6);
            let here = self.chuck.rpm(now);
            let there = self.motor.rpm(now) * self.ratio;
            if (here - there).abs() < 1e-6 {
                self.chuck.change(now, self.motor.to_rpm * self.ratio, rate * self.ratio);
            } else {
                self.chuck.change(now, self.motor.to_rpm * self.ratio, self.spec.quick_ramp_rpm_s);
            }
        }
    }

    /// When a ramp ends.
    pub(crate) fn next_us(&self, now_us: u64) -> Option<u64> {
        [self.motor.end_us(now_us), self.chuck.end_us(now_us)].into_iter().flatten().min()
    }

    fn note_pulses(&mut self, now_us: u64) {
        let now = seconds(now_us);
        let start = (self.chuck.turns * self.pulses).floor();
        let latest = (self.chuck.turns(now) * self.pulses).floor();
        if latest > start {
            let last = self.chuck.when(latest / self.pulses);
            let before = if latest - 1.0 > start {
                Some(self.chuck.when((latest - 1.0) / self.pulses))
            } else {
                self.last_pulse_s
            };
            self.last_pulse_s = Some(last);
            self.pulse_before_s = before;
        }
    }

    /// What the pulse inputs have counted and timed by now.
    pub(crate) fn tachometer(&self, now_us: u64) -> Tachometer {
        let now = seconds(now_us);
        let start = (self.chuck.turns * self.pulses).floor();
        let latest = (self.chuck.turns(now) * self.pulses).floor();
        let (last, before) = if latest > start {
            let last = self.chuck.when(latest / self.pulses);
            let before = if latest - 1.0 > start {
                Some(self.chuck.when((latest - 1.0) / self.pulses))
            } else {
                self.last_pulse_s
            };
            (Some(last), before)
        } else {
            (self.last_pulse_s, self.pulse_before_s)
        };
        Tachometer {
            period_us: last.zip(before).map(|(last, before)| (last - before) * 1e6),
            count: crate::counts::whole(latest) as u64,
            since_us: last.map(|last| (now - last).max(0.0) * 1e6),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::spec::BenchSpec;

    fn spindle() -> Spindle {
        Spindle::new(&BenchSpec::default_bench().unwrap().spindle)
    }

    #[test]
    fn eight_pulses_a_turn_at_125_rpm_come_every_60_ms() {
        let mut spindle = spindle();
        spindle.drive(0, 125.0, Ramp::Ordinary);
        let tachometer = spindle.tachometer(30_000_000);
        assert!((tachometer.period_us.unwrap() - 60_000.0).abs() < 0.01);
        assert!(tachometer.since_us.unwrap() < 60_000.0);
        // 125 rpm reached after 125/60 s, on half the speed on average.
        let turns = (30.0 - 125.0 / 60.0 / 2.0) * 125.0 / 60.0;
        assert_eq!(tachometer.count, crate::counts::whole(turns * 8.0) as u64);
    }

    #[test]
    fn a_thrown_belt_lets_the_part_run_out_while_the_inverter_believes_in_its_speed() {
        let mut spindle = spindle();
        spindle.drive(0, 125.0, Ramp::Ordinary);
        spindle.set_belt_off(10_000_000, true);
        assert_eq!(spindle.rpm(20_000_000), 0.0);
        assert_eq!(spindle.motor_rpm(20_000_000), 125.0);
        let tachometer = spindle.tachometer(20_000_000);
        assert!(tachometer.since_us.unwrap() > 5e6);
        spindle.set_belt_off(20_000_000, false);
        assert_eq!(spindle.rpm(21_000_000), 125.0);
    }

    #[test]
    fn a_wrong_gear_turns_the_part_at_its_own_speed() {
        let mut spindle = spindle();
        spindle.set_wrong_rpm(0, Some(180.0));
        spindle.drive(0, 125.0, Ramp::Ordinary);
        assert!((spindle.rpm(10_000_000) - 180.0).abs() < 1e-9);
        assert_eq!(spindle.motor_rpm(10_000_000), 125.0);
        spindle.drive(10_000_000, 0.0, Ramp::Brake);
        assert_eq!(spindle.rpm(20_000_000), 0.0);
    }
}
