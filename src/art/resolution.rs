//! The resolution a file claims for itself: JFIF density, PNG `pHYs`, BMP, TIFF tags.

use std::io::Cursor;

use super::Format;

/// Dots an inch along and across, as the file claims.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Resolution {
    /// Along rows (x).
    pub x_dpi: f64,
    /// Down columns (y).
    pub y_dpi: f64,
}

/// A claim in dots an inch, where it is a sensible one (1 to 100000).
fn sensible((x_dpi, y_dpi): (f64, f64)) -> Option<Resolution> {
    let fits = |v: f64| (1.0..=100_000.0).contains(&v);
    (fits(x_dpi) && fits(y_dpi)).then_some(Resolution { x_dpi, y_dpi })
}

/// The claim of a PNG, TIFF or BMP; the others make none here ([`jfif`] is that of a JPEG).
pub(super) fn claimed(format: Format, bytes: &[u8]) -> Option<Resolution> {
    sensible(match format {
        Format::Png => phys(bytes)?,
        Format::Bmp => {
            let per_metre =
                |at: usize| Some(f64::from(i32::from_le_bytes(bytes.get(at..at + 4)?.try_into().ok()?)));
            (per_metre(38)? * 0.0254, per_metre(42)? * 0.0254)
        }
        Format::Tiff => tags(bytes)?,
        Format::Jpeg | Format::WebP | Format::Heic | Format::Gif | Format::Svg | Format::Pdf => return None,
    })
}

fn be16(bytes: &[u8], at: usize) -> Option<u16> {
    Some(u16::from_be_bytes(bytes.get(at..at + 2)?.try_into().ok()?))
}

fn be32(bytes: &[u8], at: usize) -> Option<u32> {
    Some(u32::from_be_bytes(bytes.get(at..at + 4)?.try_into().ok()?))
}

/// The claim of a JFIF segment (JFIF 1.02, page 5): units 1 = dots an inch, 2 = dots a centimetre, 0 = only
/// the ratio.
pub(super) fn jfif(payload: &[u8]) -> Option<Resolution> {
    let scale = match payload.get(7)? {
        1 => 1.0,
        2 => 2.54,
        _ => return None,
    };
    sensible((f64::from(be16(payload, 8)?) * scale, f64::from(be16(payload, 10)?) * scale))
}

/// PNG 11.3.4.3 `pHYs`: picture elements a metre, unit 1.
fn phys(bytes: &[u8]) -> Option<(f64, f64)> {
    let mut at = 8;
    loop {
        let (length, kind) = (be32(bytes, at)? as usize, bytes.get(at + 4..at + 8)?);
        match kind {
            b"pHYs" if bytes.get(at + 16) == Some(&1) => {
                return Some((
                    f64::from(be32(bytes, at + 8)?) * 0.0254,
                    f64::from(be32(bytes, at + 12)?) * 0.0254,
                ));
            }
            b"IDAT" | b"IEND" | b"pHYs" => return None,
            _ => at = at.checked_add(length)?.checked_add(12)?,
        }
    }
}

/// TIFF 6.0: XResolution (282), YResolution (283), ResolutionUnit (296; 2 = inch, the default, 3 = centimetre).
fn tags(bytes: &[u8]) -> Option<(f64, f64)> {
    use tiff::decoder::Decoder;
    use tiff::decoder::ifd::Value;
    use tiff::tags::Tag;
    let mut file = Decoder::new(Cursor::new(bytes)).ok()?;
    let mut ratio = |tag| match file.find_tag(tag).ok()?? {
        Value::Rational(n, d) if d != 0 => Some(f64::from(n) / f64::from(d)),
        _ => None,
    };
    let (x, y) = (ratio(Tag::XResolution)?, ratio(Tag::YResolution)?);
    match file.find_tag(Tag::ResolutionUnit).ok()?.map_or(Some(2), |v| v.into_u16().ok())? {
        2 => Some((x, y)),
        3 => Some((x * 2.54, y * 2.54)),
        _ => None,
    }
}
