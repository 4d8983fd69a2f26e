//! The proof tests: where each stands, and the one in hand, led instruction by instruction.

use std::sync::{Arc, Mutex};
use std::time::Duration;

use axum::extract::State;
use evenpass_core::interlock::matrix::row;
use evenpass_core::moment::Moment;
use evenpass_core::proof::Standing;
use evenpass_core::request::Denial;
use evenpass_core::scan::Snapshot;
use evenpass_core::sequence::Phase;
use jiff::Timestamp;
use maud::{Markup, html};

use super::by_hand::Hand;
use super::section;
use crate::panel::app::{App, locked};
use crate::panel::aside::aside;
use crate::panel::live::Values;
use crate::panel::texts;
use crate::panel::visitor::Visitor;
use crate::people::{Right, Units};
use crate::proving::keeping::{KnownProof, day_of, standings, words};
use crate::record::{ProofOutcome, ProofRecord, RunKind, Store, records_file};
use crate::station::{ProofEnd, ProofShown};

/// How long what was read of the records is believed while nothing here has changed it: the command
/// line may make proofs too.
const READ_EVERY: Duration = Duration::from_secs(10);

/// The page.
pub(in crate::panel) async fn page(State(app): State<App>, visitor: Visitor) -> Markup {
    let rig = app.station().rig();
    let inside = html! {
        div data-live="proof" {}
        section {
            details.cautions open {
                summary { (texts::CAUTION) }
                p { (texts::PROOF_CAUTIONS) }
                @if app.station().kind() == RunKind::Twin { p { (texts::TWIN_PROVES) } }
                p { (texts::PROVED_EVERY) " " (rig.proof.days) " " (texts::DAYS) ". " (texts::LATE_BY) " "
                    (rig.proof.grace) " " (texts::DAYS_REFUSES) }
            }
            p.why data-live="proofs.why" role="status" {}
        }
        div.proofs data-live="proofs" {}
    };
    section(&app, &visitor, "proofs", inside)
}

/// Where the proofs stand, as read of the records.
type Known = Arc<Result<Vec<KnownProof>, String>>;

/// Where the proofs stand, read of the records when that may have changed.
#[derive(Default)]
pub(in crate::panel) struct Standings(Mutex<Option<Read>>);

struct Read {
    at: Moment,
    /// What had been proved by then.
    after: Option<ProofShown>,
    known: Known,
}

impl Standings {
    async fn of(app: &App) -> Known {
        let now = app.now();
        let after = app.station().proofs().shown().filter(|shown| shown.outcome.is_some());
        if let Some(read) = &*locked(&app.inside.standings.0)
            && now.since(read.at) < READ_EVERY
            && read.after == after
        {
            return read.known.clone();
        }
        let reading = app.clone();
        let known = Arc::new(aside(move || read(&reading)).await);
        let read = Read { at: now, after, known: known.clone() };
        *locked(&app.inside.standings.0) = Some(read);
        known
    }
}

fn read(app: &App) -> Result<Vec<KnownProof>, String> {
    let station = app.station();
    let read = || {
        let file = records_file(station.records())?;
        let store = if file.exists() { Some(Store::open_existing(&file)?) } else { None };
        standings(store.as_ref(), station.rig(), Timestamp::now())
    };
    read().map_err(|problem| problem.whole())
}

/// What is live on it.
pub(super) async fn live(app: &App, visitor: &Visitor, values: &mut Values) {
    let station = app.station();
    let hand = Hand::of(app, visitor);
    let under_way = station.proofs().is_under_way() && !station.proof_gives_way();
    let why = hand.why_not(Right::Maintain, denied(&station.snapshot()));
    let why = why.or_else(|| under_way.then(|| texts::ONE_AT_A_TIME.to_owned()));
    values.html(
        "proofs.why",
        html! {
            @if let Some(why) = &why {
                span.sign aria-hidden="true" { "\u{2715}" } (texts::NO_PROOF) ": " (why)
            }
        },
    );
    let units = visitor.units;
    values.html("proof", in_hand(station.proofs().shown().as_ref(), station.kind(), units));
    let kind = if why.is_some() { "off" } else { "plain" };
    values.html("proofs", list(&*Standings::of(app).await, kind, units));
}

/// Why the machine would deny a proof whatever its person prepares: what it does already. What a
/// proof itself wants prepared is told when it is begun.
fn denied(snapshot: &Snapshot) -> Option<&Denial> {
    let at_rest = matches!(snapshot.status.phase, Phase::Idle | Phase::Manual);
    // Proving is a part of manual work, and comes after whatever keeps that from being entered.
    snapshot.by_hand.manual.as_ref().filter(|_| !at_rest)
}

/// The proof in hand: what is to be done now, blue (IEC 60073, mandatory action); how the last one
/// ended.
fn in_hand(shown: Option<&ProofShown>, kind: RunKind, units: Units) -> Markup {
    let Some(shown) = shown else { return html! {} };
    let answer = |word: &str, words: &str, kind: &str| {
        html! { button type="button" data-prove=(word) data-kind=(kind) { (words) } }
    };
    html! {
        @match &shown.outcome {
            Some(outcome) => section.proof data-mark=(ended(shown.end).0) role="status" {
                h2 { span.sign aria-hidden="true" { (ended(shown.end).1) } (shown.title) }
                p { (units.restate(outcome)) }
            },
            None => section.prompt role="status" {
                h2 { span.sign aria-hidden="true" { "\u{25cf}" } (texts::PROVING) ": " (shown.title) }
                @if !shown.missing.is_empty() { p { (texts::WAITS_FOR) ": " (units.restate(&shown.missing)) } }
                @if !shown.instruction.is_empty() { p.instruction { (units.restate(&shown.instruction)) } }
                div.buttons {
                    @if shown.asks { (answer("done", texts::DONE, "wanted")) }
                    @if kind == RunKind::Twin && !shown.instruction.is_empty() {
                        (answer("act", texts::TECHNICIAN, "plain"))
                    }
                    (answer("skip", texts::LEAVE_OUT, "plain"))
                    (answer("quit", texts::END_PROVING, "plain"))
                }
            },
        }
    }
}

/// How an end is shown: mark and sign.
const fn ended(end: Option<ProofEnd>) -> (&'static str, &'static str) {
    match end {
        Some(ProofEnd::Passed) => ("passed", "\u{2713}"),
        Some(ProofEnd::Failed | ProofEnd::OtherFirst) => ("failed", "\u{25a0}"),
        Some(ProofEnd::LeftOut | ProofEnd::Quit | ProofEnd::NotMade) | None => ("open", "\u{2013}"),
    }
}

/// Every proof of the rig, those that are due first.
fn list(known: &Result<Vec<KnownProof>, String>, kind: &str, units: Units) -> Markup {
    let known = match known {
        Ok(known) => known,
        Err(trouble) => return html! { p.trouble { (trouble) } },
    };
    let due = |proof: &&KnownProof| !matches!(proof.2, Standing::DueIn(_));
    let (late, good): (Vec<_>, Vec<_>) = known.iter().partition(due);
    html! {
        @for (title, proofs) in [(texts::PROOFS_DUE, late), (texts::PROOFS_GOOD, good)] {
            @if !proofs.is_empty() {
                h2 { (title) " (" (proofs.len()) ")" }
                ul { @for (key, last, standing) in proofs {
                    (one(key, last.as_ref(), *standing, kind, units))
                } }
            }
        }
    }
}

fn one(
    key: &str,
    last: Option<&ProofRecord>,
    standing: Standing,
    kind: &str,
    units: Units,
) -> Markup {
    let due = !matches!(standing, Standing::DueIn(_));
    html! {
        li data-mark=[due.then_some("due")] {
            div {
                strong {
                    span.sign aria-hidden="true" { @if due { "\u{25b2}" } @else { "\u{2713}" } }
                    (row(key).map_or(key, |row| row.title))
                }
                p { (units.restate(&words(standing, last))) }
                @if let Some(last) = last { p { small { (units.restate(&told(last))) } } }
            }
            button type="button" data-prove=(key) data-kind=(kind) { (texts::PROVE) }
        }
    }
}

/// The last result, with who made it.
fn told(last: &ProofRecord) -> String {
    let outcome = match last.outcome {
        ProofOutcome::Passed => texts::PROOF_PASSED,
        ProofOutcome::Failed => texts::PROOF_FAILED,
    };
    let took = last.response.map_or_else(String::new, |took| {
        format!(", {} ms {} {} ms", took.as_millis(), texts::OF, last.limit.as_millis())
    });
    format!("{outcome} {} {} {}{took}: {}", day_of(last), texts::BY, last.person, last.found)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn shown(asks: bool, outcome: Option<(&str, ProofEnd)>) -> ProofShown {
        ProofShown {
            key: "guard_open".to_owned(),
            title: "guard open".to_owned(),
            instruction: "Open the guard.".to_owned(),
            asks,
            missing: String::new(),
            outcome: outcome.map(|(words, _)| words.to_owned()),
            end: outcome.map(|(_, end)| end),
        }
    }

    #[test]
    fn an_instruction_can_be_answered_only_while_an_answer_is_waited_for() {
        let page =
            |asks, kind| in_hand(Some(&shown(asks, None)), kind, Units::default()).into_string();
        let (twin, machine) = (RunKind::Twin, RunKind::Machine);
        assert!(page(true, twin).contains("data-prove=\"done\""));
        assert!(!page(false, twin).contains("data-prove=\"done\""));
        assert!(page(true, twin).contains("data-prove=\"act\""));
        assert!(!page(true, machine).contains("data-prove=\"act\""), "no technician at a machine");
        for word in ["skip", "quit"] {
            assert!(page(false, machine).contains(&format!("data-prove=\"{word}\"")));
        }
    }

    #[test]
    fn how_a_proof_ended_is_told_by_word_and_sign_and_asks_nothing_more() {
        for (outcome, end, mark, sign) in [
            ("after 40 ms of 500 ms: tripped", ProofEnd::Passed, "passed", "\u{2713}"),
            ("nothing was seen of the act", ProofEnd::Failed, "failed", "\u{25a0}"),
            ("another tripped", ProofEnd::OtherFirst, "failed", "\u{25a0}"),
            ("left out", ProofEnd::LeftOut, "open", "\u{2013}"),
        ] {
            let ended = shown(false, Some((outcome, end)));
            let page = in_hand(Some(&ended), RunKind::Twin, Units::default()).into_string();
            assert!(page.contains(outcome) && page.contains(sign), "{page}");
            assert!(page.contains(&format!("data-mark=\"{mark}\"")), "{page}");
            assert!(!page.contains("data-prove"), "{page}");
        }
    }

    #[test]
    fn what_is_due_stands_before_what_is_proved_and_each_has_its_key() {
        let known = [("guard_open", Standing::DueIn(300)), ("emergency_stop", Standing::Never)];
        let known = Ok(known.map(|(key, standing)| (key, None, standing)).to_vec());
        let page = list(&known, "plain", Units::default()).into_string();
        let place = |words: &str| page.find(words).unwrap_or_else(|| panic!("{words}: {page}"));
        assert!(place("data-prove=\"emergency_stop\"") < place("data-prove=\"guard_open\""));
        assert!(page.contains("never proved"));
        assert!(!page.contains("data-kind=\"off\""));
        assert!(list(&known, "off", Units::default()).into_string().contains("data-kind=\"off\""));
        let broken = Err("the records cannot be read".to_owned());
        let told = list(&broken, "plain", Units::default()).into_string();
        assert!(told.contains("the records cannot be read"));
    }
}
