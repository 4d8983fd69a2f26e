//! What people added to a run, for `records show`.

use std::io::{self, Write};

use evenpass_core::inspection::Judged;
use jiff::tz::TimeZone;
use serde::Serialize;

use super::{or_nothing, section, wall};
use crate::cli::sheet::{Layout, Sheet};
use crate::record::{Inspected, MarkRecord, MeasurementRecord, Open, RunRecord, Said, Wanted};

/// A run with everything that was measured of its part and added to it, for programs.
#[derive(Serialize)]
pub(super) struct Whole<'a> {
    #[serde(flatten)]
    run: &'a RunRecord,
    measured: &'a [MeasurementRecord],
    marks: &'a [MarkRecord],
    /// The number of the decision that counts.
    decision: Option<i64>,
    limits: Vec<Judged>,
    /// What stands between the part and a pass for which no reason is given.
    open: Vec<Open>,
    /// What came against the pass that counts after it was given.
    since_open: Vec<Open>,
}

impl<'a> Whole<'a> {
    pub(super) fn of(
        run: &'a RunRecord,
        measured: &'a [MeasurementRecord],
        marks: &'a [MarkRecord],
    ) -> Self {
        let inspected = Inspected::of(marks);
        let wanted = Wanted::of(run);
        Self {
            run,
            measured,
            marks,
            decision: inspected.decision().map(|kept| kept.number),
            limits: inspected.judged(wanted.limits.as_ref()),
            open: inspected.open(&wanted, ""),
            since_open: inspected.since_open(&wanted),
        }
    }
}

/// Prints the decision, the limits and everything that was added.
pub(super) fn print(
    run: &RunRecord,
    marks: &[MarkRecord],
    zone: &TimeZone,
    to: &mut impl Write,
) -> io::Result<()> {
    let inspected = Inspected::of(marks);
    let wanted = Wanted::of(run);
    section("Limits", &limits_sheet(&inspected.judged(wanted.limits.as_ref())), to)?;
    section("Added", &marks_sheet(run, marks, zone), to)?;
    if let Some(Said::Decided { verdict, .. }) = inspected.decision().map(|kept| &kept.mark.said) {
        writeln!(to, "\nDecided: {}", verdict.word())?;
    }
    for open in inspected.since_open(&wanted) {
        writeln!(to, "since then open: {}", crate::cli::say::one_line(&open.to_string()))?;
    }
    Ok(())
}

/// Limits with what was found.
pub(super) fn limits_sheet(judged: &[Judged]) -> Sheet {
    let mut sheet = Sheet::new(
        2,
        &[
            ("", Layout::Word),
            ("limits", Layout::Word),
            ("found", Layout::Word),
            ("", Layout::Prose),
        ],
    );
    for one in judged {
        sheet.row([
            one.limit.title().to_owned(),
            one.limits.clone(),
            or_nothing(one.found.clone()),
            one.told(),
        ]);
    }
    sheet
}

fn marks_sheet(run: &RunRecord, marks: &[MarkRecord], zone: &TimeZone) -> Sheet {
    let mut sheet = Sheet::new(
        2,
        &[
            ("no", Layout::Figure),
            ("at", Layout::Word),
            ("by", Layout::Prose),
            ("what", Layout::Prose),
        ],
    );
    for kept in marks {
        let mut words = kept.mark.said.to_string();
        if let Some(earlier) = kept.mark.run.as_ref().filter(|of| **of != run.summary.id) {
            words = format!("{words} (to run {earlier})");
        }
        if let Some(by) = kept.taken_back_by {
            words = format!("{words} (taken back by number {by})");
        }
        sheet.row([
            kept.number.to_string(),
            wall(kept.mark.at, zone, "%Y-%m-%d %H:%M"),
            kept.mark.person.clone(),
            words,
        ]);
    }
    sheet
}
