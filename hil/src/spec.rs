//! What a bench is made of: the figures of one TOML file.

use serde::Deserialize;

const DEFAULT_BENCH: &str = include_str!("../benches/default.toml");

macro_rules! table {
    ($(#[$doc:meta])* $name:ident { $($(#[$field_doc:meta])* $field:ident : $type:ty),* $(,)? }) => {
        $(#[$doc])*
        #[derive(Clone, Debug, PartialEq, Deserialize)]
        #[serde(deny_unknown_fields)]
        pub struct $name { $($(#[$field_doc])* pub $field: $type),* }
    };
}

table! {
    /// A whole bench. Field names carry their units.
    BenchSpec {
        /// Both serial lines.
        line: LineSpec,
        /// The field I/O module on the field line.
        field_io: FieldIoSpec,
        /// The carriage drive on the motion line.
        drive: DriveSpec,
        /// The carriage itself.
        carriage: CarriageSpec,
        /// The spindle inverter on the motion line.
        inverter: InverterSpec,
        /// The spindle itself.
        spindle: SpindleSpec,
        /// Gases and carrier air.
        gas: GasSpec,
        /// Lighting and loss of the flame.
        flame: FlameSpec,
        /// The torches that can be mounted.
        torch: Vec<TorchSpec>,
        /// Feeder, hopper and hose.
        powder: PowderSpec,
        /// Where powder lands.
        plume: PlumeSpec,
        /// How the part takes, keeps and loses heat.
        heat: HeatSpec,
        /// What the sensors look at.
        sensors: SensorSpec,
        /// The cell and its safety circuit.
        cell: CellSpec,
        /// The person at the machine.
        hands: HandsSpec,
    }
}

table! {
    /// Timing of the RS-485 lines.
    LineSpec {
        /// Line speed, bits per second.
        baud: u32,
        /// Bits of one character with start, parity and stop.
        bits_per_character: u32,
        /// Longest silence inside a frame (t1.5), us.
        inter_character_gap_us: u64,
        /// Silence that ends a frame (t3.5), us.
        frame_gap_us: u64,
    }
}

table! {
    /// The field I/O module.
    FieldIoSpec {
        /// Unit address.
        unit: u8,
        /// From the end of a request to the first byte of its reply, us.
        turn_round_us: u64,
        /// From the end of a request to the switching of its coils, us.
        module_cycle_us: u64,
        /// Communication time-out after power-up, ms; 0 = none.
        communication_timeout_ms: u16,
        /// Reaction to it after power-up: 0 keep, 1 all outputs off.
        communication_reaction: u16,
        /// The watchdog relay drops this long after the last edge of its coil, s.
        watchdog_hold_s: f64,
    }
}

/// Where the drive's position comes from.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Feedback {
    /// A scale on the carriage: a slipping nut shows as following error.
    Carriage,
    /// The motor: a slipping nut does not show.
    Motor,
}

table! {
    /// The carriage drive.
    DriveSpec {
        /// Unit address.
        unit: u8,
        /// From the end of a request to the first byte of its reply, us.
        turn_round_us: u64,
        /// From power on to "switch on disabled", s.
        start_up_s: f64,
        /// Position unit, pulses per mm.
        pulses_per_mm: f64,
        /// Greatest acceleration of motor and inertia, mm/s2.
        acceleration_limit_mm_s2: f64,
        /// Greatest speed, mm/s.
        speed_limit_mm_s: f64,
        /// Deceleration by friction when torque is off, mm/s2.
        coast_deceleration_mm_s2: f64,
        /// Following error at which the drive faults, mm.
        following_error_limit_mm: f64,
        /// What the position register reports.
        position_feedback: Feedback,
        /// Profile velocity after power-up, mm/s.
        profile_speed_mm_s: f64,
        /// Profile acceleration and deceleration after power-up, mm/s2.
        acceleration_mm_s2: f64,
        /// Quick-stop deceleration after power-up, mm/s2.
        quick_stop_deceleration_mm_s2: f64,
        /// Homing speed after power-up, mm/s.
        homing_speed_mm_s: f64,
        /// Communication time-out after power-up, ms; 0 = none.
        communication_timeout_ms: u16,
        /// Reaction to it after power-up: 0 none, 1 warn, 2 quick stop then disable, 3 disable.
        communication_reaction: u16,
    }
}

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

table! {
    /// The spindle inverter.
    InverterSpec {
        /// Unit address.
        unit: u8,
        /// From the end of a request to the first byte of its reply, us.
        turn_round_us: u64,
        /// Communication time-out after power-up, ms; 0 = none.
        communication_timeout_ms: u16,
        /// Reaction to it after power-up: 0 none, 1 ride on then ramp down, 2 ramp down at once.
        communication_reaction: u16,
        /// Ride-on time after power-up, s.
        ride_on_s: u16,
        /// Motor current at speed, A.
        rated_current_a: f64,
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
        /// From feeder off to the last powder at the nozzle, s.
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

table! {
    /// What the sensors look at and what their full scale is.
    SensorSpec {
        /// The preheat sensor looks this far from the torch, mm.
        preheat_offset_mm: f64,
        /// The preheat sensor looks always at this z, mm, when given; at the part's end where the part
        /// is shorter.
        preheat_at_mm: Option<f64>,
        /// Wavelength of the short-wave pyrometer, um.
        pyrometer_wavelength_um: f64,
        /// Emissivity that the pyrometer is set to.
        pyrometer_set_emissivity: f64,
        /// Fuel pressure at 20 mA, bar.
        fuel_full_scale_bar: f64,
        /// Oxygen pressure at 20 mA, bar.
        oxygen_full_scale_bar: f64,
        /// Carrier air pressure at 20 mA, bar.
        carrier_full_scale_bar: f64,
    }
}

table! {
    /// The cell and its safety circuit.
    CellSpec {
        /// Extraction flow when running, percent.
        extraction_percent: f64,
        /// Time constant of its rise and fall, s.
        extraction_time_constant_s: f64,
        /// The flow contact closes above this, percent.
        extraction_ok_percent: f64,
        /// Flammable gas in the cell, percent of the lower explosive limit.
        flammable_gas_percent_lel: f64,
        /// Oxygen in the cell's air, percent.
        oxygen_in_air_percent: f64,
        /// The drive's torque goes off this long after its quick stop was asked for, s.
        torque_off_after_s: f64,
    }
}

table! {
    /// The person at the machine.
    HandsSpec {
        /// From what they see to their first movement, s.
        reaction_s: f64,
        /// How soon they press for what they watch for, s.
        watching_s: f64,
        /// They act again after this time if the lamp stays lit, s.
        repeat_s: f64,
        /// How long they hold a button, s.
        press_s: f64,
        /// How long they look at a new flame, s.
        look_s: f64,
        /// From reaching in to the spark, s.
        spark_delay_s: f64,
        /// Opening or shutting the guard, s.
        guard_s: f64,
        /// Changing a torch or measuring, s.
        access_s: f64,
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

impl BenchSpec {
    /// Reads a bench from TOML.
    ///
    /// # Errors
    /// A sentence with line and column when a field is unknown, missing or of the wrong kind, or
    /// when a figure lies outside what the bench can be built from.
    pub fn from_toml(text: &str) -> Result<Self, SpecError> {
        let spec: Self = toml::from_str(text).map_err(|e| SpecError(e.to_string()))?;
        spec.check()?;
        Ok(spec)
    }

    /// The bench of `benches/default.toml`.
    ///
    /// # Errors
    /// As [`BenchSpec::from_toml`]; a test keeps the embedded file good.
    pub fn default_bench() -> Result<Self, SpecError> {
        Self::from_toml(DEFAULT_BENCH)
    }

    fn check(&self) -> Result<(), SpecError> {
        let positive = [
            ("line.baud", f64::from(self.line.baud)),
            ("drive.pulses_per_mm", self.drive.pulses_per_mm),
            ("drive.acceleration_limit_mm_s2", self.drive.acceleration_limit_mm_s2),
            ("drive.speed_limit_mm_s", self.drive.speed_limit_mm_s),
            ("drive.coast_deceleration_mm_s2", self.drive.coast_deceleration_mm_s2),
            ("spindle.pulses_per_turn", f64::from(self.spindle.pulses_per_turn)),
            ("spindle.ramp_rpm_s", self.spindle.ramp_rpm_s),
            ("spindle.quick_ramp_rpm_s", self.spindle.quick_ramp_rpm_s),
            ("spindle.brake_rpm_s", self.spindle.brake_rpm_s),
            ("spindle.coast_rpm_s", self.spindle.coast_rpm_s),
            ("gas.fill_time_constant_s", self.gas.fill_time_constant_s),
            ("gas.vent_time_constant_s", self.gas.vent_time_constant_s),
            ("plume.sigma_axial_mm", self.plume.sigma_axial_mm),
            ("plume.sigma_lateral_mm", self.plume.sigma_lateral_mm),
            ("plume.as_sprayed_density_kg_m3", self.plume.as_sprayed_density_kg_m3),
            ("heat.density_kg_m3", self.heat.density_kg_m3),
            ("heat.specific_heat_j_kgk", self.heat.specific_heat_j_kgk),
            ("sensors.fuel_full_scale_bar", self.sensors.fuel_full_scale_bar),
            ("sensors.oxygen_full_scale_bar", self.sensors.oxygen_full_scale_bar),
            ("sensors.carrier_full_scale_bar", self.sensors.carrier_full_scale_bar),
            ("cell.extraction_time_constant_s", self.cell.extraction_time_constant_s),
            (
                "carriage.hard_limit_plus_mm above hard_limit_minus_mm",
                self.carriage.hard_limit_plus_mm - self.carriage.hard_limit_minus_mm,
            ),
        ];
        for (name, value) in positive {
            if !(value > 0.0 && value.is_finite()) {
                return Err(SpecError(format!(
                    "{name} is {value}; a bench needs a figure above zero here"
                )));
            }
        }
        if self.torch.is_empty() {
            return Err(SpecError("the bench has no torch; add at least one [[torch]]".to_owned()));
        }
        Ok(())
    }

    /// The place of a torch among [`BenchSpec::torch`].
    pub(crate) fn torch_index(&self, name: &str) -> Option<usize> {
        self.torch.iter().position(|t| t.name == name)
    }
}

/// Why a bench or a part cannot be built, as one sentence.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct SpecError(pub(crate) String);

impl std::fmt::Display for SpecError {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(&self.0)
    }
}

impl std::error::Error for SpecError {}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::part::PartInChuck;

    #[test]
    fn the_default_bench_reads_and_fits_the_plain_shaft() {
        let spec = BenchSpec::default_bench().unwrap();
        assert!(PartInChuck::plain_shaft().check(&spec).is_ok());
        assert_eq!(spec.sensors.preheat_at_mm, Some(150.0));
    }

    #[test]
    fn an_unknown_field_is_refused_by_name() {
        let text = DEFAULT_BENCH.replace("backlash_mm", "backlash");
        let error = BenchSpec::from_toml(&text).unwrap_err();
        assert!(error.to_string().contains("backlash"), "{error}");
    }

    #[test]
    fn a_figure_that_would_divide_by_zero_is_refused() {
        let text = DEFAULT_BENCH.replace("pulses_per_mm = 400.0", "pulses_per_mm = 0.0");
        let error = BenchSpec::from_toml(&text).unwrap_err();
        assert!(error.to_string().contains("drive.pulses_per_mm"), "{error}");
    }

    #[test]
    fn a_torch_that_the_bench_lacks_is_refused() {
        let spec = BenchSpec::default_bench().unwrap();
        let mut part = PartInChuck::plain_shaft();
        part.torch_order.push("weld".to_owned());
        assert!(part.check(&spec).unwrap_err().to_string().contains("weld"));
    }
}
