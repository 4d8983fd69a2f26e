//! The last links of a record at one instant, short enough to keep elsewhere: whoever has them can
//! tell later whether anything was cut off at the end since, or every digest computed anew.
//!
//! ```text
//! run=12,open=12@345@9f2c...,act=88,mark=57:3fa9...
//! ```
//!
//! - `run` is the place of the newest run, each table's name stands before the place of its newest
//!   row; a table without rows is not named.
//! - `open` is of a run that was being written: its place, and number and link of its newest entry.
//! - After the colon stands a digest of the origin of the newest run, of the seals of all runs but the
//!   open ones, and of the links of those rows.

use std::fmt;
use std::str::FromStr;

use rusqlite::{Connection, OptionalExtension, params};
use serde::{Serialize, Serializer};
use thiserror::Error;

use super::chain::{LINKED, Link, Linking};
use super::flaw::heading;
use super::{RecordError, Store};

/// What comes last in a record, at one instant.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LastLinks {
    /// The newest run; 0 when there was none.
    run: i64,
    open: Vec<OpenThen>,
    rows: Vec<(&'static str, i64)>,
    digest: Link,
}

/// A run that was being written.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct OpenThen {
    run: i64,
    /// Its newest entry; 0 when there was none.
    number: i64,
    link: Link,
}

/// Whether a record still holds what its last links were of.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Held {
    /// All of it, as it was.
    Yes,
    /// Something is not there any more; what, in words.
    Cut(String),
    /// All is there, and not as it was.
    Otherwise,
}

/// Why a text is none of last links.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Error)]
#[error(
    "accepted: the last links as `evenpass records verify` or a backup printed them, such as \
     run=12,act=88,mark=57: and 64 hexadecimal digits"
)]
pub struct NoLinks;

impl fmt::Display for LastLinks {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "run={}", self.run)?;
        for OpenThen { run, number, link } in &self.open {
            write!(f, ",open={run}@{number}@{link}")?;
        }
        for (table, place) in &self.rows {
            write!(f, ",{table}={place}")?;
        }
        write!(f, ":{}", self.digest)
    }
}

/// As text.
impl Serialize for LastLinks {
    fn serialize<S: Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        to.collect_str(self)
    }
}

impl FromStr for LastLinks {
    type Err = NoLinks;

    /// Spaces and line breaks, as paper has them, are skipped.
    fn from_str(text: &str) -> Result<Self, NoLinks> {
        let plain: String = text.chars().filter(|sign| !sign.is_whitespace()).collect();
        let (places, digest) = plain.rsplit_once(':').ok_or(NoLinks)?;
        let link = |text: &str| Link::read(&text.to_ascii_lowercase()).ok_or(NoLinks);
        let number = |text: &str| text.parse::<i64>().map_err(|_| NoLinks);
        let mut read = Self { run: 0, open: Vec::new(), rows: Vec::new(), digest: link(digest)? };
        for (at, one) in places.split(',').enumerate() {
            match (one.split_once('=').ok_or(NoLinks)?, at) {
                (("run", place), 0) => read.run = number(place)?,
                (_, 0) => return Err(NoLinks),
                (("open", then), _) => {
                    let mut parts = then.split('@');
                    let mut part = || parts.next().ok_or(NoLinks);
                    let (run, newest) = (number(part()?)?, number(part()?)?);
                    read.open.push(OpenThen { run, number: newest, link: link(part()?)? });
                }
                ((name, place), _) => {
                    let known = LINKED.iter().find(|linked| linked.table == name).ok_or(NoLinks)?;
                    read.rows.push((known.table, number(place)?));
                }
            }
        }
        Ok(read)
    }
}

impl Store {
    /// What comes last in the record now.
    ///
    /// # Errors
    /// [`RecordError`] when the file can't be read.
    pub fn last_links(&self) -> Result<LastLinks, RecordError> {
        let read = || {
            let view = self.connection.unchecked_transaction()?;
            let mut last = newest(&view)?;
            // What is missing by its own links is a flaw, and told as one.
            last.digest = last.computed(&view)?.unwrap_or(Link::NONE);
            Ok(last)
        };
        read().map_err(|source| self.sorted(source))
    }

    /// Whether the record still holds what `given` were the last links of. The links are taken as they
    /// stand there; whether each is that of its row is told by [`Store::verify`].
    ///
    /// # Errors
    /// [`RecordError`] when the file can't be read.
    pub fn still_holds(&self, given: &LastLinks) -> Result<Held, RecordError> {
        let read = || {
            let view = self.connection.unchecked_transaction()?;
            for then in &given.open {
                if let Some(trouble) = then.trouble(&view)? {
                    return Ok(trouble);
                }
            }
            Ok(match given.computed(&view)? {
                Err(what) => Held::Cut(what),
                Ok(digest) if digest == given.digest => Held::Yes,
                Ok(_) => Held::Otherwise,
            })
        };
        read().map_err(|source| self.sorted(source))
    }
}

/// The places of what comes last, without the digest.
fn newest(view: &Connection) -> rusqlite::Result<LastLinks> {
    let run = "SELECT coalesce(max(run), 0) FROM chain";
    let run = view.query_row(run, [], |row| row.get(0))?;
    let open = "
        SELECT c.run, coalesce(max(e.number), 0), c.tip
        FROM chain c LEFT JOIN entry e ON e.run = c.run
        WHERE c.seal IS NULL GROUP BY c.run ORDER BY c.run";
    let open = view
        .prepare(open)?
        .query_map([], |row| {
            Ok(OpenThen { run: row.get(0)?, number: row.get(1)?, link: row.get(2)? })
        })?
        .collect::<rusqlite::Result<_>>()?;
    let mut rows = Vec::new();
    for linked in LINKED {
        let last = "SELECT max(place) FROM link WHERE thing = ?1";
        let last: Option<i64> = view.query_row(last, [linked.table], |row| row.get(0))?;
        rows.extend(last.map(|place| (linked.table, place)));
    }
    Ok(LastLinks { run, open, rows, digest: Link::NONE })
}

impl LastLinks {
    /// The digest as the record has it now; or what is missing for it, in words.
    fn computed(&self, view: &Connection) -> rusqlite::Result<Result<Link, String>> {
        let mut sum = Linking::after(Link::NONE, "last").integer(self.run);
        if self.run > 0 {
            let origin = "SELECT origin FROM chain WHERE run = ?1";
            let origin: Option<Link> =
                view.query_row(origin, [self.run], |row| row.get(0)).optional()?;
            let Some(origin) = origin else {
                return Ok(Err(format!("run number {} of the file is not there", self.run)));
            };
            sum = sum.link(origin);
        }
        let seals = "SELECT run, seal FROM chain WHERE run <= ?1 ORDER BY run";
        let mut seals = view.prepare(seals)?;
        let mut seals = seals.query([self.run])?;
        while let Some(row) = seals.next()? {
            let run: i64 = row.get(0)?;
            if self.open.iter().any(|then| then.run == run) {
                continue;
            }
            let Some(seal) = row.get::<_, Option<Link>>(1)? else {
                return Ok(Err(format!("run number {run} of the file had ended, and is open")));
            };
            sum = sum.integer(run).link(seal);
        }
        for (table, place) in &self.rows {
            let link = "SELECT link FROM link WHERE thing = ?1 AND place = ?2";
            let link: Option<Link> =
                view.query_row(link, params![table, place], |row| row.get(0)).optional()?;
            let Some(link) = link else {
                return Ok(Err(format!("{}: number {place} is not there", heading(table))));
            };
            sum = sum.text(table).integer(*place).link(link);
        }
        Ok(Ok(sum.done()))
    }
}

impl OpenThen {
    /// What is not so any more of what it had; its entries may have gone into a file of their own.
    fn trouble(&self, view: &Connection) -> rusqlite::Result<Option<Held>> {
        if self.number == 0 {
            return Ok(None);
        }
        let pruned = "SELECT EXISTS (SELECT 1 FROM pruned WHERE run = ?1)";
        if view.query_row(pruned, [self.run], |row| row.get(0))? {
            return Ok(None);
        }
        let link = "SELECT link FROM entry WHERE run = ?1 AND number = ?2";
        let link: Option<Link> =
            view.query_row(link, [self.run, self.number], |row| row.get(0)).optional()?;
        Ok(match link {
            None => Some(Held::Cut(format!(
                "entry {} of run number {} of the file is not there",
                self.number, self.run
            ))),
            Some(link) if link == self.link => None,
            Some(_) => Some(Held::Otherwise),
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn last_links_read_back_from_their_text_broken_into_lines_too() {
        let link = Link::read(&"5f".repeat(32)).unwrap();
        let last = LastLinks {
            run: 12,
            open: vec![OpenThen { run: 12, number: 345, link }],
            rows: vec![("act", 88), ("mark", 57)],
            digest: link,
        };
        let text = last.to_string();
        assert_eq!(text.parse(), Ok(last.clone()));
        let (first, second) = text.split_at(40);
        assert_eq!(format!("{first}\n  {second}").parse(), Ok(last));
        let digest = "5f".repeat(32);
        for wrong in ["", "run=1", "run=x:", "mark=1,run=2:", "run=1,x=2:", "run=1,open=1@2:"] {
            for text in [wrong.to_owned(), format!("{wrong}{digest}")] {
                assert_eq!(text.parse::<LastLinks>(), Err(NoLinks), "{text}");
            }
        }
    }
}
