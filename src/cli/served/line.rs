//! The way to a running `serve`: HTTP on this computer, one request after another.

use std::net::SocketAddr;
use std::thread;
use std::time::{Duration, Instant};

use serde::Deserialize;
use serde::de::DeserializeOwned;
use ureq::http::{HeaderMap, StatusCode};
use ureq::{Agent, Body};

use super::trouble::Trouble;
use crate::panel::told::TERMINAL;
use crate::people::random;

/// How long an answer may take: a plan of a large part takes seconds.
const ANSWER_WITHIN: Duration = Duration::from_secs(30);
/// How long it may take to be alive.
const ALIVE_WITHIN: Duration = Duration::from_secs(2);
/// How long a connection that nothing goes over is kept; the panel cuts it off after 5 s.
const KEPT_FOR: Duration = Duration::from_secs(3);
/// How long a connection that broke is tried again.
const TRIED_FOR: Duration = Duration::from_secs(2);
/// How long until it is tried again.
const BREATH: Duration = Duration::from_millis(100);

/// What became of a request.
#[derive(Debug, Clone, PartialEq, Eq, Deserialize)]
pub(in crate::cli) struct Reply {
    /// One word: accepted, already so, asked, denied, refused.
    pub(in crate::cli) answer: String,
    /// Why.
    #[serde(default)]
    pub(in crate::cli) why: String,
    /// What would help.
    #[serde(default)]
    pub(in crate::cli) help: String,
}

impl Reply {
    /// Whether it was done, or was so already.
    pub(in crate::cli) fn is_taken(&self) -> bool {
        matches!(self.answer.as_str(), "accepted" | "already so")
    }

    /// Nothing but what was done.
    ///
    /// # Errors
    /// Why it was not.
    pub(in crate::cli) fn taken(self) -> Result<(), Trouble> {
        if self.is_taken() { Ok(()) } else { Err(Trouble::Failed(self.told())) }
    }

    /// Why and what would help, in one line.
    pub(in crate::cli) fn told(&self) -> String {
        match (self.why.is_empty(), self.help.is_empty()) {
            (true, _) => self.answer.clone(),
            (false, true) => self.why.clone(),
            (false, false) => format!("{}; {}", self.why, self.help),
        }
    }
}

/// What `/alive` says.
#[derive(Debug, Clone, PartialEq, Eq, Deserialize)]
pub(in crate::cli) struct Alive {
    /// Name of the program.
    pub(in crate::cli) program: String,
    /// Whether people sign in.
    pub(in crate::cli) sign_in: bool,
}

/// The way.
#[derive(Debug)]
pub(in crate::cli) struct Line {
    agent: Agent,
    at: SocketAddr,
    cookie: Option<String>,
    form: String,
}

/// An answer as it came.
struct Answer {
    status: StatusCode,
    headers: HeaderMap,
    text: String,
}

impl Line {
    /// The way to an address; nothing is said yet.
    pub(in crate::cli) fn to(at: SocketAddr) -> Self {
        // The panel of this computer is never looked for through somebody else's server.
        let agent = Agent::config_builder()
            .proxy(None)
            .max_redirects(0)
            .max_redirects_will_error(false)
            .http_status_as_error(false)
            .timeout_global(Some(ANSWER_WITHIN))
            .max_idle_age(KEPT_FOR)
            .build()
            .into();
        Self { agent, at, cookie: None, form: String::new() }
    }

    /// A way of its own to the same place, for the same session: nothing that this one waits for
    /// holds it up.
    fn anew(&self) -> Self {
        Self { cookie: self.cookie.clone(), form: self.form.clone(), ..Self::to(self.at) }
    }

    /// Something that can ask for one thing at any time, without waiting: each time over a
    /// connection and on a thread of its own.
    pub(in crate::cli) fn aside(
        &self,
    ) -> impl Fn(&'static str, &'static [(&'static str, &'static str)]) + Send + use<> {
        let line = self.anew();
        move |path, fields| {
            let mut line = line.anew();
            // What became of it is seen where the state is looked at.
            thread::spawn(move || drop(line.ask(path, fields)));
        }
    }

    /// Where it goes to.
    pub(in crate::cli) const fn at(&self) -> SocketAddr {
        self.at
    }

    /// Whether somebody answers there; `None` when nobody does.
    pub(in crate::cli) fn alive(&self) -> Option<Alive> {
        let asked = self.agent.get(self.url("/alive")).config();
        let asked = asked.timeout_global(Some(ALIVE_WITHIN)).build();
        let alive: Alive = asked.call().ok()?.body_mut().read_json().ok()?;
        (alive.program == "evenpass").then_some(alive)
    }

    /// The token that every request brings from now on.
    pub(in crate::cli) fn set_form(&mut self, form: String) {
        self.form = form;
    }

    /// What is there to be read; a connection that broke is tried again for a moment.
    pub(in crate::cli) fn read<T: DeserializeOwned>(&mut self, path: &str) -> Result<T, Trouble> {
        let since = Instant::now();
        let answer = loop {
            match self.get(path) {
                Ok(answer) => break answer,
                Err(_) if since.elapsed() < TRIED_FOR => thread::sleep(BREATH),
                Err(_) => return Err(self.gone()),
            }
        };
        if answer.status != StatusCode::OK {
            return Err(match answer.status {
                // Where a session is over, whoever looks is sent to sign in.
                StatusCode::UNAUTHORIZED | StatusCode::SEE_OTHER => self.signed_out(),
                _ => Trouble::Failed(self.strange(&answer)),
            });
        }
        serde_json::from_str(&answer.text).map_err(|_| Trouble::Failed(self.strange(&answer)))
    }

    /// Asks for a session where nobody has to sign in.
    pub(in crate::cli) fn let_in(&mut self) -> Result<(), Trouble> {
        let answer = self.get("/session").map_err(|_| self.gone())?;
        if self.cookie.is_some() {
            return Ok(());
        }
        Err(Trouble::Failed(self.strange(&answer)))
    }

    /// Sends a name and a PIN.
    ///
    /// # Errors
    /// Why they were not taken.
    pub(in crate::cli) fn sign_in(&mut self, name: &str, pin: &str) -> Result<(), Trouble> {
        let answer = self.send("/sign-in", &[("name", name), ("pin", pin)])?;
        if answer.status == StatusCode::SEE_OTHER && self.cookie.is_some() {
            return Ok(());
        }
        Err(Trouble::Failed(match serde_json::from_str::<Reply>(&answer.text) {
            Ok(reply) => reply.told(),
            Err(_) => self.strange(&answer),
        }))
    }

    /// Asks for something once; a request whose answer was lost is not sent again.
    pub(in crate::cli) fn ask(
        &mut self,
        path: &str,
        fields: &[(&str, &str)],
    ) -> Result<Reply, Trouble> {
        let id = id().map_err(|trouble| Trouble::Failed(format!("no randomness: {trouble}")))?;
        let form = self.form.clone();
        let mut all = vec![("form", form.as_str()), ("id", id.as_str())];
        all.extend_from_slice(fields);
        let answer = self.send(path, &all)?;
        if answer.status == StatusCode::UNAUTHORIZED {
            return Err(self.signed_out());
        }
        serde_json::from_str(&answer.text).map_err(|_| Trouble::Failed(self.strange(&answer)))
    }

    /// Signs out; who cannot be reached any more has ended the session with it.
    pub(in crate::cli) fn sign_out(&mut self) {
        if let Ok(id) = id() {
            let form = self.form.clone();
            let _ = self.send("/sign-out", &[("form", &form), ("id", &id)]);
        }
        self.cookie = None;
    }

    fn url(&self, path: &str) -> String {
        format!("http://{}{path}", self.at)
    }

    fn get(&mut self, path: &str) -> Result<Answer, ureq::Error> {
        let mut request = self.agent.get(self.url(path)).header(TERMINAL, "1");
        if let Some(cookie) = &self.cookie {
            request = request.header("cookie", cookie);
        }
        let answer = request.call()?;
        self.answer(answer)
    }

    fn send(&mut self, path: &str, fields: &[(&str, &str)]) -> Result<Answer, Trouble> {
        let mut request = self.agent.post(self.url(path)).header(TERMINAL, "1");
        if let Some(cookie) = &self.cookie {
            request = request.header("cookie", cookie);
        }
        let sent = request.send_form(fields.iter().copied());
        let answer = sent.and_then(|answer| self.answer(answer));
        answer.map_err(|_| self.gone())
    }

    fn answer(&mut self, mut answer: ureq::http::Response<Body>) -> Result<Answer, ureq::Error> {
        let text = answer.body_mut().read_to_string()?;
        let (parts, _) = answer.into_parts();
        let given = parts.headers.get("set-cookie").and_then(|value| value.to_str().ok());
        if let Some((cookie, _)) = given.and_then(|given| given.split_once(';')) {
            self.cookie = Some(cookie.to_owned());
        }
        Ok(Answer { status: parts.status, headers: parts.headers, text })
    }

    fn gone(&self) -> Trouble {
        Trouble::Failed(format!(
            "the serve at {} does not answer any more\nhelp: a machine whose controller has gone \
             brings itself to rest; look at it, then start serve again\n",
            self.at
        ))
    }

    fn signed_out(&self) -> Trouble {
        Trouble::Failed(format!(
            "the serve at {} has ended this session: it was idle for too long, or its person was \
             changed\nhelp: ask again; what the machine does goes on\n",
            self.at
        ))
    }

    fn strange(&self, answer: &Answer) -> String {
        let kind = answer.headers.get("content-type").and_then(|kind| kind.to_str().ok());
        let words = match kind {
            Some(kind) if kind.starts_with("text/plain") => answer.text.trim(),
            _ => "nothing that could be read",
        };
        format!("the serve at {} answered {}: {words}", self.at, answer.status.as_u16())
    }
}

/// The request's own id.
fn id() -> std::io::Result<String> {
    use std::fmt::Write as _;
    Ok(random::<16>()?.iter().fold(String::new(), |mut id, byte| {
        // Writing to a string cannot fail.
        let _ = write!(id, "{byte:02x}");
        id
    }))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_reply_tells_why_and_what_would_help() {
        let reply = |text: &str| serde_json::from_str::<Reply>(text).unwrap();
        assert!(reply(r#"{"answer":"already so"}"#).taken().is_ok());
        let denied = reply(r#"{"answer":"denied","why":"the key is off","help":"turn it"}"#);
        assert_eq!(denied.taken(), Err(Trouble::Failed("the key is off; turn it".to_owned())));
        assert!(!reply(r#"{"answer":"asked","why":"wait"}"#).is_taken());
    }

    #[test]
    fn what_is_asked_aside_goes_out_while_a_look_is_waited_for() {
        use std::io::Read as _;
        let listener = std::net::TcpListener::bind("127.0.0.1:0").unwrap();
        let mut line = Line::to(listener.local_addr().unwrap());
        line.cookie = Some("evenpass=x".to_owned());
        let aside = line.aside();
        // Nobody ever answers the look; it ends with the test.
        let _look = thread::spawn(move || drop(line.get("/state")));
        let asked = |stream: &mut std::net::TcpStream| {
            stream.set_read_timeout(Some(ANSWER_WITHIN)).unwrap();
            let mut head = [0; 10];
            stream.read_exact(&mut head).unwrap();
            String::from_utf8_lossy(&head).into_owned()
        };
        let (mut look, _) = listener.accept().unwrap();
        assert_eq!(asked(&mut look), "GET /state");
        aside("/stop", &[]);
        let (mut stop, _) = listener.accept().unwrap();
        assert_eq!(asked(&mut stop), "POST /stop");
    }

    #[test]
    fn nobody_at_the_address_is_not_alive() {
        // Bound and let go: nobody listens there now.
        let at = std::net::TcpListener::bind("127.0.0.1:0").unwrap().local_addr().unwrap();
        assert_eq!(Line::to(at).alive(), None);
    }
}
