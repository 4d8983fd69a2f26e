//! A sequence that asks for everything at all times, on a machine in which everything fails now
//! and then: the permitted durations hold all the same, and the first cause stays first.

use core::time::Duration;

use super::bench::{Bench, SCAN, pass};
use super::dice::Dice;
use crate::cia402::PowerState;
use crate::image::{Analogue, AxisDemand, Coil, Contact, Failure, Level, Outputs, SpindleDemand};
use crate::interlock::durations::{
    FLAME_ON_STILL_PART, FUEL_AFTER_FLAME_LOSS, FUEL_UNLIT_AT_LIGHTING, POWDER_WITHOUT_FLAME,
    POWDER_WITHOUT_MOTION, TRIAL_MARGIN,
};
use crate::interlock::{Inspected, PurgeDone, enforce};
use crate::quantity::{Length, Speed, SpindleSpeed};

/// How long one unsafe combination has lasted, how long it may, and how often it came.
struct Clock {
    name: &'static str,
    longest: Duration,
    lasted: Duration,
    worst: Duration,
    times: u32,
    tried: bool,
}

impl Clock {
    const fn new(name: &'static str, longest: Duration) -> Self {
        Self {
            name,
            longest,
            lasted: Duration::ZERO,
            worst: Duration::ZERO,
            times: 0,
            tried: false,
        }
    }

    /// `tried`: it was so with what had been asked before the scan; `unsafe_now`: it is still so
    /// with what is written.
    fn watch(&mut self, tried: bool, unsafe_now: bool, seed: u64) {
        self.times += u32::from(tried && !self.tried);
        self.tried = tried;
        if unsafe_now {
            self.lasted += SCAN;
            self.worst = self.worst.max(self.lasted);
            assert!(self.lasted <= self.longest, "{} {:?}, seed {seed}", self.name, self.lasted);
        } else {
            self.lasted = Duration::ZERO;
        }
    }
}

fn everything() -> Outputs {
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

/// Breaks something for a while, or mends everything.
fn disturb(bench: &mut Bench, dice: &mut Dice) {
    let pick = |dice: &mut Dice, most: usize| usize::try_from(dice.of(most as u64)).unwrap();
    match dice.of(14) {
        0 => {
            let tag = Contact::ALL[pick(dice, Contact::COUNT)];
            bench.contact(tag, Level::Off);
        }
        1 => {
            let tag = Contact::ALL[pick(dice, Contact::COUNT)];
            bench.fail_contact(tag, Failure::Refused);
        }
        2 => bench.stale_contacts.push(Contact::ALL[pick(dice, Contact::COUNT)]),
        3 => bench.contact(Contact::Flame, Level::Off),
        4 => bench.axis(|axis| axis.velocity = Speed::ZERO),
        5 => bench.inputs.spindle.value.missed_pulses = 4.0,
        6 => bench.spindle(0.0),
        7 => bench.fail_analogue(Analogue::ALL[pick(dice, Analogue::COUNT)], Failure::BrokenWire),
        8 => bench.stale_axis = true,
        9 => bench.stale_spindle = true,
        10 => bench.contact(Contact::Guard, Level::Off),
        _ => mend(bench),
    }
}

/// Everything is in order again, as far as what is asked shows it.
fn mend(bench: &mut Bench) {
    let sound = Bench::spraying();
    let asked = |coil| bench.outputs.coil(coil).is_on();
    let (fuel, oxygen, supply) = (asked(Coil::Fuel), asked(Coil::Oxygen), asked(Coil::Supply));
    let now = bench.inputs.now;
    bench.inputs = sound.inputs.clone();
    bench.inputs.now = now;
    bench.analogue(Analogue::HopperWeight, 1500.0);
    bench.contact(Contact::FuelShut, Level::from_bit(!fuel));
    bench.contact(Contact::OxygenShut, Level::from_bit(!oxygen));
    bench.contact(Contact::Flame, Level::from_bit(fuel && oxygen));
    if !supply {
        bench.analogue(Analogue::FuelPressure, 0.0);
        bench.analogue(Analogue::OxygenPressure, 0.0);
    }
    if bench.outputs.axis == AxisDemand::Off {
        bench.axis(|axis| axis.power = PowerState::SwitchOnDisabled);
    }
    bench.axis(|axis| axis.position = Length::from_mm(160.0));
    bench.stale_contacts.clear();
    bench.stale_analogues.clear();
    bench.stale_axis = false;
    bench.stale_spindle = false;
}

/// Somebody lights what flows; what does not flow does not burn.
fn light(bench: &mut Bench, dice: &mut Dice) {
    let flows = |coil| bench.outputs.coil(coil).is_on();
    if !(flows(Coil::Fuel) && flows(Coil::Oxygen)) {
        bench.contact(Contact::Flame, Level::Off);
    } else if dice.once_in(100) {
        bench.contact(Contact::Flame, Level::On);
    }
}

/// The unsafe combinations of the image with what is asked, in the order of the clocks.
fn dangers(bench: &Bench, asked: &Outputs, lit: bool) -> [bool; 9] {
    let known = |tag| bench.inputs.is_on(tag, Duration::from_millis(300));
    let flame = known(Contact::Flame);
    let fuel = asked.coil(Coil::Fuel).is_on();
    let powder = asked.powder.now.is_on();
    let drive = bench.inputs.axis;
    let moves = drive.age(bench.inputs.now) <= Duration::from_millis(300)
        && drive.value.velocity.abs() >= Speed::from_mm_per_s(0.5);
    let spindle = bench.inputs.spindle.value;
    let missed = spindle.missed_pulses >= 3.0 && !bench.stale_spindle;
    let still = missed || spindle.measured == SpindleSpeed::ZERO;
    let energy = fuel || powder || matches!(asked.axis, AxisDemand::Travel(_));
    [
        fuel && !flame && lit,
        fuel && !flame,
        powder && !flame,
        powder && !moves,
        fuel && still,
        fuel && missed,
        energy && !known(Contact::EmergencyStop),
        energy && !known(Contact::Guard),
        fuel && !known(Contact::Arrestor),
    ]
}

#[test]
fn no_proposal_and_no_fault_outlasts_the_permitted_durations() {
    // An image is judged in the scan that read it; what was not energised before needs one more.
    let at_once = SCAN * 2;
    let mut clocks = [
        Clock::new("fuel after a flame lost", FUEL_AFTER_FLAME_LOSS),
        Clock::new("fuel unlit", FUEL_UNLIT_AT_LIGHTING + TRIAL_MARGIN + at_once),
        Clock::new("powder without flame", POWDER_WITHOUT_FLAME),
        Clock::new("powder without motion", POWDER_WITHOUT_MOTION),
        Clock::new("flame on a still part", FLAME_ON_STILL_PART),
        Clock::new("three missed pulses", at_once),
        Clock::new("emergency stop open", at_once),
        Clock::new("guard open", at_once),
        Clock::new("flashback", at_once),
    ];
    let (mut trips, mut resets) = (0_u32, 0_u32);
    for seed in 0..40 {
        let mut dice = Dice(seed);
        let mut bench = Bench::spraying();
        let mut proved = Duration::ZERO;
        let mut first = None;
        for _ in 0..3_000 {
            if dice.once_in(150) {
                disturb(&mut bench, &mut dice);
            }
            light(&mut bench, &mut dice);
            let before = bench.outputs;
            bench.scan();
            let mut proposed = everything();
            // Half of the seeds wait for the flame before they ask for powder.
            if seed % 2 == 0 && proved < Duration::from_secs(1) {
                proposed.powder.now = Level::Off;
            }
            let written = enforce(bench.verdict(), &bench.inputs, proposed);
            bench.outputs = written;
            let flame = bench.inputs.is_on(Contact::Flame, Duration::from_millis(300));
            let fuel = written.coil(Coil::Fuel).is_on();
            proved = match (fuel, flame) {
                (false, _) => Duration::ZERO,
                (true, true) => proved + SCAN,
                (true, false) => proved,
            };
            let lit = proved >= Duration::from_secs(1);
            let tried = dangers(&bench, &before, lit);
            let still_so = dangers(&bench, &written, lit);
            for (clock, (tried, still_so)) in clocks.iter_mut().zip(tried.iter().zip(still_so)) {
                clock.watch(*tried, still_so, seed);
            }

            let now_first =
                bench.verdict().first.as_ref().map(|first| (first.key, first.confirmed));
            if first.is_some() {
                assert_eq!(now_first, first, "the first cause stays first, seed {seed}");
            } else if now_first.is_some() {
                trips += 1;
            }
            first = now_first;
            if first.is_some() && dice.once_in(20) {
                let now = bench.inputs.now;
                bench.interlocks.acknowledge(now);
                let done = bench.interlocks.reset(
                    &bench.inputs,
                    &bench.outputs,
                    PurgeDone::Yes,
                    Inspected::Yes,
                );
                if done.is_ok() {
                    resets += 1;
                    first = None;
                }
                let _ = bench.interlocks.clear_holds(now);
            }
        }
    }
    println!("trips {trips}, resets {resets}");
    for clock in &clocks {
        println!(
            "{}: {} times, worst {:?} of {:?}",
            clock.name, clock.times, clock.worst, clock.longest
        );
        assert!(clock.times > 0, "{} never came", clock.name);
    }
    assert!(trips > 100 && resets > 100);
}
