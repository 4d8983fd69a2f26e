//! From the plant to the terminals of the field I/O module: contacts, currents, pulses, each through
//! the fault that may sit on it.

use crate::bench::{Bench, STILL_RPM};
use crate::counts::{long_register, register, words, wrapping};
use crate::device::field_io::INPUT_REGISTERS;
use crate::fault::{Kind, Sample, Target};
use crate::wiring::{Analogue, Button, COILS, Coil, Discrete};

/// Lower end and span of a 4-20 mA signal, microamperes.
const LIVE_ZERO_UA: f64 = 4_000.0;
const SPAN_UA: f64 = 16_000.0;
/// Second radiation constant, um K (CODATA 2018).
const C2_UM_K: f64 = 14_387.769;
/// 0 degC, K.
const ICE_POINT_K: f64 = 273.15;
/// A healthy transmitter stays between these (NAMUR NE 43), microamperes.
const LIMITS_UA: (f64, f64) = (3_800.0, 20_500.0);
/// Tachometer period before the second pulse.
const NO_PERIOD: u32 = u32::MAX;

const CONTACTS: [Discrete; 32] = [
    Discrete::EmergencyStopOk,
    Discrete::GuardClosed,
    Discrete::ClampOk,
    Discrete::LimitMinusOk,
    Discrete::LimitPlusOk,
    Discrete::FlamePresent,
    Discrete::ArrestorOk,
    Discrete::ExtractionOk,
    Discrete::PlantAirOk,
    Discrete::GasDetectorOk,
    Discrete::OxygenMonitorOk,
    Discrete::FireDetectionOk,
    Discrete::KeyOn,
    Discrete::StartPressed,
    Discrete::HoldReleased,
    Discrete::StopReleased,
    Discrete::ResetPressed,
    Discrete::AcceptPressed,
    Discrete::WetPressed,
    Discrete::BadFlamePressed,
    Discrete::CoatLiftingPressed,
    Discrete::HoldToRunPressed,
    Discrete::StandOffOk,
    Discrete::WatchdogRelayUp,
    Discrete::FuelValveShut,
    Discrete::OxygenValveShut,
    Discrete::TorqueAllowed,
    Discrete::HopperLevelOk,
    Discrete::AtPark,
    Discrete::PartTurning,
    Discrete::AbortReleased,
    Discrete::Spare,
];

const CURRENTS: [Analogue; 10] = [
    Analogue::FuelPressure,
    Analogue::OxygenPressure,
    Analogue::CarrierPressure,
    Analogue::ExtractionFlow,
    Analogue::PreheatTemperature,
    Analogue::PyrometerTemperature,
    Analogue::HopperWeight,
    Analogue::CarrierBackPressure,
    Analogue::FlammableGas,
    Analogue::OxygenInAir,
];

impl Bench {
    fn true_contacts(&self) -> u32 {
        let now = self.now_us;
        let switches = self.carriage.switches(now);
        let pressed = |button: Button| self.buttons & button.mask() != 0;
        let travel = crate::counts::microseconds(self.spec.gas.valve_travel_s);
        let shut = |since: Option<u64>| since.is_some_and(|at| now >= at.saturating_add(travel));
        let levels = [
            self.emergency_ok(),
            self.guard_closed,
            !self.troubles.clamp_lost,
            switches.limit_minus_ok,
            switches.limit_plus_ok,
            self.flame.is_lit(),
            true,
            self.extraction.value(now) >= self.spec.cell.extraction_ok_percent,
            !self.troubles.plant_air_lost,
            true,
            true,
            true,
            self.key_on,
            pressed(Button::Start),
            !pressed(Button::Hold),
            !pressed(Button::Stop),
            pressed(Button::Reset),
            pressed(Button::Accept),
            pressed(Button::Wet),
            pressed(Button::BadFlame),
            pressed(Button::CoatLifting),
            pressed(Button::HoldToRun),
            true,
            self.field_io.relay_up(),
            shut(self.fuel_shut_since_us),
            shut(self.oxygen_shut_since_us),
            self.torque_allowed,
            self.powder.hopper_g(now) >= self.spec.powder.hopper_level_low_g,
            switches.park,
            self.part_rpm() >= STILL_RPM,
            !pressed(Button::Abort),
            false,
        ];
        let truth = levels.iter().rev().fold(0, |word, level| word << 1 | u32::from(*level));
        self.tampered.contacts(truth)
    }

    fn true_current_ua(&self, input: Analogue) -> f64 {
        if let Some(current) = self.tampered.current_ua(input) {
            return current;
        }
        let now = self.now_us;
        let sensors = &self.spec.sensors;
        let (value, low, high) = match input {
            Analogue::FuelPressure => (self.fuel.value(now), 0.0, sensors.fuel_full_scale_bar),
            Analogue::OxygenPressure => {
                (self.oxygen.value(now), 0.0, sensors.oxygen_full_scale_bar)
            }
            Analogue::CarrierPressure => {
                let lost = self.troubles.plant_air_lost;
                let bar = if lost { 0.0 } else { self.spec.gas.carrier_air_bar };
                (bar, 0.0, sensors.carrier_full_scale_bar)
            }
            Analogue::ExtractionFlow => (self.extraction.value(now), 0.0, 100.0),
            Analogue::PreheatTemperature => (self.preheat_sensor_c(), 0.0, 1000.0),
            Analogue::PyrometerTemperature => (self.pyrometer_c(), 250.0, 1_300.0),
            Analogue::HopperWeight => (self.powder.hopper_g(now), 0.0, 5_000.0),
            Analogue::CarrierBackPressure => (self.back_pressure_bar(), 0.0, 1.0),
            Analogue::FlammableGas => (self.spec.cell.flammable_gas_percent_lel, 0.0, 100.0),
            Analogue::OxygenInAir => (self.spec.cell.oxygen_in_air_percent, 0.0, 25.0),
        };
        (LIVE_ZERO_UA + SPAN_UA * (value - low) / (high - low)).clamp(LIMITS_UA.0, LIMITS_UA.1)
    }

    /// The long-wave sensor sees the part where it is aimed at, or the cell's walls.
    fn preheat_sensor_c(&self) -> f64 {
        let ambient = self.spec.heat.ambient_c;
        match self.spec.sensors.preheat_at_mm {
            Some(at_mm) => {
                let ends = (self.part.profile_m.first(), self.part.profile_m.last());
                let (Some(first), Some(last)) = ends else { return ambient };
                let (first, last) = (first.0 * 1e3 + 1.0, last.0 * 1e3 - 1.0);
                self.bar.at(at_mm.min(last).max(first)).unwrap_or(ambient)
            }
            None => {
                let at = self.carriage.torch_mm(self.now_us) + self.spec.sensors.preheat_offset_mm;
                self.bar.at(at).unwrap_or(ambient)
            }
        }
    }

    /// The short-wave pyrometer sees the part at the torch and nothing below 250 degC. Set to
    /// another emissivity than the coat's it is off by Wien's law: 1/T read = 1/T + (wavelength /
    /// c2) ln(set / true).
    fn pyrometer_c(&self) -> f64 {
        let seen = self.bar.at(self.carriage.torch_mm(self.now_us));
        let seen = seen.unwrap_or(self.spec.heat.ambient_c);
        let set = self.spec.sensors.pyrometer_set_emissivity;
        let is = self.troubles.coat_emissivity.unwrap_or(set).max(1e-3);
        let shift = self.spec.sensors.pyrometer_wavelength_um / C2_UM_K * (set / is).ln();
        (1.0 / (1.0 / (seen + ICE_POINT_K) + shift) - ICE_POINT_K).max(250.0)
    }

    fn back_pressure_bar(&self) -> f64 {
        if !self.is_on(Coil::CarrierAir) || self.troubles.plant_air_lost {
            0.0
        } else if self.powder.is_blocked() {
            self.spec.gas.carrier_blocked_pressure_bar
        } else {
            self.spec.gas.carrier_back_pressure_bar
        }
    }

    fn true_pulses(&self) -> Sample {
        let a_turn = self.spec.spindle.pulses_per_turn;
        if let Some((period, count, since)) = self.tampered.pulses(self.now_us, a_turn) {
            return [period, count.rem_euclid(65_536.0), since];
        }
        let tachometer = self.spindle.tachometer(self.now_us);
        [
            tachometer.period_us.unwrap_or(f64::from(NO_PERIOD)),
            f64::from(wrapping(tachometer.count)),
            tachometer.since_us.unwrap_or(f64::from(u32::MAX)),
        ]
    }

    fn true_sample(&self, target: Target) -> Option<(Sample, Kind)> {
        match target {
            Target::Discrete(input) => {
                let level = self.true_contacts() >> (input as u32) & 1;
                Some(([f64::from(level), 0.0, 0.0], Kind::Contact))
            }
            Target::Analogue(input) => {
                Some(([self.true_current_ua(input), 0.0, 0.0], Kind::Current))
            }
            Target::Tachometer => Some((self.true_pulses(), Kind::Pulses)),
            Target::Coil(coil) => {
                let outputs = if self.powered { self.field_io.acting() } else { 0 };
                let relay = self.field_io.relay_up();
                let driven = crate::wiring::energised(outputs, relay, self.emergency_ok());
                Some(([f64::from(driven >> (coil as u16) & 1), 0.0, 0.0], Kind::Contact))
            }
            Target::FieldIo | Target::Drive | Target::Inverter => None,
        }
    }

    /// Lets every signal with a fault see its true value, and throws the dice.
    pub(crate) fn observe_faults(&mut self) {
        let mut faults = std::mem::take(&mut self.signal_faults);
        for fault in &mut faults {
            if let Some((truth, kind)) = self.true_sample(fault.target) {
                fault.observe(self.now_us, truth, kind);
                fault.draw(&mut self.dice);
            }
        }
        self.signal_faults = faults;
    }

    fn through_fault(&self, target: Target, truth: Sample, kind: Kind) -> Sample {
        match self.signal_faults.iter().find(|f| f.target == target) {
            Some(fault) => fault.distort(self.now_us, truth, kind),
            None => truth,
        }
    }

    /// What is energised when coils or their wires have faults.
    pub(crate) fn faulty_coils(&self, driven: u16) -> u16 {
        COILS.iter().fold(0, |word, &coil| {
            let level = f64::from(driven >> (coil as u16) & 1);
            let seen = self.through_fault(Target::Coil(coil), [level, 0.0, 0.0], Kind::Contact);
            let [level, ..] = seen;
            if level > 0.5 { word | coil.mask() } else { word }
        })
    }

    /// All discrete inputs as the module reads them.
    pub(crate) fn contacts(&self) -> u32 {
        let truth = self.true_contacts();
        if self.signal_faults.is_empty() {
            return truth;
        }
        CONTACTS.iter().rev().fold(0, |word, &input| {
            let level = f64::from(truth >> (input as u32) & 1);
            let seen =
                self.through_fault(Target::Discrete(input), [level, 0.0, 0.0], Kind::Contact);
            let [level, ..] = seen;
            word << 1 | u32::from(level > 0.5)
        })
    }

    /// All input registers as the module reads them.
    pub(crate) fn input_registers(&self) -> [u16; INPUT_REGISTERS] {
        let mut registers = [0; INPUT_REGISTERS];
        for (register_, input) in registers.iter_mut().zip(CURRENTS) {
            let truth = [self.true_current_ua(input), 0.0, 0.0];
            let seen = if self.signal_faults.is_empty() {
                truth
            } else {
                self.through_fault(Target::Analogue(input), truth, Kind::Current)
            };
            let [current, ..] = seen;
            *register_ = register(current);
        }
        let [period, count, since] =
            self.through_fault(Target::Tachometer, self.true_pulses(), Kind::Pulses);
        let [high, low] = words(long_register(period));
        let cycle = self.now_us / self.spec.field_io.module_cycle_us.max(1);
        let rest = [high, low, register(count), register(since / 1_000.0), wrapping(cycle)];
        for (register_, value) in registers.iter_mut().skip(CURRENTS.len()).zip(rest) {
            *register_ = value;
        }
        registers
    }
}
