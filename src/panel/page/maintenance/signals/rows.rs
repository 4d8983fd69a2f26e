//! The rows of the tables: each signal of the rig beside what the field module said of it.

use core::time::Duration;

use evenpass_core::devices::{CoilBelief, RawField};
use evenpass_core::image::{Analogue, Contact, Level};
use evenpass_core::moment::Moment;
use evenpass_core::quantity::fixed;
use evenpass_core::rig::{AnalogueSpec, Rig, Sense, TachometerSpec};
use evenpass_core::scan::Snapshot;

use super::words::{Said, Standing, analogue, contact, doubt};
use crate::panel::texts;
use crate::people::Units;

/// A signal as its table shows it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Row {
    /// Its name for people.
    pub(super) name: &'static str,
    /// What it says.
    pub(super) said: Said,
    /// What is on the wire.
    pub(super) raw: String,
    /// Where its wire ends.
    pub(super) wired: String,
    /// How old it is.
    pub(super) age: String,
}

/// An age: what is as young as it may be has no figure, so that only what counts changes.
fn age(at: Moment, now: Moment, budget: Duration) -> String {
    let age = now.since(at);
    if age <= budget {
        return texts::FRESH.to_owned();
    }
    format!("{} s", fixed(age.as_secs_f64(), 1))
}

fn not_read() -> String {
    texts::NOT_READ_YET.to_owned()
}

/// Seconds since the inputs and since the registers were read.
pub(super) fn ages(rig: &Rig, snapshot: &Snapshot) -> (f64, f64) {
    let inputs = &snapshot.inputs;
    let fitted = rig.field.contacts.iter().filter(|spec| spec.input.is_some());
    let contacts = fitted.map(|spec| inputs.contact(spec.tag).age(snapshot.at)).min();
    let contacts = contacts.unwrap_or_default();
    (contacts.as_secs_f64(), inputs.spindle.age(snapshot.at).as_secs_f64())
}

/// The contacts that are fitted.
pub(super) fn contacts(rig: &Rig, snapshot: &Snapshot) -> Vec<Row> {
    let budget = rig.field.age_budget.to_duration();
    let row = |tag: Contact, input: u16, sense: Sense| {
        let signal = snapshot.inputs.contact(tag);
        let bit = input.saturating_sub(snapshot.field.first_input);
        let turned = if sense == Sense::Inverted { texts::TURNED } else { "" };
        Row {
            name: tag.title(),
            said: contact(tag, &signal, snapshot.at, budget),
            raw: snapshot.field.input(input).map_or_else(not_read, |bit| bit.to_string()),
            wired: format!("{} {input}, {} {bit}{turned}", texts::INPUT, texts::BIT),
            age: age(signal.at, snapshot.at, budget),
        }
    };
    let specs = rig.field.contacts.iter();
    specs.filter_map(|spec| Some(row(spec.tag, spec.input?, spec.sense))).collect()
}

/// The analogue inputs that are fitted, and the tachometer.
pub(super) fn analogues(rig: &Rig, snapshot: &Snapshot, units: Units) -> Vec<Row> {
    let budget = rig.field.age_budget.to_duration();
    let row = |spec: &AnalogueSpec, tag: Analogue, register: u16| {
        let signal = snapshot.inputs.analogue(tag);
        Row {
            name: tag.title(),
            said: analogue(tag, &signal, snapshot.at, budget, units),
            raw: snapshot
                .field
                .register(register)
                .map_or_else(not_read, |count| current(spec, count)),
            wired: format!("{} {register}", texts::REGISTER),
            age: age(signal.at, snapshot.at, budget),
        }
    };
    let specs = rig.field.analogues.iter();
    let fitted = specs.filter_map(|spec| Some(row(spec, spec.tag, spec.register?)));
    let mut rows: Vec<Row> = fitted.collect();
    rows.push(tachometer(&rig.field.tachometer, snapshot, budget));
    rows
}

/// A count with the current that it stands for.
fn current(spec: &AnalogueSpec, count: u16) -> String {
    let milliampere = f64::from(count) * spec.microampere_per_count / 1_000.0;
    format!("{count} = {} mA", fixed(milliampere, 2))
}

fn tachometer(spec: &TachometerSpec, snapshot: &Snapshot, budget: Duration) -> Row {
    let signal = snapshot.inputs.spindle;
    let register = |address| snapshot.field.register(address);
    let raw = |raw: &RawField| {
        let (high, low) =
            (raw.register(spec.period_register)?, raw.register(spec.period_register + 1)?);
        let period = u32::from(high) << 16 | u32::from(low);
        let (count, since) = (register(spec.count_register)?, register(spec.since_register)?);
        let period = match period {
            u32::MAX => texts::NO_PULSE.to_owned(),
            period => format!("{period} \u{b5}s"),
        };
        Some(format!("{period}; {count} {}; {since} ms", texts::PULSES))
    };
    let words = format!("{} rpm", fixed(signal.value.measured.rpm(), 1));
    Row {
        name: texts::TACHOMETER,
        said: doubt(&signal, snapshot.at, budget)
            .unwrap_or(Said { standing: Standing::Usual, words }),
        raw: raw(&snapshot.field).unwrap_or_else(not_read),
        wired: format!(
            "{} {} {} {}, {}, {}",
            texts::REGISTERS,
            spec.period_register,
            texts::AND,
            spec.period_register + 1,
            spec.count_register,
            spec.since_register
        ),
        age: age(signal.at, snapshot.at, budget),
    }
}

/// The coils that are fitted.
pub(super) fn coils(rig: &Rig, snapshot: &Snapshot) -> Vec<Row> {
    let specs = rig.field.coils.iter().filter_map(|spec| Some((spec.coil, spec.output?)));
    let row = |(coil, output): (evenpass_core::image::Coil, u16)| {
        let belief = snapshot.field.coil(coil);
        Row {
            name: coil.title(),
            said: coil_said(belief),
            raw: belief.map_or_else(not_read, coil_raw),
            wired: format!("{} {output}", texts::COIL),
            age: String::new(),
        }
    };
    specs.map(row).collect()
}

/// What is believed of a coil: what the module says for itself, where it and what it was told agree.
fn coil_said(belief: Option<CoilBelief>) -> Said {
    let believed = belief.and_then(|belief| belief.acknowledged);
    let (standing, words) = match believed {
        Some(Level::On) => (Standing::Usual, texts::ENERGISED),
        Some(Level::Off) => (Standing::Usual, texts::DE_ENERGISED),
        None => (Standing::NotBelieved, texts::COIL_UNKNOWN),
    };
    Said { standing, words: words.to_owned() }
}

/// Commanded, acknowledged and read back, each as its bit.
fn coil_raw(belief: CoilBelief) -> String {
    let bit = |level: Option<Level>| match level {
        Some(Level::On) => "1",
        Some(Level::Off) => "0",
        None => "?",
    };
    format!(
        "{} {}, {} {}, {} {}",
        texts::TOLD,
        bit(belief.commanded),
        texts::ECHOED,
        bit(belief.acknowledged),
        texts::READ_BACK,
        bit(belief.confirmed)
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_count_is_shown_with_its_current_and_a_coil_with_what_each_side_says() {
        let (rig, _) = crate::files::rig(None).expect("the bench");
        let spec = rig.field.analogues.iter().find(|spec| spec.register.is_some());
        assert_eq!(current(spec.expect("one"), 12_000), "12000 = 12.00 mA");
        let belief = CoilBelief {
            commanded: Some(Level::On),
            acknowledged: None,
            confirmed: Some(Level::Off),
        };
        assert_eq!(coil_raw(belief), "told 1, echoed ?, read back 0");
        assert_eq!(coil_said(Some(belief)).mark(), Some("failed"));
        let echoed = CoilBelief { acknowledged: Some(Level::On), ..belief };
        assert_eq!(coil_said(Some(echoed)).words, texts::ENERGISED);
    }

    #[test]
    fn an_age_within_its_budget_is_fresh_and_beyond_it_a_figure() {
        let at = |ms: u64| Moment::from_micros(ms * 1_000);
        let budget = Duration::from_millis(200);
        assert_eq!(age(at(0), at(200), budget), texts::FRESH);
        assert_eq!(age(at(0), at(1_240), budget), "1.2 s");
    }
}
