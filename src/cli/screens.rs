//! `dotwright screens`: the list of screens, and the table of their quality and speed.

use std::fmt::Write as _;
use std::io::Write;
use std::path::PathBuf;
use std::time::Instant;

use clap::Args;

use super::prepare::Source;
use super::{Failure, Out};
use crate::art::{self, Kind, View, Window};
use crate::encode::output::Output;
use crate::mark::{Burn, Forecast, Samples};
use crate::plane::Tone;
use crate::progress::Silent;
use crate::proof::canvas::{Picture, draw, escape, srgb};
use crate::proof::legend::stack;
use crate::screen::{self, Options, SCREENS, Screen, Wants};
use crate::sight;
use crate::tone::gain;

/// Arguments of `screens`.
#[derive(Debug, Args)]
pub struct ScreensArgs {
    /// Measure quality and speed of every screen and write screens.md and screens.png into this folder
    #[arg(long, value_name = "FOLDER")]
    pub table: Option<PathBuf>,
    /// The picture to measure on
    #[arg(long, value_name = "ART", default_value = "samples/harbour.jpg")]
    pub art: String,
    /// Replace the files of an earlier run in the folder
    #[arg(long)]
    pub replace: bool,
    /// Print JSON
    #[arg(long)]
    pub json: bool,
}

/// Side of the picture that quality is measured on, dots.
const SIDE: usize = 512;
/// Side of the plane that speed is measured on, dots: about a coaster.
const FAST_SIDE: usize = 1024;
/// Beams, 1/e² diameters in pitches.
const BEAMS: [f64; 3] = [1.0, 1.5, 2.0];
/// Pitch of 300 dpi, mm.
const PITCH: f64 = 25.4 / 300.0;

/// Figures of one screen.
struct Row {
    screen: &'static Screen,
    psnr_db: [f64; 3],
    ssim: [f64; 3],
    tone_err: [f64; 3],
    mdots_per_s: f64,
}

/// Runs `screens`.
pub fn run(args: &ScreensArgs, out: &mut Out) -> Result<u8, Failure> {
    let Some(folder) = &args.table else {
        if args.json {
            let list: Vec<_> =
                SCREENS.iter().map(|s| serde_json::json!({ "name": s.name, "about": s.about })).collect();
            writeln!(out, "{}", serde_json::to_string_pretty(&list)?)?;
        } else {
            for s in SCREENS {
                writeln!(out, "{:<22} {}", s.name, s.about)?;
            }
            writeln!(out, "\nTo see which is best for a picture: dotwright compare ART --out FOLDER")?;
        }
        return Ok(0);
    };
    let mut output = Output::begin(folder, args.replace)?;
    let source = Source::read(&args.art)?;
    let art = art::open(&source.bytes, &source.in_messages)?;
    let photo = square(&art, SIDE)?;
    let large = square(&art, FAST_SIDE)?;
    let rows: Vec<Row> = SCREENS.iter().map(|s| measured(s, &photo, &large)).collect();
    output.put("screens.png", &pictures(&photo)?.to_png(None)?)?;
    output.put("screens.md", document(&source.name, &rows).as_bytes())?;
    output.commit()?;
    if args.json {
        let list: Vec<_> = rows.iter().map(json).collect();
        writeln!(out, "{}", serde_json::to_string_pretty(&list)?)?;
    } else {
        writeln!(out, "{}written to {}", document(&source.name, &rows), folder.display())?;
    }
    Ok(0)
}

/// The middle square of the art, its light taken as the wanted mark.
fn square(art: &art::Art, side: usize) -> Result<Tone, Failure> {
    let (w, h) = art.size();
    let part = |long: f64, short: f64| ((long - short) / 2.0 / long, (long + short) / 2.0 / long);
    let s = w.min(h);
    let ((left, right), (top, bottom)) = (part(w, s), part(h, s));
    let view = View { crop: Window { left, top, right, bottom }, ..View::default() };
    Ok(art::render(art, &view, side, side, Kind::Photo)?.light.recast())
}

/// A ramp from 0 to 1.
fn ramp(width: usize, height: usize) -> Tone {
    let row = (0..width).map(|x| x as f32 / (width - 1) as f32);
    Tone::from_vec(width, height, (0..height).flat_map(|_| row.clone()).collect())
}

/// Input of a screen for a wanted mark: through the dot-gain curve where the screen takes coverage.
fn input(screen: &Screen, options: &Options, wanted: &Tone) -> Tone {
    match screen.wants {
        Wants::Mark => wanted.clone(),
        Wants::Coverage => gain::forecast(screen, options).apply(wanted.clone()),
    }
}

fn measured(screen: &'static Screen, photo: &Tone, large: &Tone) -> Row {
    let mut row = Row { screen, psnr_db: [0.0; 3], ssim: [0.0; 3], tone_err: [0.0; 3], mdots_per_s: 0.0 };
    for (i, beam) in BEAMS.into_iter().enumerate() {
        let options = Options::new(Burn::plain(beam, beam), PITCH, PITCH);
        let dots = (screen.make)(&input(screen, &options, photo), &options, &Silent);
        let mark = Forecast::with_samples(&options.burn, Samples::REFERENCE).plane(&dots);
        let score = sight::score(&mark, photo, PITCH, 300.0);
        (row.psnr_db[i], row.ssim[i], row.tone_err[i]) = (score.psnr_hvs_db, score.ssim_hvs, score.tone_err);
    }
    let options = Options::new(Burn::plain(1.5, 1.5), PITCH, PITCH);
    let tone = input(screen, &options, large);
    let dots = (FAST_SIDE * FAST_SIDE) as f64;
    let quickest = (0..3).map(|_| {
        let start = Instant::now();
        std::hint::black_box((screen.make)(&tone, &options, &Silent));
        start.elapsed().as_secs_f64()
    });
    row.mdots_per_s = dots / 1e6 / quickest.fold(f64::INFINITY, f64::min);
    row
}

fn json(r: &Row) -> serde_json::Value {
    serde_json::json!({
        "screen": r.screen.name, "beams_in_pitches": BEAMS, "psnr_hvs_db": r.psnr_db, "ssim_hvs": r.ssim,
        "tone_error_share": r.tone_err, "mdots_per_s": r.mdots_per_s,
    })
}

fn document(art: &str, rows: &[Row]) -> String {
    let mut t = String::from("# Screens: quality and speed\n\n");
    let _ = writeln!(
        t,
        "Measured on the middle square of {art}, {SIDE} x {SIDE} dots, under the plain mark model (rise 6.25 at half a \
         solid's exposure, no char), seen from 300 mm at 300 dpi; screens that take coverage get the forecast dot-gain \
         curve. PSNR and SSIM are those of the forecast against the wanted tone after the eye's point spread. Speed: \
         {FAST_SIDE} x {FAST_SIDE} dots, best of three, {} threads, path {}. Renew with `dotwright screens --table \
         FOLDER --replace`; speeds differ from machine to machine. The picture beside this page shows each screen on the same \
         ramp and photo.\n",
        crate::parallel::threads(),
        screen::path()
    );
    t.push_str(
        "| screen | PSNR dB, beam 1.0 | 1.5 | 2.0 | SSIM 1.0 | 1.5 | 2.0 | tone error 1.5 | Mdot/s |\n",
    );
    t.push_str("|---|---|---|---|---|---|---|---|---|\n");
    for r in rows {
        let _ = writeln!(
            t,
            "| {} | {:.1} | {:.1} | {:.1} | {:.3} | {:.3} | {:.3} | {:.4} | {:.1} |",
            r.screen.name,
            r.psnr_db[0],
            r.psnr_db[1],
            r.psnr_db[2],
            r.ssim[0],
            r.ssim[1],
            r.ssim[2],
            r.tone_err[1],
            r.mdots_per_s
        );
    }
    t.push('\n');
    t
}

/// For each screen: its dots on a ramp and their forecast; a part of the photo as wanted and as forecast; and
/// that part's dots, doubled.
fn pictures(photo: &Tone) -> Result<Picture, Failure> {
    const PART: usize = 224;
    const GAP: usize = 12;
    let options = Options::new(Burn::plain(1.5, 1.5), PITCH, PITCH);
    let ramp = ramp(2 * PART, PART / 2);
    let part: Vec<f32> = (0..PART)
        .flat_map(|y| photo.row(SIDE / 2 - PART / 2 + y)[SIDE / 3..SIDE / 3 + PART].iter().copied())
        .collect();
    let part = Tone::from_vec(PART, PART, part);
    let width = 4 * GAP + 4 * PART;
    let mut sheet: Option<Picture> = None;
    for s in SCREENS {
        let title = format!(
            r#"<text x="{GAP}" y="26" font-size="18" font-weight="bold">{}</text><text x="260" y="26" font-size="15">{}</text>"#,
            escape(s.name),
            escape(s.about)
        );
        let mut row = Picture::filled(width, 2 * PART + 3 * GAP, [247; 3]);
        let on_ramp = (s.make)(&input(s, &options, &ramp), &options, &Silent);
        let on_photo = (s.make)(&input(s, &options, &part), &options, &Silent);
        let mark = Forecast::new(&options.burn).plane(&on_photo);
        let dots = |d: &crate::plane::Dots, x: usize, y: usize| if d.get(x, y) { 255 } else { 0 };
        row.lay(&grey(2 * PART, PART / 2, |x, y| dots(&on_ramp, x, y)), GAP, 0);
        let ramp_mark = Forecast::new(&options.burn).plane(&on_ramp);
        row.lay(&grey(2 * PART, PART / 2, |x, y| srgb(ramp_mark.row(y)[x])), GAP, PART / 2 + GAP);
        row.lay(&grey(PART, PART, |x, y| srgb(part.row(y)[x])), GAP, PART + 2 * GAP);
        row.lay(&grey(PART, PART, |x, y| srgb(mark.row(y)[x])), 2 * GAP + PART, PART + 2 * GAP);
        let right = 3 * GAP + 2 * PART;
        row.lay(&grey(2 * PART, 2 * PART, |x, y| dots(&on_photo, x / 2, y / 2)), right, 0);
        let block = stack(&draw(width, 36, [247; 3], &title)?, &row);
        sheet = Some(match sheet {
            None => block,
            Some(above) => stack(&above, &block),
        });
    }
    sheet.ok_or_else(|| Failure::input("there are no screens"))
}

fn grey(width: usize, height: usize, value: impl Fn(usize, usize) -> u8) -> Picture {
    let mut p = Picture::filled(width, height, [0; 3]);
    for (i, pixel) in p.rgb.chunks_exact_mut(3).enumerate() {
        pixel.fill(value(i % width, i / width));
    }
    p
}
