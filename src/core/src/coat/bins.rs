//! Powder that arrived, by place: how a coat is written down, and how it is taken up again.

use serde::{Deserialize, Serialize};

use super::{Coat, Layer, LayerBasis};
use crate::quantity::Length;

/// Grams are written down to a ten-thousandth: a thousandth of what one pass of the trade puts into a
/// bin (arbitrary).
const DECIMALS: f64 = 1e4;
/// Two bin widths or places that differ by less are the same, mm; rounding of their text.
const SAME: f64 = 1e-6;

/// Powder that arrived, in bins of the torch's place.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Bins {
    /// Middle of the first bin.
    pub low: Length,
    /// From the middle of one to that of the next.
    pub width: Length,
    /// Powder in each, g.
    pub grams: Vec<f64>,
}

/// What an earlier run has left on the part in one spraying step.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Lying {
    /// How its powder spreads; of its step nothing counts any more but how it was sprayed.
    pub layer: LayerBasis,
    /// Where it arrived.
    pub bins: Bins,
}

impl Coat {
    /// What has arrived in a step, rounded to what matters; `None` for a step that sprays nothing.
    #[must_use]
    pub fn bins(&self, step: usize) -> Option<Bins> {
        let layer = self.layers.iter().find(|layer| layer.basis.step == step)?;
        let grams = layer.grams.iter().map(|grams| (grams * DECIMALS).round() / DECIMALS).collect();
        Some(Bins { low: layer.low, width: layer.width, grams })
    }

    /// Takes what has arrived in a step from what was written down; nothing for a step that sprays
    /// nothing, and figures that are none are left out.
    pub fn set(&mut self, step: usize, bins: &Bins) {
        let Some(layer) = self.layers.iter_mut().find(|layer| layer.basis.step == step) else {
            return;
        };
        layer.grams.iter_mut().for_each(|grams| *grams = 0.0);
        layer.take(bins);
    }

    /// All that lies on the part, earlier runs included.
    #[must_use]
    pub fn lying(&self) -> Vec<Lying> {
        let told = |layer: &Layer| Lying {
            layer: layer.basis.clone(),
            bins: Bins { low: layer.low, width: layer.width, grams: layer.grams.clone() },
        };
        let has_any = |layer: &&Layer| layer.grams.iter().any(|grams| *grams > 0.0);
        self.lies.iter().chain(&self.layers).filter(has_any).map(told).collect()
    }
}

impl Layer {
    /// A layer that lies there already.
    pub(super) fn of(lying: &Lying) -> Self {
        let Bins { low, width, grams } = lying.bins.clone();
        Self { basis: lying.layer.clone(), low, width, grams }
    }

    fn take(&mut self, bins: &Bins) {
        let same = |one: Length, other: Length| (one - other).abs().mm() < SAME;
        let fits = same(bins.low, self.low) && same(bins.width, self.width);
        let is_figure = |grams: &f64| grams.is_finite() && *grams > 0.0;
        let mut centre = bins.low;
        for (index, grams) in bins.grams.iter().enumerate() {
            if is_figure(grams) {
                match self.grams.get_mut(index).filter(|_| fits) {
                    Some(bin) => *bin = *grams,
                    None => self.put(centre, *grams),
                }
            }
            centre += bins.width;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::coat::{CoatBasis, Range};
    use crate::plan::{plan, support};
    use crate::quantity::Time;

    fn mm(value: f64) -> Length {
        Length::from_mm(value)
    }

    fn sprayed() -> (CoatBasis, Coat) {
        let plan =
            plan(&support::recipe(), &support::rig(), &support::catalogue()).expect("a plan");
        let mut coat = Coat::new(&plan.coat);
        coat.select(1);
        coat.deposit_between(mm(90.0), mm(170.0), Time::from_s(40.0));
        (plan.coat, coat)
    }

    #[test]
    fn a_coat_that_was_written_down_and_taken_up_again_is_the_same() {
        let (basis, coat) = sprayed();
        let text = serde_json::to_string(&coat.bins(1).expect("sprayed")).expect("text");
        assert!(text.len() < 2000, "{} bytes: {text}", text.len());
        let bins: Bins = serde_json::from_str(&text).expect("read back");
        let mut again = Coat::new(&basis);
        again.set(1, &bins);
        let under = CoatBasis { lies: again.lying(), ..basis };
        for at in [85.0, 100.0, 130.0, 168.0, 175.0] {
            let (was, is) = (coat.thickness_at(mm(at)).mm(), again.thickness_at(mm(at)).mm());
            assert!((was - is).abs() < 1e-4, "{at}: {was}, {is}");
            let lies = Coat::new(&under).thickness_at(mm(at)).mm();
            assert!((lies - is).abs() < 1e-9, "{at}: {lies}");
        }
    }

    #[test]
    fn bins_of_another_travel_keep_their_places_and_figures_that_are_none_are_left_out() {
        let (mut basis, coat) = sprayed();
        let mut bins = coat.bins(1).expect("sprayed");
        if let Some(first) = bins.grams.first_mut() {
            *first = f64::NAN;
        }
        for layer in &mut basis.layers {
            layer.travel = Range { low: mm(60.3), high: mm(250.0) };
        }
        let mut other = Coat::new(&basis);
        other.set(1, &bins);
        let (was, is) = (coat.thickness_at(mm(130.0)).mm(), other.thickness_at(mm(130.0)).mm());
        assert!((was / is - 1.0).abs() < 2e-3, "{was}, {is}");
        other.set(7, &bins);
    }
}
