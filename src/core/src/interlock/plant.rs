//! What the interlocks need to know of the rig.

use core::time::Duration;

use super::durations;
use super::figures::Figure;
use super::matrix::{ROWS, Watch};
use super::purge::PurgeAir;
use crate::image::{Analogue, Coil, Contact};
use crate::quantity::{Acceleration, Length, Range, Speed};
use crate::rig::{LitBy, Rig, SwingAway};

/// The rig as far as interlocks look at it.
#[derive(Debug, Clone)]
pub(super) struct Plant {
    /// How old a reading of the field I/O may be.
    pub(super) field_budget: Duration,
    /// How old the drive's reading may be.
    pub(super) drive_budget: Duration,
    /// How old the inverter's status may be.
    pub(super) inverter_budget: Duration,
    /// Gas pressures under this count as vented.
    pub(super) vented_below: f64,
    /// What counts as purge air.
    pub(super) purge_air: PurgeAir,
    /// Venting takes no longer than this; used where no transmitter shows it.
    pub(super) vents_within: Duration,
    /// The park of a rig without a job.
    pub(super) park: Length,
    /// How near counts as at the park.
    pub(super) park_tolerance: Length,
    /// Where the torch may travel.
    pub(super) travel: Range<Length>,
    /// Speed of jogging.
    pub(super) jog: Speed,
    /// Ramp of the carriage.
    pub(super) ramp: Acceleration,
    /// How the torch is lit.
    pub(super) lit_by: LitBy,
    /// Whether the torch can be swung away.
    pub(super) swings: bool,
    /// Whether the supply can be isolated by the controller.
    pub(super) isolates: bool,
    contacts: [bool; Contact::COUNT],
    analogues: [bool; Analogue::COUNT],
}

impl Plant {
    pub(super) fn new(rig: &Rig, figures: &[Figure]) -> Self {
        let silence = |watch: Watch, longest: Duration| {
            ROWS.iter()
                .zip(figures)
                .find(|(row, _)| row.watch == watch)
                .and_then(|(_, figure)| Duration::try_from_secs_f64(figure.set_point).ok())
                .unwrap_or(longest)
        };
        let field = silence(Watch::FieldSilent, durations::FIELD_SILENCE);
        let drive = silence(Watch::DriveSilent, durations::DRIVE_SILENCE);
        let mut contacts = [false; Contact::COUNT];
        for spec in rig.field.contacts.iter().filter(|spec| spec.input.is_some()) {
            if let Some(slot) = contacts.get_mut(spec.tag.index()) {
                *slot = true;
            }
        }
        let mut analogues = [false; Analogue::COUNT];
        for spec in rig.field.analogues.iter().filter(|spec| spec.register.is_some()) {
            if let Some(slot) = analogues.get_mut(spec.tag.index()) {
                *slot = true;
            }
        }
        let coil =
            |coil| rig.field.coils.iter().any(|spec| spec.coil == coil && spec.output.is_some());
        Self {
            field_budget: rig.field.age_budget.to_duration().min(field),
            drive_budget: rig.axis.age_budget.to_duration().min(drive),
            inverter_budget: rig.spindle.motor().age_budget.to_duration(),
            vented_below: rig.field.isolation.vented_below.bar(),
            purge_air: PurgeAir::of(rig),
            vents_within: rig.field.isolation.within.to_duration(),
            park: rig.axis.park,
            park_tolerance: rig.axis.park_tolerance,
            travel: rig.axis.travel,
            jog: rig.axis.jog,
            ramp: rig.axis.ramp,
            lit_by: rig.lit_by,
            swings: rig.field.swing_away == SwingAway::Fitted && coil(Coil::SwingAway),
            isolates: coil(Coil::Supply),
            contacts,
            analogues,
        }
    }

    /// Whether the rig has that contact.
    pub(super) fn has_contact(&self, tag: Contact) -> bool {
        self.contacts.get(tag.index()).copied().unwrap_or(false)
    }

    /// Whether the rig has that transmitter.
    pub(super) fn has_analogue(&self, tag: Analogue) -> bool {
        self.analogues.get(tag.index()).copied().unwrap_or(false)
    }
}
