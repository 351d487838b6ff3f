//! What the dots of a drawing are: solid ink, bare ground, an edge between them, or tones that are meant.

use crate::parallel;
use crate::plane::{Dots, Tone};

/// Tones this near to none or all count as flat: the noise of a drawing's compression.
pub const FLAT: f32 = 0.02;
/// Dots either way that must be flat too: what lies nearer to an edge takes part in placing it.
const AROUND: usize = 3;
/// A tint is where all of so many dots either way are between ink and ground, and differ by no more than this.
const TINT: usize = 2;
const EVEN: f32 = 0.25;
/// Dots either way of a tint that are searched with it.
const BESIDE: usize = 2;
/// A stroke is faint where nothing within so many dots is half ink: pencil, or a hairline far thinner than a dot. By
/// edges it would be there or not; as a tone it is kept.
const FAINT: usize = 5;
const HALF: f32 = 0.5;

/// What a dot is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    /// Ground, and nothing but ground around.
    Bare,
    /// Ink, and nothing but ink around.
    Ink,
    /// At an edge of ink.
    Edge,
    /// In a tint, or faint.
    Tone,
}

/// The kind of each dot of a drawing, row after row. What lies beyond the plane is ground.
pub fn kinds(tone: &Tone) -> Vec<Kind> {
    let (w, h) = (tone.width(), tone.height());
    if w == 0 || h == 0 {
        return Vec::new();
    }
    let least = |reach| Window { least: true, reach }.over(tone.data(), w);
    let most = |reach| Window { least: false, reach }.over(tone.data(), w);
    let (low, high, near_high) = (least(TINT), most(TINT), most(FAINT));
    let tint: Vec<f32> = low
        .iter()
        .zip(&high)
        .map(|(&low, &high)| f32::from(u8::from(low > FLAT && high < 1.0 - FLAT && high - low <= EVEN)))
        .collect();
    let tint = Window { least: false, reach: BESIDE }.over(&tint, w);
    let (low, high) = (least(AROUND), most(AROUND));
    let kind = |i: usize| {
        if high[i] <= FLAT {
            Kind::Bare
        } else if low[i] >= 1.0 - FLAT {
            Kind::Ink
        } else if tint[i] > 0.0 || near_high[i] < HALF {
            Kind::Tone
        } else {
            Kind::Edge
        }
    };
    (0..w * h).map(kind).collect()
}

/// Lays the dots of ink and of ground; those of edges as `start` says for a column and a row.
pub fn settle(dots: &mut Dots, kinds: &[Kind], start: impl Fn(usize, usize) -> bool + Sync) {
    let (width, stride) = (dots.width(), dots.stride());
    parallel::bands(dots.bits_mut(), stride.max(1), 64, |first, band| {
        for (i, row) in band.chunks_exact_mut(stride).enumerate() {
            let y = first + i;
            // Byte by byte: which dots are on, and which are left as they are.
            for (at, (byte, eight)) in row.iter_mut().zip(kinds[y * width..][..width].chunks(8)).enumerate() {
                let (mut on, mut left) = (0u8, 0u8);
                for (bit, kind) in eight.iter().enumerate() {
                    let mask = 0x80u8 >> bit;
                    match kind {
                        Kind::Bare => {}
                        Kind::Ink => on |= mask,
                        Kind::Edge => on |= if start(8 * at + bit, y) { mask } else { 0 },
                        Kind::Tone => left |= mask,
                    }
                }
                *byte = *byte & left | on;
            }
        }
    });
}

/// The least or the greatest value of a square about each dot; beyond the plane all is 0.
#[derive(Clone, Copy)]
struct Window {
    least: bool,
    reach: usize,
}

impl Window {
    fn over(self, plane: &[f32], width: usize) -> Vec<f32> {
        let height = plane.len() / width;
        let take = move |all: &mut f32, v: f32| {
            let other = if self.least { v < *all } else { v > *all };
            *all = if other { v } else { *all };
        };
        let mut along = vec![0.0f32; plane.len()];
        parallel::bands(&mut along, width, 64, |first, band| {
            let mut padded = vec![0.0f32; width + 2 * self.reach];
            for (row, source) in band.chunks_exact_mut(width).zip(plane[first * width..].chunks_exact(width))
            {
                padded[self.reach..][..width].copy_from_slice(source);
                row.copy_from_slice(&padded[..width]);
                for shift in 1..=2 * self.reach {
                    row.iter_mut().zip(&padded[shift..]).for_each(|(all, &v)| take(all, v));
                }
            }
        });
        let beyond = vec![0.0f32; width];
        let mut both = vec![0.0f32; plane.len()];
        parallel::bands(&mut both, width, 64, |first, band| {
            for (i, row) in band.chunks_exact_mut(width).enumerate() {
                let of = |y: usize| match y.checked_sub(self.reach).filter(|&y| y < height) {
                    Some(y) => &along[y * width..][..width],
                    None => &beyond,
                };
                row.copy_from_slice(of(first + i));
                for shift in 1..=2 * self.reach {
                    row.iter_mut().zip(of(first + i + shift)).for_each(|(all, &v)| take(all, v));
                }
            }
        });
        both
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn kind_at(width: usize, tone: impl Fn(f32, f32) -> f32, x: usize, y: usize) -> Kind {
        let at = |i: usize| tone((i % width) as f32, (i / width) as f32).clamp(0.0, 1.0);
        kinds(&Tone::from_vec(width, width, (0..width * width).map(at).collect()))[y * width + x]
    }

    #[test]
    fn a_block_has_ink_inside_edges_and_bare_ground() {
        let block = |x: f32, y: f32| (x - 9.3).min(30.6 - x).min(y - 10.0).min(31.0 - y);
        let kind = |x, y| kind_at(40, block, x, y);
        assert_eq!(kind(20, 20), Kind::Ink);
        assert_eq!(kind(3, 20), Kind::Bare);
        for x in [8, 9, 10, 11, 29, 30, 31] {
            assert_eq!(kind(x, 20), Kind::Edge, "{x}");
        }
        // Ink that reaches the end of the plane has an edge there.
        assert_eq!(kind_at(40, |_, _| 1.0, 0, 20), Kind::Edge);
    }

    #[test]
    fn tints_and_faint_strokes_are_tones_and_thin_strokes_are_edges() {
        assert_eq!(kind_at(40, |x, _| if x < 20.0 { 0.4 } else { 0.0 }, 10, 20), Kind::Tone);
        assert_eq!(kind_at(40, |x, _| x / 40.0, 20, 20), Kind::Tone);
        assert_eq!(kind_at(40, |x, _| if x == 20.0 { 0.3 } else { 0.0 }, 20, 20), Kind::Tone);
        assert_eq!(kind_at(40, |x, _| if x == 20.0 { 0.8 } else { 0.0 }, 20, 20), Kind::Edge);
        assert_eq!(kind_at(40, |x, _| if x == 20.0 { 0.8 } else { 0.0 }, 23, 20), Kind::Edge);
    }
}
