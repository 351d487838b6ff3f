//! Lost detail: strokes of a drawing that do not show and gaps that close, because the beam is wider.

use std::ops::Range;

use super::forecast::{Band, Forecast};
use super::patch::CellPatches;
use crate::plane::{Dots, Tone};

/// Ink of this much of a dot and more is a stroke, so that hairlines thinner than a dot count.
const STROKE_FROM: f32 = 0.2;
/// Where no more than this much of a dot is ink, a place is meant to stay free.
const GAP_TO: f32 = 0.5;
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
    /// in which columns dots may lie: nothing is wanted elsewhere.
    pub fn new(wanted: &Tone, allowed: impl Fn(usize) -> Range<usize>) -> Self {
        let mut strokes = Dots::off(wanted.width(), wanted.height());
        let mut gaps = strokes.clone();
        for y in 0..wanted.height() {
            let (stroke, gap) = (strokes.row_mut(y), gaps.row_mut(y));
            for ((stroke, gap), tones) in stroke.iter_mut().zip(gap).zip(wanted.row(y).chunks(8)) {
                for (i, &t) in tones.iter().enumerate() {
                    *stroke |= u8::from(t >= STROKE_FROM) << (7 - i);
                    *gap |= u8::from(t <= GAP_TO) << (7 - i);
                }
            }
            strokes.keep_only(y, allowed(y));
            gaps.keep_only(y, allowed(y));
        }
        LineWork { strokes, gaps }
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
