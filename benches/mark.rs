//! Benchmarks of the forecast; see DEVELOPERS.md.

use divan::Bencher;
use divan::counter::{BytesCount, ItemsCount};
use dotwright::kernels::findings::burn::Verdict;
use dotwright::kernels::mark::{Burn, CellSamples, Forecast, LineWork, Response, Wish, sums, walk};
use dotwright::kernels::plane::{Dots, Tone};
use dotwright::kernels::progress::Silent;
use dotwright::kernels::screen::{self, Options};
use dotwright::kernels::tone::dot_gain;
use dotwright::kernels::units::MmPerS;

fn main() {
    divan::main();
}

/// Poster paint at 304 dpi, 4.5 W, 12.5 mm/s, beam 0.12 mm (assumed values).
fn trade() -> Burn {
    let response = Response {
        y_unmarked: 0.03,
        y_marked: 0.65,
        y_char: 0.10,
        x_half: 2.2,
        rise: 6.25,
        x_char: 9.0,
        char_rise: 8.0,
        schwarzschild: 0.8,
        v0: MmPerS(12.5),
    };
    Burn { x_solid: 4.31, response, ..Burn::plain(1.436, 1.436) }
}

/// Dots at 45 % with the texture of an error diffusion: the carry of a running sum, shifted by line.
/// No chunk is blank or solid, so nothing can be skipped.
fn dots(side: usize) -> Dots {
    let mut dots = Dots::off(side, side);
    for y in 0..side {
        let mut state = (y as u32).wrapping_mul(2654435761) | 1;
        for byte in dots.row_mut(y) {
            state = state.wrapping_mul(1664525).wrapping_add(1013904223);
            *byte = (state >> 24) as u8 & ((state >> 11) as u8 | 0x55);
        }
        dots.keep_only(y, 0..side);
    }
    dots
}

#[divan::bench(args = [1024, 9433], max_time = 20)]
fn forecast_by_bands(bencher: Bencher, side: usize) {
    let (dots, forecast) = (dots(side), Forecast::new(&trade()));
    bencher
        .counter(ItemsCount::new(side * side))
        .bench(|| forecast.bands(&dots, |b| b.mark.iter().sum::<f32>()));
}

#[divan::bench]
fn forecast_of_1_mdot_with_all_64_samples(bencher: Bencher) {
    let (dots, forecast) = (dots(1024), Forecast::with_samples(&trade(), CellSamples::REFERENCE));
    bencher
        .counter(ItemsCount::new(1024usize * 1024))
        .bench(|| forecast.bands(&dots, |b| b.mark.iter().sum::<f32>()));
}

/// The whole forecast of a bed: sums and the blocks of a picture, one walk; of a drawing with its lost detail.
#[divan::bench(args = [(1024, 1, false), (1024, 1, true), (9433, 5, false), (9433, 5, true)], max_time = 20)]
fn one_walk(bencher: Bencher, (side, block, drawing): (usize, usize, bool)) {
    let (dots, forecast) = (dots(side), Forecast::new(&trade()));
    // Fine line work all over, stroke and gap at once.
    let tones = || (0..side * side).map(|i| if i % 2 == 0 { 0.35 } else { 0.45 }).collect();
    let ink = drawing.then(|| LineWork::new(&Tone::from_vec(side, side, tones()), |_| 0..side));
    let wish = Wish { blocks: (block, block), ink: ink.as_ref() };
    bencher.counter(ItemsCount::new(side * side)).bench(|| walk(&forecast, &dots, wish, &Silent));
}

/// One step of the search for a remedy: another dose, all sums, the verdict.
#[divan::bench]
fn one_step_of_a_remedy_on_1_mdot(bencher: Bencher) {
    let dots = dots(1024);
    let burn = Burn { x_solid: 8.6, ..trade() };
    bencher
        .counter(ItemsCount::new(1024usize * 1024))
        .bench(|| sums(&Forecast::new(&burn), &dots, &Silent).map(|sums| Verdict::new(&sums, 0.007).clear()));
}

/// Screens that take coverage; those that know the beam have no curve.
fn curved() -> impl Iterator<Item = &'static str> {
    screen::SCREENS.iter().filter(|s| s.wants == screen::Wants::Coverage).map(|s| s.name)
}

#[divan::bench(args = curved(), max_time = 2)]
fn dot_gain_curve(bencher: Bencher, name: &str) {
    let options = Options::new(trade(), 0.0836, 0.0836);
    bencher.bench(|| screen::find(name).map(|s| dot_gain::forecast_anew(s, &options)));
}

/// The curve applied to 89 million tones.
#[divan::bench(sample_count = 5, sample_size = 1)]
fn dot_gain_applied_to_89_mdot(bencher: Bencher) {
    let curve = dot_gain::GainCurve::from_points(&[0.0, 0.1, 0.5, 1.0], &[0.0, 0.2, 0.7, 1.0]);
    let Ok(curve) = curve else { return };
    bencher
        .counter(ItemsCount::new(9433usize * 9433))
        .with_inputs(|| dotwright::kernels::plane::Tone::filled(9433, 9433, 0.4))
        .bench_values(|tone| curve.apply(tone));
}

#[divan::bench]
fn making_a_burn_ready() -> Forecast {
    Forecast::new(&trade())
}

/// For scale: writing and reading back one f32 a dot, what memory allows.
#[divan::bench]
fn memory_one_f32_a_dot(bencher: Bencher) {
    let mut plane = vec![0.0f32; 16 << 20];
    bencher.counter(BytesCount::new(plane.len() * 8)).bench_local(|| {
        plane.iter_mut().for_each(|v| *v += 1.0);
        plane[7]
    });
}
