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

use super::super::remembered::SeenTile;
use super::kinds::DotKind;
use crate::mark::Burn;
use crate::parallel;
use crate::plane::{Dots, Tone};
use crate::progress::Progress;
use quarters::Quarters;
use search::{EdgeTile, HALO, STRIDE, TILE};
use teeth::Teeth;

/// Coverage from which on a dot is on before the search.
pub const LEVEL: f32 = 0.5;
/// Solids that mark less are no measure of an edge.
const LEAST_SOLID: f32 = 0.02;
/// Steps that a tile counts for, where a row of a plane is one.
const STEPS_A_TILE: u64 = 30;

/// Searches for the dots of a drawing's edges in so many passes, from where they are in `dots`, of the size of `tone`; all
/// other dots stay.
pub fn lay(
    tone: &Tone,
    dots: &mut Dots,
    kinds: &[DotKind],
    burn: &Burn,
    passes: u32,
    progress: &dyn Progress,
) {
    let (w, h) = (tone.width(), tone.height());
    if w == 0 || h == 0 {
        return;
    }
    let marks = Quarters::of(burn);
    if passes == 0 || marks.solid < LEAST_SOLID {
        return;
    }
    let teeth = Teeth::new(burn, STRIDE);
    let holds_edges = |&(x0, y0): &(usize, usize)| {
        let columns = x0..(x0 + TILE).min(w);
        (y0..(y0 + TILE).min(h)).any(|y| kinds[y * w..][columns.clone()].contains(&DotKind::Edge))
    };
    // Tiles of one round do not touch, so any number of threads gives the same bytes.
    let rounds: [Vec<(usize, usize)>; 4] = std::array::from_fn(|round| {
        let rows = (round / 2 * TILE..h).step_by(2 * TILE);
        let all = rows.flat_map(|y| (round % 2 * TILE..w).step_by(2 * TILE).map(move |x| (x, y)));
        all.filter(holds_edges).collect()
    });
    progress.expect(STEPS_A_TILE * rounds.iter().map(|r| r.len() as u64).sum::<u64>());
    let all = SeenTile::of(&("edges", burn, passes));
    for tiles in rounds {
        let found = parallel::map(tiles.len(), |i| {
            let (x0, y0) = tiles[i];
            let mut seen = all.clone();
            seen.add_tile(tone, &[dots], tiles[i], TILE, (HALO, HALO));
            for y in y0..(y0 + TILE).min(h) {
                let free: [u8; TILE] =
                    std::array::from_fn(|x| u8::from(x0 + x < w && kinds[y * w + x0 + x] == DotKind::Edge));
                seen.add(&free);
            }
            let found = seen.found(|| {
                let mut tile = EdgeTile::new(tone, dots, kinds, tiles[i], &marks, &teeth);
                tile.search(passes);
                tile.dots()
            });
            (found, progress.step(STEPS_A_TILE))
        });
        for (&(x0, y0), (found, _)) in tiles.iter().zip(&found) {
            dots.lay(found, x0, y0);
        }
        if found.iter().any(|f| !f.1) {
            return;
        }
    }
}
