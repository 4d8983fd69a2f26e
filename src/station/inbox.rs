//! Where the keeper of the records listens. Entries of the ledger come from the scan, which waits for
//! nothing: they have room for a while of a disk that hangs, and what finds none is not kept. The
//! keeper misses it by its number and counts it in the record. What the station itself says is little
//! and always finds room.

use std::sync::Arc;
use std::sync::atomic::{AtomicU64, AtomicUsize, Ordering};
use std::sync::mpsc::{Receiver, RecvTimeoutError, Sender, channel};
use std::time::Duration;

use evenpass_core::ledger::Entry;

use super::keeper::Told;

/// Entries that wait at the most; arbitrary. At about 50 a second: some minutes.
const ROOM: usize = 16_384;

/// The side that tells the keeper.
#[derive(Clone)]
pub(super) struct ToKeeper {
    to: Sender<Told>,
    waiting: Arc<AtomicUsize>,
    highest: Arc<AtomicU64>,
    room: usize,
}

/// The side on which it listens.
pub(super) struct Inbox {
    from: Receiver<Told>,
    waiting: Arc<AtomicUsize>,
    highest: Arc<AtomicU64>,
}

/// Both sides: the controller's thread needs the first before the keeper can be made.
pub(super) fn inbox() -> (ToKeeper, Inbox) {
    with_room(ROOM)
}

fn with_room(room: usize) -> (ToKeeper, Inbox) {
    let (to, from) = channel();
    let waiting = Arc::new(AtomicUsize::new(0));
    let highest = Arc::new(AtomicU64::new(0));
    let inbox = Inbox { from, waiting: waiting.clone(), highest: highest.clone() };
    (ToKeeper { to, waiting, highest, room }, inbox)
}

impl ToKeeper {
    /// Takes an entry without ever waiting.
    pub(super) fn entry(&self, entry: Entry) {
        self.highest.fetch_max(entry.number, Ordering::AcqRel);
        let more = |waiting| (waiting < self.room).then_some(waiting + 1);
        let found = self.waiting.fetch_update(Ordering::AcqRel, Ordering::Acquire, more);
        if found.is_ok() {
            self.tell(Told::Entry(entry));
        }
    }

    /// Tells it something else; a keeper that has ended keeps nothing any more, which is shown.
    pub(super) fn tell(&self, told: Told) {
        let _ = self.to.send(told);
    }
}

impl Inbox {
    /// What was told next, waited for, but for no longer than that if it is limited.
    ///
    /// # Errors
    /// Nothing was told in time, or nobody is left who could.
    pub(super) fn next(&self, within: Option<Duration>) -> Result<Told, RecvTimeoutError> {
        let told = match within {
            None => self.from.recv().map_err(|_| RecvTimeoutError::Disconnected),
            Some(within) => self.from.recv_timeout(within),
        }?;
        if matches!(told, Told::Entry(_)) {
            self.waiting.fetch_sub(1, Ordering::AcqRel);
        }
        Ok(told)
    }

    /// The highest number of an entry that was told, whether it found room or not; zero before the
    /// first.
    pub(super) fn highest(&self) -> u64 {
        self.highest.load(Ordering::Acquire)
    }
}

#[cfg(test)]
mod tests {
    use evenpass_core::ledger::EntryKind;
    use evenpass_core::moment::Moment;
    use serde_json::Value;

    use super::*;

    fn entry(number: u64) -> Entry {
        Entry {
            number,
            at: Moment::from_micros(number),
            kind: EntryKind::Sample,
            text: String::new(),
            cause: String::new(),
            data: Value::Null,
        }
    }

    #[test]
    fn entries_beyond_its_room_are_dropped_and_what_the_station_says_is_not() {
        let (to, inbox) = with_room(3);
        (1..=5).for_each(|number| to.entry(entry(number)));
        to.tell(Told::Quit);
        let number = |told| match told {
            Some(Told::Entry(entry)) => Some(entry.number),
            _ => None,
        };
        assert_eq!(number(inbox.next(None).ok()), Some(1));
        to.entry(entry(6));
        to.entry(entry(7));
        assert_eq!(number(inbox.next(None).ok()), Some(2));
        assert_eq!(number(inbox.next(None).ok()), Some(3));
        assert!(matches!(inbox.next(None).ok(), Some(Told::Quit)));
        assert_eq!(inbox.highest(), 7, "what found no room is known to be missing");
        assert_eq!(number(inbox.next(None).ok()), Some(6));
        drop(to);
        assert!(inbox.next(None).is_err());
    }
}
