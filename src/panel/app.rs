//! What all pages share.

use std::net::IpAddr;
use std::path::PathBuf;
use std::sync::atomic::AtomicU64;
use std::sync::{Arc, Mutex};

use axum::http::HeaderMap;
use evenpass_core::moment::Moment;
use evenpass_core::teach::Teaching;
use jiff::Timestamp;
use jiff::civil::DateTime;
use jiff::tz::TimeZone;
use tokio::sync::Semaphore;

use super::acts::Acts;
use super::limits::Shares;
use super::newer::Newer;
use super::pace::Paces;
use super::page::maintenance::Standings;
use super::page::recipes::TaughtAgainst;
use super::planning::{LOOKS, LOOKS_AT_ONCE, PLANS};
use super::stops::Stops;
use super::texts;
use super::undone::Looked;
use super::visitor::Asker;
use crate::people::{
    NOT_SIGNED_IN, People, PeopleError, PeopleFile, Person, Pin, PinHash, Role, Sessions, Throttle,
    Units, Whence, random,
};
pub(super) use crate::station::locked;
use crate::station::{Loaded, Place, Station};

/// Event streams at once: a few pages for each of a shop's screens. A browser has no more than six
/// connections to one place, for all its windows together (common practice, no source): as many are
/// left for what is asked, a stop first of all.
const STREAMS: Shares = Shares::new(48, 3);
/// Jog lines at once: a page that jogs, and one that has not noticed yet that it is gone.
const JOG_LINES: Shares = Shares::new(8, 2);

/// Headers that a server between puts in, besides all `x-forwarded-`: RFC 7239, RFC 9110, and
/// names in use (common practice, no source). One that puts in none cannot be told from a person
/// at the machine: what forwards to the panel must say so.
const FORWARDED: [&str; 5] = ["forwarded", "via", "x-real-ip", "x-client-ip", "true-client-ip"];

/// Requests that are answered at once, besides stops; the others wait in their connections.
const MOST_ANSWERED: usize = 64;

/// What the panel is told at the start.
#[derive(Debug)]
pub struct Options {
    /// The people.
    pub people: PeopleFile,
    /// The folder of recipes that are offered.
    pub recipes: PathBuf,
    /// The catalogue's folder; the recipes' neighbours when `None`.
    pub catalogue: Option<PathBuf>,
    /// The rig file; the bench's own when `None`.
    pub rig: Option<PathBuf>,
    /// Addresses, besides this computer's own, that are panels at the machine.
    pub panels: Vec<IpAddr>,
    /// Names, besides addresses, that the panel is called by.
    pub names: Vec<String>,
}

/// What all pages share. Cheap to clone.
#[derive(Clone)]
pub struct App {
    pub(super) inside: Arc<Inside>,
}

pub(super) struct Inside {
    pub(super) station: Station,
    pub(super) options: Options,
    pub(super) people: Mutex<People>,
    /// Held while the people's file is read and what it says comes into force.
    pub(super) reading_roll: Mutex<()>,
    /// What keeps the roll from being read anew, as it was last told.
    pub(super) roll_trouble: Mutex<Option<String>>,
    pub(super) sessions: Mutex<Sessions>,
    pub(super) throttle: Mutex<Throttle>,
    pub(super) acts: Acts,
    /// One rehearsal at a time: each takes a core for seconds.
    pub(super) rehearsing: Arc<Semaphore>,
    /// Points taken for a new recipe.
    pub(super) teaching: Mutex<Teaching>,
    /// What they are held against.
    pub(super) against: TaughtAgainst,
    pub(super) streams: Arc<Mutex<Shares>>,
    pub(super) jog_lines: Arc<Mutex<Shares>>,
    pub(super) paces: Mutex<Paces>,
    pub(super) stops: Arc<Stops>,
    /// One PIN is hashed at a time: each takes 19 MiB that the scan has locked.
    pub(super) hashing: Semaphore,
    /// One look from time to time waits for the people's file.
    pub(super) reading_people: Arc<Semaphore>,
    /// Plans that wait or are worked out, and the one that is.
    pub(super) plans: Arc<Mutex<Shares>>,
    pub(super) planning: Semaphore,
    /// Looks into the records that wait or are under way, and those that are.
    pub(super) looks: Arc<Mutex<Shares>>,
    pub(super) looking: Semaphore,
    /// Requests that are being answered, besides stops.
    pub(super) answering: Arc<Semaphore>,
    pub(super) standings: Standings,
    /// The last time that somebody has checked a set-up.
    pub(super) checked: Mutex<Option<Checked>>,
    /// What the loaded recipe's file has become since, as it was last looked at.
    newer: Mutex<Option<Newer>>,
    /// The run that waits for somebody to decide, as it was last looked at, and one look at a time.
    pub(super) undone: Mutex<Looked>,
    pub(super) looking_undone: Arc<Semaphore>,
    /// How the order in hand stands, as it was last looked at, and one look at a time.
    pub(super) order: Mutex<super::batches::Looked>,
    pub(super) looking_order: Arc<Semaphore>,
    /// How often something was told of an order here.
    pub(super) told_of_orders: AtomicU64,
    /// What keeps the record from being written, as it was last told.
    record_trouble: Mutex<Option<String>>,
    nobody: Person,
}

/// Somebody has checked the set-up of a job.
pub(super) struct Checked {
    job: Arc<Loaded>,
    who: Arc<str>,
    when: DateTime,
}

impl Checked {
    /// Just now, by the clock on the wall.
    pub(super) fn now(job: Arc<Loaded>, who: Arc<str>) -> Self {
        Self { job, who, when: TimeZone::system().to_datetime(Timestamp::now()) }
    }

    /// Who has checked this loading of a job, and when; another loading wants another check.
    pub(super) fn of(&self, job: &Arc<Loaded>) -> Option<(&str, DateTime)> {
        Arc::ptr_eq(&self.job, job).then_some((&*self.who, self.when))
    }
}

impl App {
    /// A panel for a station.
    ///
    /// # Errors
    /// The people's file cannot be read, the acts cannot be kept, or the system gives no
    /// randomness: why.
    pub fn new(station: Station, options: Options) -> Result<Self, String> {
        let people = options.people.read().map_err(|problem: PeopleError| problem.to_string())?;
        let acts = Acts::start(station.records())?;
        let inside = Inside {
            station,
            options,
            people: Mutex::new(people),
            reading_roll: Mutex::new(()),
            roll_trouble: Mutex::new(None),
            sessions: Mutex::new(Sessions::default()),
            throttle: Mutex::new(Throttle::default()),
            acts,
            rehearsing: Arc::new(Semaphore::new(1)),
            teaching: Mutex::new(Teaching::default()),
            against: TaughtAgainst::default(),
            streams: Arc::new(Mutex::new(STREAMS)),
            jog_lines: Arc::new(Mutex::new(JOG_LINES)),
            paces: Mutex::new(Paces::default()),
            stops: Arc::default(),
            hashing: Semaphore::new(1),
            reading_people: Arc::new(Semaphore::new(1)),
            plans: Arc::new(Mutex::new(PLANS)),
            planning: Semaphore::new(1),
            looks: Arc::new(Mutex::new(LOOKS)),
            looking: Semaphore::new(LOOKS_AT_ONCE),
            answering: Arc::new(Semaphore::new(MOST_ANSWERED)),
            standings: Standings::default(),
            checked: Mutex::new(None),
            newer: Mutex::new(None),
            undone: Mutex::default(),
            looking_undone: Arc::new(Semaphore::new(1)),
            order: Mutex::default(),
            looking_order: Arc::new(Semaphore::new(1)),
            told_of_orders: AtomicU64::new(0),
            record_trouble: Mutex::new(None),
            nobody: nobody()?,
        };
        Ok(Self { inside: Arc::new(inside) })
    }

    /// The station.
    pub(super) fn station(&self) -> &Station {
        &self.inside.station
    }

    /// Time as sessions and throttle see it.
    pub(super) fn now(&self) -> Moment {
        self.inside.station.now()
    }

    /// Somebody at the machine while nobody has been added.
    pub(super) fn nobody(&self) -> &Person {
        &self.inside.nobody
    }

    /// What is to be done from time to time, and waits for nothing: sessions that are over leave the
    /// seat, and what keeps a record from being written stands among the acts. People who were added
    /// or removed by the command line are known a moment later: a disk may take its time, and who
    /// waits for it is nobody else. While it does, it is not asked again.
    pub fn look_after(&self) {
        self.look_at_record();
        self.look_at_sessions(self.now());
        self.look_for_undone();
        self.look_for_order();
        let Ok(turn) = self.inside.reading_people.clone().try_acquire_owned() else { return };
        let app = self.clone();
        tokio::task::spawn_blocking(move || {
            app.refresh_people();
            app.look_at_recipe();
            drop(turn);
        });
    }

    /// Looks whether the loaded recipe's file is still what was loaded.
    fn look_at_recipe(&self) {
        let looked = self.station().loaded().map(Newer::look);
        *locked(&self.inside.newer) = looked;
    }

    /// What a recipe's file has become since it was loaded, in words; nothing while it is the same.
    pub(super) fn newer(&self, loaded: &Arc<Loaded>) -> Option<String> {
        locked(&self.inside.newer).as_ref()?.of(loaded)
    }

    /// A record that cannot be begun, or goes no further, is nobody's request: it is told once.
    fn look_at_record(&self) {
        let kept = self.inside.station.kept();
        let mut told = locked(&self.inside.record_trouble);
        if *told != kept.trouble {
            if let Some(trouble) = &kept.trouble {
                let name = NOT_SIGNED_IN.into();
                let asker = Asker { name, role: None, whence: Whence::Machine };
                self.inside.acts.keep(&asker, texts::KEEP_RECORD, Some(trouble), kept.run);
            }
            told.clone_from(&kept.trouble);
        }
    }

    /// Waits until everything that was asked is on the disk, for some seconds at most.
    pub fn end(&self) {
        self.inside.acts.end();
    }

    /// Units of a person by name.
    pub(super) fn units_of(&self, name: &str) -> Units {
        locked(&self.inside.people).find(name).map_or_else(Units::default, |person| person.units)
    }

    /// From where somebody asks. Whoever comes through another server is away, wherever that is.
    pub(super) fn whence(&self, peer: IpAddr, headers: &HeaderMap) -> Whence {
        let forwarded = headers.keys().any(|name| {
            let name = name.as_str();
            name.starts_with("x-forwarded") || FORWARDED.contains(&name)
        });
        let address = peer.to_canonical();
        let at_machine = address.is_loopback() || self.inside.options.panels.contains(&address);
        match (at_machine, forwarded) {
            (true, false) if headers.contains_key(super::told::TERMINAL) => Whence::Terminal,
            (true, false) => Whence::Machine,
            _ => Whence::Away(address),
        }
    }
}

/// Where a sender is, as the station sees it.
pub(super) const fn place(whence: Whence) -> Place {
    match whence {
        Whence::Machine | Whence::Terminal => Place::AtMachine,
        Whence::Away(_) => Place::Elsewhere,
    }
}

/// Whoever is at the machine before anybody was added: all rights, and a PIN that nobody knows.
fn nobody() -> Result<Person, String> {
    let trouble = |trouble: std::io::Error| format!("no randomness: {trouble}");
    let digits = |bytes: [u8; 12]| bytes.iter().map(|byte| char::from(b'0' + byte % 10)).collect();
    loop {
        let guess: String = digits(random::<12>().map_err(trouble)?);
        if let Ok(pin) = Pin::new(&guess) {
            return Ok(Person {
                name: NOT_SIGNED_IN.to_owned(),
                role: Role::Engineer,
                units: Units::default(),
                pin: PinHash::of(&pin)?,
            });
        }
    }
}
