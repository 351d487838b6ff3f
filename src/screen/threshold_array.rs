//! Comparison of tones with a tile of thresholds that repeats in both directions.

use crate::parallel;
use crate::plane::{Dots, Tone};

/// Rows handed to a thread at once: at 4096 dots a row a band is 1 MB of tones.
const ROWS: usize = 64;
/// Thresholds of a row are laid out this far: 16 whole bytes of dots, and every tile side divides it.
const SPAN: usize = 128;

/// Marks each dot whose tone is above its threshold. `thresholds` is a square tile of `side * side`
/// values, row-major; `side` divides 128. A tone that is not a number is not marked.
pub(super) fn above(tone: &Tone, thresholds: &[f32], side: usize) -> Dots {
    let mut dots = Dots::off(tone.width(), tone.height());
    let stride = dots.stride();
    if stride == 0 {
        return dots;
    }
    parallel::bands(dots.bits_mut(), stride, ROWS, |first, band| {
        let mut limits = [0.0f32; SPAN];
        for (i, row) in band.chunks_exact_mut(stride).enumerate() {
            let y = first + i;
            let tile_row = &thresholds[y % side * side..][..side];
            for part in limits.chunks_exact_mut(side) {
                part.copy_from_slice(tile_row);
            }
            pack_row(tone.row(y), &limits, row);
        }
    });
    dots
}

fn pack_row(tones: &[f32], limits: &[f32; SPAN], row: &mut [u8]) {
    #[cfg(target_arch = "x86_64")]
    if let Some(simd) = super::simd::avx2() {
        return simd.vectorize(avx2::PackRow { simd, tones, limits, row });
    }
    pack_row_portable(tones, limits, row);
}

fn pack_row_portable(tones: &[f32], limits: &[f32; SPAN], row: &mut [u8]) {
    for (bytes, tones) in row.chunks_mut(SPAN / 8).zip(tones.chunks(SPAN)) {
        for (byte, (tones, limits)) in bytes.iter_mut().zip(tones.chunks(8).zip(limits.chunks(8))) {
            *byte = byte_of(tones, limits);
        }
    }
}

/// Up to eight dots, the first in the highest bit.
#[inline(always)]
fn byte_of(tones: &[f32], limits: &[f32]) -> u8 {
    tones.iter().zip(limits).enumerate().fold(0, |b, (k, (t, l))| b | (u8::from(t > l) << (7 - k)))
}

#[cfg(target_arch = "x86_64")]
mod avx2 {
    use super::super::simd::Avx2;
    use super::{SPAN, byte_of};
    use pulp::NullaryFnOnce;
    use std::arch::x86_64::{__m256, _CMP_GT_OQ};

    pub(super) struct PackRow<'a> {
        pub simd: Avx2,
        pub tones: &'a [f32],
        pub limits: &'a [f32; SPAN],
        pub row: &'a mut [u8],
    }

    impl NullaryFnOnce for PackRow<'_> {
        type Output = ();

        #[inline(always)]
        fn call(self) {
            let PackRow { simd, tones, limits, row } = self;
            // The sign bits come out lowest lane first; turning the lanes round gives the first dot
            // the highest bit.
            let turn = simd.avx._mm256_setr_epi32(7, 6, 5, 4, 3, 2, 1, 0);
            let (limits, _) = limits.as_chunks::<8>();
            for (bytes, tones) in row.chunks_mut(SPAN / 8).zip(tones.chunks(SPAN)) {
                let (eights, rest) = tones.as_chunks::<8>();
                for (byte, (t, l)) in bytes.iter_mut().zip(eights.iter().zip(limits)) {
                    let (t, l): (__m256, __m256) = (pulp::cast(*t), pulp::cast(*l));
                    let above = simd.avx._mm256_cmp_ps::<_CMP_GT_OQ>(t, l);
                    let turned = simd.avx2._mm256_permutevar8x32_ps(above, turn);
                    *byte = simd.avx._mm256_movemask_ps(turned) as u8;
                }
                if let (Some(byte), Some(l)) = (bytes.get_mut(eights.len()), limits.get(eights.len())) {
                    *byte = byte_of(rest, l);
                }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_vector_path_gives_the_bytes_of_the_portable_one() {
        let limits: [f32; SPAN] = std::array::from_fn(|i| (i * 37 % 128) as f32 / 128.0);
        for width in (1..40).chain([127, 128, 129, 300]) {
            let mut tones: Vec<f32> = (0..width).map(|x| (x * 53 % 131) as f32 / 131.0).collect();
            tones[width / 2] = f32::NAN;
            let mut one = vec![0; width.div_ceil(8)];
            let mut other = one.clone();
            pack_row(&tones, &limits, &mut one);
            pack_row_portable(&tones, &limits, &mut other);
            assert_eq!(one, other, "{width} dots");
        }
    }
}
