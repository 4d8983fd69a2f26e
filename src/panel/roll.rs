//! The roll in force: who may sign in now. Its file is read anew while the panel runs; a file that is
//! gone or names nobody opens nothing to anybody.

use super::app::{App, locked};
use super::texts;
use super::visitor::Asker;
use crate::people::{NOT_SIGNED_IN, People, PeopleError, Person, Whence};
use crate::record::RunKind;

/// What the roll is after its file was read anew.
///
/// # Errors
/// Why it stays as it is.
fn after(known: &People, read: Result<People, PeopleError>) -> Result<People, String> {
    match read {
        // Somebody who was taken off by name leaves others, or says so where it is done. That all
        // are gone at once may as well be a slip or a damaged disk.
        Ok(read) if read.is_empty() && !known.is_empty() => Err(texts::ROLL_GONE.to_owned()),
        Err(PeopleError::Missing { .. }) => Err(texts::ROLL_GONE.to_owned()),
        Ok(read) => Ok(read),
        Err(problem) => Err(problem.to_string()),
    }
}

impl App {
    /// Whether anybody was ever added.
    pub(super) fn has_people(&self) -> bool {
        !locked(&self.inside.people).is_empty()
    }

    /// Whether whoever comes is asked for name and PIN: before anybody was added, whoever is at a
    /// twin may do everything, and nobody at a machine.
    pub(super) fn asks_for_a_pin(&self) -> bool {
        self.has_people() || self.station().kind() == RunKind::Machine
    }

    /// Whether somebody is as the roll in force has them.
    pub(super) fn is_in_force(&self, people: &People, person: &Person) -> bool {
        let same = |known: &Person| known.role == person.role && known.pin == person.pin;
        if people.is_empty() {
            return same(self.nobody()) && self.station().kind() != RunKind::Machine;
        }
        people.find(&person.name).is_some_and(same)
    }

    /// What keeps the roll from being read anew.
    pub(super) fn roll_trouble(&self) -> Option<String> {
        locked(&self.inside.roll_trouble).clone()
    }

    /// Reads the people anew, and ends the sessions of who has gone. Waits for the disk.
    pub(super) fn refresh_people(&self) {
        // Read and set in one: of two looks at once the older one may not come last.
        let _one = locked(&self.inside.reading_roll);
        let read = self.inside.options.people.read();
        let trouble = {
            let mut people = locked(&self.inside.people);
            let trouble = match after(&people, read) {
                Ok(now) => {
                    if *people != now {
                        *people = now;
                    }
                    None
                }
                Err(trouble) => Some(trouble),
            };
            if !people.is_empty() {
                let ended = locked(&self.inside.sessions).keep_only(&people);
                self.leave_seat(&ended);
            }
            trouble
        };
        self.tell_roll_trouble(trouble);
    }

    /// What is wrong with the roll is nobody's request: it is told once.
    fn tell_roll_trouble(&self, trouble: Option<String>) {
        let mut told = locked(&self.inside.roll_trouble);
        if *told == trouble {
            return;
        }
        if let Some(trouble) = &trouble {
            tracing::warn!("the people cannot be read anew: {trouble}");
            let name = NOT_SIGNED_IN.into();
            let asker = Asker { name, role: None, whence: Whence::Machine };
            self.inside.acts.keep(&asker, texts::KEEP_PEOPLE, Some(trouble), None);
        }
        *told = trouble;
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::panel::on_twin::panel;
    use crate::panel::visitor::begin;
    use crate::people::{Pin, PinHash, Role, Units};

    fn roll(names: &[&str]) -> People {
        People::of(names.iter().map(|name| Person {
            name: (*name).to_owned(),
            role: Role::Engineer,
            units: Units::default(),
            pin: PinHash::of(&Pin::new("2580").unwrap()).unwrap(),
        }))
        .unwrap()
    }

    #[test]
    fn a_roll_that_is_gone_or_names_nobody_leaves_the_known_one_in_force() {
        let known = roll(&["Ann"]);
        let missing = || PeopleError::Missing { file: "people.toml".into() };
        assert!(after(&known, Ok(People::default())).is_err());
        assert!(after(&known, Err(missing())).is_err());
        assert!(after(&People::default(), Err(missing())).is_err());
        assert_eq!(after(&People::default(), Ok(People::default())), Ok(People::default()));
        assert_eq!(after(&People::default(), Ok(known.clone())), Ok(known.clone()));
        let other = roll(&["Ben"]);
        assert_eq!(after(&known, Ok(other.clone())), Ok(other));
    }

    #[test]
    fn who_was_taken_off_the_roll_while_their_pin_was_hashed_gets_no_session() {
        let (app, _folder) = panel(1.0);
        assert!(begin(&app, app.nobody()).is_ok(), "nobody was added");
        let both = roll(&["Ann", "Ben"]);
        let [ann, ben] = ["Ann", "Ben"].map(|name| both.find(name).unwrap().clone());
        let mut left = both;
        left.remove("Ann").unwrap();
        *locked(&app.inside.people) = left;
        assert_eq!(begin(&app, &ann).unwrap_err().1, texts::NOT_ON_ROLL);
        assert_eq!(begin(&app, app.nobody()).unwrap_err().1, texts::NOT_ON_ROLL);
        assert!(begin(&app, &ben).is_ok());
        app.station().quit().unwrap();
    }

    #[test]
    fn a_session_of_who_is_not_on_the_roll_ends_at_the_next_look_whether_its_file_changed_or_not() {
        let (app, _folder) = panel(1.0);
        let both = roll(&["Ann", "Ben"]);
        let ben = both.find("Ben").unwrap().clone();
        app.inside.options.people.change(|people| people.add(ben.clone())).unwrap();
        app.refresh_people();
        for person in both.iter() {
            app.begin_session(person, [person.name.as_bytes()[0]; 64], app.now());
        }
        app.refresh_people();
        let names = || {
            let sessions = locked(&app.inside.sessions);
            sessions.iter().map(|session| session.name().to_owned()).collect::<Vec<_>>()
        };
        assert_eq!(names(), ["Ben"]);
        // A file that is gone ends nobody's.
        std::fs::remove_file(app.inside.options.people.path()).unwrap();
        app.refresh_people();
        assert_eq!(names(), ["Ben"]);
        assert!(app.asks_for_a_pin());
        assert_eq!(app.roll_trouble().as_deref(), Some(texts::ROLL_GONE));
        app.station().quit().unwrap();
    }
}
