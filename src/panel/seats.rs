//! No seat without a session: whatever ends a session, its seat, or its asking for one, is left.

use evenpass_core::moment::Moment;

use super::app::{App, locked};
use super::visitor::seat_key;
use crate::people::{Person, Session, Tokens};

impl App {
    /// Begins a session by 64 random bytes. The one that makes room for it, and those that are over
    /// by their time, leave the seat.
    pub(super) fn begin_session(&self, person: &Person, random: [u8; 64], now: Moment) -> Tokens {
        let (tokens, over) = locked(&self.inside.sessions).begin(person, random, now);
        self.leave_seat(&over);
        tokens
    }

    /// Sessions that are over leave the seat.
    pub(super) fn leave_seat(&self, over: &[Session]) {
        for session in over {
            self.station().seat(|seat, _| seat.leave(&seat_key(session.number())));
        }
    }

    /// Ends what is over by its time, and empties a seat whose session has gone in any way: one that
    /// ended just while its person sat down had nothing to leave yet.
    pub(super) fn look_at_sessions(&self, now: Moment) {
        let open: Vec<String> = {
            let mut sessions = locked(&self.inside.sessions);
            sessions.sweep(now);
            sessions.iter().map(|session| seat_key(session.number())).collect()
        };
        self.station().seat(|seat, _| {
            let sitters =
                [seat.holder(), seat.asking()].map(|sitter| sitter.map(|s| s.key.clone()));
            for key in
                sitters.into_iter().flatten().filter(|key| !open.iter().any(|one| **one == **key))
            {
                seat.leave(&key);
            }
        });
    }
}

#[cfg(test)]
mod tests {
    use std::time::Duration;

    use super::*;
    use crate::panel::on_twin::panel;
    use crate::station::{Sitter, Taking};

    fn begin(app: &App, seed: u8, now: Moment) -> Sitter {
        app.begin_session(&app.nobody().clone(), [seed; 64], now);
        let number = locked(&app.inside.sessions).iter().last().unwrap().number();
        Sitter { key: seat_key(number).into(), name: format!("sitter {number}").as_str().into() }
    }

    fn holder(app: &App) -> Option<String> {
        app.station().seat(|seat, _| seat.holder().map(|holder| holder.key.to_string()))
    }

    fn take(app: &App, sitter: &Sitter) -> Taking {
        app.station().seat(|seat, now| seat.take(sitter, now))
    }

    fn at(seconds: u64) -> Moment {
        Moment::START + Duration::from_secs(seconds)
    }

    #[test]
    fn a_session_that_makes_room_for_another_leaves_the_seat_at_once() {
        let (app, _folder) = panel(1.0);
        let first = begin(&app, 0, at(0));
        assert_eq!(take(&app, &first), Taking::Theirs);
        for seed in 1..64 {
            begin(&app, seed, at(1));
        }
        assert_eq!(holder(&app).as_deref(), Some(&*first.key), "sixty-four have room");
        begin(&app, 64, at(2));
        assert_eq!(holder(&app), None);
        app.station().quit().unwrap();
    }

    #[test]
    fn a_session_that_is_over_by_its_time_leaves_the_seat_whoever_notices_it() {
        let (app, _folder) = panel(1.0);
        let half_an_hour = 30 * 60;
        let looked = begin(&app, 0, at(0));
        take(&app, &looked);
        app.look_at_sessions(at(half_an_hour - 1));
        assert_eq!(holder(&app).as_deref(), Some(&*looked.key));
        app.look_at_sessions(at(half_an_hour));
        assert_eq!(holder(&app), None);
        // The next one that signs in may notice it first.
        let noticed = begin(&app, 1, at(half_an_hour));
        take(&app, &noticed);
        begin(&app, 2, at(2 * half_an_hour));
        assert_eq!(holder(&app), None);
        app.station().quit().unwrap();
    }

    #[test]
    fn who_sits_down_just_as_their_session_ends_does_not_keep_the_seat_nor_ask_for_it_for_ever() {
        let (app, _folder) = panel(1.0);
        let gone = Sitter { key: seat_key(7).into(), name: "gone".into() };
        assert_eq!(take(&app, &gone), Taking::Theirs);
        let sits = begin(&app, 0, at(0));
        app.look_at_sessions(at(1));
        assert_eq!(holder(&app), None);
        take(&app, &sits);
        assert_eq!(take(&app, &gone), Taking::Asked);
        app.look_at_sessions(at(1));
        app.station().seat(|seat, _| assert_eq!(seat.asking(), None));
        assert_eq!(holder(&app).as_deref(), Some(&*sits.key));
        app.station().quit().unwrap();
    }
}
