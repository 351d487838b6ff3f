//! Colour: the curves between code values, luminance and lightness. They stand here and nowhere else.
//!
//! Sources: IEC 61966-2-1 (sRGB), the relative-luminance weights of the same primaries, and
//! CIE 015 / ISO 11664-4 (L*). The `f64` functions are the exact ones, the same bits on every machine
//! (`libm`). For whole planes there are tables: [`Curve`] of any function, with a stated error,
//! [`linear_light`] from 8-bit codes, and [`srgb8`] back to them.

use std::sync::LazyLock;

/// Weights of linear red, green and blue in relative luminance (sRGB primaries, white D65).
pub const WEIGHTS: [f64; 3] = [0.2126, 0.7152, 0.0722];

/// Relative luminance of linear red, green and blue (sRGB primaries), all 0..1.
#[inline]
pub fn relative_luminance([r, g, b]: [f32; 3]) -> f32 {
    const W: [f32; 3] = [WEIGHTS[0] as f32, WEIGHTS[1] as f32, WEIGHTS[2] as f32];
    r * W[0] + g * W[1] + b * W[2]
}

/// Linear light of an sRGB code value; both 0..1 (IEC 61966-2-1).
pub fn srgb_to_linear(code: f64) -> f64 {
    if code <= 0.04045 { code / 12.92 } else { libm::pow((code + 0.055) / 1.055, 2.4) }
}

/// sRGB code value of linear light; both 0..1 (IEC 61966-2-1).
pub fn linear_to_srgb(light: f64) -> f64 {
    if light <= 0.003_130_8 { light * 12.92 } else { 1.055 * libm::pow(light, 1.0 / 2.4) - 0.055 }
}

/// The 8-bit sRGB code of the linear light `y`, rounded from the exact curve; clipped outside 0..1.
pub fn srgb8_exact(y: f64) -> u8 {
    (linear_to_srgb(y.clamp(0.0, 1.0)) * 255.0).round() as u8
}

/// The 8-bit sRGB code of the linear light `y`, for whole pictures: from a table of 65536 steps, within one
/// half of a code everywhere, the steepest part near black included (12.92 · 255 / 65536 = 0.05 codes a step).
/// Clipped outside 0..1; 0 for what is not a number.
pub fn srgb8(y: f32) -> u8 {
    CODES[(y.clamp(0.0, 1.0) * 65_535.0 + 0.5) as usize]
}

/// The codes of 65536 steps of light.
static CODES: LazyLock<Vec<u8>> = LazyLock::new(codes);

/// Works out [`CODES`]. They rise, so that only where each begins is looked for: a power for each step would
/// take longer than a small picture.
fn codes() -> Vec<u8> {
    let code = |i: u32| srgb8_exact(f64::from(i) / 65_535.0);
    let mut codes = vec![0u8; 65_536];
    for c in 1..=255u8 {
        let (mut below, mut reached) = (0u32, 65_535u32);
        while reached - below > 1 {
            let middle = below.midpoint(reached);
            if code(middle) < c { below = middle } else { reached = middle }
        }
        codes[reached as usize..].fill(c);
    }
    codes
}

/// The same of a linear light in 65535ths.
pub fn srgb8_of(light: u16) -> u8 {
    CODES[usize::from(light)]
}

/// The linear light (0..1) of each 8-bit sRGB code.
pub fn linear_light() -> &'static [f32; 256] {
    static LIGHT: LazyLock<[f32; 256]> =
        LazyLock::new(|| std::array::from_fn(|c| srgb_to_linear(c as f64 / 255.0) as f32));
    &LIGHT
}

/// CIE 1976 lightness L* (0..100) of the relative luminance `y` (0..1, white 1); 0 below.
pub fn lstar(y: f64) -> f64 {
    let y = y.max(0.0);
    if y > 216.0 / 24389.0 { 116.0 * libm::cbrt(y) - 16.0 } else { y * 24389.0 / 27.0 }
}

/// Relative luminance (0..1) of the CIE 1976 lightness `l` (0..100); 0 below.
pub fn luminance(l: f64) -> f64 {
    if l > 8.0 {
        let t = (l + 16.0) / 116.0;
        t * t * t
    } else {
        l.max(0.0) * 27.0 / 24389.0
    }
}

/// A function on 0..1 as a table of evenly spaced values, read with linear interpolation.
///
/// With 8192 steps the interpolation error of every curve of this file, and of every mapping of
/// lightness built from them, is below 1e-5 (tests measure it); one table fits a core's fast cache.
#[derive(Debug, Clone, PartialEq)]
pub struct Curve {
    table: Vec<f32>,
}

impl Curve {
    /// Steps of a table.
    pub const STEPS: usize = 8192;

    /// Tabulates `f` at `i / STEPS`, `i` from 0 to `STEPS`.
    pub fn new(f: impl Fn(f64) -> f64) -> Self {
        let mut table: Vec<f32> =
            (0..=Self::STEPS).map(|i| f(i as f64 / Self::STEPS as f64) as f32).collect();
        // One value more than is ever reached, so that 1.0 itself needs no special case.
        table.push(table[Self::STEPS]);
        Curve { table }
    }

    /// sRGB codes (0..1) to linear light; made once.
    pub fn decoding() -> &'static Curve {
        static CURVE: LazyLock<Curve> = LazyLock::new(|| Curve::new(srgb_to_linear));
        &CURVE
    }

    /// Linear light (0..1) to sRGB codes; made once.
    pub fn coding() -> &'static Curve {
        static CURVE: LazyLock<Curve> = LazyLock::new(|| Curve::new(linear_to_srgb));
        &CURVE
    }

    /// The value at `x`; anything outside 0..1 (or not a number) is taken at the nearer end.
    #[inline]
    pub fn at(&self, x: f32) -> f32 {
        // `max` first: it turns a NaN into 0.
        #[allow(clippy::manual_clamp)]
        let at = x.max(0.0).min(1.0) * Self::STEPS as f32;
        let i = at as usize;
        match self.table.get(i..i + 2) {
            Some(&[a, b]) => a + (b - a) * (at - i as f32),
            _ => 0.0,
        }
    }

    /// Replaces every value by the curve's.
    pub fn apply(&self, values: &mut [f32]) {
        for v in values {
            *v = self.at(*v);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_table_holds_the_exact_code_of_each_step() {
        for (i, &code) in codes().iter().enumerate() {
            assert_eq!(code, srgb8_exact(i as f64 / 65_535.0), "step {i}");
        }
    }

    #[test]
    fn srgb_agrees_with_the_standard() {
        // Check value T01 (IEC 61966-2-1; colour-science 0.4.7): both branches at the joint.
        assert!((srgb_to_linear(0.04045) - 0.003_130_804_953_560_371_3).abs() < 1e-12);
        assert!((srgb_to_linear(0.040_450_000_000_1) - 0.003_130_807_282_9).abs() < 1e-9);
        // Check value T02 (computed, identical to colour-science to 1e-15).
        let codes = [1, 10, 11, 64, 118, 119, 127, 128, 187, 188, 192, 254];
        let light = [
            0.000_303_526_983_548_837_5,
            0.003_035_269_835_488_375,
            0.003_346_535_763_899_161,
            0.051_269_458_374_043_24,
            0.181_164_244_249_860_22,
            0.184_474_994_500_441,
            0.212_230_757_414_055_23,
            0.215_860_500_113_899_26,
            0.496_932_995_060_870_4,
            0.502_886_458_032_568_7,
            0.527_115_125_705_813_1,
            0.991_102_097_113_829_8,
        ];
        for (c, y) in codes.into_iter().zip(light) {
            assert!((srgb_to_linear(f64::from(c) / 255.0) - y).abs() < 1e-12, "code {c}");
        }
        // Check values T03, T04.
        assert!((linear_to_srgb(0.5) * 255.0 - 187.516_030_678_374_62).abs() < 1e-9);
        assert_eq!((linear_to_srgb(0.5) * 65535.0).round(), 48192.0);
        assert!((srgb_to_linear(32768.0 / 65535.0) - 0.214_048_202_298_185_2).abs() < 1e-12);
    }

    #[test]
    fn eight_bits_are_right_to_the_code_by_table_and_by_curve() {
        // IEC 61966-2-1; 0.2140 is the linear light of level 127 (0.21223) to 128 (0.21586) and between.
        for code in 0..=255u8 {
            let light = linear_light()[usize::from(code)];
            assert_eq!(light, srgb_to_linear(f64::from(code) / 255.0) as f32);
            assert_eq!((srgb8(light), srgb8_exact(f64::from(light))), (code, code));
        }
        for i in 0..=1_000_003u32 {
            let y = f64::from(i) / 1_000_003.0;
            assert!((f64::from(srgb8(y as f32)) - linear_to_srgb(y) * 255.0).abs() < 0.53, "{y}");
        }
        assert_eq!((srgb8(-1.0), srgb8(2.0), srgb8(f32::NAN)), (0, 255, 0));
    }

    #[test]
    fn every_code_survives_the_way_there_and_back() {
        // Check value T06: exact for all 8- and 16-bit codes.
        for (top, all) in [(255.0, 256), (65535.0, 65536)] {
            for c in 0..all {
                let back = linear_to_srgb(srgb_to_linear(f64::from(c) / top)) * top;
                assert_eq!(back.round(), f64::from(c));
            }
        }
    }

    #[test]
    fn lightness_agrees_with_the_standard() {
        // Check value T10 (CIE e-ILV 17-23-076; colour-science agrees).
        let y = [0.0, 0.001, 0.008_856_451_679_035_631, 0.01, 0.05, 0.1, 0.18, 0.2, 0.5, 0.9, 1.0];
        let l = [
            0.0,
            0.903_296_296_296_296_3,
            8.0,
            8.991_442_404_369_852,
            26.734_765_384_228_49,
            37.842_430_469_908_24,
            49.496_107_610_119_594,
            51.837_211_526_538_496,
            76.069_261_014_155_57,
            95.996_768_614_253_04,
            100.0,
        ];
        for (y, l) in y.into_iter().zip(l) {
            assert!((lstar(y) - l).abs() < 1e-9, "Y {y}");
            assert!((luminance(l) - y).abs() < 1e-12, "L* {l}");
        }
        for i in 0..=100 {
            assert!((lstar(luminance(f64::from(i))) - f64::from(i)).abs() < 1e-9);
        }
        assert_eq!((lstar(-0.1), luminance(-1.0)), (0.0, 0.0));
        // Check value T11.
        assert!((luminance(50.0) - 0.184_186_518_512_444_16).abs() < 1e-12);
        assert!((lstar(srgb_to_linear(119.0 / 255.0)) - 50.034_438_792_538_225).abs() < 1e-9);
    }

    #[test]
    fn a_table_is_within_a_hundred_thousandth_of_its_curve() {
        let curves: [fn(f64) -> f64; 4] =
            [srgb_to_linear, linear_to_srgb, |y| lstar(y) / 100.0, |l| luminance(l * 100.0)];
        for f in curves {
            let table = Curve::new(f);
            let worst = (0..=1_000_003)
                .map(|i| {
                    let x = f64::from(i) as f32 / 1_000_003.0;
                    (f64::from(table.at(x)) - f(f64::from(x))).abs()
                })
                .fold(0.0, f64::max);
            assert!(worst < 1e-5, "off by {worst}");
        }
    }

    #[test]
    fn outside_its_range_a_table_holds_its_ends() {
        let c = Curve::new(|x| 0.25 + x / 2.0);
        assert_eq!((c.at(-3.0), c.at(1.0), c.at(7.0), c.at(f32::NAN)), (0.25, 0.75, 0.75, 0.25));
    }
}
