//! Where a verb that moves the carriage is carried out: through a running `serve`, on serial lines
//! of its own, or on an embedded twin.

mod lines;
mod twin;

use std::path::Path;
use std::sync::Arc;
use std::time::{Duration, Instant};

use evenpass_core::request::{Answer, Request};
use evenpass_core::rig::RigKind;
use evenpass_core::scan::Snapshot;

pub(super) use self::lines::OnLines;
pub(super) use self::twin::OnTwin;
use super::interrupts::Interrupts;
use super::ports::Ports;
use super::say;
use super::served::{Interrupted, News, Reply, ServedArguments, Trouble, Visit, Wanted, Where};
use crate::files;
use crate::panel::asked;
use crate::panel::told::MachineTold;
use crate::people::{NOT_SIGNED_IN, Units};

/// A machine whose scan has run for so long has been read, s: until the first replies are in and
/// the drive has answered, nothing is known of it (the slowest line takes a second and a half).
const READ_AFTER_S: f64 = 3.0;
/// How long that may take.
const READ_WITHIN: Duration = Duration::from_secs(20);

/// Somebody who commands a machine.
pub(super) trait Commands {
    /// Waits a short while and looks.
    ///
    /// # Errors
    /// Why there is nothing to be seen any more.
    fn look(&mut self) -> Result<MachineTold, Trouble>;
    /// Asks the controller for something, by the words of the panel.
    ///
    /// # Errors
    /// Why it did not get there.
    fn ask(&mut self, word: &str, value: &str) -> Result<Reply, Trouble>;
    /// Stops.
    ///
    /// # Errors
    /// Why it did not get there.
    fn stop(&mut self) -> Result<(), Trouble>;
    /// What figures are read in.
    fn units(&self) -> Units;
    /// Who asks, by the name that stands in the records.
    fn person(&self) -> String;
    /// Who gives the start.
    fn starts(&self) -> Starts;
    /// Gives it, where it is given from here.
    ///
    /// # Errors
    /// Why it did not get there.
    fn start(&mut self) -> Result<Reply, Trouble>;
}

/// Who gives the start.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Starts {
    /// Whoever has the seat, with the key on; or the button at the machine.
    Seat,
    /// The button at the machine alone.
    Button,
    /// A simulated finger.
    Simulated,
}

impl Commands for Visit {
    fn look(&mut self) -> Result<MachineTold, Trouble> {
        std::thread::sleep(super::served::LOOK_EVERY);
        let state = Visit::look(self)?;
        if !state.seat_is_yours {
            let holder = state.seat.unwrap_or_else(|| "nobody".to_owned());
            return Err(Trouble::Failed(format!("the seat was lost: {holder} has it now\n")));
        }
        Ok(state.machine)
    }

    fn ask(&mut self, word: &str, value: &str) -> Result<Reply, Trouble> {
        Visit::ask(self, word, value)
    }

    fn stop(&mut self) -> Result<(), Trouble> {
        Visit::stop(self).map(drop)
    }

    fn units(&self) -> Units {
        Visit::units(self)
    }

    fn person(&self) -> String {
        Visit::person(self).to_owned()
    }

    fn starts(&self) -> Starts {
        Starts::Seat
    }

    fn start(&mut self) -> Result<Reply, Trouble> {
        Visit::ask(self, "start", "")
    }
}

/// A machine whose controller runs in this program.
trait Own {
    /// Waits a short while and looks.
    ///
    /// # Errors
    /// Why there is nothing to be seen any more.
    fn snapshot(&mut self) -> Result<Arc<Snapshot>, Trouble>;
    /// Asks the controller for something, from the seat.
    ///
    /// # Errors
    /// Why it did not get there.
    fn request(&mut self, request: Request) -> Result<Reply, Trouble>;
    /// Who gives the start.
    fn starts(&self) -> Starts;
    /// Gives it, where it is given from here.
    ///
    /// # Errors
    /// Why it did not get there.
    fn start(&mut self) -> Result<Reply, Trouble>;
}

impl<M: Own> Commands for M {
    fn look(&mut self) -> Result<MachineTold, Trouble> {
        let snapshot = self.snapshot()?;
        Ok(MachineTold::of(&snapshot, self.units()))
    }

    fn ask(&mut self, word: &str, value: &str) -> Result<Reply, Trouble> {
        let (request, _) = asked(word, value).map_err(Trouble::Input)?;
        self.request(request)
    }

    fn stop(&mut self) -> Result<(), Trouble> {
        self.request(Request::Stop).map(drop)
    }

    /// Nobody has signed in who could have others.
    fn units(&self) -> Units {
        Units::default()
    }

    fn person(&self) -> String {
        NOT_SIGNED_IN.to_owned()
    }

    fn starts(&self) -> Starts {
        Own::starts(self)
    }

    fn start(&mut self) -> Result<Reply, Trouble> {
        Own::start(self)
    }
}

/// What became of a request, as `serve` tells it.
fn reply(answer: Answer) -> Reply {
    let (answer, why, help) = match answer {
        Answer::Accepted => ("accepted", String::new(), String::new()),
        Answer::AlreadySo => ("already so", String::new(), String::new()),
        Answer::Denied(denial) => ("denied", denial.why, denial.help),
    };
    Reply { answer: answer.to_owned(), why, help }
}

/// What a verb is told that says which machine it commands.
#[derive(Debug, Clone, clap::Args)]
pub(super) struct Machine {
    /// The rig file; that of a running serve, else the bench's twin, when left out.
    #[arg(long, value_name = "FILE")]
    rig: Option<std::path::PathBuf>,
    #[command(flatten)]
    ports: Ports,
    /// The records, by which a running serve is found; the user's own when left out.
    #[arg(long, value_name = "FILE")]
    records: Option<std::path::PathBuf>,
    /// Who asks, by the name that a running serve knows.
    #[arg(long, value_name = "NAME")]
    person: Option<String>,
    #[command(flatten)]
    served: ServedArguments,
}

impl Machine {
    /// Where it is.
    ///
    /// # Errors
    /// A `serve` runs and something was named that it cannot follow.
    pub(super) fn find(&self) -> Result<Place<'_>, Trouble> {
        let wanted = Wanted {
            rig: self.rig.as_deref(),
            ports: &self.ports,
            records: self.records.as_deref(),
        };
        Ok(Place { machine: self, at: self.served.find(wanted)? })
    }

    /// Does something at the machine, wherever it is.
    ///
    /// # Errors
    /// Why it could not be done.
    pub(super) fn with<T>(
        &self,
        act: impl FnOnce(&mut dyn Commands, &mut Interrupts) -> Result<T, Trouble>,
    ) -> Result<T, Trouble> {
        self.find()?.with(act)
    }
}

/// A machine that was found.
#[derive(Debug)]
pub(super) struct Place<'a> {
    machine: &'a Machine,
    at: Where,
}

impl Place<'_> {
    /// Its rig file; the bench's own when `None`.
    pub(super) fn rig_file(&self) -> Option<&Path> {
        match &self.at {
            Where::Served(served) => served.rig_file.as_deref(),
            Where::Alone => self.machine.rig.as_deref(),
        }
    }

    /// Does something there.
    ///
    /// # Errors
    /// Why it could not be done.
    pub(super) fn with<T>(
        &self,
        act: impl FnOnce(&mut dyn Commands, &mut Interrupts) -> Result<T, Trouble>,
    ) -> Result<T, Trouble> {
        let Machine { rig, ports, person, served: through, .. } = self.machine;
        if let Where::Served(served) = &self.at {
            let stops = Interrupted::Stops;
            return Visit::with(served, person.as_deref(), through, stops, |visit, breaks| {
                act(visit, breaks)
            });
        }
        let (rig, _) = files::rig(rig.as_deref()).map_err(Trouble::Input)?;
        let mut interrupts = Interrupts::take_over()
            .map_err(|trouble| Trouble::Failed(format!("signals: {trouble}")))?;
        if rig.kind == RigKind::Machine || ports.are_given() {
            let ports = ports.resolve(&rig).map_err(Trouble::Input)?;
            let mut lines = OnLines::start(&rig, ports).map_err(Trouble::Failed)?;
            let done = act(&mut lines, &mut interrupts);
            lines.quit().map_err(Trouble::Failed).and(done)
        } else {
            say::complain(twin::NOTE);
            let mut twin = OnTwin::start(&rig).map_err(Trouble::Failed)?;
            act(&mut twin, &mut interrupts)
        }
    }
}

/// Stops the machine where an interrupt asked for it.
///
/// # Errors
/// It did: the machine was stopped, or could not be reached.
pub(super) fn stop_if_asked(
    commands: &mut dyn Commands,
    interrupts: &mut Interrupts,
) -> Result<(), Trouble> {
    if interrupts.asked().is_none() {
        return Ok(());
    }
    commands.stop()?;
    Err(Trouble::Stopped("stopped\n".to_owned()))
}

/// Follows the machine until something is so, telling what is new; an interrupt stops it.
///
/// # Errors
/// It tripped, was stopped, or it took too long: `what` did not come.
pub(super) fn follow(
    commands: &mut dyn Commands,
    interrupts: &mut Interrupts,
    news: &mut News,
    within: Duration,
    what: &str,
    mut so: impl FnMut(&MachineTold) -> bool,
) -> Result<MachineTold, Trouble> {
    let since = Instant::now();
    loop {
        // Before the look, which takes its time.
        stop_if_asked(commands, interrupts)?;
        let machine = commands.look()?;
        for line in news.of_machine(&machine) {
            say::complain(&line);
        }
        // Before all else: what was stopped may look like what was waited for, or like a failure.
        stop_if_asked(commands, interrupts)?;
        if so(&machine) {
            return Ok(machine);
        }
        if let Some(trip) = &machine.trip {
            return Err(Trouble::Tripped(format!("tripped: {}\n", trip.what)));
        }
        if since.elapsed() > within {
            return Err(Trouble::Failed(format!("{what} did not come: {}\n", machine.text)));
        }
    }
}

/// Looks until the machine has been read: what is asked before that is denied for want of
/// knowledge.
///
/// # Errors
/// As [`follow`].
pub(super) fn until_read(
    commands: &mut dyn Commands,
    interrupts: &mut Interrupts,
    news: &mut News,
) -> Result<MachineTold, Trouble> {
    follow(commands, interrupts, news, READ_WITHIN, "a reading of the machine", |machine| {
        machine.at_s >= READ_AFTER_S
    })
}
