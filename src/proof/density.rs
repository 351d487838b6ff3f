//! `density.png`: how densely the dots lie, place by place.

use super::canvas::{Picture, ProofError, Rgb};
use super::facts;
use super::ground;
use super::layout::{Layout, counts};
use super::legend::{Key, Legend, stack, strip};
use super::picture::Scene;
use super::scale::colour;
use crate::parallel;
use crate::plane::Dots;
use crate::texts::text;
use crate::units::short;

/// Side of the square over which coverage is taken, mm.
pub const WINDOW_MM: f64 = 1.0;
/// Coverage from which a place counts as solid.
pub const SOLID: f32 = 0.98;

/// Coverage of the dots around each block of `layout`'s steps: the share that is on in a square of
/// [`WINDOW_MM`] centred on the block, clipped at the edge of the dot rectangle; row after row of blocks.
///
/// The square is exact to a fraction of a block: those at its rim count by the part that lies inside.
pub fn coverage(dots: &Dots, layout: &Layout, (along, across): (f64, f64)) -> Vec<f32> {
    let (sx, sy) = (layout.step_along, layout.step_across);
    let (columns, rows) = (dots.width().div_ceil(sx), dots.height().div_ceil(sy));
    let blocks = counts(dots, sx, sy);
    let wide = Reach::new(WINDOW_MM / (sx as f64 * along));
    let high = Reach::new(WINDOW_MM / (sy as f64 * across));
    // Along the rows, by running totals.
    let mut sums = vec![0.0f32; columns * rows];
    parallel::bands(&mut sums, columns, 16, |first, band| {
        let mut total = vec![0u32; columns + 1];
        for (i, out) in band.chunks_exact_mut(columns).enumerate() {
            let row = &blocks[(first + i) * columns..(first + i + 1) * columns];
            for (c, n) in row.iter().enumerate() {
                total[c + 1] = total[c] + n;
            }
            for (c, v) in out.iter_mut().enumerate() {
                let (a, b) = wide.inner(c, columns);
                let rim = wide.rim(c, columns).map(|r| r.map_or(0, |r| row[r]));
                *v = (total[b] - total[a]) as f32 + wide.part * (rim[0] + rim[1]) as f32;
            }
        }
    });
    let size = |n: usize, step: usize, i: usize| step.min(n - i * step) as f32;
    let across_row = wide.all(columns, |c| size(dots.width(), sx, c));
    let down = high.all(rows, |r| size(dots.height(), sy, r));
    // Across the rows.
    let mut out = vec![0.0f32; columns * rows];
    parallel::bands(&mut out, columns, 16, |first, band| {
        for (i, out) in band.chunks_exact_mut(columns).enumerate() {
            let r = first + i;
            let (a, b) = high.inner(r, rows);
            // The first row is written, not added: fresh memory that is read first is lent as a page of zeros, and to
            // take that back the system stops the other threads.
            out.copy_from_slice(&sums[a * columns..(a + 1) * columns]);
            let whole = (a + 1..b).map(|r| (r, 1.0));
            for (k, weight) in whole.chain(high.rim(r, rows).into_iter().flatten().map(|r| (r, high.part))) {
                let row = &sums[k * columns..(k + 1) * columns];
                out.iter_mut().zip(row).for_each(|(o, s)| *o += weight * s);
            }
            out.iter_mut().zip(&across_row).for_each(|(o, w)| *o /= w * down[r]);
        }
    });
    out
}

/// How far a window reaches from the middle block: `whole` blocks either way, and `part` of one more.
struct Reach {
    whole: usize,
    part: f32,
}

impl Reach {
    fn new(blocks: f64) -> Reach {
        let beyond = ((blocks - 1.0) / 2.0).max(0.0);
        Reach { whole: beyond.floor() as usize, part: beyond.fract() as f32 }
    }

    fn inner(&self, at: usize, count: usize) -> (usize, usize) {
        (at.saturating_sub(self.whole), (at + self.whole + 1).min(count))
    }

    fn rim(&self, at: usize, count: usize) -> [Option<usize>; 2] {
        let after = at + self.whole + 1;
        [at.checked_sub(self.whole + 1), (after < count).then_some(after)]
    }

    /// The window's total over `size(i)` at every place.
    fn all(&self, count: usize, size: impl Fn(usize) -> f32) -> Vec<f32> {
        (0..count)
            .map(|at| {
                let (a, b) = self.inner(at, count);
                let rim: f32 = self.rim(at, count).into_iter().flatten().map(&size).sum();
                (a..b).map(&size).sum::<f32>() + self.part * rim
            })
            .collect()
    }
}

/// The density picture with its legend. `dose`, where given, is the dose of each block relative to the one
/// at which over-burn begins; the line where it is 1 is drawn.
///
/// # Errors
/// When `dose` is not of the blocks' number, or the legend cannot be drawn.
pub fn density(
    scene: &Scene,
    layout: &Layout,
    dots: &Dots,
    dose: Option<&[f32]>,
) -> Result<Picture, ProofError> {
    let rect = scene.rect;
    let (along, across) = (rect.grid.along.0, rect.grid.across.0);
    let (columns, rows) =
        (dots.width().div_ceil(layout.step_along), dots.height().div_ceil(layout.step_across));
    if let Some(d) = dose
        && d.len() != columns * rows
    {
        return Err(ProofError::Size { have: d.len(), want: columns * rows });
    }
    let plane = coverage(dots, layout, (along, across));
    // The block under a pixel's centre.
    let under = |i: usize, from: f64, start: f64, size: f64, count: usize| {
        let at = (from + (i as f64 + 0.5) * layout.pixel - start) / size;
        (at >= 0.0 && (at as usize) < count).then_some(at as usize)
    };
    let column: Vec<Option<usize>> = (0..layout.width)
        .map(|x| under(x, layout.left, rect.left.0, along * layout.step_along as f64, columns))
        .collect();
    let row_of = |y: usize| under(y, layout.top, rect.top.0, across * layout.step_across as f64, rows);
    let line = (layout.width / 700).max(1);
    let picture = ground::paint(layout, scene.blank, None, true, |y, row| {
        let none = colour(0.0);
        let here = row_of(y);
        // The row a line's width further down, for outlines.
        let below = row_of(y + line);
        for (x, pixel) in row.chunks_exact_mut(3).enumerate() {
            let (Some(r), Some(c)) = (here, column[x]) else {
                pixel.copy_from_slice(&none);
                continue;
            };
            let at = r * columns + c;
            let right = column.get(x + line).copied().flatten().map(|c| r * columns + c);
            let down = below.map(|r| r * columns + c);
            // A place at which `high` begins or ends within a line's width.
            let border = |high: &dyn Fn(usize) -> bool| {
                let me = high(at);
                right.is_some_and(|p| high(p) != me) || down.is_some_and(|p| high(p) != me)
            };
            let solid = |p: usize| plane[p] >= SOLID;
            let mut shown: Rgb = colour(f64::from(plane[at]));
            if solid(at) && (x + y) % (10 * line) < line {
                shown = [255; 3];
            }
            if border(&solid) {
                shown = [0; 3];
            }
            if let Some(d) = dose
                && border(&|p| d[p] >= 1.0)
            {
                shown = if ((x + y) / (4 * line)).is_multiple_of(2) { [255; 3] } else { [0; 3] };
            }
            pixel.copy_from_slice(&shown);
        }
    });
    let ramp = (0..=40).map(|i| colour(f64::from(i) / 40.0)).collect();
    let mut keys = vec![
        Key::Ramp(ramp, "0 %".into(), "100 %".into()),
        Key::Solid(text!("proof.legend.solid", share = short(f64::from(SOLID) * 100.0, 0))),
        Key::Margin(text!("proof.legend.margin").into()),
    ];
    if dose.is_some() {
        keys.push(Key::Contour(text!("proof.legend.over-burn-begins").into()));
    }
    let title = text!("proof.density.title", width = short(WINDOW_MM, 1), height = short(WINDOW_MM, 1));
    let share = facts::coverage(scene.blank, scene.rect, dots);
    let mean = text!("proof.density.share", share = short(100.0 * share, 1));
    let legend = Legend { title: &title, standing: &mean, pixel: layout.pixel, keys: &keys };
    Ok(stack(&picture, &strip(layout.width, &legend)?))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::job::kit::Surface;
    use crate::job::process::Footing;
    use crate::proof::made::{keep, lighthouse, scene_parts};

    /// Coverage by its definition, dot by dot, in f64.
    fn plain(dots: &Dots, (along, across): (f64, f64), x: usize, y: usize) -> f64 {
        let share =
            |d: f64, pitch: f64| ((WINDOW_MM / 2.0 - (d.abs() - 0.5) * pitch) / pitch).clamp(0.0, 1.0);
        let (mut on, mut all) = (0.0, 0.0);
        for v in 0..dots.height() {
            for u in 0..dots.width() {
                let w = share(u as f64 - x as f64, along) * share(v as f64 - y as f64, across);
                all += w;
                on += if dots.get(u, v) { w } else { 0.0 };
            }
        }
        on / all
    }

    #[test]
    fn coverage_is_exact_over_one_millimetre() {
        let (along, across) = (25.4 / 304.0, 0.1);
        let dots = lighthouse(150, 90);
        let (blank, rect) = scene_parts("rect:30x30mm", 150, 90, along, across);
        let mut layout = Layout::new(&blank, &rect, 2400);
        (layout.step_along, layout.step_across) = (1, 1);
        let plane = coverage(&dots, &layout, (along, across));
        for (x, y) in [(0, 0), (149, 89), (75, 45), (3, 80), (100, 2)] {
            let want = plain(&dots, (along, across), x, y);
            assert!((f64::from(plane[y * 150 + x]) - want).abs() < 1e-5, "{x} {y}");
        }
    }

    #[test]
    fn a_solid_is_solid_in_blocks_of_any_size() {
        let dots = Dots::from_packed(101, 67, vec![0xFF; 13 * 67]);
        let (blank, rect) = scene_parts("rect:30x30mm", 101, 67, 0.1, 0.1);
        let mut layout = Layout::new(&blank, &rect, 2400);
        for step in [1, 3, 5, 8] {
            (layout.step_along, layout.step_across) = (step, step);
            let plane = coverage(&dots, &layout, (0.1, 0.1));
            assert!(plane.iter().all(|v| (v - 1.0).abs() < 1e-5), "blocks of {step}");
        }
    }

    #[test]
    fn the_picture_is_the_same_for_any_thread_count() {
        let (blank, rect) = scene_parts("round:90mm", 1017, 1017, 25.4 / 304.0, 25.4 / 304.0);
        let mut dots = lighthouse(1017, 1017);
        for y in 0..1017 {
            if (300..420).contains(&y) {
                (150..300).for_each(|x| dots.set(x, y, true));
            }
            dots.keep_only(y, rect.allowed(&blank, y));
        }
        let layout = Layout::new(&blank, &rect, 2400);
        let scene = Scene {
            blank: &blank,
            surface: Surface::Glass,
            rect: &rect,
            y_unmarked: 0.03,
            y_marked: 0.65,
            footing: Footing::Assumed,
            spots: &[],
        };
        let (columns, rows) = layout.samples(&rect);
        let dose: Vec<f32> = (0..columns * rows)
            .map(|i| 1.6 - ((i % columns) as f32 - 220.0).hypot((i / columns) as f32 - 360.0) / 80.0)
            .collect();
        let one = parallel::with_threads(1, || density(&scene, &layout, &dots, Some(&dose)).unwrap());
        for n in [2, 3, 7] {
            assert!(
                one == parallel::with_threads(n, || density(&scene, &layout, &dots, Some(&dose)).unwrap())
            );
        }
        keep("density.png", &one.to_png(Some(layout.pixel)).unwrap());
        assert!(density(&scene, &layout, &dots, Some(&dose[1..])).is_err());
    }
}
