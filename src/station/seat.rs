//! The seat: who commands. Everyone else watches; stop is not a matter of the seat.
//!
//! A free seat is taken by whoever asks first. A seat that is taken is asked for: its holder sees
//! by whom, and gives or keeps it; a holder who does not answer has left it.

use std::sync::Arc;
use std::time::Duration;

use evenpass_core::moment::Moment;

use crate::people::NOT_SIGNED_IN;

/// How long a holder has to answer; arbitrary: long enough to look up from the flame.
pub(super) const ANSWER_WITHIN: Duration = Duration::from_secs(15);

/// Whoever sits and has no name, for whoever else looks on.
const SOMEBODY: &str = "somebody at another screen";

/// Whoever may sit: one signed-in place, and the name that is shown.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Sitter {
    /// What tells one place from another.
    pub key: Arc<str>,
    /// The person's name.
    pub name: Arc<str>,
}

/// What became of asking for the seat.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Taking {
    /// It is theirs, or was so already.
    Theirs,
    /// It was the same person's at another place, and is theirs here now.
    Back,
    /// Its holder has been asked.
    Asked,
    /// Somebody else is already asking for it.
    Busy,
}

/// Why somebody may not command.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum NotSeated {
    /// Nobody has the seat.
    #[error("nobody has the seat; take it first")]
    Empty,
    /// Somebody else has it.
    #[error("{}; ask for it first", taken(.0))]
    Others(Arc<str>),
    /// They had it, lost it and have it again: what was shown when this was asked is over.
    #[error("this was asked from an earlier time in the seat; look again, then ask again")]
    Stale,
}

fn taken(name: &str) -> String {
    match shown_name(name) {
        SOMEBODY => format!("{SOMEBODY} has the seat"),
        name => format!("the seat is {name}'s"),
    }
}

/// Who sits or asks, for others to read: before anybody was added, nobody has a name.
#[must_use]
pub fn shown_name(name: &str) -> &str {
    if name == NOT_SIGNED_IN { SOMEBODY } else { name }
}

/// Whether who sits is that person, at another place. Before anybody was added nobody has a name, and
/// nobody is the same.
#[must_use]
pub fn is_same_person(holder: &Sitter, name: &str) -> bool {
    *holder.name == *name && name != NOT_SIGNED_IN
}

/// The seat. Times are the program's own and never go back.
#[derive(Debug, Clone, Default)]
pub struct Seat {
    holder: Option<Sitter>,
    asking: Option<(Sitter, Moment)>,
    turn: u64,
}

impl Seat {
    /// Who has it.
    #[must_use]
    pub const fn holder(&self) -> Option<&Sitter> {
        self.holder.as_ref()
    }

    /// Who asks for it.
    #[must_use]
    pub fn asking(&self) -> Option<&Sitter> {
        self.asking.as_ref().map(|(sitter, _)| sitter)
    }

    /// Counts the times that somebody sat down. A command names the one it was made in.
    #[must_use]
    pub const fn turn(&self) -> u64 {
        self.turn
    }

    /// Somebody wants the seat. Who has it at another place, such as a browser that is gone, asks
    /// nobody: whoever waits for the seat waits on, and is answered by them here.
    pub fn take(&mut self, who: &Sitter, now: Moment) -> Taking {
        self.look(now);
        match (&self.holder, &self.asking) {
            (Some(holder), _) if holder.key == who.key => Taking::Theirs,
            (None, _) => {
                self.sit(who.clone());
                Taking::Theirs
            }
            (Some(holder), asking) if is_same_person(holder, &who.name) => {
                let others = asking.clone().filter(|(asking, _)| asking.key != who.key);
                self.sit(who.clone());
                self.asking = others;
                Taking::Back
            }
            (Some(_), Some((asking, _))) if asking.key != who.key => Taking::Busy,
            (Some(_), Some(_)) => Taking::Asked,
            (Some(_), None) => {
                self.asking = Some((who.clone(), now));
                Taking::Asked
            }
        }
    }

    /// The holder gives it to who asks.
    ///
    /// # Errors
    /// It is not theirs to give.
    pub fn give(&mut self, key: &str) -> Result<(), NotSeated> {
        self.is_theirs(key)?;
        if let Some((next, _)) = self.asking.take() {
            self.sit(next);
        }
        Ok(())
    }

    /// The holder keeps it.
    ///
    /// # Errors
    /// It is not theirs to keep.
    pub fn keep(&mut self, key: &str) -> Result<(), NotSeated> {
        self.is_theirs(key)?;
        self.asking = None;
        Ok(())
    }

    /// Somebody leaves: the seat, or the asking for it.
    pub fn leave(&mut self, key: &str) {
        if self.asking.as_ref().is_some_and(|(asking, _)| asking.key.as_ref() == key) {
            self.asking = None;
        }
        if self.is_theirs(key).is_ok() {
            self.holder = None;
            if let Some((next, _)) = self.asking.take() {
                self.sit(next);
            }
        }
    }

    /// Time has passed: a holder who did not answer has left.
    pub fn look(&mut self, now: Moment) {
        let over = |(_, since): &mut (Sitter, Moment)| now.since(*since) >= ANSWER_WITHIN;
        if let Some((next, _)) = self.asking.take_if(over) {
            self.sit(next);
        }
    }

    /// Whether a command made in that turn is its holder's.
    ///
    /// # Errors
    /// Why it is not.
    pub fn may_command(&self, key: &str, turn: u64) -> Result<(), NotSeated> {
        self.is_theirs(key)?;
        if turn == self.turn { Ok(()) } else { Err(NotSeated::Stale) }
    }

    fn is_theirs(&self, key: &str) -> Result<(), NotSeated> {
        match &self.holder {
            None => Err(NotSeated::Empty),
            Some(holder) if holder.key.as_ref() == key => Ok(()),
            Some(holder) => Err(NotSeated::Others(holder.name.clone())),
        }
    }

    fn sit(&mut self, who: Sitter) {
        self.holder = Some(who);
        self.turn += 1;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn sitter(key: &str) -> Sitter {
        Sitter { key: key.into(), name: key.to_uppercase().into() }
    }

    fn at(seconds: u64) -> Moment {
        Moment::START + Duration::from_secs(seconds)
    }

    #[test]
    fn a_free_seat_is_taken_and_a_taken_one_is_asked_for_and_given_or_kept() {
        let (ann, ben) = (sitter("ann"), sitter("ben"));
        let mut seat = Seat::default();
        assert_eq!(seat.may_command("ann", 0), Err(NotSeated::Empty));
        assert_eq!(seat.take(&ann, at(0)), Taking::Theirs);
        assert_eq!(seat.take(&ben, at(1)), Taking::Asked);
        assert_eq!(seat.take(&sitter("cid"), at(1)), Taking::Busy);
        assert_eq!(seat.may_command("ben", 1), Err(NotSeated::Others("ANN".into())));
        assert_eq!(seat.keep("ben"), Err(NotSeated::Others("ANN".into())));
        seat.keep("ann").unwrap();
        assert_eq!(seat.asking(), None);
        assert_eq!(seat.take(&ben, at(2)), Taking::Asked);
        seat.give("ann").unwrap();
        assert_eq!(seat.holder(), Some(&ben));
        assert_eq!(seat.may_command("ben", seat.turn()), Ok(()));
    }

    #[test]
    fn who_has_it_at_another_place_has_it_here_at_once_and_no_more_there() {
        let at_key = |key: &str| Sitter { key: key.into(), name: "Ann".into() };
        let (old, new) = (at_key("session 1"), at_key("session 2"));
        let mut seat = Seat::default();
        seat.take(&old, at(0));
        let shown = seat.turn();
        let ben = sitter("ben");
        assert_eq!(seat.take(&ben, at(1)), Taking::Asked);
        assert_eq!(seat.take(&new, at(2)), Taking::Back);
        assert_eq!(seat.may_command("session 1", shown), Err(NotSeated::Others("Ann".into())));
        assert_eq!(seat.may_command("session 2", shown), Err(NotSeated::Stale));
        assert_eq!(seat.asking(), Some(&ben), "who asked is still to be answered");
        seat.look(at(16));
        assert_eq!(seat.holder(), Some(&ben));
    }

    #[test]
    fn nobody_who_has_no_name_is_taken_for_the_same_person() {
        let nameless = |key: &str| Sitter { key: key.into(), name: NOT_SIGNED_IN.into() };
        let mut seat = Seat::default();
        seat.take(&nameless("session 1"), at(0));
        assert_eq!(seat.take(&nameless("session 2"), at(1)), Taking::Asked);
    }

    #[test]
    fn a_holder_who_does_not_answer_has_left() {
        let mut seat = Seat::default();
        seat.take(&sitter("ann"), at(0));
        seat.take(&sitter("ben"), at(10));
        seat.look(at(24));
        assert_eq!(seat.holder(), Some(&sitter("ann")));
        seat.look(at(25));
        assert_eq!(seat.holder(), Some(&sitter("ben")));
    }

    #[test]
    fn who_has_no_name_is_told_as_somebody_at_another_screen() {
        let others = |name: &str| NotSeated::Others(name.into()).to_string();
        assert_eq!(others("Ann"), "the seat is Ann's; ask for it first");
        let nobody = others(NOT_SIGNED_IN);
        assert_eq!(nobody, "somebody at another screen has the seat; ask for it first");
    }

    #[test]
    fn a_command_of_an_earlier_turn_is_stale_even_when_its_maker_sits_again() {
        let mut seat = Seat::default();
        seat.take(&sitter("ann"), at(0));
        let shown = seat.turn();
        seat.leave("ann");
        seat.take(&sitter("ben"), at(1));
        seat.leave("ben");
        seat.take(&sitter("ann"), at(2));
        assert_eq!(seat.may_command("ann", shown), Err(NotSeated::Stale));
        assert_eq!(seat.may_command("ann", seat.turn()), Ok(()));
    }

    #[test]
    fn who_leaves_hands_the_seat_to_who_asks() {
        let mut seat = Seat::default();
        seat.take(&sitter("ann"), at(0));
        seat.take(&sitter("ben"), at(1));
        seat.leave("ann");
        assert_eq!(seat.holder(), Some(&sitter("ben")));
        seat.leave("ben");
        assert_eq!(seat.holder(), None);
    }
}
