//! The system's own watchdog, fed by scans that go on, and by nothing else.
//!
//! On a thread of its own: no disk, no page and no person that somebody waits for may keep it from
//! being fed while the machine is scanned, and no timer feeds it when it is not.

use std::io;
use std::sync::mpsc::{RecvTimeoutError, Sender, channel};
use std::thread::{Builder, JoinHandle};
use std::time::Duration;

/// The thread.
pub(super) struct Feeding {
    end: Sender<()>,
    thread: JoinHandle<()>,
}

impl Feeding {
    /// Looks at the number of scans that often, and feeds when there are others than before.
    ///
    /// # Errors
    /// The thread cannot be made.
    pub(super) fn start(
        every: Duration,
        scans: impl Fn() -> u64 + Send + 'static,
        feed: impl Fn() + Send + 'static,
    ) -> io::Result<Self> {
        let (end, ended) = channel();
        let thread = Builder::new().name("feeding".to_owned()).spawn(move || {
            let mut before = 0;
            while ended.recv_timeout(every) == Err(RecvTimeoutError::Timeout) {
                let now = scans();
                if now != before {
                    before = now;
                    feed();
                }
            }
        })?;
        Ok(Self { end, thread })
    }

    /// Feeds it no more.
    pub(super) fn end(self) {
        drop(self.end);
        // One that broke down feeds no more either.
        let _ = self.thread.join();
    }
}

#[cfg(test)]
mod tests {
    use std::sync::Arc;
    use std::sync::atomic::{AtomicU64, Ordering};
    use std::time::Instant;

    use super::*;

    #[test]
    fn it_is_fed_while_scans_go_on_and_not_when_they_stand_still() {
        let (scans, fed) = (Arc::new(AtomicU64::new(1)), Arc::new(AtomicU64::new(0)));
        let (count, feed) = (scans.clone(), fed.clone());
        let feeding = Feeding::start(
            Duration::from_millis(1),
            move || count.load(Ordering::Relaxed),
            move || {
                feed.fetch_add(1, Ordering::Relaxed);
            },
        )
        .unwrap();
        let until = |wanted: u64| {
            let give_up = Instant::now() + Duration::from_secs(20);
            while fed.load(Ordering::Relaxed) < wanted {
                assert!(Instant::now() < give_up, "it is not fed");
                std::thread::sleep(Duration::from_millis(1));
            }
        };
        until(1);
        // Many looks at the same scan.
        std::thread::sleep(Duration::from_millis(50));
        assert_eq!(fed.load(Ordering::Relaxed), 1);
        scans.store(2, Ordering::Relaxed);
        until(2);
        feeding.end();
        scans.store(3, Ordering::Relaxed);
        std::thread::sleep(Duration::from_millis(20));
        assert_eq!(fed.load(Ordering::Relaxed), 2);
    }
}
