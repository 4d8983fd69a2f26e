//! The controller against stand-in devices, in virtual time.

use std::collections::VecDeque;

use super::*;
use crate::devices::bench;
use crate::devices::tests::machine::{Drive, Inverter, Module};
use crate::image::{Coil, PowderDemand, PowderEdge};
use crate::interlock::{Acknowledged, Presence};
use crate::ledger::EntryKind;

const FIELD: LineId = LineId(0);
const MOTION: LineId = LineId(1);

struct Stand {
    now: u64,
    controller: Controller,
    module: Module,
    drive: Drive,
    inverter: Inverter,
    arriving: VecDeque<(u64, LineId, Vec<u8>)>,
    /// Frames on the field line since last looked at.
    field: Vec<Vec<u8>>,
}

impl Stand {
    fn new() -> Self {
        let mut controller = Controller::new(&bench::rig()).expect("the bench can be driven");
        for line in [FIELD, MOTION] {
            controller.handle_link(Moment::START, line, Link::Up);
        }
        let mut stand = Self {
            now: 0,
            controller,
            module: Module::new(),
            drive: Drive::new(),
            inverter: Inverter::new(),
            arriving: VecDeque::new(),
            field: Vec::new(),
        };
        stand.run(500_000);
        stand
    }

    fn at(&self) -> Moment {
        Moment::from_micros(self.now)
    }

    fn run(&mut self, span: u64) {
        let until = self.now + span;
        loop {
            let bytes = self.arriving.front().map_or(u64::MAX, |arrival| arrival.0);
            let next = self.controller.next_wake().as_micros().min(bytes).max(self.now);
            if next > until {
                self.now = until;
                return;
            }
            self.now = next;
            self.step();
        }
    }

    fn step(&mut self) {
        let now = self.at();
        while self.arriving.front().is_some_and(|arrival| arrival.0 <= self.now) {
            let (_, line, bytes) = self.arriving.pop_front().expect("looked at");
            self.controller.handle_bytes(now, line, &bytes);
        }
        self.controller.handle_time(now);
        while let Some(Transmit { line, frame }) = self.controller.poll_transmit(now) {
            let frame = frame.bytes();
            // One 8E1 byte at 115,200 baud is 11 bits; 3.5 characters of silence are 1.75 ms.
            let wire = |bytes: usize| (bytes as u64 * 11_000_000).div_ceil(115_200);
            let complete = self.now + wire(frame.len()) + 1_750;
            let reply = match (line, frame[0]) {
                (FIELD, _) => self.module.answer(complete, frame),
                (_, 1) => self.drive.answer(complete, frame),
                _ => self.inverter.answer(complete, frame),
            };
            if line == FIELD {
                self.field.push(frame.to_vec());
            }
            if let Some(reply) = reply {
                self.arriving.push_back((complete + 500 + wire(reply.len()), line, reply));
                self.arriving.make_contiguous().sort_by_key(|arrival| arrival.0);
            }
        }
    }

    /// Until the next scan has been made.
    fn scan(&mut self) {
        let scans = self.controller.beat.scans;
        while self.controller.beat.scans == scans {
            self.run(1_000);
        }
    }

    fn ask(&mut self, request: Request) -> Answer {
        let now = self.at();
        self.controller.request(now, request, Origin::Seat)
    }

    fn entries(&mut self) -> Vec<Entry> {
        core::iter::from_fn(|| self.controller.take_entry()).collect()
    }
}

#[test]
fn a_late_scan_is_made_once_and_those_that_were_missed_are_counted() {
    let mut stand = Stand::new();
    let before = stand.controller.beat;
    assert_eq!(before.skipped, 0);
    // Due every 20 ms; nobody calls for 210 ms behind the last one.
    let last = stand.controller.next_scan.before(stand.controller.period);
    stand.now = last.as_micros() + 210_000;
    stand.controller.handle_time(stand.at());
    stand.controller.handle_time(stand.at());
    let after = stand.controller.beat;
    assert_eq!(after.scans - before.scans, 1, "one scan, not ten");
    assert_eq!(after.skipped, 9);
    assert_eq!(after.worst_late_us, 190_000);
    assert!(stand.controller.next_wake() > stand.at() || stand.controller.next_scan > stand.at());
}

#[test]
fn a_scan_later_than_two_periods_does_not_feed_the_watchdog_and_the_next_one_does() {
    let mut stand = Stand::new();
    assert!(stand.controller.snapshot().outputs.watchdog.is_on());
    for (late, fed) in [(30_000, true), (41_000, false)] {
        stand.run(40_000);
        stand.now = stand.controller.next_scan.as_micros() + late;
        stand.controller.handle_time(stand.at());
        assert_eq!(stand.controller.snapshot().outputs.watchdog.is_on(), fed, "{late} us late");
        stand.scan();
        assert!(stand.controller.snapshot().outputs.watchdog.is_on(), "behind {late} us");
    }
}

#[test]
fn a_clock_that_is_set_back_makes_no_scan_and_ages_nothing() {
    let mut stand = Stand::new();
    let (scans, at) = (stand.controller.beat.scans, stand.controller.snapshot().at);
    let earlier = Moment::from_micros(100_000);
    stand.controller.handle_time(earlier);
    stand.controller.handle_bytes(earlier, FIELD, &[]);
    let answer = stand.controller.request(earlier, Request::Acknowledge, Origin::Watcher);
    assert!(!matches!(answer, Answer::Accepted));
    assert_eq!(stand.controller.beat.scans, scans);
    assert_eq!(stand.controller.snapshot().at, at);
    stand.run(200_000);
    assert_eq!(stand.controller.beat.scans, scans + 10);
    assert_eq!(stand.controller.beat.skipped, 0);
}

#[test]
fn what_people_ask_of_the_interlocks_reaches_them_at_once() {
    let mut stand = Stand::new();
    assert_eq!(stand.ask(Request::Abort), Answer::Accepted);
    let verdict = stand.controller.snapshot().verdict;
    assert_eq!(verdict.first.map(|first| first.key), Some("abort_requested"));
    assert_eq!(verdict.acknowledged, Acknowledged::No);
    stand.scan();
    assert_eq!(stand.ask(Request::Acknowledge), Answer::Accepted);
    let verdict = stand.controller.snapshot().verdict;
    assert_eq!(verdict.acknowledged, Acknowledged::Yes);
    let told: Vec<_> = stand.entries();
    let has =
        |kind, text: &str| told.iter().any(|entry| entry.kind == kind && entry.text.contains(text));
    assert!(has(EntryKind::Cause, "Abort requested"), "{told:?}");
    assert!(has(EntryKind::Request, "accepted"), "{told:?}");
}

#[test]
fn every_wish_is_granted() {
    let mut stand = Stand::new();
    let inputs = stand.controller.inputs.clone();
    for (request, key) in [(Request::BadFlame, "bad_flame"), (Request::CoatLifting, "coat_lifting")]
    {
        // Both count while a job works: gas is what the last scan asked for.
        stand.controller.outputs = Outputs::default().with(Coil::Fuel).with(Coil::Oxygen);
        let limits = stand.controller.sequence.limits();
        let (now, outputs) = (stand.controller.inputs.clone(), stand.controller.outputs);
        stand.controller.interlocks.step(&now, &outputs, &limits);
        let _ = stand.controller.request(inputs.now, request, Origin::Machine);
        let verdict = stand.controller.snapshot().verdict;
        let all = verdict.first.iter().chain(&verdict.consequent).chain(&verdict.holds);
        let found = all.chain(&verdict.warnings).any(|occurrence| occurrence.key == key);
        assert!(found, "{request:?}: {verdict:?}");
    }
}

#[test]
fn gas_that_a_trip_takes_away_leaves_in_one_frame_before_everything_else() {
    let mut stand = Stand::new();
    // As if gas flowed: asked for by the last scan, and acknowledged by the module.
    let lit = Outputs::default().with(Coil::Fuel).with(Coil::Oxygen).with(Coil::Supply);
    stand.controller.rack.demand(stand.at(), &lit, Urgency::Routine);
    stand.controller.outputs = lit;
    stand.run(12_000);
    let fuel = u16::try_from(Coil::Fuel.index()).expect("small");
    assert!(stand.module.coil(fuel), "the module has it on");
    stand.controller.outputs = lit;
    assert_eq!(stand.ask(Request::Abort), Answer::Accepted);
    stand.field.clear();
    let scans = stand.controller.beat.scans;
    while stand.controller.beat.scans == scans {
        stand.run(500);
    }
    stand.run(10_000);
    // Write multiple coils, all of them from the first on (Modbus function 15).
    let all = stand.field.iter().find(|frame| frame[1] != 2 && frame[1] != 4);
    assert_eq!(all.map(|frame| frame[1]), Some(0x0F), "{:?}", stand.field);
    assert!(!stand.module.coil(fuel));
}

#[test]
fn only_what_a_trip_takes_away_is_urgent() {
    let off = Outputs::default();
    let gas = off.with(Coil::Fuel);
    let mut powder = off;
    powder.powder.now = Level::On;
    let calm = Verdict::default();
    let mut stand = Stand::new();
    let _ = stand.ask(Request::Abort);
    let latched = stand.controller.interlocks.verdict().clone();
    assert!(latched.tripped());
    for (verdict, old, new, expected) in [
        (&latched, gas, off, Urgency::Trip),
        (&latched, powder, off, Urgency::Trip),
        (&latched, gas, gas, Urgency::Routine),
        (&latched, off, gas, Urgency::Routine),
        (&calm, gas, off, Urgency::Routine),
    ] {
        assert_eq!(urgency(verdict, &old, &new), expected);
    }
}

#[test]
fn a_powder_edge_that_comes_too_late_holds_the_job_and_is_told() {
    let mut stand = Stand::new();
    let _ = stand.entries();
    let past = stand.at().before(Duration::from_millis(50));
    let edge = PowderEdge { at: past, to: Level::On, epoch: 0 };
    let mut late = stand.controller.outputs;
    late.powder = PowderDemand { now: Level::Off, next: Some(edge), epoch: 0 };
    stand.controller.rack.demand(stand.at(), &late, Urgency::Routine);
    assert_eq!(stand.controller.snapshot().powder.dropped, 1);
    stand.scan();
    let verdict = stand.controller.snapshot().verdict;
    let hold = verdict.holds.iter().find(|hold| hold.key == "overdue").expect("held");
    assert!(hold.message.contains("could not be sent in time"), "{}", hold.message);
    // A restart drops it: nothing of it is left to be mended.
    stand.scan();
    let verdict = stand.controller.snapshot().verdict;
    assert!(verdict.holds.iter().all(|hold| hold.present == Presence::Returned));
    let told = stand.entries();
    let once = told.iter().filter(|entry| entry.kind == EntryKind::Powder).count();
    assert_eq!(once, 1, "{told:?}");
}

#[test]
fn a_device_that_refuses_its_settings_is_a_missing_permissive_in_words() {
    let stand = Stand::new();
    let words = &stand.controller.missing;
    assert!(words.iter().all(|text| !text.contains("silent")), "{words:?}");
    // A new controller has heard of nobody.
    let mut fresh = Controller::new(&bench::rig()).expect("the bench can be driven");
    fresh.handle_time(Moment::START);
    let said = fresh.missing.iter().filter(|text| text.contains("has not confirmed")).count();
    assert_eq!(said, 3, "{:?}", fresh.missing);
}

#[test]
fn entries_that_nobody_takes_are_dropped_oldest_first_and_counted() {
    let mut stand = Stand::new();
    let written = stand.entries().last().map_or(0, |entry| entry.number);
    for count in 0..u64::try_from(LEDGER).expect("small") + 5 {
        let link = if count % 2 == 0 { Link::Down } else { Link::Up };
        stand.controller.teller.link(stand.at(), FIELD, link, &mut stand.controller.ledger);
    }
    assert_eq!(stand.controller.entries_lost(), 5);
    let oldest = stand.controller.take_entry().map(|entry| entry.number);
    assert_eq!(oldest, Some(written + 6), "the gap in the numbers is what was lost");
}

/// Long enough that counting off every period would take minutes.
#[test]
fn after_a_sleep_of_a_century_the_scan_goes_on_at_once_in_its_old_rhythm() {
    const CENTURY: u64 = 100 * 365 * 86_400 * 1_000_000;
    let mut stand = Stand::new();
    let before = stand.controller.next_scan;
    let skipped = stand.controller.beat.skipped;
    let scans = stand.controller.beat.scans;
    let period = u64::try_from(stand.controller.period.as_micros()).expect("a short period");
    for (asleep, missing) in [(0, 0), (period - 1, 0), (period, 1), (CENTURY + 1, CENTURY / period)]
    {
        let mut controller = stand.controller.clone();
        controller.handle_time(before + Duration::from_micros(asleep));
        assert_eq!(controller.beat.skipped, skipped + missing, "{asleep}");
        assert_eq!(controller.beat.scans, scans + 1, "one scan, whatever is missing");
        let next = before + Duration::from_micros((missing + 1) * period);
        assert_eq!(controller.next_scan, next, "{asleep}");
        assert!(next > before + Duration::from_micros(asleep), "{asleep}");
    }
    stand.run(period);
}
