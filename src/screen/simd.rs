//! The vector path of this machine, without `unsafe`: `pulp` hands out a token once the processor has
//! been asked, and only that token reaches the instructions.

#[cfg(target_arch = "x86_64")]
pub(super) use pulp::x86::V3 as Avx2;
use pulp::{f32x8, u32x8};

/// Instructions on eight numbers side by side. Left to itself the compiler joins loops over eight in fours, where a sum or a
/// least of the eight comes after them.
pub(super) trait Eights: pulp::Simd<f32s = f32x8, u32s = u32x8> {
    /// `sum + weight * values`, rounded twice: the same on every machine.
    #[inline(always)]
    fn plus(self, sum: f32x8, values: f32x8, weight: f32) -> f32x8 {
        self.add_f32s(sum, self.mul_f32s(values, self.splat_f32s(weight)))
    }
}

impl<S: pulp::Simd<f32s = f32x8, u32s = u32x8>> Eights for S {}

/// Eight numbers from a place on; noughts where there are not so many.
#[inline(always)]
pub(super) fn eight(numbers: &[f32], at: usize) -> f32x8 {
    let eight: Option<&[f32; 8]> = numbers.get(at..).and_then(|n| n.first_chunk());
    pulp::cast(*eight.unwrap_or(&[0.0; 8]))
}

/// Sets eight numbers from a place on; none where there are not so many.
#[inline(always)]
pub(super) fn set_eight(numbers: &mut [f32], at: usize, eight: f32x8) {
    if let Some(numbers) = numbers.get_mut(at..).and_then(|n| n.first_chunk_mut::<8>()) {
        *numbers = pulp::cast(eight);
    }
}

/// Work that is done on eight numbers at a time.
pub(super) trait Work {
    /// What comes of it.
    type Output;
    /// Does it. What it calls must be `#[inline(always)]` all the way down.
    fn run<S: Eights>(self, simd: S) -> Self::Output;
}

/// Does `work` with the widest instructions there are. They are the same sums on all machines, in the same order.
pub(super) fn eights<W: Work>(work: W) -> W::Output {
    #[cfg(target_arch = "x86_64")]
    if let Some(simd) = avx2() {
        return simd.vectorize(On(simd, work));
    }
    work.run(pulp::Scalar256b)
}

#[cfg(target_arch = "x86_64")]
struct On<W>(Avx2, W);

#[cfg(target_arch = "x86_64")]
impl<W: Work> pulp::NullaryFnOnce for On<W> {
    type Output = W::Output;

    #[inline(always)]
    fn call(self) -> W::Output {
        self.1.run(self.0)
    }
}

/// The token for 256-bit integer and floating-point instructions, where the processor has them.
#[cfg(target_arch = "x86_64")]
pub(super) fn avx2() -> Option<Avx2> {
    Avx2::try_new()
}

/// Which path the screens run on here: `avx2` or `portable`. Both give the same bytes.
pub fn path() -> &'static str {
    #[cfg(target_arch = "x86_64")]
    if avx2().is_some() {
        return "avx2";
    }
    "portable"
}
