//! Every single value of a text, by its path: what a person can change one by one.

use toml::de::{DeTable, DeValue};

use super::differences::{label, shown};
use super::index::child;
use super::problem::Problems;
use super::set::FieldValue;
use super::syntax;

/// One value of a text.
#[derive(Debug, Clone, PartialEq, Eq)]
#[non_exhaustive]
pub struct Leaf {
    /// The field, with an entry of a list by its name where it has one: `zone[seat].finish`. As
    /// [`super::set`] takes it.
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
            for (place, entry) in list.iter().enumerate() {
                walk(label(&path, entry.get_ref(), place), entry.get_ref(), found);
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
}
