//! Means over a window of rows and columns, cut at the edges: a running sum along each row, then down the columns.
//!
//! Rows are taken one after another, so that a filter of filters needs no plane of its own. Sums are f64 and run from the
//! first value on, in the same order however the work is shared out.

use std::collections::VecDeque;

use crate::parallel;

/// Puts the means over windows of `rx` columns and `ry` rows to either side in the place of a plane's values.
pub(super) fn means(plane: &mut [f32], width: usize, rx: usize, ry: usize) {
    if width == 0 {
        return;
    }
    parallel::bands(plane, width, ABREAST, |_, band| {
        along(&mut band.chunks_mut(width).collect::<Vec<_>>(), rx)
    });
    let (mut down, mut given) = (Down::new(plane.len() / width, ry), 0);
    for y in 0..plane.len() / width {
        let row = plane[y * width..][..width].to_vec();
        down.take(row, &mut |mean| {
            plane[given * width..][..width].copy_from_slice(&mean);
            given += 1;
        });
    }
}

/// Means along each of the rows over `radius` places to either side. Rows are of one length.
pub(super) fn along(rows: &mut [&mut [f32]], radius: usize) {
    let mut fours = rows.chunks_exact_mut(ABREAST);
    for four in &mut fours {
        if let Ok(four) = <&mut [&mut [f32]; ABREAST]>::try_from(four) {
            abreast(four, radius);
        }
    }
    for row in fours.into_remainder() {
        abreast(std::array::from_mut(row), radius);
    }
}

/// Rows that are summed at once: each sum waits for its last addition, so that one alone takes four times as long.
pub(super) const ABREAST: usize = 4;

fn abreast<const N: usize>(rows: &mut [&mut [f32]; N], radius: usize) {
    let n = rows.iter().map(|row| row.len()).min().unwrap_or(0);
    let before: Vec<[f32; N]> = (0..n).map(|i| rows.each_ref().map(|row| row[i])).collect();
    let mut sums = [0.0f64; N];
    let mut add = |values: &[f32; N], times: f64| {
        sums.iter_mut().zip(values).for_each(|(sum, &v)| *sum += times * f64::from(v));
        sums
    };
    before[..radius.min(n)].iter().for_each(|values| _ = add(values, 1.0));
    for i in 0..n {
        let mut now = add(before.get(i + radius).unwrap_or(&[0.0; N]), 1.0);
        if i > radius {
            now = add(&before[i - radius - 1], -1.0);
        }
        let count = window(i, n, radius) as f64;
        rows.iter_mut().zip(now).for_each(|(row, sum)| row[i] = (sum / count) as f32);
    }
}

/// How many of `n` places lie in the window about place `i`.
fn window(i: usize, n: usize, radius: usize) -> usize {
    (i + radius + 1).min(n) - i.saturating_sub(radius)
}

/// Means down the columns over `radius` rows to either side, of rows that come one after another: it holds as many as
/// the window has.
pub(super) struct Down {
    radius: usize,
    height: usize,
    sums: Vec<f64>,
    held: VecDeque<Vec<f32>>,
    taken: usize,
    given: usize,
}

impl Down {
    /// Of a plane of `height` rows.
    pub fn new(height: usize, radius: usize) -> Down {
        Down { radius, height, sums: Vec::new(), held: VecDeque::new(), taken: 0, given: 0 }
    }

    /// Takes the next row; the mean row that is now known, if any, goes to `give`. With the plane's last row all are.
    pub fn take(&mut self, row: Vec<f32>, give: &mut impl FnMut(Vec<f32>)) {
        self.sums.resize(row.len(), 0.0);
        self.sums.iter_mut().zip(&row).for_each(|(s, &v)| *s += f64::from(v));
        self.held.push_back(row);
        self.taken += 1;
        if self.taken > self.radius {
            give(self.mean());
        }
        if self.taken == self.height {
            while self.given < self.height {
                give(self.mean());
            }
        }
    }

    fn mean(&mut self) -> Vec<f32> {
        let gone = if self.given > self.radius { self.held.pop_front() } else { None };
        let mut out = match gone {
            Some(row) => {
                self.sums.iter_mut().zip(&row).for_each(|(s, &v)| *s -= f64::from(v));
                row
            }
            None => vec![0.0; self.sums.len()],
        };
        let count = window(self.given, self.height, self.radius) as f64;
        out.iter_mut().zip(&self.sums).for_each(|(o, s)| *o = (s / count) as f32);
        self.given += 1;
        out
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// As the definition says, with sums in the same order.
    fn by_definition(values: &[f32], radius: usize) -> Vec<f32> {
        let n = values.len();
        let mut sum: f64 = values[..radius.min(n)].iter().map(|&v| f64::from(v)).sum();
        let mean = |i: usize| {
            sum += values.get(i + radius).map_or(0.0, |&v| f64::from(v));
            sum -= i.checked_sub(radius + 1).map_or(0.0, |j| f64::from(values[j]));
            let inside = values[i.saturating_sub(radius)..(i + radius + 1).min(n)].len();
            (sum / inside as f64) as f32
        };
        (0..n).map(mean).collect()
    }

    fn plane(w: usize, h: usize) -> Vec<f32> {
        (0..w * h).map(|i| ((i * 7919 % 1013) as f32 / 1013.0).powi(3)).collect()
    }

    #[test]
    fn rows_and_columns_are_the_means_of_their_windows() {
        for (w, h) in [(1, 1), (1, 9), (9, 1), (40, 7), (23, 31)] {
            for radius in [1, 2, 5, 30] {
                let all = plane(w, h);
                let mut rows = all.clone();
                along(&mut rows.chunks_mut(w).collect::<Vec<_>>(), radius);
                for (row, values) in rows.chunks(w).zip(all.chunks(w)) {
                    assert_eq!(row, by_definition(values, radius), "{w} {h} {radius}");
                }
                let (mut down, mut found) = (Down::new(h, radius), Vec::new());
                for (y, row) in all.chunks(w).enumerate() {
                    down.take(row.to_vec(), &mut |mean| found.push(mean));
                    let known = if y + 1 == h { h } else { (y + 1).saturating_sub(radius) };
                    assert_eq!(found.len(), known, "{w} {h} {radius}: after row {y}");
                }
                for x in 0..w {
                    let column: Vec<f32> = all.iter().skip(x).step_by(w).copied().collect();
                    let means: Vec<f32> = found.iter().map(|row| row[x]).collect();
                    assert_eq!(means, by_definition(&column, radius), "{w} {h} {radius}: column {x}");
                }
            }
        }
    }
}
