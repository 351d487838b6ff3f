//! Blue noise: thresholds by void and cluster (R. Ulichney, "The void-and-cluster method for dither array
//! generation", Proc. SPIE 1913, 1993).
//!
//! The mask is made at first use, in whole numbers, so that it is the same everywhere: 95 ms, on a busy
//! machine up to 200 ms (`cargo bench --bench screen make_the`). A list of screens or a job without it does
//! not pay for it.

use std::sync::OnceLock;

use libm::exp;

use super::{Options, Screen, Wants, threshold_array};
use crate::plane::{Dots, Tone};
use crate::progress::Progress;

/// The blue-noise screen.
pub const BLUE_NOISE: Screen = Screen {
    name: "blue-noise",
    wants: Wants::Coverage,
    searches: false,
    takes: &["dot-gain"],
    make: blue_noise,
};

/// Side of the mask in dots. It repeats every 128 dots, 10.7 mm at 304 dpi.
pub const SIDE: usize = 128;

/// Marks each dot whose tone is above (rank + ½) / 128².
pub fn blue_noise(tone: &Tone, _options: &Options, _progress: &dyn Progress) -> Dots {
    threshold_array::above(tone, thresholds(), SIDE)
}

/// The mask as thresholds, row-major, each of (r + ½) / 128² once.
pub fn thresholds() -> &'static [f32] {
    static THRESHOLDS: OnceLock<Vec<f32>> = OnceLock::new();
    THRESHOLDS.get_or_init(|| ranks().iter().map(|&r| (f32::from(r) + 0.5) / (SIDE * SIDE) as f32).collect())
}

/// The mask's ranks, row-major: 0 lights first.
pub fn ranks() -> Vec<u16> {
    const CELLS: usize = SIDE * SIDE;
    const FEW: usize = CELLS / 10;
    let mut ranks = vec![0u16; CELLS];

    // A tenth of the cells, spread evenly: move the tightest cluster into the largest void until the
    // void that is left is the one just made.
    let mut few = Field::new(far_kernel());
    let mut state = 1u32;
    while few.count < FEW {
        state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        let cell = (state >> 18) as usize;
        if !few.member[cell] {
            few.put(cell);
        }
    }
    loop {
        let cluster = few.tightest();
        few.take(cluster);
        let void = few.emptiest();
        few.put(void);
        if void == cluster {
            break;
        }
    }
    let start = few.member.clone();

    // From there down to none: the tightest cluster goes first and lights last.
    for rank in (0..FEW).rev() {
        let cell = few.tightest();
        few.take(cell);
        ranks[cell] = rank as u16;
    }
    // Up to nine tenths: the largest void lights next.
    let mut most = Field::new(near_kernel());
    start.iter().enumerate().filter(|(_, m)| **m).for_each(|(cell, _)| most.put(cell));
    for rank in FEW..CELLS - FEW {
        let cell = most.emptiest();
        most.put(cell);
        ranks[cell] = rank as u16;
    }
    // And to the end: of the few cells left the tightest cluster lights next.
    let mut left = Field::new(far_kernel());
    most.member.iter().enumerate().filter(|(_, m)| !**m).for_each(|(cell, _)| left.put(cell));
    for rank in CELLS - FEW..CELLS {
        let cell = left.tightest();
        left.take(cell);
        ranks[cell] = rank as u16;
    }
    ranks
}

/// A kernel of odd side with its middle in the middle.
struct Kernel {
    reach: usize,
    weights: Vec<i32>,
}

fn kernel(reach: usize, weight: impl Fn(f64) -> f64) -> Kernel {
    let r = reach as i32;
    let weights = (-r..=r)
        .flat_map(|y| (-r..=r).map(move |x| f64::from(x * x + y * y)))
        .map(|q| weight(q) as i32)
        .collect();
    Kernel { reach, weights }
}

/// Ulichney's Gaussian, σ 1.5; beyond eight cells it is below the unit.
fn near_kernel() -> Kernel {
    kernel(8, |q| (exp(-q / 4.5) * f64::from(1 << 20)).round())
}

/// The same with a faint wide Gaussian (σ 8, 1/4096) that tells apart what the narrow one sees as equal: when
/// few cells are lit, they are farther apart than σ 1.5 reaches.
fn far_kernel() -> Kernel {
    kernel(30, |q| ((exp(-q / 4.5) + exp(-q / 128.0) / 4096.0) * f64::from(1 << 20)).round())
}

/// Lit cells on a torus and how crowded each cell is.
struct Field {
    kernel: Kernel,
    member: Vec<bool>,
    crowd: Vec<i32>,
    count: usize,
    /// For each row the most crowded member, and the least crowded other with the sign turned round; the
    /// smallest number where there is none.
    tight: Vec<(i32, usize)>,
    empty: Vec<(i32, usize)>,
    /// Rows whose two are no longer known.
    stale: Vec<[bool; 2]>,
}

impl Field {
    fn new(kernel: Kernel) -> Self {
        Field {
            kernel,
            member: vec![false; SIDE * SIDE],
            crowd: vec![0; SIDE * SIDE],
            count: 0,
            tight: vec![(i32::MIN, 0); SIDE],
            empty: vec![(i32::MIN, 0); SIDE],
            stale: vec![[true; 2]; SIDE],
        }
    }

    fn put(&mut self, cell: usize) {
        self.member[cell] = true;
        self.count += 1;
        self.spread(cell, 1);
    }

    fn take(&mut self, cell: usize) {
        self.member[cell] = false;
        self.count -= 1;
        self.spread(cell, -1);
    }

    fn spread(&mut self, cell: usize, sign: i32) {
        let (x, y) = (cell % SIDE, cell / SIDE);
        let side = 2 * self.kernel.reach + 1;
        let (left, top) = (x + SIDE - self.kernel.reach, y + SIDE - self.kernel.reach);
        for (j, weights) in self.kernel.weights.chunks_exact(side).enumerate() {
            let row = (top + j) % SIDE;
            self.stale[row] = [true; 2];
            let crowd = &mut self.crowd[row * SIDE..(row + 1) * SIDE];
            let first = left % SIDE;
            let until_wrap = side.min(SIDE - first);
            let (head, tail) = weights.split_at(until_wrap);
            crowd[first..].iter_mut().zip(head).for_each(|(c, w)| *c += sign * w);
            crowd.iter_mut().zip(tail).for_each(|(c, w)| *c += sign * w);
        }
    }

    /// The most crowded lit cell; of equals the first.
    fn tightest(&mut self) -> usize {
        for row in 0..SIDE {
            if std::mem::take(&mut self.stale[row][0]) {
                self.tight[row] =
                    first_of_most(row, &self.crowd, &self.member, |c, m| if m { c } else { i32::MIN });
            }
        }
        self.tight.iter().fold((i32::MIN, 0), |a, &b| if b.0 > a.0 { b } else { a }).1
    }

    /// The least crowded cell that is not lit; of equals the first.
    fn emptiest(&mut self) -> usize {
        for row in 0..SIDE {
            if std::mem::take(&mut self.stale[row][1]) {
                self.empty[row] =
                    first_of_most(row, &self.crowd, &self.member, |c, m| if m { i32::MIN } else { -c });
            }
        }
        self.empty.iter().fold((i32::MIN, 0), |a, &b| if b.0 > a.0 { b } else { a }).1
    }
}

/// The largest worth in a row and the first cell that has it. The largest is found without branches, eight
/// cells side by side, then the cell.
fn first_of_most(
    row: usize,
    crowd: &[i32],
    member: &[bool],
    worth: impl Fn(i32, bool) -> i32,
) -> (i32, usize) {
    let cells = row * SIDE..(row + 1) * SIDE;
    let (crowd, member) = (&crowd[cells.clone()], &member[cells.clone()]);
    let mut most = [i32::MIN; 8];
    for (crowd, member) in crowd.as_chunks::<8>().0.iter().zip(member.as_chunks::<8>().0) {
        for k in 0..8 {
            most[k] = most[k].max(worth(crowd[k], member[k]));
        }
    }
    let most = most.into_iter().fold(i32::MIN, i32::max);
    let at = crowd.iter().zip(member).position(|(&c, &m)| worth(c, m) == most);
    (most, cells.start + at.unwrap_or(0))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_rank_is_there_once() {
        let mut ranks = ranks();
        ranks.sort_unstable();
        assert!(ranks.iter().enumerate().all(|(i, &r)| usize::from(r) == i));
    }

    /// Radially averaged power of the mask's pattern at coverage g, in rings one cycle a mask wide, and the
    /// spread of the power within each ring over its mean.
    fn spectrum(g: f64) -> (Vec<f64>, Vec<f64>) {
        let mut field: Vec<(f64, f64)> =
            thresholds().iter().map(|&t| (f64::from(u8::from(f64::from(t) < g)) - g, 0.0)).collect();
        let turns: Vec<(f64, f64)> =
            (0..SIDE).map(|k| (-std::f64::consts::TAU * k as f64 / SIDE as f64).sin_cos()).collect();
        // The discrete Fourier transform by its definition, along the rows and then along the columns.
        for _ in 0..2 {
            field = (0..SIDE * SIDE)
                .map(|i| {
                    let (k, row) = (i / SIDE, &field[i % SIDE * SIDE..][..SIDE]);
                    row.iter().enumerate().fold((0.0, 0.0), |(re, im), (x, v)| {
                        let (sin, cos) = turns[k * x % SIDE];
                        (re + v.0 * cos - v.1 * sin, im + v.0 * sin + v.1 * cos)
                    })
                })
                .collect();
        }
        let mut rings = vec![Vec::new(); SIDE];
        for (i, v) in field.iter().enumerate() {
            let f = |k: usize| k.min(SIDE - k) as f64;
            let r = (f(i % SIDE).powi(2) + f(i / SIDE).powi(2)).sqrt().round() as usize;
            rings[r.min(SIDE - 1)].push((v.0 * v.0 + v.1 * v.1) / (SIDE * SIDE) as f64 / (g * (1.0 - g)));
        }
        let mean = |v: &Vec<f64>| v.iter().sum::<f64>() / v.len().max(1) as f64;
        let means: Vec<f64> = rings.iter().map(mean).collect();
        let spread = rings
            .iter()
            .zip(&means)
            .map(|(v, m)| v.iter().map(|p| (p - m).powi(2)).sum::<f64>() / v.len().max(1) as f64 / m.powi(2))
            .collect();
        (means, spread)
    }

    #[test]
    fn the_spectrum_is_blue_with_its_peak_at_the_root_of_the_coverage() {
        // R. Ulichney, Digital Halftoning (MIT Press 1987): principal frequency √g for g ≤ ¼, in cycles a
        // dot; below it there is next to no power. From memory; the peak of a mask lies within 15 %.
        for g in [1.0 / 32.0, 1.0 / 16.0, 1.0 / 8.0, 0.18] {
            let (power, _) = spectrum(g);
            let rings = &power[2..SIDE / 2];
            let peak = rings.iter().enumerate().max_by(|a, b| a.1.total_cmp(b.1)).map(|p| p.0 + 2).unwrap();
            let (f, expected) = (peak as f64 / SIDE as f64, g.sqrt());
            assert!((f / expected - 1.0).abs() < 0.15, "g {g}: peak at {f}, expected {expected}");
            let low = (expected * SIDE as f64 / 2.0) as usize;
            let mean_low = power[1..=low].iter().sum::<f64>() / low as f64;
            assert!(mean_low < 0.1, "g {g}: power {mean_low} below half the principal frequency");
            assert!(power[peak] > 1.5, "g {g}: peak of {}", power[peak]);
        }
    }

    #[test]
    fn no_direction_stands_out() {
        // For noise without direction the power within a ring varies as an exponential law does: spread 1.
        let (power, spread) = spectrum(1.0 / 8.0);
        let rings: Vec<f64> = (10..60).filter(|&r| power[r] > 0.05).map(|r| spread[r]).collect();
        let mean = rings.iter().sum::<f64>() / rings.len() as f64;
        assert!((0.5..2.0).contains(&mean), "mean spread {mean}");
    }

    #[test]
    fn flat_tones_keep_their_mean() {
        let options = Options::new(crate::mark::Burn::plain(1.5, 1.5), 0.1, 0.1);
        for level in 0..=255 {
            let g = level as f32 / 255.0;
            let dots = blue_noise(&Tone::filled(128, 128, g), &options, &crate::progress::Silent);
            assert!((dots.coverage() - f64::from(g)).abs() <= 0.5 / 16384.0 + 1e-7, "level {level}");
        }
    }
}
