//! The core's model and planner against reference cases that another program worked out on a fine
//! grid: every field within its tolerance, every plan as even as the rule asks.
//!
//! `tests/reference/cases-open.json` holds the cases with that program's answers; the tolerances
//! are those of its convergence study.

use std::collections::BTreeMap;
use std::error::Error;

use evenpass_core::model::{Coverage, Release, coat};
use serde_json::{Map, Value};

#[path = "reference/answering.rs"]
mod answering;

use answering::{Answer, number, pairs};

fn cases() -> Answer<Vec<Value>> {
    let path = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/reference/cases-open.json");
    Ok(serde_json::from_str(&std::fs::read_to_string(path)?)?)
}

/// A case without anything that would give its answer away.
fn asked(case: &Value) -> Value {
    let mut asked = case.clone();
    if let Some(fields) = asked.as_object_mut() {
        fields.remove("reference");
        fields.remove("planner_reference");
    }
    asked
}

/// How far a field may lie from the reference's; `None` for one that is not judged.
fn tolerance(field: &str, wanted: f64, case: &Value) -> Answer<Option<f64>> {
    let of = |path: &str| number(case, path);
    let starts = |heads: &[&str]| heads.iter().any(|head| field.starts_with(head));
    Ok(Some(match field {
        "thickness_m" => 0.003 * of("/reference/mean_thickness_m")?,
        "mean_thickness_m" | "interior_mean_thickness_m" | "pitch_at_max_feed_m" => {
            0.002 * wanted.abs()
        }
        "pass_time_s" | "total_motion_time_s" => 0.01 + 2e-4 * wanted,
        "first_powder_commands" => 0.002,
        "powder_command_count" => 0.0,
        "helical_ripple_amplitude" => (0.01 * wanted).max(1e-5),
        "heat_stored_J" => 0.005 * wanted.abs(),
        _ if starts(&["mass_"]) => 0.002 * of("/reference/mass_fed_kg")?,
        _ if starts(&["evenness", "interior_ripple", "end_ratio"]) => 0.003,
        _ if starts(&["temperature"]) => (0.005 * (wanted - of("/heat/initial_C")?).abs()).max(1.0),
        _ => return Ok(None),
    }))
}

/// Pairs of wanted and given numbers in a field, however deep its lists go.
fn numbers(wanted: &Value, given: &Value, field: &str) -> Answer<Vec<(f64, f64)>> {
    if let (Some(wanted), Some(given)) = (wanted.as_array(), given.as_array()) {
        if wanted.len() != given.len() {
            return Err(format!("{field}: {} of {} values", given.len(), wanted.len()).into());
        }
        let pairs = wanted.iter().zip(given).map(|(w, g)| numbers(w, g, field));
        return Ok(pairs.collect::<Answer<Vec<_>>>()?.into_iter().flatten().collect());
    }
    let pair = wanted.as_f64().zip(given.as_f64());
    Ok(vec![pair.ok_or_else(|| format!("{field}: not a number"))?])
}

#[test]
fn every_field_of_every_open_case_is_within_its_tolerance() -> Result<(), Box<dyn Error>> {
    let mut used: BTreeMap<String, f64> = BTreeMap::new();
    for case in cases()? {
        let id = case["id"].as_str().unwrap_or_default();
        let answer = answering::answer(&asked(&case))?;
        let reference: &Map<String, Value> = case["reference"].as_object().expect("a reference");
        for (field, wanted) in reference {
            let given = answer.get(field).unwrap_or_else(|| panic!("{id}: no {field}"));
            for (wanted, given) in numbers(wanted, given, field)? {
                let Some(allowed) = tolerance(field, wanted, &case)? else { continue };
                let off = (given - wanted).abs();
                assert!(off <= allowed, "{id}: {field} {given}, wanted {wanted} within {allowed}");
                let most = used.entry(field.clone()).or_default();
                *most = most.max(if allowed > 0.0 { off / allowed } else { 0.0 });
            }
        }
    }
    println!("largest deviation of the 12 cases as a share of its tolerance:");
    for (field, share) in used {
        println!("{field:34} {:5.1} %", 100.0 * share);
    }
    Ok(())
}

/// Worst error of a feed over the case's stations, by the whole deposit model.
fn reached(case: &Value, passes: f64, feed: &[(f64, f64)]) -> Answer<f64> {
    let rate = number(case, "/powder/powder_rate_kg_s")?;
    let mut releases = Vec::new();
    for (a, b) in feed.iter().zip(feed.iter().skip(1)) {
        let parts = ((b.0 - a.0) / 0.5e-3).ceil().max(1.0);
        let width = (b.0 - a.0) / parts;
        let mut done = 0.0;
        while done < parts {
            let speed = a.1 + (b.1 - a.1) * (done + 0.5) / parts;
            releases.push(Release {
                at: a.0 + (done + 0.5) * width,
                mass: rate * passes / speed * width,
            });
            done += 1.0;
        }
    }
    let stations: Vec<f64> = serde_json::from_value(case["stations_z_m"].clone())?;
    let coated =
        coat(&answering::shape(case)?, &answering::plume(case)?, &Coverage { releases }, &stations);
    let target = number(case, "/planner/target_thickness_m")?;
    Ok(coated.thickness.iter().fold(0.0, |worst, h| (h / target - 1.0).abs().max(worst)))
}

#[test]
fn every_plan_is_nearly_as_even_as_the_reference_optimum() -> Result<(), Box<dyn Error>> {
    println!("case     passes  constant  optimum  plan     allowed");
    for case in cases()?.iter().filter(|case| case.get("planner").is_some()) {
        let id = case["id"].as_str().unwrap_or_default();
        let plan = answering::answer(&asked(case))?["plan"].clone();
        let passes = plan["passes"].as_f64().ok_or("a number of passes")?;
        let feed = pairs(&plan, "/feed_profile")?;
        let (slowest, fastest) =
            (number(case, "/planner/feed_min_m_s")?, number(case, "/planner/feed_max_m_s")?);
        let low =
            number(case, "/coated_zone_m/0")? - number(case, "/planner/powder_overrun_low_m")?;
        let high =
            number(case, "/coated_zone_m/1")? + number(case, "/planner/powder_overrun_high_m")?;
        for pair in feed.windows(2) {
            let step = pair[1].0 - pair[0].0;
            assert!(step > 0.0 && step <= 2e-3, "{id}: points {step} m apart");
        }
        assert!(
            feed[0].0 <= low + 1e-9 && feed[feed.len() - 1].0 >= high - 1e-9,
            "{id}: too short"
        );
        for (z, v) in &feed {
            let within = (slowest * (1.0 - 1e-6)..=fastest * (1.0 + 1e-6)).contains(v);
            assert!(within, "{id}: feed {v} m/s at {z} m");
        }
        let of =
            |entry: &Value| Some((entry["passes"].as_f64()?, entry["min_max_rel_error"].as_f64()?));
        let by_passes: Vec<(f64, f64)> = case["planner_reference"]["by_passes"]
            .as_array()
            .ok_or("a list by passes")?
            .iter()
            .filter_map(of)
            .collect();
        let least = by_passes.iter().fold(f64::INFINITY, |least, (_, e)| least.min(*e));
        let same = by_passes.iter().find(|(count, _)| (count - passes).abs() < 0.5);
        let optimum = same.ok_or("a number of passes that was not offered")?.1;
        let worst = reached(case, passes, &feed)?;
        let allowed = 1.25 * optimum + 0.005;
        let constant = number(case, "/planner_reference/constant_feed_min_max_rel_error")?;
        println!("{id}  {passes:6}  {constant:.5}   {optimum:.5}  {worst:.5}  {allowed:.5}");
        assert!(worst <= allowed, "{id}: {worst} with {passes} passes, allowed {allowed}");
        assert!(optimum <= least + 0.005, "{id}: {passes} passes reach {optimum}, others {least}");
    }
    Ok(())
}
