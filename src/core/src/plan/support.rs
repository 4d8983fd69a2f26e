//! Values for tests: an invented reference job on an invented rig.

use crate::catalogue::{
    Carrier, Catalogue, FuelGas, GasSetting, LightingRules, Powder, ShutOrder, Torch, TorchPurpose,
};
use crate::quantity::{
    Density, Fraction, Length, MassFlow, Pitch, Power, Pressure, Range, Speed, SpindleSpeed,
    Temperature, Time, VolumeFlow,
};
use crate::recipe::{
    Cool, End, FeedChoice, Fuse, Part, Preheat, ProfilePoint, Recipe, SlowCooling, Spray,
    Substrate, Zone,
};
use crate::rig::{AxisSpec, GearTable, InverterSpec, Rig, SpindleSpec, support as bench};

fn mm(value: f64) -> Length {
    Length::from_mm(value)
}

fn s(value: f64) -> Time {
    Time::from_s(value)
}

fn celsius(low: f64, high: f64) -> Range<Temperature> {
    Range { low: Temperature::from_celsius(low), high: Temperature::from_celsius(high) }
}

fn metres_per_minute(value: f64) -> Speed {
    Speed::from_mm_per_s(value * 1000.0 / 60.0)
}

pub(crate) fn part(profile: &[(f64, f64)]) -> Part {
    Part {
        name: "shaft".to_owned(),
        substrate: Substrate::PlainSteel,
        profile: profile
            .iter()
            .map(|(at, diameter)| ProfilePoint { at: mm(*at), diameter: mm(*diameter) })
            .collect(),
        bore: Length::ZERO,
    }
}

pub(crate) fn zone(from: f64, to: f64) -> Zone {
    Zone {
        name: "journal".to_owned(),
        from: mm(from),
        to: mm(to),
        finish: mm(0.35),
        allowance: mm(0.20),
        powder: "nickel-60".to_owned(),
        powder_rate: MassFlow::from_g_per_min(60.0),
        surface_speed: metres_per_minute(20.0),
        feed: FeedChoice::Pitch(Pitch::from_mm_per_turn(5.0)),
        overrun: Some(mm(15.0)),
        passes: None,
    }
}

/// The reference job: D 50, Z 100 to 220 of 0 to 300 mm, 0.35 + 0.20 mm.
pub(crate) fn recipe() -> Recipe {
    Recipe {
        title: "reference shaft".to_owned(),
        revision: 1,
        note: None,
        part: part(&[(0.0, 50.0), (300.0, 50.0)]),
        zones: vec![zone(100.0, 220.0)],
        preheat: Preheat {
            window: celsius(250.0, 300.0),
            soak: s(10.0),
            longest: s(600.0),
            feed: Speed::from_mm_per_s(15.0),
        },
        spray: Spray {
            torch: "spray-and-fuse".to_owned(),
            standoff: mm(160.0),
            window: celsius(200.0, 350.0),
            resume_below: Temperature::from_celsius(300.0),
            blasted_within: s(7200.0),
            dwell: s(0.2),
            starts: End::ChuckSide,
        },
        fuse: Some(Fuse {
            torch: "fusing".to_owned(),
            window: celsius(1030.0, 1080.0),
            ceiling: Temperature::from_celsius(1110.0),
            surface_speed: metres_per_minute(20.0),
            starts: End::TailSide,
            band: None,
            overrun: None,
            oscillation: Speed::from_mm_per_s(20.0),
            feed: Speed::from_mm_per_s(2.0),
            longest: s(180.0),
        }),
        cool: Cool {
            turn_until: Temperature::from_celsius(100.0),
            at_least: s(60.0),
            longest: s(7200.0),
            slow: SlowCooling::NotNeeded,
        },
        inspection: None,
    }
}

fn setting(kilowatt: f64) -> GasSetting {
    GasSetting {
        fuel: VolumeFlow::from_l_per_min(18.0),
        oxygen: VolumeFlow::from_l_per_min(20.0),
        net_power: Power::from_kw(kilowatt),
    }
}

pub(crate) fn torch(key: &str, purpose: TorchPurpose) -> Torch {
    Torch {
        key: key.to_owned(),
        title: format!("torch {key} (invented)"),
        purpose,
        plume: mm(6.0),
        flame: mm(6.0),
        standoff: Range { low: mm(20.0), high: mm(200.0) },
        surface_speed: Range { low: metres_per_minute(15.0), high: metres_per_minute(30.0) },
        powder_rate: Some(Range {
            low: MassFlow::from_g_per_min(20.0),
            high: MassFlow::from_g_per_min(120.0),
        }),
        feed: Range { low: Speed::from_mm_per_s(1.0), high: Speed::from_mm_per_s(40.0) },
        powder_delay_on: s(0.6),
        powder_delay_off: s(0.8),
        powder_rise: Time::ZERO,
        spraying: setting(3.0),
        fusing: setting(8.0),
        fuel_pressure: Pressure::from_bar(0.6),
        oxygen_pressure: Pressure::from_bar(3.0),
        carrier_pressure: Pressure::from_bar(2.0),
        carrier: Carrier::Air,
        fuel_gas: "acetylene".to_owned(),
        lighting: LightingRules {
            purge: s(4.0),
            trial: s(5.0),
            wait: s(20.0),
            tries: 3,
            proving: s(2.0),
        },
        shut_order: ShutOrder::Together,
        shut_lag: Time::ZERO,
        purge_after: s(5.0),
        longest_dwell: s(1.0),
    }
}

pub(crate) fn catalogue() -> Catalogue {
    Catalogue {
        powders: vec![Powder {
            key: "nickel-60".to_owned(),
            title: "self-fluxing nickel alloy (invented)".to_owned(),
            density_as_sprayed: Density::from_g_per_cm3(6.6),
            // 6.6 / 0.82: a shrink of 18 % to the last digit.
            density_fused: Density::from_g_per_cm3(6.6 / 0.82),
            efficiency: Fraction::from_ratio(0.85),
            spray_window: celsius(180.0, 380.0),
            solidus: Temperature::from_celsius(977.0),
            liquidus: Temperature::from_celsius(1038.0),
            fuse_window: celsius(1020.0, 1090.0),
            thickest: mm(1.6),
        }],
        torches: vec![
            torch("spray-and-fuse", TorchPurpose::SprayingAndFusing),
            torch("fusing", TorchPurpose::Fusing),
        ],
        fuel_gases: vec![FuelGas {
            key: "acetylene".to_owned(),
            title: "acetylene".to_owned(),
            highest_pressure: Pressure::from_bar(1.03),
            kilojoule_per_litre: 56.4,
            draw_per_hour: Some(Fraction::from_ratio(1.0 / 7.0)),
        }],
    }
}

fn motor(low: f64, high: f64) -> InverterSpec {
    InverterSpec {
        speeds: Range { low: SpindleSpeed::from_rpm(low), high: SpindleSpeed::from_rpm(high) },
        ..bench::inverter()
    }
}

pub(crate) fn inverter(low: f64, high: f64) -> SpindleSpec {
    SpindleSpec::Inverter(motor(low, high))
}

/// Every third of R20 (ISO 3).
pub(crate) fn gears() -> SpindleSpec {
    let speeds = [31.5, 45.0, 63.0, 90.0, 125.0, 180.0, 250.0, 355.0, 500.0, 710.0, 1000.0, 1400.0];
    SpindleSpec::Gears(GearTable {
        speeds: speeds.into_iter().map(SpindleSpeed::from_rpm).collect(),
        motor: motor(0.0, 1400.0),
    })
}

pub(crate) fn rig() -> Rig {
    let bench = bench::bench();
    Rig {
        axis: AxisSpec {
            datum: Length::ZERO,
            travel: Range { low: mm(10.0), high: mm(420.0) },
            park: mm(400.0),
            backlash: Length::ZERO,
            ..bench.axis
        },
        spindle: gears(),
        ..bench
    }
}
