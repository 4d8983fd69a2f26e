//! What the readers make of good files, and the figures behind their checks.

#![expect(clippy::expect_used, reason = "a test fails with what was read")]

use evenpass_core::catalogue::{Catalogue, TorchPurpose};
use evenpass_core::document::{Problems, Severity};
use evenpass_core::image::{Analogue, Coil, Contact, Level};
use evenpass_core::quantity::{Length, SpindleSpeed, Time};
use evenpass_core::recipe::{FeedChoice, Recipe};
use evenpass_core::rig::{LineId, Rig, Sense, SpindleSpec, check_together};

const POWDERS: (&str, &str) = ("powders.toml", include_str!("../../../config/powders.toml"));
const TORCHES: (&str, &str) = ("torches.toml", include_str!("../../../config/torches.toml"));
const REFERENCE: &str = include_str!("../../../config/recipes/reference-shaft.toml");
const BENCH: &str = include_str!("../../../config/rigs/bench.toml");
const GEARBOX: &str = include_str!("../../../config/rigs/gearbox-lathe.toml");

fn catalogue() -> Catalogue {
    Catalogue::read(&[POWDERS, TORCHES]).expect("shipped")
}

fn reference(change: (&str, &str)) -> Result<Recipe, Problems> {
    assert!(REFERENCE.contains(change.0), "{} is not in the reference recipe", change.0);
    Recipe::read(&REFERENCE.replace(change.0, change.1), &catalogue())
}

fn bench(change: (&str, &str)) -> Result<Rig, Problems> {
    assert!(BENCH.contains(change.0), "{} is not in the bench's file", change.0);
    Rig::read(&BENCH.replace(change.0, change.1))
}

/// The paths of the errors.
fn errors<T>(read: Result<T, Problems>) -> Vec<String> {
    match read {
        Ok(_) => Vec::new(),
        Err(problems) => problems.errors().map(|problem| problem.path.clone()).collect(),
    }
}

#[test]
fn the_reference_recipe_holds_the_figures_of_its_text() {
    let recipe = reference(("", "")).expect("shipped");
    let zone = recipe.zones.first().expect("one zone");
    assert_eq!(zone.finish, Length::from_mm(0.35));
    assert_eq!(zone.passes, None);
    assert!(matches!(zone.feed, FeedChoice::Pitch(pitch) if pitch.mm_per_turn() == 5.0));
    assert_eq!(recipe.part.extent().high, Length::from_mm(300.0));
    assert_eq!(recipe.part.bore, Length::ZERO);
    assert_eq!(recipe.spray.blasted_within, Time::from_s(7200.0));
}

#[test]
fn a_torch_for_one_purpose_has_one_setting_for_both() {
    let catalogue = catalogue();
    let torch = catalogue.torch("fuse-heavy").expect("shipped");
    assert_eq!(torch.purpose, TorchPurpose::Fusing);
    assert_eq!(torch.spraying, torch.fusing);
    assert_eq!(torch.powder_rate, None);
}

#[test]
fn the_bench_has_every_wire_in_the_order_of_its_tags() {
    let rig = bench(("", "")).expect("shipped");
    let order: Vec<Contact> = rig.field.contacts.iter().map(|contact| contact.tag).collect();
    assert_eq!(order, Contact::ALL);
    let order: Vec<Analogue> = rig.field.analogues.iter().map(|analogue| analogue.tag).collect();
    assert_eq!(order, Analogue::ALL);
    let order: Vec<Coil> = rig.field.coils.iter().map(|coil| coil.coil).collect();
    assert_eq!(order, Coil::ALL);
    assert_eq!((rig.field.line, rig.axis.line), (LineId(0), LineId(1)));
    let abort = rig.field.contacts.iter().find(|spec| spec.tag == Contact::AbortButtonRest);
    assert_eq!(abort.and_then(|spec| spec.input), Some(30));
    let scale = rig.field.analogues.iter().find(|spec| spec.tag == Analogue::ExtractionFlow);
    assert_eq!(scale.map(|spec| spec.at_20_ma), Some(100.0));
    assert_eq!(rig.axis.registers.write_block, 0x0200);
}

#[test]
fn an_absent_contact_reads_what_the_source_says_and_not_the_file() {
    let rig = bench(("standoff = { input = 22 }", "standoff = \"not_fitted\"")).expect("allowed");
    let spec = rig.field.contacts.iter().find(|spec| spec.tag == Contact::Standoff).expect("one");
    assert_eq!((spec.input, spec.absent, spec.sense), (None, Level::On, Sense::Straight));
}

#[test]
fn a_gearbox_has_the_speeds_of_its_lever() {
    let rig = Rig::read(GEARBOX).expect("shipped");
    let SpindleSpec::Gears(table) = &rig.spindle else { panic!("{:?}", rig.spindle) };
    assert_eq!(table.speeds.len(), 12);
    assert_eq!(table.motor.speeds.high, SpindleSpeed::from_rpm(1400.0));
}

#[test]
fn each_limit_holds_at_its_figure_and_not_beyond() {
    // 0.2 s of silence and v / 250 mm/s2 to stop are 0.5 s at 75 mm/s.
    let positioning = "positioning = \"60 mm/s\"";
    assert!(bench((positioning, "positioning = \"75 mm/s\"")).is_ok());
    let over = bench((positioning, "positioning = \"75.1 mm/s\""));
    assert_eq!(errors(over), ["axis.positioning"]);
    // Two standard deviations of a plume of 6 mm.
    let edge = "to = \"220 mm\"";
    assert!(reference((edge, "to = \"112 mm\"")).is_ok());
    assert_eq!(errors(reference((edge, "to = \"111.9 mm\""))), ["zone[1].to"]);
    // 2.5 mm as sprayed at densities of 6.6 and 8.05 are 2.0497 mm fused, of which 0.2 mm are
    // allowance (mass balance, computed here).
    let finish = "finish = \"0.35 mm\"";
    assert!(reference((finish, "finish = \"1.849 mm\"")).is_ok());
    assert_eq!(errors(reference((finish, "finish = \"1.850 mm\""))), ["zone[1].finish"]);
}

#[test]
fn a_pitch_is_judged_by_the_feed_it_makes() {
    // 20 m/min on 50 mm are 127.324 rpm (1000 v / (pi d), computed here); 40 mm/s are then
    // 18.85 mm a turn. Beyond 12 mm a turn, two standard deviations, single bands show.
    let pitch = "pitch = \"5 mm/turn\"";
    let coarse = reference((pitch, "pitch = \"18.8 mm/turn\"")).expect("inside the torch's range");
    let warnings = coarse.warnings(&catalogue());
    let paths: Vec<&str> = warnings.iter().map(|warning| warning.path.as_str()).collect();
    assert_eq!(paths, ["zone[1].pitch"]);
    assert_eq!(errors(reference((pitch, "pitch = \"18.9 mm/turn\""))), ["zone[1].pitch"]);
}

#[test]
fn the_run_up_of_the_reference_job_is_lead_and_ramp() {
    // 10.61 mm/s times 0.7 s and v2 / (2 a) are 7.43 mm and 0.56 mm; with the overrun of 15 mm
    // a zone from z on reaches z - 22.99 mm (computed here). The travel begins at -40 mm.
    let recipe = reference(("from = \"100 mm\"", "from = \"0 mm\"")).expect("on the part");
    let from = |travel: &str| {
        let change = ("travel = { from = \"-40 mm\"", format!("travel = {{ from = \"{travel}\""));
        let rig = bench((change.0, &change.1)).expect("a travel");
        check_together(&recipe, &rig, &catalogue()).forbid()
    };
    assert!(!from("-23 mm"));
    assert!(from("-22.9 mm"));
}

#[test]
fn a_speed_the_gearbox_misses_by_more_than_a_tenth_is_a_warning() {
    // 28 m/min on 50 mm are 178.3 rpm; 180 rpm is 1.0 % off. 20 m/min on 60 mm are 106.1 rpm;
    // 125 rpm is 17.8 % off (n = 1000 v / (pi d), computed here).
    let rig = Rig::read(GEARBOX).expect("shipped");
    let recipe = reference(("surface_speed = \"20 m/min\"", "surface_speed = \"28 m/min\""));
    let near = check_together(&recipe.expect("allowed"), &rig, &catalogue());
    assert!(near.is_empty(), "{near}");
    let recipe = reference(("diameter = \"50 mm\"", "diameter = \"60 mm\"")).expect("allowed");
    let off = check_together(&recipe, &rig, &catalogue());
    let first = off.iter().next().expect("a warning");
    assert_eq!(first.severity, Severity::Warning);
    assert!(first.found.contains("+17.8 % off"), "{first}");
}

#[test]
fn catalogue_files_share_their_keys_and_gases() {
    let (torches, gases) =
        TORCHES.1.split_at(TORCHES.1.find("[[fuel_gas]]").expect("gases at the end"));
    let files = [("torches.toml", torches), ("gases.toml", gases)];
    assert_eq!(Catalogue::read(&files).expect("gases of another file").torches.len(), 4);
    let twice = [TORCHES, ("more.toml", TORCHES.1)];
    let problems = Catalogue::read(&twice).expect_err("every torch twice");
    let (name, list) = problems.iter().next().expect("one file");
    assert_eq!((name, list.errors().count()), ("more.toml", 4));
    assert!(problems.render(&twice).contains("--> more.toml:"));
}

#[test]
fn interlocks_are_carried_as_they_are_written() {
    let change = "[attendance]";
    let more = "[interlock.flame_lost]\nset_point = \"14 psi\"\ndelay = \"250 ms\"\ntag = \"BS-1\"\n\n[attendance]";
    let rig = bench((change, more)).expect("a plain name");
    let figures = rig.interlocks.first().expect("one row");
    assert_eq!(figures.key, "flame_lost");
    let given = figures.set_point.expect("a pressure");
    assert!((given.value - 0.965_266).abs() < 1e-6 && given.unit == "bar");
    assert_eq!(figures.delay, Some(Time::from_s(0.25)));
    assert_eq!(figures.tag.as_deref(), Some("BS-1"));
}

#[test]
fn a_flame_above_70_kw_is_refused_on_a_rig_without_automatic_burner_control() {
    // 75 L/min of acetylene at 56.4 kJ/L are 70.5 kW, 74 L/min are 69.6 kW (computed here).
    let recipe = reference(("finish", "finish")).expect("the reference");
    let text = TORCHES.1;
    let with = |fuel: &str| {
        let changed = text.replace(
            "spraying = { fuel = \"18 L/min\"",
            &format!("spraying = {{ fuel = \"{fuel}\""),
        );
        assert_ne!(changed, text);
        Catalogue::read(&[POWDERS, (TORCHES.0, &changed)]).expect("a catalogue")
    };
    let watched = bench(("lit_by = \"hand\"", "lit_by = \"hand\"\nflame_watch = \"operator\""))
        .expect("a rig");
    let controlled =
        bench(("lit_by = \"hand\"", "lit_by = \"hand\"\nflame_watch = \"burner_control\""))
            .expect("a rig");
    let plain = bench(("lit_by = \"hand\"", "lit_by = \"hand\"")).expect("a rig");
    for rig in [&watched, &plain] {
        assert!(!check_together(&recipe, rig, &with("74 L/min")).forbid());
        let problems = check_together(&recipe, rig, &with("75 L/min"));
        assert!(problems.forbid());
        let found: Vec<String> = problems.iter().map(ToString::to_string).collect();
        assert!(found.iter().any(|one| one.contains("automatic burner control")), "{found:?}");
    }
    assert!(!check_together(&recipe, &controlled, &with("75 L/min")).forbid());
}
