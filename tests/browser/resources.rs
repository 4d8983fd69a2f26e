//! What the served program takes of the computer: memory and processor, at rest and in a run at
//! life's own pace. Printed, for whoever changes the program to see; the aim is less than 20 MB of
//! resident memory and less than 5 % of one processor. On a twin of its own it locks no memory; on
//! lines it does, where it may, and all of it is resident then.

use std::io::{BufRead as _, BufReader};
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

use crate::operator::answer_until;
use crate::ptys::Place;
use crate::screen::Screen;

/// How long the processor's share is watched.
const WINDOW: Duration = Duration::from_secs(10);
/// Ticks of a processor's time in a second, as `/proc` counts them (`proc(5)`: 100 on every usual
/// build of the system).
const TICKS_PER_S: f64 = 100.0;
/// Life's own pace.
const PACE: f64 = 1.0;

/// The program, serving the twin to whoever is at this computer.
struct Served {
    child: Child,
    address: String,
    _folder: tempfile::TempDir,
}

impl Served {
    fn start(more: &[&str]) -> Self {
        Self::started(Command::new(env!("CARGO_BIN_EXE_evenpass")), more)
    }

    /// One that may lock no memory, whoever starts it.
    fn unlocked(more: &[&str]) -> Self {
        let mut command = Command::new("setpriv");
        command
            .args(["--bounding-set=-ipc_lock", "prlimit", "--memlock=0"])
            .arg(env!("CARGO_BIN_EXE_evenpass"));
        Self::started(command, more)
    }

    fn started(mut command: Command, more: &[&str]) -> Self {
        let folder = tempfile::tempdir().expect("a folder");
        let config = Path::new(env!("CARGO_MANIFEST_DIR")).join("config");
        let mut child = command
            .args(["serve", "--listen", "127.0.0.1:0", "--records"])
            .arg(folder.path().join("runs.sqlite"))
            .arg("--recipes")
            .arg(config.join("recipes"))
            .arg("--catalogue")
            .arg(config)
            .args(more)
            .stdin(Stdio::null())
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .expect("the program");
        let out = child.stdout.take().expect("piped");
        let mut served = Self { child, address: String::new(), _folder: folder };
        let said = BufReader::new(out).lines().map_while(Result::ok);
        let address = said.filter_map(|line| {
            line.split_once("http://").map(|(_, at)| at.trim_end_matches('/').to_owned())
        });
        served.address = address.take(1).next().expect("an address");
        served
    }

    fn read(&self, name: &str) -> String {
        std::fs::read_to_string(format!("/proc/{}/{name}", self.child.id())).expect("a process")
    }

    /// A figure of its memory, MB.
    fn memory(&self, name: &str) -> f64 {
        let status = self.read("status");
        let line = status.lines().find_map(|line| line.strip_prefix(name)?.strip_prefix(':'));
        let kilobytes = line.and_then(|line| line.trim().strip_suffix(" kB")?.parse::<f64>().ok());
        kilobytes.expect("a figure in kB") * 1024.0 / 1e6
    }

    /// Processor time it has had, s: `utime` and `stime`, the 14th and the 15th figure.
    fn processor(&self) -> f64 {
        let stat = self.read("stat");
        // The name of the program, in brackets, may have anything in it.
        let (_, figures) = stat.rsplit_once(") ").expect("a name in brackets");
        let ticks = figures.split(' ').skip(11).take(2).map(|figure| figure.parse::<f64>());
        ticks.map(|ticks| ticks.expect("a figure")).sum::<f64>() / TICKS_PER_S
    }

    /// Watches it for a while, and prints what it took.
    async fn watch(&self, when: &str) {
        let (begun, before) = (Instant::now(), self.processor());
        tokio::time::sleep(WINDOW).await;
        let share = (self.processor() - before) / begun.elapsed().as_secs_f64() * 100.0;
        let [resident, own, files, most, locked] =
            ["VmRSS", "RssAnon", "RssFile", "VmHWM", "VmLck"].map(|name| self.memory(name));
        println!(
            "{when:<28} {share:>5.2} % of one processor; resident {resident:>5.1} MB ({own:.1} \
             its own, {files:.1} of files), most {most:.1} MB, locked {locked:.1} MB"
        );
    }
}

impl Drop for Served {
    fn drop(&mut self) {
        // It may have ended by itself.
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
#[ignore = "needs chromium and its driver"]
async fn the_served_program_tells_what_it_takes_of_the_computer_at_rest_and_in_a_run() {
    let served = Served::start(&[]);
    tokio::time::sleep(Duration::from_secs(2)).await;
    served.watch("at rest, nobody looks on").await;
    let screen = Screen::at(&format!("http://{}", served.address)).await;
    screen.go("/").await;
    screen.take_seat().await;
    served.watch("at rest, the page Run open").await;
    screen.load("short-job.toml", "Short job: test ring").await;
    screen.make_ready(240.0 / PACE).await;
    screen.ask("start").await;
    answer_until(&screen, "preheating", PACE).await;
    served.watch("preheating, the page Run open").await;
    screen.end().await;
    served.watch("in the run, nobody looks on").await;
    drop(served);
    let place = Place::new();
    let _twin = place.twin("journal", "present");
    let ports = ["field", "motion"].map(|line| format!("{line}={}", place.text(line)));
    let lines = ["--port", &ports[0], "--port", &ports[1]];
    for (served, when) in [
        (Served::unlocked as fn(&[&str]) -> Served, "on lines, not locked"),
        (Served::start, "on lines, at rest"),
    ] {
        let served = served(&lines);
        tokio::time::sleep(Duration::from_secs(2)).await;
        served.watch(when).await;
    }
}
