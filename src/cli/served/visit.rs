//! A visit to a running `serve`: somebody signs in, takes the seat, asks, and leaves again.

use std::time::{Duration, Instant};

use evenpass_core::request::Request;

use super::{Line, Reply, Served, ServedArguments, Trouble};
use crate::cli::interrupts::{AtOnce, Interrupts};
use crate::cli::say;
use crate::cli::terminal::{NoLine, hidden_line};
use crate::panel::told::{SessionTold, StateTold};
use crate::people::{LONGEST_NAME, NOT_SIGNED_IN, Units, check_name};

/// How often the state is looked at.
pub(in crate::cli) const LOOK_EVERY: Duration = Duration::from_millis(100);
/// How long an asked-for seat is waited for: its holder has 15 s to answer.
const SEAT_WITHIN: Duration = Duration::from_secs(20);

/// What an interrupt asks for at once, whatever else is waited for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(in crate::cli) enum Interrupted {
    /// The machine's stop; its abort from the second on.
    Stops,
    /// The end of the proof test in hand.
    QuitsProof,
}

/// Somebody who has signed in.
#[derive(Debug)]
pub(in crate::cli) struct Visit {
    line: Line,
    session: SessionTold,
    turn: u64,
}

impl Visit {
    /// Signs in at a `serve`, takes its seat, does something there, and leaves whatever came of
    /// it.
    ///
    /// # Errors
    /// Why nobody was let in, or had the seat; or what went wrong there.
    pub(in crate::cli) fn with<T>(
        served: &Served,
        person: Option<&str>,
        arguments: &ServedArguments,
        interrupted: Interrupted,
        act: impl FnOnce(&mut Self, &mut Interrupts) -> Result<T, Trouble>,
    ) -> Result<T, Trouble> {
        let mut line = Line::to(served.address);
        let session = sign_in(&mut line, person)?;
        let mut visit = Self { line, session, turn: 0 };
        let done = visit.seated(arguments, interrupted, act);
        visit.leave();
        done
    }

    fn seated<T>(
        &mut self,
        arguments: &ServedArguments,
        interrupted: Interrupted,
        act: impl FnOnce(&mut Self, &mut Interrupts) -> Result<T, Trouble>,
    ) -> Result<T, Trouble> {
        if !self.session.at_machine {
            return Err(Trouble::Failed(format!(
                "the serve at {} takes this terminal for one away from the machine\nhelp: let it \
                 listen at every address of the machine's computer, or name this one's with \
                 --panel\n",
                self.line.at()
            )));
        }
        let mut interrupts = Interrupts::take_over()
            .map_err(|trouble| Trouble::Failed(format!("signals: {trouble}")))?;
        self.sit(arguments, &mut interrupts)?;
        interrupts.at_once(Some(self.at_once(interrupted)));
        let done = act(self, &mut interrupts);
        interrupts.at_once(None);
        done
    }

    /// What an interrupt does the moment it comes: a look that is waited for may take its time, and
    /// so may a plan.
    fn at_once(&self, interrupted: Interrupted) -> AtOnce {
        let aside = self.line.aside();
        Box::new(move |request| match (interrupted, request) {
            (Interrupted::QuitsProof, _) => aside("/prove", &[("prove", "quit"), ("turn", "0")]),
            (Interrupted::Stops, Request::Abort) => {
                aside("/ask", &[("ask", "abort"), ("turn", "0")])
            }
            (Interrupted::Stops, _) => aside("/stop", &[]),
        })
    }

    /// What the person reads figures in.
    pub(in crate::cli) const fn units(&self) -> Units {
        self.session.units
    }

    /// Who has signed in, by the name that stands in the records.
    pub(in crate::cli) fn person(&self) -> &str {
        &self.session.person
    }

    /// How everything stands.
    ///
    /// # Errors
    /// The `serve` has gone, or the session is over.
    pub(in crate::cli) fn look(&mut self) -> Result<StateTold, Trouble> {
        let state: StateTold = self.line.read("/state")?;
        if state.seat_is_yours {
            self.turn = state.turn;
        }
        Ok(state)
    }

    /// Asks the controller for something from the seat.
    ///
    /// # Errors
    /// The `serve` has gone, or the session is over.
    pub(in crate::cli) fn ask(&mut self, word: &str, value: &str) -> Result<Reply, Trouble> {
        let turn = self.turn.to_string();
        self.line.ask("/ask", &[("ask", word), ("value", value), ("turn", &turn)])
    }

    /// Loads a recipe by the name that it is offered under.
    ///
    /// # Errors
    /// As [`Self::ask`].
    pub(in crate::cli) fn load(&mut self, recipe: &str) -> Result<Reply, Trouble> {
        let turn = self.turn.to_string();
        self.line.ask("/load", &[("recipe", recipe), ("turn", &turn)])
    }

    /// Begins a proof test, or answers its instruction.
    ///
    /// # Errors
    /// As [`Self::ask`].
    pub(in crate::cli) fn prove(&mut self, what: &str) -> Result<Reply, Trouble> {
        let turn = self.turn.to_string();
        self.line.ask("/prove", &[("prove", what), ("turn", &turn)])
    }

    /// Stops: no seat is needed for it.
    ///
    /// # Errors
    /// As [`Self::ask`].
    pub(in crate::cli) fn stop(&mut self) -> Result<Reply, Trouble> {
        self.line.ask("/stop", &[])
    }

    /// Gives the seat to who asks for it, or keeps it.
    ///
    /// # Errors
    /// As [`Self::ask`].
    pub(in crate::cli) fn seat(&mut self, act: &str) -> Result<Reply, Trouble> {
        self.line.ask("/seat", &[("act", act)])
    }

    /// Takes the seat, or asks for it where that is wanted.
    fn sit(
        &mut self,
        arguments: &ServedArguments,
        interrupts: &mut Interrupts,
    ) -> Result<(), Trouble> {
        let state = self.look()?;
        if let Some(holder) = state.seat.filter(|_| !state.seat_is_yours && !arguments.takes()) {
            return Err(taken(&holder));
        }
        let reply = self.seat("take")?;
        if reply.answer != "asked" {
            reply.taken()?;
            self.look()?;
            return Ok(());
        }
        let since = Instant::now();
        let mut told = false;
        while since.elapsed() < SEAT_WITHIN {
            let state = self.look()?;
            if state.seat_is_yours {
                return Ok(());
            }
            let holder = state.seat.unwrap_or_default();
            if state.asking.is_none() && told {
                return Err(Trouble::Failed(format!("{holder} keeps the seat\n")));
            }
            if !told {
                told = true;
                say::complain(&format!(
                    "{holder} has been asked for the seat; no answer in 15 s gives it to you"
                ));
            }
            if interrupts.asked().is_some() {
                return Err(Trouble::Stopped("the seat was not taken\n".to_owned()));
            }
            std::thread::sleep(LOOK_EVERY);
        }
        Err(Trouble::Failed("the seat was not given\n".to_owned()))
    }

    /// Leaves seat and session; who cannot be reached any more needs no leaving.
    fn leave(&mut self) {
        let _ = self.seat("leave");
        self.line.sign_out();
    }
}

fn taken(holder: &str) -> Trouble {
    Trouble::Failed(format!(
        "the seat is {holder}'s\nhelp: --take asks for it; no answer in 15 s gives it to you\n"
    ))
}

/// Signs somebody in: by name and PIN where there are people, as whoever is at the machine where
/// nobody was added yet.
fn sign_in(line: &mut Line, person: Option<&str>) -> Result<SessionTold, Trouble> {
    let at = line.at();
    let alive = line.alive().ok_or_else(|| {
        Trouble::Failed(format!("the serve at {at} does not answer\nhelp: start it again\n"))
    })?;
    if alive.sign_in {
        let name = person.ok_or_else(|| {
            Trouble::Input(format!(
                "--person: the serve at {at} asks who you are\naccepted: the name of somebody who \
                 was added with: evenpass people add\n"
            ))
        })?;
        let name = check_name(name).map_err(|problem| {
            Trouble::Input(format!(
                "--person: {problem}\naccepted: a name of up to {LONGEST_NAME} characters\n"
            ))
        })?;
        let pin = hidden_line(&format!("PIN of \"{}\": ", say::one_line(name)))
            .map_err(|trouble| no_pin(&trouble))?;
        line.sign_in(name, &pin)?;
    } else {
        line.let_in()?;
        if let Some(name) = person.filter(|name| *name != NOT_SIGNED_IN) {
            say::complain(&format!(
                "note: nobody has been added at this serve; \"{}\" stands in its record as \
                 \"{NOT_SIGNED_IN}\"",
                say::one_line(name)
            ));
        }
    }
    let session: SessionTold = line.read("/session")?;
    line.set_form(session.form.clone());
    Ok(session)
}

fn no_pin(trouble: &NoLine) -> Trouble {
    match trouble {
        NoLine::BrokenOff => Trouble::Stopped("not signed in\n".to_owned()),
        NoLine::Ended => Trouble::Input(
            "PIN: standard input has none\naccepted: its digits, as the first line\n".to_owned(),
        ),
        NoLine::Unreadable(trouble) => Trouble::Failed(format!("no PIN can be read: {trouble}\n")),
    }
}
