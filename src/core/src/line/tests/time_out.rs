//! Replies that are late, torn or missing.

use super::{End, REPLY, SILENCE, THREE, UNIT, answered, ask, at, clear, end, hear};
use crate::line::{Line, Miss, Request};
use crate::moment::Moment;

/// The reply may begin 25 ms after the request and takes 11 bytes.
const DEADLINE: u64 = 25_000 + 1_051;
const QUARANTINE: u64 = 30_000;

fn time_out(line: &mut Line, sent: u64) -> Option<End> {
    assert_eq!(line.next_wake(), at(sent + DEADLINE));
    line.handle_time(at(sent + DEADLINE)).map(|outcome| end(&outcome))
}

#[test]
fn the_deadline_is_the_request_s_end_and_the_reply_s_time_to_begin_and_to_pass() {
    let (mut line, now) = clear();
    let sent = ask(&mut line, now, THREE);
    assert!(line.handle_time(at(sent + DEADLINE - 1)).is_none());
    assert_eq!(time_out(&mut line, sent), Some(End::Missed(Miss::TimedOut)));
    assert!(line.handle_time(at(sent + DEADLINE)).is_none());
}

#[test]
fn a_reply_whose_last_byte_comes_at_the_deadline_is_in_time() {
    let (mut line, now) = clear();
    let sent = ask(&mut line, now, THREE);
    let outcome = line.handle_bytes(at(sent + DEADLINE), &REPLY).unwrap();
    assert_eq!(end(&outcome), answered()[0]);
}

#[test]
fn after_a_time_out_the_line_keeps_silent_for_the_quarantine() {
    let (mut line, now) = clear();
    let sent = ask(&mut line, now, THREE);
    time_out(&mut line, sent);
    assert_eq!(line.ready_at(), at(sent + DEADLINE + QUARANTINE));
    assert!(line.transmit(at(sent + DEADLINE + QUARANTINE - 1), UNIT, THREE).is_none());
    assert_eq!(line.counters().quarantines, 2);
}

/// The next request has the same shape, so that nothing but the quarantine keeps them apart.
#[test]
fn a_late_reply_is_thrown_away_whenever_it_comes_in_the_quarantine() {
    for late in (0..QUARANTINE).step_by(977) {
        let (mut line, now) = clear();
        let sent = ask(&mut line, now, THREE);
        time_out(&mut line, sent);
        let (ends, heard) = hear(&mut line, sent + DEADLINE + late, &REPLY);
        assert_eq!(ends, []);
        assert_eq!(line.counters().late, 1, "{late}");
        let ready = line.ready_at();
        assert!(ready >= at(heard + SILENCE));
        let other = Request::ReadHoldingRegisters { address: 0x100, count: 3 };
        let sent = ask(&mut line, ready.as_micros(), other);
        assert_eq!(time_out(&mut line, sent), Some(End::Missed(Miss::TimedOut)));
    }
}

#[test]
fn a_reply_heard_after_the_deadline_is_late_even_if_nobody_called_for_the_deadline() {
    let (mut line, now) = clear();
    let sent = ask(&mut line, now, THREE);
    let outcome = line.handle_bytes(at(sent + DEADLINE + 1), &REPLY).unwrap();
    assert_eq!(end(&outcome), End::Missed(Miss::TimedOut));
    assert_eq!(line.counters().late, 1);
}

#[test]
fn a_torn_reply_is_waited_for_until_the_deadline_and_never_completed_by_the_next() {
    for torn in 1..REPLY.len() {
        let (mut line, now) = clear();
        let sent = ask(&mut line, now, THREE);
        assert_eq!(hear(&mut line, sent + 2_250, &REPLY[..torn]).0, []);
        assert_eq!(time_out(&mut line, sent), Some(End::Missed(Miss::Torn)));
        assert_eq!(line.counters().torn, 1);
        let ready = line.ready_at().as_micros();
        let sent = ask(&mut line, ready, THREE);
        assert_eq!(hear(&mut line, sent + 2_250, &REPLY).0, answered());
    }
}

#[test]
fn spurious_calls_for_time_change_nothing() {
    let (mut line, now) = clear();
    for spurious in 0..10 {
        assert!(line.handle_time(at(now + spurious)).is_none());
    }
    let sent = ask(&mut line, now + 10, THREE);
    for spurious in 0..100 {
        assert!(line.handle_time(at(sent + spurious * 100)).is_none());
    }
    assert_eq!(hear(&mut line, sent + 11_000, &REPLY).0, answered());
    assert_eq!(line.next_wake(), Moment::NEVER);
}
