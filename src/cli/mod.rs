//! The command line: one command a file.
//!
//! Results go to standard output, everything else (progress, findings, errors) to standard error.
//! Exit codes: 0 done, 1 an input that cannot be used, 2 a wrong command line, 3 a finding of severity stop,
//! 128 and the signal's number where a signal ended it.

mod advise;
mod bar;
mod compare;
#[cfg(feature = "desk")]
mod desk;
mod extras;
pub(crate) mod failure;
pub(crate) mod kit;
mod line;
mod objections;
pub(crate) mod options;
pub(crate) mod order;
mod out;
mod plain;
mod prepare;
mod proof;
mod relatives;
mod replay;
mod screens;
mod search_time;
pub(crate) mod signals;
pub(crate) mod source;
mod sources;
mod target;
pub(crate) mod terminal;
mod times;
pub(crate) mod tones;
mod tray;
mod unused;
pub(crate) mod wedge;

use std::borrow::Cow;
use std::io::Write;

use clap::{CommandFactory, Parser};

use failure::Failure;
use line::{Command, Line};
use out::Out;

/// Parses the line, runs the command, and returns the exit code.
pub fn main() -> u8 {
    let line = match Line::try_parse() {
        Ok(line) => line,
        Err(e) => return help_or_complaint(&e),
    };
    signals::listen(bar::clear);
    let mut out = Out::standard();
    let done = run(&line, &mut out).and_then(|code| Ok(out.flush().map(|()| code)?));
    match (done, signals::asked()) {
        (Ok(code), _) => code,
        (Err(_), Some(signal)) => signals::stopped(signal),
        (Err(f), None) => {
            out::say(&f.sentence);
            f.code
        }
    }
}

/// Help and version are no errors; a closed pipe while printing them is none either.
fn help_or_complaint(e: &clap::Error) -> u8 {
    if let Some(sentence) = relatives::lead(e) {
        out::say(&sentence);
        return 2;
    }
    // A complaint repeats what was written: colours are only for what cannot steer the terminal.
    let steers = std::env::args_os().any(|a| matches!(plain::line(&a.to_string_lossy()), Cow::Owned(_)));
    let printed = if steers {
        write!(std::io::stderr(), "{}", plain::lines(&e.render().to_string()))
    } else {
        // Of what was printed the end may still be on its way.
        e.print().and_then(|()| std::io::stdout().flush())
    };
    match printed {
        _ if e.use_stderr() => 2,
        Err(e) if e.kind() != std::io::ErrorKind::BrokenPipe => {
            out::say(&format!("standard output cannot be written: {}", crate::cause::of(&e)));
            1
        }
        _ => 0,
    }
}

fn run(line: &Line, out: &mut Out) -> Result<u8, Failure> {
    match &line.command {
        Command::Prepare(args) => prepare::run(args, out),
        Command::Compare(args) => compare::run(args, out),
        Command::Tray(args) => tray::run(args, out),
        Command::Proof(args) => proof::run(args, out),
        Command::Advise(args) => advise::run(args, out),
        Command::Replay(args) => replay::run(args, out),
        Command::Screens(args) => screens::run(args, out),
        Command::Wedge(args) => wedge::run(args, out),
        Command::Kit(args) => kit::run(args, out),
        #[cfg(feature = "desk")]
        Command::Desk(args) => desk::run(args, out),
        Command::Texts => extras::texts(out),
        Command::Completions(args) => extras::completions(args, Line::command(), out),
        Command::Man(args) => extras::man(args, Line::command(), out),
    }
}
