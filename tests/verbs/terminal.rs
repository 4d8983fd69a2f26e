//! The program at a terminal of its own, key by key.

use std::fs::File;
use std::io::{Read as _, Write as _};
use std::process::{Child, Command};
use std::sync::mpsc::{Receiver, channel};
use std::thread;
use std::time::Instant;

use rustix::fs::{Mode, OFlags, open};
use rustix::pty::{OpenptFlags, grantpt, openpt, ptsname, unlockpt};

use crate::PATIENCE;

/// The program, and somebody at its keys.
pub(crate) struct Terminal {
    child: Child,
    keys: File,
    shown: Receiver<Vec<u8>>,
    all: String,
}

impl Terminal {
    pub(crate) fn start(mut command: Command) -> Self {
        let own = openpt(OpenptFlags::RDWR | OpenptFlags::NOCTTY).expect("a terminal");
        grantpt(&own).expect("granted");
        unlockpt(&own).expect("unlocked");
        let name = ptsname(&own, Vec::new()).expect("its name");
        let end = open(name, OFlags::RDWR | OFlags::NOCTTY, Mode::empty()).expect("its other end");
        let end = File::from(end);
        let more = || end.try_clone().expect("one more");
        command.stdin(more()).stdout(more()).stderr(more());
        let child = command.spawn().expect("the program runs");
        let keys = File::from(own);
        let mut screen = keys.try_clone().expect("one more");
        let (to, shown) = channel();
        thread::spawn(move || {
            let mut piece = [0; 1024];
            // It breaks off when the program has ended.
            while let Ok(length @ 1..) = screen.read(&mut piece) {
                if to.send(piece[..length].to_vec()).is_err() {
                    break;
                }
            }
        });
        Self { child, keys, shown, all: String::new() }
    }

    /// Presses keys.
    pub(crate) fn presses(&mut self, keys: &str) {
        self.keys.write_all(keys.as_bytes()).expect("pressed");
    }

    /// Waits until these words are shown after all that was waited for before.
    pub(crate) fn sees(&mut self, words: &str) {
        let from = self.all.len();
        let until = Instant::now() + PATIENCE;
        while !self.all[from..].contains(words) {
            let left = until.saturating_duration_since(Instant::now());
            let Ok(piece) = self.shown.recv_timeout(left) else {
                panic!("`{words}` was not shown:\n{}", self.all);
            };
            self.all += &String::from_utf8_lossy(&piece);
        }
    }

    /// Waits for the end: its exit code, and all that was shown.
    pub(crate) fn ends(mut self) -> (i32, String) {
        while let Ok(piece) = self.shown.recv_timeout(PATIENCE) {
            self.all += &String::from_utf8_lossy(&piece);
        }
        let status = self.child.wait().expect("it ends");
        (status.code().expect("a code"), std::mem::take(&mut self.all))
    }
}

impl Drop for Terminal {
    fn drop(&mut self) {
        // It may have ended by itself.
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}
