//! A new recipe by points taken at the machine: jog there, take it, say what it is of.

use std::sync::Arc;
use std::time::Duration;

use axum::extract::{Form, State};
use axum::response::Response;
use evenpass_core::document::Problems;
use evenpass_core::quantity::{Length, Quantity as _};
use evenpass_core::recipe::{End, Substrate};
use evenpass_core::request::{Answer, Direction, Request};
use evenpass_core::scan::Snapshot;
use evenpass_core::teach::{
    Limits, Particulars, PointKind, Taught, TaughtPoint, Teaching, blank, judge, recipe_text,
};
use maud::{Markup, html};
use tokio::sync::watch;
use tokio::time::timeout;

use super::against::{self, TaughtAgainst};
use super::import::keep;
use super::one::plain;
use crate::panel::app::{App, locked};
use crate::panel::asking::{Reply, Seal, may_command};
use crate::panel::live::Values;
use crate::panel::page::layout::{self, Here};
use crate::panel::page::maintenance;
use crate::panel::texts;
use crate::panel::visitor::Visitor;
use crate::people::{Right, Units};
use crate::revisions::Beginning;
use crate::shown::one_line;

/// Points of one part at most; a drawing has some dozens.
const MOST: usize = 64;

/// The page.
pub(in crate::panel) async fn page(State(app): State<App>, visitor: Visitor) -> Markup {
    let kinds = PointKind::ALL.map(|kind| (word(kind), kind.title()));
    let inside = html! {
        div.head {
            a href="/recipes" { "\u{2190} " (texts::RECIPES) }
            h1 { (texts::TEACH) }
        }
        (maintenance::carriage_by_hand(&app, &visitor))
        section.take {
            h2 { (texts::TAKE_A_POINT) }
            form.point data-post="/teach" {
                input type="hidden" name="act" value="take";
                label { (texts::POINT_OF) select name="what" {
                    @for (word, title) in &kinds { option value=(word) { (title) } }
                } }
                label { (texts::DIAMETER_THERE) input name="diameter" maxlength="20" placeholder="50 mm"; }
                button type="submit" data-kind="wanted" { (texts::TAKE_IT) }
            }
            div data-live="teach.points" {}
        }
        section {
            h2 { (texts::WHAT_IT_MAKES) }
            div data-live="teach.made" {}
        }
        section {
            h2 { (texts::SAVE) }
            form.point data-post="/teach" data-then="/recipes" {
                input type="hidden" name="act" value="save";
                label { (texts::RECIPE_FILE) input name="name" required maxlength="64"; }
                label { (texts::TITLE) input name="title" required maxlength="80"; }
                label { (texts::SUBSTRATE) select name="substrate" {
                    @for substrate in Substrate::all() { option value=(substrate.word()) { (substrate.word().replace('_', " ")) } }
                } }
                label { (texts::FINISH) input name="finish" maxlength="20" placeholder="0.30 mm"; }
                label { (texts::DRAWN_LENGTH) input name="length" maxlength="20"; }
                button type="submit" data-kind="wanted" { (texts::SAVE) }
            }
        }
    };
    let here = Here { place: "recipes", live: "teach", title: texts::TEACH };
    layout::page_at(&app, &visitor, here, html! { div.teach { (inside) } })
}

/// A kind of point as forms name it.
fn word(kind: PointKind) -> &'static str {
    match kind {
        PointKind::PartFace => "part_face",
        PointKind::ZoneEdge => "zone_edge",
        PointKind::Shoulder => "shoulder",
        PointKind::Diameter => "diameter",
    }
}

/// Something is taken, taken back, answered or saved.
pub(in crate::panel) async fn act(
    State(app): State<App>,
    visitor: Visitor,
    Form(form): Form<Vec<(String, String)>>,
) -> Response {
    let what: String = format!("teach: {} {}", plain(&form, "act"), plain(&form, "name"));
    let what: String = what.trim().chars().take(80).collect();
    if let Err(refused) = visitor.sealed(&app, &Seal::of(&form), &what) {
        return refused;
    }
    let reply = match acted(&app, &visitor, &form).await {
        Ok(()) => Reply::done(),
        Err(reply) => reply,
    };
    visitor.told(&app, &what, reply)
}

async fn acted(app: &App, visitor: &Visitor, form: &[(String, String)]) -> Result<(), Reply> {
    visitor.right(Right::Engineer)?;
    let refused = |why: String| Reply::refused(why);
    // The points are the hand's at the machine, each of them an act there; nobody else takes one
    // away. Their recipe is but a text, and saved from anywhere.
    if plain(form, "act") != "save" {
        may_command(app, visitor, turn(form))?;
    }
    match plain(form, "act") {
        "take" => take(app, visitor, form).await,
        "remove" => {
            // The page names how many points it showed: a second tap means a point that is gone.
            let (place, shown) = plain(form, "value").split_once('/').unwrap_or_default();
            let mut teaching = locked(&app.inside.teaching);
            if shown != teaching.points.len().to_string() {
                return Err(refused(texts::POINTS_CHANGED.into()));
            }
            match place.parse::<usize>() {
                Ok(place) if place < teaching.points.len() => {
                    teaching.points.remove(place);
                    Ok(())
                }
                _ => Err(refused(texts::UNKNOWN_REQUEST.into())),
            }
        }
        "clear" => {
            *locked(&app.inside.teaching) = Teaching::default();
            Ok(())
        }
        "chuck_side" => starts(app, End::ChuckSide),
        "tail_side" => starts(app, End::TailSide),
        "save" => {
            let (saving, form, who) = (app.clone(), form.to_vec(), visitor.name.to_string());
            let saved = app.plan(visitor, move || save(&saving, &form, &who)).await;
            saved.flatten().map_err(refused)
        }
        _ => Err(refused(texts::UNKNOWN_REQUEST.into())),
    }
}

fn starts(app: &App, end: End) -> Result<(), Reply> {
    locked(&app.inside.teaching).starts = Some(end);
    Ok(())
}

/// The turn in the seat that a page named.
fn turn(form: &[(String, String)]) -> u64 {
    plain(form, "turn").parse().unwrap_or(0)
}

/// A length that was typed, or nothing.
fn typed(form: &[(String, String)], name: &str) -> Result<Option<Length>, String> {
    match plain(form, name).trim() {
        "" => Ok(None),
        text => Length::parse(text).map(Some).map_err(|problem| format!("{name}: {problem}")),
    }
}

async fn take(app: &App, visitor: &Visitor, form: &[(String, String)]) -> Result<(), Reply> {
    let what = PointKind::ALL.into_iter().find(|kind| word(*kind) == plain(form, "what"));
    let what = what.ok_or_else(|| Reply::refused(texts::UNKNOWN_REQUEST))?;
    let diameter = typed(form, "diameter").map_err(Reply::refused)?;
    if locked(&app.inside.teaching).points.len() >= MOST {
        return Err(Reply::refused(texts::TOO_MANY_POINTS));
    }
    let answer = app.station().command(&visitor.commander(turn(form)), Request::TakePoint).await;
    match answer {
        Ok(Answer::Accepted | Answer::AlreadySo) => {}
        Ok(Answer::Denied(denial)) => {
            return Err(Reply::refused(format!("{}; {}", denial.why, denial.help)));
        }
        Err(refused) => return Err(Reply::refused(refused.to_string())),
    }
    let shown = next_picture(app.station().snapshots()).await;
    let shown = shown.ok_or_else(|| Reply::refused(texts::POINT_NOT_SHOWN))?;
    let at = shown.status.taught.first().copied().flatten();
    let at = at.ok_or_else(|| Reply::refused(texts::NOT_KNOWN))?;
    let approached = shown.came;
    locked(&app.inside.teaching).points.push(TaughtPoint { what, at, approached, diameter });
    Ok(())
}

/// How long a taken point may take to be shown; snapshots come ten times a second.
const SHOWN_WITHIN: Duration = Duration::from_secs(1);

/// The next picture of the controller: one made after what it has answered. Without one nobody knows
/// whether what the last one shows came before that.
async fn next_picture(mut snapshots: watch::Receiver<Arc<Snapshot>>) -> Option<Arc<Snapshot>> {
    snapshots.mark_unchanged();
    timeout(SHOWN_WITHIN, snapshots.changed()).await.ok()?.ok()?;
    let newest = snapshots.borrow().clone();
    Some(newest)
}

/// What the points make, or what is wrong with them.
fn made(limits: &Limits, teaching: &Teaching) -> Result<Taught, String> {
    judge(teaching, limits).map_err(|problems| words(&problems))
}

/// Problems of points, which stand in no text.
fn words(problems: &Problems) -> String {
    problems.to_string()
}

fn save(app: &App, form: &[(String, String)], who: &str) -> Result<(), String> {
    let mut teaching = locked(&app.inside.teaching).clone();
    teaching.drawn_length = typed(form, "length")?;
    let catalogue = against::catalogue(app)?;
    let taught = made(&against::limits(app.station().rig(), &catalogue)?, &teaching)?;
    let substrate = Substrate::of_word(plain(form, "substrate")).ok_or(texts::UNKNOWN_REQUEST)?;
    let other = blank(&catalogue, substrate).ok_or(texts::NO_TORCH)?;
    let title = one_line(plain(form, "title").trim());
    let particulars = Particulars {
        title: &title,
        part: &title,
        substrate: Some(substrate),
        bore: None,
        finish: typed(form, "finish")?,
        zones: &[],
    };
    let text = recipe_text(&taught, &particulars, &other).map_err(|problems| words(&problems))?;
    keep(app, plain(form, "name"), &text, who, Beginning::Taught)?;
    *locked(&app.inside.teaching) = Teaching::default();
    Ok(())
}

/// What is live on it.
pub(in crate::panel) async fn live(app: &App, visitor: &Visitor, values: &mut Values) {
    maintenance::live_by_hand(app, visitor, values);
    let teaching = locked(&app.inside.teaching).clone();
    values.html("teach.points", points(&teaching, visitor.units));
    let made = if teaching.points.is_empty() {
        html! {}
    } else {
        let limits = TaughtAgainst::of(app).await;
        let known = limits.as_ref().as_ref().map_err(String::clone);
        shown(known.and_then(|limits| made(limits, &teaching)), visitor.units)
    };
    values.html("teach.made", made);
}

fn points(teaching: &Teaching, units: Units) -> Markup {
    html! {
        @if !teaching.points.is_empty() {
            table {
                thead { tr { th { (texts::POINT_OF) } th { (texts::PLACE) } th { (texts::DIAMETER_THERE) } th {} } }
                tbody { @for (place, point) in teaching.points.iter().enumerate() {
                    tr {
                        td { (point.what.title()) }
                        td { (units.length(point.at)) @if let Some(way) = point.approached {
                            " " small { (match way {
                                Direction::TowardChuck => texts::CAME_TO_CHUCK,
                                Direction::TowardTail => texts::CAME_TO_TAIL,
                            }) }
                        } }
                        td { @if let Some(diameter) = point.diameter { (units.length(diameter)) } }
                        td { button type="button" data-teach="remove" data-value=(format!("{place}/{}", teaching.points.len())) { (texts::REMOVE) } }
                    }
                } }
            }
            button type="button" data-teach="clear" data-sure=(texts::SURE_ANEW) { (texts::BEGIN_ANEW) }
        }
    }
}

fn shown(made: Result<Taught, String>, units: Units) -> Markup {
    match made {
        Err(problem) => html! { pre.trouble { (units.restate(&problem)) } },
        Ok(taught) => html! {
            @if let Some(question) = &taught.question {
                section.prompt {
                    h2 { span.sign aria-hidden="true" { "\u{25cf}" } (units.restate(&question.to_string())) }
                    div.buttons {
                        button type="button" data-teach="chuck_side" { (texts::FROM_CHUCK) }
                        button type="button" data-teach="tail_side" { (texts::FROM_TAIL) }
                    }
                }
            }
            table { tbody {
                @for zone in &taught.zones {
                    tr {
                        th { (texts::ZONE) }
                        td { (units.length(zone.edges.low)) " " (texts::TO) " " (units.length(zone.edges.high)) }
                        td { (texts::POWDER_ON) " " (units.length(zone.powder_on.low)) " " (texts::TO) " " (units.length(zone.powder_on.high)) }
                    }
                }
                @for point in &taught.profile {
                    tr { th { (texts::OUTLINE) } td { (units.length(point.at)) } td { "\u{2300} " (units.length(point.diameter)) } }
                }
            } }
            @for note in &taught.notes { p { (units.restate(&note.to_string())) } }
        },
    }
}

#[cfg(test)]
mod tests {
    use evenpass_core::scan::Controller;

    use super::*;

    fn picture() -> Arc<Snapshot> {
        let (rig, _) = crate::files::rig(None).expect("the bench");
        Arc::new(Controller::new(&rig).expect("it can be driven").snapshot())
    }

    #[tokio::test]
    async fn a_picture_from_before_the_answer_is_never_taken_for_the_one_after_it() {
        let (show, snapshots) = watch::channel(picture());
        // One that nobody has looked at yet, and no other comes.
        show.send_replace(picture());
        assert_eq!(next_picture(snapshots.clone()).await, None);
        let next = tokio::spawn(next_picture(snapshots));
        tokio::time::sleep(SHOWN_WITHIN / 10).await;
        let after = picture();
        show.send_replace(after.clone());
        let found = next.await.expect("no panic").expect("it came");
        assert!(Arc::ptr_eq(&found, &after));
    }
}
