//! Outputs into a folder, all or nothing.
//!
//! Files are first written into a hidden folder beside the wanted one, which takes its place only when
//! all of them are complete. Whatever goes wrong before that leaves nothing behind.

use std::fs::{self, File};
use std::io::{self, BufWriter, Write};
use std::path::{Path, PathBuf};

use tempfile::TempDir;

/// The names of all files that a job folder may hold. A folder with anything else in it is somebody's
/// own and is never replaced.
pub const NAMES: &[&str] = &[
    "dots.png",
    "dots.tiff",
    "dots.bmp",
    "proof.png",
    "loupe.png",
    "density.png",
    "ticket.html",
    "job.toml",
    "report.json",
    "program.nc",
    "outline.nc",
    "tray.nc",
    "process.toml",
    "wedge.toml",
    "wedge.svg",
    "wedge.png",
    "wedge.nc",
    "reading.png",
    "reading.json",
    "curves.svg",
    "contact-sheet.png",
    "contact-sheet.html",
    "comparison.json",
    "path.png",
    "replay.json",
    "reading.json",
    "screens.md",
    "screens.png",
];

/// Why the outputs could not be written. Each says what, where, and what to do.
#[derive(Debug, thiserror::Error)]
pub enum OutputError {
    /// The path names no folder (it is empty, `/` or ends in `..` of nothing).
    #[error("'{}' is not a folder that outputs can be written to; name a new folder", .0.display())]
    NotAFolder(PathBuf),
    /// A file is in the way.
    #[error("'{}' is a file, not a folder; name another folder", .0.display())]
    IsAFile(PathBuf),
    /// The folder holds something and `replace` was not asked for.
    #[error("the folder '{}' is not empty; name another folder, or replace its files with --replace", .0.display())]
    NotEmpty(PathBuf),
    /// The folder holds something that is not an output.
    #[error("the folder '{}' also holds '{file}', which is not an output of a job; move it away or name another folder", .folder.display())]
    Foreign {
        /// The folder.
        folder: PathBuf,
        /// The first foreign name, in the order of the alphabet.
        file: String,
    },
    /// A file name that is not in [`NAMES`].
    #[error("'{0}' is not the name of an output file")]
    UnknownName(String),
    /// The folder above cannot be written to.
    #[error("nothing can be written in '{}' ({cause}); choose a folder you may write to", .folder.display())]
    Unwritable {
        /// The folder above the wanted one.
        folder: PathBuf,
        /// What the system said.
        cause: io::Error,
    },
    /// A file could not be written to its end.
    #[error("'{file}' could not be written in '{}' ({cause}); nothing was kept, free some space or choose another folder", .folder.display())]
    Write {
        /// The folder above the wanted one.
        folder: PathBuf,
        /// The file.
        file: String,
        /// What the system said.
        cause: io::Error,
    },
    /// The finished folder could not take its place.
    #[error("the finished folder could not take the place of '{}' ({cause}); nothing was changed", .folder.display())]
    Place {
        /// The wanted folder.
        folder: PathBuf,
        /// What the system said.
        cause: io::Error,
    },
}

/// One file that was written.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Written {
    /// Its name in the folder.
    pub name: String,
    /// Its size in bytes.
    pub bytes: u64,
}

/// An output folder in the making.
///
/// [`Output::begin`] finds out early whether the folder may be written; [`Output::put`] and
/// [`Output::stream`] add files; [`Output::commit`] puts the whole in place. Dropped before that, it
/// leaves nothing behind.
#[derive(Debug)]
pub struct Output {
    folder: PathBuf,
    parent: PathBuf,
    replace: bool,
    // Dropped in this order: the temporary folder goes before the folders it stands in.
    temp: TempDir,
    made: MadeFolders,
    written: Vec<Written>,
}

impl Output {
    /// Begins outputs into `folder`, which must be new or empty unless `replace` is set. Folders above
    /// it that do not exist are made (and removed again when nothing comes of it).
    ///
    /// # Errors
    /// When the folder is a file, is not empty without `replace`, holds anything that is not an output
    /// (see [`NAMES`]), or cannot be written.
    pub fn begin(folder: &Path, replace: bool) -> Result<Output, OutputError> {
        // A link or a path such as `.` is replaced where it points to.
        let folder = if folder.exists() {
            folder.canonicalize().map_err(|cause| unwritable(folder, cause))?
        } else {
            folder.to_path_buf()
        };
        let (Some(name), Some(parent)) = (folder.file_name(), folder.parent()) else {
            return Err(OutputError::NotAFolder(folder));
        };
        let parent = if parent.as_os_str().is_empty() { Path::new(".") } else { parent }.to_path_buf();
        check(&folder, replace)?;
        let made = MadeFolders::make(&parent).map_err(|cause| unwritable(&parent, cause))?;
        let prefix = format!(".{}.unfinished-", name.to_string_lossy());
        let temp = tempfile::Builder::new()
            .prefix(&prefix)
            .tempdir_in(&parent)
            .map_err(|cause| unwritable(&parent, cause))?;
        // The hidden folder is the owner's alone; the one inside has the usual rights and is what stays.
        fs::create_dir(temp.path().join("new")).map_err(|cause| unwritable(&parent, cause))?;
        Ok(Output { folder, parent, replace, temp, made, written: Vec::new() })
    }

    /// Adds a file of which all bytes are at hand.
    ///
    /// # Errors
    /// When the name is not in [`NAMES`] or the file cannot be written.
    pub fn put(&mut self, name: &str, bytes: &[u8]) -> Result<(), OutputError> {
        self.stream(name, |w| w.write_all(bytes))
    }

    /// Adds a file that `write` produces piece by piece into a buffered writer.
    ///
    /// # Errors
    /// When the name is not in [`NAMES`], the file cannot be written, or `write` fails.
    pub fn stream(
        &mut self,
        name: &str,
        write: impl FnOnce(&mut BufWriter<File>) -> io::Result<()>,
    ) -> Result<(), OutputError> {
        if !NAMES.contains(&name) {
            return Err(OutputError::UnknownName(name.to_string()));
        }
        let work = || -> io::Result<u64> {
            let file = File::create(self.temp.path().join("new").join(name))?;
            let mut buffered = BufWriter::with_capacity(256 * 1024, file);
            write(&mut buffered)?;
            let file = buffered.into_inner().map_err(io::IntoInnerError::into_error)?;
            // Some file systems tell of a full disk only here.
            file.sync_data()?;
            Ok(file.metadata()?.len())
        };
        let bytes = work().map_err(|cause| OutputError::Write {
            folder: self.parent.clone(),
            file: name.to_string(),
            cause,
        })?;
        self.written.retain(|w| w.name != name);
        self.written.push(Written { name: name.to_string(), bytes });
        Ok(())
    }

    /// The files so far, in the order in which they were added.
    pub fn written(&self) -> &[Written] {
        &self.written
    }

    /// Puts the finished folder in its place and returns what it holds.
    ///
    /// An old folder is exchanged for the new one in a single step where the system can do that
    /// (Linux), else by two renames of which the first is undone if the second fails. The old files are
    /// removed only afterwards.
    ///
    /// # Errors
    /// When the folder was filled by somebody meanwhile, or cannot be put in place; then nothing changes.
    pub fn commit(mut self) -> Result<Vec<Written>, OutputError> {
        check(&self.folder, self.replace)?;
        let new = self.temp.path().join("new");
        let placed = if self.folder.exists() {
            exchange(&new, &self.folder, &self.temp.path().with_extension("old"))
        } else {
            fs::rename(&new, &self.folder)
        };
        placed.map_err(|cause| OutputError::Place { folder: self.folder.clone(), cause })?;
        self.made.keep();
        Ok(std::mem::take(&mut self.written))
    }
}

fn unwritable(folder: &Path, cause: io::Error) -> OutputError {
    OutputError::Unwritable { folder: folder.to_path_buf(), cause }
}

/// Whether the outputs may take the place of what is there now.
fn check(folder: &Path, replace: bool) -> Result<(), OutputError> {
    let entries = match fs::read_dir(folder) {
        Ok(entries) => entries,
        Err(e) if e.kind() == io::ErrorKind::NotFound => return Ok(()),
        Err(_) if folder.is_file() => return Err(OutputError::IsAFile(folder.to_path_buf())),
        Err(cause) => return Err(unwritable(folder, cause)),
    };
    let mut foreign = Vec::new();
    let mut empty = true;
    for entry in entries {
        let entry = entry.map_err(|cause| unwritable(folder, cause))?;
        empty = false;
        let name = entry.file_name().to_string_lossy().into_owned();
        let is_file = entry.file_type().is_ok_and(|t| t.is_file());
        if !is_file || !NAMES.contains(&name.as_str()) {
            foreign.push(name);
        }
    }
    if empty {
        return Ok(());
    }
    if !replace {
        return Err(OutputError::NotEmpty(folder.to_path_buf()));
    }
    match foreign.into_iter().min() {
        Some(file) => Err(OutputError::Foreign { folder: folder.to_path_buf(), file }),
        None => Ok(()),
    }
}

/// Puts `new` where `folder` is. The old folder ends at `new` or is removed; `old` is a free name beside
/// it, used where the system cannot exchange two folders in one step.
fn exchange(new: &Path, folder: &Path, old: &Path) -> io::Result<()> {
    #[cfg(target_os = "linux")]
    {
        use rustix::fs::{CWD, RenameFlags, renameat_with};
        if renameat_with(CWD, new, CWD, folder, RenameFlags::EXCHANGE).is_ok() {
            return Ok(());
        }
    }
    swap(new, folder, old)
}

/// The exchange in two renames; the first is undone when the second fails. Should even that fail, the
/// old folder still lies complete at `old`, and the error says so.
fn swap(new: &Path, folder: &Path, old: &Path) -> io::Result<()> {
    fs::rename(folder, old)?;
    if let Err(cause) = fs::rename(new, folder) {
        return Err(match fs::rename(old, folder) {
            Ok(()) => cause,
            Err(_) => io::Error::other(format!("{cause}; the old files are now in '{}'", old.display())),
        });
    }
    // The new files are in place: an old folder that cannot be removed is left over, not an error.
    let _ = fs::remove_dir_all(old);
    Ok(())
}

/// Folders made on the way to the parent; removed again, where empty, unless kept.
#[derive(Debug)]
struct MadeFolders(Vec<PathBuf>);

impl MadeFolders {
    fn make(parent: &Path) -> io::Result<MadeFolders> {
        let missing: Vec<PathBuf> = parent
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

#[cfg(test)]
mod tests {
    use super::*;

    fn names(folder: &Path) -> Vec<String> {
        let mut names: Vec<String> = fs::read_dir(folder)
            .unwrap()
            .map(|e| e.unwrap().file_name().to_string_lossy().into_owned())
            .collect();
        names.sort();
        names
    }

    #[test]
    fn a_new_folder_appears_with_all_its_files_at_once() {
        let root = tempfile::tempdir().unwrap();
        let out = root.path().join("a/b/coaster");
        let mut o = Output::begin(&out, false).unwrap();
        o.put("dots.png", b"dots").unwrap();
        o.stream("program.nc", |w| (0..1000).try_for_each(|i| writeln!(w, "G1 X{i}"))).unwrap();
        assert!(!out.exists());
        let written = o.commit().unwrap();
        assert_eq!(written[0], Written { name: "dots.png".into(), bytes: 4 });
        assert_eq!(names(&out), ["dots.png", "program.nc"]);
        assert_eq!(names(&root.path().join("a/b")), ["coaster"]);
        assert_eq!(written[1].bytes, fs::metadata(out.join("program.nc")).unwrap().len());
    }

    #[test]
    fn what_is_given_up_leaves_nothing_behind() {
        let root = tempfile::tempdir().unwrap();
        let mut o = Output::begin(&root.path().join("new/coaster"), false).unwrap();
        o.put("dots.png", b"dots").unwrap();
        drop(o);
        assert!(names(root.path()).is_empty());
    }

    #[test]
    fn a_writer_that_fails_half_way_leaves_nothing_behind() {
        let root = tempfile::tempdir().unwrap();
        let mut o = Output::begin(&root.path().join("coaster"), false).unwrap();
        let e = o
            .stream("program.nc", |w| {
                w.write_all(&[b'x'; 1 << 20])?;
                Err(io::Error::from(io::ErrorKind::StorageFull))
            })
            .unwrap_err()
            .to_string();
        assert!(e.contains("program.nc") && e.contains("free some space"), "{e}");
        drop(o);
        assert!(names(root.path()).is_empty());
    }

    #[test]
    fn a_folder_with_files_is_replaced_only_on_request() {
        let root = tempfile::tempdir().unwrap();
        let out = root.path().join("coaster");
        fs::create_dir(&out).unwrap();
        fs::write(out.join("dots.bmp"), b"old").unwrap();
        let e = Output::begin(&out, false).unwrap_err().to_string();
        assert!(e.contains("is not empty") && e.contains("--replace"), "{e}");
        let mut o = Output::begin(&out, true).unwrap();
        o.put("dots.png", b"new").unwrap();
        assert_eq!(names(&out), ["dots.bmp"]);
        o.commit().unwrap();
        assert_eq!(names(&out), ["dots.png"]);
        assert_eq!(names(root.path()), ["coaster"]);
    }

    #[test]
    fn an_empty_folder_is_filled() {
        let root = tempfile::tempdir().unwrap();
        let mut o = Output::begin(root.path(), false).unwrap();
        o.put("dots.png", b"new").unwrap();
        o.commit().unwrap();
        assert_eq!(names(root.path()), ["dots.png"]);
    }

    #[test]
    fn a_makers_own_files_are_never_replaced() {
        let root = tempfile::tempdir().unwrap();
        let out = root.path().join("photos");
        fs::create_dir_all(out.join("summer")).unwrap();
        fs::write(out.join("dots.png"), b"old").unwrap();
        let e = Output::begin(&out, true).unwrap_err().to_string();
        assert!(e.contains("'summer'") && e.contains("move it away"), "{e}");
        fs::remove_dir(out.join("summer")).unwrap();
        let o = Output::begin(&out, true).unwrap();
        // Somebody saves a picture there while the job runs: found before anything is exchanged.
        fs::write(out.join("harbour.jpg"), b"mine").unwrap();
        assert!(matches!(o.commit(), Err(OutputError::Foreign { file, .. }) if file == "harbour.jpg"));
        assert_eq!(names(&out), ["dots.png", "harbour.jpg"]);
    }

    #[test]
    fn an_exchange_in_two_steps_ends_the_same() {
        let root = tempfile::tempdir().unwrap();
        let (new, folder, old) = (root.path().join("new"), root.path().join("x"), root.path().join("old"));
        fs::create_dir(&new).unwrap();
        fs::create_dir(&folder).unwrap();
        fs::write(new.join("dots.png"), b"new").unwrap();
        swap(&new, &folder, &old).unwrap();
        assert_eq!(names(root.path()), ["x"]);
        assert_eq!(names(&folder), ["dots.png"]);
        // The second rename fails: the old folder is back.
        assert!(swap(&root.path().join("missing"), &folder, &old).is_err());
        assert_eq!(names(&folder), ["dots.png"]);
    }

    #[test]
    fn a_file_in_the_way_and_unknown_names_are_refused() {
        let root = tempfile::tempdir().unwrap();
        let file = root.path().join("notes");
        fs::write(&file, b"mine").unwrap();
        assert!(matches!(Output::begin(&file, true), Err(OutputError::IsAFile(_))));
        let e = Output::begin(&file.join("coaster"), false).unwrap_err().to_string();
        assert!(e.contains("nothing can be written in"), "{e}");
        let mut o = Output::begin(&root.path().join("x"), false).unwrap();
        assert!(matches!(o.put("../x.png", b""), Err(OutputError::UnknownName(_))));
        assert!(matches!(Output::begin(Path::new("/"), true), Err(OutputError::NotAFolder(_))));
    }
}
