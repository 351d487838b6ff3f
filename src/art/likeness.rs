//! Likeness: the art small and in its colours, as it was brought, for a person to compare with.
//!
//! Nothing that is marked comes from it: dots are made from the light of the art itself.

use moxcms::{ColorProfile, Layout, RenderingIntent, TransformOptions};

use super::contain::contained;
use super::error::RenderError;
use super::picture::{Art, Model};
use super::samples::{Pixels, Samples};
use super::turn::Turn;
use super::vector;
use crate::colour::{linear_light, srgb8};
use crate::parallel;

/// Longest side of a likeness, pixels.
pub const MOST: usize = 1200;
/// Samples of a cell that are looked at along a side: more change no code value that can be seen.
const LOOKS: usize = 4;

/// A small picture in sRGB with straight alpha.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Likeness {
    /// Columns, at most [`MOST`].
    pub width: usize,
    /// Rows, at most [`MOST`].
    pub height: usize,
    /// Four bytes a pixel: red, green, blue, opacity.
    pub rgba: Vec<u8>,
}

/// What the art looks like. A drawing is drawn for it.
///
/// # Errors
/// As [`super::render()`], for a drawing.
pub fn likeness(art: &Art) -> Result<Likeness, RenderError> {
    match art {
        Art::Raster(r) => Ok(r.likeness.clone()),
        Art::Vector(v) => vector::draw::likeness(v, MOST),
    }
}

impl Likeness {
    /// Of decoded samples, under their profile where it can be used, brought upright.
    pub(super) fn of(pixels: &Pixels, icc: Option<&[u8]>, turn: Turn, mirror: bool) -> Likeness {
        let cell = pixels.width.max(pixels.height).div_ceil(MOST).max(1);
        let (width, height) = (pixels.width.div_ceil(cell), pixels.height.div_ceil(cell));
        let mut rgba = vec![255u8; 4 * width * height];
        let n = pixels.channels();
        let inks = if pixels.model == Model::Cmyk { Some(vec![0u8; 4 * width * height]) } else { None };
        let mut inks = inks.unwrap_or_default();
        match &pixels.samples {
            Samples::U8(s) => cells(pixels, s, cell, n, &mut rgba, &mut inks, |v| v),
            Samples::U16(s) => cells(pixels, s, cell, n, &mut rgba, &mut inks, |v| (v >> 8) as u8),
            Samples::F32(s) => cells(pixels, s, cell, n, &mut rgba, &mut inks, srgb8),
        }
        if let Some(icc) = icc {
            // A profile that cannot be used is passed over, as it is where the light is read.
            let _ = contained(|| under(icc, pixels.model, &inks, &mut rgba));
        }
        Likeness { width, height, rgba }.turned(turn, mirror)
    }

    /// Turned clockwise, then mirrored left to right where asked.
    pub fn turned(&self, turn: Turn, mirror: bool) -> Likeness {
        if turn == Turn::None && !mirror {
            return self.clone();
        }
        let (w, h) = (self.width, self.height);
        let (width, height) = if turn.swaps() { (h, w) } else { (w, h) };
        let mut rgba = Vec::with_capacity(self.rgba.len());
        for y in 0..height {
            for x in 0..width {
                let at = ((x as f64 + 0.5) / width as f64, (y as f64 + 0.5) / height as f64);
                let (u, v) = turn.back(mirror, at);
                let from = |share: f64, n: usize| ((share * n as f64) as usize).min(n - 1);
                let at = 4 * (from(v, h) * w + from(u, w));
                rgba.extend_from_slice(&self.rgba[at..at + 4]);
            }
        }
        Likeness { width, height, rgba }
    }
}

/// The mean of each cell: colours in linear light, inks and opacity as they are stored.
fn cells<S: Copy + Sync>(
    pixels: &Pixels,
    samples: &[S],
    cell: usize,
    n: usize,
    rgba: &mut [u8],
    inks: &mut [u8],
    code: impl Fn(S) -> u8 + Sync + Send,
) {
    let width = pixels.width.div_ceil(cell);
    let step = (cell / LOOKS).max(1);
    let light = linear_light();
    let mean = |column: usize, row: usize| {
        let (mut linear, mut stored, mut count) = ([0.0f32; 4], [0u32; 5], 0u32);
        for y in (row * cell..((row + 1) * cell).min(pixels.height)).step_by(step) {
            for x in (column * cell..((column + 1) * cell).min(pixels.width)).step_by(step) {
                let at = (y * pixels.width + x) * n;
                for (k, &s) in samples[at..at + n].iter().enumerate() {
                    let c = code(s);
                    stored[k] += u32::from(c);
                    if k < 4 {
                        linear[k] += light[usize::from(c)];
                    }
                }
                count += 1;
            }
        }
        let count = count.max(1);
        (linear.map(|v| srgb8(v / count as f32)), stored.map(|v| (v / count) as u8))
    };
    let alpha = |stored: &[u8; 5]| if pixels.alpha { stored[n - 1] } else { 255 };
    let model = pixels.model;
    parallel::bands(rgba, 4 * width, 8, |first, band| {
        for (i, row) in band.chunks_exact_mut(4 * width).enumerate() {
            for (column, out) in row.chunks_exact_mut(4).enumerate() {
                let (mean, stored) = mean(column, first + i);
                let rgb = match model {
                    Model::Grey => [mean[0]; 3],
                    Model::Rgb => [mean[0], mean[1], mean[2]],
                    Model::Cmyk => {
                        let left = |ink: u8| {
                            let (ink, black) = (255 - u32::from(ink), 255 - u32::from(stored[3]));
                            (ink * black / 255) as u8
                        };
                        [left(stored[0]), left(stored[1]), left(stored[2])]
                    }
                };
                out[..3].copy_from_slice(&rgb);
                out[3] = alpha(&stored);
            }
        }
    });
    if model == Model::Cmyk {
        parallel::bands(inks, 4 * width, 8, |first, band| {
            for (i, row) in band.chunks_exact_mut(4 * width).enumerate() {
                for (column, out) in row.chunks_exact_mut(4).enumerate() {
                    out.copy_from_slice(&mean(column, first + i).1[..4]);
                }
            }
        });
    }
}

/// Colours as the profile means them; nothing is changed where it is for other colours.
fn under(icc: &[u8], model: Model, inks: &[u8], rgba: &mut [u8]) -> Option<()> {
    let profile = ColorProfile::new_from_slice(icc).ok()?;
    let options =
        TransformOptions { rendering_intent: RenderingIntent::RelativeColorimetric, ..Default::default() };
    let srgb = ColorProfile::new_srgb();
    let (from, layout): (Vec<u8>, Layout) = match (model, profile.color_space) {
        (Model::Rgb, moxcms::DataColorSpace::Rgb) => {
            (rgba.chunks_exact(4).flat_map(|p| [p[0], p[1], p[2]]).collect(), Layout::Rgb)
        }
        (Model::Cmyk, moxcms::DataColorSpace::Cmyk) => (inks.to_vec(), Layout::Rgba),
        _ => return None,
    };
    let mut to = vec![0u8; rgba.len() / 4 * 3];
    let transform = profile.create_transform_8bit(layout, &srgb, Layout::Rgb, options).ok()?;
    transform.transform(&from, &mut to).ok()?;
    for (out, p) in rgba.chunks_exact_mut(4).zip(to.chunks_exact(3)) {
        out[..3].copy_from_slice(p);
    }
    Some(())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::art::open;

    fn bytes(name: &str) -> Vec<u8> {
        let folder = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/data/art");
        std::fs::read(folder.join(name)).unwrap()
    }

    #[test]
    fn it_has_the_colours_and_the_opacity_of_the_art() {
        let mut rgba = image::RgbaImage::from_pixel(3001, 7, image::Rgba([200, 30, 40, 255]));
        for x in 0..1500 {
            (0..7).for_each(|y| rgba.put_pixel(x, y, image::Rgba([0, 90, 250, 0])));
        }
        let mut png = std::io::Cursor::new(Vec::new());
        rgba.write_to(&mut png, image::ImageFormat::Png).unwrap();
        let l = likeness(&open(&png.into_inner(), "made").unwrap()).unwrap();
        assert_eq!((l.width, l.height), (1001, 3));
        assert_eq!(
            (&l.rgba[..4], &l.rgba[4 * 1000..4 * 1001]),
            (&[0, 90, 250, 0][..], &[200, 30, 40, 255][..])
        );
        let svg = b"<svg xmlns='http://www.w3.org/2000/svg' viewBox='0 0 9 3'><rect x='6' width='3' height='3' fill='#c81e28'/></svg>";
        let l = likeness(&open(svg, "a drawing").unwrap()).unwrap();
        assert_eq!((l.width, l.height), (MOST, MOST / 3));
        assert_eq!((l.rgba[3], &l.rgba[4 * (MOST - 1)..4 * MOST]), (0, &[200, 30, 40, 255][..]));
    }

    #[test]
    fn it_stands_as_the_light_does_however_the_camera_was_held() {
        for i in 1..=8 {
            let name = format!("turned-{i}.jpg");
            let Art::Raster(art) = open(&bytes(&name), &name).unwrap() else { panic!("{name}") };
            let l = &art.likeness;
            assert_eq!((l.width, l.height), (art.light.width(), art.light.height()), "{name}");
            for (p, &light) in l.rgba.chunks_exact(4).zip(art.light.data()) {
                let rgb = [p[0], p[1], p[2]].map(|c| linear_light()[usize::from(c)]);
                assert!((crate::colour::relative_luminance(rgb) - light).abs() < 0.01, "{name}");
            }
        }
    }

    #[test]
    fn inks_become_colours() {
        let l = likeness(&open(&bytes("inks.jpg"), "inks.jpg").unwrap()).unwrap();
        assert!(l.rgba.chunks_exact(4).any(|p| p[0] != p[1] || p[1] != p[2]) && l.rgba[3] == 255);
    }
}
