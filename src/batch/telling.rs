//! What people tell of a batch: a refill, a tip cleaned, parts blasted, a new lot. Judged here by
//! values alone, for the command line and the panel alike.

use std::collections::BTreeSet;
use std::fmt;

use evenpass_core::catalogue::Catalogue;
use evenpass_core::plan::Plan;
use evenpass_core::quantity::{Mass, Quantity, QuantityError, Time, Volume};
use jiff::Timestamp;

use super::gas::{OXYGEN, gases};
use super::shift::words;
use super::standing::Standing;
use crate::files::Job;
use crate::record::{Batch, Mark, RecordError, Said, Store};
use crate::shown::one_line;

/// The most a hopper may be said to hold (arbitrary: ten times the bench's).
const LARGEST_HOPPER: Mass = Mass::from_g(20_000.0);
/// The most that bottles may be said to hold (arbitrary: several bundles of 16 bottles, of some 10 m3
/// each).
const LARGEST_CONTENTS: Volume = Volume::from_l(1_000_000.0);
/// The longest that a surface may have been blasted before (arbitrary: an older one is none to
/// spray on).
const LONGEST_AGO: Time = Time::from_s(86_400.0);
/// Longest name of a lot and of its certificate, characters (arbitrary: a word in a list).
const LONGEST_WORD: usize = 80;

/// What a person gives a figure or a word for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Field {
    /// What the hopper holds.
    Holds,
    /// Which parts were blasted.
    Parts,
    /// How long ago.
    Ago,
    /// Of which powder or gas a lot is.
    Of,
    /// The lot.
    Lot,
    /// Its certificate.
    Certificate,
    /// What the bottles hold.
    Contents,
}

impl Field {
    /// As the command line calls it.
    #[must_use]
    pub const fn option(self) -> &'static str {
        match self {
            Self::Holds => "--holds",
            Self::Parts => "--parts",
            Self::Ago => "--ago",
            Self::Of => "lot of",
            Self::Lot => "lot",
            Self::Certificate => "--certificate",
            Self::Contents => "--contents",
        }
    }

    /// As a page calls it.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::Holds => "Hopper holds now",
            Self::Parts => "Parts",
            Self::Ago => "How long ago",
            Self::Of => "Lot of",
            Self::Lot => "Lot",
            Self::Certificate => "Certificate",
            Self::Contents => "Bottles hold",
        }
    }
}

/// Why something that was told cannot be taken: what was found where, and what is accepted.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Wrong {
    /// In which field.
    pub field: Field,
    /// What was found.
    pub what: String,
    /// What is accepted.
    pub accepted: String,
}

impl Wrong {
    fn new(field: Field, what: impl Into<String>, accepted: impl Into<String>) -> Self {
        Self { field, what: what.into(), accepted: accepted.into() }
    }

    fn found(field: Field, found: impl fmt::Display, accepted: impl Into<String>) -> Self {
        Self::new(field, format!("found {found}"), accepted)
    }

    /// As the command line says it, on two lines.
    #[must_use]
    pub fn lines(&self) -> String {
        format!("{}: {}\naccepted: {}\n", self.field.option(), self.what, self.accepted)
    }
}

/// As a page says it, in one line.
impl fmt::Display for Wrong {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}: {}; accepted: {}", self.field.words(), self.what, self.accepted)
    }
}

/// A quantity that was typed into a field of a page.
///
/// # Errors
/// It has no unit, or none of its units.
pub fn typed<Q: Quantity>(field: Field, text: &str) -> Result<Q, Wrong> {
    Q::parse(text.trim()).map_err(|QuantityError { what, accepted, hint }| {
        let hint = hint.map_or_else(String::new, |hint| format!(" ({hint})"));
        Wrong::new(field, one_line(&format!("{what}{hint}")), accepted)
    })
}

/// The hopper was filled; `holds` is all that is in it now.
///
/// # Errors
/// No hopper holds that.
pub fn refilled(holds: Mass) -> Result<Said, Wrong> {
    if holds < Mass::ZERO || holds > LARGEST_HOPPER {
        let accepted = format!("0 g to {LARGEST_HOPPER}, all that is in the hopper now");
        return Err(Wrong::found(Field::Holds, holds, accepted));
    }
    Ok(Said::Refilled { holds })
}

/// The tip of the torch that the batch sprays with was cleaned.
#[must_use]
pub fn tip_cleaned(standing: &Standing) -> Said {
    Said::TipCleaned { torch: standing.torch.clone(), burned: Some(standing.tip_burned) }
}

/// When parts were blasted that were so long `ago`.
///
/// # Errors
/// It is no time ago, or too long.
pub fn blasted_at(ago: Time, now: Timestamp) -> Result<Timestamp, Wrong> {
    if ago < Time::ZERO || ago > LONGEST_AGO {
        let accepted = "0 s to 24 h: an older surface is none to spray on";
        return Err(Wrong::found(Field::Ago, ago, accepted));
    }
    Ok(now.checked_sub(ago.to_duration()).unwrap_or(Timestamp::MIN))
}

/// Parts of a batch were blasted; `parts` are numbers and ranges such as `1-8,12`.
///
/// # Errors
/// They are none of the batch's.
pub fn blasted(batch: &Batch, parts: &str, ended: Timestamp) -> Result<Said, Wrong> {
    Ok(Said::Blasted { parts: numbers(parts, batch)?, ended })
}

/// What is told of a lot.
#[derive(Debug, Clone, Copy)]
pub struct LotTold<'a> {
    /// Of what: a powder or fuel gas by its key in the catalogue, or [`OXYGEN`].
    pub of: &'a str,
    /// The lot, as its supplier names it.
    pub lot: &'a str,
    /// Its certificate.
    pub certificate: Option<&'a str>,
    /// What the bottles hold, at a change of bottle.
    pub contents: Option<Volume>,
}

impl LotTold<'_> {
    /// Another lot is used from now on.
    ///
    /// # Errors
    /// A word is missing or more than a line, the catalogue has no such powder or gas, or it holds
    /// nothing.
    pub fn said(&self, catalogue: &Catalogue) -> Result<Said, Wrong> {
        let (lot, certificate) = self.named()?;
        let gases = catalogue.fuel_gases.iter().map(|gas| gas.key.as_str()).chain([OXYGEN]);
        let is_gas = gases.clone().any(|key| key == self.of);
        let is_powder = catalogue.powder(self.of).is_some();
        if !is_gas && !is_powder {
            let powders = catalogue.powders.iter().map(|powder| powder.key.as_str());
            let known: Vec<&str> = powders.chain(gases).collect();
            let found = format!("\"{}\", which is none in the catalogue", one_line(self.of));
            return Err(Wrong::found(Field::Of, found, known.join(", ")));
        }
        let of = self.of.to_owned();
        match self.contents {
            Some(contents) if is_powder => Err(Wrong::found(
                Field::Contents,
                format!("{contents} of a powder"),
                "nothing here: what the hopper holds is told when it is refilled",
            )),
            Some(contents) if contents <= Volume::ZERO || contents > LARGEST_CONTENTS => {
                let accepted = format!("above 0 L to {LARGEST_CONTENTS}, what the bottles hold");
                Err(Wrong::found(Field::Contents, contents, accepted))
            }
            contents => Ok(Said::Lot { of, lot, certificate, contents }),
        }
    }

    /// Its own words, which need no catalogue to be judged.
    ///
    /// # Errors
    /// One is missing or more than a line.
    pub fn named(&self) -> Result<(String, Option<String>), Wrong> {
        let lot = line(Field::Lot, self.lot)?;
        let certificate =
            self.certificate.map(|text| line(Field::Certificate, text)).transpose()?;
        Ok((lot, certificate))
    }
}

/// A word that may stand in a list.
fn line(field: Field, text: &str) -> Result<String, Wrong> {
    match text.trim() {
        "" => Err(Wrong::found(field, "nothing", "what it is called")),
        text if one_line(text) != text || text.chars().count() > LONGEST_WORD => {
            let accepted = format!("one line of up to {LONGEST_WORD} characters");
            Err(Wrong::found(field, "more than a line", accepted))
        }
        text => Ok(text.to_owned()),
    }
}

/// Numbers and ranges of parts.
fn numbers(text: &str, batch: &Batch) -> Result<Vec<u32>, Wrong> {
    let most = u32::try_from(batch.ordered.serials.len()).unwrap_or(u32::MAX);
    let wrong = || {
        Wrong::found(
            Field::Parts,
            format!("\"{}\"", one_line(text)),
            format!("numbers from 1 to {most} and ranges of them, such as 1-8,12"),
        )
    };
    let mut all = BTreeSet::new();
    for piece in text.split(',') {
        let (first, last) = piece.split_once('-').unwrap_or((piece, piece));
        let number = |text: &str| text.trim().parse::<u32>().map_err(|_| wrong());
        let (first, last) = (number(first)?, number(last)?);
        if first == 0 || last < first || last > most {
            return Err(wrong());
        }
        all.extend(first..=last);
    }
    Ok(all.into_iter().collect())
}

/// What the lots of a job are of, each by its key and for people: its powders, then its gases.
#[must_use]
pub fn lots_of(job: &Job, plan: &Plan) -> Vec<(String, String)> {
    let powders = plan.forecast.powder.iter();
    let powders = powders.map(|powder| (powder.key.clone(), powder.title.clone()));
    powders.chain(gases(&job.catalogue, &job.recipe)).collect()
}

/// Keeps what was told, as told just now: the number of its mark, and what it says in words.
///
/// # Errors
/// The records cannot be written.
pub fn keep(
    store: &mut Store,
    batch: &Batch,
    person: &str,
    said: Said,
) -> Result<(i64, String), RecordError> {
    let mark = Mark {
        at: Timestamp::now(),
        person: person.to_owned(),
        rig: batch.rig.clone(),
        kind: batch.kind,
        run: None,
        batch: Some(batch.id.clone()),
        said,
    };
    let number = store.keep_mark(&mark)?;
    Ok((number, one_line(&words(&mark.said))))
}

#[cfg(test)]
mod tests {
    use evenpass_core::batch::Scrapped;

    use super::*;
    use crate::record::{BatchId, Ordered, RunKind, Source};

    fn order(parts: usize) -> Batch {
        Batch {
            id: BatchId::stored("B1".to_owned()),
            made_at: Timestamp::UNIX_EPOCH,
            person: "Ann".to_owned(),
            rig: "bench".to_owned(),
            kind: RunKind::Twin,
            recipe: Source { name: "x.toml".to_owned(), text: String::new() },
            ordered: Ordered {
                serials: (1..=parts).map(|part| format!("S-{part}")).collect(),
                measured_every: None,
                scrapped: Scrapped::MadeAgain,
                tip_every: None,
                particulars: std::collections::BTreeMap::new(),
            },
        }
    }

    #[test]
    fn parts_are_numbers_and_ranges_each_once_and_of_the_order() {
        let parts = |text| blasted(&order(12), text, Timestamp::UNIX_EPOCH);
        let Ok(Said::Blasted { parts: told, .. }) = parts(" 3-5 ,1, 4 ,12") else {
            panic!("they are parts of it")
        };
        assert_eq!(told, [1, 3, 4, 5, 12]);
        for none in ["", "0", "13", "5-4", "1-13", "1,", "-3", "1--3", "two", "1;2", "4294967296"] {
            let wrong = parts(none).expect_err(none);
            assert_eq!(wrong.field, Field::Parts);
            assert!(wrong.accepted.contains("from 1 to 12"), "{wrong}");
        }
    }

    #[test]
    fn figures_are_taken_up_to_their_bounds_and_no_further() {
        assert!(refilled(Mass::ZERO).is_ok() && refilled(LARGEST_HOPPER).is_ok());
        assert!(refilled(Mass::from_g(-1.0)).is_err() && refilled(Mass::from_g(20_001.0)).is_err());
        let now: Timestamp = "2026-11-25T08:00:00Z".parse().expect("an instant");
        assert_eq!(blasted_at(Time::ZERO, now), Ok(now));
        let ago = blasted_at(Time::from_s(1200.0), now).expect("20 min");
        assert_eq!(now.duration_since(ago).as_secs(), 1200);
        assert!(blasted_at(LONGEST_AGO, now).is_ok());
        assert!(blasted_at(Time::from_s(86_401.0), now).is_err());
        assert!(blasted_at(Time::from_s(-1.0), now).is_err());
    }

    #[test]
    fn bottles_hold_more_than_nothing_and_no_more_than_a_store_of_them() {
        let catalogue = Catalogue::default();
        let said = |contents: Volume| {
            let (certificate, contents) = (None, Some(contents));
            LotTold { of: OXYGEN, lot: "B10", certificate, contents }.said(&catalogue)
        };
        assert!(said(LARGEST_CONTENTS).is_ok() && said(Volume::from_l(1.0)).is_ok());
        for none in [0.0, -1.0, 1e15] {
            let wrong = said(Volume::from_l(none)).expect_err("no bottles hold that");
            assert_eq!(wrong.field, Field::Contents);
            assert_eq!(wrong.accepted, "above 0 L to 1000000 L, what the bottles hold");
        }
    }

    #[test]
    fn a_wrong_figure_is_told_on_two_lines_to_a_terminal_and_on_one_to_a_page() {
        let wrong = refilled(Mass::from_g(-1.0)).expect_err("less than nothing");
        assert!(wrong.lines().starts_with("--holds: found -1 g\naccepted: 0 g to 20000 g"));
        assert_eq!(
            wrong.to_string(),
            "Hopper holds now: found -1 g; accepted: 0 g to 20000 g, all that is in the hopper now"
        );
        let typed = typed::<Mass>(Field::Holds, "30").expect_err("no unit");
        assert!(
            typed.to_string().contains("(write \"30 g\" if that is the unit meant)"),
            "{typed}"
        );
    }
}
