//! The roll as TOML text, read with every problem at its line.

use evenpass_core::document::{Problem, Problems, nearest};
use toml_edit::{DocumentMut, Item, TableLike};

use super::roll::{LONGEST_NAME, RollError};
use super::{LengthUnit, People, Person, PinHash, PressureUnit, Role, TemperatureUnit, Units};

const FIELDS: [&str; 4] = ["name", "role", "units", "pin"];
const UNIT_FIELDS: [&str; 3] = ["length", "temperature", "pressure"];

/// Reads a roll.
///
/// # Errors
/// Everything wrong with it, each with its path; [`Problems::render`] finds the lines.
pub(super) fn read(text: &str) -> Result<People, Problems> {
    let document = parse(text)?;
    let mut problems = Problems::default();
    unknown_fields(&mut problems, "", document.as_table(), &["person"]);
    let mut people = People::default();
    for (index, table) in tables(&document, &mut problems).enumerate() {
        let path = format!("person[{}]", index + 1);
        if let Some(person) = person(&mut problems, &path, table)
            && let Err(refused) = people.add(person)
        {
            problems.push(refused_name(&path, &refused));
        }
    }
    if problems.is_empty() { Ok(people) } else { Err(problems) }
}

fn refused_name(path: &str, refused: &RollError) -> Problem {
    let path = format!("{path}.name");
    match refused {
        RollError::Name { found } => Problem::error(path, format!("found {found}"))
            .accepted(format!("one line of 1 to {LONGEST_NAME} characters")),
        RollError::Taken { name } => {
            Problem::error(path, format!("\"{name}\" is on the roll already"))
                .help("keep one of the two and delete the other")
        }
        other => Problem::error(path, other.to_string()),
    }
}

pub(super) fn parse(text: &str) -> Result<DocumentMut, Problems> {
    text.parse::<DocumentMut>().map_err(|error| {
        let mut problem = Problem::error("", format!("this is not TOML: {}", error.message()))
            .help("lines look like `name = \"A. Fitter\"`; text stands in double quotes");
        problem.span = error.span();
        [problem].into_iter().collect()
    })
}

pub(super) fn not_tables() -> Problem {
    Problem::error("person", "this is no list of people")
        .accepted("one `[[person]]` for each, with name, role, pin, and units where not metric")
}

fn tables<'a>(
    document: &'a DocumentMut,
    problems: &mut Problems,
) -> Box<dyn Iterator<Item = &'a dyn TableLike> + 'a> {
    match document.get("person") {
        None => Box::new(std::iter::empty()),
        Some(Item::ArrayOfTables(all)) => Box::new(all.iter().map(|table| table as &dyn TableLike)),
        Some(Item::Value(toml_edit::Value::Array(all)))
            if all.iter().all(toml_edit::Value::is_inline_table) =>
        {
            let all = all.iter().filter_map(toml_edit::Value::as_inline_table);
            Box::new(all.map(|table| table as &dyn TableLike))
        }
        Some(_) => {
            problems.push(not_tables());
            Box::new(std::iter::empty())
        }
    }
}

fn person(problems: &mut Problems, path: &str, table: &dyn TableLike) -> Option<Person> {
    unknown_fields(problems, path, table, &FIELDS);
    let name = word(problems, path, table, "name").map(str::to_owned);
    let role = word(problems, path, table, "role").and_then(|found| {
        let words = Role::ALL.map(Role::word);
        choice(problems, &format!("{path}.role"), found, &words, Role::of_word(found))
    });
    let units = units(problems, &format!("{path}.units"), table.get("units"));
    // The whole entry is shown, not the line of the hash.
    let pin = table.get("pin").and_then(Item::as_str).and_then(PinHash::stored);
    if pin.is_none() {
        let found = if table.contains_key("pin") {
            "`pin` is no whole argon2id hash"
        } else {
            "`pin` is missing"
        };
        let help = "delete this entry and add the person again with `evenpass people add`";
        problems.push(Problem::error(path, found).help(help));
    }
    Some(Person { name: name?, role: role?, units: units?, pin: pin? })
}

pub(super) fn units(problems: &mut Problems, path: &str, item: Option<&Item>) -> Option<Units> {
    let Some(item) = item else { return Some(Units::default()) };
    let Some(table) = item.as_table_like() else {
        let form = "{ length = \"mm\", temperature = \"degC\", pressure = \"bar\" }";
        problems.push(Problem::error(path, "this is no table of units").accepted(form));
        return None;
    };
    unknown_fields(problems, path, table, &UNIT_FIELDS);
    let length = unit(problems, path, table, "length", &LengthUnit::ALL, LengthUnit::symbol);
    let temperature =
        unit(problems, path, table, "temperature", &TemperatureUnit::ALL, TemperatureUnit::symbol);
    let pressure =
        unit(problems, path, table, "pressure", &PressureUnit::ALL, PressureUnit::symbol);
    Some(Units { length: length?, temperature: temperature?, pressure: pressure? })
}

/// One unit; the usual one where it is left out.
fn unit<U: Copy + Default>(
    problems: &mut Problems,
    path: &str,
    table: &dyn TableLike,
    key: &str,
    all: &[U],
    symbol: fn(U) -> &'static str,
) -> Option<U> {
    if !table.contains_key(key) {
        return Some(U::default());
    }
    let found = word(problems, path, table, key)?;
    let words: Vec<&str> = all.iter().map(|unit| symbol(*unit)).collect();
    let meant = all.iter().copied().find(|unit| symbol(*unit) == found);
    choice(problems, &format!("{path}.{key}"), found, &words, meant)
}

fn word<'a>(
    problems: &mut Problems,
    path: &str,
    table: &'a dyn TableLike,
    key: &str,
) -> Option<&'a str> {
    match table.get(key).map(Item::as_str) {
        Some(Some(text)) => return Some(text),
        Some(None) => {
            let problem = Problem::error(format!("{path}.{key}"), "this is no text");
            problems.push(problem.accepted("text in double quotes"));
        }
        None => {
            let problem = Problem::error(path, format!("`{key}` is missing"));
            problems.push(problem.help(format!("add a line `{key} = \"...\"`")));
        }
    }
    None
}

fn choice<T>(
    problems: &mut Problems,
    path: &str,
    found: &str,
    words: &[&str],
    meant: Option<T>,
) -> Option<T> {
    if meant.is_none() {
        let quoted: Vec<String> = words.iter().map(|word| format!("\"{word}\"")).collect();
        let problem =
            Problem::error(path, format!("found \"{found}\"")).accepted(quoted.join(", "));
        problems.push(match nearest(found, words) {
            Some(near) => problem.help(format!("did you mean \"{near}\"?")),
            None => problem,
        });
    }
    meant
}

fn unknown_fields(problems: &mut Problems, path: &str, table: &dyn TableLike, known: &[&str]) {
    for (key, _) in table.iter().filter(|(key, _)| !known.contains(key)) {
        let whole = if path.is_empty() { key.to_owned() } else { format!("{path}.{key}") };
        let problem = Problem::error(whole, format!("`{key}` is no field here"));
        problems.push(problem.accepted(known.join(", ")));
    }
}

#[cfg(test)]
mod tests {
    use super::super::rewrite::changed;
    use super::super::roll::tests::person;
    use super::*;

    #[test]
    fn everything_wrong_is_told_at_its_line_and_no_hash_is_shown() {
        let text = "\
colour = \"red\"
[[person]]
name = \"A. Fitter\"
role = \"maintainance\"
pin = \"2580\"
[[person]]
name = 7
role = \"operator\"
shift = \"night\"
units = { length = \"inch\", temperature = \"degF\" }
";
        let told = read(text).expect_err("wrong").render("people.toml", text);
        for words in [
            "error: colour: `colour` is no field here",
            "person[1].role: found \"maintainance\"",
            "--> people.toml:4:",
            "did you mean \"maintenance\"?",
            "`pin` is no whole argon2id hash",
            "person[2].name: this is no text",
            "`shift` is no field here",
            "person[2].units.length: found \"inch\"",
            "accepted: \"mm\", \"in\"",
            "`pin` is missing",
        ] {
            assert!(told.contains(words), "{words} is missing:\n{told}");
        }
        assert!(!told.contains("2580"), "{told}");
        for (text, words) in [
            ("person = 7\n", "this is no list of people"),
            ("[person]\nname = \"A\"\n", "this is no list of people"),
            ("[[person]\n", "this is not TOML"),
        ] {
            let told = read(text).expect_err(text).render("people.toml", text);
            assert!(told.contains(words), "{told}");
        }
    }

    #[test]
    fn one_name_twice_is_told_and_not_dropped() {
        let once = changed("", &People::of([person("A", Role::Engineer)]).expect("a name"));
        let text = once.expect("written");
        let entry = text.split_once("[[person]]").map(|(_, entry)| entry).expect("an entry");
        let twice = format!("{text}[[person]]{}", entry.replace("\"A\"", "\"a \""));
        let told = read(&twice).expect_err("twice").render("people.toml", &twice);
        assert!(told.contains("person[2].name: \"A\" is on the roll already"), "{told}");
    }
}
