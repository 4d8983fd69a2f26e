//! Values as TOML writes them.

use toml::de::DeTable;

/// A value as TOML: as it stands where it is a number, a list, a table or quoted text, else as
/// text.
pub(super) fn as_toml(value: &str) -> String {
    let line = format!("value = {value}");
    let plain = DeTable::parse(&line).ok().and_then(|table| {
        let mut entries = table.get_ref().iter();
        let (_, held) = entries.next()?;
        let is_only = entries.next().is_none();
        // Without a comment that stood behind it.
        line.get(held.span()).filter(|_| is_only).map(str::to_owned)
    });
    plain.unwrap_or_else(|| quoted_text(value))
}

/// Text as TOML has it: in double quotes, on one line.
pub(super) fn quoted_text(text: &str) -> String {
    let mut quoted = String::from("\"");
    for c in text.chars() {
        match c {
            '\\' | '"' => quoted.extend(['\\', c]),
            '\n' => quoted.push_str("\\n"),
            c if c.is_control() => quoted.push_str(&format!("\\u{:04X}", u32::from(c))),
            c => quoted.push(c),
        }
    }
    quoted.push('"');
    quoted
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_number_a_table_and_quoted_text_stay_what_they_are_and_nothing_gets_out_of_its_value() {
        for (value, found) in [
            ("9", "9"),
            ("{ from = \"1 K\" } # note", "{ from = \"1 K\" }"),
            ("\"9\"", "\"9\""),
            ("5 mm", "\"5 mm\""),
            ("1\u{fffd}b = 2", "\"1\u{fffd}b = 2\""),
            ("a\\", "\"a\\\\\""),
        ] {
            assert_eq!(as_toml(value), found);
        }
    }
}
