//! Readings as a person types them: a place and what was found there, a mass and its time.

use std::fmt::Display;

use evenpass_core::learn::Catch;
use evenpass_core::quantity::{Length, Mass, Quantity, Time};
use jiff::civil::Date;

/// A place and a length found there, such as `60 mm=42.35 mm`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct At {
    pub place: Length,
    pub found: Length,
}

fn side<Q: Quantity>(text: &str, whole: &str) -> Result<Q, String> {
    Q::parse(text.trim()).map_err(|problem| format!("in `{whole}`: {problem}"))
}

/// Reads `PLACE=LENGTH`.
pub(super) fn at(text: &str) -> Result<At, String> {
    let Some((place, found)) = text.split_once('=') else {
        return Err(format!(
            "found `{text}` without `=`; accepted: a place and what was found there, both with \
             their unit, such as \"60 mm=42.35 mm\""
        ));
    };
    Ok(At { place: side(place, text)?, found: side(found, text)? })
}

/// Reads `MASS in TIME`, such as `57.9 g in 60 s`.
pub(super) fn catch(text: &str) -> Result<Catch, String> {
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
pub(super) fn gauge(text: &str) -> Result<Length, String> {
    within(text, (Length::from_mm(0.001), Length::from_mm(0.2)))
}

/// One standard deviation of a weighing: from an analytical balance to one for sacks (arbitrary).
pub(super) fn balance(text: &str) -> Result<Mass, String> {
    within(text, (Mass::from_g(0.01), Mass::from_g(20.0)))
}

/// One standard deviation of a time taken by hand or by a machine (arbitrary).
pub(super) fn clock(text: &str) -> Result<Time, String> {
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
pub(super) fn date(text: &str) -> Result<Date, String> {
    text.parse()
        .map_err(|_| format!("found `{text}`; accepted: a day of the calendar, such as 2026-11-28"))
}

/// Reads a quantity that is above zero.
pub(super) fn positive<Q: Quantity>(text: &str) -> Result<Q, String> {
    let value = Q::parse(text).map_err(|problem| problem.to_string())?;
    if value.base() > 0.0 {
        Ok(value)
    } else {
        Err(format!("found `{text}`; accepted: a {} above zero", Q::NAME))
    }
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
