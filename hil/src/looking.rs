//! What is physically so.

use crate::bench::{Bench, STILL_RPM};
use crate::truth::Truth;
use crate::wiring::Coil;

/// Places at which a mean over a zone is taken.
const MEAN_PLACES: u32 = 100;

impl Bench {
    /// The world now. Cheap; thickness has calls of its own.
    #[must_use]
    pub fn truth(&self) -> Truth {
        let now = self.now_us;
        let torch_z_mm = self.carriage.torch_mm(now);
        Truth {
            time_us: now,
            torch_z_mm,
            torch_mm_s: self.carriage.torch_mm_s(now),
            screw_z_mm: self.carriage.screw(now).0,
            drive_position_mm: self.drive.believed_mm(now, &self.carriage),
            drive_homed: self.drive.is_homed(),
            drive_torque: self.drive.state().has_torque(),
            torque_allowed: self.torque_allowed,
            spindle_rpm: self.spindle.rpm(now),
            motor_rpm: self.spindle.motor_rpm(now),
            part_turns: self.part_rpm() >= STILL_RPM,
            run_latch_closed: self.inverter.latch_closed(),
            flame_lit: self.flame.is_lit(),
            torch: self.torch,
            coils: self.field_io.acting(),
            energised: self.energised,
            fuel_open: self.is_on(Coil::FuelValve),
            oxygen_open: self.is_on(Coil::OxygenValve),
            supply_open: self.is_on(Coil::GasSupply),
            feeder_on: self.is_on(Coil::PowderFeeder),
            carrier_on: self.is_on(Coil::CarrierAir),
            watchdog_up: self.field_io.relay_up(),
            fuel_bar: self.fuel.value(now),
            oxygen_bar: self.oxygen.value(now),
            powder_g_s: self.powder.flow_g_s(),
            powder_fed_g: self.powder.fed_g(now),
            powder_released_g: self.powder.through_nozzle_g(),
            coat_g: self.deposit.stuck_g(),
            landed_cold_g: self.deposit.cold_g(),
            landed_one_sided_g: self.deposit.one_sided_g(),
            hopper_g: self.powder.hopper_g(now),
            part_mean_c: self.bar.mean_c(),
            part_highest_c: self.bar.highest_c(),
            part_at_torch_c: self.bar.at(torch_z_mm),
            guard_closed: self.guard_closed,
            emergency_ok: self.emergency_ok(),
            key_on: self.key_on,
            buttons: self.buttons,
            person: self.hands.last_act(),
        }
    }

    /// Name of the mounted torch.
    #[must_use]
    pub fn torch_name(&self) -> &str {
        self.mounted().map_or("", |t| t.name.as_str())
    }

    /// Thickness of the coat as sprayed at `z_mm`, mm, at right angles to the bare contour, as a thin
    /// film (deposited volume over bare surface). Powder of the last 25 ms may not have landed yet.
    #[must_use]
    pub fn thickness_mm(&self, z_mm: f64) -> f64 {
        self.deposit.thickness_mm(z_mm)
    }

    /// What the coat as sprayed adds to the radius at `z_mm`, mm: the same volume on a growing round.
    #[must_use]
    pub fn build_mm(&self, z_mm: f64) -> f64 {
        self.deposit.build_mm(z_mm, self.deposit.thickness_mm(z_mm))
    }

    /// The same at many places, mm; much cheaper than one call for each.
    #[must_use]
    pub fn build_list_mm(&self, z_mm: &[f64]) -> Vec<f64> {
        let thin = self.deposit.thickness_list_mm(z_mm);
        z_mm.iter().zip(thin).map(|(z, thin)| self.deposit.build_mm(*z, thin)).collect()
    }

    /// Thickness at many places, mm; much cheaper than one call for each.
    #[must_use]
    pub fn thickness_list_mm(&self, z_mm: &[f64]) -> Vec<f64> {
        self.deposit.thickness_list_mm(z_mm)
    }

    /// Mean thickness between two places, mm, as a thin film.
    #[must_use]
    pub fn mean_thickness_mm(&self, from_mm: f64, to_mm: f64) -> f64 {
        let width = (to_mm - from_mm) / f64::from(MEAN_PLACES);
        let places: Vec<f64> =
            (0..MEAN_PLACES).map(|i| from_mm + (f64::from(i) + 0.5) * width).collect();
        self.thickness_list_mm(&places).iter().sum::<f64>() / f64::from(MEAN_PLACES)
    }

    /// Temperature of the part at `z_mm`, degC; nothing off the part.
    #[must_use]
    pub fn part_c(&self, z_mm: f64) -> Option<f64> {
        self.bar.at(z_mm)
    }
}
