//! Takes connections in, and keeps their number bounded so that somebody with a stop always gets
//! through: who does not say in time what they want is cut off, and where all places are taken the
//! oldest that is neither a stream nor a jog key makes room.

use std::collections::VecDeque;
use std::net::SocketAddr;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex};
use std::time::Duration;

use axum::body::Body;
use axum::extract::ConnectInfo;
use hyper::body::Incoming;
use hyper::server::conn::http1;
use hyper::service::service_fn;
use hyper_util::rt::{TokioIo, TokioTimer};
use tokio::net::{TcpListener, TcpStream};
use tokio::sync::watch;
use tokio::task::AbortHandle;
use tower_service::Service as _;
use tracing::{debug, warn};

use super::app::{App, locked};
use super::router;

/// How long a request's head may take to arrive; a browser sends it in one piece.
const HEAD_WITHIN: Duration = Duration::from_secs(5);
/// Connections at once: some for each of the most streams, and as many again.
const MOST: usize = 192;
/// What is told to wait after the system has no more connections to give.
const BREATH: Duration = Duration::from_millis(100);

/// Marks a connection as one that is not to be cut off: it carries a stream or a jog key.
#[derive(Debug, Clone, Default)]
pub(super) struct Stays(Arc<AtomicBool>);

impl Stays {
    /// It stays.
    pub(super) fn set(&self) {
        self.0.store(true, Ordering::Relaxed);
    }
}

/// All connections, the oldest first.
#[derive(Debug, Default)]
struct Open(Mutex<VecDeque<(AbortHandle, Stays)>>);

impl Open {
    /// Makes room for one more.
    fn make_room(&self) {
        let mut open = locked(&self.0);
        open.retain(|(handle, _)| !handle.is_finished());
        if open.len() >= MOST
            && let Some(place) = open.iter().position(|(_, stays)| !stays.0.load(Ordering::Relaxed))
            && let Some((oldest, _)) = open.remove(place)
        {
            oldest.abort();
        }
    }

    fn add(&self, handle: AbortHandle, stays: Stays) {
        locked(&self.0).push_back((handle, stays));
    }
}

/// Serves the panel until `over` says so. Ending it moves nothing and stops nothing at the machine.
/// What goes wrong with a connection is that connection's end.
pub async fn serve(app: App, listener: TcpListener, mut over: watch::Receiver<bool>) {
    let open = Open::default();
    let routes = router(app);
    loop {
        let accepted = tokio::select! {
            accepted = listener.accept() => accepted,
            _ = over.wait_for(|over| *over) => return,
        };
        let (stream, peer) = match accepted {
            Ok(accepted) => accepted,
            Err(trouble) => {
                warn!("a connection was not taken in: {trouble}");
                tokio::time::sleep(BREATH).await;
                continue;
            }
        };
        open.make_room();
        let stays = Stays::default();
        let task = tokio::spawn(connection(stream, peer, routes.clone(), stays.clone()));
        open.add(task.abort_handle(), stays);
    }
}

async fn connection(stream: TcpStream, peer: SocketAddr, routes: axum::Router, stays: Stays) {
    // A stop is a small thing that must not wait for more to come.
    if let Err(trouble) = stream.set_nodelay(true) {
        debug!("{peer}: {trouble}");
    }
    let service = service_fn(move |request: hyper::Request<Incoming>| {
        let mut request = request.map(Body::new);
        request.extensions_mut().insert(ConnectInfo(peer));
        request.extensions_mut().insert(stays.clone());
        // A router is always ready.
        let mut routes = routes.clone();
        async move { routes.call(request).await }
    });
    let served = http1::Builder::new()
        .timer(TokioTimer::new())
        .header_read_timeout(HEAD_WITHIN)
        .max_buf_size(64 * 1024)
        .serve_connection(TokioIo::new(stream), service)
        .with_upgrades()
        .await;
    if let Err(trouble) = served {
        debug!("{peer}: {trouble}");
    }
}
