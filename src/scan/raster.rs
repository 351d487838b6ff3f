//! The raster path: head, scan settings and dot rectangle settled into whole micrometres, once.

use std::sync::Arc;

use super::axis::{Axis, Speech, on_whole_lines};
use super::gaps::{Ask, Gaps};
use super::islands::{self, Stretch};
use super::limits::{Limits, LimitsError};
use super::lines::Marking;
use crate::blank::Blank;
use crate::placement::Along;
use crate::placement::DotRect;
use crate::texts::text;

/// The most that a run is shortened by at either end, as a share of the pitch: every dot's centre is still swept.
pub const MOST_TRIM: f64 = 0.4;

/// Whether lines are marked on the way back too.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Ways {
    /// There and back.
    #[default]
    Both,
    /// One direction only: no lag between neighbours, about twice the time.
    One,
    /// One direction only, against that of [`Ways::One`]: for combs that show the lag.
    Back,
}

/// How dots are scanned. All values are resolved.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Scan {
    /// Axis of the lines. Default x.
    pub along: Along,
    /// Both directions or one. Default both.
    pub ways: Ways,
    /// Scan speed, mm/s, above 0 and at most the machine's top speed.
    pub speed: f64,
    /// Power while a dot is on, as a share of full power, above 0 to 1.
    pub power: f64,
    /// Times the whole art is marked, 1 to 20. Default 1.
    pub passes: u32,
    /// Run-up before and after each line, mm; `None` (the default) takes `v²/(2a)` and the settle length, and
    /// after the line, where the controller plans ahead, no more than it takes to stop.
    pub run_up: Option<f64>,
    /// How much each run of dots is shortened at either end, mm, 0 and up; at most [`MOST_TRIM`] of the pitch is
    /// taken, so that every dot's centre is still swept. Default 0. With `π/8` of
    /// the beam's diameter a swept disc marks the area of its own dots.
    pub trim: f64,
    /// Rapids over blank stretches where that saves time. Default true.
    pub skip_blanks: bool,
    /// The head hurries across gaps between marks where the controller is known to plan ahead. Default true.
    pub hurry: bool,
}

impl Scan {
    /// The defaults at a speed (mm/s) and a power (share of full power).
    pub fn new(speed: f64, power: f64) -> Self {
        Scan {
            along: Along::X,
            ways: Ways::Both,
            speed,
            power,
            passes: 1,
            run_up: None,
            trim: 0.0,
            skip_blanks: true,
            hurry: true,
        }
    }
}

/// Edges between dots along an axis, in whole micrometres of the program: `(base + step i) / 2^32`.
///
/// Fixed point instead of floating point: exact for equal steps, and 1e5 dots on the error is still under
/// a hundred-thousandth of a micrometre.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Ruler {
    base: i64,
    step: i64,
}

impl Ruler {
    /// Edges from `start` on, `step` apart (mm of the blank), as the program counts along an axis.
    fn of(axis: &Axis, start: f64, step: f64) -> Self {
        let fixed = |mm: f64| (mm * 1000.0 * 4_294_967_296.0).round() as i64;
        let step = if axis.backwards { -step } else { step };
        Ruler { base: fixed(axis.to_program(start)) + (1 << 31), step: fixed(step) }
    }

    /// Position of edge `i`, whole micrometres, rounded to nearest.
    #[inline(always)]
    pub(crate) fn at(self, i: u32) -> i32 {
        ((self.base + self.step * i64::from(i)) >> 32) as i32
    }

    /// Position of the middle of dot `i`, whole micrometres.
    fn middle(self, i: u32) -> i32 {
        ((self.base + self.step * i64::from(i) + self.step / 2) >> 32) as i32
    }

    fn grows(self) -> bool {
        self.step > 0
    }
}

/// Everything that the lines, the program and the times need, settled. Lengths in whole micrometres
/// of the program's axes.
#[derive(Debug, Clone, PartialEq)]
pub struct RasterPath {
    /// The machine.
    pub limits: Limits,
    /// What was asked; the speed is that of the F word.
    pub scan: Scan,
    /// Where the dots lie; on whole steps of a rotary across the lines.
    pub rect: DotRect,
    /// The blank they lie on.
    pub blank: Blank,
    /// Lines of dots, marked or not.
    pub lines: u32,
    /// Dots a line.
    pub dots: u32,
    /// Run-up, µm.
    pub run_up: i32,
    /// Run-out, µm.
    pub run_out: i32,
    /// How blank stretches are crossed.
    pub gaps: Gaps,
    /// How far every line is shifted against its motion, µm.
    pub lag: i32,
    /// What each end of a run is shortened by, µm.
    pub trim: i32,
    /// The S word of a dot that is on.
    pub level: u32,
    /// The F word in thousandths of a mm/min.
    pub feed: i64,
    /// The order of its stretches, settled once for what it marks; `None`: line by line.
    pub(crate) order: Option<Arc<Vec<Stretch>>>,
    pub(crate) along: Ruler,
    across: Ruler,
}

impl RasterPath {
    /// Settles the scan of the dots in `rect` on `blank`.
    ///
    /// # Errors
    /// A number out of its range, a speed above the machine's, a bed smaller than the blank.
    pub fn new(
        limits: &Limits,
        mut scan: Scan,
        rect: DotRect,
        blank: Blank,
    ) -> Result<RasterPath, LimitsError> {
        limits.check(Some(&blank))?;
        let (axis, other) = limits.axes(scan.along);
        let rect = on_whole_lines(other, scan.along, rect, &blank);
        range(
            text!("scan.number.speed"),
            scan.speed,
            "mm/s",
            scan.speed >= 0.01 && scan.speed <= axis.top_speed,
            || text!("scan.range.speed", top = axis.top_speed),
        )?;
        // The speed that the F word can say: whole thousandths of a mm/min.
        let feed = (scan.speed * 60_000.0).round() as i64;
        scan.speed = feed as f64 / 60_000.0;
        range(
            text!("scan.number.power"),
            scan.power * 100.0,
            "%",
            scan.power > 0.0 && scan.power <= 1.0,
            || text!("scan.range.power").into(),
        )?;
        range(
            text!("scan.number.passes"),
            f64::from(scan.passes),
            "",
            (1..=20).contains(&scan.passes),
            || text!("scan.range.passes").into(),
        )?;
        range(text!("scan.number.trim"), scan.trim, "mm", (0.0..=5.0).contains(&scan.trim), || {
            text!("scan.range.trim").into()
        })?;
        let shift = limits.lag.shift(scan.speed);
        let planned = limits.plans_in_motion();
        let (run_up, run_out) = limits.ways(scan.along, scan.speed, scan.run_up);
        let up = |mm: f64| {
            if planned && scan.run_up.is_none() { (mm * 1000.0 - 1e-6).ceil() / 1000.0 } else { mm }
        };
        let (run_up, run_out) = (up(run_up), up(run_out));
        range(text!("scan.number.run-up"), run_up, "mm", (0.0..=2000.0).contains(&run_up), || {
            text!("scan.range.run-up").into()
        })?;
        let columns = Ruler::of(&limits.x, rect.left.0, rect.grid.along.0);
        let rows = Ruler::of(&limits.y, blank.shape.height() - rect.top.0, -rect.grid.across.0);
        let (across, down) = (rect.columns as u32, rect.rows as u32);
        let (along, across, lines, dots, pitch) = match scan.along {
            Along::X => (columns, rows, down, across, rect.grid.along.0),
            Along::Y => (rows, columns, across, down, rect.grid.across.0),
        };
        let sign = if along.grows() { 1.0 } else { -1.0 };
        // The lag counts along the line's own motion; it is taken up by programming against it.
        let lag = shift * sign;
        range(text!("scan.number.lag"), shift, "mm", lag.abs() <= 5.0, || text!("scan.range.lag").into())?;
        let gaps = if limits.power_in_motion {
            let (a, b) = (along.at(0), along.at(dots));
            let beyond = um(run_up.max(run_out) + shift.abs());
            Gaps::new(&Ask {
                limits,
                axis,
                speech: axis.speech(axis.turns.map_or(0.0, |mantle| mantle.narrow_end())),
                speed: scan.speed,
                feed,
                lag: shift,
                run_up,
                run_out,
                skips: scan.skip_blanks,
                hurries: scan.hurry,
                span: (a.min(b) - beyond, a.max(b) + beyond),
            })
        } else {
            Gaps::all_skipped()
        };
        Ok(RasterPath {
            limits: limits.clone(),
            scan,
            rect,
            blank,
            lines,
            dots,
            run_up: um(run_up),
            run_out: um(run_out),
            gaps,
            lag: um(lag),
            trim: um(scan.trim).min((1000.0 * MOST_TRIM * pitch - 0.5) as i32).max(0),
            level: ((scan.power * f64::from(limits.full_scale_s)).round() as u32).max(1),
            feed,
            order: None,
            along,
            across,
        })
    }

    /// The same with its lines in the order that takes the least time for `marking`: lines with wide gaps may be marked in
    /// stretches. That takes a walk over the dots; what is made of the path afterwards shares it.
    pub fn ordered(self, marking: Marking<'_>) -> RasterPath {
        let order = islands::order(&self, marking);
        RasterPath { order, ..self }
    }

    /// The same in the order of another path that marks the same dots, which may lie elsewhere or be scanned at another speed.
    pub fn ordered_as(self, other: &RasterPath) -> RasterPath {
        let same = self.scan.along == other.scan.along && self.scan.ways == other.scan.ways;
        let order = other.order.clone().filter(|_| same && self.gaps.hurry.is_some());
        RasterPath { order, ..self }
    }

    /// The position of line `i` across the lines, µm.
    pub fn across(&self, line: u32) -> i32 {
        self.across.middle(line)
    }

    /// Whether dots are counted in the direction in which the program's axis grows.
    pub fn grows(&self) -> bool {
        self.along.grows()
    }

    /// A position along and across the lines as program coordinates x, y; in the same unit.
    pub fn xy<T>(&self, along: T, across: T) -> (T, T) {
        match self.scan.along {
            Along::X => (along, across),
            Along::Y => (across, along),
        }
    }

    /// How the axis along the lines and that across them say a place, µm along and across them.
    pub(super) fn speeches(&self, along: i32, across: i32) -> (Speech, Speech) {
        self.scan.along.swap(self.limits.speeches(self.xy(along, across)))
    }

    /// The axis that lines run along.
    pub fn axis(&self) -> &Axis {
        self.limits.axes(self.scan.along).0
    }

    /// Distance between dots along the line, mm.
    pub fn pitch(&self) -> f64 {
        self.xy(self.rect.grid.along.0, self.rect.grid.across.0).0
    }

    /// How much more power the S word of a dot gives than was asked for, as a share of that: S counts in
    /// whole numbers, so a machine of few steps cannot give every power.
    pub fn power_error(&self) -> f64 {
        f64::from(self.level) / (self.scan.power * f64::from(self.limits.full_scale_s)) - 1.0
    }
}

fn range(
    key: &'static str,
    value: f64,
    unit: &str,
    fits: bool,
    range: impl Fn() -> String,
) -> Result<(), LimitsError> {
    if fits {
        Ok(())
    } else {
        Err(LimitsError::Range {
            key,
            value: format!("{}{unit}", crate::units::short(value, 4)),
            range: range(),
        })
    }
}

/// Whole micrometres, nearest.
pub(crate) fn um(mm: f64) -> i32 {
    (mm * 1000.0).round() as i32
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::placement::Grid;
    use crate::scan::limits::BeamLag;
    use crate::units::Mm;

    fn place(columns: usize, rows: usize, pitch: f64) -> (DotRect, Blank) {
        let blank = Blank { shape: "rect:100x100mm".parse().unwrap(), margin: Mm(2.0) };
        let grid = Grid { along: Mm(pitch), across: Mm(pitch) };
        (DotRect { left: Mm(5.0), top: Mm(7.0), columns, rows, grid }, blank)
    }

    #[test]
    fn edges_are_the_nearest_micrometre_to_the_exact_ones() {
        let pitch = 25.4 / 304.0;
        let (rect, blank) = place(1017, 10, pitch);
        let c = RasterPath::new(&Limits::default(), Scan::new(12.5, 0.9), rect, blank).unwrap();
        for i in 0..=1017u32 {
            let exact = (5.0 + f64::from(i) * pitch) * 1000.0;
            assert!((f64::from(c.along.at(i)) - exact).abs() <= 0.5 + 1e-6, "{i}");
        }
        assert_eq!(c.across(0), (93.0f64 * 1000.0 - pitch * 500.0).round() as i32);
        assert_eq!((c.level, c.feed), (900, 750_000));
        assert_eq!(c.run_up, 256); // 0.15625 mm and 0.1 mm to settle
    }

    #[test]
    fn the_equal_area_trim_makes_a_swept_disc_mark_its_own_area() {
        // check value D11 (computed): untrimmed, W/p = 0.8, 1, 1.2 mark 1.3027, 1.7854, 2.3310 dot areas.
        use std::f64::consts::PI;
        let swept = |w: f64, l: f64| w * l + PI * w * w / 4.0;
        // A disc swept over L marks the stadium L W + π W²/4; with L = n p − π W/4 that is n p W.
        let equal_area_trim = |diameter: f64| PI * diameter / 8.0;
        for (w, want) in [(0.8, 1.302654824574367), (1.0, 1.7853981633974483), (1.2, 2.3309733552923255)] {
            assert!((swept(w, 1.0) - want).abs() < 1e-9);
            for n in [1.0, 5.0] {
                let trimmed = swept(w, n - 2.0 * equal_area_trim(w));
                assert!((trimmed - n * w).abs() < 1e-12, "{w} {n}: {trimmed}");
            }
        }
    }

    #[test]
    fn a_trim_never_loses_a_dots_centre() {
        let (rect, blank) = place(10, 10, 0.1);
        let scan = Scan { trim: 1.0, ..Scan::new(12.5, 0.9) };
        assert_eq!(RasterPath::new(&Limits::default(), scan, rect, blank).unwrap().trim, 39);
    }

    #[test]
    fn what_the_machine_cannot_do_is_refused_with_its_number() {
        let (rect, blank) = place(10, 10, 0.1);
        let limits = Limits::default();
        let late = Limits { lag: BeamLag::Seconds(0.05), ..limits.clone() };
        let weak = Limits { x: Axis { acceleration: 1.0, ..limits.x }, ..limits.clone() };
        let cases = [
            (&limits, Scan::new(500.0, 0.9), "top speed of 150mm/s"),
            (&limits, Scan::new(0.0, 0.9), "speed is 0mm/s"),
            (&limits, Scan::new(f64::NAN, 0.9), "speed"),
            (&limits, Scan::new(10.0, 0.0), "power is 0%"),
            (&limits, Scan { passes: 0, ..Scan::new(10.0, 1.0) }, "passes is 0"),
            (&late, Scan::new(150.0, 1.0), "lag is 7.5mm"),
            (&weak, Scan::new(150.0, 1.0), "lower the speed"),
        ];
        for (limits, scan, said) in cases {
            let e = RasterPath::new(limits, scan, rect, blank).unwrap_err().to_string();
            assert!(e.contains(said), "{e}");
        }
    }
}
