//! Revisions of a recipe saved, edited outside, put back, and cut off.

use std::fs;
use std::path::PathBuf;

use evenpass_core::recipe::Recipe;

use super::*;

const SHAFT: &str = include_str!("../../config/recipes/reference-shaft.toml");

struct Shop {
    _folder: tempfile::TempDir,
    recipe: PathBuf,
    catalogue: Catalogue,
}

impl Shop {
    fn new() -> Self {
        let folder = tempfile::tempdir().expect("a folder");
        let recipe = folder.path().join("shaft.toml");
        fs::write(&recipe, SHAFT).expect("written");
        let catalogue = Catalogue::read(&[
            ("powders.toml", include_str!("../../config/powders.toml")),
            ("torches.toml", include_str!("../../config/torches.toml")),
        ]);
        Self { _folder: folder, recipe, catalogue: catalogue.expect("the shipped catalogue") }
    }

    fn text(&self) -> String {
        fs::read_to_string(&self.recipe).expect("there")
    }

    fn with_finish(&self, finish: &str) -> String {
        let value = FieldValue::Text(finish.to_owned());
        set(&self.text(), &[("zone[seat].finish".to_owned(), value)]).expect("set")
    }

    fn save(&self, text: &str) -> Result<Saved, String> {
        self.save_as(text, "Ines", "thicker, after grinding showed low spots")
    }

    fn save_as(&self, text: &str, who: &str, why: &str) -> Result<Saved, String> {
        let expected = Digest::of(&self.text());
        let when = "2026-11-29T14:03:12Z".parse().expect("a time");
        let wanted = Wanted { text, who, when, why, expected: &expected };
        save(&self.recipe, &wanted, &self.catalogue)
    }

    fn history(&self) -> History {
        list(&self.recipe).unwrap_or_else(|told| panic!("{told}"))
    }

    fn numbers(&self) -> Vec<(u32, String)> {
        self.history().revisions.into_iter().map(|kept| (kept.revision, kept.who)).collect()
    }
}

fn numbered(list: &[(u32, &str)]) -> Vec<(u32, String)> {
    list.iter().map(|(number, who)| (*number, (*who).to_owned())).collect()
}

#[test]
fn a_save_raises_the_revision_and_keeps_both_texts_with_who_when_and_why() {
    let shop = Shop::new();
    assert_eq!(shop.history().standing, Standing::NeverKept);
    let saved = shop.save(&shop.with_finish("0.40 mm")).unwrap_or_else(|told| panic!("{told}"));
    assert_eq!((saved.revision, saved.found), (2, Some(1)));
    assert_eq!(shop.text(), saved.text);
    assert!(saved.text.starts_with("# The reference job of the tests"), "comments stay");
    let recipe = Recipe::read(&shop.text(), &shop.catalogue).expect("a recipe");
    assert_eq!((recipe.revision, recipe.zones[0].finish.mm()), (2, 0.4));
    let history = shop.history();
    assert_eq!((history.standing, &history.digest), (Standing::Latest, &saved.digest));
    assert_eq!(shop.numbers(), numbered(&[(1, NOT_KNOWN), (2, "Ines")]));
    let last = history.revisions.last().expect("two");
    assert_eq!(last.why, "thicker, after grinding showed low spots");
    assert_eq!(last.when.to_string(), "2026-11-29T14:03:12Z");
    assert_eq!(text_of(&shop.recipe, 1).as_deref(), Ok(SHAFT));
    assert_eq!(text_of(&shop.recipe, 2).as_ref(), Ok(&saved.text));
    let found = compare(&shop.recipe, 1, 2).expect("both are kept");
    let told: Vec<&str> = found.iter().map(|one| one.path.as_str()).collect();
    assert!(told.contains(&"zone[seat].finish") && told.len() == 2, "{told:?}");
}

#[test]
fn a_file_edited_outside_is_noticed_and_kept_before_another_takes_its_place() {
    let shop = Shop::new();
    shop.save(&shop.with_finish("0.40 mm")).expect("saved");
    let by_hand = shop.with_finish("0.45 mm");
    fs::write(&shop.recipe, &by_hand).expect("written");
    assert_eq!(shop.history().standing, Standing::EditedOutside);
    let saved = shop.save(&shop.with_finish("0.50 mm")).expect("saved");
    assert_eq!((saved.revision, saved.found), (4, Some(3)));
    assert_eq!(
        shop.numbers(),
        numbered(&[(1, NOT_KNOWN), (2, "Ines"), (3, NOT_KNOWN), (4, "Ines")])
    );
    let kept = text_of(&shop.recipe, 3).expect("kept");
    assert_eq!(kept, by_hand.replace("revision = 2", "revision = 3"), "its number alone is new");
    assert!(shop.history().revisions[2].why.contains("edited outside"));
}

#[test]
fn what_was_edited_outside_can_be_taken_over_as_it_is_by_name() {
    let shop = Shop::new();
    shop.save(&shop.with_finish("0.40 mm")).expect("saved");
    fs::write(&shop.recipe, shop.with_finish("0.45 mm")).expect("written");
    let saved = shop.save_as(&shop.text(), "Ines", "as tried by hand").expect("saved");
    assert_eq!((saved.revision, saved.found), (3, None));
    assert_eq!(shop.numbers(), numbered(&[(1, NOT_KNOWN), (2, "Ines"), (3, "Ines")]));
    let again = shop.save(&shop.text()).expect_err("nothing is new");
    assert!(again.contains("nothing has changed since revision 3"), "{again}");
}

#[test]
fn an_earlier_revision_put_back_by_hand_is_known_and_saved_as_a_new_one() {
    let shop = Shop::new();
    shop.save(&shop.with_finish("0.40 mm")).expect("saved");
    shop.save(&shop.with_finish("0.45 mm")).expect("saved");
    fs::write(&shop.recipe, text_of(&shop.recipe, 2).expect("kept")).expect("written");
    assert_eq!(shop.history().standing, Standing::Earlier(2));
    let saved = shop.save_as(&shop.text(), "Ines", "back to revision 2").expect("saved");
    assert_eq!((saved.revision, saved.found), (4, None));
    let found = compare(&shop.recipe, 2, 4).expect("both are kept");
    assert_eq!(found.len(), 1, "only its number: {found:?}");
}

#[test]
fn what_cannot_be_saved_is_told_and_leaves_recipe_and_list_as_they_were() {
    let shop = Shop::new();
    shop.save(&shop.with_finish("0.40 mm")).expect("saved");
    let (before, text) = (shop.numbers(), shop.text());
    let good = shop.with_finish("0.45 mm");
    for (told, words) in [
        (shop.save_as(&good, " ", "why"), "who: is missing"),
        (shop.save_as(&good, "Ines", ""), "why: is missing"),
        (shop.save_as(&good, "Ines\n[[revision]]", "why"), "who: is no line of text"),
        (shop.save_as(&good, "Ines", &"x".repeat(301)), "why: is no line of text"),
        (shop.save(&text), "nothing has changed since revision 2"),
        (shop.save(&shop.with_finish("0.45")), "`0.45` has no unit"),
        (shop.save("x = "), "is not TOML"),
    ] {
        let told = told.expect_err(words);
        assert!(told.contains(words), "{told}");
    }
    let stale = Digest::of("another text");
    let when = Timestamp::UNIX_EPOCH;
    let wanted = Wanted { text: &good, who: "Ines", when, why: "why", expected: &stale };
    let told = save(&shop.recipe, &wanted, &shop.catalogue).expect_err("stale");
    assert!(told.contains("has changed since it was read"), "{told}");
    assert_eq!((shop.numbers(), shop.text()), (before, text));
}

#[test]
fn a_refused_text_over_a_file_edited_outside_keeps_nothing_either() {
    let shop = Shop::new();
    let folder = shop.recipe.with_file_name("revisions");
    shop.save(&shop.with_finish("0.45")).expect_err("no unit");
    let files = fs::read_dir(folder).expect("there").map(|entry| entry.expect("an entry").path());
    let kept: Vec<PathBuf> =
        files.filter(|path| path.extension().is_some_and(|e| e == "toml")).collect();
    assert_eq!(kept, Vec::<PathBuf>::new());
    assert_eq!(shop.numbers(), numbered(&[]));
}

#[test]
fn a_save_that_was_cut_off_stands_in_nobodys_way() {
    let shop = Shop::new();
    shop.save(&shop.with_finish("0.40 mm")).expect("saved");
    // The text of the next one was written, and then the mains failed.
    let orphan = shop.recipe.with_file_name("revisions").join("shaft.r003.toml");
    fs::write(&orphan, "half a").expect("written");
    let saved = shop.save(&shop.with_finish("0.45 mm")).expect("saved");
    assert_eq!(saved.revision, 4);
    assert_eq!(fs::read_to_string(orphan).expect("there"), "half a", "nothing is taken away");
    assert_eq!(shop.history().standing, Standing::Latest);
    assert!(text_of(&shop.recipe, 3).expect_err("not listed").contains("1, 2, 4"));
}

#[test]
fn a_text_that_could_not_become_the_recipe_is_no_revision() {
    let shop = Shop::new();
    shop.save(&shop.with_finish("0.40 mm")).expect("saved");
    let (before, text) = (shop.numbers(), shop.text());
    // A folder stands where the new text would wait: the recipe cannot be written.
    let waits = shop.recipe.with_file_name(".shaft.toml.new");
    fs::create_dir(&waits).expect("made");
    let told = shop.save(&shop.with_finish("0.45 mm")).expect_err("it cannot be written");
    assert!(told.contains("shaft.toml: cannot be written"), "{told}");
    assert_eq!((shop.numbers(), shop.text()), (before, text));
    assert_eq!(shop.history().standing, Standing::Latest);
    fs::remove_dir(waits).expect("removed");
    let saved = shop.save(&shop.with_finish("0.45 mm")).expect("saved");
    assert_eq!(shop.history().standing, Standing::Latest);
    assert_eq!(shop.numbers().last().expect("some").0, saved.revision);
}

/// The mains fail between the recipe and its list, and before the recipe.
#[test]
fn a_save_cut_off_before_its_list_is_listed_if_it_became_the_recipe_and_else_is_not() {
    let shop = Shop::new();
    shop.save(&shop.with_finish("0.40 mm")).expect("saved");
    let folder = shop.recipe.with_file_name("revisions");
    let (list, proposed) =
        (folder.join("shaft.revisions.toml"), folder.join(".shaft.proposed.toml"));
    let (second, listed) = (shop.text(), fs::read(&list).expect("there"));
    shop.save(&shop.with_finish("0.45 mm")).expect("saved");
    fs::rename(&list, &proposed).expect("renamed");
    fs::write(&list, &listed).expect("written");
    let three = numbered(&[(1, NOT_KNOWN), (2, "Ines"), (3, "Ines")]);
    assert_eq!((shop.numbers(), shop.history().standing), (three.clone(), Standing::Latest));
    assert!(text_of(&shop.recipe, 3).is_ok());

    let third = shop.text();
    fs::write(&shop.recipe, second).expect("written");
    assert_eq!(shop.numbers(), numbered(&[(1, NOT_KNOWN), (2, "Ines")]));
    assert_eq!(shop.history().standing, Standing::Latest);

    fs::write(&shop.recipe, third).expect("written");
    let saved = shop.save(&shop.with_finish("0.50 mm")).expect("saved");
    assert_eq!((saved.revision, saved.found), (4, None));
    assert_eq!(shop.numbers(), [three, numbered(&[(4, "Ines")])].concat());
    assert!(!proposed.exists());
}

#[test]
fn a_new_recipe_has_its_maker_as_its_first_revision_and_takes_nobodys_place() {
    let shop = Shop::new();
    let path = shop.recipe.with_file_name("new.toml");
    let origin = |how| Origin { who: "Ines", when: Timestamp::UNIX_EPOCH, how };
    let begun = begin(&path, SHAFT, origin(Beginning::Taught), &shop.catalogue);
    let begun = begun.unwrap_or_else(|told| panic!("{told}"));
    assert_eq!((begun.revision, begun.found), (1, None));
    let history = list(&path).expect("kept");
    assert_eq!(history.standing, Standing::Latest);
    let first = &history.revisions[0];
    assert_eq!(
        (first.who.as_str(), first.why.as_str()),
        ("Ines", "made of points taken at the machine")
    );
    begin(&path, SHAFT, origin(Beginning::Imported), &shop.catalogue).expect_err("it is there");
    assert_eq!(list(&path).expect("kept").revisions.len(), 1);
}

#[test]
fn a_kept_text_or_a_list_that_was_changed_by_hand_is_told() {
    let shop = Shop::new();
    shop.save(&shop.with_finish("0.40 mm")).expect("saved");
    let folder = shop.recipe.with_file_name("revisions");
    fs::write(folder.join("shaft.r001.toml"), "title = \"other\"").expect("written");
    let told = text_of(&shop.recipe, 1).expect_err("changed");
    assert!(told.contains("shaft.r001.toml: is not what was saved as revision 1"), "{told}");
    fs::write(folder.join("shaft.revisions.toml"), "[[revision]]\nrevision = 1").expect("written");
    let told = list(&shop.recipe).expect_err("torn");
    assert!(told.contains("shaft.revisions.toml: cannot be read: missing field"), "{told}");
    assert!(told.contains("help: put back"), "{told}");
}

#[test]
fn of_two_who_save_at_once_one_saves_and_the_other_is_told() {
    let shop = Shop::new();
    let texts = [shop.with_finish("0.40 mm"), shop.with_finish("0.45 mm")];
    let expected = Digest::of(&shop.text());
    let done: Vec<bool> = std::thread::scope(|scope| {
        let savers = texts.each_ref().map(|text| {
            let (shop, expected) = (&shop, &expected);
            scope.spawn(move || {
                let when = Timestamp::UNIX_EPOCH;
                let wanted = Wanted { text, who: "Ines", when, why: "at once", expected };
                save(&shop.recipe, &wanted, &shop.catalogue).is_ok()
            })
        });
        savers.into_iter().map(|saver| saver.join().expect("no panic")).collect()
    });
    assert_eq!(done.iter().filter(|done| **done).count(), 1);
    assert_eq!(shop.history().standing, Standing::Latest);
    assert_eq!(shop.numbers().len(), 2);
}
