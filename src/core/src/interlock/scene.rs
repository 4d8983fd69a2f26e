//! One scan as the interlocks see it: what is asked, what is seen, and what follows from both.

use core::fmt;
use core::time::Duration;

use super::plant::Plant;
use crate::image::{
    Analogue, AxisDemand, AxisReading, Contact, Inputs, Level, Referenced, SpindleReading, Travel,
};
use crate::interlock::Limits;
use crate::moment::Moment;
use crate::quantity::{Length, Speed};

/// Below this the carriage counts as at rest.
pub(super) const AT_REST: Speed = Speed::from_mm_per_s(0.5);
/// Below this the spindle counts as at rest, rpm.
pub(super) const SPINDLE_AT_REST: f64 = 1.0;

/// The contacts of one image, each known to be on, known to be off, or neither.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub(super) struct Contacts {
    on: u64,
    off: u64,
}

// One bit for each contact.
const _: () = assert!(Contact::COUNT <= 64);

impl Contacts {
    /// Reads them all once: each is looked at by several rows.
    pub(super) fn read(inputs: &Inputs, plant: &Plant) -> Self {
        let mut contacts = Self::default();
        for (place, signal) in inputs.contacts.iter().enumerate() {
            match signal.trusted(inputs.now, plant.field_budget) {
                Some(Level::On) => contacts.on |= 1 << place,
                Some(Level::Off) => contacts.off |= 1 << place,
                None => {}
            }
        }
        contacts
    }

    /// Whether it is known to be on.
    pub(super) const fn is_on(self, tag: Contact) -> bool {
        self.on & Self::bit(tag) != 0
    }

    /// Whether it is known to be off.
    pub(super) const fn is_off(self, tag: Contact) -> bool {
        self.off & Self::bit(tag) != 0
    }

    /// Whether it is known.
    pub(super) const fn is_known(self, tag: Contact) -> bool {
        self.is_on(tag) || self.is_off(tag)
    }

    const fn bit(tag: Contact) -> u64 {
        1 << tag.index()
    }
}

/// The facts of one scan. Everything that could not be trusted is absent.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(super) struct Scene {
    /// When.
    pub(super) now: Moment,
    /// Time since the scan before.
    pub(super) gap: Duration,
    /// The contacts.
    pub(super) contacts: Contacts,
    /// At least one contact of the module is known.
    pub(super) field_known: bool,
    /// A contact says that the module's cycle stands still.
    pub(super) field_frozen: bool,
    /// Fuel valve asked open.
    pub(super) fuel: bool,
    /// Oxygen valve asked open.
    pub(super) oxygen: bool,
    /// Gas supply asked open; where the controller can't isolate it, a valve asked open.
    pub(super) supply: bool,
    /// Feeder asked to run.
    pub(super) powder: bool,
    /// Flame known to be seen.
    pub(super) seen: bool,
    /// The flame sensor's reading is known.
    pub(super) flame_known: bool,
    /// Gas supply open, or open before and the pipe not seen to vent.
    pub(super) gas_present: bool,
    /// A flame was proved since fuel was opened.
    pub(super) burning: bool,
    /// A flame may burn.
    pub(super) heat: bool,
    /// Powder asked, or a gas valve with gas before it.
    pub(super) process: bool,
    /// Any energy asked or present.
    pub(super) energised: bool,
    /// The torch is being lit by hand as it should.
    pub(super) lit_by_hand: bool,
    /// The drive's reading.
    pub(super) axis: Option<AxisReading>,
    /// The carriage is asked anything but "off".
    pub(super) axis_asked: bool,
    /// The drive reports torque.
    pub(super) torque: bool,
    /// The travel asked.
    pub(super) travel: Option<Travel>,
    /// Homing is asked.
    pub(super) homing: bool,
    /// The carriage is known to move.
    pub(super) moving: bool,
    /// The torch is known to be clear of part, chuck and centre.
    pub(super) clear: bool,
    /// The torch is not known to be outside the part's own extent.
    pub(super) over_part: bool,
    /// The spindle's reading.
    pub(super) spindle: Option<SpindleReading>,
    /// The spindle speed asked, rpm.
    pub(super) spindle_asked: Option<f64>,
    /// How long fuel has been shut.
    pub(super) fuel_shut_for: Duration,
    /// How long oxygen has been shut.
    pub(super) oxygen_shut_for: Duration,
    /// How long fuel has been open.
    pub(super) fuel_open_for: Duration,
    /// Fuel has been open, and the flame sensor has not been dark since.
    pub(super) flame_unbroken: bool,
    /// Supply and fuel open long enough.
    pub(super) fuel_settled: bool,
    /// Supply and oxygen open long enough.
    pub(super) oxygen_settled: bool,
    /// Carrier air on long enough.
    pub(super) carrier_settled: bool,
    /// Watchdog asked to beat long enough.
    pub(super) beating: bool,
    /// Spindle reference unchanged long enough.
    pub(super) spindle_settled: bool,
    /// Lowest spindle reference of late, rpm.
    pub(super) spindle_low: Option<f64>,
    /// Highest spindle reference of late, rpm.
    pub(super) spindle_high: Option<f64>,
    /// Speed the carriage should have by now toward its end point, mm/s.
    pub(super) expected_speed: f64,
    /// Speed the carriage has toward its end point, mm/s.
    pub(super) speed_toward: f64,
    /// How long flame has rested over the part.
    pub(super) rested_for: Duration,
    /// Fuel pressure the torch is set to, bar.
    pub(super) fuel_set: Option<f64>,
    /// Oxygen pressure the torch is set to, bar.
    pub(super) oxygen_set: Option<f64>,
    /// Carrier pressure the torch is set to, bar.
    pub(super) carrier_set: Option<f64>,
    /// Loss in weight of the last window as a share of the first's.
    pub(super) feed_share: Option<f64>,
    /// Back-pressure with air alone, bar.
    pub(super) back_pressure_before: Option<f64>,
}

/// Where the torch was when a condition began, and which way it went.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Onset {
    place: Length,
    velocity: Speed,
}

impl Onset {
    /// Of the scene now; nothing where the position cannot be believed.
    pub(super) fn of(scene: &Scene) -> Option<Self> {
        let velocity = scene.axis?.velocity;
        position(scene.axis).map(|place| Self { place, velocity })
    }
}

/// "torch at 160.0 mm toward the chuck": measured from the chuck face; at rest without a way.
impl fmt::Display for Onset {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "torch at {:.1} mm", self.place.mm())?;
        match self.velocity {
            velocity if velocity.abs() < AT_REST => Ok(()),
            velocity if velocity.mm_per_s() < 0.0 => f.write_str(" toward the chuck"),
            _ => f.write_str(" toward the tail"),
        }
    }
}

/// Where the torch is, as far as it is known.
pub(super) struct Place {
    /// Clear of part, chuck and centre.
    pub(super) clear: bool,
    /// At the park.
    pub(super) parked: bool,
    /// Not known to be outside the part's own extent.
    pub(super) over_part: bool,
}

/// The value of a transmitter, if it can be trusted.
pub(super) fn value(inputs: &Inputs, tag: Analogue, plant: &Plant) -> Option<f64> {
    inputs.analogue(tag).trusted(inputs.now, plant.field_budget).filter(|value| value.is_finite())
}

/// The drive's reading, if it can be trusted.
pub(super) fn axis(inputs: &Inputs, plant: &Plant) -> Option<AxisReading> {
    inputs.axis.trusted(inputs.now, plant.drive_budget).filter(|axis| {
        axis.position.mm().is_finite()
            && axis.velocity.mm_per_s().is_finite()
            && axis.following_error.mm().is_finite()
    })
}

/// The tachometer's reading, if it can be trusted.
pub(super) fn spindle(inputs: &Inputs, plant: &Plant) -> Option<SpindleReading> {
    inputs
        .spindle
        .trusted(inputs.now, plant.field_budget)
        .filter(|spindle| spindle.measured.rpm().is_finite() && !spindle.missed_pulses.is_nan())
}

/// The travel that is asked.
pub(super) fn travel(demand: AxisDemand) -> Option<Travel> {
    match demand {
        AxisDemand::Travel(travel) => Some(travel),
        AxisDemand::Off | AxisDemand::QuickStop | AxisDemand::Still | AxisDemand::Home(_) => None,
    }
}

/// Position of the torch, if it can be believed.
pub(super) fn position(axis: Option<AxisReading>) -> Option<Length> {
    axis.filter(|axis| axis.referenced == Referenced::Yes).map(|axis| axis.position)
}

/// The park of the job in hand, or the rig's.
pub(super) fn park(limits: &Limits, plant: &Plant) -> Length {
    if limits.part.is_some() { limits.park } else { plant.park }
}

/// Where the torch is. Beyond the part counts as clear only on the park's side: on the other
/// there is the chuck or the centre.
pub(super) fn place(
    contacts: Contacts,
    axis: Option<AxisReading>,
    limits: &Limits,
    plant: &Plant,
) -> Place {
    let here = position(axis);
    let park = park(limits, plant);
    let near = is_near_park(here, limits, plant);
    let beyond = match (here, limits.part) {
        (Some(here), Some(part)) if park >= part.high => here >= part.high + limits.clear_by,
        (Some(here), Some(part)) if park <= part.low => here <= part.low - limits.clear_by,
        _ => false,
    };
    let switch = plant.has_contact(Contact::ParkSwitch)
        && contacts.is_on(Contact::ParkSwitch)
        && !contradicts_park(here, limits);
    let over_part = match (here, limits.part) {
        (Some(here), Some(part)) => part.contains(here),
        _ => true,
    };
    // A fitted switch that stays open where the position says "park" means that the position is
    // wrong: steps were lost, and nobody knows where the torch is.
    if near && plant.has_contact(Contact::ParkSwitch) && contacts.is_off(Contact::ParkSwitch) {
        return Place { clear: false, parked: false, over_part: true };
    }
    let parked = near || switch;
    Place { clear: parked || beyond, parked, over_part: over_part && !parked }
}

/// Whether a position is the park's.
pub(super) fn is_near_park(here: Option<Length>, limits: &Limits, plant: &Plant) -> bool {
    here.is_some_and(|here| (here - park(limits, plant)).abs() <= plant.park_tolerance)
}

/// Whether a position lies over the part, so that no park switch can be right.
pub(super) fn contradicts_park(here: Option<Length>, limits: &Limits) -> bool {
    match (here, limits.part) {
        (Some(here), Some(part)) => {
            here > part.low - limits.clear_by && here < part.high + limits.clear_by
        }
        _ => false,
    }
}

/// Whether a level asked is on.
pub(super) const fn on(level: Level) -> bool {
    level.is_on()
}
