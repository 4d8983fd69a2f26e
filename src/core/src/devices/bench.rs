//! The rig of the devices' tests: the shipped bench with polls twice as fast and rounder figures.

use crate::quantity::{Acceleration, Length, Range, Speed, Time};
use crate::rig::{AxisSpec, FieldSpec, InverterSpec, LitBy, Rig, SpindleSpec, support};

pub(crate) fn rig() -> Rig {
    let bench = support::bench();
    Rig {
        lit_by: LitBy::Igniter,
        field: FieldSpec {
            age_budget: Time::from_s(0.15),
            poll_every: Time::from_s(0.020),
            registers_every: Time::from_s(0.040),
            ..bench.field
        },
        axis: AxisSpec {
            travel: Range { low: Length::from_mm(-40.0), high: Length::from_mm(900.0) },
            park: Length::from_mm(880.0),
            positioning: Speed::from_mm_per_s(50.0),
            jog: Speed::from_mm_per_s(10.0),
            homing: Speed::from_mm_per_s(10.0),
            ramp: Acceleration::from_mm_per_s2(200.0),
            quick_stop: Acceleration::from_mm_per_s2(1_000.0),
            ..bench.axis
        },
        spindle: SpindleSpec::Inverter(InverterSpec {
            age_budget: Time::from_s(1.0),
            poll_every: Time::from_s(0.2),
            ..support::inverter()
        }),
        ..bench
    }
}
