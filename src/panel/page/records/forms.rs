//! The forms in which people add to the record of a run. They are sent by the script of all pages;
//! the field that was refused is shown, and what was typed stays.

use evenpass_core::inspection::{DyeResult, Limit};
use maud::{Markup, html};

use super::Shown;
use super::add::{Entered, WHAT, name, name_at};
use crate::adding::typed::{dye_word, limit_word, stage_word};
use crate::adding::{CoatRead, Field};
use crate::panel::texts;
use crate::panel::texts::adding as words;
use crate::panel::visitor::Visitor;
use crate::people::{LengthUnit, NOT_SIGNED_IN, TemperatureUnit, Units};
use crate::record::{CoatStage, Outcome, RunKind, Said, Verdict};
use crate::report::people::in_units;

/// Readings that a form has room for: another form takes more.
const ROWS: usize = 4;
/// Longest figure with its unit, and longest line of words; what is longer is refused by name.
const FIGURE: &str = "40";
const LINE: &str = "300";

/// All of them.
pub(super) fn section(shown: &Shown, visitor: &Visitor) -> Markup {
    if shown.record.summary.kind == RunKind::Rehearsed {
        return html! { section { p { (words::REHEARSED) } } };
    }
    html! {
        section.add {
            h2 { (words::ADD) }
            p { (words::ADD_FOR) }
            div.entries {
                (entry(words::DIAMETERS, words::DIAMETERS_FOR, diameters(shown, visitor)))
                (entry(words::THICKNESS, words::THICKNESS_FOR, thickness(shown, visitor)))
                (entry(words::HARDNESS, words::HARDNESS_FOR, hardness(shown, visitor)))
                (entry(words::RUN_OUT, "", run_out(shown, visitor)))
                (entry(words::DYE_CHECK, "", dye_check(shown, visitor)))
                (entry(words::NOTE, words::NOTE_FOR, notes(shown, visitor)))
                (entry(words::DEVIATION, words::DEVIATION_FOR, deviation(shown, visitor)))
                (entry(words::DECIDE, words::DECIDE_FOR, decide(shown, visitor)))
                (entry(words::TAKE_BACK, words::TAKE_BACK_FOR, take_back(shown, visitor)))
            }
        }
    }
}

/// One that is opened by its name; only one is open at a time.
fn entry(title: &str, about: &str, inside: Markup) -> Markup {
    html! {
        details name="add" {
            summary { (title) }
            @if !about.is_empty() { p { (about) } }
            (inside)
        }
    }
}

/// A form that is sent to the run's own page.
pub(super) fn form(shown: &Shown, what: Entered, visitor: &Visitor, inside: Markup) -> Markup {
    let page = format!("/records/{}", shown.record.summary.id);
    if !visitor.may(what.right()) {
        return html! { p { (texts::THIS_NEEDS) " " (what.right().needs()) } };
    }
    html! {
        form data-post=(page) data-then=(page) {
            input type="hidden" name=(WHAT) value=(what.word());
            @if *visitor.name == *NOT_SIGNED_IN { (text(Field::Person, words::PERSON, "", "80")) }
            (inside)
        }
    }
}

fn enter() -> Markup {
    html! { button type="submit" data-kind="wanted" { (words::ENTER) } }
}

fn text(field: Field, title: &str, example: &str, longest: &str) -> Markup {
    html! {
        label { span { (title) }
            input type="text" name=(name(field)) placeholder=(example) maxlength=(longest)
                autocomplete="off";
        }
    }
}

fn choice(field: Field, title: &str, all: impl IntoIterator<Item = (String, String)>) -> Markup {
    html! {
        label { span { (title) }
            select name=(name(field)) {
                @for (word, words) in all { option value=(word) { (words) } }
            }
        }
    }
}

/// Readings, a line each: where, and what was read there.
fn rows(columns: &[(Field, &str, &str)]) -> Markup {
    html! {
        table.rows {
            thead { tr { @for (_, title, _) in columns { th { (title) } } } }
            tbody { @for row in 0..ROWS { tr { @for (field, title, example) in columns {
                td { input type="text" name=(name_at(*field, row)) placeholder=(example)
                    maxlength=(FIGURE) autocomplete="off" aria-label=(format!("{title}, {}", row + 1)); }
            } } } }
        }
    }
}

/// When it was read, and with what.
fn taken() -> Markup {
    html! {
        (text(Field::Gauge, words::GAUGE, "M-17", LINE))
        label { span { (words::DATE) } input type="date" name=(name(Field::Date)); }
    }
}

/// How figures are written in a person's units.
struct Examples {
    place: &'static str,
    diameter: &'static str,
    thickness: &'static str,
    temperature: &'static str,
}

const fn examples(units: Units) -> Examples {
    let (place, diameter, thickness) = match units.length {
        LengthUnit::Millimetre => ("160 mm", "51.552 mm", "0.36 mm"),
        LengthUnit::Inch => ("6.3 in", "2.0296 in", "0.0142 in"),
    };
    let temperature = match units.temperature {
        TemperatureUnit::Celsius => "250 \u{b0}C",
        TemperatureUnit::Fahrenheit => "480 \u{b0}F",
    };
    Examples { place, diameter, thickness, temperature }
}

fn diameters(shown: &Shown, visitor: &Visitor) -> Markup {
    let units = visitor.units;
    let is = examples(units);
    let within = units.temperature_step(CoatRead::TEMPERATURE_WITHIN);
    let micrometer = units.thickness(CoatRead::MICROMETER);
    let inside = html! {
        (rows(&[
            (Field::DiameterPlace, words::PLACE, is.place),
            (Field::Diameter, words::DIAMETER, is.diameter),
            (Field::Before, words::BEFORE, ""),
        ]))
        (text(Field::Temperature, words::TEMPERATURE, is.temperature, FIGURE))
        (text(Field::TemperatureWithin, words::TEMPERATURE_WITHIN, &within, FIGURE))
        (text(Field::Micrometer, words::MICROMETER, &micrometer, FIGURE))
        (taken())
        // Until a run is complete its coat is as sprayed.
        @if shown.record.summary.outcome == Outcome::Complete {
            label.tick { input type="checkbox" name="as_sprayed" value="yes"; (words::AS_SPRAYED) }
        }
        (enter())
    };
    form(shown, Entered::Diameters, visitor, inside)
}

fn thickness(shown: &Shown, visitor: &Visitor) -> Markup {
    let is = examples(visitor.units);
    // What a finished part is judged by comes first.
    let stages = [CoatStage::Finished, CoatStage::Fused, CoatStage::AsSprayed];
    let stages = stages.map(|stage| (stage_word(stage), stage.words().to_owned()));
    let inside = html! {
        (rows(&[
            (Field::ReadingPlace, words::PLACE, is.place),
            (Field::Reading, words::THICKNESS_THERE, is.thickness),
        ]))
        (choice(Field::Stage, words::STAGE, stages))
        (text(Field::Temperature, words::TEMPERATURE, is.temperature, FIGURE))
        (taken())
        (enter())
    };
    form(shown, Entered::Thickness, visitor, inside)
}

fn hardness(shown: &Shown, visitor: &Visitor) -> Markup {
    let is = examples(visitor.units);
    let inside = html! {
        (rows(&[
            (Field::ReadingPlace, words::PLACE, is.place),
            (Field::Reading, words::HARDNESS_THERE, "655 HV0.5"),
        ]))
        (text(Field::Coat, words::COAT, is.thickness, FIGURE))
        (taken())
        (enter())
    };
    form(shown, Entered::Hardness, visitor, inside)
}

fn run_out(shown: &Shown, visitor: &Visitor) -> Markup {
    let example = match visitor.units.length {
        LengthUnit::Millimetre => "0.03 mm",
        LengthUnit::Inch => "0.0012 in",
    };
    let inside = html! {
        (text(Field::RunOut, words::RUN_OUT_READ, example, FIGURE))
        (taken())
        (enter())
    };
    form(shown, Entered::RunOut, visitor, inside)
}

fn dye_check(shown: &Shown, visitor: &Visitor) -> Markup {
    let results = [DyeResult::Nothing, DyeResult::Indications].map(dye_word);
    let inside = html! {
        (choice(Field::DyeResult, words::DYE_RESULT, results.map(|word| (word.clone(), word))))
        (text(Field::Showed, words::SHOWED, "", LINE))
        (enter())
    };
    form(shown, Entered::DyeCheck, visitor, inside)
}

/// What is noted in words; each has its own form.
fn notes(shown: &Shown, visitor: &Visitor) -> Markup {
    let button = |title: &str| html! { button type="submit" data-kind="wanted" { (title) } };
    html! {
        (form(shown, Entered::HoldPoint, visitor, html! {
            (text(Field::Point, words::POINT, "", LINE))
            (button(words::KEEP_POINT))
        }))
        (form(shown, Entered::Coupon, visitor, html! {
            (text(Field::Coupon, words::COUPON, "C-12", LINE))
            (text(Field::Words, words::COUPON_WORDS, "", LINE))
            (button(words::KEEP_COUPON))
        }))
        (form(shown, Entered::Particular, visitor, html! {
            (text(Field::Name, words::NAME, "drawing", LINE))
            (text(Field::Words, words::PARTICULAR_WORDS, "", LINE))
            (button(words::KEEP_PARTICULAR))
        }))
    }
}

fn deviation(shown: &Shown, visitor: &Visitor) -> Markup {
    let none = (String::new(), words::NO_LIMIT.to_owned());
    let limits = Limit::ALL.map(|limit| (limit_word(limit), limit.title().to_owned()));
    let inside = html! {
        (text(Field::Words, words::DEVIATION_WORDS, "", LINE))
        (choice(Field::Limit, words::DEVIATION_LIMIT, std::iter::once(none).chain(limits)))
        (text(Field::From, words::FROM, "", LINE))
        (text(Field::To, words::TO, "", LINE))
        (text(Field::Reason, words::DEVIATION_REASON, "", LINE))
        (enter())
    };
    form(shown, Entered::Deviation, visitor, inside)
}

fn decide(shown: &Shown, visitor: &Visitor) -> Markup {
    let inside = html! {
        (text(Field::Reason, texts::REASON, "", LINE))
        div.buttons {
            @for verdict in Verdict::ALL {
                button type="submit" name=(name(Field::Verdict)) value=(verdict.word()) {
                    (verdict.word())
                }
            }
        }
    };
    form(shown, Entered::Decision, visitor, inside)
}

fn take_back(shown: &Shown, visitor: &Visitor) -> Markup {
    let counts = shown.marks.iter().rev().filter(|kept| {
        kept.taken_back_by.is_none() && !matches!(kept.mark.said, Said::TakenBack { .. })
    });
    let counts: Vec<(String, String)> = counts
        .map(|kept| {
            let said = in_units(&kept.mark.said, visitor.units);
            (kept.number.to_string(), format!("{}: {}", kept.number, shortened(&said)))
        })
        .collect();
    if counts.is_empty() {
        return html! { p { (words::NOTHING_ADDED) } };
    }
    let inside = html! {
        (choice(Field::Number, words::TAKE_BACK_WHAT, counts))
        (text(Field::Reason, texts::REASON, "", LINE))
        (enter())
    };
    form(shown, Entered::TakenBack, visitor, inside)
}

/// As much of a line as a list of choices shows.
fn shortened(text: &str) -> String {
    const SHOWN: usize = 60;
    match text.char_indices().nth(SHOWN) {
        Some((end, _)) => format!("{}\u{2026}", text.get(..end).unwrap_or(text)),
        None => text.to_owned(),
    }
}
