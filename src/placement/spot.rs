//! Spots: where something lies on its blank, and where it stands in its box.

use std::fmt;
use std::str::FromStr;

use crate::texts::text;
use crate::units::Mm;

/// Where something lies on its blank.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Spot {
    /// The place of the blank less its margin that its box is set against.
    pub anchor: Anchor,
    /// How far it is moved from there: to the right and up.
    pub at: Offset,
    /// Where it stands in its box, if that is wider; default as the anchor says.
    pub align: Option<Align>,
}

/// A place of the blank less its margin.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Anchor {
    /// The middle.
    #[default]
    Middle,
    /// The middle of the upper edge.
    Top,
    /// The middle of the lower edge.
    Bottom,
    /// The middle of the left edge.
    Left,
    /// The middle of the right edge.
    Right,
    /// The upper left corner.
    TopLeft,
    /// The upper right corner.
    TopRight,
    /// The lower left corner.
    BottomLeft,
    /// The lower right corner.
    BottomRight,
}

impl Anchor {
    /// Whether it lies midway between the upper and the lower edge.
    pub fn is_midway(self) -> bool {
        self.sides().1 == 0.0
    }

    /// To the right and down, each -1, 0 or 1.
    pub(super) fn sides(self) -> (f64, f64) {
        match self {
            Anchor::Middle => (0.0, 0.0),
            Anchor::Top => (0.0, -1.0),
            Anchor::Bottom => (0.0, 1.0),
            Anchor::Left => (-1.0, 0.0),
            Anchor::Right => (1.0, 0.0),
            Anchor::TopLeft => (-1.0, -1.0),
            Anchor::TopRight => (1.0, -1.0),
            Anchor::BottomLeft => (-1.0, 1.0),
            Anchor::BottomRight => (1.0, 1.0),
        }
    }
}

/// Where something stands in a box that is wider, and where the lines of a text begin or end.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Align {
    /// At the left.
    Left,
    /// In the middle.
    Middle,
    /// At the right.
    Right,
}

impl Align {
    pub(super) fn side(self) -> f64 {
        match self {
            Align::Left => -1.0,
            Align::Middle => 0.0,
            Align::Right => 1.0,
        }
    }
}

/// A distance to the right and up; printed and read as `10mm,-4mm`.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Offset {
    /// To the right; to the left below zero.
    pub right: Mm,
    /// Up; down below zero.
    pub up: Mm,
}

impl fmt::Display for Offset {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}mm,{}mm", self.right.0, self.up.0)
    }
}

impl FromStr for Offset {
    type Err = String;
    fn from_str(text: &str) -> Result<Self, String> {
        let wrong = || text!("placement.offset", text);
        let (right, up) = text.split_once(',').ok_or_else(wrong)?;
        let length = |t: &str| {
            let (sign, size) = t.trim().strip_prefix('-').map_or((1.0, t.trim()), |rest| (-1.0, rest));
            let mm: Mm = if size == "0" { Mm(0.0) } else { size.parse().map_err(|_| wrong())? };
            if mm.0 > 2000.0 { Err(wrong()) } else { Ok(Mm(sign * mm.0)) }
        };
        Ok(Offset { right: length(right)?, up: length(up)? })
    }
}
