//! How fast each screen is on this machine, beside the dither of the crate `image` and the rate at which the
//! tones can be read at all.
//!
//! Prints one line each: name, million dots a second, share of the memory limit; one thread unless said, the best
//! of several runs. Tones are `f32`, so a dot is four bytes read; a screen that did nothing else could reach the
//! memory limit and no more.

use dotwright::kernels::mark::Burn;
use dotwright::kernels::parallel;
use dotwright::kernels::plane::Tone;
use dotwright::kernels::progress::Silent;
use dotwright::kernels::screen::{Options, SCREENS, Screen, Wants, find, path};
use std::hint::black_box;
use std::time::Instant;

const SIDE: usize = 4096;
const RUNS: usize = 11;
const DOTS: f64 = (SIDE * SIDE) as f64;

const DIFFUSING: [&str; 5] =
    ["floyd-steinberg", "jarvis-judice-ninke", "stucki", "ostromoukhov", "zhou-fang"];

fn main() {
    // A smooth wave with a little grain, 8-bit levels: no flat areas and no ties.
    let levels: Vec<u8> = (0..SIDE * SIDE)
        .map(|i| {
            let (x, y) = ((i % SIDE) as f32, (i / SIDE) as f32);
            let grain = ((i.wrapping_mul(2_654_435_761) >> 16) % 25) as f32;
            (115.0 + 100.0 * (x * 0.0041).sin() * (y * 0.0053).cos() + grain) as u8
        })
        .collect();
    let tone = Tone::from_vec(SIDE, SIDE, levels.iter().map(|&l| f32::from(l) / 255.0).collect());
    println!("# path {}, {SIDE} x {SIDE} dots from f32 tones, best of {RUNS} runs", path());
    // Memory may be slowed by others at any moment: it is measured before and after.
    let before = fastest(|| read(&tone));
    let mut rows = Vec::new();
    // `fitted` searches and is slower by far: benches/fitted.rs has it.
    for screen in SCREENS.iter().filter(|s| s.wants == Wants::Coverage) {
        if DIFFUSING.contains(&screen.name) {
            rows.push((format!("{} serpentine", screen.name), of(screen, &tone, true, 1)));
            rows.push((format!("{} raster", screen.name), of(screen, &tone, false, 1)));
            if screen.name == "floyd-steinberg" {
                rows.push((format!("{} raster, 2 threads", screen.name), of(screen, &tone, false, 2)));
            }
        } else {
            rows.push((screen.name.to_string(), of(screen, &tone, true, 1)));
        }
    }
    if let Some(screen) = find("model-diffusion") {
        rows.push((screen.name.into(), of(screen, &tone, true, 1)));
    }
    let picture = image::GrayImage::from_raw(SIDE as u32, SIDE as u32, levels).unwrap_or_default();
    let dithered = fastest(|| {
        let mut copy = picture.clone();
        image::imageops::dither(&mut copy, &image::imageops::BiLevel);
        black_box(copy);
    });
    rows.push(("crate image, floyd-steinberg raster".into(), dithered));
    let limit = before.max(fastest(|| read(&tone)));
    for (name, speed) in rows {
        println!("{name}\t{speed:.0}\t{:.2}", speed / limit);
    }
    println!("reading the tones (memory limit)\t{limit:.0}\t1.00");
}

/// Dots a second of a screen, millions.
fn of(screen: &Screen, tone: &Tone, serpentine: bool, threads: usize) -> f64 {
    let mut options = Options::new(Burn::plain(1.5, 1.5), 0.0836, 0.0836);
    options.serpentine = serpentine;
    parallel::with_threads(threads, || {
        fastest(|| {
            black_box(screen.dots(tone, &options, &Silent));
        })
    })
}

fn read(tone: &Tone) {
    let (blocks, _) = tone.data().as_chunks::<64>();
    let mut sums = [0.0f32; 64];
    for block in blocks {
        sums.iter_mut().zip(block).for_each(|(s, v)| *s += v);
    }
    black_box(sums);
}

/// Millions of dots a second of the fastest run.
fn fastest(mut work: impl FnMut()) -> f64 {
    let time = |work: &mut dyn FnMut()| {
        let start = Instant::now();
        work();
        start.elapsed().as_secs_f64()
    };
    let best = (0..RUNS).map(|_| time(&mut work)).fold(f64::INFINITY, f64::min);
    DOTS / 1e6 / best
}
