//! A plan on a page, as a browser gets it, and a plan with other values beside its own.

#![allow(
    clippy::panic,
    clippy::expect_used,
    clippy::indexing_slicing,
    clippy::string_slice,
    reason = "a test fails with the text it is about"
)]

use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};

use serde_json::Value;

const SHIPPED: [&str; 5] =
    ["pump-sleeve", "reference-shaft", "short-job", "stepped-shaft", "taper-spindle"];

fn recipe(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("config/recipes").join(format!("{name}.toml"))
}

fn plan(recipe: &Path, arguments: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_evenpass"))
        .arg("plan")
        .arg(recipe)
        // What the person who runs the tests has measured is no part of them.
        .arg("--unlearned")
        .args(arguments)
        .output()
        .expect("the program runs")
}

fn text(bytes: &[u8]) -> String {
    String::from_utf8(bytes.to_vec()).expect("text")
}

fn as_json(recipe: &Path, arguments: &[&str]) -> Value {
    let output = plan(recipe, &[&["--json"], arguments].concat());
    assert!(output.status.success(), "{}", text(&output.stderr));
    serde_json::from_slice(&output.stdout).expect("JSON")
}

/// The page of a recipe.
fn page(recipe: &Path, arguments: &[&str]) -> String {
    let folder = tempfile::tempdir().expect("a folder");
    let file = folder.path().join("plan.html");
    let name = file.to_str().expect("a name");
    let output = plan(recipe, &[&["--html", name, "--date", "2026-11-29"], arguments].concat());
    assert!(output.status.success(), "{}", text(&output.stderr));
    fs::read_to_string(&file).expect("the page")
}

/// The number that a quantity in JSON begins with.
fn number(value: &Value) -> f64 {
    let words = value.as_str().expect("a quantity").split(' ').next().expect("a number");
    words.parse().expect("a number")
}

/// The lines of a picture: one element each.
fn picture<'p>(page: &'p str, key: &str) -> Vec<&'p str> {
    let start = page.find(&format!("<svg id=\"picture-{key}\"")).expect("the picture");
    let end = page[start..].find("</svg>").expect("its end") + start;
    page[start..end].lines().collect()
}

fn of_class<'p>(picture: &[&'p str], class: &str) -> Vec<&'p str> {
    let mark = format!(" class=\"{class}\" ");
    picture.iter().copied().filter(|line| line.contains(&mark)).collect()
}

fn attribute<'p>(element: &'p str, name: &str) -> &'p str {
    let start = element.find(&format!(" {name}=\"")).expect(name) + name.len() + 3;
    let end = element[start..].find('"').expect("its end") + start;
    &element[start..end]
}

fn figure(element: &str, name: &str) -> f64 {
    attribute(element, name).parse().expect("a figure")
}

fn points(element: &str) -> Vec<(f64, f64)> {
    let pairs = attribute(element, "points").split(' ');
    pairs
        .map(|pair| {
            let (x, y) = pair.split_once(',').expect("a pair");
            (x.parse().expect("x"), y.parse().expect("y"))
        })
        .collect()
}

/// From pixels to the figures of one axis, by its outermost ticks.
struct Scale {
    zero: f64,
    pixels: f64,
}

impl Scale {
    /// Of the axis whose ticks have their words so anchored: "middle" under, "end" beside.
    fn of(picture: &[&str], anchor: &str, along: &str) -> Self {
        let ticks: Vec<(f64, f64)> = of_class(picture, "tick")
            .into_iter()
            .filter(|tick| attribute(tick, "text-anchor") == anchor)
            .map(|tick| {
                let words = &tick[tick.find('>').expect("words") + 1..];
                let words = words.strip_suffix("</text>").expect("words");
                (words.parse().expect("a tick"), figure(tick, along))
            })
            .collect();
        let ((a, from), (b, to)) = (ticks[0], ticks[ticks.len() - 1]);
        let pixels = (to - from) / (b - a);
        Self { zero: from - a * pixels, pixels }
    }

    fn read(&self, pixels: f64) -> f64 {
        (pixels - self.zero) / self.pixels
    }
}

fn extent(values: impl Iterator<Item = f64>) -> (f64, f64) {
    values.fold((f64::MAX, f64::MIN), |(low, high), value| (low.min(value), high.max(value)))
}

fn near(found: f64, wanted: f64, within: f64, what: &str) {
    assert!((found - wanted).abs() <= within, "{what}: {found} for {wanted}");
}

#[test]
fn the_page_of_every_shipped_recipe_needs_nothing_but_itself() {
    for name in SHIPPED {
        let page = page(&recipe(name), &[]);
        for outside in ["http", "src=", "href=", "url(", "@import", "<script", "<link", "<img"] {
            assert!(!page.contains(outside), "{name}: {outside}");
        }
        assert_eq!(page.matches("<svg ").count(), 4, "{name}");
        assert_eq!(page.matches("role=\"img\"").count(), 4, "{name}");
        assert_eq!(page.matches("<desc id=").count(), 4, "{name}");
        for said in ["2026-11-29", "Software is not the safety circuit", "override every figure"] {
            assert!(page.contains(said), "{name}: {said}");
        }
        assert!(!page.contains("NaN") && !page.contains("inf,"), "{name}");
    }
}

/// Pixels of length over millimetres of length are pixels of diameter over its millimetres.
#[test]
fn the_outline_of_every_shipped_recipe_has_one_scale_in_length_and_diameter() {
    for name in SHIPPED {
        let page = page(&recipe(name), &[]);
        let outline = picture(&page, "outline");
        let drawn = points(of_class(&outline, "part")[0]);
        let along = Scale::of(&outline, "middle", "x");
        let json = as_json(&recipe(name), &[]);
        let profile = json["recipe"]["part"]["profile"].as_array().expect("a profile").clone();
        for (index, point) in profile.iter().enumerate() {
            let (at, diameter) = (number(&point["at"]), number(&point["diameter"]));
            let (x, upper) = drawn[index];
            let (same_x, lower) = drawn[drawn.len() - 1 - index];
            near(along.read(x), at, 0.05, name);
            near(along.read(same_x), at, 0.05, name);
            near((lower - upper) / along.pixels, diameter, 0.05, name);
        }
        assert_eq!(drawn.len(), 2 * profile.len(), "{name}");
    }
}

#[test]
fn the_coat_is_as_many_times_too_thick_as_the_page_says() {
    for name in SHIPPED {
        let page = page(&recipe(name), &[]);
        let outline = picture(&page, "outline");
        let said = page.split("The coat is drawn <b>×").nth(1).expect("it is said");
        let times: f64 = said.split('<').next().expect("a number").parse().expect("a number");
        assert!(outline.iter().any(|line| line.contains(&format!("drawn ×{times}<"))), "{name}");
        let along = Scale::of(&outline, "middle", "x");
        let json = as_json(&recipe(name), &[]);
        let zone = &json["forecast"]["zones"][0];
        let stations = zone["along"].as_array().expect("stations");
        let middle = &stations[stations.len() / 2];
        let (at, sprayed) = (number(&middle["at"]), number(&middle["sprayed"]));
        // The coat's face: its surface one way, the part's the other.
        let coat = points(of_class(&outline, "coat")[0]);
        let half = coat.len() / 2;
        let place = (0..half)
            .min_by(|a, b| {
                let off = |place: &usize| (along.read(coat[*place].0) - at).abs();
                off(a).total_cmp(&off(b))
            })
            .expect("a place");
        let thick = (coat[coat.len() - 1 - place].1 - coat[place].1) / along.pixels;
        near(thick / sprayed, times, 0.02 * times, name);
        let rim = extent(coat.iter().map(|(_, y)| *y));
        assert!(rim.1 - rim.0 > 8.0, "{name}: {rim:?}");
    }
}

#[test]
fn powder_is_drawn_where_it_is_commanded_and_where_it_arrives() {
    for name in SHIPPED {
        let page = page(&recipe(name), &[]);
        let feed = picture(&page, "feed");
        let along = Scale::of(&feed, "middle", "x");
        // What lies under the axis is the legend.
        let axis = figure(of_class(&feed, "tick").last().expect("a tick"), "y");
        let marks: Vec<f64> = of_class(&feed, "command")
            .iter()
            .map(|mark| points(mark)[0])
            .filter(|(_, y)| *y < axis)
            .map(|(x, _)| along.read(x))
            .collect();
        let bars: Vec<(f64, f64)> = of_class(&feed, "arrives")
            .iter()
            .filter(|bar| figure(bar, "y") < axis)
            .map(|bar| {
                let left = figure(bar, "x");
                (along.read(left), along.read(left + figure(bar, "width")))
            })
            .collect();
        let json = as_json(&recipe(name), &[]);
        let zones = json["forecast"]["zones"].as_array().expect("zones");
        let mut wanted = 0;
        for pass in zones.iter().flat_map(|zone| zone["commands"].as_array().expect("passes")) {
            let edge = |which: &str, what: &str| number(&pass[which][what]);
            for which in ["on", "off"] {
                let place = edge(which, "commanded");
                let drawn = marks.iter().any(|mark| (mark - place).abs() < 0.05);
                assert!(drawn, "{name}: {which} at {place}, drawn at {marks:?}");
            }
            let ends = extent([edge("on", "arrives"), edge("off", "arrives")].into_iter());
            let drawn = bars
                .iter()
                .any(|bar| (bar.0 - ends.0).abs() < 0.05 && (bar.1 - ends.1).abs() < 0.05);
            assert!(drawn, "{name}: {ends:?} of {bars:?}");
            wanted += 1;
        }
        assert!(wanted >= bars.len() && marks.len() == 2 * bars.len(), "{name}");
    }
}

#[test]
fn the_thickness_after_each_pass_is_drawn_at_its_height() {
    for name in SHIPPED {
        let page = page(&recipe(name), &[]);
        let thickness = picture(&page, "thickness");
        let up = Scale::of(&thickness, "end", "y");
        let json = as_json(&recipe(name), &[]);
        let zones = json["forecast"]["zones"].as_array().expect("zones");
        // Lines of two points are the legend's.
        let is_curve = |line: &&&str| points(line).len() > 2;
        let thin = of_class(&thickness, "layer");
        let thick = of_class(&thickness, "last-layer");
        let count = |lines: &[&str]| lines.iter().filter(is_curve).count();
        let passes: usize =
            zones.iter().map(|zone| zone["build_up"].as_array().expect("the build").len()).sum();
        assert_eq!(count(&thick), zones.len(), "{name}");
        assert_eq!(count(&thin), passes - zones.len(), "{name}");
        for (zone, line) in zones.iter().zip(thick.iter().filter(is_curve)) {
            let (top, _) = extent(points(line).into_iter().map(|(_, y)| y));
            let along = zone["along"].as_array().expect("stations");
            let (_, most) = extent(along.iter().map(|station| number(&station["sprayed"])));
            near(up.read(top), most, 0.01 * most, name);
        }
    }
}

#[test]
fn both_temperatures_are_drawn_as_the_forecast_tells_them() {
    for name in SHIPPED {
        let page = page(&recipe(name), &[]);
        let drawn = picture(&page, "temperature");
        let (time, up) = (Scale::of(&drawn, "middle", "x"), Scale::of(&drawn, "end", "y"));
        let unit = if page.contains(">time, min<") { 60.0 } else { 1.0 };
        let json = as_json(&recipe(name), &[]);
        let told = json["forecast"]["temperatures"].as_array().expect("temperatures");
        let total = number(&json["forecast"]["total"]);
        for (class, which) in [("temperature", "seen"), ("hottest", "hottest")] {
            let line = points(of_class(&drawn, class)[0]);
            assert_eq!(line.len(), told.len(), "{name}: {class}");
            for ((x, y), point) in line.into_iter().zip(told) {
                near(time.read(x) * unit, number(&point["at"]), 1e-3 * total, name);
                near(up.read(y), number(&point[which]), 0.5, name);
            }
        }
    }
}

/// Lines that share a picture differ in width or dashes, so that grey print tells them apart.
#[test]
fn no_two_lines_of_a_picture_differ_by_colour_alone() {
    let page = page(&recipe("reference-shaft"), &[]);
    assert!(page.contains("@media (prefers-color-scheme: dark)"));
    assert!(page.contains("@media print"));
    let drawn_as = |class: &str| {
        let rule = page.split(&format!("svg .{class} {{ ")).nth(1).expect(class);
        let rule = rule.split('}').next().expect("its end");
        let part = |name: &str| {
            rule.split(';')
                .find_map(|part| part.trim().strip_prefix(name))
                .unwrap_or_default()
                .to_owned()
        };
        (part("stroke-width: "), part("stroke-dasharray: "))
    };
    for together in [
        &["part-edge", "bore", "centre", "coat-edge", "fused", "finish", "zone-edge"] as &[&str],
        &["layer", "last-layer", "needed", "zone-edge"],
        &["feed", "feed-back", "command", "zone-edge"],
        &["temperature", "hottest", "window-edge", "ceiling", "step-mark"],
    ] {
        for (index, one) in together.iter().enumerate() {
            for other in together.iter().skip(index + 1) {
                assert_ne!(drawn_as(one), drawn_as(other), "{one} and {other}");
            }
        }
    }
}

#[test]
fn text_of_a_recipe_cannot_become_markup_and_no_page_goes_over_what_was_read() {
    let folder = tempfile::tempdir().expect("a folder");
    let written = folder.path().join("recipe.toml");
    let own = fs::read_to_string(recipe("reference-shaft")).expect("the recipe");
    let own = own.replace("\"seat\"", "\"<b>seat & co\"");
    let own = own.replace("\"Reference shaft\"", "\"</title><script>alert(1)</script>\"");
    fs::write(&written, &own).expect("it can be written");
    let page = page(&written, &[]);
    assert!(!page.contains("<script") && !page.contains("<b>seat"), "markup got in");
    assert!(page.contains("&lt;b&gt;seat &amp; co"));
    let output = plan(&written, &["--html", written.to_str().expect("a name")]);
    assert_eq!(output.status.code(), Some(2));
    assert!(text(&output.stderr).contains("would be lost"), "{}", text(&output.stderr));
    assert_eq!(fs::read_to_string(&written).expect("it is there"), own);
    let output = plan(&written, &["--html", "x.html", "--date", "29.11.2026"]);
    assert_eq!(output.status.code(), Some(2));
    assert!(text(&output.stderr).contains("is no day of the calendar"));
}

/// What is forecast with `--set` is what a recipe with these values written into it gives.
#[test]
fn a_plan_with_other_values_is_that_of_a_recipe_that_has_them_and_the_recipe_stays() {
    let own = recipe("taper-spindle");
    let before = fs::read_to_string(&own).expect("the recipe");
    let changes = ["--set", "zone[1].finish=0.50 mm", "--set", "preheat.window.to = 310 degC"];
    let what_if = as_json(&own, &changes);
    assert_eq!(fs::read_to_string(&own).expect("it is there"), before);

    let folder = tempfile::tempdir().expect("a folder");
    let written = folder.path().join("recipe.toml");
    let with = before.replace("finish = \"0.40 mm\"", "finish = \"0.50 mm\"");
    let with = with.replace(
        "window = { from = \"230 degC\", to = \"300 degC\" }",
        "window = { from = \"230 degC\", to = \"310 degC\" }",
    );
    assert_ne!(with, before);
    fs::write(&written, with).expect("it can be written");
    assert_eq!(what_if["changed"]["forecast"], as_json(&written, &[])["forecast"]);
    assert_eq!(what_if["own"]["forecast"], as_json(&own, &[])["forecast"]);

    let figures = what_if["figures"].as_array().expect("figures");
    let find = |what: &str| figures.iter().find(|figure| figure["what"] == what).expect("a figure");
    let passes = find("passes");
    assert!(passes["changed"].as_f64() > passes["own"].as_f64(), "{passes}");
    let sum = passes["own"].as_f64().expect("own") + passes["difference"].as_f64().expect("more");
    assert_eq!(Some(sum), passes["changed"].as_f64());
    let aim = find("preheated to");
    assert_eq!(aim["difference"].as_f64(), Some(5.0), "{aim}");
}

#[test]
fn both_plans_are_printed_side_by_side_with_what_differs() {
    let output = plan(&recipe("stepped-shaft"), &["--set", "zone[2].finish=0.40 mm"]);
    assert!(output.status.success(), "{}", text(&output.stderr));
    let found = text(&output.stdout);
    assert!(found.lines().all(|line| line.chars().count() <= 100), "{found}");
    let zone = |name: &str| {
        let start = found.find(&format!("Zone \"{name}\"")).expect("the zone");
        let line = found[start..].lines().find(|line| line.contains("passes")).expect("passes");
        line.split_whitespace().map(str::to_owned).collect::<Vec<_>>()
    };
    assert_eq!(zone("small seat"), ["passes", "8", "8"]);
    let large = zone("large seat");
    let figure = |place: usize| large[place].parse::<i32>().expect("a count");
    assert!(figure(2) > figure(1) && figure(3) == figure(2) - figure(1), "{large:?}");
    for said in ["waits for temperature", "worst unevenness", "oxygen", "Nothing is written"] {
        assert!(found.contains(said), "{said}:\n{found}");
    }
}

#[test]
fn what_cannot_be_set_is_told_as_in_a_file_and_at_the_word_that_asked_for_it() {
    let own = recipe("taper-spindle");
    for (changes, told) in [
        (&["zone[1].finish=0.5"] as &[&str], ["`0.5` has no unit", "--> --set:1:16"]),
        (&["cool.at_least=1 min", "zone[1].finish=2 min"], ["is a unit of time", "--> --set:2:16"]),
        (&["zone[1].finnish=1 mm"], ["`finnish` is not known here", "--> --set:1:1"]),
        (&["zone[2].finish=1 mm"], ["names none of the places of `zone`", "`zone[1]`"]),
        (&["zone[1].to=100 mm"], ["the zone runs from 130 mm to 100 mm", "--> --set:1:12"]),
        (&["spray.torch=spary-6"], ["no torch is called \"spary-6\"", "did you mean \"spray-6\"?"]),
        (&["title"], ["this has no `=`", "accepted: FIELD=VALUE"]),
        (
            &["zone[1].pitch=5 mm/turn"],
            [
                "the feed is given in more than one way",
                "This comes of --set 'zone[1].pitch=5 mm/turn'",
            ],
        ),
        (&["preheat.longest=20 s"], ["with --set 'preheat.longest=20 s':", "preheat, longest: "]),
    ] {
        let arguments: Vec<&str> = changes.iter().flat_map(|change| ["--set", change]).collect();
        let output = plan(&own, &arguments);
        let found = text(&output.stderr);
        assert_eq!(output.status.code(), Some(2), "{found}");
        for words in told {
            assert!(found.contains(words), "{words}:\n{found}");
        }
        assert!(output.stdout.is_empty(), "{changes:?}");
    }
}

#[test]
fn the_page_of_a_plan_with_other_values_says_that_it_is_not_the_recipes_own() {
    let own = recipe("reference-shaft");
    let page_of = |arguments: &[&str]| page(&own, arguments);
    let changed = page_of(&["--set", "zone[1].finish=0.45 mm"]);
    assert!(changed.contains("What if: not the recipe's own plan"));
    assert!(changed.contains("<code>zone[1].finish=0.45 mm</code>"));
    let plain = page_of(&[]);
    assert!(!plain.contains("What if"));
    assert_ne!(picture(&plain, "thickness"), picture(&changed, "thickness"));
}

#[test]
fn a_figure_that_is_not_known_well_stands_beside_its_uncertainty_in_both_plans() {
    let output = plan(&recipe("reference-shaft"), &["--set", "zone[1].passes=9"]);
    let words = text(&output.stdout);
    let sprayed = words.lines().find(|line| line.contains("as sprayed")).expect("told");
    assert_eq!(sprayed.matches('±').count(), 2, "{sprayed}");
    assert!(words.contains("± is one standard deviation"), "{words}");
    let passes = words.lines().find(|line| line.trim_start().starts_with("passes")).expect("told");
    assert!(!passes.contains('±'), "{passes}");
    let json = as_json(&recipe("reference-shaft"), &["--set", "zone[1].passes=30"]);
    let figures = json["figures"].as_array().expect("figures");
    let sprayed = figures.iter().find(|figure| figure["what"] == "as sprayed").expect("told");
    let (sigma, own) = (sprayed["own_sigma"].as_f64().expect("known"), &sprayed["own"]);
    let share = sigma / own.as_f64().expect("a figure");
    assert!((0.02..0.3).contains(&share), "{share}");
}

#[test]
fn a_difference_within_the_uncertainty_is_marked_and_a_larger_one_is_not() {
    let line = |change: &str| {
        let output = plan(&recipe("reference-shaft"), &["--set", change]);
        let words = text(&output.stdout);
        words.lines().find(|line| line.contains("as sprayed")).expect("told").to_owned()
    };
    let (one_more, many) = (line("zone[1].passes=9"), line("zone[1].passes=4"));
    println!("{one_more}\n{many}");
    assert!(line("zone[1].powder_rate=61 g/min").contains("within ±"));
    assert!(!many.contains("within ±"), "{many}");
}

#[test]
fn the_steps_say_how_each_time_is_known_and_what_the_part_is_at_then() {
    for name in SHIPPED {
        let words = text(&plan(&recipe(name), &[]).stdout);
        let heading = words.lines().find(|line| line.starts_with("Steps")).expect("the steps");
        assert!(heading.contains("part then") && heading.ends_with("time"), "{heading}");
        let steps = words.lines().skip_while(|line| !line.starts_with("Steps")).skip(1);
        for step in steps.take_while(|line| !line.contains("all together")) {
            let known = ["as planned", "estimated", "at least", "not counted"];
            assert!(known.iter().any(|how| step.ends_with(how)), "{step}");
        }
        assert!(words.lines().all(|line| line.chars().count() <= 100), "{name}");
    }
}

#[test]
fn a_plan_that_is_not_expected_to_end_well_is_named_on_top_of_both_and_beside_its_page() {
    let own = recipe("reference-shaft");
    let fails = "As planned this job is not expected to end well";
    let top = |recipe: &Path, change: &str| {
        let words = text(&plan(recipe, &["--set", change]).stdout);
        assert!(words.lines().all(|line| line.chars().count() <= 100), "{words}");
        let end = words.find("difference").expect("the table");
        words[..end].to_owned()
    };
    let changed = top(&own, "zone[1].passes=3");
    assert!(changed.contains(&format!("{fails}: the changed plan")), "{changed}");
    assert!(changed.contains("under the finish"), "{changed}");
    assert!(!changed.contains("own plan"), "{changed}");
    assert!(!top(&own, "zone[1].passes=9").contains(fails));

    let folder = tempfile::tempdir().expect("a folder");
    let thin = folder.path().join("thin.toml");
    let shipped = fs::read_to_string(&own).expect("the recipe");
    let written = shipped.replacen("[[zone]]\n", "[[zone]]\npasses = 3\n", 1);
    assert_ne!(written, shipped);
    fs::write(&thin, written).expect("it can be written");
    let mended = top(&thin, "zone[1].passes=9");
    assert!(mended.contains(&format!("{fails}: the recipe's own plan")), "{mended}");
    assert!(!mended.contains("the changed plan"), "{mended}");

    let file = folder.path().join("plan.html");
    let name = file.to_str().expect("a name");
    let drawn = |recipe: &Path| text(&plan(recipe, &["--html", name]).stdout);
    assert_eq!(drawn(&own), format!("written: {name}\n"));
    assert_eq!(drawn(&thin), format!("{fails}\nwritten: {name}\n"));
}

#[test]
fn both_plans_are_compared_in_how_their_zones_are_fused() {
    let json = as_json(&recipe("reference-shaft"), &["--set", "fuse.oscillation=15 mm/s"]);
    let figures = json["figures"].as_array().expect("figures");
    for (plan, column) in [("own", "own"), ("changed", "changed")] {
        let fusing = &json[plan]["forecast"]["fusing"][0];
        let told = |what: &str| {
            let own = figures.iter().filter(|figure| figure["group"] == "Fusing \"seat\"");
            let mut same = own.filter(|figure| figure["what"] == what);
            same.next().expect("told")[column].as_f64().expect("a figure")
        };
        let bands = fusing["bands"].as_array().expect("bands").len();
        near(told("bands"), f64::from(u32::try_from(bands).expect("few")), 0.0, "bands");
        near(told("least hot place"), number(&fusing["least_hot"]), 1e-9, "least hot");
        near(told("hottest place"), number(&fusing["hottest"]), 1e-9, "hottest");
    }
}
