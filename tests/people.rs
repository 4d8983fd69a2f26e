//! Who may sign in, by the program itself: `people`, and what `records acts` tells of them.

#![allow(
    clippy::print_stdout,
    clippy::panic,
    clippy::expect_used,
    clippy::unwrap_used,
    clippy::indexing_slicing,
    reason = "a test prints its figures, and fails where it cannot go on"
)]

use std::fs;
use std::io::{Read as _, Write as _};
use std::os::unix::fs::PermissionsExt as _;
use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};

use evenpass::people::{PeopleFile, Role, Whence};
use evenpass::record::{ActAnswer, ActRecord, Store};
use rustix::pty::{OpenptFlags, grantpt, openpt, ptsname, unlockpt};
use rustix::termios::{LocalModes, tcgetattr};
use serde_json::{Value, json};
use tempfile::TempDir;

/// A folder with room for a roll and records.
struct Place {
    folder: TempDir,
}

impl Place {
    fn new() -> Self {
        Self { folder: tempfile::tempdir().expect("a folder") }
    }

    fn records(&self) -> PathBuf {
        self.folder.path().join("records.sqlite")
    }

    fn people(&self) -> PathBuf {
        self.folder.path().join("people.toml")
    }

    fn command(&self, arguments: &[&str]) -> Command {
        let mut command = Command::new(env!("CARGO_BIN_EXE_evenpass"));
        command.args(arguments).arg("--records").arg(self.records());
        command
    }

    /// The program with a line on its standard input, which is no terminal.
    fn told(&self, arguments: &[&str], line: &str) -> Output {
        let mut child = self
            .command(arguments)
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .expect("the program runs");
        // A program that refuses before it reads has closed the pipe.
        let _ = child.stdin.take().expect("piped").write_all(line.as_bytes());
        child.wait_with_output().expect("it ends")
    }

    fn done(&self, arguments: &[&str], line: &str) -> String {
        let output = self.told(arguments, line);
        let complained = text(&output.stderr);
        assert_eq!(output.status.code(), Some(0), "{arguments:?}\n{complained}");
        text(&output.stdout)
    }

    /// What it complains about, with its exit code; the roll stays as it was.
    fn refused(&self, arguments: &[&str], line: &str, code: i32) -> String {
        let before = fs::read(self.people()).ok();
        let output = self.told(arguments, line);
        let complained = text(&output.stderr);
        assert_eq!(output.status.code(), Some(code), "{arguments:?}\n{complained}");
        assert_eq!(text(&output.stdout), "");
        assert_eq!(fs::read(self.people()).ok(), before, "{arguments:?}");
        complained
    }

    fn add(&self, name: &str, role: &str, pin: &str) -> String {
        self.done(&["people", "add", name, "--role", role], &format!("{pin}\n"))
    }

    /// Whether somebody could sign in by this PIN.
    fn opens(&self, name: &str, pin: &str) -> bool {
        let file = PeopleFile::of(None, &self.records()).expect("beside the records");
        file.read().expect("a roll").verify(name, pin).expect("hashed").is_some()
    }
}

fn text(bytes: &[u8]) -> String {
    String::from_utf8(bytes.to_vec()).expect("text")
}

#[test]
fn people_are_added_listed_given_another_pin_and_removed() {
    let place = Place::new();
    let said = place.add("B. Engineer", "engineer", "2580");
    assert_eq!(
        said,
        format!("\"B. Engineer\" may sign in as engineer; kept in {}\n", place.people().display())
    );
    place.add("  A. Fitter ", "maintenance", "135799");
    let mode = fs::metadata(place.people()).expect("there").permissions().mode();
    assert_eq!(mode & 0o777, 0o600);
    let kept = fs::read_to_string(place.people()).expect("read");
    assert!(kept.contains("$argon2id$") && !kept.contains("2580"), "{kept}");

    let listed = place.done(&["people", "list"], "");
    println!("{listed}");
    assert_eq!(
        listed,
        "name         role         units\n\
         B. Engineer  engineer     mm, degC, bar\n\
         A. Fitter    maintenance  mm, degC, bar\n"
    );
    let listed = place.done(&["people", "list", "--json"], "");
    let listed: Value = serde_json::from_str(&listed).expect("JSON");
    let metric = json!({"length": "mm", "temperature": "degC", "pressure": "bar"});
    assert_eq!(
        listed,
        json!([
            {"name": "B. Engineer", "role": "engineer", "units": metric},
            {"name": "A. Fitter", "role": "maintenance", "units": metric},
        ])
    );

    assert!(place.opens("a. fitter", "135799"));
    let said = place.done(&["people", "pin", "a. FITTER"], "864200\r\n");
    assert!(said.starts_with("\"A. Fitter\" has another PIN"), "{said}");
    assert!(place.opens("A. Fitter", "864200") && !place.opens("A. Fitter", "135799"));

    let said = place.done(&["people", "remove", "a. fitter"], "");
    assert_eq!(said, "\"A. Fitter\" may sign in no more; one person is left\n");
    assert!(!place.opens("A. Fitter", "864200"));
    let said = place.done(&["people", "remove", "B. Engineer"], "");
    assert!(said.starts_with("\"B. Engineer\" may sign in no more; nobody is left: "), "{said}");
    for opened in ["keeps those it knows", "on a twin without a PIN", "a machine is not served"] {
        assert!(said.contains(opened), "{said}");
    }
    let said = place.done(&["people", "list"], "");
    assert!(said.starts_with("nobody may sign in: "), "{said}");
}

#[test]
fn what_is_wrong_is_told_with_what_is_accepted_and_nothing_is_changed() {
    let place = Place::new();
    let operator = ["people", "add", "C. Operator", "--role", "operator"];
    for (pin, words) in [
        ("", "PIN: there is none\naccepted: 4 to 12 digits"),
        ("123\n", "PIN: it has fewer than 4 digits\naccepted: "),
        ("1234\n", "PIN: it counts up\naccepted: "),
        ("25 80\n", "PIN: it has something else than the digits 0 to 9\naccepted: "),
    ] {
        let complained = place.refused(&operator, pin, 2);
        assert!(complained.contains(words), "{complained}");
    }
    assert!(!place.people().exists());
    place.add("B. Engineer", "engineer", "2580");
    place.add("C. Operator", "operator", "2580");
    for (arguments, words) in [
        (vec!["people", "add", "c.  operator", "--role", "operator"], "is on the roll already"),
        (vec!["people", "add", "", "--role", "operator"], "found an empty name"),
        (vec!["people", "add", "a\u{1b}[2Jb", "--role", "operator"], "control characters"),
        (vec!["people", "add", "D", "--role", "boss"], "operator, maintenance, engineer"),
        (vec!["people", "remove", "C. Operater"], "did you mean \"C. Operator\"?"),
        (vec!["people", "pin", "X"], "nobody is called \"X\""),
        (vec!["people", "remove", "B. Engineer"], "add another engineer first"),
    ] {
        let complained = place.refused(&arguments, "135799\n", 2);
        assert!(complained.contains(words), "{words} is missing:\n{complained}");
        assert!(!complained.contains('\u{1b}'), "{complained}");
    }
}

#[test]
fn a_roll_without_an_engineer_is_taken_and_said_to_be_one() {
    let place = Place::new();
    let arguments = ["people", "add", "C. Operator", "--role", "operator"];
    let output = place.told(&arguments, "2580\n");
    assert_eq!(output.status.code(), Some(0));
    let complained = text(&output.stderr);
    assert!(complained.contains("no engineer may sign in yet"), "{complained}");
}

#[test]
fn a_file_that_is_open_to_others_or_cannot_be_understood_is_refused() {
    let place = Place::new();
    place.add("B. Engineer", "engineer", "2580");
    fs::set_permissions(place.people(), fs::Permissions::from_mode(0o644)).expect("chmod");
    let complained = place.refused(&["people", "list"], "", 1);
    assert!(complained.contains("(mode 0644)") && complained.contains("chmod 600"), "{complained}");
    fs::set_permissions(place.people(), fs::Permissions::from_mode(0o600)).expect("chmod");
    let kept = fs::read_to_string(place.people()).expect("read");
    fs::write(place.people(), kept.replace("role = \"engineer\"", "role = 7")).expect("written");
    for arguments in [
        vec!["people", "list"],
        vec!["people", "add", "A", "--role", "operator"],
        vec!["people", "remove", "B. Engineer"],
    ] {
        let complained = place.refused(&arguments, "135799\n", 2);
        assert!(complained.contains("person[1].role: this is no text"), "{complained}");
        assert!(complained.contains("people.toml:"), "{complained}");
    }
}

#[test]
fn a_roll_that_was_named_has_to_be_there() {
    let place = Place::new();
    let file = place.folder.path().join("night.toml");
    let named = ["--people", file.to_str().expect("text")];
    for verb in [vec!["people", "list"], vec!["people", "remove", "A"], vec!["people", "pin", "A"]]
    {
        let complained = place.refused(&[verb, named.to_vec()].concat(), "2580\n", 1);
        assert!(complained.contains("nobody was added there yet"), "{complained}");
        assert!(!file.exists());
    }
    let add = ["people", "add", "A", "--role", "engineer"];
    place.done(&[add.as_slice(), &named].concat(), "2580\n");
    let listed = place.done(&[&["people", "list"], named.as_slice()].concat(), "");
    assert!(listed.contains("A     engineer"), "{listed}");
    assert!(!place.people().exists());
    let gone = place.folder.path().join("gone/people.toml");
    let named = ["--people", gone.to_str().expect("text")];
    let complained = place.refused(&[add.as_slice(), &named].concat(), "2580\n", 2);
    assert!(complained.contains("--people: no folder"), "{complained}");
}

/// A terminal, as the program and whoever sits before it have it.
fn terminal() -> (fs::File, fs::File) {
    let seat = openpt(OpenptFlags::RDWR | OpenptFlags::NOCTTY).expect("a pty");
    grantpt(&seat).and_then(|()| unlockpt(&seat)).expect("granted");
    let name = ptsname(&seat, Vec::new()).expect("a name");
    let name = Path::new(name.to_str().expect("text"));
    let program = fs::File::options().read(true).write(true).open(name).expect("opened");
    (fs::File::from(seat), program)
}

/// The program at a terminal: each answer is typed when a question has come, and what the
/// terminal showed and the program said come back with the exit code.
fn at_a_terminal(place: &Place, arguments: &[&str], answers: &[&[u8]]) -> (String, i32) {
    let (mut seat, program) = terminal();
    let was = tcgetattr(&program).expect("modes").local_modes;
    assert!(was.contains(LocalModes::ECHO | LocalModes::ICANON | LocalModes::ISIG));
    let mut child = place
        .command(arguments)
        .stdin(program.try_clone().expect("cloned"))
        .stdout(program.try_clone().expect("cloned"))
        .stderr(program.try_clone().expect("cloned"))
        .spawn()
        .expect("the program runs");
    let mut shown = Vec::new();
    for answer in answers {
        let question = shown.len();
        while !shown[question..].ends_with(b": ") {
            let mut some = [0; 256];
            let count = seat.read(&mut some).expect("it asks");
            shown.extend_from_slice(&some[..count]);
        }
        seat.write_all(answer).expect("typed");
    }
    let code = child.wait().expect("it ends").code().expect("by itself");
    assert_eq!(tcgetattr(&program).expect("modes").local_modes, was, "the terminal is as before");
    drop(program);
    let mut some = [0; 256];
    // With the last of its users gone a terminal reads as broken.
    while let Ok(count @ 1..) = seat.read(&mut some) {
        shown.extend_from_slice(&some[..count]);
    }
    (text(&shown), code)
}

#[test]
fn at_a_terminal_a_pin_is_asked_for_twice_and_never_shown() {
    let place = Place::new();
    let add = ["people", "add", "B. Engineer", "--role", "engineer"];
    let (shown, code) = at_a_terminal(&place, &add, &[b"2590\x7f\x7f80\r", b"2580\r"]);
    println!("{shown}");
    assert_eq!(code, 0, "{shown}");
    assert!(shown.starts_with("PIN of \"B. Engineer\" (4 to 12 digits"), "{shown}");
    assert!(shown.contains("\r\nthe same again: \r\n\"B. Engineer\" may sign in"), "{shown}");
    let asked = shown.split("kept in").next().expect("before the path");
    assert!(!asked.contains("25") && !asked.contains("80"), "{shown}");
    assert!(place.opens("B. Engineer", "2580"));
}

#[test]
fn two_pins_that_differ_or_one_broken_off_change_nothing() {
    let place = Place::new();
    place.add("B. Engineer", "engineer", "2580");
    let pin = ["people", "pin", "B. Engineer"];
    for (answers, words, wanted) in [
        (vec![&b"8642\r"[..], b"8643\r"], "the two are not the same", 2),
        (vec![b"4321\r"], "it counts down", 2),
        (vec![b"86\x03"], "nothing was changed", 4),
        (vec![b"8642\r", b"\x04"], "nothing was changed", 4),
    ] {
        let (shown, code) = at_a_terminal(&place, &pin, &answers);
        assert!(code == wanted && shown.contains(words), "{code} {shown}");
        assert!(place.opens("B. Engineer", "2580"));
    }
}

#[test]
fn acts_are_told_the_latest_last_and_nothing_in_them_moves_a_screen() {
    let place = Place::new();
    let mut store = Store::open(&place.records()).expect("open");
    let said = place.done(&["records", "acts"], "");
    assert!(said.starts_with("nobody asked for anything in "), "{said}");
    let act = |what: &str, whence: &str, role, answer| ActRecord {
        at: "2026-11-25T09:00:00Z".parse().expect("RFC 3339"),
        person: "C. Operator".to_owned(),
        role,
        whence: whence.parse::<Whence>().expect("whence"),
        what: what.to_owned(),
        answer,
        run: None,
    };
    let why = "only maintenance\nor an engineer\u{1b}[2J".to_owned();
    for kept in [
        act("start", "machine", Some(Role::Operator), ActAnswer::Done),
        act("jog", "192.0.2.7", None, ActAnswer::Refused(why)),
    ] {
        store.keep_act(&kept).expect("kept");
    }
    let said = place.done(&["records", "acts"], "");
    println!("{said}");
    let lines: Vec<&str> = said.lines().collect();
    assert!(lines[1].contains("C. Operator  operator  machine    start"), "{said}");
    assert!(lines[2].contains("C. Operator  -         192.0.2.7  jog"), "{said}");
    assert!(said.contains("refused: only maintenance\u{fffd}or"), "{said}");
    assert!(!said.contains('\u{1b}') && lines.iter().all(|line| line.chars().count() <= 100));
    let last = place.done(&["records", "acts", "--last", "1", "--json"], "");
    let last: Value = serde_json::from_str(&last).expect("JSON");
    assert_eq!(
        last,
        json!([{
            "at": "2026-11-25T09:00:00Z",
            "person": "C. Operator",
            "role": null,
            "from": "192.0.2.7",
            "what": "jog",
            "answer": "refused: only maintenance\nor an engineer\u{1b}[2J",
            "run": null,
        }])
    );
}

#[test]
fn each_verb_helps_with_an_example() {
    let place = Place::new();
    for verb in ["add", "list", "remove", "pin"] {
        let output = Command::new(env!("CARGO_BIN_EXE_evenpass"))
            .args(["people", verb, "--help"])
            .current_dir(place.folder.path())
            .output()
            .expect("the program runs");
        let said = text(&output.stdout);
        assert!(said.contains(&format!("Example: evenpass people {verb}")), "{said}");
    }
}
