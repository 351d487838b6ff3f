//! The mark of one dot's cell, looked up from the dots around it.
//!
//! A cell's mean mark depends on the dots within two rows and two columns, without their corners: too many
//! for one table. The upper half of a cell does not feel the row two below, nor the lower half the one two
//! above, and the lower half is the upper one upside down. So a cell is the sum of two look-ups in one table
//! of 2^16 half cells, by the dots of four rows: three columns of the row two away, five of the next, five of
//! its own and three of the row beyond.

use std::sync::Arc;

use crate::lately::Lately;
use crate::mark::{Burn, Taps, Unsure};

/// Sample positions a cell each way; half of them across belong to each half.
const OVER: usize = 8;
/// CellSamples of a half cell.
const SAMPLES: usize = OVER * OVER / 2;
/// Steps of the response table for each unit of exposure.
const STEPS: f32 = 4096.0;

/// One cell that feels a dot: where it lies from the dot, and the dot's bit in the codes of its two halves
/// (0 where a half does not feel it).
#[derive(Debug, Clone, Copy)]
pub struct Affected {
    pub dx: isize,
    pub dy: isize,
    pub upper: u16,
    pub lower: u16,
}

/// Cells that feel a dot.
pub const AFFECTED_CELLS: usize = 21;
/// All of them, in rows from the top.
pub const AFFECTED: [Affected; AFFECTED_CELLS] = affected();

/// Runs its body for each number of a cell that feels a dot: unrolled, so that places and bits are constants.
macro_rules! each_affected {
    ($f:ident, $body:block) => {
        each_affected!($f, NUMBER, $body)
    };
    ($f:ident, $i:ident, $body:block) => {
        each_affected!(@ $f, $i, $body, 0 1 2 3 4 5 6 7 8 9 10 11 12 13 14 15 16 17 18 19 20)
    };
    (@ $f:ident, $i:ident, $body:block, $($number:literal)*) => {
        $({ #[allow(dead_code)] const $i: usize = $number; const $f: Affected = AFFECTED[$number]; $body })*
    };
}
pub(crate) use each_affected;

/// Mean marks of half cells (half of the cell's mean: two halves add up to it), by code.
pub struct MarkTable {
    pub halves: Box<[f32; CODES]>,
    /// Mark of a solid; none where some pattern of dots marks more, as where solids char.
    pub solid: Option<f32>,
    /// Where beam or exposure are not known for sure: how the marks of half cells vary together, root mean square over
    /// what may be; `halves` are then the expected marks.
    pub vary: Option<Box<[f32; CODES]>>,
}

/// Codes of half cells.
pub const CODES: usize = 1 << 16;

/// The rows of a code, as seen from an upper half: row, columns either side, first bit.
const ROWS: [(isize, isize, u32); 4] = [(-2, 1, 0), (-1, 2, 3), (0, 2, 8), (1, 1, 13)];

impl MarkTable {
    /// The table for a burn. Beams wider than 2.4 pitches reach further than the code: the exposure beyond
    /// is put on the outermost dots, so that a solid still gets what it gets; for other tones see
    /// [`target`](super::target).
    pub fn new(burn: &Burn) -> Self {
        let reach = Taps::radius_for(burn.along.max(burn.across)).max(2);
        let taps = Taps::of(burn.profiles(), OVER, reach);
        let fold = |weights: &[f32], phase: usize| -> [f32; 5] {
            let mut five = [0.0; 5];
            for (j, w) in weights[phase * (2 * reach + 1)..][..2 * reach + 1].iter().enumerate() {
                five[((j as isize - reach as isize).clamp(-2, 2) + 2) as usize] += w;
            }
            five
        };
        let along: [[f32; 5]; OVER] = std::array::from_fn(|p| fold(&taps.along, p));
        let across: [[f32; 5]; OVER] = std::array::from_fn(|p| fold(&taps.across, p));
        // What a row's dots give to each sample of the half, by the row's code.
        let row = |number: usize| -> Vec<[f32; SAMPLES]> {
            let (_, each, _) = ROWS[number];
            let codes = 0..1 << (2 * each + 1);
            codes
                .map(|code: usize| {
                    let on = |d: isize| code >> (d + each) & 1 == 1;
                    let profile: [f32; OVER] = std::array::from_fn(|p| {
                        (-each..=each).filter(|&d| on(d)).map(|d| along[p][(d + 2) as usize]).sum()
                    });
                    std::array::from_fn(|sample| profile[sample % OVER] * across[sample / OVER][number])
                })
                .collect()
        };
        let [two_away, next, own, beyond] = [0, 1, 2, 3].map(row);
        let first_two: Vec<[f32; SAMPLES]> =
            next.iter().flat_map(|b| two_away.iter().map(|a| sum(a, b))).collect();
        let response = Response::new(burn, &along, &across);
        let mut halves = Box::new([0.0f32; CODES]);
        crate::parallel::bands(halves.as_mut_slice(), 1 << 8, 16, |first, band| {
            for (i, out) in band.iter_mut().enumerate() {
                let code = (first << 8) + i;
                if mirrored(code) < code {
                    continue;
                }
                let three = sum(&first_two[code & 0xFF], &own[code >> 8 & 31]);
                let exposures = sum(&three, &beyond[code >> 13 & 7]);
                *out = response.total(&exposures) / (OVER * OVER) as f32;
            }
        });
        // Left and right are alike: half of the codes mirror the other half.
        for code in 0..halves.len() {
            halves[code] = halves[code.min(mirrored(code))];
        }
        let most = halves.iter().copied().fold(0.0, f32::max);
        let solid = halves[CODES - 1];
        MarkTable { solid: (solid >= 0.99 * most).then_some(2.0 * solid), halves, vary: None }
    }

    /// [`MarkTable::expected`], made once for the last few burns.
    pub fn of(burn: &Burn, unsure: Unsure) -> Arc<Self> {
        LATELY.get((*burn, unsure), || MarkTable::expected(burn, unsure))
    }

    /// The table of expected marks for a burn that is known but for `unsure`: the mean over five machines, the planned
    /// one and those whose beam or exposure is off by so much either way. What a pattern of dots varies by over the
    /// five is kept by its principal component (K. Pearson, "On lines and planes of closest fit to systems of points in
    /// space", Philosophical Magazine 2, 1901): a narrower beam and a lower exposure change marks in much the same way.
    pub fn expected(burn: &Burn, unsure: Unsure) -> Self {
        if unsure.is_none() {
            return MarkTable::new(burn);
        }
        let mut tables = unsure.machines(burn).map(|burn| MarkTable::new(&burn));
        let share = 1.0 / tables.len() as f32;
        let mut mean = Box::new([0.0f32; CODES]);
        for table in &tables {
            mean.iter_mut().zip(table.halves.iter()).for_each(|(m, h)| *m += share * h);
        }
        for table in &mut tables {
            table.halves.iter_mut().zip(mean.iter()).for_each(|(h, m)| *h -= m);
        }
        let products = tables.each_ref().map(|a| {
            tables.each_ref().map(|b| {
                a.halves.iter().zip(b.halves.iter()).map(|(a, b)| f64::from(*a) * f64::from(*b)).sum::<f64>()
            })
        });
        let principal = principal(&products);
        let root = share.sqrt();
        let mut vary = Box::new([0.0f32; CODES]);
        for (table, weight) in tables.iter().zip(principal) {
            vary.iter_mut().zip(table.halves.iter()).for_each(|(v, h)| *v += root * weight as f32 * h);
        }
        let most = mean.iter().copied().fold(0.0, f32::max);
        let solid = mean[CODES - 1];
        MarkTable { solid: (solid >= 0.99 * most).then_some(2.0 * solid), halves: mean, vary: Some(vary) }
    }
}

static LATELY: Lately<(Burn, Unsure), MarkTable> = Lately::new(4);

/// The eigenvector of the largest eigenvalue, of length 1, by power iteration.
fn principal<const N: usize>(products: &[[f64; N]; N]) -> [f64; N] {
    // Machines that are off the one way and the other: a start that is not across the vector that is looked for.
    let mut vector: [f64; N] = std::array::from_fn(|i| if i % 2 == 0 { 1.0 } else { -0.6 } + 0.1 * i as f64);
    for _ in 0..64 {
        let next: [f64; N] =
            std::array::from_fn(|i| products[i].iter().zip(&vector).map(|(p, v)| p * v).sum());
        let length = next.iter().map(|v| v * v).sum::<f64>().sqrt();
        if length < 1e-30 {
            return [0.0; N];
        }
        vector = next.map(|v| v / length);
    }
    vector
}

fn sum(a: &[f32; SAMPLES], b: &[f32; SAMPLES]) -> [f32; SAMPLES] {
    let mut sum = *a;
    for (sum, b) in sum.iter_mut().zip(b) {
        *sum += b;
    }
    sum
}

/// The code with left and right exchanged.
fn mirrored(code: usize) -> usize {
    ROWS.iter().fold(0, |all, &(_, each, first)| {
        let bits = 2 * each as u32 + 1;
        let row = (code >> first) as u32 & ((1 << bits) - 1);
        all | (row.reverse_bits() >> (u32::BITS - bits) << first) as usize
    })
}

/// The bit of a dot in the code of a half cell that lies `dx` columns from it; `row` is the dot's row as the
/// half sees it.
const fn bit(dx: isize, row: isize) -> u16 {
    let mut i = 0;
    while i < ROWS.len() {
        let (at, each, first) = ROWS[i];
        if at == row && dx <= each && -dx <= each {
            return 1 << (first as isize + each - dx);
        }
        i += 1;
    }
    0
}

const fn affected() -> [Affected; AFFECTED_CELLS] {
    let mut felt = [Affected { dx: 0, dy: 0, upper: 0, lower: 0 }; AFFECTED_CELLS];
    let (mut n, mut place) = (0, 0);
    while place < 25 {
        let (dx, dy) = (place % 5 - 2, place / 5 - 2);
        // Seen from the cell the dot lies at (-dx, -dy); the lower half looks upside down.
        let (upper, lower) = (bit(dx, -dy), bit(dx, dy));
        if upper | lower != 0 {
            felt[n] = Affected { dx, dy, upper, lower };
            n += 1;
        }
        place += 1;
    }
    assert!(n == AFFECTED_CELLS);
    felt
}

/// The response, finely tabulated up to the greatest exposure that dots can give: the mark at each step, and what
/// the next one has more.
struct Response {
    marks: Vec<[f32; 2]>,
}

impl Response {
    fn new(burn: &Burn, along: &[[f32; 5]], across: &[[f32; 5]]) -> Self {
        let most = |w: &[[f32; 5]]| w.iter().map(|p| p.iter().sum::<f32>()).fold(0.0, f32::max);
        let steps = (most(along) * most(across) * STEPS).ceil().min(1e6) as usize + 2;
        let marks: Vec<f32> = (0..steps).map(|i| burn.mark(i as f64 / f64::from(STEPS)) as f32).collect();
        Response { marks: marks.windows(2).map(|pair| [pair[0], pair[1] - pair[0]]).collect() }
    }

    /// The sum of the marks at all exposures of a half.
    fn total(&self, exposures: &[f32; SAMPLES]) -> f32 {
        // A number this large has no room for parts of one: adding it rounds, and what is rounded can be read from
        // its bits. Unlike a conversion, that is done to several numbers at once.
        const LARGE: f32 = 12_582_912.0;
        let most = (self.marks.len() - 1) as f32;
        let (mut steps, mut beyond) = ([0u32; SAMPLES], [0.0f32; SAMPLES]);
        for i in 0..SAMPLES {
            let place = (exposures[i] * STEPS).min(most);
            let whole = place - 0.5 + LARGE;
            steps[i] = whole.to_bits().wrapping_sub(LARGE.to_bits());
            beyond[i] = place - (whole - LARGE);
        }
        let mut total = 0.0;
        for (step, beyond) in steps.into_iter().zip(beyond) {
            let [mark, more] = self.marks[step as usize];
            total += mark + beyond * more;
        }
        total
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::mark::{CellSamples, Forecast, Unsure};
    use crate::plane::Dots;

    /// The mark of every cell by the table, with codes put together dot by dot.
    fn looked_up(table: &MarkTable, dots: &Dots) -> Vec<f32> {
        let (w, h) = (dots.width(), dots.height());
        let mut codes = vec![[0u16; 2]; w * h];
        for (x, y) in (0..w * h).map(|i| (i % w, i / w)).filter(|&(x, y)| dots.get(x, y)) {
            for f in AFFECTED {
                let (cx, cy) = (x as isize + f.dx, y as isize + f.dy);
                if (0..w as isize).contains(&cx) && (0..h as isize).contains(&cy) {
                    let code = &mut codes[cy as usize * w + cx as usize];
                    code[0] |= f.upper;
                    code[1] |= f.lower;
                }
            }
        }
        codes.iter().map(|c| table.halves[usize::from(c[0])] + table.halves[usize::from(c[1])]).collect()
    }

    #[test]
    fn expected_marks_are_the_mean_of_the_machines_and_one_part_tells_most_of_what_they_vary_by() {
        let (burn, unsure) = (Burn::plain(3.0, 1.5), Unsure { beam: 0.1, exposure: 0.1 });
        let (known, expected) = (MarkTable::new(&burn), MarkTable::expected(&burn, unsure));
        assert!(
            MarkTable::expected(&burn, Unsure::default()).vary.is_none(),
            "a known machine varies by nothing"
        );
        let tables = unsure.machines(&burn).map(|burn| MarkTable::new(&burn));
        let vary = expected.vary.unwrap();
        let (mut all, mut told) = (0.0f64, 0.0f64);
        for code in (0..CODES).step_by(7) {
            let marks = tables.each_ref().map(|t| f64::from(t.halves[code]));
            let mean = marks.iter().sum::<f64>() / 5.0;
            assert!((mean - f64::from(expected.halves[code])).abs() < 1e-6);
            all += marks.iter().map(|m| (m - mean) * (m - mean)).sum::<f64>() / 5.0;
            told += f64::from(vary[code]) * f64::from(vary[code]);
        }
        assert!(told < all && told > 0.75 * all, "{} of it", told / all);
        // A middling pattern under a steep response: the mean over what may be is softer than what is planned.
        assert!(known.halves[CODES - 1] > expected.halves[CODES - 1]);
    }

    #[test]
    fn cells_agree_with_the_forecast_of_the_whole_plane() {
        let (w, h) = (61, 47);
        for (beam, most, mean) in [(1.0, 0.01, 0.002), (1.5, 0.02, 0.002), (2.0, 0.06, 0.004)] {
            let burn = Burn::plain(beam, beam);
            let table = MarkTable::new(&burn);
            for often in [2u32, 5, 11] {
                let mut dots = Dots::off(w, h);
                let mut state = 12345u32;
                for i in 0..w * h {
                    state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
                    dots.set(i % w, i / w, (state >> 16) % 12 < often);
                }
                let ours = looked_up(&table, &dots);
                let whole = Forecast::with_samples(&burn, CellSamples::REFERENCE).plane(&dots);
                let off: Vec<f32> = ours.iter().zip(whole.data()).map(|(a, b)| (a - b).abs()).collect();
                let worst = off.iter().copied().fold(0.0, f32::max);
                let usual = off.iter().sum::<f32>() / off.len() as f32;
                assert!(worst < most && usual < mean, "beam {beam}, {often}/12: {worst}, mean {usual}");
            }
        }
    }
}
