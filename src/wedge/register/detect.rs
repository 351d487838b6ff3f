//! Detect: finder marks in a photo, coarsely; `register` makes the centres exact.
//!
//! A mark is seen by its nesting: a small round region inside a ring inside a ring. No other part of a
//! wedge nests so, and the test holds for either polarity, any turn, and tilts far beyond 25 degrees.

use super::candidate::MarkCandidate;
use super::homography::Homography;
use super::regions::{Region, Regions};
use super::{four_marks, three_marks};
use crate::parallel;
use crate::plane::Light;
use crate::progress::{Progress, Stopped};
use crate::wedge::target::{CENTRE, RING, Wedge};

/// What was searched, for the message when nothing is found.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Searched {
    /// Rings with a dot that were seen, at most, at one scale.
    pub rings: usize,
    /// Discs with a hole.
    pub discs: usize,
}

/// A wedge that was found.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Detected {
    /// From mm to pixels.
    pub plane: Homography,
    /// Whether the photo shows another piece with such marks beside it.
    pub another: bool,
}

/// Why no marks were found.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Unfound {
    /// The whole photo was searched.
    Searched(Searched),
    /// The person asked to stop.
    Stopped(Stopped),
}

/// Finds the four marks. The photo is looked at reduced by 4, then 2, then 1, each with three widths of
/// the local threshold; the first scale that gives a consistent set of four wins. Where none does, three
/// marks and their sizes give a first perspective, for the patches to make exact.
///
/// # Errors
/// Where no set of marks is found, with what was seen, or `progress` ends the work.
pub fn find(light: &Light, wedge: &Wedge, progress: &dyn Progress) -> Result<Detected, Unfound> {
    let mut searched = Searched::default();
    let mut best_three: Option<(f64, Homography)> = None;
    let factors = [4, 2, 1];
    progress.expect(factors.len() as u64);
    for factor in factors {
        progress.go_on(1).map_err(Unfound::Stopped)?;
        let (w, h) = (light.width() / factor, light.height() / factor);
        if w < 200 || h < 200 {
            continue;
        }
        let small = reduce(light, factor);
        let shorter = w.min(h);
        let lists = parallel::map(3, |i| {
            let radius = (shorter / [10, 20, 36][i]).max(6);
            candidates(&Regions::of(&threshold(&small, radius), w), factor as f64)
        });
        let mut all: Vec<MarkCandidate> = Vec::new();
        for c in lists.into_iter().flatten() {
            let same = |d: &MarkCandidate| {
                libm::hypot(d.at.0 - c.at.0, d.at.1 - c.at.1) < 0.2 * c.diameter
                    && d.odd == c.odd
                    && d.lighter == c.lighter
                    && (d.diameter / c.diameter - 1.0).abs() < 0.25
            };
            if !all.iter().any(same) {
                all.push(c);
            }
        }
        searched.rings = searched.rings.max(all.iter().filter(|c| !c.odd).count());
        searched.discs = searched.discs.max(all.iter().filter(|c| c.odd).count());
        if let Some(plane) = four_marks::consistent(&all, wedge) {
            all.retain(|c| !on_blank(&plane, wedge, c.at));
            let another = four_marks::consistent(&all, wedge).is_some();
            return Ok(Detected { plane, another });
        }
        let three = three_marks::consistent(&all, wedge);
        best_three = match (best_three, three) {
            (Some(a), Some(b)) if a.0 <= b.0 => Some(a),
            (a, b) => b.or(a),
        };
    }
    best_three.map(|(_, plane)| Detected { plane, another: false }).ok_or(Unfound::Searched(searched))
}

/// Whether a place in the photo lies on the blank.
fn on_blank(plane: &Homography, wedge: &Wedge, at: (f64, f64)) -> bool {
    let place = plane.inverse().and_then(|back| back.map(at));
    let within = |v: f64, size: f64| (-0.05 * size..=1.05 * size).contains(&v);
    place.is_some_and(|(x, y)| within(x, wedge.blank.width()) && within(y, wedge.blank.height()))
}

/// The square root of linear light, averaged over `factor` by `factor` pixels, in 0..1.
fn reduce(light: &Light, factor: usize) -> Light {
    let (w, h) = (light.width() / factor, light.height() / factor);
    let mut out = Light::filled(w, h, 0.0);
    let n = 1.0 / (factor * factor) as f32;
    parallel::bands(out.data_mut(), w, 16, |first, band| {
        for (i, row) in band.chunks_mut(w).enumerate() {
            for dy in 0..factor {
                let line = light.row((first + i) * factor + dy);
                for (v, px) in row.iter_mut().zip(line.chunks_exact(factor)) {
                    *v += px.iter().sum::<f32>();
                }
            }
            row.iter_mut().for_each(|v| *v = (*v * n).sqrt());
        }
    });
    out
}

/// Whether each pixel is above the mean of the square of `radius` round it.
fn threshold(small: &Light, radius: usize) -> Vec<bool> {
    let (w, h) = (small.width(), small.height());
    let mut sums = vec![0f64; (w + 1) * (h + 1)];
    for y in 0..h {
        let mut run = 0.0;
        for (x, &v) in small.row(y).iter().enumerate() {
            run += f64::from(v);
            sums[(y + 1) * (w + 1) + x + 1] = sums[y * (w + 1) + x + 1] + run;
        }
    }
    let mut out = Vec::with_capacity(w * h);
    for y in 0..h {
        let (y0, y1) = (y.saturating_sub(radius), (y + radius + 1).min(h));
        for (x, &v) in small.row(y).iter().enumerate() {
            let (x0, x1) = (x.saturating_sub(radius), (x + radius + 1).min(w));
            let at = |yy: usize, xx: usize| sums[yy * (w + 1) + xx];
            let sum = at(y1, x1) - at(y0, x1) - at(y1, x0) + at(y0, x0);
            out.push(f64::from(v) * ((y1 - y0) * (x1 - x0)) as f64 > sum);
        }
    }
    out
}

fn candidates(regions: &Regions, factor: f64) -> Vec<MarkCandidate> {
    let ellipse = |area: f64, r: &Region| {
        (0.8..=1.15).contains(&(area / (std::f64::consts::FRAC_PI_4 * r.width() * r.height())))
            && (0.55..=1.8).contains(&(r.width() / r.height()))
    };
    let mut out = Vec::new();
    for c in regions.all.iter().filter(|r| r.area >= 5.0) {
        if !ellipse(c.area, c) {
            continue;
        }
        let Some(b) = regions.round(c) else { continue };
        let near = |p: &Region, q: &Region| {
            let ((ax, ay), (bx, by)) = (p.centre(), q.centre());
            libm::hypot(ax - bx, ay - by) < 0.12 * (p.width() + p.height()) / 2.0 + 0.3
        };
        if !b.holds(c) || !near(b, c) || !ellipse(b.area + c.area, b) {
            continue;
        }
        let ratio = b.area / c.area;
        // Disc with a hole: areas as 1 − 0.34² to 0.34² = 7.7; a blurred, widened or narrowed edge moves it.
        let odd_ratio = (1.0 - CENTRE * CENTRE) / (CENTRE * CENTRE);
        if (odd_ratio / 2.2..odd_ratio * 2.6).contains(&ratio) {
            let area = b.area + c.area;
            out.push(candidate(b, area, true, b.light, factor));
        }
        let Some(a) = regions.round(b) else { continue };
        let inner = (RING * RING - CENTRE * CENTRE) / (CENTRE * CENTRE);
        let outer = (1.0 - RING * RING) / (CENTRE * CENTRE);
        let (q1, q2) = (ratio / inner, a.area / c.area / outer);
        let whole = a.area + b.area + c.area;
        if a.holds(b)
            && near(a, c)
            && (0.3..=2.8).contains(&q1)
            && (0.35..=3.2).contains(&q2)
            && ellipse(whole, a)
        {
            out.push(candidate(a, whole, false, a.light, factor));
        }
    }
    out
}

fn candidate(r: &Region, area: f64, odd: bool, lighter: bool, factor: f64) -> MarkCandidate {
    let (x, y) = r.centre();
    // Pixel centres of the reduced picture lie in the middle of their block of pixels.
    let up = |v: f64| (v + 0.5) * factor - 0.5;
    MarkCandidate {
        at: (up(x), up(y)),
        diameter: 2.0 * (area / std::f64::consts::PI).sqrt() * factor,
        odd,
        lighter,
    }
}
