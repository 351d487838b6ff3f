//! Reading back: a program is written and, as its bytes go by, replayed by the reader, which shares no code
//! with the writer. What is on disk is then known to be what was meant.

use std::io::{self, Write};

use super::program::{Cost, Program, Unwritten};
use super::reader::ReadError;
use super::replay::{Playback, ReplayOptions, Replayed};
use crate::parallel;
use crate::progress::Progress;
use crate::texts::text;

/// Why a program was not written and read back.
#[derive(Debug, thiserror::Error)]
pub enum ReadBackError {
    /// It was not written to its end.
    #[error(transparent)]
    Unwritten(#[from] Unwritten),
    /// The reader does not understand what was written.
    #[error("{}", text!("scan.read-back", why = .0))]
    Unreadable(ReadError),
}

/// Writes a program to `out` and flushes it; at the same time, on another thread, replays what is written.
///
/// # Errors
/// Those of [`Program::write`]; a program that the reader refuses.
pub fn write(
    program: &Program<'_>,
    options: &ReplayOptions<'_>,
    out: &mut dyn Write,
    progress: &dyn Progress,
) -> Result<(Cost, Replayed), ReadBackError> {
    let mut refused = None;
    let (written, playback) = parallel::pass_on(
        Playback::new(options),
        |playback, piece| match playback.push(piece) {
            Ok(()) => true,
            Err(e) => {
                refused = Some(e);
                false
            }
        },
        |give| program.write(&mut Tee { out, give }, progress),
    );
    if let Some(e) = refused {
        return Err(ReadBackError::Unreadable(e));
    }
    let cost = written?;
    Ok((cost, playback.finish().map_err(ReadBackError::Unreadable)?))
}

/// Writes into a file and to the reader alike.
struct Tee<'a> {
    out: &'a mut dyn Write,
    /// Hands a piece to the reader; whether it goes on reading.
    give: &'a mut dyn FnMut(&[u8]) -> bool,
}

impl Write for Tee<'_> {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        if !(self.give)(bytes) {
            return Err(io::Error::other("the reader refused the program"));
        }
        self.out.write_all(bytes)?;
        Ok(bytes.len())
    }

    fn flush(&mut self) -> io::Result<()> {
        self.out.flush()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::blank::Blank;
    use crate::placement::{DotRect, Grid};
    use crate::plane::Dots;
    use crate::progress::Silent;
    use crate::scan::limits::Limits;
    use crate::scan::lines::Marking;
    use crate::scan::raster::{RasterPath, Scan};
    use crate::units::Mm;

    fn path(dots: &Dots) -> RasterPath {
        let blank = Blank { shape: "rect:50x40mm".parse().unwrap(), margin: Mm(1.0) };
        let grid = Grid { along: Mm(0.1), across: Mm(0.1) };
        let rect = DotRect { left: Mm(5.0), top: Mm(5.0), columns: dots.width(), rows: dots.height(), grid };
        RasterPath::new(&Limits::default(), Scan::new(20.0, 0.9), rect, blank).unwrap()
    }

    fn pattern() -> Dots {
        let mut dots = Dots::off(300, 200);
        (0..60_000).filter(|i| i * i % 11 < 4).for_each(|i| dots.set(i % 300, i / 300, true));
        dots
    }

    #[test]
    fn what_is_written_is_what_is_replayed() {
        let dots = pattern();
        let program = Program::of_raster(path(&dots), Marking::Dots(&dots), Vec::new());
        let options = ReplayOptions::of(&program);
        let mut plain = Vec::new();
        let cost = program.write(&mut plain, &Silent).unwrap();
        for threads in [1, 2, 3, 7] {
            let mut out = Vec::new();
            let (again, mut back) =
                parallel::with_threads(threads, || write(&program, &options, &mut out, &Silent).unwrap());
            assert!(out == plain && again == cost, "{threads}");
            assert!(back.against(&dots) && back.report.difference.as_ref().unwrap().same);
            assert_eq!(back.report.bytes, cost.bytes);
        }
    }

    #[test]
    fn a_program_that_cannot_be_read_is_no_program() {
        let dots = pattern();
        let mut program = Program::of_raster(path(&dots), Marking::Dots(&dots), Vec::new());
        program.closing.footer.push("G2X1Y1I1".into());
        let e = write(&program, &ReplayOptions::of(&program), &mut Vec::new(), &Silent).unwrap_err();
        assert!(e.to_string().contains("arcs"), "{e}");
    }

    #[test]
    fn a_full_disk_ends_the_reading_too() {
        struct Full;
        impl Write for Full {
            fn write(&mut self, _: &[u8]) -> io::Result<usize> {
                Err(io::ErrorKind::StorageFull.into())
            }
            fn flush(&mut self) -> io::Result<()> {
                Ok(())
            }
        }
        let dots = pattern();
        let program = Program::of_raster(path(&dots), Marking::Dots(&dots), Vec::new());
        let e = write(&program, &ReplayOptions::of(&program), &mut Full, &Silent).unwrap_err();
        assert!(
            matches!(e, ReadBackError::Unwritten(Unwritten::Io(ref e)) if e.kind() == io::ErrorKind::StorageFull),
            "{e}"
        );
    }
}
