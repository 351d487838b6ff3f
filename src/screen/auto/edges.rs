//! Edges of a drawing: the dots beside them are searched so that the forecast's edge lies where the drawing has it.
//!
//! An eye that judges a photo takes so many dots together that it does not mind an edge that is frayed or off by a third of
//! a dot; whoever holds a piece of lettering close does. So here the forecast, sampled twice a dot each way, and the
//! drawing are both seen through a Gaussian of 0.6 dots and should differ least in squares. The drawing's ink counts as
//! much as a solid reaches: under a narrow beam, whose solids stay short of a full mark, strokes would otherwise be made
//! fat to bring in what is lacking (by 20 um an edge at a beam of one pitch and 300 dots an inch).
//!
//! The grey of an anti-aliased dot says how much of it is covered, which places an edge between dots: drawn at twice the
//! density the edges came out 0.1 um nearer (of 10), drawn at eight times no nearer.
//!
//! An edge along the rows or columns that lies halfway between dots can only be put there by every second dot, a comb. It
//! is put up with where the edge would be off by more than a third of a dot without; every single tooth costs.

mod quarters;
mod search;
mod teeth;

use super::kinds::{self, Kind};
use crate::mark::Burn;
use crate::parallel;
use crate::plane::{Dots, Tone};
use crate::progress::Progress;
use quarters::Quarters;
use search::{STRIDE, TILE, Tile};
use teeth::Teeth;

/// Coverage from which on a dot is on before the search.
const LEVEL: f32 = 0.5;
/// Solids that mark less are no measure of an edge.
const LEAST_SOLID: f32 = 0.02;
/// Steps that a tile counts for, where a row of a plane is one.
const STEPS_A_TILE: u64 = 30;

/// Lays the dots of a drawing: solid ink and bare ground as they are, edges by threshold and then searched in so many
/// passes. What is to be searched as tones stays as it is in `dots`, of the size of `tone`.
pub fn lay(tone: &Tone, dots: &mut Dots, kinds: &[Kind], burn: &Burn, passes: u32, progress: &dyn Progress) {
    let (w, h) = (tone.width(), tone.height());
    if w == 0 || h == 0 {
        return;
    }
    kinds::settle(dots, kinds, |x, y| tone.row(y)[x] >= LEVEL);
    let marks = Quarters::new(burn);
    if passes == 0 || marks.solid < LEAST_SOLID {
        return;
    }
    let teeth = Teeth::new(burn, STRIDE);
    let holds_edges = |&(x0, y0): &(usize, usize)| {
        let columns = x0..(x0 + TILE).min(w);
        (y0..(y0 + TILE).min(h)).any(|y| kinds[y * w..][columns.clone()].contains(&Kind::Edge))
    };
    // Tiles of one round do not touch, so any number of threads gives the same bytes.
    let rounds: [Vec<(usize, usize)>; 4] = std::array::from_fn(|round| {
        let rows = (round / 2 * TILE..h).step_by(2 * TILE);
        let all = rows.flat_map(|y| (round % 2 * TILE..w).step_by(2 * TILE).map(move |x| (x, y)));
        all.filter(holds_edges).collect()
    });
    progress.expect(STEPS_A_TILE * rounds.iter().map(|r| r.len() as u64).sum::<u64>());
    for tiles in rounds {
        let found = parallel::map(tiles.len(), |i| {
            let mut tile = Tile::new(tone, dots, kinds, tiles[i], &marks, &teeth);
            tile.search(passes);
            (tile, progress.step(STEPS_A_TILE))
        });
        for (&(x0, y0), (tile, _)) in tiles.iter().zip(&found) {
            for (x, y, on) in tile.dots() {
                dots.set(x0 + x, y0 + y, on);
            }
        }
        if found.iter().any(|f| !f.1) {
            return;
        }
    }
}
