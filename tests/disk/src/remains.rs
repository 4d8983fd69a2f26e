//! What a disk holds after its power was cut.
//!
//! What was synced is there. Of what was written since, each write is there or not, whatever came
//! before or after it, and the last one may be there in part: so many whole sectors of 512 bytes,
//! the smallest that disks write. Each making and removal of a file since the folder was synced
//! took place or did not. A sector that was being written holds old or new, and bytes beside a
//! write stay as they were: SQLite takes that for granted too (its "powersafe overwrite").

use std::collections::BTreeMap;

use crate::dice::{Dice, Fate};
use crate::disk::{Operation, Part};

/// Bytes in a sector.
const SECTOR: u64 = 512;

/// Whether a sync keeps what it promises.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Trust {
    /// What was synced is on the disk.
    Kept,
    /// Nothing ever is: a disk that lies, or a program that does not sync.
    Broken,
}

/// The files that are there, with what they hold.
pub type Left = BTreeMap<Part, Vec<u8>>;

/// A disk, brought from one operation to the next.
#[derive(Debug)]
pub struct Remains {
    trust: Trust,
    files: Vec<File>,
    /// The folder as programs see it: which file has which name.
    folder: BTreeMap<Part, usize>,
    /// The folder as it is on the disk.
    kept_folder: BTreeMap<Part, usize>,
    /// What was made and removed since the folder was synced.
    renamed: Vec<(Part, Option<usize>)>,
}

#[derive(Debug, Default)]
struct File {
    kept: Vec<u8>,
    since: Vec<Change>,
}

#[derive(Debug)]
enum Change {
    Wrote { offset: u64, bytes: Vec<u8>, number: u64 },
    Cut { size: u64 },
}

impl Remains {
    /// A disk with no such files.
    #[must_use]
    pub const fn of_nothing(trust: Trust) -> Self {
        Self {
            trust,
            files: Vec::new(),
            folder: BTreeMap::new(),
            kept_folder: BTreeMap::new(),
            renamed: Vec::new(),
        }
    }

    /// Does an operation, the `number`-th.
    pub fn take(&mut self, number: u64, operation: &Operation) {
        match operation {
            Operation::Made(part) => {
                let file = self.files.len();
                self.files.push(File::default());
                self.folder.insert(*part, file);
                self.renamed.push((*part, Some(file)));
            }
            Operation::Removed(part) => {
                self.folder.remove(part);
                self.renamed.push((*part, None));
            }
            Operation::Wrote { part, offset, bytes } => {
                let (offset, bytes) = (*offset, bytes.clone());
                self.change(*part, Change::Wrote { offset, bytes, number });
            }
            Operation::Cut { part, size } => self.change(*part, Change::Cut { size: *size }),
            Operation::Synced(part) if self.trust == Trust::Kept => {
                if let Some(file) = self.file(*part) {
                    for change in file.since.drain(..) {
                        change.apply(&mut file.kept, None);
                    }
                }
            }
            Operation::SyncedFolder if self.trust == Trust::Kept => {
                self.kept_folder.clone_from(&self.folder);
                self.renamed.clear();
            }
            Operation::Synced(_) | Operation::SyncedFolder => {}
        }
    }

    fn file(&mut self, part: Part) -> Option<&mut File> {
        let file = *self.folder.get(&part)?;
        self.files.get_mut(file)
    }

    fn change(&mut self, part: Part, change: Change) {
        if let Some(file) = self.file(part) {
            file.since.push(change);
        }
    }

    /// What is left when the power goes now.
    #[must_use]
    pub fn cut(&self, dice: &mut Dice) -> Left {
        let mut folder = self.kept_folder.clone();
        for (part, file) in &self.renamed {
            match (dice.fate(), file) {
                (Fate::Kept, Some(file)) => drop(folder.insert(*part, *file)),
                (Fate::Kept, None) => drop(folder.remove(part)),
                (Fate::Lost, _) => {}
            }
        }
        let last = self.files.iter().flat_map(|file| &file.since).filter_map(Change::number).max();
        let mut left = Left::new();
        for (part, file) in folder {
            let Some(file) = self.files.get(file) else { continue };
            let mut bytes = file.kept.clone();
            for change in &file.since {
                let is_last = last.is_some() && change.number() == last;
                match dice.fate() {
                    _ if is_last && dice.below(3) == 0 => {
                        let sectors = change.sectors();
                        change.apply(&mut bytes, Some(dice.below(sectors)));
                    }
                    Fate::Kept => change.apply(&mut bytes, None),
                    Fate::Lost => {}
                }
            }
            left.insert(part, bytes);
        }
        left
    }
}

impl Change {
    const fn number(&self) -> Option<u64> {
        match self {
            Self::Wrote { number, .. } => Some(*number),
            Self::Cut { .. } => None,
        }
    }

    /// How many sectors it touches.
    fn sectors(&self) -> u64 {
        match self {
            Self::Wrote { offset, bytes, .. } => {
                (offset + bytes.len() as u64).div_ceil(SECTOR) - offset / SECTOR
            }
            Self::Cut { .. } => 0,
        }
    }

    /// Does it to a file, or only its first sectors.
    fn apply(&self, file: &mut Vec<u8>, sectors: Option<u64>) {
        match self {
            Self::Wrote { offset, bytes, .. } => {
                let end = match sectors {
                    Some(sectors) => (offset / SECTOR + sectors) * SECTOR,
                    None => u64::MAX,
                };
                let whole = bytes.len();
                let size = usize::try_from(end.saturating_sub(*offset)).unwrap_or(whole).min(whole);
                let from = usize::try_from(*offset).unwrap_or(usize::MAX);
                let to = from.saturating_add(size);
                if size > 0 && file.len() < to {
                    file.resize(to, 0);
                }
                if let (Some(into), Some(bytes)) = (file.get_mut(from..to), bytes.get(..size)) {
                    into.copy_from_slice(bytes);
                }
            }
            // Cutting a file that is shorter makes it longer, as the system does.
            Self::Cut { size } => file.resize(usize::try_from(*size).unwrap_or(usize::MAX), 0),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const FILE: Part = Part::Database;

    fn wrote(offset: u64, byte: u8, size: usize) -> Operation {
        Operation::Wrote { part: FILE, offset, bytes: vec![byte; size] }
    }

    fn after(trust: Trust, operations: &[Operation]) -> Remains {
        let mut remains = Remains::of_nothing(trust);
        for (number, operation) in (0..).zip(operations) {
            remains.take(number, operation);
        }
        remains
    }

    fn synced() -> [Operation; 5] {
        let made = Operation::Made(FILE);
        let synced = Operation::Synced(FILE);
        [made, wrote(0, 1, 2048), synced, Operation::SyncedFolder, wrote(512, 2, 1024)]
    }

    #[test]
    fn what_was_synced_is_there_whatever_is_drawn_and_each_later_write_is_whole_lost_or_torn() {
        let remains = after(Trust::Kept, &synced());
        let mut seen = [false; 3];
        for seed in 0..200 {
            let left = remains.cut(&mut Dice::new(seed));
            let bytes = &left[&FILE];
            assert_eq!(bytes.len(), 2048);
            assert!(bytes[..512].iter().chain(&bytes[1536..]).all(|byte| *byte == 1));
            let new = bytes.iter().filter(|byte| **byte == 2).count();
            assert_eq!(new % 512, 0, "a sector is old or new");
            assert!(bytes[512..512 + new].iter().all(|byte| *byte == 2), "its first part");
            seen[new / 512] = true;
        }
        assert_eq!(seen, [true; 3]);
    }

    #[test]
    fn a_file_is_there_for_certain_once_its_folder_was_synced_and_gone_once_more() {
        let is_there = |operations: &[Operation]| -> Vec<bool> {
            let remains = after(Trust::Kept, operations);
            (0..100).map(|seed| remains.cut(&mut Dice::new(seed)).contains_key(&FILE)).collect()
        };
        let [made, ..] = synced();
        let maybe = is_there(std::slice::from_ref(&made));
        assert!(maybe.contains(&true) && maybe.contains(&false));
        assert!(is_there(&[made.clone(), Operation::SyncedFolder]).iter().all(|there| *there));
        let removed = Operation::Removed(FILE);
        let gone = is_there(&[made, Operation::SyncedFolder, removed, Operation::SyncedFolder]);
        assert!(gone.iter().all(|there| !there));
    }

    #[test]
    fn a_disk_that_breaks_its_promise_may_lose_everything() {
        let remains = after(Trust::Broken, &synced());
        assert!((0..100).any(|seed| remains.cut(&mut Dice::new(seed)).is_empty()));
    }
}
