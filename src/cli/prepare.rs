//! `dotwright prepare`: the main job.

use std::io::Write;
use std::path::{Path, PathBuf};

use clap::Args;

use super::options::{self, JobOptions};
use super::terminal::{self, Bar};
use super::{Failure, Out};
use crate::encode::output::Output;
use crate::job::Job;
use crate::job::plan::{self, Plan};
use crate::progress::Part;
use crate::screen::fitted;
use crate::{art, outputs, pipeline};

/// Arguments of `prepare`.
#[derive(Debug, Args)]
pub struct PrepareArgs {
    /// The picture, drawing or logo: JPEG, PNG, TIFF, WebP, BMP, GIF or SVG; '-' reads standard input
    #[arg(value_name = "ART", required_unless_present = "job")]
    pub art: Option<String>,
    /// The folder to write into; it must be new or empty unless --replace is given
    #[arg(long, short, value_name = "FOLDER")]
    pub out: PathBuf,
    /// Repeat the job of this file; options on the line come before its values
    #[arg(long, value_name = "FILE")]
    pub job: Option<PathBuf>,
    /// Replace the files of an earlier run in the folder
    #[arg(long)]
    pub replace: bool,
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
    let mut job = args.options.job(args.art.clone())?;
    if let Some(path) = &args.job {
        job = job.over(Job::read(path)?);
    }
    let Some(file) = job.art.file.clone() else {
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
    let mut output = Output::begin(&args.out, args.replace)?;
    let source = Source::read(&file)?;
    let art = art::open(&source.bytes, &source.in_messages)?;
    plan.job.art.crc32 = Some(source.crc32);
    plan.job.art.file = Some(source.as_seen_from(&args.out));
    if args.job.is_some() && args.art.is_none() && before.is_some_and(|c| c != source.crc32) {
        plan.notes.push(format!("{} has changed since the job was first prepared", source.name));
    }

    let bar = Bar::new(args.quiet);
    let (making, writing) = (Part::new(&bar, 0.7), Part::new(&bar, 0.3));
    let result =
        pipeline::run(&plan, &art, &source.name, &making).map_err(Failure::from).and_then(|outcome| {
            Ok((outputs::write(&plan, &outcome, args.loupe, &mut output, &writing)?, outcome))
        });
    bar.finish();
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
        eprintln!(
            "dotwright: no scan program was written because of {}; mend it, or say {}",
            names.join(" and "),
            accept.join(" ")
        );
    }
    Ok(if stopped { 3 } else { 0 })
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

/// An art file's bytes and what to call it.
pub struct Source {
    /// All bytes.
    pub bytes: Vec<u8>,
    /// The file name without its folder, or `standard input`.
    pub name: String,
    /// What it is called in messages: with its folder, as given.
    pub in_messages: String,
    /// CRC-32 of the bytes.
    pub crc32: u32,
    path: Option<PathBuf>,
}

/// The longest file that is read: what the decoders may use in all.
const MOST_BYTES: u64 = 2 << 30;

impl Source {
    /// Reads a file, or standard input for `-`.
    pub fn read(file: &str) -> Result<Source, Failure> {
        use std::io::Read;
        let mut bytes = Vec::new();
        let (name, in_messages, path) = if file == "-" {
            let name = "standard input".to_string();
            (name.clone(), format!("the picture on {name}"), None)
        } else {
            let path = Path::new(file);
            let name = path.file_name().map_or(file.to_string(), |n| n.to_string_lossy().into_owned());
            (name, format!("'{file}'"), Some(path.to_path_buf()))
        };
        let unreadable =
            |why: String| Failure::input(format!("cannot read {in_messages}: {why}; check its name"));
        match &path {
            None => std::io::stdin().lock().take(MOST_BYTES + 1).read_to_end(&mut bytes),
            Some(p) if p.is_dir() => return Err(unreadable("it is a folder".into())),
            Some(p) => std::fs::File::open(p).and_then(|f| f.take(MOST_BYTES + 1).read_to_end(&mut bytes)),
        }
        .map_err(|e| unreadable(e.to_string()))?;
        if bytes.len() as u64 > MOST_BYTES {
            return Err(unreadable("it is longer than 2 GiB".into()));
        }
        let mut crc = flate2::Crc::new();
        crc.update(&bytes);
        Ok(Source { crc32: crc.sum(), bytes, name, in_messages, path })
    }

    /// The file's name as seen from another folder, so that a job file can be moved together with its art.
    fn as_seen_from(&self, folder: &Path) -> String {
        let Some(path) = &self.path else { return "-".to_string() };
        let whole = |p: &Path| std::path::absolute(p).unwrap_or_else(|_| p.to_path_buf());
        let (to, from) = (tidy(&whole(path)), tidy(&whole(folder)));
        let shared = to.iter().zip(&from).take_while(|(a, b)| a == b).count();
        if shared == 0 {
            return path.to_string_lossy().into_owned();
        }
        let up = std::iter::repeat_n("..".to_string(), from.len() - shared);
        up.chain(to[shared..].iter().cloned()).collect::<Vec<_>>().join("/")
    }
}

/// The parts of an absolute path, with `.` and `..` resolved as written.
fn tidy(path: &Path) -> Vec<String> {
    let mut parts: Vec<String> = Vec::new();
    for part in path.components() {
        match part {
            std::path::Component::CurDir => {}
            std::path::Component::ParentDir => {
                parts.pop();
            }
            std::path::Component::RootDir => parts.push(String::new()),
            other => parts.push(other.as_os_str().to_string_lossy().into_owned()),
        }
    }
    parts
}
