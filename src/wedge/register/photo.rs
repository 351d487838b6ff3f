//! Photo: a picture file as linear light, with the places where the camera was at its limit.

use std::io::Cursor;

use image::{DynamicImage, ImageDecoder, ImageReader};

use crate::colour::{relative_luminance, srgb_to_linear};
use crate::parallel;
use crate::plane::{Dots, Light};

/// A photo: linear light, and where a colour channel was clipped (bit on).
#[derive(Debug, Clone, PartialEq)]
pub struct Photo {
    /// Relative luminance as the camera wrote it, 0..1.
    pub light: Light,
    /// Pixels with a channel at 253 or above of 255: they may be any brighter than they say.
    pub clipped: Dots,
}

/// Why a file is not a photo that can be read.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum PhotoError {
    /// Not a picture.
    #[error("this is not a picture that can be read ({0}); give a JPEG, PNG, TIFF or WebP photo")]
    Format(String),
    /// Too few pixels for any wedge.
    #[error(
        "the photo has only {width} x {height} pixels; a wedge needs at least 400 pixels each way, best a full camera picture"
    )]
    Small {
        /// Pixels across.
        width: u32,
        /// Pixels down.
        height: u32,
    },
}

/// Decodes a photo, turns it as its Exif orientation says, and makes linear light of it with the sRGB
/// curve and the weights 0.2126, 0.7152, 0.0722. The camera's own tone curve is not known: see the
/// reading's notes.
pub fn open(bytes: &[u8]) -> Result<Photo, PhotoError> {
    let fail = |e: image::ImageError| PhotoError::Format(e.to_string().to_lowercase());
    let reader = ImageReader::new(Cursor::new(bytes))
        .with_guessed_format()
        .map_err(|e| PhotoError::Format(e.to_string().to_lowercase()))?;
    let mut decoder = reader.into_decoder().map_err(fail)?;
    let (width, height) = decoder.dimensions();
    if width < 400 || height < 400 {
        return Err(PhotoError::Small { width, height });
    }
    let orientation = decoder.orientation().map_err(fail)?;
    let mut picture = DynamicImage::from_decoder(decoder).map_err(fail)?;
    picture.apply_orientation(orientation);
    Ok(from_picture(&picture))
}

/// Linear light of a decoded picture.
pub fn from_picture(picture: &DynamicImage) -> Photo {
    let deep = matches!(
        picture,
        DynamicImage::ImageRgb16(_)
            | DynamicImage::ImageRgba16(_)
            | DynamicImage::ImageLuma16(_)
            | DynamicImage::ImageLumaA16(_)
    );
    if deep {
        let rgb = picture.to_rgb16();
        from_rgb(rgb.width() as usize, rgb.height() as usize, rgb.as_raw(), 65535.0)
    } else if let DynamicImage::ImageRgb8(rgb) = picture {
        from_rgb(rgb.width() as usize, rgb.height() as usize, rgb.as_raw(), 255.0)
    } else {
        let rgb = picture.to_rgb8();
        from_rgb(rgb.width() as usize, rgb.height() as usize, rgb.as_raw(), 255.0)
    }
}

fn from_rgb<T: Copy + Into<u32> + Sync>(width: usize, height: usize, rgb: &[T], full: f64) -> Photo {
    let table: Vec<f32> = (0..=full as usize).map(|v| srgb_to_linear(v as f64 / full) as f32).collect();
    let look = |v: T| table.get(v.into() as usize).copied().unwrap_or(1.0);
    let limit = (full * 253.0 / 255.0) as u32;
    let mut light = Light::filled(width, height, 0.0);
    let row_len = width.max(1);
    parallel::bands(light.data_mut(), row_len, 64, |first, band| {
        let from = first * row_len * 3;
        for (y, px) in band.iter_mut().zip(rgb.get(from..).unwrap_or(&[]).chunks_exact(3)) {
            *y = relative_luminance([look(px[0]), look(px[1]), look(px[2])]);
        }
    });
    let mut clipped = Dots::off(width, height);
    let stride = clipped.stride();
    parallel::bands(clipped.bits_mut(), stride, 64, |first, band| {
        for (i, row) in band.chunks_exact_mut(stride).enumerate() {
            let from = (first + i) * row_len * 3;
            let Some(line) = rgb.get(from..from + 3 * row_len) else { continue };
            for (byte, group) in row.iter_mut().zip(line.chunks(24)) {
                for (k, px) in group.chunks_exact(3).enumerate() {
                    let top = px[0].into().max(px[1].into()).max(px[2].into());
                    *byte |= u8::from(top >= limit) << (7 - k);
                }
            }
        }
    });
    Photo { light, clipped }
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

    #[test]
    fn a_photo_is_the_same_light_for_any_thread_count() {
        let mut rgb = image::RgbImage::new(611, 433);
        for (i, p) in rgb.pixels_mut().enumerate() {
            *p = image::Rgb([(i * 7 % 256) as u8, (i * 13 % 251) as u8, (i % 250) as u8]);
        }
        let picture = DynamicImage::ImageRgb8(rgb);
        let one = parallel::with_threads(1, || from_picture(&picture));
        for n in [2, 3, 7] {
            assert!(parallel::with_threads(n, || from_picture(&picture)) == one);
        }
        assert!(one.clipped.count() > 0);
    }

    #[test]
    fn what_is_not_a_photo_is_refused_in_words() {
        assert!(open(b"not a picture").unwrap_err().to_string().contains("JPEG"));
        let mut png = Vec::new();
        DynamicImage::new_luma8(20, 20)
            .write_to(&mut Cursor::new(&mut png), image::ImageFormat::Png)
            .unwrap();
        assert!(open(&png).unwrap_err().to_string().contains("20 x 20"));
    }
}
