//! What stands in the fields of a form, read and checked: every figure with its unit.

use std::collections::BTreeSet;
use std::path::PathBuf;

use evenpass_core::learn::ThicknessReading;
use evenpass_core::quantity::{Hardness, Length, Quantity, Temperature};

use super::add::{Entered, name};
use crate::adding::typed::{self, At};
use crate::adding::{
    self, Adding, CoatRead, Deviation, Field, NotAdded, Taken, ThicknessRead, Why, Wrong,
};
use crate::panel::given::Given;
use crate::panel::texts;
use crate::people::NOT_SIGNED_IN;
use crate::record::{HardnessReading, Said, Store};

/// Readings that are taken at once; arbitrary, far more than a form has room for.
const MOST_READINGS: usize = 40;

/// What stands in the fields of a form.
pub(super) struct Typed<'a> {
    pub(super) given: Given<'a>,
    /// The folder of the catalogue that plans use.
    pub(super) catalogue: Option<PathBuf>,
}

impl<'a> Typed<'a> {
    /// Checks what was entered and writes it down; gives the first number.
    pub(super) fn write(
        &self,
        mut store: Store,
        id: &str,
        entered: Entered,
        person: &str,
    ) -> Result<i64, NotAdded> {
        // Whoever is let in without a PIN says who they are.
        let person = if person == NOT_SIGNED_IN { self.text(Field::Person) } else { person };
        let person = adding::person(person)?;
        if entered == Entered::TakenBack {
            let run = store.find(id)?;
            let number = self.number()?;
            let reason = self.text(Field::Reason);
            return adding::take_back(&mut store, number, Some(&run), reason, person);
        }
        let mut adding = Adding::to(store, id)?;
        let said = self.said(&adding, entered)?;
        let mut first = None;
        for one in said {
            let number = adding.keep(person, one)?;
            first.get_or_insert(number);
        }
        Ok(first.unwrap_or_default())
    }

    /// What is said by it.
    fn said(&self, adding: &Adding, entered: Entered) -> Result<Vec<Said>, NotAdded> {
        let one = match entered {
            Entered::Diameters => return self.diameters(adding),
            Entered::Thickness => self.thickness(adding)?,
            Entered::Hardness => self.hardness(adding)?,
            Entered::RunOut => {
                let read = self.read(Field::RunOut, typed::run_out)?;
                adding::run_out(adding, read, self.taken()?)?
            }
            Entered::DyeCheck => {
                let result = self.read(Field::DyeResult, typed::dye_result)?;
                adding::dye_check(adding, result, self.if_given(Field::Showed))?
            }
            Entered::HoldPoint => adding::hold_point(self.text(Field::Point))?,
            Entered::Release => adding::release(adding, self.number()?)?,
            Entered::Coupon => adding::coupon(self.text(Field::Coupon), self.text(Field::Words))?,
            Entered::Particular => {
                adding::particular(self.text(Field::Name), self.text(Field::Words))?
            }
            Entered::Deviation => adding::deviation(&Deviation {
                limit: self.read_if(Field::Limit, typed::limit)?,
                words: self.text(Field::Words),
                reason: self.text(Field::Reason),
                from: self.if_given(Field::From),
                to: self.if_given(Field::To),
            })?,
            Entered::Decision => {
                let verdict = self.read(Field::Verdict, typed::verdict)?;
                adding::decide(adding, verdict, self.if_given(Field::Reason))?
            }
            Entered::TakenBack => return Ok(Vec::new()),
        };
        Ok(vec![one])
    }

    fn diameters(&self, adding: &Adding) -> Result<Vec<Said>, NotAdded> {
        let rows = self.rows(Field::DiameterPlace, &[Field::Diameter, Field::Before])?;
        let mut read = CoatRead {
            diameters: Vec::new(),
            before: Vec::new(),
            temperature: self.read_if(Field::Temperature, quantity)?,
            temperature_within: self
                .read_if(Field::TemperatureWithin, typed::thermometer)?
                .unwrap_or(CoatRead::TEMPERATURE_WITHIN),
            micrometer: self
                .read_if(Field::Micrometer, typed::gauge)?
                .unwrap_or(CoatRead::MICROMETER),
            as_sprayed: self.given.one("as_sprayed") == "yes",
        };
        for row in &rows {
            let place = self.read_at(Field::DiameterPlace, *row, quantity)?;
            let found = self.read_at(Field::Diameter, *row, quantity)?;
            read.diameters.push(At { place, found });
            if !self.text_at(Field::Before, *row).is_empty() {
                let found = self.read_at(Field::Before, *row, quantity)?;
                read.before.push(At { place, found });
            }
        }
        let checked = adding::check(adding, &read, self.taken()?, self.catalogue.as_deref());
        Ok(checked.map_err(|no| in_row(no, &rows))?.into_iter().map(|zone| zone.said).collect())
    }

    fn thickness(&self, adding: &Adding) -> Result<Said, NotAdded> {
        let rows = self.rows(Field::ReadingPlace, &[Field::Reading])?;
        let readings = rows.iter().map(|row| {
            let at = self.read_at(Field::ReadingPlace, *row, quantity)?;
            Ok(ThicknessReading { at, thickness: self.read_at(Field::Reading, *row, quantity)? })
        });
        let read = ThicknessRead {
            readings: readings.collect::<Result<_, Wrong>>()?,
            stage: self.read(Field::Stage, typed::stage)?,
            temperature: self.read_if::<Temperature>(Field::Temperature, quantity)?,
        };
        adding::thickness(adding, &read, self.taken()?).map_err(|no| in_row(no, &rows))
    }

    fn hardness(&self, adding: &Adding) -> Result<Said, NotAdded> {
        let rows = self.rows(Field::ReadingPlace, &[Field::Reading])?;
        let hardness = |text: &str| Hardness::parse(text).map_err(|problem| problem.to_string());
        let readings = rows.iter().map(|row| {
            let at = self.read_at(Field::ReadingPlace, *row, quantity)?;
            Ok(HardnessReading { at, read: self.read_at(Field::Reading, *row, hardness)? })
        });
        let readings = readings.collect::<Result<_, Wrong>>()?;
        let coat = self.read_if(Field::Coat, typed::positive::<Length>)?;
        adding::hardness(adding, readings, coat, self.taken()?).map_err(|no| in_row(no, &rows))
    }

    fn taken(&self) -> Result<Taken<'a>, Wrong> {
        let on = self.read_if(Field::Date, typed::date)?;
        Ok(Taken { on, gauge: self.if_given(Field::Gauge) })
    }

    fn number(&self) -> Result<i64, Wrong> {
        let number = |text: &str| {
            let none = || format!("found `{text}`; accepted: {}", texts::adding::A_NUMBER);
            text.parse().map_err(|_| none())
        };
        self.read(Field::Number, number)
    }

    fn text(&self, field: Field) -> &'a str {
        self.given.one(name(field))
    }

    fn text_at(&self, field: Field, row: usize) -> &'a str {
        self.given.at(name(field), row)
    }

    fn if_given(&self, field: Field) -> Option<&'a str> {
        Some(self.text(field)).filter(|text| !text.is_empty())
    }

    fn read<T>(&self, field: Field, read: impl Fn(&str) -> Result<T, String>) -> Result<T, Wrong> {
        read(self.text(field)).map_err(|problem| Wrong::of(field, Why::new(problem, "")))
    }

    fn read_if<T>(
        &self,
        field: Field,
        read: impl Fn(&str) -> Result<T, String>,
    ) -> Result<Option<T>, Wrong> {
        self.if_given(field).map(|_| self.read(field, read)).transpose()
    }

    fn read_at<T>(
        &self,
        field: Field,
        row: usize,
        read: impl Fn(&str) -> Result<T, String>,
    ) -> Result<T, Wrong> {
        let problem = |problem| Wrong::at(field, row, Why::new(problem, ""));
        read(self.text_at(field, row)).map_err(problem)
    }

    /// The rows of which some field has something in it.
    fn rows(&self, first: Field, others: &[Field]) -> Result<Vec<usize>, Wrong> {
        let fields = || std::iter::once(&first).chain(others);
        let all: BTreeSet<usize> =
            fields().flat_map(|field| self.given.places(name(*field))).collect();
        let wrong = |found: String, accepted: String| {
            let row = all.first().copied().unwrap_or(0);
            Err(Wrong::at(first, row, Why::new(found, accepted)))
        };
        if all.len() > MOST_READINGS {
            let found = format!("{} {}", texts::adding::FOUND_READINGS, all.len());
            return wrong(found, format!("{} {MOST_READINGS}", texts::adding::UP_TO));
        }
        let is_given = |row: &usize| fields().any(|field| !self.text_at(*field, *row).is_empty());
        let given: Vec<usize> = all.iter().copied().filter(is_given).collect();
        if given.is_empty() {
            let found = texts::adding::NOTHING_GIVEN.to_owned();
            return wrong(found, texts::adding::WHAT_WAS_READ.to_owned());
        }
        Ok(given)
    }
}

fn quantity<Q: Quantity>(text: &str) -> Result<Q, String> {
    Q::parse(text).map_err(|problem| problem.to_string())
}

/// A refusal of one of several readings, at the row it was typed in.
fn in_row(problem: NotAdded, rows: &[usize]) -> NotAdded {
    match problem {
        NotAdded::Field(Wrong { field, row: Some(row), why }) => {
            let row = rows.get(row).copied().unwrap_or(row);
            NotAdded::Field(Wrong { field, row: Some(row), why })
        }
        other => other,
    }
}
