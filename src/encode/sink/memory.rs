//! Outputs kept in memory: for a page, or for whoever uses the library.

use std::io::{self, Write};

use super::{OutputError, Sink, Streaming};

/// Files in memory, in the order in which they came.
///
/// ```
/// use dotwright::sink::{Memory, Sink};
///
/// let mut files = Memory::default();
/// files.put("note.txt", b"dry for ten minutes")?;
/// assert_eq!(files.get("note.txt"), Some(&b"dry for ten minutes"[..]));
/// # Ok::<(), dotwright::sink::OutputError>(())
/// ```
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Memory {
    /// Name and bytes of each file.
    pub files: Vec<(String, Vec<u8>)>,
}

impl Memory {
    /// The bytes of a file, if there is one of that name.
    pub fn get(&self, name: &str) -> Option<&[u8]> {
        self.files.iter().find(|(n, _)| n == name).map(|(_, bytes)| bytes.as_slice())
    }
}

impl Sink for Memory {
    fn stream(&mut self, name: &str, write: Streaming<'_>) -> Result<u64, OutputError> {
        let mut bytes = Vec::new();
        let done: io::Result<()> = write(&mut bytes as &mut dyn Write);
        done.map_err(|cause| OutputError::Write { folder: "memory".into(), file: name.into(), cause })?;
        let size = bytes.len() as u64;
        self.files.retain(|(n, _)| n != name);
        self.files.push((name.to_string(), bytes));
        Ok(size)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_file_is_kept_whole_or_not_at_all() {
        let mut files = Memory::default();
        files.put("dots.png", b"old").unwrap();
        files.put("dots.png", b"new").unwrap();
        let failed = files.stream("program.nc", &mut |w| {
            w.write_all(b"G21")?;
            Err(io::Error::from(io::ErrorKind::Other))
        });
        assert!(failed.is_err());
        assert_eq!(files.files, [("dots.png".to_string(), b"new".to_vec())]);
    }
}
