//! Eight faults for every signal and device, faults of the lines, and faults of the plant.

use std::collections::VecDeque;

use serde::{Deserialize, Serialize};

use crate::wiring::{Analogue, Coil, Discrete};

/// The eight words.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Word {
    /// Healthy: takes a fault away.
    Ok,
    /// Dead: open contact, broken wire, no pulses, coil never energised, device silent.
    Off,
    /// Stays as it was when the fault came; a device repeats its old answers and acts no more.
    Stuck,
    /// Random.
    Garbage,
    /// Plausible but not true: an inverted contact or coil, an analogue value or a pulse period off by
    /// this share of its span or of itself; a device answers "failed".
    Wrong(f64),
    /// Follows with this time constant, s; a contact or coil changes only after the new level has
    /// lasted that long; a device answers so much later.
    Slow(f64),
    /// As it was this many seconds ago; a device answers up to so much later.
    Delayed(f64),
    /// Dead with this probability, drawn anew every 25 ms, or for each request to a device.
    Intermittent(f64),
}

/// Where a word applies.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Target {
    /// A contact.
    Discrete(Discrete),
    /// An analogue input.
    Analogue(Analogue),
    /// The spindle's pulses.
    Tachometer,
    /// A coil, between the module and what it drives.
    Coil(Coil),
    /// The field I/O module as a whole.
    FieldIo,
    /// The carriage drive as a whole.
    Drive,
    /// The spindle inverter as a whole.
    Inverter,
}

/// One of the two lines.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum LineIndex {
    /// The line of the field I/O module.
    Field,
    /// The line of drive and inverter.
    Motion,
}

/// What can happen to frames on a line.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum LineFault {
    /// The cable is out: nothing passes, whatever the probability says.
    Cut,
    /// The request arrives spoilt: the device neither acts nor answers.
    LostRequest,
    /// A bit of the reply is turned over.
    BitError,
    /// The reply is lost.
    LostReply,
    /// The reply comes so many seconds late.
    LateReply(f64),
    /// The reply comes twice.
    DuplicatedReply,
    /// A well-formed reply of some other unit comes first.
    ForeignFrame,
    /// The reply pauses in its middle for longer than a frame may.
    Torn,
}

/// Faults of the plant.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum PlantFault {
    /// The flame is blown out now.
    FlameBlownOut,
    /// The nut slips when the torch passes this z, mm.
    NutSlips(f64),
    /// The scale on the carriage has come loose and reads this far off, mm.
    ScaleSlips(f64),
    /// The carriage drive fails by itself, with this fault code.
    DriveFails(u16),
    /// The carriage drive reports this status word, whatever its state.
    DriveReports(u16),
    /// The spindle's belt is off.
    BeltOff,
    /// The spindle's lever stands at a gear that gives this speed, rpm.
    SpindleLever(f64),
    /// Fuel regulator at this share of its setting.
    FuelPressureLow(f64),
    /// Oxygen regulator at this share of its setting.
    OxygenPressureLow(f64),
    /// The hopper is empty.
    HopperEmpty,
    /// The hose is blocked.
    HoseBlocked,
    /// The extraction fan has failed.
    ExtractionFailed,
    /// The plant's compressed air is gone.
    PlantAirLost,
    /// The clamp has lost the part, which stands still.
    ClampLost,
    /// The coat radiates with this emissivity at the pyrometer's wavelength.
    CoatEmissivity(f64),
}

/// One fault.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Fault {
    /// One of the eight words at a signal or device.
    Signal {
        /// Where.
        target: Target,
        /// What.
        word: Word,
    },
    /// A line fault, for each request or reply with a probability.
    Line {
        /// Which line.
        line: LineIndex,
        /// What.
        fault: LineFault,
        /// Probability, 0 to 1.
        chance: f64,
    },
    /// A fault of the plant.
    Plant(PlantFault),
}

/// Up to three numbers that a signal carries.
pub(crate) type Sample = [f64; 3];

/// What kind of signal a sample belongs to.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Kind {
    /// Open or closed.
    Contact,
    /// Microamperes.
    Current,
    /// Period us, count, time since the last pulse us.
    Pulses,
}

/// Span of a 4-20 mA signal, microamperes.
const SPAN_UA: f64 = 16_000.0;
/// Top of the converter, microamperes.
const TOP_UA: f64 = 24_000.0;

/// A word at work on a signal.
#[derive(Clone, Debug)]
pub(crate) struct SignalFault {
    pub(crate) target: Target,
    word: Word,
    held: Option<Sample>,
    since_us: u64,
    history: VecDeque<(u64, Sample)>,
    filtered: Option<Sample>,
    changing_since_us: Option<u64>,
    dead: bool,
    dice: Sample,
}

impl SignalFault {
    pub(crate) fn new(target: Target, word: Word, now_us: u64) -> Self {
        Self {
            target,
            word,
            held: None,
            since_us: now_us,
            history: VecDeque::new(),
            filtered: None,
            changing_since_us: None,
            dead: false,
            dice: [0.5; 3],
        }
    }

    pub(crate) fn word(&self) -> Word {
        self.word
    }

    /// Takes note of the true value, at regular times and before each read.
    pub(crate) fn observe(&mut self, now_us: u64, truth: Sample, kind: Kind) {
        if self.held.is_none() {
            self.held = Some(truth);
        }
        match self.word {
            Word::Delayed(_) => {
                self.history.push_back((now_us, truth));
                self.forget(now_us);
            }
            Word::Slow(seconds) if kind == Kind::Contact => {
                self.follow_late(now_us, truth, seconds)
            }
            Word::Slow(seconds) => self.follow_slowly(now_us, truth, seconds),
            _ => {}
        }
    }

    fn forget(&mut self, now_us: u64) {
        let Word::Delayed(seconds) = self.word else { return };
        let then = now_us.saturating_sub(crate::counts::microseconds(seconds));
        while self.history.get(1).is_some_and(|(at, _)| *at <= then) {
            self.history.pop_front();
        }
    }

    fn follow_late(&mut self, now_us: u64, truth: Sample, seconds: f64) {
        let held = self.filtered.get_or_insert(truth);
        if *held == truth {
            self.changing_since_us = None;
            return;
        }
        let since = *self.changing_since_us.get_or_insert(now_us);
        if now_us.saturating_sub(since) >= crate::counts::microseconds(seconds) {
            *held = truth;
            self.changing_since_us = None;
        }
    }

    fn follow_slowly(&mut self, now_us: u64, truth: Sample, seconds: f64) {
        let dt = crate::counts::seconds(now_us.saturating_sub(self.since_us));
        self.since_us = now_us;
        let left = (-dt / seconds.max(1e-6)).exp();
        let held = self.filtered.get_or_insert(truth);
        for (a, b) in held.iter_mut().zip(truth) {
            *a = b + (*a - b) * left;
        }
    }

    /// Draws whether the signal is dead, and its random values.
    pub(crate) fn draw(&mut self, dice: &mut fastrand::Rng) {
        match self.word {
            Word::Intermittent(chance) => self.dead = dice.f64() < chance,
            Word::Garbage => self.dice = [dice.f64(), dice.f64(), dice.f64()],
            _ => {}
        }
    }

    /// What arrives of the true value.
    pub(crate) fn distort(&self, now_us: u64, truth: Sample, kind: Kind) -> Sample {
        match self.word {
            Word::Ok => truth,
            Word::Off => self.silent(now_us, kind),
            Word::Stuck => self.held.unwrap_or(truth),
            Word::Garbage => self.random(kind),
            Word::Wrong(by) => wrong(truth, kind, by),
            Word::Slow(_) => self.filtered.unwrap_or(truth),
            Word::Delayed(_) => self.history.front().map_or(truth, |h| h.1),
            Word::Intermittent(_) if self.dead => self.silent(now_us, kind),
            Word::Intermittent(_) => truth,
        }
    }

    fn silent(&self, now_us: u64, kind: Kind) -> Sample {
        match (kind, self.held) {
            (Kind::Pulses, Some([period, count, since])) => {
                [period, count, since + now_us.saturating_sub(self.since_us) as f64]
            }
            _ => [0.0; 3],
        }
    }

    fn random(&self, kind: Kind) -> Sample {
        let [a, b, c] = self.dice;
        match kind {
            Kind::Contact => [a.round(), 0.0, 0.0],
            Kind::Current => [a * TOP_UA, 0.0, 0.0],
            Kind::Pulses => [a * 1e6, (b * 65_535.0).round(), c * 1e6],
        }
    }
}

fn wrong(truth: Sample, kind: Kind, by: f64) -> Sample {
    let [a, b, c] = truth;
    match kind {
        Kind::Contact => [1.0 - a, b, c],
        Kind::Current => [(a + by * SPAN_UA).clamp(0.0, TOP_UA), b, c],
        Kind::Pulses => [a * (1.0 + by), b, c],
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const FUEL: Target = Target::Analogue(Analogue::FuelPressure);

    fn after(word: Word, values: &[(u64, f64)], kind: Kind) -> f64 {
        let mut fault = SignalFault::new(FUEL, word, 0);
        let mut dice = fastrand::Rng::with_seed(1);
        let mut last = (0, 0.0);
        for &(at, value) in values {
            fault.observe(at, [value, 0.0, 0.0], kind);
            fault.draw(&mut dice);
            last = (at, value);
        }
        fault.distort(last.0, [last.1, 0.0, 0.0], kind)[0]
    }

    #[test]
    fn each_word_does_what_it_says_to_a_current() {
        let values = [(0, 12_000.0), (1_000_000, 12_000.0), (2_000_000, 20_000.0)];
        let reading = |word| after(word, &values, Kind::Current);
        assert_eq!(reading(Word::Ok), 20_000.0);
        assert_eq!(reading(Word::Off), 0.0);
        assert_eq!(reading(Word::Stuck), 12_000.0);
        assert_eq!(reading(Word::Wrong(-0.25)), 16_000.0);
        assert_eq!(reading(Word::Delayed(0.5)), 12_000.0);
        assert_eq!(reading(Word::Intermittent(1.0)), 0.0);
        assert_eq!(reading(Word::Intermittent(0.0)), 20_000.0);
        let slow = reading(Word::Slow(1.0));
        assert!((slow - (20_000.0 - 8_000.0 * (-1.0_f64).exp())).abs() < 1.0, "{slow}");
        assert!((0.0..=24_000.0).contains(&reading(Word::Garbage)));
    }

    #[test]
    fn a_slow_contact_changes_only_after_the_level_has_lasted() {
        let values = [(0, 1.0), (100_000, 0.0), (400_000, 0.0)];
        assert_eq!(after(Word::Slow(0.5), &values, Kind::Contact), 1.0);
        let values = [(0, 1.0), (100_000, 0.0), (700_000, 0.0)];
        assert_eq!(after(Word::Slow(0.5), &values, Kind::Contact), 0.0);
        assert_eq!(after(Word::Wrong(0.0), &values, Kind::Contact), 1.0);
    }

    #[test]
    fn a_dead_tachometer_counts_no_more_while_time_goes_on() {
        let mut fault = SignalFault::new(Target::Tachometer, Word::Off, 1_000_000);
        fault.observe(1_000_000, [60_000.0, 80.0, 10_000.0], Kind::Pulses);
        let later = fault.distort(3_000_000, [60_000.0, 113.0, 20_000.0], Kind::Pulses);
        assert_eq!(later, [60_000.0, 80.0, 2_010_000.0]);
    }
}
