//! The error filter: which share of a dot's error goes where, by tone, by beam and by how many dots a line pitch holds.
//!
//! As in the error diffusions of Ostromoukhov (2001) and of Zhou and Fang (2003) they change with the tone. There
//! they are fitted to a spectrum that is thought good; here the look itself was searched for: tones are diffused, and shares
//! changed at random are kept where the eye sees less of an error. An ignored test below makes such a search. No photo took
//! part in it.
//!
//! Those for one dot a line pitch come from an earlier one: a gentle ramp about the tone and a made-up texture of that mean
//! were diffused, then searched in three passes as `fitted` does, and the look of both counted a quarter before the search and
//! three quarters after it. Those for 1.5 pitches are taken half way back to the shares that it began with: alone they
//! cost a picture of smooth tones 0.5 dB before the search of `fitted`, and six photos look better so, too.

mod table;

use super::increment::UNDER;
use crate::mark::Burn;
use crate::screen::Options;
use table::{BEAMS, FINER, TABLE, TONES};

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

/// Error filters by tone.
pub(super) struct ErrorFilters {
    levels: [ErrorFilter; LEVELS + 1],
}

impl ErrorFilters {
    /// The shares for a burn and its pitches: between what the table holds they are mixed in proportion, beyond it they are
    /// those of its end. Where rows are barred they are those of one dot a line pitch: with the others, searched for on rows
    /// that all hold dots, the harbour sample on 90 mm looks 7 dB worse.
    pub fn new(options: &Options) -> Self {
        let finer = options.pitch_across_mm / options.pitch_along_mm;
        ErrorFilters::finer(&options.burn, if options.barred > 0.0 { FINER[0] } else { finer.max(FINER[0]) })
    }

    /// The shares of one dot a line pitch, whatever the pitches are.
    pub fn plain(burn: &Burn) -> Self {
        ErrorFilters::finer(burn, FINER[0])
    }

    /// The shares for so many dots a line pitch.
    fn finer(burn: &Burn, finer: f64) -> Self {
        // In line pitches, as the table has them: the dots' own pitch along is so much shorter.
        let beam = (burn.along / finer * burn.across).sqrt();
        let (finer, beam) = (between(&FINER, finer), between(&BEAMS, beam));
        ErrorFilters::by(|level| {
            let tone = between(&TONES, level as f64 / LEVELS as f64);
            let by_tone = |table: &[All]| mix(&table[tone.0], &table[tone.0 + 1], tone.1);
            let by_beam = |table: &[[All; TONES.len()]]| {
                mix(&by_tone(&table[beam.0]), &by_tone(&table[beam.0 + 1]), beam.1)
            };
            mix(&by_beam(&TABLE[finer.0]), &by_beam(&TABLE[finer.0 + 1]), finer.1)
        })
    }

    fn by(all: impl Fn(usize) -> All) -> Self {
        ErrorFilters {
            levels: std::array::from_fn(|level| {
                let all = all(level);
                ErrorFilter { ahead: [all[0], all[1]], under: std::array::from_fn(|i| all[2 + i]) }
            }),
        }
    }

    /// Those for a tone within 0 and 1.
    #[inline(always)]
    pub fn at(&self, tone: f32) -> &ErrorFilter {
        // Adding so large a number rounds to whole steps, which can then be read from its bits.
        const LARGE: f32 = 12_582_912.0;
        let level = (tone * LEVELS as f32 + LARGE).to_bits().wrapping_sub(LARGE.to_bits());
        &self.levels[(level as usize).min(LEVELS)]
    }
}

/// Between which two of the rising `places` a value lies, and how far on: the first one's number, and 0 to 1.
fn between(places: &[f64], value: f64) -> (usize, f32) {
    let after = places.iter().position(|&p| p > value).unwrap_or(places.len()).clamp(1, places.len() - 1);
    let on = (value - places[after - 1]) / (places[after] - places[after - 1]);
    (after - 1, on.clamp(0.0, 1.0) as f32)
}

fn mix(a: &All, b: &All, on: f32) -> All {
    std::array::from_fn(|i| a[i] + on * (b[i] - a[i]))
}

#[cfg(test)]
mod tests {
    use super::super::super::fitted::mark_table::MarkTable;
    use super::super::diffuse_with;
    use super::*;
    use crate::mark::Forecast;
    use crate::plane::Tone;
    use crate::progress::Silent;
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
            for level in 0..=256 {
                let filter = filters.at(level as f32 / 256.0);
                let all: f32 = filter.ahead.iter().chain(&filter.under).sum();
                assert!(
                    (all - 1.0).abs() < 1e-5,
                    "beam {beam}, {finer} dots a line pitch, tone {level}/256: {all}"
                );
            }
        }
    }

    #[test]
    fn between_the_places_of_the_table_shares_are_mixed() {
        assert_eq!(between(&BEAMS, 0.5), (0, 0.0));
        assert_eq!(between(&BEAMS, 1.75), (1, 0.5));
        assert_eq!(between(&BEAMS, 9.0), (1, 1.0));
        let ahead = |finer: f64| ErrorFilters::new(&options(1.5, finer)).at(0.5).ahead;
        let of = |number: usize| [TABLE[number][1][8][0], TABLE[number][1][8][1]];
        assert_eq!([1.0, 2.0, 3.0].map(ahead), [0, 1, 2].map(of));
        let mixed: [f32; 2] = std::array::from_fn(|i| 0.5 * (of(1)[i] + of(2)[i]));
        assert!(ahead(2.5).iter().zip(mixed).all(|(a, b)| (a - b).abs() < 1e-6));
    }

    #[test]
    fn where_rows_are_barred_the_shares_are_those_of_one_dot_a_line_pitch() {
        let finer = options(1.0, 2.0);
        let barred = ErrorFilters::new(&Options { barred: 0.8, ..finer.clone() }).at(0.5).under;
        assert_eq!(barred, ErrorFilters::plain(&finer.burn).at(0.5).under);
        assert_ne!(barred, ErrorFilters::new(&finer).at(0.5).under);
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

    /// How tones look that were diffused by these shares, dB. A mean that is off does not count: a curve puts it right, see
    /// [`target`](super::super::super::fitted::target).
    fn look(all: All, tones: &[Tone], table: &MarkTable, options: &Options) -> f64 {
        let filters = ErrorFilters::by(|_| all);
        let each = tones.iter().map(|tone| {
            let dots = diffuse_with(tone, table, &filters, true, None, &Silent);
            let mut forecast = Forecast::new(&options.burn).plane(&dots);
            let sum = |values: &[f32]| values.iter().map(|&v| f64::from(v)).sum::<f64>();
            let off = (sum(forecast.data()) - sum(tone.data())) / tone.data().len() as f64;
            forecast.data_mut().iter_mut().for_each(|mark| *mark -= off as f32);
            let pitches = (options.pitch_along_mm, options.pitch_across_mm);
            let score = score_in_mm(&forecast, tone, pitches, 300.0);
            score.psnr_hvs_db + 0.1 * score.psnr_g2_db
        });
        each.sum::<f64>() / tones.len() as f64
    }

    /// Rows of the table for some of its tones, one after the other: each goes on from what the one before has found, the
    /// first from `found`. Tones that a solid hardly reaches have the row before.
    fn searched(
        tones: &[f64],
        mut found: All,
        trials: usize,
        options: &Options,
        seed: u64,
    ) -> Vec<(f64, f64, All)> {
        let mut chance = Chance(seed);
        let table = MarkTable::new(&options.burn);
        let (times, reach) = (options.switches as usize, f64::from(table.solid.unwrap_or(1.0)));
        let mut rows = Vec::new();
        for &mean in tones {
            let tones = [
                ramp(mean, times),
                texture(mean, times, 77),
                texture(mean, times, 991),
                texture(mean, times, 5),
            ];
            let (mut best, mut step) = (look(found, &tones, &table, options), 0.1);
            for _ in 0..if mean + 0.08 < reach { trials } else { 0 } {
                let mut trial = found;
                for _ in 0..1 + (4.0 * chance.uniform()) as usize {
                    trial[(10.0 * chance.uniform()) as usize] += (step * chance.normal()) as f32;
                }
                let sum: f32 = trial.iter().sum();
                if sum < 0.4 {
                    continue;
                }
                trial = trial.map(|v| (v / sum * 1000.0).round() / 1000.0);
                trial[3] += 1.0 - trial.iter().sum::<f32>();
                let this = look(trial, &tones, &table, options);
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

    /// Prints the table where a line pitch holds more than one dot, a row for each tone.
    #[test]
    #[ignore = "a search of some three minutes on two processors for each beam"]
    fn search_for_the_table() {
        for (&finer, beam) in FINER[1..].iter().flat_map(|finer| BEAMS.map(|beam| (finer, beam))) {
            let options = Options { switches: finer as u32, ..options(beam, finer) };
            let middle = TONES.len() / 2;
            let begun = [0.678, -0.121, 0.047, 0.394, 0.291, -0.086, 0.0, -0.1, -0.103, 0.0];
            // Two beginnings: some end where no small change helps.
            let begin = |seed| searched(&TONES[middle..=middle], begun, 500, &options, seed);
            let (one, other) = rayon::join(|| begin(0x9E37_79B9_7F4A_7C15), || begin(0x2545_F491_4F6C_DD1D));
            let first = if one[0].1 > other[0].1 { one[0] } else { other[0] };
            let darker: Vec<f64> = TONES[..middle].iter().rev().copied().collect();
            let on = |tones: &[f64], seed| searched(tones, first.2, 400, &options, seed);
            let (mut rows, lighter) = rayon::join(|| on(&darker, 7), || on(&TONES[middle + 1..], 11));
            rows.reverse();
            for (tone, look, all) in rows.into_iter().chain([first]).chain(lighter) {
                let all = all.map(|v| format!("{v:.3}")).join(", ");
                println!("[{all}], // {finer} dots, beam {beam}, tone {tone}: {look:.2} dB");
            }
        }
    }
}
