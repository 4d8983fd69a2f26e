//! What must never be so, judged by the twin's physical state alone, against the one table of
//! permitted durations.

pub(crate) mod clock;
pub(crate) mod declared;
pub(crate) mod excuse;
mod unbidden;

use std::time::Duration;

use evenpass_core::interlock::durations as permitted;
use evenpass_core::program::Program;
use evenpass_core::sequence::Phase;
use evenpass_hil::{Coil, Discrete, LineIndex, Target, Truth};

use super::schedule::Event;
use clock::{Clock, Grace};
use declared::Declared;
use excuse::Excuse;
pub(crate) use unbidden::Unbidden;

/// Below this pressure nothing comes out of a valve that would burn, bar (the bench's own figure).
const VENTED_BAR: f64 = 0.05;
/// Below this the carriage is at rest for the process, mm/s, as for the interlocks.
const AT_REST_MM_S: f64 = 0.5;
/// Above this it moves at all, mm/s.
const MOVES_MM_S: f64 = 0.01;
/// Below this the spindle stands, rpm.
const STANDS_RPM: f64 = 1.0;
/// The park switch of the bench, mm: torch clear of the part.
const PARK_MM: f64 = 700.0;
/// A flame that has burned for so long has been seen and proved: 1 s, and the way of the news.
const PROVED_US: u64 = 1_300_000;
/// Trouble on the field line that is over still has its news on the way.
const TROUBLE_LINGERS_US: u64 = 300_000;
/// Frames, scan and module between an end of time and the valve.
const REACTION: Duration = Duration::from_millis(100);
/// The ring's jog speed over its ramp: 20 mm/s at 100 mm/s2 (the rig file).
const JOG_STOPS: Duration = Duration::from_millis(200);
/// Extraction has 3 s until the hold, 10 s more until the trip; the fan takes under 2 s to fall
/// below its set-point, and gas and flame end within the reaction and 0.1 s.
const EXTRACTION_HOLDS: Duration = Duration::from_secs(3 + 2 + 1);

/// What the checker looks at.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Look<'a> {
    pub(crate) truth: &'a Truth,
    pub(crate) phase: Phase,
    /// Manual moves are under way, by a lease.
    pub(crate) jogging: bool,
    /// When the lease was last renewed, us.
    pub(crate) jog_renewed_us: u64,
    /// The program stands still, or its clock has been moved.
    pub(crate) stalled: bool,
    pub(crate) clock_moved: bool,
}

/// A violation.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Violation {
    pub(crate) what: &'static str,
    pub(crate) at_us: u64,
    pub(crate) words: String,
}

/// The clocks, by their places.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Of {
    PowderWithoutFlame,
    ColdOnPart,
    PowderWithoutMotion,
    FuelAfterLoss,
    FuelUnlit,
    StillPart,
    FlameAtRest,
    DeadGas,
    DeadPowder,
    DeadMotion,
    TrippedGas,
    TrippedPowder,
    TrippedMotion,
    OpenGuardGas,
    OpenGuardPowder,
    OpenGuardTorque,
    Jog,
    NoExtraction,
}

/// What it knows of the job.
#[derive(Debug, Clone, Copy)]
struct Figures {
    part: (f64, f64),
    clear_by: f64,
}

/// The checker.
#[derive(Debug, Clone)]
pub(crate) struct Checker {
    figures: Figures,
    pub(crate) declared: Declared,
    pub(crate) clocks: Vec<Clock>,
    pub(crate) unbidden: Unbidden,
    pub(crate) violations: Vec<Violation>,
    lit_since: Option<u64>,
    proved: bool,
    /// Until when the flame's news may have been held up, us.
    trouble_until: u64,
}

const fn us(span: Duration) -> u64 {
    span.as_micros() as u64
}

impl Checker {
    pub(crate) fn new(program: &Program) -> Self {
        let rest = program
            .torches
            .iter()
            .map(|torch| torch.longest_rest.to_duration())
            .fold(permitted::FLAME_AT_REST, |least, given| least.min(given + REACTION * 4));
        let trial = program
            .torches
            .iter()
            .map(|torch| torch.lighting.trial.to_duration())
            .fold(permitted::FUEL_UNLIT_AT_LIGHTING, Duration::max);
        let dead = permitted::DEAD_CONTROLLER;
        let rows = [
            ("powder without flame", permitted::POWDER_WITHOUT_FLAME),
            ("powder lands cold on the part", permitted::POWDER_WITHOUT_FLAME),
            ("powder without motion", permitted::POWDER_WITHOUT_MOTION),
            ("fuel after the flame was lost", permitted::FUEL_AFTER_FLAME_LOSS),
            ("fuel unlit at lighting", trial + permitted::TRIAL_MARGIN + REACTION),
            ("flame on a still part", permitted::FLAME_ON_STILL_PART),
            ("flame at rest over one spot", rest),
            ("gas, nobody in command", dead),
            ("powder, nobody in command", dead),
            ("motion, nobody in command", dead),
            ("gas in a trip", dead),
            ("powder in a trip", dead),
            ("motion in a trip", permitted::RETREAT + permitted::QUICK_STOP),
            ("gas with the guard open", dead),
            ("powder with the guard open", dead),
            ("torque with the guard open", permitted::QUICK_STOP + REACTION / 2),
            ("motion after the jog key", permitted::JOG_AFTER_RELEASE + JOG_STOPS),
            ("flame without extraction", permitted::FLAME_WITHOUT_EXTRACTION + EXTRACTION_HOLDS),
        ];
        Self {
            figures: Figures {
                part: (program.part.low.mm(), program.part.high.mm()),
                clear_by: program.clear_by.mm(),
            },
            declared: Declared::default(),
            clocks: rows.iter().map(|(key, longest)| Clock::new(key, us(*longest))).collect(),
            unbidden: Unbidden::default(),
            violations: Vec::new(),
            lit_since: None,
            proved: false,
            trouble_until: 0,
        }
    }

    /// Something happens that may excuse what follows.
    pub(crate) fn note(&mut self, now_us: u64, event: &Event) {
        self.declared.note(event);
        self.unbidden.note(now_us, event);
    }

    fn over_part(&self, z_mm: f64) -> bool {
        let Figures { part: (low, high), clear_by } = self.figures;
        (low - clear_by..=high + clear_by).contains(&z_mm)
    }

    fn look_at(&mut self, of: Of, now_us: u64, is_so: bool, grace: Grace) {
        let Some(clock) = self.clocks.get_mut(of as usize) else { return };
        if let Some(lasted) = clock.look(now_us, is_so, grace) {
            let words = format!(
                "{:.3} s, permitted {:.3} s; at work: {:?}",
                lasted as f64 * 1e-6,
                clock.longest_us as f64 * 1e-6,
                self.declared
            );
            self.violations.push(Violation { what: clock.key, at_us: now_us, words });
        }
    }

    /// Whether a flame has been proved since fuel began to flow, as far as the sensor can tell.
    fn prove(&mut self, now_us: u64, truth: &Truth, fuel: bool) {
        if !fuel {
            self.proved = false;
        }
        let seen = truth.flame_lit
            && fuel
            && !self.declared.is_faulty(Target::Discrete(Discrete::FlamePresent))
            && now_us >= self.trouble_until;
        if !seen {
            self.lit_since = None;
        }
        if seen && now_us - *self.lit_since.get_or_insert(now_us) >= PROVED_US {
            self.proved = true;
        }
    }

    /// One look at the world.
    pub(crate) fn look(&mut self, look: &Look<'_>) {
        let truth = look.truth;
        let now = truth.time_us;
        if look.stalled || look.clock_moved || self.declared.is_in_trouble(LineIndex::Field) {
            self.trouble_until = now + TROUBLE_LINGERS_US;
        }
        let fuel = truth.fuel_open && truth.fuel_bar >= VENTED_BAR;
        let oxygen = truth.oxygen_open && truth.oxygen_bar >= VENTED_BAR;
        self.prove(now, truth, fuel);
        self.powder(look);
        self.fire(look, fuel);
        self.command(look, fuel || oxygen);
        self.guard(look, fuel || oxygen);
        let lies = self.declared.contact_lies(Discrete::HoldToRunPressed);
        let grace = if lies { Grace::Excused(Excuse::ButtonContact) } else { Grace::None };
        let renewed = now.saturating_sub(look.jog_renewed_us) < 20_000;
        let moves = truth.torch_mm_s.abs() > MOVES_MM_S;
        self.look_at(Of::Jog, now, look.jogging && moves && !renewed, grace);
        let found = self.unbidden.look(truth, &self.declared);
        self.violations.extend(found);
    }

    fn powder(&mut self, look: &Look<'_>) {
        let truth = look.truth;
        let now = truth.time_us;
        let sticks = self.declared.coil_sticks(Coil::PowderFeeder);
        let blind = self.declared.contact_lies(Discrete::FlamePresent);
        let grace = match (sticks, blind) {
            (true, _) => Grace::Excused(Excuse::FeederCoil),
            (false, true) => Grace::Excused(Excuse::FlameSensor),
            (false, false) => Grace::None,
        };
        self.look_at(Of::PowderWithoutFlame, now, truth.feeder_on && !truth.flame_lit, grace);
        let grace = match (self.declared.coil_sticks(Coil::CarrierAir), blind) {
            (true, _) => Grace::Excused(Excuse::CarrierCoil),
            (false, true) => Grace::Excused(Excuse::FlameSensor),
            (false, false) => Grace::None,
        };
        let cold = truth.powder_g_s > 0.0 && !truth.flame_lit && self.over_part(truth.torch_z_mm);
        self.look_at(Of::ColdOnPart, now, cold && truth.carrier_on, grace);
        let grace = if sticks { Grace::Excused(Excuse::FeederCoil) } else { Grace::None };
        let (low, high) = self.figures.part;
        let lump = truth.feeder_on
            && (low..=high).contains(&truth.torch_z_mm)
            && truth.torch_mm_s.abs() < AT_REST_MM_S;
        self.look_at(Of::PowderWithoutMotion, now, lump, grace);
    }

    /// What a gas valve that sticks leaves to be demanded: that the supply is shut in time.
    fn gas(&self, so: bool, truth: &Truth, otherwise: Grace) -> (bool, Grace) {
        let sticks =
            [Coil::FuelValve, Coil::OxygenValve].map(|coil| self.declared.coil_sticks(coil));
        if !sticks.contains(&true) {
            return (so, otherwise);
        }
        let contacts = [Discrete::FuelValveShut, Discrete::OxygenValveShut];
        let unproved = sticks
            .iter()
            .zip(contacts)
            .any(|(sticks, contact)| *sticks && self.declared.contact_lies(contact));
        let grace = if self.declared.coil_sticks(Coil::GasSupply) {
            Grace::Excused(Excuse::GasAndSupplyCoil)
        } else if unproved {
            Grace::Excused(Excuse::GasCoilAndContact)
        } else {
            let longer = permitted::VALVE_NOT_SHUT + permitted::DEAD_CONTROLLER;
            Grace::Longer(Excuse::GasCoil, us(longer))
        };
        let grace = if let Grace::Excused(_) = otherwise { otherwise } else { grace };
        (so && truth.supply_open, grace)
    }

    fn fire(&mut self, look: &Look<'_>, fuel: bool) {
        let truth = look.truth;
        let now = truth.time_us;
        let lit = truth.flame_lit;
        let over_part = lit && self.over_part(truth.torch_z_mm);
        let sensor = if self.declared.contact_lies(Discrete::FlamePresent) {
            Grace::Excused(Excuse::FlameSensor)
        } else {
            Grace::None
        };
        let unlit = fuel && !lit;
        let (so, grace) = self.gas(unlit && self.proved, truth, sensor);
        self.look_at(Of::FuelAfterLoss, now, so, grace);
        let (so, grace) = self.gas(unlit && !self.proved, truth, sensor);
        self.look_at(Of::FuelUnlit, now, so, grace);

        let turning = self.declared.contact_lies(Discrete::PartTurning);
        let pulses = if self.declared.clamp_is_lost() {
            self.declared.contact_lies(Discrete::ClampOk)
        } else {
            self.declared.is_faulty(Target::Tachometer)
        };
        let sensors =
            if turning && pulses { Grace::Excused(Excuse::PartSensors) } else { Grace::None };
        let (so, grace) = self.gas(over_part && !truth.part_turns, truth, sensors);
        self.look_at(Of::StillPart, now, so, grace);
        let still = truth.torch_mm_s.abs() < AT_REST_MM_S;
        let (so, grace) = self.gas(over_part && still, truth, Grace::None);
        self.look_at(Of::FlameAtRest, now, so, grace);

        let runs = truth.energised & (1 << Coil::Extraction as u16) != 0;
        let failed = self.declared.extraction_has_failed() || !runs;
        let blind = self.declared.contact_lies(Discrete::ExtractionOk)
            && self.declared.is_faulty(Target::Analogue(evenpass_hil::Analogue::ExtractionFlow));
        let sensors = if blind { Grace::Excused(Excuse::ExtractionSensors) } else { Grace::None };
        let (so, grace) = self.gas(lit && failed, truth, sensors);
        self.look_at(Of::NoExtraction, now, so, grace);
    }

    /// What is still energised when nobody commands it, and when a trip has taken it away.
    fn command(&mut self, look: &Look<'_>, gas: bool) {
        let truth = look.truth;
        let now = truth.time_us;
        let field = look.stalled || self.declared.is_cut_off(LineIndex::Field, Target::FieldIo);
        let motion = look.stalled || self.declared.is_cut_off(LineIndex::Motion, Target::Drive);
        let tripped = matches!(look.phase, Phase::Aborting | Phase::Aborted);
        let moves = truth.torch_mm_s.abs() > MOVES_MM_S;
        let feeder = if self.declared.coil_sticks(Coil::PowderFeeder) {
            Grace::Excused(Excuse::FeederCoil)
        } else {
            Grace::None
        };
        let (so, grace) = self.gas(field && gas, truth, Grace::None);
        self.look_at(Of::DeadGas, now, so, grace);
        self.look_at(Of::DeadPowder, now, field && truth.feeder_on, feeder);
        self.look_at(Of::DeadMotion, now, motion && moves, Grace::None);
        let (so, grace) = self.gas(tripped && gas, truth, Grace::None);
        self.look_at(Of::TrippedGas, now, so, grace);
        self.look_at(Of::TrippedPowder, now, tripped && truth.feeder_on, feeder);
        self.look_at(Of::TrippedMotion, now, tripped && moves, Grace::None);
    }

    fn guard(&mut self, look: &Look<'_>, gas: bool) {
        let truth = look.truth;
        let now = truth.time_us;
        let open = !truth.guard_closed;
        let lighting = truth.torch_z_mm >= PARK_MM && truth.spindle_rpm < STANDS_RPM;
        let contact = if self.declared.contact_lies(Discrete::GuardClosed) {
            Grace::Excused(Excuse::GuardContact)
        } else {
            Grace::None
        };
        let (so, grace) = self.gas(open && gas && !lighting, truth, contact);
        self.look_at(Of::OpenGuardGas, now, so, grace);
        let feeder = match (self.declared.coil_sticks(Coil::PowderFeeder), contact) {
            (true, _) => Grace::Excused(Excuse::FeederCoil),
            (false, contact) => contact,
        };
        self.look_at(Of::OpenGuardPowder, now, open && truth.feeder_on, feeder);
        self.look_at(Of::OpenGuardTorque, now, open && truth.drive_torque, Grace::None);
    }
}
