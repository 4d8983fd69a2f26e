//! `serve` as a system starts, feeds and ends it: the real program, a real notification socket.

#![allow(
    clippy::print_stdout,
    clippy::panic,
    clippy::expect_used,
    clippy::indexing_slicing,
    clippy::string_slice,
    reason = "a test prints its figures, and fails where it cannot go on"
)]

use std::io::{BufRead as _, BufReader, Read as _, Write as _};
use std::net::TcpStream;
use std::os::unix::fs::PermissionsExt as _;
use std::os::unix::net::UnixDatagram;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

use clap::Parser as _;
use evenpass::cli::CommandLine;
use rustix::fs::{CWD, FileType, Mode, mknodat};
use rustix::process::{Pid, Signal, kill_process};

/// Longest that anything here may take.
const PATIENCE: Duration = Duration::from_secs(60);

/// The recipes that are shipped.
fn recipes() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("config/recipes")
}

struct Served {
    child: Child,
    address: String,
    folder: tempfile::TempDir,
}

impl Served {
    fn start(more: &[&str], notify: Option<&Path>) -> Self {
        let folder = tempfile::tempdir().expect("a folder");
        let mut command = Command::new(env!("CARGO_BIN_EXE_evenpass"));
        command
            .args(["serve", "--listen", "127.0.0.1:0", "--records"])
            .arg(folder.path().join("runs.sqlite"))
            .args(more)
            .stdout(Stdio::piped())
            .stderr(Stdio::null());
        if !more.contains(&"--recipes") {
            command.arg("--recipes").arg(recipes());
        }
        if let Some(socket) = notify {
            command.env("NOTIFY_SOCKET", socket).env("WATCHDOG_USEC", "5000000");
        }
        let mut child = command.spawn().expect("the program");
        let mut lines = BufReader::new(child.stdout.take().expect("its output")).lines();
        let address = lines.find_map(|line| {
            Some(line.ok()?.split_once("http://")?.1.trim_end_matches('/').into())
        });
        Self { child, address: address.expect("an address"), folder }
    }

    fn get(&self, path: &str) -> String {
        self.exchange(&format!("GET {path} HTTP/1.1\r\nHost: {}\r\n", self.address))
    }

    fn exchange(&self, head: &str) -> String {
        let mut stream = TcpStream::connect(&self.address).expect("the panel");
        stream.set_read_timeout(Some(PATIENCE)).expect("a limit");
        write!(stream, "{head}Connection: close\r\n\r\n").expect("sent");
        let mut answer = String::new();
        stream.read_to_string(&mut answer).expect("an answer");
        answer
    }

    /// Name and nice value of every thread.
    fn threads(&self) -> Vec<(String, i32)> {
        let tasks = std::fs::read_dir(format!("/proc/{}/task", self.child.id())).expect("threads");
        let read = |task: std::fs::DirEntry| {
            let stat = std::fs::read_to_string(task.path().join("stat")).ok()?;
            let (before, after) = stat.rsplit_once(')')?;
            // The nice value is the 19th field (proc(5)); the third is the first after the name.
            let nice = after.split_whitespace().nth(16)?.parse().ok()?;
            Some((before.split_once('(')?.1.to_owned(), nice))
        };
        tasks.filter_map(|task| read(task.ok()?)).collect()
    }

    fn ends(&mut self) -> Option<i32> {
        let pid = i32::try_from(self.child.id()).ok().and_then(Pid::from_raw).expect("a process");
        kill_process(pid, Signal::TERM).expect("signalled");
        let until = Instant::now() + PATIENCE;
        loop {
            if let Some(status) = self.child.try_wait().expect("its end") {
                return status.code();
            }
            assert!(Instant::now() < until, "it does not end");
            std::thread::sleep(Duration::from_millis(20));
        }
    }
}

impl Drop for Served {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

#[test]
fn the_unit_file_starts_the_program_with_arguments_that_it_knows() {
    let unit = Path::new(env!("CARGO_MANIFEST_DIR")).join("config/system/evenpass.service");
    let text = std::fs::read_to_string(unit).expect("the unit").replace("\\\n", " ");
    let line = text.lines().find_map(|line| line.strip_prefix("ExecStart=")).expect("a command");
    let parsed = CommandLine::try_parse_from(line.split_whitespace());
    assert!(parsed.is_ok(), "{line}: {}", parsed.err().map_or_else(String::new, |e| e.to_string()));
}

#[test]
fn its_supervisor_hears_that_it_is_ready_that_its_scans_go_on_and_that_it_stops() {
    let supervisor = Supervisor::new();
    let mut served = Served::start(&[], Some(&supervisor.path()));
    supervisor.hears("READY=1");
    supervisor.hears("WATCHDOG=1");
    supervisor.hears("WATCHDOG=1");
    assert_eq!(served.ends(), Some(0));
    supervisor.hears("STOPPING=1");
}

/// Whoever is told how the program is.
struct Supervisor {
    folder: tempfile::TempDir,
    socket: UnixDatagram,
}

impl Supervisor {
    fn new() -> Self {
        let folder = tempfile::tempdir().expect("a folder");
        let socket = UnixDatagram::bind(folder.path().join("notify")).expect("a socket");
        socket.set_read_timeout(Some(PATIENCE)).expect("a limit");
        Self { folder, socket }
    }

    fn path(&self) -> PathBuf {
        self.folder.path().join("notify")
    }

    fn hears(&self, wanted: &str) {
        let until = Instant::now() + PATIENCE;
        let mut heard = [0; 256];
        while Instant::now() < until {
            let length = self.socket.recv(&mut heard).expect("a message");
            if String::from_utf8_lossy(&heard[..length]).lines().any(|line| line == wanted) {
                return;
            }
        }
        panic!("{wanted} was never heard");
    }

    /// The longest time without a beat, while so many come.
    fn longest_gap(&self, beats: u32) -> Duration {
        let mut longest = Duration::ZERO;
        for _ in 0..beats {
            let since = Instant::now();
            self.hears("WATCHDOG=1");
            longest = longest.max(since.elapsed());
        }
        longest
    }
}

/// What `config/system/evenpass.service` says of the watchdog.
const WATCHDOG: Duration = Duration::from_secs(5);

#[test]
fn somebody_who_imports_without_end_keeps_neither_the_watchdog_nor_a_signal_waiting() {
    let supervisor = Supervisor::new();
    let folder = tempfile::tempdir().expect("a folder");
    let own = folder.path().join("recipes").display().to_string();
    std::fs::create_dir(&own).expect("a folder");
    let text = std::fs::read_to_string(recipes().join("short-job.toml")).expect("read");
    let catalogue = recipes().join("..").display().to_string();
    let more = ["--recipes", &own, "--catalogue", &catalogue];
    let mut served = Served::start(&more, Some(&supervisor.path()));
    supervisor.hears("READY=1");
    // Whoever is at the machine is let in where nobody was added yet.
    let let_in = served.get("/session");
    let cookie = let_in.split_once("set-cookie: ").expect("a cookie").1;
    let cookie = cookie.split_once(';').expect("its end").0.to_owned();
    let told = served.exchange(&format!(
        "GET /session HTTP/1.1\r\nHost: {}\r\nCookie: {cookie}\r\n",
        served.address
    ));
    let form = told.split_once("\"form\":\"").expect("a token").1;
    let form = form.split_once('"').expect("its end").0.to_owned();
    let text: String = text.bytes().map(|byte| format!("%{byte:02x}")).collect();
    let importing: Vec<_> = (0..39)
        .map(|number| {
            let body = format!("form={form}&id={number:032x}&name=part-{number}.toml&text={text}");
            let mut stream = TcpStream::connect(&served.address).expect("the panel");
            write!(
                stream,
                "POST /recipes HTTP/1.1\r\nHost: {}\r\nCookie: {cookie}\r\nConnection: close\r\n\
                 Content-Type: application/x-www-form-urlencoded\r\nContent-Length: {}\r\n\r\n{body}",
                served.address,
                body.len()
            )
            .expect("sent");
            stream
        })
        .collect();
    let gap = supervisor.longest_gap(4);
    let begun = Instant::now();
    assert_eq!(served.ends(), Some(0));
    println!("longest time without a beat {gap:.1?}; ended within {:.1?}", begun.elapsed());
    assert!(gap < WATCHDOG / 2, "{gap:?}");
    drop(importing);
}

#[test]
fn what_takes_stops_in_gives_way_to_nobody_and_what_answers_all_else_does() {
    let served = Served::start(&[], None);
    assert!(served.get("/sign-in").contains("no safety device"));
    let threads = served.threads();
    let nice = |name: &str| -> Vec<i32> {
        threads.iter().filter(|thread| thread.0.starts_with(name)).map(|thread| thread.1).collect()
    };
    let own = nice("evenpass");
    assert_eq!((own.len(), nice("panel")), (1, own.clone()), "{threads:?}");
    let workers = nice("tokio");
    assert!(workers.len() >= 2 && workers.iter().all(|worker| *worker > own[0]), "{threads:?}");
}

/// A disk that hangs is a people's file whose opening never comes back: a pipe that nobody writes.
#[test]
fn a_hung_disk_keeps_neither_the_supervisor_from_being_told_of_scans_nor_the_program_from_ending() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("notify");
    let socket = UnixDatagram::bind(&path).expect("a socket");
    socket.set_read_timeout(Some(Duration::from_secs(10))).expect("a limit");
    let people = folder.path().join("people.toml");
    std::fs::write(&people, "").expect("a file");
    // As the program itself makes it: nobody else may read it.
    std::fs::set_permissions(&people, std::fs::Permissions::from_mode(0o600)).expect("restricted");
    let mut served = Served::start(&["--people", people.to_str().expect("a name")], Some(&path));
    let feeds = |wanted: usize| {
        let (mut heard, mut fed) = ([0; 256], 0);
        while fed < wanted {
            let length = socket.recv(&mut heard).expect("it is told of scans");
            fed += usize::from(heard[..length].starts_with(b"WATCHDOG=1"));
        }
    };
    feeds(1);
    std::fs::remove_file(&people).expect("removed");
    let mode = Mode::from_raw_mode(0o600);
    mknodat(CWD, &people, FileType::Fifo, mode, 0).expect("a pipe");
    feeds(4);
    assert!(served.get("/alive").contains("\"program\":\"evenpass\""));
    assert_eq!(served.ends(), Some(0));
}

#[test]
fn without_people_it_listens_to_its_own_computer_alone() {
    let folder = tempfile::tempdir().expect("a folder");
    let output = Command::new(env!("CARGO_BIN_EXE_evenpass"))
        .args(["serve", "--listen", "0.0.0.0:0", "--records"])
        .arg(folder.path().join("runs.sqlite"))
        .arg("--recipes")
        .arg(recipes())
        .output()
        .expect("the program");
    assert_eq!(output.status.code(), Some(2));
    let said = String::from_utf8_lossy(&output.stderr);
    assert!(said.contains("--listen") && said.contains("evenpass people add"), "{said}");
}

#[test]
fn its_address_tells_that_it_is_there_and_a_page_comes_with_a_policy() {
    let mut served = Served::start(&[], None);
    let alive = served.get("/alive");
    assert!(alive.contains("\"program\":\"evenpass\""), "{alive}");
    let page = served.get("/sign-in");
    assert!(page.contains("content-security-policy: default-src 'none'"), "{page}");
    assert!(page.contains("no safety device"), "{page}");
    assert!(served.folder.path().join("runs.sqlite").exists());
    assert_eq!(served.ends(), Some(0));
}
