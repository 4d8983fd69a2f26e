//! How near a job came to its limits: read from what was written down of it.

use evenpass_core::ledger::Entry;
use evenpass_core::plan::Plan;
use evenpass_core::program::Step;
use evenpass_core::quantity::{Length, Temperature};
use serde::Serialize;

use crate::record::facts::{Span, coat_span_in, passes};

/// One figure beside its limits.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Margin {
    /// What it is.
    pub what: String,
    /// What was found.
    pub found: String,
    /// What is accepted.
    pub accepted: String,
    /// How much is left, in the unit of the figure; negative where a limit was passed.
    pub left: String,
    /// Whether the limit was passed.
    #[serde(skip)]
    pub passed: bool,
}

/// The limit that a job passed, and how far it went; the first of them.
#[must_use]
pub fn passed(margins: &[Margin]) -> Option<String> {
    let passed = margins.iter().find(|margin| margin.passed)?;
    Some(format!("{} {}, expected {}", passed.what, passed.found, passed.accepted))
}

/// The margins of a job.
#[must_use]
pub fn margins(plan: &Plan, entries: &[Entry]) -> Vec<Margin> {
    let mut found = Vec::new();
    let rows = passes(entries);
    for (index, step) in plan.program.steps.iter().enumerate() {
        match step {
            Step::Spray(step) => {
                let spans = rows
                    .iter()
                    .filter(|row| row.zone.as_deref() == Some(step.zone.as_str()))
                    .filter_map(|row| row.part);
                if let Some(span) = spans.reduce(wider) {
                    found.push(between(
                        format!("part while spraying \"{}\"", step.zone),
                        span,
                        step.window.low,
                        step.window.high,
                    ));
                }
            }
            Step::Fuse(step) => {
                if let Some(span) = coat_span_in(entries, index + 1) {
                    found.push(below(
                        format!("coat while fusing \"{}\"", step.zone),
                        span.high,
                        step.ceiling,
                    ));
                }
            }
            Step::Preheat(_) | Step::ChangeTorch(_) | Step::Cool(_) => {}
        }
    }
    let worst = rows
        .iter()
        .flat_map(|row| &row.edges)
        .filter_map(|edge| Some((edge.done? - edge.planned?).abs()))
        .reduce(Length::max);
    if let Some(worst) = worst {
        found.push(Margin {
            what: "powder edges, worst |done - planned|".to_owned(),
            found: format!("{worst:.3}"),
            accepted: "-".to_owned(),
            left: "-".to_owned(),
            passed: false,
        });
    }
    found
}

fn wider(one: Span, other: Span) -> Span {
    Span { low: one.low.min(other.low), high: one.high.max(other.high) }
}

fn between(what: String, span: Span, low: Temperature, high: Temperature) -> Margin {
    let left = (span.low - low).min(high - span.high);
    Margin {
        what,
        found: format!("{:.0} to {:.0}", span.low, span.high),
        accepted: format!("{low:.0} to {high:.0}"),
        left: format!("{:.0} K", left.celsius()),
        passed: left < Temperature::from_celsius(0.0),
    }
}

fn below(what: String, found: Temperature, ceiling: Temperature) -> Margin {
    Margin {
        what,
        found: format!("up to {found:.0}"),
        accepted: format!("up to {ceiling:.0}"),
        left: format!("{:.0} K", (ceiling - found).celsius()),
        passed: found > ceiling,
    }
}
