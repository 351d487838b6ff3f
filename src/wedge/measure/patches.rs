//! Patches: lightness and grain of each, or why it cannot be measured.

use super::rectify::Flat;
use super::surface::LightSurface;
use super::tone::straight;
use crate::art::Photo;
use crate::colour::lstar;
use crate::parallel;
use crate::texts::text;
use crate::wedge::register::Camera;
use crate::wedge::spread::deviation;
use crate::wedge::target::{Pattern, TestPatch, Wedge};

/// Side of the aperture through which grain is measured, mm: about what the eye resolves at 300 mm
/// (1 minute of arc is 0.09 mm) times four, so that it is the mottle a person sees and not the pixels' noise.
pub const APERTURE_MM: f64 = 0.4;

/// A gap that is lighter than the surface by more than this many of its standard deviations shows glare.
const GLARE: f64 = 5.0;

/// A patch measured against the unmarked coating.
#[derive(Debug, Clone, PartialEq)]
pub struct PatchLight {
    /// Mean light relative to the unmarked coating at the same place.
    pub ratio: f64,
    /// The same through each aperture of the core.
    pub cells: Vec<f64>,
    /// Relative error of the light surface there.
    pub light_error: f64,
    /// Faint glare that was taken off, relative to the unmarked coating.
    pub veil: f64,
    /// How well the broad veil is known that was taken off, as a share of the unmarked coating's light at one standard
    /// deviation; 0 where none was.
    pub unsure: f64,
    /// Its fill is lines, dots or a screen, so that the apertures' spread is that of the pattern and not grain: how well its
    /// mean is known instead, as a share.
    pub pattern: Option<f64>,
}

impl PatchLight {
    /// The same with a camera's curve taken off that is `steeper` in the middle than the standard one; `gap` is the light of
    /// the unmarked coating there as the photo shows it.
    pub fn straightened(&self, steeper: f64, gap: f64) -> PatchLight {
        let bare = straight(gap, steeper).max(1e-6);
        let off = |v: f64| straight((v * gap).max(0.0), steeper) / bare;
        PatchLight {
            ratio: off(self.ratio),
            cells: self.cells.iter().map(|c| off(*c)).collect(),
            ..self.clone()
        }
    }

    /// The same with a broad veil taken off that leaves the share `left` of the unmarked coating's light, known to `unsure`.
    pub fn unveiled(&self, left: f64, unsure: f64) -> PatchLight {
        let off = |v: f64| (v - (1.0 - left)) / left;
        PatchLight {
            ratio: off(self.ratio).max(1e-4),
            cells: self.cells.iter().map(|c| off(*c)).collect(),
            unsure,
            ..self.clone()
        }
    }
}

/// Why a patch is refused.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum Refusal {
    /// Outside the photo.
    #[error("{}", text!("wedge.refusal.outside"))]
    Outside,
    /// The camera was at its limit.
    #[error("{}", text!("wedge.refusal.clipped", share = format_args!("{:.0}", .share)))]
    Clipped {
        /// Percent of pixels.
        share: f64,
    },
    /// The edges' blur reaches its middle.
    #[error("{}", text!(
        "wedge.refusal.blurred",
        blur = format_args!("{:.2}", .blur),
        side = format_args!("{:.1}", .side),
    ))]
    Blurred {
        /// Width of the blurred edge, mm.
        blur: f64,
        /// Shorter side of the patch, mm.
        side: f64,
    },
    /// Light that does not belong lies on it.
    #[error("{}", text!("wedge.refusal.glare", excess = format_args!("{:.0}", .excess)))]
    Glare {
        /// How much lighter the gaps beside it are than the surface, percent.
        excess: f64,
    },
    /// Its quarters differ.
    #[error("{}", text!("wedge.refusal.uneven", spread = format_args!("{:.1}", .spread)))]
    Uneven {
        /// Between the lightest and darkest quarter, L*.
        spread: f64,
    },
    /// Nothing looks as it comes out.
    #[error("{}", text!("wedge.refusal.beyond"))]
    Beyond,
}

/// Measures every patch. `blur` is the standard deviation of the edges in mm.
pub fn measure(
    photo: &Photo,
    flat: &Flat,
    camera: &Camera,
    surface: &LightSurface,
    wedge: &Wedge,
    blur: f64,
) -> Vec<Result<PatchLight, Refusal>> {
    parallel::map(wedge.patches.len(), |i| match wedge.patches.get(i) {
        Some(p) => one(photo, flat, camera, surface, wedge, p, blur),
        None => Err(Refusal::Outside),
    })
}

/// What is left free inside a patch's edge: the blurred edge to 2.5 standard deviations and the beam's radius.
pub fn guard(wedge: &Wedge, blur: f64) -> f64 {
    2.5 * blur + wedge.beam_along.0.max(wedge.beam_across.0) / 2.0
}

fn one(
    photo: &Photo,
    flat: &Flat,
    camera: &Camera,
    surface: &LightSurface,
    wedge: &Wedge,
    patch: &TestPatch,
    blur: f64,
) -> Result<PatchLight, Refusal> {
    let (cx, cy) = (patch.centre[0], wedge.blank.height() - patch.centre[1]);
    let [w, h] = patch.size;
    let side = w.min(h);
    let guard = guard(wedge, blur);
    if side - 2.0 * guard < 0.35 * side {
        return Err(Refusal::Blurred { blur: 2.0 * 2.5 * blur, side });
    }
    let (l, t, r, b) =
        (cx - w / 2.0 + guard, cy - h / 2.0 + guard, cx + w / 2.0 - guard, cy + h / 2.0 - guard);
    let share = clipped_share(photo, camera, l, t, r, b).ok_or(Refusal::Outside)?;
    if share > 0.01 {
        return Err(Refusal::Clipped { share: 100.0 * share });
    }
    let (mean, _) = flat.mean(l, t, r, b).ok_or(Refusal::Outside)?;
    // Apertures: whole ones, spread over the core.
    let (nx, ny) = (
        ((r - l) / APERTURE_MM).floor().max(2.0) as usize,
        ((b - t) / APERTURE_MM).floor().max(2.0) as usize,
    );
    let (dx, dy) = ((r - l) / nx as f64, (b - t) / ny as f64);
    let mut cells = Vec::with_capacity(nx * ny);
    let mut quarters = [(0.0, 0.0); 4];
    for j in 0..ny {
        for i in 0..nx {
            let (x, y) = (l + i as f64 * dx, t + j as f64 * dy);
            let (v, _) = flat.mean(x, y, x + dx, y + dy).ok_or(Refusal::Outside)?;
            let v = v / surface.at(x + dx / 2.0, y + dy / 2.0);
            cells.push(v);
            let q = &mut quarters[2 * (2 * j / ny) + 2 * i / nx];
            *q = (q.0 + v, q.1 + 1.0);
        }
    }
    let patterned = patch.pattern != Pattern::Solid;
    let ratio = if patterned {
        flat.soft_mean(l, t, r, b).ok_or(Refusal::Outside)? / surface.at(cx, cy)
    } else {
        cells.iter().sum::<f64>() / cells.len() as f64
    };
    // Glare adds light: what it adds to the gaps beside the patch it adds, about, to the patch.
    let local = surface.at(cx, cy);
    let glare = glare_beside(surface, (cx, cy), w.max(h) * 0.5 + 2.5);
    let steps = |a: f64| (lstar(a) - lstar(mean)).abs();
    if glare.most > GLARE * surface.spread.max(0.004) && steps(mean + glare.most * local) > 0.8 {
        return Err(Refusal::Glare { excess: 100.0 * glare.most });
    }
    // A faint veil that is sure is taken off.
    let ratio = ratio - glare.veil;
    cells.iter_mut().for_each(|c| *c -= glare.veil);
    let (mut low, mut high) = (f64::INFINITY, 0.0f64);
    for (s, n) in quarters {
        if n > 0.0 {
            low = low.min(s / n * local);
            high = high.max(s / n * local);
        }
    }
    let spread = lstar(high) - lstar(low);
    // The quarters of a patterned patch see other parts of the pattern and are not compared; those of an even
    // patch differ by its own grain over the root of the apertures in a quarter.
    let sd = deviation(&cells.iter().map(|c| lstar(c * local)).collect::<Vec<_>>());
    if !patterned && spread > 2.5 + 4.0 * sd / (cells.len() as f64 / 4.0).sqrt() {
        return Err(Refusal::Uneven { spread });
    }
    Ok(PatchLight {
        ratio,
        cells,
        pattern: pattern_error(patch),
        light_error: surface.spread / (surface.gaps.len() as f64).sqrt() * 2.5,
        veil: glare.veil,
        unsure: 0.0,
    })
}

/// How far the mean light of a pattern may be off, as a share: half a percent by its soft mean; five times as much where
/// the photo resolves its lines, for a camera's sharpening and tone curve then change their mean (rendered photos: up to
/// 1.1 L* at pairs of 3 pitches, 0.2 L* at dots and at pairs of one).
fn pattern_error(patch: &TestPatch) -> Option<f64> {
    match patch.pattern {
        Pattern::Solid => None,
        Pattern::LinesAlong | Pattern::LinesAcross if patch.period > 1 => Some(0.025),
        _ => Some(0.005),
    }
}

/// Light that the gaps round a place have above the surface, relative to it.
struct Beside {
    /// The most of any gap.
    most: f64,
    /// The mean, where there is glare at all and it is above three of its standard errors; else 0.
    veil: f64,
}

fn glare_beside(surface: &LightSurface, at: (f64, f64), reach: f64) -> Beside {
    let beside: Vec<f64> = surface
        .gaps
        .iter()
        .filter(|g| (g.at.0 - at.0).abs() < reach && (g.at.1 - at.1).abs() < reach)
        .map(|g| g.excess)
        .collect();
    let n = beside.len().max(1) as f64;
    let mean = beside.iter().sum::<f64>() / n;
    let most = beside.iter().copied().fold(0.0, f64::max);
    let sure = most > GLARE * surface.spread.max(0.004) && mean > 3.0 * surface.spread / n.sqrt();
    Beside { most, veil: if sure { mean } else { 0.0 } }
}

fn clipped_share(photo: &Photo, camera: &Camera, l: f64, t: f64, r: f64, b: f64) -> Option<f64> {
    let n = 24;
    let mut hits = 0;
    for j in 0..n {
        for i in 0..n {
            let at = (l + (r - l) * (i as f64 + 0.5) / n as f64, t + (b - t) * (j as f64 + 0.5) / n as f64);
            let (x, y) = camera.project(at)?;
            let (x, y) = (x.round(), y.round());
            if !(x >= 0.0 && y >= 0.0)
                || x as usize >= photo.light.width()
                || y as usize >= photo.light.height()
            {
                return None;
            }
            hits += usize::from(photo.clipped.get(x as usize, y as usize));
        }
    }
    Some(hits as f64 / (n * n) as f64)
}
