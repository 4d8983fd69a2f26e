//! The files of the config folder are accepted, alone and together.

#![expect(clippy::panic, reason = "a test fails with the rendered problems")]

use evenpass_core::catalogue::Catalogue;
use evenpass_core::recipe::Recipe;
use evenpass_core::rig::{Rig, check_together};

const POWDERS: (&str, &str) = ("powders.toml", include_str!("../../../config/powders.toml"));
const TORCHES: (&str, &str) = ("torches.toml", include_str!("../../../config/torches.toml"));

macro_rules! files {
    ($folder:literal, $($name:literal),+) => {
        [$(($name, include_str!(concat!("../../../config/", $folder, "/", $name)))),+]
    };
}

fn recipes() -> Vec<(&'static str, &'static str)> {
    files!(
        "recipes",
        "reference-shaft.toml",
        "pump-sleeve.toml",
        "taper-spindle.toml",
        "stepped-shaft.toml",
        "short-job.toml"
    )
    .to_vec()
}

fn rigs() -> Vec<(&'static str, &'static str)> {
    files!("rigs", "bench.toml", "inverter-lathe.toml", "gearbox-lathe.toml").to_vec()
}

fn catalogue() -> Catalogue {
    Catalogue::read(&[POWDERS, TORCHES])
        .unwrap_or_else(|problems| panic!("{}", problems.render(&[POWDERS, TORCHES])))
}

#[test]
fn the_catalogue_is_accepted_without_a_warning() {
    let warnings = Catalogue::warnings(&[POWDERS, TORCHES]);
    assert_eq!(warnings.render(&[POWDERS, TORCHES]), "");
    assert_eq!(catalogue().powders.len(), 3);
}

#[test]
fn every_recipe_is_accepted() {
    let catalogue = catalogue();
    for (name, text) in recipes() {
        let recipe = Recipe::read(text, &catalogue)
            .unwrap_or_else(|problems| panic!("{}", problems.render(name, text)));
        println!("{}", recipe.warnings(&catalogue).render(name, text));
    }
}

#[test]
fn every_rig_is_accepted_without_a_warning() {
    for (name, text) in rigs() {
        let rig =
            Rig::read(text).unwrap_or_else(|problems| panic!("{}", problems.render(name, text)));
        assert_eq!(rig.warnings().render(name, text), "");
    }
}

#[test]
fn every_recipe_can_be_made_on_every_rig() {
    let catalogue = catalogue();
    for (rig_name, rig_text) in rigs() {
        let rig = Rig::read(rig_text).expect("accepted above");
        for (name, text) in recipes() {
            let recipe = Recipe::read(text, &catalogue).expect("accepted above");
            let problems = check_together(&recipe, &rig, &catalogue);
            println!("{rig_name} with {name}:\n{}", problems.render(name, text));
            assert!(!problems.forbid(), "{rig_name}, {name}");
        }
    }
}
