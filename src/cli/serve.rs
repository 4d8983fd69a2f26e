//! `serve`: the controller with its panel, until a signal ends it.
//!
//! The program's first thread does nothing but wait for that signal, and stop the machine then:
//! whatever pages wait for or work out, nobody keeps it from that.

mod feeding;

use std::fs;
use std::io::{self, Write as _};
use std::net::{IpAddr, Ipv4Addr, SocketAddr, TcpListener};
use std::path::{Path, PathBuf};
use std::sync::mpsc::{Receiver, RecvTimeoutError, Sender, channel};
use std::thread;
use std::time::Duration;

use clap::Args;
use evenpass_core::rig::RigKind;
use sd_notify::NotifyState;
use signal_hook::consts::{SIGHUP, SIGINT, SIGTERM};
use signal_hook::iterator::Signals;
use tokio::runtime::Runtime;
use tokio::sync::watch;
use tracing::warn;

use self::feeding::Feeding;
use super::ports::Ports;
use super::served::{Mark, NoMark, Served, reachable};
use super::{Exit, say};
use crate::files;
use crate::panel::{self, App, Options};
use crate::people::PeopleFile;
use crate::record::records_file;
use crate::station::{Setup, Station};

/// Where the panel listens when nobody says otherwise.
const PORT: u16 = 8750;
/// How much the threads that answer give way to all others. What a serial port has received is
/// handed on by a thread of the kernel without priority of its own: a scan that looks at its port
/// waits for that, so that whoever keeps all processors busy with pages makes scans late.
const GIVES_WAY: i32 = 15;
/// Threads that may wait for disk or plan at once.
const BLOCKING: usize = 16;
/// How often the system's own watchdog is fed, and the people's file looked at.
const BEAT: Duration = Duration::from_secs(1);

/// What `serve` is asked.
#[derive(Debug, Args)]
pub(super) struct ServeArguments {
    /// The rig file; the bench's twin when left out.
    #[arg(long, value_name = "FILE")]
    rig: Option<PathBuf>,
    #[command(flatten)]
    ports: Ports,
    /// The folder with the recipes that are offered.
    #[arg(long, value_name = "FOLDER", default_value = "config/recipes")]
    recipes: PathBuf,
    /// The folder with powders.toml and torches.toml; the recipes' neighbours when left out.
    #[arg(long, value_name = "FOLDER")]
    catalogue: Option<PathBuf>,
    /// Where the panel listens. Another address than this computer's own needs people who can
    /// sign in. A server in front must say that it passes requests on (Forwarded, Via or
    /// X-Forwarded-For): without that, whoever comes through it is taken for somebody at the machine.
    #[arg(long, value_name = "ADDRESS:PORT", default_value_t = SocketAddr::from((Ipv4Addr::LOCALHOST, PORT)))]
    listen: SocketAddr,
    /// The address of a screen that stands at the machine, besides this computer; may be given
    /// more than once.
    #[arg(long = "panel", value_name = "ADDRESS")]
    panels: Vec<IpAddr>,
    /// A name that the panel is called by, besides its address; may be given more than once.
    #[arg(long = "name", value_name = "HOST")]
    names: Vec<String>,
    /// On the embedded twin: how many times faster than life.
    #[arg(long, value_name = "TIMES", default_value_t = 1.0)]
    pace: f64,
    /// On the embedded twin: seed of everything random in it.
    #[arg(long, default_value_t = 1)]
    seed: u64,
    /// The records to learn from and to keep runs in; the user's own when left out.
    #[arg(long, value_name = "FILE")]
    records: Option<PathBuf>,
    /// The people's file; beside the records when left out.
    #[arg(long, value_name = "FILE")]
    people: Option<PathBuf>,
}

/// Everything that serving needs, with the scan going on.
struct Ready {
    station: Station,
    options: Options,
    listener: TcpListener,
}

pub(super) fn answer(arguments: &ServeArguments) -> Exit {
    match prepare(arguments) {
        Ok(ready) => match serve(arguments, ready) {
            Ok(()) => Exit::Done,
            Err(problem) => say::failed(&problem),
        },
        Err(problem) => say::bad_input(&problem),
    }
}

/// Everything that can be wrong with what was given is found before the scan begins, which is the
/// last thing here.
fn prepare(arguments: &ServeArguments) -> Result<Ready, String> {
    say::check_pace(arguments.pace)?;
    let (rig, rig_source) = files::rig(arguments.rig.as_deref())?;
    let on_lines = rig.kind == RigKind::Machine || arguments.ports.are_given();
    let is_folder = fs::metadata(&arguments.recipes).is_ok_and(|about| about.is_dir());
    if !is_folder {
        return Err(format!(
            "--recipes: {} is no folder\nhelp: name the folder with the recipes\n",
            arguments.recipes.display()
        ));
    }
    let records = records_file(arguments.records.as_deref()).map_err(|problem| problem.whole())?;
    let people = PeopleFile::of(arguments.people.as_deref(), &records)
        .map_err(|problem| problem.to_string())?;
    let anybody = !people.read().map_err(|problem| problem.to_string())?.is_empty();
    if !anybody {
        let why = if !arguments.listen.ip().is_loopback() {
            Some("--listen: an address that others can reach needs people who sign in")
        } else if rig.kind == RigKind::Machine {
            Some("a machine needs people who sign in")
        } else {
            None
        };
        if let Some(why) = why {
            return Err(format!(
                "{why}\nhelp: add the first: evenpass people add NAME --role engineer\n"
            ));
        }
    }
    let listener = listen(arguments.listen)?;
    let options = Options {
        people,
        recipes: arguments.recipes.clone(),
        catalogue: arguments.catalogue.clone(),
        rig: arguments.rig.clone(),
        panels: arguments.panels.clone(),
        names: arguments.names.clone(),
    };
    let setup = Setup { rig, rig_source, records: Some(records) };
    let station = if on_lines {
        let mut ports = arguments.ports.resolve(&setup.rig)?;
        super::run::check_ports(&mut ports)?;
        Station::on_lines(setup, ports)?
    } else {
        Station::on_twin(setup, arguments.seed, arguments.pace)?
    };
    Ok(Ready { station, options, listener })
}

/// Whoever connects before the panel is there waits for it.
fn listen(at: SocketAddr) -> Result<TcpListener, String> {
    let listener = TcpListener::bind(at).and_then(|listener| {
        listener.set_nonblocking(true)?;
        Ok(listener)
    });
    listener.map_err(|trouble| {
        format!(
            "--listen: {at} cannot be listened at: {trouble}\nhelp: another program may have it; \
             name another port\n"
        )
    })
}

fn serve(arguments: &ServeArguments, ready: Ready) -> Result<(), String> {
    let Ready { station, options, listener } = ready;
    let (ends, ended) = channel();
    let begun = Panel::begin(arguments, &station, options, listener, ends);
    let result = match &begun {
        Ok(panel) => panel.watch_over(&station, &ended),
        Err(problem) => Err(problem.clone()),
    };
    // Whoever looks on sees the stop; the panel goes last. What could not begin is ended the same
    // way: the scan goes on already.
    notify(&[NotifyState::Stopping]);
    let quit = station.quit();
    if let Ok(panel) = begun {
        panel.end();
    }
    result.and(quit)
}

/// What ends a `serve`, and why.
type End = Result<(), String>;

/// The panel as it is served, and what goes with it.
struct Panel {
    runtime: Runtime,
    app: App,
    over: watch::Sender<bool>,
    feeding: Feeding,
    mark: Option<Mark>,
}

impl Panel {
    fn begin(
        arguments: &ServeArguments,
        station: &Station,
        options: Options,
        listener: TcpListener,
        ends: Sender<End>,
    ) -> Result<Self, String> {
        end_by_signal(ends.clone())
            .map_err(|trouble| format!("signals cannot be taken over: {trouble}"))?;
        let runtime = tokio::runtime::Builder::new_multi_thread()
            .worker_threads(2)
            .max_blocking_threads(BLOCKING)
            .on_thread_start(give_way)
            .enable_all()
            .build()
            .map_err(|trouble| format!("the panel cannot be started: {trouble}"))?;
        let at = listener.local_addr().map_err(|trouble| trouble.to_string())?;
        let app = App::new(station.clone(), options)?;
        let (over, told) = watch::channel(false);
        {
            let _workers = runtime.enter();
            // Called here, and not by a worker: the thread that takes stops in gives way to nobody.
            let serving = panel::serve(app.clone(), listener, told);
            runtime.spawn(async move {
                let why = serving.await.map_or_else(|why| format!(": {why}"), |()| String::new());
                // Nobody waits any more where the program ends.
                let _ = ends.send(Err(format!("the panel ended by itself{why}")));
            });
        }
        let scanned = station.clone();
        let scans = move || scanned.snapshot().beat.scans;
        let feeding = Feeding::start(BEAT, scans, || notify(&[NotifyState::Watchdog]))
            .map_err(|trouble| format!("the system's watchdog cannot be fed: {trouble}"))?;
        let mark = leave_mark(arguments, station, at);
        say::printed(greet(at, station));
        notify(&[NotifyState::Ready]);
        Ok(Self { runtime, app, over, feeding, mark })
    }

    /// Until a signal comes, or the scan or the panel ends by itself. Waits for nothing else.
    fn watch_over(&self, station: &Station, ended: &Receiver<End>) -> End {
        let _workers = self.runtime.enter();
        loop {
            match ended.recv_timeout(BEAT) {
                Ok(end) => return end,
                Err(RecvTimeoutError::Timeout) => {}
                Err(RecvTimeoutError::Disconnected) => {
                    return Err("signals are not taken any more".to_owned());
                }
            }
            if station.has_ended() {
                return Err("the scan ended by itself".to_owned());
            }
            self.app.look_after();
        }
    }

    fn end(self) {
        let Self { runtime, app, over, feeding, mark } = self;
        feeding.end();
        let _ = over.send(true);
        app.end();
        if let Some(mark) = mark {
            mark.clear();
        }
        runtime.shutdown_timeout(BEAT);
    }
}

/// Ends it when a signal says so, told from a thread of its own.
fn end_by_signal(ends: Sender<End>) -> io::Result<()> {
    let mut signals = Signals::new([SIGINT, SIGTERM, SIGHUP])?;
    thread::Builder::new().name("signals".to_owned()).spawn(move || {
        for _ in signals.forever() {
            // What ends already is not ended sooner by another.
            let _ = ends.send(Ok(()));
        }
    })?;
    Ok(())
}

/// Pages and plans get the processor after scan, lines and record, and after what takes stops in.
fn give_way() {
    if let Err(trouble) = rustix::process::nice(GIVES_WAY) {
        warn!("pages do not give way to the scan ({trouble})");
    }
}

/// Leaves beside the records where other verbs find this panel. Without it they do without, which
/// is told and no reason not to serve.
fn leave_mark(arguments: &ServeArguments, station: &Station, at: SocketAddr) -> Option<Mark> {
    let absolute = |path: &Path| std::path::absolute(path).unwrap_or_else(|_| path.to_owned());
    let served = Served {
        address: reachable(at),
        process: std::process::id(),
        rig: station.rig().title.clone(),
        rig_file: arguments.rig.as_deref().map(absolute),
        records: station.records().map(absolute)?,
        recipes: absolute(&arguments.recipes),
    };
    let why = match Mark::set(&served) {
        Ok(mark) => return Some(mark),
        Err(NoMark::Taken(file)) => {
            format!("another serve has these records and holds {}", file.display())
        }
        Err(NoMark::Unwritable(file, trouble)) => format!("{}: {trouble}", file.display()),
    };
    say::complain(&format!("note: other verbs will not find this serve: {why}"));
    None
}

fn greet(at: SocketAddr, station: &Station) -> io::Result<()> {
    let mut to = io::stdout().lock();
    writeln!(to, "{}", super::run::CAUTIONS.trim_end())?;
    writeln!(to, "{} at http://{at}/", station.rig().title)?;
    to.flush()
}

/// Where nothing supervises the program, nobody is told.
fn notify(states: &[NotifyState<'_>]) {
    let _ = sd_notify::notify(states);
}
