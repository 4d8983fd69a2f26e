//! A symmetric positive definite matrix whose entries lie near its diagonal, and its Cholesky
//! factor. Nothing here can fail: a pivot that rounding has eaten holds its unknown still.

/// What stands in for a pivot that is lost: so large that its unknown does not move.
const HOLD: f64 = 1e60;
/// A pivot below this share of its own diagonal entry is rounding, not information.
const LOST: f64 = 1e-14;

/// The lower half of a banded matrix, row by row: row `i` holds the columns `i - reach ..= i`.
/// Places left of column 0 exist and stay zero.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Banded {
    reach: usize,
    entries: Vec<f64>,
}

impl Banded {
    /// A zero matrix of this `size`, whose entries lie at most `reach` from the diagonal.
    pub(crate) fn zero(size: usize, reach: usize) -> Self {
        Self { reach, entries: vec![0.0; size * (reach + 1)] }
    }

    /// Forgets all entries.
    pub(super) fn clear(&mut self) {
        self.entries.fill(0.0);
    }

    /// Adds `weight` times the outer product of `values` with itself, at the rows and columns from
    /// `first` on.
    pub(crate) fn add_outer(&mut self, first: usize, values: &[f64], weight: f64) {
        let width = self.reach + 1;
        let rows = self.entries.chunks_exact_mut(width).skip(first);
        for (count, (row, value)) in rows.zip(values).enumerate() {
            let scaled = weight * value;
            let from = self.reach.saturating_sub(count);
            let columns = values.iter().skip(count.saturating_sub(self.reach));
            for (entry, other) in row.iter_mut().skip(from).zip(columns) {
                *entry += scaled * other;
            }
        }
    }

    /// Adds to the diagonal.
    pub(crate) fn add_diagonal(&mut self, values: impl Iterator<Item = f64>) {
        let diagonal = self.entries.iter_mut().skip(self.reach).step_by(self.reach + 1);
        for (entry, value) in diagonal.zip(values) {
            *entry += value;
        }
    }

    /// Becomes its own Cholesky factor.
    pub(crate) fn factor(mut self) -> Factor {
        let width = self.reach + 1;
        let size = self.entries.len() / width;
        for index in 0..size {
            let (above, below) = self.entries.split_at_mut(index * width);
            let Some(row) = below.get_mut(..width) else { break };
            let first = self.reach.saturating_sub(index);
            for place in first..self.reach {
                // Column `index - distance`; its own row stands that many rows above.
                let distance = self.reach - place;
                let start = (index - distance) * width;
                let other = above.get(start..start + width).unwrap_or_default();
                let (done, rest) = row.split_at_mut(place);
                let known = dot(done, other.iter().skip(distance));
                if let (Some(entry), Some(pivot)) = (rest.first_mut(), other.last()) {
                    *entry = (*entry - known) / pivot;
                }
            }
            if let Some((pivot, done)) = row.split_last_mut() {
                let rest = *pivot - dot(done, done.iter());
                *pivot = if rest > LOST * *pivot { rest.sqrt() } else { HOLD };
            }
        }
        Factor { reach: self.reach, entries: self.entries }
    }
}

/// The Cholesky factor of a [`Banded`] matrix.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Factor {
    reach: usize,
    entries: Vec<f64>,
}

impl Factor {
    /// Solves for this right-hand side, in its place.
    pub(crate) fn solve(&self, values: &mut [f64]) {
        let width = self.reach + 1;
        for (index, row) in self.entries.chunks_exact(width).enumerate() {
            let Some((pivot, row)) = row.split_last() else { break };
            let from = index.saturating_sub(self.reach);
            let (done, rest) = values.split_at_mut(index);
            let before = done.get(from..).unwrap_or_default();
            let known = dot(before, row.iter().skip(self.reach.saturating_sub(index)));
            if let Some(value) = rest.first_mut() {
                *value = (*value - known) / pivot;
            }
        }
        for (index, row) in self.entries.chunks_exact(width).enumerate().rev() {
            let Some((pivot, row)) = row.split_last() else { break };
            let from = index.saturating_sub(self.reach);
            let (before, rest) = values.split_at_mut(index);
            let Some(value) = rest.first_mut() else { break };
            *value /= pivot;
            let touched = before.iter_mut().skip(from);
            for (earlier, entry) in touched.zip(row.iter().skip(self.reach.saturating_sub(index))) {
                *earlier -= entry * *value;
            }
        }
    }
}

/// Scalar product, over the shorter of both.
pub(super) fn dot<'a>(a: &[f64], b: impl Iterator<Item = &'a f64>) -> f64 {
    a.iter().zip(b).map(|(a, b)| a * b).sum()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_factor_solves_what_its_matrix_was_made_of() {
        let mut matrix = Banded::zero(6, 2);
        matrix.add_diagonal([3.0, 1.0, 2.0, 5.0, 1.0, 4.0].into_iter());
        let outer = [(0, [1.0, -2.0, 1.0], 0.5), (2, [0.3, 0.7, -1.0], 2.0), (3, [1.0; 3], 1.5)];
        for (first, values, weight) in &outer {
            matrix.add_outer(*first, values, *weight);
        }
        let truth = [1.0, -2.0, 3.0, 0.5, -0.25, 7.0];
        let diagonal = [3.0, 1.0, 2.0, 5.0, 1.0, 4.0];
        let mut right: Vec<f64> = truth.iter().zip(diagonal).map(|(x, d)| x * d).collect();
        for (first, values, weight) in outer {
            let along = dot(&values, truth.iter().skip(first));
            for (entry, value) in right.iter_mut().skip(first).zip(values) {
                *entry += weight * along * value;
            }
        }
        matrix.factor().solve(&mut right);
        for (found, wanted) in right.iter().zip(truth) {
            assert!((found - wanted).abs() < 1e-12, "{found} instead of {wanted}");
        }
    }

    #[test]
    fn a_lost_pivot_holds_its_unknown_still() {
        let mut matrix = Banded::zero(2, 1);
        matrix.add_outer(0, &[1.0, 1.0], 1.0);
        let mut right = [2.0, 2.0];
        matrix.factor().solve(&mut right);
        assert!((right[0] - 2.0).abs() < 1e-12 && right[1].abs() < 1e-12, "{right:?}");
    }
}
