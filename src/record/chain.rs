//! What shows that nothing in the record was changed afterwards: every row carries a digest of itself
//! and of the row before it.
//!
//! ```text
//! run before ─> origin ─> entry 1 ─> entry 2 ─> ... ─> tip ─┐
//!                 └────> begun ─────────────────────────────┴─> seal
//! ```
//!
//! - `origin` is of what a run is begun with, and of the origin of the run before it: a run that is
//!   missing is missed by the next.
//! - each entry's link is of the entry and of the link before; `tip` is the last one, so that an
//!   entry is missed at the end too.
//! - `begun` is of when and by whom it was started, `seal` of all that and of how it ended.
//! - Rows of the other tables have their link in the table `link`, each of the row and of the link
//!   before it in the same table.
//!
//! What the file alone cannot tell:
//! - A digest keeps no secret: who can write the file, and takes the trouble to compute every later
//!   digest anew, is not found out.
//! - What comes last is missed by nothing. The newest rows of a table with their links, the newest run
//!   whole, or the end of the newest run, can be cut off without a digest to compute.
//!
//! For both something has to be kept where who can write the file cannot: the seal of a run, which
//! stands on its report and in its export, and the last links of all (see `last`), which a backup, a
//! look through the records and the shift's report print.
//!
//! A seal is of what a run was at its end, and of the header of every run before it. What people add
//! to a run later is in the chains of their tables alone.

use std::fmt;

use rusqlite::types::{FromSql, FromSqlError, FromSqlResult, ToSqlOutput, ValueRef};
use rusqlite::{OptionalExtension, Row, ToSql, Transaction, params};
use sha2::{Digest as _, Sha256};

/// Length of a SHA-256 digest (FIPS 180-4), bytes.
const LENGTH: usize = 32;

/// What a run is begun with and never changes; its title is that of the recipe.
pub(super) const ORIGIN: &str =
    "place, id, kind, title, recipe_name, recipe, rig_name, rig, program,
    forecast, software, seed, basis";
/// What is known once it was started.
pub(super) const BEGUN: &str = "started_at, particulars, first_entry";
/// What is known at its end.
pub(super) const ENDED: &str =
    "outcome, ended_at, first_cause, totals, deviations, last_entry, lost";
/// What stands in those columns until then, where no digest is of them yet.
pub(super) const NOT_ENDED: &[(&str, &str)] = &[
    ("ended_at", "NULL"),
    ("first_cause", "NULL"),
    ("totals", "'null'"),
    ("deviations", "'[]'"),
    ("last_entry", "NULL"),
    ("lost", "NULL"),
];
/// One entry.
pub(super) const ENTRY: &str = "run, number, at_us, kind, text, cause, data";

/// A table whose rows are linked by `link`, by their place.
#[derive(Debug)]
pub(super) struct Linked {
    pub(super) table: &'static str,
    /// What a link is of. A column that a table is given later stands in a link of its own kind:
    /// those of older rows would not hold any more.
    pub(super) columns: &'static str,
}

/// Proof tests.
pub(super) const PROOF: Linked = Linked {
    table: "proof",
    columns: "place, made_at, interlock, rig, kind, person, expected, found, response_us, limit_us,
        limit_reason, outcome, next_due, grounds",
};
/// What was measured.
pub(super) const MEASUREMENT: Linked = Linked {
    table: "measurement",
    columns: "place, kept_at, measured_on, run, rig, kind, torch, powder, person, data",
};
/// Measurements that count no more.
pub(super) const WITHDRAWAL: Linked =
    Linked { table: "withdrawal", columns: "place, made_at, measurement, person, reason" };
/// What an engineer accepted.
pub(super) const ACCEPTANCE: Linked = Linked {
    table: "acceptance",
    columns: "place, made_at, rig, kind, torch, powder, person, catalogue, figures, grounds",
};
/// What people asked for.
pub(super) const ACT: Linked =
    Linked { table: "act", columns: "place, at, person, role, whence, what, answer, run" };
/// Batches.
pub(super) const BATCH: Linked = Linked {
    table: "batch",
    columns: "place, id, made_at, person, rig, kind, recipe_name, recipe, data",
};
/// The parts of batches.
pub(super) const BATCH_PART: Linked =
    Linked { table: "batch_part", columns: "place, batch, run, number, serial" };
/// What people add to runs, batches and rigs.
pub(super) const MARK: Linked =
    Linked { table: "mark", columns: "place, at, person, rig, kind, run, batch, what, data" };
/// Runs whose entries went into a file of their own.
pub(super) const PRUNED: Linked = Linked {
    table: "pruned",
    columns: "place, run, pruned_at, person, entries, summary, file, digest",
};

/// All of them.
pub(super) const LINKED: &[Linked] =
    &[PROOF, MEASUREMENT, WITHDRAWAL, ACCEPTANCE, ACT, BATCH, BATCH_PART, MARK, PRUNED];

/// Those of them that have rows about runs.
pub(super) const ABOUT_RUNS: &[Linked] =
    &[MEASUREMENT, WITHDRAWAL, ACT, BATCH, BATCH_PART, MARK, PRUNED];

/// A digest of a row and of all rows before it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Link([u8; LENGTH]);

impl Link {
    /// What comes before the first.
    pub(super) const NONE: Self = Self([0; LENGTH]);

    /// From hexadecimal; `None` for what is none.
    pub(super) fn read(text: &str) -> Option<Self> {
        let mut digits =
            text.chars().map(|sign| sign.to_digit(16).and_then(|d| u8::try_from(d).ok()));
        let mut link = Self::NONE;
        for byte in &mut link.0 {
            *byte = digits.next()?? << 4 | digits.next()??;
        }
        digits.next().is_none().then_some(link)
    }
}

/// Hexadecimal.
impl fmt::Display for Link {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.0.iter().try_for_each(|byte| write!(f, "{byte:02x}"))
    }
}

impl ToSql for Link {
    fn to_sql(&self) -> rusqlite::Result<ToSqlOutput<'_>> {
        Ok(ToSqlOutput::from(self.0.as_slice()))
    }
}

impl FromSql for Link {
    fn column_result(value: ValueRef<'_>) -> FromSqlResult<Self> {
        let bytes = value.as_blob()?;
        bytes.try_into().map(Self).map_err(|_| FromSqlError::InvalidType)
    }
}

/// A link in the making. Each value goes in with its type and length, so that no two rows read alike.
pub(super) struct Linking(Sha256);

impl Linking {
    /// The link of a row of `table` that follows another one.
    pub(super) fn after(previous: Link, table: &str) -> Self {
        let mut sum = Sha256::new();
        sum.update(previous.0);
        Self(sum).value(ValueRef::Text(table.as_bytes()))
    }

    /// Takes the next column in.
    #[must_use]
    pub(super) fn value(mut self, value: ValueRef<'_>) -> Self {
        // SQLite's five storage classes.
        match value {
            ValueRef::Null => self.put(0, &[]),
            ValueRef::Integer(value) => self.put(1, &value.to_le_bytes()),
            ValueRef::Real(value) => self.put(2, &value.to_le_bytes()),
            ValueRef::Text(value) => self.put(3, value),
            ValueRef::Blob(value) => self.put(4, value),
        }
        self
    }

    /// Takes a whole number in.
    #[must_use]
    pub(super) fn integer(self, value: i64) -> Self {
        self.value(ValueRef::Integer(value))
    }

    /// Takes text in.
    #[must_use]
    pub(super) fn text(self, value: &str) -> Self {
        self.value(ValueRef::Text(value.as_bytes()))
    }

    /// Takes another link in.
    #[must_use]
    pub(super) fn link(self, link: Link) -> Self {
        self.value(ValueRef::Blob(&link.0))
    }

    /// Takes the columns of a row in that stand in `within`.
    pub(super) fn columns(
        self,
        row: &Row<'_>,
        within: std::ops::Range<usize>,
    ) -> rusqlite::Result<Self> {
        within.into_iter().try_fold(self, |sum, column| Ok(sum.value(row.get_ref(column)?)))
    }

    /// The link.
    pub(super) fn done(self) -> Link {
        Link(self.0.finalize().into())
    }

    fn put(&mut self, class: u8, bytes: &[u8]) {
        self.0.update([class]);
        self.0.update((bytes.len() as u64).to_le_bytes());
        self.0.update(bytes);
    }
}

/// The link of all columns of a row that follows another one in its table.
pub(super) fn of_row(previous: Link, table: &str, row: &Row<'_>) -> rusqlite::Result<Link> {
    let count = row.as_ref().column_count();
    Linking::after(previous, table).columns(row, 0..count).map(Linking::done)
}

/// What a run's chain begins with; `row` holds [`ORIGIN`].
pub(super) fn origin_of(before: Link, since: &str, row: &Row<'_>) -> rusqlite::Result<Link> {
    let count = row.as_ref().column_count();
    Ok(Linking::after(before, "run").columns(row, 0..count)?.text(since).done())
}

/// What a run's seal is of; `row` holds [`ENDED`] from a column on.
pub(super) fn seal_of(
    tip: Link,
    begun: Link,
    row: &Row<'_>,
    from: usize,
) -> rusqlite::Result<Link> {
    let ended = from..from + ENDED.split(',').count();
    Ok(Linking::after(tip, "seal").link(begun).columns(row, ended)?.done())
}

/// Begins the chain of a run whose row was just written.
pub(super) fn begin(change: &Transaction<'_>, run: i64, since: &str) -> rusqlite::Result<()> {
    let before = "SELECT origin FROM chain WHERE run < ?1 ORDER BY run DESC LIMIT 1";
    let before = change.query_row(before, [run], |row| row.get(0)).optional()?;
    let before = before.unwrap_or(Link::NONE);
    let columns = format!("SELECT {ORIGIN} FROM run WHERE place = ?1");
    let origin = change.query_row(&columns, [run], |row| origin_of(before, since, row))?;
    change.execute(
        "INSERT INTO chain (run, since, before, origin, begun, tip)
         VALUES (?1, ?2, ?3, ?4, ?5, ?4)",
        params![run, since, before, origin, begun(change, run, origin)?],
    )?;
    Ok(())
}

fn begun(change: &Transaction<'_>, run: i64, origin: Link) -> rusqlite::Result<Link> {
    let columns = format!("SELECT {BEGUN} FROM run WHERE place = ?1");
    change.query_row(&columns, [run], |row| of_row(origin, "begun", row))
}

/// A run was started: what is known since is part of its chain.
pub(super) fn started(change: &Transaction<'_>, run: i64) -> rusqlite::Result<()> {
    let origin = "SELECT origin FROM chain WHERE run = ?1";
    let origin = change.query_row(origin, [run], |row| row.get(0))?;
    let begun = begun(change, run, origin)?;
    change.execute("UPDATE chain SET begun = ?1 WHERE run = ?2", params![begun, run])?;
    Ok(())
}

/// The link of a run's last entry.
pub(super) fn tip(change: &Transaction<'_>, run: i64) -> rusqlite::Result<Link> {
    change
        .prepare_cached("SELECT tip FROM chain WHERE run = ?1")?
        .query_row([run], |row| row.get(0))
}

/// The run's last entry has this link now.
pub(super) fn advance(change: &Transaction<'_>, run: i64, tip: Link) -> rusqlite::Result<()> {
    change
        .prepare_cached("UPDATE chain SET tip = ?1 WHERE run = ?2")?
        .execute(params![tip, run])?;
    Ok(())
}

/// A run has ended: what is known of its end is part of its chain, and nothing comes after it.
pub(super) fn seal(change: &Transaction<'_>, run: i64) -> rusqlite::Result<()> {
    let (tip, begun) =
        change.query_row("SELECT tip, begun FROM chain WHERE run = ?1", [run], |row| {
            Ok((row.get(0)?, row.get(1)?))
        })?;
    let columns = format!("SELECT {ENDED} FROM run WHERE place = ?1");
    let seal = change.query_row(&columns, [run], |row| seal_of(tip, begun, row, 0))?;
    change.execute("UPDATE chain SET seal = ?1 WHERE run = ?2", params![seal, run])?;
    Ok(())
}

/// Links the row that was written last to the one before it in its table.
pub(super) fn link(change: &Transaction<'_>, of: &Linked) -> rusqlite::Result<()> {
    let Linked { table, columns } = of;
    let place = change.last_insert_rowid();
    let before =
        "SELECT link FROM link WHERE thing = ?1 AND place < ?2 ORDER BY place DESC LIMIT 1";
    let before = change.query_row(before, params![table, place], |row| row.get(0)).optional()?;
    let link = change.query_row(
        &format!("SELECT {columns} FROM {table} WHERE place = ?1"),
        [place],
        |row| of_row(before.unwrap_or(Link::NONE), table, row),
    )?;
    keep_link(change, table, place, link)
}

fn keep_link(
    change: &Transaction<'_>,
    table: &str,
    place: i64,
    link: Link,
) -> rusqlite::Result<()> {
    change
        .prepare_cached("INSERT INTO link (thing, place, link) VALUES (?1, ?2, ?3)")?
        .execute(params![table, place, link])?;
    Ok(())
}

/// Begins the chains of what was kept before there were any, as it stands now.
pub(super) fn begin_all(change: &Transaction<'_>) -> rusqlite::Result<()> {
    let since = jiff::Timestamp::now().to_string();
    let mut places = change.prepare("SELECT place, outcome FROM run ORDER BY place")?;
    let runs: Vec<(i64, String)> =
        places.query_map([], |row| Ok((row.get(0)?, row.get(1)?)))?.collect::<Result<_, _>>()?;
    for (run, outcome) in runs {
        begin(change, run, &since)?;
        let mut link = tip(change, run)?;
        let columns = format!("SELECT {ENTRY} FROM entry WHERE run = ?1 ORDER BY number");
        let mut entries = change.prepare_cached(&columns)?;
        let mut set =
            change.prepare_cached("UPDATE entry SET link = ?1 WHERE run = ?2 AND number = ?3")?;
        let mut rows = entries.query([run])?;
        let mut links: Vec<(i64, Link)> = Vec::new();
        while let Some(row) = rows.next()? {
            link = of_row(link, "entry", row)?;
            links.push((row.get(1)?, link));
        }
        for (number, link) in links {
            set.execute(params![link, run, number])?;
        }
        advance(change, run, link)?;
        if outcome != "open" {
            seal(change, run)?;
        }
    }
    for Linked { table, columns } in LINKED {
        let mut before = Link::NONE;
        let mut all = change.prepare(&format!("SELECT {columns} FROM {table} ORDER BY place"))?;
        let mut rows = all.query([])?;
        while let Some(row) = rows.next()? {
            before = of_row(before, table, row)?;
            keep_link(change, table, row.get(0)?, before)?;
        }
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn link_of(values: &[ValueRef<'_>]) -> Link {
        let first = Linking::after(Link::NONE, "any");
        values.iter().fold(first, |sum, value| sum.value(*value)).done()
    }

    #[test]
    fn rows_that_differ_in_where_one_value_ends_or_in_its_type_have_different_links() {
        let text = |text: &'static str| ValueRef::Text(text.as_bytes());
        let rows: [&[ValueRef<'_>]; 6] = [
            &[text("ab"), text("c")],
            &[text("a"), text("bc")],
            &[text("abc")],
            &[ValueRef::Blob(b"abc")],
            &[text("1")],
            &[ValueRef::Integer(1)],
        ];
        let links: Vec<String> = rows.iter().map(|row| link_of(row).to_string()).collect();
        for (index, link) in links.iter().enumerate() {
            assert_eq!(links.iter().position(|one| one == link), Some(index), "{links:?}");
        }
    }

    /// Computed with Python's hashlib over the bytes that the doc comment of `value` names.
    #[test]
    fn a_link_is_the_digest_of_the_one_before_and_of_each_value_with_type_and_length() {
        let link = link_of(&[ValueRef::Integer(7), ValueRef::Null, ValueRef::Text(b"on")]);
        assert_eq!(link.to_string(), PYTHON);
    }

    const PYTHON: &str = "3fbea34f810d99db7e76e56c478280cc54b560fde0f7119b3a73b7114646d3f0";
}
