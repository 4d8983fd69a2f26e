//! Why a transition was made. Each has one sentence; they stand here together so that they can
//! be proof-read as a list.

use core::fmt;

use crate::interlock::Class;
use crate::quantity::SpindleSpeed;
use crate::request::Request;

/// Why a transition was made, or why a wait was given up.
#[derive(Debug, Clone, Copy, PartialEq)]
#[non_exhaustive]
pub enum Cause {
    /// The controller was made.
    Made,
    /// Somebody asked for it.
    Asked(Request),
    /// An interlock, by its row's key and class.
    Interlock(&'static str, Class),
    /// The trip is reset.
    TripReset,
    /// The controller itself stood still for too long.
    Stalled,

    // Orderly progress.
    /// All permissives are given.
    PermissivesGiven,
    /// A permissive is missing.
    PermissiveMissing,
    /// Extraction and guard are proved.
    Proved,
    /// The torch is at the park.
    AtPark,
    /// The spindle's speed is proved.
    AtSpeed,
    /// The torch is purged and the spindle at rest.
    Purged,
    /// A flame is seen.
    FlameSeen,
    /// The step needs no flame.
    NoFlameNeeded,
    /// The step in hand may begin.
    StepBegins,
    /// The carriage is at the end of its span.
    AtEnd,
    /// The turn is over.
    Turned,
    /// The part is in its temperature window.
    Warm,
    /// The part fell out of its window again.
    TooCold,
    /// The part is too hot to spray on.
    TooHot,
    /// The part is cool enough for the next pass.
    CoolEnough,
    /// The carriage is where the pass begins.
    InPlace,
    /// The pass is done.
    PassDone,
    /// All passes of the zone are made: the hold was asked after the last one, or the one that was
    /// due has been taken back.
    NoPassLeft,
    /// "Finish this pass, then hold" was asked, and it is finished.
    PassDoneThenHold,
    /// Gas is proved isolated, spindle at rest, axis without torque.
    Isolated,
    /// Guard shut and gas pressure back.
    ClosedUp,
    /// All steps are done.
    StepsDone,
    /// The torch is clear and the flame burns.
    ClearLit,
    /// The torch is clear and the gas is shut.
    ClearUnlit,
    /// The flame has waited as long as it may.
    FlameWaitedEnough,
    /// The torch is clear, the gas shut, the part cool enough.
    Cool,
    /// Energy is off, nothing moves, the purge is done.
    Safe,
    /// Energy is off, nothing moves, and the purge is still owed.
    SafeNotPurged,
    /// The datum is found.
    HomingDone,
    /// The proving time is over.
    ProvingOver,

    // Waits that were not fulfilled.
    /// Extraction or guard was not proved.
    NotProved(Unproved),
    /// The torch did not reach the park.
    NotParked,
    /// Nobody confirmed the gear lever.
    LeverNotConfirmed,
    /// The spindle does not run at the speed set.
    SpindleWrong {
        /// By the tachometer.
        measured: SpindleSpeed,
        /// As the step asks.
        set: SpindleSpeed,
    },
    /// The tachometer cannot be believed.
    SpindleUnknown,
    /// Purge air is no longer seen while the lighter is waited for.
    AirLost,
    /// The purge could not be made.
    NotPurged,
    /// A flame was seen before gas could flow.
    FlameNotBelievable,
    /// Nobody answered the prompt.
    NotAnswered,
    /// No flame was seen within the trial.
    NotLit {
        /// Which try it was.
        attempt: u32,
    },
    /// No flame after the last try: locked out.
    LockedOut {
        /// How many tries were made.
        tries: u32,
    },
    /// The flame went out before it was confirmed.
    FlameLostInLighting,
    /// The part did not get warm in time.
    PreheatTooLong,
    /// The part did not stay in its window.
    SoakTooLong,
    /// The carriage did not arrive in time.
    CarriageLate,
    /// The part did not cool to where spraying goes on.
    WaitTooLong,
    /// Gas was not proved isolated in time.
    NotIsolated,
    /// Isolation was no longer proved with hands inside.
    IsolationLost,
    /// The access took too long.
    AccessTooLong,
    /// Guard or gas pressure did not come back in time.
    NotClosedUp,
    /// Nobody called the band wet in time.
    FuseTooLong,
    /// Nobody answered the attendance request.
    Unattended,
    /// The drive says that homing failed.
    HomingFailed,
    /// The drive let go of the carriage in the middle of a homing.
    DriveLetGo,
    /// Homing took too long.
    HomingTooLong,
    /// Nobody began the homing.
    HomingNotBegun,
    /// The program has no step, pass or band where one is due.
    ProgramShort,
    /// The enabling key is off.
    KeyOff,
}

/// What of the cell was not proved.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Unproved {
    /// The guard is not seen shut.
    Guard,
    /// The extraction is not seen to run.
    Extraction,
    /// Neither.
    Both,
}

impl fmt::Display for Cause {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let text = match self {
            Self::Made => "the controller was made",
            Self::Asked(request) => return write!(f, "asked for: {}", request.title()),
            Self::Interlock(key, class) => {
                let class = match class {
                    Class::Warn => "warning",
                    Class::Hold => "hold",
                    Class::Stop => "stop",
                    Class::Trip => "trip",
                };
                return write!(f, "{class} by interlock {key}");
            }
            Self::TripReset => "the trip is reset",
            Self::Stalled => "the controller stood still for too long",
            Self::PermissivesGiven => "all permissives are given",
            Self::PermissiveMissing => "a permissive is missing",
            Self::Proved => "extraction and guard are proved",
            Self::AtPark => "the torch is at the park",
            Self::AtSpeed => "the spindle's speed is proved",
            Self::Purged => "the torch is purged",
            Self::FlameSeen => "a flame is seen",
            Self::NoFlameNeeded => "the step needs no flame",
            Self::StepBegins => "the step begins",
            Self::AtEnd => "the carriage is at the end of its span",
            Self::Turned => "the turn is over",
            Self::Warm => "the part is in its temperature window",
            Self::TooCold => "the part is below its temperature window",
            Self::TooHot => "the part is too hot",
            Self::CoolEnough => "the part is cool enough for the next pass",
            Self::InPlace => "the carriage is where the pass begins",
            Self::PassDone => "the pass is done",
            Self::NoPassLeft => "all passes of the zone are made",
            Self::PassDoneThenHold => "the pass is finished, then a hold was asked for",
            Self::Isolated => {
                "gas proved isolated, spindle measured at rest, axis read back without torque"
            }
            Self::ClosedUp => "guard shut and gas pressure back",
            Self::StepsDone => "all steps are done",
            Self::ClearLit => "the torch is clear, the flame burns",
            Self::ClearUnlit => "the gas is shut",
            Self::FlameWaitedEnough => "the flame has waited as long as it may",
            Self::Cool => "torch clear, gas shut, part cool enough to stand still",
            Self::Safe => "energy is off, nothing moves, the purge is done",
            Self::SafeNotPurged => "energy is off, nothing moves, the purge is still owed",
            Self::HomingDone => "the datum is found",
            Self::ProvingOver => "the time for proving is over",
            Self::NotProved(Unproved::Guard) => {
                "the guard was not seen shut in time: shut it, or look at its contact"
            }
            Self::NotProved(Unproved::Extraction) => {
                "the extraction was not proved in time: look at the fan, its duct and its switch"
            }
            Self::NotProved(Unproved::Both) => {
                "the guard was not seen shut and the extraction not proved in time: shut the guard, \
                 look at the fan and its switch"
            }
            Self::NotParked => "the torch did not reach the park in time",
            Self::LeverNotConfirmed => "nobody confirmed the gear lever in time",
            Self::SpindleWrong { measured, set } => {
                let off = (measured.rpm() / set.rpm().max(0.1) - 1.0) * 100.0;
                return write!(
                    f,
                    "measured {:.0}, set {:.0} ({off:+.0} %)",
                    measured.rpm(),
                    set.rpm()
                );
            }
            Self::SpindleUnknown => "the tachometer's reading is failed or stale",
            Self::AirLost => "purge air is no longer seen: the torch is purged anew",
            Self::NotPurged => "the torch could not be purged in time",
            Self::FlameNotBelievable => "flame signal not believable: on before gas could flow",
            Self::NotAnswered => "nobody answered in time",
            Self::NotLit { attempt } => {
                return write!(f, "no flame within the trial time, try {attempt}");
            }
            Self::LockedOut { tries } => {
                return write!(f, "not lit after {tries} tries: locked out");
            }
            Self::FlameLostInLighting => "the flame went out before it was confirmed",
            Self::PreheatTooLong => "the part did not get warm in time",
            Self::SoakTooLong => "the part did not stay in its temperature window",
            Self::CarriageLate => "the carriage did not arrive in time",
            Self::WaitTooLong => "the part did not cool enough in time",
            Self::NotIsolated => {
                "gas, spindle and axis were not proved isolated in time: nobody goes inside"
            }
            Self::IsolationLost => {
                "gas, spindle or axis is no longer proved isolated: leave the machine"
            }
            Self::AccessTooLong => "the access took longer than it may",
            Self::NotClosedUp => "guard or gas pressure did not come back in time",
            Self::FuseTooLong => "nobody called the band wet in time",
            Self::Unattended => "nobody answered the attendance request",
            Self::HomingFailed => "the drive says that homing failed",
            Self::DriveLetGo => "the drive let go of the carriage during the homing",
            Self::HomingTooLong => "homing took too long",
            Self::HomingNotBegun => "nobody pressed start to begin the homing",
            Self::ProgramShort => "the program has nothing where its next part is due",
            Self::KeyOff => "the enabling key is off",
        };
        f.write_str(text)
    }
}
