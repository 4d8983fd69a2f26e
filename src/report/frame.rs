//! The frame of a page that is printed: its head, its style, and the rim of its sheets.

use std::fmt::Write as _;

use maud::{DOCTYPE, Markup, PreEscaped, html};
use serde::Serialize;

use crate::shown::{harmless, one_line};

const STYLE: &str = include_str!("report.css");

/// How the rim of a sheet is written; it takes nothing from the page's own style.
const RIM: &str = "font: 8pt system-ui, Arial, \"DejaVu Sans\", sans-serif; ";

/// A sheet of paper.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, clap::ValueEnum)]
#[serde(rename_all = "snake_case")]
pub enum Paper {
    /// 210 mm by 297 mm (ISO 216).
    A4,
    /// 8.5 in by 11 in.
    Letter,
}

impl Paper {
    /// As a style sheet calls it.
    const fn word(self) -> &'static str {
        match self {
            Self::A4 => "A4 portrait",
            Self::Letter => "letter portrait",
        }
    }
}

/// A whole page; `running` stands at the rim of every sheet beside its number.
pub(crate) fn page(title: &str, running: &str, paper: Option<Paper>, body: &Markup) -> String {
    let size = paper.map_or_else(String::new, |paper| format!("size: {}; ", paper.word()));
    let rim = format!(
        "@page {{ {size}margin: 18mm 14mm 16mm;\n  @top-left {{ {RIM}content: {}; }}\n  \
         @bottom-right {{ {RIM}content: \"page \" counter(page) \" of \" counter(pages); }} }}\n",
        css_text(running)
    );
    let page = html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width";
                meta name="color-scheme" content="light";
                title { (one_line(title)) }
                style { (PreEscaped(rim)) (PreEscaped(STYLE)) }
            }
            body { (body) }
        }
    };
    harmless(&page.into_string())
}

/// A text in a style sheet: all but letters and figures by their code point (CSS Syntax Level 3,
/// section 4.3.7), so that nothing in it can end the text or the element.
fn css_text(text: &str) -> String {
    let mut quoted = String::from("\"");
    for letter in one_line(text).chars() {
        if letter.is_ascii_alphanumeric() {
            quoted.push(letter);
        } else {
            let _ = write!(quoted, "\\{:x} ", u32::from(letter));
        }
    }
    quoted.push('"');
    quoted
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_title_at_the_rim_ends_neither_its_text_nor_the_style() {
        let quoted = css_text("A \"5\" </style><b>\u{e9}");
        assert_eq!(quoted, "\"A\\20 \\22 5\\22 \\20 \\3c \\2f style\\3e \\3c b\\3e \\e9 \"");
    }

    #[test]
    fn a_page_says_its_paper_only_where_one_was_chosen() {
        let of = |paper| page("t", "r", paper, &html! {});
        assert!(of(Some(Paper::A4)).contains("@page { size: A4 portrait; margin"));
        assert!(of(Some(Paper::Letter)).contains("size: letter portrait;"));
        assert!(!of(None).contains("size:  "), "no empty size");
        assert!(of(None).contains("@page { margin"));
    }
}
