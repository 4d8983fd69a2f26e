//! Two processes at one record.

use std::io::{BufRead, BufReader, Write};
use std::path::Path;
use std::process::{Command, Stdio};

use evenpass::record::{Outcome, Recorder, Store};

use crate::story::{file, header, plain};

/// Tells the other process where the record is.
const OTHER_PROCESS: &str = "EVENPASS_TEST_RECORDS";

#[test]
fn another_process_reads_while_one_writes_and_a_killed_one_loses_nothing_committed() {
    let (_folder, path) = file();
    let mut writer = Command::new(std::env::current_exe().expect("this test"))
        .args(["--exact", "processes::the_writing_process", "--ignored", "--nocapture"])
        .env(OTHER_PROCESS, &path)
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn()
        .expect("writer");
    let mut told = BufReader::new(writer.stdout.take().expect("its output")).lines();
    let mut next =
        || told.find_map(|line| line.ok()?.strip_prefix("committed ").map(str::to_owned));
    let seen = |path: &Path| {
        let store = Store::open_existing(path).expect("open");
        let record = store.run(&store.find("latest").expect("id")).expect("run");
        (record.summary.outcome, record.entries.len())
    };
    assert_eq!(next().as_deref(), Some("100"));
    assert_eq!(seen(&path), (Outcome::Open, 100));
    writer.stdin.as_mut().expect("its input").write_all(b"more\n").expect("ask for more");
    assert_eq!(next().as_deref(), Some("200"));
    assert_eq!(seen(&path), (Outcome::Open, 200));
    writer.kill().expect("kill");
    writer.wait().expect("dead");
    assert_eq!(seen(&path), (Outcome::Interrupted, 200));
}

/// The other side of the test above.
#[test]
#[ignore = "the part another process plays"]
fn the_writing_process() {
    let Some(path) = std::env::var_os(OTHER_PROCESS) else { return };
    let store = Store::open(Path::new(&path)).expect("open");
    let recorder = Recorder::begin(store, &header("2026-11-25T09:00:00Z")).expect("begin");
    let mut asked = std::io::stdin().lines();
    for first in [1, 101] {
        (first..first + 100).for_each(|number| recorder.send(plain(number)));
        println!("\ncommitted {}", recorder.flush());
        drop(asked.next());
    }
}
