//! What the core answers to one reference case.

use std::error::Error;

use evenpass_core::model::even::{Problem, choose};
use evenpass_core::model::{
    Bar, Coverage, Feed, Feeding, Loss, Plume, Shape, Source, Switching, Travel, coat, ripple,
};
use serde::de::DeserializeOwned;
use serde_json::{Map, Value, json};

pub(crate) type Answer<T> = Result<T, Box<dyn Error>>;

/// A number by its path.
pub(crate) fn number(case: &Value, path: &str) -> Answer<f64> {
    let found = case.pointer(path).and_then(Value::as_f64);
    found.ok_or_else(|| format!("{path}: expected a number").into())
}

/// Anything by its path.
fn read<T: DeserializeOwned>(case: &Value, path: &str) -> Answer<T> {
    let found = case.pointer(path).ok_or_else(|| format!("{path}: missing"))?;
    serde_json::from_value(found.clone()).map_err(|why| format!("{path}: {why}").into())
}

/// A list of pairs by its path.
pub(crate) fn pairs(case: &Value, path: &str) -> Answer<Vec<(f64, f64)>> {
    read(case, path)
}

/// The part of a case.
pub(crate) fn shape(case: &Value) -> Answer<Shape> {
    Ok(Shape::new(pairs(case, "/part/profile_z_R_m")?).ok_or("the outline falls")?)
}

/// The torch of a case.
pub(crate) fn plume(case: &Value) -> Answer<Plume> {
    let at = |path: &str| number(case, path);
    Ok(Plume {
        standoff: at("/torch/standoff_m")?,
        reference_radius: at("/torch/standoff_reference_radius_m")?,
        sigma_axial: at("/torch/sigma_axial_m")?,
        sigma_lateral: at("/torch/sigma_lateral_m")?,
        growth: at("/torch/sigma_growth_half_angle_deg")?.to_radians().tan(),
        exponent: at("/torch/angle_exponent")?,
        efficiency: at("/torch/base_deposition_efficiency")?,
        density: at("/torch/as_sprayed_density_kg_m3")?,
    })
}

/// Every field of the answer to one case.
pub(crate) fn answer(case: &Value) -> Answer<Value> {
    let at = |path: &str| number(case, path);
    let shape = shape(case)?;
    let plume = plume(case)?;
    let feed = match case.pointer("/program/feed_m_s").and_then(Value::as_f64) {
        Some(feed) => Feed::Constant(feed),
        None => Feed::Profile(pairs(case, "/program/feed_profile")?),
    };
    let passes = read(case, "/program/passes")?;
    let travel = Travel::new(
        (at("/program/travel_start_m")?, at("/program/travel_end_m")?),
        passes,
        &feed,
        at("/program/accel_m_s2")?,
        (at("/program/lead_in_s")?, at("/program/reversal_dwell_s")?),
    );
    let feeding = Feeding {
        rate: at("/powder/powder_rate_kg_s")?,
        delay: at("/powder/transport_delay_s")?,
        rise: at("/powder/rise_time_constant_s")?,
        fall: at("/powder/fall_time_constant_s")?,
        switching: match read::<String>(case, "/powder/switch_mode")?.as_str() {
            "per_pass" => Switching::PerPass,
            "continuous" => Switching::Continuous,
            _ => return Err("/powder/switch_mode: expected per_pass or continuous".into()),
        },
        edges: (at("/powder/edge_low_m")?, at("/powder/edge_high_m")?),
        leads: (at("/powder/lead_on_s")?, at("/powder/lead_off_s")?),
        poll: at("/powder/poll_s")?,
    };
    let commands = feeding.commands(&travel);
    let flow = feeding.flow(&commands);
    let stations: Vec<f64> = read(case, "/stations_z_m")?;
    let sprayed = coat(&shape, &plume, &Coverage::of(&travel, &flow), &stations);
    let (za, zb) = (at("/coated_zone_m/0")?, at("/coated_zone_m/1")?);
    let pitch = travel.largest_feed() / (at("/spindle_rpm")? / 60.0);
    let middle = shape.at(f64::midpoint(za, zb)).0;
    let inside = (za + 2.0 * plume.sigma_axial, zb - 2.0 * plume.sigma_axial);
    let first: Vec<Value> =
        commands.iter().take(6).map(|c| json!([c.at, u8::from(c.on)])).collect();
    let mut out = evenness(&sprayed.thickness, &stations, inside);
    out.extend(heat(case, &shape, &travel)?);
    let others = json!({
        "mass_fed_kg": flow.total(),
        "mass_intercepted_kg": sprayed.masses.intercepted,
        "mass_on_part_kg": sprayed.masses.on_part,
        "mass_wasted_kg": flow.total() - sprayed.masses.on_part,
        "pass_time_s": travel.pass_time(),
        "total_motion_time_s": travel.total_time(),
        "powder_command_count": commands.len(),
        "first_powder_commands": first,
        "pitch_at_max_feed_m": pitch,
        "helical_ripple_amplitude": ripple(&plume, middle, pitch),
    });
    out.extend(others.as_object().cloned().unwrap_or_default());
    if case.get("planner").is_some() {
        out.insert("plan".into(), plan(case, shape, plume, stations)?);
    }
    Ok(Value::Object(out))
}

fn plan(case: &Value, shape: Shape, plume: Plume, stations: Vec<f64>) -> Answer<Value> {
    let at = |path: &str| number(case, path);
    let problem = Problem {
        shape,
        plume,
        rate: at("/powder/powder_rate_kg_s")?,
        zone: (at("/coated_zone_m/0")?, at("/coated_zone_m/1")?),
        overrun: (at("/planner/powder_overrun_low_m")?, at("/planner/powder_overrun_high_m")?),
        stations,
        target: at("/planner/target_thickness_m")?,
        feed: (at("/planner/feed_min_m_s")?, at("/planner/feed_max_m_s")?),
        acceleration: None,
        turns: None,
    };
    let candidates: Vec<u32> = read(case, "/planner/passes_to_consider")?;
    let choice = choose(&problem, &candidates)?.ok_or("no number of passes to consider")?;
    Ok(json!({ "passes": choice.even.passes, "feed_profile": choice.even.feed() }))
}

fn evenness(thickness: &[f64], stations: &[f64], inside: (f64, f64)) -> Map<String, Value> {
    let mean = |values: &[f64]| values.iter().sum::<f64>() / values.len() as f64;
    let all = mean(thickness);
    let worst = thickness.iter().fold(0.0_f64, |worst, h| worst.max((h / all - 1.0).abs()));
    let mut out = Map::new();
    out.insert("thickness_m".into(), json!(thickness));
    out.insert("mean_thickness_m".into(), json!(all));
    out.insert("evenness_max_dev_from_mean".into(), json!(worst));
    let interior: Vec<f64> = thickness
        .iter()
        .zip(stations)
        .filter(|(_, z)| (inside.0..=inside.1).contains(*z))
        .map(|(h, _)| *h)
        .collect();
    if interior.len() >= 3 {
        let (low, high) = interior
            .iter()
            .fold((f64::MAX, 0.0_f64), |range, h| (range.0.min(*h), range.1.max(*h)));
        let within = mean(&interior);
        out.insert("interior_mean_thickness_m".into(), json!(within));
        let ripple = (high - low) / (2.0 * within);
        out.insert("interior_ripple_half_peak_to_peak".into(), json!(ripple));
        for (field, end) in
            [("end_ratio_low", thickness.first()), ("end_ratio_high", thickness.last())]
        {
            out.insert(field.into(), json!(end.map(|h| h / within)));
        }
    }
    out
}

fn heat(case: &Value, shape: &Shape, travel: &Travel) -> Answer<Map<String, Value>> {
    let at = |path: &str| number(case, path);
    let loss = Loss {
        convection: at("/heat/h_conv_W_m2K")?,
        emissivity: at("/heat/emissivity")?,
        ambient: at("/heat/ambient_C")?,
    };
    let source = Source {
        power: at("/heat/net_power_W")?,
        sigma_axial: at("/heat/heat_sigma_axial_m")?,
        sigma_lateral: at("/heat/heat_sigma_lateral_m")?,
        lit_in_dwell: read(case, "/heat/flame_on_during_dwell")?,
    };
    let capacity = at("/heat/density_kg_m3")? * at("/heat/specific_heat_J_kgK")?;
    let initial = at("/heat/initial_C")?;
    let steel = (at("/heat/conductivity_W_mK")?, capacity);
    let mut bar = Bar::new(shape, at("/part/bore_radius_m")?, steel, loss, initial);
    let heated = bar.heat(travel, &source);
    let along = |share: f64| bar.at(shape.low() + share * (shape.high() - shape.low()));
    let mut out = Map::new();
    let ends: Vec<f64> = [0.1, 0.3, 0.5, 0.7, 0.9].into_iter().map(along).collect();
    out.insert("temperature_end_at_fractions_C".into(), json!(ends));
    out.insert("temperature_end_mean_C".into(), json!(bar.mean()));
    out.insert("temperature_end_max_C".into(), json!(bar.hottest()));
    out.insert("temperature_peak_C".into(), json!(heated.peak));
    out.insert("temperature_mid_after_each_pass_C".into(), json!(heated.mid_after_passes));
    out.insert("heat_stored_J".into(), json!(bar.stored_above(initial)));
    Ok(out)
}
