//! The figures of what moves, flows, burns and gets hot.

use serde::Deserialize;

table! {
    /// The carriage on its bed.
    CarriageSpec {
        /// The limit switch toward the chuck opens at and below this z, mm.
        hard_limit_minus_mm: f64,
        /// The limit switch toward the tailstock opens at and above this z, mm.
        hard_limit_plus_mm: f64,
        /// Solid stops stand this far outside the limit switches, mm.
        stop_beyond_limit_mm: f64,
        /// The home switch closes at and below this z, mm.
        home_switch_mm: f64,
        /// The park switch closes at and above this z, mm.
        park_switch_mm: f64,
        /// Play between drive and torch, mm.
        backlash_mm: f64,
        /// Where the carriage stands when power comes on, mm.
        start_mm: f64,
    }
}

/// How the spindle gets its speed.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum SpindleKind {
    /// The inverter's reference.
    Inverter,
    /// A gear lever; the inverter only runs and stops the motor.
    Lever,
}

table! {
    /// The spindle.
    SpindleSpec {
        /// How it gets its speed.
        kind: SpindleKind,
        /// Speed of the gear lever's position, rpm.
        lever_rpm: f64,
        /// Targets of the tachometer.
        pulses_per_turn: u16,
        /// Ordinary ramp, rpm per s.
        ramp_rpm_s: f64,
        /// Quick ramp, rpm per s.
        quick_ramp_rpm_s: f64,
        /// Ramp of the brake when the run latch drops, rpm per s.
        brake_rpm_s: f64,
        /// Loss of speed of chuck and part alone, rpm per s.
        coast_rpm_s: f64,
    }
}

table! {
    /// Gases and carrier air.
    GasSpec {
        /// Fuel regulator, bar above atmosphere, where the torch names none.
        fuel_bar: f64,
        /// Oxygen regulator, bar above atmosphere, where the torch names none.
        oxygen_bar: f64,
        /// Time constant of filling behind the isolation valve, s.
        fill_time_constant_s: f64,
        /// Time constant of venting behind the isolation valve, s.
        vent_time_constant_s: f64,
        /// A valve proves shut this long after it lost power, s.
        valve_travel_s: f64,
        /// Carrier air regulator, bar above atmosphere.
        carrier_air_bar: f64,
        /// Back-pressure with carrier air through a free hose, bar.
        carrier_back_pressure_bar: f64,
        /// Back-pressure with carrier air into a blocked hose, bar.
        carrier_blocked_pressure_bar: f64,
    }
}

table! {
    /// Lighting and loss of the flame.
    FlameSpec {
        /// Whether coil 4 drives an igniter.
        igniter_fitted: bool,
        /// From spark and both gases to flame, s.
        igniter_delay_s: f64,
        /// From the loss of fuel or oxygen to the end of the flame, s.
        out_after_s: f64,
    }
}

table! {
    /// A torch.
    TorchSpec {
        /// Its name in the order of torches.
        name: String,
        /// Heat into a part wider than the flame, W.
        net_power_w: f64,
        /// Standard deviation of the heat along z, mm.
        heat_sigma_axial_mm: f64,
        /// Standard deviation of the heat across, mm.
        heat_sigma_lateral_mm: f64,
        /// Fuel pressure that the person sets for it, bar; the regulator's if none.
        fuel_bar: Option<f64>,
        /// Oxygen pressure that the person sets for it, bar; the regulator's if none.
        oxygen_bar: Option<f64>,
        /// Whether the powder hose is on it.
        takes_powder: bool,
    }
}

table! {
    /// Feeder, hopper and hose.
    PowderSpec {
        /// Powder flow, g/min.
        rate_g_min: f64,
        /// From feeder on to powder at the nozzle, s.
        transport_delay_on_s: f64,
        /// From feeder off to the last powder at the nozzle, s. The hose takes the shorter of the
        /// two; by what the other is longer, the feeder answers its coil late.
        transport_delay_off_s: f64,
        /// Time constant of the flow's rise, s; 0 = a jump.
        rise_time_constant_s: f64,
        /// Time constant of the flow's fall, s; 0 = a jump.
        fall_time_constant_s: f64,
        /// Powder in the hopper at the start, g.
        hopper_g: f64,
        /// The level contact opens below this, g.
        hopper_level_low_g: f64,
    }
}

table! {
    /// Where powder lands, and how much of it stays.
    PlumeSpec {
        /// From nozzle to a surface at the reference radius, mm.
        stand_off_mm: f64,
        /// Radius at which the stand-off holds, mm.
        reference_radius_mm: f64,
        /// Standard deviation of the mass flux along z at the stand-off, mm.
        sigma_axial_mm: f64,
        /// Standard deviation across, mm.
        sigma_lateral_mm: f64,
        /// Half angle of the one-sigma cone, degrees.
        sigma_growth_half_angle_deg: f64,
        /// Exponent of the cosine law of sticking.
        angle_exponent: f64,
        /// Sticking fraction at right angles.
        efficiency: f64,
        /// Density of the coat as sprayed, kg/m3.
        as_sprayed_density_kg_m3: f64,
    }
}

/// The part's material.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Steel {
    /// Conductivity and specific heat as given, at all temperatures.
    Constant,
    /// Specific heat and conductivity of carbon steel by EN 1993-1-2.
    #[serde(rename = "en_1993_1_2")]
    En1993,
    /// The same specific heat; alloyed, so that it leads no more than 36 W/(m K).
    Alloyed,
    /// Both of austenitic stainless steel by annex C of that standard.
    Stainless,
}

/// Whether the part's end faces lose heat.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum EndFaces {
    /// They lose heat like the rest of the surface.
    Open,
    /// They lose none.
    Insulated,
}

table! {
    /// How the part takes, keeps and loses heat.
    HeatSpec {
        /// Its material.
        steel: Steel,
        /// Conductivity of a constant material, W/(m K).
        conductivity_w_mk: f64,
        /// Specific heat of a constant material, J/(kg K).
        specific_heat_j_kgk: f64,
        /// Density, kg/m3.
        density_kg_m3: f64,
        /// Heat transfer to the air, W/(m2 K).
        convection_w_m2k: f64,
        /// Emissivity of the surface.
        emissivity: f64,
        /// Whether the end faces lose heat.
        end_faces: EndFaces,
        /// Temperature of the air and of the cell's walls, degC.
        ambient_c: f64,
        /// Temperature from which the coat looks wet, degC.
        wet_c: f64,
    }
}

impl CarriageSpec {
    /// Where the torch can be at all: from one solid stop to the other, mm.
    pub(crate) fn travel_mm(&self) -> (f64, f64) {
        (
            self.hard_limit_minus_mm - self.stop_beyond_limit_mm,
            self.hard_limit_plus_mm + self.stop_beyond_limit_mm,
        )
    }
}
