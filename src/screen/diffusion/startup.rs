//! How error diffusion begins.
//!
//! The publications begin with no error at all. In light tones the error of a settled pattern is far from
//! none, near ½ wherever no dot is close, so they leave the first rows blank until enough has
//! gathered (at 1/255 more than a hundred rows) and then lay the first dots in a burst. So the rows that
//! mirror the first ones are walked before the plane, from errors such as a settled pattern has.
//!
//! Those were measured on flat tones g of 600 columns: the mean error is ½ - d and its spread is d,
//! with d = c·∛g within 0.02 for g up to 0.15, c 0.55 (Floyd–Steinberg, Ostromoukhov) or 0.34 (the wide
//! kernels); dark tones mirror light ones.

use super::lanes::ONE;
use crate::plane::Tone;

/// Rows walked before the plane.
pub(super) const LEAD: usize = 32;
/// Columns to each side over which the first tones are averaged.
const ASIDE: usize = 8;

/// The error that each column begins with, in fixed point; `c` as above. None where the first rows are blank
/// or full.
pub(super) fn errors(tone: &Tone, c: f64) -> Vec<i32> {
    let width = tone.width();
    let rows = LEAD.min(tone.height());
    let mut mean = vec![0.0f64; width];
    for y in 0..rows {
        let row = tone.row(y).iter().map(|&t| if t > 0.0 { f64::from(t.min(1.0)) } else { 0.0 });
        mean.iter_mut().zip(row).for_each(|(m, t)| *m += t / rows as f64);
    }
    (0..width)
        .map(|x| {
            let near = &mean[x.saturating_sub(ASIDE)..(x + ASIDE + 1).min(width)];
            let g = near.iter().sum::<f64>() / near.len() as f64;
            let rare = g.min(1.0 - g);
            if rare <= 1e-6 {
                return 0;
            }
            let d = c * libm::cbrt(rare);
            // Even noise of spread 1.
            let noise = (f64::from(hash(x as u32) >> 8) / f64::from(1 << 24) - 0.5) * 12f64.sqrt();
            let error = (0.5 - d + d * noise).clamp(-0.5, 0.5);
            ((if g < 0.5 { error } else { -error }) * f64::from(ONE)) as i32
        })
        .collect()
}

/// The same as shares of a dot.
pub(in crate::screen) fn settled(tone: &Tone, c: f64) -> Vec<f32> {
    errors(tone, c).iter().map(|&e| e as f32 / ONE as f32).collect()
}

/// Well-mixed bits of a column's number.
fn hash(x: u32) -> u32 {
    let mut h = x.wrapping_add(0x9E37_79B9).wrapping_mul(0x85EB_CA6B);
    h ^= h >> 15;
    h = h.wrapping_mul(0xC2B2_AE35);
    h ^ (h >> 16)
}
