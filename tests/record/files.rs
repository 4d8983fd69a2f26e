//! Where the record is, and what is said when it can't be there.

use std::path::Path;

use evenpass::record::{RecordError, Store, records_file};

use crate::story::file;

#[test]
fn reading_where_nothing_was_recorded_says_so_and_makes_no_file() {
    let (_folder, path) = file();
    let error = Store::open_existing(&path).expect_err("nothing there");
    assert!(error.to_string().contains("nothing was recorded there yet"), "{error}");
    assert!(!path.exists());
}

#[test]
fn a_file_that_is_no_database_is_left_alone_and_named() {
    let folder = tempfile::tempdir().expect("temporary folder");
    let path = folder.path().join("notes.txt");
    let notes = "shopping list: grit, gloves, a new sprung centre\n".repeat(40);
    std::fs::write(&path, &notes).expect("write");
    let error = Store::open(&path).expect_err("no database");
    assert_eq!(
        error.to_string(),
        format!(
            "{} holds no records of this program: it is not a database; move it away, or name \
             another file with --records FILE",
            path.display()
        )
    );
    assert_eq!(std::fs::read_to_string(&path).expect("read"), notes);
}

/// The kernel lets nobody make files in sysfs, root neither, so that this holds for any user.
#[cfg(target_os = "linux")]
#[test]
fn a_folder_that_cannot_be_written_is_named_with_what_to_do() {
    for (file, folder) in
        [("/sys/evenpass/records.sqlite", "/sys/evenpass"), ("/sys/kernel/r.sqlite", "/sys/kernel")]
    {
        let error = Store::open(Path::new(file)).expect_err("nobody can write there");
        assert_eq!(
            error.to_string(),
            format!(
                "records folder {folder} cannot be written; give this user the right to write \
                 there, or name another file with --records FILE"
            )
        );
    }
}

#[test]
fn a_chosen_file_is_taken_as_it_is_and_the_usual_one_is_ours() {
    let chosen = records_file(Some(Path::new("here.sqlite"))).expect("chosen");
    assert_eq!(chosen, Path::new("here.sqlite"));
    match records_file(None) {
        Ok(usual) => assert!(usual.ends_with("evenpass/records.sqlite"), "{}", usual.display()),
        Err(error) => assert!(matches!(error, RecordError::NoDataFolder), "{error}"),
    }
}
