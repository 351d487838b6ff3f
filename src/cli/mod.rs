//! The command line: one command a file.
//!
//! Results go to standard output, everything else (progress, findings, errors) to standard error.
//! Exit codes: 0 done, 1 an input that cannot be used, 2 a wrong command line, 3 a finding of severity stop.

pub mod advise;
pub mod compare;
pub mod extras;
pub mod kit;
pub mod options;
pub mod prepare;
pub mod proof;
pub mod replay;
pub mod screens;
pub mod terminal;
pub mod wedge;

use std::io::{self, BufWriter, StdoutLock, Write};

use clap::{Parser, Subcommand};

/// Standard output, buffered.
pub type Out = BufWriter<StdoutLock<'static>>;

/// Makes pictures and logos ready to be marked on coated blanks by a small laser
///
/// Places the art on the blank, turns its tones into dots the beam can make, forecasts how the burn will look,
/// says what would go wrong and how to mend it, and writes the files to work from.
#[derive(Debug, Parser)]
#[command(name = "dotwright", version, max_term_width = 110, after_help = AFTER_HELP)]
pub struct Line {
    #[command(subcommand)]
    command: Command,
}

const AFTER_HELP: &str = "\
Lasers blind, burn and make fumes. Wear eyewear made for the laser's wavelength, keep the enclosure closed (glass and
metal mirror the beam), never leave a burn alone, run the extraction, never mark PVC or vinyl, and follow the laser's
manual and the rules of your place.";

#[derive(Debug, Subcommand)]
enum Command {
    /// Make art ready to be marked: dots, proof, ticket and job file
    Prepare(Box<prepare::PrepareArgs>),
    /// Compare screens and densities on a contact sheet, forecast under your process
    Compare(Box<compare::CompareArgs>),
    /// Forecast and findings of any 1-bit picture, whatever made it
    Proof(Box<proof::ProofArgs>),
    /// Which pitches suit a machine and a coating, and why
    Advise(advise::AdviseArgs),
    /// What a scan program really does, before the machine does it
    Replay(replay::ReplayArgs),
    /// List the screens, or measure their quality and speed
    Screens(screens::ScreensArgs),
    /// Measure the machine from a photo of a test piece
    Wedge(wedge::WedgeArgs),
    /// Starter machines, coatings and blanks
    Kit(kit::KitArgs),
    /// Print the completions for a shell
    Completions(extras::CompletionsArgs),
    /// Write the manual pages into a folder
    Man(extras::ManArgs),
}

/// Why a command ended early: a sentence for the person and an exit code.
#[derive(Debug)]
pub struct Failure {
    /// What, where, what to do.
    pub sentence: String,
    /// The exit code.
    pub code: u8,
}

impl Failure {
    /// An input that cannot be used.
    pub fn input(sentence: impl Into<String>) -> Self {
        Failure { sentence: sentence.into(), code: 1 }
    }
}

impl<E: std::error::Error> From<E> for Failure {
    fn from(e: E) -> Self {
        Failure::input(e.to_string())
    }
}

/// Parses the line, runs the command, and returns the exit code.
pub fn main() -> u8 {
    let line = match Line::try_parse() {
        Ok(line) => line,
        Err(e) => {
            // Help and version are no errors; a closed pipe while printing them is none either.
            let _ = e.print();
            return if e.use_stderr() { 2 } else { 0 };
        }
    };
    let mut out: Out = BufWriter::new(io::stdout().lock());
    let done = run(&line, &mut out).and_then(|code| match out.flush() {
        Ok(()) => Ok(code),
        Err(e) => Err(e.into()),
    });
    match done {
        Ok(code) => code,
        Err(f) if f.sentence.contains("Broken pipe") => 0,
        Err(f) => {
            eprintln!("dotwright: {}", f.sentence);
            f.code
        }
    }
}

fn run(line: &Line, out: &mut Out) -> Result<u8, Failure> {
    match &line.command {
        Command::Prepare(args) => prepare::run(args, out),
        Command::Compare(args) => compare::run(args, out),
        Command::Proof(args) => proof::run(args, out),
        Command::Advise(args) => advise::run(args, out),
        Command::Replay(args) => replay::run(args, out),
        Command::Screens(args) => screens::run(args, out),
        Command::Wedge(args) => wedge::run(args, out),
        Command::Kit(args) => kit::run(args, out),
        Command::Completions(args) => extras::completions(args, out),
        Command::Man(args) => extras::man(args, out),
    }
}
