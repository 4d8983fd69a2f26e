//! Text from outside as it may be shown: on a screen, and in a page.

/// Without what a terminal would obey, and without what would turn the direction of reading.
#[must_use]
pub fn harmless(text: &str) -> String {
    let obeyed = |c: char| c.is_control() && c != '\n';
    let turns = |c: char| matches!(c, '\u{200e}' | '\u{200f}' | '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}');
    text.chars().map(|c| if obeyed(c) || turns(c) { '\u{fffd}' } else { c }).collect()
}

/// Harmless, and in one line: a name or a word that a person gave.
#[must_use]
pub fn one_line(text: &str) -> String {
    harmless(text).replace('\n', "\u{fffd}")
}

/// Harmless, and nothing in it is markup.
#[must_use]
pub fn escaped(text: &str) -> String {
    let mut safe = String::with_capacity(text.len());
    for letter in harmless(text).chars() {
        match letter {
            '&' => safe.push_str("&amp;"),
            '<' => safe.push_str("&lt;"),
            '>' => safe.push_str("&gt;"),
            '"' => safe.push_str("&quot;"),
            '\'' => safe.push_str("&#39;"),
            other => safe.push(other),
        }
    }
    safe
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_word_that_a_person_gave_begins_no_line_of_its_own() {
        assert_eq!(one_line("a\nb\u{1b}[31mc"), "a\u{fffd}b\u{fffd}[31mc");
    }

    #[test]
    fn text_from_outside_cannot_become_markup() {
        assert_eq!(
            escaped("<b>\"P&T\"</b>'\u{202e}"),
            "&lt;b&gt;&quot;P&amp;T&quot;&lt;/b&gt;&#39;\u{fffd}"
        );
    }
}
