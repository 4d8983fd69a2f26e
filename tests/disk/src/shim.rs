//! The shim between SQLite and the platform's files.
//!
//! It is the platform's own file layer under another name, with two doors changed: opening and
//! removing. A file that somebody watches is opened by the platform and then has four of its
//! methods exchanged (write, truncate, sync, close); all others, those of shared memory and locks
//! included, stay the platform's. A file that nobody watches stays as it is.

#![expect(unsafe_code, reason = "SQLite's file layer is a table of C functions")]

use std::collections::BTreeMap;
use std::ffi::{CStr, OsStr, c_char, c_int, c_void};
use std::os::unix::ffi::OsStrExt as _;
use std::path::Path;
use std::ptr::null;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex, MutexGuard, OnceLock, PoisonError, Weak};

use rusqlite::ffi;

use crate::disk::{About, Operation, Part, Refusal, Syncs, Watched};

/// Its name among SQLite's file layers.
const NAME: &CStr = c"evenpass-disk";

/// The platform's file layer, and who watches what is opened through the shim.
struct Shim {
    platform: ffi::sqlite3_vfs,
    platform_at: *mut ffi::sqlite3_vfs,
    disks: Mutex<Vec<Weak<Watched>>>,
    /// Open files by the address that SQLite gave them.
    open: Mutex<BTreeMap<usize, Arc<Open>>>,
}

// SAFETY: the platform's layer is registered for the whole life of the process, is never changed,
// and SQLite itself calls it from any thread; all else in here is behind locks.
unsafe impl Send for Shim {}
// SAFETY: as above.
unsafe impl Sync for Shim {}

/// A watched file that is open.
struct Open {
    watched: Arc<Watched>,
    part: Part,
    platform: ffi::sqlite3_io_methods,
    /// What SQLite calls instead.
    methods: ffi::sqlite3_io_methods,
    /// A journal that was made: the platform syncs its folder with its first sync, and so does
    /// what is written down.
    owes_folder: AtomicBool,
}

static SHIM: OnceLock<Result<Shim, String>> = OnceLock::new();

fn locked<T>(mutex: &Mutex<T>) -> MutexGuard<'_, T> {
    mutex.lock().unwrap_or_else(PoisonError::into_inner)
}

fn shim() -> Option<&'static Shim> {
    SHIM.get()?.as_ref().ok()
}

/// Registers the shim if it is not yet, and has it watch.
pub(crate) fn watch(watched: &Arc<Watched>) -> Result<(), String> {
    let shim = SHIM.get_or_init(register).as_ref().map_err(Clone::clone)?;
    locked(&shim.disks).push(Arc::downgrade(watched));
    Ok(())
}

/// Files that are open stay watched until they are closed.
pub(crate) fn unwatch(watched: &Arc<Watched>) {
    if let Some(shim) = shim() {
        let is_other = |other: &Weak<Watched>| !std::ptr::eq(other.as_ptr(), Arc::as_ptr(watched));
        locked(&shim.disks).retain(is_other);
    }
}

fn register() -> Result<Shim, String> {
    // SAFETY: a null name asks for the layer in use; SQLite starts itself up on the way.
    let at = unsafe { ffi::sqlite3_vfs_find(null()) };
    // SAFETY: what was found is registered, and so lives on.
    let platform = *unsafe { at.as_ref() }.ok_or("SQLite has no file layer")?;
    let shim = Box::leak(Box::new(ffi::sqlite3_vfs {
        pNext: std::ptr::null_mut(),
        zName: NAME.as_ptr(),
        xOpen: Some(open),
        xDelete: Some(delete),
        ..platform
    }));
    // SAFETY: the layer was leaked, so that it lives as long as SQLite may use it.
    let answer = unsafe { ffi::sqlite3_vfs_register(shim, 1) };
    if answer != ffi::SQLITE_OK {
        return Err(format!("SQLite takes no shim: code {answer}"));
    }
    let (disks, open) = (Mutex::default(), Mutex::default());
    Ok(Shim { platform, platform_at: at, disks, open })
}

impl Shim {
    /// Who watches the file of that name, and which of theirs it is.
    fn watcher(&self, name: *const c_char) -> Option<(Arc<Watched>, Part)> {
        if name.is_null() {
            return None;
        }
        // SAFETY: SQLite gives names that end in a zero and live through the call.
        let name = unsafe { CStr::from_ptr(name) };
        let path = Path::new(OsStr::from_bytes(name.to_bytes()));
        let disks = locked(&self.disks);
        disks.iter().filter_map(Weak::upgrade).find_map(|disk| {
            let part = disk.part(path)?;
            Some((disk, part))
        })
    }

    /// The platform's answer to whether that file is there.
    fn is_there(&self, name: *const c_char) -> bool {
        let mut is_there: c_int = 0;
        self.platform.xAccess.is_some_and(|access| {
            // SAFETY: the platform's own function with its own layer, a name SQLite gave, and a
            // place for the answer that lives through the call.
            let answer = unsafe {
                access(self.platform_at, name, ffi::SQLITE_ACCESS_EXISTS, &raw mut is_there)
            };
            answer == ffi::SQLITE_OK && is_there != 0
        })
    }

    fn opened(&self, file: *mut ffi::sqlite3_file) -> Option<Arc<Open>> {
        locked(&self.open).get(&file.addr()).cloned()
    }
}

/// What SQLite is told of a refusal.
const fn code(refusal: Refusal) -> c_int {
    match refusal {
        Refusal::Full => ffi::SQLITE_FULL,
        Refusal::ReadOnly => ffi::SQLITE_READONLY,
        Refusal::WriteFails => ffi::SQLITE_IOERR_WRITE,
        Refusal::SyncFails => ffi::SQLITE_IOERR_FSYNC,
    }
}

unsafe extern "C" fn open(
    _: *mut ffi::sqlite3_vfs,
    name: ffi::sqlite3_filename,
    file: *mut ffi::sqlite3_file,
    flags: c_int,
    out_flags: *mut c_int,
) -> c_int {
    let Some((shim, platform)) = shim().and_then(|shim| Some((shim, shim.platform.xOpen?))) else {
        return ffi::SQLITE_CANTOPEN;
    };
    let watcher = shim.watcher(name);
    let was_there = watcher.is_none() || shim.is_there(name);
    if let Some((watched, _)) = &watcher
        && !was_there
        && let Some(refusal) = watched.refuses(About::Writing)
    {
        return code(refusal);
    }
    // SAFETY: SQLite's own arguments, handed on to the platform; the file has the platform's size,
    // because the shim says the same size.
    let answer = unsafe { platform(shim.platform_at, name, file, flags, out_flags) };
    if answer != ffi::SQLITE_OK {
        return answer;
    }
    if let Some((watched, part)) = watcher {
        // SAFETY: the platform has just filled the file in.
        let Some(own) = (unsafe { (*file).pMethods.as_ref() }).copied() else { return answer };
        let methods = ffi::sqlite3_io_methods {
            xWrite: Some(write),
            xTruncate: Some(truncate),
            xSync: Some(sync),
            xClose: Some(close),
            ..own
        };
        if !was_there {
            watched.note(Operation::Made(part));
        }
        let owes_folder = AtomicBool::new(!was_there && part != Part::Database);
        let open = Arc::new(Open { watched, part, platform: own, methods, owes_folder });
        // SAFETY: the table lives in `open`, which is kept until the file is closed.
        unsafe { (*file).pMethods = &raw const open.methods };
        locked(&shim.open).insert(file.addr(), open);
    }
    answer
}

unsafe extern "C" fn delete(
    _: *mut ffi::sqlite3_vfs,
    name: *const c_char,
    sync_folder: c_int,
) -> c_int {
    let Some((shim, platform)) = shim().and_then(|shim| Some((shim, shim.platform.xDelete?)))
    else {
        return ffi::SQLITE_IOERR_DELETE;
    };
    let watcher = shim.watcher(name);
    if let Some((watched, _)) = &watcher
        && let Some(refusal) = watched.refuses(About::Writing)
    {
        return code(refusal);
    }
    // SAFETY: SQLite's own arguments, handed on to the platform.
    let answer = unsafe { platform(shim.platform_at, name, sync_folder) };
    if answer == ffi::SQLITE_OK
        && let Some((watched, part)) = watcher
    {
        watched.note(Operation::Removed(part));
        if sync_folder != 0 {
            watched.note(Operation::SyncedFolder);
        }
    }
    answer
}

unsafe extern "C" fn write(
    file: *mut ffi::sqlite3_file,
    bytes: *const c_void,
    size: c_int,
    offset: ffi::sqlite3_int64,
) -> c_int {
    let Some((open, platform)) = method(file, |platform| platform.xWrite) else {
        return ffi::SQLITE_IOERR_WRITE;
    };
    if let Some(refusal) = open.watched.refuses(About::Writing) {
        return code(refusal);
    }
    // SAFETY: SQLite's own arguments, handed on to the platform.
    let answer = unsafe { platform(file, bytes, size, offset) };
    if answer == ffi::SQLITE_OK {
        let size = usize::try_from(size).unwrap_or(0);
        // SAFETY: SQLite says that so many bytes are to be read there, and the platform has read
        // them.
        let bytes = unsafe { std::slice::from_raw_parts(bytes.cast::<u8>(), size) }.to_vec();
        let offset = u64::try_from(offset).unwrap_or(0);
        open.watched.note(Operation::Wrote { part: open.part, offset, bytes });
    }
    answer
}

unsafe extern "C" fn truncate(file: *mut ffi::sqlite3_file, size: ffi::sqlite3_int64) -> c_int {
    let Some((open, platform)) = method(file, |platform| platform.xTruncate) else {
        return ffi::SQLITE_IOERR_TRUNCATE;
    };
    if let Some(refusal) = open.watched.refuses(About::Writing) {
        return code(refusal);
    }
    // SAFETY: SQLite's own arguments, handed on to the platform.
    let answer = unsafe { platform(file, size) };
    if answer == ffi::SQLITE_OK {
        let size = u64::try_from(size).unwrap_or(0);
        open.watched.note(Operation::Cut { part: open.part, size });
    }
    answer
}

unsafe extern "C" fn sync(file: *mut ffi::sqlite3_file, flags: c_int) -> c_int {
    let Some((open, platform)) = method(file, |platform| platform.xSync) else {
        return ffi::SQLITE_IOERR_FSYNC;
    };
    if let Some(refusal) = open.watched.refuses(About::Syncing) {
        return code(refusal);
    }
    let answer = match open.watched.syncs {
        Syncs::WrittenDown => ffi::SQLITE_OK,
        // SAFETY: SQLite's own arguments, handed on to the platform.
        Syncs::Made => unsafe { platform(file, flags) },
    };
    if answer == ffi::SQLITE_OK {
        open.watched.note(Operation::Synced(open.part));
        if open.owes_folder.swap(false, Ordering::AcqRel) {
            open.watched.note(Operation::SyncedFolder);
        }
    }
    answer
}

unsafe extern "C" fn close(file: *mut ffi::sqlite3_file) -> c_int {
    let Some((_open, platform)) = method(file, |platform| platform.xClose) else {
        return ffi::SQLITE_IOERR_CLOSE;
    };
    // SAFETY: SQLite's own argument, handed on to the platform; `_open` keeps the table of methods
    // until SQLite has done with it.
    let answer = unsafe { platform(file) };
    if let Some(shim) = shim() {
        locked(&shim.open).remove(&file.addr());
    }
    answer
}

/// A watched file that is open, with one of the platform's methods.
fn method<M>(
    file: *mut ffi::sqlite3_file,
    which: impl Fn(&ffi::sqlite3_io_methods) -> Option<M>,
) -> Option<(Arc<Open>, M)> {
    let open = shim()?.opened(file)?;
    let method = which(&open.platform)?;
    Some((open, method))
}
