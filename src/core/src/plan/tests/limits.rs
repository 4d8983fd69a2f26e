//! What binds, and what would free it.

use super::*;
use crate::plan::{Limit, PlanProblems};
use crate::quantity::{Length, MassFlow, Pitch, Speed, Temperature, Time};
use crate::recipe::FeedChoice;

fn refused(recipe: &Recipe, rig: &Rig) -> PlanProblems {
    plan(recipe, rig, &support::catalogue()).expect_err("something binds")
}

/// The only limit that binds, with what is told.
fn binds(recipe: &Recipe, rig: &Rig) -> (Limit, String) {
    let problems = refused(recipe, rig);
    assert_eq!(problems.all().len(), 1, "{problems}");
    (problems.all()[0].limit, problems.to_string())
}

#[test]
fn an_overrun_beyond_the_travel_is_refused_and_one_inside_is_not() {
    let mut rig = support::rig();
    rig.axis.travel.high = Length::from_mm(300.0);
    rig.axis.park = Length::from_mm(-25.0);
    assert!(plan(&support::recipe(), &rig, &support::catalogue()).is_ok());
    let mut recipe = support::recipe();
    recipe.zones[0].to = Length::from_mm(290.0);
    let (limit, told) = binds(&recipe, &rig);
    assert_eq!(limit, Limit::Travel);
    assert!(told.contains("305.543 mm") && told.contains("shorten the overrun"), "{told}");
    assert!(told.contains("by 5.543 mm"), "{told}");
}

#[test]
fn a_pitch_beyond_two_sigma_is_refused_with_its_ripple() {
    let mut recipe = support::recipe();
    recipe.zones[0].feed = FeedChoice::Pitch(Pitch::from_mm_per_turn(15.0));
    let (limit, told) = binds(&recipe, &support::rig());
    assert_eq!(limit, Limit::Pitch);
    assert!(told.contains("17.0 %") && told.contains("at most 12 mm/turn"), "{told}");
    recipe.zones[0].feed = FeedChoice::Pitch(Pitch::from_mm_per_turn(12.0));
    assert!(plan(&recipe, &support::rig(), &support::catalogue()).is_ok());
}

#[test]
fn a_feed_outside_the_torchs_range_is_refused_with_the_range_in_the_recipes_own_terms() {
    let mut recipe = support::recipe();
    recipe.zones[0].feed = FeedChoice::Feed(Speed::from_mm_per_s(0.5));
    let (limit, told) = binds(&recipe, &support::rig());
    assert_eq!(limit, Limit::Feed);
    assert!(told.contains("a feed of 1 mm/s to 40 mm/s"), "{told}");
}

#[test]
fn passes_insisted_on_are_planned_and_what_they_give_is_said() {
    let mut recipe = support::recipe();
    recipe.zones[0].passes = Some(6);
    let plan = planned(&recipe, &support::rig());
    assert_eq!(sprayed(&plan)[0].passes.len(), 6);
    near(plan.forecast.zones[0].sprayed.mm(), 0.46788, 2e-5);
    let told = plan.notes.iter().any(|note| note.text.contains("0.468 mm of the 0.671 mm"));
    assert!(told, "{:?}", plan.notes);
    recipe.zones[0].passes = Some(0);
    assert_eq!(binds(&recipe, &support::rig()).0, Limit::Passes);
}

#[test]
fn a_coat_thicker_than_the_powder_bears_is_refused() {
    let mut recipe = support::recipe();
    recipe.zones[0].finish = Length::from_mm(1.5);
    let (limit, told) = binds(&recipe, &support::rig());
    assert_eq!(limit, Limit::Thickness);
    assert!(told.contains("1.6 mm"), "{told}");
}

#[test]
fn a_gear_that_leaves_the_surface_speed_window_is_refused_with_speeds_that_would_do() {
    let mut catalogue = support::catalogue();
    catalogue.torches[0].surface_speed.low = Speed::from_mm_per_s(20.0 * 1000.0 / 60.0);
    catalogue.torches[0].surface_speed.high = Speed::from_mm_per_s(25.0 * 1000.0 / 60.0);
    let problems = plan(&support::recipe(), &support::rig(), &catalogue).expect_err("no gear");
    assert_eq!(problems.all()[0].limit, Limit::SurfaceSpeed);
    let told = problems.to_string();
    assert!(told.contains("125 rpm") && told.contains("127.32 rpm and 159.15 rpm"), "{told}");
}

#[test]
fn a_flame_too_small_to_preheat_in_time_is_refused() {
    let mut recipe = support::recipe();
    recipe.preheat.longest = Time::from_s(60.0);
    assert_eq!(binds(&recipe, &support::rig()).0, Limit::Preheat);
    recipe.preheat.longest = Time::from_s(1e6);
    recipe.preheat.soak = Time::ZERO;
    recipe.preheat.window.low = Temperature::from_celsius(1190.0);
    recipe.preheat.window.high = Temperature::from_celsius(1200.0);
    let (limit, told) = binds(&recipe, &support::rig());
    assert_eq!(limit, Limit::Preheat);
    assert!(told.contains("larger flame"), "{told}");
}

#[test]
fn a_soak_that_cools_the_part_out_of_its_window_is_refused() {
    let mut recipe = support::recipe();
    recipe.preheat.soak = Time::from_s(600.0);
    let (limit, told) = binds(&recipe, &support::rig());
    assert_eq!(limit, Limit::Preheat);
    assert!(told.contains("soak"), "{told}");
}

#[test]
fn a_park_over_the_part_is_refused_unless_the_torch_swings_away() {
    let mut rig = support::rig();
    rig.axis.park = Length::from_mm(310.0);
    let (limit, told) = binds(&support::recipe(), &rig);
    assert_eq!(limit, Limit::Park);
    assert!(told.contains("318 mm or beyond"), "{told}");
    rig.field.swing_away = crate::rig::SwingAway::Fitted;
    assert!(plan(&support::recipe(), &rig, &support::catalogue()).is_ok());
}

#[test]
fn a_dwell_under_flame_over_the_part_has_the_torchs_limit() {
    let mut recipe = support::recipe();
    recipe.spray.dwell = Time::from_s(1.5);
    assert_eq!(binds(&recipe, &support::rig()).0, Limit::Dwell);
}

#[test]
fn everything_in_the_way_is_told_at_once() {
    let mut recipe = support::recipe();
    recipe.zones[0].powder_rate = MassFlow::from_g_per_min(500.0);
    recipe.zones[0].passes = Some(0);
    let mut other = support::zone(20.0, 60.0);
    other.powder = "no such".to_owned();
    recipe.zones.push(other);
    let limits: Vec<Limit> =
        refused(&recipe, &support::rig()).all().iter().map(|problem| problem.limit).collect();
    assert_eq!(limits, [Limit::Passes, Limit::PowderRate, Limit::Catalogue]);
}

#[test]
fn torches_and_gases_must_be_in_the_catalogue_and_for_this_work() {
    let mut recipe = support::recipe();
    recipe.spray.torch = "fusing".to_owned();
    assert_eq!(binds(&recipe, &support::rig()).0, Limit::TorchPurpose);
    recipe.spray.torch = "nobody's".to_owned();
    assert_eq!(binds(&recipe, &support::rig()).0, Limit::Catalogue);
    let mut catalogue = support::catalogue();
    catalogue.fuel_gases.clear();
    let problems = plan(&support::recipe(), &support::rig(), &catalogue).expect_err("no gas");
    assert_eq!(problems.all().len(), 2);
}

#[test]
fn values_that_are_no_numbers_are_refused() {
    for spoil in [
        |recipe: &mut Recipe| recipe.zones[0].powder_rate = MassFlow::from_g_per_min(f64::NAN),
        |recipe: &mut Recipe| recipe.zones[0].to = recipe.zones[0].from,
        |recipe: &mut Recipe| recipe.zones[0].feed = FeedChoice::Feed(Speed::ZERO),
        |recipe: &mut Recipe| recipe.zones[0].surface_speed = Speed::ZERO,
        |recipe: &mut Recipe| recipe.zones.clear(),
    ] {
        let mut recipe = support::recipe();
        spoil(&mut recipe);
        assert!(plan(&recipe, &support::rig(), &support::catalogue()).is_err());
    }
}

#[test]
fn a_zone_of_more_plumes_than_any_part_has_is_refused_before_it_is_worked_on() {
    let mut catalogue = support::catalogue();
    catalogue.torches[0].plume = Length::from_mm(0.01);
    let mut recipe = support::recipe();
    recipe.zones[0].feed = FeedChoice::Pitch(Pitch::from_mm_per_turn(0.02));
    let problems = plan(&recipe, &support::rig(), &catalogue).expect_err("12,000 plumes");
    assert!(problems.to_string().contains("divide the zone"), "{problems}");
}
