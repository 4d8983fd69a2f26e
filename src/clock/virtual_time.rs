//! Virtual time: controller and bench on one event queue, in whole microseconds.
//!
//! A frame's bytes take the time the line's own speed gives them: a burst that starts at `t` is
//! handed over when its last byte has arrived, at `t + n` characters. Nothing here reads a clock
//! and nothing is random, so a job is the same to the byte whenever it is run with one seed.

use std::collections::VecDeque;
use std::io::{self, Write};

use evenpass_core::moment::Moment;
use evenpass_core::rig::{LineId, Rig};
use evenpass_core::scan::Controller;
use evenpass_hil::{Bench, LineIndex};

use super::Master;

/// Which way a burst went.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Way {
    /// From the controller to a device.
    Request,
    /// From a device to the controller.
    Reply,
}

/// Sees every burst that goes over a line.
pub trait Witness {
    /// A burst whose first byte left at `start`.
    fn burst(&mut self, start: Moment, line: LineId, way: Way, bytes: &[u8]);
}

/// Nobody watches the lines.
#[derive(Debug, Clone, Default)]
pub struct Unwitnessed;

impl Witness for Unwitnessed {
    fn burst(&mut self, _: Moment, _: LineId, _: Way, _: &[u8]) {}
}

/// Counts every burst and, where it is asked to, writes it down, one line each: microseconds,
/// line, way, bytes.
pub struct Trace<T: Write> {
    to: Option<T>,
    bursts: u64,
    bytes: u64,
    trouble: Option<String>,
}

impl<T: Write> Trace<T> {
    /// Writes to `to`, if there is one.
    pub const fn new(to: Option<T>) -> Self {
        Self { to, bursts: 0, bytes: 0, trouble: None }
    }

    /// How many bursts it has seen.
    pub const fn bursts(&self) -> u64 {
        self.bursts
    }

    /// How many bytes it has seen.
    pub const fn bytes(&self) -> u64 {
        self.bytes
    }

    /// What kept it from writing, if anything did; it goes on counting.
    pub fn trouble(&self) -> Option<&str> {
        self.trouble.as_deref()
    }

    fn write(&mut self, start: Moment, line: LineId, way: Way, bytes: &[u8]) -> io::Result<()> {
        let Some(to) = self.to.as_mut() else { return Ok(()) };
        let way = match way {
            Way::Request => '>',
            Way::Reply => '<',
        };
        write!(to, "{} {} {way}", start.as_micros(), line.0)?;
        for byte in bytes {
            write!(to, " {byte:02x}")?;
        }
        writeln!(to)
    }
}

impl<T: Write> Witness for Trace<T> {
    fn burst(&mut self, start: Moment, line: LineId, way: Way, bytes: &[u8]) {
        self.bursts += 1;
        self.bytes += u64::try_from(bytes.len()).unwrap_or(u64::MAX);
        if self.trouble.is_none()
            && let Err(trouble) = self.write(start, line, way, bytes)
        {
            self.trouble = Some(trouble.to_string());
        }
    }
}

/// A burst on its way.
#[derive(Clone)]
struct Flight {
    arrives: Moment,
    line: usize,
    way: Way,
    length: usize,
    bytes: [u8; 256],
}

impl Flight {
    fn bytes(&self) -> &[u8] {
        self.bytes.get(..self.length).unwrap_or_default()
    }
}

/// A master (the controller, but for a survey of the rig) and the bench, joined by their lines,
/// with the time they have come to. A copy goes on from there by itself.
#[derive(Clone)]
pub struct VirtualTime<W: Witness, M: Master = Controller> {
    controller: M,
    bench: Bench,
    witness: W,
    now: Moment,
    /// Microseconds of one character on each line, times 1000.
    character_ns: Vec<u64>,
    /// Bursts on their way, by arrival; never more than one a line and way.
    flights: VecDeque<Flight>,
}

impl<W: Witness, M: Master> VirtualTime<W, M> {
    /// Joins a controller and a bench at the bench's own time, with the lines up: the start of time
    /// for one that was just switched on, later for one that has outlived another controller.
    pub fn new(rig: &Rig, mut controller: M, bench: Bench, witness: W) -> Self {
        let now = Moment::from_micros(bench.now_us());
        let character_ns = rig
            .lines
            .iter()
            .map(|line| {
                u64::from(line.bits_per_character()) * 1_000_000_000 / u64::from(line.baud.max(1))
            })
            .collect::<Vec<_>>();
        for index in 0..rig.lines.len() {
            controller.handle_link(now, LineId(index), evenpass_core::line::Link::Up);
        }
        Self { controller, bench, witness, now, character_ns, flights: VecDeque::with_capacity(8) }
    }

    /// The controller, or whatever master it is.
    pub fn controller(&mut self) -> &mut M {
        &mut self.controller
    }

    /// The controller, when its time is over.
    pub fn into_controller(self) -> M {
        self.controller
    }

    /// The bench alone, as a controller that dies leaves it: what was on the lines is lost.
    pub fn into_bench(self) -> Bench {
        self.bench
    }

    /// The bench.
    pub fn bench(&mut self) -> &mut Bench {
        &mut self.bench
    }

    /// Both, for somebody who looks at a screen and acts at the machine.
    pub fn both(&mut self) -> (&mut M, &mut Bench) {
        (&mut self.controller, &mut self.bench)
    }

    /// The witness.
    pub fn witness(&self) -> &W {
        &self.witness
    }

    /// The witness, to be told what to look for.
    pub fn witness_mut(&mut self) -> &mut W {
        &mut self.witness
    }

    /// The time it has come to.
    pub fn now(&self) -> Moment {
        self.now
    }

    /// Runs until `end`, leaving everything that is due at `end` done.
    pub fn run_until(&mut self, end: Moment) {
        loop {
            let next = self.next_event();
            if next > end {
                break;
            }
            self.now = self.now.max(next);
            self.turn();
        }
        self.now = self.now.max(end);
    }

    /// When something happens next.
    fn next_event(&self) -> Moment {
        let arrival = self.flights.front().map_or(Moment::NEVER, |flight| flight.arrives);
        let bench = Moment::from_micros(self.bench.next_wake_us());
        self.controller.next_wake().min(bench).min(arrival)
    }

    /// Does everything that is due now.
    fn turn(&mut self) {
        let now = self.now;
        while self.flights.front().is_some_and(|flight| flight.arrives <= now) {
            let Some(flight) = self.flights.pop_front() else { break };
            match flight.way {
                Way::Request => {
                    self.bench.receive(bench_line(flight.line), now.as_micros(), flight.bytes())
                }
                Way::Reply => {
                    self.controller.handle_bytes(now, LineId(flight.line), flight.bytes());
                }
            }
        }
        if self.bench.next_wake_us() <= now.as_micros() {
            self.bench.advance(now.as_micros());
        }
        self.controller.handle_time(now);
        while let Some(transmit) = self.controller.poll_transmit(now) {
            self.launch(now, transmit.line.0, Way::Request, transmit.frame.bytes());
        }
        while let Some(burst) = self.bench.poll_transmit() {
            let start = Moment::from_micros(burst.start_us);
            self.launch(start, core_line(burst.line), Way::Reply, burst.bytes.as_slice());
        }
    }

    /// Sends a burst on its way.
    fn launch(&mut self, start: Moment, line: usize, way: Way, sent: &[u8]) {
        self.witness.burst(start, LineId(line), way, sent);
        let character = self.character_ns.get(line).copied().unwrap_or(0);
        let flight_ns = character * u64::try_from(sent.len()).unwrap_or(0);
        let arrives = Moment::from_micros(start.as_micros() + flight_ns.div_ceil(1000));
        let mut bytes = [0; 256];
        let length = sent.len().min(bytes.len());
        for (slot, byte) in bytes.iter_mut().zip(sent) {
            *slot = *byte;
        }
        let place = self.flights.partition_point(|flight| flight.arrives <= arrives);
        self.flights.insert(place, Flight { arrives, line, way, length, bytes });
    }
}

/// The bench counts its lines by name.
const fn bench_line(line: usize) -> LineIndex {
    if line == 0 { LineIndex::Field } else { LineIndex::Motion }
}

const fn core_line(line: LineIndex) -> usize {
    match line {
        LineIndex::Field => 0,
        LineIndex::Motion => 1,
    }
}
