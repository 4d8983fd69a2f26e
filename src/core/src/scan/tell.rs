//! Turns what happened into entries of the ledger: in words, with figures for programs.

mod asked;
mod coated;

pub(super) use coated::CoatSoFar;

use serde_json::{Value, json};

use crate::devices::Switched;
use crate::image::{Coil, Contact, Inputs, Kind, Level, Referenced};
use crate::interlock::{Change, News, Verdict};
use crate::ledger::{EntryKind, Ledger};
use crate::line::Link;
use crate::moment::Moment;
use crate::program::{Program, Step};
use crate::quantity::{Length, Speed, Time};
use crate::rig::{LineId, Rig};
use crate::sequence::{Event, Happening};

/// Remembers the little that an entry needs beyond its event.
#[derive(Debug, Clone)]
pub(super) struct Teller {
    line_names: Vec<String>,
    /// Pass in hand, counted from 1; zero before the first.
    pass: usize,
    /// The powder edge fixed last, with where the carriage was to be then.
    fixed: Option<(Moment, Length)>,
}

impl Teller {
    pub(super) fn new(rig: &Rig) -> Self {
        Self {
            line_names: rig.lines.iter().map(|line| line.name.clone()).collect(),
            pass: 0,
            fixed: None,
        }
    }

    pub(super) fn link(&self, now: Moment, line: LineId, link: Link, ledger: &mut Ledger) {
        let name = self.line_names.get(line.0).map_or("?", String::as_str);
        let text = match link {
            Link::Up => format!("line {name}: port open"),
            Link::Down => format!("line {name}: port gone"),
        };
        ledger.write(now, EntryKind::Line, text, String::new(), json!({ "line": name }));
    }

    /// Contacts that changed between two images.
    pub(super) fn contacts(&self, old: &Inputs, new: &Inputs, ledger: &mut Ledger) {
        for ((tag, before), after) in Contact::ALL.iter().zip(&old.contacts).zip(&new.contacts) {
            if before.kind == Kind::Measured
                && after.kind == Kind::Measured
                && before.value != after.value
            {
                ledger.write(
                    after.at,
                    EntryKind::Contact,
                    format!("{} {}", tag.title(), on_off(after.value)),
                    String::new(),
                    json!({ "contact": tag.key(), "level": after.value }),
                );
            }
        }
    }

    /// What became of a cause. One that has just counted is told whole: since when, what was
    /// done, what to do.
    pub(super) fn news(&self, news: &News, verdict: &Verdict, ledger: &mut Ledger) {
        let what = match news.change {
            Change::Confirmed => news.message.clone(),
            Change::Returned => format!("{}: gone", news.key),
            Change::Acknowledged => format!("{}: acknowledged", news.key),
            Change::Cleared => format!("{}: cleared", news.key),
        };
        let mut data = json!({
            "interlock": news.key,
            "class": news.class,
            "change": news.change,
            "repeats": news.repeats,
        });
        if news.change == Change::Confirmed
            && let Some(occurrence) = verdict.listed(news.key)
            && let Value::Object(data) = &mut data
        {
            let told = verdict.told(occurrence);
            let first = verdict.first.as_ref().is_some_and(|first| first.key == news.key);
            data.insert("since_us".to_owned(), json!(occurrence.since.as_micros()));
            data.insert("first_out".to_owned(), json!(first));
            data.insert("done".to_owned(), json!(told.done));
            data.insert("to_do".to_owned(), json!(told.to_do));
            data.insert("meanwhile".to_owned(), json!(told.meanwhile));
        }
        ledger.write(news.at, EntryKind::Cause, what, String::new(), data);
    }

    /// A coil that changed in its module; for the powder feeder, also where that was.
    pub(super) fn switched(&mut self, switched: Switched, inputs: &Inputs, ledger: &mut Ledger) {
        let Switched { at, coil, level, planned } = switched;
        if coil != Coil::Powder {
            ledger.write(
                at,
                EntryKind::Coil,
                format!("{} {}", coil.title(), on_off(level)),
                String::new(),
                json!({ "coil": coil.key(), "level": level }),
            );
            return;
        }
        let axis = inputs.axis;
        let drift = if at >= axis.at {
            at.since(axis.at).as_secs_f64()
        } else {
            -axis.at.since(at).as_secs_f64()
        };
        // Without a datum the position says nothing.
        let done = (axis.kind == Kind::Measured && axis.value.referenced == Referenced::Yes)
            .then(|| axis.value.position + along(axis.value.velocity, drift));
        let place = planned.and_then(|planned| {
            self.fixed.filter(|(moment, _)| *moment == planned).map(|(_, place)| place)
        });
        let late = planned.map(|planned| Time::from_s(at.as_seconds() - planned.as_seconds()));
        let level = on_off(level);
        ledger.write(
            at,
            EntryKind::Powder,
            done.map_or_else(
                || format!("powder {level}"),
                |at| format!("powder {level} at {at:.2}"),
            ),
            String::new(),
            json!({
                "pass": self.pass,
                "edge": level,
                "planned": place,
                "done": done,
                "late": late,
            }),
        );
    }

    /// An ON edge that never came; answers with what a person is told of it.
    pub(super) fn dropped(&self, now: Moment, ledger: &mut Ledger) -> String {
        let place = self.fixed.map(|(_, place)| place);
        let due = place.map_or_else(String::new, |place| format!(" at {place:.2}"));
        let words = format!(
            "powder on{due} in pass {} could not be sent in time and was dropped: look at the \
             field I/O's line, then restart",
            self.pass
        );
        ledger.write(
            now,
            EntryKind::Powder,
            format!("powder on{due} was dropped"),
            "its line was not free in time".to_owned(),
            json!({ "pass": self.pass, "edge": "on", "planned": place }),
        );
        words
    }

    /// An event of the sequence; one that a request made with the person, where that is known.
    pub(super) fn event(
        &mut self,
        event: &Event,
        program: Option<&Program>,
        person: Option<&str>,
        ledger: &mut Ledger,
    ) {
        let at = event.at;
        let mut write = |kind, text: String, cause: String, data| {
            ledger.write(at, kind, text, cause, data);
        };
        let empty = String::new;
        match &event.what {
            Happening::Moved { from, to, cause } => write(
                EntryKind::State,
                format!("{}: {}", to.phase().word(), to.words()),
                cause.to_string(),
                json!({ "from": from.name(), "to": to.name() }),
            ),
            Happening::Prompted(ask) => {
                write(EntryKind::Prompt, ask.to_string(), empty(), json!({ "mark": "asked" }));
            }
            Happening::PromptGone(ask) => {
                write(EntryKind::Prompt, ask.to_string(), empty(), json!({ "mark": "gone" }));
            }
            Happening::PassBegan { step, pass } => {
                self.pass = *pass;
                write(
                    EntryKind::Pass,
                    format!("pass {pass} begins"),
                    empty(),
                    pass_data("begun", *step, *pass, program),
                );
            }
            Happening::PassEnded { step, pass } => write(
                EntryKind::Pass,
                format!("pass {pass} ends"),
                empty(),
                pass_data("ended", *step, *pass, program),
            ),
            Happening::PowderFixed { edge, carriage } => self.fixed = Some((edge.at, *carriage)),
            Happening::PowderLost { place } => write(
                EntryKind::Powder,
                format!("powder ceased to arrive at {place:.2}"),
                empty(),
                json!({ "lost": place }),
            ),
            Happening::NotPurged(why) => write(
                EntryKind::Cause,
                format!(
                    "torch and hose not purged, {}; the next lighting purges them",
                    why.words()
                ),
                empty(),
                json!({ "not_purged": why.words() }),
            ),
            Happening::Spoiled { damage, place } => {
                let (what, then) = damage.words();
                write(
                    EntryKind::Cause,
                    format!("{what} at {place:.1}, {then}"),
                    empty(),
                    json!({ "suspect": what, "place": place }),
                );
            }
            Happening::Answered { request, origin, answer } => {
                asked::answered(at, (*request, *origin, person), answer, ledger);
            }
            Happening::PassesChanged { step, pass } => {
                asked::changed(at, (*step, *pass, person), program, ledger);
            }
            Happening::PointTaken(place) => write(
                EntryKind::Request,
                format!("point taken at {place:.2}"),
                empty(),
                json!({ "point": place }),
            ),
            Happening::BandWet { step, band } => write(
                EntryKind::Pass,
                format!("band {band} called wet"),
                empty(),
                json!({ "step": step, "band": band }),
            ),
        }
    }
}

fn pass_data(mark: &str, step: usize, pass: usize, program: Option<&Program>) -> Value {
    let found = program.and_then(|program| program.steps.get(step.saturating_sub(1)));
    let Some(Step::Spray(spray)) = found else {
        return json!({ "mark": mark, "pass": pass });
    };
    let planned = spray.passes.get(pass.saturating_sub(1));
    json!({
        "mark": mark,
        "step": step,
        "pass": pass,
        "of": spray.passes.len(),
        "zone": spray.zone,
        "from": planned.map(|planned| planned.from),
        "to": planned.map(|planned| planned.to),
    })
}

/// The way made at a speed in a time in seconds.
fn along(speed: Speed, seconds: f64) -> Length {
    Length::from_mm(speed.mm_per_s() * seconds)
}

const fn on_off(level: Level) -> &'static str {
    match level {
        Level::On => "on",
        Level::Off => "off",
    }
}

#[cfg(test)]
mod tests;
