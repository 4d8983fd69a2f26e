//! Requests that no page of the panel has made.

use crate::person::{Browser, new_id};
use crate::raw::{connect, exchange, request};
use crate::served::Served;
use std::io::Write as _;

#[test]
fn without_a_cookie_nothing_is_asked_and_that_is_written_down() {
    let served = Served::on_twin("1");
    let asked = [("ask", "start"), ("turn", "1"), ("form", "x"), ("id", "1")];
    for path in [
        "/ask",
        "/seat",
        "/load",
        "/prove",
        "/units",
        "/bench",
        "/teach",
        "/batch/told",
        "/batch/choose",
        "/records/latest",
        "/sign-out",
    ] {
        let answer = served.post(path, &[], &asked);
        assert_eq!(answer.status, 401, "{path}: {answer:?}");
        served.wrote_refused(&format!("POST {path}"), "sign in first");
    }
    for path in ["/live?page=run", "/jog"] {
        assert_eq!(served.get(path, &[]).status, 401, "{path}");
    }
    served.wrote_refused("GET /live", "sign in first");
    served.wrote_refused("GET /jog", "sign in first");
    let page = served.get("/maintenance", &[]);
    assert_eq!((page.status, page.header("location")), (303, Some("/sign-in")));
    let made_up = served.post("/ask", &[("Cookie", "evenpass=0123456789abcdef")], &asked);
    assert_eq!(made_up.status, 401);
}

#[test]
fn a_page_of_another_origin_gets_nothing_done_whatever_it_calls_the_panel() {
    let served = Served::on_twin("1");
    let operator = Browser::of(&served, "Operator");
    operator.take_seat();
    let (turn, own) = (operator.turn().to_string(), format!("http://{}", served.address));
    let ask = |headers: &[(&str, &str)]| {
        let id = new_id();
        let fields = [("ask", "hold"), ("turn", &turn), ("form", &operator.form), ("id", &id)];
        served.post("/ask", &[&operator.headers()[..], headers].concat(), &fields)
    };
    for (headers, why) in [
        (&[("Origin", "http://elsewhere.example")][..], "not the panel's"),
        (&[("Origin", "null")], "not the panel's"),
        (&[("Origin", "http://127.0.0.1:1")], "not the panel's"),
        (&[("Origin", own.as_str()), ("Origin", "http://elsewhere.example")], "not the panel's"),
        (&[("Sec-Fetch-Site", "cross-site")], "not the panel's"),
        (&[("Sec-Fetch-Site", "same-site")], "not the panel's"),
        // A name elsewhere that was turned to this address afterwards.
        (&[("Host", "rebound.example"), ("Origin", "http://rebound.example")], "not called by"),
        (&[("Host", "rebound.example")], "not called by"),
        (&[("Host", "127.0.0.1.rebound.example")], "not called by"),
    ] {
        let answer = ask(headers);
        assert_eq!(answer.status, 403, "{headers:?}: {answer:?}");
        assert!(answer.body.contains(why), "{answer:?}");
        served.wrote_refused("POST /ask", why);
    }
    let no_host = exchange(&served.address, b"GET / HTTP/1.0\r\n\r\n");
    assert_eq!((no_host.status, no_host.body.as_str()), (403, "the request names no host"));
    // Looking cannot begin anything for a page elsewhere either; a link to the panel leads there.
    let picture = [("Sec-Fetch-Site", "cross-site"), ("Sec-Fetch-Dest", "image")];
    assert_eq!(served.get("/", &picture).status, 403);
    let link = [("Sec-Fetch-Site", "cross-site"), ("Sec-Fetch-Dest", "document")];
    assert_eq!(served.get("/", &link).status, 303);
    assert_eq!(ask(&[("Origin", &own)]).status, 200);
    assert_eq!(ask(&[("Origin", &own), ("Sec-Fetch-Site", "same-origin")]).status, 200);
}

#[test]
fn a_form_without_the_token_of_its_session_and_a_request_sent_again_do_nothing() {
    let served = Served::on_twin("1");
    let (operator, other) = (Browser::of(&served, "Operator"), Browser::of(&served, "Fitter"));
    operator.take_seat();
    let turn = operator.turn().to_string();
    let ask = |form: &str, id: &str| {
        let fields = [("ask", "hold"), ("turn", &turn), ("form", form), ("id", id)];
        served.post("/ask", &operator.headers(), &fields)
    };
    for form in ["", "x", other.form.as_str()] {
        assert_eq!(ask(form, &new_id()).status, 403);
    }
    served.wrote_refused("hold", "not come from a page of this session");
    assert_eq!(ask(&operator.form, "").status, 400);
    assert_eq!(ask(&operator.form, &"x".repeat(65)).status, 400);
    served.wrote_refused("hold", "no id of its own");
    let id = new_id();
    assert_eq!(ask(&operator.form, &id).status, 200);
    let again = ask(&operator.form, &id);
    assert_eq!(again.status, 409, "{again:?}");
    let act = served.wrote_refused("hold", "answered before");
    assert_eq!(act.person, "C. Operator");
}

#[test]
fn what_was_asked_is_done_and_written_down_even_when_its_sender_is_gone() {
    let served = Served::on_twin("1");
    let engineer = Browser::of(&served, "Engineer");
    engineer.take_seat();
    let (turn, id) = (engineer.turn().to_string(), new_id());
    let fields =
        [("recipe", "short-job.toml"), ("turn", &turn), ("form", &engineer.form), ("id", &id)];
    let body = crate::raw::form(&fields);
    let headers = [&engineer.headers()[..], &[crate::raw::FORM]].concat();
    let mut stream = connect(&served.address);
    stream
        .write_all(&request(&served.address, "POST /load", &headers, body.as_bytes()))
        .expect("sent");
    drop(stream);
    let act = served.wrote("the loading", |act| act.what == "load short-job.toml");
    assert_eq!((act.person.as_str(), act.answer.to_string().as_str()), ("B. Engineer", "done"));
    assert!(engineer.get("/").body.contains("Short job"), "page and controller have the same job");
}
