//! The set-up of the loaded job, checked line by line by somebody who stands before it.

use axum::extract::{Form, State};
use axum::response::Response;

use super::app::{App, Checked, locked};
use super::asking::{Reply, Seal};
use super::texts;
use super::visitor::Visitor;
use crate::people::Right;

/// Somebody says that the set-up of the loaded job was checked, line by line: it stands among the
/// acts, and beside the job. Nobody needs the seat for it: nothing moves by it.
pub(super) async fn checked(
    State(app): State<App>,
    visitor: Visitor,
    Form(form): Form<Vec<(String, String)>>,
) -> Response {
    let open = unticked(&form);
    let lines = texts::SET_UP_LIST.split('|').count();
    let loaded = app.station().loaded();
    let title = loaded.as_ref().map_or("", |loaded| loaded.job.recipe.title.as_str());
    let what = format!("set-up checked: {} of {lines}, {title}", lines - open.len());
    if let Err(refused) = visitor.sealed(&app, &Seal::of(&form), &what) {
        return refused;
    }
    let reply = match (visitor.right(Right::Run), loaded) {
        (Err(reply), _) => reply,
        (Ok(()), None) => Reply::refused(texts::NO_JOB),
        (Ok(()), Some(_)) if !open.is_empty() => {
            Reply::refused(format!("{} {}", texts::SET_UP_OPEN, open.join(" ")))
        }
        (Ok(()), Some(job)) => {
            *locked(&app.inside.checked) = Some(Checked::now(job, visitor.name.clone()));
            Reply::done()
        }
    };
    visitor.told(&app, &what, reply)
}

/// The lines of the set-up that are not ticked.
fn unticked(form: &[(String, String)]) -> Vec<&'static str> {
    let is_ticked = |number: usize| {
        let name = format!("line{number}");
        form.iter().any(|(known, value)| *known == name && value == "yes")
    };
    let lines = texts::SET_UP_LIST.split('|').enumerate();
    lines.filter(|(number, _)| !is_ticked(*number)).map(|(_, line)| line).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn ticked(lines: impl IntoIterator<Item = &'static str>) -> Vec<(String, String)> {
        lines.into_iter().map(|line| (line.to_owned(), "yes".to_owned())).collect()
    }

    #[test]
    fn each_line_of_the_set_up_counts_once_and_by_its_own_tick_alone() {
        let lines: Vec<&str> = texts::SET_UP_LIST.split('|').collect();
        assert_eq!(unticked(&[]), lines);
        let others = ["line0", "line0", "line0", "line1", "line2", "line3", "line9", "line"];
        assert_eq!(unticked(&ticked(others)), lines.get(4..).expect("a fifth"));
        let denied = [("line4".to_owned(), "no".to_owned())];
        let form = [&ticked(["line0", "line1", "line2", "line3"])[..], &denied].concat();
        assert_eq!(unticked(&form), lines.get(4..).expect("a fifth"));
        assert_eq!(lines.len(), 5);
        assert!(unticked(&ticked(["line0", "line1", "line2", "line3", "line4"])).is_empty());
    }
}
