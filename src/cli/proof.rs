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
    /// Density of the lines, for example 290.3dpi, 5.08dpi to 5080dpi; dots that lie closer along them keep the file's ratio
    /// [default: what the file says of itself]
    #[arg(long, value_name = "DPI")]
    pub density: Option<Pitch>,
    /// The axis that lines run along: x or y [default: that along which the file says that dots lie closer; x where neither is]
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
    let decoded = png::read_dots(&source.bytes, args.beam_on)
        .map_err(|e| no_dots(&source.in_messages, &source.bytes, &e))?;
    let axis = args.axis.or(decoded.pixels_per_metre.and_then(closer_along));
    let (along, across) = pitches(args.density, axis, decoded.pixels_per_metre)
        .ok_or_else(|| no_density(&source.in_messages))?;
    let job = Job {
        blank: args.blank.asked()?,
        dots: DotsJob { pitch: Some(along), pitch_across: Some(across), ..DotsJob::default() },
        burn: args.process.burn(),
        scan: ScanJob { axis, ..ScanJob::default() },
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
        terminal::findings(out, &report.findings, |f| plan.accepts(f).passes(), args.verbose)?;
        writeln!(out, "written to {}; look at proof.png", args.out)?;
    }
    Ok(if outcome.is_stopped(&plan) { 3 } else { 0 })
}

/// Pitches along the lines and across them; `None` where neither the person nor the file says how dense the dots are. A density
/// that is asked for is that of the lines: dots that the file says lie closer along them still do.
fn pitches(
    density: Option<Pitch>,
    axis: Option<Along>,
    pixels_per_metre: Option<(u32, u32)>,
) -> Option<(Pitch, Pitch)> {
    let of_file = pixels_per_metre.map(|(x, y)| (pitch_of(x), pitch_of(y))).unwrap_or_default();
    let said = axis.unwrap_or_default().swap(of_file);
    match (density, said) {
        (None, (Some(along), Some(across))) => Some((along, across)),
        (None, _) => None,
        (Some(lines), (Some(along), Some(across))) => {
            Some((Pitch::from_mm(lines.mm() / closer(across.mm() / along.mm()))?, lines))
        }
        (Some(lines), _) => Some((lines, lines)),
    }
}

/// The axis along which dots lie closer, which is that of the lines: the beam switches finer along them than they lie apart.
fn closer_along((x, y): (u32, u32)) -> Option<Along> {
    // What whole pixels a metre take from a density is no difference.
    let same = x.abs_diff(y) <= x.max(y) / 100;
    (!same).then_some(if x > y { Along::X } else { Along::Y })
}

/// The pitch of so many pixels a metre.
fn pitch_of(pixels_per_metre: u32) -> Option<Pitch> {
    Pitch::from_mm(1e3 / f64::from(pixels_per_metre))
}

/// How many times closer dots lie along the lines, without what whole pixels a metre take from it.
fn closer(times: f64) -> f64 {
    let whole = times.round();
    if (times - whole).abs() < 1e-3 * times { whole } else { times }
}

fn no_density(name: &str) -> Failure {
    Failure::input(format!("{name} does not say how dense its dots are; add for example --density 290.3dpi"))
}

#[cfg(test)]
mod tests {
    use clap::Parser;

    use super::*;

    #[derive(Parser)]
    struct Line {
        #[command(flatten)]
        proof: ProofArgs,
    }

    #[test]
    fn a_density_is_that_of_the_lines_and_keeps_the_ratio_of_the_dots() {
        let of = |line: &str, said: Option<(u32, u32)>| {
            let words = format!("proof dots.png --out out --blank glass-coaster-90 {line}");
            let line = Line::try_parse_from(words.split_whitespace()).unwrap();
            let axis = line.proof.axis.or(said.and_then(closer_along));
            pitches(line.proof.density, axis, said).map(|(along, across)| (along.mm(), across.mm()))
        };
        // Half a line pitch along the lines: 0.04375 x 0.0875 mm.
        let lines = 25.4 / 290.3;
        assert_eq!(of("--density 290.3dpi", Some((22857, 11429))), Some((lines / 2.0, lines)));
        assert_eq!(of("--density 290.3dpi --axis y", Some((11429, 22857))), Some((lines / 2.0, lines)));
        assert_eq!(of("--density 290.3dpi", Some((11429, 22857))), Some((lines / 2.0, lines)));
        assert_eq!(of("--density 290.3dpi", Some((11429, 11429))), Some((lines, lines)));
        assert_eq!(of("--density 290.3dpi", None), Some((lines, lines)));
        assert_eq!(of("", Some((20000, 10000))), Some((0.05, 0.1)));
        assert_eq!(of("", Some((10000, 20000))), Some((0.05, 0.1)));
        assert_eq!(of("--axis x", Some((10000, 20000))), Some((0.1, 0.05)));
        assert_eq!(of("", None), None);
        assert_eq!(of("--density 290.3dpi", Some((0, 0))), Some((lines, lines)));
    }
}
