//! Parts to be coated evenly, read from a file that this program and another one both solve.

use std::error::Error;

use evenpass_core::model::even::{Problem, stations};
use evenpass_core::model::{Plume, Shape};
use serde::Deserialize;

/// One part with its torch and limits. SI units; the even feed's problem of the reference cases,
/// with one number of passes and the stations by their spacing.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Part {
    /// What it is.
    pub(crate) name: String,
    part: Outline,
    coated_zone_m: (f64, f64),
    torch: Torch,
    powder_rate_kg_s: f64,
    target_thickness_m: f64,
    /// Passes.
    pub(crate) passes: u32,
    feed_min_m_s: f64,
    feed_max_m_s: f64,
    overrun_m: (f64, f64),
    station_spacing_m: f64,
    /// Beside a step nothing is judged nearer than this; without it both its faces are.
    pub(crate) step_margin_m: f64,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct Outline {
    #[serde(rename = "profile_z_R_m")]
    profile: Vec<(f64, f64)>,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct Torch {
    standoff_m: f64,
    standoff_reference_radius_m: f64,
    sigma_axial_m: f64,
    sigma_lateral_m: f64,
    sigma_growth_half_angle_deg: f64,
    angle_exponent: f64,
    base_deposition_efficiency: f64,
    as_sprayed_density_kg_m3: f64,
}

/// The parts of a file.
pub(crate) fn read(path: &str) -> Result<Vec<Part>, Box<dyn Error>> {
    Ok(serde_json::from_str(&std::fs::read_to_string(path)?)?)
}

impl Part {
    /// The even feed's problem.
    pub(crate) fn problem(&self) -> Result<Problem, Box<dyn Error>> {
        let shape = Shape::new(self.part.profile.clone()).ok_or("the outline falls")?;
        let torch = &self.torch;
        Ok(Problem {
            plume: Plume {
                standoff: torch.standoff_m,
                reference_radius: torch.standoff_reference_radius_m,
                sigma_axial: torch.sigma_axial_m,
                sigma_lateral: torch.sigma_lateral_m,
                growth: torch.sigma_growth_half_angle_deg.to_radians().tan(),
                exponent: torch.angle_exponent,
                efficiency: torch.base_deposition_efficiency,
                density: torch.as_sprayed_density_kg_m3,
            },
            rate: self.powder_rate_kg_s,
            zone: self.coated_zone_m,
            overrun: self.overrun_m,
            stations: stations(
                &shape,
                self.coated_zone_m,
                self.station_spacing_m,
                self.step_margin_m,
            ),
            target: self.target_thickness_m,
            feed: (self.feed_min_m_s, self.feed_max_m_s),
            acceleration: None,
            turns: None,
            shape,
        })
    }
}
