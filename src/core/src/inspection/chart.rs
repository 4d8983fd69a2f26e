//! A Shewhart control chart of individuals with the moving range of two.

use serde::Serialize;

/// Limits lie so many mean moving ranges from the mean: 3 / d2 with d2 = 1.128 of two (ISO 7870-2,
/// 6.5).
const LIMITS: f64 = 2.66;
/// The limit of a moving range, in mean moving ranges: D4 of two (ISO 7870-2, 6.5).
const RANGE_LIMIT: f64 = 3.267;
/// So many points in a row on one side of the mean are no chance: 1 in 128 (the rules of the
/// Western Electric handbook, 1956, from memory).
pub const RUN: usize = 8;
/// Limits from fewer points are provisional (common practice, from memory of ISO 7870-2, which
/// wants some 25).
pub const FEWEST: usize = 20;

/// Two figures are equal that differ by no more than this share of the larger: rounding, far below
/// what any gauge shows.
const ROUNDING: f64 = 1e-9;

/// A side of the mean.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Side {
    /// Above.
    Above,
    /// Below.
    Below,
}

/// What is not chance. Points are counted from 0.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case", tag = "what")]
pub enum Finding {
    /// A point lies outside the limits.
    Outside {
        /// Which.
        point: usize,
        /// Where.
        side: Side,
    },
    /// A point is further from the one before than chance makes it.
    Jump {
        /// Which.
        point: usize,
    },
    /// Many points in a row lie on one side of the mean.
    Run {
        /// The first of them.
        from: usize,
        /// The last.
        to: usize,
        /// Where.
        side: Side,
    },
}

/// A chart of figures in the order they were measured.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Chart {
    /// The figures.
    pub values: Vec<f64>,
    /// How far each is from the one before: one less.
    pub ranges: Vec<f64>,
    /// Their mean.
    pub centre: f64,
    /// The mean moving range.
    pub mean_range: f64,
    /// What lies below is no chance.
    pub lower: f64,
    /// What lies above is no chance.
    pub upper: f64,
    /// A moving range above is no chance.
    pub range_upper: f64,
    /// What is no chance.
    pub findings: Vec<Finding>,
    /// What is no more than this is no difference.
    #[serde(skip)]
    rounding: f64,
}

fn mean(values: &[f64]) -> f64 {
    let (sum, count) = values.iter().fold((0.0, 0.0), |(sum, count), one| (sum + one, count + 1.0));
    if count > 0.0 { sum / count } else { 0.0 }
}

impl Chart {
    /// Of two figures or more; `None` of fewer, which have no range.
    #[must_use]
    pub fn of(values: &[f64]) -> Option<Self> {
        let ranges: Vec<f64> = values
            .iter()
            .zip(values.iter().skip(1))
            .map(|(before, after)| (after - before).abs())
            .collect();
        if ranges.is_empty() {
            return None;
        }
        let (centre, mean_range) = (mean(values), mean(&ranges));
        let largest = values.iter().fold(0.0_f64, |most, value| most.max(value.abs()));
        let mut chart = Self {
            values: values.to_vec(),
            ranges,
            centre,
            mean_range,
            lower: centre - LIMITS * mean_range,
            upper: centre + LIMITS * mean_range,
            range_upper: RANGE_LIMIT * mean_range,
            findings: Vec::new(),
            rounding: ROUNDING * largest,
        };
        chart.findings = chart.outside().chain(chart.jumps()).chain(chart.runs()).collect();
        Some(chart)
    }

    /// Whether the limits rest on few points.
    #[must_use]
    pub fn is_provisional(&self) -> bool {
        self.values.len() < FEWEST
    }

    fn side(&self, value: f64) -> Option<Side> {
        if value > self.centre + self.rounding {
            Some(Side::Above)
        } else if value < self.centre - self.rounding {
            Some(Side::Below)
        } else {
            None
        }
    }

    fn outside(&self) -> impl Iterator<Item = Finding> + '_ {
        self.values.iter().enumerate().filter_map(|(point, value)| {
            let out = *value > self.upper + self.rounding || *value < self.lower - self.rounding;
            let side = self.side(*value).filter(|_| out)?;
            Some(Finding::Outside { point, side })
        })
    }

    fn jumps(&self) -> impl Iterator<Item = Finding> + '_ {
        let far = |(_, range): &(usize, &f64)| **range > self.range_upper + self.rounding;
        let ranges = self.ranges.iter().enumerate().filter(far);
        ranges.map(|(before, _)| Finding::Jump { point: before + 1 })
    }

    fn runs(&self) -> impl Iterator<Item = Finding> + '_ {
        let mut runs: Vec<(usize, usize, Option<Side>)> = Vec::new();
        for (point, value) in self.values.iter().enumerate() {
            let side = self.side(*value);
            match runs.last_mut() {
                Some((_, to, before)) if *before == side => *to = point,
                _ => runs.push((point, point, side)),
            }
        }
        runs.into_iter().filter_map(|(from, to, side)| {
            let side = side.filter(|_| to - from + 1 >= RUN)?;
            Some(Finding::Run { from, to, side })
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Moisture of ten lots of milk powder, the worked example of ISO 8258:1991 (the forerunner of
    /// ISO 7870-2), from memory: mean 3.45, mean range 0.38, limits 2.45 and 4.45, range limit 1.24.
    #[test]
    fn the_worked_example_of_the_standard_has_its_limits() {
        let lots = [2.9, 3.2, 3.6, 4.3, 3.8, 3.5, 3.0, 3.1, 3.6, 3.5];
        let chart = Chart::of(&lots).expect("a chart");
        assert!((chart.centre - 3.45).abs() < 1e-9, "{}", chart.centre);
        assert!((chart.mean_range - 0.38).abs() < 5e-3, "{}", chart.mean_range);
        assert!((chart.upper - 4.45).abs() < 1e-2, "{}", chart.upper);
        assert!((chart.lower - 2.45).abs() < 1e-2, "{}", chart.lower);
        assert!((chart.range_upper - 1.24).abs() < 1e-2, "{}", chart.range_upper);
        assert!(chart.findings.is_empty(), "{:?}", chart.findings);
        assert!(chart.is_provisional());
    }

    #[test]
    fn a_point_outside_and_the_jump_to_it_are_told() {
        let mut values: Vec<f64> =
            (0..20).map(|place| if place % 2 == 0 { 85.0 } else { 85.4 }).collect();
        values.push(80.0);
        let chart = Chart::of(&values).expect("a chart");
        assert!(chart.findings.contains(&Finding::Outside { point: 20, side: Side::Below }));
        assert!(chart.findings.contains(&Finding::Jump { point: 20 }));
        assert!(!chart.is_provisional());
    }

    #[test]
    fn eight_in_a_row_on_one_side_are_told_and_seven_are_not() {
        let seven =
            [84.0, 86.1, 84.0, 86.1, 84.0, 84.1, 84.0, 86.0, 86.1, 86.2, 86.0, 86.1, 86.2, 86.0];
        let chart = Chart::of(&seven).expect("a chart");
        assert!(!chart.findings.iter().any(|one| matches!(one, Finding::Run { .. })), "{chart:?}");
        let mut eight = vec![84.0; 8];
        eight.extend([86.0; 8]);
        let chart = Chart::of(&eight).expect("a chart");
        let runs = [
            Finding::Run { from: 0, to: 7, side: Side::Below },
            Finding::Run { from: 8, to: 15, side: Side::Above },
        ];
        for run in runs {
            assert!(chart.findings.contains(&run), "{:?}", chart.findings);
        }
    }

    #[test]
    fn one_figure_has_no_chart_and_equal_ones_find_nothing() {
        assert!(Chart::of(&[85.0]).is_none());
        // The mean of six times 0.55 is no 0.55 in binary.
        for (value, count) in [(85.0, 30), (0.55, 6), (0.1, 10), (12.3, 25)] {
            let same = Chart::of(&vec![value; count]).expect("a chart");
            assert!(same.findings.is_empty(), "{same:?}");
        }
    }
}
