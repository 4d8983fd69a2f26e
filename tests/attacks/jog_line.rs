//! Abuse of the line that a held jog key has.

use std::io::{Read as _, Write as _};
use std::net::TcpStream;
use std::time::{Duration, Instant};

use serde_json::{Value, json};

use crate::commands::{told, until};
use crate::person::Browser;
use crate::raw::{connect, request};
use crate::served::Served;

/// Asks for the line: the status, and the connection.
pub(crate) fn opened(browser: &Browser<'_>) -> (u16, TcpStream) {
    let address = &browser.served.address;
    let own = format!("http://{address}");
    let headers = [
        &browser.headers()[..],
        &[
            ("Upgrade", "websocket"),
            ("Sec-WebSocket-Version", "13"),
            // RFC 6455, 1.3: the key of its example.
            ("Sec-WebSocket-Key", "dGhlIHNhbXBsZSBub25jZQ=="),
            ("Origin", &own),
        ],
    ]
    .concat();
    let asked = String::from_utf8(request(address, "GET /jog", &headers, b"")).expect("text");
    let asked = asked.replace("Connection: close", "Connection: Upgrade");
    let mut stream = connect(address);
    stream.write_all(asked.as_bytes()).expect("asked");
    let mut head = Vec::new();
    let mut byte = [0];
    while !head.ends_with(b"\r\n\r\n") && stream.read(&mut byte).is_ok_and(|read| read == 1) {
        head.push(byte[0]);
    }
    let status = String::from_utf8_lossy(&head).split(' ').nth(1).and_then(|s| s.parse().ok());
    (status.unwrap_or(0), stream)
}

/// A frame of a text as a browser sends it, its mask nothing (RFC 6455, 5.2).
pub(crate) fn frame(text: &str) -> Vec<u8> {
    let length = u8::try_from(text.len()).expect("short");
    assert!(length < 126);
    [&[0x81, 0x80 | length, 0, 0, 0, 0][..], text.as_bytes()].concat()
}

pub(crate) fn sign(key: &str, pulse: u64, turn: u64) -> Vec<u8> {
    frame(&json!({ "key": key, "pulse": pulse, "turn": turn }).to_string())
}

/// The next text that came; `None` when the line is shut.
fn heard(stream: &mut TcpStream) -> Option<Value> {
    let mut head = [0; 2];
    stream.read_exact(&mut head).ok()?;
    let mut text = vec![0; usize::from(head[1] & 0x7f)];
    stream.read_exact(&mut text).ok()?;
    if head[0] & 0xf != 1 {
        return None;
    }
    serde_json::from_slice(&text).ok()
}

fn pulse(stream: &mut TcpStream) -> u64 {
    loop {
        if let Some(number) = heard(stream).expect("the line is open")["pulse"].as_u64() {
            return number;
        }
    }
}

/// Why the key counts as let go.
fn let_go(stream: &mut TcpStream) -> String {
    loop {
        let told = heard(stream).expect("the line is open");
        if let Some(why) = told["let_go"].as_str() {
            return why.to_owned();
        }
    }
}

fn is_shut(stream: &mut TcpStream) -> bool {
    let end = Instant::now() + Duration::from_secs(5);
    while Instant::now() < end {
        if heard(stream).is_none() {
            return true;
        }
    }
    false
}

#[test]
fn signs_that_no_held_key_sends_move_nothing_and_are_written_down() {
    let served = Served::on_twin("1");
    let fitter = Browser::of(&served, "Fitter");
    let turn = in_manual(&fitter);
    let (status, mut line) = opened(&fitter);
    assert_eq!(status, 101);
    // A key that is held does move it: what follows could.
    let first = pulse_now(&mut line);
    line.write_all(&sign("tail", first, turn)).expect("sent");
    hold_until(&mut line, turn, || moves(&fitter));
    line.write_all(&sign("released", 0, turn)).expect("sent");
    until(&fitter, "rest", |told| told["machine"]["moves"] == false);
    // Renewals without a press.
    let first = pulse_now(&mut line);
    line.write_all(&sign("held", first, turn)).expect("sent");
    assert_eq!(let_go(&mut line), "no jog key is held");
    served.wrote_refused("jog", "no jog key is held");
    // A pulse from long ago, and one that never was.
    std::thread::sleep(Duration::from_millis(300));
    for old in [first, 1_000_000] {
        line.write_all(&sign("chuck", old, turn)).expect("sent");
        assert!(let_go(&mut line).contains("too slow"));
    }
    served.wrote("the press", |act| act.answer.to_string().contains("too slow to jog"));
    // A turn that is not this one.
    let now = pulse_now(&mut line);
    line.write_all(&sign("tail", now, turn + 1)).expect("sent");
    assert!(let_go(&mut line).contains("earlier time in the seat"));
    // Nothing of it has begun anything.
    for _ in 0..10 {
        assert!(!moves(&fitter));
        std::thread::sleep(Duration::from_millis(30));
    }
}

#[test]
fn a_key_that_was_denied_and_is_held_on_moves_nothing_once_it_would_be_allowed() {
    let served = Served::on_twin("1");
    let fitter = Browser::of(&served, "Fitter");
    let turn = in_manual(&fitter);
    assert_eq!(fitter.ask("leave-manual", "").status, 200);
    until(&fitter, "the end of manual work", |told| told["machine"]["stage"] == "idle");
    let (_, mut line) = opened(&fitter);
    let now = pulse_now(&mut line);
    line.write_all(&sign("tail", now, turn)).expect("sent");
    let why = let_go(&mut line);
    println!("denied: {why}");
    // The page goes on as if nothing had been said.
    let begun = Instant::now();
    hold_until(&mut line, turn, || begun.elapsed() > Duration::from_millis(200));
    let manual: Value = serde_json::from_str(&fitter.ask("manual", "").body).expect("JSON");
    assert_eq!(manual["answer"], "accepted", "{manual}");
    let begun = Instant::now();
    hold_until(&mut line, turn, || {
        assert!(!moves(&fitter), "what was denied moves it");
        begun.elapsed() > Duration::from_secs(1)
    });
    // Pressed anew it does.
    let now = pulse_now(&mut line);
    line.write_all(&sign("tail", now, turn)).expect("sent");
    hold_until(&mut line, turn, || moves(&fitter));
}

/// Manual work, in the seat; the turn in it.
fn in_manual(fitter: &Browser<'_>) -> u64 {
    fitter.take_seat();
    assert_eq!(fitter.post("/bench", &[("act", "key-on")]).status, 200);
    until(fitter, "manual work", |_| {
        let answer: Value = serde_json::from_str(&fitter.ask("manual", "").body).expect("JSON");
        answer["answer"] == "accepted" || answer["answer"] == "already so"
    });
    fitter.turn()
}

fn moves(browser: &Browser<'_>) -> bool {
    told(browser)["machine"]["moves"] == true
}

/// Says with every pulse that the key is held, until something is so.
fn hold_until(line: &mut TcpStream, turn: u64, so: impl Fn() -> bool) {
    let end = Instant::now() + Duration::from_secs(10);
    let mut looked = Instant::now();
    loop {
        if let Some(pulse) = heard(line).expect("the line is open")["pulse"].as_u64() {
            line.write_all(&sign("held", pulse, turn)).expect("sent");
        }
        if looked.elapsed() > Duration::from_millis(70) {
            looked = Instant::now();
            if so() {
                return;
            }
        }
        assert!(Instant::now() < end, "it never came");
    }
}

/// The newest pulse, after those that wait.
fn pulse_now(line: &mut TcpStream) -> u64 {
    let begun = Instant::now();
    loop {
        let before = Instant::now();
        let newest = pulse(line);
        if before.elapsed() > Duration::from_millis(20) || begun.elapsed() > Duration::from_secs(2)
        {
            return newest;
        }
    }
}

#[test]
fn what_is_no_sign_ends_the_line_and_no_more_lines_are_open_than_pages_need() {
    let served = Served::on_twin("1");
    let fitter = Browser::of(&served, "Fitter");
    let huge = [&[0x81, 0xff, 0, 0, 0, 0, 0x40, 0, 0, 0, 0, 0, 0, 0][..], &[b'x'; 4096]].concat();
    let long = [&[0x81, 0xfe, 1, 44, 0, 0, 0, 0][..], &[b'x'; 300]].concat();
    let binary = [0x82, 0x81, 0, 0, 0, 0, 7];
    let unmasked = [0x81, 0x01, b'x'];
    let none = frame("{\"key\":\"chuck\"}");
    let more = frame("{\"key\":\"chuck\",\"pulse\":1,\"turn\":1,\"more\":1}");
    let negative = frame("{\"key\":\"chuck\",\"pulse\":-1,\"turn\":1}");
    for garbage in
        [&huge[..], &long, &binary, &unmasked, &none, &more, &negative, b"GET / HTTP/1.1\r\n\r\n"]
    {
        let (status, mut line) = opened(&fitter);
        assert_eq!(status, 101);
        let _ = line.write_all(garbage);
        assert!(is_shut(&mut line), "{:.40}", garbage.escape_ascii());
    }
    served.wrote_refused("jog", "no sign of a key");
    // Signs without end.
    let (_, mut line) = opened(&fitter);
    let signs = sign("released", 0, 0).repeat(1000);
    let _ = line.write_all(&signs);
    assert!(is_shut(&mut line), "a flood goes on");
    served.wrote_refused("jog", "more signs");
    let opened: Vec<_> = (0..20).map(|_| opened(&fitter)).collect();
    let let_in = opened.iter().filter(|(status, _)| *status == 101).count();
    println!("of 20 jog lines of one session {let_in} were opened");
    assert_eq!(let_in, 2);
    served.wrote_refused("jog", "too many pages with jog keys");
}
