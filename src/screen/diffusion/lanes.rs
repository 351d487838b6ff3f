//! Numbers that are worked on side by side: one on any machine, sixteen with AVX2.
//!
//! Everything is 32-bit integer arithmetic, plus one correctly rounded product, so both give the same
//! values on every machine.

/// Steps of a segment that share one byte of dots a lane.
pub(super) const BLOCK: usize = 8;

/// Fixed point: a full mark. 28 bits after the point, 3.7e-9, finer than an `f32` of size ½; the
/// largest sum, below 2, still fits.
pub(super) const ONE: i32 = 1 << 28;

/// A tone in fixed point. Below 0 and not-a-number are 0, above 1 is 1. Adding 1 puts the tone's 23 bits
/// after the point into the mantissa, rounded to nearest, without a conversion that must check its range.
#[inline(always)]
pub(super) fn fixed(tone: f32) -> i32 {
    let low = if tone > 0.0 { tone } else { 0.0 };
    let clamped = if low < 1.0 { low } else { 1.0 };
    ((clamped + 1.0).to_bits() as i32 - 0x3F80_0000) << 5
}

/// A set of lanes, each an `i32`.
pub(super) trait Lanes: Copy {
    /// The lanes in registers.
    type V: Copy;
    /// The lanes in memory, lane 0 first.
    type Mem: Copy + AsRef<[i32]> + AsMut<[i32]>;
    /// How many.
    const COUNT: usize;
    /// All lanes zero, in memory.
    const ZERO: Self::Mem;

    fn splat(self, value: i32) -> Self::V;
    fn load(self, mem: &Self::Mem) -> Self::V;
    fn store(self, v: Self::V) -> Self::Mem;
    fn add(self, a: Self::V, b: Self::V) -> Self::V;
    fn sub(self, a: Self::V, b: Self::V) -> Self::V;
    fn and(self, a: Self::V, b: Self::V) -> Self::V;
    /// a · 2^N.
    fn shl<const N: i32>(self, a: Self::V) -> Self::V;
    /// a / 2^N, towards minus infinity.
    fn shr<const N: i32>(self, a: Self::V) -> Self::V;
    /// All bits set where a > b, none elsewhere.
    fn above(self, a: Self::V, b: Self::V) -> Self::V;
    /// a times a factor whose `f32` bits are in `bits`, towards zero. `a` is first rounded to 24 bits.
    fn scaled(self, a: Self::V, bits: Self::V) -> Self::V;
    /// Whether all lanes agree.
    fn same(self, a: Self::V, b: Self::V) -> bool;
    /// Eight tones of each lane, in fixed point: lane k from `tones[k * segment + at..]`.
    fn fetch(self, tones: &[f32], segment: usize, at: usize) -> [Self::V; BLOCK];
    /// The same of numbers that are taken as they are.
    fn columns(self, numbers: &[i32], segment: usize, at: usize) -> [Self::V; BLOCK];
}

/// One lane: plain code for any machine, and for rows too short to share out.
#[derive(Clone, Copy)]
pub(super) struct Single;

impl Lanes for Single {
    type V = i32;
    type Mem = [i32; 1];
    const COUNT: usize = 1;
    const ZERO: [i32; 1] = [0];

    #[inline(always)]
    fn splat(self, value: i32) -> i32 {
        value
    }
    #[inline(always)]
    fn load(self, mem: &[i32; 1]) -> i32 {
        mem[0]
    }
    #[inline(always)]
    fn store(self, v: i32) -> [i32; 1] {
        [v]
    }
    #[inline(always)]
    fn add(self, a: i32, b: i32) -> i32 {
        a.wrapping_add(b)
    }
    #[inline(always)]
    fn sub(self, a: i32, b: i32) -> i32 {
        a.wrapping_sub(b)
    }
    #[inline(always)]
    fn and(self, a: i32, b: i32) -> i32 {
        a & b
    }
    #[inline(always)]
    fn shl<const N: i32>(self, a: i32) -> i32 {
        a << N
    }
    #[inline(always)]
    fn shr<const N: i32>(self, a: i32) -> i32 {
        a >> N
    }
    #[inline(always)]
    fn above(self, a: i32, b: i32) -> i32 {
        -i32::from(a > b)
    }
    #[inline(always)]
    fn scaled(self, a: i32, bits: i32) -> i32 {
        (a as f32 * f32::from_bits(bits as u32)) as i32
    }
    #[inline(always)]
    fn same(self, a: i32, b: i32) -> bool {
        a == b
    }
    #[inline(always)]
    fn fetch(self, tones: &[f32], _segment: usize, at: usize) -> [i32; BLOCK] {
        let part = &tones[at..at + BLOCK];
        std::array::from_fn(|j| fixed(part[j]))
    }
    #[inline(always)]
    fn columns(self, numbers: &[i32], _segment: usize, at: usize) -> [i32; BLOCK] {
        let part = &numbers[at..at + BLOCK];
        std::array::from_fn(|j| part[j])
    }
}

#[cfg(target_arch = "x86_64")]
mod avx2 {
    use super::super::super::simd::Avx2;
    use super::{BLOCK, Lanes};
    use std::arch::x86_64::{__m256, __m256i};

    /// Two vectors of eight: while one waits for a sum the other goes on.
    const PAIR: usize = 2;

    #[derive(Clone, Copy)]
    pub(in super::super) struct Sixteen(pub Avx2);

    /// The same instruction for both vectors. A macro, as a closure would not be compiled for AVX2.
    macro_rules! both {
        ($s:expr, $f:ident, $a:expr, $b:expr) => {{
            let (a, b) = ($a, $b);
            [$s.0.avx2.$f(a[0], b[0]), $s.0.avx2.$f(a[1], b[1])]
        }};
    }

    /// Rows to columns: eight rows of eight numbers. Rows k and k + 4 are joined as they are read, which
    /// spares a third of the shuffles.
    #[inline(always)]
    pub(in super::super) fn transposed(s: Avx2, rows: [&[f32; 8]; 8]) -> [__m256; 8] {
        let a = s.avx;
        let mut columns = [a._mm256_setzero_ps(); 8];
        for (half, columns) in columns.as_chunks_mut::<4>().0.iter_mut().enumerate() {
            let mut r = [a._mm256_setzero_ps(); 4];
            for (k, r) in r.iter_mut().enumerate() {
                let (low, high) = (rows[k].as_chunks::<4>().0[half], rows[k + 4].as_chunks::<4>().0[half]);
                *r = a._mm256_insertf128_ps::<1>(a._mm256_castps128_ps256(pulp::cast(low)), pulp::cast(high));
            }
            let t0 = a._mm256_unpacklo_ps(r[0], r[1]);
            let t1 = a._mm256_unpackhi_ps(r[0], r[1]);
            let t2 = a._mm256_unpacklo_ps(r[2], r[3]);
            let t3 = a._mm256_unpackhi_ps(r[2], r[3]);
            *columns = [
                a._mm256_shuffle_ps::<0x44>(t0, t2),
                a._mm256_shuffle_ps::<0xEE>(t0, t2),
                a._mm256_shuffle_ps::<0x44>(t1, t3),
                a._mm256_shuffle_ps::<0xEE>(t1, t3),
            ];
        }
        columns
    }

    impl Sixteen {
        #[inline(always)]
        fn fixed(self, tone: __m256) -> __m256i {
            let s = self.0;
            // The second operand is what comes out where the first is not a number.
            let low = s.avx._mm256_max_ps(tone, s.avx._mm256_setzero_ps());
            let one = s.avx._mm256_set1_ps(1.0);
            let up = s.avx._mm256_add_ps(s.avx._mm256_min_ps(low, one), one);
            let bits = s.avx2._mm256_sub_epi32(pulp::cast(up), s.avx._mm256_set1_epi32(0x3F80_0000));
            s.avx2._mm256_slli_epi32::<5>(bits)
        }

        /// Eight numbers of eight lanes; what lies beyond the end is zero.
        #[inline(always)]
        fn square<T: Copy>(self, numbers: &[T], segment: usize, from: usize) -> [__m256; 8]
        where
            [T; 8]: pulp::bytemuck::Pod,
        {
            let mut rows = [&[0.0f32; 8]; 8];
            for (k, row) in rows.iter_mut().enumerate() {
                if let Some(part) = numbers.get(from + k * segment..).and_then(<[T]>::first_chunk::<8>) {
                    *row = pulp::bytemuck::cast_ref(part);
                }
            }
            transposed(self.0, rows)
        }
    }

    impl Lanes for Sixteen {
        type V = [__m256i; PAIR];
        type Mem = [i32; 8 * PAIR];
        const COUNT: usize = 8 * PAIR;
        const ZERO: Self::Mem = [0; 8 * PAIR];

        #[inline(always)]
        fn splat(self, value: i32) -> Self::V {
            [self.0.avx._mm256_set1_epi32(value); PAIR]
        }
        #[inline(always)]
        fn load(self, mem: &Self::Mem) -> Self::V {
            pulp::cast(*mem)
        }
        #[inline(always)]
        fn store(self, v: Self::V) -> Self::Mem {
            pulp::cast(v)
        }
        #[inline(always)]
        fn add(self, a: Self::V, b: Self::V) -> Self::V {
            both!(self, _mm256_add_epi32, a, b)
        }
        #[inline(always)]
        fn sub(self, a: Self::V, b: Self::V) -> Self::V {
            both!(self, _mm256_sub_epi32, a, b)
        }
        #[inline(always)]
        fn and(self, a: Self::V, b: Self::V) -> Self::V {
            both!(self, _mm256_and_si256, a, b)
        }
        #[inline(always)]
        fn shl<const N: i32>(self, a: Self::V) -> Self::V {
            [self.0.avx2._mm256_slli_epi32::<N>(a[0]), self.0.avx2._mm256_slli_epi32::<N>(a[1])]
        }
        #[inline(always)]
        fn shr<const N: i32>(self, a: Self::V) -> Self::V {
            [self.0.avx2._mm256_srai_epi32::<N>(a[0]), self.0.avx2._mm256_srai_epi32::<N>(a[1])]
        }
        #[inline(always)]
        fn above(self, a: Self::V, b: Self::V) -> Self::V {
            both!(self, _mm256_cmpgt_epi32, a, b)
        }
        #[inline(always)]
        fn scaled(self, a: Self::V, bits: Self::V) -> Self::V {
            let avx = self.0.avx;
            let low = avx._mm256_mul_ps(avx._mm256_cvtepi32_ps(a[0]), pulp::cast(bits[0]));
            let high = avx._mm256_mul_ps(avx._mm256_cvtepi32_ps(a[1]), pulp::cast(bits[1]));
            [avx._mm256_cvttps_epi32(low), avx._mm256_cvttps_epi32(high)]
        }
        #[inline(always)]
        fn same(self, a: Self::V, b: Self::V) -> bool {
            let differ = both!(self, _mm256_xor_si256, a, b);
            let any = self.0.avx2._mm256_or_si256(differ[0], differ[1]);
            self.0.avx._mm256_testz_si256(any, any) != 0
        }
        #[inline(always)]
        fn fetch(self, tones: &[f32], segment: usize, at: usize) -> [Self::V; BLOCK] {
            let a = self.square(tones, segment, at);
            let b = self.square(tones, segment, at + 8 * segment);
            // An array's `map` would not be compiled for AVX2.
            let mut both = [self.splat(0); BLOCK];
            for ((v, a), b) in both.iter_mut().zip(a).zip(b) {
                *v = [self.fixed(a), self.fixed(b)];
            }
            both
        }
        #[inline(always)]
        fn columns(self, numbers: &[i32], segment: usize, at: usize) -> [Self::V; BLOCK] {
            let a = self.square(numbers, segment, at);
            let b = self.square(numbers, segment, at + 8 * segment);
            let mut both = [self.splat(0); BLOCK];
            for ((v, a), b) in both.iter_mut().zip(a).zip(b) {
                *v = [pulp::cast(a), pulp::cast(b)];
            }
            both
        }
    }
}

#[cfg(target_arch = "x86_64")]
pub(super) use avx2::{Sixteen, transposed};
