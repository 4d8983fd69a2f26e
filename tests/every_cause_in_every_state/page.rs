//! The outcome as one page: rows of the matrix by states, a letter and milliseconds in each cell, and
//! behind each cell the effects in their order. Nothing is fetched: style is in the page, and it
//! prints.

use std::fmt::Write;

use evenpass_core::interlock::Class;
use evenpass_core::interlock::matrix::Row;

use crate::trying::{Acted, Cell, Stand, Tried};

const STYLE: &str = "
:root{color-scheme:light;--line:#c9ced6;--head:#f1f3f6;--ink:#1b1f24;--soft:#5b6470}
*{box-sizing:border-box}
body{margin:0;padding:24px 28px;font:14px/1.45 system-ui,'Segoe UI',Roboto,'DejaVu Sans',sans-serif;color:var(--ink);background:#fff}
h1{font-size:22px;margin:0 0 6px}h2{font-size:17px;margin:34px 0 8px;border-bottom:2px solid var(--ink);padding-bottom:3px}
h3{font-size:14px;margin:22px 0 4px}h3 small{font-weight:400;color:var(--soft)}
p{max-width:76em;margin:6px 0}
.legend{display:flex;flex-wrap:wrap;gap:6px 18px;margin:12px 0 14px}
.legend span{display:inline-flex;align-items:center;gap:6px}
.legend i{font-style:normal;display:inline-block;min-width:34px;text-align:center;padding:1px 5px;border:1px solid var(--line)}
.scroll{overflow:auto;max-height:86vh;border:1px solid var(--line)}
table{border-collapse:separate;border-spacing:0}
.grid th,.grid td{border-right:1px solid var(--line);border-bottom:1px solid var(--line)}
.grid thead th{position:sticky;top:0;z-index:2;background:var(--head);vertical-align:bottom;height:200px;padding:6px 0}
.grid thead th div{writing-mode:vertical-rl;transform:rotate(180deg);white-space:nowrap;font-weight:600;font-size:12px;margin:0 auto}
.grid thead th div small{font-weight:400;color:var(--soft)}
.grid thead th:first-child,.grid tbody th{position:sticky;left:0;z-index:1;background:var(--head);text-align:left}
.grid thead th:first-child{z-index:3;padding:8px}
.grid tbody th{font-weight:400;padding:1px 8px;white-space:nowrap;font-size:12.5px}
.grid tbody th b{display:inline-block;width:2.6em;color:var(--soft);font-weight:400}
.grid td{text-align:center;padding:0;min-width:33px;font-size:11px;font-variant-numeric:tabular-nums;height:20px}
.grid td a{display:block;color:inherit;text-decoration:none;padding:1px 2px}
.grid td a:hover,.grid td a:focus{outline:2px solid #1b1f24;outline-offset:-2px}
.T{background:#f7d6d3}.H{background:#fdeec3}.S{background:#e7dcf5}.W{background:#dbeafb}
.n{color:#a6adb7}.c{background:repeating-linear-gradient(45deg,#fff,#fff 4px,#eceff3 4px,#eceff3 8px);color:var(--soft)}
.bad{outline:3px solid #b00020;outline-offset:-3px}
.list{width:100%;margin:2px 0 10px;font-size:12.5px}
.list td,.list th{border-bottom:1px solid #e4e7ec;padding:2px 8px;text-align:left;vertical-align:top}
.list th{font-weight:600;border-bottom:1px solid var(--ink)}
.list td:nth-child(1){white-space:nowrap;width:22em}.list td:nth-child(2),.list td:nth-child(3),.list td:nth-child(4){white-space:nowrap;text-align:right;width:7em}.list th:nth-child(2),.list th:nth-child(3),.list th:nth-child(4){text-align:right}
.list tr:target{background:#fff6d8}
.e{white-space:nowrap}.e u{text-decoration:none;color:var(--soft);font-variant-numeric:tabular-nums}
@media print{body{padding:0;font-size:9pt}.scroll{max-height:none;overflow:visible;border:0}.grid thead th,.grid thead th:first-child,.grid tbody th{position:static}h3{break-after:avoid}tr{break-inside:avoid}@page{size:A3 landscape;margin:10mm}}
";

fn letter(class: Class) -> &'static str {
    match class {
        Class::Trip => "T",
        Class::Stop => "S",
        Class::Hold => "H",
        Class::Warn => "W",
    }
}

fn escaped(text: &str) -> String {
    text.replace('&', "&amp;").replace('<', "&lt;").replace('"', "&quot;")
}

/// What a person reads of one effect: lamps and the row's own state are left out.
fn effects(acted: &Acted) -> Vec<(f64, String)> {
    acted.effects.iter().map(|(at, what)| (*at, what.words())).collect()
}

fn milliseconds(seconds: f64) -> String {
    format!("{:.0}", seconds * 1e3)
}

fn or_dash(seconds: Option<f64>) -> String {
    seconds.map_or_else(|| "&ndash;".to_owned(), |seconds| format!("{} ms", milliseconds(seconds)))
}

fn in_order(acted: &Acted, apart: &str) -> String {
    let told: Vec<String> =
        effects(acted).iter().map(|(at, words)| format!("{:+.3} s {words}", at)).collect();
    told.join(apart)
}

/// The last of what the row takes away, or of what follows for the torch.
fn figure(acted: &Acted) -> String {
    acted.taken.map_or_else(String::new, |taken| format!(" {}", milliseconds(taken)))
}

fn cell(html: &mut String, tried: &Tried, stand: &Stand) {
    let id = format!("r{}p{}", tried.row.number, tried.place);
    let bad = if tried.wrong.is_empty() { "" } else { " bad" };
    let head = format!("{} in {}", tried.row.title, stand.name);
    match &tried.cell {
        Cell::Acted(acted) => {
            let title = format!(
                "{head}\n{}: counts after {} ms{}\n{}\ncomes to: {}",
                tried.done,
                milliseconds(acted.confirmed),
                first_out(tried, acted),
                in_order(acted, "\n"),
                acted.rest.name()
            );
            let _ = write!(
                html,
                "<td class=\"{}{bad}\"><a href=\"#{id}\" title=\"{}\">{}{}</a></td>",
                letter(tried.row.class),
                escaped(&title),
                letter(tried.row.class),
                figure(acted)
            );
        }
        Cell::NotArmed { others } => {
            let with = if others.is_empty() {
                String::new()
            } else {
                format!("\ninstead: {}", others.join(", "))
            };
            let title = format!("{head}\n{}: does not count here{with}", tried.done);
            let _ =
                write!(html, "<td class=\"n{bad}\" title=\"{}\">&middot;</td>", escaped(&title));
        }
        Cell::Cannot(reason) => {
            let title = format!("{head}\nnot provoked: {reason}");
            let _ = write!(html, "<td class=\"c\" title=\"{}\">&ndash;</td>", escaped(&title));
        }
    }
}

fn first_out(tried: &Tried, acted: &Acted) -> String {
    match &acted.first {
        Some(first) if first != tried.row.key => format!("; first out: {first}"),
        Some(_) => "; first out".to_owned(),
        None => String::new(),
    }
}

fn detail(html: &mut String, tried: &Tried, stand: &Stand) {
    let name = escaped(&stand.name);
    let id = format!("r{}p{}", tried.row.number, tried.place);
    let wrong = tried.wrong.iter().fold(String::new(), |all, word| {
        format!("{all}<br><strong>not as it should be: {}</strong>", escaped(word))
    });
    if let Cell::Acted(acted) = &tried.cell {
        let told: Vec<String> = effects(acted)
            .iter()
            .map(|(at, words)| format!("<span class=e><u>{at:+.3}</u> {}</span>", escaped(words)))
            .collect();
        let _ = write!(
            html,
            "<tr id=\"{id}\"><td>{name}</td><td>{} ms</td><td>{}</td><td>{}</td><td>{}{}; comes to {}{wrong}</td></tr>",
            milliseconds(acted.confirmed),
            or_dash(acted.taken),
            or_dash(acted.taken.map(|taken| acted.confirmed + taken)),
            if told.is_empty() { "nothing switches or moves".to_owned() } else { told.join(", ") },
            escaped(&first_out(tried, acted)),
            acted.rest.name()
        );
    } else if !wrong.is_empty() {
        let _ = write!(html, "<tr><td>{name}</td><td></td><td></td><td></td><td>{wrong}</td></tr>");
    }
}

/// Places in which the row did nothing, with why, most of them together.
fn the_rest(html: &mut String, tried: &[&Tried], stands: &[Stand]) {
    let mut groups: Vec<(String, Vec<&str>)> = Vec::new();
    for tried in tried {
        let why = match &tried.cell {
            Cell::Acted(_) => continue,
            Cell::NotArmed { others } if others.is_empty() => "does not count".to_owned(),
            Cell::NotArmed { others } => format!("does not count; instead {}", others.join(", ")),
            Cell::Cannot(reason) => format!("not provoked: {reason}"),
        };
        let name = stands[tried.place].name.as_str();
        match groups.iter_mut().find(|(other, _)| *other == why) {
            Some((_, names)) => names.push(name),
            None => groups.push((why, vec![name])),
        }
    }
    for (why, names) in groups {
        let _ = write!(html, "<p><b>{}</b> in: {}</p>", escaped(&why), escaped(&names.join("; ")));
    }
}

/// The whole page.
pub(crate) fn of(rows: &[&'static Row], stands: &[Stand], tried: &[Tried]) -> String {
    let mut html = String::new();
    let _ = write!(
        html,
        "<!doctype html><html lang=en><meta charset=utf-8><title>Every cause in every state</title><style>{STYLE}</style>\
         <h1>Every cause in every state</h1>\
         <p>{} rows of the cause-and-effect matrix, each provoked on the twin in {} places of the state chart, with the whole \
         program at work. A place is a copy of one run of the reference shaft; nobody is at the machine in it. Times count from the \
         scan that confirmed the cause; coils are told at the instant they switch in the module, what has to be looked at (motion, flame, \
         powder at the nozzle) at the next look, 5 ms later at most.</p>\
         <div class=legend><span><i class=T>T 21</i> trip: last of powder, fuel and oxygen off after so many ms</span>\
         <span><i class=H>H 21</i> hold: powder off, in lighting the gas</span><span><i class=S>S 21</i> stop: the same</span>\
         <span><i class=W>W</i> warning</span><span><i class=n>&middot;</i> does not count in that state</span>\
         <span><i class=c>&ndash;</i> cannot be provoked there; why is in the cell</span></div>\
         <p>No figure: none of the three was on, or it was off before. Less than \
         nothing: the wired circuit had shut it before the controller saw the cause. Hover for the order of effects, click for the list.</p>\
         <div class=scroll><table class=grid><thead><tr><th>cause</th>",
        rows.len(),
        stands.len()
    );
    for stand in stands {
        let (leaf, note) = (stand.place.leaf.name(), stand.place.note);
        let note = if note.is_empty() { String::new() } else { format!(" <small>{note}</small>") };
        let _ = write!(html, "<th scope=col><div>{leaf}{note}</div></th>");
    }
    html.push_str("</tr></thead><tbody>");
    let of_row = |row: &Row| -> Vec<&Tried> {
        tried.iter().filter(|tried| tried.row.number == row.number).collect()
    };
    for row in rows {
        let _ = write!(
            html,
            "<tr><th scope=row title=\"{}\"><a href=\"#r{}\" style=\"color:inherit;text-decoration:none\"><b>{}</b>{}</a></th>",
            escaped(row.advice),
            row.number,
            row.number,
            escaped(row.title)
        );
        for tried in of_row(row) {
            cell(&mut html, tried, &stands[tried.place]);
        }
        html.push_str("</tr>");
    }
    html.push_str("</tbody></table></div><h2>Effects in their order</h2>");
    for row in rows {
        let tried = of_row(row);
        let done: Vec<&str> =
            tried.iter().map(|tried| tried.done).filter(|done| !done.is_empty()).collect();
        let _ = write!(
            html,
            "<h3 id=\"r{}\">{} {} <small>{}, {}, delay {} ms; provoked by: {}</small></h3>",
            row.number,
            row.number,
            escaped(row.title),
            row.key,
            match row.class {
                Class::Trip => "trip",
                Class::Stop => "stop",
                Class::Hold => "hold",
                Class::Warn => "warning",
            },
            row.delay.as_millis(),
            done.first().copied().unwrap_or("nothing")
        );
        if tried.iter().any(|tried| matches!(tried.cell, Cell::Acted(_)) || !tried.wrong.is_empty())
        {
            html.push_str("<table class=list><tr><th>state</th><th>counts after</th><th>energy off</th><th>in all</th><th>seconds from the confirmation</th></tr>");
            for tried in &tried {
                detail(&mut html, tried, &stands[tried.place]);
            }
            html.push_str("</table>");
        }
        the_rest(&mut html, &tried, stands);
    }
    html.push_str("</html>");
    html
}
