//! Where outputs go: a folder, memory or an archive. Whoever makes them does not know which.
//!
//! A folder and an archive on disk are all or nothing: files are written under a hidden name first and take
//! their place only when all of them are complete. Whatever goes wrong before that leaves nothing behind.

mod error;
mod files;
mod folder;
mod memory;
mod unfinished;
mod zip;

use std::io::{self, Write};

pub use error::OutputError;
pub use files::Files;
pub use folder::Folder;
pub use memory::Memory;
pub use unfinished::{abandon, placed, sweep};
pub use zip::{Zip, ZipFile};

/// What takes the files of a job, one after the other.
pub trait Sink: Send {
    /// Takes a file that `write` produces piece by piece into a buffered writer; returns its size in bytes.
    /// A file of the same name that came before is replaced where the sink can do that.
    ///
    /// # Errors
    /// When the name is not one that may be written here, when the file cannot be written, or when `write`
    /// fails.
    fn stream(&mut self, name: &str, write: Streaming<'_>) -> Result<u64, OutputError>;

    /// Takes a file of which all bytes are at hand.
    ///
    /// # Errors
    /// As [`Sink::stream`].
    fn put(&mut self, name: &str, bytes: &[u8]) -> Result<(), OutputError> {
        self.stream(name, &mut |w| w.write_all(bytes)).map(drop)
    }
}

/// What writes one file into a sink; called once.
pub type Streaming<'a> = &'a mut dyn FnMut(&mut dyn Write) -> io::Result<()>;
