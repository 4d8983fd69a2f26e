//! What heat is forecast to do to whole jobs.

use super::*;
use crate::plan::forecast::{Certainty, GrownWhen, TemperaturePoint};
use crate::plan::{Limit, material::elongation};
use crate::program::Rises;
use crate::quantity::{Length, Power, Speed, Temperature, TemperatureStep, Time};
use crate::recipe::{End, Substrate};

fn celsius(value: f64) -> Temperature {
    Temperature::from_celsius(value)
}

/// A job that heats little: no wait.
fn gentle() -> Recipe {
    let mut recipe = support::recipe();
    recipe.spray.window.high = celsius(380.0);
    recipe.zones[0].passes = Some(2);
    recipe
}

#[test]
fn temperatures_are_told_from_a_cold_part_to_the_end_of_the_job() {
    let forecast = reference().forecast;
    let told = &forecast.temperatures;
    assert!(told.len() > 50 && told.len() <= 400, "{}", told.len());
    assert!(told.windows(2).all(|pair| pair[0].at < pair[1].at));
    assert!(told.iter().all(|point| point.hottest >= point.seen));
    let (first, last) = (told[0], told[told.len() - 1]);
    assert_eq!((first.at, first.seen), (Time::ZERO, celsius(20.0)));
    near(last.at.s(), forecast.total.s(), 1e-6);
    near(last.seen.celsius(), forecast.steps[4].leaves_at.celsius(), 1e-9);
    // It cools until all of it is below 100 degC, and a quarter of that time more.
    assert!(last.hottest < celsius(100.0), "{}", last.hottest);
}

/// The rule of the wait, asked of the program by hand: 350 degC less a rise of 40 K and the 30 K
/// kept to the ceiling; the recipe's own 300 degC where that is less; never under 210 degC.
#[test]
fn a_wait_begins_and_ends_where_the_program_says_whoever_asks() {
    let plan = reference();
    let step = sprayed(&plan)[0];
    let after = |risen: &[f64]| {
        let mut rises = Rises::default();
        risen.iter().for_each(|kelvin| rises.add(Some(TemperatureStep::from_kelvin(*kelvin))));
        rises
    };
    assert_eq!(step.hottest_start(Rises::default()), celsius(350.0));
    assert!(!step.is_too_hot(celsius(350.0), Rises::default()));
    near(step.hottest_start(after(&[40.0])).celsius(), 280.0, 1e-9);
    assert!(step.is_too_hot(celsius(280.1), after(&[40.0])));
    // The steeper of the last two counts, whichever way it went; the one before them does not.
    near(step.hottest_start(after(&[90.0, 40.0, 30.0])).celsius(), 280.0, 1e-9);
    near(step.hottest_start(after(&[90.0, 30.0, 40.0])).celsius(), 280.0, 1e-9);
    near(step.resumes_below(after(&[40.0])).celsius(), 280.0, 1e-9);
    near(step.resumes_below(after(&[10.0])).celsius(), 300.0, 1e-9);
    near(step.resumes_below(after(&[200.0])).celsius(), 210.0, 1e-9);
    let mut unknown = after(&[40.0]);
    unknown.add(None);
    near(step.hottest_start(unknown).celsius(), 280.0, 1e-9);
}

#[test]
fn a_part_that_passes_heat_too_much_waits_and_stays_under_the_ceiling_at_its_sensor() {
    let plan = reference();
    let spray = &plan.forecast.steps[1];
    assert!(spray.waits > 0, "{spray:?}");
    assert!(spray.what.contains(&format!("{} wait", spray.waits)), "{}", spray.what);
    let motion = plan.forecast.zones[0].motion;
    assert!(spray.takes > motion + spray.waiting, "{}", spray.takes);
    let ends = plan.forecast.steps[1].done_at;
    let highest = plan.forecast.temperatures.iter().filter(|point| point.at <= ends);
    let highest = highest.map(|point| point.seen).fold(celsius(0.0), Temperature::max);
    assert!(highest < celsius(350.0) && highest > celsius(310.0), "{highest}");

    let plan = planned(&gentle(), &support::rig());
    let spray = &plan.forecast.steps[1];
    assert_eq!((spray.waits, spray.waiting, spray.certainty), (0, Time::ZERO, Certainty::Planned));
    assert!(!plan.notes.iter().any(|note| note.text.contains("to wait")), "{:?}", plan.notes);
}

/// What enters and does not leave is in the part: 3 kW for 120 s warm a steel shaft of D 50 x 300
/// (4.62 kg, about 540 J/(kg K)) by 140 K less some 10 % that it loses meanwhile.
#[test]
fn a_preheat_puts_into_the_part_what_the_flame_gives() {
    let plan = reference();
    let preheat = &plan.forecast.steps[0];
    // Passes over 150 mm at 15 mm/s, judged at the ends only.
    assert!(preheat.what.starts_with("preheat to 275 degC, "), "{}", preheat.what);
    let warming = preheat.takes.s() - 10.0;
    assert!((105.0..180.0).contains(&warming), "{warming}");
    assert!((265.0..300.0).contains(&preheat.leaves_at.celsius()), "{}", preheat.leaves_at);
}

#[test]
fn a_preheat_the_model_does_not_see_warm_in_time_is_refused_though_the_lump_would_do() {
    let mut recipe = support::recipe();
    // The heated stretch alone would be warm in 102 s; it warms the rest of the shaft too.
    recipe.preheat.longest = Time::from_s(104.0);
    let problems = plan(&recipe, &support::rig(), &support::catalogue()).expect_err("too slow");
    assert_eq!(problems.all().len(), 1, "{problems}");
    assert_eq!(problems.all()[0].limit, Limit::Preheat);
    assert!(problems.to_string().contains("the part sensor gets to see"), "{problems}");
}

/// EN 1993-1-2, 3.4.1.1: as if the whole part were as hot as its hottest place, the worst case.
#[test]
fn edges_of_a_part_that_is_hot_in_its_middle_move_less_than_if_all_of_it_were() {
    let plan = reference();
    let zone = &plan.forecast.zones[0];
    let when: Vec<GrownWhen> = zone.grown.iter().map(|grown| grown.when).collect();
    assert_eq!(when, [GrownWhen::Spraying, GrownWhen::Sprayed, GrownWhen::Fused]);
    for grown in &zone.grown {
        let least = if grown.when == GrownWhen::Fused { 1030.0 } else { 350.0 };
        let whole = elongation(Substrate::PlainSteel, celsius(least));
        assert!(grown.edges.low > Length::from_mm(100.0), "{grown:?}");
        assert!(grown.edges.high > grown.edges.low + Length::from_mm(120.0), "{grown:?}");
        assert!(grown.edges.high < Length::from_mm(220.0 * (1.0 + whole)), "{grown:?}");
    }
}

#[test]
fn fusing_tells_each_band_its_least_time_and_what_is_left_to_the_ceiling() {
    let plan = reference();
    let [fusing] = plan.forecast.fusing.as_slice() else { panic!("one zone is fused") };
    for band in &fusing.bands {
        let (least, through) = (band.at_least.expect("hot"), band.through.expect("hot"));
        assert!(least <= through, "{band:?}");
        assert!(band.reads >= celsius(1030.0), "{band:?}");
        assert!(band.to_ceiling.is_some_and(|time| time > Time::ZERO), "{band:?}");
    }
    // The first band starts on a part that has only its spray heat, and takes longest.
    let through = |index: usize| fusing.bands[index].through.map_or(0.0, Time::s);
    assert!(through(0) > through(1), "{fusing:?}");
    assert!(fusing.at_least() < fusing.through());
    // Beyond the bands it takes the way there, and a moment in which a person sees each is wet.
    let whole = fusing.through().map_or(0.0, Time::s);
    let takes = plan.forecast.steps[3].takes.s();
    let bands = plan.forecast.fusing[0].bands.iter().map(|_| 4.0).sum::<f64>();
    assert!(whole < takes && takes < whole + bands + 10.0, "{whole} of {takes}");
    let page = plan.page().to_string();
    assert!(page.contains("Fusing from the tail side on, \"journal\""), "{page}");
    assert!(page.contains("in all                       at least "), "{page}");
}

/// On the model's part, straight, tapered, stepped, thin and short: no end of a zone stays behind.
#[test]
fn every_place_of_a_zone_gets_hot_enough_to_wet_and_none_above_the_ceiling() {
    let point = |at: f64, diameter: f64| crate::recipe::ProfilePoint {
        at: Length::from_mm(at),
        diameter: Length::from_mm(diameter),
    };
    let shapes = [
        (vec![point(0.0, 50.0), point(300.0, 50.0)], 0.0, (100.0, 220.0)),
        (vec![point(0.0, 60.0), point(300.0, 40.0)], 0.0, (100.0, 220.0)),
        (
            vec![point(0.0, 60.0), point(130.0, 60.0), point(130.0, 45.0), point(300.0, 45.0)],
            0.0,
            (140.0, 220.0),
        ),
        (vec![point(0.0, 50.0), point(300.0, 50.0)], 30.0, (100.0, 220.0)),
        (vec![point(0.0, 50.0), point(300.0, 50.0)], 0.0, (150.0, 170.0)),
    ];
    for (profile, bore, (from, to)) in shapes {
        for starts in [End::TailSide, End::ChuckSide] {
            let mut recipe = support::recipe();
            recipe.part.profile.clone_from(&profile);
            recipe.part.bore = Length::from_mm(bore);
            recipe.zones[0].from = Length::from_mm(from);
            recipe.zones[0].to = Length::from_mm(to);
            let fuse = recipe.fuse.as_mut().expect("fused");
            (fuse.starts, fuse.ceiling) = (starts, celsius(1130.0));
            fuse.feed = Speed::from_mm_per_s(12.0);
            let mut catalogue = support::catalogue();
            catalogue.torches[1].flame = Length::from_mm(15.0);
            let plan = plan(&recipe, &support::rig(), &catalogue).expect("a plan");
            let [fusing] = plan.forecast.fusing.as_slice() else { panic!("one zone is fused") };
            println!(
                "{profile:?} {starts:?}: {} bands, {} to {}, {}",
                fusing.bands.len(),
                fusing.least_hot,
                fusing.hottest,
                fusing.through().unwrap_or(Time::ZERO)
            );
            assert!(fusing.least_hot >= celsius(1030.0), "{fusing:?}");
            assert!(fusing.hottest <= celsius(1130.0), "{fusing:?}");
            let whole: Length =
                fusing.bands.iter().map(|band| band.band.coat.high - band.band.coat.low).sum();
            near(whole.mm(), to - from, 1e-9);
            let Some(Step::Fuse(step)) = plan.program.steps.get(3) else { panic!("fused fourth") };
            assert!(step.bands.iter().eq(fusing.bands.iter().map(|band| &band.band)));
        }
    }
}

#[test]
fn a_band_and_an_overrun_that_the_recipe_names_are_kept() {
    let mut recipe = support::recipe();
    let fuse = recipe.fuse.as_mut().expect("fused");
    (fuse.band, fuse.overrun) = (Some(Length::from_mm(50.0)), Some(Length::from_mm(8.0)));
    let plan = planned(&recipe, &support::rig());
    let bands: Vec<_> = plan.forecast.fusing[0].bands.iter().map(|band| band.band).collect();
    let coat: Vec<f64> = bands.iter().map(|band| band.coat.low.mm()).collect();
    assert_eq!(coat, [180.0, 140.0, 100.0], "whole shares of the zone, from the tail side on");
    assert_eq!(bands[0].travel.high, Length::from_mm(228.0));
    assert_eq!(bands[2].travel.low, Length::from_mm(92.0));
}

#[test]
fn a_wall_too_thin_for_its_flame_is_told_before_everything_else() {
    let mut recipe = support::recipe();
    recipe.part.bore = Length::from_mm(47.0);
    recipe.preheat.feed = Speed::from_mm_per_s(40.0);
    let fuse = recipe.fuse.as_mut().expect("fused");
    fuse.oscillation = Speed::from_mm_per_s(5.0);
    let plan = plan(&recipe, &support::rig(), &support::catalogue()).expect("a plan");
    let fusing = &plan.forecast.fusing[0];
    assert!(fusing.bands.iter().any(|band| band.withdrawn > 3), "{fusing:?}");
    let mut failing = plan.notes.iter().filter(|note| note.weight == crate::plan::Weight::Fails);
    assert!(failing.any(|note| note.text.contains("the torch is withdrawn")), "{:?}", plan.notes);
}

#[test]
fn a_flame_too_small_to_fuse_is_told_and_the_rest_of_the_job_is_forecast_all_the_same() {
    let mut catalogue = support::catalogue();
    catalogue.torches[1].fusing.net_power = Power::from_kw(2.0);
    let plan = plan(&support::recipe(), &support::rig(), &catalogue).expect("a plan");
    let cold = plan.forecast.fusing[0].bands.iter().all(|band| band.through.is_none());
    assert!(cold, "{:?}", plan.forecast.fusing);
    let told = plan.notes.iter().any(|note| note.text.contains("use a larger flame"));
    assert!(told, "{:?}", plan.notes);
    assert!(plan.page().to_string().contains("too cold"));
}

#[test]
fn a_part_hotter_elsewhere_than_where_its_sensor_looks_turns_until_it_is_cool_there_too() {
    let mut recipe = support::recipe();
    recipe.cool.turn_until = celsius(700.0);
    recipe.cool.at_least = Time::from_s(5.0);
    recipe.zones[0].from = Length::from_mm(60.0);
    recipe.zones[0].to = Length::from_mm(100.0);
    let mut other = support::zone(200.0, 240.0);
    other.name = "seat".to_owned();
    recipe.zones.push(other);
    let plan = planned(&recipe, &support::rig());
    let told = &plan.forecast.temperatures;
    let cooling = |point: &&TemperaturePoint| point.at > plan.forecast.steps[4].done_at;
    let seen_cool = told.iter().filter(cooling).find(|point| point.seen < celsius(700.0));
    assert!(seen_cool.is_some_and(|point| point.hottest > celsius(720.0)), "{seen_cool:?}");
    assert!(told.last().is_some_and(|point| point.hottest < celsius(700.0)), "{told:?}");
    let Some(Step::Cool(cool)) = plan.program.steps.last() else { panic!("cooling is last") };
    assert_eq!(cool.after_fusing, plan.forecast.after_fusing);
    assert!(cool.after_fusing > Time::from_s(20.0), "{}", cool.after_fusing);
}

#[test]
fn stainless_steel_waits_longer_and_stalls_sooner_than_plain_steel() {
    let mut recipe = support::recipe();
    let plain = planned(&recipe, &support::rig()).forecast;
    recipe.part.substrate = Substrate::StainlessSteel;
    let stainless = planned(&recipe, &support::rig()).forecast;
    println!("stall {} and {}", plain.stall, stainless.stall);
    assert!(stainless.stall < plain.stall * 0.6, "{} and {}", stainless.stall, plain.stall);
    assert!(stainless.steps[1].waiting > plain.steps[1].waiting);
}

/// The torch turns beyond the zone, over a shaft end of half the diameter.
#[test]
fn a_stall_is_judged_where_the_torch_goes_over_the_thinnest_place_under_either_flame() {
    use crate::plan::forecast::Flame;
    let mut recipe = support::recipe();
    let plain = planned(&recipe, &support::rig());
    recipe.part = support::part(&[(0.0, 25.0), (95.0, 25.0), (95.0, 50.0), (300.0, 50.0)]);
    let stepped = planned(&recipe, &support::rig());
    let stall = |plan: &Plan, flame: Flame| {
        *plan.forecast.stalls.iter().find(|stall| stall.flame == flame).expect("told")
    };
    let (even, thin) = (stall(&plain, Flame::Spraying), stall(&stepped, Flame::Spraying));
    near(even.diameter.mm(), 50.0, 1e-9);
    near(thin.diameter.mm(), 25.0, 1e-9);
    assert!(thin.too_hot < even.too_hot, "{} and {}", thin.too_hot, even.too_hot);
    // The flame of fusing goes past the zone's end too.
    let fusing = stall(&stepped, Flame::Fusing);
    near(fusing.diameter.mm(), 25.0, 1e-9);
    assert!(fusing.too_hot < even.too_hot);
    assert_eq!(fusing.shut_after, stepped.program.torches[1].longest_rest);
    assert!(fusing.rise > even.rise);
}

/// A quarter of the stretch passes most of the flame; the rest catches all of it.
#[test]
fn preheat_counts_what_the_whole_heated_stretch_catches_of_the_flame() {
    use crate::quantity::{Length, Range};
    let part = support::part(&[(0.0, 8.0), (50.0, 8.0), (50.0, 100.0), (200.0, 100.0)]);
    let over = |low: f64, high: f64| {
        let stretch = Range { low: Length::from_mm(low), high: Length::from_mm(high) };
        crate::plan::heat::captured_over(&part, stretch, Length::from_mm(12.0)).ratio()
    };
    // erf(4 / (12 sqrt 2)) = 0.2611, of a table.
    near(over(0.0, 50.0), 0.2611, 1e-4);
    near(over(0.0, 200.0), 0.25 * 0.2611 + 0.75, 1e-3);
}

#[test]
fn a_plan_tells_that_another_standoff_is_not_forecast() {
    let plan = planned(&support::recipe(), &support::rig());
    let told = plan.notes.iter().find(|note| note.place == "spray, standoff").expect("told");
    assert!(told.text.contains("not forecast") && told.text.contains("stripe"), "{told}");
}

/// One pass begins wherever the preheat has left the part, so what its end sees does not hang on
/// the window: 3 K under the high end is told, 8 K is not, 1 K over fails.
#[test]
fn a_part_expected_near_the_temperature_that_holds_the_job_is_told_with_what_to_do() {
    let mut recipe = support::recipe();
    recipe.zones[0].passes = Some(1);
    let told = |high: f64| {
        let mut recipe = recipe.clone();
        recipe.spray.window.high = celsius(high);
        let plan = planned(&recipe, &support::rig());
        let note = plan.notes.iter().find(|note| note.text.contains("is expected to see"));
        let steps = &plan.forecast.steps;
        let (begin, end) = (steps[0].done_at, steps[1].done_at);
        let sprayed =
            plan.forecast.temperatures.iter().filter(|point| begin <= point.at && point.at <= end);
        let highest = sprayed.map(|point| point.seen.celsius()).fold(0.0, f64::max);
        (note.map(|note| (note.weight, note.text.clone())), highest)
    };
    let (far, highest) = told(380.0);
    assert_eq!(far, None);
    let near_by = told(highest + 3.0).0.expect("a note");
    assert_eq!(near_by.0, crate::plan::Weight::Told);
    assert!(near_by.1.contains("lower the preheat's window"), "{}", near_by.1);
    assert_eq!(told(highest + 8.0).0, None);
    let over = told(highest - 1.0).0.expect("a note");
    assert_eq!(over.0, crate::plan::Weight::Fails, "{}", over.1);
}
