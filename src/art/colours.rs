//! Colours as stored: what luminance alone does not tell, kept where art has any colours to speak of.

use std::fmt;
use std::sync::Arc;

use super::turn::{Turn, turned};
use crate::parallel::{self, LEAST_WORK};
use crate::plane::Light;

/// Channels that differ by so many codes are a colour and not the noise of a compression.
const COLOURFUL: u8 = 32;
/// One picture element in so many must be coloured.
const ONE_IN: usize = 2000;

/// Whether codes of red, green and blue, which may be multiplied by an alpha, are a colour.
pub(super) fn is_colour(p: &[u8]) -> bool {
    let (low, high) = (p[0].min(p[1]).min(p[2]), p[0].max(p[1]).max(p[2]));
    high - low >= COLOURFUL
}

/// Whether so many coloured elements are enough for a picture of so many to have colours to speak of.
pub(super) fn enough(coloured: usize, all: usize) -> bool {
    coloured * ONE_IN >= all && coloured > 0
}

/// Red, green and blue codes as one value, which a plane holds exactly: there are 2^24 of them.
pub(super) fn packed([r, g, b]: [u8; 3]) -> f32 {
    ((u32::from(r) << 16) | (u32::from(g) << 8) | u32::from(b)) as f32
}

/// The codes of a value of [`packed`].
pub(super) fn unpacked(v: f32) -> [u8; 3] {
    let [_, r, g, b] = (v as u32).to_be_bytes();
    [r, g, b]
}

/// Red, green and blue codes of a raster as it was stored, before it was brought upright. Shared, never changed.
#[derive(Clone)]
pub struct Colours {
    /// The decoder's own memory: to copy it takes as long as to count the colours.
    codes: Arc<Vec<u8>>,
    channels: usize,
    width: usize,
    height: usize,
    turn: Turn,
    mirror: bool,
}

impl fmt::Debug for Colours {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "Colours({} x {})", self.width, self.height)
    }
}

impl Colours {
    /// Codes of `channels` (3, or 4 with alpha) a picture element; `None` where the picture is grey.
    pub(super) fn of(codes: Vec<u8>, channels: usize, width: usize, height: usize) -> Option<Colours> {
        let coloured = |codes: &[u8]| codes.chunks_exact(channels.max(3)).filter(|p| is_colour(p)).count();
        let part = channels.max(3) * LEAST_WORK;
        let parts = parallel::map(codes.len().div_ceil(part), |i| {
            coloured(&codes[i * part..((i + 1) * part).min(codes.len())])
        });
        let coloured: usize = parts.into_iter().sum();
        enough(coloured, width * height).then(|| Colours {
            codes: Arc::new(codes),
            channels,
            width,
            height,
            turn: Turn::None,
            mirror: false,
        })
    }

    /// The same, to be turned and then mirrored before use.
    pub(super) fn turned(self, turn: Turn, mirror: bool) -> Colours {
        Colours { turn, mirror, ..self }
    }

    /// A plane of its codes, upright, each [`packed`].
    pub(super) fn packed(&self) -> Light {
        let mut out = vec![0.0f32; self.width * self.height];
        let (w, n) = (self.width, self.channels);
        parallel::bands(&mut out, w, 32, |first, band| {
            let source = &self.codes[first * w * n..first * w * n + band.len() * n];
            for (p, v) in source.chunks_exact(n).zip(band) {
                *v = packed([p[0], p[1], p[2]]);
            }
        });
        turned(Light::from_vec(self.width, self.height, out), self.turn, self.mirror)
    }
}
