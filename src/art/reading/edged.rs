//! Edged: whether what is marked has the edges of a sheet of paper around it.
//!
//! On a table as light as itself a sheet is not told from it by its light; but its edges throw a thin dark shadow, beyond
//! which the table is somewhat darker than the sheet. A border that is drawn has the same paper on both sides.

use super::cells::Cells;

/// Cells along each side of the picture that is looked at.
const SIDE: usize = 400;
/// Least of that, or nothing is told.
const LEAST: usize = 100;
/// So many cells from the line the paper on its one side and what is on its other side are seen, at their lightest: a second
/// line is none of these.
const BESIDE: std::ops::Range<usize> = 3..10;
/// The line is darker than either by this factor.
const LINE: f32 = 0.9;
/// What lies beyond it is darker than the sheet by these factors, the least and the most.
const BEYOND: (f32, f32) = (0.95, 0.3);
/// Light of what is marked where a place counts as marked.
const MARKED: f32 = 0.85;
/// Share of a side of the picture along which such a line runs. The sides of sheets on light tables had 0.5 to 0.9, in one of
/// four 0.45; borders drawn on sheets at most 0.2 (own made-up photos), a horizon 0.9 on a single side.
const LONG: f64 = 0.5;
/// On so many sides at least.
const SIDES: usize = 3;
/// It leans by this share of its length at most.
const LEAN: f64 = 1.0 / 12.0;

/// Whether the edges of a sheet are marked: `light` is the picture, `marked` what becomes of it, dark where it is marked.
pub(super) fn edged(light: &[f32], marked: &[f32], (w, h): (usize, usize)) -> bool {
    let grid = Cells { columns: w.min(SIDE), rows: h.min(SIDE) };
    if grid.columns.min(grid.rows) < LEAST {
        return false;
    }
    let (light, marked) = (grid.means(light, w), grid.means(marked, w));
    let (right, below) = (grid.columns - 1, grid.rows - 1);
    let at = |c: usize, r: usize| r * grid.columns + c;
    let runs = [
        longest((grid.columns, grid.rows), &light, &marked, at),
        longest((grid.columns, grid.rows), &light, &marked, |u, v| at(u, below - v)),
        longest((grid.rows, grid.columns), &light, &marked, |u, v| at(v, u)),
        longest((grid.rows, grid.columns), &light, &marked, |u, v| at(right - v, u)),
    ];
    runs.iter().filter(|run| **run >= LONG).count() >= SIDES
}

/// The share of one side of the picture along which a straight line runs that may be a sheet's edge; `at` is the place `u`
/// along that side and `v` from it.
fn longest(
    (along, deep): (usize, usize),
    light: &[f32],
    marked: &[f32],
    at: impl Fn(usize, usize) -> usize,
) -> f64 {
    let reach = deep / 2;
    let is_edge = |u: usize, v: usize| {
        let near = |of: &[f32]| (v - 1..v + 2).map(|v| of[at(u, v)]).fold(f32::INFINITY, f32::min);
        let sheet = BESIDE.map(|d| light[at(u, (v + d).min(deep - 1))]).fold(0.0, f32::max);
        let beyond = BESIDE.map(|d| light[at(u, v.saturating_sub(d))]).fold(0.0, f32::max);
        let rim = (0..BESIDE.start).map(|v| light[at(u, v)]).fold(0.0, f32::max);
        near(marked) < MARKED
            && rim < BEYOND.0 * sheet
            && near(light) < LINE * sheet.min(beyond)
            && (BEYOND.1 * sheet..BEYOND.0 * sheet).contains(&beyond)
    };
    let first = BESIDE.start + 2;
    let mut edge = vec![false; along * reach];
    for v in first..reach {
        for u in 0..along {
            edge[v * along + u] = is_edge(u, v);
        }
    }
    let lean = (along as f64 * LEAN) as isize;
    let mut most = 0;
    for v in first..deep * 2 / 5 {
        for lean in (-lean..=lean).step_by(2) {
            let on_line = |u: &usize| {
                let v = v as isize + lean * *u as isize / along as isize;
                usize::try_from(v).is_ok_and(|v| v < reach && edge[v * along + u])
            };
            most = most.max((0..along).filter(on_line).count());
        }
    }
    most as f64 / along as f64
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A sheet a little askew on a table of this light, with a dark line around it, or a drawn one within it.
    fn picture(table: f32, drawn: bool) -> Vec<f32> {
        (0..400 * 400)
            .map(|i| {
                let (x, y) = ((i % 400) as f32, (i / 400) as f32);
                let within = |by: f32| {
                    (by + 0.03 * y..400.0 - by + 0.03 * y - 12.0).contains(&x)
                        && (by + 0.02 * x..400.0 - by - 0.02 * x).contains(&y)
                };
                let line = if drawn { within(60.0) && !within(63.0) } else { within(40.0) && !within(43.0) };
                match (line, within(40.0)) {
                    (true, _) => 0.3,
                    (_, true) => 0.7,
                    _ => table,
                }
            })
            .collect()
    }

    fn is_edged(table: f32, drawn: bool) -> bool {
        is_of(&picture(table, drawn))
    }

    fn is_of(light: &[f32]) -> bool {
        let marked: Vec<f32> = light.iter().map(|l| if *l < 0.5 { 0.0 } else { 1.0 }).collect();
        edged(light, &marked, (400, 400))
    }

    #[test]
    fn a_sheet_with_its_shadow_on_a_light_table_has_edges_and_a_drawn_border_has_none() {
        assert!(is_edged(0.55, false));
        // The same paper on both sides of the line.
        assert!(!is_edged(0.7, false) && !is_edged(0.7, true));
        // What is darker beyond the line is a washed border: the paper goes on beyond that.
        let at_rim = |i: usize| i % 400 < 15 || i % 400 > 384 || i / 400 < 15 || i / 400 > 384;
        let mut washed = picture(0.55, false);
        washed.iter_mut().enumerate().filter(|(i, _)| at_rim(*i)).for_each(|(_, light)| *light = 0.7);
        assert!(!is_of(&washed));
        // The line lies within the sheet.
        assert!(!is_edged(0.55, true));
        // What is not marked is no fault.
        assert!(!edged(&picture(0.55, false), &[1.0; 400 * 400], (400, 400)));
        assert!(!edged(&[0.5; 50 * 50], &[0.0; 50 * 50], (50, 50)));
    }
}
