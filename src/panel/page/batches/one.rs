//! One order: what it is for, what of it is made, what the next part needs, and every part.

use evenpass_core::batch::Tally;
use jiff::Timestamp;
use maud::{Markup, html};

use super::{address, forms, needs, pairs, wall};
use crate::batch::before::Before;
use crate::batch::job::{file_name, find, place};
use crate::batch::line::stands;
use crate::batch::parts::{PartRow, rows, tally_of, tally_rows, tried};
use crate::batch::served::Chosen;
use crate::panel::batches::{Shop, Stands, in_one_line};
use crate::panel::texts::batches as texts;
use crate::people::Units;
use crate::record::Batch;

/// Parts on one page: as many as weigh no more than a page may.
const SHOWN: usize = 250;

/// An order as its page shows it.
pub(super) struct Order {
    batch: Batch,
    tally: Tally,
    parts: Vec<PartRow>,
    /// The number of parts before those that are shown.
    before: usize,
    /// How it stands on this machine; why that is not known.
    stands: Result<Stands, String>,
    next: Option<Before>,
    is_chosen: bool,
}

impl Order {
    /// Reads it.
    pub(super) fn read(
        shop: &Shop,
        name: &str,
        from: usize,
        chosen: &Chosen,
    ) -> Result<Self, String> {
        let store = shop.store().map_err(|problem| problem.whole())?;
        let batch = find(&store, name).map_err(|problem| problem.whole())?;
        let tried = tried(&store, &batch).map_err(|problem| problem.whole())?;
        let before = from.saturating_sub(1) / SHOWN * SHOWN;
        let mut parts = rows(&store, &batch, &tried).map_err(|problem| problem.whole())?;
        parts = parts.into_iter().skip(before).take(SHOWN).collect();
        let stands = if shop.makes(&batch) {
            shop.stands(&store, &batch)
        } else {
            Err(format!("{} {}, {}", texts::ORDERED_ELSEWHERE, batch.rig, place(batch.kind)))
        };
        let now = Timestamp::now();
        let next = stands.as_ref().ok().and_then(|of| Before::next(&of.standing, now));
        let is_chosen = *chosen == Chosen::Order(batch.id.clone());
        let tally = tally_of(&batch, &tried);
        Ok(Self { batch, tally, parts, before, stands, next, is_chosen })
    }

    /// The inside of its page.
    pub(super) fn page(&self, units: Units) -> Markup {
        let id = &self.batch.id;
        html! {
            p { a href="/batches" { "\u{2190} " (texts::BATCHES) } }
            section {
                h1 { (texts::BATCH) " " (id) }
                (pairs(&self.head()))
                div.buttons {
                    a.button href=(address("/batch/report", id)) { (texts::SHIFT_REPORT) }
                }
            }
            @match &self.stands {
                Err(why) => section { p { (units.restate(&in_one_line(why))) } },
                Ok(of) => {
                    (self.next_part())
                    (forms::telling(&of.kinds, &forms::of_batch(id), Some(&address("/batch", id))))
                }
            }
            (self.list())
        }
    }

    fn head(&self) -> Vec<(String, String)> {
        let batch = &self.batch;
        let mut rows = vec![
            ("made".to_owned(), format!("{}, {}", wall(batch), batch.person)),
            ("recipe".to_owned(), file_name(&batch.recipe.name)),
            ("rig".to_owned(), format!("{}, {}", batch.rig, place(batch.kind))),
        ];
        rows.extend(batch.ordered.particulars.clone());
        let tally = tally_rows(&self.tally).into_iter();
        rows.extend(tally.map(|(name, words)| (name.to_owned(), words)));
        if let Ok(of) = &self.stands {
            if let Some((number, _)) = of.standing.first_good {
                let words = format!("part {number}: drift counts from it");
                rows.push(("first good".to_owned(), words));
            }
            let lots = of.standing.lots.iter();
            rows.extend(lots.map(|(what, lot)| ("lot".to_owned(), format!("{lot} of {what}"))));
        }
        rows
    }

    fn next_part(&self) -> Markup {
        let Some(next) = &self.next else {
            return html! { section { p { (texts::NO_PART_TO_MAKE) } } };
        };
        html! {
            section.batch {
                h2 { (texts::NEXT) ": " (next.title()) }
                (needs(next))
                @if self.is_chosen { p { (texts::ORDER_CHOSEN) } }
                form.buttons data-post="/batch/choose" data-then="/" {
                    button type="submit" name="batch" value=(self.batch.id) { (texts::MAKE_ITS_PARTS) }
                    button type="submit" name="batch" value="" { (texts::MAKE_OTHERS) }
                }
                p { (texts::CHOICE_LOADS) }
            }
        }
    }

    /// The parts, and the way to those that found no room.
    fn list(&self) -> Markup {
        let ordered = self.batch.ordered.serials.len();
        let after = self.before + self.parts.len();
        let from = |number: usize| format!("{}&from={number}", address("/batch", &self.batch.id));
        html! {
            section {
                h2 { (texts::PARTS) }
                table.runs {
                    thead { tr {
                        th { "part" } th { "serial" } th { "run" } th { "passes" } th { "stands" }
                        th { "measured" }
                    } }
                    tbody { @for part in &self.parts { (row(part)) } }
                }
                @if ordered > self.parts.len() {
                    div.buttons {
                        @if self.before > 0 {
                            a.button href=(from(self.before + 1 - SHOWN.min(self.before))) {
                                (texts::PARTS_BEFORE)
                            }
                        }
                        @if after < ordered { a.button href=(from(after + 1)) { (texts::PARTS_AFTER) } }
                    }
                }
            }
        }
    }
}

/// One part; what was tried before its last run stands before it.
fn row(part: &PartRow) -> Markup {
    let measured = match (part.is_measured, part.measured) {
        (true, _) => "measured".to_owned(),
        (false, Some(why)) => format!("to be measured ({})", why.words()),
        (false, None) => String::new(),
    };
    html! {
        tr {
            td { (part.number) }
            td.words { (part.serial) }
            @match part.tried.split_last() {
                None => { td {} td {} td {} },
                Some((last, before)) => {
                    td { a href=(format!("/records/{}", last.run)) { (last.run) } }
                    td { (last.passes_done) @if let Some(of) = last.passes_planned { "/" (of) } }
                    td {
                        (stands(last.fate))
                        @for one in before {
                            " " small {
                                (texts::BEFORE_IT) " "
                                a.plain href=(format!("/records/{}", one.run)) { (one.run) }
                                ": " (stands(one.fate))
                            }
                        }
                    }
                }
            }
            td { (measured) }
        }
    }
}
