//! Serves a bench in wall time on two pseudo-terminals. The only file of the bench that touches the
//! operating system: clock, terminals, links, journal.
//!
//! One thread does everything. A controller opens the two links like serial ports and may come and go;
//! the far ends stay open here, so that its going does not end the service. Silence of t1.5 inside a
//! frame is not judged: pauses are the operating system's. Silence of t3.5 ends a frame by timer.

use std::collections::VecDeque;
use std::fs::File;
use std::io::{self, BufWriter, Write};
use std::os::fd::{AsFd, OwnedFd};
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, Instant};

use rustix::event::{PollFd, PollFlags, Timespec, poll};
use rustix::fs::{Mode, OFlags, open};
use rustix::pty::{OpenptFlags, grantpt, openpt, ptsname, unlockpt};
use rustix::termios::{OptionalActions, tcgetattr, tcsetattr};
use serde::Serialize;

use crate::bench::{Bench, Burst};
use crate::fault::LineIndex;
use crate::truth::{Switched, Truth};

/// The journal gets the truth this often, us on the bench's clock.
const JOURNAL_STEP_US: u64 = 10_000;
/// The stop flag is looked at this often at least.
const LONGEST_WAIT: Duration = Duration::from_millis(50);
/// Bytes taken from a terminal at once.
const READ_SIZE: usize = 512;

/// How long bytes are on their way: a pseudo-terminal has no wire.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Pacing {
    /// No time: a request counts when it is read, a reply is handed over when its first byte would
    /// start.
    Whole,
    /// What a line of the bench's speed takes: a request counts when its last byte would have ended,
    /// and a reply is handed over whole when its last byte would have.
    AtLineSpeed,
}

/// Where and how to serve.
#[derive(Clone, Debug)]
pub struct PtyOptions {
    /// Link to the terminal of the field line; an older link there is replaced.
    pub field_link: PathBuf,
    /// Link to the terminal of the motion line; an older link there is replaced.
    pub motion_link: PathBuf,
    /// Seconds on the bench's clock for each second of wall time.
    pub pace: f64,
    /// How long bytes are on their way.
    pub pacing: Pacing,
    /// JSON lines: the truth every 10 ms and every switching.
    pub journal: Option<PathBuf>,
}

/// What the service has done.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Served {
    /// Bytes that came from a controller.
    pub bytes_in: u64,
    /// Bytes that went to it.
    pub bytes_out: u64,
    /// Replies that nobody took.
    pub lost_replies: u64,
    /// Longest time by which a wake-up came late, us of wall time.
    pub latest_wake_us: u64,
}

/// A line of the journal.
#[derive(Serialize)]
#[serde(tag = "kind", rename_all = "snake_case")]
enum Entry<'a> {
    /// The world every 10 ms.
    Truth(&'a Truth),
    /// An output switched.
    Switched(&'a Switched),
}

/// One line's terminal: our end, the controller's end held open, and its link.
struct Terminal {
    ours: OwnedFd,
    _theirs: OwnedFd,
    link: PathBuf,
}

impl Terminal {
    fn open(link: &Path) -> io::Result<Self> {
        let flags = OpenptFlags::RDWR | OpenptFlags::NOCTTY | OpenptFlags::CLOEXEC;
        let ours = openpt(flags)?;
        grantpt(&ours)?;
        unlockpt(&ours)?;
        rustix::io::ioctl_fionbio(&ours, true)?;
        let name = ptsname(&ours, Vec::new())?;
        let theirs =
            open(name.as_c_str(), OFlags::RDWR | OFlags::NOCTTY | OFlags::CLOEXEC, Mode::empty())?;
        let mut settings = tcgetattr(&theirs)?;
        settings.make_raw();
        tcsetattr(&theirs, OptionalActions::Now, &settings)?;
        let target = name.to_str().map_err(|_| io::Error::other("terminal name is not text"))?;
        if link.is_symlink() {
            std::fs::remove_file(link)?;
        }
        std::os::unix::fs::symlink(target, link)
            .map_err(|e| io::Error::new(e.kind(), format!("link {}: {e}", link.display())))?;
        Ok(Self { ours, _theirs: theirs, link: link.to_owned() })
    }
}

impl Drop for Terminal {
    fn drop(&mut self) {
        // A link that somebody has already taken away needs no care.
        let _ = std::fs::remove_file(&self.link);
    }
}

/// Bench time from wall time.
struct Pacer {
    start: Instant,
    start_us: u64,
    pace: f64,
}

impl Pacer {
    fn now_us(&self) -> u64 {
        let wall = self.start.elapsed().as_secs_f64() * self.pace;
        self.start_us + crate::counts::microseconds(wall)
    }

    fn until(&self, bench_us: u64) -> Duration {
        let ahead = crate::counts::seconds(bench_us.saturating_sub(self.now_us())) / self.pace;
        Duration::try_from_secs_f64(ahead).unwrap_or(LONGEST_WAIT).min(LONGEST_WAIT)
    }
}

/// Serves the bench until `stop` is set, and hands it back with what was done. `opened` is called once
/// both links are there.
///
/// # Errors
/// When a terminal, a link or the journal cannot be opened or written. A controller that goes away is
/// none.
pub fn serve(
    mut bench: Bench,
    options: &PtyOptions,
    stop: &AtomicBool,
    opened: impl FnOnce(),
) -> io::Result<(Bench, Served)> {
    if !(options.pace.is_finite() && options.pace > 0.0) {
        let text = format!("pace is {}; it must be above zero", options.pace);
        return Err(io::Error::new(io::ErrorKind::InvalidInput, text));
    }
    let mut service = Service::open(&bench, options)?;
    opened();
    bench.set_inter_character_gap_us(u64::MAX);
    while !stop.load(Ordering::Relaxed) {
        service.turn(&mut bench)?;
    }
    service.close()?;
    Ok((bench, service.served))
}

/// Bytes of a controller on their way to the bench.
struct Arrival {
    at_us: u64,
    line: LineIndex,
    bytes: Vec<u8>,
}

struct Service {
    terminals: [(LineIndex, Terminal); 2],
    arriving: VecDeque<Arrival>,
    waiting: VecDeque<(u64, Burst)>,
    journal: Option<BufWriter<File>>,
    next_entry_us: u64,
    character_us: f64,
    pacing: Pacing,
    pacer: Pacer,
    served: Served,
}

impl Service {
    fn open(bench: &Bench, options: &PtyOptions) -> io::Result<Self> {
        let journal = match &options.journal {
            Some(path) => Some(BufWriter::new(File::create(path).map_err(|e| {
                io::Error::new(e.kind(), format!("journal {}: {e}", path.display()))
            })?)),
            None => None,
        };
        let line = &bench.spec.line;
        Ok(Self {
            terminals: [
                (LineIndex::Field, Terminal::open(&options.field_link)?),
                (LineIndex::Motion, Terminal::open(&options.motion_link)?),
            ],
            arriving: VecDeque::new(),
            waiting: VecDeque::new(),
            journal,
            next_entry_us: bench.now_us(),
            character_us: f64::from(line.bits_per_character) * 1e6 / f64::from(line.baud.max(1)),
            pacing: options.pacing,
            pacer: Pacer { start: Instant::now(), start_us: bench.now_us(), pace: options.pace },
            served: Served::default(),
        })
    }

    /// Waits for the next thing to happen and deals with all that is due.
    fn turn(&mut self, bench: &mut Bench) -> io::Result<()> {
        let due_us = self.due_us(bench);
        let ready = self.wait(self.pacer.until(due_us))?;
        let now_us = self.pacer.now_us();
        if now_us > due_us {
            let late = crate::counts::microseconds(
                crate::counts::seconds(now_us - due_us) / self.pacer.pace,
            );
            self.served.latest_wake_us = self.served.latest_wake_us.max(late);
        }
        // Journal lines fall on their own instants even when the wake-up is late.
        while self.journal.is_some() && self.next_entry_us <= now_us {
            bench.advance(self.next_entry_us);
            self.write_switched(bench)?;
            self.write_entry(&Entry::Truth(&bench.truth()))?;
            self.next_entry_us += JOURNAL_STEP_US;
            self.flush()?;
        }
        for (line, is_ready) in ready {
            if is_ready {
                self.read(line, now_us);
            }
        }
        while let Some(arrival) = self.arriving.pop_front_if(|arrival| arrival.at_us <= now_us) {
            bench.receive(arrival.line, arrival.at_us.max(bench.now_us()), &arrival.bytes);
        }
        bench.advance(now_us);
        self.take_replies(bench);
        self.send_due();
        self.write_switched(bench)
    }

    fn due_us(&self, bench: &Bench) -> u64 {
        let reply_us = self.waiting.front().map_or(u64::MAX, |w| w.0);
        let arrival_us = self.arriving.front().map_or(u64::MAX, |arrival| arrival.at_us);
        let entry_us = if self.journal.is_some() { self.next_entry_us } else { u64::MAX };
        bench.next_wake_us().min(reply_us).min(arrival_us).min(entry_us)
    }

    fn wait(&self, longest: Duration) -> io::Result<[(LineIndex, bool); 2]> {
        let [(first, a), (second, b)] = &self.terminals;
        let mut fds = [
            PollFd::from_borrowed_fd(a.ours.as_fd(), PollFlags::IN),
            PollFd::from_borrowed_fd(b.ours.as_fd(), PollFlags::IN),
        ];
        let timeout = Timespec {
            tv_sec: i64::try_from(longest.as_secs()).unwrap_or(i64::MAX),
            tv_nsec: i64::from(longest.subsec_nanos()),
        };
        match poll(&mut fds, Some(&timeout)) {
            Ok(_) | Err(rustix::io::Errno::INTR) => {}
            Err(error) => return Err(error.into()),
        }
        let [a, b] = fds.map(|fd| fd.revents().contains(PollFlags::IN));
        Ok([(*first, a), (*second, b)])
    }

    /// Takes what a controller has written; it is at the devices once the wire has carried it.
    fn read(&mut self, line: LineIndex, now_us: u64) {
        let mut buffer = [0_u8; READ_SIZE];
        for (index, terminal) in &self.terminals {
            if *index != line {
                continue;
            }
            if let Ok(count) = rustix::io::read(&terminal.ours, &mut buffer[..]) {
                self.served.bytes_in += count as u64;
                let before = self.arriving.iter().rev().find(|before| before.line == line);
                let start_us = before.map_or(now_us, |before| before.at_us.max(now_us));
                let at_us = start_us + self.wire_us(count);
                let bytes = buffer.get(..count).unwrap_or_default().to_vec();
                let place = self.arriving.partition_point(|arrival| arrival.at_us <= at_us);
                self.arriving.insert(place, Arrival { at_us, line, bytes });
            }
        }
    }

    /// How long so many bytes are on their way.
    fn wire_us(&self, count: usize) -> u64 {
        match self.pacing {
            Pacing::Whole => 0,
            Pacing::AtLineSpeed => {
                crate::counts::microseconds(count as f64 * self.character_us * 1e-6)
            }
        }
    }

    fn take_replies(&mut self, bench: &mut Bench) {
        while let Some(burst) = bench.poll_transmit() {
            let at_us = burst.start_us + self.wire_us(burst.bytes.len());
            let place = self.waiting.partition_point(|w| w.0 <= at_us);
            self.waiting.insert(place, (at_us, burst));
        }
    }

    fn send_due(&mut self) {
        while let Some((_, burst)) = self.waiting.pop_front_if(|w| w.0 <= self.pacer.now_us()) {
            for (line, terminal) in &self.terminals {
                if *line != burst.line {
                    continue;
                }
                match rustix::io::write(&terminal.ours, &burst.bytes) {
                    Ok(count) => self.served.bytes_out += count as u64,
                    Err(_) => self.served.lost_replies += 1,
                }
            }
        }
    }

    fn write_switched(&mut self, bench: &mut Bench) -> io::Result<()> {
        let mut wrote = false;
        for switched in bench.take_switched() {
            if let Some(journal) = &mut self.journal {
                write_line(journal, &Entry::Switched(&switched))?;
                wrote = true;
            }
        }
        if wrote { self.flush() } else { Ok(()) }
    }

    fn write_entry(&mut self, entry: &Entry<'_>) -> io::Result<()> {
        match &mut self.journal {
            Some(journal) => write_line(journal, entry),
            None => Ok(()),
        }
    }

    fn flush(&mut self) -> io::Result<()> {
        match &mut self.journal {
            Some(journal) => journal.flush(),
            None => Ok(()),
        }
    }

    fn close(&mut self) -> io::Result<()> {
        self.flush()
    }
}

fn write_line(journal: &mut BufWriter<File>, entry: &Entry<'_>) -> io::Result<()> {
    serde_json::to_writer(&mut *journal, entry)?;
    journal.write_all(b"\n")
}
