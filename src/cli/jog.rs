//! `jog`: the carriage moved by nudges. A terminal does not tell when a key is let go, so it can
//! hold nothing to run: one key is one short step, and a key that repeats by itself is one key.

mod keys;

use std::io::{self, IsTerminal as _, Write as _};
use std::time::Duration;

use clap::Args;
use evenpass_core::quantity::{Length, Quantity as _};

use self::keys::interactive;
use super::commands::{Commands, Machine, follow, stop_if_asked, until_read};
use super::interrupts::Interrupts;
use super::served::{News, Trouble};
use super::{Exit, say};
use crate::panel::told::{MachineTold, Stage};
use crate::people::Units;

/// How long one nudge may take, settling included.
const NUDGED_WITHIN: Duration = Duration::from_secs(20);
/// How long manual work may take to be entered.
const ENTERED_WITHIN: Duration = Duration::from_secs(5);
/// A picture of the controller so much younger than the request shows what became of it, s.
const SETTLES_S: f64 = 0.3;

/// What `jog` is asked.
#[derive(Debug, Args)]
pub(super) struct JogArguments {
    #[command(flatten)]
    machine: Machine,
    /// Nudge by this and end; toward the tail, or with a minus toward the chuck. May be given more
    /// than once. When left out, keys nudge: a and d, or the arrows.
    #[arg(long = "by", value_name = "LENGTH", allow_hyphen_values = true)]
    by: Vec<String>,
}

pub(super) fn answer(arguments: &JogArguments) -> Exit {
    let steps: Result<Vec<Length>, String> = arguments.by.iter().map(|by| step(by)).collect();
    let steps = match steps {
        Ok(steps) => steps,
        Err(problem) => return say::bad_input(&problem),
    };
    if steps.is_empty() && !io::stdin().is_terminal() {
        return say::bad_input(
            "--by: standard input is no terminal, so there are no keys\naccepted: a length such as \
             --by \"5 mm\"\n",
        );
    }
    let jogged = arguments.machine.with(|commands, interrupts| {
        manually(commands, interrupts, |commands, interrupts| {
            if steps.is_empty() {
                return interactive(commands, interrupts);
            }
            for by in &steps {
                let moved = nudge(commands, interrupts, *by)?;
                let printed = writeln!(io::stdout(), "{}", moved.told(commands.units()));
                printed.map_err(|trouble| Trouble::Failed(trouble.to_string()))?;
            }
            Ok(())
        })
    });
    match jogged {
        Ok(()) => Exit::Done,
        Err(trouble) => trouble.told(),
    }
}

fn step(text: &str) -> Result<Length, String> {
    Length::parse(text).map_err(|problem| format!("--by: {problem}\n"))
}

/// Enters manual work, does something there, and leaves it as it was found.
///
/// # Errors
/// What is in the way of manual work, or what went wrong in it.
pub(super) fn manually<T>(
    commands: &mut dyn Commands,
    interrupts: &mut Interrupts,
    act: impl FnOnce(&mut dyn Commands, &mut Interrupts) -> Result<T, Trouble>,
) -> Result<T, Trouble> {
    let mut news = News::default();
    let before = until_read(commands, interrupts, &mut news)?;
    commands.ask("manual", "")?.taken()?;
    follow(commands, interrupts, &mut news, ENTERED_WITHIN, "manual work", |machine| {
        machine.stage == Stage::Manual
    })?;
    let done = act(commands, interrupts);
    if before.stage != Stage::Manual {
        // Whoever can't be reached any more has left it; what went wrong before is told.
        let left = commands.ask("leave-manual", "").and_then(super::served::Reply::taken);
        return done.and_then(|done| left.map(|()| done));
    }
    done
}

/// What a nudge did.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Moved {
    /// From where, where that is known.
    from: Option<Length>,
    /// To where.
    pub(super) to: Option<Length>,
    /// What was asked for.
    by: Length,
}

impl Moved {
    /// In words.
    pub(super) fn told(&self, units: Units) -> String {
        match (self.from, self.to) {
            (Some(from), Some(to)) => {
                format!("moved by {}; torch at {}", units.length(to - from), units.length(to))
            }
            _ => format!(
                "nudged by {}; without a datum, so nobody knows to where",
                units.length(self.by)
            ),
        }
    }
}

/// One nudge, waited for until the carriage rests again.
///
/// # Errors
/// It was denied, or the machine tripped, or was stopped.
pub(super) fn nudge(
    commands: &mut dyn Commands,
    interrupts: &mut Interrupts,
    by: Length,
) -> Result<Moved, Trouble> {
    let from = commands.look()?.place;
    stop_if_asked(commands, interrupts)?;
    commands.ask("nudge", &by.to_string())?.taken()?;
    let mut news = News::default();
    // What is not new is not told: the state is the same before and after.
    news.of_machine(&commands.look()?);
    let mut seen: Option<f64> = None;
    let mut later = 0;
    let rests = |machine: &MachineTold| {
        let first = *seen.get_or_insert(machine.at_s);
        later += u32::from(machine.at_s > first);
        later > 1 && machine.at_s - first >= SETTLES_S && !machine.moves
    };
    let after =
        follow(commands, interrupts, &mut news, NUDGED_WITHIN, "the end of the nudge", rests)?;
    if after.stage != Stage::Manual {
        return Err(Trouble::Failed(format!("manual work has ended: {}\n", after.text)));
    }
    Ok(Moved { from, to: after.place, by })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_step_has_a_unit_and_a_direction() {
        assert_eq!(step("-5 mm"), Ok(Length::from_mm(-5.0)));
        assert_eq!(step("0.01 in"), Ok(Length::from_mm(0.254)));
        assert!(step("5").unwrap_err().starts_with("--by: "));
    }

    #[test]
    fn a_nudge_tells_how_far_it_really_went() {
        let mm = Length::from_mm;
        let moved = Moved { from: Some(mm(100.0)), to: Some(mm(104.99)), by: mm(5.0) };
        assert!(moved.told(Units::default()).contains("4.99"));
        let moved = Moved { from: None, to: None, by: mm(5.0) };
        assert!(moved.told(Units::default()).contains("without a datum"));
    }
}
