//! What an inspector reads of a finished part: hardness, thickness, run-out.

use evenpass_core::inspection::suits;
use evenpass_core::learn::ThicknessReading;
use evenpass_core::quantity::{Length, Scale, Temperature};

use super::{Adding, Field, NotAdded, Taken, Why, Wrong, measured_at};
use crate::record::{CoatStage, HardnessReading, Inspected, Said};

/// The thickest coat that anybody reads (arbitrary: twice what a recipe can ask for).
const THICKEST: Length = Length::from_mm(8.0);

/// Thickness as it was read, of one side.
#[derive(Debug, Clone, PartialEq)]
pub struct ThicknessRead {
    /// What the coat was then.
    pub stage: CoatStage,
    /// The readings.
    pub readings: Vec<ThicknessReading>,
    /// The part's temperature; cold when `None`.
    pub temperature: Option<Temperature>,
}

/// Hardness, on a coat of that thickness; of the thinnest that was read when `None`. A reading on a
/// coat that is too thin for its scale is of the part under it as well, and no reading of the coat.
///
/// # Errors
/// The part is not finished, nobody knows how thick the coat is, it is said to be thicker than any that
/// was read, it is too thin for a scale, or the place has none.
pub fn hardness(
    adding: &Adding,
    readings: Vec<HardnessReading>,
    coat: Option<Length>,
    taken: Taken<'_>,
) -> Result<Said, NotAdded> {
    adding.must_be_finished()?;
    let known = adding.marks()?;
    let read = Inspected::of(&known).thickness();
    if let (Some(coat), Some(read)) = (coat, read)
        && coat > read.high
    {
        let why =
            Why::new(format!("found {coat}"), format!("up to {}, the thickest read", read.high))
                .help("read the thickness where the hardness was read, and say that first");
        return Err(Wrong::of(Field::Coat, why).into());
    }
    let Some(coat) = coat.or_else(|| read.map(|read| read.low)) else {
        let why = Why::new(
            "nothing is given, and no thickness was read",
            "how thick the coat is where its hardness was read",
        );
        let help = "a scale is read through a coat that is too thin for it: HRC needs some 0.9 mm";
        return Err(Wrong::of(Field::Coat, why.help(help)).into());
    };
    for (row, reading) in readings.iter().enumerate() {
        adding.must_be_coated(Field::ReadingPlace, row, reading.at)?;
        if let Err(thin) = suits(reading.read, coat) {
            let instead: Vec<String> = thin.instead.iter().map(Scale::to_string).collect();
            let instead = match instead.as_slice() {
                [] => "a thicker coat, or a section of it under a microscope".to_owned(),
                all => format!("on this coat: {}", all.join(", ")),
            };
            let why = Why::new(thin.to_string(), instead);
            return Err(Wrong::at(Field::Reading, row, why).into());
        }
    }
    let (measured_on, gauge) = adding.taken(taken)?;
    Ok(Said::Hardness { readings, coat, measured_on, gauge })
}

/// Thickness, by position.
///
/// # Errors
/// No coat is that thick, the place has none, no part is that hot, or a finished coat is read of a part
/// that is not.
pub fn thickness(
    adding: &Adding,
    read: &ThicknessRead,
    taken: Taken<'_>,
) -> Result<Said, NotAdded> {
    if read.stage == CoatStage::Finished {
        adding.must_be_finished()?;
    }
    for (row, reading) in read.readings.iter().enumerate() {
        adding.must_be_coated(Field::ReadingPlace, row, reading.at)?;
        if reading.thickness < Length::ZERO || reading.thickness > THICKEST {
            let told = format!("found a thickness of {} at {}", reading.thickness, reading.at);
            let why = Why::new(told, format!("0 mm to {THICKEST}, of one side"));
            return Err(Wrong::at(Field::Reading, row, why).into());
        }
    }
    measured_at(read.temperature)?;
    let (measured_on, gauge) = adding.taken(taken)?;
    let (stage, temperature) = (read.stage, read.temperature);
    let readings = read.readings.clone();
    Ok(Said::Thickness { stage, readings, temperature, measured_on, gauge })
}

/// Total run-out.
///
/// # Errors
/// The part is not finished, or the day or the gauge is none.
pub fn run_out(adding: &Adding, read: Length, taken: Taken<'_>) -> Result<Said, NotAdded> {
    adding.must_be_finished()?;
    let (measured_on, gauge) = adding.taken(taken)?;
    Ok(Said::RunOut { read, measured_on, gauge })
}
