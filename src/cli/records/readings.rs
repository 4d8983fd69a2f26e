//! `records hardness` and `records thickness`: what an inspector reads of a part.

use std::io::Write;

use clap::Args;
use evenpass_core::inspection::{CONVERSION_SOURCE, convert};
use evenpass_core::learn::ThicknessReading;
use evenpass_core::quantity::{Hardness, Length, Scale, Temperature};

use super::adding::{Adding, Taken};
use super::inspected::limits_sheet;
use super::told::Signs;
use super::{or_nothing, section};
use crate::adding::ThicknessRead;
use crate::adding::typed::{At, at, positive, stage};
use crate::cli::refused::Refused;
use crate::cli::sheet::{Layout, Sheet};
use crate::record::{CoatStage, HardnessReading};

/// What `records hardness` is told.
#[derive(Debug, Args)]
pub(in crate::cli) struct HardnessArguments {
    /// Which run: its id, the beginning of its id, or `latest`.
    run: String,
    /// A hardness with its scale and its place from the chuck face, such as "160 mm=655 HV0.5"; may
    /// be given more than once.
    #[arg(long = "reading", value_name = "PLACE=HARDNESS", value_parser = hardness_at, required = true, allow_hyphen_values = true)]
    readings: Vec<HardnessReading>,
    /// How thick the coat is there; the thinnest that `evenpass records thickness` took in when
    /// left out.
    #[arg(long, value_name = "LENGTH", value_parser = positive::<Length>)]
    coat: Option<Length>,
    #[command(flatten)]
    taken: Taken,
    #[command(flatten)]
    signs: Signs,
}

/// What `records thickness` is told.
#[derive(Debug, Args)]
pub(in crate::cli) struct ThicknessArguments {
    /// Which run: its id, the beginning of its id, or `latest`.
    run: String,
    /// A radial thickness and its place from the chuck face, such as "160 mm=0.36 mm"; may be given
    /// more than once.
    #[arg(long = "reading", value_name = "PLACE=THICKNESS", value_parser = at, required = true, allow_hyphen_values = true)]
    readings: Vec<At>,
    /// What the coat was then: as-sprayed, fused or finished.
    #[arg(long, value_name = "STAGE", value_parser = stage, default_value = "finished")]
    stage: CoatStage,
    /// Temperature of the part while it was read; cold when left out.
    #[arg(long, value_name = "TEMPERATURE", allow_hyphen_values = true)]
    temperature: Option<Temperature>,
    #[command(flatten)]
    taken: Taken,
    #[command(flatten)]
    signs: Signs,
}

/// Reads `PLACE=HARDNESS`.
fn hardness_at(text: &str) -> Result<HardnessReading, String> {
    let Some((place, read)) = text.split_once('=') else {
        return Err(format!(
            "found `{text}` without `=`; accepted: a place and a hardness with its scale, such as \
             \"160 mm=655 HV0.5\""
        ));
    };
    let at = place.trim().parse().map_err(|problem| format!("in `{text}`: {problem}"))?;
    let read = Hardness::parse(read).map_err(|problem| format!("in `{text}`: {problem}"))?;
    Ok(HardnessReading { at, read })
}

/// Takes hardness in.
pub(super) fn hardness(arguments: &HardnessArguments, to: &mut impl Write) -> Result<(), Refused> {
    let mut adding = Adding::to(&arguments.signs, &arguments.run)?;
    let (readings, taken) = (arguments.readings.clone(), arguments.taken.as_told());
    let said = crate::adding::hardness(&adding.of, readings, arguments.coat, taken)?;
    adding.add(said, to)?;
    let sheet = hardness_sheet(&arguments.readings);
    section("Hardness", &sheet, to)?;
    writeln!(to, "\nConverted figures are {CONVERSION_SOURCE}.")?;
    judged(&adding, to)
}

/// Each reading as it was read, and about what it is on two other scales.
fn hardness_sheet(readings: &[HardnessReading]) -> Sheet {
    let mut sheet = Sheet::new(
        2,
        &[
            ("at mm", Layout::Figure),
            ("read", Layout::Figure),
            ("about HV", Layout::Figure),
            ("about HRC", Layout::Figure),
        ],
    );
    for reading in readings {
        let about = |scale: Scale| {
            let other = reading.read.scale() != scale;
            let converted = convert(reading.read, scale).filter(|_| other);
            or_nothing(converted.map(|one| format!("{:.0}", one.about.value())))
        };
        let vickers = match reading.read.scale() {
            Scale::Vickers(_) => super::NOTHING.to_owned(),
            _ => about(Scale::Vickers(10.0)),
        };
        sheet.row([
            format!("{:.1}", reading.at.mm()),
            reading.read.to_string(),
            vickers,
            about(Scale::RockwellC),
        ]);
    }
    sheet
}

/// Takes thickness in.
pub(super) fn thickness(
    arguments: &ThicknessArguments,
    to: &mut impl Write,
) -> Result<(), Refused> {
    let mut adding = Adding::to(&arguments.signs, &arguments.run)?;
    let read = ThicknessRead {
        stage: arguments.stage,
        readings: arguments
            .readings
            .iter()
            .map(|reading| ThicknessReading { at: reading.place, thickness: reading.found })
            .collect(),
        temperature: arguments.temperature,
    };
    let said = crate::adding::thickness(&adding.of, &read, arguments.taken.as_told())?;
    adding.add(said, to)?;
    judged(&adding, to)
}

/// Prints the limits of the run's recipe with everything that was read so far.
pub(super) fn judged(adding: &Adding<'_>, to: &mut impl Write) -> Result<(), Refused> {
    Ok(section("Limits", &limits_sheet(&adding.of.judged()?), to)?)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_hardness_is_read_with_its_place_and_its_scale() {
        let read = hardness_at("160 mm=655 HV0.5").expect("a reading");
        assert_eq!((read.at.mm(), read.read.to_string().as_str()), (160.0, "655 HV0.5"));
        for (text, told) in [
            ("160 mm 655 HV0.5", "without `=`"),
            ("160 mm=655", "`655` has no scale"),
            ("160=655 HV0.5", "`160` has no unit"),
        ] {
            let found = hardness_at(text).expect_err(text);
            assert!(found.contains(told), "{found}");
        }
    }
}
