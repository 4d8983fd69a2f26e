//! Who is signed in and asks for more than is theirs.

use crate::person::{AWAY, Browser};
use crate::served::Served;

#[test]
fn an_operator_does_no_maintenance_and_adds_nobody() {
    let served = Served::on_twin("1");
    let operator = Browser::of(&served, "Operator");
    operator.take_seat();
    for (word, value) in [("manual", ""), ("nudge", "1 mm"), ("leave-manual", "")] {
        let answer = operator.ask(word, value);
        assert_eq!(answer.status, 403, "{answer:?}");
        let act = served.wrote_refused(word, "maintenance or an engineer");
        assert_eq!(act.person, "C. Operator");
    }
    assert_eq!(operator.ask("take-point", "").status, 403);
    served.wrote_refused("take-point", "this needs an engineer");
    let turn = operator.turn().to_string();
    let prove = operator.post("/prove", &[("prove", "guard_closed"), ("turn", &turn)]);
    assert_eq!(prove.status, 403);
    served.wrote_refused("prove guard_closed", "maintenance or an engineer");
    let teach = operator.post("/teach", &[("act", "take")]);
    assert_eq!(teach.status, 403);
    let (status, _) = crate::jog_line::opened(&operator);
    assert_eq!(status, 403);
    served.wrote_refused("jog", "maintenance or an engineer");
    for path in ["/people", "/people/add"] {
        assert_eq!(operator.post(path, &[("name", "D")]).status, 404);
    }
    served.wrote_refused("POST /people/add", "no such page");
    // Nor is there a word for a held key among those that are asked.
    for word in ["jog", "jog-chuck", "stop", "quit"] {
        assert_eq!(operator.ask(word, "").status, 403);
    }
}

#[test]
fn what_was_asked_in_an_earlier_turn_is_stale() {
    let served = Served::on_twin("1");
    let (operator, fitter) = (Browser::of(&served, "Operator"), Browser::of(&served, "Fitter"));
    operator.take_seat();
    let shown = operator.turn().to_string();
    operator.post("/seat", &[("act", "leave")]);
    fitter.take_seat();
    let asked = operator.post("/ask", &[("ask", "home"), ("turn", &shown)]);
    assert_eq!(asked.status, 403, "{asked:?}");
    served.wrote_refused("home", "the seat is A. Fitter's");
    fitter.post("/seat", &[("act", "leave")]);
    operator.take_seat();
    let asked = operator.post("/ask", &[("ask", "home"), ("turn", &shown)]);
    assert_eq!(asked.status, 403, "{asked:?}");
    served.wrote_refused("home", "from an earlier time in the seat");
    let load = operator.post("/load", &[("recipe", "short-job.toml"), ("turn", &shown)]);
    assert_eq!(load.status, 403);
}

#[test]
fn from_elsewhere_nothing_is_commanded_and_nobody_is_kept_from_the_seat() {
    let served = Served::on_twin("1");
    let away = Browser::from(&served, "Engineer", &[AWAY]);
    let seat = away.post("/seat", &[("act", "take")]);
    assert_eq!(seat.status, 403, "{seat:?}");
    served.wrote_refused("seat: take", "somebody at the machine");
    let here = Browser::of(&served, "Operator");
    here.take_seat();
    let turn = here.turn().to_string();
    // The same session, through another server: who took the seat here has it here alone.
    let through = here.through(AWAY);
    for (path, fields, what) in [
        ("/ask", [("ask", "home"), ("turn", turn.as_str())], "home"),
        ("/load", [("recipe", "short-job.toml"), ("turn", turn.as_str())], "load"),
        ("/bench", [("act", "key-on"), ("turn", turn.as_str())], "bench: key-on"),
    ] {
        let answer = through.post(path, &fields);
        assert_eq!(answer.status, 403, "{what}: {answer:?}");
        let act = served.wrote_refused(what, "only somebody at the machine");
        assert_eq!(act.whence.to_string(), "127.0.0.1", "the other end, which is not the machine");
    }
    // What only takes energy away is taken from there.
    let hold = through.post("/ask", &[("ask", "hold"), ("turn", &turn)]);
    assert_eq!(hold.status, 200, "{hold:?}");
}

#[test]
fn points_that_were_taken_are_taken_back_and_answered_only_from_the_seat_at_the_machine() {
    let served = Served::on_twin("1");
    let engineer = Browser::of(&served, "Engineer");
    for act in ["take", "clear", "chuck_side", "tail_side", "remove"] {
        let answer = engineer.post("/teach", &[("act", act), ("value", "0/0"), ("turn", "0")]);
        assert_eq!(answer.status, 403, "{act}: {answer:?}");
        served.wrote_refused(&format!("teach: {act}"), "nobody has the seat");
    }
    engineer.take_seat();
    let turn = engineer.turn().to_string();
    let through = engineer.through(AWAY);
    for act in ["clear", "tail_side"] {
        let answer = through.post("/teach", &[("act", act), ("turn", &turn)]);
        assert_eq!(answer.status, 403, "{act}: {answer:?}");
        served.wrote_refused(&format!("teach: {act}"), "only somebody at the machine");
        let answer = engineer.post("/teach", &[("act", act), ("turn", "0")]);
        assert_eq!(answer.status, 403, "{act}: {answer:?}");
        served.wrote_refused(&format!("teach: {act}"), "from an earlier time in the seat");
        let answer = engineer.post("/teach", &[("act", act), ("turn", &turn)]);
        assert_eq!(answer.status, 200, "{act}: {answer:?}");
    }
    // Saving needs no seat: there is nothing to save, which is another refusal.
    let fields = [("act", "save"), ("name", "new"), ("title", "x"), ("substrate", "steel")];
    let saved = through.post("/teach", &fields);
    assert_eq!(saved.status, 403, "{saved:?}");
    assert!(!saved.body.contains("at the machine"), "{saved:?}");
}
