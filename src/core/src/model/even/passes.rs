//! How many passes.

use super::problem::{Problem, Unsolvable};
use super::solve::{Even, Field};

/// Error that fewer passes may cost before more are taken: a tenth of a percent is below what any
/// torch is known to (arbitrary).
const SLACK: f64 = 1e-3;

/// The number of passes chosen, and what each number would have given.
#[derive(Debug, Clone, PartialEq)]
pub struct Choice {
    /// The feed with the number chosen.
    pub even: Even,
    /// Passes and worst error, in the order given.
    pub by_passes: Vec<(u32, f64)>,
}

/// The fewest of these numbers of passes whose worst error is as small as any, to 0.1 %:
/// fewer passes are slower ones, and what powder that comes late does to the ends grows with the
/// feed. An even number ends at home. `None` for no number at all.
///
/// # Errors
///
/// Where the problem makes no sense.
pub fn choose(problem: &Problem, candidates: &[u32]) -> Result<Option<Choice>, Unsolvable> {
    let field = Field::new(problem)?;
    let mut found: Vec<Even> = Vec::with_capacity(candidates.len());
    for passes in candidates {
        let again = found.last().and_then(|last| fitting(problem, last, *passes));
        found.push(again.unwrap_or_else(|| field.solve(*passes)));
    }
    let by_passes: Vec<(u32, f64)> = found.iter().map(|even| (even.passes, even.worst)).collect();
    let least = found.iter().fold(f64::INFINITY, |least, even| least.min(even.worst));
    let good = |even: &Even| even.worst <= least + SLACK;
    let even = found.into_iter().filter(good).min_by_key(|even| even.passes);
    Ok(even.map(|even| Choice { even, by_passes }))
}

/// The same weight with another number of passes, where no limit touches it with either: then it
/// is the answer to both.
fn fitting(problem: &Problem, last: &Even, passes: u32) -> Option<Even> {
    if problem.acceleration.is_some() || problem.turns.is_some() {
        return None;
    }
    let inside = |even: &Even| {
        let (slowest, fastest) = even.feed_range();
        slowest > problem.feed.0 * 1.001 && fastest < problem.feed.1 * 0.999
    };
    let other = Even { passes, ..last.clone() };
    (inside(last) && inside(&other)).then_some(other)
}
