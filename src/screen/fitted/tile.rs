//! One tile of the plane with its surroundings, as the search works on it.

use super::autocorrelation::{Autocorrelation, REACH, REACH_ALONG};
use super::mark_table::CODES;
use super::moves::{AROUND, NEVER, SearchMoves};
use crate::plane::{Dots, Tone};
use crate::screen::simd::{Eights, Work, eight, eights, set_eight};

/// Dots on a side of a tile.
pub const TILE: usize = 96;
/// Dots either side of the tile whose cells a change can touch.
pub const RIM: usize = AROUND + 2;
/// Dots around a tile that are looked at: errors weigh over [`REACH`] beyond the cells touched, and the codes
/// of cells take in two more each way.
pub const HALO: usize = RIM + REACH + 2;
/// The same left and right of it.
pub const ASIDE: usize = RIM + REACH_ALONG + 2;
/// Places on a row of a tile's planes, and rows.
pub const STRIDE: usize = TILE + 2 * ASIDE;
const HIGH: usize = TILE + 2 * HALO;
const PLANE: usize = STRIDE * HIGH;
/// Tones so near to none, or to what a solid reaches, have lone dots or holes, which are only moved. Switched one by
/// one most would be lost, as each costs more than the tone it stands for, and what is left would lie in patches.
const LONE: f32 = 0.02;
/// Nearer than this they are strays that came in from other tones.
const STRAY: f32 = 0.002;

/// The cell of one dot.
#[derive(Debug, Clone, Copy)]
pub struct TileCell<const C: usize> {
    /// Codes of its halves, and their present marks.
    pub upper: u16,
    pub lower: u16,
    pub upper_mark: [f32; C],
    pub lower_mark: [f32; C],
    /// 1 on the plane, 0 beyond it.
    pub counts: f32,
}

/// A tile with its surroundings, all planes of [`STRIDE`] × [`HIGH`] values. What marks are made of has `C` parts: the
/// expected mark, and where the burn is not known for sure also what it varies by. The first should be the wanted tone,
/// the others nothing; what all of them lack counts alike.
pub struct Tile<'a, const C: usize> {
    pub(super) halves: &'a [[f32; C]; CODES],
    pub(super) weights: &'a Autocorrelation,
    pub(super) moves: &'a SearchMoves,
    /// 1 for a dot that is off, −1 for one that is on, 0 for one not to be changed: barred, in the surroundings, or
    /// beyond the plane.
    pub(super) toggle_sign: Vec<f32>,
    /// What a toggle by itself costs on top, where only swaps are wanted.
    pub(super) alone: Vec<f32>,
    pub(super) cells: Vec<TileCell<C>>,
    /// Error of the forecast, correlated with the weights.
    pub(super) correlation: [Vec<f32>; C],
    /// For each dot what toggling it would cost and what mark it would add when last looked at, the correlation
    /// at that time, and the least that any change of it would have cost; below 0 where dots near it have
    /// changed since.
    pub(super) cost: Vec<f32>,
    pub(super) added_mark: [Vec<f32>; C],
    pub(super) correlation_then: [Vec<f32>; C],
    pub(super) least_cost: Vec<f32>,
    pub(super) size: (usize, usize),
}

impl<'a, const C: usize> Tile<'a, C> {
    /// The tile whose first dot is at `(x0, y0)`; dots that are `barred` are off and stay so.
    pub fn new(
        tone: &Tone,
        dots: &Dots,
        (x0, y0): (usize, usize),
        (halves, solid): (&'a [[f32; C]; CODES], Option<f32>),
        weights: &'a Autocorrelation,
        moves: &'a SearchMoves,
        barred: Option<&Dots>,
    ) -> Self {
        let (w, h) = (tone.width(), tone.height());
        let size = (TILE.min(w - x0), TILE.min(h - y0));
        let zero = || vec![0.0f32; PLANE];
        let planes = || std::array::from_fn(|_| vec![0.0f32; PLANE]);
        let nothing =
            TileCell { upper: 0, lower: 0, upper_mark: [0.0; C], lower_mark: [0.0; C], counts: 0.0 };
        let mut tile = Tile {
            halves,
            weights,
            moves,
            toggle_sign: zero(),
            alone: zero(),
            cells: vec![nothing; PLANE],
            correlation: planes(),
            cost: zero(),
            added_mark: planes(),
            correlation_then: planes(),
            least_cost: zero(),
            size,
        };
        let (mut on, mut wanted) = (vec![0u16; PLANE], zero());
        let own = |tx: usize, ty: usize| {
            (ASIDE..ASIDE + size.0).contains(&tx) && (HALO..HALO + size.1).contains(&ty)
        };
        for ty in 0..HIGH {
            let Some(y) = (y0 + ty).checked_sub(HALO).filter(|&y| y < h) else { continue };
            let tones = tone.row(y);
            for tx in 0..STRIDE {
                let Some(x) = (x0 + tx).checked_sub(ASIDE).filter(|&x| x < w) else { continue };
                let at = ty * STRIDE + tx;
                wanted[at] = tones[x].clamp(0.0, 1.0);
                tile.cells[at].counts = 1.0;
                on[at] = u16::from(dots.get(x, y));
                let lone = |distance: f32| (STRAY..LONE).contains(&distance);
                if lone(wanted[at]) || solid.is_some_and(|solid| lone(solid - wanted[at])) {
                    tile.alone[at] = NEVER;
                }
                if own(tx, ty) && barred.is_none_or(|barred| !barred.get(x, y)) {
                    tile.toggle_sign[at] = if on[at] == 1 { -1.0 } else { 1.0 };
                }
            }
        }
        eights(Fill { tile: &mut tile, on: &on, wanted: &wanted });
        tile
    }

    /// The dots of the tile.
    pub fn dots(&self) -> Dots {
        let mut dots = Dots::off(self.size.0, self.size.1);
        for y in 0..self.size.1 {
            let signs = &self.toggle_sign[(y + HALO) * STRIDE + ASIDE..][..self.size.0];
            signs.iter().enumerate().filter(|(_, s)| **s < 0.0).for_each(|(x, _)| dots.set(x, y, true));
        }
        dots
    }
}

/// Fills in codes, marks and correlation.
struct Fill<'t, 'a, const C: usize> {
    tile: &'t mut Tile<'a, C>,
    on: &'t [u16],
    wanted: &'t [f32],
}

impl<const C: usize> Work for Fill<'_, '_, C> {
    type Output = ();

    #[inline(always)]
    fn run<S: Eights>(self, simd: S) {
        let errors = marks(self.tile, self.on, self.wanted);
        let Tile { correlation, weights, size, .. } = self.tile;
        for (out, error) in correlation.iter_mut().zip(&errors) {
            weigh(simd, out, error, weights, size.1);
        }
    }
}

/// Sets the codes and marks of all cells; returns the error of the forecast.
#[inline(always)]
fn marks<const C: usize>(tile: &mut Tile<C>, on: &[u16], wanted: &[f32]) -> [Vec<f32>; C] {
    // The five dots about each dot of a row.
    let mut five = vec![0u16; PLANE];
    for (five, on) in five.chunks_exact_mut(STRIDE).zip(on.chunks_exact(STRIDE)) {
        for (f, o) in five[2..].iter_mut().zip(on.windows(5)) {
            *f = o[0] | o[1] << 1 | o[2] << 2 | o[3] << 3 | o[4] << 4;
        }
    }
    let row = |y: usize| &five[y * STRIDE..][..STRIDE];
    let mut errors: [Vec<f32>; C] = std::array::from_fn(|_| vec![0.0f32; PLANE]);
    for y in 2..HIGH - 2 {
        let (above2, above, own, below, below2) = (row(y - 2), row(y - 1), row(y), row(y + 1), row(y + 2));
        let cells = &mut tile.cells[y * STRIDE..][..STRIDE];
        for x in 0..STRIDE {
            let three = |five: u16| five >> 1 & 7;
            let upper = three(above2[x]) | above[x] << 3 | own[x] << 8 | three(below[x]) << 13;
            let lower = three(below2[x]) | below[x] << 3 | own[x] << 8 | three(above[x]) << 13;
            let (upper_mark, lower_mark) = (tile.halves[usize::from(upper)], tile.halves[usize::from(lower)]);
            cells[x] = TileCell { upper, lower, upper_mark, lower_mark, ..cells[x] };
            for (c, error) in errors.iter_mut().enumerate() {
                let wanted = if c == 0 { wanted[y * STRIDE + x] } else { 0.0 };
                error[y * STRIDE + x] = (upper_mark[c] + lower_mark[c] - wanted) * cells[x].counts;
            }
        }
    }
    errors
}

/// Eights of columns that are summed up side by side: a sum waits for the one before.
const SUMS: usize = 4;
/// Columns of a row in whole eights: the last ones reach into the next row, and are never looked at.
const WIDE: usize = STRIDE.next_multiple_of(8 * SUMS);
/// Columns whose correlation may be looked at, in whole eights; where there are fewer eights than sums, the rest are left.
const LOOKED_AT: usize = (STRIDE - 2 * REACH_ALONG).next_multiple_of(8);

/// Correlates the error of the forecast with the weights, one axis after the other.
#[inline(always)]
fn weigh<S: Eights>(simd: S, correlation: &mut [f32], error: &[f32], weights: &Autocorrelation, rows: usize) {
    let mut tall = [0.0f32; WIDE + 2 * REACH_ALONG];
    let taps = 2 * weights.reach + 1;
    for y in HALO - RIM..HALO + rows + RIM {
        let out = &mut correlation[y * STRIDE + REACH_ALONG..][..LOOKED_AT];
        for (across, along) in &weights.lines {
            for x in (0..WIDE).step_by(8 * SUMS) {
                let mut sums = [simd.splat_f32s(0.0); SUMS];
                for (j, &weight) in across.iter().enumerate() {
                    let row = (y + j - REACH) * STRIDE + x;
                    for (i, sum) in sums.iter_mut().enumerate() {
                        *sum = simd.plus(*sum, eight(error, row + 8 * i), weight);
                    }
                }
                for (i, sum) in sums.into_iter().enumerate() {
                    set_eight(&mut tall, x + 8 * i, sum);
                }
            }
            for x in (0..LOOKED_AT).step_by(8 * SUMS) {
                let mut sums = [simd.splat_f32s(0.0); SUMS];
                for (i, sum) in sums.iter_mut().enumerate() {
                    *sum = eight(out, x + 8 * i);
                }
                for (j, &weight) in along.iter().enumerate().skip(REACH_ALONG - weights.reach).take(taps) {
                    for (i, sum) in sums.iter_mut().enumerate() {
                        *sum = simd.plus(*sum, eight(&tall, x + j + 8 * i), weight);
                    }
                }
                for (i, sum) in sums.into_iter().enumerate() {
                    set_eight(out, x + 8 * i, sum);
                }
            }
        }
    }
}
