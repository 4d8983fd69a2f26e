//! What the plan tells of heat is what the machine then does: every shipped recipe, planned and
//! rehearsed on the twin, which has heat code of its own.

#![allow(clippy::expect_used, clippy::panic, reason = "a test that cannot go on fails")]

mod support;

use evenpass_core::ledger::EntryKind;
use evenpass_core::program::{FuseBand, FuseStep, Step};
use support::jobs::{RECIPES, Texts};
use support::{Begin, Rehearsal};

/// What came of a rehearsal, s and counts.
struct Found {
    preheat: f64,
    preheat_passes: usize,
    spray: f64,
    waits: usize,
    fuse: f64,
    cool: f64,
}

/// When and what the machine says it does.
fn told(run: &Rehearsal, kinds: &[EntryKind]) -> Vec<(f64, String)> {
    let kept = run.entries.iter().filter(|entry| kinds.contains(&entry.kind));
    kept.map(|entry| (entry.at.as_seconds(), entry.text.to_string())).collect()
}

fn found(run: &Rehearsal) -> Found {
    let told = told(run, &[EntryKind::State, EntryKind::Pass]);
    let first = |what: &str, after: f64| {
        told.iter()
            .find(|(at, text)| *at >= after && text.contains(what))
            .map(|(at, _)| *at)
            .unwrap_or_else(|| panic!("never {what}: {told:?}"))
    };
    let count = |what: &str, until: f64| {
        told.iter().filter(|(at, text)| *at < until && text.contains(what)).count()
    };
    let begins = first("Running: preheating", 0.0);
    let soaks = first("Running: soaking", begins);
    let sprays = first("Running: approaching", soaks);
    let passes = told.iter().filter(|(_, text)| text.starts_with("pass "));
    let sprayed = passes.map(|(at, _)| *at).fold(0.0, f64::max);
    let fuses = first("Running: fusing", sprayed);
    let cools = first("Running: cooling down", fuses);
    Found {
        preheat: sprays - begins,
        preheat_passes: count("Running: preheating, turning", soaks),
        spray: sprayed - sprays,
        waits: count("waiting", f64::INFINITY),
        fuse: cools - fuses,
        cool: first("Complete", cools) - cools,
    }
}

#[test]
fn the_machine_waits_and_warms_and_cools_as_the_plan_told() {
    for recipe in RECIPES {
        let job = Texts::of(recipe).job();
        let mut run = Rehearsal::new(job, 1, Begin::Attended);
        run.complete();
        let found = found(&run);
        let steps = &run.plan.forecast.steps;
        let told = |of: fn(&Step) -> bool| -> f64 {
            let own = steps.iter().zip(&run.plan.program.steps).filter(|(_, step)| of(step));
            own.map(|(told, _)| told.takes.s()).sum()
        };
        let preheat = told(|step| matches!(step, Step::Preheat(_)));
        let spray = told(|step| matches!(step, Step::Spray(_)));
        let fuse = told(|step| matches!(step, Step::Fuse(_)));
        let cool = told(|step| matches!(step, Step::Cool(_)));
        let waits: usize = steps.iter().map(|step| step.waits).sum();
        println!(
            "{recipe}: told and found: preheat {preheat:.0} {:.0} s, spray {spray:.0} {:.0} s, \
             {waits} {} waits, fuse {fuse:.0} {:.0} s, cool {cool:.0} {:.0} s",
            found.preheat, found.spray, found.waits, found.fuse, found.cool
        );
        assert_eq!(waits, found.waits, "{recipe}: waits");
        let passes = format!(" {} pass", found.preheat_passes);
        assert!(steps[0].what.contains(&passes), "{recipe}: {} for{passes}", steps[0].what);
        // Scans, set-points on the way and the purge are the seconds; cells and steps the share.
        for (what, told, found) in [
            ("preheat", preheat, found.preheat),
            ("spray", spray, found.spray),
            // A person needs a moment to see a band wet, and what was fused first cools meanwhile.
            ("fuse and cool", fuse + cool, found.fuse + found.cool),
        ] {
            let within = 8.0 + 0.03 * found;
            assert!((told - found).abs() < within, "{recipe}, {what}: {told} for {found} s");
        }
        // The part cools while the torch is changed.
        // The plan counts one leg of the flame until a person calls a wet
        // band, the twin's is quicker; and what wets in one leg may have done so in the one before.
        let bands = run.plan.program.steps.iter().filter_map(|step| match step {
            Step::Fuse(step) => Some(step),
            _ => None,
        });
        let legs = bands.flat_map(|step| step.bands.iter().map(move |band| (step, band)));
        let leg = |(step, band): (&FuseStep, &FuseBand)| {
            let length = (band.travel.high - band.travel.low).mm();
            (length / step.oscillation.mm_per_s() + 0.15).max(2.0)
        };
        let quick: f64 = 2.0 * legs.map(leg).sum::<f64>();
        assert!(found.fuse + quick > 0.97 * fuse, "{recipe}: fusing {fuse} for {} s", found.fuse);
        assert!(found.fuse < 1.5 * fuse + 15.0, "{recipe}: fusing {fuse} for {} s", found.fuse);
    }
}
