//! What is assumed: a signal, and a fault or a value of it, as a person writes them.

use core::fmt;
use core::str::FromStr;

use serde::Serialize;

use super::super::matrix::Raised;
use crate::document;
use crate::image::{Analogue, Contact, Level};
use crate::quantity::{
    Fraction, Length, Mass, Pressure, Quantity, Speed, SpindleSpeed, Temperature,
};

/// The eight words of the bench, as far as they mean something in an image.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum FaultWord {
    /// Healthy.
    Ok,
    /// Dead: an open contact, a broken wire, no pulses, a silent device.
    Off,
    /// As it was when the fault came; a device repeats its old answers.
    Stuck,
    /// Changes without sense; what can't be a value is known as that.
    Garbage,
    /// Plausible but not true: a contact inverted, a value a fifth of its span too low, a device
    /// in fault.
    Wrong,
    /// Follows slowly: a value with a time constant of 5 s, all else 1 s late.
    Slow,
    /// As it was 1 s ago.
    Delayed,
    /// Dead and well by turns of 0.24 s.
    Intermittent,
}

impl FaultWord {
    /// All of them.
    pub const ALL: [Self; 8] = [
        Self::Ok,
        Self::Off,
        Self::Stuck,
        Self::Garbage,
        Self::Wrong,
        Self::Slow,
        Self::Delayed,
        Self::Intermittent,
    ];

    /// As it is written.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Ok => "ok",
            Self::Off => "off",
            Self::Stuck => "stuck",
            Self::Garbage => "garbage",
            Self::Wrong => "wrong",
            Self::Slow => "slow",
            Self::Delayed => "delayed",
            Self::Intermittent => "intermittent",
        }
    }
}

/// A device as a whole.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Device {
    /// The field I/O module.
    Field,
    /// The carriage drive.
    Drive,
    /// The spindle's tachometer.
    Tachometer,
    /// The spindle's inverter.
    Inverter,
    /// The controller: only `slow` and `delayed` mean something, a stall of half a second.
    Controller,
}

/// A value that no single wire carries.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Reading {
    /// The spindle's speed by its tachometer.
    Spindle,
    /// The carriage's speed by its drive.
    Carriage,
    /// The distance the carriage is behind.
    FollowingError,
}

impl Reading {
    /// The unit its value is in.
    #[must_use]
    pub const fn unit(self) -> &'static str {
        match self {
            Self::Spindle => "rpm",
            Self::Carriage => "mm/s",
            Self::FollowingError => "mm",
        }
    }
}

/// What an assumption is about.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Target {
    /// A contact.
    Contact(Contact),
    /// A transmitter.
    Analogue(Analogue),
    /// A device.
    Device(Device),
    /// A reading.
    Reading(Reading),
    /// A person's request.
    Request,
}

/// What is assumed of it.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Assumed {
    /// One of the eight words.
    Word(FaultWord),
    /// A contact's level.
    Level(Level),
    /// A value in the unit of the signal: bar, degC, g, %, rpm, mm/s, mm.
    Value(f64),
    /// A cause that is raised.
    Raised(Raised),
}

/// One assumption.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Assumption {
    /// About what.
    pub target: Target,
    /// What.
    pub assumed: Assumed,
}

/// What is wrong with an assumption, with what would be accepted.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct AssumptionError {
    /// The text that was found.
    pub found: String,
    /// What is wrong with it.
    pub what: String,
    /// What would be accepted.
    pub accepted: String,
    /// What was probably meant.
    pub hint: Option<String>,
}

impl fmt::Display for AssumptionError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "`{}`: {}\naccepted: {}", self.found, self.what, self.accepted)?;
        match &self.hint {
            Some(hint) => write!(f, "\nhelp: {hint}"),
            None => Ok(()),
        }
    }
}

impl core::error::Error for AssumptionError {}

const DEVICES: [(&str, Device); 5] = [
    ("field", Device::Field),
    ("drive", Device::Drive),
    ("tachometer", Device::Tachometer),
    ("inverter", Device::Inverter),
    ("controller", Device::Controller),
];

const READINGS: [(&str, Reading); 3] = [
    ("spindle", Reading::Spindle),
    ("carriage", Reading::Carriage),
    ("following_error", Reading::FollowingError),
];

const RAISED: [(&str, Raised); 9] = [
    ("abort", Raised::Abort),
    ("bad_flame", Raised::BadFlame),
    ("coat_lifting", Raised::CoatLifting),
    ("hold", Raised::Hold),
    ("stop", Raised::Stop),
    ("attendance", Raised::Attendance),
    ("ignition_lockout", Raised::IgnitionLockout),
    ("overdue", Raised::Overdue),
    ("stalled", Raised::Stalled),
];

/// The name of a request among the signals.
const REQUEST: &str = "request";

/// Every name an assumption may be about.
pub fn names() -> impl Iterator<Item = &'static str> {
    Contact::ALL
        .iter()
        .map(|tag| tag.key())
        .chain(Analogue::ALL.iter().map(|tag| tag.key()))
        .chain(DEVICES.map(|(name, _)| name))
        .chain(READINGS.map(|(name, _)| name))
        .chain([REQUEST])
}

impl Target {
    /// Its name, as it is written.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::Contact(tag) => tag.key(),
            Self::Analogue(tag) => tag.key(),
            Self::Device(device) => name_of(&DEVICES, &device),
            Self::Reading(reading) => name_of(&READINGS, &reading),
            Self::Request => REQUEST,
        }
    }

    fn from_name(name: &str) -> Option<Self> {
        let device = || DEVICES.iter().find(|(known, _)| *known == name);
        let reading = || READINGS.iter().find(|(known, _)| *known == name);
        Contact::from_key(name)
            .map(Self::Contact)
            .or_else(|| Analogue::from_key(name).map(Self::Analogue))
            .or_else(|| device().map(|(_, device)| Self::Device(*device)))
            .or_else(|| reading().map(|(_, reading)| Self::Reading(*reading)))
            .or_else(|| (name == REQUEST).then_some(Self::Request))
    }
}

fn name_of<T: PartialEq>(table: &[(&'static str, T)], wanted: &T) -> &'static str {
    table.iter().find(|(_, known)| known == wanted).map_or("", |(name, _)| *name)
}

/// The known word that was probably meant.
fn nearest(found: &str, known: impl Iterator<Item = &'static str>) -> Option<String> {
    let known: Vec<&'static str> = known.collect();
    document::nearest(found, &known).map(|name| format!("did you mean `{name}`?"))
}

impl FromStr for Assumption {
    type Err = AssumptionError;

    /// Reads `signal=fault`, `signal=on` or `signal=0.3 bar`.
    fn from_str(text: &str) -> Result<Self, AssumptionError> {
        let error = |what: String, accepted: String, hint: Option<String>| AssumptionError {
            found: text.trim().to_owned(),
            what,
            accepted,
            hint,
        };
        let form = "SIGNAL=FAULT, as in flame=off or \"fuel_pressure=0.3 bar\"";
        let Some((name, value)) = text.split_once('=') else {
            return Err(error("it has no `=`".to_owned(), form.to_owned(), None));
        };
        let (name, value) = (name.trim(), value.trim());
        let Some(target) = Target::from_name(name) else {
            let accepted = "a contact or transmitter by its key in a rig file, field, drive, tachometer, \
                 inverter, controller, spindle, carriage, following_error or request";
            let what = format!("no signal is called `{name}`");
            return Err(error(what, accepted.to_owned(), nearest(name, names())));
        };
        match assumed(target, value) {
            Ok(assumed) => Ok(Self { target, assumed }),
            Err((what, accepted, hint)) => Err(error(what, accepted, hint)),
        }
    }
}

/// What is wrong, what is accepted, what was meant.
type Refusal = (String, String, Option<String>);

fn assumed(target: Target, value: &str) -> Result<Assumed, Refusal> {
    let word = FaultWord::ALL.into_iter().find(|word| word.word() == value);
    match target {
        Target::Request => RAISED
            .iter()
            .find(|(name, _)| *name == value)
            .map(|(_, raised)| Assumed::Raised(*raised))
            .ok_or_else(|| refuse(value, RAISED.map(|(name, _)| name).to_vec(), "")),
        Target::Contact(_) => {
            let level = match value {
                "on" | "closed" => Some(Level::On),
                "open" => Some(Level::Off),
                _ => None,
            };
            let known = level.map(Assumed::Level).or(word.map(Assumed::Word));
            known.ok_or_else(|| {
                let mut words = FaultWord::ALL.map(FaultWord::word).to_vec();
                words.extend(["on", "closed", "open"]);
                refuse(value, words, "")
            })
        }
        Target::Device(Device::Controller) => match word {
            Some(FaultWord::Slow | FaultWord::Delayed | FaultWord::Ok) => {
                Ok(word.map_or(Assumed::Word(FaultWord::Ok), Assumed::Word))
            }
            _ => Err((
                format!("a controller that is {value} judges nothing"),
                "slow or delayed: a stall of half a second".to_owned(),
                Some(
                    "what happens then is told under \"controller dead\" of the matrix".to_owned(),
                ),
            )),
        },
        Target::Device(_) => {
            let words = FaultWord::ALL.map(FaultWord::word).to_vec();
            word.map(Assumed::Word).ok_or_else(|| refuse(value, words, ""))
        }
        Target::Reading(reading) => {
            let read = match reading {
                Reading::Spindle => SpindleSpeed::parse(value).map(SpindleSpeed::rpm),
                Reading::Carriage => Speed::parse(value).map(Speed::mm_per_s),
                Reading::FollowingError => Length::parse(value).map(Length::mm),
            };
            read.map(Assumed::Value).map_err(|error| (error.what, error.accepted, error.hint))
        }
        Target::Analogue(tag) => match word {
            Some(word) => Ok(Assumed::Word(word)),
            None => analogue(tag, value).map(Assumed::Value),
        },
    }
}

fn analogue(tag: Analogue, value: &str) -> Result<f64, Refusal> {
    let read = match tag {
        Analogue::FuelPressure
        | Analogue::OxygenPressure
        | Analogue::CarrierPressure
        | Analogue::BackPressure => Pressure::parse(value).map(Pressure::bar),
        Analogue::ExtractionFlow | Analogue::FlammableGas | Analogue::OxygenInAir => {
            Fraction::parse(value).map(Fraction::percent)
        }
        Analogue::PartTemperature | Analogue::FuseTemperature => {
            Temperature::parse(value).map(Temperature::celsius)
        }
        Analogue::HopperWeight => Mass::parse(value).map(Mass::g),
    };
    read.map_err(|error| {
        let words = FaultWord::ALL.map(FaultWord::word).to_vec();
        let hint = error.hint.or_else(|| nearest(value, words.iter().copied()));
        (error.what, format!("{}; or {}", error.accepted, words.join(", ")), hint)
    })
}

fn refuse(found: &str, words: Vec<&'static str>, more: &str) -> Refusal {
    let hint = nearest(found, words.iter().copied());
    (format!("`{found}` is none of its words"), format!("{}{more}", words.join(", ")), hint)
}

/// Reads several assumptions, separated by commas.
///
/// # Errors
/// The first that can't be read, or that says a second thing of one signal.
pub fn assumptions(text: &str) -> Result<Vec<Assumption>, AssumptionError> {
    let mut all: Vec<Assumption> = Vec::new();
    for one in text.split(',') {
        let read: Assumption = one.parse()?;
        let again = all.iter().any(|before| before.target == read.target);
        if again && read.target != Target::Request {
            return Err(AssumptionError {
                found: one.trim().to_owned(),
                what: format!("`{}` is given twice", read.target.name()),
                accepted: "one fault or value for each signal".to_owned(),
                hint: None,
            });
        }
        all.push(read);
    }
    Ok(all)
}
