//! The person at the machine: sees lamps and the plant, never the controller, and acts when the blue
//! lamp calls.
//!
//! What they do in which situation is one table, [`decide`]; how they do it is a list of movements
//! with times.

use std::collections::VecDeque;

use serde::{Deserialize, Serialize};

use crate::counts::microseconds;
use crate::spec::HandsSpec;
use crate::wiring::Button;

/// What they see.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(crate) struct Sight {
    pub(crate) lamp_blue: bool,
    pub(crate) lamp_red: bool,
    pub(crate) spindle_turns: bool,
    /// The isolation valve's pointer stands at open.
    pub(crate) supply_open: bool,
    /// Both gauges behind the isolation valve stand at zero.
    pub(crate) gauges_zero: bool,
    /// Fuel hisses at the torch.
    pub(crate) gas_flows: bool,
    pub(crate) flame: bool,
    pub(crate) guard_open: bool,
    pub(crate) at_park: bool,
    /// The carriage gives way to the hand.
    pub(crate) carriage_free: bool,
    /// They have pressed start for this part, and something has come of it.
    pub(crate) job_started: bool,
    /// The coat near the flame shines.
    pub(crate) coat_wet: bool,
}

/// What they do about it.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Act {
    /// Nothing.
    Wait,
    /// Turn the key on and press start.
    Start,
    /// Press reset.
    Reset,
    /// Open the guard to light the torch, and accept.
    OpenToLight,
    /// Spark the flame.
    Spark,
    /// Look at the flame, shut the guard, accept.
    ShutAfterLighting,
    /// Go inside: change the torch if the job card asks for it, measure; shut the guard, accept.
    Access,
    /// Press wet.
    Wet,
    /// Press accept.
    Accept,
}

/// The table, read from the top: the first row that fits holds.
#[rustfmt::skip]
pub(crate) fn decide(s: &Sight) -> Act {
    let rows = [
        (!s.lamp_blue,                                                               Act::Wait),
        (s.lamp_red,                                                                 Act::Reset),
        (s.flame && s.guard_open,                                                    Act::ShutAfterLighting),
        (s.gas_flows && !s.flame && s.at_park,                                       Act::Spark),
        (s.flame && s.coat_wet,                                                      Act::Wet),
        (!s.job_started && !s.spindle_turns && !s.supply_open && !s.gas_flows,       Act::Start),
        (s.supply_open && !s.flame && !s.spindle_turns && s.at_park && !s.guard_open, Act::OpenToLight),
        (!s.supply_open && s.gauges_zero && s.carriage_free && !s.spindle_turns,     Act::Access),
    ];
    rows.iter().find(|(fits, _)| *fits).map_or(Act::Accept, |(_, act)| *act)
}

/// What they do when the lamp stays lit although they have done it.
fn again(act: Act) -> Act {
    match act {
        Act::Start | Act::Access | Act::OpenToLight | Act::ShutAfterLighting => Act::Accept,
        other => other,
    }
}

/// One movement.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Movement {
    KeyOn,
    Press(Button),
    Release(Button),
    OpenGuard,
    ShutGuard,
    Spark,
    /// Mounts the next torch of the job card and sets its regulators.
    NextTorch,
}

impl Movement {
    /// Whether it tells the controller something, unlike what only changes the world.
    const fn commands(self) -> bool {
        matches!(self, Self::KeyOn | Self::Press(_) | Self::Release(_))
    }
}

/// Who stands at the machine.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Presence {
    /// Somebody who looks, with the bench file's reaction time.
    Attentive,
    /// Somebody who needs this long before each act, s.
    Slow(f64),
    /// Somebody with times of their own.
    Paced {
        /// Before an act that comes as a surprise, s.
        reaction_s: f64,
        /// Before one that they watch for, s.
        watching_s: f64,
    },
    /// Somebody whose hands do what only hands can (guard, lighter, torch), with the bench file's
    /// reaction time; buttons and key are left to whoever commands.
    Assisting,
    /// Nobody.
    Absent,
}

/// A press at a given time, whoever stands there.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ScriptedPress {
    /// When, s on the bench's clock.
    pub at_s: f64,
    /// Which button.
    pub button: Button,
    /// For how long, s.
    pub hold_s: f64,
}

/// What a scenario lays down about people.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct HandScript {
    /// Who stands there.
    pub presence: Presence,
    /// Presses at given times.
    pub presses: Vec<ScriptedPress>,
}

impl Default for HandScript {
    fn default() -> Self {
        Self { presence: Presence::Attentive, presses: Vec::new() }
    }
}

/// The person, with what they are about to do.
#[derive(Clone, Debug)]
pub(crate) struct Hands {
    spec: HandsSpec,
    presence: Presence,
    plan: VecDeque<(u64, Movement)>,
    scripted: Vec<(u64, Movement)>,
    intent: Act,
    intent_since_us: u64,
    done: Option<(Act, u64)>,
    last_act: Act,
    start_pressed: bool,
    job_started: bool,
}

impl Hands {
    pub(crate) fn new(spec: &HandsSpec) -> Self {
        Self {
            spec: spec.clone(),
            presence: Presence::Attentive,
            plan: VecDeque::with_capacity(16),
            scripted: Vec::new(),
            intent: Act::Wait,
            intent_since_us: 0,
            done: None,
            last_act: Act::Wait,
            start_pressed: false,
            job_started: false,
        }
    }

    /// Lays down who stands there and what is pressed when.
    pub(crate) fn follow(&mut self, script: &HandScript) {
        self.presence = script.presence;
        self.scripted.clear();
        for press in &script.presses {
            let at = microseconds(press.at_s);
            let until = microseconds(press.at_s + press.hold_s);
            self.scripted.push((at, Movement::Press(press.button)));
            self.scripted.push((until, Movement::Release(press.button)));
        }
        // Latest first, so that the next one is taken off the end.
        self.scripted.sort_by_key(|m| std::cmp::Reverse(m.0));
    }

    /// What they last set out to do.
    pub(crate) fn last_act(&self) -> Act {
        self.last_act
    }

    /// Another part: the job card starts anew.
    pub(crate) fn new_part(&mut self) {
        self.start_pressed = false;
        self.job_started = false;
        self.done = None;
        self.plan.clear();
    }

    /// They look; to be called regularly.
    pub(crate) fn look(&mut self, now_us: u64, sight: &Sight) {
        let (reaction_s, watching_s) = match self.presence {
            Presence::Absent => return,
            Presence::Slow(seconds) => (seconds, seconds),
            Presence::Paced { reaction_s, watching_s } => (reaction_s, watching_s),
            Presence::Attentive | Presence::Assisting => {
                (self.spec.reaction_s, self.spec.watching_s)
            }
        };
        if !self.plan.is_empty() {
            return;
        }
        self.job_started |= self.start_pressed && (sight.supply_open || sight.spindle_turns);
        let wanted =
            decide(&Sight { job_started: self.job_started || sight.job_started, ..*sight });
        if wanted != self.intent {
            self.intent = wanted;
            self.intent_since_us = now_us;
            self.done = self.done.filter(|_| sight.lamp_blue);
        }
        // The wetting is watched for; the rest comes as a surprise.
        let reaction_s = if wanted == Act::Wet { watching_s } else { reaction_s };
        if wanted == Act::Wait || now_us < self.intent_since_us + microseconds(reaction_s) {
            return;
        }
        let act = match self.done {
            Some((done, at)) if done == wanted => {
                if now_us < at + microseconds(self.spec.repeat_s) {
                    return;
                }
                again(wanted)
            }
            _ => wanted,
        };
        self.set_out(now_us, act);
        self.done = Some((wanted, now_us));
    }

    fn set_out(&mut self, now_us: u64, act: Act) {
        self.last_act = act;
        let spec = self.spec.clone();
        let mut at_s = 0.0;
        let only_assists = self.presence == Presence::Assisting;
        let mut plan = |after_s: f64, movement: Movement| {
            at_s += after_s;
            if !(only_assists && movement.commands()) {
                self.plan.push_back((now_us + microseconds(at_s), movement));
            }
        };
        let press = |plan: &mut dyn FnMut(f64, Movement), after_s: f64, button: Button| {
            plan(after_s, Movement::Press(button));
            plan(spec.press_s, Movement::Release(button));
        };
        match act {
            Act::Wait => {}
            Act::Start => {
                plan(0.0, Movement::KeyOn);
                press(&mut plan, spec.press_s, Button::Start);
                self.start_pressed = true;
            }
            Act::Reset => press(&mut plan, 0.0, Button::Reset),
            Act::OpenToLight => {
                plan(spec.guard_s, Movement::OpenGuard);
                press(&mut plan, spec.press_s, Button::Accept);
            }
            Act::Spark => plan(spec.spark_delay_s, Movement::Spark),
            Act::ShutAfterLighting => {
                plan(spec.look_s + spec.guard_s, Movement::ShutGuard);
                press(&mut plan, spec.press_s, Button::Accept);
            }
            Act::Access => {
                plan(spec.guard_s, Movement::OpenGuard);
                plan(spec.access_s, Movement::NextTorch);
                plan(spec.guard_s, Movement::ShutGuard);
                press(&mut plan, spec.press_s, Button::Accept);
            }
            Act::Wet => press(&mut plan, 0.0, Button::Wet),
            Act::Accept => press(&mut plan, 0.0, Button::Accept),
        }
    }

    /// When their next movement comes.
    pub(crate) fn next_us(&self) -> Option<u64> {
        let planned = self.plan.front().map(|m| m.0);
        let scripted = self.scripted.last().map(|m| m.0);
        [planned, scripted].into_iter().flatten().min()
    }

    /// The movement that is due.
    pub(crate) fn take_due(&mut self, now_us: u64) -> Option<Movement> {
        if self.scripted.last().is_some_and(|m| m.0 <= now_us) {
            return self.scripted.pop().map(|m| m.1);
        }
        if self.plan.front().is_some_and(|m| m.0 <= now_us) {
            return self.plan.pop_front().map(|m| m.1);
        }
        None
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::spec::BenchSpec;

    const AT_REST: Sight = Sight {
        lamp_blue: true,
        lamp_red: false,
        spindle_turns: false,
        supply_open: false,
        gauges_zero: true,
        gas_flows: false,
        flame: false,
        guard_open: false,
        at_park: true,
        carriage_free: true,
        job_started: false,
        coat_wet: false,
    };

    #[test]
    #[rustfmt::skip]
    fn a_job_from_start_to_wet_asks_for_one_act_after_the_other() {
        let started = Sight { job_started: true, ..AT_REST };
        let supply = Sight { supply_open: true, gauges_zero: false, carriage_free: false, ..started };
        let inside = Sight { guard_open: true, ..supply };
        let rows = [
            (Sight { lamp_blue: false, ..AT_REST },                                 Act::Wait),
            (AT_REST,                                                               Act::Start),
            (supply,                                                                Act::OpenToLight),
            (inside,                                                                Act::Accept),
            (Sight { gas_flows: true, ..inside },                                   Act::Spark),
            (Sight { gas_flows: true, flame: true, ..inside },                      Act::ShutAfterLighting),
            (Sight { gas_flows: true, flame: true, spindle_turns: true, ..supply }, Act::Accept),
            (started,                                                               Act::Access),
            (Sight { flame: true, gas_flows: true, coat_wet: true, spindle_turns: true, ..supply }, Act::Wet),
            (Sight { lamp_red: true, ..started },                                   Act::Reset),
        ];
        for (sight, act) in rows {
            assert_eq!(decide(&sight), act, "{sight:?}");
        }
    }

    fn movements(hands: &mut Hands, until_us: u64, sight: &Sight) -> Vec<(u64, Movement)> {
        let mut seen = vec![];
        for at in (0..=until_us).step_by(25_000) {
            hands.look(at, sight);
            while let Some(movement) = hands.take_due(at) {
                seen.push((at, movement));
            }
        }
        seen
    }

    #[test]
    fn they_react_after_their_time_and_start_only_once_while_the_lamp_stays_lit() {
        let mut hands = Hands::new(&BenchSpec::default_bench().unwrap().hands);
        let seen = movements(&mut hands, 12_000_000, &AT_REST);
        assert_eq!(seen.first(), Some(&(1_000_000, Movement::KeyOn)));
        let starts = seen.iter().filter(|m| m.1 == Movement::Press(Button::Start)).count();
        assert_eq!(starts, 1);
        assert!(seen.iter().any(|m| m.1 == Movement::Press(Button::Accept)));
    }

    #[test]
    fn who_only_assists_moves_guard_and_lighter_and_presses_nothing() {
        let mut hands = Hands::new(&BenchSpec::default_bench().unwrap().hands);
        hands.follow(&HandScript { presence: Presence::Assisting, presses: vec![] });
        let supply = Sight { supply_open: true, gauges_zero: false, job_started: true, ..AT_REST };
        let opened: Vec<Movement> =
            movements(&mut hands, 12_000_000, &supply).into_iter().map(|seen| seen.1).collect();
        assert_eq!(opened, [Movement::OpenGuard]);
        let lit = Sight { gas_flows: true, flame: true, guard_open: true, ..supply };
        let shut: Vec<Movement> =
            movements(&mut hands, 12_000_000, &lit).into_iter().map(|seen| seen.1).collect();
        assert_eq!(shut, [Movement::ShutGuard]);
    }

    #[test]
    fn nobody_there_does_nothing_but_what_the_script_says() {
        let mut hands = Hands::new(&BenchSpec::default_bench().unwrap().hands);
        hands.follow(&HandScript {
            presence: Presence::Absent,
            presses: vec![ScriptedPress { at_s: 2.0, button: Button::Stop, hold_s: 0.5 }],
        });
        let seen = movements(&mut hands, 10_000_000, &AT_REST);
        assert_eq!(
            seen,
            [
                (2_000_000, Movement::Press(Button::Stop)),
                (2_500_000, Movement::Release(Button::Stop))
            ]
        );
    }
}
