//! `rehearse`: the job on the twin in virtual time, before any gas is lit.
use super::{Exit, Setting, say};
use clap::Args;
use std::path::PathBuf;
#[derive(Debug, Args)]
pub(super) struct RehearseArguments {
    /// The recipe.
    recipe: PathBuf,
    #[command(flatten)]
    setting: Setting,
    /// Seed of everything random in the twin.
    #[arg(long, default_value_t = 1)]
    seed: u64,
}
pub(super) fn answer(arguments: &RehearseArguments) -> Exit {
    use std::io::Write as _;
    let (job, plan) = match super::plan::prepare(&arguments.recipe, &arguments.setting) {
        Ok(prepared) => prepared,
        Err(problem) => return say::bad_input(&problem),
    };
    let bench = crate::embed::bench(&job, &plan, arguments.seed).unwrap();
    let mut controller = evenpass_core::scan::Controller::new(&job.rig).unwrap();
    controller.load(&plan);
    let mut time = crate::clock::virtual_time::VirtualTime::new(
        &job.rig,
        controller,
        bench,
        crate::clock::virtual_time::Unwitnessed,
    );
    let began = std::time::Instant::now();
    let mut homed = false;
    for step in 1..200_000u64 {
        time.run_until(evenpass_core::moment::Moment::from_micros(step * 100_000));
        let now = time.now();
        while let Some(e) = time.controller().take_entry() {
            if e.kind != evenpass_core::ledger::EntryKind::Sample {
                let _ = writeln!(
                    std::io::stdout(),
                    "{:10.3} {:?} {} [{}]",
                    e.at.as_seconds(),
                    e.kind,
                    e.text,
                    e.cause
                );
            }
        }
        if step == 20 {
            let s = time.controller().snapshot();
            let _ = writeln!(std::io::stdout(), "{:?}", s.status);
        }
        if step == 20 && !homed {
            homed = true;
            let a = time.controller().request(
                now,
                evenpass_core::request::Request::Home,
                evenpass_core::request::Origin::Seat,
            );
            let _ = writeln!(std::io::stdout(), "{a:?}");
        }
        if step % 100 == 0 {
            let s = time.controller().snapshot();
            let t = time.bench().truth();
            let _ = writeln!(
                std::io::stdout(),
                "{:?} {:?} z {:.2} rpm {:.1} T {:.0} {:?}",
                s.status.text,
                s.status.missing,
                t.torch_z_mm,
                t.spindle_rpm,
                t.part_highest_c,
                t.person
            );
        }
        if matches!(
            time.controller().phase(),
            evenpass_core::sequence::Phase::Complete
                | evenpass_core::sequence::Phase::Aborted
                | evenpass_core::sequence::Phase::Stopped
        ) {
            break;
        }
    }
    let _ = writeln!(
        std::io::stdout(),
        "{:?} in {:?}: {:?}",
        time.now(),
        began.elapsed(),
        time.controller().snapshot().beat
    );
    let t = time.bench().truth();
    let _ = writeln!(std::io::stdout(), "{t:?}");
    for zone in &job.recipe.zones {
        let _ = writeln!(
            std::io::stdout(),
            "{} mean {}",
            zone.name,
            time.bench().mean_thickness_mm(zone.from.mm(), zone.to.mm())
        );
    }
    Exit::Done
}
