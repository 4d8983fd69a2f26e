//! The twin's bench: what on a machine are key, buttons, guard, lighter and the things that go
//! wrong, to be touched here because there is no machine to touch.

use axum::Json;
use axum::extract::{Form, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse as _, Response};
use evenpass_core::quantity::{Length, Temperature};
use evenpass_hil::{AtContact, Bench, Button, Discrete, Fault, PlantFault, Truth};
use maud::{Markup, html};
use serde::Deserialize;
use tokio::sync::oneshot;

use super::layout;
use crate::clock::paced::AtBench;
use crate::panel::app::{App, place};
use crate::panel::asking::{Reply, Seal};
use crate::panel::live::Values;
use crate::panel::texts;
use crate::panel::visitor::Visitor;
use crate::people::Right;
use crate::station::{Place, Refused};

/// Word, words, act.
type Act = (&'static str, &'static str, fn(&mut Bench));

/// What can be done at the bench, what belongs together side by side.
const ACTS: [&[Act]; 12] = [
    &[("key-on", "Key on", Bench::turn_key_on), ("key-off", "Key off", Bench::turn_key_off)],
    &[
        ("guard-open", "Open the guard", Bench::open_guard),
        ("guard-shut", "Shut the guard", Bench::shut_guard),
    ],
    &[
        ("start-in", "Start button in", |bench| bench.press(Button::Start)),
        ("start-out", "Start button out", |bench| bench.release(Button::Start)),
    ],
    &[
        ("reset-in", "Reset button in", |bench| bench.press(Button::Reset)),
        ("reset-out", "Reset button out", |bench| bench.release(Button::Reset)),
    ],
    &[
        ("hold-in", "Hold button in", |bench| bench.press(Button::Hold)),
        ("hold-out", "Hold button out", |bench| bench.release(Button::Hold)),
    ],
    &[
        ("stop-in", "Stop button in", |bench| bench.press(Button::Stop)),
        ("stop-out", "Stop button out", |bench| bench.release(Button::Stop)),
    ],
    &[
        ("emergency-in", "Emergency stop in", |bench| bench.press(Button::EmergencyStop)),
        ("emergency-out", "Emergency stop out", |bench| bench.release(Button::EmergencyStop)),
    ],
    &[
        ("hold-to-run-in", "Hold-to-run in", |bench| bench.press(Button::HoldToRun)),
        ("hold-to-run-out", "Hold-to-run out", |bench| bench.release(Button::HoldToRun)),
    ],
    &[
        ("spark", "Spark at the torch", Bench::spark_by_hand),
        ("flame-out", "Blow the flame out", |bench| {
            bench.inject(Fault::Plant(PlantFault::FlameBlownOut));
        }),
    ],
    &[
        ("flame-covered", "Cover the flame sensor", |bench| {
            bench.at_contact(Discrete::FlamePresent, AtContact::Opened);
        }),
        ("flame-free", "Uncover the flame sensor", |bench| {
            bench.at_contact(Discrete::FlamePresent, AtContact::Untouched);
        }),
    ],
    &[
        ("extraction-out", "Extraction contact off", |bench| {
            bench.at_contact(Discrete::ExtractionOk, AtContact::Opened);
        }),
        ("extraction-in", "Extraction contact back", |bench| {
            bench.at_contact(Discrete::ExtractionOk, AtContact::Untouched);
        }),
    ],
    &[("fill", "Fill the hopper", |bench| bench.fill_hopper(FULL_G))],
];

/// A full hopper of the bench, g.
const FULL_G: f64 = 2000.0;

/// The page.
pub(in crate::panel) async fn page(State(app): State<App>, visitor: Visitor) -> Markup {
    let inside = html! {
        h1 { (texts::BENCH) }
        p { (texts::BENCH_FOR) }
        dl.figures data-live="bench" {}
        div.bench {
            @for together in ACTS {
                div.pair {
                    @for (word, words, _) in together {
                        form data-post="/bench" {
                            input type="hidden" name="act" value=(word);
                            button type="submit" { (words) }
                        }
                    }
                }
            }
        }
    };
    layout::page(&app, &visitor, "bench", inside)
}

#[derive(Debug, Deserialize)]
pub(in crate::panel) struct AskBench {
    act: String,
    #[serde(flatten)]
    seal: Seal,
}

/// Somebody does something at the bench.
pub(in crate::panel) async fn act(
    State(app): State<App>,
    visitor: Visitor,
    Form(ask): Form<AskBench>,
) -> Response {
    let what: String = format!("bench: {}", ask.act).chars().take(80).collect();
    if let Err(refused) = visitor.sealed(&app, &ask.seal, &what) {
        return refused;
    }
    if let Err(reply) = visitor.right(Right::Run) {
        return visitor.told(&app, &what, reply);
    }
    // Key and buttons of the twin stand for those at the machine.
    if place(visitor.whence) == Place::Elsewhere {
        return visitor.told(&app, &what, Reply::refused(Refused::Elsewhere.to_string()));
    }
    let Some((.., act)) = ACTS.into_iter().flatten().find(|(word, ..)| *word == ask.act) else {
        return (StatusCode::NOT_FOUND, Json(Reply::refused(texts::UNKNOWN_REQUEST)))
            .into_response();
    };
    let reply = match app.station().at_bench(Box::new(*act)) {
        Ok(()) => Reply::done(),
        Err(_) => Reply::refused(texts::NO_TWIN),
    };
    visitor.told(&app, &what, reply)
}

/// What is live on it.
pub(in crate::panel) async fn live(app: &App, visitor: &Visitor, values: &mut Values) {
    let Some(truth) = truth(app).await else { return };
    let units = visitor.units;
    let one = |so: bool, yes: &str, no: &str| if so { yes } else { no }.to_owned();
    let on = |so| one(so, texts::ON, texts::OFF);
    let open = |so| one(so, texts::OPEN, texts::SHUT);
    let rows = [
        ("Key", on(truth.key_on)),
        ("Guard", open(!truth.guard_closed)),
        ("Flame", on(truth.flame_lit)),
        ("Fuel valve", open(truth.fuel_open)),
        ("Oxygen valve", open(truth.oxygen_open)),
        ("Feeder", on(truth.feeder_on)),
        ("Torch at", units.length(Length::from_mm(truth.torch_z_mm))),
        ("Spindle", format!("{:.0} rpm", truth.spindle_rpm)),
        ("Hopper", format!("{:.0} g", truth.hopper_g)),
        ("Hottest", units.temperature(Temperature::from_celsius(truth.part_highest_c))),
    ];
    values.html(
        "bench",
        html! {
            @for (name, value) in rows { div.figure { dt { (name) } dd { (value) } } }
        },
    );
}

/// What is physically so at the twin.
async fn truth(app: &App) -> Option<Truth> {
    let (tell, told) = oneshot::channel();
    let look: AtBench = Box::new(move |bench| {
        // Nobody may look any more.
        let _ = tell.send(bench.truth());
    });
    app.station().at_bench(look).ok()?;
    told.await.ok()
}
