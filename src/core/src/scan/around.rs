//! The images around a first cause: a short ring of what was read before it counted and after,
//! value and age of each signal that matters.

use core::time::Duration;

use serde_json::{Value, json};

use super::episode::Episode;
use crate::image::{Analogue, Coil, Contact, Inputs, Kind, Outputs, Signal};
use crate::interlock::matrix::{Source, row};
use crate::ledger::{EntryKind, Ledger};
use crate::moment::Moment;

/// Scans kept one by one before a cause; a quarter of a second of the bench's.
const FINE: usize = 12;
/// Images kept farther back, and how far apart: the slowest single-stage row waits 3 s.
const COARSE: usize = 8;
/// See above.
const COARSE_EVERY: Duration = Duration::from_millis(500);
/// Scans kept after a cause.
const AFTER: usize = 12;

/// One image: what was read and what was in force.
#[derive(Debug, Clone)]
struct Image {
    inputs: Inputs,
    outputs: Outputs,
}

/// Images gathered around a cause.
#[derive(Debug, Clone)]
struct Gathering {
    episode: Episode,
    images: Vec<Image>,
    left: usize,
}

/// The last `MOST` images. Once full, each takes the oldest one's place: a scan makes one copy and
/// asks for no memory.
#[derive(Debug, Clone, Default)]
struct Ring<const MOST: usize> {
    images: Vec<Image>,
    /// The place of the oldest one, once full.
    oldest: usize,
}

impl<const MOST: usize> Ring<MOST> {
    fn keep(&mut self, inputs: &Inputs, outputs: &Outputs) {
        if self.images.len() < MOST {
            self.images.push(Image { inputs: inputs.clone(), outputs: *outputs });
        } else if let Some(image) = self.images.get_mut(self.oldest) {
            image.inputs.clone_from(inputs);
            image.outputs = *outputs;
            self.oldest = (self.oldest + 1) % MOST;
        }
    }

    /// From the oldest to the newest.
    fn iter(&self) -> impl Iterator<Item = &Image> {
        let (newer, older) = self.images.split_at_checked(self.oldest).unwrap_or_default();
        older.iter().chain(newer)
    }
}

/// What was read of late, and what is gathered around a cause.
#[derive(Debug, Clone, Default)]
pub(super) struct Around {
    fine: Ring<FINE>,
    coarse: Ring<COARSE>,
    coarse_due: Moment,
    gathering: Option<Gathering>,
}

impl Around {
    /// An episode has begun: the ring is kept, and the images after it are added. One that is
    /// still being gathered is told as far as it has come.
    pub(super) fn begin(&mut self, episode: Episode, ledger: &mut Ledger) {
        self.tell(ledger);
        let oldest = self.fine.iter().next().map_or(Moment::NEVER, |image| image.inputs.now);
        let before = self.coarse.iter().filter(|image| image.inputs.now < oldest);
        let mut images = Vec::with_capacity(COARSE + FINE + AFTER);
        images.extend(before.chain(self.fine.iter()).cloned());
        self.gathering = Some(Gathering { episode, images, left: AFTER });
    }

    /// Takes in one scan: what was read, and what was in force when it was read.
    pub(super) fn look(&mut self, inputs: &Inputs, outputs: &Outputs, ledger: &mut Ledger) {
        if let Some(gathering) = &mut self.gathering {
            gathering.images.push(Image { inputs: inputs.clone(), outputs: *outputs });
            gathering.left = gathering.left.saturating_sub(1);
            if gathering.left == 0 {
                self.tell(ledger);
            }
        }
        if inputs.now >= self.coarse_due {
            self.coarse_due = inputs.now + COARSE_EVERY;
            self.coarse.keep(inputs, outputs);
        }
        self.fine.keep(inputs, outputs);
    }

    fn tell(&mut self, ledger: &mut Ledger) {
        let Some(Gathering { episode, images, .. }) = self.gathering.take() else { return };
        let Some(last) = images.last() else { return };
        let times: Vec<i64> =
            images.iter().map(|image| signed(image.inputs.now) - signed(episode.began)).collect();
        let title = row(episode.key).map_or(episode.key, |row| row.title);
        ledger.write(
            last.inputs.now,
            EntryKind::Images,
            format!("images around: {title}"),
            String::new(),
            json!({
                "cause": episode.key,
                "began_us": episode.began.as_micros(),
                "times_us": times,
                "signals": signals(episode.key, &images),
            }),
        );
    }
}

fn signed(at: Moment) -> i64 {
    i64::try_from(at.as_micros()).unwrap_or(i64::MAX)
}

/// The signals that matter: the cause's own first, then those that tell how the machine stood.
fn signals(key: &str, images: &[Image]) -> Vec<Value> {
    let (mut contacts, mut analogues) = own(key);
    let mut add = |tag: Contact| {
        if !contacts.contains(&tag) {
            contacts.push(tag);
        }
    };
    add(Contact::Flame);
    add(Contact::EmergencyStop);
    add(Contact::Guard);
    add(Contact::WatchdogRelay);
    for tag in [
        Analogue::FuelPressure,
        Analogue::OxygenPressure,
        Analogue::CarrierPressure,
        Analogue::PartTemperature,
    ] {
        if !analogues.contains(&tag) {
            analogues.push(tag);
        }
    }
    let mut told: Vec<Value> = Vec::new();
    for tag in contacts {
        told.push(column(tag.title(), "", images, |image| {
            let signal = image.inputs.contact(tag);
            (
                shown(signal, |level| if level.is_on() { "on" } else { "off" }.to_owned()),
                age(signal, image),
            )
        }));
    }
    for tag in analogues {
        told.push(column(tag.title(), tag.unit(), images, |image| {
            let signal = image.inputs.analogue(tag);
            (shown(signal, figure), age(signal, image))
        }));
    }
    told.push(column("carriage", "mm", images, |image| {
        let signal = image.inputs.axis;
        (shown(signal, |axis| format!("{:.1}", axis.position.mm())), age(signal, image))
    }));
    told.push(column("carriage speed", "mm/s", images, |image| {
        let signal = image.inputs.axis;
        (shown(signal, |axis| format!("{:.1}", axis.velocity.mm_per_s())), age(signal, image))
    }));
    told.push(column("spindle", "rpm", images, |image| {
        let signal = image.inputs.spindle;
        (shown(signal, |spindle| format!("{:.1}", spindle.measured.rpm())), age(signal, image))
    }));
    for (coil, title) in [
        (Coil::Powder, "powder asked"),
        (Coil::Fuel, "fuel asked"),
        (Coil::Oxygen, "oxygen asked"),
        (Coil::Supply, "supply asked"),
    ] {
        told.push(column(title, "", images, |image| {
            let level = if coil == Coil::Powder {
                image.outputs.powder.now
            } else {
                image.outputs.coil(coil)
            };
            (if level.is_on() { "on" } else { "off" }.to_owned(), None)
        }));
    }
    told
}

/// What a row watches itself. The drive and the spindle are told in any case.
fn own(key: &str) -> (Vec<Contact>, Vec<Analogue>) {
    match row(key).map(|row| row.watch.source()) {
        Some(Source::Contact(tag)) => (vec![tag], Vec::new()),
        Some(Source::Analogue(tag)) => (Vec::new(), vec![tag]),
        _ => (Vec::new(), Vec::new()),
    }
}

/// One signal over the images: its values as shown and its ages in ms.
fn column(
    name: &str,
    unit: &str,
    images: &[Image],
    read: impl Fn(&Image) -> (String, Option<u64>),
) -> Value {
    let (shown, ages): (Vec<String>, Vec<Option<u64>>) = images.iter().map(read).unzip();
    json!({ "name": name, "unit": unit, "shown": shown, "age_ms": ages })
}

/// A value with as many decimals as a page has room for.
fn figure(value: f64) -> String {
    if value.abs() < 100.0 { format!("{value:.2}") } else { format!("{value:.1}") }
}

fn shown<T: Copy>(signal: Signal<T>, words: impl Fn(T) -> String) -> String {
    match signal.kind {
        Kind::Failed(_) => "failed".to_owned(),
        Kind::Measured | Kind::Held => words(signal.value),
    }
}

fn age<T: Copy>(signal: Signal<T>, image: &Image) -> Option<u64> {
    u64::try_from(signal.age(image.inputs.now).as_millis()).ok()
}
