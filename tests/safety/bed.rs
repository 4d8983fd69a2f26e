//! What the scenarios have in common: the reference shaft under way, and readings of what was told.

use evenpass_core::sequence::Phase;
use evenpass_hil::{Button, Coil};

use crate::support::jobs::Texts;
use crate::support::{Begin, Rehearsal};

pub(crate) const SEED: u64 = 3;
/// Feed of the reference shaft on the gear table, mm/s: 125 rpm at 5 mm a turn.
pub(crate) const FEED: f64 = 125.0 * 5.0 / 60.0;
/// From a change at the module until the answer to it acts there, without any delay of its own:
/// a poll of the contacts (40 ms), a scan (20 ms), the trip's frames and what is in flight before
/// them (bounded by a time-out of 25 ms) and the module's own 2 ms.
pub(crate) const REACTION: f64 = 0.1;
/// Where the park begins, and the torch is clear of everything.
pub(crate) const PARK_FROM: f64 = 700.0;

pub(crate) fn shaft() -> Rehearsal {
    Rehearsal::new(Texts::of("reference-shaft").with_gears().job(), SEED, Begin::Attended)
}

/// The same on a machine whose drive only counts its own steps.
pub(crate) fn blind_shaft() -> Rehearsal {
    let texts = Texts::of("reference-shaft").with_gears();
    let rig = texts.rig.replace("position_from = \"carriage\"", "position_from = \"steps\"");
    Rehearsal::new(Texts { rig, ..texts }.job(), SEED, Begin::Attended)
}

/// When an output was last switched off, s; it must have been since `from`.
#[track_caller]
pub(crate) fn off_at(run: &Rehearsal, coil: Coil, from: f64) -> f64 {
    switched(run, coil, false, from).unwrap_or_else(|| panic!("{coil:?} not off since {from}"))
}

/// When an output was first switched that way since `from`, s.
pub(crate) fn switched(run: &Rehearsal, coil: Coil, energised: bool, from: f64) -> Option<f64> {
    run.switches
        .iter()
        .map(|switch| (switch, switch.time_us as f64 * 1e-6))
        .find(|(switch, at)| switch.coil == coil && switch.energised == energised && *at >= from)
        .map(|(_, at)| at)
}

/// Waits until the torch has stood still for a few looks; when and where it came to rest, s and mm.
pub(crate) fn until_it_stands(run: &mut Rehearsal) -> (f64, f64) {
    const STILL_MM: f64 = 1e-6;
    let mut since = (run.now().as_seconds(), run.truth().torch_z_mm);
    for _ in 0..1000 {
        run.look_once();
        let (now, z) = (run.now().as_seconds(), run.truth().torch_z_mm);
        if (z - since.1).abs() > STILL_MM {
            since = (now, z);
        } else if now - since.0 > 0.1 {
            return since;
        }
    }
    panic!("it does not come to rest: {}", run.told())
}

/// Acknowledges and resets at the machine.
pub(crate) fn reset(run: &mut Rehearsal) {
    run.press(Button::Reset);
    run.wait(1.0);
    run.press(Button::Reset);
    run.expect("it is reset", 20.0, |this| this.phase() != Phase::Aborted);
}

/// Whether anything that was told holds some words.
#[track_caller]
pub(crate) fn must_be_told(run: &mut Rehearsal, words: &str) {
    let found = run.entries.iter().find(|entry| entry.text.contains(words));
    match found {
        Some(entry) => println!("told: \"{}\"", entry.text),
        None => panic!("nobody is told \"{words}\"\n{}", run.told()),
    }
}
