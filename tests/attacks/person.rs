//! Somebody who is signed in, with what their pages know.

use std::io::{BufRead as _, BufReader, Write as _};
use std::sync::atomic::{AtomicU64, Ordering};

use serde_json::Value;

use crate::raw::{Answer, connect, request};
use crate::served::{PEOPLE, Served};

/// Somebody at a browser.
pub(crate) struct Browser<'a> {
    pub(crate) served: &'a Served,
    pub(crate) cookie: String,
    pub(crate) form: String,
    more: Vec<(&'static str, &'static str)>,
}

/// A new id for each request.
pub(crate) fn new_id() -> String {
    static LAST: AtomicU64 = AtomicU64::new(0);
    format!("id-{}", LAST.fetch_add(1, Ordering::Relaxed))
}

/// What a proxy adds for somebody who is not at the machine.
pub(crate) const AWAY: (&str, &str) = ("X-Forwarded-For", "192.0.2.7");

impl<'a> Browser<'a> {
    /// One of the three, by a word of their name.
    pub(crate) fn of(served: &'a Served, word: &str) -> Self {
        Self::from(served, word, &[])
    }

    /// The same, with more headers in every request.
    pub(crate) fn from(
        served: &'a Served,
        word: &str,
        more: &[(&'static str, &'static str)],
    ) -> Self {
        let (name, pin, _) = PEOPLE.iter().find(|(name, ..)| name.contains(word)).expect("known");
        let answer = served.post("/sign-in", more, &[("name", name), ("pin", pin)]);
        Self::with_cookie_of(served, &answer, more)
    }

    /// Somebody who is let in without a PIN.
    pub(crate) fn let_in(served: &'a Served) -> Self {
        Self::with_cookie_of(served, &served.get("/", &[]), &[])
    }

    fn with_cookie_of(
        served: &'a Served,
        answer: &Answer,
        more: &[(&'static str, &'static str)],
    ) -> Self {
        let cookie = answer.header("set-cookie").unwrap_or_else(|| panic!("{answer:?}"));
        assert!(cookie.contains("HttpOnly; SameSite=Strict"), "{cookie}");
        let cookie = cookie.split(';').next().expect("a cookie").to_owned();
        let mut browser = Self { served, cookie, form: String::new(), more: more.to_vec() };
        let page = browser.get("/").body;
        let (_, rest) = page.split_once("data-form=\"").unwrap_or_else(|| panic!("{page}"));
        browser.form = rest.split('"').next().expect("a token").to_owned();
        browser
    }

    /// The same session, with one more header in every request.
    pub(crate) fn through(&self, header: (&'static str, &'static str)) -> Self {
        let more = [&self.more[..], &[header]].concat();
        Self { served: self.served, cookie: self.cookie.clone(), form: self.form.clone(), more }
    }

    pub(crate) fn headers(&self) -> Vec<(&str, &str)> {
        let mut headers = vec![("Cookie", self.cookie.as_str())];
        headers.extend(self.more.iter().copied());
        headers
    }

    pub(crate) fn get(&self, path: &str) -> Answer {
        self.served.get(path, &self.headers())
    }

    /// Fields as they are, and the rest of a seal.
    pub(crate) fn post(&self, path: &str, fields: &[(&str, &str)]) -> Answer {
        let id = new_id();
        let seal = [("form", self.form.as_str()), ("id", id.as_str())];
        self.served.post(path, &self.headers(), &[fields, &seal].concat())
    }

    pub(crate) fn ask(&self, word: &str, value: &str) -> Answer {
        let turn = self.turn().to_string();
        self.post("/ask", &[("ask", word), ("value", value), ("turn", &turn)])
    }

    pub(crate) fn take_seat(&self) {
        let answer = self.post("/seat", &[("act", "take")]);
        assert_eq!(answer.status, 200, "{answer:?}");
    }

    pub(crate) fn load(&self, recipe: &str) -> Answer {
        let turn = self.turn().to_string();
        self.post("/load", &[("recipe", recipe), ("turn", &turn)])
    }

    /// Everything that a live page is first told.
    pub(crate) fn live(&self, page: &str) -> Value {
        let mut stream = connect(&self.served.address);
        let line = format!("GET /live?page={page}");
        stream
            .write_all(&request(&self.served.address, &line, &self.headers(), b""))
            .expect("asked");
        let lines = BufReader::new(stream).lines();
        let data = lines
            .map_while(Result::ok)
            .find_map(|line| line.strip_prefix("data: ").map(str::to_owned));
        serde_json::from_str(&data.expect("an event")).expect("JSON")
    }

    /// The turn in the seat.
    pub(crate) fn turn(&self) -> u64 {
        let state: Value = serde_json::from_str(&self.get("/state").body).expect("JSON");
        state["turn"].as_u64().expect("a number")
    }
}
