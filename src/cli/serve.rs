//! `serve`: the controller with its panel, until a signal ends it.

mod feeding;

use std::fs;
use std::io::{self, Write as _};
use std::net::{IpAddr, Ipv4Addr, SocketAddr};
use std::path::{Path, PathBuf};
use std::time::Duration;

use clap::Args;
use evenpass_core::rig::RigKind;
use sd_notify::NotifyState;
use tokio::net::TcpListener;
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

pub(super) fn answer(arguments: &ServeArguments) -> Exit {
    match prepare(arguments) {
        Ok((station, options)) => match serve(arguments, &station, options) {
            Ok(()) => Exit::Done,
            Err(problem) => say::failed(&problem),
        },
        Err(problem) => say::bad_input(&problem),
    }
}

/// Everything that can be wrong is found before anything runs.
fn prepare(arguments: &ServeArguments) -> Result<(Station, Options), String> {
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
    let setup = Setup { rig, rig_source, records: Some(records) };
    let station = if on_lines {
        let mut ports = arguments.ports.resolve(&setup.rig)?;
        super::run::check_ports(&mut ports)?;
        Station::on_lines(setup, ports)?
    } else {
        Station::on_twin(setup, arguments.seed, arguments.pace)?
    };
    let options = Options {
        people,
        recipes: arguments.recipes.clone(),
        catalogue: arguments.catalogue.clone(),
        rig: arguments.rig.clone(),
        panels: arguments.panels.clone(),
        names: arguments.names.clone(),
    };
    Ok((station, options))
}

fn serve(arguments: &ServeArguments, station: &Station, options: Options) -> Result<(), String> {
    let runtime = tokio::runtime::Builder::new_multi_thread()
        .worker_threads(2)
        .max_blocking_threads(BLOCKING)
        .on_thread_start(give_way)
        .enable_all()
        .build()
        .map_err(|trouble| format!("the panel cannot be started: {trouble}"))?;
    let served = runtime.block_on(async {
        let app = App::new(station.clone(), options)?;
        let listener = TcpListener::bind(arguments.listen).await.map_err(|trouble| {
            format!(
                "--listen: {} cannot be listened at: {trouble}\nhelp: another program may have \
                 it; name another port\n",
                arguments.listen
            )
        })?;
        let at = listener.local_addr().map_err(|trouble| trouble.to_string())?;
        let mark = leave_mark(arguments, station, at);
        say::printed(greet(at, station));
        notify(&[NotifyState::Ready]);
        let scanned = station.clone();
        let feeding = Feeding::start(
            BEAT,
            move || scanned.snapshot().beat.scans,
            || notify(&[NotifyState::Watchdog]),
        )
        .map_err(|trouble| format!("the system's watchdog cannot be fed: {trouble}"))?;
        let (end, over) = watch::channel(false);
        let mut panel = tokio::spawn(panel::serve(app.clone(), listener, over));
        let result = tokio::select! {
            result = watch_over(&app, station) => result,
            ended = &mut panel => Err(match ended.map_err(io::Error::other).flatten() {
                Ok(()) => "the panel ended by itself".to_owned(),
                Err(trouble) => format!("the panel ended by itself: {trouble}"),
            }),
        };
        // Whoever looks on sees the stop; the panel goes last.
        notify(&[NotifyState::Stopping]);
        let ending = station.clone();
        let quit = tokio::task::spawn_blocking(move || ending.quit()).await;
        feeding.end();
        let _ = end.send(true);
        panel.abort();
        app.end();
        if let Some(mark) = mark {
            mark.clear();
        }
        result.and(quit.unwrap_or_else(|broken| Err(broken.to_string())))
    });
    runtime.shutdown_timeout(BEAT);
    served
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

/// Until a signal comes, or the scan ends by itself.
async fn watch_over(app: &App, station: &Station) -> Result<(), String> {
    use tokio::signal::unix::{SignalKind, signal};
    let trouble = |trouble: io::Error| format!("signals cannot be taken over: {trouble}");
    let mut interrupt = signal(SignalKind::interrupt()).map_err(trouble)?;
    let mut terminate = signal(SignalKind::terminate()).map_err(trouble)?;
    let mut hangup = signal(SignalKind::hangup()).map_err(trouble)?;
    let mut beat = tokio::time::interval(BEAT);
    loop {
        tokio::select! {
            _ = interrupt.recv() => return Ok(()),
            _ = terminate.recv() => return Ok(()),
            _ = hangup.recv() => return Ok(()),
            _ = beat.tick() => {
                if station.has_ended() {
                    return Err("the scan ended by itself".to_owned());
                }
                app.look_after();
            }
        }
    }
}

/// Where nothing supervises the program, nobody is told.
fn notify(states: &[NotifyState<'_>]) {
    let _ = sd_notify::notify(states);
}
