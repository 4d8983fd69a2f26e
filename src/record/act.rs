//! What people asked for, in the record: each request with its answer, never changed, never
//! removed.

use jiff::Timestamp;
use rusqlite::{Row, named_params};
use serde::{Serialize, Serializer};

use super::reading::{instant, unread};
use super::{RecordError, RunId, Store, chain};
use crate::people::{Role, Whence};

/// What was answered.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum ActAnswer {
    /// It was done, or was so already.
    Done,
    /// It was not, and why.
    Refused(String),
}

/// How a refusal begins where it is stored.
const REFUSED: &str = "refused: ";

impl std::fmt::Display for ActAnswer {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Done => f.write_str("done"),
            Self::Refused(why) => write!(f, "{REFUSED}{why}"),
        }
    }
}

/// As it is stored and shown: `done`, or `refused: ` and why.
impl Serialize for ActAnswer {
    fn serialize<S: Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        to.collect_str(self)
    }
}

/// One thing that somebody asked for.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ActRecord {
    /// When it was answered, by the wall clock.
    pub at: Timestamp,
    /// Who asked; [`NOT_SIGNED_IN`](crate::people::NOT_SIGNED_IN) for whoever was not.
    pub person: String,
    /// In which role; `None` for whoever was not signed in.
    pub role: Option<Role>,
    /// From where.
    #[serde(rename = "from", serialize_with = "as_text")]
    pub whence: Whence,
    /// What was asked for, in words.
    pub what: String,
    /// What was answered.
    pub answer: ActAnswer,
    /// The run it was about.
    pub run: Option<RunId>,
}

fn as_text<S: Serializer>(whence: &Whence, to: S) -> Result<S::Ok, S::Error> {
    to.collect_str(whence)
}

impl Store {
    /// Writes an act down; durable on return.
    ///
    /// # Errors
    /// [`RecordError`] when the disk refuses.
    pub fn keep_act(&mut self, act: &ActRecord) -> Result<(), RecordError> {
        self.change(|change| {
            change.execute(
                "INSERT INTO act (at, person, role, whence, what, answer, run)
                 VALUES (:at, :person, :role, :whence, :what, :answer,
                    (SELECT place FROM run WHERE id = :run))",
                named_params! {
                    ":at": act.at.to_string(),
                    ":person": act.person,
                    ":role": act.role.map(Role::word),
                    ":whence": act.whence.to_string(),
                    ":what": act.what,
                    ":answer": act.answer.to_string(),
                    ":run": act.run.as_ref().map(RunId::as_str),
                },
            )?;
            chain::link(change, &chain::ACT)
        })
    }

    /// The acts about one run, in their order.
    ///
    /// # Errors
    /// [`RecordError`] when the file can't be read.
    pub fn acts_about(&self, run: &RunId) -> Result<Vec<ActRecord>, RecordError> {
        let read = || {
            let mut all = self.connection.prepare(
                "SELECT a.at, a.person, a.role, a.whence, a.what, a.answer, r.id
                 FROM act a JOIN run r ON r.place = a.run
                 WHERE r.id = ?1 ORDER BY a.place",
            )?;
            all.query_map([run.as_str()], act)?.collect::<rusqlite::Result<Vec<_>>>()
        };
        read().map_err(|source| self.sorted(source))
    }

    /// The latest so many acts, the latest first.
    ///
    /// # Errors
    /// [`RecordError`] when the file can't be read.
    pub fn acts(&self, most: u32) -> Result<Vec<ActRecord>, RecordError> {
        let read = || {
            let mut latest = self.connection.prepare(
                "SELECT a.at, a.person, a.role, a.whence, a.what, a.answer, r.id
                 FROM act a LEFT JOIN run r ON r.place = a.run
                 ORDER BY a.place DESC LIMIT ?1",
            )?;
            latest.query_map([most], act)?.collect::<rusqlite::Result<Vec<_>>>()
        };
        read().map_err(|source| self.sorted(source))
    }
}

fn act(row: &Row<'_>) -> rusqlite::Result<ActRecord> {
    let role = match row.get::<_, Option<String>>(2)? {
        Some(word) => {
            let unknown = || unread(2, std::io::Error::other(format!("no role: {word}")));
            Some(Role::of_word(&word).ok_or_else(unknown)?)
        }
        None => None,
    };
    let answer: String = row.get(5)?;
    Ok(ActRecord {
        at: instant(0, &row.get::<_, String>(0)?)?,
        person: row.get(1)?,
        role,
        whence: row.get::<_, String>(3)?.parse().map_err(|error| unread(3, error))?,
        what: row.get(4)?,
        answer: match answer.strip_prefix(REFUSED) {
            Some(why) => ActAnswer::Refused(why.to_owned()),
            None if answer == "done" => ActAnswer::Done,
            None => {
                return Err(unread(5, std::io::Error::other(format!("no answer: {answer}"))));
            }
        },
        run: row.get::<_, Option<String>>(6)?.map(RunId::stored),
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::people::NOT_SIGNED_IN;
    use crate::record::Recorder;
    use crate::record::fixture::{file, header};

    fn started() -> ActRecord {
        ActRecord {
            at: "2026-11-25T09:00:00.25Z".parse().expect("RFC 3339"),
            person: "C. Operator".to_owned(),
            role: Some(Role::Operator),
            whence: Whence::Machine,
            what: "start".to_owned(),
            answer: ActAnswer::Done,
            run: None,
        }
    }

    fn refused() -> ActRecord {
        ActRecord {
            person: NOT_SIGNED_IN.to_owned(),
            role: None,
            whence: "192.0.2.7".parse().expect("an address"),
            answer: ActAnswer::Refused("done: not by you".to_owned()),
            ..started()
        }
    }

    #[test]
    fn acts_come_back_as_they_were_kept_the_latest_first_and_so_many_as_were_asked_for() {
        let (_folder, path) = file();
        let recorder = Recorder::begin(Store::open(&path).expect("open"), &header());
        let recorder = recorder.expect("a run");
        let held = ActRecord {
            what: "hold".to_owned(),
            whence: Whence::Terminal,
            run: Some(recorder.id().clone()),
            ..started()
        };
        let mut store = Store::open(&path).expect("open beside the run");
        for act in [&started(), &refused(), &held] {
            store.keep_act(act).expect("kept");
        }
        drop(store);
        let store = Store::open_existing(&path).expect("open again");
        assert_eq!(store.acts(10).expect("read"), [held.clone(), refused(), started()]);
        assert_eq!(store.acts(1).expect("read"), [held]);
        assert_eq!(store.acts(0).expect("read"), []);
    }

    #[test]
    fn an_act_is_evidence_and_is_neither_changed_nor_removed() {
        let (_folder, path) = file();
        let mut store = Store::open(&path).expect("open");
        store.keep_act(&refused()).expect("kept");
        for tampering in ["UPDATE act SET answer = 'done'", "DELETE FROM act"] {
            assert!(store.connection.execute(tampering, []).is_err(), "{tampering}");
        }
        assert_eq!(store.acts(10).expect("read"), [refused()]);
    }

    #[test]
    fn what_no_version_of_this_program_writes_is_told_as_damage() {
        for (role, whence, answer) in [
            ("boss", "machine", "done"),
            ("operator", "elsewhere", "done"),
            ("operator", "machine", "perhaps"),
        ] {
            let (_folder, path) = file();
            let store = Store::open(&path).expect("open");
            let insert = "INSERT INTO act (at, person, role, whence, what, answer)
                          VALUES ('2026-11-25T09:00:00Z', 'A', ?1, ?2, 'start', ?3)";
            store.connection.execute(insert, (role, whence, answer)).expect("by hand");
            let error = store.acts(10).expect_err("damage");
            assert!(matches!(error, RecordError::Damaged { .. }), "{error}");
        }
    }
}
