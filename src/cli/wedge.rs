//! `dotwright wedge draw|read|compare`: measure the machine from a photo of a test piece.

use std::io::Write;
use std::path::{Path, PathBuf};

use clap::{Args, Subcommand};

use super::failure::Failure;
use super::out::Out;
use super::source;
use crate::wedge::reading::Reading;
use crate::wedge::show::compare;

mod draw;
mod read;
mod values;

use draw::DrawArgs;
#[cfg(feature = "desk")]
pub(crate) use draw::{DRAWN, draw_args, planned};
use read::ReadArgs;
#[cfg(feature = "desk")]
pub(crate) use read::{READ, put_reading};

/// Arguments of `wedge`.
#[derive(Debug, Args)]
pub struct WedgeArgs {
    #[command(subcommand)]
    command: WedgeCommand,
}

#[derive(Debug, Subcommand)]
enum WedgeCommand {
    /// Draw a test piece: picture, scan program, ticket and wedge.toml
    Draw(Box<DrawArgs>),
    /// Read a photo of a burnt test piece: best setting, response, beam, dot gain or lag
    Read(Box<ReadArgs>),
    /// Set readings of several coatings or machines side by side
    Compare(CompareArgs),
}

/// Arguments of `wedge compare`.
#[derive(Debug, Args)]
struct CompareArgs {
    /// Readings: reading.json files, or the folders that hold them
    #[arg(value_name = "READING", required = true)]
    readings: Vec<PathBuf>,
    /// Print JSON
    #[arg(long)]
    json: bool,
}

/// Runs `wedge`.
pub fn run(args: &WedgeArgs, out: &mut Out) -> Result<u8, Failure> {
    match &args.command {
        WedgeCommand::Draw(a) => draw::draw_wedge(a, out),
        WedgeCommand::Read(a) => read::read_wedge(a, out),
        WedgeCommand::Compare(a) => compare_readings(a, out),
    }
}

fn read_bytes(path: &Path) -> Result<Vec<u8>, Failure> {
    std::fs::read(path).map_err(|e| source::unreadable(path, &e))
}

fn read_text(path: &Path) -> Result<String, Failure> {
    String::from_utf8(read_bytes(path)?)
        .map_err(|_| Failure::input(format!("'{}' is not a text file; check its name", path.display())))
}

fn compare_readings(a: &CompareArgs, out: &mut Out) -> Result<u8, Failure> {
    let mut readings = Vec::new();
    for path in &a.readings {
        let file = if path.is_dir() { path.join("reading.json") } else { path.clone() };
        let reading: Reading = serde_json::from_str(&read_text(&file)?).map_err(|e| {
            Failure::input(format!(
                "'{}' is not a reading ({e}); give a reading.json that 'dotwright wedge read' wrote",
                file.display()
            ))
        })?;
        readings.push(reading);
    }
    let lines = compare::compare(&readings);
    if a.json {
        writeln!(out, "{}", serde_json::to_string_pretty(&lines)?)?;
    } else {
        write!(out, "{}", compare::table(&lines))?;
    }
    Ok(0)
}
