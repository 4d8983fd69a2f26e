//! Hold, stop and abort in every state of the chart, and during one another: what physically happens
//! on the twin, in which order, and when.
//!
//! The orders are those of the trade: of a hold: powder off, the hose empties over the rest of the
//! pass, the torch clear; of a stop: the same, then the gases in the order of the torch's handbook,
//! the purge, and the spindle until the part is cool; of an abort: powder, fuel and oxygen at once,
//! the torch off the part without air, the purge only there, the part turning on.

#![allow(
    clippy::print_stdout,
    clippy::panic,
    clippy::expect_used,
    clippy::indexing_slicing,
    clippy::string_slice,
    reason = "a test prints its figures, and fails where it cannot go on"
)]

mod asking;
mod checking;
#[path = "../support/mod.rs"]
mod support;
#[path = "../trial/mod.rs"]
mod trial;

use asking::{Run, head};
use checking::FEEDER;
use evenpass_core::request::{Answer, Request};
use evenpass_core::sequence::{Leaf, Phase};
use evenpass_hil::Coil;
use trial::each;
use trial::places::{Place, places};
use trial::told::What;

#[test]
fn hold_stop_and_abort_keep_their_order_in_every_state_of_the_chart() {
    let mut work = Vec::new();
    for place in places() {
        for asked in [Request::Hold, Request::Stop, Request::Abort] {
            work.push((place.clone(), asked));
        }
    }
    let runs = each(work, |(place, asked): (Place, Request)| {
        let name = place.name();
        Run::of(place.trial, name, asked)
    });
    println!("{}", head());
    for run in &runs {
        println!("{}", run.row());
    }
    for mut run in runs {
        run.check();
    }
}

/// What is asked second while the first is being carried out, and how long after it, s: in the next
/// scan, while the hose empties, on the way, just clear, in the purge, at rest.
const LATER: [f64; 7] = [0.0, 0.02, 0.5, 3.0, 11.2, 13.0, 30.0];

/// How a request ends.
const fn end(asked: Request) -> (u8, Phase) {
    match asked {
        Request::Hold => (0, Phase::Held),
        Request::Stop => (1, Phase::Stopped),
        _ => (2, Phase::Aborted),
    }
}

#[test]
fn of_two_requests_the_severer_holds_whichever_came_first_and_whenever() {
    let places = places();
    let at = |leaf: Leaf, note: &str| {
        let found = places.iter().find(|place| place.leaf == leaf && place.note == note);
        found.expect("a place").trial.clone()
    };
    let spraying = at(Leaf::Crossing, "powder on");
    let waiting = [at(Leaf::HeldLit, ""), at(Leaf::HeldUnlit, "at rest")];
    let asks = [Request::Hold, Request::Stop, Request::Abort];
    let mut work = Vec::new();
    for later in LATER {
        for second in asks {
            for first in asks {
                work.push((spraying.clone(), first, later, second));
            }
            for held in &waiting {
                work.push((held.clone(), Request::Restart, later, second));
            }
        }
    }
    let alone = Run::of(spraying.clone(), "held, nothing else asked".to_owned(), Request::Hold);
    let clear_alone = alone.first(What::Clear(true)).expect("it leaves");
    let runs = each(work, |(mut trial, first, later, second)| {
        trial.begin_record();
        assert_eq!(trial.ask(first), Answer::Accepted);
        let asked = trial.now();
        trial.wait(later);
        let (leaf, fed) = (trial.leaf(), trial.truth().feeder_on);
        let off = trial.told.iter().find(|told| told.what == What::Coil(Coil::PowderFeeder, false));
        let fed_for = off.map(|off| off.at.since(asked).as_secs_f64());
        let place = format!("{first:?}, {later} s later in {}", leaf.name());
        (first, fed, fed_for, later, Run::of(trial, place, second))
    });
    println!("{}", head());
    for (.., run) in &runs {
        println!("{}", run.row());
    }
    for (first, fed, fed_for, later, mut run) in runs {
        let is_hold = |asked: Request| matches!(asked, Request::Hold | Request::Restart);
        let severest =
            if is_hold(first) || end(run.asked).0 > end(first).0 { run.asked } else { first };
        assert_eq!(run.phase(), end(severest).1, "{}", run.said());
        run.nothing_starts();
        if run.asked == Request::Abort && first != Request::Abort {
            run.check_abort();
        }
        if first != Request::Restart {
            assert!(!fed || later <= FEEDER, "powder goes on\n{}", run.said());
            // The hose empties over the rest of the pass all the same.
            let emptied = !matches!(severest, Request::Abort) && later < 1.0;
            let clear = run.first(What::Clear(true)).map(|clear| clear + later);
            assert!(
                !emptied || clear.is_some_and(|clear| (clear - clear_alone).abs() < 0.1),
                "clear {clear:?} s after the first request, by itself {clear_alone}\n{}",
                run.said()
            );
            assert!(
                fed_for.is_none_or(|off| off <= FEEDER),
                "powder for {fed_for:?}\n{}",
                run.said()
            );
        }
    }
}
