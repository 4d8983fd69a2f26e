//! What the part is and what it was made by: the first sheet, and what is said of the record
//! itself at the end.

use evenpass_core::plan::forecast::{clock, counted};
use maud::{Markup, html};
use serde::Deserialize;

use super::Report;
use super::reader::{NOTHING, Reader, pairs, range};
use crate::particulars::{BLASTED_AT, LOT_OF};
use crate::record::{Inspected, MarkRecord, Open, Outcome, RunKind, Said, Verdict, Wanted};

/// What a report reads of a recipe's text.
#[derive(Debug, Default, Deserialize)]
struct RecipeHead {
    revision: Option<u32>,
    note: Option<String>,
    #[serde(default)]
    part: PartHead,
}

#[derive(Debug, Default, Deserialize)]
struct PartHead {
    name: Option<String>,
    substrate: Option<String>,
}

/// How it came out, in a word with its sign.
fn outcome(report: &Report, reader: &Reader) -> Markup {
    let run = &report.record.summary;
    let words = match run.outcome {
        Outcome::Open => "open: it is being written".to_owned(),
        Outcome::Interrupted => {
            "interrupted: the program died before it said how the run ended".to_owned()
        }
        outcome => outcome.word().to_owned(),
    };
    html! {
        strong { (words) }
        @if let Some(cause) = &run.first_cause { ": " (reader.text(cause)) }
    }
}

/// What was decided of the part, and what came against it since.
fn decision(report: &Report, reader: &Reader) -> Option<Markup> {
    let inspected = Inspected::of(&report.marks);
    let kept = inspected.decision()?;
    let Said::Decided { verdict, reason } = &kept.mark.said else { return None };
    let (sign, word) = match verdict {
        Verdict::Pass => ("\u{2713}", "Pass"),
        Verdict::Hold => ("\u{25b2}", "Hold"),
        Verdict::Scrap => ("\u{2715}", "Scrap"),
    };
    let open = inspected.since_open(&Wanted::of(&report.record));
    // A sign of its own: nobody may read a pass that stands no more as one that does.
    let sign = if open.is_empty() { sign } else { "\u{25b2}" };
    Some(html! {
        strong { (sign) " " (word) }
        @if !reason.is_empty() { ": " (reason) }
        "; " (kept.mark.person) ", " (reader.wall(kept.mark.at, "%Y-%m-%d %H:%M"))
        @for one in &open { p { strong { "Since then open" } ": " (told_open(one, reader)) } }
    })
}

/// What stands against a pass. A hold point is in somebody's own words.
fn told_open(open: &Open, reader: &Reader) -> String {
    match open {
        Open::Limit(_) => reader.text(&open.to_string()).into_owned(),
        Open::HoldPoint { .. } | Open::NotCompleted { .. } | Open::Stripped => open.to_string(),
    }
}

/// The title, and how it came out.
pub(super) fn top(report: &Report, reader: &Reader) -> Markup {
    let run = &report.record.summary;
    let earlier: Vec<&str> =
        report.before.iter().map(|earlier| earlier.record.summary.id.as_str()).collect();
    let place = match run.kind {
        RunKind::Machine => "on the machine",
        RunKind::Twin => "on the twin: no real part was made",
        RunKind::Rehearsed => "rehearsed on the twin: no real part was made",
    };
    html! {
        header {
            p.kind { "Record of a coated part" }
            h1 { (run.title) }
            p { "Run " (run.id) ", " (place) }
            @if !earlier.is_empty() {
                p { "It goes on with the part of run " (earlier.join(" and run "))
                    ". What was done to the part there is told at the end, run by run; what was decided
                    and measured of it here is of the whole part." }
            }
            @if let Some(next) = &report.taken_up_by {
                p { "Run " (next) " went on with its part: what became of the part stands there." }
            }
        }
        section.outcome {
            dl.pairs {
                div { dt { "Decision" } dd {
                    @match decision(report, reader) {
                        Some(told) => (told),
                        None => "nobody has decided of this part",
                    }
                } }
            }
            (facts(report, reader))
        }
    }
}

/// How a run came out, how far it came and when it was.
pub(super) fn facts(report: &Report, reader: &Reader) -> Markup {
    let run = &report.record.summary;
    let passes = match run.passes_planned {
        Some(planned) => format!("{} of {planned} done", run.passes_done),
        None => counted(usize::try_from(run.passes_done).unwrap_or_default(), "pass"),
    };
    html! {
        dl.pairs {
            div { dt { "Outcome" } dd { (outcome(report, reader)) } }
            div { dt { "Passes" } dd { (passes) } }
            div { dt { "Began" } dd { (reader.wall(run.started_at, "%Y-%m-%d %H:%M:%S %Z")) } }
            div { dt { "Ended" } dd { @match run.ended_at {
                Some(ended) => (reader.wall(ended, "%Y-%m-%d %H:%M:%S %Z")),
                None => (NOTHING),
            } } }
            div { dt { "Took" } dd { (clock(run.lasted)) " by the controller's clock" } }
        }
        (pruned(report, reader))
    }
}

/// That the entries of a run are elsewhere.
fn pruned(report: &Report, reader: &Reader) -> Markup {
    html! {
        @if let Some(pruned) = &report.record.pruned {
            p { strong { "The entries of this run are not in these records any more" } ": "
                (pruned.entries) " were put into the file " (pruned.file) " by " (pruned.person) " on "
                (reader.wall(pruned.at, "%Y-%m-%d")) ", SHA-256 " (pruned.digest)
                ". What happened pass by pass is told there." }
        }
    }
}

/// The part, its recipe, the machine, powder and gases.
pub(super) fn part(report: &Report, reader: &Reader) -> Markup {
    let record = &report.record;
    let recipe: RecipeHead = toml::from_str(&record.recipe.text).unwrap_or_default();
    let or_nothing = |words: Option<String>| words.unwrap_or_else(|| NOTHING.to_owned());
    let substrate = recipe.part.substrate.map(|word| word.replace('_', " "));
    let mut part =
        vec![("Part", or_nothing(recipe.part.name)), ("Substrate", or_nothing(substrate))];
    part.extend(recipe.note.map(|note| ("Note", note)));
    let particulars = record.particulars.iter();
    part.extend(particulars.map(|(name, words)| (name.as_str(), words.clone())));
    let added = Inspected::of(&report.marks).particulars();
    part.extend(added.into_iter().map(|(name, words)| (name, words.to_owned())));
    let revision =
        recipe.revision.map_or_else(String::new, |number| format!(", revision {number}"));
    html! {
        section {
            h2 { "Part and recipe" }
            (pairs(&part))
            (pairs(&[
                ("Recipe", format!("{}{revision}", record.recipe.name)),
                ("its SHA-256", record.recipe.sha256()),
                ("Rig", format!("{} ({})", report.rig_title(), record.rig.name)),
                ("its SHA-256", record.rig.sha256()),
                ("Software", match record.seed {
                    Some(seed) => format!("{}, seed of the twin {seed}", record.software),
                    None => record.software.clone(),
                }),
            ]))
        }
        (powder_and_gases(report, reader))
    }
}

/// What was sprayed and burned, and of which lots.
pub(super) fn powder_and_gases(report: &Report, reader: &Reader) -> Markup {
    html! {
        section {
            h2 { "Powder and gases" }
            (materials(report, reader))
        }
    }
}

fn materials(report: &Report, reader: &Reader) -> Markup {
    let planned = &report.planned;
    let fed = report.record.totals.get("powder").and_then(|fed| fed.as_str());
    html! {
        table {
            thead { tr { th { "Material" } th { "Lot, certificate" } th { "Planned" } th { "Used" } } }
            tbody {
                @for powder in &planned.powders {
                    tr {
                        td { (powder.title) " " small { (powder.key) } }
                        td { (lot(report, &powder.key)) }
                        td { (format!("{:.1}", powder.fed)) }
                        td { @match fed {
                            Some(fed) if planned.powders.len() == 1 => (reader.text(fed)),
                            _ => (NOTHING),
                        } }
                    }
                }
                @for gas in &planned.gases {
                    tr {
                        td { (gas.fuel_gas) " and oxygen " small { (gas.torch) } }
                        td { (lot(report, &gas.fuel_gas)) "; oxygen: " (lot(report, "oxygen")) }
                        td { (format!("{:.0}", gas.fuel)) " and " (format!("{:.0}", gas.oxygen))
                            " in " (clock(gas.burning)) }
                        td { "not measured" }
                    }
                }
            }
        }
    }
}

/// The lot of a powder or a gas that was in use when the run began.
fn lot(report: &Report, of_what: &str) -> String {
    let began = report.record.summary.started_at;
    let counts = report.rig_marks.iter().rev();
    let mut counts = counts.filter(|kept| kept.taken_back_by.is_none() && kept.mark.at <= began);
    let found = counts.find_map(|kept| match &kept.mark.said {
        Said::Lot { of, lot, certificate, .. } if of.eq_ignore_ascii_case(of_what) => {
            Some(match certificate {
                Some(certificate) => format!("{lot}, {certificate}"),
                None => lot.clone(),
            })
        }
        _ => None,
    });
    let said = || report.record.particulars.get(&format!("{LOT_OF}{of_what}")).cloned();
    found.or_else(said).unwrap_or_else(|| "no lot was given".to_owned())
}

/// Whether something was told of a batch's parts, and this one is among them.
fn is_of_part(report: &Report, kept: &MarkRecord) -> bool {
    match (&kept.mark.said, &report.part_of) {
        (Said::Blasted { parts, .. }, Some((batch, part))) => {
            kept.mark.batch.as_ref() == Some(batch) && parts.contains(&part.number)
        }
        _ => false,
    }
}

/// Blasting and preheating.
pub(super) fn set_up(report: &Report, reader: &Reader) -> Markup {
    let degrees = reader.units.of_temperatures();
    let mut lines = Vec::new();
    if let Some(within) = report.planned.blasted_within {
        lines.push((
            "Sprayed within",
            format!("{} of blasting, as the recipe wants", clock(within)),
        ));
    }
    let began = report.record.summary.started_at;
    let of_its_batch = report.rig_marks.iter().filter(|kept| is_of_part(report, kept));
    let counts = report.marks.iter().chain(of_its_batch);
    let counts = counts.filter(|kept| kept.taken_back_by.is_none());
    let blasted = counts.filter_map(|kept| match kept.mark.said {
        Said::Blasted { ended, .. } if kept.mark.at <= began => Some((kept, ended)),
        _ => None,
    });
    let before = blasted.max_by_key(|(_, ended)| *ended);
    // Who made the part said so at its start.
    let said = report.record.particulars.get(BLASTED_AT).and_then(|at| at.parse().ok());
    let until = |ended| format!("until {}", reader.wall(ended, "%Y-%m-%d %H:%M"));
    lines.push((
        "Blasted",
        match (before, said) {
            (Some((kept, ended)), _) => format!("{}; {}", until(ended), kept.mark.person),
            (None, Some(ended)) => until(ended),
            (None, None) => "no time was given before the start".to_owned(),
        },
    ));
    let entries = &report.record.entries;
    let again = entries.iter().filter(|entry| {
        entry.data.get("request").is_some_and(|asked| asked == "blasted_now")
            && entry.data.get("answer").is_none_or(|answer| answer == "accepted")
    });
    for entry in again {
        lines.push(("Blasted anew", reader.at(entry.at)));
    }
    for step in &report.planned.preheats {
        lines.push((
            "Preheat",
            format!(
                "to {}, window {}, soak {}",
                degrees.shown(step.aim),
                range(degrees, step.window),
                clock(step.soak)
            ),
        ));
    }
    let heated = report.stay(&["Traversing", "PreheatTurning", "Soaking"]);
    if let Some((from, to)) = heated {
        let told =
            |at| report.part_at(at).map_or_else(|| NOTHING.to_owned(), |part| degrees.shown(part));
        lines.push((
            "Preheated",
            format!(
                "{} to {}, from {} to {}",
                reader.at(from),
                reader.at(to),
                told(from),
                told(to)
            ),
        ));
    }
    html! {
        section {
            h2 { "Set-up" }
            (pairs(&lines))
        }
    }
}

/// Whether the record is whole, and what vouches for it.
pub(super) fn whole(report: &Report, reader: &Reader) -> Markup {
    let record = &report.record;
    let kept = counted(record.entries.len(), "entry").replace("entrys", "entries");
    html! {
        section.whole {
            h2 { "The record itself" }
            (pairs(&[
                ("Entries", kept),
                ("Lost", match record.lost {
                    Some(0) => "none".to_owned(),
                    Some(lost) => format!("{lost} were made and could not be kept"),
                    None => "not known: the run was never ended".to_owned(),
                }),
                ("Seal", match &report.seal {
                    Some(seal) => seal.seal.clone().unwrap_or_else(|| "none: the run is not ended".to_owned()),
                    None => "none: this run is in no chain".to_owned(),
                }),
            ]))
            @if let Some(seal) = &report.seal {
                p.small { "Chained since " (seal.since) ". The seal is a SHA-256 digest of this run as it
                    was at its end: what it was begun with, its entries and how it ended; and of what each
                    run before it was begun with. "
                    code { "evenpass records verify " (record.summary.id) " --seal SEAL" }
                    " finds any of that which was changed, removed or put in since. What people added to
                    the run later, the decision too, is not in the seal: "
                    code { "evenpass records verify" } " looks whether that was changed." }
            }
            @if !record.gaps.is_empty() {
                p { strong { "Entries are missing" } " by these numbers: "
                    @for (index, gap) in record.gaps.iter().enumerate() {
                        @if index > 0 { ", " }
                        (gap.first) " to " (gap.last)
                    }
                    ". What happened then is not in this report." }
            }
            p.small { (reader.times_are()) }
        }
    }
}

/// What a reader has to know of the figures.
pub(super) fn notes(report: &Report) -> Markup {
    html! {
        section.whole {
            h2 { "How to read it" }
            ul.small {
                li { "Minimum, mean and maximum are of samples, twice a second. Thicknesses are radial." }
                li { "A coat that is called estimated was not measured: it is the plan's coat, corrected by the
                    feed that was measured in each pass and by where powder came and ceased." }
                li { "Powder of a pass is what the hopper lost; a balance of 1 g makes it rough." }
                @if report.record.summary.kind == RunKind::Machine {
                    li { "Interlocks told of here are software, and no safety-rated circuit: emergency stop, gas
                        shut-off, guard and hard limits are wired and act without it." }
                } @else {
                    li { "Everything measured here was measured on a twin of the machine." }
                }
            }
        }
    }
}
