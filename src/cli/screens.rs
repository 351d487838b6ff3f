//! `dotwright screens`: the list of screens, and the table of their quality and speed.

mod figures;
mod sheet;

use std::io::Write;
use std::path::PathBuf;

use clap::Args;

use super::failure::Failure;
use super::options::DrawingOptions;
use super::out::Out;
use super::source::Source;
use super::target::{OutOptions, Replace};
use crate::art::{self, Kind, View, Window};
use crate::encode::sink::{Files, Sink};
use crate::plane::Tone;
use crate::screen::{Options, SCREENS, Screen, Wants};
use crate::tone::dot_gain;

/// Arguments of `screens`.
#[derive(Debug, Args)]
pub struct ScreensArgs {
    /// Measure quality and speed of every screen and write screens.md and screens.png into this folder
    ///
    /// Takes a minute or two; leave the machine alone meanwhile, as the speeds are measured.
    #[arg(long, value_name = "FOLDER")]
    pub table: Option<PathBuf>,
    /// The picture to measure on
    #[arg(long, value_name = "ART", default_value = "samples/harbour.jpg")]
    pub art: PathBuf,
    #[allow(missing_docs)]
    #[command(flatten)]
    pub replace: Replace,
    #[allow(missing_docs)]
    #[command(flatten)]
    pub drawing: DrawingOptions,
    /// Print JSON
    #[arg(long)]
    pub json: bool,
}

/// What it writes.
const FILES: Files = Files { names: &["screens.md", "screens.png"], never_beside: &[] };

/// Side of the picture that quality is measured on, dots.
const SIDE: usize = 512;
/// Pitch of 300 dpi, mm.
const PITCH: f64 = 25.4 / 300.0;

/// Runs `screens`.
pub fn run(args: &ScreensArgs, out: &mut Out) -> Result<u8, Failure> {
    let Some(folder) = &args.table else {
        if args.json {
            let list: Vec<_> =
                SCREENS.iter().map(|s| serde_json::json!({ "name": s.name, "about": s.about() })).collect();
            writeln!(out, "{}", serde_json::to_string_pretty(&list)?)?;
        } else {
            for s in SCREENS {
                writeln!(out, "{:<22} {}", s.name, s.about())?;
            }
            writeln!(out, "\nTo see which is best for a picture: dotwright compare ART --out FOLDER")?;
        }
        return Ok(0);
    };
    let place = OutOptions { out: folder.clone(), replace: args.replace };
    let mut output = place.begin(&FILES, &[&args.art])?;
    let source = Source::read(&args.art)?;
    let art = art::open_within(&source.bytes, &source.in_messages, args.drawing.patience())?;
    let photo = square(&art, SIDE)?;
    let large = square(&art, figures::FAST_SIDE)?;
    let figures = figures::measured(&photo, &large);
    output.put("screens.png", &sheet::picture(&photo, &figures.search)?.to_png(None)?)?;
    output.put("screens.md", figures.document(&source.name).as_bytes())?;
    output.commit()?;
    if args.json {
        writeln!(out, "{}", serde_json::to_string_pretty(&figures.json())?)?;
    } else {
        writeln!(out, "{}written to {place}", figures.document(&source.name))?;
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

/// Input of a screen for a wanted mark: through the dot-gain curve where the screen takes coverage.
fn input(screen: &Screen, options: &Options, wanted: &Tone) -> Tone {
    match screen.wants {
        Wants::Mark => wanted.clone(),
        Wants::Coverage => dot_gain::forecast(screen, options).apply(wanted.clone()),
    }
}
