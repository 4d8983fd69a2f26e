//! The matrix for a terminal: causes as rows by subject, effects as columns of order and letter.

use std::io::{self, Write};

use evenpass_core::interlock::Class;
use evenpass_core::interlock::matrix::{Act, BEYOND, Column, Row, Subject};
use evenpass_core::rig::Rig;
use evenpass_core::scan::RowTimes;

use crate::cli::sheet::{Layout, Sheet};

/// What stands in a cell behind the number of its place.
const LEGEND: &str = "\
columns  Po powder feeder  Fu fuel valve  Ox oxygen valve  Su supply outside the cell
         Ai carrier and purge air  Ca carriage  Sp spindle  Co cooling jet  Wd watchdog
cells    the place in the order of effects, then what is done; places of one scan follow at once
         x off or shut   Ai: h held back over the part, e hose empties, p purge
         Ca: r withdrawn if trusted, s stopped, c without torque, p to the park
         Sp: t keeps turning, s stopped     . left to the job; in a trip it shuts the supply
class    warn: shown   hold: ordered retreat, may restart   stop: the job ends in order
         trip: latched, reset at the machine          + wired as well, without this program
causes   what is stale or failed counts as open, as pressed or as failed: a broken wire alike
delays   how long it must last to count / how long all must be in order to count as gone, s
         * stricter on this rig than in the program
";

/// Said under every matrix.
pub(super) const CAUTION: &str = "\
Software is not the safety circuit: rows marked + must be wired too, and work without this
program. Set-points are examples until they are proved on this rig; the handbooks of the torch's
and the gas equipment's makers override them. After a flashback: stop, cool, inspect.
";

/// Prints the matrix of a rig.
pub(super) fn print(rig: &Rig, rows: &[RowTimes]) -> io::Result<()> {
    let to = &mut io::stdout().lock();
    write(rig, rows, to)
}

fn write(rig: &Rig, rows: &[RowTimes], to: &mut impl Write) -> io::Result<()> {
    writeln!(to, "{}: {} causes and their effects\n", rig.title, rows.len())?;
    write!(to, "{LEGEND}")?;
    for subject in Subject::ALL {
        writeln!(to, "\n{}", subject.title())?;
        let mut sheet = Sheet::new(
            0,
            &[
                ("no", Layout::Figure),
                ("class", Layout::Word),
                ("cause", Layout::Prose),
                ("signal", Layout::Prose),
                ("delays", Layout::Word),
                ("Po Fu Ox Su Ai   Ca   Sp Co Wd", Layout::Word),
            ],
        );
        for times in rows.iter().filter(|times| times.row.row.subject() == subject) {
            sheet.row(cells(times));
        }
        sheet.print(to)?;
    }
    writeln!(to, "\nAnswered elsewhere")?;
    let mut sheet = Sheet::new(0, &[("cause", Layout::Prose), ("answered by", Layout::Prose)]);
    for beyond in BEYOND {
        sheet.row([beyond.title.to_owned(), beyond.answered.to_owned()]);
    }
    sheet.print(to)?;
    write!(to, "\n{CAUTION}")
}

fn cells(times: &RowTimes) -> [String; 6] {
    let in_force = &times.row;
    let row = in_force.row;
    let wired = match row.circuit {
        evenpass_core::interlock::matrix::Circuit::AlsoWired => "+",
        evenpass_core::interlock::matrix::Circuit::Software => "",
    };
    let star = |tightened: bool| if tightened { "*" } else { "" };
    let signal = match &in_force.tag {
        Some(tag) => format!("{tag} ({})", in_force.origin.words()),
        None => in_force.origin.words(),
    };
    [
        row.number.to_string(),
        format!("{}{wired}", row.class.word()),
        format!(
            "{}: {}{}",
            row.title,
            in_force.condition(),
            star(in_force.is_set_point_tightened())
        ),
        signal,
        format!(
            "{} / {}{}",
            seconds(in_force.delay.as_secs_f64()),
            seconds(in_force.delay_off.as_secs_f64()),
            star(in_force.are_delays_tightened())
        ),
        effects(row),
    ]
}

/// Seconds without what says nothing.
pub(super) fn seconds(s: f64) -> String {
    let plain = (s * 1000.0).round() / 1000.0;
    plain.to_string()
}

/// The nine columns of a row, each as wide as its heading.
fn effects(row: &Row) -> String {
    let words = Column::ALL.map(|column| {
        let width = match column {
            Column::Air | Column::Carriage => 4,
            _ => 2,
        };
        format!("{:width$}", cell(row, column))
    });
    words.join(" ")
}

/// Order and letter of every effect on a column.
fn cell(row: &Row, column: Column) -> String {
    let effects = row.effects_on(column);
    if effects.is_empty() || row.class == Class::Warn {
        return ".".to_owned();
    }
    effects.iter().map(|effect| format!("{}{}", effect.order, letter(effect.act))).collect()
}

const fn letter(act: Act) -> char {
    match act {
        Act::PowderOff
        | Act::AirOff
        | Act::FuelShut
        | Act::OxygenShut
        | Act::SupplyShut
        | Act::NoCooling
        | Act::WatchdogOff
        | Act::GasShut => 'x',
        Act::AirHeld => 'h',
        Act::HoseEmpties => 'e',
        Act::Purge | Act::TorchClear => 'p',
        Act::Retreat => 'r',
        Act::CarriageStops | Act::SpindleStops => 's',
        Act::TorqueOff => 'c',
        Act::SpindleTurns | Act::TurnsUntilCool => 't',
    }
}
