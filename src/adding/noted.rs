//! What else belongs into the record of a part.

use evenpass_core::inspection::{DyeResult, Limit};

use super::{Adding, Field, NotAdded, Why, Wrong, words};
use crate::particulars::is_own;
use crate::record::{Inspected, Said};

/// Something that is otherwise than it should be, as it was typed.
#[derive(Debug, Clone, Copy)]
pub struct Deviation<'a> {
    /// The limit that is not kept, where it is one.
    pub limit: Option<Limit>,
    /// What is otherwise.
    pub words: &'a str,
    /// Why that is taken.
    pub reason: &'a str,
    /// What should be.
    pub from: Option<&'a str>,
    /// What is.
    pub to: Option<&'a str>,
}

fn words_if(field: Field, text: Option<&str>, wanted: &str) -> Result<Option<String>, Wrong> {
    text.map(|text| words(field, text, wanted)).transpose()
}

/// What a dye check showed.
///
/// # Errors
/// The part is not finished, or the words are more than a line.
pub fn dye_check(
    adding: &Adding,
    result: DyeResult,
    showed: Option<&str>,
) -> Result<Said, NotAdded> {
    adding.must_be_finished()?;
    let words = words_if(Field::Showed, showed, "where and what showed")?;
    Ok(Said::DyeChecked { result, words })
}

/// Something that an inspector wants to see before the part is passed.
///
/// # Errors
/// It is not said what, in a line.
pub fn hold_point(point: &str) -> Result<Said, Wrong> {
    Ok(Said::HoldPoint { point: words(Field::Point, point, "what is to be seen")? })
}

/// A coupon that was sprayed along, or what became of it.
///
/// # Errors
/// It is not said which, or what of it, in a line each.
pub fn coupon(coupon: &str, what: &str) -> Result<Said, Wrong> {
    let coupon = words(Field::Coupon, coupon, "the coupon's number")?;
    Ok(Said::Coupon { coupon, words: words(Field::Words, what, "what of it")? })
}

/// What is to be known of the part, by name.
///
/// # Errors
/// One of the two is not a line, or the record gives the name by itself.
pub fn particular(name: &str, what: &str) -> Result<Said, Wrong> {
    let name = words(Field::Name, name, "what it is, such as \"drawing\"")?;
    if is_own(&name) {
        let found = format!("found \"{name}\", which the record gives by itself");
        return Err(Wrong::of(Field::Name, Why::new(found, "another name")));
    }
    Ok(Said::Particular { name, words: words(Field::Words, what, "what is to be known")? })
}

/// Something that is otherwise than it should be, for which somebody signs.
///
/// # Errors
/// It is not said what, or why, in a line each.
pub fn deviation(told: &Deviation<'_>) -> Result<Said, Wrong> {
    Ok(Said::Deviated {
        limit: told.limit,
        words: words(Field::Words, told.words, "what is otherwise")?,
        reason: words(Field::Reason, told.reason, "why that is taken")?,
        from: words_if(Field::From, told.from, "what should be")?,
        to: words_if(Field::To, told.to, "what is")?,
    })
}

/// That an inspector has seen what a hold point asked for.
///
/// # Errors
/// No hold point of that number is open.
pub fn release(adding: &Adding, number: i64) -> Result<Said, NotAdded> {
    let marks = adding.marks()?;
    let held = Inspected::of(&marks).held();
    if held.iter().any(|(kept, _)| kept.number == number) {
        return Ok(Said::HoldReleased { mark: number });
    }
    let open: Vec<String> =
        held.iter().map(|(kept, point)| format!("{} ({point})", kept.number)).collect();
    let open = if open.is_empty() { "none is open".to_owned() } else { open.join(", ") };
    let told = format!("found {number}, which is no open hold point of run {}", adding.id());
    Err(Wrong::of(Field::Number, Why::new(told, open)).into())
}
