//! A run as a report reads it: two passes over a zone from 10 to 90 mm at 10 mm/s.

use evenpass_core::learn::{Measured, Pair, RunBasis};
use evenpass_core::ledger::{Entry, EntryKind};
use evenpass_core::moment::Moment;
use serde_json::{Value, json};

use crate::record::facts::passes;
use crate::record::{
    Measurement, MeasurementRecord, Outcome, RunId, RunKind, RunRecord, RunSummary, Source,
};

/// Passes of the zone.
pub(crate) const PASSES: u32 = 2;

fn entry(tenths: u64, kind: EntryKind, text: &str, data: Value) -> Entry {
    Entry {
        number: 0,
        at: Moment::from_micros(tenths * 100_000),
        kind,
        text: text.to_owned(),
        cause: String::new(),
        data,
    }
}

fn program() -> Value {
    let pass = |from: &str, to: &str, on: &str, off: &str| {
        json!({
            "from": from, "to": to, "feed": [{"at": on, "feed": "10 mm/s"}],
            "powder": [{"on": on, "off": off}],
        })
    };
    json!({
        "blasted_within": "7200 s",
        "steps": [
            {"preheat": {
                "aim": "270 degC", "window": {"low": "240 degC", "high": "300 degC"},
                "soak": "10 s", "spindle": "127 rpm",
            }},
            {"spray": {
                "zone": "seat", "edges": {"low": "10 mm", "high": "90 mm"}, "spindle": "127 rpm",
                "powder_rate": "60 g/min", "powder": "20 g", "lead_on": "0.5 s",
                "lead_off": "0.5 s", "window": {"low": "200 degC", "high": "350 degC"},
                "resume_below": "300 degC",
                "passes": [
                    pass("-15 mm", "115 mm", "-5 mm", "105 mm"),
                    pass("115 mm", "-15 mm", "105 mm", "-5 mm"),
                ],
            }},
            {"change_torch": 1},
            {"fuse": {
                "zone": "seat", "window": {"low": "1040 degC", "high": "1100 degC"},
                "ceiling": "1130 degC", "spindle": "95 rpm", "oscillation": "20 mm/s",
                "bands": [{"coat": {"low": "10 mm", "high": "90 mm"}}],
            }},
            {"cool": {"turn_until": "300 degC", "at_least": "60 s", "slow": "not_needed"}},
        ],
    })
}

fn forecast() -> Value {
    let along: Vec<Value> = (0..=16)
        .map(|step| json!({"at": format!("{} mm", 10 + 5 * step), "sprayed": "0.16 mm"}))
        .collect();
    json!({
        "total": "60 s",
        "powder": [{"key": "nickel-hard", "title": "Nickel powder, hard", "fed": "20 g"}],
        "gas": [{
            "torch": "Spray torch", "fuel_gas": "Acetylene", "burning": "40 s", "fuel": "12 L",
            "oxygen": "13 L",
        }],
        "temperatures": [{"at": "0 s", "seen": "20 degC"}, {"at": "60 s", "seen": "270 degC"}],
        "zones": [{
            "zone": "seat", "along": along, "sprayed": "0.16 mm", "plume": "6 mm",
            "sizes": [{"at": "50 mm", "bare": "50 mm", "sprayed": "50.32 mm", "fused": "50.26 mm"}],
        }],
    })
}

fn entries() -> Vec<Entry> {
    let state = |tenths, from: &str, to: &str, words: &str| {
        entry(tenths, EntryKind::State, words, json!({"from": from, "to": to}))
    };
    let mark = |tenths, mark: &str, pass| {
        let (from, to) = if pass == 1 { ("-15 mm", "115 mm") } else { ("115 mm", "-15 mm") };
        let data = json!({
            "mark": mark, "pass": pass, "of": PASSES, "zone": "seat", "from": from, "to": to,
        });
        entry(tenths, EntryKind::Pass, "", data)
    };
    let edge = |tenths, pass, edge: &str, place: &str| {
        let data = json!({"pass": pass, "edge": edge, "planned": place, "done": place});
        entry(tenths, EntryKind::Powder, "", data)
    };
    let mut all = vec![
        state(0, "Ready", "Checking", "Running: checking extraction and guard"),
        state(10, "SpinningUp", "Traversing", "Running: preheating"),
        state(50, "Soaking", "Approaching", "Running: approaching"),
        mark(100, "begun", 1),
        edge(105, 1, "on", "-10 mm"),
        edge(215, 1, "off", "100 mm"),
        mark(230, "ended", 1),
        mark(300, "begun", 2),
        edge(305, 2, "on", "110 mm"),
        edge(415, 2, "off", "0 mm"),
        mark(430, "ended", 2),
        state(450, "SpinningUp", "Heating", "Running: fusing"),
        entry(500, EntryKind::Pass, "band 1 called wet", json!({"band": 1, "step": 4})),
        state(501, "Heating", "CoolingDown", "Running: cooling down"),
        state(600, "CoolingDown", "Complete", "Complete: the job is done"),
    ];
    for half in 0_u64..120 {
        let at = half * 5;
        // Along the part in both passes, at rest else.
        let place = match at {
            100..=230 => Some(f64::from(u32::try_from(at).unwrap_or(0)) - 115.0),
            300..=430 => Some(415.0 - f64::from(u32::try_from(at).unwrap_or(0))),
            _ => None,
        };
        let feed = if place.is_some() { "10 mm/s" } else { "0 mm/s" };
        let grams = 500.0 - 10.0 * f64::from(u8::from(at > 230) + u8::from(at > 430));
        let data = json!({
            "z": format!("{} mm", place.unwrap_or(300.0)), "feed": feed, "spindle": "127.2 rpm",
            "part": "265 degC", "coat": if at > 440 { "1051 degC" } else { "250 degC" },
            "fuel": "0.7 bar", "oxygen": "2.5 bar", "carrier": "2 bar",
            "hopper": format!("{grams} g"), "powder": place.is_some(),
        });
        all.push(entry(at, EntryKind::Sample, "", data));
    }
    all.sort_by_key(|entry| entry.at);
    for (number, entry) in (1..).zip(&mut all) {
        entry.number = number;
    }
    all
}

/// What the part of the run is made of: plain steel, 50 mm.
pub(crate) fn basis() -> RunBasis {
    let point = |at: &str| json!({"at": at, "diameter": "50 mm"});
    let basis = json!({
        "part": {
            "name": "shaft D50", "substrate": "plain_steel", "bore": "0 mm",
            "profile": [point("0 mm"), point("100 mm")],
        },
        "torch": "spray-6", "standoff": "150 mm", "finish": "as_sprayed", "zones": [],
    });
    serde_json::from_value(basis).expect("a basis")
}

/// One diameter of its part, as somebody measured it.
pub(crate) fn measured(finish: &str, found: &str, temperature: Option<&str>) -> MeasurementRecord {
    let part = json!({
        "finish": finish, "micrometer": "0.002 mm", "temperature": temperature,
        "diameters": [{"at": "50 mm", "before": "50 mm", "found": found}],
    });
    MeasurementRecord {
        number: 1,
        measurement: Measurement {
            kept_at: "2026-11-25T10:00:00Z".parse().expect("RFC 3339"),
            measured_on: jiff::civil::date(2026, 11, 25),
            run: None,
            rig: "Rig".to_owned(),
            kind: RunKind::Machine,
            pair: Pair { torch: "spray-6".to_owned(), powder: "nickel-hard".to_owned() },
            person: "B. Engineer".to_owned(),
            measured: Measured::Part(serde_json::from_value(part).expect("a measured part")),
        },
        withdrawn: None,
    }
}

/// The run.
pub(crate) fn record() -> RunRecord {
    let entries = entries();
    let recipe = "title = \"Seat\"\nrevision = 3\n[part]\nname = \"shaft D50\"\nsubstrate = \"plain_steel\"\n";
    RunRecord {
        summary: RunSummary {
            id: RunId::stored("2026-11-25-001".to_owned()),
            started_at: "2026-11-25T09:00:00Z".parse().expect("RFC 3339"),
            ended_at: Some("2026-11-25T09:01:00Z".parse().expect("RFC 3339")),
            title: "Seat".to_owned(),
            kind: RunKind::Machine,
            outcome: Outcome::Complete,
            lasted: evenpass_core::quantity::Time::from_s(60.0),
            passes_done: PASSES,
            passes_planned: Some(PASSES),
            powder: None,
            first_cause: None,
            resumes: None,
        },
        recipe: Source { name: "seat.toml".to_owned(), text: recipe.to_owned() },
        rig: Source { name: "lathe.toml".to_owned(), text: "title = \"Lathe 3\"\n".to_owned() },
        program: program(),
        forecast: forecast(),
        software: "evenpass 0.1.0".to_owned(),
        seed: None,
        particulars: [("started by".to_owned(), "A. Fitter".to_owned())].into(),
        totals: json!({"powder": "20 g", "powder_planned": "20 g"}),
        deviations: Vec::new(),
        lost: Some(0),
        gaps: Vec::new(),
        pruned: None,
        passes: passes(&entries),
        entries,
    }
}
