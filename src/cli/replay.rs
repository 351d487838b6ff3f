//! `dotwright replay`: what a scan program really does, before the machine does it.

use std::fs::File;
use std::io::{BufRead, BufReader, Write};
use std::path::{Path, PathBuf};

use clap::Args;

use super::failure::Failure;
use super::options::named;
use super::out::Out;
use super::target::{OutOptions, Replace};
use super::{plain, source, terminal};
use crate::art::is_picture;
use crate::encode::sink::{Files, Sink};
use crate::encode::{BeamOn, png};
use crate::findings::replay as findings;
use crate::job::rotary::Turned;
use crate::job::{Machine, kit};
use crate::scan::comments::read_rotary;
use crate::scan::replay::{self, ReplayOptions, Replayed};
use crate::units::{counted, duration, short};

/// Arguments of `replay`.
#[derive(Debug, Args)]
pub struct ReplayArgs {
    /// The program, RS-274 words; '-' reads standard input
    #[arg(value_name = "PROGRAM")]
    pub program: PathBuf,
    /// The dots it should make: a 1-bit PNG such as dots.png
    #[arg(long, value_name = "DOTS.png")]
    pub against: Option<PathBuf>,
    /// The colour that means beam on in those dots: black or white [default: black]
    #[arg(long, value_name = "COLOUR", default_value = "black", hide_default_value = true)]
    pub beam_on: BeamOn,
    /// The machine: a kit entry or a file of your own
    #[arg(long, value_name = "NAME|FILE", value_parser = named(), default_value = kit::DEFAULT_MACHINE)]
    pub machine: String,
    /// Write the path as a picture (path.png) and the report (replay.json) into this folder or archive (NAME.zip)
    #[arg(long, short, value_name = "FOLDER")]
    pub out: Option<PathBuf>,
    #[allow(missing_docs)]
    #[command(flatten)]
    pub replace: Replace,
    /// Print the report as JSON instead of the summary
    #[arg(long)]
    pub json: bool,
    /// Print nothing but errors
    #[arg(long, short)]
    pub quiet: bool,
}

/// What it writes.
const FILES: Files = Files { names: &["path.png", "replay.json"], never_beside: &[] };

/// The comments at a program's head are within so many bytes.
const HEAD: usize = 64 * 1024;
/// Longer side of the path's picture, pixels.
const PICTURE: usize = 1600;

/// Runs `replay`.
pub fn run(args: &ReplayArgs, out: &mut Out) -> Result<u8, Failure> {
    let read: Vec<&Path> =
        std::iter::once(&args.program).chain(&args.against).map(PathBuf::as_path).collect();
    let place = args.out.clone().map(|out| OutOptions { out, replace: args.replace });
    let mut output = place.as_ref().map(|p| p.begin(&FILES, &read)).transpose()?;
    let wanted = match &args.against {
        None => None,
        Some(path) => {
            let bytes = std::fs::read(path).map_err(|e| source::unreadable(path, &e))?;
            let decoded = png::read_dots(&bytes, args.beam_on)
                .map_err(|e| source::no_dots(&format!("'{}'", path.display()), &bytes, &e))?;
            Some(decoded.dots)
        }
    };
    let name = plain::path(&args.program);
    let mut program: Box<dyn BufRead> = if name == "-" {
        Box::new(BufReader::with_capacity(HEAD, std::io::stdin().lock()))
    } else {
        let file = File::open(&args.program).map_err(|e| source::unreadable(&args.program, &e))?;
        Box::new(BufReader::with_capacity(1 << 20, file))
    };
    let head = program.fill_buf().unwrap_or_default();
    if is_picture(head) {
        return Err(Failure::input(format!(
            "{name} is a picture, not a program; dotwright prepare {name} --out FOLDER makes a program.nc of it"
        )));
    }
    let machine = machine(args, head)?;
    let limits = machine.limits();
    let mut options = ReplayOptions::new(&limits);
    options.laser = Some(machine.laser.power);
    options.picture = output.is_some().then_some(PICTURE);
    let failed = |e: crate::scan::reader::ReadError| Failure::input(format!("{name}: {e}"));
    let mut replayed = replay::replay(program, &options).map_err(failed)?;
    if let Some(dots) = &wanted
        && !replayed.against(dots)
    {
        let why = match &replayed.dots {
            None => "the program does not say where its dots lie".to_string(),
            Some(d) => format!(
                "the program makes {} x {} dots, the picture has {} x {}",
                d.width(),
                d.height(),
                dots.width(),
                dots.height()
            ),
        };
        return Err(Failure::input(format!("{name} cannot be held against the dots: {why}")));
    }
    let findings = findings::replayed(&replayed.report);
    let same = replayed.report.difference.as_ref().is_none_or(|d| d.same);
    if let Some(output) = &mut output {
        if let Some(plot) = &replayed.plot {
            output.put("path.png", &plot.png()?)?;
        }
        output.put("replay.json", serde_json::to_string_pretty(&json(&replayed, &findings))?.as_bytes())?;
    }
    if let Some(output) = output {
        output.commit()?;
    }
    if args.json {
        writeln!(out, "{}", serde_json::to_string_pretty(&json(&replayed, &findings))?)?;
    } else if !args.quiet {
        summary(out, &replayed)?;
        terminal::findings(out, &findings, |_| false, true)?;
        if let Some(place) = &place {
            writeln!(out, "the path is drawn in {}", place.find("path.png"))?;
        }
    }
    let stop = findings.iter().any(|f| f.severity == crate::findings::Severity::Stop);
    Ok(if stop || !same { 3 } else { 0 })
}

/// The machine, with the piece in its rotary where the program's `head` says that it turns one.
fn machine(args: &ReplayArgs, head: &[u8]) -> Result<Machine, Failure> {
    let machine = kit::machine(&args.machine)?;
    let head = String::from_utf8_lossy(&head[..head.len().min(HEAD)]);
    match read_rotary(&head) {
        None => Ok(machine),
        Some((round, mantle)) => {
            let turned = Turned { mantle, round };
            machine.turning(turned).map_err(|why| {
                Failure::input(why.each(|why| format!("the program turns a round piece, and {why}")))
            })
        }
    }
}

fn json(replayed: &Replayed, findings: &[crate::findings::Finding]) -> serde_json::Value {
    serde_json::json!({ "replay": replayed.report, "findings": findings })
}

fn summary(out: &mut Out, replayed: &Replayed) -> Result<(), Failure> {
    let r = &replayed.report;
    writeln!(
        out,
        "{}, {}, {}; {} for {} m of travel, {} m with the beam on",
        counted(r.lines, "line"),
        counted(r.bytes, "byte"),
        counted(r.moves, "move"),
        duration(r.seconds),
        short(r.travel_mm / 1000.0, 2),
        short(r.burning_mm / 1000.0, 2)
    )?;
    if let Some(on) = r.dots_on {
        writeln!(
            out,
            "{} marked, at S up to {} of {} and up to {} mm/s",
            counted(on, "dot"),
            r.highest_s,
            r.full_scale_s,
            short(r.highest_speed, 3)
        )?;
    }
    match &r.difference {
        Some(d) if d.same => writeln!(out, "the dots are the same, every one")?,
        Some(d) => writeln!(
            out,
            "THE DOTS DIFFER: {} missing, {} too many{}",
            d.missing,
            d.extra,
            d.first
                .first()
                .map_or(String::new(), |at| format!("; the first in column {}, row {}", at.0, at.1))
        )?,
        None => {}
    }
    Ok(())
}
