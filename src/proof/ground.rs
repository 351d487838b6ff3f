//! The ground of a proof: bench, blank and its edge, margin line, rings around spots.

use super::canvas::{Picture, Rgb, blend};
use super::layout::Layout;
use crate::blank::{Blank, Shape};
use crate::job::kit::Surface;
use crate::parallel;

/// The bench around the blank: a neutral grey, so that it does not colour the eye.
pub const BENCH: Rgb = [190, 190, 188];
/// The blank's edge.
const EDGE: Rgb = [40, 40, 42];
/// The margin line: a blue between the lightest and the darkest look, seen on both.
pub const MARGIN: Rgb = [58, 124, 186];
/// Over-burnt places: vermilion of Okabe and Ito's colour-blind-safe set, striped with [`OVER_BURN_DARK`].
pub const OVER_BURN: Rgb = [213, 94, 0];
/// The dark stripe of over-burnt places.
pub const OVER_BURN_DARK: Rgb = [20, 10, 0];

/// Distance of a point from the outline, mm, negative inside; the point is measured from the centre.
pub fn distance(shape: &Shape, x: f64, y: f64) -> f64 {
    match *shape {
        // A square root is several times as fast as `hypot`, which guards against overflow.
        Shape::Round { diameter } => (x * x + y * y).sqrt() - diameter.0 / 2.0,
        Shape::Rect { radius, .. } => from_box(shape, radius.0, x, y),
        Shape::Cylinder { .. } => from_box(shape, 0.0, x, y),
        // Round the piece, as a margin is kept from the seam, and along it.
        Shape::Cone { .. } => {
            let end = shape.height() / 2.0;
            let half = shape.span(y.clamp(-end, end)).map_or(0.0, |(_, right)| right);
            (x.abs() - half).max(y.abs() - end)
        }
    }
}

/// The same for a box with its corners rounded by `radius` mm.
fn from_box(shape: &Shape, radius: f64, x: f64, y: f64) -> f64 {
    let (dx, dy) = (x.abs() - shape.width() / 2.0 + radius, y.abs() - shape.height() / 2.0 + radius);
    let (ox, oy) = (dx.max(0.0), dy.max(0.0));
    (ox * ox + oy * oy).sqrt() + dx.max(dy).min(0.0) - radius
}

/// Paints bench, blank and edge, and the margin where a `margin_line` is wanted. `fill(row, pixels)` gives a row of pixels as if the blank
/// were everywhere; with a `surface` the outermost part of the margin is shaded so that the material is
/// recognised. Nothing is shaded where marks can be.
pub fn paint(
    layout: &Layout,
    blank: &Blank,
    surface: Option<Surface>,
    margin_line: bool,
    fill: impl Fn(usize, &mut [u8]) + Sync + Send,
) -> Picture {
    let mut picture = Picture::filled(layout.width, layout.height, BENCH);
    let p = layout.pixel;
    let (cx, cy) = (blank.shape.width() / 2.0 - layout.left, blank.shape.height() / 2.0 - layout.top);
    // Inside this no pixel is touched by edge, shading or margin line.
    let calm = blank.shape.inset(blank.margin.0 + 2.0 * p);
    let rim = (0.7 * blank.margin.0).min(2.0);
    parallel::bands(&mut picture.rgb, 3 * layout.width, 8, |first, band| {
        for (i, row) in band.chunks_exact_mut(3 * layout.width).enumerate() {
            let y = (first + i) as f64 * p + 0.5 * p - cy;
            fill(first + i, row);
            let quiet = calm.and_then(|s| s.span(y)).map_or(0..0, |(l, r)| {
                let column = |x: f64| ((x + cx) / p).clamp(0.0, layout.width as f64);
                column(l).ceil() as usize..column(r).floor().max(0.0) as usize
            });
            for (column, pixel) in row.chunks_exact_mut(3).enumerate() {
                if quiet.contains(&column) {
                    continue;
                }
                let x = column as f64 * p + 0.5 * p - cx;
                let d = distance(&blank.shape, x, y);
                edge(pixel, &blank.shape, surface, (x, y, d), rim, p);
                let line = (1.0 - (d + blank.margin.0).abs() / p) as f32;
                if margin_line
                    && d <= 0.0
                    && line > 0.0
                    && blank.margin.0 > 2.0 * p
                    && (column + first + i) % 6 < 3
                {
                    blend(pixel, MARGIN, line);
                }
            }
        }
    });
    picture
}

/// Lets the shadow beside the blank end within the picture, so that it can be laid on a larger bench without a frame.
pub fn fade(picture: &mut Picture, layout: &Layout, blank: &Blank) {
    let (width, height, p) = (picture.width, picture.height, layout.pixel);
    let (cx, cy) = (blank.shape.width() / 2.0 - layout.left, blank.shape.height() / 2.0 - layout.top);
    let bench = (-layout.left).min(-layout.top).max(p);
    for (row, pixels) in picture.rgb.chunks_exact_mut(3 * width.max(1)).enumerate() {
        for (column, pixel) in pixels.chunks_exact_mut(3).enumerate() {
            let beside = column.min(row).min(width - 1 - column).min(height - 1 - row);
            let near = 1.0 - beside as f64 * p / bench;
            let (x, y) = ((column as f64 + 0.5) * p - cx, (row as f64 + 0.5) * p - cy);
            if near > 0.0 && distance(&blank.shape, x, y) > 0.0 {
                blend(pixel, BENCH, near as f32);
            }
        }
    }
}

/// Rim, outline, bench and shadow at a point at `distance` d from the outline.
fn edge(
    pixel: &mut [u8],
    shape: &Shape,
    surface: Option<Surface>,
    (x, y, d): (f64, f64, f64),
    rim: f64,
    p: f64,
) {
    if let Some(surface) = surface
        && d > -rim
        && d <= p
    {
        let depth = (1.0 + d / rim).clamp(0.0, 1.0);
        // Light from the upper left, as if the edge were rounded.
        let light = -(x + y) / ((x * x + y * y).sqrt() + 1e-9) / std::f64::consts::SQRT_2;
        let add = match surface {
            Surface::Glass => 70.0 * depth * depth * (0.4 + 0.6 * light.max(0.0)),
            Surface::Tile => 36.0 * depth * light,
            Surface::Slate => 60.0 * (grain((x / 0.4).floor(), (y / 0.4).floor()) - 0.4) * depth,
            Surface::Metal => 24.0 * (grain(0.0, (y / 0.12).floor()) - 0.5) * depth + 30.0 * depth * light,
        };
        for v in pixel.iter_mut() {
            *v = (f64::from(*v) + add).clamp(0.0, 255.0) as u8;
        }
    }
    // Far out on the bench there is no edge, and the shadow has ended: it lies 1.3 mm from the blank and is 8 mm wide.
    if d > 10.0 + 2.0 * p {
        pixel.copy_from_slice(&BENCH);
        return;
    }
    let outside = (0.5 + d / p).clamp(0.0, 1.0);
    if outside > 0.0 {
        let shade = distance(shape, x - 0.7, y - 1.1).max(0.0);
        // Beyond 8 mm the shadow is less than a quarter of a level.
        let dark = if surface.is_some() && shade < 8.0 { 0.38 * (-shade / 1.4).exp() } else { 0.0 };
        let bench = BENCH.map(|v| (f64::from(v) * (1.0 - dark)) as u8);
        if outside < 1.0 {
            blend(pixel, bench, outside as f32);
        } else {
            pixel.copy_from_slice(&bench);
        }
    }
    let line = (1.25 - d.abs() / p).clamp(0.0, 1.0);
    if line > 0.0 {
        blend(pixel, EDGE, 0.85 * line as f32);
    }
}

/// A number 0..1 that depends on a cell's place only: the same on any machine.
fn grain(x: f64, y: f64) -> f64 {
    let mut h = (x as i64 as u64).wrapping_mul(0x9E37_79B9_7F4A_7C15)
        ^ (y as i64 as u64).wrapping_mul(0xC2B2_AE3D_27D4_EB4F);
    h ^= h >> 29;
    h = h.wrapping_mul(0xBF58_476D_1CE4_E5B9);
    h ^= h >> 32;
    (h >> 11) as f64 / (1u64 << 53) as f64
}

/// The colour of an over-burnt pixel: stripes that run up to the right, `size` pixels each.
pub fn hatch(x: usize, y: usize, size: usize) -> Rgb {
    if ((x + y) / size.max(1)).is_multiple_of(2) { OVER_BURN } else { OVER_BURN_DARK }
}

/// Draws a ring (white inside a dark one, so that it is seen on anything) around a pixel position.
pub fn ring(picture: &mut Picture, (x, y): (f64, f64), radius: f64, width: f64) {
    let reach = radius + 2.0 * width;
    for py in (y - reach).floor() as isize..=(y + reach).ceil() as isize {
        for px in (x - reach).floor() as isize..=(x + reach).ceil() as isize {
            let d = ((px as f64 + 0.5 - x).hypot(py as f64 + 0.5 - y) - radius).abs();
            picture.mix(px, py, [0, 0, 0], (1.5 * width - d + 0.5).clamp(0.0, 1.0));
            picture.mix(px, py, [255, 255, 255], (0.5 * width - d + 0.5).clamp(0.0, 1.0));
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_distance_agrees_with_the_outline() {
        for text in ["round:90mm", "rect:100x60mm", "rect:100x100mm:r8mm"] {
            let s: Shape = text.parse().unwrap();
            for i in 0..400 {
                let y = (f64::from(i) / 400.0 - 0.5) * s.height();
                let (l, r) = s.span(y).unwrap();
                for x in [l, r] {
                    assert!(distance(&s, x, y).abs() < 1e-9, "{text} {x} {y}: {}", distance(&s, x, y));
                }
                assert!(distance(&s, l - 1.0, y) > 0.0 && distance(&s, 0.0, y) <= 0.0);
            }
        }
    }

    #[test]
    fn a_faded_shadow_ends_at_the_pictures_border_and_leaves_the_blank_alone() {
        let blank = Blank { shape: "round:30mm".parse().unwrap(), margin: crate::units::Mm(1.0) };
        let layout = Layout::to_scale(&blank, 200);
        let painted = paint(&layout, &blank, Some(Surface::Slate), false, |_, row| row.fill(60));
        let mut faded = painted.clone();
        fade(&mut faded, &layout, &blank);
        let (w, h) = (painted.width, painted.height);
        let (mut dark, mut inside) = (0, 0);
        for (x, y) in (0..w * h).map(|i| (i % w, i / w)) {
            if x == 0 || y == 0 || x == w - 1 || y == h - 1 {
                assert_eq!(faded.get(x, y), BENCH);
                dark += usize::from(painted.get(x, y) != BENCH);
            }
            let at = |n: usize, size: usize| (n as f64 + 0.5 - size as f64 / 2.0) * layout.pixel;
            if distance(&blank.shape, at(x, w), at(y, h)) < -0.2 {
                assert_eq!(faded.get(x, y), painted.get(x, y));
                inside += 1;
            }
        }
        assert!(dark > 0 && inside > w * h / 2, "there was a shadow to fade, and a blank to leave alone");
    }

    #[test]
    fn stripes_have_two_colours_that_differ_in_lightness() {
        assert_ne!(hatch(0, 0, 3), hatch(3, 0, 3));
        assert_eq!(hatch(3, 0, 3), hatch(0, 3, 3));
    }
}
