//! What a row of the matrix says.

use core::time::Duration;

use serde::Serialize;

use crate::image::{Analogue, Contact};
use crate::interlock::verdict::{CarriageEffect, Class, SpindleEffect, Veto};

/// One cause with its effects.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Row {
    /// Its number: hundreds by subject, one number for each stage.
    pub number: u16,
    /// Its name in rig files, records and programs.
    pub key: &'static str,
    /// Its name for people.
    pub title: &'static str,
    /// How severe.
    pub class: Class,
    /// Which of several causes confirmed in one scan is the first: the lowest, then the lowest
    /// number.
    pub priority: u8,
    /// When it counts.
    pub arming: Arming,
    /// What is watched.
    pub watch: Watch,
    /// The figure it is compared with; none for contacts.
    pub set_point: Option<SetPoint>,
    /// How long the condition must last before it counts.
    pub delay: Duration,
    /// How long all must be in order before the condition counts as gone; a rig may lengthen it.
    pub delay_off: Duration,
    /// What it takes away.
    pub effects: RowEffects,
    /// What makes its condition gone.
    pub reset: ResetRule,
    /// The lamp that shows it.
    pub lamp: Lamp,
    /// What a person may do while it lasts.
    pub meanwhile: Meanwhile,
    /// Whether a wired circuit must do the same without this program.
    pub circuit: Circuit,
    /// Where to look and what to do.
    pub advice: &'static str,
}

impl Row {
    /// Whether another row is the later, severer stage of the same cause.
    pub(in crate::interlock) fn escalates_to(&self, other: &Self) -> bool {
        other.watch == self.watch
            && other.arming == self.arming
            && other.class > self.class
            && other.delay > self.delay
    }
}

/// A set-point with its unit.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct SetPoint {
    /// The figure.
    pub value: f64,
    /// Its unit as printed.
    pub unit: &'static str,
    /// Which way a rig may move it.
    pub tighter: Tighter,
}

/// Which way is stricter.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Tighter {
    /// Higher is stricter: the figure is a floor.
    Higher,
    /// Lower is stricter: the figure is a ceiling.
    Lower,
}

impl Tighter {
    /// In words: on which side of a figure the stricter ones lie.
    #[must_use]
    pub const fn side(self) -> &'static str {
        match self {
            Self::Higher => "or more",
            Self::Lower => "or less",
        }
    }
}

/// What a row takes away.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub struct RowEffects {
    /// The feeder is off.
    pub powder: Veto,
    /// The fuel valve is shut.
    pub fuel: Veto,
    /// The oxygen valve is shut.
    pub oxygen: Veto,
    /// The gas supply is isolated.
    pub supply: Veto,
    /// Carrier and purge air.
    pub air: AirEffect,
    /// The carriage.
    pub carriage: CarriageEffect,
    /// The spindle.
    pub spindle: SpindleEffect,
    /// No cooling jet.
    pub cooling: Veto,
    /// The watchdog may not beat.
    pub watchdog: Veto,
}

/// What happens to carrier and purge air.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum AirEffect {
    /// It is left to the sequence, which purges by the torch's handbook.
    Keep,
    /// Off while the torch is over the part: what is left in the hose must not land there.
    UntilClear,
    /// Off until the inspection is reported: no air is blown into a flashback.
    Off,
}

/// What makes a latched cause's condition count as gone.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum ResetRule {
    /// What is watched is healthy again, energy or not.
    Healthy,
    /// What armed it is off; the value watched means nothing then.
    AtRest,
    /// As healthy, and somebody has inspected torch, hoses and arrestors.
    Inspected,
}

/// A lamp by IEC 60073.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Lamp {
    /// Danger.
    Red,
    /// Abnormal.
    Yellow,
    /// A person must act.
    Blue,
}

/// What a person may do while a cause lasts.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Meanwhile {
    /// Go on with the job.
    GoOn,
    /// Stop or abort; restart once it is gone.
    RestartWhenGone,
    /// Watch the job end in order; abort.
    LetItEnd,
    /// Acknowledge; reset once it is gone and the hose purged.
    ResetWhenGone,
    /// As before, and then jog away from the limit, toward it never.
    JogAway,
    /// Shut the gas by hand outside the cell.
    ShutByHand,
    /// Leave the cell, shut the cylinders outside.
    LeaveCell,
    /// Let everything cool and inspect it before the reset.
    InspectFirst,
}

impl Meanwhile {
    /// In words.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::GoOn => "go on",
            Self::RestartWhenGone => "stop or abort; restart once its cause is gone",
            Self::LetItEnd => "watch it end; abort",
            Self::ResetWhenGone => {
                "acknowledge it; reset it once its cause is gone and the torch is purged"
            }
            Self::JogAway => "acknowledge it, reset it, then jog away from the limit only",
            Self::ShutByHand => "shut the isolation valve outside by hand",
            Self::LeaveCell => "leave the cell, shut the cylinders outside",
            Self::InspectFirst => "let it cool, inspect, report; no air, no relight",
        }
    }
}

/// Whether a wired circuit must do the same without this program.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Circuit {
    /// It is left to this program.
    Software,
    /// Wired as well: the program only reads it back.
    AlsoWired,
}

/// When a row counts. Armed from images and outputs only.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Arming {
    /// Always.
    Always,
    /// While any energy is asked or present: gas, powder, igniter, torque, a turning spindle.
    Energised,
    /// As energised, except while the torch is lit by hand: spindle at rest, carriage still at
    /// the park, no powder.
    GuardNeeded,
    /// While gas supply is open, and until the pipe has been seen to vent.
    GasPresent,
    /// While powder is asked, or a gas valve with gas before it.
    Process,
    /// While the supply is open.
    SupplyOpen,
    /// Fuel valve and supply open long enough for the pressure to have settled.
    FuelSettled,
    /// Oxygen valve and supply open long enough for the pressure to have settled.
    OxygenSettled,
    /// Carrier air on long enough to have settled, with powder or fuel on.
    CarrierSettled,
    /// From a proved flame until fuel is shut.
    Burning,
    /// While fuel is open, with gas before it, and no flame is proved yet.
    Lighting,
    /// While the feeder runs.
    Powder,
    /// The feeder runs over the part.
    PowderOverPart,
    /// Flame, and the torch is not clear of the part.
    FlameOverPart,
    /// The feeder runs, or flame over the part in a step with a spray window.
    SprayHeat,
    /// Flame over the part in a step without a spray window.
    FuseHeat,
    /// Flame over the part in a step with a fusing ceiling.
    Fusing,
    /// Powder, or flame over the part, and the spindle's reference has stood long enough.
    SpindleSettled,
    /// The spindle is asked to turn, or gas or powder is asked.
    SpindleNeeded,
    /// The carriage is asked anything but "off", or has torque, or gas or powder is asked.
    DriveNeeded,
    /// The carriage is asked to travel or to find its datum.
    Travelling,
    /// Gas or powder is asked, or the carriage looks for its datum or travels faster than jogging.
    WorkingMotion,
    /// The watchdog has been asked to beat long enough for its relay to pick up, with energy
    /// asked or present.
    WatchdogBeating,
}

/// What a value is compared with.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Reference {
    /// The set-point itself, in its unit.
    Own,
    /// A share of the fuel pressure the torch is set to.
    FuelPressure,
    /// The fuel gas's highest pressure; the set-point where the step gives none.
    FuelLimit,
    /// A share of the oxygen pressure the torch is set to.
    OxygenPressure,
    /// A share of the carrier pressure the torch is set to.
    CarrierPressure,
    /// An offset from the low end of the spray window.
    SprayLow,
    /// An offset from the high end of the spray window.
    SprayHigh,
    /// An offset from the fusing ceiling.
    FuseCeiling,
}

/// What a person, or the sequence for a person, may raise as a cause.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Raised {
    /// Trip now.
    Abort,
    /// The flame pops or squeals.
    BadFlame,
    /// The coat lifts.
    CoatLifting,
    /// Withdraw and wait.
    Hold,
    /// End the job in order.
    Stop,
    /// Nobody answered the attendance request.
    Attendance,
    /// Every try to light the torch has failed.
    IgnitionLockout,
    /// Something waited for did not come in time; the words say what.
    Overdue,
    /// The controller stood still for too long.
    Stalled,
}

/// What is watched.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Watch {
    /// A healthy contact that is not known to be closed: open, stale and failed alike.
    Open(Contact),
    /// A button known to be pressed.
    Pressed(Contact),
    /// A cause raised by [`crate::interlock::Interlocks::request`] only.
    Person(Raised),
    /// A button known to be pressed, or the same cause raised.
    PressedOr(Contact, Raised),
    /// A transmitter that is failed or stale.
    Failed(Analogue),
    /// A value under its reference. Inhibited while its transmitter is failed.
    Below(Analogue, Reference),
    /// A value over its reference. Inhibited while its transmitter is failed.
    Above(Analogue, Reference),
    /// No flame is seen.
    NoFlame,
    /// Flame is seen although the fuel is shut and the sensor has been dark since.
    FlameFromNothing,
    /// Flame has been seen without a break since the fuel was shut, longer than the set-point.
    FlameRemains,
    /// Fuel has been open longer than the trial time plus the set-point, and no flame is seen.
    TrialOver,
    /// A valve told to shut is not proved shut.
    FuelNotShut,
    /// A valve told to shut is not proved shut.
    OxygenNotShut,
    /// The fuel valve is asked open, and its contact says shut.
    FuelShutContradicts,
    /// The drive's reading is older than the set-point, or failed.
    DriveSilent,
    /// The drive reports a fault or its reaction to one.
    DriveFault,
    /// The drive's status word matches no state.
    DriveUnknown,
    /// Distance between where the carriage should be and where it is.
    FollowingError,
    /// Share of the speed that the carriage should have by now.
    Crawl,
    /// A hard limit is open, and the carriage is asked that way or gas or powder is on.
    LimitTowardChuck,
    /// A hard limit is open, and the carriage is asked that way or gas or powder is on.
    LimitTowardTail,
    /// A travel ends outside the rig's bounds.
    OutsideTravel,
    /// The same with a flame that is not clear of the part.
    OutsideTravelLit,
    /// The emergency stop is open and torque allowed, or the drive has torque that is not
    /// allowed.
    TorqueContradicts,
    /// The park switch is closed and the position is over the part.
    ParkContradicts,
    /// The carriage is not known to move.
    CarriageStill,
    /// How long flame has rested over the part.
    FlameRests,
    /// How many pulses of the spindle are missing, or the reading is unknown.
    MissedPulses,
    /// Share of the speed asked.
    SpindleSlow,
    /// The tachometer's reading is stale or failed.
    TachometerSilent,
    /// Share of the highest speed asked of late.
    Overspeed,
    /// Deviation from the speed of the step.
    SpeedError,
    /// The inverter reports a fault, an open run latch, or nothing.
    InverterNotOk,
    /// Loss in weight of a window of time, as a share of the first window's since powder began.
    FeedFalls,
    /// Deviation of the loss in weight from the first window's since powder began.
    FeedPulses,
    /// Rise of the hose's back-pressure over what it was with air alone.
    HoseBlocked,
    /// No contact of the module is known any more.
    FieldSilent,
    /// The module answers with a cycle counter that stands still.
    FieldFrozen,
    /// The beat is asked and the relay is not known to be picked up.
    RelayDropped,
    /// Time since the scan before.
    ScanGap,
}
