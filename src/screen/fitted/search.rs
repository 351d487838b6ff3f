//! The search within one tile, its surroundings held still.

use super::cells::{Cells, Half};
use super::moves::{MOST_CELLS, Move, Moves};
use super::spread::{REACH, Weights};
use crate::plane::{Dots, Tone};

/// Dots on a side of a tile.
pub const TILE: usize = 96;
/// Dots around a tile that are looked at: cells felt by an exchange lie up to 4 outside, errors weigh over
/// [`REACH`] beyond them, and their codes take in two more each way.
pub const HALO: usize = REACH + 8;
const STRIDE: usize = TILE + 2 * HALO;
const PLANE: usize = STRIDE * STRIDE;
/// Dots either side to which the effect of a change is told at once: all that the weights reach. Telling only
/// the nearest seven and the rest before the next pass let whole borders answer the same pressure at once, and
/// more passes made it worse (beam 1.0: 41.5 dB after 4 passes, 39.7 dB after 16).
const NEAR: usize = REACH;
const NEAR_SIDE: usize = 2 * NEAR + 1;

/// States of a dot.
const ON: u8 = 1;
/// Not to be changed: in the surroundings, or beyond the plane.
const FIXED: u8 = 2;

/// A tile with its surroundings, all planes of [`STRIDE`] × [`STRIDE`] values.
pub struct Tile<'a> {
    cells: &'a Cells,
    weights: &'a Weights,
    moves: &'a Moves,
    near: Vec<[f32; NEAR_SIDE]>,
    state: Vec<u8>,
    /// Codes of upper, then of lower half cells, and their present marks.
    codes: Vec<u16>,
    marks: Vec<f32>,
    wanted: Vec<f32>,
    /// 1 for cells on the plane, 0 beyond it.
    counts: Vec<f32>,
    /// Error of the forecast, correlated with the weights.
    pressure: Vec<f32>,
    /// For each dot what switching it would cost when last tried, and the mark it would add.
    cost: Vec<f32>,
    added: Vec<f32>,
    size: (usize, usize),
}

impl<'a> Tile<'a> {
    /// The tile whose first dot is at `(x0, y0)`.
    pub fn new(
        tone: &Tone,
        dots: &Dots,
        (x0, y0): (usize, usize),
        cells: &'a Cells,
        weights: &'a Weights,
        moves: &'a Moves,
    ) -> Self {
        let (w, h) = (tone.width(), tone.height());
        let size = (TILE.min(w - x0), TILE.min(h - y0));
        let mut tile = Tile {
            cells,
            weights,
            moves,
            near: (0..NEAR_SIDE)
                .map(|y| {
                    std::array::from_fn(|x| {
                        weights.at(x as isize - NEAR as isize, y as isize - NEAR as isize)
                    })
                })
                .collect(),
            state: vec![FIXED; PLANE],
            codes: vec![0; 2 * PLANE],
            marks: vec![0.0; 2 * PLANE],
            wanted: vec![0.0; PLANE],
            counts: vec![0.0; PLANE],
            pressure: vec![0.0; PLANE],
            cost: vec![0.0; PLANE],
            added: vec![0.0; PLANE],
            size,
        };
        let touched: Vec<(isize, u16)> = Cells::felt()
            .iter()
            .map(|f| {
                let half = if f.half == Half::Lower { PLANE as isize } else { 0 };
                (f.dy * STRIDE as isize + f.dx + half, f.mask)
            })
            .collect();
        for ty in 0..STRIDE {
            let Some(y) = (y0 + ty).checked_sub(HALO).filter(|&y| y < h) else { continue };
            for tx in 0..STRIDE {
                let Some(x) = (x0 + tx).checked_sub(HALO).filter(|&x| x < w) else { continue };
                let at = ty * STRIDE + tx;
                tile.wanted[at] = tone.row(y)[x].clamp(0.0, 1.0);
                tile.counts[at] = 1.0;
                let on = dots.get(x, y);
                // Dots in the outermost two rows only lend their marks to cells that are not looked at.
                let inside = |t: usize| (2..STRIDE - 2).contains(&t);
                if on && inside(tx) && inside(ty) {
                    for &(offset, mask) in &touched {
                        tile.codes[at.wrapping_add_signed(offset)] |= mask;
                    }
                }
                let own = |t: usize, n: usize| (HALO..HALO + n).contains(&t);
                if own(tx, size.0) && own(ty, size.1) {
                    tile.state[at] = u8::from(on);
                }
            }
        }
        for (mark, code) in tile.marks.iter_mut().zip(&tile.codes) {
            *mark = cells.halves[usize::from(*code)];
        }
        tile
    }

    /// The dots of the tile, row after row.
    pub fn dots(&self) -> Vec<Vec<bool>> {
        (0..self.size.1)
            .map(|y| {
                let from = (y + HALO) * STRIDE + HALO;
                self.state[from..from + self.size.0].iter().map(|&s| s == ON).collect()
            })
            .collect()
    }

    /// Searches in so many passes, or fewer when none finds anything more.
    pub fn search(&mut self, passes: u32) {
        for pass in 0..passes {
            let changes = pulp::Arch::new().dispatch(|| {
                self.weigh();
                if pass == 0 {
                    self.look();
                }
                self.pass(pass % 2 == 1)
            });
            if changes == 0 {
                break;
            }
        }
    }

    /// Correlates the error of the forecast with the weights.
    #[inline(always)]
    fn weigh(&mut self) {
        let mut error = vec![0.0f32; PLANE];
        // The outermost cells lack dots of their surroundings.
        for y in 4..STRIDE - 4 {
            let row = y * STRIDE + 4..(y + 1) * STRIDE - 4;
            let halves = self.marks[row.clone()].iter().zip(&self.marks[PLANE..][row.clone()]);
            let wanted = self.wanted[row.clone()].iter().zip(&self.counts[row.clone()]);
            for ((e, (upper, lower)), (want, count)) in error[row].iter_mut().zip(halves).zip(wanted) {
                *e = (upper + lower - want) * count;
            }
        }
        self.pressure.fill(0.0);
        let mut tall = [0.0f32; STRIDE];
        for y in REACH..STRIDE - REACH {
            let out = &mut self.pressure[y * STRIDE + REACH..(y + 1) * STRIDE - REACH];
            for (across, along) in &self.weights.lines {
                tall.fill(0.0);
                for (j, &weight) in across.iter().enumerate() {
                    let row = &error[(y + j - REACH) * STRIDE..][..STRIDE];
                    tall.iter_mut().zip(row).for_each(|(t, e)| *t += weight * e);
                }
                for (j, &weight) in along.iter().enumerate() {
                    out.iter_mut().zip(&tall[j..]).for_each(|(o, t)| *o += weight * t);
                }
            }
        }
    }

    /// What each dot's switch would cost, before any pass.
    #[inline(always)]
    fn look(&mut self) {
        for y in HALO..HALO + self.size.1 {
            for at in y * STRIDE + HALO..y * STRIDE + HALO + self.size.0 {
                self.try_switch(at);
            }
        }
    }

    #[inline(always)]
    fn try_switch(&mut self, at: usize) -> (f32, [f32; MOST_CELLS]) {
        let mv = &self.moves.switch;
        let (linear, added) = self.effect(mv, at);
        let cost = 2.0 * linear + mv.least_cost(&added);
        self.cost[at] = cost;
        self.added[at] = added[..mv.cells.len()].iter().sum();
        (cost, added)
    }

    /// What a change adds to the cells' marks, and that against the pressure.
    #[inline(always)]
    fn effect(&self, mv: &Move, at: usize) -> (f32, [f32; MOST_CELLS]) {
        let mut added = [0.0f32; MOST_CELLS];
        for t in &mv.touched {
            let code = at.wrapping_add_signed(t.code);
            added[t.cell] += self.cells.halves[usize::from(self.codes[code] ^ t.mask)] - self.marks[code];
        }
        let mut linear = 0.0;
        for (a, &cell) in added.iter_mut().zip(&mv.cells) {
            let cell = at.wrapping_add_signed(cell);
            *a *= self.counts[cell];
            linear += *a * self.pressure[cell];
        }
        (linear, added)
    }

    /// One pass over the tile; the number of changes made.
    #[inline(always)]
    fn pass(&mut self, backward: bool) -> usize {
        let moves = self.moves;
        let mut changes = 0;
        for row in 0..self.size.1 {
            for column in 0..self.size.0 {
                let (x, y) =
                    if backward { (self.size.0 - 1 - column, self.size.1 - 1 - row) } else { (column, row) };
                let at = (y + HALO) * STRIDE + x + HALO;
                let state = self.state[at];
                let (cost, added) = self.try_switch(at);
                let mut best = (0.0f32, None, [0.0f32; MOST_CELLS]);
                if cost < 0.0 {
                    let exact = cost - moves.switch.least_cost(&added) + moves.switch.own_cost(&added);
                    if exact < -SLACK {
                        best = (exact, Some(&moves.switch), added);
                    }
                }
                // Exchanges: the likeliest by what the two switches would cost on their own.
                let mut likely = (DOUBT, None);
                for mv in &moves.exchanges {
                    let other = at.wrapping_add_signed(mv.partner);
                    if self.state[other] != 1 - state {
                        continue;
                    }
                    let guess = cost + self.cost[other] + 2.0 * mv.pull * self.added[at] * self.added[other];
                    if guess < likely.0 {
                        likely = (guess, Some(mv));
                    }
                }
                if let Some(mv) = likely.1 {
                    let (linear, added) = self.effect(mv, at);
                    let least = 2.0 * linear + mv.least_cost(&added);
                    if least < best.0 {
                        let exact = 2.0 * linear + mv.own_cost(&added);
                        if exact < best.0 - SLACK {
                            best = (exact, Some(mv), added);
                        }
                    }
                }
                if let Some(mv) = best.1 {
                    self.make(mv, at, &best.2);
                    changes += 1;
                }
            }
        }
        changes
    }

    /// Makes a change.
    #[inline(always)]
    fn make(&mut self, mv: &Move, at: usize, added: &[f32; MOST_CELLS]) {
        self.state[at] ^= ON;
        if mv.partner != 0 {
            self.state[at.wrapping_add_signed(mv.partner)] ^= ON;
        }
        for t in &mv.touched {
            let code = at.wrapping_add_signed(t.code);
            self.codes[code] ^= t.mask;
            self.marks[code] = self.cells.halves[usize::from(self.codes[code])];
        }
        for (&a, &cell) in added.iter().zip(&mv.cells) {
            if a == 0.0 {
                continue;
            }
            let first = at.wrapping_add_signed(cell) - NEAR * STRIDE - NEAR;
            for (y, near) in self.near.iter().enumerate() {
                let row = &mut self.pressure[first + y * STRIDE..][..NEAR_SIDE];
                row.iter_mut().zip(near).for_each(|(p, n)| *p += a * n);
            }
        }
    }
}

/// Above this guess an exchange is not looked into. The guess leaves out how near dots change each other's
/// marks, which is a tenth and more of a dot's whole weight: looking into the likeliest exchange even where
/// the guess promised no gain brought 0.1 to 0.2 dB on a photo.
const DOUBT: f32 = 0.2;
/// The least gain for which a change is made: rounding of sums of this size stays below it.
const SLACK: f32 = 1e-6;
