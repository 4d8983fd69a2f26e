//! The program with its panel, three people, and what it wrote down.

use std::io::{BufRead as _, BufReader};
use std::path::{Path, PathBuf};
use std::process::{ChildStdout, Command, Stdio};
use std::time::{Duration, Instant};

use evenpass::people::{PeopleFile, Person, Pin, PinHash, Role, Units};
use evenpass::record::{ActAnswer, ActRecord, Store};
use serde_json::Value;

use crate::ptys::{Place, Process};
use crate::raw::{Answer, exchange, form, request};

/// Longest that anything here may take.
pub(crate) const PATIENCE: Duration = Duration::from_secs(30);

/// Name, PIN and role of those who may sign in.
pub(crate) const PEOPLE: [(&str, &str, Role); 3] = [
    ("C. Operator", "4711", Role::Operator),
    ("A. Fitter", "80518", Role::Maintenance),
    ("B. Engineer", "271828", Role::Engineer),
];

/// The file of the records, in the folder of all.
const RECORDS: &str = "runs.sqlite";

/// How often is asked what anybody may know, in a flood.
const ALIVE_TRIES: u32 = 50;

/// For how long a stop is asked for, and how soon again where its connection was cut off: as the
/// panel's page does it.
const STOP_ASKED_FOR: Duration = Duration::from_millis(1500);
const STOP_ASKED_AGAIN: Duration = Duration::from_millis(50);

/// A served machine.
pub(crate) struct Served {
    pub(crate) address: String,
    folder: tempfile::TempDir,
    // In the order in which they go: the program before the twin.
    _program: Process,
    _twin: Option<(Process, BufReader<ChildStdout>, Place)>,
}

fn config() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("config")
}

impl Served {
    /// On the embedded twin, so many times faster than life.
    pub(crate) fn on_twin(pace: &str) -> Self {
        Self::start(&["--pace", pace], None)
    }

    /// The same by a rig file.
    pub(crate) fn on_twin_of(rig: &Path, pace: &str) -> Self {
        let rig = rig.display().to_string();
        Self::start(&["--pace", pace, "--rig", &rig], None)
    }

    /// On the embedded twin, with a copy of records in which there are runs.
    pub(crate) fn after(runs: &Path) -> Self {
        let folder = tempfile::tempdir().expect("a folder");
        std::fs::copy(runs, folder.path().join(RECORDS)).expect("copied");
        Self::start_in(folder, &PEOPLE, &["--pace", "1"], None)
    }

    /// The same before anybody may sign in.
    pub(crate) fn without_people(runs: &Path) -> Self {
        let folder = tempfile::tempdir().expect("a folder");
        std::fs::copy(runs, folder.path().join(RECORDS)).expect("copied");
        Self::start_in(folder, &[], &["--pace", "1"], None)
    }

    /// On the twin in another process, over pseudo-terminals.
    pub(crate) fn on_lines() -> Self {
        let place = Place::new();
        let (twin, said) = place.twin("journal", "present");
        let ports = ["field", "motion"].map(|line| format!("{line}={}", place.text(line)));
        Self::start(&["--port", &ports[0], "--port", &ports[1]], Some((twin, said, place)))
    }

    fn start(more: &[&str], twin: Option<(Process, BufReader<ChildStdout>, Place)>) -> Self {
        Self::start_in(tempfile::tempdir().expect("a folder"), &PEOPLE, more, twin)
    }

    fn start_in(
        folder: tempfile::TempDir,
        people: &[(&str, &str, Role)],
        more: &[&str],
        twin: Option<(Process, BufReader<ChildStdout>, Place)>,
    ) -> Self {
        let recipes = folder.path().join("recipes");
        std::fs::create_dir(&recipes).expect("a folder");
        let short = std::fs::read_to_string(config().join("recipes/short-job.toml")).expect("read");
        std::fs::write(recipes.join("short-job.toml"), &short).expect("written");
        let title = "title = \"Short job: test ring\"";
        assert!(short.contains(title));
        let script = short.replace(title, &format!("title = '{}'", crate::script::TITLE));
        std::fs::write(recipes.join("script.toml"), script).expect("written");
        let (records, roll) = (folder.path().join(RECORDS), folder.path().join("p.toml"));
        std::fs::write(&roll, "").expect("written");
        restrict(&roll);
        let file = PeopleFile::of(Some(&roll), &records).expect("a file");
        for (name, pin, role) in people {
            let pin = PinHash::of(&Pin::new(pin).expect("a PIN")).expect("a hash");
            let (name, role, units) = ((*name).to_owned(), *role, Units::default());
            file.change(|people| people.add(Person { name, role, units, pin })).expect("added");
        }
        let texts = [&recipes, &config(), &records, &roll].map(|path| path.display().to_string());
        let [recipes, catalogue, records, roll] = texts.each_ref().map(String::as_str);
        let arguments = [
            &["serve", "--listen", "127.0.0.1:0", "--recipes", recipes, "--catalogue", catalogue],
            &["--records", records, "--people", roll][..],
            more,
        ]
        .concat();
        let mut program = Process::start(&arguments, Stdio::piped());
        let mut lines = BufReader::new(program.0.stdout.take().expect("its output")).lines();
        let address = lines.find_map(|line| {
            Some(line.ok()?.split_once("http://")?.1.trim_end_matches('/').to_owned())
        });
        Self { address: address.expect("an address"), folder, _program: program, _twin: twin }
    }

    /// A file of it, by its name.
    pub(crate) fn file(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    pub(crate) fn get(&self, path: &str, headers: &[(&str, &str)]) -> Answer {
        let line = format!("GET {path}");
        exchange(&self.address, &request(&self.address, &line, headers, b""))
    }

    pub(crate) fn post(
        &self,
        path: &str,
        headers: &[(&str, &str)],
        fields: &[(&str, &str)],
    ) -> Answer {
        let headers = [headers, &[crate::raw::FORM]].concat();
        let body = form(fields);
        let line = format!("POST {path}");
        exchange(&self.address, &request(&self.address, &line, &headers, body.as_bytes()))
    }

    /// The file of the people.
    pub(crate) fn people(&self) -> PathBuf {
        self.folder.path().join("p.toml")
    }

    /// Takes the rights of others at it away.
    pub(crate) fn restrict_people(&self) {
        restrict(&self.people());
    }

    /// A stop from a browser that knows nothing, and how long its answer took. A connection that had
    /// to make room before it said what it wants is made anew, as the panel's page does.
    pub(crate) fn stop(&self) -> (Answer, Duration) {
        let begun = Instant::now();
        loop {
            let answer = self.post("/stop", &[], &[]);
            if answer.status != 0 || begun.elapsed() > STOP_ASKED_FOR {
                return (answer, begun.elapsed());
            }
            std::thread::sleep(STOP_ASKED_AGAIN);
        }
    }

    /// What anybody may know of it. In a flood of connections this one may have to make room; it is
    /// asked for again then.
    pub(crate) fn alive(&self) -> Value {
        for _ in 0..ALIVE_TRIES {
            if let Ok(told) = serde_json::from_str(&self.get("/alive", &[]).body) {
                return told;
            }
        }
        panic!("nothing is told of it in {ALIVE_TRIES} tries");
    }

    pub(crate) fn state(&self) -> String {
        self.alive()["state"].as_str().expect("a text").to_owned()
    }

    /// Waits for a state.
    pub(crate) fn until(&self, what: &str, so: impl Fn(&str) -> bool) {
        let end = Instant::now() + PATIENCE;
        while !so(&self.state()) {
            assert!(Instant::now() < end, "{what} never came: {}", self.state());
            std::thread::sleep(Duration::from_millis(20));
        }
    }

    /// The file of its records.
    pub(crate) fn records(&self) -> PathBuf {
        self.file(RECORDS)
    }

    pub(crate) fn acts(&self) -> Vec<ActRecord> {
        let store = Store::open_existing(&self.records()).expect("records");
        store.acts(10_000).expect("acts")
    }

    /// Waits until an act is on the disk: so asked, and refused because of that.
    pub(crate) fn wrote_refused(&self, what: &str, why: &str) -> ActRecord {
        self.wrote(what, |act| {
            act.what.starts_with(what)
                && matches!(&act.answer, ActAnswer::Refused(said) if said.contains(why))
        })
    }

    /// Waits until an act is on the disk.
    pub(crate) fn wrote(&self, what: &str, so: impl Fn(&ActRecord) -> bool) -> ActRecord {
        let end = Instant::now() + Duration::from_secs(5);
        loop {
            let acts = self.acts();
            if let Some(act) = acts.iter().find(|act| so(act)) {
                return act.clone();
            }
            assert!(
                Instant::now() < end,
                "{what} was not written down; last: {:#?}",
                &acts[..acts.len().min(5)]
            );
            std::thread::sleep(Duration::from_millis(50));
        }
    }

    /// Lets the second go by in which only the first of each kind of refusal is written.
    pub(crate) fn breathe() {
        std::thread::sleep(Duration::from_millis(1300));
    }
}

/// As the program itself makes it: nobody else may read it.
fn restrict(path: &Path) {
    use std::os::unix::fs::PermissionsExt as _;
    std::fs::set_permissions(path, std::fs::Permissions::from_mode(0o600)).expect("restricted");
}

/// Whether a command is there; what needs another is said.
pub(crate) fn printed_machine() {
    let cores = std::thread::available_parallelism().map_or(0, usize::from);
    let first = *crate::ptys::MAY_GO_FIRST;
    let load = Command::new("cat").arg("/proc/loadavg").output().ok();
    let load = load.map_or_else(String::new, |o| String::from_utf8_lossy(&o.stdout).into_owned());
    println!("{cores} processors, real time {first}, load {}", load.trim());
}
