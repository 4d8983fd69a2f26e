//! The rows of the shift's report, for the terminal and for the page alike.

use std::collections::BTreeSet;

use evenpass_core::batch::{Drift, Fate, Figure};
use evenpass_core::quantity::{Fraction, Quantity, Time, fixed};
use jiff::Timestamp;
use jiff::tz::TimeZone;

use crate::batch::job::file_name;
use crate::batch::line::{Decision, Found, PartLine, Settled};
use crate::batch::shift::{Shift, numbers};
use crate::record::Verdict;
use crate::shown::Layout;

/// Titles of the sections.
pub(crate) const WENT: &str = "How they went (* more than 3 % off the first good part)";
pub(crate) const DRIFT: &str = "Drift from the first good part";
pub(crate) const TROUBLE: &str = "Held, scrapped, tripped";
pub(crate) const TOLD: &str = "Refills, lots, cleaning, blasting";
pub(crate) const OTHERWISE: &str = "Otherwise than planned or ordered";

/// A quantity, or a dash.
pub(crate) fn figure<Q: Quantity>(value: Option<Q>, places: usize) -> String {
    let unitless = |value: Q| fixed(value.base(), places);
    value.map_or_else(|| "-".to_owned(), unitless)
}

/// Minutes and seconds.
pub(crate) fn clock(time: Option<Time>) -> String {
    time.map_or_else(
        || "-".to_owned(),
        |time| {
            let seconds = time.to_duration().as_secs();
            format!("{}:{:02}:{:02}", seconds / 3600, seconds / 60 % 60, seconds % 60)
        },
    )
}

/// The wall clock of a person.
pub(crate) fn wall(at: Timestamp, zone: &TimeZone, form: &str) -> String {
    at.to_zoned_datetime(zone.clone()).strftime(form).to_string()
}

/// What the last links are good for.
pub(crate) const KEEP_LINKS: &str = "Whoever has this report can tell by them later, with \
    `evenpass records verify --last LINKS`, whether anything was cut off or written anew since.";

/// Names and words of the head.
pub(crate) fn head(shift: &Shift, zone: &TimeZone) -> Vec<(String, String)> {
    let mut rows = Vec::new();
    let mut row = |name: &str, words: String| rows.push((name.to_owned(), words));
    for batch in &shift.batches {
        let tally = &batch.tally;
        let again = tally.queue.iter().filter(|queued| queued.scrapped_before > 0).count();
        let again = if again == 0 { String::new() } else { format!(", {again} of them again") };
        row(
            &format!("batch {}", batch.id),
            format!(
                "{} ordered: {} passed, {} undecided, {} on hold, {} lost, {} to be made{again}",
                tally.of,
                tally.passed.len(),
                tally.undecided.len(),
                tally.on_hold.len(),
                tally.lost.len(),
                tally.queue.len()
            ),
        );
        row("recipe", file_name(&batch.recipe));
        row("rig", batch.rig.clone());
        for (name, words) in &batch.particulars {
            row(name, words.clone());
        }
    }
    let first = shift.parts.first().map(|line| line.started_at);
    let last = shift.parts.iter().filter_map(|line| line.ended_at).max();
    if let (Some(first), Some(last)) = (first, last) {
        let form = "%Y-%m-%d %H:%M";
        row("time", format!("{} to {}", wall(first, zone, form), wall(last, zone, form)));
    }
    let sums = &shift.sums;
    let bare = if sums.bare == 0 { String::new() } else { format!(", {} not begun", sums.bare) };
    row(
        "attempts",
        format!(
            "{}: {} pass, {} undecided, {} hold, {} scrap{bare}",
            shift.parts.len(),
            sums.passed,
            sums.undecided,
            sums.hold,
            sums.scrapped
        ),
    );
    row("takt", format!("{} on the average, start to start", clock(sums.takt)));
    row(
        "powder",
        format!(
            "{:.1} in all, {} g for a whole part{}",
            sums.powder,
            figure(sums.powder_per_part, 2),
            not_in_it(&sums.powder_not_known)
        ),
    );
    row(
        "gas",
        format!(
            "fuel {:.0} in all, {} L for a whole part; oxygen {:.0}, {} L (planned flow, time \
             lit){}",
            sums.fuel,
            figure(sums.fuel_per_part, 1),
            sums.oxygen,
            figure(sums.oxygen_per_part, 1),
            not_in_it(&sums.gas_not_known)
        ),
    );
    let deciders =
        shift.parts.iter().filter_map(|line| Some(line.decided.as_ref()?.person.as_str()));
    let deciders: BTreeSet<&str> = deciders.collect();
    if !deciders.is_empty() {
        row("decided by", deciders.into_iter().collect::<Vec<_>>().join(", "));
    }
    let people: Vec<&str> = shift.people.iter().map(String::as_str).collect();
    if !people.is_empty() {
        row("people", people.join(", "));
    }
    rows
}

/// Whose share of a sum nobody knows.
fn not_in_it(parts: &[u32]) -> String {
    if parts.is_empty() {
        return String::new();
    }
    format!("; not in it: what {} took, which nobody knows", numbers(parts))
}

/// Headings and cells of the parts.
pub(crate) const PARTS: [(&str, Layout); 10] = [
    ("part", Layout::Figure),
    ("serial", Layout::Word),
    ("run", Layout::Word),
    ("start", Layout::Word),
    ("takt", Layout::Figure),
    ("passes", Layout::Figure),
    ("powder g", Layout::Figure),
    ("fuel L", Layout::Figure),
    ("oxygen L", Layout::Figure),
    ("stands", Layout::Prose),
];

/// One part's cells.
pub(crate) fn part_cells(line: &PartLine, zone: &TimeZone) -> [String; 10] {
    let passes = match line.passes_planned {
        Some(planned) => format!("{}/{planned}", line.passes_done),
        None => "0".to_owned(),
    };
    let measured = match (line.to_be_measured, line.inspected || !line.found.is_empty()) {
        (_, true) => ", measured",
        (Some(_), false) => ", to be measured",
        (None, false) => "",
    };
    [
        line.name(),
        line.serial.clone(),
        line.run.as_ref().map_or_else(|| "-".to_owned(), ToString::to_string),
        wall(line.started_at, zone, "%H:%M:%S"),
        clock(line.takt),
        passes,
        figure(line.powder, 2),
        figure(line.gas.map(|gas| gas.0), 1),
        figure(line.gas.map(|gas| gas.1), 1),
        format!("{}{measured}", line.standing()),
    ]
}

/// Headings of how the parts went.
pub(crate) const COURSE: [(&str, Layout); 6] = [
    ("part", Layout::Figure),
    ("pass s", Layout::Figure),
    ("fuel bar", Layout::Figure),
    ("oxygen bar", Layout::Figure),
    ("carrier bar", Layout::Figure),
    ("part degC", Layout::Figure),
];

/// One part's figures; those that have drifted carry a star.
pub(crate) fn course_cells(line: &PartLine) -> [String; 6] {
    let star = |figure: Figure, words: String| {
        let has_drifted = line.drifts.iter().any(|drift| drift.figure == figure);
        if has_drifted { format!("{words} *") } else { words }
    };
    let course = &line.course;
    let celsius = course.part.map(|part| format!("{:.0}", part.celsius()));
    [
        line.name(),
        star(Figure::PassTime, figure(course.pass_time, 2)),
        star(Figure::Fuel, figure(course.fuel, 3)),
        star(Figure::Oxygen, figure(course.oxygen, 3)),
        star(Figure::Carrier, figure(course.carrier, 3)),
        star(Figure::Part, celsius.unwrap_or_else(|| "-".to_owned())),
    ]
}

/// What left its band, figure by figure: in which parts, and how far at the worst.
pub(crate) fn drift_rows(shift: &Shift) -> Vec<(String, String)> {
    let mut figures: Vec<(Figure, Vec<&PartLine>)> = Vec::new();
    for line in &shift.parts {
        for drift in &line.drifts {
            match figures.iter_mut().find(|(figure, _)| *figure == drift.figure) {
                Some((_, lines)) => lines.push(line),
                None => figures.push((drift.figure, vec![line])),
            }
        }
    }
    let row = |(figure, lines): (Figure, Vec<&PartLine>)| {
        let of = |line: &&PartLine| -> Option<Drift> {
            line.drifts.iter().find(|drift| drift.figure == figure).copied()
        };
        let by = |line: &&PartLine| of(line).map_or(0.0, |drift| drift.by.ratio().abs());
        let worst = lines.iter().max_by(|one, other| by(one).total_cmp(&by(other)))?;
        let (first, again): (Vec<&PartLine>, Vec<&PartLine>) =
            lines.iter().partition(|line| line.attempt <= 1);
        let first: Vec<u32> = first.iter().map(|line| line.number).collect();
        let mut names = vec![numbers(&first)];
        names.extend(again.iter().map(|line| line.name()));
        let words = format!("worst in part {}: {}", worst.name(), of(worst)?);
        Some((figure.words().to_owned(), format!("{}; {words}", names.join(", "))))
    };
    figures.into_iter().filter_map(row).collect()
}

/// What was held, scrapped or tripped, with its first cause and who decided.
pub(crate) fn trouble_rows(shift: &Shift) -> Vec<(String, String)> {
    let mut rows = Vec::new();
    for line in &shift.parts {
        let mut words = Vec::new();
        if let Some(cause) = &line.first_cause {
            words.push(format!("{}: {cause}", line.outcome.word()));
        }
        if line.first_cause.is_none() && line.fate == Fate::BrokenOff {
            words.push(line.outcome.word().to_owned());
        }
        if let Some(Settled { choice, reason, person }) = &line.settled {
            words.push(format!("{}, {person}: {reason}", choice.words()));
        }
        if let Some(decided) = line.decided.as_ref().filter(|one| one.verdict != Verdict::Pass) {
            let Decision { verdict, reason, person } = decided;
            words.push(format!("{}, {person}: {reason}", verdict.word()));
        }
        if !words.is_empty() {
            rows.push((format!("part {}", line.name()), words.join("; ")));
        }
    }
    rows
}

/// Headings of what was measured.
pub(crate) const MEASURED: [(&str, Layout); 5] = [
    ("part", Layout::Figure),
    ("coat % of the catalogue's", Layout::Figure),
    ("since the one before", Layout::Figure),
    ("efficiency %", Layout::Figure),
    ("by", Layout::Prose),
];

/// What was measured, with the change from the one before.
pub(crate) fn measured_cells(shift: &Shift) -> Vec<[String; 5]> {
    let percent = |share: Option<Fraction>| {
        share.map_or_else(|| "-".to_owned(), |share| fixed(share.percent(), 1))
    };
    let mut rows = Vec::new();
    let mut before: Option<&Found> = None;
    for line in &shift.parts {
        for found in &line.found {
            let change =
                before.and_then(|before| Some(found.coat?.percent() - before.coat?.percent()));
            rows.push([
                line.name(),
                percent(found.coat),
                change.map_or_else(|| "-".to_owned(), |by| format!("{by:+.1}")),
                percent(found.efficiency),
                found.person.clone(),
            ]);
            before = Some(found);
        }
    }
    rows
}

/// What was done otherwise.
pub(crate) fn deviation_rows(shift: &Shift) -> Vec<(String, String)> {
    let mut rows = Vec::new();
    for line in &shift.parts {
        for one in &line.deviations {
            let who = one.person.as_deref().unwrap_or("nobody named");
            let why =
                if one.reason.is_empty() { String::new() } else { format!(": {}", one.reason) };
            rows.push((format!("part {}", line.name()), format!("{}, {who}{why}", one.what)));
        }
    }
    rows
}
