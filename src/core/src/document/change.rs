//! Fields of a file set to other values without writing the file: the text as it would be, and
//! every problem with it shown at the words that asked for it.
//!
//! A field is named as messages name it (`zone[1].finish`, places counted from 1). The changed
//! text goes through the same reader as any file, so that a wrong value is told as in a file.

use toml::de::DeTable;

use super::edits::{Asked, Edit, FORM, Made, apply, edit};
use super::path::{overlap, steps};
use super::problem::{Problem, Problems};

/// A text with changes.
#[derive(Debug, Clone)]
pub struct Changed {
    own: String,
    asked: String,
    text: String,
    made: Vec<Made>,
}

impl Changed {
    /// A text with each of `changes` made, written `FIELD=VALUE`: a number, a list or a table as
    /// TOML has it, anything else as text. With no value the field is left out.
    ///
    /// # Errors
    /// Everything wrong with the changes themselves, shown at `option`; what is wrong with the
    /// values is the reader's to say, and [`Changed::render`]'s to show.
    pub fn make(own: &str, changes: &[String], option: &str) -> Result<Self, String> {
        let asked = one_a_line(changes);
        let mut problems = Problems::default();
        let mut edits: Vec<(String, Edit)> = Vec::new();
        let (table, _) = DeTable::parse_recoverable(own);
        for change in read(&asked) {
            let edit = change.and_then(|change| {
                if let Some((other, _)) = edits.iter().find(|(path, _)| overlap(path, change.path))
                {
                    let found = format!("`{}` is set already, by `{other}`", change.path);
                    let help = "keep one of the two and leave the other out";
                    let problem = Problem::error("", found).help(help).at(change.whole);
                    return Err(Box::new(problem));
                }
                let edit = edit(own, &table, &change)?;
                Ok((change.path.to_owned(), edit))
            });
            match edit {
                Ok(edit) => edits.push(edit),
                Err(problem) => problems.push(*problem),
            }
        }
        if problems.forbid() {
            return Err(problems.render(option, &asked));
        }
        let (text, made) = apply(own, edits.into_iter().map(|(_, edit)| edit).collect());
        Ok(Self { own: own.to_owned(), asked, text, made })
    }

    /// The text with the changes.
    #[must_use]
    pub fn text(&self) -> &str {
        &self.text
    }

    /// Problems of the changed text as a person is to read them: those at a change under
    /// `option`, with what was asked; the others under the file's name, with its own lines.
    #[must_use]
    pub fn render(&self, problems: &Problems, option: &str, file_name: &str) -> String {
        let (mut here, mut there) = (Problems::default(), Problems::default());
        for problem in problems.clone().placed(&self.text) {
            let start = problem.span.as_ref().map_or(0, |span| span.start);
            let made = self.made.iter().find(|made| made.place.contains(&start));
            match made {
                Some(made) => here.push(problem.at(made.asked.clone())),
                None => there.push(Problem { span: None, ..problem }),
            }
        }
        here.render(option, &self.asked) + &there.render(file_name, &self.own)
    }
}

/// Stands for what a terminal would obey.
const OBEYED: char = '\u{fffd}';

/// Changes one a line, without what would break a line.
fn one_a_line(changes: &[String]) -> String {
    let line = |change: &String| -> String {
        change.chars().map(|c| if c.is_control() { OBEYED } else { c }).collect()
    };
    changes.iter().map(line).collect::<Vec<_>>().join("\n")
}

/// Each line as a change.
fn read(asked: &str) -> Vec<Result<Asked<'_>, Box<Problem>>> {
    let mut start = 0;
    asked
        .split('\n')
        .map(|line| {
            let whole = start..start + line.len();
            start = whole.end + 1;
            if line.contains(OBEYED) {
                let problem = Problem::error("", "this has a control character or a line break")
                    .accepted("one line of letters, figures and signs");
                return Err(Box::new(problem.at(whole)));
            }
            let Some((name, value)) = line.split_once('=') else {
                let problem = Problem::error("", "this has no `=`").accepted(FORM);
                return Err(Box::new(problem.at(whole)));
            };
            let equals = whole.start + name.len();
            let (name_at, figure) = (whole.start..equals, equals + 1..whole.end);
            let path = name.trim();
            if steps(path).is_none() {
                let problem = Problem::error("", format!("`{path}` names no field"))
                    .accepted("names as messages give them, such as `zone[1].finish`")
                    .help("places in a list are counted from 1");
                return Err(Box::new(problem.at(name_at)));
            }
            let figure = if figure.is_empty() { name_at.clone() } else { figure };
            Ok(Asked { path, value: value.trim(), whole, name: name_at, figure })
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    const OWN: &str = "\
title = \"a\"
[[zone]]
name = \"x\"
finish = \"0.3 mm\"   # radial
pitch = \"5 mm/turn\"
[[zone]]
name = \"y\"
[preheat]
window = { from = \"1 degC\", to = \"2 degC\" }
";

    fn changed(changes: &[&str]) -> Result<String, String> {
        let changes: Vec<String> = changes.iter().map(|change| (*change).to_owned()).collect();
        Changed::make(OWN, &changes, "--set").map(|changed| changed.text().to_owned())
    }

    #[test]
    fn values_take_the_place_of_others_and_the_rest_stays_as_it_is() {
        let found = changed(&[
            "zone[1].finish=0.40 mm",
            "preheat.window.to = 3 degC",
            "zone[2].passes=9",
            "zone[1].pitch=",
            "fuse.torch=a \"b\"",
        ]);
        let expected = "\
fuse.torch = \"a \\\"b\\\"\"
title = \"a\"
[[zone]]
name = \"x\"
finish = \"0.40 mm\"   # radial

[[zone]]
passes = 9
name = \"y\"
[preheat]
window = { from = \"1 degC\", to = \"3 degC\" }
";
        assert_eq!(found.as_deref(), Ok(expected));
    }

    #[test]
    fn an_added_field_of_an_inline_table_goes_before_its_first() {
        let found = changed(&["preheat.window.more=1"]).expect("it can be added");
        assert!(found.contains("{ more = 1, from = "), "{found}");
    }

    #[test]
    fn what_cannot_be_a_change_is_told_with_what_can() {
        for (change, words) in [
            ("finish", "this has no `=`"),
            ("zone[0].finish=1", "`zone[0].finish` names no field"),
            ("a..b=1", "`a..b` names no field"),
            ("zone.finish=1", "names none of the places of `zone`"),
            ("zone[3].finish=1", "`zone[1]`, `zone[2]`"),
            ("title.x=1", "`title` is no table"),
            ("title[1]=1", "`title` is no list"),
            ("zone[1]=1", "this is a whole table"),
            ("preheat=", "this is a whole table"),
            ("preheat.window.from=", "this cannot be left out"),
            ("note=", "this is not there to be left out"),
        ] {
            let found = changed(&[change]).expect_err(change);
            assert!(found.contains(words) && found.contains("--> --set:1:"), "{change}:\n{found}");
        }
        let found = changed(&["title=b", "preheat.window.to=1 K", "preheat.window={}"]);
        let found = found.expect_err("set twice");
        assert!(found.contains("is set already, by `preheat.window.to`"), "{found}");
        assert!(found.contains("--> --set:3:1"), "{found}");
    }
}
