//! The widest vectors of this machine for plain code, without `unsafe`: `pulp` compiles the work once more
//! for processors with 256-bit vectors and takes that path where the processor has them.
//!
//! The work is the same code on either path, and nothing in it is contracted or put in another order, so
//! both give the same bits.

pub use pulp::NullaryFnOnce as Work;

/// Runs `work` on the widest vectors there are. What it calls must be `#[inline(always)]` all the way down:
/// a closure is not, so the work is a struct of its own.
#[inline(always)]
pub fn widest<W: Work>(work: W) -> W::Output {
    #[cfg(target_arch = "x86_64")]
    if let Some(simd) = pulp::x86::V3::try_new() {
        return simd.vectorize(work);
    }
    work.call()
}

/// `sum + weight * values`.
#[inline(always)]
pub fn plus(sum: &[f32; 8], values: &[f32; 8], weight: f32) -> [f32; 8] {
    std::array::from_fn(|i| sum[i] + weight * values[i])
}

/// The greater of two numbers each, none of which is no number. As a value of its own: where it is written over one of
/// the two, the compiler makes masked stores of it, which the next load has to wait for.
#[inline(always)]
pub fn greater(a: &[f32; 8], b: &[f32; 8]) -> [f32; 8] {
    std::array::from_fn(|i| if a[i] > b[i] { a[i] } else { b[i] })
}

/// The greatest of some numbers, none of which is below 0 or no number: eight at a time.
#[inline(always)]
pub fn greatest(numbers: &[f32]) -> f32 {
    let (eights, rest) = numbers.as_chunks::<8>();
    let mut most = [0.0f32; 8];
    for eight in eights {
        most = greater(eight, &most);
    }
    most.iter().chain(rest).fold(0.0, |a, &b| if b > a { b } else { a })
}
