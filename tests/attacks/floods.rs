//! Floods, each a value that goes on until it is dropped.

use std::io::{Read as _, Write as _};
use std::net::TcpStream;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::thread::{JoinHandle, sleep, spawn};
use std::time::Duration;

use crate::person::{AWAY, Browser, new_id};
use crate::raw::{FORM, form, request};
use crate::served::{PEOPLE, Served};

/// Some threads that do the same until this goes.
pub(crate) struct Flood {
    over: Arc<AtomicBool>,
    counts: Arc<[AtomicU64; 2]>,
    threads: Vec<JoinHandle<()>>,
}

impl Flood {
    /// `act` says whether it was let in.
    fn of(threads: usize, act: impl Fn() -> bool + Clone + Send + 'static) -> Self {
        let (over, counts) = (Arc::new(AtomicBool::new(false)), Arc::<[AtomicU64; 2]>::default());
        let one = || {
            let (over, counts, act) = (over.clone(), counts.clone(), act.clone());
            spawn(move || {
                while !over.load(Ordering::Relaxed) {
                    counts[usize::from(act())].fetch_add(1, Ordering::Relaxed);
                }
            })
        };
        let threads = (0..threads).map(|_| one()).collect();
        Self { over, counts, threads }
    }

    /// So many were refused, and so many let in.
    pub(crate) fn counts(&self) -> [u64; 2] {
        self.counts.each_ref().map(|count| count.load(Ordering::Relaxed))
    }
}

impl Drop for Flood {
    fn drop(&mut self) {
        self.over.store(true, Ordering::Relaxed);
        for thread in self.threads.drain(..) {
            // It has told what went wrong by itself.
            let _ = thread.join();
        }
    }
}

/// Sends and says whether the answer begins with that status.
fn answered(address: &str, bytes: &[u8], status: &str) -> bool {
    let Ok(mut stream) = TcpStream::connect(address) else { return false };
    let _ = stream.set_read_timeout(Some(Duration::from_secs(5)));
    let _ = stream.write_all(bytes);
    let mut read = Vec::new();
    let _ = stream.read_to_end(&mut read);
    read.starts_with(format!("HTTP/1.1 {status}").as_bytes())
}

/// So many connections that send a byte of a head a second, and come again when they are cut off.
pub(crate) fn slow_loris(served: &Served, connections: usize) -> Flood {
    let address = served.address.clone();
    let head: Arc<[u8]> = request(&address, "GET /", &[("X", &"y".repeat(1000))], b"").into();
    let open = move |count: usize| -> Vec<(TcpStream, usize)> {
        (0..count).filter_map(|_| Some((TcpStream::connect(&address).ok()?, 0))).collect()
    };
    let slow = std::sync::Mutex::new(open(connections));
    let slow = Arc::new(slow);
    Flood::of(1, move || {
        let mut slow = slow.lock().expect("one thread");
        slow.retain_mut(|(stream, sent)| {
            *sent += 1;
            let byte = head.get(*sent - 1).copied().unwrap_or(b'y');
            stream.write_all(&[byte]).is_ok()
        });
        let missing = connections - slow.len();
        slow.extend(open(missing));
        drop(slow);
        sleep(Duration::from_secs(1));
        true
    })
}

/// Event streams of so many sessions, so many of each: those that were opened, and how many were
/// refused. They are read by nobody.
pub(crate) fn streams(served: &Served, sessions: usize, each: usize) -> (Vec<TcpStream>, usize) {
    let (mut open, mut refused) = (Vec::new(), 0);
    for _ in 0..sessions {
        let browser = Browser::of(served, "Operator");
        for _ in 0..each {
            let asked = request(&served.address, "GET /live?page=run", &browser.headers(), b"");
            let mut stream = crate::raw::connect(&served.address);
            stream.write_all(&asked).expect("asked");
            match first_event(&mut stream).as_str() {
                "busy" => refused += 1,
                _ => open.push(stream),
            }
        }
    }
    (open, refused)
}

/// The name of a stream's first event; empty for what has changed, which has none.
fn first_event(stream: &mut TcpStream) -> String {
    let (mut begun, mut some) = (Vec::new(), [0; 256]);
    loop {
        let count = stream.read(&mut some).expect("an answer");
        assert!(count > 0, "a stream without an event: {}", begun.escape_ascii());
        begun.extend_from_slice(&some[..count]);
        let text = String::from_utf8_lossy(&begun);
        assert!(text.starts_with("HTTP/1.1 200"), "{text}");
        let body = text.split_once("\r\n\r\n").map_or("", |(_, body)| body);
        if let Some((before, _)) = body.split_once("data:") {
            let named = before.split_once("event:").map_or("", |(_, name)| name);
            return named.trim().to_owned();
        }
    }
}

/// Somebody who is signed in asks for that as quickly as it goes.
pub(crate) fn asking(browser: &Browser<'_>, word: &'static str, threads: usize) -> Flood {
    let (address, token) = (browser.served.address.clone(), browser.form.clone());
    let cookie = browser.cookie.clone();
    Flood::of(threads, move || {
        let id = new_id();
        let fields = [("ask", word), ("turn", "1"), ("form", &token), ("id", &id)];
        let headers = [("Cookie", cookie.as_str()), FORM];
        let body = form(&fields);
        answered(&address, &request(&address, "POST /ask", &headers, body.as_bytes()), "200")
    })
}

/// Somebody who is signed in opens pages as quickly as it goes, and waits for none.
pub(crate) fn looking(browser: &Browser<'_>, threads: usize) -> Flood {
    let address = browser.served.address.clone();
    let pages: Arc<[Vec<u8>]> = ["/", "/recipes/short-job.toml", "/records", "/recipes"]
        .iter()
        .map(|path| request(&address, &format!("GET {path}"), &browser.headers(), b""))
        .collect();
    let next = Arc::new(AtomicU64::new(0));
    Flood::of(threads, move || {
        let number = usize::try_from(next.fetch_add(1, Ordering::Relaxed)).expect("small");
        let page = &pages[number % pages.len()];
        if number % 2 == 0 {
            return answered(&address, page, "200");
        }
        TcpStream::connect(&address).is_ok_and(|mut stream| stream.write_all(page).is_ok())
    })
}

/// Wrong PINs as quickly as they are answered.
pub(crate) fn guessing(served: &Served, threads: usize) -> Flood {
    let address = served.address.clone();
    Flood::of(threads, move || {
        let body = form(&[("name", PEOPLE[0].0), ("pin", "1357")]);
        let headers = [FORM, AWAY];
        answered(&address, &request(&address, "POST /sign-in", &headers, body.as_bytes()), "303")
    })
}

/// Connections that are opened and say nothing.
pub(crate) fn connecting(served: &Served, threads: usize) -> Flood {
    let address = served.address.clone();
    let held = Arc::new(std::sync::Mutex::new(std::collections::VecDeque::new()));
    Flood::of(threads, move || {
        let Ok(stream) = TcpStream::connect(&address) else { return false };
        let mut held = held.lock().expect("whole");
        held.push_back(stream);
        if held.len() > 400 {
            held.pop_front();
        }
        true
    })
}

/// Stops as quickly as they are answered.
pub(crate) fn stopping(served: &Served, threads: usize) -> Flood {
    let address = served.address.clone();
    let stop = request(&address, "POST /stop", &[("Content-Length", "0")], b"");
    Flood::of(threads, move || answered(&address, &stop, "200"))
}

/// Things that are no requests.
pub(crate) fn nonsense(served: &Served, threads: usize) -> Flood {
    let address = served.address.clone();
    let next = Arc::new(AtomicU64::new(0));
    Flood::of(threads, move || {
        let number = next.fetch_add(1, Ordering::Relaxed);
        let line = format!("GET /{number}/../..%2f{number}");
        answered(&address, &request(&address, &line, &[], &[b'x'; 1000]), "200")
    })
}

#[test]
fn of_two_hundred_event_streams_those_beyond_the_limit_are_refused_and_a_stop_gets_through() {
    let served = Served::on_twin("1");
    let (one, refused) = streams(&served, 1, 25);
    println!("of 25 event streams of one session {} are open, {refused} refused", one.len());
    assert_eq!((one.len(), refused), (3, 22));
    drop(one);
    sleep(Duration::from_secs(1));
    let (open, refused) = streams(&served, 20, 10);
    println!("of 200 event streams of twenty sessions {} are open, {refused} refused", open.len());
    assert_eq!((open.len(), refused), (48, 152));
    let act = served.wrote_refused("watch", "too many pages look on");
    assert_eq!(act.person, "C. Operator");
    let (answer, took) = served.stop();
    println!("a stop beside them was answered in {took:.1?}");
    assert_eq!(answer.status, 200);
    assert!(took < Duration::from_secs(1));
}

#[test]
fn what_only_takes_away_is_answered_however_often_it_is_asked_and_fills_no_record() {
    let served = Served::on_twin("1");
    let operator = Browser::of(&served, "Operator");
    let flood = asking(&operator, "hold", 4);
    sleep(Duration::from_secs(3));
    let [refused, let_in] = flood.counts();
    drop(flood);
    Served::breathe();
    let lines = served.acts().len();
    println!(
        "hold was asked {let_in} times in 3 s, {refused} refused: {lines} lines of the record"
    );
    assert!(refused == 0 && let_in > 100, "{refused} refused, {let_in} let in");
    assert!(lines < 20, "{lines}");
}

#[test]
fn who_asks_without_end_is_bounded_and_keeps_nobody_from_asking() {
    let served = Served::on_twin("1");
    let operator = Browser::of(&served, "Operator");
    operator.take_seat();
    let (flood, begun) = (asking(&operator, "accept", 4), std::time::Instant::now());
    sleep(Duration::from_secs(3));
    for takes_away in ["hold", "abort"] {
        let begun = std::time::Instant::now();
        assert_eq!(operator.ask(takes_away, "").status, 200, "{takes_away} is never too quick");
        println!("beside them {takes_away} of the same session took {:.1?}", begun.elapsed());
    }
    let other = Browser::of(&served, "Fitter");
    assert_eq!(other.ask("hold", "").status, 200, "another session is not held up");
    let (answer, took) = served.stop();
    let [refused, let_in] = flood.counts();
    drop(flood);
    let most = 46.0 + 20.0 * begun.elapsed().as_secs_f64();
    println!(
        "one session asked {} times in 3 s: {let_in} were let in; a stop took {took:.1?}",
        refused + let_in
    );
    assert_eq!(answer.status, 200);
    assert!(took < Duration::from_secs(1));
    assert!(let_in >= 30 && (let_in as f64) < most, "{let_in} of at most {most}");
    let act = served.wrote_refused("accept", "quicker than hands");
    assert_eq!(act.person, "C. Operator");
    Served::breathe();
    let lines = served.acts().len();
    println!("they are {lines} lines of the record");
    assert!(u64::try_from(lines).expect("small") < let_in + 40);
}
