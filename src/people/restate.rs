//! Texts of the core, which are in millimetres, degrees Celsius and bar, as a person reads them.
//!
//! The core composes its sentences without knowing who reads them: one status is seen by several
//! people at once, and the record keeps it. At the rim every figure with a unit that a person's
//! choice governs is said again in theirs; all else stays as it was. What stands in quotes, or in a
//! line of a file that is shown with its number, is what somebody wrote or is to type, and stays too.

use std::borrow::Cow;

use evenpass_core::quantity::{
    Acceleration, Length, Pitch, Pressure, Quantity, Speed, Temperature, TemperatureStep, fixed,
};

use super::units::{LengthUnit, PressureUnit, TemperatureUnit, Units};

/// A unit of the core's texts and what somebody reads instead.
#[derive(Debug, Clone, Copy)]
struct Instead {
    /// The other unit, in the spelling that a field reads.
    symbol: &'static str,
    /// From a figure in the old unit to one in the new.
    scale: f64,
    /// What is added after scaling; a difference has none.
    offset: f64,
}

/// How one unit becomes another, by the table of its quantity; nothing where it has no such unit.
fn instead<Q: Quantity>(from: &str, to: &'static str) -> Option<Instead> {
    let unit = Q::UNITS.iter().find(|unit| unit.is_called(from))?;
    let in_other = |figure: f64| Q::from_base(unit.to_base(figure)).in_unit(to);
    let offset = in_other(0.0)?;
    Some(Instead { symbol: to, scale: in_other(1.0)? - offset, offset })
}

impl Units {
    /// What is read instead of a unit of the core's texts; `None` where a person's choice leaves it.
    fn instead_of(self, unit: &str) -> Option<Instead> {
        let inch = self.length == LengthUnit::Inch;
        let fahrenheit = self.temperature == TemperatureUnit::Fahrenheit;
        let psi = self.pressure == PressureUnit::Psi;
        match unit {
            "mm" | "cm" | "um" | "\u{b5}m" | "\u{3bc}m" if inch => instead::<Length>(unit, "in"),
            "m" if inch => instead::<Length>(unit, "ft"),
            "mm/s" | "mm/min" if inch => instead::<Speed>(unit, "in/min"),
            "m/min" | "m/s" if inch => instead::<Speed>(unit, "ft/min"),
            "mm/s2" if inch => instead::<Acceleration>(unit, "in/s2"),
            "mm/turn" if inch => instead::<Pitch>(unit, "in/turn"),
            "mm/rev" if inch => instead::<Pitch>(unit, "in/rev"),
            "degC" | "\u{b0}C" if fahrenheit => instead::<Temperature>(unit, "\u{b0}F"),
            // Files and the core spell it in plain letters; a screen has the sign.
            "degC" => instead::<Temperature>(unit, "\u{b0}C"),
            // The core says every temperature in degC, and every difference in K.
            "K" if fahrenheit => instead::<TemperatureStep>(unit, "delta_degF"),
            "bar" | "mbar" | "kPa" | "MPa" | "Pa" if psi => instead::<Pressure>(unit, "psi"),
            _ => None,
        }
    }

    /// A text of the core in the units of this person: "Z 573.2 mm" as "Z 22.567 in", "84.95 to
    /// 234.95 mm" as "3.3445 to 9.2500 in". A figure gets as many decimals as say no less than it
    /// said, and no more. What stands in quotes or backticks is left, and lines of a file (`14 | from =
    /// ...`), and all but the sign of a degree to whoever reads it as it is.
    #[must_use]
    pub fn restate(self, text: &str) -> Cow<'_, str> {
        if self == Self::default() && !text.contains("degC") {
            return Cow::Borrowed(text);
        }
        let mut told = String::new();
        // Up to here the text is in `told` already.
        let mut taken = 0;
        let mut at = 0;
        while let Some(rest) = text.get(at..).filter(|rest| !rest.is_empty()) {
            let begins_line = text.get(..at).is_none_or(|b| b.is_empty() || b.ends_with('\n'));
            if let Some(length) = line_of_file(rest).filter(|_| begins_line).or(quoted(rest)) {
                at += length;
            } else if let Some(figures) = Figures::at_start(text, at) {
                if let Some(instead) = self.instead_of(figures.unit) {
                    told.push_str(text.get(taken..at).unwrap_or_default());
                    figures.write(instead, &mut told);
                    taken = at + figures.length;
                }
                at += figures.length;
            } else {
                at += rest.chars().next().map_or(1, char::len_utf8);
            }
        }
        if taken == 0 {
            return Cow::Borrowed(text);
        }
        told.push_str(text.get(taken..).unwrap_or_default());
        Cow::Owned(told)
    }
}

/// How long the line is that a text begins with, where it is one of a file: its number and a bar.
fn line_of_file(text: &str) -> Option<usize> {
    let number = text.trim_start_matches(' ');
    let count = digits(number);
    let bar = number.get(count..).filter(|_| count > 0)?.trim_start_matches(' ');
    bar.starts_with('|').then(|| text.find('\n').unwrap_or(text.len()))
}

/// How long the quotation is that a text begins with; `None` when it begins with none, or with one
/// that has no end.
fn quoted(text: &str) -> Option<usize> {
    let mark = text.chars().next().filter(|mark| matches!(mark, '"' | '`'))?;
    let inside = text.get(mark.len_utf8()..)?;
    Some(mark.len_utf8() + inside.find(mark)? + mark.len_utf8())
}

/// A number as it was written.
#[derive(Debug, Clone, Copy)]
struct Number<'a> {
    /// What stands before its digits: a sign, or nothing.
    sign: &'a str,
    value: f64,
    places: usize,
    length: usize,
}

impl<'a> Number<'a> {
    /// The number that a text begins with, with its sign.
    fn at_start(text: &'a str) -> Option<Self> {
        let unsigned = text
            .strip_prefix(['-', '+', '\u{2212}'])
            .or_else(|| text.strip_prefix("\u{b1} "))
            .or_else(|| text.strip_prefix('\u{b1}'))
            .unwrap_or(text);
        let sign = text.get(..text.len() - unsigned.len())?;
        let whole = digits(unsigned);
        if whole == 0 {
            return None;
        }
        let fraction = unsigned.get(whole..)?.strip_prefix('.').map_or(0, digits);
        let written = if fraction == 0 { whole } else { whole + 1 + fraction };
        let size: f64 = unsigned.get(..written)?.parse().ok()?;
        let value = if matches!(sign, "-" | "\u{2212}") { -size } else { size };
        Some(Self { sign, value, places: fraction, length: sign.len() + written })
    }

    /// A deviation to both sides.
    fn is_deviation(&self) -> bool {
        self.sign.starts_with('\u{b1}')
    }

    /// In another unit, with so many decimals.
    fn write(&self, instead: Instead, places: usize, to: &mut String) {
        let offset = if self.is_deviation() { 0.0 } else { instead.offset };
        let told = fixed(self.value * instead.scale + offset, places);
        match (self.sign, told.strip_prefix('-')) {
            ("\u{2212}", Some(size)) => {
                to.push_str(self.sign);
                to.push_str(size);
            }
            ("+", None) | ("\u{b1}" | "\u{b1} ", _) => {
                to.push_str(self.sign);
                to.push_str(&told);
            }
            _ => to.push_str(&told),
        }
    }
}

fn digits(text: &str) -> usize {
    text.bytes().take_while(u8::is_ascii_digit).count()
}

/// Words between two numbers that have one unit together.
const BETWEEN: [&str; 6] = [" to ", " \u{2192} ", "\u{2013}", "-", " .. ", ".."];
/// The same after "between".
const AND: &str = " and ";

/// One number with its unit, or two that have theirs together.
#[derive(Debug)]
struct Figures<'a> {
    first: Number<'a>,
    /// What stands between the two, and the second.
    second: Option<(&'static str, Number<'a>)>,
    /// Between number and unit.
    space: &'a str,
    unit: &'a str,
    length: usize,
}

impl<'a> Figures<'a> {
    /// Those that begin at a place of a text. Digits within a word, a time or a longer number are
    /// none; nor is a number whose unit is a longer word than a unit.
    fn at_start(text: &'a str, at: usize) -> Option<Self> {
        let before = text.get(..at)?;
        let rest = text.get(at..)?;
        let joins = |letter: char| letter.is_alphanumeric() || "_.,:/^".contains(letter);
        if before.ends_with(joins) {
            return None;
        }
        let first = Number::at_start(rest)?;
        let after = rest.get(first.length..)?;
        let apart = before.trim_end().ends_with("between").then_some(AND);
        let second = BETWEEN.into_iter().chain(apart).find_map(|words| {
            let number = Number::at_start(after.strip_prefix(words)?)?;
            Some((words, number))
        });
        let numbers =
            first.length + second.map_or(0, |(words, number)| words.len() + number.length);
        let after = rest.get(numbers..)?;
        let word = after.trim_start_matches([' ', '\u{a0}']);
        let space = after.get(..after.len() - word.len())?;
        if space.chars().count() > 1 {
            return None;
        }
        let of_unit = |letter: char| letter.is_alphanumeric() || "/_\u{b0}^*".contains(letter);
        let unit = word.get(..word.find(|letter| !of_unit(letter)).unwrap_or(word.len()))?;
        let length = numbers + space.len() + unit.len();
        (!unit.is_empty()).then_some(Self { first, second, space, unit, length })
    }

    /// In another unit. Two that have it together have the decimals of the finer one.
    fn write(&self, instead: Instead, to: &mut String) {
        let second = self.second.as_ref().map(|(_, number)| number.places);
        let places = places(self.first.places.max(second.unwrap_or(0)), instead.scale);
        self.first.write(instead, places, to);
        if let Some((words, number)) = &self.second {
            to.push_str(words);
            number.write(instead, places, to);
        }
        to.push_str(self.space);
        to.push_str(instead.symbol);
    }
}

/// Decimals in the new unit: the fewest whose last is no coarser than the last in the old one was.
fn places(before: usize, scale: f64) -> usize {
    let mut last = scale.abs() * 0.1_f64.powi(i32::try_from(before).unwrap_or(i32::MAX));
    let mut places = 0;
    // A hair's breadth for what ten makes of powers of a tenth.
    while last < 1.0 - 1e-9 && places < MOST_PLACES {
        last *= 10.0;
        places += 1;
    }
    places
}

/// More decimals than any text of the core comes to.
const MOST_PLACES: usize = 12;

#[cfg(test)]
mod tests;
