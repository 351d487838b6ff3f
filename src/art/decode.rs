//! PNG, WebP, BMP, GIF and TIFF: the samples as the file stores them, never fewer bits.

use std::io::Cursor;

use image::metadata::Orientation;
use image::{ColorType, ExtendedColorType, ImageDecoder, ImageError, ImageFormat, ImageReader, Limits};
use tiff::decoder::{Decoder, DecodingResult};
use tiff::tags::Tag;

use super::bounds::{MAX_BYTES, Packing, can_hold, within_bounds};
use super::error::{Why, one_line};
use super::resolution::{self, Resolution};
use super::samples::{Pixels, Samples};
use super::{Format, Model, pages};
use crate::note::Note;
use crate::texts::text;

/// A decoded file before its colours are read.
pub(super) struct Decoded {
    pub pixels: Pixels,
    pub bits: u8,
    pub icc: Option<Vec<u8>>,
    pub orientation: Orientation,
    /// As the file claims, before it is turned upright.
    pub resolution: Option<Resolution>,
    pub notes: Vec<Note>,
}

/// Decodes with the `image` library.
pub(super) fn general(bytes: &[u8], format: Format) -> Result<Decoded, Why> {
    let as_image = match format {
        Format::Png => ImageFormat::Png,
        Format::WebP => ImageFormat::WebP,
        Format::Bmp => ImageFormat::Bmp,
        Format::Gif => ImageFormat::Gif,
        Format::Tiff => ImageFormat::Tiff,
        Format::Jpeg | Format::Heic | Format::Svg | Format::Pdf => return Err(Why::NotAPicture),
    };
    let mut limits = Limits::no_limits();
    // The decoder of PNG needs a few rows, as the picture goes straight into our own plane; what else it
    // would unpack is text and profiles.
    limits.max_alloc = Some(if format == Format::Png { MAX_ASIDE } else { MAX_BYTES });
    let mut reader = ImageReader::with_format(Cursor::new(bytes), as_image);
    reader.limits(limits);
    let mut decoder = reader.into_decoder().map_err(|e| why(&e))?;
    let (width, height) = decoder.dimensions();
    let colour = decoder.color_type();
    let samples = u64::from(colour.channel_count());
    within_bounds(
        width.into(),
        height.into(),
        samples,
        u64::from(colour.bytes_per_pixel()) / samples.max(1),
    )?;
    if format != Format::Tiff {
        can_hold(width.into(), height.into(), packing(format, bytes), bytes.len() as u64)?;
    }
    let bits = bits(decoder.original_color_type(), colour);
    // A profile or orientation that cannot be read does not stand in the way of the picture.
    let icc = decoder.icc_profile().ok().flatten();
    let orientation = decoder.orientation().unwrap_or(Orientation::NoTransforms);
    let (model, alpha) = match colour {
        ColorType::L8 | ColorType::L16 => (Model::Grey, false),
        ColorType::La8 | ColorType::La16 => (Model::Grey, true),
        ColorType::Rgb8 | ColorType::Rgb16 | ColorType::Rgb32F => (Model::Rgb, false),
        ColorType::Rgba8 | ColorType::Rgba16 | ColorType::Rgba32F => (Model::Rgb, true),
        _ => return Err(Why::Unsupported(text!("art.reason.colours-unusual").into())),
    };
    let mut raw = vec![0u8; decoder.total_bytes() as usize];
    decoder.read_image(&mut raw).map_err(|e| why(&e))?;
    let mut notes = Vec::new();
    let samples = match colour {
        ColorType::L8 | ColorType::La8 | ColorType::Rgb8 | ColorType::Rgba8 => Samples::U8(raw),
        ColorType::Rgb32F | ColorType::Rgba32F => {
            notes.push(linear_light());
            Samples::F32(bytemuck::pod_collect_to_vec(&raw))
        }
        _ => Samples::U16(bytemuck::pod_collect_to_vec(&raw)),
    };
    if pages::moves(bytes, format) {
        // Of a moving picture only the first frame can be had, which is as good as a choice.
        notes.push(Note::choice(text!("art.frames.first-taken")));
    }
    let pixels = Pixels { width: width as usize, height: height as usize, samples, model, alpha };
    Ok(Decoded { pixels, bits, icc, orientation, resolution: resolution::claimed(format, bytes), notes })
}

/// What is said of samples that are floating-point numbers.
fn linear_light() -> Note {
    Note::fact(text!("art.linear-light"))
}

/// Most memory, in bytes, that a decoder may take for what is not picture.
const MAX_ASIDE: u64 = 128 << 20;

/// How densely a file of this format can hold its picture; of a PNG by its header.
pub(super) fn packing(format: Format, bytes: &[u8]) -> Packing {
    match format {
        Format::Jpeg => Packing::Jpeg,
        Format::Png => {
            // IHDR (PNG 11.2.2): bit depth and colour type; what is unknown counts as one bit.
            let depth = bytes.get(24).copied().map_or(1, u64::from).max(1);
            let channels = match bytes.get(25) {
                Some(2) => 3,
                Some(4) => 2,
                Some(6) => 4,
                _ => 1,
            };
            Packing::Deflate { bits: depth * channels }
        }
        Format::Gif => Packing::Lzw { bits: 8 },
        Format::WebP => Packing::WebP,
        Format::Bmp => Packing::Runs { bits: 8 },
        // Of a TIFF its tags tell; a drawing has no picture elements.
        Format::Tiff | Format::Svg | Format::Pdf => Packing::Fax,
        Format::Heic => Packing::Hevc,
    }
}

fn bits(original: ExtendedColorType, colour: ColorType) -> u8 {
    match original {
        ExtendedColorType::L1
        | ExtendedColorType::La1
        | ExtendedColorType::Rgb1
        | ExtendedColorType::Rgba1 => 1,
        ExtendedColorType::L2
        | ExtendedColorType::La2
        | ExtendedColorType::Rgb2
        | ExtendedColorType::Rgba2 => 2,
        ExtendedColorType::L4
        | ExtendedColorType::La4
        | ExtendedColorType::Rgb4
        | ExtendedColorType::Rgba4 => 4,
        _ => (u16::from(colour.bytes_per_pixel()) * 8 / u16::from(colour.channel_count()).max(1)) as u8,
    }
}

fn why(e: &ImageError) -> Why {
    match e {
        ImageError::IoError(io) if io.kind() == std::io::ErrorKind::UnexpectedEof => Why::CutOff,
        ImageError::Unsupported(u) => Why::Unsupported(one_line(&u.to_string())),
        ImageError::Parameter(_) => Why::CutOff,
        other => {
            // The decoder's own error says more than the wrapper around it.
            let inner = std::error::Error::source(other).map(ToString::to_string);
            Why::damaged(inner.unwrap_or_else(|| other.to_string()))
        }
    }
}

/// Decodes a page of a TIFF, counted from 1.
pub(super) fn tiff(bytes: &[u8], page: usize) -> Result<Decoded, Why> {
    let (bytes, count) = pages::in_front(bytes, page)?;
    let mut decoded = first_of_tiff(&bytes)?;
    decoded.notes.extend(pages::taken(page, count));
    Ok(decoded)
}

/// Decodes the first page of a TIFF. Inks and float greys are read with the `tiff` library itself, as the wrapper
/// would turn inks into RGB without their profile and refuses the others. Palettes neither can read.
fn first_of_tiff(bytes: &[u8]) -> Result<Decoded, Why> {
    let failed = |e: tiff::TiffError| match e {
        tiff::TiffError::IoError(_) => Why::CutOff,
        tiff::TiffError::UnsupportedError(u) => Why::Unsupported(one_line(&u.to_string())),
        other => Why::damaged(other),
    };
    let mut limits = tiff::decoder::Limits::default();
    limits.decoding_buffer_size = MAX_BYTES as usize;
    limits.intermediate_buffer_size = MAX_BYTES as usize;
    let mut file = Decoder::new(Cursor::new(bytes)).map_err(failed)?.with_limits(limits);
    let (width, height) = file.dimensions().map_err(failed)?;
    let colour = file.colortype().map_err(failed)?;
    let compression = file.find_tag(Tag::Compression).ok().flatten().and_then(|v| v.into_u64().ok());
    can_hold(width.into(), height.into(), tiff_packing(compression, colour), bytes.len() as u64)?;
    let (bits, channels, model) = match colour {
        tiff::ColorType::CMYK(b @ (8 | 16)) => (b, 4, Model::Cmyk),
        tiff::ColorType::Gray(32) => (32, 1, Model::Grey),
        _ => return general(bytes, Format::Tiff),
    };
    within_bounds(width.into(), height.into(), channels, u64::from(bits / 8))?;
    let planar = file.find_tag(Tag::PlanarConfiguration).map_err(failed)?;
    if channels > 1 && planar.and_then(|v| v.into_u16().ok()) == Some(2) {
        return Err(Why::Unsupported(text!("art.reason.ink-planes").into()));
    }
    let icc = file.find_tag(Tag::IccProfile).ok().flatten().and_then(|v| v.into_u8_vec().ok());
    let orientation = file
        .find_tag(Tag::Orientation)
        .ok()
        .flatten()
        .and_then(|v| Orientation::from_exif(v.into_u16().ok()?.min(255) as u8))
        .unwrap_or(Orientation::NoTransforms);
    let (width, height) = (width as usize, height as usize);
    let mut notes = Vec::new();
    let samples = match file.read_image().map_err(failed)? {
        DecodingResult::U8(v) => Samples::U8(v),
        DecodingResult::U16(v) => Samples::U16(v),
        DecodingResult::F32(v) => {
            notes.push(linear_light());
            Samples::F32(v)
        }
        _ => return Err(Why::Unsupported(text!("art.reason.colours-unusual").into())),
    };
    let pixels = Pixels { width, height, samples, model, alpha: false };
    let expected = width * height * pixels.channels();
    let found = match &pixels.samples {
        Samples::U8(v) => v.len(),
        Samples::U16(v) => v.len(),
        Samples::F32(v) => v.len(),
    };
    if found != expected {
        return Err(Why::CutOff);
    }
    let resolution = resolution::claimed(Format::Tiff, bytes);
    Ok(Decoded { pixels, bits, icc, orientation, resolution, notes })
}

/// How densely a TIFF can hold its picture, by its compression (TIFF 6.0 and its supplements; uncompressed
/// where nothing is said). Unknown ones are left to the decoder, which reads none of them.
fn tiff_packing(compression: Option<u64>, colour: tiff::ColorType) -> Packing {
    // Luminance and colour differences may be stored for one of several picture elements only.
    let samples = if matches!(colour, tiff::ColorType::YCbCr(_)) { 1 } else { colour.num_samples().max(1) };
    let bits = u64::from(colour.bit_depth()) * u64::from(samples);
    match compression {
        None | Some(1) => Packing::None { bits },
        Some(5) => Packing::Lzw { bits },
        Some(6 | 7) => Packing::Jpeg,
        Some(8 | 32946) => Packing::Deflate { bits },
        Some(32773) => Packing::Runs { bits },
        _ => Packing::Fax,
    }
}
