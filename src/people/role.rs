//! What each of the three may do, as one table.

use serde::{Deserialize, Serialize};

/// What a person is at this machine. Each has exactly one role.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Role {
    /// Runs released recipes.
    Operator,
    /// Looks after the machine.
    Maintenance,
    /// Writes what is run, and decides what counts.
    Engineer,
}

/// What somebody may be allowed to do. To watch and to stop is nobody's right alone and is not
/// here.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Right {
    /// Load a released recipe, start, hold, restart, accept, call the band wet, trim, give measured
    /// figures, add to the record of a part and decide about it.
    Run,
    /// Home, jog, nudge, calibrate, prove interlocks.
    Maintain,
    /// Teach and write recipes, change the rig, accept what measured parts teach, sign for a deviation.
    Engineer,
}

/// Legend: a row is a role, a column a right, `Yes` what the role may do.
#[rustfmt::skip]
const TABLE: [(Role, [Allowed; 3]); 3] = {
    use Allowed::{No, Yes};
    [
        //                   Run  Maintain  Engineer
        (Role::Operator,    [Yes, No,       No]),
        (Role::Maintenance, [Yes, Yes,      No]),
        (Role::Engineer,    [Yes, Yes,      Yes]),
    ]
};

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Allowed {
    Yes,
    No,
}

impl Role {
    /// Every role, in the order they are shown.
    pub const ALL: [Self; 3] = [Self::Operator, Self::Maintenance, Self::Engineer];

    /// Whether it may do that.
    #[must_use]
    pub fn allows(self, right: Right) -> bool {
        let column = match right {
            Right::Run => 0,
            Right::Maintain => 1,
            Right::Engineer => 2,
        };
        let row = TABLE.iter().find(|(role, _)| *role == self);
        row.and_then(|(_, rights)| rights.get(column)) == Some(&Allowed::Yes)
    }

    /// The word it is stored and shown by.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Operator => "operator",
            Self::Maintenance => "maintenance",
            Self::Engineer => "engineer",
        }
    }

    /// The role of a word; `None` for any other.
    #[must_use]
    pub fn of_word(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|role| role.word() == word)
    }
}

impl Right {
    /// Every right.
    pub const ALL: [Self; 3] = [Self::Run, Self::Maintain, Self::Engineer];

    /// Who has it, for a sentence such as "this needs ...".
    #[must_use]
    pub const fn needs(self) -> &'static str {
        match self {
            Self::Run => "somebody who is signed in",
            Self::Maintain => "maintenance or an engineer",
            Self::Engineer => "an engineer",
        }
    }
}

impl std::fmt::Display for Role {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.pad(self.word())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_role_may_do_its_own_work_and_that_of_those_before_it_and_nothing_else() {
        for (place, role) in Role::ALL.into_iter().enumerate() {
            for (other, right) in Right::ALL.into_iter().enumerate() {
                assert_eq!(role.allows(right), other <= place, "{role} {right:?}");
            }
        }
    }

    #[test]
    fn a_role_is_read_and_written_by_its_word() {
        for role in Role::ALL {
            assert_eq!(Role::of_word(role.word()), Some(role));
            assert_eq!(serde_json::to_value(role).expect("a word"), role.word());
        }
        assert_eq!(Role::of_word("Engineer"), None);
    }

    #[test]
    fn who_is_needed_for_a_right_are_those_who_have_it() {
        for right in [Right::Maintain, Right::Engineer] {
            for role in Role::ALL {
                assert_eq!(right.needs().contains(role.word()), role.allows(right), "{role}");
            }
        }
    }
}
