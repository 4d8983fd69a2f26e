//! The pages there are: those that one gets to from any page, and one of each kind of those that
//! these lead to.

use std::collections::{BTreeSet, VecDeque};
use std::time::Duration;

use crate::screen::Screen;

/// Pages at most; a panel with more has grown beyond this test.
const MOST: usize = 40;

/// All pages, each once: one recipe stands for all recipes, one record for all records.
pub(crate) async fn all(screen: &Screen) -> Vec<String> {
    let mut found = Vec::new();
    let mut kinds = BTreeSet::new();
    let mut ahead = VecDeque::from(["/".to_owned()]);
    while let Some(path) = ahead.pop_front() {
        if found.len() == MOST || !kinds.insert(kind(&path)) {
            continue;
        }
        screen.go(&path).await;
        let links = "return Array.from(document.querySelectorAll('a[href^=\"/\"]'), \
                     (one) => one.getAttribute('href'))";
        let links = screen.script(links).await;
        // A recipe's text and a shift's report are files to keep, not pages.
        let is_file = |link: &&str| link.ends_with("/text") || link.starts_with("/batch/report");
        let links = links.as_array().into_iter().flatten().filter_map(|link| link.as_str());
        ahead.extend(links.filter(|link| !is_file(link)).map(str::to_owned));
        found.push(path);
    }
    found
}

/// Goes to the page that has something on it.
pub(crate) async fn with(screen: &Screen, css: &str) {
    for path in all(screen).await {
        screen.go(&path).await;
        // What is live comes a moment after the page.
        tokio::time::sleep(Duration::from_millis(700)).await;
        if screen.is_there(css).await {
            return;
        }
    }
    screen.tell(&format!("no page has `{css}`")).await;
}

/// What a page is of: the name in its address, a recipe's or a record's, left out.
fn kind(path: &str) -> String {
    let path = path.split('?').next().unwrap_or_default();
    let mut parts: Vec<&str> = path.split('/').skip(1).collect();
    let named = if parts[0] == "maintenance" { 2 } else { 1 };
    if let Some(name) = parts.get_mut(named) {
        *name = "one";
    }
    parts.join("/")
}

/// A page's name for a file.
pub(crate) fn file_name(path: &str) -> String {
    let kind = kind(path).replace('/', "-");
    if kind.is_empty() { "run".to_owned() } else { kind }
}
