//! Error diffusion of the forecast: not whether a dot is on, but what it adds to the forecast mark, is set
//! against the wanted tone.
//!
//! After T. N. Pappas and D. L. Neuhoff, "Printer models and error diffusion", IEEE Transactions on Image
//! Processing 4 (1995). There the model of a printer gives each dot's tone from the dots around it; here the
//! swept beam and the response do. A dot's worth is the sum of all it changes in the forecast, given the
//! dots decided before it; what it adds to cells still to come is booked there, the rest on its own cell. The
//! worths of all dots add up to the forecast exactly, so the mean is kept without a dot-gain curve.

use super::diffusion::start;
use super::fitted::cells::{CODES, Cells, FEEL, FELT, Feels, each_felt};
use super::{Options, Screen, Wants};
use crate::plane::{Dots, Tone};
use crate::progress::Progress;

/// One pass of model-based error diffusion.
pub const MODEL_DIFFUSION: Screen = Screen {
    name: "model-diffusion",
    about: "error diffusion of the forecast mark: knows the beam, in one quick pass",
    wants: Wants::Mark,
    searches: false,
    make: model_diffusion,
};

/// Shares of a dot's error: for the next two dots; for the row below, from two behind to one ahead; for the row
/// two below, behind and straight. Found by a random search from the three shares 0.45, 0.25 and 0.30, for the
/// best mean look of six photos at beams of 1, 1.5 and 2 pitches (none of them among those that the screens
/// are compared on). The shares below 0 push the grain to frequencies that the eye hardly sees, as the kernels
/// of noise shaping do: 1.0 dB better than the three, at all three beams.
const AHEAD: [f32; 2] = [0.678, -0.121];
const BELOW: [f32; 4] = [0.047, 0.394, 0.291, -0.086];
const TWO_BELOW: [f32; 2] = [-0.1, -0.103];
/// Dots behind at which the last two begin.
const BEHIND: isize = 2;
const TWO_BEHIND: isize = 1;
/// The error handed on is held within this: in tones beyond a solid's mark it would grow without end and
/// bleed into whatever comes after.
const MOST_ERROR: f32 = 1.0;
/// Columns of padding either side: cells two away feel a dot, and rows are read in fives.
const PAD: usize = 4;
/// Rows in the rings.
const RING: usize = 8;
/// Rows walked before the plane, its first ones mirrored, so that the first rows find errors such as a settled
/// pattern has: without them light tones leave the first rows blank.
const LEAD: usize = 32;
/// How narrow the errors begin, see [`start`]: as for the wide kernels.
const START: f64 = 0.34;

/// Diffuses the forecast's error; rows alternate in direction where `Options::serpentine` says so.
pub fn model_diffusion(tone: &Tone, options: &Options, progress: &dyn Progress) -> Dots {
    diffuse(tone, &Cells::new(&options.burn), options.serpentine, progress)
}

/// The same with a ready table.
pub(super) fn diffuse(tone: &Tone, cells: &Cells, serpentine: bool, progress: &dyn Progress) -> Dots {
    let (w, h) = (tone.width(), tone.height());
    let mut dots = Dots::off(w, h);
    if w == 0 {
        return dots;
    }
    let stride = w + 2 * PAD;
    let mut rings = Rings { codes: vec![0; RING * stride], errors: vec![0.0; RING * stride] };
    let lead = LEAD.min(h);
    for (error, settled) in rings.errors[PAD..].iter_mut().zip(start::settled(tone, START)) {
        *error = settled;
    }
    let mut unused = vec![0u8; dots.stride()];
    progress.stage("screening", h as u64);
    for step in 0..lead + h {
        // The plane begins without the dots of the lead, but with their errors.
        if step == lead {
            rings.codes.fill(0);
        }
        let (first, rows) = if step < lead { (0, lead) } else { (lead, h) };
        let y = step - first;
        // The row that comes into reach; all of it lies ahead.
        let fresh = (step + 2) % RING * stride;
        rings.codes[fresh..][..stride].fill(0);
        rings.errors[fresh..][..stride].fill(0.0);
        let places = std::array::from_fn(|r| (step + RING + r - 2) % RING * stride);
        let tones = tone.row(if step < lead { lead - 1 - y } else { y });
        let row = Row { tone: tones, halves: &cells.halves, rows: places, y, h: rows };
        let out = if step < lead { &mut unused[..] } else { dots.row_mut(y) };
        match !serpentine || (step + lead) % 2 == 0 {
            true => row.diffuse::<true>(&mut rings, out),
            false => row.diffuse::<false>(&mut rings, out),
        }
        if step >= lead && !progress.step(1) {
            break;
        }
    }
    dots
}

/// The rows in work; a row's place is its number modulo the ring. Cells beyond the plane are kept like any
/// other but count for nothing.
struct Rings {
    /// Codes of each cell's halves, the lower one in the upper sixteen bits.
    codes: Vec<u32>,
    /// Errors handed on.
    errors: Vec<f32>,
}

struct Row<'a> {
    tone: &'a [f32],
    halves: &'a [f32; CODES],
    /// Where the rows from two above to two below begin in the rings.
    rows: [usize; 5],
    y: usize,
    h: usize,
}

/// Bits of a dot in the codes of the cells around it.
const BITS: [[u32; 5]; 5] = {
    let (mut bits, mut i) = ([[0; 5]; 5], 0);
    while i < FEEL {
        let Feels { dx, dy, upper, lower } = FELT[i];
        bits[(dy + 2) as usize][(dx + 2) as usize] = upper as u32 | (lower as u32) << 16;
        i += 1;
    }
    bits
};

impl Row<'_> {
    fn diffuse<const FORWARD: bool>(&self, rings: &mut Rings, out: &mut [u8]) {
        let w = self.tone.len();
        let inner_row = self.y >= 2 && self.y + 2 < self.h;
        let [_, _, here, below, two_below] = self.rows.map(|row| row + PAD);
        fold(&mut rings.errors[here - PAD..here + w + PAD], w);
        // Errors on their way: to the next dots, and to the rows below, whose places are written once all dots
        // that share in them have been seen.
        let mut ahead = [0.0f32; AHEAD.len()];
        let (mut under, mut two_under) = ([0.0f32; BELOW.len()], [0.0f32; TWO_BELOW.len()]);
        for i in 0..w {
            let x = if FORWARD { i } else { w - 1 - i };
            let wanted = self.tone[x].clamp(0.0, 1.0) + rings.errors[here + x] + ahead[0];
            let mut added = self.added(&rings.codes, x);
            if !(inner_row && x >= 2 && x + 2 < w) {
                self.leave_out_beyond(&mut added, x);
            }
            let worth: f32 = added.iter().map(|row| (row[0] + row[1]) + (row[2] + row[3]) + row[4]).sum();
            let mut error = wanted;
            if wanted > 0.5 * worth {
                out[x / 8] |= 0x80 >> (x % 8);
                error -= self.mark::<FORWARD>(rings, &added, x);
            }
            let error = error.clamp(-MOST_ERROR, MOST_ERROR);
            ahead = [AHEAD[0] * error + ahead[1], AHEAD[1] * error];
            rings.errors[onward::<FORWARD>(below + x, -BEHIND)] += pass_on(&mut under, &BELOW, error);
            rings.errors[onward::<FORWARD>(two_below + x, -TWO_BEHIND)] +=
                pass_on(&mut two_under, &TWO_BELOW, error);
        }
        // What is still on its way; what would leave at the end of the row goes on to the row below.
        let next = |row: usize| if FORWARD { row + w } else { row - 1 };
        for (i, u) in under.iter().enumerate() {
            rings.errors[onward::<FORWARD>(next(below), i as isize - BEHIND)] += u;
        }
        for (i, u) in two_under.iter().enumerate() {
            rings.errors[onward::<FORWARD>(next(two_below), i as isize - TWO_BEHIND)] += u;
        }
        rings.errors[below + if FORWARD { w - 1 } else { 0 }] += ahead.iter().sum::<f32>();
    }

    /// What the dot at `x` would add to the marks of the cells around it.
    #[inline(always)]
    fn added(&self, codes: &[u32], x: usize) -> [[f32; 5]; 5] {
        let mut added = [[0.0f32; 5]; 5];
        let [Some(a), Some(b), Some(c), Some(d), Some(e)] =
            self.rows.map(|row| codes[row + PAD + x - 2..].first_chunk::<5>())
        else {
            return added;
        };
        let codes = [a, b, c, d, e];
        each_felt!(F, {
            const R: usize = (F.dy + 2) as usize;
            const C: usize = (F.dx + 2) as usize;
            let code = codes[R][C];
            let (upper, lower) = (code as u16, (code >> 16) as u16);
            let mut mark = 0.0;
            if F.upper != 0 {
                mark += self.halves[usize::from(upper | F.upper)] - self.halves[usize::from(upper)];
            }
            if F.lower != 0 {
                mark += self.halves[usize::from(lower | F.lower)] - self.halves[usize::from(lower)];
            }
            added[R][C] = mark;
        });
        added
    }

    /// Cells beyond the plane count for nothing.
    fn leave_out_beyond(&self, added: &mut [[f32; 5]; 5], x: usize) {
        for (dy, row) in added.iter_mut().enumerate() {
            for (dx, a) in row.iter_mut().enumerate() {
                let inside = |at: usize, d: usize, n: usize| (2..n + 2).contains(&(at + d));
                if !(inside(x, dx, self.tone.len()) && inside(self.y, dy, self.h)) {
                    *a = 0.0;
                }
            }
        }
    }

    /// Puts the dot at `x` on: what it adds to cells still to come is booked there; the rest is returned.
    #[inline(always)]
    fn mark<const FORWARD: bool>(&self, rings: &mut Rings, added: &[[f32; 5]; 5], x: usize) -> f32 {
        let mut own = 0.0;
        for (r, ((row, bits), added)) in self.rows.iter().zip(&BITS).zip(added).enumerate() {
            let first = row + PAD + x - 2;
            if let Some(codes) = rings.codes[first..].first_chunk_mut::<5>() {
                codes.iter_mut().zip(bits).for_each(|(code, bit)| *code |= bit);
            }
            let Some(errors) = rings.errors[first..].first_chunk_mut::<5>() else { continue };
            for i in 0..5 {
                if r > 2 || r == 2 && if FORWARD { i > 2 } else { i < 2 } {
                    errors[i] -= added[i];
                } else {
                    own += added[i];
                }
            }
        }
        own
    }
}

/// Errors that were handed to columns beyond the plane go to its outermost ones.
fn fold(row: &mut [f32], w: usize) {
    let (left, right): (f32, f32) = (row[..PAD].iter().sum(), row[PAD + w..].iter().sum());
    row[PAD] += left;
    row[PAD + w - 1] += right;
}

/// Adds the shares of an error to what is on its way, in the order of arrival; returns what has arrived.
#[inline(always)]
fn pass_on<const N: usize>(on_its_way: &mut [f32; N], shares: &[f32; N], error: f32) -> f32 {
    let all: [f32; N] = std::array::from_fn(|i| on_its_way[i] + shares[i] * error);
    *on_its_way = std::array::from_fn(|i| if i + 1 < N { all[i + 1] } else { 0.0 });
    all[0]
}

/// The place so many dots onward in the direction of the row.
#[inline(always)]
fn onward<const FORWARD: bool>(place: usize, dots: isize) -> usize {
    place.wrapping_add_signed(if FORWARD { dots } else { -dots })
}
