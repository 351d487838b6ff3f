//! Cells: a grid of cells and what is next to what.

/// A grid, its cells counted row after row.
#[derive(Debug, Clone, Copy)]
pub(super) struct Cells {
    /// Cells of a row.
    pub columns: usize,
    /// Rows.
    pub rows: usize,
}

impl Cells {
    /// Whether the cell lies at the grid's edge.
    pub fn at_edge(self, i: usize) -> bool {
        let (c, r) = (i % self.columns, i / self.columns);
        c == 0 || c + 1 == self.columns || r == 0 || r + 1 == self.rows
    }

    /// Goes from the cells in `next` to their neighbours to the left, right, above and below, as far as `enter` (from
    /// which cell, into which) says yes, which it may say once for each.
    pub fn flood(self, mut next: Vec<usize>, mut enter: impl FnMut(usize, usize) -> bool) {
        while let Some(i) = next.pop() {
            let (c, r) = (i % self.columns, i / self.columns);
            let near = [
                (c > 0).then(|| i - 1),
                (c + 1 < self.columns).then(|| i + 1),
                (r > 0).then(|| i - self.columns),
                (r + 1 < self.rows).then(|| i + self.columns),
            ];
            next.extend(near.into_iter().flatten().filter(|&j| enter(i, j)));
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_flood_stops_at_walls_and_does_not_turn_the_corner_of_a_row() {
        let grid = Cells { columns: 4, rows: 3 };
        // A wall down the second column, open at the bottom.
        let mut seen = [false, true, false, false, false, true, false, false, false, false, false, false];
        seen[0] = true;
        let mut order = vec![0];
        grid.flood(vec![0], |_, j| {
            let new = !std::mem::replace(&mut seen[j], true);
            if new {
                order.push(j);
            }
            new
        });
        order.sort_unstable();
        assert_eq!(order, [0, 2, 3, 4, 6, 7, 8, 9, 10, 11]);
        // From the end of a row not to the beginning of the next.
        let mut into = Vec::new();
        grid.flood(vec![3], |i, j| {
            into.push((i, j));
            false
        });
        assert_eq!(into, [(3, 2), (3, 7)]);
        assert_eq!((0..12).filter(|&i| !grid.at_edge(i)).collect::<Vec<_>>(), [5, 6]);
    }
}
