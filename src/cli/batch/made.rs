//! `batch make`: an order is taken in.

use std::collections::{BTreeMap, BTreeSet};
use std::io::Write;
use std::path::PathBuf;

use clap::{Args, ValueEnum};
use evenpass_core::batch::Scrapped;
use evenpass_core::quantity::Time;
use jiff::Timestamp;
use jiff::tz::TimeZone;

use crate::batch::job;
use crate::cli::refused::Refused;
use crate::cli::{Setting, say, signing};
use crate::files;
use crate::learning::{Lessons, Whose};
use crate::particulars::Particulars;
use crate::people::Right;
use crate::record::{Batch, BatchId, Ordered, Source, Store, records_file};

/// Most parts of an order (arbitrary: a line each in a report).
const MOST_PARTS: u32 = 1000;
/// Longest name and serial, characters (arbitrary: a word in a table).
const LONGEST_WORD: usize = 40;

/// What becomes of a scrapped part.
#[derive(Debug, Clone, Copy, ValueEnum)]
enum WhenScrapped {
    /// It is made again, after the others.
    MadeAgain,
    /// The order comes to one part less.
    Lost,
}

/// What `batch make` is told.
#[derive(Debug, Args)]
pub(in crate::cli) struct MakeArguments {
    /// The recipe.
    recipe: PathBuf,
    #[command(flatten)]
    setting: Setting,
    /// The batch's name; the day and a number when left out.
    #[arg(long, value_name = "NAME")]
    name: Option<String>,
    /// How many parts; their serials are the batch's name with a number.
    #[arg(
        long,
        value_name = "NUMBER",
        conflicts_with = "serials",
        required_unless_present = "serials"
    )]
    parts: Option<u32>,
    /// The parts' serials, in the order they are made.
    #[arg(long, value_name = "SERIAL,...", value_delimiter = ',')]
    serials: Vec<String>,
    /// The first part is measured, and every so-many-th after it; the first alone when left out.
    #[arg(long, value_name = "NUMBER", value_parser = clap::value_parser!(u32).range(1..))]
    measure_every: Option<u32>,
    /// What becomes of a part that is scrapped.
    #[arg(long, value_enum, default_value = "made-again")]
    when_scrapped: WhenScrapped,
    /// How long the torch burns from one cleaning of its tip to the next; nobody is reminded when
    /// left out.
    #[arg(long, value_name = "TIME", allow_hyphen_values = true)]
    clean_tip_every: Option<Time>,
    /// What else belongs to the order, such as "drawing=4711 B"; stands in the record of each part.
    #[arg(long, value_name = "NAME=WORDS")]
    note: Vec<String>,
    /// Who takes the order in: the name stands in the record.
    #[arg(long, value_name = "NAME")]
    person: String,
    /// The records; the user's own when left out.
    #[arg(long, value_name = "FILE")]
    records: Option<PathBuf>,
}

/// Takes an order in.
pub(super) fn make(arguments: &MakeArguments, to: &mut impl Write) -> Result<(), Refused> {
    let person = say::check_person(&arguments.person, "whoever takes the order in")
        .map_err(Refused::Input)?;
    signing::may(person, Right::Run, arguments.records.as_deref())?;
    let particulars = notes(&arguments.note)?;
    if let Some(every) = arguments.clean_tip_every.filter(|every| *every <= Time::ZERO) {
        return Err(Refused::Input(format!(
            "--clean-tip-every: found {every}\naccepted: a time above nothing; left out, nobody is \
             reminded\n"
        )));
    }
    // Read, checked and planned as a whole: an order for what cannot be made is none.
    let lessons = Lessons::Kept(arguments.records.as_deref());
    let (job, _) = crate::cli::plan::prepare(&arguments.recipe, &arguments.setting, lessons)
        .map_err(Refused::Input)?;
    let mut store = Store::open(&records_file(arguments.records.as_deref())?)?;
    let id = match &arguments.name {
        Some(name) => checked("--name", name)?,
        None => unused(&store)?,
    };
    let serials = serials(arguments, &id)?;
    let whose = Whose::of(&job.rig);
    // The full path: its neighbours are the catalogue, from wherever the batch is run.
    let name =
        std::fs::canonicalize(&arguments.recipe).unwrap_or_else(|_| arguments.recipe.clone());
    let files::Source { text, .. } = job.recipe_source.clone();
    let batch = Batch {
        id: BatchId::stored(id),
        made_at: Timestamp::now(),
        person: person.to_owned(),
        rig: whose.rig.to_owned(),
        kind: whose.kind,
        recipe: Source { name: name.display().to_string(), text },
        ordered: Ordered {
            serials,
            measured_every: arguments.measure_every,
            scrapped: match arguments.when_scrapped {
                WhenScrapped::MadeAgain => Scrapped::MadeAgain,
                WhenScrapped::Lost => Scrapped::Lost,
            },
            tip_every: arguments.clean_tip_every,
            particulars,
        },
    };
    store.keep_batch(&batch)?;
    let id = say::one_line(batch.id.as_str());
    writeln!(
        to,
        "batch {id}: {} parts of \"{}\" {}",
        batch.ordered.serials.len(),
        say::one_line(&job.recipe.title),
        job::place(batch.kind)
    )?;
    Ok(writeln!(to, "`evenpass batch show {id}` says what is needed before the first part")?)
}

/// A name of today that no batch has.
fn unused(store: &Store) -> Result<String, Refused> {
    let today = Timestamp::now().to_zoned_datetime(TimeZone::system()).strftime("%Y-%m-%d");
    let known: BTreeSet<String> =
        store.batches()?.into_iter().map(|batch| batch.id.to_string()).collect();
    let mut number = known.len() + 1;
    while known.contains(&format!("{today}-b{number}")) {
        number += 1;
    }
    Ok(format!("{today}-b{number}"))
}

fn serials(arguments: &MakeArguments, id: &str) -> Result<Vec<String>, Refused> {
    if let Some(parts) = arguments.parts {
        return if (1..=MOST_PARTS).contains(&parts) {
            Ok((1..=parts).map(|number| format!("{id}/{number:02}")).collect())
        } else {
            Err(Refused::Input(format!(
                "--parts: found {parts}\naccepted: 1 to {MOST_PARTS} parts\n"
            )))
        };
    }
    let mut seen = BTreeSet::new();
    let mut all = Vec::new();
    for serial in &arguments.serials {
        let serial = checked("--serials", serial)?;
        if !seen.insert(serial.clone()) {
            return Err(Refused::Input(format!(
                "--serials: found \"{serial}\" twice\naccepted: each part's own serial, once\n"
            )));
        }
        all.push(serial);
    }
    if u32::try_from(all.len()).map_or(true, |count| count > MOST_PARTS) {
        return Err(Refused::Input(format!(
            "--serials: found {} of them\naccepted: up to {MOST_PARTS} parts\n",
            all.len()
        )));
    }
    Ok(all)
}

/// A word that may stand in a table and be typed again.
fn checked(option: &str, word: &str) -> Result<String, Refused> {
    let word = word.trim();
    let fits = !word.is_empty()
        && word.chars().count() <= LONGEST_WORD
        && say::one_line(word) == word
        && !word.starts_with('-')
        && word != "latest";
    if fits {
        Ok(word.to_owned())
    } else {
        Err(Refused::Input(format!(
            "{option}: found \"{}\"\naccepted: a word of up to {LONGEST_WORD} characters, not \
             beginning with \"-\", and not \"latest\"\n",
            say::one_line(word)
        )))
    }
}

fn notes(told: &[String]) -> Result<BTreeMap<String, String>, Refused> {
    let mut notes = Particulars::none();
    for note in told {
        notes.note(note).map_err(|no| {
            Refused::Input(format!("--note: found {}\naccepted: {}\n", no.found, no.accepted))
        })?;
    }
    if let Some(serial) = notes.by_name().get("serial") {
        return Err(Refused::Input(format!(
            "--note: found one serial, \"{}\", for all parts\naccepted: each part's own with --serials\n",
            say::one_line(serial)
        )));
    }
    Ok(notes.by_name().clone())
}
