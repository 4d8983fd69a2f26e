//! What would happen, for a person.

use std::io::{self, Write};
use std::time::Duration;

use evenpass_core::interlock::what_if::{Assumed, Assumption, Role, Target, WhatIf};
use evenpass_core::rig::Rig;

use crate::cli::records::section;
use crate::cli::sheet::{Layout, Sheet};

/// Prints the answer.
pub(super) fn print(rig: &Rig, found: &WhatIf) -> io::Result<()> {
    let to = &mut io::stdout().lock();
    let assumed: Vec<String> = found.assumed.iter().map(words).collect();
    writeln!(to, "{}, {}: {}", rig.title, found.phase.word(), assumed.join(", "))?;
    writeln!(to, "by the interlocks themselves; the machine around them is sketched")?;
    section("Rows that watch it", &judged(found), to)?;
    if found.confirmed.is_empty() {
        writeln!(to, "\nNothing is confirmed, and nothing is taken away.")?;
    }
    for cause in &found.confirmed {
        let place = match cause.role {
            Role::FirstOut => "First-out",
            Role::Consequent => "Consequent",
            Role::Hold => "Hold or stop",
            Role::Warning => "Warning",
        };
        let title = format!("{place} after {}: {}", after(cause.after), cause.key);
        let mut sheet = crate::cli::records::pairs();
        let mut line = |name: &str, words: &str| sheet.row([name.to_owned(), words.to_owned()]);
        line("message", &cause.told.what);
        if matches!(cause.role, Role::FirstOut | Role::Hold) {
            line("since", &format!("{} before it counted", after(cause.told.held_for)));
            line("done", &cause.told.done);
            line("to do", cause.told.to_do);
            line("meanwhile", cause.told.meanwhile);
        }
        line("at the end", cause.state.words());
        section(&title, &sheet, to)?;
    }
    if found.more_consequent > 0 {
        writeln!(to, "\nand {} more consequent causes, not listed", found.more_consequent)?;
    }
    section("Effects in their order", &effects(found), to)?;
    let mut sheet = Sheet::new(2, &[("", Layout::Prose)]);
    for remaining in &found.remaining {
        sheet.row([remaining.words()]);
    }
    section("What an abort can still do then", &sheet, to)?;
    let mut sheet = Sheet::new(2, &[("", Layout::Prose)]);
    for need in &found.reset_needs {
        sheet.row([(*need).to_owned()]);
    }
    section("What a reset still needs after 40 s", &sheet, to)
}

/// An assumption as it is written.
fn words(one: &Assumption) -> String {
    let name = one.target.name();
    match one.assumed {
        Assumed::Word(word) => format!("{name}={}", word.word()),
        Assumed::Level(level) => format!("{name}={}", if level.is_on() { "on" } else { "open" }),
        Assumed::Value(value) => {
            let unit = match one.target {
                Target::Analogue(tag) => tag.unit(),
                Target::Reading(reading) => reading.unit(),
                _ => "",
            };
            format!("{name}={value} {unit}")
        }
        Assumed::Raised(_) => format!("{name} raised"),
    }
}

fn judged(found: &WhatIf) -> Sheet {
    let columns = [
        ("row", Layout::Word),
        ("class", Layout::Word),
        ("title", Layout::Prose),
        ("armed", Layout::Word),
        ("confirmed after", Layout::Figure),
    ];
    let mut sheet = Sheet::new(2, &columns);
    for judged in &found.judged {
        sheet.row([
            judged.key.to_owned(),
            judged.class.word().to_owned(),
            judged.title.to_owned(),
            if judged.armed.is_on() { "yes" } else { "no" }.to_owned(),
            judged.confirmed.map_or_else(|| "not".to_owned(), after),
        ]);
    }
    sheet
}

fn effects(found: &WhatIf) -> Sheet {
    let mut sheet = Sheet::new(2, &[("after", Layout::Figure), ("what", Layout::Prose)]);
    let mut before = None;
    for change in &found.effects {
        let at = if before == Some(change.after) { String::new() } else { after(change.after) };
        before = Some(change.after);
        sheet.row([at, change.what.clone()]);
    }
    sheet
}

fn after(span: Duration) -> String {
    format!("{:.2} s", span.as_secs_f64())
}
