//! Proof tests of interlocks, with the real controller and the real twin in virtual time, and real
//! records files: every row that can be proved passes on a healthy machine, and a defect fails the
//! row it belongs to with words that say what is wrong.

#![allow(
    clippy::print_stdout,
    clippy::panic,
    clippy::expect_used,
    reason = "a test prints its figures, and fails where it cannot go on"
)]

mod kept;

use std::time::Duration;

use evenpass::files;
use evenpass::proving::{Instruction, Led, Place, Said, Twin, lead};
use evenpass_core::image::{Coil as OurCoil, Contact};
use evenpass_core::ledger::EntryKind;
use evenpass_core::proof::{Effect, Failing, Proved, Standing, procedures_of};
use evenpass_core::request::{Answer, Request};
use evenpass_core::rig::Rig;
use evenpass_core::scan::Snapshot;
use evenpass_core::sequence::Leaf;
use evenpass_hil::{Analogue, Coil, Discrete, Fault, InLoop, Target, Word};

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
    fn missing(&mut self, what: &str) {
        self.twin.missing(what);
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

/// A person who stops everything at a look, and wants no more.
struct Quitting {
    twin: Twin,
    looks_left: u32,
}

impl Place for Quitting {
    fn look(&mut self) -> Result<Snapshot, String> {
        if self.looks_left == 1 {
            self.twin.ask(Request::Stop)?;
        }
        self.looks_left = self.looks_left.saturating_sub(1);
        self.twin.look()
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
    fn missing(&mut self, what: &str) {
        self.twin.missing(what);
    }
    fn tell(&mut self, instruction: Instruction) {
        self.twin.tell(instruction);
    }
    fn said(&mut self) -> Option<Said> {
        if self.looks_left == 0 { Some(Said::Quit) } else { self.twin.said() }
    }
    fn is_patient(&self) -> bool {
        false
    }
}

#[test]
fn a_person_who_ends_proving_at_any_moment_fails_no_device() {
    let mut quit = 0;
    for looks in 1..400 {
        let mut place = Quitting { twin: twin(), looks_left: looks };
        match lead(&mut place, "clamp_lost").expect("goes on") {
            Led::Quit => quit += 1,
            Led::Proved(found) => {
                assert_eq!(found.failing, None, "after {looks} looks: {}", found.found);
            }
            Led::Skipped | Led::Refused(_) => {}
        }
    }
    println!("ended before its result in {quit} of 399 moments");
    assert!(quit > 20, "{quit}");
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
