//! Tests of the error filters, and the search for their shares: two ignored tests print the tables.

use super::super::diffuse_with;
use super::*;
use crate::mark::Forecast;
use crate::plane::{Dots, Tone};
use crate::progress::Silent;
use crate::screen::barred;
use crate::screen::fitted::mark_table::MarkTable;
use crate::visual_quality::score_in_mm;

const PITCH: f64 = 25.4 / 300.0;

/// A beam in line pitches, each of which holds so many dots.
fn options(beam: f64, finer: f64) -> Options {
    Options::new(Burn::plain(beam * finer, beam), PITCH / finer, PITCH)
}

#[test]
fn all_shares_of_an_error_are_one() {
    for (beam, finer) in [0.7, 1.0, 1.2, 1.5, 1.9, 2.0, 3.0]
        .iter()
        .flat_map(|&b| [0.5, 1.0, 1.3, 2.0, 2.5, 3.0, 4.0].map(|f| (b, f)))
    {
        let filters = ErrorFilters::new(&options(beam, finer));
        for (place, level) in [Place::Free, Place::AboveBarred, Place::Barred]
            .iter()
            .flat_map(|&p| (0..=256).map(move |l| (p, l)))
        {
            let filter = filters.at(place, level as f32 / 256.0);
            let all: f32 = filter.ahead.iter().chain(&filter.under).sum();
            assert!(
                (all - 1.0).abs() < 1e-5,
                "beam {beam}, {finer} dots a line pitch, {place:?}, tone {level}/256: {all}"
            );
        }
    }
}

#[test]
fn between_the_places_of_the_table_shares_are_mixed() {
    assert_eq!(between(&BEAMS, 0.5), (0, 0.0));
    assert_eq!(between(&BEAMS, 1.75), (1, 0.5));
    assert_eq!(between(&BEAMS, 9.0), (1, 1.0));
    let ahead = |finer: f64| ErrorFilters::new(&options(1.5, finer)).at(Place::Free, 0.5).ahead;
    let of = |number: usize| [TABLE[number][1][8][0], TABLE[number][1][8][1]];
    assert_eq!([1.0, 2.0, 3.0].map(ahead), [0, 1, 2].map(of));
    let mixed: [f32; 2] = std::array::from_fn(|i| 0.5 * (of(1)[i] + of(2)[i]));
    assert!(ahead(2.5).iter().zip(mixed).all(|(a, b)| (a - b).abs() < 1e-6));
}

#[test]
fn above_barred_places_nothing_is_handed_past_them() {
    let filters = ErrorFilters::new(&options(1.5, 2.0));
    for (tone, of) in DARK.iter().zip(ABOVE_BARRED[1][1]) {
        let filter = filters.at(Place::AboveBarred, *tone as f32);
        assert_eq!(filter.under[5..], [0.0; 3]);
        // A level of tone lies no more than half a step beside the table's.
        let off = [&filter.ahead[..], &filter.under]
            .concat()
            .iter()
            .zip(of)
            .map(|(f, of)| (f - of).abs())
            .fold(0.0, f32::max);
        assert!(off < 0.06, "tone {tone}: {off}");
    }
    let lightest = |tone| filters.at(Place::AboveBarred, tone).ahead;
    assert_eq!(lightest(0.4), lightest(1.0));
}

/// Uniform numbers, 0 to 1, and normal ones (Marsaglia's shifts; Box and Muller).
struct Chance(u64);

impl Chance {
    fn uniform(&mut self) -> f64 {
        for shift in [13, -7, 17i32] {
            self.0 ^= if shift > 0 { self.0 << shift } else { self.0 >> -shift };
        }
        (self.0 >> 11) as f64 / (1u64 << 53) as f64
    }

    fn normal(&mut self) -> f64 {
        let r = (-2.0 * (1.0 - self.uniform()).ln()).sqrt();
        r * (std::f64::consts::TAU * self.uniform()).cos()
    }
}

/// Line pitches of what is diffused, along and across.
const SIZE: (usize, usize) = (160, 144);

/// A tone that rises gently towards one corner.
fn ramp(mean: f64, times: usize) -> Tone {
    let (w, h) = (SIZE.0 * times, SIZE.1);
    let rise = (0.35 * mean.min(1.0 - mean)).min(0.06) * 0.7;
    let at = |i: usize| (i % w) as f64 / w as f64 + (i / w) as f64 / h as f64 - 1.0;
    Tone::from_vec(w, h, (0..w * h).map(|i| (mean + rise * at(i)) as f32).collect())
}

/// Six octaves of noise, the coarse ones stronger, as pictures have them.
fn texture(mean: f64, times: usize, seed: u64) -> Tone {
    let (w, h) = (SIZE.0 * times, SIZE.1);
    let mut chance = Chance(seed);
    // A small seed takes a while to reach all bits.
    (0..20).for_each(|_| _ = chance.uniform());
    let mut sum = vec![0.0f64; w * h];
    for cell in [1, 2, 4, 8, 16, 32] {
        let along = cell * times;
        let columns = w / along + 2;
        let knots: Vec<f64> = (0..columns * (h / cell + 2)).map(|_| chance.normal()).collect();
        for (i, sum) in sum.iter_mut().enumerate() {
            let (x, y) = ((i % w) as f64 / along as f64, (i / w) as f64 / cell as f64);
            let at = y as usize * columns + x as usize;
            let row = |at: usize| knots[at] + x.fract() * (knots[at + 1] - knots[at]);
            *sum += (row(at) + y.fract() * (row(at + columns) - row(at))) * (cell as f64).powf(0.6);
        }
    }
    let size = (sum.iter().map(|v| v * v).sum::<f64>() / sum.len() as f64).sqrt();
    let swing = 0.3 * mean.min(1.0 - mean).min(0.3) / size;
    Tone::from_vec(w, h, sum.iter().map(|v| (mean + swing * v).clamp(0.0, 1.0) as f32).collect())
}

/// What shares are searched for: a burn, and where the dots lie.
struct Search {
    options: Options,
    table: MarkTable,
    place: Place,
    /// Every second row, where those are barred.
    barred: Option<Dots>,
}

impl Search {
    fn new(beam: f64, finer: f64, place: Place) -> Self {
        let options = Options { switches: finer as u32, ..options(beam, finer) };
        let (width, height) = (SIZE.0 * finer as usize, SIZE.1);
        let barred = (place != Place::Free).then(|| {
            let mut barred = Dots::off(width, height);
            (1..height).step_by(2).for_each(|y| barred.row_mut(y).fill(0xFF));
            barred
        });
        Search { table: MarkTable::new(&options.burn), options, place, barred }
    }

    /// The lightest tone that is looked at.
    fn reach(&self) -> f64 {
        match self.place {
            Place::Free => f64::from(self.table.solid.unwrap_or(1.0)) - 0.08,
            // Beyond it lines show, whatever the shares.
            _ => f64::from(0.8 * barred::reach(&self.table)),
        }
    }

    /// How tones look that were diffused by these shares, dB. A mean that is off does not count: a curve puts it right,
    /// see [`target`](crate::screen::fitted::target).
    fn look<const N: usize>(&self, all: [f32; N], tones: &[Tone]) -> f64 {
        let mut whole = [0.0; 2 + UNDER];
        whole[..N].copy_from_slice(&all);
        let filters = ErrorFilters::by(|_| whole, |_| whole);
        let each = tones.iter().map(|tone| {
            let dots = diffuse_with(tone, &self.table, &filters, true, self.barred.as_ref(), &Silent);
            let mut forecast = Forecast::new(&self.options.burn).plane(&dots);
            let sum = |values: &[f32]| values.iter().map(|&v| f64::from(v)).sum::<f64>();
            let off = (sum(forecast.data()) - sum(tone.data())) / tone.data().len() as f64;
            forecast.data_mut().iter_mut().for_each(|mark| *mark -= off as f32);
            let pitches = (self.options.pitch_along_mm, self.options.pitch_across_mm);
            let score = score_in_mm(&forecast, tone, pitches, 300.0);
            score.psnr_hvs_db + 0.1 * score.psnr_g2_db
        });
        each.sum::<f64>() / tones.len() as f64
    }

    /// Rows of the table for some of its tones, one after the other: each goes on from what the one before has found, the
    /// first from `found`. Tones that dots hardly reach have the row before.
    fn searched<const N: usize>(
        &self,
        tones: &[f64],
        mut found: [f32; N],
        trials: usize,
        seed: u64,
    ) -> Vec<(f64, f64, [f32; N])> {
        let mut chance = Chance(seed);
        let times = self.options.switches as usize;
        let mut rows = Vec::new();
        for &mean in tones {
            let tones = [
                ramp(mean, times),
                texture(mean, times, 77),
                texture(mean, times, 991),
                texture(mean, times, 5),
            ];
            let (mut best, mut step) = (self.look(found, &tones), 0.1);
            for _ in 0..if mean < self.reach() { trials } else { 0 } {
                let mut trial = found;
                for _ in 0..1 + (4.0 * chance.uniform()) as usize {
                    trial[(N as f64 * chance.uniform()) as usize] += (step * chance.normal()) as f32;
                }
                let sum: f32 = trial.iter().sum();
                if sum < 0.4 {
                    continue;
                }
                trial = trial.map(|v| (v / sum * 1000.0).round() / 1000.0);
                trial[3] += 1.0 - trial.iter().sum::<f32>();
                let this = self.look(trial, &tones);
                if this > best + 0.002 {
                    (best, found) = (this, trial);
                } else {
                    step = f64::max(0.012, 0.997 * step);
                }
            }
            rows.push((mean, best, found));
        }
        rows
    }

    /// Prints rows for all tones, from what is found for one of them on.
    fn print<const N: usize>(&self, tones: &[f64], middle: usize, begun: [f32; N]) {
        // Two beginnings: some end where no small change helps.
        let begin = |seed| self.searched(&tones[middle..=middle], begun, 500, seed);
        let (one, other) = rayon::join(|| begin(0x9E37_79B9_7F4A_7C15), || begin(0x2545_F491_4F6C_DD1D));
        let first = if one[0].1 > other[0].1 { one[0] } else { other[0] };
        let darker: Vec<f64> = tones[..middle].iter().rev().copied().collect();
        let on = |tones: &[f64], seed| self.searched(tones, first.2, 400, seed);
        let (mut rows, lighter) = rayon::join(|| on(&darker, 7), || on(&tones[middle + 1..], 11));
        rows.reverse();
        for (tone, look, all) in rows.into_iter().chain([first]).chain(lighter) {
            let all = all.map(|v| format!("{v:.3}")).join(", ");
            let Options { burn, switches, .. } = &self.options;
            println!(
                "[{all}], // {:?}, {switches} dots, beam {}, tone {tone}: {look:.2} dB",
                self.place, burn.across
            );
        }
    }
}

/// Prints the table where a line pitch holds more than one dot, a row for each tone; then that where rows are barred.
#[test]
#[ignore = "a search of some three minutes on two processors for each beam"]
fn search_for_the_table() {
    for (&finer, beam) in FINER[1..].iter().flat_map(|finer| BEAMS.map(|beam| (finer, beam))) {
        let begun = [0.678, -0.121, 0.047, 0.394, 0.291, -0.086, 0.0, -0.1, -0.103, 0.0];
        Search::new(beam, finer, Place::Free).print(&TONES, TONES.len() / 2, begun);
    }
}

#[test]
#[ignore = "a search of some three minutes on two processors for each beam"]
fn search_for_the_table_where_rows_are_barred() {
    for (&finer, beam) in FINER.iter().flat_map(|finer| BEAMS.map(|beam| (finer, beam))) {
        let begun = [0.6, -0.1, 0.0, 0.3, 0.3, -0.1, 0.0];
        Search::new(beam, finer, Place::AboveBarred).print(&DARK, 5, begun);
    }
}
