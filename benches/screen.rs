//! Benchmarks of the screens: a coaster of 85 mm at 304 dpi, and 4096². Dots a second. See DEVELOPERS.md.

use divan::Bencher;
use divan::counter::ItemsCount;
use dotwright::kernels::mark::Burn;
use dotwright::kernels::parallel;
use dotwright::kernels::plane::Tone;
use dotwright::kernels::progress::Silent;
use dotwright::kernels::screen::{Options, blue_noise, find, path};

fn main() {
    println!("path: {}", path());
    divan::main();
}

const NAMES: [&str; 9] = [
    "threshold",
    "bayer",
    "blue-noise",
    "clustered",
    "floyd-steinberg",
    "jarvis-judice-ninke",
    "stucki",
    "ostromoukhov",
    "zhou-fang",
];

fn wave(side: usize) -> Tone {
    let data = (0..side * side)
        .map(|i| {
            let (x, y) = ((i % side) as f32, (i / side) as f32);
            let grain = ((i.wrapping_mul(2_654_435_761) >> 16) % 25) as f32;
            ((115.0 + 100.0 * (x * 0.0041).sin() * (y * 0.0053).cos() + grain) as u8) as f32 / 255.0
        })
        .collect();
    Tone::from_vec(side, side, data)
}

fn run(bencher: Bencher, name: &str, side: usize, serpentine: bool) {
    run_on(bencher, name, side, serpentine, None);
}

/// The same on a number of threads; `None`: all.
fn run_on(bencher: Bencher, name: &str, side: usize, serpentine: bool, threads: Option<usize>) {
    let tone = wave(side);
    let mut options = Options::new(Burn::plain(1.5, 1.5), 0.0836, 0.0836);
    options.serpentine = serpentine;
    let Some(screen) = find(name) else { return };
    let make = || screen.dots(&tone, &options, &Silent);
    bencher.counter(ItemsCount::new(side * side)).bench(|| match threads {
        // A pool costs some ten microseconds, nothing beside 16 million dots.
        Some(n) => parallel::with_threads(n, make),
        None => make(),
    });
}

#[divan::bench(args = NAMES)]
fn coaster(bencher: Bencher, name: &str) {
    run(bencher, name, 1017, true);
}

#[divan::bench(args = NAMES, max_time = 2)]
fn large_one_thread(bencher: Bencher, name: &str) {
    run_on(bencher, name, 4096, true, Some(1));
}

#[divan::bench(args = ["bayer", "blue-noise", "clustered"], max_time = 2)]
fn large_all_threads(bencher: Bencher, name: &str) {
    run(bencher, name, 4096, true);
}

#[divan::bench(max_time = 2)]
fn floyd_steinberg_raster(bencher: Bencher) {
    run(bencher, "floyd-steinberg", 4096, false);
}

#[divan::bench(max_time = 1)]
fn make_the_blue_noise_mask() -> Vec<u16> {
    blue_noise::ranks()
}
