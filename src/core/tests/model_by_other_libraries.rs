//! Deposit, powder and heat against what general-purpose libraries say where the answer is known in
//! closed form or as a handbook's series.
//!
//! Witness: scipy 1.17.1, ht 1.2.0 and fluids 1.3.1 from PyPI; `tests/witness/model_values.py`
//! says which formula each value comes from and prints them, kept in
//! `tests/reference/model-values.txt`, and CI prints them anew.

#![expect(
    clippy::expect_used,
    clippy::panic,
    clippy::print_stdout,
    reason = "a test prints its figures, and fails with what it is about"
)]

use evenpass_core::model::{
    Bar, Command, Coverage, Feeding, Loss, Plume, Release, Shape, Source, Switching, coat, ripple,
};

/// A value of the witness by its name.
fn value(name: &str) -> f64 {
    let values = include_str!("../../../tests/reference/model-values.txt");
    let line = values.lines().find_map(|line| line.strip_prefix(name)?.strip_prefix(" = "));
    line.unwrap_or_else(|| panic!("no value named {name}")).parse().expect("a number")
}

fn near(name: &str, found: f64, allowed: f64) {
    let wanted = value(name);
    println!("{name}: {found:.7}, witness {wanted:.7}");
    assert!((found - wanted).abs() <= allowed, "{name}: {found}, witness {wanted} +- {allowed}");
}

/// W/(m K), J/(m3 K).
const STEEL: (f64, f64) = (45.0, 7850.0 * 490.0);

fn rod(radius: f64, length: f64, convection: f64, initial: f64) -> Bar {
    let shape = Shape::new(vec![(0.0, radius), (length, radius)]).expect("an outline");
    let loss = Loss { convection, emissivity: 0.0, ambient: 20.0 };
    Bar::new(&shape, 0.0, STEEL, loss, initial)
}

/// Lets a time pass in steps of 50 ms.
fn wait(bar: &mut Bar, seconds: u32, flame: Option<(&Source, f64)>) {
    for _ in 0..20 * seconds {
        bar.step(0.05, flame);
    }
}

#[test]
fn a_surface_loses_to_the_room_what_a_heat_transfer_library_says() {
    let loss = Loss { convection: 15.0, emissivity: 0.8, ambient: 20.0 };
    for celsius in [100.0, 400.0, 850.0, 1100.0] {
        // The library's constant of Stefan and Boltzmann is that of CODATA 2014: 1.3e-6 less.
        let name = format!("flux at {celsius}");
        near(&name, loss.flux(celsius), 3e-6 * value(&name));
    }
}

#[test]
fn a_bar_of_one_temperature_cools_as_biot_and_fourier_numbers_say() {
    let mut bar = rod(0.0125, 0.3, 15.0, 300.0);
    for (seconds, more) in [(60, 60), (300, 240), (900, 600)] {
        wait(&mut bar, more, None);
        near(&format!("lump after {seconds}"), bar.mean(), 0.01);
    }
}

#[test]
fn leaving_out_the_gradient_across_a_bar_costs_a_quarter_of_its_biot_number() {
    // In air that is nothing; even at what no flame gives, a quarter of Bi = 0.11.
    for (convection, relative) in [(15.0, 0.0011), (400.0, 0.028)] {
        for seconds in [60, 300] {
            let mut bar = rod(0.0125, 0.3, convection, 300.0);
            wait(&mut bar, seconds, None);
            // The rate is wrong by this share, the temperature by as much of its own fall.
            let name = format!("cylinder with {convection} after {seconds}");
            let over = value(&name) - 20.0;
            near(&name, bar.mean(), relative * over * (280.0 / over).ln() + 0.01);
        }
    }
}

#[test]
fn a_flame_standing_over_a_rod_heats_it_as_the_cosine_series_says() {
    let flame =
        Source { power: 300.0, sigma_axial: 0.012, sigma_lateral: 0.002, lit_in_dwell: true };
    let mut bar = rod(0.01, 0.2, 15.0, 20.0);
    for (seconds, more) in [(5, 5), (40, 35), (200, 160)] {
        wait(&mut bar, more, Some((&flame, 0.05)));
        for z in [0.0, 0.05, 0.1, 0.2] {
            near(&format!("rod at {z} after {seconds}"), bar.at(z), 0.1);
        }
    }
}

fn torch(radius: f64, growth_degrees: f64) -> Plume {
    Plume {
        standoff: 0.15,
        reference_radius: radius,
        sigma_axial: 0.008,
        sigma_lateral: 0.008,
        growth: growth_degrees.to_radians().tan(),
        exponent: 0.0,
        efficiency: 1.0,
        density: 7800.0,
    }
}

#[test]
fn the_ripple_of_a_helix_is_the_first_harmonic_of_gaussians_one_pitch_apart() {
    for over_sigma in [1.5, 2.0, 2.5] {
        // A part so wide that the plume sees a plane.
        let found = ripple(&torch(4.0, 0.0), 4.0, over_sigma * 0.008);
        let name = format!("ripple at {over_sigma}");
        near(&name, found, 1e-3 * value(&name));
    }
}

#[test]
fn a_narrow_cylinder_catches_the_share_that_the_error_function_says() {
    for radius in [0.005, 0.01, 0.04] {
        let ring = torch(radius, 3.0).ring(radius, 0.0);
        let step = 0.5e-3;
        let caught: f64 =
            (-160..=160).map(|index| ring.caught(f64::from(index) * step).intercepted * step).sum();
        near(&format!("capture of {radius}"), caught, 2e-5);
    }
}

#[test]
fn powder_switched_at_one_place_leaves_an_edge_of_the_normal_distribution() {
    let radius = 0.5;
    let shape = Shape::new(vec![(-0.3, radius), (0.3, radius)]).expect("an outline");
    let width = 0.25e-3;
    let releases = (0..800)
        .map(|index| Release { at: (f64::from(index) + 0.5) * width, mass: width })
        .collect();
    let offsets = [-0.01, -0.002, 0.0, 0.006, 0.014];
    let places = [&offsets[..], &[0.1]].concat();
    let coated = coat(&shape, &torch(radius, 0.0), &Coverage { releases }, &places);
    let inside = coated.thickness.last().expect("a thickness");
    for (offset, thickness) in offsets.iter().zip(&coated.thickness) {
        near(&format!("edge at {offset}"), thickness / inside, 1e-4);
    }
}

#[test]
fn powder_at_the_nozzle_is_that_of_a_first_order_lag_behind_a_delay() {
    let feeding = Feeding {
        rate: 0.8e-3,
        delay: 0.5,
        rise: 0.2,
        fall: 0.35,
        switching: Switching::PerPass,
        edges: (0.0, 0.0),
        leads: (0.0, 0.0),
        poll: 0.0,
    };
    let flow = feeding.flow(&[Command { at: 1.0, on: true }, Command { at: 4.0, on: false }]);
    for time in [1.6, 2.5, 4.5, 4.9, 8.0] {
        near(&format!("fed after {time}"), flow.fed(time), 1e-9);
    }
}
