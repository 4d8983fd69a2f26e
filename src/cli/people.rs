//! `people`: who may sign in at this machine.

mod entry;

use std::io::{self, Write as _};
use std::path::PathBuf;

use clap::{Args, Subcommand};
use serde_json::json;

use self::entry::{NoPin, ask};
use super::sheet::{Layout, Sheet};
use super::{Exit, say};
use crate::people::{People, PeopleError, PeopleFile, Person, PinHash, Role};
use crate::record::records_file;

/// What it means that the last person was taken off the roll.
const NOBODY_LEFT: &str = "nobody is left: a serve that runs keeps those it knows until it is \
    started again; after that, whoever is at this computer does everything on a twin without a PIN, \
    and a machine is not served";

/// What `people` is asked.
#[derive(Debug, Subcommand)]
pub(super) enum PeopleVerb {
    /// Let somebody sign in. Asks for the PIN, or reads it from standard input.
    ///
    /// A PIN has 4 to 12 digits, not all the same, not a run such as 1234. Only a slow hash of it
    /// is kept, in a file that no other user may read: whoever gets the file finds a short PIN in
    /// minutes, by trying.
    ///
    /// Example: evenpass people add "B. Engineer" --role engineer
    Add(AddArguments),
    /// Show who may sign in.
    ///
    /// Example: evenpass people list
    List {
        #[command(flatten)]
        place: PeoplePlace,
        /// Print one JSON value for programs; PINs are not in it.
        #[arg(long)]
        json: bool,
    },
    /// Let somebody sign in no more.
    ///
    /// Example: evenpass people remove "A. Fitter"
    Remove {
        /// Who, by name; big and small letters are the same.
        name: String,
        #[command(flatten)]
        place: PeoplePlace,
    },
    /// Give somebody another PIN. Asks for it, or reads it from standard input.
    ///
    /// Example: evenpass people pin "A. Fitter"
    Pin {
        /// Who, by name; big and small letters are the same.
        name: String,
        #[command(flatten)]
        place: PeoplePlace,
    },
}

/// What `people add` is told.
#[derive(Debug, Args)]
pub(super) struct AddArguments {
    /// The name, as it shall stand in the record; up to 40 characters.
    name: String,
    /// What the person does: operator runs released recipes; maintenance also homes, jogs,
    /// calibrates and proves; engineer also writes recipes and accepts what was learned.
    #[arg(long, value_parser = role)]
    role: Role,
    #[command(flatten)]
    place: PeoplePlace,
}

/// Where it is kept who may sign in.
#[derive(Debug, Args)]
pub(super) struct PeoplePlace {
    /// The file of the people; `people.toml` beside the records when left out.
    #[arg(long, value_name = "FILE")]
    people: Option<PathBuf>,
    /// The records; the user's own when left out.
    #[arg(long, value_name = "FILE")]
    records: Option<PathBuf>,
}

fn role(word: &str) -> Result<Role, String> {
    let known = Role::ALL.map(Role::word).join(", ");
    Role::of_word(word).ok_or_else(|| format!("accepted: {known}"))
}

/// Why nothing was changed.
enum Refused {
    /// What was given is wrong.
    Input(String),
    /// It could not be done.
    Failure(String),
    /// A person broke it off.
    Stopped,
    /// The output cannot be written.
    Output(io::Error),
}

impl From<PeopleError> for Refused {
    fn from(problem: PeopleError) -> Self {
        if problem.is_bad_input() {
            Self::Input(problem.to_string())
        } else {
            Self::Failure(problem.to_string())
        }
    }
}

impl From<NoPin> for Refused {
    fn from(trouble: NoPin) -> Self {
        match trouble {
            NoPin::Wrong(problem) => Self::Input(problem),
            NoPin::BrokenOff => Self::Stopped,
            NoPin::Unreadable(trouble) => Self::Failure(format!("no PIN can be read: {trouble}")),
        }
    }
}

impl From<io::Error> for Refused {
    fn from(trouble: io::Error) -> Self {
        Self::Output(trouble)
    }
}

pub(super) fn answer(verb: &PeopleVerb) -> Exit {
    let answered = match verb {
        PeopleVerb::Add(arguments) => add(arguments),
        PeopleVerb::List { place, json } => list(place, *json),
        PeopleVerb::Remove { name, place } => remove(name, place),
        PeopleVerb::Pin { name, place } => pin(name, place),
    };
    match answered {
        Ok(()) => Exit::Done,
        Err(Refused::Input(problem)) => say::bad_input(&problem),
        Err(Refused::Failure(problem)) => say::failed(&problem),
        Err(Refused::Stopped) => {
            say::complain("nothing was changed");
            Exit::Stopped
        }
        Err(Refused::Output(trouble)) => say::printed(Err(trouble)),
    }
}

impl PeoplePlace {
    fn file(&self) -> Result<PeopleFile, Refused> {
        let records = records_file(self.records.as_deref())
            .map_err(|problem| Refused::Failure(problem.whole()))?;
        Ok(PeopleFile::of(self.people.as_deref(), &records)?)
    }
}

/// Everything that can be refused is refused before a PIN is asked for.
fn add(arguments: &AddArguments) -> Result<(), Refused> {
    let file = arguments.place.file()?;
    let before = match file.read() {
        Err(PeopleError::Missing { .. }) => People::default(),
        read => read?,
    };
    before.may_add(&arguments.name).map_err(PeopleError::from)?;
    let pin = ask(&arguments.name)?;
    let person = Person::new(&arguments.name, arguments.role, &pin).map_err(Refused::Failure)?;
    let has_engineer = file.change(|people| {
        people.add(person)?;
        Ok(people.iter().any(|person| person.role == Role::Engineer))
    })?;
    told(&format!(
        "\"{}\" may sign in as {}; kept in {}",
        arguments.name.trim(),
        arguments.role,
        file.path().display()
    ))?;
    if !has_engineer {
        say::complain(
            "no engineer may sign in yet; add one with `evenpass people add NAME --role engineer`",
        );
    }
    Ok(())
}

fn list(place: &PeoplePlace, json: bool) -> Result<(), Refused> {
    let file = place.file()?;
    let people = file.read()?;
    if json {
        let all: Vec<_> = people
            .iter()
            .map(|person| json!({"name": person.name, "role": person.role, "units": person.units}))
            .collect();
        return Ok(say::json(&all.into())?);
    }
    let mut out = io::stdout().lock();
    if people.is_empty() {
        writeln!(out, "nobody may sign in: {} has no people", file.path().display())?;
        return Ok(());
    }
    let columns = [("name", Layout::Word), ("role", Layout::Word), ("units", Layout::Word)];
    let mut sheet = Sheet::new(0, &columns);
    for person in people.iter() {
        let units = person.units;
        let units = [units.length.symbol(), units.temperature.symbol(), units.pressure.symbol()];
        sheet.row([person.name.clone(), person.role.to_string(), units.join(", ")]);
    }
    Ok(sheet.print(&mut out)?)
}

fn remove(name: &str, place: &PeoplePlace) -> Result<(), Refused> {
    let file = place.file()?;
    // A file that was named by mistake is told before it could be made.
    file.read()?.get(name).map_err(PeopleError::from)?;
    let (gone, left) = file.change(|people| Ok((people.remove(name)?, people.len())))?;
    let left = match left {
        0 => return told(&format!("\"{}\" may sign in no more; {NOBODY_LEFT}", gone.name)),
        1 => "one person is left".to_owned(),
        more => format!("{more} people are left"),
    };
    told(&format!("\"{}\" may sign in no more; {left}", gone.name))
}

fn pin(name: &str, place: &PeoplePlace) -> Result<(), Refused> {
    let file = place.file()?;
    let person = file.read()?.get(name).map_err(PeopleError::from)?.name.clone();
    let pin = ask(&person)?;
    let hash = PinHash::of(&pin).map_err(Refused::Failure)?;
    file.change(|people| people.set_pin(&person, hash))?;
    told(&format!(
        "\"{person}\" has another PIN; whoever is signed in by the old one is signed out"
    ))
}

fn told(line: &str) -> Result<(), Refused> {
    Ok(writeln!(io::stdout().lock(), "{}", say::one_line(line))?)
}
