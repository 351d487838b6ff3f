//! Straight: whether a sheet of paper ends as sheets do.
//!
//! However a camera sees a sheet, its edges are straight lines and it has no bay, whatever part of it the picture cuts off. A wash that
//! is drawn down to the picture's edge, a sea, a rock or a quay, leaves waves or a bay. Sheets that were made for trial, cut
//! off by the picture on one side to three, keep half of their edge within 0.2 cells of their hull; such washes have over 1.2.

use super::shade::Shade;
use crate::art::extent::hull;

/// Half of a sheet's edge lies no further within its hull, cells: paper curls.
const STRAIGHT: f64 = 0.5;

/// Whether a sheet ends in straight lines, as one does however it is seen: hardly any of its edge lies within its hull.
pub(super) fn straight(ground: &Shade, cells: &[bool]) -> bool {
    let grid = ground.cells();
    let mut edge: Vec<(f64, f64)> = Vec::new();
    grid.flood((0..cells.len()).filter(|&i| cells[i]).collect(), |i, j| {
        if !cells[j] {
            let (x, y) = ground.edge_between(i, j);
            edge.push((f64::from(x), f64::from(y)));
        }
        false
    });
    let (right, below) = (grid.columns as f64, grid.rows as f64);
    let last = cells.len() - 1;
    let corners = [
        (0, (0.0, 0.0)),
        (grid.columns - 1, (right, 0.0)),
        (last + 1 - grid.columns, (0.0, below)),
        (last, (right, below)),
    ];
    let corners = corners.into_iter().filter(|(i, _)| cells[*i]).map(|(_, at)| at);
    let hull = hull(edge.iter().copied().chain(corners).collect());
    let within = |&(x, y): &(f64, f64)| {
        let sides = hull.iter().zip(hull.iter().cycle().skip(1)).map(|(a, b)| {
            let (dx, dy) = (b.0 - a.0, b.1 - a.1);
            ((x - a.0) * dy - (y - a.1) * dx).abs() / (dx * dx + dy * dy).sqrt().max(1e-6)
        });
        sides.fold(f64::INFINITY, f64::min)
    };
    let mut off: Vec<f64> = edge.iter().map(within).collect();
    let middle = off.len() / 2;
    off.is_empty() || *off.select_nth_unstable_by(middle, f64::total_cmp).1 < STRAIGHT
}
