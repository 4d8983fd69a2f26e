//! A job through a running `serve`: loaded there, followed from here, answered by words. What runs
//! is the served machine; it goes on when this ends.

use std::path::Path;
use std::sync::mpsc::{Receiver, TryRecvError};
use std::thread;
use std::time::{Duration, Instant};

use evenpass_core::request::Request;
use evenpass_core::scan::NO_DATUM;

use super::visit::LOOK_EVERY;
use super::{Interrupted, News, Served, ServedArguments, Trouble, Visit, offered};
use crate::attendant::End;
use crate::cli::interrupts::Interrupts;
use crate::cli::progress::Progress;
use crate::cli::words::{self, Typed};
use crate::cli::{Exit, ending, say};
use crate::panel::told::{Stage, StateTold};

/// How long a job that nobody can type at any more may wait, held or not started.
const WAITS_FOR: Duration = Duration::from_secs(600);
/// A homing that nobody began is asked for again after this.
const HOMING_AGAIN: Duration = Duration::from_secs(5);

/// Words besides those of every job: what they are for.
const MORE_WORDS: [(&str, &str); 5] = [
    ("start", "begin what is ready, or the homing; with the key at the machine on"),
    ("home", "find the datum, once started"),
    ("blasted now", "the part was blasted just now"),
    ("give", "give the seat to who asks for it"),
    ("keep", "keep it"),
];

/// Runs a recipe, or why it was not run.
pub(in crate::cli) fn run(
    served: &Served,
    recipe: &Path,
    person: Option<&str>,
    arguments: &ServedArguments,
) -> Exit {
    let ran = offered(served, recipe).and_then(|name| {
        Visit::with(served, person, arguments, Interrupted::Stops, |visit, interrupts| {
            let mut job = Job::load(visit, served, &name)?;
            let end = job.follow(visit, interrupts)?;
            Ok((end, job.cause, job.record))
        })
    });
    match ran {
        Ok((end, cause, record)) => {
            let printed = print(end, cause.as_deref(), record.as_deref());
            match say::printed(printed) {
                Exit::Done => ending::exit(end),
                other => other,
            }
        }
        Err(trouble) => trouble.told(),
    }
}

fn print(end: End, cause: Option<&str>, record: Option<&str>) -> std::io::Result<()> {
    use std::io::Write as _;
    let to = &mut std::io::stdout().lock();
    if let Some(record) = record {
        writeln!(to, "record {record}")?;
    }
    ending::print(end, cause, to)
}

/// A job that is followed.
struct Job {
    progress: Progress,
    news: News,
    typed: Receiver<String>,
    /// Whether somebody can still type.
    attended: bool,
    begun: bool,
    given_up: bool,
    homing_asked: Option<Instant>,
    waits_since: Option<Instant>,
    seated: bool,
    cause: Option<String>,
    record: Option<String>,
}

impl Job {
    fn load(visit: &mut Visit, served: &Served, name: &str) -> Result<Self, Trouble> {
        let before = visit.look()?;
        if matches!(before.machine.stage, Stage::Complete | Stage::Stopped) {
            // The last job is over; its record is kept.
            visit.ask("reset", "")?.taken()?;
        }
        visit.load(name)?.taken()?;
        let mut progress = Progress::new();
        let on = if before.twin { "twin: no gas, no motion" } else { "machine" };
        progress
            .print(&format!("{name} on \"{}\" ({on}), served at {}", served.rig, served.address));
        if !before.twin {
            progress.print(crate::cli::run::CAUTIONS.trim_end());
        }
        Ok(Self {
            progress,
            news: News::to_typist(),
            typed: words::lines(),
            attended: true,
            begun: false,
            given_up: false,
            homing_asked: None,
            waits_since: None,
            seated: true,
            cause: None,
            record: None,
        })
    }

    fn follow(&mut self, visit: &mut Visit, interrupts: &mut Interrupts) -> Result<End, Trouble> {
        loop {
            let state = visit.look()?;
            for line in self.news.of(&state) {
                self.progress.print(&line);
            }
            self.progress.show_line(|| state.machine.figures.clone());
            if self.seated && !state.seat_is_yours {
                let holder = state.seat.as_deref().unwrap_or("nobody");
                self.progress
                    .print(&format!("the seat is {holder}'s now; from here: hold, stop, abort"));
            }
            self.seated = state.seat_is_yours;
            // Before the end is looked for: an interrupt has gone to the machine already.
            if let Some(request) = interrupts.asked() {
                self.given_up = true;
                let reply = match request {
                    Request::Abort => visit.ask("abort", "")?,
                    _ => visit.stop()?,
                };
                self.progress.print(&format!("{}: {}", request.title(), reply.told()));
            }
            if let Some(end) = self.ended(&state) {
                self.progress.print("");
                return Ok(end);
            }
            self.home(visit, &state)?;
            self.typed(visit)?;
            thread::sleep(LOOK_EVERY);
        }
    }

    /// How the job has ended, once it has.
    fn ended(&mut self, state: &StateTold) -> Option<End> {
        let machine = &state.machine;
        let running = matches!(machine.stage, Stage::Running | Stage::Held | Stage::Tripping);
        self.begun |= running || machine.stage == Stage::Tripped;
        if self.begun {
            self.record.clone_from(&state.record);
        }
        let waits = matches!(machine.stage, Stage::Held | Stage::Idle | Stage::Manual);
        if !waits || self.attended {
            self.waits_since = None;
        }
        let waited = waits
            && !self.attended
            && self.waits_since.get_or_insert_with(Instant::now).elapsed() > WAITS_FOR;
        let (end, cause) = match machine.stage {
            Stage::Complete if self.begun => (End::Complete, None),
            Stage::Stopped if self.begun => (End::Stopped, None),
            Stage::Tripped if !self.attended => {
                (End::Tripped, machine.trip.as_ref().map(|trip| trip.what.clone()))
            }
            Stage::Idle if self.given_up => (End::Stopped, None),
            Stage::Idle if self.begun || waited => {
                (End::NotStarted, machine.setback.clone().or(machine.missing.first().cloned()))
            }
            Stage::Held if waited => (End::Held, None),
            _ => return None,
        };
        self.cause = cause;
        Some(end)
    }

    /// Where nothing but the datum is missing, the homing is asked for; the start begins it.
    fn home(&mut self, visit: &mut Visit, state: &StateTold) -> Result<(), Trouble> {
        let machine = &state.machine;
        let alone = matches!(machine.missing.as_slice(), [missing] if missing == NO_DATUM);
        let due = self.homing_asked.is_none_or(|asked| asked.elapsed() > HOMING_AGAIN);
        if state.seat_is_yours && machine.stage == Stage::Idle && alone && due && !self.begun {
            self.homing_asked = Some(Instant::now());
            // What is denied is asked again, or shown as missing by then.
            visit.ask("home", "")?;
        }
        Ok(())
    }

    fn typed(&mut self, visit: &mut Visit) -> Result<(), Trouble> {
        loop {
            let word = match self.typed.try_recv() {
                Ok(word) if word.is_empty() => continue,
                Ok(word) => word,
                Err(TryRecvError::Empty) => return Ok(()),
                Err(TryRecvError::Disconnected) => {
                    self.attended = false;
                    return Ok(());
                }
            };
            let asks = word.replace(' ', "-");
            let reply = match (words::understand(&word), word.as_str()) {
                (_, "stop") => visit.stop()?,
                (_, "give" | "keep") => {
                    self.news.seat_answered();
                    visit.seat(&word)?
                }
                (Typed::Request(Request::Trim(by)), _) => {
                    visit.ask("trim", &by.percent().to_string())?
                }
                (Typed::Request(_), _) => visit.ask(&asks, "")?,
                (_, word) if is_more(word) => visit.ask(&asks, "")?,
                (Typed::Unclear(why), _) => {
                    self.progress.print(&why);
                    continue;
                }
                (Typed::Unknown(word), _) => {
                    let known = words::explained();
                    let more = explained();
                    self.progress.print(&format!("\"{word}\" is none of these:\n{known}{more}"));
                    continue;
                }
            };
            self.progress.print(&format!("{word}: {}", reply.told()));
        }
    }
}

fn is_more(word: &str) -> bool {
    MORE_WORDS.iter().any(|(known, _)| *known == word)
}

fn explained() -> String {
    MORE_WORDS.iter().map(|(word, what)| format!("  {word:<16} {what}\n")).collect()
}
