//! Which rows watch what is assumed.

use super::asked::{Assumed, Assumption, Device, Reading, Target};
use crate::image::{Analogue, Contact};
use crate::interlock::matrix::{Row, Watch};

/// Whether a row watches what is assumed.
pub(super) fn watches(row: &Row, assumed: &[Assumption]) -> bool {
    assumed.iter().any(|one| match (one.target, row.watch) {
        (
            Target::Contact(tag),
            Watch::Open(own) | Watch::Pressed(own) | Watch::PressedOr(own, _),
        ) => tag == own,
        (
            Target::Contact(Contact::Flame),
            Watch::NoFlame | Watch::FlameFromNothing | Watch::FlameRemains | Watch::TrialOver,
        )
        | (Target::Contact(Contact::FuelShut), Watch::FuelNotShut | Watch::FuelShutContradicts)
        | (Target::Contact(Contact::OxygenShut), Watch::OxygenNotShut)
        | (Target::Contact(Contact::LimitMinus), Watch::LimitTowardChuck)
        | (Target::Contact(Contact::LimitPlus), Watch::LimitTowardTail)
        | (
            Target::Contact(Contact::TorqueAllowed | Contact::EmergencyStop),
            Watch::TorqueContradicts,
        )
        | (Target::Contact(Contact::ParkSwitch), Watch::ParkContradicts)
        | (Target::Contact(Contact::WatchdogRelay), Watch::RelayDropped)
        | (Target::Analogue(Analogue::HopperWeight), Watch::FeedFalls | Watch::FeedPulses)
        | (Target::Analogue(Analogue::BackPressure), Watch::HoseBlocked)
        | (Target::Device(Device::Field), Watch::FieldSilent | Watch::FieldFrozen)
        | (
            Target::Device(Device::Drive),
            Watch::DriveSilent
            | Watch::DriveFault
            | Watch::DriveUnknown
            | Watch::Crawl
            | Watch::FlameRests
            | Watch::CarriageStill,
        )
        | (
            Target::Reading(Reading::Carriage),
            Watch::Crawl | Watch::FlameRests | Watch::CarriageStill,
        )
        | (Target::Reading(Reading::FollowingError), Watch::FollowingError)
        | (
            Target::Device(Device::Tachometer) | Target::Reading(Reading::Spindle),
            Watch::MissedPulses
            | Watch::SpindleSlow
            | Watch::TachometerSilent
            | Watch::Overspeed
            | Watch::SpeedError,
        )
        | (Target::Device(Device::Inverter), Watch::InverterNotOk)
        | (Target::Device(Device::Controller), Watch::ScanGap) => true,
        (
            Target::Analogue(tag),
            Watch::Failed(own) | Watch::Below(own, _) | Watch::Above(own, _),
        ) => tag == own,
        (Target::Request, Watch::Person(own) | Watch::PressedOr(_, own)) => {
            one.assumed == Assumed::Raised(own)
        }
        _ => false,
    })
}
