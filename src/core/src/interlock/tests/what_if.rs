//! What would happen, by the interlocks themselves.

use core::time::Duration;

use super::bench::rig;
use crate::interlock::Class;
use crate::interlock::what_if::{Assumption, Role, ScenePhase, WhatIf, assumptions, what_if};
use crate::rig::Rig;

fn ask(phase: ScenePhase, text: &str) -> WhatIf {
    ask_on(&rig(), phase, text)
}

fn ask_on(rig: &Rig, phase: ScenePhase, text: &str) -> WhatIf {
    let assumed = if text.is_empty() { Vec::new() } else { assumptions(text).expect(text) };
    what_if(rig, phase, &assumed).expect("the test rig's figures are good")
}

fn keys(answer: &WhatIf) -> Vec<(&'static str, Role)> {
    answer.confirmed.iter().map(|one| (one.key, one.role)).collect()
}

fn first(answer: &WhatIf) -> (&'static str, u128) {
    answer.confirmed.first().map_or(("nothing", 0), |one| (one.key, one.after.as_millis()))
}

fn shipped() -> Vec<Rig> {
    [
        include_str!("../../../../../config/rigs/bench.toml"),
        include_str!("../../../../../config/rigs/gearbox-lathe.toml"),
        include_str!("../../../../../config/rigs/inverter-lathe.toml"),
    ]
    .map(|text| Rig::read(text).expect("a shipped rig is accepted"))
    .to_vec()
}

/// A scene that trips by itself would tell everybody nonsense.
#[test]
fn a_signal_that_is_given_twice_is_refused_and_a_person_may_ask_twice() {
    let refused = assumptions("flame=off,flame=ok").expect_err("contradictory");
    assert_eq!(refused.what, "`flame` is given twice");
    assert!(assumptions("flame=off,guard=off").is_ok());
    assert!(assumptions("request=hold,request=abort").is_ok());
}

#[test]
fn without_a_fault_nothing_is_confirmed_in_any_phase_on_any_shipped_rig() {
    for rig in shipped() {
        for phase in ScenePhase::ALL {
            let answer = ask_on(&rig, phase, "");
            assert_eq!(keys(&answer), [], "{} on {}", phase.word(), rig.title);
        }
    }
}

#[test]
fn a_flame_that_goes_out_in_spraying_trips_after_its_filter_and_takes_powder_and_gas_in_one_scan() {
    let answer = ask(ScenePhase::Spraying, "flame=off");
    // 0.3 s from the first scan that saw it, 20 ms after the fault.
    assert_eq!(first(&answer), ("flame_lost", 320));
    let at = answer.confirmed[0].after;
    let together: Vec<&str> = answer
        .effects
        .iter()
        .filter(|change| change.after == at)
        .map(|change| change.what.as_str())
        .collect();
    assert_eq!(
        together,
        [
            "powder off",
            "fuel valve off",
            "oxygen valve off",
            "gas supply isolation off",
            "carrier air off",
            "carriage sent to 710.0 mm"
        ]
    );
    let later: Vec<&str> = answer
        .effects
        .iter()
        .filter(|change| change.after > at)
        .map(|change| change.what.as_str())
        .collect();
    assert!(later.contains(&"physically: the flame is out"), "{later:?}");
    assert!(later.contains(&"seen: the torch is clear of the part"), "{later:?}");
    assert!(later.contains(&"carrier air on"), "purged once clear: {later:?}");
}

#[test]
fn a_flashback_blows_no_air_and_asks_for_an_inspection() {
    let answer = ask(ScenePhase::Spraying, "arrestor=off");
    assert_eq!(first(&answer).0, "flashback");
    assert!(answer.effects.iter().all(|change| change.what != "carrier air on"));
    assert!(answer.reset_needs.iter().any(|need| need.starts_with("Inspect torch")));
}

#[test]
fn a_broken_wire_is_told_as_a_sensor_fault_and_never_as_a_low_pressure() {
    let answer = ask(ScenePhase::Spraying, "fuel_pressure=off");
    assert_eq!(first(&answer), ("fuel_transmitter", 120));
    assert!(keys(&answer).iter().all(|(key, _)| *key != "fuel_low"), "{:?}", keys(&answer));
    let answer = ask(ScenePhase::Spraying, "fuel_pressure=0.3 bar");
    // Both are confirmed in one scan; the trip is told first.
    assert_eq!(
        keys(&answer)[..2],
        [("fuel_low", Role::FirstOut), ("fuel_low_warn", Role::Warning)]
    );
}

#[test]
fn a_staged_cause_holds_first_and_trips_ten_seconds_later() {
    let answer = ask(ScenePhase::Spraying, "extraction=open");
    let after = |key: &str| {
        let one = answer.confirmed.iter().find(|one| one.key == key);
        one.map(|one| (one.class, one.after.as_millis()))
    };
    assert_eq!(after("extraction_lost"), Some((Class::Hold, 3_020)));
    assert_eq!(after("extraction_lost_trip"), Some((Class::Trip, 13_020)));
}

#[test]
fn a_dead_field_module_leaves_the_watchdog_and_says_so() {
    let answer = ask(ScenePhase::Spraying, "field=off");
    assert_eq!(first(&answer).0, "field_silent");
    assert!(answer.effects.iter().any(|change| change.what == "watchdog off"));
    assert!(answer.remaining.iter().any(|one| one.words().contains("watchdog relay")));
}

#[test]
fn the_same_fault_in_another_phase_has_another_answer() {
    assert_eq!(keys(&ask(ScenePhase::Idle, "flame=off")), []);
    assert_eq!(first(&ask(ScenePhase::Cooling, "flame=on")).0, "flame_from_nothing");
    assert_eq!(first(&ask(ScenePhase::Lighting, "flame=off")).0, "no_ignition");
    // Somebody is inside: gas is isolated and nothing has energy.
    assert_eq!(keys(&ask(ScenePhase::Access, "guard=open")), []);
    assert_eq!(first(&ask(ScenePhase::Spraying, "guard=open")), ("guard_open", 20));
}

#[test]
fn a_carriage_that_stands_still_is_a_stall_and_a_drive_that_repeats_itself_is_silent() {
    let answer = ask(ScenePhase::Spraying, "drive=stuck");
    assert_eq!(first(&answer).0, "drive_silent");
    let answer = ask(ScenePhase::Spraying, "carriage=0 mm/s");
    assert!(keys(&answer).contains(&("carriage_stalled", Role::FirstOut)), "{:?}", keys(&answer));
}

#[test]
fn two_faults_at_once_have_one_first_out_and_the_other_is_consequent() {
    let answer = ask(ScenePhase::Spraying, "clamp=open,emergency_stop=open");
    assert_eq!(
        keys(&answer)[..2],
        [("emergency_stop", Role::FirstOut), ("clamp_lost", Role::Consequent)]
    );
}

#[test]
fn what_a_person_asks_is_an_assumption_too() {
    let answer = ask(ScenePhase::Spraying, "request=abort");
    assert_eq!(first(&answer).0, "abort_requested");
    let answer = ask(ScenePhase::Spraying, "request=hold");
    assert_eq!(keys(&answer), [("hold_requested", Role::Hold)]);
    assert!(answer.effects.iter().any(|change| change.what == "powder off"));
    assert!(answer.effects.iter().all(|change| change.what != "fuel valve off"), "lit at the park");
}

#[test]
fn every_word_of_every_signal_gives_an_answer_in_every_phase() {
    let rig = rig();
    let mut asked = 0;
    for name in crate::interlock::what_if::names() {
        for word in crate::interlock::what_if::FaultWord::ALL {
            let Ok(one) = format!("{name}={}", word.word()).parse::<Assumption>() else { continue };
            let phase = ScenePhase::ALL[asked % ScenePhase::ALL.len()];
            let answer = what_if(&rig, phase, &[one]).expect("good figures");
            assert!(answer.confirmed.iter().all(|one| one.after <= Duration::from_secs(40)));
            asked += 1;
        }
    }
    println!("{asked} assumptions answered");
    assert!(asked > 300);
}

#[test]
fn what_cannot_be_assumed_is_refused_with_the_nearest_name_and_what_is_accepted() {
    let refused = |text: &str| text.parse::<Assumption>().expect_err(text).to_string();
    let found = refused("flaem=off");
    assert!(found.contains("no signal is called `flaem`"), "{found}");
    assert!(found.contains("did you mean `flame`?"), "{found}");
    let found = refused("flame=of");
    assert!(found.contains("`of` is none of its words") && found.contains("did you mean `off`?"));
    let found = refused("fuel_pressure=0.3 mm");
    assert!(found.contains("accepted:") && found.contains("bar"), "{found}");
    assert!(refused("flame").contains("it has no `=`"));
    assert!(refused("controller=off").contains("judges nothing"));
    assert!(refused("request=halt").contains("abort"));
}
