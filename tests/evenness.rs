//! How evenly parts of every kind are coated by their feed as it is given to the carriage: beside
//! the best constant feed and beside the least worst error there is.
//!
//! Witness: HiGHS through scipy 1.17.1, on a kernel of its own; `witness/even_feed_scipy.py` prints
//! its figures, kept in `reference/even-feed-optimum.txt`, and CI prints them anew. Straight sleeve,
//! taper and step agree with the reference study (its notes, section 2.2, in percent): constant
//! 18.3, 3.5, 30.3, 11.6; optimum 0.75, 0.004, 0.59, 9.4, beside the step 0.08. It has no nose.

#![expect(clippy::indexing_slicing, reason = "a test fails with what it is about")]

use std::error::Error;

use evenpass_core::model::even::{Even, Field, Problem, stations};
use evenpass_core::model::{Coverage, Release, coat};

#[path = "reference/parts.rs"]
mod parts;

/// Thickness is judged at places no wider than this apart, m: a quarter of those it is solved for,
/// and as near as those on a nose, whose facets are 1 mm long.
const JUDGED: f64 = 0.5e-3;
/// Powder is released at places this far apart, m.
const RELEASED: f64 = 0.25e-3;

/// Worst error of a feed by the whole deposit model, whose strips are others than the solver's, at
/// places of which most are none of the solver's.
fn reached(problem: &Problem, even: &Even, margin: f64) -> f64 {
    let mut releases = Vec::new();
    for pair in even.feed().windows(2) {
        let (from, to) = (pair[0], pair[1]);
        let count = ((to.0 - from.0) / RELEASED).ceil().max(1.0);
        let width = (to.0 - from.0) / count;
        let mut done = 0.0;
        while done < count {
            let share = (done + 0.5) / count;
            let speed = from.1 + share * (to.1 - from.1);
            let mass = problem.rate * f64::from(even.passes) / speed * width;
            releases.push(Release { at: from.0 + share * (to.0 - from.0), mass });
            done += 1.0;
        }
    }
    let places = stations(&problem.shape, problem.zone, JUDGED, margin);
    let coated = coat(&problem.shape, &problem.plume, &Coverage { releases }, &places);
    coated.thickness.iter().fold(0.0, |worst, h| (h / problem.target - 1.0).abs().max(worst))
}

#[test]
fn every_kind_of_part_is_coated_nearly_as_evenly_as_can_be() -> Result<(), Box<dyn Error>> {
    let folder = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/reference/");
    let optima = std::fs::read_to_string(format!("{folder}even-feed-optimum.txt"))?;
    let parts = parts::read(&format!("{folder}even-feed-parts.json"))?;
    assert_eq!(optima.lines().count(), parts.len(), "an optimum for every part");
    println!(
        "worst error in %, constant feed and its witness, optimum, solved, as sprayed, allowed"
    );
    for (part, optimum) in parts.iter().zip(optima.lines()) {
        let mut fields = optimum.splitn(3, ' ');
        let mut field = || fields.next().ok_or("three fields in a line");
        let (flat, optimum): (f64, f64) = (field()?.parse()?, field()?.parse()?);
        assert_eq!(field()?, part.name);
        let problem = part.problem()?;
        let even = Field::new(&problem)?.solve(part.passes);
        let sprayed = reached(&problem, &even, part.step_margin_m);
        let allowed = 1.25 * optimum + 0.005;
        println!(
            "{:47} {:6.2} ({:5.2})  {:6.3}  {:6.3}  {:6.3}  {:6.3}",
            part.name,
            100.0 * even.constant_worst,
            100.0 * flat,
            100.0 * optimum,
            100.0 * even.worst,
            100.0 * sprayed,
            100.0 * allowed
        );
        assert!((even.constant_worst - flat).abs() < 0.001, "{}: constant feed", part.name);
        // Nodes a third of a standard deviation apart against half of one.
        assert!(even.worst > optimum - 5e-4, "{}: better than the optimum", part.name);
        assert!(sprayed <= allowed, "{}: {sprayed}, allowed {allowed}", part.name);
        assert!(sprayed < flat, "{}: no better than a constant feed", part.name);
    }
    Ok(())
}
