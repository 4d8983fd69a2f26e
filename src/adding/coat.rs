//! A coat that is measured between two passes or after the last one, held against the plan.

use std::path::{Path, PathBuf};

use evenpass_core::inspection::{CoatCheck, CoatFound, Cold, Decides, Hot, Place, cold, together};
use evenpass_core::learn::{
    AS_DRAWN, DiameterReading, Figures, Finish, Pair, RunBasis, is_same_place,
};
use evenpass_core::plan::forecast::counted;
use evenpass_core::quantity::{Length, Temperature, TemperatureStep};
use evenpass_core::recipe::Substrate;

use super::passes::{AsChanged, Passes, sprayed};
use super::typed::At;
use super::{Adding, Field, NotAdded, Taken, Why, Wrong, figures, measured_at};
use crate::files;
use crate::learning::{self, Whose};
use crate::record::{RunRecord, Said, ZonePasses};

/// A coat this many times as thick as forecast is a slip of the pen.
pub const MOST_BUILD: f64 = 3.0;
/// A part that is measured is between these.
pub const MEASURED_AT: (Temperature, Temperature) =
    (Temperature::from_celsius(-20.0), Temperature::from_celsius(400.0));
/// A part this cold is cold (ISO 1).
const COLD: Temperature = Temperature::from_celsius(20.0);

/// Diameters as they were read.
#[derive(Debug, Clone, PartialEq)]
pub struct CoatRead {
    /// With their coat.
    pub diameters: Vec<At>,
    /// Before coating, cold, at some of the same places; as drawn elsewhere.
    pub before: Vec<At>,
    /// The part's temperature while it was measured; cold when `None`.
    pub temperature: Option<Temperature>,
    /// How far that is usually off, one standard deviation.
    pub temperature_within: TemperatureStep,
    /// How far a reading of the micrometer is usually off, one standard deviation.
    pub micrometer: Length,
    /// It was measured before it was fused; until the run is complete it was.
    pub as_sprayed: bool,
}

impl CoatRead {
    /// How far the temperature is usually off, where nothing else is said.
    pub const TEMPERATURE_WITHIN: TemperatureStep = TemperatureStep::from_kelvin(5.0);
    /// How far the micrometer is usually off, where nothing else is said.
    pub const MICROMETER: Length = Length::from_mm(0.02);

    /// What was read at a place before coating, if it was.
    fn before(&self, reading: &At) -> Option<Length> {
        let mut read = self.before.iter();
        read.find(|before| is_same_place(before.place, reading.place)).map(|before| before.found)
    }

    fn hot(&self, found: Length) -> Hot {
        Hot {
            found,
            gauge: self.micrometer,
            temperature: self.temperature.unwrap_or(COLD),
            // What was left to cool is as cold as the shop.
            temperature_within: self
                .temperature
                .map_or(TemperatureStep::ZERO, |_| self.temperature_within),
        }
    }

    /// What the coat was when it was measured: as sprayed until the run has fused it.
    fn finish(&self, run: &RunRecord, basis: &RunBasis) -> Finish {
        if !self.as_sprayed && run.was_fused() { basis.finish } else { Finish::AsSprayed }
    }
}

/// One diameter, corrected.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Diameter {
    /// As it was read.
    pub read: At,
    /// Cold.
    pub cold: Cold,
    /// Cold, as it was planned.
    pub planned: Option<Length>,
}

/// What is said of one zone.
#[derive(Debug, Clone, PartialEq)]
pub struct ZoneChecked {
    /// Its name.
    pub zone: String,
    /// What was read in it.
    pub diameters: Vec<Diameter>,
    /// What that says.
    pub check: CoatCheck,
    /// Its passes, where people changed them.
    pub changed: Option<ZonePasses>,
    /// As it goes into the record.
    pub said: Said,
}

/// Holds diameters against the plan, zone by zone. It changes no pass and teaches no plan: that is
/// for whoever reads it. `catalogue` is the folder that plans use; the recipe's neighbours, else the
/// shipped one, when `None`.
///
/// # Errors
/// The run has no coat that could be measured, or a reading cannot be one of it.
pub fn check(
    adding: &Adding,
    read: &CoatRead,
    taken: Taken<'_>,
    catalogue: Option<&Path>,
) -> Result<Vec<ZoneChecked>, NotAdded> {
    let (basis, changed) = sprayed(adding.store(), adding.id())?;
    for (row, reading) in read.diameters.iter().enumerate() {
        adding.must_be_coated(Field::DiameterPlace, row, reading.place)?;
    }
    let alone = |before: &At| {
        !read.diameters.iter().any(|reading| is_same_place(reading.place, before.place))
    };
    if let Some(row) = read.before.iter().position(alone) {
        let place = read.before.get(row).map_or(Length::ZERO, |before| before.place);
        let told = format!("found a place of {place}, at which no diameter was given");
        let why = Why::new(told, "the same places as those of the diameters");
        return Err(Wrong::at(Field::Before, row, why).into());
    }
    measured_at(read.temperature)?;
    let recipe = PathBuf::from(&adding.run().recipe.name);
    let catalogue = files::catalogue(catalogue, Some(&recipe)).map_err(NotAdded::Files)?;
    let (measured_on, gauge) = adding.taken(taken)?;
    let mut checked = Vec::new();
    for zone in &basis.zones {
        let inside = |reading: &At| {
            basis.zone_at(reading.place).is_some_and(|found| found.zone == zone.zone)
        };
        let rows: Vec<usize> = (0..read.diameters.len())
            .filter(|row| read.diameters.get(*row).is_some_and(inside))
            .collect();
        if rows.is_empty() {
            continue;
        }
        let pair = Pair { torch: basis.torch.clone(), powder: zone.powder.clone() };
        let written = figures(&catalogue, &pair).map_err(NotAdded::Catalogue)?;
        let whose = Whose { rig: adding.rig(), kind: adding.run().summary.kind, by: None };
        // What plans stand on is what was expected.
        let expected = learning::lesson(adding.store(), whose, &pair, &written)?.in_force;
        let passes = Passes::of(adding, zone, &changed)?;
        let of = Zone { adding, read, basis: &basis, expected, passes };
        let readings: Vec<At> =
            rows.iter().filter_map(|row| read.diameters.get(*row)).copied().collect();
        let check = of.check(&readings, rows.first().copied().unwrap_or(0))?;
        let said = Said::CoatChecked {
            zone: zone.zone.clone(),
            diameters: readings
                .iter()
                .map(|one| DiameterReading {
                    at: one.place,
                    before: read.before(one),
                    found: one.found,
                })
                .collect(),
            temperature: read.temperature,
            check,
            measured_on,
            gauge: gauge.clone(),
        };
        let diameters = readings.into_iter().map(|one| of.corrected(one)).collect();
        let (zone, changed) = (zone.zone.clone(), of.passes.changed.cloned());
        checked.push(ZoneChecked { zone, diameters, check, changed, said });
    }
    Ok(checked)
}

/// One zone with what was expected of it.
struct Zone<'a> {
    adding: &'a Adding,
    read: &'a CoatRead,
    basis: &'a RunBasis,
    expected: Figures,
    passes: Passes<'a>,
}

impl Zone<'_> {
    /// The diameter at a place, cold, as it was planned.
    fn planned(&self, at: Length) -> Option<Length> {
        let finish = self.read.finish(self.adding.run(), self.basis);
        self.basis.diameter_at(at, &self.expected, finish)
    }

    fn corrected(&self, read: At) -> Diameter {
        let cold = cold(self.basis.part.substrate, &self.read.hot(read.found));
        Diameter { read, cold, planned: self.planned(read.place) }
    }

    /// What its readings say; `row` is the first of them among all.
    fn check(&self, readings: &[At], row: usize) -> Result<CoatCheck, NotAdded> {
        let places: Vec<Place> = readings
            .iter()
            .map(|reading| {
                let drawn = self.basis.part.diameter_at(reading.place);
                let planned = self.planned(reading.place);
                let read = self.read.before(reading);
                let before = read.unwrap_or(drawn);
                Place {
                    before,
                    before_within: read.map_or(AS_DRAWN, |_| self.read.micrometer),
                    planned: planned.map_or(before, |planned| before + (planned - drawn)),
                    hot: self.read.hot(reading.found),
                }
            })
            .collect();
        let all = together(self.basis.part.substrate, self.passes.share_done(), &places);
        let check = all.and_then(|all| {
            let found = CoatFound {
                before: all.before,
                expected: all.expected,
                measured: all.measured,
                within: all.within,
                passes: self.passes.made,
                alike: self.passes.alike(),
                efficiency: self.expected.efficiency,
            };
            CoatCheck::of(&found)
        });
        let believed = check.filter(|check| {
            let ratio = check.efficiency_found / check.efficiency;
            (1.0 / MOST_BUILD..=MOST_BUILD).contains(&ratio)
        });
        believed.ok_or_else(|| {
            let wanted = all.map_or_else(String::new, |all| {
                let diameter = all.before + all.expected * 2.0;
                format!(", where {diameter:.3} cold was expected")
            });
            let found: Vec<String> = readings.iter().map(|one| one.found.to_string()).collect();
            let why = Why::new(
                format!("found {}{wanted}", found.join(", ")),
                "a coat of a third of the expected one to three times that",
            )
            .help("the whole diameter is wanted, and the temperature it was read at");
            Wrong::at(Field::Diameter, row, why).into()
        })
    }
}

/// A diameter that was read on a part of that temperature as it is cold; cold already when `None`.
#[must_use]
pub fn as_cold(substrate: Substrate, found: Length, temperature: Option<Temperature>) -> Length {
    let temperature = temperature.unwrap_or(COLD);
    let (gauge, temperature_within) = (Length::ZERO, TemperatureStep::ZERO);
    cold(substrate, &Hot { found, gauge, temperature, temperature_within }).diameter
}

/// What a check says, by name and in words; `changed` are the zone's passes, where people changed them.
#[must_use]
pub fn told(
    check: &CoatCheck,
    changed: Option<&ZonePasses>,
    run: &RunRecord,
) -> Vec<(&'static str, String)> {
    let mut lines = vec![("passes", format!("{} of {}", check.passes.done, check.passes.planned))];
    lines.extend(changed.map(|changed| ("changed", as_changed(changed, check))));
    lines.extend([
        ("expected", format!("{:.3}", check.expected)),
        ("measured", format!("{:.3} ± {:.3} mm", check.measured, check.within.mm())),
        (
            "efficiency",
            format!(
                "{:.1} % → {:.1} % ± {:.1} %, with the density as it is believed",
                check.efficiency.percent(),
                check.efficiency_found.percent(),
                check.efficiency_within.percent()
            ),
        ),
    ]);
    let amount = if check.missing < 0.0 { "too many" } else { "missing" };
    lines.push((amount, format!("{:.2} passes of that size", check.missing.abs())));
    let proposed = match (check.extra(), check.spare()) {
        (0, 0) => "no change".to_owned(),
        (0, spare) => {
            format!("{} less: end spraying that much sooner", counted(spare as usize, "pass"))
        }
        (extra, _) => {
            let when = if run.was_fused() { "" } else { ", before the coat is fused" };
            format!("{} at {:.1} %{when}", more(extra), check.efficiency_found.percent())
        }
    };
    lines.push(("proposed", proposed));
    if run.was_fused() {
        lines.push(("", "the run is over: more passes are another run".to_owned()));
    }
    let change = format!("{:+.1} % of the efficiency", check.change() * 100.0);
    let change = match check.decides() {
        Decides::Measuring => change,
        Decides::Engineer => format!(
            "{change}: more than 10 % waits for the engineer, and is not applied to the next part \
             by itself"
        ),
    };
    lines.push(("change", change));
    lines
}

fn as_changed(changed: &ZonePasses, check: &CoatCheck) -> String {
    let share = AsChanged::of(changed, check);
    let percent = |share: f64| (share - 1.0) * 100.0;
    format!(
        "{} were planned; as people changed them all leave {:+.1} % of the planned coat, at the \
         efficiency measured {:+.1} %. What follows is held against them as changed",
        changed.planned,
        percent(share.expected_share),
        percent(share.measured_share)
    )
}

fn more(extra: u32) -> String {
    if extra == 1 { "1 more pass".to_owned() } else { format!("{extra} more passes") }
}
