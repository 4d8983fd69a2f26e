//! The controller as a computer in trouble would run it: not called for a while, its ports away,
//! its clock put forward and back. The controller itself is the real one.

use std::time::Duration;

use evenpass::clock::Master;
use evenpass_core::devices::Transmit;
use evenpass_core::line::Link;
use evenpass_core::moment::Moment;
use evenpass_core::request::{Answer, Origin, Request};
use evenpass_core::rig::LineId;
use evenpass_core::scan::Controller;
use evenpass_core::sequence::Phase;

use super::schedule::StallClock;
use crate::support::observed::{Observed, Seen};

/// Bytes that arrived while nobody read them, as a serial port's buffer keeps them.
struct Unread {
    line: LineId,
    bytes: Vec<u8>,
}

/// Bytes a port keeps for a program that does not read (a serial driver of Linux: 4096, from
/// memory).
const BUFFER: usize = 4096;
/// The line of the field module in the rig.
const FIELD: LineId = LineId(0);
/// MODBUS function that writes coils together.
const WRITE_COILS: u8 = 0x0F;

/// A defect planted in the program, for a canary. The real controller has none of them.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Defect {
    /// Something else keeps the module's outputs and the watchdog alive while the program stands.
    BeatsOnItsOwn,
    /// What is ready is started without anybody's act.
    StartsByItself,
}

/// How long the planted defects wait.
const BEATS_EVERY: Duration = Duration::from_millis(40);
const STARTS_AFTER: Duration = Duration::from_millis(1_500);

/// The controller and its computer.
pub(crate) struct Handicapped {
    pub(crate) controller: Controller,
    /// Until when the program stands still, true us.
    stalled_until: Option<u64>,
    /// What its clock is ahead of true time, us.
    ahead_us: i64,
    /// The latest that it has shown.
    latest: Moment,
    ports_gone: [bool; 2],
    unread: Vec<Unread>,
    defect: Option<Defect>,
    /// The last two frames that wrote the module's coils.
    written: [Option<Transmit>; 2],
    beat_due: Moment,
    idle_since: Option<Moment>,
    seen: Option<Seen>,
    scans: u64,
}

impl Handicapped {
    pub(crate) fn new(controller: Controller, defect: Option<Defect>) -> Self {
        Self {
            controller,
            stalled_until: None,
            ahead_us: 0,
            latest: Moment::START,
            ports_gone: [false; 2],
            unread: Vec::new(),
            defect,
            written: [None, None],
            beat_due: Moment::START,
            idle_since: None,
            seen: None,
            scans: 0,
        }
    }

    /// From now on every scan is looked at from outside.
    pub(crate) fn observe(&mut self) {
        self.seen = Some(Seen::default());
    }

    /// What was seen from outside, repeats dropped.
    pub(crate) fn observed(&mut self) -> Vec<Observed> {
        self.seen.take().map(|seen| seen.0).unwrap_or_default()
    }

    /// What the controller's clock shows.
    fn shown(&self, now: Moment) -> Moment {
        Moment::from_micros(now.as_micros().saturating_add_signed(self.ahead_us))
    }

    pub(crate) fn is_stalled(&self, now: Moment) -> bool {
        self.stalled_until.is_some_and(|until| now.as_micros() < until)
    }

    /// Whether its clock shows less than it has shown before: until it has caught up, time stands
    /// still for the controller.
    pub(crate) fn is_behind(&self, now: Moment) -> bool {
        self.shown(now) < self.latest
    }

    /// The program stands still from now on.
    pub(crate) fn stall(&mut self, now: Moment, for_us: u64, clock: StallClock) {
        let until = now.as_micros().saturating_add(for_us);
        self.stalled_until = Some(self.stalled_until.map_or(until, |old| old.max(until)));
        if clock == StallClock::Stands {
            self.put_back(for_us);
        }
    }

    /// Ends whatever stall is under way.
    pub(crate) fn wake(&mut self) {
        self.stalled_until = None;
    }

    pub(crate) fn put_forward(&mut self, by_us: u64) {
        self.ahead_us = self.ahead_us.saturating_add_unsigned(by_us);
    }

    pub(crate) fn put_back(&mut self, by_us: u64) {
        self.ahead_us = self.ahead_us.saturating_sub_unsigned(by_us);
    }

    /// A port goes or comes back. A program that stands still learns of it when it goes on.
    pub(crate) fn port(&mut self, now: Moment, line: LineId, link: Link) {
        if let Some(gone) = self.ports_gone.get_mut(line.0) {
            *gone = link == Link::Down;
        }
        if !self.is_stalled(now) {
            let shown = self.shown(now);
            self.controller.handle_link(shown, line, link);
        }
    }

    /// Somebody asks; a program that stands still does not answer.
    pub(crate) fn request(&mut self, now: Moment, what: Request, who: Origin) -> Option<Answer> {
        if self.is_stalled(now) {
            return None;
        }
        let shown = self.shown(now);
        Some(self.controller.request(shown, what, who))
    }

    fn is_gone(&self, line: LineId) -> bool {
        self.ports_gone.get(line.0).is_some_and(|gone| *gone)
    }

    /// What has come in and happened to the ports while the program stood still.
    fn catch_up(&mut self, shown: Moment) {
        if self.stalled_until.take().is_none() {
            return;
        }
        for (index, gone) in self.ports_gone.into_iter().enumerate() {
            let link = if gone { Link::Down } else { Link::Up };
            self.controller.handle_link(shown, LineId(index), link);
        }
        for Unread { line, bytes } in std::mem::take(&mut self.unread) {
            self.controller.handle_bytes(shown, line, &bytes);
        }
    }

    /// The planted beat.
    fn beats(&mut self, now: Moment) -> Option<Transmit> {
        if self.defect != Some(Defect::BeatsOnItsOwn) || now < self.beat_due {
            return None;
        }
        self.beat_due = now + BEATS_EVERY;
        self.written.swap(0, 1);
        self.written[0].clone()
    }

    /// The planted start.
    fn starts(&mut self, shown: Moment) {
        if self.defect != Some(Defect::StartsByItself) || self.controller.phase() != Phase::Idle {
            self.idle_since = None;
            return;
        }
        if shown - *self.idle_since.get_or_insert(shown) >= STARTS_AFTER {
            self.controller.request(shown, Request::Start, Origin::Machine);
        }
    }

    /// After a scan, and before anything is asked.
    fn look(&mut self) {
        let Some(seen) = self.seen.as_mut() else { return };
        let snapshot = self.controller.snapshot();
        if snapshot.beat.scans != self.scans {
            self.scans = snapshot.beat.scans;
            seen.look(Observed::of_snapshot(&snapshot));
        }
    }
}

impl Master for Handicapped {
    fn handle_link(&mut self, now: Moment, line: LineId, link: Link) {
        self.port(now, line, link);
    }

    fn handle_bytes(&mut self, now: Moment, line: LineId, bytes: &[u8]) {
        if self.is_gone(line) {
            return;
        }
        if self.is_stalled(now) {
            match self.unread.iter_mut().find(|unread| unread.line == line) {
                Some(unread) if unread.bytes.len() + bytes.len() <= BUFFER => {
                    unread.bytes.extend_from_slice(bytes);
                }
                Some(_) => {}
                None => self.unread.push(Unread { line, bytes: bytes.to_vec() }),
            }
            return;
        }
        let shown = self.shown(now);
        self.catch_up(shown);
        self.controller.handle_bytes(shown, line, bytes);
    }

    fn handle_time(&mut self, now: Moment) {
        if self.is_stalled(now) {
            return;
        }
        let shown = self.shown(now);
        self.latest = self.latest.max(shown);
        self.catch_up(shown);
        self.controller.handle_time(shown);
        self.look();
        self.starts(shown);
    }

    fn poll_transmit(&mut self, now: Moment) -> Option<Transmit> {
        if self.is_stalled(now) {
            return self.beats(now);
        }
        let shown = self.shown(now);
        while let Some(transmit) = self.controller.poll_transmit(shown) {
            if transmit.line == FIELD && transmit.frame.bytes().get(1) == Some(&WRITE_COILS) {
                self.written = [self.written[1].take(), Some(transmit.clone())];
            }
            if !self.is_gone(transmit.line) {
                return Some(transmit);
            }
        }
        None
    }

    fn next_wake(&self) -> Moment {
        if let Some(until) = self.stalled_until {
            let until = Moment::from_micros(until);
            let beats = self.defect == Some(Defect::BeatsOnItsOwn);
            return if beats { until.min(self.beat_due) } else { until };
        }
        match self.controller.next_wake() {
            Moment::NEVER => Moment::NEVER,
            wake => Moment::from_micros(wake.as_micros().saturating_add_signed(-self.ahead_us)),
        }
    }
}
