//! What a person types while a part is taught: one line, one thing.

use evenpass_core::quantity::{Length, Quantity as _};
use evenpass_core::recipe::End;
use evenpass_core::teach::PointKind;

/// What was typed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Typed {
    /// A nudge toward the tail, or toward the chuck.
    Nudge(Way),
    /// The last nudge again.
    Again,
    /// Another step.
    Step(Length),
    /// A point is taken where the torch is, or where its place was typed.
    Point {
        /// What it is of.
        what: PointKind,
        /// The place, where it was typed.
        at: Option<Length>,
        /// The diameter there, where it was typed.
        diameter: Option<Length>,
    },
    /// The last point is taken back.
    Back,
    /// Which end the first pass starts from.
    Starts(End),
    /// Length of the part by its drawing.
    Drawn(Length),
    /// The carriage finds its datum.
    Home,
    /// What the points make is shown, with its forecast.
    Look,
    /// The recipe is written.
    Save,
    /// Nothing is written.
    Quit,
}

/// Which way a nudge goes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Way {
    /// Toward the chuck.
    Chuck,
    /// Toward the tail.
    Tail,
}

/// The words, as they are explained.
pub(super) const EXPLAINED: &str = "\
  a, d                  nudge toward the chuck, toward the tail; Enter alone: the same again
  step 1 mm             the step of a nudge, up to 5 mm
  face                  take the torch's place as a face of the part
  edge                  ... as an edge of a zone; each two make a zone
  shoulder              ... as a shoulder, where the diameter changes at once
  diameter 50 mm        ... as a place of that diameter
                        each of these may have a diameter, and a place that was measured instead of
                        the torch's: edge diameter 50 mm at 100 mm
  back                  take the last point back
  length 300 mm         the part's length by its drawing
  starts chuck side     where the first pass starts; or: starts tail side
  home                  find the datum
  look                  show what the points make, and the forecast
  save                  write the recipe and end
  quit                  end without a recipe
";

/// What a line asks for.
///
/// # Errors
/// What is wrong with it, and what is accepted.
pub(super) fn understand(line: &str) -> Result<Typed, String> {
    let (word, rest) = line.split_once(' ').unwrap_or((line, ""));
    let rest = rest.trim();
    let length = || measure(word, rest);
    let kind = PointKind::ALL.into_iter().find(|kind| short(*kind) == word);
    if let Some(what) = kind {
        return point(what, rest);
    }
    match (word, rest) {
        ("", "") => Ok(Typed::Again),
        ("a", "") => Ok(Typed::Nudge(Way::Chuck)),
        ("d", "") => Ok(Typed::Nudge(Way::Tail)),
        ("step", _) => {
            let step = length()?;
            if step > Length::ZERO {
                Ok(Typed::Step(step))
            } else {
                Err("step: accepted is a length above 0 mm; a and d say which way".to_owned())
            }
        }
        ("length", _) => length().map(Typed::Drawn),
        ("starts", "chuck side" | "chuck") => Ok(Typed::Starts(End::ChuckSide)),
        ("starts", "tail side" | "tail") => Ok(Typed::Starts(End::TailSide)),
        ("starts", _) => Err("starts: accepted are `chuck side` and `tail side`".to_owned()),
        ("back", "") => Ok(Typed::Back),
        ("home", "") => Ok(Typed::Home),
        ("look", "") => Ok(Typed::Look),
        ("save", "") => Ok(Typed::Save),
        ("quit" | "q", "") => Ok(Typed::Quit),
        _ => Err(format!("\"{line}\" is none of these:\n{}", EXPLAINED.trim_end())),
    }
}

/// The word of a kind of point.
pub(super) const fn short(kind: PointKind) -> &'static str {
    match kind {
        PointKind::PartFace => "face",
        PointKind::ZoneEdge => "edge",
        PointKind::Shoulder => "shoulder",
        PointKind::Diameter => "diameter",
    }
}

/// `[diameter LENGTH] [at LENGTH]`, in either order; of a place of a diameter the diameter first.
fn point(what: PointKind, rest: &str) -> Result<Typed, String> {
    let mut at = None;
    let mut diameter = None;
    let mut words = rest.split_whitespace().peekable();
    let mut of = if what == PointKind::Diameter { "diameter" } else { "" };
    while words.peek().is_some() {
        if of.is_empty() {
            of = words.next().unwrap_or_default();
        }
        let mut given = Vec::new();
        while let Some(word) = words.next_if(|word| !matches!(*word, "at" | "diameter")) {
            given.push(word);
        }
        let place = match of {
            "at" => &mut at,
            "diameter" => &mut diameter,
            other => {
                return Err(format!(
                    "{}: found `{other}`\naccepted: `at` and `diameter`, each with a length",
                    short(what)
                ));
            }
        };
        *place = Some(measure(of, &given.join(" "))?);
        of = "";
    }
    if what == PointKind::Diameter && diameter.is_none() {
        return Err("diameter: which one? accepted: diameter 50 mm".to_owned());
    }
    Ok(Typed::Point { what, at, diameter })
}

fn measure(of: &str, text: &str) -> Result<Length, String> {
    Length::parse(text).map_err(|problem| format!("{of}: {problem}"))
}

#[cfg(test)]
mod tests {
    use super::*;

    const MM: fn(f64) -> Length = Length::from_mm;

    #[test]
    fn a_point_is_taken_where_the_torch_is_or_where_it_was_measured() {
        let edge = |at, diameter| Ok(Typed::Point { what: PointKind::ZoneEdge, at, diameter });
        assert_eq!(understand("edge"), edge(None, None));
        assert_eq!(understand("edge at 100 mm"), edge(Some(MM(100.0)), None));
        assert_eq!(understand("edge diameter 2 in"), edge(None, Some(MM(50.8))));
        let both = edge(Some(MM(100.0)), Some(MM(50.0)));
        assert_eq!(understand("edge diameter 50 mm at 100 mm"), both);
        assert_eq!(understand("edge at 100 mm diameter 50 mm"), both);
        let place =
            Typed::Point { what: PointKind::Diameter, at: Some(MM(7.0)), diameter: Some(MM(50.0)) };
        assert_eq!(understand("diameter 50 mm at 7 mm"), Ok(place));
    }

    #[test]
    fn a_line_that_says_too_little_or_something_else_is_told_what_is_accepted() {
        for (line, words) in [
            ("diameter", "which one"),
            ("edge 50 mm", "found `50`"),
            ("edge at", "at: "),
            ("edge at 100", "at: "),
            ("step 0 mm", "above 0 mm"),
            ("starts left", "chuck side"),
            ("go", "none of these"),
            ("save it", "none of these"),
        ] {
            let told = understand(line).expect_err(line);
            assert!(told.contains(words), "{line}: {told}");
        }
    }

    #[test]
    fn every_word_that_is_explained_is_understood() {
        for line in [
            "",
            "a",
            "d",
            "step 1 mm",
            "face",
            "edge",
            "shoulder",
            "diameter 50 mm",
            "back",
            "length 300 mm",
            "starts chuck side",
            "starts tail side",
            "home",
            "look",
            "save",
            "quit",
        ] {
            assert!(understand(line).is_ok(), "{line}");
        }
    }
}
