//! What a technician does at a field device with a screwdriver, a jumper, a current source or a
//! bare hand. It sits before the faults: a contact that is stuck stays stuck, whatever is done
//! here.

use crate::wiring::{Analogue, Discrete};

/// What is done at a contact.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum AtContact {
    /// It is as its device has it.
    Untouched,
    /// Its plug is pulled, or its device is operated so that it opens.
    Opened,
    /// It is bridged, or its device is operated so that it closes.
    Closed,
}

/// What is done in a transmitter's loop.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum InLoop {
    /// The transmitter is connected and sees the plant.
    Untouched,
    /// One wire is off.
    WireOff,
    /// A source, or what is held before the sensor, gives so many microamperes.
    Source(f64),
}

/// A chuck turned by hand, until it is held still.
#[derive(Clone, Copy, Debug)]
struct HandTurn {
    rpm: f64,
    from_us: u64,
    held_at_us: Option<u64>,
}

/// Everything that is done at field devices.
#[derive(Clone, Debug, Default)]
pub(crate) struct Tampered {
    opened: u32,
    closed: u32,
    loops: Vec<(Analogue, f64)>,
    chuck: Option<HandTurn>,
}

impl Tampered {
    pub(crate) fn set_contact(&mut self, input: Discrete, what: AtContact) {
        let bit = 1_u32 << input as u32;
        self.opened &= !bit;
        self.closed &= !bit;
        match what {
            AtContact::Untouched => {}
            AtContact::Opened => self.opened |= bit,
            AtContact::Closed => self.closed |= bit,
        }
    }

    pub(crate) fn set_loop(&mut self, input: Analogue, what: InLoop) {
        self.loops.retain(|(known, _)| *known != input);
        match what {
            InLoop::Untouched => {}
            InLoop::WireOff => self.loops.push((input, 0.0)),
            InLoop::Source(microamperes) => self.loops.push((input, microamperes)),
        }
    }

    pub(crate) fn turn_chuck(&mut self, now_us: u64, rpm: f64) {
        if rpm > 0.0 {
            self.chuck = Some(HandTurn { rpm, from_us: now_us, held_at_us: None });
        } else if let Some(chuck) = &mut self.chuck {
            chuck.held_at_us.get_or_insert(now_us);
        }
    }

    /// All contacts, as somebody's hands leave them.
    pub(crate) const fn contacts(&self, truth: u32) -> u32 {
        truth & !self.opened | self.closed
    }

    /// The current in a loop that somebody is at.
    pub(crate) fn current_ua(&self, input: Analogue) -> Option<f64> {
        self.loops.iter().find(|(known, _)| *known == input).map(|(_, current)| *current)
    }

    /// Period us, count and time since the last pulse us of a chuck turned by hand.
    pub(crate) fn pulses(&self, now_us: u64, a_turn: u16) -> Option<(f64, f64, f64)> {
        let chuck = self.chuck?;
        let us = |span: u64| crate::counts::seconds(span) * 1e6;
        let period = 60e6 / (chuck.rpm * f64::from(a_turn)).max(1e-9);
        let turned = us(chuck.held_at_us.unwrap_or(now_us).saturating_sub(chuck.from_us));
        let count = (turned / period).floor();
        let since = us(now_us.saturating_sub(chuck.from_us)) - count * period;
        (count >= 2.0).then_some((period, count, since))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_pulled_plug_opens_a_bridge_closes_and_nothing_else_changes() {
        let mut tampered = Tampered::default();
        tampered.set_contact(Discrete::GuardClosed, AtContact::Opened);
        tampered.set_contact(Discrete::Spare, AtContact::Closed);
        assert_eq!(tampered.contacts(0b11), 0b01 | 1 << 31);
        tampered.set_contact(Discrete::GuardClosed, AtContact::Untouched);
        tampered.set_contact(Discrete::Spare, AtContact::Untouched);
        assert_eq!(tampered.contacts(0b11), 0b11);
    }

    #[test]
    fn a_chuck_held_still_gives_no_more_pulses_while_time_goes_on() {
        let mut tampered = Tampered::default();
        tampered.turn_chuck(0, 30.0);
        // 30 rpm and eight pulses a turn: one in 0.25 s.
        let turning = tampered.pulses(1_100_000, 8).unwrap();
        assert_eq!((turning.0.round(), turning.1), (250_000.0, 4.0));
        tampered.turn_chuck(1_100_000, 0.0);
        let held = tampered.pulses(3_100_000, 8).unwrap();
        assert_eq!((held.1, held.2.round()), (4.0, 2_100_000.0));
    }
}
