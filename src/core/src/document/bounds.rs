//! The range a figure may lie in, with where the range comes from.

use crate::quantity::{Length, Quantity, Unit};

/// The range of a figure, ends included, and its source.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Bounds<Q> {
    /// Smallest accepted.
    pub low: Q,
    /// Largest accepted.
    pub high: Q,
    /// Where the range comes from: a standard, a handbook, "common practice, no source".
    pub source: &'static str,
}

impl<Q: Copy> Bounds<Q> {
    /// From `low` to `high` by `source`.
    #[must_use]
    pub const fn new(low: Q, high: Q, source: &'static str) -> Self {
        Self { low, high, source }
    }
}

impl<Q: PartialOrd> Bounds<Q> {
    /// Whether the value is accepted.
    #[must_use]
    pub fn hold(&self, value: &Q) -> bool {
        self.low <= *value && *value <= self.high
    }
}

/// Pairs of units that are typed for one another.
const MIXED_UP: &[(&str, &str)] = &[
    ("in", "mm"),
    ("in/min", "mm/min"),
    ("ft/min", "m/min"),
    ("degF", "degC"),
    ("psi", "bar"),
    ("lb/h", "g/min"),
];

/// "did you mean ...?" for a figure that would be accepted with the unit it is often mixed up
/// with; `written` is its text.
pub(super) fn other_unit<Q: Quantity>(written: &str, bounds: &Bounds<Q>) -> Option<String> {
    let used = written_unit::<Q>(written)?.symbol;
    let number =
        written.trim().trim_end_matches(|letter: char| !letter.is_ascii_digit() && letter != '.');
    MIXED_UP.iter().flat_map(|(one, other)| [(one, other), (other, one)]).find_map(|(from, to)| {
        let to = Q::UNITS.iter().find(|unit| unit.symbol == *to && *from == used)?;
        let meant = Q::from_base(to.to_base(number.parse().ok()?));
        let likely = bounds.hold(&meant) && (used != "mm" || is_likely_in_inches(meant, bounds));
        likely.then(|| format!("did you mean \"{number} {}\"?", to.symbol))
    })
}

/// Nobody who writes millimetres and means so few of them means inches: a slip of the unit lands
/// well inside what is accepted, ten times its low end or more (arbitrary), not at its rim.
fn is_likely_in_inches<Q: Quantity>(meant: Q, bounds: &Bounds<Q>) -> bool {
    const WELL_INSIDE: f64 = 10.0;
    meant.base() >= bounds.low.base() * WELL_INSIDE
}

/// "did you mean ...?" for a length that would be right if its inches had been millimetres. Only
/// for lengths that are a plain number of inches: others were hardly typed in inches.
pub(crate) fn inches(found: Length, right: impl Fn(Length) -> bool) -> Option<String> {
    /// Millimetres in an inch.
    const INCH: f64 = 25.4;
    let number = found.mm() / INCH;
    let hundredths = number * 100.0;
    let plain = (hundredths - hundredths.round()).abs() < 1e-6;
    let meant = Length::from_mm(number);
    (plain && right(meant))
        .then(|| format!("did you mean \"{meant}\"? {found} is {} in.", trimmed(number)))
}

/// A number with at most three decimals.
pub(super) fn trimmed(number: f64) -> String {
    let text = format!("{number:.3}");
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}

/// The unit a quantity is written in, where it is one of its own.
pub(super) fn written_unit<Q: Quantity>(written: &str) -> Option<&'static Unit> {
    let number = |letter: char| letter.is_ascii_digit() || "+-.eE ".contains(letter);
    let unit = written.trim().trim_start_matches(number);
    Q::UNITS.iter().find(|known| known.is_called(unit))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn inches_are_suggested_where_a_slip_is_likely_and_not_for_a_mere_millimetre() {
        let mm = Length::from_mm;
        let standoff = Bounds::new(mm(10.0), mm(400.0), "a test");
        assert_eq!(other_unit("1 mm", &standoff), None);
        assert_eq!(other_unit("0.4 mm", &standoff), None);
        let inches = other_unit("6 mm", &standoff);
        assert_eq!(inches.as_deref(), Some("did you mean \"6 in\"?"));
        let diameter = Bounds::new(mm(3.0), mm(2000.0), "a test");
        assert_eq!(other_unit("1 mm", &diameter), None);
        assert!(other_unit("2.5 mm", &diameter).is_some());
        // Who writes inches where millimetres are meant is far out, and told.
        assert!(other_unit("160 in", &standoff).is_some());
    }
}
