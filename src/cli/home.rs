//! `home`: the carriage finds its datum and goes to the park.

use std::io::{self, Write as _};
use std::time::Duration;

use clap::Args;

use super::commands::{Commands, Machine, Starts, follow, until_read};
use super::interrupts::Interrupts;
use super::served::{News, Trouble};
use super::{Exit, say};
use crate::panel::told::{AnsweredBy, MachineTold};

/// How long the prompt to begin may take to come.
const ASKED_WITHIN: Duration = Duration::from_secs(5);
/// How long a whole homing may take: the wait for the start, and twice along the longest travel.
const HOMED_WITHIN: Duration = Duration::from_secs(600);

/// What `home` is asked.
#[derive(Debug, Args)]
pub(super) struct HomeArguments {
    #[command(flatten)]
    machine: Machine,
    /// Through a running serve, with the key at the machine on: begin at once. Whoever types this
    /// stands at the machine and sees the carriage's whole way. Without it the start button at the
    /// machine begins.
    #[arg(long)]
    yes: bool,
}

pub(super) fn answer(arguments: &HomeArguments) -> Exit {
    let homed = arguments.machine.with(|commands, interrupts| {
        let homed = home(commands, interrupts, arguments.yes)?;
        Ok(homed.place.map(|place| commands.units().length(place)))
    });
    match homed {
        Ok(place) => {
            let place = place.map_or_else(String::new, |place| format!("; torch at {place}"));
            say::printed(writeln!(io::stdout(), "homed{place}"))
        }
        Err(trouble) => trouble.told(),
    }
}

/// Finds the datum; `yes` gives the start where it can be given from here.
///
/// # Errors
/// It was denied, not begun, or did not find it.
pub(super) fn home(
    commands: &mut dyn Commands,
    interrupts: &mut Interrupts,
    yes: bool,
) -> Result<MachineTold, Trouble> {
    let mut news = News::default();
    let before = until_read(commands, interrupts, &mut news)?;
    if yes && commands.starts() == Starts::Button {
        return Err(Trouble::Input(
            "--yes: without a running serve the start button at the machine begins\nhelp: leave \
             --yes out and press start, or start a serve\n"
                .to_owned(),
        ));
    }
    commands.ask("home", "")?.taken()?;
    let waits = |machine: &MachineTold| {
        machine.prompt.as_ref().is_some_and(|prompt| prompt.by == AnsweredBy::Start)
            && machine.homes
    };
    follow(commands, interrupts, &mut news, ASKED_WITHIN, "the wait for the start", waits)?;
    if yes || commands.starts() == Starts::Simulated {
        let begun = commands.start()?.taken();
        if begun.is_err() {
            // Nothing waits for a start that was refused.
            commands.ask("leave-manual", "")?;
        }
        begun?;
    } else {
        say::complain("press start at the machine; Ctrl-C gives up");
    }
    let over = |machine: &MachineTold| !machine.homes;
    let after = follow(commands, interrupts, &mut news, HOMED_WITHIN, "the datum", over)?;
    let failed = after.setback.as_ref().filter(|why| before.setback.as_ref() != Some(why));
    match (&after.place, failed) {
        (Some(_), None) => Ok(after),
        (_, why) => Err(Trouble::Failed(format!(
            "not homed: {}\n",
            why.or(after.setback.as_ref()).map_or("the carriage has no datum", String::as_str)
        ))),
    }
}
