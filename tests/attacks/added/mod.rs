//! What people add to the record of a run on its page: the mark that the command line would have
//! written, from whoever may, from a page of the panel, once.

mod pruned;
mod refused;

use std::path::{Path, PathBuf};
use std::process::Command;
use std::sync::OnceLock;

use evenpass::record::{Mark, MarkRecord, Of, Said, Store, Verdict};
use serde_json::Value;

use crate::person::{AWAY, Browser};
use crate::raw::Answer;
use crate::script::TITLE;
use crate::served::Served;

/// The shipped short job with limits.
const LIMITS: &str = "
[inspection]
thickness = { from = \"0.05 mm\", to = \"0.30 mm\" }
run_out = \"0.05 mm\"
";
/// Where the page of the run is.
const PAGE: &str = "/records/latest";

type Fields<'a> = &'a [(&'a str, &'a str)];

fn config() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("config")
}

/// The command line, at a file of records; it must be done.
fn told(records: &Path, arguments: &[&str]) -> String {
    let program = Command::new(env!("CARGO_BIN_EXE_evenpass"))
        .args(arguments)
        .args(["--records", records.to_str().expect("a path")])
        .output()
        .expect("the program runs");
    let said = String::from_utf8_lossy(&program.stdout).into_owned();
    let complained = String::from_utf8_lossy(&program.stderr);
    assert_eq!(program.status.code(), Some(0), "{arguments:?}\n{said}\n{complained}");
    said
}

/// Records with a complete run of the short job with limits, on the twin.
fn sprayed() -> &'static Path {
    static ONCE: OnceLock<(tempfile::TempDir, PathBuf)> = OnceLock::new();
    let (_, file) = ONCE.get_or_init(|| {
        let folder = tempfile::tempdir().expect("a folder");
        let (file, recipe) = (folder.path().join("one.sqlite"), folder.path().join("job.toml"));
        let short = std::fs::read_to_string(config().join("recipes/short-job.toml")).expect("read");
        std::fs::write(&recipe, short + LIMITS).expect("written");
        let (catalogue, recipe) = (config(), recipe.display().to_string());
        let catalogue = ["--catalogue", catalogue.to_str().expect("a path")];
        told(&file, &[&["run", &recipe, "--pace", "1000"], &catalogue[..]].concat());
        (folder, file)
    });
    file
}

fn marks(records: &Path) -> Vec<MarkRecord> {
    let store = Store::open_existing(records).expect("records");
    store.marks(Of::Run(&store.find("latest").expect("a run"))).expect("marks")
}

/// A mark without its instant, and whether it was taken back.
fn compared(kept: &MarkRecord) -> (i64, String, Option<i64>) {
    let at = "2026-11-30T00:00:00Z".parse().expect("RFC 3339");
    let mark = Mark { at, ..kept.mark.clone() };
    (kept.number, format!("{mark:?}"), kept.taken_back_by)
}

fn accepted(answer: &Answer) {
    assert_eq!(answer.status, 200, "{answer:?}");
    let reply: Value = serde_json::from_str(&answer.body).expect("JSON");
    assert_eq!(reply["answer"], "accepted", "{answer:?}");
}

/// What the page says was added, and what follows.
fn added(page: &Answer) -> &str {
    let (_, rest) = page.body.split_once("<section class=\"added\">").expect("what was added");
    rest.split("</section>").next().expect("its beginning")
}

fn reply(answer: &Answer) -> Value {
    serde_json::from_str(&answer.body).unwrap_or_else(|_| panic!("{answer:?}"))
}

/// Each of what can be added, as a form sends it and as the command line is told it.
const BOTH: [(Fields<'static>, &[&str]); 11] = [
    (
        &[
            ("add", "diameters"),
            ("at.0", "570 mm"),
            ("diameter.0", "22.31 mm"),
            ("at.1", ""),
            ("temperature", "120 degC"),
            ("temperature_within", "8 K"),
            ("gauge", "M-17"),
        ],
        &[
            "check",
            "latest",
            "--diameter",
            "570 mm=22.31 mm",
            "--temperature",
            "120 degC",
            "--temperature-within",
            "8 K",
            "--gauge",
            "M-17",
        ],
    ),
    (
        &[
            ("add", "thickness"),
            ("at.0", "564 mm"),
            ("reading.0", "0.12 mm"),
            // A line that was left empty between two is none.
            ("at.1", ""),
            ("reading.1", ""),
            ("at.2", "22.68 in"),
            ("reading.2", "40 um"),
            ("stage", "finished"),
        ],
        &["thickness", "latest", "--reading", "564 mm=0.12 mm", "--reading", "22.68 in=40 um"],
    ),
    (
        &[("add", "hardness"), ("at.0", "570 mm"), ("reading.0", "577 HV0.3"), ("coat", "0.12 mm")],
        &["hardness", "latest", "--reading", "570 mm=577 HV0.3", "--coat", "0.12 mm"],
    ),
    (&[("add", "run-out"), ("run_out", "0.03 mm")], &["note", "run-out", "latest", "0.03 mm"]),
    (
        &[("add", "dye-check"), ("result", "indications"), ("showed", "two dots at the tail")],
        &["note", "dye-check", "latest", "indications", "--words", "two dots at the tail"],
    ),
    (
        &[("add", "hold-point"), ("point", "bore after fusing")],
        &["note", "hold-point", "latest", "bore after fusing"],
    ),
    (&[("add", "release"), ("number", "6")], &["note", "release", "latest", "6"]),
    (
        &[("add", "coupon"), ("coupon", "C-12"), ("words", "bent, no crack")],
        &["note", "coupon", "latest", "C-12", "bent, no crack"],
    ),
    (
        &[("add", "particular"), ("name", "drawing"), ("words", "4711 issue C")],
        &["note", "particular", "latest", "drawing", "4711 issue C"],
    ),
    (
        &[("add", "decide"), ("verdict", "hold"), ("reason", "waits for the inspector")],
        &["decide", "latest", "hold", "--reason", "waits for the inspector"],
    ),
    (
        &[("add", "take-back"), ("number", "5"), ("reason", "another part")],
        &["take-back", "5", "--reason", "another part"],
    ),
];

#[test]
fn what_is_entered_on_the_page_is_the_mark_that_the_command_line_writes() {
    let served = Served::after(sprayed());
    let folder = tempfile::tempdir().expect("a folder");
    let typed = folder.path().join("typed.sqlite");
    std::fs::copy(sprayed(), &typed).expect("copied");
    // No seat is asked for, nor that they are at the machine.
    let inspector = Browser::from(&served, "Operator", &[AWAY]);
    for (fields, arguments) in BOTH {
        accepted(&inspector.post(PAGE, fields));
        let mut whole = vec!["records"];
        whole.extend(arguments);
        whole.extend(["--person", "C. Operator"]);
        let catalogue = config().display().to_string();
        if arguments[0] == "check" {
            whole.extend(["--catalogue", catalogue.as_str()]);
        }
        told(&typed, &whole);
    }
    let (page, line) = (marks(&served.records()), marks(&typed));
    assert_eq!(page.len(), BOTH.len());
    for (page, line) in page.iter().zip(&line) {
        println!("{}: {}", page.number, page.mark.said);
        assert_eq!(compared(page), compared(line));
    }
    assert_eq!(line.len(), page.len());
    assert!(matches!(page[0].mark.said, Said::CoatChecked { .. }), "{:?}", page[0]);

    // All of it is on the page, with who and by whom it was taken back; and the record is whole.
    let page = inspector.get(PAGE);
    let shown = added(&page);
    for words in [
        "hold: waits for the inspector",
        "C. Operator",
        "coat checked in ",
        "gauge M-17: nobody has told when it was calibrated",
        "577 HV0.3 at 570 mm",
        "hold point 6 released",
        "taken back by C. Operator (11): another part",
        "thickness: found 0.04 mm, limits 0.05 mm to 0.3 mm",
    ] {
        assert!(shown.contains(words), "{words} is not in {shown}");
    }
    let verified = told(&served.records(), &["records", "verify"]);
    println!("{verified}");
    let flaws = Store::open_existing(&served.records()).expect("records").verify(None);
    assert_eq!(flaws.expect("read").flaws, []);
    served.wrote("an act", |act| {
        act.person == "C. Operator" && act.what.contains("record latest: decide: number 10")
    });
}

#[test]
fn a_deviation_is_signed_by_an_engineer_and_the_part_passes_then() {
    let served = Served::after(sprayed());
    let (operator, engineer) = (Browser::of(&served, "Operator"), Browser::of(&served, "Engineer"));
    let thin =
        [("add", "thickness"), ("at.0", "570 mm"), ("reading.0", "0.04 mm"), ("stage", "finished")];
    accepted(&operator.post(PAGE, &thin));
    accepted(&operator.post(PAGE, &[("add", "hold-point"), ("point", "bore")]));
    let pass = [("add", "decide"), ("verdict", "pass"), ("reason", "")];
    let open = reply(&operator.post(PAGE, &pass));
    assert_eq!(open["answer"], "denied", "{open}");
    for words in ["hold point 2 is not released: bore", "found 0.04 mm", "no deviation is signed"] {
        assert!(open["why"].as_str().expect("words").contains(words), "{words}: {open}");
    }
    let signed = [
        ("add", "deviation"),
        ("words", "thin at the tail"),
        ("limit", "thickness"),
        ("reason", "customer agrees"),
        ("from", "0.05 mm"),
        ("to", ""),
    ];
    let refused = operator.post(PAGE, &signed);
    assert_eq!(refused.status, 403, "{refused:?}");
    served.wrote_refused("record latest: deviation", "this needs an engineer");
    assert_eq!(marks(&served.records()).len(), 2);
    // They find no form for it either.
    let form = "value=\"deviation\"";
    assert!(!operator.get(PAGE).body.contains(form) && engineer.get(PAGE).body.contains(form));

    accepted(&engineer.post(PAGE, &signed));
    accepted(&operator.post(PAGE, &[("add", "release"), ("number", "2")]));
    accepted(&operator.post(PAGE, &pass));
    let kept = marks(&served.records());
    let decided = kept.last().expect("a decision");
    assert_eq!(decided.mark.said, Said::Decided { verdict: Verdict::Pass, reason: String::new() });
    assert_eq!(kept[2].mark.person, "B. Engineer");
    assert!(operator.get(PAGE).body.contains("Nothing stands against a pass."));
}

#[test]
fn what_a_person_typed_is_a_text_on_the_page() {
    let served = Served::after(sprayed());
    let operator = Browser::of(&served, "Operator");
    for fields in [
        &[("add", "hold-point"), ("point", TITLE)][..],
        &[("add", "particular"), ("name", TITLE), ("words", TITLE)],
        &[("add", "decide"), ("verdict", "hold"), ("reason", TITLE)],
        &[("add", "take-back"), ("number", "2"), ("reason", TITLE)],
    ] {
        accepted(&operator.post(PAGE, fields));
    }
    let page = operator.get(PAGE);
    for runs in ["<script>alert", "<img src=x"] {
        assert!(!page.body.contains(runs), "{runs} is on the page; added: {}", added(&page));
    }
    assert!(added(&page).matches("&lt;script&gt;alert").count() >= 5, "{}", added(&page));
}

#[test]
fn whoever_reads_inches_reads_what_was_measured_in_them_and_words_as_they_were_written() {
    let served = Served::after(sprayed());
    let operator = Browser::of(&served, "Operator");
    let metric = "note 12.7 mm and 100 degC";
    for fields in [
        &[("add", "run-out"), ("run_out", "0.03 mm")][..],
        &[("add", "hold-point"), ("point", metric)],
        &[("add", "decide"), ("verdict", "hold"), ("reason", metric)],
        &[
            ("add", "diameters"),
            ("at.0", "570 mm"),
            ("diameter.0", "22.31 mm"),
            ("temperature", "120 degC"),
        ],
    ] {
        accepted(&operator.post(PAGE, fields));
    }
    let units = [("length", "in"), ("temperature", "degF"), ("pressure", "psi")];
    accepted(&operator.post("/units", &units));
    let page = operator.get(PAGE);
    let page = added(&page);
    let hold = format!("hold: {metric}");
    for words in ["run-out 0.0012 in", "at 248 \u{b0}F", "22.441 in", metric, hold.as_str()] {
        assert!(page.contains(words), "{words} is not in {page}");
    }
    let stands = format!("hold point 2 is not released: {metric}");
    assert!(page.contains(&stands), "{page}");
    let refused = reply(&operator.post(PAGE, &[("add", "diameters"), ("at.0", "570 mm")]));
    assert_eq!(refused["field"], "diameter.0", "{refused}");
    let off = [("add", "diameters"), ("at.0", "20 mm"), ("diameter.0", "22.31 mm")];
    let refused = reply(&operator.post(PAGE, &off));
    assert!(refused["why"].as_str().expect("words").contains("accepted: 21.97 in"), "{refused}");
}

#[test]
fn before_anybody_was_added_whoever_enters_something_says_who_they_are() {
    let served = Served::without_people(sprayed());
    let visitor = Browser::let_in(&served);
    assert!(visitor.get(PAGE).body.contains("Your name"));
    let point = [("add", "hold-point"), ("point", "bore")];
    let nobody = reply(&visitor.post(PAGE, &point));
    assert_eq!(nobody["field"], "person", "{nobody}");
    assert!(marks(&served.records()).is_empty());
    accepted(&visitor.post(PAGE, &[&point[..], &[("person", "D. Visitor")]].concat()));
    assert_eq!(marks(&served.records())[0].mark.person, "D. Visitor");
}
