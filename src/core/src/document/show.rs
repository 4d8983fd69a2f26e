//! Problems shown with the lines they are about, in plain characters.

use std::ops::Range;

use annotate_snippets::{AnnotationKind, Level, Renderer, Snippet};

use super::index::Index;
use super::problem::{Place, Problem, Problems, Severity};

impl Problems {
    /// Every problem with its file, line and column, the line itself with the value marked, what
    /// is accepted and what to do. `text` is the text that was read; the problems of a check that
    /// names paths only are placed in it now.
    #[must_use]
    pub fn render(&self, file_name: &str, text: &str) -> String {
        let placed = self.clone().placed(text);
        placed.iter().map(|problem| problem.render(file_name, text)).collect()
    }

    /// With the place in `text` filled in wherever only the path is known, and in the order of
    /// the text.
    #[must_use]
    pub fn placed(mut self, text: &str) -> Self {
        if self.iter().any(|problem| problem.span.is_none()) {
            let index = Index::of(text);
            for problem in self.iter_mut().filter(|problem| problem.span.is_none()) {
                problem.span = Some(index.span(&problem.path));
            }
        }
        self.sort();
        self
    }
}

impl Problem {
    /// Where it is in `text`; the start when only its path is known, so place it first
    /// ([`Problems::placed`]).
    #[must_use]
    pub fn place(&self, text: &str) -> Place {
        Place::of(text, in_a_line(text, self.span.as_ref().map_or(0, |span| span.start)))
    }

    fn render(&self, file_name: &str, text: &str) -> String {
        let level = match self.severity {
            Severity::Error => Level::ERROR,
            Severity::Warning => Level::WARNING,
        };
        let span = marked(text, self.span.clone().unwrap_or(0..0));
        let title = if self.path.is_empty() {
            self.found.clone()
        } else {
            format!("{}: {}", self.path, self.found)
        };
        let mark = AnnotationKind::Primary.span(span);
        let mut report = level
            .primary_title(title)
            .element(Snippet::source(text).path(file_name).annotation(mark));
        if let Some(accepted) = &self.accepted {
            report = report.element(Level::NOTE.with_name("accepted").message(accepted.as_str()));
        }
        if let Some(help) = &self.help {
            report = report.element(Level::HELP.message(help.as_str()));
        }
        let shown = Renderer::plain().render(&[report]);
        let tidy: Vec<&str> = shown.lines().map(str::trim_end).collect();
        format!("{}\n\n", tidy.join("\n"))
    }
}

/// The bytes to mark: whole characters of the first line of `span`, inside the text.
fn marked(text: &str, span: Range<usize>) -> Range<usize> {
    let start = floor(text, in_a_line(text, span.start));
    let end = floor(text, in_a_line(text, span.end)).max(start);
    let first_line = text.get(start..end).and_then(|part| part.find(['\n', '\r']));
    start..first_line.map_or(end, |length| start + length)
}

/// The same byte; behind the last line break there is no line to show, so its end stands for it.
fn in_a_line(text: &str, byte: usize) -> usize {
    let last = text.strip_suffix('\n').map(|rest| rest.strip_suffix('\r').unwrap_or(rest));
    match last {
        Some(last) if byte >= text.len() => last.len(),
        _ => byte,
    }
}

/// The start of the character `byte` lies in.
fn floor(text: &str, byte: usize) -> usize {
    let mut at = byte.min(text.len());
    while !text.is_char_boundary(at) {
        at -= 1;
    }
    at
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A text that ends in the middle of something, with a line break behind it.
    #[test]
    fn what_is_missing_at_the_end_of_a_text_is_told_in_its_last_line_in_words_and_in_figures() {
        for text in ["a = 1\nb = [\n", "a = 1\r\nb = [\r\n"] {
            let problem = Problem::error("b", "no end").at(text.len()..text.len());
            assert_eq!(problem.place(text), Place { line: 2, column: 6 });
            let problems: Problems = [problem].into_iter().collect();
            let shown = problems.render("file.toml", text);
            assert!(shown.contains("--> file.toml:2:6\n"), "{shown}");
        }
    }
}
