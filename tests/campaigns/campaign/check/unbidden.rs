//! Nothing moves, flows or is fed without an act at the machine since it last came to rest.

use evenpass_core::request::{Answer, Origin, Request};
use evenpass_hil::{Button, Coil, Discrete, Target, Truth, Word};

use super::super::schedule::Event;
use super::declared::Declared;
use super::excuse::Excuse;
use super::{MOVES_MM_S, STANDS_RPM, Violation};

/// Everything has to be off for so long to count as rest, us.
const RESTS_US: u64 = 1_000_000;
/// A coil that its own fault energised drops so long after that is mended: the module's cycle and
/// the relay, us.
const OWN_COIL_ENDS_US: u64 = 100_000;
/// From a press to what it begins: the longest debounce and the handshake with a drive, us.
const CARRIED_OUT_US: u64 = 500_000;

/// Buttons that may begin something, and their contacts. Reset is not among them.
const ACTS: [(Button, Discrete); 4] = [
    (Button::Start, Discrete::StartPressed),
    (Button::Accept, Discrete::AcceptPressed),
    (Button::Wet, Discrete::WetPressed),
    (Button::HoldToRun, Discrete::HoldToRunPressed),
];
/// Coils that let energy or matter flow.
const COILS: [Coil; 5] =
    [Coil::PowderFeeder, Coil::FuelValve, Coil::OxygenValve, Coil::GasSupply, Coil::Igniter];

/// Whether somebody has acted since everything came to rest.
#[derive(Debug, Clone, Default)]
pub(crate) struct Unbidden {
    quiet_since: Option<u64>,
    at_rest: bool,
    motor_rpm: f64,
    /// Since when the motor has run out, with nothing else asked.
    runs_out_since: Option<u64>,
    /// When what rests now was let go of: when the motor began to run out.
    released_at: u64,
    acted_at: Option<u64>,
    /// Until when the program's clock has stood or been behind.
    clock_stood_until: u64,
    buttons: u16,
    /// When a contact of a button was last faulty.
    button_lied_at: Option<u64>,
    /// When last a coil was energised by its own fault, and nothing else.
    own_coil_at: Option<u64>,
    /// How often it came to rest.
    pub(crate) rests: u64,
    /// How often something began after a rest.
    pub(crate) begun: u64,
    /// Excuses that were needed.
    pub(crate) excuses: Vec<Excuse>,
}

impl Unbidden {
    /// A press too short to be looked at is a press all the same.
    pub(crate) fn note(&mut self, now_us: u64, event: &Event) {
        if let Event::Press { button, .. } = event
            && ACTS.iter().any(|(act, _)| act == button)
        {
            self.acted_at = Some(now_us);
        }
    }

    /// The clock that the program is given stands, or is behind, until then.
    pub(crate) fn clock_stands(&mut self, until_us: u64) {
        self.clock_stood_until = self.clock_stood_until.max(until_us);
    }

    /// Somebody at the machine's own seat was answered.
    pub(crate) fn asked(&mut self, now_us: u64, what: Request, who: Origin, answer: &Answer) {
        let begins = matches!(
            what,
            Request::Start
                | Request::Restart
                | Request::Accept
                | Request::Wet
                | Request::NotWet
                | Request::Jog(_)
                | Request::Nudge(_)
        );
        if begins && who != Origin::Watcher && *answer == Answer::Accepted {
            self.acted_at = Some(now_us);
        }
    }

    pub(crate) fn look(&mut self, truth: &Truth, declared: &Declared) -> Option<Violation> {
        let pressed = truth.buttons & !self.buttons;
        self.buttons = truth.buttons;
        if ACTS.iter().any(|(button, _)| pressed & (1 << *button as u16) != 0) {
            self.acted_at = Some(truth.time_us);
        }

        let sticks = |coil: Coil| {
            matches!(
                declared.at(Target::Coil(coil)),
                Some(
                    Word::Stuck | Word::Wrong(_) | Word::Garbage | Word::Slow(_) | Word::Delayed(_)
                )
            )
        };
        let on = |bits: u16, coil: &Coil| bits & (1 << *coil as u16) != 0;
        let coils: Vec<Coil> = COILS.into_iter().filter(|coil| on(truth.energised, coil)).collect();
        // What the module drives has been asked for, even if a coil that sticks does not do it.
        let driven = COILS.iter().any(|coil| on(truth.coils, coil));
        let moves = truth.torch_mm_s.abs() > MOVES_MM_S;
        let turns = truth.spindle_rpm >= STANDS_RPM || truth.motor_rpm >= STANDS_RPM;
        let faulty =
            |(_, contact): &(Button, Discrete)| declared.is_faulty(Target::Discrete(*contact));
        if ACTS.iter().any(faulty) {
            self.button_lied_at = Some(truth.time_us);
        }
        // What a coil's own fault energises is not begun by the program, and ends no rest.
        let alone = !coils.is_empty() && !driven && !moves && !turns;
        let now_us = truth.time_us;
        let ends = self.own_coil_at.is_some_and(|at| now_us - at <= OWN_COIL_ENDS_US);
        let sticking = alone && coils.iter().all(|coil| sticks(*coil));
        if sticking || (alone && ends) {
            self.excuses.extend((!ends).then_some(Excuse::OwnCoil));
            self.own_coil_at = if sticking { Some(now_us) } else { self.own_coil_at };
            return None;
        }
        let was = std::mem::replace(&mut self.motor_rpm, truth.motor_rpm);
        if driven || moves || truth.motor_rpm > was {
            self.runs_out_since = None;
        } else if truth.motor_rpm < was {
            self.runs_out_since.get_or_insert(now_us);
        }
        let energised = !coils.is_empty() || driven || moves || turns;
        if !energised {
            if self.quiet_since.is_none() {
                self.released_at = self.runs_out_since.unwrap_or(now_us);
            }
            let since = *self.quiet_since.get_or_insert(now_us);
            if !self.at_rest && now_us - since >= RESTS_US {
                self.at_rest = true;
                self.rests += 1;
            }
            return None;
        }
        // An act while the spindle still runs out is one after the rest was asked for.
        let quiet_since = self.quiet_since.take().map(|since| self.released_at.min(since));
        if !std::mem::replace(&mut self.at_rest, false) {
            return None;
        }
        self.begun += 1;
        if self.acted_at >= quiet_since {
            return None;
        }
        if !moves && !turns && coils.iter().all(|coil| sticks(*coil)) {
            self.excuses.push(Excuse::OwnCoil);
            return None;
        }
        // A press that a contact made by itself is carried out some scans later.
        if self.button_lied_at.is_some_and(|at| now_us - at <= CARRIED_OUT_US) {
            self.excuses.push(Excuse::ButtonContact);
            return None;
        }
        if Some(self.clock_stood_until) >= quiet_since {
            self.excuses.push(Excuse::Clock);
            return None;
        }
        Some(Violation {
            what: "energy without an act",
            at_us: truth.time_us,
            words: format!(
                "coils {coils:?}, carriage {:.2} mm/s, spindle {:.1} rpm; at work: {declared:?}",
                truth.torch_mm_s, truth.spindle_rpm
            ),
        })
    }
}
