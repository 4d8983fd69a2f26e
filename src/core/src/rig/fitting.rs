//! Which devices a rig may do without, what an absent one reads, and why.
//!
//! None of this is in the rig file: a file can say that a device is not fitted, never that its
//! absence is safe. Nor can it turn the sense of a contact whose broken wire would then read
//! healthy.

use crate::image::{Analogue, Coil, Contact, Level};

/// Whether a rig may do without a device.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Fitting {
    /// Every rig has it, for this reason.
    Needed(&'static str),
    /// A rig may do without it, for this reason; a contact then reads the level.
    MayBeAbsent(Level, &'static str),
}

impl Fitting {
    /// What an absent contact reads; off for one that may not be absent.
    #[must_use]
    pub fn absent_reads(self) -> Level {
        match self {
            Self::Needed(_) => Level::Off,
            Self::MayBeAbsent(level, _) => level,
        }
    }
}

/// Whether a rig may do without a contact.
#[must_use]
pub fn contact_fitting(contact: Contact) -> Fitting {
    use Contact as C;
    use Fitting::{MayBeAbsent, Needed};
    use Level::{Off, On};
    match contact {
        C::EmergencyStop => Needed("the controller reads the emergency-stop circuit back"),
        C::Guard => Needed("flame and motion need a shut guard"),
        C::Clamp => MayBeAbsent(On, "a hand chuck cannot open while it turns"),
        C::LimitMinus | C::LimitPlus => Needed("over-travel is seen by switches, not by counting"),
        C::Flame => Needed("no gas flows without a flame that is seen"),
        C::Arrestor => Needed("a flashback is known by its arrestor"),
        C::Extraction => Needed("powder and fumes need extraction that is proved"),
        C::PlantAir => MayBeAbsent(On, "the carrier's pressure transmitter sees plant air fail"),
        C::GasDetector => Needed("escaping fuel gas is seen by its detector"),
        C::OxygenMonitor => Needed("escaping oxygen feeds any fire"),
        C::FireDetection => MayBeAbsent(On, "somebody attends while a flame is lit"),
        C::EnablingKey => Needed("start, lighting and jogging are acts at the machine"),
        C::StartButton => Needed("nothing starts without an act at the machine"),
        C::HoldButtonRest | C::StopButtonRest | C::AbortButtonRest => {
            Needed("hold, stop and abort are at the machine")
        }
        C::ResetButton => Needed("a trip is reset at the machine"),
        C::AcceptButton => Needed("attendance is answered at the machine"),
        C::WetButton => MayBeAbsent(Off, "a rig that only sprays fuses nothing"),
        C::BadFlameButton => MayBeAbsent(Off, "the stop button does as well"),
        C::CoatLiftingButton => MayBeAbsent(Off, "the hold button does as well"),
        C::HoldToRun => MayBeAbsent(Off, "jogging from the panel has its own lease"),
        C::Standoff => MayBeAbsent(On, "not every torch mount has a bump switch"),
        C::WatchdogRelay => Needed("the watchdog relay is read back"),
        C::FuelShut | C::OxygenShut => Needed("a shut valve is proved, not believed"),
        C::TorqueAllowed => Needed("nobody reaches in before the drive has lost its torque"),
        C::HopperLevel => MayBeAbsent(On, "a weighed hopper knows its level"),
        C::ParkSwitch => Needed("the torch at park is seen by a switch, not by counting"),
        C::PartTurning => MayBeAbsent(On, "the tachometer on the spindle remains"),
    }
}

/// Whether the sense of a contact may be turned in the rig file: only for contacts that are on
/// when something is asked for, and never for one that is healthy when on.
#[must_use]
pub(super) fn may_be_inverted(contact: Contact) -> Option<&'static str> {
    use Contact as C;
    match contact {
        C::WetButton | C::BadFlameButton | C::CoatLiftingButton => {
            Some("a broken wire then reads pressed, which is the safe side or is seen at once")
        }
        _ => None,
    }
}

/// Whether a rig may do without an analogue input.
#[must_use]
pub fn analogue_fitting(analogue: Analogue) -> Fitting {
    use Analogue as A;
    use Fitting::{MayBeAbsent, Needed};
    let absent = |why| MayBeAbsent(Level::Off, why);
    match analogue {
        A::FuelPressure | A::OxygenPressure => {
            Needed("gas is isolated only when its pressure is seen to fall")
        }
        A::CarrierPressure => Needed("powder is carried only by air that is there"),
        A::ExtractionFlow => absent("the extraction contact proves the flow"),
        A::PartTemperature => Needed("powder bonds only inside a temperature window"),
        A::FuseTemperature => absent("a rig that only sprays fuses nothing"),
        A::HopperWeight => absent("the level contact warns of an empty hopper"),
        A::BackPressure => absent("a blocked hose shows in the loss of weight as well"),
        A::FlammableGas => absent("the gas detector's contact trips by itself"),
        A::OxygenInAir => absent("the oxygen monitor's contact trips by itself"),
    }
}

/// Whether a rig may do without an output.
#[must_use]
pub fn coil_fitting(coil: Coil) -> Fitting {
    use Coil as K;
    use Fitting::{MayBeAbsent, Needed};
    let absent = |why| MayBeAbsent(Level::Off, why);
    match coil {
        K::Powder | K::CarrierAir | K::Fuel | K::Oxygen => Needed("the process is made of them"),
        K::Watchdog => Needed("the watchdog gates fuel, oxygen and powder by hardware"),
        K::Supply => Needed("gas that cannot be shut off outside the cell is not isolated"),
        K::Igniter => absent("a torch may be lit by hand"),
        K::CoolingAir => absent("a part may cool in still air"),
        K::Extraction => absent("extraction may run by itself; its contact proves it"),
        K::LampRed | K::LampYellow | K::LampGreen | K::LampBlue | K::LampWhite | K::Horn => {
            absent("the panel shows it as well")
        }
        K::SwingAway => absent("clear then means at the park"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Contacts by which a person asks for something to start, go on or be believed.
    const ASKS: [Contact; 7] = [
        Contact::EnablingKey,
        Contact::StartButton,
        Contact::ResetButton,
        Contact::AcceptButton,
        Contact::WetButton,
        Contact::HoldToRun,
        Contact::Flame,
    ];

    #[test]
    fn an_absent_contact_never_asks_for_anything() {
        for contact in ASKS {
            assert_eq!(contact_fitting(contact).absent_reads(), Level::Off, "{contact:?}");
        }
    }

    #[test]
    fn what_stops_the_machine_can_be_neither_absent_nor_turned_round() {
        let stops = [
            Contact::EmergencyStop,
            Contact::Guard,
            Contact::LimitMinus,
            Contact::LimitPlus,
            Contact::Flame,
            Contact::Arrestor,
            Contact::Extraction,
            Contact::GasDetector,
            Contact::OxygenMonitor,
            Contact::HoldButtonRest,
            Contact::StopButtonRest,
            Contact::AbortButtonRest,
            Contact::WatchdogRelay,
            Contact::FuelShut,
            Contact::OxygenShut,
            Contact::TorqueAllowed,
            Contact::ParkSwitch,
        ];
        for contact in stops {
            assert!(matches!(contact_fitting(contact), Fitting::Needed(_)), "{contact:?}");
            assert_eq!(may_be_inverted(contact), None, "{contact:?}");
        }
    }

    #[test]
    fn only_outputs_without_which_nothing_becomes_unsafe_may_be_absent() {
        let needed: Vec<Coil> = Coil::ALL
            .iter()
            .copied()
            .filter(|&coil| matches!(coil_fitting(coil), Fitting::Needed(_)))
            .collect();
        assert_eq!(
            needed,
            [
                Coil::Powder,
                Coil::CarrierAir,
                Coil::Fuel,
                Coil::Oxygen,
                Coil::Watchdog,
                Coil::Supply
            ]
        );
    }
}
