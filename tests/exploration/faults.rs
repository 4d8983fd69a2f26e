//! Everything that can be read wrongly or go wrong, in classes: each contact in the wrong sense,
//! failed and stale; each transmitter failed, stale and beyond each figure that a row of the
//! matrix compares it with; each device silent or in fault; what the machine itself may do.

use std::collections::BTreeMap;
use std::time::Duration;

use evenpass_core::image::{Analogue, Contact};
use evenpass_core::interlock::matrix::{self, AirEffect, Reference, ResetRule, Row, Watch, rows};
use evenpass_core::interlock::{CarriageEffect, Class, SpindleEffect, Veto};
use evenpass_core::program::{Program, Step};
use evenpass_core::rig::Rig;

/// What is not heard of counts as stale after this, and a scan or two.
const NOTICED_WITHIN: Duration = Duration::from_millis(400);

/// How a contact is bad.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) enum Bad {
    /// It reads the opposite of what is so.
    Wrong,
    /// It is known as failed.
    Failed,
    /// It is not heard of any more.
    Stale,
}

/// How a transmitter is bad.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) enum Off {
    /// It is known as failed.
    Failed,
    /// It is not heard of any more.
    Stale,
    /// It reads this, in thousandths of its unit.
    Reads(i64),
}

/// What can go wrong and stay so.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) enum Fault {
    Contact(Contact, Bad),
    Analogue(Analogue, Off),
    /// The drive does not answer; it stops by itself.
    DriveSilent,
    /// The drive has gone into fault; after it is mended a reset must clear it.
    DriveTripped,
    /// Its status word matches no state.
    DriveUnknown,
    /// The screw turns and the carriage does not follow.
    NotFollowing,
    /// The carriage stands whatever is asked.
    CarriageStuck,
    /// The spindle stands at once.
    SpindleStopped,
    /// It turns at this share of its speed, per cent.
    SpindleAt(u16),
    /// The tachometer is not heard of.
    TachometerStale,
    /// The tachometer is known as failed.
    TachometerFailed,
    /// The inverter is in fault or its run latch open.
    Inverter,
    /// The inverter is not heard of.
    InverterStale,
    /// No contact and no transmitter is heard of; the module shuts its outputs.
    FieldSilent,
    /// The whole line: the module and the inverter.
    FieldLineDown,
    /// The module answers with a cycle counter that stands still.
    FieldFrozen,
    /// The flame is out, and gas that flows is not lit by anything.
    NoFlame,
    /// The gas does not leave the pipe.
    Unvented,
    /// The fan stands: nothing is extracted, whatever is asked.
    ExtractionFails,
    /// The hopper loses no more weight while the feeder runs.
    FeedFails,
    /// The hose pushes back.
    HoseBlocked,
}

/// A fault, and which others it stands for.
#[derive(Debug, Clone)]
pub(crate) struct Kind {
    pub(crate) fault: Fault,
    /// Faults of one family make the same demands and are read by the sequence alike; `None` for
    /// those that demand nothing at all.
    pub(crate) family: Option<u8>,
    /// Whether it is the first of its family in the list.
    pub(crate) leads: bool,
    /// The same by what its tripping rows alone take away: all that counts once a trip is latched.
    pub(crate) trips: Option<u8>,
    pub(crate) leads_trips: bool,
    /// How long it must last until its slowest row has counted; zero when it has none.
    pub(crate) delay: Duration,
}

impl Kind {
    /// The contact whose health that row judges, if it is this fault's: a trip by it may not be
    /// reset while the contact is not seen closed.
    pub(crate) fn health_judged_by(&self, row: &str) -> Option<Contact> {
        let Fault::Contact(tag, _) = self.fault else { return None };
        let judges = matrix::row(row)
            .is_some_and(|row| row.reset != ResetRule::AtRest && row.watch == Watch::Open(tag));
        judges.then_some(tag)
    }
}

/// Contacts that are buttons or tell what is so, and not that something is healthy.
pub(crate) const AT_REST: [Contact; 11] = [
    Contact::Flame,
    Contact::EnablingKey,
    Contact::StartButton,
    Contact::ResetButton,
    Contact::AcceptButton,
    Contact::WetButton,
    Contact::BadFlameButton,
    Contact::CoatLiftingButton,
    Contact::HoldToRun,
    Contact::FuelShut,
    Contact::OxygenShut,
];

/// What the sequence reads by itself, so that it matters beyond the interlocks.
const READ_BY_THE_SEQUENCE: [Contact; 4] =
    [Contact::Extraction, Contact::EnablingKey, Contact::HoldToRun, Contact::AcceptButton];

/// All of them, for one rig and job.
pub(crate) fn kinds(rig: &Rig, program: &Program) -> Vec<Kind> {
    let mut faults = Vec::new();
    for tag in Contact::ALL {
        for bad in [Bad::Wrong, Bad::Failed, Bad::Stale] {
            faults.push(Fault::Contact(*tag, bad));
        }
    }
    for tag in Analogue::ALL {
        faults.extend([Off::Failed, Off::Stale].map(|off| Fault::Analogue(*tag, off)));
    }
    faults.extend(beyond_each_figure(program));
    faults.extend([
        Fault::DriveSilent,
        Fault::DriveTripped,
        Fault::DriveUnknown,
        Fault::NotFollowing,
        Fault::CarriageStuck,
        Fault::SpindleStopped,
        Fault::SpindleAt(40),
        Fault::SpindleAt(80),
        Fault::SpindleAt(93),
        Fault::SpindleAt(130),
        Fault::TachometerStale,
        Fault::TachometerFailed,
        Fault::Inverter,
        Fault::InverterStale,
        Fault::FieldSilent,
        Fault::FieldLineDown,
        Fault::FieldFrozen,
        Fault::NoFlame,
        Fault::Unvented,
        Fault::ExtractionFails,
        Fault::FeedFails,
        Fault::HoseBlocked,
    ]);
    let fitted = |tag: Contact| {
        rig.field.contacts.iter().any(|spec| spec.tag == tag && spec.input.is_some())
    };
    faults.retain(|fault| !matches!(fault, Fault::Contact(tag, _) if !fitted(*tag)));
    let (mut families, mut trips) = (Families::default(), Families::default());
    faults
        .into_iter()
        .map(|fault| {
            let rows: Vec<&'static Row> =
                rows().filter(|row| is_for(row, fault, program)).collect();
            let (family, leads) = families.take(signature(fault, &rows));
            let (trips, leads_trips) = trips.take(demands(&rows, Class::Trip));
            // On top: until what is stale is taken for that, and a scan or two.
            let slowest = rows.iter().map(|row| row.delay).max();
            let delay = slowest.map_or(Duration::ZERO, |slowest| slowest + NOTICED_WITHIN);
            Kind { delay, fault, family, leads, trips, leads_trips }
        })
        .collect()
}

/// Numbers for what is told apart, in the order it came.
#[derive(Default)]
struct Families(BTreeMap<String, u8>);

impl Families {
    /// The number of a signature, and whether it is new.
    fn take(&mut self, signature: Option<String>) -> (Option<u8>, bool) {
        let before = self.0.len();
        let number = signature.map(|signature| {
            *self.0.entry(signature).or_insert(u8::try_from(before).expect("few families"))
        });
        (number, self.0.len() > before)
    }
}

/// For every row that compares a transmitter with a figure, a reading just beyond it.
fn beyond_each_figure(program: &Program) -> Vec<Fault> {
    let reading = |value: f64| {
        #[expect(clippy::cast_possible_truncation, reason = "readings are far smaller")]
        let thousandths = (value * 1e3).round() as i64;
        Off::Reads(thousandths)
    };
    rows()
        .filter_map(|row| match row.watch {
            Watch::Below(tag, of) => {
                Some(Fault::Analogue(tag, reading(figure(row, of, program) * 0.99 - 0.01)))
            }
            Watch::Above(tag, of) => {
                Some(Fault::Analogue(tag, reading(figure(row, of, program) * 1.01 + 0.01)))
            }
            _ => None,
        })
        .collect()
}

/// The figure a row compares with, for this job.
fn figure(row: &Row, of: Reference, program: &Program) -> f64 {
    let set = row.set_point.map_or(0.0, |set| set.value);
    let torch = &program.torches[0];
    let share = |bar: f64| bar * set / 100.0;
    let spray = program.steps.iter().find_map(|step| match step {
        Step::Spray(step) => Some(step.window),
        _ => None,
    });
    let ceiling = program.steps.iter().find_map(|step| match step {
        Step::Fuse(step) => Some(step.ceiling),
        _ => None,
    });
    let (spray, ceiling) = (spray.expect("it sprays"), ceiling.expect("it fuses"));
    match of {
        Reference::Own => set,
        Reference::FuelPressure => share(torch.fuel_pressure.bar()),
        Reference::FuelLimit => torch.fuel_pressure_limit.bar(),
        Reference::OxygenPressure => share(torch.oxygen_pressure.bar()),
        Reference::CarrierPressure => share(torch.carrier_pressure.bar()),
        Reference::SprayLow => spray.low.celsius() + set,
        Reference::SprayHigh => spray.high.celsius() + set,
        Reference::FuseCeiling => ceiling.celsius() + set,
    }
}

/// Whether a row may be confirmed by a fault.
#[expect(clippy::cast_precision_loss, reason = "readings are far smaller")]
fn is_for(row: &Row, fault: Fault, program: &Program) -> bool {
    match (row.watch, fault) {
        (
            Watch::Open(tag) | Watch::PressedOr(tag, _) | Watch::Pressed(tag),
            Fault::Contact(of, _),
        ) => tag == of,
        (Watch::NoFlame, Fault::Contact(Contact::Flame, _) | Fault::NoFlame)
        | (
            Watch::FlameFromNothing | Watch::FlameRemains,
            Fault::Contact(Contact::Flame, Bad::Wrong),
        )
        | (Watch::TrialOver, Fault::NoFlame)
        | (Watch::FuelNotShut | Watch::FuelShutContradicts, Fault::Contact(Contact::FuelShut, _))
        | (Watch::OxygenNotShut, Fault::Contact(Contact::OxygenShut, _))
        | (Watch::RelayDropped, Fault::Contact(Contact::WatchdogRelay, _))
        | (Watch::LimitTowardChuck, Fault::Contact(Contact::LimitMinus, _))
        | (Watch::LimitTowardTail, Fault::Contact(Contact::LimitPlus, _))
        | (Watch::ParkContradicts, Fault::Contact(Contact::ParkSwitch, Bad::Wrong))
        | (
            Watch::TorqueContradicts,
            Fault::Contact(Contact::TorqueAllowed | Contact::EmergencyStop, _),
        )
        | (Watch::DriveSilent, Fault::DriveSilent)
        | (Watch::DriveFault, Fault::DriveTripped)
        | (Watch::DriveUnknown, Fault::DriveUnknown)
        | (Watch::FollowingError, Fault::NotFollowing)
        | (Watch::Crawl | Watch::CarriageStill | Watch::FlameRests, Fault::CarriageStuck)
        | (Watch::MissedPulses, Fault::SpindleStopped)
        | (Watch::SpindleSlow, Fault::SpindleStopped | Fault::SpindleAt(40))
        | (Watch::Overspeed, Fault::SpindleAt(130))
        | (Watch::SpeedError, Fault::SpindleAt(_) | Fault::SpindleStopped)
        | (Watch::TachometerSilent, Fault::TachometerStale | Fault::TachometerFailed)
        | (Watch::InverterNotOk, Fault::Inverter | Fault::InverterStale | Fault::FieldLineDown)
        | (Watch::FieldSilent, Fault::FieldSilent | Fault::FieldLineDown)
        | (Watch::FieldFrozen, Fault::FieldFrozen)
        | (Watch::FeedFalls | Watch::FeedPulses, Fault::FeedFails)
        | (Watch::HoseBlocked, Fault::HoseBlocked) => true,
        (Watch::Open(Contact::Extraction), Fault::ExtractionFails) => true,
        (Watch::Below(Analogue::ExtractionFlow, _), Fault::ExtractionFails) => true,
        (Watch::Failed(tag), Fault::Analogue(of, Off::Failed | Off::Stale)) => tag == of,
        (Watch::Below(tag, reference), Fault::Analogue(of, Off::Reads(value))) => {
            tag == of && (value as f64 * 1e-3) < figure(row, reference, program)
        }
        (Watch::Above(tag, reference), Fault::Analogue(of, Off::Reads(value))) => {
            tag == of && value as f64 * 1e-3 > figure(row, reference, program)
        }
        _ => false,
    }
}

/// What one row takes away, comparable.
type Effects = (Class, ResetRule, [bool; 6], AirEffect, CarriageEffect, SpindleEffect);

fn effects(row: &Row) -> Effects {
    let of = row.effects;
    let vetoes = [of.powder, of.fuel, of.oxygen, of.supply, of.cooling, of.watchdog];
    let vetoes = vetoes.map(|veto| veto == Veto::Imposed);
    (row.class, row.reset, vetoes, of.air, of.carriage, of.spindle)
}

/// What makes faults of one family; `None` for those without any consequence.
///
/// What only the interlocks look at is told apart by what its rows demand; what the sequence or the
/// plant goes by as well is told apart by itself.
fn signature(fault: Fault, rows: &[&'static Row]) -> Option<String> {
    let read = match fault {
        Fault::Contact(tag @ (Contact::Guard | Contact::Flame), bad) => {
            format!("{tag:?} {}", if bad == Bad::Wrong { "wrong" } else { "unknown" })
        }
        Fault::Contact(tag, _) if READ_BY_THE_SEQUENCE.contains(&tag) => format!("{tag:?}"),
        Fault::Analogue(
            tag @ (Analogue::PartTemperature | Analogue::FuseTemperature),
            Off::Reads(_),
        ) => format!("{tag:?}"),
        Fault::Analogue(
            Analogue::FuelPressure | Analogue::OxygenPressure,
            Off::Failed | Off::Stale,
        ) => "pressure unknown".to_owned(),
        Fault::DriveSilent
        | Fault::DriveTripped
        | Fault::CarriageStuck
        | Fault::SpindleStopped
        | Fault::FieldSilent
        | Fault::FieldLineDown
        | Fault::NoFlame
        | Fault::Unvented
        | Fault::ExtractionFails => format!("{fault:?}"),
        Fault::SpindleAt(_) => "spindle speed".to_owned(),
        Fault::TachometerFailed | Fault::TachometerStale => "tachometer".to_owned(),
        _ => String::new(),
    };
    let demands = demands(rows, Class::Hold);
    (demands.is_some() || !read.is_empty()).then(|| format!("{read} {demands:?}"))
}

/// What rows of a class and above demand together; `None` when there are none.
fn demands(rows: &[&'static Row], least: Class) -> Option<String> {
    let mut demands: Vec<Effects> =
        rows.iter().filter(|row| row.class >= least).map(|row| effects(row)).collect();
    demands.sort_by_key(|effects| format!("{effects:?}"));
    demands.dedup();
    (!demands.is_empty()).then(|| format!("{demands:?}"))
}
