//! Frames of the serial lines. The controller's end believes a reply only when its checksum holds
//! and it answers the very request; the bench's devices act on a request only when its checksum
//! holds; and what one end writes the other reads.

use core::time::Duration;

use evenpass_core::image::Level;
use evenpass_core::line::{
    Answer, BITS_MAX, Bits, COILS_MAX, Line, Link, REGISTERS_MAX, Reply, Request, WORDS_MAX, Words,
};
use evenpass_core::moment::Moment;
use evenpass_hil::{Bench, LineIndex};

use crate::{SHIPPED, checksum};

/// Longer than any quarantine or silence of the shipped rig.
const LONG: Duration = Duration::from_millis(500);
/// Units of the bench's field line and of its motion line.
const FIELD_UNITS: [u8; 1] = [1];
const MOTION_UNITS: [u8; 2] = [1, 2];
/// Registers of the bench's drive that take any value and only matter in the next motion: speed,
/// ramps, quick stop, reaction to silence, homing speed.
const PARAMETERS: (u16, u16) = (0x0204, 12);

/// Any bytes: the first few choose a request, the rest is what the line brings.
///
/// # Panics
/// When a promise is broken.
pub fn frames(data: &[u8]) {
    let mut source = Source(data);
    let unit = source.byte() % 8;
    let request = source.request();
    let pieces = source.byte();
    let rest = source.0;
    reply_of_any_bytes(unit, request, pieces, rest);
    reply_as_encoded(unit, request, pieces, rest);
    request_of_any_bytes(rest);
    parameters_as_written(rest);
}

/// Where the search begins: each kind of request with its own reply behind it.
pub(crate) fn seeds() -> Vec<Vec<u8>> {
    let mut seeds = Vec::new();
    for kind in 0..8_u8 {
        let head = [1, kind, 0, 4, 9, 0x12, 0x34, 1];
        let request = Source(&head[1..]).request();
        let reply = encode(1, &request, &[0xA5; 250]);
        seeds.push([head.as_slice(), &reply].concat());
        let refusal = checksum::sealed(vec![1, request.function() | 0x80, 2]);
        seeds.push([head.as_slice(), &refusal].concat());
        seeds.push([head.as_slice(), request.frame(1).bytes()].concat());
    }
    seeds
}

/// Bytes taken from the front; zeros once there are none.
struct Source<'data>(&'data [u8]);

impl Source<'_> {
    fn byte(&mut self) -> u8 {
        match self.0.split_first() {
            Some((first, rest)) => {
                self.0 = rest;
                *first
            }
            None => 0,
        }
    }

    fn word(&mut self) -> u16 {
        u16::from_be_bytes([self.byte(), self.byte()])
    }

    /// A request as the program makes them: within the limits that it keeps.
    fn request(&mut self) -> Request {
        let kind = self.byte() % 8;
        let address = self.word();
        let count = u16::from(self.byte());
        let value = self.word();
        let bits = count % BITS_MAX + 1;
        let registers = count % REGISTERS_MAX + 1;
        match kind {
            0 => Request::ReadCoils { address, count: bits },
            1 => Request::ReadDiscreteInputs { address, count: bits },
            2 => Request::ReadHoldingRegisters { address, count: registers },
            3 => Request::ReadInputRegisters { address, count: registers },
            4 => {
                let level = if value & 1 == 1 { Level::On } else { Level::Off };
                Request::WriteCoil { address, level }
            }
            5 => Request::WriteRegister { address, value },
            6 => {
                let count = count % COILS_MAX + 1;
                let levels = u64::from(value).wrapping_mul(0x9E37_79B9_7F4A_7C15);
                Request::WriteCoils { address, count, levels }
            }
            _ => {
                let count = usize::from(count) % WORDS_MAX + 1;
                let words = (0..count).fold(Words::new(), |words, index| {
                    words.with(value.wrapping_add(u16::try_from(index).unwrap_or(0)))
                });
                Request::WriteRegisters { address, words }
            }
        }
    }
}

/// A line whose port is open and quiet, with the request just sent; and the moment at which its
/// last byte was on the wire.
fn asked(unit: u8, request: Request) -> (Line, Moment) {
    let mut line = Line::new(&SHIPPED.bench.lines[0]);
    line.handle_link(Moment::START, Link::Up);
    let now = Moment::START + LONG;
    line.handle_time(now);
    let frame = line.transmit(now, unit, request).expect("the line is quiet");
    let expected = checksum::sealed(frame.bytes()[..frame.len() - 2].to_vec());
    assert_eq!(frame.bytes(), expected, "a request leaves with another checksum");
    (line, now + Duration::from_millis(1) + wire(frame.len()))
}

/// How long so many bytes take at 115,200 baud, rounded up.
fn wire(bytes: usize) -> Duration {
    Duration::from_micros(96 * bytes as u64)
}

/// Whatever comes, in whatever pieces: a reply is believed only when bytes came that are one.
fn reply_of_any_bytes(unit: u8, request: Request, pieces: u8, bytes: &[u8]) {
    let (mut line, mut now) = asked(unit, request);
    let size = usize::from(pieces % 64) + 1;
    for piece in bytes.chunks(size).take(64) {
        now = now + wire(piece.len()) + Duration::from_micros(u64::from(pieces / 64) * 900);
        let Some(outcome) = line.handle_bytes(now, piece) else { continue };
        let length = match outcome.answer {
            Answer::Given(_) => request.reply_length(),
            Answer::Refused(_) => 5,
            Answer::Missed(_) => return,
        };
        let function = request.function();
        let is_reply = |frame: &[u8]| {
            checksum::holds(frame) && frame[0] == unit && frame[1] & 0x7F == function
        };
        let found = bytes.windows(length).any(is_reply);
        assert!(found, "believed, but no such reply came: {request:?} {bytes:02X?}");
        return;
    }
    line.handle_time(now + LONG);
}

/// The reply that a device of this register map would give, worked out from the specification
/// (MODBUS Application Protocol V1.1b3, 6) and not from the code under test.
fn encode(unit: u8, request: &Request, values: &[u8]) -> Vec<u8> {
    let mut frame = vec![unit, request.function()];
    let mut values = values.iter().copied().chain(std::iter::repeat(0x5A));
    let mut body = |frame: &mut Vec<u8>, count: usize| {
        frame.push(u8::try_from(count).expect("a frame's length"));
        frame.extend(values.by_ref().take(count));
    };
    match request {
        Request::ReadCoils { count, .. } | Request::ReadDiscreteInputs { count, .. } => {
            body(&mut frame, usize::from(count.div_ceil(8)));
        }
        Request::ReadHoldingRegisters { count, .. } | Request::ReadInputRegisters { count, .. } => {
            body(&mut frame, usize::from(*count) * 2);
        }
        Request::WriteCoil { address, level } => {
            frame.extend(address.to_be_bytes());
            frame.extend(if *level == Level::On { [0xFF, 0] } else { [0, 0] });
        }
        Request::WriteRegister { address, value } => {
            frame.extend(address.to_be_bytes());
            frame.extend(value.to_be_bytes());
        }
        Request::WriteCoils { address, count, .. } => {
            frame.extend(address.to_be_bytes());
            frame.extend(count.to_be_bytes());
        }
        Request::WriteRegisters { address, words } => {
            let count = u16::try_from(words.as_slice().len()).expect("a few");
            frame.extend(address.to_be_bytes());
            frame.extend(count.to_be_bytes());
        }
    }
    checksum::sealed(frame)
}

/// What a device says arrives as it was said; with one bit turned over it does not arrive at all.
fn reply_as_encoded(unit: u8, request: Request, pieces: u8, values: &[u8]) {
    let reply = encode(unit, &request, values);
    let (mut line, now) = asked(unit, request);
    let outcome = line.handle_bytes(now + wire(reply.len()), &reply);
    let outcome = outcome.unwrap_or_else(|| panic!("no end: {request:?} {reply:02X?}"));
    match (request, outcome.answer) {
        (
            Request::ReadCoils { count, .. } | Request::ReadDiscreteInputs { count, .. },
            Answer::Given(Reply::Bits(Bits(found))),
        ) => {
            for bit in 0..usize::from(count) {
                let said = reply[3 + bit / 8] >> (bit % 8) & 1;
                assert_eq!(found >> bit & 1, u64::from(said), "bit {bit} of {reply:02X?}");
            }
            assert!(count == 64 || found >> count == 0, "bits nobody asked for: {found:X}");
        }
        (
            Request::ReadHoldingRegisters { .. } | Request::ReadInputRegisters { .. },
            Answer::Given(Reply::Registers(found)),
        ) => {
            let found: Vec<u8> = found.iter().flat_map(u16::to_be_bytes).collect();
            assert_eq!(found, reply[3..reply.len() - 2], "{reply:02X?}");
        }
        (_, Answer::Given(Reply::Written)) => {}
        (_, answer) => panic!("{request:?} {reply:02X?} read as {answer:?}"),
    }
    let bit = usize::from(pieces) % (reply.len() * 8);
    let mut spoilt = reply;
    spoilt[bit / 8] ^= 1 << (bit % 8);
    let (mut line, now) = asked(unit, request);
    let outcome = line.handle_bytes(now + wire(spoilt.len()), &spoilt);
    let believed = outcome.is_some_and(|end| !matches!(end.answer, Answer::Missed(_)));
    assert!(!believed, "bit {bit} was turned over: {spoilt:02X?}");
}

/// One frame to the bench, alone on its line; what comes back.
fn serve(bench: &mut Bench, line: LineIndex, frame: &[u8]) -> Vec<Vec<u8>> {
    let begins = bench.now_us() + 10_000;
    bench.receive(line, begins + 96 * frame.len() as u64, frame);
    bench.advance(bench.now_us() + 50_000);
    std::iter::from_fn(|| bench.poll_transmit()).map(|burst| burst.bytes.to_vec()).collect()
}

/// Any bytes for the bench's devices: with a wrong checksum nothing answers and nothing happens;
/// with a right one, only the unit that was asked answers, about what it was asked.
fn request_of_any_bytes(bytes: &[u8]) {
    let frame = &bytes[..bytes.len().min(254)];
    for (line, units) in
        [(LineIndex::Field, &FIELD_UNITS[..]), (LineIndex::Motion, &MOTION_UNITS[..])]
    {
        let mut bench = SHIPPED.twin.clone();
        let before = (bench.truth().coils, bench.truth().energised);
        let replies = serve(&mut bench, line, frame);
        if !checksum::holds(frame) {
            assert!(replies.is_empty(), "{frame:02X?} was answered by {replies:02X?}");
            let after = (bench.truth().coils, bench.truth().energised);
            assert_eq!(before, after, "{frame:02X?} switched something");
        }
        let sealed = checksum::sealed(frame.to_vec());
        let replies = serve(&mut bench, line, &sealed);
        match (sealed.as_slice(), replies.as_slice()) {
            (_, []) => {
                let asked = sealed.len() > 3 && units.contains(&sealed[0]);
                assert!(!asked, "unit {} says nothing to {sealed:02X?}", sealed[0]);
            }
            ([unit, function, ..], [reply]) => {
                assert!(units.contains(unit), "{sealed:02X?} is for nobody: {reply:02X?}");
                assert!(checksum::holds(reply), "{reply:02X?}");
                let answered = reply[0] == *unit && reply[1] & 0x7F == *function & 0x7F;
                assert!(answered, "{sealed:02X?} was answered by {reply:02X?}");
            }
            (_, several) => panic!("{sealed:02X?} was answered by {several:02X?}"),
        }
    }
}

/// Registers that the controller's end writes into the drive's twin are read back as written.
fn parameters_as_written(values: &[u8]) {
    let mut source = Source(values);
    let first = u16::from(source.byte()) % PARAMETERS.1;
    let count = u16::from(source.byte()) % (PARAMETERS.1 - first) + 1;
    let words = (0..count).fold(Words::new(), |words, _| words.with(source.word()));
    let address = PARAMETERS.0 + first;
    let mut bench = SHIPPED.twin.clone();
    let mut exchange = |request: Request| {
        let replies = serve(&mut bench, LineIndex::Motion, request.frame(1).bytes());
        replies.into_iter().next().expect("the drive answers")
    };
    let echo = exchange(Request::WriteRegisters { address, words });
    assert_eq!(echo[1], 0x10, "refused: {echo:02X?}");
    let read = Request::ReadHoldingRegisters { address, count };
    let reply = exchange(read);
    let (mut line, now) = asked(1, read);
    let outcome = line.handle_bytes(now + wire(reply.len()), &reply).expect("it ends");
    let Answer::Given(Reply::Registers(found)) = outcome.answer else {
        panic!("{reply:02X?} read as {:?}", outcome.answer)
    };
    assert_eq!(found.iter().collect::<Vec<_>>(), words.as_slice());
}
