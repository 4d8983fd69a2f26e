//! What a person can add to a run, a batch or a rig.

use evenpass_core::inspection::{CoatCheck, DyeResult, Limit};
use evenpass_core::learn::{DiameterReading, ThicknessReading};
use evenpass_core::quantity::{Hardness, Length, Mass, Temperature, Time, Volume};
use evenpass_core::resume::{Checked, Choice};
use jiff::Timestamp;
use jiff::civil::Date;
use serde::{Deserialize, Serialize};

/// What becomes of a part.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Verdict {
    /// It goes to whoever ordered it.
    Pass,
    /// It waits for somebody to decide.
    Hold,
    /// It is lost.
    Scrap,
}

impl Verdict {
    /// All of them.
    pub const ALL: [Self; 3] = [Self::Pass, Self::Hold, Self::Scrap];

    /// The word it is stored and shown by.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Pass => "pass",
            Self::Hold => "hold",
            Self::Scrap => "scrap",
        }
    }
}

/// The gauge that a reading was taken with.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct GaugeUsed {
    /// Its serial number.
    pub serial: String,
    /// Until when its calibration was good, as it was known then; `None` where nobody had told.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub valid_until: Option<Date>,
}

/// A hardness and where it was read.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct HardnessReading {
    /// From the chuck face.
    pub at: Length,
    /// What was read.
    pub read: Hardness,
}

/// What a coat was when its thickness was read.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum CoatStage {
    /// With its pores.
    AsSprayed,
    /// After fusing.
    Fused,
    /// Machined to its size.
    Finished,
}

impl CoatStage {
    /// All of them.
    pub const ALL: [Self; 3] = [Self::AsSprayed, Self::Fused, Self::Finished];

    /// The words it is shown by.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::AsSprayed => "as sprayed",
            Self::Fused => "fused",
            Self::Finished => "finished",
        }
    }
}

/// What was said. Stored as JSON; a field that is added to a kind has a default, so that what was
/// said before is read.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case", tag = "what")]
#[non_exhaustive]
pub enum Said {
    /// What becomes of the run's part; the latest that was not taken back counts.
    Decided {
        /// What.
        verdict: Verdict,
        /// Why.
        reason: String,
    },
    /// A lot that is used from now on.
    Lot {
        /// Of what: a powder's or a fuel gas's key in the catalogue, or `oxygen`.
        of: String,
        /// The lot as its supplier names it.
        lot: String,
        /// The certificate, where there is one.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        certificate: Option<String>,
        /// What the bottle holds now, where it is a gas.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        contents: Option<Volume>,
    },
    /// The hopper was filled.
    Refilled {
        /// What is in it now.
        holds: Mass,
    },
    /// The torch's tip was cleaned.
    TipCleaned {
        /// The torch's key in the catalogue.
        torch: String,
        /// How long its flame had burned since it was cleaned before, where that is known.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        burned: Option<Time>,
    },
    /// Parts were blasted.
    Blasted {
        /// Which parts of the batch, by their numbers; empty where it is about one run's part.
        #[serde(default, skip_serializing_if = "Vec::is_empty")]
        parts: Vec<u32>,
        /// When that ended.
        ended: Timestamp,
    },
    /// What was said before counts no more.
    TakenBack {
        /// The number of that mark.
        mark: i64,
        /// Why.
        reason: String,
    },
    /// Hardness of the coat.
    Hardness {
        /// The readings.
        readings: Vec<HardnessReading>,
        /// How thick the coat is there.
        coat: Length,
        /// The day they were taken.
        measured_on: Date,
        /// With which tester.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        gauge: Option<GaugeUsed>,
    },
    /// Radial thickness of the coat, by position.
    Thickness {
        /// What the coat was then.
        stage: CoatStage,
        /// The readings.
        readings: Vec<ThicknessReading>,
        /// The part's temperature while they were taken; cold when `None`.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        temperature: Option<Temperature>,
        /// The day they were taken.
        measured_on: Date,
        /// With which gauge.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        gauge: Option<GaugeUsed>,
    },
    /// Total run-out of the coat.
    RunOut {
        /// What the dial gauge showed in a turn.
        read: Length,
        /// The day it was taken.
        measured_on: Date,
        /// With which gauge.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        gauge: Option<GaugeUsed>,
    },
    /// A dye check.
    DyeChecked {
        /// What showed.
        result: DyeResult,
        /// Where and what, in words.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        words: Option<String>,
    },
    /// The coat was measured between two passes or after the last one, and held against the plan.
    CoatChecked {
        /// In which zone.
        zone: String,
        /// The diameters.
        diameters: Vec<DiameterReading>,
        /// The part's temperature while they were taken; cold when `None`.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        temperature: Option<Temperature>,
        /// What it says.
        check: CoatCheck,
        /// The day it was measured.
        measured_on: Date,
        /// With which gauge.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        gauge: Option<GaugeUsed>,
    },
    /// A coupon was sprayed along, or what became of it.
    Coupon {
        /// Its number.
        coupon: String,
        /// What of it.
        words: String,
    },
    /// An inspector wants to see the part before it is passed.
    HoldPoint {
        /// What is to be seen.
        point: String,
    },
    /// An inspector has seen it.
    HoldReleased {
        /// The number of the mark that asked for it.
        mark: i64,
    },
    /// A gauge or a sensor was calibrated.
    GaugeCalibrated {
        /// What it is.
        gauge: String,
        /// Its serial number.
        serial: String,
        /// The day it was calibrated.
        calibrated_on: Date,
        /// The last day that is good for.
        valid_until: Date,
        /// The certificate, where there is one.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        certificate: Option<String>,
    },
    /// Something is otherwise than it should be, and whoever told it signs for that.
    Deviated {
        /// The limit that is not kept, where it is one.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        limit: Option<Limit>,
        /// What is otherwise.
        words: String,
        /// Why that is taken.
        reason: String,
        /// What should be.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        from: Option<String>,
        /// What is.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        to: Option<String>,
    },
    /// What is to be known of the part: drawing, serial number, job, heat of the steel ...
    Particular {
        /// Which.
        name: String,
        /// What.
        words: String,
    },
    /// What is done about a run that did not come to its end. One that goes on is settled by this and
    /// by the run that goes on with it, once that has begun.
    Settled {
        /// What.
        choice: Choice,
        /// Why.
        reason: String,
        /// What was found before.
        #[serde(default)]
        checked: Checked,
    },
}

impl Said {
    /// What is to be said of the gauge that it was read with; `None` where there was none, or its
    /// calibration was good.
    #[must_use]
    pub fn caution(&self) -> Option<String> {
        let (Self::Hardness { gauge, measured_on, .. }
        | Self::Thickness { gauge, measured_on, .. }
        | Self::RunOut { gauge, measured_on, .. }
        | Self::CoatChecked { gauge, measured_on, .. }) = self
        else {
            return None;
        };
        gauge.as_ref()?.caution(*measured_on)
    }

    /// The word that its kind is stored by.
    #[must_use]
    pub const fn word(&self) -> &'static str {
        match self {
            Self::Decided { .. } => "decided",
            Self::Lot { .. } => "lot",
            Self::Refilled { .. } => "refilled",
            Self::TipCleaned { .. } => "tip_cleaned",
            Self::Blasted { .. } => "blasted",
            Self::TakenBack { .. } => "taken_back",
            Self::Hardness { .. } => "hardness",
            Self::Thickness { .. } => "thickness",
            Self::RunOut { .. } => "run_out",
            Self::DyeChecked { .. } => "dye_checked",
            Self::CoatChecked { .. } => "coat_checked",
            Self::Coupon { .. } => "coupon",
            Self::HoldPoint { .. } => "hold_point",
            Self::HoldReleased { .. } => "hold_released",
            Self::GaugeCalibrated { .. } => "gauge_calibrated",
            Self::Deviated { .. } => "deviated",
            Self::Particular { .. } => "particular",
            Self::Settled { .. } => "settled",
        }
    }
}
