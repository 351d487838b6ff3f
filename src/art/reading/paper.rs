//! Paper: from a photo or scan of a drawn or printed sheet to its strokes alone.
//!
//! In linear light a place reflects the paper's light times what the stroke leaves of it; so the light is divided by
//! the background, and what is missing from 1 is the stroke's depth. A blurred edge has half the depth where the stroke
//! ends, so shares of ink are depths over the depth of a full stroke, and strokes keep their weight. Faint pencil has a
//! small full depth and is as solid as ink.

use super::alone::{SheetAlone, alone};
use super::cells::Cells;
use super::edged::edged;
use super::ends::Ends;
use super::ruled::{Ruled, filled, without_ruling};
use super::shade::Shade;
use super::straight::straight;
use crate::colour::{Curve, srgb_to_linear};
use crate::parallel;
use crate::plane::Light;

/// Steps of the histogram of reflectances, of 1.
const STEPS: usize = 500;
/// What lies so many standard deviations of the paper's grain below the paper may be a stroke.
const GRAIN: f64 = 3.0;
/// Of the depths of all that may be stroke, the one that counts as full: above the edges, below the darkest spots.
const FULL: f64 = 0.65;
/// Least depth of a full stroke.
const LEAST_DEPTH: f64 = 0.05;
/// Two neighbouring cells of one sheet differ by no more than this factor.
const GENTLE: f32 = 1.22;
/// What takes this share of the picture's frame lies around the sheet.
const SURROUNDED: f64 = 0.75;

/// The sheet, where it does not fill the picture.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PaperSheet {
    /// What a crop leaves of the picture that shows the sheet alone, where there is one that cuts off nothing of what is drawn.
    pub alone: Option<SheetAlone>,
    /// Where something dark reaches the edge of a sheet that is cut out, in shares of the picture from its left and upper edge.
    pub cut: Option<[f64; 2]>,
    /// Share of the picture that it fills.
    pub share: f64,
    /// What lies around it.
    pub around: AroundSheet,
}

/// What lies around a sheet of paper.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum AroundSheet {
    /// What the sheet lies on: it is left out.
    Table,
    /// What may as well be the same sheet in a sharp shadow: it is kept.
    Shadow,
    /// What may as well be drawn, as its edge is not straight as that of a sheet: it is kept as ink.
    Drawn,
    /// What is as light as the sheet and yet seems to lie around it: it is kept, and the sheet's edges are marked.
    Unclear,
}

/// The strokes on paper as dark ink on white: code 1 − share of ink, as linear light; its sheet, where that ends in the picture;
/// and the ruling of the paper that is left out.
pub fn flattened(light: &Light) -> (Light, Option<PaperSheet>, Option<Ruled>) {
    let (w, h) = (light.width(), light.height());
    let mut ground = Shade::of(w, h, light.data());
    let inside = sheet(&ground, light.data());
    let around_it = inside.as_ref().map(|s| s.sheet.around);
    if let Some(inside) = &inside
        && matches!(inside.sheet.around, AroundSheet::Drawn | AroundSheet::Table)
    {
        ground.carry(&inside.cells);
    }
    let left_out = inside.as_ref().filter(|_| around_it == Some(AroundSheet::Table));
    let ends = left_out.map(|s| Ends::of(&ground, light.data(), (w, h), &s.cells));
    let Cells { columns, rows } = ground.cells();
    let cell_of = |x: usize, y: usize| (y * rows / h.max(1)) * columns + x * columns / w.max(1);
    let mut depth = vec![0.0f32; w * h];
    parallel::bands(&mut depth, w, 16, |first, band| {
        let mut row = vec![0.0f32; w];
        for (i, out) in band.chunks_exact_mut(w).enumerate() {
            let y = first + i;
            ground.row(y, &mut row);
            for (x, ((d, &l), &g)) in out.iter_mut().zip(light.row(y)).zip(&row).enumerate() {
                let on_sheet = ends.as_ref().is_none_or(|ends| ends.has((x, y), (w, h)));
                *d = if on_sheet { l / g.max(1e-4) } else { f32::NAN };
            }
        }
    });
    let (paper, grain) = bare_paper(&depth);
    let filled = filled(&depth, w);
    // From reflectance to depth below the paper; beyond the sheet there is none.
    parallel::bands(&mut depth, w, 16, |_, band| {
        band.iter_mut().for_each(|d| *d = if d.is_nan() { 0.0 } else { 1.0 - *d / paper as f32 });
    });
    let ruled = without_ruling(&mut depth, (w, h), filled, (GRAIN * grain) as f32);
    // What reaches past the paper is as strong as it is beside the strokes on it.
    let strokes = inside.as_ref().filter(|_| around_it == Some(AroundSheet::Drawn)).map(|inside| {
        let on_sheet = |i: usize| inside.cells[cell_of(i % w, i / w)];
        depth.iter().enumerate().map(|(i, d)| if on_sheet(i) { *d } else { 0.0 }).collect::<Vec<f32>>()
    });
    let full = full_depth(strokes.as_ref().unwrap_or(&depth), (w, h), grain);
    let low = (GRAIN * grain).clamp(0.03 * full, 0.35 * full);
    let (low, span) = (low as f32, (full - 2.0 * low) as f32);
    let mut out = vec![0.0f32; w * h];
    let white = Curve::new(|ink| srgb_to_linear(1.0 - ink));
    parallel::bands(&mut out, w, 16, |first, band| {
        for (i, line) in band.chunks_exact_mut(w).enumerate() {
            let y = first + i;
            for (x, v) in line.iter_mut().enumerate() {
                let mut ink = ((depth[y * w + x] - low) / span).clamp(0.0, 1.0);
                // A speck of grain has no neighbours.
                if ink > 0.0 && around(&depth, w, h, x, y) < 0.5 * low {
                    ink = 0.0;
                }
                *v = white.at(ink);
            }
        }
    });
    let sheet = inside.map(|s| {
        let Some(ends) = &ends else {
            return PaperSheet { alone: alone(&s.within, &s.cells, ground.cells(), (&out, w)), ..s.sheet };
        };
        let cut = ends.cut(&out, w);
        // A cell that lies on the table in part is grey of its edge, not of a stroke.
        let whole = ends.whole();
        let alone = alone(&whole, &whole, ground.cells(), (&out, w)).filter(|_| cut.is_none());
        PaperSheet { alone, cut, share: ends.share(), ..s.sheet }
    });
    let sheet = sheet.or_else(|| {
        let unclear = PaperSheet { alone: None, cut: None, share: 1.0, around: AroundSheet::Unclear };
        edged(light.data(), &out, (w, h)).then_some(unclear)
    });
    (Light::from_vec(w, h, out), sheet, ruled)
}

/// The mean depth of the eight places around one.
fn around(depth: &[f32], w: usize, h: usize, x: usize, y: usize) -> f32 {
    let (mut sum, mut n) = (0.0f32, 0.0f32);
    for j in y.saturating_sub(1)..(y + 2).min(h) {
        for i in x.saturating_sub(1)..(x + 2).min(w) {
            if (i, j) != (x, y) {
                sum += depth[j * w + i];
                n += 1.0;
            }
        }
    }
    sum / n.max(1.0)
}

/// The reflectance of bare paper against the background (its commonest), and its grain's standard deviation, from what
/// is lighter than that: strokes are darker.
pub(super) fn bare_paper(reflectance: &[f32]) -> (f64, f64) {
    let mut bins = vec![0u64; 2 * STEPS];
    for r in reflectance.iter().filter(|r| !r.is_nan()) {
        bins[((r * STEPS as f32) as usize).min(2 * STEPS - 1)] += 1;
    }
    // As wide as grain is, so that the middle of an even spread is found and not one of its humps.
    let mass = |i: usize| bins[i.saturating_sub(12)..(i + 13).min(bins.len())].iter().sum::<u64>();
    let mode = (STEPS * 7 / 10..2 * STEPS).max_by_key(|&i| (mass(i), std::cmp::Reverse(i))).unwrap_or(STEPS);
    let above: u64 = bins[mode..].iter().sum();
    let mut gone = 0;
    let sigma = bins[mode..]
        .iter()
        .position(|n| {
            gone += n;
            gone as f64 >= 0.683 * above as f64
        })
        .unwrap_or(1);
    ((mode as f64 + 0.5) / STEPS as f64, (sigma as f64 + 0.5) / STEPS as f64)
}

/// The depth of a full stroke.
fn full_depth(depth: &[f32], (w, h): (usize, usize), grain: f64) -> f64 {
    let from = (4.0 * grain).max(0.04);
    let mut bins = vec![0u64; STEPS + 1];
    for (i, &d) in depth.iter().enumerate().filter(|(_, d)| f64::from(**d) > from) {
        // Grain has no neighbours; a stroke has, were it only two elements wide.
        if f64::from(around(depth, w, h, i % w, i / w)) > 0.7 * from {
            bins[((d * STEPS as f32) as usize).min(STEPS)] += 1;
        }
    }
    let all: u64 = bins.iter().sum();
    // Hardly a stroke: what little there is must not be blown up.
    if all * 20_000 < depth.len() as u64 {
        return 1.0;
    }
    let mut gone = 0;
    let at = bins.iter().position(|n| {
        gone += n;
        gone as f64 >= FULL * all as f64
    });
    (at.unwrap_or(STEPS) as f64 / STEPS as f64).max(LEAST_DEPTH)
}

struct Inside {
    cells: Vec<bool>,
    /// With one more cell all around, which is still the sheet's.
    within: Vec<bool>,
    sheet: PaperSheet,
}

/// The cells of the sheet, where it does not fill the picture.
fn sheet(ground: &Shade, picture: &[f32]) -> Option<Inside> {
    let grid = ground.cells();
    let Cells { columns, rows } = grid;
    let light = ground.light();
    let steps = ground.steps();
    // From each cell of the picture's middle, the lightest first, over gentle steps; the first large patch is the sheet.
    let mut order: Vec<usize> = (0..light.len())
        .filter(|i| {
            let (c, r) = (i % columns, i / columns);
            (columns / 4..columns - columns / 4).contains(&c) && (rows / 4..rows - rows / 4).contains(&r)
        })
        .collect();
    order.sort_by(|&a, &b| light[b].total_cmp(&light[a]).then(a.cmp(&b)));
    // Light falls off gently on the sheet, or in a shadow over a soft edge; at the sheet's edge it steps at once, and there
    // the spreading ends.
    let mut seen = steps;
    for start in order {
        if seen[start] {
            continue;
        }
        let patch = spread(ground, start, &mut seen);
        if patch.len() * 5 < light.len() {
            continue;
        }
        let mut cells = vec![false; light.len()];
        patch.iter().for_each(|&i| cells[i] = true);
        fill_holes(&mut cells, grid);
        let full = cells.iter().filter(|c| **c).count();
        if full as f64 > 0.97 * light.len() as f64 {
            return None;
        }
        // A table is darker than the sheet on it or lighter, not the same paper in the shade of a hand.
        let mean = |want: bool| {
            let of: Vec<f32> =
                light.iter().zip(&cells).filter(|(_, c)| **c == want).map(|(l, _)| *l).collect();
            of.iter().sum::<f32>() / of.len().max(1) as f32
        };
        let ratio = mean(true) / mean(false).max(1e-4);
        if (0.75..1.33).contains(&ratio) {
            return None;
        }
        let others: Vec<bool> = cells.iter().map(|c| !c).collect();
        let around = (0..cells.len()).filter(|&i| grid.at_edge(i) && others[i]).count();
        let frame = (0..cells.len()).filter(|&i| grid.at_edge(i)).count();
        let inner = shrunk(&cells, grid, 2);
        // A shadow crosses the paper: it does not surround it. Half a drawing that is lost is worse than a table's edge
        // that is marked.
        let surrounded = around as f64 >= SURROUNDED * frame as f64;
        let around = if surrounded {
            AroundSheet::Table
        } else if ground.alike(picture, &inner, &shrunk(&others, grid, 2)) {
            AroundSheet::Shadow
        } else if ratio < 1.0 || straight(ground, &cells) {
            AroundSheet::Table
        } else {
            AroundSheet::Drawn
        };
        let within = shrunk(&cells, grid, 1);
        let cells = inner;
        let share = cells.iter().filter(|c| **c).count() as f64 / cells.len() as f64;
        if share < 0.1 {
            return None;
        }
        return Some(Inside { cells, within, sheet: PaperSheet { alone: None, cut: None, share, around } });
    }
    None
}

fn spread(ground: &Shade, start: usize, seen: &mut [bool]) -> Vec<usize> {
    let light = ground.light();
    let mut patch = vec![start];
    seen[start] = true;
    ground.cells().flood(vec![start], |i, j| {
        let (a, b) = (light[i].max(1e-4), light[j].max(1e-4));
        let gentle = a / b < GENTLE && b / a < GENTLE;
        let enters = !seen[j] && (gentle || ground.softly(i, j));
        if enters {
            seen[j] = true;
            patch.push(j);
        }
        enters
    });
    patch
}

/// What the border cannot be reached from is inside too.
fn fill_holes(cells: &mut [bool], grid: Cells) {
    let mut outside = vec![false; cells.len()];
    let begin: Vec<usize> = (0..cells.len()).filter(|&i| grid.at_edge(i) && !cells[i]).collect();
    begin.iter().for_each(|&i| outside[i] = true);
    grid.flood(begin, |_, j| !cells[j] && !std::mem::replace(&mut outside[j], true));
    cells.iter_mut().zip(outside).for_each(|(c, o)| *c = !o);
}

/// So many cells less all around, where it does not end at the picture's own edge: the sheet's edge is no stroke.
fn shrunk(cells: &[bool], Cells { columns, rows }: Cells, by: usize) -> Vec<bool> {
    (0..cells.len())
        .map(|i| {
            let (c, r) = (i % columns, i / columns);
            let mut ys = r.saturating_sub(by)..(r + by + 1).min(rows);
            ys.all(|y| (c.saturating_sub(by)..(c + by + 1).min(columns)).all(|x| cells[y * columns + x]))
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::colour::linear_to_srgb;

    fn grain(i: usize) -> f32 {
        let h = (i as u32).wrapping_mul(0x9E37_79B1);
        let h = (h ^ (h >> 15)).wrapping_mul(0x2C1B_3C6D);
        ((h >> 8) & 0xFFFF) as f32 / 65535.0 - 0.5
    }

    fn ink(light: &Light, x: usize, y: usize) -> f64 {
        1.0 - linear_to_srgb(f64::from(light.row(y)[x]))
    }

    /// A sheet in uneven light with strokes 5 wide of `depth`, every 50, and grain.
    fn sketch(w: usize, h: usize, depth: f32, table: bool) -> Light {
        let data = (0..w * h)
            .map(|i| {
                let (x, y) = (i % w, i / w);
                let off = table && (x < w / 8 || x >= w - w / 8 || y < h / 8 || y >= h - h / 8);
                let shade = 0.8 - 0.5 * x as f32 / w as f32 - 0.1 * y as f32 / h as f32;
                let stroke = x % 50 < 5 && x > w / 6 && x < w - w / 6 && y > h / 6 && y < h - h / 6;
                let paper = if off {
                    0.2
                } else if stroke {
                    1.0 - depth
                } else {
                    1.0
                };
                shade * paper * (1.0 + 0.05 * grain(i))
            })
            .collect();
        Light::from_vec(w, h, data)
    }

    #[test]
    fn paper_becomes_bare_and_faint_strokes_solid_whatever_the_light() {
        for depth in [0.2, 0.5, 0.95] {
            let (out, sheet, _) = flattened(&sketch(800, 600, depth, false));
            assert!(sheet.is_none());
            let (mut bare, mut solid, mut strokes) = (0, 0, 0);
            for y in 120..480 {
                for x in 160..640 {
                    if x % 50 < 5 {
                        strokes += 1;
                        solid += usize::from(ink(&out, x, y) > 0.7);
                    } else {
                        bare += usize::from(ink(&out, x, y) < 0.05);
                    }
                }
            }
            assert!(solid as f64 > 0.9 * strokes as f64, "{depth}: {solid} of {strokes}");
            assert!(bare as f64 > 0.995 * (360.0 * 480.0 - strokes as f64), "{depth}: {bare}");
        }
    }

    #[test]
    fn what_lies_around_the_sheet_is_left_bare() {
        let (out, sheet, _) = flattened(&sketch(800, 600, 0.6, true));
        let sheet = sheet.unwrap();
        assert!((0.4..0.6).contains(&sheet.share), "{sheet:?}");
        for (x, y) in [(20, 300), (100, 300), (400, 75), (780, 590), (700, 300)] {
            assert!(ink(&out, x, y) < 0.05, "{x} {y}");
        }
        assert!(ink(&out, 402, 300) > 0.7);
    }

    #[test]
    fn a_crop_to_a_sheet_that_lies_askew_has_nothing_of_the_table_in_it() {
        let (w, h) = (800, 600);
        // Narrower above than below, as a camera that is held askew sees it.
        let on_sheet = |x: f64, y: f64| {
            let in_by = 60.0 + 0.1 * (600.0 - y);
            (in_by..800.0 - in_by).contains(&x) && (60.0..540.0).contains(&y)
        };
        let sheet_with = |stroke: fn(usize, usize) -> bool| {
            let data = (0..w * h).map(|i| {
                let (x, y) = (i % w, i / w);
                let paper = if stroke(x, y) { 0.2 } else { 0.8 };
                let light = if on_sheet(x as f64, y as f64) { paper } else { 0.15 };
                light * (1.0 + 0.05 * grain(i))
            });
            flattened(&Light::from_vec(w, h, data.collect())).1.unwrap()
        };
        let small = |x: usize, y: usize| x % 50 < 5 && (250..550).contains(&x) && (200..400).contains(&y);
        let sheet = sheet_with(small);
        let found = sheet.alone.unwrap();
        let [left, top, right, bottom] = found.most;
        for (x, y) in [(left, top), (right, top), (left, bottom), (right, bottom)] {
            assert!(on_sheet(x * 800.0, y * 600.0), "{sheet:?}");
        }
        let [l, t, r, b] = found.inked;
        assert!(left <= l && top <= t && right >= r && bottom >= b && (l - 0.3125).abs() < 0.03, "{sheet:?}");
        assert!((right - left) * (bottom - top) > 0.35, "{sheet:?}");
        // A ground line as wide as the sheet is below, under a sun at its upper edge: every box without the table cuts one.
        let wide = |x: usize, y: usize| {
            (480..486).contains(&y) && (110..690).contains(&x)
                || (110..140).contains(&y) && (380..420).contains(&x)
        };
        assert_eq!(sheet_with(wide).alone, None);
    }

    /// A sheet that fills the picture, with strokes 4 wide every 60 across it, under a shadow that leaves `left` of the light
    /// at places where `within` (pixels from the shadow's edge) is over 0; its edge takes some four times `soft` pixels.
    fn shadowed(left: f32, soft: f32, within: impl Fn(f32, f32) -> f32) -> Light {
        let (w, h) = (800, 600);
        let data = (0..w * h)
            .map(|i| {
                let (x, y) = ((i % w) as f32, (i / w) as f32);
                let shade = 1.0 - (1.0 - left) / (1.0 + (-within(x, y) / soft).exp());
                0.7 * shade * if stroke(i % w, i / w) { 0.5 } else { 1.0 } * (1.0 + 0.05 * grain(i))
            })
            .collect();
        Light::from_vec(w, h, data)
    }

    fn stroke(x: usize, y: usize) -> bool {
        (x + y / 3) % 60 < 4 && (60..540).contains(&y)
    }

    /// The share of strokes that are kept, and of the paper that is marked.
    fn kept(out: &Light) -> (f64, f64) {
        let (mut strokes, mut solid, mut bare, mut marked) = (0, 0, 0, 0);
        for y in 0..600 {
            for x in 0..800 {
                if stroke(x, y) {
                    strokes += 1;
                    solid += usize::from(ink(out, x, y) > 0.5);
                } else if !(58..=542).contains(&y) || (6..54).contains(&((x + y / 3) % 60)) {
                    bare += 1;
                    marked += usize::from(ink(out, x, y) > 0.2);
                }
            }
        }
        (f64::from(solid as u32) / f64::from(strokes), f64::from(marked as u32) / f64::from(bare))
    }

    #[test]
    fn a_soft_shadow_across_the_sheet_is_no_table_and_marks_nothing() {
        type Within = fn(f32, f32) -> f32;
        let shapes: [(&str, Within); 4] = [
            ("below", |x, y| y - 250.0 - 0.3 * x),
            ("left", |x, _| 330.0 - x),
            ("round, in a corner", |x, y| 400.0 - ((x - 800.0) / 1.3).hypot(y - 650.0)),
            ("round, above", |x, y| 330.0 - ((x - 450.0) / 1.4).hypot(y + 50.0)),
        ];
        for (name, within) in shapes {
            for (left, soft) in [(0.37, 12.0), (0.22, 20.0), (0.25, 30.0), (0.5, 8.0)] {
                let (out, sheet, _) = flattened(&shadowed(left, soft, within));
                assert!(sheet.is_none(), "{name} {left} {soft}: {sheet:?}");
                let (solid, marked) = kept(&out);
                assert!(solid > 0.97 && marked < 0.004, "{name} {left} {soft}: {solid} {marked}");
            }
        }
    }

    #[test]
    fn beyond_a_sharp_edge_strokes_of_the_same_look_are_kept() {
        let (out, sheet, _) = flattened(&shadowed(0.45, 0.7, |x, y| y - 250.0 - 0.3 * x));
        let sheet = sheet.unwrap();
        assert!(sheet.around == AroundSheet::Shadow && (0.4..0.7).contains(&sheet.share), "{sheet:?}");
        let (solid, marked) = kept(&out);
        assert!(solid > 0.97 && marked < 0.02, "{solid} {marked}");
    }

    /// Strokes on a sheet that the picture cuts off on two sides, somewhat out of focus, and `table` where it ends.
    fn on_table(table: impl Fn(usize, usize) -> f32) -> Light {
        let (w, h) = (800, 600);
        // How much of a place the sheet covers, from 0 to 1, at an edge that blurs over some eight pixels.
        let covers = |at: f32| 1.0 / (1.0 + (at / 1.3).exp());
        let data = (0..w * h)
            .map(|i| {
                let (x, y) = (i % w, i / w);
                let on =
                    covers(x as f32 - 560.0 - 0.05 * y as f32) * covers(y as f32 - 480.0 + 0.04 * x as f32);
                let inked = stroke(x, y) && x < 500 && y < 400;
                let paper = if inked { 0.4 } else { 0.8 };
                let shade = 1.0 - 0.3 * x as f32 / w as f32;
                (on * paper + (1.0 - on) * table(x, y)) * shade * (1.0 + 0.05 * grain(i))
            })
            .collect();
        Light::from_vec(w, h, data)
    }

    #[test]
    fn a_table_is_left_bare_where_the_sheet_reaches_past_the_picture() {
        type Table = fn(usize, usize) -> f32;
        let tables: [(&str, Table); 3] = [
            ("grey", |_, _| 0.25),
            ("planks", |x, y| if y % 45 < 3 { 0.08 } else { 0.2 + 0.05 * ((x + 7 * y) as f32 * 0.31).sin() }),
            ("cloth", |x, y| 0.15 + 0.05 * (x as f32 * 0.9).sin() * (y as f32 * 0.9).sin()),
        ];
        for (name, table) in tables {
            let (out, sheet, _) = flattened(&on_table(table));
            let sheet = sheet.unwrap();
            assert!(
                sheet.around == AroundSheet::Table && (0.4..0.62).contains(&sheet.share),
                "{name}: {sheet:?}"
            );
            let beyond = (0..600).flat_map(|y| (620..800).map(move |x| (x, y)));
            assert!(beyond.into_iter().all(|(x, y)| ink(&out, x, y) < 0.05), "{name}");
        }
    }

    #[test]
    fn a_shadow_across_sheet_and_table_does_not_cut_the_sheet() {
        let (w, h) = (800, 600);
        let art = sketch(w, h, 0.6, true);
        let data = art.data().iter().enumerate().map(|(i, l)| {
            let within = (i / w) as f32 - 300.0;
            l * (1.0 - 0.6 / (1.0 + (-within / 12.0).exp()))
        });
        let (out, sheet, _) = flattened(&Light::from_vec(w, h, data.collect()));
        let sheet = sheet.unwrap();
        assert!(sheet.around == AroundSheet::Table && (0.4..0.6).contains(&sheet.share), "{sheet:?}");
        assert!(ink(&out, 402, 200) > 0.7 && ink(&out, 402, 450) > 0.7 && ink(&out, 430, 450) < 0.05);
        assert!((300..340).all(|y| ink(&out, 430, y) < 0.05));
    }

    #[test]
    fn a_solid_of_ink_that_a_shadow_crosses_stays_solid() {
        let (w, h) = (800, 600);
        let data = (0..w * h)
            .map(|i| {
                let (x, y) = ((i % w) as f32, (i / w) as f32);
                let shade = 1.0 - 0.6 / (1.0 + (-(y - 250.0) / 12.0).exp());
                let inked = (x - 400.0).hypot(y - 260.0) < 110.0;
                0.7 * shade * if inked { 0.08 } else { 1.0 } * (1.0 + 0.05 * grain(i))
            })
            .collect();
        let (out, sheet, _) = flattened(&Light::from_vec(w, h, data));
        assert!(sheet.is_none());
        assert!((160..360).all(|y| ink(&out, 400, y) > 0.8));
        assert!((0..600).all(|y| ink(&out, 200, y) < 0.05));
    }

    #[test]
    fn a_wash_that_reaches_the_edge_of_the_picture_is_kept_as_ink() {
        let (w, h) = (800, 600);
        type Washed = fn(f32, f32) -> bool;
        let washes: [(&str, Washed); 3] = [
            ("sea", |x, y| y > 450.0 + 8.0 * (x / 36.0).sin()),
            ("rock", |x, y| ((x - 400.0) / 1.9).hypot(y - 600.0) < 130.0),
            ("quay", |x, y| x > 640.0 && y > 400.0),
        ];
        for (name, washed) in washes {
            for strength in [0.5, 0.78, 0.95] {
                let data = (0..w * h)
                    .map(|i| {
                        let (x, y) = ((i % w) as f32, (i / w) as f32);
                        let line =
                            i % w % 50 < 5 && (100.0..380.0).contains(&y) && (100.0..600.0).contains(&x);
                        let left = match (washed(x, y), line) {
                            (true, _) => 1.0 - strength,
                            (_, true) => 0.25,
                            _ => 1.0,
                        };
                        (0.8 - 0.2 * x / w as f32) * left * (1.0 + 0.05 * grain(i))
                    })
                    .collect();
                let (out, sheet, _) = flattened(&Light::from_vec(w, h, data));
                let sheet = sheet.unwrap();
                assert_eq!(sheet.around, AroundSheet::Drawn, "{name} {strength}: {sheet:?}");
                let (x, y) = if name == "quay" { (720, 500) } else { (400, 560) };
                assert!(ink(&out, x, y) > 0.2, "{name} {strength}: {}", ink(&out, x, y));
                assert!(ink(&out, 402, 200) > 0.7 && ink(&out, 430, 200) < 0.05, "{name} {strength}");
            }
        }
    }

    #[test]
    fn an_empty_sheet_stays_bare() {
        let (out, ..) = flattened(&sketch(500, 400, 0.0, false));
        let mean =
            (0..400).flat_map(|y| (0..500).map(move |x| (x, y))).map(|(x, y)| ink(&out, x, y)).sum::<f64>();
        assert!(mean / 200_000.0 < 0.002, "{mean}");
    }

    #[test]
    fn threads_do_not_change_a_byte() {
        let art = sketch(801, 603, 0.4, true);
        let one = parallel::with_threads(1, || flattened(&art));
        assert!([2, 3, 7].into_iter().all(|n| parallel::with_threads(n, || flattened(&art)) == one));
    }
}
