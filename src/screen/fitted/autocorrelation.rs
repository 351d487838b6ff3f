//! What the search weighs an error by: the autocorrelation of a mix of point spreads.

use crate::visual_quality::{Eye, PointSpread};

/// Rows either side of the autocorrelation that are kept, and columns: as many, or twice as many where dots lie closer
/// along a row than rows do.
pub const REACH: usize = 12;
pub const REACH_ALONG: usize = 2 * REACH;
/// Rows of what is kept, and columns.
pub const ROWS: usize = 2 * REACH + 1;
pub const COLUMNS: usize = 2 * REACH_ALONG + 1;

/// Columns of what is told of a change, at most: [`COLUMNS`] and two either side, up to whole lanes of eight.
pub const TOLD: usize = 56;
/// The same where [`REACH`] columns either side are kept.
pub const NARROW: usize = 32;

/// Dots are closer along than across where their pitch is under this share of the rows'.
const CLOSER: f64 = 0.75;

/// How much the plain Gaussian of two rows' distance counts beside the eye's spread: enough that no one filter is
/// fitted, little enough that the eye's spread leads.
const SOFT: f64 = 0.03;

/// Angles between dots as seen, in units of a pitch over a distance: those of 340 and 250 dots an inch from 300 mm.
/// The search is made for an eye that sees the dots within these. Closer dots spread over more of them than
/// [`REACH`] holds, and cut off the weights would reward grain of some frequencies: at 600 dots an inch photos came
/// out 8 dB worse than before the search, and by this rule 2.5 dB better. Of coarser dots the eye sees each, and the
/// search would rather do without light tones.
const FINEST: f64 = 25.4 / 340.0 / 300.0;
const COARSEST: f64 = 25.4 / 250.0 / 300.0;

/// Autocorrelation of the mixed point spread, and its parts that can be applied along one axis at a time.
pub struct Autocorrelation {
    /// Columns either side that are kept: [`REACH`] or [`REACH_ALONG`]; further ones are 0.
    pub reach: usize,
    /// Its rows.
    rows: Vec<[f32; COLUMNS]>,
    /// Lines (across, along), whose outer products add up to it.
    pub lines: Vec<([f32; ROWS], [f32; COLUMNS])>,
}

impl Autocorrelation {
    /// The weights for dots `along_mm` and `across_mm` apart, seen from `distance_mm`; from closer where the dots
    /// would lie closer than 340 an inch do at 300 mm, from further where they would lie further apart than 250 do.
    pub fn new(along_mm: f64, across_mm: f64, distance_mm: f64) -> Self {
        let reach = if along_mm < CLOSER * across_mm { REACH_ALONG } else { REACH };
        let closest = across_mm.min(along_mm * reach as f64 / REACH as f64);
        let furthest = along_mm.max(across_mm);
        let distance_mm = distance_mm.max(furthest / COARSEST).min(closest / FINEST);
        let eye = PointSpread::of_eye(Eye::KimAllebach, along_mm, across_mm, distance_mm, reach);
        // Two rows' distance either way; where dots lie closer along, cut as far away as across.
        let times = reach as f64 / REACH as f64;
        let along = if reach == REACH { 2.0 } else { 2.0 * across_mm / along_mm };
        let soft = PointSpread::gaussian((along, 2.0), (8.0 * times) as usize);
        let (eye, soft) = (autocorrelation(&eye, reach), autocorrelation(&soft, reach));
        let mut kept: Vec<f64> = eye.iter().zip(&soft).map(|(e, s)| e + SOFT * s).collect();
        // A smooth end: a step there would show as a faint grain of that period.
        for (i, v) in kept.iter_mut().enumerate() {
            let (x, y) = ((i % COLUMNS).abs_diff(REACH_ALONG), (i / COLUMNS).abs_diff(REACH));
            *v *= if x + 2 > reach || y + 2 > REACH { 0.5 } else { 1.0 };
        }
        let lines = split(&kept);
        let rows = kept.as_chunks::<COLUMNS>().0.iter().map(|row| row.map(|v| v as f32)).collect();
        Autocorrelation { reach, rows, lines }
    }

    /// The weight between two errors `dx` columns and `dy` rows apart.
    pub fn at(&self, dx: isize, dy: isize) -> f32 {
        let (x, y) = (dx + REACH_ALONG as isize, dy + REACH as isize);
        let inside = |v: isize, side: usize| (0..side as isize).contains(&v);
        if inside(x, COLUMNS) && inside(y, ROWS) { self.rows[y as usize][x as usize] } else { 0.0 }
    }
}

/// The autocorrelation of a spread, as far as `reach` columns.
fn autocorrelation(spread: &PointSpread, reach: usize) -> Vec<f64> {
    let radius = spread.radius as isize;
    let mut kept = vec![0.0; ROWS * COLUMNS];
    for dy in 0..=REACH as isize {
        for dx in 0..=reach as isize {
            let mut sum = 0.0;
            for y in -radius..=radius - dy {
                for x in -radius..=radius - dx {
                    sum += spread.at(x, y) * spread.at(x + dx, y + dy);
                }
            }
            for (x, y) in [(dx, dy), (-dx, dy), (dx, -dy), (-dx, -dy)] {
                kept[(REACH as isize + y) as usize * COLUMNS + (REACH_ALONG as isize + x) as usize] = sum;
            }
        }
    }
    kept
}

/// Splits what is kept into outer products of lines, by power iteration, until under a thousandth is left.
fn split(kept: &[f64]) -> Vec<([f32; ROWS], [f32; COLUMNS])> {
    let mut rest = kept.to_vec();
    let size = |m: &[f64]| m.iter().map(|v| v * v).sum::<f64>().sqrt();
    let (whole, mut lines) = (size(kept), Vec::new());
    while lines.len() < 6 && size(&rest) > 1e-3 * whole {
        let mut along = [0.0f64; COLUMNS];
        for (i, v) in along.iter_mut().enumerate() {
            *v = rest[REACH * COLUMNS + i] + 1e-12;
        }
        let mut across = [0.0f64; ROWS];
        for _ in 0..60 {
            for (a, row) in across.iter_mut().zip(rest.chunks_exact(COLUMNS)) {
                *a = row.iter().zip(&along).map(|(r, v)| r * v).sum();
            }
            let norm = size(&across).max(1e-300);
            across.iter_mut().for_each(|v| *v /= norm);
            along = [0.0; COLUMNS];
            for (a, row) in across.iter().zip(rest.chunks_exact(COLUMNS)) {
                along.iter_mut().zip(row).for_each(|(v, r)| *v += a * r);
            }
        }
        for (a, row) in across.iter().zip(rest.chunks_exact_mut(COLUMNS)) {
            row.iter_mut().zip(&along).for_each(|(r, v)| *r -= a * v);
        }
        lines.push((across.map(|v| v as f32), along.map(|v| v as f32)));
    }
    lines
}
