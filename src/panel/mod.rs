//! The panel: server-rendered pages for the three people at the machine, over HTTP.
//!
//! ```text
//! connections --> guard --> visitor --> page/*   (what is to be seen)
//!                                  \--> asking   (what is asked of the station)
//!                                  \--> live     (server-sent events)
//!                                  \--> jog      (a web socket, for held keys alone)
//! ```
//!
//! - `connections` takes connections in and bounds them; `guard` looks at every request's
//!   origin and size, and says with every answer what a browser may do with it.
//! - `acts` writes down what was asked, `repeats` counts what is asked over and over;
//!   `limits`, `pace` and `planning` bound what one session may take; `aside` is where what takes
//!   its time is done. `stops` carries stops, and all else that only takes away, to the scan.
//! - `set_up` keeps a start from a page until somebody has ticked the list; `newer` looks whether the
//!   loaded recipe was saved anew.
//! - `batches` takes what is told of an order, and the choice of the order that the next part is for.
//! - `undone` looks for a run that was cut off, and takes what is decided about it.
//! - `visitor` knows who asks: a session's person, and whether they are at the machine.
//!   `roll` is who may sign in now.
//! - `texts` has what people read; [`told`] what the command line is told.
//!
//! A stop is taken before any of this is asked.

mod acts;
mod app;
mod aside;
mod asking;
mod assets;
mod batches;
mod connections;
mod given;
mod guard;
mod jog;
mod limits;
mod live;
mod newer;
#[cfg(test)]
mod on_twin;
mod pace;
mod page;
mod planning;
mod repeats;
mod roll;
mod seal;
mod seats;
mod set_up;
mod sign_in;
mod sitting;
mod stops;
mod texts;
pub mod told;
mod undone;
mod visitor;

pub use self::app::{App, Options};
pub(crate) use self::asking::asked;
pub use self::connections::serve;

use axum::Router;
use axum::extract::DefaultBodyLimit;
use axum::middleware::from_fn_with_state;
use axum::routing::{get, post};

/// All addresses of the panel.
fn router(app: App) -> Router {
    Router::new()
        .route("/", get(page::run::page))
        .route("/maintenance", get(page::maintenance::carriage))
        .route("/maintenance/signals", get(page::maintenance::signals))
        .route("/maintenance/proofs", get(page::maintenance::proofs))
        .route("/maintenance/lines", get(page::maintenance::lines))
        .route("/maintenance/calibrations", get(page::maintenance::calibrations::page))
        .route("/maintenance/calibrations/{key}", get(page::maintenance::calibrations::procedure))
        .route("/calibrate", post(page::maintenance::calibrations::write))
        .route("/recipes", get(page::recipes::page).post(page::recipes::import))
        .route("/recipes/{name}", get(page::recipes::one))
        .route("/recipes/{name}/try", post(page::recipes::try_it))
        .route("/recipes/{name}/rehearse", post(page::recipes::rehearse))
        .route("/recipes/{name}/save", post(page::recipes::save))
        .route("/recipes/{name}/text", get(page::recipes::text))
        .route("/recipes/{name}/compare", get(page::recipes::compare))
        .route("/teach", get(page::recipes::teach::page).post(page::recipes::teach::act))
        .route("/batches", get(page::batches::page))
        .route("/batch", get(page::batches::one))
        .route("/batch/report", get(page::batches::report))
        .route("/batch/told", post(batches::told))
        .route("/batch/choose", post(batches::choose))
        .route("/records", get(page::records::page))
        .route("/records/{id}", get(page::records::one).post(page::records::add))
        .route("/records/{id}/{file}", get(page::records::files::file))
        .route("/bench", get(page::bench::page).post(page::bench::act))
        .route("/sign-in", get(sign_in::page).post(sign_in::sign_in))
        .route("/sign-out", post(sign_in::sign_out))
        .route("/stop", post(asking::stop))
        .route("/ask", post(asking::ask))
        .route("/seat", post(sitting::seat))
        .route("/load", post(asking::load))
        .route("/undone", get(page::undone::page).post(undone::settle))
        .route("/checked", post(set_up::checked))
        .route("/prove", post(asking::prove))
        .route("/units", post(sign_in::units))
        .route("/live", get(live::stream))
        .route("/jog", get(jog::line))
        .route("/alive", get(live::alive))
        .route("/session", get(told::session))
        .route("/state", get(told::state))
        .route("/assets/{name}", get(assets::asset))
        .fallback(page::not_found)
        .layer(DefaultBodyLimit::max(guard::LARGEST_BODY))
        .layer(from_fn_with_state(app.clone(), guard::guard))
        .with_state(app)
}
