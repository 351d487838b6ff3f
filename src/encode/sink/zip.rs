//! Outputs into a ZIP archive. Its bytes depend on its files alone: no clock, no owner.

use std::fs::File;
use std::io::{self, BufWriter, Write};
use std::path::{Path, PathBuf};

use flate2::Compression;
use flate2::write::DeflateEncoder;
use rawzip::time::UtcDateTime;
use rawzip::{CompressionMethod, ZipArchiveWriter};

use super::folder::unwritable;
use super::unfinished::{self, UnfinishedFile};
use super::{Files, OutputError, Sink, Streaming};

/// The date of every file: an archive has one, and its earliest is the 1st of January 1980. At noon it is that day in nearly
/// every time zone. Seconds since 1970.
const DATE: i64 = 315_576_000;

/// A ZIP archive into any writer. After a file that failed it is of no use and should be dropped.
///
/// ```
/// use dotwright::sink::{Sink, Zip};
///
/// let mut zip = Zip::new(Vec::new());
/// zip.put("note.txt", b"dry for ten minutes")?;
/// let bytes: Vec<u8> = zip.finish()?;
/// assert!(bytes.starts_with(b"PK"));
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
pub struct Zip<W> {
    archive: ZipArchiveWriter<W>,
    names: Vec<String>,
}

impl<W: Write> Zip<W> {
    /// An archive without files so far.
    pub fn new(out: W) -> Zip<W> {
        Zip { archive: ZipArchiveWriter::new(out), names: Vec::new() }
    }

    /// Closes the archive and gives its writer back.
    ///
    /// # Errors
    /// When the list of files at its end cannot be written.
    pub fn finish(self) -> io::Result<W> {
        self.archive.finish().map_err(io::Error::other)
    }

    fn add(&mut self, name: &str, write: Streaming<'_>) -> io::Result<u64> {
        // A PNG is packed already.
        let packed = name.ends_with(".png");
        let method = if packed { CompressionMethod::STORE } else { CompressionMethod::DEFLATE };
        let file = self.archive.new_file(name).compression_method(method).unix_permissions(0o100_644);
        let file = file.last_modified(UtcDateTime::from_unix(DATE));
        let (mut entry, config) = file.start().map_err(io::Error::other)?;
        let about = if packed {
            let mut writer = config.wrap(&mut entry);
            write(&mut writer)?;
            writer.finish().map_err(io::Error::other)?.1
        } else {
            let mut writer = config.wrap(DeflateEncoder::new(&mut entry, Compression::default()));
            write(&mut writer)?;
            let (encoder, about) = writer.finish().map_err(io::Error::other)?;
            encoder.finish()?;
            about
        };
        let size = about.uncompressed_size();
        entry.finish(about).map_err(io::Error::other)?;
        Ok(size)
    }
}

impl<W: Write + Send> Sink for Zip<W> {
    fn stream(&mut self, name: &str, write: Streaming<'_>) -> Result<u64, OutputError> {
        let added = if self.names.iter().any(|n| n == name) {
            Err(io::Error::from(io::ErrorKind::AlreadyExists))
        } else {
            self.names.push(name.to_string());
            self.add(name, write)
        };
        added.map_err(|cause| OutputError::Write { folder: "archive".into(), file: name.into(), cause })
    }
}

impl<W> std::fmt::Debug for Zip<W> {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Zip").field("names", &self.names).finish_non_exhaustive()
    }
}

/// An archive file in the making: all or nothing, as a [`super::Folder`] is.
#[derive(Debug)]
pub struct ZipFile {
    wanted: PathBuf,
    files: &'static Files,
    replace: bool,
    zip: Zip<BufWriter<File>>,
    unfinished: UnfinishedFile,
}

impl ZipFile {
    /// Begins an archive at `wanted`, which must not be there unless `replace` is set. Folders above it that
    /// do not exist are made. `files` are all that it may hold; none of `read`, the files that the run reads,
    /// may be the archive itself.
    ///
    /// # Errors
    /// When the file is there without `replace`, is read by the run, or cannot be written.
    pub fn begin(
        wanted: &Path,
        files: &'static Files,
        replace: bool,
        read: &[PathBuf],
    ) -> Result<ZipFile, OutputError> {
        // A link means the file that it points to.
        let wanted = wanted.canonicalize().unwrap_or_else(|_| wanted.to_path_buf());
        let (Some(name), Some(parent)) = (wanted.file_name(), wanted.parent()) else {
            return Err(OutputError::NoName(wanted));
        };
        let parent = if parent.as_os_str().is_empty() { Path::new(".") } else { parent };
        if wanted.exists() {
            if !replace {
                return Err(OutputError::Exists(wanted));
            }
            if read.iter().any(|p| p.canonicalize().is_ok_and(|p| p == wanted)) {
                return Err(OutputError::Input(wanted));
            }
        }
        unfinished::sweep(parent);
        let opened = UnfinishedFile::begin(parent, name)
            .and_then(|u| Ok((u.file.as_file().try_clone()?, u)))
            .map_err(|cause| unwritable(parent, cause))?;
        let (file, unfinished) = opened;
        let zip = Zip::new(BufWriter::with_capacity(256 * 1024, file));
        Ok(ZipFile { wanted, files, replace, zip, unfinished })
    }

    /// Puts the finished archive in its place at once.
    ///
    /// # Errors
    /// When it cannot be written to its end, or when somebody made a file of that name meanwhile; then
    /// nothing changes.
    pub fn commit(self) -> Result<(), OutputError> {
        let ZipFile { wanted, replace, zip, unfinished, .. } = self;
        let finish = || {
            let file = zip.finish()?.into_inner().map_err(io::IntoInnerError::into_error)?;
            // Some file systems tell of a full disk only here.
            file.sync_data()?;
            unfinished.place(&wanted, replace)
        };
        finish().map_err(|cause| OutputError::Place { folder: wanted.clone(), cause })
    }
}

impl Sink for ZipFile {
    fn stream(&mut self, name: &str, write: Streaming<'_>) -> Result<u64, OutputError> {
        if !self.files.names.contains(&name) {
            return Err(OutputError::UnknownName(name.to_string()));
        }
        self.zip.stream(name, write).map_err(|e| match e {
            OutputError::Write { file, cause, .. } => {
                OutputError::Write { folder: self.wanted.clone(), file, cause }
            }
            other => other,
        })
    }
}

#[cfg(test)]
mod tests {
    use std::fs;
    use std::io::Read;

    use super::*;

    const JOB: Files = Files { names: &["dots.png", "job.toml"], never_beside: &[] };

    /// All files of an archive, read back.
    fn unpacked(bytes: &[u8]) -> Vec<(String, Vec<u8>)> {
        let archive = rawzip::ZipArchive::from_slice(bytes).unwrap();
        let mut entries = archive.entries();
        let mut all = Vec::new();
        while let Some(e) = entries.next_entry().unwrap() {
            let name = e.file_path().try_normalize().unwrap().as_ref().to_string();
            let data = archive.get_entry(e.wayfinder()).unwrap().data();
            let mut file = Vec::new();
            match e.compression_method() {
                CompressionMethod::STORE => file.extend(data),
                _ => drop(flate2::read::DeflateDecoder::new(data).read_to_end(&mut file).unwrap()),
            }
            all.push((name, file));
        }
        all
    }

    fn packed() -> Vec<u8> {
        let mut zip = Zip::new(Vec::new());
        zip.put("dots.png", &[7; 300]).unwrap();
        let size =
            zip.stream("job.toml", &mut |w| (0..99).try_for_each(|i| writeln!(w, "line {i}"))).unwrap();
        assert_eq!(size, 10 * 7 + 89 * 8);
        zip.finish().unwrap()
    }

    #[test]
    fn files_come_back_as_they_were_and_bytes_know_no_clock() {
        let bytes = packed();
        let all = unpacked(&bytes);
        assert_eq!(all[0], ("dots.png".to_string(), vec![7; 300]));
        assert!(all[1].1.ends_with(b"line 98\n") && all.len() == 2);
        std::thread::sleep(std::time::Duration::from_millis(2100));
        assert_eq!(packed(), bytes);
    }

    #[test]
    fn files_have_a_date_that_there_is() {
        let bytes = packed();
        // Date and time of the first file, in its own header: 1980-01-01, 12:00.
        assert_eq!((&bytes[..4], &bytes[10..14]), (&b"PK\x03\x04"[..], &[0x00, 0x60, 0x21, 0x00][..]));
        let archive = rawzip::ZipArchive::from_slice(&bytes).unwrap();
        let mut entries = archive.entries();
        while let Some(e) = entries.next_entry().unwrap() {
            let date = e.last_modified();
            assert_eq!((date.year(), date.month(), date.day(), date.hour()), (1980, 1, 1, 12));
        }
    }

    #[test]
    fn a_name_is_taken_once() {
        let mut zip = Zip::new(Vec::new());
        zip.put("dots.png", b"one").unwrap();
        assert!(zip.put("dots.png", b"two").is_err());
    }

    #[test]
    fn an_archive_appears_whole_and_is_replaced_only_on_request() {
        let root = tempfile::tempdir().unwrap();
        let wanted = root.path().join("new/coaster.zip");
        let begin = |replace| ZipFile::begin(&wanted, &JOB, replace, &[]);
        let mut z = begin(false).unwrap();
        z.put("dots.png", b"dots").unwrap();
        assert!(matches!(z.put("x.png", b""), Err(OutputError::UnknownName(_))));
        assert!(!wanted.exists());
        z.commit().unwrap();
        assert_eq!(unpacked(&fs::read(&wanted).unwrap())[0].1, b"dots");
        let e = begin(false).unwrap_err().to_string();
        assert!(e.contains("is there already") && e.contains("--replace"), "{e}");
        drop(begin(true).unwrap());
        assert_eq!(fs::read_dir(wanted.parent().unwrap()).unwrap().count(), 1);
        let read = [wanted.clone()];
        assert!(matches!(ZipFile::begin(&wanted, &JOB, true, &read), Err(OutputError::Input(_))));
    }
}
