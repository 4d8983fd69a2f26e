//! Whether a row is armed, and whether what it watches is so.

use core::time::Duration;

use super::matrix::{Arming, FUEL_LIMIT, Reference, Row, Watch};
use super::plant::Plant;
use super::scene::{self, SPINDLE_AT_REST, Scene};
use super::{Limits, durations};
use crate::cia402::PowerState;
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
/// Under this expected speed a carriage is not judged, mm/s (arbitrary).
const LEAST_SPEED: f64 = 0.5;
/// A travel is outside its bounds by more than this, mm (arbitrary).
const BOUND_TOLERANCE: f64 = 0.01;

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
    const fn of(is_so: bool) -> Self {
        if is_so { Self::Present } else { Self::Clear }
    }
}

/// What a row is judged from.
pub(super) struct Bench<'a> {
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
pub(super) fn armed(arming: Arming, bench: &Bench<'_>) -> bool {
    let scene = bench.scene;
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
        Arming::Lighting => scene.fuel && !scene.burning,
        Arming::Powder => scene.powder,
        Arming::PowderOverPart => scene.powder && scene.over_part,
        Arming::FlameOverPart => scene.heat && !scene.clear,
        Arming::SprayHeat => {
            scene.powder || (scene.heat && !scene.clear && bench.limits.spray_window.is_some())
        }
        Arming::FuseHeat => scene.heat && !scene.clear && bench.limits.spray_window.is_none(),
        Arming::Fusing => scene.heat && !scene.clear && bench.limits.fuse_ceiling.is_some(),
        Arming::SpindleSettled => {
            scene.spindle_settled && (scene.powder || (scene.heat && !scene.clear))
        }
        Arming::SpindleNeeded => scene.process || scene.spindle_asked.is_some(),
        Arming::DriveNeeded => scene.process || scene.axis_asked || scene.torque,
        Arming::Travelling => scene.travel.is_some() || scene.homing,
        Arming::WorkingMotion => {
            scene.process || scene.travel.is_some_and(|travel| travel.at.abs() > bench.plant.jog)
        }
        Arming::WatchdogBeating => scene.beating && scene.energised,
    }
}

/// Whether what the row watches is so, whatever is armed.
pub(super) fn find(row: &Row, set_point: f64, bench: &Bench<'_>) -> Finding {
    match row.watch {
        Watch::Open(tag) => open(tag, bench),
        Watch::Pressed(tag) | Watch::PressedOr(tag, _) => {
            Finding::of(bench.inputs.is_on(tag, bench.plant.field_budget))
        }
        Watch::Person(_) => Finding::Clear,
        Watch::Failed(tag) => failed(tag, bench),
        Watch::Below(tag, reference) => {
            compare(tag, reference, set_point, bench, |value, floor| value < floor)
        }
        Watch::Above(tag, reference) => {
            compare(tag, reference, set_point, bench, |value, ceiling| value > ceiling)
        }
        Watch::NoFlame
        | Watch::FlameFromNothing
        | Watch::FlameRemains
        | Watch::TrialOver
        | Watch::FuelNotShut
        | Watch::OxygenNotShut
        | Watch::FuelShutContradicts => flame(row.watch, set_point, bench),
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
        | Watch::FlameRests => carriage(row.watch, set_point, bench),
        Watch::MissedPulses
        | Watch::SpindleSlow
        | Watch::TachometerSilent
        | Watch::Overspeed
        | Watch::SpeedError
        | Watch::InverterNotOk => spindle(row.watch, set_point, bench),
        Watch::FeedFalls
        | Watch::FeedPulses
        | Watch::HoseBlocked
        | Watch::FieldSilent
        | Watch::FieldFrozen
        | Watch::RelayDropped
        | Watch::ScanGap => others(row.watch, set_point, bench),
    }
}

/// A healthy contact: anything but known to be closed is open. A contact the rig does not have
/// reads what the rig file says it reads.
fn open(tag: Contact, bench: &Bench<'_>) -> Finding {
    if bench.inputs.is_on(tag, bench.plant.field_budget) {
        Finding::Clear
    } else if bench.scene.field_known {
        Finding::Present
    } else {
        Finding::Inhibited
    }
}

fn failed(tag: Analogue, bench: &Bench<'_>) -> Finding {
    let fitted = bench.plant.has_analogue(tag);
    if !fitted || scene::value(bench.inputs, tag, bench.plant).is_some() {
        Finding::Clear
    } else if bench.scene.field_known {
        Finding::Present
    } else {
        Finding::Inhibited
    }
}

fn compare(
    tag: Analogue,
    reference: Reference,
    set_point: f64,
    bench: &Bench<'_>,
    is_bad: fn(f64, f64) -> bool,
) -> Finding {
    if !bench.plant.has_analogue(tag) {
        return Finding::Clear;
    }
    let Some(value) = scene::value(bench.inputs, tag, bench.plant) else {
        return Finding::Inhibited;
    };
    match threshold(reference, set_point, bench.scene, bench.limits) {
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

/// The trial time in force.
pub(super) fn trial(limits: &Limits) -> Duration {
    limits
        .trial
        .map_or(durations::FUEL_UNLIT_AT_LIGHTING, Time::to_duration)
        .min(durations::LONGEST_TRIAL)
}

/// The longest rest of a flame in force.
pub(super) fn longest_rest(limits: &Limits, set_point: f64) -> Duration {
    let own = Duration::try_from_secs_f64(set_point).unwrap_or(durations::FLAME_AT_REST);
    let tightened = own < durations::FLAME_AT_REST;
    match limits.longest_rest {
        None => own,
        Some(given) if tightened => given.to_duration().min(own),
        Some(given) => given.to_duration().min(durations::LONGEST_FLAME_AT_REST),
    }
}

fn flame(watch: Watch, set_point: f64, bench: &Bench<'_>) -> Finding {
    let scene = bench.scene;
    let span = Duration::try_from_secs_f64(set_point).unwrap_or(Duration::ZERO);
    let not_proved = |tag: Contact, asked_open: bool| {
        if asked_open { Finding::Clear } else { open(tag, bench) }
    };
    match watch {
        Watch::NoFlame if scene.seen => Finding::Clear,
        Watch::NoFlame if scene.field_known => Finding::Present,
        Watch::NoFlame => Finding::Inhibited,
        Watch::FlameFromNothing => Finding::of(scene.seen && !scene.fuel && !scene.flame_unbroken),
        Watch::FlameRemains => Finding::of(
            scene.seen && !scene.fuel && scene.flame_unbroken && scene.fuel_shut_for >= span,
        ),
        Watch::TrialOver => {
            Finding::of(!scene.seen && scene.fuel_open_for >= trial(bench.limits) + span)
        }
        Watch::FuelNotShut => not_proved(Contact::FuelShut, scene.fuel),
        Watch::OxygenNotShut => not_proved(Contact::OxygenShut, scene.oxygen),
        Watch::FuelShutContradicts => {
            let says_shut = bench.plant.has_contact(Contact::FuelShut)
                && bench.inputs.is_on(Contact::FuelShut, bench.plant.field_budget);
            Finding::of(scene.fuel && says_shut)
        }
        _ => Finding::Clear,
    }
}

fn carriage(watch: Watch, set_point: f64, bench: &Bench<'_>) -> Finding {
    let scene = bench.scene;
    let Some(axis) = scene.axis else {
        return match watch {
            Watch::DriveSilent => Finding::Present,
            // What is not known to move rests.
            Watch::CarriageStill => Finding::Present,
            Watch::FlameRests => rests(set_point, bench),
            Watch::TorqueContradicts => torque(None, bench),
            Watch::LimitTowardChuck => limit(Contact::LimitMinus, None, bench),
            Watch::LimitTowardTail => limit(Contact::LimitPlus, None, bench),
            _ => Finding::Inhibited,
        };
    };
    match watch {
        Watch::DriveFault => {
            Finding::of(matches!(axis.power, PowerState::Fault | PowerState::FaultReactionActive))
        }
        Watch::DriveUnknown => Finding::of(axis.power == PowerState::Unknown),
        Watch::FollowingError => Finding::of(axis.following_error.abs().mm() > set_point),
        Watch::Crawl => Finding::of(
            scene.expected_speed >= LEAST_SPEED
                && scene.speed_toward < scene.expected_speed * set_point / 100.0,
        ),
        Watch::LimitTowardChuck => {
            let toward = scene.travel.map(|travel| travel.to < axis.position);
            limit(Contact::LimitMinus, toward, bench)
        }
        Watch::LimitTowardTail => {
            let toward = scene.travel.map(|travel| travel.to > axis.position);
            limit(Contact::LimitPlus, toward, bench)
        }
        Watch::OutsideTravel => Finding::of(outside(bench)),
        Watch::OutsideTravelLit => Finding::of(outside(bench) && scene.heat && !scene.clear),
        Watch::TorqueContradicts => torque(Some(axis.power), bench),
        Watch::ParkContradicts => {
            let parked = bench.plant.has_contact(Contact::ParkSwitch)
                && bench.inputs.is_on(Contact::ParkSwitch, bench.plant.field_budget);
            let here = scene::position(scene.axis);
            Finding::of(parked && scene::contradicts_park(here, bench.limits))
        }
        Watch::CarriageStill => Finding::of(!scene.moving),
        Watch::FlameRests => rests(set_point, bench),
        _ => Finding::Clear,
    }
}

fn rests(set_point: f64, bench: &Bench<'_>) -> Finding {
    Finding::of(bench.scene.rested_for >= longest_rest(bench.limits, set_point))
}

/// A hard limit counts while gas or powder is on, while homing, and when the carriage is asked
/// toward it. Asked away from it, the carriage may leave it.
fn limit(tag: Contact, toward: Option<bool>, bench: &Bench<'_>) -> Finding {
    let scene = bench.scene;
    let asked_there = toward.unwrap_or(scene.travel.is_some()) || scene.homing || scene.process;
    if asked_there { open(tag, bench) } else { Finding::Clear }
}

fn outside(bench: &Bench<'_>) -> bool {
    let bounds = bench.plant.travel;
    scene::position(bench.scene.axis).is_some()
        && bench.scene.travel.is_some_and(|travel| {
            (bounds.low - travel.to).mm() > BOUND_TOLERANCE
                || (travel.to - bounds.high).mm() > BOUND_TOLERANCE
                || !travel.to.mm().is_finite()
        })
}

fn torque(power: Option<PowerState>, bench: &Bench<'_>) -> Finding {
    let budget = bench.plant.field_budget;
    let allowed = bench.inputs.is_on(Contact::TorqueAllowed, budget);
    let refused = bench.inputs.is_off(Contact::TorqueAllowed, budget);
    let stopped = bench.inputs.is_off(Contact::EmergencyStop, budget);
    let has_torque = power == Some(PowerState::OperationEnabled);
    let fitted = bench.plant.has_contact(Contact::TorqueAllowed);
    Finding::of(fitted && ((stopped && allowed) || (refused && has_torque)))
}

fn spindle(watch: Watch, set_point: f64, bench: &Bench<'_>) -> Finding {
    let scene = bench.scene;
    if watch == Watch::InverterNotOk {
        let ok = bench.inputs.inverter_ok.trusted(scene.now, bench.plant.inverter_budget);
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

fn others(watch: Watch, set_point: f64, bench: &Bench<'_>) -> Finding {
    let scene = bench.scene;
    match watch {
        Watch::FeedFalls => {
            Finding::of(scene.feed_share.is_some_and(|share| share * 100.0 < set_point))
        }
        Watch::FeedPulses => Finding::of(
            scene.feed_share.is_some_and(|share| (share - 1.0).abs() * 100.0 > set_point),
        ),
        Watch::HoseBlocked => blocked(set_point, bench),
        Watch::FieldSilent => Finding::of(!scene.field_known && !scene.field_frozen),
        Watch::FieldFrozen => Finding::of(scene.field_frozen),
        Watch::RelayDropped => {
            if scene.beating {
                open(Contact::WatchdogRelay, bench)
            } else {
                Finding::Clear
            }
        }
        Watch::ScanGap => Finding::of(scene.gap.as_secs_f64() > set_point),
        _ => Finding::Clear,
    }
}

fn blocked(set_point: f64, bench: &Bench<'_>) -> Finding {
    let tag = Analogue::BackPressure;
    if !bench.plant.has_analogue(tag) {
        return Finding::Clear;
    }
    match (scene::value(bench.inputs, tag, bench.plant), bench.scene.back_pressure_before) {
        (None, _) => Finding::Inhibited,
        (Some(_), None) => Finding::Clear,
        (Some(value), Some(before)) => {
            let rise = (before * set_point / 100.0).max(LEAST_RISE);
            Finding::of(value > before + rise)
        }
    }
}
