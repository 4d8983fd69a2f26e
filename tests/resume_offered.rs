//! A run whose program was killed is offered to a person, on the command line: what lies on the part
//! is told, what is lacking is refused with nothing moved and nothing written, and the rest of it, once
//! chosen, completes in a record that names the first. A `serve` that is started after it offers the
//! same on its pages, and loads the rest by a choice. Real processes on the embedded twin.

#![allow(
    clippy::panic,
    clippy::expect_used,
    clippy::indexing_slicing,
    clippy::print_stdout,
    reason = "a test that cannot go on fails, and prints what it found"
)]

use std::io::{BufRead as _, BufReader};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Output, Stdio};
use std::time::{Duration, Instant};

use evenpass::record::{Of, Outcome, RunId, RunRecord, Said, Store};
use evenpass_core::ledger::{Entry, EntryKind};
use evenpass_core::resume::Choice;

/// The short job takes 170 s of life.
const PACE: &str = "40";
/// At this one the second pass lasts for 0.4 s, in which its process is killed.
const TO_BE_KILLED: &str = "10";

struct Scene {
    folder: tempfile::TempDir,
}

/// Waits until the run whose words these are says that this pass begins.
fn comes_to(lines: &mut impl Iterator<Item = String>, pass: usize) {
    let begins = format!("pass {pass} begins");
    assert!(lines.any(|line| line.contains(&begins)), "it never came to pass {pass}");
}

impl Scene {
    /// A run of the short job in a process of its own, and what it says, line by line.
    fn underway() -> (Self, Child, impl Iterator<Item = String>) {
        let scene = Self { folder: tempfile::tempdir().expect("a folder") };
        let mut child = scene
            .run(&["config/recipes/short-job.toml", "--pace", TO_BE_KILLED])
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .expect("evenpass");
        let said = BufReader::new(child.stdout.take().expect("its standard output"));
        (scene, child, said.lines().map_while(Result::ok))
    }

    /// A run of the short job that was killed as its second pass had begun.
    fn killed_in_pass_two() -> Self {
        let (scene, mut child, mut lines) = Self::underway();
        comes_to(&mut lines, 2);
        child.kill().expect("kill");
        child.wait().expect("dead");
        scene
    }

    /// A run of the short job that was killed in its second pass, while another program had held the
    /// records since its first.
    fn killed_while_the_records_were_held() -> Self {
        let (scene, mut child, mut lines) = Self::underway();
        comes_to(&mut lines, 1);
        let other = rusqlite::Connection::open(scene.records()).expect("another program");
        other.busy_timeout(Duration::from_secs(60)).expect("patient");
        other.execute_batch("BEGIN IMMEDIATE").expect("holds the records");
        comes_to(&mut lines, 2);
        let run = scene.runs().pop().expect("a run");
        let mark = scene.folder.path().join(format!("records.sqlite-{run}.running"));
        let size = |mark: &Path| std::fs::metadata(mark).expect("its mark").len();
        let before = size(&mark);
        let begun = Instant::now();
        while !std::fs::read_to_string(&mark).expect("its mark").contains("\"pass\":[2,2]") {
            assert!(begun.elapsed() < Duration::from_secs(30), "how far it is was never written");
            std::thread::sleep(Duration::from_millis(20));
        }
        assert_eq!(size(&mark), before, "no new space is needed");
        child.kill().expect("kill");
        child.wait().expect("dead");
        scene
    }

    fn records(&self) -> PathBuf {
        self.folder.path().join("records.sqlite")
    }

    fn evenpass(&self, verb: &[&str]) -> Command {
        let mut command = Command::new(env!("CARGO_BIN_EXE_evenpass"));
        command.current_dir(env!("CARGO_MANIFEST_DIR")).args(verb).arg("--records");
        command.arg(self.records()).stdin(Stdio::null()).stdout(Stdio::null());
        command
    }

    fn run(&self, options: &[&str]) -> Command {
        let mut command = self.evenpass(&["run", "--alone", "--rig", "config/rigs/bench.toml"]);
        command.args(["--catalogue", "config"]).args(options);
        command
    }

    fn resume(&self, options: &[&str]) -> Output {
        self.run(&["--resume", "latest", "--pace", PACE])
            .args(options)
            .stdout(Stdio::piped())
            .output()
            .expect("evenpass")
    }

    fn store(&self) -> Store {
        Store::open_existing(&self.records()).expect("the records")
    }

    fn runs(&self) -> Vec<RunId> {
        self.store().runs().expect("runs").into_iter().map(|run| run.id).collect()
    }

    fn record(&self, id: &RunId) -> RunRecord {
        self.store().run(id).expect("the record")
    }

    fn shown(&self, id: &RunId) -> String {
        let mut command = self.evenpass(&["records", "show", id.as_str()]);
        let shown = command.stdout(Stdio::piped()).output().expect("evenpass");
        String::from_utf8_lossy(&shown.stdout).into_owned()
    }
}

fn text(of: &[u8]) -> String {
    String::from_utf8_lossy(of).into_owned()
}

/// All that a person has to say to go on.
const ALL: [&str; 10] = [
    "--choose",
    "go-on",
    "--person",
    "A. Fitter",
    "--stood",
    "unknown",
    "--datum",
    "558.2 mm",
    "--surface",
    "seen, bright",
];

/// The same with one option's word changed, or left out where there is none.
fn but(option: &str, word: Option<&'static str>) -> Vec<&'static str> {
    let pairs = ALL.chunks(2).filter(|pair| word.is_some() || pair[0] != option);
    pairs
        .flat_map(|pair| [pair[0], word.filter(|_| pair[0] == option).unwrap_or(pair[1])])
        .collect()
}

#[test]
fn a_killed_run_is_told_refused_until_all_is_seen_and_then_completed_in_a_record_that_names_it() {
    let scene = Scene::killed_in_pass_two();
    let first = scene.runs().pop().expect("a run");
    assert_eq!(scene.record(&first).summary.outcome, Outcome::Interrupted);
    assert!(scene.shown(&first).contains("nobody has decided about its part"));

    // What is lacking or wrong, with the option that gives it; nothing is written by it.
    let refused = [
        (vec![], "--choose go-on|end-here|strip"),
        (but("--person", None), "--person NAME"),
        (but("--stood", None), "--stood PLACE"),
        (but("--stood", Some("565 mm")), "--stood: found \"565 mm\""),
        (but("--stood", Some("500 mm, powered")), "--stood PLACE: where the torch was found"),
        (but("--stood", Some("9999 mm, without power")), "it cannot have come by itself"),
        (but("--datum", Some("-0.2 mm")), "found -0.20 mm, accepted is 558.0 mm within 0.5 mm"),
        (but("--datum", None), "--datum LENGTH: the datum check"),
        (but("--datum", Some("558.9 mm")), "found 558.90 mm, accepted is 558.0 mm within 0.5 mm"),
        (but("--datum", Some("558")), "--datum: "),
        (but("--surface", None), "--surface WORDS: the surface"),
        (but("--choose", Some("later")), "accepted: go-on, end-here, strip"),
    ];
    for (options, wanted) in refused {
        let told = scene.resume(&options);
        let why = text(&told.stderr);
        assert_eq!(told.status.code(), Some(2), "{options:?}: {why}");
        assert!(why.contains(wanted), "{options:?}: {why}");
        assert_eq!(scene.runs(), std::slice::from_ref(&first), "{options:?} began a run");
        assert!(scene.store().marks(Of::Run(&first)).expect("marks").is_empty(), "{options:?}");
    }

    let done = scene.resume(&ALL);
    let (out, why) = (text(&done.stdout), text(&done.stderr));
    println!("{out}");
    assert_eq!(done.status.code(), Some(0), "{out}\n{why}");
    for told in ["was cut off: pass 2 of 2 of band", "Coat so far", "when in doubt: ", "complete"] {
        assert!(out.contains(told), "no \"{told}\" in\n{out}");
    }
    let second = scene.runs().pop().expect("a run");
    let record = scene.record(&second);
    assert_eq!(record.summary.outcome, Outcome::Complete);
    assert_eq!(record.particulars["resumes"], first.to_string());
    let passes = record.summary.passes_done;
    assert_eq!(passes, 1, "pass 1 lay there already");
    evenly_coated(&record);
    nothing_moved_before_its_start(&record);

    // The choice and what was seen stand at the first run, which is settled by them.
    let marks = scene.store().marks(Of::Run(&first)).expect("marks");
    let [mark] = marks.as_slice() else { panic!("{marks:?}") };
    let Said::Settled { choice: Choice::GoOn, checked, .. } = &mark.mark.said else {
        panic!("{mark:?}")
    };
    assert_eq!(mark.mark.person, "A. Fitter");
    assert_eq!(checked.surface.as_deref(), Some("seen, bright"));
    assert_eq!(checked.datum.map(|at| at.to_string()).as_deref(), Some("558.2 mm"));
    let shown = scene.shown(&first);
    assert!(shown.contains(&format!("run {second}")), "{shown}");
    assert!(!shown.contains("nobody has decided"), "{shown}");
    let again = scene.resume(&ALL);
    assert_eq!(again.status.code(), Some(2));
    assert!(text(&again.stderr).contains("is open to be taken up"), "{}", text(&again.stderr));
}

/// What the twin says of the coat: both passes, for the part came with the first one on it. Where the
/// torch stood is not known, and a seam may be off.
fn evenly_coated(record: &RunRecord) {
    let told = record.totals["coat of band"].as_str().expect("the coat");
    let off = told.split_once('(').and_then(|(_, off)| off.split_once(" %")).expect("a share");
    let off: f64 = off.0.parse().expect("a figure");
    assert!(off.abs() < 10.0, "{told}");
}

/// Up to the first start, whoever gave it, only lamps went on, and the torch stayed at the park.
fn nothing_moved_before_its_start(record: &RunRecord) {
    let is_start =
        |entry: &&Entry| entry.kind == EntryKind::Request && entry.data["request"] == "start";
    let start = record.entries.iter().find(is_start).expect("a start").number;
    for entry in record.entries.iter().filter(|entry| entry.number < start) {
        let coil = entry.data.get("coil").and_then(|coil| coil.as_str());
        assert!(coil.is_none_or(|coil| coil.starts_with("lamp_")), "{entry:?}");
        assert_ne!(entry.data.get("contact").and_then(|c| c.as_str()), Some("park_switch"));
        if entry.kind == EntryKind::Sample {
            let still = [("spindle", "0 rpm"), ("fuel", "0 bar"), ("oxygen", "0 bar")];
            assert!(still.iter().all(|(what, none)| entry.data[*what] == *none), "{entry:?}");
        }
    }
}

#[test]
fn a_killed_run_that_is_ended_or_stripped_is_settled_and_begins_nothing() {
    let scene = Scene::killed_in_pass_two();
    let first = scene.runs().pop().expect("a run");
    // Another job is run meanwhile: it is told, and the first one stays open.
    let mut other = scene.run(&["config/recipes/short-job.toml", "--pace", "1000"]);
    let other = other.stdout(Stdio::piped()).output().expect("evenpass");
    let told = format!("{}{}", text(&other.stdout), text(&other.stderr));
    assert_eq!(other.status.code(), Some(0), "{told}");
    assert!(told.contains(&format!("run {first} did not come to its end")), "{told}");
    let reason = ["--reason", "the customer cancelled"];
    let stripped = scene.resume(&[&["--choose", "strip", "--person", "Ann"][..], &reason].concat());
    assert_eq!(stripped.status.code(), Some(0), "{}", text(&stripped.stderr));
    assert!(text(&stripped.stdout).contains("strip and blast the part"));
    assert_eq!(scene.runs().len(), 2);
    assert!(scene.shown(&first).contains("the customer cancelled"));
    let again = scene
        .run(&["--resume", first.as_str(), "--choose", "end-here", "--person", "Ann"])
        .output();
    let again = again.expect("evenpass");
    assert_eq!(again.status.code(), Some(2));
    assert!(text(&again.stderr).contains("it is settled"), "{}", text(&again.stderr));
    let path: &Path = &scene.records();
    assert!(Store::open_existing(path).expect("open").verify(None).expect("read").flaws.is_empty());
}

#[test]
fn what_was_sprayed_while_the_records_refused_is_never_offered_to_be_sprayed_again() {
    let scene = Scene::killed_while_the_records_were_held();
    let first = scene.runs().pop().expect("a run");
    assert_eq!(scene.record(&first).passes.len(), 1, "the journal ends in pass 1");
    let refused = scene.resume(&ALL);
    let (out, why) = (text(&refused.stdout), text(&refused.stderr));
    assert_eq!(refused.status.code(), Some(2), "{out}\n{why}");
    println!("{out}\n{why}");
    assert!(why.contains("it cannot go on: the journal ends in pass 1"), "{why}");
    assert!(why.contains("pass 2 of step 2 was begun"), "{why}");
    assert_eq!(scene.runs(), std::slice::from_ref(&first), "a run was begun");
    let shown = scene.shown(&first);
    assert!(shown.contains("Entries that were not kept"), "{shown}");
    assert!(shown.contains("pass 2 of step 2 was begun"), "{shown}");
    // The page of one that waits says the same, and does not offer to go on.
    let served = Served::start(&scene);
    let page = served.run_page("it is offered", |page| page.contains("Did not come to its end"));
    assert!(page.contains("pass 2 of step 2 was begun"), "{page}");
    assert!(page.contains("value=\"strip\"") && !page.contains("value=\"go-on\""), "{page}");
    // Whoever decides of its part elsewhere settles it there too.
    let reason = ["--person", "Ann", "--reason", "nobody knows what lies on it"];
    let mut decided = scene.evenpass(&["records", "decide", first.as_str(), "scrap"]);
    let decided = decided.args(reason).output().expect("evenpass");
    assert_eq!(decided.status.code(), Some(0), "{}", text(&decided.stderr));
    served.run_page("it is settled", |page| !page.contains("Did not come to its end"));
    drop(served);
    let again = scene.resume(&["--choose", "strip", "--person", "Ann"]);
    assert_eq!(again.status.code(), Some(2));
    assert!(text(&again.stderr).contains("is open to be taken up"), "{}", text(&again.stderr));
}

#[test]
fn a_copy_of_the_records_without_the_mark_of_its_run_offers_no_pass_to_be_sprayed() {
    let scene = Scene::killed_in_pass_two();
    let elsewhere = Scene { folder: tempfile::tempdir().expect("a folder") };
    // Nobody has looked at the records since, which would have ended the run in them.
    for ending in ["", "-wal"] {
        let name = |scene: &Scene| scene.folder.path().join(format!("records.sqlite{ending}"));
        if name(&scene).exists() {
            std::fs::copy(name(&scene), name(&elsewhere)).expect("copied");
        }
    }
    let refused = elsewhere.resume(&ALL);
    let why = text(&refused.stderr);
    println!("{why}");
    assert_eq!(refused.status.code(), Some(2), "{why}");
    assert!(why.contains("its mark beside the records is missing"), "{why}");
    assert_eq!(elsewhere.runs().len(), 1, "a run was begun");
    // Where the mark is, it goes on.
    assert_eq!(scene.resume(&ALL).status.code(), Some(0));
}

#[test]
fn what_is_said_of_a_run_that_was_cut_off_begins_nothing_where_no_run_is_named() {
    let folder = tempfile::tempdir().expect("a folder");
    let records = folder.path().join("runs.sqlite");
    let recipe = "config/recipes/short-job.toml";
    for (options, wanted) in [
        (&["run", recipe, "--choose", "go-on", "--stood", "unknown"][..], "--choose"),
        (&["run", recipe, "--datum", "-0.2 mm"], "--datum"),
        (&["run", "--batch", "B", "--person", "Ann", "--choose", "strip"], "--choose"),
        (&["run", recipe, "--unblasted", "why", "--person", "Ann"], "--unblasted"),
        (&["rehearse", recipe, "--between", "3 min"], "--between"),
    ] {
        let mut command = Command::new(env!("CARGO_BIN_EXE_evenpass"));
        let told = command.args(options).arg("--records").arg(&records).output().expect("evenpass");
        let why = text(&told.stderr);
        assert_eq!(told.status.code(), Some(2), "{options:?}: {why}");
        assert!(why.starts_with(wanted) && why.contains("accepted: "), "{options:?}: {why}");
        assert!(!records.exists(), "{options:?} began something");
    }
}

/// A `serve` with the records of a scene, and somebody at its pages.
struct Served {
    child: Child,
    agent: ureq::Agent,
    address: String,
    cookie: String,
    form: String,
    asked: u32,
}

impl Served {
    fn start(scene: &Scene) -> Self {
        let mut command = scene.evenpass(&["serve", "--listen", "127.0.0.1:0"]);
        command.args(["--recipes", "config/recipes", "--catalogue", "config"]);
        command.args(["--rig", "config/rigs/bench.toml"]);
        let mut child =
            command.stdout(Stdio::piped()).stderr(Stdio::null()).spawn().expect("evenpass");
        let mut lines = BufReader::new(child.stdout.take().expect("its output")).lines();
        let address = lines
            .find_map(|line| Some(line.ok()?.split_once("http://")?.1.trim_end_matches('/').into()))
            .expect("an address");
        let agent = ureq::Agent::config_builder()
            .max_redirects(0)
            .max_redirects_will_error(false)
            .http_status_as_error(false)
            .build()
            .into();
        let (cookie, form) = (String::new(), String::new());
        let mut served = Self { child, agent, address, cookie, form, asked: 0 };
        let begun = served.agent.get(served.url("/session")).call().expect("a session");
        let cookie = begun.headers()["set-cookie"].to_str().expect("a cookie");
        served.cookie = cookie.split(';').next().unwrap_or_default().to_owned();
        let session = served.json("/session");
        served.form = session["form"].as_str().expect("a token").to_owned();
        served
    }

    fn url(&self, path: &str) -> String {
        format!("http://{}{path}", self.address)
    }

    fn page(&self, path: &str) -> String {
        let asked = self.agent.get(self.url(path)).header("cookie", &self.cookie);
        asked.call().expect("a page").body_mut().read_to_string().expect("its text")
    }

    /// The first page once it is so.
    fn run_page(&self, what: &str, is_so: impl Fn(&str) -> bool) -> String {
        let give_up = Instant::now() + Duration::from_secs(60);
        loop {
            let page = self.page("/");
            if is_so(&page) {
                return page;
            }
            assert!(Instant::now() < give_up, "never that {what}: {page}");
            std::thread::sleep(Duration::from_millis(100));
        }
    }

    fn json(&self, path: &str) -> serde_json::Value {
        serde_json::from_str(&self.page(path)).expect("JSON")
    }

    /// What it answers, in one line.
    fn post(&mut self, path: &str, fields: &[(&str, &str)]) -> String {
        self.asked += 1;
        let (id, form) = (format!("{:032x}", self.asked), self.form.clone());
        let turn = self.json("/state")["turn"].to_string();
        let own = [("form", form.as_str()), ("id", &id), ("turn", &turn)];
        let all = own.into_iter().chain(fields.iter().copied());
        let asked = self.agent.post(self.url(path)).header("cookie", &self.cookie);
        let origin = format!("http://{}", self.address);
        let mut answer = asked.header("origin", &origin).send_form(all).expect("an answer");
        answer.body_mut().read_to_string().expect("its text")
    }
}

impl Drop for Served {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

#[test]
fn a_serve_that_is_started_after_a_kill_offers_the_rest_and_loads_it_by_a_choice_alone() {
    let scene = Scene::killed_in_pass_two();
    let first = scene.runs().pop().expect("a run").to_string();
    let mut served = Served::start(&scene);
    let page = served.run_page("it is offered", |page| page.contains("Did not come to its end"));
    for told in
        [&*first, "pass 2 of 2 of band", "Coat so far", "When in doubt", "home the carriage"]
    {
        assert!(page.contains(told), "no \"{told}\" in {page}");
    }
    let all = [
        ("run", &*first),
        ("choice", "go-on"),
        ("stood", "unknown"),
        ("datum", "558.2 mm"),
        ("surface", "bright"),
    ];
    let told = served.post("/undone", &all);
    assert!(told.contains("refused"), "without the seat: {told}");
    let told = served.post("/seat", &[("act", "take")]);
    assert!(told.contains("accepted"), "{told}");
    let far: Vec<_> = all
        .into_iter()
        .map(|(name, words)| (name, if name == "stood" { "9999 mm, powered" } else { words }))
        .collect();
    let told = served.post("/undone", &far);
    assert!(told.contains("refused") && told.contains("cannot have come by itself"), "{told}");
    for (without, wanted) in [
        ("stood", "say where the torch stood"),
        ("datum", "the datum check"),
        ("surface", "the surface"),
    ] {
        let fields: Vec<_> = all.into_iter().filter(|(name, _)| *name != without).collect();
        let told = served.post("/undone", &fields);
        assert!(told.contains("refused") && told.contains(wanted), "{without}: {told}");
    }
    assert_eq!(served.json("/state")["recipe"], serde_json::Value::Null, "nothing is loaded");
    let told = served.post("/undone", &all);
    assert!(told.contains("\"accepted\""), "{told}");
    let page = served.page("/");
    assert!(page.contains(&format!("the rest of run {first}")), "{page}");
    let before = served.json("/state")["machine"].clone();
    std::thread::sleep(Duration::from_secs(2));
    let after = served.json("/state")["machine"].clone();
    assert_eq!(before["place"], after["place"], "nothing moves by a choice");
    assert_eq!(after["moves"], false, "{after}");
    assert_eq!(after["stage"], "idle", "{after}");
    assert_eq!(scene.runs().len(), 1, "nothing is recorded before a start");
    // Another job instead: they are told, and the run stays open.
    let told = served.post("/load", &[("recipe", "short-job.toml")]);
    assert!(told.contains("still waits") && told.contains(&first), "{told}");
    let told = served.post("/undone", &[("run", &first), ("choice", "strip")]);
    assert!(told.contains("\"accepted\""), "{told}");
    let store = scene.store();
    let id = scene.runs().pop().expect("a run");
    assert!(store.is_settled(&id).expect("read"));
    assert_eq!(store.marks(Of::Run(&id)).expect("marks").len(), 2);
}
