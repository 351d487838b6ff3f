//! HEIC: photos of telephones (HEVC in HEIF, ISO/IEC 23008-12), turned upright by the decoder as the file asks.

use heic_decoder::{ColorInfo, DecodedImage, HeifError, RgbOptions, decode as decode_planes, probe};
use image::metadata::Orientation;

use super::Model;
use super::bounds::{Packing, can_hold, within_bounds};
use super::decode::Decoded;
use super::error::{Why, one_line};
use super::samples::{Pixels, Samples};
use crate::note::Note;
use crate::texts::text;

/// What a file without a word on its colours is taken to hold, as MIAF does (ISO/IEC 23000-22, 7.3.6.4; from memory):
/// sRGB's primaries and curve, BT.601's matrix, the full range.
const UNSAID: ColorInfo =
    ColorInfo { color_primaries: 1, transfer_characteristics: 13, matrix_coefficients: 6, full_range: true };
/// H.273: a matrix that is not specified.
const UNSPECIFIED: u16 = 2;
/// Bytes that decoding takes for a picture element at most: planes of i32 for light, colours and alpha, once more
/// while they are put together and turned.
const SAMPLES: u64 = 4;
const BYTES: u64 = 8;

/// Decodes the first picture of the file.
pub(super) fn decode(bytes: &[u8]) -> Result<Decoded, Why> {
    let told = probe(bytes).map_err(why)?;
    let (width, height) = (told.coded_width as u64, told.coded_height as u64);
    within_bounds(width, height, SAMPLES, BYTES)?;
    can_hold(width, height, Packing::Hevc, bytes.len() as u64)?;
    let planes = decode_planes(bytes).map_err(why)?;
    within_bounds(planes.width as u64, planes.height as u64, SAMPLES, BYTES)?;
    let alpha = planes.alpha.is_some();
    if planes.alpha.as_ref().is_some_and(|a| a.premultiplied) {
        return Err(Why::Unsupported(text!("art.reason.multiplied").into()));
    }
    let said = planes.color_info.unwrap_or(UNSAID);
    let samples = samples(&planes, colours(said))?;
    let mut notes = Vec::new();
    // H.273, table 3: PQ and HLG.
    if matches!(said.transfer_characteristics, 16 | 18) {
        notes.push(Note::fact(text!("art.high-range")));
    }
    let pixels = Pixels { width: planes.width, height: planes.height, samples, model: Model::Rgb, alpha };
    Ok(Decoded {
        pixels,
        bits: planes.bit_depth_luma.min(16) as u8,
        icc: planes.metadata.icc_profile,
        // The file's own turn has been made; Exif repeats it and does not count (ISO/IEC 23008-12, A.2.1; from memory).
        orientation: Orientation::NoTransforms,
        resolution: None,
        notes,
    })
}

/// The colours with what they leave open filled in.
fn colours(said: ColorInfo) -> ColorInfo {
    let open = said.matrix_coefficients == UNSPECIFIED;
    ColorInfo {
        matrix_coefficients: if open { UNSAID.matrix_coefficients } else { said.matrix_coefficients },
        ..said
    }
}

/// Interleaved samples, of 8 bits where the file has no more.
fn samples(planes: &DecodedImage, colour: ColorInfo) -> Result<Samples, Why> {
    let how = RgbOptions { color: Some(colour), ..RgbOptions::default() };
    let deep = planes.bit_depth_luma > 8;
    Ok(match (deep, planes.alpha.is_some()) {
        (false, false) => Samples::U8(planes.to_rgb8_with_options(&how).map_err(why)?.data),
        (false, true) => Samples::U8(planes.to_rgba8_with_options(&how).map_err(why)?.data),
        (true, false) => Samples::U16(planes.to_rgb16_with_options(&how).map_err(why)?.data),
        (true, true) => Samples::U16(planes.to_rgba16_with_options(&how).map_err(why)?.data),
    })
}

fn why(e: HeifError) -> Why {
    match e {
        HeifError::Truncated { .. } => Why::CutOff,
        HeifError::Unsupported(what) => Why::UnusualPhoto(one_line(what.trim_start_matches("decode: "))),
        HeifError::LimitExceeded(_) => Why::UnusualPhoto(text!("art.reason.huge-parts").into()),
        other => Why::Damaged(one_line(&other.to_string())),
    }
}
