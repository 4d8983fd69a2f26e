//! The shipped bench as a value, for tests: each changes the few figures it is about.

use super::{InverterSpec, LineSpec, Rig, SpindleSpec};

/// The shipped bench.
pub(crate) fn bench() -> Rig {
    let text = include_str!("../../../../config/rigs/bench.toml");
    Rig::read(text).expect("the shipped bench is accepted")
}

/// One of its lines: they are alike.
pub(crate) fn line() -> LineSpec {
    bench().lines.swap_remove(0)
}

/// Its spindle drive.
pub(crate) fn inverter() -> InverterSpec {
    match bench().spindle {
        SpindleSpec::Inverter(inverter) => inverter,
        SpindleSpec::Gears(gears) => gears.motor,
    }
}
