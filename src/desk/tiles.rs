//! Tiles: what the loupe looks at, a window of the piece in one of six ways.

use serde::Deserialize;

use super::exact::Exact;
use super::piece::Piece;
use super::places::{Seen, scene};
use super::says::Says;
use super::texts::say;
use crate::art::Likeness;
use crate::job::Plan;
use crate::mark::exposure::fine;
use crate::mark::{Burn, Forecast};
use crate::pipeline::Drawable;
use crate::placement::{DotRect, Grid};
use crate::plane::{Dots, Tone};
use crate::progress::Silent;
use crate::proof::canvas::{Picture, Rgb, blend};
use crate::proof::ground::{self, BENCH, hatch};
use crate::proof::layout::{Layout, Look};
use crate::proof::{picture, scale};
use crate::units::Mm;

/// What is looked at.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "lowercase")]
pub(super) enum What {
    /// The art as it was brought, in its colours, where it lies.
    Original,
    /// The wanted mark.
    Wanted,
    /// How it is forecast to look.
    Forecast,
    /// The dots, black where the beam is on.
    Dots,
    /// How densely they lie.
    Density,
    /// How near each place is to over-burn.
    Overburn,
}

/// The finest a dot is looked at: samples a side.
const FINEST: usize = 8;
/// Entries of the table from exposure to look.
const ENTRIES: usize = 2048;

/// A window of a piece as PNG.
///
/// # Errors
/// Where the picture cannot be made.
pub(super) fn tile(exact: &Exact, what: What, seen: &Seen) -> Result<Vec<u8>, Says> {
    let plan = &exact.piece.plan;
    let stages = &exact.outcome.stages;
    let rect = &stages.placement.rect;
    let layout = seen.layout();
    let picture = match what {
        What::Original => match (&exact.outcome.original, exact.piece.art()) {
            (Some(likeness), Some(_)) => original(plan, exact, likeness, &layout),
            _ => wanted(exact, seen, &layout)?,
        },
        What::Wanted => wanted(exact, seen, &layout)?,
        What::Forecast if stages.sums.is_none() || coarser(seen, rect, &stages.look) => {
            picture::piece(&scene(plan, rect), &layout, &stages.look)?
        }
        What::Forecast => match window(rect, seen) {
            Some(near) => {
                let look = close(&plan.burn, &stages.dots, &near, seen);
                picture::piece(&scene(plan, &near.rect), &layout, &look)?
            }
            None => picture::piece(&scene(plan, rect), &layout, &stages.look)?,
        },
        What::Dots => dots(plan, &stages.dots, rect, seen, &layout)?,
        What::Density => {
            let plane = exact.coverage();
            samples(plan, exact, &layout, |i, _, _| {
                scale::colour(f64::from(plane.get(i).copied().unwrap_or(0.0)))
            })
        }
        What::Overburn => samples(plan, exact, &layout, |i, x, y| match stages.dose.get(i) {
            Some(dose) if *dose >= 1.0 => hatch(x, y, 5),
            Some(dose) => scale::colour(f64::from(*dose) * 0.9),
            None => scale::colour(0.0),
        }),
    };
    Ok(picture.to_png(None)?)
}

/// A part of the dots, as it lies.
struct Near {
    columns: std::ops::Range<usize>,
    rows: std::ops::Range<usize>,
    rect: DotRect,
}

/// The dots that a window shows.
fn window(rect: &DotRect, seen: &Seen) -> Option<Near> {
    let part = |from: f64, size: f64, start: f64, pitch: f64, count: usize| {
        let first = ((from - start) / pitch).floor().max(0.0) as usize;
        let end = ((from + size - start) / pitch).ceil().max(0.0) as usize;
        first.min(count)..end.min(count)
    };
    let columns = part(seen.x, seen.w, rect.left.0, rect.grid.along.0, rect.columns);
    let rows = part(seen.y, seen.rows() as f64 * seen.pixel(), rect.top.0, rect.grid.across.0, rect.rows);
    if columns.is_empty() || rows.is_empty() {
        return None;
    }
    let part = DotRect {
        left: Mm(rect.left.0 + columns.start as f64 * rect.grid.along.0),
        top: Mm(rect.top.0 + rows.start as f64 * rect.grid.across.0),
        columns: columns.len(),
        rows: rows.len(),
        grid: rect.grid,
    };
    Some(Near { columns, rows, rect: part })
}

/// Whether a window is looked at from so far that the outcome's own picture shows all of it.
fn coarser(seen: &Seen, rect: &DotRect, look: &Look) -> bool {
    let sample = (look.step_along * rect.grid.along.0).max(look.step_across * rect.grid.across.0);
    seen.pixel() > 0.9 * sample
}

/// The forecast of a part, as finely as a pixel shows it.
fn close(burn: &Burn, dots: &Dots, near: &Near, seen: &Seen) -> Look {
    let grid = near.rect.grid;
    let over = (grid.along.0.min(grid.across.0) / seen.pixel()).ceil().clamp(2.0, FINEST as f64) as usize;
    let exposure = fine(dots, burn, near.columns.clone(), near.rows.clone(), over);
    let most = exposure.data().iter().fold(1e-6f32, |most, v| most.max(*v));
    let table: Vec<f32> = (0..=ENTRIES)
        .map(|i| burn.response.look(f64::from(most) * i as f64 / ENTRIES as f64 * burn.x_solid) as f32)
        .collect();
    let looked = |e: f32| {
        let at = (e / most).clamp(0.0, 1.0) * ENTRIES as f32;
        let i = (at as usize).min(ENTRIES - 1);
        table[i] + (at - i as f32) * (table[i + 1] - table[i])
    };
    let from = burn.over_burn_from() as f32;
    let burnt = |e: &f32| if *e >= from { 1.0 } else { 0.0 };
    Look {
        columns: exposure.width(),
        rows: exposure.height(),
        step_along: 1.0 / over as f64,
        step_across: 1.0 / over as f64,
        over_burn: if most >= from { exposure.data().iter().map(burnt).collect() } else { Vec::new() },
        luminance: exposure.data().iter().map(|e| looked(*e)).collect(),
    }
}

fn dots(plan: &Plan, dots: &Dots, rect: &DotRect, seen: &Seen, layout: &Layout) -> Result<Picture, Says> {
    let paper = |rect, look: &Look| {
        let scene = picture::Scene { y_unmarked: 1.0, y_marked: 0.0, ..scene(plan, rect) };
        let fill = picture::row_of_look(&scene, layout, look)?;
        Ok(ground::paint(layout, &plan.blank, None, true, fill))
    };
    let Some(near) = window(rect, seen) else {
        let none = Look {
            columns: 0,
            rows: 0,
            step_along: 1.0,
            step_across: 1.0,
            luminance: vec![],
            over_burn: vec![],
        };
        return paper(&DotRect { columns: 0, rows: 0, ..*rect }, &none);
    };
    let step = |pitch: f64| ((seen.pixel() / pitch).floor() as usize).max(1);
    let blocks =
        Layout { step_along: step(rect.grid.along.0), step_across: step(rect.grid.across.0), ..*layout };
    let look = Look::of_dots(&dots.part(near.columns.clone(), near.rows.clone()), &blocks, 1.0, 0.0);
    paper(&near.rect, &look)
}

fn wanted(exact: &Exact, seen: &Seen, layout: &Layout) -> Result<Picture, Says> {
    let plan = &exact.piece.plan;
    let rect = &exact.outcome.stages.placement.rect;
    let tone = exact.wanted().ok_or_else(|| Says::unusable(say("says.piece.wanted")))?;
    match window(rect, seen) {
        Some(near) => {
            let part = tone.part(near.columns.clone(), near.rows.clone());
            Ok(picture::plain(&scene(plan, &near.rect), layout, &look_of(plan, &part, 1.0))?)
        }
        None => Ok(picture::plain(&scene(plan, rect), layout, &look_of(plan, tone, 1.0))?),
    }
}

/// The look of a wanted mark, of which nothing above `most` is reached.
pub(super) fn look_of(plan: &Plan, tone: &Tone, most: f32) -> Look {
    let r = &plan.burn.response;
    let (bare, full) = (r.y_unmarked as f32, r.y_marked as f32);
    Look {
        columns: tone.width(),
        rows: tone.height(),
        step_along: 1.0,
        step_across: 1.0,
        luminance: tone.data().iter().map(|&a| bare + a.clamp(0.0, most) * (full - bare)).collect(),
        over_burn: Vec::new(),
    }
}

/// A picture of the outcome's samples, each in a colour of its own: number, column and row of the pixel.
fn samples(
    plan: &Plan,
    exact: &Exact,
    layout: &Layout,
    colour: impl Fn(usize, usize, usize) -> Rgb + Sync + Send,
) -> Picture {
    let stages = &exact.outcome.stages;
    let (rect, steps) = (&stages.placement.rect, &stages.layout);
    let (columns, rows) = steps.samples(rect);
    let sizes = (rect.grid.along.0 * steps.step_along as f64, rect.grid.across.0 * steps.step_across as f64);
    let under = |i: usize, from: f64, start: f64, size: f64, count: usize| {
        let at = (from + (i as f64 + 0.5) * layout.pixel - start) / size;
        (at >= 0.0 && (at as usize) < count).then_some(at as usize)
    };
    let across: Vec<Option<usize>> =
        (0..layout.width).map(|x| under(x, layout.left, rect.left.0, sizes.0, columns)).collect();
    let none = scale::colour(0.0);
    ground::paint(layout, &plan.blank, None, true, |y, row| {
        let here = under(y, layout.top, rect.top.0, sizes.1, rows);
        for (x, pixel) in row.chunks_exact_mut(3).enumerate() {
            let shown = match (here, across[x]) {
                (Some(r), Some(c)) => colour(r * columns + c, x, y),
                _ => none,
            };
            pixel.copy_from_slice(&shown);
        }
    })
}

/// The art in its colours where it lies.
fn original(plan: &Plan, exact: &Exact, l: &Likeness, layout: &Layout) -> Picture {
    let placement = &exact.outcome.stages.placement;
    let rect = &placement.rect;
    let (turn, mirror, crop) = (plan.art.turn, plan.art.mirror, plan.art.crop.window());
    let at = |mm: f64, start: f64, size: f64| (mm - start) / size;
    let sample = |u: f64, v: f64| -> [f32; 4] {
        let (u, v) = crop.at(turn.back(mirror, placement.window.at((u, v))));
        let place = |share: f64, n: usize| (share * n as f64 - 0.5).clamp(0.0, (n - 1) as f64);
        let (x, y) = (place(u, l.width), place(v, l.height));
        let (x0, y0) = (x as usize, y as usize);
        let (fx, fy) = ((x - x0 as f64) as f32, (y - y0 as f64) as f32);
        let (x1, y1) = ((x0 + 1).min(l.width - 1), (y0 + 1).min(l.height - 1));
        let code = |x: usize, y: usize, c: usize| f32::from(l.rgba[4 * (y * l.width + x) + c]);
        std::array::from_fn(|c| {
            let upper = code(x0, y0, c) * (1.0 - fx) + code(x1, y0, c) * fx;
            upper * (1.0 - fy) + (code(x0, y1, c) * (1.0 - fx) + code(x1, y1, c) * fx) * fy
        })
    };
    ground::paint(layout, &plan.blank, None, true, |y, row| {
        let v = at(layout.top + (y as f64 + 0.5) * layout.pixel, rect.top.0, rect.height());
        for (x, pixel) in row.chunks_exact_mut(3).enumerate() {
            pixel.copy_from_slice(&BENCH);
            let u = at(layout.left + (x as f64 + 0.5) * layout.pixel, rect.left.0, rect.width());
            if (0.0..1.0).contains(&u) && (0.0..1.0).contains(&v) {
                let [r, g, b, a] = sample(u, v);
                blend(pixel, [r, g, b].map(|v| v.round() as u8), a / 255.0);
            }
        }
    })
}

/// The whole piece at once, from small copies, its tones without dots: as PNG, its longer side `px` pixels.
///
/// # Errors
/// As [`Drawable::wanted`].
pub(super) fn coarse(piece: &Piece, px: usize) -> Result<Vec<u8>, Says> {
    let plan = &piece.plan;
    let seen = Seen::whole(plan, px);
    let cell = seen.pixel().max(plan.grid.along.0.max(plan.grid.across.0));
    let (shown, read_as) = piece.quick(plan);
    let rough = Drawable::of(plan).roughly(Grid { along: Mm(cell), across: Mm(cell) }).read_as(&read_as);
    let mut wanted = rough.wanted(shown, &Silent)?;
    wanted.mask(plan);
    let most = Forecast::new(&plan.burn).solid().mark;
    let look = look_of(plan, &wanted.tone, most);
    Ok(picture::piece(&scene(plan, &wanted.placement.rect), &seen.layout(), &look)?.to_png(None)?)
}
