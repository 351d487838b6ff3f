//! Alone: the part of a picture that shows a sheet of paper alone, with all that is drawn on it.
//!
//! A camera sees a sheet askew, so the box around it takes in wedges of the table. A crop is good for something only where it
//! lies within the sheet, and cuts off nothing of what is drawn.

use super::cells::Cells;

/// A cell this dark, on average, holds some of a stroke; what a shadow leaves of its edge came to 0.03 (own made-up photos).
const INKED: f32 = 0.05;

/// Boxes of a sheet: left, upper, right and lower edge, in shares of the picture.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SheetAlone {
    /// The largest upright box within the sheet that holds all that is drawn on it.
    pub most: [f64; 4],
    /// The box around what is drawn.
    pub inked: [f64; 4],
}

/// The boxes of the sheet that lies on `cells`, where one within it holds all that is drawn on those of them that are `marked`;
/// `light` is `width` wide, dark where that is.
pub(super) fn alone(
    cells: &[bool],
    marked: &[bool],
    grid: Cells,
    (light, width): (&[f32], usize),
) -> Option<SheetAlone> {
    let inked = around(&inked(marked, grid, light, width), grid)?;
    let most = largest(cells, grid, inked)?;
    let (columns, rows) = (grid.columns as f64, grid.rows as f64);
    let shares =
        |[l, t, r, b]: [usize; 4]| [l as f64 / columns, t as f64 / rows, r as f64 / columns, b as f64 / rows];
    Some(SheetAlone { most: shares(most), inked: shares(inked) })
}

/// The cells of the sheet that hold some of a stroke.
fn inked(cells: &[bool], grid: Cells, light: &[f32], width: usize) -> Vec<bool> {
    cells.iter().zip(grid.means(light, width)).map(|(&on, light)| on && 1.0 - light > INKED).collect()
}

/// The box around the cells that are on: its first column and row, and those after its last.
fn around(on: &[bool], grid: Cells) -> Option<[usize; 4]> {
    let all = (0..on.len()).filter(|&i| on[i]).map(|i| (i % grid.columns, i / grid.columns));
    all.fold(None, |known, (c, r)| {
        let [left, top, right, bottom] = known.unwrap_or([c, r, c + 1, r + 1]);
        Some([left.min(c), top.min(r), right.max(c + 1), bottom.max(r + 1)])
    })
}

/// The largest box of cells that are on, around a box of them.
fn largest(cells: &[bool], grid: Cells, [left, top, right, bottom]: [usize; 4]) -> Option<[usize; 4]> {
    let mut best: Option<(usize, [usize; 4])> = None;
    for l in 0..=left {
        for r in right..=grid.columns {
            let whole = |row: usize| cells[row * grid.columns..][l..r].iter().all(|on| *on);
            if !(top..bottom).all(whole) {
                // Wider still, it holds what it lacks here.
                break;
            }
            let up = (0..top).rev().take_while(|&row| whole(row)).count();
            let down = (bottom..grid.rows).take_while(|&row| whole(row)).count();
            let found = [l, top - up, r, bottom + down];
            let size = (r - l) * (bottom + down - top + up);
            if best.is_none_or(|(known, _)| size > known) {
                best = Some((size, found));
            }
        }
    }
    best.map(|(_, found)| found)
}

#[cfg(test)]
mod tests {
    use super::*;

    const GRID: Cells = Cells { columns: 12, rows: 10 };

    /// A sheet that leans to the right: in each row its cells begin one further to the right for every third row down.
    fn leaning() -> Vec<bool> {
        (0..120).map(|i| (i % 12, i / 12)).map(|(c, r)| (1 + r / 3..8 + r / 3).contains(&c)).collect()
    }

    /// A picture of four dots to a cell, dark at these of its places.
    fn drawn(dark: &[(usize, usize)]) -> Vec<f32> {
        let mut light = vec![1.0; 24 * 20];
        dark.iter().for_each(|(x, y)| light[y * 24 + x] = 0.1);
        light
    }

    fn alone_on(cells: &[bool], light: &[f32]) -> Option<SheetAlone> {
        alone(cells, cells, GRID, (light, 24))
    }

    #[test]
    fn the_box_lies_within_the_sheet_and_holds_what_is_drawn() {
        // From cell (4, 3) to cell (6, 5).
        let found = alone_on(&leaning(), &drawn(&[(8, 6), (13, 11)])).unwrap();
        assert_eq!(found.inked, [4.0 / 12.0, 0.3, 7.0 / 12.0, 0.6]);
        // Rows 0 to 8 have cells 3 to 7 in common; rows 0 to 9 cells 4 to 7; no other box of cells holds more.
        assert_eq!(found.most, [3.0 / 12.0, 0.0, 8.0 / 12.0, 0.9]);
    }

    #[test]
    fn there_is_none_that_would_cut_what_is_drawn_or_hold_some_of_the_table() {
        // Its upper left corner and its lower right one: the box around them reaches past the sheet.
        assert_eq!(alone_on(&leaning(), &drawn(&[(2, 0), (20, 19)])), None);
        // What is dark beyond the sheet is not drawn on it.
        assert!(alone_on(&leaning(), &drawn(&[(8, 6), (0, 19)])).is_some());
        assert_eq!(alone_on(&leaning(), &drawn(&[])), None);
    }
}
