//! A rig, its image, and ways to run them: invented test data.

use core::time::Duration;
use std::sync::OnceLock;

use crate::cia402::PowerState;
use crate::image::{
    Analogue, AxisDemand, AxisReading, Coil, Contact, Failure, Inputs, Kind, Level, LineHealth,
    Outputs, Referenced, Signal, SpindleDemand, SpindleReading, Travel,
};
use crate::interlock::{Interlocks, Limits, Verdict, enforce};
use crate::moment::Moment;
use crate::quantity::{
    Acceleration, Length, Pressure, Range, Speed, SpindleSpeed, Temperature, Time,
};
use crate::rig::{AxisSpec, FieldSpec, InverterSpec, IsolationSpec, Rig, SpindleSpec, support};

/// The scan's period.
pub(super) const SCAN: Duration = Duration::from_millis(20);

const SAFE_WHEN_OFF: [Contact; 8] = [
    Contact::Flame,
    Contact::StartButton,
    Contact::ResetButton,
    Contact::AcceptButton,
    Contact::WetButton,
    Contact::BadFlameButton,
    Contact::CoatLiftingButton,
    Contact::HoldToRun,
];

/// The shipped bench with slower budgets, every contact wired and its park at 710 mm.
pub(in super::super) fn rig() -> Rig {
    let bench = support::bench();
    Rig {
        field: FieldSpec {
            age_budget: Time::from_s(0.3),
            isolation: IsolationSpec { within: Time::from_s(5.0), ..bench.field.isolation },
            ..bench.field
        },
        axis: AxisSpec {
            travel: Range { low: Length::from_mm(-40.0), high: Length::from_mm(850.0) },
            park: Length::from_mm(710.0),
            jog: Speed::from_mm_per_s(10.0),
            age_budget: Time::from_s(0.3),
            ..bench.axis
        },
        spindle: SpindleSpec::Inverter(InverterSpec {
            age_budget: Time::from_s(0.5),
            ..support::inverter()
        }),
        ..bench
    }
}

/// A machine at work: its interlocks, what they see, and what was last written.
#[derive(Clone)]
pub(super) struct Bench {
    pub(super) interlocks: Interlocks,
    pub(super) inputs: Inputs,
    pub(super) outputs: Outputs,
    pub(super) limits: Limits,
    /// Contacts, transmitters and readings that are no longer refreshed.
    pub(super) stale_contacts: Vec<Contact>,
    pub(super) stale_analogues: Vec<Analogue>,
    pub(super) stale_axis: bool,
    pub(super) stale_spindle: bool,
    pub(super) stale_inverter: bool,
    /// What the hopper loses, g/s, while the feeder runs.
    pub(super) feed: f64,
}

impl Bench {
    /// Healthy and at rest, nothing energised, the torch at the park.
    pub(super) fn idle() -> Self {
        Self::idle_with(&rig())
    }

    pub(super) fn idle_with(rig: &Rig) -> Self {
        let mut bench = Self {
            interlocks: Interlocks::new(rig).expect("the test rig's figures are good"),
            inputs: Inputs::unknown(),
            outputs: Outputs::default(),
            limits: Limits::default(),
            stale_contacts: Vec::new(),
            stale_analogues: Vec::new(),
            stale_axis: false,
            stale_spindle: false,
            stale_inverter: false,
            feed: 1.0,
        };
        bench.inputs.now = Moment::from_micros(1_000_000);
        bench.inputs.lines = [LineHealth::Up; 2];
        for tag in Contact::ALL {
            let on = !SAFE_WHEN_OFF.contains(tag);
            bench.contact(*tag, Level::from_bit(on));
        }
        for (tag, value) in [
            (Analogue::FuelPressure, 0.0),
            (Analogue::OxygenPressure, 0.0),
            (Analogue::CarrierPressure, 0.0),
            (Analogue::ExtractionFlow, 90.0),
            (Analogue::PartTemperature, 250.0),
            (Analogue::FuseTemperature, 300.0),
            (Analogue::HopperWeight, 1500.0),
            (Analogue::BackPressure, 0.2),
            (Analogue::FlammableGas, 0.0),
            (Analogue::OxygenInAir, 20.9),
        ] {
            bench.analogue(tag, value);
        }
        bench.axis(|axis| {
            axis.power = PowerState::SwitchOnDisabled;
            axis.position = Length::from_mm(710.0);
            axis.referenced = Referenced::Yes;
        });
        bench.spindle(0.0);
        bench.inputs.inverter_ok = Signal::measured(Level::On, bench.inputs.now);
        bench.run(0.1);
        bench
    }

    /// In the middle of a pass, everything in order, settled for twenty seconds.
    pub(super) fn spraying() -> Self {
        static SETTLED: OnceLock<Bench> = OnceLock::new();
        SETTLED.get_or_init(|| Self::spraying_with(&rig())).clone()
    }

    pub(super) fn spraying_with(rig: &Rig) -> Self {
        let mut bench = Self::idle_with(rig);
        bench.limits = limits();
        bench.outputs = Outputs::default()
            .with(Coil::Supply)
            .with(Coil::Fuel)
            .with(Coil::Oxygen)
            .with(Coil::CarrierAir)
            .with(Coil::Extraction);
        bench.outputs.watchdog = Level::On;
        bench.outputs.spindle = SpindleDemand::Turn(SpindleSpeed::from_rpm(125.0));
        bench.outputs.axis = AxisDemand::Travel(pass());
        bench.contact(Contact::Flame, Level::On);
        bench.contact(Contact::FuelShut, Level::Off);
        bench.contact(Contact::OxygenShut, Level::Off);
        bench.contact(Contact::ParkSwitch, Level::Off);
        bench.analogue(Analogue::FuelPressure, 0.5);
        bench.analogue(Analogue::OxygenPressure, 2.0);
        bench.analogue(Analogue::CarrierPressure, 3.0);
        bench.axis(|axis| {
            axis.power = PowerState::OperationEnabled;
            axis.position = Length::from_mm(160.0);
            axis.velocity = Speed::from_mm_per_s(10.0);
        });
        bench.spindle(125.0);
        bench.run(5.0);
        bench.outputs.powder.now = Level::On;
        bench.run(15.0);
        bench
    }

    /// As spraying, with another torch's limits: the coat is being fused, no powder.
    pub(super) fn fusing() -> Self {
        let mut bench = Self::spraying();
        bench.outputs.powder.now = Level::Off;
        bench.limits.spray_window = None;
        bench.limits.fuse_ceiling = Some(Temperature::from_celsius(1100.0));
        bench.analogue(Analogue::FuseTemperature, 1040.0);
        bench.run(1.0);
        bench
    }

    pub(super) fn contact(&mut self, tag: Contact, level: Level) {
        self.inputs.contacts[tag.index()] = Signal::measured(level, self.inputs.now);
    }

    pub(super) fn analogue(&mut self, tag: Analogue, value: f64) {
        self.inputs.analogues[tag.index()] = Signal::measured(value, self.inputs.now);
    }

    pub(super) fn fail_contact(&mut self, tag: Contact, why: Failure) {
        self.inputs.contacts[tag.index()].kind = Kind::Failed(why);
    }

    pub(super) fn fail_analogue(&mut self, tag: Analogue, why: Failure) {
        self.inputs.analogues[tag.index()].kind = Kind::Failed(why);
    }

    pub(super) fn axis(&mut self, change: impl FnOnce(&mut AxisReading)) {
        change(&mut self.inputs.axis.value);
        self.inputs.axis.kind = Kind::Measured;
        self.inputs.axis.at = self.inputs.now;
    }

    pub(super) fn spindle(&mut self, rpm: f64) {
        let reading =
            SpindleReading { measured: SpindleSpeed::from_rpm(rpm), ..SpindleReading::default() };
        self.inputs.spindle = Signal::measured(reading, self.inputs.now);
    }

    /// One scan: time goes on, whatever is not stale is fresh, and the last proposal stands.
    pub(super) fn scan(&mut self) {
        self.scan_after(SCAN);
    }

    pub(super) fn scan_after(&mut self, span: Duration) {
        let now = self.inputs.now + span;
        self.inputs.now = now;
        for tag in Contact::ALL {
            if !self.stale_contacts.contains(tag) {
                self.inputs.contacts[tag.index()].at = now;
            }
        }
        for tag in Analogue::ALL {
            if !self.stale_analogues.contains(tag) {
                self.inputs.analogues[tag.index()].at = now;
            }
        }
        if self.outputs.powder.now.is_on() {
            self.inputs.analogues[Analogue::HopperWeight.index()].value -=
                self.feed * span.as_secs_f64();
        }
        if !self.stale_axis {
            self.inputs.axis.at = now;
        }
        if !self.stale_spindle {
            self.inputs.spindle.at = now;
        }
        if !self.stale_inverter {
            self.inputs.inverter_ok.at = now;
        }
        self.interlocks.step(&self.inputs, &self.outputs, &self.limits);
    }

    /// Scans for so many seconds.
    pub(super) fn run(&mut self, seconds: f64) {
        let end = self.inputs.now + Duration::from_secs_f64(seconds);
        while self.inputs.now < end {
            self.scan();
        }
    }

    /// As `run`, with the verdict enforced on what is asked: what is taken away stays away.
    pub(super) fn run_enforced(&mut self, seconds: f64) {
        let end = self.inputs.now + Duration::from_secs_f64(seconds);
        while self.inputs.now < end {
            self.scan();
            self.outputs = enforce(self.interlocks.verdict(), &self.inputs, self.outputs);
        }
    }

    pub(super) fn verdict(&self) -> &Verdict {
        self.interlocks.verdict()
    }

    /// Every cause listed, whatever its class.
    pub(super) fn causes(&self) -> Vec<&'static str> {
        let verdict = self.verdict();
        verdict
            .first
            .iter()
            .chain(&verdict.consequent)
            .chain(&verdict.holds)
            .chain(&verdict.warnings)
            .map(|occurrence| occurrence.key)
            .collect()
    }

    pub(super) fn first(&self) -> &'static str {
        self.verdict().first.as_ref().map_or("no trip", |first| first.key)
    }
}

pub(super) fn pass() -> Travel {
    Travel {
        to: Length::from_mm(241.8),
        at: Speed::from_mm_per_s(10.0),
        ramp: Acceleration::from_mm_per_s2(100.0),
    }
}

pub(super) fn limits() -> Limits {
    Limits {
        fuel_pressure: Some(Pressure::from_bar(0.5)),
        fuel_pressure_limit: Some(Pressure::from_bar(1.03)),
        oxygen_pressure: Some(Pressure::from_bar(2.0)),
        carrier_pressure: Some(Pressure::from_bar(3.0)),
        spindle: Some(SpindleSpeed::from_rpm(125.0)),
        spray_window: Some(Range {
            low: Temperature::from_celsius(200.0),
            high: Temperature::from_celsius(350.0),
        }),
        fuse_ceiling: None,
        part: Some(Range { low: Length::from_mm(0.0), high: Length::from_mm(300.0) }),
        clear_by: Length::from_mm(45.0),
        park: Length::from_mm(710.0),
        longest_rest: Some(Time::from_s(2.0)),
        trial: Some(Time::from_s(5.0)),
        pass: None,
    }
}
