//! Photo: the camera's picture that a wedge is read from, and light between its pixels.

use crate::art::{OpenError, Photo, open_photo};
use crate::plane::Light;
use crate::texts::text;

/// Pixels that a photo has at least, each way.
const LEAST: usize = 400;

/// Why a file is not a photo that can be read. Each sentence names the file.
#[derive(Debug, thiserror::Error)]
pub enum PhotoError {
    /// Not a picture, or a damaged one.
    #[error(transparent)]
    Open(#[from] OpenError),
    /// Too few pixels for any wedge.
    #[error("{}", text!(
        "wedge.why.small",
        name = .name,
        width = .width,
        height = .height,
        least = LEAST,
    ))]
    Small {
        /// The file as named by the person, in quotes.
        name: String,
        /// Pixels across.
        width: usize,
        /// Pixels down.
        height: usize,
    },
}

/// Opens the photo in `bytes`: upright, as light by its embedded profile. `name` stands for it in messages. The
/// camera's own tone curve is not known: see the reading's notes.
///
/// # Errors
/// When it is no photo, is damaged, or has fewer than 400 pixels each way.
pub fn open(bytes: &[u8], name: &str) -> Result<Photo, PhotoError> {
    let photo = open_photo(bytes, name)?;
    let (width, height) = (photo.light.width(), photo.light.height());
    if width.min(height) < LEAST {
        return Err(PhotoError::Small { name: name.to_string(), width, height });
    }
    Ok(photo)
}

/// Linear light at a place between pixels (pixel centres at whole numbers), by bilinear interpolation.
/// `None` outside the photo.
pub fn sample(light: &Light, x: f64, y: f64) -> Option<f32> {
    if !(x >= 0.0 && y >= 0.0) {
        return None;
    }
    let (ix, iy) = (x as usize, y as usize);
    if ix + 1 >= light.width() || iy + 1 >= light.height() {
        return None;
    }
    let (fx, fy) = ((x - ix as f64) as f32, (y - iy as f64) as f32);
    let at = iy * light.width() + ix;
    let d = light.data();
    let (a, b) = (d.get(at..at + 2)?, d.get(at + light.width()..at + light.width() + 2)?);
    let top = a[0] + fx * (a[1] - a[0]);
    let bottom = b[0] + fx * (b[1] - b[0]);
    Some(top + fy * (bottom - top))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::parallel;

    fn png(picture: image::DynamicImage) -> Vec<u8> {
        let mut png = std::io::Cursor::new(Vec::new());
        picture.write_to(&mut png, image::ImageFormat::Png).unwrap();
        png.into_inner()
    }

    #[test]
    fn a_photo_is_the_same_light_for_any_thread_count() {
        let mut rgb = image::RgbImage::new(611, 433);
        for (i, p) in rgb.pixels_mut().enumerate() {
            *p = image::Rgb([(i * 7 % 256) as u8, (i * 13 % 251) as u8, (i % 250) as u8]);
        }
        let bytes = png(rgb.into());
        let one = parallel::with_threads(1, || open(&bytes, "made").unwrap());
        for n in [2, 3, 7] {
            assert!(parallel::with_threads(n, || open(&bytes, "made").unwrap()) == one);
        }
        assert!(one.clipped.count() > 0);
    }

    #[test]
    fn what_is_not_a_photo_is_refused_in_words_that_name_it() {
        let said = |bytes: &[u8]| open(bytes, "'x.jpg'").unwrap_err().to_string();
        assert_eq!(said(&[0, 1, 2, 3]), "'x.jpg' is not a picture; give a JPEG, PNG, TIFF or WebP photo");
        assert!(said(b"harbour").starts_with("'x.jpg' is text, which cannot be opened"));
        let said = open(&png(image::DynamicImage::new_luma8(900, 20)), "'x.png'").unwrap_err().to_string();
        assert!(said.starts_with("'x.png' has only 900 x 20 pixels; a wedge needs at least 400"), "{said}");
    }
}
