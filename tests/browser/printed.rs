//! A run's report on paper: the browser prints it as a PDF, on A4 and on Letter, and nothing is cut
//! off, however long the run's title and however many its passes.

use std::path::Path;
use std::process::Command;

use serde_json::json;

use crate::screen::Screen;

/// A sheet: what the verb calls it, its size in points, and the width between its rims in pixels of
/// a style sheet (96 to the inch, 14 mm at each side).
struct Sheet {
    word: &'static str,
    points: (f64, f64),
    between_rims: u32,
}

/// 210 mm by 297 mm (ISO 216), and 8.5 in by 11 in.
const SHEETS: [Sheet; 2] = [
    Sheet { word: "a4", points: (595.3, 841.9), between_rims: 687 },
    Sheet { word: "letter", points: (612.0, 792.0), between_rims: 710 },
];

fn evenpass(arguments: &[&str]) {
    let done = Command::new(env!("CARGO_BIN_EXE_evenpass")).args(arguments).output().expect("run");
    assert!(done.status.success(), "{arguments:?}: {}", String::from_utf8_lossy(&done.stderr));
}

/// The pages of a PDF and the sizes of their sheets, points. The browser writes both in plain text.
fn pages(pdf: &[u8]) -> (usize, Vec<(f64, f64)>) {
    let text = String::from_utf8_lossy(pdf);
    let whole = |after: &str| !after.starts_with('s');
    let count = text.split("/Type /Page").skip(1).filter(|after| whole(after)).count();
    let boxes = text.split("/MediaBox [").skip(1).filter_map(|after| {
        let (inside, _) = after.split_once(']')?;
        let sides: Vec<f64> = inside.split(' ').filter_map(|side| side.parse().ok()).collect();
        Some((sides.get(2).copied()?, sides.get(3).copied()?))
    });
    (count, boxes.collect())
}

/// What is wider than the sheet, or higher than one and would be cut in two.
const CUT_OFF: &str = "
    const wide = document.documentElement.clientWidth;
    const found = [];
    for (const one of document.querySelectorAll('body *')) {
        const place = one.getBoundingClientRect();
        const name = one.tagName + ' ' + (one.textContent || '').slice(0, 40);
        if (place.right > wide + 1 || place.left < -1) found.push('beyond the rim: ' + name);
        if (one.scrollWidth > one.clientWidth + 1 && one.clientWidth > 0
            && getComputedStyle(one).display !== 'inline') found.push('over its box: ' + name);
        const whole = one.tagName === 'TR' || one.tagName === 'FIGURE';
        if (whole && place.height > 800) found.push('higher than a sheet: ' + name);
    }
    return found;";

fn print(page: &Path, to: &Path, profile: &Path) -> Vec<u8> {
    let done = Command::new("chromium")
        .args(["--headless", "--no-sandbox", "--disable-gpu", "--no-pdf-header-footer"])
        .arg(format!("--user-data-dir={}", profile.display()))
        .arg(format!("--print-to-pdf={}", to.display()))
        .arg(page)
        .output()
        .expect("chromium: install the package chromium");
    std::fs::read(to).unwrap_or_else(|trouble| {
        panic!("{trouble}: {}", String::from_utf8_lossy(&done.stderr));
    })
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
#[ignore = "needs chromium and its driver"]
async fn a_report_is_printed_on_a4_and_letter_with_nothing_cut_off() {
    let folder = tempfile::tempdir().expect("a folder");
    let at = |name: &str| folder.path().join(name).display().to_string();
    let config = Path::new(env!("CARGO_MANIFEST_DIR")).join("config");
    // A name without a space is the worst for a line.
    let long = "W".repeat(120);
    let recipe = std::fs::read_to_string(config.join("recipes/pump-sleeve.toml")).expect("read");
    let recipe = recipe.replace("packing track", &format!("packing track {}", "x".repeat(60)));
    let recipe = recipe.replace("title = \"Pump sleeve\"", &format!("title = \"{long}\""));
    std::fs::write(at("sleeve.toml"), recipe).expect("written");
    let (records, catalogue) = (at("runs.sqlite"), config.display().to_string());
    evenpass(&[
        "rehearse",
        &at("sleeve.toml"),
        "--catalogue",
        &catalogue,
        "--record",
        "--records",
        &records,
    ]);
    let shafts = config.join("recipes/reference-shaft.toml").display().to_string();
    evenpass(&["rehearse", &shafts, "--record", "--records", &records]);

    let screen = Screen::at("file://").await;
    screen.browser("Emulation.setEmulatedMedia", json!({ "media": "print" })).await;
    for sheet in &SHEETS {
        let name = |what: &str| at(&format!("{what}-{}.html", sheet.word));
        let (report, both) = (name("report"), name("both"));
        let run = ["records", "report", "latest", "--records", &records, "--paper", sheet.word];
        evenpass(&[&run[..], &["--out", &name("shaft")]].concat());
        let first = std::fs::read_to_string(name("shaft")).expect("a page");
        let first = first.split("run ").nth(1).expect("its id")[..11].to_owned() + "001";
        let run = ["records", "report", &first, "--records", &records, "--paper", sheet.word];
        evenpass(&[&run[..], &["--out", &report, "--units", "in,degF,psi"]].concat());
        let two = ["records", "compare", &first, "latest", "--records", &records];
        evenpass(&[&two[..], &["--paper", sheet.word, "--out", &both]].concat());
        for page in [&name("shaft"), &report, &both] {
            screen.size(sheet.between_rims, 900).await;
            screen.go(page).await;
            let cut_off = screen.script(CUT_OFF).await;
            assert_eq!(cut_off, json!([]), "{page}");
            let profile = folder.path().join("profile");
            let pdf = print(Path::new(page), &folder.path().join("printed.pdf"), &profile);
            let (count, sizes) = pages(&pdf);
            println!(
                "{}: {count} pages, {} kB",
                page.rsplit('/').next().unwrap_or(""),
                pdf.len() / 1000
            );
            assert!((3..=14).contains(&count), "{count} pages");
            let fits = |(wide, high): &(f64, f64)| {
                (wide - sheet.points.0).abs() < 1.0 && (high - sheet.points.1).abs() < 1.0
            };
            assert!(sizes.len() == count && sizes.iter().all(fits), "{sizes:?}");
        }
    }
    screen.end().await;
}
