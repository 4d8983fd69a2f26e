//! What a person says of a part before it is made: who ordered it, its drawing, its serial, the heat of
//! its steel, how it was blasted. It stands in the record from its first row on.

use std::collections::BTreeMap;

use evenpass_core::quantity::{Quantity as _, Temperature, Time};
use jiff::Timestamp;

use crate::record::RESUMES;
use crate::resuming::STOOD;
use crate::shown::one_line;

/// Longest name, characters: a heading of a line (arbitrary).
const LONGEST_NAME: usize = 40;
/// Longest words, characters: a few lines of a sheet (arbitrary).
const LONGEST_WORDS: usize = 300;
/// So many of one part, those that are asked for with it (arbitrary: a sheet's worth).
const MOST: usize = 40;

/// Who makes the part.
pub const OPERATOR: &str = "operator";
/// When blasting it ended, as RFC 3339 has it.
pub const BLASTED_AT: &str = "blasted at";
/// The dew point of the shop's air.
pub const DEW_POINT: &str = "dew point";
/// What it was blasted with.
const GRIT: &str = "grit";

/// Names that the program gives, here or where it tells of a run: nobody else may.
const OWN: [&str; 24] = [
    "started by",
    OPERATOR,
    "batch",
    "part",
    "to be measured",
    BLASTED_AT,
    RESUMES,
    STOOD,
    "run",
    "title",
    "where",
    "outcome",
    "began",
    "ended",
    "took",
    "decided",
    "passes",
    "powder",
    "recipe",
    "recipe, sha-256",
    "rig",
    "rig, sha-256",
    "plan",
    "software",
];
/// The same of the lots in use, with what they are of.
pub const LOT_OF: &str = "lot of ";
/// What may be otherwise when a part that was cut off is taken up.
const OF_THE_DAY: [&str; 4] = [OPERATOR, BLASTED_AT, GRIT, DEW_POINT];

/// Something that is asked for of every part.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Asked {
    /// The name it stands by in the record.
    pub name: &'static str,
    /// What is wanted.
    pub wanted: &'static str,
}

/// What is asked for, in the order in which it is.
pub const ASKED: [Asked; 7] = [
    Asked { name: "job", wanted: "the job or order that the part belongs to" },
    Asked { name: "customer", wanted: "who ordered it" },
    Asked { name: "drawing", wanted: "its drawing with the issue, such as 4711 issue C" },
    Asked { name: "serial", wanted: "its serial number" },
    Asked { name: "heat", wanted: "the heat of its steel, as on the mill's certificate" },
    Asked { name: GRIT, wanted: "what it was blasted with, such as alumina F24" },
    Asked { name: DEW_POINT, wanted: "the dew point of the shop's air, such as 9 degC" },
];

/// What is known of a part, by name.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Particulars(BTreeMap<String, String>);

/// Why something is not taken in.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct NotTaken {
    /// What was found.
    pub found: String,
    /// What would be taken.
    pub accepted: String,
}

/// Whether a name is one that the program gives.
#[must_use]
pub fn is_own(name: &str) -> bool {
    let lowered = name.to_lowercase();
    OWN.contains(&lowered.as_str()) || lowered.starts_with(LOT_OF)
}

impl Particulars {
    /// Nothing.
    #[must_use]
    pub const fn none() -> Self {
        Self(BTreeMap::new())
    }

    /// Takes in what a person says, unless nothing but space is said.
    ///
    /// # Errors
    /// The name is one that the program gives, or either is no line that a sheet holds; a dew point is
    /// a temperature with its unit.
    pub fn put(&mut self, name: &str, words: &str) -> Result<(), NotTaken> {
        let (name, words) = (name.trim(), words.trim());
        if words.is_empty() {
            return Ok(());
        }
        let refused = |found: String, accepted: String| Err(NotTaken { found, accepted });
        if is_own(name) {
            return refused(
                format!("the name \"{}\", which the record gives by itself", one_line(name)),
                "another name".to_owned(),
            );
        }
        if !is_line(name, LONGEST_NAME) {
            return refused(
                format!("the name \"{}\"", one_line(name)),
                format!("a name in one line of up to {LONGEST_NAME} characters"),
            );
        }
        if !is_line(words, LONGEST_WORDS) {
            let found = if one_line(words) == words {
                format!("words of over {LONGEST_WORDS} characters")
            } else {
                "words with control characters".to_owned()
            };
            return refused(
                found,
                format!("{}, one line of up to {LONGEST_WORDS} characters", wanted(name)),
            );
        }
        if self.0.len() >= MOST && !self.0.contains_key(name) {
            return refused(format!("more than {MOST}"), format!("up to {MOST} of a part"));
        }
        let words = if name == DEW_POINT {
            match Temperature::parse(words) {
                Ok(dew) => dew.to_string(),
                Err(problem) => {
                    return refused(problem.to_string(), wanted(name).to_owned());
                }
            }
        } else {
            words.to_owned()
        };
        self.0.insert(name.to_owned(), words);
        Ok(())
    }

    /// Takes in a name with its words, as `NAME=WORDS`.
    ///
    /// # Errors
    /// As [`put`](Self::put); and where either is missing.
    pub fn note(&mut self, note: &str) -> Result<(), NotTaken> {
        match note.split_once('=') {
            Some((name, words)) if !name.trim().is_empty() && !words.trim().is_empty() => {
                if self.0.contains_key(name.trim()) {
                    return Err(NotTaken {
                        found: format!("\"{}\" twice", one_line(name.trim())),
                        accepted: "each name once".to_owned(),
                    });
                }
                self.put(name, words)
            }
            _ => Err(NotTaken {
                found: format!("\"{}\"", one_line(note)),
                accepted: "a name and words, such as \"drawing=4711 B\"".to_owned(),
            }),
        }
    }

    /// Takes in the lot in use of a powder or a gas, as `KEY=LOT`.
    ///
    /// # Errors
    /// Either is missing, or is no line that a sheet holds.
    pub fn lot(&mut self, lot: &str) -> Result<(), NotTaken> {
        let found = lot.split_once('=').map(|(of, lot)| (of.trim(), lot.trim()));
        match found.filter(|(of, lot)| is_line(of, LONGEST_NAME) && is_line(lot, LONGEST_NAME)) {
            Some((of, lot)) => {
                self.0.insert(format!("{LOT_OF}{of}"), lot.to_owned());
                Ok(())
            }
            None => Err(NotTaken {
                found: format!("\"{}\"", one_line(lot)),
                accepted: format!(
                    "a powder's or gas's key in the catalogue, or oxygen, and its lot of up to \
                     {LONGEST_NAME} characters, such as \"nickel-hard=L-2231\""
                ),
            }),
        }
    }

    /// Takes in who makes the part.
    pub fn made_by(&mut self, person: &str) {
        self.0.insert(OPERATOR.to_owned(), person.to_owned());
    }

    /// Takes in how long before now blasting ended.
    pub fn blasted(&mut self, ago: Time, now: Timestamp) {
        if let Ok(at) = now.checked_sub(ago.to_duration()) {
            self.0.insert(BLASTED_AT.to_owned(), at.to_string());
        }
    }

    /// What says otherwise than what is known of the same part already: its name, what is known and
    /// what is said. How it was blasted and who makes it may change.
    #[must_use]
    pub fn otherwise<'a>(
        &'a self,
        known: &'a BTreeMap<String, String>,
    ) -> Option<(&'a str, &'a str, &'a str)> {
        self.0.iter().find_map(|(name, said)| {
            let known = known.get(name).filter(|known| *known != said)?;
            let stays = !OF_THE_DAY.contains(&name.as_str());
            stays.then_some((name.as_str(), known.as_str(), said.as_str()))
        })
    }

    /// This, and what is said of the same part later: the later words count.
    #[must_use]
    pub fn and(mut self, later: Self) -> Self {
        self.0.extend(later.0);
        self
    }

    /// What is known of a part with this: what is known stays, but how it was blasted and who makes it.
    #[must_use]
    pub fn beside(&self, mut known: BTreeMap<String, String>) -> BTreeMap<String, String> {
        for (name, said) in &self.0 {
            if OF_THE_DAY.contains(&name.as_str()) || !known.contains_key(name) {
                known.insert(name.clone(), said.clone());
            }
        }
        known
    }

    /// By name.
    #[must_use]
    pub const fn by_name(&self) -> &BTreeMap<String, String> {
        &self.0
    }
}

/// What is wanted under a name.
fn wanted(name: &str) -> &'static str {
    ASKED
        .iter()
        .find(|asked| asked.name == name)
        .map_or("what is to be known", |asked| asked.wanted)
}

fn is_line(text: &str, longest: usize) -> bool {
    !text.is_empty() && one_line(text) == text && text.chars().count() <= longest
}

#[cfg(test)]
mod tests {
    use super::*;

    fn refused(name: &str, words: &str) -> NotTaken {
        Particulars::none().put(name, words).expect_err("not taken")
    }

    #[test]
    fn what_a_person_says_is_kept_to_the_letter_without_the_space_around_it() {
        let mut part = Particulars::none();
        part.put("customer", "  M\u{fc}ller & S\u{f6}hne <GmbH> ").expect("taken");
        part.note("pressing=no. 7 = left").expect("taken");
        part.put("heat", "  ").expect("nothing is said");
        let told: Vec<_> = part.by_name().iter().map(|(n, w)| (n.as_str(), w.as_str())).collect();
        assert_eq!(
            told,
            [("customer", "M\u{fc}ller & S\u{f6}hne <GmbH>"), ("pressing", "no. 7 = left")]
        );
    }

    #[test]
    fn what_a_terminal_would_obey_and_what_no_sheet_holds_is_refused() {
        for words in ["a\u{1b}[31mb", "two\nlines", "turned \u{202e}about", &"x".repeat(301)] {
            let no = refused("drawing", words);
            assert!(no.accepted.contains("its drawing with the issue"), "{no:?}");
            assert!(!no.found.contains('\u{1b}'), "{no:?}");
        }
        assert!(refused(&"n".repeat(41), "x").accepted.contains("40 characters"));
        assert!(refused("a\tb", "x").found.contains('\u{fffd}'));
        for note in ["drawing", "=x", "drawing= "] {
            assert!(Particulars::none().note(note).is_err(), "{note}");
        }
    }

    /// By what the record says of itself it is found again, and who goes on with it.
    #[test]
    fn nobody_says_what_the_record_says_by_itself() {
        for name in ["resumes", " Resumes", "found", "started by", "operator", "lot of oxygen"] {
            assert!(refused(name, "x").found.contains("by itself"), "{name}");
        }
    }

    #[test]
    fn a_dew_point_is_a_temperature_with_its_unit() {
        let mut part = Particulars::none();
        part.put("dew point", "48 degF").expect("taken");
        assert_eq!(part.by_name()["dew point"], Temperature::parse("48 degF").unwrap().to_string());
        assert!(refused("dew point", "9").found.contains('9'));
    }

    #[test]
    fn a_part_that_is_taken_up_is_the_same_and_only_its_day_is_another() {
        let known = |words: &str| [("serial".to_owned(), words.to_owned())].into();
        let mut part = Particulars::none();
        part.put("serial", "S-7").expect("taken");
        assert_eq!(part.otherwise(&known("S-7")), None);
        assert_eq!(part.otherwise(&known("S-8")), Some(("serial", "S-8", "S-7")));
        let mut part = Particulars::none();
        part.put("grit", "alumina F24").expect("taken");
        part.made_by("A. Fitter");
        let other = ["grit", "operator"].map(|name| (name.to_owned(), "other".to_owned()));
        assert_eq!(part.otherwise(&other.into()), None);
    }

    #[test]
    fn what_an_order_says_of_its_part_stays() {
        let mut part = Particulars::none();
        for (name, words) in [("serial", "S-7"), ("grit", "alumina F24"), ("heat", "H-1")] {
            part.put(name, words).expect("taken");
        }
        let known = [("serial", "X1"), ("grit", "glass")];
        let known = part.beside(known.map(|(n, w)| (n.to_owned(), w.to_owned())).into());
        let told: Vec<_> = known.iter().map(|(n, w)| (n.as_str(), w.as_str())).collect();
        assert_eq!(told, [("grit", "alumina F24"), ("heat", "H-1"), ("serial", "X1")]);
    }

    #[test]
    fn what_is_asked_for_is_bounded() {
        let mut part = Particulars::none();
        for number in 0..MOST {
            part.put(&format!("name {number}"), "x").expect("taken");
        }
        assert!(part.put("one more", "x").is_err());
        assert!(part.put("name 3", "y").is_ok(), "said anew");
    }
}
