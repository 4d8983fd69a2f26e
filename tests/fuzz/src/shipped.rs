//! The files that are shipped: what a damaged one is read against, and where the search begins.

use std::sync::LazyLock;

use evenpass_core::catalogue::Catalogue;
use evenpass_core::recipe::Recipe;
use evenpass_core::rig::Rig;
use evenpass_hil::{Bench, BenchSpec, PartInChuck};

pub(crate) const POWDERS: &str = include_str!("../../../config/powders.toml");
pub(crate) const TORCHES: &str = include_str!("../../../config/torches.toml");
const BENCH: &str = include_str!("../../../config/rigs/bench.toml");
const GEARBOX: &str = include_str!("../../../config/rigs/gearbox-lathe.toml");
const INVERTER: &str = include_str!("../../../config/rigs/inverter-lathe.toml");
const SHORT: &str = include_str!("../../../config/recipes/short-job.toml");
const SHAFT: &str = include_str!("../../../config/recipes/reference-shaft.toml");
const SLEEVE: &str = include_str!("../../../config/recipes/pump-sleeve.toml");
const STEPPED: &str = include_str!("../../../config/recipes/stepped-shaft.toml");
const TAPER: &str = include_str!("../../../config/recipes/taper-spindle.toml");

/// What must hold for any bytes; a broken promise panics.
pub type Promise = fn(&[u8]);

/// What can be fuzzed, and by which function.
pub const TARGETS: [(&str, Promise); 4] = [
    ("frames", crate::frames),
    ("rig", crate::rig),
    ("recipe", crate::recipe),
    ("catalogue", crate::catalogue),
];

/// The shipped files, read once.
pub struct Shipped {
    pub(crate) catalogue: Catalogue,
    pub(crate) bench: Rig,
    pub(crate) recipes: Vec<Recipe>,
    pub(crate) twin: Bench,
}

/// The shipped files, read once.
pub static SHIPPED: LazyLock<Shipped> = LazyLock::new(|| {
    let files = [("powders.toml", POWDERS), ("torches.toml", TORCHES)];
    let catalogue = Catalogue::read(&files).unwrap_or_else(|problems| panic!("{problems}"));
    let recipes = [SHORT, SHAFT, STEPPED]
        .iter()
        .map(|text| Recipe::read(text, &catalogue).unwrap_or_else(|problems| panic!("{problems}")));
    let recipes = recipes.collect();
    let mut twin = BenchSpec::default_bench()
        .and_then(|spec| Bench::new(&spec, &PartInChuck::plain_shaft(), 1))
        .unwrap_or_else(|problem| panic!("{problem}"));
    // Its devices are up: the drive's self-test takes 0.1 s.
    twin.advance(1_000_000);
    let bench = Rig::read(BENCH).unwrap_or_else(|problems| panic!("{problems}"));
    Shipped { catalogue, bench, recipes, twin }
});

impl Shipped {
    /// Where the search of a target begins: the shipped files; for frames, each kind of request
    /// with nothing, with noise and with a refusal behind it.
    #[must_use]
    pub fn seeds(target: &str) -> Vec<Vec<u8>> {
        let texts = |texts: &[&str]| texts.iter().map(|text| text.as_bytes().to_vec()).collect();
        match target {
            "rig" => texts(&[BENCH, GEARBOX, INVERTER]),
            "recipe" => texts(&[SHORT, SHAFT, SLEEVE, STEPPED, TAPER]),
            "catalogue" => texts(&[POWDERS, TORCHES]),
            _ => crate::frames::seeds(),
        }
    }
}
