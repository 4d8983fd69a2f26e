//! What is wrong with a file, as values.

use core::fmt;
use core::ops::Range;

use serde::Serialize;

/// How bad a problem is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Severity {
    /// The file cannot be used.
    Error,
    /// It can be used; a person should look at it.
    Warning,
}

/// A place in a text; lines and columns count from 1, columns in characters.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub struct Place {
    /// The line.
    pub line: usize,
    /// The character in the line.
    pub column: usize,
}

impl Place {
    /// The place of a byte of `text`; a byte past the end is at the end.
    #[must_use]
    pub fn of(text: &str, byte: usize) -> Self {
        let mut end = byte.min(text.len());
        while !text.is_char_boundary(end) {
            end -= 1;
        }
        let before = text.get(..end).unwrap_or(text);
        let line = before.matches('\n').count() + 1;
        let column = before.chars().rev().take_while(|&letter| letter != '\n').count() + 1;
        Self { line, column }
    }
}

/// One thing that is wrong.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
#[non_exhaustive]
pub struct Problem {
    /// Error or warning.
    pub severity: Severity,
    /// The field, such as `zone[1].finish`; empty for the file as a whole.
    pub path: String,
    /// The bytes of the text it is about; `None` when only the path is known.
    pub span: Option<Range<usize>>,
    /// What was found, as a phrase without the field's name.
    pub found: String,
    /// What is accepted in its place, and by which rule.
    pub accepted: Option<String>,
    /// What to do.
    pub help: Option<String>,
}

impl Problem {
    /// An error about the field at `path`.
    #[must_use]
    pub fn error(path: impl Into<String>, found: impl Into<String>) -> Self {
        Self {
            severity: Severity::Error,
            path: path.into(),
            span: None,
            found: found.into(),
            accepted: None,
            help: None,
        }
    }

    /// A warning about the field at `path`.
    #[must_use]
    pub fn warning(path: impl Into<String>, found: impl Into<String>) -> Self {
        Self { severity: Severity::Warning, ..Self::error(path, found) }
    }

    /// With what would be accepted.
    #[must_use]
    pub fn accepted(mut self, accepted: impl Into<String>) -> Self {
        self.accepted = Some(accepted.into());
        self
    }

    /// With what to do.
    #[must_use]
    pub fn help(mut self, help: impl Into<String>) -> Self {
        self.help = Some(help.into());
        self
    }

    /// With a hint in front of what to do, where there is one.
    #[must_use]
    pub(crate) fn hint(mut self, hint: Option<String>) -> Self {
        self.help = match (hint, self.help) {
            (Some(hint), Some(help)) => Some(format!("{hint} {help}")),
            (hint, help) => hint.or(help),
        };
        self
    }

    /// With what to do, unless a hint has said it already.
    #[must_use]
    pub(crate) fn help_if_none(self, help: &str) -> Self {
        if self.help.is_some() { self } else { self.help(help) }
    }

    /// With the bytes it is about.
    #[must_use]
    pub(crate) fn at(mut self, span: Range<usize>) -> Self {
        self.span = Some(span);
        self
    }
}

/// One line: field, found, accepted, help.
impl fmt::Display for Problem {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if !self.path.is_empty() {
            write!(f, "{}: ", self.path)?;
        }
        f.write_str(&self.found)?;
        if let Some(accepted) = &self.accepted {
            write!(f, "; accepted: {accepted}")?;
        }
        if let Some(help) = &self.help {
            write!(f, "; {help}")?;
        }
        Ok(())
    }
}

/// All that is wrong with one file, in the order of its text.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize)]
#[serde(transparent)]
pub struct Problems {
    list: Vec<Problem>,
}

impl Problems {
    /// Whether there is nothing wrong.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.list.is_empty()
    }

    /// How many there are, warnings included.
    #[must_use]
    pub fn len(&self) -> usize {
        self.list.len()
    }

    /// All of them.
    pub fn iter(&self) -> impl Iterator<Item = &Problem> {
        self.list.iter()
    }

    /// Those that forbid the use of the file.
    pub fn errors(&self) -> impl Iterator<Item = &Problem> {
        self.iter().filter(|problem| problem.severity == Severity::Error)
    }

    /// Those a person should look at.
    pub fn warnings(&self) -> impl Iterator<Item = &Problem> {
        self.iter().filter(|problem| problem.severity == Severity::Warning)
    }

    /// Whether the file cannot be used.
    #[must_use]
    pub fn forbid(&self) -> bool {
        self.errors().next().is_some()
    }

    /// Only the warnings.
    #[must_use]
    pub fn into_warnings(mut self) -> Self {
        self.list.retain(|problem| problem.severity == Severity::Warning);
        self
    }

    /// One more.
    pub fn push(&mut self, problem: Problem) {
        self.list.push(problem);
    }

    /// Those of another check of the same file too.
    pub fn append(&mut self, mut others: Self) {
        self.list.append(&mut others.list);
    }

    /// Into the order of the text: those without a place come last.
    pub(crate) fn sort(&mut self) {
        self.list.sort_by_key(|problem| {
            problem.span.as_ref().map_or((usize::MAX, 0), |span| (span.start, span.end))
        });
    }

    pub(crate) fn iter_mut(&mut self) -> impl Iterator<Item = &mut Problem> {
        self.list.iter_mut()
    }
}

/// One line for each problem, without the text it is about.
impl fmt::Display for Problems {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (place, problem) in self.iter().enumerate() {
            if place > 0 {
                f.write_str("\n")?;
            }
            write!(f, "{problem}")?;
        }
        Ok(())
    }
}

impl core::error::Error for Problems {}

impl IntoIterator for Problems {
    type Item = Problem;
    type IntoIter = std::vec::IntoIter<Problem>;
    fn into_iter(self) -> Self::IntoIter {
        self.list.into_iter()
    }
}

impl FromIterator<Problem> for Problems {
    fn from_iter<I: IntoIterator<Item = Problem>>(problems: I) -> Self {
        Self { list: problems.into_iter().collect() }
    }
}

/// What is wrong with several files that are read together, by the name of the file.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize)]
#[serde(transparent)]
pub struct ProblemsByFile {
    files: Vec<(String, Problems)>,
}

impl ProblemsByFile {
    /// The files with something wrong, in the order they were given.
    pub fn iter(&self) -> impl Iterator<Item = (&str, &Problems)> {
        self.files.iter().map(|(name, problems)| (name.as_str(), problems))
    }

    /// Whether any of the files cannot be used.
    #[must_use]
    pub fn forbid(&self) -> bool {
        self.files.iter().any(|(_, problems)| problems.forbid())
    }

    /// With the problems of a file; nothing is kept of a file without any.
    pub(crate) fn push(&mut self, name: &str, problems: Problems) {
        if problems.is_empty() {
            return;
        }
        match self.files.iter_mut().find(|(known, _)| known == name) {
            Some((_, list)) => list.append(problems),
            None => self.files.push((name.to_owned(), problems)),
        }
    }

    /// All of them shown with their text; see [`Problems::render`]. `files` are those that were
    /// read.
    #[must_use]
    pub fn render(&self, files: &[(&str, &str)]) -> String {
        self.files
            .iter()
            .map(|(name, problems)| {
                let text =
                    files.iter().find(|(known, _)| known == name).map_or("", |(_, text)| text);
                problems.render(name, text)
            })
            .collect()
    }
}

/// One line for each problem, behind the name of its file.
impl fmt::Display for ProblemsByFile {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let lines =
            self.iter().flat_map(|(name, list)| list.iter().map(move |problem| (name, problem)));
        for (place, (name, problem)) in lines.enumerate() {
            if place > 0 {
                f.write_str("\n")?;
            }
            write!(f, "{name}: {problem}")?;
        }
        Ok(())
    }
}

impl core::error::Error for ProblemsByFile {}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn columns_count_characters_not_bytes() {
        let text = "a = 1\nµ° = \"x\"";
        let byte = text.rfind('=').unwrap();
        assert_eq!(Place::of(text, byte), Place { line: 2, column: 4 });
    }

    #[test]
    fn a_byte_inside_a_character_or_past_the_end_still_has_a_place() {
        assert_eq!(Place::of("µm", 1), Place { line: 1, column: 1 });
        assert_eq!(Place::of("ab\n", 99), Place { line: 2, column: 1 });
    }
}
