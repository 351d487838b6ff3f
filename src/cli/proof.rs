//! `dotwright proof`: the forecast and findings of any 1-bit picture, whatever made it.

use std::io::Write;
use std::path::PathBuf;

use clap::Args;

use super::failure::Failure;
use super::options::{self, BlankOptions, ProcessOptions};
use super::out::Out;
use super::source::{Source, no_dots};
use super::target::OutOptions;
use super::{bar::Bar, terminal};
use crate::encode::{BeamOn, png};
use crate::job::asked::{DotsJob, ScanJob};
use crate::job::words::Along;
use crate::job::{Job, plan};
use crate::progress::Portion;
use crate::units::Pitch;
use crate::{outputs, pipeline};

/// Arguments of `proof`.
#[derive(Debug, Args)]
pub struct ProofArgs {
    /// The dots: a 1-bit PNG; '-' reads standard input
    #[arg(value_name = "DOTS.png")]
    pub dots: PathBuf,
    /// Density of the dots, for example 290.3dpi, 5.08dpi to 5080dpi [default: what the file says of itself]
    #[arg(long, value_name = "DPI")]
    pub density: Option<Pitch>,
    /// The axis that lines run along: x or y [default: x]
    #[arg(long, value_name = "AXIS")]
    pub axis: Option<Along>,
    /// The colour that means beam on: black or white [default: black]
    #[arg(long, value_name = "COLOUR", default_value = "black", hide_default_value = true)]
    pub beam_on: BeamOn,
    #[allow(missing_docs)]
    #[command(flatten)]
    pub out: OutOptions,
    /// A place of the blank, large, as dots and as forecast, in loupe.png (mm from its lower left: 40,50)
    #[arg(long, value_name = "X,Y", value_parser = options::parse_place)]
    pub loupe: Option<(f64, f64)>,
    /// Print the report as JSON instead of the summary
    #[arg(long)]
    pub json: bool,
    /// Print all figures and remedies
    #[arg(long, short, conflicts_with = "quiet")]
    pub verbose: bool,
    /// Print nothing but errors
    #[arg(long, short)]
    pub quiet: bool,
    #[allow(missing_docs)]
    #[command(flatten)]
    pub blank: BlankOptions,
    #[allow(missing_docs)]
    #[command(flatten)]
    pub process: ProcessOptions,
}

/// Runs `proof`.
pub fn run(args: &ProofArgs, out: &mut Out) -> Result<u8, Failure> {
    let source = Source::read(&args.dots)?;
    let decoded =
        png::read_dots(&source.bytes, args.beam_on).map_err(|e| no_dots(&source.in_messages, &e))?;
    let (x, y) = match (args.density, decoded.pixels_per_metre) {
        (Some(d), _) => (d, d),
        (None, Some((x, y))) => {
            match (Pitch::from_mm(1e3 / f64::from(x)), Pitch::from_mm(1e3 / f64::from(y))) {
                (Some(x), Some(y)) => (x, y),
                _ => return Err(no_density(&source.in_messages)),
            }
        }
        (None, None) => return Err(no_density(&source.in_messages)),
    };
    let (along, across) = args.axis.unwrap_or_default().swap((x, y));
    let job = Job {
        blank: args.blank.asked()?,
        dots: DotsJob { pitch: Some(along), pitch_across: Some(across), ..DotsJob::default() },
        burn: args.process.burn(),
        scan: ScanJob { axis: args.axis, ..ScanJob::default() },
        ..args.process.references()
    };
    let plan = plan::resolve(&job)?;
    let mut output = args.out.begin(&outputs::PROOF, &[&args.dots])?;
    let bar = Bar::new(args.quiet);
    let (judging, writing) = (Portion::new(&bar, 0.7), Portion::new(&bar, 0.3));
    let outcome = pipeline::judge(&plan, decoded.dots, &source.name, &judging)?;
    let report = outputs::write_proof(&plan, &outcome, args.loupe, &mut output, &writing)?;
    drop(bar);
    output.commit()?;
    if args.json {
        writeln!(out, "{}", report.to_json()?)?;
    } else if !args.quiet {
        terminal::decided(out, &report, args.verbose)?;
        terminal::findings(out, &report.findings, args.verbose)?;
        writeln!(out, "written to {}; look at proof.png", args.out)?;
    }
    Ok(if outcome.stops(&plan).next().is_some() { 3 } else { 0 })
}

fn no_density(name: &str) -> Failure {
    Failure::input(format!("{name} does not say how dense its dots are; add for example --density 290.3dpi"))
}
