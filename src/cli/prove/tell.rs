//! What a person reads while proofs are made, and after them.

use std::io::{self, Write};

use evenpass_core::interlock::matrix::row;
use evenpass_core::proof::Proved;

use super::Made;
use crate::cli::say;
use crate::cli::sheet::{Layout, Sheet};
use crate::proving::{Instruction, Led};

/// Shown before anything is energised on a machine.
pub(super) const CAUTIONS: &str = "\
CAUTION: proof tests open the fuel and oxygen valves and give the drive torque. Before you begin:
shut the cylinders, isolate and vent, read both pressures as zero, leave nobody in the cell who
does not know. Evenpass strokes valves only while both pressures read zero, ends by itself when
they do not or after ten minutes, and never opens the supply. It is no safety device. Enter = done,
s = leave this one out, q = quit. Ctrl-C ends.
";

/// The same for the twin, in short.
pub(super) const ON_THE_TWIN: &str =
    "On the embedded twin: a simulated technician is at the devices; it proves no machine.";

/// A proof begins.
pub(super) fn begins(at: usize, of: usize, key: &str) {
    let title = row(key).map_or("", |row| row.title);
    show(&format!("[{at}/{of}] {key}: {title}"));
}

/// What a proof still waits for.
pub(super) fn missing(what: &str) {
    show(&format!("    waits    {what}"));
}

/// An instruction to the person.
pub(super) fn instruction(instruction: Instruction) {
    match instruction {
        Instruction::Prepare(procedure, _) if procedure.prepare.is_empty() => {
            show("    prepare  nothing; the device is to be at rest and healthy");
        }
        Instruction::Prepare(procedure, _) => show(&format!("    prepare  {}", procedure.prepare)),
        Instruction::Act(procedure, _) => {
            show(&format!("    do       {}\n             Enter when it is done.", procedure.act));
        }
        Instruction::Restore(procedure, _) => {
            show(&format!(
                "    restore  {}\n             Enter when it is done.",
                procedure.restore
            ));
        }
        Instruction::Reset => {
            show("    reset    Press reset at the machine: once to acknowledge, once to reset.");
        }
    }
}

/// A proof has ended.
pub(super) fn ended(led: &Led) {
    show(&format!("    {}", outcome(led)));
}

fn outcome(led: &Led) -> String {
    match led {
        Led::Proved(proved) => match &proved.failing {
            None => format!("passed   {}: {}", response(proved), proved.found),
            Some(_) => format!("FAILED   {}", proved.found),
        },
        Led::Skipped => "left out".to_owned(),
        Led::Quit => "ended before it was answered".to_owned(),
        Led::Refused(why) => format!("not made: {why}"),
    }
}

fn response(proved: &Proved) -> String {
    let found = proved.response.map_or(0, |response| response.as_millis());
    format!("{found} ms of {} ms", proved.limit.as_millis())
}

/// Progress goes beside the results, so that these can be kept; a reader who has gone does not
/// matter.
pub(super) fn show(text: &str) {
    let _ = writeln!(io::stderr(), "{}", say::harmless(text));
}

/// All results on one sheet.
pub(super) fn summary(made: &[Made], to: &mut impl Write) -> io::Result<()> {
    let mut sheet = Sheet::new(
        0,
        &[
            ("interlock", Layout::Word),
            ("result", Layout::Word),
            ("found ms", Layout::Figure),
            ("limit ms", Layout::Figure),
            ("expected, or what is wrong", Layout::Prose),
        ],
    );
    let (mut passed, mut failed) = (0, 0);
    for Made { key, led } in made {
        let row = match led {
            Led::Proved(proved) => {
                let good = proved.failing.is_none();
                if good {
                    passed += 1
                } else {
                    failed += 1
                }
                let found = proved.response.map_or(String::new(), |r| r.as_millis().to_string());
                let words = if good { &proved.expected } else { &proved.found };
                let result = if good { "passed" } else { "FAILED" };
                let limit = proved.limit.as_millis().to_string();
                [(*key).to_owned(), result.to_owned(), found, limit, words.clone()]
            }
            Led::Skipped | Led::Quit => [
                (*key).to_owned(),
                "left out".to_owned(),
                String::new(),
                String::new(),
                String::new(),
            ],
            Led::Refused(why) => [
                (*key).to_owned(),
                "not made".to_owned(),
                String::new(),
                String::new(),
                why.clone(),
            ],
        };
        sheet.row(row);
    }
    sheet.print(to)?;
    let open = made.len() - passed - failed;
    writeln!(to, "{passed} passed, {failed} failed, {open} not made")
}
