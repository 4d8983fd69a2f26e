//! The carriage's way: passes from rest to rest, and what it waits between them.

/// Cells of the speed table are no longer than this, m: an eighth of the narrowest usual plume
/// is four times as much.
const CELL: f64 = 0.25e-3;

/// Feed along the part.
#[derive(Debug, Clone, PartialEq)]
pub enum Feed {
    /// The same everywhere, m/s.
    Constant(f64),
    /// `[z, v]` in m and m/s, z rising: linear between the points, constant outside.
    Profile(Vec<(f64, f64)>),
}

impl Feed {
    /// Commanded feed at z, m/s.
    #[must_use]
    pub fn at(&self, z: f64) -> f64 {
        match self {
            Self::Constant(feed) => *feed,
            Self::Profile(points) => interpolate(points, z),
        }
    }
}

/// Linear between points, constant outside; 0 without points.
pub(super) fn interpolate(points: &[(f64, f64)], z: f64) -> f64 {
    let next = points.partition_point(|point| point.0 <= z);
    let before = next.checked_sub(1).and_then(|index| points.get(index));
    match (before, points.get(next)) {
        (Some(a), Some(b)) => a.1 + (b.1 - a.1) * (z - a.0) / (b.0 - a.0),
        (Some(end), None) | (None, Some(end)) => end.1,
        (None, None) => 0.0,
    }
}

/// One stretch of the program's time.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Leg {
    /// At rest at `at` m, from second `from` to second `to`, before the first pass.
    LeadIn {
        /// Place, m.
        at: f64,
        /// Begin, s.
        from: f64,
        /// End, s.
        to: f64,
    },
    /// A pass.
    Pass {
        /// Whether it runs toward higher z.
        rising: bool,
        /// Begin, s.
        from: f64,
        /// End, s.
        to: f64,
    },
    /// At rest between two passes.
    Dwell {
        /// Place, m.
        at: f64,
        /// Begin, s.
        from: f64,
        /// End, s.
        to: f64,
    },
}

/// The whole motion. Inside a cell the carriage has one acceleration, which is exact on ramps.
#[derive(Debug, Clone, PartialEq)]
pub struct Travel {
    /// Position (m), speed (m/s) and time from the lower turning point (s).
    nodes: Vec<(f64, f64, f64)>,
    legs: Vec<Leg>,
    ends_at: f64,
}

impl Travel {
    /// `passes` between `start` and `end` (m), with `acceleration` (m/s2), a `dwell` at every
    /// turn and a `lead_in` at rest (s).
    #[must_use]
    pub fn new(
        (start, end): (f64, f64),
        passes: u32,
        feed: &Feed,
        acceleration: f64,
        (lead_in, dwell): (f64, f64),
    ) -> Self {
        let (low, high) = (start.min(end), start.max(end));
        let nodes = table(low, high, feed, acceleration);
        let pass = nodes.last().map_or(0.0, |node| node.2);
        let mut legs = vec![Leg::LeadIn { at: start, from: 0.0, to: lead_in }];
        let mut now = lead_in;
        let (mut here, mut there) = (start, end);
        for number in 0..passes {
            if number > 0 {
                legs.push(Leg::Dwell { at: here, from: now, to: now + dwell });
                now += dwell;
            }
            legs.push(Leg::Pass { rising: here < there, from: now, to: now + pass });
            now += pass;
            (here, there) = (there, here);
        }
        Self { nodes, legs, ends_at: here }
    }

    /// Everything in its order.
    #[must_use]
    pub fn legs(&self) -> &[Leg] {
        &self.legs
    }

    /// Duration of one pass, s.
    #[must_use]
    pub fn pass_time(&self) -> f64 {
        self.nodes.last().map_or(0.0, |node| node.2)
    }

    /// Duration of everything, s.
    #[must_use]
    pub fn total_time(&self) -> f64 {
        self.legs.last().map_or(0.0, |leg| leg.span().1)
    }

    /// Where the carriage stops for good, m.
    #[must_use]
    pub fn ends_at(&self) -> f64 {
        self.ends_at
    }

    /// Largest feed reached, m/s.
    #[must_use]
    pub fn largest_feed(&self) -> f64 {
        self.nodes.iter().fold(0.0, |largest, node| node.1.max(largest))
    }

    /// The cells' borders with the time from the lower turning point: m, s.
    pub(super) fn cells(&self) -> impl Iterator<Item = ((f64, f64), (f64, f64))> {
        self.nodes.iter().zip(self.nodes.iter().skip(1)).map(|(a, b)| ((a.0, a.2), (b.0, b.2)))
    }

    /// Time from the lower turning point to z, s; z beyond a turning point counts as that point.
    #[must_use]
    pub fn time_at(&self, z: f64) -> f64 {
        let next = self.nodes.partition_point(|node| node.0 <= z);
        let before = next.checked_sub(1).and_then(|index| self.nodes.get(index));
        match (before, self.nodes.get(next)) {
            (Some(a), Some(b)) => {
                let share = (z - a.0) / (b.0 - a.0);
                let speed = (a.1 * a.1 + (b.1 * b.1 - a.1 * a.1) * share).max(0.0).sqrt();
                let sum = a.1 + speed;
                if sum > 0.0 { a.2 + 2.0 * (z - a.0) / sum } else { a.2 }
            }
            (Some(end), None) => end.2,
            (None, _) => 0.0,
        }
    }

    /// Where the carriage is this long after leaving the lower turning point, m.
    #[must_use]
    pub fn place_at(&self, time: f64) -> f64 {
        let next = self.nodes.partition_point(|node| node.2 <= time);
        let before = next.checked_sub(1).and_then(|index| self.nodes.get(index));
        match (before, self.nodes.get(next)) {
            (Some(a), Some(b)) => {
                let since = time - a.2;
                let change = (b.1 - a.1) / (b.2 - a.2);
                a.0 + a.1 * since + 0.5 * change * since * since
            }
            (Some(end), None) | (None, Some(end)) => end.0,
            (None, None) => 0.0,
        }
    }

    /// Where the carriage is at a time inside a leg, m.
    #[must_use]
    pub fn place_in(&self, leg: &Leg, time: f64) -> f64 {
        match leg {
            Leg::LeadIn { at, .. } | Leg::Dwell { at, .. } => *at,
            Leg::Pass { rising: true, from, .. } => self.place_at(time - from),
            Leg::Pass { rising: false, to, .. } => self.place_at(to - time),
        }
    }
}

impl Leg {
    /// Begin and end, s.
    #[must_use]
    pub fn span(&self) -> (f64, f64) {
        match self {
            Self::LeadIn { from, to, .. }
            | Self::Pass { from, to, .. }
            | Self::Dwell { from, to, .. } => (*from, *to),
        }
    }
}

fn table(low: f64, high: f64, feed: &Feed, acceleration: f64) -> Vec<(f64, f64, f64)> {
    let count = ((high - low) / CELL).ceil().max(2.0);
    let mut places = Vec::new();
    let mut done = 0.0;
    while done <= count {
        places.push(low + (high - low) * done / count);
        done += 1.0;
    }
    // The corners of the speed, so that a ramp shorter than a cell has its time too.
    let half = (high - low) / 2.0;
    places.extend([
        low + ramp(half, acceleration, |way| feed.at(low + way)),
        low + half,
        high - ramp(half, acceleration, |way| feed.at(high - way)),
    ]);
    if let Feed::Profile(points) = feed {
        places.extend(points.iter().map(|point| point.0).filter(|z| low < *z && *z < high));
    }
    places.sort_by(f64::total_cmp);
    places.dedup_by(|a, b| (*a - *b).abs() < 1e-12);
    let mut nodes: Vec<(f64, f64, f64)> = Vec::with_capacity(places.len());
    for z in places {
        let reachable = |way: f64| (2.0 * acceleration * way.max(0.0)).sqrt();
        let speed = feed.at(z).min(reachable(z - low)).min(reachable(high - z));
        let time = nodes.last().map_or(0.0, |before| {
            before.2 + 2.0 * (z - before.0) / (before.1 + speed).max(f64::MIN_POSITIVE)
        });
        nodes.push((z, speed, time));
    }
    nodes
}

/// Way from rest until the feed is reached, at most `half`, by bisection: m.
fn ramp(half: f64, acceleration: f64, feed: impl Fn(f64) -> f64) -> f64 {
    let (mut short, mut long) = (0.0, half);
    for _ in 0..60 {
        let way = f64::midpoint(short, long);
        if (2.0 * acceleration * way).sqrt() < feed(way) {
            short = way;
        } else {
            long = way;
        }
    }
    long
}
