//! Text from outside as it may be shown, on a screen and in a page; and as it may be kept. And how a
//! column of a table is laid out on either.

/// How a column is laid out.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Layout {
    /// Words of one line.
    Word,
    /// Figures, flush right.
    Figure,
    /// Prose, broken where the page ends.
    Prose,
}

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

/// One line that a person gives for the record.
#[derive(Debug, Clone, Copy)]
pub struct Line {
    what: &'static str,
    longest: usize,
}

/// Why a line is not kept.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct NoLine {
    /// What was found.
    pub told: String,
    /// What would be kept.
    pub accepted: String,
}

impl Line {
    /// A person's name: one line of a list (arbitrary).
    pub const NAME: Self = Self { what: "name", longest: 80 };
    /// A reason: a few lines of a list (arbitrary).
    pub const REASON: Self = Self { what: "reason", longest: 300 };
    /// Words of any kind, as long as a reason.
    pub const WORDS: Self = Self { what: "text", longest: 300 };

    /// The text without the space around it, if it may stand in the record; `wanted` says what is
    /// to be given.
    ///
    /// # Errors
    /// It is empty, too long, or more than a line.
    pub fn check<'a>(self, text: &'a str, wanted: &str) -> Result<&'a str, NoLine> {
        let Self { what, longest } = self;
        let found = match text.trim() {
            "" => format!("an empty {what}"),
            text if one_line(text) != text => format!("a {what} with control characters"),
            text if text.chars().count() > longest => {
                format!("a {what} of over {longest} characters")
            }
            text => return Ok(text),
        };
        Err(NoLine {
            told: format!("found {found}"),
            accepted: format!("{wanted}, one line of up to {longest} characters"),
        })
    }
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
