//! What engineers confirmed, in the record: never changed, never removed. It counts as long as
//! everything that it was given for does.

use evenpass_core::learn::{Figures, Pair};
use jiff::Timestamp;
use rusqlite::{Row, named_params};
use serde::Serialize;

use super::reading::{instant, parsed};
use super::store::json;
use super::{MeasurementRecord, RecordError, RunKind, Store, chain};

/// Figures that an engineer confirmed.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct AcceptanceRecord {
    /// When, by the wall clock.
    pub made_at: Timestamp,
    /// The rig's title.
    pub rig: String,
    /// Where.
    pub kind: RunKind,
    /// The torch and the powder.
    pub pair: Pair,
    /// By whom.
    pub person: String,
    /// What the catalogue said then.
    pub catalogue: Figures,
    /// What was confirmed.
    pub figures: Figures,
    /// The measurements it was given for, by number; `None` where it was kept before they were.
    pub grounds: Option<Vec<i64>>,
}

impl AcceptanceRecord {
    /// Whether it was given for a measurement. One that was kept before it said so was given for
    /// all that counted then, by the wall clock: nothing else tells it.
    #[must_use]
    pub fn is_given_for(&self, kept: &MeasurementRecord) -> bool {
        let one = &kept.measurement;
        match &self.grounds {
            Some(grounds) => grounds.contains(&kept.number),
            None => {
                let withdrawn = kept.withdrawn.as_ref();
                (one.rig == self.rig && one.kind == self.kind && one.pair == self.pair)
                    && one.kept_at <= self.made_at
                    && withdrawn.is_none_or(|later| later.made_at > self.made_at)
            }
        }
    }

    /// Why it counts no more, a phrase, given every measurement; `None` while it counts. Who
    /// accepted a figure accepted what it was made of.
    #[must_use]
    pub fn fallen(&self, all: &[MeasurementRecord]) -> Option<String> {
        let given_for: Vec<_> = all.iter().filter(|kept| self.is_given_for(kept)).collect();
        let wanted = self.grounds.as_ref().map_or(1, |grounds| grounds.len().max(1));
        if given_for.len() < wanted {
            return Some("what it was given for is not in these records".to_owned());
        }
        given_for.into_iter().find_map(|kept| {
            let by = kept.withdrawn.as_ref()?;
            Some(format!(
                "measurement {}, for which it was given, was withdrawn by {}: {}",
                kept.number, by.person, by.reason
            ))
        })
    }
}

impl Store {
    /// Writes down what an engineer confirmed; durable on return.
    ///
    /// # Errors
    /// [`RecordError`] when the disk refuses.
    pub fn keep_acceptance(&mut self, accepted: &AcceptanceRecord) -> Result<(), RecordError> {
        self.change(|change| {
            change.execute(
                "INSERT INTO acceptance (made_at, rig, kind, torch, powder, person, catalogue,
                    figures, grounds)
                 VALUES (:made_at, :rig, :kind, :torch, :powder, :person, :catalogue, :figures,
                    :grounds)",
                named_params! {
                    ":made_at": accepted.made_at.to_string(),
                    ":rig": accepted.rig,
                    ":kind": accepted.kind,
                    ":torch": accepted.pair.torch,
                    ":powder": accepted.pair.powder,
                    ":person": accepted.person,
                    ":catalogue": json(&accepted.catalogue)?,
                    ":figures": json(&accepted.figures)?,
                    ":grounds": accepted.grounds.as_ref().map(json).transpose()?,
                },
            )?;
            chain::link(change, &chain::ACCEPTANCE)
        })
    }

    /// Everything that engineers confirmed, the latest last.
    ///
    /// # Errors
    /// [`RecordError`] when the file can't be read.
    pub fn acceptances(&self) -> Result<Vec<AcceptanceRecord>, RecordError> {
        let read = || {
            let mut all = self.connection.prepare(
                "SELECT made_at, rig, kind, torch, powder, person, catalogue, figures,
                    grounds
                 FROM acceptance ORDER BY place",
            )?;
            all.query_map((), acceptance)?.collect::<rusqlite::Result<Vec<_>>>()
        };
        read().map_err(|source| self.sorted(source))
    }
}

fn acceptance(row: &Row<'_>) -> rusqlite::Result<AcceptanceRecord> {
    Ok(AcceptanceRecord {
        made_at: instant(0, &row.get::<_, String>(0)?)?,
        rig: row.get(1)?,
        kind: row.get(2)?,
        pair: Pair { torch: row.get(3)?, powder: row.get(4)? },
        person: row.get(5)?,
        catalogue: parsed(row, 6)?,
        figures: parsed(row, 7)?,
        grounds: match row.get::<_, Option<String>>(8)? {
            Some(_) => Some(parsed(row, 8)?),
            None => None,
        },
    })
}

#[cfg(test)]
mod tests {
    use evenpass_core::learn::{Catch, FeederMeasured, Measured};
    use evenpass_core::quantity::{Mass, MassFlow, Time};

    use super::*;
    use crate::record::{Measurement, Withdrawal};

    fn pair() -> Pair {
        Pair { torch: "spray-6".to_owned(), powder: "nickel-hard".to_owned() }
    }

    fn at(minute: u32) -> Timestamp {
        format!("2026-11-25T09:{minute:02}:00Z").parse().expect("RFC 3339")
    }

    fn kept(number: i64, minute: u32, withdrawn: Option<u32>) -> MeasurementRecord {
        let catches = vec![Catch { mass: Mass::from_g(30.0), time: Time::from_s(60.0) }];
        let feeder = FeederMeasured {
            set: MassFlow::from_g_per_min(60.0),
            catches,
            balance: Mass::from_g(0.1),
            clock: Time::from_s(0.2),
        };
        MeasurementRecord {
            number,
            measurement: Measurement {
                kept_at: at(minute),
                measured_on: "2026-11-25".parse().expect("a date"),
                run: None,
                rig: "Lathe 3".to_owned(),
                kind: RunKind::Machine,
                pair: pair(),
                person: "A. Fitter".to_owned(),
                measured: Measured::Feeder(feeder),
            },
            withdrawn: withdrawn.map(|minute| Withdrawal {
                made_at: at(minute),
                person: "A. Fitter".to_owned(),
                reason: "wrong hose".to_owned(),
            }),
        }
    }

    /// Given at minute 10.
    fn accepted(grounds: Option<Vec<i64>>) -> AcceptanceRecord {
        let figures = serde_json::from_value(serde_json::json!({
            "efficiency": "85 %", "powder_rate": "51 %", "footprint": "6 mm",
            "density_as_sprayed": "6.6 g/cm3", "density_fused": "8.05 g/cm3",
        }))
        .expect("figures");
        AcceptanceRecord {
            made_at: at(10),
            rig: "Lathe 3".to_owned(),
            kind: RunKind::Machine,
            pair: pair(),
            person: "B. Engineer".to_owned(),
            catalogue: figures,
            figures,
            grounds,
        }
    }

    #[test]
    fn an_acceptance_stands_as_long_as_all_that_it_was_given_for() {
        let both = accepted(Some(vec![1, 2]));
        // What came later and was withdrawn says nothing of it.
        assert_eq!(both.fallen(&[kept(1, 1, None), kept(2, 2, None), kept(3, 3, Some(20))]), None);
        let why = both.fallen(&[kept(1, 1, None), kept(2, 2, Some(20))]).expect("fallen");
        assert_eq!(
            why,
            "measurement 2, for which it was given, was withdrawn by A. Fitter: wrong hose"
        );
        let why = both.fallen(&[kept(1, 1, None)]).expect("fallen");
        assert_eq!(why, "what it was given for is not in these records");
        assert!(accepted(Some(Vec::new())).fallen(&[kept(1, 1, None)]).is_some());
    }

    #[test]
    fn an_acceptance_that_does_not_say_what_for_was_given_for_all_that_counted_then() {
        let earlier = accepted(None);
        assert_eq!(earlier.fallen(&[kept(1, 1, Some(5)), kept(2, 2, None)]), None);
        assert_eq!(earlier.fallen(&[kept(2, 2, None), kept(3, 11, Some(12))]), None);
        let why = earlier.fallen(&[kept(1, 1, None), kept(2, 2, Some(11))]).expect("fallen");
        assert!(why.starts_with("measurement 2, "), "{why}");
        assert!(earlier.fallen(&[kept(1, 1, Some(5))]).is_some(), "nothing counted then");
    }
}
