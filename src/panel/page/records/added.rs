//! What people said of a run so far: what is decided, how the limits are kept, what stands against a
//! pass, and every mark with who and when, those that were taken back too.

use evenpass_core::inspection::{Judged, convert};
use evenpass_core::quantity::Scale;
use maud::{Markup, html};

use super::add::{Entered, name};
use super::{Shown, wall};
use crate::adding::{Field, as_cold, told};
use crate::panel::texts;
use crate::panel::visitor::Visitor;
use crate::people::{Right, Units};
use crate::record::{Inspected, MarkRecord, Open, RunKind, Said, Wanted};
use crate::report::people::in_units;

/// All of it.
pub(super) fn section(shown: &Shown, visitor: &Visitor) -> Markup {
    let inspected = Inspected::of(&shown.marks);
    let wanted = Wanted::of(&shown.record);
    let (open, since) = (inspected.open(&wanted, ""), inspected.since_open(&wanted));
    html! {
        section.added {
            h2 { (texts::adding::INSPECTION) }
            (decision(inspected.decision(), &since, visitor.units))
            (judged(&inspected.judged(wanted.limits.as_ref()), visitor.units))
            @if shown.record.summary.kind != RunKind::Rehearsed { (against(&open, shown, visitor)) }
            (marks(shown, visitor.units))
        }
    }
}

fn decision(decided: Option<&MarkRecord>, since: &[Open], units: Units) -> Markup {
    let Some(MarkRecord { mark, .. }) = decided else {
        return html! { p { (texts::adding::NOT_DECIDED) } };
    };
    html! {
        p.decision {
            (texts::adding::DECIDED) ": " strong { (mark.said) }
            " " small { (mark.person) ", " (wall(mark.at, "%Y-%m-%d %H:%M")) }
        }
        @for one in since { p { strong { (texts::adding::SINCE_OPEN) } ": " (stands(one, units)) } }
    }
}

fn judged(judged: &[Judged], units: Units) -> Markup {
    html! {
        @if !judged.is_empty() {
            table {
                thead { tr {
                    @for head in [texts::adding::LIMIT, texts::adding::LIMITS, texts::adding::FOUND, ""] {
                        th { (head) }
                    }
                } }
                tbody { @for one in judged { tr {
                    td { (one.limit.title()) }
                    td { (units.restate(&one.limits)) }
                    td { (units.restate(one.found.as_deref().unwrap_or("\u{2013}"))) }
                    td { (units.restate(&one.told())) }
                } } }
            }
        }
    }
}

/// What stands between the part and a pass; a hold point can be released here.
fn against(open: &[Open], shown: &Shown, visitor: &Visitor) -> Markup {
    html! {
        @if open.is_empty() { p { (texts::adding::NOTHING_STANDS) } }
        @else {
            h3 { (texts::adding::STANDS_AGAINST) }
            ul.against { @for one in open {
                li {
                    span { (stands(one, visitor.units)) }
                    @if let Open::HoldPoint { mark, .. } = one && visitor.may(Right::Run) {
                        (super::forms::form(shown, Entered::Release, visitor, html! {
                            input type="hidden" name=(name(Field::Number)) value=(mark);
                            button type="submit" { (texts::adding::RELEASE) }
                        }))
                    }
                }
            } }
        }
    }
}

/// What stands against it. A hold point is in somebody's own words.
fn stands(open: &Open, units: Units) -> String {
    match open {
        Open::Limit(_) => units.restate(&open.to_string()).into_owned(),
        Open::HoldPoint { .. } | Open::NotCompleted { .. } | Open::Stripped => open.to_string(),
    }
}

fn marks(shown: &Shown, units: Units) -> Markup {
    if shown.marks.is_empty() {
        return html! { p { (texts::adding::NOTHING_ADDED) } };
    }
    html! {
        h3 { (texts::adding::ADDED) }
        table.marks {
            thead { tr {
                @for head in [texts::adding::NUMBER, texts::WHEN, texts::adding::WHO, texts::adding::WHAT] {
                    th { (head) }
                }
            } }
            tbody { @for kept in &shown.marks {
                tr data-mark=[kept.taken_back_by.map(|_| "taken-back")] {
                    td { (kept.number) }
                    td { (wall(kept.mark.at, "%Y-%m-%d %H:%M")) }
                    td { (kept.mark.person) }
                    td {
                        span { (in_units(&kept.mark.said, units)) }
                        (more(&kept.mark.said, shown, units))
                        @if let Some(by) = kept.taken_back_by { p { strong { (taken_back(by, &shown.marks)) } } }
                    }
                }
            } }
        }
    }
}

/// Who took something back, and why.
fn taken_back(by: i64, marks: &[MarkRecord]) -> String {
    let found = marks.iter().find(|kept| kept.number == by);
    match found.map(|kept| (&kept.mark.person, &kept.mark.said)) {
        Some((person, Said::TakenBack { reason, .. })) => {
            format!("{} {person} ({by}): {reason}", texts::adding::TAKEN_BACK)
        }
        _ => format!("{} {by}", texts::adding::TAKEN_BACK),
    }
}

/// What a line has no room for: each diameter with what it is cold and what they say of the coat;
/// a hardness on the scale that limits are mostly on.
fn more(said: &Said, shown: &Shown, units: Units) -> Markup {
    match said {
        Said::CoatChecked { diameters, temperature, check, .. } => {
            let lines = told(check, None, &shown.record);
            let thin = units.of_thicknesses();
            html! {
                dl.check {
                    @for one in diameters {
                        dt { (units.length(one.at)) }
                        dd {
                            (thin.shown(one.found))
                            @if let Some(substrate) = shown.substrate {
                                ", " (texts::adding::READ_COLD) " "
                                (thin.shown(as_cold(substrate, one.found, *temperature)))
                            }
                        }
                    }
                    @for (name, words) in &lines { dt { (name) } dd { (units.restate(words)) } }
                }
            }
        }
        Said::Hardness { readings, .. } => {
            let about = readings.iter().filter(|one| one.read.scale() != Scale::RockwellC);
            let about = about.filter_map(|one| convert(one.read, Scale::RockwellC));
            html! { @for one in about { p { small { (one.from) ": " (one) } } } }
        }
        _ => html! {},
    }
}
