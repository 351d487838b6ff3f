//! The search for the dots of edges within one tile, its surroundings held still.
//!
//! As in [`fitted`](super::super::super::fitted) a dot is toggled, or swapped with a neighbour in the other state, wherever
//! that makes the sum of squares less. The error of the forecast as it is seen is kept, four values a dot.

use super::super::kinds::Kind;
use super::quarters::Quarters;
use super::teeth::Teeth;
use crate::plane::{Dots, Tone};

/// Dots on a side of a tile.
pub const TILE: usize = 96;
/// Dots around it that are looked at: a dot's mark is seen four dots away, from the marks of two more, which feel two more.
pub const HALO: usize = 8;
/// Dots, and quarters, on a side of the tile's planes.
pub const STRIDE: usize = TILE + 2 * HALO;
const FINE: usize = 2 * STRIDE;
/// Quarters on a side that feel a dot, and from which it is seen.
const FELT: usize = 8;
const SEEN: usize = FELT + 2 * REACH;
/// Quarters either side that are seen together.
const REACH: usize = 4;
const WEIGHTS: usize = 2 * REACH + 1;

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

/// A tile with its surroundings.
pub struct Tile<'a> {
    marks: &'a Quarters,
    teeth: &'a Teeth,
    weights: [f32; WEIGHTS],
    /// Tile's own width and height in dots.
    size: (usize, usize),
    /// 1 for a dot that is on, in a plane of [`STRIDE`]; and which ones may be changed, and are to be looked at.
    dots: Vec<u8>,
    free: Vec<bool>,
    fresh: Vec<bool>,
    /// The codes of quarters, in a plane of [`FINE`], their marks, and the error of these as they are seen.
    codes: Vec<u16>,
    now: Vec<f32>,
    error: Vec<f32>,
}

impl<'a> Tile<'a> {
    /// The tile whose first dot is at `(x0, y0)`. `kinds` has the size of `tone`.
    pub fn new(
        tone: &Tone,
        dots: &Dots,
        kinds: &[Kind],
        (x0, y0): (usize, usize),
        marks: &'a Quarters,
        teeth: &'a Teeth,
    ) -> Self {
        let (w, h) = (tone.width(), tone.height());
        let mut tile = Tile {
            marks,
            teeth,
            weights: gaussian(2.0 * SIGHT, 0.0),
            size: (TILE.min(w - x0), TILE.min(h - y0)),
            dots: vec![0; STRIDE * STRIDE],
            free: vec![false; STRIDE * STRIDE],
            fresh: vec![false; STRIDE * STRIDE],
            codes: vec![0; FINE * FINE],
            now: vec![0.0; FINE * FINE],
            error: Vec::new(),
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
                tile.free[at] = own && kinds[y * w + x] == Kind::Edge;
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
        let (cost, seen) = self.toggle(at);
        if cost > DOUBT {
            return false;
        }
        let before: Square<SEEN> = self.window(at);
        self.make(at, &seen);
        let (mut best, mut partner) = (cost, None);
        for step in AROUND {
            let other = at.wrapping_add_signed(step);
            // The first is toggled already: a partner is in the state that it has now.
            if self.free[other] && self.dots[other] == self.dots[at] {
                let (more, seen) = self.toggle(other);
                if cost + more < best {
                    best = cost + more;
                    partner = Some((other, seen));
                }
            }
        }
        if best > -LEAST_GAIN {
            self.flip(at);
            for (row, line) in before.iter().enumerate() {
                self.error[corner(at, FELT / 2 - 1 + REACH) + row * FINE..][..SEEN].copy_from_slice(line);
            }
            return false;
        }
        if let Some((other, seen)) = partner {
            self.make(other, &seen);
            self.look_again(other);
        }
        self.look_again(at);
        true
    }

    /// The error where a dot is seen.
    #[inline(always)]
    fn window(&self, at: usize) -> Square<SEEN> {
        let first = corner(at, FELT / 2 - 1 + REACH);
        std::array::from_fn(|row| {
            let mut line = [0.0; SEEN];
            line.copy_from_slice(&self.error[first + row * FINE..][..SEEN]);
            line
        })
    }

    /// What toggling a dot costs, and what it adds to the error.
    #[inline(always)]
    fn toggle(&self, at: usize) -> (f32, Square<SEEN>) {
        let first = corner(at, FELT / 2 - 1);
        let mut wide = [[0.0f32; SEEN]; FELT];
        for (row, (wide, bits)) in wide.iter_mut().zip(&BITS).enumerate() {
            let codes = &self.codes[first + row * FINE..][..FELT];
            let now = &self.now[first + row * FINE..][..FELT];
            let mut added = [0.0f32; FELT];
            for (((added, &code), &bit), &now) in added.iter_mut().zip(codes).zip(bits).zip(now) {
                *added = self.marks.mark(code ^ bit) - now;
            }
            for (k, &weight) in self.weights.iter().enumerate() {
                wide[k..k + FELT].iter_mut().zip(&added).for_each(|(w, a)| *w += weight * a);
            }
        }
        let mut seen = [[0.0f32; SEEN]; SEEN];
        for (row, wide) in wide.iter().enumerate() {
            for (k, &weight) in self.weights.iter().enumerate() {
                seen[row + k].iter_mut().zip(wide).for_each(|(s, w)| *s += weight * w);
            }
        }
        let first = corner(at, FELT / 2 - 1 + REACH);
        let mut sums = [0.0f32; SEEN];
        for (row, seen) in seen.iter().enumerate() {
            let error = &self.error[first + row * FINE..][..SEEN];
            for ((sum, &s), &e) in sums.iter_mut().zip(seen).zip(error) {
                *sum += s * (2.0 * e + s);
            }
        }
        let cost = sums.iter().sum::<f32>() / (self.marks.solid * self.marks.solid);
        (cost + self.teeth.toggled(&self.dots, at), seen)
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

    /// Toggles a dot, with what that adds to the error.
    #[inline(always)]
    fn make(&mut self, at: usize, seen: &Square<SEEN>) {
        self.flip(at);
        let first = corner(at, FELT / 2 - 1 + REACH);
        for (row, seen) in seen.iter().enumerate() {
            let error = &mut self.error[first + row * FINE..][..SEEN];
            error.iter_mut().zip(seen).for_each(|(e, s)| *e += s);
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

/// Fills in the codes and the error.
struct Fill<'t, 'a> {
    tile: &'t mut Tile<'a>,
    wanted: &'t [f32],
}

impl pulp::NullaryFnOnce for Fill<'_, '_> {
    type Output = ();

    #[inline(always)]
    fn call(self) {
        codes(self.tile);
        let seen = seen(self.tile);
        self.tile.error = error(self.wanted, seen, self.tile.marks.solid);
    }
}

#[inline(always)]
fn codes(tile: &mut Tile) {
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

/// The marks of all quarters, as they are seen.
#[inline(always)]
fn seen(tile: &mut Tile) -> Vec<f32> {
    let mut along = vec![0.0f32; FINE * FINE];
    tile.now.iter_mut().zip(&tile.codes).for_each(|(mark, &code)| *mark = tile.marks.mark(code));
    for (along, marks) in along.chunks_exact_mut(FINE).zip(tile.now.chunks_exact(FINE)) {
        for (k, &weight) in tile.weights.iter().enumerate() {
            along[REACH..FINE - REACH].iter_mut().zip(&marks[k..]).for_each(|(a, m)| *a += weight * m);
        }
    }
    let mut both = vec![0.0f32; FINE * FINE];
    for y in REACH..FINE - REACH {
        let both = &mut both[y * FINE..][..FINE];
        for (k, &weight) in tile.weights.iter().enumerate() {
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
    tile: &'t mut Tile<'a>,
    pass: u32,
}

impl pulp::NullaryFnOnce for Pass<'_, '_> {
    type Output = usize;

    #[inline(always)]
    fn call(self) -> usize {
        self.tile.pass(!self.pass.is_multiple_of(2))
    }
}
