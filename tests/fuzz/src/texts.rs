//! Files that a person wrote: whatever they hold, they are read without a panic, everything said
//! about them has a place inside them, and what is accepted can be planned and driven.

use evenpass_core::catalogue::Catalogue;
use evenpass_core::document::Problems;
use evenpass_core::interlock::check_figures;
use evenpass_core::plan::plan;
use evenpass_core::recipe::Recipe;
use evenpass_core::rig::{Rig, check_together};
use evenpass_core::scan::Controller;

use crate::SHIPPED;
use crate::shipped::{POWDERS, TORCHES};

/// A recipe, on the bench with the shipped catalogue.
///
/// # Panics
/// When a promise is broken.
pub fn recipe(data: &[u8]) {
    let Ok(text) = core::str::from_utf8(data) else { return };
    let (bench, catalogue) = (&SHIPPED.bench, &SHIPPED.catalogue);
    match Recipe::read(text, catalogue) {
        Err(problems) => refused(&problems, text),
        Ok(recipe) => {
            placed(&recipe.warnings(catalogue), text);
            placed(&check_together(&recipe, bench, catalogue), text);
            go_on(&recipe, bench, catalogue);
        }
    }
}

/// A rig, with a shipped recipe and the shipped catalogue.
///
/// # Panics
/// When a promise is broken.
pub fn rig(data: &[u8]) {
    let Ok(text) = core::str::from_utf8(data) else { return };
    match Rig::read(text) {
        Err(problems) => refused(&problems, text),
        Ok(rig) => {
            placed(&rig.warnings(), text);
            let figures = check_figures(&rig);
            placed(&figures, text);
            // A rig that is accepted in all can be driven.
            let controller = Controller::new(&rig);
            assert!(figures.forbid() || controller.is_ok(), "{:?}", controller.err());
            go_on(one_of_the_recipes(data), &rig, &SHIPPED.catalogue);
        }
    }
}

/// A catalogue: the text in the place of the powders, in the place of the torches, and alone.
///
/// # Panics
/// When a promise is broken.
pub fn catalogue(data: &[u8]) {
    let Ok(text) = core::str::from_utf8(data) else { return };
    let name = "file.toml";
    let beside = [
        vec![(name, text)],
        vec![(name, text), ("torches.toml", TORCHES)],
        vec![("powders.toml", POWDERS), (name, text)],
    ];
    for files in beside {
        match Catalogue::read(&files) {
            Err(problems) => {
                assert!(problems.forbid(), "refused without a reason");
                assert!(!problems.render(&files).is_empty(), "refused without a word");
                for (file, problems) in problems.iter() {
                    let (_, text) = files.iter().find(|(known, _)| *known == file).expect("known");
                    placed(problems, text);
                }
            }
            Ok(catalogue) => {
                go_on(one_of_the_recipes(data), &SHIPPED.bench, &catalogue);
            }
        }
    }
}

/// A plan costs a hundred times what reading does: each text gets one of the recipes.
fn one_of_the_recipes(data: &[u8]) -> &'static Recipe {
    &SHIPPED.recipes[data.len() % SHIPPED.recipes.len()]
}

/// What fits together is planned, and what is planned is taken.
fn go_on(recipe: &Recipe, rig: &Rig, catalogue: &Catalogue) {
    if check_together(recipe, rig, catalogue).forbid() {
        return;
    }
    let Ok(plan) = plan(recipe, rig, catalogue) else { return };
    let finite = |figure: f64, what: &str| assert!(figure.is_finite(), "{what} is {figure}");
    for zone in &plan.forecast.zones {
        finite(zone.edges.low.mm(), "an edge");
        finite(zone.edges.high.mm(), "an edge");
        finite(zone.edge_share.ratio(), "the coat at an edge");
    }
    if let Ok(mut controller) = Controller::new(rig) {
        controller.load(&plan);
    }
}

fn refused(problems: &Problems, text: &str) {
    assert!(problems.forbid(), "refused without a reason");
    placed(problems, text);
}

/// Everything that is said has a place inside the text, between characters, and is shown there.
fn placed(problems: &Problems, text: &str) {
    let rendered = problems.render("file.toml", text);
    for problem in problems.clone().placed(text).iter() {
        let span = problem.span.clone().expect("placed");
        assert!(span.start <= span.end && span.end <= text.len(), "{problem:?}");
        assert!(text.get(span).is_some(), "inside a character: {problem:?}");
        let place = problem.place(text);
        assert!(place.line <= text.matches('\n').count() + 1, "{place:?} of {problem:?}");
        let arrow = format!("--> file.toml:{}:{}\n", place.line, place.column);
        assert!(rendered.contains(&arrow), "{arrow}{rendered}");
    }
}
