//! A timer that wakes within tens of microseconds: a timerfd on the clock since boot, which never
//! runs backwards and counts the time a computer was suspended as well (clock_gettime(2)). On a
//! clock that stands meanwhile the controller would go on where it left off, with valves that the
//! machine has shut by itself. The runtime's own timers count whole milliseconds, too coarse for
//! silences and powder edges.

use std::io;
use std::os::fd::OwnedFd;

use rustix::time::{
    Itimerspec, TimerfdClockId, TimerfdFlags, TimerfdTimerFlags, Timespec, timerfd_create,
    timerfd_settime,
};
use tokio::io::Interest;
use tokio::io::unix::AsyncFd;

use evenpass_core::moment::Moment;

/// The clock since boot, read as moments since it was made, with a timer on it.
#[derive(Debug)]
pub struct Timer {
    start: Timespec,
    file: AsyncFd<OwnedFd>,
}

impl Timer {
    /// Starts counting now. Must be made inside a runtime with I/O.
    ///
    /// # Errors
    /// The operating system has no timer left.
    pub fn new() -> io::Result<Self> {
        let file = timerfd_create(
            TimerfdClockId::Boottime,
            TimerfdFlags::NONBLOCK | TimerfdFlags::CLOEXEC,
        )?;
        // SAFETY: an `OwnedFd` answers with the same open descriptor for as long as it lives, and
        // only this value has it, so it stays open for as long as it is registered.
        #[expect(unsafe_code, reason = "registering a descriptor is unsafe in the runtime's API")]
        let file = unsafe { AsyncFd::register_with_interest(file, Interest::READABLE) }
            .map_err(io::Error::from)?;
        Ok(Self { start: since_boot(), file })
    }

    /// What time it is.
    #[must_use]
    pub fn now(&self) -> Moment {
        let now = since_boot();
        let nanos =
            (now.tv_sec - self.start.tv_sec) * 1_000_000_000 + now.tv_nsec - self.start.tv_nsec;
        Moment::from_micros(u64::try_from(nanos / 1000).unwrap_or(0))
    }

    /// Sets the next waking; a moment that has passed wakes at once.
    ///
    /// # Errors
    /// The operating system refuses.
    pub fn wake_at(&self, moment: Moment) -> io::Result<()> {
        let micros = i64::try_from(moment.as_micros()).unwrap_or(i64::MAX / 2000);
        let nanos = self.start.tv_nsec + (micros % 1_000_000) * 1000;
        let value = Timespec {
            tv_sec: self.start.tv_sec + micros / 1_000_000 + nanos / 1_000_000_000,
            tv_nsec: nanos % 1_000_000_000,
        };
        let once = Itimerspec { it_interval: Timespec { tv_sec: 0, tv_nsec: 0 }, it_value: value };
        timerfd_settime(self.file.get_ref(), TimerfdTimerFlags::ABSTIME, &once)?;
        Ok(())
    }

    /// Waits for the waking that was set.
    ///
    /// # Errors
    /// The timer is broken.
    pub async fn wait(&self) -> io::Result<()> {
        let mut guard = self.file.readable().await?;
        let mut expirations = [0; 8];
        match rustix::io::read(self.file.get_ref(), &mut expirations) {
            Ok(_) => Ok(()),
            Err(rustix::io::Errno::AGAIN) => {
                guard.clear_ready();
                Ok(())
            }
            Err(trouble) => Err(trouble.into()),
        }
    }
}

fn since_boot() -> Timespec {
    rustix::time::clock_gettime(rustix::time::ClockId::Boottime)
}
