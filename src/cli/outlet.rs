//! Standard output for whoever must not wait for its reader: a terminal that was halted, or a pipe that
//! nobody reads, takes nothing more. What finds no room is dropped and counted, and the count is told
//! once somebody reads again.

use std::io;
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::mpsc::{Receiver, SyncSender, sync_channel};
use std::thread;
use std::time::Duration;

/// Texts that wait for their reader; arbitrary, more than a job tells in minutes.
const WAITING: usize = 1024;
/// How long the end waits for what was not taken yet; arbitrary.
const AT_THE_END: Duration = Duration::from_secs(1);

/// Prints from a thread of its own.
#[derive(Debug)]
pub(super) struct Outlet {
    texts: Option<SyncSender<String>>,
    dropped: Arc<AtomicU64>,
    /// Ends with the thread.
    done: Receiver<()>,
}

impl Outlet {
    /// To standard output.
    pub(super) fn new() -> Self {
        Self::to(io::stdout())
    }

    fn to(mut out: impl io::Write + Send + 'static) -> Self {
        let (texts, waiting) = sync_channel::<String>(WAITING);
        let dropped = Arc::<AtomicU64>::default();
        let (over, done) = sync_channel::<()>(1);
        let missed = Arc::clone(&dropped);
        thread::spawn(move || {
            for text in waiting {
                // Progress is no result: a reader who has gone does not stop the job.
                let _ = out.write_all(text.as_bytes()).and_then(|()| out.flush());
                let missed = missed.swap(0, Ordering::Relaxed);
                if missed > 0 {
                    let _ = writeln!(out, "{missed} lines found no reader and are not shown");
                }
            }
            drop(over);
        });
        Self { texts: Some(texts), dropped, done }
    }

    /// A line that is to be seen; counted where it is dropped.
    pub(super) fn line(&self, text: String) {
        if !self.take(text) {
            self.dropped.fetch_add(1, Ordering::Relaxed);
        }
    }

    /// What is soon shown anew; nobody misses it.
    pub(super) fn passing(&self, text: String) {
        let _ = self.take(text);
    }

    fn take(&self, text: String) -> bool {
        self.texts.as_ref().is_some_and(|texts| texts.try_send(text).is_ok())
    }
}

impl Drop for Outlet {
    /// What was told comes before what is printed next, unless nobody takes it.
    fn drop(&mut self) {
        self.texts = None;
        // It answers nothing: it is only waited for.
        let _ = self.done.recv_timeout(AT_THE_END);
    }
}

#[cfg(test)]
mod tests {
    use std::io::Read as _;

    use super::*;

    #[test]
    fn what_finds_no_reader_is_dropped_and_counted_and_nobody_waits_for_it() {
        let (mut reader, writer) = io::pipe().unwrap();
        let outlet = Outlet::to(writer);
        // A pipe takes 64 KiB of it, the queue what it holds.
        let line = format!("{}\n", "x".repeat(255));
        (0..3000).for_each(|_| outlet.line(line.clone()));
        let read = thread::spawn(move || {
            let mut text = String::new();
            reader.read_to_string(&mut text).map(|_| text)
        });
        drop(outlet);
        let text = read.join().unwrap().unwrap();
        let shown = text.lines().filter(|line| line.starts_with('x')).count();
        let missed = text.lines().filter_map(|line| {
            line.strip_suffix(" lines found no reader and are not shown")?.parse::<usize>().ok()
        });
        assert_eq!(shown + missed.sum::<usize>(), 3000);
        assert!((WAITING..2000).contains(&shown), "{shown}");
    }
}
