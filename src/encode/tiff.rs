//! TIFF: dots as one bit a pixel with the exact density, packed as CCITT Group 4 or PackBits.
//!
//! A dot that is on is stored as a 1 either way; the tag `PhotometricInterpretation` says whether 1 is
//! black or white. Strips are packed several at once, the same bytes for any number of threads.

use std::io::Cursor;

use ::tiff::encoder::compression::{CompressionAlgorithm, Packbits};
use ::tiff::encoder::{Rational, TiffEncoder};
use ::tiff::tags::Tag;
use serde::{Deserialize, Serialize};

use super::beam_on::BeamOn;
use super::error::EncodeError;
use crate::parallel;
use crate::placement::Grid;
use crate::plane::Dots;
use crate::texts::text;
use crate::units::MM_PER_INCH;

/// Packed bytes of dots a strip, about: small enough to share among threads, large enough for Group 4.
const STRIP: usize = 128 * 1024;

/// How the rows are packed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Packing {
    /// ITU-T T.6: smallest for line art and lettering; fine dither can grow beyond its plain size.
    #[default]
    Group4,
    /// PackBits: byte runs; never more than 1 % above the plain size.
    PackBits,
}

/// The dots as a 1-bit TIFF; resolution as an exact fraction of dots an inch.
///
/// # Errors
/// When there are no dots, or the file would pass 4 GiB.
pub fn dots(dots: &Dots, grid: Grid, beam_on: BeamOn, packing: Packing) -> Result<Vec<u8>, EncodeError> {
    let (Ok(width), Ok(height)) = (u32::try_from(dots.width()), u32::try_from(dots.height())) else {
        return Err(too_large(dots));
    };
    if width == 0 || height == 0 {
        return Err(too_large(dots));
    }
    let rows = (STRIP / dots.stride()).clamp(1, dots.height());
    let strips = parallel::map(dots.height().div_ceil(rows), |i| {
        let lines = i * rows..((i + 1) * rows).min(dots.height());
        match packing {
            Packing::Group4 => Ok(group4(dots, lines, width)),
            Packing::PackBits => packbits(dots, lines),
        }
    });
    let strips = strips.into_iter().collect::<Result<Vec<_>, _>>()?;
    let total: usize = strips.iter().map(Vec::len).sum();
    // Room for the directory and the strips' places: 4 GiB less 16 bytes a strip and 4 KiB.
    if total as u64 + 16 * strips.len() as u64 + 4096 > u64::from(u32::MAX) {
        return Err(too_large(dots));
    }
    let mut out = Cursor::new(Vec::with_capacity(total + 16 * strips.len() + 4096));
    write(&mut out, (width, height, rows as u32), grid, beam_on, packing, &strips)
        .map_err(|e| failed(e.to_string()))?;
    Ok(out.into_inner())
}

fn write(
    out: &mut Cursor<Vec<u8>>,
    (width, height, rows): (u32, u32, u32),
    grid: Grid,
    beam_on: BeamOn,
    packing: Packing,
    strips: &[Vec<u8>],
) -> ::tiff::TiffResult<()> {
    let mut file = TiffEncoder::new(out)?;
    let mut dir = file.image_directory()?;
    let (mut places, mut sizes) = (Vec::new(), Vec::new());
    for strip in strips {
        places.push(dir.write_data(strip.as_slice())? as u32);
        sizes.push(strip.len() as u32);
    }
    dir.write_tag(Tag::ImageWidth, width)?;
    dir.write_tag(Tag::ImageLength, height)?;
    dir.write_tag(Tag::BitsPerSample, 1u16)?;
    dir.write_tag(
        Tag::Compression,
        match packing {
            Packing::Group4 => 4u16,
            Packing::PackBits => 32773,
        },
    )?;
    // 0 = WhiteIsZero, 1 = BlackIsZero (TIFF 6.0).
    dir.write_tag(
        Tag::PhotometricInterpretation,
        match beam_on {
            BeamOn::Black => 0u16,
            BeamOn::White => 1,
        },
    )?;
    dir.write_tag(Tag::StripOffsets, places.as_slice())?;
    dir.write_tag(Tag::SamplesPerPixel, 1u16)?;
    dir.write_tag(Tag::RowsPerStrip, rows)?;
    dir.write_tag(Tag::StripByteCounts, sizes.as_slice())?;
    dir.write_tag(Tag::XResolution, rational(MM_PER_INCH / grid.along.0))?;
    dir.write_tag(Tag::YResolution, rational(MM_PER_INCH / grid.across.0))?;
    dir.write_tag(Tag::ResolutionUnit, 2u16)?; // inch
    dir.finish()
}

fn too_large(dots: &Dots) -> EncodeError {
    EncodeError::TooLarge {
        format: "TIFF",
        columns: dots.width(),
        rows: dots.height(),
        limit: text!("encode.limit.bytes"),
    }
}

fn failed(why: String) -> EncodeError {
    EncodeError::Failed { format: "TIFF", why }
}

fn packbits(dots: &Dots, lines: std::ops::Range<usize>) -> Result<Vec<u8>, EncodeError> {
    let mut out = Vec::new();
    // Each row is packed for itself (TIFF 6.0, section 9).
    for y in lines {
        Packbits.write_to(&mut out, dots.row(y)).map_err(|e| failed(e.to_string()))?;
    }
    Ok(out)
}

fn group4(dots: &Dots, lines: std::ops::Range<usize>, width: u32) -> Vec<u8> {
    let mut encoder = fax::encoder::Encoder::new(fax::VecWriter::with_capacity(8 * STRIP));
    let color = |bit: bool| if bit { fax::Color::Black } else { fax::Color::White };
    for y in lines {
        let row = dots.row(y);
        let pels = (0..dots.width()).map(|x| color(row[x / 8] >> (7 - x % 8) & 1 == 1));
        match encoder.encode_line(pels, width) {
            Ok(()) => {}
            Err(never) => match never {},
        }
    }
    match encoder.finish() {
        Ok(writer) => writer.finish(),
        Err(never) => match never {},
    }
}

/// The fraction of two 32-bit numbers nearest to `value`, by continued fraction: the first that is
/// within 1e-12 of it, so that 304 is 304/1 and 25.4/0.0875 is 2032/7.
fn rational(value: f64) -> Rational {
    let most = f64::from(u32::MAX);
    let (mut n0, mut d0, mut n, mut d) = (1.0f64, 0.0f64, value.floor(), 1.0f64);
    let mut rest = value - n;
    while rest > 1e-12 && (n / d - value).abs() > 1e-12 * value {
        let x = 1.0 / rest;
        let term = x.floor();
        let (n1, d1) = (term * n + n0, term * d + d0);
        if n1 > most || d1 > most {
            break;
        }
        (n0, d0, n, d) = (n, d, n1, d1);
        rest = x - term;
    }
    Rational { n: n as u32, d: d as u32 }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::Mm;

    #[test]
    fn densities_are_exact_fractions() {
        // check value U08: 304 dpi is 304/1.
        for (pitch, n, d) in [(25.4 / 304.0, 304, 1), (0.0875, 2032, 7), (0.0127, 2000, 1), (0.1, 254, 1)] {
            let r = rational(25.4 / pitch);
            assert_eq!((r.n, r.d), (n, d), "{pitch} mm");
        }
        for dpi in [303.97, 290.123456789, 5080.0 / 3.0, std::f64::consts::PI * 100.0, 5.08] {
            let r = rational(dpi);
            assert!((f64::from(r.n) / f64::from(r.d) - dpi).abs() < 1e-9, "{dpi}: {}/{}", r.n, r.d);
        }
    }

    #[test]
    fn group_4_strips_decode_to_the_same_rows() {
        let mut d = Dots::off(1017, 700);
        for y in 0..700usize {
            for x in 0..1017usize {
                d.set(x, y, (x * x / 50 + y * 7) % 31 < 9 || (x / 40 + y / 40) % 2 == 0);
            }
        }
        let bytes = group4(&d, 0..700, 1017);
        let mut y = 0;
        fax::decoder::decode_g4(bytes.into_iter(), 1017, None, |transitions| {
            for (x, pel) in fax::decoder::pels(transitions, 1017).enumerate() {
                assert_eq!(pel == fax::Color::Black, d.get(x, y), "{x} {y}");
            }
            y += 1;
        });
        assert_eq!(y, 700);
    }

    #[test]
    fn the_thread_count_does_not_change_a_byte() {
        let mut d = Dots::off(3000, 1500);
        d.bits_mut().iter_mut().enumerate().for_each(|(i, b)| *b = (i * i / 7) as u8);
        let grid = Grid { along: Mm(0.1), across: Mm(0.1) };
        for packing in [Packing::Group4, Packing::PackBits] {
            let one = parallel::with_threads(1, || dots(&d, grid, BeamOn::Black, packing).unwrap());
            for n in [2, 3, 7] {
                let many = parallel::with_threads(n, || dots(&d, grid, BeamOn::Black, packing).unwrap());
                assert!(one == many, "{n} threads");
            }
        }
    }
}
