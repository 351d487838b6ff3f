//! Standard output and standard error, as commands write to them.

use std::io::{self, BufWriter, Write};

use super::plain;

/// Results: standard output, buffered, with what would steer a terminal spelled out.
///
/// Whoever reads may stop reading (`| head`): the rest is then written nowhere and the command ends as it
/// would have, with its own exit code.
pub struct Out {
    inner: BufWriter<Box<dyn Write>>,
    closed: bool,
}

impl Out {
    /// Standard output.
    pub fn standard() -> Out {
        Out::to(Box::new(io::stdout().lock()))
    }

    fn to(inner: Box<dyn Write>) -> Out {
        Out { inner: BufWriter::new(inner), closed: false }
    }

    fn unless_closed(&mut self, done: io::Result<()>) -> io::Result<()> {
        match done {
            Err(e) if e.kind() == io::ErrorKind::BrokenPipe => {
                self.closed = true;
                Ok(())
            }
            Err(e) => Err(io::Error::new(
                e.kind(),
                format!("standard output cannot be written: {}", crate::cause::of(&e)),
            )),
            Ok(()) => Ok(()),
        }
    }
}

impl Write for Out {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        if !self.closed {
            let done = self.inner.write_all(plain::lines(&String::from_utf8_lossy(bytes)).as_bytes());
            self.unless_closed(done)?;
        }
        Ok(bytes.len())
    }

    fn flush(&mut self) -> io::Result<()> {
        if self.closed {
            return Ok(());
        }
        let done = self.inner.flush();
        self.unless_closed(done)
    }
}

/// Says one sentence on standard error. Where that cannot be written, nobody hears it.
pub fn say(sentence: &str) {
    let _ = writeln!(io::stderr(), "dotwright: {}", plain::line(sentence));
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A reader that goes, or a disk that is full, after so many bytes.
    struct Ends(usize, io::ErrorKind);

    impl Write for Ends {
        fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
            self.0 = self.0.checked_sub(bytes.len()).ok_or(self.1)?;
            Ok(bytes.len())
        }
        fn flush(&mut self) -> io::Result<()> {
            Ok(())
        }
    }

    fn written(kind: io::ErrorKind) -> io::Result<()> {
        let mut out = Out::to(Box::new(Ends(20_000, kind)));
        for i in 0..20_000 {
            writeln!(out, "line {i}")?;
        }
        out.flush()
    }

    #[test]
    fn a_reader_that_goes_is_no_error_and_a_full_disk_is_one() {
        assert!(written(io::ErrorKind::BrokenPipe).is_ok());
        let e = written(io::ErrorKind::StorageFull).unwrap_err();
        assert_eq!(e.kind(), io::ErrorKind::StorageFull);
        assert!(e.to_string().starts_with("standard output cannot be written"), "{e}");
    }
}
