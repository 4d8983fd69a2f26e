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

mod devices;
mod plant;

pub use self::devices::*;
pub use self::plant::*;

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
