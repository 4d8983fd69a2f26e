//! `teach`: a new recipe by points taken at the machine.

mod making;
mod words;

use std::io::{self, Write as _};
use std::path::PathBuf;
use std::sync::mpsc::{Receiver, RecvTimeoutError};
use std::time::{Duration, Instant};

use clap::Args;
use evenpass_core::quantity::{Length, Quantity as _};
use evenpass_core::recipe::Substrate;
use evenpass_core::request::Direction;
use evenpass_core::teach::{PointKind, Taught, TaughtPoint, Teaching};

use self::making::{Part, Told};
use self::words::{Typed, Way, understand};
use super::commands::{Commands, Machine, follow};
use super::interrupts::Interrupts;
use super::jog::{manually, nudge};
use super::served::{News, Trouble};
use super::{Exit, say};
use crate::cli::words::lines;
use crate::people::Units;

/// Points of one part at most; a drawing has some dozens.
const MOST: usize = 64;
/// How often the machine is looked at while nothing is typed.
const LOOK_EVERY: Duration = Duration::from_millis(500);
/// How long a point may take to be taken.
const TAKEN_WITHIN: Duration = Duration::from_secs(5);

/// What `teach` is asked.
#[derive(Debug, Args)]
pub(super) struct TeachArguments {
    /// The file of the new recipe, which must not be there yet.
    #[arg(value_name = "FILE")]
    file: PathBuf,
    #[command(flatten)]
    machine: Machine,
    /// Title of the recipe and name of the part; the file's name when left out.
    #[arg(long, value_name = "TEXT")]
    title: Option<String>,
    /// A recipe that everything but part and zones is taken from; usual figures of the catalogue
    /// when left out.
    #[arg(long, value_name = "RECIPE")]
    like: Option<PathBuf>,
    #[arg(long, value_name = "WORD", value_parser = substrate,
        help = format!("What the part is made of: {}", substrates()))]
    substrate: Option<Substrate>,
    /// The finished coat of every zone, such as "0.3 mm".
    #[arg(long, value_name = "LENGTH")]
    finish: Option<String>,
    /// The name of a zone, from the chuck side; once for each.
    #[arg(long = "zone", value_name = "NAME")]
    zones: Vec<String>,
    /// The folder with powders.toml and torches.toml; the recipe's neighbours when left out.
    #[arg(long, value_name = "FOLDER")]
    catalogue: Option<PathBuf>,
}

/// What a part can be made of, by the words of a recipe.
fn substrates() -> String {
    Substrate::all().map(Substrate::word).collect::<Vec<_>>().join(", ")
}

fn substrate(word: &str) -> Result<Substrate, String> {
    Substrate::of_word(word).ok_or_else(|| format!("accepted: {}", substrates()))
}

pub(super) fn answer(arguments: &TeachArguments) -> Exit {
    match teach(arguments) {
        Ok(part) => say::printed(writeln!(io::stdout(), "saved: {}", part.file.display())),
        Err(trouble) => trouble.told(),
    }
}

fn teach(arguments: &TeachArguments) -> Result<Part, Trouble> {
    let finish = arguments.finish.as_deref().map(Length::parse).transpose();
    let finish = finish.map_err(|problem| Trouble::Input(format!("--finish: {problem}\n")))?;
    let place = arguments.machine.find()?;
    let told = Told {
        title: arguments.title.as_deref(),
        like: arguments.like.as_deref(),
        substrate: arguments.substrate,
        finish,
        zones: &arguments.zones,
        rig_file: place.rig_file(),
        catalogue: arguments.catalogue.as_deref(),
    };
    let part = Part::new(&arguments.file, &told).map_err(Trouble::Input)?;
    place.with(|commands, interrupts| {
        manually(commands, interrupts, |commands, interrupts| {
            let mut lesson = Lesson {
                part: &part,
                teaching: Teaching::default(),
                step: Length::from_mm(1.0),
                way: None,
                units: commands.units(),
            };
            lesson.lead(commands, interrupts, &lines())
        })
    })?;
    Ok(part)
}

/// A part being taught.
struct Lesson<'a> {
    part: &'a Part,
    teaching: Teaching,
    step: Length,
    /// Which way the carriage was nudged last.
    way: Option<Way>,
    units: Units,
}

impl Lesson<'_> {
    /// Takes what is typed until the recipe is written.
    fn lead(
        &mut self,
        commands: &mut dyn Commands,
        interrupts: &mut Interrupts,
        typed: &Receiver<String>,
    ) -> Result<(), Trouble> {
        show(words::EXPLAINED);
        show(&self.here(commands.look()?.place));
        let mut rested = Instant::now();
        loop {
            let line = match typed.recv_timeout(LOOK_EVERY) {
                Ok(line) => line,
                Err(RecvTimeoutError::Timeout) => {
                    if interrupts.asked().is_some() {
                        commands.stop()?;
                        return Err(not_saved());
                    }
                    commands.look()?;
                    continue;
                }
                Err(RecvTimeoutError::Disconnected) => return Err(not_saved()),
            };
            match understand(&line) {
                Err(problem) => show(&problem),
                Ok(Typed::Save) => {
                    if self.save(&commands.person())? {
                        return Ok(());
                    }
                }
                Ok(Typed::Quit) => return Err(not_saved()),
                // A held Enter would run on: it counts only once the carriage has rested.
                Ok(Typed::Again) if rested.elapsed() < SETTLED => {}
                Ok(asked) => {
                    self.take(asked, commands, interrupts)?;
                    rested = Instant::now();
                }
            }
        }
    }

    fn take(
        &mut self,
        asked: Typed,
        commands: &mut dyn Commands,
        interrupts: &mut Interrupts,
    ) -> Result<(), Trouble> {
        let done = match asked {
            Typed::Nudge(way) => self.nudge(way, commands, interrupts),
            Typed::Again => match self.way {
                Some(way) => self.nudge(way, commands, interrupts),
                None => Ok("a nudges toward the chuck, d toward the tail".to_owned()),
            },
            Typed::Point { what, at, diameter } => {
                self.point(what, at, diameter, commands, interrupts)
            }
            Typed::Home => {
                // Manual work is left for it by the controller, and entered again.
                super::home::home(commands, interrupts, false).and_then(|homed| {
                    commands.ask("manual", "")?.taken()?;
                    Ok(self.here(homed.place))
                })
            }
            other => Ok(self.note(other)),
        };
        match done {
            Ok(told) => show(&told),
            // What was denied is told; the next line may be better.
            Err(Trouble::Failed(why)) => show(why.trim_end()),
            Err(other) => return Err(other),
        }
        Ok(())
    }

    /// What is only written down here, in words.
    fn note(&mut self, asked: Typed) -> String {
        match asked {
            Typed::Step(step) => {
                self.step = step;
                format!("step {}", self.units.length(step))
            }
            Typed::Back => match self.teaching.points.pop() {
                Some(point) => format!("taken back: {}", self.told(&point)),
                None => "there is no point".to_owned(),
            },
            Typed::Starts(end) => {
                self.teaching.starts = Some(end);
                format!("the first pass starts at the {}", end.word().replace('_', " "))
            }
            Typed::Drawn(length) => {
                self.teaching.drawn_length = Some(length);
                format!("by the drawing {} long", self.units.length(length))
            }
            _ => self.look(),
        }
    }

    fn nudge(
        &mut self,
        way: Way,
        commands: &mut dyn Commands,
        interrupts: &mut Interrupts,
    ) -> Result<String, Trouble> {
        self.way = Some(way);
        let by = if way == Way::Tail { self.step } else { self.step * -1.0 };
        Ok(nudge(commands, interrupts, by)?.told(self.units))
    }

    fn point(
        &mut self,
        what: PointKind,
        typed: Option<Length>,
        diameter: Option<Length>,
        commands: &mut dyn Commands,
        interrupts: &mut Interrupts,
    ) -> Result<String, Trouble> {
        if self.teaching.points.len() >= MOST {
            return Ok(format!("a part has {MOST} points at most; take some back"));
        }
        let point = match typed {
            Some(at) => TaughtPoint { what, at, approached: None, diameter },
            None => {
                let (at, approached) = taken(commands, interrupts)?;
                TaughtPoint { what, at, approached, diameter }
            }
        };
        self.teaching.points.push(point);
        Ok(format!("{}: {}", self.teaching.points.len(), self.told(&point)))
    }

    fn told(&self, point: &TaughtPoint) -> String {
        let diameter = point.diameter;
        let diameter =
            diameter.map_or_else(String::new, |d| format!(", diameter {}", self.units.length(d)));
        format!("{} at {}{diameter}", point.what.title(), self.units.length(point.at))
    }

    fn here(&self, place: Option<Length>) -> String {
        let place = place.map_or_else(
            || "the carriage has no datum: type home".to_owned(),
            |place| format!("torch at {}", self.units.length(place)),
        );
        format!("{place}; step {}", self.units.length(self.step))
    }

    /// What the points make, with its forecast.
    fn look(&self) -> String {
        match self.part.judged(&self.teaching) {
            Err(problems) => problems,
            Ok(taught) => {
                let geometry = self.geometry(&taught);
                if taught.question.is_some() {
                    return geometry;
                }
                match self.part.planned(&taught) {
                    Ok((_, plan)) => format!("{geometry}\n{}", plan.page()),
                    Err(problems) => format!("{geometry}\n{problems}"),
                }
            }
        }
    }

    fn geometry(&self, taught: &Taught) -> String {
        let length = |of: Length| self.units.length(of);
        let mut told = Vec::new();
        for (at, zone) in (1..).zip(&taught.zones) {
            told.push(format!(
                "zone {at}: {} to {}, powder on {} to {}",
                length(zone.edges.low),
                length(zone.edges.high),
                length(zone.powder_on.low),
                length(zone.powder_on.high)
            ));
        }
        for point in &taught.profile {
            told.push(format!("outline: {} diameter {}", length(point.at), length(point.diameter)));
        }
        told.extend(taught.notes.iter().map(|note| format!("note: {note}")));
        if let Some(question) = &taught.question {
            told.push(format!(">> {question}: type starts chuck side, or starts tail side"));
        }
        told.join("\n")
    }

    /// Writes the recipe; whether it is written.
    fn save(&self, who: &str) -> Result<bool, Trouble> {
        let made = self.part.judged(&self.teaching).and_then(|taught| {
            let (text, _) = self.part.planned(&taught)?;
            Ok(text)
        });
        match made {
            Ok(text) => {
                self.part.write(&text, who).map_err(Trouble::Failed)?;
                Ok(true)
            }
            Err(problems) => {
                show(&format!("not saved yet:\n{}", problems.trim_end()));
                Ok(false)
            }
        }
    }
}

/// How long the carriage has rested before Enter alone nudges again: longer than a key that is held
/// down takes between its repeats.
const SETTLED: Duration = Duration::from_millis(100);

/// Has the controller take the torch's place, which way it came there with it.
fn taken(
    commands: &mut dyn Commands,
    interrupts: &mut Interrupts,
) -> Result<(Length, Option<Direction>), Trouble> {
    commands.ask("take-point", "")?.taken()?;
    let mut news = News::default();
    news.of_machine(&commands.look()?);
    let mut first = None;
    let mut later = 0;
    // The second picture after the answer was made after it.
    let shown = |machine: &crate::panel::told::MachineTold| {
        let first = *first.get_or_insert(machine.at_s);
        later += u32::from(machine.at_s > first);
        later > 1
    };
    let after = follow(commands, interrupts, &mut news, TAKEN_WITHIN, "the point", shown)?;
    let at = after.taken.ok_or_else(|| Trouble::Failed("the point was not taken\n".to_owned()))?;
    Ok((at, after.came))
}

fn not_saved() -> Trouble {
    Trouble::Stopped("ended without a recipe; nothing was written\n".to_owned())
}

/// Goes beside the result; a reader who has gone does not matter.
fn show(text: &str) {
    let end = if text.ends_with('\n') { "" } else { "\n" };
    let _ = write!(io::stderr(), "{}{end}", say::harmless(text));
}
