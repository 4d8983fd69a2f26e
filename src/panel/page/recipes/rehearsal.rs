//! A recipe rehearsed on a twin of its own, in virtual time: the served machine knows nothing of it.

use std::path::Path;

use axum::extract::{Form, Path as Named, State};
use axum::response::{IntoResponse as _, Response};
use evenpass_core::moment::Moment;
use evenpass_core::plan::forecast::clock;
use evenpass_core::quantity::{Time, fixed};
use maud::{Markup, html};

use super::draft::{edited, planned, trouble};
use super::{fault, path_of};
use crate::attendant::{Attended, End, first_cause};
use crate::clock::virtual_time::Unwitnessed;
use crate::comparison::{self, ZoneComparison};
use crate::margins::{Margin, margins, passed};
use crate::panel::app::App;
use crate::panel::aside::aside;
use crate::panel::texts;
use crate::panel::visitor::Visitor;
use crate::people::Units;
use crate::twin_job::TwinJob;

/// No job lasts longer than this: two days.
const LONGEST: Moment = Moment::from_micros(172_800_000_000);
/// Seed of everything random in the twin.
const SEED: u64 = 1;

/// What came of it.
struct Rehearsed {
    end: End,
    cause: Option<String>,
    lasted: Moment,
    zones: Vec<ZoneComparison>,
    margins: Vec<Margin>,
}

/// Rehearses a recipe with a form's fields.
pub(in crate::panel) async fn rehearse(
    State(app): State<App>,
    visitor: Visitor,
    Named(name): Named<String>,
    Form(form): Form<Vec<(String, String)>>,
) -> Response {
    let Some(path) = path_of(&app, &name) else {
        return fault(texts::NO_SUCH_RECIPE).into_response();
    };
    let Ok(_alone) = app.inside.rehearsing.clone().try_acquire_owned() else {
        return fault(texts::REHEARSING_ALREADY).into_response();
    };
    let units = visitor.units;
    match aside(move || rehearsed(&app, &path, &form)).await {
        Ok(rehearsed) => shown(&rehearsed, units).into_response(),
        Err(problem) => trouble(&problem, units).into_response(),
    }
}

fn rehearsed(app: &App, path: &Path, form: &[(String, String)]) -> Result<Rehearsed, String> {
    let own = crate::files::read(path)?.text;
    let loaded = planned(app, path, &edited(&own, form)?)?;
    let (job, plan) = (&loaded.job, &loaded.plan);
    let mut twin = TwinJob::new(job, plan, SEED, Attended::No, Unwitnessed)?;
    let mut entries = Vec::new();
    let end = twin.run_until(LONGEST, &mut |entry| entries.push(entry)).unwrap_or(End::Held);
    let margins = margins(plan, &entries);
    let past = passed(&margins).filter(|_| end == End::Complete);
    Ok(Rehearsed {
        end,
        cause: first_cause(end, &twin.snapshot(), &entries).or(past),
        lasted: twin.now(),
        zones: comparison::zones(plan, twin.bench()),
        margins,
    })
}

fn shown(rehearsed: &Rehearsed, units: Units) -> Markup {
    let word = match rehearsed.end {
        End::Complete => texts::REHEARSED_COMPLETE,
        End::Stopped => texts::REHEARSED_STOPPED,
        End::Tripped => texts::TRIPPED,
        End::Held => texts::HELD,
        End::NotStarted => texts::NOT_STARTED,
    };
    html! {
        section.rehearsed {
            h2 { (texts::REHEARSAL) ": " (word) ", " (clock(Time::from_s(rehearsed.lasted.as_seconds()))) }
            @if let Some(cause) = &rehearsed.cause {
                p.trouble { span.sign aria-hidden="true" { "\u{25a0}" } (units.restate(cause)) }
            }
            table {
                thead { tr { @for head in [texts::ZONE, texts::PLANNED, texts::DEPOSITED, "%", texts::THINNEST,
                    texts::THICKEST] { th { (head) } } } }
                tbody { @for zone in &rehearsed.zones {
                    tr {
                        td { (zone.zone) }
                        td { (units.thickness(zone.planned)) } td { (units.thickness(zone.deposited)) }
                        td { (fixed(zone.off_percent(), 2)) }
                        td { (units.thickness(zone.thinnest)) } td { (units.thickness(zone.thickest)) }
                    }
                } }
            }
            table { tbody { @for margin in &rehearsed.margins {
                tr {
                    th { (units.restate(&margin.what)) } td { (units.restate(&margin.found)) }
                    td { (units.restate(&margin.accepted)) } td { (units.restate(&margin.left)) }
                }
            } } }
        }
    }
}
