//! Mehrotra's predictor and corrector, an interior-point method (from memory: S. Mehrotra, SIAM J.
//! Optimization 2, 1992), for one convex problem: least worst error plus a little roughness.
//!
//! Written here and not taken from a general solver, because the Newton matrix is a narrow band
//! with one border column: its factor costs as much as reading the stations, nothing is drawn at
//! random or sorted by an ordering heuristic, and every iterate keeps every limit, so that whatever
//! happens there is a feed to go on with.

use super::banded::{Banded, dot};
use super::limits::Limits;

/// Over twice what any of 200 random parts needed (5 to 25); what is reached by then is the answer.
const MOST_STEPS: u32 = 60;
/// Sum of slack times multiplier at which the error is known to as much: a thousandth of a percent.
const GAP: f64 = 1e-6;
/// Largest imbalance of forces that is left.
const BALANCE: f64 = 1e-6;
/// Share of the way to the nearest limit that a step goes (from memory: common choice).
const SHY: f64 = 0.995;

/// The unknowns of the problem, or as many numbers.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Unknowns {
    /// One per node: passes over feed, as a share of that of the best constant feed.
    pub(super) weights: Vec<f64>,
    /// Worst error of any station.
    pub(super) worst: f64,
}

impl Unknowns {
    fn add(&mut self, way: f64, step: &Self) {
        for (value, step) in self.weights.iter_mut().zip(&step.weights) {
            *value += way * step;
        }
        self.worst += way * step.worst;
    }
}

/// The weights that keep the limits with the least worst error, plus half of `roughness` times
/// the summed squares of the second differences. `start` keeps the range.
pub(super) fn smallest_worst(limits: &Limits, roughness: f64, start: Vec<f64>) -> Unknowns {
    let nodes = start.len();
    let worst = worst(limits, &start);
    let mut now = Unknowns { weights: start, worst: (1.5 * worst).max(2.0 * limits.floor) + 0.05 };
    let offsets = limits.offsets(nodes);
    let mut slack: Vec<f64> =
        limits.times(&now).iter().zip(&offsets).map(|(value, offset)| value + offset).collect();
    // The forces on the worst error sum to one, so that a start at equal shares is of that order.
    let share = 1.0 / (2 * limits.rows.len()).max(1) as f64 * now.worst;
    let mut force: Vec<f64> = slack.iter().map(|slack| share / slack).collect();
    let count = slack.len() as f64;
    let mut matrix = Banded::zero(nodes, limits.reach());
    for _ in 0..MOST_STEPS {
        let gap = dot(&slack, force.iter());
        let pushed = limits.transposed(&force, nodes);
        let mut pull = bend(&now.weights, roughness);
        for (pull, push) in pull.iter_mut().zip(&pushed.weights) {
            *pull = push - *pull;
        }
        let pull = Unknowns { weights: pull, worst: pushed.worst - 1.0 };
        let unbalanced =
            pull.weights.iter().fold(pull.worst.abs(), |most, pull| most.max(pull.abs()));
        if gap < GAP && unbalanced < BALANCE {
            break;
        }
        matrix.clear();
        for index in 0..nodes.saturating_sub(2) {
            matrix.add_outer(index, &[1.0, -2.0, 1.0], roughness);
        }
        let scale: Vec<f64> =
            slack.iter().zip(&force).map(|(slack, force)| force / slack).collect();
        let border = limits.add_normal(&scale, nodes, &mut matrix);
        let newton = Newton::new(matrix.clone(), border);
        let step = |complement: &[f64]| {
            let lift: Vec<f64> =
                complement.iter().zip(&slack).map(|(c, slack)| c / slack).collect();
            let lift = limits.transposed(&lift, nodes);
            let mut right = pull.clone();
            right.add(-1.0, &lift);
            let moved = newton.solve(right);
            let slacks = limits.times(&moved);
            let forces: Vec<f64> = slacks
                .iter()
                .zip(complement)
                .zip(slack.iter().zip(&force))
                .map(|((ds, c), (slack, force))| -(c + force * ds) / slack)
                .collect();
            (moved, slacks, forces)
        };
        let aim: Vec<f64> = slack.iter().zip(&force).map(|(slack, force)| slack * force).collect();
        let (_, slacks, forces) = step(&aim);
        let (far, wide) = (way(&slack, &slacks), way(&force, &forces));
        let reached: f64 = slack
            .iter()
            .zip(&slacks)
            .zip(force.iter().zip(&forces))
            .map(|((slack, ds), (force, df))| (slack + far * ds) * (force + wide * df))
            .sum();
        let centre = (reached / gap).powi(3) * gap / count;
        let aim: Vec<f64> = aim
            .iter()
            .zip(slacks.iter().zip(&forces))
            .map(|(aim, (ds, df))| aim + ds * df - centre)
            .collect();
        let (moved, slacks, forces) = step(&aim);
        // One length for both, since the roughness couples the weights to the forces.
        let length = way(&slack, &slacks).min(way(&force, &forces)) * SHY;
        if !length.is_finite() || !moved.worst.is_finite() || length < 1e-10 {
            break;
        }
        now.add(length, &moved);
        for (value, step) in force.iter_mut().zip(&forces) {
            *value += length * step;
        }
        slack =
            limits.times(&now).iter().zip(&offsets).map(|(value, offset)| value + offset).collect();
        // Rounding may eat a slack that the step left positive.
        for slack in &mut slack {
            *slack = slack.max(1e-14);
        }
    }
    now.worst = self::worst(limits, &now.weights);
    now
}

/// Worst error of any station.
pub(super) fn worst(limits: &Limits, weights: &[f64]) -> f64 {
    let errors = limits.rows.iter().map(|row| (row.reached(weights) - 1.0).abs());
    errors.fold(0.0, f64::max)
}

/// Longest way, at most 1, on which no value becomes negative.
fn way(values: &[f64], steps: &[f64]) -> f64 {
    values
        .iter()
        .zip(steps)
        .filter(|(_, step)| **step < 0.0)
        .fold(1.0, |way: f64, (value, step)| way.min(-value / step))
}

/// Gradient of half of `roughness` times the summed squares of the second differences.
fn bend(weights: &[f64], roughness: f64) -> Vec<f64> {
    let mut out = vec![0.0; weights.len()];
    for (index, three) in weights.windows(3).enumerate() {
        let second = dot(&[1.0, -2.0, 1.0], three.iter());
        for (entry, factor) in out.iter_mut().skip(index).zip([1.0, -2.0, 1.0]) {
            *entry += roughness * second * factor;
        }
    }
    out
}

/// The factored Newton matrix: a band, and a border that belongs to the worst error.
struct Newton {
    band: super::banded::Factor,
    border: Vec<f64>,
    /// The band's answer to the border.
    through: Vec<f64>,
    corner: f64,
}

impl Newton {
    fn new(band: Banded, border: Unknowns) -> Self {
        let band = band.factor();
        let mut through = border.weights.clone();
        band.solve(&mut through);
        let corner = border.worst - dot(&border.weights, through.iter());
        // It is positive but for rounding.
        let corner = corner.max(1e-14 * border.worst).max(f64::MIN_POSITIVE);
        Self { band, border: border.weights, through, corner }
    }

    fn solve(&self, mut right: Unknowns) -> Unknowns {
        self.band.solve(&mut right.weights);
        right.worst = (right.worst - dot(&self.border, right.weights.iter())) / self.corner;
        for (weight, through) in right.weights.iter_mut().zip(&self.through) {
            *weight -= through * right.worst;
        }
        right
    }
}
