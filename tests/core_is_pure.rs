//! The deciding core has no clock, thread, file, socket or randomness: its manifest names only
//! crates that have none, and its sources reach for none.

#![expect(
    clippy::unwrap_used,
    clippy::string_slice,
    reason = "a helper of tests fails by panicking, as a test does"
)]

use std::fs;
use std::path::{Path, PathBuf};

/// What the core may depend on, and why each is pure.
const ALLOWED: &[(&str, &str)] = &[
    ("crc", "a table and arithmetic"),
    ("serde", "values to and from values"),
    ("serde_json", "values to and from text"),
    ("statig", "a state machine without I/O"),
    ("strsim", "distances between texts"),
    ("toml", "text to values"),
    ("libm", "arithmetic"),
    ("annotate-snippets", "text to text"),
];

/// What must not stand in the core's sources outside tests.
const BANNED: &[&str] = &[
    "std::time::Instant",
    "std::time::SystemTime",
    "Instant::now",
    "SystemTime::now",
    "std::thread",
    "std::fs",
    "std::net",
    "std::process",
    "std::env",
    "std::os::",
    "std::io::stdin",
    "std::io::stdout",
    "tokio",
    "rand::",
    "HashMap",
    "HashSet",
    "thread_local!",
    "static mut",
    "OnceLock",
    "LazyLock",
];

fn sources(folder: &Path, found: &mut Vec<PathBuf>) {
    for item in fs::read_dir(folder).unwrap() {
        let path = item.unwrap().path();
        if path.is_dir() {
            // Folders of that name hold the modules' own tests.
            if path.file_name().is_none_or(|name| name != "tests") {
                sources(&path, found);
            }
        } else if path.extension().is_some_and(|ending| ending == "rs") {
            found.push(path);
        }
    }
}

/// The banned words in a source, with their lines; comments and test modules do not count.
fn breaches(source: &str) -> Vec<(usize, &'static str)> {
    let mut found = Vec::new();
    for (index, line) in source.lines().enumerate() {
        if line.trim_start().starts_with("#[cfg(test)]") {
            break;
        }
        let code = line.split("//").next().unwrap_or_default();
        let stands = |word: &&&str| {
            code.match_indices(**word).any(|(place, _)| {
                let before = code[..place].chars().next_back();
                !before.is_some_and(|before| before.is_alphanumeric() || before == '_')
            })
        };
        found.extend(BANNED.iter().filter(stands).map(|word| (index + 1, *word)));
    }
    found
}

#[test]
fn the_core_depends_on_pure_crates_alone() {
    let manifest = include_str!("../src/core/Cargo.toml");
    let dependencies =
        manifest.split("[dependencies]").nth(1).unwrap().split("\n[").next().unwrap();
    let mut counted = 0;
    for line in dependencies.lines().filter(|line| line.contains('=')) {
        let name = line.split('=').next().unwrap().trim();
        assert!(
            ALLOWED.iter().any(|(allowed, _)| *allowed == name),
            "src/core/Cargo.toml depends on `{name}`, which is not among the crates known to be \
             pure; do it in the shell, or add it here with the reason why it is pure"
        );
        counted += 1;
    }
    assert!(counted > 0, "no dependency was found: the manifest's form has changed");
}

#[test]
fn the_core_reaches_for_no_clock_thread_file_socket_or_randomness() {
    let mut files = Vec::new();
    sources(&Path::new(env!("CARGO_MANIFEST_DIR")).join("src/core/src"), &mut files);
    assert!(files.len() > 20, "only {} sources were found", files.len());
    for file in files {
        let found = breaches(&fs::read_to_string(&file).unwrap());
        assert!(
            found.is_empty(),
            "{} reaches out of the core: {found:?}; take the value or the time as an argument",
            file.display()
        );
    }
}

#[test]
fn a_planted_clock_is_caught() {
    let planted = "fn late() -> bool {\n    std::time::Instant::now().elapsed().as_secs() > 1\n}\n";
    let found = breaches(planted);
    assert!(found.contains(&(2, "Instant::now")), "{found:?}");
}
