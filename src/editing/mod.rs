//! Files of a user edited by the program: one field or several set in the text, the result read
//! by the reader of its kind, and the file replaced whole or not at all.
//!
//! Everything else in the text stays as its writer left it, comments and order included
//! ([`evenpass_core::document::set`]).

mod replacing;

use evenpass_core::catalogue::Catalogue;
use evenpass_core::document::{FieldValue, Problems, set};
use evenpass_core::interlock::check_figures;
use evenpass_core::recipe::Recipe;
use evenpass_core::rig::Rig;

pub use replacing::{Backup, Digest, Replaced, TextFile, open, replace};

/// What a text has to be.
#[derive(Debug, Clone, Copy)]
pub enum Kind<'a> {
    /// A rig file.
    Rig,
    /// A recipe, by this catalogue.
    Recipe(&'a Catalogue),
    /// The torches of a catalogue, beside the text of its powders.
    Torches {
        /// The powders' text.
        powders: &'a str,
    },
}

impl Kind<'_> {
    /// Reads a text as what it has to be.
    ///
    /// # Errors
    /// Everything that is wrong with it.
    pub fn check(self, text: &str) -> Result<(), Problems> {
        match self {
            Self::Rig => {
                let figures = check_figures(&Rig::read(text)?);
                if figures.forbid() { Err(figures) } else { Ok(()) }
            }
            Self::Recipe(catalogue) => Recipe::read(text, catalogue).map(drop),
            Self::Torches { powders } => {
                /// Problems come back by file; those of the powders are nobody's who edits torches.
                const TORCHES: &str = "torches";
                let files = [("powders", powders), (TORCHES, text)];
                let Err(problems) = Catalogue::read(&files) else { return Ok(()) };
                let own = problems.iter().filter(|(name, _)| *name == TORCHES);
                let own: Problems = own.flat_map(|(_, list)| list.clone()).collect();
                let others = problems.iter().flat_map(|(_, list)| list.clone());
                Err(if own.forbid() { own } else { others.collect() })
            }
        }
    }
}

/// A text with fields set, read as what it has to be. Nothing is written.
///
/// # Errors
/// Fields that cannot be set, or everything that is wrong with the text as it would be; places
/// are those of that text, so show problems by their paths.
pub fn edit(
    text: &str,
    fields: &[(String, FieldValue)],
    kind: Kind<'_>,
) -> Result<String, Problems> {
    let edited = set(text, fields)?;
    kind.check(&edited)?;
    Ok(edited)
}

#[cfg(test)]
mod tests {
    use super::*;

    const BENCH: &str = include_str!("../../config/rigs/bench.toml");
    const POWDERS: &str = include_str!("../../config/powders.toml");
    const TORCHES: &str = include_str!("../../config/torches.toml");
    const RECIPE: &str = include_str!("../../config/recipes/stepped-shaft.toml");

    fn text(path: &str, value: &str) -> (String, FieldValue) {
        (path.to_owned(), FieldValue::Text(value.to_owned()))
    }

    fn catalogue() -> Catalogue {
        let files = [("powders.toml", POWDERS), ("torches.toml", TORCHES)];
        Catalogue::read(&files).expect("the shipped catalogue")
    }

    /// Lines that differ.
    fn changed(old: &str, new: &str) -> Vec<(String, String)> {
        assert_eq!(old.lines().count(), new.lines().count());
        let pairs = old.lines().zip(new.lines()).filter(|(old, new)| old != new);
        pairs.map(|(old, new)| (old.to_owned(), new.to_owned())).collect()
    }

    #[test]
    fn only_the_edited_line_of_a_rig_changes_and_its_comment_stays() {
        let fields = [("axis.pulses_per_mm".to_owned(), FieldValue::Plain("396.04".to_owned()))];
        let edited = edit(BENCH, &fields, Kind::Rig).expect("a rig");
        let comment = "     # 200 steps, 10 microsteps, 5 mm lead";
        let expected =
            [400.0, 396.04].map(|pulses: f64| format!("pulses_per_mm = {pulses}{comment}"));
        assert_eq!(changed(BENCH, &edited), [expected.into()]);
    }

    #[test]
    fn a_zone_is_edited_by_its_name_and_the_other_stays() {
        let catalogue = catalogue();
        let fields = [text("zone[large seat].finish", "0.40 mm")];
        let edited = edit(RECIPE, &fields, Kind::Recipe(&catalogue)).expect("a recipe");
        assert_eq!(changed(RECIPE, &edited).len(), 1);
        let recipe = Recipe::read(&edited, &catalogue).expect("a recipe");
        let finishes: Vec<f64> = recipe.zones.iter().map(|zone| zone.finish.mm()).collect();
        assert_eq!(finishes, [0.3, 0.4]);
    }

    #[test]
    fn a_value_that_its_reader_refuses_is_told_by_its_path_and_leaves_nothing() {
        let catalogue = catalogue();
        let cases = [
            (
                RECIPE,
                text("zone[large seat].finish", "0.40"),
                Kind::Recipe(&catalogue),
                "has no unit",
            ),
            (RECIPE, text("zone[1].to", "900 mm"), Kind::Recipe(&catalogue), "zone[1].to: "),
            (BENCH, text("axis.jog", "200 mm/s"), Kind::Rig, "axis.jog: "),
            (BENCH, text("interlock.flame_lost.delay", "9 s"), Kind::Rig, "flame_lost"),
            (
                TORCHES,
                text("torch[spray-6].powder_delay_on", "60 s"),
                Kind::Torches { powders: POWDERS },
                "powder_delay_on: ",
            ),
            (
                TORCHES,
                text("torch[spray-6].plume", "6 mm"),
                Kind::Torches { powders: "x = 1" },
                "x",
            ),
        ];
        for (own, field, kind, words) in cases {
            let told = edit(own, std::slice::from_ref(&field), kind).expect_err(words).to_string();
            assert!(told.contains(words), "{field:?}: {told}");
        }
    }
}
