//! How a report tells figures and times to whoever reads it.

use std::borrow::Cow;

use evenpass_core::moment::Moment;
use evenpass_core::plan::forecast::clock;
use evenpass_core::quantity::{Quantity, Range, Time};
use jiff::tz::TimeZone;
use jiff::{SignedDuration, Timestamp};
use maud::{Markup, html};

use super::{Look, Report};
use crate::people::{Scale, Units};
use crate::record::RunKind;
use crate::record::figures::Spread;

/// What stands where nothing is known.
pub(super) const NOTHING: &str = "\u{2013}";

/// A reader's units and clock, for one run.
pub(super) struct Reader {
    pub(super) units: Units,
    zone: TimeZone,
    zero: Moment,
    /// When the run's time line began by the wall clock; `None` where it does not go with it.
    wall: Option<Timestamp>,
}

impl Reader {
    pub(super) fn of(report: &Report, look: &Look) -> Self {
        let record = &report.record;
        let zero = record.entries.first().map_or(Moment::START, |entry| entry.at);
        // A twin may run faster than life, and a rehearsal always does.
        let lives = record.summary.kind == RunKind::Machine;
        let wall = lives.then_some(record.summary.started_at);
        Self { units: look.units, zone: look.zone.clone(), zero, wall }
    }

    /// What its times are counted from, in words.
    pub(super) fn times_are(&self) -> String {
        match self.wall {
            Some(began) => format!("Times are by the wall clock, {}.", self.wall(began, "%Z")),
            None => "Times are counted from the beginning of the run.".to_owned(),
        }
    }

    /// A time of the run.
    pub(super) fn at(&self, at: Moment) -> String {
        let since = at.since(self.zero);
        let wall = self.wall.and_then(|began| {
            let since = SignedDuration::try_from(since).ok()?;
            began.checked_add(since).ok()
        });
        wall.map_or_else(
            || {
                let seconds = since.as_secs();
                format!("{}:{:02}:{:02}", seconds / 3600, seconds / 60 % 60, seconds % 60)
            },
            |at| self.wall(at, "%H:%M:%S"),
        )
    }

    /// Seconds since the run began, for a chart.
    pub(super) fn seconds(&self, at: Moment) -> f64 {
        at.since(self.zero).as_secs_f64()
    }

    /// How long something lasted.
    pub(super) fn lasted(&self, from: Moment, to: Moment) -> String {
        clock(Time::from_duration(to.since(from)))
    }

    /// A time of the wall clock.
    pub(super) fn wall(&self, at: Timestamp, form: &str) -> String {
        at.to_zoned_datetime(self.zone.clone()).strftime(form).to_string()
    }

    /// A text of the core in the reader's units.
    pub(super) fn text<'a>(&self, text: &'a str) -> Cow<'a, str> {
        self.units.restate(text)
    }
}

/// A figure, or the mark that there is none.
pub(super) fn figure<Q: Quantity>(scale: Scale, value: Option<Q>) -> String {
    value.map_or_else(|| NOTHING.to_owned(), |value| scale.figure(value))
}

/// "240 to 300 degC".
pub(super) fn range<Q: Quantity>(scale: Scale, range: Range<Q>) -> String {
    format!("{} to {}", scale.figure(range.low), scale.shown(range.high))
}

/// Mean over least and greatest, the unit in the heading.
pub(super) fn spread<Q: Quantity>(scale: Scale, spread: Option<Spread<Q>>) -> Markup {
    html! {
        @match spread {
            Some(spread) => {
                (scale.figure(spread.mean))
                br; small { (scale.figure(spread.low)) " \u{2026} " (scale.figure(spread.high)) }
            },
            None => (NOTHING),
        }
    }
}

/// Names with what belongs to them.
pub(super) fn pairs(lines: &[(&str, String)]) -> Markup {
    html! {
        dl.pairs { @for (name, words) in lines { div { dt { (name) } dd { (words) } } } }
    }
}

/// A table whose first row is repeated on every sheet; the first cell of a row is its head.
pub(super) fn table(heads: &[&str], rows: impl Iterator<Item = Vec<Markup>>) -> Markup {
    html! {
        table {
            thead { tr { @for head in heads { th scope="col" { (head) } } } }
            tbody { @for row in rows { tr { @for cell in row { td { (cell) } } } } }
        }
    }
}
