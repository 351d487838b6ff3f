//! Lost detail: strokes of a drawing that do not show and gaps that close, because the beam is wider.

use std::ops::Range;

use super::forecast::{Band, Forecast};
use super::hairlines;
use super::patch::CellPatches;
use crate::plane::{Dots, Tone};

/// Ink of this much of a dot and more is a stroke, so that hairlines thinner than a dot count.
const STROKE_FROM: f32 = 0.2;
/// Where no more than this much of a dot is ink, a place is meant to stay free.
const GAP_TO: f32 = 0.5;
/// A tone between these that is even for this many dots and more, along and across, is a tint: the holes and clumps of its
/// screen are neither strokes nor gaps. A thin stroke is even one way alone.
const TINT: (f32, f32) = (0.05, 0.9);
const TINT_DOTS: u16 = 8;
/// Neighbours of a tint, or of a shade that changes softly, differ by less.
const EVEN: f32 = 0.05;
/// A stroke does not show where nothing near it is marked so much.
const NOTHING_UNDER: f32 = 0.25;
/// A gap is closed where all near it is marked more than so much.
const ALL_OVER: f32 = 0.75;

/// What a drawing wants, two bits a dot: where its strokes lie, and where it is to stay free.
#[derive(Debug, Clone, PartialEq)]
pub struct LineWork {
    strokes: Dots,
    gaps: Dots,
}

impl LineWork {
    /// The ink of a drawing, `wanted` before the dot-gain curve, one value a dot. `allowed` says for a row
    /// in which columns dots may lie: nothing is wanted elsewhere. Tints are neither of the two.
    pub fn new(wanted: &Tone, allowed: impl Fn(usize) -> Range<usize>) -> Self {
        let mut strokes = Dots::off(wanted.width(), wanted.height());
        let mut gaps = strokes.clone();
        let mut tints = even_across(wanted);
        for y in 0..wanted.height() {
            keep_even_along(wanted.row(y), tints.row_mut(y));
        }
        for y in 0..wanted.height() {
            let (stroke, gap) = (strokes.row_mut(y), gaps.row_mut(y));
            let bytes = stroke.iter_mut().zip(gap).zip(tints.row(y));
            for (byte, ((stroke, gap), tint)) in bytes.enumerate() {
                for (i, &t) in wanted.row(y)[8 * byte..].iter().take(8).enumerate() {
                    let bit = 0x80 >> i;
                    if tint & bit != 0 {
                        continue;
                    }
                    let soft = t > TINT.0 && t < TINT.1;
                    let (low, high) = if soft { beside(wanted, &tints, (8 * byte + i, y)) } else { NO_TINT };
                    *stroke |= if t >= STROKE_FROM && t > high + EVEN { bit } else { 0 };
                    *gap |= if t <= GAP_TO && t < low - EVEN { bit } else { 0 };
                }
            }
            strokes.keep_only(y, allowed(y));
            gaps.keep_only(y, allowed(y));
        }
        LineWork { strokes, gaps }
    }

    /// The same with the hairlines of a drawing that is drawn at the dots themselves; in a picture such faint lines may be
    /// anything.
    #[must_use]
    pub fn with_hairlines(mut self, wanted: &Tone, allowed: impl Fn(usize) -> Range<usize>) -> Self {
        for (x, y) in hairlines::dots(wanted) {
            if allowed(y).contains(&x) {
                self.strokes.set(x, y, true);
            }
        }
        self
    }
}

/// The least and the greatest tone beside a place that has no tint.
const NO_TINT: (f32, f32) = (f32::INFINITY, f32::NEG_INFINITY);

/// The least and the greatest tone of the tints within two dots of a place: along their edges tones lie between those on
/// either side, which is no line of its own.
fn beside(wanted: &Tone, tints: &Dots, (x, y): (usize, usize)) -> (f32, f32) {
    let rows = (y.saturating_sub(2)..(y + 3).min(wanted.height())).map(|y| (x, y));
    let columns = (x.saturating_sub(2)..(x + 3).min(wanted.width())).map(|x| (x, y));
    rows.chain(columns)
        .filter(|&(x, y)| tints.row(y)[x / 8] & (0x80 >> (x % 8)) != 0)
        .map(|(x, y)| wanted.row(y)[x])
        .fold(NO_TINT, |(low, high), t| (low.min(t), high.max(t)))
}

/// Whether two neighbours may be of one tint.
fn even(a: f32, b: f32) -> bool {
    (a - b).abs() < EVEN && a > TINT.0 && a < TINT.1 && b > TINT.0 && b < TINT.1
}

/// The dots of tints that are even across the rows.
fn even_across(wanted: &Tone) -> Dots {
    let (width, height) = (wanted.width(), wanted.height());
    let mut out = Dots::off(width, height);
    let mut runs = vec![1u16; width];
    for y in 1..height {
        let (above, row) = (wanted.row(y - 1), wanted.row(y));
        for (x, run) in runs.iter_mut().enumerate() {
            if !even(above[x], row[x]) {
                *run = 1;
                continue;
            }
            *run = run.saturating_add(1);
            // Once it is long enough, with all that led to it.
            let first = match *run {
                n if n < TINT_DOTS => continue,
                TINT_DOTS => y + 1 - usize::from(TINT_DOTS),
                _ => y,
            };
            (first..=y).for_each(|row| out.row_mut(row)[x / 8] |= 0x80 >> (x % 8));
        }
    }
    out
}

/// Keeps of a row's bits those of tints that are even along it.
fn keep_even_along(row: &[f32], bits: &mut [u8]) {
    let mut first = 0;
    for x in 1..=row.len() {
        if x < row.len() && even(row[x - 1], row[x]) {
            continue;
        }
        if x - first < usize::from(TINT_DOTS) {
            (first..x).for_each(|x| bits[x / 8] &= !(0x80 >> (x % 8)));
        }
        first = x;
    }
}

/// Detail that is lost. Areas in dot cells; times the cell's mm² they are mm².
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Lost {
    /// Cells of strokes that will not show.
    pub strokes: u64,
    /// Cells of gaps that will close.
    pub gaps: u64,
    /// Column and row of a cell in the largest place that is lost.
    pub worst: (usize, usize),
}

/// Rows above and below a cell, and columns on either side, in which a mark or a free place is near it: the
/// beam's radius.
fn near(forecast: &Forecast) -> (usize, usize) {
    let (x, y) = forecast.burn().profiles();
    let dots = |diameter: f64| ((diameter / 2.0).round() as usize).clamp(1, 16);
    (dots(y.diameter()), dots(x.diameter()))
}

/// Rows above and below its own that a band needs.
pub(super) fn halo(forecast: &Forecast) -> usize {
    near(forecast).0
}

/// What one band loses.
pub(super) struct BandLost {
    strokes: u64,
    gaps: u64,
    patches: CellPatches,
}

impl BandLost {
    /// Looks at the band's own rows; those of its halo are neighbours.
    ///
    /// A stroke is lost where ink was wanted and nothing within the beam's radius is forecast to be a
    /// quarter marked; a gap is lost where at least half a dot was to stay free and all within the beam's
    /// radius is forecast to be at least three quarters marked. Edges of larger shapes have marks and free
    /// places in reach and are not counted.
    #[inline(always)]
    pub fn of(band: &Band, ink: &LineWork, forecast: &Forecast) -> Self {
        let (reach, along) = near(forecast);
        let width = band.width;
        let mut lost = BandLost { strokes: 0, gaps: 0, patches: CellPatches::default() };
        let (mut low, mut high) = (vec![0.0f32; width], vec![0.0f32; width]);
        let mut flags = vec![0.0f32; width];
        for y in band.own.clone() {
            let rows = y.saturating_sub(reach).max(band.first)..(y + reach + 1).min(band.first + band.rows());
            low.fill(f32::INFINITY);
            high.fill(0.0);
            for row in rows {
                let mark = band.marks(row);
                for ((l, h), &m) in low.iter_mut().zip(&mut high).zip(mark) {
                    *l = if m < *l { m } else { *l };
                    *h = if m > *h { m } else { *h };
                }
            }
            let mut any = false;
            for (byte, (&strokes, &gaps)) in ink.strokes.row(y).iter().zip(ink.gaps.row(y)).enumerate() {
                for x in 8 * byte..(8 * byte + 8).min(width) {
                    let bit = 0x80 >> (x % 8);
                    // Most cells are plain: only then the neighbours are looked at.
                    let stroke = strokes & bit != 0 && high[x] < NOTHING_UNDER;
                    let gap = gaps & bit != 0 && low[x] > ALL_OVER;
                    if !(stroke || gap) {
                        continue;
                    }
                    let around = x.saturating_sub(along)..(x + along + 1).min(width);
                    let stroke = stroke && high[around.clone()].iter().all(|&m| m < NOTHING_UNDER);
                    let gap = gap && low[around].iter().all(|&m| m > ALL_OVER);
                    lost.strokes += u64::from(stroke);
                    lost.gaps += u64::from(gap);
                    if stroke || gap {
                        flags[x] = 1.0;
                        any = true;
                    }
                }
            }
            if any {
                lost.patches.row(y, &flags, &flags);
                flags.fill(0.0);
            } else {
                lost.patches.row(y, &[], &[]);
            }
        }
        lost
    }
}

/// Puts the bands' losses together, in order from the top; `None` where nothing is lost.
pub(super) fn together(bands: Vec<BandLost>) -> Option<Lost> {
    let (mut strokes, mut gaps, mut patches) = (0, 0, CellPatches::default());
    for band in bands {
        strokes += band.strokes;
        gaps += band.gaps;
        patches.append(band.patches);
    }
    patches.finish().map(|worst| Lost { strokes, gaps, worst: worst.worst })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn work(f: impl Fn(usize, usize) -> f32) -> LineWork {
        let tones = (0..40 * 30).map(|i| f(i % 40, i / 40)).collect();
        LineWork::new(&Tone::from_vec(40, 30, tones), |_| 0..40)
    }

    fn at(dots: &Dots, x: usize, y: usize) -> bool {
        dots.row(y)[x / 8] & (0x80 >> (x % 8)) != 0
    }

    #[test]
    fn a_tint_is_neither_stroke_nor_gap_and_a_thin_grey_line_is_a_stroke() {
        let it = work(|x, y| if (10..30).contains(&x) && (8..20).contains(&y) { 0.35 } else { 0.0 });
        for (x, y) in [(10, 8), (29, 19), (20, 12)] {
            assert!(!at(&it.strokes, x, y) && !at(&it.gaps, x, y), "{x} {y}");
        }
        assert!(at(&it.gaps, 9, 8) && at(&it.gaps, 20, 20));
        let it = work(|_, y| if (12..15).contains(&y) { 0.35 } else { 0.0 });
        assert!((0..40).all(|x| at(&it.strokes, x, 13)));
        // Solids are strokes, bare ground is a gap, however wide.
        let it = work(|x, _| f32::from(u8::from(x < 20)));
        assert!(at(&it.strokes, 5, 15) && at(&it.gaps, 35, 15));
    }

    #[test]
    fn where_two_tints_meet_is_no_line_and_a_darker_line_on_a_tint_is_one() {
        let it = work(|x, _| match x {
            20 => 0.4,
            x if x < 20 => 0.6,
            _ => 0.2,
        });
        assert!((0..30).all(|y| !at(&it.strokes, 20, y) && !at(&it.gaps, 20, y)));
        let it = work(|x, _| if x == 20 { 0.8 } else { 0.3 });
        assert!(at(&it.strokes, 20, 15) && !at(&it.strokes, 25, 15));
    }

    #[test]
    fn a_shade_that_changes_softly_is_a_tint() {
        let it = work(|x, _| 0.2 + 0.012 * x as f32);
        assert!(!at(&it.strokes, 20, 15) && !at(&it.gaps, 5, 15));
    }
}
