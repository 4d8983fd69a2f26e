//! Calibrations, step by step: what to do, what was measured, what that gives, and the file that it is
//! written into. Working out changes nothing and stands in the page's address; writing is an act of
//! whoever commands at the machine.

mod file;
mod measured;

use axum::extract::{Form, Path as Named, Query, State};
use axum::response::{IntoResponse as _, Response};
use evenpass_core::calibrate::{
    Calibrated, Holder, Kind, PROCEDURES, Procedure, Reading, procedure as of,
};
use evenpass_core::catalogue::TorchPurpose;
use evenpass_core::document::FieldValue;
use evenpass_core::image::Referenced;
use evenpass_core::quantity::Length;
use evenpass_core::request::Direction;
use jiff::{Timestamp, tz::TimeZone};
use maud::{Markup, html};

use self::measured::{BACKLASH_BESIDE, Beside, fields_of, work_out};
use super::{carriage, section};
use crate::panel::app::App;
use crate::panel::aside::aside;
use crate::panel::asking::{Reply, Seal, may_command};
use crate::panel::given::Given;
use crate::panel::texts;
use crate::panel::visitor::Visitor;
use crate::people::{LengthUnit, Right, Units};
use crate::shown::one_line;

/// The name that a form of this page has among its fields for the file it was worked out for.
const WORKED_ON: &str = "worked_on";

/// Every calibration, and how the files stand.
pub(in crate::panel) async fn page(State(app): State<App>, visitor: Visitor) -> Markup {
    let reading = app.clone();
    let files = tokio::task::spawn_blocking(move || files(&reading)).await;
    let inside = html! {
        @match files { Ok(files) => (files), Err(broken) => p.trouble { (broken) } }
        section.calibrations {
            h2 { (texts::CALIBRATION_PROCEDURES) }
            ul { @for one in PROCEDURES {
                li {
                    a.button href=(format!("/maintenance/calibrations/{}", one.key)) { (one.title) }
                    p { (visitor.units.restate(one.when)) }
                }
            } }
        }
    };
    section(&app, &visitor, "calibrations", inside)
}

/// The rig file and the torches' file: where they are, whether the program runs by them, and what was
/// kept of them.
fn files(app: &App) -> Markup {
    let changed = file::present(app, Holder::Rig)
        .is_ok_and(|(_, file)| file.text != app.station().rig_source().text);
    html! {
        @if changed {
            section.alert data-mark="warning" role="status" {
                h2 { span.sign aria-hidden="true" { "\u{25b2}" } (texts::RIG_CHANGED) }
            }
        }
        section.holders {
            @for (title, holder) in [(texts::RIG_FILE, Holder::Rig), (texts::TORCHES_FILE, Holder::Torches)] {
                @match file::path_of(app, holder) {
                    Err(why) => p { strong { (title) ": " } (why) },
                    Ok(path) => {
                        p {
                            strong { (title) ": " } (path.display())
                            @if holder == Holder::Rig && !changed { ", " (texts::RIG_AS_STARTED) }
                        }
                        @let kept = file::backups(&path);
                        @if !kept.is_empty() { p { (texts::KEPT_BEFORE) ": " (kept.join(", ")) } }
                    },
                }
            }
        }
    }
}

/// One calibration: its steps, the fields, and what they give.
pub(in crate::panel) async fn procedure(
    State(app): State<App>,
    visitor: Visitor,
    Named(key): Named<String>,
    Query(mut given): Query<Vec<(String, String)>>,
) -> Response {
    let Some(procedure) = of(&key) else {
        return crate::panel::page::not_found().await.into_response();
    };
    if given.iter().any(|(name, _)| name == "take") {
        let (at, came) = position(&app).unzip();
        let at = at.map_or_else(String::new, |at| visitor.units.length(at));
        given.push(("at".to_owned(), at));
        given.push((CAME.to_owned(), came.flatten().map_or("", way).to_owned()));
    }
    let (looking, units) = (app.clone(), visitor.units);
    let worked = tokio::task::spawn_blocking(move || worked(&looking, procedure, &given, units));
    let worked = match worked.await {
        Ok(worked) => worked,
        Err(broken) => html! { p.trouble { (broken) } },
    };
    let by_hand = matches!(procedure.key, "axis_scale" | "backlash" | "park");
    let inside = html! {
        section.steps {
            h1 { (procedure.title) }
            p { (visitor.units.restate(procedure.when)) }
            h2 { (texts::STEPS) }
            ol { @for step in procedure.steps { li { (visitor.units.restate(step)) } } }
        }
        @if by_hand { (carriage::strip(&app, &visitor)) }
        (worked)
    };
    section(&app, &visitor, "calibrations", inside).into_response()
}

/// Where the carriage is, and which way it came there, if anybody knows.
fn position(app: &App) -> Option<(Length, Option<Direction>)> {
    let snapshot = app.station().snapshot();
    let budget = app.station().rig().axis.age_budget.to_duration();
    let axis = snapshot.inputs.axis.trusted(snapshot.at, budget)?;
    (axis.referenced == Referenced::Yes).then_some((axis.position, snapshot.came))
}

/// The field that keeps which way the carriage had come when its position was taken.
const CAME: &str = "came";

/// A way as that field has it.
const fn way(way: Direction) -> &'static str {
    match way {
        Direction::TowardChuck => "chuck",
        Direction::TowardTail => "tail",
    }
}

/// What that field says.
fn came(given: Given<'_>) -> Option<Direction> {
    let ways = [Direction::TowardChuck, Direction::TowardTail];
    ways.into_iter().find(|known| way(*known) == given.one(CAME))
}

/// The fields with what was given, and what that gives.
fn worked(app: &App, procedure: &Procedure, given: &[(String, String)], units: Units) -> Markup {
    let torches = file::torches(app);
    let given = Given(given);
    let beside = Beside {
        rig: app.station().rig(),
        torches: torches.as_deref().unwrap_or_default(),
        approached: came(given),
    };
    html! {
        @if let Err(trouble) = &torches { p.trouble { (trouble) } }
        section.measured {
            h2 { (texts::MEASURED) }
            form method="get" action=(format!("/maintenance/calibrations/{}", procedure.key)) {
                @match procedure.key {
                    "park" => button type="submit" name="take" value="position" data-kind="wanted" {
                        (texts::TAKE_POSITION)
                    },
                    _ => {
                        p { (texts::WITH_UNITS) }
                        @if procedure.holder == Holder::Torches {
                            label { (texts::TORCH) select name="torch" {
                                @for torch in beside.torches.iter().filter(|torch| torch.purpose != TorchPurpose::Fusing) {
                                    option value=(torch.key) selected[torch.key == given.one("torch")] { (torch.title) }
                                }
                            } }
                        }
                        @for reading in procedure.readings { (reading_fields(reading, given, units)) }
                        @if procedure.key == "backlash" { (backlash_beside(app, &beside, given, units)) }
                        button type="submit" data-kind="wanted" { (texts::WORK_OUT) }
                    },
                }
            }
        }
        @if !given.0.is_empty() { (result(app, procedure, given, work_out(procedure, given, &beside), units)) }
    }
}

/// The fields of one reading.
fn reading_fields(reading: &Reading, given: Given<'_>, units: Units) -> Markup {
    let example = example(reading.kind, units);
    let several = fields_of(reading);
    html! {
        @if several == 1 {
            label { (reading.title)
                input name=(reading.key) value=(first(given.one(reading.key), &usual(reading, units)))
                    placeholder=(example) maxlength="20" autocomplete="off";
            }
        } @else {
            fieldset {
                legend { (reading.title) }
                @for place in 0..several {
                    input name=(format!("{}.{place}", reading.key)) value=(given.at(reading.key, place))
                        placeholder=(example) maxlength="20" autocomplete="off"
                        aria-label=(format!("{} {}", reading.title, place + 1));
                }
            }
        }
    }
}

/// What was given; else what is usual.
fn first(given: &str, usual: &str) -> String {
    if given.is_empty() { usual.to_owned() } else { given.to_owned() }
}

/// What a rule is usually read off by; nothing else is known before it is measured.
fn usual(reading: &Reading, units: Units) -> String {
    match reading.key {
        "reading" => units.length(Length::from_mm(0.2)),
        _ => String::new(),
    }
}

/// How a figure of a kind is written.
const fn example(kind: Kind, units: Units) -> &'static str {
    match (kind, units.length) {
        (Kind::Length, LengthUnit::Millimetre) => "12.34 mm",
        (Kind::Length, LengthUnit::Inch) => "0.486 in",
        (Kind::Speed, LengthUnit::Millimetre) => "10 mm/s",
        (Kind::Speed, LengthUnit::Inch) => "24 in/min",
        (Kind::Time, _) => "0.42 s",
        (Kind::Turns, _) => "60 turns",
        (Kind::SpindleSpeed, _) => "60 rpm",
    }
}

/// Overrun and plume that the effect of a lost motion is told for: those of the loaded job, else of the
/// first torch that sprays.
fn backlash_beside(app: &App, beside: &Beside<'_>, given: Given<'_>, units: Units) -> Markup {
    let sprays = beside.torches.iter().find(|torch| torch.purpose != TorchPurpose::Fusing);
    let plume = sprays.map_or(Length::ZERO, |torch| torch.plume);
    let loaded = app.station().loaded();
    let zone = loaded.as_ref().and_then(|loaded| loaded.job.recipe.zones.first());
    let longest = plume * evenpass_core::recipe::LONGEST_OVERRUN_IN_PLUMES;
    let overrun = zone.map_or(longest, |zone| zone.overrun_at_most(plume));
    let usual = [units.length(overrun), units.length(plume)];
    html! {
        @for ((name, words), usual) in BACKLASH_BESIDE.into_iter().zip(usual) {
            label { (words)
                input name=(name) value=(first(given.one(name), &usual)) maxlength="20" autocomplete="off";
            }
        }
    }
}

/// What was found, and the way into the file.
fn result(
    app: &App,
    procedure: &Procedure,
    given: Given<'_>,
    found: Result<Calibrated, String>,
    units: Units,
) -> Markup {
    let found = match found {
        Ok(found) => found,
        Err(why) => {
            let why = match procedure.key {
                "park" if given.one("at").is_empty() => texts::NO_POSITION.to_owned(),
                _ => why,
            };
            return html! {
                section.alert data-mark="warning" role="status" {
                    h2 { span.sign aria-hidden="true" { "\u{25b2}" } (texts::CANNOT_BE) }
                    p { (units.restate(&why)) }
                }
            };
        }
    };
    html! {
        section.found role="status" {
            h2 { (texts::FOUND) }
            p.found-words { (units.restate(&found.found)) }
            @for note in &found.notes { p { (units.restate(note)) } }
            @if found.writes.is_empty() {
                p { (texts::NOTHING_TO_WRITE) }
            } @else {
                @match file::present(app, procedure.holder) {
                    Err(why) => p.trouble { (why) },
                    Ok((path, file)) => form data-post="/calibrate" data-then="/maintenance/calibrations" {
                        p { strong { (texts::WILL_WRITE) ": " } (written(&found)) }
                        input type="hidden" name="procedure" value=(procedure.key);
                        input type="hidden" name=(WORKED_ON) value=(file.digest.as_str());
                        @for (name, value) in given.0.iter().filter(|(name, _)| name != "take") {
                            input type="hidden" name=(name) value=(value);
                        }
                        button type="submit" data-kind="wanted" { (texts::WRITE_INTO) " " (path.display()) }
                    },
                }
            }
        }
    }
}

/// What is written, field by field, as the file will have it.
fn written(found: &Calibrated) -> String {
    let fields = found.writes.iter().map(|(path, value)| match value {
        FieldValue::Text(text) => format!("{path} = \"{text}\""),
        FieldValue::Plain(text) => format!("{path} = {text}"),
        FieldValue::LeftOut => path.clone(),
    });
    fields.collect::<Vec<_>>().join(", ")
}

/// What was found is written into its file.
pub(in crate::panel) async fn write(
    State(app): State<App>,
    visitor: Visitor,
    Form(form): Form<Vec<(String, String)>>,
) -> Response {
    let key: String = one_line(Given(&form).one("procedure")).chars().take(40).collect();
    let what = format!("calibrate {key}");
    if let Err(refused) = visitor.sealed(&app, &Seal::of(&form), &what) {
        return refused;
    }
    match write_it(&app, &visitor, &form).await {
        Ok(done) => visitor.told(&app, &format!("{what}: {done}"), Reply::done_so(done.clone())),
        Err(reply) => visitor.told(&app, &what, reply),
    }
}

async fn write_it(
    app: &App,
    visitor: &Visitor,
    form: &[(String, String)],
) -> Result<String, Reply> {
    visitor.right(Right::Maintain)?;
    let given = Given(form);
    // A turn that is no number is one in which nobody sits.
    may_command(app, visitor, given.one("turn").parse().unwrap_or(0))?;
    let procedure =
        of(given.one("procedure")).ok_or_else(|| Reply::refused(texts::NO_PROCEDURE))?;
    let (app, form) = (app.clone(), form.to_vec());
    aside(move || {
        let given = Given(&form);
        let torches = file::torches(&app)?;
        let beside =
            Beside { rig: app.station().rig(), torches: &torches, approached: came(given) };
        let found = work_out(procedure, given, &beside)?;
        let now = TimeZone::system().to_datetime(Timestamp::now());
        let worked_on = given.one(WORKED_ON);
        let (path, replaced) = file::write(&app, procedure.holder, &found, worked_on, now)?;
        let fields = written(&found);
        let kept = replaced.backup.map_or_else(String::new, |backup| {
            format!("; {} {}", texts::OLD_TEXT_IN, backup.display())
        });
        Ok(format!("{fields} {} {}{kept}", texts::WRITTEN_INTO, path.display()))
    })
    .await
    .map_err(Reply::refused)
}
