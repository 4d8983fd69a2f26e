//! Where thickness is judged.

use crate::model::shape::Shape;

/// Places nearer than this are one, m.
const ROUNDING: f64 = 1e-9;
/// Just before a step, m: there the radius is that of the lower-z side.
const BEFORE: f64 = 1e-6;

/// Places (m) from end to end of the `zone`, both ends among them, no wider than `spacing` apart,
/// without those nearer than `margin` to a step, but with those just that far from it. With no
/// margin both faces of a step are judged.
///
/// At a step the thickness jumps by `(R1 - R2) / (R1 + R2)` whatever the feed does; one standard
/// deviation of the plume beside it an even feed can be found. Without a margin the whole part
/// would give up evenness for a place that cannot have it.
#[must_use]
pub fn stations(shape: &Shape, zone: (f64, f64), spacing: f64, margin: f64) -> Vec<f64> {
    let steps: Vec<f64> = shape.steps().collect();
    let count = ((zone.1 - zone.0) / spacing - 1e-9).ceil().max(1.0);
    let mut places = Vec::new();
    let clear = |at: f64| steps.iter().all(|step| (at - step).abs() >= margin - ROUNDING);
    let mut done = 0.0;
    while done <= count {
        places.push(zone.0 + (zone.1 - zone.0) * done / count);
        done += 1.0;
    }
    let beside = steps.iter().flat_map(|step| {
        if margin > 0.0 { [step - margin, step + margin] } else { [step - BEFORE, *step] }
    });
    places.extend(beside.filter(|at| (zone.0..=zone.1).contains(at)));
    places.retain(|at| clear(*at));
    places.sort_by(f64::total_cmp);
    places.dedup_by(|a, b| (*a - *b).abs() < ROUNDING);
    places
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn thickness_is_judged_just_outside_the_margin_of_a_step() {
        let shape = Shape::new(vec![(0.0, 0.05), (0.15, 0.05), (0.15, 0.04), (0.3, 0.04)]);
        let places = stations(&shape.unwrap(), (0.0, 0.3), 0.02, 0.008);
        let near: Vec<f64> = places.into_iter().filter(|z| (z - 0.15).abs() < 0.0101).collect();
        assert_eq!(near, [0.14, 0.142, 0.158, 0.16]);
    }
}
