//! Ripple and heat against closed forms that the model does not use.

use std::f64::consts::PI;

use evenpass_core::model::{
    Bar, Body, EndFaces, Feed, Flame, Loss, Metal, Plume, Shape, Source, Travel, ripple,
};

/// 8 mm, no spreading.
fn torch(radius: f64) -> Plume {
    Plume {
        standoff: 0.15,
        reference_radius: radius,
        sigma_axial: 0.008,
        sigma_lateral: 0.008,
        growth: 0.0,
        exponent: 1.0,
        efficiency: 0.65,
        density: 7800.0,
    }
}

#[test]
fn the_ripple_of_a_wide_part_is_that_of_a_sum_of_gaussians_one_pitch_apart() {
    let sigma: f64 = 0.008;
    for over_sigma in [1.5, 2.0, 2.5, 3.0] {
        let pitch = over_sigma * sigma;
        let coat = |z: f64| -> f64 {
            (-40..=40)
                .map(|turn| (z - f64::from(turn) * pitch) / sigma)
                .map(|u| (-0.5 * u * u).exp())
                .sum()
        };
        let (most, least) = (coat(0.0), coat(0.5 * pitch));
        let summed = (most - least) / (most + least);
        // A part so wide that the plume sees a plane.
        let found = ripple(&torch(2.0), 2.0, pitch);
        println!("pitch {over_sigma} sigma: {found:.6}, summed {summed:.6}");
        assert!((found / summed - 1.0).abs() < 0.005, "{found} instead of {summed}");
    }
}

#[test]
fn the_ripple_of_a_round_part_is_that_of_a_two_dimensional_field() {
    // Reference study, section 1: numeric field in z and angle, radius 50 mm, no spreading.
    for (over_sigma, field) in [(2.0, 0.0142), (2.5, 0.0839), (3.0, 0.2204), (4.0, 0.5751)] {
        let found = ripple(&torch(0.05), 0.05, over_sigma * 0.008);
        println!("pitch {over_sigma} sigma: {found:.4} ({field})");
        assert!((found - field).abs() < 0.0002, "{found} instead of {field}");
    }
}

/// Steel of the reference study: W/(m K), J/(m3 K).
const STEEL: (f64, f64) = (45.0, 7850.0 * 490.0);

fn unlit() -> Source {
    Source { power: 0.0, sigma_axial: 0.015, sigma_lateral: 0.015, lit_in_dwell: true }
}

#[test]
fn a_bar_that_only_loses_heat_cools_by_the_lumped_exponential() {
    let (length, radius, convection, ambient, initial) = (0.3, 0.0125, 15.0, 20.0, 300.0);
    let shape = Shape::new(vec![(0.0, radius), (length, radius)]).expect("an outline");
    let loss = Loss { convection, emissivity: 0.0, ambient };
    let mut bar = Bar::new(&shape, 0.0, STEEL, loss, initial);
    let travel = Travel::new((0.0, 0.3), 2, &Feed::Constant(0.02), 0.5, (600.0, 0.0));
    bar.heat(&travel, &unlit());
    // Surface over volume of a long cylinder is 2/R; its ends are insulated.
    let rate = 2.0 * convection / (STEEL.1 * radius);
    let wanted = ambient + (initial - ambient) * (-rate * travel.total_time()).exp();
    println!("{:.3} degrees, exponential {wanted:.3}", bar.mean());
    assert!((bar.mean() - wanted).abs() < 0.05, "{} instead of {wanted}", bar.mean());
}

#[test]
fn a_bar_in_a_dark_room_cools_by_the_fourth_power() {
    // Lumped, ambient 0 K: 1/T^3 grows linearly (from memory: any text on radiation).
    let (radius, initial) = (0.0125, 700.0);
    let shape = Shape::new(vec![(0.0, radius), (0.3, radius)]).expect("an outline");
    let loss = Loss { convection: 0.0, emissivity: 0.8, ambient: -273.15 };
    let mut bar = Bar::new(&shape, 0.0, STEEL, loss, initial);
    let travel = Travel::new((0.0, 0.3), 2, &Feed::Constant(0.02), 0.5, (600.0, 0.0));
    bar.heat(&travel, &unlit());
    let rate = 3.0 * 0.8 * 5.670_374_419e-8 * 2.0 / (radius * STEEL.1);
    let cubed = (initial + 273.15_f64).powi(-3) + rate * travel.total_time();
    let wanted = cubed.powf(-1.0 / 3.0) - 273.15;
    println!("{:.2} degrees, closed form {wanted:.2}", bar.mean());
    assert!((bar.mean() - wanted).abs() < 0.5, "{} instead of {wanted}", bar.mean());
}

#[test]
fn a_flame_that_moves_along_a_long_rod_drags_the_handbook_s_wake() {
    // Quasi-steady line of a moving source with loss (from memory: Carslaw and Jaeger, Conduction
    // of Heat in Solids, moving sources; Rosenthal 1946): ahead and behind of the torch
    // T - Ta = Q / (2 k A b) exp(-v x / 2a - b |x|), b^2 = (v / 2a)^2 + h P / (k A).
    let (length, radius, convection, speed, power): (f64, f64, f64, f64, f64) =
        (2.0, 0.01, 400.0, 0.004, 1500.0);
    let shape = Shape::new(vec![(0.0, radius), (length, radius)]).expect("an outline");
    let loss = Loss { convection, emissivity: 0.0, ambient: 20.0 };
    let mut bar = Bar::new(&shape, 0.0, STEEL, loss, 20.0);
    // So narrow a flame that all of it is caught and it stands at one place.
    let flame = Source { power, sigma_axial: 0.004, sigma_lateral: 0.001, lit_in_dwell: true };
    let stop = 1.7;
    let travel = Travel::new((0.2, stop), 1, &Feed::Constant(speed), 50.0, (0.0, 0.0));
    bar.heat(&travel, &flame);
    let (conductivity, capacity) = STEEL;
    let section = PI * radius * radius;
    let drift = speed * capacity / (2.0 * conductivity);
    let decay = (drift * drift + convection * 2.0 / (conductivity * radius)).sqrt();
    for behind in [0.02, 0.05, 0.1, 0.2] {
        let height = power / (2.0 * conductivity * section * decay);
        // What a narrow flame adds to the exponential of a point: its own second moment.
        let wide = (0.5 * ((decay - drift) * flame.sigma_axial).powi(2)).exp();
        let wanted = 20.0 + height * wide * ((drift - decay) * behind).exp();
        let found = bar.at(stop - behind);
        println!("{behind} m behind: {found:.2} degrees, closed form {wanted:.2}");
        assert!((found - wanted).abs() < 0.01 * (wanted - 20.0), "{found} instead of {wanted}");
    }
}

/// Carslaw and Jaeger, Conduction of Heat in Solids, 7.8 (from memory): constant flux q into a
/// cylinder, at its surface q R / k (2 Fo + 1/4 - 2 sum exp(-a^2 Fo) / a^2), a the zeros of J1.
#[test]
fn a_solid_ring_under_a_constant_flux_follows_the_series_of_the_handbook() {
    let zeros = [3.831_706, 7.015_587, 10.173_468, 13.323_692, 16.470_630, 19.615_859, 22.760_084];
    let (radius, heat) = (0.025, 60_000.0);
    let mut ring =
        Bar::across((0.0, radius), 0.1e-3, Metal::constant(STEEL.0, STEEL.1), Loss::NONE, 200.0);
    let flux = heat / (2.0 * PI * radius);
    let mut now: f64 = 0.0;
    for fourier in [0.02, 0.1, 0.3, 1.0] {
        let until: f64 = fourier * radius * radius * STEEL.1 / STEEL.0;
        for _ in 0..4000 {
            ring.step_at_end((until - now) / 4000.0, heat);
        }
        now = until;
        let series: f64 =
            zeros.iter().map(|a: &f64| (-a * a * fourier).exp() / (a * a)).sum::<f64>();
        let wanted = flux * radius / STEEL.0 * (2.0 * fourier + 0.25 - 2.0 * series);
        let found = ring.face(heat) - 200.0;
        println!("Fo {fourier}: {found:.2} K, series {wanted:.2} K");
        assert!((found / wanted - 1.0).abs() < 0.01, "{found} instead of {wanted}");
    }
}

/// Carslaw and Jaeger 3.8 (from memory): constant flux q into a plate of thickness w, nothing
/// through its back: q w / k (Fo + 1/3 - 2 / pi^2 sum exp(-n^2 pi^2 Fo) / n^2). A tube of 1 m
/// with a wall of 10 mm is a plate all but for 1 %.
#[test]
fn the_wall_of_a_wide_tube_under_a_constant_flux_follows_the_series_of_a_plate() {
    let (radius, wall, heat) = (0.5, 0.01, 600_000.0);
    let metal = Metal::constant(STEEL.0, STEEL.1);
    let mut ring = Bar::across((radius - wall, radius), 0.1e-3, metal, Loss::NONE, 200.0);
    let flux = heat / (2.0 * PI * radius);
    let mut now: f64 = 0.0;
    for fourier in [0.05, 0.2, 1.0] {
        let until: f64 = fourier * wall * wall * STEEL.1 / STEEL.0;
        for _ in 0..4000 {
            ring.step_at_end((until - now) / 4000.0, heat);
        }
        now = until;
        let series: f64 = (1..60)
            .map(|n| f64::from(n * n))
            .map(|squared| (-squared * PI * PI * fourier).exp() / squared)
            .sum();
        let wanted = flux * wall / STEEL.0 * (fourier + 1.0 / 3.0 - 2.0 / (PI * PI) * series);
        let found = ring.face(heat) - 200.0;
        println!("Fo {fourier}: {found:.2} K, series {wanted:.2} K");
        assert!((found / wanted - 1.0).abs() < 0.015, "{found} instead of {wanted}");
    }
}

/// Incropera and DeWitt, Fundamentals of Heat and Mass Transfer, table 5.1 (from memory): plane
/// wall of half thickness L, Bi 1: zeta 0.8603, C 1.1191; one term holds from Fo 0.2 on.
#[test]
fn a_plane_wall_cools_at_its_faces_by_the_first_term_of_its_series() {
    let (half, convection) = (0.02, STEEL.0 / 0.02);
    // So wide that its edge loses next to nothing.
    let shape = Shape::new(vec![(0.0, 100.0), (2.0 * half, 100.0)]).expect("an outline");
    let body = Body {
        bore: 0.0,
        metal: Metal::constant(STEEL.0, STEEL.1),
        loss: Loss { convection, emissivity: 0.0, ambient: 20.0 },
        ends: EndFaces::Open,
        cell: 0.1e-3,
    };
    let mut wall = Bar::of(&shape, body, 220.0);
    let second = STEEL.0 / (STEEL.1 * half * half);
    let mut now = 0.0;
    for fourier in [0.4, 1.0, 2.0_f64] {
        for _ in 0..400 {
            wall.step((fourier - now) / second / 400.0, None);
        }
        now = fourier;
        let middle = 1.1191 * (-0.8603_f64.powi(2) * fourier).exp();
        for (at, share) in [(half, 1.0), (half / 2.0, 0.430_15_f64.cos())] {
            let wanted = 20.0 + 200.0 * middle * share;
            let found = wall.at(at);
            println!("Fo {fourier}, {at} m: {found:.2} degrees, first term {wanted:.2}");
            assert!((found - wanted).abs() < 1.0, "{found} instead of {wanted}");
        }
    }
}

/// The same table for a cylinder, Bi 1 (h R / k): zeta 1.2558, C 1.2071.
#[test]
fn a_cylinder_cools_around_by_the_first_term_of_its_series() {
    let (radius, convection) = (0.025, STEEL.0 / 0.025);
    let loss = Loss { convection, emissivity: 0.0, ambient: 20.0 };
    let metal = Metal::constant(STEEL.0, STEEL.1);
    let mut ring = Bar::across((0.0, radius), 0.05e-3, metal, loss, 220.0);
    let second = STEEL.0 / (STEEL.1 * radius * radius);
    let mut now = 0.0;
    for fourier in [0.4, 0.8, 1.2_f64] {
        for _ in 0..400 {
            ring.step((fourier - now) / second / 400.0, None);
        }
        now = fourier;
        let wanted = 20.0 + 200.0 * 1.2071 * (-1.2558_f64.powi(2) * fourier).exp();
        let found = ring.at(0.0);
        println!("Fo {fourier}: {found:.2} degrees in the middle, first term {wanted:.2}");
        assert!((found - wanted).abs() < 1.0, "{found} instead of {wanted}");
    }
}

/// Heat given and heat found by the content of its own law: a step of specific heat, with a peak
/// ten times as high in between, crossed in steps that are wider than the peak.
#[test]
fn heat_that_is_given_is_kept_whatever_the_specific_heat_does() {
    let law = |t: f64| (40.0, if (730.0..740.0).contains(&t) { 4.0e7 } else { 4.0e6 });
    let metal = Metal::tabulated((0.0, 5.0), 261, law);
    assert!((metal.content(800.0) - (790.0 * 4.0e6 + 10.0 * 4.0e7)).abs() < 1.0);
    assert!((metal.temperature(metal.content(737.0)) - 737.0).abs() < 1e-9);
    let shape = Shape::new(vec![(0.0, 0.025), (0.1, 0.025)]).expect("an outline");
    let body = Body { bore: 0.0, metal, loss: Loss::NONE, ends: EndFaces::Insulated, cell: 5e-3 };
    let mut bar = Bar::of(&shape, body, 700.0);
    // So long a flame that it heats evenly, with 7 kW on this bar.
    let power = 7000.0 * 10.0 * (2.0 * PI).sqrt() / 0.1;
    let flame = Source { power, sigma_axial: 10.0, sigma_lateral: 1e-3, lit_in_dwell: true };
    let volume = PI * 0.025 * 0.025 * 0.1;
    for _ in 0..30 {
        bar.step(1.0, Some((&flame, 0.05)));
    }
    // 30 K to the peak and the peak itself are 5.2e8 J/m3; the rest goes on at 4e6.
    let wanted = 740.0 + (30.0 * 7000.0 / volume - 5.2e8) / 4.0e6;
    assert!((bar.mean() - wanted).abs() < 0.1, "{} instead of {wanted}", bar.mean());
}

/// What a flame on its way gives is the same in one step as in many.
#[test]
fn a_flame_that_goes_far_in_a_step_heats_what_it_passes() {
    let shape = Shape::new(vec![(0.0, 0.025), (0.3, 0.025)]).expect("an outline");
    let body = |cell| Body {
        bore: 0.0,
        metal: Metal::constant(STEEL.0, STEEL.1),
        loss: Loss::NONE,
        ends: EndFaces::Insulated,
        cell,
    };
    let source =
        Source { power: 3000.0, sigma_axial: 0.012, sigma_lateral: 0.012, lit_in_dwell: true };
    let run = |cell: f64, steps: u32| {
        let mut bar = Bar::of(&shape, body(cell), 20.0);
        let place = |step: u32| 0.05 + 0.2 * f64::from(step) / f64::from(steps);
        for step in 0..steps {
            let way = (place(step), place(step + 1));
            bar.step_along(10.0 / f64::from(steps), Some(Flame { source: &source, way }));
        }
        bar
    };
    let (coarse, fine) = (run(6e-3, 34), run(1e-3, 1000));
    for at in [0.03, 0.1, 0.15, 0.2, 0.25, 0.27] {
        let (found, wanted) = (coarse.at(at), fine.at(at));
        println!("{at} m: {found:.2} degrees, finely {wanted:.2}");
        assert!((found - wanted).abs() < 0.5, "{found} instead of {wanted}");
    }
    assert!((coarse.mean() - fine.mean()).abs() < 0.02);
}
