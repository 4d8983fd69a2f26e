//! The names of the wires, with their polarity and what a broken wire reads.

use serde::{Deserialize, Serialize};

macro_rules! tags {
    ($(#[$doc:meta])* $name:ident { $($(#[$tag_doc:meta])* $tag:ident = $key:literal, $title:literal;)+ }) => {
        $(#[$doc])*
        #[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
        #[serde(rename_all = "snake_case")]
        pub enum $name { $($(#[$tag_doc])* $tag,)+ }

        impl $name {
            /// All of them, in order.
            pub const ALL: &'static [Self] = &[$(Self::$tag),+];
            /// How many there are.
            pub const COUNT: usize = Self::ALL.len();

            /// Its name in a rig file.
            #[must_use]
            pub const fn key(self) -> &'static str {
                match self { $(Self::$tag => $key,)+ }
            }

            /// Its name for people.
            #[must_use]
            pub const fn title(self) -> &'static str {
                match self { $(Self::$tag => $title,)+ }
            }

            /// The tag of that name in a rig file.
            #[must_use]
            pub fn from_key(key: &str) -> Option<Self> {
                Self::ALL.iter().copied().find(|tag| tag.key() == key)
            }

            /// Its place in a table of all of them.
            #[must_use]
            pub const fn index(self) -> usize {
                self as usize
            }
        }
    };
}

tags! {
    /// Discrete inputs. `On` always means a closed contact. Those called "healthy" are normally
    /// closed: a broken wire or a dead supply reads `Off`, which is the unsafe sense.
    Contact {
        /// The wired emergency-stop circuit is closed. Healthy when on.
        EmergencyStop = "emergency_stop", "emergency-stop circuit";
        /// The guard is shut. Healthy when on.
        Guard = "guard", "guard";
        /// The work clamp holds. Healthy when on.
        Clamp = "clamp", "work clamp";
        /// The hard limit at the low end is free. Healthy when on.
        LimitMinus = "limit_minus", "travel limit, chuck side";
        /// The hard limit at the high end is free. Healthy when on.
        LimitPlus = "limit_plus", "travel limit, tail side";
        /// The flame safeguard sees a flame. On is a flame; a broken wire reads no flame.
        Flame = "flame", "flame sensor";
        /// The flashback arrestor's thermal contact. Healthy when on.
        Arrestor = "arrestor", "flashback arrestor";
        /// Extraction flow is proved. Healthy when on.
        Extraction = "extraction", "extraction";
        /// Plant air is present. Healthy when on.
        PlantAir = "plant_air", "plant air";
        /// The gas detector shows neither alarm nor fault. Healthy when on.
        GasDetector = "gas_detector", "gas detector";
        /// The oxygen monitor shows neither alarm nor fault. Healthy when on.
        OxygenMonitor = "oxygen_monitor", "oxygen monitor";
        /// The fire detection shows neither alarm nor fault. Healthy when on.
        FireDetection = "fire_detection", "fire detection";
        /// The enabling key at the machine is turned on. A broken wire reads off.
        EnablingKey = "enabling_key", "enabling key";
        /// The start button is pressed.
        StartButton = "start_button", "start button";
        /// The hold button is at rest. Normally closed: off is pressed or a broken wire.
        HoldButtonRest = "hold_button_rest", "hold button";
        /// The stop button is at rest. Normally closed: off is pressed or a broken wire.
        StopButtonRest = "stop_button_rest", "stop button";
        /// The abort button is at rest. Normally closed: off is pressed or a broken wire.
        AbortButtonRest = "abort_button_rest", "abort button";
        /// The reset button is pressed.
        ResetButton = "reset_button", "reset button";
        /// The accept button is pressed: "done", "yes", "I am here".
        AcceptButton = "accept_button", "accept button";
        /// The button that calls a band wet is pressed.
        WetButton = "wet_button", "wet button";
        /// The button that reports a bad flame (popping, squeal) is pressed.
        BadFlameButton = "bad_flame_button", "bad-flame button";
        /// The button that reports a lifting coat is pressed.
        CoatLiftingButton = "coat_lifting_button", "coat-lifting button";
        /// The hold-to-run button is pressed.
        HoldToRun = "hold_to_run", "hold-to-run button";
        /// The torch has not bumped against anything. Healthy when on.
        Standoff = "standoff", "stand-off switch";
        /// The hardware watchdog relay is picked up. Healthy when on.
        WatchdogRelay = "watchdog_relay", "watchdog relay";
        /// The fuel valve is proved shut.
        FuelShut = "fuel_shut", "fuel valve shut";
        /// The oxygen valve is proved shut.
        OxygenShut = "oxygen_shut", "oxygen valve shut";
        /// The drive's torque is allowed by the wired safety circuit.
        TorqueAllowed = "torque_allowed", "drive torque allowed";
        /// The hopper is above its low mark. Healthy when on.
        HopperLevel = "hopper_level", "hopper level";
        /// The torch is at the park.
        ParkSwitch = "park_switch", "park switch";
        /// A sensor on the part itself sees it turn.
        PartTurning = "part_turning", "part turning";
    }
}

tags! {
    /// Analogue inputs, in the unit their row of the rig file is written in.
    Analogue {
        /// Fuel gas pressure at the torch, behind the isolation valve; bar.
        FuelPressure = "fuel_pressure", "fuel pressure";
        /// Oxygen pressure at the torch, behind the isolation valve; bar.
        OxygenPressure = "oxygen_pressure", "oxygen pressure";
        /// Carrier or shroud air pressure; bar.
        CarrierPressure = "carrier_pressure", "carrier pressure";
        /// Extraction flow, share of nominal; %.
        ExtractionFlow = "extraction_flow", "extraction flow";
        /// Part temperature by contact or long-wave sensor, for preheat and interpass; degC.
        PartTemperature = "part_temperature", "part temperature";
        /// Coat temperature by short-wave pyrometer, for fusing; degC.
        FuseTemperature = "fuse_temperature", "fusing pyrometer";
        /// Powder in the hopper; g.
        HopperWeight = "hopper_weight", "hopper weight";
        /// Back-pressure of the powder hose; bar.
        BackPressure = "back_pressure", "hose back-pressure";
        /// Flammable gas in the cell, share of the lower explosive limit; %.
        FlammableGas = "flammable_gas", "flammable gas";
        /// Oxygen in the cell's air; %.
        OxygenInAir = "oxygen_in_air", "oxygen in air";
    }
}

tags! {
    /// Discrete outputs. De-energised is safe for all of them.
    Coil {
        /// Powder feeder runs.
        Powder = "powder", "powder feeder";
        /// Carrier or shroud air flows.
        CarrierAir = "carrier_air", "carrier air";
        /// Fuel valve open.
        Fuel = "fuel", "fuel valve";
        /// Oxygen valve open.
        Oxygen = "oxygen", "oxygen valve";
        /// Igniter sparks.
        Igniter = "igniter", "igniter";
        /// Cooling air flows.
        CoolingAir = "cooling_air", "cooling air";
        /// Extraction is asked to run.
        Extraction = "extraction", "extraction";
        /// The watchdog's beat.
        Watchdog = "watchdog", "watchdog beat";
        /// Red lamp: danger (IEC 60073).
        LampRed = "lamp_red", "red lamp";
        /// Yellow lamp: abnormal (IEC 60073).
        LampYellow = "lamp_yellow", "yellow lamp";
        /// Green lamp: normal (IEC 60073).
        LampGreen = "lamp_green", "green lamp";
        /// Blue lamp: a person must act (IEC 60073).
        LampBlue = "lamp_blue", "blue lamp";
        /// White lamp: no special meaning (IEC 60073).
        LampWhite = "lamp_white", "white lamp";
        /// Horn.
        Horn = "horn", "horn";
        /// Gas supply outside the cell open; de-energised shuts it and vents the pipe behind.
        Supply = "supply", "gas supply isolation";
        /// The torch is swung away from the part.
        SwingAway = "swing_away", "torch swing-away";
    }
}

impl Analogue {
    /// The unit it is written and shown in.
    #[must_use]
    pub const fn unit(self) -> &'static str {
        match self {
            Self::FuelPressure
            | Self::OxygenPressure
            | Self::CarrierPressure
            | Self::BackPressure => "bar",
            Self::ExtractionFlow | Self::OxygenInAir => "%",
            Self::FlammableGas => "% LEL",
            Self::PartTemperature | Self::FuseTemperature => "degC",
            Self::HopperWeight => "g",
        }
    }
}
