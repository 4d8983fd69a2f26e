//! Whole programs against an independent calculation: thickness and temperature of two invented jobs,
//! worked out apart by fine quadrature and a converged finite-volume scheme (computed here).

use super::bar::{Bar, Heating};
use super::deposit::{Deposit, Landing};
use super::profile::{Limits, Profile};
use super::surface::Surface;
use crate::part::PartInChuck;
use crate::spec::{BenchSpec, EndFaces, HeatSpec, PlumeSpec, PowderSpec, Steel, TorchSpec};

struct Job {
    part: PartInChuck,
    plume: PlumeSpec,
    powder: PowderSpec,
    heat: HeatSpec,
    torch: TorchSpec,
    turns_mm: (f64, f64),
    edges_mm: (f64, f64),
    limits: Limits,
    passes: u32,
    dwell_s: f64,
    lead_in_s: f64,
    lead_s: f64,
}

fn sleeve(radius_m: f64, bore_m: f64, length_m: f64) -> PartInChuck {
    PartInChuck { bore_radius_m: bore_m, ..PartInChuck::cylinder(2.0 * radius_m, length_m) }
}

fn job(part: PartInChuck) -> Job {
    let spec = BenchSpec::default_bench().unwrap();
    let heat = HeatSpec {
        steel: Steel::Constant,
        conductivity_w_mk: 45.0,
        specific_heat_j_kgk: 490.0,
        end_faces: EndFaces::Insulated,
        ..spec.heat
    };
    Job {
        part,
        plume: spec.plume,
        powder: spec.powder,
        heat,
        torch: spec.torch.into_iter().next().unwrap(),
        turns_mm: (0.0, 0.0),
        edges_mm: (0.0, 0.0),
        limits: Limits { speed_mm_s: 1.0, acceleration_mm_s2: 500.0, deceleration_mm_s2: 500.0 },
        passes: 1,
        dwell_s: 0.0,
        lead_in_s: 0.0,
        lead_s: 0.0,
    }
}

/// Runs a job in steps of 1 ms for powder and 50 ms for heat.
fn run(job: &Job) -> (Deposit, Bar) {
    use super::powder::{Flow, Powder};
    let surface = Surface::new(&job.part);
    let mut deposit = Deposit::new(&job.plume, surface.clone(), (-100.0, 1_000.0));
    let mut bar = Bar::new(&job.heat, &job.part, &surface);
    let mut powder = Powder::new(&job.powder);
    powder.set_carrier(0, Flow::On);
    let mut profile = Profile::rest(job.turns_mm.0);
    let mut start_s = job.lead_in_s;
    let mut commands = std::collections::VecDeque::new();
    let mut profiles = vec![];
    let (mut here, mut there) = job.turns_mm;
    for _ in 0..job.passes {
        let pass = Profile::to(start_s, here, 0.0, there, job.limits);
        let reach = |mark: f64| {
            let (mut a, mut b) = (start_s, start_s + 1_000.0);
            for _ in 0..80 {
                let middle = 0.5 * (a + b);
                let beyond = (pass.at(middle).0 - mark) * (there - here).signum() >= 0.0;
                if beyond { b = middle } else { a = middle }
            }
            b
        };
        let (on, off) = if there > here { job.edges_mm } else { (job.edges_mm.1, job.edges_mm.0) };
        commands.push_back((reach(on) - job.lead_s, Flow::On));
        commands.push_back((reach(off) - job.lead_s, Flow::Off));
        let end_s = reach(there - 1e-9 * (there - here).signum());
        profiles.push((start_s, pass));
        start_s = end_s + job.dwell_s;
        (here, there) = (there, here);
    }
    let end_ms = ((start_s - job.dwell_s) * 1e3).round();
    let mut z = job.turns_mm.0;
    let mut profiles = profiles.into_iter().peekable();
    for ms in 1..=crate::counts::whole(end_ms) as u64 + 3_000 {
        let now_us = ms * 1_000;
        let now = crate::counts::seconds(now_us);
        while let Some((_, next)) = profiles.next_if(|p| p.0 <= now) {
            profile = next;
        }
        while let Some(at) = powder.next_us().filter(|&t| t <= now_us) {
            let mass = powder.settle(at);
            deposit.release(z, z, mass, Landing::Hot);
            powder.pass(at);
        }
        let before = std::mem::replace(&mut z, profile.at(now).0);
        let mass = powder.settle(now_us);
        deposit.release(before, z, mass, Landing::Hot);
        while let Some((_, flow)) = commands.pop_front_if(|c| c.0 <= now) {
            powder.set_feeder(now_us, flow);
        }
        if ms % 50 == 0 && (ms as f64) <= end_ms {
            let at_mm = profile.at(now - 0.025).0;
            bar.step(0.05, Some(Heating { torch: &job.torch, at_mm }));
        }
    }
    (deposit, bar)
}

#[test]
fn a_sleeve_under_an_ideal_plume_agrees_with_the_independent_calculation() {
    let mut job = job(sleeve(0.040, 0.025, 0.180));
    job.plume = PlumeSpec {
        stand_off_mm: 150.0,
        reference_radius_mm: 40.0,
        sigma_axial_mm: 8.0,
        sigma_lateral_mm: 8.0,
        efficiency: 0.65,
        as_sprayed_density_kg_m3: 7_800.0,
        ..job.plume
    };
    job.powder.rate_g_min = 50.0;
    job.powder.transport_delay_on_s = 0.0;
    job.powder.transport_delay_off_s = 0.0;
    job.heat.convection_w_m2k = 15.0;
    job.torch.net_power_w = 4_000.0;
    job.torch.heat_sigma_axial_mm = 15.0;
    job.torch.heat_sigma_lateral_mm = 15.0;
    job.turns_mm = (-20.0, 200.0);
    job.edges_mm = (-16.0, 196.0);
    job.limits.speed_mm_s = 12.0;
    job.passes = 8;
    job.dwell_s = 0.2;
    job.lead_in_s = 2.0;
    let (deposit, bar) = run(&job);
    let middle = deposit.thickness_mm(90.0);
    assert!((middle / 0.184_207_0 - 1.0).abs() < 2e-3, "{middle}");
    let first = deposit.thickness_mm(1.8) / middle;
    assert!((first - 0.986_96).abs() < 2e-3, "{first}");
    assert!((deposit.stuck_g() / 64.950_9 - 1.0).abs() < 2e-3, "{}", deposit.stuck_g());
    for (part, expected) in [(0.1, 234.83), (0.5, 235.83), (0.9, 233.98)] {
        let t = bar.at(180.0 * part).unwrap();
        assert!((t - expected).abs() < 1.1, "{part}: {t} {expected}");
    }
    assert!((bar.mean_c() - 235.18).abs() < 1.1, "{}", bar.mean_c());
}

#[test]
fn a_sleeve_under_a_spreading_plume_with_slow_edges_agrees_with_the_independent_calculation() {
    let mut job = job(sleeve(0.0425, 0.030, 0.240));
    job.plume = PlumeSpec {
        stand_off_mm: 160.0,
        reference_radius_mm: 42.5,
        sigma_axial_mm: 9.0,
        sigma_lateral_mm: 7.0,
        sigma_growth_half_angle_deg: 3.0,
        angle_exponent: 1.0,
        efficiency: 0.70,
        as_sprayed_density_kg_m3: 7_900.0,
    };
    job.powder.rate_g_min = 60.0;
    job.powder.transport_delay_on_s = 0.8;
    job.powder.transport_delay_off_s = 0.8;
    job.powder.rise_time_constant_s = 0.25;
    job.powder.fall_time_constant_s = 0.25;
    job.heat.convection_w_m2k = 18.0;
    job.torch.net_power_w = 6_000.0;
    job.torch.heat_sigma_axial_mm = 16.0;
    job.torch.heat_sigma_lateral_mm = 14.0;
    job.turns_mm = (-21.0, 261.0);
    job.edges_mm = (-18.0, 258.0);
    job.limits.speed_mm_s = 20.0;
    job.passes = 14;
    job.dwell_s = 0.25;
    job.lead_in_s = 3.0;
    job.lead_s = 1.05;
    let (deposit, bar) = run(&job);
    let middle = deposit.thickness_mm(120.0);
    assert!((middle / 0.226_318_9 - 1.0).abs() < 3e-3, "{middle}");
    let first = deposit.thickness_mm(2.4);
    assert!((first - 0.221_149_8).abs() < 0.003 * middle, "{first}");
    assert!((deposit.stuck_g() / 114.419_7 - 1.0).abs() < 2e-3, "{}", deposit.stuck_g());
    for (part, expected) in [(0.1, 372.71), (0.5, 373.54), (0.9, 371.23)] {
        let t = bar.at(240.0 * part).unwrap();
        assert!((t - expected).abs() < 1.8, "{part}: {t} {expected}");
    }
}
