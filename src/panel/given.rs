//! The fields of a form that has many of them.

use std::collections::BTreeSet;

/// The fields of a form, by their names; a reading that is made several times has `NAME.0` and so on.
#[derive(Debug, Clone, Copy)]
pub(super) struct Given<'a>(pub(super) &'a [(String, String)]);

impl<'a> Given<'a> {
    /// One field; empty when it was left empty or is not there.
    pub(super) fn one(self, name: &str) -> &'a str {
        self.0.iter().find(|(known, _)| known == name).map_or("", |(_, value)| value.trim())
    }

    /// One of a reading's fields.
    pub(super) fn at(self, name: &str, place: usize) -> &'a str {
        self.one(&format!("{name}.{place}"))
    }

    /// The numbers of the fields that a reading was given in, however many.
    pub(super) fn places(self, reading: &str) -> BTreeSet<usize> {
        let place = |name: &str| name.strip_prefix(reading)?.strip_prefix('.')?.parse().ok();
        self.0.iter().filter_map(|(name, _)| place(name)).collect()
    }

    pub(super) fn all(self, reading: &str) -> impl Iterator<Item = &'a str> {
        let places = self.places(reading).into_iter();
        places.map(move |place| self.at(reading, place)).filter(|text| !text.is_empty())
    }
}
