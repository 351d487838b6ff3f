//! The limits: what the machine can do and how its controller wants to be spoken to, as plain numbers.

use super::axis::{Axis, PathPace, Speech};
use super::preset;
use crate::blank::{Blank, Mantle};
use crate::placement::Along;
use crate::texts::text;

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

/// The machine's numbers. All are resolved; ranges are those of [`Limits::check`].
#[derive(Debug, Clone, PartialEq)]
pub struct Limits {
    /// The axis from left to right. Plainly its zero lies at the blank's left edge.
    pub x: Axis,
    /// The axis from near to far. Plainly its zero lies at the blank's lower edge.
    pub y: Axis,
    /// Where the blank's lower left corner lies on the bed, mm from the bed's lower left corner, -10000 to
    /// 10000. `None` (the default): unknown, the blank is taken to lie in the middle.
    pub on_bed: Option<(f64, f64)>,
    /// The S word that means full power, 1 to 100000. Default 1000.
    pub full_scale_s: u32,
    /// What the controller does with power when the speed changes. Default constant.
    pub power_mode: PowerMode,
    /// Whether an S word may change the power inside a moving G1 chain without a stop. Default true;
    /// otherwise the beam is switched by M3 and M5 with the head at rest.
    pub power_in_motion: bool,
    /// Lines put before everything else, as the controller needs them: modes and dwell, see
    /// [`super::preset`]. Default none.
    pub header: Vec<String>,
    /// Lines put before the program's end, after the beam is off; modes and dwell too. Default none.
    pub footer: Vec<String>,
    /// Bytes a second that the link to the controller carries; `None` where the program is run from
    /// the controller's own store. A serial line of 115200 baud, 8N1, carries 11520.
    pub link_bytes_per_s: Option<f64>,
    /// Bytes the controller holds ahead of the move it runs. Default 128 (assumed).
    pub link_buffer_bytes: f64,
    /// Moves that the controller looks ahead beyond the one it runs, so that it goes through the joints of a
    /// straight line without a stop and brakes in time, 1 to 10000 (common practice: 15 on small controllers).
    /// `None` (the default): not known, and the head is never asked to change its speed within a line.
    pub plans_ahead: Option<u32>,
    /// Moves a second that the controller takes in, 1 to 1000000; `None` (the default): not known, no limit.
    pub moves_per_s: Option<f64>,
    /// Run-up beyond `v²/(2a)`, mm, 0 to 100: where a head that turned round takes up the play of its drive and
    /// where its swing dies away. Default 0.1 (assumed; both are measured on no machine): a belt's play, about a beam's
    /// width. An axis of natural frequency `f` that stops speeding up swings by `a/(2πf)²` (the static deflection
    /// under the acceleration that ends), 0.014 mm at 500 mm/s² and 30 Hz, a sixth of a beam.
    pub settle: f64,
    /// Way before each mark in which the head already goes at the marking speed after it hurried across a gap,
    /// mm, 0 to 100. Default 0.
    pub gap_settle: f64,
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
            x: Axis::new(b'X'),
            y: Axis::new(b'Y'),
            on_bed: None,
            full_scale_s: 1000,
            power_mode: PowerMode::Constant,
            power_in_motion: true,
            header: Vec::new(),
            footer: Vec::new(),
            link_bytes_per_s: Some(11520.0),
            link_buffer_bytes: 128.0,
            plans_ahead: None,
            moves_per_s: None,
            settle: 0.1,
            gap_settle: 0.0,
            lag: BeamLag::Mm(0.0),
            pointer: None,
        }
    }
}

impl LimitsError {
    /// The same of what lies on a tray, which is taken for one blank.
    pub fn of_tray(self) -> LimitsError {
        match self {
            LimitsError::BedTooSmall { blank, bed } => LimitsError::TrayTooLarge { tray: blank, bed },
            other => other,
        }
    }
}

/// Why a machine, or what is asked of it, cannot be.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum LimitsError {
    /// A number outside its range.
    #[error("{}", text!("scan.range", number = .key, value = .value, range = .range))]
    Range {
        /// What it is a number of, in a word or two.
        key: &'static str,
        /// The value with its unit.
        value: String,
        /// The range in words.
        range: String,
    },
    /// The blank does not fit the bed.
    #[error("{}", text!("scan.bed.blank", blank = .blank, bed = .bed))]
    BedTooSmall {
        /// Size of the blank.
        blank: String,
        /// Size of the bed.
        bed: String,
    },
    /// A tray does not fit the bed.
    #[error("{}", text!("scan.bed.tray", tray = .tray, bed = .bed))]
    TrayTooLarge {
        /// Size of the tray.
        tray: String,
        /// Size of the bed.
        bed: String,
    },
    /// A header or footer line that may not stand there.
    #[error("{}", text!("scan.preset.line", key = .key, line = .line, why = .why))]
    Line {
        /// `header` or `footer`.
        key: &'static str,
        /// The line, shortened.
        line: String,
        /// What is wrong and what to do.
        why: String,
    },
}

pub(super) fn within(
    key: &'static str,
    value: f64,
    unit: &str,
    low: f64,
    high: f64,
) -> Result<(), LimitsError> {
    if value.is_finite() && (low..=high).contains(&value) {
        return Ok(());
    }
    Err(LimitsError::Range {
        key,
        value: format!("{value}{unit}"),
        range: text!("scan.range.from-to", low, unit, high),
    })
}

impl Limits {
    /// Refuses numbers that no machine has, naming the key, and a bed smaller than the blank.
    ///
    /// # Errors
    /// The first key whose value is out of range.
    pub fn check(&self, blank: Option<&Blank>) -> Result<(), LimitsError> {
        self.x.check(&[
            text!("scan.number.bed-width"),
            text!("scan.number.acceleration"),
            text!("scan.number.top-speed"),
            text!("scan.number.rapid-speed"),
            text!("scan.number.steps-x"),
            text!("scan.number.zero-x"),
        ])?;
        self.y.check(&[
            text!("scan.number.bed-height"),
            text!("scan.number.acceleration-y"),
            text!("scan.number.top-speed-y"),
            text!("scan.number.rapid-speed-y"),
            text!("scan.number.steps-y"),
            text!("scan.number.zero-y"),
        ])?;
        within(text!("scan.number.full-scale"), f64::from(self.full_scale_s), "", 1.0, 100_000.0)?;
        within(text!("scan.number.settle"), self.settle, "mm", 0.0, 100.0)?;
        within(text!("scan.number.gap-settle"), self.gap_settle, "mm", 0.0, 100.0)?;
        within(text!("scan.number.link-buffer"), self.link_buffer_bytes, " bytes", 0.0, 1e9)?;
        if let Some(moves) = self.plans_ahead {
            within(text!("scan.number.ahead"), f64::from(moves), "", 1.0, 10_000.0)?;
        }
        if let Some(moves) = self.moves_per_s {
            within(text!("scan.number.moves"), moves, "", 1.0, 1e6)?;
        }
        if let Some(rate) = self.link_bytes_per_s {
            within(text!("scan.number.link-speed"), rate, " bytes/s", 10.0, 1e10)?;
        }
        match self.lag {
            BeamLag::Mm(mm) => within(text!("scan.number.lag"), mm, "mm", -5.0, 5.0)?,
            BeamLag::Seconds(s) => within(text!("scan.number.lag"), s * 1000.0, "ms", -50.0, 50.0)?,
        }
        if let Some(p) = self.pointer {
            within(text!("scan.number.pointer"), p * 100.0, "%", 0.0, 5.0)?;
        }
        if let Some((x, y)) = self.on_bed {
            within(text!("scan.number.place-x"), x, "mm", -10_000.0, 10_000.0)?;
            within(text!("scan.number.place-y"), y, "mm", -10_000.0, 10_000.0)?;
        }
        for (key, lines) in [("header", &self.header), ("footer", &self.footer)] {
            for line in lines {
                preset::check(key, line)?;
            }
        }
        match blank {
            Some(b) if b.shape.width() > self.x.travel || b.shape.height() > self.y.travel => {
                Err(LimitsError::BedTooSmall {
                    blank: format!("{} x {} mm", b.shape.width(), b.shape.height()),
                    bed: format!("{} x {} mm", self.x.travel, self.y.travel),
                })
            }
            _ => Ok(()),
        }
    }

    /// The axis that lines run along, and the one across them.
    pub fn axes(&self, along: Along) -> (&Axis, &Axis) {
        match along {
            Along::X => (&self.x, &self.y),
            Along::Y => (&self.y, &self.x),
        }
    }

    /// How fast a straight move may be that goes so far along x and y.
    pub fn pace(&self, dx: f64, dy: f64) -> PathPace {
        PathPace::along(&self.x, &self.y, (dx, dy))
    }

    /// How long a rapid takes that goes so far along x and y, from rest to rest, s.
    pub(super) fn rapid_seconds(&self, dx: f64, dy: f64) -> f64 {
        let pace = self.pace(dx, dy);
        super::motion::rest_to_rest(libm::hypot(dx, dy), pace.rapid_speed, pace.acceleration)
    }

    /// The cone that a rotary turns, where it does: the same turn is then another place on another line.
    pub(super) fn cone(&self) -> Option<Mantle> {
        [&self.x, &self.y].into_iter().find_map(|axis| axis.turns.filter(Mantle::is_cone))
    }

    /// How the two axes say a place, µm of the program.
    pub(super) fn speeches(&self, (x, y): (i32, i32)) -> (Speech, Speech) {
        let on_blank = |axis: &Axis, um: i32| axis.to_blank(f64::from(um) / 1000.0);
        (self.x.speech(on_blank(&self.y, y)), self.y.speech(on_blank(&self.x, x)))
    }

    /// Program coordinates of a point of the blank (mm to the right of and above its lower left corner).
    pub fn to_program(&self, (x, y): (f64, f64)) -> (f64, f64) {
        (self.x.to_program(x), self.y.to_program(y))
    }

    /// The point of the blank (mm to the right of and above its lower left corner) at program coordinates.
    pub fn to_blank(&self, (x, y): (f64, f64)) -> (f64, f64) {
        (self.x.to_blank(x), self.y.to_blank(y))
    }

    /// The least run-up along an axis for `speed` mm/s: `v²/(2a)` and the settle length, mm.
    pub fn run_up(&self, along: Along, speed: f64) -> f64 {
        super::motion::ramp_mm(speed, self.axes(along).0.acceleration) + self.settle
    }

    /// Whether the controller joins moves whose power differs without a stop.
    pub(super) fn plans_in_motion(&self) -> bool {
        self.plans_ahead.is_some() && self.power_in_motion
    }

    /// Run-up and run-out of a line at `speed` mm/s, mm; `asked` is a run-up that was asked for.
    pub(super) fn ways(&self, along: Along, speed: f64, asked: Option<f64>) -> (f64, f64) {
        let shift = self.lag.shift(speed);
        let planned = self.plans_in_motion();
        // Where power cannot change in motion, every run starts and ends at rest, on its own edges.
        let run_up = match asked {
            _ if !self.power_in_motion => 0.0,
            Some(mm) => mm,
            // An early beam is on before its mark's coordinate.
            None if planned => self.run_up(along, speed) + (-shift).max(0.0),
            None => self.run_up(along, speed),
        };
        // The head's swing dies away before a mark, not behind it; a late beam is still on there.
        let run_out = match asked {
            None if planned => {
                super::motion::ramp_mm(speed, self.axes(along).0.acceleration) + shift.max(0.0)
            }
            _ => run_up,
        };
        (run_up, run_out)
    }

    /// How long a line takes that is marked over `length` mm at `speed` mm/s, and the way from there to the next, `pitch` mm
    /// on, which runs back, s.
    pub fn line_seconds(&self, along: Along, speed: f64, (length, pitch): (f64, f64)) -> (f64, f64) {
        let (run_up, run_out) = self.ways(along, speed, None);
        let acceleration = self.axes(along).0.acceleration;
        let line = super::motion::rest_to_rest(run_up + length + run_out, speed, acceleration);
        let (dx, dy) = along.swap((run_up - run_out, pitch));
        (line, self.rapid_seconds(dx, dy))
    }

    /// The bed in words; with a rotary, which ends nowhere, the way of the head along the piece.
    pub fn bed(&self) -> String {
        let mm = |v: f64| crate::units::short(v, 1);
        match (self.x.turns, self.y.turns) {
            (None, None) => text!("scan.bed.size", width = mm(self.x.travel), height = mm(self.y.travel)),
            (Some(_), _) => text!("scan.bed.way", length = mm(self.y.travel)),
            (None, Some(_)) => text!("scan.bed.way", length = mm(self.x.travel)),
        }
    }

    /// Where the blank's lower left corner lies on the bed, mm: as stated, else in the middle.
    pub fn blank_on_bed(&self, blank: &Blank) -> (f64, f64) {
        self.on_bed.unwrap_or((
            (self.x.travel - blank.shape.width()) / 2.0,
            (self.y.travel - blank.shape.height()) / 2.0,
        ))
    }

    /// How far moves leave the bed, mm, 0 where they do not. `reach` is left, bottom, right and top of all
    /// of them, mm of the program. Where neither the machine nor a blank says where the program's zero lies,
    /// only the size of the path counts.
    pub fn off_bed(&self, blank: Option<&Blank>, reach: [f64; 4]) -> f64 {
        let (a, b) = (self.to_blank((reach[0], reach[1])), self.to_blank((reach[2], reach[3])));
        let (low, high) = ((a.0.min(b.0), a.1.min(b.1)), (a.0.max(b.0), a.1.max(b.1)));
        let (width, height) = (self.x.travel, self.y.travel);
        let at = match (self.on_bed, blank) {
            (Some(at), _) => at,
            (None, Some(blank)) => self.blank_on_bed(blank),
            (None, None) => ((width - high.0 - low.0) / 2.0, (height - high.1 - low.1) / 2.0),
        };
        [-(low.0 + at.0), -(low.1 + at.1), high.0 + at.0 - width, high.1 + at.1 - height]
            .into_iter()
            // A thousandth of a millimetre is rounding.
            .fold(0.0, |most, over| if over > 0.001 { f64::max(most, over) } else { most })
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
        let slow = |acceleration| Limits { y: Axis { acceleration, ..ok.y }, ..ok.clone() };
        let cases = [
            (Limits { full_scale_s: 0, ..ok.clone() }, "full-scale S is 0"),
            (slow(0.0), "acceleration along y is 0mm/s2"),
            (slow(f64::NAN), "acceleration"),
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
        let limits = Limits { x: Axis { travel: 90.0, ..Axis::new(b'X') }, ..Limits::default() };
        let e = limits.check(Some(&blank)).unwrap_err().to_string();
        assert!(e.contains("100 x 60 mm") && e.contains("90 x 400 mm"), "{e}");
    }

    #[test]
    fn the_bed_is_left_where_the_machine_says_it_ends() {
        let mut limits = Limits::default();
        (limits.x.travel, limits.y.travel) = (100.0, 100.0);
        let blank = Blank { shape: "rect:90x90mm".parse().unwrap(), margin: Mm(1.0) };
        assert_eq!(limits.off_bed(Some(&blank), [-5.0, 0.0, 95.0, 90.0]), 0.0);
        assert_eq!(limits.off_bed(Some(&blank), [-6.5, 0.0, 95.0, 90.0]), 1.5);
        limits.on_bed = Some((2.0, 5.0));
        assert_eq!(limits.off_bed(Some(&blank), [-5.0, 0.0, 95.0, 90.0]), 3.0);
        limits.x.backwards = true;
        assert_eq!(limits.off_bed(Some(&blank), [-99.0, 0.0, 0.0, 90.0]), 1.0);
    }

    #[test]
    fn the_lag_in_time_shifts_by_speed() {
        // check value M08 (computed): neighbours come apart by 2 v tau = 0.025 and 0.2 mm.
        for (v, apart) in [(12.5, 0.025), (100.0, 0.2)] {
            assert!((2.0 * BeamLag::Seconds(0.001).shift(v) - apart).abs() < 1e-12);
        }
    }
}
