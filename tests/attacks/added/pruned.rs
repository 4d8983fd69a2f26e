//! The page of a run whose entries were put into a file of their own.

use evenpass::record::{Pruned, Store};

use super::{PAGE, sprayed};
use crate::person::Browser;
use crate::served::Served;

#[test]
fn the_page_of_a_run_whose_entries_are_elsewhere_says_where_and_tells_nothing_of_them() {
    let folder = tempfile::tempdir().expect("a folder");
    let file = folder.path().join("pruned.sqlite");
    std::fs::copy(sprayed(), &file).expect("copied");
    let mut store = Store::open_existing(&file).expect("records");
    let run = store.runs().expect("runs").pop().expect("a run");
    let entries = store.run(&run.id).expect("the run").entries.len();
    let pruned = Pruned {
        at: "2026-11-30T00:00:00Z".parse().expect("RFC 3339"),
        person: "B. Engineer".to_owned(),
        entries: entries as u64,
        file: "kept.json".to_owned(),
        digest: "0".repeat(64),
    };
    store.prune(&run, &pruned).expect("pruned");
    drop(store);

    let served = Served::after(&file);
    let operator = Browser::of(&served, "Operator");
    let page = operator.get(PAGE).body;
    for words in ["are not in these records any more", "kept.json", "B. Engineer", "part.csv"] {
        assert!(page.contains(words), "{words} is not on {page}");
    }
    for words in ["passes.csv", "samples.csv", "entries.csv", "<svg", "Fuel"] {
        assert!(!page.contains(words), "{words} is on {page}");
    }
    for (table, status) in [("part.csv", 200), ("passes.csv", 404), ("entries.csv", 404)] {
        assert_eq!(operator.get(&format!("{PAGE}/{table}")).status, status, "{table}");
    }
}
