//! The limits: what the machine can do and how its controller wants to be spoken to, as plain numbers.

use crate::blank::Blank;

/// How the controller turns the S word into light (controller practice, in no standard).
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum PowerMode {
    /// `M3`: the power stays as S says, whatever the speed.
    Constant,
    /// `M4`: the controller scales the power with the true speed, so the dose holds while the head slows.
    SpeedScaled,
}

/// How late the beam follows the head. A late beam shifts every line along its own motion; lines of
/// opposite directions come apart by twice that (check value M08: `2 v tau`).
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum BeamLag {
    /// Marks land this many mm further along the motion than programmed: half of what neighbouring
    /// lines come apart. Holds for the speed it was measured at.
    Mm(f64),
    /// The beam follows this many seconds late; the shift is `v tau` at any speed.
    Seconds(f64),
}

impl BeamLag {
    /// The shift along the motion at `speed` mm/s, mm.
    pub fn shift(self, speed: f64) -> f64 {
        match self {
            BeamLag::Mm(mm) => mm,
            BeamLag::Seconds(s) => s * speed,
        }
    }
}

/// How the program's axes lie. The plain frame has its zero at the blank's lower left corner, X to the
/// right and Y up.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Frame {
    /// Where the program's zero lies, mm to the right of and above the blank's lower left corner. Default 0, 0.
    pub zero: (f64, f64),
    /// X grows to the left. Default false.
    pub x_left: bool,
    /// Y grows downwards, towards the maker. Default false.
    pub y_down: bool,
    /// Where the blank's lower left corner lies on the bed, mm from the bed's lower left corner.
    /// `None` (the default): unknown, the blank is taken to lie in the middle.
    pub on_bed: Option<(f64, f64)>,
}

impl Frame {
    /// Program coordinates of a point of the blank (mm to the right of and above its lower left corner).
    pub fn to_program(&self, (x, y): (f64, f64)) -> (f64, f64) {
        let flip = |v: f64, f: bool| if f { -v } else { v };
        (flip(x - self.zero.0, self.x_left), flip(y - self.zero.1, self.y_down))
    }

    /// The point of the blank (mm to the right of and above its lower left corner) at program coordinates.
    pub fn to_blank(&self, (x, y): (f64, f64)) -> (f64, f64) {
        let flip = |v: f64, f: bool| if f { -v } else { v };
        (flip(x, self.x_left) + self.zero.0, flip(y, self.y_down) + self.zero.1)
    }
}

/// The machine's numbers. All are resolved; ranges are those of [`Limits::check`].
#[derive(Debug, Clone, PartialEq)]
pub struct Limits {
    /// Size of the bed along x, mm, 10 to 10000.
    pub bed_width: f64,
    /// Size of the bed along y, mm, 10 to 10000.
    pub bed_height: f64,
    /// Acceleration along a line and at turns, mm/s², 1 to 100000. Default 500.
    pub acceleration: f64,
    /// Highest speed of a marking move, mm/s, 0.1 to 10000.
    pub top_speed: f64,
    /// Speed of a rapid, mm/s, 0.1 to 10000.
    pub rapid_speed: f64,
    /// Motor steps a mm along x and y, above 0.
    pub steps_per_mm: (f64, f64),
    /// The S word that means full power, 1 to 100000. Default 1000.
    pub full_scale_s: u32,
    /// What the controller does with power when the speed changes. Default constant.
    pub power_mode: PowerMode,
    /// Whether an S word may change the power inside a moving G1 chain without a stop. Default true;
    /// otherwise the beam is switched by M3 and M5 with the head at rest.
    pub power_in_motion: bool,
    /// Lines put before everything else, as the controller needs them. Default none.
    pub header: Vec<String>,
    /// Lines put before the program's end, after the beam is off. Default none.
    pub footer: Vec<String>,
    /// How the program's axes lie.
    pub frame: Frame,
    /// Bytes a second that the link to the controller carries; `None` where the program is run from
    /// the controller's own store. A serial line of 115200 baud, 8N1, carries 11520.
    pub link_bytes_per_s: Option<f64>,
    /// Bytes the controller holds ahead of the move it runs. Default 128 (assumed).
    pub link_buffer_bytes: f64,
    /// Run-up beyond `v²/(2a)` in which the head's swing dies away, mm, 0 to 100. Default 0.5 (assumed).
    pub settle: f64,
    /// How late the beam follows the head. Default 0.
    pub lag: BeamLag,
    /// Power safe to show the outline with, as a share of full power, 0 to 0.05. `None` (the default):
    /// the beam stays off while the outline is walked.
    pub pointer: Option<f64>,
}

impl Default for Limits {
    /// A small frame of 400 x 400 mm with a serial link: assumed values.
    fn default() -> Self {
        Limits {
            bed_width: 400.0,
            bed_height: 400.0,
            acceleration: 500.0,
            top_speed: 150.0,
            rapid_speed: 150.0,
            steps_per_mm: (80.0, 80.0),
            full_scale_s: 1000,
            power_mode: PowerMode::Constant,
            power_in_motion: true,
            header: Vec::new(),
            footer: Vec::new(),
            frame: Frame::default(),
            link_bytes_per_s: Some(11520.0),
            link_buffer_bytes: 128.0,
            settle: 0.5,
            lag: BeamLag::Mm(0.0),
            pointer: None,
        }
    }
}

/// Why a machine, or what is asked of it, cannot be.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum LimitsError {
    /// A number outside its range.
    #[error("{key} is {value}; it must be {range}")]
    Range {
        /// The key in the machine file or the option.
        key: &'static str,
        /// The value with its unit.
        value: String,
        /// The range in words.
        range: String,
    },
    /// The blank does not fit the bed.
    #[error(
        "the blank is {blank} but the bed is {bed}; use a smaller blank or correct bed in the machine file"
    )]
    BedTooSmall {
        /// Size of the blank.
        blank: String,
        /// Size of the bed.
        bed: String,
    },
    /// A header or footer line that no controller could read.
    #[error("{key} line '{line}' {why}")]
    Line {
        /// `header` or `footer`.
        key: &'static str,
        /// The line, shortened.
        line: String,
        /// What is wrong and what to do.
        why: &'static str,
    },
}

fn within(key: &'static str, value: f64, unit: &str, low: f64, high: f64) -> Result<(), LimitsError> {
    if value.is_finite() && (low..=high).contains(&value) {
        return Ok(());
    }
    Err(LimitsError::Range {
        key,
        value: format!("{value}{unit}"),
        range: format!("from {low}{unit} to {high}{unit}"),
    })
}

impl Limits {
    /// Refuses numbers that no machine has, naming the key, and a bed smaller than the blank.
    ///
    /// # Errors
    /// The first key whose value is out of range.
    pub fn check(&self, blank: Option<&Blank>) -> Result<(), LimitsError> {
        within("bed width", self.bed_width, "mm", 10.0, 10_000.0)?;
        within("bed height", self.bed_height, "mm", 10.0, 10_000.0)?;
        within("acceleration", self.acceleration, "mm/s2", 1.0, 100_000.0)?;
        within("top speed", self.top_speed, "mm/s", 0.1, 10_000.0)?;
        within("rapid speed", self.rapid_speed, "mm/s", 0.1, 10_000.0)?;
        within("steps per mm along x", self.steps_per_mm.0, "", 0.1, 100_000.0)?;
        within("steps per mm along y", self.steps_per_mm.1, "", 0.1, 100_000.0)?;
        within("full-scale S", f64::from(self.full_scale_s), "", 1.0, 100_000.0)?;
        within("settle length", self.settle, "mm", 0.0, 100.0)?;
        within("link buffer", self.link_buffer_bytes, " bytes", 0.0, 1e9)?;
        if let Some(rate) = self.link_bytes_per_s {
            within("link speed", rate, " bytes/s", 10.0, 1e10)?;
        }
        match self.lag {
            BeamLag::Mm(mm) => within("lag", mm, "mm", -5.0, 5.0)?,
            BeamLag::Seconds(s) => within("lag", s * 1000.0, "ms", -50.0, 50.0)?,
        }
        if let Some(p) = self.pointer {
            within("pointer power", p * 100.0, "%", 0.0, 5.0)?;
        }
        for (key, v) in [("zero along x", self.frame.zero.0), ("zero along y", self.frame.zero.1)] {
            within(key, v, "mm", -10_000.0, 10_000.0)?;
        }
        if let Some((x, y)) = self.frame.on_bed {
            within("place on the bed along x", x, "mm", -10_000.0, 10_000.0)?;
            within("place on the bed along y", y, "mm", -10_000.0, 10_000.0)?;
        }
        for (key, lines) in [("header", &self.header), ("footer", &self.footer)] {
            for line in lines {
                check_line(key, line)?;
            }
        }
        match blank {
            Some(b) if b.shape.width() > self.bed_width || b.shape.height() > self.bed_height => {
                Err(LimitsError::BedTooSmall {
                    blank: format!("{} x {} mm", b.shape.width(), b.shape.height()),
                    bed: format!("{} x {} mm", self.bed_width, self.bed_height),
                })
            }
            _ => Ok(()),
        }
    }

    /// The least run-up for `speed` mm/s: `v²/(2a)` and the settle length, mm.
    pub fn run_up(&self, speed: f64) -> f64 {
        super::motion::ramp_mm(speed, self.acceleration) + self.settle
    }

    /// Where the blank's lower left corner lies on the bed, mm: as stated, else in the middle.
    pub fn blank_on_bed(&self, blank: &Blank) -> (f64, f64) {
        self.frame.on_bed.unwrap_or((
            (self.bed_width - blank.shape.width()) / 2.0,
            (self.bed_height - blank.shape.height()) / 2.0,
        ))
    }
}

/// 256 characters are the standard's limit (check value G01); one is kept for the line's end.
fn check_line(key: &'static str, line: &str) -> Result<(), LimitsError> {
    let shown = || line.chars().take(40).collect::<String>();
    let fail = |why| Err(LimitsError::Line { key, line: shown(), why });
    if line.len() > 255 {
        fail("is longer than 255 characters; shorten it")
    } else if !line.bytes().all(|b| (0x20..0x7F).contains(&b) || b == b'\t') {
        fail("holds characters that are not plain ASCII on one line; take them out")
    } else {
        let unpaired = line.bytes().try_fold(0i32, |depth, b| match b {
            b'(' if depth == 0 => Some(1),
            b')' if depth == 1 => Some(0),
            b'(' | b')' => None,
            _ => Some(depth),
        });
        if unpaired == Some(0) { Ok(()) } else { fail("has unpaired parentheses; close each comment once") }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::Mm;

    #[test]
    fn absurd_machines_are_refused_by_the_name_of_the_key() {
        let ok = Limits::default();
        ok.check(None).unwrap();
        let cases = [
            (Limits { full_scale_s: 0, ..ok.clone() }, "full-scale S is 0"),
            (Limits { acceleration: 0.0, ..ok.clone() }, "acceleration is 0mm/s2"),
            (Limits { acceleration: f64::NAN, ..ok.clone() }, "acceleration"),
            (Limits { link_bytes_per_s: Some(0.0), ..ok.clone() }, "link speed"),
            (Limits { pointer: Some(0.5), ..ok.clone() }, "pointer power is 50%"),
            (Limits { header: vec!["a".repeat(256)], ..ok.clone() }, "longer than 255"),
            (Limits { footer: vec!["(a (b))".into()], ..ok.clone() }, "unpaired"),
            (Limits { header: vec!["G21\nM3".into()], ..ok.clone() }, "not plain ASCII"),
        ];
        for (limits, said) in cases {
            let e = limits.check(None).unwrap_err().to_string();
            assert!(e.contains(said), "{e}");
        }
    }

    #[test]
    fn a_bed_smaller_than_the_blank_is_refused() {
        let blank = Blank { shape: "rect:100x60mm".parse().unwrap(), margin: Mm(2.0) };
        let limits = Limits { bed_width: 90.0, ..Limits::default() };
        let e = limits.check(Some(&blank)).unwrap_err().to_string();
        assert!(e.contains("100 x 60 mm") && e.contains("90 x 400 mm"), "{e}");
    }

    #[test]
    fn a_frame_is_undone_exactly() {
        let f = Frame { zero: (10.0, -3.0), x_left: true, y_down: true, on_bed: None };
        assert_eq!(f.to_blank(f.to_program((12.5, 7.25))), (12.5, 7.25));
        assert_eq!(Frame::default().to_program((1.0, 2.0)), (1.0, 2.0));
    }

    #[test]
    fn the_lag_in_time_shifts_by_speed() {
        // check value M08 (computed): neighbours come apart by 2 v tau = 0.025 and 0.2 mm.
        for (v, apart) in [(12.5, 0.025), (100.0, 0.2)] {
            assert!((2.0 * BeamLag::Seconds(0.001).shift(v) - apart).abs() < 1e-12);
        }
    }
}
