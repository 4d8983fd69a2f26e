//! What coats were measured on: how many parts, how, and how many stripes.

use serde::Serialize;

use super::evidence::{Evidence, Witness};
use super::figures::Pair;
use super::rows::{is_of_one_powder, readings_of};

/// What coats were measured on. A part that was measured as sprayed and again fused is one part.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize)]
pub struct CoatsMeasured {
    /// Parts whose diameters were measured.
    pub parts: usize,
    /// Parts that were weighed and not measured otherwise.
    pub only_weighed: usize,
    /// Single passes over a plate.
    pub stripes: usize,
}

impl CoatsMeasured {
    pub(super) fn of(evidence: &[Evidence<'_>], pair: &Pair) -> Self {
        let (mut measured, mut weighed): (Vec<&str>, Vec<&str>) = (Vec::new(), Vec::new());
        let mut stripes = 0;
        let add = |to: &mut Vec<_>, source| {
            if !to.contains(&source) {
                to.push(source);
            }
        };
        for piece in evidence {
            match piece.witness {
                Witness::Part(part, basis) => {
                    if readings_of(part, basis, pair).next().is_some() {
                        add(&mut measured, piece.source);
                    } else if part.weights.is_some() && is_of_one_powder(basis) {
                        add(&mut weighed, piece.source);
                    }
                }
                Witness::Stripe(_) => stripes += 1,
                Witness::Feeder(_) => {}
            }
        }
        let only_weighed = weighed.iter().filter(|source| !measured.contains(source)).count();
        Self { parts: measured.len(), only_weighed, stripes }
    }

    /// Whether there is any.
    #[must_use]
    pub const fn any(&self) -> bool {
        self.parts + self.only_weighed + self.stripes > 0
    }
}

impl core::fmt::Display for CoatsMeasured {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        if !self.any() {
            return f.write_str("not calibrated: no part was measured");
        }
        let counted = |count: usize, one: &str, more: &str| match count {
            0 => None,
            1 => Some(format!("1 {one}")),
            count => Some(format!("{count} {more}")),
        };
        let all: Vec<String> = [
            counted(self.parts, "measured part", "measured parts"),
            counted(
                self.only_weighed,
                "part that was only weighed",
                "parts that were only weighed",
            ),
            counted(self.stripes, "single-pass stripe", "single-pass stripes"),
        ]
        .into_iter()
        .flatten()
        .collect();
        let says = if self.parts + self.only_weighed + self.stripes == 1 { "says" } else { "say" };
        write!(f, "as {} {says}", all.join(" and "))?;
        if self.parts + self.only_weighed == 0 {
            f.write_str("; no part was measured")?;
        }
        Ok(())
    }
}
