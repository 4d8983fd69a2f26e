//! `prove`: interlocks proved at their field devices, one after another, and when each is due.

mod defect;
mod due;
mod machine;
mod tell;
mod twin;

use std::io::{self, IsTerminal as _, Write as _};
use std::path::PathBuf;

use clap::Args;
use evenpass_core::document::nearest;
use evenpass_core::interlock::matrix::row;
use evenpass_core::proof::{Failing, covered, procedures, procedures_of};
use evenpass_core::rig::{Rig, RigKind};
use jiff::Timestamp;
use serde_json::{Value, json};

use self::defect::Defect;
use super::ports::Ports;
use super::served::{self, Served, ServedArguments, Trouble, Wanted, Where};
use super::{Exit, say};
use crate::files;
use crate::proving::{Led, Place, keeping, lead};
use crate::record::{ProofRecord, Store, records_file};

/// What `prove` is asked.
#[derive(Debug, Args)]
pub(super) struct ProveArguments {
    /// The interlock to prove, by its key; `all` for every one the rig can prove.
    #[arg(value_name = "CAUSE", required_unless_present = "list")]
    cause: Option<String>,
    /// Show what can be proved, when each was proved and when it is due; proves nothing.
    #[arg(long, conflicts_with = "cause")]
    list: bool,
    /// Who proves: it stands in the record.
    #[arg(long, value_name = "NAME", required_unless_present = "list")]
    person: Option<String>,
    /// The rig file; the bench's twin when left out.
    #[arg(long, value_name = "FILE")]
    rig: Option<PathBuf>,
    #[command(flatten)]
    ports: Ports,
    /// On the embedded twin: what is wrong with it, such as guard_closed=stuck, clamp_ok=slow:2,
    /// fuel_valve=slow:5; may be given more than once. For training.
    #[arg(long = "defect", value_name = "SIGNAL=WORD")]
    defects: Vec<Defect>,
    /// On the embedded twin: seed of everything random in it.
    #[arg(long, default_value_t = 1)]
    seed: u64,
    /// The records; the user's own when left out.
    #[arg(long, value_name = "FILE")]
    records: Option<PathBuf>,
    #[command(flatten)]
    served: ServedArguments,
    /// Print the results for a program.
    #[arg(long)]
    json: bool,
}

/// What became of one of the proofs asked for.
struct Made {
    key: &'static str,
    led: Led,
}

pub(super) fn answer(arguments: &ProveArguments) -> Exit {
    let served = match arguments.find() {
        Ok(served) => served,
        Err(trouble) => return trouble.told(),
    };
    let rig = match &served {
        Some(served) => served.rig_file.as_deref(),
        None => arguments.rig.as_deref(),
    };
    let rig = match files::rig(rig) {
        Ok((rig, _)) => rig,
        Err(problem) => return say::bad_input(&problem),
    };
    if arguments.list {
        return due::answer(&rig, arguments);
    }
    let cause = arguments.cause.as_deref().unwrap_or_default();
    let keys = match keys(cause, &rig) {
        Ok(keys) => keys,
        Err(problem) => return say::bad_input(&problem),
    };
    let person = arguments.person.as_deref().unwrap_or_default();
    let person = match say::check_person(person, "whoever is at the devices") {
        Ok(person) => person,
        Err(problem) => return say::bad_input(&problem),
    };
    if let Some(served) = served {
        let through = &arguments.served;
        return served::prove::prove(&served, &keys, person, through, arguments.json);
    }
    let on_lines = rig.kind == RigKind::Machine || arguments.ports.are_given();
    if on_lines && !arguments.defects.is_empty() {
        return say::bad_input("--defect: a machine's defects are its own; leave --defect out\n");
    }
    if on_lines && !io::stdin().is_terminal() {
        tracing::debug!("answers are read from standard input, which is no terminal");
    }
    let mut store = match records_file(arguments.records.as_deref()).and_then(|f| Store::open(&f)) {
        Ok(store) => store,
        Err(problem) => return say::failed(&problem.whole()),
    };
    let made = if on_lines {
        match arguments.ports.resolve(&rig) {
            Ok(ports) => {
                machine::Machine::start(&rig, ports, arguments.json).and_then(|mut machine| {
                    let made = prove(&mut machine, &keys, &rig, person, &mut store, arguments);
                    machine.quit().and(made)
                })
            }
            Err(problem) => return say::bad_input(&problem),
        }
    } else {
        twin::Interruptible::start(&rig, arguments.seed, &arguments.defects).and_then(|mut twin| {
            if !arguments.json {
                say::complain(tell::ON_THE_TWIN);
            }
            prove(&mut twin, &keys, &rig, person, &mut store, arguments)
        })
    };
    match made {
        Ok((made, records)) => finish(&made, &records, arguments),
        Err(problem) => say::failed(&problem),
    }
}

impl ProveArguments {
    /// The running `serve` that it is asked of, if any; a list is asked of the records alone.
    fn find(&self) -> Result<Option<Served>, Trouble> {
        if self.list {
            return Ok(None);
        }
        let found = self.served.find(Wanted {
            rig: self.rig.as_deref(),
            ports: &self.ports,
            records: self.records.as_deref(),
        })?;
        match found {
            Where::Alone => Ok(None),
            Where::Served(served) if !self.defects.is_empty() => Err(Trouble::Input(format!(
                "--defect: a serve runs at {} and has its own\nhelp: leave --defect out, or say \
                 --alone\n",
                served.address
            ))),
            Where::Served(served) => Ok(Some(served)),
        }
    }
}

/// The keys asked for, in the order of the matrix.
///
/// # Errors
/// A key that can't be proved: why, and what could be.
fn keys(cause: &str, rig: &Rig) -> Result<Vec<&'static str>, String> {
    if cause == "all" {
        return Ok(procedures_of(rig).map(|procedure| procedure.key).collect());
    }
    if let Some(procedure) = procedures_of(rig).find(|procedure| procedure.key == cause) {
        return Ok(vec![procedure.key]);
    }
    if let Some(covered) = covered(cause) {
        return Err(format!(
            "`{cause}` can't be proved at a field device\nhelp: {}\n",
            covered.why
        ));
    }
    if procedures().any(|procedure| procedure.key == cause) {
        return Err(format!(
            "`{cause}` can't be proved: \"{}\" has not got its device\nhelp: see `not_fitted` in \
             the rig file\n",
            rig.title
        ));
    }
    let what = match row(cause) {
        Some(_) => "only warns: there is nothing it takes away that could be proved".to_owned(),
        None => "is no interlock".to_owned(),
    };
    let known: Vec<&'static str> = procedures().map(|procedure| procedure.key).collect();
    let help = nearest(cause, &known)
        .map_or_else(String::new, |nearest| format!("help: did you mean `{nearest}`?\n"));
    Err(format!(
        "CAUSE: `{cause}` {what}\naccepted: `all`, or a key that `evenpass prove --list` shows\n\
         {help}"
    ))
}

/// Proves one after another; what has a result is durable before the next begins.
fn prove(
    place: &mut impl Place,
    keys: &[&'static str],
    rig: &Rig,
    person: &str,
    store: &mut Store,
    arguments: &ProveArguments,
) -> Result<(Vec<Made>, Vec<ProofRecord>), String> {
    let mut made = Vec::new();
    let mut records = Vec::new();
    for (at, key) in keys.iter().enumerate() {
        if !arguments.json {
            tell::begins(at + 1, keys.len(), key);
        }
        let led = lead(place, key)?;
        if let Led::Proved(proved) = &led {
            let record = keeping::record(proved, rig, person, Timestamp::now());
            store.keep_proof(&record).map_err(|problem| problem.whole())?;
            records.push(record);
        }
        if !arguments.json {
            tell::ended(&led);
        }
        let quit = led == Led::Quit;
        made.push(Made { key, led });
        if quit {
            break;
        }
    }
    Ok((made, records))
}

fn finish(made: &[Made], records: &[ProofRecord], arguments: &ProveArguments) -> Exit {
    let printed = if arguments.json {
        say::json(&json!({
            "proofs": records,
            "not_made": made.iter().filter_map(not_made).collect::<Vec<Value>>(),
        }))
    } else {
        tell::summary(made, &mut io::stdout().lock()).and_then(|()| io::stdout().flush())
    };
    match say::printed(printed) {
        Exit::Done => exit(made),
        other => other,
    }
}

fn not_made(made: &Made) -> Option<Value> {
    let why = match &made.led {
        Led::Proved(_) => return None,
        Led::Skipped => "left out by the person",
        Led::Quit => "ended before it was answered",
        Led::Refused(why) => why.as_str(),
    };
    Some(json!({ "interlock": made.key, "why": why }))
}

/// A person's end goes before a foreign trip, and that before a proof that failed.
fn exit(made: &[Made]) -> Exit {
    let any = |so: fn(&Led) -> bool| made.iter().any(|made| so(&made.led));
    let tripped = |led: &Led| {
        matches!(led, Led::Proved(proved)
            if matches!(proved.failing, Some(Failing::OtherFirst { .. })))
    };
    let failed = |led: &Led| match led {
        Led::Proved(proved) => proved.failing.is_some(),
        Led::Refused(_) => true,
        Led::Skipped | Led::Quit => false,
    };
    if any(|led| *led == Led::Quit) {
        Exit::Stopped
    } else if any(tripped) {
        Exit::Tripped
    } else if any(failed) {
        Exit::Failed
    } else {
        Exit::Done
    }
}
