//! What a scenario lets happen to the machine: faults, trouble with the plant, mains off and on.

use crate::agenda::Slot;
use crate::bench::{Bench, OnLine, Troubles};
use crate::fault::{Fault, LineIndex, PlantFault, SignalFault, Word};
use crate::plant::powder::Flow;
use crate::wiring::Coil;

impl Bench {
    /// Mains fails: valves shut by their springs, drives lose torque, devices fall silent.
    pub fn cut_power(&mut self) {
        let now = self.now_us;
        self.powered = false;
        self.field_io.power_up();
        self.agenda.clear(Slot::WatchdogRelay);
        self.drive.set_torque_allowed(now, &mut self.carriage, false);
        self.inverter.power_down(now, &mut self.spindle);
        for slot in [
            Slot::Coils,
            Slot::FieldTimeout,
            Slot::DriveTimeout,
            Slot::InverterTimeout,
            Slot::DriveStart,
        ] {
            self.agenda.clear(slot);
        }
        self.switch_outputs();
        self.plan_carriage();
        self.plan_spindle();
    }

    /// Mains comes back: devices start with their parameters after power-up, the drive unreferenced.
    pub fn restore_power(&mut self) {
        let now = self.now_us;
        self.powered = true;
        self.field_io.power_up();
        self.inverter.power_up();
        self.drive.power_up(now, &self.carriage);
        self.drive.set_torque_allowed(now, &mut self.carriage, self.torque_allowed);
        let start_up = crate::counts::microseconds(self.spec.drive.start_up_s);
        self.agenda.set(Slot::DriveStart, now + start_up);
    }

    /// Lets a fault come, or go by [`Word::Ok`].
    pub fn inject(&mut self, fault: Fault) {
        match fault {
            Fault::Signal { target, word } => {
                self.signal_faults.retain(|f| f.target != target);
                self.memory.retain(|m| m.0 != target);
                if word != Word::Ok {
                    self.signal_faults.push(SignalFault::new(target, word, self.now_us));
                    self.observe_faults();
                }
                self.switch_outputs();
            }
            Fault::Line { line, fault, chance } => {
                self.line_faults.push(OnLine { line, fault, chance });
            }
            Fault::Plant(fault) => self.trouble(fault),
        }
    }

    /// Takes all faults away; what they have done stays done.
    pub fn clear_faults(&mut self) {
        self.settle_powder();
        self.signal_faults.clear();
        self.line_faults.clear();
        self.memory.clear();
        self.mend_plant();
    }

    /// Takes all faults of one line away.
    pub fn mend_line(&mut self, line: LineIndex) {
        self.line_faults.retain(|on_line| on_line.line != line);
    }

    /// Takes all faults of the plant away; what they have done stays done.
    pub fn mend_plant(&mut self) {
        let now = self.now_us;
        self.settle_powder();
        self.troubles = Troubles::default();
        self.carriage.set_slip(now, None);
        self.drive.report(None);
        self.spindle.set_belt_off(now, false);
        self.spindle.set_wrong_rpm(now, None);
        self.powder.set_blocked(false);
        self.after_trouble();
    }

    pub(crate) fn trouble(&mut self, fault: PlantFault) {
        let now = self.now_us;
        self.settle_powder();
        match fault {
            PlantFault::FlameBlownOut => self.flame.blow_out(),
            PlantFault::NutSlips(at_mm) => self.carriage.set_slip(now, Some(at_mm)),
            PlantFault::ScaleSlips(by_mm) => self.drive.scale_slips(by_mm),
            PlantFault::DriveFails(code) => self.drive.fail(now, &mut self.carriage, code),
            PlantFault::DriveReports(word) => self.drive.report(Some(word)),
            PlantFault::BeltOff => self.spindle.set_belt_off(now, true),
            PlantFault::SpindleLever(rpm) => self.spindle.set_wrong_rpm(now, Some(rpm)),
            PlantFault::FuelPressureLow(share) => self.troubles.fuel_share = Some(share),
            PlantFault::OxygenPressureLow(share) => self.troubles.oxygen_share = Some(share),
            PlantFault::HopperEmpty => self.powder.set_hopper(0.0),
            PlantFault::HoseBlocked => self.powder.set_blocked(true),
            PlantFault::ExtractionFailed => self.troubles.extraction_failed = true,
            PlantFault::PlantAirLost => self.troubles.plant_air_lost = true,
            PlantFault::ClampLost => self.troubles.clamp_lost = true,
            PlantFault::CoatEmissivity(share) => self.troubles.coat_emissivity = Some(share),
        }
        self.after_trouble();
    }

    pub(crate) fn after_trouble(&mut self) {
        let carrier = self.is_on(Coil::CarrierAir) && !self.troubles.plant_air_lost;
        let carrier = if carrier { Flow::On } else { Flow::Off };
        self.powder.set_carrier(carrier);
        self.powder.pass(self.now_us);
        self.plan_powder();
        self.set_supply();
        self.set_extraction();
        self.plan_carriage();
        self.plan_spindle();
        self.chain_changed();
    }
}
