//! Proof tests by the real program over pseudo-terminals, in wall time, with a person who reads and
//! types: here the test, answering what is asked, and a script at the twin's buttons.

#![allow(clippy::expect_used, reason = "a test that cannot go on fails")]

use std::io::{BufRead as _, BufReader, Write as _};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, ExitStatus, Stdio};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::thread::{JoinHandle, sleep, spawn};
use std::time::{Duration, Instant};

use evenpass::record::{RunKind, Store};
use evenpass_hil::pty::{Pacing, PtyOptions, serve};
use evenpass_hil::{Bench, BenchSpec, Button, HandScript, PartInChuck, Presence, ScriptedPress};
use tempfile::TempDir;

/// Long enough for devices to appear and valves to be stroked on a machine that tests many things
/// at once; nothing is pressed before.
const ACT_AT_S: f64 = 12.0;
/// Far beyond what any of this takes.
const PATIENCE: Duration = Duration::from_secs(120);

/// A twin on its own thread, key on, with somebody who presses what the script says.
struct Twin {
    folder: TempDir,
    stop: Arc<AtomicBool>,
    thread: Option<JoinHandle<()>>,
}

impl Twin {
    fn start(presses: Vec<ScriptedPress>) -> Self {
        let folder = TempDir::new().expect("temporary folder");
        let spec = BenchSpec::default_bench().expect("the bench file");
        let mut bench = Bench::new(&spec, &PartInChuck::plain_shaft(), 1).expect("the bench");
        bench.follow_script(&HandScript { presence: Presence::Absent, presses });
        bench.turn_key_on();
        let options = PtyOptions {
            field_link: folder.path().join("field"),
            motion_link: folder.path().join("motion"),
            pace: 1.0,
            pacing: Pacing::AtLineSpeed,
            journal: None,
        };
        let stop = Arc::new(AtomicBool::new(false));
        let stopped = Arc::clone(&stop);
        let (tell, open) = std::sync::mpsc::channel();
        let thread = spawn(move || {
            serve(bench, &options, &stopped, || tell.send(()).expect("somebody waits"))
                .expect("the twin serves");
        });
        open.recv_timeout(PATIENCE).expect("the terminals are there");
        Self { folder, stop, thread: Some(thread) }
    }

    fn at(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    fn prove(&self, cause: &str) -> Child {
        let port = |line: &str| format!("{line}={}", self.at(line).display());
        Command::new(env!("CARGO_BIN_EXE_evenpass"))
            .args(["prove", cause, "--person", "A. Fitter"])
            .args(["--port", &port("field"), "--port", &port("motion"), "--records"])
            .arg(self.at("records.sqlite"))
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .expect("the program runs")
    }
}

impl Drop for Twin {
    fn drop(&mut self) {
        self.stop.store(true, Ordering::SeqCst);
        if let Some(thread) = self.thread.take() {
            // It has told what went wrong by itself.
            let _ = thread.join();
        }
    }
}

fn wait(child: &mut Child) -> ExitStatus {
    let end = Instant::now() + PATIENCE;
    while Instant::now() < end {
        if let Some(status) = child.try_wait().expect("a child") {
            return status;
        }
        sleep(Duration::from_millis(20));
    }
    child.kill().expect("it is there");
    child.wait().expect("it has ended")
}

fn press(at_s: f64, button: Button, hold_s: f64) -> ScriptedPress {
    ScriptedPress { at_s, button, hold_s }
}

/// Types Enter whenever a line of the program asks for it with one of these words.
fn answer(child: &mut Child, words: &'static [&'static str]) -> JoinHandle<String> {
    let mut keys = child.stdin.take().expect("piped");
    let told = BufReader::new(child.stderr.take().expect("piped"));
    spawn(move || {
        let mut all = String::new();
        for line in told.lines().map_while(Result::ok) {
            all.push_str(&line);
            all.push('\n');
            if words.iter().any(|word| line.trim_start().starts_with(word)) {
                // The instruction's own second line comes first; the program drops nothing after.
                sleep(Duration::from_millis(300));
                let _ = keys.write_all(b"\n");
            }
        }
        all
    })
}

fn kept(file: &Path) -> Vec<evenpass::record::ProofRecord> {
    let store = Store::open_existing(file).expect("records");
    store.last_proofs("Bench", RunKind::Twin).expect("read")
}

#[test]
fn a_person_at_the_terminal_is_led_from_the_act_to_the_reset() {
    let mut presses = vec![press(ACT_AT_S, Button::EmergencyStop, 2.0)];
    // Pressed every second until the trip is acknowledged and reset; harmless before and after.
    presses.extend((15..90).map(|second| press(f64::from(second), Button::Reset, 0.3)));
    let twin = Twin::start(presses);
    let mut child = twin.prove("emergency_stop");
    let told = answer(&mut child, &["restore"]);
    let status = wait(&mut child);
    let told = told.join().expect("told");
    for word in ["CAUTION", "prepare", "do ", "restore", "reset"] {
        assert!(told.contains(word), "{word} is not in\n{told}");
    }
    let proofs = kept(&twin.at("records.sqlite"));
    let [proof] = proofs.as_slice() else { panic!("{proofs:?}\n{told}") };
    // How fast it was is up to whatever else this machine does just now; that it was measured, and
    // that the exit code agrees with the record, is not.
    assert!(proof.response.is_some(), "{proof:?}\n{told}");
    assert!(proof.found.contains("Emergency stop"), "{proof:?}");
    let passed = proof.outcome == evenpass::record::ProofOutcome::Passed;
    assert_eq!(status.code(), Some(i32::from(!passed)), "{proof:?}\n{told}");
}

#[test]
fn a_person_who_has_gone_ends_the_proofs_and_nothing_is_recorded() {
    let twin = Twin::start(Vec::new());
    let mut child = twin.prove("all");
    drop(child.stdin.take());
    let status = wait(&mut child);
    assert_eq!(status.code(), Some(4));
    assert!(kept(&twin.at("records.sqlite")).is_empty());
}
