//! The rack against stand-in devices, in virtual time: whole microseconds, no clock.

mod axis;
mod edges;
mod faults;
mod field;
pub(crate) mod machine;
mod oracle;
mod spindle;
mod survey;

use std::collections::VecDeque;

use self::machine::{Drive, Inverter, Module};
use super::bench;
use super::field::Urgency;
use super::rack::Rack;
use crate::image::{Inputs, Level, Outputs, PowderDemand, PowderEdge};
use crate::line::Link;
use crate::moment::Moment;
use crate::rig::{LineId, Rig};

const FIELD: LineId = LineId(0);
const MOTION: LineId = LineId(1);
/// 3.5 characters at 115,200 baud, us (MODBUS over Serial Line V1.02, 2.5.1.1).
const SILENCE: u64 = 1_750;
/// Turn-round of the stand-ins behind that, us. Arbitrary.
const TURN_ROUND: u64 = 500;
/// A scan, us.
const SCAN: u64 = 20_000;

/// What becomes of one request.
#[derive(Debug, Clone, PartialEq)]
enum Fate {
    /// Answered in time.
    Answered,
    /// Heard, obeyed, and the reply lost.
    ReplyLost,
    /// Not heard.
    RequestLost,
    /// Answered so much later, us.
    Late(u64),
    /// Answered with a bit wrong.
    Corrupt,
    /// Answered with this exception.
    Refused(u8),
}

/// A request as it was on the wire.
#[derive(Debug, Clone)]
struct Heard {
    line: LineId,
    sent: u64,
    end: u64,
    frame: Vec<u8>,
}

/// One 8E1 byte at 115,200 baud is 11 bits; so many bytes, us, rounded up.
fn wire(bytes: usize) -> u64 {
    (bytes as u64 * 11_000_000).div_ceil(115_200)
}

type Decide = Box<dyn FnMut(&Heard) -> Fate>;

struct Bench {
    now: u64,
    rack: Rack,
    module: Module,
    drive: Drive,
    inverter: Inverter,
    outputs: Outputs,
    urgency: Urgency,
    scan_at: u64,
    scanning: bool,
    /// Powder edges from which each scan makes its demand, if there are any.
    edges: Vec<PowderEdge>,
    arriving: VecDeque<(u64, LineId, Vec<u8>)>,
    log: Vec<Heard>,
    decide: Decide,
}

impl Bench {
    fn new() -> Self {
        Self::with(&bench::rig())
    }

    fn with(rig: &Rig) -> Self {
        let mut rack = Rack::new(rig).unwrap();
        for line in [FIELD, MOTION] {
            rack.handle_link(Moment::START, line, Link::Up);
        }
        Self {
            now: 0,
            rack,
            module: Module::new(),
            drive: Drive::new(),
            inverter: Inverter::new(),
            outputs: Outputs::default(),
            urgency: Urgency::Routine,
            scan_at: 0,
            scanning: true,
            edges: Vec::new(),
            arriving: VecDeque::new(),
            log: Vec::new(),
            decide: Box::new(|_| Fate::Answered),
        }
    }

    /// Past power-up: coils cleared, settings read, one scan of everything.
    fn ready() -> Self {
        let mut bench = Self::new();
        bench.run(200_000);
        bench
    }

    fn at(&self) -> Moment {
        Moment::from_micros(self.now)
    }

    fn inputs(&self) -> Inputs {
        self.rack.inputs(self.at())
    }

    fn run(&mut self, span: u64) {
        let until = self.now + span;
        let mut standing = 0;
        loop {
            let wake = self.rack.next_wake().as_micros();
            let scan = if self.scanning { self.scan_at } else { u64::MAX };
            let bytes = self.arriving.front().map_or(u64::MAX, |arrival| arrival.0);
            let next = wake.min(scan).min(bytes).max(self.now);
            if next > until {
                self.now = until;
                return;
            }
            standing = if next == self.now { standing + 1 } else { 0 };
            assert!(standing < 100, "the rack asks to be woken at {next} for nothing");
            self.now = next;
            self.step();
        }
    }

    fn step(&mut self) {
        let now = self.at();
        while self.arriving.front().is_some_and(|arrival| arrival.0 <= self.now) {
            let (_, line, bytes) = self.arriving.pop_front().unwrap();
            self.rack.handle_bytes(now, line, &bytes);
        }
        self.rack.handle_time(now);
        if self.scanning && self.scan_at <= self.now {
            self.scan_at = self.now + SCAN;
            if !self.edges.is_empty() {
                self.outputs.powder = self.planned();
            }
            self.rack.demand(now, &self.outputs, self.urgency);
        }
        while let Some(transmit) = self.rack.poll_transmit(now) {
            self.hear(transmit.line, transmit.frame.bytes());
        }
    }

    /// The demand a sequence makes at this moment for its list of edges.
    fn planned(&self) -> PowderDemand {
        let passed = self.edges.iter().rfind(|edge| edge.at <= self.at());
        PowderDemand {
            now: passed.map_or(Level::Off, |edge| edge.to),
            next: self.edges.iter().find(|edge| edge.at > self.at()).copied(),
            epoch: 0,
        }
    }

    fn hear(&mut self, line: LineId, frame: &[u8]) {
        let end = self.now + wire(frame.len());
        let heard = Heard { line, sent: self.now, end, frame: frame.to_vec() };
        self.log.push(heard.clone());
        let fate = (self.decide)(&heard);
        if fate == Fate::RequestLost {
            return;
        }
        let complete = end + SILENCE;
        if let Fate::Refused(code) = fate {
            let mut reply = vec![frame[0], frame[1] | 0x80, code];
            let crc = crc::Crc::<u16>::new(&crc::CRC_16_MODBUS).checksum(&reply);
            reply.extend(crc.to_le_bytes());
            self.arrive(complete + TURN_ROUND, line, reply);
            return;
        }
        let reply = match (line, frame[0]) {
            (FIELD, 1) => self.module.answer(complete, frame),
            (MOTION, 1) => self.drive.answer(complete, frame),
            (MOTION, 2) => self.inverter.answer(complete, frame),
            _ => None,
        };
        let Some(mut reply) = reply else { return };
        match fate {
            Fate::ReplyLost => return,
            Fate::Corrupt => *reply.last_mut().unwrap() ^= 1,
            _ => {}
        }
        let late = if let Fate::Late(late) = fate { late } else { 0 };
        self.arrive(complete + TURN_ROUND + late, line, reply);
    }

    /// Bytes whose first one begins at a moment.
    fn arrive(&mut self, begins: u64, line: LineId, bytes: Vec<u8>) {
        self.arriving.push_back((begins + wire(bytes.len()), line, bytes));
        self.arriving.make_contiguous().sort_by_key(|arrival| arrival.0);
    }

    /// Functions asked of a unit since a moment.
    fn asked(&self, line: LineId, unit: u8, since: u64) -> Vec<u8> {
        self.log
            .iter()
            .filter(|heard| heard.line == line && heard.frame[0] == unit && heard.sent >= since)
            .map(|heard| heard.frame[1])
            .collect()
    }
}
