//! What the whole program does on the twin on random bad days, followed in the explored graph.

use std::collections::{BTreeMap, HashMap, HashSet};

use crate::campaign::{draw, seen_from_outside, setting};
use crate::mapping::follow;
use crate::shipped;

/// Days followed by an ordinary run of the tests.
const DAYS: u64 = 200;

#[test]
fn what_the_whole_program_does_on_bad_days_is_a_path_of_the_explored_graph() {
    let graph = &shipped().1.graph;
    let days = setting("EVENPASS_PATHS", DAYS);
    let first = setting("EVENPASS_FIRST_SEED", 0);
    let places: HashMap<_, u32> = graph.observed.iter().copied().zip(0..).collect();
    let mut edges: HashSet<(u32, u32)> = HashSet::new();
    for (found, next) in graph.found.iter().zip(&graph.next) {
        for next in next {
            edges.insert((found.observed, graph.found[*next as usize].observed));
        }
    }
    let mut after: HashMap<u32, Vec<u32>> = HashMap::new();
    for (a, b) in &edges {
        if a != b {
            after.entry(*a).or_default().push(*b);
        }
    }
    println!("{} edges", edges.len());
    let mut looks = 0;
    let (mut strict, mut unknown, mut two) = (0, 0, 0);
    let mut lost: BTreeMap<String, Vec<(u64, usize, usize)>> = BTreeMap::new();
    for seed in first..first + days {
        let seen = seen_from_outside(&draw::schedule(seed));
        looks += seen.len();
        strict += usize::from(follow(graph, &seen).is_ok());
        for (index, pair) in seen.windows(2).enumerate() {
            let (a, b) = (places.get(&pair[0]), places.get(&pair[1]));
            let what = match (a, b) {
                (Some(a), Some(b)) => {
                    if edges.contains(&(*a, *b)) {
                        continue;
                    }
                    let empty = Vec::new();
                    if after.get(a).unwrap_or(&empty).iter().any(|m| edges.contains(&(*m, *b))) {
                        two += 1;
                        continue;
                    }
                    format!("{:?}\n   -> {:?}", pair[0], pair[1])
                }
                (_, None) => {
                    unknown += 1;
                    format!("UNKNOWN {:?} <- {:?}", pair[1], pair[0])
                }
                (None, _) => continue,
            };
            lost.entry(what).or_default().push((seed, index, seen.len()));
        }
    }
    println!(
        "{days} days, {looks} looks, {strict} strict, unknown {unknown}, two {two}, {} lost",
        lost.values().map(Vec::len).sum::<usize>()
    );
    let mut kinds: Vec<_> = lost.iter().collect();
    kinds.sort_by_key(|(_, seeds)| usize::MAX - seeds.len());
    for (what, seeds) in kinds {
        println!("{} times: {what}\n   {:?}", seeds.len(), &seeds[..seeds.len().min(5)]);
    }
    assert!(lost.is_empty());
}
