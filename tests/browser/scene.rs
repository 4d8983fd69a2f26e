//! The server of a story, in the test's own process.

use std::net::{SocketAddr, TcpListener};
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};

use evenpass::comparison::{self, ZoneComparison};
use evenpass::files;
use evenpass::panel::{self, App, Options};
use evenpass::people::{PeopleFile, Person, Pin, Role};
use evenpass::record::Store;
use evenpass::station::{Setup, Station};
use evenpass_core::scan::Snapshot;
use evenpass_hil::{Bench, Truth};
use tokio::sync::{oneshot, watch};

use crate::wire::Wire;

/// Who is at the machine.
#[derive(Clone, Copy)]
pub(crate) struct Hand {
    pub(crate) name: &'static str,
    pub(crate) pin: &'static str,
    role: Role,
}

pub(crate) const ENGINEER: Hand = Hand { name: "B. Engineer", pin: "739104", role: Role::Engineer };
pub(crate) const FITTER: Hand = Hand { name: "A. Fitter", pin: "5927", role: Role::Maintenance };
pub(crate) const OPERATOR: Hand = Hand { name: "C. Sprayer", pin: "8064", role: Role::Operator };

/// A station on the twin and its panel.
pub(crate) struct Scene {
    pub(crate) station: Station,
    pub(crate) at: SocketAddr,
    pub(crate) wire: Wire,
    pace: f64,
    folder: tempfile::TempDir,
    end: watch::Sender<bool>,
}

impl Scene {
    /// Serves the twin, `pace` times as fast as life, with three people who can sign in.
    pub(crate) async fn new(pace: f64) -> Self {
        Self::at_address(pace, SocketAddr::from(([127, 0, 0, 1], 0))).await
    }

    /// The same at an address of one before it, as after the program was started anew.
    pub(crate) async fn at_address(pace: f64, address: SocketAddr) -> Self {
        let folder = tempfile::tempdir().expect("a folder");
        let config = Path::new(env!("CARGO_MANIFEST_DIR")).join("config");
        let records = folder.path().join("runs.sqlite");
        let people = PeopleFile::of(None, &records).expect("beside the records");
        for hand in [ENGINEER, FITTER, OPERATOR] {
            let pin = Pin::new(hand.pin).expect("a PIN");
            let person = Person::new(hand.name, hand.role, &pin).expect("a person");
            people.change(|people| people.add(person)).expect("added");
        }
        let recipes = folder.path().join("recipes");
        std::fs::create_dir(&recipes).expect("a folder");
        for entry in std::fs::read_dir(config.join("recipes")).expect("recipes") {
            let entry = entry.expect("a recipe");
            std::fs::copy(entry.path(), recipes.join(entry.file_name())).expect("copied");
        }
        let (rig, rig_source) = files::rig(None).expect("the bench's rig");
        let setup = Setup { rig, rig_source, records: Some(records) };
        let wire = Wire::default();
        let station = Station::on_twin_seen_by(setup, 1, pace, wire.clone()).expect("a station");
        let options = Options {
            people,
            recipes,
            catalogue: Some(config),
            rig: None,
            panels: Vec::new(),
            names: Vec::new(),
        };
        let app = App::new(station.clone(), options).expect("a panel");
        let listener = TcpListener::bind(address).expect("a free port");
        listener.set_nonblocking(true).expect("as the runtime wants it");
        let at = listener.local_addr().expect("an address");
        let (end, over) = watch::channel(false);
        tokio::spawn(panel::serve(app.clone(), listener, over.clone()));
        tokio::spawn(look_after(app, over));
        Self { station, at, wire, pace, folder, end }
    }

    /// Writes more at the end of a recipe of the scene's.
    pub(crate) fn add_to_recipe(&self, name: &str, more: &str) {
        let file = self.folder.path().join("recipes").join(name);
        let text = std::fs::read_to_string(&file).expect("a recipe");
        std::fs::write(file, text + more).expect("written");
    }

    /// Its records, while it writes them.
    pub(crate) fn store(&self) -> Store {
        Store::open(&self.folder.path().join("runs.sqlite")).expect("records")
    }

    /// The folder of its recipes.
    pub(crate) fn recipes(&self) -> PathBuf {
        self.folder.path().join("recipes")
    }

    /// What is physically so at the twin.
    pub(crate) async fn truth(&self) -> Truth {
        self.at_bench(|bench| bench.truth()).await
    }

    /// Looks at the twin's bench.
    pub(crate) async fn at_bench<T: Send + 'static>(
        &self,
        look: impl FnOnce(&mut Bench) -> T + Send + 'static,
    ) -> T {
        let (tell, told) = oneshot::channel();
        let look = Box::new(move |bench: &mut Bench| {
            // The test waits for it.
            let _ = tell.send(look(bench));
        });
        self.station.at_bench(look).expect("a twin");
        told.await.expect("an answer")
    }

    /// What lies on the zones of the loaded job, printed beside what was planned.
    pub(crate) async fn zones(&self) -> Vec<ZoneComparison> {
        let plan = self.station.loaded().expect("a job").plan.clone();
        let zones = self.at_bench(move |bench| comparison::zones(&plan, bench)).await;
        for zone in &zones {
            println!(
                "{}: planned {:.4} mm, deposited {:.4} mm ({:+.2} %), from {:.4} to {:.4} mm",
                zone.zone,
                zone.planned.mm(),
                zone.deposited.mm(),
                zone.off_percent(),
                zone.thinnest.mm(),
                zone.thickest.mm()
            );
        }
        zones
    }

    /// Waits until something is so at the controller, for at most so many seconds of the twin's.
    pub(crate) async fn until(&self, what: &str, seconds: f64, so: impl Fn(&Snapshot) -> bool) {
        let give_up = Instant::now() + Duration::from_secs_f64(seconds / self.pace + 5.0);
        while !so(&self.station.snapshot()) {
            let text = self.station.snapshot().status.text.clone();
            assert!(Instant::now() < give_up, "{what} never came: {text}");
            tokio::time::sleep(Duration::from_millis(20)).await;
        }
    }

    /// Ends the station; its records are shut.
    pub(crate) async fn end(self) -> Ended {
        let station = self.station.clone();
        let quit = tokio::task::spawn_blocking(move || station.quit()).await.expect("a thread");
        quit.expect("a clean end");
        // A panel that has gone by itself hears nothing.
        let _ = self.end.send(true);
        Ended { records: self.folder.path().join("runs.sqlite"), _folder: self.folder }
    }
}

/// What remains of a station that has ended.
pub(crate) struct Ended {
    records: PathBuf,
    _folder: tempfile::TempDir,
}

impl Ended {
    /// Its records.
    pub(crate) fn store(&self) -> Store {
        Store::open_existing(&self.records).expect("records")
    }
}

/// As the program does it: sessions that are over leave the seat.
async fn look_after(app: App, over: watch::Receiver<bool>) {
    let mut beat = tokio::time::interval(Duration::from_secs(1));
    while !*over.borrow() {
        beat.tick().await;
        app.look_after();
    }
}
