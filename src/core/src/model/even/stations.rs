//! Where thickness is judged.

use crate::model::shape::Shape;

/// Places (m) in the `zone`, no wider than `spacing` apart and at the middle of equal stretches,
/// without those nearer than `margin` to a step.
///
/// At a step the thickness jumps by `(R1 - R2) / (R1 + R2)` whatever the feed does; one standard
/// deviation of the plume beside it a feed can be found. Without a margin the whole part would
/// give up evenness for a place that cannot have it.
#[must_use]
pub fn stations(shape: &Shape, zone: (f64, f64), spacing: f64, margin: f64) -> Vec<f64> {
    let steps: Vec<f64> = shape.steps().collect();
    let count = ((zone.1 - zone.0) / spacing).ceil().max(1.0);
    let width = (zone.1 - zone.0) / count;
    let mut places = Vec::new();
    let mut done = 0.0;
    while done < count {
        let at = zone.0 + (done + 0.5) * width;
        if steps.iter().all(|step| (at - step).abs() >= margin) {
            places.push(at);
        }
        done += 1.0;
    }
    places
}
