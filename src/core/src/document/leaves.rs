//! Every single value of a text, by its path: what a person can change one by one.

use toml::de::{DeTable, DeValue};

use super::differences::shown;
use super::index::child;
use super::problem::Problems;
use super::set::{FieldValue, label, names_of};
use super::syntax;

/// One value of a text.
#[derive(Debug, Clone, PartialEq, Eq)]
#[non_exhaustive]
pub struct Leaf {
    /// The field, with an entry of a list by its name where that can mean no other:
    /// `zone[seat].finish`. As [`super::set`] takes it.
    pub path: String,
    /// What the text has, without quotes.
    pub shown: String,
    /// Whether it stands in quotes.
    pub quoted: bool,
}

impl Leaf {
    /// Another value for the field, written as this one is.
    #[must_use]
    pub fn with(&self, value: &str) -> FieldValue {
        if self.quoted {
            FieldValue::Text(value.to_owned())
        } else {
            FieldValue::Plain(value.to_owned())
        }
    }
}

/// Every value, in the text's own order of tables.
///
/// # Errors
/// What is wrong with the text as TOML.
pub fn leaves(text: &str) -> Result<Vec<Leaf>, Problems> {
    let (table, errors) = DeTable::parse_recoverable(text);
    if !errors.is_empty() {
        return Err(syntax::problems(text, &errors).0.placed(text));
    }
    let mut found = Vec::new();
    let mut fields: Vec<(usize, String, &DeValue<'_>)> = Vec::new();
    for (key, value) in table.get_ref() {
        fields.push((key.span().start, key.get_ref().to_string(), value.get_ref()));
    }
    fields.sort_by_key(|(place, ..)| *place);
    for (_, path, value) in fields {
        walk(path, value, &mut found);
    }
    Ok(found)
}

fn walk(path: String, value: &DeValue<'_>, found: &mut Vec<Leaf>) {
    match value {
        DeValue::Table(table) => {
            let mut fields: Vec<_> = table.iter().collect();
            fields.sort_by_key(|(key, _)| key.span().start);
            for (key, value) in fields {
                walk(child(&path, key.get_ref()), value.get_ref(), found);
            }
        }
        DeValue::Array(list) => {
            let names = names_of(list.iter().map(|entry| entry.get_ref()));
            for (place, entry) in list.iter().enumerate() {
                walk(label(&path, &names, place), entry.get_ref(), found);
            }
        }
        _ => found.push(Leaf { path, shown: shown(value), quoted: value.is_str() }),
    }
}

#[cfg(test)]
mod tests {
    use super::super::set;
    use super::*;

    const TEXT: &str = "\
title = \"a shaft\"
revision = 2

[part]
profile = [{ at = \"0 mm\", diameter = \"50 mm\" }]

[[zone]]
name = \"seat\"
finish = \"0.3 mm\" # radial
";

    #[test]
    fn every_value_is_told_in_the_order_of_the_text_and_can_be_set_by_its_path() {
        let found = leaves(TEXT).unwrap();
        let paths: Vec<&str> = found.iter().map(|leaf| leaf.path.as_str()).collect();
        assert_eq!(
            paths,
            [
                "title",
                "revision",
                "part.profile[1].at",
                "part.profile[1].diameter",
                "zone[seat].name",
                "zone[seat].finish"
            ]
        );
        let same: Vec<_> =
            found.iter().map(|leaf| (leaf.path.clone(), leaf.with(&leaf.shown))).collect();
        assert_eq!(set(TEXT, &same).unwrap(), TEXT);
        let finish = [("zone[seat].finish".to_owned(), found[5].with("0.4 mm"))];
        assert_eq!(set(TEXT, &finish).unwrap(), TEXT.replace("0.3 mm", "0.4 mm"));
    }

    /// Names that a place, another entry or the path itself could be taken for.
    const NAMES: [&str; 12] = [
        "1",
        "2",
        "3",
        "+1",
        "02",
        "0",
        "",
        "seat",
        "a]",
        "a].finish",
        "b. [c",
        "18446744073709551616",
    ];

    /// Numbers from a seed (xorshift64, Marsaglia 2003).
    struct Dice(u64);

    impl Dice {
        fn below(&mut self, end: usize) -> usize {
            self.0 ^= self.0 << 13;
            self.0 ^= self.0 >> 7;
            self.0 ^= self.0 << 17;
            usize::try_from(self.0 % u64::try_from(end).unwrap()).unwrap()
        }
    }

    #[test]
    fn a_leaf_that_is_set_changes_and_no_other_whatever_the_entries_are_called() {
        let mut dice = Dice(0x5eed);
        for _ in 0..300 {
            let mut text = "title = \"a\"\n".to_owned();
            for _ in 0..=dice.below(5) {
                let name = match dice.below(NAMES.len() + 1) {
                    at if at < NAMES.len() => format!("name = \"{}\"\n", NAMES[at]),
                    _ => String::new(),
                };
                text += &format!("[[zone]]\n{name}finish = \"0.3 mm\"\npasses = 3\n");
            }
            let before = leaves(&text).unwrap();
            for (at, leaf) in before.iter().enumerate() {
                let other = if leaf.quoted { "changed" } else { "77" };
                let field = (leaf.path.clone(), leaf.with(other));
                let made = set(&text, &[field]).unwrap_or_else(|told| panic!("{text}\n{told}"));
                // A zone that is called otherwise may be told otherwise: values count, in order.
                let expected: Vec<&str> = (0..)
                    .zip(&before)
                    .map(|(place, leaf)| if place == at { other } else { leaf.shown.as_str() })
                    .collect();
                let after = leaves(&made).unwrap();
                let after: Vec<&str> = after.iter().map(|leaf| leaf.shown.as_str()).collect();
                assert_eq!(after, expected, "{} in:\n{text}", leaf.path);
            }
        }
    }
}
