//! Names of the states, without their data: for records, screens and the request gate.

use core::fmt;

/// The super-states as the request gate and the screens tell them apart.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
#[non_exhaustive]
pub enum Phase {
    /// No job runs.
    Idle,
    /// Manual work.
    Manual,
    /// Checks, park and spindle before and after lighting.
    Starting,
    /// A flame is being lit.
    Lighting,
    /// The part is warmed.
    Preheating,
    /// A zone is sprayed.
    Spraying,
    /// Hands go inside.
    Access,
    /// A zone is fused.
    Fusing,
    /// The part cools.
    Cooling,
    /// The torch withdraws.
    Holding,
    /// The job waits.
    Held,
    /// The job comes back.
    Restarting,
    /// The job is being ended early.
    Stopping,
    /// The job has ended early.
    Stopped,
    /// A trip is carried out.
    Aborting,
    /// A trip is latched.
    Aborted,
    /// The job is done.
    Complete,
}

impl Phase {
    /// All of them, in the order of the request gate's columns.
    pub const ALL: [Self; 17] = [
        Self::Idle,
        Self::Manual,
        Self::Starting,
        Self::Lighting,
        Self::Preheating,
        Self::Spraying,
        Self::Access,
        Self::Fusing,
        Self::Cooling,
        Self::Holding,
        Self::Held,
        Self::Restarting,
        Self::Stopping,
        Self::Stopped,
        Self::Aborting,
        Self::Aborted,
        Self::Complete,
    ];

    /// Whether a job is under way and a hold means something.
    #[must_use]
    pub const fn is_running(self) -> bool {
        matches!(
            self,
            Self::Starting
                | Self::Lighting
                | Self::Preheating
                | Self::Spraying
                | Self::Access
                | Self::Fusing
                | Self::Cooling
                | Self::Restarting
        )
    }

    /// The ISA-88 word it is shown with.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Idle => "Idle",
            Self::Manual => "Manual",
            Self::Starting
            | Self::Lighting
            | Self::Preheating
            | Self::Spraying
            | Self::Access
            | Self::Fusing
            | Self::Cooling => "Running",
            Self::Holding => "Holding",
            Self::Held => "Held",
            Self::Restarting => "Restarting",
            Self::Stopping => "Stopping",
            Self::Stopped => "Stopped",
            Self::Aborting => "Aborting",
            Self::Aborted => "Aborted",
            Self::Complete => "Complete",
        }
    }
}

macro_rules! leaves {
    ($($(#[$doc:meta])* $leaf:ident, $phase:ident, $words:literal;)+) => {
        /// A leaf of the state chart.
        #[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
        #[non_exhaustive]
        pub enum Leaf { $($(#[$doc])* $leaf,)+ }

        impl Leaf {
            /// All of them, in the chart's order.
            pub const ALL: &'static [Self] = &[$(Self::$leaf),+];

            /// Its name in the diagram.
            #[must_use]
            pub const fn name(self) -> &'static str {
                match self { $(Self::$leaf => stringify!($leaf),)+ }
            }

            /// The super-state it belongs to.
            #[must_use]
            pub const fn phase(self) -> Phase {
                match self { $(Self::$leaf => Phase::$phase,)+ }
            }

            /// What is being done, in words.
            #[must_use]
            pub const fn words(self) -> &'static str {
                match self { $(Self::$leaf => $words,)+ }
            }
        }
    };
}

leaves! {
    /// Idle, something missing.
    NotReady, Idle, "not ready";
    /// Idle, ready to start.
    Ready, Idle, "ready";
    /// Looking for the datum.
    Homing, Manual, "homing";
    /// Manual moves.
    Jogging, Manual, "jogging";
    /// A point was taken.
    Teaching, Manual, "teaching";
    /// Proof tests.
    Proving, Manual, "proving";
    /// Extraction and guard are proved.
    Checking, Starting, "checking extraction and guard";
    /// To the park.
    Parking, Starting, "going to the park";
    /// Spindle to speed.
    SpinningUp, Starting, "proving the spindle speed";
    /// Air clears the torch.
    Purging, Lighting, "purging before lighting";
    /// Gas opens.
    Opening, Lighting, "lighting the torch";
    /// The flame is confirmed.
    ConfirmingFlame, Lighting, "confirming the flame";
    /// Warming.
    Traversing, Preheating, "preheating";
    /// Reversing while warming.
    PreheatTurning, Preheating, "preheating, turning";
    /// Soaking.
    Soaking, Preheating, "soaking";
    /// To the start of a pass.
    Approaching, Spraying, "approaching";
    /// Crossing the zone.
    Crossing, Spraying, "spraying";
    /// Between passes.
    SprayTurning, Spraying, "turning";
    /// Too hot.
    WaitingForTemperature, Spraying, "waiting for the part to cool";
    /// Isolating gas and motion.
    Isolating, Access, "isolating for access";
    /// Access.
    Inside, Access, "access allowed";
    /// Coming back.
    ClosingUp, Access, "closing up";
    /// Heating a band.
    Heating, Fusing, "fusing";
    /// Drawing the wet front on.
    Wetting, Fusing, "drawing the wet front";
    /// Reversing while fusing.
    FuseTurning, Fusing, "fusing, turning";
    /// Cooling.
    CoolingDown, Cooling, "cooling down";
    /// Withdrawing.
    Holding, Holding, "withdrawing";
    /// Held, flame burning.
    HeldLit, Held, "waiting at the park, flame lit";
    /// Held, gas shut.
    HeldUnlit, Held, "waiting, gas shut";
    /// The surface is asked about.
    Restarting, Restarting, "asking about the surface";
    /// Ending early.
    Stopping, Stopping, "ending the job";
    /// Ended early.
    Stopped, Stopped, "the job has ended";
    /// A trip is carried out.
    Aborting, Aborting, "removing energy";
    /// A trip is latched.
    Aborted, Aborted, "tripped";
    /// Done.
    Complete, Complete, "the job is done";
}

impl fmt::Display for Leaf {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}: {}", self.phase().word(), self.words())
    }
}
