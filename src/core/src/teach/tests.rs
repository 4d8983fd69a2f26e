//! Parts taught in every way that is right, and in the ways that are not.

use super::*;
use crate::catalogue::Catalogue;
use crate::quantity::Quantity;
use crate::recipe::{Recipe, Substrate};

const POWDERS: (&str, &str) = ("powders.toml", include_str!("../../../../config/powders.toml"));
const TORCHES: (&str, &str) = ("torches.toml", include_str!("../../../../config/torches.toml"));
const SHAFT: &str = include_str!("../../../../config/recipes/reference-shaft.toml");
const STEPPED: &str = include_str!("../../../../config/recipes/stepped-shaft.toml");

fn catalogue() -> Catalogue {
    Catalogue::read(&[POWDERS, TORCHES]).expect("the shipped catalogue")
}

fn mm(value: f64) -> Length {
    Length::from_mm(value)
}

/// The bench with the spray torch of the reference job.
fn limits() -> Limits {
    let catalogue = catalogue();
    let torch = catalogue.torch("spray-6").expect("the spray torch");
    Limits::of(&crate::rig::support::bench(), torch, Some(mm(15.0)))
}

fn point(what: PointKind, at: f64) -> TaughtPoint {
    TaughtPoint { what, at: mm(at), approached: Some(Direction::TowardTail), diameter: None }
}

fn measured(at: f64, diameter: &str) -> TaughtPoint {
    let diameter = Some(Length::parse(diameter).expect("a length"));
    TaughtPoint { diameter, ..point(PointKind::Diameter, at) }
}

/// The reference shaft, its edges taken in this order.
fn shaft(edges: &[f64]) -> Teaching {
    let mut points = vec![point(PointKind::PartFace, 300.0), measured(150.0, "50 mm")];
    points.extend(edges.iter().map(|edge| point(PointKind::ZoneEdge, *edge)));
    Teaching { points, ..Teaching::default() }
}

fn taught(teaching: &Teaching) -> Taught {
    judge(teaching, &limits()).unwrap_or_else(|problems| panic!("{problems}"))
}

fn refused(teaching: &Teaching) -> String {
    judge(teaching, &limits()).expect_err("it is refused").to_string()
}

fn outline(taught: &Taught) -> Vec<(f64, f64)> {
    taught.profile.iter().map(|point| (point.at.mm(), point.diameter.mm())).collect()
}

fn particulars<'a>(zones: &'a [&'a str]) -> Particulars<'a> {
    Particulars { title: "New", part: "new part", substrate: None, bore: None, finish: None, zones }
}

#[test]
fn points_220_then_100_are_stored_100_to_220_with_a_note_and_the_first_pass_is_asked() {
    let mut teaching = shaft(&[220.0, 100.0]);
    let found = taught(&teaching);
    let zone = found.zones[0];
    assert_eq!((zone.edges.low, zone.edges.high), (mm(100.0), mm(220.0)));
    assert_eq!((zone.powder_on.low, zone.powder_on.high), (mm(85.0), mm(235.0)));
    let notes: Vec<String> = found.notes.iter().map(ToString::to_string).collect();
    assert!(notes.iter().any(|note| note.contains("swapped")), "{notes:?}");
    assert_eq!(found.question, Some(Question::FirstPass { taken_from: End::TailSide }));
    let open = recipe_text(&found, &particulars(&[]), SHAFT).expect_err("a question is open");
    assert!(open.to_string().contains("which end does the first pass start from?"), "{open}");
    teaching.starts = Some(End::TailSide);
    let text = recipe_text(&taught(&teaching), &particulars(&[]), SHAFT).expect("answered");
    let recipe = Recipe::read(&text, &catalogue()).expect("a recipe");
    assert_eq!(recipe.spray.starts, End::TailSide);
    assert_eq!((recipe.zones[0].from, recipe.zones[0].to), (mm(100.0), mm(220.0)));
}

#[test]
fn points_100_then_220_are_the_same_zone_without_note_or_question() {
    let found = taught(&shaft(&[100.0, 220.0]));
    assert_eq!(found.question, None);
    assert_eq!(found.notes, [TeachNote::FromTheChuckFace { to: mm(300.0) }]);
    assert_eq!(found.zones[0].powder_on, Range { low: mm(85.0), high: mm(235.0) });
    assert_eq!(outline(&found), [(0.0, 50.0), (300.0, 50.0)]);
}

#[test]
fn edges_at_one_place_or_nearer_than_two_sigma_are_refused_at_the_second() {
    for second in [220.0, 208.1, 231.9] {
        let said = refused(&shaft(&[220.0, second]));
        assert!(said.contains("point[4].at") && said.contains("12 mm"), "{said}");
    }
    assert_eq!(taught(&shaft(&[220.0, 208.0])).zones.len(), 1, "12 mm are two sigma of 6 mm");
}

#[test]
fn a_point_or_an_overrun_out_of_the_travel_is_refused() {
    let mut narrow = limits();
    narrow.travel = Range { low: mm(-40.0), high: mm(230.0) };
    let teaching = |to: f64| {
        let mut teaching = shaft(&[100.0, to]);
        teaching.points[0].at = mm(229.0);
        teaching
    };
    let said = judge(&teaching(220.0), &narrow).expect_err("235 mm").to_string();
    assert!(said.contains("would go to 235 mm") && said.contains("-40 mm to 230 mm"), "{said}");
    assert!(judge(&teaching(215.0), &narrow).is_ok());
    let said = refused(&shaft(&[100.0, 900.0]));
    assert!(said.contains("900 mm is outside the travel"), "{said}");
    let said = refused(&shaft(&[100.0, f64::NAN]));
    assert!(said.contains("outside the travel"), "{said}");
}

#[test]
fn a_typed_place_off_by_an_inch_is_suggested_and_a_jogged_one_is_not() {
    let mut teaching = shaft(&[100.0, 5588.0]);
    teaching.points[3].approached = None;
    assert!(refused(&teaching).contains("did you mean \"220 mm\"? 5588 mm is 220 in."));
    teaching.points[3].approached = Some(Direction::TowardTail);
    assert!(!refused(&teaching).contains("did you mean"));
}

#[test]
fn inches_typed_for_millimetres_and_millimetres_for_inches_are_caught() {
    let with = |diameters: &[&str]| {
        let mut teaching = shaft(&[100.0, 220.0]);
        teaching.points.remove(1);
        let places = [110.0, 150.0, 210.0];
        teaching
            .points
            .extend(places.iter().zip(diameters).map(|(at, typed)| measured(*at, typed)));
        teaching
    };
    for (diameters, words) in [
        // A two-inch bar: alone, and beside diameters that are right.
        (vec!["2 mm"], "did you mean \"2 in\" (50.80 mm)?"),
        (vec!["2 in", "51 mm", "2 mm"], "point[6].diameter: a diameter of 2 mm was typed"),
        // Four inches: the part's length says nothing of 4 mm, and 4 mm could be turned.
        (vec!["4 mm"], "does not go with a part 300 mm long"),
        // Seven millimetres would go with the length, not with the other diameters.
        (vec!["7 in", "178 mm", "7 mm"], "does not go with the other of 177.8 mm"),
        // Millimetres typed as inches.
        (vec!["50 in"], "did you mean \"50 mm\"? 1270 mm is 50 in"),
        (vec!["12 in", "12 mm"], "does not go with the other of"),
    ] {
        let said = refused(&with(&diameters));
        assert!(said.contains(words), "{diameters:?}: {said}");
    }
    let said = refused(&with(&["7 in", "178 mm", "7 mm"]));
    assert_eq!(said.lines().count(), 1, "only the odd one: {said}");
    // A neck of 20 mm on a flange of 200 mm is a part like any other.
    for fine in [vec!["20 mm", "30 mm", "200 mm"], vec!["2 in", "51 mm"], vec!["0.5 in"]] {
        assert!(judge(&with(&fine), &limits()).is_ok(), "{fine:?}");
    }
}

#[test]
fn a_part_length_off_by_an_inch_from_its_drawing_is_refused_and_one_off_a_little_is_noted() {
    let drawn = |length: &str| {
        let mut teaching = shaft(&[100.0, 220.0]);
        teaching.drawn_length = Some(Length::parse(length).expect("a length"));
        teaching
    };
    let said = refused(&drawn("11.8 mm"));
    assert!(said.contains("did you mean \"11.8 in\" (299.72 mm)?"), "{said}");
    let said = refused(&drawn("300 in"));
    assert!(said.contains("did you mean \"300 mm\"? 7620 mm is 300 in"), "{said}");
    let notes = taught(&drawn("303 mm")).notes;
    assert!(notes.contains(&TeachNote::NotAsDrawn { taught: mm(300.0), drawn: mm(303.0) }));
    assert_eq!(taught(&drawn("301 mm")).notes.len(), 1);
}

#[test]
fn a_point_taken_moving_toward_the_chuck_is_noted_with_the_lost_motion() {
    let mut teaching = shaft(&[100.0, 220.0]);
    teaching.points[2].approached = Some(Direction::TowardChuck);
    let notes = taught(&teaching).notes;
    let expected = TeachNote::FromTheTail { point: 3, backlash: mm(0.05) };
    assert!(notes.contains(&expected), "{notes:?}");
    assert!(expected.to_string().contains("0.05 mm"));
    let still = Limits { backlash: Length::ZERO, ..limits() };
    let notes = judge(&teaching, &still).expect("fine").notes;
    assert_eq!(notes.len(), 1, "without lost motion either way is right: {notes:?}");
}

#[test]
fn several_diameters_make_a_taper_and_one_makes_a_cylinder() {
    let teaching = |edges: [f64; 2]| Teaching {
        points: vec![
            point(PointKind::PartFace, 340.0),
            measured(280.0, "60 mm"),
            measured(120.0, "40 mm"),
            point(PointKind::ZoneEdge, edges[0]),
            point(PointKind::ZoneEdge, edges[1]),
        ],
        ..Teaching::default()
    };
    let found = taught(&teaching([130.0, 270.0]));
    assert_eq!(outline(&found), [(0.0, 40.0), (120.0, 40.0), (280.0, 60.0), (340.0, 60.0)]);
    assert_eq!(found.notes.len(), 1, "{:?}", found.notes);
    let beyond = taught(&teaching([130.0, 300.0])).notes;
    let held = TeachNote::DiameterHeld { zone: 1, at: mm(280.0), diameter: mm(60.0) };
    assert!(beyond.contains(&held), "{beyond:?}");
}

#[test]
fn shoulders_make_steps_and_every_stretch_between_them_wants_a_diameter() {
    let mut teaching = Teaching {
        points: vec![
            point(PointKind::PartFace, 420.0),
            TaughtPoint { diameter: Some(mm(60.0)), ..point(PointKind::Shoulder, 200.0) },
            measured(100.0, "45 mm"),
            point(PointKind::ZoneEdge, 260.0),
            point(PointKind::ZoneEdge, 360.0),
            point(PointKind::ZoneEdge, 140.0),
            point(PointKind::ZoneEdge, 60.0),
        ],
        starts: Some(End::ChuckSide),
        drawn_length: None,
    };
    let found = taught(&teaching);
    assert_eq!(outline(&found), [(0.0, 45.0), (200.0, 45.0), (200.0, 60.0), (420.0, 60.0)]);
    let edges: Vec<f64> = found.zones.iter().map(|zone| zone.edges.low.mm()).collect();
    assert_eq!(edges, [60.0, 260.0], "zones come in the order of their places");
    assert!(found.notes.iter().any(|note| matches!(note, TeachNote::Swapped { zone: 1, .. })));
    teaching.points[1].diameter = None;
    let said = refused(&teaching);
    assert!(said.contains("no diameter was typed between 200 mm and 420 mm"), "{said}");
    teaching.points.push(measured(300.0, "45 mm"));
    assert!(taught(&teaching).notes.contains(&TeachNote::NoStep { at: mm(200.0) }));
}

#[test]
fn a_ring_with_both_faces_begins_where_it_was_taken() {
    let mut teaching = shaft(&[60.0, 160.0]);
    teaching.points[0].at = mm(180.0);
    teaching.points.push(point(PointKind::PartFace, 40.0));
    let found = taught(&teaching);
    assert_eq!(outline(&found), [(40.0, 50.0), (180.0, 50.0)]);
    assert_eq!(found.notes, []);
}

#[test]
fn what_is_missing_or_contradicts_itself_is_told_in_words() {
    let but = |change: fn(&mut Vec<TaughtPoint>)| {
        let mut teaching = shaft(&[100.0, 220.0]);
        change(&mut teaching.points);
        refused(&teaching)
    };
    type Change = fn(&mut Vec<TaughtPoint>);
    let cases: [(Change, &str); 11] = [
        (|points| points.truncate(0), "no face of the part was taken"),
        (|points| points[0].at = mm(0.0), "the part has no length"),
        (|points| points[0].at = mm(-20.0), "behind the chuck face"),
        (|points| points.extend([points[0]; 2]), "3 faces of the part were taken"),
        (|points| points.truncate(3), "one edge of a zone was taken"),
        (|points| points.truncate(2), "no edge of a zone was taken"),
        (|points| points[0].at = mm(210.0), "the edge at 220 mm is not on the part"),
        (|points| points[1].diameter = None, "no diameter was typed here"),
        (|points| points[1].at = mm(310.0), "the diameter at 310 mm is not on the part"),
        (|points| points.push(measured(150.05, "52 mm")), "where 50 mm was typed before"),
        (|points| points.push(point(PointKind::Shoulder, 300.0)), "not between the faces"),
    ];
    for (change, words) in cases {
        let said = but(change);
        assert!(said.contains(words), "{words}: {said}");
    }
    let said = refused(&shaft(&[100.0, 200.0, 150.0, 250.0]));
    assert!(said.contains("the zone from 150 mm to 250 mm overlaps"), "{said}");
}

#[test]
fn a_taught_part_keeps_the_comments_of_the_recipe_it_is_made_from() {
    let teaching = shaft(&[40.0, 100.0, 140.0, 180.0, 200.0, 260.0]);
    let names = ["inner seat", "track"];
    let text = recipe_text(&taught(&teaching), &particulars(&names), STEPPED).expect("a text");
    for kept in ["# A step: two points at one place.", "# A stepped shaft", "title = \"New\""] {
        assert!(text.contains(kept), "{kept}\n{text}");
    }
    assert!(!text.contains("lagging box"), "the note was the other part's:\n{text}");
    let recipe = Recipe::read(&text, &catalogue()).unwrap_or_else(|told| panic!("{told}\n{text}"));
    let zones: Vec<(&str, f64)> =
        recipe.zones.iter().map(|zone| (zone.name.as_str(), zone.to.mm())).collect();
    assert_eq!(zones, [("inner seat", 100.0), ("track", 180.0), ("zone 3", 260.0)]);
    assert_eq!((recipe.revision, recipe.part.name.as_str()), (1, "new part"));
    let one = shaft(&[100.0, 220.0]);
    let text = recipe_text(&taught(&one), &particulars(&[]), STEPPED).expect("a text");
    assert_eq!(text.matches("[[zone]]").count(), 1, "{text}");
    assert!(Recipe::read(&text, &catalogue()).is_ok(), "{text}");
}

#[test]
fn a_finish_that_was_told_is_that_of_every_zone_and_else_each_keeps_the_other_recipes() {
    let taught = taught(&shaft(&[60.0, 100.0, 180.0, 220.0]));
    let finishes = |finish: Option<Length>| -> Vec<f64> {
        let particulars = Particulars { finish, ..particulars(&[]) };
        let text = recipe_text(&taught, &particulars, STEPPED).expect("a text");
        let recipe = Recipe::read(&text, &catalogue()).expect("a recipe");
        recipe.zones.iter().map(|zone| zone.finish.mm()).collect()
    };
    let own = Recipe::read(STEPPED, &catalogue()).expect("the shipped recipe");
    let own: Vec<f64> = own.zones.iter().map(|zone| zone.finish.mm()).collect();
    assert_eq!(finishes(None), own);
    assert_eq!(finishes(Some(mm(0.4))), [0.4, 0.4]);
}

#[test]
fn the_bore_of_the_other_part_is_not_the_new_ones() {
    let taught = taught(&shaft(&[100.0, 220.0]));
    let (head, rest) = SHAFT.split_once("[part]").expect("there");
    let (_, zones) = rest.split_once("[[zone]]").expect("there");
    let inline =
        "part = { name = \"x\", substrate = \"cast_iron\", bore = \"20 mm\", profile = [] }";
    for other in [
        SHAFT.replace("profile = [", "bore = \"20 mm\"\nprofile = ["),
        format!("{inline}\n{head}[[zone]]{zones}"),
    ] {
        let text = recipe_text(&taught, &particulars(&[]), &other).expect("a text");
        let read = Recipe::read(&text, &catalogue());
        assert_eq!(read.unwrap_or_else(|told| panic!("{told}\n{text}")).part.bore, Length::ZERO);
    }
}

#[test]
fn an_outline_under_headers_is_written_under_headers() {
    let (before, rest) = SHAFT.split_once("profile = [").expect("there");
    let (_, zones) = rest.split_once("[[zone]]").expect("there");
    let point = "[[part.profile]]\nat = \"0 mm\"\ndiameter = \"1 mm\"\n\n";
    let headed = format!("{before}{point}{point}[[zone]]{zones}");
    let mut teaching = shaft(&[100.0, 220.0]);
    teaching.points.push(measured(200.0, "52 mm"));
    let text = recipe_text(&taught(&teaching), &particulars(&[]), &headed).expect("a text");
    let recipe = Recipe::read(&text, &catalogue()).unwrap_or_else(|told| panic!("{told}\n{text}"));
    assert_eq!(recipe.part.profile.len(), 4, "{text}");
}

#[test]
fn a_blank_recipe_is_accepted_for_every_steel_and_says_that_its_figures_are_no_more_than_usual() {
    let catalogue = catalogue();
    let teaching = shaft(&[100.0, 220.0]);
    for substrate in Substrate::all() {
        let blank = blank(&catalogue, substrate).expect("the catalogue has what it needs");
        let bored = Particulars { bore: Some(mm(12.0)), ..particulars(&["seat"]) };
        let text = recipe_text(&taught(&teaching), &bored, &blank).expect("a text");
        let recipe =
            Recipe::read(&text, &catalogue).unwrap_or_else(|told| panic!("{told}\n{text}"));
        assert_eq!(recipe.part.substrate, substrate);
        assert_eq!(recipe.part.bore, mm(12.0));
        let warnings = recipe.warnings(&catalogue);
        assert!(warnings.is_empty(), "{warnings}\n{text}");
        assert!(text.starts_with("# Made from a blank recipe"), "{text}");
    }
    assert_eq!(super::blank(&Catalogue::default(), Substrate::PlainSteel), None);
}

#[test]
fn a_new_part_is_held_against_the_torch_that_its_blank_recipe_sprays_with() {
    let mut catalogue = catalogue();
    // A fusing torch stands first.
    let fusing =
        |torch: &crate::catalogue::Torch| torch.purpose == crate::catalogue::TorchPurpose::Fusing;
    catalogue.torches.sort_by_key(|torch| !fusing(torch));
    assert!(catalogue.torches.first().is_some_and(fusing));
    let torch = blank_torch(&catalogue).expect("the catalogue has one");
    let text = blank(&catalogue, Substrate::PlainSteel).expect("the catalogue has what it needs");
    let recipe = Recipe::read(&text, &catalogue).expect("a recipe");
    assert_eq!(recipe.spray.torch, torch.key);
    let limits = Limits::of(&crate::rig::support::bench(), torch, None);
    assert_eq!(limits.plume, catalogue.torch(&recipe.spray.torch).expect("there").plume);
    assert_eq!(blank_torch(&Catalogue::default()), None);
}
