//! Paler: strokes that are lighter than the paper they are drawn on, as of chalk or a white pen on brown card.
//!
//! Paper is taken for the lightest thing that there is: on toned paper, white strokes are left bare and what they enclose
//! becomes ink. Beside dark strokes on the same sheet nothing else tells. Own trial: such strokes fill 0.010 to 0.08 of eight
//! made-up cards of brown, grey or blue paper; what is found on the 88 sheets of the labelled set is 0.004 at most.

use super::background::{around, paper_of, row_between, smooth};
use super::small::Small;
use std::ops::Range;

/// Least share of the picture that such strokes fill.
const SHARE: f64 = 0.008;
/// So many times as light as the paper, and as what lies beside them.
const PALER: f32 = 1.25;
/// Half the width of the thickest stroke, as a share of the longer side, and the least of it.
const STROKE: (f64, usize) = (1.0 / 80.0, 3);
/// Cells along the longer side that the paper's light is told in.
const CELLS: f64 = 40.0;
/// Cells to every side by which it is told what is paper in one, and which of them in the order of their light it is: solids of
/// ink and white strokes are the fewer ones.
const REACH: usize = 7;
const RANK: f64 = 0.65;

/// Whether there are such strokes.
pub(super) fn strokes(s: &Small) -> bool {
    share(s) >= SHARE
}

fn share(s: &Small) -> f64 {
    let size @ (w, h) = (s.width, s.height);
    let light = smooth(&s.light, w, h);
    let stroke = ((w.max(h) as f64 * STROKE.0).round() as usize).max(STROKE.1);
    let beside = around(&around(&light, w, h, stroke, f32::min), w, h, stroke, f32::max);
    let side = w.max(h) as f64 / CELLS;
    let cells = [w, h].map(|size| ((size as f64 / side).round() as usize).max(1));
    let grid = (cells[0], cells[1]);
    let paper = usual(&paper_of(grid, size, &s.light, Some(&s.opaque)), grid);
    let mut row = vec![0.0f32; w];
    let mut paler = 0;
    for y in 0..h {
        row_between(&paper, grid, size, y, &mut row);
        let is_paler = |(i, paper): (usize, &f32)| light[i] > PALER * beside[i].max(*paper);
        paler += (y * w..).zip(&row).filter(|place| is_paler(*place)).count();
    }
    paler as f64 / (w * h) as f64
}

/// The usual light far around each cell.
fn usual(light: &[f32], (columns, rows): (usize, usize)) -> Vec<f32> {
    let span = |i: usize, n: usize| -> Range<usize> { i.saturating_sub(REACH)..(i + REACH + 1).min(n) };
    (0..light.len())
        .map(|i| {
            let across = span(i % columns, columns);
            let mut near: Vec<f32> = span(i / columns, rows)
                .flat_map(|r| &light[r * columns..][across.clone()])
                .copied()
                .collect();
            let at = ((near.len() as f64 * RANK) as usize).min(near.len() - 1);
            *near.select_nth_unstable_by(at, f32::total_cmp).1
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::colour::linear_to_srgb;

    /// A sheet that reflects `paper` in light that falls off, with rings of these reflectances, and the rim of a table.
    fn sheet(paper: f32, rings: [f32; 2]) -> Small {
        let (width, height) = (400, 300);
        let light: Vec<f32> = (0..width * height)
            .map(|i| {
                let (x, y) = ((i % width) as f32, (i / width) as f32);
                let on = |cx: f32| ((x - cx).hypot(y - 150.0) - 60.0).abs() < 3.0;
                let reflects = if x < 20.0 {
                    0.1
                } else if on(120.0) {
                    rings[0]
                } else if on(290.0) {
                    rings[1]
                } else {
                    paper
                };
                reflects * (1.0 - 0.5 * x / width as f32)
            })
            .collect();
        let code = light.iter().map(|l| (255.0 * linear_to_srgb(f64::from(*l))) as f32).collect();
        let opaque = vec![true; width * height];
        Small { width, height, code, light, opaque, transparent: 0.0, clear_cut: 1.0 }
    }

    #[test]
    fn white_strokes_on_toned_paper_are_found_beside_dark_ones_and_none_on_white_paper() {
        assert!(strokes(&sheet(0.3, [0.05, 0.9])));
        assert!(!strokes(&sheet(0.3, [0.05, 0.05])));
        assert!(!strokes(&sheet(0.9, [0.05, 0.3])));
    }

    #[test]
    fn white_paper_between_solids_and_strokes_is_no_stroke() {
        let mut hatched = sheet(0.9, [0.05, 0.05]);
        for (i, l) in hatched.light.iter_mut().enumerate() {
            let (x, y) = (i % 400, i / 400);
            if (200..300).contains(&x) && (50..250).contains(&y) && x % 10 < 6 {
                *l = 0.05;
            }
        }
        assert!(!strokes(&hatched), "{}", share(&hatched));
    }
}
