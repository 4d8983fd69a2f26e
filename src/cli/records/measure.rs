//! `records measure`: the diameters and the weight of a run's part.

use std::io::Write;
use std::path::Path;

use clap::Args;
use evenpass_core::learn::{
    DiameterReading, Fed, Figures, Finish, Measured, Pair, PartMeasured, RunBasis, Weights,
    contradiction, deposition_efficiency, is_same_place,
};
use evenpass_core::quantity::{Length, Mass, Temperature};
use evenpass_core::rig::Rig;
use jiff::Timestamp;
use jiff::civil::Date;

use super::told::{Teller, contradictory, day, figures, keep, lesson, print_lesson};
use crate::adding::typed::{At, at, balance, date, gauge, positive};
use crate::adding::{MOST_BUILD, measured_at, sprayed};
use crate::cli::refused::Refused;
use crate::cli::sheet::{Layout, Sheet};
use crate::record::{Measurement, Outcome, RunKind, RunRecord, Store};

/// One standard deviation of what left the hopper, where the record says it (arbitrary: a hopper
/// scale of 1 g, read twice, and what lies in the hose).
const HOPPER: Mass = Mass::from_g(2.0);
/// So is a part that got thinner by more than this in diameter.
const MOST_LOSS: Length = Length::from_mm(0.2);
/// Where a coat is to show more than this many times what a reading is usually off, it has to be
/// seen (arbitrary).
const SHOWS: f64 = 5.0;
/// A diameter that grew by no more than this many times what a reading is usually off shows no
/// coat (two standard deviations).
const UNSEEN: f64 = 2.0;
/// A part that differs by more than this from its drawing before coating is another part.
const OFF_THE_DRAWING: Length = Length::from_mm(1.0);

/// What `records measure` is told.
#[derive(Debug, Args)]
pub(in crate::cli) struct MeasureArguments {
    /// Which run: its id, the beginning of its id, or `latest`.
    run: String,
    /// A diameter with its coat and its place from the chuck face, such as "60 mm=42.35 mm"; may
    /// be given more than once.
    #[arg(long = "diameter", value_name = "PLACE=DIAMETER", value_parser = at, allow_hyphen_values = true)]
    diameters: Vec<At>,
    /// The diameter at one of these places before coating, cold; as drawn when left out.
    #[arg(long = "before", value_name = "PLACE=DIAMETER", value_parser = at, allow_hyphen_values = true)]
    before: Vec<At>,
    /// Temperature of the part while its diameters were measured; cold when left out.
    #[arg(long, value_name = "TEMPERATURE", allow_hyphen_values = true)]
    temperature: Option<Temperature>,
    /// It was measured before it was fused.
    #[arg(long)]
    as_sprayed: bool,
    /// Weight of the part before coating.
    #[arg(long, value_name = "MASS", value_parser = positive::<Mass>, requires = "weight_after")]
    weight_before: Option<Mass>,
    /// Weight of the part with its coat, before anything was machined off.
    #[arg(long, value_name = "MASS", value_parser = positive::<Mass>, requires = "weight_before")]
    weight_after: Option<Mass>,
    /// Powder that left the hopper in the run, as you weighed it; from the run's record when left
    /// out.
    #[arg(long, value_name = "MASS", value_parser = positive::<Mass>)]
    fed: Option<Mass>,
    /// How far a reading of the micrometer is usually off, one standard deviation: not the reading
    /// itself, which belongs to --diameter.
    #[arg(long, value_name = "LENGTH", value_parser = gauge, default_value = "0.02 mm")]
    micrometer: Length,
    /// How far a reading of the balance is usually off, one standard deviation.
    #[arg(long, value_name = "MASS", value_parser = balance, default_value = "0.5 g")]
    balance: Mass,
    /// The day it was measured, such as 2026-11-28; today when left out.
    #[arg(long, value_name = "DATE", value_parser = date)]
    date: Option<Date>,
    #[command(flatten)]
    teller: Teller,
}

/// Takes a measured part into the records.
pub(super) fn measure(arguments: &MeasureArguments, to: &mut impl Write) -> Result<(), Refused> {
    let person = arguments.teller.person()?;
    let mut store = arguments.teller.store()?;
    let run = store.run(&store.find(&arguments.run)?)?;
    let basis = teaches(&store, &run)?;
    let measured_on = day(arguments.date, Some(run.summary.started_at))?;
    let catalogue = arguments.teller.catalogue(Some(Path::new(&run.recipe.name)))?;
    let part = part(arguments, &run, &basis)?;
    let rig = Rig::read(&run.rig.text).map_err(|_| {
        Refused::Failure(format!(
            "run {}: its rig file is of another version of this program and cannot be read",
            run.summary.id
        ))
    })?;
    let mut drafts = Vec::new();
    for powder in basis.powders() {
        let pair = Pair { torch: basis.torch.clone(), powder: powder.to_owned() };
        let figures = figures(&catalogue, &pair)?;
        let mut of_pair = part.clone();
        of_pair
            .diameters
            .retain(|reading| basis.zone_at(reading.at).is_some_and(|zone| zone.powder == powder));
        believable(&of_pair, &basis, &figures)?;
        if of_pair.diameters.is_empty() && basis.powders().len() > 1 {
            continue;
        }
        not_yet(&store, &run, &pair, part.finish)?;
        drafts.push((
            figures,
            Measurement {
                kept_at: Timestamp::now(),
                measured_on,
                run: Some(run.summary.id.clone()),
                rig: rig.title.clone(),
                kind: run.summary.kind,
                pair,
                person: person.to_owned(),
                measured: Measured::Part(of_pair),
            },
        ));
    }
    for (figures, draft) in &drafts {
        keep(&mut store, draft, to)?;
        if let Measured::Part(part) = &draft.measured {
            print_part(part, &basis, figures, to)?;
        }
        let known = lesson(&store, &draft.rig, draft.kind, &draft.pair, figures)?;
        print_lesson(&known, to)?;
    }
    Ok(())
}

/// Where the powder of a run was released, if the run can teach anything.
fn teaches(store: &Store, run: &RunRecord) -> Result<RunBasis, Refused> {
    let refused = |why: &str| Err(Refused::Input(format!("run {}: {why}\n", run.summary.id)));
    if run.summary.kind == RunKind::Rehearsed {
        return refused(
            "it was rehearsed, and a rehearsal makes no part: nothing can be measured\nhelp: name \
             a run; `evenpass records list` shows them",
        );
    }
    if run.summary.outcome != Outcome::Complete {
        return refused(&format!(
            "it is {0}, and what lies on its part is not what was planned\naccepted: a run that \
             completed, held or not\nhelp: `evenpass records thickness {1}` and `evenpass records \
             hardness {1}` take its readings, and `evenpass records decide {1}` says what becomes of \
             the part",
            run.summary.outcome.word(),
            run.summary.id
        ));
    }
    Ok(sprayed(store, &run.summary.id)?.0)
}

/// The part as it was measured.
fn part(
    arguments: &MeasureArguments,
    run: &RunRecord,
    basis: &RunBasis,
) -> Result<PartMeasured, Refused> {
    let refused = |text: String| Err(Refused::Input(text));
    if arguments.diameters.is_empty() && arguments.weight_after.is_none() {
        return refused(
            "nothing was measured: give diameters with --diameter \"60 mm=42.35 mm\", or \
             --weight-before and --weight-after, or both\n"
                .to_owned(),
        );
    }
    for reading in &arguments.diameters {
        if basis.zone_at(reading.place).is_none() {
            let zones: Vec<String> = basis
                .zones
                .iter()
                .map(|zone| format!("{} to {} (\"{}\")", zone.from, zone.to, zone.zone))
                .collect();
            return refused(format!(
                "--diameter: found a place of {}, where no coat was planned\naccepted: {}\n",
                reading.place,
                zones.join(", ")
            ));
        }
    }
    let same = is_same_place;
    let before: Vec<(Length, Length)> =
        arguments.before.iter().map(|reading| (reading.place, reading.found)).collect();
    for (place, found) in &before {
        let drawn = basis.part.diameter_at(*place);
        if (*found - drawn).abs() > OFF_THE_DRAWING {
            return refused(format!(
                "--before: found {found} at {place}, where {drawn} is drawn\naccepted: {:.2} to \
                 {:.2}\nhelp: if it is right, this is another part than the run's\n",
                drawn - OFF_THE_DRAWING,
                drawn + OFF_THE_DRAWING
            ));
        }
    }
    if let Some(odd) = contradiction(&before, arguments.micrometer) {
        return Err(contradictory("--before", &odd));
    }
    if let Some(lone) = arguments
        .before
        .iter()
        .find(|before| !arguments.diameters.iter().any(|reading| same(reading.place, before.place)))
    {
        return refused(format!(
            "--before: found a place of {}, at which no --diameter was given\naccepted: the same \
             places as in --diameter\n",
            lone.place
        ));
    }
    measured_at(arguments.temperature)?;
    let diameters = arguments
        .diameters
        .iter()
        .map(|reading| DiameterReading {
            at: reading.place,
            before: mean(before.iter().filter(|(at, _)| same(*at, reading.place)).map(|at| at.1)),
            found: reading.found,
        })
        .collect();
    let weights = arguments
        .weight_before
        .zip(arguments.weight_after)
        .map(|(before, after)| Weights { before, after, balance: arguments.balance });
    let weighed = |mass| Fed { mass, within: arguments.balance * core::f64::consts::SQRT_2 };
    let told = |mass| Fed { mass, within: HOPPER };
    let recorded = run.summary.powder.filter(|mass| *mass > Mass::ZERO);
    Ok(PartMeasured {
        finish: if arguments.as_sprayed { Finish::AsSprayed } else { basis.finish },
        diameters,
        micrometer: arguments.micrometer,
        temperature: arguments.temperature,
        weights,
        fed: arguments.fed.map(weighed).or(recorded.map(told)),
    })
}

/// The mean of what was read at one place, however often.
fn mean(read: impl Iterator<Item = Length>) -> Option<Length> {
    let (sum, count) = read.fold((Length::ZERO, 0.0), |(sum, count), one| (sum + one, count + 1.0));
    (count > 0.0).then(|| sum / count)
}

/// What was measured must be able to be so: slips of the pen are caught here.
fn believable(part: &PartMeasured, basis: &RunBasis, figures: &Figures) -> Result<(), Refused> {
    for reading in &part.diameters {
        let before = reading.before.unwrap_or_else(|| basis.part.diameter_at(reading.at));
        let expected = basis.diameter_at(reading.at, figures, part.finish).unwrap_or(before);
        let coat = (expected - basis.part.diameter_at(reading.at)).max(Length::ZERO);
        let (low, high) = (before - MOST_LOSS, before + coat * MOST_BUILD);
        if reading.found < low || reading.found > high {
            return Err(Refused::Input(format!(
                "--diameter: found {} at {}, where the part had {before} and {expected:.2} was \
                 expected\naccepted: {low:.2} to {high:.2}\nhelp: the whole diameter is wanted, not \
                 the thickness; if it is right, this is another part than the run's\n",
                reading.found, reading.at
            )));
        }
    }
    let bare = part.diameters.iter().find(|reading| is_bare(part, reading, basis, figures));
    if let Some(bare) = bare {
        let before = bare.before.unwrap_or_else(|| basis.part.diameter_at(bare.at));
        return Err(Refused::Input(format!(
            "--diameter: found {} at {}, where the part had {before} before: no coat was measured \
             there\naccepted: more than {}, {} above what the part had\nhelp: give the diameter \
             with its coat; where none lies, leave the place out, and look what went wrong in the \
             run\n",
            bare.found,
            bare.at,
            before + part.micrometer * UNSEEN,
            part.micrometer * UNSEEN
        )));
    }
    if let Some(odd) = part.contradiction(basis) {
        return Err(contradictory("--diameter", &odd));
    }
    if let Some(weights) = part.weights {
        let gain = weights.after - weights.before;
        // Where nobody knows what was fed, it was about what was set.
        let set = Mass::from_g(basis.set_mass() * 1e3) * MOST_BUILD;
        let most = part.fed.map_or(set, |fed| fed.mass);
        if gain <= Mass::ZERO || gain > most {
            let fed = part
                .fed
                .map_or_else(String::new, |_| format!(", and {most:.1} of powder were fed"));
            return Err(Refused::Input(format!(
                "--weight-after: found {}, {gain:.2} more than before{fed}\naccepted: more than \
                 before, by no more than was fed\n",
                weights.after
            )));
        }
    }
    Ok(())
}

/// Whether a reading shows no coat where one has to be seen.
fn is_bare(
    part: &PartMeasured,
    reading: &DiameterReading,
    basis: &RunBasis,
    figures: &Figures,
) -> bool {
    let drawn = basis.part.diameter_at(reading.at);
    let coat = basis.diameter_at(reading.at, figures, part.finish).unwrap_or(drawn) - drawn;
    coat > part.micrometer * SHOWS && part.growth(reading, basis) <= part.micrometer * UNSEEN
}

/// A part is measured once in each finish: twice the same part is not two parts.
fn not_yet(store: &Store, run: &RunRecord, pair: &Pair, finish: Finish) -> Result<(), Refused> {
    let same =
        |measured: &Measured| matches!(measured, Measured::Part(part) if part.finish == finish);
    let before = store.measurements()?.into_iter().find(|kept| {
        let told = &kept.measurement;
        kept.withdrawn.is_none()
            && told.run.as_ref() == Some(&run.summary.id)
            && told.pair == *pair
            && same(&told.measured)
    });
    match before {
        None => Ok(()),
        Some(before) => Err(Refused::Input(format!(
            "run {}: its part was measured before, as measurement {}\nhelp: where that was a \
             mistake, withdraw it first: `evenpass records withdraw {} --person NAME --reason WHY`\n",
            run.summary.id, before.number, before.number
        ))),
    }
}

fn print_part(
    part: &PartMeasured,
    basis: &RunBasis,
    figures: &Figures,
    to: &mut impl Write,
) -> Result<(), Refused> {
    let mut sheet = Sheet::new(
        2,
        &[
            ("at mm", Layout::Figure),
            ("before mm", Layout::Figure),
            ("by the catalogue mm", Layout::Figure),
            ("measured mm", Layout::Figure),
            ("build", Layout::Figure),
        ],
    );
    for reading in &part.diameters {
        let before = reading.before.unwrap_or_else(|| basis.part.diameter_at(reading.at));
        let expected = basis.diameter_at(reading.at, figures, part.finish);
        let ratio = basis.build_ratio(part, reading, figures);
        sheet.row([
            format!("{:.1}", reading.at.mm()),
            format!("{:.3}", before.mm()),
            super::or_nothing(expected.map(|expected| format!("{:.3}", expected.mm()))),
            format!("{:.3}", reading.found.mm()),
            super::or_nothing(ratio.map(|ratio| format!("x {ratio:.3}"))),
        ]);
    }
    super::section("Diameters", &sheet, to)?;
    if let (Some(weights), Some(fed)) = (part.weights, part.fed)
        && let Some(share) = deposition_efficiency(weights.after - weights.before, fed.mass)
        && let Some(lands) = basis.share_that_lands(figures.footprint)
    {
        let gain = weights.after - weights.before;
        let stays = share.ratio() / lands.ratio() * 100.0;
        let stays = match stays {
            stays if stays <= 100.0 => format!("{stays:.1} % of that stays"),
            _ => "more than that would have stayed, which cannot be: look at the weights and at \
                  the powder fed"
                .to_owned(),
        };
        writeln!(
            to,
            "\nGain {gain:.1} of {:.1} fed: {:.2} % (ISO 17836). Of the plume {:.1} % meet the \
             part: {stays}.",
            fed.mass,
            share.percent(),
            lands.percent()
        )?;
    }
    Ok(())
}
