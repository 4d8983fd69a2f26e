//! The matrix as it is in force on one rig: figures, tags, and where each signal comes from.

use core::time::Duration;

use serde::Serialize;

use super::figures::{FigureProblem, figures};
use super::matrix::{ROWS, Row, Source, Watch};
use crate::image::{Analogue, Contact};
use crate::rig::Rig;

/// Where the signal of a row comes from on a rig.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Origin {
    /// A discrete input of the field I/O, by its number.
    Input(u16),
    /// An input register of the field I/O, by its number.
    Register(u16),
    /// The tachometer's registers.
    Tachometer,
    /// The carriage drive, over its line.
    Drive,
    /// The spindle's inverter, over its line.
    Inverter,
    /// The field I/O module itself.
    Module,
    /// The controller itself.
    Controller,
    /// A person, or the sequence for one.
    Person,
    /// This rig has no such device: the row never speaks.
    NotFitted,
}

impl Origin {
    /// In words.
    #[must_use]
    pub fn words(self) -> String {
        match self {
            Self::Input(number) => format!("input {number}"),
            Self::Register(number) => format!("register {number}"),
            Self::Tachometer => "tachometer".to_owned(),
            Self::Drive => "drive".to_owned(),
            Self::Inverter => "inverter".to_owned(),
            Self::Module => "field I/O".to_owned(),
            Self::Controller => "controller".to_owned(),
            Self::Person => "person".to_owned(),
            Self::NotFitted => "not fitted".to_owned(),
        }
    }
}

/// One row as it is in force on a rig.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct InForce {
    /// The row.
    pub row: &'static Row,
    /// Its set-point in the row's unit; none for a row that compares with nothing.
    pub set_point: Option<f64>,
    /// Delay before it counts.
    pub delay: Duration,
    /// Delay before it counts as gone.
    pub delay_off: Duration,
    /// Instrument tag of this rig.
    pub tag: Option<String>,
    /// Where its signal comes from.
    pub origin: Origin,
}

impl InForce {
    /// What must be so, in words, with the figure in force.
    #[must_use]
    pub fn condition(&self) -> String {
        self.row.condition(self.set_point.unwrap_or_default())
    }

    /// Whether the rig's set-point is stricter than the program's.
    #[must_use]
    pub fn is_set_point_tightened(&self) -> bool {
        self.set_point != self.row.set_point.map(|own| own.value)
    }

    /// Whether a delay of the rig's is stricter than the program's.
    #[must_use]
    pub fn are_delays_tightened(&self) -> bool {
        self.delay != self.row.delay || self.delay_off != self.row.delay_off
    }
}

/// Every row as it is in force on a rig, in the matrix's order.
///
/// # Errors
/// [`FigureProblem`] when the rig names an unknown row, loosens a figure or gives none.
pub fn in_force(rig: &Rig) -> Result<Vec<InForce>, FigureProblem> {
    let figures = figures(&rig.interlocks)?;
    Ok(ROWS
        .iter()
        .zip(figures)
        .map(|(row, figure)| InForce {
            row,
            set_point: row.set_point.map(|_| figure.set_point),
            delay: figure.delay,
            delay_off: figure.delay_off,
            tag: figure.tag,
            origin: origin(row, rig),
        })
        .collect())
}

fn origin(row: &Row, rig: &Rig) -> Origin {
    let contact = |tag: Contact| {
        let spec = rig.field.contacts.iter().find(|spec| spec.tag == tag);
        spec.and_then(|spec| spec.input).map_or(Origin::NotFitted, Origin::Input)
    };
    let analogue = |tag: Analogue| {
        let spec = rig.field.analogues.iter().find(|spec| spec.tag == tag);
        spec.and_then(|spec| spec.register).map_or(Origin::NotFitted, Origin::Register)
    };
    match (row.watch.source(), row.watch) {
        // A button that is not there can still be asked for from a seat.
        (Source::Contact(tag), Watch::PressedOr(..)) => match contact(tag) {
            Origin::NotFitted => Origin::Person,
            fitted => fitted,
        },
        (Source::Contact(tag), _) => contact(tag),
        (Source::Analogue(tag), _) => analogue(tag),
        (Source::Drive, _) => Origin::Drive,
        (Source::Tachometer, _) => Origin::Tachometer,
        (Source::Inverter, _) => Origin::Inverter,
        (Source::Module, _) => Origin::Module,
        (Source::Controller, _) => Origin::Controller,
        (Source::Person, _) => Origin::Person,
    }
}
