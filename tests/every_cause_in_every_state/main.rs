//! Every row of the matrix in every state of the chart, each really run on the twin: which effects it
//! has, in which order and when, and what state follows. The outcome is a page of its own, written
//! beside the test's binaries; its path is printed.

#![allow(
    clippy::print_stdout,
    clippy::panic,
    clippy::expect_used,
    clippy::indexing_slicing,
    clippy::string_slice,
    reason = "a test prints its figures, and fails where it cannot go on"
)]

mod armed;
mod judging;
mod page;
mod provocations;
#[path = "../support/mod.rs"]
mod support;
#[path = "../trial/mod.rs"]
mod trial;
mod trying;

use std::collections::BTreeMap;
use std::fs;
use std::path::Path;
use std::time::Instant;

use evenpass_core::interlock::matrix;
use evenpass_core::sequence::Leaf;
use trial::each;
use trial::places::places;
use trying::{Cell, Stand, Tried, try_row};

#[test]
fn every_cause_in_every_state_has_its_effects_in_order_and_in_time() {
    let began = Instant::now();
    let stands = each(places(), Stand::of);
    let rows: Vec<_> = matrix::rows().collect();
    let work: Vec<_> =
        rows.iter().flat_map(|row| (0..stands.len()).map(move |place| (*row, place))).collect();
    let tried: Vec<Tried> = each(work, |(row, place)| try_row(row, place, &stands[place]));
    let names: Vec<&str> = stands.iter().map(|stand| stand.name.as_str()).collect();
    let path = Path::new(env!("CARGO_TARGET_TMPDIR")).join("every-cause-in-every-state.html");
    fs::write(&path, page::of(&rows, &stands, &tried)).expect("the page is written");
    let count = |of: fn(&Cell) -> bool| tried.iter().filter(|tried| of(&tried.cell)).count();
    println!(
        "{} rows x {} places ({} states): {} pairs; {} acted, {} do not count there, {} cannot be \
         provoked there; {:.0} s",
        rows.len(),
        stands.len(),
        Leaf::ALL.len(),
        tried.len(),
        count(|cell| matches!(cell, Cell::Acted(_))),
        count(|cell| matches!(cell, Cell::NotArmed { .. })),
        count(|cell| matches!(cell, Cell::Cannot(_))),
        began.elapsed().as_secs_f64()
    );
    println!("the page: {}", path.display());
    let mut acted: BTreeMap<&str, usize> = BTreeMap::new();
    for tried in &tried {
        *acted.entry(tried.row.key).or_default() +=
            usize::from(matches!(tried.cell, Cell::Acted(_)));
    }
    let never: Vec<&str> =
        acted.iter().filter(|(_, count)| **count == 0).map(|(key, _)| *key).collect();
    println!("rows that acted nowhere: {never:?}");
    let mut wrong = Vec::new();
    for tried in &tried {
        for word in &tried.wrong {
            wrong.push(format!("{} in {}: {word}", tried.row.key, names[tried.place]));
        }
    }
    assert!(wrong.is_empty(), "{} wrong\n{}", wrong.len(), wrong.join("\n"));
    let backstops = ["flame_at_rest", "no_ignition", "outside_travel", "outside_travel_lit"];
    assert!(never.iter().all(|key| backstops.contains(key)), "act nowhere: {never:?}");
}
