//! The part in the chuck.

use serde::Deserialize;

use crate::spec::{BenchSpec, SpecError};

/// The part in the chuck and the order in which its job card asks for torches.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct PartInChuck {
    /// Outer contour: pairs of z and radius, m; z never falls, radius is linear between points,
    /// two points at one z are a step.
    pub profile_m: Vec<(f64, f64)>,
    /// Radius of a concentric bore, m; 0 = solid.
    pub bore_radius_m: f64,
    /// Names of torches; the first is mounted at the start.
    pub torch_order: Vec<String>,
    /// Stretches of coat that the job card has the person watch while fusing, in their order, zone
    /// by zone, mm.
    pub watched_mm: Vec<Vec<(f64, f64)>>,
    /// Temperature at the start, degC.
    pub initial_c: f64,
}

impl PartInChuck {
    /// A plain shaft of 50 mm diameter and 300 mm length at 20 degC (invented test part), to be
    /// sprayed and then fused.
    #[must_use]
    pub fn plain_shaft() -> Self {
        Self::cylinder(0.050, 0.300)
    }

    /// A solid cylinder from the chuck face on, at 20 degC, to be sprayed and then fused.
    #[must_use]
    pub fn cylinder(diameter_m: f64, length_m: f64) -> Self {
        Self {
            profile_m: vec![(0.0, diameter_m / 2.0), (length_m, diameter_m / 2.0)],
            bore_radius_m: 0.0,
            torch_order: vec!["spray".to_owned(), "fuse".to_owned()],
            watched_mm: Vec::new(),
            initial_c: 20.0,
        }
    }

    /// Whether the bench can turn and heat this part with its torches.
    pub(crate) fn check(&self, spec: &BenchSpec) -> Result<(), SpecError> {
        let rising = self.profile_m.windows(2).all(|w| matches!(w, [a, b] if b.0 >= a.0));
        let long = match (self.profile_m.first(), self.profile_m.last()) {
            (Some(first), Some(last)) => last.0 - first.0 > 1e-3,
            _ => false,
        };
        if !(rising && long) {
            return Err(SpecError(
                "the part's profile must have two points or more, more than 1 mm long in all, with z never falling"
                    .to_owned(),
            ));
        }
        if !self.profile_m.iter().all(|p| p.1 > self.bore_radius_m && self.bore_radius_m >= 0.0) {
            return Err(SpecError(
                "every radius of the part's profile must be above its bore radius".to_owned(),
            ));
        }
        if self.torch_order.is_empty() {
            return Err(SpecError("the part's job card names no torch".to_owned()));
        }
        for name in &self.torch_order {
            if spec.torch_index(name).is_none() {
                return Err(SpecError(format!(
                    "the part's job card asks for torch \"{name}\"; the bench has no [[torch]] of that name"
                )));
            }
        }
        Ok(())
    }
}
