//! Which device a row's signal comes from: the one table of it.

use super::Watch;
use crate::image::{Analogue, Contact};

/// Where what a row watches is read.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Source {
    /// A discrete input of the field I/O.
    Contact(Contact),
    /// A transmitter at the field I/O.
    Analogue(Analogue),
    /// The carriage drive, over its line.
    Drive,
    /// The tachometer at the field I/O.
    Tachometer,
    /// The spindle's inverter, over its line.
    Inverter,
    /// The field I/O module itself.
    Module,
    /// The controller itself.
    Controller,
    /// A person, or the sequence for one.
    Person,
}

impl Watch {
    /// Where it is read; of a button that may also be asked for from a seat, the button.
    #[must_use]
    pub const fn source(self) -> Source {
        match self {
            Self::Open(tag) | Self::Pressed(tag) | Self::PressedOr(tag, _) => Source::Contact(tag),
            Self::Person(_) => Source::Person,
            Self::Failed(tag) | Self::Below(tag, _) | Self::Above(tag, _) => Source::Analogue(tag),
            Self::NoFlame | Self::FlameFromNothing | Self::FlameRemains | Self::TrialOver => {
                Source::Contact(Contact::Flame)
            }
            Self::FuelNotShut | Self::FuelShutContradicts => Source::Contact(Contact::FuelShut),
            Self::OxygenNotShut => Source::Contact(Contact::OxygenShut),
            Self::LimitTowardChuck => Source::Contact(Contact::LimitMinus),
            Self::LimitTowardTail => Source::Contact(Contact::LimitPlus),
            Self::TorqueContradicts => Source::Contact(Contact::TorqueAllowed),
            Self::ParkContradicts => Source::Contact(Contact::ParkSwitch),
            Self::RelayDropped => Source::Contact(Contact::WatchdogRelay),
            Self::DriveSilent
            | Self::DriveFault
            | Self::DriveUnknown
            | Self::FollowingError
            | Self::Crawl
            | Self::OutsideTravel
            | Self::OutsideTravelLit
            | Self::CarriageStill
            | Self::FlameRests => Source::Drive,
            Self::MissedPulses
            | Self::SpindleSlow
            | Self::TachometerSilent
            | Self::Overspeed
            | Self::SpeedError => Source::Tachometer,
            Self::InverterNotOk => Source::Inverter,
            Self::FeedFalls | Self::FeedPulses => Source::Analogue(Analogue::HopperWeight),
            Self::HoseBlocked => Source::Analogue(Analogue::BackPressure),
            Self::FieldSilent | Self::FieldFrozen => Source::Module,
            Self::ScanGap => Source::Controller,
        }
    }
}
