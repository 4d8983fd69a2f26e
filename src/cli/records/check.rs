//! `records check`: a coat that is measured between two passes or after the last one, held against
//! the plan.

use std::io::Write;
use std::path::PathBuf;

use clap::Args;
use evenpass_core::inspection::{CoatCheck, Decides};
use evenpass_core::quantity::{Length, Temperature, TemperatureStep};
use serde::Serialize;

use super::adding::{Adding, Taken};
use super::told::Signs;
use super::{or_nothing, pairs, print_json, section};
use crate::adding::typed::{At, at, gauge, thermometer};
use crate::adding::{self, AsChanged, CoatRead, ZoneChecked};
use crate::cli::refused::Refused;
use crate::cli::sheet::{Layout, Sheet};
use crate::record::RunRecord;

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

impl<'a> Told<'a> {
    fn of(ZoneChecked { zone, check, changed, .. }: &'a ZoneChecked) -> Self {
        Self {
            zone,
            check: *check,
            change: check.change(),
            extra_passes: check.extra(),
            spare_passes: check.spare(),
            changed: changed.as_ref().map(|changed| AsChanged::of(changed, check)),
            decides: check.decides(),
        }
    }
}

/// Checks a coat, tells what follows, and keeps it with the run. It changes no pass and teaches no
/// plan: that is for whoever reads it.
pub(super) fn check(arguments: &CheckArguments, to: &mut impl Write) -> Result<(), Refused> {
    let mut adding = Adding::to(&arguments.signs, &arguments.run)?;
    let read = CoatRead {
        diameters: arguments.diameters.clone(),
        before: arguments.before.clone(),
        temperature: arguments.temperature,
        temperature_within: arguments.temperature_within,
        micrometer: arguments.micrometer,
        as_sprayed: arguments.as_sprayed,
    };
    let taken = arguments.taken.as_told();
    let checked = adding::check(&adding.of, &read, taken, arguments.catalogue.as_deref())?;
    let mut kept = Vec::new();
    for zone in &checked {
        adding.add(zone.said.clone(), &mut kept)?;
    }
    if arguments.json {
        let all: Vec<Told<'_>> = checked.iter().map(Told::of).collect();
        return Ok(print_json(&all, to)?);
    }
    to.write_all(&kept)?;
    for zone in &checked {
        section(&format!("Diameters in {}", zone.zone), &diameters_sheet(zone), to)?;
        let said = check_sheet(zone, adding.of.run());
        section(&format!("Coat of {}", zone.zone), &said, to)?;
    }
    Ok(())
}

fn diameters_sheet(zone: &ZoneChecked) -> Sheet {
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
    for one in &zone.diameters {
        sheet.row([
            format!("{:.1}", one.read.place.mm()),
            format!("{:.3}", one.read.found.mm()),
            format!("{:.3}", one.cold.diameter.mm()),
            format!("{:.3}", one.cold.within.mm()),
            or_nothing(one.planned.map(|planned| format!("{:.3}", planned.mm()))),
        ]);
    }
    sheet
}

fn check_sheet(zone: &ZoneChecked, run: &RunRecord) -> Sheet {
    let mut sheet = pairs();
    for (name, words) in adding::told(&zone.check, zone.changed.as_ref(), run) {
        sheet.row([name.to_owned(), words]);
    }
    let teaches =
        "a check teaches no plan; `evenpass records measure` does, once the run is complete";
    sheet.row([String::new(), teaches.to_owned()]);
    sheet
}
