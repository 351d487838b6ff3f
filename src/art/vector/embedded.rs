//! Embedded pictures and drawings, as `data:` addresses: each within bounds before anything is decoded.

use std::sync::{Arc, Mutex, PoisonError};

use resvg::usvg::{self, ImageKind, Options};

use super::guard::{MAX_DRAWN, Weight, check};
use super::unpack;
use crate::art::Format;
use crate::art::bounds::{MAX_BYTES, MAX_PIXELS, can_hold};
use crate::art::decode::packing;
use crate::art::error::{Why, one_line};
use crate::art::sniff::sniff;
use crate::texts::text;

/// Most bytes of the pictures embedded in one drawing, once decoded (four bytes a picture element).
const MAX_EMBEDDED: u64 = MAX_BYTES / 2;
/// Drawings inside drawings inside a drawing.
const MAX_NESTED: u32 = 4;

/// What the hooks of the parser put down: they cannot fail, so the first fault is kept here.
#[derive(Default)]
pub(super) struct Embedded {
    /// The first fault.
    pub fault: Option<Why>,
    /// Bytes of all pictures once decoded.
    bytes: u64,
    /// Elements that the embedded drawings draw.
    drawn: u64,
    /// How deep drawings are embedded at present.
    nested: u32,
}

/// A picture embedded as a `data:` address, within bounds: its header is read before anything is decoded.
pub(super) fn picture(
    data: Arc<Vec<u8>>,
    options: &Options,
    sum: &Mutex<Embedded>,
) -> Result<ImageKind, Why> {
    let format = sniff(&data).map_err(|_| Why::BadDrawing(text!("art.reason.embedded.unknown").into()))?;
    let image_format = match format {
        Format::Jpeg => image::ImageFormat::Jpeg,
        Format::Png => image::ImageFormat::Png,
        Format::Gif => image::ImageFormat::Gif,
        Format::WebP => image::ImageFormat::WebP,
        Format::Svg => {
            return drawing(&data, options, sum).map(ImageKind::SVG);
        }
        Format::Tiff | Format::Bmp | Format::Heic | Format::Pdf => {
            return Err(Why::BadDrawing(text!("art.reason.embedded.other-format", format)));
        }
    };
    let mut reader = image::ImageReader::with_format(std::io::Cursor::new(data.as_slice()), image_format);
    reader.no_limits();
    let (w, h) = reader
        .into_dimensions()
        .map_err(|e| Why::BadDrawing(one_line(&text!("art.reason.embedded.damaged", reason = e))))?;
    let pixels = u64::from(w) * u64::from(h);
    can_hold(w.into(), h.into(), packing(format, &data), data.len() as u64)?;
    let mut sum = sum.lock().unwrap_or_else(PoisonError::into_inner);
    sum.bytes = sum.bytes.saturating_add(pixels * 4);
    if pixels > MAX_PIXELS || sum.bytes > MAX_EMBEDDED {
        return Err(Why::TooLarge { width: w.into(), height: h.into(), need: sum.bytes });
    }
    drop(sum);
    Ok(match format {
        Format::Jpeg => ImageKind::JPEG(data),
        Format::Png => ImageKind::PNG(data),
        Format::Gif => ImageKind::GIF(data),
        _ => ImageKind::WEBP(data),
    })
}

/// A drawing embedded in a drawing.
fn drawing(data: &[u8], options: &Options, sum: &Mutex<Embedded>) -> Result<usvg::Tree, Why> {
    let text = if data.starts_with(&[0x1F, 0x8B]) { unpack(data)? } else { data.to_vec() };
    let text = std::str::from_utf8(&text)
        .map_err(|_| Why::BadDrawing(text!("art.reason.embedded.not-utf-8").into()))?;
    let Weight { drawn, .. } = check(text)?;
    let locked = || sum.lock().unwrap_or_else(PoisonError::into_inner);
    {
        let mut sum = locked();
        sum.drawn = sum.drawn.saturating_add(drawn);
        sum.nested += 1;
        if sum.nested > MAX_NESTED {
            return Err(Why::TooComplex(text!("art.complaint.nested-drawings", depth = MAX_NESTED)));
        }
        if sum.drawn > MAX_DRAWN {
            return Err(Why::TooComplex(text!("art.complaint.embedded-elements", most = MAX_DRAWN)));
        }
    }
    let tree = usvg::Tree::from_data_nested(text.as_bytes(), options)
        .map_err(|e| Why::BadDrawing(one_line(&text!("art.reason.embedded.bad-drawing", reason = e))));
    locked().nested -= 1;
    tree
}
