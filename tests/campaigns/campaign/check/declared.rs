//! What the checker has been told of the faults at work. A violation counts unless a fault that
//! was declared made it impossible for anybody to prevent it; what was not declared excuses
//! nothing.

use evenpass_hil::{Coil, Discrete, Fault, LineFault, LineIndex, PlantFault, Target, Word};

use super::super::schedule::Event;

/// A line fault whose probability is this or more leaves nothing through that could be relied on.
const CERTAIN: f64 = 1.0;

/// The faults at work.
#[derive(Debug, Clone, Default)]
pub(crate) struct Declared {
    signals: Vec<(Target, Word)>,
    lines: Vec<(LineIndex, LineFault, f64)>,
    clamp_lost: bool,
    extraction_failed: bool,
    mains_off: bool,
    ports_gone: [bool; 2],
}

impl Declared {
    /// Takes note of something that happens.
    pub(crate) fn note(&mut self, event: &Event) {
        match *event {
            Event::Inject(Fault::Signal { target, word }) => {
                self.signals.retain(|(known, _)| *known != target);
                if word != Word::Ok {
                    self.signals.push((target, word));
                }
            }
            Event::Inject(Fault::Line { line, fault, chance }) => {
                self.lines.push((line, fault, chance));
            }
            Event::Inject(Fault::Plant(PlantFault::ClampLost)) => self.clamp_lost = true,
            Event::Inject(Fault::Plant(PlantFault::ExtractionFailed)) => {
                self.extraction_failed = true;
            }
            Event::Mend(target) => self.signals.retain(|(known, _)| *known != target),
            Event::MendLine(line) => self.lines.retain(|(known, ..)| *known != line),
            Event::MendPlant => {
                self.clamp_lost = false;
                self.extraction_failed = false;
            }
            Event::MainsOff => self.mains_off = true,
            Event::MainsOn => self.mains_off = false,
            Event::PortGone(line) => self.ports_gone[index(line)] = true,
            Event::PortBack(line) => self.ports_gone[index(line)] = false,
            _ => {}
        }
    }

    /// Everything is mended.
    pub(crate) fn mended(&mut self) {
        *self = Self::default();
    }

    pub(crate) const fn mains_are_off(&self) -> bool {
        self.mains_off
    }

    pub(crate) fn at(&self, target: Target) -> Option<Word> {
        self.signals.iter().find(|(known, _)| *known == target).map(|(_, word)| *word)
    }

    pub(crate) fn is_faulty(&self, target: Target) -> bool {
        self.at(target).is_some()
    }

    /// Whether a contact may read closed although it is open. Dead contacts read open.
    pub(crate) fn contact_lies(&self, contact: Discrete) -> bool {
        self.at(Target::Discrete(contact)).is_some_and(invents)
    }

    /// Whether a coil may be energised although the module does not drive it.
    pub(crate) fn coil_sticks(&self, coil: Coil) -> bool {
        self.at(Target::Coil(coil)).is_some_and(invents)
    }

    /// Whether the part can stand although chuck and pulses say that it turns.
    pub(crate) const fn clamp_is_lost(&self) -> bool {
        self.clamp_lost
    }

    pub(crate) const fn extraction_has_failed(&self) -> bool {
        self.extraction_failed
    }

    /// Whether a module or device hears nothing of the program.
    pub(crate) fn is_cut_off(&self, line: LineIndex, device: Target) -> bool {
        let cut = self.lines.iter().any(|(on, fault, chance)| {
            *on == line
                && (*fault == LineFault::Cut
                    || (*fault == LineFault::LostRequest && *chance >= CERTAIN))
        });
        // A device that is stuck or refuses acts on nothing it is told.
        let deaf = matches!(self.at(device), Some(Word::Off | Word::Stuck | Word::Wrong(_)));
        cut || deaf || self.ports_gone[index(line)] || self.mains_off
    }

    /// Whether anything is wrong with a line or a device on it.
    pub(crate) fn is_in_trouble(&self, line: LineIndex) -> bool {
        let devices: &[Target] = match line {
            LineIndex::Field => &[Target::FieldIo],
            LineIndex::Motion => &[Target::Drive, Target::Inverter],
        };
        self.mains_off
            || self.ports_gone[index(line)]
            || self.lines.iter().any(|(on, ..)| *on == line)
            || devices.iter().any(|device| self.is_faulty(*device))
    }
}

/// Whether a word can make something out of nothing.
fn invents(word: Word) -> bool {
    match word {
        Word::Stuck | Word::Garbage | Word::Wrong(_) | Word::Slow(_) | Word::Delayed(_) => true,
        Word::Ok | Word::Off | Word::Intermittent(_) => false,
    }
}

/// A line's number in the rig.
pub(crate) const fn index(line: LineIndex) -> usize {
    match line {
        LineIndex::Field => 0,
        LineIndex::Motion => 1,
    }
}
