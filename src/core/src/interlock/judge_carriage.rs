//! The carriage judged: its drive, its travel, its limits, and what a flame over it does.

use super::judge::{Finding, View, longest_rest, open};
use super::matrix::Watch;
use super::scene;
use crate::cia402::PowerState;
use crate::image::Contact;

/// Under this expected speed a carriage is not judged, mm/s (arbitrary).
const LEAST_SPEED: f64 = 0.5;
/// A travel is outside its bounds by more than this, mm (arbitrary).
const BOUND_TOLERANCE: f64 = 0.01;

/// Whether what such a row watches is so.
pub(super) fn carriage(watch: Watch, set_point: f64, view: &View<'_>) -> Finding {
    let scene = view.scene;
    let Some(axis) = scene.axis else {
        return match watch {
            Watch::DriveSilent => Finding::Present,
            // What is not known to move rests.
            Watch::CarriageStill => Finding::Present,
            Watch::FlameRests => rests(set_point, view),
            Watch::TorqueContradicts => torque(None, view),
            Watch::LimitTowardChuck => limit(Contact::LimitMinus, None, view),
            Watch::LimitTowardTail => limit(Contact::LimitPlus, None, view),
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
            limit(Contact::LimitMinus, toward, view)
        }
        Watch::LimitTowardTail => {
            let toward = scene.travel.map(|travel| travel.to > axis.position);
            limit(Contact::LimitPlus, toward, view)
        }
        Watch::OutsideTravel => Finding::of(outside(view)),
        Watch::OutsideTravelLit => Finding::of(outside(view) && scene.heat && !scene.clear),
        Watch::TorqueContradicts => torque(Some(axis.power), view),
        Watch::ParkContradicts => {
            if !view.plant.has_contact(Contact::ParkSwitch) {
                return Finding::Clear;
            }
            let here = scene::position(scene.axis);
            let closed_over_part = scene.contacts.is_on(Contact::ParkSwitch)
                && scene::contradicts_park(here, view.limits);
            // Steps were lost: the drive believes that it has brought the torch to the park.
            let open_at_park = scene.contacts.is_off(Contact::ParkSwitch)
                && !scene.moving
                && scene::is_near_park(here, view.limits, view.plant);
            Finding::of(closed_over_part || open_at_park)
        }
        Watch::CarriageStill => Finding::of(!scene.moving),
        Watch::FlameRests => rests(set_point, view),
        _ => Finding::Clear,
    }
}

fn rests(set_point: f64, view: &View<'_>) -> Finding {
    Finding::of(view.scene.rested_for.as_secs_f64() >= longest_rest(view.limits, set_point))
}

/// A hard limit counts while gas or powder is on, while homing, and when the carriage is asked
/// toward it. Asked away from it, the carriage may leave it.
fn limit(tag: Contact, toward: Option<bool>, view: &View<'_>) -> Finding {
    let scene = view.scene;
    let asked_there = toward.unwrap_or(scene.travel.is_some()) || scene.homing || scene.process;
    if asked_there { open(tag, view) } else { Finding::Clear }
}

fn outside(view: &View<'_>) -> bool {
    let bounds = view.plant.travel;
    scene::position(view.scene.axis).is_some()
        && view.scene.travel.is_some_and(|travel| {
            (bounds.low - travel.to).mm() > BOUND_TOLERANCE
                || (travel.to - bounds.high).mm() > BOUND_TOLERANCE
                || !travel.to.mm().is_finite()
        })
}

fn torque(power: Option<PowerState>, view: &View<'_>) -> Finding {
    let contacts = view.scene.contacts;
    let allowed = contacts.is_on(Contact::TorqueAllowed);
    let refused = contacts.is_off(Contact::TorqueAllowed);
    let stopped = contacts.is_off(Contact::EmergencyStop);
    let has_torque = power == Some(PowerState::OperationEnabled);
    let fitted = view.plant.has_contact(Contact::TorqueAllowed);
    Finding::of(fitted && ((stopped && allowed) || (refused && has_torque)))
}
