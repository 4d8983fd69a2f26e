//! The carriage's way against its closed forms.

use super::*;
use crate::program::FeedPoint;

fn leg(from: f64, to: f64, feed: &[(f64, f64)]) -> Pass {
    Pass {
        from: Length::from_mm(from),
        to: Length::from_mm(to),
        feed: feed
            .iter()
            .map(|(at, v)| FeedPoint { at: Length::from_mm(*at), feed: Speed::from_mm_per_s(*v) })
            .collect(),
        powder: Vec::new(),
        trim: crate::request::Trim::NONE,
    }
}

fn ramp(value: f64) -> Acceleration {
    Acceleration::from_mm_per_s2(value)
}

/// Handbook formula t = s/v + v/a; triangle t = 2 sqrt(s/a).
#[test]
fn a_constant_feed_gives_the_trapezoid_and_a_short_leg_the_triangle() {
    for (way, feed, a, total) in [
        (150.0, 625.0 / 60.0, 100.0, 14.504_17),
        (300.0, 100.0, 200.0, 3.5),
        (20.0, 100.0, 200.0, 0.632_456),
    ] {
        let found = LegMotion::new(&leg(85.0, 85.0 + way, &[(0.0, feed)]), ramp(a)).total().s();
        assert!((found - total).abs() < 5e-6, "{way}: {found}");
    }
    let triangle = LegMotion::new(&leg(0.0, 20.0, &[(0.0, 100.0)]), ramp(200.0));
    let peak = triangle.speed_at(Length::from_mm(10.0)).mm_per_s();
    assert!((peak - 63.2456).abs() < 5e-5, "{peak}");
}

#[test]
fn nine_crossings_of_the_powder_span_take_half_a_second_more_than_their_feed_says() {
    let one = LegMotion::new(&leg(85.0, 235.0, &[(0.0, 625.0 / 60.0)]), ramp(100.0));
    let all = one.total().s() * 9.0;
    assert!((all - 130.5).abs() < 0.05, "{all}");
}

#[test]
fn position_and_time_are_each_others_inverse_in_both_directions() {
    let profile = [(20.0, 4.0), (60.0, 12.0), (61.0, 9.0), (90.0, 9.0)];
    for (from, to) in [(0.0, 100.0), (100.0, 0.0)] {
        let motion = LegMotion::new(&leg(from, to, &profile), ramp(50.0));
        for step in 0..=200 {
            let time = motion.total() * (f64::from(step) / 200.0);
            let place = motion.position_at(time);
            let back = motion.time_at(place);
            assert!((back - time).s().abs() < 1e-6, "{from} {step}: {back} for {time}");
        }
        assert_eq!(motion.position_at(Time::from_s(-1.0)).mm(), from);
        assert_eq!(motion.position_at(motion.total() + Time::from_s(1.0)).mm(), to);
    }
}

/// Integral of dx / v over a linear feed: ln(v1/v0) / slope.
#[test]
fn a_feed_that_rises_linearly_takes_the_logarithm_of_its_ratio() {
    let motion = LegMotion::new(&leg(0.0, 100.0, &[(20.0, 5.0), (80.0, 10.0)]), ramp(1e6));
    let found = motion.time_at(Length::from_mm(80.0)) - motion.time_at(Length::from_mm(20.0));
    let exact = 60.0 / 5.0 * 2.0_f64.ln();
    assert!((found.s() - exact).abs() < 1e-9, "{found}");
    assert_eq!(motion.speed_at(Length::from_mm(50.0)).mm_per_s(), 7.5);
}

#[test]
fn a_pass_without_a_feed_stays_a_number() {
    let motion = LegMotion::new(&leg(0.0, 1.0, &[]), ramp(0.0));
    assert!(motion.total().s().is_finite());
    let nowhere = LegMotion::new(&leg(5.0, 5.0, &[(0.0, 1.0)]), ramp(100.0));
    assert_eq!(nowhere.total(), Time::ZERO);
}

/// Against the speed law itself, summed over a fine grid: for profiles that cross the ramps
/// several times, up and down.
#[test]
fn times_agree_with_the_sum_of_way_over_speed_for_any_profile() {
    for (length, a, profile) in [
        (60.0, 20.0, vec![(0.0, 2.0), (10.0, 30.0), (20.0, 5.0), (55.0, 40.0)]),
        (60.0, 20.0, vec![(5.0, 40.0), (30.0, 3.0), (58.0, 40.0)]),
        (8.0, 100.0, vec![(0.0, 15.0), (4.0, 60.0), (8.0, 15.0)]),
        (100.0, 50.0, vec![(-20.0, 4.0), (130.0, 16.0)]),
    ] {
        let motion = LegMotion::new(&leg(0.0, length, &profile), ramp(a));
        let feed = |x: f64| {
            let after = profile.iter().position(|knot| knot.0 > x);
            match after {
                None => profile[profile.len() - 1].1,
                Some(0) => profile[0].1,
                Some(i) => {
                    let (p, q) = (profile[i - 1], profile[i]);
                    p.1 + (q.1 - p.1) * (x - p.0) / (q.0 - p.0)
                }
            }
        };
        let law = |x: f64| feed(x).min((2.0 * a * x).sqrt()).min((2.0 * a * (length - x)).sqrt());
        let count = 200_000;
        let step = length / f64::from(count);
        let mut sum = 0.0;
        for index in 0..count {
            let x = (f64::from(index) + 0.5) * step;
            sum += step / law(x);
            if index % 20_000 == 19_999 {
                let found = motion.time_at(Length::from_mm(x + 0.5 * step)).s();
                // The grid itself is this far off near rest.
                let grid = 2.0 * (step / a).sqrt();
                assert!((found - sum).abs() < grid, "{length} at {x}: {found} for {sum}");
                let speed = motion.speed_at(Length::from_mm(x)).mm_per_s();
                assert!((speed - law(x)).abs() < 1e-9, "{length} at {x}: {speed}");
            }
        }
    }
}
