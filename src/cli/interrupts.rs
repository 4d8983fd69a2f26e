//! Ctrl-C and its kin: the first asks for a stop in order, every later one aborts.

use std::io;
use std::sync::Arc;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::thread;

use evenpass_core::request::Request;
use signal_hook::consts::{SIGHUP, SIGINT, SIGTERM};
use signal_hook::iterator::Signals;

/// Counts interrupts from the moment it is made.
#[derive(Debug)]
pub(super) struct Interrupts {
    seen: Arc<AtomicUsize>,
    answered: usize,
}

impl Interrupts {
    /// Takes the signals over from the system's default.
    ///
    /// # Errors
    /// The system does not let it.
    pub(super) fn take_over() -> io::Result<Self> {
        let seen = Arc::new(AtomicUsize::new(0));
        let mut signals = Signals::new([SIGINT, SIGTERM, SIGHUP])?;
        let counter = Arc::clone(&seen);
        thread::spawn(move || {
            for _ in signals.forever() {
                counter.fetch_add(1, Ordering::SeqCst);
            }
        });
        Ok(Self { seen, answered: 0 })
    }

    /// What the newest interrupt asks for, once for each.
    pub(super) fn asked(&mut self) -> Option<Request> {
        let seen = self.seen.load(Ordering::SeqCst);
        if seen == self.answered {
            return None;
        }
        let first = self.answered == 0 && seen == 1;
        self.answered = seen;
        Some(if first { Request::Stop } else { Request::Abort })
    }
}
