//! The marks of quarters of a dot's cell, looked up from the dots around them.
//!
//! A quarter feels the dots of four columns and four rows: its own, one on the far side, two on its own side. Its mean mark
//! is one look-up by their 16 bits. Of the four quarters of a cell each is another's mirror image, so that one table does.

use std::sync::Arc;

use crate::lately::Lately;
use crate::mark::{Burn, Taps};

/// Sample positions a cell each way; half of them each way belong to a quarter.
const OVER: usize = 8;
const HALF: usize = OVER / 2;
/// Samples of a quarter.
const SAMPLES: usize = HALF * HALF;
/// Dots each way that a quarter feels.
const FELT: usize = 4;
/// Codes of quarters.
const CODES: usize = 1 << (FELT * FELT);
/// Steps of the response for each unit of exposure.
const STEPS: f32 = 2048.0;

/// Mean marks of quarters, by code: as the upper left one sees it, bit `4 row + column` is the dot `row - 2` rows below and
/// `column - 2` columns to the right of the cell's own.
pub struct Quarters {
    marks: Box<[f32; CODES]>,
    /// The mark of a solid.
    pub solid: f32,
}

static LATELY: Lately<Burn, Quarters> = Lately::new(4);

impl Quarters {
    /// [`Quarters::new`], made once for the last few burns.
    pub fn of(burn: &Burn) -> Arc<Self> {
        LATELY.get(*burn, || Quarters::new(burn))
    }

    /// The table for a burn. What dots further away give is put on the outermost ones, so that a solid gets what it gets;
    /// up to two pitches of beam that is under 0.2 % of the exposure.
    pub fn new(burn: &Burn) -> Self {
        let reach = Taps::radius_for(burn.along.max(burn.across)).max(2);
        let taps = Taps::new(burn.along, burn.across, OVER, reach);
        let fold = |weights: &[f32], phase: usize| -> [f32; FELT] {
            let mut four = [0.0; FELT];
            for (j, w) in weights[phase * (2 * reach + 1)..][..2 * reach + 1].iter().enumerate() {
                four[((j as isize - reach as isize).clamp(-2, 1) + 2) as usize] += w;
            }
            four
        };
        let along: [[f32; FELT]; HALF] = std::array::from_fn(|p| fold(&taps.along, p));
        let across: [[f32; FELT]; HALF] = std::array::from_fn(|p| fold(&taps.across, p));
        // What two rows of dots give to each sample, by their eight bits.
        let two = |first: usize| -> Vec<[f32; SAMPLES]> {
            let given = |code: usize, sample: usize| -> f32 {
                let (x, y) = (sample % HALF, sample / HALF);
                let row = |row: usize| -> f32 {
                    let bits = code >> (FELT * row);
                    let own = (0..FELT).filter(|i| bits >> i & 1 == 1).map(|i| along[x][i]);
                    own.sum::<f32>() * across[y][first + row]
                };
                row(0) + row(1)
            };
            (0..1 << (2 * FELT)).map(|code| std::array::from_fn(|sample| given(code, sample))).collect()
        };
        let (upper, lower) = (two(0), two(2));
        let most = upper.iter().chain(&lower).flatten().fold(0.0f32, |a, &b| a.max(b)) * 2.0;
        let steps = (most * STEPS).ceil().min(1e6) as usize + 2;
        let response: Vec<f32> = (0..steps).map(|i| burn.mark(i as f64 / f64::from(STEPS)) as f32).collect();
        let mark = |exposure: f32| {
            let place = (exposure * STEPS).min((steps - 2) as f32);
            let step = place as usize;
            response[step] + (place - step as f32) * (response[step + 1] - response[step])
        };
        let marks = (0..CODES).map(|code| {
            let (a, b) = (&upper[code & 0xFF], &lower[code >> 8]);
            a.iter().zip(b).map(|(a, b)| mark(a + b)).sum::<f32>() / SAMPLES as f32
        });
        let mut table = Box::new([0.0; CODES]);
        table.iter_mut().zip(marks).for_each(|(to, mark)| *to = mark);
        Quarters { solid: table[CODES - 1], marks: table }
    }

    /// The mean mark of the quarter with that code.
    #[inline(always)]
    pub fn mark(&self, code: u16) -> f32 {
        self.marks[usize::from(code)]
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::mark::{CellSamples, Forecast};
    use crate::plane::Dots;

    #[test]
    fn four_quarters_make_the_cell_that_the_forecast_of_the_whole_plane_has() {
        for (along, across) in [(1.0, 1.0), (1.5, 1.5), (1.2, 2.0), (2.0, 2.0)] {
            let burn = Burn::plain(along, across);
            let quarters = Quarters::new(&burn);
            let mut dots = Dots::off(24, 24);
            for i in 0..576usize {
                dots.set(i % 24, i / 24, (i * i * 7 + i / 5).is_multiple_of(3));
            }
            // The quick forecast keeps the mean; a cell's own value needs all samples.
            let marks = Forecast::with_samples(&burn, CellSamples::REFERENCE).plane(&dots);
            let on = |x: isize, y: isize| u16::from(dots.get(x as usize, y as usize));
            for (x, y) in (4..20).flat_map(|x| (4..20).map(move |y| (x, y))) {
                let mut mark = 0.0;
                for (right, below) in [(1, 1), (-1, 1), (1, -1), (-1, -1)] {
                    let bits = (0..16).map(|i| {
                        let (column, row) = (i % 4 - 2, i / 4 - 2);
                        on(x + right * column, y + below * row) << i
                    });
                    mark += quarters.mark(bits.sum()) / 4.0;
                }
                let whole = marks.row(y as usize)[x as usize];
                assert!((mark - whole).abs() < 0.03, "beam {along} {across} at {x}, {y}: {mark} {whole}");
            }
        }
    }
}
