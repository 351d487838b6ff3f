//! Soft: what looks like strokes on paper and is a soft body instead, as a portrait, a newborn on white cloth or an animal in the
//! snow is.
//!
//! A light ground is as clean as paper, so such a photo has as much bare paper as a sheet, and what stands on it becomes ink: a
//! negative of what is wanted. What stands there tells: hardly any of it is a stroke, it runs through many tones without the
//! grain of pencil or charcoal, and its rim is soft, or crisper while its tones hardly change from place to place. Ink keeps to
//! few tones, out of focus too, and washes run quickly from tone to tone. Own trial, made up: of 28 portraits, infants and animals
//! that were surely paper twenty are found, small ones are not; of 83 sheets of the labelled set and 19 drawings by hand none.
//! A ship in fog looks like a wash, and is left.

use super::background::{Background, around, smooth};
use super::cells::Cells;
use super::features::{bits, histogram};
use super::small::Small;
use crate::colour::Curve;
use crate::plane::median;

/// What reflects less than this share of its surroundings' background is no bare paper.
const INK: f32 = 0.9;
/// Half the width of the thickest stroke, as a share of the longer side, and the least of it.
const STROKE: (f64, usize) = (1.0 / 80.0, 3);
/// Least share of the picture that is a body, and least share of all that is no paper.
const BODY: f64 = 0.02;
const OF_ALL: f64 = 0.6;
/// So far within its rim its tones are looked at.
const WITHIN: usize = 3;
/// Least entropy of its tones against the ground, bits (ink out of focus has 5.1), and most grain: the mean difference from what
/// lies around, codes.
const BITS: f64 = 5.3;
const GRAIN: f64 = 1.6;
/// The share that four elements across the rim take of the step across sixteen, where it is soft and where it is sharp.
const RIM: (f32, f32) = (0.47, 0.7);
/// Most by which its tones usually change over eight elements where its rim is neither, codes.
const GENTLE: f32 = 2.8;

/// Whether most of what is not bare paper is a soft body.
pub(super) fn body(s: &Small) -> bool {
    let Some(body) = Body::of(s) else { return false };
    let tones = body.bits >= BITS && body.grain <= GRAIN;
    tones && (body.rim <= RIM.0 || body.rim <= RIM.1 && body.change <= GENTLE)
}

/// What stands on a light ground.
#[derive(Debug)]
struct Body {
    bits: f64,
    grain: f64,
    /// How much the tones usually change over eight elements.
    change: f32,
    /// How much of its step the rim takes at once.
    rim: f32,
}

impl Body {
    /// `None` where most of it is strokes, or too little is there.
    fn of(s: &Small) -> Option<Body> {
        let (w, h) = (s.width, s.height);
        let around = |v: &[f32], reach: usize, pick: fn(f32, f32) -> f32| around(v, w, h, reach, pick);
        let reflects = reflects(s);
        let no_paper = |r: f32| f32::from(u8::from(r < INK));
        let mut ink: Vec<f32> = smooth(&reflects, w, h).into_iter().map(no_paper).collect();
        let stroke = ((w.max(h) as f64 * STROKE.0).round() as usize).max(STROKE.1);
        let thick = around(&around(&ink, stroke, f32::min), stroke, f32::max);
        let mut body: Vec<f32> = thick.iter().zip(&ink).map(|(t, i)| t.min(*i)).collect();
        // What reaches from side to side is what a sheet lies on.
        let grid = Cells { columns: w, rows: h };
        for patch in grid.patches(&body.iter().map(|b| *b > 0.0).collect::<Vec<bool>>()) {
            let reaches = |side: &dyn Fn(usize) -> bool| patch.iter().any(|&i| side(i));
            let across = reaches(&|i| i % w == 0) && reaches(&|i| i % w + 1 == w);
            if across || reaches(&|i| i < w) && reaches(&|i| i + w >= w * h) {
                patch.iter().for_each(|&i| (body[i], ink[i]) = (0.0, 0.0));
            }
        }
        let size = |v: &[f32]| v.iter().filter(|v| **v > 0.0).count() as f64;
        if size(&body) < BODY * (w * h) as f64 || size(&body) < OF_ALL * size(&ink) {
            return None;
        }
        let on = |v: &[f32]| (0..v.len()).filter(|&i| v[i] > 0.0).collect::<Vec<usize>>();
        let inner = on(&around(&body, WITHIN, f32::min));
        let rim = around(&body, 1, f32::min).iter().zip(&body).map(|(a, b)| b - a).collect::<Vec<f32>>();
        let blurred = |v: &[f32], times: usize| (0..times).fold(v.to_vec(), |v, _| smooth(&v, w, h));
        let curve = Curve::coding();
        let once = blurred(&s.code, 1);
        let thrice = blurred(&once, 2);
        let often = blurred(&thrice, 5);
        let grain: f64 = inner.iter().map(|&i| f64::from((s.code[i] - thrice[i]).abs())).sum();
        let at_rim =
            on(&rim).into_iter().map(|i| step(&once, (w, h), i, 2) / step(&once, (w, h), i, 8).max(4.0));
        Some(Body {
            bits: bits(&histogram(inner.iter().map(|&i| 255.0 * curve.at(reflects[i].min(1.0))))),
            grain: grain / inner.len().max(1) as f64,
            change: median(inner.iter().map(|&i| step(&often, (w, h), i, 4)))?,
            rim: median(at_rim)?,
        })
    }
}

/// What each place reflects of its surroundings' background.
fn reflects(s: &Small) -> Vec<f32> {
    let (w, h) = (s.width, s.height);
    let ground = Background::of(w, h, &s.light, Some(&s.opaque));
    let mut row = vec![0.0f32; w];
    let mut reflects = Vec::with_capacity(w * h);
    for (y, line) in s.light.chunks_exact(w).enumerate() {
        ground.row(y, &mut row);
        reflects.extend(line.iter().zip(&row).map(|(l, g)| l / g.max(1e-4)));
    }
    reflects
}

/// How steep it is at a place, from so many elements before it to as many after it.
fn step(v: &[f32], (w, h): (usize, usize), i: usize, reach: usize) -> f32 {
    let (x, y) = (i % w, i / w);
    let across = v[y * w + (x + reach).min(w - 1)] - v[y * w + x.saturating_sub(reach)];
    let down = v[(y + reach).min(h - 1) * w + x] - v[y.saturating_sub(reach) * w + x];
    (across * across + down * down).sqrt()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::colour::srgb_to_linear;

    const SIDE: usize = 400;

    /// A picture of these codes, with grain of so many either way.
    fn picture(code: impl Fn(f32, f32) -> f32, grain: f32) -> Small {
        let code: Vec<f32> = (0..SIDE * SIDE)
            .map(|i| {
                let h = (i as u32).wrapping_mul(0x9E37_79B1);
                let h = (h ^ (h >> 15)).wrapping_mul(0x2C1B_3C6D);
                let noise = ((h >> 8) & 0xFFFF) as f32 / 32767.5 - 1.0;
                code((i % SIDE) as f32, (i / SIDE) as f32) + grain * noise
            })
            .collect();
        let light = code.iter().map(|c| srgb_to_linear(f64::from(c / 255.0)) as f32).collect();
        let opaque = vec![true; SIDE * SIDE];
        Small { width: SIDE, height: SIDE, code, light, opaque, transparent: 0.0, clear_cut: 1.0 }
    }

    /// A disc of `tone` on a light ground, its rim some four times `soft` elements wide.
    fn disc(soft: f32, tone: impl Fn(f32, f32) -> f32) -> impl Fn(f32, f32) -> f32 {
        move |x, y| {
            let beyond = (x - 200.0).hypot(y - 200.0) - 80.0;
            let share = 1.0 / (1.0 + (beyond / soft).exp());
            235.0 + (tone(x, y) - 235.0) * share
        }
    }

    #[test]
    fn a_shaded_body_with_a_soft_rim_is_told_from_ink_grain_washes_and_strokes() {
        let face = |x: f32, y: f32| 105.0 + 40.0 * ((x - 170.0) / 90.0).sin() * (y / 110.0).cos();
        assert!(body(&picture(disc(4.0, face), 1.0)));
        // In focus, its tones hardly change from place to place.
        let calm = |x: f32, y: f32| 90.0 + (x - 120.0) / 5.0 + (y - 120.0) / 8.0;
        assert!(body(&picture(disc(1.5, calm), 1.0)));
        // Ink, charcoal, a wash with a sharp rim, and a drawing of strokes.
        assert!(!body(&picture(disc(0.4, |_, _| 40.0), 1.0)));
        assert!(!body(&picture(disc(4.0, face), 12.0)));
        assert!(!body(&picture(disc(0.4, face), 1.0)));
        assert!(!body(&picture(|x, _| if x % 40.0 < 6.0 { 90.0 } else { 235.0 }, 1.0)));
        // A dark table around a sheet, and an empty one.
        let table = |x: f32, y: f32| {
            if (x - 200.0).abs().max((y - 200.0).abs()) > 140.0 { 60.0 + x / 8.0 } else { 230.0 }
        };
        assert!(!body(&picture(table, 1.0)));
        assert!(!body(&picture(|_, _| 230.0, 1.0)));
    }
}
