//! What a program says of itself in its comments: its blank, where its dots lie, its run-up and its lag.

use crate::blank::{Blank, Shape};
use crate::placement::{DotRect, Grid};
use crate::scan::limits::BeamLag;
use crate::units::Mm;

/// What the comments say.
#[derive(Debug)]
pub(super) struct Said {
    pub(super) blank: Option<Blank>,
    pub(super) rect: Option<DotRect>,
    pub(super) run_up: f64,
    pub(super) lag: BeamLag,
    /// The S word that is full power on the machine that it was written for.
    pub(super) full_scale_s: Option<u32>,
}

impl Default for Said {
    fn default() -> Self {
        Said { blank: None, rect: None, run_up: 0.0, lag: BeamLag::Mm(0.0), full_scale_s: None }
    }
}

/// The full power in `S 900 of 1000`, or in `power is S 1000`.
fn full_scale(text: &str) -> Option<u32> {
    let (_, rest) =
        text.split_once("power is S ").or_else(|| text.split_once(" S ")?.1.split_once(" of "))?;
    let digits = rest.find(|c: char| !c.is_ascii_digit()).map_or(rest, |end| &rest[..end]);
    digits.parse().ok().filter(|s| (1..=100_000).contains(s))
}

impl Said {
    /// Takes in one comment of the program's head.
    pub(super) fn hear(&mut self, text: &str) {
        let Some((key, rest)) = text.split_once([':', ' ']) else { return };
        let numbers: Vec<f64> = rest
            .split([' ', ','])
            .filter(|w| w.starts_with(|c: char| c.is_ascii_digit() || c == '-'))
            .filter_map(|w| w.parse().ok())
            .collect();
        match key {
            "blank" => {
                let mut words = rest.split([',', ' ']).filter(|w| !w.is_empty());
                let shape: Option<Shape> = words.next().and_then(|w| w.parse().ok());
                let margin: Option<Mm> = words.next_back().and_then(|w| w.parse().ok());
                self.blank = shape.map(|shape| Blank { shape, margin: margin.unwrap_or(Mm(0.0)) });
            }
            "grid" => {
                if let [columns, rows, along, across, left, top] = numbers[..]
                    && (1.0..=1e6).contains(&columns)
                    && (1.0..=1e6).contains(&rows)
                    && columns * rows <= 1e10
                    && (0.001..=1000.0).contains(&along)
                    && (0.001..=1000.0).contains(&across)
                {
                    let grid = Grid { along: Mm(along), across: Mm(across) };
                    let (columns, rows) = (columns as usize, rows as usize);
                    self.rect = Some(DotRect { left: Mm(left), top: Mm(top), columns, rows, grid });
                }
            }
            "full" => self.full_scale_s = self.full_scale_s.or(full_scale(rest)),
            // Another comment tells how the speed is known.
            "speed" if rest.contains("run-up") => {
                self.run_up = numbers.last().copied().unwrap_or(0.0).clamp(0.0, 2000.0);
                self.full_scale_s = self.full_scale_s.or(full_scale(rest));
            }
            "lag" => {
                let value = numbers.first().copied().unwrap_or(0.0);
                // A program of one speed says how far, one of several speeds how late.
                self.lag = if rest.split([' ', ',']).nth(1) == Some("ms") {
                    BeamLag::Seconds(value.clamp(-50.0, 50.0) / 1000.0)
                } else {
                    BeamLag::Mm(value.clamp(-5.0, 5.0))
                };
            }
            _ => {}
        }
    }
}
