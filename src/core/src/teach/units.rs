//! Inches typed for millimetres, and the other way round.

use super::Limits;
use crate::document::{Problem, inches};
use crate::quantity::Length;
use crate::recipe::{DIAMETER, suits};

/// Millimetres in an inch, exact by definition.
const INCH: f64 = 25.4;
/// A slip of the unit brings one figure as near to another as this factor (arbitrary).
const ALIKE: f64 = 1.5;
/// Diameters of one part are nearer to each other than this factor (arbitrary).
const UNLIKE: f64 = 10.0;

/// What speaks against a diameter: out of what the machine turns, unlike the part's length, or
/// unlike every other diameter of the part and a slip of the unit away from one.
pub(super) fn against(
    path: &str,
    diameter: Length,
    others: &[Length],
    length: Option<Length>,
    limits: &Limits,
) -> Option<Problem> {
    let turns = |found: Length| found >= DIAMETER.low && found <= limits.swing;
    let likely = |found: Length| length.is_none_or(|length| suits(length, found));
    let meant = [diameter * INCH, diameter / INCH];
    let slip = meant.into_iter().find(|meant| turns(*meant) && likely(*meant));
    if !turns(diameter) {
        let problem = Problem::error(path, format!("a diameter of {diameter} was typed"))
            .accepted(format!("{} to {}, the swing of this rig", DIAMETER.low, limits.swing));
        return Some(told(problem, diameter, slip, "measure it again"));
    }
    let slip = slip?;
    if let Some(length) = length.filter(|length| !suits(*length, diameter)) {
        let found = format!("a diameter of {diameter} does not go with a part {length} long");
        return Some(told(Problem::error(path, found), diameter, Some(slip), ""));
    }
    if others.iter().any(|other| is_within(UNLIKE, diameter, *other)) {
        return None;
    }
    let other = others.iter().find(|other| is_within(ALIKE, slip, **other))?;
    let found = format!("a diameter of {diameter} does not go with the other of {other}");
    let help = "write the outline into the recipe by hand if it really is so";
    Some(told(Problem::error(path, found), diameter, Some(slip), help))
}

/// What speaks against a length by the drawing: a slip of the unit away from the part.
pub(super) fn against_drawing(taught: Length, drawn: Length) -> Option<Problem> {
    let meant =
        [drawn * INCH, drawn / INCH].into_iter().find(|meant| is_within(ALIKE, *meant, taught))?;
    let found = format!("{drawn} by the drawing does not go with a part taken as {taught} long");
    Some(told(Problem::error("drawn_length", found), drawn, Some(meant), ""))
}

/// What was probably meant by a place that is no place: the same number in the other unit.
pub(super) fn place_meant(at: Length, right: impl Fn(Length) -> bool) -> Option<String> {
    inches(at, &right).or_else(|| {
        let meant = at * INCH;
        right(meant).then(|| format!("did you mean \"{} in\"?", number(at.mm())))
    })
}

fn is_within(factor: f64, one: Length, other: Length) -> bool {
    let ratio = one / other;
    (1.0 / factor..=factor).contains(&ratio)
}

/// With the other unit suggested, where that is what was meant.
fn told(problem: Problem, typed: Length, meant: Option<Length>, help: &str) -> Problem {
    let hint = meant.map(|meant| {
        if meant > typed {
            format!("did you mean \"{} in\" ({meant:.2})?", number(typed.mm()))
        } else {
            format!(
                "did you mean \"{} mm\"? {typed} is {} in",
                number(meant.mm()),
                number(meant.mm())
            )
        }
    });
    let problem = if help.is_empty() { problem } else { problem.help(help) };
    problem.hint(hint)
}

/// A number as it was typed, as far as that can be known.
fn number(value: f64) -> String {
    let text = crate::quantity::fixed(value, 3);
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}
