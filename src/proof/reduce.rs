//! Pictures made smaller without moiré: in linear light, through a smooth filter.

use fast_image_resize::images::{TypedImage, TypedImageRef};
use fast_image_resize::pixels::U16x3;
use fast_image_resize::{Filter, FilterType, ResizeAlg, ResizeOptions, Resizer};

use super::canvas::{Picture, ProofError};
use super::layout::b_spline;
use crate::colour::{linear_light, srgb8_of};
use crate::visual_quality::READING_DISTANCE_MM;

/// `picture` made to fit into `side` by `side` pixels, in linear light; never enlarged.
///
/// Through a cubic B-spline, as [`Resampling::smooth`](super::layout::Resampling::smooth) and for its reasons.
///
/// # Errors
/// When the picture has no pixels.
pub fn reduced(picture: &Picture, side: usize) -> Result<Picture, ProofError> {
    if picture.width.max(picture.height) <= side {
        return Ok(picture.clone());
    }
    let filter = Filter::new("cubic B-spline", b_spline, 2.0).map_err(|e| ProofError::Page(e.to_string()))?;
    fitted(picture, side, FilterType::Custom(filter))
}

/// `picture`, whose pixels are `pixel` mm, as an eye sees it that looks from reading distance, `side` pixels along its
/// longer side: what lies closer together than a minute of arc runs into one, larger as the picture may show it.
///
/// # Errors
/// When the picture has no pixels.
pub fn as_seen(picture: &Picture, pixel: f64, side: usize) -> Result<Picture, ProofError> {
    /// What an eye with normal sight resolves, radians (a minute of arc, visual acuity 1.0; from memory).
    const RESOLVED: f64 = std::f64::consts::PI / 180.0 / 60.0;
    let longest = picture.width.max(picture.height);
    let told = longest as f64 * pixel / (READING_DISTANCE_MM * RESOLVED);
    let seen = reduced(picture, side.min(told.ceil().max(1.0) as usize))?;
    if seen.width.max(seen.height) == side { Ok(seen) } else { fitted(&seen, side, FilterType::CatmullRom) }
}

/// `picture` with `side` pixels along its longer side, in linear light.
fn fitted(picture: &Picture, side: usize, filter: FilterType) -> Result<Picture, ProofError> {
    let scale = picture.width.max(picture.height) as f64 / side as f64;
    let fit = |n: usize| ((n as f64 / scale).round() as usize).max(1);
    let (width, height) = (fit(picture.width), fit(picture.height));
    // In 65535ths, of which the darkest code is 20: half the memory of f32, and the way back is a table.
    let table = linear_light().map(|light| (light * 65_535.0).round() as u16);
    let mut linear = vec![0u16; picture.rgb.len()];
    crate::parallel::bands(&mut linear, 3 * picture.width, ROWS, |first, band| {
        let codes = &picture.rgb[3 * picture.width * first..];
        band.iter_mut().zip(codes).for_each(|(v, c)| *v = table[usize::from(*c)]);
    });
    let light = resized((&linear, picture.width, picture.height), (width, height), filter)?;
    let mut out = Picture::filled(width, height, [0; 3]);
    crate::parallel::bands(&mut out.rgb, 3 * width, ROWS, |first, band| {
        band.iter_mut().zip(&light[3 * width * first..]).for_each(|(c, v)| *c = srgb8_of(*v));
    });
    Ok(out)
}

/// Rows a band of the passes from codes to light and back.
const ROWS: usize = 32;

/// A plane of red, green and blue at another size.
fn resized(
    (from, w, h): (&[u16], usize, usize),
    (width, height): (usize, usize),
    filter: FilterType,
) -> Result<Vec<u16>, ProofError> {
    let failed = |e: &dyn std::fmt::Display| ProofError::Page(e.to_string());
    let source = TypedImageRef::<U16x3>::from_buffer(w as u32, h as u32, bytemuck::cast_slice(from));
    let source = source.map_err(|e| failed(&e))?;
    let mut out = vec![0u16; 3 * width * height];
    let target = bytemuck::cast_slice_mut(&mut out);
    let mut target =
        TypedImage::<U16x3>::from_buffer(width as u32, height as u32, target).map_err(|e| failed(&e))?;
    let options = ResizeOptions::new().resize_alg(ResizeAlg::Convolution(filter)).use_alpha(false);
    Resizer::new().resize_typed(&source, &mut target, &options).map_err(|e| failed(&e))?;
    Ok(out)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn reducing_keeps_the_mean_light() {
        // Black and white in equal parts are half the light: sRGB 188, not 128.
        let mut p = Picture::filled(64, 64, [0; 3]);
        p.rgb
            .chunks_exact_mut(3)
            .enumerate()
            .filter(|(i, _)| (i % 64 + i / 64) % 2 == 0)
            .for_each(|(_, v)| v.fill(255));
        let small = reduced(&p, 32).unwrap();
        let inner = (4..28).flat_map(|y| (4..28).map(move |x| (x, y)));
        for (x, y) in inner {
            assert_eq!(small.get(x, y), [188; 3], "{x} {y}");
        }
        assert_eq!(reduced(&small, 100).unwrap(), small);
    }

    #[test]
    fn lines_of_about_a_pixel_leave_no_bands() {
        // Every second row marked, two rows to 0.92 pixels: mere areas let bands of 22 codes stand, 12 pixels high.
        let mut p = Picture::filled(60, 1000, [0; 3]);
        p.rgb.chunks_exact_mut(3 * 60).step_by(2).for_each(|row| row.fill(255));
        let small = reduced(&p, 460).unwrap();
        let rows: Vec<u8> = (4..456).map(|y| small.get(10, y)[1]).collect();
        let (least, most) = (rows.iter().min().unwrap(), rows.iter().max().unwrap());
        assert!(most - least <= 1 && rows.contains(&188), "{least} to {most}");
    }

    #[test]
    fn an_eye_sees_lines_of_half_a_millimetre_and_none_of_a_fiftieth() {
        // Pixels of 0.01 mm; 40 mm stripes across the picture, enlarged to 1.5 times what an eye resolves.
        let seen = |period: usize| {
            let mut p = Picture::filled(4000, 100, [0; 3]);
            let white = (0..4000).map(|x| if x % period < period / 2 { 255u8 } else { 0 });
            let row: Vec<u8> = white.flat_map(|v| [v; 3]).collect();
            p.rgb.chunks_exact_mut(3 * 4000).for_each(|r| r.copy_from_slice(&row));
            let seen = as_seen(&p, 0.01, 690).unwrap();
            assert_eq!(seen.width, 690);
            let inner: Vec<u8> = (20..670).map(|x| seen.get(x, seen.height / 2)[0]).collect();
            (*inner.iter().min().unwrap(), *inner.iter().max().unwrap())
        };
        let (dark, light) = seen(2);
        assert!(light - dark <= 1 && (187..=189).contains(&light), "{dark} to {light}");
        let (dark, light) = seen(100);
        assert!(dark < 30 && light > 245, "{dark} to {light}");
    }
}
