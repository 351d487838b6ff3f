//! Where a command's files go: a folder, or an archive where a name ends in `.zip`.

use std::path::{Path, PathBuf};

use clap::Args;

use super::plain;
use crate::encode::sink::{Files, Folder, OutputError, Sink, Streaming, ZipFile};

/// Where to write.
#[derive(Debug, Clone, Args)]
pub struct OutOptions {
    /// The folder to write into, new or empty unless --replace is given; with a name such as coaster.zip an archive
    #[arg(long, short, value_name = "FOLDER")]
    pub out: PathBuf,
    #[allow(missing_docs)]
    #[command(flatten)]
    pub replace: Replace,
}

/// Whether to write where there is something.
#[derive(Debug, Clone, Copy, Args)]
pub struct Replace {
    /// Replace, by name, the files that this command writes, whatever wrote them; all others in the folder stay
    ///
    /// A run that would replace a file that it reads is refused.
    #[arg(long)]
    pub replace: bool,
}

impl std::fmt::Display for OutOptions {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(&plain::path(&self.out))
    }
}

impl OutOptions {
    /// The folder in which the files or the archive will be.
    pub fn folder(&self) -> &Path {
        if is_zip(&self.out) { self.out.parent().unwrap_or(Path::new("")) } else { &self.out }
    }

    /// Begins the outputs; `read` are the files that the run reads, none of which is ever replaced.
    pub fn begin(&self, files: &'static Files, read: &[&Path]) -> Result<Target, OutputError> {
        Target::begin(&self.out, files, self.replace.replace, read)
    }

    /// One of the files, as a person finds it.
    pub fn find(&self, name: &str) -> String {
        if is_zip(&self.out) { format!("{name} of {self}") } else { plain::path(&self.out.join(name)) }
    }
}

/// Outputs in the making.
#[derive(Debug)]
pub enum Target {
    /// A folder.
    Folder(Folder),
    /// An archive.
    Zip(ZipFile),
}

/// Whether a name means an archive: it ends in `.zip` and is no folder.
fn is_zip(path: &Path) -> bool {
    path.extension().is_some_and(|e| e.eq_ignore_ascii_case("zip")) && !path.is_dir()
}

impl Target {
    /// Begins outputs of some files to a place; see [`Folder::begin`] and [`ZipFile::begin`].
    pub fn begin(
        path: &Path,
        files: &'static Files,
        replace: bool,
        read: &[&Path],
    ) -> Result<Target, OutputError> {
        let read: Vec<PathBuf> = read.iter().map(|p| whole(p)).collect();
        Ok(if is_zip(path) {
            Target::Zip(ZipFile::begin(path, files, replace, &read)?)
        } else {
            Target::Folder(Folder::begin(path, files, replace, &read)?)
        })
    }

    /// Puts all files in their place.
    pub fn commit(self) -> Result<(), OutputError> {
        match self {
            Target::Folder(f) => f.commit(),
            Target::Zip(z) => z.commit(),
        }
    }
}

/// Standard input may be a file too.
fn whole(path: &Path) -> PathBuf {
    PathBuf::from(if path == Path::new("-") { Path::new("/dev/stdin") } else { path })
}

impl Sink for Target {
    fn stream(&mut self, name: &str, write: Streaming<'_>) -> Result<u64, OutputError> {
        match self {
            Target::Folder(f) => f.stream(name, write),
            Target::Zip(z) => z.stream(name, write),
        }
    }
}
