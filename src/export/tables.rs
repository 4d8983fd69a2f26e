//! The tables of a run, by the library for CSV.

use std::io::Write;

use csv::{Result, Terminator, Writer, WriterBuilder};
use evenpass_core::learn::{Finish, Measured};
use evenpass_core::ledger::EntryKind;
use evenpass_core::quantity::{
    Length, Mass, Pressure, Quantity, Speed, SpindleSpeed, Temperature, fixed,
};

use crate::record::Said;
use crate::record::facts::EdgeKind;
use crate::record::figures::{self, PassFigures, Spread};
use crate::report::Report;

fn table<W: Write>(to: W) -> Writer<W> {
    WriterBuilder::new().terminator(Terminator::CRLF).from_writer(to)
}

/// A figure in its base unit, with no more digits than a float needs; empty where there is none.
fn told<Q: Quantity>(value: Option<Q>) -> String {
    value.map_or_else(String::new, |value| value.base().to_string())
}

/// Words from outside: what a spreadsheet would take for a formula has an apostrophe before it.
fn words(text: &str) -> String {
    let is_formula = text.starts_with(['=', '+', '-', '@', '\t', '\r']);
    if is_formula { format!("'{text}") } else { text.to_owned() }
}

/// The part, and by what it was made: what was said at its start, then what was added since.
pub(super) fn part<W: Write>(report: &Report, to: W) -> Result<()> {
    let mut table = table(to);
    table.write_record(["name", "words", "added by"])?;
    let record = &report.record;
    let run = &record.summary;
    let ended = run.ended_at.map_or_else(String::new, |at| at.to_string());
    let own = [
        ("run", run.id.to_string()),
        ("title", run.title.clone()),
        ("where", run.kind.word().to_owned()),
        ("outcome", run.outcome.word().to_owned()),
        ("began", run.started_at.to_string()),
        ("ended", ended),
        ("recipe", record.recipe.name.clone()),
        ("recipe, SHA-256", record.recipe.sha256()),
        ("rig", record.rig.name.clone()),
        ("rig, SHA-256", record.rig.sha256()),
        ("software", record.software.clone()),
    ];
    for (name, told) in own {
        table.write_record([name, &words(&told), ""])?;
    }
    for (name, told) in &record.particulars {
        table.write_record([words(name), words(told), String::new()])?;
    }
    for kept in report.marks.iter().filter(|kept| kept.taken_back_by.is_none()) {
        if let Said::Particular { name, words: told } = &kept.mark.said {
            table.write_record([words(name), words(told), words(&kept.mark.person)])?;
        }
    }
    Ok(table.flush()?)
}

/// What was sampled.
pub(super) fn samples<W: Write>(report: &Report, to: W) -> Result<()> {
    let mut table = table(to);
    table.write_record([
        "time, s",
        "z, mm",
        "feed, mm/s",
        "spindle, rpm",
        "part, degC",
        "coat, degC",
        "fuel, bar",
        "oxygen, bar",
        "carrier, bar",
        "hopper, g",
    ])?;
    let begun = report.record.entries.first().map(|entry| entry.at).unwrap_or_default();
    for (at, one) in figures::samples(&report.record.entries) {
        table.write_record([
            fixed(at.since(begun).as_secs_f64(), 6),
            told::<Length>(one.z),
            told::<Speed>(one.feed),
            told::<SpindleSpeed>(one.spindle),
            told::<Temperature>(one.part),
            told(one.coat),
            told::<Pressure>(one.fuel),
            told(one.oxygen),
            told(one.carrier),
            told::<Mass>(one.hopper),
        ])?;
    }
    Ok(table.flush()?)
}

/// Least, mean and greatest.
fn three<Q: Quantity>(spread: Option<Spread<Q>>) -> [String; 3] {
    let of = |of: fn(Spread<Q>) -> Q| told(spread.map(of));
    [of(|spread| spread.low), of(|spread| spread.mean), of(|spread| spread.high)]
}

/// The places of the powder edges of a kind, planned and done, of a pass broken off and taken up
/// the first.
fn edge(pass: &PassFigures, kind: EdgeKind) -> [String; 2] {
    let found = pass.row.edges.iter().find(|edge| edge.edge == kind);
    [told(found.and_then(|edge| edge.planned)), told(found.and_then(|edge| edge.done))]
}

/// The passes.
pub(super) fn passes<W: Write>(report: &Report, to: W) -> Result<()> {
    let mut table = table(to);
    let mut heads: Vec<String> = [
        "zone",
        "pass",
        "of",
        "began, s",
        "ended, s",
        "from, mm",
        "to, mm",
        "spindle set, rpm",
        "feed set, mm/s",
        "powder on set, mm",
        "powder on, mm",
        "powder off set, mm",
        "powder off, mm",
        "powder, g",
        "part lowest, degC",
        "part highest, degC",
    ]
    .map(str::to_owned)
    .into();
    let measured = [
        ("spindle", "rpm"),
        ("feed", "mm/s"),
        ("fuel", "bar"),
        ("oxygen", "bar"),
        ("carrier", "bar"),
    ];
    for (name, unit) in measured {
        heads.extend(["lowest", "mean", "highest"].map(|which| format!("{name} {which}, {unit}")));
    }
    heads.push("alarms".to_owned());
    table.write_record(&heads)?;
    let begun = report.record.entries.first().map(|entry| entry.at).unwrap_or_default();
    for pass in &report.passes {
        let row = &pass.row;
        let zone = row.zone.as_deref().and_then(|name| report.planned.zone(name));
        let feed = zone.and_then(|zone| zone.pass(row.pass)?.mean_feed(zone.step.edges));
        let mut cells = vec![
            words(row.zone.as_deref().unwrap_or_default()),
            row.pass.to_string(),
            row.of.map_or_else(String::new, |of| of.to_string()),
            fixed(row.began.since(begun).as_secs_f64(), 6),
            row.ended.map_or_else(String::new, |at| fixed(at.since(begun).as_secs_f64(), 6)),
            told(row.from),
            told(row.to),
            told(zone.map(|zone| zone.step.spindle)),
            told(feed),
        ];
        cells.extend(edge(pass, EdgeKind::On));
        cells.extend(edge(pass, EdgeKind::Off));
        cells.push(told(pass.powder));
        cells.extend([told(row.part.map(|part| part.low)), told(row.part.map(|part| part.high))]);
        cells.extend(three(pass.spindle));
        cells.extend(three(pass.feed));
        for pressure in [pass.fuel, pass.oxygen, pass.carrier] {
            cells.extend(three(pressure));
        }
        cells.push(words(&pass.alarms.join("; ")));
        table.write_record(&cells)?;
    }
    Ok(table.flush()?)
}

/// Every entry.
pub(super) fn entries<W: Write>(report: &Report, to: W) -> Result<()> {
    let mut table = table(to);
    table.write_record(["number", "at, us", "kind", "text", "cause", "data"])?;
    for entry in &report.record.entries {
        table.write_record([
            entry.number.to_string(),
            entry.at.as_micros().to_string(),
            kind(entry.kind),
            words(&entry.text),
            words(&entry.cause),
            entry.data.to_string(),
        ])?;
    }
    Ok(table.flush()?)
}

/// The word an entry's kind is stored by.
fn kind(kind: EntryKind) -> String {
    let word = serde_json::to_value(kind).ok();
    word.and_then(|word| word.as_str().map(str::to_owned)).unwrap_or_default()
}

/// Diameters that were measured.
pub(super) fn measurements<W: Write>(report: &Report, to: W) -> Result<()> {
    let mut table = table(to);
    table.write_record([
        "measurement",
        "measured on",
        "person",
        "coat was",
        "part, degC",
        "z, mm",
        "diameter before, mm",
        "diameter, mm",
        "one standard deviation, mm",
        "withdrawn",
    ])?;
    for kept in &report.measured {
        let one = &kept.measurement;
        let Measured::Part(part) = &one.measured else { continue };
        let finish = match part.finish {
            Finish::AsSprayed => "as sprayed",
            Finish::Fused => "fused",
        };
        let withdrawn = kept
            .withdrawn
            .as_ref()
            .map_or_else(String::new, |by| words(&format!("{}: {}", by.person, by.reason)));
        for reading in &part.diameters {
            table.write_record([
                kept.number.to_string(),
                one.measured_on.to_string(),
                words(&one.person),
                finish.to_owned(),
                told(part.temperature),
                told(Some(reading.at)),
                told(reading.before),
                told(Some(reading.found)),
                told(Some(part.micrometer)),
                words(&withdrawn),
            ])?;
        }
    }
    Ok(table.flush()?)
}

/// What people added.
pub(super) fn marks<W: Write>(report: &Report, to: W) -> Result<()> {
    let mut table = table(to);
    table.write_record(["mark", "at", "person", "what", "data", "taken back by"])?;
    for kept in &report.marks {
        table.write_record([
            kept.number.to_string(),
            kept.mark.at.to_string(),
            words(&kept.mark.person),
            kept.mark.said.word().to_owned(),
            serde_json::to_string(&kept.mark.said).unwrap_or_default(),
            kept.taken_back_by.map_or_else(String::new, |by| by.to_string()),
        ])?;
    }
    Ok(table.flush()?)
}
