//! The twin's own physics against reference cases that another program worked out on a fine grid:
//! `tests/reference/cases-open.json`, whose tolerances are those of its convergence study.
//!
//! What the controller does on a machine (when it switches the feeder, how it asks for a feed that
//! changes along the part) is done here by hand; what follows from it is the twin's.

use std::collections::BTreeMap;

use serde_json::{Value, json};

mod program;

use self::program::{Leg, program};

use super::bar::{Bar, Heating};
use super::deposit::{Deposit, Landing};
use super::powder::{Flow, Powder};
use super::surface::Surface;
use crate::counts::{microseconds, seconds};
use crate::part::PartInChuck;
use crate::spec::{BenchSpec, EndFaces, HeatSpec, PlumeSpec, PowderSpec, Steel, TorchSpec};

/// Powder lands in steps of this, s.
const POWDER_STEP_S: f64 = 1e-3;
/// Heat goes by the bench's own step, s.
const HEAT_STEP_S: f64 = 0.05;
/// After the last pass, until the hose has nothing left, s.
const RUN_OUT_S: f64 = 10.0;

fn number(case: &Value, path: &str) -> f64 {
    case.pointer(path).and_then(Value::as_f64).unwrap_or_else(|| panic!("{path}"))
}

fn pairs(case: &Value, path: &str) -> Vec<(f64, f64)> {
    serde_json::from_value(case.pointer(path).unwrap().clone()).unwrap()
}

fn part(case: &Value) -> PartInChuck {
    PartInChuck {
        profile_m: pairs(case, "/part/profile_z_R_m"),
        bore_radius_m: number(case, "/part/bore_radius_m"),
        initial_c: number(case, "/heat/initial_C"),
        ..PartInChuck::plain_shaft()
    }
}

fn plume(case: &Value) -> PlumeSpec {
    let at = |path: &str| number(case, path);
    PlumeSpec {
        stand_off_mm: 1e3 * at("/torch/standoff_m"),
        reference_radius_mm: 1e3 * at("/torch/standoff_reference_radius_m"),
        sigma_axial_mm: 1e3 * at("/torch/sigma_axial_m"),
        sigma_lateral_mm: 1e3 * at("/torch/sigma_lateral_m"),
        sigma_growth_half_angle_deg: at("/torch/sigma_growth_half_angle_deg"),
        angle_exponent: at("/torch/angle_exponent"),
        efficiency: at("/torch/base_deposition_efficiency"),
        as_sprayed_density_kg_m3: at("/torch/as_sprayed_density_kg_m3"),
    }
}

/// Thickness and masses.
fn spray(case: &Value, legs: &[Leg], commands: &[(f64, f64)]) -> Value {
    let at = |path: &str| number(case, path);
    let spec = BenchSpec::default_bench().unwrap();
    let mut powder = Powder::new(&PowderSpec {
        rate_g_min: 6e4 * at("/powder/powder_rate_kg_s"),
        transport_delay_on_s: at("/powder/transport_delay_s"),
        transport_delay_off_s: at("/powder/transport_delay_s"),
        rise_time_constant_s: at("/powder/rise_time_constant_s"),
        fall_time_constant_s: at("/powder/fall_time_constant_s"),
        hopper_g: 1e5,
        ..spec.powder
    });
    powder.set_carrier(Flow::On);
    let mut deposit = Deposit::new(&plume(case), Surface::new(&part(case)), (-200.0, 1_500.0));
    // Everything that happens at an instant: the feeder's switch, and a look at the carriage.
    let mut instants: Vec<(u64, Option<Flow>)> = commands
        .iter()
        .flat_map(|(on, off)| [(*on, Flow::On), (*off, Flow::Off)])
        .map(|(time, flow)| (microseconds(time), Some(flow)))
        .collect();
    let end_s = legs.last().unwrap().to_s;
    let mut look = 0.0;
    while look * POWDER_STEP_S < end_s + RUN_OUT_S {
        instants.push((microseconds(look * POWDER_STEP_S), None));
        look += 1.0;
    }
    instants.extend(legs.iter().map(|leg| (microseconds(leg.to_s), None)));
    instants.sort_by_key(|instant| instant.0);
    let mut z = legs[0].rest_mm;
    let mut met_g = 0.0;
    let mut leg = 0;
    for (until_us, switch) in instants {
        let mut settle = |powder: &mut Powder, now_us: u64| {
            let now = seconds(now_us);
            while leg + 1 < legs.len() && legs[leg].to_s < now {
                leg += 1;
            }
            let before = std::mem::replace(&mut z, legs[leg].at(now));
            let mass = powder.settle(now_us);
            if mass > 0.0 {
                met_g += mass * deposit.meets(0.5 * (before + z));
                deposit.release(before, z, mass, Landing::Hot);
            }
        };
        while let Some(edge) = powder.next_us().filter(|&edge| edge <= until_us) {
            settle(&mut powder, edge);
            powder.pass(edge);
        }
        settle(&mut powder, until_us);
        if let Some(flow) = switch {
            powder.set_feeder(until_us, flow);
        }
    }
    let stations: Vec<f64> = serde_json::from_value(case["stations_z_m"].clone()).unwrap();
    let places: Vec<f64> = stations.iter().map(|z| 1e3 * z).collect();
    let thickness: Vec<f64> =
        deposit.thickness_list_mm(&places).iter().map(|mm| 1e-3 * mm).collect();
    let mean = thickness.iter().sum::<f64>() / thickness.len() as f64;
    let worst = thickness.iter().fold(0.0_f64, |worst, h| worst.max((h / mean - 1.0).abs()));
    let fed = powder.through_nozzle_g();
    json!({
        "thickness_m": thickness,
        "mean_thickness_m": mean,
        "evenness_max_dev_from_mean": worst,
        "mass_fed_kg": 1e-3 * fed,
        "mass_intercepted_kg": 1e-3 * met_g,
        "mass_on_part_kg": 1e-3 * deposit.stuck_g(),
        "mass_wasted_kg": 1e-3 * (fed - deposit.stuck_g()),
    })
}

/// Temperatures.
fn heat(case: &Value, legs: &[Leg]) -> Value {
    let at = |path: &str| number(case, path);
    let spec = BenchSpec::default_bench().unwrap();
    let part = part(case);
    let heat = HeatSpec {
        steel: Steel::Constant,
        conductivity_w_mk: at("/heat/conductivity_W_mK"),
        specific_heat_j_kgk: at("/heat/specific_heat_J_kgK"),
        density_kg_m3: at("/heat/density_kg_m3"),
        convection_w_m2k: at("/heat/h_conv_W_m2K"),
        emissivity: at("/heat/emissivity"),
        ambient_c: at("/heat/ambient_C"),
        end_faces: EndFaces::Insulated,
        ..spec.heat
    };
    let torch = TorchSpec {
        net_power_w: at("/heat/net_power_W"),
        heat_sigma_axial_mm: 1e3 * at("/heat/heat_sigma_axial_m"),
        heat_sigma_lateral_mm: 1e3 * at("/heat/heat_sigma_lateral_m"),
        ..spec.torch.into_iter().next().unwrap()
    };
    let mut bar = Bar::new(&heat, &part, &Surface::new(&part));
    let (start, end) = (part.profile_m[0].0, part.profile_m[part.profile_m.len() - 1].0);
    let place = |bar: &Bar, share: f64| bar.at(1e3 * (start + share * (end - start))).unwrap();
    let dwelt = case.pointer("/heat/flame_on_during_dwell").unwrap() == true;
    let (mut peak, mut middle) = (part.initial_c, Vec::new());
    for (index, leg) in legs.iter().enumerate() {
        let lit = dwelt || leg.way.is_some() || index == 0;
        let count = ((leg.to_s - leg.from_s) / HEAT_STEP_S).ceil();
        let step = (leg.to_s - leg.from_s) / count;
        let mut done = 0.0;
        while done < count {
            let at_mm = leg.at(leg.from_s + (done + 0.5) * step);
            bar.step(step, lit.then_some(Heating { torch: &torch, at_mm }));
            peak = peak.max(bar.highest_c());
            done += 1.0;
        }
        if leg.way.is_some() {
            middle.push(place(&bar, 0.5));
        }
    }
    // Frusta less the bore.
    let volume: f64 = part
        .profile_m
        .windows(2)
        .map(|w| {
            let ((za, a), (zb, b)) = (w[0], w[1]);
            let full = (a * a + a * b + b * b) / 3.0 - part.bore_radius_m * part.bore_radius_m;
            std::f64::consts::PI * (zb - za) * full
        })
        .sum();
    let capacity = heat.density_kg_m3 * heat.specific_heat_j_kgk;
    let ends: Vec<f64> = [0.1, 0.3, 0.5, 0.7, 0.9].iter().map(|s| place(&bar, *s)).collect();
    json!({
        "temperature_end_at_fractions_C": ends,
        "temperature_end_mean_C": bar.mean_c(),
        "temperature_end_max_C": bar.highest_c(),
        "temperature_peak_C": peak,
        "temperature_mid_after_each_pass_C": middle,
        "heat_stored_J": capacity * volume * (bar.mean_c() - part.initial_c),
    })
}

fn tolerance(field: &str, wanted: f64, case: &Value) -> f64 {
    match field {
        "thickness_m" => 0.003 * number(case, "/reference/mean_thickness_m"),
        "mean_thickness_m" => 0.002 * wanted,
        "evenness_max_dev_from_mean" => 0.003,
        "pass_time_s" | "total_motion_time_s" => 0.01 + 2e-4 * wanted,
        "powder_command_count" => 0.0,
        "first_powder_commands" => 0.002,
        "heat_stored_J" => 0.005 * wanted,
        _ if field.starts_with("mass") => 0.002 * number(case, "/reference/mass_fed_kg"),
        _ => (0.005 * (wanted - number(case, "/heat/initial_C"))).abs().max(1.0),
    }
}

/// All numbers of a field in their order.
fn numbers(value: &Value) -> Vec<f64> {
    match value {
        Value::Array(list) => list.iter().flat_map(numbers).collect(),
        other => other.as_f64().into_iter().collect(),
    }
}

/// Holds the answer to the reference; the largest deviations as shares of the tolerance go into
/// `used`.
fn hold(case: &Value, answer: &Value, used: &mut BTreeMap<String, (f64, String)>) -> Vec<String> {
    let id = case["id"].as_str().unwrap();
    let mut wrong = Vec::new();
    for (field, given) in answer.as_object().unwrap() {
        let (given, wanted) = (numbers(given), numbers(&case["reference"][field]));
        assert_eq!(given.len(), wanted.len(), "{id}: {field}");
        for (given, wanted) in given.into_iter().zip(wanted) {
            let (off, allowed) = ((given - wanted).abs(), tolerance(field, wanted, case));
            let share = if off <= allowed { off / allowed.max(1e-12) } else { off / allowed };
            let most = used.entry(field.clone()).or_default();
            if share > most.0 {
                *most = (share, id.to_owned());
            }
            if off > allowed {
                wrong.push(format!("{id}: {field} {given}, wanted {wanted} within {allowed}"));
            }
        }
    }
    wrong
}

#[test]
fn the_twin_coats_and_heats_the_reference_cases_as_the_other_program_says() {
    let path = concat!(env!("CARGO_MANIFEST_DIR"), "/../tests/reference/cases-open.json");
    let cases: Vec<Value> = serde_json::from_str(&std::fs::read_to_string(path).unwrap()).unwrap();
    let (mut used, mut wrong) = (BTreeMap::new(), Vec::new());
    for case in &cases {
        let (legs, commands) = program(case);
        let first: Vec<Value> = commands
            .iter()
            .flat_map(|(on, off)| [json!([on, 1]), json!([off, 0])])
            .take(6)
            .collect();
        let times = json!({
            "pass_time_s": legs[1].to_s - legs[1].from_s,
            "total_motion_time_s": legs.last().unwrap().to_s,
            "powder_command_count": 2 * commands.len(),
            "first_powder_commands": first,
        });
        wrong.extend(hold(case, &times, &mut used));
        wrong.extend(hold(case, &spray(case, &legs, &commands), &mut used));
        wrong.extend(hold(case, &heat(case, &legs), &mut used));
    }
    println!("largest deviation of {} cases as a share of its tolerance:", cases.len());
    for (field, (share, id)) in used {
        println!("{field:34} {:5.1} % in {id}", 100.0 * share);
    }
    assert!(wrong.is_empty(), "{} figures are off:\n{}", wrong.len(), wrong.join("\n"));
}
