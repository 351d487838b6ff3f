//! `dotwright prepare`: the main job.

use std::io::Write;
use std::path::{Path, PathBuf};

use clap::Args;

use super::failure::Failure;
use super::options::{self, JobOptions};
use super::out::Out;
use super::out::say;
use super::source::Source;
use super::target::OutOptions;
use super::{bar::Bar, terminal};
use crate::job::plan::{self, Plan};
use crate::job::{Job, file_name};
use crate::progress::Portion;
use crate::screen::fitted;
use crate::{art, outputs, pipeline};

/// Arguments of `prepare`.
#[derive(Debug, Args)]
pub struct PrepareArgs {
    /// The picture, drawing or logo: JPEG, PNG, TIFF, WebP, BMP, GIF or SVG; '-' reads standard input
    #[arg(value_name = "ART", required_unless_present = "job")]
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
    /// Print nothing but errors
    #[arg(long, short)]
    pub quiet: bool,
    /// A second look: this place of the blank, large, as dots and as forecast, in loupe.png (mm from its lower left: 40,50)
    #[arg(long, value_name = "X,Y", value_parser = options::parse_place)]
    pub loupe: Option<(f64, f64)>,
    /// Searching screens: as many passes as take this long here, in seconds, for a blank full of dots; the job file keeps their number
    #[arg(long, value_name = "SECONDS", conflicts_with = "effort", value_parser = parse_seconds)]
    pub search_time: Option<f64>,
    #[allow(missing_docs)]
    #[command(flatten)]
    pub options: JobOptions,
}

/// Runs `prepare`.
pub fn run(args: &PrepareArgs, out: &mut Out) -> Result<u8, Failure> {
    let mut job = args.options.job(args.art.as_deref().map(file_name::text))?;
    if let Some(path) = &args.job {
        job = job.over(Job::read(path)?);
    }
    let Some(file) = job.art.file.as_deref().map(file_name::path) else {
        return Err(Failure::input("the job file names no art; give the picture's name on the command line"));
    };
    // Everything that can be known to be wrong is found before the long work starts.
    let before = job.art.crc32;
    let mut plan = plan::resolve(&job)?;
    if let Some(seconds) = args.search_time {
        let said = search_within(seconds, &mut job, &mut plan)?;
        if !args.quiet && !args.json {
            writeln!(out, "{said}")?;
        }
        plan.notes.push(said);
    }
    let source = Source::read(&file)?;
    plan.job.art.crc32 = Some(source.crc32);
    plan.job.art.file = Some(source.as_seen_from(args.out.folder()));
    let mut output = args.out.begin(&outputs::JOB, &read(args, &file, &plan)?)?;
    let art = art::open(&source.bytes, &source.in_messages)?;
    if args.job.is_some() && args.art.is_none() && before.is_some_and(|c| c != source.crc32) {
        plan.notes.push(format!("{} has changed since the job was first prepared", source.name));
    }

    let bar = Bar::new(args.quiet);
    let (making, writing) = (Portion::new(&bar, 0.7), Portion::new(&bar, 0.3));
    let result =
        pipeline::run(&plan, &art, &source.name, &making).map_err(Failure::from).and_then(|outcome| {
            Ok((outputs::write(&plan, &outcome, args.loupe, &mut output, &writing)?, outcome))
        });
    drop(bar);
    let (report, outcome) = result?;
    output.commit()?;

    let stopped = outcome.stops(&plan).next().is_some();
    if args.json {
        writeln!(out, "{}", report.to_json()?)?;
    } else if !args.quiet {
        terminal::summary(out, &report, &args.out)?;
    }
    if stopped && !args.quiet {
        let names: Vec<&str> = outcome.stops(&plan).map(|f| f.name).collect();
        let accept: Vec<String> = names.iter().map(|n| format!("--accept {n}")).collect();
        say(&format!(
            "no scan program was written because of {}; mend it, or say {}",
            names.join(" and "),
            accept.join(" ")
        ));
    }
    Ok(if stopped { 3 } else { 0 })
}

/// The files that the run reads, none of which is replaced. A job file that says what it said before may be:
/// so a job is run again in its own folder.
fn read<'a>(args: &'a PrepareArgs, art: &'a Path, plan: &Plan) -> Result<Vec<&'a Path>, Failure> {
    let mut read = vec![art];
    if let Some(job) = &args.job {
        let same =
            std::fs::read(job).is_ok_and(|old| plan.job.to_toml().is_ok_and(|new| new.as_bytes() == old));
        if !same {
            read.push(job);
        }
    }
    Ok(read)
}

/// Reads a time in seconds, more than none and at most an hour; a closing `s` is taken too.
fn parse_seconds(text: &str) -> Result<f64, String> {
    let seconds = text.strip_suffix('s').unwrap_or(text).trim().parse::<f64>();
    seconds
        .ok()
        .filter(|s| *s > 0.0 && *s <= 3600.0)
        .ok_or_else(|| "it is a number of seconds up to 3600, such as 5".into())
}

/// Resolves a job anew with the passes that the time allows, where its screen searches; what to tell of it.
fn search_within(seconds: f64, job: &mut Job, plan: &mut Plan) -> Result<String, Failure> {
    if !plan.screen.searches {
        return Ok(format!("{} does not search; the search time is not used", plan.screen.name));
    }
    let shape = plan.blank.printable().unwrap_or(plan.blank.shape);
    let dots = shape.area() / (plan.grid.along.0 * plan.grid.across.0);
    let passes = fitted::passes_within(seconds, dots as usize, &plan.options);
    job.dots.effort = Some(passes);
    *plan = plan::resolve(job)?;
    Ok(format!("{passes} passes of search, about {seconds} s on this machine"))
}
