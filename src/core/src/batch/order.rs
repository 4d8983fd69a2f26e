//! What of an order is made, and which part is next.

use serde::{Deserialize, Serialize};

/// What becomes of a part that was scrapped.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Scrapped {
    /// It is made again, by its number, after those that were not made yet.
    #[default]
    MadeAgain,
    /// The order comes to one part less.
    Lost,
}

/// An order for parts alike, as far as counting goes.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub struct Order {
    /// How many parts.
    pub parts: u32,
    /// The first part is measured, and every so-many-th after it; `None` for the first alone.
    pub measured_every: Option<u32>,
    /// What becomes of a scrapped part.
    pub scrapped: Scrapped,
}

/// How one attempt at a part stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Fate {
    /// It is being made.
    Running,
    /// It ended before any powder was released: the part stands as the attempt before left it, bare
    /// where there was none.
    Bare,
    /// It came to its end; nobody has decided.
    Made,
    /// It was broken off with powder on it; nobody has decided.
    BrokenOff,
    /// It was broken off, and its coat is taken off again: it is to be made anew.
    Stripped,
    /// Decided: it goes to whoever ordered it.
    Pass,
    /// Decided: it waits.
    Hold,
    /// Decided: it is lost.
    Scrap,
}

/// One attempt at a part, in the order in which they were begun.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub struct Attempt {
    /// Which part, from 1.
    pub number: u32,
    /// How it stands.
    pub fate: Fate,
}

/// A part that is to be made.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub struct Queued {
    /// Which part, from 1.
    pub number: u32,
    /// How often it was scrapped before.
    pub scrapped_before: usize,
}

/// An order as it stands: of each part its latest attempt says it that was not [`Fate::Bare`].
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize)]
pub struct Tally {
    /// Parts ordered.
    pub of: u32,
    /// Parts passed.
    pub passed: Vec<u32>,
    /// Parts made that nobody has decided about.
    pub undecided: Vec<u32>,
    /// Parts on hold, and those that were broken off, which wait for somebody to decide.
    pub on_hold: Vec<u32>,
    /// Parts that are lost, and not made again.
    pub lost: Vec<u32>,
    /// Attempts scrapped in all, those at parts that were made again since as well.
    pub scrapped: usize,
    /// The part that is being made.
    pub running: Option<u32>,
    /// What is to be made, in its order: what was never made by its number, then what is made again.
    pub queue: Vec<Queued>,
}

impl Tally {
    /// The next part; `None` when there is none to be made.
    #[must_use]
    pub fn next(&self) -> Option<Queued> {
        self.queue.first().copied()
    }

    /// Parts that came to their end, whatever was decided, those lost left out.
    #[must_use]
    pub const fn made(&self) -> usize {
        self.passed.len() + self.undecided.len() + self.on_hold.len()
    }
}

/// How an order stands after these attempts.
#[must_use]
pub fn tally(order: &Order, attempts: &[Attempt]) -> Tally {
    let mut tally = Tally { of: order.parts, ..Tally::default() };
    let mut again = Vec::new();
    for number in 1..=order.parts {
        let own = || attempts.iter().filter(|attempt| attempt.number == number);
        let scrapped_before = own().filter(|attempt| attempt.fate == Fate::Scrap).count();
        tally.scrapped += scrapped_before;
        let queued = Queued { number, scrapped_before };
        // What lies on a part is not undone by an attempt that laid nothing on it.
        let changed = |attempt: &&Attempt| attempt.fate != Fate::Bare;
        match (own().rfind(changed).map(|latest| latest.fate), order.scrapped) {
            (None | Some(Fate::Bare | Fate::Stripped), _) => tally.queue.push(queued),
            (Some(Fate::Scrap), Scrapped::MadeAgain) => again.push(queued),
            (Some(Fate::Scrap), Scrapped::Lost) => tally.lost.push(number),
            (Some(Fate::Running), _) => tally.running = Some(number),
            (Some(Fate::Made), _) => tally.undecided.push(number),
            (Some(Fate::Pass), _) => tally.passed.push(number),
            (Some(Fate::Hold | Fate::BrokenOff), _) => tally.on_hold.push(number),
        }
    }
    tally.queue.append(&mut again);
    tally
}

/// Why a part is to be measured.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum WhyMeasured {
    /// It is the first of its batch.
    FirstOff,
    /// Its turn has come.
    EveryKth,
    /// It is the first of a new lot of powder.
    NewLot,
}

impl WhyMeasured {
    /// All of them.
    pub const ALL: [Self; 3] = [Self::FirstOff, Self::EveryKth, Self::NewLot];

    /// In words.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::FirstOff => "first-off",
            Self::EveryKth => "its turn",
            Self::NewLot => "first of a new powder lot",
        }
    }
}

/// Whether a new lot of powder was taken into use.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum PowderLot {
    /// The same as for the part before.
    Same,
    /// A new one since the part before.
    New,
}

/// Why that part is to be measured; `None` when it is not. The first and every k-th after it:
/// with k = 5 these are 1, 6, 11 (first-off and every k-th: common practice, no source).
#[must_use]
pub fn why_measured(order: &Order, number: u32, lot: PowderLot) -> Option<WhyMeasured> {
    let after_first = number.checked_sub(1)?;
    let every = order.measured_every.filter(|every| *every > 0);
    if after_first == 0 {
        Some(WhyMeasured::FirstOff)
    } else if every.is_some_and(|every| after_first.is_multiple_of(every)) {
        Some(WhyMeasured::EveryKth)
    } else if lot == PowderLot::New {
        Some(WhyMeasured::NewLot)
    } else {
        None
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const ORDER: Order = Order { parts: 5, measured_every: Some(2), scrapped: Scrapped::MadeAgain };

    fn after(order: &Order, fates: &[(u32, Fate)]) -> Tally {
        let attempts: Vec<Attempt> =
            fates.iter().map(|&(number, fate)| Attempt { number, fate }).collect();
        tally(order, &attempts)
    }

    fn numbers(tally: &Tally) -> Vec<u32> {
        tally.queue.iter().map(|queued| queued.number).collect()
    }

    #[test]
    fn parts_are_made_by_their_numbers() {
        assert_eq!(numbers(&after(&ORDER, &[])), [1, 2, 3, 4, 5]);
        let tally = after(&ORDER, &[(1, Fate::Pass), (2, Fate::Made)]);
        assert_eq!((numbers(&tally), tally.made()), (vec![3, 4, 5], 2));
        assert_eq!((tally.passed, tally.undecided), (vec![1], vec![2]));
    }

    #[test]
    fn a_scrapped_part_is_made_again_after_those_that_were_never_made() {
        let mut fates = vec![(1, Fate::Pass), (2, Fate::Scrap), (3, Fate::Pass)];
        let tally = after(&ORDER, &fates);
        assert_eq!((numbers(&tally), tally.scrapped), (vec![4, 5, 2], 1));
        assert_eq!(tally.queue[2].scrapped_before, 1);
        fates.extend([(4, Fate::Pass), (5, Fate::Pass), (2, Fate::Bare)]);
        assert_eq!(numbers(&after(&ORDER, &fates)), [2]);
        fates.push((2, Fate::Pass));
        let tally = after(&ORDER, &fates);
        assert_eq!((tally.next(), tally.scrapped, tally.passed.len()), (None, 1, 5));
    }

    #[test]
    fn a_scrapped_part_is_lost_where_the_order_says_so() {
        let order = Order { scrapped: Scrapped::Lost, ..ORDER };
        let tally = after(&order, &[(1, Fate::Scrap)]);
        assert_eq!((numbers(&tally), tally.lost), (vec![2, 3, 4, 5], vec![1]));
    }

    #[test]
    fn a_part_that_was_broken_off_waits_for_a_person_and_a_bare_one_for_its_next_attempt() {
        let tally = after(&ORDER, &[(1, Fate::BrokenOff), (2, Fate::Bare)]);
        assert_eq!((tally.on_hold.clone(), numbers(&tally)), (vec![1], vec![2, 3, 4, 5]));
        // Taken up again, its latest attempt counts.
        let tally = after(&ORDER, &[(1, Fate::BrokenOff), (1, Fate::Made)]);
        assert_eq!((tally.on_hold.len(), tally.undecided), (0, vec![1]));
        let tally = after(&ORDER, &[(1, Fate::Stripped), (2, Fate::Made)]);
        assert_eq!((tally.on_hold.len(), numbers(&tally)), (0, vec![1, 3, 4, 5]));
    }

    #[test]
    fn a_part_with_powder_on_it_is_not_bare_because_its_next_attempt_ended_before_a_pass() {
        let stands = |fates: &[Fate]| {
            let fates: Vec<(u32, Fate)> = fates.iter().map(|fate| (1, *fate)).collect();
            after(&ORDER, &fates)
        };
        assert_eq!(stands(&[Fate::BrokenOff, Fate::Bare]).on_hold, [1]);
        assert_eq!(stands(&[Fate::Hold, Fate::Bare, Fate::Bare]).on_hold, [1]);
        assert_eq!(stands(&[Fate::Bare, Fate::Made, Fate::Bare]).undecided, [1]);
        assert_eq!(stands(&[Fate::Pass, Fate::Bare]).passed, [1]);
        // What was scrapped lies on no part any more.
        for fates in [vec![Fate::Bare], vec![Fate::BrokenOff, Fate::Scrap, Fate::Bare]] {
            assert!(numbers(&stands(&fates)).contains(&1), "{fates:?}");
        }
        let lost = Order { scrapped: Scrapped::Lost, ..ORDER };
        assert_eq!(after(&lost, &[(1, Fate::Scrap), (1, Fate::Bare)]).lost, [1]);
    }

    #[test]
    fn the_first_part_is_measured_and_every_kth_after_it() {
        let measured = |every| {
            let order = Order { parts: 30, measured_every: every, ..ORDER };
            let is = |number: &u32| why_measured(&order, *number, PowderLot::Same).is_some();
            (1..=30).filter(is).collect::<Vec<u32>>()
        };
        assert_eq!(measured(Some(5)), [1, 6, 11, 16, 21, 26]);
        assert_eq!(measured(None), [1]);
        assert_eq!(measured(Some(0)), [1]);
        assert_eq!(why_measured(&ORDER, 2, PowderLot::New), Some(WhyMeasured::NewLot));
    }
}
