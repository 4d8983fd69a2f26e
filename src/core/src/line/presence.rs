//! Whether a device answers: a few misses in a row make it silent, and a silent one is tried
//! slowly, so that waiting for it cannot take the place of the others' polls.

use core::time::Duration;

use crate::moment::Moment;
use crate::rig::LineSpec;

/// What is known of a device's answering.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Answering {
    /// It has not answered since the port opened, or since it fell silent; it is tried again at
    /// this moment.
    Silent {
        /// When it is tried next.
        probe_at: Moment,
    },
    /// It answered within the last few requests.
    Yes,
}

/// What a request's end changed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Change {
    /// Nothing.
    None,
    /// A silent device answered.
    Appeared,
    /// The last allowed miss.
    Vanished,
}

/// Keeps count of one device's misses.
#[derive(Debug, Clone, Copy)]
pub struct Presence {
    answering: Answering,
    misses: u32,
    allowed: u32,
    probe_every: Duration,
}

impl Presence {
    /// A device that has not answered yet and may be tried at once.
    #[must_use]
    pub fn new(spec: &LineSpec) -> Self {
        Self {
            answering: Answering::Silent { probe_at: Moment::START },
            misses: 0,
            allowed: spec.misses.max(1),
            probe_every: spec.probe_every.to_duration(),
        }
    }

    /// Whether it answers.
    #[must_use]
    pub const fn answering(&self) -> Answering {
        self.answering
    }

    /// The moment from which it may be asked anything.
    #[must_use]
    pub const fn from(&self) -> Moment {
        match self.answering {
            Answering::Yes => Moment::START,
            Answering::Silent { probe_at } => probe_at,
        }
    }

    /// It answered, be it by refusing.
    pub fn handle_answer(&mut self) -> Change {
        self.misses = 0;
        match core::mem::replace(&mut self.answering, Answering::Yes) {
            Answering::Yes => Change::None,
            Answering::Silent { .. } => Change::Appeared,
        }
    }

    /// It did not answer a request that ended now.
    pub fn handle_miss(&mut self, now: Moment) -> Change {
        self.misses = self.misses.saturating_add(1);
        let silent = Answering::Silent { probe_at: now + self.probe_every };
        match self.answering {
            Answering::Silent { .. } => {
                self.answering = silent;
                Change::None
            }
            Answering::Yes if self.misses >= self.allowed => {
                self.answering = silent;
                Change::Vanished
            }
            Answering::Yes => Change::None,
        }
    }

    /// The port went away or came: nothing is known, and it may be tried at once.
    pub fn handle_link(&mut self) {
        self.misses = 0;
        self.answering = Answering::Silent { probe_at: Moment::START };
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::rig::support;

    #[test]
    fn the_third_miss_in_a_row_makes_a_device_silent_and_the_second_does_not() {
        let mut presence = Presence::new(&support::line());
        assert_eq!(presence.handle_answer(), Change::Appeared);
        let now = Moment::from_micros(1_000);
        assert_eq!(presence.handle_miss(now), Change::None);
        assert_eq!(presence.handle_miss(now), Change::None);
        assert_eq!(presence.handle_answer(), Change::None);
        assert_eq!(presence.handle_miss(now), Change::None);
        assert_eq!(presence.handle_miss(now), Change::None);
        assert_eq!(presence.handle_miss(now), Change::Vanished);
        assert_eq!(presence.from(), now + Duration::from_secs(1));
    }
}
