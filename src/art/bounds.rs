//! Bounds: how large a picture may be, what a file of so many bytes can hold, and how long drawing may take.

use super::error::Why;
use super::vector::Fonts;

/// Most picture elements that are opened.
pub const MAX_PIXELS: u64 = 250_000_000;
/// Most memory, in bytes, that an opened picture and its decoding may take; also the longest file.
pub const MAX_BYTES: u64 = 2 << 30;

/// What a person allows the opening and drawing of art to take.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Patience {
    /// Seconds that an SVG or PDF may take to be read, and again each time it is drawn; 30 unless said otherwise.
    pub drawing_s: f64,
}

impl Default for Patience {
    fn default() -> Self {
        Patience { drawing_s: 30.0 }
    }
}

/// How a file is opened.
#[derive(Debug, Clone)]
pub struct Opening {
    /// What opening and drawing may take.
    pub patience: Patience,
    /// The page of a document that is taken, counted from 1, which is the default.
    pub page: u32,
    /// The fonts that the lettering of an SVG is set in; those that ship by default.
    pub fonts: Fonts,
}

impl Default for Opening {
    fn default() -> Self {
        Opening { patience: Patience::default(), page: 1, fonts: Fonts::default() }
    }
}

/// Refuses a picture beyond the bounds, from its header alone. `samples` a picture element, each of
/// `bytes` bytes while it is decoded; the planes made of them count too.
pub(super) fn within_bounds(width: u64, height: u64, samples: u64, bytes: u64) -> Result<(), Why> {
    if width == 0 || height == 0 {
        return Err(Why::NoSize);
    }
    let planes = if samples.is_multiple_of(2) { 8 } else { 4 };
    let pixels = width.saturating_mul(height);
    let need = pixels.saturating_mul(samples.saturating_mul(bytes).saturating_add(planes));
    if pixels > MAX_PIXELS || need > MAX_BYTES {
        return Err(Why::TooLarge { width, height, need });
    }
    Ok(())
}

/// How densely a file can hold its picture at the very most: what the best case of its compression gives.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Packing {
    /// Nothing is compressed; so many bits a picture element.
    None {
        /// Bits a picture element.
        bits: u64,
    },
    /// Deflate: a match of 258 bytes takes two bits, 1032 to one (RFC 1951).
    Deflate {
        /// Bits a picture element before compression.
        bits: u64,
    },
    /// LZW with codes of 12 bits, each for at most some 4095 bytes: 2730 to one (GIF89a, TIFF 6.0).
    Lzw {
        /// Bits a picture element before compression.
        bits: u64,
    },
    /// Runs of at most 255 bytes (BMP) or 128 (PackBits) in two: 128 to one.
    Runs {
        /// Bits a picture element before compression.
        bits: u64,
    },
    /// Blocks of 8 x 8, each at least one bit (ITU-T T.81: a DC code of one bit, the rest in runs of blocks).
    Jpeg,
    /// Of lossless WebP a picture of one colour takes no bits at all; matches of 4096 take some sixteen, so
    /// that a picture with anything in it stays below 4096 picture elements a byte.
    WebP,
    /// Blocks of up to 64 x 64, of which eight and more share a bit where nothing changes (ITU-T H.265).
    Hevc,
    /// A row like the one above takes one bit however long it is (ITU-T T.6); pages with anything on them
    /// stay far below 32768 picture elements a byte.
    Fax,
}

/// Picture elements that are granted whatever the file's length: their planes take 16 MB.
const GRANTED: u64 = 1 << 20;

/// Refuses a picture that claims more picture elements than a file of `bytes` can hold.
pub(super) fn can_hold(width: u64, height: u64, packing: Packing, bytes: u64) -> Result<(), Why> {
    let pixels = width.saturating_mul(height);
    let row_bytes = |bits: u64| width.saturating_mul(bits).div_ceil(8).saturating_mul(height);
    let held = match packing {
        Packing::None { bits } => row_bytes(bits) <= bytes,
        Packing::Deflate { bits } => row_bytes(bits) <= bytes.saturating_mul(1032),
        Packing::Lzw { bits } => row_bytes(bits) <= bytes.saturating_mul(2730),
        Packing::Runs { bits } => row_bytes(bits) <= bytes.saturating_mul(128),
        Packing::Jpeg => width.div_ceil(8).saturating_mul(height.div_ceil(8)) <= bytes.saturating_mul(8),
        Packing::WebP => pixels <= bytes.saturating_mul(4096),
        Packing::Hevc | Packing::Fax => pixels <= bytes.saturating_mul(32_768),
    };
    if held || pixels <= GRANTED { Ok(()) } else { Err(Why::Hollow { width, height, bytes }) }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_kilobyte_does_not_hold_a_hundred_megapixels() {
        for packing in [
            Packing::None { bits: 24 },
            Packing::Deflate { bits: 24 },
            Packing::Lzw { bits: 8 },
            Packing::Runs { bits: 8 },
            Packing::Jpeg,
            Packing::WebP,
            Packing::Hevc,
            Packing::Fax,
        ] {
            let said = can_hold(15_000, 15_000, packing, 1024).unwrap_err().to_string();
            assert!(said.contains("15000 x 15000") && said.contains("1024 bytes"), "{said}");
            can_hold(1000, 1000, packing, 1024).unwrap();
        }
        // A white page of an office scanner, deflated by zlib at its best: 35 megapixels of one bit in 4.3 KB.
        can_hold(4960, 7016, Packing::Deflate { bits: 1 }, 4300).unwrap();
    }

    #[test]
    fn what_needs_more_memory_than_is_given_is_refused() {
        within_bounds(15_000, 15_000, 3, 1).unwrap();
        assert!(matches!(within_bounds(15_000, 15_000, 3, 3), Err(Why::TooLarge { .. })));
        assert!(matches!(within_bounds(0, 9, 3, 1), Err(Why::NoSize)));
        assert!(matches!(within_bounds(u64::MAX, u64::MAX, 4, 8), Err(Why::TooLarge { .. })));
    }
}
