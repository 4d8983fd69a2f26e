//! Requests that are none, and those that are too much.

use std::io::{Read as _, Write as _};
use std::time::{Duration, Instant};

use crate::person::Browser;
use crate::raw::{FORM, connect, exchange, request};
use crate::served::Served;

#[test]
fn a_body_that_is_too_large_is_refused_be_its_size_declared_or_not() {
    let served = Served::on_twin("1");
    let declared = format!(
        "POST /sign-in HTTP/1.1\r\nHost: {}\r\nConnection: close\r\nContent-Length: 10000000000\r\n\
         Content-Type: {}\r\n\r\n",
        served.address, FORM.1
    );
    let begun = Instant::now();
    assert_eq!(exchange(&served.address, declared.as_bytes()).status, 413);
    assert!(begun.elapsed() < Duration::from_secs(2), "refused before it comes");
    served.wrote_refused("POST /sign-in", "larger than any");
    let mut stream = connect(&served.address);
    let head = format!(
        "POST /ask HTTP/1.1\r\nHost: {}\r\nConnection: close\r\nTransfer-Encoding: chunked\r\n\r\n",
        served.address
    );
    stream.write_all(head.as_bytes()).expect("sent");
    let chunk = [b"8000\r\n", &[b'x'; 0x8000][..], b"\r\n"].concat();
    let sent = (0..64).take_while(|_| stream.write_all(&chunk).is_ok()).count();
    let mut answer = String::new();
    let _ = stream.read_to_string(&mut answer);
    println!("a chunked body without end: {sent} chunks of 32 kB went out");
    served.wrote_refused("POST /ask", "larger than any");
    assert_eq!(served.get("/alive", &[]).status, 200);
}

#[test]
fn a_body_that_is_no_form_of_the_panel_is_refused() {
    let served = Served::on_twin("1");
    let operator = Browser::of(&served, "Operator");
    let post = |kind: &str, body: &[u8]| {
        let headers = [&operator.headers()[..], &[("Content-Type", kind)]].concat();
        exchange(&served.address, &request(&served.address, "POST /ask", &headers, body))
    };
    let words = "the request cannot be read: reload the page and try again";
    for (kind, body) in [
        (FORM.1, &b"ask=hold"[..]),
        (FORM.1, b"ask=hold&turn=minus&form=x&id=1"),
        (FORM.1, b"ask=hold&turn=-1&form=x&id=1"),
        (FORM.1, b"ask=hold&turn=99999999999999999999&form=x&id=1"),
        (FORM.1, b"\xff\xfe\x00&&&==%%%zz"),
        (FORM.1, b"ask=hold&ask=start&turn=1&turn=2&form=x&id=1"),
        ("application/json", b"{\"ask\":\"hold\"}"),
        ("multipart/form-data; boundary=x", b"--x--"),
        ("text/plain", b"ask=hold&turn=1"),
    ] {
        let answer = post(kind, body);
        let status = answer.status;
        assert!((400..=422).contains(&status), "{kind} {:?}: {status}", body.escape_ascii());
        assert_eq!(answer.body, words, "{kind} {:?}", body.escape_ascii());
    }
    for path in [
        "/live?page=none",
        "/live",
        "/recipes/%ff",
        "/batch",
        "/batch?name=B&from=-1",
        "/batch/report",
    ] {
        let answer = operator.get(path);
        assert_eq!((answer.status, answer.body.as_str()), (400, words), "{path}");
    }
    let act = served.wrote_refused("POST /ask", "cannot be read");
    assert_eq!(act.person, "C. Operator");
    // A word that a terminal would obey is shown as none.
    operator.ask("hold\u{1b}[2J", "\u{202e}\n");
    let act = served.wrote_refused("hold", "nothing of that name");
    assert!(act.what.chars().all(|letter| !letter.is_control()), "{:?}", act.what);
}

#[test]
fn a_head_that_cannot_be_read_ends_its_connection() {
    let served = Served::on_twin("1");
    let long = format!("GET / HTTP/1.1\r\nHost: x\r\nX: {}\r\n\r\n", "y".repeat(100_000));
    let many = format!("GET / HTTP/1.1\r\nHost: x\r\n{}\r\n", "X: y\r\n".repeat(1000));
    for head in [
        "\r\n\r\nnonsense\r\n\r\n",
        "GET\r\n\r\n",
        "GET / HTTP/9.9\r\n\r\n",
        "PRI * HTTP/2.0\r\n\r\nSM\r\n\r\n",
        "\u{16}\u{3}\u{1}\u{2}\u{0}\u{1}\u{0}\r\n\r\n",
        "GET / HTTP/1.1\r\nHost : x\r\n\r\n",
        "GET / HTTP/1.1\r\nHost: x\r\nContent-Length: x\r\n\r\n",
        "POST /stop HTTP/1.1\r\nHost: x\r\nContent-Length: 3\r\nContent-Length: 4\r\n\r\nabc",
        &long,
        &many,
    ] {
        let begun = Instant::now();
        let answer = exchange(&served.address, head.as_bytes());
        assert!(matches!(answer.status, 0 | 400..=431), "{:.40}: {answer:?}", head.escape_debug());
        assert!(begun.elapsed() < Duration::from_secs(2), "{:.40}", head.escape_debug());
    }
    served.wrote_refused("connection", "cannot be read");
    assert_eq!(served.stop().0.status, 200);
}

#[test]
fn no_path_leads_out_of_the_panel_s_own() {
    let served = Served::on_twin("1");
    let engineer = Browser::of(&served, "Engineer");
    for path in [
        "/assets/../../Cargo.toml",
        "/assets/..%2f..%2fCargo.toml",
        "/assets/%2e%2e/%2e%2e/Cargo.toml",
        "/assets/%2e%2e%2fp.toml",
        "/assets//etc/passwd",
        "/recipes/..%2fp.toml",
        "/recipes/%2e%2e%2fp.toml",
        "/recipes/..%2fp.toml/text",
        "/recipes/..%2f..%2f..%2f..%2fetc%2fpasswd/text",
        "/records/..%2fruns.sqlite",
        "/records/latest/..%2fruns.sqlite",
        "/records/latest/runs.sqlite",
        "/records/..%2f..%2fetc%2fpasswd/report.html",
        "//etc/passwd",
        "/p.toml",
        "/%00",
        "/people",
    ] {
        let answer = engineer.get(path);
        assert!(matches!(answer.status, 400 | 404), "{path}: {answer:?}");
        for secret in ["argon2", "root:", "[workspace]", "SQLite format"] {
            assert!(!answer.body.contains(secret), "{path}: {answer:?}");
        }
    }
    served.wrote_refused("GET /assets/../../Cargo.toml", "no such page");
    Served::breathe();
    engineer.take_seat();
    for name in ["../p.toml", "/etc/passwd", "..%2fp.toml", "short-job.toml/../../p.toml", ""] {
        let answer = engineer.load(name);
        assert_eq!(answer.status, 403, "{name}: {answer:?}");
    }
    let act = served.wrote_refused("load ../p.toml", "no recipe of that name");
    assert_eq!(act.person, "B. Engineer");
    assert_eq!(served.post("/alive", &[], &[]).status, 405);
    served.wrote_refused("POST /alive", "not asked in that way");
}

#[test]
fn a_body_that_trickles_in_is_cut_off() {
    let served = Served::on_twin("1");
    let mut stream = connect(&served.address);
    let head = format!(
        "POST /sign-in HTTP/1.1\r\nHost: {}\r\nContent-Length: 1000\r\n\r\n",
        served.address
    );
    stream.write_all(head.as_bytes()).expect("sent");
    let begun = Instant::now();
    stream.set_read_timeout(Some(Duration::from_millis(500))).expect("a limit");
    let mut answer = [0; 64];
    loop {
        let _ = stream.write_all(b"x");
        match stream.read(&mut answer) {
            Ok(length) => {
                assert!(answer[..length].starts_with(b"HTTP/1.1 408"), "{:?}", &answer[..length]);
                break;
            }
            Err(_) => assert!(begun.elapsed() < Duration::from_secs(15), "it goes on"),
        }
    }
    served.wrote_refused("POST /sign-in", "did not arrive in time");
}
