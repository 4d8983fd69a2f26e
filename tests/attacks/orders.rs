//! What is told of an order at the panel, and the choice of the order that the next part is for: the
//! same in the records as by the verbs of the command line, and from nobody else's pages.

use std::process::{Command, Output};
use std::time::Duration;

use evenpass::record::{BatchId, MarkRecord, Of, RunKind, Said, Store};
use evenpass_core::quantity::Time;

use crate::person::{AWAY, Browser, new_id};
use crate::served::Served;

/// The order of the tests, and one that was taken in after it.
const ORDER: &str = "B3";
const LATER: &str = "B4";
const PERSON: &str = "C. Operator";

/// Asks the command line about the records of a served machine.
fn evenpass(served: &Served, arguments: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_evenpass"))
        .current_dir(env!("CARGO_MANIFEST_DIR"))
        .args(arguments)
        .arg("--records")
        .arg(served.file("runs.sqlite"))
        .output()
        .expect("the program")
}

fn done(output: &Output) -> String {
    let text = String::from_utf8_lossy(&[&output.stdout[..], &output.stderr].concat()).into_owned();
    assert!(output.status.success(), "{text}");
    text
}

/// A served machine with an order of three parts of the short job, and a later one of two.
fn with_orders() -> Served {
    let served = Served::on_twin("1");
    let recipe = served.file("recipes/short-job.toml").display().to_string();
    for (name, serials) in [(ORDER, "X1,X2,X3"), (LATER, "Y1,Y2")] {
        let make = ["batch", "make", &recipe, "--name", name, "--serials", serials];
        done(&evenpass(&served, &[&make[..], &["--person", PERSON]].concat()));
    }
    served
}

fn marks(served: &Served, order: &str) -> Vec<MarkRecord> {
    let store = Store::open_existing(&served.file("runs.sqlite")).expect("records");
    store.marks(Of::Batch(&BatchId::stored(order.to_owned()))).expect("marks")
}

fn tell(browser: &Browser<'_>, act: &str, fields: &[(&str, &str)]) -> (u16, String) {
    let told = [&[("batch", ORDER), ("act", act)], fields].concat();
    let answer = browser.post("/batch/told", &told);
    (answer.status, answer.body)
}

fn choose(browser: &Browser<'_>, order: &str) -> (u16, String) {
    let turn = browser.turn().to_string();
    let answer = browser.post("/batch/choose", &[("batch", order), ("turn", &turn)]);
    (answer.status, answer.body)
}

/// How the order in hand stands, once it was looked.
fn block(browser: &Browser<'_>, so: impl Fn(&str) -> bool) -> String {
    let mut found = String::new();
    for _ in 0..100 {
        let live = browser.live("run");
        found = live["changed"]["batch"]["html"].as_str().unwrap_or_default().to_owned();
        if so(&found) {
            return found;
        }
        std::thread::sleep(Duration::from_millis(100));
    }
    panic!("what was waited for never came: {found}");
}

#[test]
fn what_is_told_of_an_order_stands_in_the_records_as_by_the_command_line() {
    let served = with_orders();
    let operator = Browser::of(&served, "Operator");
    let verb = |verb: &str, options: &[&str]| {
        let own = ["batch", verb, ORDER, "--person", PERSON];
        done(&evenpass(&served, &[&own[..], options].concat()));
    };
    let told = |act: &str, fields: &[(&str, &str)]| {
        let (status, body) = tell(&operator, act, fields);
        assert!(status == 200 && body.contains("\"accepted\""), "{act}: {status} {body}");
    };
    verb("refilled", &["--holds", "1.5 kg"]);
    told("refilled", &[("holds", " 1.5 kg ")]);
    verb("tip-cleaned", &[]);
    told("tip-cleaned", &[]);
    verb("blasted", &["--parts", "1-2,3,2", "--ago", "20 min"]);
    told("blasted", &[("parts", "1-2, 3,2"), ("ago", "20 min")]);
    let powder = ["nickel-medium", "L-4711", "--certificate", "C 9"];
    verb("lot", &powder);
    told("lot", &[("of", "nickel-medium"), ("lot", "L-4711"), ("certificate", "C 9")]);
    verb("lot", &["oxygen", "O-1", "--contents", "6000 L"]);
    told("lot", &[("of", "oxygen"), ("lot", "O-1"), ("certificate", ""), ("contents", "6000 L")]);

    let all = marks(&served, ORDER);
    assert_eq!(all.len(), 10, "{all:#?}");
    for pair in all.chunks(2) {
        let [verb, panel] = pair else { panic!("{pair:?}") };
        let (verb, panel) = (&verb.mark, &panel.mark);
        assert_eq!((&panel.person, &panel.rig), (&verb.person, &verb.rig));
        assert_eq!((panel.kind, &panel.batch), (RunKind::Twin, &verb.batch));
        assert_eq!((&panel.run, &verb.run), (&None, &None));
        match (&verb.said, &panel.said) {
            (
                Said::Blasted { parts, ended },
                Said::Blasted { parts: at_panel, ended: ended_at_panel },
            ) => {
                assert_eq!((parts, at_panel), (&vec![1, 2, 3], parts));
                let apart = ended_at_panel.duration_since(*ended).as_secs();
                let between = panel.at.duration_since(verb.at).as_secs();
                assert!((apart - between).abs() <= 1, "{apart} s, told {between} s apart");
            }
            (verb, panel) => assert_eq!(panel, verb),
        }
    }
    assert!(done(&evenpass(&served, &["records", "verify"])).contains("nothing was changed"));
}

#[test]
fn what_cannot_be_is_refused_with_one_message_that_names_what_is_accepted() {
    let served = with_orders();
    let operator = Browser::of(&served, "Operator");
    for (act, fields, field, accepted) in [
        ("refilled", &[("holds", "30")][..], "Hopper holds now: `30` has no unit", "g, kg"),
        ("refilled", &[("holds", "30 mm")], "Hopper holds now: ", "kg"),
        ("refilled", &[], "Hopper holds now", "kg"),
        ("refilled", &[("holds", "21 kg")], "Hopper holds now: found 21000", "0 g to 20000"),
        ("blasted", &[("parts", "1-4")], "Parts: found", "numbers from 1 to 3"),
        ("blasted", &[("parts", "1"), ("ago", "20")], "How long ago: `20`", "min"),
        ("blasted", &[("parts", "1"), ("ago", "25 h")], "How long ago: found", "0 s to 24 h"),
        ("lot", &[("of", "oxygen")], "Lot: found nothing", "what it is called"),
        ("lot", &[("of", "chalk"), ("lot", "L")], "Lot of: found", "oxygen"),
        (
            "lot",
            &[("of", "nickel-medium"), ("lot", "L"), ("contents", "5 L")],
            "Bottles hold: found",
            "nothing here",
        ),
        ("polished", &[], "nothing of that name", ""),
    ] {
        let (status, body) = tell(&operator, act, fields);
        assert_eq!(status, 403, "{act}: {body}");
        for words in [field, accepted] {
            assert!(body.contains(words), "{act}, no \"{words}\": {body}");
        }
        assert!(!body.contains("\\n") && !body.contains("--"), "one line of a page: {body}");
    }
    let none = operator.post("/batch/told", &[("batch", "B9"), ("act", "tip-cleaned")]);
    assert!(none.status == 403 && none.body.contains("B9"), "{none:?}");
    assert_eq!(marks(&served, ORDER).len(), 0, "nothing was written");
}

#[test]
fn nobody_tells_of_an_order_or_chooses_one_without_a_session_from_elsewhere_or_twice() {
    let served = with_orders();
    let operator = Browser::of(&served, "Operator");
    operator.take_seat();
    let (turn, id) = (operator.turn().to_string(), new_id());
    let fields = |form: &'static str| {
        [("batch", ORDER), ("act", "refilled"), ("holds", "1 kg"), ("form", form), ("id", "1")]
    };
    for path in ["/batch/told", "/batch/choose"] {
        assert_eq!(served.post(path, &[], &fields("x")).status, 401, "{path}");
        served.wrote_refused(&format!("POST {path}"), "sign in first");
        let headers = [&operator.headers()[..], &[("Origin", "http://elsewhere.example")]].concat();
        let asked = served.post(path, &headers, &fields("x"));
        assert_eq!(asked.status, 403, "{path}: {asked:?}");
        served.wrote_refused(&format!("POST {path}"), "not the panel's");
    }
    let no_token = served.post("/batch/told", &operator.headers(), &fields("x"));
    assert_eq!(no_token.status, 403, "{no_token:?}");
    served.wrote_refused("batch B3: refilled 1 kg", "not come from a page of this session");
    let through = operator.through(AWAY);
    let (status, body) = tell(&through, "refilled", &[("holds", "1 kg")]);
    assert!(status == 403 && body.contains("stands before the machine"), "{status} {body}");
    let away = through.post("/batch/choose", &[("batch", ORDER), ("turn", &turn)]);
    assert_eq!(away.status, 403, "{away:?}");
    served.wrote_refused("make parts of batch B3", "only somebody at the machine");
    let fitter = Browser::of(&served, "Fitter");
    let (status, body) = choose(&fitter, ORDER);
    assert!(status == 403 && body.contains("the seat is C. Operator's"), "{status} {body}");
    assert_eq!(marks(&served, ORDER).len(), 0, "nothing was written");

    let told = |id: &str| {
        let own = [("batch", ORDER), ("act", "refilled"), ("holds", "1 kg"), ("id", id)];
        let fields = [&own[..], &[("form", operator.form.as_str())]].concat();
        served.post("/batch/told", &operator.headers(), &fields).status
    };
    assert_eq!((told(&id), told(&id)), (200, 409), "the same request is answered once");
    assert_eq!(marks(&served, ORDER).len(), 1);
    // Telling moves nothing: it needs no seat.
    assert_eq!(tell(&fitter, "refilled", &[("holds", "1 kg")]).0, 200);
    assert_eq!(marks(&served, ORDER)[1].mark.person, "A. Fitter");
}

#[test]
fn an_order_is_chosen_by_a_person_in_the_seat_and_nothing_moves_by_it() {
    let served = with_orders();
    let operator = Browser::of(&served, "Operator");
    operator.take_seat();
    let (status, body) = choose(&operator, ORDER);
    assert!(status == 200 && body.contains("\"accepted\""), "{status} {body}");
    let shown = block(&operator, |block| block.contains(ORDER));
    assert!(shown.contains("part 1 of 3, serial X1"), "{shown}");
    assert!(shown.contains("nobody has said what is in the hopper"), "{shown}");
    // What is told is seen at once, with no part made meanwhile.
    assert_eq!(tell(&operator, "refilled", &[("holds", "1 kg")]).0, 200);
    let shown = block(&operator, |block| !block.contains("nobody has said what is in the hopper"));
    assert!(shown.contains("1000.0 g"), "{shown}");
    // Blasted now, as the controller is told it, is the part in the chuck: the next one.
    let blasted = operator.ask("blasted-now", "");
    assert!(blasted.status == 200 && blasted.body.contains("blasted: part 1"), "{blasted:?}");
    block(&operator, |block| !block.contains("blast the part"));
    // A start that is denied is no part that is being made.
    assert!(operator.ask("start", "").body.contains("denied"));
    assert_eq!(tell(&operator, "refilled", &[("holds", "2 kg")]).0, 200);
    let shown = block(&operator, |block| block.contains("2000.0 g"));
    assert!(shown.contains("part 1 of 3") && shown.contains("nothing is needed"), "{shown}");

    // The recipe is the loaded one: the choice changes the order alone.
    assert_eq!(choose(&operator, LATER).0, 200);
    let shown = block(&operator, |block| block.contains(LATER));
    assert!(shown.contains("part 1 of 2, serial Y1"), "{shown}");
    assert_eq!(choose(&operator, "").0, 200);
    block(&operator, |block| block.contains("of no order"));
    let (status, body) = choose(&operator, "B9");
    assert!(status == 403 && body.contains("B9"), "{status} {body}");
    assert!(served.state().starts_with("Idle"), "nothing moves by it: {}", served.state());
    let store = Store::open_existing(&served.file("runs.sqlite")).expect("records");
    let begun = |run: &evenpass::record::RunSummary| run.lasted > Time::ZERO;
    assert!(!store.runs().expect("runs").iter().any(begun), "no part has begun");
}

#[test]
fn a_script_in_what_a_person_typed_is_a_text_on_the_pages_of_an_order_and_in_its_report() {
    const TYPED: &str = "<script>alert(1)</script>";
    let served = Served::on_twin("1");
    let recipe = served.file("recipes/script.toml").display().to_string();
    let serials = format!("{TYPED},S2");
    let make = ["batch", "make", &recipe, "--name", TYPED, "--serials", &serials];
    done(&evenpass(&served, &[&make[..], &["--person", TYPED]].concat()));
    let operator = Browser::of(&served, "Operator");
    operator.take_seat();
    assert_eq!(choose(&operator, TYPED).0, 200);
    let lot = [("batch", TYPED), ("act", "lot"), ("of", "oxygen"), ("lot", TYPED)];
    assert_eq!(operator.post("/batch/told", &lot).status, 200);
    let address = "name=%3Cscript%3Ealert%281%29%3C%2Fscript%3E";
    let report = operator.get(&format!("/batch/report?{address}"));
    let kept = report.header("content-disposition");
    assert_eq!(kept, Some("attachment; filename=\"-script-alert-1---script--shift.html\""));
    let list = operator.get("/batches").body;
    assert!(list.contains(&format!("href=\"/batch?{address}\"")), "{list}");
    let pages = [
        block(&operator, |block| block.contains("part 1 of 2")),
        list,
        operator.get(&format!("/batch?{address}")).body,
        report.body,
    ];
    for page in &pages {
        assert!(page.contains("&lt;script&gt;alert(1)"), "it is shown as a text: {page}");
        assert!(!page.contains("<script>alert"), "{page}");
    }
    // A name of nothing in an address is what a person typed, too.
    for path in ["/batch", "/batch/report"] {
        let none = operator.get(&format!("{path}?{address}x"));
        assert_eq!(none.status, 404, "{path}: {none:?}");
        let kind = none.header("content-type").unwrap_or_default();
        assert!(!kind.contains("html") || !none.body.contains("<script>alert"), "{none:?}");
    }
}
