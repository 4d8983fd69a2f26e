//! Breadth first over everything that can happen, until nothing new comes.

use std::collections::hash_map::Entry;
use std::collections::{BTreeSet, HashMap, HashSet, VecDeque};
use std::time::{Duration, Instant};

use evenpass_core::request::{Answer, Origin, Request};
use evenpass_core::sequence::{Leaf, Phase};

use crate::defects::Defect;
use crate::invariants::{self, Broken, Look};
use crate::key::{key, shape};
use crate::moves::{self, Move};
use crate::node::{COARSEST, Node};
use crate::rest::Rest;
use crate::support::observed::Observed;
use crate::world::World;

/// Every scan is made for so long after something changed; after it time passes in coarser steps
/// where nothing moves.
const FINE: Duration = Duration::from_secs(3);

/// One explored situation: how it was come by first.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Found {
    parent: u32,
    /// Scans that went by before the move.
    waited: u32,
    by: Move,
    depth: u16,
    pub(crate) observed: u32,
}

/// What was explored.
#[derive(Debug, Default)]
pub(crate) struct Graph {
    pub(crate) found: Vec<Found>,
    pub(crate) next: Vec<Vec<u32>>,
    pub(crate) observed: Vec<Observed>,
}

/// A path to something that must not be.
#[derive(Debug, Clone)]
pub(crate) struct Witness {
    pub(crate) broken: Broken,
    pub(crate) path: Vec<String>,
}

/// The figures of one exploration.
#[derive(Debug, Default)]
pub(crate) struct Explored {
    pub(crate) graph: Graph,
    pub(crate) transitions: u64,
    pub(crate) scans: u64,
    pub(crate) tally: Vec<u64>,
    /// Rows of the matrix that were confirmed.
    pub(crate) rows: BTreeSet<&'static str>,
    pub(crate) leaves: BTreeSet<Leaf>,
    pub(crate) longest: usize,
    pub(crate) counts: std::collections::BTreeMap<(Leaf, bool), u32>,
    pub(crate) took: Duration,
    /// What was found broken, the first of each name.
    pub(crate) witnesses: Vec<Witness>,
}

/// How far an exploration goes.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Bounds {
    /// It ends with so many situations at the latest, found or not.
    pub(crate) most: usize,
    /// Whether it is tried from everywhere that things come to rest.
    pub(crate) rests: bool,
    /// Whether it ends with the first thing found broken.
    pub(crate) ends_at_once: bool,
}

struct Search<'a> {
    world: &'a World,
    keys: HashMap<u64, u32>,
    observed: HashMap<Observed, u32>,
    queue: VecDeque<(u32, Node)>,
    rest: Rest,
    /// Shapes from which things have gone wrong, and that have been run on from.
    shapes: HashSet<u64>,
    out: Explored,
}

/// Explores a world, with a defect or without, until nothing new comes or something is broken.
pub(crate) fn explore(world: &World, defect: Option<Defect>, bounds: Bounds) -> Explored {
    let began = Instant::now();
    let mut search = Search {
        world,
        keys: HashMap::new(),
        observed: HashMap::new(),
        queue: VecDeque::new(),
        rest: Rest::default(),
        shapes: HashSet::new(),
        out: Explored {
            tally: vec![0; invariants::all().count()],
            ..Explored::default()
        },
    };
    let start = Node::power_up(world, defect);
    search.arrive(u32::MAX, 0, Move::Wait, start);
    while let Some((id, node)) = search.queue.pop_front() {
        let bounded = search.out.graph.found.len() >= bounds.most;
        search.expand(id, node, bounds);
        if bounded || (bounds.ends_at_once && !search.out.witnesses.is_empty()) {
            break;
        }
    }
    search.out.took = began.elapsed();
    search.out
}

impl Search<'_> {
    /// A situation that was come to; queued when it is new.
    fn arrive(&mut self, parent: u32, waited: u32, by: Move, node: Node) {
        let graph = &mut self.out.graph;
        let fresh = u32::try_from(graph.found.len()).expect("fewer than four billion");
        let id = match self.keys.entry(key(&node, self.world)) {
            Entry::Occupied(known) => *known.get(),
            Entry::Vacant(free) => {
                let seen = node.observed();
                let places = u32::try_from(self.observed.len()).expect("few");
                let observed = *self.observed.entry(seen).or_insert(places);
                if observed == places {
                    graph.observed.push(seen);
                }
                let depth =
                    graph.found.get(parent as usize).map_or(0, |found| found.depth.saturating_add(1));
                graph.found.push(Found { parent, waited, by, depth, observed });
                graph.next.push(Vec::new());
                self.out.longest = self.out.longest.max(depth.into());
                self.out.leaves.insert(node.machine.sequence.leaf());
                *self.out.counts.entry((node.machine.sequence.leaf(), node.plant.faults != [None; 2])).or_default() += 1;
                note_rows(&node, &mut self.out.rows);
                self.queue.push_back((fresh, node));
                *free.insert(fresh)
            }
        };
        if let Some(next) = graph.next.get_mut(parent as usize)
            && !next.contains(&id)
        {
            next.push(id);
        }
    }

    fn expand(&mut self, id: u32, node: Node, bounds: Bounds) {
        let fresh = self.shapes.insert(shape(&node, self.world));
        if bounds.rests && fresh {
            self.comes_to_rest(id, &node);
        }
        let mut later = node.clone();
        let waited = self.wait(id, &mut later);
        if let Some(waited) = waited {
            self.arrive(id, waited - 1, Move::Wait, later);
        }
        let all = moves::moves(&node, self.world, fresh);
        self.try_moves(id, &node, 0, &all);
        // The same situation just before it changes by itself: what comes then comes late.
        let nothing_wrong = node.plant.faults == [None; 2] && !node.machine.verdict().tripped();
        if let Some(waited) = waited.filter(|waited| *waited > 2 && nothing_wrong) {
            let mut last = node;
            for scan in 0..waited - 1 {
                let span = span_of(&last, self.world, scan);
                last.scan(self.world, span);
            }
            self.try_moves(id, &last, waited - 1, &all);
        }
    }

    fn try_moves(&mut self, id: u32, node: &Node, waited: u32, all: &[Move]) {
        let mut scratch = node.clone();
        for one in all {
            self.out.transitions += 1;
            if let Move::Ask(request, _) = one
                && let Some(broken) = self.is_denied_what_never_may_be(&scratch, *one, *request)
            {
                self.broke(id, waited, *one, broken);
            }
            let Some(span) = moves::begin(&mut scratch, self.world, *one) else { continue };
            let mut after = std::mem::replace(&mut scratch, node.clone());
            match self.scan(&mut after, span) {
                Ok(()) => self.arrive(id, waited, *one, after),
                Err(broken) => self.broke(id, waited, *one, broken),
            }
        }
    }

    /// Stop, hold and abort are taken from anyone, everywhere.
    fn is_denied_what_never_may_be(
        &mut self,
        node: &Node,
        one: Move,
        request: Request,
    ) -> Option<Broken> {
        let Move::Ask(_, origin) = one else { return None };
        if !matches!(request, Request::Stop | Request::Hold | Request::Abort) {
            return None;
        }
        let answer = node.clone().machine.request(node.plant.now, request, origin);
        let place = invariants::place_of(invariants::ANYONE);
        self.out.tally[place] += u64::from(origin == Origin::Watcher);
        matches!(answer, Answer::Denied(_)).then(|| Broken {
            invariant: invariants::ANYONE,
            found: format!("{answer:?}"),
        })
    }

    fn scan(&mut self, node: &mut Node, span: Duration) -> Result<(), Broken> {
        let before = node.scan(self.world, span);
        self.out.scans += 1;
        let look = Look { world: self.world, before: &before, node, span };
        invariants::judge(&look, &mut self.out.tally)
    }

    /// Lets time go by until the situation is another one; says after how many scans, none when
    /// it stays as it is or something is broken.
    fn wait(&mut self, id: u32, node: &mut Node) -> Option<u32> {
        self.out.transitions += 1;
        let before = key(node, self.world);
        let until = node.plant.now + patience(node);
        let mut scans = 0;
        while node.plant.now < until {
            let span = span_of(node, self.world, scans);
            scans += 1;
            if let Err(broken) = self.scan(node, span) {
                self.broke(id, scans - 1, Move::Wait, broken);
                return None;
            }
            if key(node, self.world) != before {
                return Some(scans);
            }
        }
        None
    }

    fn comes_to_rest(&mut self, id: u32, node: &Node) {
        let (alone, helped) = self.rest.both(node, self.world);
        for (invariant, outcome) in [(invariants::ALONE, alone), (invariants::HELPED, helped)] {
            self.out.tally[invariants::place_of(invariant)] += 1;
            if let Err(found) = outcome {
                self.broke(id, 0, Move::Wait, Broken { invariant, found });
            }
        }
    }

    /// Keeps the first witness of each name: the situations come in the order of their distance,
    /// so that it is a shortest one.
    fn broke(&mut self, id: u32, waited: u32, last: Move, broken: Broken) {
        let known = |witness: &Witness| witness.broken.invariant == broken.invariant;
        if self.out.witnesses.iter().any(known) {
            return;
        }
        let mut path = vec![told(last, waited, self.world)];
        let mut at = id;
        while let Some(found) = self.out.graph.found.get(at as usize) {
            let seen = &self.out.graph.observed[found.observed as usize];
            path.push(format!("{} -> {:?}", told(found.by, found.waited, self.world), seen.leaf));
            at = found.parent;
        }
        path.reverse();
        self.out.witnesses.push(Witness { broken, path });
    }
}

fn told(one: Move, waited: u32, world: &World) -> String {
    let what = match one {
        Move::Wait => "time goes by".to_owned(),
        Move::Break(kind) => format!("{:?}", world.kind(kind).fault),
        other => format!("{other:?}"),
    };
    if waited == 0 { what } else { format!("{waited} scans, {what}") }
}

/// How long the next step of time is.
pub(crate) fn span_of(node: &Node, world: &World, scans: u32) -> Duration {
    let fine = world.scan * scans < FINE || !node.plant.is_still();
    if fine { world.scan } else { COARSEST }
}

/// How long it is waited for a change: longer than any deadline of the state.
fn patience(node: &Node) -> Duration {
    let seconds = match node.machine.sequence.leaf() {
        Leaf::Soaking | Leaf::WaitingForTemperature => 3700,
        Leaf::NotReady | Leaf::Ready if node.plant.faults == [None; 2] => 2,
        _ if node.rests() && node.machine.sequence.phase() != Phase::Cooling => 20,
        _ => 700,
    };
    Duration::from_secs(seconds)
}

fn note_rows(node: &Node, rows: &mut BTreeSet<&'static str>) {
    let verdict = node.machine.verdict();
    let causes = verdict.first.iter().chain(&verdict.consequent).chain(&verdict.holds);
    rows.extend(causes.chain(&verdict.warnings).map(|cause| cause.key));
}
