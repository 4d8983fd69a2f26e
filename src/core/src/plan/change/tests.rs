//! Changes of the reference job: nine passes at 625 mm/min over Z 100 to 220, 15 mm overrun, leads
//! 0.6 and 0.8 s.

use super::*;
use crate::plan::motion::LegMotion;
use crate::plan::powder::{TurnPowder, turn_powder};
use crate::plan::{Plan, plan, support};
use crate::quantity::{Range, Time};
use crate::recipe::Recipe;
use crate::rig::Rig;

fn planned_with(change: impl FnOnce(&mut Recipe, &mut Rig)) -> Program {
    let (mut recipe, mut rig) = (support::recipe(), support::rig());
    change(&mut recipe, &mut rig);
    let plan: Plan = plan(&recipe, &rig, &support::catalogue()).expect("a plan");
    plan.program
}

fn reference() -> Program {
    planned_with(|_, _| {})
}

fn sprays(program: &Program) -> &SprayStep {
    match &program.steps[1] {
        Step::Spray(step) => step,
        other => panic!("sprays second: {other:?}"),
    }
}

fn ahead(pass: usize) -> Ahead {
    Ahead { step: 1, pass }
}

fn percent(percent: i8) -> Trim {
    Trim::of_percent(percent)
}

fn near(found: f64, wanted: f64, within: f64) {
    assert!((found - wanted).abs() <= within, "{found} for {wanted} within {within}");
}

#[test]
fn a_trim_changes_the_passes_that_have_not_begun_and_nothing_else() {
    let program = reference();
    let trimmed = trimmed(&program, ahead(3), percent(5)).expect("within the limits");
    let (old, new) = (sprays(&program), sprays(&trimmed));
    assert_eq!(old.passes[..3], new.passes[..3]);
    for (old, new) in old.passes.iter().zip(&new.passes).skip(3) {
        assert_eq!(new.trim, percent(5));
        assert_eq!((old.from, old.to, &old.powder), (new.from, new.to, &new.powder));
        near(new.feed[0].feed / old.feed[0].feed, 1.05, 1e-12);
    }
    let mut untrimmed = trimmed;
    untrimmed.steps[1] = program.steps[1].clone();
    assert_eq!(untrimmed, program);
}

/// R^2 = R0^2 + N k on D 50: 0.69860 mm are 35.418 mm2 for nine passes, and 3 + 6 / 1.05 of them
/// build 0.67671 mm (computed here).
#[test]
fn the_coat_of_trimmed_passes_is_thinner_by_their_share() {
    let program = reference();
    near(coat_of(sprays(&program)).mm(), 0.698_60, 1e-5);
    let trimmed = trimmed(&program, ahead(3), percent(5)).expect("within the limits");
    near(coat_of(sprays(&trimmed)).mm(), 0.676_71, 1e-5);
    near(planned_coat_of(sprays(&trimmed)).mm(), 0.698_60, 1e-5);
    let ratio = sprays(&trimmed).powder / sprays(&program).powder;
    near(ratio, (3.0 + 6.0 / 1.05) / 9.0, 2e-3);
}

#[test]
fn trims_add_up_and_taking_them_back_gives_the_plan_again() {
    let program = reference();
    let once = trimmed(&program, ahead(2), percent(4)).expect("within the limits");
    let twice = trimmed(&once, ahead(4), percent(-2)).expect("within the limits");
    let trims: Vec<i8> = sprays(&twice).passes.iter().map(|pass| pass.trim.percent()).collect();
    assert_eq!(trims, [0, 0, 4, 4, 2, 2, 2, 2, 2]);
    let back = trimmed(&once, ahead(2), percent(-4)).expect("within the limits");
    for (back, old) in sprays(&back).passes.iter().zip(&sprays(&program).passes) {
        near(back.feed[0].feed.mm_per_s(), old.feed[0].feed.mm_per_s(), 1e-12);
    }
    let Err(denial) = trimmed(&once, ahead(2), percent(7)) else { panic!("11 % in all") };
    assert_eq!(denial.why, "+7 % of feed on top of +4 %");
    assert!(denial.help.contains("10 %"), "{}", denial.help);
}

/// The leads are times: at every trim the powder of every changed pass is on its way before the
/// carriage leaves, as planned, and the ramp is over where powder is wanted.
#[test]
fn every_trim_leaves_room_for_ramp_and_lead() {
    let program = reference();
    for trim in (-Trim::MOST..=Trim::MOST).map(percent).filter(|trim| *trim != Trim::NONE) {
        let trimmed = trimmed(&program, ahead(1), trim).expect("within the limits");
        let step = sprays(&trimmed);
        for pass in &step.passes[1..] {
            let motion = LegMotion::new(pass, trimmed.ramp);
            let window = pass.powder[0];
            assert!(motion.time_at(window.on) >= step.lead_on, "{trim}: {pass:?}");
            for at in [window.on, window.off] {
                near(motion.speed_at(at).mm_per_s(), pass.feed[0].feed.mm_per_s(), 1e-9);
            }
        }
    }
}

/// A slow ramp uses the room up: the turning points move out by what is missing, both passes of a
/// turn alike, and the first changed pass begins there too.
#[test]
fn turning_points_move_out_where_the_faster_feed_needs_it() {
    let program = planned_with(|recipe, rig| {
        rig.axis.ramp = crate::quantity::Acceleration::from_mm_per_s2(1000.0);
        recipe.spray.dwell = Time::ZERO;
    });
    let trimmed = trimmed(&program, ahead(3), percent(10)).expect("within the limits");
    let (old, new) = (sprays(&program), sprays(&trimmed));
    let motion = |pass: &Pass| LegMotion::new(pass, program.ramp);
    assert!(new.passes[3].from > old.passes[3].from, "the tail side, farther out");
    assert!(new.passes[3].to < old.passes[3].to, "the chuck side, farther out");
    assert_eq!(new.passes[2], old.passes[2]);
    for (before, after) in new.passes[3..].iter().zip(&new.passes[4..]) {
        assert_eq!(before.to, after.from);
    }
    for pass in &new.passes[3..] {
        assert!(motion(pass).time_at(pass.powder[0].on) >= new.lead_on);
        assert_eq!(pass.powder.len(), 1);
    }
}

#[test]
fn a_trim_for_which_the_travel_has_no_room_is_denied_with_where_it_would_turn() {
    let program = planned_with(|recipe, rig| {
        rig.axis.ramp = crate::quantity::Acceleration::from_mm_per_s2(1000.0);
        recipe.spray.dwell = Time::ZERO;
        // As far as the planned feed needs: 85 mm less ramp and lead.
        rig.axis.travel = Range { low: Length::from_mm(78.69), high: Length::from_mm(420.0) };
    });
    let Err(denial) = trimmed(&program, ahead(1), percent(10)) else { panic!("no room") };
    assert!(denial.why.contains("it would turn at 78.7 mm"), "{}", denial.why);
    assert!(trimmed(&program, ahead(1), percent(-10)).is_ok(), "a slower feed needs no room");
}

#[test]
fn a_trim_stays_within_the_feeds_of_the_torch_and_a_smooth_pitch() {
    let mut program = reference();
    let bounds = |program: &mut Program, change: &dyn Fn(&mut SprayStep)| {
        if let Some(Step::Spray(step)) = program.steps.get_mut(1) {
            change(step);
        }
    };
    bounds(&mut program, &|step| step.bounds.feed.high = Speed::from_mm_per_s(10.5));
    let Err(denial) = trimmed(&program, ahead(1), percent(1)) else { panic!("too fast") };
    assert!(denial.help.contains("the torch works at 1.00 mm/s to 10.50 mm/s"), "{}", denial.help);
    let mut program = reference();
    bounds(&mut program, &|step| step.bounds.smooth_up_to = Speed::from_mm_per_s(10.5));
    let Err(denial) = trimmed(&program, ahead(1), percent(1)) else { panic!("shows the pitch") };
    assert!(denial.why.contains("would show the pitch"), "{}", denial.why);
    assert!(trimmed(&program, ahead(1), percent(-1)).is_ok());
}

#[test]
fn no_change_makes_the_coat_thicker_than_the_powder_bears_and_a_thinner_one_is_always_free() {
    let mut program = reference();
    if let Some(Step::Spray(step)) = program.steps.get_mut(1) {
        step.bounds.thickest = Length::from_mm(0.70);
    }
    let Err(denial) = trimmed(&program, ahead(1), percent(-1)) else { panic!("too thick") };
    assert!(denial.why.starts_with("the coat would come to 0.70"), "{}", denial.why);
    let Err(denial) = touched_up(&program, ahead(1)) else { panic!("too thick") };
    assert!(denial.help.starts_with("the powder bears 0.700 mm"), "{}", denial.help);
    if let Some(Step::Spray(step)) = program.steps.get_mut(1) {
        step.bounds.thickest = Length::from_mm(0.60);
    }
    assert!(trimmed(&program, ahead(1), percent(1)).is_ok());
}

#[test]
fn a_touch_up_is_the_last_pass_on_its_way_back_with_the_same_feed() {
    let program = reference();
    let program = trimmed(&program, ahead(5), percent(-3)).expect("within the limits");
    let more = touched_up(&program, ahead(6)).expect("within the limits");
    let (old, new) = (sprays(&program), sprays(&more));
    assert_eq!(new.passes[..9], old.passes[..]);
    let (last, added) = (&new.passes[8], &new.passes[9]);
    assert_eq!(new.passes.len(), 10);
    assert_eq!((added.from, added.to), (last.to, last.from));
    assert_eq!((added.powder[0].on, added.powder[0].off), (last.powder[0].off, last.powder[0].on));
    assert_eq!((&added.feed, added.trim), (&last.feed, percent(-3)));
    assert_eq!(new.touch_ups, 1);
    assert!(coat_of(new) > coat_of(old));
    assert_eq!(planned_coat_of(new), planned_coat_of(old));
    near(new.powder / old.powder, 10.0 / 9.0, 5e-3);
}

#[test]
fn three_touch_ups_may_be_added_and_each_turns_where_the_one_before_ended() {
    let mut program = reference();
    for _ in 0..MOST_TOUCH_UPS {
        program = touched_up(&program, ahead(9)).expect("within the limits");
    }
    let step = sprays(&program);
    assert_eq!((step.passes.len(), step.touch_ups), (12, 3));
    for (before, after) in step.passes.iter().zip(&step.passes[1..]) {
        assert_eq!(before.to, after.from);
    }
    let Err(denial) = touched_up(&program, ahead(9)) else { panic!("a fourth") };
    assert!(denial.why.contains("3 passes have been added"), "{}", denial.why);
    // One that was added last can still be trimmed.
    let trimmed = trimmed(&program, ahead(11), percent(2)).expect("one pass is ahead");
    assert_eq!(sprays(&trimmed).passes[10].trim, Trim::NONE);
    assert_eq!(sprays(&trimmed).passes[11].trim, percent(2));
}

#[test]
fn a_pass_that_was_added_is_taken_back_until_it_begins_and_what_is_left_is_as_it_was() {
    let program = reference();
    let more = touched_up(&program, ahead(6)).expect("within the limits");
    let twice = touched_up(&more, ahead(6)).expect("within the limits");
    assert_eq!(taken_back(&twice, ahead(6)).as_ref(), Ok(&more));
    assert_eq!(taken_back(&more, ahead(9)).as_ref(), Ok(&program), "it is the next one");
    // The first of two has begun: the second goes, and then no more.
    let one = taken_back(&twice, ahead(10)).expect("the second is ahead");
    assert_eq!(one, more);
    let denial = taken_back(&one, ahead(10)).expect_err("the first has begun");
    assert_eq!(denial.why, "the pass that was added has begun");
    // A trim since then stays with the passes that stay.
    let trimmed = trimmed(&more, ahead(6), percent(5)).expect("within the limits");
    let back = taken_back(&trimmed, ahead(6)).expect("it is ahead");
    assert_eq!(sprays(&back).passes[..], sprays(&trimmed).passes[..9]);
    assert!(sprays(&back).powder < sprays(&trimmed).powder);
}

#[test]
fn no_planned_pass_is_ever_taken_away() {
    let program = reference();
    for pass in 0..=9 {
        let denial = taken_back(&program, ahead(pass)).expect_err("all are planned");
        assert_eq!(denial.why, "no pass has been added to this zone");
        assert!(denial.help.contains("planned passes stay"), "{}", denial.help);
    }
    let mut more = program.clone();
    for _ in 0..MOST_TOUCH_UPS {
        more = touched_up(&more, ahead(0)).expect("within the limits");
    }
    for _ in 0..MOST_TOUCH_UPS {
        more = taken_back(&more, ahead(0)).expect("an added one");
    }
    assert_eq!(more, program);
    assert!(taken_back(&more, ahead(0)).is_err());
}

/// Where powder stays on through the turns, a touch-up begins with a lead of its own.
#[test]
fn passes_with_powder_through_the_turns_are_trimmed_and_touched_up_too() {
    let mut program = reference();
    let delayed = planned_with(|recipe, _| recipe.spray.dwell = Time::ZERO);
    if let (Some(Step::Spray(step)), Step::Spray(_)) = (program.steps.get_mut(1), &delayed.steps[1])
    {
        let count = step.passes.len();
        for (index, pass) in step.passes.iter_mut().enumerate() {
            // As the plan makes them: turning points without the lead's way, powder on through.
            let way = if pass.to > pass.from { 1.0 } else { -1.0 };
            let near = Length::from_mm(0.6);
            let (start, end) = if way > 0.0 {
                (step.bounds.span.low - near, step.bounds.span.high + near)
            } else {
                (step.bounds.span.high + near, step.bounds.span.low - near)
            };
            if index > 0 {
                pass.from = start;
                pass.powder[0].on = start;
            }
            pass.to = end;
            if index + 1 < count {
                pass.powder[0].off = end;
            }
        }
    }
    let trimmed = trimmed(&program, ahead(4), percent(8)).expect("within the limits");
    let step = sprays(&trimmed);
    assert_eq!(turn_powder(&step.passes[3], &step.passes[4]), TurnPowder::Through);
    assert_eq!(turn_powder(&step.passes[6], &step.passes[7]), TurnPowder::Through);
    let more = touched_up(&trimmed, ahead(5)).expect("within the limits");
    let step = sprays(&more);
    let added = &step.passes[9];
    assert_eq!(turn_powder(&step.passes[8], added), TurnPowder::Off);
    let motion = LegMotion::new(added, more.ramp);
    assert!(motion.time_at(added.powder[0].on) >= step.lead_on, "{added:?}");
    assert_eq!(added.powder[0].off, step.bounds.span.low);
}

#[test]
fn where_no_zone_is_sprayed_a_change_is_denied_with_what_is_done_instead() {
    let program = reference();
    let why = |step: usize| {
        let ahead = Ahead { step, pass: 0 };
        let one = trimmed(&program, ahead, percent(1)).expect_err("no spraying");
        assert_eq!(one, touched_up(&program, ahead).expect_err("no spraying"));
        assert_eq!(one, taken_back(&program, ahead).expect_err("no spraying"));
        one.why
    };
    assert_eq!(why(0), "no zone is being sprayed yet");
    assert_eq!(why(3), "the zone is being fused");
    assert_eq!(why(99), "all zones are sprayed");
    let Err(denial) = trimmed(&program, ahead(9), percent(1)) else { panic!("all have begun") };
    assert_eq!(denial.why, "no pass is left that has not begun");
}
