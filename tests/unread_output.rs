//! Nobody takes what a running job prints: its terminal was halted, or the program behind its pipe
//! reads no more. The job goes on, its journal too, and Ctrl-C is obeyed. Real processes on the
//! embedded twin, their standard output a pipe that is full from the beginning.

#![allow(clippy::expect_used, clippy::panic, reason = "a test that cannot go on fails")]

use std::io::{PipeReader, Write as _};
use std::path::PathBuf;
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

use evenpass::record::{Outcome, RunRecord, Store};

/// Longest that anything is waited for; the short job takes 170 s of life, and the machine may be busy.
const PATIENCE: Duration = Duration::from_secs(120);

struct Unread {
    folder: tempfile::TempDir,
    child: Child,
    /// Held, and never read.
    _reader: PipeReader,
}

impl Unread {
    fn run(pace: &str) -> Self {
        let folder = tempfile::tempdir().expect("a folder");
        let (reader, writer) = std::io::pipe().expect("a pipe");
        fill(&writer);
        let child = Command::new(env!("CARGO_BIN_EXE_evenpass"))
            .current_dir(env!("CARGO_MANIFEST_DIR"))
            .args(["run", "config/recipes/short-job.toml", "--alone", "--pace", pace])
            .args(["--rig", "config/rigs/bench.toml", "--catalogue", "config", "--records"])
            .arg(folder.path().join("records.sqlite"))
            .stdin(Stdio::null())
            .stdout(writer)
            .stderr(Stdio::null())
            .spawn()
            .expect("evenpass");
        Self { folder, child, _reader: reader }
    }

    fn records(&self) -> PathBuf {
        self.folder.path().join("records.sqlite")
    }

    fn record(&self) -> Option<RunRecord> {
        let store = Store::open_existing(&self.records()).ok()?;
        let id = store.find("latest").ok()?;
        store.run(&id).ok()
    }

    /// Waits for a record that is so.
    fn wait(&self, what: &str, is_so: impl Fn(&RunRecord) -> bool) -> RunRecord {
        let begun = Instant::now();
        while begun.elapsed() < PATIENCE {
            if let Some(record) = self.record().filter(&is_so) {
                return record;
            }
            std::thread::sleep(Duration::from_millis(100));
        }
        panic!("{what}: never within {PATIENCE:?}");
    }

    fn interrupt(&self) {
        let pid = self.child.id().to_string();
        let sent = Command::new("kill").args(["-INT", &pid]).status().expect("kill");
        assert!(sent.success());
    }

    /// Interrupts it until it ends: its record has its end a moment before the program knows it.
    fn exit_code(&mut self) -> Option<i32> {
        let begun = Instant::now();
        while begun.elapsed() < PATIENCE {
            self.interrupt();
            if let Some(status) = self.child.try_wait().expect("its state") {
                return status.code();
            }
            std::thread::sleep(Duration::from_millis(300));
        }
        panic!("it never ended");
    }
}

impl Drop for Unread {
    fn drop(&mut self) {
        drop(self.child.kill());
        drop(self.child.wait());
    }
}

/// Writes into a pipe until it takes no more.
fn fill(writer: &std::io::PipeWriter) {
    use rustix::fs::{OFlags, fcntl_getfl, fcntl_setfl};
    let usual = fcntl_getfl(writer).expect("its flags");
    fcntl_setfl(writer, usual | OFlags::NONBLOCK).expect("set");
    let mut to = writer;
    // Byte by byte at the end: a pipe takes what is small whole or not at all.
    for size in [4096, 1] {
        while to.write(&vec![b'.'; size]).is_ok() {}
    }
    fcntl_setfl(writer, usual).expect("set");
}

#[test]
fn a_job_whose_output_nobody_reads_is_recorded_to_its_end_and_an_interrupt_then_ends_the_program() {
    let mut job = Unread::run("80");
    let record = job.wait("complete", |record| record.summary.outcome == Outcome::Complete);
    assert_eq!((record.lost, record.gaps.len()), (Some(0), 0));
    assert_eq!(job.exit_code(), Some(0), "with the code of its job");
}

#[test]
fn a_job_whose_output_nobody_reads_obeys_an_interrupt() {
    let mut job = Unread::run("10");
    let has_passes = |record: &RunRecord| !record.passes.is_empty();
    job.wait("a pass", has_passes);
    job.interrupt();
    let over = |record: &RunRecord| record.summary.outcome != Outcome::Open;
    let record = job.wait("stopped", over);
    assert_eq!(record.summary.outcome, Outcome::Stopped, "{:?}", record.summary.first_cause);
    assert_eq!(job.exit_code(), Some(4), "stopped");
}
