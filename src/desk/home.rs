//! Home: the folder of the person's data that holds all that the desk keeps, as plain files.
//!
//! ```text
//! art/harbour.jpg   jobs/harbour/job.toml   orders/tags/order.toml   processes/shed.toml
//! machines/turner.toml   coatings/…   wedges/…   out/harbour/…   bin/…   .saved.json
//! ```
//!
//! A file is replaced in one step, so that a run that is killed leaves the old one or the new one. No name that comes
//! with a request leads out of the folder, be it by `..`, by a separator or by a link.

use std::fs::{self, File};
use std::io::{self, Write};
use std::path::{Component, Path, PathBuf};
use std::sync::{Mutex, MutexGuard, PoisonError};

use axum::http::StatusCode;

use super::says::Says;
use super::texts::{filled, say};
use crate::cause;
use crate::cli::failure::Failure;
use crate::encode::sink;

/// What begins the name of a file that is not finished.
const UNFINISHED: &str = ".unfinished-";

/// The folder, kept for this one desk.
pub(super) struct Home {
    root: PathBuf,
    /// Held while something that is there is replaced or moved.
    writing: Mutex<()>,
    /// Held while files for the machine are written, which takes longer.
    saving: Mutex<()>,
    /// Locked as long as the desk is open; the system unlocks it whatever ends the program.
    _lock: File,
}

/// A name that may stand for a file or folder in the home.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
pub(super) struct Name(String);

/// The most letters of a name.
const LONGEST: usize = 80;

impl Name {
    /// A name as it comes with a request.
    ///
    /// # Errors
    /// Where it could mean anything but a file of that name.
    pub fn new(text: &str) -> Result<Name, Says> {
        let letters = |c: char| c.is_alphanumeric() || " -_.,+()&'".contains(c);
        let count = text.chars().count();
        let shown: String = text.chars().filter(|c| !c.is_control()).take(40).collect();
        let why = if count == 0 {
            say("says.name.missing")
        } else if !text.chars().all(letters) {
            filled("says.name.letters", &[("name", &shown)])
        } else if count > LONGEST {
            filled("says.name.long", &[("name", &shown), ("count", &count), ("most", &LONGEST)])
        } else if text.starts_with(['.', ' ', '-']) || text.ends_with(['.', ' ']) {
            filled("says.name.ends", &[("name", &shown)])
        } else if reserved(text) {
            filled("says.name.device", &[("name", &shown)])
        } else {
            return Ok(Name(text.to_string()));
        };
        Err(Says::strange(StatusCode::BAD_REQUEST, why))
    }

    /// The name that is nearest to a text; `usual` where nothing of it can stay.
    pub fn near(text: &str, usual: &str) -> Name {
        let keep = |c: char| if c.is_alphanumeric() || "-_.,+()&'".contains(c) { c } else { ' ' };
        let plain: String = text.chars().map(keep).collect();
        let words: Vec<&str> = plain.split(' ').filter(|w| !w.is_empty()).collect();
        let short: String = words.join(" ").chars().take(LONGEST - 8).collect();
        let short = short.trim_matches(|c: char| ".- ".contains(c));
        Name::new(short).unwrap_or_else(|_| Name(usual.to_string()))
    }

    /// The same with a number, to tell it from others.
    pub fn numbered(&self, number: usize) -> Name {
        if number < 2 {
            return self.clone();
        }
        match self.0.rsplit_once('.') {
            Some((stem, end)) if end.len() <= 5 => Name(format!("{stem}-{number}.{end}")),
            _ => Name(format!("{}-{number}", self.0)),
        }
    }

    /// As a part of an address (percent-encoded: RFC 3986, section 2.1).
    pub fn in_path(&self) -> String {
        let plain = |b: u8| b.is_ascii_alphanumeric() || b"-_.".contains(&b);
        self.0
            .bytes()
            .map(|b| if plain(b) { char::from(b).to_string() } else { format!("%{b:02X}") })
            .collect()
    }

    /// As text.
    pub fn text(&self) -> &str {
        &self.0
    }
}

impl std::fmt::Display for Name {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(&self.0)
    }
}

/// Names of devices, which one system takes for no file.
fn reserved(text: &str) -> bool {
    let stem = text.split('.').next().unwrap_or_default().to_ascii_lowercase();
    let numbered = |of: &str| stem.strip_prefix(of).is_some_and(|n| n.len() == 1);
    ["con", "prn", "aux", "nul"].contains(&stem.as_str()) || numbered("com") || numbered("lpt")
}

impl Home {
    /// Opens `asked`, or the folder that the platform has for such data, and makes it where it is not there.
    ///
    /// # Errors
    /// Where it cannot be made or written, or another desk has it open.
    pub fn open(asked: Option<&Path>) -> Result<Home, Failure> {
        let usual = || dirs::data_dir().map(|d| d.join("dotwright"));
        let root = asked.map(Path::to_path_buf).or_else(usual).ok_or_else(|| {
            Failure::input("this system names no folder for the data of programs; name one with --home")
        })?;
        let refused = |e: io::Error| {
            Failure::input(format!(
                "the desk cannot keep its files in '{}': {}; name another folder with --home",
                root.display(),
                cause::of(&e)
            ))
        };
        for place in ["art", "jobs", "orders", "processes", "machines", "coatings", "wedges", "out", "bin"] {
            fs::create_dir_all(root.join(place)).map_err(refused)?;
        }
        let root = root.canonicalize().map_err(refused)?;
        let lock =
            File::options().create(true).append(true).open(root.join(".desk-open")).map_err(refused)?;
        if let Err(fs::TryLockError::WouldBlock) = lock.try_lock() {
            return Err(Failure::input(format!(
                "a desk is open already on '{}'; use its page, or name another folder with --home",
                root.display()
            )));
        }
        let home = Home { root, writing: Mutex::default(), saving: Mutex::default(), _lock: lock };
        home.sweep(&home.root, 3);
        for entry in
            ["jobs", "orders"].iter().flat_map(|p| fs::read_dir(home.root.join(p))).flatten().flatten()
        {
            // A job killed before its first file was kept; only an empty folder goes.
            let _ = fs::remove_dir(entry.path());
        }
        Ok(home)
    }

    /// Removes what a run that was killed left unfinished, and finishes what it was putting in place.
    fn sweep(&self, folder: &Path, deeper: usize) {
        sink::sweep(folder);
        for entry in fs::read_dir(folder).into_iter().flatten().flatten() {
            let Ok(kind) = entry.file_type() else { continue };
            if kind.is_file() && entry.file_name().to_string_lossy().starts_with(UNFINISHED) {
                // What cannot be removed does no harm.
                let _ = fs::remove_file(entry.path());
            } else if kind.is_dir() && deeper > 0 {
                self.sweep(&entry.path(), deeper - 1);
            }
        }
    }

    /// The folder itself.
    pub fn root(&self) -> &Path {
        &self.root
    }

    /// What lies at these names; it need not be there.
    ///
    /// # Errors
    /// Where a link on the way leads out of the folder.
    pub fn at(&self, parts: &[&str]) -> Result<PathBuf, Says> {
        let path = parts.iter().fold(self.root.clone(), |path, part| path.join(part));
        self.within(&path)
    }

    /// A path, tidied, once it is sure that it lies in the folder.
    ///
    /// # Errors
    /// Where it leads out of the folder, as written or by a link.
    pub fn within(&self, path: &Path) -> Result<PathBuf, Says> {
        let outside = || Says::strange(StatusCode::FORBIDDEN, say("says.outside"));
        let mut tidy = PathBuf::new();
        for part in path.components() {
            match part {
                Component::ParentDir if !tidy.pop() => return Err(outside()),
                Component::ParentDir | Component::CurDir => {}
                other => tidy.push(other),
            }
        }
        // The nearest part of it that is there tells where it really lies.
        let there = tidy.ancestors().find(|p| p.symlink_metadata().is_ok()).ok_or_else(outside)?;
        let real = there.canonicalize().map_err(|_| outside())?;
        if real.starts_with(&self.root) && tidy.starts_with(&self.root) { Ok(tidy) } else { Err(outside()) }
    }

    /// Nothing else is replaced or moved while this is held.
    pub fn writing(&self) -> MutexGuard<'_, ()> {
        self.writing.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Nothing else is written for the machine while this is held; jobs may be.
    pub fn saving(&self) -> MutexGuard<'_, ()> {
        self.saving.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Writes a file whole or not at all; its folder is made where it is not there.
    ///
    /// # Errors
    /// Where the disk is full or may not be written.
    pub fn write(&self, path: &Path, content: &[u8]) -> Result<(), Says> {
        self.write_all(&[(path, content)])
    }

    /// Writes files that belong together: all lie on the disk before the first takes its place, so that a full disk changes
    /// none of them.
    ///
    /// # Errors
    /// As [`Home::write`].
    pub fn write_all(&self, files: &[(&Path, &[u8])]) -> Result<(), Says> {
        let said = |e: io::Error| {
            let why = filled("says.disk", &[("why", &cause::of(&e))]);
            Says::strange(StatusCode::INSUFFICIENT_STORAGE, why)
        };
        let mut ready = Vec::with_capacity(files.len());
        for (path, content) in files {
            let path = self.within(path)?;
            let folder = path.parent().unwrap_or(&self.root);
            fs::create_dir_all(folder).map_err(said)?;
            let mut file = tempfile::Builder::new().prefix(UNFINISHED).tempfile_in(folder).map_err(said)?;
            file.write_all(content).and_then(|()| file.as_file().sync_data()).map_err(said)?;
            ready.push((file, path));
        }
        for (file, path) in ready {
            file.persist(&path).map_err(|e| said(e.error))?;
        }
        Ok(())
    }

    /// The first of `name`, `name-2`, … that is not there in `folder`.
    ///
    /// # Errors
    /// As [`Home::at`].
    pub fn free(&self, folder: &str, name: &Name) -> Result<Name, Says> {
        let all = (1..10_000).map(|n| name.numbered(n));
        for name in all {
            if self.at(&[folder, name.text()])?.symlink_metadata().is_err() {
                return Ok(name);
            }
        }
        Err(Says::unusable(say("says.name.thousands")))
    }
}

/// What tells one state of a file from another: a checksum of its bytes.
pub(super) fn revision(content: &[u8]) -> String {
    let mut crc = flate2::Crc::new();
    crc.update(content);
    format!("{:08x}{:x}", crc.sum(), content.len())
}

#[cfg(test)]
pub(super) mod tests {
    use super::*;

    /// A home of its own, as long as the folder is held.
    pub(in crate::desk) fn home() -> (tempfile::TempDir, Home) {
        let dir = tempfile::tempdir().unwrap();
        let home = Home::open(Some(dir.path())).unwrap();
        (dir, home)
    }

    #[test]
    fn names_are_names_and_nothing_else() {
        for good in ["harbour", "Fog horn-2", "灯台", "Anna's tag (2)", "a.jpg"] {
            assert!(Name::new(good).is_ok(), "{good}");
        }
        for bad in [
            "", ".", "..", "../x", "a/b", "a\\b", ".hidden", "a\0b", "C:x", "nul", "COM1.txt", "a.", " a",
            "a\n",
        ] {
            assert!(Name::new(bad).is_err(), "{bad}");
        }
        for (bad, why) in [
            ("a/b", "use letters"),
            ("con", "stands for a device"),
            (".hidden", "begin and end with"),
            ("", "is missing"),
            (&*"a".repeat(81), "has 81 letters"),
        ] {
            let says = Name::new(bad).unwrap_err();
            assert!(says.sentence().contains(why), "{says:?}");
        }
        assert_eq!(Name::near("../../etc/passwd", "art").text(), "etc passwd");
        assert_eq!(Name::near("...", "art").text(), "art");
        assert_eq!(Name::near("nul", "art").text(), "art");
        assert_eq!(Name::near("ship.jpg", "art").numbered(2).text(), "ship-2.jpg");
        assert_eq!(Name::new("fog é.png").unwrap().in_path(), "fog%20%C3%A9.png");
    }

    #[test]
    fn nothing_leads_out_of_the_folder() {
        let (dir, home) = home();
        let root = home.root().to_path_buf();
        assert!(home.within(&root.join("jobs/a/../../art/x.png")).is_ok());
        assert!(home.within(&root.join("jobs/../../x.png")).is_err());
        assert!(home.within(Path::new("/etc/passwd")).is_err());
        assert!(home.within(Path::new("art/x.png")).is_err());
        #[cfg(unix)]
        {
            let elsewhere = tempfile::tempdir().unwrap();
            std::os::unix::fs::symlink(elsewhere.path(), dir.path().join("jobs/out")).unwrap();
            std::os::unix::fs::symlink("/etc/passwd", dir.path().join("art/words.png")).unwrap();
            assert!(home.at(&["jobs", "out", "job.toml"]).is_err());
            assert!(home.at(&["art", "words.png"]).is_err());
            assert!(home.write(&root.join("jobs/out/job.toml"), b"x").is_err());
            assert!(elsewhere.path().read_dir().unwrap().next().is_none());
        }
        drop(dir);
    }

    #[test]
    fn a_file_is_replaced_in_one_step_and_the_rest_of_a_killed_run_goes() {
        let (dir, home) = home();
        let file = home.at(&["jobs", "a", "job.toml"]).unwrap();
        home.write(&file, b"one").unwrap();
        home.write(&file, b"two").unwrap();
        assert_eq!(fs::read(&file).unwrap(), b"two");
        // Of two that belong together none is replaced where one cannot be written.
        let nowhere = home.at(&["jobs", "a", "job.toml", "table.csv"]).unwrap();
        assert!(home.write_all(&[(&file, b"three"), (&nowhere, b"x")]).is_err());
        assert_eq!(fs::read(&file).unwrap(), b"two");
        let names = |p: &Path| fs::read_dir(p).unwrap().count();
        fs::write(dir.path().join("jobs/a/.unfinished-x"), b"").unwrap();
        fs::create_dir_all(dir.path().join("jobs/b")).unwrap();
        fs::write(dir.path().join("jobs/b/.unfinished-y"), b"").unwrap();
        // One file was taken out of a reading and the next not put in yet.
        let read = dir.path().join("wedges/w/read");
        fs::create_dir_all(read.join(".read.unfinished-z/out")).unwrap();
        fs::write(read.join(".read.unfinished-z/lock"), b"").unwrap();
        fs::write(read.join(".read.unfinished-z/out/process.toml"), b"").unwrap();
        assert!(Home::open(Some(dir.path())).is_err(), "one desk at a time");
        drop(home);
        Home::open(Some(dir.path())).unwrap();
        assert_eq!(names(&dir.path().join("jobs/a")), 1);
        assert_eq!(names(&dir.path().join("jobs")), 1, "a job without a file takes no name");
        assert!(read.join("process.toml").is_file() && names(&read) == 1);
        assert_ne!(revision(b"one"), revision(b"two"));
    }
}
