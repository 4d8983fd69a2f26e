//! What somebody who stands before the machine can tell of an order: the same as by `evenpass batch`.

use maud::{Markup, html};

use crate::batch::telling::Field;
use crate::panel::texts::batches as texts;
use crate::record::BatchId;

/// What names the order in a form.
pub(in crate::panel) fn of_batch(id: &BatchId) -> Markup {
    html! { input type="hidden" name="batch" value=(id); }
}

/// The forms; `of` names the order in each of them, `then` is where one goes once it was told.
pub(in crate::panel) fn telling(
    kinds: &[(String, String)],
    of: &Markup,
    then: Option<&str>,
) -> Markup {
    let form = |act: &str, words: &str, inside: Markup| {
        html! {
            form data-post="/batch/told" data-then=[then] data-clears="" {
                (of)
                input type="hidden" name="act" value=(act);
                (inside)
                button type="submit" data-kind="plain" { (words) }
            }
        }
    };
    let field = |field: Field, name: &str, example: &str| {
        html! {
            label {
                (field.words())
                input type="text" name=(name) placeholder=(example) maxlength="80" autocomplete="off";
            }
        }
    };
    html! {
        section.telling data-live="batch.telling" data-mark="order" {
            details {
                summary { (texts::TELL_OF_BATCH) }
                (form("refilled", texts::IS_REFILLED, field(Field::Holds, "holds", "2000 g")))
                (form("blasted", texts::ARE_BLASTED, html! {
                    (field(Field::Parts, "parts", "1-8,12"))
                    (field(Field::Ago, "ago", texts::JUST_NOW))
                }))
                (form("tip-cleaned", texts::IS_CLEANED, html! {}))
                (form("lot", texts::LOT_IN_USE, html! {
                    label {
                        (Field::Of.words())
                        select name="of" {
                            @for (key, words) in kinds { option value=(key) { (words) } }
                        }
                    }
                    (field(Field::Lot, "lot", "L-4711"))
                    (field(Field::Certificate, "certificate", ""))
                    (field(Field::Contents, "contents", texts::GAS_ALONE))
                }))
                p { (texts::TELLING_MOVES_NOTHING) }
            }
        }
    }
}
