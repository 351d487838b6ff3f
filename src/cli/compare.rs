//! `dotwright compare`: a contact sheet of screens and densities, or of lightness and contrast.

use std::io::Write;
use std::path::PathBuf;

use clap::Args;

use super::bar::Bar;
use super::failure::Failure;
use super::objections::Objections;
use super::options::{DrawingOptions, PieceOptions};
use super::out::Out;
use super::source::Source;
use super::target::OutOptions;
use super::times::{self, TimePoint};
use super::tones;
use super::unused;
use crate::art::Art;
use crate::colour::srgb8;
use crate::encode::sink::{Files, Sink};
use crate::job::words::FilledIn;
use crate::job::{Footing, Plan, plan, settle};
use crate::pipeline::compare::{self, Contender};
use crate::pipeline::{self, LADDER, PipelineError, Wanted};
use crate::placement::{Grid, Placement};
use crate::plane::Tone;
use crate::progress::Portion;
use crate::proof::canvas::Picture;
use crate::proof::close_up::close_up;
use crate::proof::contact_sheet::{self, Below, ContactSheet, Figure};
use crate::proof::layout::{Layout, Look};
use crate::proof::loupe::{self, DotWindow};
use crate::proof::picture::{self, Scene};
use crate::screen::Screen;
use crate::units::{Mm, Pitch, duration, short};
use crate::{art, job};

/// Arguments of `compare`.
#[derive(Debug, Args)]
pub struct CompareArgs {
    /// The picture, drawing or logo; '-' reads standard input
    #[arg(value_name = "ART")]
    pub art: PathBuf,
    /// The screens to compare, separated by commas [default: threshold,bayer,blue-noise,floyd-steinberg,model-diffusion,auto]
    #[arg(long, value_name = "NAMES", value_delimiter = ',')]
    pub screens: Vec<String>,
    /// Compare lightness and contrast instead: the piece as it is, lighter, darker, harder, softer, by one screen [default: auto]
    #[arg(long, conflicts_with = "densities")]
    pub tones: bool,
    /// Compare burn times instead: dots on all lines, and on fewer and fewer where little is marked, by one screen [default: auto]
    ///
    /// Also writes times.png: likeness against time, with a close-up of each.
    #[arg(long, conflicts_with_all = ["densities", "tones", "time"])]
    pub times: bool,
    /// The densities of lines to compare, separated by commas, 5.08dpi to 5080dpi each: 254dpi,290.3dpi [default: that of the job]
    #[arg(long, value_name = "DENSITIES", value_delimiter = ',', conflicts_with_all = ["density", "pitch", "pitch_across"])]
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
const FILES: Files = Files {
    names: &["contact-sheet.png", "contact-sheet.html", "comparison.json", "times.png"],
    never_beside: &[],
};

/// Side of the crops, mm.
const CROP_SIDE: f64 = 5.0;
/// Longer side of a whole piece, pixels: that of the sheet.
const WHOLE: usize = 600;

/// The screens that are compared where none is named, and the one that shows tones and times.
const SCREENS: &[&str] = &["threshold", "bayer", "blue-noise", "floyd-steinberg", "model-diffusion", "auto"];
const FOR_ONE: &[&str] = &["auto"];

/// One way to make the piece, carried through, with its crops.
struct Made<'a> {
    plan: &'a Plan,
    /// What it is called where it is no matter of screen and density.
    tones: Option<&'a str>,
    /// Where it is a matter of time.
    point: Option<TimePoint>,
    contender: Contender,
    crops: Vec<Picture>,
    /// Where its screen may spare lines: what its burn can take.
    times: Vec<TimePoint>,
    /// What is to be said against its lines.
    objections: Objections,
}

impl Made<'_> {
    fn name(&self) -> String {
        let by = || format!("{} at {} dpi", self.contender.screen, short(self.contender.density_dpi, 1));
        let point = || self.point.as_ref().map_or_else(by, TimePoint::name);
        self.tones.map_or_else(point, str::to_string)
    }
}

/// Runs `compare`.
pub fn run(args: &CompareArgs, out: &mut Out) -> Result<u8, Failure> {
    let one = args.tones || args.times;
    let usual = if one { FOR_ONE } else { SCREENS };
    let names: Vec<&str> = if args.screens.is_empty() {
        usual.to_vec()
    } else {
        args.screens.iter().map(|n| n.trim()).collect()
    };
    if one && names.len() > 1 {
        let what = if args.tones { "--tones shows the tones" } else { "--times shows the times" };
        return Err(Failure::input(format!("{what} by one screen; name one with --screens, or none")));
    }
    let screens = names.into_iter().map(settle::screen).collect::<Result<Vec<_>, _>>()?;
    let mut job = args.options.job(Some(job::file_name::text(&args.art)))?;
    let densities: Vec<Option<Pitch>> = if args.densities.is_empty() {
        vec![job.dots.pitch]
    } else {
        args.densities.iter().map(|d| Some(*d)).collect()
    };
    let several = densities.len() > 1;
    let mut plans: Vec<(Option<String>, Plan, Vec<&'static Screen>)> = Vec::new();
    if args.tones {
        for tones::Version { name, job } in tones::versions(&job) {
            plans.push((Some(name), plan::resolve(&job)?, screens.clone()));
        }
    } else {
        for d in densities {
            if d.is_some() {
                // A density is that of the lines: where the beam switches along them is settled as for one that nobody named.
                (job.dots.pitch, job.dots.pitch_across) = (d, d);
                job.unsaid.fill(FilledIn::Pitch);
            }
            // Screens that search may switch the beam finer than others: each is shown as it would be prepared.
            for searches in [true, false] {
                let of_kind: Vec<_> = screens.iter().copied().filter(|s| s.searches == searches).collect();
                let Some(first) = of_kind.first() else { continue };
                job.dots.screen = Some(first.name.to_string());
                plans.push((None, plan::resolve(&job)?, of_kind));
            }
        }
    }
    let Some((_, any, _)) = plans.first() else { return Err(Failure::input("there is nothing to compare")) };
    unused::refused(&args.options, &screens, any)?;
    if args.times {
        times::possible(any)?;
    }
    let mut output = args.out.begin(&FILES, &[&args.art])?;
    let source = Source::read(&args.art)?;
    let how = args.drawing.opening(any)?;
    let art = art::open_as(&source.bytes, &source.in_messages, &how)?;
    let bar = Bar::new(args.quiet);
    let mut all: Vec<Made> = Vec::new();
    let mut places: Vec<(f64, f64)> = Vec::new();
    for (i, (tones, plan, screens)) in plans.iter().enumerate() {
        let part = Portion::new(&bar, 1.0 / plans.len() as f64);
        let (found, wanted) = match screens.first().filter(|_| args.times) {
            Some(&screen) => compare::by_lines(plan, &art, &source.name, (screen, &LADDER), &part)?,
            None => compare::contenders(plan, &art, &source.name, screens, &part)?,
        };
        if args.times {
            times::differ(&found.iter().map(|c| c.seconds).collect::<Vec<_>>())?;
        }
        let longest = found.first().map_or(0.0, |c| c.seconds);
        if i == 0 {
            // The same places for all: those that tell most at the first density.
            places = telling_places(&wanted.tone, plan, &found);
        }
        for contender in found {
            let crops: Vec<Picture> =
                places.iter().map(|&p| crop(plan, &contender, p)).collect::<Result<_, _>>()?;
            let point = args.times.then(|| TimePoint {
                seconds: contender.seconds,
                share: contender.seconds / longest.max(1e-9),
                likeness: contender.likely.planned_db,
                lines_show: contender.pace.lines_show(),
                close_up: crops.get(1).or(crops.first()).cloned(),
            });
            let times = if one { Vec::new() } else { times_of(plan, &wanted, &contender)? };
            let objections = Objections::of(plan, &contender.placement);
            all.push(Made { plan, tones: tones.as_deref(), point, contender, crops, times, objections });
        }
    }
    drop(bar);
    if !one {
        // What over-burns comes last, before it what 'prepare' would warn of.
        let last = |m: &Made| (!m.contender.verdict.clear(), m.objections.weigh());
        all.sort_by(|a, b| last(a).cmp(&last(b)).then(compare::better(&a.contender, &b.contender)));
    }
    let Some(best) = all.first() else { return Err(Failure::input("there is nothing to compare")) };
    let as_good = all.get(1).filter(|m| m.objections.weigh() == best.objections.weigh());
    let next = as_good.map(|m| &m.contender);
    let warned = format!("{}{}", best.objections.said(), nearer(&all));
    let words = if one {
        "Choose by looking; what stands behind a name is what to say to prepare for it.".to_string()
    } else if args.densities.is_empty() {
        format!("{}{warned}", why(&best.contender, next, several))
    } else {
        let typed = best.objections.typed(best.plan, best.plan.grid);
        let why = why(&best.contender, next, several);
        format!("{why}{warned} To have these dots, say {typed} to prepare.")
    };
    let sheet = sheet(&source.name, &art, &all, &places, words.clone())?;
    let recommended = (!one).then(|| {
        serde_json::json!({ "screen": best.contender.screen, "density_dpi": best.contender.density_dpi, "why": words })
    });
    let json = serde_json::json!({
        "art": source.name,
        "recommended": recommended,
        "process_assumed": best.plan.process.assumed(),
        "findings": pipeline::of_the_process(best.plan).chain(best.objections.found().to_vec()).collect::<Vec<_>>(),
        "viewing_distance_mm": compare::VIEWING_DISTANCE_MM,
        "candidates": all.iter().map(figures_json).collect::<Vec<_>>(),
    });
    output.put("contact-sheet.png", &contact_sheet::picture(&sheet)?.to_png(None)?)?;
    output.put("contact-sheet.html", contact_sheet::page(&sheet)?.as_bytes())?;
    output.put("comparison.json", serde_json::to_string_pretty(&json)?.as_bytes())?;
    if args.times {
        let points: Vec<TimePoint> = all.iter().filter_map(|m| m.point.clone()).collect();
        let curve = times::picture(&sheet.title, &sheet.standing, &points)?;
        output.put("times.png", &curve.to_png(None)?)?;
    }
    output.commit()?;
    if args.json {
        writeln!(out, "{}", serde_json::to_string_pretty(&json)?)?;
    } else if !args.quiet {
        if one {
            for m in &all {
                let likeness = m.point.as_ref().map(|p| format!(", {} dB", short(p.likeness, 1)));
                writeln!(out, "{}{}", m.name(), likeness.unwrap_or_default())?;
            }
            writeln!(out, "{words}")?;
        } else {
            table(out, &all)?;
            writeln!(out, "Recommended: {}. {words}", best.name())?;
        }
        for finding in pipeline::of_the_process(best.plan) {
            writeln!(out, "CAUTION {}: {}", finding.name, finding.message)?;
        }
        writeln!(out, "written to {}; open contact-sheet.html", args.out)?;
    }
    Ok(0)
}

/// The curve below the sheet.
fn curve(made: &Made) -> Result<Below, Failure> {
    let title = format!("Burn times of {}", made.name());
    let standing = "Estimates from parts of the picture; compare --times carries each through. --time is what to say to prepare.";
    let picture = times::picture(&title, standing, &made.times)?;
    let list: Vec<String> =
        made.times.iter().map(|p| format!("{}, {} dB", p.name(), short(p.likeness, 1))).collect();
    Ok(Below { says: format!("{title}. {standing} {}.", list.join("; ")), picture })
}

/// The sheet of what was made, in its order.
fn sheet(
    name: &str,
    art: &Art,
    all: &[Made],
    places: &[(f64, f64)],
    words: String,
) -> Result<ContactSheet, Failure> {
    let Some(first) = all.first() else { return Err(Failure::input("there is nothing to compare")) };
    let (plan, placement) = (first.plan, &first.contender.placement);
    let blank = &plan.blank;
    let layout = Layout::to_scale(blank, WHOLE);
    let candidates = all.iter().map(|m| {
        let c = &m.contender;
        Ok(contact_sheet::Candidate {
            name: m.name(),
            whole: picture::piece(&scene(m.plan, &c.placement), &layout, &c.look)?,
            crops: m.crops.clone(),
            figures: if m.tones.is_some() { tone_figures(c) } else { figures(m) },
        })
    });
    let candidates = candidates.collect::<Result<_, Failure>>()?;
    // The original is looked at by daylight: on a ground of the light that lies behind transparent art.
    let bright = Scene { y_unmarked: f64::from(compare::BEHIND), y_marked: 1.0, ..scene(plan, placement) };
    let rect = &placement.rect;
    let everything = DotWindow { column: 0, row: 0, columns: rect.columns, rows: rect.rows };
    let grey = |window: &DotWindow, over| compare::as_placed(plan, art, placement, window, over);
    let crops = places.iter().map(|&place| {
        let window = loupe::window(&bright, place, CROP_SIDE)?;
        Ok(panel(&grey(&window, 8)?, plan.grid))
    });
    let mut placed = grey(&everything, 1)?;
    for (y, row) in placed.luminance.chunks_exact_mut(rect.columns.max(1)).enumerate() {
        let kept = rect.allowed(blank, y);
        row[..kept.start].fill(compare::BEHIND);
        row[kept.end..].fill(compare::BEHIND);
    }
    let original = contact_sheet::Candidate {
        name: "the original, in grey".into(),
        whole: picture::plain(&bright, &layout, &placed)?,
        crops: crops.collect::<Result<_, Failure>>()?,
        figures: Vec::new(),
    };
    let share = |(x, y): (f64, f64)| {
        let (px, py) = layout.pixel_of(blank, (x, y));
        (px / layout.width as f64, py / layout.height as f64)
    };
    let half = CROP_SIDE / 2.0;
    let framed = places.iter().map(|&(x, y)| {
        let ((left, top), (right, bottom)) = (share((x - half, y + half)), share((x + half, y - half)));
        [left, top, right, bottom]
    });
    Ok(ContactSheet {
        title: format!("{name} on {} ({})", blank.shape, plan.coating.name),
        standing: picture::standing_line(plan.process.footing()),
        original,
        places: framed.collect(),
        candidates,
        below: all.iter().find(|m| m.times.len() > 1).map(curve).transpose()?,
        recommends: first.tones.is_none() && first.point.is_none(),
        words: format!(
            "{words} The lettered places are {CROP_SIDE} mm wide and the same on all; the original is shown in grey, at the same size."
        ),
    })
}

/// What the burn of a way to make the piece can take, where its screen may spare lines.
fn times_of(plan: &Plan, wanted: &Wanted, c: &Contender) -> Result<Vec<TimePoint>, PipelineError> {
    if plan.dots.screen.name != c.screen {
        return Ok(Vec::new());
    }
    let times = pipeline::times(plan, wanted.kind, wanted.tone.clone(), &c.placement, &c.pace)?;
    Ok(times::told(&times, &c.pace, (c.seconds, c.likely.planned_db)))
}

/// Centres, mm from the blank's lower left corner, of the windows that tell most.
fn telling_places(tone: &Tone, plan: &Plan, found: &[Contender]) -> Vec<(f64, f64)> {
    let Some(first) = found.first() else { return Vec::new() };
    let rect = &first.placement.rect;
    compare::telling_windows(tone, &first.placement, CROP_SIDE)
        .iter()
        .map(|w| rect.centre(&plan.blank, w.column + w.columns / 2, w.row + w.rows / 2))
        .collect()
}

fn scene<'a>(plan: &'a Plan, placement: &'a Placement) -> Scene<'a> {
    Scene {
        blank: &plan.blank,
        surface: plan.surface,
        rect: &placement.rect,
        y_unmarked: plan.burn.response.y_unmarked,
        y_marked: plan.burn.response.y_marked,
        footing: Footing::Assumed,
        spots: &[],
    }
}

/// A place as forecast, eight samples a dot.
fn crop(plan: &Plan, c: &Contender, place: (f64, f64)) -> Result<Picture, Failure> {
    let window: DotWindow = loupe::window(&scene(plan, &c.placement), place, CROP_SIDE)?;
    Ok(panel(&close_up(&plan.burn, &c.dots, &window), plan.grid))
}

/// A look as it lies on the piece: a pixel a sample the way in which samples lie closer, and so many the other way that
/// all is as long as it is.
fn panel(look: &Look, grid: Grid) -> Picture {
    let tall = grid.across.0 / grid.along.0;
    let times = |count: usize, by: f64| ((count as f64 * by.max(1.0)).round() as usize).max(1);
    let (width, height) = (times(look.columns, 1.0 / tall), times(look.rows, tall));
    let mut p = Picture::filled(width, height, [0; 3]);
    for (place, pixel) in p.rgb.chunks_exact_mut(3).enumerate() {
        let (x, y) = (place % width, place / width);
        let i = y * look.rows / height * look.columns + x * look.columns / width;
        pixel.fill(srgb8(look.luminance[i]));
        if look.over_burn.get(i).is_some_and(|&share| share > 0.0) {
            pixel.copy_from_slice(&crate::proof::ground::hatch(x, y, 6));
        }
    }
    p
}

fn figures(m: &Made) -> Vec<Figure> {
    let c = &m.contender;
    let f = |name: &str, text: String| Figure { name: name.into(), text };
    let warned = m.objections.names();
    let warned = (!warned.is_empty()).then(|| f("prepare warns of", warned.join(" and ")));
    let all = vec![
        f("likeness as planned", format!("{} dB", short(c.likely.planned_db, 1))),
        f("likeness to expect", format!("{} dB", short(c.likely.expected_db, 1))),
        f("structure (SSIM)", short(c.score.ssim_hvs, 3)),
        f("tone off by", format!("{} %", short(c.score.tone_err * 100.0, 2))),
        f("mean mark", format!("{} %", short(c.mean_mark * 100.0, 1))),
        f("over-burnt", format!("{} mm²", short(c.verdict.charred_mm2, 2))),
        f("dots without a neighbour", format!("{} %", short(lone_share(c) * 100.0, 1))),
        f("time", duration(c.seconds)),
    ];
    all.into_iter().chain(warned).collect()
}

/// What lightness and contrast change.
fn tone_figures(c: &Contender) -> Vec<Figure> {
    let f = |name: &str, text: String| Figure { name: name.into(), text };
    vec![
        f("mean mark", format!("{} %", short(c.mean_mark * 100.0, 1))),
        f("over-burnt", format!("{} mm²", short(c.verdict.charred_mm2, 2))),
        f("time", duration(c.seconds)),
    ]
}

fn lone_share(c: &Contender) -> f64 {
    if c.on == 0 { 0.0 } else { c.lone as f64 / c.on as f64 }
}

fn figures_json(m: &Made) -> serde_json::Value {
    let c = &m.contender;
    let mut json = serde_json::json!({
        "screen": c.screen,
        "density_dpi": c.density_dpi,
        "columns": c.placement.rect.columns,
        "rows": c.placement.rect.rows,
        "psnr_hvs_db": c.likely.planned_db,
        "expected_psnr_hvs_db": c.likely.expected_db,
        "ssim_hvs": c.score.ssim_hvs,
        "psnr_nasanen_db": c.score.psnr_nasanen_db,
        "tone_error_share": c.score.tone_err,
        "over_burnt_mm2": c.verdict.charred_mm2,
        "largest_over_burnt_patch_mm2": c.verdict.patch_mm2,
        "dots_on": c.on,
        "lone_dots": c.lone,
        "time_s": c.seconds,
    });
    let warned = m.objections.names();
    if let (false, Some(all)) = (warned.is_empty(), json.as_object_mut()) {
        all.insert("warned_of".into(), warned.into());
    }
    if let (Some(name), Some(all)) = (m.tones, json.as_object_mut()) {
        all.insert("tones".into(), name.into());
    }
    if let (false, Some(all)) = (m.times.is_empty(), json.as_object_mut()) {
        let time = |p: &TimePoint| serde_json::json!({ "time_s": p.seconds, "time_share": p.share, "psnr_hvs_db": p.likeness, "lines_show": p.lines_show, "option": p.option() });
        all.insert("burn_times_estimated".into(), m.times.iter().map(time).collect());
    }
    if let (Some(point), Some(all)) = (&m.point, json.as_object_mut()) {
        all.insert("time_share".into(), point.share.into());
        all.insert("option".into(), point.option().into());
        all.insert("lines_show".into(), point.lines_show.into());
    }
    json
}

fn table(out: &mut Out, all: &[Made]) -> Result<(), Failure> {
    writeln!(
        out,
        "{:<20} {:>8} {:>9} {:>9} {:>7} {:>8} {:>11} {:>9}  time",
        "screen", "dpi", "planned", "expected", "SSIM", "tone %", "burnt mm²", "lone %"
    )?;
    for m in all {
        let c = &m.contender;
        let warned = m.objections.names().iter().map(|name| format!("  {name}")).collect::<String>();
        writeln!(
            out,
            "{:<20} {:>8} {:>9} {:>9} {:>7} {:>8} {:>11} {:>9}  {}{warned}",
            c.screen,
            short(c.density_dpi, 1),
            format!("{:.1} dB", c.likely.planned_db),
            format!("{:.1} dB", c.likely.expected_db),
            format!("{:.3}", c.score.ssim_hvs),
            format!("{:.2}", c.score.tone_err * 100.0),
            format!("{:.2}", c.verdict.charred_mm2),
            format!("{:.1}", lone_share(c) * 100.0),
            duration(c.seconds)
        )?;
    }
    Ok(())
}

/// What of them comes nearer to what is wanted than the best, which is the first, and why it is not recommended all the same.
fn nearer(all: &[Made]) -> String {
    let Some(best) = all.first().filter(|m| !m.objections.weigh()) else { return String::new() };
    let expected = |m: &Made| m.contender.likely.expected_db;
    let as_burnt = |m: &Made| m.contender.verdict.clear() == best.contender.verdict.clear();
    let passed = all.iter().filter(|m| m.objections.weigh() && as_burnt(m) && expected(m) > expected(best));
    passed.max_by(|a, b| expected(a).total_cmp(&expected(b))).map_or(String::new(), |m| {
        let names = m.objections.names().join(" and ");
        format!(
            " {} comes nearer ({} dB), but 'prepare' warns of {names} there.",
            m.name(),
            short(expected(m), 1)
        )
    })
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
    if !best.likely.expected_db.is_finite() {
        return format!(
            "All of them make just what is wanted, as where nothing is marked; {} will do.",
            name(best)
        );
    }
    let lead = next.filter(|n| n.likely.expected_db.is_finite()).map_or(String::new(), |n| {
        format!(", {} dB better than {}", short(best.likely.expected_db - n.likely.expected_db, 1), name(n))
    });
    format!(
        "Seen from {}, its mark is to be expected nearest to what is wanted ({} dB{lead}), {over}.",
        Mm(compare::VIEWING_DISTANCE_MM),
        short(best.likely.expected_db, 1)
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_panel_is_as_long_as_the_place_it_shows() {
        let look = Look {
            columns: 4,
            rows: 2,
            step_along: 1.0,
            step_across: 1.0,
            luminance: vec![0.0, 0.0, 1.0, 1.0, 1.0, 1.0, 0.0, 0.0],
            over_burn: Vec::new(),
        };
        let of = |along: f64, across: f64| panel(&look, Grid { along: Mm(along), across: Mm(across) });
        assert_eq!((of(0.1, 0.1).width, of(0.1, 0.1).height), (4, 2));
        let fine = of(0.05, 0.1);
        assert_eq!((fine.width, fine.height), (4, 4));
        assert_eq!([fine.get(0, 0), fine.get(3, 1), fine.get(0, 2)], [[0; 3], [255; 3], [255; 3]]);
        assert_eq!((of(0.1, 0.05).width, of(0.1, 0.05).height), (8, 2));
    }
}
