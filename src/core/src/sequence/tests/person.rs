//! The person at the machine of the tests, and the interlocks' verdict as a test sets it.

use core::time::Duration;

use super::plant::{Person, Plant};
use crate::image::{Contact, Level};
use crate::interlock::{
    Acknowledged, CarriageEffect, Class, Effects, Occurrence, Presence, SpindleEffect, Veto,
};
use crate::moment::Moment;
use crate::sequence::Ask;

impl Plant {
    /// Presses a button for 100 ms.
    pub(super) fn press(&mut self, contact: Contact) {
        self.presses.push((contact, self.now + Duration::from_millis(100)));
        self.set(contact, pressed(contact));
    }

    pub(super) fn trip(&mut self, carriage: CarriageEffect) {
        let now = self.now;
        self.trip_since(carriage, now);
    }

    pub(super) fn trip_since(&mut self, carriage: CarriageEffect, since: Moment) {
        self.verdict.class = Some(Class::Trip);
        self.verdict.first = Some(occurrence("flame_lost", Class::Trip, since, self.now));
        self.verdict.acknowledged = Acknowledged::No;
        self.verdict.reset_needs = vec!["acknowledge the trip"];
        self.verdict.effects = Effects {
            powder_off: Veto::Imposed,
            fuel_shut: Veto::Imposed,
            oxygen_shut: Veto::Imposed,
            carriage,
            spindle: SpindleEffect::Turn,
            ..Effects::default()
        };
    }

    pub(super) fn hold_by_interlock(&mut self, present: Presence) {
        let mut hold = occurrence("part_too_cold", Class::Hold, self.now, self.now);
        hold.present = present;
        self.verdict.class = Some(Class::Hold);
        self.verdict.holds = vec![hold];
    }

    pub(super) fn reset(&mut self) {
        self.press(Contact::ResetButton);
        self.run(0.3);
        self.press(Contact::ResetButton);
        self.run(0.3);
    }

    /// Answers prompts, if there is somebody, and lets go of buttons.
    pub(super) fn helper(&mut self) {
        let now = self.now;
        let over: Vec<_> =
            self.presses.iter().filter(|(_, until)| *until <= now).map(|press| press.0).collect();
        self.presses.retain(|(_, until)| *until > now);
        for contact in over {
            self.set(contact, released(contact));
        }
        let prompt = self.sequence.prompt();
        let Some(prompt) = prompt.filter(|_| self.person == Person::Helpful) else {
            self.asked = None;
            return;
        };
        if self.asked.is_none_or(|(ask, _)| ask != prompt.ask) {
            self.asked = Some((prompt.ask, now));
            return;
        }
        let Some((ask, since)) = self.asked else { return };
        let waited = now.since(since).as_secs_f64();
        let guard = |plant: &mut Self, level| plant.set(Contact::Guard, level);
        match ask {
            Ask::OpenGuard if waited > 0.5 => {
                guard(self, Level::Off);
                self.answer(Contact::AcceptButton);
            }
            Ask::SetFlame if waited > 4.0 => {
                guard(self, Level::On);
                self.answer(Contact::AcceptButton);
            }
            Ask::ShutGuard if waited > 0.5 => guard(self, Level::On),
            Ask::SetLever(_) | Ask::ChangeTorch | Ask::StillHot | Ask::Attendance
                if waited > 1.0 =>
            {
                self.answer(Contact::AcceptButton);
            }
            Ask::CallWet if self.coat > 1030.0 => self.answer(Contact::WetButton),
            _ => {}
        }
    }

    fn answer(&mut self, contact: Contact) {
        self.press(contact);
        self.asked = None;
    }
}

fn is_normally_closed(contact: Contact) -> bool {
    matches!(contact, Contact::HoldButtonRest | Contact::StopButtonRest | Contact::AbortButtonRest)
}

fn pressed(contact: Contact) -> Level {
    Level::from_bit(!is_normally_closed(contact))
}

fn released(contact: Contact) -> Level {
    Level::from_bit(is_normally_closed(contact))
}

pub(super) fn occurrence(
    key: &'static str,
    class: Class,
    since: Moment,
    confirmed: Moment,
) -> Occurrence {
    Occurrence {
        repeats: 0,
        key,
        class,
        since,
        confirmed,
        message: format!("{key} in the test"),
        advice: "look at the test",
        present: Presence::Active,
    }
}
