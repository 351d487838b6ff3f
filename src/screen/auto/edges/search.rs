//! The search for the dots of edges within one tile, its surroundings held still.
//!
//! As in [`fitted`](super::super::super::fitted) a dot is toggled, or swapped with a neighbour in the other state, wherever
//! that makes the sum of squares less. What the marks add to is seen through a Gaussian `K` on both sides of the square:
//! adding `a` to the marks adds `2 a·s + a·KKa` to the sum, where the slope `s` is the error of the forecast as it is seen,
//! seen once more. So only the slope is kept, four values a dot, and a toggle is told from the quarters that feel it alone.

use super::super::kinds::DotKind;
use super::quarters::Quarters;
use super::teeth::Teeth;
use crate::plane::{Dots, Tone};
use crate::vector;

/// Dots on a side of a tile.
pub const TILE: usize = 96;
/// Dots around it that are looked at: a dot's mark is seen four dots away, from the marks of two more, which feel two more.
pub const HALO: usize = 8;
/// Dots, and quarters, on a side of the tile's planes.
pub const STRIDE: usize = TILE + 2 * HALO;
const FINE: usize = 2 * STRIDE;
/// Quarters on a side that feel a dot, and that feel it or a neighbour.
const FELT: usize = 8;
const NEIGHBOURS: usize = FELT + 4;
/// Quarters either side that are seen together, once and twice.
const REACH: usize = 4;
const WEIGHTS: usize = 2 * REACH + 1;
const TWICE: usize = 2 * REACH;
/// Quarters on a side whose slope a dot's toggle changes.
const BENT: usize = FELT + 2 * TWICE;

/// Standard deviation of how edges are seen, in dots.
const SIGHT: f64 = 0.6;
/// Dots either way whose tones make up a quarter of the wanted mark.
const NEAR: usize = 2;

/// Above this cost of its toggle a dot is not tried in swaps, in squares of a solid's mark.
const DOUBT: f32 = 0.6;
/// The least gain for which a change is made.
const LEAST_GAIN: f32 = 1e-4;

/// The dots around a dot, as far as they are swapped with it, in a plane of [`STRIDE`].
const AROUND: [isize; 8] = {
    const S: isize = STRIDE as isize;
    [-S, -1, 1, S, -S - 1, -S + 1, S - 1, S + 1]
};
/// The bit of a dot in the codes of the quarters that feel it, by column and by row from three before the dot's first.
const PLACES: [u16; FELT] = [0, 3, 1, 2, 2, 1, 3, 0];
const BITS: [[u16; FELT]; FELT] = {
    let mut bits = [[0; FELT]; FELT];
    let mut i = 0;
    while i < FELT * FELT {
        bits[i / FELT][i % FELT] = 1 << (4 * PLACES[i / FELT] + PLACES[i % FELT]);
        i += 1;
    }
    bits
};

type Square<const N: usize> = [[f32; N]; N];

/// The weights of what is seen twice, by the distance from the middle one; 0 as far as a vector that begins there reads.
struct Twice([f32; 2 * Twice::MIDDLE + 1]);

impl Twice {
    /// From the last quarter that feels a dot to the furthest one that is bent.
    const MIDDLE: usize = FELT - 1 + TWICE;

    fn new(once: &[f32; WEIGHTS]) -> Self {
        let mut twice = [0.0; 2 * Self::MIDDLE + 1];
        for (i, a) in once.iter().enumerate() {
            for (j, b) in once.iter().enumerate() {
                twice[Self::MIDDLE - TWICE + i + j] += a * b;
            }
        }
        Twice(twice)
    }

    /// What marks are seen twice as, on `ROWS` quarters each way about them, and on to a whole number of lanes.
    #[inline(always)]
    fn seen<const ROWS: usize, const LANES: usize>(&self, marks: &Square<FELT>) -> [[Lane; LANES]; ROWS] {
        let first = Self::MIDDLE - (ROWS - FELT) / 2;
        let mut along = [[[0.0f32; LANE]; LANES]; FELT];
        for (along, marks) in along.iter_mut().zip(marks) {
            for (lane, along) in along.iter_mut().enumerate() {
                for (j, &mark) in marks.iter().enumerate() {
                    let weights = self.0[first + lane * LANE - j..].first_chunk().unwrap_or(&[0.0; LANE]);
                    *along = vector::plus(along, weights, mark);
                }
            }
        }
        let mut both = [[[0.0f32; LANE]; LANES]; ROWS];
        for (row, both) in both.iter_mut().enumerate() {
            for (lane, both) in both.iter_mut().enumerate() {
                for (j, along) in along.iter().enumerate() {
                    *both = vector::plus(both, &along[lane], self.0[first + row - j]);
                }
            }
        }
        both
    }
}

/// Values that are worked out together.
const LANE: usize = FELT;
type Lane = [f32; LANE];

/// A tile with its surroundings.
pub struct EdgeTile<'a> {
    marks: &'a Quarters,
    teeth: &'a Teeth,
    weights: [f32; WEIGHTS],
    twice: Twice,
    /// Tile's own width and height in dots.
    size: (usize, usize),
    /// 1 for a dot that is on, in a plane of [`STRIDE`]; and which ones may be changed, and are to be looked at.
    dots: Vec<u8>,
    free: Vec<bool>,
    fresh: Vec<bool>,
    /// The codes of quarters, in a plane of [`FINE`], their marks, and the slope there.
    codes: Vec<u16>,
    now: Vec<f32>,
    slope: Vec<f32>,
}

impl<'a> EdgeTile<'a> {
    /// The tile whose first dot is at `(x0, y0)`. `kinds` has the size of `tone`.
    pub fn new(
        tone: &Tone,
        dots: &Dots,
        kinds: &[DotKind],
        (x0, y0): (usize, usize),
        marks: &'a Quarters,
        teeth: &'a Teeth,
    ) -> Self {
        let (w, h) = (tone.width(), tone.height());
        let weights = gaussian(2.0 * SIGHT, 0.0);
        let mut tile = EdgeTile {
            marks,
            teeth,
            weights,
            twice: Twice::new(&weights),
            size: (TILE.min(w - x0), TILE.min(h - y0)),
            dots: vec![0; STRIDE * STRIDE],
            free: vec![false; STRIDE * STRIDE],
            fresh: vec![false; STRIDE * STRIDE],
            codes: vec![0; FINE * FINE],
            now: vec![0.0; FINE * FINE],
            slope: Vec::new(),
        };
        let mut wanted = vec![0.0f32; STRIDE * STRIDE];
        for ty in 0..STRIDE {
            let Some(y) = (y0 + ty).checked_sub(HALO).filter(|&y| y < h) else { continue };
            let from = HALO.saturating_sub(x0);
            for (tx, x) in (from..STRIDE).zip(x0 + from - HALO..w) {
                let at = ty * STRIDE + tx;
                wanted[at] = tone.row(y)[x].clamp(0.0, 1.0);
                tile.dots[at] = u8::from(dots.get(x, y));
                let own =
                    (HALO..HALO + tile.size.0).contains(&tx) && (HALO..HALO + tile.size.1).contains(&ty);
                tile.free[at] = own && kinds[y * w + x] == DotKind::Edge;
            }
        }
        tile.fresh.copy_from_slice(&tile.free);
        pulp::Arch::new().dispatch(Fill { tile: &mut tile, wanted: &wanted });
        tile
    }

    /// Searches in so many passes, or fewer when none finds anything more.
    pub fn search(&mut self, passes: u32) {
        for pass in 0..passes {
            if pulp::Arch::new().dispatch(Pass { tile: self, pass }) == 0 {
                break;
            }
        }
    }

    /// The dots of the tile.
    pub fn dots(&self) -> Dots {
        let mut dots = Dots::off(self.size.0, self.size.1);
        for y in 0..self.size.1 {
            let row = &self.dots[(y + HALO) * STRIDE + HALO..][..self.size.0];
            row.iter().enumerate().filter(|(_, on)| **on == 1).for_each(|(x, _)| dots.set(x, y, true));
        }
        dots
    }

    /// One pass over the tile; the number of changes made.
    #[inline(always)]
    fn pass(&mut self, backward: bool) -> usize {
        let mut changes = 0;
        for step in 0..self.free.len() {
            let at = if backward { self.free.len() - 1 - step } else { step };
            if self.fresh[at] {
                self.fresh[at] = false;
                changes += usize::from(self.visit(at));
            }
        }
        changes
    }

    /// Makes the best change of a dot, if any gains; whether one was made.
    #[inline(always)]
    fn visit(&mut self, at: usize) -> bool {
        let added = self.added(at);
        let cost = self.cost(at, &added, &self.slope_at(at));
        if cost > DOUBT {
            return false;
        }
        // A partner is told with the first toggled, and the slope bent by it where that is felt.
        self.flip(at);
        let bent = self.twice.seen(&added);
        let (mut best, mut partner) = (cost, None);
        for step in AROUND {
            let other = at.wrapping_add_signed(step);
            if self.free[other] && self.dots[other] == self.dots[at] {
                let more = self.added(other);
                let cost = cost + self.cost(other, &more, &self.slope_beside(other, &bent, at));
                if cost < best {
                    best = cost;
                    partner = Some((other, more));
                }
            }
        }
        if best > -LEAST_GAIN {
            self.flip(at);
            return false;
        }
        self.bend(at, &added);
        if let Some((other, added)) = partner {
            self.flip(other);
            self.bend(other, &added);
            self.look_again(other);
        }
        self.look_again(at);
        true
    }

    /// What toggling a dot adds to the marks of the quarters that feel it.
    #[inline(always)]
    fn added(&self, at: usize) -> Square<FELT> {
        let first = corner(at, FELT / 2 - 1);
        let mut added = [[0.0f32; FELT]; FELT];
        for (row, (added, bits)) in added.iter_mut().zip(&BITS).enumerate() {
            let codes = &self.codes[first + row * FINE..][..FELT];
            let now = &self.now[first + row * FINE..][..FELT];
            for (((added, &code), &bit), &now) in added.iter_mut().zip(codes).zip(bits).zip(now) {
                *added = self.marks.mark(code ^ bit) - now;
            }
        }
        added
    }

    /// The slope at the quarters that feel a dot.
    #[inline(always)]
    fn slope_at(&self, at: usize) -> Square<FELT> {
        let first = corner(at, FELT / 2 - 1);
        let mut slope = [[0.0f32; FELT]; FELT];
        for (row, slope) in slope.iter_mut().enumerate() {
            slope.copy_from_slice(&self.slope[first + row * FINE..][..FELT]);
        }
        slope
    }

    /// The slope at the quarters that feel a dot, bent by what is added for its neighbour.
    #[inline(always)]
    fn slope_beside(&self, at: usize, bent: &[[Lane; 2]; NEIGHBOURS], neighbour: usize) -> Square<FELT> {
        let mut slope = self.slope_at(at);
        // Dots beside each other are two quarters apart.
        let down = 2 + 2 * (at / STRIDE) - 2 * (neighbour / STRIDE);
        let right = 2 + 2 * (at % STRIDE) - 2 * (neighbour % STRIDE);
        for (slope, bent) in slope.iter_mut().zip(&bent[down..]) {
            slope.iter_mut().zip(&bent.as_flattened()[right..]).for_each(|(s, b)| *s += b);
        }
        slope
    }

    /// What toggling a dot costs, that adds so much to marks where their slope is as given.
    #[inline(always)]
    fn cost(&self, at: usize, added: &Square<FELT>, slope: &Square<FELT>) -> f32 {
        let seen = self.twice.seen::<FELT, 1>(added);
        let mut sums = [0.0f32; FELT];
        for ((added, seen), slope) in added.iter().zip(&seen).zip(slope) {
            for (((sum, a), s), slope) in sums.iter_mut().zip(added).zip(&seen[0]).zip(slope) {
                *sum += a * (2.0 * slope + s);
            }
        }
        let cost = sums.iter().sum::<f32>() / (self.marks.solid * self.marks.solid);
        cost + self.teeth.toggled(&self.dots, at)
    }

    /// Toggles a dot in the codes.
    #[inline(always)]
    fn flip(&mut self, at: usize) {
        self.dots[at] ^= 1;
        let first = corner(at, FELT / 2 - 1);
        for (row, bits) in BITS.iter().enumerate() {
            let codes = &mut self.codes[first + row * FINE..][..FELT];
            let now = &mut self.now[first + row * FINE..][..FELT];
            for ((code, bit), now) in codes.iter_mut().zip(bits).zip(now) {
                *code ^= bit;
                *now = self.marks.mark(*code);
            }
        }
    }

    /// Bends the slope by what toggling a dot adds to the marks.
    #[inline(always)]
    fn bend(&mut self, at: usize, added: &Square<FELT>) {
        let bent = self.twice.seen::<BENT, { BENT / LANE }>(added);
        let first = corner(at, FELT / 2 - 1 + TWICE);
        for (row, bent) in bent.iter().enumerate() {
            let slope = &mut self.slope[first + row * FINE..][..BENT];
            slope.iter_mut().zip(bent.as_flattened()).for_each(|(s, b)| *s += b);
        }
    }

    /// The dots whose change the changed one has to do with are to be looked at again.
    fn look_again(&mut self, at: usize) {
        let reach = FELT / 2;
        for row in 0..=2 * reach {
            let from = at + row * STRIDE - reach * (STRIDE + 1);
            let free = &self.free[from..][..2 * reach + 1];
            self.fresh[from..][..2 * reach + 1].copy_from_slice(free);
        }
    }
}

/// The place, in a plane of [`FINE`], so many quarters before the first of a dot at `at` of a plane of [`STRIDE`], both ways.
#[inline(always)]
fn corner(at: usize, before: usize) -> usize {
    2 * (at / STRIDE) * FINE + 2 * (at % STRIDE) - before * (FINE + 1)
}

/// Weights of a Gaussian about the middle one, `off` further, that add up to 1.
fn gaussian<const N: usize>(sigma: f64, off: f64) -> [f32; N] {
    let weights: [f64; N] = std::array::from_fn(|i| {
        let d = i as f64 - (N / 2) as f64 - off;
        libm::exp(-d * d / (2.0 * sigma * sigma))
    });
    let sum: f64 = weights.iter().sum();
    weights.map(|w| (w / sum) as f32)
}

/// Fills in the codes, the marks and the slope.
struct Fill<'t, 'a> {
    tile: &'t mut EdgeTile<'a>,
    wanted: &'t [f32],
}

impl pulp::NullaryFnOnce for Fill<'_, '_> {
    type Output = ();

    #[inline(always)]
    fn call(self) {
        codes(self.tile);
        let tile = self.tile;
        tile.now.iter_mut().zip(&tile.codes).for_each(|(mark, &code)| *mark = tile.marks.mark(code));
        let seen = seen(&tile.weights, &tile.now);
        let error = error(self.wanted, seen, tile.marks.solid);
        tile.slope = self::seen(&tile.weights, &error);
    }
}

#[inline(always)]
fn codes(tile: &mut EdgeTile) {
    // The four dots that a left and a right quarter of a row feel.
    let mut fours = vec![[0u16; 2]; STRIDE * STRIDE];
    for (four, dots) in fours.chunks_exact_mut(STRIDE).zip(tile.dots.chunks_exact(STRIDE)) {
        for (four, d) in four[2..].iter_mut().zip(dots.windows(5)) {
            let [a, b, c, d, e] = [0, 1, 2, 3, 4].map(|i| u16::from(d[i]));
            *four = [a | b << 1 | c << 2 | d << 3, e | d << 1 | c << 2 | b << 3];
        }
    }
    for y in 2..STRIDE - 2 {
        for below in 0..2 {
            let row =
                |j: usize| &fours[(if below == 0 { y + j - 2 } else { y + 2 - j }) * STRIDE..][..STRIDE];
            let rows = [row(0), row(1), row(2), row(3)];
            let codes = &mut tile.codes[(2 * y + below) * FINE..][..FINE];
            for (x, code) in codes.chunks_exact_mut(2).enumerate() {
                for (right, code) in code.iter_mut().enumerate() {
                    let [a, b, c, d] = rows.map(|r| r[x][right]);
                    *code = a | b << 4 | c << 8 | d << 12;
                }
            }
        }
    }
}

/// Values of all quarters, as they are seen.
#[inline(always)]
fn seen(weights: &[f32; WEIGHTS], quarters: &[f32]) -> Vec<f32> {
    let mut along = vec![0.0f32; FINE * FINE];
    for (along, marks) in along.chunks_exact_mut(FINE).zip(quarters.chunks_exact(FINE)) {
        for (k, &weight) in weights.iter().enumerate() {
            along[REACH..FINE - REACH].iter_mut().zip(&marks[k..]).for_each(|(a, m)| *a += weight * m);
        }
    }
    let mut both = vec![0.0f32; FINE * FINE];
    for y in REACH..FINE - REACH {
        let both = &mut both[y * FINE..][..FINE];
        for (k, &weight) in weights.iter().enumerate() {
            both.iter_mut().zip(&along[(y + k - REACH) * FINE..]).for_each(|(b, a)| *b += weight * a);
        }
    }
    both
}

/// What is seen less what should be: the coverage of the dots, seen likewise, as much as a solid reaches. The coverage of a
/// dot is the mean over a square, of which a Gaussian 0.29 dots wide is taken off the sight.
#[inline(always)]
fn error(wanted: &[f32], mut seen: Vec<f32>, solid: f32) -> Vec<f32> {
    let sigma = (SIGHT * SIGHT - 1.0 / 12.0).sqrt();
    let weights: [[f32; 2 * NEAR + 1]; 2] = [gaussian(sigma, -0.25), gaussian(sigma, 0.25)];
    let mut tall = vec![0.0f32; STRIDE];
    for y in 2 * NEAR..FINE - 2 * NEAR {
        tall.fill(0.0);
        for (k, &weight) in weights[y % 2].iter().enumerate() {
            let row = &wanted[(y / 2 + k - NEAR) * STRIDE..][..STRIDE];
            tall.iter_mut().zip(row).for_each(|(t, w)| *t += solid * weight * w);
        }
        let out = &mut seen[y * FINE..][..FINE];
        for (pair, tall) in out[2 * NEAR..].chunks_exact_mut(2).zip(tall.windows(2 * NEAR + 1)) {
            for (value, weights) in pair.iter_mut().zip(&weights) {
                *value -= weights.iter().zip(tall).map(|(w, t)| w * t).sum::<f32>();
            }
        }
    }
    seen
}

/// One pass, compiled for the widest vectors of this machine.
struct Pass<'t, 'a> {
    tile: &'t mut EdgeTile<'a>,
    pass: u32,
}

impl pulp::NullaryFnOnce for Pass<'_, '_> {
    type Output = usize;

    #[inline(always)]
    fn call(self) -> usize {
        self.tile.pass(!self.pass.is_multiple_of(2))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::mark::Burn;

    /// A slanted stroke, all of it edge, searched at a beam of so many pitches: the slope as it was kept and as it is made
    /// afresh, and the dots before and after.
    fn searched(beam: f64) -> (Vec<f32>, Vec<f32>, Dots, Dots) {
        let burn = Burn::plain(beam, beam);
        let (marks, teeth) = (Quarters::new(&burn), Teeth::new(&burn, STRIDE));
        let ink = |i: usize| {
            let (x, y) = ((i % 60) as f32, (i / 60) as f32);
            (3.7 - (x - 0.6 * y - 12.0).abs()).clamp(0.0, 1.0)
        };
        let tone = Tone::from_vec(60, 60, (0..3600).map(ink).collect());
        let mut dots = Dots::off(60, 60);
        (0..3600).for_each(|i| dots.set(i % 60, i / 60, ink(i) >= 0.5));
        let kinds = vec![DotKind::Edge; 3600];
        let mut tile = EdgeTile::new(&tone, &dots, &kinds, (0, 0), &marks, &teeth);
        tile.search(6);
        let found = tile.dots();
        let afresh = EdgeTile::new(&tone, &found, &kinds, (0, 0), &marks, &teeth);
        (tile.slope, afresh.slope, dots, found)
    }

    #[test]
    fn the_slope_is_kept_as_it_would_be_made_afresh() {
        for beam in [1.0, 1.5, 2.0] {
            let (kept, afresh, before, found) = searched(beam);
            assert_ne!(before, found, "something was changed");
            // Where the tile's own quarters are felt; further out nothing is looked at.
            let own = 2 * HALO - 4..2 * (HALO + 60) + 4;
            let off = own.clone().flat_map(|y| own.clone().map(move |x| y * FINE + x));
            let most = off.map(|i| (kept[i] - afresh[i]).abs()).fold(0.0, f32::max);
            assert!(most < 2e-5, "{beam}: {most}");
        }
    }

    #[test]
    fn no_single_toggle_gains_after_a_search() {
        let burn = Burn::plain(1.5, 1.5);
        let (marks, teeth) = (Quarters::new(&burn), Teeth::new(&burn, STRIDE));
        let tone =
            Tone::from_vec(40, 40, (0..1600).map(|i| ((i % 40) as f32 - 11.4).clamp(0.0, 1.0)).collect());
        let mut dots = Dots::off(40, 40);
        (0..1600).for_each(|i| dots.set(i % 40, i / 40, i * i % 3 == 0));
        let kinds = vec![DotKind::Edge; 1600];
        let mut tile = EdgeTile::new(&tone, &dots, &kinds, (0, 0), &marks, &teeth);
        tile.search(40);
        // The whole sum over what is seen, told without slopes.
        let sum = |dots: &Dots| -> f64 {
            let tile = EdgeTile::new(&tone, dots, &kinds, (0, 0), &marks, &teeth);
            let seen = seen(&tile.weights, &tile.now);
            let mut wanted = vec![0.0f32; STRIDE * STRIDE];
            for y in 0..40 {
                wanted[(y + HALO) * STRIDE + HALO..][..40].copy_from_slice(tone.row(y));
            }
            let error = error(&wanted, seen, marks.solid);
            error.iter().map(|&e| f64::from(e) * f64::from(e)).sum::<f64>() / f64::from(marks.solid).powi(2)
        };
        let found = tile.dots();
        let before = sum(&found);
        for i in (0..1600).step_by(7) {
            let at = (i / 40 + HALO) * STRIDE + i % 40 + HALO;
            let mut other = found.clone();
            other.set(i % 40, i / 40, !found.get(i % 40, i / 40));
            let whole = (sum(&other) - before) as f32 + teeth.toggled(&tile.dots, at);
            let told = tile.cost(at, &tile.added(at), &tile.slope_at(at));
            assert!((whole - told).abs() < 1e-3 * (1.0 + told.abs()), "{i}: {whole} {told}");
            assert!(told > -LEAST_GAIN, "{i}: {told}");
        }
    }
}
