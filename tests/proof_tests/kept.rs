//! What is kept of proofs, when each counts, and what the program says of it.

use std::path::{Path, PathBuf};
use std::process::{Command, Output};

use evenpass::files;
use evenpass::proving::keeping;
use evenpass::proving::keeping::Lines;
use evenpass::record::{ProofOutcome, ProofRecord, RunKind, Store};
use evenpass_core::proof::{Standing, procedures_of};
use evenpass_core::rig::Rig;
use evenpass_hil::{Discrete, Target, Word};
use jiff::{Timestamp, ToSpan as _};

use crate::{proved, proved_with, rig, twin};

/// A real rig's file, whose proofs are demanded.
fn machine() -> Rig {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("config/rigs/inverter-lathe.toml");
    files::rig(Some(&path)).expect("the shipped rig").0
}

fn records() -> (tempfile::TempDir, PathBuf) {
    let folder = tempfile::tempdir().expect("temporary folder");
    let file = folder.path().join("records.sqlite");
    (folder, file)
}

#[test]
fn what_was_proved_is_in_the_record_with_its_person_and_the_day_it_is_due_again() {
    let (_folder, file) = records();
    let rig = machine();
    let passed = proved(&mut twin(), "guard_open");
    let failed = proved_with(Target::Discrete(Discrete::ClampOk), Word::Stuck, "clamp_lost");
    let then: Timestamp = "2026-03-01T10:00:00Z".parse().expect("RFC 3339");
    let mut store = Store::open(&file).expect("open");
    for found in [&passed, &failed] {
        store.keep_proof(&keeping::record(found, &rig, "A. Fitter", then)).expect("kept");
    }
    drop(store);
    let store = Store::open_existing(&file).expect("open again");
    let kept = store.last_proofs(&rig.title, RunKind::Machine).expect("read");
    let [clamp, guard] = kept.as_slice() else { panic!("{kept:?}") };
    assert_eq!((clamp.interlock.as_str(), clamp.outcome), ("clamp_lost", ProofOutcome::Failed));
    assert_eq!((guard.outcome, guard.person.as_str()), (ProofOutcome::Passed, "A. Fitter"));
    assert_eq!(guard.next_due.to_string(), "2027-03-01");
    assert_eq!(guard.response, passed.response);
    let standing = |days: i64, key: &str| {
        let now = then.checked_add((24 * days).hours()).expect("a time");
        let all = keeping::standings(Some(&store), &rig, now).expect("read");
        all.into_iter().find(|(known, ..)| *known == key).map(|(.., standing)| standing)
    };
    assert_eq!(standing(1, "guard_open"), Some(Standing::DueIn(364)));
    assert_eq!(standing(370, "guard_open"), Some(Standing::Late(5)));
    assert_eq!(standing(400, "guard_open"), Some(Standing::Overdue(35)));
    assert_eq!(standing(1, "clamp_lost"), Some(Standing::Failed));
    assert_eq!(standing(1, "emergency_stop"), Some(Standing::Never));
}

/// The rig of [`machine`] after somebody has been at its wires.
fn rewired(from: &str, to: &str) -> Rig {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("config/rigs/inverter-lathe.toml");
    let text = std::fs::read_to_string(path).expect("the shipped rig");
    assert!(text.contains(from), "{from}");
    Rig::read(&text.replace(from, to)).expect("an accepted rig")
}

#[test]
fn a_row_that_was_rewired_since_its_proof_counts_as_not_proved_and_no_start_is_possible() {
    let (_folder, file) = records();
    let then: Timestamp = "2026-03-01T10:00:00Z".parse().expect("RFC 3339");
    let later = then.checked_add(48.hours()).expect("a time");
    let mut store = Store::open(&file).expect("open");
    let passed = proved(&mut twin(), "guard_open");
    store.keep_proof(&keeping::record(&passed, &machine(), "A. Fitter", then)).expect("kept");
    let standing = |store: &Store, rig: &Rig| {
        let all = keeping::standings(Some(store), rig, later).expect("read");
        all.into_iter().find(|(known, ..)| *known == "guard_open").map(|(.., standing)| standing)
    };
    assert_eq!(standing(&store, &machine()), Some(Standing::DueIn(363)));
    let moved = rewired("guard = { input = 1 }", "guard = { input = 60 }");
    assert_eq!(standing(&store, &moved), Some(Standing::Changed(2)));
    assert!(Standing::Changed(2).forbids() && Standing::Unfounded(2).forbids());
    let of_before =
        ProofRecord { grounds: None, ..keeping::record(&passed, &machine(), "A. Fitter", then) };
    store.keep_proof(&of_before).expect("kept");
    assert_eq!(standing(&store, &machine()), Some(Standing::Unfounded(2)));
}

#[test]
fn the_list_says_when_a_row_was_proved_that_has_changed_since() {
    let (folder, file) = records();
    let bench = Path::new(env!("CARGO_MANIFEST_DIR")).join("config/rigs/bench.toml");
    let text = std::fs::read_to_string(bench).expect("the bench");
    let made = evenpass(&["prove", "emergency_stop", "--person", "A. Fitter"], &file);
    assert_eq!(made.status.code(), Some(0));
    let changed = folder.path().join("changed.toml");
    let from = "emergency_stop = { input = 0 }";
    assert!(text.contains(from));
    std::fs::write(&changed, text.replace(from, "emergency_stop = { input = 60 }")).expect("rig");
    let listed = evenpass(&["prove", "--list", "--rig", &changed.to_string_lossy()], &file);
    let words =
        String::from_utf8_lossy(&listed.stdout).split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(words.contains("changed since it was proved on 20"), "{words}");
}

#[test]
fn a_machine_demands_every_proof_and_a_twin_none() {
    let (_folder, file) = records();
    let of_machine =
        keeping::demanded(&machine(), Lines::Real, Some(&file)).expect("no file is no proof");
    assert_eq!(of_machine.len(), procedures_of(&machine()).count());
    assert!(of_machine.iter().all(|(_, standing)| *standing == Standing::Never));
    assert_eq!(keeping::demanded(&rig(), Lines::Simulated, Some(&file)), Ok(Vec::new()));
    let called_a_twin = keeping::demanded(&rig(), Lines::Real, Some(&file)).expect("no file");
    assert!(!called_a_twin.is_empty(), "a machine is not a twin for being called one");
    assert!(!file.exists(), "looking makes no file");
}

/// The real program.
fn evenpass(arguments: &[&str], file: &Path) -> Output {
    Command::new(env!("CARGO_BIN_EXE_evenpass"))
        .args(arguments)
        .arg("--records")
        .arg(file)
        .output()
        .expect("the program runs")
}

#[test]
fn the_program_proves_records_and_lists() {
    let (_folder, file) = records();
    let made = evenpass(&["prove", "emergency_stop", "--person", "A. Fitter"], &file);
    let text = String::from_utf8_lossy(&made.stdout).into_owned();
    assert_eq!(made.status.code(), Some(0), "{text}");
    assert!(text.contains("1 passed, 0 failed, 0 not made"), "{text}");
    let listed = evenpass(&["prove", "--list"], &file);
    let text = String::from_utf8_lossy(&listed.stdout).into_owned();
    assert_eq!(listed.status.code(), Some(0));
    let line = text.lines().find(|line| line.starts_with("emergency_stop")).expect("its line");
    assert!(line.contains("A. Fitter") && line.contains("due on"), "{line}");
    assert!(text.contains("never proved"), "{text}");
}

#[test]
fn a_person_who_ends_proving_on_the_twin_is_answered_with_the_code_of_a_stop() {
    use std::io::{BufRead as _, BufReader, Read as _};
    use std::process::Stdio;

    use rustix::process::{Pid, Signal, kill_process};
    for signal in [Signal::INT, Signal::TERM] {
        let (_folder, file) = records();
        let mut child = Command::new(env!("CARGO_BIN_EXE_evenpass"))
            .args(["prove", "all", "--person", "A. Fitter", "--records"])
            .arg(&file)
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .expect("the program runs");
        let mut told = BufReader::new(child.stderr.take().expect("piped"));
        let mut line = String::new();
        while !line.starts_with("[3/") {
            line.clear();
            assert!(told.read_line(&mut line).expect("told") > 0, "ended before it was asked to");
        }
        kill_process(Pid::from_child(&child), signal).expect("signalled");
        let mut rest = String::new();
        told.read_to_string(&mut rest).expect("told");
        let output = child.wait_with_output().expect("ended");
        assert_eq!(output.status.code(), Some(4), "{rest}");
        let text = String::from_utf8_lossy(&output.stdout).into_owned();
        assert!(text.contains("passed, 0 failed"), "what was proved before is told: {text}");
        let kept = Store::open_existing(&file).expect("open").proofs().expect("read");
        assert!((2..51).contains(&kept.len()), "{}", kept.len());
    }
}

#[test]
fn the_records_list_proofs_and_the_list_of_runs_points_at_them() {
    let (folder, file) = records();
    let made = evenpass(&["prove", "emergency_stop", "--person", "A. Fitter"], &file);
    assert_eq!(made.status.code(), Some(0));
    let runs = evenpass(&["records", "list"], &file);
    let text = String::from_utf8_lossy(&runs.stdout).into_owned();
    assert!(text.contains("1 proof test: `evenpass records list --proofs` shows it"), "{text}");
    let proofs = evenpass(&["records", "list", "--proofs"], &file);
    let text = String::from_utf8_lossy(&proofs.stdout).into_owned();
    for word in ["emergency_stop", "A. Fitter", "passed", "Bench"] {
        assert!(text.contains(word), "{text}");
    }
    let json = evenpass(&["records", "list", "--proofs", "--json"], &file);
    let json: serde_json::Value = serde_json::from_slice(&json.stdout).expect("JSON");
    assert_eq!(json[0]["interlock"], "emergency_stop");
    let nowhere = folder.path().join("no").join("such").join("records.sqlite");
    let refused = evenpass(&["prove", "emergency_stop", "--person", "A. Fitter"], &nowhere);
    let text = String::from_utf8_lossy(&refused.stderr).into_owned();
    assert!(text.contains("--records: no folder"), "{text}");
    assert!(!folder.path().join("no").exists(), "nothing is made");
}

#[test]
fn the_program_says_what_failed_and_ends_with_its_code() {
    let (_folder, file) = records();
    let prove = |more: &[&str]| {
        let arguments = [&["prove"], more, &["--person", "A. Fitter"]].concat();
        evenpass(&arguments, &file)
    };
    let failed = prove(&["guard_open", "--defect", "guard_closed=stuck", "--json"]);
    assert_eq!(failed.status.code(), Some(1));
    let json: serde_json::Value = serde_json::from_slice(&failed.stdout).expect("JSON");
    assert_eq!(json["proofs"][0]["outcome"], "failed");
    let found = json["proofs"][0]["found"].as_str().unwrap_or_default();
    assert!(found.contains("stuck"), "{found}");
    let foreign = prove(&["torque_contradicts", "--defect", "gas_detector_ok=off"]);
    assert_eq!(foreign.status.code(), Some(3));
    for (wrong, says) in [
        ("emergency_stopp", "did you mean `emergency_stop`?"),
        ("fuel_low", "can't be proved at a field device"),
        ("hopper_low", "only warns"),
        ("zebra", "is no interlock"),
    ] {
        let refused = prove(&[wrong]);
        let text = String::from_utf8_lossy(&refused.stderr).into_owned();
        assert_eq!(refused.status.code(), Some(2), "{text}");
        assert!(text.contains(says), "{text}");
    }
    let far = prove(&["zebra"]);
    assert!(!String::from_utf8_lossy(&far.stderr).contains("did you mean"), "nothing is like it");
    let nobody = evenpass(&["prove", "guard_open", "--person", " "], &file);
    assert_eq!(nobody.status.code(), Some(2));
}
