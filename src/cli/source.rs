//! A file that a command reads: its bytes and what to call it.

use std::ffi::OsString;
use std::fs::File;
use std::io::{self, Read};
use std::path::{Component, Path, PathBuf};

use super::failure::Failure;
use super::plain;
use crate::cause;
use crate::encode::EncodeError;
use crate::job::{ArtFile, file_name, near};
use crate::texts::text;

/// A file's bytes and what to call it.
pub struct Source {
    /// All bytes.
    pub bytes: Vec<u8>,
    /// The file name without its folder, or `standard input`; on one line, as a terminal may have it.
    pub name: String,
    /// What it is called in messages: with its folder, as given.
    pub in_messages: String,
    /// CRC-32 of the bytes.
    pub crc32: u32,
    path: Option<PathBuf>,
}

/// What to say of a file that should hold dots and does not.
pub fn no_dots(name: &str, bytes: &[u8], e: &EncodeError) -> Failure {
    if let Some(format) = other_format(bytes) {
        return Failure::input(text!("cli.source.other-format", name, format));
    }
    let why = match e {
        EncodeError::Failed { why, .. } => why.clone(),
        other => other.to_string(),
    };
    Failure::input(format!("{name} holds no dots ({why}); give a dots.png as 'prepare' writes it"))
}

/// The format of dots that 'prepare' writes as well and nothing reads.
fn other_format(bytes: &[u8]) -> Option<&'static str> {
    match bytes {
        [b'B', b'M', ..] => Some("BMP"),
        [b'I', b'I', 42, 0, ..] | [b'M', b'M', 0, 42, ..] => Some("TIFF"),
        _ => None,
    }
}

/// A file that the system does not give: why, and a file of nearly that name where there is one.
pub fn unreadable(path: &Path, e: &io::Error) -> Failure {
    // A job file calls so what was read from standard input.
    if path.file_name().is_some_and(|name| name == "-") && e.kind() == io::ErrorKind::NotFound {
        return Failure::input(text!("cli.source.pipe"));
    }
    let next = near::or_check(path, e);
    Failure::input(text!(
        "cli.source.unreadable",
        file = plain::path(path),
        why = cause::of(e),
        next = plain::line(&next)
    ))
}

/// What a file is called in messages.
fn in_messages(file: &Path) -> String {
    format!("'{}'", plain::path(file))
}

/// A file, as messages call it, that is no file to be read.
fn refused(file: &str, why: &str) -> Failure {
    Failure::input(text!("cli.source.refused", file, why))
}

/// The longest file that is read: what the decoders may use in all.
const MOST_BYTES: u64 = 2 << 30;

impl Source {
    /// Reads a file, or standard input for `-`.
    pub fn read(file: &Path) -> Result<Source, Failure> {
        let mut bytes = Vec::new();
        let (name, in_messages, path) = if file == Path::new("-") {
            let name = "standard input".to_string();
            (name.clone(), format!("the picture on {name}"), None)
        } else {
            let name = plain::path(file.file_name().map_or(file, Path::new));
            (name, in_messages(file), Some(file.to_path_buf()))
        };
        let refused = |why: &str| refused(&in_messages, why);
        match &path {
            None => io::stdin().lock().take(MOST_BYTES + 1).read_to_end(&mut bytes),
            Some(p) if p.is_dir() => return Err(refused(text!("cli.source.folder"))),
            Some(p) => File::open(p).and_then(|f| f.take(MOST_BYTES + 1).read_to_end(&mut bytes)),
        }
        .map_err(|e| match &path {
            Some(p) => unreadable(p, &e),
            None => refused(&cause::of(&e)),
        })?;
        if bytes.len() as u64 > MOST_BYTES {
            return Err(refused(text!("cli.source.long")));
        }
        let mut crc = flate2::Crc::new();
        crc.update(&bytes);
        Ok(Source { crc32: crc.sum(), bytes, name, in_messages, path })
    }

    /// Makes sure that a file is there to be read, as [`Source::read`] would say; standard input is.
    pub fn look_for(file: &Path) -> Result<(), Failure> {
        if file == Path::new("-") {
            return Ok(());
        }
        let about = file.metadata().map_err(|e| unreadable(file, &e))?;
        if about.is_dir() {
            return Err(refused(&in_messages(file), text!("cli.source.folder")));
        }
        // To open what is no file, such as a pipe, would wait for it.
        if about.is_file() {
            File::open(file).map_err(|e| unreadable(file, &e))?;
        }
        Ok(())
    }

    /// Bytes that are at hand already.
    #[cfg(feature = "desk")]
    pub(crate) fn of(bytes: Vec<u8>, name: String, crc32: u32) -> Source {
        Source { bytes, in_messages: format!("'{name}'"), name, crc32, path: None }
    }

    /// Where it lies; `None` for standard input.
    pub fn path(&self) -> Option<&Path> {
        self.path.as_deref()
    }

    /// What the job file of `folder` keeps of it.
    pub fn art_file(&self, folder: &Path) -> ArtFile {
        ArtFile { name: self.name.clone(), path: self.as_seen_from(folder), crc32: self.crc32 }
    }

    /// The file's name as text, as seen from another folder, so that a job file can be moved together with
    /// its art.
    fn as_seen_from(&self, folder: &Path) -> String {
        let Some(path) = &self.path else { return "-".to_string() };
        let (to, from) = (tidy(&absolute(path)), tidy(&absolute(folder)));
        let shared = to.iter().zip(&from).take_while(|(a, b)| a == b).count();
        if shared == 0 {
            return file_name::text(path);
        }
        let up = std::iter::repeat_n(OsString::from(".."), from.len() - shared);
        let parts: Vec<OsString> = up.chain(to[shared..].iter().cloned()).collect();
        file_name::text(Path::new(&parts.join("/".as_ref())))
    }
}

/// A place from the root on, as a person looks for it.
pub fn whole(path: &Path) -> PathBuf {
    PathBuf::from(tidy(&absolute(path)).join("/".as_ref()))
}

fn absolute(path: &Path) -> PathBuf {
    std::path::absolute(path).unwrap_or_else(|_| path.to_path_buf())
}

/// The parts of an absolute path, with `.` and `..` resolved as written.
fn tidy(path: &Path) -> Vec<OsString> {
    let mut parts: Vec<OsString> = Vec::new();
    for part in path.components() {
        match part {
            Component::CurDir => {}
            Component::ParentDir => {
                parts.pop();
            }
            Component::RootDir => parts.push(OsString::new()),
            other => parts.push(other.as_os_str().to_os_string()),
        }
    }
    parts
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn dots_of_another_format_are_called_what_they_are() {
        let e = || EncodeError::Failed { format: "PNG", why: "Invalid PNG signature.".to_string() };
        let said = |bytes: &[u8]| no_dots("'dots'", bytes, &e()).sentence.to_string();
        let bmp = "'dots' is a BMP, and dots are read from a PNG: give the dots.png that 'prepare' writes beside it";
        assert_eq!(said(b"BM\x3e\0"), bmp);
        assert_eq!(said(b"II*\0\x08\0"), bmp.replace("BMP", "TIFF"));
        assert!(said(b"a letter").contains("holds no dots (Invalid PNG"));
    }
}
