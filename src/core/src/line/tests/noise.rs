//! Noise, foreign frames, wrong bits, duplicates.

use super::{End, REPLY, SILENCE, THREE, answered, ask, at, clear, end, hear};
use crate::image::Level;
use crate::line::{Miss, Request};

#[test]
fn a_wrong_bit_anywhere_never_gives_an_answer() {
    for bit in 0..REPLY.len() * 8 {
        let (mut line, now) = clear();
        let sent = ask(&mut line, now, THREE);
        let mut spoiled = REPLY;
        spoiled[bit / 8] ^= 1 << (bit % 8);
        let (ends, _) = hear(&mut line, sent + 2_250, &spoiled);
        for end in &ends {
            assert_eq!(*end, End::Missed(Miss::Corrupt), "bit {bit}");
        }
        if ends.is_empty() {
            let outcome = line.handle_time(line.next_wake()).unwrap();
            assert!(matches!(end(&outcome), End::Missed(_)), "bit {bit}");
        }
    }
}

#[test]
fn behind_a_corrupt_reply_one_silence_is_enough() {
    let (mut line, now) = clear();
    let sent = ask(&mut line, now, THREE);
    let mut spoiled = REPLY;
    spoiled[5] ^= 4;
    let (ends, heard) = hear(&mut line, sent + 2_250, &spoiled);
    assert_eq!(ends, [End::Missed(Miss::Corrupt)]);
    assert_eq!(line.ready_at(), at(heard + SILENCE));
}

#[test]
fn noise_straight_before_a_reply_spoils_it_and_noise_with_a_silence_behind_does_not() {
    let noise = [0x55, 0x11, 0x03];
    let (mut line, now) = clear();
    let sent = ask(&mut line, now, THREE);
    let (_, heard) = hear(&mut line, sent + 200, &noise);
    assert_eq!(hear(&mut line, heard, &REPLY).0, []);
    assert_eq!(line.counters().foreign, 1);

    let (mut line, now) = clear();
    let sent = ask(&mut line, now, THREE);
    let (_, heard) = hear(&mut line, sent + 200, &noise);
    assert_eq!(hear(&mut line, heard + SILENCE + 100, &REPLY).0, answered());
}

/// The noise is the beginning of a good reply, so only the silence tells them apart.
#[test]
fn noise_that_looks_like_the_head_of_a_reply_does_not_hide_the_reply_behind_a_silence() {
    for length in 1..8 {
        let (mut line, now) = clear();
        let sent = ask(&mut line, now, THREE);
        let (_, heard) = hear(&mut line, sent + 200, &REPLY[..length]);
        let (ends, _) = hear(&mut line, heard + SILENCE + 100, &REPLY);
        assert_eq!(ends, answered(), "{length} bytes");
    }
}

#[test]
fn bytes_behind_a_reply_do_not_spoil_it_and_postpone_the_next_request() {
    let (mut line, now) = clear();
    let sent = ask(&mut line, now, THREE);
    let mut long = REPLY.to_vec();
    long.extend([0xFF; 20]);
    let (ends, heard) = hear(&mut line, sent + 2_250, &long);
    assert_eq!(ends, answered());
    assert_eq!(line.ready_at(), at(heard + SILENCE));
    assert_eq!(line.counters().foreign, 1);
    // The same in one piece.
    let ready = line.ready_at().as_micros();
    let sent = ask(&mut line, ready, THREE);
    let outcome = line.handle_bytes(at(sent + 6_000), &long).unwrap();
    assert_eq!(end(&outcome), answered()[0]);
    assert_eq!(line.counters().foreign, 2);
}

#[test]
fn a_second_copy_of_a_reply_is_not_taken_for_the_next_one() {
    let (mut line, now) = clear();
    let sent = ask(&mut line, now, THREE);
    let (_, heard) = hear(&mut line, sent + 2_250, &REPLY);
    // It begins just before our next request and ends while that is on the wire.
    assert_eq!(hear(&mut line, heard + SILENCE - 300, &REPLY[..2]).0, []);
    let ready = line.ready_at().as_micros();
    let sent = ask(&mut line, ready, THREE);
    // A copy that starts under our own request cannot be its reply.
    assert_eq!(hear(&mut line, sent - 700, &REPLY).0, []);
    // Behind a silence the true one still comes.
    assert_eq!(hear(&mut line, sent + 5_000, &REPLY).0, answered());
}

#[test]
fn the_reply_of_another_unit_is_foreign_and_the_right_one_is_still_heard() {
    let (mut line, now) = clear();
    let sent = ask(&mut line, now, THREE);
    // `02 07 41 12`: worked example of MODBUS over Serial Line V1.02, 6.2.2.
    let (ends, heard) = hear(&mut line, sent + 2_250, &[0x02, 0x07, 0x41, 0x12]);
    assert_eq!(ends, []);
    assert_eq!(hear(&mut line, heard + SILENCE, &REPLY).0, answered());
}

#[test]
fn a_shorter_reply_of_the_same_unit_and_function_is_foreign() {
    let (mut line, now) = clear();
    let sent = ask(&mut line, now, Request::ReadHoldingRegisters { address: 0x6B, count: 4 });
    assert_eq!(hear(&mut line, sent + 2_250, &REPLY).0, []);
    let outcome = line.handle_time(line.next_wake()).unwrap();
    assert_eq!(end(&outcome), End::Missed(Miss::Foreign));
}

/// `11 06 00 01 00 03 9A 9B`: example of MODBUS Application Protocol V1.1b3, 6.6.
#[test]
fn the_echo_of_another_write_acknowledges_nothing() {
    let echo = [0x11, 0x06, 0x00, 0x01, 0x00, 0x03, 0x9A, 0x9B];
    let (mut line, now) = clear();
    let sent = ask(&mut line, now, Request::WriteRegister { address: 1, value: 3 });
    assert_eq!(hear(&mut line, sent + 2_250, &echo).0, [End::Written]);
    for other in [
        Request::WriteRegister { address: 2, value: 3 },
        Request::WriteRegister { address: 1, value: 4 },
        Request::WriteCoil { address: 1, level: Level::On },
    ] {
        let (mut line, now) = clear();
        let sent = ask(&mut line, now, other);
        assert_eq!(hear(&mut line, sent + 2_250, &echo).0, []);
    }
}

#[test]
fn thirty_bytes_of_noise_leave_the_next_transaction_alone() {
    let (mut line, now) = clear();
    let sent = ask(&mut line, now, THREE);
    let (ends, _) = hear(&mut line, sent + 2_250, &[0xA5; 30]);
    assert_eq!(ends, []);
    let outcome = line.handle_time(line.next_wake()).unwrap();
    assert_eq!(end(&outcome), End::Missed(Miss::Foreign));
    let ready = line.ready_at().as_micros();
    let sent = ask(&mut line, ready, THREE);
    assert_eq!(hear(&mut line, sent + 2_250, &REPLY).0, answered());
}

/// Seeded noise of every length in one or several bursts: no answer may come of it, no call may
/// fail, and the line must always come back.
#[test]
fn no_noise_is_ever_an_answer_and_the_line_always_comes_back() {
    let mut seed = 11_u64;
    let mut draw = |under: u64| {
        seed = seed.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1);
        (seed >> 33) % under
    };
    for _ in 0..3_000 {
        let (mut line, now) = clear();
        let sent = ask(&mut line, now, THREE);
        let mut begins = sent + draw(3_000);
        for _ in 0..1 + draw(3) {
            let mut noise: Vec<u8> =
                (0..1 + draw(40)).map(|_| u8::try_from(draw(256)).unwrap()).collect();
            if draw(2) == 0 {
                noise[0] = 0x11;
            }
            let (ends, heard) = hear(&mut line, begins, &noise);
            for end in ends {
                assert!(matches!(end, End::Missed(_)), "{noise:02X?}: {end:?}");
            }
            begins = heard + draw(4_000);
        }
        while line.next_wake() != crate::moment::Moment::NEVER {
            line.handle_time(line.next_wake());
        }
        let ready = line.ready_at().as_micros().max(begins + SILENCE);
        let sent = ask(&mut line, ready, THREE);
        assert_eq!(hear(&mut line, sent + 2_250, &REPLY).0, answered());
    }
}
