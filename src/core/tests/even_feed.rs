//! The even feed against what is known from outside: the reference study of straight sleeve, taper
//! and step (its notes, section 2.2: a linear program by HiGHS through scipy, feeds within four
//! times the constant one, so that the optimum there is a bound for feeds within wider limits).

use std::time::Instant;

use evenpass_core::model::even::{Even, Field, Problem, stations};
use evenpass_core::model::{Plume, Shape};

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
    let since = Instant::now();
    let even = field.solve(passes);
    println!(
        "{} stations, {} nodes: solved in {:.2} ms",
        problem.stations.len(),
        even.weights.len(),
        since.elapsed().as_secs_f64() * 1e3
    );
    even
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
        println!("overrun {overrun} sigma: constant {flat:.2} ({constant}) %, even {worst:.3} ({optimum}) %");
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
        let left = 100.0 * within(&mut problem(&outline, 2.0 * SIGMA, SIGMA), 4.0).worst;
        println!("step to {small}: {whole:.2} ({all}) %, with a margin {left:.3} ({beside}) %");
        assert!((whole - all).abs() < 0.06 * all + 0.1, "without a margin {whole} %");
        assert!(left < 1.04 * beside + 0.05, "with a margin {left} %");
    }
}
