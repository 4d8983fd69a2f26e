//! By what the part of a run is judged, whatever was found of it.

use std::collections::BTreeMap;

use evenpass_core::recipe::Inspection;

use super::reading::parsed;
use super::{Outcome, RecordError, RunId, RunRecord, Store};

/// The particular of a run that says why its part is measured; [`NOT_MEASURED`] where it is not.
pub const TO_BE_MEASURED: &str = "to be measured";

/// What [`TO_BE_MEASURED`] says of a part of a batch whose turn it is not.
pub const NOT_MEASURED: &str = "no";

/// By what a part is judged.
#[derive(Debug, Clone, PartialEq)]
pub struct Wanted {
    /// What became of the run.
    pub outcome: Outcome,
    /// The limits of its recipe, if it has any.
    pub limits: Option<Inspection>,
    /// Whether all of those limits want a reading, as of a first-off; of other parts a dye check
    /// alone does, where it is needed.
    pub measured: bool,
}

impl Wanted {
    /// What the record of a run says.
    #[must_use]
    pub fn of(run: &RunRecord) -> Self {
        Self::from_stored(run.summary.outcome, &run.recipe.text, &run.particulars)
    }

    fn from_stored(outcome: Outcome, recipe: &str, particulars: &BTreeMap<String, String>) -> Self {
        let measured = particulars.get(TO_BE_MEASURED).is_some_and(|why| why != NOT_MEASURED);
        Self { outcome, limits: Inspection::of_text(recipe), measured }
    }
}

impl Store {
    /// By what the part of a run is judged, without reading its entries.
    ///
    /// # Errors
    /// [`RecordError`] when the file can't be read, or has no such run.
    pub fn wanted(&self, id: &RunId) -> Result<Wanted, RecordError> {
        let one = "SELECT outcome, recipe, particulars FROM run WHERE id = ?1";
        let found = self.connection.query_row(one, [id.as_str()], |row| {
            Ok((row.get(0)?, row.get::<_, String>(1)?, parsed(row, 2)?))
        });
        let (outcome, recipe, particulars) = found.map_err(|source| self.sorted(source))?;
        Ok(Wanted::from_stored(self.outcome_seen(id, outcome)?, &recipe, &particulars))
    }
}
