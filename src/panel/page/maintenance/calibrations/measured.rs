//! What was measured, from the fields of a form to what the calibration makes of it.

use std::borrow::Borrow;

use evenpass_core::calibrate::{
    BacklashMeasured, Calibrated, DelayMeasured, DelayReading, GaugePair, Procedure, Reading,
    ScaleMeasured, Times, TurnsCounted, axis_scale, backlash, park, powder_delay, tachometer,
};
use evenpass_core::catalogue::Torch;
use evenpass_core::document::Problem;
use evenpass_core::quantity::{Length, Quantity, Speed, SpindleSpeed, Time, Turns};
use evenpass_core::request::Direction;
use evenpass_core::rig::Rig;

use crate::panel::given::Given;
use crate::panel::texts;

/// Readings offered beyond the fewest that are asked for.
const MORE: usize = 2;

/// What a calibration reads of a lost motion besides the gauge: name, words.
pub(super) const BACKLASH_BESIDE: [(&str, &str); 2] =
    [("overrun", texts::OVERRUN_OF), ("plume", texts::PLUME_OF)];

/// How many fields a reading has.
pub(super) const fn fields_of(reading: &Reading) -> usize {
    match reading.times {
        Times::Once | Times::OnceIfChosen => 1,
        Times::Several(fewest) | Times::SeveralIfChosen(fewest) => fewest + MORE,
    }
}

/// A figure with its unit, or which field has none.
fn figure<Q: Quantity>(title: &str, text: &str) -> Result<Q, String> {
    Q::parse(text).map_err(|problem| format!("{title}: {problem}"))
}

/// What is asked besides the readings: the machine, and how it came to where it is.
pub(super) struct Beside<'a> {
    pub(super) rig: &'a Rig,
    pub(super) torches: &'a [Torch],
    /// Which way the carriage had come when its position was taken, where anybody knows.
    pub(super) approached: Option<Direction>,
}

/// What follows from what was measured.
///
/// # Errors
/// The field that is no figure, or why the result cannot be, with what would be.
pub(super) fn work_out(
    procedure: &Procedure,
    given: Given<'_>,
    beside: &Beside<'_>,
) -> Result<Calibrated, String> {
    let title = |key: &str| {
        let readings = procedure.readings.iter().find(|reading| reading.key == key);
        let others = BACKLASH_BESIDE.iter().find(|(name, _)| *name == key);
        readings
            .map(|reading| reading.title)
            .or(others.map(|(_, words)| *words))
            .unwrap_or_default()
    };
    let length = |key: &str| figure::<Length>(title(key), given.one(key));
    match procedure.key {
        "axis_scale" => {
            let measured = ScaleMeasured {
                commanded: length("commanded")?,
                measured: length("measured")?,
                reading: length("reading")?,
            };
            axis_scale(&beside.rig.axis, &measured).map_err(|problem| told(procedure, problem))
        }
        "backlash" => {
            let pairs = pairs(given, title("toward_tail"), title("toward_chuck"))?;
            let (overrun, plume) = (length("overrun")?, length("plume")?);
            backlash(&beside.rig.axis, &BacklashMeasured { pairs }, overrun, plume)
                .map_err(|problem| told(procedure, problem))
        }
        "powder_delay" => {
            let torch = beside.torches.iter().find(|torch| torch.key == given.one("torch"));
            let torch = torch.ok_or_else(|| texts::CHOOSE_TORCH.to_owned())?;
            let measured = DelayMeasured {
                on: delays(given, title("on"), "on")?,
                off: delays(given, title("off"), "off")?,
            };
            powder_delay(torch, &measured).map_err(|problem| told(procedure, problem))
        }
        "tachometer" => {
            let counted = TurnsCounted {
                turns: figure::<Turns>(title("turns"), given.one("turns"))?,
                time: figure::<Time>(title("time"), given.one("time"))?,
                read: figure::<SpindleSpeed>(title("read"), given.one("read"))?,
            };
            tachometer(&beside.rig.field.tachometer, &counted)
                .map_err(|problem| told(procedure, problem))
        }
        "park" => park(&beside.rig.axis, length("at")?, beside.approached)
            .map_err(|problem| told(procedure, problem)),
        _ => Err(texts::NO_PROCEDURE.to_owned()),
    }
}

/// A problem under the words of its reading instead of its key.
fn told(procedure: &Procedure, problem: impl Borrow<Problem>) -> String {
    let mut problem: Problem = problem.borrow().clone();
    if let Some(reading) = procedure.readings.iter().find(|reading| reading.key == problem.path) {
        reading.title.clone_into(&mut problem.path);
    }
    problem.to_string()
}

/// Readings of the gauge, two and two.
fn pairs(given: Given<'_>, tail: &str, chuck: &str) -> Result<Vec<GaugePair>, String> {
    let mut pairs = Vec::new();
    for place in &given.places("toward_tail") | &given.places("toward_chuck") {
        match (given.at("toward_tail", place), given.at("toward_chuck", place)) {
            ("", "") => {}
            ("", _) | (_, "") => return Err(texts::PAIR_OPEN.to_owned()),
            (toward_tail, toward_chuck) => pairs.push(GaugePair {
                toward_tail: figure(tail, toward_tail)?,
                toward_chuck: figure(chuck, toward_chuck)?,
            }),
        }
    }
    Ok(pairs)
}

/// Delays by a watch, or by how far a stripe ran at a feed.
fn delays(given: Given<'_>, title: &str, key: &str) -> Result<Vec<DelayReading>, String> {
    let timed = given.all(key).map(|text| Ok(DelayReading::Timed(figure(title, text)?)));
    let ran: Vec<&str> = given.all(&format!("ran_{key}")).collect();
    let feed: Option<Speed> = match ran.is_empty() {
        true => None,
        false => Some(figure(texts::FEED, given.one("feed"))?),
    };
    let striped = ran.into_iter().zip(feed.into_iter().cycle());
    let striped =
        striped.map(|(text, feed)| Ok(DelayReading::Stripe { feed, ran: figure(title, text)? }));
    timed.chain(striped).collect()
}

#[cfg(test)]
mod tests {
    use evenpass_core::calibrate::{PROCEDURES, procedure};
    use evenpass_core::document::FieldValue;

    use super::*;

    fn made(key: &str, fields: &[(&str, &str)]) -> Result<Calibrated, String> {
        let (rig, _) = crate::files::rig(None).expect("the bench");
        let catalogue = crate::files::catalogue(None, None).expect("the shipped catalogue");
        let form: Vec<(String, String)> =
            fields.iter().map(|(name, text)| ((*name).to_owned(), (*text).to_owned())).collect();
        let beside = Beside { rig: &rig, torches: &catalogue.torches, approached: None };
        work_out(procedure(key).expect(key), Given(&form), &beside)
    }

    fn writes(made: Result<Calibrated, String>) -> Vec<(String, FieldValue)> {
        made.expect("worked out").writes
    }

    /// By hand: 400 pulses/mm * 500 / 505 = 396.0396.
    #[test]
    fn a_scale_is_worked_out_of_lengths_in_any_unit() {
        for measured in ["505 mm", "19.8819 in"] {
            let fields = [("commanded", "500 mm"), ("measured", measured), ("reading", "0.2 mm")];
            let writes = writes(made("axis_scale", &fields));
            let [(path, FieldValue::Plain(pulses))] = writes.as_slice() else {
                panic!("{writes:?}")
            };
            assert_eq!(path, "axis.pulses_per_mm");
            assert!((pulses.parse::<f64>().unwrap() - 396.04).abs() < 0.01, "{pulses}");
        }
    }

    #[test]
    fn a_figure_without_its_unit_is_told_with_the_words_of_its_field() {
        let fields = [("commanded", "500"), ("measured", "505 mm"), ("reading", "0.2 mm")];
        let told = made("axis_scale", &fields).expect_err("no unit");
        assert!(
            told.starts_with("difference of the two positions shown: `500` has no unit"),
            "{told}"
        );
        let fields = [("commanded", "500 mm"), ("measured", "300 mm"), ("reading", "0.2 mm")];
        let told = made("axis_scale", &fields).expect_err("no calibration");
        assert!(told.starts_with("distance of the marks by the rule: "), "{told}");
    }

    #[test]
    fn a_lost_motion_wants_its_readings_two_and_two() {
        let mut fields = vec![
            ("toward_tail.0", "1.00 mm"),
            ("toward_chuck.0", "1.30 mm"),
            ("toward_tail.1", "1.01 mm"),
            ("toward_chuck.1", "1.31 mm"),
            ("toward_tail.2", "1.00 mm"),
            ("overrun", "15 mm"),
            ("plume", "6 mm"),
        ];
        assert_eq!(made("backlash", &fields), Err(texts::PAIR_OPEN.to_owned()));
        fields.push(("toward_chuck.2", "1.30 mm"));
        let writes = writes(made("backlash", &fields));
        assert_eq!(writes, [("axis.backlash".to_owned(), FieldValue::Text("0.3 mm".to_owned()))]);
    }

    #[test]
    fn a_delay_is_that_of_the_torch_chosen_and_empty_fields_are_no_readings() {
        let mut fields =
            vec![("on.0", "0.9 s"), ("on.1", ""), ("on.2", "0.9 s"), ("on.4", "0.9 s")];
        assert_eq!(made("powder_delay", &fields), Err(texts::CHOOSE_TORCH.to_owned()));
        fields.push(("torch", "spray-6"));
        let writes = writes(made("powder_delay", &fields));
        let paths: Vec<&str> = writes.iter().map(|(path, _)| path.as_str()).collect();
        assert_eq!(paths, ["torch[spray-6].powder_delay_on"]);
    }

    /// By hand: the mean of five delays of 0.9 s and two of 0.95 s is 0.914 s.
    #[test]
    fn no_reading_is_dropped_however_many_are_given() {
        let given: Vec<(String, String)> = (0..7)
            .map(|place| (format!("on.{place}"), if place < 5 { "0.90 s" } else { "0.95 s" }))
            .map(|(name, text)| (name, text.to_owned()))
            .collect();
        assert_eq!(Given(&given).all("on").count(), 7);
        let mut fields: Vec<(&str, &str)> =
            given.iter().map(|(name, text)| (name.as_str(), text.as_str())).collect();
        fields.push(("torch", "spray-6"));
        let found = made("powder_delay", &fields).expect("worked out").found;
        assert!(found.contains("0.91 s"), "{found}");
    }

    #[test]
    fn turns_and_park_are_worked_out_and_nothing_unknown_is() {
        let fields = [("turns", "60 turns"), ("time", "60 s"), ("read", "60 rpm")];
        assert!(writes(made("tachometer", &fields)).is_empty(), "as in the file");
        let writes = writes(made("park", &[("at", "700 mm")]));
        assert!(matches!(writes.as_slice(), [(path, _)] if path == "axis.park"), "{writes:?}");
        assert!(PROCEDURES.iter().all(|one| made(one.key, &[]) != Err(texts::NO_PROCEDURE.into())));
    }
}
