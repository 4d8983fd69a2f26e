//! What people changed in the passes of a run, as its entries tell it: each change with its time, its
//! person, from what and to what, and what the zones come to with all of them.
//!
//! A change is told by two entries of the kind `request`: what was asked, and what it makes of the
//! zone. What was so before follows from both, so that a record that begins in the middle of a job
//! needs nothing from before it.
//!
//! | data | |
//! |---|---|
//! | `{"request": {"trim": {"percent": 2}}, "person": "A. Fitter"}` | or `"touch_up"`, `"take_pass_back"` |
//! | `{"changed": {"zone": "journal", "from_pass": 4, "trim": {"percent": 5}, "touch_ups": 1, "coat": "0.33 mm", "planned": "0.3 mm", "powder": "51 g"}, "person": "A. Fitter"}` | what it comes to |

use evenpass_core::ledger::{Entry, EntryKind};
use evenpass_core::moment::Moment;
use evenpass_core::plan::forecast::counted;
use evenpass_core::quantity::{Length, Mass};
use evenpass_core::request::{Request, Trim};
use serde::Deserialize;
use serde_json::Value;

use super::Deviation;
use super::sprayed::ZonePasses;

/// Coats whose ratio differs by less than this from one are the same.
const SAME: f64 = 1e-6;

/// A zone with everything that people changed in it.
#[derive(Debug, Clone, PartialEq)]
pub struct ChangedZone {
    /// Its name.
    pub zone: String,
    /// What all its passes build as sprayed, as changed; radial.
    pub coat: Length,
    /// The same as planned.
    pub planned: Length,
    /// Powder for all its passes, as changed.
    pub powder: Option<Mass>,
}

impl ChangedZone {
    /// What it comes to, as a share of the plan; `None` when that is the plan again.
    #[must_use]
    pub fn share(&self) -> Option<f64> {
        let share = self.coat / self.planned;
        (share.is_finite() && (share - 1.0).abs() > SAME).then_some(share)
    }
}

/// All changes of a run.
#[derive(Debug, Clone, Default)]
pub struct Changes {
    asked: Option<Request>,
    made: Vec<Deviation>,
    zones: Vec<ChangedZone>,
    told: Vec<Change>,
}

/// What a change comes to, as it is told.
#[derive(Debug, Clone, Deserialize)]
struct Change {
    zone: String,
    from_pass: Option<usize>,
    trim: Option<Trim>,
    touch_ups: usize,
    coat: Option<Length>,
    planned: Option<Length>,
    powder: Option<Mass>,
}

impl Changes {
    /// Those that these entries tell of.
    #[must_use]
    pub fn of<'a>(entries: impl IntoIterator<Item = &'a Entry>) -> Self {
        let mut changes = Self::default();
        for entry in entries {
            changes.take(entry);
        }
        changes
    }

    /// Those that were told so, without when and by whom.
    pub(super) fn of_changed<'a>(told: impl IntoIterator<Item = &'a Value>) -> Self {
        let told = told.into_iter().filter_map(|told| Change::deserialize(told).ok());
        Self { told: told.collect(), ..Self::default() }
    }

    /// Takes in the next entry.
    pub fn take(&mut self, entry: &Entry) {
        if entry.kind != EntryKind::Request {
            return;
        }
        if let Some(request) = entry.data.get("request") {
            self.asked = Request::deserialize(request).ok();
        } else if let Some(Ok(change)) = entry.data.get("changed").map(Change::deserialize) {
            let person = entry.data.get("person").and_then(|name| name.as_str());
            self.change(entry.at, person, change);
        }
    }

    /// Each change, in the order they were made.
    #[must_use]
    pub fn made(&self) -> &[Deviation] {
        &self.made
    }

    /// The zones that were changed.
    #[must_use]
    pub fn zones(&self) -> &[ChangedZone] {
        &self.zones
    }

    /// The passes of a zone with so many planned; `None` where nobody changed them.
    pub(super) fn passes_of(&self, zone: &str, planned: usize) -> Option<ZonePasses> {
        let mut of_zone = self.told.iter().filter(|change| change.zone == zone).peekable();
        of_zone.peek()?;
        let mut passes = ZonePasses::planned(zone, planned);
        of_zone.for_each(|change| passes.change(change.touch_ups, change.from_pass, change.trim));
        Some(passes)
    }

    fn change(&mut self, at: Moment, person: Option<&str>, change: Change) {
        let zone = &change.zone;
        let (what, from, to) = match self.asked.take() {
            Some(Request::Trim(by)) => {
                let from_pass = change
                    .from_pass
                    .map_or_else(String::new, |pass| format!(" from pass {pass} on"));
                let to = change.trim.unwrap_or_default();
                let before = to.percent().saturating_sub(by.percent());
                let feeds = (feed(Trim::of_percent(before)), feed(to));
                (format!("feed over zone {zone}{from_pass}"), Some(feeds.0), feeds.1)
            }
            asked => {
                let before = match asked {
                    Some(Request::TouchUp) => change.touch_ups.checked_sub(1),
                    Some(Request::TakePassBack) => change.touch_ups.checked_add(1),
                    _ => None,
                };
                (format!("passes over zone {zone}"), before.map(added), added(change.touch_ups))
            }
        };
        self.made.push(Deviation {
            what,
            reason: String::new(),
            at: Some(at),
            person: person.map(str::to_owned),
            from,
            to: Some(to),
        });
        if let (Some(coat), Some(planned)) = (change.coat, change.planned) {
            self.zones.retain(|known| known.zone != change.zone);
            let (zone, powder) = (change.zone.clone(), change.powder);
            self.zones.push(ChangedZone { zone, coat, planned, powder });
        }
        self.told.push(change);
    }
}

fn feed(trim: Trim) -> String {
    if trim == Trim::NONE { "as planned".to_owned() } else { trim.to_string() }
}

fn added(passes: usize) -> String {
    match passes {
        0 => "as planned".to_owned(),
        passes => format!("{} more", counted(passes, "pass")),
    }
}

#[cfg(test)]
mod tests {
    use serde_json::{Value, json};

    use super::*;

    fn entry(seconds: u64, data: Value) -> Entry {
        Entry {
            number: seconds,
            at: Moment::from_micros(seconds * 1_000_000),
            kind: EntryKind::Request,
            text: String::new(),
            cause: String::new(),
            data,
        }
    }

    /// What was asked, and what it came to.
    fn change(seconds: u64, request: Value, trim: i8, touch_ups: u32, coat: &str) -> [Entry; 2] {
        let changed = json!({
            "zone": "journal", "from_pass": 4, "feed": "10 mm/s", "trim": {"percent": trim},
            "touch_ups": touch_ups, "coat": coat, "planned": "0.3 mm", "powder": "50 g",
        });
        [
            entry(seconds, json!({"request": request, "person": "A. Fitter"})),
            entry(seconds, json!({"changed": changed, "person": "A. Fitter"})),
        ]
    }

    #[test]
    fn each_change_is_listed_with_time_person_from_and_to_even_where_the_record_begins_late() {
        // Two percent and a pass had been added before the first of these.
        let all = [
            change(5, json!({"trim": {"percent": 3}}), 5, 1, "0.31 mm"),
            change(6, json!("touch_up"), 5, 2, "0.36 mm"),
            change(7, json!("take_pass_back"), 5, 1, "0.31 mm"),
            change(8, json!({"trim": {"percent": -5}}), 0, 1, "0.33 mm"),
        ]
        .concat();
        let changes = Changes::of(&all);
        let told: Vec<_> = changes
            .made()
            .iter()
            .map(|made| {
                let (from, to) = (made.from.as_deref(), made.to.as_deref());
                assert_eq!(made.person.as_deref(), Some("A. Fitter"));
                (made.at.map(Moment::as_seconds), &*made.what, from, to)
            })
            .collect();
        let (feed, passes) = ("feed over zone journal from pass 4 on", "passes over zone journal");
        assert_eq!(
            told,
            [
                (Some(5.0), feed, Some("+2 %"), Some("+5 %")),
                (Some(6.0), passes, Some("1 pass more"), Some("2 passes more")),
                (Some(7.0), passes, Some("2 passes more"), Some("1 pass more")),
                (Some(8.0), feed, Some("+5 %"), Some("as planned")),
            ]
        );
        let zone = &changes.zones()[0];
        assert!((zone.share().expect("thicker") - 1.1).abs() < 1e-9);
        assert_eq!((changes.zones().len(), zone.powder), (1, Some(Mass::from_g(50.0))));
    }

    #[test]
    fn what_was_denied_or_changes_no_pass_is_no_change() {
        let denied = json!({"request": {"trim": {"percent": 3}}, "answer": "denied"});
        let all = [entry(1, denied), entry(2, json!({"request": "hold"})), entry(3, json!({}))];
        assert_eq!(Changes::of(&all).made(), []);
    }

    #[test]
    fn a_zone_brought_back_to_its_plan_has_no_share() {
        let all = [
            change(1, json!("touch_up"), 0, 1, "0.33 mm"),
            change(2, json!("take_pass_back"), 0, 0, "0.3 mm"),
        ]
        .concat();
        let changes = Changes::of(&all);
        assert_eq!(changes.zones()[0].share(), None);
        assert_eq!(changes.made().len(), 2, "both stand in the record all the same");
    }
}
