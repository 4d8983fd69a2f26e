//! A rig and jobs for the tests; all figures invented, except that the spraying job has the
//! reference job's: 120 mm zone, 15 mm overrun, 625 mm/min, delays 0.6 and 0.8 s, ramp 100 mm/s2.

use std::sync::Arc;

use crate::catalogue::{GasSetting, LightingRules, ShutOrder};
use crate::image::Level;
use crate::program::{
    CoolStep, FeedPoint, FuseBand, FuseStep, Parts, Pass, PassBounds, PowderWindow, PreheatStep,
    Program, SprayStep, Step, TorchPlan,
};
use crate::quantity::{
    Acceleration, Length, Mass, MassFlow, Power, Pressure, Range, Speed, SpindleSpeed, Temperature,
    Time, VolumeFlow,
};
use crate::recipe::{End, SlowCooling};
use crate::request::Trim;
use crate::rig::{Attendance, AxisSpec, GearTable, InverterSpec, Rig, SpindleSpec, support};

pub(super) fn mm(value: f64) -> Length {
    Length::from_mm(value)
}

pub(super) fn s(value: f64) -> Time {
    Time::from_s(value)
}

fn celsius(value: f64) -> Temperature {
    Temperature::from_celsius(value)
}

pub(super) const PARK: f64 = 330.0;
pub(super) const FEED: f64 = 625.0 / 60.0;

fn inverter() -> InverterSpec {
    InverterSpec {
        speeds: Range { low: SpindleSpeed::from_rpm(20.0), high: SpindleSpeed::from_rpm(500.0) },
        age_budget: s(0.5),
        ride_on: s(600.0),
        ..support::inverter()
    }
}

/// The shipped bench, lit by hand, with a short bed and long attendance.
pub(super) fn rig() -> Rig {
    let bench = support::bench();
    Rig {
        axis: AxisSpec {
            datum: mm(0.0),
            travel: Range { low: mm(-10.0), high: mm(350.0) },
            park: mm(PARK),
            positioning: Speed::from_mm_per_s(50.0),
            jog: Speed::from_mm_per_s(10.0),
            homing: Speed::from_mm_per_s(20.0),
            ..bench.axis
        },
        spindle: SpindleSpec::Inverter(inverter()),
        attendance: Attendance { every: s(900.0), answer_within: s(60.0) },
        ..bench
    }
}

/// The same with a gear table.
pub(super) fn geared_rig() -> Rig {
    let speeds = [31.5, 63.0, 125.0, 180.0].map(SpindleSpeed::from_rpm).to_vec();
    Rig { spindle: SpindleSpec::Gears(GearTable { speeds, motor: inverter() }), ..rig() }
}

pub(super) fn torch(key: &str, order: ShutOrder) -> TorchPlan {
    TorchPlan {
        key: key.to_owned(),
        title: key.to_owned(),
        lighting: LightingRules {
            purge: s(2.0),
            trial: s(5.0),
            wait: s(20.0),
            tries: 3,
            proving: s(3.0),
        },
        gas: GasSetting {
            fuel: VolumeFlow::from_l_per_min(18.0),
            oxygen: VolumeFlow::from_l_per_min(20.0),
            net_power: Power::from_kw(3.0),
        },
        longest_rest: s(2.5),
        fuel_pressure: Pressure::from_bar(0.8),
        fuel_pressure_limit: Pressure::from_bar(1.03),
        oxygen_pressure: Pressure::from_bar(2.0),
        carrier_pressure: Pressure::from_bar(3.0),
        shut_order: order,
        shut_lag: s(1.0),
        purge_after: s(5.0),
        carrier_may_purge: Level::On,
    }
}

/// A pass of the reference job in one direction.
pub(super) fn pass(toward_tail: Level) -> Pass {
    let (from, to, on, off) =
        if toward_tail.is_on() { (78.2, 241.8, 85.0, 235.0) } else { (241.8, 78.2, 235.0, 85.0) };
    Pass {
        from: mm(from),
        to: mm(to),
        feed: vec![FeedPoint { at: mm(0.0), feed: Speed::from_mm_per_s(FEED) }],
        powder: vec![PowderWindow { on: mm(on), off: mm(off) }],
        trim: Trim::NONE,
    }
}

pub(super) fn spray(passes: usize) -> SprayStep {
    let directions = [Level::On, Level::Off].into_iter().cycle();
    SprayStep {
        zone: "seat".to_owned(),
        edges: Range { low: mm(100.0), high: mm(220.0) },
        torch: 0,
        spindle: SpindleSpeed::from_rpm(125.0),
        powder_rate: MassFlow::from_g_per_min(60.0),
        lead_on: s(0.6),
        lead_off: s(0.8),
        window: Range { low: celsius(200.0), high: celsius(350.0) },
        resume_below: celsius(250.0),
        dwell: s(0.2),
        passes: directions.take(passes).map(pass).collect(),
        powder: Mass::from_g(129.6),
        thickness_per_pass: mm(0.0787),
        lies: Length::ZERO,
        touch_ups: 0,
        bounds: PassBounds {
            span: Range { low: mm(85.0), high: mm(235.0) },
            diameter: mm(50.0),
            feed: Range { low: Speed::from_mm_per_s(1.0), high: Speed::from_mm_per_s(40.0) },
            smooth_up_to: Speed::from_mm_per_s(25.0),
            travel: Range { low: mm(-10.0), high: mm(350.0) },
            backlash: Length::ZERO,
            thickest: mm(1.6),
        },
    }
}

pub(super) fn program(steps: Vec<Step>) -> Program {
    Program {
        title: "test job".to_owned(),
        park: mm(PARK),
        part: Range { low: mm(0.0), high: mm(300.0) },
        clear_by: mm(18.0),
        ramp: Acceleration::from_mm_per_s2(100.0),
        positioning: Speed::from_mm_per_s(50.0),
        steps,
        torches: vec![
            torch("spraying", ShutOrder::FuelFirst),
            TorchPlan { longest_rest: s(1.5), ..torch("fusing", ShutOrder::Together) },
        ],
        blasted_within: s(7200.0),
        parts: Parts::Any,
    }
}

pub(super) fn preheat() -> Step {
    Step::Preheat(PreheatStep {
        torch: 0,
        spindle: SpindleSpeed::from_rpm(125.0),
        feed: Speed::from_mm_per_s(40.0),
        span: Range { low: mm(80.0), high: mm(240.0) },
        window: Range { low: celsius(210.0), high: celsius(300.0) },
        aim: celsius(230.0),
        soak: s(2.0),
        longest: s(120.0),
        expected: s(20.0),
    })
}

fn band(low: f64, high: f64) -> FuseBand {
    let stretch = Range { low: mm(low), high: mm(high) };
    FuseBand::new(stretch, stretch)
}

pub(super) fn fuse() -> Step {
    Step::Fuse(FuseStep {
        zone: "seat".to_owned(),
        torch: 1,
        spindle: SpindleSpeed::from_rpm(63.0),
        starts: End::ChuckSide,
        edges: Range { low: mm(85.0), high: mm(165.0) },
        bands: vec![band(85.0, 125.0), band(125.0, 165.0)],
        oscillation: Speed::from_mm_per_s(30.0),
        feed: Speed::from_mm_per_s(5.0),
        window: Range { low: celsius(1020.0), high: celsius(1080.0) },
        ceiling: celsius(1120.0),
        longest: s(60.0),
    })
}

pub(super) fn cool() -> Step {
    Step::Cool(CoolStep {
        spindle: SpindleSpeed::from_rpm(63.0),
        turn_until: celsius(150.0),
        at_least: s(5.0),
        after_fusing: s(5.0),
        longest: s(600.0),
        slow: SlowCooling::NotNeeded,
    })
}

/// Preheat, three passes, change of torch, two bands, cooling.
pub(super) fn whole_job() -> Arc<Program> {
    Arc::new(program(vec![preheat(), Step::Spray(spray(3)), Step::ChangeTorch(1), fuse(), cool()]))
}
