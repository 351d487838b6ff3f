//! PNG: dots as 1-bit grey with their pitch, and 8-bit pictures for people to look at.
//!
//! Rows of dots are stored without a row filter: on dithered pictures adaptive filters make files 18
//! to 21 % larger. The deflate stream is cut into pieces of fixed size that are packed several at
//! once; each knows the 32 KiB before it as its dictionary and ends in a sync flush, so the pieces
//! joined are one ordinary stream, the same bytes for any number of threads.

use flate2::{Compress, Compression, FlushCompress};

use super::beam_on::BeamOn;
use super::density::pixels_per_metre;
use super::error::EncodeError;
use crate::parallel;
use crate::placement::Grid;
use crate::plane::Dots;
use crate::texts::text;

/// Raw bytes a piece, about. A sync flush costs 5 bytes and a fresh block header about 60 more, so
/// a piece of this size grows the file by less than 0.1 %.
const PIECE: usize = 256 * 1024;
/// What deflate can look back on.
const WINDOW: usize = 32 * 1024;
/// Level of the dots' deflate. On a textured error-diffused picture level 2 gives 74.7 % of the packed
/// bits, level 6 74.1 %, level 9 73.0 %, level 1 93.5 %; on a smooth one level 2 runs at 128 Mpx/s a core
/// and level 6 at 57. Ordered dots come out half as large again as at level 6, and are small anyway.
const DOTS_LEVEL: u32 = 2;
/// Level of the deflate of pictures to look at: these are rewritten with every job, so time counts more.
const PICTURE_LEVEL: u32 = 1;

/// The dots as a 1-bit grey PNG, `pHYs` holding the pitch along and across in whole pixels a metre.
///
/// # Errors
/// When there are no dots, or more than 2³¹ − 1 columns or rows.
pub fn dots(dots: &Dots, grid: Grid, beam_on: BeamOn) -> Result<Vec<u8>, EncodeError> {
    let (width, height) = size(dots.width(), dots.height())?;
    let flip = match beam_on {
        BeamOn::Black => 0xFF,
        BeamOn::White => 0x00,
    };
    let row = |y: usize, out: &mut Vec<u8>| {
        out.push(0);
        out.extend(dots.row(y).iter().map(|b| b ^ flip));
    };
    let pieces = packed(dots.height(), dots.stride() + 1, DOTS_LEVEL, row)?;
    let mut info = ::png::Info::with_size(width, height);
    info.bit_depth = ::png::BitDepth::One;
    info.color_type = ::png::ColorType::Grayscale;
    info.pixel_dims = Some(pixel_dims(grid));
    file(info, &pieces)
}

/// How the bytes of a picture are laid out.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Samples {
    /// One byte a pixel: sRGB grey.
    Grey,
    /// Three bytes a pixel: sRGB.
    Rgb,
}

/// A picture of 8-bit sRGB samples as PNG; `grid`, where given, is the size of its pixels.
///
/// # Errors
/// When there are no pixels, too many, or `data` is not of that size.
pub fn picture(
    width: usize,
    height: usize,
    samples: Samples,
    data: &[u8],
    grid: Option<Grid>,
) -> Result<Vec<u8>, EncodeError> {
    let (w, h) = size(width, height)?;
    let bpp = match samples {
        Samples::Grey => 1,
        Samples::Rgb => 3,
    };
    let len = width * bpp;
    if data.len() != len * height {
        return Err(failed(format!("{} bytes do not make {width} x {height} pixels", data.len())));
    }
    // Filter `Up`: a picture here is smooth or flat from row to row, and this filter vectorises.
    let row = |y: usize, out: &mut Vec<u8>| {
        let this = &data[y * len..(y + 1) * len];
        if y == 0 {
            out.push(0);
            out.extend_from_slice(this);
        } else {
            out.push(2);
            let above = &data[(y - 1) * len..y * len];
            out.extend(this.iter().zip(above).map(|(a, b)| a.wrapping_sub(*b)));
        }
    };
    let pieces = packed(height, len + 1, PICTURE_LEVEL, row)?;
    let mut info = ::png::Info::with_size(w, h);
    info.bit_depth = ::png::BitDepth::Eight;
    info.color_type = match samples {
        Samples::Grey => ::png::ColorType::Grayscale,
        Samples::Rgb => ::png::ColorType::Rgb,
    };
    info.srgb = Some(::png::SrgbRenderingIntent::Perceptual);
    info.pixel_dims = grid.map(pixel_dims);
    file(info, &pieces)
}

fn size(width: usize, height: usize) -> Result<(u32, u32), EncodeError> {
    let fits = |v: usize| u32::try_from(v).ok().filter(|&v| v > 0 && v <= i32::MAX as u32);
    match (fits(width), fits(height)) {
        (Some(w), Some(h)) => Ok((w, h)),
        _ => Err(EncodeError::TooLarge {
            format: "PNG",
            columns: width,
            rows: height,
            limit: text!("encode.limit.png"),
        }),
    }
}

fn pixel_dims(grid: Grid) -> ::png::PixelDimensions {
    ::png::PixelDimensions {
        xppu: pixels_per_metre(grid.along.0),
        yppu: pixels_per_metre(grid.across.0),
        unit: ::png::Unit::Meter,
    }
}

fn failed(why: impl ToString) -> EncodeError {
    EncodeError::Failed { format: "PNG", why: why.to_string() }
}

/// The file around the packed pieces: each piece is one `IDAT`.
fn file(info: ::png::Info<'static>, pieces: &[Vec<u8>]) -> Result<Vec<u8>, EncodeError> {
    let mut out = Vec::with_capacity(pieces.iter().map(|p| p.len() + 12).sum::<usize>() + 256);
    let encoder = ::png::Encoder::with_info(&mut out, info).map_err(failed)?;
    let mut writer = encoder.write_header().map_err(failed)?;
    for piece in pieces {
        writer.write_chunk(::png::chunk::IDAT, piece).map_err(failed)?;
    }
    writer.finish().map_err(failed)?;
    Ok(out)
}

/// Packs `rows` filtered rows of `row_len` bytes (`row(y, out)` appends row `y`) into the pieces of
/// one zlib stream (RFC 1950).
fn packed(
    rows: usize,
    row_len: usize,
    level: u32,
    row: impl Fn(usize, &mut Vec<u8>) + Sync + Send,
) -> Result<Vec<Vec<u8>>, EncodeError> {
    let per_piece = (PIECE / row_len).max(1);
    let count = rows.div_ceil(per_piece);
    let before = WINDOW.div_ceil(row_len);
    let done = parallel::map(count, |i| {
        let (first, end) = (i * per_piece, ((i + 1) * per_piece).min(rows));
        let from = first.saturating_sub(before);
        let mut raw = Vec::with_capacity((end - from) * row_len);
        (from..end).for_each(|y| row(y, &mut raw));
        let (seen, fresh) = raw.split_at((first - from) * row_len);
        let seen = &seen[seen.len().saturating_sub(WINDOW)..];
        let bytes = deflate(seen, fresh, level, end == rows)?;
        Ok((bytes, Adler::of(fresh)))
    });
    let mut sum = Adler::EMPTY;
    let mut pieces = Vec::with_capacity(count);
    for piece in done {
        let (bytes, adler) = piece?;
        sum = sum.then(adler);
        pieces.push(bytes);
    }
    if let Some(first) = pieces.first_mut() {
        // CMF 0x78: deflate, 32 KiB window; FLG: level hint "default", check bits (RFC 1950, 2.2).
        first.splice(0..0, [0x78, 0x9C]);
    }
    if let Some(last) = pieces.last_mut() {
        last.extend(sum.value().to_be_bytes());
    }
    Ok(pieces)
}

/// One piece of a raw deflate stream (RFC 1951): `fresh` packed with `seen` as what came before.
fn deflate(seen: &[u8], fresh: &[u8], level: u32, last: bool) -> Result<Vec<u8>, EncodeError> {
    let mut packer = Compress::new(Compression::new(level), false);
    if !seen.is_empty() {
        packer.set_dictionary(seen).map_err(failed)?;
    }
    let flush = if last { FlushCompress::Finish } else { FlushCompress::Sync };
    let mut out = Vec::with_capacity(fresh.len() / 2 + fresh.len() / 8 + 1024);
    loop {
        let taken = packer.total_in() as usize;
        let status = packer.compress_vec(&fresh[taken..], &mut out, flush).map_err(failed)?;
        let all_in = packer.total_in() as usize == fresh.len();
        // With room left over after all the input, the flush is complete (zlib's own rule).
        let complete = if last { status == flate2::Status::StreamEnd } else { out.len() < out.capacity() };
        if all_in && complete {
            return Ok(out);
        }
        out.reserve(out.capacity() / 2 + 1024);
    }
}

/// An Adler-32 checksum (RFC 1950, section 8) that knows how many bytes it covers, so that the sums of
/// pieces can be joined.
#[derive(Debug, Clone, Copy)]
struct Adler {
    a: u32,
    b: u32,
    len: u64,
}

impl Adler {
    const BASE: u32 = 65_521;
    const EMPTY: Adler = Adler { a: 1, b: 0, len: 0 };

    fn of(data: &[u8]) -> Adler {
        let (mut a, mut b) = (1u32, 0u32);
        // 5552 is the most bytes for which b stays below 2³² before the remainder is taken.
        for block in data.chunks(5552) {
            for &byte in block {
                a += u32::from(byte);
                b += a;
            }
            a %= Self::BASE;
            b %= Self::BASE;
        }
        Adler { a, b, len: data.len() as u64 }
    }

    /// The sum of this followed by `next`: every byte of `next` was counted with a running `a` that
    /// began at 1 instead of at `self.a`.
    fn then(self, next: Adler) -> Adler {
        let base = u64::from(Self::BASE);
        let shift = u64::from(self.a) + base - 1;
        let a = (u64::from(next.a) + shift) % base;
        let b = (u64::from(self.b) + u64::from(next.b) + (next.len % base) * (shift % base)) % base;
        Adler { a: a as u32, b: b as u32, len: self.len + next.len }
    }

    fn value(self) -> u32 {
        self.b << 16 | self.a
    }
}

/// The rows of a decoded 1-bit PNG, for tests and for reading dots back.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Decoded {
    /// The dots; 1 where the sample says beam on.
    pub dots: Dots,
    /// Pixels a metre along and across, where the file states them.
    pub pixels_per_metre: Option<(u32, u32)>,
}

/// Reads a 1-bit grey PNG back into dots.
///
/// # Errors
/// When the file is not a 1-bit grey PNG or is damaged; the message says which.
pub fn read_dots(bytes: &[u8], beam_on: BeamOn) -> Result<Decoded, EncodeError> {
    let decoder = ::png::Decoder::new(std::io::Cursor::new(bytes));
    let mut reader = decoder.read_info().map_err(failed)?;
    let info = reader.info();
    if info.bit_depth != ::png::BitDepth::One || info.color_type != ::png::ColorType::Grayscale {
        return Err(failed(text!("encode.dots.not-one-bit")));
    }
    let (w, h) = (info.width as usize, info.height as usize);
    let density = info.pixel_dims.filter(|d| matches!(d.unit, ::png::Unit::Meter)).map(|d| (d.xppu, d.yppu));
    let len = reader.output_buffer_size().ok_or_else(|| failed(text!("encode.dots.too-large")))?;
    let mut data = vec![0; len];
    reader.next_frame(&mut data).map_err(failed)?;
    data.truncate(w.div_ceil(8) * h);
    if beam_on == BeamOn::Black {
        data.iter_mut().for_each(|b| *b = !*b);
    }
    Ok(Decoded { dots: Dots::from_packed(w, h, data), pixels_per_metre: density })
}
