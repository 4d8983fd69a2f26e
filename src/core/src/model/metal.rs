//! Conductivity and heat content of what a part is made of, tabulated by temperature.

/// Points summed inside one interval of the table: the specific heat of carbon steel has a peak
/// a few kelvin wide at 735 degrees Celsius.
const POINTS: u32 = 32;

/// A metal: straight between the entries of its table, and beyond its ends.
///
/// Heat is kept as content above the table's first temperature, so that what goes in comes out
/// again whatever happens to the specific heat on the way.
#[derive(Debug, Clone, PartialEq)]
pub struct Metal {
    /// Temperature of the first entry and from one to the next, degrees Celsius and K.
    from: f64,
    step: f64,
    entries: Vec<Entry>,
}

#[derive(Debug, Clone, Copy, PartialEq)]
struct Entry {
    /// W/(m K).
    conductivity: f64,
    /// J/m3.
    content: f64,
}

impl Metal {
    /// With one conductivity (W/(m K)) and one heat capacity (J/(m3 K)) at all temperatures.
    #[must_use]
    pub fn constant(conductivity: f64, capacity: f64) -> Self {
        let entry = |content| Entry { conductivity, content };
        Self { from: 0.0, step: 1000.0, entries: vec![entry(0.0), entry(1000.0 * capacity)] }
    }

    /// Of a law that gives both at a temperature, tabulated at `count` temperatures `step` K
    /// apart, `from` (degrees Celsius) on.
    #[must_use]
    pub fn tabulated(
        (from, step): (f64, f64),
        count: u32,
        law: impl Fn(f64) -> (f64, f64),
    ) -> Self {
        let mut content = 0.0;
        let entries = (0..count.max(2))
            .map(|index| {
                let at = from + f64::from(index) * step;
                let entry = Entry { conductivity: law(at).0, content };
                let width = step / f64::from(POINTS);
                content += (0..POINTS)
                    .map(|point| law(at + (f64::from(point) + 0.5) * width).1 * width)
                    .sum::<f64>();
                entry
            })
            .collect();
        Self { from, step, entries }
    }

    /// Conductivity at a temperature (degrees Celsius), W/(m K).
    #[must_use]
    pub fn conductivity(&self, at: f64) -> f64 {
        let (a, b, share) = self.around(at);
        a.conductivity + (b.conductivity - a.conductivity) * share
    }

    /// Heat capacity about a temperature (degrees Celsius), J/(m3 K).
    #[must_use]
    pub fn capacity(&self, at: f64) -> f64 {
        let (a, b, _) = self.around(at);
        (b.content - a.content) / self.step
    }

    /// Heat content at a temperature (degrees Celsius), J/m3.
    #[must_use]
    pub fn content(&self, at: f64) -> f64 {
        let (a, b, share) = self.around(at);
        a.content + (b.content - a.content) * share
    }

    /// The temperature (degrees Celsius) at which it holds a content (J/m3).
    #[must_use]
    pub fn temperature(&self, content: f64) -> f64 {
        let above = self.entries.partition_point(|entry| entry.content <= content);
        let first = above.saturating_sub(1).min(self.entries.len().saturating_sub(2));
        let (a, b) = self.interval(first);
        let share = (content - a.content) / (b.content - a.content);
        self.from + (index_of(first) + share) * self.step
    }

    /// Its temperature (degrees Celsius) after it was given what would change it by so many K if its
    /// heat capacity stayed what it is.
    #[must_use]
    pub fn warmed(&self, at: f64, change: f64) -> f64 {
        let (a, b, share) = self.around(at);
        let after = share + change / self.step;
        // Inside one interval of the table it does stay; to look the content up again is for the rest.
        if (0.0..=1.0).contains(&after) && (0.0..=1.0).contains(&share) {
            return at + change;
        }
        let capacity = (b.content - a.content) / self.step;
        self.temperature(a.content + (b.content - a.content) * share + capacity * change)
    }

    /// The entries about a temperature and how far it lies from the one to the other.
    fn around(&self, at: f64) -> (Entry, Entry, f64) {
        let place = (at - self.from) / self.step;
        let last = self.entries.len().saturating_sub(2);
        #[expect(
            clippy::cast_possible_truncation,
            clippy::cast_sign_loss,
            reason = "a conversion that saturates: below the table the first interval, above the last"
        )]
        let first = (place as usize).min(last);
        let (a, b) = self.interval(first);
        (a, b, place - index_of(first))
    }

    fn interval(&self, first: usize) -> (Entry, Entry) {
        let nothing = Entry { conductivity: 0.0, content: 0.0 };
        let entry = |index| self.entries.get(index).copied().unwrap_or(nothing);
        (entry(first), entry(first + 1))
    }
}

#[expect(clippy::cast_precision_loss, reason = "a table has a few hundred entries")]
const fn index_of(index: usize) -> f64 {
    index as f64
}
