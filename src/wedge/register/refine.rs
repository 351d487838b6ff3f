//! Refine: the camera of the wedge made exact on the edges of its patches, and the lens's distortion from them.

use super::camera::{Camera, Lens};
use super::photo::sample;
use crate::parallel;
use crate::plane::Light;
use crate::wedge::target::{Pattern, TestPatch, Wedge};

/// A patch whose four edges were seen.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Placed {
    /// Its centre on the sheet, mm (y down).
    model: (f64, f64),
    /// Where the photo shows it.
    seen: (f64, f64),
}

/// How well the sheet lies in the photo.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Refined {
    /// The camera.
    pub camera: Camera,
    /// Patches that it rests on.
    pub patches: usize,
    /// Root mean square of what is left between the camera and the patches, mm.
    pub rest: f64,
}

/// Patches needed before they may move the camera.
pub const LEAST: usize = 8;
/// Distortion beyond this is no phone's: the edges are then of something else.
const MOST_K1: f64 = 0.12;

/// Finds the patches' centres from their edges and fits the perspective and the lens to them and to the
/// finder marks (`model` in mm, `seen` in pixels). The patches near the marks come first: each quarter of
/// them lets the next be found where three marks alone would miss it. `None` with fewer than [`LEAST`].
pub fn refine(
    light: &Light,
    wedge: &Wedge,
    start: &Camera,
    model: &[(f64, f64)],
    seen: &[(f64, f64)],
) -> Option<Refined> {
    let height = wedge.blank.height();
    let centre = |p: &TestPatch| (p.centre[0], height - p.centre[1]);
    let far = |p: &TestPatch| {
        let (x, y) = centre(p);
        model.iter().map(|m| libm::hypot(m.0 - x, m.1 - y)).fold(f64::INFINITY, f64::min)
    };
    let mut patches: Vec<&TestPatch> = wedge
        .patches
        .iter()
        .filter(|p| !p.charred)
        .filter(|p| p.pattern == Pattern::Solid || (p.pattern == Pattern::Screen && p.coverage.0 >= 0.5))
        .collect();
    patches.sort_by(|a, b| far(a).total_cmp(&far(b)));
    let reach = reach(wedge)?;
    let mut camera = *start;
    let mut placed = Vec::new();
    // With four marks the camera is near enough everywhere; with three it grows from them.
    let rounds = if model.len() >= 4 { vec![1.0] } else { vec![0.3, 0.55, 0.8, 1.0] };
    for share in rounds {
        let n = (patches.len() as f64 * share).ceil() as usize;
        let near = patches.get(..n.min(patches.len())).unwrap_or(&[]);
        placed =
            parallel::map(near.len(), |i| near.get(i).and_then(|p| place(light, &camera, p, height, reach)))
                .into_iter()
                .flatten()
                .collect();
        if placed.len() + model.len() < 6 {
            continue;
        }
        camera = fit(&mut placed, model, seen, camera.lens)?.0;
    }
    if placed.len() < LEAST {
        return None;
    }
    let (flat, rest_flat) = fit(&mut placed, model, seen, camera.lens)?;
    let (bent, rest_bent) = with_lens(&placed, model, seen, light)?;
    // A fifth less is left, or the lens is not worth its parameter.
    let (camera, rest) = if rest_bent < 0.8 * rest_flat { (bent, rest_bent) } else { (flat, rest_flat) };
    let per_mm = camera.scale((wedge.blank.width() / 2.0, height / 2.0))?;
    Some(Refined { camera, patches: placed.len(), rest: rest / per_mm })
}

/// How far from a patch's edge its profile is looked at, mm: less than half of the narrowest gap.
fn reach(wedge: &Wedge) -> Option<f64> {
    let mut gap = f64::INFINITY;
    let grid = || wedge.patches.iter().filter(|p| !p.charred);
    for p in grid() {
        for q in grid() {
            for axis in 0..2 {
                if q.cell[axis] == p.cell[axis] + 1 && q.cell[1 - axis] == p.cell[1 - axis] {
                    let apart = (q.centre[axis] - p.centre[axis]).abs() - (p.size[axis] + q.size[axis]) / 2.0;
                    gap = gap.min(apart);
                }
            }
        }
    }
    let smallest = grid().map(|p| p.size[0].min(p.size[1])).fold(f64::INFINITY, f64::min);
    let reach = (0.5 * gap).min(0.3 * smallest);
    (reach.is_finite() && reach > 0.15).then_some(reach)
}

/// The middle of a patch from its four edges; `None` where one of them does not show.
fn place(light: &Light, camera: &Camera, patch: &TestPatch, height: f64, reach: f64) -> Option<Placed> {
    let (x, y) = (patch.centre[0], height - patch.centre[1]);
    let [w, h] = patch.size;
    let left = edge(light, camera, (x - w / 2.0, y), (1.0, 0.0), h, reach)?;
    let right = edge(light, camera, (x + w / 2.0, y), (-1.0, 0.0), h, reach)?;
    let top = edge(light, camera, (x, y - h / 2.0), (0.0, 1.0), w, reach)?;
    let bottom = edge(light, camera, (x, y + h / 2.0), (0.0, -1.0), w, reach)?;
    // Growth by beam and blur is the same on both sides and falls out.
    let moved = (x + (left - right) / 2.0, y + (top - bottom) / 2.0);
    let grown = ((left + right) / 2.0).abs().max(((top + bottom) / 2.0).abs());
    (grown < 0.6 * reach).then_some(())?;
    Some(Placed { model: (x, y), seen: camera.project(moved)? })
}

/// How far inside its place an edge lies, mm: from the area under the profile across it, which blur does not
/// move. `inward` points into the patch, `length` is the edge's.
fn edge(
    light: &Light,
    camera: &Camera,
    at: (f64, f64),
    inward: (f64, f64),
    length: f64,
    reach: f64,
) -> Option<f64> {
    const STEPS: usize = 40;
    const ALONG: usize = 13;
    let mut profile = [0.0; STEPS];
    for (i, v) in profile.iter_mut().enumerate() {
        let t = reach * ((i as f64 + 0.5) / STEPS as f64 * 2.0 - 1.0);
        for j in 0..ALONG {
            let s = 0.6 * length * ((j as f64 + 0.5) / ALONG as f64 - 0.5);
            let p = (at.0 + t * inward.0 + s * inward.1, at.1 + t * inward.1 + s * inward.0);
            let (px, py) = camera.project(p)?;
            *v += f64::from(sample(light, px, py)?) / ALONG as f64;
        }
    }
    let mean = |part: &[f64]| part.iter().sum::<f64>() / part.len() as f64;
    let (outside, inside) = (mean(&profile[..STEPS / 5]), mean(&profile[STEPS - STEPS / 5..]));
    let step = inside - outside;
    let noise = profile[..STEPS / 5]
        .iter()
        .map(|v| (v - outside).abs())
        .chain(profile[STEPS - STEPS / 5..].iter().map(|v| (v - inside).abs()))
        .fold(0.0, f64::max);
    if step.abs() < 0.01 || step.abs() < 5.0 * noise {
        return None;
    }
    let area = profile.iter().map(|v| ((v - outside) / step).clamp(-0.5, 1.5)).sum::<f64>() / STEPS as f64;
    Some(reach * (1.0 - 2.0 * area))
}

/// Fits the perspective under a lens, leaves out patches far off, and gives the rest in pixels.
fn fit(
    placed: &mut Vec<Placed>,
    model: &[(f64, f64)],
    seen: &[(f64, f64)],
    lens: Lens,
) -> Option<(Camera, f64)> {
    for _ in 0..2 {
        let camera = through(placed, model, seen, lens)?;
        let away: Vec<f64> = placed.iter().map(|p| distance(&camera, p)).collect();
        let mut sorted = away.clone();
        sorted.sort_by(f64::total_cmp);
        let limit = 4.0 * sorted.get(sorted.len() / 2).copied().unwrap_or(0.0).max(0.25);
        let mut keep = away.iter().map(|a| *a <= limit);
        placed.retain(|_| keep.next().unwrap_or(false));
    }
    let camera = through(placed, model, seen, lens)?;
    Some((camera, rms(&camera, placed)))
}

fn through(placed: &[Placed], model: &[(f64, f64)], seen: &[(f64, f64)], lens: Lens) -> Option<Camera> {
    let from: Vec<(f64, f64)> = model.iter().copied().chain(placed.iter().map(|p| p.model)).collect();
    let to: Vec<(f64, f64)> = seen.iter().copied().chain(placed.iter().map(|p| p.seen)).collect();
    Camera::fit(&from, &to, lens)
}

fn distance(camera: &Camera, p: &Placed) -> f64 {
    camera.project(p.model).map_or(f64::INFINITY, |q| libm::hypot(q.0 - p.seen.0, q.1 - p.seen.1))
}

fn rms(camera: &Camera, placed: &[Placed]) -> f64 {
    let squares: f64 = placed.iter().map(|p| distance(camera, p)).map(|d| d * d).sum();
    (squares / placed.len().max(1) as f64).sqrt()
}

/// The lens that leaves least, by golden section over its coefficient.
fn with_lens(
    placed: &[Placed],
    model: &[(f64, f64)],
    seen: &[(f64, f64)],
    light: &Light,
) -> Option<(Camera, f64)> {
    let at = |k1: f64| -> Option<(Camera, f64)> {
        let camera = through(placed, model, seen, Lens::new(light.width(), light.height(), k1))?;
        let marks = model.iter().zip(seen).map(|(&m, &s)| Placed { model: m, seen: s });
        let all: Vec<Placed> = placed.iter().copied().chain(marks).collect();
        Some((camera, rms(&camera, &all)))
    };
    let ratio = (5f64.sqrt() - 1.0) / 2.0;
    let (mut low, mut high) = (-MOST_K1, MOST_K1);
    for _ in 0..24 {
        let (a, b) = (high - ratio * (high - low), low + ratio * (high - low));
        if at(a)?.1 < at(b)?.1 { high = b } else { low = a }
    }
    let (camera, _) = at((low + high) / 2.0)?;
    Some((camera, rms(&camera, placed)))
}
