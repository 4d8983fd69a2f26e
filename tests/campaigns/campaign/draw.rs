//! From a seed to a schedule. The seed draws the probabilities too: which kinds of trouble come
//! at all, how often, how densely and for how long, so that some runs see one rare thing alone
//! and others a storm.

use evenpass_core::quantity::Length;
use evenpass_core::request::{Direction, Origin, Request, Trim};
use evenpass_hil::{
    Analogue, Coil, Discrete, Fault, LineFault, LineIndex, PlantFault, Presence, Target, Word,
};
use fastrand::Rng;

use super::kinds::{ANALOGUES, BUTTONS, COILS, DEVICES, DISCRETES};
use super::schedule::{Event, Person, Schedule, StallClock, Timed};

/// The short job takes about this long from power-up to its end, s.
pub(crate) const JOB_S: f64 = 110.0;

/// From about then on a flame burns.
const BURNS_S: f64 = 55.0;

/// Kinds of trouble that a seed turns on and off.
const KINDS: usize = 12;

/// Draws from a range so that each tenfold is as likely as the next.
fn spread(dice: &mut Rng, low: f64, high: f64) -> f64 {
    low * (high / low).powf(dice.f64())
}

fn between(dice: &mut Rng, low: f64, high: f64) -> f64 {
    low + (high - low) * dice.f64()
}

fn us(seconds: f64) -> u64 {
    (seconds * 1e6) as u64
}

/// One of them.
fn pick<T: Copy>(dice: &mut Rng, from: &[T]) -> T {
    from[dice.usize(..from.len())]
}

/// Signals and plant that speak of one thing: trouble with two of them at once is what a single
/// sensor cannot show.
struct Theme {
    targets: &'static [Target],
    plant: &'static [PlantFault],
}

const fn contact(input: Discrete) -> Target {
    Target::Discrete(input)
}

#[rustfmt::skip]
const THEMES: [Theme; 8] = [
    // The flame.
    Theme {
        targets: &[contact(Discrete::FlamePresent), Target::Coil(Coil::FuelValve), Target::Coil(Coil::OxygenValve), Target::FieldIo],
        plant: &[PlantFault::FlameBlownOut, PlantFault::FuelPressureLow(0.0), PlantFault::OxygenPressureLow(0.0)],
    },
    // Powder.
    Theme {
        targets: &[Target::Coil(Coil::PowderFeeder), Target::Coil(Coil::CarrierAir), contact(Discrete::FlamePresent), Target::Analogue(Analogue::HopperWeight), Target::Analogue(Analogue::CarrierBackPressure)],
        plant: &[PlantFault::FlameBlownOut, PlantFault::HopperEmpty, PlantFault::HoseBlocked],
    },
    // Whether the part turns.
    Theme {
        targets: &[Target::Tachometer, contact(Discrete::PartTurning), contact(Discrete::ClampOk), Target::Inverter],
        plant: &[PlantFault::BeltOff, PlantFault::ClampLost, PlantFault::SpindleLever(40.0), PlantFault::SpindleLever(700.0)],
    },
    // Whether the carriage moves.
    Theme {
        targets: &[Target::Drive, contact(Discrete::AtPark), contact(Discrete::TorqueAllowed), contact(Discrete::LimitMinusOk), contact(Discrete::LimitPlusOk)],
        plant: &[PlantFault::NutSlips(570.0), PlantFault::NutSlips(600.0), PlantFault::NutSlips(650.0)],
    },
    // Whether gas is shut.
    Theme {
        targets: &[Target::Coil(Coil::FuelValve), Target::Coil(Coil::OxygenValve), Target::Coil(Coil::GasSupply), contact(Discrete::FuelValveShut), contact(Discrete::OxygenValveShut), contact(Discrete::FlamePresent)],
        plant: &[PlantFault::FlameBlownOut],
    },
    // Air.
    Theme {
        targets: &[Target::Coil(Coil::Extraction), contact(Discrete::ExtractionOk), Target::Analogue(Analogue::ExtractionFlow), contact(Discrete::PlantAirOk), Target::Analogue(Analogue::CarrierPressure)],
        plant: &[PlantFault::ExtractionFailed, PlantFault::PlantAirLost],
    },
    // Heat.
    Theme {
        targets: &[Target::Analogue(Analogue::PreheatTemperature), Target::Analogue(Analogue::PyrometerTemperature), contact(Discrete::WetPressed)],
        plant: &[PlantFault::NutSlips(575.0)],
    },
    // Buttons, key and beat.
    Theme {
        targets: &[contact(Discrete::StartPressed), contact(Discrete::AcceptPressed), contact(Discrete::ResetPressed), contact(Discrete::HoldToRunPressed), contact(Discrete::KeyOn), contact(Discrete::GuardClosed), Target::Coil(Coil::WatchdogBeat), contact(Discrete::WatchdogRelayUp)],
        plant: &[PlantFault::FlameBlownOut],
    },
];

/// How dense the trouble is.
struct Weather {
    theme: Option<&'static Theme>,
    weights: [f64; KINDS],
    from_s: f64,
    over_s: f64,
    events: usize,
    shortest_s: f64,
    longest_s: f64,
}

/// The schedule of a seed.
pub(crate) fn schedule(seed: u64) -> Schedule {
    let mut dice = Rng::with_seed(seed);
    let weather = weather(&mut dice);
    let mut events = Vec::new();
    for _ in 0..weather.events {
        let at = us(weather.from_s + weather.over_s * dice.f64());
        let lasts = us(spread(&mut dice, weather.shortest_s, weather.longest_s));
        trouble(&mut dice, &weather, at, lasts, &mut events);
    }
    events.sort_by_key(|timed| timed.at_us);
    let last = events.last().map_or(0, |timed: &Timed| timed.at_us);
    let end_s = weather.from_s + weather.over_s + spread(&mut dice, 0.5, 90.0);
    // What still lasts by then is mended with everything else.
    let mended_at_us = us(end_s).min(last + 1);
    let mended_at_us = if dice.f64() < 0.5 { mended_at_us } else { us(end_s) };
    events.retain(|timed| timed.at_us < mended_at_us);
    Schedule {
        seed,
        bench_seed: dice.u64(..),
        person: Person {
            reaction_s: spread(&mut dice, 0.2, 3.0),
            watching_s: between(&mut dice, 0.1, 0.5),
            eager: dice.f64() < 0.7,
        },
        mended_at_us,
        events,
    }
}

/// A day on which nothing goes wrong. Who watches for the wetting later than half a second
/// overheats a ring as thin as this, and is told so: that is no fair day.
pub(crate) fn fair(seed: u64) -> Schedule {
    let mut dice = Rng::with_seed(seed);
    Schedule {
        seed,
        bench_seed: dice.u64(..),
        person: Person {
            reaction_s: spread(&mut dice, 0.2, 3.0),
            watching_s: between(&mut dice, 0.1, 0.5),
            eager: true,
        },
        mended_at_us: 0,
        events: Vec::new(),
    }
}

fn weather(dice: &mut Rng) -> Weather {
    let mut weights = [0.0; KINDS];
    while weights.iter().all(|weight| *weight == 0.0) {
        let share = dice.f64();
        for weight in &mut weights {
            *weight = if dice.f64() < share { dice.f64() } else { 0.0 };
        }
    }
    let style = dice.f64();
    let (events, over_s) = if style < 0.3 {
        (1, 0.0)
    } else if style < 0.75 {
        (dice.usize(2..8), spread(dice, 0.05, 60.0))
    } else {
        (dice.usize(8..60), spread(dice, 5.0, JOB_S))
    };
    let shortest_s = spread(dice, 0.02, 5.0);
    let theme = (dice.f64() < 0.5).then(|| &THEMES[dice.usize(..THEMES.len())]);
    // Half of the trouble begins while the flame burns over the part.
    let from_s =
        if dice.bool() { between(dice, 0.0, JOB_S) } else { between(dice, BURNS_S, JOB_S) };
    Weather {
        theme,
        weights,
        from_s,
        over_s,
        events,
        shortest_s,
        longest_s: spread(dice, shortest_s, 60.0_f64.max(shortest_s)),
    }
}

/// One kind by its weight.
fn kind(dice: &mut Rng, weights: &[f64; KINDS]) -> usize {
    let mut left = dice.f64() * weights.iter().sum::<f64>();
    for (kind, weight) in weights.iter().enumerate() {
        left -= weight;
        if left < 0.0 {
            return kind;
        }
    }
    0
}

fn trouble(dice: &mut Rng, weather: &Weather, at: u64, lasts: u64, events: &mut Vec<Timed>) {
    let mut put = |at_us: u64, event: Event| events.push(Timed { at_us, event });
    let then = at + lasts;
    if let Some(theme) = weather.theme
        && dice.f64() < 0.8
    {
        if dice.f64() < 0.4 {
            put(at, Event::Inject(Fault::Plant(pick(dice, theme.plant))));
            put(then, Event::MendPlant);
        } else {
            let target = pick(dice, theme.targets);
            signal(dice, at, then, target, &mut put);
        }
        return;
    }
    match kind(dice, &weather.weights) {
        of @ 0..=3 => {
            let target = match of {
                0 => Target::Discrete(pick(dice, &DISCRETES)),
                1 => Target::Analogue(pick(dice, &ANALOGUES)),
                2 => Target::Coil(pick(dice, &COILS)),
                _ => pick(dice, &DEVICES),
            };
            signal(dice, at, then, target, &mut put);
        }
        4 | 5 => {
            let line = pick(dice, &[LineIndex::Field, LineIndex::Motion]);
            let (fault, chance) = (line_fault(dice), spread(dice, 0.005, 1.0));
            put(at, Event::Inject(Fault::Line { line, fault, chance }));
            put(then, Event::MendLine(line));
        }
        6 => {
            put(at, Event::Inject(Fault::Plant(plant_fault(dice))));
            put(then, Event::MendPlant);
        }
        7 => {
            if dice.bool() {
                put(at, Event::MainsOff);
                put(then, Event::MainsOn);
            } else {
                let line = pick(dice, &[LineIndex::Field, LineIndex::Motion]);
                put(at, Event::PortGone(line));
                put(then, Event::PortBack(line));
            }
        }
        8 => put(at, standing_still(dice)),
        9 => {
            let (button, hold_us) = (pick(dice, &BUTTONS), us(spread(dice, 0.002, 10.0)));
            put(at, Event::Press { button, hold_us });
        }
        10 => {
            let who = pick(dice, &[Origin::Seat, Origin::Seat, Origin::Watcher, Origin::Machine]);
            let what = request(dice);
            put(at, Event::Ask(what, who));
            // A key that is held asks again and again.
            if matches!(what, Request::Jog(_)) {
                put(at.saturating_sub(100_000), Event::Ask(Request::EnterManual, who));
                for again in 1..dice.u64(1..20) {
                    put(at + again * 80_000, Event::Ask(what, who));
                }
            }
        }
        _ => hands(dice, at, then, &mut put),
    }
}

fn signal(dice: &mut Rng, at: u64, then: u64, target: Target, put: &mut impl FnMut(u64, Event)) {
    let word = match dice.u8(..7) {
        0 => Word::Off,
        1 => Word::Stuck,
        2 => Word::Garbage,
        3 => Word::Wrong(between(dice, -1.0, 1.0)),
        4 => Word::Slow(spread(dice, 0.01, 5.0)),
        5 => Word::Delayed(spread(dice, 0.01, 5.0)),
        _ => Word::Intermittent(between(dice, 0.02, 0.98)),
    };
    put(at, Event::Inject(Fault::Signal { target, word }));
    put(then, Event::Mend(target));
}

fn line_fault(dice: &mut Rng) -> LineFault {
    match dice.u8(..8) {
        0 => LineFault::Cut,
        1 => LineFault::LostRequest,
        2 => LineFault::BitError,
        3 => LineFault::LostReply,
        4 => LineFault::LateReply(spread(dice, 0.001, 0.5)),
        5 => LineFault::DuplicatedReply,
        6 => LineFault::ForeignFrame,
        _ => LineFault::Torn,
    }
}

fn plant_fault(dice: &mut Rng) -> PlantFault {
    match dice.u8(..15) {
        0 => PlantFault::FlameBlownOut,
        1 => PlantFault::NutSlips(between(dice, 530.0, 720.0)),
        2 => PlantFault::BeltOff,
        3 => PlantFault::SpindleLever(spread(dice, 20.0, 1_500.0)),
        4 => PlantFault::FuelPressureLow(dice.f64() * 1.5),
        5 => PlantFault::OxygenPressureLow(dice.f64() * 1.5),
        6 => PlantFault::HopperEmpty,
        7 => PlantFault::HoseBlocked,
        8 => PlantFault::ExtractionFailed,
        9 => PlantFault::PlantAirLost,
        10 => PlantFault::ScaleSlips(between(dice, -40.0, 40.0)),
        11 => PlantFault::DriveFails(dice.u16(1..)),
        12 => PlantFault::DriveReports(dice.u16(..)),
        13 => PlantFault::CoatEmissivity(between(dice, 0.3, 1.0)),
        _ => PlantFault::ClampLost,
    }
}

fn standing_still(dice: &mut Rng) -> Event {
    let by_us = us(spread(dice, 0.005, 20.0));
    match dice.u8(..4) {
        0 => Event::ClockForward(by_us),
        1 => Event::ClockBack(by_us),
        2 => Event::Stall { for_us: by_us, clock: StallClock::Stands },
        _ => Event::Stall { for_us: by_us, clock: StallClock::Runs },
    }
}

fn request(dice: &mut Rng) -> Request {
    let way = if dice.bool() { Direction::TowardChuck } else { Direction::TowardTail };
    let by = Length::from_mm(between(dice, -6.0, 6.0));
    let trim = Trim::of_percent(dice.i8(-Trim::MOST..=Trim::MOST));
    pick(dice, &Request::each(way, by, trim))
}

fn hands(dice: &mut Rng, at: u64, then: u64, put: &mut impl FnMut(u64, Event)) {
    match dice.u8(..7) {
        0 => {
            put(at, Event::KeyOff);
            put(then, Event::KeyOn);
        }
        1 => {
            put(at, Event::OpenGuard);
            put(then, Event::ShutGuard);
        }
        2 => put(at, Event::Spark),
        3 => put(at, Event::PushCarriage(between(dice, -40.0, 880.0))),
        4 => put(at, Event::FillHopper(between(dice, 0.0, 2_000.0))),
        5 => {
            put(at, Event::Stands(Presence::Absent));
            put(then, Event::Stands(Presence::Attentive));
        }
        _ => {
            put(at, Event::Stands(Presence::Slow(spread(dice, 0.1, 20.0))));
            put(then, Event::Stands(Presence::Attentive));
        }
    }
}
