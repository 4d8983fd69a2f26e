//! Breadth first over everything that can happen, until nothing new comes.

use std::collections::hash_map::Entry;
use std::collections::{BTreeSet, HashMap, HashSet, VecDeque};
use std::time::{Duration, Instant};

use evenpass_core::request::{Answer, Origin, Request};
use evenpass_core::sequence::{Leaf, Phase};

use crate::defects::Defect;
use crate::graph::{Found, Graph, Witness};
use crate::invariants::{self, Broken, Look};
use crate::key::{key, setting, shape};
use crate::moves::{self, Move};
use crate::node::{COARSEST, Node};
use crate::rest::Rest;
use crate::support::observed::Observed;
use crate::world::World;

/// Every scan is made for so long after something changed; after it time passes in coarser steps
/// where nothing moves.
const FINE: Duration = Duration::from_secs(3);
/// The same where everything rests.
const FINE_AT_REST: Duration = Duration::from_millis(500);

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
    /// Pairs of things gone wrong that were tried.
    pub(crate) pairs: u64,
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
    /// It ends once this is found broken.
    pub(crate) until: Option<&'static str>,
}

impl Explored {
    fn has_found(&self, invariant: Option<&str>) -> bool {
        self.witnesses.iter().any(|witness| Some(witness.broken.invariant) == invariant)
    }
}

pub(super) struct Search<'a> {
    pub(super) world: &'a World,
    keys: HashMap<u64, u32>,
    observed: HashMap<Observed, u32>,
    queue: VecDeque<(u32, Node)>,
    rest: Rest,
    /// Shapes from which things have gone wrong, and that have been run on from.
    shapes: HashSet<u64>,
    /// The nearest sound situation of each state.
    pub(super) bases: Vec<(Leaf, (u32, Node))>,
    /// Trips with room for one thing more, one of each setting.
    pub(super) settings: Vec<(u32, Node)>,
    known_settings: HashSet<u64>,
    /// Situations that time was let go by from after a second thing went wrong.
    pub(super) followed: HashSet<u64>,
    /// Ends of pairs that were set right again.
    pub(super) set_right: HashSet<u64>,
    defect: Option<Defect>,
    pub(super) out: Explored,
}

/// Explores a world from power-up until nothing new comes, then things going wrong in pairs.
pub(crate) fn explore(world: &World) -> Explored {
    let began = Instant::now();
    let mut search = Search::new(world);
    search.arrive(u32::MAX, 0, Move::Wait, Node::power_up(world, None));
    let bounds = Bounds { most: usize::MAX, rests: true, until: None };
    search.run(bounds);
    search.try_pairs();
    search.try_beside();
    search.out.took = began.elapsed();
    search.out
}

/// Explores the same world with a defect until what is meant for it is broken: from power-up, and from the
/// nearest situation of each state that the sound machine comes to, led there as the sound one.
pub(crate) fn explore_defect(
    world: &World,
    sound: &Graph,
    defect: Defect,
    bounds: Bounds,
) -> Explored {
    let began = Instant::now();
    let mut search = Search::new(world);
    search.defect = Some(defect);
    search.arrive(u32::MAX, 0, Move::Wait, Node::power_up(world, Some(defect)));
    let mut reached = HashSet::new();
    for (id, found) in (0_u32..).zip(&sound.found) {
        let leaf = sound.observed[found.observed as usize].leaf;
        if found.faulted || !reached.insert(leaf) {
            continue;
        }
        search.lead(sound, id);
        if search.out.has_found(bounds.until) {
            break;
        }
    }
    search.run(bounds);
    search.out.took = began.elapsed();
    search.out
}

impl<'a> Search<'a> {
    fn new(world: &'a World) -> Self {
        Self {
            world,
            defect: None,
            keys: HashMap::new(),
            observed: HashMap::new(),
            queue: VecDeque::new(),
            rest: Rest::default(),
            shapes: HashSet::new(),
            bases: Vec::new(),
            settings: Vec::new(),
            known_settings: HashSet::new(),
            followed: HashSet::new(),
            set_right: HashSet::new(),
            out: Explored { tally: vec![0; invariants::all().count()], ..Explored::default() },
        }
    }

    /// Takes what was come to, the nearest first, until there is no more.
    fn run(&mut self, bounds: Bounds) {
        while let Some((id, node)) = self.queue.pop_front() {
            if self.out.has_found(bounds.until) || self.out.graph.found.len() >= bounds.most {
                return;
            }
            self.expand(id, node, bounds);
        }
    }

    /// Leads a machine with the defect to where a sound one came, as far as it can be led.
    fn lead(&mut self, sound: &Graph, to: u32) {
        let mut node = Node::power_up(self.world, self.defect);
        let mut at = 0;
        for (waited, by) in sound.path_to(to).into_iter().skip(1) {
            for scan in 0..waited {
                let span = span_of(&node, self.world, scan);
                if let Err(broken) = self.scan(&mut node, span) {
                    return self.broke(at, scan, Move::Wait, broken);
                }
            }
            let span = match by {
                Move::Wait => Some(span_of(&node, self.world, waited)),
                other => moves::begin(&mut node, self.world, other),
            };
            let Some(span) = span else { return };
            if let Err(broken) = self.scan(&mut node, span) {
                return self.broke(at, waited, by, broken);
            }
            at = self.arrive(at, waited, by, node.clone());
        }
    }
}

impl Search<'_> {
    /// A situation that was come to; queued when it is new.
    fn arrive(&mut self, parent: u32, waited: u32, by: Move, node: Node) -> u32 {
        let before = self.out.graph.found.len();
        let id = self.note(parent, waited, by, &node);
        if self.out.graph.found.len() > before {
            let leaf = node.machine.sequence.leaf();
            self.out.leaves.insert(leaf);
            if moves::deviations(&node) == 0 && !self.bases.iter().any(|(of, _)| *of == leaf) {
                self.bases.push((leaf, (id, node.clone())));
            }
            let one = node.machine.verdict().tripped() && node.plant.faults.contains(&None);
            if one && self.known_settings.insert(setting(&node, self.world)) {
                self.settings.push((id, node.clone()));
            }
            self.queue.push_back((id, node));
        }
        id
    }

    /// A situation that was come to, and how.
    pub(super) fn note(&mut self, parent: u32, waited: u32, by: Move, node: &Node) -> u32 {
        note_rows(node, &mut self.out.rows);
        let graph = &mut self.out.graph;
        let fresh = u32::try_from(graph.found.len()).expect("fewer than four billion");
        let id = match self.keys.entry(key(node, self.world)) {
            Entry::Occupied(known) => *known.get(),
            Entry::Vacant(free) => {
                let seen = node.observed();
                let places = u32::try_from(self.observed.len()).expect("few");
                let observed = *self.observed.entry(seen).or_insert(places);
                if observed == places {
                    graph.observed.push(seen);
                }
                let depth = graph.depth_of(parent).map_or(0, |depth| depth.saturating_add(1));
                let faulted = moves::deviations(node) > 0;
                graph.found.push(Found { parent, waited, by, depth, observed, faulted });
                graph.next.push(Vec::new());
                self.out.longest = self.out.longest.max(depth.into());
                *free.insert(fresh)
            }
        };
        if let Some(next) = graph.next.get_mut(parent as usize)
            && !next.contains(&id)
        {
            next.push(id);
        }
        id
    }

    fn expand(&mut self, id: u32, node: Node, bounds: Bounds) {
        let fresh = self.shapes.insert(shape(&node, self.world));
        let mut later = node.clone();
        let waited = self.wait(id, &mut later);
        if let Some(waited) = waited {
            self.arrive(id, waited - 1, Move::Wait, later);
        }
        let all = moves::moves(&node, self.world, fresh);
        self.try_moves(id, &node, 0, &all);
        if fresh && moves::deviations(&node) == 0 {
            self.try_each_row(id, &node);
            // The same situation half-way and just before it changes by itself.
            if let Some(waited) = waited.filter(|waited| *waited > 2) {
                let mut at = node.clone();
                for scan in 0..waited - 1 {
                    if scan == waited / 2 {
                        self.try_moves(id, &at, scan, &all);
                    }
                    at.scan(self.world, span_of(&at, self.world, scan));
                }
                self.try_moves(id, &at, waited - 1, &all);
            }
        }
        if bounds.rests && fresh {
            self.comes_to_rest(id, &node);
        }
    }

    /// Faults of one family are one situation; each is followed by itself until its rows have had
    /// their delays, so that every row is seen at work.
    fn try_each_row(&mut self, id: u32, node: &Node) {
        for (index, kind) in (0_u16..).zip(&self.world.kinds) {
            let mut node = node.clone();
            let one = Move::Break(index);
            if kind.delay.is_zero() || moves::begin(&mut node, self.world, one).is_none() {
                continue;
            }
            let until = node.plant.now + kind.delay;
            let mut scans = 0;
            while node.plant.now < until && !node.machine.verdict().tripped() {
                self.out.transitions += u64::from(scans == 0);
                if let Err(broken) = self.scan(&mut node, self.world.scan) {
                    self.broke(id, scans, one, broken);
                    break;
                }
                scans += 1;
            }
            note_rows(&node, &mut self.out.rows);
        }
    }

    fn try_moves(&mut self, id: u32, node: &Node, waited: u32, all: &[Move]) {
        let mut scratch = node.clone();
        for one in all {
            self.out.transitions += 1;
            if let Move::Ask(request, _) = one
                && let Some(broken) = self.is_denied_what_never_may_be(&scratch, *one, *request)
            {
                self.broke(id, waited, *one, vec![broken]);
            }
            let Some(span) = moves::begin(&mut scratch, self.world, *one) else { continue };
            let mut after = std::mem::replace(&mut scratch, node.clone());
            match self.scan(&mut after, span) {
                Ok(()) => {
                    self.arrive(id, waited, *one, after);
                }
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
        matches!(answer, Answer::Denied(_))
            .then(|| Broken { invariant: invariants::ANYONE, found: format!("{answer:?}") })
    }

    pub(super) fn scan(&mut self, node: &mut Node, span: Duration) -> Result<(), Vec<Broken>> {
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
                self.broke(id, 0, Move::Wait, vec![Broken { invariant, found }]);
            }
        }
    }

    /// Keeps the first witness of each name: the situations come in the order of their distance,
    /// so that it is a shortest one.
    pub(super) fn broke(&mut self, id: u32, waited: u32, last: Move, broken: Vec<Broken>) {
        for broken in broken {
            let known = |witness: &Witness| witness.broken.invariant == broken.invariant;
            if !self.out.witnesses.iter().any(known) {
                let path = self.path_to(id, told(last, waited, self.world));
                self.out.witnesses.push(Witness { broken, path });
            }
        }
    }

    /// The way to a situation in words, and the last step from it.
    fn path_to(&self, id: u32, last: String) -> Vec<String> {
        let mut path = vec![last];
        let mut at = id;
        while let Some(found) = self.out.graph.found.get(at as usize) {
            let seen = &self.out.graph.observed[found.observed as usize];
            path.push(format!("{} -> {:?}", told(found.by, found.waited, self.world), seen.leaf));
            at = found.parent;
        }
        path.reverse();
        path
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
    let fine = if node.rests() { FINE_AT_REST } else { FINE };
    if world.scan * scans < fine || !node.plant.is_still() { world.scan } else { COARSEST }
}

/// How long it is waited for a change: longer than any deadline of the state; at rest longer than
/// any row that counts there, and than a purge.
fn patience(node: &Node) -> Duration {
    let sound = node.plant.faults == [None; 2];
    let seconds = match node.machine.sequence.leaf() {
        Leaf::Soaking | Leaf::WaitingForTemperature => 3700,
        Leaf::Homing | Leaf::Proving if sound => 700,
        _ if node.rests() && node.machine.sequence.phase() != Phase::Cooling => 7,
        _ => 700,
    };
    Duration::from_secs(seconds)
}

fn note_rows(node: &Node, rows: &mut BTreeSet<&'static str>) {
    let verdict = node.machine.verdict();
    let causes = verdict.first.iter().chain(&verdict.consequent).chain(&verdict.holds);
    for cause in causes.chain(&verdict.warnings) {
        rows.insert(cause.key);
    }
}
