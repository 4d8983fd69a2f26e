//! The rows by the keys a rig file names them with, and the figures it may tighten.

use std::io::{self, Write};

use evenpass_core::rig::Rig;
use evenpass_core::scan::RowTimes;

use super::sheet::seconds;
use crate::cli::sheet::{Layout, Sheet};

/// Prints the keys with the figures in force.
pub(super) fn print(rig: &Rig, rows: &[RowTimes]) -> io::Result<()> {
    let to = &mut io::stdout().lock();
    writeln!(
        to,
        "{}: what a table [interlock.<key>] may tighten, as it is in force\n\
         such as  [interlock.fuel_low]\n\
         \x20        set_point = \"75 %\"   delay = \"300 ms\"   tag = \"PT-101\"\n",
        rig.title
    )?;
    let mut sheet = Sheet::new(
        0,
        &[
            ("no", Layout::Figure),
            ("key", Layout::Word),
            ("class", Layout::Word),
            ("set_point", Layout::Figure),
            ("", Layout::Word),
            ("delay", Layout::Figure),
            ("delay_off", Layout::Figure),
            ("tag", Layout::Word),
        ],
    );
    for force in rows.iter().map(|times| &times.row) {
        let own = force.row.set_point;
        let (figure, side) = match (own, force.set_point) {
            (Some(own), Some(figure)) => (format!("{figure} {}", own.unit), own.tighter.side()),
            _ => ("-".to_owned(), ""),
        };
        sheet.row([
            force.row.number.to_string(),
            force.row.key.to_owned(),
            force.row.class.word().to_owned(),
            figure,
            side.to_owned(),
            format!("{} s", seconds(force.delay.as_secs_f64())),
            format!("{} s", seconds(force.delay_off.as_secs_f64())),
            force.tag.clone().unwrap_or_default(),
        ]);
    }
    sheet.print(to)
}
