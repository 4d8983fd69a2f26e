//! Scenario 3: the flame is lost in mid-pass.

use evenpass_core::image::Coil as Output;
use evenpass_core::ledger::EntryKind;
use evenpass_core::quantity::Length;
use evenpass_core::request::{Answer, Origin, Request};
use evenpass_core::sequence::Phase;
use evenpass_hil::{Button, Coil, Discrete, Fault, PlantFault, Target, Word};

use crate::bed::{FEED, PARK_FROM, REACTION, off_at, shaft, switched};
use crate::support::{Rehearsal, near};

/// Blows the flame out in pass 4 at Z 160.0, going toward the chuck; says when and where.
fn lose_the_flame(run: &mut Rehearsal) -> (f64, f64) {
    run.until_pass_is_at(4, 160.0);
    let truth = run.truth();
    near("feed, mm/s", truth.torch_mm_s, -FEED, 0.01);
    run.bench().inject(Fault::Plant(PlantFault::FlameBlownOut));
    (run.now().as_seconds(), truth.torch_z_mm)
}

#[test]
fn powder_fuel_and_oxygen_are_off_three_tenths_after_the_flame_is_lost_and_the_torch_leaves() {
    let mut run = shaft();
    let (lost, at) = lose_the_flame(&mut run);
    run.wait(0.8);
    let offs = [Coil::PowderFeeder, Coil::FuelValve, Coil::OxygenValve]
        .map(|coil| off_at(&run, coil, lost) - lost);
    let feeder = *run.feeder_switches().last().expect("the feeder switched");
    println!(
        "scenario 3: lost at Z {at:.2}; powder off after {:.3} s at Z {:.2}, fuel {:.3} s, oxygen {:.3} s",
        offs[0], feeder.torch_z_mm, offs[1], offs[2]
    );
    // The filter's 0.3 s, then the reaction: Z 156.88 and what the reaction adds at 10.4 mm/s.
    for off in offs {
        assert!((0.3..=0.3 + REACTION).contains(&off), "after {off} s");
        assert!(off <= 1.0, "flame out to valves, the standard's second");
    }
    near("Z at powder off", feeder.torch_z_mm, at - FEED * offs[0], 0.05);
    near("Z at powder off", feeder.torch_z_mm, 156.88, FEED * REACTION + 0.25);
    // All in one scan: the outputs go out together.
    assert!((offs[0] - offs[1]).abs() < 0.02 && (offs[0] - offs[2]).abs() < 0.02, "{offs:?}");
    // The torch turns round toward where it is clear, in the same scan, and does not turn again.
    let turned = run.truth();
    assert!(turned.torch_mm_s > 0.0, "still {} mm/s at 0.8 s", turned.torch_mm_s);
    run.expect("the torch is clear", 20.0, |this| this.truth().torch_z_mm > PARK_FROM);
    assert!(run.truth().part_turns, "a hot part turns on");
    run.expect("the trip is carried out", 20.0, |this| this.phase() == Phase::Aborted);
    run.wait(1.0);

    // The purge: air is shut with the feeder and blows again only where the torch is clear.
    let shut = off_at(&run, Coil::CarrierAir, lost);
    near("carrier shut with the feeder", shut - lost, offs[0], 0.02);
    let blown = switched(&run, Coil::CarrierAir, true, shut).expect("a purge");
    let purge = switched(&run, Coil::CarrierAir, false, blown).expect("its end") - blown;
    let clear = run
        .switches
        .iter()
        .find(|s| s.coil == Coil::CarrierAir && s.energised && s.time_us as f64 * 1e-6 >= shut);
    assert!(clear.is_some_and(|s| s.torch_z_mm > PARK_FROM), "purged over the part: {clear:?}");
    near("purge, s", purge, 5.0, 0.15);
    assert_eq!(run.truth().landed_one_sided_g, 0.0);
    run.watch.always("scenario 3");

    let first = run.controller().status().first_cause.expect("a first cause");
    println!("first-out: \"{first}\"");
    let (words, rest) = first.split_at("Flame lost, pass 4, torch at ".len());
    assert_eq!(words, "Flame lost, pass 4, torch at ", "{first}");
    // Where it was first not seen, which is up to a poll and a scan after it went out.
    let place: f64 = rest.split(' ').next().and_then(|z| z.parse().ok()).expect("a place");
    near("place told", place, 160.0, FEED * 0.08 + 0.05);
    assert!(rest.split_at(5).1.starts_with(" mm toward the chuck:"), "toward the chuck: {first}");
}

#[test]
fn what_follows_a_lost_flame_is_told_as_consequent_and_pressures_of_a_shut_torch_not_at_all() {
    let mut run = shaft();
    lose_the_flame(&mut run);
    // Both regulators fail with the flame: their rows would count after 0.5 s.
    run.bench().inject(Fault::Plant(PlantFault::FuelPressureLow(0.0)));
    run.bench().inject(Fault::Plant(PlantFault::OxygenPressureLow(0.0)));
    run.wait(3.0);
    let detector = Target::Discrete(Discrete::GasDetectorOk);
    run.bench().inject(Fault::Signal { target: detector, word: Word::Off });
    run.expect("the trip is carried out", 40.0, |this| this.phase() == Phase::Aborted);
    let verdict = run.controller().snapshot().verdict;
    let first = verdict.first.expect("a first cause");
    let later: Vec<&str> = verdict.consequent.iter().map(|cause| cause.key).collect();
    println!("first: {}; consequent: {later:?}", first.key);
    assert_eq!(first.key, "flame_lost");
    // Powder was on without a flame in the same scan: one cause, told behind the flame.
    assert_eq!(later, ["powder_unlit", "gas_detector"]);
}

#[test]
fn after_a_lost_flame_nothing_goes_on_without_a_reset_at_the_machine_and_twenty_seconds() {
    let mut run = shaft();
    let (lost, _) = lose_the_flame(&mut run);
    run.expect("the trip is carried out", 60.0, |this| this.phase() == Phase::Aborted);
    let shut = off_at(&run, Coil::FuelValve, lost);
    for request in [Request::Restart, Request::Start] {
        assert!(matches!(run.ask(request), Answer::Denied(_)), "{request:?} without a reset");
    }
    let watcher = run.ask_from(Request::Reset, Origin::Watcher);
    assert!(matches!(watcher, Answer::Denied(_)), "a watcher resets nothing");
    // As fast as anybody can: reset, and start.
    run.press(Button::Reset);
    run.wait(0.5);
    run.press(Button::Reset);
    run.expect("it is reset", 5.0, |this| this.phase() == Phase::Held);
    run.press(Button::Start);
    run.expect("gas flows again", 200.0, |this| this.truth().fuel_open);
    let opened = switched(&run, Coil::FuelValve, true, shut).expect("opened");
    println!("scenario 3: relit {:.1} s after the valves were shut", opened - shut);
    assert!(opened - shut >= 20.0, "relit after {} s", opened - shut);
    assert!(run.truth().torch_z_mm > PARK_FROM, "relit at the park only");
    assert!(run.controller().snapshot().outputs.coil(Output::Fuel).is_on());
}

#[test]
fn pass_four_is_taken_up_where_its_powder_was_lost_inside_the_temperature_window() {
    let mut run = shaft();
    lose_the_flame(&mut run);
    run.expect("the trip is carried out", 60.0, |this| this.phase() == Phase::Aborted);
    crate::bed::reset(&mut run);
    run.press(Button::Start);
    let begun = run.feeder_switches().len();
    run.expect("powder again", 900.0, |this| this.feeder_switches().len() > begun);
    let lost = run
        .of_kind(EntryKind::Powder)
        .find_map(|entry| entry.data.get("lost").cloned())
        .and_then(|told| serde_json::from_value::<Length>(told).ok())
        .expect("where powder was lost is told")
        .mm();
    let status = run.controller().status();
    assert_eq!(status.progress.and_then(|at| at.pass), Some((4, 9)), "pass 4 again");
    let on = *run.feeder_switches().last().expect("on");
    let truth = run.truth();
    // Powder is under way for 0.6 s and rises over 0.1 s: it is let go so long before the place
    // where it is to arrive, going -.
    let torch = run.job.catalogue.torch(&run.job.recipe.spray.torch).expect("its torch").clone();
    let lead = (torch.powder_delay_on + torch.powder_rise).s();
    println!(
        "scenario 3: lost at Z {lost:.2}, taken up with ON at Z {:.2}, {:.0} degC",
        on.torch_z_mm, truth.part_mean_c
    );
    near("powder was lost, Z", lost, 160.0, FEED * 0.1);
    near("ON, Z", on.torch_z_mm, lost + FEED * lead, 0.3);
    assert!(truth.torch_mm_s < 0.0, "going toward the chuck");
    let reads = run.controller().snapshot().inputs;
    let part = reads.analogue(evenpass_core::image::Analogue::PartTemperature).value;
    assert!((200.0..=350.0).contains(&part), "{part} degC");
}
