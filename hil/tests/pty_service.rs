//! The bench on pseudo-terminals, in wall time.

#![allow(clippy::unwrap_used, clippy::indexing_slicing, clippy::cast_possible_truncation)]

mod master;

use std::fs::OpenOptions;
use std::io::{Read, Write};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};

use evenpass_hil::pty::{Pacing, PtyOptions, serve};
use evenpass_hil::{Bench, BenchSpec, PartInChuck};

#[test]
fn a_controller_reads_the_drive_through_the_link_goes_and_comes_back() {
    let folder = std::env::temp_dir().join(format!("evenpass-bench-{}", std::process::id()));
    std::fs::create_dir_all(&folder).unwrap();
    let options = PtyOptions {
        field_link: folder.join("field"),
        motion_link: folder.join("motion"),
        pace: 1.0,
        pacing: Pacing::Whole,
        journal: Some(folder.join("journal.jsonl")),
    };
    let stop = Arc::new(AtomicBool::new(false));
    let served = std::thread::spawn({
        let (options, stop) = (options.clone(), Arc::clone(&stop));
        move || {
            let spec = BenchSpec::default_bench().unwrap();
            let bench = Bench::new(&spec, &PartInChuck::plain_shaft(), 1).unwrap();
            serve(bench, &options, &stop, || {})
        }
    });
    while !options.motion_link.exists() {
        std::thread::yield_now();
    }
    let request = master::frame(1, &[3, 1, 0, 0, 12]);
    for _ in 0..2 {
        let mut port =
            OpenOptions::new().read(true).write(true).open(&options.motion_link).unwrap();
        for _ in 0..5 {
            port.write_all(&request).unwrap();
            let mut reply = [0; 29];
            port.read_exact(&mut reply).unwrap();
            assert_eq!(reply[..3], [1, 3, 24]);
            assert_eq!(master::crc(&reply[..27]).to_le_bytes(), reply[27..]);
        }
    }
    std::thread::sleep(std::time::Duration::from_millis(60));
    stop.store(true, Ordering::Relaxed);
    let (_, served) = served.join().unwrap().unwrap();
    assert_eq!((served.bytes_in, served.bytes_out), (80, 290));
    let journal = std::fs::read_to_string(folder.join("journal.jsonl")).unwrap();
    assert!(journal.lines().count() >= 5);
    assert!(journal.lines().all(|l| l.starts_with("{\"kind\":\"truth\"")));
    assert!(!options.motion_link.is_symlink());
    std::fs::remove_dir_all(&folder).unwrap();
}
