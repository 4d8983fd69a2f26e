//! Guessing PINs.

use std::time::{Duration, Instant};

use crate::person::AWAY;
use crate::raw::Answer;
use crate::served::{PEOPLE, Served};

/// What came of so many wrong ones, as quickly as they are answered: how many reached the hash.
fn hashed(served: &Served, away: &[(&str, &str)], name: impl Fn(u32) -> String) -> u32 {
    let mut reached = 0;
    for number in 0..100_u32 {
        let pin = format!("{:04}", 1000 + number * 7);
        let answer = served.post("/sign-in", away, &[("name", &name(number)), ("pin", &pin)]);
        assert_eq!(answer.status, 403, "{answer:?}");
        assert!(answer.header("set-cookie").is_none());
        if answer.body.contains("name or PIN is wrong") {
            reached += 1;
        } else {
            assert!(answer.body.contains("too many wrong PINs: wait"), "{answer:?}");
        }
    }
    reached
}

/// How long a right PIN has to wait; nothing when it is let in.
fn waits(served: &Served, away: &[(&str, &str)]) -> Duration {
    let (name, pin, _) = PEOPLE[0];
    wait_in(&served.post("/sign-in", away, &[("name", name), ("pin", pin)]))
}

/// How long a wrong one from elsewhere has to wait; nothing when it reached the hash.
fn waits_after_wrong(served: &Served) -> Duration {
    wait_in(&served.post("/sign-in", &[AWAY], &[("name", PEOPLE[0].0), ("pin", "1357")]))
}

fn wait_in(answer: &Answer) -> Duration {
    let Some((_, rest)) = answer.body.split_once("PINs: wait ") else { return Duration::ZERO };
    Duration::from_secs(rest.split(' ').next().expect("seconds").parse().expect("a number"))
}

#[test]
fn of_a_hundred_wrong_pins_few_reach_the_hash_and_nobody_elsewhere_locks_the_machine_out() {
    let served = Served::on_twin("1");
    let name = PEOPLE[0].0;
    let begun = Instant::now();
    let reached = hashed(&served, &[AWAY], |_| name.to_owned());
    let took = begun.elapsed();
    // A wait that is just over would tell nothing.
    while waits_after_wrong(&served) < Duration::from_secs(2) {
        std::thread::sleep(Duration::from_millis(50));
    }
    let wait = waits(&served, &[AWAY]);
    println!(
        "of 100 wrong PINs of one name from elsewhere in {took:.1?}, {reached} reached the hash; \
         a right one from there then waits {wait:?}"
    );
    assert!(reached <= 8, "{reached}");
    assert!(!wait.is_zero(), "a right PIN waits as well");
    assert_eq!(waits(&served, &[]), Duration::ZERO, "the operator at the machine is let in");
    served.wrote_refused("sign in", "name or PIN is wrong");
    let begun = Instant::now();
    let reached = hashed(&served, &[], |number| format!("Nobody {number}"));
    let wait = waits(&served, &[]);
    println!(
        "of 100 wrong PINs of any names at the machine in {:.1?}, {reached} reached the hash; a \
         right one there waits {wait:?}",
        begun.elapsed()
    );
    assert!(reached <= 27, "{reached}");
    assert!(wait <= Duration::from_secs(8));
    Served::breathe();
    let lines = served.acts().len();
    println!("all these tries are {lines} lines of the record");
    assert!(lines <= 60, "{lines}");
}
