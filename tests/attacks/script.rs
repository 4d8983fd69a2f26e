//! A recipe whose title is a script.

use crate::person::Browser;
use crate::served::Served;

/// Out of text, attributes and scripts at once.
pub(crate) const TITLE: &str =
    "</title></script>\"><script>alert(1)</script><img src=x onerror=alert(2)>";

/// What a browser would run.
const RUNS: [&str; 2] = ["<script>alert", "<img src=x"];

#[test]
fn a_script_in_a_title_is_a_text_on_every_page_and_in_every_live_value() {
    let served = Served::on_twin("1");
    let engineer = Browser::of(&served, "Engineer");
    engineer.take_seat();
    let loaded = engineer.load("script.toml");
    assert_eq!(loaded.status, 200, "{loaded:?}");
    let mut shown = 0;
    for path in [
        "/",
        "/maintenance",
        "/recipes",
        "/recipes/script.toml",
        "/records",
        "/bench",
        "/teach",
        "/sign-in",
        "/%3Cscript%3Ealert(1)%3C/script%3E",
    ] {
        let page = engineer.get(path);
        for runs in RUNS {
            assert!(!page.body.contains(runs), "{path} has {runs}");
        }
        shown += usize::from(page.body.contains("&lt;script&gt;alert"));
        let policy = page.header("content-security-policy").unwrap_or_else(|| panic!("{path}"));
        assert!(policy.contains("default-src 'none'; script-src 'self'"), "{policy}");
        assert!(!policy.contains("unsafe"), "{policy}");
        assert_eq!(page.header("x-content-type-options"), Some("nosniff"));
    }
    assert!(shown >= 2, "it is shown as a text on {shown} pages");
    for page in ["run", "maintenance", "recipes", "records", "bench"] {
        let live = engineer.live(page);
        let values = live["changed"].as_object().expect("values");
        for (name, piece) in values {
            let html = piece["html"].as_str().unwrap_or_default();
            assert!(RUNS.iter().all(|runs| !html.contains(runs)), "{page}, {name}: {html}");
        }
    }
    // A name that is tried is shown nowhere as it came.
    let tried = served.post("/sign-in", &[], &[("name", TITLE), ("pin", "1")]);
    assert!(RUNS.iter().all(|runs| !tried.body.contains(runs)), "{tried:?}");
    // A recipe's own text is a text to a browser as well.
    let text = engineer.get("/recipes/script.toml/text");
    let kind = text.header("content-type").unwrap_or_default();
    assert!(!kind.contains("html"), "{kind}");
}
