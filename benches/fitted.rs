//! Benchmarks of the screens that know the beam, on one million dots; see DEVELOPERS.md.

use divan::counter::ItemsCount;
use dotwright::kernels::mark::{Burn, Forecast};
use dotwright::kernels::plane::Tone;
use dotwright::kernels::progress::Silent;
use dotwright::kernels::screen::{self, Options};
use dotwright::kernels::{parallel, visual_quality};

const SIDE: usize = 1024;
const PITCH_MM: f64 = 25.4 / 304.0;

fn main() {
    divan::main();
}

fn waves() -> Tone {
    let wave = |i: usize| {
        let (x, y) = ((i % SIDE) as f32, (i / SIDE) as f32);
        0.35 + 0.3 * (x * 0.011).sin() * (y * 0.017).cos() + 0.1 * (x * y * 2e-4).sin()
    };
    Tone::from_vec(SIDE, SIDE, (0..SIDE * SIDE).map(wave).collect())
}

fn run(bencher: divan::Bencher, name: &str, effort: u32, threads: usize) {
    let (tone, burn) = (waves(), Burn::plain(1.5, 1.5));
    let options = Options { effort, ..Options::new(burn, PITCH_MM, PITCH_MM) };
    let Some(screen) = screen::find(name) else { return };
    bencher.counter(ItemsCount::new(SIDE * SIDE)).bench(|| {
        parallel::with_threads(threads, || screen.dots(divan::black_box(&tone), &options, &Silent))
    });
}

#[divan::bench(sample_count = 5)]
fn model_diffusion(bencher: divan::Bencher) {
    run(bencher, "model-diffusion", 0, 1);
}

#[divan::bench(sample_count = 3, args = [1, 2, 4, 8])]
fn fitted_one_thread(bencher: divan::Bencher, effort: u32) {
    run(bencher, "fitted", effort, 1);
}

#[divan::bench(sample_count = 3, args = [1, 2, 4, 8])]
fn fitted_two_threads(bencher: divan::Bencher, effort: u32) {
    run(bencher, "fitted", effort, 2);
}

#[divan::bench(sample_count = 5)]
fn score(bencher: divan::Bencher) {
    let tone = waves();
    let mark = Forecast::new(&Burn::plain(1.5, 1.5)).plane(&dotwright::kernels::plane::Dots::off(SIDE, SIDE));
    bencher.bench(|| visual_quality::score(divan::black_box(&mark), &tone, PITCH_MM, 300.0));
}
