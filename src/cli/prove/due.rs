//! `prove --list`: what can be proved on a rig, when it was, and when it is due.

use std::io::{self, Write};

use evenpass_core::interlock::Class;
use evenpass_core::interlock::matrix::{row, rows};
use evenpass_core::proof::{covered, procedure};
use evenpass_core::rig::{Rig, RigKind};
use jiff::Timestamp;
use serde_json::{Value, json};

use super::ProveArguments;
use crate::cli::sheet::{Layout, Sheet};
use crate::cli::{Exit, say};
use crate::proving::keeping::{self, KnownProof};
use crate::record::{RecordError, Store, records_file};

pub(super) fn answer(rig: &Rig, arguments: &ProveArguments) -> Exit {
    let read = || -> Result<Vec<KnownProof>, RecordError> {
        let file = records_file(arguments.records.as_deref())?;
        let store = if file.exists() { Some(Store::open_existing(&file)?) } else { None };
        keeping::standings(store.as_ref(), rig, Timestamp::now())
    };
    let rows = match read() {
        Ok(rows) => rows,
        Err(problem) => return say::failed(&problem.whole()),
    };
    let printed = if arguments.json {
        say::json(&Value::Array(rows.iter().map(program).collect()))
    } else {
        print(rig, &rows, &mut io::stdout().lock())
    };
    say::printed(printed)
}

fn program((key, last, standing): &KnownProof) -> Value {
    json!({
        "interlock": key,
        "procedure": procedure(key),
        "last": last,
        "standing": standing,
    })
}

fn print(rig: &Rig, rows_of_rig: &[KnownProof], to: &mut impl Write) -> io::Result<()> {
    let demands = match rig.kind {
        RigKind::Twin => "a twin: no start depends on a proof".to_owned(),
        RigKind::Machine => format!(
            "every {} days; more than {} days overdue refuses a start",
            rig.proof.days, rig.proof.grace
        ),
    };
    writeln!(to, "{}: {demands}\n", rig.title)?;
    let mut sheet = Sheet::new(
        0,
        &[
            ("interlock", Layout::Word),
            ("last", Layout::Word),
            ("by", Layout::Prose),
            ("ms", Layout::Figure),
            ("standing", Layout::Prose),
        ],
    );
    for (key, last, standing) in rows_of_rig {
        let made = last.as_ref();
        let cell = |text: Option<String>| text.unwrap_or_else(|| "-".to_owned());
        sheet.row([
            (*key).to_owned(),
            cell(made.map(keeping::day_of)),
            cell(made.map(|made| made.person.clone())),
            cell(made.and_then(|made| made.response).map(|r| r.as_millis().to_string())),
            keeping::words(*standing, made),
        ]);
    }
    sheet.print(to)?;
    writeln!(to, "\nNot proved at a field device, and what covers them:")?;
    let mut sheet = Sheet::new(2, &[("", Layout::Word), ("", Layout::Prose)]);
    for other in rows().filter(|other| other.class >= Class::Hold) {
        let listed = rows_of_rig.iter().any(|(key, ..)| *key == other.key);
        if listed {
            continue;
        }
        let why = covered(other.key).map_or("its device is not fitted on this rig", |c| c.why);
        sheet.row([row(other.key).map_or("", |row| row.key).to_owned(), why.to_owned()]);
    }
    sheet.print(to)
}
