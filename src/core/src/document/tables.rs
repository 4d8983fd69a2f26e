//! As many tables of a list as are wanted: the last one repeated, or the surplus taken away.

use core::ops::Range;

use toml::de::{DeTable, DeValue};

/// The text with `count` tables `[[key]]`: further ones repeat the last, comments in it included;
/// surplus ones go, with the comment right above them. `None` when the text has none, or writes
/// them as a list in one value.
pub(crate) fn with_tables(text: &str, key: &str, count: usize) -> Option<String> {
    let (root, _) = DeTable::parse_recoverable(text);
    let mut headers = Vec::new();
    collect(root.get_ref(), text, &mut headers);
    headers.sort_unstable();
    let mut held = None;
    let mut table = Some(root.get_ref());
    for step in key.split('.') {
        held = table.and_then(|table| table.get(step)).map(|value| value.get_ref());
        table = match held {
            Some(DeValue::Table(inner)) => Some(inner),
            _ => None,
        };
    }
    let Some(DeValue::Array(list)) = held else { return None };
    let starts: Vec<usize> = list.iter().map(|entry| entry.span().start).collect();
    let last = *starts.last()?;
    if count == 0 || !starts.iter().all(|start| headers.contains(start)) {
        return None;
    }
    let block = |start: usize| {
        let next = headers.iter().copied().find(|header| *header > start);
        start..significant_end(text, start, next.unwrap_or(text.len()))
    };
    if starts.len() > count {
        let surplus = starts.iter().skip(count).rev();
        return Some(surplus.fold(text.to_owned(), |text, start| {
            without(&text, &(above(&text, *start)..block(*start).end))
        }));
    }
    let block = block(last);
    let repeated = text.get(block.clone())?;
    let mut more = String::new();
    for _ in starts.len()..count {
        if !more.ends_with('\n') && !repeated.ends_with('\n') {
            more.push('\n');
        }
        more.push('\n');
        more.push_str(repeated);
    }
    Some(format!("{}{more}{}", text.get(..block.end)?, text.get(block.end..)?))
}

/// Where every table that a header opens begins.
fn collect(table: &DeTable<'_>, text: &str, headers: &mut Vec<usize>) {
    let mut see = |held: &toml::Spanned<DeValue<'_>>| {
        if let DeValue::Table(inner) = held.get_ref() {
            if text.get(held.span()).is_some_and(|text| text.starts_with('[')) {
                headers.push(held.span().start);
            }
            collect(inner, text, headers);
        }
    };
    for (_, held) in table {
        match held.get_ref() {
            DeValue::Array(list) => list.iter().for_each(&mut see),
            _ => see(held),
        }
    }
}

/// Behind the last line between two places that is neither empty nor a comment.
fn significant_end(text: &str, start: usize, before: usize) -> usize {
    let mut end = start;
    let mut at = start;
    for line in text.get(start..before).unwrap_or("").split_inclusive('\n') {
        at += line.len();
        let line = line.trim();
        if !line.is_empty() && !line.starts_with('#') {
            end = at;
        }
    }
    end
}

/// Where the comment right above a header begins, or the header itself.
fn above(text: &str, header: usize) -> usize {
    let mut start = header;
    for line in text.get(..header).unwrap_or("").split_inclusive('\n').rev() {
        if !line.trim_start().starts_with('#') {
            break;
        }
        start -= line.len();
    }
    start
}

/// The text without a block and the empty lines before it.
fn without(text: &str, block: &Range<usize>) -> String {
    let before = text.get(..block.start).unwrap_or("").trim_end_matches('\n');
    let after = text.get(block.end..).unwrap_or("");
    if before.is_empty() { after.to_owned() } else { format!("{before}\n{after}") }
}

#[cfg(test)]
mod tests {
    use super::*;

    const TWO: &str = "\
title = \"a\"
# First.
[[zone]]
name = \"x\"   # here

# Second.
[[zone]]
# inside
name = \"y\"

# Warming.
[preheat]
soak = \"1 s\"
";

    #[test]
    fn the_last_table_is_repeated_with_its_comments() {
        let found = with_tables(TWO, "zone", 3).expect("there are zones");
        let second = "[[zone]]\n# inside\nname = \"y\"\n";
        assert!(found.contains(&format!("# Second.\n{second}\n{second}\n# Warming.\n[preheat]")));
        assert_eq!(with_tables(TWO, "zone", 2).as_deref(), Some(TWO));
        let bare = "[[zone]]\nname = \"x\"";
        assert_eq!(
            with_tables(bare, "zone", 3).as_deref(),
            Some("[[zone]]\nname = \"x\"\n\n[[zone]]\nname = \"x\"\n\n[[zone]]\nname = \"x\"")
        );
    }

    #[test]
    fn surplus_tables_go_with_the_comment_above_them() {
        let found = with_tables(TWO, "zone", 1).expect("there are zones");
        let expected = "\
title = \"a\"
# First.
[[zone]]
name = \"x\"   # here

# Warming.
[preheat]
soak = \"1 s\"
";
        assert_eq!(found, expected);
    }

    #[test]
    fn what_stands_between_surplus_tables_stays() {
        let apart =
            "[[zone]]\na = 1\n\n[[zone]]\na = 2\n\n[cool]\nb = 1\n\n# Third.\n[[zone]]\na = 3\n";
        let found = with_tables(apart, "zone", 1);
        assert_eq!(found.as_deref(), Some("[[zone]]\na = 1\n\n[cool]\nb = 1\n"));
    }

    #[test]
    fn a_list_that_is_one_value_is_left_alone() {
        assert_eq!(with_tables("zone = [{ a = 1 }]", "zone", 2), None);
        assert_eq!(with_tables("a = 1", "zone", 2), None);
        assert_eq!(with_tables(TWO, "zone", 0), None);
        let nested = "[part]\nname = \"x\"\n[[part.profile]]\nat = \"0 mm\"\n";
        let found = with_tables(nested, "part.profile", 2).expect("headed");
        assert_eq!(found.matches("[[part.profile]]").count(), 2);
    }
}
