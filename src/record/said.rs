//! What a person can add to a run, a batch or a rig.

use evenpass_core::quantity::{Mass, Time, Volume};
use jiff::Timestamp;
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
}

impl Said {
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
        }
    }
}
