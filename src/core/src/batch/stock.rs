//! How far powder and gas reach, in whole parts.

use serde::Serialize;

use super::order::Queued;
use crate::quantity::Quantity;

/// Parts whose use is averaged (arbitrary: enough to smooth a scale's step, few enough to follow a
/// feeder that changes).
const LATEST: usize = 5;

/// What a part is expected to take.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Expected<Q> {
    /// What is counted with: the larger of the two, because a part that runs dry is spoilt and a
    /// hopper filled a part too soon is not.
    pub per_part: Q,
    /// By the plan.
    pub planned: Q,
    /// What the last parts took on the average; `None` before any was made.
    pub taken: Option<Q>,
}

/// What a part is expected to take, by the plan and by what whole parts before took, the latest
/// last.
#[must_use]
pub fn expected<Q: Quantity + Copy>(planned: Q, whole_parts: &[Q]) -> Expected<Q> {
    let latest = whole_parts.iter().rev().take(LATEST);
    let (mut sum, mut count) = (0.0, 0.0);
    for taken in latest {
        sum += taken.base();
        count += 1.0;
    }
    let taken = (count > 0.0).then(|| Q::from_base(sum / count));
    let most = taken.map_or(planned.base(), |taken| taken.base().max(planned.base()));
    Expected { per_part: Q::from_base(most), planned, taken }
}

/// What is there of something that parts use up.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Stock<Q> {
    /// What it holds.
    pub holds: Q,
    /// What must stay in it: below, the machine holds.
    pub kept_back: Q,
}

/// How far it reaches.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub struct Reach {
    /// Whole parts that it is enough for.
    pub whole_parts: u32,
    /// The part before which it must be filled or changed; `None` when it is enough for all that
    /// are to be made.
    pub fill_before: Option<u32>,
}

/// How many of the parts to be made a stock is enough for.
#[must_use]
pub fn reach<Q: Quantity + Copy>(stock: Stock<Q>, per_part: Q, queue: &[Queued]) -> Reach {
    let left = (stock.holds.base() - stock.kept_back.base()).max(0.0);
    let all = u32::try_from(queue.len()).unwrap_or(u32::MAX);
    let mut whole_parts = 0;
    // What a part takes of nothing is nothing: such a stock is enough for all.
    while whole_parts < all && f64::from(whole_parts + 1) * per_part.base() <= left {
        whole_parts += 1;
    }
    let next = usize::try_from(whole_parts).ok().and_then(|place| queue.get(place));
    Reach { whole_parts, fill_before: next.map(|queued| queued.number) }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::quantity::{Mass, Volume};

    fn thirty() -> Vec<Queued> {
        (1..=30).map(|number| Queued { number, scrapped_before: 0 }).collect()
    }

    fn g(value: f64) -> Mass {
        Mass::from_g(value)
    }

    /// The reference job: 14.4 g a pass, 9 passes, 2000 g: 15.43 parts, which are 15 (computed).
    #[test]
    fn two_kilograms_are_enough_for_fifteen_parts_of_the_reference_job() {
        let per_part = g(14.4) * 9.0;
        assert!((per_part.g() - 129.6).abs() < 1e-9);
        assert!((g(2000.0) / per_part - 15.43).abs() < 0.005);
        let full = Stock { holds: g(2000.0), kept_back: Mass::ZERO };
        let found = reach(full, per_part, &thirty());
        assert_eq!(found, Reach { whole_parts: 15, fill_before: Some(16) });
    }

    #[test]
    fn what_must_stay_in_the_hopper_is_for_no_part() {
        let stock = Stock { holds: g(149.6), kept_back: g(20.0) };
        assert_eq!(reach(stock, g(129.6), &thirty()).whole_parts, 1);
        let stock = Stock { holds: g(149.0), kept_back: g(20.0) };
        assert_eq!(reach(stock, g(129.6), &thirty()).fill_before, Some(1));
        let stock = Stock { holds: g(5.0), kept_back: g(20.0) };
        assert_eq!(reach(stock, g(129.6), &thirty()).whole_parts, 0);
    }

    #[test]
    fn the_part_to_fill_before_is_told_by_its_number_in_the_order_they_are_made() {
        let queue: Vec<Queued> = [28, 29, 30, 7]
            .into_iter()
            .map(|number| Queued { number, scrapped_before: 0 })
            .collect();
        let stock = Stock { holds: g(30.0), kept_back: Mass::ZERO };
        assert_eq!(reach(stock, g(10.0), &queue).fill_before, Some(7));
        assert_eq!(reach(stock, g(7.5), &queue).fill_before, None);
        assert_eq!(reach(stock, g(0.0), &queue), Reach { whole_parts: 4, fill_before: None });
    }

    #[test]
    fn a_part_is_expected_to_take_the_more_of_plan_and_last_parts() {
        let none = expected(g(129.6), &[]);
        assert_eq!((none.per_part, none.taken), (g(129.6), None));
        // Only the last five count.
        let last = [200.0, 140.0, 140.0, 140.0, 140.0, 140.0].map(g);
        let more = expected(g(129.6), &last);
        assert_eq!((more.per_part, more.taken), (g(140.0), Some(g(140.0))));
        let less = expected(g(129.6), &[g(120.0)]);
        assert_eq!((less.per_part, less.taken), (g(129.6), Some(g(120.0))));
    }

    /// 18 L/min of fuel for 4.08 min are 73.44 L a part (computed): a bottle of 6000 L is enough
    /// for 81 of them.
    #[test]
    fn a_bottle_reaches_by_volume_as_a_hopper_does_by_weight() {
        let per_part = Volume::from_l(18.0 * 4.08);
        let queue: Vec<Queued> =
            (1..=100).map(|number| Queued { number, scrapped_before: 0 }).collect();
        let bottle = Stock { holds: Volume::from_l(6000.0), kept_back: Volume::ZERO };
        assert_eq!(reach(bottle, per_part, &queue).whole_parts, 81);
    }
}
