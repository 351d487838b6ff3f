//! Hidden folders and files of outputs in the making: `.NAME.unfinished-XXXXXX`.
//!
//! Each is held by a file lock, which ends with its owner however that ends. So a later run knows which of
//! them nobody works on any more ([`sweep`]) and removes them; and a run that must stop at once removes its
//! own ([`abandon`]).
//!
//! ```text
//! .NAME.unfinished-XXXXXX/  lock   held by the owner
//!                           new    complete files so far
//!                           out    old files taken out of the wanted folder
//!                           in     `new` renamed once all old files are out: from here on the new ones go in
//! ```
//!
//! A run may be killed between any two steps. What it leaves says how far it had come, so the files of the
//! wanted folder are the old ones or the new ones after the next sweep, and nothing else is left.

use std::ffi::{OsStr, OsString};
use std::fs::{self, File, OpenOptions, TryLockError};
use std::io;
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Mutex, MutexGuard, PoisonError};

use tempfile::NamedTempFile;

use crate::texts::text;

const SIGN: &str = ".unfinished-";
const LOCK: &str = "lock";
const NEW: &str = "new";
const OUT: &str = "out";
const IN: &str = "in";

/// What lies in a hidden folder, in the order in which it goes. The old files go while `in` still says that
/// the new ones are in their place, and the lock goes last: what has none is not ours to sweep.
const GOES: [&str; 4] = [OUT, NEW, IN, LOCK];

/// What this process has in the making. Locked while anything is begun, put in its place or taken away, so
/// that nothing is abandoned half-way.
static LIVE: Mutex<Vec<Live>> = Mutex::new(Vec::new());
/// Whether anything that was in the making has taken its place.
static PLACED: AtomicBool = AtomicBool::new(false);

/// Something in the making, and the folders that were made for it, which go after it.
#[derive(Debug)]
pub(super) struct Live {
    path: PathBuf,
    made: MadeFolders,
}

pub(super) fn live() -> MutexGuard<'static, Vec<Live>> {
    LIVE.lock().unwrap_or_else(PoisonError::into_inner)
}

/// Removes what this process has in the making, together with folders made for it. For a program that ends
/// right after it: whatever is being put in its place at that moment is finished first, and from then on
/// whoever begins, places or drops an output waits for the end.
pub fn abandon() {
    let mut held = live();
    remove_live(&mut held, |_| true);
    std::mem::forget(held);
}

/// Removes those in the making that are meant; what had begun to take its place is brought to an end.
pub(super) fn remove_live(live: &mut Vec<Live>, meant: impl Fn(&Path) -> bool) {
    live.extract_if(.., |l| meant(&l.path)).for_each(|l| remove(&l.path));
}

/// Whether any output of this process has taken its place.
pub fn placed() -> bool {
    PLACED.load(Ordering::SeqCst)
}

/// A place in the list of what is in the making. Dropped, it takes what it stands for away, at one go with
/// the folders made for it.
#[derive(Debug)]
struct Kept {
    path: PathBuf,
}

impl Kept {
    /// Makes something within a folder, which is made with those above it where they are not there.
    fn begin<T>(within: &Path, make: impl FnOnce() -> io::Result<(T, PathBuf)>) -> io::Result<(T, Kept)> {
        let mut live = live();
        let made = MadeFolders::make(within)?;
        let (thing, path) = make()?;
        live.push(Live { path: path.clone(), made });
        Ok((thing, Kept { path }))
    }

    /// What it stands for has taken its place: the folders made for it stay.
    fn placed(&self, live: &mut [Live]) {
        PLACED.store(true, Ordering::SeqCst);
        live.iter_mut().filter(|l| l.path == self.path).for_each(|l| l.made.keep());
    }
}

impl Drop for Kept {
    fn drop(&mut self) {
        for gone in live().extract_if(.., |l| l.path == self.path) {
            let _ = take_away(&gone.path);
        }
    }
}

/// Folders made where outputs are wanted; removed again, where empty, unless kept.
#[derive(Debug)]
struct MadeFolders(Vec<PathBuf>);

impl MadeFolders {
    fn make(wanted: &Path) -> io::Result<MadeFolders> {
        let missing: Vec<PathBuf> = wanted
            .ancestors()
            .take_while(|p| !p.as_os_str().is_empty() && !p.exists())
            .map(Path::to_path_buf)
            .collect();
        let mut made = MadeFolders(Vec::new());
        for folder in missing.into_iter().rev() {
            fs::create_dir(&folder)?;
            made.0.push(folder);
        }
        Ok(made)
    }

    fn keep(&mut self) {
        self.0.clear();
    }
}

impl Drop for MadeFolders {
    fn drop(&mut self) {
        for folder in self.0.iter().rev() {
            // Somebody may have put something in meanwhile; then it stays.
            let _ = fs::remove_dir(folder);
        }
    }
}

/// A hidden folder in the making; removed when dropped.
#[derive(Debug)]
pub(super) struct UnfinishedFolder {
    // In this order: what is open is closed before the folder goes, as some systems want.
    _lock: File,
    kept: Kept,
}

impl UnfinishedFolder {
    /// Makes one within a folder, and that folder too where it is not there.
    pub(super) fn begin(within: &Path, name: &OsStr) -> io::Result<Self> {
        let (lock, kept) = Kept::begin(within, || {
            let (dir, lock) = held(|| {
                let dir = tempfile::Builder::new().prefix(&prefix(name)).tempdir_in(within)?;
                let path = dir.path().join(LOCK);
                let file = OpenOptions::new().write(true).create_new(true).open(&path)?;
                Ok((dir, file, path))
            })?;
            // The hidden folder is the owner's alone; the one inside has the usual rights and is what stays.
            fs::create_dir(dir.path().join(NEW))?;
            Ok((lock, dir.keep()))
        })?;
        Ok(UnfinishedFolder { _lock: lock, kept })
    }

    /// Where its files are made.
    pub(super) fn new_files(&self) -> PathBuf {
        self.kept.path.join(NEW)
    }

    /// Puts its files where they are wanted: they become the folder, or go into the one that this lies in,
    /// from which the files named `old` are taken out. Never abandoned half-way.
    pub(super) fn place(&self, folder: &Path, old: Vec<&str>) -> io::Result<()> {
        let mut live = live();
        if self.kept.path.parent() == Some(folder) {
            self.exchange(&mut live, folder, old)?;
        } else {
            fs::rename(self.new_files(), folder)?;
        }
        self.kept.placed(&mut live);
        Ok(())
    }

    /// Takes the files named `old` out of `folder`, in which this lies, and puts all new ones in. Should a
    /// step fail, those before it are undone.
    ///
    /// The files of the machine go out first and come in last: at no moment does a scan program lie beside
    /// pages of another job.
    fn exchange(&self, live: &mut Vec<Live>, folder: &Path, mut old: Vec<&str>) -> io::Result<()> {
        let own = &self.kept.path;
        let [new, incoming, out] = [NEW, IN, OUT].map(|n| own.join(n));
        old.sort_by_key(|n| !is_program(n));
        let old = old.iter().map(OsString::from).collect();
        let steps = || {
            fs::create_dir(&out)?;
            moved(folder, &out, old)?;
            fs::rename(&new, &incoming)?;
            let mut names = names(&incoming)?;
            names.sort_by_key(|n| (is_program(&n.to_string_lossy()), n.clone()));
            moved(&incoming, folder, names)
        };
        let Err(cause) = steps() else { return Ok(()) };
        // From here on the old files go back, whoever brings it to an end.
        let _ = fs::rename(&incoming, &new);
        let back = names(&out).and_then(|n| moved(&out, folder, n));
        if cause.kind() == io::ErrorKind::Other || back.is_err() {
            live.retain(|l| l.path != *own);
            let folder = own.display();
            return Err(io::Error::other(text!("encode.output.left-over", cause, folder)));
        }
        Err(cause)
    }
}

/// A hidden file in the making; removed when dropped.
#[derive(Debug)]
pub(super) struct UnfinishedFile {
    pub(super) file: NamedTempFile,
    kept: Kept,
}

impl UnfinishedFile {
    /// Makes one beside the wanted file, and the folder for both where it is not there.
    pub(super) fn begin(within: &Path, name: &OsStr) -> io::Result<Self> {
        let (file, kept) = Kept::begin(within, || {
            let (file, _) = held(|| {
                // Made as any other file is, not for the owner's eyes alone: it is what stays.
                let file = tempfile::Builder::new()
                    .prefix(&prefix(name))
                    .make_in(within, |p| File::create_new(p))?;
                let (lock, path) = (file.as_file().try_clone()?, file.path().to_path_buf());
                Ok((file, lock, path))
            })?;
            let path = file.path().to_path_buf();
            Ok((file, path))
        })?;
        Ok(UnfinishedFile { file, kept })
    }

    /// Puts the finished file where it is wanted.
    pub(super) fn place(self, wanted: &Path, replace: bool) -> io::Result<()> {
        let UnfinishedFile { file, kept } = self;
        let mut held = live();
        let placed = if replace { file.persist(wanted) } else { file.persist_noclobber(wanted) };
        if placed.is_ok() {
            kept.placed(&mut held);
        }
        drop(held);
        placed.map(drop).map_err(|e| e.error)
    }
}

/// `.NAME.unfinished-`, with a long name cut: file systems take 255 bytes.
fn prefix(name: &OsStr) -> String {
    let short: String = name.to_string_lossy().chars().take(40).collect();
    format!(".{short}{SIGN}")
}

/// Makes something and locks it. A run that sweeps may find it in between and remove it; then another is
/// made.
fn held<T>(mut make: impl FnMut() -> io::Result<(T, File, PathBuf)>) -> io::Result<(T, File)> {
    for _ in 0..20 {
        let (made, lock, path) = match make() {
            Ok(all) => all,
            Err(e) if e.kind() == io::ErrorKind::NotFound => continue,
            Err(e) => return Err(e),
        };
        match lock.try_lock() {
            Err(TryLockError::WouldBlock) => continue,
            // A file system without locks: then nobody sweeps either.
            Err(TryLockError::Error(_)) | Ok(()) if path.exists() => return Ok((made, lock)),
            _ => {}
        }
    }
    Err(io::Error::from(io::ErrorKind::NotFound))
}

/// Removes what runs that are gone left in a folder, and finishes what they were putting in place.
pub fn sweep(within: &Path) {
    for name in names(within).unwrap_or_default() {
        if is_unfinished(&name) {
            let path = within.join(&name);
            // Held until it is gone, so that no other run sweeps the same.
            if let Some(_lock) = without_owner(&path) {
                remove(&path);
            }
        }
    }
}

/// Whether a name is that of something in the making.
pub(super) fn is_unfinished(name: &OsStr) -> bool {
    let name = name.to_string_lossy();
    name.starts_with('.') && name.contains(SIGN)
}

/// The lock of something that nobody works on any more, held from now on.
fn without_owner(path: &Path) -> Option<File> {
    let about = fs::symlink_metadata(path).ok()?;
    let lock = match about.file_type() {
        t if t.is_dir() => path.join(LOCK),
        t if t.is_file() => path.to_path_buf(),
        _ => return None,
    };
    match File::open(&lock) {
        // Without locks nobody knows.
        Ok(file) => file.try_lock().is_ok().then_some(file),
        // Not locked yet, or left at that very moment: only an empty folder goes (see `held`).
        Err(e) if e.kind() == io::ErrorKind::NotFound => {
            let _ = fs::remove_dir(path);
            None
        }
        Err(_) => None,
    }
}

/// Removes something in the making; what had begun to take its place is brought to an end before.
fn remove(path: &Path) {
    let from = [IN, OUT].map(|n| path.join(n)).into_iter().find(|p| p.is_dir());
    if let (Some(from), Some(folder)) = (from, path.parent())
        && names(&from).and_then(|names| moved(&from, folder, names)).is_err()
    {
        return;
    }
    let _ = take_away(path);
}

/// Removes a hidden file or folder, in the order of [`GOES`].
fn take_away(path: &Path) -> io::Result<()> {
    if path.is_file() {
        return fs::remove_file(path);
    }
    for name in GOES {
        let inner = path.join(name);
        let gone = if name == LOCK { fs::remove_file(inner) } else { fs::remove_dir_all(inner) };
        if let Err(e) = gone
            && e.kind() != io::ErrorKind::NotFound
        {
            return Err(e);
        }
    }
    fs::remove_dir(path)
}

fn is_program(name: &str) -> bool {
    name.ends_with(".nc")
}

fn names(folder: &Path) -> io::Result<Vec<OsString>> {
    fs::read_dir(folder)?.map(|e| e.map(|e| e.file_name())).collect()
}

/// Moves files from one folder into another; should one fail, those before it go back (an error of kind
/// `Other` says that they could not).
fn moved(from: &Path, to: &Path, names: Vec<OsString>) -> io::Result<()> {
    for (i, name) in names.iter().enumerate() {
        if let Err(cause) = fs::rename(from.join(name), to.join(name)) {
            for name in names[..i].iter().rev() {
                if fs::rename(to.join(name), from.join(name)).is_err() {
                    return Err(io::Error::other(cause));
                }
            }
            return Err(cause);
        }
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn listing(folder: &Path) -> Vec<String> {
        let mut all: Vec<String> =
            names(folder).unwrap().iter().map(|n| n.to_string_lossy().into_owned()).collect();
        all.sort();
        all
    }

    /// What a run that was killed leaves: the folder, without its lock held.
    fn left(within: &Path, inside: &[&str]) -> PathBuf {
        let path = within.join(".coaster.unfinished-dead00");
        fs::create_dir(&path).unwrap();
        fs::write(path.join(LOCK), b"").unwrap();
        for name in inside {
            let file = path.join(name);
            fs::create_dir_all(file.parent().unwrap()).unwrap();
            fs::write(file, format!("{name} of the killed run")).unwrap();
        }
        path
    }

    #[test]
    fn what_nobody_works_on_is_swept_and_all_else_stays() {
        let root = tempfile::tempdir().unwrap();
        left(root.path(), &["new/dots.png"]);
        fs::create_dir(root.path().join(".empty.unfinished-dead01")).unwrap();
        fs::create_dir(root.path().join(".mine.unfinished-notes")).unwrap();
        fs::write(root.path().join(".mine.unfinished-notes/text"), b"mine").unwrap();
        fs::write(root.path().join(".coaster.zip.unfinished-dead02"), b"PK").unwrap();
        let alive = UnfinishedFolder::begin(root.path(), OsStr::new("tag")).unwrap();
        let file = UnfinishedFile::begin(root.path(), OsStr::new("tag.zip")).unwrap();
        sweep(root.path());
        let name = |p: &Path| p.file_name().unwrap().to_string_lossy().into_owned();
        let mut want =
            vec![name(&alive.kept.path), name(file.file.path()), ".mine.unfinished-notes".to_string()];
        want.sort();
        assert_eq!(listing(root.path()), want);
        drop((alive, file));
        assert_eq!(listing(root.path()), [".mine.unfinished-notes"]);
    }

    #[test]
    fn a_run_killed_while_old_files_go_out_is_undone() {
        let root = tempfile::tempdir().unwrap();
        left(root.path(), &["new/dots.png", "out/program.nc"]);
        fs::write(root.path().join("dots.png"), b"old").unwrap();
        sweep(root.path());
        assert_eq!(listing(root.path()), ["dots.png", "program.nc"]);
        assert_eq!(fs::read(root.path().join("dots.png")).unwrap(), b"old");
    }

    #[test]
    fn a_run_killed_while_new_files_go_in_is_finished() {
        let root = tempfile::tempdir().unwrap();
        left(root.path(), &["in/program.nc", "out/program.nc", "out/dots.tiff"]);
        fs::write(root.path().join("dots.png"), b"new").unwrap();
        sweep(root.path());
        assert_eq!(listing(root.path()), ["dots.png", "program.nc"]);
        assert_eq!(fs::read(root.path().join("program.nc")).unwrap(), b"in/program.nc of the killed run");
    }

    #[test]
    fn a_run_killed_while_it_tidies_up_leaves_nothing_that_stays() {
        for gone in 0..=GOES.len() {
            let root = tempfile::tempdir().unwrap();
            let path = left(root.path(), &["out/program.nc", "out/dots.tiff", "in/program.nc"]);
            fs::rename(path.join("in/program.nc"), root.path().join("program.nc")).unwrap();
            for name in &GOES[..gone] {
                let inner = path.join(name);
                let _ = if inner.is_dir() { fs::remove_dir_all(inner) } else { fs::remove_file(inner) };
            }
            sweep(root.path());
            assert_eq!(listing(root.path()), ["program.nc"], "{gone} gone");
            let text = fs::read(root.path().join("program.nc")).unwrap();
            assert_eq!(text, b"in/program.nc of the killed run", "{gone} gone");
        }
    }

    #[test]
    fn what_somebody_sweeps_is_swept_by_nobody_else() {
        let root = tempfile::tempdir().unwrap();
        let path = left(root.path(), &["new/dots.png"]);
        let held = without_owner(&path);
        assert!(held.is_some());
        sweep(root.path());
        assert!(path.exists());
        drop(held);
        sweep(root.path());
        assert!(!path.exists());
    }

    #[test]
    fn an_exchange_that_fails_leaves_the_old_files() {
        let root = tempfile::tempdir().unwrap();
        fs::write(root.path().join("dots.png"), b"old").unwrap();
        fs::write(root.path().join("program.nc"), b"old").unwrap();
        let made = UnfinishedFolder::begin(root.path(), OsStr::new("x")).unwrap();
        fs::write(made.new_files().join("dots.png"), b"new").unwrap();
        fs::write(made.new_files().join("job.toml"), b"new").unwrap();
        // Somebody made a folder in the way of the second new file.
        fs::create_dir_all(root.path().join("job.toml/of mine")).unwrap();
        assert!(made.place(root.path(), vec!["dots.png", "program.nc"]).is_err());
        remove_live(&mut live(), |path| path.starts_with(root.path()));
        drop(made);
        assert_eq!(listing(root.path()), ["dots.png", "job.toml", "program.nc"]);
        assert_eq!(fs::read(root.path().join("dots.png")).unwrap(), b"old");
    }

    #[test]
    fn a_long_name_is_cut() {
        let root = tempfile::tempdir().unwrap();
        let long = "ä".repeat(120);
        assert!(UnfinishedFolder::begin(root.path(), OsStr::new(&long)).is_ok());
    }
}
