//! Powder edges on a busy line, in virtual time.

use super::{Bench, FIELD, Fate};
use crate::devices::Urgency;
use crate::image::{Coil, Level, PowderDemand, PowderEdge};
use crate::moment::Moment;

const fn edge(at: u64, to: Level) -> PowderEdge {
    PowderEdge { at: Moment::from_micros(at), to, epoch: 0 }
}

/// Runs with the demand that a sequence makes at each scan for a list of edges.
fn run_edges(bench: &mut Bench, edges: &[PowderEdge], span: u64) {
    bench.edges = edges.to_vec();
    bench.run(span);
    bench.edges.clear();
}

#[test]
fn on_a_busy_line_every_edge_changes_the_coil_at_its_planned_microsecond() {
    let mut bench = Bench::ready();
    bench.outputs.watchdog = Level::On;
    let mut planned = Vec::new();
    let mut at = bench.now + 300_000;
    // 200 edges at odd distances, so that they fall anywhere in the cycle of the polls.
    for count in 0..200_u64 {
        planned.push(edge(at, if count % 2 == 0 { Level::On } else { Level::Off }));
        at += 61_003 + count * 977 % 40_000;
    }
    let from = bench.now;
    run_edges(&mut bench, &planned, at - from);
    let wanted: Vec<_> =
        planned.iter().map(|edge| (edge.at.as_micros(), edge.to.is_on())).collect();
    assert_eq!(bench.module.powder, wanted);
    assert_eq!(bench.rack.powder_counters().worst_error.as_micros(), 0);
    assert_eq!(bench.rack.powder_counters().edges, 200);
    // The polls went on: none came later than one period and a guarded exchange.
    let polls: Vec<_> = bench
        .log
        .iter()
        .filter(|heard| heard.line == FIELD && heard.frame[1] == 2 && heard.sent > from)
        .map(|heard| heard.sent)
        .collect();
    let longest = polls.windows(2).map(|pair| pair[1] - pair[0]).max().unwrap();
    println!("longest time between two reads of the contacts: {longest} us");
    assert!(longest <= 45_000, "{longest} us");
}

#[test]
fn the_ledger_gets_the_planned_moment_with_the_change() {
    let mut bench = Bench::ready();
    let planned = edge(bench.now + 100_000, Level::On);
    run_edges(&mut bench, &[planned], 200_000);
    let switched: Vec<_> = bench.rack.switched().collect();
    assert_eq!(switched.len(), 1);
    assert_eq!((switched[0].coil, switched[0].level), (Coil::Powder, Level::On));
    assert_eq!((switched[0].at, switched[0].planned), (planned.at, Some(planned.at)));
}

#[test]
fn an_edge_may_be_planned_anew_until_it_is_on_the_wire() {
    let mut bench = Bench::ready();
    let first = bench.now + 100_000;
    for shift in [0, 300, 900, 1_700] {
        bench.outputs.powder =
            PowderDemand { now: Level::Off, next: Some(edge(first + shift, Level::On)), epoch: 0 };
        bench.run(super::SCAN);
    }
    run_edges(&mut bench, &[edge(first + 1_700, Level::On)], 100_000);
    assert_eq!(bench.module.powder, [(first + 1_700, true)]);
}

#[test]
fn a_new_epoch_before_the_edge_leaves_the_feeder_off() {
    let mut bench = Bench::ready();
    let planned = edge(bench.now + 50_000, Level::On);
    bench.outputs.powder = PowderDemand { now: Level::Off, next: Some(planned), epoch: 0 };
    bench.run(20_000);
    bench.outputs.powder = PowderDemand { now: Level::Off, next: Some(planned), epoch: 1 };
    bench.run(200_000);
    assert_eq!(bench.module.powder, []);
    assert_eq!(bench.rack.powder_counters().void, 1);
}

#[test]
fn an_on_that_the_line_could_not_send_in_time_is_dropped() {
    let mut bench = Bench::ready();
    let planned = edge(bench.now + 60_000, Level::On);
    // The exchange before the edge goes unanswered: its deadline and quarantine cover the edge.
    let silent_from = planned.at.as_micros() - 20_000;
    bench.decide = Box::new(move |heard| {
        if heard.sent >= silent_from && heard.frame[1] != 5 {
            Fate::ReplyLost
        } else {
            Fate::Answered
        }
    });
    run_edges(&mut bench, &[planned], 300_000);
    assert_eq!(bench.module.powder, []);
    assert_eq!(bench.rack.powder_counters().dropped, 1);
}

#[test]
fn an_off_that_the_line_could_not_send_in_time_is_sent_at_once_after() {
    let mut bench = Bench::ready();
    let on = edge(bench.now + 60_000, Level::On);
    let off = edge(bench.now + 200_000, Level::Off);
    let silent = off.at.as_micros() - 40_000..off.at.as_micros();
    bench.decide = Box::new(move |heard| {
        if silent.contains(&heard.sent) && heard.frame[1] != 5 {
            Fate::ReplyLost
        } else {
            Fate::Answered
        }
    });
    run_edges(&mut bench, &[on, off], 400_000);
    let changes = &bench.module.powder;
    assert_eq!(changes.len(), 2);
    assert_eq!(changes[0], (on.at.as_micros(), true));
    let late = changes[1].0 - off.at.as_micros();
    println!("off behind a lost reply: {late} us late");
    assert!(!changes[1].1 && (1..=65_000).contains(&late), "{late} us");
}

#[test]
fn an_off_whose_echo_is_lost_is_sent_until_it_is_acknowledged() {
    let mut bench = Bench::ready();
    let on = edge(bench.now + 60_000, Level::On);
    let off = edge(bench.now + 200_000, Level::Off);
    let off_at = off.at.as_micros() - 10_000;
    let mut lost = 0;
    bench.decide = Box::new(move |heard| {
        if heard.frame[1] == 5 && heard.sent > off_at && lost < 2 {
            lost += 1;
            return Fate::RequestLost;
        }
        Fate::Answered
    });
    run_edges(&mut bench, &[on, off], 500_000);
    let sent = bench.log.iter().filter(|heard| heard.frame[1] == 5 && heard.sent > off_at).count();
    assert_eq!(sent, 3);
    assert!(!bench.module.coil(0));
    assert_eq!(bench.rack.coil(Coil::Powder).acknowledged, Some(Level::Off));
}

#[test]
fn an_on_whose_echo_is_lost_is_read_back_and_never_sent_again() {
    let mut bench = Bench::ready();
    let on = edge(bench.now + 60_000, Level::On);
    bench.decide = Box::new(|heard| match heard.frame[..6] {
        [1, 5, _, _, 0xFF, _] => Fate::ReplyLost,
        _ => Fate::Answered,
    });
    let from = bench.now;
    run_edges(&mut bench, &[on], 400_000);
    let ons = bench.log.iter().filter(|heard| heard.sent > from && heard.frame[1] == 5).count();
    assert_eq!(ons, 1);
    assert_eq!(bench.rack.coil(Coil::Powder).confirmed, Some(Level::On));
    assert_eq!(bench.rack.coil(Coil::Powder).acknowledged, Some(Level::On));
}

#[test]
fn powder_off_by_level_goes_before_every_poll() {
    let mut bench = Bench::ready();
    let on = edge(bench.now + 60_000, Level::On);
    run_edges(&mut bench, &[on], 200_000);
    bench.outputs.powder = PowderDemand { now: Level::Off, next: None, epoch: 1 };
    bench.scan_at = bench.now;
    let asked = bench.now;
    bench.run(50_000);
    let next = bench.log.iter().find(|heard| heard.line == FIELD && heard.sent >= asked).unwrap();
    assert_eq!(next.frame[1], 5);
    assert!(!bench.module.coil(0));
}

#[test]
fn a_trip_takes_the_powder_off_in_its_own_frame() {
    let mut bench = Bench::ready();
    let on = edge(bench.now + 60_000, Level::On);
    run_edges(&mut bench, &[on], 200_000);
    bench.outputs.powder = PowderDemand { now: Level::Off, next: None, epoch: 1 };
    bench.urgency = Urgency::Trip;
    bench.scan_at = bench.now;
    let asked = bench.now;
    bench.run(50_000);
    let next = bench.log.iter().find(|heard| heard.line == FIELD && heard.sent >= asked).unwrap();
    assert_eq!(next.frame[..6], [1, 0x0F, 0, 0, 0, 15]);
    assert!(!bench.module.coil(0));
    assert_eq!(bench.rack.coil(Coil::Powder).acknowledged, Some(Level::Off));
}
