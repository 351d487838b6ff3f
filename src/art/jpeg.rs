//! JPEG: decoded in the colours the file holds (so that CMYK keeps its inks), and refused when cut off.

use image::metadata::Orientation;
use zune_core::bytestream::ZCursor;
use zune_core::colorspace::ColorSpace;
use zune_core::options::DecoderOptions;
use zune_jpeg::JpegDecoder;

use super::Model;
use super::bounds::{Packing, can_hold, within_bounds};
use super::decode::Decoded;
use super::error::Why;
use super::resolution::{self, Resolution};
use super::samples::{Pixels, Samples};
use crate::texts::text;

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
        head.decode_headers().map_err(Why::damaged)?;
        options
    } else {
        options
    };
    let (width, height) =
        head.dimensions().ok_or_else(|| Why::Damaged(text!("art.reason.no-size").into()))?;
    let stored =
        head.input_colorspace().ok_or_else(|| Why::Damaged(text!("art.reason.no-colours").into()))?;
    let (out, model, samples) = match stored {
        ColorSpace::Luma | ColorSpace::LumaA => (ColorSpace::Luma, Model::Grey, 1),
        ColorSpace::CMYK => (ColorSpace::CMYK, Model::Cmyk, 4),
        ColorSpace::YCCK => (ColorSpace::YCCK, Model::Cmyk, 4),
        _ => (ColorSpace::RGB, Model::Rgb, 3),
    };
    let markers = Markers::read(bytes);
    // Coefficients take two bytes a sample, beside the samples.
    let each = if markers.progressive { 3 } else { 1 };
    within_bounds(width as u64, height as u64, samples as u64, each)?;
    if !markers.ends(bytes) {
        return Err(Why::CutOff);
    }
    can_hold(width as u64, height as u64, Packing::Jpeg, bytes.len() as u64)?;
    let mut data = vec![0u8; width * height * samples];
    let mut body = decoder(bytes, options.jpeg_set_out_colorspace(out));
    body.decode_into(&mut data).map_err(Why::damaged)?;
    match stored {
        ColorSpace::YCCK => ycck_to_cmyk(&mut data),
        // Files with an Adobe marker store inks inverted (Adobe TN 5116 leaves it open, all practice does so).
        ColorSpace::CMYK if markers.adobe => data.iter_mut().for_each(|v| *v = 255 - *v),
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
        resolution: markers.resolution,
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

/// What the marker segments before the first scan say (ITU-T T.81, annex B), walked once.
#[derive(Debug, Default, PartialEq)]
struct Markers {
    /// Whether the picture comes in several passes, whose coefficients are all kept until the last.
    progressive: bool,
    /// Whether an Adobe segment is there.
    adobe: bool,
    /// The resolution that a JFIF segment claims.
    resolution: Option<Resolution>,
    /// Where the first scan's own segment begins, or the walk ended.
    scan: usize,
}

impl Markers {
    fn read(bytes: &[u8]) -> Self {
        let mut found = Markers { scan: 2, ..Markers::default() };
        while let Some((marker, payload, next)) = segment(bytes, found.scan) {
            match marker {
                // Start of frame, progressive: Huffman and arithmetic, alone and differential.
                0xC2 | 0xC6 | 0xCA | 0xCE => found.progressive = true,
                0xE0 if payload.starts_with(b"JFIF\0") && found.resolution.is_none() => {
                    found.resolution = resolution::jfif(payload);
                }
                0xEE if payload.starts_with(b"Adobe") => found.adobe = true,
                _ => {}
            }
            found.scan = next;
        }
        found
    }

    /// Whether an end-of-image marker follows the first scan: after a thumbnail's, which lies in a
    /// segment before it. Stuffed bytes (FF 00) cannot make one up.
    fn ends(&self, bytes: &[u8]) -> bool {
        bytes.get(self.scan..).is_some_and(|scan| scan.windows(2).rev().any(|w| w == [0xFF, 0xD9]))
    }
}

/// The segment at `at`, any fill bytes before it passed over: its marker, its payload and where the next begins.
/// `None` at the first scan and where there is no segment.
fn segment(bytes: &[u8], mut at: usize) -> Option<(u8, &[u8], usize)> {
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
    Some((marker, bytes.get(at + 4..at + 2 + length)?, at + 2 + length))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn markers_are_read_in_one_walk() {
        // Start, JFIF with 254 dots a centimetre, fill bytes, Adobe, progressive frame, scan.
        let mut file = vec![0xFF, 0xD8, 0xFF, 0xE0, 0, 16];
        file.extend(b"JFIF\0\x01\x02\x02\x00\xFE\x00\xFE\0\0");
        file.extend([0xFF, 0xFF, 0xFF, 0xEE, 0, 7]);
        file.extend(b"Adobe");
        file.extend([0xFF, 0xC2, 0, 3, 8, 0xFF, 0xDA, 0, 2, 1, 2, 3]);
        let m = Markers::read(&file);
        assert!(m.progressive && m.adobe && !m.ends(&file));
        assert!((m.resolution.unwrap().x_dpi - 254.0 * 2.54).abs() < 1e-9);
        assert_eq!(file[m.scan..m.scan + 2], [0xFF, 0xDA]);
        file.extend([0xFF, 0xD9]);
        assert!(m.ends(&file));
        assert_eq!(Markers::read(b""), Markers { scan: 2, ..Markers::default() });
    }
}
