//! What the search weighs an error by: the autocorrelation of a mix of point spreads.

use crate::visual_quality::{Eye, PointSpread};

/// Dots either side of the autocorrelation that are kept.
pub const REACH: usize = 12;
/// Columns of the kept square.
pub const SIDE: usize = 2 * REACH + 1;

/// Noughts before each of the padded rows.
pub const PADDED: usize = 4;

/// How much the plain Gaussian of two dots counts beside the eye's spread: enough that no one filter is
/// fitted, little enough that the eye's spread leads.
const SOFT: f64 = 0.1;

/// Angles between dots as seen, in units of a pitch over a distance: those of 340 and 250 dots an inch from 300 mm.
/// The search is made for an eye that sees the dots within these. Closer dots spread over more of them than
/// [`REACH`] holds, and cut off the weights would reward grain of some frequencies: at 600 dots an inch photos came
/// out 8 dB worse than before the search, and by this rule 2.5 dB better. Of coarser dots the eye sees each, and the
/// search would rather do without light tones.
const FINEST: f64 = 25.4 / 340.0 / 300.0;
const COARSEST: f64 = 25.4 / 250.0 / 300.0;

/// Autocorrelation of the mixed point spread, and its parts that can be applied along one axis at a time.
pub struct Autocorrelation {
    /// The rows of the square, each between [`PADDED`] noughts and more noughts, up to whole lanes of eight at any start.
    pub rows: Vec<[f32; PADDED + 32]>,
    /// Lines (across, along), whose outer products add up to the square.
    pub lines: Vec<([f32; SIDE], [f32; SIDE])>,
}

impl Autocorrelation {
    /// The weights for dots `along_mm` and `across_mm` apart, seen from `distance_mm`; from closer where the dots
    /// would lie closer than 340 an inch do at 300 mm, from further where they would lie further apart than 250 do.
    pub fn new(along_mm: f64, across_mm: f64, distance_mm: f64) -> Self {
        let (closest, furthest) = (along_mm.min(across_mm), along_mm.max(across_mm));
        let distance_mm = distance_mm.max(furthest / COARSEST).min(closest / FINEST);
        let eye = PointSpread::of_eye(Eye::KimAllebach, along_mm, across_mm, distance_mm, REACH);
        let soft = PointSpread::gaussian(2.0, 8);
        let (eye, soft) = (autocorrelation(&eye), autocorrelation(&soft));
        let mut square: Vec<f64> = eye.iter().zip(&soft).map(|(e, s)| e + SOFT * s).collect();
        // A smooth end: a step there would show as a faint grain of that period.
        for (i, v) in square.iter_mut().enumerate() {
            let r = (i % SIDE).abs_diff(REACH).max((i / SIDE).abs_diff(REACH));
            *v *= if r + 2 > REACH { 0.5 } else { 1.0 };
        }
        let lines = split(&square);
        let rows = square.chunks_exact(SIDE).map(|row| {
            let mut padded = [0.0; PADDED + 32];
            padded[PADDED..].iter_mut().zip(row).for_each(|(p, &v)| *p = v as f32);
            padded
        });
        Autocorrelation { rows: rows.collect(), lines }
    }

    /// The weight between two errors `dx` columns and `dy` rows apart.
    pub fn at(&self, dx: isize, dy: isize) -> f32 {
        let (x, y) = (dx + REACH as isize, dy + REACH as isize);
        let inside = |v: isize| (0..SIDE as isize).contains(&v);
        if inside(x) && inside(y) { self.rows[y as usize][PADDED + x as usize] } else { 0.0 }
    }
}

fn autocorrelation(spread: &PointSpread) -> Vec<f64> {
    let (reach, radius) = (REACH as isize, spread.radius as isize);
    let mut square = vec![0.0; SIDE * SIDE];
    for dy in 0..=reach {
        for dx in 0..=reach {
            let mut sum = 0.0;
            for y in -radius..=radius - dy {
                for x in -radius..=radius - dx {
                    sum += spread.at(x, y) * spread.at(x + dx, y + dy);
                }
            }
            for (x, y) in [(dx, dy), (-dx, dy), (dx, -dy), (-dx, -dy)] {
                square[(reach + y) as usize * SIDE + (reach + x) as usize] = sum;
            }
        }
    }
    square
}

/// Splits a square into outer products of lines, by power iteration, until under a thousandth is left.
fn split(square: &[f64]) -> Vec<([f32; SIDE], [f32; SIDE])> {
    let mut rest = square.to_vec();
    let size = |m: &[f64]| m.iter().map(|v| v * v).sum::<f64>().sqrt();
    let (whole, mut lines) = (size(square), Vec::new());
    while lines.len() < 6 && size(&rest) > 1e-3 * whole {
        let mut along = [0.0f64; SIDE];
        for (i, v) in along.iter_mut().enumerate() {
            *v = rest[REACH * SIDE + i] + 1e-12;
        }
        let mut across = [0.0f64; SIDE];
        for _ in 0..60 {
            for (a, row) in across.iter_mut().zip(rest.chunks_exact(SIDE)) {
                *a = row.iter().zip(&along).map(|(r, v)| r * v).sum();
            }
            let norm = size(&across).max(1e-300);
            across.iter_mut().for_each(|v| *v /= norm);
            along = [0.0; SIDE];
            for (a, row) in across.iter().zip(rest.chunks_exact(SIDE)) {
                along.iter_mut().zip(row).for_each(|(v, r)| *v += a * r);
            }
        }
        for (a, row) in across.iter().zip(rest.chunks_exact_mut(SIDE)) {
            row.iter_mut().zip(&along).for_each(|(r, v)| *r -= a * v);
        }
        lines.push((across.map(|v| v as f32), along.map(|v| v as f32)));
    }
    lines
}
