//! Holds, stops and trips as a person reads them: the cause told whole, its effects with their
//! times, and the images around it.

use std::io::{self, Write};

use evenpass_core::ledger::Entry;

use super::records::{Clock, pairs, section};
use super::sheet::{Layout, Sheet};
use crate::record::response::{Images, Response, responses};

/// How many images fit a page beside each other; more are in the record for programs.
const SHOWN: usize = 6;

/// Whether images are shown too.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum With {
    /// Causes, effects and images.
    Images,
    /// Causes and effects.
    Effects,
}

/// Prints every hold, stop and trip of a run.
pub(super) fn print(
    entries: &[Entry],
    clock: Clock,
    with: With,
    to: &mut impl Write,
) -> io::Result<()> {
    for response in responses(entries) {
        let title = format!(
            "{} at {}: {}",
            capital(&response.class),
            clock.read(response.began),
            response.title
        );
        section(&title, &cause(&response, clock), to)?;
        if !response.effects.is_empty() {
            writeln!(to)?;
            effects(&response).print(to)?;
        }
        if let (With::Images, Some(images)) = (with, &response.images) {
            section("  Images around it: value, and its age in ms", &around(images), to)?;
        }
    }
    Ok(())
}

fn capital(word: &str) -> String {
    let mut letters = word.chars();
    letters.next().map_or_else(String::new, |first| first.to_uppercase().chain(letters).collect())
}

fn cause(response: &Response, clock: Clock) -> Sheet {
    let mut sheet = pairs();
    let mut line = |name: &str, words: String| {
        if !words.is_empty() {
            sheet.row([name.to_owned(), words]);
        }
    };
    if let Some(cause) = &response.cause {
        line("what", cause.what.clone());
        if let Some(since) = cause.since {
            let held = (cause.at - since).as_secs_f64();
            line("since", format!("{}, {held:.2} s before it counted", clock.read(since)));
        }
        line("done", cause.done.clone());
        line("to do", cause.to_do.clone());
        line("meanwhile", cause.meanwhile.clone());
    }
    line("means", response.remaining.clone());
    sheet
}

fn effects(response: &Response) -> Sheet {
    let columns = [
        ("effect, time after the cause", Layout::Prose),
        ("asked", Layout::Figure),
        ("on the wire", Layout::Figure),
        ("read back", Layout::Figure),
        ("seen", Layout::Figure),
    ];
    let mut sheet = Sheet::new(2, &columns);
    for row in &response.effects {
        sheet.row([
            row.what.clone(),
            span(row.asked_us),
            span(row.on_the_wire_us),
            span(row.read_back_us),
            span(row.seen_us),
        ]);
    }
    sheet
}

/// Milliseconds below a second, seconds above.
fn span(micros: Option<u64>) -> String {
    match micros {
        None => "-".to_owned(),
        Some(us) if us < 1_000_000 => format!("{}.{} ms", us / 1_000, us / 100 % 10),
        Some(us) => format!("{}.{:02} s", us / 1_000_000, us / 10_000 % 100),
    }
}

/// The images that say most: the oldest, those next to the cause, and the newest.
fn chosen(images: &Images) -> Vec<usize> {
    let last = images.times_us.len().saturating_sub(1);
    let zero = images.times_us.iter().position(|time| *time >= 0).unwrap_or(last);
    let mut chosen =
        vec![0, zero.saturating_sub(8), zero.saturating_sub(1), zero, (zero + 2).min(last), last];
    chosen.sort_unstable();
    chosen.dedup();
    chosen.truncate(SHOWN);
    chosen
}

fn around(images: &Images) -> Sheet {
    let chosen = chosen(images);
    let times: Vec<String> = chosen
        .iter()
        .filter_map(|at| images.times_us.get(*at))
        .map(|time| {
            let ms = time.unsigned_abs() / 1_000;
            let sign = if *time < 0 { "-" } else { "+" };
            format!("{sign}{}.{:02} s", ms / 1_000, ms / 10 % 100)
        })
        .collect();
    let mut columns = vec![("signal", Layout::Prose)];
    columns.extend(times.iter().map(|time| (time.as_str(), Layout::Figure)));
    let mut sheet = Sheet::new(2, &columns);
    for signal in &images.signals {
        let cells = chosen.iter().map(|at| {
            let value = signal.shown.get(*at).map_or("", String::as_str);
            match signal.age_ms.get(*at).copied().flatten() {
                Some(age) => format!("{value} / {age}"),
                None => value.to_owned(),
            }
        });
        let name = match signal.unit.as_str() {
            "" => signal.name.clone(),
            unit => format!("{}, {unit}", signal.name),
        };
        sheet.row([name].into_iter().chain(cells));
    }
    sheet
}
