//! The drive and the spindle's motor.

use super::super::{
    AxisRegisters, AxisSpec, CommunicationLoss, GearTable, InverterRegisters, InverterSpec,
    PositionFrom, SpindleSpec, WordOrder, bounds,
};
use super::LINES;
use crate::document::{Bounds, Problem, Table};
use crate::quantity::{Range, SpindleSpeed, Time};

const POSITIONS_FROM: &[(&str, PositionFrom)] = &[
    ("carriage", PositionFrom::Carriage),
    ("motor", PositionFrom::Motor),
    ("steps", PositionFrom::Steps),
];
const WORD_ORDERS: &[(&str, WordOrder)] =
    &[("high_first", WordOrder::HighFirst), ("low_first", WordOrder::LowFirst)];

/// What a device may do by itself when the controller falls silent, and whether that will do.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Reaction {
    Stops,
    GoesOn,
}

const AXIS_REACTIONS: &[(&str, Reaction)] = &[
    ("quick_stop", Reaction::Stops),
    ("ramp_down", Reaction::Stops),
    ("disable", Reaction::Stops),
    ("nothing", Reaction::GoesOn),
    ("warn", Reaction::GoesOn),
    ("keep_moving", Reaction::GoesOn),
];

/// A hot part is turned on for a time and only then comes to rest: that is a stop here.
const SPINDLE_REACTIONS: &[(&str, Reaction)] = &[
    ("ride_on_then_ramp_down", Reaction::Stops),
    ("ramp_down", Reaction::Stops),
    ("nothing", Reaction::GoesOn),
    ("warn", Reaction::GoesOn),
    ("keep_turning", Reaction::GoesOn),
];

/// How a spindle is driven.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Driven {
    ByInverter,
    ByGears,
}

const DRIVEN: &[(&str, Driven)] = &[("inverter", Driven::ByInverter), ("gears", Driven::ByGears)];

pub(super) fn unit(table: &mut Table<'_>) -> Option<u8> {
    let unit = table.count("unit", bounds::UNITS, "addresses of the Modbus serial line")?;
    u8::try_from(unit).ok()
}

fn communication_loss(
    table: &mut Table<'_>,
    time: &Bounds<Time>,
    reactions: &[(&'static str, Reaction)],
) -> Option<CommunicationLoss> {
    table.table("communication_loss", |table| {
        let after = table.quantity("after", time);
        let code = table.address("code");
        let does = table.choice("does", reactions);
        if does == Some(Reaction::GoesOn) {
            let stops: Vec<String> = reactions
                .iter()
                .filter(|(_, reaction)| *reaction == Reaction::Stops)
                .map(|(word, _)| format!("\"{word}\""))
                .collect();
            table.report_at(
                "does",
                Problem::error(
                    table.path_of("does"),
                    "a device that goes on when the controller falls silent",
                )
                .accepted(format!("a reaction that stops: {}", stops.join(", ")))
                .help(
                    "set it in the device, write its code here, and prove it by pulling the plug",
                ),
            );
            return None;
        }
        does?;
        Some(CommunicationLoss { after: after?, reaction: code? })
    })
}

pub(super) fn axis(table: &mut Table<'_>) -> Option<AxisSpec> {
    let line = table.choice("line", LINES);
    let unit = unit(table);
    let registers = table.table("registers", |table| {
        let read_block = table.address("read_block");
        let write_block = table.address("write_block");
        let word_order = table.choice("word_order", WORD_ORDERS);
        Some(AxisRegisters {
            read_block: read_block?,
            write_block: write_block?,
            word_order: word_order?,
        })
    });
    let pulses_per_mm = table.number("pulses_per_mm", &bounds::PULSES_PER_MM);
    let position_from = table.choice("position_from", POSITIONS_FROM);
    let datum = table.quantity("datum", &bounds::POSITION);
    let travel = table.range("travel", &bounds::POSITION);
    let park = table.quantity("park", &bounds::POSITION);
    let park_tolerance = table.quantity("park_tolerance", &bounds::PARK_TOLERANCE);
    let positioning = table.quantity("positioning", &bounds::POSITIONING);
    let jog = table.quantity("jog", &bounds::JOG);
    let homing = table.quantity("homing", &bounds::POSITIONING);
    let ramp = table.quantity("ramp", &bounds::RAMP);
    let quick_stop = table.quantity("quick_stop", &bounds::RAMP);
    let backlash = table.quantity("backlash", &bounds::BACKLASH);
    let speed_step = table.quantity("speed_step", &bounds::SPEED_STEP);
    let age_budget = table.quantity("age_budget", &bounds::AGE);
    let poll_every = table.quantity("poll_every", &bounds::POLL);
    let communication_loss = communication_loss(table, &bounds::AXIS_LOSS, AXIS_REACTIONS);
    Some(AxisSpec {
        line: line?,
        unit: unit?,
        registers: registers?,
        pulses_per_mm: pulses_per_mm?,
        position_from: position_from?,
        datum: datum?,
        travel: travel?,
        park: park?,
        park_tolerance: park_tolerance?,
        positioning: positioning?,
        jog: jog?,
        homing: homing?,
        ramp: ramp?,
        quick_stop: quick_stop?,
        backlash: backlash?,
        speed_step: speed_step?,
        age_budget: age_budget?,
        poll_every: poll_every?,
        communication_loss: communication_loss?,
    })
}

pub(super) fn spindle(table: &mut Table<'_>) -> Option<SpindleSpec> {
    let driven = table.choice("driven_by", DRIVEN);
    match driven {
        Some(Driven::ByGears) => {
            let gears = table.quantities("gears", &bounds::GEARS, &bounds::SPINDLE);
            let gears = gears.filter(|gears| rising(table, gears));
            let speeds = gears
                .as_ref()
                .and_then(|gears| Some(Range { low: *gears.first()?, high: *gears.last()? }));
            // A contactor knows no speed: its reference register stays as it is.
            let motor = motor(table, speeds, Some(1.0));
            Some(SpindleSpec::Gears(GearTable { speeds: gears?, motor: motor? }))
        }
        Some(Driven::ByInverter) => {
            let speeds = table.range("speeds", &bounds::SPINDLE);
            let rpm_per_count = table.number("rpm_per_count", &bounds::RPM_PER_COUNT);
            motor(table, speeds, rpm_per_count).map(SpindleSpec::Inverter)
        }
        None => {
            table.leave_unread();
            None
        }
    }
}

fn rising(table: &Table<'_>, gears: &[SpindleSpeed]) -> bool {
    let wrong = gears.windows(2).position(|pair| matches!(pair, [slow, fast] if slow >= fast));
    if let Some(place) = wrong {
        let path = format!("{}[{}]", table.path_of("gears"), place + 2);
        let found = gears.get(place + 1).map_or_else(String::new, ToString::to_string);
        table.report_path(
            Problem::error(path, format!("{found} does not follow the speed before it"))
                .accepted("the speeds of the lever, each faster than the one before")
                .help("sort them, and look for one that is mistyped"),
        );
    }
    wrong.is_none()
}

fn motor(
    table: &mut Table<'_>,
    speeds: Option<Range<SpindleSpeed>>,
    rpm_per_count: Option<f64>,
) -> Option<InverterSpec> {
    let line = table.choice("line", LINES);
    let unit = unit(table);
    let registers = table.table("registers", |table| {
        let write_block = table.address("write_block");
        let read_block = table.address("read_block");
        Some(InverterRegisters { write_block: write_block?, read_block: read_block? })
    });
    let age_budget = table.quantity("age_budget", &bounds::AGE);
    let poll_every = table.quantity("poll_every", &bounds::POLL);
    let communication_loss = communication_loss(table, &bounds::SPINDLE_LOSS, SPINDLE_REACTIONS);
    let ride_on = table.quantity("ride_on", &bounds::RIDE_ON);
    Some(InverterSpec {
        line: line?,
        unit: unit?,
        registers: registers?,
        rpm_per_count: rpm_per_count?,
        speeds: speeds?,
        age_budget: age_budget?,
        poll_every: poll_every?,
        communication_loss: communication_loss?,
        ride_on: ride_on?,
    })
}
