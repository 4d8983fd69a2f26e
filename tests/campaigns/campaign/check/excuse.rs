//! What nobody could have prevented, and why: the only ways in which a permitted duration may be
//! passed without a violation. Each holds only while the fault it names is at work, and its use
//! is counted.

/// An excuse.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) enum Excuse {
    /// The feeder's coil.
    FeederCoil,
    /// The carrier's coil.
    CarrierCoil,
    /// A gas valve's coil: the supply is isolated instead.
    GasCoil,
    /// A gas valve's coil and the supply's.
    GasAndSupplyCoil,
    /// A gas valve's coil and the contact that should prove it shut.
    GasCoilAndContact,
    /// The flame sensor.
    FlameSensor,
    /// Everything that could show that the part stands.
    PartSensors,
    /// The guard's contact.
    GuardContact,
    /// A button's contact.
    ButtonContact,
    /// A coil that is energised by its own fault, everything else at rest.
    OwnCoil,
    /// The clock that the program is given.
    Clock,
    /// Both extraction sensors.
    ExtractionSensors,
}

/// One row.
pub(crate) struct Row {
    pub(crate) excuse: Excuse,
    pub(crate) while_: &'static str,
    pub(crate) instead: &'static str,
    pub(crate) why: &'static str,
}

/// All of them.
#[rustfmt::skip]
pub(crate) const TABLE: [Row; 12] = [
    Row { excuse: Excuse::FeederCoil, while_: "the feeder's coil is stuck, wrong, slow, delayed or garbage",
        instead: "nothing lands cold on the part for longer than permitted: the carrier is shut",
        why: "between module and feeder nobody can act; the rig has no contact that shows a feeder running" },
    Row { excuse: Excuse::CarrierCoil, while_: "the carrier's coil is so",
        instead: "the feeder is off as permitted; what the hose holds (under 1 g) lands",
        why: "between module and valve nobody can act" },
    Row { excuse: Excuse::GasCoil, while_: "the fuel or oxygen valve's coil is so",
        instead: "the supply is isolated within the permitted time, the valve's 1 s and the machine's 0.5 s",
        why: "between module and valve nobody can act; the contact that proves it shut shows it" },
    Row { excuse: Excuse::GasAndSupplyCoil, while_: "that coil and the supply's are so, at once",
        instead: "nothing: the valve outside the cell is shut by hand, as the alarm says",
        why: "two valves in series, both stuck" },
    Row { excuse: Excuse::GasCoilAndContact, while_: "that coil is so, and the contact that proves the valve shut lies",
        instead: "nothing until the flame is still seen after 5 s",
        why: "a valve stuck open whose contact says shut: two faults of one valve" },
    Row { excuse: Excuse::FlameSensor, while_: "the flame contact is stuck, wrong, slow, delayed or garbage",
        instead: "nothing in software",
        why: "one sensor that says flame where there is none: the wired flame safeguard's own supervision is what finds it" },
    Row { excuse: Excuse::PartSensors, while_: "tachometer and part-turning contact both lie (clamp lost: that contact and the clamp's)",
        instead: "nothing in software",
        why: "everything that could show it says that the part turns" },
    Row { excuse: Excuse::GuardContact, while_: "the guard's contact lies",
        instead: "torque is off by wire, the spindle's latch drops by wire",
        why: "the contact that the program reads is not the one of the wired circuit" },
    Row { excuse: Excuse::ButtonContact, while_: "the contact of start, accept, wet or hold-to-run is faulty",
        instead: "whatever the press would start is judged as if it had been pressed",
        why: "a contact that closes by itself is a press to anybody" },
    Row { excuse: Excuse::OwnCoil, while_: "a coil's own fault energises it at rest",
        instead: "every other coil, carriage and spindle stay at rest",
        why: "between module and valve nobody can act; two valves are in series with the isolation valve" },
    Row { excuse: Excuse::Clock, while_: "the clock handed to the controller stands or goes back while the world goes on",
        instead: "everything is off within 0.5 s; only that it goes on afterwards without a new act is excused",
        why: "a stall that its own clock does not show: the driver therefore runs on the clock that counts a suspended computer's time" },
    Row { excuse: Excuse::ExtractionSensors, while_: "extraction contact and flow transmitter both lie",
        instead: "nothing in software",
        why: "everything that could show it says that air flows" },
];
