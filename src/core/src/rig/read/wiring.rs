//! The field I/O module: where each wire ends.

use super::super::fitting::{
    Fitting, analogue_fitting, coil_fitting, contact_fitting, may_be_inverted,
};
use super::super::{
    AnalogueSpec, CoilSpec, ContactSpec, FieldSpec, IsolationSpec, Sense, SwingAway,
    TachometerSpec, WatchdogSpec, bounds,
};
use super::LINES;
use crate::document::{Bounds, Problem, Table};
use crate::image::{Analogue, Coil, Contact};
use crate::quantity::{Fraction, Mass, Pressure, Temperature};

const SENSES: &[(&str, Sense)] = &[("straight", Sense::Straight), ("inverted", Sense::Inverted)];

const SWING_AWAY: &[(&str, SwingAway)] =
    &[("fitted", SwingAway::Fitted), ("not_fitted", SwingAway::NotFitted)];

pub(super) fn field(table: &mut Table<'_>) -> Option<FieldSpec> {
    let line = table.choice("line", LINES);
    let unit = super::devices::unit(table);
    let contacts = table.table("contact", contacts);
    let microampere = table.optional_number("microampere_per_count", &bounds::MICROAMPERE);
    let per_count = microampere.map(|given| given.unwrap_or(1.0));
    let analogues = table.table("analogue", |table| analogues(table, per_count));
    let coils = table.table("coil", coils);
    let tachometer = table.table("tachometer", tachometer);
    let cycle_register = table.address("cycle_register");
    let communication_register = table.optional_address("communication_register");
    let communication_loss = table.quantity("communication_loss", &bounds::FIELD_LOSS);
    let coil_latency = table.quantity("coil_latency", &bounds::COIL_LATENCY);
    let age_budget = table.quantity("age_budget", &bounds::AGE);
    let poll_every = table.quantity("poll_every", &bounds::POLL);
    let registers_every = table.quantity("registers_every", &bounds::POLL);
    let watchdog = table.table("watchdog", watchdog);
    let isolation = table.table("isolation", isolation);
    let swing_away = table.choice("swing_away", SWING_AWAY);
    Some(FieldSpec {
        line: line?,
        unit: unit?,
        contacts: contacts?,
        analogues: analogues?,
        coils: coils?,
        tachometer: tachometer?,
        cycle_register: cycle_register?,
        communication_register: communication_register?,
        communication_loss: communication_loss?,
        coil_latency: coil_latency?,
        age_budget: age_budget?,
        poll_every: poll_every?,
        registers_every: registers_every?,
        watchdog: watchdog?,
        isolation: isolation?,
        swing_away: swing_away?,
    })
}

/// Refuses `"not_fitted"` for a device every rig has.
fn fitted_if_needed<T>(
    table: &Table<'_>,
    key: &'static str,
    title: &str,
    fitting: Fitting,
    read: Option<T>,
) -> Option<Option<T>> {
    match (fitting, read) {
        (Fitting::Needed(reason), None) => {
            table.report_at(
                key,
                Problem::error(
                    table.path_of(key),
                    format!("a rig cannot do without this: {title}"),
                )
                .accepted("a device that is fitted and wired")
                .help(format!("fit it: {reason}")),
            );
            None
        }
        (_, read) => Some(read),
    }
}

fn contacts(table: &mut Table<'_>) -> Option<Vec<ContactSpec>> {
    let read: Vec<Option<ContactSpec>> = Contact::ALL
        .iter()
        .map(|&tag| {
            let wired = table.fitted(tag.key(), "{ input = ... }", |table| {
                let input = table.address("input");
                let sense = table.choice_or("sense", SENSES, Sense::Straight);
                let sense = sense.filter(|sense| {
                    let right = *sense == Sense::Straight || may_be_inverted(tag).is_some();
                    if !right {
                        table.report_at(
                            "sense",
                            Problem::error(table.path_of("sense"), format!("the {} contact cannot be turned round", tag.title()))
                                .accepted("\"straight\": a closed contact reads on")
                                .help("change the wiring: a broken wire must never read healthy, nor start anything"),
                        );
                    }
                    right
                });
                Some((input?, sense?))
            })?;
            let fitting = contact_fitting(tag);
            let wired = fitted_if_needed(table, tag.key(), tag.title(), fitting, wired)?;
            Some(ContactSpec {
                tag,
                input: wired.map(|(input, _)| input),
                absent: fitting.absent_reads(),
                sense: wired.map_or(Sense::Straight, |(_, sense)| sense),
            })
        })
        .collect();
    read.into_iter().collect()
}

fn analogues(table: &mut Table<'_>, per_count: Option<f64>) -> Option<Vec<AnalogueSpec>> {
    let read: Vec<Option<AnalogueSpec>> = Analogue::ALL
        .iter()
        .map(|&tag| {
            let form = "{ register = ..., at_4_ma = \"...\", at_20_ma = \"...\" }";
            let wired = table.fitted(tag.key(), form, |table| {
                let register = table.address("register");
                let ends = scale(table, tag);
                Some((register?, ends?))
            })?;
            let wired =
                fitted_if_needed(table, tag.key(), tag.title(), analogue_fitting(tag), wired)?;
            let (at_4_ma, at_20_ma) = wired.map_or((0.0, 0.0), |(_, ends)| ends);
            Some(AnalogueSpec {
                tag,
                register: wired.map(|(register, _)| register),
                microampere_per_count: per_count?,
                at_4_ma,
                at_20_ma,
            })
        })
        .collect();
    read.into_iter().collect()
}

/// The values at 4 and 20 mA, in the unit of the tag: bar, degC, g or percent.
fn scale(table: &mut Table<'_>, tag: Analogue) -> Option<(f64, f64)> {
    const SOURCE: &str = "ranges of transmitters";
    let ends = match tag {
        Analogue::FuelPressure
        | Analogue::OxygenPressure
        | Analogue::CarrierPressure
        | Analogue::BackPressure => {
            let bounds = Bounds::new(Pressure::from_bar(-1.0), Pressure::from_bar(100.0), SOURCE);
            let low = table.quantity("at_4_ma", &bounds);
            let high = table.quantity("at_20_ma", &bounds);
            (low.map(Pressure::bar), high.map(Pressure::bar))
        }
        Analogue::PartTemperature | Analogue::FuseTemperature => {
            let bounds = Bounds::new(
                Temperature::from_celsius(-50.0),
                Temperature::from_celsius(2000.0),
                SOURCE,
            );
            let low = table.quantity("at_4_ma", &bounds);
            let high = table.quantity("at_20_ma", &bounds);
            (low.map(Temperature::celsius), high.map(Temperature::celsius))
        }
        Analogue::HopperWeight => {
            let bounds = Bounds::new(Mass::ZERO, Mass::from_g(200_000.0), SOURCE);
            let low = table.quantity("at_4_ma", &bounds);
            let high = table.quantity("at_20_ma", &bounds);
            (low.map(Mass::g), high.map(Mass::g))
        }
        Analogue::ExtractionFlow | Analogue::FlammableGas | Analogue::OxygenInAir => {
            let bounds = Bounds::new(Fraction::from_ratio(0.0), Fraction::from_ratio(2.0), SOURCE);
            let low = table.quantity("at_4_ma", &bounds);
            let high = table.quantity("at_20_ma", &bounds);
            (low.map(Fraction::percent), high.map(Fraction::percent))
        }
    };
    let (low, high) = (ends.0?, ends.1?);
    if low < high {
        return Some((low, high));
    }
    table.report_at(
        "at_20_ma",
        Problem::error(table.path_of("at_20_ma"), "the value at 20 mA is not above that at 4 mA")
            .accepted("a rising scale")
            .help("exchange the two if they are reversed"),
    );
    None
}

fn coils(table: &mut Table<'_>) -> Option<Vec<CoilSpec>> {
    let read: Vec<Option<CoilSpec>> = Coil::ALL
        .iter()
        .map(|&coil| {
            let wired =
                table.fitted(coil.key(), "{ output = ... }", |table| table.address("output"))?;
            let output =
                fitted_if_needed(table, coil.key(), coil.title(), coil_fitting(coil), wired)?;
            Some(CoilSpec { coil, output })
        })
        .collect();
    read.into_iter().collect()
}

fn tachometer(table: &mut Table<'_>) -> Option<TachometerSpec> {
    let pulses = table.count(
        "pulses_per_turn",
        bounds::PULSES_PER_TURN,
        "a stopped spindle is seen within 0.5 s at 31.5 rpm",
    );
    let period_register = table.address("period_register");
    let count_register = table.address("count_register");
    let since_register = table.address("since_register");
    Some(TachometerSpec {
        pulses_per_turn: pulses?,
        period_register: period_register?,
        count_register: count_register?,
        since_register: since_register?,
    })
}

fn watchdog(table: &mut Table<'_>) -> Option<WatchdogSpec> {
    let relay = table.quantity("relay", &bounds::WATCHDOG_RELAY);
    let beat = table.quantity("beat", &bounds::WATCHDOG_BEAT);
    Some(WatchdogSpec { relay: relay?, beat: beat? })
}

fn isolation(table: &mut Table<'_>) -> Option<IsolationSpec> {
    let vented_below = table.quantity("vented_below", &bounds::VENTED);
    let within = table.quantity("within", &bounds::VENTING);
    Some(IsolationSpec { vented_below: vented_below?, within: within? })
}
