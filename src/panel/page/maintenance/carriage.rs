//! The carriage by hand: where it is, home, manual work, keys that move it while they are held, and
//! steps of a known length.

use axum::extract::State;
use evenpass_core::cia402::PowerState;
use evenpass_core::image::{AxisReading, Referenced};
use evenpass_core::quantity::Speed;
use evenpass_core::request::Direction;
use evenpass_core::scan::Snapshot;
use evenpass_core::sequence::Phase;
use maud::{Markup, html};

use super::by_hand::{Hand, is_at_bound, nudges};
use super::travel::Way;
use super::{PLACE, section};
use crate::panel::app::App;
use crate::panel::live::Values;
use crate::panel::page::layout::button;
use crate::panel::texts;
use crate::panel::visitor::Visitor;
use crate::people::{Right, Units};

/// The page.
pub(in crate::panel) async fn page(State(app): State<App>, visitor: Visitor) -> Markup {
    let inside = html! {
        (strip(&app, &visitor))
        section.acts data-live="carriage.acts" {}
        dl.figures data-live="carriage" {}
    };
    section(&app, &visitor, PLACE, inside)
}

/// Where the carriage is, with what moves it: each key stands on the side it moves to. Whoever may
/// not move it is told who may, and sees no key that would never do anything for them.
pub(super) fn strip(app: &App, visitor: &Visitor) -> Markup {
    let loaded = app.station().loaded();
    let part = loaded.as_ref().map(|loaded| &loaded.job.recipe.part);
    let way = Way::of(&app.station().rig().axis, part);
    let nudges = nudges(visitor.units.length);
    let moves = visitor.may(Right::Maintain);
    html! {
        section.by-hand data-mark=[(!moves).then_some("looks-on")] {
            @if moves { (key("chuck", "jog.chuck", "\u{25c0}", texts::TO_CHUCK)) }
            div.where {
                p.position data-live="carriage.position" {}
                (way.still(visitor.units))
            }
            @if moves { (key("tail", "jog.tail", "\u{25b6}", texts::TO_TAIL)) }
            p.why #why-no-jog data-live="jog.why" role="status" {}
            @if moves {
                div.nudges role="group" aria-label=(texts::NUDGES) {
                    @for by in nudges.iter().rev() { (nudge(&format!("-{by}"), by, "\u{25c0}")) }
                    @for by in &nudges { (nudge(by, by, "\u{25b6}")) }
                }
            }
        }
    }
}

/// A key that moves the carriage while it is held.
fn key(way: &str, live: &str, sign: &str, words: &str) -> Markup {
    html! {
        button.mover type="button" data-jog=(way) data-live=(live) data-mark="off"
            aria-describedby="why-no-jog" {
            span.arrow aria-hidden="true" { (sign) }
            span { (words) }
            small { (texts::WHILE_HELD) }
        }
    }
}

fn nudge(value: &str, words: &str, sign: &str) -> Markup {
    html! {
        button type="button" data-ask="nudge" data-value=(value) data-live="nudge" data-mark="off"
            aria-describedby="why-no-jog" {
            span.arrow aria-hidden="true" { (sign) } span { (words) }
        }
    }
}

/// What is live of it.
pub(super) fn live(app: &App, visitor: &Visitor, values: &mut Values) {
    let station = app.station();
    let snapshot = station.snapshot();
    let axis = &station.rig().axis;
    let hand = Hand::of(app, visitor);

    let why = hand.why_not(Right::Maintain, snapshot.by_hand.jog.as_ref());
    let able = |so: bool| if so { "ready" } else { "off" };
    let bound = |way| is_at_bound(&snapshot.inputs.axis, axis.travel, way);
    let (chuck, tail) = (bound(Direction::TowardChuck), bound(Direction::TowardTail));
    values.mark("jog.chuck", able(why.is_none() && !chuck));
    values.mark("jog.tail", able(why.is_none() && !tail));
    values.mark("nudge", able(why.is_none()));
    let words = match &why {
        Some(why) => {
            html! { span.sign aria-hidden="true" { "\u{2715}" } (texts::NO_JOG) ": " (visitor.units.restate(why)) }
        }
        None if chuck => html! { (texts::AT_CHUCK_BOUND) },
        None if tail => html! { (texts::AT_TAIL_BOUND) },
        None => html! { (texts::JOG_READY) },
    };
    values.html("jog.why", words);

    let reading = snapshot.inputs.axis.trusted(snapshot.at, axis.age_budget.to_duration());
    let known = reading.filter(|axis| axis.referenced == Referenced::Yes);
    values.text(
        "carriage.position",
        known
            .map_or_else(|| texts::NO_PLACE.to_owned(), |axis| visitor.units.length(axis.position)),
    );
    let loaded = station.loaded();
    let part = loaded.as_ref().map(|loaded| &loaded.job.recipe.part);
    let way = Way::of(axis, part);
    values.html("travel.torch", known.map_or_else(|| html! {}, |axis| way.torch(axis.position)));
    values.html("carriage.acts", acts(&snapshot, &hand, visitor.units));
    values.html("carriage", figures(reading, &snapshot, visitor));
}

/// Homing, and the way into manual work and out of it.
fn acts(snapshot: &Snapshot, hand: &Hand, units: Units) -> Markup {
    let manual = snapshot.status.phase == Phase::Manual;
    let home = hand.why_not(Right::Run, snapshot.by_hand.home.as_ref());
    let enter = hand.why_not(Right::Maintain, snapshot.by_hand.manual.as_ref());
    html! {
        div.act {
            (button("home", texts::HOME, if home.is_none() { "plain" } else { "off" }))
            p { (units.restate(home.as_deref().unwrap_or(texts::HOME_FOR))) }
        }
        div.act {
            @if manual {
                (button("leave-manual", texts::LEAVE_MANUAL, "plain"))
                p { (texts::LEAVE_MANUAL_FOR) }
            } @else {
                (button("manual", texts::MANUAL_WORK, if enter.is_none() { "plain" } else { "off" }))
                p { (units.restate(enter.as_deref().unwrap_or(texts::MANUAL_FOR))) }
            }
        }
    }
}

/// What the drive says.
fn figures(reading: Option<AxisReading>, snapshot: &Snapshot, visitor: &Visitor) -> Markup {
    let units = visitor.units;
    let Some(axis) = reading else {
        let age = snapshot.inputs.axis.age(snapshot.at);
        return figure(
            texts::DRIVE,
            &format!("{}, {:.1} s", texts::DRIVE_SILENT, age.as_secs_f64()),
            Normal::No,
        );
    };
    let (drive, normal) = power(axis.power);
    let datum = match axis.referenced {
        Referenced::Yes => (texts::DATUM_KNOWN, Normal::Yes),
        Referenced::No => (texts::DATUM_UNKNOWN, Normal::No),
    };
    let fault = match axis.fault_code {
        0 => (texts::NO_FAULT.to_owned(), Normal::Yes),
        code => (format!("{code} (0x{code:04X})"), Normal::No),
    };
    html! {
        (figure(texts::DATUM, datum.0, datum.1))
        (figure(texts::FEED, &units.feed(Speed::from_mm_per_s(axis.velocity.mm_per_s())), Normal::Yes))
        (figure(texts::DRIVE, drive, normal))
        (figure(texts::DRIVE_FAULT, &fault.0, fault.1))
        (figure(texts::FOLLOWING, &units.length(axis.following_error), Normal::Yes))
    }
}

/// Whether something is as it mostly is; what is not has its sign.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Normal {
    Yes,
    No,
}

fn figure(name: &str, value: &str, normal: Normal) -> Markup {
    let abnormal = normal == Normal::No;
    html! {
        div.figure data-mark=[abnormal.then_some("abnormal")] {
            dt { (name) }
            dd { @if abnormal { span.sign aria-hidden="true" { "\u{25b2}" } } (value) }
        }
    }
}

/// The state of the drive's power section (CiA 402) as somebody says it who has no table of it.
const fn power(state: PowerState) -> (&'static str, Normal) {
    use PowerState as P;
    match state {
        P::NotReadyToSwitchOn => (texts::DRIVE_STARTS, Normal::Yes),
        P::SwitchOnDisabled => (texts::DRIVE_OFF, Normal::Yes),
        P::ReadyToSwitchOn => (texts::DRIVE_READY, Normal::Yes),
        P::SwitchedOn => (texts::DRIVE_ON, Normal::Yes),
        P::OperationEnabled => (texts::DRIVE_TORQUE, Normal::Yes),
        P::QuickStopActive => (texts::DRIVE_STOPS, Normal::Yes),
        P::FaultReactionActive => (texts::DRIVE_REACTS, Normal::No),
        P::Fault => (texts::DRIVE_IN_FAULT, Normal::No),
        P::Unknown => (texts::DRIVE_UNKNOWN, Normal::No),
    }
}
