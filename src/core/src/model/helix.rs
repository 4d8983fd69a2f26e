//! The helix: what is left of the turns of the part in the coat.

use core::f64::consts::PI;

use super::spray::Plume;

/// Half peak to peak over mean of one pass along a line of a cylinder, first harmonic, for a
/// radius and a pitch in m. By Poisson's sum a narrow plume without spreading gives
/// `2 exp(-2 pi^2 sigma^2 / p^2)`.
#[must_use]
pub fn ripple(plume: &Plume, radius: f64, pitch: f64) -> f64 {
    let count = (8.0 * PI * radius / plume.sigma_lateral).ceil().max(400.0);
    let (mut wave, mut mean) = (0.0, 0.0);
    let mut done = 0.0;
    while done < count {
        let angle = (done + 0.5) * PI / 2.0 / count;
        let distance = plume.reference_radius + plume.standoff - radius * angle.cos();
        let (along, wide) = plume.spread(distance);
        let y = radius * angle.sin();
        let across = plume.growth * y / wide;
        let facing = (angle.cos() - across * angle.sin()).max(0.0);
        let sticks = (facing / across.hypot(1.0)).powf(plume.exponent);
        let share = (-y * y / (2.0 * wide * wide)).exp() / wide * facing * sticks;
        let turns = 2.0 * PI * along / pitch;
        wave += share * (-0.5 * turns * turns).exp() * angle.cos();
        mean += share;
        done += 1.0;
    }
    if mean > 0.0 { 2.0 * wave.abs() / mean } else { 0.0 }
}
