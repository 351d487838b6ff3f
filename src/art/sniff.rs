//! Format by content: the first bytes decide, never the file's name.

use std::fmt;

use crate::texts::text;

/// A kind of picture file.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Format {
    /// JPEG (ISO/IEC 10918-1).
    Jpeg,
    /// PNG (ISO/IEC 15948).
    Png,
    /// TIFF 6.0.
    Tiff,
    /// WebP.
    WebP,
    /// Windows bitmap.
    Bmp,
    /// GIF.
    Gif,
    /// HEIC: a photo of a telephone, HEVC in HEIF (ISO/IEC 23008-12).
    Heic,
    /// SVG, plain or compressed with gzip.
    Svg,
    /// PDF (ISO 32000).
    Pdf,
}

impl fmt::Display for Format {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Format::Jpeg => "JPEG",
            Format::Png => "PNG",
            Format::Tiff => "TIFF",
            Format::WebP => "WebP",
            Format::Bmp => "BMP",
            Format::Gif => "GIF",
            Format::Heic => "HEIC",
            Format::Svg => "SVG",
            Format::Pdf => "PDF",
        })
    }
}

/// Whether a file that begins so is of a kind that can be art.
pub fn is_picture(bytes: &[u8]) -> bool {
    sniff(bytes).is_ok()
}

/// The format of `bytes`, or what they are instead where that is known.
pub(super) fn sniff(bytes: &[u8]) -> Result<Format, Option<&'static str>> {
    let starts = |magic: &[u8]| bytes.starts_with(magic);
    if starts(&[0xFF, 0xD8, 0xFF]) {
        return Ok(Format::Jpeg);
    }
    if starts(b"\x89PNG\r\n\x1a\n") {
        return Ok(Format::Png);
    }
    if starts(b"II*\0") || starts(b"MM\0*") || starts(b"II+\0") || starts(b"MM\0+") {
        return Ok(Format::Tiff);
    }
    if starts(b"RIFF") && bytes.get(8..12) == Some(b"WEBP") {
        return Ok(Format::WebP);
    }
    if starts(b"BM") && bytes.len() >= 18 && bytes.get(14..18).is_some_and(|h| h[1] == 0 && h[2] == 0) {
        return Ok(Format::Bmp);
    }
    if starts(b"GIF87a") || starts(b"GIF89a") {
        return Ok(Format::Gif);
    }
    // Readers of PDF grant something before the head; what is in other files by chance never begins with it.
    if starts(b"%PDF-") || starts(b"\xEF\xBB\xBF%PDF-") {
        return Ok(Format::Pdf);
    }
    if holds_hevc(bytes) {
        return Ok(Format::Heic);
    }
    if starts(&[0x1F, 0x8B]) || looks_like_svg(bytes) {
        return Ok(Format::Svg);
    }
    Err(something_else(bytes))
}

/// Whether the text is XML with an `svg` element near its start.
fn looks_like_svg(bytes: &[u8]) -> bool {
    let text = bytes.strip_prefix(b"\xEF\xBB\xBF").unwrap_or(bytes);
    let text = &text[..text.len().min(16 * 1024)];
    let first = text.iter().find(|b| !b.is_ascii_whitespace());
    first == Some(&b'<') && text.windows(4).any(|w| w == b"<svg" || w == b":svg")
}

/// Whether the brands of a HEIF file, the first or one of those it goes with, say that its picture is HEVC.
fn holds_hevc(bytes: &[u8]) -> bool {
    let length = bytes.get(..4).map_or(0, |b| u32::from_be_bytes([b[0], b[1], b[2], b[3]]) as usize);
    let Some(brands) = bytes.get(8..length.clamp(8, 512).min(bytes.len())) else { return false };
    bytes.get(4..8) == Some(b"ftyp")
        && brands
            .chunks_exact(4)
            .any(|b| matches!(b, b"heic" | b"heix" | b"heim" | b"heis" | b"hevc" | b"hevx"))
}

/// What a practitioner may hold instead of a picture, and cannot be opened here.
fn something_else(bytes: &[u8]) -> Option<&'static str> {
    let starts = |magic: &[u8]| bytes.starts_with(magic);
    if bytes.get(4..8) == Some(b"ftyp") {
        return Some(match bytes.get(8..12) {
            Some(b"avif" | b"avis") => text!("art.what.avif"),
            Some(b"mif1" | b"msf1") => text!("art.what.heif"),
            _ => text!("art.what.film"),
        });
    }
    if starts(b"%!PS") || starts(&[0xC5, 0xD0, 0xD3, 0xC6]) {
        return Some(text!("art.what.postscript"));
    }
    if starts(b"8BPS") {
        return Some(text!("art.what.layered"));
    }
    if starts(b"\xFF\x0A") || starts(b"\0\0\0\x0CJXL ") {
        return Some(text!("art.what.jpeg-xl"));
    }
    if starts(b"\0\0\0\x0CjP  ") {
        return Some(text!("art.what.jpeg-2000"));
    }
    if starts(b"PK\x03\x04") {
        return Some(text!("art.what.zip"));
    }
    if starts(b"\0\0\x01\0") {
        return Some(text!("art.what.icon"));
    }
    if starts(&[0xFF, 0xFE]) || starts(&[0xFE, 0xFF]) {
        return Some(text!("art.what.utf-16"));
    }
    (!bytes.is_empty() && bytes.iter().take(512).all(|b| b.is_ascii_graphic() || b.is_ascii_whitespace()))
        .then_some(text!("art.what.text"))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn content_decides() {
        assert_eq!(sniff(b"\x89PNG\r\n\x1a\nrest"), Ok(Format::Png));
        assert_eq!(sniff(b"\xEF\xBB\xBF  <?xml version='1.0'?><!-- --><svg/>"), Ok(Format::Svg));
        assert_eq!(sniff(b"<s:svg xmlns:s='http://www.w3.org/2000/svg'/>"), Ok(Format::Svg));
        assert_eq!(sniff(b"<html></html>"), Err(Some("text")));
        assert_eq!(sniff(b"%PDF-1.7"), Ok(Format::Pdf));
        assert_eq!(sniff(b"\0\0\0\x1Cftypmif1\0\0\0\0mif1heicmiaf"), Ok(Format::Heic));
        assert_eq!(
            sniff(b"\0\0\0\x1Cftypmif1\0\0\0\0mif1avifmiaf"),
            Err(Some("a HEIF picture of an unusual kind"))
        );
        assert_eq!(sniff(b"\0\0\0\x1Cftypavif\0\0\0\0mif1avifmiaf"), Err(Some("an AVIF picture")));
        assert_eq!(sniff(b""), Err(None));
        assert_eq!(sniff(&[0, 1, 2, 3]), Err(None));
    }
}
