//! The explored graph is of the program: its joint of sequence and interlocks writes what the
//! whole program writes, scan by scan, and what the whole program does on the twin is a path of
//! the graph.

use std::collections::HashSet;
use std::time::Duration;

use evenpass::attendant::{Attendant, Attended, Next};
use evenpass::clock::virtual_time::{Unwitnessed, VirtualTime};
use evenpass::embed;
use evenpass::files::Job;
use evenpass_core::image::Level;
use evenpass_core::moment::Moment;
use evenpass_core::plan::plan;
use evenpass_core::request::{Answer, Origin, Request};
use evenpass_core::scan::{Controller, Snapshot};
use evenpass_core::sequence::Phase;
use evenpass_hil::{Discrete, Fault, LineFault, LineIndex, PlantFault, Target, Word};

use crate::graph::Graph;
use crate::machine::{Beside, Machine, Missing};
use crate::shipped;
use crate::support::jobs::Texts;
use crate::support::observed::{Observed, Seen};

/// Looks are made once a scan.
const LOOK_EVERY: Duration = Duration::from_millis(20);

/// A run that leaves the graph: where, and where it would have been on it.
#[derive(Debug)]
pub(crate) struct Lost {
    pub(crate) index: usize,
    pub(crate) from: Observed,
    pub(crate) to: Observed,
    pub(crate) known: Vec<Observed>,
}

/// Follows what was seen through the graph: all situations that look so and that a path like the
/// one seen leads to. Steps that look alike from outside are taken freely between two looks.
pub(crate) fn follow(graph: &Graph, seen: &[Observed]) -> Result<usize, Lost> {
    let looks = |id: u32| graph.observed[graph.found[id as usize].observed as usize];
    let Some(first) = seen.first() else { return Ok(0) };
    let all = 0..u32::try_from(graph.found.len()).expect("few");
    let mut at: HashSet<u32> = all.filter(|id| looks(*id) == *first).collect();
    for (index, pair) in seen.windows(2).enumerate() {
        let (from, to) = (pair[0], pair[1]);
        let mut open: Vec<u32> = at.iter().copied().collect();
        let mut next = HashSet::new();
        let mut known = HashSet::new();
        while let Some(id) = open.pop() {
            for after in &graph.next[id as usize] {
                let look = looks(*after);
                if look == from {
                    if at.insert(*after) {
                        open.push(*after);
                    }
                } else if look == to {
                    next.insert(*after);
                } else {
                    known.insert(graph.found[*after as usize].observed);
                }
            }
        }
        if next.is_empty() {
            let known = known.iter().map(|place| graph.observed[*place as usize]).collect();
            return Err(Lost { index, from, to, known });
        }
        at = next;
    }
    Ok(at.len())
}

/// A run of the whole program with the explored joint beside it.
struct Run {
    time: VirtualTime<Unwitnessed>,
    attendant: Attendant,
    beside: Machine,
    seen: Seen,
    scans: u64,
    compared: u64,
}

impl Run {
    fn new(job: &Job, seed: u64) -> Self {
        let plan = plan(&job.recipe, &job.rig, &job.catalogue).expect("planned");
        let mut controller = Controller::new(&job.rig).expect("the rig can be driven");
        assert_eq!(controller.load(&plan), Answer::Accepted);
        let bench = embed::bench(job, &plan, seed).expect("the bench takes the part");
        let mut run = Self {
            time: VirtualTime::new(&job.rig, controller, bench, Unwitnessed),
            attendant: Attendant::new(Attended::Yes),
            beside: Machine::new(&job.rig, plan.program.into(), None),
            seen: Seen::default(),
            scans: 0,
            compared: 0,
        };
        // The first scan is made when time begins.
        run.look_at(Moment::START);
        run
    }

    fn ask(&mut self, request: Request) {
        let now = self.time.now();
        let whole = self.time.controller().request(now, request, Origin::Seat);
        let joint = self.beside.request(now, request, Origin::Seat);
        assert_eq!(whole, joint, "{request:?} at {now}");
    }

    /// One scan further.
    fn look(&mut self) -> Snapshot {
        self.look_at(self.time.now() + LOOK_EVERY)
    }

    fn look_at(&mut self, until: Moment) -> Snapshot {
        self.time.run_until(until);
        let snapshot = self.time.controller().snapshot();
        while self.time.controller().take_entry().is_some() {}
        assert!(snapshot.beat.scans <= self.scans + 1, "one scan for each look");
        if snapshot.beat.scans > self.scans {
            self.scans = snapshot.beat.scans;
            self.compare(&snapshot);
            self.seen.look(Observed::of_snapshot(&snapshot));
        }
        if let Next::Ask(request) = self.attendant.follow(until, &snapshot.status) {
            self.ask(request);
        }
        snapshot
    }

    fn compare(&mut self, snapshot: &Snapshot) {
        let beside = Beside {
            dropped: snapshot.powder.dropped,
            on_time: Level::On,
            missing: Missing::Told(&snapshot.status.missing),
        };
        self.beside.scan(snapshot.inputs.clone(), beside);
        let at = snapshot.inputs.now;
        assert_eq!(self.beside.outputs, snapshot.outputs, "written at {at}");
        assert_eq!(self.beside.sequence.leaf(), snapshot.status.leaf, "at {at}");
        assert_eq!(*self.beside.verdict(), snapshot.verdict, "judged at {at}");
        self.compared += 1;
    }
}

/// What is done to a run, once it sprays, and for how long.
#[derive(Debug, Clone, Copy)]
enum Trouble {
    None,
    Break(Fault, f64),
    Ask(Request),
}

fn signal(target: Target, word: Word) -> Fault {
    Fault::Signal { target, word }
}

/// A handful of bad days.
fn troubles() -> Vec<(&'static str, Phase, f64, Trouble)> {
    let contact = |tag| signal(Target::Discrete(tag), Word::Off);
    let cut = |line| Fault::Line { line, fault: LineFault::Cut, chance: 1.0 };
    let spraying = Phase::Spraying;
    vec![
        ("a plain job", spraying, 0.0, Trouble::None),
        ("hold in a pass", spraying, 1.0, Trouble::Ask(Request::Hold)),
        ("stop in a pass", spraying, 1.3, Trouble::Ask(Request::Stop)),
        ("abort in a pass", spraying, 1.1, Trouble::Ask(Request::Abort)),
        ("hold while preheating", Phase::Preheating, 1.0, Trouble::Ask(Request::Hold)),
        ("stop while lighting", Phase::Lighting, 3.0, Trouble::Ask(Request::Stop)),
        ("abort in the fusing", Phase::Fusing, 0.5, Trouble::Ask(Request::Abort)),
        (
            "the flame is blown out",
            spraying,
            0.8,
            Trouble::Break(Fault::Plant(PlantFault::FlameBlownOut), 1.0),
        ),
        (
            "the belt is off in the fusing",
            Phase::Fusing,
            0.4,
            Trouble::Break(Fault::Plant(PlantFault::BeltOff), 10.0),
        ),
        (
            "the extraction fails",
            Phase::Preheating,
            0.2,
            Trouble::Break(Fault::Plant(PlantFault::ExtractionFailed), 20.0),
        ),
        (
            "emergency stop in a pass",
            spraying,
            0.9,
            Trouble::Break(contact(Discrete::EmergencyStopOk), 5.0),
        ),
        ("flashback", Phase::Fusing, 0.3, Trouble::Break(contact(Discrete::ArrestorOk), 2.0)),
        ("the field line is cut", spraying, 0.7, Trouble::Break(cut(LineIndex::Field), 3.0)),
        (
            "the motion line is cut",
            Phase::Preheating,
            0.7,
            Trouble::Break(cut(LineIndex::Motion), 3.0),
        ),
    ]
}

fn run_through(what: &str, phase: Phase, after_s: f64, trouble: Trouble, seed: u64) -> Run {
    let job = Texts::of("short-job").job();
    let mut run = Run::new(&job, seed);
    let (mut since, mut mend_at, mut done) = (None, None, false);
    let longest = 400.0;
    while run.time.now().as_seconds() < longest {
        let snapshot = run.look();
        let now = run.time.now().as_seconds();
        if snapshot.status.phase == phase && since.is_none() {
            since = Some(now);
        }
        if !done && since.is_some_and(|since| now >= since + after_s) {
            done = true;
            match trouble {
                Trouble::None => {}
                Trouble::Ask(request) => run.ask(request),
                Trouble::Break(fault, lasts) => {
                    run.time.bench().inject(fault);
                    mend_at = Some(now + lasts);
                }
            }
        }
        if mend_at.is_some_and(|at| now >= at) {
            run.time.bench().clear_faults();
            mend_at = None;
        }
        if matches!(snapshot.status.phase, Phase::Complete | Phase::Stopped) {
            break;
        }
    }
    assert!(done, "{what}: {phase:?} was never come to");
    run
}

#[test]
fn what_is_explored_writes_what_the_whole_program_writes_scan_by_scan() {
    let mut compared = 0;
    for (what, phase, after, trouble) in troubles() {
        let run = run_through(what, phase, after, trouble, 11);
        compared += run.compared;
    }
    println!("{compared} scans of the whole program, written alike by the explored joint");
    assert!(compared > 50_000);
}

#[test]
fn what_the_whole_program_does_on_the_twin_is_a_path_of_the_explored_graph() {
    let graph = &shipped().1.graph;
    let mut lost = Vec::new();
    for (what, phase, after, trouble) in troubles() {
        let run = run_through(what, phase, after, trouble, 12);
        let seen = run.seen.0;
        match follow(graph, &seen) {
            Ok(ends) => {
                println!("{what}: {} looks, a path; {ends} situations at its end", seen.len())
            }
            Err(off) => {
                println!(
                    "{what}: LOST at look {} of {}\n  from {:?}\n  to   {:?}",
                    off.index,
                    seen.len(),
                    off.from,
                    off.to
                );
                for known in off.known.iter().filter(|known| known.leaf == off.to.leaf) {
                    println!("  known {known:?}");
                }
                lost.push(what);
            }
        }
    }
    assert_eq!(lost, Vec::<&str>::new(), "not in the graph");
}

#[test]
fn a_run_that_no_machine_makes_is_not_a_path() {
    let graph = &shipped().1.graph;
    let run = run_through("a plain job", Phase::Spraying, 0.0, Trouble::None, 12);
    let mut seen = run.seen.0;
    let middle = seen.len() / 2;
    seen.remove(middle);
    seen.swap(middle, middle + 1);
    assert!(follow(graph, &seen).is_err(), "a step left out and two changed about");
}
