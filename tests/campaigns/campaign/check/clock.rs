//! How long something unsafe has lasted, and how long it may.

use super::excuse::Excuse;

/// What stands against counting.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Grace {
    /// Nothing: it counts.
    None,
    /// It counts, and may last longer by so much, us.
    Longer(Excuse, u64),
    /// It does not count.
    Excused(Excuse),
}

/// One unsafe combination.
#[derive(Debug, Clone)]
pub(crate) struct Clock {
    /// Its name.
    pub(crate) key: &'static str,
    /// How long it may last, us.
    pub(crate) longest_us: u64,
    raw_since: Option<u64>,
    counted_since: Option<u64>,
    longer: Option<(Excuse, u64)>,
    used: Option<Excuse>,
    told: bool,
    /// How often it came.
    pub(crate) times: u64,
    /// The longest that it lasted without an excuse, us.
    pub(crate) worst_us: u64,
    /// Excuses that were needed.
    pub(crate) excuses: Vec<Excuse>,
}

impl Clock {
    pub(crate) const fn new(key: &'static str, longest_us: u64) -> Self {
        Self {
            key,
            longest_us,
            raw_since: None,
            counted_since: None,
            longer: None,
            used: None,
            told: false,
            times: 0,
            worst_us: 0,
            excuses: Vec::new(),
        }
    }

    /// One look. Answers how long it has lasted when that is too long, once an interval.
    pub(crate) fn look(&mut self, now_us: u64, is_so: bool, grace: Grace) -> Option<u64> {
        if !is_so {
            self.raw_since = None;
            self.counted_since = None;
            self.longer = None;
            self.used = None;
            self.told = false;
            return None;
        }
        if self.raw_since.is_none() {
            self.times += 1;
        }
        let raw = now_us - *self.raw_since.get_or_insert(now_us);
        match grace {
            Grace::Excused(excuse) => {
                self.counted_since = None;
                if raw > self.longest_us {
                    self.use_up(excuse);
                }
                return None;
            }
            Grace::Longer(excuse, by_us) => {
                let before = self.longer.map_or(0, |(_, by_us)| by_us);
                if by_us > before {
                    self.longer = Some((excuse, by_us));
                }
            }
            Grace::None => {}
        }
        let lasted = now_us - *self.counted_since.get_or_insert(now_us);
        let longest = self.longest_us + self.longer.map_or(0, |(_, by_us)| by_us);
        if self.longer.is_none() {
            self.worst_us = self.worst_us.max(lasted);
        }
        if let (true, Some((excuse, _))) = (lasted > self.longest_us, self.longer) {
            self.use_up(excuse);
        }
        if lasted > longest && !self.told {
            self.told = true;
            return Some(lasted);
        }
        None
    }

    fn use_up(&mut self, excuse: Excuse) {
        if self.used != Some(excuse) {
            self.used = Some(excuse);
            self.excuses.push(excuse);
        }
    }
}
