//! Photo: a camera's picture as light at its full resolution, and where the camera was at its limit.

use super::error::{OpenError, Why};
use super::open::{decoded, format, turn, upright};
use super::picture::Facts;
use super::sniff::Format;
use super::turn::turned;
use crate::note::Note;
use crate::parallel;
use crate::plane::{Alpha, Dots, Light};

/// A photo, upright, at its full resolution.
#[derive(Debug, Clone, PartialEq)]
pub struct Photo {
    /// Relative luminance by its embedded profile, or as sRGB where it has none; 0 (black) to 1 (white).
    pub light: Light,
    /// Opacity, where the file has any that is not 1 everywhere.
    pub alpha: Option<Alpha>,
    /// Where a colour channel is at 253 or above of 255 as stored (bit on): such a place may be any brighter than
    /// it says.
    pub clipped: Dots,
    /// What the file said of itself.
    pub facts: Facts,
}

/// Opens the photo in `bytes`, as [`super::open()`] does; `name` stands for it in messages.
///
/// # Errors
/// As [`super::open()`], and for a drawing.
pub fn open_photo(bytes: &[u8], name: &str) -> Result<Photo, OpenError> {
    inner(bytes).map_err(|why| OpenError { name: name.to_string(), why })
}

fn inner(bytes: &[u8]) -> Result<Photo, Why> {
    let format = format(bytes).map_err(|why| match why {
        Why::NotAPicture => Why::NothingSeen,
        other => other,
    })?;
    if matches!(format, Format::Svg | Format::Pdf) {
        return Err(Why::NotAPhoto);
    }
    let mut decoded = decoded(bytes, format, 1)?;
    // Of a photo nobody is asked for a page: it is said as where there are no options.
    for note in &mut decoded.notes {
        *note = Note::fact(note.says.on_page());
    }
    let (quarters, mirror) = turn(decoded.orientation);
    let clipped = packed(&turned(decoded.pixels.at_limit(), quarters, mirror));
    let picture = upright(decoded, format)?;
    Ok(Photo { light: picture.light, alpha: picture.alpha, clipped, facts: picture.facts })
}

/// Bits on where the plane is not 0.
fn packed(plane: &Alpha) -> Dots {
    let mut bits = Dots::off(plane.width(), plane.height());
    let stride = bits.stride();
    parallel::bands(bits.bits_mut(), stride, 64, |first, band| {
        for (i, row) in band.chunks_exact_mut(stride.max(1)).enumerate() {
            for (byte, eight) in row.iter_mut().zip(plane.row(first + i).chunks(8)) {
                *byte = eight.iter().enumerate().fold(0, |b, (k, &v)| b | (u8::from(v > 0.0) << (7 - k)));
            }
        }
    });
    bits
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::art::{Art, open};

    fn file(name: &str) -> Vec<u8> {
        let folder = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/data/art");
        std::fs::read(folder.join(name)).unwrap()
    }

    #[test]
    fn a_photo_is_what_opening_gives_however_it_is_turned() {
        for name in ["turned-1.jpg", "turned-6.jpg", "turned-7.jpg", "deep.png", "inks.jpg", "alpha.png"] {
            let bytes = file(name);
            let photo = open_photo(&bytes, name).unwrap();
            let Art::Raster(art) = open(&bytes, name).unwrap() else { panic!("{name}") };
            assert_eq!((&photo.light, &photo.alpha, &photo.facts), (&art.light, &art.alpha, &art.facts));
            assert_eq!(
                (photo.clipped.width(), photo.clipped.height()),
                (art.light.width(), art.light.height())
            );
        }
    }

    #[test]
    fn a_channel_at_its_limit_is_marked_where_it_lies_once_upright() {
        let mut rgb = image::RgbImage::from_pixel(19, 7, image::Rgb([90, 252, 30]));
        rgb.put_pixel(17, 2, image::Rgb([90, 30, 253]));
        let mut png = std::io::Cursor::new(Vec::new());
        rgb.write_to(&mut png, image::ImageFormat::Png).unwrap();
        let clipped = open_photo(&png.into_inner(), "made").unwrap().clipped;
        assert_eq!((clipped.count(), clipped.get(17, 2)), (1, true));
        // The white place of the eight orientations lies where their light is greatest.
        for i in 1..=8 {
            let photo = open_photo(&file(&format!("turned-{i}.jpg")), "turned").unwrap();
            let light = |(x, y): (usize, usize)| photo.light.row(y)[x];
            let on = (0..photo.light.height())
                .flat_map(|y| (0..photo.light.width()).map(move |x| (x, y)))
                .filter(|&(x, y)| photo.clipped.get(x, y));
            assert!(on.into_iter().all(|p| light(p) > 0.05), "turned-{i}");
        }
    }

    #[test]
    fn a_drawing_is_no_photo() {
        let said = open_photo(b"<svg xmlns='http://www.w3.org/2000/svg'/>", "'sheet.svg'").unwrap_err();
        assert!(said.to_string().starts_with("'sheet.svg' is a drawing, not a photo"), "{said}");
    }
}
