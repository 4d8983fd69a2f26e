//! The bench of devices behind pseudo-terminals, and the pieces of the wall-time clock that drive a
//! master over them.

use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::thread::JoinHandle;
use std::time::Duration;

use evenpass::clock::Master;
use evenpass::clock::timer::Timer;
use evenpass::clock::wall_time::harden;
use evenpass::clock::wires::Wires;
use evenpass::files::{self, Job, Places};
use evenpass::port::Port;
use evenpass_core::moment::Moment;
use evenpass_core::plan::Plan;
use evenpass_core::rig::LineSpec;
use evenpass_hil::pty::{Pacing, PtyOptions, serve};
use evenpass_hil::{Bench, BenchSpec, PartInChuck};

/// The bench on two pseudo-terminals, in a thread.
pub(crate) struct Served {
    pub(crate) field: PathBuf,
    pub(crate) motion: PathBuf,
    stop: Arc<AtomicBool>,
    thread: JoinHandle<()>,
}

impl Served {
    pub(crate) fn start(folder: &Path, pacing: Pacing) -> Self {
        let (field, motion) = (folder.join("field"), folder.join("motion"));
        let options = PtyOptions {
            field_link: field.clone(),
            motion_link: motion.clone(),
            pace: 1.0,
            pacing,
            journal: None,
        };
        let stop = Arc::new(AtomicBool::new(false));
        let (opened, open) = std::sync::mpsc::channel();
        let thread = std::thread::spawn({
            let stop = Arc::clone(&stop);
            move || {
                let spec = BenchSpec::default_bench().unwrap();
                let bench = Bench::new(&spec, &PartInChuck::plain_shaft(), 1).unwrap();
                serve(bench, &options, &stop, || opened.send(()).unwrap()).unwrap();
            }
        });
        open.recv().unwrap();
        Self { field, motion, stop, thread }
    }

    pub(crate) fn stop(self) {
        self.stop.store(true, Ordering::Relaxed);
        self.thread.join().unwrap();
    }
}

/// A line of the rig at that path.
pub(crate) fn port(line: &LineSpec, path: PathBuf) -> Port {
    Port::new(line.clone(), path.into_os_string().into_string().unwrap())
}

/// As the wall-time clock drives its controller.
pub(crate) fn drive<M: Master>(
    master: &mut M,
    ports: Vec<Port>,
    lasting: Duration,
    mut at: impl FnMut(&mut M, Moment),
) {
    let runtime = tokio::runtime::Builder::new_current_thread().enable_io().build().unwrap();
    runtime.block_on(async {
        let timer = Timer::new().unwrap();
        let mut wires = Wires::new(ports);
        let end = Moment::START + lasting;
        while timer.now() < end {
            let now = timer.now();
            wires.reopen(now, master);
            at(master, now);
            master.handle_time(now);
            wires.transmit(now, master);
            timer.wake_at(master.next_wake().min(wires.next_wake()).min(end)).unwrap();
            tokio::select! {
                biased;
                woken = timer.wait() => woken.unwrap(),
                arrived = wires.receive() => wires.deliver(timer.now(), arrived, master),
            }
        }
    });
}

/// The short job on the shipped bench.
pub(crate) fn short_job() -> (Job, Plan) {
    let recipe = Path::new(env!("CARGO_MANIFEST_DIR")).join("config/recipes/short-job.toml");
    let job = files::job(&recipe, Places { rig: None, catalogue: None }).unwrap();
    let plan = evenpass_core::plan::plan(&job.recipe, &job.rig, &job.catalogue).unwrap();
    (job, plan)
}

/// Measures on a thread with the scan's own priority, so that both are measured alike.
pub(crate) fn on_a_thread<T: Send + 'static>(measure: impl FnOnce() -> T + Send + 'static) -> T {
    let thread = std::thread::spawn(move || {
        harden();
        measure()
    });
    thread.join().unwrap()
}

/// The value below which so large a share lies.
#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "a share of a length is a place in it"
)]
pub(crate) fn quantile(values: &[Duration], share: f64) -> Duration {
    let mut sorted = values.to_vec();
    sorted.sort_unstable();
    let place = ((sorted.len() - 1) as f64 * share).round() as usize;
    sorted[place]
}

pub(crate) fn ms(time: Duration) -> String {
    format!("{:.3} ms", time.as_secs_f64() * 1e3)
}
