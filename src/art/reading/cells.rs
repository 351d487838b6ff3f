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

    /// The mean of what lies in each cell of a plane that is `width` wide.
    pub fn means(self, plane: &[f32], width: usize) -> Vec<f32> {
        let height = plane.len() / width.max(1);
        let mut sums = vec![(0.0f32, 0.0f32); self.columns * self.rows];
        for (y, line) in plane.chunks_exact(width.max(1)).enumerate() {
            let first = y * self.rows / height * self.columns;
            for (x, v) in line.iter().enumerate() {
                let (sum, n) = &mut sums[first + x * self.columns / width];
                (*sum, *n) = (*sum + v, *n + 1.0);
            }
        }
        sums.into_iter().map(|(sum, n)| sum / n.max(1.0)).collect()
    }

    /// The patches of cells that are `of` it and hang together, in the order of their first cells.
    pub fn patches(self, of: &[bool]) -> Vec<Vec<usize>> {
        let mut left = of.to_vec();
        let mut patches = Vec::new();
        for start in 0..of.len() {
            if !std::mem::take(&mut left[start]) {
                continue;
            }
            let mut patch = vec![start];
            self.flood(vec![start], |_, j| {
                let enters = std::mem::take(&mut left[j]);
                if enters {
                    patch.push(j);
                }
                enters
            });
            patches.push(patch);
        }
        patches
    }

    /// Both sides of a patch's rim: its cells that are next to others, and these; each once.
    pub fn rim(self, patch: &[usize]) -> Vec<usize> {
        let mut inside = vec![false; self.columns * self.rows];
        patch.iter().for_each(|&i| inside[i] = true);
        let mut at_rim = vec![false; inside.len()];
        self.flood(patch.to_vec(), |i, j| {
            if !inside[j] {
                at_rim[i] = true;
                at_rim[j] = true;
            }
            false
        });
        (0..at_rim.len()).filter(|&i| at_rim[i]).collect()
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
    fn patches_hang_together_by_their_sides_and_have_two_sides_to_their_rims() {
        let grid = Cells { columns: 4, rows: 3 };
        let on = [0, 1, 4, 5, 10].map(|i| i as usize);
        let of: Vec<bool> = (0..12).map(|i| on.contains(&i)).collect();
        let mut patches = grid.patches(&of);
        patches.iter_mut().for_each(|p| p.sort_unstable());
        assert_eq!(patches, [vec![0, 1, 4, 5], vec![10]]);
        assert_eq!(grid.rim(&patches[0]), [1, 2, 4, 5, 6, 8, 9]);
    }

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
