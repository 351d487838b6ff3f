//! JPEG: decoded in the colours the file holds (so that CMYK keeps its inks), and refused when cut off.

use image::metadata::Orientation;
use zune_core::bytestream::ZCursor;
use zune_core::colorspace::ColorSpace;
use zune_core::options::DecoderOptions;
use zune_jpeg::JpegDecoder;

use super::Model;
use super::decode::Decoded;
use super::open::{Why, within_bounds};
use super::samples::{Pixels, Samples};

fn decoder(bytes: &[u8], options: DecoderOptions) -> JpegDecoder<ZCursor<&[u8]>> {
    JpegDecoder::new_with_options(ZCursor::new(bytes), options)
}

pub(super) fn decode(bytes: &[u8]) -> Result<Decoded, Why> {
    // The strict decoder reports data that ends early or breaks off; the lenient one would fill the
    // rest with grey and say nothing.
    let options = DecoderOptions::default()
        .set_strict_mode(true)
        .set_max_width(usize::from(u16::MAX))
        .set_max_height(usize::from(u16::MAX));
    let mut head = decoder(bytes, options);
    let strict = head.decode_headers();
    let options = if strict.is_err() {
        // Extra bytes between the headers do no harm.
        let options = options.set_strict_mode(false);
        head = decoder(bytes, options);
        head.decode_headers().map_err(|e| Why::damaged(bytes, e))?;
        options
    } else {
        options
    };
    let (width, height) = head.dimensions().ok_or_else(|| Why::Damaged("it has no size".into()))?;
    let stored = head.input_colorspace().ok_or_else(|| Why::Damaged("it has no colours".into()))?;
    let (out, model, samples) = match stored {
        ColorSpace::Luma | ColorSpace::LumaA => (ColorSpace::Luma, Model::Grey, 1),
        ColorSpace::CMYK => (ColorSpace::CMYK, Model::Cmyk, 4),
        ColorSpace::YCCK => (ColorSpace::YCCK, Model::Cmyk, 4),
        _ => (ColorSpace::RGB, Model::Rgb, 3),
    };
    within_bounds(width as u64, height as u64, samples as u64, 1)?;
    if !ends(bytes) {
        return Err(Why::CutOff);
    }
    let mut data = vec![0u8; width * height * samples];
    let mut body = decoder(bytes, options.jpeg_set_out_colorspace(out));
    body.decode_into(&mut data).map_err(|e| Why::damaged(bytes, e))?;
    match stored {
        ColorSpace::YCCK => ycck_to_cmyk(&mut data),
        // Files with an Adobe marker store inks inverted (Adobe TN 5116 leaves it open, all practice does so).
        ColorSpace::CMYK if has_adobe_marker(bytes) => data.iter_mut().for_each(|v| *v = 255 - *v),
        _ => {}
    }
    Ok(Decoded {
        pixels: Pixels { width, height, samples: Samples::U8(data), model, alpha: false },
        bits: 8,
        icc: body.icc_profile(),
        orientation: body
            .exif()
            .and_then(|chunk| Orientation::from_exif_chunk(chunk))
            .unwrap_or(Orientation::NoTransforms),
        notes: Vec::new(),
    })
}

/// Inks of inverted YCCK: the YCC part holds R, G, B = inverted inks C, M, Y stored inverted again
/// (ITU-T T.871 for the matrix; Adobe TN 5116 for the transform).
fn ycck_to_cmyk(data: &mut [u8]) {
    for p in data.chunks_exact_mut(4) {
        let (y, cb, cr) = (f32::from(p[0]), f32::from(p[1]) - 128.0, f32::from(p[2]) - 128.0);
        // The conversion gives the inks themselves; casts saturate.
        p[0] = (y + 1.402 * cr).round() as u8;
        p[1] = (y - 0.344_136 * cb - 0.714_136 * cr).round() as u8;
        p[2] = (y + 1.772 * cb).round() as u8;
        p[3] = 255 - p[3];
    }
}

/// Marker segments before the first scan, as (marker, payload).
fn segments(bytes: &[u8]) -> impl Iterator<Item = (u8, &[u8])> {
    let mut at = 2;
    std::iter::from_fn(move || {
        while bytes.get(at) == Some(&0xFF) && bytes.get(at + 1) == Some(&0xFF) {
            at += 1;
        }
        if bytes.get(at) != Some(&0xFF) {
            return None;
        }
        let marker = *bytes.get(at + 1)?;
        let length = usize::from(u16::from_be_bytes(bytes.get(at + 2..at + 4)?.try_into().ok()?));
        if marker == 0xDA || length < 2 {
            return None;
        }
        let payload = bytes.get(at + 4..at + 2 + length)?;
        at += 2 + length;
        Some((marker, payload))
    })
}

fn has_adobe_marker(bytes: &[u8]) -> bool {
    segments(bytes).any(|(m, p)| m == 0xEE && p.starts_with(b"Adobe"))
}

/// Whether an end-of-image marker follows the first scan: after a thumbnail's, which lies in a
/// segment before it. Stuffed bytes (FF 00) cannot make one up.
fn ends(bytes: &[u8]) -> bool {
    let before_scan: usize = 2 + segments(bytes).map(|(_, p)| p.len() + 4).sum::<usize>();
    bytes.get(before_scan..).is_some_and(|scan| scan.windows(2).rev().any(|w| w == [0xFF, 0xD9]))
}
