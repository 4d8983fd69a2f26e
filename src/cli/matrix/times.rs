//! How long each row takes until the valves have no current, against what it may take.

use std::io::{self, Write};
use std::time::Duration;

use evenpass_core::interlock::Class;
use evenpass_core::rig::Rig;
use evenpass_core::scan::{Reaction, RowTimes};

use super::sheet::CAUTION;
use crate::cli::sheet::{Layout, Sheet};

/// Prints the times of a rig's rows.
pub(super) fn print(rig: &Rig, reaction: &Reaction, rows: &[RowTimes]) -> io::Result<()> {
    let to = &mut io::stdout().lock();
    writeln!(to, "{}: times by its lines' arithmetic, nothing measured\n", rig.title)?;
    writeln!(
        to,
        "reaction of a confirmed cause  {}: scan {}, rest of the exchange in flight and gap {},\n\
         \x20                              own frame {}, module {}\n\
         with that exchange unanswered  {}\n\
         by the watchdog relay          {}: scan and relay\n",
        ms(reaction.whole()),
        ms(reaction.scan),
        ms(reaction.rest),
        ms(reaction.frame),
        ms(reaction.latency),
        ms(reaction.unanswered),
        ms(reaction.scan + reaction.relay),
    )?;
    let mut sheet = Sheet::new(
        0,
        &[
            ("no", Layout::Figure),
            ("row", Layout::Word),
            ("class", Layout::Word),
            ("read", Layout::Figure),
            ("wait", Layout::Figure),
            ("reaction", Layout::Figure),
            ("total", Layout::Figure),
            ("may take", Layout::Figure),
            ("", Layout::Word),
        ],
    );
    for times in rows.iter().filter(|times| times.row.row.class != Class::Warn) {
        let row = times.row.row;
        let trip = row.class == Class::Trip;
        sheet.row([
            row.number.to_string(),
            row.key.to_owned(),
            row.class.word().to_owned(),
            ms(times.read),
            ms(times.wait),
            ms(times.reaction),
            ms(times.total),
            if trip { ms(times.permitted) } else { "-".to_owned() },
            match (trip, times.holds()) {
                (false, _) => String::new(),
                (true, true) => "holds".to_owned(),
                (true, false) => "EXCEEDED".to_owned(),
            },
        ]);
    }
    sheet.print(to)?;
    writeln!(to, "\nLonger than a second, and why")?;
    let mut sheet = Sheet::new(0, &[("row", Layout::Word), ("because", Layout::Prose)]);
    for times in rows.iter().filter(|times| !times.why.is_empty()) {
        sheet.row([times.row.row.key.to_owned(), times.why.to_owned()]);
    }
    sheet.print(to)?;
    write!(to, "\n{CAUTION}")
}

fn ms(time: Duration) -> String {
    format!("{:.1} ms", time.as_secs_f64() * 1e3)
}
