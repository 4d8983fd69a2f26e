//! Reading "number, unit" text, and saying well what is wrong with it.

use core::fmt;

/// One unit a quantity can be written in: `base = value * scale + offset`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Unit {
    /// How it is printed.
    pub symbol: &'static str,
    /// Other spellings that are read.
    pub aliases: &'static [&'static str],
    /// Base units in one of these.
    pub scale: f64,
    /// What is added after scaling (only temperatures have one).
    pub offset: f64,
}

impl Unit {
    /// A proportional unit.
    #[must_use]
    pub const fn new(symbol: &'static str, aliases: &'static [&'static str], scale: f64) -> Self {
        Self { symbol, aliases, scale, offset: 0.0 }
    }

    /// A unit with another zero.
    #[must_use]
    pub const fn shifted(
        symbol: &'static str,
        aliases: &'static [&'static str],
        scale: f64,
        offset: f64,
    ) -> Self {
        Self { symbol, aliases, scale, offset }
    }

    /// Whether this is how the unit is spelled.
    #[must_use]
    pub fn is_called(&self, text: &str) -> bool {
        self.symbol == text || self.aliases.contains(&text)
    }

    /// From this unit to the base unit.
    #[must_use]
    pub fn to_base(&self, value: f64) -> f64 {
        value * self.scale + self.offset
    }

    /// From the base unit to this one.
    #[must_use]
    pub fn from_base(&self, base: f64) -> f64 {
        (base - self.offset) / self.scale
    }
}

/// Why a text is no quantity of the kind wanted.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct QuantityError {
    /// What is wrong, as a phrase without the field's name.
    pub what: String,
    /// How one is written, with the units.
    pub accepted: String,
    /// What was probably meant, where that can be guessed.
    pub hint: Option<String>,
}

impl fmt::Display for QuantityError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.what)?;
        if let Some(hint) = &self.hint {
            write!(f, "; {hint}")?;
        }
        write!(f, "; accepted: {}", self.accepted)
    }
}

impl core::error::Error for QuantityError {}

/// Reads `text` as a number and one of `units`, and returns the value in the base unit.
/// `owner_of` tells which other kind of quantity a unit belongs to, for the message.
pub(super) fn parse(
    text: &str,
    name: &str,
    units: &[Unit],
    owner_of: &dyn Fn(&str) -> Option<&'static str>,
) -> Result<f64, QuantityError> {
    let fail = |what: String, hint: Option<String>| {
        Err(QuantityError { what, accepted: accepted(name, units), hint })
    };
    let trimmed = text.trim();
    let split = number_length(trimmed);
    let (number, unit) = trimmed.split_at_checked(split).unwrap_or((trimmed, ""));
    let unit = unit.trim();
    if number.is_empty() {
        let lower = trimmed.trim_start_matches(['+', '-']).to_ascii_lowercase();
        if lower.starts_with("nan") || lower.starts_with("inf") {
            return fail(format!("`{text}` is not a finite number"), None);
        }
        return fail(format!("`{text}` does not start with a number"), None);
    }
    if unit.starts_with(',') {
        let fixed = trimmed.replacen(',', ".", 1);
        return fail(
            format!("`{text}` has a decimal comma"),
            Some(format!("write a decimal point: \"{fixed}\"")),
        );
    }
    let Ok(value) = number.parse::<f64>() else {
        return fail(format!("`{number}` is not a number"), None);
    };
    if !value.is_finite() {
        return fail(format!("`{text}` is too large"), None);
    }
    if unit.is_empty() {
        let usual = units.first().map_or("", |unit| unit.symbol);
        let hint = format!("write \"{number} {usual}\" if that is the unit meant");
        return fail(format!("`{text}` has no unit"), Some(hint));
    }
    let Some(found) = units.iter().find(|known| known.is_called(unit)) else {
        if let Some(owner) = owner_of(unit) {
            return fail(format!("`{unit}` is a unit of {owner}, not of {name}"), None);
        }
        let hint = nearest(unit, units).map(|near| format!("did you mean \"{number} {near}\"?"));
        return fail(format!("`{unit}` is not a unit of {name}"), hint);
    };
    let base = found.to_base(value);
    if base.is_finite() { Ok(base) } else { fail(format!("`{text}` is too large"), None) }
}

/// How many bytes at the start of `text` make the number.
fn number_length(text: &str) -> usize {
    let bytes = text.as_bytes();
    let at = |index: usize| bytes.get(index).copied().unwrap_or(0);
    let digits = |mut index: usize| {
        while at(index).is_ascii_digit() {
            index += 1;
        }
        index
    };
    let sign = usize::from(matches!(at(0), b'+' | b'-'));
    let whole = digits(sign);
    let end = if at(whole) == b'.' { digits(whole + 1) } else { whole };
    if end == sign || (end == sign + 1 && at(sign) == b'.') {
        return 0;
    }
    if matches!(at(end), b'e' | b'E') {
        let exponent = end + 1 + usize::from(matches!(at(end + 1), b'+' | b'-'));
        if at(exponent).is_ascii_digit() {
            return digits(exponent);
        }
    }
    end
}

fn accepted(name: &str, units: &[Unit]) -> String {
    let list = units.iter().map(|unit| unit.symbol).collect::<Vec<_>>().join(", ");
    format!("a {name}: a number and a unit ({list})")
}

fn nearest(found: &str, units: &[Unit]) -> Option<&'static str> {
    units
        .iter()
        .flat_map(|unit| {
            core::iter::once(&unit.symbol).chain(unit.aliases).map(|name| (unit.symbol, *name))
        })
        .map(|(symbol, name)| (strsim::damerau_levenshtein(found, name), symbol))
        .filter(|(distance, symbol)| *distance <= 1 + symbol.len() / 4)
        .min_by_key(|(distance, _)| *distance)
        .map(|(_, symbol)| symbol)
}
