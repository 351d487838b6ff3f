//! Automatic levels of a photo: what it lacks is given to it, within bounds, and a good one is left alone.
//!
//! A dark or dull photo is stretched to the whole range, its detail strengthened and its noise smoothed first; one
//! whose subject lies in shadow before a light ground, or before the window of a dark room, gets its shadows lifted.
//! What is meant to be dark or flat stays so: a night sky has few bright places that reach white already, a grey card
//! has no range and no structure.
//! The bounds are this program's own, found on the photos of `tests/outside/test_detail.py` (no source).

use super::{box_filter, local, sharpen};
use crate::colour::{Curve, lstar};
use crate::parallel;
use crate::plane::{Alpha, Light};

/// Side of the blocks that are looked at, mm: finer than that, grain is not seen on the piece.
const BLOCK_MM: f64 = 0.175;
/// Share of the blocks that may lie beyond black and white.
const CLIP: f64 = 0.01;
/// Half the side of the surroundings that detail is told from, mm.
const SURROUNDINGS_MM: f64 = 2.0;
/// Radius of the smoothing of noise, mm.
const SMOOTHING_MM: f64 = 0.35;
/// Radius of what counts as one tone when shadows are lifted, mm.
const SHADOW_MM: f64 = 4.0;
/// Standard deviation of the Gaussian that detail is strengthened against, mm.
const DETAIL_MM: f64 = 1.2;
/// How many times the detail of a dark photo is wanted, and how many times more that of one whose black is grey: its
/// forecast gains nothing from leaving the deepest tones, where L* is steep.
const WANTED: (f64, f64) = (3.5, 2.0);

/// What is done to a photo. Lightness is L* (0 to 100).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Automatic {
    /// The lightness that becomes black.
    pub black: f64,
    /// The lightness that becomes white.
    pub white: f64,
    /// How far noise is smoothed, 0 to 1.
    pub smooth: f64,
    /// How far shadows are lifted, 0 to 1.
    pub lift: f64,
    /// By how much detail is strengthened, 0 to 1.35.
    pub detail: f64,
    /// Its noise, L*, in blocks of 0.175 mm.
    noise: f64,
}

/// What a photo is like, in L*.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Seen {
    /// Its black and its white but for a hundredth at either end.
    ends: (f64, f64),
    noise: f64,
    /// Root mean square of its detail, without noise.
    detail: f64,
    /// Share of it that is darker than L* 25 and has structure.
    shadows: f64,
    /// Share of it that is lighter than L* 75.
    lights: f64,
    /// Share of it that is darker than L* 25, has clear structure, and no such lights beside it, whose edges are no subject;
    /// and what share that is of all that is as structured, and not light.
    subject: (f64, f64),
    /// Share of single dots that are lighter than L* 80: stars and lamps, which blocks even out.
    glints: f64,
}

/// 0 up to `from`, 1 from `to` on, smooth between.
fn ramp(from: f64, to: f64, x: f64) -> f64 {
    let t = ((x - from) / (to - from)).clamp(0.0, 1.0);
    t * t * (3.0 - 2.0 * t)
}

impl Automatic {
    /// What `light` lacks; `None` where it is best left alone. `pitch_mm` are the distances of dots along and across.
    pub fn of(light: &Light, alpha: Option<&Alpha>, pitch_mm: (f64, f64)) -> Option<Automatic> {
        let seen = Seen::of(light, alpha, pitch_mm)?;
        let (low, high) = seen.ends;
        let range = high - low;
        let dull = ramp(8.0, 13.0, range) * ramp(0.25, 0.6, seen.detail) * (1.0 - ramp(56.0, 69.0, range));
        // What has points of white is not short of light: a night sky.
        let dull = dull * (1.0 - ramp(0.005, 0.015, seen.glints));
        let (black, white) = (dull * low, 100.0 - dull * (100.0 - high));
        let gain = 100.0 / (white - black);
        // Dark over much of the picture, or all of a smaller subject: a couple before the window of a dark room. A dark coat
        // in daylight has a face and a field beside it that are not.
        let (subject, dark) = seen.subject;
        let lift = (ramp(0.28, 0.42, seen.shadows) * ramp(0.1, 0.25, seen.lights))
            .max(ramp(0.08, 0.12, subject) * ramp(0.78, 0.9, dark) * ramp(0.08, 0.16, seen.lights));
        let noise = seen.noise * gain.max(1.0 + 1.4 * lift);
        let wanted = WANTED.0 + WANTED.1 * ramp(10.0, 25.0, black);
        let more = (1.2 * (wanted / gain - 1.0)).clamp(0.15, 1.35) * ramp(1.3, 1.7, gain);
        let done = Automatic {
            black,
            white,
            smooth: ramp(0.8, 1.6, noise),
            lift,
            detail: more.max(0.9 * lift),
            noise: seen.noise,
        };
        (gain > 1.02 || lift > 0.02).then_some(done)
    }

    /// Does it to a plane of L* / 100.
    pub(super) fn apply(&self, plane: &mut Light, pitch_mm: (f64, f64)) {
        let dots = |mm: f64| (mm / pitch_mm.0, mm / pitch_mm.1);
        if self.smooth > 0.0 {
            let twice = 2.0 * self.noise / 100.0;
            let (keep, variance) = (1.0 - self.smooth as f32, (twice * twice) as f32);
            local::beside_smooth(plane, dots(SMOOTHING_MM), variance, |v, smooth| {
                smooth + keep * (v - smooth)
            });
        }
        let (black, span) = (self.black as f32 / 100.0, ((self.white - self.black) / 100.0) as f32);
        let w = plane.width();
        parallel::bands(plane.data_mut(), w, 16, |_, band| {
            band.iter_mut().for_each(|v| *v = ((*v - black) / span).clamp(0.0, 1.0));
        });
        if self.lift > 0.0 {
            // As a longer exposure of the shadows alone: a tone and its detail grow by the same factor.
            let power = -0.6 * self.lift as f32;
            local::beside_smooth(plane, dots(SHADOW_MM), 0.01, |v, smooth| {
                v * libm::powf(smooth.clamp(0.01, 1.0), power).min(3.5)
            });
        }
        if self.detail > 0.0 {
            let (x, y) = dots(DETAIL_MM);
            sharpen::unsharp(plane, self.detail as f32, x, y);
        }
    }
}

impl Seen {
    fn of(light: &Light, alpha: Option<&Alpha>, (px, py): (f64, f64)) -> Option<Seen> {
        let block = |p: f64| ((BLOCK_MM / p).round() as usize).max(1);
        let (bx, by) = (block(px), block(py));
        let (plane, opaque, glints) = blocks(light, alpha, bx, by)?;
        let (w, h) = (plane.w, plane.h);
        let noise = noise(&plane, &opaque);
        let reach = |p: f64, b: usize| ((SURROUNDINGS_MM / (p * b as f64)).round() as usize).max(1);
        let around = (reach(px, bx), reach(py, by));
        let of = |data: Vec<f32>| Blocks { w, h, data };
        let smooth = of(plane.data.clone()).means(around);
        let square = |(v, s): (&f32, &f32)| (v - s) * (v - s);
        let squares = of(plane.data.iter().zip(&smooth.data).map(square).collect()).means(around);
        let light = plane.data.iter().map(|&l| f32::from(u8::from(l > 75.0))).collect();
        // What an edge gives to the structure around it reaches twice as far.
        let beside = of(light).means(around).means(around);
        let structure = |v: f32| (f64::from(v) - noise * noise).max(0.0);
        let (mut tones, mut energy, mut shadows, mut lights) = (Vec::new(), 0.0, 0usize, 0usize);
        let (mut subject, mut between) = (0usize, 0usize);
        for i in (0..plane.data.len()).filter(|&i| opaque[i]) {
            let (l, own) = (plane.data[i], structure(squares.data[i]));
            if own > 4.0 && beside.data[i] < 1e-6 {
                subject += usize::from(l < 25.0);
                between += usize::from(l >= 25.0);
            }
            tones.push(l);
            energy += own;
            shadows += usize::from(l < 25.0 && own > 0.36);
            lights += usize::from(l > 75.0);
        }
        let n = tones.len();
        let mut at = |share: f64| {
            let place = (n.checked_sub(1)? as f64 * share).round() as usize;
            Some(f64::from(*tones.select_nth_unstable_by(place, f32::total_cmp).1))
        };
        Some(Seen {
            ends: (at(CLIP)?, at(1.0 - CLIP)?),
            noise,
            detail: (energy / n as f64).sqrt(),
            shadows: shadows as f64 / n as f64,
            lights: lights as f64 / n as f64,
            subject: (subject as f64 / n as f64, subject as f64 / (subject + between).max(1) as f64),
            glints,
        })
    }
}

/// A value for each block.
struct Blocks {
    w: usize,
    h: usize,
    data: Vec<f32>,
}

impl Blocks {
    /// Means over `rx` blocks to either side and `ry` above and below.
    fn means(mut self, (rx, ry): (usize, usize)) -> Blocks {
        box_filter::means(&mut self.data, self.w, rx, ry);
        self
    }
}

/// Mean L* of blocks of `bx` by `by` dots, and which of them are opaque; the others hold the mean of those. Also the
/// share of the opaque ones' dots that are lighter than L* 80. `None` where there are too few to judge by.
fn blocks(light: &Light, alpha: Option<&Alpha>, bx: usize, by: usize) -> Option<(Blocks, Vec<bool>, f64)> {
    let (w, h) = (light.width() / bx, light.height() / by);
    let curve = Curve::new(|y| lstar(y) / 100.0);
    let rows = parallel::map(h, |y| {
        let mut sums = vec![(0.0f32, true, 0usize); w];
        for source in y * by..(y + 1) * by {
            let row = light.row(source);
            let cover = alpha.map(|a| a.row(source));
            for (i, (sum, opaque, bright)) in sums.iter_mut().enumerate() {
                for x in i * bx..(i + 1) * bx {
                    let l = 100.0 * curve.at(row[x]);
                    *sum += l;
                    *bright += usize::from(l > 80.0);
                    *opaque &= cover.is_none_or(|c| c[x] >= 0.5);
                }
            }
        }
        sums
    });
    let rows: Vec<(f32, bool, usize)> = rows.into_iter().flatten().collect();
    let bright: usize = rows.iter().filter(|(_, opaque, _)| *opaque).map(|(.., n)| n).sum();
    let each = (bx * by) as f32;
    let (mut data, opaque): (Vec<f32>, Vec<bool>) = rows.into_iter().map(|(s, o, _)| (s / each, o)).unzip();
    let seen = opaque.iter().filter(|o| **o).count();
    if seen < 400 {
        return None;
    }
    let all: f64 = data.iter().zip(&opaque).filter(|(_, o)| **o).map(|(v, _)| f64::from(*v)).sum();
    let mean = (all / seen as f64) as f32;
    data.iter_mut().zip(&opaque).filter(|(_, o)| !**o).for_each(|(v, _)| *v = mean);
    let glints = bright as f64 / (seen * bx * by) as f64;
    Some((Blocks { w, h, data }, opaque, glints))
}

/// Standard deviation of the noise: the median of the diagonal differences of neighbouring blocks over 0.6745, as by
/// D. L. Donoho and I. M. Johnstone, Biometrika 81 (1994), from the finest diagonal band of Haar's wavelet.
fn noise(plane: &Blocks, opaque: &[bool]) -> f64 {
    let (w, row) = (plane.w, |y: usize| &plane.data[y * plane.w..(y + 1) * plane.w]);
    let mut all = Vec::new();
    for y in 1..plane.h {
        let (above, here) = (row(y - 1), row(y));
        for x in 1..w {
            if opaque[y * w + x] && opaque[(y - 1) * w + x - 1] {
                all.push(((above[x - 1] - above[x] - here[x - 1] + here[x]) / 2.0).abs());
            }
        }
    }
    let middle = all.len() / 2;
    if all.is_empty() {
        return 0.0;
    }
    let (_, median, _) = all.select_nth_unstable_by(middle, f32::total_cmp);
    f64::from(*median) / 0.6745
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::colour::luminance;

    const PITCH: (f64, f64) = (0.1, 0.1);

    /// L* by place, as light; `noise` L* either way, the same on every machine.
    fn scene(of: impl Fn(f64, f64) -> f64, noise: f64) -> Light {
        let (mut state, n) = (1u64, 320);
        let mut grain = || {
            state = state.wrapping_mul(6364136223846793005).wrapping_add(1442695040888963407);
            ((state >> 33) as f64 / (1u64 << 30) as f64 - 1.0) * noise
        };
        let value = |i: usize| of((i % n) as f64, (i / n) as f64);
        Light::from_vec(
            n,
            n,
            (0..n * n).map(|i| luminance((value(i) + grain()).clamp(0.0, 100.0)) as f32).collect(),
        )
    }

    /// A checkered scene with a wave, from 0 to 1.
    fn motif(x: f64, y: f64) -> f64 {
        let wave = 0.5 + 0.5 * (x / 40.0).sin() * (y / 31.0).cos();
        let tiles = f64::from(((x / 9.0) as u32 + (y / 11.0) as u32) % 2);
        0.6 * wave + 0.4 * tiles
    }

    #[test]
    fn a_good_photo_a_night_sky_and_flat_cards_are_left_alone() {
        let of = |light: &Light| Automatic::of(light, None, PITCH);
        assert_eq!(of(&scene(|x, y| 100.0 * motif(x, y), 1.0)), None);
        let night = |x: f64, y: f64| {
            let star = (x as u32 * 7919 + y as u32 * 104729) % 97 < 3;
            if star { 95.0 } else { 3.0 + y / 80.0 }
        };
        assert_eq!(of(&scene(night, 1.5)), None);
        for grey in [1.0, 16.0, 50.0, 96.0] {
            assert_eq!(of(&scene(|x, _| grey + x / 80.0, 2.0)), None, "a card of L* {grey}");
        }
    }

    #[test]
    fn a_dark_photo_and_a_dull_one_get_their_range() {
        let dark = Automatic::of(&scene(|x, y| 40.0 * motif(x, y), 1.5), None, PITCH).unwrap();
        assert!(dark.black < 6.0 && (34.0..45.0).contains(&dark.white), "{dark:?}");
        assert!(dark.smooth > 0.3 && dark.lift < 0.01 && dark.detail > 0.1, "{dark:?}");
        let dull = Automatic::of(&scene(|x, y| 40.0 + 20.0 * motif(x, y), 0.1), None, PITCH).unwrap();
        assert!((38.0..46.0).contains(&dull.black) && (54.0..62.0).contains(&dull.white), "{dull:?}");
        assert!(dull.smooth < 0.5, "{dull:?}");
    }

    #[test]
    fn a_subject_in_shadow_before_a_light_ground_is_lifted_and_the_ground_stays() {
        let back = scene(|x, y| if y < 130.0 { 92.0 } else { 6.0 + 14.0 * motif(x, y) }, 0.5);
        let done = Automatic::of(&back, None, PITCH).unwrap();
        assert!(done.lift > 0.9, "{done:?}");
        let mut plane: Light = back.clone();
        let w = plane.width();
        parallel::bands(plane.data_mut(), w, 16, |_, band| Curve::new(|y| lstar(y) / 100.0).apply(band));
        let mean = |p: &Light, from: usize, to: usize| {
            (from..to).map(|y| p.row(y).iter().map(|v| f64::from(*v)).sum::<f64>()).sum::<f64>()
                / ((to - from) * w) as f64
        };
        let before = (mean(&plane, 20, 100), mean(&plane, 160, 310));
        done.apply(&mut plane, PITCH);
        let after = (mean(&plane, 20, 100), mean(&plane, 160, 310));
        assert!((after.0 - before.0).abs() < 0.06, "the ground: {before:?} {after:?}");
        assert!(after.1 > 2.0 * before.1, "the subject: {before:?} {after:?}");
    }

    #[test]
    fn a_small_subject_before_a_window_is_lifted_and_a_dark_coat_and_a_silhouette_are_not() {
        // A window in a dark room, a subject of a fifth of the picture below it.
        let room = |subject: &dyn Fn(f64, f64) -> f64, wall: f64, noise: f64| {
            let at = |x: f64, y: f64| match (x, y) {
                (x, y) if (100.0..220.0).contains(&x) && y < 120.0 => 96.0,
                (x, y) if (80.0..240.0).contains(&x) && (180.0..310.0).contains(&y) => subject(x, y),
                _ => wall,
            };
            Automatic::of(&scene(at, noise), None, PITCH).map_or(0.0, |done| done.lift)
        };
        let couple = |x: f64, y: f64| 4.0 + 16.0 * motif(x, y);
        assert!(room(&couple, 10.0, 0.4) > 0.7);
        // In daylight, and one without anything in it.
        assert!(
            room(&|x, y| if y < 230.0 { 30.0 + 40.0 * motif(x, y) } else { couple(x, y) }, 50.0, 0.4) < 0.02
        );
        assert!(room(&|_, _| 5.0, 10.0, 0.4) < 0.3);
    }

    #[test]
    fn what_is_transparent_does_not_count() {
        let light = scene(|x, y| if x < 100.0 { 100.0 } else { 40.0 * motif(x, y) }, 0.5);
        let alpha = Alpha::from_vec(
            320,
            320,
            (0..320 * 320).map(|i| if i % 320 < 100 { 0.0 } else { 1.0 }).collect(),
        );
        let done = Automatic::of(&light, Some(&alpha), PITCH).unwrap();
        assert!(done.white < 45.0, "{done:?}");
        assert!(Automatic::of(&Light::filled(9, 9, 0.1), None, PITCH).is_none(), "too little to judge by");
    }
}
