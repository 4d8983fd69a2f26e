//! A world whose figures are known, and what a person with instruments reads in it.

use crate::catalogue::Catalogue;
use crate::learn::evidence::{
    DiameterReading, Fed, FeederMeasured, PartMeasured, StripeMeasured, ThicknessReading, Weights,
};
use crate::learn::response::Landing;
use crate::learn::{Catch, Figure, Figures, Finish, Pair, RunBasis};
use crate::plan::{plan, support};
use crate::quantity::{Length, Mass, MassFlow, Speed, Time};
use crate::recipe::Recipe;

/// Random figures of a seed: splitmix64 (Steele, Lea and Flood 2014), normal by Box and Muller.
pub(super) struct Chance(u64);

impl Chance {
    pub(super) fn of(seed: u64) -> Self {
        Self(seed)
    }

    fn even(&mut self) -> f64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        ((z ^ (z >> 31)) >> 11) as f64 / (1_u64 << 53) as f64
    }

    pub(super) fn normal(&mut self, within: f64) -> f64 {
        let (a, b) = (1.0 - self.even(), self.even());
        within * (-2.0 * a.ln()).sqrt() * (core::f64::consts::TAU * b).cos()
    }
}

/// Places of the zone that are measured, mm: both ends, where the footprint shows, and between.
const PLACES: [f64; 8] = [100.0, 104.0, 120.0, 140.0, 160.0, 180.0, 216.0, 220.0];

pub(super) fn mm(value: f64) -> Length {
    Length::from_mm(value)
}

/// The reference job: its recipe without fusing, its catalogue, its pair.
pub(super) fn job() -> (Recipe, Catalogue, Pair) {
    let mut recipe = support::recipe();
    recipe.fuse = None;
    recipe.zones[0].passes = Some(9);
    let pair = Pair { torch: recipe.spray.torch.clone(), powder: "nickel-60".to_owned() };
    (recipe, support::catalogue(), pair)
}

pub(super) fn basis() -> RunBasis {
    let (recipe, catalogue, _) = job();
    let made = plan(&recipe, &support::rig(), &catalogue).expect("the reference job is planned");
    RunBasis::of(&recipe, &catalogue, &made.program).expect("its own program")
}

pub(super) fn catalogued() -> Figures {
    let (_, catalogue, pair) = job();
    Figures::of(&catalogue, &pair).expect("in the catalogue")
}

/// Figures drawn from what the catalogue is said to be known within.
pub(super) fn drawn(chance: &mut Chance) -> Figures {
    Figure::ALL.iter().fold(catalogued(), |figures, figure| {
        figures.times(*figure, chance.normal(figure.catalogue_uncertainty()).exp())
    })
}

/// What is uncertain in a part and its measuring, as shares, and mm.
#[derive(Clone, Copy)]
pub(super) struct Noise {
    pub(super) part_to_part: f64,
    pub(super) place: f64,
    pub(super) mass: f64,
    pub(super) micrometer: f64,
    pub(super) drawing: f64,
    pub(super) balance_g: f64,
    pub(super) hopper_g: f64,
}

/// A part sprayed in the world of `truth`, measured, weighed, its powder weighed.
pub(super) fn part(
    basis: &RunBasis,
    truth: &Figures,
    noise: &Noise,
    chance: &mut Chance,
) -> PartMeasured {
    let mut landing = Landing::of(basis, truth.footprint.mm() * 1e-3).expect("a shape");
    let luck = chance.normal(noise.part_to_part).exp();
    let kept = luck * truth.efficiency.ratio() * truth.powder_rate.ratio();
    let mut diameter = |place: f64| {
        let landed = landing.at(place * 1e-3);
        let density = truth.density_as_sprayed.g_per_cm3() * 1e-3;
        let area = kept * landed / density * (1.0 + chance.normal(noise.place));
        let before = 50.0 + chance.normal(noise.drawing);
        let after = (before * before + 4.0 * area / core::f64::consts::PI).sqrt();
        mm(after + chance.normal(noise.micrometer))
    };
    let diameters = PLACES
        .iter()
        .map(|place| DiameterReading { at: mm(*place), before: None, found: diameter(*place) })
        .collect();
    let landed = landing.on_all() * 1e3;
    let before = 1843.2;
    let gain = kept * landed * (1.0 + chance.normal(noise.mass));
    let after = before + gain + chance.normal(noise.balance_g * core::f64::consts::SQRT_2);
    let set = basis.set_mass() * 1e3;
    let fed = set * truth.powder_rate.ratio() * (1.0 + chance.normal(0.005));
    PartMeasured {
        finish: Finish::AsSprayed,
        diameters,
        micrometer: mm(noise.micrometer),
        temperature: None,
        weights: Some(Weights {
            before: Mass::from_g(before),
            after: Mass::from_g(after),
            balance: Mass::from_g(noise.balance_g),
        }),
        fed: Some(Fed {
            mass: Mass::from_g(fed + chance.normal(noise.hopper_g)),
            within: Mass::from_g(noise.hopper_g),
        }),
    }
}

/// Three catches of a minute at 60 g/min.
pub(super) fn feeder(truth: &Figures, chance: &mut Chance) -> FeederMeasured {
    let set = MassFlow::from_g_per_min(60.0);
    let today = truth.powder_rate.ratio() * chance.normal(0.01).exp();
    let mut caught = || Catch {
        mass: Mass::from_g(60.0 * today + chance.normal(0.1)),
        time: Time::from_s(60.0),
    };
    let catches = vec![caught(), caught(), caught()];
    FeederMeasured { set, catches, balance: Mass::from_g(0.1), clock: Time::from_s(0.2) }
}

/// A stripe at 10 mm/s, measured every 3 mm across; its middle lies 1.3 mm beside the scale's.
pub(super) fn stripe(truth: &Figures, chance: &mut Chance) -> StripeMeasured {
    let (set, feed) = (MassFlow::from_g_per_min(60.0), Speed::from_mm_per_s(2.0));
    let sigma = truth.footprint.mm();
    let kept = truth.efficiency.ratio() * truth.powder_rate.ratio() * chance.normal(0.02).exp();
    let area = kept * 1.0 / (truth.density_as_sprayed.g_per_cm3() * 1e-3 * feed.mm_per_s());
    let peak = area / (sigma * core::f64::consts::TAU.sqrt());
    let mut readings = Vec::new();
    for step in -6_i32..=6 {
        let at = f64::from(step) * 3.0;
        let u = (at - 1.3) / sigma;
        let thickness = peak * (-0.5 * u * u).exp() + chance.normal((0.02 * peak).hypot(0.01));
        readings.push(ThicknessReading { at: mm(at), thickness: mm(thickness) });
    }
    StripeMeasured { set, feed, readings, gauge: mm(0.01) }
}
