//! What people asked, who they were, and what it came to.

use serde_json::{Value, json};

use crate::ledger::{EntryKind, Ledger};
use crate::moment::Moment;
use crate::plan::change::Ahead;
use crate::program::{Program, Step};
use crate::request::{Answer, Origin, Request};
use crate::sequence::ZoneInHand;

/// A request and its answer. The person's name is text from outside: in the words it stays in its
/// line, in the data it is as it was given.
pub(super) fn answered(
    at: Moment,
    (request, origin, person): (Request, Origin, Option<&str>),
    answer: &Answer,
    ledger: &mut Ledger,
) {
    let (said, why) = match answer {
        Answer::Accepted => ("accepted", String::new()),
        Answer::AlreadySo => ("already so", String::new()),
        Answer::Denied(denial) => ("denied", format!("{}; {}", denial.why, denial.help)),
    };
    let what = match request {
        Request::Trim(trim) => format!("{}, {trim},", request.title()),
        other => other.title().to_owned(),
    };
    let from = match origin {
        Origin::Machine => "at the machine",
        Origin::Seat => "from the seat",
        Origin::Watcher => "from a watcher",
    };
    let by = person.map_or_else(String::new, |person| format!(" by {}", in_its_line(person)));
    ledger.write(
        at,
        EntryKind::Request,
        format!("{what}{by} {from}: {said}"),
        why,
        with_person(json!({ "request": request, "origin": origin, "answer": said }), person),
    );
}

/// What a change of the passes comes to; step and pass counted from 1.
pub(super) fn changed(
    at: Moment,
    (step, pass, person): (usize, usize, Option<&str>),
    program: Option<&Program>,
    ledger: &mut Ledger,
) {
    let ahead = Ahead { step: step.saturating_sub(1), pass: pass.saturating_sub(1) };
    let Some(zone) = program.and_then(|program| ZoneInHand::with(program, ahead)) else { return };
    let powder = match program.and_then(|program| program.steps.get(ahead.step)) {
        Some(Step::Spray(step)) => Some(step.powder),
        _ => None,
    };
    let next = zone.next;
    let data = json!({
        "changed": {
            "zone": zone.zone,
            "from_pass": next.map(|next| next.pass),
            "feed": next.map(|next| next.feed),
            "trim": next.map(|next| next.trim),
            "touch_ups": zone.touch_ups,
            "coat": zone.coat,
            "planned": zone.planned,
            "powder": powder,
        },
    });
    let words = format!("zone {}: {zone}", zone.zone);
    ledger.write(at, EntryKind::Request, words, String::new(), with_person(data, person));
}

/// A request that no known person made has none in its data.
fn with_person(mut data: Value, person: Option<&str>) -> Value {
    if let (Value::Object(fields), Some(person)) = (&mut data, person) {
        fields.insert("person".to_owned(), json!(person));
    }
    data
}

fn in_its_line(name: &str) -> String {
    name.chars().map(|c| if c.is_control() { char::REPLACEMENT_CHARACTER } else { c }).collect()
}
