//! The error filter: which share of a dot's error goes where, by tone, by beam and by how many dots a line pitch holds.
//!
//! As in the error diffusions of Ostromoukhov (2001) and of Zhou and Fang (2003) they change with the tone. There
//! they are fitted to a spectrum that is thought good; here the look itself was searched for: tones are diffused, and shares
//! changed at random are kept where the eye sees less of an error. Ignored tests make that search (`tests.rs`). No photo
//! took part in it.
//!
//! Above barred places dots have shares of their own, searched for with every second row barred. By those for rows that all
//! hold dots the harbour sample on 90 mm looks 7 dB worse.
//!
//! Those for one dot a line pitch come from an earlier one: a gentle ramp about the tone and a made-up texture of that mean
//! were diffused, then searched in three passes as `fitted` does, and the look of both counted a quarter before the search and
//! three quarters after it. Those for 1.5 pitches are taken half way back to the shares that it began with: alone they
//! cost a picture of smooth tones 0.5 dB before the search of `fitted`, and six photos look better so, too.

mod table;

use super::increment::UNDER;
use crate::mark::Burn;
use crate::screen::Options;
use table::{ABOVE_BARRED, BEAMS, DARK, FINER, TABLE, TONES};

/// An error filter: shares of an error, all together 1. Those below 0 push the grain to frequencies that the eye hardly sees, as
/// the kernels of noise shaping do.
#[derive(Debug, Clone, Copy)]
pub(super) struct ErrorFilter {
    /// For the next two dots.
    pub ahead: [f32; 2],
    /// For the five places below from two behind to two ahead, then for the three two rows below, in the order of
    /// the walk.
    pub under: [f32; UNDER],
}

/// Both in a row.
type All = [f32; 2 + UNDER];

/// Steps of tone.
const LEVELS: usize = 128;

/// Where a dot lies.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Place {
    /// Where all rows may hold dots.
    Free,
    /// On a row that may, above a place that stays free of them.
    AboveBarred,
    /// On such a place.
    Barred,
}

/// Error filters by where a dot lies and by tone.
pub(super) struct ErrorFilters {
    free: [ErrorFilter; LEVELS + 1],
    above_barred: [ErrorFilter; LEVELS + 1],
}

/// What is wanted of a place that stays free, or is handed to it, is handed down to the row that may hold dots.
const STRAIGHT_DOWN: ErrorFilter =
    ErrorFilter { ahead: [0.0; 2], under: [0.0, 0.0, 1.0, 0.0, 0.0, 0.0, 0.0, 0.0] };

impl ErrorFilters {
    /// The shares for a burn and its pitches: between what the table holds they are mixed in proportion, beyond it they are
    /// those of its end.
    pub fn new(options: &Options) -> Self {
        ErrorFilters::finer(&options.burn, options.pitch_across_mm / options.pitch_along_mm)
    }

    /// The shares of one dot a line pitch, whatever the pitches are.
    pub fn plain(burn: &Burn) -> Self {
        ErrorFilters::finer(burn, FINER[0])
    }

    /// The shares for so many dots a line pitch.
    fn finer(burn: &Burn, finer: f64) -> Self {
        // In line pitches, as the table has them: the dots' own pitch along is so much shorter.
        let finer = finer.max(FINER[0]);
        let beam = between(&BEAMS, (burn.along / finer * burn.across).sqrt());
        let finer = between(&FINER, finer);
        let above_barred = mixed(&ABOVE_BARRED, &DARK, finer, beam);
        ErrorFilters::by(mixed(&TABLE, &TONES, finer, beam), |level| {
            let [a, b, shares @ ..] = above_barred(level);
            [a, b, shares[0], shares[1], shares[2], shares[3], shares[4], 0.0, 0.0, 0.0]
        })
    }

    fn by(free: impl Fn(usize) -> All, above_barred: impl Fn(usize) -> All) -> Self {
        let filter =
            |all: All| ErrorFilter { ahead: [all[0], all[1]], under: std::array::from_fn(|i| all[2 + i]) };
        ErrorFilters {
            free: std::array::from_fn(|level| filter(free(level))),
            above_barred: std::array::from_fn(|level| filter(above_barred(level))),
        }
    }

    /// Those for a tone within 0 and 1.
    #[inline(always)]
    pub fn at(&self, place: Place, tone: f32) -> &ErrorFilter {
        // Adding so large a number rounds to whole steps, which can then be read from its bits.
        const LARGE: f32 = 12_582_912.0;
        let level = (tone * LEVELS as f32 + LARGE).to_bits().wrapping_sub(LARGE.to_bits());
        let level = (level as usize).min(LEVELS);
        match place {
            Place::Free => &self.free[level],
            Place::AboveBarred => &self.above_barred[level],
            Place::Barred => &STRAIGHT_DOWN,
        }
    }
}

/// The shares of a table at a level of tone, mixed between the places that it holds.
fn mixed<const N: usize, const T: usize>(
    table: &[[[[f32; N]; T]; BEAMS.len()]; FINER.len()],
    tones: &[f64; T],
    finer: (usize, f32),
    beam: (usize, f32),
) -> impl Fn(usize) -> [f32; N] {
    move |level| {
        let tone = between(tones, level as f64 / LEVELS as f64);
        let by_tone = |table: &[[f32; N]; T]| mix(&table[tone.0], &table[tone.0 + 1], tone.1);
        let by_beam = |table: &[[[f32; N]; T]; BEAMS.len()]| {
            mix(&by_tone(&table[beam.0]), &by_tone(&table[beam.0 + 1]), beam.1)
        };
        mix(&by_beam(&table[finer.0]), &by_beam(&table[finer.0 + 1]), finer.1)
    }
}

/// Between which two of the rising `places` a value lies, and how far on: the first one's number, and 0 to 1.
fn between(places: &[f64], value: f64) -> (usize, f32) {
    let after = places.iter().position(|&p| p > value).unwrap_or(places.len()).clamp(1, places.len() - 1);
    let on = (value - places[after - 1]) / (places[after] - places[after - 1]);
    (after - 1, on.clamp(0.0, 1.0) as f32)
}

fn mix<const N: usize>(a: &[f32; N], b: &[f32; N], on: f32) -> [f32; N] {
    std::array::from_fn(|i| a[i] + on * (b[i] - a[i]))
}

#[cfg(test)]
mod tests;
