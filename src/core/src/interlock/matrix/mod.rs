//! The cause-and-effect matrix (the form is that of IEC 62881: rows are causes, columns effects).

mod beyond;
mod course;
mod row;
mod source;
mod subject;
mod table;
mod words;

pub use beyond::{BEYOND, Beyond};
pub use course::{Act, Actor, Column, OrderedEffect, When};
pub use row::{
    AirEffect, Arming, Circuit, Lamp, Meanwhile, Raised, Reference, ResetRule, Row, RowEffects,
    SetPoint, Tighter, Watch,
};
pub use source::Source;
pub use subject::Subject;
pub(super) use table::{FUEL_LIMIT, ROWS};

/// Every row, by rising number.
pub fn rows() -> impl ExactSizeIterator<Item = &'static Row> {
    ROWS.iter()
}

/// The row of that key.
#[must_use]
pub fn row(key: &str) -> Option<&'static Row> {
    ROWS.iter().find(|row| row.key == key)
}
