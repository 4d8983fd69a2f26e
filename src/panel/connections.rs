//! Takes connections in, and keeps their number bounded so that somebody with a stop always gets
//! through: who does not say in time what they want is cut off, and where all places are taken the
//! oldest of whoever has most makes room, unless it carries a stream, or a stop while there is
//! another. Those at the machine go last.
//!
//! All this happens on a thread of its own. Nothing on it waits for a disk or works a page out: a
//! stop does not queue behind what others have asked for.

use std::collections::{BTreeMap, VecDeque};
use std::io;
use std::net::{IpAddr, SocketAddr};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicU32, Ordering};
use std::thread::Builder;
use std::time::Duration;

use axum::body::Body;
use axum::extract::ConnectInfo;
use axum::http::HeaderMap;
use hyper::body::Incoming;
use hyper::server::conn::http1;
use hyper::service::service_fn;
use hyper_util::rt::{TokioIo, TokioTimer};
use tokio::net::{TcpListener, TcpStream};
use tokio::runtime::Handle;
use tokio::sync::{oneshot, watch};
use tokio::task::AbortHandle;
use tokio::time::timeout;
use tower_service::Service as _;
use tracing::{debug, warn};

use super::app::App;
use super::guard::Workers;
use super::visitor::Asker;
use super::{router, set_up, texts};
use crate::people::{NOT_SIGNED_IN, Whence};

/// How long a request's head may take to arrive; a browser sends it in one piece.
const HEAD_WITHIN: Duration = Duration::from_secs(5);
/// The largest head, bytes, and the most headers: twice what browsers send (common practice, no
/// source).
const LARGEST_HEAD: usize = 16 * 1024;
const MOST_HEADERS: usize = 64;
/// Connections at once: some for each of the most streams, and as many again.
const MOST: usize = 192;
/// What is told to wait after the system has no more connections to give.
const BREATH: Duration = Duration::from_millis(100);

/// Marks a connection as one that is not to be cut off: it carries a stream.
#[derive(Debug, Clone, Default)]
pub(super) struct Stays(Arc<AtomicBool>);

impl Stays {
    /// It stays.
    pub(super) fn set(&self) {
        self.0.store(true, Ordering::Relaxed);
    }

    fn is_set(&self) -> bool {
        self.0.load(Ordering::Relaxed)
    }
}

/// Marks a connection while a stop, or whatever else only takes away, is answered on it.
#[derive(Debug, Clone, Default)]
pub(super) struct Stopping(Arc<AtomicBool>);

impl Stopping {
    /// Marked from now on, until what comes back is dropped.
    pub(super) fn begun(&self) -> Answering {
        self.0.store(true, Ordering::Relaxed);
        Answering(self.clone())
    }

    fn is_set(&self) -> bool {
        self.0.load(Ordering::Relaxed)
    }
}

/// A stop is being answered as long as this is there.
#[derive(Debug)]
pub(super) struct Answering(Stopping);

impl Drop for Answering {
    fn drop(&mut self) {
        self.0.0.store(false, Ordering::Relaxed);
    }
}

/// One connection.
#[derive(Debug)]
struct One {
    handle: AbortHandle,
    stays: Stays,
    stopping: Stopping,
    peer: IpAddr,
    /// From where its head says nothing of that yet, as one sender.
    from: Whence,
}

/// All connections, the oldest first.
#[derive(Debug, Default)]
struct Open(VecDeque<One>);

impl Open {
    /// Makes room for one more; from where the one was that had to go, if one had to.
    fn make_room(&mut self) -> Option<IpAddr> {
        self.0.retain(|one| !one.handle.is_finished());
        if self.0.len() < MOST {
            return None;
        }
        let mut counts: BTreeMap<Whence, usize> = BTreeMap::new();
        for one in self.0.iter().filter(|one| !one.stays.is_set()) {
            *counts.entry(one.from).or_default() += 1;
        }
        // What comes through a server on this computer counts as at the machine here; half of all
        // places is more than anybody there needs.
        let here = counts.remove(&Whence::Machine).unwrap_or_default();
        let most_away = counts.into_iter().max_by_key(|(_, count)| *count);
        let from = match most_away {
            Some((from, _)) if here <= MOST / 2 => from,
            _ if here > 0 => Whence::Machine,
            _ => most_away?.0,
        };
        // A stop is answered within a few scans; only where there is nothing but stops does one go.
        let oldest = |may_stop: bool| {
            self.0.iter().position(|one| {
                one.from == from && !one.stays.is_set() && (may_stop || !one.stopping.is_set())
            })
        };
        let place = oldest(false).or_else(|| oldest(true))?;
        let gone = self.0.remove(place)?;
        gone.handle.abort();
        Some(gone.peer)
    }
}

/// Serves the panel until `over` says so, or whoever could say it is gone; what comes back says when
/// it has ended. The thread that takes connections in is made at once, by the thread that calls
/// this, and is as urgent as that one; all but stops is answered by the runtime that this is called
/// in. Ending it moves nothing and stops nothing at the machine; what goes wrong with a connection is
/// that connection's end.
///
/// # Errors
/// The thread that takes connections in cannot be made.
pub fn serve(
    app: App,
    listener: std::net::TcpListener,
    over: watch::Receiver<bool>,
) -> impl Future<Output = io::Result<()>> + Send + 'static {
    let workers = Workers(Handle::current());
    let (tell, ended) = oneshot::channel();
    let following = tokio::spawn(set_up::follow(app.clone()));
    let made = Builder::new().name("panel".to_owned()).spawn(move || {
        let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build();
        let result = runtime.and_then(|runtime| {
            let taking_in = async {
                take_in(app, TcpListener::from_std(listener)?, over, workers).await;
                Ok(())
            };
            runtime.block_on(taking_in)
        });
        // Nobody waits any more where the program ends.
        let _ = tell.send(result);
    });
    async move {
        let ended = match made {
            Ok(_) => ended.await,
            Err(trouble) => Ok(Err(trouble)),
        };
        following.abort();
        ended.unwrap_or_else(|_| Err(io::Error::other("the panel's thread broke down")))
    }
}

async fn take_in(
    app: App,
    listener: TcpListener,
    mut over: watch::Receiver<bool>,
    workers: Workers,
) {
    let mut open = Open::default();
    let connections = Connections { routes: router(app.clone()), app, workers };
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
        if let Some(gone) = open.make_room() {
            connections.refused(gone, texts::NO_ROOM);
        }
        let (stays, stopping) = (Stays::default(), Stopping::default());
        let carrying = connections.clone().carry(stream, peer, stays.clone(), stopping.clone());
        let handle = tokio::spawn(carrying).abort_handle();
        let from = connections.app.whence(peer.ip(), &HeaderMap::new()).sender();
        open.0.push_back(One { handle, stays, stopping, peer: peer.ip(), from });
    }
}

/// What every connection needs.
#[derive(Clone)]
struct Connections {
    routes: axum::Router,
    app: App,
    workers: Workers,
}

impl Connections {
    /// Writes down what was refused before there was a request.
    fn refused(&self, peer: IpAddr, why: &str) {
        let whence = self.app.whence(peer, &HeaderMap::new());
        let asker = Asker { name: NOT_SIGNED_IN.into(), role: None, whence };
        self.app.inside.acts.keep(&asker, texts::CONNECTION, Some(why), None);
    }

    async fn carry(self, stream: TcpStream, peer: SocketAddr, stays: Stays, stopping: Stopping) {
        // A stop is a small thing that must not wait for more to come.
        if let Err(trouble) = stream.set_nodelay(true) {
            debug!("{peer}: {trouble}");
        }
        // Browsers open connections before they need them: one that says nothing is no attack.
        if !matches!(timeout(HEAD_WITHIN, stream.readable()).await, Ok(Ok(()))) {
            return;
        }
        let requests = Arc::new(AtomicU32::new(0));
        let (asked, routes, workers) =
            (requests.clone(), self.routes.clone(), self.workers.clone());
        let service = service_fn(move |request: hyper::Request<Incoming>| {
            asked.fetch_add(1, Ordering::Relaxed);
            let mut request = request.map(Body::new);
            request.extensions_mut().insert(ConnectInfo(peer));
            request.extensions_mut().insert(stays.clone());
            request.extensions_mut().insert(stopping.clone());
            request.extensions_mut().insert(workers.clone());
            // A router is always ready.
            let mut routes = routes.clone();
            async move { routes.call(request).await }
        });
        let served = http1::Builder::new()
            .timer(TokioTimer::new())
            .header_read_timeout(HEAD_WITHIN)
            .max_headers(MOST_HEADERS)
            .max_buf_size(LARGEST_HEAD)
            .serve_connection(TokioIo::new(stream), service)
            .with_upgrades()
            .await;
        let Err(trouble) = served else { return };
        debug!("{peer}: {trouble}");
        if trouble.is_parse() {
            self.refused(peer.ip(), texts::NOT_READ);
        } else if trouble.is_timeout() && requests.load(Ordering::Relaxed) == 0 {
            // After a first request it is only a browser that keeps its connection.
            self.refused(peer.ip(), texts::TOO_SLOW);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn where_all_places_are_taken_the_oldest_of_whoever_has_most_goes_and_no_stream() {
        let runtime = tokio::runtime::Builder::new_current_thread().build().unwrap();
        let waits = || runtime.spawn(std::future::pending::<()>()).abort_handle();
        let one = |last: u8, stays: Stays| one(waits(), IpAddr::from([192, 0, 2, last]), stays);
        let stream = Stays::default();
        stream.set();
        let mut open = Open::default();
        open.0.push_back(one(1, Stays::default()));
        open.0.push_back(one(2, stream));
        assert_eq!(open.make_room(), None);
        while open.0.len() < MOST {
            open.0.push_back(one(2, Stays::default()));
        }
        assert_eq!(open.make_room(), Some(IpAddr::from([192, 0, 2, 2])));
        assert_eq!(open.0.len(), MOST - 1);
        assert!(open.0[0].peer == IpAddr::from([192, 0, 2, 1]) && open.0[1].stays.is_set());
    }

    fn one(handle: AbortHandle, peer: IpAddr, stays: Stays) -> One {
        let from = if peer.is_loopback() { Whence::Machine } else { Whence::Away(peer) };
        One { handle, stays, stopping: Stopping::default(), peer, from: from.sender() }
    }

    #[test]
    fn a_connection_with_a_stop_makes_room_only_where_there_is_nothing_but_stops() {
        let runtime = tokio::runtime::Builder::new_current_thread().build().unwrap();
        let waits = || runtime.spawn(std::future::pending::<()>()).abort_handle();
        let here = IpAddr::from([127, 0, 0, 1]);
        let mut open = Open::default();
        open.0.push_back(one(waits(), here, Stays::default()));
        let answering = open.0[0].stopping.begun();
        for _ in 0..10 * MOST {
            open.make_room();
            open.0.push_back(one(waits(), here, Stays::default()));
        }
        assert!(open.0.len() == MOST && open.0[0].stopping.is_set(), "the stop is answered");
        // Once it is, its connection is like any other.
        drop(answering);
        let left = open.0[0].stopping.clone();
        open.make_room();
        assert!(!open.0.iter().any(|one| Arc::ptr_eq(&one.stopping.0, &left.0)));
        // Nobody takes all places with stops.
        let all: Vec<_> = open.0.iter().map(|one| one.stopping.begun()).collect();
        open.0.push_back(one(waits(), here, Stays::default()));
        let _last = open.0[MOST - 1].stopping.begun();
        assert_eq!(open.make_room(), Some(here));
        assert_eq!((open.0.len(), all.len()), (MOST - 1, MOST - 1));
    }

    #[test]
    fn a_flood_from_many_addresses_cuts_nobody_off_who_is_at_the_machine() {
        let runtime = tokio::runtime::Builder::new_current_thread().build().unwrap();
        let waits = || runtime.spawn(std::future::pending::<()>()).abort_handle();
        let address = |number: usize| {
            // Half of them are of one network, half each of one of its own.
            let network = (number % 2) * number;
            let address = 0x2001_0db8_u128 << 96 | (network as u128) << 64 | number as u128;
            IpAddr::from(std::net::Ipv6Addr::from(address))
        };
        let here = IpAddr::from([127, 0, 0, 1]);
        let mut open = Open::default();
        for _ in 0..6 {
            open.0.push_back(one(waits(), here, Stays::default()));
        }
        for number in 0..1000 {
            let gone = open.make_room();
            assert_ne!(gone, Some(here), "{number}");
            open.0.push_back(one(waits(), address(number), Stays::default()));
        }
        // And whoever takes half of all places at the machine keeps nobody else from theirs.
        for _ in 0..MOST {
            open.make_room();
            open.0.push_back(one(waits(), here, Stays::default()));
        }
        let count = open.0.iter().filter(|one| one.peer == here).count();
        assert_eq!(count, MOST / 2 + 1);
    }
}
