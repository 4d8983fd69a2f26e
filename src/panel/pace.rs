//! How quickly one session may ask. People press a button now and then; what asks without end is
//! no person, and must neither wear the scan nor fill the record.

use std::collections::BTreeMap;
use std::time::Duration;

use evenpass_core::moment::Moment;

/// So many requests at once, and one more with every so much time; arbitrary, far above what hands
/// do.
const AT_ONCE: u32 = 40;
const ONE_EVERY: Duration = Duration::from_millis(50);

/// When the allowance of each session is whole again.
#[derive(Debug, Default)]
pub(super) struct Paces(BTreeMap<u64, Moment>);

impl Paces {
    /// Whether a session may ask once more now.
    pub(super) fn may_ask(&mut self, session: u64, now: Moment) -> bool {
        // A session whose allowance is whole need not be remembered.
        self.0.retain(|_, whole| *whole > now);
        let whole = self.0.get(&session).copied().unwrap_or(now);
        if whole.since(now) > ONE_EVERY * (AT_ONCE - 1) {
            return false;
        }
        self.0.insert(session, whole + ONE_EVERY);
        true
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn forty_at_once_and_then_twenty_a_second_and_each_session_for_itself() {
        let mut paces = Paces::default();
        let at = |millis: u64| Moment::START + Duration::from_millis(millis);
        let at_once = (0..1000).filter(|_| paces.may_ask(1, at(0))).count();
        assert_eq!(at_once, 40);
        let later = (1..=10_000).filter(|millis| paces.may_ask(1, at(*millis))).count();
        assert_eq!(later, 200);
        assert!(paces.may_ask(2, at(10_000)));
        assert!(paces.may_ask(1, at(20_000)));
        assert_eq!(paces.0.len(), 1, "only those that lately asked are remembered");
    }
}
