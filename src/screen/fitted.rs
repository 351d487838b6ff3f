//! Dots whose forecast looks most like the wanted tone, found by search.
//!
//! Direct binary search (M. Analoui and J. P. Allebach, "Model-based halftoning using direct binary search",
//! Proc. SPIE 1666, 1992) in its fast form (D. J. Lieberman and J. P. Allebach, "A dual interpretation for
//! direct binary search and its implications for tone reproduction and texture quality", IEEE Transactions on
//! Image Processing 9, 2000): the error of the forecast is kept as its correlation with the autocorrelation
//! of the eye's point spread, so a change of dots is judged from the few cells whose mark it changes. A change
//! is a dot toggled, or swapped with a neighbour in the other state.
//!
//! The published form adds up dots; here a dot changes the marks of the cells around it as the swept beam
//! and the response of the coating say, whatever the other dots there are.
//!
//! The plane is searched in square tiles, each with its surroundings held still, in four rounds like the
//! colours of a board: tiles of one round do not touch, so any number of threads gives the same bytes.

pub mod autocorrelation;
mod fields;
mod guess;
pub(crate) mod mark_table;
mod moves;
mod search;
pub(in crate::screen) mod target;
mod tile;

use super::barred::{self, barred};
use super::model_diffusion;
use super::remembered::SeenTile;
use super::{Options, Screen, Wants};
use crate::lately::Lately;
use crate::mark::{Burn, Unsure};
use crate::parallel;
use crate::plane::{Dots, Tone};
use crate::progress::{Progress, Silent};
use crate::visual_quality::READING_DISTANCE_MM;
use autocorrelation::Autocorrelation;
use mark_table::{CODES, MarkTable};
use moves::SearchMoves;
use tile::{ASIDE, HALO, TILE, Tile};

/// The searching screen; `Options::effort` is the number of passes.
pub const FITTED: Screen =
    Screen { name: "fitted", wants: Wants::Mark, searches: true, takes: &["effort", "time"], make: fitted };

/// Passes over a tile before its neighbours get their turn; further passes come in further turns.
const PASSES_A_TURN: u32 = 4;
/// Where dots for a measured machine go on from those found in whole pitches, they are held by the runs that those lie in. A
/// first pass lets them go, in which changes may make things worse by this share of what a full mark on one pitch costs by
/// itself (G. Dueck and T. Scheuer, "Threshold accepting: a general purpose optimization algorithm appearing superior to
/// simulated annealing", Journal of Computational Physics 90, 1990).
///
/// On four photos, measured to 3 % and 2 %, that gains 0.5 dB of what is planned and 0.06 of what is to be expected, and the
/// search takes four fifths longer. For a machine that is known it loses (0.4 dB: diffused dots lie better than the pass leaves
/// them), for one that is assumed what is to be expected stays the same, and at thirds it loses 0.2 dB of that.
const HEAT: f32 = 0.025;
/// Switch pitches in a line pitch for which there is such a pass, and how unsure the machine may be.
const HOT_FINER: std::ops::Range<f64> = 1.5..2.5;
const HOT_UNSURE: f64 = 0.05;
/// Steps that a turn of a tile counts for, where a row of the start is one: of a million dots, rows of the
/// start take 25 microseconds each and turns of a tile 3 milliseconds.
const STEPS_A_TILE: u64 = 100;

/// Searches from model-based error diffusion, `Options::effort` passes over the plane; 0 leaves the start.
pub fn fitted(tone: &Tone, options: &Options, progress: &dyn Progress) -> Dots {
    let table = MarkTable::of(&options.burn, options.unsure);
    let tone = target::target(tone, &table, options);
    expect(&tone, options, progress);
    let start = start(&tone, &table, options, &|_| true, progress);
    improve(&tone, start, &table, options, &|_| true, progress)
}

/// The dots that a search begins with: diffused where the machine is known. Where it is not quite, and the beam may
/// switch within a line pitch, those that were found in whole pitches: a short pulse answers to an exposure that is off
/// twice as strongly as one of a pitch, and from short ones the search does not find back to longer.
pub(super) fn start(
    tone: &Tone,
    table: &MarkTable,
    options: &Options,
    kept: &(dyn Fn(usize) -> bool + Sync),
    progress: &dyn Progress,
) -> Dots {
    let times = options.switches.max(1) as usize;
    if times == 1 || options.unsure.is_none() {
        return model_diffusion::diffuse(tone, table, options, progress);
    }
    let burn = Burn { along: options.burn.along / times as f64, ..options.burn };
    let whole = Options { burn, pitch_along_mm: options.pitch_along_mm * times as f64, ..options.clone() };
    let table = MarkTable::of(&whole.burn, whole.unsure);
    let (width, height) = (tone.width(), tone.height());
    let columns = width.div_ceil(times);
    let mut coarse = Tone::filled(columns, height, 0.0);
    parallel::bands(coarse.data_mut(), columns.max(1), 64, |first, band| {
        for (i, row) in band.chunks_exact_mut(columns.max(1)).enumerate() {
            for (out, part) in row.iter_mut().zip(tone.row(first + i).chunks(times)) {
                *out = part.iter().sum::<f32>() / part.len() as f32;
            }
        }
    });
    expect(&coarse, &whole, progress);
    let found = model_diffusion::diffuse(&coarse, &table, &whole, progress);
    let kept = |i: usize| {
        let (x, y) = (i % columns * times, i / columns);
        (x..(x + times).min(width)).any(|x| kept(y * width + x))
    };
    let found = improve(&coarse, found, &table, &whole, &kept, progress);
    let mut dots = Dots::off(width, height);
    for y in 0..height {
        for x in (0..width).filter(|x| found.get(x / times, y)) {
            dots.set(x, y, true);
        }
    }
    dots
}

/// How long searching takes: seconds a dot, on one thread.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SearchRate {
    /// The start and the first pass.
    pub first: f64,
    /// Each pass after it.
    pub each: f64,
}

impl SearchRate {
    /// The rate at which [`search_sample`] was searched, from the seconds that it took.
    pub fn from_sample(first: f64, each: f64) -> Self {
        let dots = (SAMPLE_SIDE * SAMPLE_SIDE) as f64;
        SearchRate { first: first / dots, each: each / dots }
    }
}

/// Side of the sample, in dots.
const SAMPLE_SIDE: usize = 2 * TILE;

/// Searches a made-up picture in so many passes and forgets its dots: for timing.
pub fn search_sample(options: &Options, passes: u32) {
    let wave = |i: usize| {
        let (x, y) = ((i % SAMPLE_SIDE) as f32, (i / SAMPLE_SIDE) as f32);
        0.4 + 0.3 * libm::sinf(x * 0.021) * libm::cosf(y * 0.033) + 0.1 * libm::sinf(x * y * 1e-3)
    };
    let tone = Tone::from_vec(SAMPLE_SIDE, SAMPLE_SIDE, (0..SAMPLE_SIDE * SAMPLE_SIDE).map(wave).collect());
    let options = Options { effort: passes, ..options.clone() };
    let table = MarkTable::of(&options.burn, options.unsure);
    let start = start(&tone, &table, &options, &|_| true, &Silent);
    std::hint::black_box(improve(&tone, start, &table, &options, &|_| true, &Silent));
}

/// The passes that searching so many dots takes no longer than `seconds` for, on so many threads: from 1, even where
/// that takes longer, to 64.
pub fn passes_within(seconds: f64, dots: usize, threads: usize, rate: SearchRate) -> u32 {
    let share = dots as f64 / threads.max(1) as f64;
    let each = (rate.each * share).max(1e-9);
    (1.0 + (seconds - rate.first * share) / each).clamp(1.0, 64.0) as u32
}

/// Says how many steps a search will count: before the start that it goes out from counts its own.
pub(super) fn expect(tone: &Tone, options: &Options, progress: &dyn Progress) {
    let tiles = tone.width().div_ceil(TILE) * tone.height().div_ceil(TILE);
    progress.expect(STEPS_A_TILE * u64::from(options.effort.div_ceil(PASSES_A_TURN)) * tiles as u64);
}

/// Searches from given dots; the steps it counts are those that [`expect`] says. Dots are `kept` where that is so of their
/// number, row after row; what the others become is of no matter, and they are searched only where those that are kept hang
/// on them.
pub(super) fn improve(
    tone: &Tone,
    dots: Dots,
    table: &MarkTable,
    options: &Options,
    kept: &(dyn Fn(usize) -> bool + Sync),
    progress: &dyn Progress,
) -> Dots {
    match &table.vary {
        None => improve_by(tone, dots, (table, &together([&table.halves])), options, kept, progress),
        Some(vary) => {
            improve_by(tone, dots, (table, &together([&table.halves, vary])), options, kept, progress)
        }
    }
}

/// How much worse changes may make things in a first pass (see [`HEAT`]); 0 where there is none.
fn heat(options: &Options, weights: &Autocorrelation) -> f32 {
    let finer = options.pitch_across_mm / options.pitch_along_mm;
    let unsure = options.unsure.beam.max(options.unsure.exposure);
    let hot = HOT_FINER.contains(&finer) && unsure > 0.0 && unsure <= HOT_UNSURE;
    if hot { HEAT * weights.at(0, 0) * (finer * finer) as f32 } else { 0.0 }
}

/// Moves and weights, with the pitches and the burn that they are for.
static LATELY: Lately<([f64; 2], Burn, Unsure), (SearchMoves, Autocorrelation)> = Lately::new(4);

/// Tables as one, whose entries have all parts of a mark side by side.
fn together<const C: usize>(parts: [&[f32; CODES]; C]) -> Box<[[f32; C]; CODES]> {
    let mut all = Box::new([[0.0f32; C]; CODES]);
    for (i, entry) in all.iter_mut().enumerate() {
        *entry = parts.map(|part| part[i]);
    }
    all
}

/// The search over marks of `C` parts, see [`Tile`].
fn improve_by<const C: usize>(
    tone: &Tone,
    mut dots: Dots,
    (table, halves): (&MarkTable, &[[f32; C]; CODES]),
    options: &Options,
    kept: &(dyn Fn(usize) -> bool + Sync),
    progress: &dyn Progress,
) -> Dots {
    let (w, h) = (tone.width(), tone.height());
    if w == 0 || h == 0 || options.effort == 0 {
        return dots;
    }
    let pitches = [options.pitch_along_mm, options.pitch_across_mm];
    let ready = LATELY.get((pitches, options.burn, options.unsure), || {
        let weights = Autocorrelation::new(pitches[0], pitches[1], READING_DISTANCE_MM);
        let mut moves = SearchMoves::new(&weights, table);
        guess::learn(&mut moves, &weights, (table, halves), options);
        (moves, weights)
    });
    let (moves, weights) = &*ready;
    let (across, down) = (w.div_ceil(TILE), h.div_ceil(TILE));
    let turns = options.effort.div_ceil(PASSES_A_TURN);
    let heat = heat(options, weights);
    let holds = |x: usize, y: usize| {
        let columns = x * TILE..((x + 1) * TILE).min(w);
        (y * TILE..((y + 1) * TILE).min(h)).any(|y| columns.clone().any(|x| kept(y * w + x)))
    };
    let barred = barred(tone, table, options);
    if let Some(barred) = &barred {
        barred::clear(&mut dots, barred);
    }
    let searched = searched((across, down), turns as usize, &holds);
    for turn in 0..turns {
        let passes = PASSES_A_TURN.min(options.effort - turn * PASSES_A_TURN);
        let heat = if turn == 0 { heat } else { 0.0 };
        let Options { burn, unsure, pitch_along_mm, pitch_across_mm, .. } = options;
        let all = SeenTile::of(&(
            "fitted",
            burn,
            unsure,
            pitch_along_mm,
            pitch_across_mm,
            passes,
            heat,
            barred.is_some(),
        ));
        for round in 0..4 {
            let tiles: Vec<(usize, usize)> = (round / 2..down)
                .step_by(2)
                .flat_map(|y| (round % 2..across).step_by(2).map(move |x| (x, y)))
                .collect();
            let count = tiles.len() as u64;
            let step = &searched[4 * turn as usize + round];
            let tiles: Vec<(usize, usize)> = tiles
                .into_iter()
                .filter(|&(x, y)| step[y * across + x])
                .map(|(x, y)| (x * TILE, y * TILE))
                .collect();
            if !progress.step(STEPS_A_TILE * (count - tiles.len() as u64)) {
                return dots;
            }
            let found = parallel::map(tiles.len(), |i| {
                let mut seen = all.clone();
                let planes: Vec<&Dots> = [&dots].into_iter().chain(&barred).collect();
                seen.add_tile(tone, &planes, tiles[i], TILE, (ASIDE, HALO));
                let found = seen.found(|| {
                    let mark = (halves, table.solid);
                    let mut tile = Tile::new(tone, &dots, tiles[i], mark, weights, moves, barred.as_ref());
                    tile.search(passes, heat);
                    tile.dots()
                });
                (found, progress.step(STEPS_A_TILE))
            });
            for (&(x0, y0), (found, _)) in tiles.iter().zip(&found) {
                dots.lay(found, x0, y0);
            }
            if found.iter().any(|f| !f.1) {
                return dots;
            }
        }
    }
    dots
}

/// For each round of each turn, which tiles are searched, row after row, so that all that `hold` something come out as if all
/// were. A tile hangs on its own dots and on those of the tiles around it, as they are when it is searched: what matters is
/// followed back from the last round.
fn searched(
    (across, down): (usize, usize),
    turns: usize,
    holds: &dyn Fn(usize, usize) -> bool,
) -> Vec<Vec<bool>> {
    let mut matters: Vec<bool> = (0..across * down).map(|i| holds(i % across, i / across)).collect();
    let mut steps = vec![vec![false; across * down]; 4 * turns];
    for (number, step) in steps.iter_mut().enumerate().rev() {
        let round = number % 4;
        let of_round = |i: usize| (i % across) % 2 == round % 2 && (i / across) % 2 == round / 2;
        for i in (0..across * down).filter(|&i| matters[i] && of_round(i)) {
            step[i] = true;
        }
        for i in (0..across * down).filter(|&i| step[i]) {
            let (x, y) = (i % across, i / across);
            for y in y.saturating_sub(1)..=(y + 1).min(down - 1) {
                matters[y * across..][x.saturating_sub(1)..=(x + 1).min(across - 1)].fill(true);
            }
        }
    }
    steps
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::mark::Burn;
    use crate::screen::simd::{self, Work};

    #[test]
    fn dots_that_are_kept_are_those_of_the_whole_search() {
        let (w, h) = (5 * TILE + 30, 4 * TILE);
        let wave =
            |i: usize| 0.4 + 0.3 * libm::sinf((i % w) as f32 * 0.05) * libm::cosf((i / w) as f32 * 0.07);
        let tone = Tone::from_vec(w, h, (0..w * h).map(wave).collect());
        for (effort, kept_x, kept_y) in
            [(4, 3 * TILE + 5, 3 * TILE + 5), (4, 10, 10), (6, 2 * TILE + 1, TILE + 2)]
        {
            let options = Options { effort, ..Options::new(Burn::plain(1.5, 1.5), 0.0875, 0.0875) };
            let table = MarkTable::new(&options.burn);
            let start = model_diffusion::diffuse(&tone, &table, &options, &Silent);
            let kept = |i: usize| {
                (kept_x..kept_x + 20).contains(&(i % w)) && (kept_y..kept_y + 20).contains(&(i / w))
            };
            let all = improve(&tone, start.clone(), &table, &options, &|_| true, &Silent);
            let some = improve(&tone, start.clone(), &table, &options, &kept, &Silent);
            assert!((0..w * h).filter(|&i| kept(i)).all(|i| all.get(i % w, i / w) == some.get(i % w, i / w)));
            assert!(all != some, "the rest was left alone");
        }
    }

    #[test]
    fn the_portable_path_finds_the_same_dots() {
        let wave = |i: usize| 0.45 + 0.4 * libm::sinf((i % TILE) as f32 * 0.09) * libm::cosf(i as f32 * 3e-4);
        let tone = Tone::from_vec(TILE, TILE, (0..TILE * TILE).map(wave).collect());
        let (pitch, burn) = (25.4 / 300.0, Burn::plain(3.0, 1.5));
        let table = MarkTable::expected(&burn, Unsure { beam: 0.03, exposure: 0.02 });
        let weights = Autocorrelation::new(0.5 * pitch, pitch, READING_DISTANCE_MM);
        let moves = SearchMoves::new(&weights, &table);
        let halves = together([&table.halves, table.vary.as_deref().unwrap()]);
        let options = Options::new(burn, 0.5 * pitch, pitch);
        let start = model_diffusion::diffuse(&tone, &table, &options, &Silent);
        let of = || Tile::new(&tone, &start, (0, 0), (&*halves, table.solid), &weights, &moves, None);
        let (mut wide, mut portable) = (of(), of());
        for (pass, most_cost) in [(0, 1e-3), (1, 0.0), (2, 0.0)] {
            let made = simd::eights(search::Pass { tile: &mut wide, pass, most_cost });
            let also = search::Pass { tile: &mut portable, pass, most_cost }.run(pulp::Scalar256b);
            assert!(made > 0 && made == also, "{made} changes, {also}");
        }
        assert!(wide.correlation == portable.correlation, "the same sums in the same order");
        assert!(wide.dots() == portable.dots());
    }

    #[test]
    fn a_first_pass_makes_things_worse_only_where_a_measured_machine_switches_every_half() {
        let pitch = 25.4 / 300.0;
        let heat = |finer: f64, unsure: f64| {
            let plain = Options::new(Burn::plain(1.5 * finer, 1.5), pitch / finer, pitch);
            let options = Options { unsure: Unsure { beam: unsure, exposure: unsure }, ..plain };
            heat(&options, &Autocorrelation::new(pitch / finer, pitch, READING_DISTANCE_MM))
        };
        assert!(heat(2.0, 0.03) > 0.0);
        for (finer, unsure) in [(2.0, 0.0), (2.0, 0.1), (1.0, 0.03), (3.0, 0.03)] {
            assert!(heat(finer, unsure) == 0.0, "{finer}, {unsure}");
        }
    }

    #[test]
    fn a_first_pass_that_makes_things_worse_finds_better_dots_for_a_measured_machine() {
        let (pitch, unsure) = (25.4 / 300.0, Unsure { beam: 0.03, exposure: 0.02 });
        let burn = Burn::plain(3.0, 1.5);
        let options = Options { switches: 2, unsure, ..Options::new(burn, 0.5 * pitch, pitch) };
        let table = MarkTable::expected(&burn, unsure);
        let weights = Autocorrelation::new(0.5 * pitch, pitch, READING_DISTANCE_MM);
        let mut moves = SearchMoves::new(&weights, &table);
        let halves = together([&table.halves, table.vary.as_deref().unwrap()]);
        guess::learn(&mut moves, &weights, (&table, &*halves), &options);
        let seen_error = |tone: &Tone, start: &Dots, heat: f32| {
            let mut tile = Tile::new(tone, start, (0, 0), (&*halves, table.solid), &weights, &moves, None);
            tile.search(PASSES_A_TURN, heat);
            let marks = crate::mark::Forecast::new(&burn).plane(&tile.dots());
            let wanted = tone.data().iter().zip(marks.data()).map(|(t, m)| m - t).collect();
            let error = Tone::from_vec(TILE, TILE, wanted);
            let sum = |x: usize, y: usize| {
                let around = |d: isize| (-12..=12).map(move |e| (d, e));
                (-12..=12isize)
                    .flat_map(around)
                    .map(|(dx, dy): (isize, isize)| {
                        let (at_x, at_y) = (x.saturating_add_signed(dx), y.saturating_add_signed(dy));
                        weights.at(dx, dy) * error.row(at_y)[at_x]
                    })
                    .sum::<f32>()
            };
            let inner = (16..TILE - 16).flat_map(|y| (16..TILE - 16).map(move |x| (x, y)));
            inner.map(|(x, y)| f64::from(sum(x, y) * error.row(y)[x])).sum::<f64>()
        };
        // One tile's error swings by a fifth with the least change of the search: of several it is told.
        let (mut cold, mut hot) = (0.0, 0.0);
        for phase in 0..12 {
            let wave = |i: usize| {
                let (x, y) = ((i % TILE) as f32, (i / TILE) as f32);
                0.5 + 0.4 * libm::sinf(x * 0.03 + phase as f32) * libm::cosf(y * 0.05 + phase as f32 * 0.7)
            };
            let tone = Tone::from_vec(TILE, TILE, (0..TILE * TILE).map(wave).collect());
            let start = start(&tone, &table, &options, &|_| true, &Silent);
            let (c, h) =
                (seen_error(&tone, &start, 0.0), seen_error(&tone, &start, heat(&options, &weights)));
            cold += c;
            hot += h;
        }
        assert!(hot < 0.92 * cold, "{hot} of {cold}");
    }

    #[test]
    fn what_is_told_of_changes_is_what_is_worked_out_afresh() {
        let wave = |i: usize| {
            let (x, y) = ((i % (2 * TILE)) as f32, (i / (2 * TILE)) as f32);
            0.4 + 0.3 * libm::sinf(x * 0.05) * libm::cosf(y * 0.07)
        };
        let tone = Tone::from_vec(2 * TILE, TILE, (0..2 * TILE * TILE).map(wave).collect());
        for along in [1.0, 0.5] {
            let (pitch, burn) = (25.4 / 300.0, Burn::plain(1.5 / along, 1.5));
            let table = MarkTable::new(&burn);
            let weights = Autocorrelation::new(along * pitch, pitch, READING_DISTANCE_MM);
            let moves = SearchMoves::new(&weights, &table);
            let halves = together([&table.halves]);
            let options = Options::new(burn, along * pitch, pitch);
            let start = model_diffusion::diffuse(&tone, &table, &options, &Silent);
            let of =
                |dots| Tile::new(&tone, dots, (TILE, 0), (&*halves, table.solid), &weights, &moves, None);
            let mut tile = of(&start);
            tile.search(PASSES_A_TURN, 0.0);
            let mut found = start.clone();
            found.lay(&tile.dots(), TILE, 0);
            let afresh = of(&found);
            let changed = (0..2 * TILE * TILE)
                .filter(|i| {
                    start.get(i % (2 * TILE), i / (2 * TILE)) != found.get(i % (2 * TILE), i / (2 * TILE))
                })
                .count();
            assert!(changed > 100, "{changed}");
            // The tile's own dots.
            let (mut off, mut all) = (0.0f64, 0.0f64);
            for y in HALO..HALO + TILE {
                for x in ASIDE..ASIDE + TILE {
                    let at = y * tile::STRIDE + x;
                    let (kept, made) = (tile.correlation[0][at], afresh.correlation[0][at]);
                    off += f64::from(kept - made).powi(2);
                    all += f64::from(made).powi(2);
                }
            }
            assert!(off < 0.01 * all, "{along}: {} of it", (off / all).sqrt());
        }
    }

    #[test]
    fn passes_follow_the_time_the_dots_and_the_threads() {
        // A microsecond a dot for the first pass, half of one for each other.
        let rate = SearchRate { first: 1e-6, each: 0.5e-6 };
        assert_eq!(passes_within(3.1, 1_000_000, 1, rate), 5);
        assert_eq!(passes_within(3.1, 2_000_000, 2, rate), 5);
        assert_eq!(passes_within(1.6, 1_000_000, 2, rate), 5);
        assert_eq!(passes_within(0.1, 1_000_000, 1, rate), 1, "one pass at least");
        assert_eq!(passes_within(3600.0, 1_000_000, 1, rate), 64);
    }
}
