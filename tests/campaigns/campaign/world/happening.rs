//! What the schedule lets happen, and what puts everything right again.

use std::time::Duration;

use evenpass_core::line::Link;
use evenpass_core::request::{Answer, Request};
use evenpass_core::rig::LineId;
use evenpass_hil::{Button, Fault, Word};

use super::{World, stands};
use crate::campaign::check::declared::index;
use crate::campaign::schedule::{Event, StallClock};

/// What a full hopper holds, g.
const FULL_G: f64 = 2_000.0;

const BUTTONS: [Button; 11] = [
    Button::Start,
    Button::Hold,
    Button::Stop,
    Button::Abort,
    Button::Reset,
    Button::Accept,
    Button::Wet,
    Button::BadFlame,
    Button::CoatLifting,
    Button::HoldToRun,
    Button::EmergencyStop,
];

impl World<'_> {
    pub(super) fn happen(&mut self, event: Event) {
        let now = self.time.now();
        let now_us = now.as_micros();
        let phase = self.phase();
        self.outcome.happened.push((event, phase));
        self.outcome.checker.note(now_us, &event);
        let (program, bench) = self.time.both();
        match event {
            Event::Inject(fault) => bench.inject(fault),
            Event::Mend(target) => {
                bench.inject(Fault::Signal { target, word: Word::Ok });
            }
            Event::MendLine(line) => bench.mend_line(line),
            Event::MendPlant => bench.mend_plant(),
            Event::MainsOff => bench.cut_power(),
            Event::MainsOn => bench.restore_power(),
            Event::PortGone(line) => program.port(now, LineId(index(line)), Link::Down),
            Event::PortBack(line) => program.port(now, LineId(index(line)), Link::Up),
            Event::Stall { for_us, clock } => {
                program.stall(now, for_us, clock);
                if clock == StallClock::Stands {
                    self.moved_until = now_us + for_us + 1_000_000;
                    self.outcome.checker.unbidden.clock_stands(now_us + for_us);
                }
            }
            Event::ClockForward(by_us) => {
                program.put_forward(by_us);
                self.moved_until = now_us + 1_000_000;
            }
            Event::ClockBack(by_us) => {
                program.put_back(by_us);
                self.moved_until = now_us + by_us + 1_000_000;
            }
            Event::Press { button, hold_us } => {
                bench.press(button);
                self.lets_go.push((now + Duration::from_micros(hold_us), button));
            }
            Event::KeyOn => bench.turn_key_on(),
            Event::KeyOff => bench.turn_key_off(),
            Event::OpenGuard => bench.open_guard(),
            Event::ShutGuard => bench.shut_guard(),
            Event::Spark => bench.spark_by_hand(),
            Event::PushCarriage(z_mm) => bench.push_carriage_to(z_mm),
            Event::FillHopper(weight_g) => bench.fill_hopper(weight_g),
            Event::Stands(presence) => bench.follow_script(&stands(presence)),
            Event::Ask(what, who) => {
                if let Some(answer) = program.request(now, what, who) {
                    self.outcome.checker.unbidden.asked(now_us, what, who, &answer);
                    if matches!(what, Request::Jog(_)) && answer == Answer::Accepted {
                        self.jog_renewed_us = now_us;
                    }
                }
            }
        }
        self.look(now);
    }

    /// Everything is mended: an able operator finds the machine as they would like it.
    pub(super) fn mend(&mut self) {
        let now = self.time.now();
        let person = self.schedule.person;
        self.lets_go.clear();
        let (program, bench) = self.time.both();
        let truth = bench.truth();
        bench.clear_faults();
        for button in BUTTONS {
            bench.release(button);
        }
        bench.shut_guard();
        bench.turn_key_on();
        bench.fill_hopper(truth.hopper_g.max(FULL_G));
        bench.follow_script(&stands(person.stands()));
        program.wake();
        for line in 0..2 {
            program.port(now, LineId(line), Link::Up);
        }
        if self.outcome.checker.declared.mains_are_off() {
            let (_, bench) = self.time.both();
            bench.restore_power();
        }
        self.outcome.checker.declared.mended();
    }
}
