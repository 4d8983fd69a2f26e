//! Whether a row is armed, and whether what it watches is so.

use super::judge_carriage::carriage;
use super::matrix::{Arming, FUEL_LIMIT, Reference, Watch};
use super::plant::Plant;
use super::scene::{self, SPINDLE_AT_REST, Scene};
use super::{Limits, durations};
use crate::image::{Analogue, Contact, Inputs};
use crate::quantity::Time;

/// Spray window in force where the step gives none, degC (self-fluxing alloys on steel, common
/// practice).
const OWN_SPRAY_LOW: f64 = 200.0;
/// As above.
const OWN_SPRAY_HIGH: f64 = 350.0;
/// Fusing ceiling in force where the step gives none, degC (2200 degF, a job shop's figure).
const OWN_FUSE_CEILING: f64 = 1204.0;
/// A back-pressure is no higher than before by less than this, bar (arbitrary).
const LEAST_RISE: f64 = 0.1;

/// What became of one look.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Finding {
    /// It is known to be as it should.
    Clear,
    /// It is not.
    Present,
    /// Another row judges this now: the transmitter's, or that of the silent module.
    Inhibited,
}

impl Finding {
    /// Present when it is so.
    pub(super) const fn of(is_so: bool) -> Self {
        if is_so { Self::Present } else { Self::Clear }
    }
}

/// What a row is judged from.
pub(super) struct View<'a> {
    /// The facts.
    pub(super) scene: &'a Scene,
    /// The image.
    pub(super) inputs: &'a Inputs,
    /// The step's limits.
    pub(super) limits: &'a Limits,
    /// The rig.
    pub(super) plant: &'a Plant,
}

/// Whether the row counts now.
pub(super) fn armed(arming: Arming, view: &View<'_>) -> bool {
    let scene = view.scene;
    match arming {
        Arming::Always => true,
        Arming::Energised => scene.energised,
        Arming::GuardNeeded => scene.energised && !scene.lit_by_hand,
        Arming::GasPresent => scene.gas_present,
        Arming::Process => scene.process,
        Arming::SupplyOpen => scene.supply,
        Arming::FuelSettled => scene.fuel_settled,
        Arming::OxygenSettled => scene.oxygen_settled,
        Arming::CarrierSettled => scene.carrier_settled && (scene.powder || scene.fuel),
        Arming::Burning => scene.burning,
        Arming::Lighting => scene.fuel && scene.gas_present && !scene.burning,
        Arming::Powder => scene.powder,
        Arming::PowderOverPart => scene.powder && scene.over_part,
        Arming::FlameOverPart => scene.heat && !scene.clear,
        Arming::SprayHeat => {
            scene.powder || (scene.heat && !scene.clear && view.limits.spray_window.is_some())
        }
        Arming::FuseHeat => scene.heat && !scene.clear && view.limits.spray_window.is_none(),
        Arming::Fusing => scene.heat && !scene.clear && view.limits.fuse_ceiling.is_some(),
        Arming::SpindleSettled => {
            scene.spindle_settled && (scene.powder || (scene.heat && !scene.clear))
        }
        Arming::SpindleNeeded => scene.process || scene.spindle_asked.is_some(),
        Arming::DriveNeeded => scene.process || scene.axis_asked || scene.torque,
        Arming::Travelling => scene.travel.is_some() || scene.homing,
        Arming::WorkingMotion => {
            scene.process
                || scene.homing
                || scene.travel.is_some_and(|travel| travel.at.abs() > view.plant.jog)
        }
        Arming::WatchdogBeating => scene.beating && scene.energised,
    }
}

/// Whether what a row watches is so, whatever is armed.
pub(super) fn find(watch: Watch, set_point: f64, view: &View<'_>) -> Finding {
    match watch {
        Watch::Open(tag) => open(tag, view),
        Watch::Pressed(tag) | Watch::PressedOr(tag, _) => {
            Finding::of(view.scene.contacts.is_on(tag))
        }
        Watch::Person(_) => Finding::Clear,
        Watch::Failed(tag) => failed(tag, view),
        Watch::Below(tag, reference) => {
            compare(tag, reference, set_point, view, |value, floor| value < floor)
        }
        Watch::Above(tag, reference) => {
            compare(tag, reference, set_point, view, |value, ceiling| value > ceiling)
        }
        Watch::NoFlame
        | Watch::FlameFromNothing
        | Watch::FlameRemains
        | Watch::TrialOver
        | Watch::FuelNotShut
        | Watch::OxygenNotShut
        | Watch::FuelShutContradicts => flame(watch, set_point, view),
        Watch::DriveSilent
        | Watch::DriveFault
        | Watch::DriveUnknown
        | Watch::FollowingError
        | Watch::Crawl
        | Watch::LimitTowardChuck
        | Watch::LimitTowardTail
        | Watch::OutsideTravel
        | Watch::OutsideTravelLit
        | Watch::TorqueContradicts
        | Watch::ParkContradicts
        | Watch::CarriageStill
        | Watch::FlameRests => carriage(watch, set_point, view),
        Watch::MissedPulses
        | Watch::SpindleSlow
        | Watch::TachometerSilent
        | Watch::Overspeed
        | Watch::SpeedError
        | Watch::InverterNotOk => spindle(watch, set_point, view),
        Watch::FeedFalls
        | Watch::FeedPulses
        | Watch::HoseBlocked
        | Watch::FieldSilent
        | Watch::FieldFrozen
        | Watch::RelayDropped
        | Watch::ScanGap => others(watch, set_point, view),
    }
}

/// A healthy contact: anything but known to be closed is open. A contact the rig does not have
/// reads what the rig file says it reads.
pub(super) fn open(tag: Contact, view: &View<'_>) -> Finding {
    if view.scene.contacts.is_on(tag) {
        Finding::Clear
    } else if view.scene.field_known {
        Finding::Present
    } else {
        Finding::Inhibited
    }
}

fn failed(tag: Analogue, view: &View<'_>) -> Finding {
    let fitted = view.plant.has_analogue(tag);
    if !fitted || scene::value(view.inputs, tag, view.plant).is_some() {
        Finding::Clear
    } else if view.scene.field_known {
        Finding::Present
    } else {
        Finding::Inhibited
    }
}

fn compare(
    tag: Analogue,
    reference: Reference,
    set_point: f64,
    view: &View<'_>,
    is_bad: fn(f64, f64) -> bool,
) -> Finding {
    if !view.plant.has_analogue(tag) {
        return Finding::Clear;
    }
    let Some(value) = scene::value(view.inputs, tag, view.plant) else {
        return Finding::Inhibited;
    };
    match threshold(reference, set_point, view.scene, view.limits) {
        Some(threshold) => Finding::of(is_bad(value, threshold)),
        // A valve open without a figure to compare with counts as unsafe.
        None => Finding::Present,
    }
}

/// The figure a value is compared with, in the unit of the value.
pub(super) fn threshold(
    reference: Reference,
    set_point: f64,
    scene: &Scene,
    limits: &Limits,
) -> Option<f64> {
    let share = |set: Option<f64>| set.map(|set| set * set_point / 100.0);
    match reference {
        Reference::Own => Some(set_point),
        Reference::FuelPressure => share(scene.fuel_set),
        Reference::FuelLimit => Some(match limits.fuel_pressure_limit {
            Some(given) if set_point < FUEL_LIMIT => given.bar().min(set_point),
            Some(given) => given.bar(),
            None => set_point,
        }),
        Reference::OxygenPressure => share(scene.oxygen_set),
        Reference::CarrierPressure => share(scene.carrier_set),
        Reference::SprayLow => {
            let low = limits.spray_window.map_or(OWN_SPRAY_LOW, |window| window.low.celsius());
            Some(low + set_point)
        }
        Reference::SprayHigh => {
            let high = limits.spray_window.map_or(OWN_SPRAY_HIGH, |window| window.high.celsius());
            Some(high + set_point)
        }
        Reference::FuseCeiling => {
            let ceiling = limits.fuse_ceiling.map_or(OWN_FUSE_CEILING, |c| c.celsius());
            Some(ceiling + set_point)
        }
    }
}

/// The trial time in force, s.
pub(super) fn trial(limits: &Limits) -> f64 {
    let own = durations::FUEL_UNLIT_AT_LIGHTING.as_secs_f64();
    limits.trial.map_or(own, Time::s).min(durations::LONGEST_TRIAL.as_secs_f64())
}

/// The longest rest of a flame in force, s: the row's, or the plan's where that is shorter.
pub(super) fn longest_rest(limits: &Limits, set_point: f64) -> f64 {
    limits.longest_rest.map_or(set_point, |given| given.s().min(set_point))
}

fn flame(watch: Watch, set_point: f64, view: &View<'_>) -> Finding {
    let scene = view.scene;
    let not_proved = |tag: Contact, asked_open: bool| {
        if asked_open { Finding::Clear } else { open(tag, view) }
    };
    match watch {
        Watch::NoFlame if scene.seen => Finding::Clear,
        Watch::NoFlame if scene.field_known => Finding::Present,
        Watch::NoFlame => Finding::Inhibited,
        Watch::FlameFromNothing => Finding::of(scene.seen && !scene.fuel && !scene.flame_unbroken),
        Watch::FlameRemains => Finding::of(
            scene.seen
                && !scene.fuel
                && scene.flame_unbroken
                && scene.fuel_shut_for.as_secs_f64() >= set_point,
        ),
        Watch::TrialOver => {
            let open_for = scene.fuel_open_for.as_secs_f64();
            Finding::of(!scene.seen && open_for >= trial(view.limits) + set_point)
        }
        Watch::FuelNotShut => not_proved(Contact::FuelShut, scene.fuel),
        Watch::OxygenNotShut => not_proved(Contact::OxygenShut, scene.oxygen),
        Watch::FuelShutContradicts => {
            let says_shut = view.plant.has_contact(Contact::FuelShut)
                && view.scene.contacts.is_on(Contact::FuelShut);
            Finding::of(scene.fuel && says_shut)
        }
        _ => Finding::Clear,
    }
}

fn spindle(watch: Watch, set_point: f64, view: &View<'_>) -> Finding {
    let scene = view.scene;
    if watch == Watch::InverterNotOk {
        let ok = view.inputs.inverter_ok.trusted(scene.now, view.plant.inverter_budget);
        return Finding::of(!ok.is_some_and(scene::on));
    }
    let Some(reading) = scene.spindle else {
        return match watch {
            Watch::TachometerSilent if scene.field_known => Finding::Present,
            _ => Finding::Inhibited,
        };
    };
    let measured = reading.measured.rpm();
    match watch {
        Watch::MissedPulses => {
            Finding::of(reading.missed_pulses >= set_point || measured <= SPINDLE_AT_REST)
        }
        Watch::SpindleSlow => Finding::of(
            scene.spindle_low.is_some_and(|reference| measured < reference * set_point / 100.0),
        ),
        Watch::Overspeed => Finding::of(
            scene.spindle_high.is_some_and(|reference| measured > reference * set_point / 100.0),
        ),
        Watch::SpeedError => {
            Finding::of(scene.spindle_low.is_some_and(|reference| {
                (measured - reference).abs() > reference * set_point / 100.0
            }))
        }
        _ => Finding::Clear,
    }
}

fn others(watch: Watch, set_point: f64, view: &View<'_>) -> Finding {
    let scene = view.scene;
    match watch {
        Watch::FeedFalls => {
            Finding::of(scene.feed_share.is_some_and(|share| share * 100.0 < set_point))
        }
        Watch::FeedPulses => Finding::of(
            scene.feed_share.is_some_and(|share| (share - 1.0).abs() * 100.0 > set_point),
        ),
        Watch::HoseBlocked => blocked(set_point, view),
        Watch::FieldSilent => Finding::of(!scene.field_known && !scene.field_frozen),
        Watch::FieldFrozen => Finding::of(scene.field_frozen),
        Watch::RelayDropped => {
            if scene.beating {
                open(Contact::WatchdogRelay, view)
            } else {
                Finding::Clear
            }
        }
        Watch::ScanGap => Finding::of(scene.gap.as_secs_f64() > set_point),
        _ => Finding::Clear,
    }
}

fn blocked(set_point: f64, view: &View<'_>) -> Finding {
    let tag = Analogue::BackPressure;
    if !view.plant.has_analogue(tag) {
        return Finding::Clear;
    }
    match (scene::value(view.inputs, tag, view.plant), view.scene.back_pressure_before) {
        (None, _) => Finding::Inhibited,
        (Some(_), None) => Finding::Clear,
        (Some(value), Some(before)) => {
            let rise = (before * set_point / 100.0).max(LEAST_RISE);
            Finding::of(value > before + rise)
        }
    }
}
