//! The roll's TOML text changed, without losing what somebody has written beside it.

use evenpass_core::document::Problems;
use toml_edit::{ArrayOfTables, DocumentMut, InlineTable, Item, Table, value};

use super::roll::key;
use super::text::{not_tables, parse, units};
use super::{People, Person};

/// What a new file begins with.
const HEADING: &str = "\
# Who may sign in at this machine. `evenpass people` adds, removes and sets PINs; roles and units
# may be changed here. Only this user may read the file.
";

/// The text with the roll as it is now: who is gone is taken out, who is new comes last, and of
/// the others only what differs is written anew.
pub(super) fn changed(text: &str, people: &People) -> Result<String, Problems> {
    let mut document = parse(text)?;
    if document.is_empty() {
        // Nothing but comments, if anything: they stay above.
        let mut above = if text.trim().is_empty() { HEADING } else { text }.trim_end().to_owned();
        document = DocumentMut::new();
        write(&mut document, people)?;
        above.push_str(if document.is_empty() { "\n" } else { "\n\n" });
        return Ok(above + &document.to_string());
    }
    write(&mut document, people)?;
    Ok(document.to_string())
}

fn write(document: &mut DocumentMut, people: &People) -> Result<(), Problems> {
    let item = document.entry("person").or_insert(Item::ArrayOfTables(ArrayOfTables::new()));
    if item.as_array().is_some() {
        // People in one line get lines of their own; an empty list has nobody.
        let all = std::mem::take(item).into_array_of_tables().unwrap_or_default();
        *item = Item::ArrayOfTables(all);
    }
    let Some(list) = item.as_array_of_tables_mut() else {
        return Err([not_tables()].into_iter().collect());
    };
    let stays = |table: &Table| name_of(table).is_some_and(|name| people.find(name).is_some());
    let heading = list.get(0).filter(|first| !stays(first)).map(heading_of).unwrap_or_default();
    list.retain(stays);
    for person in people.iter() {
        let is_of = |name: &str| key(name) == key(&person.name);
        let there = list.iter().position(|table| name_of(table).is_some_and(is_of));
        match there.and_then(|place| list.get_mut(place)) {
            Some(table) => update(table, person),
            None => {
                let mut table = Table::new();
                update(&mut table, person);
                list.push(table);
            }
        }
    }
    match list.get_mut(0) {
        Some(first) => {
            if !heading.is_empty() {
                let own = above(first).trim_start_matches('\n').to_owned();
                first.decor_mut().set_prefix(heading + &own);
            }
        }
        None => {
            document.remove("person");
            document.set_trailing(heading + document.trailing().as_str().unwrap_or_default());
        }
    }
    Ok(())
}

/// What stands above the first person and is not about that person: up to the last empty line.
fn heading_of(first: &Table) -> String {
    let above = above(first);
    above.rfind("\n\n").and_then(|end| above.get(..end + 2)).unwrap_or_default().to_owned()
}

/// What stands above a person's entry.
fn above(table: &Table) -> &str {
    table.decor().prefix().and_then(|prefix| prefix.as_str()).unwrap_or_default()
}

fn name_of(table: &Table) -> Option<&str> {
    table.get("name").and_then(Item::as_str)
}

fn update(table: &mut Table, person: &Person) {
    for (key, wanted) in
        [("name", person.name.as_str()), ("role", person.role.word()), ("pin", person.pin.as_str())]
    {
        if table.get(key).and_then(Item::as_str) != Some(wanted) {
            set(table, key, value(wanted));
        }
    }
    if units(&mut Problems::default(), "", table.get("units")) != Some(person.units) {
        let mut all = InlineTable::new();
        all.insert("length", person.units.length.symbol().into());
        all.insert("temperature", person.units.temperature.symbol().into());
        all.insert("pressure", person.units.pressure.symbol().into());
        set(table, "units", value(all));
    }
}

/// Sets a value, with the comment that stood behind the one before it.
fn set(table: &mut Table, key: &str, mut item: Item) {
    let before = table.get(key).and_then(Item::as_value).map(|value| value.decor().clone());
    if let (Some(before), Some(value)) = (before, item.as_value_mut()) {
        *value.decor_mut() = before;
    }
    table.insert(key, item);
}

#[cfg(test)]
mod tests {
    use super::super::pin::tests::hash;
    use super::super::roll::tests::{person, three};
    use super::super::text::read;
    use super::super::{LengthUnit, PressureUnit, Role, Units};
    use super::*;

    #[test]
    fn a_roll_is_read_back_as_it_was_written() {
        let text = changed("", &three()).expect("written");
        assert!(text.starts_with("# Who may sign in"), "{text}");
        assert!(text.contains("read the file.\n\n[[person]]\nname = \"A. Fitter\"\n"), "{text}");
        assert_eq!(read(&text), Ok(three()));
        assert_eq!(changed(&text, &three()), Ok(text), "writing it again changes nothing");
    }

    #[test]
    fn what_was_written_beside_the_roll_stays_when_somebody_comes_and_goes() {
        let pin = hash();
        let text = format!(
            "# the day shift\n[[person]]\nname = \"A. Fitter\" # since May\nrole = \"operator\"\n\
             pin = '{}' # set by the foreman\n\n# the night shift\n[[person]]\n\
             role = \"engineer\"\nname = \"B. Engineer\"\nunits.length = \"in\"\npin = '{}'\n",
            pin.as_str(),
            pin.as_str()
        );
        let mut people = read(&text).expect("a roll");
        assert_eq!(people.find("B. Engineer").map(|b| b.units.length), Some(LengthUnit::Inch));
        people.add(person("C. Operator", Role::Operator)).expect("added");
        let more = changed(&text, &people).expect("written");
        assert!(more.starts_with(&text), "{more}");
        assert_eq!(read(&more), Ok(people.clone()));
        people.remove("A. Fitter").expect("removed");
        let units = Units { pressure: PressureUnit::Psi, ..Units::default() };
        people.set_units("B. Engineer", units).expect("there");
        let less = changed(&more, &people).expect("written");
        assert!(less.contains("# the night shift") && !less.contains("since May"), "{less}");
        assert_eq!(read(&less), Ok(people));
    }

    #[test]
    fn what_stands_above_all_people_stays_whoever_goes() {
        let mut people = three();
        let mut text = changed("", &people).expect("written");
        for name in ["A. Fitter", "C. Operator", "B. Engineer"] {
            people.remove(name).expect("removed");
            text = changed(&text, &people).expect("written");
            assert!(text.starts_with(HEADING), "{text}");
            assert_eq!(read(&text), Ok(people.clone()), "{text}");
        }
        assert_eq!(text.trim_end(), HEADING.trim_end());
        assert_eq!(changed(&text, &three()), changed("", &three()));
    }

    #[test]
    fn a_new_pin_keeps_the_comment_behind_the_old_one() {
        let people = People::of([person("A", Role::Engineer)]).expect("a name");
        let text = "[[person]]\nname = \"A\"\nrole = \"engineer\"\npin = \"x\" # by hand\n";
        let new = changed(text, &people).expect("written");
        assert!(new.contains("$argon2id$") && new.contains(" # by hand\n"), "{new}");
    }

    #[test]
    fn people_in_one_line_are_read_and_get_lines_of_their_own_when_somebody_joins() {
        let text = format!(
            "person = [{{ name = \"A\", role = \"engineer\", pin = '{}' }}]\n",
            hash().as_str()
        );
        let mut people = read(&text).expect("a roll");
        people.add(person("B", Role::Operator)).expect("added");
        let more = changed(&text, &people).expect("written");
        assert_eq!(read(&more), Ok(people), "{more}");
        assert_eq!(read("person = []\n"), Ok(People::default()));
    }
}
