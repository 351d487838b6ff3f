//! Figures of the screens: quality of the forecast, speed, and what more search brings.

use std::fmt::Write as _;
use std::hint::black_box;
use std::time::Instant;

use super::{PITCH, SIDE, input};
use crate::mark::{Burn, CellSamples, Forecast};
use crate::parallel;
use crate::plane::Tone;
use crate::progress::Silent;
use crate::screen::{self, Options, SCREENS, Screen};
use crate::visual_quality::{self, Score};

/// Side of the plane that speed is measured on, dots: about a coaster.
pub const FAST_SIDE: usize = 1024;
/// Beams, 1/e² diameters in pitches.
const BEAMS: [f64; 3] = [1.0, 1.5, 2.0];
/// Passes of `fitted` whose worth is shown.
const PASSES: [u32; 5] = [1, 2, 4, 8, 16];
/// A screen is run again until it has taken this long, s, and at most so often.
const LONG_ENOUGH: f64 = 0.6;
const MOST_RUNS: usize = 50;

/// Figures of one screen.
struct Row {
    screen: &'static Screen,
    scores: [Score; 3],
    one_thread: f64,
    all_threads: f64,
}

/// What a number of passes of `fitted` brings, at a beam of 1.5 and 2 pitches.
pub struct Search {
    /// Passes; 0 is the start, `model-diffusion`.
    pub passes: u32,
    /// Seconds for a million dots, all threads.
    pub seconds: f64,
    /// PSNR after the eye, dB, for both beams.
    pub psnr_db: [f64; 2],
    /// SSIM after the eye, for both beams.
    pub ssim: [f64; 2],
}

/// All figures.
pub struct Figures {
    rows: Vec<Row>,
    /// The searching screen's.
    pub search: Vec<Search>,
    /// Million tones read a second, one thread.
    reading: f64,
}

/// Measures everything: quality on the photo, speed on the large plane.
pub fn measured(photo: &Tone, large: &Tone) -> Figures {
    let rows = SCREENS.iter().map(|s| row(s, photo, large)).collect();
    let of = |passes: u32| {
        let name = if passes == 0 { "model-diffusion" } else { "fitted" };
        screen::find(name).map(|s| search(s, passes, photo, large))
    };
    let search = [0].into_iter().chain(PASSES).filter_map(of).collect();
    Figures { rows, search, reading: parallel::with_threads(1, || reading(large)) }
}

fn score(screen: &Screen, options: &Options, photo: &Tone) -> Score {
    let dots = screen.dots(&input(screen, options, photo), options, &Silent);
    let mark = Forecast::with_samples(&options.burn, CellSamples::REFERENCE).plane(&dots);
    visual_quality::score(&mark, photo, PITCH, 300.0)
}

fn options(beam: f64) -> Options {
    Options::new(Burn::plain(beam, beam), PITCH, PITCH)
}

fn row(screen: &'static Screen, photo: &Tone, large: &Tone) -> Row {
    let scores = BEAMS.map(|beam| score(screen, &options(beam), photo));
    let options = options(1.5);
    let tone = input(screen, &options, large);
    let speed = || fastest(large.data().len(), || drop(black_box(screen.dots(&tone, &options, &Silent))));
    Row { screen, scores, one_thread: parallel::with_threads(1, speed), all_threads: speed() }
}

fn search(screen: &Screen, passes: u32, photo: &Tone, large: &Tone) -> Search {
    let with = |beam| Options { effort: passes, ..options(beam) };
    let scores = [1.5, 2.0].map(|beam| score(screen, &with(beam), photo));
    let speed = fastest(large.data().len(), || drop(black_box(screen.dots(large, &with(1.5), &Silent))));
    Search {
        passes,
        seconds: 1.0 / speed,
        psnr_db: scores.map(|s| s.psnr_hvs_db),
        ssim: scores.map(|s| s.ssim_hvs),
    }
}

/// Millions a second of the fastest of several runs.
fn fastest(count: usize, mut work: impl FnMut()) -> f64 {
    let (mut best, mut all, mut runs) = (f64::INFINITY, 0.0, 0);
    while runs < MOST_RUNS && (runs == 0 || all < LONG_ENOUGH) {
        let start = Instant::now();
        work();
        let took = start.elapsed().as_secs_f64().max(1e-9);
        (best, all, runs) = (took.min(best), all + took, runs + 1);
    }
    count as f64 / 1e6 / best
}

/// How fast tones can be read at all: what no screen can exceed.
fn reading(tone: &Tone) -> f64 {
    fastest(tone.data().len(), || {
        let mut sums = [0.0f32; 64];
        for block in tone.data().as_chunks::<64>().0 {
            sums.iter_mut().zip(block).for_each(|(s, v)| *s += v);
        }
        black_box(sums);
    })
}

/// The processor's name, where the system tells it.
fn processor() -> String {
    let text = std::fs::read_to_string("/proc/cpuinfo").unwrap_or_default();
    let name =
        text.lines().find_map(|l| l.strip_prefix("model name")?.split_once(':').map(|(_, n)| n.trim()));
    name.unwrap_or(std::env::consts::ARCH).to_string()
}

/// How busy the machine was, where the system tells it: others' work makes the speeds too low.
fn busy() -> String {
    let text = std::fs::read_to_string("/proc/loadavg").unwrap_or_default();
    text.split(' ')
        .next()
        .filter(|l| !l.is_empty())
        .map(|l| format!(", load {l} at the end"))
        .unwrap_or_default()
}

/// Three figures of a speed are enough.
fn rate(mdots: f64) -> String {
    match mdots {
        m if m >= 100.0 => format!("{m:.0}"),
        m if m >= 10.0 => format!("{m:.1}"),
        m => format!("{m:.2}"),
    }
}

impl Figures {
    /// The figures for other programs.
    pub fn json(&self) -> serde_json::Value {
        let screens: Vec<_> = self.rows.iter().map(Row::json).collect();
        let search: Vec<_> = self
            .search
            .iter()
            .map(|s| {
                serde_json::json!({
                    "passes": s.passes, "seconds_per_mdot": s.seconds, "beams_in_pitches": [1.5, 2.0],
                    "psnr_hvs_db": s.psnr_db, "ssim_hvs": s.ssim,
                })
            })
            .collect();
        serde_json::json!({
            "processor": processor(), "threads": parallel::threads(), "path": screen::path(),
            "reading_mdots_per_s": self.reading, "screens": screens, "fitted_by_passes": search,
        })
    }

    /// The document.
    pub fn document(&self, art: &str) -> String {
        let mut t = String::from("# Screens: quality and speed\n\n");
        let _ = writeln!(
            t,
            "Quality: the middle square of {art}, {SIDE} x {SIDE} dots, under the plain mark model (rise 6.25 at half a \
             solid's exposure, no char), seen from 300 mm at 300 dpi; screens that take coverage get the forecast \
             dot-gain curve. PSNR and SSIM compare the forecast with the wanted tone after the eye's point spread; the \
             beam is its 1/e² diameter in pitches. It is one picture and a forecast, not a burnt piece.\n\n\
             Speed: {FAST_SIDE} x {FAST_SIDE} dots from tones in memory to packed dots, rows there and back where a \
             screen diffuses, the fastest of several runs. Measured on {}, {} threads, path {}{}; other machines \
             and other work on the machine give other speeds. The tones alone (f32, out of the processor's cache at \
             this size) are read at {} Mdot/s by one thread.\n\n\
             The picture beside this page, screens.png, shows each screen on the same ramps and photo. Renew both with \
             `dotwright screens --table FOLDER --replace`.\n",
            processor(),
            parallel::threads(),
            screen::path(),
            busy(),
            rate(self.reading)
        );
        t.push_str(
            "| screen | PSNR dB, beam 1.0 | 1.5 | 2.0 | SSIM 1.0 | 1.5 | 2.0 | tone error 1.5 | Mdot/s, one thread | all \
             threads |\n|---|---|---|---|---|---|---|---|---|---|\n",
        );
        self.rows.iter().for_each(|r| r.line(&mut t));
        t.push_str(
            "\n## What more search brings\n\n`fitted` by its `--effort`; 0 is where it starts, `model-diffusion`.\n\n\
             | passes | s for a million dots | PSNR dB, beam 1.5 | 2.0 | SSIM 1.5 | 2.0 |\n|---|---|---|---|---|---|\n",
        );
        for s in &self.search {
            let _ = writeln!(
                t,
                "| {} | {:.2} | {:.2} | {:.2} | {:.4} | {:.4} |",
                s.passes, s.seconds, s.psnr_db[0], s.psnr_db[1], s.ssim[0], s.ssim[1]
            );
        }
        t.push('\n');
        t
    }
}

impl Row {
    fn line(&self, t: &mut String) {
        let s = &self.scores;
        let _ = writeln!(
            t,
            "| {} | {:.1} | {:.1} | {:.1} | {:.3} | {:.3} | {:.3} | {:.4} | {} | {} |",
            self.screen.name,
            s[0].psnr_hvs_db,
            s[1].psnr_hvs_db,
            s[2].psnr_hvs_db,
            s[0].ssim_hvs,
            s[1].ssim_hvs,
            s[2].ssim_hvs,
            s[1].tone_err,
            rate(self.one_thread),
            rate(self.all_threads)
        );
    }

    fn json(&self) -> serde_json::Value {
        let of = |f: fn(&Score) -> f64| self.scores.each_ref().map(f);
        serde_json::json!({
            "screen": self.screen.name, "beams_in_pitches": BEAMS, "psnr_hvs_db": of(|s| s.psnr_hvs_db),
            "ssim_hvs": of(|s| s.ssim_hvs), "tone_error_share": of(|s| s.tone_err),
            "mdots_per_s_one_thread": self.one_thread, "mdots_per_s": self.all_threads,
        })
    }
}
