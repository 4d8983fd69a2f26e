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
    ("mm/s", "mm/min"),
];

/// "did you mean ...?" for a figure that would be accepted with the unit it is often mixed up
/// with; `written` is its text.
pub(super) fn other_unit<Q: Quantity>(written: &str, bounds: &Bounds<Q>) -> Option<String> {
    let unit = |symbol: &str| Q::UNITS.iter().find(|unit| unit.symbol == symbol);
    let used = |unit: &Unit| {
        written
            .trim()
            .strip_suffix(unit.symbol)
            .filter(|number| {
                number.ends_with([' ', '.']) || number.ends_with(|end: char| end.is_ascii_digit())
            })
            .map(|number| number.trim().to_owned())
    };
    MIXED_UP.iter().flat_map(|(one, other)| [(one, other), (other, one)]).find_map(|(from, to)| {
        let number = used(unit(from)?)?;
        let meant = Q::from_base(unit(to)?.to_base(number.parse().ok()?));
        bounds.hold(&meant).then(|| format!("did you mean \"{number} {to}\"?"))
    })
}

/// "did you mean ...?" for a length that would be right if inches had been millimetres or the
/// other way round.
pub(crate) fn inches(found: Length, right: impl Fn(Length) -> bool) -> Option<String> {
    const INCH: f64 = 25.4;
    let as_mm = found / INCH;
    let as_inches = found * INCH;
    if right(as_mm) {
        return Some(format!("did you mean \"{as_mm}\"? {found} is {} in.", shown(as_mm.mm())));
    }
    right(as_inches).then(|| format!("did you mean \"{} in\"?", shown(found.mm())))
}

/// A number with at most three decimals.
fn shown(number: f64) -> String {
    let text = format!("{number:.3}");
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}
