//! What every page shows first: what went wrong, and what a person is asked to do.

use evenpass_core::interlock::matrix::Meanwhile;
use evenpass_core::interlock::{Acknowledged, PermissiveState};
use evenpass_core::scan::{KEY_PERMISSIVE, Snapshot};
use evenpass_core::sequence::{Ask, Phase};
use maud::{Markup, html};

use crate::panel::page::layout::button;
use crate::panel::set_up::SetUp;
use crate::panel::texts;
use crate::people::Units;

/// What went wrong, what the machine did, what to do now.
pub(super) fn alert(snapshot: &Snapshot, units: Units) -> Markup {
    let verdict = &snapshot.verdict;
    let told = |occurrence| verdict.told(occurrence);
    let before_reset = verdict.reset_needs.join(" ");
    html! {
        @if let Some(first) = &verdict.first {
            @let told = told(first);
            section.alert data-mark="trip" role="alert" {
                h2 { span.sign aria-hidden="true" { "\u{25a0}" } (texts::TRIPPED) ": " (units.restate(&told.what)) }
                dl {
                    dt { (texts::MACHINE_DID) } dd { (units.restate(&told.done)) }
                    dt { (texts::TO_DO) } dd { (units.restate(told.to_do)) }
                    @if !told.meanwhile.is_empty() && !is_said_before_a_reset(told.meanwhile, &before_reset) {
                        dt { (texts::MEANWHILE) } dd { (units.restate(told.meanwhile)) }
                    }
                    @if !verdict.consequent.is_empty() {
                        dt { (texts::AFTER_IT) }
                        dd {
                            @for (count, later) in verdict.consequent.iter().enumerate() {
                                @if count > 0 { "; " } (units.restate(&later.message))
                            }
                            @if verdict.more_consequent > 0 { ", +" (verdict.more_consequent) }
                        }
                    }
                    @if !verdict.reset_needs.is_empty() {
                        dt { (texts::RESET_NEEDS) } dd { (units.restate(&before_reset)) }
                    }
                }
                div.buttons {
                    @if verdict.acknowledged == Acknowledged::No {
                        (button("acknowledge", texts::ACKNOWLEDGE, "wanted"))
                    } @else {
                        (button("reset", texts::RESET, "wanted"))
                        @if verdict.needs_inspection() {
                            (button("inspected", texts::INSPECTED, "plain"))
                        }
                    }
                }
            }
        } @else if snapshot.status.phase == Phase::Aborted {
            section.alert data-mark="trip" {
                h2 { span.sign aria-hidden="true" { "\u{25a0}" }
                    (units.restate(snapshot.status.first_cause.as_deref().unwrap_or(texts::TRIPPED))) }
                div.buttons { (button("reset", texts::RESET, "wanted")) }
            }
        }
        @for hold in verdict.holds_not_overtaken() {
            @let told = told(hold);
            section.alert data-mark="hold" role="status" {
                h2 { span.sign aria-hidden="true" { "\u{25b2}" } (texts::HELD) ": " (units.restate(&told.what)) }
                p { (units.restate(told.to_do)) }
            }
        }
        @for warning in &verdict.warnings {
            section.alert data-mark="warning" role="status" {
                h2 { span.sign aria-hidden="true" { "\u{25b2}" } (texts::WARNING) ": " (units.restate(&warning.message)) }
                p { (units.restate(warning.advice)) }
            }
        }
        @if let (Some(setback), true) = (&snapshot.status.setback, verdict.first.is_none()) {
            section.alert data-mark="note" role="status" { p { (texts::LAST_TRY) ": " (units.restate(&setback.to_string())) } }
        }
    }
}

/// Whether what may be done meanwhile is but what is listed as still needed before a reset.
fn is_said_before_a_reset(meanwhile: &str, needs: &str) -> bool {
    meanwhile == Meanwhile::ResetWhenGone.words() && !needs.is_empty()
}

/// Whether the enabling key is off, or not known to be on: every answer that lets something begin or
/// go on is denied then.
fn is_key_off(snapshot: &Snapshot) -> bool {
    let mut missing =
        snapshot.permissives.iter().filter(|one| one.state == PermissiveState::Missing);
    missing.any(|one| one.key == KEY_PERMISSIVE)
}

/// What a person is asked to do: blue (IEC 60073, mandatory action), with the button that answers,
/// and whether the key keeps it from being taken.
pub(super) fn prompt(snapshot: &Snapshot, set_up: SetUp, units: Units) -> Markup {
    let Some(prompt) = snapshot.status.prompt else { return html! {} };
    let by_button = matches!(prompt.ask, Ask::Start | Ask::BeginHoming | Ask::CallWet)
        || prompt.ask.is_answered_by_accept();
    let key_off = by_button && is_key_off(snapshot);
    let unchecked = prompt.ask == Ask::Start && set_up == SetUp::Open;
    let wanted = if key_off || unchecked { "off" } else { "wanted" };
    html! {
        section.prompt role="status" {
            h2 { span.sign aria-hidden="true" { "\u{25cf}" } (units.restate(&prompt.ask.to_string())) }
            p.left data-live="prompt.left" {}
            @if key_off {
                p.why { span.sign aria-hidden="true" { "\u{2715}" } (texts::KEY_OFF) }
            }
            @if unchecked {
                p.why { span.sign aria-hidden="true" { "\u{2715}" } (texts::SET_UP_NOT_CHECKED) ". " (texts::SET_UP_WHERE) }
            }
            div.buttons {
                @match prompt.ask {
                    Ask::Start | Ask::BeginHoming => (button("start", texts::START, wanted)),
                    Ask::CallWet => {
                        (button("wet", texts::WET, wanted))
                        (button("not-wet", texts::NOT_WET, if key_off { "off" } else { "plain" }))
                    },
                    ask if ask.is_answered_by_accept() => (button("accept", texts::ACCEPT, wanted)),
                    _ => {},
                }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_may_be_done_meanwhile_is_said_once_where_the_needs_of_a_reset_say_it() {
        let same = Meanwhile::ResetWhenGone.words();
        assert!(is_said_before_a_reset(same, "Acknowledge the trip."));
        assert!(!is_said_before_a_reset(same, ""), "nothing else says it then");
        for other in [Meanwhile::JogAway, Meanwhile::LeaveCell, Meanwhile::InspectFirst] {
            assert!(!is_said_before_a_reset(other.words(), "Acknowledge the trip."));
        }
    }
}
