//! Layout: how big a pixel of a proof is, and which samples of a forecast it shows.

use crate::blank::Blank;
use crate::placement::DotRect;
use crate::plane::Dots;

/// Longest side of a proof, pixels.
pub const MOST_PIXELS: usize = 2400;
/// A small piece is enlarged, by a whole number of pixels a dot, to about this many pixels.
const LEAST_PIXELS: f64 = 1000.0;
/// Least width, so that the legend fits.
const LEAST_WIDTH: usize = 900;

/// How a blank is drawn: everything in pixels of one size, dots on whole pixels where the pitch allows.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Layout {
    /// Size of a pixel, mm.
    pub pixel: f64,
    /// Dots along that one sample of the forecast stands for.
    pub step_along: usize,
    /// Dots across that one sample of the forecast stands for.
    pub step_across: usize,
    /// Columns of the picture of the blank.
    pub width: usize,
    /// Rows of the picture of the blank, legend not counted.
    pub height: usize,
    /// The picture's left edge, mm from the blank's left.
    pub left: f64,
    /// The picture's top edge, mm from the blank's top, downwards.
    pub top: f64,
    /// Whether pixels lie across the dots anyhow, so that they are filled through a smooth filter: see [`Resampling::smooth`].
    pub smooth: bool,
}

impl Layout {
    /// The layout for a blank and its dots with at most `most` pixels along the longest side, the legend
    /// below included.
    pub fn new(blank: &Blank, rect: &DotRect, most: usize) -> Layout {
        let (w, h) = (blank.shape.width(), blank.shape.height());
        let bench = 0.04 * w.max(h);
        let longest = w.max(h) + 2.0 * bench;
        let (along, across) = (rect.grid.along.0, rect.grid.across.0);
        // The legend takes up to a tenth of the height, alignment to the dots up to two pixels.
        let room = (0.9 * most as f64 - 2.0).max(64.0);
        let reduce = (longest / (room * across)).ceil().max(1.0);
        let enlarge = if reduce > 1.0 {
            1.0
        } else {
            let wished = (LEAST_PIXELS * across / longest).ceil();
            wished.min((room * across / longest).floor()).clamp(1.0, 8.0)
        };
        let pixel = across * reduce / enlarge;
        let start = |edge: f64| edge - ((edge + bench) / pixel).ceil() * pixel;
        let (mut left, top) = (start(rect.left.0), start(rect.top.0));
        let count = |from: f64, size: f64| ((size + bench - from) / pixel).ceil() as usize;
        let (mut width, height) = (count(left, w), count(top, h));
        let narrow = LEAST_WIDTH.min(most).saturating_sub(width).div_ceil(2);
        left -= narrow as f64 * pixel;
        width += 2 * narrow;
        let step = |pitch: f64| ((pixel / pitch + 1e-9).floor() as usize).max(1);
        Layout {
            pixel,
            step_along: step(along),
            step_across: step(across),
            width,
            height,
            left,
            top,
            smooth: false,
        }
    }

    /// The layout of a blank with a narrow bench around it, its longer side `side` pixels: at one scale whatever the
    /// pitch of its dots. It is filled from a look of any step.
    pub fn to_scale(blank: &Blank, side: usize) -> Layout {
        let (w, h) = (blank.shape.width(), blank.shape.height());
        let bench = 0.02 * w.max(h);
        let pixel = (w.max(h) + 2.0 * bench) / side.max(1) as f64;
        let count = |size: f64| (((size + 2.0 * bench) / pixel).round() as usize).max(1);
        Layout {
            pixel,
            step_along: 1,
            step_across: 1,
            width: count(w),
            height: count(h),
            left: -bench,
            top: -bench,
            smooth: true,
        }
    }

    /// Columns and rows of samples that a forecast for this layout has.
    pub fn samples(&self, rect: &DotRect) -> (usize, usize) {
        (rect.columns.div_ceil(self.step_along), rect.rows.div_ceil(self.step_across))
    }

    /// Pixel position (columns, rows) of a point in machine coordinates (mm from the blank's lower left).
    pub fn pixel_of(&self, blank: &Blank, (x, y): (f64, f64)) -> (f64, f64) {
        ((x - self.left) / self.pixel, (blank.shape.height() - y - self.top) / self.pixel)
    }
}

/// The look of a rectangle of dots: mean relative luminance, and share that is over-burnt, of samples that
/// stand for several dots each or for a part of one.
#[derive(Debug, Clone, PartialEq)]
pub struct Look {
    /// Samples a row.
    pub columns: usize,
    /// Rows of samples.
    pub rows: usize,
    /// Dots along that a sample stands for (a whole number, or one over a whole number); the last of a
    /// row may stand for fewer.
    pub step_along: f64,
    /// Dots across that a sample stands for; the last row may stand for fewer.
    pub step_across: f64,
    /// Mean relative luminance of each sample, row after row, 0 to 1.
    pub luminance: Vec<f32>,
    /// Share of each sample that is over-burnt, 0 to 1; empty where nothing is.
    pub over_burn: Vec<f32>,
}

impl Look {
    /// The plainest look: each dot marks its own cell and nothing else; no forecast.
    pub fn of_dots(dots: &Dots, layout: &Layout, y_unmarked: f64, y_marked: f64) -> Look {
        let (sx, sy) = (layout.step_along, layout.step_across);
        let (columns, rows) = (dots.width().div_ceil(sx), dots.height().div_ceil(sy));
        let counts = counts(dots, sx, sy);
        let luminance = counts
            .iter()
            .enumerate()
            .map(|(i, &n)| {
                let (c, r) = (i % columns, i / columns);
                let cells = sx.min(dots.width() - c * sx) * sy.min(dots.height() - r * sy);
                (y_unmarked + f64::from(n) / cells as f64 * (y_marked - y_unmarked)) as f32
            })
            .collect();
        Look {
            columns,
            rows,
            step_along: sx as f64,
            step_across: sy as f64,
            luminance,
            over_burn: Vec::new(),
        }
    }
}

/// How many dots are on in each block of `sx` by `sy` dots, row after row of blocks.
pub fn counts(dots: &Dots, sx: usize, sy: usize) -> Vec<u32> {
    let columns = dots.width().div_ceil(sx).max(1);
    let mut counts = vec![0u32; columns * dots.height().div_ceil(sy)];
    crate::parallel::bands(&mut counts, columns, 1, |block_row, out| {
        for y in block_row * sy..((block_row + 1) * sy).min(dots.height()) {
            let row = dots.row(y);
            for (c, n) in out.iter_mut().enumerate() {
                let (mut from, end) = (c * sx, ((c + 1) * sx).min(dots.width()));
                while from < end {
                    let len = (end - from).min(57);
                    *n += ones(row, from, len);
                    from += len;
                }
            }
        }
    });
    counts
}

/// How many of the `len` (1 to 57) bits from bit `from` on are set. One load of eight bytes holds any 57
/// bits: 5 to 9 times as fast as bit by bit for blocks of 5 to 8 dots.
fn ones(row: &[u8], from: usize, len: usize) -> u32 {
    let at = from / 8;
    let word = match row.get(at..at + 8).and_then(|b| b.try_into().ok()) {
        Some(bytes) => u64::from_be_bytes(bytes),
        None => (0..8).fold(0, |w, i| w << 8 | u64::from(row.get(at + i).copied().unwrap_or(0))),
    };
    (word << (from % 8) >> (64 - len)).count_ones()
}

/// Pixels of at least so many samples are smoothed: of smaller ones each sample is seen.
const SMOOTHED: f64 = 0.9;

/// The cubic B-spline, of which nothing is negative, so that no edge rings (I. J. Schoenberg, "Contributions to the
/// problem of approximation of equidistant data by analytic functions", Quart. Appl. Math. 4, 1946).
pub fn b_spline(x: f64) -> f64 {
    let x = x.abs();
    match x {
        _ if x < 1.0 => (0.5 * x - 1.0) * x * x + 2.0 / 3.0,
        _ if x < 2.0 => (2.0 - x).powi(3) / 6.0,
        _ => 0.0,
    }
}

/// For each pixel along one axis: which samples it shows and with what share of its size.
#[derive(Debug, Clone, PartialEq)]
pub struct Resampling {
    first: Vec<u32>,
    bounds: Vec<u32>,
    weights: Vec<f32>,
}

impl Resampling {
    /// `pixels` pixels of size `pixel` starting at `from`, over `samples` samples of `step` dots each that
    /// begin at `start`; there are `dots` dots of size `pitch`. All lengths in mm.
    pub fn new(
        (from, pixel, pixels): (f64, f64, usize),
        (start, pitch, dots): (f64, f64, usize),
        (samples, step): (usize, f64),
    ) -> Resampling {
        let edge = |j: usize| start + (j as f64 * step).min(dots as f64) * pitch;
        let mut axis = Resampling { first: Vec::new(), bounds: vec![0], weights: Vec::new() };
        let mut j = 0;
        for i in 0..pixels {
            let (a, b) = (from + i as f64 * pixel, from + (i + 1) as f64 * pixel);
            while j < samples && edge(j + 1) <= a + 1e-9 * pixel {
                j += 1;
            }
            axis.first.push(j as u32);
            let mut k = j;
            while k < samples && edge(k) < b - 1e-9 * pixel {
                let share = (edge(k + 1).min(b) - edge(k).max(a)) / pixel;
                axis.weights.push(share as f32);
                k += 1;
            }
            axis.bounds.push(axis.weights.len() as u32);
        }
        axis
    }

    /// The same through a cubic B-spline of the pixels where they are about as large as the samples or larger. Mere areas would
    /// answer to lines of about a pixel in beats, bands that the piece does not have: of a line's pitch of 0.9 pixels they
    /// leave 10 %, the filter 0.01 % (their spectra: sinc, and sinc to the fourth power).
    pub fn smooth(
        (from, pixel, pixels): (f64, f64, usize),
        (start, pitch, dots): (f64, f64, usize),
        (samples, step): (usize, f64),
    ) -> Resampling {
        let size = step * pitch;
        if pixel < SMOOTHED * size {
            return Resampling::new((from, pixel, pixels), (start, pitch, dots), (samples, step));
        }
        let mut axis = Resampling { first: Vec::new(), bounds: vec![0], weights: Vec::new() };
        for i in 0..pixels {
            let middle = from + (i as f64 + 0.5) * pixel;
            let sample = |mm: f64| ((mm - start) / size).floor() as i64;
            let reached = sample(middle - 2.0 * pixel)..=sample(middle + 2.0 * pixel);
            let weight = |j: i64| b_spline((start + (j as f64 + 0.5) * size - middle) / pixel);
            // All that the filter reaches adds up to one, whether dots lie there or not.
            let all: f64 = reached.clone().map(weight).sum();
            let inside =
                (*reached.start()).clamp(0, samples as i64)..(*reached.end() + 1).clamp(0, samples as i64);
            axis.first.push(inside.start as u32);
            axis.weights.extend(inside.map(|j| {
                // The last sample may stand for fewer dots.
                let whole = ((dots as f64 - j as f64 * step) / step).min(1.0);
                (weight(j) / all * whole) as f32
            }));
            axis.bounds.push(axis.weights.len() as u32);
        }
        axis
    }

    /// The first sample that pixel `i` shows, and the shares from there on (none outside the dots).
    pub fn at(&self, i: usize) -> (usize, &[f32]) {
        let (a, b) = (self.bounds[i] as usize, self.bounds[i + 1] as usize);
        (self.first[i] as usize, &self.weights[a..b])
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::placement::Grid;
    use crate::units::Mm;

    fn rect(columns: usize, rows: usize, along: f64, across: f64) -> DotRect {
        let grid = Grid { along: Mm(along), across: Mm(across) };
        DotRect { left: Mm(2.5), top: Mm(2.5), columns, rows, grid }
    }

    fn blank(shape: &str) -> Blank {
        Blank { shape: shape.parse().unwrap(), margin: Mm(2.5) }
    }

    #[test]
    fn no_side_is_longer_than_2400_pixels() {
        for (shape, pitch) in [
            ("round:90mm", 0.0836),
            ("rect:400x400mm", 0.0423),
            ("rect:20x60mm", 0.0875),
            ("rect:2000x30mm", 0.1),
        ] {
            let b = blank(shape);
            let n = |s: f64| ((s - 5.0) / pitch) as usize;
            let r = rect(n(b.shape.width()), n(b.shape.height()), pitch, pitch);
            let l = Layout::new(&b, &r, MOST_PIXELS);
            assert!(l.width <= MOST_PIXELS && l.height <= MOST_PIXELS - 200, "{shape}: {l:?}");
            assert!(l.width >= 900, "{shape}: {l:?}");
        }
    }

    #[test]
    fn a_coaster_is_drawn_one_pixel_a_dot_and_on_whole_pixels() {
        let l = Layout::new(&blank("round:90mm"), &rect(1017, 1017, 25.4 / 304.0, 25.4 / 304.0), MOST_PIXELS);
        assert_eq!((l.step_along, l.step_across), (1, 1));
        let offset = (2.5 - l.left) / l.pixel;
        assert!((offset - offset.round()).abs() < 1e-9);
    }

    #[test]
    fn every_dot_is_counted_once() {
        let mut d = Dots::off(61, 23);
        for y in 0..23 {
            for x in 0..61 {
                d.set(x, y, (x * 7 + y * 13) % 5 < 2);
            }
        }
        for (sx, sy) in [(1, 1), (3, 2), (8, 8), (13, 5), (61, 23), (100, 100)] {
            let c = counts(&d, sx, sy);
            assert_eq!(c.iter().map(|&n| u64::from(n)).sum::<u64>(), d.count(), "{sx} {sy}");
            let want = (0..sx.min(61)).flat_map(|x| (0..sy.min(23)).map(move |y| (x, y)));
            assert_eq!(c[0] as usize, want.filter(|&(x, y)| d.get(x, y)).count(), "{sx} {sy}");
        }
    }

    #[test]
    fn shares_of_a_pixel_are_areas() {
        // Seven dots of 1 mm from 0.25 mm, two a sample (the last one alone), pixels of 1.5 mm from -1 mm.
        let a = Resampling::new((-1.0, 1.5, 7), (0.25, 1.0, 7), (4, 2.0));
        let sum: f32 = (0..7).flat_map(|i| a.at(i).1.iter()).sum();
        assert!((f64::from(sum) * 1.5 - 7.0).abs() < 1e-6);
        assert_eq!(a.at(0).0, 0);
        assert!((a.at(0).1[0] - 0.25 / 1.5).abs() < 1e-6);
        // From 0.5 to 2.0 mm lies the first sample alone; from 2.0 to 3.5 mm the first two.
        assert_eq!(a.at(1), (0, &[1.0f32][..]));
        assert_eq!((a.at(2).0, a.at(2).1.len()), (0, 2));
        // A pixel that is exactly one sample takes it whole.
        let one = Resampling::new((0.5, 0.1, 3), (0.5, 0.1, 3), (3, 1.0));
        assert!(
            (0..3).all(|i| one.at(i).0 == i && one.at(i).1.len() == 1 && (one.at(i).1[0] - 1.0).abs() < 1e-6)
        );
    }

    #[test]
    fn smooth_pixels_show_lines_without_bands_and_end_where_the_dots_end() {
        // Every second of 400 lines of 0.0875 mm in pixels of 0.15 mm.
        let axis = Resampling::smooth((-1.0, 0.15, 250), (0.0, 0.0875, 400), (400, 1.0));
        let seen: Vec<f32> = (0..250)
            .map(|i| {
                let (first, weights) = axis.at(i);
                weights.iter().enumerate().filter(|(k, _)| (first + k) % 2 == 0).map(|(_, w)| w).sum()
            })
            .collect();
        let areas = Resampling::new((-1.0, 0.15, 250), (0.0, 0.0875, 400), (400, 1.0));
        let by_area = |i: usize| -> f32 {
            let (first, weights) = areas.at(i);
            weights.iter().enumerate().filter(|(k, _)| (first + k) % 2 == 0).map(|(_, w)| w).sum()
        };
        let spread = |of: &dyn Fn(usize) -> f32| {
            let all: Vec<f32> = (20..230).map(of).collect();
            all.iter().copied().fold(0.0, f32::max) - all.iter().copied().fold(1.0, f32::min)
        };
        let (smooth, areas) = (spread(&|i| seen[i]), spread(&by_area));
        assert!(smooth < 0.01 && areas > 0.15, "{smooth}, by areas {areas}");
        let shares: Vec<f32> = (0..250).map(|i| axis.at(i).1.iter().sum()).collect();
        assert!(shares[20..230].iter().all(|s| (s - 1.0).abs() < 1e-5));
        // 6 pixels before the dots none, and all of them together are the 35 mm of dots.
        assert!(shares[..4].iter().all(|s| *s == 0.0));
        assert!((f64::from(shares.iter().sum::<f32>()) * 0.15 - 35.0).abs() < 0.02);
        // Where each sample is seen, it is shown as it is.
        let (args, dots) = ((0.0, 0.02, 100), (0.0, 0.0875, 20));
        assert_eq!(Resampling::smooth(args, dots, (20, 1.0)), Resampling::new(args, dots, (20, 1.0)));
    }
}
