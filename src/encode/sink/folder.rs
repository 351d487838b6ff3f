//! Outputs into a folder, all or nothing; files of others in it stay as they are.

use std::fs::{self, File};
use std::io::{self, BufWriter};
use std::path::{Path, PathBuf};

use super::unfinished::{self, UnfinishedFolder};
use super::{Files, OutputError, Sink, Streaming};

/// An output folder in the making.
///
/// [`Folder::begin`] finds out early whether the folder may be written, [`Sink::put`] and [`Sink::stream`]
/// add files, [`Folder::commit`] puts the whole in place. Dropped before that, it leaves nothing behind.
#[derive(Debug)]
pub struct Folder {
    place: Place,
    unfinished: UnfinishedFolder,
}

/// The wanted folder and what may happen to it.
#[derive(Debug)]
struct Place {
    folder: PathBuf,
    files: &'static Files,
    replace: bool,
}

impl Folder {
    /// Begins outputs into `folder`, which must be new or empty unless `replace` is set. Folders above it
    /// that do not exist are made (and removed again when nothing comes of it). Leftovers of runs that were
    /// killed here are removed.
    ///
    /// `files` are all that may be written, and all that `replace` replaces; none of `read`, the files that
    /// the run reads, may be among them.
    ///
    /// # Errors
    /// When the folder is a file, is not empty without `replace`, cannot be written, or when a file would be
    /// replaced that the run reads or that belongs to something else.
    pub fn begin(
        folder: &Path,
        files: &'static Files,
        replace: bool,
        read: &[PathBuf],
    ) -> Result<Folder, OutputError> {
        // A link or a path such as `.` means the folder that it points to.
        let there = folder.exists();
        let folder = if there {
            folder.canonicalize().map_err(|cause| unwritable(folder, cause))?
        } else {
            folder.to_path_buf()
        };
        let (Some(name), Some(parent)) = (folder.file_name(), folder.parent()) else {
            return Err(OutputError::NoName(folder));
        };
        let parent = if parent.as_os_str().is_empty() { Path::new(".") } else { parent };
        unfinished::sweep(parent);
        unfinished::sweep(&folder);
        let place = Place { folder: folder.clone(), files, replace };
        place.old_files()?;
        not_read(&folder, files, read)?;
        // Beside a folder that is still to come, within one that is there: it may be the root of a disk of
        // its own, and whoever stands in it shall not lose the ground.
        let within = if there { &folder } else { parent };
        let unfinished = UnfinishedFolder::begin(within, name).map_err(|cause| unwritable(within, cause))?;
        Ok(Folder { place, unfinished })
    }

    /// Puts the finished files in their place: a new folder at once; into a folder that is there one by one,
    /// where what goes wrong half-way is undone, and what is killed half-way is finished by the next run.
    ///
    /// # Errors
    /// When the folder was filled by somebody meanwhile, or when files cannot be put in place; then nothing
    /// changes.
    pub fn commit(self) -> Result<(), OutputError> {
        let Folder { place, unfinished } = &self;
        let old = place.old_files()?;
        unfinished
            .place(&place.folder, old)
            .map_err(|cause| OutputError::Place { folder: place.folder.clone(), cause })
    }
}

impl Sink for Folder {
    fn stream(&mut self, name: &str, write: Streaming<'_>) -> Result<u64, OutputError> {
        if !self.place.files.names.contains(&name) {
            return Err(OutputError::UnknownName(name.to_string()));
        }
        let mut work = || -> io::Result<u64> {
            let file = File::create(self.unfinished.new_files().join(name))?;
            let mut buffered = BufWriter::with_capacity(256 * 1024, file);
            write(&mut buffered)?;
            let file = buffered.into_inner().map_err(io::IntoInnerError::into_error)?;
            // Some file systems tell of a full disk only here.
            file.sync_data()?;
            Ok(file.metadata()?.len())
        };
        work().map_err(|cause| OutputError::Write {
            folder: self.place.folder.clone(),
            file: name.to_string(),
            cause,
        })
    }
}

pub(super) fn unwritable(folder: &Path, cause: io::Error) -> OutputError {
    // Of a hidden name in the making, which some causes add, nobody need know.
    let cause = if cause.get_ref().is_some() { io::Error::from(cause.kind()) } else { cause };
    OutputError::Unwritable { folder: folder.to_path_buf(), cause }
}

impl Place {
    /// The files there that are this run's to take out; or why nothing may be written.
    fn old_files(&self) -> Result<Vec<&'static str>, OutputError> {
        let folder = &self.folder;
        let entries = match fs::read_dir(folder) {
            Ok(entries) => entries,
            Err(e) if e.kind() == io::ErrorKind::NotFound => return Ok(Vec::new()),
            Err(_) if folder.is_file() => return Err(OutputError::IsAFile(folder.clone())),
            Err(cause) => return Err(unwritable(folder, cause)),
        };
        let mut there = Vec::new();
        for entry in entries {
            let entry = entry.map_err(|cause| unwritable(folder, cause))?;
            if !unfinished::is_unfinished(&entry.file_name()) {
                there.push((entry.file_name(), entry.file_type().is_ok_and(|t| t.is_dir())));
            }
        }
        if !self.replace && !there.is_empty() {
            return Err(OutputError::NotEmpty(folder.clone()));
        }
        let find = |name: &str| there.iter().find(|(n, _)| n == name);
        let old: Vec<&'static str> =
            self.files.names.iter().copied().filter(|name| find(name).is_some()).collect();
        if let Some(name) = old.iter().find(|name| find(name).is_some_and(|(_, is_folder)| *is_folder)) {
            return Err(OutputError::FolderInTheWay(folder.join(name)));
        }
        let strange = self.files.never_beside.iter().find(|(sign, _)| find(sign).is_some());
        if let (Some((_, what)), Some(file)) = (strange, old.first()) {
            return Err(OutputError::Strange { folder: folder.clone(), what, file });
        }
        Ok(old)
    }
}

/// Refuses a folder in which a file that is read has the name of one that is written.
fn not_read(folder: &Path, files: &Files, read: &[PathBuf]) -> Result<(), OutputError> {
    for path in read.iter().filter_map(|p| p.canonicalize().ok()) {
        for name in files.names {
            let own = folder.join(name);
            if own.canonicalize().is_ok_and(|p| p == path) {
                return Err(OutputError::Input(own));
            }
        }
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    const JOB: Files = Files {
        names: &["dots.png", "dots.bmp", "job.toml", "program.nc"],
        never_beside: &[("wedge.toml", "a wedge")],
    };

    fn names(folder: &Path) -> Vec<String> {
        let mut names: Vec<String> = fs::read_dir(folder)
            .unwrap()
            .map(|e| e.unwrap().file_name().to_string_lossy().into_owned())
            .collect();
        names.sort();
        names
    }

    fn begin(folder: &Path, replace: bool) -> Result<Folder, OutputError> {
        Folder::begin(folder, &JOB, replace, &[])
    }

    #[test]
    fn a_new_folder_appears_with_all_its_files_at_once() {
        let root = tempfile::tempdir().unwrap();
        let out = root.path().join("a/b/coaster");
        let mut o = begin(&out, false).unwrap();
        o.put("dots.png", b"dots").unwrap();
        let bytes =
            o.stream("program.nc", &mut |w| (0..1000).try_for_each(|i| writeln!(w, "G1 X{i}"))).unwrap();
        assert!(!out.exists());
        o.commit().unwrap();
        assert_eq!(names(&out), ["dots.png", "program.nc"]);
        assert_eq!(names(&root.path().join("a/b")), ["coaster"]);
        assert_eq!(bytes, fs::metadata(out.join("program.nc")).unwrap().len());
    }

    #[test]
    fn what_is_given_up_leaves_nothing_behind() {
        let root = tempfile::tempdir().unwrap();
        let mut o = begin(&root.path().join("new/coaster"), false).unwrap();
        o.put("dots.png", b"dots").unwrap();
        drop(o);
        assert!(names(root.path()).is_empty());
        // The same within a folder that is there.
        fs::write(root.path().join("dots.png"), b"old").unwrap();
        let mut o = begin(root.path(), true).unwrap();
        o.put("dots.png", b"new").unwrap();
        drop(o);
        assert_eq!(names(root.path()), ["dots.png"]);
        assert_eq!(fs::read(root.path().join("dots.png")).unwrap(), b"old");
    }

    #[test]
    fn a_writer_that_fails_half_way_leaves_nothing_behind() {
        let root = tempfile::tempdir().unwrap();
        let mut o = begin(&root.path().join("coaster"), false).unwrap();
        let e = o
            .stream("program.nc", &mut |w| {
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
    fn only_the_commands_own_files_are_replaced_and_only_on_request() {
        let root = tempfile::tempdir().unwrap();
        let out = root.path().join("coaster");
        fs::create_dir_all(out.join("summer")).unwrap();
        for name in ["dots.bmp", "program.nc", "reading.json", "harbour.jpg"] {
            fs::write(out.join(name), b"old").unwrap();
        }
        let e = begin(&out, false).unwrap_err().to_string();
        assert!(e.contains("is not empty") && e.contains("--replace"), "{e}");
        let mut o = begin(&out, true).unwrap();
        o.put("dots.png", b"new").unwrap();
        // Somebody saves a picture there while the job runs.
        fs::write(out.join("quay.jpg"), b"mine").unwrap();
        o.commit().unwrap();
        assert_eq!(names(&out), ["dots.png", "harbour.jpg", "quay.jpg", "reading.json", "summer"]);
        assert_eq!(names(root.path()), ["coaster"]);
    }

    #[test]
    fn a_file_that_is_read_is_never_replaced() {
        let root = tempfile::tempdir().unwrap();
        let art = root.path().join("dots.png");
        fs::write(&art, b"art").unwrap();
        let other = root.path().join("x/../dots.png");
        fs::create_dir(root.path().join("x")).unwrap();
        for path in [&art, &other] {
            let e = Folder::begin(root.path(), &JOB, true, std::slice::from_ref(path)).unwrap_err();
            assert!(matches!(&e, OutputError::Input(p) if p.ends_with("dots.png")), "{e}");
        }
        assert_eq!(names(root.path()), ["dots.png", "x"]);
        // A file that is only read, beside those that are written, is in nobody's way.
        let photo = root.path().join("harbour.jpg");
        fs::write(&photo, b"photo").unwrap();
        assert!(Folder::begin(root.path(), &JOB, true, &[photo]).is_ok());
    }

    #[test]
    fn files_of_the_same_names_that_belong_to_something_else_stay() {
        let root = tempfile::tempdir().unwrap();
        fs::write(root.path().join("wedge.toml"), b"").unwrap();
        begin(root.path(), true).unwrap().commit().unwrap();
        fs::write(root.path().join("dots.png"), b"of the wedge").unwrap();
        let e = begin(root.path(), true).unwrap_err().to_string();
        assert!(e.contains("holds a wedge") && e.contains("'dots.png'"), "{e}");
    }

    #[test]
    fn a_folder_that_is_there_stays_the_same_folder() {
        let root = tempfile::tempdir().unwrap();
        #[cfg(unix)]
        let inode = || std::os::unix::fs::MetadataExt::ino(&fs::metadata(root.path()).unwrap());
        #[cfg(unix)]
        let before = inode();
        let mut o = begin(root.path(), false).unwrap();
        o.put("dots.png", b"new").unwrap();
        o.commit().unwrap();
        assert_eq!(names(root.path()), ["dots.png"]);
        #[cfg(unix)]
        assert_eq!(inode(), before);
    }

    #[test]
    fn whoever_comes_first_keeps_an_empty_folder() {
        let root = tempfile::tempdir().unwrap();
        let [mut a, mut b] = [(); 2].map(|()| begin(root.path(), false).unwrap());
        a.put("dots.png", b"a").unwrap();
        b.put("dots.png", b"b").unwrap();
        a.commit().unwrap();
        assert!(matches!(b.commit(), Err(OutputError::NotEmpty(_))));
        assert_eq!(fs::read(root.path().join("dots.png")).unwrap(), b"a");
        assert_eq!(names(root.path()), ["dots.png"]);
    }

    #[test]
    fn what_is_in_the_way_and_unknown_names_are_refused() {
        let root = tempfile::tempdir().unwrap();
        let file = root.path().join("notes");
        fs::write(&file, b"mine").unwrap();
        assert!(matches!(begin(&file, true), Err(OutputError::IsAFile(_))));
        let e = begin(&file.join("coaster"), false).unwrap_err().to_string();
        assert!(e.contains("nothing can be written in"), "{e}");
        let mut o = begin(&root.path().join("x"), false).unwrap();
        assert!(matches!(o.put("../x.png", b""), Err(OutputError::UnknownName(_))));
        assert!(matches!(begin(Path::new("/"), true), Err(OutputError::NoName(_))));
        let y = root.path().join("y");
        fs::create_dir_all(y.join("dots.png")).unwrap();
        assert!(matches!(begin(&y, true), Err(OutputError::FolderInTheWay(_))));
    }

    #[test]
    fn what_is_abandoned_is_gone_with_the_folders_made_for_it() {
        let root = tempfile::tempdir().unwrap();
        let mut o = begin(&root.path().join("new/coaster"), false).unwrap();
        o.put("dots.png", b"dots").unwrap();
        unfinished::remove_live(&mut unfinished::live(), |path| path.starts_with(root.path()));
        assert!(names(root.path()).is_empty());
        assert!(o.commit().is_err());
        assert!(names(root.path()).is_empty());
    }

    #[test]
    fn what_is_in_its_place_is_not_abandoned() {
        let root = tempfile::tempdir().unwrap();
        let folder = root.path().join("new/coaster");
        for replace in [false, true] {
            let mut o = begin(&folder, replace).unwrap();
            o.put("dots.png", b"dots").unwrap();
            o.unfinished.place(&folder, o.place.old_files().unwrap()).unwrap();
            // Told to end before it comes to tidy up.
            unfinished::remove_live(&mut unfinished::live(), |path| path.starts_with(root.path()));
            assert_eq!(names(&folder), ["dots.png"]);
            assert_eq!(names(folder.parent().unwrap()), ["coaster"]);
        }
    }
}
