//! Ripple and heat against closed forms that the model does not use.

use std::f64::consts::PI;

use evenpass_core::model::{Bar, Feed, Loss, Plume, Shape, Source, Travel, ripple};

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
