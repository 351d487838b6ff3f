//! Error diffusion of the forecast: not whether a dot is on, but what it adds to the forecast mark, is set
//! against the wanted tone.
//!
//! After T. N. Pappas and D. L. Neuhoff, "Printer models and error diffusion", IEEE Transactions on Image
//! Processing 4 (1995). There the model of a printer gives each dot's tone from the dots around it; here the
//! swept beam and the response do. A dot's increment is the sum of all it changes in the forecast, given the
//! dots decided before it; what it adds to cells still to come is booked there, the rest on its own cell. The
//! increments of all dots add up to the forecast exactly, so the mean is kept without a dot-gain curve.

mod error_filter;
mod increment;
mod row;

use super::barred::barred;
use super::diffusion::startup;
use super::fitted::{mark_table::MarkTable, target};
use super::{Options, Screen, Wants};
use crate::mark::Burn;
use crate::plane::{Dots, Tone};
use crate::progress::{Progress, Silent};
use error_filter::ErrorFilters;
use increment::{Column, Increments, RING};
use row::{PAD, Rings, Row};

/// One pass of model-based error diffusion.
pub const MODEL_DIFFUSION: Screen = Screen {
    name: "model-diffusion",
    wants: Wants::Mark,
    searches: false,
    takes: &["raster-order"],
    make: model_diffusion,
};

/// The error handed on is held within this: in tones beyond a solid's mark it would grow without end and
/// bleed into whatever comes after.
const MOST_ERROR: f32 = 1.0;
/// Rows walked before the plane, its first ones mirrored, so that the first rows find errors such as a settled
/// pattern has: without them light tones leave the first rows blank.
const LEAD: usize = 32;
/// How narrow the errors begin, see [`startup`]: as for the wide kernels.
const STARTUP_SPREAD: f64 = 0.34;

/// Diffuses the forecast's error; rows alternate in direction where `Options::serpentine` says so.
pub fn model_diffusion(tone: &Tone, options: &Options, progress: &dyn Progress) -> Dots {
    let table = MarkTable::of(&options.burn, options.unsure);
    diffuse(&target::target(tone, &table, options), &table, options, progress)
}

/// The same with a ready table of cells.
pub(super) fn diffuse(tone: &Tone, table: &MarkTable, options: &Options, progress: &dyn Progress) -> Dots {
    let barred = barred(tone, table, options);
    let filters = ErrorFilters::new(options);
    diffuse_with(tone, table, &filters, options.serpentine, barred.as_ref(), progress)
}

/// The same with nothing but a burn: no row barred, and by the shares of one dot a line pitch.
pub(super) fn diffuse_plainly(tone: &Tone, table: &MarkTable, burn: &Burn) -> Dots {
    diffuse_with(tone, table, &ErrorFilters::plain(burn), true, None, &Silent)
}

fn diffuse_with(
    tone: &Tone,
    table: &MarkTable,
    filters: &ErrorFilters,
    serpentine: bool,
    barred: Option<&Dots>,
    progress: &dyn Progress,
) -> Dots {
    let (w, h) = (tone.width(), tone.height());
    let mut dots = Dots::off(w, h);
    if w == 0 || h == 0 {
        return dots;
    }
    let mut rings = Rings { codes: vec![Column([0; RING]); w + 2 * PAD], errors: vec![[0.0; RING]; w] };
    for (column, settled) in rings.errors.iter_mut().zip(startup::settled(tone, STARTUP_SPREAD)) {
        column[0] = settled;
    }
    let ready = Increments::new(table);
    let lead = LEAD;
    let mut lacking = vec![0.0f32; w];
    let (mut above, mut out) = (vec![0u8; dots.stride()], vec![0u8; dots.stride()]);
    progress.expect(h as u64);
    for place in 0..lead + h {
        if place <= lead && place + LAST > lead {
            note_lacking(&mut lacking, &rings, table, place);
        }
        if place == lead {
            leave_lead(&mut rings, table, place, &lacking);
            above.fill(0);
        }
        let (first, height) = if place < lead { (0, lead) } else { (lead, h) };
        let y = place - first;
        // The row that comes into reach; all of it lies ahead.
        let fresh = (place + 2) % RING;
        rings.codes.iter_mut().for_each(|column| column.0[fresh] = 0);
        rings.errors.iter_mut().for_each(|column| column[fresh] = 0.0);
        let shown =
            |place: usize| if place < lead { (lead - 1 - place) % h } else { (place - lead).min(h - 1) };
        let tone = tone.row(shown(place));
        let barred = barred.map(|barred| [place, place + 1].map(|place| barred.row(shown(place))));
        let (halves, ready, above_row) = (&table.halves, &ready, &above);
        let row = Row { halves, ready, filters, tone, barred, y, height, place, above: above_row };
        row.walk(!serpentine || (place + lead).is_multiple_of(2), &mut rings, &mut out);
        std::mem::swap(&mut above, &mut out);
        if place >= lead {
            dots.row_mut(y).copy_from_slice(&above);
            if !progress.step(1) {
                break;
            }
        }
    }
    dots
}

/// Rows at the end of the lead, and columns either side, over which what cells lack is averaged.
const LAST: usize = 16;
const ASIDE: usize = 8;

/// The mark of a cell so far.
fn mark(rings: &Rings, table: &MarkTable, x: usize, row: usize) -> f32 {
    let code = rings.codes[PAD + x].0[row % RING];
    table.halves[(code & 0xFFFF) as usize] + table.halves[(code >> 16) as usize]
}

/// Adds, column by column, what the two rows above lack that the next dots will add to them: the row over these
/// has got all it will get.
fn note_lacking(lacking: &mut [f32], rings: &Rings, table: &MarkTable, place: usize) {
    let row = |x, back| mark(rings, table, x, RING + place - back);
    lacking.iter_mut().enumerate().for_each(|(x, l)| *l += 2.0 * row(x, 3) - row(x, 2) - row(x, 1));
}

/// Goes over from the lead to the plane, which begins without its dots but with their errors. Two things are put
/// right in these: what the lead's dots would have added to the plane's first rows is wanted again, and what
/// the plane's dots would have added to the lead's last rows is not.
fn leave_lead(rings: &mut Rings, table: &MarkTable, place: usize, lacking: &[f32]) {
    let width = rings.errors.len();
    for x in 0..width {
        let near = &lacking[x.saturating_sub(ASIDE)..(x + ASIDE + 1).min(width)];
        let lacking = near.iter().sum::<f32>() / (near.len() * LAST) as f32;
        let [first, second] = [0, 1].map(|row| mark(rings, table, x, place + row));
        rings.errors[x][place % RING] += first - lacking;
        rings.errors[x][(place + 1) % RING] += second;
    }
    rings.codes.fill(Column([0; RING]));
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::mark::Forecast;

    /// By how much the mean of the first eight rows is off.
    fn off(burn: Burn, tone: f32, height: usize, serpentine: bool) -> f64 {
        let width = 600;
        let options = Options { serpentine, ..Options::new(burn, 0.0847, 0.0847) };
        let dots = model_diffusion(&Tone::filled(width, height, tone), &options, &Silent);
        let marks = Forecast::new(&burn).plane(&dots);
        let first = marks.data().iter().take(8 * width).map(|&m| f64::from(m));
        first.sum::<f64>() / (8.min(height) * width) as f64 - f64::from(tone)
    }

    #[test]
    fn the_first_rows_hold_the_tone() {
        for (beam, tone) in [(1.0, 0.02), (1.5, 0.05), (1.5, 0.5), (1.5, 0.9), (1.5, 0.95), (2.0, 0.9)] {
            for serpentine in [true, false] {
                let off = off(Burn::plain(beam, beam), tone, 80, serpentine);
                assert!(off.abs() < 0.005, "beam {beam}, tone {tone}, serpentine {serpentine}: off by {off}");
            }
        }
    }

    #[test]
    fn a_few_rows_alone_have_the_dots_of_light_tones() {
        for (beam, tone) in [(1.0, 0.02), (1.5, 0.05), (2.0, 0.01)] {
            for height in [3, 5, 8, 20] {
                let off = off(Burn::plain(beam, beam), tone, height, true);
                assert!(off.abs() < 0.006, "{height} rows, beam {beam}, tone {tone}: off by {off}");
            }
        }
    }
}
