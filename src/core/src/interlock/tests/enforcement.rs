//! Enforcing removes energy and never adds it.

use core::time::Duration;

use super::bench::{Bench, pass};
use super::dice::Dice;
use crate::cia402::PowerState;
use crate::image::{
    AxisDemand, Coil, Contact, DriveEnable, Failure, HomingRequest, Inputs, Level, Outputs,
    PowderDemand, PowderEdge, Referenced, SpindleDemand,
};
use crate::interlock::{CarriageEffect, Effects, SpindleEffect, Verdict, Veto, enforce};
use crate::moment::Moment;
use crate::quantity::{Length, Speed, SpindleSpeed};

impl Dice {
    fn level(&mut self) -> Level {
        Level::from_bit(self.of(2) == 1)
    }

    fn veto(&mut self) -> Veto {
        if self.of(2) == 1 { Veto::Imposed } else { Veto::None }
    }

    fn rpm(&mut self) -> SpindleSpeed {
        SpindleSpeed::from_rpm([31.5, 63.0, 125.0, 1400.0][usize::try_from(self.of(4)).unwrap()])
    }

    fn outputs(&mut self) -> Outputs {
        let mut outputs = Outputs::default();
        for coil in Coil::ALL {
            outputs.set(*coil, self.level());
        }
        let edge = PowderEdge { at: Moment::from_micros(self.of(100)), to: self.level(), epoch: 1 };
        outputs.powder =
            PowderDemand { now: self.level(), next: (self.of(2) == 1).then_some(edge), epoch: 1 };
        outputs.watchdog = self.level();
        outputs.axis = match self.of(5) {
            0 => AxisDemand::Off,
            1 => AxisDemand::QuickStop,
            2 => AxisDemand::Still,
            3 => AxisDemand::Travel(pass()),
            _ => AxisDemand::Home(HomingRequest { at: Speed::from_mm_per_s(5.0) }),
        };
        if self.of(2) == 1 {
            outputs.drive = DriveEnable::ClearFault;
        }
        if self.of(2) == 1 {
            outputs.spindle = SpindleDemand::Turn(self.rpm());
        }
        outputs
    }

    fn verdict(&mut self) -> Verdict {
        let carriage = [
            CarriageEffect::Free,
            CarriageEffect::Retreat,
            CarriageEffect::Stop,
            CarriageEffect::Cut,
        ];
        let spindle = [SpindleEffect::Free, SpindleEffect::Turn, SpindleEffect::Stop];
        let effects = Effects {
            powder_off: self.veto(),
            fuel_shut: self.veto(),
            oxygen_shut: self.veto(),
            supply_shut: self.veto(),
            air_off: self.veto(),
            no_cooling: self.veto(),
            carriage: carriage[usize::try_from(self.of(4)).unwrap()],
            spindle: spindle[usize::try_from(self.of(3)).unwrap()],
            watchdog_off: self.veto(),
        };
        let turn_at_most = (self.of(2) == 1).then(|| self.rpm());
        Verdict { effects, turn_at_most, ..Verdict::default() }
    }

    fn inputs(&mut self) -> Inputs {
        let mut bench = Bench::idle();
        for tag in Contact::ALL {
            let level = self.level();
            bench.contact(*tag, level);
            if self.of(4) == 0 {
                bench.fail_contact(*tag, Failure::Refused);
            }
        }
        let power = [
            PowerState::OperationEnabled,
            PowerState::SwitchedOn,
            PowerState::Fault,
            PowerState::Unknown,
        ][usize::try_from(self.of(4)).unwrap()];
        let position = Length::from_mm([100.0, 400.0][usize::try_from(self.of(2)).unwrap()]);
        let referenced = if self.of(4) == 0 { Referenced::No } else { Referenced::Yes };
        bench.axis(|axis| {
            axis.power = power;
            axis.position = position;
            axis.referenced = referenced;
        });
        if self.of(4) == 0 {
            bench.inputs.now = bench.inputs.now + Duration::from_secs(1);
        }
        bench.inputs
    }
}

fn rank(demand: AxisDemand) -> u8 {
    match demand {
        AxisDemand::Off => 0,
        AxisDemand::QuickStop => 1,
        AxisDemand::Still => 2,
        AxisDemand::Travel(_) | AxisDemand::Home(_) => 3,
    }
}

fn rpm(demand: SpindleDemand) -> f64 {
    match demand {
        SpindleDemand::Stop => 0.0,
        SpindleDemand::Turn(speed) => speed.rpm(),
    }
}

#[test]
fn whatever_the_verdict_enforcing_never_adds_energy_and_twice_is_as_once() {
    let mut dice = Dice(0x5EED);
    let mut refused = 0_u32;
    for _ in 0..20_000 {
        let (verdict, inputs, proposed) = (dice.verdict(), dice.inputs(), dice.outputs());
        let written = enforce(&verdict, &inputs, proposed);
        for coil in Coil::ALL {
            assert!(written.coil(*coil) == proposed.coil(*coil) || !written.coil(*coil).is_on());
        }
        assert!(!written.powder.now.is_on() || proposed.powder.now.is_on());
        assert!(written.powder.next.is_none() || written.powder.next == proposed.powder.next);
        assert!(!written.watchdog.is_on() || proposed.watchdog.is_on());
        assert!(rank(written.axis) <= rank(proposed.axis));
        if rank(written.axis) == 3 {
            assert_eq!(written.axis, proposed.axis);
        }
        assert!(rpm(written.spindle) <= rpm(proposed.spindle));
        assert_eq!(written.drive, proposed.drive);
        assert_eq!(enforce(&verdict, &inputs, written), written);
        refused += u32::from(written != proposed);
    }
    println!("enforced proposals: 20000, changed: {refused}");
    assert!(refused > 10_000);
}

fn all_on() -> Outputs {
    let mut outputs = Outputs::default();
    for coil in Coil::ALL {
        outputs.set(*coil, Level::On);
    }
    outputs.powder.now = Level::On;
    outputs.watchdog = Level::On;
    outputs.axis = AxisDemand::Travel(pass());
    outputs.spindle = SpindleDemand::Turn(SpindleSpeed::from_rpm(125.0));
    outputs
}

#[test]
fn each_effect_alone_takes_what_it_names_and_nothing_else() {
    let bench = Bench::spraying();
    type Effect = fn(&mut Effects);
    let cases: [(Effect, &[Coil]); 6] = [
        (|effects| effects.powder_off = Veto::Imposed, &[Coil::Powder]),
        (|effects| effects.fuel_shut = Veto::Imposed, &[Coil::Fuel, Coil::Igniter]),
        (|effects| effects.oxygen_shut = Veto::Imposed, &[Coil::Oxygen, Coil::Igniter]),
        (|effects| effects.supply_shut = Veto::Imposed, &[Coil::Supply]),
        (|effects| effects.air_off = Veto::Imposed, &[Coil::CarrierAir]),
        (|effects| effects.no_cooling = Veto::Imposed, &[Coil::CoolingAir]),
    ];
    for (effect, taken) in cases {
        let mut verdict = Verdict::default();
        effect(&mut verdict.effects);
        let written = enforce(&verdict, &bench.inputs, all_on());
        for coil in Coil::ALL {
            assert_eq!(written.coil(*coil).is_on(), !taken.contains(coil), "{coil:?}");
        }
        assert_eq!(written.powder.now.is_on(), !taken.contains(&Coil::Powder));
        assert_eq!(written.axis, all_on().axis);
        assert_eq!(written.spindle, all_on().spindle);
    }
}

#[test]
fn without_a_verdict_everything_passes() {
    let mut dice = Dice(7);
    for _ in 0..1_000 {
        let (inputs, proposed) = (dice.inputs(), dice.outputs());
        assert_eq!(enforce(&Verdict::default(), &inputs, proposed), proposed);
    }
}

#[test]
fn a_planned_on_edge_dies_with_the_powder_and_an_off_edge_lives() {
    let bench = Bench::spraying();
    let mut verdict = Verdict::default();
    verdict.effects.powder_off = Veto::Imposed;
    for (to, kept) in [(Level::On, false), (Level::Off, true)] {
        let mut proposed = all_on();
        proposed.powder.next = Some(PowderEdge { at: bench.inputs.now, to, epoch: 0 });
        let written = enforce(&verdict, &bench.inputs, proposed);
        assert_eq!(written.powder.next.is_some(), kept);
    }
}

fn retreating() -> (Verdict, Bench) {
    let mut bench = Bench::spraying();
    bench.contact(Contact::Flame, Level::Off);
    bench.run(0.32);
    (bench.verdict().clone(), bench)
}

#[test]
fn a_retreat_is_made_inside_the_same_uninterrupted_enable() {
    let (verdict, bench) = retreating();
    assert_eq!(verdict.effects.carriage, CarriageEffect::Retreat);
    let written = enforce(&verdict, &bench.inputs, all_on());
    assert_eq!(written.axis, AxisDemand::Travel(pass()));
}

#[test]
fn a_retreat_is_refused_when_anything_it_rests_on_is_missing() {
    type Spoil = fn(&mut Bench);
    let spoils: [(&str, Spoil); 7] = [
        ("not enabled", |bench| bench.axis(|axis| axis.power = PowerState::SwitchedOn)),
        ("fault", |bench| bench.axis(|axis| axis.fault_code = 7)),
        ("not referenced", |bench| bench.axis(|axis| axis.referenced = Referenced::No)),
        ("guard", |bench| bench.contact(Contact::Guard, Level::Off)),
        ("limit that way", |bench| bench.contact(Contact::LimitPlus, Level::Off)),
        ("guard unknown", |bench| bench.fail_contact(Contact::Guard, Failure::Refused)),
        ("position old", |bench| bench.inputs.now = bench.inputs.now + Duration::from_secs(1)),
    ];
    for (name, spoil) in spoils {
        let (verdict, mut bench) = retreating();
        spoil(&mut bench);
        let written = enforce(&verdict, &bench.inputs, all_on());
        assert!(rank(written.axis) <= 1, "{name}");
    }
}

#[test]
fn a_limit_on_the_other_side_does_not_hinder_a_retreat() {
    let (verdict, mut bench) = retreating();
    bench.contact(Contact::LimitMinus, Level::Off);
    assert_eq!(enforce(&verdict, &bench.inputs, all_on()).axis, AxisDemand::Travel(pass()));
}

#[test]
fn a_retreat_once_refused_stays_refused_though_everything_is_well_again() {
    let (_, mut bench) = retreating();
    bench.axis(|axis| axis.power = PowerState::SwitchedOn);
    bench.scan();
    bench.axis(|axis| axis.power = PowerState::OperationEnabled);
    bench.scan();
    assert_eq!(bench.verdict().effects.carriage, CarriageEffect::Stop);
    bench.run(0.6);
    assert_eq!(bench.verdict().effects.carriage, CarriageEffect::Cut);
}

#[test]
fn a_drive_that_falls_silent_and_comes_back_is_not_moved() {
    let mut bench = Bench::spraying();
    bench.stale_axis = true;
    bench.run(0.4);
    assert_eq!(bench.first(), "drive_silent");
    bench.stale_axis = false;
    bench.run(0.1);
    let written = enforce(bench.verdict(), &bench.inputs, all_on());
    assert_eq!(written.axis, AxisDemand::Off);
}

#[test]
fn a_retreat_has_an_end() {
    let (_, mut bench) = retreating();
    bench.run(31.0);
    let written = enforce(bench.verdict(), &bench.inputs, all_on());
    assert_eq!(written.axis, AxisDemand::Off);
}

#[test]
fn a_turning_spindle_may_slow_down_in_a_trip_and_neither_speed_up_nor_start_again() {
    let (verdict, mut bench) = retreating();
    let ask = |verdict: &Verdict, bench: &Bench, rpm: f64| {
        let mut proposed = all_on();
        proposed.spindle = SpindleDemand::Turn(SpindleSpeed::from_rpm(rpm));
        enforce(verdict, &bench.inputs, proposed).spindle
    };
    let turn = |rpm| SpindleDemand::Turn(SpindleSpeed::from_rpm(rpm));
    assert_eq!(ask(&verdict, &bench, 500.0), turn(125.0));
    assert_eq!(ask(&verdict, &bench, 63.0), turn(63.0));
    bench.outputs.spindle = turn(63.0);
    bench.scan();
    assert_eq!(ask(bench.verdict(), &bench, 125.0), turn(63.0));
    bench.outputs.spindle = SpindleDemand::Stop;
    bench.scan();
    assert_eq!(ask(bench.verdict(), &bench, 63.0), SpindleDemand::Stop);
}

#[test]
fn carrier_air_is_off_over_the_part_and_may_purge_once_clear() {
    let (verdict, mut bench) = retreating();
    assert!(verdict.effects.air_off.is_imposed());
    bench.axis(|axis| axis.position = Length::from_mm(346.0));
    bench.scan();
    assert!(!bench.verdict().effects.air_off.is_imposed());
}
