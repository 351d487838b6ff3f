//! Rendering: any part of the art, turned and mirrored, at exactly one value a dot.
//!
//! Columns and rows are scaled independently, so dots need not be square. Rasters go through
//! `fast_image_resize`, which sums in f64 and stores f32, so that the order of its sums (another on
//! every kind of processor) does not show; drawings are drawn at the density itself.

use fast_image_resize::images::{TypedImage, TypedImageRef};
use fast_image_resize::pixels::F32;
use fast_image_resize::{FilterType, ResizeAlg, ResizeOptions, Resizer};

use super::turn::{Turn, turned};
use super::vector::draw;
use super::view::{View, Window};
use super::{Art, Kind, Raster, RenderError};
use crate::colour::Curve;
use crate::parallel;
use crate::plane::{Alpha, Light, Plane};

/// Rows a band of the passes over whole planes.
const ROWS: usize = 16;

/// Art at one value a dot.
#[derive(Debug, Clone, PartialEq)]
pub struct Rendered {
    /// Relative luminance, 0..1. Under transparent places it means nothing.
    pub light: Light,
    /// Opacity, where the art has any that is not 1 everywhere.
    pub alpha: Option<Alpha>,
    /// The red, green and blue codes of each dot, packed into one value, of a drawing of any density with colours to speak of
    /// that is read as one: light is then as much less than white's as the ink differs from white, also by its colour.
    pub codes: Option<Light>,
}

/// Renders what `view` shows of `art` into `columns` x `rows` dots.
///
/// Shrinking uses Lanczos 3, enlarging Catmull–Rom (a cubic that keeps edges with little ringing);
/// results are held to 0..1. Alpha is resampled with the light multiplied by it, so that the colour
/// hidden under transparent places does not leak out. A photo, also of paper, is averaged in linear
/// light. A drawing is averaged in code values: whatever drew it blended its edges so, hence a code value
/// *is* the share of the ink there, and half a dot of one-bit ink is half ink.
///
/// # Errors
/// A part of the art that is none, a number of dots that cannot be, or a drawing that cannot be drawn.
pub fn render(
    art: &Art,
    view: &View,
    columns: usize,
    rows: usize,
    kind: Kind,
) -> Result<Rendered, RenderError> {
    for w in [view.crop, view.window] {
        if !w.is_sound() {
            return Err(RenderError::Outside(
                w.left * 100.0,
                w.right * 100.0,
                w.top * 100.0,
                w.bottom * 100.0,
            ));
        }
    }
    let countable = |n: usize| n > 0 && u32::try_from(n).is_ok();
    if !countable(columns) || !countable(rows) || columns.checked_mul(rows).is_none() {
        return Err(RenderError::Dots(columns, rows));
    }
    match art {
        Art::Vector(v) => draw::draw(v, view, columns, rows, kind),
        Art::Raster(r) => raster(r, view, columns, rows, kind),
    }
}

fn raster(
    art: &Raster,
    view: &View,
    columns: usize,
    rows: usize,
    kind: Kind,
) -> Result<Rendered, RenderError> {
    let coded = kind == Kind::Drawing;
    // The smaller of the two is turned: a large result is written once and never copied.
    let turn_first = columns * rows > art.light.data().len();
    let still = view.turn == Turn::None && !view.mirror;
    let straight = |plane: &Light| -> Result<Light, RenderError> {
        if still {
            return resample(plane, view.region(), columns, rows);
        }
        if turn_first {
            return resample(
                &turned(plane.clone(), view.turn, view.mirror),
                view.turned_region(),
                columns,
                rows,
            );
        }
        let (c, r) = if view.turn.swaps() { (rows, columns) } else { (columns, rows) };
        Ok(turned(resample(plane, view.region(), c, r)?, view.turn, view.mirror))
    };
    let encode = |plane: &Light| -> Light {
        let curve = Curve::coding();
        let mut out = plane.clone();
        parallel::bands(out.data_mut(), plane.width(), ROWS, |_, band| curve.apply(band));
        out
    };
    let coded_light;
    let source = if coded {
        coded_light = encode(&art.light);
        &coded_light
    } else {
        &art.light
    };
    let (mut light, alpha) = match &art.alpha {
        None => (straight(source)?, None),
        Some(alpha) => {
            let mut inked = source.clone();
            let cover = alpha.data();
            let w = alpha.width();
            parallel::bands(inked.data_mut(), w, ROWS, |first, band| {
                band.iter_mut().zip(&cover[first * w..]).for_each(|(v, a)| *v *= a);
            });
            let mut light = straight(&inked)?;
            drop(inked);
            let mut cover = straight(&alpha.clone().recast())?;
            parallel::bands(cover.data_mut(), columns, ROWS, |_, band| {
                band.iter_mut().for_each(|a| *a = a.clamp(0.0, 1.0));
            });
            let c = cover.data();
            parallel::bands(light.data_mut(), columns, ROWS, |first, band| {
                for (v, &a) in band.iter_mut().zip(&c[first * columns..]) {
                    // Less than half an 8-bit step of cover carries no colour worth dividing out.
                    *v = if a > 0.5 / 255.0 { *v / a } else { 1.0 };
                }
            });
            (light, Some(cover.recast()))
        }
    };
    let decode = coded.then(Curve::decoding);
    parallel::bands(light.data_mut(), columns, ROWS, |_, band| match decode {
        Some(curve) => curve.apply(band),
        None => band.iter_mut().for_each(|v| *v = v.clamp(0.0, 1.0)),
    });
    Ok(Rendered { light, alpha, codes: None })
}

/// Resamples the part `region` of a plane to `columns` x `rows`.
fn resample(plane: &Light, region: Window, columns: usize, rows: usize) -> Result<Light, RenderError> {
    let (w, h) = (plane.width(), plane.height());
    let (left, top) = (region.left * w as f64, region.top * h as f64);
    let (width, height) = (region.width() * w as f64, region.height() * h as f64);
    if region == Window::WHOLE && (columns, rows) == (w, h) {
        return Ok(plane.clone());
    }
    let failed = |e: &dyn std::fmt::Display| RenderError::Failed(e.to_string());
    // Typed views: the untyped ones build the kernels of all pixel types into this crate, which takes minutes.
    let source = TypedImageRef::<F32>::from_buffer(w as u32, h as u32, bytemuck::cast_slice(plane.data()))
        .map_err(|e| failed(&e))?;
    let mut out = vec![0.0f32; columns * rows];
    let mut target =
        TypedImage::<F32>::from_buffer(columns as u32, rows as u32, bytemuck::cast_slice_mut(&mut out))
            .map_err(|e| failed(&e))?;
    let shrinks = width > columns as f64 || height > rows as f64;
    let filter = if shrinks { FilterType::Lanczos3 } else { FilterType::CatmullRom };
    // The crop must lie within the source to the last bit.
    let options = ResizeOptions::new().resize_alg(ResizeAlg::Convolution(filter)).use_alpha(false).crop(
        left,
        top,
        width.min(w as f64 - left),
        height.min(h as f64 - top),
    );
    Resizer::new().resize_typed(&source, &mut target, &options).map_err(|e| failed(&e))?;
    Ok(Plane::from_vec(columns, rows, out))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::art::picture::Facts;
    use crate::art::{Format, Model};
    use crate::colour::{linear_to_srgb, srgb_to_linear};
    use proptest::prelude::*;

    fn art(w: usize, h: usize, f: impl Fn(usize, usize) -> f32) -> Art {
        let data = (0..h).flat_map(|y| (0..w).map(move |x| (x, y))).map(|(x, y)| f(x, y)).collect();
        Art::Raster(Raster {
            light: Light::from_vec(w, h, data),
            alpha: None,
            likeness: crate::art::Likeness { width: 1, height: 1, rgba: vec![255; 4] },
            colours: None,
            facts: Facts {
                format: Format::Png,
                bits: 8,
                model: Model::Grey,
                bilevel: false,
                colour: String::new(),
                profile: false,
                resolution: None,
                notes: Vec::new(),
            },
        })
    }

    fn with_alpha(art: Art, f: impl Fn(usize, usize) -> f32) -> Art {
        let Art::Raster(mut r) = art else { panic!() };
        let (w, h) = (r.light.width(), r.light.height());
        let data = (0..h).flat_map(|y| (0..w).map(move |x| (x, y))).map(|(x, y)| f(x, y)).collect();
        r.alpha = Some(Alpha::from_vec(w, h, data));
        Art::Raster(r)
    }

    #[test]
    fn a_checkerboard_of_black_and_white_averages_to_half_the_light() {
        // Check value T03: linear 0.5, code 188; averaging code values would give 0.2140.
        let a = art(64, 64, |x, y| ((x + y) % 2) as f32);
        let r = render(&a, &View::default(), 16, 16, Kind::Photo).unwrap();
        for y in 3..13 {
            assert!(r.light.row(y)[3..13].iter().all(|v| (v - 0.5).abs() < 1e-3), "row {y}");
        }
        // At the border the filter is cut and cannot balance black and white entirely.
        assert!(r.light.data().iter().all(|v| (v - 0.5).abs() < 5e-3));
        assert!((r.light.mean() - 0.5).abs() < 1e-6);
    }

    #[test]
    fn the_hidden_colour_of_transparent_places_does_not_leak() {
        // White ink on the left, and black hidden under full transparency on the right.
        let a = with_alpha(
            art(40, 8, |x, _| if x < 20 { 1.0 } else { 0.0 }),
            |x, _| if x < 20 { 1.0 } else { 0.0 },
        );
        let r = render(&a, &View::default(), 11, 3, Kind::Photo).unwrap();
        let cover = r.alpha.unwrap();
        assert!((cover.mean() - 0.5).abs() < 0.01);
        for (&v, &c) in r.light.data().iter().zip(cover.data()) {
            assert!(c <= 0.5 / 255.0 || v > 0.99, "light {v} where the cover is {c}");
        }
    }

    #[test]
    fn columns_and_rows_scale_on_their_own() {
        let a = art(100, 50, |x, _| if x < 50 { 0.0 } else { 1.0 });
        let r = render(&a, &View::default(), 10, 300, Kind::Photo).unwrap();
        assert_eq!((r.light.width(), r.light.height()), (10, 300));
        assert!(r.light.row(150)[1] < 0.01 && r.light.row(150)[8] > 0.99);
    }

    #[test]
    fn turning_the_source_and_turning_the_result_agree() {
        let a = art(37, 23, |x, y| ((x * 7 + y * 13) % 29) as f32 / 29.0);
        let part = Window { left: 0.1, top: 0.2, right: 0.9, bottom: 0.7 };
        for turn in [Turn::None, Turn::Quarter, Turn::Half, Turn::ThreeQuarters] {
            for mirror in [false, true] {
                let view = View { crop: part, turn, mirror, window: Window { left: 0.25, ..part } };
                // 20 x 20 dots are turned afterwards, 40 x 40 before.
                let small = render(&a, &view, 20, 20, Kind::Photo).unwrap().light;
                let large = render(&a, &view, 40, 40, Kind::Photo).unwrap().light;
                let halved = resample(&large, Window::WHOLE, 20, 20).unwrap();
                let worst =
                    small.data().iter().zip(halved.data()).map(|(a, b)| (a - b).abs()).fold(0.0, f32::max);
                assert!(worst < 0.12, "{turn} {mirror}: {worst}");
                assert!((small.mean() - halved.mean()).abs() < 0.01);
            }
        }
    }

    #[test]
    fn a_crop_shows_that_part() {
        let a = art(100, 100, |x, y| if x >= 50 && y >= 50 { 1.0 } else { 0.0 });
        let quarter = Window { left: 0.5, top: 0.5, right: 1.0, bottom: 1.0 };
        let r = render(&a, &View { crop: quarter, ..View::default() }, 25, 25, Kind::Photo).unwrap();
        assert!(r.light.row(12).iter().skip(3).all(|&v| v > 0.98));
        // The lower right comes to the lower left by a quarter clockwise.
        let turned = View { turn: Turn::Quarter, ..View::default() };
        let r = render(&a, &turned, 10, 10, Kind::Photo).unwrap();
        assert!(r.light.row(8)[1] > 0.98 && r.light.row(8)[8] < 0.02 && r.light.row(1)[1] < 0.02);
    }

    #[test]
    fn a_soft_edge_of_a_drawing_keeps_its_share_of_ink() {
        // Code value 128 between black and white: half ink, whether scaled or not.
        let half = srgb_to_linear(0.5) as f32;
        let a = art(30, 30, |_, _| half);
        let r = render(&a, &View::default(), 10, 10, Kind::Drawing).unwrap();
        assert!(r.light.data().iter().all(|v| (v - half).abs() < 1e-5));
        let a = art(90, 90, |x, _| [0.0, half, 1.0][x % 3]);
        let r = render(&a, &View::default(), 10, 10, Kind::Drawing).unwrap();
        assert!((linear_to_srgb(f64::from(r.light.row(5)[5])) - 0.5).abs() < 2e-3);
    }

    #[test]
    fn the_same_bytes_come_out_with_any_number_of_threads() {
        let a = with_alpha(art(301, 217, |x, y| ((x * y) % 97) as f32 / 97.0), |x, _| (x % 5) as f32 / 4.0);
        let view = View { turn: Turn::Quarter, ..View::default() };
        for kind in [Kind::Photo, Kind::Drawing] {
            for size in [(123, 77), (555, 444)] {
                let one = parallel::with_threads(1, || render(&a, &view, size.0, size.1, kind).unwrap());
                for threads in [2, 3, 7] {
                    let more =
                        parallel::with_threads(threads, || render(&a, &view, size.0, size.1, kind).unwrap());
                    assert!(one == more, "{threads} threads");
                }
            }
        }
    }

    #[test]
    fn a_part_outside_is_refused() {
        let a = art(4, 4, |_, _| 0.5);
        let outside =
            View { crop: Window { left: 0.5, top: 0.0, right: 1.5, bottom: 1.0 }, ..View::default() };
        let said = render(&a, &outside, 4, 4, Kind::Photo).unwrap_err().to_string();
        assert!(said.contains("50% to 150%"), "{said}");
        assert!(render(&a, &View::default(), 0, 4, Kind::Photo).is_err());
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(64))]
        #[test]
        fn every_size_keeps_the_mean_of_a_flat_picture(
            w in 1usize..40, h in 1usize..40, c in 1usize..60, r in 1usize..60, v in 0.0f32..1.0,
            turn in 0usize..4, mirror: bool, left in 0.0..0.5, right in 0.5001..1.0,
        ) {
            let turn = [Turn::None, Turn::Quarter, Turn::Half, Turn::ThreeQuarters][turn];
            let view = View { turn, mirror, crop: Window { left, top: left / 2.0, right, bottom: right }, ..View::default() };
            for kind in [Kind::Photo, Kind::Drawing] {
                let out = render(&art(w, h, |_, _| v), &view, c, r, kind).unwrap().light;
                prop_assert_eq!((out.width(), out.height()), (c, r));
                prop_assert!(out.data().iter().all(|o| (o - v).abs() < 2e-5));
            }
        }
    }
}
