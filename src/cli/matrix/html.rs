//! The matrix for the wall: one HTML file without anything from outside, A3 or A4 landscape.
//! Colour never says anything alone: every colour has its word and its shape.

use std::fmt::Write as _;

use evenpass_core::interlock::Class;
use evenpass_core::interlock::matrix::{
    Act, Actor, BEYOND, Circuit, Column, Lamp, OrderedEffect, ResetRule, Row, Subject, When,
};
use evenpass_core::rig::{Rig, RigKind};
use evenpass_core::scan::{Reaction, RowTimes};

use super::sheet::seconds;
use crate::shown::escaped;

/// Columns of the table, the nine of the effects included.
const COLUMNS: usize = 18;
/// Their widths, in percent of the page.
const WIDTHS: [f64; COLUMNS] =
    [2.2, 3.9, 14.5, 6.6, 6.6, 3.3, 4.4, 4.4, 3.3, 6.6, 5.4, 4.7, 3.4, 4.3, 3.6, 4.4, 15.3, 3.1];

const STYLE: &str = include_str!("wall.css");

/// Writing to a `String` cannot fail.
macro_rules! put {
    ($page:expr, $($words:tt)*) => {{ let _ = writeln!($page, $($words)*); }};
}

/// The whole page.
pub(super) fn page(rig: &Rig, date: &str, reaction: &Reaction, rows: &[RowTimes]) -> String {
    let mut page = String::with_capacity(256 * 1024);
    let title = escaped(&rig.title);
    let date = escaped(date);
    put!(page, "<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">");
    put!(page, "<title>Causes and effects: {title}, {date}</title>");
    put!(page, "<style>\n{STYLE}</style>\n</head>\n<body>");
    let kind = match rig.kind {
        RigKind::Twin => "twin: no gas, no motion",
        RigKind::Machine => "machine",
    };
    put!(
        page,
        "<header><h1>Causes and effects</h1><p class=\"rig\">{title}<span>{kind}</span></p>\
         <p class=\"date\">{date}<span>evenpass {}</span></p></header>",
        env!("CARGO_PKG_VERSION")
    );
    legend(&mut page, reaction);
    table(&mut page, &title, &date, rows);
    elsewhere(&mut page);
    put!(page, "</body>\n</html>");
    page
}

fn legend(page: &mut String, reaction: &Reaction) {
    put!(page, "<section class=\"legend\">");
    put!(page, "<div><h2>Class</h2><ul>");
    for (class, words) in [
        (Class::Trip, "energy is taken at once; latched; reset at the machine"),
        (Class::Stop, "the job ends in order"),
        (Class::Hold, "powder off, torch withdrawn; may restart"),
        (Class::Warn, "shown and recorded; nothing is taken away"),
    ] {
        put!(page, "<li>{} {words}</li>", badge(class));
    }
    put!(page, "</ul></div>");
    put!(
        page,
        "<div><h2>Effects</h2><ul>\
         <li><b class=\"n\">1</b> place in the order; one number goes out together</li>\
         <li>effects without a time are asked in the scan in which the cause counts, all coils in \
         one frame</li>\
         <li><i class=\"later\">a time or a condition</i> says when the others come; slanted ones \
         are the sequence's</li>\
         <li>an empty cell leaves the output to the job, which in a trip shuts the supply too</li>\
         <li>what is stale or failed counts as open, as pressed or as failed: a broken wire \
         alike</li></ul></div>"
    );
    put!(page, "<div><h2>Lamp (IEC 60073)</h2><ul>");
    for lamp in [Lamp::Red, Lamp::Yellow, Lamp::Blue] {
        put!(page, "<li>{} {}</li>", dot(lamp), lamp.meaning());
    }
    put!(
        page,
        "</ul></div><div><h2>Times</h2><ul>\
         <li><b>on</b>: so long it must last to count; <b>off</b>: so long all must be in order \
         to count as gone</li>\
         <li><b>total</b>: signal read, delay, and {:.0} ms of reaction (scan, line, frame), by \
         arithmetic; in brackets what it may take</li>\
         <li>&#9733; this rig is stricter than the program</li>\
         <li><b>&#10004;</b> must be wired as well, without this program</li></ul></div>",
        reaction.whole().as_secs_f64() * 1e3
    );
    put!(
        page,
        "<div class=\"caution\"><h2>&#9888; Cautions</h2><ul>\
         <li><b>Software is not the safety circuit.</b> Emergency stop, gas shut-off, flame \
         safeguard, guard, hard limits and watchdog relay are wired and work without it.</li>\
         <li>The handbooks of the torch's and the gas equipment's makers and local codes override \
         every figure here. Set-points are examples until proved on this rig.</li>\
         <li>Only trained people light and service gas equipment. Acetylene never above 1.03 bar \
         gauge; no oil on oxygen; arrestors and non-return valves fitted; leak test done.</li>\
         <li>After a flashback: stop, cool, inspect. Nickel and chromium dust: extraction and \
         respirator. Hot and rotating part: keep clear.</li></ul></div>"
    );
    put!(page, "</section>");
}

fn table(page: &mut String, title: &str, date: &str, rows: &[RowTimes]) {
    put!(page, "<table>\n<colgroup>");
    for width in WIDTHS {
        put!(page, "<col style=\"width:{width}%\">");
    }
    put!(page, "</colgroup>\n<thead>");
    put!(
        page,
        "<tr class=\"rim\"><td colspan=\"{COLUMNS}\">{title} &middot; {date} &middot; software is \
         not the safety circuit</td></tr>"
    );
    put!(
        page,
        "<tr><th colspan=\"5\" class=\"group\">Cause</th><th colspan=\"{}\" \
         class=\"group effects\">Effects in their order</th><th colspan=\"4\" \
         class=\"group\">Afterwards</th></tr>",
        Column::ALL.len()
    );
    put!(page, "<tr><th>No</th><th>Class</th><th class=\"cause\">Cause, condition, signal</th>");
    put!(page, "<th>Counts while</th><th>Times</th>");
    for column in Column::ALL {
        put!(page, "<th class=\"e\">{}</th>", column.title());
    }
    put!(page, "<th>Lamp</th><th>Gone when</th><th class=\"todo\">Meanwhile, and what to do</th>");
    put!(page, "<th>Wired</th></tr>\n</thead>");
    for subject in Subject::ALL {
        put!(page, "<tbody>");
        put!(
            page,
            "<tr class=\"subject\"><th colspan=\"{COLUMNS}\" scope=\"rowgroup\">{}</th></tr>",
            subject.title()
        );
        for times in rows.iter().filter(|times| times.row.row.subject() == subject) {
            row(page, times);
        }
        put!(page, "</tbody>");
    }
    put!(page, "</table>");
}

/// Behind a figure that the rig has tightened.
const fn star(tightened: bool) -> &'static str {
    if tightened { " &#9733;" } else { "" }
}

fn row(page: &mut String, times: &RowTimes) {
    let in_force = &times.row;
    let row = in_force.row;
    let class = row.class.word();
    put!(page, "<tr class=\"{class}\"><td class=\"no\">{}</td>", row.number);
    put!(page, "<td class=\"class\">{}</td>", badge(row.class));
    let tag = in_force
        .tag
        .as_ref()
        .map(|tag| format!("<b class=\"tag\">{}</b> ", escaped(tag)))
        .unwrap_or_default();
    put!(
        page,
        "<td class=\"cause\"><b>{}</b><br>{}{}<br><small>{tag}{}</small></td>",
        escaped(row.title),
        escaped(&in_force.condition()),
        star(in_force.is_set_point_tightened()),
        escaped(&in_force.origin.words())
    );
    put!(page, "<td class=\"arming\">{}</td>", row.arming.words());
    let mut delays = format!(
        "on {} s<br>off {} s{}",
        seconds(in_force.delay.as_secs_f64()),
        seconds(in_force.delay_off.as_secs_f64()),
        star(in_force.are_delays_tightened())
    );
    if row.class == Class::Trip {
        let _ = write!(
            delays,
            "<br><b>total {:.2} s</b> ({} s)",
            times.total.as_secs_f64(),
            seconds(times.permitted.as_secs_f64())
        );
    }
    put!(page, "<td class=\"times\">{delays}</td>");
    for column in Column::ALL {
        put!(page, "<td class=\"e\">{}</td>", cell(row, column));
    }
    put!(page, "<td class=\"lamp\">{}</td>", dot(row.lamp));
    put!(page, "<td>{}</td>", gone(row.reset));
    put!(
        page,
        "<td class=\"todo\"><b>{}.</b> {}</td>",
        escaped(&capital(row.meanwhile.words())),
        escaped(row.advice)
    );
    let wired = match row.circuit {
        Circuit::AlsoWired => "<b title=\"wired as well\">&#10004;</b>",
        Circuit::Software => "",
    };
    put!(page, "<td class=\"wired\">{wired}</td></tr>");
}

/// One cell: the effects of a row on an output, each with its place and its time.
fn cell(row: &Row, column: Column) -> String {
    let words: Vec<String> = row
        .effects_on(column)
        .iter()
        .map(|effect| {
            let later = when(effect);
            let style = match effect.actor {
                Actor::Interlocks => "",
                Actor::Sequence => " class=\"seq\"",
            };
            format!(
                "<span{style}><b class=\"n\">{}</b>{}{later}</span>",
                effect.order,
                short(effect.act)
            )
        })
        .collect();
    words.join("<br>")
}

/// What is done, in a word or two.
const fn short(act: Act) -> &'static str {
    match act {
        Act::PowderOff => "off",
        Act::AirHeld => "held over part",
        Act::AirOff => "off until inspected",
        Act::FuelShut | Act::OxygenShut | Act::SupplyShut | Act::GasShut => "shut",
        Act::NoCooling => "none",
        Act::WatchdogOff => "no beat",
        Act::Retreat => "withdraw",
        Act::CarriageStops => "stop",
        Act::TorqueOff => "no torque",
        Act::SpindleTurns => "turn",
        Act::SpindleStops => "stop",
        Act::HoseEmpties => "empty hose",
        Act::TorchClear => "to park",
        Act::Purge => "purge",
        Act::TurnsUntilCool => "until cool",
    }
}

fn when(effect: &OrderedEffect) -> String {
    let words = match effect.when {
        When::AtOnce => return String::new(),
        When::After(span) => format!("{} s after", seconds(span.as_secs_f64())),
        When::OnceClear => "once clear".to_owned(),
        When::OnceEmpty => "once empty".to_owned(),
        When::OnceShut => "once shut".to_owned(),
        When::WhileItLasts => "while it lasts".to_owned(),
        When::ClearWithin(span) => format!("after {} s", seconds(span.as_secs_f64())),
    };
    format!("<i class=\"later\">{words}</i>")
}

const fn gone(reset: ResetRule) -> &'static str {
    reset.words()
}

/// A class with its shape, so that it is told without colour.
fn badge(class: Class) -> String {
    let shape = match class {
        Class::Trip => "&#9632;",
        Class::Stop => "&#9670;",
        Class::Hold => "&#9650;",
        Class::Warn => "&#9675;",
    };
    let word = class.word();
    format!("<span class=\"badge {word}\">{shape}&nbsp;{word}</span>")
}

/// A lamp with its word.
fn dot(lamp: Lamp) -> String {
    let word = lamp.word();
    format!("<span class=\"dot {word}\"></span>{word}")
}

fn elsewhere(page: &mut String) {
    put!(page, "<section class=\"elsewhere\"><h2>Causes answered elsewhere</h2><dl>");
    for beyond in BEYOND {
        put!(
            page,
            "<div><dt>{}</dt><dd>{}. <i>No row: {}.</i></dd></div>",
            escaped(beyond.title),
            escaped(&capital(beyond.answered)),
            escaped(beyond.why)
        );
    }
    put!(page, "</dl></section>");
}

fn capital(words: &str) -> String {
    let mut letters = words.chars();
    letters.next().map_or_else(String::new, |first| first.to_uppercase().chain(letters).collect())
}
