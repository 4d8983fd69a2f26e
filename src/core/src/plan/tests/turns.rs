//! Powder at the turns.

use super::*;
use crate::plan::powder::{Timeline, TurnPowder, turn_powder};
use crate::plan::{Direction, LegMotion};
use crate::quantity::{Length, Time};

/// The reference job with so long a lead, and so little room for it, that the next ON is due
/// before the last OFF.
fn late_powder() -> (Recipe, Rig, crate::catalogue::Catalogue) {
    let mut catalogue = support::catalogue();
    catalogue.torches[0].powder_delay_on = Time::from_s(2.0);
    catalogue.torches[0].powder_delay_off = Time::from_s(0.5);
    catalogue.torches[0].longest_dwell = Time::from_s(3.0);
    let mut rig = support::rig();
    rig.axis.travel.low = Length::from_mm(84.0);
    rig.axis.travel.high = Length::from_mm(400.0);
    let mut recipe = support::recipe();
    recipe.preheat.feed = crate::quantity::Speed::from_mm_per_s(15.0);
    // The torch turns off the part: over it the feeder may not wait.
    recipe.part = support::part(&[(90.0, 50.0), (300.0, 50.0)]);
    (recipe, rig, catalogue)
}

#[test]
fn commands_that_meet_across_a_turn_are_one_interval() {
    let (recipe, rig, catalogue) = late_powder();
    let plan = plan(&recipe, &rig, &catalogue).expect("a plan");
    let step = sprayed(&plan)[0];
    let turns: Vec<TurnPowder> =
        step.passes.windows(2).map(|pair| turn_powder(&pair[0], &pair[1])).collect();
    assert_eq!(turns, vec![TurnPowder::Through; 8]);
    let line = Timeline::of(step, plan.program.ramp);
    assert_eq!(line.coil.len(), 1);
    assert_eq!(line.through, 8);
    let zone = &plan.forecast.zones[0];
    assert_eq!((zone.switched_on, zone.through), (1, 8));
    assert!(zone.commands[0].on.is_some() && zone.commands[0].off.is_none());
    assert!(zone.commands[4].on.is_none() && zone.commands[4].off.is_none());
    assert!(zone.commands[8].on.is_none() && zone.commands[8].off.is_some());
}

#[test]
fn powder_of_a_turn_is_counted_in_what_is_fed_and_what_lands() {
    let (recipe, rig, catalogue) = late_powder();
    let plan = plan(&recipe, &rig, &catalogue).expect("a plan");
    let zone = &plan.forecast.zones[0];
    // From the first edge to the last, with eight rests of 0.2 s: nothing is switched in between.
    let step = sprayed(&plan)[0];
    let ramp = plan.program.ramp;
    let legs: f64 = step.passes.iter().map(|pass| LegMotion::new(pass, ramp).total().s()).sum();
    let (first, last) = (&step.passes[0], &step.passes[8]);
    let before = LegMotion::new(first, ramp).time_at(first.powder[0].on).s();
    let leg = LegMotion::new(last, ramp);
    let after = leg.total().s() - leg.time_at(last.powder[0].off).s();
    near(zone.powder_on.s(), legs + 8.0 * 0.2 - before - after, 1e-6);
    near(zone.powder.g(), zone.powder_on.s(), 1e-9);
}

/// A constant feed would leave them 3 % too thick at the ends, where the carriage turns.
#[test]
fn what_lands_at_the_turns_is_made_good_by_the_feed() {
    let (recipe, rig, catalogue) = late_powder();
    let plan = plan(&recipe, &rig, &catalogue).expect("a plan");
    let zone = &plan.forecast.zones[0];
    let step = sprayed(&plan)[0];
    assert!(step.passes[0].feed.len() > 2, "{} points", step.passes[0].feed.len());
    for station in &zone.along {
        near(station.sprayed.mm() / zone.sprayed.mm(), 1.0, 4e-3);
    }
}

#[test]
fn a_rise_that_blurs_an_edge_more_than_half_a_plume_keeps_powder_on_through_the_turns() {
    let mut catalogue = support::catalogue();
    let through = |rise: f64, catalogue: &mut crate::catalogue::Catalogue| {
        catalogue.torches[0].powder_rise = Time::from_s(rise);
        let plan = plan(&support::recipe(), &support::rig(), catalogue).expect("a plan");
        plan.forecast.zones[0].through
    };
    // Half a plume is 3 mm: 0.288 s at 10.417 mm/s.
    assert_eq!(through(0.28, &mut catalogue), 0);
    assert_eq!(through(0.30, &mut catalogue), 8);
}

#[test]
fn the_rise_of_the_flow_is_part_of_the_lead() {
    let mut catalogue = support::catalogue();
    catalogue.torches[0].powder_rise = Time::from_s(0.1);
    let plan = plan(&support::recipe(), &support::rig(), &catalogue).expect("a plan");
    let step = sprayed(&plan)[0];
    near(step.lead_on.s(), 0.7, 1e-12);
    near(step.lead_off.s(), 0.9, 1e-12);
    let on = plan.forecast.zones[0].commands[0].on.expect("switched");
    near(on.commanded.mm(), 85.0 - 10.416_667 * 0.7, 1e-5);
}

#[test]
fn without_room_for_the_lead_powder_is_commanded_at_rest_at_the_turn() {
    let mut rig = support::rig();
    rig.axis.travel.low = Length::from_mm(80.0);
    let plan = planned(&support::recipe(), &rig);
    let step = sprayed(&plan)[0];
    near(step.passes[0].from.mm(), 80.0, 0.0);
    let on = plan.forecast.zones[0].commands[0].on.expect("switched");
    near(on.commanded.mm(), 80.0, 0.0);
    let line = Timeline::of(step, plan.program.ramp);
    // At rest until the lead has begun: 0.6 s less the way of 5 mm from rest.
    near(line.passes[0].0.s(), 0.6 - (5.0 / (625.0 / 60.0) + 625.0 / 12_000.0), 1e-6);
    near(line.coil[0].on.s(), 0.0, 1e-12);
    assert_eq!(line.coil.len(), 9);
    near(line.arriving.s(), 129.6, 1e-9);
    assert!(plan.notes.iter().any(|note| note.text.contains("no room for the powder's lead")));
}

#[test]
fn lost_motion_is_taken_up_when_the_carriage_comes_back() {
    let mut rig = support::rig();
    rig.axis.backlash = Length::from_mm(0.3);
    let plan = planned(&support::recipe(), &rig);
    let commands = &plan.forecast.zones[0].commands;
    let (out, back) = (commands[0].on.expect("on"), commands[1].on.expect("on"));
    assert_eq!(commands[1].direction, Direction::TowardChuck);
    near(out.drive.mm(), 78.75, 1e-6);
    near(back.commanded.mm(), 241.25, 1e-6);
    near(back.drive.mm(), 240.95, 1e-6);
    near(plan.forecast.zones[0].backlash_error.percent(), 0.088, 5e-4);
    near(sprayed(&plan)[0].passes[0].from.mm(), 77.9075, 5e-5);
}

/// 0.26 s at rest with powder commanded, and 0.1 s until the carriage is seen to move.
#[test]
fn a_lead_waited_for_over_the_part_is_refused_with_the_interlock_that_would_hold_it() {
    let mut rig = support::rig();
    rig.axis.travel.low = Length::from_mm(82.0);
    let told = crate::plan::plan(&support::recipe(), &rig, &support::catalogue());
    let told = told.expect_err("held at the first pass");
    assert_eq!(told.all()[0].limit, crate::plan::Limit::Rest);
    let words = told.to_string();
    assert!(words.contains("`powder_still`") && words.contains("wider travel"), "{words}");
    // Off the part there is nothing to hold.
    let mut recipe = support::recipe();
    recipe.part = support::part(&[(95.0, 50.0), (300.0, 50.0)]);
    crate::plan::plan(&recipe, &rig, &support::catalogue()).expect("off the part");
}

#[test]
fn a_rig_that_tightens_a_rest_is_planned_for() {
    let mut recipe = support::recipe();
    recipe.spray.dwell = Time::from_s(0.8);
    let mut rig = support::rig();
    planned(&recipe, &rig);
    rig.interlocks = vec![crate::rig::InterlockFigures {
        key: "flame_at_rest".to_owned(),
        set_point: Some(crate::quantity::Measure::new(0.7, "s")),
        delay: None,
        delay_off: None,
        tag: None,
    }];
    let told = crate::plan::plan(&recipe, &rig, &support::catalogue()).expect_err("tripped");
    let words = told.to_string();
    assert!(words.contains("`flame_at_rest` shuts the gas after 0.70 s"), "{words}");
}

/// At 10.417 mm/s under 100 mm/s2 a lead of 0.6 s and a notice of 0.08 s are 6.54 mm.
#[test]
fn a_pass_begun_anew_starts_a_lead_farther_out_and_rests_for_it_only_where_the_travel_ends() {
    let mut catalogue = support::catalogue();
    catalogue.torches[0].powder_rise = Time::from_s(0.30);
    let plan = crate::plan::plan(&support::recipe(), &support::rig(), &catalogue).expect("a plan");
    let step = sprayed(&plan)[0];
    let pass = &step.passes[1];
    let mut axis = support::rig().axis;
    let (from, rest) = crate::plan::rest::anew(step, pass, &axis);
    let feed = step.passes[1].feed.last().expect("a feed").feed.mm_per_s();
    let way = feed * (0.98 - feed / axis.ramp.mm_per_s2() / 2.0);
    near((from - pass.from).mm(), way, 1e-9);
    assert_eq!(rest, Time::ZERO);
    axis.travel.high = pass.from;
    let (from, rest) = crate::plan::rest::anew(step, pass, &axis);
    assert_eq!(from, pass.from);
    near(rest.s(), 0.9, 1e-9);
}
