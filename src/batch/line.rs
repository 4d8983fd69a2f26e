//! What became of one part: one line of the shift's report.

use evenpass_core::batch::{Course, Drift, Fate, WhyMeasured};
use evenpass_core::catalogue::Catalogue;
use evenpass_core::learn::{Figures, Measured};
use evenpass_core::quantity::{Fraction, Mass, Time, Volume};
use evenpass_core::resume::Choice;
use jiff::Timestamp;
use serde::Serialize;

use crate::record::{
    BatchId, Deviation, MeasurementRecord, Outcome, RecordError, RunId, Store, Verdict,
};

/// What a person decided of a part.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Decision {
    /// What.
    pub verdict: Verdict,
    /// Why.
    pub reason: String,
    /// Who.
    pub person: String,
}

/// What a person settled of a run that did not come to its end.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Settled {
    /// What.
    pub choice: Choice,
    /// Why.
    pub reason: String,
    /// Who.
    pub person: String,
}

/// What was measured of a part's coat.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Found {
    /// Coat over what the catalogue's figures make, from the diameters.
    pub coat: Option<Fraction>,
    /// Share of the powder fed that stays on a wide part, from the weights.
    pub efficiency: Option<Fraction>,
    /// Who measured.
    pub person: String,
}

/// One attempt at a part.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct PartLine {
    /// Its batch.
    pub batch: BatchId,
    /// Which part, from 1.
    pub number: u32,
    /// Which attempt at it, from 1.
    pub attempt: usize,
    /// Its serial.
    pub serial: String,
    /// Its record; `None` for one that was rehearsed without any.
    pub run: Option<RunId>,
    /// When it was begun.
    pub started_at: Timestamp,
    /// When it ended.
    pub ended_at: Option<Timestamp>,
    /// From the start of the part before to its own; `None` for the first.
    pub takt: Option<Time>,
    /// How its run ended.
    pub outcome: Outcome,
    /// Whether its run made the whole part, from the beginning to the end.
    pub is_whole: bool,
    /// How it stands.
    pub fate: Fate,
    /// What was decided, by whom and why.
    pub decided: Option<Decision>,
    /// What was settled of it last, where it did not come to its end.
    pub settled: Option<Settled>,
    /// What ended or tripped it first.
    pub first_cause: Option<String>,
    /// Passes that were done.
    pub passes_done: u32,
    /// Passes planned.
    pub passes_planned: Option<u32>,
    /// How it went.
    pub course: Course,
    /// Powder that left the hopper.
    pub powder: Option<Mass>,
    /// Fuel and oxygen, by the plan's flow and the time the fuel's valve was open.
    pub gas: Option<(Volume, Volume)>,
    /// Why it was to be measured; `None` when it was not.
    pub to_be_measured: Option<WhyMeasured>,
    /// What was measured.
    pub found: Vec<Found>,
    /// Whether whoever inspects it measured its coat.
    pub inspected: bool,
    /// What was off the first good part.
    pub drifts: Vec<Drift>,
    /// What was done otherwise than planned or ordered.
    pub deviations: Vec<Deviation>,
    /// Who started it, where that is known.
    pub person: Option<String>,
}

impl PartLine {
    /// "7", or "7 again" when it was tried before.
    #[must_use]
    pub fn name(&self) -> String {
        match self.attempt {
            0 | 1 => self.number.to_string(),
            2 => format!("{} again", self.number),
            times => format!("{}, attempt {times}", self.number),
        }
    }

    /// How it stands, in a word or two.
    #[must_use]
    pub const fn standing(&self) -> &'static str {
        stands(self.fate)
    }
}

/// How an attempt stands, in a word or two.
#[must_use]
pub const fn stands(fate: Fate) -> &'static str {
    match fate {
        Fate::Running => "being made",
        Fate::Bare => "not begun",
        Fate::Made => "undecided",
        Fate::BrokenOff => "broken off",
        Fate::Stripped => "stripped",
        Fate::Pass => "pass",
        Fate::Hold => "hold",
        Fate::Scrap => "scrap",
    }
}

/// What the measurements of a run say of its coat.
///
/// # Errors
/// The records cannot be read.
pub fn found(
    store: &Store,
    run: &RunId,
    measurements: &[MeasurementRecord],
    catalogue: &Catalogue,
) -> Result<Vec<Found>, RecordError> {
    let Some(basis) = store.sprayed(run)?.known() else { return Ok(Vec::new()) };
    let own = measurements
        .iter()
        .filter(|kept| kept.withdrawn.is_none() && kept.measurement.run.as_ref() == Some(run));
    let mut all = Vec::new();
    for kept in own {
        let one = &kept.measurement;
        let (Measured::Part(part), Some(figures)) =
            (&one.measured, Figures::of(catalogue, &one.pair))
        else {
            continue;
        };
        let ratios: Vec<f64> = part
            .diameters
            .iter()
            .filter_map(|reading| basis.build_ratio(part, reading, &figures))
            .collect();
        #[expect(clippy::cast_precision_loss, reason = "a part has a few dozen readings")]
        let coat = (!ratios.is_empty())
            .then(|| Fraction::from_ratio(ratios.iter().sum::<f64>() / ratios.len() as f64));
        // ISO 17836: what the piece gained over what was fed, of what met it.
        let efficiency = part.weights.as_ref().zip(part.fed.as_ref()).and_then(|(weights, fed)| {
            let lands = basis.share_that_lands(figures.footprint)?.ratio();
            let met = fed.mass * lands;
            (met > Mass::ZERO).then(|| Fraction::from_ratio((weights.after - weights.before) / met))
        });
        all.push(Found { coat, efficiency, person: one.person.clone() });
    }
    Ok(all)
}
