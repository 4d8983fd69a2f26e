//! Whether whoever signs on the command line may: where there is a people's file, its roll says who is
//! there and what each may do. No PIN is asked: whoever may write the records could write them anyway.

use std::path::Path;

use super::refused::Refused;
use super::say;
use crate::people::{PeopleError, PeopleFile, Right, Role};
use crate::record::records_file;

/// Lets somebody sign who is on the roll beside the records with a role that has the right, or anybody
/// where nobody is on one.
///
/// # Errors
/// They are not on it, have another role, or it cannot be read: what is accepted.
pub(super) fn may(person: &str, right: Right, records: Option<&Path>) -> Result<(), Refused> {
    let records = records_file(records)?;
    let file = PeopleFile::of(None, &records).map_err(unread)?;
    let people = file.read().map_err(unread)?;
    if people.is_empty() {
        return Ok(());
    }
    let roll = file.path().display();
    let roles: Vec<&str> =
        Role::ALL.into_iter().filter(|role| role.allows(right)).map(Role::word).collect();
    let accepted = format!("accepted: a name in {roll} with the role {}\n", roles.join(" or "));
    match people.find(person) {
        Some(known) if known.role.allows(right) => Ok(()),
        Some(known) => Err(Refused::Input(format!(
            "--person: found \"{}\", who is {} there: this needs {}\n{accepted}",
            say::one_line(person),
            known.role,
            right.needs()
        ))),
        None => Err(Refused::Input(format!(
            "--person: found \"{}\", who is not among the people of this machine\n{accepted}help: \
             `evenpass people list` shows who is there\n",
            say::one_line(person)
        ))),
    }
}

fn unread(problem: PeopleError) -> Refused {
    if problem.is_bad_input() {
        Refused::Input(problem.to_string())
    } else {
        Refused::Failure(problem.to_string())
    }
}
