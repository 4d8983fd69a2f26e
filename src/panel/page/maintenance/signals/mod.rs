//! Every signal that this rig has: what it says in words, its value, what is on the wire, where it is
//! wired, and how old it is.

mod rows;
mod words;

use axum::extract::State;
use evenpass_core::quantity::fixed;
use maud::{Markup, html};

use self::rows::Row;
use super::section;
use crate::panel::app::App;
use crate::panel::live::Values;
use crate::panel::texts;
use crate::panel::visitor::Visitor;

/// The page.
pub(in crate::panel) async fn page(State(app): State<App>, visitor: Visitor) -> Markup {
    let rig = app.station().rig();
    let line = rig.lines.get(rig.field.line.0).map_or("", |line| line.name.as_str());
    let inside = html! {
        p.module {
            (texts::MODULE) " " (rig.field.unit) " " (texts::ON_LINE) " " (line) ". "
            span data-live="signals.read" {}
        }
        section.signals { h2 { (texts::CONTACTS) } div data-live="signals.contacts" {} }
        section.signals { h2 { (texts::ANALOGUES) } div data-live="signals.analogues" {} }
        section.signals { h2 { (texts::COILS) } div data-live="signals.coils" {} }
    };
    section(&app, &visitor, "signals", inside)
}

/// What is live on it.
pub(super) fn live(app: &App, visitor: &Visitor, values: &mut Values) {
    let snapshot = app.station().snapshot();
    let rig = app.station().rig();
    values.html("signals.contacts", table(&rows::contacts(rig, &snapshot), texts::STATE));
    let analogues = rows::analogues(rig, &snapshot, visitor.units);
    values.html("signals.analogues", table(&analogues, texts::VALUE));
    values.html("signals.coils", table(&rows::coils(rig, &snapshot), texts::STATE));
    values.text("signals.read", read(rows::ages(rig, &snapshot)));
}

/// How long ago the module was asked for its inputs and registers.
fn read((inputs, registers): (f64, f64)) -> String {
    let seconds = |age: f64| format!("{} s", fixed(age, 2));
    format!(
        "{} {} {}, {} {} {}",
        texts::INPUTS_READ,
        seconds(inputs),
        texts::AGO,
        texts::REGISTERS_READ,
        seconds(registers),
        texts::AGO
    )
}

fn table(rows: &[Row], what: &str) -> Markup {
    // What the module is told has no age: it is what it is told.
    let aged = rows.iter().any(|row| !row.age.is_empty());
    html! {
        table {
            thead {
                tr {
                    th scope="col" { (texts::SIGNAL) }
                    th scope="col" { (what) }
                    th scope="col" { (texts::RAW) }
                    th scope="col" { (texts::WIRED) }
                    @if aged { th scope="col" { (texts::AGE) } }
                }
            }
            tbody {
                @for row in rows {
                    tr data-mark=[row.said.mark()] {
                        th scope="row" { (row.name) }
                        td { span.sign aria-hidden="true" { (row.said.sign()) } (row.said.words) }
                        td.figures-of { (row.raw) }
                        td { (row.wired) }
                        @if aged { td { (row.age) } }
                    }
                }
            }
        }
    }
}
