//! Where thickness is judged.

use crate::model::shape::Shape;

/// Just before a step, m: there the radius is that of the lower-z side.
const BEFORE: f64 = 1e-6;

/// Places (m) from end to end of the `zone`, both ends among them, no wider than `spacing` apart,
/// without those nearer than `margin` to a step. With no margin both faces of a step are judged.
///
/// At a step the thickness jumps by `(R1 - R2) / (R1 + R2)` whatever the feed does; one standard
/// deviation of the plume beside it an even feed can be found. Without a margin the whole part
/// would give up evenness for a place that cannot have it.
#[must_use]
pub fn stations(shape: &Shape, zone: (f64, f64), spacing: f64, margin: f64) -> Vec<f64> {
    let steps: Vec<f64> = shape.steps().collect();
    let count = ((zone.1 - zone.0) / spacing - 1e-9).ceil().max(1.0);
    let mut places = Vec::new();
    let mut done = 0.0;
    while done <= count {
        let at = zone.0 + (zone.1 - zone.0) * done / count;
        if steps.iter().all(|step| (at - step).abs() >= margin) {
            places.push(at);
        }
        done += 1.0;
    }
    if margin <= 0.0 {
        let inside = steps.iter().filter(|step| zone.0 < **step && **step < zone.1);
        places.extend(inside.flat_map(|step| [step - BEFORE, *step]));
        places.sort_by(f64::total_cmp);
        places.dedup();
    }
    places
}
