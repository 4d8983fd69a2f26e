//! `records check`: a coat that is measured between two passes or after the last one, held against
//! the plan.

mod passes;

use std::io::Write;
use std::path::{Path, PathBuf};

use clap::Args;
use evenpass_core::inspection::{CoatCheck, CoatFound, Decides, Hot, Place, cold, together};
use evenpass_core::learn::{
    AS_DRAWN, DiameterReading, Figures, Finish, Pair, RunBasis, is_same_place,
};
use evenpass_core::plan::forecast::counted;
use evenpass_core::quantity::{Length, Quantity as _, Temperature, TemperatureStep};
use serde::Serialize;

use self::passes::{AsChanged, Passes};
use super::adding::{Adding, Taken, sprayed};
use super::measure::{MEASURED_AT, MOST_BUILD};
use super::reading::{At, at, gauge};
use super::told::{Signs, figures, lesson};
use super::{pairs, print_json, section};
use crate::cli::refused::Refused;
use crate::cli::sheet::{Layout, Sheet};
use crate::files;
use crate::record::{Outcome, Said, ZonePasses};

/// A part this cold is cold (ISO 1).
const COLD: Temperature = Temperature::from_celsius(20.0);

/// What `records check` is told.
#[derive(Debug, Args)]
pub(in crate::cli) struct CheckArguments {
    /// Which run: its id, the beginning of its id, or `latest`; it may be under way.
    run: String,
    /// A diameter with its coat and its place from the chuck face, such as "160 mm=51.552 mm"; may
    /// be given more than once.
    #[arg(long = "diameter", value_name = "PLACE=DIAMETER", value_parser = at, required = true, allow_hyphen_values = true)]
    diameters: Vec<At>,
    /// The diameter at one of these places before coating, cold; as drawn when left out.
    #[arg(long = "before", value_name = "PLACE=DIAMETER", value_parser = at, allow_hyphen_values = true)]
    before: Vec<At>,
    /// Temperature of the part while it was measured; cold when left out.
    #[arg(long, value_name = "TEMPERATURE", allow_hyphen_values = true)]
    temperature: Option<Temperature>,
    /// It was measured before it was fused; until the run is complete it was.
    #[arg(long)]
    as_sprayed: bool,
    /// How far that temperature is usually off, one standard deviation.
    #[arg(long, value_name = "STEP", value_parser = thermometer, default_value = "5 K")]
    temperature_within: TemperatureStep,
    /// How far a reading of the micrometer is usually off, one standard deviation.
    #[arg(long, value_name = "LENGTH", value_parser = gauge, default_value = "0.02 mm")]
    micrometer: Length,
    #[command(flatten)]
    taken: Taken,
    /// The folder with powders.toml and torches.toml that plans use; the recipe's neighbours, else
    /// the shipped one when left out.
    #[arg(long, value_name = "FOLDER")]
    catalogue: Option<PathBuf>,
    /// Print one JSON value for programs.
    #[arg(long)]
    json: bool,
    #[command(flatten)]
    signs: Signs,
}

/// One standard deviation of a part's temperature: from a fine thermocouple to a crayon (arbitrary).
fn thermometer(text: &str) -> Result<TemperatureStep, String> {
    let within = TemperatureStep::parse(text).map_err(|problem| problem.to_string())?;
    if (0.1..=50.0).contains(&within.kelvin()) {
        return Ok(within);
    }
    Err(format!("found `{text}`; accepted: 0.1 K to 50 K, one standard deviation"))
}

/// What is said of one zone.
#[derive(Debug, Serialize)]
struct Told<'a> {
    zone: &'a str,
    #[serde(flatten)]
    check: CoatCheck,
    change: f64,
    extra_passes: u32,
    spare_passes: u32,
    #[serde(skip_serializing_if = "Option::is_none")]
    changed: Option<AsChanged>,
    decides: Decides,
}

/// Checks a coat, tells what follows, and keeps it with the run. It changes no pass and teaches no
/// plan: that is for whoever reads it.
pub(super) fn check(arguments: &CheckArguments, to: &mut impl Write) -> Result<(), Refused> {
    let mut adding = Adding::to(&arguments.signs, &arguments.run)?;
    let (basis, changed) = sprayed(&adding.store, adding.id())?;
    for reading in &arguments.diameters {
        adding.must_be_coated("--diameter", reading.place)?;
    }
    let alone = |before: &&At| {
        !arguments.diameters.iter().any(|reading| is_same_place(reading.place, before.place))
    };
    if let Some(lone) = arguments.before.iter().find(alone) {
        return Err(Refused::Input(format!(
            "--before: found a place of {}, at which no --diameter was given\naccepted: the same \
             places as in --diameter\n",
            lone.place
        )));
    }
    if let Some(hot) = arguments.temperature.filter(|t| *t < MEASURED_AT.0 || *t > MEASURED_AT.1) {
        return Err(Refused::Input(format!(
            "--temperature: found {hot}\naccepted: {} to {}\n",
            MEASURED_AT.0, MEASURED_AT.1
        )));
    }
    let recipe = Path::new(&adding.run.recipe.name);
    let catalogue =
        files::catalogue(arguments.catalogue.as_deref(), Some(recipe)).map_err(Refused::Input)?;
    let mut checks = Vec::new();
    for zone in &basis.zones {
        let of_zone: Vec<&At> = arguments
            .diameters
            .iter()
            .filter(|reading| {
                basis.zone_at(reading.place).is_some_and(|found| found.zone == zone.zone)
            })
            .collect();
        if of_zone.is_empty() {
            continue;
        }
        let pair = Pair { torch: basis.torch.clone(), powder: zone.powder.clone() };
        let written = figures(&catalogue, &pair)?;
        let kind = adding.run.summary.kind;
        // What plans stand on is what was expected.
        let expected = lesson(&adding.store, adding.rig(), kind, &pair, &written)?.in_force;
        let passes = Passes::of(&adding, zone, &changed)?;
        let check = of(arguments, &adding, (&basis, &passes), &of_zone, &expected)?;
        checks.push((zone, of_zone, check, expected, passes));
    }
    let mut cautions = Vec::new();
    let (measured_on, gauge) = adding.taken(&arguments.taken, &mut cautions)?;
    let mut kept = Vec::new();
    for (zone, readings, check, ..) in &checks {
        let said = Said::CoatChecked {
            zone: zone.zone.clone(),
            diameters: readings
                .iter()
                .map(|one| DiameterReading {
                    at: one.place,
                    before: before(arguments, one),
                    found: one.found,
                })
                .collect(),
            temperature: arguments.temperature,
            check: *check,
            measured_on,
            gauge: gauge.clone(),
        };
        adding.add(said, &mut kept)?;
    }
    if arguments.json {
        let all: Vec<Told<'_>> = checks
            .iter()
            .map(|(zone, _, check, _, passes)| Told {
                zone: &zone.zone,
                check: *check,
                change: check.change(),
                extra_passes: check.extra(),
                spare_passes: check.spare(),
                changed: passes.changed.map(|changed| AsChanged::of(changed, check)),
                decides: check.decides(),
            })
            .collect();
        return Ok(print_json(&all, to)?);
    }
    to.write_all(&cautions)?;
    to.write_all(&kept)?;
    for (zone, readings, check, expected, passes) in &checks {
        let finish = finish(arguments, &adding, &basis);
        let sheet = diameters_sheet(arguments, (&basis, finish), readings, expected);
        section(&format!("Diameters in {}", zone.zone), &sheet, to)?;
        let said = check_sheet(check, passes.changed, adding.run.summary.outcome);
        section(&format!("Coat of {}", zone.zone), &said, to)?;
    }
    Ok(())
}

fn of(
    arguments: &CheckArguments,
    adding: &Adding<'_>,
    (basis, passes): (&RunBasis, &Passes<'_>),
    readings: &[&At],
    expected: &Figures,
) -> Result<CoatCheck, Refused> {
    let finish = finish(arguments, adding, basis);
    let places: Vec<Place> = readings
        .iter()
        .map(|reading| {
            let drawn = basis.part.diameter_at(reading.place);
            let planned = basis.diameter_at(reading.place, expected, finish);
            let read = before(arguments, reading);
            let before = read.unwrap_or(drawn);
            Place {
                before,
                before_within: read.map_or(AS_DRAWN, |_| arguments.micrometer),
                planned: planned.map_or(before, |planned| before + (planned - drawn)),
                hot: hot(arguments, reading.found),
            }
        })
        .collect();
    let all = together(basis.part.substrate, passes.share_done(), &places);
    let check = all.and_then(|all| {
        let found = CoatFound {
            before: all.before,
            expected: all.expected,
            measured: all.measured,
            within: all.within,
            passes: passes.made,
            alike: passes.alike(),
            efficiency: expected.efficiency,
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
        Refused::Input(format!(
            "--diameter: found {}{wanted}\naccepted: a coat of a third of the expected one to three \
             times that\nhelp: the whole diameter is wanted, and the temperature it was read at\n",
            found.join(", ")
        ))
    })
}

/// What was read at a place before coating, if it was.
fn before(arguments: &CheckArguments, reading: &At) -> Option<Length> {
    let mut read = arguments.before.iter();
    read.find(|before| is_same_place(before.place, reading.place)).map(|before| before.found)
}

/// What the coat was when it was measured: until the run is complete, as sprayed.
fn finish(arguments: &CheckArguments, adding: &Adding<'_>, basis: &RunBasis) -> Finish {
    match adding.run.summary.outcome {
        Outcome::Complete if !arguments.as_sprayed => basis.finish,
        _ => Finish::AsSprayed,
    }
}

fn hot(arguments: &CheckArguments, found: Length) -> Hot {
    Hot {
        found,
        gauge: arguments.micrometer,
        temperature: arguments.temperature.unwrap_or(COLD),
        // What was left to cool is as cold as the shop.
        temperature_within: arguments
            .temperature
            .map_or(TemperatureStep::ZERO, |_| arguments.temperature_within),
    }
}

fn diameters_sheet(
    arguments: &CheckArguments,
    (basis, finish): (&RunBasis, Finish),
    readings: &[&At],
    expected: &Figures,
) -> Sheet {
    let mut sheet = Sheet::new(
        2,
        &[
            ("at mm", Layout::Figure),
            ("read mm", Layout::Figure),
            ("cold mm", Layout::Figure),
            ("within mm", Layout::Figure),
            ("planned mm", Layout::Figure),
        ],
    );
    for reading in readings {
        let read = cold(basis.part.substrate, &hot(arguments, reading.found));
        let planned = basis.diameter_at(reading.place, expected, finish);
        sheet.row([
            format!("{:.1}", reading.place.mm()),
            format!("{:.3}", reading.found.mm()),
            format!("{:.3}", read.diameter.mm()),
            format!("{:.3}", read.within.mm()),
            super::or_nothing(planned.map(|planned| format!("{:.3}", planned.mm()))),
        ]);
    }
    sheet
}

fn check_sheet(check: &CoatCheck, changed: Option<&ZonePasses>, outcome: Outcome) -> Sheet {
    let mut sheet = pairs();
    let mut line = |name: &str, words: String| sheet.row([name.to_owned(), words]);
    line("passes", format!("{} of {}", check.passes.done, check.passes.planned));
    if let Some(changed) = changed {
        let share = AsChanged::of(changed, check);
        let percent = |share: f64| (share - 1.0) * 100.0;
        line(
            "changed",
            format!(
                "{} were planned; as people changed them all leave {:+.1} % of the planned coat, at \
                 the efficiency measured {:+.1} %. What follows is held against them as changed",
                changed.planned,
                percent(share.expected_share),
                percent(share.measured_share)
            ),
        );
    }
    line("expected", format!("{:.3}", check.expected));
    line("measured", format!("{:.3} ± {:.3} mm", check.measured, check.within.mm()));
    line(
        "efficiency",
        format!(
            "{:.1} % → {:.1} % ± {:.1} %, with the density as it is believed",
            check.efficiency.percent(),
            check.efficiency_found.percent(),
            check.efficiency_within.percent()
        ),
    );
    let amount = if check.missing < 0.0 { "too many" } else { "missing" };
    line(amount, format!("{:.2} passes of that size", check.missing.abs()));
    let proposed = match (check.extra(), check.spare()) {
        (0, 0) => "no change".to_owned(),
        (0, spare) => {
            format!("{} less: end spraying that much sooner", counted(spare as usize, "pass"))
        }
        (extra, _) => format!(
            "{} at {:.1} %, before the coat is fused",
            more(extra),
            check.efficiency_found.percent()
        ),
    };
    line("proposed", proposed);
    if outcome == Outcome::Complete {
        line("", "the run is over: more passes are another run".to_owned());
    }
    let change = format!("{:+.1} % of the efficiency", check.change() * 100.0);
    line(
        "change",
        match check.decides() {
            Decides::Measuring => change,
            Decides::Engineer => format!(
                "{change}: more than 10 % waits for the engineer, and is not applied to the next \
                 part by itself"
            ),
        },
    );
    line(
        "",
        "a check teaches no plan; `evenpass records measure` does, once the run is complete"
            .to_owned(),
    );
    sheet
}

fn more(extra: u32) -> String {
    if extra == 1 { "1 more pass".to_owned() } else { format!("{extra} more passes") }
}
