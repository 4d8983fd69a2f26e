//! Bad input: one file for each way to be wrong, and beside it what is said about it.
//!
//! The kind of a file is the first word of its name: `recipe-` files are read against the shipped
//! catalogue and, when that finds nothing, checked with the bench's rig; `rig-` and `catalogue-`
//! files are read alone. With `EVENPASS_BLESS=1` in the environment the texts are written anew;
//! read each of them before committing it.

#![expect(clippy::panic, clippy::expect_used, reason = "a test fails with the file it is about")]

use std::fs;
use std::path::{Path, PathBuf};

use evenpass_core::catalogue::Catalogue;
use evenpass_core::document::Problems;
use evenpass_core::interlock::check_figures;
use evenpass_core::recipe::Recipe;
use evenpass_core::rig::{Rig, check_together};

/// The fewest ways to be wrong that must be covered.
const FEWEST: usize = 30;

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

fn read(path: impl AsRef<Path>) -> String {
    let path = root().join(path);
    fs::read_to_string(&path).unwrap_or_else(|error| panic!("{}: {error}", path.display()))
}

/// The shipped catalogue and the bench.
fn shipped() -> (Catalogue, Rig) {
    let powders = read("config/powders.toml");
    let torches = read("config/torches.toml");
    let files = [("powders.toml", powders.as_str()), ("torches.toml", torches.as_str())];
    let catalogue = Catalogue::read(&files).expect("the shipped catalogue is accepted");
    let rig = Rig::read(&read("config/rigs/bench.toml")).expect("the bench is accepted");
    (catalogue, rig)
}

/// All that is said about a file; empty when nothing forbids it.
fn said(name: &str, text: &str, catalogue: &Catalogue, bench: &Rig) -> String {
    match name.split_once('-').map(|(kind, _)| kind) {
        Some("recipe") => match Recipe::read(text, catalogue) {
            Err(problems) => problems.render(name, text),
            Ok(recipe) => {
                let problems = check_together(&recipe, bench, catalogue);
                if problems.forbid() { problems.render(name, text) } else { String::new() }
            }
        },
        Some("rig") => {
            let figures = |rig: Rig| Some(check_figures(&rig)).filter(Problems::forbid);
            Rig::read(text)
                .map_or_else(Some, figures)
                .map_or_else(String::new, |problems| problems.render(name, text))
        }
        Some("catalogue") => Catalogue::read(&[(name, text)])
            .err()
            .map_or_else(String::new, |problems| problems.render(&[(name, text)])),
        _ => panic!("{name}: no known kind of file"),
    }
}

fn bad_files() -> Vec<PathBuf> {
    let folder = root().join("tests/bad_input");
    let entries = fs::read_dir(&folder).expect("the folder of bad input is there");
    let mut files: Vec<PathBuf> = entries
        .map(|entry| entry.expect("a readable folder").path())
        .filter(|path| path.extension().is_some_and(|extension| extension == "toml"))
        .collect();
    files.sort();
    files
}

#[test]
fn every_way_to_be_wrong_is_named_with_its_place_and_what_to_do() {
    let (catalogue, bench) = shipped();
    let bless = std::env::var_os("EVENPASS_BLESS").is_some();
    let files = bad_files();
    let mut wrong = Vec::new();
    for path in &files {
        let name = path.file_name().and_then(|name| name.to_str()).expect("a plain name");
        let text = fs::read_to_string(path).expect("text");
        let found = said(name, &text, &catalogue, &bench);
        assert!(found.contains("error: "), "{name} is accepted");
        assert!(found.contains(&format!("--> {name}:")), "{name}: no place is named");
        for problem in found.split("\n\n").filter(|problem| problem.contains("error: ")) {
            let helps = problem.contains("= help: ") || problem.contains("= accepted: ");
            assert!(helps, "{name}: nothing says what to do:\n{problem}");
        }
        let golden = path.with_extension("txt");
        if bless {
            fs::write(&golden, &found).expect("the text can be written");
        }
        if fs::read_to_string(&golden).unwrap_or_default() != found {
            wrong.push(format!("{name} now says:\n{found}"));
        }
    }
    println!("{} ways to be wrong", files.len());
    assert!(files.len() >= FEWEST, "only {} files of bad input", files.len());
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn no_text_is_left_of_a_file_that_is_gone() {
    let folder = root().join("tests/bad_input");
    for entry in fs::read_dir(folder).expect("the folder of bad input is there") {
        let path = entry.expect("a readable folder").path();
        assert!(path.with_extension("toml").exists(), "{} belongs to no file", path.display());
    }
}
