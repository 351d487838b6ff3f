//! PNG, WebP, BMP, GIF and TIFF: the samples as the file stores them, never fewer bits.

use std::io::Cursor;

use image::metadata::Orientation;
use image::{ColorType, ExtendedColorType, ImageDecoder, ImageError, ImageFormat, ImageReader, Limits};
use tiff::decoder::{Decoder, DecodingResult};
use tiff::tags::Tag;

use super::open::{MAX_BYTES, Why, one_line, within_bounds};
use super::samples::{Pixels, Samples};
use super::{Format, Model};

/// A decoded file before its colours are read.
pub(super) struct Decoded {
    pub pixels: Pixels,
    pub bits: u8,
    pub icc: Option<Vec<u8>>,
    pub orientation: Orientation,
    pub notes: Vec<String>,
}

/// Decodes with the `image` library.
pub(super) fn general(bytes: &[u8], format: Format) -> Result<Decoded, Why> {
    let as_image = match format {
        Format::Png => ImageFormat::Png,
        Format::WebP => ImageFormat::WebP,
        Format::Bmp => ImageFormat::Bmp,
        Format::Gif => ImageFormat::Gif,
        Format::Tiff => ImageFormat::Tiff,
        Format::Jpeg | Format::Svg => return Err(Why::NotAPicture),
    };
    let mut limits = Limits::no_limits();
    limits.max_alloc = Some(MAX_BYTES);
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
    let bits = bits(decoder.original_color_type(), colour);
    // A profile or orientation that cannot be read does not stand in the way of the picture.
    let icc = decoder.icc_profile().ok().flatten();
    let orientation = decoder.orientation().unwrap_or(Orientation::NoTransforms);
    let (model, alpha) = match colour {
        ColorType::L8 | ColorType::L16 => (Model::Grey, false),
        ColorType::La8 | ColorType::La16 => (Model::Grey, true),
        ColorType::Rgb8 | ColorType::Rgb16 | ColorType::Rgb32F => (Model::Rgb, false),
        ColorType::Rgba8 | ColorType::Rgba16 | ColorType::Rgba32F => (Model::Rgb, true),
        other => return Err(Why::Unsupported(format!("{other:?}"))),
    };
    let mut raw = vec![0u8; decoder.total_bytes() as usize];
    decoder.read_image(&mut raw).map_err(|e| why(&e))?;
    let mut notes = Vec::new();
    let samples = match colour {
        ColorType::L8 | ColorType::La8 | ColorType::Rgb8 | ColorType::Rgba8 => Samples::U8(raw),
        ColorType::Rgb32F | ColorType::Rgba32F => {
            notes.push("its floating-point values were taken as linear light from 0 to 1".to_string());
            Samples::F32(bytemuck::pod_collect_to_vec(&raw))
        }
        _ => Samples::U16(bytemuck::pod_collect_to_vec(&raw)),
    };
    if let Some(frames) = frames(bytes, format) {
        notes.push(format!("it holds {frames}; the first was taken"));
    }
    let pixels = Pixels { width: width as usize, height: height as usize, samples, model, alpha };
    Ok(Decoded { pixels, bits, icc, orientation, notes })
}

/// "an animation" where the file holds more than one frame.
fn frames(bytes: &[u8], format: Format) -> Option<&'static str> {
    let moving = match format {
        Format::WebP => bytes.get(12..16) == Some(b"VP8X") && bytes.get(20).is_some_and(|f| f & 2 != 0),
        // The looping extension is what every animated GIF carries.
        Format::Gif => bytes.windows(11).take(4096).any(|w| w == b"NETSCAPE2.0"),
        Format::Png => bytes.get(37..41) == Some(b"acTL"),
        _ => false,
    };
    moving.then_some("several frames")
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
            Why::damaged(&[], inner.unwrap_or_else(|| other.to_string()))
        }
    }
}

/// Decodes a TIFF. Inks and float greys are read with the `tiff` library itself, as the wrapper
/// would turn inks into RGB without their profile and refuses the others. Palettes neither can read.
pub(super) fn tiff(bytes: &[u8]) -> Result<Decoded, Why> {
    let failed = |e: tiff::TiffError| match e {
        tiff::TiffError::IoError(_) => Why::CutOff,
        tiff::TiffError::UnsupportedError(u) => Why::Unsupported(one_line(&u.to_string())),
        other => Why::damaged(&[], other),
    };
    let mut limits = tiff::decoder::Limits::default();
    limits.decoding_buffer_size = MAX_BYTES as usize;
    limits.intermediate_buffer_size = MAX_BYTES as usize;
    let mut file = Decoder::new(Cursor::new(bytes)).map_err(failed)?.with_limits(limits);
    let (width, height) = file.dimensions().map_err(failed)?;
    let colour = file.colortype().map_err(failed)?;
    let (bits, channels, model) = match colour {
        tiff::ColorType::CMYK(b @ (8 | 16)) => (b, 4, Model::Cmyk),
        tiff::ColorType::Gray(32) => (32, 1, Model::Grey),
        _ => return general(bytes, Format::Tiff),
    };
    within_bounds(width.into(), height.into(), channels, u64::from(bits / 8))?;
    let planar = file.find_tag(Tag::PlanarConfiguration).map_err(failed)?;
    if channels > 1 && planar.and_then(|v| v.into_u16().ok()) == Some(2) {
        return Err(Why::Unsupported("inks in separate planes".into()));
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
            notes.push("its floating-point values were taken as linear light from 0 to 1".to_string());
            Samples::F32(v)
        }
        _ => return Err(Why::Unsupported(format!("{colour:?}"))),
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
    Ok(Decoded { pixels, bits, icc, orientation, notes })
}
