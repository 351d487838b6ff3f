//! `dotwright compare`: a contact sheet of screens and densities.

use std::io::Write;
use std::path::PathBuf;

use clap::Args;

use super::bar::Bar;
use super::failure::Failure;
use super::options::{DrawingOptions, PieceOptions};
use super::out::Out;
use super::source::Source;
use super::target::OutOptions;
use crate::colour::srgb8;
use crate::encode::sink::{Files, Sink};
use crate::job::{Plan, plan, settle};
use crate::pipeline::compare::{self, Contender};
use crate::plane::Tone;
use crate::progress::Portion;
use crate::proof::canvas::Picture;
use crate::proof::close_up::close_up;
use crate::proof::contact_sheet::{self, Figure, Sheet};
use crate::proof::loupe::DotWindow;
use crate::proof::picture::{self, Scene};
use crate::units::{Mm, Pitch, duration, short};
use crate::{art, job};

/// Arguments of `compare`.
#[derive(Debug, Args)]
pub struct CompareArgs {
    /// The picture, drawing or logo; '-' reads standard input
    #[arg(value_name = "ART")]
    pub art: PathBuf,
    /// The screens to compare, separated by commas
    #[arg(
        long,
        value_name = "NAMES",
        value_delimiter = ',',
        default_value = "threshold,bayer,blue-noise,floyd-steinberg,model-diffusion,fitted"
    )]
    pub screens: Vec<String>,
    /// The densities to compare, separated by commas: 254dpi,290.3dpi [default: that of the job]
    #[arg(long, value_name = "DENSITIES", value_delimiter = ',', conflicts_with_all = ["density", "pitch"])]
    pub densities: Vec<Pitch>,
    #[allow(missing_docs)]
    #[command(flatten)]
    pub out: OutOptions,
    /// Print the figures as JSON instead of the table
    #[arg(long)]
    pub json: bool,
    /// Print nothing but errors
    #[arg(long, short)]
    pub quiet: bool,
    #[allow(missing_docs)]
    #[command(flatten)]
    pub options: PieceOptions,
    #[allow(missing_docs)]
    #[command(flatten)]
    pub drawing: DrawingOptions,
}

/// What it writes.
const FILES: Files =
    Files { names: &["contact-sheet.png", "contact-sheet.html", "comparison.json"], never_beside: &[] };

/// Side of the loupes, mm.
const LOUPE_SIDE: f64 = 5.0;

/// Runs `compare`.
pub fn run(args: &CompareArgs, out: &mut Out) -> Result<u8, Failure> {
    let screens = args.screens.iter().map(|n| settle::screen(n.trim())).collect::<Result<Vec<_>, _>>()?;
    let mut job = args.options.job(Some(job::file_name::text(&args.art)))?;
    let densities: Vec<Option<Pitch>> = if args.densities.is_empty() {
        vec![job.dots.pitch]
    } else {
        args.densities.iter().map(|d| Some(*d)).collect()
    };
    let mut plans: Vec<Plan> = Vec::new();
    for d in densities {
        job.dots.pitch = d;
        plans.push(plan::resolve(&job)?);
    }
    let mut output = args.out.begin(&FILES, &[&args.art])?;
    let source = Source::read(&args.art)?;
    let art = art::open_within(&source.bytes, &source.in_messages, args.drawing.patience())?;
    let bar = Bar::new(args.quiet);
    let mut all: Vec<(Contender, Vec<Picture>)> = Vec::new();
    let mut places: Option<Vec<(f64, f64)>> = None;
    for plan in &plans {
        let (found, wanted) = compare::contenders(
            plan,
            &art,
            &source.name,
            &screens,
            &Portion::new(&bar, 1.0 / plans.len() as f64),
        )?;
        // The same places for all: those that tell most at the first density.
        let at = places.get_or_insert_with(|| telling_places(&wanted.tone, plan, &found));
        for c in found {
            let loupes = at.iter().map(|&p| loupe(plan, &c, p)).collect::<Result<Vec<_>, _>>()?;
            all.push((c, loupes));
        }
    }
    drop(bar);
    let mut candidates: Vec<Contender> = all.iter().map(|(c, _)| c.clone()).collect();
    compare::rank(&mut candidates);
    let Some(best) = candidates.first() else { return Err(Failure::input("there is nothing to compare")) };
    let why = why(best, candidates.get(1), plans.len() > 1);
    let first = &plans[0];
    let json = serde_json::json!({
        "art": source.name,
        "recommended": { "screen": best.screen, "density_dpi": best.density_dpi, "why": why },
        "process_assumed": first.process.assumed(),
        "viewing_distance_mm": compare::VIEWING_DISTANCE_MM,
        "candidates": candidates.iter().map(figures_json).collect::<Vec<_>>(),
    });
    let mut rows = Vec::new();
    for c in &candidates {
        let plan = plans.iter().find(|p| p.grid == c.placement.rect.grid).unwrap_or(first);
        let loupes = all.iter().find(|(o, _)| same(o, c)).map(|(_, l)| l.clone()).unwrap_or_default();
        rows.push(contact_sheet::Candidate {
            name: format!("{} at {} dpi", c.screen, short(c.density_dpi, 1)),
            whole: whole(plan, c)?,
            loupes,
            figures: figures(c),
        });
    }
    let standing =
        if first.process.assumed().is_empty() { job::Standing::Measured } else { job::Standing::Assumed };
    let sheet = Sheet {
        title: format!("{} on {} ({})", source.name, first.blank.shape, first.coating.name),
        standing: picture::standing_line(standing),
        candidates: rows,
        why,
    };
    output.put("contact-sheet.png", &contact_sheet::picture(&sheet)?.to_png(None)?)?;
    output.put("contact-sheet.html", contact_sheet::page(&sheet)?.as_bytes())?;
    output.put("comparison.json", serde_json::to_string_pretty(&json)?.as_bytes())?;
    output.commit()?;
    if args.json {
        writeln!(out, "{}", serde_json::to_string_pretty(&json)?)?;
    } else if !args.quiet {
        table(out, &candidates)?;
        writeln!(out, "Recommended: {} at {} dpi. {}", best.screen, short(best.density_dpi, 1), sheet.why)?;
        writeln!(out, "written to {}; open contact-sheet.html", args.out)?;
    }
    Ok(0)
}

fn same(a: &Contender, b: &Contender) -> bool {
    a.screen == b.screen && a.density_dpi == b.density_dpi
}

/// Centres, mm from the blank's lower left corner, of the windows that tell most.
fn telling_places(tone: &Tone, plan: &Plan, found: &[Contender]) -> Vec<(f64, f64)> {
    let Some(first) = found.first() else { return Vec::new() };
    let rect = &first.placement.rect;
    compare::telling_windows(tone, &first.placement, LOUPE_SIDE)
        .iter()
        .map(|w| rect.centre(&plan.blank, w.column + w.columns / 2, w.row + w.rows / 2))
        .collect()
}

fn scene<'a>(plan: &'a Plan, c: &'a Contender) -> Scene<'a> {
    Scene {
        blank: &plan.blank,
        surface: plan.surface,
        rect: &c.placement.rect,
        y_unmarked: plan.burn.response.y_unmarked,
        y_marked: plan.burn.response.y_marked,
        standing: job::Standing::Assumed,
        spots: &[],
    }
}

fn whole(plan: &Plan, c: &Contender) -> Result<Picture, Failure> {
    Ok(picture::piece(&scene(plan, c), &c.layout, &c.look)?)
}

/// A place as forecast, eight samples a dot.
fn loupe(plan: &Plan, c: &Contender, place: (f64, f64)) -> Result<Picture, Failure> {
    let window: DotWindow = crate::proof::loupe::window(&scene(plan, c), place, LOUPE_SIDE)?;
    let look = close_up(&plan.burn, &c.dots, &window);
    let mut p = Picture::filled(look.columns, look.rows, [0; 3]);
    for (i, pixel) in p.rgb.chunks_exact_mut(3).enumerate() {
        pixel.fill(srgb8(look.luminance[i]));
        if look.over_burn[i] > 0.0 {
            pixel.copy_from_slice(&crate::proof::ground::hatch(i % look.columns, i / look.columns, 6));
        }
    }
    Ok(p)
}

fn figures(c: &Contender) -> Vec<Figure> {
    let f = |name: &str, text: String| Figure { name: name.into(), text };
    vec![
        f("what the eye sees (HVS-weighted PSNR)", format!("{} dB", short(c.score.psnr_hvs_db, 1))),
        f("structure (SSIM)", short(c.score.ssim_hvs, 3)),
        f("error of the mean tone", format!("{} %", short(c.score.tone_err * 100.0, 2))),
        f("over-burnt", format!("{} mm²", short(c.verdict.charred_mm2, 2))),
        f("dots on", format!("{}", c.on)),
        f("dots without a neighbour", format!("{} %", short(lone_share(c) * 100.0, 1))),
        f("time", duration(c.seconds)),
    ]
}

fn lone_share(c: &Contender) -> f64 {
    if c.on == 0 { 0.0 } else { c.lone as f64 / c.on as f64 }
}

fn figures_json(c: &Contender) -> serde_json::Value {
    serde_json::json!({
        "screen": c.screen,
        "density_dpi": c.density_dpi,
        "columns": c.placement.rect.columns,
        "rows": c.placement.rect.rows,
        "psnr_hvs_db": c.score.psnr_hvs_db,
        "ssim_hvs": c.score.ssim_hvs,
        "psnr_nasanen_db": c.score.psnr_nasanen_db,
        "tone_error_share": c.score.tone_err,
        "over_burnt_mm2": c.verdict.charred_mm2,
        "largest_over_burnt_patch_mm2": c.verdict.patch_mm2,
        "dots_on": c.on,
        "lone_dots": c.lone,
        "time_s": c.seconds,
    })
}

fn table(out: &mut Out, candidates: &[Contender]) -> Result<(), Failure> {
    writeln!(
        out,
        "{:<20} {:>8} {:>9} {:>7} {:>8} {:>11} {:>9}  time",
        "screen", "dpi", "PSNR dB", "SSIM", "tone %", "burnt mm2", "lone %"
    )?;
    for c in candidates {
        writeln!(
            out,
            "{:<20} {:>8} {:>9} {:>7} {:>8} {:>11} {:>9}  {}",
            c.screen,
            short(c.density_dpi, 1),
            format!("{:.1}", c.score.psnr_hvs_db),
            format!("{:.3}", c.score.ssim_hvs),
            format!("{:.2}", c.score.tone_err * 100.0),
            format!("{:.2}", c.verdict.charred_mm2),
            format!("{:.1}", lone_share(c) * 100.0),
            duration(c.seconds)
        )?;
    }
    Ok(())
}

fn why(best: &Contender, next: Option<&Contender>, densities: bool) -> String {
    let name = |c: &Contender| {
        if densities {
            format!("{} at {} dpi", c.screen, short(c.density_dpi, 1))
        } else {
            c.screen.to_string()
        }
    };
    let over = if best.verdict.clear() { "without over-burn" } else { "though all of them over-burn" };
    let lead = next.map_or(String::new(), |n| {
        format!(", {} dB better than {}", short(best.score.psnr_hvs_db - n.score.psnr_hvs_db, 1), name(n))
    });
    format!(
        "Seen from {}, its forecast is nearest to what is wanted ({} dB{lead}), {over}.",
        Mm(compare::VIEWING_DISTANCE_MM),
        short(best.score.psnr_hvs_db, 1)
    )
}
