//! One line alone, byte by byte, in virtual time.

mod noise;
mod time_out;

use super::{Answer, Frame, Line, Link, Miss, Outcome, Reply, Request};
use crate::moment::Moment;
use crate::rig::support;

/// Three registers, as in the specification's example.
const THREE: Request = Request::ReadHoldingRegisters { address: 0x6B, count: 3 };
/// The example's reply (MODBUS Application Protocol V1.1b3, 6.3; CRC recomputed).
const REPLY: [u8; 11] = [0x11, 0x03, 0x06, 0xAE, 0x41, 0x56, 0x52, 0x43, 0x40, 0x49, 0xAD];
const UNIT: u8 = 0x11;
/// 3.5 characters at 115,200 baud, us.
const SILENCE: u64 = 1_750;

const fn at(us: u64) -> Moment {
    Moment::from_micros(us)
}

/// What came of a transaction, without the frame it borrows from.
#[derive(Debug, Clone, PartialEq, Eq)]
enum End {
    Registers(Vec<u16>),
    Written,
    Refused(u8),
    Missed(Miss),
}

fn end(outcome: &Outcome<'_>) -> End {
    match outcome.answer {
        Answer::Given(Reply::Registers(registers)) => End::Registers(registers.iter().collect()),
        Answer::Given(_) => End::Written,
        Answer::Refused(code) => End::Refused(code.0),
        Answer::Missed(miss) => End::Missed(miss),
    }
}

/// A line that is clear, and the moment.
fn clear() -> (Line, u64) {
    let mut line = Line::new(&support::line());
    assert_eq!(line.ready_at(), Moment::NEVER);
    line.handle_link(at(0), Link::Up);
    // What was said before the port opened is waited out.
    assert_eq!(line.ready_at(), at(30_000));
    line.handle_time(at(30_000));
    (line, 30_000)
}

/// Sends the example request; returns when its last byte is on the wire.
fn ask(line: &mut Line, now: u64, request: Request) -> u64 {
    let frame: Frame = line.transmit(at(now), UNIT, request).unwrap();
    // 8 bytes of 11 bits at 115,200 baud are 763.9 us.
    assert_eq!(frame.len(), request.request_length());
    now + 764
}

/// Hears bytes one by one, each when its own 11 bits are over; the first begins at a moment.
fn hear(line: &mut Line, begins: u64, bytes: &[u8]) -> (Vec<End>, u64) {
    let mut ends = Vec::new();
    let mut now = begins;
    for (count, byte) in bytes.iter().enumerate() {
        now = begins + (count as u64 + 1) * 11_000_000 / 115_200;
        line.handle_time(at(now));
        ends.extend(line.handle_bytes(at(now), &[*byte]).map(|outcome| end(&outcome)));
    }
    (ends, now)
}

fn answered() -> Vec<End> {
    vec![End::Registers(vec![0xAE41, 0x5652, 0x4340])]
}

#[test]
fn a_reply_byte_by_byte_and_a_reply_in_one_piece_are_the_same() {
    let (mut line, now) = clear();
    let sent = ask(&mut line, now, THREE);
    let (ends, now) = hear(&mut line, sent + 2_250, &REPLY);
    assert_eq!(ends, answered());
    line.handle_time(line.ready_at());
    let now = now + SILENCE;
    let sent = ask(&mut line, now, THREE);
    let outcome = line.handle_bytes(at(sent + 4_000), &REPLY).unwrap();
    assert_eq!(end(&outcome), answered()[0]);
    assert_eq!(outcome.sampled, at(sent + SILENCE));
    assert_eq!(line.counters().replies, 2);
}

#[test]
fn a_request_waits_for_three_and_a_half_characters_of_silence() {
    let (mut line, now) = clear();
    let sent = ask(&mut line, now, THREE);
    let (_, heard) = hear(&mut line, sent + 2_250, &REPLY);
    assert_eq!(line.ready_at(), at(heard + SILENCE));
    assert!(line.transmit(at(heard + SILENCE - 1), UNIT, THREE).is_none());
    assert!(line.transmit(at(heard + SILENCE), UNIT, THREE).is_some());
}

#[test]
fn one_transaction_at_a_time() {
    let (mut line, now) = clear();
    let sent = ask(&mut line, now, THREE);
    assert_eq!(line.ready_at(), Moment::NEVER);
    assert!(line.transmit(at(sent + 20_000), UNIT, THREE).is_none());
}

#[test]
fn a_refusal_ends_the_transaction_at_once() {
    let (mut line, now) = clear();
    let sent = ask(&mut line, now, THREE);
    let (ends, _) = hear(&mut line, sent + 2_250, &[0x11, 0x83, 0x02, 0xC1, 0x34]);
    assert_eq!(ends, [End::Refused(2)]);
    assert_eq!(line.counters().exceptions, 1);
}

#[test]
fn a_port_that_goes_away_ends_the_transaction_and_comes_back_in_quarantine() {
    let (mut line, now) = clear();
    let sent = ask(&mut line, now, THREE);
    let outcome = line.handle_link(at(sent + 100), Link::Down).unwrap();
    assert_eq!(end(&outcome), End::Missed(Miss::LinkLost));
    assert_eq!(line.next_wake(), Moment::NEVER);
    assert!(line.handle_bytes(at(sent + 3_000), &REPLY).is_none());
    line.handle_link(at(sent + 50_000), Link::Up);
    assert_eq!(line.ready_at(), at(sent + 80_000));
    assert_eq!(line.counters().reconnections, 1);
}
