//! `dotwright wedge read`: what a photo of a burnt test piece tells.

use std::io::Write;
use std::path::{Path, PathBuf};

use clap::Args;

use super::super::bar::Bar;
use super::super::failure::Failure;
use super::super::options::{ProcessOptions, named};
use super::super::out::Out;
use super::super::target::OutOptions;
use super::values::{counts, resolve, values};
use super::{read_bytes, read_text};
use crate::encode::sink::{Files, Sink};
use crate::job::named::read_process;
use crate::job::{ProcessFile, file_name};
use crate::units::{MmPerS, Pitch, Share};
use crate::wedge::ask::{Ask, ReadingError};
use crate::wedge::evidence::Evidence;
use crate::wedge::grid;
use crate::wedge::read;
use crate::wedge::reading::ReadingNote;
use crate::wedge::show::summary::{better_range, other_range, summary, wants_photo};
use crate::wedge::show::{curves, picture, process};
use crate::wedge::target::Wedge;

/// What `wedge read` writes.
pub(crate) const READ: Files =
    Files { names: &["process.toml", "reading.json", "curves.svg", "reading.png"], never_beside: &[] };

/// Arguments of `wedge read`.
#[derive(Debug, Args)]
pub(super) struct ReadArgs {
    /// The photo: JPEG, PNG, TIFF or WebP
    #[arg(value_name = "PHOTO")]
    photo: PathBuf,
    /// The wedge.toml that 'wedge draw' wrote for this piece
    #[arg(long, value_name = "FILE", required_unless_present = "grid")]
    wedge: Option<PathBuf>,
    #[command(flatten)]
    out: OutOptions,
    /// The day of the reading, as it shall stand in the files: 2026-11-25 [default: today]
    #[arg(long, value_name = "DATE")]
    date: Option<jiff::civil::Date>,
    /// Four points in photo pixels, x,y each: the centres of the finder marks, the disc with the hole first, then
    /// clockwise; with --grid its outer corners, clockwise from the upper left [default: marks are searched]
    #[arg(long, value_name = "X,Y", num_args = 4, value_parser = parse_point)]
    corners: Vec<(f64, f64)>,
    /// A white reference in the photo, in pixels: makes lightness absolute
    #[arg(long, value_name = "X,Y,W,H", value_parser = parse_rect)]
    white: Option<[f64; 4]>,
    /// Luminance of the white reference, above 0% to 100%
    #[arg(long, value_name = "SHARE", default_value = "100%")]
    white_luminance: Share,
    /// Grain above which a patch is not picked, in L*, 0 to 100
    #[arg(long, value_name = "L*", default_value_t = 3.0, value_parser = parse_grain)]
    grain: f64,
    /// An earlier process file of the same machine and coating: its values are kept where this wedge has none
    #[arg(long, value_name = "FILE", value_parser = named())]
    process: Option<String>,
    /// A grid that was not drawn here: columns (speeds) by rows (powers), 2x2 to 20x20; needs --powers, --speeds, --size, --corners
    #[arg(long, value_name = "NxM", conflicts_with = "wedge", requires_all = ["powers", "speeds", "size", "corners"])]
    grid: Option<String>,
    /// Powers of the grid's rows from the top, above 0% and at most 100%: 100..40% or a list 100,80,60%
    #[arg(long, value_name = "RANGE")]
    powers: Option<String>,
    /// Speeds of the grid's columns from the left, above 0mm/s and at most 10000mm/s: 6..30mm/s or a list 6,12,30mm/s
    #[arg(long, value_name = "RANGE")]
    speeds: Option<String>,
    /// Size of the grid between its outer corners, each side above 1mm and at most 10m: 70x70mm
    #[arg(long, value_name = "WxHmm")]
    size: Option<String>,
    /// Share of a step between two patches that is left unmarked, 5% to 80%
    #[arg(long, value_name = "SHARE", default_value = "20%")]
    gap: Share,
    /// Passes over each line of the grid, 1 to 20
    #[arg(long, value_name = "TIMES", default_value_t = 1, value_parser = clap::value_parser!(u32).range(1..=20))]
    passes: u32,
    /// Pitch of the grid's lines, for example 0.1mm or 254dpi, 0.005mm to 5mm [default: advised for the machine]
    #[arg(long, value_name = "PITCH")]
    pitch: Option<Pitch>,
    /// Machine of the grid [default: diode-5w]
    #[arg(long, value_name = "NAME|FILE", value_parser = named())]
    machine: Option<String>,
    /// Coating of the grid [default: poster-paint]
    #[arg(long, value_name = "NAME|FILE", value_parser = named())]
    coating: Option<String>,
    /// Print the reading as JSON instead of the summary
    #[arg(long)]
    json: bool,
    /// Print nothing but errors
    #[arg(long, short)]
    quiet: bool,
}

/// Lightness has a hundred steps of L*: no grain is more.
fn parse_grain(text: &str) -> Result<f64, String> {
    let grain = text.trim().parse::<f64>().ok().filter(|g| (0.0..=100.0).contains(g));
    grain.ok_or_else(|| "a grain is a number of L* from 0 to 100, such as 3".into())
}

fn parse_numbers(text: &str) -> Result<Vec<f64>, String> {
    text.split(',').map(|t| t.trim().parse::<f64>().map_err(|_| format!("'{t}' is not a number"))).collect()
}

fn parse_point(text: &str) -> Result<(f64, f64), String> {
    match parse_numbers(text)?.as_slice() {
        [x, y] => Ok((*x, *y)),
        _ => Err("a point is x,y in photo pixels".into()),
    }
}

fn parse_rect(text: &str) -> Result<[f64; 4], String> {
    parse_numbers(text)?.try_into().map_err(|_| "a rectangle is x,y,width,height in photo pixels".to_string())
}

/// Writes what a photo told: the files of [`READ`].
///
/// # Errors
/// Where one cannot be made or written.
pub(crate) fn put_reading(
    evidence: &Evidence,
    wedge: &Wedge,
    file: &ProcessFile,
    output: &mut dyn Sink,
) -> Result<(), Failure> {
    output.put("process.toml", toml::to_string_pretty(file)?.as_bytes())?;
    output.put("reading.json", serde_json::to_string_pretty(&evidence.reading)?.as_bytes())?;
    output.put("curves.svg", curves::curves(evidence, wedge).as_bytes())?;
    output.put("reading.png", &picture::reading_picture(evidence, wedge)?.to_png(None)?)?;
    Ok(())
}

pub(super) fn read_wedge(a: &ReadArgs, out: &mut Out) -> Result<u8, Failure> {
    let wedge = match &a.wedge {
        Some(path) => Wedge::from_toml(&read_text(path)?)
            .map_err(|e| Failure::input(format!("'{}': {e}", path.display())))?,
        None => foreign(a)?,
    };
    let earlier = match &a.process {
        Some(path) => Some(read_process(&file_name::path(path))?),
        None => None,
    };
    let bytes = read_bytes(&a.photo)?;
    let ask = Ask {
        corners: a.corners.clone(),
        white: a.white,
        white_luminance: a.white_luminance.0,
        grain_limit: a.grain,
        date: a.date.unwrap_or_else(|| jiff::ZonedDateTime::now().date()).to_string(),
        ..Ask::default()
    }
    .after(earlier.as_ref(), &wedge);
    let bar = Bar::new(a.quiet);
    let name = format!("'{}'", a.photo.display());
    let mut evidence = read::read(&bytes, &name, &wedge, &ask, &bar).map_err(|e| match e {
        ReadingError::Photo(e) => Failure::input(e.to_string()),
        e => Failure::input(format!("{name}: {e}")),
    })?;
    drop(bar);
    if let Some(why) = &evidence.missed {
        return Err(Failure::input(format!("{name}: {why}")));
    }
    let held_of = earlier.as_ref().and_then(|e| process::held_of(e, &wedge));
    evidence.reading.notes.extend(held_of.map(ReadingNote::fact));
    let reading = &evidence.reading;
    let file = process::process(reading, &wedge, earlier);
    file.check()
        .map_err(|w| Failure::input(format!("the process file would not hold: {} {}", w.key, w.why)))?;
    let json = serde_json::to_string_pretty(reading)?;
    let process = a.process.as_deref().map(file_name::path);
    let read: Vec<&Path> =
        [Some(a.photo.as_path()), a.wedge.as_deref(), process.as_deref()].into_iter().flatten().collect();
    let mut output = a.out.begin(&READ, &read)?;
    put_reading(&evidence, &wedge, &file, &mut output)?;
    output.commit()?;
    if a.json {
        writeln!(out, "{json}")?;
    } else if !a.quiet {
        print_summary(out, &evidence)?;
        let process = a.out.find("process.toml");
        if wants_photo(reading) {
            writeln!(out, "written to {} for you to look at; take the photo again before you use it", a.out)?;
        } else if !reading.doubts.is_empty() {
            writeln!(out, "written to {} for you to look at; do not use it", a.out)?;
        } else if let Some(range) = other_range(reading) {
            writeln!(
                out,
                "written to {}; draw and read the wedge with {range} before you use {process}",
                a.out
            )?;
        } else if let Some(range) = better_range(reading) {
            writeln!(
                out,
                "written to {}; use it with --process {process}; a wedge with {range} tells whether a slower setting is better",
                a.out
            )?;
        } else {
            writeln!(out, "written to {}; use it with --process {process}", a.out)?;
        }
    }
    Ok(0)
}

fn foreign(a: &ReadArgs) -> Result<Wedge, Failure> {
    let names = ProcessOptions {
        machine: a.machine.clone(),
        coating: a.coating.clone(),
        ..ProcessOptions::default()
    };
    let plan = resolve(None, None, a.pitch, &names)?;
    let (columns, rows) = counts(a.grid.as_deref().unwrap_or(""))?;
    let powers: Vec<Share> =
        values(a.powers.as_deref().unwrap_or(""), "100..40%", (rows, false), |v: &Share| v.0, Share)?;
    let speeds: Vec<MmPerS> =
        values(a.speeds.as_deref().unwrap_or(""), "7.5..30mm/s", (columns, false), |v: &MmPerS| v.0, MmPerS)?;
    if powers.len() != rows || speeds.len() != columns {
        return Err(Failure::input(format!(
            "the grid has {columns} columns and {rows} rows, but {} speeds and {} powers were given; give one for each",
            speeds.len(),
            powers.len()
        )));
    }
    let size = crate::blank::parse_size(a.size.as_deref().unwrap_or("")).map_err(Failure::input)?;
    let p = &plan.process;
    let wedge = grid::wedge(&grid::ForeignGrid {
        powers,
        speeds,
        passes: a.passes,
        size,
        gap: a.gap,
        rated_power: p.rated_power.value,
        beam: p.beam.value,
        pitch: crate::placement::Grid { along: p.pitch_along.value, across: p.pitch_across.value },
        response: p.response(),
        machine: plan.machine.name.clone(),
        coating: plan.coating.name.clone(),
    })?;
    Ok(Wedge { carries: Some(super::draw::carries(&plan)), ..wedge })
}

fn print_summary(out: &mut Out, evidence: &Evidence) -> Result<(), Failure> {
    for line in summary(&evidence.reading, picture::LETTERS) {
        if line.strong || !line.text.is_empty() {
            writeln!(out, "{}{}", if line.strong { "" } else { "  " }, line.text)?;
        }
    }
    Ok(())
}
