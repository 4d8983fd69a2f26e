//! What a feed has to keep, as inequalities `C y + d >= 0` of the unknowns: the weight at every
//! node and the worst error. In their order: error above and below at every station, least and
//! greatest weight at every node, rise and fall between neighbours, the error nobody can measure.

use super::banded::{Banded, dot};
use super::interior::Unknowns;

/// What one station feels: the weights of the nodes from `first` on, and what it has anyway.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Row {
    /// First node that it feels.
    pub(super) first: usize,
    /// Share of the wanted thickness per unit of each node's weight.
    pub(super) weights: Vec<f64>,
    /// Share of the wanted thickness that it has without any pass.
    pub(super) base: f64,
}

impl Row {
    /// Thickness over wanted thickness.
    pub(super) fn reached(&self, weights: &[f64]) -> f64 {
        self.felt(weights) + self.base
    }

    fn felt(&self, weights: &[f64]) -> f64 {
        dot(&self.weights, weights.iter().skip(self.first))
    }
}

/// All that must be kept.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Limits<'a> {
    /// The stations.
    pub(super) rows: &'a [Row],
    /// Least and greatest weight of every node.
    pub(super) range: (f64, f64),
    /// Greatest change from each node to the next; empty where nothing limits it.
    pub(super) changes: Vec<f64>,
    /// Errors below this are not worth a rougher feed.
    pub(super) floor: f64,
}

impl Limits<'_> {
    /// `C y`.
    pub(super) fn times(&self, y: &Unknowns) -> Vec<f64> {
        let felt: Vec<f64> = self.rows.iter().map(|row| row.felt(&y.weights)).collect();
        let mut out =
            Vec::with_capacity(2 * (felt.len() + y.weights.len() + self.changes.len()) + 1);
        out.extend(felt.iter().map(|felt| y.worst - felt));
        out.extend(felt.iter().map(|felt| y.worst + felt));
        out.extend(y.weights.iter());
        out.extend(y.weights.iter().map(|weight| -weight));
        if !self.changes.is_empty() {
            let change = || y.weights.windows(2).map(differ);
            out.extend(change().map(|change| -change));
            out.extend(change());
        }
        out.push(y.worst);
        out
    }

    /// `d`.
    pub(super) fn offsets(&self, nodes: usize) -> Vec<f64> {
        let mut out: Vec<f64> = self.rows.iter().map(|row| 1.0 - row.base).collect();
        out.extend(self.rows.iter().map(|row| row.base - 1.0));
        out.extend(std::iter::repeat_n(-self.range.0, nodes));
        out.extend(std::iter::repeat_n(self.range.1, nodes));
        out.extend(&self.changes);
        out.extend(&self.changes);
        out.push(-self.floor);
        out
    }

    /// The multipliers or weights of each kind of inequality.
    fn parts<'v>(&self, values: &'v [f64], nodes: usize) -> Parts<'v> {
        let mut rest = values;
        let mut take = |count: usize| {
            let (part, more) = rest.split_at(count.min(rest.len()));
            rest = more;
            part
        };
        let stations = self.rows.len();
        Parts {
            above: take(stations),
            below: take(stations),
            least: take(nodes),
            greatest: take(nodes),
            rise: take(self.changes.len()),
            fall: take(self.changes.len()),
            floor: rest.first().copied().unwrap_or(0.0),
        }
    }

    /// `C` transposed times these values.
    pub(super) fn transposed(&self, values: &[f64], nodes: usize) -> Unknowns {
        let parts = self.parts(values, nodes);
        let mut weights: Vec<f64> = parts
            .least
            .iter()
            .zip(parts.greatest)
            .map(|(least, greatest)| least - greatest)
            .collect();
        let mut worst = parts.floor;
        for (row, (above, below)) in self.rows.iter().zip(parts.above.iter().zip(parts.below)) {
            worst += above + below;
            for (weight, felt) in weights.iter_mut().skip(row.first).zip(&row.weights) {
                *weight += (below - above) * felt;
            }
        }
        for (index, (rise, fall)) in parts.rise.iter().zip(parts.fall).enumerate() {
            let push = fall - rise;
            for (weight, sign) in weights.iter_mut().skip(index).zip([-1.0, 1.0]) {
                *weight += sign * push;
            }
        }
        Unknowns { weights, worst }
    }

    /// Adds `C' diag(scale) C` to the matrix of the weights; answers the border column and corner
    /// that belong to the worst error.
    pub(super) fn add_normal(&self, scale: &[f64], nodes: usize, matrix: &mut Banded) -> Unknowns {
        let parts = self.parts(scale, nodes);
        matrix
            .add_diagonal(parts.least.iter().zip(parts.greatest).map(|(least, most)| least + most));
        let mut border = Unknowns { weights: vec![0.0; nodes], worst: parts.floor };
        for (row, (above, below)) in self.rows.iter().zip(parts.above.iter().zip(parts.below)) {
            matrix.add_outer(row.first, &row.weights, above + below);
            border.worst += above + below;
            for (entry, felt) in border.weights.iter_mut().skip(row.first).zip(&row.weights) {
                *entry += (below - above) * felt;
            }
        }
        for (index, (rise, fall)) in parts.rise.iter().zip(parts.fall).enumerate() {
            matrix.add_outer(index, &[-1.0, 1.0], rise + fall);
        }
        border
    }

    /// How far from the diagonal the matrix of the weights has entries.
    pub(super) fn reach(&self) -> usize {
        let widest = self.rows.iter().map(|row| row.weights.len()).max().unwrap_or(1);
        // The second differences reach two nodes.
        widest.saturating_sub(1).max(2)
    }
}

struct Parts<'v> {
    above: &'v [f64],
    below: &'v [f64],
    least: &'v [f64],
    greatest: &'v [f64],
    rise: &'v [f64],
    fall: &'v [f64],
    floor: f64,
}

fn differ(pair: &[f64]) -> f64 {
    pair.iter().rev().copied().reduce(|after, before| after - before).unwrap_or(0.0)
}
