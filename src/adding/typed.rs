//! What a person types, read: places with what was found there, words that name something, how well
//! it is known. Every error says what was found and what is accepted.

use std::fmt::Display;

use evenpass_core::inspection::{DyeResult, Limit};
use evenpass_core::learn::Catch;
use evenpass_core::quantity::{Length, Mass, Quantity, TemperatureStep, Time};
use jiff::civil::Date;

use crate::record::{CoatStage, Verdict};

/// The largest run-out that a dial gauge shows (arbitrary: a long-travel one).
const LARGEST_RUN_OUT: Length = Length::from_mm(10.0);

/// A place and a length found there, such as `60 mm=42.35 mm`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct At {
    /// The place, from the chuck face.
    pub place: Length,
    /// What was found there.
    pub found: Length,
}

fn side<Q: Quantity>(text: &str, whole: &str) -> Result<Q, String> {
    Q::parse(text.trim()).map_err(|problem| format!("in `{whole}`: {problem}"))
}

/// Reads `PLACE=LENGTH`.
///
/// # Errors
/// What was found, and what is accepted.
pub fn at(text: &str) -> Result<At, String> {
    let Some((place, found)) = text.split_once('=') else {
        return Err(format!(
            "found `{text}` without `=`; accepted: a place and what was found there, both with \
             their unit, such as \"60 mm=42.35 mm\""
        ));
    };
    Ok(At { place: side(place, text)?, found: side(found, text)? })
}

/// Reads `MASS in TIME`, such as `57.9 g in 60 s`.
///
/// # Errors
/// What was found, and what is accepted.
pub fn catch(text: &str) -> Result<Catch, String> {
    let Some((mass, time)) = text.split_once(" in ") else {
        return Err(format!(
            "found `{text}` without ` in `; accepted: a mass and a time, both with their unit, \
             such as \"57.9 g in 60 s\""
        ));
    };
    let catch = Catch { mass: side::<Mass>(mass, text)?, time: side::<Time>(time, text)? };
    if catch.mass <= Mass::ZERO || catch.time <= Time::ZERO {
        return Err(format!("found `{text}`; accepted: a mass and a time above zero"));
    }
    Ok(catch)
}

/// One standard deviation of a length read on a part or a plate: from the finest gauge to a
/// caliper in a hurry (arbitrary).
///
/// # Errors
/// What was found, and what is accepted.
pub fn gauge(text: &str) -> Result<Length, String> {
    within(text, (Length::from_mm(0.001), Length::from_mm(0.2)))
}

/// One standard deviation of a weighing: from an analytical balance to one for sacks (arbitrary).
///
/// # Errors
/// What was found, and what is accepted.
pub fn balance(text: &str) -> Result<Mass, String> {
    within(text, (Mass::from_g(0.01), Mass::from_g(20.0)))
}

/// One standard deviation of a time taken by hand or by a machine (arbitrary).
///
/// # Errors
/// What was found, and what is accepted.
pub fn clock(text: &str) -> Result<Time, String> {
    within(text, (Time::from_s(0.01), Time::from_s(5.0)))
}

/// Reads how well something is known, which no instrument is better nor worse than.
fn within<Q: Quantity + Display>(text: &str, (low, high): (Q, Q)) -> Result<Q, String> {
    let value = Q::parse(text).map_err(|problem| problem.to_string())?;
    if (low.base()..=high.base()).contains(&value.base()) {
        return Ok(value);
    }
    Err(format!(
        "found `{text}`; accepted: {low} to {high}, one standard deviation of a single reading"
    ))
}

/// Reads a day.
///
/// # Errors
/// What was found, and what is accepted.
pub fn date(text: &str) -> Result<Date, String> {
    text.parse()
        .map_err(|_| format!("found `{text}`; accepted: a day of the calendar, such as 2026-11-28"))
}

/// Reads a quantity that is above zero.
///
/// # Errors
/// What was found, and what is accepted.
pub fn positive<Q: Quantity>(text: &str) -> Result<Q, String> {
    let value = Q::parse(text).map_err(|problem| problem.to_string())?;
    if value.base() > 0.0 {
        Ok(value)
    } else {
        Err(format!("found `{text}`; accepted: a {} above zero", Q::NAME))
    }
}

/// One standard deviation of a part's temperature: from a fine thermocouple to a crayon (arbitrary).
///
/// # Errors
/// What was found, and what is accepted.
pub fn thermometer(text: &str) -> Result<TemperatureStep, String> {
    let within = TemperatureStep::parse(text).map_err(|problem| problem.to_string())?;
    if (0.1..=50.0).contains(&within.kelvin()) {
        return Ok(within);
    }
    Err(format!("found `{text}`; accepted: 0.1 K to 50 K, one standard deviation"))
}

/// What a dial gauge showed in a turn.
///
/// # Errors
/// What was found, and what is accepted.
pub fn run_out(text: &str) -> Result<Length, String> {
    let read = Length::parse(text).map_err(|problem| problem.to_string())?;
    if (Length::ZERO..=LARGEST_RUN_OUT).contains(&read) {
        return Ok(read);
    }
    Err(format!("found `{text}`; accepted: 0 mm to {LARGEST_RUN_OUT}"))
}

/// The one of several that a word names.
fn called<T: Copy>(
    text: &str,
    all: impl IntoIterator<Item = T>,
    word: impl Fn(T) -> String,
) -> Result<T, String> {
    let all: Vec<T> = all.into_iter().collect();
    let words = || all.iter().map(|one| word(*one)).collect::<Vec<_>>().join(", ");
    let found = all.iter().copied().find(|one| word(*one) == text);
    found.ok_or_else(|| format!("found `{text}`; accepted: {}", words()))
}

/// What a coat was when it was read: as-sprayed, fused or finished.
///
/// # Errors
/// What was found, and what is accepted.
pub fn stage(text: &str) -> Result<CoatStage, String> {
    called(text, CoatStage::ALL, stage_word)
}

/// The word that [`stage`] reads.
#[must_use]
pub fn stage_word(stage: CoatStage) -> String {
    stage.words().replace(' ', "-")
}

/// What a dye check showed: nothing or indications.
///
/// # Errors
/// What was found, and what is accepted.
pub fn dye_result(text: &str) -> Result<DyeResult, String> {
    called(text, [DyeResult::Nothing, DyeResult::Indications], dye_word)
}

/// The word that [`dye_result`] reads.
#[must_use]
pub fn dye_word(result: DyeResult) -> String {
    match result {
        DyeResult::Nothing => "nothing".to_owned(),
        DyeResult::Indications => "indications".to_owned(),
    }
}

/// A limit by its title, with dashes.
///
/// # Errors
/// What was found, and what is accepted.
pub fn limit(text: &str) -> Result<Limit, String> {
    called(text, Limit::ALL, limit_word)
}

/// The word that [`limit`] reads.
#[must_use]
pub fn limit_word(limit: Limit) -> String {
    limit.title().replace(' ', "-")
}

/// What becomes of a part: pass, hold or scrap.
///
/// # Errors
/// What was found, and what is accepted.
pub fn verdict(text: &str) -> Result<Verdict, String> {
    called(text, Verdict::ALL, |verdict| verdict.word().to_owned())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_reading_says_place_and_length_each_in_its_own_unit() {
        let read = at("2 in = 42.35 mm").expect("a reading");
        assert_eq!((read.place.mm(), read.found.mm()), (50.8, 42.35));
        let caught = catch("57.9 g in 1 min").expect("a catch");
        assert_eq!((caught.mass.g(), caught.time.s()), (57.9, 60.0));
    }

    #[test]
    fn a_reading_without_unit_or_place_says_how_one_is_written() {
        for (text, told) in [
            ("60 mm 42.35 mm", "such as \"60 mm=42.35 mm\""),
            ("60 mm=42.35", "in `60 mm=42.35`"),
            ("60=42.35 mm", "in `60=42.35 mm`"),
        ] {
            let found = at(text).expect_err(text);
            assert!(found.contains(told), "{found}");
        }
        assert!(catch("57.9 g").expect_err("no time").contains("57.9 g in 60 s"));
        assert!(catch("0 g in 60 s").expect_err("nothing").contains("above zero"));
        assert!(positive::<Mass>("-1 g").expect_err("negative").contains("a mass above zero"));
    }

    #[test]
    fn how_well_something_is_known_is_what_an_instrument_can_be() {
        let found = gauge("1000 mm").expect_err("no micrometer");
        assert!(found.contains("found `1000 mm`; accepted: 0.001 mm to 0.2 mm"), "{found}");
        assert!(gauge("0.01 mm").is_ok() && balance("0.5 g").is_ok() && clock("0.2 s").is_ok());
        assert!(balance("1e300 g").is_err() && clock("0 s").is_err() && gauge("-1 mm").is_err());
    }

    #[test]
    fn a_day_that_no_calendar_has_is_answered_with_how_one_is_written() {
        let found = date("2026-13-40").expect_err("no such month");
        assert_eq!(
            found,
            "found `2026-13-40`; accepted: a day of the calendar, such as 2026-11-28"
        );
    }
}
