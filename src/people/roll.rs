//! The roll: everybody who may sign in, as a value.

use evenpass_core::document::nearest;
use thiserror::Error;

use super::{Pin, PinHash, Role, Units};
use crate::shown::one_line;

/// What somebody is called who is not signed in; nobody on the roll may have this name.
pub const NOT_SIGNED_IN: &str = "not signed in";

/// Longest name, characters: one line of a list (arbitrary).
pub const LONGEST_NAME: usize = 40;

/// Somebody who may sign in.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Person {
    /// The name, as it stands in the record.
    pub name: String,
    /// What the person may do.
    pub role: Role,
    /// What the person reads figures in.
    pub units: Units,
    /// What is kept of the PIN.
    pub pin: PinHash,
}

/// Everybody who may sign in, in the order they were added. Names are unique, big and small
/// letters being the same.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct People {
    list: Vec<Person>,
}

/// Why the roll stays as it is.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
pub enum RollError {
    /// The name cannot be one.
    #[error("NAME: found {found}\naccepted: one line of 1 to {LONGEST_NAME} characters")]
    Name {
        /// What was found, as a phrase.
        found: String,
    },
    /// Somebody else has it.
    #[error(
        "NAME: \"{name}\" is on the roll already\nhelp: choose a name that tells the two apart"
    )]
    Taken {
        /// The name as it stands there.
        name: String,
    },
    /// Nobody has it.
    #[error("NAME: nobody is called \"{asked}\"{}", nearest_words(nearest.as_deref()))]
    Unknown {
        /// The name asked for.
        asked: String,
        /// The name that was probably meant.
        nearest: Option<String>,
    },
    /// Somebody would be left whom no engineer could help.
    #[error(
        "\"{name}\" is the only engineer: without one nobody could write recipes for the \
         others\nhelp: add another engineer first, or remove the others before"
    )]
    LastEngineer {
        /// Who that is.
        name: String,
    },
}

fn nearest_words(nearest: Option<&str>) -> String {
    nearest.map_or_else(
        || "\nhelp: `evenpass people list` shows who is there".to_owned(),
        |name| format!("\nhelp: did you mean \"{name}\"?"),
    )
}

/// A name that may stand on the roll, without space around it.
///
/// # Errors
/// [`RollError::Name`].
pub fn check_name(name: &str) -> Result<&str, RollError> {
    let name = name.trim();
    let found = if name.is_empty() {
        "an empty name".to_owned()
    } else if one_line(name) != name {
        "a name with control characters".to_owned()
    } else if name.chars().count() > LONGEST_NAME {
        format!("a name of {} characters", name.chars().count())
    } else if same(name, NOT_SIGNED_IN) {
        format!("\"{name}\", which stands for nobody")
    } else {
        return Ok(name);
    };
    Err(RollError::Name { found })
}

/// Whether two names are the same to a person.
fn same(one: &str, other: &str) -> bool {
    key(one) == key(other)
}

/// What is the same for names that are the same to a person.
pub(super) fn key(name: &str) -> String {
    name.split_whitespace().collect::<Vec<_>>().join(" ").to_lowercase()
}

impl People {
    /// The roll of these, in this order.
    ///
    /// # Errors
    /// The first of them whose name is none or is taken.
    pub fn of(list: impl IntoIterator<Item = Person>) -> Result<Self, RollError> {
        let mut all = Self::default();
        for person in list {
            all.add(person)?;
        }
        Ok(all)
    }

    /// Everybody, in the order they were added.
    pub fn iter(&self) -> impl Iterator<Item = &Person> {
        self.list.iter()
    }

    /// Whether nobody is on it.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.list.is_empty()
    }

    /// How many there are.
    #[must_use]
    pub fn len(&self) -> usize {
        self.list.len()
    }

    /// Who has the name.
    #[must_use]
    pub fn find(&self, name: &str) -> Option<&Person> {
        self.list.iter().find(|person| same(&person.name, name))
    }

    /// Who has both the name and the PIN. Takes tens of milliseconds and 19 MiB whatever the
    /// answer, so that the time tells nothing of who is there; ask
    /// [`Throttle`](super::Throttle) first, one at a time, and not on a thread that others wait
    /// for.
    ///
    /// # Errors
    /// The PIN cannot be hashed: what is wrong. That says nothing of the PIN.
    pub fn verify(&self, name: &str, pin: &str) -> Result<Option<&Person>, String> {
        match self.find(name) {
            Some(person) => Ok(person.pin.is_of(pin)?.then_some(person)),
            None => PinHash::of_nobody(pin).map(|()| None),
        }
    }

    /// Whether somebody of this name could be added.
    ///
    /// # Errors
    /// The name is none, or is taken.
    pub fn may_add(&self, name: &str) -> Result<(), RollError> {
        let name = check_name(name)?;
        match self.find(name) {
            Some(there) => Err(RollError::Taken { name: there.name.clone() }),
            None => Ok(()),
        }
    }

    /// Adds somebody.
    ///
    /// # Errors
    /// As [`People::may_add`].
    pub fn add(&mut self, person: Person) -> Result<(), RollError> {
        self.may_add(&person.name)?;
        let name = check_name(&person.name)?.to_owned();
        self.list.push(Person { name, ..person });
        Ok(())
    }

    /// Takes somebody off the roll.
    ///
    /// # Errors
    /// Nobody has the name, or it is the only engineer's and others remain.
    pub fn remove(&mut self, name: &str) -> Result<Person, RollError> {
        let place = self.place(name)?;
        let mut others = self.list.iter().enumerate().filter(|(other, _)| *other != place);
        let leaves_no_engineer = others.clone().all(|(_, person)| person.role != Role::Engineer);
        let was_engineer = self.list.get(place).is_some_and(|person| person.role == Role::Engineer);
        if was_engineer && leaves_no_engineer && others.next().is_some() {
            let name = self.list.get(place).map(|person| person.name.clone());
            return Err(RollError::LastEngineer { name: name.unwrap_or_default() });
        }
        Ok(self.list.remove(place))
    }

    /// Gives somebody another PIN.
    ///
    /// # Errors
    /// Nobody has the name.
    pub fn set_pin(&mut self, name: &str, pin: PinHash) -> Result<(), RollError> {
        self.change(name, |person| person.pin = pin)
    }

    /// Gives somebody other units.
    ///
    /// # Errors
    /// Nobody has the name.
    pub fn set_units(&mut self, name: &str, units: Units) -> Result<(), RollError> {
        self.change(name, |person| person.units = units)
    }

    /// Who that is, with an error for a person.
    ///
    /// # Errors
    /// Nobody has the name.
    pub fn get(&self, name: &str) -> Result<&Person, RollError> {
        self.find(name).ok_or_else(|| self.unknown(name))
    }

    fn change(&mut self, name: &str, with: impl FnOnce(&mut Person)) -> Result<(), RollError> {
        let place = self.place(name)?;
        self.list.get_mut(place).map(with);
        Ok(())
    }

    fn place(&self, name: &str) -> Result<usize, RollError> {
        let place = self.list.iter().position(|person| same(&person.name, name));
        place.ok_or_else(|| self.unknown(name))
    }

    fn unknown(&self, name: &str) -> RollError {
        let names: Vec<&str> = self.list.iter().map(|person| person.name.as_str()).collect();
        RollError::Unknown {
            asked: one_line(name),
            nearest: nearest(name, &names).map(str::to_owned),
        }
    }
}

impl Person {
    /// Somebody with a PIN, metric units.
    ///
    /// # Errors
    /// The PIN cannot be hashed: what is wrong.
    pub fn new(name: &str, role: Role, pin: &Pin) -> Result<Self, String> {
        Ok(Self { name: name.to_owned(), role, units: Units::default(), pin: PinHash::of(pin)? })
    }
}

#[cfg(test)]
pub(super) mod tests {
    use super::super::LengthUnit;
    use super::super::pin::tests::{HARMLESS, hash};
    use super::*;

    pub(in crate::people) fn person(name: &str, role: Role) -> Person {
        Person { name: name.to_owned(), role, units: Units::default(), pin: hash() }
    }

    pub(in crate::people) fn three() -> People {
        People::of([
            person("A. Fitter", Role::Maintenance),
            person("B. Engineer", Role::Engineer),
            person("C. Operator", Role::Operator),
        ])
        .expect("three names")
    }

    #[test]
    fn a_name_is_one_line_that_tells_a_person_from_every_other() {
        let mut people = three();
        let long = "x".repeat(LONGEST_NAME + 1);
        for (name, found) in [
            ("", "an empty name"),
            (" \t ", "an empty name"),
            ("A\u{1b}[31m", "a name with control characters"),
            ("A\nB", "a name with control characters"),
            ("A\u{202e}B", "a name with control characters"),
            (&long, "a name of 41 characters"),
            ("Not  signed IN", "\"Not  signed IN\", which stands for nobody"),
        ] {
            let refused = people.add(person(name, Role::Operator)).expect_err(name);
            assert_eq!(refused, RollError::Name { found: found.to_owned() });
        }
        let refused = people.add(person("a.  FITTER ", Role::Operator)).expect_err("taken");
        assert_eq!(refused, RollError::Taken { name: "A. Fitter".to_owned() });
        people.add(person(" D. Élan ", Role::Operator)).expect("another name");
        assert_eq!(people.find("d. élan").map(|person| person.name.as_str()), Some("D. Élan"));
    }

    #[test]
    fn the_last_engineer_goes_last() {
        let mut people = three();
        let refused = people.remove("b. engineer").expect_err("others remain");
        assert_eq!(refused, RollError::LastEngineer { name: "B. Engineer".to_owned() });
        assert_eq!(people.len(), 3);
        people.add(person("D. Engineer", Role::Engineer)).expect("another");
        people.remove("B. Engineer").expect("one is left");
        people.remove("A. Fitter").expect("no engineer");
        people.remove("C. Operator").expect("no engineer");
        people.remove("D. Engineer").expect("nobody remains");
        assert!(people.is_empty());
    }

    #[test]
    fn whoever_is_not_there_is_answered_with_the_nearest_name() {
        let mut people = three();
        let refused = people.set_pin("A. Fiter", hash()).expect_err("nobody");
        assert_eq!(
            refused.to_string(),
            "NAME: nobody is called \"A. Fiter\"\nhelp: did you mean \"A. Fitter\"?"
        );
        let refused = people.remove("x\u{1b}").expect_err("nobody");
        assert_eq!(
            refused.to_string(),
            "NAME: nobody is called \"x\u{fffd}\"\nhelp: `evenpass people list` shows who is there"
        );
    }

    #[test]
    fn units_are_changed_for_one_person_alone() {
        let mut people = three();
        let units = Units { length: LengthUnit::Inch, ..Units::default() };
        people.set_units("a. fitter", units).expect("there");
        let lengths: Vec<_> = people.iter().map(|person| person.units.length).collect();
        assert_eq!(lengths, [LengthUnit::Inch, LengthUnit::Millimetre, LengthUnit::Millimetre]);
    }

    #[test]
    fn name_and_pin_together_are_a_person() {
        let people = three();
        let found = |name: &str, pin: &str| {
            let begun = std::time::Instant::now();
            let found = people.verify(name, pin).expect("hashed").map(|person| person.name.clone());
            println!("\"{name}\" with {pin}: {found:?} in {:.1?}", begun.elapsed());
            found
        };
        assert_eq!(found("a. fitter", HARMLESS).as_deref(), Some("A. Fitter"));
        assert_eq!(found("A. Fitter", "2581"), None);
        assert_eq!(found("Nobody", HARMLESS), None);
    }
}
