//! Opening a picture file: from its bytes to [`Art`], within stated bounds.

use std::fs::File;
use std::io::Read;
use std::path::Path;

use super::sniff::{Format, sniff};
use super::turn::{Turn, turned};
use super::{Art, Facts, Raster, decode, icc, jpeg, resolution, vector};

/// Most picture elements that are opened.
pub const MAX_PIXELS: u64 = 250_000_000;
/// Most memory, in bytes, that an opened picture and its decoding may take; also the longest file.
pub const MAX_BYTES: u64 = 2 << 30;

/// A file that cannot be opened as a picture: which, why, and what to do, in one sentence.
#[derive(Debug, thiserror::Error)]
#[error("{name} {why}")]
pub struct OpenError {
    /// The file as named by the person, in quotes; or what stands for it.
    pub name: String,
    /// The reason.
    #[source]
    pub why: Why,
}

/// Why a file cannot be opened.
#[derive(Debug, thiserror::Error)]
pub enum Why {
    /// The file system refused.
    #[error("cannot be read ({0}); check its name and its permissions")]
    Unreadable(std::io::Error),
    /// No byte in it.
    #[error("is empty; copy or export it again")]
    Empty,
    /// Not a known kind of picture.
    #[error("is not a picture; give a JPEG, PNG, TIFF, WebP, BMP, GIF or SVG file")]
    NotAPicture,
    /// A known kind of something else.
    #[error("is {0}, which cannot be opened; export it as a JPEG, PNG, TIFF, WebP, BMP, GIF or SVG file")]
    SomethingElse(&'static str),
    /// The data end before the picture does.
    #[error("is cut off: it ends before its picture does; copy or export it again")]
    CutOff,
    /// The data contradict themselves.
    #[error("is damaged ({0}); copy or export it again")]
    Damaged(String),
    /// A variant that no decoder here reads.
    #[error("is of a kind that cannot be read ({0}); save it as PNG or TIFF with 8 or 16 bits a channel")]
    Unsupported(String),
    /// Beyond the bounds.
    #[error(
        "claims {width} x {height} picture elements, {:.0} megapixels that need {:.1} GiB; \
         at most 250 megapixels and 2 GiB are opened, so scale it down first",
        *width as f64 * *height as f64 / 1e6, *need as f64 / (1u64 << 30) as f64
    )]
    TooLarge {
        /// Columns claimed.
        width: u64,
        /// Rows claimed.
        height: u64,
        /// Bytes it would take to open.
        need: u64,
    },
    /// More bytes than are read.
    #[error("is longer than 2 GiB; at most 250 megapixels and 2 GiB are opened, so scale it down first")]
    TooLong,
    /// No columns or no rows.
    #[error("has no width or no height; export it again")]
    NoSize,
    /// A drawing with a reference outside itself.
    #[error(
        "refers to '{0}' outside itself, which is never followed; embed that picture in the SVG or remove it"
    )]
    Refers(String),
    /// A drawing that is not well-formed, or that the drawing library refuses.
    #[error("is not a valid SVG ({0}); export it again")]
    BadDrawing(String),
    /// A drawing beyond the bounds.
    #[error("{0}; simplify the drawing, or export it as PNG")]
    TooComplex(String),
}

impl Why {
    /// A decoder's complaint: cut off where it met the end, damaged otherwise.
    pub(super) fn damaged(_bytes: &[u8], complaint: impl std::fmt::Display) -> Self {
        let text = complaint.to_string();
        let low = text.to_lowercase();
        if [
            "unexpected end",
            "premature end",
            "unexpected eof",
            "no more bytes",
            "failed to fill",
            "exhausted",
            "not enough",
        ]
        .iter()
        .any(|t| low.contains(t))
        {
            Why::CutOff
        } else {
            Why::Damaged(one_line(&text))
        }
    }
}

/// At most 160 printable characters on one line.
pub(super) fn one_line(text: &str) -> String {
    let flat: String = text.chars().map(|c| if c.is_control() { ' ' } else { c }).take(160).collect();
    flat.trim().trim_end_matches('.').to_string()
}

/// Refuses a picture beyond the bounds, from its header alone. `samples` a picture element, each of
/// `bytes` bytes; the planes made of them count too.
pub(super) fn within_bounds(width: u64, height: u64, samples: u64, bytes: u64) -> Result<(), Why> {
    if width == 0 || height == 0 {
        return Err(Why::NoSize);
    }
    let planes = if samples.is_multiple_of(2) { 8 } else { 4 };
    let pixels = width.saturating_mul(height);
    let need = pixels.saturating_mul(samples.saturating_mul(bytes).saturating_add(planes));
    if pixels > MAX_PIXELS || need > MAX_BYTES {
        return Err(Why::TooLarge { width, height, need });
    }
    Ok(())
}

/// Opens the picture in `bytes`; `name` stands for it in messages (`'harbour.jpg'`, `the picture on standard input`).
///
/// The content decides on the format, never the name. Orientation (Exif), embedded profile, bit
/// depth and alpha are honoured.
pub fn open(bytes: &[u8], name: &str) -> Result<Art, OpenError> {
    inner(bytes).map_err(|why| OpenError { name: name.to_string(), why })
}

/// Opens the picture at `path`.
pub fn open_path(path: &Path) -> Result<Art, OpenError> {
    let name = format!("'{}'", path.display());
    let file = File::open(path)
        .and_then(|f| {
            if f.metadata()?.is_dir() {
                return Err(std::io::Error::other("it is a folder"));
            }
            Ok(f)
        })
        .map_err(|e| OpenError { name: name.clone(), why: Why::Unreadable(e) })?;
    open_from(file, &name)
}

/// Opens the picture that `source` yields to its end (at most 2 GiB), such as standard input.
pub fn open_from(source: impl Read, name: &str) -> Result<Art, OpenError> {
    open(&read_all(source).map_err(|why| OpenError { name: name.to_string(), why })?, name)
}

fn read_all(source: impl Read) -> Result<Vec<u8>, Why> {
    let mut bytes = Vec::new();
    source.take(MAX_BYTES + 1).read_to_end(&mut bytes).map_err(Why::Unreadable)?;
    if bytes.len() as u64 > MAX_BYTES { Err(Why::TooLong) } else { Ok(bytes) }
}

fn inner(bytes: &[u8]) -> Result<Art, Why> {
    if bytes.is_empty() {
        return Err(Why::Empty);
    }
    let format = sniff(bytes).map_err(|known| known.map_or(Why::NotAPicture, Why::SomethingElse))?;
    let decoded = match format {
        Format::Svg => return vector::parse(bytes).map(Art::Vector),
        Format::Jpeg => jpeg::decode(bytes)?,
        Format::Tiff => decode::tiff(bytes)?,
        _ => decode::general(bytes, format)?,
    };
    let model = decoded.pixels.model;
    let read = icc::reading(decoded.icc.as_deref(), model);
    let (light, alpha) = decoded.pixels.into_planes(&read.reading);
    let (turn, mirror) = upright(decoded.orientation);
    let light = turned(light, turn, mirror);
    let alpha = alpha.map(|a| turned(a, turn, mirror));
    let mut notes = decoded.notes;
    notes.extend(read.note);
    let resolution = resolution::claimed(format, bytes)
        .map(|r| if turn.swaps() { super::Resolution { x_dpi: r.y_dpi, y_dpi: r.x_dpi } } else { r });
    let facts = Facts {
        format,
        bits: decoded.bits,
        model,
        bilevel: bilevel(light.data()),
        colour: read.words,
        resolution,
        notes,
    };
    Ok(Art::Raster(Raster { light, alpha, facts }))
}

/// The turn clockwise and the mirroring after it that bring a picture upright (Exif 2.32, tag 274).
fn upright(o: image::metadata::Orientation) -> (Turn, bool) {
    use image::metadata::Orientation as O;
    match o {
        O::NoTransforms => (Turn::None, false),
        O::FlipHorizontal => (Turn::None, true),
        O::Rotate180 => (Turn::Half, false),
        O::FlipVertical => (Turn::Half, true),
        O::Rotate90FlipH => (Turn::Quarter, true),
        O::Rotate90 => (Turn::Quarter, false),
        O::Rotate270FlipH => (Turn::ThreeQuarters, true),
        O::Rotate270 => (Turn::ThreeQuarters, false),
    }
}

/// Whether there are at most two tones.
fn bilevel(light: &[f32]) -> bool {
    let first = light.first().copied().unwrap_or(0.0);
    let Some(second) = light.iter().copied().find(|&v| v != first) else { return true };
    light.iter().all(|&v| v == first || v == second)
}
