//! Stops from those who may do nothing else.

use std::io::Write as _;
use std::time::{Duration, Instant};

use crate::person::{AWAY, Browser};
use crate::raw::{self, connect};
use crate::served::Served;

/// How many times faster than life the twin goes here.
const PACE: &str = "16";

/// Brings the short job to where its flame is at work.
fn running(served: &Served) -> Browser<'_> {
    let operator = Browser::of(served, "Operator");
    operator.take_seat();
    assert_eq!(operator.load("short-job.toml").status, 200);
    let lines = ["line0", "line1", "line2", "line3", "line4"].map(|line| (line, "yes"));
    assert_eq!(operator.post("/checked", &lines).status, 200);
    assert_eq!(operator.post("/bench", &[("act", "key-on")]).status, 200);
    let end = Instant::now() + crate::served::PATIENCE;
    let accepted =
        |answer: &raw::Answer| answer.status == 200 && answer.body.contains("\"accepted\"");
    while !accepted(&operator.ask("home", "")) {
        assert!(Instant::now() < end, "not homed: {}", served.state());
        std::thread::sleep(Duration::from_millis(100));
    }
    while !burns(&served.state()) {
        // Whatever is asked next: a start, or a word of acceptance.
        operator.ask("start", "");
        operator.ask("accept", "");
        assert!(Instant::now() < end, "no flame: {}", served.state());
        std::thread::sleep(Duration::from_millis(150));
    }
    operator
}

/// Whether the flame is at work on the part.
fn burns(state: &str) -> bool {
    ["preheating", "soaking", "approaching", "spraying", "turning"]
        .iter()
        .any(|word| state.contains(word))
}

fn stopped(state: &str) -> bool {
    let state = state.to_lowercase();
    state.contains("stopped") || state.contains("ending the job") || state.contains("cool")
}

#[test]
fn in_the_middle_of_a_run_a_stop_is_taken_from_anyone_and_written_down() {
    let all: [&[(&str, &str)]; 5] = [
        &[],
        &[("Origin", "http://elsewhere.example")],
        &[("Host", "rebound.example")],
        &[("Sec-Fetch-Site", "cross-site"), AWAY],
        &[("Cookie", "evenpass=made-up")],
    ];
    std::thread::scope(|scope| {
        for headers in all {
            scope.spawn(move || stopped_by(headers));
        }
    });
}

fn stopped_by(headers: &[(&str, &str)]) {
    let served = Served::on_twin(PACE);
    let _operator = running(&served);
    let before = served.state();
    let begun = Instant::now();
    let answer = served.post("/stop", headers, &[("any", "thing")]);
    let took = begun.elapsed();
    assert_eq!(answer.status, 200, "{headers:?}: {answer:?}");
    assert!(answer.body.contains("accepted"), "{headers:?}: {answer:?}");
    served.until("the stop", stopped);
    println!("{headers:?}: stopped out of {before:?}, answered in {took:.1?}");
    let act = served.wrote("the stop", |act| act.what == "stop");
    assert_eq!((act.person.as_str(), act.answer.to_string().as_str()), ("not signed in", "done"));
}

#[test]
fn stops_whose_senders_are_gone_before_the_answer_keep_none_from_stopping_later() {
    let served = Served::on_twin(PACE);
    let stop = raw::request(&served.address, "POST /stop", &[("Content-Length", "0")], b"");
    for _ in 0..100 {
        let mut stream = connect(&served.address);
        stream.write_all(&stop).expect("sent");
        drop(stream);
    }
    served.wrote("the stops", |act| act.what.starts_with("stop ("));
    let stops = served.acts().iter().filter(|act| act.what.starts_with("stop")).count();
    println!("a hundred stops are {stops} lines of the record");
    assert!((2..=4).contains(&stops), "{stops}");
    // And then somebody who means it.
    let _operator = running(&served);
    let (answer, took) = served.stop();
    println!("after a hundred that were gone a stop was answered in {took:.1?}");
    assert!(answer.body.contains("accepted"), "{answer:?}");
    served.until("the stop", stopped);
}
