//! The vector path of this machine, without `unsafe`: `pulp` hands out a token once the processor has
//! been asked, and only that token reaches the instructions.

#[cfg(target_arch = "x86_64")]
pub(super) use pulp::x86::V3 as Avx2;

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
