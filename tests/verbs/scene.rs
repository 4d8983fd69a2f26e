//! The program as it serves the twin, with people, and the program again as each of them asks.

use std::collections::VecDeque;
use std::io::{BufRead as _, BufReader, Read, Write as _};
use std::path::{Path, PathBuf};
use std::process::{Child, ChildStdin, Command, ExitStatus, Stdio};
use std::sync::mpsc::{Receiver, RecvTimeoutError, channel};
use std::thread;
use std::time::{Duration, Instant};

use tempfile::TempDir;
use ureq::Agent;

use crate::terminal::Terminal;

/// Far beyond what any of this takes.
pub(crate) const PATIENCE: Duration = Duration::from_secs(120);

/// Who there is: name, role, PIN.
const PEOPLE: [(&str, &str, &str); 4] = [
    ("A. Operator", "operator", "2580"),
    ("A. Fitter", "maintenance", "3691"),
    ("B. Engineer", "engineer", "4702"),
    ("Hands", "operator", "5813"),
];

pub(crate) fn pin(name: &str) -> &'static str {
    PEOPLE.iter().find(|(known, ..)| *known == name).expect("somebody").2
}

/// A `serve` on the twin with its files in a folder of its own.
pub(crate) struct Scene {
    folder: TempDir,
    serve: Child,
    at: String,
    hands: Hands,
}

impl Scene {
    /// So many times faster than life, with people.
    pub(crate) fn new(pace: f64) -> Self {
        let folder = tempfile::tempdir().expect("a folder");
        let config = Path::new(env!("CARGO_MANIFEST_DIR")).join("config");
        let recipes = folder.path().join("config/recipes");
        std::fs::create_dir_all(&recipes).expect("a folder");
        for name in ["powders.toml", "torches.toml", "recipes/short-job.toml"] {
            std::fs::copy(config.join(name), folder.path().join("config").join(name))
                .expect("copied");
        }
        for (name, role, pin) in PEOPLE {
            let mut child = Command::new(env!("CARGO_BIN_EXE_evenpass"))
                .args(["people", "add", name, "--role", role, "--records"])
                .arg(folder.path().join("runs.sqlite"))
                .stdin(Stdio::piped())
                .stdout(Stdio::null())
                .spawn()
                .expect("the program runs");
            let mut input = child.stdin.take().expect("piped");
            input.write_all(format!("{pin}\n").as_bytes()).expect("written");
            drop(input);
            assert!(child.wait().expect("it ends").success(), "{name} is added");
        }
        let mut serve = Command::new(env!("CARGO_BIN_EXE_evenpass"))
            .args(["serve", "--listen", "127.0.0.1:0", "--pace", &pace.to_string(), "--recipes"])
            .arg(&recipes)
            .arg("--records")
            .arg(folder.path().join("runs.sqlite"))
            .stdin(Stdio::null())
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .expect("the program runs");
        let out = BufReader::new(serve.stdout.take().expect("piped"));
        let greeting = out.lines().map_while(Result::ok).find(|line| line.contains(" at http://"));
        let greeting = greeting.expect("it tells its address");
        let at =
            greeting.split(" at ").last().expect("an address").trim_end_matches('/').to_owned();
        let hands = Hands::sign_in(&at);
        Self { folder, serve, at, hands }
    }

    pub(crate) fn at(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    pub(crate) fn records(&self) -> PathBuf {
        self.at("runs.sqlite")
    }

    /// A path as an argument.
    pub(crate) fn text(&self, name: &str) -> String {
        self.at(name).to_str().expect("a path").to_owned()
    }

    /// Somebody does something at the twin's bench.
    pub(crate) fn bench(&self, act: &str) {
        self.hands.act(&self.at, act);
    }

    /// Somebody asks the program for something, their PIN typed first.
    pub(crate) fn ask(&self, person: &str, arguments: &[&str]) -> Typist {
        let mut typist = self.begin(Some(person), arguments);
        typist.types(pin(person));
        typist
    }

    /// The same at a terminal of its own.
    pub(crate) fn sit_down(&self, person: &str, arguments: &[&str]) -> Terminal {
        let mut terminal = Terminal::start(self.command(Some(person), arguments));
        terminal.sees("PIN of");
        terminal.presses(&format!("{}\r", pin(person)));
        terminal
    }

    /// The program with these records.
    pub(crate) fn begin(&self, person: Option<&str>, arguments: &[&str]) -> Typist {
        Typist::start(self.command(person, arguments))
    }

    fn command(&self, person: Option<&str>, arguments: &[&str]) -> Command {
        let mut command = Command::new(env!("CARGO_BIN_EXE_evenpass"));
        command.args(arguments).arg("--records").arg(self.records());
        if let Some(person) = person {
            command.args(["--person", person]);
        }
        command
    }

    /// As `kill -9`.
    pub(crate) fn kill(&mut self) {
        self.serve.kill().expect("killed");
        self.serve.wait().expect("it ends");
    }

    /// As if its computer stood still; or went on.
    pub(crate) fn stands_still(&self, so: bool) {
        use rustix::process::Signal;
        tell(&self.serve, if so { Signal::STOP } else { Signal::CONT });
    }

    /// Ends it in order.
    pub(crate) fn end(&mut self) -> ExitStatus {
        tell(&self.serve, rustix::process::Signal::TERM);
        let until = Instant::now() + PATIENCE;
        loop {
            if let Some(status) = self.serve.try_wait().expect("looked") {
                return status;
            }
            assert!(Instant::now() < until, "serve goes on");
            thread::sleep(Duration::from_millis(20));
        }
    }
}

impl Drop for Scene {
    fn drop(&mut self) {
        // It may have ended by itself.
        let _ = self.serve.kill();
        let _ = self.serve.wait();
    }
}

fn tell(child: &Child, signal: rustix::process::Signal) {
    let process = rustix::process::Pid::from_child(child);
    rustix::process::kill_process(process, signal).expect("told");
}

/// Hands at the twin, by the page that `serve` has for them.
struct Hands {
    agent: Agent,
    cookie: String,
    form: String,
}

impl Hands {
    fn sign_in(at: &str) -> Self {
        let agent: Agent = Agent::config_builder().max_redirects(0).build().into();
        let sent = [("name", "Hands"), ("pin", pin("Hands"))];
        let answer = agent.post(format!("{at}/sign-in")).send_form(sent).expect("signed in");
        let cookie = answer.headers()["set-cookie"].to_str().expect("text");
        let cookie = cookie.split(';').next().expect("a cookie").to_owned();
        let session: serde_json::Value = agent
            .get(format!("{at}/session"))
            .header("cookie", &cookie)
            .call()
            .expect("an answer")
            .body_mut()
            .read_json()
            .expect("a session");
        let form = session["form"].as_str().expect("a form").to_owned();
        Self { agent, cookie, form }
    }

    fn act(&self, at: &str, act: &str) {
        let id = format!("{act} {:?}", Instant::now());
        let id: String = id.chars().filter(char::is_ascii_alphanumeric).collect();
        let sent = [("form", self.form.as_str()), ("id", &id[..id.len().min(60)]), ("act", act)];
        let answer = self
            .agent
            .post(format!("{at}/bench"))
            .header("cookie", &self.cookie)
            .send_form(sent)
            .expect("an answer")
            .body_mut()
            .read_to_string()
            .expect("text");
        assert!(answer.contains("accepted"), "{act}: {answer}");
    }
}

/// The program at work, with somebody who reads what it says and types.
pub(crate) struct Typist {
    child: Child,
    input: Option<ChildStdin>,
    lines: Receiver<String>,
    unread: VecDeque<String>,
    said: Vec<String>,
}

impl Typist {
    fn start(mut command: Command) -> Self {
        let mut child = command
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .expect("the program runs");
        let (to, lines) = channel();
        let streams: [Box<dyn Read + Send>; 2] = [
            Box::new(child.stdout.take().expect("piped")),
            Box::new(child.stderr.take().expect("piped")),
        ];
        for stream in streams {
            let to = to.clone();
            thread::spawn(move || {
                for line in BufReader::new(stream).lines().map_while(Result::ok) {
                    if to.send(line).is_err() {
                        break;
                    }
                }
            });
        }
        let input = child.stdin.take();
        Self { child, input, lines, unread: VecDeque::new(), said: Vec::new() }
    }

    /// Types a line; a program that has ended reads nothing any more.
    pub(crate) fn types(&mut self, line: &str) {
        if let Some(input) = &mut self.input {
            let _ = input.write_all(format!("{line}\n").as_bytes());
        }
    }

    /// Nobody types any more.
    pub(crate) fn goes(&mut self) {
        self.input = None;
    }

    /// As Ctrl-C.
    pub(crate) fn interrupts(&self) {
        tell(&self.child, rustix::process::Signal::INT);
    }

    /// The next line that is said; `None` when nothing more comes.
    fn next(&mut self) -> Option<String> {
        if let Some(line) = self.unread.pop_front() {
            return Some(line);
        }
        match self.lines.recv_timeout(PATIENCE) {
            Ok(line) => {
                self.said.push(line.clone());
                Some(line)
            }
            Err(RecvTimeoutError::Disconnected) => None,
            Err(RecvTimeoutError::Timeout) => panic!("nothing more is said:\n{}", self.all()),
        }
    }

    /// Waits for a line with these words.
    pub(crate) fn hears(&mut self, words: &str) -> String {
        let until = Instant::now() + PATIENCE;
        while let Some(line) = self.next() {
            if line.contains(words) {
                return line;
            }
            assert!(Instant::now() < until, "`{words}` was not said:\n{}", self.all());
        }
        panic!("`{words}` was not said:\n{}", self.all())
    }

    /// Types a word until it is taken.
    pub(crate) fn insists(&mut self, word: &str) {
        for _ in 0..100 {
            self.types(word);
            let answer = self.hears(&format!("{word}: "));
            if answer.contains("accepted") || answer.contains("already so") {
                return;
            }
            thread::sleep(Duration::from_millis(100));
        }
        panic!("{word} was never taken:\n{}", self.all())
    }

    /// Answers whatever is asked until a line with these words comes, or the program ends.
    pub(crate) fn answers_until(&mut self, words: &str) -> bool {
        let until = Instant::now() + PATIENCE;
        while let Some(line) = self.next() {
            if line.contains(words) {
                return true;
            }
            assert!(Instant::now() < until, "it does not end:\n{}", self.all());
            for word in ["start", "accept", "wet"] {
                if line.starts_with(">> ") && line.ends_with(&format!("(or type {word})")) {
                    self.types(word);
                }
                // What could not be taken yet is asked again.
                let told = line.strip_prefix(&format!("{word}: "));
                if told.is_some_and(|told| told != "accepted" && told != "already so") {
                    thread::sleep(Duration::from_millis(100));
                    self.types(word);
                }
            }
        }
        false
    }

    /// All that was said.
    pub(crate) fn all(&self) -> String {
        self.said.join("\n")
    }

    /// Waits for the end: its exit code, and all that was said.
    pub(crate) fn ends(mut self) -> (i32, String) {
        while self.next().is_some() {}
        let status = self.child.wait().expect("it ends");
        (status.code().expect("a code"), self.all())
    }
}

impl Drop for Typist {
    fn drop(&mut self) {
        // It may have ended by itself.
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}
