//! BMP: dots as a 1-bit picture with a palette of two.
//!
//! Layout after Microsoft's BITMAPFILEHEADER and BITMAPINFOHEADER: a positive height means rows from
//! the bottom up, each row padded to four bytes, densities in whole pixels a metre.

use super::beam_on::BeamOn;
use super::density::pixels_per_metre;
use super::error::EncodeError;
use crate::placement::Grid;
use crate::plane::Dots;
use crate::texts::text;

/// File header (14), info header (40) and two palette entries of four bytes.
const HEAD: usize = 14 + 40 + 8;

/// The dots as a 1-bit BMP: palette entry 1 is the colour of a dot that is on.
///
/// # Errors
/// When there are no dots, or the file would pass 4 GiB.
pub fn dots(dots: &Dots, grid: Grid, beam_on: BeamOn) -> Result<Vec<u8>, EncodeError> {
    let row = dots.width().div_ceil(32) * 4;
    let too_large = EncodeError::TooLarge {
        format: "BMP",
        columns: dots.width(),
        rows: dots.height(),
        limit: text!("encode.limit.bytes"),
    };
    let len = row.checked_mul(dots.height()).and_then(|n| n.checked_add(HEAD));
    let Some((len, size)) = len.and_then(|n| Some((n, u32::try_from(n).ok()?))) else {
        return Err(too_large);
    };
    let (Ok(width), Ok(height)) = (i32::try_from(dots.width()), i32::try_from(dots.height())) else {
        return Err(too_large);
    };
    if width == 0 || height == 0 {
        return Err(too_large);
    }
    let mut out = Vec::with_capacity(len);
    out.extend(b"BM");
    out.extend(size.to_le_bytes());
    out.extend([0; 4]);
    out.extend((HEAD as u32).to_le_bytes());
    out.extend(40u32.to_le_bytes());
    out.extend(width.to_le_bytes());
    out.extend(height.to_le_bytes());
    out.extend(1u16.to_le_bytes()); // planes
    out.extend(1u16.to_le_bytes()); // bits a pixel
    out.extend(0u32.to_le_bytes()); // not compressed
    out.extend((size - HEAD as u32).to_le_bytes());
    out.extend(pixels_per_metre(grid.along.0).to_le_bytes());
    out.extend(pixels_per_metre(grid.across.0).to_le_bytes());
    out.extend([2u32.to_le_bytes(), 2u32.to_le_bytes()].concat()); // colours used, colours that matter
    let (off, on) = match beam_on {
        BeamOn::Black => ([255, 255, 255, 0], [0, 0, 0, 0]),
        BeamOn::White => ([0, 0, 0, 0], [255, 255, 255, 0]),
    };
    out.extend(off);
    out.extend(on);
    for y in (0..dots.height()).rev() {
        out.extend(dots.row(y));
        out.resize(out.len() + row - dots.stride(), 0);
    }
    Ok(out)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::Mm;

    fn grid() -> Grid {
        Grid { along: Mm(25.4 / 304.0), across: Mm(25.4 / 254.0) }
    }

    #[test]
    fn the_size_is_the_headers_and_the_padded_rows() {
        // check value U12: 62 + 128 * 1017 bytes.
        assert_eq!(dots(&Dots::off(1017, 1017), grid(), BeamOn::Black).unwrap().len(), 130_238);
    }

    #[test]
    fn an_independent_reader_gets_the_same_dots() {
        let mut d = Dots::off(45, 3);
        for (x, y) in [(0, 0), (44, 0), (7, 1), (31, 2), (32, 2)] {
            d.set(x, y, true);
        }
        for (beam_on, on) in [(BeamOn::Black, 0), (BeamOn::White, 255)] {
            let bytes = dots(&d, grid(), beam_on).unwrap();
            // check values U10 (pixels a metre) and U11 (a positive height is bottom up).
            assert_eq!(&bytes[38..46], [11969u32.to_le_bytes(), 10000u32.to_le_bytes()].concat());
            let read = image::load_from_memory(&bytes).unwrap().to_luma8();
            assert_eq!((read.width(), read.height()), (45, 3));
            for (x, y, p) in read.enumerate_pixels() {
                assert_eq!(p.0[0] == on, d.get(x as usize, y as usize), "{x} {y}");
            }
        }
    }

    #[test]
    fn no_dots_are_refused() {
        assert!(dots(&Dots::off(0, 5), grid(), BeamOn::Black).is_err());
    }
}
