//! `dotwright prepare`: the main job.

use std::io::{self, IsTerminal, Write};
use std::path::{Path, PathBuf};

use clap::Args;
use jiff::ZonedDateTime;

use super::failure::Failure;
use super::options::{self, DrawingOptions, JobOptions};
use super::out::{Out, say};
use super::plain;
use super::search_time;
use super::source;
use super::sources::Sources;
use super::target::OutOptions;
use super::unused;
use super::{bar::Bar, terminal};
use crate::job::{Brief, FileError, Job, Plan, file_name};
use crate::progress::Portion;
use crate::{outputs, pipeline};

/// Arguments of `prepare`.
#[derive(Debug, Args)]
pub struct PrepareArgs {
    /// The picture, drawing or logo: JPEG, PNG, TIFF, WebP, HEIC, BMP, GIF, SVG or PDF; '-' reads standard input
    #[arg(value_name = "ART", required_unless_present_any = ["job", "text", "border", "layer"])]
    pub art: Option<PathBuf>,
    #[allow(missing_docs)]
    #[command(flatten)]
    pub out: OutOptions,
    /// Repeat the job of this file; options on the line come before its values
    #[arg(long, value_name = "FILE")]
    pub job: Option<PathBuf>,
    /// Print the report as JSON instead of the summary
    #[arg(long)]
    pub json: bool,
    /// Print all that was decided, with every figure and remedy
    #[arg(long, short, conflicts_with = "quiet")]
    pub verbose: bool,
    /// Print nothing but errors
    #[arg(long, short)]
    pub quiet: bool,
    /// A second look: this place of the blank, large, as dots and as forecast, in loupe.png (mm from its lower left: 40,50)
    #[arg(long, value_name = "X,Y", value_parser = options::parse_place)]
    pub loupe: Option<(f64, f64)>,
    /// Searching screens: as many passes as take this long here, for a blank full of dots, in seconds, above 0 and up to 3600 [default: off, as --effort says]
    ///
    /// The job file keeps their number.
    #[arg(long, value_name = "SECONDS", conflicts_with = "effort", value_parser = search_time::parse_seconds)]
    pub search_time: Option<f64>,
    #[allow(missing_docs)]
    #[command(flatten)]
    pub drawing: DrawingOptions,
    #[allow(missing_docs)]
    #[command(flatten)]
    pub options: JobOptions,
}

/// Runs `prepare`.
pub fn run(args: &PrepareArgs, out: &mut Out) -> Result<u8, Failure> {
    args.art.as_deref().map_or(Ok(()), is_no_job)?;
    let mut job = args.options.job(args.art.as_deref().map(file_name::text))?;
    if let Some(path) = &args.job {
        let before = Job::read(path)?;
        job.layers = args.options.layers.over(&before.layers);
        job = job.over(before);
    }
    if job.art.file.is_none() && job.layers.is_empty() {
        return Err(Failure::input("the job file names no art; give the picture's name on the command line"));
    }
    if args.art.is_none()
        && let Some(art) = job.art.file.as_deref().map(file_name::path)
    {
        still_there(&art)?;
    }
    let mut brief = Brief::read(job)?;
    // Everything that can be known to be wrong is found before the long work starts.
    let plan = brief.settle()?;
    unused::refused(&args.options.piece, &[plan.dots.screen], &plan)?;
    if let Some(seconds) = args.search_time {
        let said = search_time::ask_for(&mut brief, &plan, seconds);
        if !args.quiet && !args.json {
            writeln!(out, "{said}")?;
        }
    }
    let (sources, plan) = Sources::settled(&mut brief, args.out.folder())?;
    let mut output = args.out.begin(&outputs::JOB, &read(args, &sources.files(), &plan)?)?;
    let how = args.drawing.opening(&plan)?;
    let opened = sources.opened(&plan, &how, None)?;

    let bar = Bar::new(args.quiet);
    let (making, writing) = (Portion::new(&bar, 0.7), Portion::new(&bar, 0.3));
    let result =
        pipeline::run_shown(&plan, opened.shown(), &opened.name(), &making).map_err(Failure::from).and_then(
            |outcome| Ok((outputs::write(&plan, &outcome, args.loupe, &mut output, &writing)?, outcome)),
        );
    drop(bar);
    let (report, outcome) = result?;
    output.commit()?;

    let stops: Vec<&str> = outcome.stops(&plan).map(|f| f.name).collect();
    let stopped = !stops.is_empty();
    if args.json {
        writeln!(out, "{}", report.to_json()?)?;
    } else if !args.quiet {
        terminal::summary(out, &report, &stops, &args.out, args.verbose)?;
        // The clock is for whoever sits before it: nothing that is kept depends on it.
        if let Some(times) = report.times.as_ref().filter(|_| io::stdout().is_terminal() && !stopped) {
            writeln!(out, "{}", terminal::ends(times.total_s, &ZonedDateTime::now()))?;
        }
    }
    if stopped && !args.quiet {
        for why in outcome.stops(&plan).filter_map(|f| plan.accepts(f).lapsed()) {
            say(&why);
        }
        let accept: Vec<String> = stops.iter().map(|n| format!("--accept {n}")).collect();
        say(&format!(
            "no scan program was written because of {}; mend it, or say {}",
            stops.join(" and "),
            accept.join(" ")
        ));
    }
    Ok(if stopped { 3 } else { 0 })
}

/// Refuses a job file where a picture is asked for: `tray` takes one so.
fn is_no_job(art: &Path) -> Result<(), Failure> {
    if !art.extension().is_some_and(|ending| ending.eq_ignore_ascii_case("toml")) || !art.is_file() {
        return Ok(());
    }
    let file = plain::path(art);
    Err(match Job::read(art) {
        Ok(_) => {
            Failure::input(format!("'{file}' is a job file, not a picture; run it again with --job '{file}'"))
        }
        Err(e @ FileError::Other(_)) => e.into(),
        Err(_) => Failure::input(format!(
            "{file} is not a picture; a job file is run with --job {file}, an order with dotwright tray {file}"
        )),
    })
}

/// Refuses a job whose art does not lie where the job file says.
fn still_there(art: &Path) -> Result<(), Failure> {
    match art.symlink_metadata() {
        Err(e) if e.kind() == io::ErrorKind::NotFound && art.file_name() != Some("-".as_ref()) => {
            let place = source::whole(art);
            Err(Failure::input(format!(
                "the job's picture is not where the job file says: there is no {}; put it there, or name the picture on the line too (prepare ART --job FILE)",
                plain::path(&place)
            )))
        }
        _ => Ok(()),
    }
}

/// The files that the run reads, none of which is replaced. A job file that says what it said before may be:
/// so a job is run again in its own folder.
fn read<'a>(args: &'a PrepareArgs, art: &[&'a Path], plan: &Plan) -> Result<Vec<&'a Path>, Failure> {
    let mut read = art.to_vec();
    if let Some(job) = &args.job {
        let same =
            std::fs::read(job).is_ok_and(|old| plan.job.to_toml().is_ok_and(|new| new.as_bytes() == old));
        if !same {
            read.push(job);
        }
    }
    Ok(read)
}
