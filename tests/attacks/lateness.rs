//! How late the scan is while the panel is attacked, beside idle, on a machine of two processes
//! joined by pseudo-terminals; and how long a stop takes meanwhile, which is the promise.

use std::io::Write as _;
use std::time::{Duration, Instant};

use crate::floods::{
    Flood, asking, connecting, guessing, looking, nonsense, slow_loris, stopping, streams,
};
use crate::jog_line::{opened, sign};
use crate::person::Browser;
use crate::served::{Served, printed_machine};

/// How long each attack goes on.
const FOR: Duration = Duration::from_millis(2500);
/// The longest that a stop may take to be answered, which is the promise.
const STOPS_WITHIN: Duration = Duration::from_secs(1);

/// The scan's lateness over a time, and the slowest stop in it.
struct Seen {
    late_us: Vec<u64>,
    worst_us: u64,
    scans: u64,
    skipped: u64,
    stop: Duration,
}

fn watch(served: &Served) -> Seen {
    let beat = || served.alive()["beat"].clone();
    let figure = |beat: &serde_json::Value, name: &str| beat[name].as_u64().expect("a number");
    let begins = beat();
    let since = |beat: &serde_json::Value, name: &str| figure(beat, name) - figure(&begins, name);
    // The second that has begun may still tell of what was before.
    let (begun, mut last_stop) = (Instant::now(), Instant::now());
    let mut seen =
        Seen { late_us: Vec::new(), worst_us: 0, scans: 0, skipped: 0, stop: Duration::ZERO };
    while begun.elapsed() < FOR {
        let now = beat();
        seen.late_us.push(figure(&now, "late_us"));
        if begun.elapsed() > Duration::from_millis(1200) {
            seen.worst_us = seen.worst_us.max(figure(&now, "worst_lately_us"));
        }
        (seen.scans, seen.skipped) = (since(&now, "scans"), since(&now, "skipped"));
        if last_stop.elapsed() > Duration::from_millis(400) {
            last_stop = Instant::now();
            let (answer, took) = served.stop();
            assert_eq!(answer.status, 200, "{answer:?}");
            seen.stop = seen.stop.max(took);
        }
        std::thread::sleep(Duration::from_millis(50));
    }
    seen.late_us.sort_unstable();
    seen
}

fn print(what: &str, seen: &Seen, told: &str) {
    let at = |share: usize| {
        let place = seen.late_us.len() * share / 100;
        seen.late_us[place.min(seen.late_us.len() - 1)]
    };
    println!(
        "{what:<34} scan late: p50 {:>5} us, p99 {:>6} us, worst {:>6} us, {:>3} made, {:>3} \
         skipped; slowest stop {:>6.1?}; {told}",
        at(50),
        at(99),
        seen.worst_us,
        seen.scans,
        seen.skipped,
        seen.stop
    );
    assert!(seen.stop < STOPS_WITHIN, "{what}: a stop took {:?}", seen.stop);
    // However late some of them are, more than half of those that were due are made.
    assert!(seen.scans > seen.skipped, "{what}: {} made, {} skipped", seen.scans, seen.skipped);
}

#[test]
fn the_scan_goes_on_and_a_stop_is_answered_within_a_second_whatever_is_done_to_the_panel() {
    printed_machine();
    let served = Served::on_lines();
    let (operator, fitter) = (Browser::of(&served, "Operator"), Browser::of(&served, "Fitter"));
    operator.take_seat();
    // The lines come up, and the start of everything is over.
    std::thread::sleep(Duration::from_secs(3));
    print("idle", &watch(&served), "");
    let floods: [(&str, &dyn Fn() -> Flood); 8] = [
        ("slow-loris, 300 connections", &|| slow_loris(&served, 300)),
        ("asking at full speed", &|| asking(&operator, "accept", 4)),
        ("holding at full speed", &|| asking(&operator, "hold", 4)),
        ("opening pages at full speed", &|| looking(&operator, 4)),
        ("wrong PINs at full speed", &|| guessing(&served, 4)),
        ("connecting at full speed", &|| connecting(&served, 4)),
        ("stopping at full speed", &|| stopping(&served, 4)),
        ("nonsense at full speed", &|| nonsense(&served, 4)),
    ];
    for (what, begin) in floods {
        let flood = begin();
        let seen = watch(&served);
        let [refused, let_in] = flood.counts();
        print(what, &seen, &format!("{refused} refused, {let_in} let in"));
    }
    let (open, refused) = streams(&served, 20, 10);
    print("200 event streams", &watch(&served), &format!("{refused} refused, {} open", open.len()));
    drop(open);
    let (status, mut line) = opened(&fitter);
    assert_eq!(status, 101);
    for _ in 0..1000 {
        if line.write_all(&sign("chuck", 1, 1)).is_err() {
            break;
        }
    }
    print("signs of a jog key without end", &watch(&served), "");
    // Whatever happened, the panel serves and the record is not filled.
    assert_eq!(operator.get("/").status, 200);
    let lines = served.acts().len();
    println!("all of it is {lines} lines of the record");
    assert!(lines < 1500, "{lines}");
}
