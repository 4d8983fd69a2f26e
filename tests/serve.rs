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
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

use clap::Parser as _;
use evenpass::cli::CommandLine;
use rustix::fs::{CWD, FileType, Mode, mknodat};
use rustix::process::{Pid, Signal, kill_process};

/// Longest that anything here may take.
const PATIENCE: Duration = Duration::from_secs(60);

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
            .arg("--recipes")
            .arg(Path::new(env!("CARGO_MANIFEST_DIR")).join("config/recipes"))
            .args(more)
            .stdout(Stdio::piped())
            .stderr(Stdio::null());
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
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("notify");
    let socket = UnixDatagram::bind(&path).expect("a socket");
    socket.set_read_timeout(Some(PATIENCE)).expect("a limit");
    let mut served = Served::start(&[], Some(&path));
    let hear = |wanted: &str| {
        let until = Instant::now() + PATIENCE;
        let mut heard = [0; 256];
        while Instant::now() < until {
            let length = socket.recv(&mut heard).expect("a message");
            if String::from_utf8_lossy(&heard[..length]).lines().any(|line| line == wanted) {
                return;
            }
        }
        panic!("{wanted} was never heard");
    };
    hear("READY=1");
    hear("WATCHDOG=1");
    hear("WATCHDOG=1");
    assert_eq!(served.ends(), Some(0));
    hear("STOPPING=1");
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
    // Others may not read it.
    let own = std::fs::Permissions::from_mode(0o600);
    std::fs::set_permissions(&people, own).expect("its rights");
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
        .arg(Path::new(env!("CARGO_MANIFEST_DIR")).join("config/recipes"))
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
