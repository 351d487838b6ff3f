//! How fast each screen is on this machine, on one thread, beside the dither of the crate `image`.
//!
//! Prints one line each: name, million dots a second of processor time, the best of several runs.

use dotwright::mark::Burn;
use dotwright::parallel;
use dotwright::plane::Tone;
use dotwright::progress::Silent;
use dotwright::screen::{Options, SCREENS, path};
use std::hint::black_box;
use std::time::{Duration, Instant};

const SIDE: usize = 4096;
const RUNS: usize = 7;

fn main() {
    parallel::with_threads(1, || {
        // A smooth wave with a little grain, 8-bit levels: no flat areas and no ties.
        let levels: Vec<u8> = (0..SIDE * SIDE)
            .map(|i| {
                let (x, y) = ((i % SIDE) as f32, (i / SIDE) as f32);
                let grain = ((i.wrapping_mul(2_654_435_761) >> 16) % 25) as f32;
                (115.0 + 100.0 * (x * 0.0041).sin() * (y * 0.0053).cos() + grain) as u8
            })
            .collect();
        let tone = Tone::from_vec(SIDE, SIDE, levels.iter().map(|&l| f32::from(l) / 255.0).collect());
        println!("# path {}, {SIDE} x {SIDE}, one thread, best of {RUNS}", path());
        for screen in SCREENS {
            for serpentine in [true, false] {
                let mut options = Options::new(Burn::plain(1.5, 1.5), 0.0836, 0.0836);
                options.serpentine = serpentine;
                let diffuses = ["floyd-steinberg", "jarvis-judice-ninke", "stucki", "ostromoukhov"];
                let searches = ["fitted", "model-diffusion", "auto"].contains(&screen.name);
                if searches || (!serpentine && !diffuses.contains(&screen.name)) {
                    continue;
                }
                let order = if !diffuses.contains(&screen.name) {
                    ""
                } else if serpentine {
                    " serpentine"
                } else {
                    " raster"
                };
                report(&format!("{}{order}", screen.name), || {
                    black_box((screen.make)(&tone, &options, &Silent));
                });
            }
        }
        let picture = image::GrayImage::from_raw(SIDE as u32, SIDE as u32, levels).unwrap_or_default();
        report("crate image, floyd-steinberg raster", || {
            let mut copy = picture.clone();
            image::imageops::dither(&mut copy, &image::imageops::BiLevel);
            black_box(copy);
        });
        let mut sum = 0.0f32;
        report("reading the tones (memory limit)", || {
            let (eights, _) = tone.data().as_chunks::<64>();
            let mut sums = [0.0f32; 64];
            for eight in eights {
                sums.iter_mut().zip(eight).for_each(|(s, v)| *s += v);
            }
            sum += black_box(sums)[0];
        });
        black_box(sum);
    });
}

fn report(name: &str, mut work: impl FnMut()) {
    let best = (0..RUNS).map(|_| time(&mut work)).min().unwrap_or_default();
    println!("{name}\t{:.0}", (SIDE * SIDE) as f64 / 1e6 / best.as_secs_f64());
}

fn time(mut work: impl FnMut()) -> Duration {
    let (start, clock) = (cpu(), Instant::now());
    work();
    match (start, cpu()) {
        (Some(a), Some(b)) if b > a => b - a,
        _ => clock.elapsed(),
    }
}

/// Processor time of this thread, where the system tells it (Linux): a busy machine does not disturb it.
fn cpu() -> Option<Duration> {
    let text = std::fs::read_to_string("/proc/thread-self/schedstat").ok()?;
    text.split(' ').next()?.parse().ok().map(Duration::from_nanos)
}
