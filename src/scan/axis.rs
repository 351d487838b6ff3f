//! The machine's axes as data: letter, travel, direction, motor steps, speeds and acceleration.
//!
//! A rotary is an axis like the others: its places are millimetres of the piece's surface, counted round from the seam.
//! Only its words count in units of their own, mostly degrees.

use super::limits::{LimitsError, within};
use crate::blank::{Blank, Mantle};
use crate::placement::{Along, DotRect};
use crate::units::Mm;

/// One axis of the machine. All values are resolved; ranges are those of [`super::limits::Limits::check`].
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Axis {
    /// The letter of its words, upper case.
    pub letter: u8,
    /// How far the head travels along it, mm, 10 to 10000: a side of the bed.
    pub travel: f64,
    /// Where the program's zero lies along it, mm from the blank's left (x) or lower (y) edge. Default 0.
    pub zero: f64,
    /// The program's values grow to the left (x) or downwards (y). Default false.
    pub backwards: bool,
    /// Motor steps a mm, 0.1 to 100000; of a rotary, a mm of surface.
    pub steps_per_mm: f64,
    /// Acceleration, mm/s², 1 to 100000.
    pub acceleration: f64,
    /// Highest speed of a marking move, mm/s, 0.1 to 10000.
    pub top_speed: f64,
    /// Speed of a rapid, mm/s, 0.1 to 10000.
    pub rapid_speed: f64,
    /// Units of its words a mm, above 0; of a rotary that turns a cone, where that is widest. Default 1: its words are
    /// millimetres.
    pub units_per_mm: f64,
    /// The round piece that it turns; `None` (the default) for one that moves the head.
    pub turns: Option<Mantle>,
}

/// How an axis says places and feeds, at one place of the other axis: on a cone a millimetre of surface is more of a turn
/// where the piece is narrower.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Speech {
    /// The letter of its words.
    pub letter: u8,
    /// None where its words are the millimetres themselves.
    units: Option<Units>,
}

/// Units of an axis's own.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Units {
    /// A mm.
    per_mm: f64,
    /// Motor steps a mm, where places lie on whole ones.
    steps_per_mm: Option<f64>,
    /// What is added, thousandths of a unit.
    from: f64,
}

impl Speech {
    /// Whole micrometres in thousandths of the unit of its words, as the program writes them.
    #[inline(always)]
    pub fn place(&self, um: i32) -> i32 {
        match &self.units {
            None => um,
            Some(units) => units.place(um),
        }
    }

    /// A feed along it in thousandths of a mm/min as the F word of a move of it alone says it: a rotary's counts its
    /// own units a minute (NISTIR 6556, section 2.1.2.5).
    pub fn feed(&self, feed: i64) -> i64 {
        self.units.map_or(feed, |units| (feed as f64 * units.per_mm).round() as i64)
    }
}

impl Units {
    /// What rounding to micrometres took from a whole motor step is given back.
    fn place(&self, um: i32) -> i32 {
        let mut um = f64::from(um);
        if let Some(steps_per_mm) = self.steps_per_mm {
            let step = 1000.0 / steps_per_mm;
            let whole = (um / step).round() * step;
            um = if (whole - um).abs() < 0.75 { whole } else { um };
        }
        (um * self.per_mm + self.from).round() as i32
    }
}

impl Axis {
    /// An axis of 400 mm, 80 steps a mm, 500 mm/s² and 150 mm/s: assumed values.
    pub fn new(letter: u8) -> Axis {
        Axis {
            letter,
            travel: 400.0,
            zero: 0.0,
            backwards: false,
            steps_per_mm: 80.0,
            acceleration: 500.0,
            top_speed: 150.0,
            rapid_speed: 150.0,
            units_per_mm: 1.0,
            turns: None,
        }
    }

    /// How it says places and feeds while the other axis is at `other` mm of the blank.
    pub(super) fn speech(&self, other: f64) -> Speech {
        let units = match self.turns {
            Some(mantle) if mantle.is_cone() => {
                let (middle, stretch) = self.opened(mantle, other);
                let per_mm = self.units_per_mm * stretch;
                Some(Units {
                    per_mm,
                    steps_per_mm: None,
                    from: 1000.0 * middle * (self.units_per_mm - per_mm),
                })
            }
            _ if self.units_per_mm == 1.0 => None,
            _ => Some(Units { per_mm: self.units_per_mm, steps_per_mm: Some(self.steps_per_mm), from: 0.0 }),
        };
        Speech { letter: self.letter, units }
    }

    /// The place on a cone's unrolled mantle, and how many mm of it a mm of the program's words is, where `said` is what
    /// the words say in mm of its widest girth and the other axis is at `other` mm of the blank; mm of the program. Of
    /// all other axes it is what is said.
    pub(super) fn unrolled(&self, said: f64, other: f64) -> (f64, f64) {
        match self.turns {
            Some(mantle) if mantle.is_cone() => {
                let (middle, stretch) = self.opened(mantle, other);
                (middle + (said - middle) / stretch, 1.0 / stretch)
            }
            _ => (said, 1.0),
        }
    }

    /// Of a cone, the program's value opposite the seam, where a place is the same at every height, and how many times more
    /// of a turn a mm is than where it is widest.
    fn opened(&self, mantle: Mantle, up: f64) -> (f64, f64) {
        let middle = self.to_program(mantle.girth() / 2.0);
        // Beyond its ends, where the head may run up, it goes on as at them.
        (middle, mantle.widest() / mantle.across(up.clamp(0.0, mantle.slant())))
    }

    /// The program's value at a place of the blank, mm from its left or lower edge.
    pub fn to_program(&self, at: f64) -> f64 {
        if self.backwards { self.zero - at } else { at - self.zero }
    }

    /// The place of the blank, mm from its left or lower edge, at the program's value.
    pub fn to_blank(&self, at: f64) -> f64 {
        if self.backwards { self.zero - at } else { at + self.zero }
    }

    /// Refuses numbers that no axis has. `keys` name what is checked, in the order of the checks.
    pub(super) fn check(&self, keys: &[&'static str; 6]) -> Result<(), LimitsError> {
        let [travel, acceleration, top_speed, rapid_speed, steps, zero] = *keys;
        within(travel, self.travel, "mm", 10.0, 10_000.0)?;
        within(acceleration, self.acceleration, "mm/s2", 1.0, 100_000.0)?;
        within(top_speed, self.top_speed, "mm/s", 0.1, 10_000.0)?;
        within(rapid_speed, self.rapid_speed, "mm/s", 0.1, 10_000.0)?;
        within(steps, self.steps_per_mm, "", 0.1, 100_000.0)?;
        within(zero, self.zero, "mm", -10_000.0, 10_000.0)
    }
}

/// The rectangle with its lines on whole turns of the motor, where the axis across them is a rotary and the pitch is
/// whole steps of it: at multiples of the pitch from the seam, where the program's zero lies. So the lines lie as far
/// apart as they should, and not a step nearer or farther as rounding has it; they move by half a pitch at most.
pub fn on_whole_lines(across: &Axis, lines: Along, rect: DotRect, blank: &Blank) -> DotRect {
    if across.turns.is_none() {
        return rect;
    }
    match lines {
        Along::Y => {
            let pitch = rect.grid.along.0;
            DotRect { left: Mm(((rect.left.0 / pitch - 1e-6).ceil() - 0.5) * pitch), ..rect }
        }
        Along::X => {
            let (pitch, height) = (rect.grid.across.0, blank.shape.height());
            let line = ((height - rect.top.0) / pitch - 0.5 - 1e-6).round();
            DotRect { top: Mm(height - (line + 0.5) * pitch), ..rect }
        }
    }
}

/// How fast a straight move may be along its path.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PathPace {
    /// Highest speed of a marking move, mm/s.
    pub top_speed: f64,
    /// Speed of a rapid, mm/s.
    pub rapid_speed: f64,
    /// Acceleration, mm/s².
    pub acceleration: f64,
}

impl PathPace {
    /// The pace of a move that goes so far along each of two axes. Both move together and straight on, by a rapid too
    /// (NISTIR 6556, section 3.5.1), so each does its share of the way: none goes faster or speeds up more than it can,
    /// and the one that is first at its limit sets the pace (common practice; the standard speaks of one traverse rate
    /// only). A feed is that of the path, whatever the slope (section 2.1.2.5).
    pub fn along(x: &Axis, y: &Axis, (dx, dy): (f64, f64)) -> PathPace {
        let way = libm::hypot(dx, dy);
        let within = |of: fn(&Axis) -> f64| match (dx != 0.0, dy != 0.0) {
            (true, true) => (of(x) * way / dx.abs()).min(of(y) * way / dy.abs()),
            (false, true) => of(y),
            _ => of(x),
        };
        PathPace {
            top_speed: within(|axis| axis.top_speed),
            rapid_speed: within(|axis| axis.rapid_speed),
            acceleration: within(|axis| axis.acceleration),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_place_is_found_again_whichever_way_the_axis_grows() {
        for backwards in [false, true] {
            let axis = Axis { zero: 12.5, backwards, ..Axis::new(b'X') };
            for at in [-3.0, 0.0, 7.25, 100.0] {
                assert_eq!(axis.to_blank(axis.to_program(at)), at);
            }
        }
        assert_eq!(Axis { zero: 10.0, backwards: true, ..Axis::new(b'Y') }.to_program(12.0), -2.0);
    }

    #[test]
    fn each_axis_does_its_share_of_a_diagonal() {
        let x = Axis::new(b'X');
        let y = Axis { acceleration: 50.0, top_speed: 20.0, rapid_speed: 30.0, ..Axis::new(b'Y') };
        let of = |dx: f64, dy: f64| {
            let pace = PathPace::along(&x, &y, (dx, dy));
            [pace.top_speed, pace.rapid_speed, pace.acceleration].map(|v| (v * 1e6).round() / 1e6)
        };
        assert_eq!(of(-3.0, 0.0), [150.0, 150.0, 500.0]);
        assert_eq!(of(0.0, -0.1), [20.0, 30.0, 50.0]);
        // 3 mm along x and 4 along y: y does four fifths of the way.
        assert_eq!(of(3.0, -4.0), [25.0, 37.5, 62.5]);
        // A slow axis that hardly moves holds nothing up.
        assert_eq!(
            of(85.0, 0.0875),
            [150.0, 150.0, 500.0].map(|v| {
                let slant = 85f64.hypot(0.0875) / 85.0;
                (v * slant * 1e6).round() / 1e6
            })
        );
        // Of two axes alike each does 1/√2 of a diagonal.
        let both = PathPace::along(&x, &x, (1.0, 1.0));
        assert!((both.rapid_speed - 150.0 * 2f64.sqrt()).abs() < 1e-9, "{both:?}");
    }
}
