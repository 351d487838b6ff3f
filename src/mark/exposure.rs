//! Exposure of the dots: where a dot's cell is sampled, and the beam summed over bits.
//!
//! Along a line the exposure of a sample depends on a few neighbouring bits only, so it is read from
//! tables indexed by bytes of the packed row, eight dots at a time. Across the lines the rows so made
//! are summed with the beam's weights.

use std::ops::Range;

use libm::erf;

use super::beam::{Profile, Taps};
use super::response::Burn;
use crate::plane::{Dots, Exposure};

/// Columns that are worked on at once: with seven rows of four phases, 28 kB, a first-level cache.
pub(super) const TILE: usize = 256;
/// Dots on either side that are taken in at most; wider beams are cut off there.
const FARTHEST: usize = 64;

/// Where a dot's cell is sampled: those positions `(column, row)` of an `n` by `n` grid of cell
/// centres for which `column + 2 row` is a multiple of `step` (1: all of them).
///
/// With `n` 8 and `step` 4, sixteen samples: every row of the 8 x 8 grid and every second column is
/// met, and the lattice's first alias that the beam lets through is the fourth column harmonic at a
/// quarter period, which cancels. Mean mark fraction against all 64 samples, for diffusion, random,
/// ordered, clustered and line patterns and beams of 0.8 to 4 pitches: within 0.03 %; a plain 4 x 4
/// grid, also sixteen samples, is off by 36 % at 0.8, 3 % at 1.436 and 0.6 % at 2 pitches.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct CellSamples {
    /// Grid cells a dot, each way.
    pub n: usize,
    /// One of so many grid cells is a sample.
    pub step: usize,
}

impl CellSamples {
    /// All 8 x 8 samples: the reference.
    pub const REFERENCE: CellSamples = CellSamples { n: 8, step: 1 };

    /// The fewest samples whose mean mark is within 0.3 % of the reference, for a beam whose smaller
    /// diameter is `diameter` pitches. Beams under 0.7 pitches need a grid finer than 8 x 8.
    pub fn for_beam(diameter: f64) -> Self {
        match diameter {
            d if d < 0.35 => CellSamples { n: 32, step: 4 },
            d if d < 0.7 => CellSamples { n: 16, step: 4 },
            d if d < 4.0 => CellSamples { n: 8, step: 4 },
            _ => CellSamples { n: 4, step: 2 },
        }
    }

    /// Whether the grid cell is a sample.
    fn has(&self, column: usize, row: usize) -> bool {
        let turn = if self.step == 2 { row } else { 2 * row };
        (column + turn).is_multiple_of(self.step)
    }

    /// How many samples a dot.
    pub fn count(&self) -> usize {
        (0..self.n * self.n).filter(|i| self.has(i % self.n, i / self.n)).count()
    }

    /// The grid columns that any row uses.
    fn columns(&self) -> Vec<usize> {
        (0..self.n).filter(|&c| (0..self.n).any(|r| self.has(c, r))).collect()
    }
}

/// The beam over bits, ready for use.
#[derive(Debug, Clone)]
pub(super) struct Kernel {
    /// Lines on either side that are taken in.
    pub radius_across: usize,
    /// Dots on either side that are taken in.
    pub radius_along: usize,
    /// Phases along.
    pub phases: usize,
    /// For each row of samples the weights of the lines, `2 radius_across + 1`.
    pub weights: Vec<f32>,
    /// For each phase its samples: their row, and their number when all are counted row by row.
    pub samples: Vec<Vec<(usize, usize)>>,
    /// For each phase and each byte of the window: what the byte gives to eight dots.
    tables: Vec<Vec<[f32; 8]>>,
    /// Bytes of the window `8 + 2 radius_along` bits wide.
    window: usize,
    /// 1 over the number of samples.
    pub share: f32,
}

impl Kernel {
    pub fn new(burn: &Burn, samples: CellSamples) -> Self {
        // A beam of nothing is refused where processes are read; here it must only not divide by zero.
        let (along, across) = burn.profiles();
        let (along, across) = (along.at_least(1e-3), across.at_least(1e-3));
        let radius_along = Taps::radius_for(along.diameter()).min(FARTHEST);
        let radius_across = Taps::radius_for(across.diameter()).min(FARTHEST);
        let columns = samples.columns();
        let at = |i: usize| (i as f64 + 0.5) / samples.n as f64 - 0.5;
        let (mut weights, mut of_phases) = (Vec::new(), vec![Vec::new(); columns.len()]);
        let (mut rows, mut count) = (0, 0);
        for row in 0..samples.n {
            let phases: Vec<usize> = (0..columns.len()).filter(|&p| samples.has(columns[p], row)).collect();
            if phases.is_empty() {
                continue;
            }
            let away = |j: usize| at(row) - (j as f64 - radius_across as f64);
            weights.extend((0..2 * radius_across + 1).map(|j| across.at(away(j)) as f32));
            for phase in phases {
                of_phases[phase].push((rows, count));
                count += 1;
            }
            rows += 1;
        }
        let window = (8 + 2 * radius_along).div_ceil(8);
        let mut tables = Vec::with_capacity(columns.len() * window);
        for &column in &columns {
            for byte in 0..window {
                tables.push(byte_table(along, at(column), byte, radius_along));
            }
        }
        Kernel {
            radius_across,
            radius_along,
            phases: columns.len(),
            weights,
            samples: of_phases,
            tables,
            window,
            share: 1.0 / samples.count() as f32,
        }
    }

    /// Bytes of zeros that a row needs on either side.
    pub fn pad(&self) -> usize {
        self.radius_along.div_ceil(8) + 1
    }

    /// The dots that each eight cells feel, from those on that begin at the byte `first` of a padded row: in `any` 0 where
    /// none is on, in `all` 255 where all are.
    #[inline(always)]
    pub fn near(&self, padded: &[u8], first: usize, any: &mut [u8], all: &mut [u8]) {
        let back = self.radius_along.div_ceil(8);
        let spare = 8 * back - self.radius_along;
        any.fill(0);
        all.fill(0xFF);
        for byte in 0..2 * back + 1 {
            let felt = match byte {
                0 => 0xFFu8 >> spare,
                _ if byte == 2 * back => 0xFF << spare,
                _ => 0xFF,
            };
            let bytes = &padded[first - back + byte..];
            any.iter_mut().zip(bytes).for_each(|(any, b)| *any |= b & felt);
            all.iter_mut().zip(bytes).for_each(|(all, b)| *all &= b | !felt);
        }
    }

    /// Exposure along the line, relative to a solid's, of the `8 * bytes` dots whose first byte is at
    /// `first` in the padded row: `out[phase * TILE + column]`.
    #[inline(always)]
    pub fn along(&self, padded: &[u8], first: usize, bytes: usize, out: &mut [f32]) {
        // The window starts `radius_along` bits before the byte.
        let back = self.radius_along.div_ceil(8);
        let shift = (8 * back - self.radius_along) as u32;
        let start = first - back;
        for phase in 0..self.phases {
            let out = &mut out[phase * TILE..phase * TILE + 8 * bytes];
            for (byte, table) in self.tables[phase * self.window..][..self.window].iter().enumerate() {
                let Ok(table) = <&[[f32; 8]; 256]>::try_from(table.as_slice()) else { continue };
                let pairs = &padded[start + byte..start + byte + bytes + 1];
                for (o, pair) in out.chunks_exact_mut(8).zip(pairs.windows(2)) {
                    let bits = (u32::from(pair[0]) << 8 | u32::from(pair[1])) >> (8 - shift);
                    let add = &table[(bits & 0xFF) as usize];
                    if byte == 0 {
                        o.copy_from_slice(add);
                    } else {
                        o.iter_mut().zip(add).for_each(|(o, a)| *o += a);
                    }
                }
            }
        }
    }

    /// Mean, least and greatest exposure of a solid over the sample positions.
    pub fn solid(&self) -> Vec<f32> {
        let line = |phase: usize| {
            // All bits of the window on: any of the eight dots will do, all agree.
            let mut sum = 0.0;
            for table in &self.tables[phase * self.window..][..self.window] {
                sum += table[255][0];
            }
            sum
        };
        let along: Vec<f32> = (0..self.phases).map(line).collect();
        let across: Vec<f32> =
            self.weights.chunks_exact(2 * self.radius_across + 1).map(|row| row.iter().sum()).collect();
        let mut all = vec![0.0; self.samples.iter().map(Vec::len).sum()];
        for (samples, along) in self.samples.iter().zip(along) {
            samples.iter().for_each(|&(row, number)| all[number] = across[row] * along);
        }
        all
    }

    /// The greatest exposure that any dots can give to any sample.
    pub fn most(&self) -> f32 {
        self.solid().into_iter().fold(0.0, f32::max)
    }
}

/// The exposure on a finer grid: `over` samples a dot each way (at `(i + ½)/over − ½` pitches from a
/// dot's centre) over a window of columns and rows. For the loupe and for checks; dots outside the
/// window count, and the window may be cut at the plane's edge.
pub fn fine(dots: &Dots, burn: &Burn, columns: Range<usize>, rows: Range<usize>, over: usize) -> Exposure {
    let columns = columns.start.min(dots.width())..columns.end.min(dots.width());
    let rows = rows.start.min(dots.height())..rows.end.min(dots.height());
    let over = over.max(1);
    let (along, across) = burn.profiles();
    let (along, across) = (along.at_least(1e-3), across.at_least(1e-3));
    let (near, far) = (Taps::radius_for(along.diameter()), Taps::radius_for(across.diameter()));
    let at = |i: usize| (i as f64 + 0.5) / over as f64 - 0.5;
    let weights = |radius: usize, f: &dyn Fn(f64) -> f64| -> Vec<f64> {
        let r = radius as f64;
        (0..over).flat_map(|p| (0..2 * radius + 1).map(move |j| at(p) - (j as f64 - r))).map(f).collect()
    };
    let (taps, lines) = (weights(near, &|d| along.at(d)), weights(far, &|d| across.at(d)));
    let width = columns.len() * over;
    let mut out = vec![0.0f64; width * rows.len() * over];
    let first = rows.start.saturating_sub(far);
    let mut line = vec![0.0f64; width];
    for y in first..(rows.end + far).min(dots.height()) {
        for (i, v) in line.iter_mut().enumerate() {
            let (x, phase) = (columns.start + i / over, i % over);
            *v = (0..2 * near + 1)
                .filter(|j| (near..near + dots.width()).contains(&(x + j)) && dots.get(x + j - near, y))
                .map(|j| taps[phase * (2 * near + 1) + j])
                .sum();
        }
        for row in rows.start.max(y.saturating_sub(far))..rows.end.min(y + far + 1) {
            for phase in 0..over {
                let weight = lines[phase * (2 * far + 1) + y + far - row];
                let at = ((row - rows.start) * over + phase) * width;
                out[at..at + width].iter_mut().zip(&line).for_each(|(o, l)| *o += weight * l);
            }
        }
    }
    Exposure::from_vec(width, rows.len() * over, out.into_iter().map(|v| v as f32).collect())
}

/// Exposure at distance `d` (pitches) from a dot swept one pitch, beam of 1/e² diameter `diameter`.
pub(super) fn swept(diameter: f64, d: f64) -> f64 {
    let s = diameter / 4.0 * std::f64::consts::SQRT_2;
    0.5 * (erf((d + 0.5) / s) - erf((d - 0.5) / s))
}

/// Exposure at distance `d` (line pitches) across a line, relative to a solid's mean.
pub(super) fn stamped(diameter: f64, d: f64) -> f64 {
    let s = diameter / 4.0;
    libm::exp(-d * d / (2.0 * s * s)) / ((2.0 * std::f64::consts::PI).sqrt() * s)
}

/// What each value of byte `byte` of the window gives to the eight dots, at position `x` in their cells.
fn byte_table(along: Profile, x: f64, byte: usize, radius: usize) -> Vec<[f32; 8]> {
    let mut of_bit = [[0.0f64; 8]; 8];
    for (bit, gives) in of_bit.iter_mut().enumerate() {
        for (dot, g) in gives.iter_mut().enumerate() {
            // Column of the bit relative to the dot's.
            let away = (8 * byte + bit) as f64 - radius as f64 - dot as f64;
            if away.abs() <= radius as f64 {
                *g = along.at(x - away);
            }
        }
    }
    (0..256usize)
        .map(|value| {
            let mut sum = [0.0f64; 8];
            for (bit, gives) in of_bit.iter().enumerate() {
                if value >> (7 - bit) & 1 == 1 {
                    sum.iter_mut().zip(gives).for_each(|(s, g)| *s += g);
                }
            }
            sum.map(|s| s as f32)
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn sixteen_samples_meet_every_row_of_the_reference() {
        let s = CellSamples::for_beam(1.436);
        assert_eq!(s.count(), 16);
        assert_eq!(s.columns().len(), 4);
        assert!((0..8).all(|r| (0..8).any(|c| s.has(c, r))));
        assert_eq!(CellSamples::REFERENCE.count(), 64);
        assert_eq!(CellSamples::for_beam(5.0).count(), 8);
    }

    #[test]
    fn tables_of_bytes_give_the_sum_over_dots() {
        for along in [0.9, 1.436, 3.0, 5.2, 9.0] {
            let kernel = Kernel::new(&Burn::plain(along, along), CellSamples::REFERENCE);
            let row: Vec<u8> = (0..24u32).map(|i| (i.wrapping_mul(2654435761) >> 13) as u8).collect();
            let pad = kernel.pad();
            let mut padded = vec![0; row.len() + 2 * pad];
            padded[pad..pad + row.len()].copy_from_slice(&row);
            let mut out = vec![0.0; kernel.phases * TILE];
            kernel.along(&padded, pad, row.len(), &mut out);
            let radius = kernel.radius_along as i64;
            for phase in 0..8 {
                let x = (phase as f64 + 0.5) / 8.0 - 0.5;
                for dot in 0..8 * row.len() as i64 {
                    let want: f64 = (dot - radius..=dot + radius)
                        .filter(|&c| c >= 0 && c < 8 * row.len() as i64)
                        .filter(|&c| row[c as usize / 8] >> (7 - c % 8) & 1 == 1)
                        .map(|c| swept(along, x - (c - dot) as f64))
                        .sum();
                    let got = out[phase * TILE + dot as usize];
                    assert!((f64::from(got) - want).abs() < 2e-6, "{along} {phase} {dot}: {got} {want}");
                }
            }
        }
    }

    #[test]
    fn what_eight_cells_feel_is_told_to_the_dot() {
        for along in [0.4, 0.9, 1.436, 3.0, 5.2, 9.0] {
            let kernel = Kernel::new(&Burn::plain(along, along), CellSamples::REFERENCE);
            let (pad, radius) = (kernel.pad(), kernel.radius_along as isize);
            for (byte, on) in (0..10).flat_map(|byte| [(byte, true), (byte, false)]) {
                for bit in 0..8 {
                    // All dots alike but one.
                    let mut padded = vec![if on { 0x00u8 } else { 0xFF }; 10 + 2 * pad];
                    padded[pad + byte] ^= 0x80 >> bit;
                    let (mut any, mut all) = ([0u8; 10], [0u8; 10]);
                    kernel.near(&padded, pad, &mut any, &mut all);
                    for lane in 0..10 {
                        let away = 8 * byte as isize + bit - 8 * lane as isize;
                        let felt = (-radius..8 + radius).contains(&away);
                        assert_eq!(any[lane] != 0, felt || !on, "{along} {byte} {bit} {lane}");
                        assert_eq!(all[lane] == 0xFF, !felt && !on, "{along} {byte} {bit} {lane}");
                    }
                }
            }
        }
    }
}
