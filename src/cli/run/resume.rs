//! `run --resume`: what was cut off, what may be done, and a person's choice; going on is a run like
//! any other, of what is left.

mod asking;

use std::io::{self, IsTerminal as _, Write};
use std::path::Path;

use clap::Args;
use evenpass_core::resume::{Checked, Choice, Stood};
use evenpass_core::rig::{Rig, RigKind};
use jiff::Timestamp;

use self::asking::{ask, ask_checks, choice_of, datum_of, option_of};
use super::particulars::not_otherwise;
use super::{RunArguments, Work};
use crate::cli::sheet::{Layout, Sheet};
use crate::cli::{Exit, records, refused, say, signing};
use crate::files;
use crate::particulars::Particulars;
use crate::people::Right;
use crate::port::{Medium, Port};
use crate::proving::keeping::{Lines, kind_of_run};
use crate::record::{RunId, RunKind, Store, records_file};
use crate::resuming::{CutOff, Decision, GoesOn, cut_off, of_its_part, part_of, settle};

/// What is asked of a run that was cut off. Where nobody can type, all of it is given. That a run is
/// named with it is checked by hand, in [`RunArguments`].
#[derive(Debug, Args)]
pub(super) struct ResumeArguments {
    /// Take up a run that was interrupted, tripped or stopped: by its id, or `latest`.
    #[arg(long, value_name = "RUN", conflicts_with_all = ["recipe", "batch"])]
    pub(super) resume: Option<String>,
    /// What is done about it: go-on, end-here or strip.
    #[arg(long, value_name = "CHOICE")]
    choose: Option<String>,
    /// Where the torch stood when it was found: "131.3 mm, powered", "131.3 mm, without power" or
    /// "unknown".
    #[arg(long, value_name = "PLACE", allow_hyphen_values = true)]
    stood: Option<String>,
    /// What the carriage reads with the torch over the mark, after homing.
    #[arg(long, value_name = "LENGTH", allow_hyphen_values = true)]
    datum: Option<String>,
    /// How the surface looks.
    #[arg(long, value_name = "WORDS")]
    surface: Option<String>,
    /// What the inspection of a part found that may be spoiled.
    #[arg(long, value_name = "WORDS")]
    inspection: Option<String>,
    /// Why it is chosen; the reason of the default when left out.
    #[arg(long, value_name = "WHY")]
    reason: Option<String>,
}

impl ResumeArguments {
    /// The first option about a run that was cut off, if any is given.
    pub(super) fn given(&self) -> Option<&'static str> {
        let all = [
            ("--choose", &self.choose),
            ("--stood", &self.stood),
            ("--datum", &self.datum),
            ("--surface", &self.surface),
            ("--inspection", &self.inspection),
            ("--reason", &self.reason),
        ];
        all.into_iter().find(|(_, given)| given.is_some()).map(|(option, _)| option)
    }
}

/// Why it is not taken up.
enum Refused {
    Input(String),
    Failed(String),
}

impl From<String> for Refused {
    fn from(problem: String) -> Self {
        Self::Input(problem)
    }
}

impl From<refused::Refused> for Refused {
    fn from(refused: refused::Refused) -> Self {
        match refused {
            refused::Refused::Input(problem) => Self::Input(problem),
            other => Self::Failed(other.words()),
        }
    }
}

/// Shows the run, asks, and does what was chosen.
pub(super) fn answer(arguments: &RunArguments, asked: &str, said: Particulars) -> Exit {
    match taken_up(arguments, asked, said) {
        Ok(exit) => exit,
        Err(Refused::Input(problem)) => say::bad_input(&problem),
        Err(Refused::Failed(problem)) => say::failed(&problem),
    }
}

fn taken_up(arguments: &RunArguments, asked: &str, said: Particulars) -> Result<Exit, Refused> {
    let told = &arguments.resume;
    let wanted = told.choose.as_deref().map(choice_of).transpose()?;
    let mut stood = match told.stood.as_deref().map(Stood::typed) {
        Some(read) => Some(read.map_err(|problem| format!("--stood: {problem}"))?),
        None => None,
    };
    let datum = told.datum.as_deref().map(datum_of).transpose()?;
    if let Some(why) = &arguments.unblasted {
        say::check_reason(why, "why the part is sprayed though it was not blasted in time")
            .map_err(|problem| problem.replace("--reason", "--unblasted"))?;
    }
    let mut store = records_file(arguments.records.as_deref())
        .and_then(|file| Store::open_existing(&file))
        .map_err(|problem| Refused::Failed(problem.whole()))?;
    let catalogue = arguments.setting.catalogue.as_deref();
    let id = found(&store, arguments, asked)?;
    let known = of_its_part(&store, &id).map_err(|problem| Refused::Failed(problem.whole()))?;
    not_otherwise(&said, &known, &format!("the record of run {id}"))?;
    let read = |store: &Store, stood| cut_off(store, &id, catalogue, stood);
    let mut cut = match (read(&store, stood.flatten()), wanted, &arguments.person) {
        (Ok(cut), ..) => cut,
        // What cannot be planned any more can be ended.
        (Err(_), Some(choice @ (Choice::EndHere | Choice::StripAndReblast)), Some(person)) => {
            let person = say::check_person(person, "whoever decides")?;
            signing::may(person, Right::Run, arguments.records.as_deref())?;
            let reason = told.reason.as_deref().unwrap_or("it cannot be planned any more");
            let reason = say::check_reason(reason, "why it is chosen")?;
            let checked = &Checked::default();
            let decision = Decision { person, choice, reason, checked };
            settle(&mut store, &id, None, decision, Timestamp::now()).map_err(Refused::Failed)?;
            return Ok(ended(&id, choice));
        }
        (Err(problem), ..) => return Err(Refused::Input(problem)),
    };
    let place = Place::of(arguments, &cut)?;
    print(&cut).map_err(|trouble| Refused::Failed(trouble.to_string()))?;

    let can_ask = io::stdin().is_terminal();
    let mut lacks = Vec::new();
    let person = match &arguments.person {
        Some(name) => Some(name.clone()),
        None if can_ask => Some(ask("who decides (name): ", |name| Ok(name.to_owned()))?),
        None => None,
    };
    let choice = match wanted {
        Some(choice) => Some(choice),
        None if can_ask => Some(ask("choice (go-on, end-here, strip): ", choice_of)?),
        None => None,
    };
    if person.is_none() {
        lacks.push("--person NAME: who decides".to_owned());
    }
    if choice.is_none() {
        lacks.push("--choose go-on|end-here|strip: what is done".to_owned());
    }
    let mut checked = Checked {
        datum,
        surface: told.surface.clone(),
        inspection: told.inspection.clone(),
        unblasted: arguments.unblasted.clone(),
    };
    if choice == Some(Choice::GoOn) {
        if cut.rest.is_err() {
            cut.may(Choice::GoOn, &checked, Timestamp::now())?;
        }
        let wants_place = cut.found.hand.is_some();
        if stood.is_none() && wants_place && can_ask {
            loop {
                stood = Some(ask("where the torch stood when it was found: ", Stood::typed)?);
                cut = read(&store, stood.flatten())?;
                match cut.was_found() {
                    Ok(()) => break,
                    Err(why) => say::complain(&why),
                }
            }
            print_told(&cut).map_err(|trouble| Refused::Failed(trouble.to_string()))?;
        }
        if stood.is_none() && wants_place {
            lacks.push(format!("--stood PLACE: {}", Stood::form(Stood::EXAMPLE)));
        }
        if can_ask {
            ask_checks(&cut, &mut checked)?;
        }
        if let Err(why) = cut.may(Choice::GoOn, &checked, Timestamp::now()) {
            lacks.extend(why.lines().map(option_of));
        }
    }
    let (Some(person), Some(choice), true) = (person, choice, lacks.is_empty()) else {
        let lines: String = lacks.iter().map(|lacks| format!("  {lacks}\n")).collect();
        return Err(Refused::Input(format!(
            "run {id}: nothing was decided and nothing moves; this is lacking or wrong:\n{lines}"
        )));
    };
    let person = say::check_person(&person, "whoever decides")?;
    let right = checked.unblasted.as_ref().map_or(Right::Run, |_| Right::Engineer);
    signing::may(person, right, arguments.records.as_deref())?;
    let because = cut.offer(Timestamp::now()).because;
    let reason = told.reason.as_deref().unwrap_or(&because);
    let reason = say::check_reason(reason, "why it is chosen")?;
    let decision = Decision { person, choice, reason, checked: &checked };
    settle(&mut store, &id, Some(&cut), decision, Timestamp::now()).map_err(Refused::Failed)?;
    let of = part_of(&store, &id).map_err(|problem| Refused::Failed(problem.whole()))?;
    drop(store);
    if choice != Choice::GoOn {
        return Ok(ended(&id, choice));
    }
    let Ok(rest) = &cut.rest else { return Ok(Exit::BadInput) };
    let goes_on = Some(GoesOn { run: id, stood: stood.flatten() });
    let work = Work { job: &cut.job, plan: rest, goes_on, of: of.as_ref(), part: None, said };
    Ok(match place {
        Place::Twin => super::on_twin(&work, arguments),
        Place::Lines(ports) => super::on_lines(&work, arguments, ports),
    })
}

/// Where the rest is run.
enum Place {
    Twin,
    Lines(Vec<Port>),
}

impl Place {
    /// Where the arguments say, which has to be where the run was.
    fn of(arguments: &RunArguments, cut: &CutOff) -> Result<Self, Refused> {
        let rig = &cut.job.rig;
        if let Some(path) = &arguments.setting.rig
            && files::rig(Some(path))?.1.text != cut.job.rig_source.text
        {
            return Err(Refused::Input(format!(
                "--rig {}: is not what run {} was run by, to the letter\nhelp: bring the rig file \
                 back to what it was, or end the job: measure the coat, or strip the part\n",
                path.display(),
                cut.run
            )));
        }
        let kind = kind(rig, arguments)?;
        if kind != cut.kind {
            return Err(Refused::Input(format!(
                "run {}: was run {}, and this is {}\nhelp: name the ports that it was run on\n",
                cut.run,
                where_words(cut.kind),
                where_words(kind)
            )));
        }
        if is_on_lines(rig, arguments) {
            return Ok(Self::Lines(arguments.ports.resolve(rig)?));
        }
        Ok(Self::Twin)
    }
}

fn is_on_lines(rig: &Rig, arguments: &RunArguments) -> bool {
    rig.kind == RigKind::Machine || arguments.ports.are_given()
}

fn kind(rig: &Rig, arguments: &RunArguments) -> Result<RunKind, Refused> {
    if !is_on_lines(rig, arguments) {
        return Ok(RunKind::Twin);
    }
    let ports = arguments.ports.resolve(rig)?;
    let simulated = ports.iter().all(|port| port.medium() == Medium::PseudoTerminal);
    let lines = if simulated { Lines::Simulated } else { Lines::Real };
    Ok(kind_of_run(rig, lines))
}

const fn where_words(kind: RunKind) -> &'static str {
    match kind {
        RunKind::Rehearsed => "in virtual time",
        RunKind::Twin => "on the twin",
        RunKind::Machine => "on the machine",
    }
}

/// The run that was asked for, if it may be taken up.
fn found(store: &Store, arguments: &RunArguments, asked: &str) -> Result<RunId, Refused> {
    let failed = |problem: crate::record::RecordError| Refused::Failed(problem.whole());
    if asked == "latest" {
        let (rig, _) = files::rig(arguments.setting.rig.as_deref())?;
        let kind = kind(&rig, arguments)?;
        return store.left_undone(&rig.title, kind).map_err(failed)?.ok_or_else(|| {
            Refused::Input(format!(
                "--resume latest: no run of \"{}\" {} is open to be taken up\nhelp: `evenpass records \
                 list` shows all runs; name another rig with --rig\n",
                say::one_line(&rig.title),
                where_words(kind)
            ))
        });
    }
    let id = store.find(asked).map_err(|problem| Refused::Input(problem.whole()))?;
    let why = if !store.was_left(&id).map_err(failed)? {
        "it came to its end, has not begun, or is being written"
    } else if store.is_settled(&id).map_err(failed)? {
        "it is settled: somebody ended it, or another run goes on with it"
    } else {
        return Ok(id);
    };
    Err(Refused::Input(format!(
        "--resume {id}: cannot be taken up: {why}\nhelp: `evenpass records show {id}` shows it\n"
    )))
}

/// Prints what was cut off and what may be done.
fn print(cut: &CutOff) -> io::Result<()> {
    let now = Timestamp::now();
    let to = &mut io::stdout().lock();
    writeln!(
        to,
        "Run {}, {}, {}, was cut off: {}",
        cut.run,
        say::one_line(&cut.job.recipe.title),
        where_words(cut.kind),
        cut.found
    )?;
    let mut sheet = Sheet::new(
        2,
        &[
            ("zone", Layout::Prose),
            ("from", Layout::Figure),
            ("to", Layout::Figure),
            ("coat as sprayed", Layout::Figure),
        ],
    );
    for stretch in &cut.found.stretches {
        sheet.row([
            stretch.zone.clone(),
            format!("{:.1}", stretch.place.low),
            format!("{:.1}", stretch.place.high),
            format!("{:.3}", stretch.build),
        ]);
    }
    records::section("Coat so far", &sheet, to)?;
    writeln!(to)?;
    for line in cut.told(now) {
        writeln!(to, "{line}")?;
    }
    let offer = cut.offer(now);
    let mut sheet = records::pairs();
    for choice in &offer.choices {
        sheet.row([choice.word().to_owned(), choice.words().to_owned()]);
    }
    records::section("Choices", &sheet, to)?;
    writeln!(to, "  when in doubt: {}: {}", offer.default.word(), say::one_line(&offer.because))?;
    if let Err(refusal) = &cut.rest {
        writeln!(to, "  it cannot go on: {}", say::one_line(&refusal.to_string()))?;
    }
    let before = cut.before(now);
    if !before.is_empty() {
        writeln!(to, "\nBefore it goes on")?;
        for before in before {
            writeln!(to, "  {}", say::one_line(&before.words))?;
        }
    }
    writeln!(to)
}

/// Prints again what the place of the torch has made of it.
fn print_told(cut: &CutOff) -> io::Result<()> {
    let to = &mut io::stdout().lock();
    writeln!(to, "{}", cut.found)?;
    cut.told(Timestamp::now()).iter().try_for_each(|line| writeln!(to, "{line}"))
}

/// What was ended, and what is to be done with the part.
fn ended(run: &RunId, choice: Choice) -> Exit {
    let next = match choice {
        Choice::StripAndReblast => "strip and blast the part, then run its recipe again".to_owned(),
        // Its coat is none that was planned: it is read, and teaches nothing.
        Choice::EndHere | Choice::GoOn => format!(
            "read the coat: `evenpass records thickness {run}` and `evenpass records hardness {run}` \
             take it in; `evenpass records decide {run}` says what becomes of the part"
        ),
    };
    let to = &mut io::stdout().lock();
    say::printed(writeln!(to, "run {run}: {}; {next}", choice.words()))
}

/// What a person is told who runs another job while one is open to be taken up; nothing where the
/// records cannot be read, which is told elsewhere.
pub(super) fn note(records: Option<&Path>, rig: &Rig, kind: RunKind) -> Option<String> {
    let file = records_file(records).ok().filter(|file| file.exists())?;
    let store = Store::open_existing(&file).ok()?;
    let id = store.left_undone(&rig.title, kind).ok()??;
    Some(records::undone(&id))
}
