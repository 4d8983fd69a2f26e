//! What two texts say otherwise: values, not how they are written. A comment, the order of lines
//! and the unit of a figure are no difference; "0.5 in" and "12.7 mm" are one length.

use serde::Serialize;
use toml::de::{DeTable, DeValue};

use super::index::child;
use super::problem::Problems;
use super::set::{label, name_of, names_of};
use super::syntax;
use crate::quantity::is_same_figure;

/// One field that two texts say otherwise.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
#[non_exhaustive]
pub struct Difference {
    /// The field, with an entry of a list by its name where that can mean no other:
    /// `zone[seat].finish`.
    pub path: String,
    /// What the old text has, without quotes; `None` when it has no such field.
    pub old: Option<String>,
    /// What the new text has; `None` when it has no such field.
    pub new: Option<String>,
}

/// Every field that differs, in the order of the new text's tables. Entries of a list are held
/// against the one of the same name; those whose names stand only on one side, in their order.
///
/// # Errors
/// What is wrong with the old, or else the new text as TOML.
pub fn differences(old: &str, new: &str) -> Result<Vec<Difference>, Problems> {
    let mut found = Vec::new();
    let [old, new] = [tables(old)?, tables(new)?];
    compare_tables("", Some(&old), Some(&new), &mut found);
    Ok(found)
}

fn tables(text: &str) -> Result<DeTable<'_>, Problems> {
    let (table, errors) = DeTable::parse_recoverable(text);
    if errors.is_empty() {
        return Ok(table.into_inner());
    }
    Err(syntax::problems(text, &errors).0.placed(text))
}

fn compare_tables(
    path: &str,
    old: Option<&DeTable<'_>>,
    new: Option<&DeTable<'_>>,
    found: &mut Vec<Difference>,
) {
    let mut keys: Vec<&str> = Vec::new();
    for (key, _) in [new, old].into_iter().flatten().flatten() {
        let key: &str = key.get_ref();
        if !keys.contains(&key) {
            keys.push(key);
        }
    }
    for key in keys {
        let held = [old, new].map(|table| table.and_then(|table| table.get(key)));
        compare(&child(path, key), held.map(|held| held.map(|held| held.get_ref())), found);
    }
}

fn compare(path: &str, pair: [Option<&DeValue<'_>>; 2], found: &mut Vec<Difference>) {
    match pair {
        [None, None] => {}
        [old, new] if is_kind(pair, |value| value.is_table()) => {
            let [old, new] = [old, new].map(|value| value.and_then(DeValue::as_table));
            compare_tables(path, old, new, found);
        }
        [old, new] if is_kind(pair, |value| value.is_array()) => {
            compare_lists(path, &entries(old), &entries(new), found);
        }
        [old, new] => {
            let same = match (old, new) {
                (Some(old), Some(new)) => says_the_same(old, new),
                _ => false,
            };
            if !same {
                found.push(Difference {
                    path: path.to_owned(),
                    old: old.map(shown),
                    new: new.map(shown),
                });
            }
        }
    }
}

/// Whether those that are there are of this kind.
fn is_kind(pair: [Option<&DeValue<'_>>; 2], kind: impl Fn(&DeValue<'_>) -> bool) -> bool {
    pair.into_iter().flatten().all(kind)
}

fn entries<'t, 'a>(value: Option<&'t DeValue<'a>>) -> Vec<&'t DeValue<'a>> {
    match value {
        Some(DeValue::Array(list)) => list.iter().map(|entry| entry.get_ref()).collect(),
        _ => Vec::new(),
    }
}

fn compare_lists(
    path: &str,
    old: &[&DeValue<'_>],
    new: &[&DeValue<'_>],
    found: &mut Vec<Difference>,
) {
    let is_named = |list: &[&DeValue<'_>], name: &str| {
        list.iter().any(|entry| name_of(entry).is_some_and(|known| known == name))
    };
    let lonely = |entry: &&DeValue<'_>, others: &[&DeValue<'_>]| {
        name_of(entry).is_none_or(|name| !is_named(others, name))
    };
    let mut left = old.iter().copied().filter(|entry| lonely(entry, new));
    let names = names_of(new.iter().copied());
    for (place, entry) in new.iter().enumerate() {
        let other = match name_of(entry).filter(|name| is_named(old, name)) {
            Some(name) => old.iter().copied().find(|old| name_of(old) == Some(name)),
            None => left.next(),
        };
        compare(&label(path, &names, place), [other, Some(*entry)], found);
    }
    // Those left over stand behind the new ones, where no entry is.
    let left: Vec<_> = left.collect();
    let names: Vec<_> = names.into_iter().chain(names_of(left.iter().copied())).collect();
    for (place, entry) in left.into_iter().enumerate() {
        compare(&label(path, &names, new.len() + place), [Some(entry), None], found);
    }
}

fn says_the_same(old: &DeValue<'_>, new: &DeValue<'_>) -> bool {
    let number = |value: &DeValue<'_>| match value {
        DeValue::Integer(_) | DeValue::Float(_) => {
            shown(value).replace('_', "").parse::<f64>().ok()
        }
        _ => None,
    };
    match (old, new) {
        (DeValue::String(old), DeValue::String(new)) => {
            old.trim() == new.trim() || is_same_figure(old, new)
        }
        _ => match (number(old), number(new)) {
            (Some(old), Some(new)) => old.total_cmp(&new).is_eq(),
            _ => shown(old) == shown(new) && old.is_str() == new.is_str(),
        },
    }
}

/// A value as a person reads it.
pub(super) fn shown(value: &DeValue<'_>) -> String {
    match value {
        DeValue::String(text) => text.trim().to_owned(),
        DeValue::Integer(integer) => integer.as_str().to_owned(),
        DeValue::Float(float) => float.as_str().to_owned(),
        DeValue::Boolean(is) => is.to_string(),
        DeValue::Datetime(date) => date.to_string(),
        DeValue::Array(_) => "a list".to_owned(),
        DeValue::Table(_) => "a table".to_owned(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn told(old: &str, new: &str) -> Vec<String> {
        let shown = |value: Option<String>| value.unwrap_or_else(|| "-".to_owned());
        let found = differences(old, new).expect("both are TOML");
        found
            .into_iter()
            .map(|one| format!("{}: {} > {}", one.path, shown(one.old), shown(one.new)))
            .collect()
    }

    #[test]
    fn how_a_value_is_written_is_no_difference() {
        let old =
            "a = \"0.50 mm\" # x\nb = \"1 in\"\nc = 9\nw = { from = \"1 degC\", to = \"2 s\" }";
        let new = "c = 9\nb = \"25.4 mm\"\na = \"0.5 mm\"\n[w]\nfrom = \"33.8 degF\"\nto = \"2 s\"";
        assert_eq!(told(old, new), Vec::<String>::new());
    }

    #[test]
    fn other_values_new_fields_and_fields_left_out_are_told_by_their_paths() {
        let old = "a = \"1 mm\"\nb = 9\nw = { from = \"1 s\" }\nlist = [\"1 mm\", \"2 mm\"]";
        let new = "a = \"1 in\"\nw = { from = \"1 s\", to = \"2 s\" }\nlist = [\"1 mm\"]";
        let mut found = told(old, new);
        found.sort();
        let expected = ["a: 1 mm > 1 in", "b: 9 > -", "list[2]: 2 mm > -", "w.to: - > 2 s"];
        assert_eq!(found, expected);
    }

    #[test]
    fn entries_are_held_against_those_of_their_name() {
        let zone = |name: &str, finish: &str| {
            format!("[[zone]]\nname = \"{name}\"\nfinish = \"{finish}\"\n")
        };
        let old = zone("seat", "0.3 mm") + &zone("track", "0.4 mm");
        let added = zone("nose", "0.1 mm") + &zone("seat", "0.3 mm") + &zone("track", "0.5 mm");
        let mut found = told(&old, &added);
        found.sort();
        let expected = [
            "zone[nose].finish: - > 0.1 mm",
            "zone[nose].name: - > nose",
            "zone[track].finish: 0.4 mm > 0.5 mm",
        ];
        assert_eq!(found, expected);
        let renamed = zone("seat A", "0.3 mm") + &zone("track", "0.4 mm");
        assert_eq!(told(&old, &renamed), ["zone[seat A].name: seat > seat A"]);
    }

    #[test]
    fn a_text_that_is_no_toml_is_told_and_not_compared() {
        let problems = differences("a = 1", "a = ").expect_err("torn");
        assert!(problems.to_string().contains("this is not TOML"), "{problems}");
    }
}
