//! The widest vectors of this machine for plain code, without `unsafe`: `pulp` compiles the work once more
//! for processors with 256-bit vectors and takes that path where the processor has them.
//!
//! The work is the same code on either path, and nothing in it is contracted or put in another order, so
//! both give the same bits.

/// Runs `work`, which must be `#[inline(always)]` all the way down, on the widest vectors there are.
#[inline(always)]
pub(super) fn widest<R>(work: impl FnOnce() -> R) -> R {
    #[cfg(target_arch = "x86_64")]
    if let Some(simd) = pulp::x86::V3::try_new() {
        return simd.vectorize(work);
    }
    work()
}
