//! Ctrl-C and its kin: the first asks for a stop in order, every later one aborts. A terminal that
//! hands over every key makes no signal of Ctrl-C: who reads its keys tells of it.

use std::fmt;
use std::io;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::{Arc, Mutex};
use std::thread;

use evenpass_core::request::Request;
use signal_hook::consts::{SIGHUP, SIGINT, SIGTERM};
use signal_hook::iterator::Signals;

use super::Exit;
use crate::station::locked;

/// What is done the moment that an interrupt comes, with what it asks for. Must not wait.
pub(super) type AtOnce = Box<dyn Fn(Request) + Send>;

/// Counts interrupts from the moment it is made.
#[derive(Debug)]
pub(super) struct Interrupts {
    coming: Arc<Coming>,
    answered: usize,
}

/// What the thread that takes the signals does with each.
#[derive(Default)]
struct Coming {
    seen: AtomicUsize,
    at_once: Mutex<Option<AtOnce>>,
}

impl Coming {
    fn one(&self) {
        let first = self.seen.fetch_add(1, Ordering::SeqCst) == 0;
        self.act(asks(first));
    }

    fn act(&self, request: Request) {
        if let Some(act) = &*locked(&self.at_once) {
            act(request);
        }
    }
}

impl fmt::Debug for Coming {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("Coming").field("seen", &self.seen).finish_non_exhaustive()
    }
}

const fn asks(first: bool) -> Request {
    if first { Request::Stop } else { Request::Abort }
}

impl Interrupts {
    /// Takes the signals over from the system's default.
    ///
    /// # Errors
    /// The system does not let it.
    pub(super) fn take_over() -> io::Result<Self> {
        let coming = Arc::<Coming>::default();
        let mut signals = Signals::new([SIGINT, SIGTERM, SIGHUP])?;
        let each = Arc::clone(&coming);
        thread::spawn(move || {
            for _ in signals.forever() {
                each.one();
            }
        });
        Ok(Self { coming, answered: 0 })
    }

    /// From now on does this with every interrupt, besides counting it: whoever asks for what has
    /// come may be waiting for something else. Nothing when `None`.
    pub(super) fn at_once(&self, act: Option<AtOnce>) {
        *locked(&self.coming.at_once) = act;
    }

    /// The job is over, and only what is printed of it is left, for which there may be no reader: from
    /// now on an interrupt ends the program.
    pub(super) fn end_program_as(&self, exit: Exit) {
        self.at_once(Some(Box::new(move |_| std::process::exit(i32::from(exit as u8)))));
    }

    /// For another thread to tell of an interrupt that comes as no signal.
    pub(super) fn bell(&self) -> Bell {
        Bell(Arc::clone(&self.coming))
    }

    /// What the newest interrupt asks for, once for each.
    pub(super) fn asked(&mut self) -> Option<Request> {
        let seen = self.coming.seen.load(Ordering::SeqCst);
        if seen == self.answered {
            return None;
        }
        let first = self.answered == 0 && seen == 1;
        self.answered = seen;
        Some(asks(first))
    }
}

/// Tells of keys that stop, as often as they are pressed: none of them asks for more than a stop.
#[derive(Debug, Clone)]
pub(super) struct Bell(Arc<Coming>);

impl Bell {
    /// One more.
    pub(super) fn ring(&self) {
        self.0.seen.fetch_add(1, Ordering::SeqCst);
        self.0.act(Request::Stop);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_interrupt_is_acted_on_as_it_comes_and_asked_for_later_all_the_same() {
        let mut interrupts = Interrupts { coming: Arc::default(), answered: 0 };
        let acted = Arc::<Mutex<Vec<Request>>>::default();
        let told = acted.clone();
        interrupts.at_once(Some(Box::new(move |request| locked(&told).push(request))));
        interrupts.coming.one();
        interrupts.coming.one();
        assert_eq!(*locked(&acted), [Request::Stop, Request::Abort]);
        assert_eq!(interrupts.asked(), Some(Request::Abort));
        assert_eq!(interrupts.asked(), None);
        interrupts.bell().ring();
        assert_eq!(locked(&acted).last(), Some(&Request::Stop), "a key that stops only stops");
        assert!(interrupts.asked().is_some());
        interrupts.at_once(None);
        interrupts.coming.one();
        assert_eq!(locked(&acted).len(), 3);
    }
}
