//! Where the record is, and what is said when it can't be there.

use std::fs;
use std::path::Path;
use std::process::{Command, Output};

use evenpass::record::{RecordError, Store, records_file};

use crate::story::{file, record_story};

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

fn words(output: &Output) -> String {
    let (told, trouble) = (&output.stdout, &output.stderr);
    String::from_utf8_lossy(told).into_owned() + &String::from_utf8_lossy(trouble)
}

/// Runs the program where nothing below `folder` can be written, not by root either: in a mount of
/// its own (util-linux's unshare). `None` where the system lets nobody make one.
fn write_protected(folder: &Path, words: &[&str]) -> Option<Output> {
    let script = "mount --bind \"$1\" \"$1\" && mount -o remount,ro,bind \"$1\" || exit 77
        ! touch \"$1/made\" 2>/dev/null || exit 77
        shift; exec \"$@\"";
    let output = Command::new("unshare")
        .args(["--user", "--map-root-user", "--mount", "sh", "-c", script, "sh"])
        .arg(folder)
        .arg(env!("CARGO_BIN_EXE_evenpass"))
        .args(words)
        .output()
        .ok()?;
    let is_made = output.status.code() != Some(77)
        && !String::from_utf8_lossy(&output.stderr).starts_with("unshare:");
    is_made.then_some(output)
}

#[cfg(target_os = "linux")]
#[test]
fn records_and_backups_on_a_write_protected_medium_are_read_and_nothing_is_made_beside_them() {
    let folder = tempfile::tempdir().expect("temporary folder");
    let path = folder.path().join("100 % of it?.sqlite");
    let id = record_story(&path);
    let copy = folder.path().join("copy.sqlite");
    Store::open_existing(&path).expect("open").back_up(&copy).expect("copied");
    let listed = || {
        let mut names: Vec<_> = fs::read_dir(folder.path())
            .expect("folder")
            .map(|file| file.expect("a file").file_name())
            .collect();
        names.sort();
        names
    };
    let before = listed();
    let elsewhere = tempfile::tempdir().expect("temporary folder");
    let page = elsewhere.path().join("report.html").display().to_string();
    for file in [&path, &copy].map(|file| file.display().to_string()) {
        let verbs = [
            &["records", "list"][..],
            &["records", "show", &id],
            &["records", "verify"],
            &["records", "acts"],
            &["records", "report", &id, "--out", &page],
        ];
        for verb in verbs {
            let whole: Vec<&str> = verb.iter().copied().chain(["--records", &file]).collect();
            let Some(output) = write_protected(folder.path(), &whole) else {
                println!("not tried: this system lets nobody mount");
                return;
            };
            assert!(output.status.success(), "{verb:?} {file}: {}", words(&output));
            assert_eq!(listed(), before, "{verb:?}");
        }
        fs::remove_file(&page).expect("it was written");
    }
    let copy = copy.display().to_string();
    let told = ["--person", "B. Inspector", "--reason", "thin", "--records", &copy];
    let verb: Vec<&str> = ["records", "decide", &id, "hold"].into_iter().chain(told).collect();
    let output = write_protected(folder.path(), &verb).expect("as before");
    assert_eq!(output.status.code(), Some(1), "{}", words(&output));
    // What is in the log alone would be left out.
    fs::write(format!("{copy}-wal"), "").expect("a log");
    let output = write_protected(folder.path(), &["records", "list", "--records", &copy]);
    let output = output.expect("as before");
    assert_eq!(output.status.code(), Some(1), "{}", words(&output));
    assert!(words(&output).contains("was not closed"), "{}", words(&output));
}

#[test]
fn a_backup_into_a_folder_that_is_not_there_names_the_file_that_was_asked_for() {
    let (folder, path) = file();
    record_story(&path);
    let to = folder.path().join("nowhere").join("copy.sqlite");
    let output = Command::new(env!("CARGO_BIN_EXE_evenpass"))
        .args(["records", "backup"])
        .arg(&to)
        .arg("--records")
        .arg(&path)
        .output()
        .expect("the program runs");
    let words = words(&output);
    assert_eq!(output.status.code(), Some(1), "{words}");
    let expected = format!("{} cannot be written; see that its folder is there", to.display());
    assert!(words.contains(&expected) && !words.contains("Error code"), "{words}");
}
