//! The even feed against what is known from outside: the reference study of straight sleeve, taper
//! and step (its notes, section 2.2: a linear program by HiGHS through scipy, feeds within four
//! times the constant one, so that the optimum there is a bound for feeds within wider limits).

#![expect(
    clippy::expect_used,
    clippy::indexing_slicing,
    reason = "a test fails with what it is about"
)]

use evenpass_core::model::even::{End, Even, Field, Limit, Problem, Turns, stations};
use evenpass_core::model::{
    Coverage, Feed, Feeding, Plume, Release, Shape, Switching, Travel, coat,
};

/// The study's torch: 8 mm at 150 mm, 3 degrees, 3 kg/h.
fn torch(reference_radius: f64) -> Plume {
    Plume {
        standoff: 0.15,
        reference_radius,
        sigma_axial: 0.008,
        sigma_lateral: 0.008,
        growth: 3.0_f64.to_radians().tan(),
        exponent: 1.0,
        efficiency: 0.65,
        density: 7800.0,
    }
}

/// The study's outlines, 300 mm long, coated whole.
fn problem(outline: &[(f64, f64)], overrun: f64, margin: f64) -> Problem {
    let shape = Shape::new(outline.to_vec()).expect("an outline");
    let end = outline.last().expect("a point").0;
    let sites = stations(&shape, (0.0, end), 0.002, margin);
    Problem {
        plume: torch(outline[0].1),
        rate: 3.0 / 3600.0,
        zone: (0.0, end),
        overrun: (overrun, overrun),
        stations: sites,
        target: 0.25e-3,
        feed: (1e-3, 0.1),
        acceleration: None,
        turns: None,
        shape,
    }
}

/// Limits the feed to this many times the best constant one, each way, and solves.
fn within(problem: &mut Problem, times: f64) -> Even {
    let passes = 10;
    let level = Field::new(problem).expect("solvable").constant(passes).feed_range().0;
    problem.feed = (level / times, level * times);
    let field = Field::new(problem).expect("solvable");
    field.solve(passes)
}

const SIGMA: f64 = 0.008;

#[test]
fn a_straight_sleeve_is_coated_to_its_ends_as_evenly_as_the_linear_program_says() {
    // Overrun in sigma; constant feed %, optimum % with feeds within five times.
    let table = [
        (0.0, 33.3, 4.5),
        (0.25, 25.1, 1.9),
        (0.5, 18.3, 0.75),
        (0.75, 12.8, 0.28),
        (1.0, 8.7, 0.08),
        (1.5, 3.5, 0.004),
        (2.0, 1.17, 0.0),
    ];
    for (overrun, constant, optimum) in table {
        let mut problem = problem(&[(0.0, 0.05), (0.3, 0.05)], overrun * SIGMA, 0.0);
        let even = within(&mut problem, 5.0);
        let (flat, worst) = (100.0 * even.constant_worst, 100.0 * even.worst);
        println!(
            "overrun {overrun} sigma: constant {flat:.2} ({constant}) %, even {worst:.3} ({optimum}) %"
        );
        assert!((flat - constant).abs() < 0.02 * constant + 0.05, "constant feed {flat} %");
        assert!(worst < 1.04 * optimum + 0.05, "even feed {worst} %");
        assert!(worst > 0.9 * optimum - 0.05, "better than the optimum: {worst} %");
    }
}

#[test]
fn a_taper_is_coated_as_evenly_as_the_linear_program_says() {
    let outline = [(0.0, 0.05), (0.05, 0.05), (0.25, 0.025), (0.3, 0.025)];
    let mut problem = problem(&outline, 2.0 * SIGMA, 0.0);
    let even = within(&mut problem, 4.0);
    let (flat, worst) = (100.0 * even.constant_worst, 100.0 * even.worst);
    println!("taper: constant {flat:.2} (30.3) %, even {worst:.3} (0.59) %");
    assert!((flat - 30.3).abs() < 0.6, "constant feed {flat} %");
    assert!((worst - 0.59).abs() < 0.12, "even feed {worst} %");
}

#[test]
fn beside_a_step_one_sigma_of_margin_is_all_an_even_coat_needs() {
    // Small radius, mm; optimum at all stations %, and leaving out one sigma %.
    for (small, all, beside) in
        [(0.0475, 2.3, 0.01), (0.045, 4.6, 0.03), (0.04, 9.4, 0.08), (0.035, 14.4, 0.18)]
    {
        let outline = [(0.0, 0.05), (0.15, 0.05), (0.15, small), (0.3, small)];
        let whole = 100.0 * within(&mut problem(&outline, 2.0 * SIGMA, 0.0), 4.0).worst;
        // The study's nearest places beside the step lie 10 mm from it; `evenness` has those at 8.
        let left = 100.0 * within(&mut problem(&outline, 2.0 * SIGMA, 0.01), 4.0).worst;
        println!("step to {small}: {whole:.2} ({all}) %, with a margin {left:.3} ({beside}) %");
        assert!((whole - all).abs() < 0.06 * all + 0.1, "without a margin {whole} %");
        assert!(left < 1.04 * beside + 0.05, "with a margin {left} %");
    }
}

#[test]
fn the_feed_as_given_to_the_carriage_coats_as_evenly_as_the_weight_it_was_made_of() {
    let mut problem = problem(&[(0.0, 0.05), (0.3, 0.05)], 0.5 * SIGMA, 0.0);
    let even = within(&mut problem, 5.0);
    let feed = even.feed();
    assert!(feed.windows(2).all(|pair| pair[1].0 > pair[0].0 && pair[1].0 - pair[0].0 < 1.001e-3));
    assert!(
        feed.iter().all(|(_, v)| (problem.feed.0..=problem.feed.1).contains(v)),
        "out of bounds"
    );
    let reached = sprayed(&problem, even.passes, &feed);
    println!("solved {:.5}, as given {reached:.5}", even.worst);
    assert!((reached - even.worst).abs() < 2e-4, "{reached} instead of {}", even.worst);
}

/// Worst error of a feed by the whole deposit model, whose strips and steps are others than the
/// solver's.
fn sprayed(problem: &Problem, passes: u32, feed: &[(f64, f64)]) -> f64 {
    let mut releases = Vec::new();
    for pair in feed.windows(2) {
        let parts = (((pair[1].0 - pair[0].0) / 0.25e-3).ceil()).max(1.0);
        let width = (pair[1].0 - pair[0].0) / parts;
        let mut done = 0.0;
        while done < parts {
            let share = (done + 0.5) / parts;
            let v = pair[0].1 + share * (pair[1].1 - pair[0].1);
            let mass = problem.rate * f64::from(passes) / v * width;
            releases.push(Release { at: pair[0].0 + (done + 0.5) * width, mass });
            done += 1.0;
        }
    }
    let coverage = Coverage { releases };
    let coated = coat(&problem.shape, &problem.plume, &coverage, &problem.stations);
    coated.thickness.iter().fold(0.0, |worst, h| (h / problem.target - 1.0).abs().max(worst))
}

#[test]
fn a_limit_that_binds_is_named_with_what_would_free_it() {
    let sleeve = [(0.0, 0.05), (0.3, 0.05)];
    let mut short = problem(&sleeve, 0.0, 0.0);
    let even = within(&mut short, 5.0);
    let field = Field::new(&short).expect("solvable");
    let found = field.obstacles(&even, 0.01);
    println!("no overrun: {found:?}");
    let last = found.last().expect("an obstacle");
    let low = Limit::OverrunLow { is: 0.0, needed: 2.0 * SIGMA };
    let high = Limit::OverrunHigh { is: 0.0, needed: 2.0 * SIGMA };
    assert!(found.iter().any(|o| o.limits.contains(&low) && o.limits.contains(&high)), "{last:?}");

    let mut slow = problem(&sleeve, 2.0 * SIGMA, 0.0);
    let level = Field::new(&slow).expect("solvable").constant(10).feed_range().0;
    slow.feed = (level * 1.3, level * 5.0);
    let field = Field::new(&slow).expect("solvable");
    let found = field.obstacles(&field.solve(10), 0.01);
    println!("too slow a feed forbidden: {}", found[0].limits[0]);
    let [Limit::SlowestFeed { is, needed }] = found[0].limits[..] else { panic!("{found:?}") };
    assert!(is == slow.feed.0 && needed < level, "{found:?}");
    assert!(found[0].without < 0.001, "{found:?}");

    let stepped = [(0.0, 0.05), (0.15, 0.05), (0.15, 0.04), (0.3, 0.04)];
    let step = problem(&stepped, 2.0 * SIGMA, 0.0);
    let field = Field::new(&step).expect("solvable");
    let found = field.obstacles(&field.solve(10), 0.01);
    println!("step: {found:?}");
    let [Limit::Outline { at }] = found[0].limits[..] else { panic!("{found:?}") };
    assert!((at - 0.15).abs() < 0.02, "at {at}");
}

#[test]
fn the_acceleration_is_kept_in_the_problem_and_not_by_clipping() {
    // 100 mm/s and 0.05 m/s2: clipped afterwards 55.7 %, in the problem 1.6 % (notes, 2.4).
    let mut fast = problem(&[(0.0, 0.05), (0.3, 0.05)], 1.5 * SIGMA, 0.0);
    fast.feed = (5e-3, 0.5);
    let one = Field::new(&fast).expect("solvable").constant(100).feed_range().0 / 100.0;
    let mut passes = 2;
    while one * f64::from(passes) < 0.1 {
        passes += 2;
    }
    fast.acceleration = Some(0.05);
    let field = Field::new(&fast).expect("solvable");
    let even = field.solve(passes);
    println!(
        "{passes} passes: {:.2} %, {:.4} m/s2, constant {:.2} %; {:?}",
        100.0 * even.worst,
        even.acceleration(),
        100.0 * even.constant_worst,
        field.obstacles(&even, 0.005)
    );
    assert!(even.acceleration() <= 0.05 * 1.0001);
    assert!(even.worst < 0.018, "{}", even.worst);
}

#[test]
fn powder_left_on_through_the_turns_is_made_good() {
    // Left out of the plan 3.0 %, in it 0.39 % (notes, 2.6: 24 passes, 0.5 m/s2).
    let mut through = problem(&[(0.0, 0.05), (0.3, 0.05)], 1.5 * SIGMA, 0.0);
    through.feed = (2e-3, 0.1);
    let blind = Field::new(&through).expect("solvable").solve(24);
    through.turns = Some(Turns { dwell: 0.2, acceleration: 0.5, home: End::Low });
    let even = Field::new(&through).expect("solvable").solve(24);
    let simulated = |even: &Even| {
        let feed = Feed::Profile(even.feed());
        let ends = (even.weights[0].1, even.weights[even.weights.len() - 1].1);
        let way = |weight: f64| (24.0 / weight).powi(2) / (2.0 * 0.5);
        let (low, high) = through.window();
        let turning = (low - way(ends.0), high + way(ends.1));
        let travel = Travel::new(turning, 24, &feed, 0.5, (0.0, 0.2));
        let feeding = Feeding {
            rate: through.rate,
            delay: 0.0,
            rise: 0.0,
            fall: 0.0,
            switching: Switching::Continuous,
            edges: (low, high),
            leads: (0.0, 0.0),
            poll: 0.0,
        };
        let flow = feeding.flow(&feeding.commands(&travel));
        let coverage = Coverage::of(&travel, &flow);
        let coated = coat(&through.shape, &through.plume, &coverage, &through.stations);
        coated
            .thickness
            .iter()
            .fold(0.0_f64, |worst, h| (h / through.target - 1.0).abs().max(worst))
    };
    let (blind, planned) = (simulated(&blind), simulated(&even));
    println!("turns left out {:.2} %, planned {:.2} %", 100.0 * blind, 100.0 * planned);
    assert!(blind > 0.02, "the turns are felt: {blind}");
    assert!(planned < 0.004, "{planned}");
}
