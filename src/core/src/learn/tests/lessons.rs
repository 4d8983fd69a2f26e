//! What a plan stands on after what was measured.

use super::truth::{Chance, Noise, basis, catalogued, feeder, job, mm, part};
use crate::learn::{
    Accepted, Band, Cause, Evidence, Figure, Figures, Finish, HeldBack, Known, Lesson,
    PartMeasured, Witness, apply, learn,
};
use crate::plan::{plan, support};
use crate::quantity::{Density, Fraction};

const QUIET: Noise = Noise {
    part_to_part: 0.0,
    place: 0.0,
    mass: 0.0,
    micrometer: 0.005,
    drawing: 0.0,
    balance_g: 0.1,
    hopper_g: 0.5,
};

fn lesson_of(truth: &Figures, weighed: Known, accepted: Option<Accepted>) -> Lesson {
    let (basis, (_, _, pair)) = (basis(), job());
    let mut chance = Chance::of(1);
    let parts: Vec<PartMeasured> = (0..3)
        .map(|_| {
            let mut part = part(&basis, truth, &QUIET, &mut chance);
            if weighed == Known::No {
                (part.weights, part.fed) = (None, None);
            }
            part
        })
        .collect();
    let names = ["run 3", "run 5", "run 8"];
    let all: Vec<Evidence<'_>> = parts
        .iter()
        .zip(names)
        .map(|(part, source)| Evidence { number: 1, source, witness: Witness::Part(part, &basis) })
        .collect();
    Lesson::of(pair.clone(), learn(&pair, &catalogued(), &all), accepted)
}

#[test]
fn a_plan_after_weighed_parts_uses_their_efficiency_and_says_from_which_runs() {
    let lesson = lesson_of(&catalogued().times(Figure::Efficiency, 0.94), Known::Yes, None);
    assert_eq!((lesson.held_back, lesson.in_force), (None, lesson.learned));
    let told = lesson.sentences();
    println!("{}", told.join("\n"));
    let first = told.first().expect("something changed");
    assert!(first.contains("deposition efficiency 85.0 % → 80."), "{first}");
    assert!(first.ends_with("from run 3, run 5, run 8"), "{first}");

    let (mut recipe, mut catalogue, _) = job();
    let before = plan(&recipe, &support::rig(), &catalogue).expect("planned");
    apply(std::slice::from_ref(&lesson), &mut recipe, &mut catalogue);
    let after = plan(&recipe, &support::rig(), &catalogue).expect("planned");
    let build = |plan: &crate::plan::Plan| plan.forecast.zones[0].thickness_per_pass.mm();
    let ratio = build(&after) / build(&before);
    assert!((ratio - 0.94).abs() < 0.01, "{ratio}");
}

#[test]
fn without_a_weight_only_the_build_factor_is_said_to_be_known() {
    let lesson = lesson_of(&catalogued().times(Figure::Efficiency, 0.94), Known::No, None);
    let told = lesson.sentences().join("\n");
    println!("{told}");
    assert!(told.contains("build factor (efficiency x rate / density) x 0.94"), "{told}");
    assert!(told.contains("no part was weighed: only the build factor is known"), "{told}");
    assert!(!told.contains("deposition efficiency 85"), "{told}");
}

#[test]
fn a_change_of_more_than_a_tenth_waits_for_the_engineer() {
    let truth = catalogued().times(Figure::Efficiency, 0.85);
    let lesson = lesson_of(&truth, Known::Yes, None);
    let Some(HeldBack::Change(figure, share)) = lesson.held_back else { panic!("too much") };
    assert_eq!(figure, Figure::Efficiency);
    assert!((share + 0.15).abs() < 0.02, "{share}");
    assert_eq!(lesson.in_force, catalogued(), "the catalogue stays in force");
    let told = lesson.sentences().join("\n");
    println!("{told}");
    assert!(
        told.contains("held back") && told.contains("records accept spray-and-fuse nickel-60"),
        "{told}"
    );

    let accepted = Accepted {
        catalogue: catalogued(),
        figures: lesson.learned,
        by: "A. Engineer".to_owned(),
        on: "2026-11-28".to_owned(),
    };
    let now = lesson_of(&truth, Known::Yes, Some(accepted.clone()));
    assert_eq!((now.held_back, now.in_force), (None, lesson.learned));

    // The next jump is measured from what was accepted, and what was accepted stays in force.
    let further = catalogued().times(Figure::Efficiency, 0.70);
    let held = lesson_of(&further, Known::Yes, Some(accepted.clone()));
    assert!(held.held_back.is_some());
    assert_eq!(held.in_force, accepted.figures);

    // Who writes another catalogue has decided anew.
    let other = Figures { density_fused: Density::from_g_per_cm3(8.0), ..catalogued() };
    let stale = Accepted { catalogue: other, ..accepted };
    assert!(lesson_of(&truth, Known::Yes, Some(stale)).held_back.is_some());
}

#[test]
fn a_feeder_that_gives_less_than_is_set_changes_the_rate_and_nothing_else() {
    let (mut recipe, mut catalogue, pair) = job();
    let truth = catalogued().times(Figure::PowderRate, 0.95);
    let feeder = feeder(&truth, &mut Chance::of(2));
    let all =
        [Evidence { number: 1, source: "feeder of 2026-11-28", witness: Witness::Feeder(&feeder) }];
    let lesson = Lesson::of(pair.clone(), learn(&pair, &catalogued(), &all), None);
    let told = lesson.sentences();
    println!("{}", told.join("\n"));
    assert_eq!(told.len(), 1, "{told:?}");
    assert_eq!(lesson.in_force.efficiency, catalogued().efficiency);
    apply(&[lesson], &mut recipe, &mut catalogue);
    let rate = recipe.zones[0].powder_rate.g_per_min();
    assert!((rate - 57.0).abs() < 0.7, "{rate}");
    assert_eq!(catalogue, job().1);
}

#[test]
fn nothing_measured_changes_nothing_and_tells_a_wide_band() {
    let (mut recipe, mut catalogue, pair) = job();
    let nothing = Lesson::of(pair.clone(), learn(&pair, &catalogued(), &[]), None);
    assert_eq!((nothing.in_force, nothing.sentences()), (catalogued(), Vec::new()));
    let band = Band::of(&nothing.knowledge, mm(50.0), Finish::AsSprayed);
    println!("{band}");
    // 7 %, 5 %, 3 % and 2 % from part to part: rooted sum 9.33 %.
    assert!((band.within.percent() - 9.33).abs() < 0.01, "{band:?}");
    assert_eq!((band.mostly, band.calibrated), (Cause::Figure(Figure::Efficiency), Known::No));
    apply(&[nothing], &mut recipe, &mut catalogue);
    assert_eq!((recipe, catalogue), (job().0, job().1));

    let taught = lesson_of(&catalogued(), Known::Yes, None);
    let band = Band::of(&taught.knowledge, mm(50.0), Finish::AsSprayed);
    println!("{band}");
    assert!(band.within.percent() < 3.0 && band.calibrated == Known::Yes, "{band:?}");
    // A thin part catches what the footprint lets it.
    let thin = Band::of(&taught.knowledge, mm(8.0), Finish::AsSprayed);
    assert!(thin.within > band.within, "{thin:?}");
}

#[test]
fn what_no_coat_can_be_is_said_so_and_is_never_offered_to_be_accepted() {
    let truth = catalogued().times(Figure::Efficiency, 1.35);
    let lesson = lesson_of(&truth, Known::Yes, None);
    assert_eq!(lesson.held_back, Some(HeldBack::Impossible(Figure::Efficiency)));
    assert_eq!(lesson.in_force, catalogued());
    let told = lesson.sentences().join("\n");
    println!("{told}");
    assert!(told.contains("deposition efficiency would be 11"), "{told}");
    assert!(told.contains("it can only be above 0 % up to 100 %"), "{told}");
    assert!(!told.contains("records accept"), "{told}");

    // What is no number has no words of a number.
    let mut nothing = lesson;
    nothing.learned.efficiency = Fraction::from_ratio(f64::NAN);
    assert_eq!(nothing.learned.impossible(), Some(Figure::Efficiency));
    let told = nothing.sentences().join("\n");
    assert!(told.contains("would be no number") && !told.contains("NaN"), "{told}");
}

#[test]
fn what_cannot_have_been_accepted_counts_for_nothing() {
    let truth = catalogued().times(Figure::Efficiency, 0.94);
    let accepted = Accepted {
        catalogue: catalogued(),
        figures: catalogued().times(Figure::Efficiency, 0.0),
        by: "A. Engineer".to_owned(),
        on: "2026-11-28".to_owned(),
    };
    let lesson = lesson_of(&truth, Known::Yes, Some(accepted));
    assert_eq!((lesson.held_back, lesson.accepted.clone()), (None, None));
    let told = lesson.sentences().join("\n");
    assert!(!told.contains("inf") && !told.contains("NaN"), "{told}");
}
