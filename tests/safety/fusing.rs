//! Scenarios 16 and 17: a pyrometer that reads low, and an emergency stop on a molten coat.

use evenpass_core::image::Analogue;
use evenpass_core::request::{Answer, Request};
use evenpass_core::sequence::{Ask, Leaf, Phase, Suspect};
use evenpass_hil::{Button, Coil, Fault, PlantFault};

use crate::bed::{SEED, must_be_told, off_at, reset};
use crate::support::jobs::Texts;
use crate::support::{Begin, Rehearsal, near};

/// Second radiation constant, um K (CODATA), and the pyrometer's wavelength, um.
const C2: f64 = 14_387.77;
const WAVELENGTH: f64 = 1.0;

/// What a pyrometer set to 0.8 reads of a coat of emissivity 0.7, by Wien's law, degC.
fn reads(celsius: f64) -> f64 {
    let kelvin = celsius + 273.15;
    1.0 / (1.0 / kelvin + WAVELENGTH / C2 * (0.8_f64 / 0.7).ln()) - 273.15
}

/// The reference shaft when its first band is being fused; somebody is there and presses nothing.
fn fusing() -> Rehearsal {
    let job = Texts::of("reference-shaft").job();
    let mut run = Rehearsal::new(job, SEED, Begin::Attended);
    run.expect("it fuses", 3600.0, |this| this.controller().status().leaf == Leaf::Heating);
    run
}

fn reading(run: &mut Rehearsal) -> f64 {
    run.controller().snapshot().inputs.analogue(Analogue::FuseTemperature).value
}

/// Follows the fusing to its end; from the looks at which the part under the torch was within 4 K
/// of a temperature, the one at which it had changed least over the pyrometer's poll and the
/// scans behind it: what was true, and what was shown.
fn steadiest_at(run: &mut Rehearsal, celsius: f64) -> (f64, f64) {
    const LOOKS: usize = 8;
    let mut seen: Vec<f64> = Vec::new();
    let mut best = (f64::MAX, 0.0, 0.0);
    while run.phase() == Phase::Fusing {
        run.look_once();
        seen.push(run.truth().part_at_torch_c.unwrap_or(0.0));
        // The first looks have no past: over less than the poll nothing has changed.
        if seen.len() < LOOKS {
            continue;
        }
        let last = &seen[seen.len() - LOOKS..];
        let ends = |ends: (f64, f64), c: &f64| (ends.0.min(*c), ends.1.max(*c));
        let (low, high) = last.iter().fold((f64::MAX, 0.0), ends);
        let middle = (low + high) / 2.0;
        if high - low < best.0 && (middle - celsius).abs() < 4.0 {
            best = (high - low, middle, reading(run));
        }
    }
    println!("scenario 16: within {:.1} K over 0.16 s", best.0);
    (best.1, best.2)
}

// Scenario 16.

#[test]
fn a_pyrometer_that_reads_low_is_only_shown_and_the_band_is_still_called_wet_by_a_person() {
    near("set 0.8, true 0.7, at 1050 degC", reads(1050.0), 1033.95, 0.02);
    let mut run = fusing();
    run.leave();
    run.bench().inject(Fault::Plant(PlantFault::CoatEmissivity(0.7)));
    let band = run.controller().status().progress.and_then(|at| at.band);
    run.expect("the coat is at 1050 degC under the flame", 900.0, |this| {
        this.truth().part_at_torch_c.is_some_and(|c| c >= 1050.0)
    });
    let status = run.controller().status();
    assert_eq!(status.prompt.map(|prompt| prompt.ask), Some(Ask::CallWet), "asked for \"wet\"");
    assert_eq!(status.progress.and_then(|at| at.band), band, "no band is passed without a press");
    // Nothing heats more because it reads low: the only heat there is, is on or off.
    let gas = |this: &mut Rehearsal| (this.truth().fuel_bar, this.truth().oxygen_bar);
    let before = gas(&mut run);

    // Too hot is judged by the reading alone: the ceiling of 1130 degC read is 1148 degC true.
    let (truth, told) = steadiest_at(&mut run, 1050.0);
    println!("scenario 16: {truth:.1} degC are read as {told:.1} degC");
    near("shown, degC", told, reads(truth), 2.0);
    let (hottest, shown) = (run.truth().part_highest_c, reading(&mut run));
    println!("withdrawn at {hottest:.1} degC true, {shown:.1} degC read");
    assert!(hottest > 1140.0, "withdrawn at {hottest} degC true, by nothing that was read");
    assert_eq!(gas(&mut run).0.max(before.0), before.0, "the gas was not turned up");
    assert!(run.controller().status().progress.and_then(|at| at.band) == band);
    assert_eq!(run.confirmed("trip"), Vec::<String>::new(), "the torch withdraws, nothing trips");
    run.watch.always("scenario 16");
}

// Scenario 17.

#[test]
fn an_emergency_stop_on_a_molten_coat_takes_gas_and_carriage_and_a_reset_begins_nothing() {
    // The bench dates a hand's act by its last event, which is up to a look old.
    const LOOK: f64 = 0.02;
    let mut run = fusing();
    run.leave();
    run.expect("the coat is wet", 900.0, |this| this.truth().part_highest_c >= 1045.0);
    let at = run.truth().torch_z_mm;
    let pressed = run.now().as_seconds();
    run.bench().press(Button::EmergencyStop);
    run.expect("torque is off", 0.56, |this| !this.truth().drive_torque);
    let torque = run.now().as_seconds() - pressed;
    let offs = [Coil::FuelValve, Coil::OxygenValve]
        .map(|coil| off_at(&run, coil, pressed - LOOK) - pressed);
    println!(
        "scenario 17: gas off after {offs:.3?} s, carriage without torque after {torque:.2} s"
    );
    for off in offs {
        assert!(off <= 0.05, "gas off after {off} s");
    }
    // The look is every 20 ms.
    assert!(torque <= 0.52, "torque for {torque} s");
    run.expect("the spindle stands", 5.0, |this| this.truth().spindle_rpm < 1.0);
    run.expect("the trip is carried out", 30.0, |this| this.phase() == Phase::Aborted);
    let told =
        run.entries.iter().find(|entry| entry.text.contains("molten")).map(|e| e.text.clone());
    println!("told: {told:?}");
    let told = told.expect("told");
    assert!(told.contains("stopped molten at ") && told.contains("sag likely"), "{told}");
    let place: f64 = told
        .split_once("molten at ")
        .and_then(|(_, rest)| rest.split(' ').next())
        .and_then(|z| z.parse().ok())
        .expect("a place");
    near("place told", place, at, 2.0);

    run.bench().release(Button::EmergencyStop);
    run.wait(2.0);
    reset(&mut run);
    let truth = run.truth();
    run.watch.begin_anew(&truth);
    run.wait(120.0);
    run.watch.nothing_happened("after the reset");
    assert_eq!(run.controller().status().suspect, Suspect::Inspect, "the coat must be inspected");
    must_be_told(&mut run, "inspect the coat");
    if let Answer::Accepted = run.ask(Request::Restart) {
        run.wait(30.0);
        assert!(!run.truth().flame_lit, "a restart first asks");
    }
}
