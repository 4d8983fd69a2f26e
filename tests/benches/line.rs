//! What the line costs: exchanges beside the line's own arithmetic and beside a general-purpose
//! Modbus library on the same pseudo-terminal, and scans in both clocks. Prints; asserts nothing.
//!
//! The devices are the bench's, in a thread of this process, with every byte taking the time it
//! takes at 115,200 baud. Run with `cargo bench --bench line`; it takes about 25 s.

#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::indexing_slicing,
    clippy::print_stdout,
    missing_docs
)]

mod over_ptys;

use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};

use evenpass::attendant::Attended;
use evenpass::clock::Master;
use evenpass::clock::virtual_time::Unwitnessed;
use evenpass::files::Job;
use evenpass::port::Port;
use evenpass::twin_job::TwinJob;
use evenpass_core::devices::Transmit;
use evenpass_core::line::{Answer, Line, Link, Outcome, Request, Timing};
use evenpass_core::moment::Moment;
use evenpass_core::rig::{LineId, LineSpec};
use evenpass_core::scan::Controller;
use evenpass_hil::BenchSpec;
use evenpass_hil::pty::Pacing;
use tokio_modbus::prelude::{Reader, Slave, rtu};
use tokio_serial::SerialPort as _;

use over_ptys::{Served, drive, ms, on_a_thread, port, quantile, short_job};

/// How long each way of asking is measured.
const MEASURED: Duration = Duration::from_secs(7);
/// How long scans are measured in wall time.
const SCANNED: Duration = Duration::from_secs(6);
/// By then the last reply that anybody asked for has come.
const LAST_REPLY: Duration = Duration::from_millis(100);
/// What is asked of the drive: its whole state, the longest reply of the motion line.
const ADDRESS: u16 = 0x0100;
const COUNT: u16 = 12;
const UNIT: u8 = 1;

fn main() {
    let folder = tempfile::tempdir().unwrap();
    let (job, plan) = short_job();
    let line = job.rig.lines.iter().find(|line| line.name == "motion").unwrap().clone();
    let served = Served::start(folder.path(), Pacing::AtLineSpeed);

    let timing = Timing::of(&line);
    let request = Request::ReadHoldingRegisters { address: ADDRESS, count: COUNT };
    let turn_round = Duration::from_micros(BenchSpec::default_bench().unwrap().drive.turn_round_us);
    let limit = timing.wire(request.request_length())
        + timing.silence
        + turn_round
        + timing.wire(request.reply_length());
    println!(
        "exchange of {} and {} bytes at {} baud over a pseudo-terminal with the wire's times",
        request.request_length(),
        request.reply_length(),
        line.baud
    );
    println!(
        "  arithmetic: request {:?}, silence {:?}, device {turn_round:?}, reply {:?}: {}",
        timing.wire(request.request_length()),
        timing.silence,
        timing.wire(request.reply_length()),
        ms(limit)
    );
    let ours = on_a_thread({
        let (line, path) = (line.clone(), served.motion.clone());
        move || our_line(line, path, request)
    });
    std::thread::sleep(LAST_REPLY);
    let theirs = on_a_thread({
        let (baud, path) = (line.baud, served.motion.clone());
        move || other_library(baud, &path)
    });
    let ours = print_exchanges("this line", ours, limit);
    let theirs = print_exchanges("tokio-modbus 0.17", theirs, limit);
    println!(
        "  this line / tokio-modbus: p50 {:.3}, p99 {:.3}",
        ours.0 / theirs.0,
        ours.1 / theirs.1
    );
    println!("  (this line then keeps {:?} of silence; the library keeps none)", timing.silence);

    let late = on_a_thread({
        let (rig, served) = (job.rig.clone(), [served.field.clone(), served.motion.clone()]);
        move || {
            let mut controller = Controller::new(&rig).unwrap();
            controller.load(&plan);
            let ports = rig.lines.iter().zip(served).map(|(line, path)| port(line, path));
            scans(controller, ports.collect(), rig.scan.to_duration())
        }
    });
    served.stop();
    let period = job.rig.scan.to_duration();
    println!("scan of {period:?} over two such lines in wall time, {} scans", late.len());
    let [p50, p99, worst] = [0.5, 0.99, 1.0].map(|share| quantile(&late, share));
    println!("  late by p50 {}, p99 {}, worst {}", ms(p50), ms(p99), ms(worst));
    scans_in_virtual_time(&job);
}

/// The core's line, and what its exchanges took.
struct Asking {
    line: Line,
    request: Request,
    took: Vec<Duration>,
    missed: u32,
}

impl Asking {
    fn note(&mut self, outcome: Option<(Duration, bool)>) {
        match outcome {
            Some((took, true)) => self.took.push(took),
            Some((_, false)) => self.missed += 1,
            None => {}
        }
    }
}

fn seen(outcome: Option<Outcome<'_>>) -> Option<(Duration, bool)> {
    outcome.map(|outcome| {
        (outcome.ended.since(outcome.sent), matches!(outcome.answer, Answer::Given(_)))
    })
}

impl Master for Asking {
    fn handle_link(&mut self, now: Moment, _: LineId, link: Link) {
        let outcome = seen(self.line.handle_link(now, link));
        self.note(outcome);
    }
    fn handle_bytes(&mut self, now: Moment, _: LineId, bytes: &[u8]) {
        let outcome = seen(self.line.handle_bytes(now, bytes));
        self.note(outcome);
    }
    fn handle_time(&mut self, now: Moment) {
        let outcome = seen(self.line.handle_time(now));
        self.note(outcome);
    }
    fn poll_transmit(&mut self, now: Moment) -> Option<Transmit> {
        let frame = self.line.transmit(now, UNIT, self.request)?;
        Some(Transmit { line: LineId(0), frame })
    }
    fn next_wake(&self) -> Moment {
        self.line.next_wake().min(self.line.ready_at())
    }
}

/// One request after the other on the core's line, by the pieces of the wall-time clock.
fn our_line(line: LineSpec, path: PathBuf, request: Request) -> Vec<Duration> {
    let mut asking =
        Asking { line: Line::new(&line), request, took: Vec::with_capacity(4096), missed: 0 };
    drive(&mut asking, vec![port(&line, path)], MEASURED, |_, _| {});
    println!("  {} of this line's requests were not answered in time", asking.missed);
    asking.took
}

/// The same request in a bare loop of a general-purpose library.
fn other_library(baud: u32, path: &Path) -> Vec<Duration> {
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build().unwrap();
    runtime.block_on(async {
        let builder = tokio_serial::new(path.to_str().unwrap(), baud);
        let stream = tokio_serial::SerialStream::open(&builder).unwrap();
        // The reply to whoever asked before would be taken for the first one, and what is asked
        // next would then run into the device's answer.
        stream.clear(tokio_serial::ClearBuffer::Input).unwrap();
        let mut client = rtu::attach_slave(stream, Slave(UNIT));
        let mut took = Vec::with_capacity(4096);
        let mut missed = 0_u32;
        let begun = Instant::now();
        while begun.elapsed() < MEASURED {
            let sent = Instant::now();
            // The library has no time-out of its own: a lost reply would be waited for for ever.
            let asked = client.read_holding_registers(ADDRESS, COUNT);
            match tokio::time::timeout(Duration::from_millis(100), asked).await {
                Ok(Ok(Ok(registers))) if registers.len() == usize::from(COUNT) => {
                    took.push(sent.elapsed());
                }
                _ => missed += 1,
            }
        }
        println!("  {missed} of the library's requests were not answered within 100 ms");
        took
    })
}

/// How late each scan of a controller came.
fn scans(mut controller: Controller, ports: Vec<Port>, period: Duration) -> Vec<Duration> {
    let mut due = Moment::START;
    let mut late = Vec::with_capacity(1024);
    drive(&mut controller, ports, SCANNED, |controller, now| {
        if now >= due {
            late.push(now.since(due));
        }
        while due <= now {
            due = due + period;
        }
        while controller.take_entry().is_some() {}
    });
    // The first scan is due before there is a thread to make it.
    late.split_off(1)
}

fn scans_in_virtual_time(job: &Job) {
    let plan = evenpass_core::plan::plan(&job.recipe, &job.rig, &job.catalogue).unwrap();
    let mut twin = TwinJob::new(job, &plan, 1, Attended::No, Unwitnessed).unwrap();
    let begun = Instant::now();
    let end = twin.run_until(Moment::from_micros(600_000_000), &mut |_| {});
    let took = begun.elapsed().as_secs_f64();
    let snapshot = twin.snapshot();
    let scans = snapshot.beat.scans as f64;
    println!(
        "the short job in virtual time, twin and all, to {end:?}: {:.1} s in {took:.3} s, {:.0} \
         times as fast, {:.0} scans a second",
        snapshot.at.as_seconds(),
        snapshot.at.as_seconds() / took,
        scans / took
    );
}

/// Prints the exchanges; p50 and p99 in seconds.
fn print_exchanges(who: &str, took: Vec<Duration>, limit: Duration) -> (f64, f64) {
    let [p50, p99, p999, worst] = [0.5, 0.99, 0.999, 1.0].map(|share| quantile(&took, share));
    println!(
        "  {who:<18} n {:>5}: p50 {}, p99 {}, p99.9 {}, worst {}; p50 / arithmetic {:.3}",
        took.len(),
        ms(p50),
        ms(p99),
        ms(p999),
        ms(worst),
        p50.as_secs_f64() / limit.as_secs_f64()
    );
    (p50.as_secs_f64(), p99.as_secs_f64())
}
