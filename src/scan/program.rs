//! The scan program: an opening, parts, a closing; written as RS-274 words into any `Write`.
//!
//! Words are those of NISTIR 6556 (RS274/NGC, Kramer, Proctor and Messina 2000): at most 256 characters
//! a line, no exponents, comments in parentheses that are never nested. That S sets optical power, that
//! it may change inside a G1 chain, and M4 as speed-scaled power are controller practice, in no standard.
//!
//! Modal words are written when they change; coordinates are absolute, so rounding never adds up.

use std::io::{self, Write};

pub use super::comments::Notes;
use super::estimate::{Estimate, Estimator};
use super::limits::{Limits, PowerMode};
use super::lines::{Marking, ScanLines};
use super::load::Load;
use super::preset;
use super::raster::RasterPath;
use super::toolpath::{Moves, Toolpath};
use super::writer::Writer;
use crate::progress::{Progress, Stopped};

/// All modes stated, beam off (check value G16: defaults are not relied on).
const MODES: &str = "G21G90G94G17M5S0";
/// Beam off.
const OFF: &str = "M5S0";
/// End of the program.
const END: &str = "M2";

/// A program: what comes before, the parts one after the other, what comes after. It begins by stating
/// all modes with the beam off, and ends with the beam off at the program's zero.
#[derive(Debug, Clone)]
pub struct Program<'a> {
    /// The machine.
    pub limits: Limits,
    /// What comes before the first move.
    pub opening: Preamble,
    /// What is done, in order.
    pub parts: Vec<Toolpath<'a>>,
    /// What comes after the last move.
    pub closing: Closing,
}

/// Comments, the machine's own lines, then the modes. The machine's lines come first, so that nothing
/// in them can change a mode that is stated.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Preamble {
    /// Comment lines, with their parentheses.
    pub comments: Vec<String>,
    /// The machine's header.
    pub header: Vec<String>,
}

/// Beam off, back to the program's zero, the machine's own lines, beam off again, end.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Closing {
    /// The machine's footer.
    pub footer: Vec<String>,
}

/// What a program comes to.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Cost {
    /// Time, travel, extents.
    pub estimate: Estimate,
    /// Size of the program.
    pub bytes: u64,
    /// Lines of the program, comments included.
    pub program_lines: u64,
    /// The densest stretch.
    pub load: Load,
}

/// Why a program is not written to its end.
#[derive(Debug, thiserror::Error)]
pub enum Unwritten {
    /// The place it is written to failed.
    #[error(transparent)]
    Io(#[from] io::Error),
    /// The person asked to stop.
    #[error(transparent)]
    Stopped(#[from] Stopped),
}

impl<'a> Program<'a> {
    /// The program of `parts` on a machine; `comments` are whole comment lines.
    pub fn new(limits: &Limits, comments: Vec<String>, parts: Vec<Toolpath<'a>>) -> Self {
        Program {
            limits: limits.clone(),
            opening: Preamble { comments, header: limits.header.clone() },
            parts,
            closing: Closing { footer: limits.footer.clone() },
        }
    }

    /// The program that marks one raster.
    pub fn of_raster(path: RasterPath, marking: Marking<'a>, comments: Vec<String>) -> Self {
        let limits = path.limits.clone();
        Program::new(&limits, comments, vec![Toolpath::raster(path, marking)])
    }

    /// Writes the program to `out` and flushes it. Counts the lines of dots as steps of `progress`.
    ///
    /// Memory: 256 KiB and one line of runs, whatever the size of what is marked.
    ///
    /// # Errors
    /// Those of `out`, or [`Stopped`]; what is already written is then not a program, and is the caller's
    /// to remove.
    pub fn write(&self, out: &mut impl Write, progress: &dyn Progress) -> Result<Cost, Unwritten> {
        let mut w = Writer::new(&self.limits, out);
        let mut estimator = Estimator::new(&self.limits);
        estimator.dwell(self.dwell_s());
        self.open(&mut w)?;
        let mut beam_off = true;
        for (i, part) in self.parts.iter().enumerate() {
            estimator.part();
            w.part();
            if !beam_off {
                w.text(OFF)?;
            }
            match &part.moves {
                Moves::Raster(path, marking) => {
                    if i > 0 {
                        remark(&mut w, &part.remark)?;
                        w.text(MODES)?;
                    }
                    if path.limits.power_in_motion {
                        w.text(&format!("{}S0", on_word(&path.limits)))?;
                    }
                    let mut lines = ScanLines::new(path, *marking);
                    progress.expect(lines.count() * u64::from(path.scan.passes));
                    while let Some(line) = lines.next_line() {
                        estimator.line(path, &line);
                        w.line(path, &line)?;
                        progress.go_on(1)?;
                    }
                    beam_off = false;
                }
                Moves::Contour(contour) => {
                    remark(&mut w, &part.remark)?;
                    estimator.contour(contour);
                    w.contour(contour)?;
                    w.text(OFF)?;
                    beam_off = true;
                }
            }
        }
        self.close(&mut w)?;
        let (bytes, program_lines, load) = w.finish()?;
        Ok(Cost { estimate: estimator.finish(), bytes, program_lines, load })
    }

    /// The same as [`Program::write`], into nothing: how long, how large and how dense the program will be.
    ///
    /// # Errors
    /// [`Stopped`]; nothing is stored, so nothing else fails in practice.
    pub fn measure(&self, progress: &dyn Progress) -> Result<Cost, Unwritten> {
        self.write(&mut io::sink(), progress)
    }

    /// How long the machine's own lines dwell, s.
    pub(super) fn dwell_s(&self) -> f64 {
        self.opening.header.iter().chain(&self.closing.footer).map(|line| preset::dwell_s(line)).sum()
    }

    fn open<W: Write>(&self, w: &mut Writer<'_, W>) -> io::Result<()> {
        for line in &self.opening.comments {
            w.text(line)?;
        }
        // A raster begins with its modes; the first one's are the program's own.
        if let Some(Toolpath { remark: text, moves: Moves::Raster(..) }) = self.parts.first() {
            remark(w, text)?;
        }
        for line in &self.opening.header {
            w.text(line)?;
        }
        w.text(MODES)
    }

    fn close<W: Write>(&self, w: &mut Writer<'_, W>) -> io::Result<()> {
        w.text(OFF)?;
        let (x, y) = (char::from(self.limits.x.letter), char::from(self.limits.y.letter));
        w.text(&format!("G0{x}0{y}0"))?;
        if !self.closing.footer.is_empty() {
            for line in &self.closing.footer {
                w.text(line)?;
            }
            w.text(OFF)?;
        }
        w.text(END)
    }
}

/// The comment of a part.
fn remark<W: Write>(w: &mut Writer<'_, W>, text: &str) -> io::Result<()> {
    if text.is_empty() { Ok(()) } else { w.text(&format!("({text})")) }
}

/// The word that switches the beam on.
pub(super) fn on_word(limits: &Limits) -> &'static str {
    match limits.power_mode {
        PowerMode::Constant => "M3",
        PowerMode::SpeedScaled => "M4",
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::blank::Blank;
    use crate::placement::{Along, DotRect, Grid};
    use crate::plane::Dots;
    use crate::progress::Silent;
    use crate::scan::axis::Axis;
    use crate::scan::raster::Scan;
    use crate::scan::replay::{ReplayOptions, replay};
    use crate::units::Mm;

    fn place(limits: &Limits, scan: Scan, dots: &Dots) -> RasterPath {
        let blank = Blank { shape: "rect:50x40mm".parse().unwrap(), margin: Mm(1.0) };
        let grid = Grid { along: Mm(0.1), across: Mm(0.2) };
        let rect =
            DotRect { left: Mm(10.0), top: Mm(10.0), columns: dots.width(), rows: dots.height(), grid };
        RasterPath::new(limits, scan, rect, blank).unwrap()
    }

    fn program_of<'a>(path: RasterPath, dots: &'a Dots, notes: &Notes) -> Program<'a> {
        let comments = notes.of_raster(&path);
        Program::of_raster(path, Marking::Dots(dots), comments)
    }

    fn program(limits: &Limits, scan: Scan, dots: &Dots, notes: &Notes) -> (String, Cost) {
        let raster = place(limits, scan, dots);
        let mut out = Vec::new();
        let written = program_of(raster, dots, notes).write(&mut out, &Silent).unwrap();
        assert_eq!(written.bytes, out.len() as u64);
        let text = String::from_utf8(out).unwrap();
        assert_eq!(written.program_lines, text.lines().count() as u64);
        (text, written)
    }

    fn moves(text: &str) -> String {
        text.lines().filter(|l| !l.starts_with('(')).collect::<Vec<_>>().join(" ")
    }

    fn two_lines() -> Dots {
        let mut d = Dots::off(5, 2);
        for (x, y) in [(0, 0), (1, 0), (4, 0), (2, 1)] {
            d.set(x, y, true);
        }
        d
    }

    #[test]
    fn a_small_program_holds_exactly_the_words_it_needs() {
        let scan = Scan { run_up: Some(1.0), ..Scan::new(10.0, 0.8) };
        let (text, _) = program(&Limits::default(), scan, &two_lines(), &Notes::default());
        assert_eq!(
            moves(&text),
            "G21G90G94G17M5S0 M3S0 G0X9Y29.9 G1X10F600 X10.2S800 X10.4S0 X10.5S800 X11.5S0 \
             G0X11.3Y29.7 G1X10.3 X10.2S800 X9.2S0 M5S0 G0X0Y0 M2"
        );
    }

    #[test]
    fn without_a_run_up_the_beam_is_off_before_the_rapid() {
        let scan = Scan { run_up: Some(0.0), ..Scan::new(10.0, 0.8) };
        let (text, _) = program(&Limits::default(), scan, &two_lines(), &Notes::default());
        assert!(moves(&text).contains("G1X10.2S800F600 X10.4S0 X10.5S800 G0X10.3Y29.7S0 G1X10.2S800 M5S0"));
    }

    #[test]
    fn where_power_cannot_change_in_motion_the_beam_is_switched_at_rest() {
        let limits = Limits {
            power_in_motion: false,
            power_mode: PowerMode::SpeedScaled,
            header: vec!["G54".into()],
            footer: vec!["M9".into()],
            ..Limits::default()
        };
        let (text, _) = program(&limits, Scan::new(10.0, 0.8), &two_lines(), &Notes::default());
        assert_eq!(
            moves(&text),
            "G54 G21G90G94G17M5S0 G0X10Y29.9 M4S800 G1X10.2F600 M5 G0X10.4 M4S800 G1X10.5 M5 \
             G0X10.3Y29.7 M4S800 G1X10.2 M5 M5S0 G0X0Y0 M9 M5S0 M2"
        );
    }

    /// A piece 36 mm across in a rotary of 3600 steps a turn, whose words are degrees; the head follows X along it.
    /// By hand: a turn is 36 π mm, so a degree is π/10 mm and a step a tenth of a degree, 0.0314159 mm. Two steps are the
    /// pitch round the piece; along it the dots lie 0.1 mm apart, the upper edge of the first at 40 − 10 = 30 mm.
    fn turned(lines: Along, left: f64, columns: usize, rows: usize) -> RasterPath {
        use std::f64::consts::PI;
        let rotary = Axis {
            travel: 10_000.0,
            steps_per_mm: 100.0 / PI,
            units_per_mm: 10.0 / PI,
            turns: Some(crate::blank::Mantle { foot: Mm(36.0), top: Mm(36.0), height: Mm(40.0) }),
            ..Axis::new(b'A')
        };
        let limits = Limits { x: rotary, y: Axis::new(b'X'), ..Limits::default() };
        let blank = Blank { shape: "cylinder:36x40mm".parse().unwrap(), margin: Mm(0.5) };
        let grid = Grid { along: Mm(0.02 * PI), across: Mm(0.1) };
        let rect = DotRect { left: Mm(left), top: Mm(10.0), columns, rows, grid };
        // Nine tenths of a degree and a tenth: 30 steps or 3 degrees.
        let scan = Scan { along: lines, run_up: Some(0.3 * PI), ..Scan::new(10.0, 0.8) };
        RasterPath::new(&limits, scan, rect, blank).unwrap()
    }

    fn round(path: RasterPath, dots: &Dots) -> String {
        let program = program_of(path, dots, &Notes::default());
        let mut out = Vec::new();
        program.write(&mut out, &Silent).unwrap();
        let mut back = replay(&out[..], &ReplayOptions::of(&program)).unwrap();
        assert!(back.against(dots) && back.report.difference.as_ref().unwrap().same);
        assert_eq!((back.report.beam_on_outside_blank.count, back.report.beam_on_in_rapid.count), (0, 0));
        // The surface passes at the speed that was asked for, to what three decimals of the F word hold.
        assert!((back.report.highest_speed - 10.0).abs() < 1e-5);
        String::from_utf8(out).unwrap()
    }

    #[test]
    fn a_cylinder_is_marked_along_its_height_and_turned_between_lines() {
        let mut dots = Dots::off(2, 3);
        [(0, 0), (0, 1), (1, 2)].into_iter().for_each(|(x, y)| dots.set(x, y, true));
        // Wished at 0.6 mm, 9.55 pitches from the seam, the first line lies at the tenth: 20 steps, 2 degrees; the next
        // two steps on. The first goes down from 30 to 29.8 mm, the second, whose dot is the third, back up from 29.7.
        // The run-up of 0.3 π mm is 0.942 in whole micrometres.
        let text = round(turned(Along::Y, 0.6, 2, 3), &dots);
        assert_eq!(
            moves(&text),
            "G21G90G94G17M5S0 M3S0 G0X30.942A2 G1X30F600 X29.8S800 X28.858S0 \
             G0X28.758A2.2 G1X29.7 X29.8S800 X30.742S0 M5S0 G0A0X0 M2"
        );
        assert!(text.contains("(rotary: A turns x, a piece 36 mm across)"));
    }

    #[test]
    fn lines_round_a_cylinder_have_the_feed_of_its_surface() {
        let mut dots = Dots::off(3, 1);
        [0, 1].into_iter().for_each(|x| dots.set(x, 0, true));
        // Ten pitches from the seam: 2 degrees. Two dots are four steps, 0.4 degrees; run-up and run-out 3 degrees each.
        // The row's middle lies at 29.95 mm. 600 mm/min are 600 · 10/π = 1909.859 degrees a minute.
        let text = round(turned(Along::X, 0.2 * std::f64::consts::PI, 3, 1), &dots);
        assert_eq!(
            moves(&text),
            "G21G90G94G17M5S0 M3S0 G0A-1X29.95 G1A2F1909.859 A2.4S800 A5.4S0 M5S0 G0A0X0 M2"
        );
    }

    #[test]
    fn the_outline_of_a_cylinder_says_each_feed_in_the_units_of_its_axis() {
        let path = turned(Along::Y, 0.6, 100, 30);
        let walk = crate::scan::outline::program(&path.limits, &path.rect, &path.blank, "x");
        let mut out = Vec::new();
        walk.write(&mut out, &Silent).unwrap();
        let back = replay(&out[..], &ReplayOptions::of(&walk)).unwrap().report;
        assert!((back.highest_speed - 50.0).abs() < 1e-4, "{}", back.highest_speed);
        let text = String::from_utf8(out).unwrap();
        // 50 mm/s round it are 3000 · 10/π degrees a minute. 100 lines, from half a pitch before the tenth on, end at 21.9°.
        assert!(
            moves(&text).contains("G0A1.9X27 G1F9549.297A21.9 F3000X30 F9549.297A1.9 F3000X27 M5S0"),
            "{text}"
        );
    }

    #[test]
    fn dwells_of_header_and_footer_count_in_the_time_as_a_replay_finds_them() {
        let dots = two_lines();
        let limits =
            Limits { header: vec!["G4 P600".into()], footer: vec!["G4P2.5".into()], ..Limits::default() };
        let (text, w) = program(&limits, Scan::new(10.0, 0.8), &dots, &Notes::default());
        assert_eq!(w.estimate.times.dwell_s, 602.5);
        let found = replay(text.as_bytes(), &ReplayOptions::new(&limits)).unwrap().report.seconds;
        assert!((w.estimate.times.total() - found).abs() < 1e-6, "{:?} {found}", w.estimate.times);
        let path = place(&limits, Scan::new(10.0, 0.8), &dots);
        let of = Program::of_raster(path, Marking::Dots(&dots), Vec::new());
        assert_eq!(Estimate::new(&of), w.estimate);
    }

    #[test]
    fn long_blank_stretches_are_skipped_by_a_rapid() {
        let mut d = Dots::off(300, 1);
        d.set(0, 0, true);
        d.set(299, 0, true);
        let (text, w) = program(&Limits::default(), Scan::new(10.0, 1.0), &d, &Notes::default());
        assert!(moves(&text).contains("X10.1S1000 X10.3S0 G0X39.7 G1X39.9 X40S1000 X40.2S0"), "{text}");
        let scan = Scan { skip_blanks: false, ..Scan::new(10.0, 1.0) };
        let (slow, ws) = program(&Limits::default(), scan, &d, &Notes::default());
        assert!(moves(&slow).contains("X10.1S1000 X39.9S0 X40S1000"));
        assert!(w.estimate.times.total() < ws.estimate.times.total() - 1.0);
    }

    #[test]
    fn the_speed_that_a_link_feeds_agrees_with_the_check_values() {
        // check values M06, M07 (computed): 11520 bytes/s, lines of 10, 12, 16, 32 bytes a dot at 304 dpi.
        let pitch = 25.4 / 304.0;
        for (bytes, want) in [
            (10.0, 96.25263157894736),
            (12.0, 80.21052631578947),
            (16.0, 60.1578947368421),
            (32.0, 30.07894736842105),
        ] {
            assert!((crate::scan::load::fed_speed(11520.0, bytes / pitch) - want).abs() < 1e-9);
        }
        assert!((11520.0 / (12.5 / pitch) - 77.00210526315789).abs() < 1e-9);
    }

    #[test]
    fn the_load_is_that_of_the_densest_stretch() {
        // A line of single dots beside a line of one long run: the first decides.
        let mut d = Dots::off(400, 2);
        (0..400).for_each(|x| d.set(x, 1, true));
        (200..400).step_by(2).for_each(|x| d.set(x, 0, true));
        let (_, w) = program(&Limits::default(), Scan::new(10.0, 1.0), &d, &Notes::default());
        assert_eq!(w.load.bytes.line, 0);
        // "X30.1S1000" and "X30.2S0" with their line ends: 19 bytes for two dots of 0.1 mm, 17 where a gap ends on a whole
        // millimetre. A hundred dots and 99 gaps are 1854 bytes in 1.99 s, of which 128 come from the store.
        assert!((w.load.bytes.per_s - (1854.0 - 128.0) / 1.99).abs() < 1.0, "{:?}", w.load);
    }

    #[test]
    fn a_full_disk_is_reported_not_swallowed() {
        struct Full(usize);
        impl Write for Full {
            fn write(&mut self, b: &[u8]) -> io::Result<usize> {
                self.0 = self.0.checked_sub(b.len()).ok_or(io::ErrorKind::StorageFull)?;
                Ok(b.len())
            }
            fn flush(&mut self) -> io::Result<()> {
                Ok(())
            }
        }
        let raster = place(&Limits::default(), Scan::new(10.0, 1.0), &two_lines());
        let dots = two_lines();
        let program = program_of(raster, &dots, &Notes::default());
        let e = program.write(&mut Full(300), &Silent).unwrap_err();
        assert!(matches!(e, Unwritten::Io(e) if e.kind() == io::ErrorKind::StorageFull));
    }

    #[test]
    fn a_person_can_stop_the_writing() {
        struct Impatient;
        impl Progress for Impatient {
            fn stage(&self, _: &str, _: f64) {}
            fn expect(&self, _: u64) {}
            fn step(&self, _: u64) -> bool {
                false
            }
        }
        let dots = two_lines();
        let program =
            program_of(place(&Limits::default(), Scan::new(10.0, 1.0), &dots), &dots, &Notes::default());
        assert!(matches!(program.measure(&Impatient), Err(Unwritten::Stopped(_))));
    }
}
