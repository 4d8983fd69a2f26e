//! What a row's labels mean, for whoever reads the matrix.

use super::row::{Arming, Circuit, Lamp, Reference, ResetRule, Row, SetPoint, Watch};
use crate::image::Contact;
use crate::interlock::verdict::Class;

impl Class {
    /// The word for it.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Warn => "warn",
            Self::Hold => "hold",
            Self::Stop => "stop",
            Self::Trip => "trip",
        }
    }
}

impl ResetRule {
    /// In words.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::Healthy => "healthy again",
            Self::AtRest => "nothing arms it",
            Self::Inspected => "healthy and inspected",
        }
    }
}

impl Lamp {
    /// The word for it.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Red => "red",
            Self::Yellow => "yellow",
            Self::Blue => "blue",
        }
    }

    /// What it means by IEC 60073.
    #[must_use]
    pub const fn meaning(self) -> &'static str {
        match self {
            Self::Red => "danger",
            Self::Yellow => "abnormal",
            Self::Blue => "somebody must act",
        }
    }
}

impl Circuit {
    /// In words.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::Software => "by this program",
            Self::AlsoWired => "wired as well",
        }
    }
}

impl Arming {
    /// In words.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::Always => "always",
            Self::Energised => "any energy",
            Self::GuardNeeded => "any energy, not while lit by hand",
            Self::GasPresent => "gas in the pipes",
            Self::Process => "gas or powder asked",
            Self::SupplyOpen => "supply open",
            Self::FuelSettled => "fuel open and settled",
            Self::OxygenSettled => "oxygen open and settled",
            Self::CarrierSettled => "carrier settled, powder or fuel on",
            Self::Burning => "flame proved",
            Self::Lighting => "fuel open, flame not proved yet",
            Self::Powder => "feeder on",
            Self::PowderOverPart => "feeder on over the part",
            Self::FlameOverPart => "flame over the part",
            Self::SprayHeat => "feeder on, or spray flame over the part",
            Self::FuseHeat => "fusing flame over the part",
            Self::Fusing => "fusing flame over the part, ceiling set",
            Self::SpindleSettled => "powder or flame over the part, speed settled",
            Self::SpindleNeeded => "spindle asked, or gas or powder",
            Self::DriveNeeded => "carriage asked or with torque, or gas or powder",
            Self::Travelling => "carriage asked to move",
            Self::WorkingMotion => "gas or powder, or motion above jogging",
            Self::WatchdogBeating => "watchdog beating, any energy",
        }
    }
}

impl SetPoint {
    /// As printed: another figure of the same row, with its unit.
    #[must_use]
    pub fn written(&self, value: f64) -> String {
        let plain = (value * 1000.0).round() / 1000.0;
        format!("{plain} {}", self.unit)
    }
}

impl Reference {
    /// What a share or an offset is of, in words; nothing for an own figure.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::Own | Self::FuelLimit => "",
            Self::FuelPressure | Self::OxygenPressure | Self::CarrierPressure => "of the torch's",
            Self::SprayLow => "from the window's low end",
            Self::SprayHigh => "from the window's high end",
            Self::FuseCeiling => "from the fusing ceiling",
        }
    }
}

/// What is wrong with a healthy contact: a stale or failed one is open, a broken wire pressed.
const fn open_words(contact: Contact) -> &'static str {
    match contact {
        Contact::HoldButtonRest | Contact::StopButtonRest | Contact::AbortButtonRest => "pressed",
        _ => "open",
    }
}

impl Row {
    /// What must be so, in words, with the set-point in force.
    #[must_use]
    pub fn condition(&self, set_point: f64) -> String {
        let figure = self.set_point.map(|own| own.written(set_point)).unwrap_or_default();
        match self.watch {
            Watch::Open(tag) => format!("{} {}", tag.title(), open_words(tag)),
            Watch::Pressed(tag) => format!("{} pressed", tag.title()),
            Watch::PressedOr(tag, _) => format!("{} pressed, or asked", tag.title()),
            Watch::Person(_) => "asked, or raised by the sequence".to_owned(),
            Watch::Failed(tag) => format!("{} failed", tag.title()),
            Watch::Below(tag, reference) => related(tag.title(), "<", &figure, reference),
            Watch::Above(tag, reference) => related(tag.title(), ">", &figure, reference),
            Watch::NoFlame => "no flame seen".to_owned(),
            Watch::FlameFromNothing => "flame seen, fuel shut and dark before".to_owned(),
            Watch::FlameRemains => format!("flame seen {figure} after fuel was shut"),
            Watch::TrialOver => format!("no flame, trial time + {figure} over"),
            Watch::FuelNotShut => "fuel valve told to shut, not proved shut".to_owned(),
            Watch::OxygenNotShut => "oxygen valve told to shut, not proved shut".to_owned(),
            Watch::FuelShutContradicts => "fuel valve told to open, contact says shut".to_owned(),
            Watch::DriveSilent => format!("drive not read for {figure}"),
            Watch::DriveFault => "drive reports a fault".to_owned(),
            Watch::DriveUnknown => "status word matches no state".to_owned(),
            Watch::FollowingError => format!("following error > {figure}"),
            Watch::Crawl => format!("speed < {figure} of the expected"),
            Watch::LimitTowardChuck => "chuck-side limit open, asked that way".to_owned(),
            Watch::LimitTowardTail => "tail-side limit open, asked that way".to_owned(),
            Watch::OutsideTravel => "end point outside the travel".to_owned(),
            Watch::OutsideTravelLit => "the same with flame over the part".to_owned(),
            Watch::TorqueContradicts => {
                "emergency stop, torque allowed and drive differ".to_owned()
            }
            Watch::ParkContradicts => "park switch on, position over the part".to_owned(),
            Watch::CarriageStill => "carriage not known to move".to_owned(),
            Watch::FlameRests => format!("flame at rest {figure}, or the plan's shorter time"),
            Watch::MissedPulses => format!("{figure} missing, or no speed"),
            Watch::SpindleSlow => format!("speed < {figure} of the asked"),
            Watch::TachometerSilent => "tachometer failed".to_owned(),
            Watch::Overspeed => format!("speed > {figure} of the asked"),
            Watch::SpeedError => format!("speed off by > {figure}"),
            Watch::InverterNotOk => "inverter in fault, latch open, or silent".to_owned(),
            Watch::FeedFalls => format!("loss in weight < {figure} of the first"),
            Watch::FeedPulses => format!("loss in weight off by > {figure}"),
            Watch::HoseBlocked => format!("back-pressure > {figure} over air alone"),
            Watch::FieldSilent => format!("no contact known for {figure}"),
            Watch::FieldFrozen => "its cycle counter stands still".to_owned(),
            Watch::RelayDropped => "watchdog relay not known picked up".to_owned(),
            Watch::ScanGap => format!("no scan for {figure}"),
        }
    }
}

fn related(what: &str, sign: &str, figure: &str, reference: Reference) -> String {
    let of = reference.words();
    let gap = if of.is_empty() { "" } else { " " };
    format!("{what} {sign} {figure}{gap}{of}")
}
