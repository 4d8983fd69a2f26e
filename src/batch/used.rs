//! What a run used up and how it went, gathered from its entries as they come.

use std::time::Duration;

use evenpass_core::batch::Course;
use evenpass_core::ledger::{Entry, EntryKind};
use evenpass_core::moment::Moment;
use evenpass_core::quantity::{Mass, Pressure, Quantity, Temperature, Time};
use serde_json::Value;

use super::gas::{GasFlow, Gases};

/// A mean in the making.
#[derive(Debug, Clone, Copy, Default)]
struct Mean {
    sum: f64,
    count: f64,
}

impl Mean {
    fn add(&mut self, value: f64) {
        self.sum += value;
        self.count += 1.0;
    }

    fn of<Q: Quantity>(self) -> Option<Q> {
        (self.count > 0.0).then(|| Q::from_base(self.sum / self.count))
    }
}

/// Time that something is on.
#[derive(Debug, Clone, Copy, Default)]
struct OnTime {
    since: Option<Moment>,
    sum: Duration,
}

impl OnTime {
    fn goes(&mut self, level: &Value, at: Moment) {
        match (level.as_str(), self.since) {
            (Some("on"), None) => self.since = Some(at),
            (Some("off"), Some(since)) => {
                self.sum += at - since;
                self.since = None;
            }
            _ => {}
        }
    }

    fn until(self, last: Option<Moment>) -> Time {
        let open = self.since.zip(last).map_or(Duration::ZERO, |(since, last)| last - since);
        Time::from_duration(self.sum + open)
    }
}

/// What a run used up and how it went, so far.
#[derive(Debug, Clone, Default)]
pub struct Gathering {
    last: Option<Moment>,
    flame: OnTime,
    fuel_valve: OnTime,
    pass_began: Option<Moment>,
    passes_begun: usize,
    pass_time: Mean,
    fuel: Mean,
    oxygen: Mean,
    carrier: Mean,
    part: Mean,
    hopper: Option<Mass>,
    with_powder: f64,
}

impl Gathering {
    /// Of all entries of a run.
    #[must_use]
    pub fn of(entries: &[Entry]) -> Self {
        let mut gathering = Self::default();
        entries.iter().for_each(|entry| gathering.take(entry));
        gathering
    }

    /// Takes the next entry.
    pub fn take(&mut self, entry: &Entry) {
        self.last = Some(entry.at);
        let data = |name: &str| entry.data.get(name);
        let is = |name: &str, what: &str| data(name).and_then(Value::as_str) == Some(what);
        match entry.kind {
            EntryKind::Contact if is("contact", "flame") => {
                data("level").iter().for_each(|level| self.flame.goes(level, entry.at));
            }
            EntryKind::Coil if is("coil", "fuel") => {
                data("level").iter().for_each(|level| self.fuel_valve.goes(level, entry.at));
            }
            EntryKind::Pass if is("mark", "begun") => {
                self.pass_began = Some(entry.at);
                self.passes_begun += 1;
            }
            EntryKind::Pass if is("mark", "ended") => {
                if let Some(began) = self.pass_began.take() {
                    self.pass_time.add((entry.at - began).as_secs_f64());
                }
            }
            EntryKind::Sample => self.sample(&entry.data),
            _ => {}
        }
    }

    fn sample(&mut self, data: &Value) {
        let text = |name: &str| data.get(name).and_then(Value::as_str);
        if let Some(hopper) = text("hopper").and_then(|text| Mass::parse(text).ok()) {
            self.hopper = Some(hopper);
        }
        // What counts of the course is what it was while powder was on.
        if data.get("powder") != Some(&Value::Bool(true)) {
            return;
        }
        self.with_powder += 1.0;
        let pressure = |name: &str| Some(Pressure::parse(text(name)?).ok()?.bar());
        let means = [
            ("fuel", &mut self.fuel),
            ("oxygen", &mut self.oxygen),
            ("carrier", &mut self.carrier),
        ];
        for (name, mean) in means {
            pressure(name).iter().for_each(|value| mean.add(*value));
        }
        if let Some(part) = text("part").and_then(|text| Temperature::parse(text).ok()) {
            self.part.add(part.celsius());
        }
    }

    /// What a part is held against the first good one by.
    #[must_use]
    pub fn course(&self) -> Course {
        Course {
            pass_time: self.pass_time.of(),
            fuel: self.fuel.of(),
            oxygen: self.oxygen.of(),
            carrier: self.carrier.of(),
            part: self.part.of(),
        }
    }

    /// How many passes were begun: with none the part is bare.
    #[must_use]
    pub const fn passes_begun(&self) -> usize {
        self.passes_begun
    }

    /// How many samples were taken while powder was on.
    #[must_use]
    pub const fn samples_with_powder(&self) -> f64 {
        self.with_powder
    }

    /// How long the flame burned.
    #[must_use]
    pub fn flame_lit(&self) -> Time {
        self.flame.until(self.last)
    }

    /// What the hopper's scale said last; `None` without a scale.
    #[must_use]
    pub const fn hopper_left(&self) -> Option<Mass> {
        self.hopper
    }

    /// When the last entry was, on the run's own time line.
    #[must_use]
    pub const fn last(&self) -> Option<Moment> {
        self.last
    }

    /// Fuels and oxygen: what the planned flow gave in the time that the fuel's valve was open.
    #[must_use]
    pub fn gas(&self, flow: &GasFlow) -> Gases {
        flow.within(self.fuel_valve.until(self.last))
    }
}

#[cfg(test)]
mod tests {
    use serde_json::json;

    use super::*;

    fn entry(seconds: f64, kind: EntryKind, data: Value) -> Entry {
        let at = Moment::START + Duration::from_secs_f64(seconds);
        let (text, cause) = (String::new(), String::new());
        Entry { number: 1, at, kind, text, cause, data }
    }

    #[test]
    fn a_run_tells_its_flame_its_gas_its_passes_and_what_was_while_powder_was_on() {
        let sample = |at, carrier: &str, powder: bool| {
            let data = json!({
                "carrier": carrier, "part": "250 degC", "hopper": "100 g", "powder": powder
            });
            entry(at, EntryKind::Sample, data)
        };
        let contact = |at, level: &str| {
            entry(at, EntryKind::Contact, json!({ "contact": "flame", "level": level }))
        };
        let valve =
            |at, level: &str| entry(at, EntryKind::Coil, json!({ "coil": "fuel", "level": level }));
        let pass = |at, mark: &str| entry(at, EntryKind::Pass, json!({ "mark": mark, "pass": 1 }));
        let gathered = Gathering::of(&[
            valve(1.0, "on"),
            contact(2.0, "on"),
            sample(3.0, "0 bar", false),
            pass(4.0, "begun"),
            sample(5.0, "2 bar", true),
            sample(6.0, "2.2 bar", true),
            pass(10.0, "ended"),
            valve(31.0, "off"),
            contact(32.0, "off"),
        ]);
        let course = gathered.course();
        assert_eq!(course.pass_time, Some(Time::from_s(6.0)));
        assert!((course.carrier.unwrap().bar() - 2.1).abs() < 1e-12);
        assert_eq!((course.fuel, course.part), (None, Some(Temperature::from_celsius(250.0))));
        assert_eq!((gathered.flame_lit(), gathered.passes_begun()), (Time::from_s(30.0), 1));
        assert_eq!(gathered.hopper_left(), Some(Mass::from_g(100.0)));
        assert_eq!(gathered.fuel_valve.until(gathered.last), Time::from_s(30.0));
    }

    #[test]
    fn a_flame_that_nobody_saw_go_out_burned_until_the_last_entry() {
        let lit = entry(2.0, EntryKind::Contact, json!({ "contact": "flame", "level": "on" }));
        let last = entry(12.0, EntryKind::State, Value::Null);
        assert_eq!(Gathering::of(&[lit, last]).flame_lit(), Time::from_s(10.0));
    }
}
