//! Proof tests of interlocks, with the real controller and the real twin in virtual time, and real
//! records files: every row that can be proved passes on a healthy machine, and a defect fails the
//! row it belongs to with words that say what is wrong.

#![allow(
    clippy::print_stdout,
    clippy::panic,
    clippy::expect_used,
    reason = "a test prints its figures, and fails where it cannot go on"
)]

use std::path::{Path, PathBuf};
use std::process::{Command, Output};
use std::time::Duration;

use evenpass::files;
use evenpass::proving::keeping::Lines;
use evenpass::proving::{Instruction, Led, Place, Said, Twin, keeping, lead};
use evenpass::record::{ProofOutcome, ProofRecord, RunKind, Store};
use evenpass_core::image::{Coil as OurCoil, Contact};
use evenpass_core::ledger::EntryKind;
use evenpass_core::proof::{Effect, Failing, Proved, Standing, procedures_of};
use evenpass_core::request::{Answer, Request};
use evenpass_core::rig::Rig;
use evenpass_core::scan::Snapshot;
use evenpass_core::sequence::Leaf;
use evenpass_hil::{Analogue, Coil, Discrete, Fault, InLoop, Target, Word};
use jiff::{Timestamp, ToSpan as _};

const SEED: u64 = 1;

fn rig() -> Rig {
    files::rig(None).expect("the bench's own rig").0
}

fn twin() -> Twin {
    Twin::new(&rig(), SEED).expect("the bench")
}

fn proved(twin: &mut Twin, key: &str) -> Proved {
    match lead(twin, key).expect("the controller goes on") {
        Led::Proved(proved) => proved,
        other => panic!("seed {SEED}, {key}: {other:?}\n{}", told(twin)),
    }
}

/// Proves a row on a twin with something wrong with it.
fn proved_with(target: Target, word: Word, key: &str) -> Proved {
    let mut twin = twin();
    twin.bench().inject(Fault::Signal { target, word });
    proved(&mut twin, key)
}

fn told(twin: &Twin) -> String {
    let told: Vec<String> = twin
        .entries()
        .iter()
        .filter(|entry| entry.kind != EntryKind::Sample)
        .map(|entry| format!("{:9.3} {:?} {}", entry.at.as_seconds(), entry.kind, entry.text))
        .collect();
    let last = told.len().saturating_sub(30);
    told.get(last..).unwrap_or_default().join("\n")
}

#[test]
fn every_row_that_can_be_proved_passes_on_a_healthy_twin_within_its_limit() {
    let mut twin = twin();
    let mut wrong = Vec::new();
    for procedure in procedures_of(&rig()) {
        let led = lead(&mut twin, procedure.key).expect("the controller goes on");
        match &led {
            Led::Proved(proved) if proved.failing.is_none() => {
                println!(
                    "{:28} {:>6} ms of {:>6} ms  {}",
                    proved.key,
                    proved.response.map_or(0, |response| response.as_millis()),
                    proved.limit.as_millis(),
                    proved.found
                );
            }
            other => wrong.push(format!("{}: {other:?}\n{}", procedure.key, told(&twin))),
        }
    }
    assert!(wrong.is_empty(), "seed {SEED}\n{}", wrong.join("\n\n"));
}

#[test]
fn a_contact_that_is_stuck_fails_its_own_row_and_says_so() {
    let found = proved_with(Target::Discrete(Discrete::GuardClosed), Word::Stuck, "guard_open");
    assert_eq!(found.failing, Some(Failing::NotSeen));
    for word in ["Guard open", "stuck", "bridged"] {
        assert!(found.found.contains(word), "{}", found.found);
    }
    let found = proved_with(Target::Discrete(Discrete::GuardClosed), Word::Stuck, "clamp_lost");
    assert_eq!(found.failing, None, "another row does not mind: {}", found.found);
}

#[test]
fn a_slow_contact_fails_although_its_row_trips() {
    let found = proved_with(Target::Discrete(Discrete::ClampOk), Word::Slow(3.0), "clamp_lost");
    let Some(Failing::SeenLate { after, within }) = found.failing else {
        panic!("{:?}: {}", found.failing, found.found)
    };
    assert_eq!(within, Duration::from_secs(1));
    assert!((2.9..3.3).contains(&after.as_secs_f64()), "{after:?}");
    assert!(found.found.contains("slow"), "{}", found.found);
}

#[test]
fn a_valve_that_does_not_shut_fails_every_row_that_takes_it_away() {
    // It follows its coil five seconds late, both ways.
    let stuck = |key| proved_with(Target::Coil(Coil::FuelValve), Word::Slow(5.0), key);
    for key in ["emergency_stop", "gas_detector", "flame_lost"] {
        let found = stuck(key);
        // The emergency stop cuts the valve's current by wire: the coil's fault sits behind that.
        let missing = Failing::NoEffect(Effect::Shut(Contact::FuelShut));
        assert_eq!(found.failing, Some(missing), "{key}: {}", found.found);
        assert!(found.found.contains("not seen shut"), "{}", found.found);
        assert!(found.response.is_none());
    }
}

#[test]
fn a_valve_whose_coil_is_dead_fails_before_anybody_acts() {
    let found = proved_with(Target::Coil(Coil::OxygenValve), Word::Off, "guard_open");
    assert_eq!(found.failing, Some(Failing::NotOpened(OurCoil::Oxygen)));
    assert!(found.found.contains("oxygen valve"), "{}", found.found);
}

#[test]
fn a_device_that_is_not_healthy_to_begin_with_proves_nothing() {
    let mut twin = twin();
    let fault = Fault::Signal { target: Target::Discrete(Discrete::ArrestorOk), word: Word::Off };
    twin.bench().inject(fault);
    let Led::Refused(why) = lead(&mut twin, "flashback").expect("the controller goes on") else {
        panic!("a proof began whose cause was there")
    };
    assert!(why.contains("the cause of `flashback` is there already"), "{why}");
    // Put in order, the same row is proved.
    let healthy = Fault::Signal { target: Target::Discrete(Discrete::ArrestorOk), word: Word::Ok };
    twin.bench().inject(healthy);
    twin.wait(Duration::from_secs(5));
    assert_eq!(proved(&mut twin, "flashback").failing, None);
}

#[test]
fn a_hold_that_was_proved_is_dropped_before_the_next_proof_begins() {
    let mut twin = twin();
    for _ in 0..2 {
        assert_eq!(proved(&mut twin, "hold_button").failing, None);
        let holds = twin.look().expect("the controller goes on").verdict.holds;
        assert!(holds.is_empty(), "{holds:?}");
    }
}

#[test]
fn a_cause_that_comes_first_is_named_and_the_row_counts_as_not_proved() {
    // With torque on, every row that energy arms counts, and the gas detector's is not healthy.
    let found =
        proved_with(Target::Discrete(Discrete::GasDetectorOk), Word::Off, "torque_contradicts");
    let Some(Failing::OtherFirst { key, .. }) = &found.failing else {
        panic!("{:?}: {}", found.failing, found.found)
    };
    assert_eq!(*key, "gas_detector");
    assert!(found.found.contains("gas_detector"), "{}", found.found);
}

/// A twin into whose fuel pipe gas leaks at the moment when somebody is to act.
struct Leaking {
    twin: Twin,
    opened_with_gas: bool,
    leaks: bool,
}

impl Place for Leaking {
    fn look(&mut self) -> Result<Snapshot, String> {
        let snapshot = self.twin.look()?;
        let pressure = snapshot.inputs.analogue(evenpass_core::image::Analogue::FuelPressure);
        let open = snapshot.outputs.coil(OurCoil::Fuel).is_on();
        self.opened_with_gas |= open && pressure.value > 0.05;
        Ok(snapshot)
    }
    fn ask(&mut self, request: Request) -> Result<Answer, String> {
        self.twin.ask(request)
    }
    fn prove(&mut self, key: &str) -> Result<Answer, String> {
        self.twin.prove(key)
    }
    fn done(&mut self) -> Result<(), String> {
        self.twin.done()
    }
    fn tell(&mut self, instruction: Instruction) {
        if matches!(instruction, Instruction::Act(..)) {
            // 12 mA of a transmitter of 0 to 2.5 bar.
            self.twin.bench().in_loop(Analogue::FuelPressure, InLoop::Source(12_000.0));
            self.leaks = true;
        } else {
            self.twin.bench().in_loop(Analogue::FuelPressure, InLoop::Untouched);
            self.twin.tell(instruction);
        }
    }
    fn said(&mut self) -> Option<Said> {
        self.twin.said()
    }
    fn is_patient(&self) -> bool {
        false
    }
}

#[test]
fn gas_that_appears_shuts_the_valves_and_ends_the_proof() {
    let mut leaking = Leaking { twin: twin(), opened_with_gas: false, leaks: false };
    let Led::Proved(found) = lead(&mut leaking, "guard_open").expect("goes on") else {
        panic!("no result\n{}", told(&leaking.twin))
    };
    assert!(leaking.leaks);
    assert_eq!(found.failing, Some(Failing::ProvingEnded), "{}", found.found);
    assert!(!leaking.opened_with_gas, "a valve was asked open in a scan that reads gas");
}

#[test]
fn a_proof_is_begun_only_while_proving() {
    let mut twin = twin();
    twin.wait(Duration::from_secs(5));
    let Answer::Denied(denial) = twin.prove("guard_open").expect("an answer") else {
        panic!("begun outside proving")
    };
    assert!(denial.help.contains("enter proving"), "{denial:?}");
    for key in ["overdue", "hopper_low", "gate_open"] {
        assert!(matches!(twin.prove(key), Ok(Answer::Denied(_))), "{key}");
    }
}

#[test]
fn a_proof_nobody_acts_in_ends_by_itself_and_leaves_nothing_energised() {
    let mut twin = twin();
    twin.wait(Duration::from_secs(5));
    assert_eq!(twin.ask(Request::EnterProving), Ok(Answer::Accepted));
    twin.wait(Duration::from_millis(100));
    assert_eq!(twin.prove("guard_open"), Ok(Answer::Accepted));
    twin.wait(Duration::from_secs(5));
    assert!(twin.controller().snapshot().outputs.coil(OurCoil::Fuel).is_on());
    twin.wait(Duration::from_secs(600));
    let snapshot = twin.controller().snapshot();
    assert!(!snapshot.outputs.coil(OurCoil::Fuel).is_on());
    assert_ne!(snapshot.status.leaf, Leaf::Proving);
    let proved = snapshot.proof.and_then(|proof| proof.proved).expect("a result");
    assert_eq!(proved.failing, Some(Failing::NotSeen));
}

#[test]
fn a_start_is_refused_with_the_command_that_proves_what_is_missing() {
    let mut twin = twin();
    twin.controller().set_proofs(vec![
        ("emergency_stop", Standing::Never),
        ("guard_open", Standing::DueIn(10)),
        ("fire", Standing::Late(3)),
    ]);
    twin.wait(Duration::from_secs(5));
    let missing = twin.controller().status().missing;
    let of = |key: &str| missing.iter().any(|words| words.contains(&format!("prove {key}`")));
    assert!(of("emergency_stop"), "{missing:?}");
    assert!(!of("guard_open") && !of("fire"), "due and late ones do not forbid: {missing:?}");
    let permissives = twin.controller().snapshot().permissives;
    assert!(permissives.iter().any(|p| p.found == "it was never proved"));
    twin.controller().set_proofs(
        procedures_of(&rig()).map(|procedure| (procedure.key, Standing::Overdue(40))).collect(),
    );
    twin.wait(Duration::from_secs(1));
    let missing = twin.controller().status().missing;
    let of_proofs = missing.iter().filter(|words| words.contains("evenpass prove")).count();
    assert_eq!(of_proofs, 4, "three by name and the list: {missing:?}");
}

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
    let moved = rewired("guard = { input = 1 }", "guard = { input = 90 }");
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
    std::fs::write(&changed, text.replace(from, "emergency_stop = { input = 90 }")).expect("rig");
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
    assert!(text.contains("1 proof tests: `evenpass records list --proofs`"), "{text}");
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
