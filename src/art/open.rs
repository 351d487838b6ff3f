//! Opening a picture file: from its bytes to [`Art`], within stated bounds.

use std::fs::File;
use std::io::Read;
use std::path::Path;

use super::bounds::{MAX_BYTES, Opening, Patience};
use super::contain::contained;
use super::decode::Decoded;
use super::error::{OpenError, Why};
use super::likeness::Likeness;
use super::picture::{Art, Facts, Raster};
use super::sniff::{Format, sniff};
use super::turn::{Turn, turned};
use super::{Resolution, decode, heic, icc, jpeg, pages, vector};
use crate::note::Note;
use crate::texts::text;

/// Opens the picture in `bytes`; `name` stands for it in messages (`'harbour.jpg'`, `the picture on standard input`).
///
/// The content decides on the format, never the name. Orientation (Exif), embedded profile, bit
/// depth and alpha are honoured.
///
/// # Errors
/// When the bytes are not a picture, are damaged, or ask for more memory or time than the bounds allow.
pub fn open(bytes: &[u8], name: &str) -> Result<Art, OpenError> {
    open_within(bytes, name, Patience::default())
}

/// As [`open()`], with another patience than the usual one; a drawing keeps it for each time it is drawn.
///
/// # Errors
/// As [`open()`].
pub fn open_within(bytes: &[u8], name: &str, patience: Patience) -> Result<Art, OpenError> {
    open_as(bytes, name, &Opening { patience, ..Opening::default() })
}

/// As [`open()`], with everything said that can be said of opening a file.
///
/// # Errors
/// As [`open()`], and when the document has no such page.
pub fn open_as(bytes: &[u8], name: &str, how: &Opening) -> Result<Art, OpenError> {
    inner(bytes, how).map_err(|why| OpenError { name: name.to_string(), why })
}

/// Opens the picture at `path`.
///
/// # Errors
/// As [`open()`], and when the file cannot be read.
pub fn open_path(path: &Path) -> Result<Art, OpenError> {
    let name = format!("'{}'", path.display());
    let file = File::open(path)
        .and_then(|f| {
            if f.metadata()?.is_dir() {
                return Err(std::io::Error::other(text!("art.reason.folder")));
            }
            Ok(f)
        })
        .map_err(|e| OpenError { name: name.clone(), why: Why::Unreadable(e) })?;
    open_from(file, &name)
}

/// Opens the picture that `source` yields to its end (at most 2 GiB), such as standard input.
///
/// # Errors
/// As [`open()`], and when the source cannot be read.
pub fn open_from(source: impl Read, name: &str) -> Result<Art, OpenError> {
    open(&read_all(source).map_err(|why| OpenError { name: name.to_string(), why })?, name)
}

fn read_all(source: impl Read) -> Result<Vec<u8>, Why> {
    let mut bytes = Vec::new();
    source.take(MAX_BYTES + 1).read_to_end(&mut bytes).map_err(Why::Unreadable)?;
    if bytes.len() as u64 > MAX_BYTES { Err(Why::TooLong) } else { Ok(bytes) }
}

fn inner(bytes: &[u8], how: &Opening) -> Result<Art, Why> {
    let page = how.page as usize;
    match format(bytes)? {
        Format::Pdf => vector::parse_page(bytes, page, how.patience).map(Art::Vector),
        raster @ Format::Tiff => Ok(Art::Raster(upright(decoded(bytes, raster, page)?, raster)?)),
        moving if page != 1 && pages::moves(bytes, moving) => Err(Why::NoFrame(page)),
        _ if page != 1 => Err(Why::NoPage { asked: page, pages: 1 }),
        Format::Svg => vector::parse(bytes, how.patience, &how.fonts).map(Art::Vector),
        raster => Ok(Art::Raster(upright(decoded(bytes, raster, page)?, raster)?)),
    }
}

/// The format, by the content.
pub(super) fn format(bytes: &[u8]) -> Result<Format, Why> {
    if bytes.is_empty() {
        return Err(Why::Empty);
    }
    sniff(bytes).map_err(|known| known.map_or(Why::NotAPicture, Why::SomethingElse))
}

/// The samples of a raster file; of a TIFF those of a page.
pub(super) fn decoded(bytes: &[u8], format: Format, page: usize) -> Result<Decoded, Why> {
    let decoded = contained(|| match format {
        Format::Jpeg => jpeg::decode(bytes),
        Format::Tiff => decode::tiff(bytes, page),
        Format::Heic => heic::decode(bytes),
        _ => decode::general(bytes, format),
    });
    decoded.unwrap_or_else(|| Err(Why::Damaged(text!("art.reason.decoder").into())))
}

/// The picture of those samples: colours read, brought upright.
pub(super) fn upright(decoded: Decoded, format: Format) -> Result<Raster, Why> {
    let model = decoded.pixels.model;
    let read = icc::reading(decoded.icc.as_deref(), model);
    let profile = decoded.icc.is_some() && read.note.is_none();
    let (turn, mirror) = turn(decoded.orientation);
    let likeness = Likeness::of(&decoded.pixels, decoded.icc.as_deref(), turn, mirror);
    let (light, alpha, colours) = decoded.pixels.into_planes(&read.reading)?;
    let light = turned(light, turn, mirror);
    let alpha = alpha.map(|a| turned(a, turn, mirror));
    let colours = colours.map(|c| c.turned(turn, mirror));
    let mut notes = decoded.notes;
    notes.extend(read.note.map(Note::fact));
    let swapped = |r: Resolution| Resolution { x_dpi: r.y_dpi, y_dpi: r.x_dpi };
    let resolution = decoded.resolution.map(|r| if turn.swaps() { swapped(r) } else { r });
    let facts = Facts {
        format,
        bits: decoded.bits,
        model,
        bilevel: bilevel(light.data()),
        colour: read.words,
        profile,
        resolution,
        notes,
    };
    Ok(Raster { light, alpha, likeness, colours, facts })
}

/// The turn clockwise and the mirroring after it that bring a picture upright (Exif 2.32, tag 274).
pub(super) fn turn(o: image::metadata::Orientation) -> (Turn, bool) {
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
