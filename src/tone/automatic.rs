//! Automatic levels of a photo: what it lacks is given to it, within bounds, and a good one is left alone.
//!
//! A dark or dull photo is stretched to the whole range, its detail strengthened and its noise smoothed first; one
//! whose subject lies in shadow before a light ground, or before the window of a dark room, gets its shadows lifted.
//! What is meant to be dark or flat stays so: a night sky has few bright places that reach white already, a grey card
//! has no range and no structure.
//! The bounds are this program's own, found on the photos of `tests/outside/test_detail.py` (no source).

use std::ops::Range;

use super::{border, box_filter, local, sharpen};
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
/// How many times the detail of a dark photo is wanted, and how many times more that of one whose black and white are both
/// grey: its forecast gains nothing from leaving the deepest tones, where L* is steep.
const WANTED: (f64, f64) = (3.5, 2.0);
/// What stretches tones by no more than this is not worth a word.
const LEAST_GAIN: f64 = 1.05;

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
    /// What half of it is darker than.
    middle: f64,
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

/// What a photo lacks, and its border.
#[derive(Debug, Clone, PartialEq)]
pub struct Found {
    /// What it lacks; `None` where it is best left alone.
    pub automatic: Option<Automatic>,
    /// The columns and rows within its even border, where it has one.
    pub inside: Option<(Range<usize>, Range<usize>)>,
}

/// What is found in `light`, whose dots lie `pitch_mm` apart along and across. An even border, as old prints and screenshots
/// have, does not count.
pub fn found(light: &Light, alpha: Option<&Alpha>, pitch_mm: (f64, f64)) -> Found {
    let blocks =
        |light: &Light, alpha: Option<&Alpha>| blocks(light, alpha, block(pitch_mm.0), block(pitch_mm.1));
    let Some(seen) = blocks(light, alpha) else { return Found { automatic: None, inside: None } };
    let inside = border::inside((&seen.0.data, &seen.1), (seen.0.w, seen.0.h)).map(|(columns, rows)| {
        let dots = |blocks: Range<usize>, side: usize| blocks.start * side..blocks.end * side;
        (dots(columns, block(pitch_mm.0)), dots(rows, block(pitch_mm.1)))
    });
    let seen = match &inside {
        None => Some(seen),
        Some((columns, rows)) => {
            let part = light.part(columns.clone(), rows.clone());
            blocks(&part, alpha.map(|a| a.part(columns.clone(), rows.clone())).as_ref())
        }
    };
    let automatic = seen.and_then(|seen| Automatic::of(&Seen::of(seen, pitch_mm)?));
    Found { automatic, inside }
}

impl Automatic {
    fn of(seen: &Seen) -> Option<Automatic> {
        let (low, high) = seen.ends;
        let range = high - low;
        let dull = ramp(8.0, 13.0, range) * ramp(0.25, 0.6, seen.detail) * (1.0 - ramp(56.0, 69.0, range));
        // What is dark and has points of white is not short of light: a night sky. Fog and a faded portrait are light all over.
        let night = 1.0 - ramp(30.0, 50.0, seen.middle);
        let dull = dull * (1.0 - night * ramp(0.005, 0.015, seen.glints));
        // What is nearly white all over is no fog: a white dog in snow would become a black one.
        let dull = dull * (1.0 - ramp(72.0, 80.0, low));
        let (black, white) = (dull * low, 100.0 - dull * (100.0 - high));
        let gain = 100.0 / (white - black);
        // Dark over much of the picture, or all of a smaller subject: a couple before the window of a dark room. A dark coat
        // in daylight has a face and a field beside it that are not.
        let (subject, dark) = seen.subject;
        let lift = (ramp(0.28, 0.42, seen.shadows) * ramp(0.1, 0.25, seen.lights))
            .max(ramp(0.08, 0.12, subject) * ramp(0.78, 0.9, dark) * ramp(0.08, 0.16, seen.lights));
        let noise = seen.noise * gain.max(1.0 + 1.4 * lift);
        let wanted = WANTED.0 + WANTED.1 * ramp(10.0, 25.0, black) * ramp(5.0, 15.0, 100.0 - white);
        // Where black is grey, a photo of middling range is an ordinary one, and one with as little structure as a moon has no
        // more to show: halos and patches would be all that it gets.
        let grey = ramp(8.0, 16.0, black);
        let lacking = ramp(1.3 + 0.5 * grey, 1.7 + 0.8 * grey, gain);
        let plain = grey * (1.0 - ramp(7.0, 10.0, seen.detail * gain));
        let more = (1.2 * (wanted / gain - 1.0)).clamp(0.15, 1.35);
        let more = (more - plain * (more - 0.15)) * lacking;
        let done = Automatic {
            black,
            white,
            smooth: ramp(0.8, 1.6, noise),
            lift,
            detail: more.max(0.9 * lift),
            noise: seen.noise,
        };
        (gain > LEAST_GAIN || lift > 0.02).then_some(done)
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
    fn of((plane, opaque, glints): (Blocks, Vec<bool>, f64), (px, py): (f64, f64)) -> Option<Seen> {
        let (bx, by) = (block(px), block(py));
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
            middle: at(0.5)?,
            noise,
            detail: (energy / n as f64).sqrt(),
            shadows: shadows as f64 / n as f64,
            lights: lights as f64 / n as f64,
            subject: (subject as f64 / n as f64, subject as f64 / (subject + between).max(1) as f64),
            glints,
        })
    }
}

/// Dots of a block's side, where they lie `pitch_mm` apart.
fn block(pitch_mm: f64) -> usize {
    ((BLOCK_MM / pitch_mm).round() as usize).max(1)
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
    use crate::proof::words::automatic_briefly;

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
        let of = |light: &Light| found(light, None, PITCH).automatic;
        assert_eq!(of(&scene(|x, y| 100.0 * motif(x, y), 1.0)), None);
        let night = |x: f64, y: f64| {
            let star = (x as u32 * 7919 + y as u32 * 104729) % 97 < 3;
            if star { 95.0 } else { 3.0 + y / 80.0 }
        };
        assert_eq!(of(&scene(night, 1.5)), None);
        // So does one under the glow of a town.
        let glow = |x: f64, y: f64| if night(x, y) > 50.0 { 95.0 } else { 12.0 + y / 20.0 };
        assert_eq!(of(&scene(glow, 1.5)), None);
        for grey in [1.0, 16.0, 50.0, 96.0] {
            assert_eq!(of(&scene(|x, _| grey + x / 80.0, 2.0)), None, "a card of L* {grey}");
        }
    }

    #[test]
    fn a_dark_photo_and_a_dull_one_get_their_range() {
        let dark = found(&scene(|x, y| 40.0 * motif(x, y), 1.5), None, PITCH).automatic.unwrap();
        assert!(dark.black < 6.0 && (34.0..45.0).contains(&dark.white), "{dark:?}");
        assert!(dark.smooth > 0.3 && dark.lift < 0.01 && dark.detail > 0.1, "{dark:?}");
        let dull = found(&scene(|x, y| 40.0 + 20.0 * motif(x, y), 0.1), None, PITCH).automatic.unwrap();
        assert!((38.0..46.0).contains(&dull.black) && (54.0..62.0).contains(&dull.white), "{dull:?}");
        assert!(dull.smooth < 0.5, "{dull:?}");
        assert_eq!(automatic_briefly(&dark), "it is dark: its tones are spread");
        assert_eq!(automatic_briefly(&dull), "it has little contrast: its tones are spread");
    }

    #[test]
    fn fog_and_a_faded_portrait_are_light_all_over_and_get_their_range() {
        let (fog, faded) = (|m: f64| 62.0 + 23.0 * m, |m: f64| 60.0 + 39.0 * m);
        for (of, black, white) in [(&fog as &dyn Fn(f64) -> f64, 62.0, 85.0), (&faded, 60.0, 99.0)] {
            let done = found(&scene(|x, y| of(motif(x, y)), 0.3), None, PITCH).automatic.unwrap();
            assert!((done.black - black).abs() < 6.0 && (done.white - white).abs() < 6.0, "{done:?}");
            // Their white is white nearly: tones are what they lack, not detail.
            assert!(done.detail < 0.9, "{done:?}");
        }
        let snow = scene(|x, y| 82.0 + 14.0 * motif(x, y), 0.3);
        assert_eq!(found(&snow, None, PITCH).automatic, None);
    }

    /// What is seen of a photo of middling range.
    const ORDINARY: Seen = Seen {
        ends: (19.0, 70.0),
        middle: 51.0,
        noise: 0.4,
        detail: 5.8,
        shadows: 0.05,
        lights: 0.0,
        subject: (0.0, 0.0),
        glints: 0.0,
    };

    #[test]
    fn the_detail_of_an_ordinary_photo_and_of_a_plain_one_is_hardly_strengthened() {
        let detail = |seen: Seen| Automatic::of(&seen).map_or(0.0, |done| done.detail);
        assert!(detail(ORDINARY) < 0.35, "{}", detail(ORDINARY));
        // A moon's face, and a photo as dull that has as much in it as photos have.
        let moon = Seen { ends: (24.0, 58.0), middle: 47.0, noise: 0.1, detail: 2.5, ..ORDINARY };
        assert!(detail(moon) < 0.35, "{}", detail(moon));
        assert!(detail(Seen { detail: 4.2, ..moon }) > 0.9);
        // A dark phone photo gets what it got.
        let dark = Seen { ends: (0.9, 56.0), middle: 25.0, detail: 6.8, ..ORDINARY };
        assert!(detail(dark) > 1.0, "{}", detail(dark));
    }

    #[test]
    fn what_gains_next_to_nothing_is_left_alone() {
        let busy = Seen { noise: 1.0, detail: 9.3, shadows: 0.2, ..ORDINARY };
        assert_eq!(Automatic::of(&Seen { ends: (2.0, 68.0), middle: 4.0, glints: 0.007, ..busy }), None);
        let good = Seen { ends: (10.5, 73.0), ..busy };
        assert_eq!(
            Automatic::of(&good).map(|done| automatic_briefly(&done)).as_deref(),
            Some("its tones are spread a little")
        );
    }

    #[test]
    fn a_subject_in_shadow_before_a_light_ground_is_lifted_and_the_ground_stays() {
        let back = scene(|x, y| if y < 130.0 { 92.0 } else { 6.0 + 14.0 * motif(x, y) }, 0.5);
        let done = found(&back, None, PITCH).automatic.unwrap();
        assert!(done.lift > 0.9, "{done:?}");
        assert_eq!(automatic_briefly(&done), "its shadows are lifted");
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
            found(&scene(at, noise), None, PITCH).automatic.map_or(0.0, |done| done.lift)
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
        let done = found(&light, Some(&alpha), PITCH).automatic.unwrap();
        assert!(done.white < 45.0, "{done:?}");
        assert!(found(&Light::filled(9, 9, 0.1), None, PITCH).automatic.is_none(), "too little to judge by");
    }

    #[test]
    fn an_even_border_does_not_count_and_the_ground_of_a_portrait_is_none() {
        let dull = |x: f64, y: f64| 22.0 + 47.0 * motif(x, y);
        let framed = |border: f64, width: f64| {
            scene(
                move |x, y| {
                    let inside =
                        (width..320.0 - width).contains(&x) && (1.5 * width..320.0 - width).contains(&y);
                    if inside { dull(x, y) } else { border }
                },
                0.8,
            )
        };
        let without = found(&scene(dull, 0.8), None, PITCH).automatic.unwrap();
        for (border, width) in [(96.0, 14.0), (88.0, 30.0), (2.0, 20.0)] {
            let light = framed(border, width);
            let (columns, rows) = found(&light, None, PITCH).inside.unwrap();
            let near = |at: usize, edge: f64| (at as f64 - edge).abs() <= 4.0 * 2.0;
            assert!(near(columns.start, width) && near(columns.end, 320.0 - width), "{columns:?}");
            assert!(near(rows.start, 1.5 * width) && near(rows.end, 320.0 - width), "{rows:?}");
            let with = found(&light, None, PITCH).automatic.unwrap();
            assert!((with.black - without.black).abs() < 2.0 && (with.white - without.white).abs() < 2.0);
        }
        let bare = |light: &Light| assert_eq!(found(light, None, PITCH).inside, None);
        // Light falls off over the print, and something is written below the picture.
        let lit = |x: f64, y: f64| 94.0 - 14.0 * x / 320.0 - 8.0 * y / 320.0;
        let written = |x: f64, y: f64| {
            (288.0..302.0).contains(&y) && (60.0..200.0).contains(&x) && (x as u32 + y as u32 / 3) % 7 < 3
        };
        let print = |x: f64, y: f64| match (x, y) {
            (x, y) if (20.0..300.0).contains(&x) && (20.0..270.0).contains(&y) => dull(x, y),
            (x, y) if written(x, y) => 30.0,
            (x, y) => lit(x, y),
        };
        let (columns, rows) = found(&scene(print, 0.8), None, PITCH).inside.unwrap();
        let near = |at: usize, edge: f64| (at as f64 - edge).abs() <= 4.0 * 2.0;
        assert!(near(columns.start, 20.0) && near(columns.end, 300.0), "{columns:?}");
        assert!(near(rows.start, 20.0) && near(rows.end, 270.0), "{rows:?}");
        bare(&scene(dull, 0.8));
        // A head before a white ground, a moon, a picture with a border above and below alone, and a flat card.
        let far = |x: f64, y: f64| (x - 160.0).hypot(y - 160.0);
        bare(&scene(|x, y| if far(x, y) < 90.0 { dull(x, y) } else { 95.0 }, 0.8));
        bare(&scene(|x, y| if far(x, y) < 140.0 { dull(x, y) } else { 95.0 }, 0.8));
        bare(&scene(|x, y| if far(x, y) < 90.0 { dull(x, y) } else { lit(x, y) }, 0.8));
        bare(&scene(|x, y| if far(x, y) < 140.0 { dull(x, y) } else { lit(x, y) }, 0.8));
        bare(&scene(lit, 0.8));
        bare(&scene(|x, y| if far(x, y) < 20.0 { 90.0 } else { 3.0 }, 0.8));
        bare(&scene(|x, y| if (30.0..290.0).contains(&y) { dull(x, y) } else { 2.0 }, 0.8));
        bare(&scene(|_, _| 60.0, 0.8));
        // A strip whose borders at its ends are wider than it is high.
        let strip = Light::from_vec(
            400,
            20,
            (0..8000).map(|i| if (110..290).contains(&(i % 400)) { 0.1 } else { 0.9 }).collect(),
        );
        bare(&strip);
        let framed = |i: usize| {
            let (x, y) = (i % 400, i / 400);
            if (90..310).contains(&x) && (2..38).contains(&y) { (i * 7919 % 61) as f32 / 1000.0 } else { 0.9 }
        };
        let strip = Light::from_vec(400, 40, (0..16_000).map(framed).collect());
        assert!(found(&strip, None, PITCH).inside.is_some_and(|(columns, _)| columns.len() < 220));
    }
}
