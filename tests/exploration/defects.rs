//! Planted defects: each changes what the real machine is told or what it says, from outside, in
//! the place where a fault of its kind would sit. The product has no switch for any of them.

use evenpass_core::image::{
    AxisDemand, Coil, Contact, Inputs, Level, Outputs, PowderEdge, Signal, SpindleDemand, Travel,
};
use evenpass_core::interlock::{Acknowledged, Verdict};
use evenpass_core::quantity::{Acceleration, Length, Speed};
use evenpass_core::request::{Answer, Denial, Direction, Origin, Request};
use evenpass_core::sequence::{Ask, Leaf, Phase, Sequence};

use crate::machine::Machine;

/// One defect.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Defect {
    PowderKeptOnInHeld,
    TripNotHandledInRestarting,
    StaleTakenAsHealthy,
    LateOnEdgeNotVoided,
    RetreatAfterReconnection,
    ResetWithoutAcknowledgement,
    ResetByItself,
    LitByHandBehindAShutGuard,
    LitByIgniterInAnOpenGuard,
    GasWithoutPurge,
    WatchdogBeatsBlindly,
    WetCoatStandsStillInHeld,
    AttendanceAnswersItself,
    AccessWithGasInThePipe,
    JogWithoutARenewedLease,
    AirIntoAFlashback,
    StopDeniedElsewhere,
    FirstCauseReplaced,
    StartsWhenReady,
    WaitsForeverForTheFlame,
    EnforcementPutsTheFlameBack,
    ProvingWithGas,
}

/// A defect with what it is called and what must catch it.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Planted {
    pub(crate) defect: Defect,
    pub(crate) what: &'static str,
    pub(crate) caught_by: &'static str,
    /// Whether it is planted in the variant.
    pub(crate) varied: bool,
}

const fn planted(defect: Defect, what: &'static str, caught_by: &'static str) -> Planted {
    Planted { defect, what, caught_by, varied: false }
}

const fn planted_in_variant(
    defect: Defect,
    what: &'static str,
    caught_by: &'static str,
) -> Planted {
    Planted { defect, what, caught_by, varied: true }
}

impl Defect {
    /// All of them.
    pub(crate) const ALL: [Planted; 22] = [
        planted(Self::PowderKeptOnInHeld, "powder kept on in Held", "powder belongs to a pass"),
        planted_in_variant(
            Self::TripNotHandledInRestarting,
            "trip not handled in Restarting",
            "a trip is followed",
        ),
        planted(
            Self::StaleTakenAsHealthy,
            "stale taken as healthy",
            "what guards people is believed only when known",
        ),
        planted(Self::LateOnEdgeNotVoided, "late ON edge not voided", "powder belongs to a pass"),
        planted(
            Self::RetreatAfterReconnection,
            "retreat after reconnection",
            "retreat only trusted",
        ),
        planted(
            Self::ResetWithoutAcknowledgement,
            "the trip acknowledges itself",
            "a reset is a person's",
        ),
        planted(Self::ResetByItself, "the trip resets itself", "a reset is a person's"),
        planted(
            Self::LitByHandBehindAShutGuard,
            "gas for the lighter behind a shut guard",
            "gas only where it may be lit",
        ),
        planted_in_variant(
            Self::LitByIgniterInAnOpenGuard,
            "gas for the igniter in an open guard",
            "gas only where it may be lit",
        ),
        planted(Self::GasWithoutPurge, "gas opens with the purge", "gas only after a purge"),
        planted(
            Self::WatchdogBeatsBlindly,
            "watchdog beats whatever is known",
            "the watchdog beats only on what is fresh",
        ),
        planted(
            Self::WetCoatStandsStillInHeld,
            "spindle stops in Held",
            "a wet coat keeps turning",
        ),
        planted_in_variant(
            Self::AttendanceAnswersItself,
            "attendance answers itself",
            "a flame is attended",
        ),
        planted_in_variant(
            Self::AccessWithGasInThePipe,
            "hands let in before the pipe has vented",
            "access needs isolation",
        ),
        planted(
            Self::JogWithoutARenewedLease,
            "a jog renews its own lease",
            "a jog lasts as long as its lease",
        ),
        planted(Self::AirIntoAFlashback, "air blown into a flashback", "no air into a flashback"),
        planted(
            Self::StopDeniedElsewhere,
            "stop denied to who watches",
            "stop is taken from anyone",
        ),
        planted(
            Self::FirstCauseReplaced,
            "a later cause replaces the first",
            "the first cause stays first",
        ),
        planted(
            Self::StartsWhenReady,
            "a job that is ready starts",
            "nothing starts without an act",
        ),
        planted(
            Self::WaitsForeverForTheFlame,
            "confirming the flame has no end",
            "left alone it comes to rest",
        ),
        planted(
            Self::EnforcementPutsTheFlameBack,
            "fuel written in a trip as before",
            "a trip cuts at once",
        ),
        planted(
            Self::ProvingWithGas,
            "proving does not look at the pressures",
            "proving is isolated",
        ),
    ];

    /// Answers instead of the gate.
    pub(crate) fn answers(self, request: Request, origin: Origin) -> Option<Answer> {
        let denied = self == Self::StopDeniedElsewhere
            && request == Request::Stop
            && origin == Origin::Watcher;
        denied.then(|| Answer::Denied(Denial { why: String::new(), help: String::new() }))
    }

    /// What the gate is shown beside a request.
    pub(crate) fn asked_with(self, request: Request, inputs: &mut Inputs) {
        let now = inputs.now;
        let mut show = |tag: Contact, level| {
            inputs.contacts[tag.index()] = Signal::measured(level, now);
        };
        match (self, request) {
            (Self::LitByHandBehindAShutGuard, Request::Accept) => show(Contact::Guard, Level::Off),
            (Self::ProvingWithGas, Request::EnterProving) => vent(inputs),
            _ => {}
        }
    }

    /// What is read.
    pub(crate) fn reads(self, inputs: &mut Inputs) {
        if self == Self::StaleTakenAsHealthy {
            let now = inputs.now;
            for contact in &mut inputs.contacts {
                contact.at = now;
            }
            for analogue in &mut inputs.analogues {
                analogue.at = now;
            }
            inputs.axis.at = now;
            inputs.spindle.at = now;
        }
        if self == Self::LitByIgniterInAnOpenGuard {
            // As it is heard: what is not heard of stays so.
            inputs.contacts[Contact::Guard.index()].value = Level::On;
        }
    }

    /// A verdict shown to the sequence instead of the interlocks' own.
    pub(crate) fn shows(self, sequence: &Sequence, _verdict: &Verdict) -> Option<Verdict> {
        let hides =
            self == Self::TripNotHandledInRestarting && sequence.phase() == Phase::Restarting;
        hides.then(Verdict::default)
    }

    /// Inputs shown to the sequence instead of those read.
    pub(crate) fn shows_inputs(self, sequence: &Sequence, inputs: &Inputs) -> Option<Inputs> {
        let leaf = sequence.leaf();
        let mut shown = inputs.clone();
        match (self, leaf) {
            (Self::AccessWithGasInThePipe, Leaf::Isolating | Leaf::Inside)
            | (Self::ProvingWithGas, Leaf::Proving) => vent(&mut shown),
            (Self::LitByHandBehindAShutGuard, _) if asks(sequence, Ask::OpenGuard) => {
                shown.contacts[Contact::Guard.index()] = Signal::measured(Level::Off, inputs.now);
            }
            _ => return None,
        }
        Some(shown)
    }

    /// The sequence is not stepped: what it proposed last is proposed again.
    pub(crate) fn forgets_to_step(self, sequence: &Sequence) -> bool {
        self == Self::WaitsForeverForTheFlame && sequence.leaf() == Leaf::ConfirmingFlame
    }

    /// What is proposed, before the interlocks take their share.
    pub(crate) fn proposes(
        self,
        sequence: &Sequence,
        _verdict: &Verdict,
        before: &Outputs,
        proposed: &mut Outputs,
    ) {
        let phase = sequence.phase();
        match self {
            Self::PowderKeptOnInHeld if phase == Phase::Held => {
                proposed.powder.now = Level::On;
            }
            Self::LateOnEdgeNotVoided => {
                let late = before.powder.next.filter(|edge| edge.to == Level::On);
                if let Some(edge) = late.filter(|_| proposed.powder.next.is_none()) {
                    let epoch = proposed.powder.epoch;
                    proposed.powder.next = Some(PowderEdge { epoch, ..edge });
                }
            }
            Self::GasWithoutPurge if sequence.leaf() == Leaf::Purging => {
                for coil in [Coil::Fuel, Coil::Oxygen, Coil::Supply] {
                    proposed.set(coil, Level::On);
                }
            }
            Self::WetCoatStandsStillInHeld if phase == Phase::Held => {
                proposed.spindle = SpindleDemand::Stop;
            }
            _ => {}
        }
    }

    /// What is written, after them.
    pub(crate) fn writes(
        self,
        sequence: &Sequence,
        verdict: &Verdict,
        before: &Outputs,
        proposed: &Outputs,
        written: &mut Outputs,
    ) {
        let trips = verdict.tripped();
        match self {
            Self::WatchdogBeatsBlindly => written.watchdog = proposed.watchdog,
            Self::RetreatAfterReconnection if trips && sequence.leaf() == Leaf::Aborting => {
                // Away from the part, as before the break.
                written.axis = AxisDemand::Travel(Travel {
                    to: Length::from_mm(720.0),
                    at: Speed::from_mm_per_s(60.0),
                    ramp: Acceleration::from_mm_per_s2(100.0),
                });
            }
            Self::AirIntoAFlashback if trips => written.set(Coil::CarrierAir, Level::On),
            Self::EnforcementPutsTheFlameBack if trips && before.coil(Coil::Fuel).is_on() => {
                written.set(Coil::Fuel, Level::On);
            }
            _ => {}
        }
    }

    /// What is asked by nobody after a scan.
    pub(crate) fn asks(self, machine: &Machine) -> Option<Request> {
        let verdict = machine.verdict();
        let sequence = &machine.sequence;
        let trips = verdict.tripped();
        match self {
            Self::ResetWithoutAcknowledgement => {
                (trips && verdict.acknowledged == Acknowledged::No).then_some(Request::Acknowledge)
            }
            Self::ResetByItself => {
                (trips && verdict.reset_needs.is_empty()).then_some(Request::Reset)
            }
            Self::AttendanceAnswersItself => {
                asks(sequence, Ask::Attendance).then_some(Request::Accept)
            }
            Self::JogWithoutARenewedLease => {
                let moves = matches!(machine.outputs.axis, AxisDemand::Travel(_));
                (moves && sequence.leaf() == Leaf::Jogging)
                    .then_some(Request::Jog(Direction::TowardChuck))
            }
            Self::StartsWhenReady => (sequence.leaf() == Leaf::Ready).then_some(Request::Start),
            _ => None,
        }
    }

    /// The verdict as it is told instead of as it is.
    pub(crate) fn tells(self, verdict: &Verdict) -> Option<Verdict> {
        let later = verdict.consequent.last().filter(|_| self == Self::FirstCauseReplaced)?;
        Some(Verdict { first: Some(later.clone()), ..verdict.clone() })
    }
}

fn asks(sequence: &Sequence, what: Ask) -> bool {
    sequence.prompt().is_some_and(|prompt| prompt.ask == what)
}

/// Both pressures read as vented.
fn vent(inputs: &mut Inputs) {
    use evenpass_core::image::Analogue;
    for tag in [Analogue::FuelPressure, Analogue::OxygenPressure] {
        inputs.analogues[tag.index()] = Signal::measured(0.0, inputs.now);
    }
}
