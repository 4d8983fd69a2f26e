//! Looks at every request before anything else does, and says with every answer what a browser
//! may do with it.

use std::net::{IpAddr, SocketAddr};

use axum::extract::{ConnectInfo, Request, State};
use axum::http::header::{
    CACHE_CONTROL, CONTENT_SECURITY_POLICY, HOST, HeaderName, ORIGIN, REFERRER_POLICY,
    X_CONTENT_TYPE_OPTIONS, X_FRAME_OPTIONS,
};
use axum::http::{HeaderMap, HeaderValue, Method, StatusCode};
use axum::middleware::Next;
use axum::response::{IntoResponse as _, Response};

use super::app::App;
use super::texts;
use super::visitor::Asker;
use crate::people::NOT_SIGNED_IN;

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

/// The first to see a request and the last to see its answer.
pub(super) async fn guard(State(app): State<App>, request: Request, next: Next) -> Response {
    let refused = refusal(&app, &request);
    let mut answer = match refused {
        None => next.run(request).await,
        Some(why) => {
            let peer = request.extensions().get::<ConnectInfo<SocketAddr>>();
            let peer = peer.map_or(IpAddr::from([255; 4]), |peer| peer.0.ip());
            let whence = app.whence(peer, request.headers());
            let asker = Asker { name: NOT_SIGNED_IN.into(), role: None, whence };
            let what = format!("{} {}", request.method(), shortened(request.uri().path()));
            app.inside.acts.keep(&asker, &what, Some(why), None);
            (StatusCode::FORBIDDEN, why).into_response()
        }
    };
    for (name, value) in SAID {
        if !answer.headers().contains_key(&name) {
            answer.headers_mut().insert(name, HeaderValue::from_static(value));
        }
    }
    answer
}

fn refusal(app: &App, request: &Request) -> Option<&'static str> {
    // Whoever can reach the panel can stop the machine.
    if request.uri().path() == "/stop" && request.method() == Method::POST {
        return None;
    }
    let headers = request.headers();
    let Some(host) = text(headers, &HOST) else { return Some(texts::NO_HOST) };
    if !is_ours(app, host) {
        return Some(texts::OTHER_HOST);
    }
    // A browser says of every request that could change something, and of every web socket, which
    // page it came from.
    let changes = request.method() != Method::GET || request.uri().path() == "/jog";
    let from = text(headers, &ORIGIN);
    let ours = |origin: &str| {
        origin.strip_prefix("http://").or_else(|| origin.strip_prefix("https://")) == Some(host)
    };
    match from {
        Some(origin) if changes && !ours(origin) => Some(texts::OTHER_ORIGIN),
        _ => None,
    }
}

fn text<'a>(headers: &'a HeaderMap, name: &HeaderName) -> Option<&'a str> {
    headers.get(name).and_then(|value| value.to_str().ok())
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

/// A path as it is written down.
fn shortened(path: &str) -> String {
    path.chars().take(80).collect()
}
