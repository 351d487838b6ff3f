//! Doubt: what a picture has that a sheet of paper has not, and a photo that may be one.
//!
//! The model knows no colours, and what it was fitted to holds no card with a gradient and no silhouette before a plain sky:
//! evened out, their ground is as clean as paper. Nor does it hold prints of a finger or a paw, whose soft edges are a photo's. The
//! bounds are set between the labelled set and such pieces (own trial, some forty of them): a sheet there is at most as
//! unevenly lit as 0.88, of a saturation of 0.18 (toned paper in lamplight 0.32), and strays from one tint by 0.01 (crayons
//! 0.04), and with few strokes has at most 0.23 between these and paper; cards and skies pass one of the bounds and mostly two.

use super::features::Features;
use crate::art::{Likeness, Window};

/// The colours of a picture.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Tint {
    /// Median saturation, 0 to 1.
    pub saturation: f64,
    /// How far red and blue are from those of one tint in all its shades, on average, of 1: what light on paper has is one tint.
    pub strays: f64,
}

impl Tint {
    /// Of the part `crop` of a picture as it looks.
    pub fn of(likeness: &Likeness, crop: Window) -> Tint {
        let (w, h) = (likeness.width, likeness.height);
        let cut = |share: f64, n: usize| ((share * n as f64).round() as usize).min(n);
        let (left, right) = (cut(crop.left, w), cut(crop.right, w));
        let (top, bottom) = (cut(crop.top, h), cut(crop.bottom, h));
        // Means of squares of so many pixels: the noise of a camera's colours is none of the picture's.
        let side = (w.max(h) / 400).max(1);
        let mut means: Vec<[f64; 3]> = Vec::new();
        for y in (top..bottom).step_by(side) {
            for x in (left..right).step_by(side) {
                let (mut sum, mut n) = ([0.0f64; 3], 0.0);
                for j in y..(y + side).min(bottom) {
                    for i in x..(x + side).min(right) {
                        let p = &likeness.rgba[4 * (j * w + i)..4 * (j * w + i) + 4];
                        if p[3] >= 128 {
                            (0..3).for_each(|k| sum[k] += f64::from(p[k]) / 255.0);
                            n += 1.0;
                        }
                    }
                }
                if n > 0.0 {
                    means.push(sum.map(|s| s / n));
                }
            }
        }
        if means.is_empty() {
            return Tint { saturation: 0.0, strays: 0.0 };
        }
        let luma = |[r, g, b]: [f64; 3]| 0.2126 * r + 0.7152 * g + 0.0722 * b;
        let most = |p: &[f64; 3]| p[0].max(p[1]).max(p[2]);
        let least = |p: &[f64; 3]| p[0].min(p[1]).min(p[2]);
        let saturation = median(means.iter().map(|p| 1.0 - least(p) / most(p).max(1.0 / 255.0)));
        let lit = || means.iter().filter(|p| luma(**p) > 20.0 / 255.0);
        let [red, blue] = [0, 2].map(|k| median(lit().map(move |p| p[k] / luma(*p))));
        let off = |p: &[f64; 3]| (p[0] - red * luma(*p)).abs() + (p[2] - blue * luma(*p)).abs();
        Tint { saturation, strays: means.iter().map(off).sum::<f64>() / means.len() as f64 }
    }
}

/// The middle one of the values; 1 where there are none.
fn median(values: impl Iterator<Item = f64>) -> f64 {
    let mut all: Vec<f64> = values.collect();
    if all.is_empty() {
        return 1.0;
    }
    let middle = all.len() / 2;
    *all.select_nth_unstable_by(middle, f64::total_cmp).1
}

/// How much of the likelihood of being paper goes to the other readings: 0 where nothing speaks against it, a trifle where
/// something does that paper may have too.
pub(super) fn hardly_paper(f: &Features, tint: &Tint, lossy: bool) -> f64 {
    let (even, strokes, between, uneven) = (f[1], f[7], f[8], f[11]);
    // More of it lies between paper and stroke than the rims of so few strokes take: water or snow.
    let pale = between > 0.26 && strokes < 0.15;
    if !lossy && even > 0.95 {
        // A gradient without any grain, and no compression that took it away.
        1.0
    } else if tint.saturation > 0.5 || tint.strays > 0.15 {
        0.8
    } else if uneven > 0.95 || tint.strays > 0.06 || pale {
        0.01
    } else {
        0.0
    }
}

/// Whether what looks like a photo may be strokes on paper: half of it lies clean and light about it, nothing is lighter than
/// that, and it has no colours of its own.
pub(super) fn may_be_paper(f: &Features, tint: &Tint) -> bool {
    let (even, paper, strokes, uneven, background, above) = (f[1], f[6], f[7], f[11], f[15], f[26]);
    if tint.strays > 0.025 || tint.saturation > 0.4 {
        return false;
    }
    let clean = above <= -5.9 && (strokes >= 0.1 || strokes >= 0.06 && even < 0.6);
    // On a desk, or in a shadow, something is lighter than what was taken for the paper there.
    let shaded = paper >= 0.75 && strokes >= 0.06 && (0.2..0.95).contains(&uneven) && even < 0.6;
    clean && (paper >= 0.45 || background >= 0.9 && paper >= 0.36) || shaded
}

#[cfg(test)]
mod tests {
    use super::*;

    fn likeness(f: impl Fn(usize, usize) -> [u8; 3]) -> Likeness {
        let rgba = (0..100 * 100).flat_map(|i| {
            let [r, g, b] = f(i % 100, i / 100);
            [r, g, b, 255]
        });
        Likeness { width: 100, height: 100, rgba: rgba.collect() }
    }

    #[test]
    fn paper_in_lamplight_has_one_tint_and_a_sky_or_a_card_has_many() {
        let lamp = |x: usize, _: usize| [250, 225, 180].map(|c: u16| (c * (40 + x as u16 / 2) / 100) as u8);
        let paper = Tint::of(&likeness(lamp), Window::WHOLE);
        assert!(paper.strays < 0.02 && paper.saturation < 0.35, "{paper:?}");
        let sky = Tint::of(&likeness(|_, y| [255, 90 + y as u8, 20 + 2 * y as u8]), Window::WHOLE);
        assert!(sky.strays > 0.06, "{sky:?}");
        let card = Tint::of(&likeness(|x, y| [20 + x as u8, 80, 230 - y as u8]), Window::WHOLE);
        assert!(card.strays > 0.06 && card.saturation > 0.5, "{card:?}");
    }

    #[test]
    fn nothing_opaque_and_a_part_of_nothing_have_no_tint() {
        let mut clear = likeness(|_, _| [200, 10, 10]);
        clear.rgba.iter_mut().skip(3).step_by(4).for_each(|a| *a = 0);
        assert_eq!(Tint::of(&clear, Window::WHOLE), Tint { saturation: 0.0, strays: 0.0 });
    }
}
