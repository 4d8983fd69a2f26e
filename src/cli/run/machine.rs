//! A run on the machine behind the serial lines, or on a twin served by another process: wall
//! time, on a thread of its own.

use std::sync::mpsc::channel;
use std::thread;
use std::time::Duration;

use evenpass_core::ledger::Entry;
use evenpass_core::request::{Answer, Origin, Request};
use evenpass_core::scan::Controller;
use tokio::sync::mpsc::UnboundedSender;
use tokio::sync::oneshot;

use super::{CAUTIONS, Ran, RunArguments, Work, greeting, not_written, resume};
use crate::attendant::{Attendant, Attended, Next, ended, first_cause};
use crate::cli::ending;
use crate::cli::interrupts::Interrupts;
use crate::cli::progress::Progress;
use crate::cli::words::{self, Typed};
use crate::clock::orders::{Asked, Order};
use crate::clock::wall_time::WallTime;
use crate::keeping::{Begin, Ended, Keeping, powder_used};
use crate::port::{Medium, Port};
use crate::proving::{
    self,
    keeping::{Lines, kind_of_run},
};

/// How often people and progress are looked at.
const LOOK_EVERY: Duration = Duration::from_millis(50);
/// How long after the end the scan goes on, so that what ended is also on the lines.
const RUN_OUT: Duration = Duration::from_millis(300);

/// Runs the job over serial ports.
pub(super) fn run(
    work: &Work<'_>,
    arguments: &RunArguments,
    mut ports: Vec<Port>,
) -> Result<Ran, String> {
    let Work { job, plan, ref goes_on, .. } = *work;
    check_ports(&mut ports)?;
    let mut interrupts = Interrupts::take_over().map_err(|trouble| trouble.to_string())?;
    let attended = if words::can_type() { Attended::Yes } else { Attended::No };
    let typed = (attended == Attended::Yes).then(words::listen);
    let mut controller =
        Controller::new(&job.rig).map_err(|p| format!("{}: {p}", job.rig_source.name))?;
    if let Answer::Denied(denial) = controller.load(plan) {
        return Err(format!("{}; {}", denial.why, denial.help));
    }
    let simulated = ports.iter().all(|port| port.medium() == Medium::PseudoTerminal);
    let lines = if simulated { Lines::Simulated } else { Lines::Real };
    let proofs = proving::keeping::demanded(&job.rig, lines, arguments.records.as_deref())?;
    let late = proving::keeping::warnings(&proofs);
    controller.set_proofs(proofs);
    let kind = kind_of_run(&job.rig, lines);
    let note = resume::note(arguments.records.as_deref(), &job.rig, kind);
    let mut begin = Begin::fresh(kind, None, arguments.records.as_deref());
    begin.goes_on.clone_from(goes_on);
    begin.part = work.of_batch();
    begin.particulars.clone_from(&work.said);
    let keeping = Keeping::begin(job, plan, &begin)?;
    let mut progress = Progress::new();
    progress.print(&greeting(job, plan, CAUTIONS));
    work.lines().iter().for_each(|line| progress.print(line));
    for warning in late.iter().chain(note.iter().filter(|_| goes_on.is_none())) {
        progress.print(&format!("warning: {warning}"));
    }
    let (tell, told) = channel::<Entry>();
    let clock = WallTime::start(controller, ports, move |entry| {
        // Nobody reads any more once the run has ended.
        let _ = tell.send(entry);
    })
    .map_err(|trouble| format!("the scan cannot be started: {trouble}"))?;
    let mut attendant = Attendant::new(attended);
    // A stop goes to the machine as it comes, whatever the rest of this is at.
    let orders = clock.orders.clone();
    interrupts.at_once(Some(Box::new(move |request| ask(&orders, request))));
    if let Some(request) = interrupts.asked() {
        attendant.give_up();
        ask(&clock.orders, request);
    }
    let mut entries: Vec<Entry> = Vec::new();
    let mut keep = |progress: &mut Progress| {
        for entry in told.try_iter() {
            progress.tell(&entry);
            keeping.send(entry.clone());
            entries.push(entry);
        }
    };
    let mut trouble_told = false;
    let end = loop {
        keep(&mut progress);
        let snapshot = clock.windows.snapshots.borrow().clone();
        progress.show(plan, &snapshot);
        match attendant.follow(snapshot.at, &snapshot.status) {
            Next::Wait => {}
            Next::Ask(request) => ask(&clock.orders, request),
            Next::Ended(end) => break end,
        }
        if interrupts.asked().is_some() {
            attendant.give_up();
        }
        for typed in typed.iter().flat_map(|typed| typed.try_iter()) {
            match typed {
                Typed::Request(request) => ask(&clock.orders, request),
                Typed::Unclear(what) => progress.print(&what),
                Typed::Unknown(word) => {
                    progress
                        .print(&format!("\"{word}\" is none of these:\n{}", words::explained()));
                }
            }
        }
        if let Some(trouble) = keeping.trouble().filter(|_| !trouble_told) {
            trouble_told = true;
            progress.print(&not_written(&trouble));
        }
        if clock.has_ended() {
            return Err(match clock.quit() {
                Err(trouble) => format!("the scan broke down: {trouble}"),
                Ok(()) => "the scan ended by itself".to_owned(),
            });
        }
        thread::sleep(LOOK_EVERY);
    };
    thread::sleep(RUN_OUT);
    keep(&mut progress);
    let snapshot = clock.windows.snapshots.borrow().clone();
    let end = ended(end, &entries);
    let first_cause = first_cause(end, &snapshot, &entries);
    let powder_fed_g = powder_used(&entries);
    let told = Ended { end, first_cause: first_cause.clone(), zones: &[], powder_fed_g };
    let record = keeping.finish(&told)?;
    clock.quit().map_err(|trouble| format!("the scan broke down: {trouble}"))?;
    interrupts.end_program_as(ending::exit(end));
    progress.print("");
    Ok(Ran { end, first_cause, record, zones: Vec::new(), entries })
}

/// Opens each port once and lets it go: what cannot work is said before anything begins.
pub(in crate::cli) fn check_ports(ports: &mut [Port]) -> Result<(), String> {
    let runtime = tokio::runtime::Builder::new_current_thread()
        .enable_io()
        .build()
        .map_err(|trouble| format!("the ports cannot be looked at: {trouble}"))?;
    for port in ports {
        port.is_there()?;
        runtime.block_on(async { port.open() }).map_err(|trouble| {
            format!(
                "{} cannot be opened as a serial port: {trouble}\nhelp: see that it is the right \
                 port and that nothing else has it\n",
                port.path()
            )
        })?;
        port.close();
    }
    Ok(())
}

/// Asks something of the scan thread; its answer is in the ledger.
fn ask(orders: &UnboundedSender<Order>, request: Request) {
    let (answer, _) = oneshot::channel();
    // A scan thread that has ended is noticed by itself.
    let _ =
        orders.send(Order::Request(Asked { request, origin: Origin::Seat, person: None }, answer));
}
