//! A colour scale in which equal steps of a number look like equal steps of colour, to everybody.
//!
//! Lightness L* (CIE 1976) rises evenly; the hue goes from blue to yellow through grey along the b axis of
//! OKLab (B. Ottosson, 2020) with almost nothing along a, the axis that red-green dichromats do not see.

use std::sync::LazyLock;

use super::canvas::Rgb;
use crate::colour::{WEIGHTS, luminance, srgb8};

/// L* of the lowest and of the highest colour.
const LIGHTNESS: (f64, f64) = (14.0, 92.0);
/// OKLab b of the lowest (blue) and of the highest (yellow) colour.
const BLUE_YELLOW: (f64, f64) = (-0.105, 0.15);
/// OKLab a, the same for all.
const GREEN_RED: f64 = -0.008;

static SCALE: LazyLock<Vec<Rgb>> =
    LazyLock::new(|| (0..256).map(|i| computed(f64::from(i) / 255.0)).collect());

/// The colour of `t`, 0 to 1; clipped outside.
pub fn colour(t: f64) -> Rgb {
    SCALE[(t.clamp(0.0, 1.0) * 255.0).round() as usize]
}

/// Linear sRGB of an OKLab colour; values outside 0..1 are outside the gamut.
fn linear(l: f64, a: f64, b: f64) -> [f64; 3] {
    let cube = |v: f64| v * v * v;
    let l_ = cube(l + 0.396_337_777_4 * a + 0.215_803_757_3 * b);
    let m_ = cube(l - 0.105_561_345_8 * a - 0.063_854_172_8 * b);
    let s_ = cube(l - 0.089_484_177_5 * a - 1.291_485_548_0 * b);
    [
        4.076_741_662_1 * l_ - 3.307_711_591_3 * m_ + 0.230_969_929_2 * s_,
        -1.268_438_004_6 * l_ + 2.609_757_401_1 * m_ - 0.341_319_396_5 * s_,
        -0.004_196_086_3 * l_ - 0.703_418_614_7 * m_ + 1.707_614_701_0 * s_,
    ]
}

/// The colour at `t` with exactly the lightness wanted, its colourfulness reduced as little as the gamut asks.
fn computed(t: f64) -> Rgb {
    let want = luminance(LIGHTNESS.0 + t * (LIGHTNESS.1 - LIGHTNESS.0));
    let mut chroma = 1.0;
    loop {
        let a = chroma * GREEN_RED;
        let b = chroma * (BLUE_YELLOW.0 + t * (BLUE_YELLOW.1 - BLUE_YELLOW.0));
        let (mut low, mut high) = (0.0, 1.1);
        for _ in 0..50 {
            let l = 0.5 * (low + high);
            let y: f64 = linear(l, a, b).iter().zip(WEIGHTS).map(|(v, w)| v * w).sum();
            if y < want { low = l } else { high = l }
        }
        let rgb = linear(low, a, b);
        if chroma < 0.02 || rgb.iter().all(|v| (-1e-4..=1.0001).contains(v)) {
            return rgb.map(|v| srgb8(v as f32));
        }
        chroma -= 0.02;
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::colour::{lstar, srgb_to_linear};

    /// Matrices for full dichromacy in linear sRGB: G. M. Machado, M. M. Oliveira and L. A. F. Fernandes,
    /// A physiologically-based model for simulation of color vision deficiency, IEEE TVCG 15 (2009), severity 1.0;
    /// checked against colour-science's table of them.
    const DICHROMATS: [(&str, [[f64; 3]; 3]); 3] = [
        (
            "protan",
            [
                [0.152286, 1.052583, -0.204868],
                [0.114503, 0.786281, 0.099216],
                [-0.003882, -0.048116, 1.051998],
            ],
        ),
        (
            "deutan",
            [
                [0.367322, 0.860646, -0.227968],
                [0.280085, 0.672501, 0.047413],
                [-0.011820, 0.042940, 0.968881],
            ],
        ),
        (
            "tritan",
            [
                [1.255528, -0.076749, -0.178779],
                [-0.078411, 0.930809, 0.147602],
                [0.004733, 0.691367, 0.303900],
            ],
        ),
    ];

    fn linear_of(c: Rgb) -> [f64; 3] {
        c.map(|v| srgb_to_linear(f64::from(v) / 255.0))
    }

    fn lightness(c: [f64; 3]) -> f64 {
        lstar(c.iter().zip(WEIGHTS).map(|(v, w)| v * w).sum())
    }

    /// Every 16th of the scale: a step that 8-bit rounding (0.3 L*) does not blur.
    fn sixteenths() -> Vec<Rgb> {
        (0..=16).map(|i| colour(f64::from(i) / 16.0)).collect()
    }

    #[test]
    fn equal_steps_are_equal_steps_of_lightness() {
        let l: Vec<f64> = sixteenths().into_iter().map(|c| lightness(linear_of(c))).collect();
        let even = (LIGHTNESS.1 - LIGHTNESS.0) / 16.0;
        for pair in l.windows(2) {
            assert!((pair[1] - pair[0] - even).abs() < 0.1 * even, "{} after {}", pair[1], pair[0]);
        }
    }

    #[test]
    fn a_dichromat_sees_every_step_as_well() {
        for (who, m) in DICHROMATS {
            let seen = |c: Rgb| {
                let v = linear_of(c);
                m.map(|row| (0..3).map(|i| row[i] * v[i]).sum::<f64>().clamp(0.0, 1.0))
            };
            let l: Vec<f64> = sixteenths().into_iter().map(|c| lightness(seen(c))).collect();
            let even = (l[16] - l[0]) / 16.0;
            assert!(l[16] - l[0] > 70.0, "{who}: {} to {}", l[0], l[16]);
            for pair in l.windows(2) {
                assert!(
                    (pair[1] - pair[0] - even).abs() < 0.3 * even,
                    "{who}: {} after {}",
                    pair[1],
                    pair[0]
                );
            }
        }
    }

    #[test]
    fn white_and_black_of_oklab_are_those_of_srgb() {
        // Ottosson (2020): L = 1, a = b = 0 is D65 white.
        assert!(linear(1.0, 0.0, 0.0).iter().all(|v| (v - 1.0).abs() < 1e-6));
        assert!(linear(0.0, 0.0, 0.0).iter().all(|v| v.abs() < 1e-9));
    }
}
