//! Looks at every request before anything else does, says with every answer what a browser may do
//! with it, and writes down every refusal that nobody else has written down.
//!
//! A stop goes through here at once. All else is first taken in as a whole, within bounds of size
//! and time. What only takes away is then answered at once as well, all else by the workers: whatever
//! they wait for or are busy with, the thread that takes requests in is free for a stop. What was
//! begun is ended, even when the connection is gone before the answer.

use std::net::{IpAddr, SocketAddr};
use std::time::Duration;

use axum::body::{Body, HttpBody as _};
use axum::extract::{ConnectInfo, Request, State};
use axum::http::header::{
    CACHE_CONTROL, CONTENT_SECURITY_POLICY, HOST, HeaderName, ORIGIN, REFERRER_POLICY,
    X_CONTENT_TYPE_OPTIONS, X_FRAME_OPTIONS,
};
use axum::http::{HeaderMap, HeaderValue, Method, StatusCode};
use axum::middleware::Next;
use axum::response::{IntoResponse as _, Response};
use futures_util::StreamExt as _;
use tokio::runtime::Handle;
use tokio::time::timeout;

use super::app::App;
use super::connections::{Answering, Stopping};
use super::visitor::{Asker, Visitor, WrittenDown};
use super::{asking, texts};
use crate::people::{Activity, NOT_SIGNED_IN};

/// The largest body of a request, bytes: a recipe is a few thousand.
pub(super) const LARGEST_BODY: usize = 128 * 1024;
/// How long a body may take to arrive; a browser sends it with the head.
const BODY_WITHIN: Duration = Duration::from_secs(5);

/// Nothing but the panel's own, and nobody may put it into a frame.
const POLICY: &str = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' \
                      data:; connect-src 'self'; form-action 'self'; base-uri 'none'; \
                      frame-ancestors 'none'";

/// What every answer says.
const SAID: [(HeaderName, &str); 5] = [
    (CONTENT_SECURITY_POLICY, POLICY),
    (X_CONTENT_TYPE_OPTIONS, "nosniff"),
    (X_FRAME_OPTIONS, "DENY"),
    (REFERRER_POLICY, "same-origin"),
    (CACHE_CONTROL, "no-store"),
];

/// Says of a request what kind of page has made it (Fetch Metadata Request Headers of the W3C).
const FETCH_SITE: HeaderName = HeaderName::from_static("sec-fetch-site");
const FETCH_DEST: HeaderName = HeaderName::from_static("sec-fetch-dest");

/// Where requests are answered; with every request.
#[derive(Debug, Clone)]
pub(super) struct Workers(pub(super) Handle);

/// The first to see a request and the last to see its answer.
pub(super) async fn guard(State(app): State<App>, request: Request, next: Next) -> Response {
    let what = format!("{} {}", request.method(), request.uri().path());
    let asker = asker(&app, &request);
    let refused = refusal(&app, &request);
    let mut answer = match refused {
        None if is_stop(&request) => {
            let _answering = answering(&request);
            next.run(request).await
        }
        None => answered(&app, request, next).await,
        Some(why) => (StatusCode::FORBIDDEN, why).into_response(),
    };
    let status = answer.status();
    let failed = status.is_client_error() || status.is_server_error();
    if failed && answer.extensions().get::<WrittenDown>().is_none() {
        let why = refused.unwrap_or_else(|| words(status));
        app.inside.acts.keep(&asker, &what, Some(why), None);
        if is_unread(status) {
            answer = (status, why).into_response();
        }
    }
    for (name, value) in SAID {
        if !answer.headers().contains_key(&name) {
            answer.headers_mut().insert(name, HeaderValue::from_static(value));
        }
    }
    answer
}

/// Takes the whole request in, and has it answered: here when it only takes away, by the workers
/// otherwise.
async fn answered(app: &App, request: Request, next: Next) -> Response {
    let whole = match whole(request).await {
        Ok(whole) => whole,
        Err((status, why)) => return (status, why).into_response(),
    };
    let workers = whole.request.extensions().get::<Workers>().map(|workers| workers.0.clone());
    let _answering = whole.takes_away.then(|| answering(&whole.request));
    let answer = if whole.takes_away {
        tokio::spawn(next.run(whole.request))
    } else {
        let Ok(place) = app.inside.answering.clone().acquire_owned().await else {
            return (StatusCode::SERVICE_UNAVAILABLE, texts::ENDING).into_response();
        };
        // Without workers of its own a panel answers where it takes in.
        workers.unwrap_or_else(Handle::current).spawn(async move {
            let answer = next.run(whole.request).await;
            drop(place);
            answer
        })
    };
    match answer.await {
        Ok(answer) => answer,
        Err(broken) => (StatusCode::INTERNAL_SERVER_ERROR, broken.to_string()).into_response(),
    }
}

/// Keeps a request's connection, while what only takes away is answered on it, from making room.
fn answering(request: &Request) -> Option<Answering> {
    request.extensions().get::<Stopping>().map(Stopping::begun)
}

/// A request with all of its body.
struct Whole {
    request: Request,
    /// Whether it can only take away.
    takes_away: bool,
}

async fn whole(request: Request) -> Result<Whole, (StatusCode, &'static str)> {
    // What only looks has no body that anybody reads; a web socket begins as one of these.
    if matches!(*request.method(), Method::GET | Method::HEAD) {
        return Ok(Whole { request, takes_away: false });
    }
    let (head, body) = request.into_parts();
    let Ok(taken) = timeout(BODY_WITHIN, taken_in(body)).await else {
        return Err((StatusCode::REQUEST_TIMEOUT, texts::TOO_SLOW));
    };
    let bytes = taken?;
    let takes_away = head.uri.path() == "/ask" && asking::takes_away(&bytes);
    Ok(Whole { request: Request::from_parts(head, Body::from(bytes)), takes_away })
}

/// A body as it arrives, be its size declared or not.
async fn taken_in(body: Body) -> Result<Vec<u8>, (StatusCode, &'static str)> {
    const TOO_LARGE: (StatusCode, &str) = (StatusCode::PAYLOAD_TOO_LARGE, texts::TOO_LARGE);
    if body.size_hint().lower() > LARGEST_BODY as u64 {
        return Err(TOO_LARGE);
    }
    let mut pieces = body.into_data_stream();
    let mut taken = Vec::new();
    while let Some(piece) = pieces.next().await {
        let piece = piece.map_err(|_| (StatusCode::BAD_REQUEST, texts::NOT_READ))?;
        if taken.len() + piece.len() > LARGEST_BODY {
            return Err(TOO_LARGE);
        }
        taken.extend_from_slice(&piece);
    }
    Ok(taken)
}

/// Why a request was refused that no page has refused in words of its own.
fn words(status: StatusCode) -> &'static str {
    match status {
        StatusCode::NOT_FOUND => texts::NOT_FOUND,
        StatusCode::METHOD_NOT_ALLOWED => texts::NO_SUCH_WAY,
        StatusCode::PAYLOAD_TOO_LARGE => texts::TOO_LARGE,
        StatusCode::REQUEST_TIMEOUT => texts::TOO_SLOW,
        status if status.is_client_error() => texts::NOT_READ,
        status => status.canonical_reason().unwrap_or(texts::NOT_READ),
    }
}

/// Whether nobody could make anything of a request: what its reader says of that is in the words of
/// a library.
const fn is_unread(status: StatusCode) -> bool {
    matches!(
        status,
        StatusCode::BAD_REQUEST
            | StatusCode::UNSUPPORTED_MEDIA_TYPE
            | StatusCode::UNPROCESSABLE_ENTITY
            | StatusCode::UPGRADE_REQUIRED
    )
}

fn asker(app: &App, request: &Request) -> Asker {
    let peer = request.extensions().get::<ConnectInfo<SocketAddr>>();
    // A connection always has its other end; without one it is nowhere near the machine.
    let peer = peer.map_or(IpAddr::from([255; 4]), |peer| peer.0.ip());
    let whence = app.whence(peer, request.headers());
    let visitor = Visitor::find(request.headers(), app, whence, Activity::Look);
    visitor.map_or(Asker { name: NOT_SIGNED_IN.into(), role: None, whence }, |one| one.asker())
}

/// Whoever can reach the panel can stop the machine.
fn is_stop(request: &Request) -> bool {
    request.uri().path() == "/stop" && request.method() == Method::POST
}

fn refusal(app: &App, request: &Request) -> Option<&'static str> {
    if is_stop(request) {
        return None;
    }
    let headers = request.headers();
    let Ok(Some(host)) = only(headers, &HOST) else { return Some(texts::NO_HOST) };
    if !is_ours(app, host) {
        return Some(texts::OTHER_HOST);
    }
    // A browser says of every request that could change something, and of every web socket, which
    // page it came from.
    let changes = request.method() != Method::GET || request.uri().path() == "/jog";
    let ours = |origin: &str| {
        origin.strip_prefix("http://").or_else(|| origin.strip_prefix("https://")) == Some(host)
    };
    match only(headers, &ORIGIN) {
        Ok(Some(origin)) if changes && !ours(origin) => return Some(texts::OTHER_ORIGIN),
        Err(Unclear) => return Some(texts::OTHER_ORIGIN),
        Ok(_) => {}
    }
    // Newer browsers say of every request whether a page elsewhere has made it. Such a page may
    // lead a person here, and nothing else: already a look at the panel can begin a session.
    let elsewhere = match only(headers, &FETCH_SITE) {
        Ok(None | Some("same-origin" | "none")) => false,
        Ok(Some(_)) | Err(Unclear) => true,
    };
    let leads_here = !changes && only(headers, &FETCH_DEST) == Ok(Some("document"));
    (elsewhere && !leads_here).then_some(texts::OTHER_ORIGIN)
}

/// A header that is there more than once, or not as text.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct Unclear;

/// The one value of a header.
fn only<'a>(headers: &'a HeaderMap, name: &HeaderName) -> Result<Option<&'a str>, Unclear> {
    let mut values = headers.get_all(name).iter();
    match (values.next(), values.next()) {
        (None, _) => Ok(None),
        (Some(value), None) => value.to_str().map(Some).map_err(|_| Unclear),
        (Some(_), Some(_)) => Err(Unclear),
    }
}

/// Whether the panel is called by an address or by a name of its own: a page elsewhere whose name
/// was turned to this address afterwards calls it by that name.
fn is_ours(app: &App, host: &str) -> bool {
    let bare = host
        .strip_prefix('[')
        .and_then(|rest| rest.split_once(']'))
        .map_or_else(|| host.rsplit_once(':').map_or(host, |(name, _)| name), |(inner, _)| inner);
    bare.parse::<IpAddr>().is_ok()
        || bare.eq_ignore_ascii_case("localhost")
        || app.inside.options.names.iter().any(|name| name.eq_ignore_ascii_case(bare))
}
