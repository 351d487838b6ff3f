//! Extent: the outline of what is not transparent, for fitting an emblem to its blank.

use std::sync::Arc;

use super::render::render;
use super::view::{View, Window};
use super::{Art, Kind, RenderError};
use crate::plane::Plane;

/// Dots along the longer side in which the extent is looked for: a thousandth of the art's size.
const SIDE: f64 = 1024.0;
/// Cover below which a place counts as transparent: half an 8-bit step above none.
const LEAST_COVER: f32 = 1.5 / 255.0;
/// The hull of what covers all.
const CORNERS: [(f64, f64); 4] = [(0.0, 0.0), (1.0, 0.0), (1.0, 1.0), (0.0, 1.0)];
/// Directions of the outline when there are more corners than that.
const DIRECTIONS: usize = 180;

/// The convex hull of what is not transparent in the art as `view` crops, turns and mirrors it
/// (its window is not applied), in fractions of its width and height, clockwise as seen from the upper left;
/// at most 180 points, never inside the true hull. The four corners for art without transparency;
/// empty for art that is transparent everywhere.
///
/// # Errors
/// As [`render`], by which transparent art is looked at.
pub fn extent(art: &Art, view: &View) -> Result<Arc<Vec<(f64, f64)>>, RenderError> {
    let whole = View { window: Window::WHOLE, ..*view };
    match art {
        Art::Raster(r) if r.alpha.is_none() => Ok(Arc::new(CORNERS.to_vec())),
        Art::Raster(_) => drawn(art, &whole).map(Arc::new),
        Art::Vector(v) => v.extents().try_get(whole, || drawn(art, &whole)),
    }
}

/// The extent as it is found in a drawing of the whole art.
fn drawn(art: &Art, view: &View) -> Result<Vec<(f64, f64)>, RenderError> {
    let (w, h) = view.size(art);
    let scale = SIDE / w.max(h);
    // A raster is not enlarged: its own elements are the finest there is to know.
    let scale = if art.pixels().is_some() { scale.min(1.0) } else { scale };
    let dots = |v: f64| ((v * scale).round() as usize).max(1);
    let rendered = render(art, view, dots(w), dots(h), Kind::Drawing)?;
    Ok(match rendered.alpha {
        None => CORNERS.to_vec(),
        Some(alpha) => few(hull_of(&alpha, LEAST_COVER)),
    })
}

/// The convex hull of the places of a plane with at least such a value, in fractions of its width and height.
pub(crate) fn hull_of<K>(plane: &Plane<K>, least: f32) -> Vec<(f64, f64)> {
    let (w, h) = (plane.width() as f64, plane.height() as f64);
    let mut points = Vec::new();
    for y in 0..plane.height() {
        let row = plane.row(y);
        let covered = |&v: &f32| v >= least;
        if let (Some(l), Some(r)) = (row.iter().position(covered), row.iter().rposition(covered)) {
            for y in [y, y + 1] {
                points.push((l as f64 / w, y as f64 / h));
                points.push(((r + 1) as f64 / w, y as f64 / h));
            }
        }
    }
    hull(points)
}

/// Convex hull by the monotone chain (A. M. Andrew, Information Processing Letters 9, 1979): its corners in order. Fewer than
/// three points are their own.
pub(super) fn hull(mut points: Vec<(f64, f64)>) -> Vec<(f64, f64)> {
    points.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.total_cmp(&b.1)));
    points.dedup();
    if points.len() < 3 {
        return points;
    }
    let left =
        |a: (f64, f64), b: (f64, f64), c: (f64, f64)| (b.0 - a.0) * (c.1 - a.1) - (b.1 - a.1) * (c.0 - a.0);
    let half = |points: &mut dyn Iterator<Item = (f64, f64)>| {
        let mut chain: Vec<(f64, f64)> = Vec::new();
        for p in points {
            while let [.., a, b] = chain[..]
                && left(a, b, p) <= 0.0
            {
                chain.pop();
            }
            chain.push(p);
        }
        chain.pop();
        chain
    };
    let mut out = half(&mut points.iter().copied());
    out.extend(half(&mut points.iter().rev().copied()));
    out
}

/// A hull of at most [`DIRECTIONS`] corners around one of more: where its support lines in evenly
/// spread directions meet. It reaches at most 1/cos(1°) − 1 = 0.015 % beyond.
fn few(hull: Vec<(f64, f64)>) -> Vec<(f64, f64)> {
    if hull.len() <= DIRECTIONS {
        return hull;
    }
    let line = |i: usize| {
        let (sin, cos) = libm::sincos(std::f64::consts::TAU * i as f64 / DIRECTIONS as f64);
        let reach = hull.iter().map(|p| p.0 * cos + p.1 * sin).fold(f64::NEG_INFINITY, f64::max);
        (cos, sin, reach)
    };
    let lines: Vec<_> = (0..=DIRECTIONS).map(line).collect();
    lines
        .windows(2)
        .map(|pair| {
            let ((a, b, r), (c, d, s)) = (pair[0], pair[1]);
            let det = a * d - b * c;
            (((r * d - s * b) / det).clamp(0.0, 1.0), ((a * s - c * r) / det).clamp(0.0, 1.0))
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::art::open;
    use crate::art::turn::Turn;

    fn drawing(body: &str) -> Art {
        let text = format!("<svg xmlns='http://www.w3.org/2000/svg' width='80' height='40'>{body}</svg>");
        open(text.as_bytes(), "a drawing").unwrap()
    }

    #[test]
    fn a_round_emblem_has_a_round_extent() {
        let hull = extent(&drawing("<circle cx='20' cy='20' r='20'/>"), &View::default()).unwrap();
        assert!(hull.len() > 20 && hull.len() <= 200);
        for &(x, y) in hull.iter() {
            let r = ((x * 80.0 - 20.0).powi(2) + (y * 40.0 - 20.0).powi(2)).sqrt();
            assert!((19.9..20.2).contains(&r), "{r}");
        }
    }

    #[test]
    fn opaque_art_has_its_corners_and_empty_art_none() {
        let full = extent(&drawing("<rect width='80' height='40'/>"), &View::default()).unwrap();
        assert_eq!(full.len(), 4);
        assert!(extent(&drawing(""), &View::default()).unwrap().is_empty());
    }

    #[test]
    fn the_same_view_is_looked_at_once() {
        let art = drawing("<circle cx='20' cy='20' r='20'/>");
        let mirrored = View { mirror: true, ..View::default() };
        let [first, other, again] =
            [View::default(), mirrored, View::default()].map(|view| extent(&art, &view).unwrap());
        assert!(Arc::ptr_eq(&first, &again));
        assert_ne!(first, other, "another view has an extent of its own");
    }

    #[test]
    fn the_extent_turns_with_the_art() {
        let a = drawing("<rect width='20' height='10'/>");
        let view = View { turn: Turn::Quarter, ..View::default() };
        let hull = extent(&a, &view).unwrap();
        let left = hull.iter().map(|p| p.0).fold(1.0, f64::min);
        let bottom = hull.iter().map(|p| p.1).fold(0.0, f64::max);
        assert!((left - 0.75).abs() < 0.01 && (bottom - 0.25).abs() < 0.01, "{hull:?}");
    }

    #[test]
    fn a_hull_of_few_corners_contains_the_one_of_many() {
        let circle: Vec<_> = (0..1000)
            .map(|i| (std::f64::consts::TAU * f64::from(i) / 1000.0).sin_cos())
            .map(|(s, c)| (0.5 + 0.4 * c, 0.5 + 0.3 * s))
            .collect();
        let out = few(hull(circle.clone()));
        assert!(out.len() <= 200);
        for (i, &a) in out.iter().enumerate() {
            let b = out[(i + 1) % out.len()];
            for p in &circle {
                assert!((b.0 - a.0) * (p.1 - a.1) - (b.1 - a.1) * (p.0 - a.0) > -1e-9);
            }
        }
    }
}
