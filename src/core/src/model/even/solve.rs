//! One problem, for any number of passes.

use super::influence::{Grid, Stations};
use super::interior::{smallest_worst, worst};
use super::limits::{Limits, Row};
use super::problem::{Problem, Unsolvable};

/// Stretches of the weight per standard deviation. Finer ones buy nothing, but for a fifth of a
/// percent where both limits of the feed bind at a bare end.
const PER_SIGMA: f64 = 2.0;
/// Price of roughness at that spacing: first so little that the worst error is the least there is,
/// then enough for the smoothest feed of about that error. 3e-4 at once would cost a third of the
/// least error where a limit binds.
const ROUGHNESS: (f64, f64) = (1e-6, 1e-5);
/// What the smooth feed may err more than the least, as a share and as an error: what a torch is
/// known to is a hundred times as much.
const SMOOTH: (f64, f64) = (1.02, 3e-4);
/// Rounds for what depends on the answer itself: the cube in the acceleration, the feed at a turn.
const ROUNDS: u32 = 6;
/// What the turns may give a station more or less than was assumed, as a share of the target: a
/// third of what the smooth feed may err.
const TURNED: f64 = 1e-4;

/// What the stations feel; solved for as many numbers of passes as wanted.
#[derive(Debug, Clone, PartialEq)]
pub struct Field<'a> {
    problem: &'a Problem,
    stations: Stations,
    grid: Grid,
    rows: Vec<Row>,
}

/// An even feed.
#[derive(Debug, Clone, PartialEq)]
pub struct Even {
    /// Passes.
    pub passes: u32,
    /// Place (m) and passes over feed there (s/m): linear in between.
    pub weights: Vec<(f64, f64)>,
    /// Largest `|h / target - 1|` of the stations.
    pub worst: f64,
    /// The same of the best constant feed within its limits.
    pub constant_worst: f64,
    /// Slowest and fastest feed that were allowed, m/s.
    pub(super) limits: (f64, f64),
}

impl<'a> Field<'a> {
    /// Works out what each station feels of the torch.
    ///
    /// # Errors
    ///
    /// Where a figure makes no sense or a station is out of the torch's reach.
    pub fn new(problem: &'a Problem) -> Result<Self, Unsolvable> {
        problem.check()?;
        let (low, high) = problem.window();
        let grid = Grid::new(low, high, problem.plume.sigma_axial / PER_SIGMA);
        let stations = Stations::new(&problem.shape, &problem.plume, &problem.stations);
        let rows = stations.rows(grid, problem.rate, problem.target);
        for (row, at) in rows.iter().zip(&problem.stations) {
            let sum: f64 = row.weights.iter().sum();
            if !(sum.is_finite() && sum > 0.0) {
                return Err(Unsolvable::Unreached(*at));
            }
        }
        Ok(Self { problem, stations, grid, rows })
    }

    /// The even feed with this many passes. There always is one; how even it is, is in it.
    #[must_use]
    pub fn solve(&self, passes: u32) -> Even {
        let passes = passes.max(1);
        let count = f64::from(passes);
        let feed = self.problem.feed;
        let least = count / feed.1;
        let range = (least, (count / feed.0).max(least * (1.0 + 1e-6)));
        let slowest = feed.0.min(feed.1);
        let mut ends = (slowest, slowest);
        let mut best: Option<Even> = None;
        let mut last: Option<Even> = None;
        for _ in 0..ROUNDS {
            let assumed = self.turned(passes, ends);
            let rows = self.based(&assumed);
            let found = self.round(&rows, passes, range, last.as_ref());
            let found = self.held(found, &rows);
            let real = self.turned(passes, found.ends());
            let turned = apart(&assumed, &real) < TURNED;
            // Judged with the turns as they really are.
            let found = self.judged(found, &self.based(&real), range);
            if best.as_ref().is_none_or(|best| found.worst < best.worst) {
                best = Some(found.clone());
            }
            // Half the way, since a feed that leaves too much to the turns asks for the contrary of
            // itself.
            let half = |old: f64, new: f64| if last.is_some() { (old * new).sqrt() } else { new };
            let (low, high) = found.ends();
            ends = (half(ends.0, low), half(ends.1, high));
            let settled = turned && self.settled(&found, last.as_ref());
            last = Some(found);
            if settled {
                break;
            }
        }
        best.unwrap_or_else(|| self.judged(self.flat(passes, range.0), &self.rows, range))
    }

    /// The best constant feed within the limits, with this many passes.
    #[must_use]
    pub fn constant(&self, passes: u32) -> Even {
        let count = f64::from(passes.max(1));
        let range = (count / self.problem.feed.1, count / self.problem.feed.0);
        let (weight, worst) = self.flat_weight(&self.rows, range);
        Even { worst, constant_worst: worst, ..self.flat(passes.max(1), weight) }
    }

    pub(super) fn problem(&self) -> &Problem {
        self.problem
    }

    pub(super) fn errors(&self, even: &Even) -> Vec<(f64, f64)> {
        let weights: Vec<f64> = even.weights.iter().map(|(_, weight)| *weight).collect();
        let rows = self.based(&self.turned(even.passes, even.ends()));
        let reached = rows.iter().map(|row| row.reached(&weights) - 1.0);
        self.problem.stations.iter().copied().zip(reached).collect()
    }

    fn round(&self, rows: &[Row], passes: u32, range: (f64, f64), last: Option<&Even>) -> Even {
        let scale = self.flat_weight(rows, range).0;
        let rows: Vec<Row> = rows
            .iter()
            .map(|row| Row {
                first: row.first,
                weights: row.weights.iter().map(|weight| weight * scale).collect(),
                base: row.base,
            })
            .collect();
        let (least, most) = (range.0 / scale, range.1 / scale);
        let mut limits = Limits {
            rows: &rows,
            range: (least, most),
            changes: self.changes(passes, last, scale),
            floor: 0.0,
        };
        let start =
            1.0_f64.clamp(least.powf(0.9) * most.powf(0.1), least.powf(0.1) * most.powf(0.9));
        let finer = self.problem.plume.sigma_axial / PER_SIGMA / self.grid.spacing;
        let finer = finer.powi(3);
        let start = vec![start; self.grid.cells + 1];
        let sharp = smallest_worst(&limits, ROUGHNESS.0 * finer, start.clone());
        limits.floor = SMOOTH.0 * sharp.worst + SMOOTH.1;
        let found = smallest_worst(&limits, ROUGHNESS.1 * finer, start);
        let weights = found.weights.iter().map(|weight| (weight * scale).clamp(range.0, range.1));
        Even { weights: self.grid.places().zip(weights).collect(), ..self.flat(passes, range.0) }
    }

    /// Greatest change of the weight from each place to the next: the acceleration, with the
    /// cube of the weight taken from the last answer.
    fn changes(&self, passes: u32, last: Option<&Even>, scale: f64) -> Vec<f64> {
        let (Some(most), Some(last)) = (self.problem.acceleration, last) else {
            return Vec::new();
        };
        let count = f64::from(passes);
        let pairs = last.weights.iter().zip(last.weights.iter().skip(1));
        let change = |(a, b): (&(f64, f64), &(f64, f64))| {
            most * a.1.min(b.1).powi(3) * self.grid.spacing / (count * count) / scale
        };
        pairs.map(change).collect()
    }

    /// Drawn toward the mean feed until the acceleration is kept, which a constant feed does.
    fn held(&self, even: Even, rows: &[Row]) -> Even {
        let Some(most) = self.problem.acceleration else { return even };
        if even.acceleration() <= most {
            return even;
        }
        let level = self.flat_weight(rows, (f64::MIN_POSITIVE, f64::INFINITY)).0;
        let (low, high) = even.weights.iter().fold((f64::INFINITY, 0.0_f64), |range, weight| {
            (range.0.min(weight.1), range.1.max(weight.1))
        });
        let level = level.clamp(low, high);
        let drawn = |share: f64| {
            let weights = even.weights.iter().map(|(z, w)| (*z, level + share * (w - level)));
            Even { weights: weights.collect(), ..even.clone() }
        };
        let (mut kept, mut broken) = (0.0, 1.0);
        for _ in 0..30 {
            let share = f64::midpoint(kept, broken);
            if drawn(share).acceleration() <= most {
                kept = share;
            } else {
                broken = share;
            }
        }
        drawn(kept)
    }

    /// Whether the acceleration, with the cube of the weight taken from this answer, would ask for
    /// another one.
    fn settled(&self, found: &Even, last: Option<&Even>) -> bool {
        let Some(most) = self.problem.acceleration else { return true };
        let Some(last) = last else { return found.acceleration() < 0.98 * most };
        let pairs = found.weights.iter().zip(&last.weights);
        pairs.fold(0.0_f64, |most, (a, b)| most.max((a.1 / b.1 - 1.0).abs())) < 1e-3
    }

    fn judged(&self, even: Even, rows: &[Row], range: (f64, f64)) -> Even {
        let weights: Vec<f64> = even.weights.iter().map(|(_, weight)| *weight).collect();
        let limits = Limits { rows, range, changes: Vec::new(), floor: 0.0 };
        let reached = worst(&limits, &weights);
        let (level, constant_worst) = self.flat_weight(rows, range);
        if reached <= constant_worst {
            return Even { worst: reached, constant_worst, ..even };
        }
        Even { worst: constant_worst, constant_worst, ..self.flat(even.passes, level) }
    }

    /// A constant feed.
    fn flat(&self, passes: u32, weight: f64) -> Even {
        Even {
            passes,
            weights: self.grid.places().map(|z| (z, weight)).collect(),
            worst: f64::INFINITY,
            constant_worst: f64::INFINITY,
            limits: self.problem.feed,
        }
    }

    /// The best constant weight within a range, and its worst error: by thirds, the error being
    /// convex.
    fn flat_weight(&self, rows: &[Row], range: (f64, f64)) -> (f64, f64) {
        let sums: Vec<(f64, f64)> =
            rows.iter().map(|row| (row.weights.iter().sum(), row.base)).collect();
        let error = |weight: f64| {
            sums.iter()
                .fold(0.0_f64, |most, (sum, base)| most.max((sum * weight + base - 1.0).abs()))
        };
        let least = sums.iter().fold(f64::INFINITY, |least, (sum, _)| least.min(*sum));
        let (mut low, mut high) = (range.0, range.1.min(2.0 / least).max(range.0));
        for _ in 0..100 {
            let (a, b) = (low + (high - low) / 3.0, high - (high - low) / 3.0);
            if error(a) <= error(b) {
                high = b;
            } else {
                low = a;
            }
        }
        let weight = f64::midpoint(low, high);
        (weight, error(weight))
    }

    fn turned(&self, passes: u32, feeds: (f64, f64)) -> Vec<f64> {
        let per = self.problem.rate / self.problem.target;
        self.problem.turns.map_or_else(Vec::new, |turns| {
            turns.base(&self.stations, self.problem.window(), feeds, passes, per)
        })
    }

    fn based(&self, base: &[f64]) -> Vec<Row> {
        let mut rows = self.rows.clone();
        for (row, base) in rows.iter_mut().zip(base) {
            row.base = *base;
        }
        rows
    }
}

impl Even {
    /// Feed at the low and high end of the window, m/s.
    fn ends(&self) -> (f64, f64) {
        let count = f64::from(self.passes);
        let feed = |place: Option<&(f64, f64)>| place.map_or(1.0, |(_, weight)| count / weight);
        (feed(self.weights.first()), feed(self.weights.last()))
    }
}

/// Largest difference of what the turns give any station, as a share of the target.
fn apart(some: &[f64], others: &[f64]) -> f64 {
    some.iter().zip(others).fold(0.0_f64, |most, (a, b)| most.max((a - b).abs()))
}
