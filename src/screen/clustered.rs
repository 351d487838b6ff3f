//! Clustered dots at a ruling and angle, as amplitude-modulated screens of printing are.
//!
//! The spot function is cos u + cos v over the ruled cell: round dots in light tones, squares that meet at
//! their corners at ½, round holes in dark ones (the common "Euclidean" form; see e.g. R. Ulichney, Digital
//! Halftoning, 1987, ch. 5). Its values on this very lattice of dots are ranked, and the rank is the threshold,
//! so that any ruling, angle and pitch keeps the mean.

use libm::{cos, sin};
use std::f64::consts::TAU;

use super::{Options, Screen, Wants};
use crate::parallel;
use crate::plane::{Dots, Tone};
use crate::progress::Progress;

/// The clustered-dot screen; `Options::ruling_per_mm` and `Options::angle_deg` set it.
pub const CLUSTERED: Screen = Screen {
    name: "clustered",
    wants: Wants::Coverage,
    searches: false,
    takes: &["ruling", "angle", "dot-gain"],
    make: clustered,
};

/// Steps of the spot function's range, -2 to 2, that are told apart.
const STEPS: usize = 8192;
/// Side of the square of dots whose spot values are ranked.
const SAMPLE: usize = 512;
/// Dots of equal spot value in different cells light one after the other, well spread: their values are
/// set apart by up to this, a tenth of the least step between unequal dots of a 6 x 6 cell.
const APART: f32 = 0.02;
/// The order is the fractional part of x·r + y·r² with 1/r the plastic number, 1.3247: it stays even
/// when only every n-th dot is looked at, as a ruling does (M. Roberts's R2 sequence; a blue-noise mask does not,
/// its mean over a patch of 256 dots was off by up to 0.0021).
const ALONG: f64 = 0.754_877_666_246_692_8;
const ACROSS: f64 = 0.569_840_290_998_053_3;
/// Rows handed to a thread at once.
const ROWS: usize = 64;

/// Marks dots in clusters. A ruling that is not a positive number gives single, evenly spread dots.
pub fn clustered(tone: &Tone, options: &Options, _progress: &dyn Progress) -> Dots {
    let (width, height) = (tone.width(), tone.height());
    let mut dots = Dots::off(width, height);
    let stride = dots.stride();
    if stride == 0 || height == 0 {
        return dots;
    }
    let spots = Spots::new(options, width.max(SAMPLE));
    let ranks = spots.ranks();
    parallel::bands(dots.bits_mut(), stride, ROWS, |first, band| {
        let mut values = vec![0.0f32; width];
        for (i, row) in band.chunks_exact_mut(stride).enumerate() {
            spots.row(first + i, &mut values);
            let tones = tone.row(first + i);
            for (byte, (tones, values)) in row.iter_mut().zip(tones.chunks(8).zip(values.chunks(8))) {
                *byte = tones
                    .iter()
                    .zip(values)
                    .enumerate()
                    .fold(0, |b, (k, (&t, &v))| b | (u8::from(t > threshold(&ranks, v)) << (7 - k)));
            }
        }
    });
    dots
}

/// The place of a spot value among `STEPS`, and how far it is to the next.
#[inline]
fn step(value: f32) -> (usize, f32) {
    let place = (value + (2.0 + APART)) * (STEPS as f32 / (4.0 + 2.0 * APART));
    let whole = (place as usize).min(STEPS - 1);
    (whole, place - whole as f32)
}

/// The share of dots with a spot value above `value`: they light before it.
#[inline]
fn threshold(ranks: &[f32], value: f32) -> f32 {
    let (i, part) = step(value);
    match ranks.get(i..i + 2) {
        Some(r) => r[0] + part * (r[1] - r[0]),
        None => 1.0,
    }
}

/// cos and sin of one phase along the rows, and how it turns from row to row.
struct Phase {
    cos: Vec<f32>,
    sin: Vec<f32>,
    per_row: f64,
}

impl Phase {
    fn new(per_dot: f64, per_row: f64, columns: usize) -> Self {
        // Turns are taken modulo 1 before the cosine, so that far columns are as exact as near ones.
        let at = |x: usize| (x as f64 * per_dot).fract() * TAU;
        Phase {
            cos: (0..columns).map(|x| cos(at(x)) as f32).collect(),
            sin: (0..columns).map(|x| sin(at(x)) as f32).collect(),
            per_row,
        }
    }

    fn at_row(&self, y: usize) -> (f32, f32) {
        let turn = (y as f64 * self.per_row).fract() * TAU;
        (cos(turn) as f32, sin(turn) as f32)
    }
}

struct Spots {
    along: Phase,
    across: Phase,
    /// The order's part along the row.
    order: Vec<f32>,
}

impl Spots {
    fn new(options: &Options, columns: usize) -> Self {
        let finite = |v: f64| if v.is_finite() { v } else { 0.0 };
        let angle = finite(options.angle_deg).to_radians();
        let dot = finite(options.ruling_per_mm.max(0.0) * options.pitch_along_mm);
        // Rows go down, angles counter-clockwise with y up.
        let row = -finite(options.ruling_per_mm.max(0.0) * options.pitch_across_mm);
        let (c, s) = (cos(angle), sin(angle));
        Spots {
            along: Phase::new(dot * c, row * s, columns),
            across: Phase::new(-dot * s, row * c, columns),
            order: (0..columns).map(|x| (x as f64 * ALONG).fract() as f32).collect(),
        }
    }

    /// The spot values of row `y`.
    fn row(&self, y: usize, values: &mut [f32]) {
        let ((c1, s1), (c2, s2)) = (self.along.at_row(y), self.across.at_row(y));
        let order_of_row = (y as f64 * ACROSS).fract() as f32;
        let (first, second) =
            (self.along.cos.iter().zip(&self.along.sin), self.across.cos.iter().zip(&self.across.sin));
        for (value, ((a, b), (c, d))) in values.iter_mut().zip(first.zip(second)) {
            *value = (a * c1 - b * s1) + (c * c2 - d * s2);
        }
        for (value, along) in values.iter_mut().zip(&self.order) {
            let order = along + order_of_row;
            let order = if order < 1.0 { order } else { order - 1.0 };
            *value -= (order - 0.5) * (2.0 * APART);
        }
    }

    /// For each step of the spot value the share of dots above it. The sample fades out towards its
    /// sides, so that it does not matter where they cut the cells.
    fn ranks(&self) -> Vec<f32> {
        let fade: Vec<f64> = (0..SAMPLE).map(|i| 1.0 - cos((i as f64 + 0.5) / SAMPLE as f64 * TAU)).collect();
        let mut weight = vec![0.0f64; STEPS];
        let mut values = vec![0.0f32; SAMPLE];
        for (y, of_row) in fade.iter().enumerate() {
            self.row(y, &mut values);
            values.iter().zip(&fade).for_each(|(&v, of_column)| weight[step(v).0] += of_row * of_column);
        }
        let all: f64 = weight.iter().sum();
        let mut above = vec![0.0f32; STEPS + 1];
        let mut sum = 0.0;
        for i in (0..STEPS).rev() {
            sum += weight[i];
            above[i] = (sum / all) as f32;
        }
        above
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::mark::Burn;
    use crate::progress::Silent;

    fn options(ruling: f64, angle: f64, along: f64, across: f64) -> Options {
        let mut options = Options::new(Burn::plain(1.5, 1.5), along, across);
        (options.ruling_per_mm, options.angle_deg) = (ruling, angle);
        options
    }

    #[test]
    fn flat_tones_keep_their_mean_at_any_ruling_angle_and_pitch() {
        // A patch's sides cut clusters, which says nothing about the tone; so the patch fades out.
        let fade: Vec<f64> = (0..256).map(|i| 1.0 - cos((i as f64 + 0.5) / 256.0 * TAU)).collect();
        for (ruling, angle, along, across) in [
            (2.0, 45.0, 0.0836, 0.0836),
            (2.0, 0.0, 0.1, 0.1),
            (1.7, 15.0, 0.08, 0.12),
            (5.0, 45.0, 0.1, 0.1),
        ] {
            let options = options(ruling, angle, along, across);
            for level in (0..=255).step_by(5) {
                let g = level as f32 / 255.0;
                let dots = clustered(&Tone::filled(256, 256, g), &options, &Silent);
                let mean = (0..256 * 256)
                    .filter(|i| dots.get(i % 256, i / 256))
                    .map(|i| fade[i % 256] * fade[i / 256])
                    .sum::<f64>()
                    / 65536.0;
                let error = mean - f64::from(g);
                // The bound for flat patches: 0.5 / √N.
                assert!(error.abs() <= 0.5 / 256.0, "ruling {ruling} angle {angle} level {level}: {error}");
            }
        }
    }

    #[test]
    fn clusters_lie_at_the_ruling() {
        // 2.5 clusters a mm at 0°, 0.1 mm a dot: one every 4 dots along and across.
        let dots = clustered(&Tone::filled(64, 64, 0.0625), &options(2.5, 0.0, 0.1, 0.1), &Silent);
        for y in 0..64 {
            for x in 0..64 {
                assert_eq!(dots.get(x, y), x % 4 == 0 && y % 4 == 0, "{x} {y}");
            }
        }
    }

    #[test]
    fn the_angle_turns_counter_clockwise_as_seen() {
        // At atan(1/3) the ruling's first direction goes 3 dots right and 1 up.
        let angle = (1.0f64 / 3.0).atan().to_degrees();
        let ruling = 10.0 / 10.0f64.sqrt();
        let dots = clustered(&Tone::filled(60, 60, 0.1), &options(ruling, angle, 0.1, 0.1), &Silent);
        let y0 = 30;
        let x0 = (0..30).find(|&x| dots.get(x, y0)).unwrap();
        assert!(dots.get(x0 + 3, y0 - 1) && dots.get(x0 + 1, y0 + 3), "the lattice of (3, 1)");
    }

    #[test]
    fn none_full_and_senseless_settings_are_no_trouble() {
        for ruling in [2.0, 0.0, -1.0, f64::NAN, f64::INFINITY, 1e9] {
            let options = options(ruling, f64::NAN, 0.1, 0.1);
            assert_eq!(clustered(&Tone::filled(99, 40, 0.0), &options, &Silent).count(), 0);
            assert_eq!(clustered(&Tone::filled(99, 40, 1.0), &options, &Silent).count(), 99 * 40);
        }
    }
}
