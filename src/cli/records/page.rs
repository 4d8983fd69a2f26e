//! `records show`: one run whole, for a person.

use std::io::{self, Write};

use evenpass_core::ledger::{Entry, EntryKind};
use evenpass_core::quantity::Length;
use jiff::tz::TimeZone;
use serde_json::Value;

use super::{
    Clock, NOTHING, or_nothing, pairs, passes_words, section, span_of_time, span_words, wall,
    whole_seconds,
};
use crate::cli::response;
use crate::cli::sheet::{Layout, Sheet};
use crate::record::facts::{EdgeKind, PassRow, PowderFact, coat_span, course};
use crate::record::{Deviation, Gap, Outcome, RunKind, RunRecord, RunSummary, total_in_words};

pub(super) fn print_run(
    record: &RunRecord,
    zone: &TimeZone,
    to: &mut impl Write,
) -> io::Result<()> {
    writeln!(to, "Run {}", crate::cli::say::one_line(record.summary.id.as_str()))?;
    header_sheet(record, zone).print(to)?;
    let clock = Clock::of(&record.entries);
    if let Some(pruned) = &record.pruned {
        let day = wall(pruned.at, zone, "%Y-%m-%d");
        let words = format!(
            "its {} entries went into the file {} on {day}, by {} (SHA-256 {})",
            pruned.entries, pruned.file, pruned.person, pruned.digest
        );
        writeln!(to, "\n{}", crate::cli::say::one_line(&words))?;
    }
    section("Course", &course_sheet(&record.entries, clock), to)?;
    section("Passes", &passes_sheet(&record.passes, clock), to)?;
    response::print(&record.entries, clock, response::With::Images, to)?;
    section("Causes", &told_sheet(&record.entries, clock, &[EntryKind::Cause]), to)?;
    let asked = [EntryKind::Prompt, EntryKind::Request];
    section("Prompts, requests and answers", &told_sheet(&record.entries, clock, &asked), to)?;
    section("Lines", &told_sheet(&record.entries, clock, &[EntryKind::Line]), to)?;
    section("Totals", &totals_sheet(record), to)?;
    section("Deviations", &deviations_sheet(&record.deviations, clock), to)?;
    section("Entries that were not kept", &gaps_sheet(&record.gaps), to)?;
    writeln!(to)?;
    writeln!(
        to,
        "{} entries; coils, contacts, samples and all images with --json",
        record.entries.len()
    )
}

fn header_sheet(record: &RunRecord, zone: &TimeZone) -> Sheet {
    let run = &record.summary;
    let mut sheet = pairs();
    let mut line = |name: &str, words: String| sheet.row([name.to_owned(), words]);
    line("title", run.title.clone());
    line("outcome", outcome_words(run));
    line("where", kind_words(run.kind, record.seed));
    line("began", wall(run.started_at, zone, "%Y-%m-%d %H:%M:%S %Z"));
    if let Some(ended) = run.ended_at {
        line("ended", wall(ended, zone, "%Y-%m-%d %H:%M:%S %Z"));
    }
    line("took", whole_seconds(run.lasted));
    line("passes", passes_words(run));
    line("recipe", record.recipe.name.clone());
    line("rig", record.rig.name.clone());
    line("software", record.software.clone());
    for (name, words) in &record.particulars {
        line(name, words.clone());
    }
    if let Some(span) = coat_span(&record.entries) {
        line("coat", span_words(span));
    }
    sheet
}

fn outcome_words(run: &RunSummary) -> String {
    match (run.outcome, &run.first_cause) {
        (Outcome::Open, _) => "open: it is being written".to_owned(),
        (Outcome::Interrupted, _) => {
            "interrupted: the program died before it said how the run ended".to_owned()
        }
        (outcome, Some(cause)) => format!("{}: {cause}", outcome.word()),
        (outcome, None) => outcome.word().to_owned(),
    }
}

fn kind_words(kind: RunKind, seed: Option<u64>) -> String {
    let place = match kind {
        RunKind::Rehearsed => "rehearsed on the twin, in virtual time",
        RunKind::Twin => "on the twin",
        RunKind::Machine => "on the machine",
    };
    seed.map_or_else(|| place.to_owned(), |seed| format!("{place}, seed {seed}"))
}

/// The states in their order, with how long each lasted.
pub(in crate::cli) fn course_sheet(entries: &[Entry], clock: Clock) -> Sheet {
    let mut sheet = Sheet::new(
        2,
        &[
            ("at", Layout::Figure),
            ("for", Layout::Figure),
            ("state", Layout::Prose),
            ("because", Layout::Prose),
        ],
    );
    let states = course(entries);
    let last = entries.last().map(|entry| entry.at);
    let ends = states.iter().skip(1).map(|next| Some(next.at)).chain([last]);
    for (state, end) in states.iter().zip(ends) {
        let lasted = end.map(|end| span_of_time(end - state.at));
        sheet.row([
            clock.read(state.at),
            or_nothing(lasted),
            state.text.clone(),
            state.cause.clone(),
        ]);
    }
    sheet
}

/// The passes in their order.
pub(in crate::cli) fn passes_sheet(passes: &[PassRow], clock: Clock) -> Sheet {
    let mut sheet = Sheet::new(
        2,
        &[
            ("pass", Layout::Figure),
            ("zone", Layout::Prose),
            ("began", Layout::Figure),
            ("took", Layout::Figure),
            ("from - to mm", Layout::Figure),
            ("on: plan, done", Layout::Figure),
            ("off: plan, done", Layout::Figure),
            ("part degC", Layout::Figure),
        ],
    );
    for pass in passes {
        sheet.row([
            pass.of.map_or_else(|| pass.pass.to_string(), |of| format!("{}/{of}", pass.pass)),
            or_nothing(pass.zone.clone()),
            clock.read(pass.began),
            pass.ended
                .map_or_else(|| "unfinished".to_owned(), |ended| span_of_time(ended - pass.began)),
            format!("{} - {}", place(pass.from, 0), place(pass.to, 0)),
            edges_words(&pass.edges, EdgeKind::On),
            edges_words(&pass.edges, EdgeKind::Off),
            or_nothing(
                pass.part
                    .map(|span| format!("{:.0} - {:.0}", span.low.celsius(), span.high.celsius())),
            ),
        ]);
    }
    sheet
}

/// One line for each edge of that kind.
fn edges_words(edges: &[PowderFact], kind: EdgeKind) -> String {
    let words: Vec<String> = edges
        .iter()
        .filter(|edge| edge.edge == kind)
        .map(|edge| format!("{}, {}", place(edge.planned, 1), place(edge.done, 1)))
        .collect();
    if words.is_empty() { NOTHING.to_owned() } else { words.join("\n") }
}

fn place(position: Option<Length>, decimals: usize) -> String {
    or_nothing(position.map(|position| format!("{:.decimals$}", position.mm())))
}

/// What was told of some kinds.
pub(in crate::cli) fn told_sheet(entries: &[Entry], clock: Clock, kinds: &[EntryKind]) -> Sheet {
    let columns = [("at", Layout::Figure), ("what", Layout::Prose), ("why", Layout::Prose)];
    let mut sheet = Sheet::new(2, &columns);
    // A prompt that goes is told by its answer.
    let goes = |entry: &Entry| entry.data.get("mark").is_some_and(|mark| mark == "gone");
    for entry in entries.iter().filter(|entry| kinds.contains(&entry.kind) && !goes(entry)) {
        sheet.row([clock.read(entry.at), entry.text.clone(), entry.cause.clone()]);
    }
    sheet
}

fn totals_sheet(record: &RunRecord) -> Sheet {
    let mut sheet = pairs();
    if let Value::Object(totals) = &record.totals {
        for (name, value) in totals {
            sheet.row([name.replace('_', " "), total_in_words(value)]);
        }
    }
    sheet
}

fn deviations_sheet(deviations: &[Deviation], clock: Clock) -> Sheet {
    let columns = [
        ("at", Layout::Figure),
        ("what", Layout::Prose),
        ("from", Layout::Prose),
        ("to", Layout::Prose),
        ("by", Layout::Prose),
        ("why", Layout::Prose),
    ];
    let mut sheet = Sheet::new(2, &columns);
    let told = |words: &str| or_nothing((!words.is_empty()).then(|| words.to_owned()));
    for deviation in deviations {
        sheet.row([
            or_nothing(deviation.at.map(|at| clock.read(at))),
            deviation.what.clone(),
            or_nothing(deviation.from.clone()),
            or_nothing(deviation.to.clone()),
            or_nothing(deviation.person.clone()),
            told(&deviation.reason),
        ]);
    }
    sheet
}

fn gaps_sheet(gaps: &[Gap]) -> Sheet {
    let columns = [("from", Layout::Figure), ("to", Layout::Figure), ("count", Layout::Figure)];
    let mut sheet = Sheet::new(2, &columns);
    for gap in gaps {
        sheet.row([gap.first.to_string(), gap.last.to_string(), gap.count().to_string()]);
    }
    sheet
}
