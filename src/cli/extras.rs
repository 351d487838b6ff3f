//! `dotwright completions` and `dotwright man`: from the same definitions as the commands themselves; and `dotwright texts`.

use std::io::Write;
use std::path::PathBuf;

use clap::{Args, Command};

use super::failure::Failure;
use super::out::Out;
use super::plain;
use crate::job::kit;
use crate::texts;

/// Arguments of `completions`.
#[derive(Debug, Args)]
pub struct CompletionsArgs {
    /// The shell
    shell: clap_complete::Shell,
}

/// Arguments of `man`.
#[derive(Debug, Args)]
pub struct ManArgs {
    /// The folder, which must be there
    folder: PathBuf,
}

/// Prints all texts in English.
pub fn texts(out: &mut Out) -> Result<u8, Failure> {
    serde_json::to_writer_pretty(&mut *out, &texts::english(kit::words()))?;
    writeln!(out)?;
    Ok(0)
}

/// Prints the completions for a shell.
pub fn completions(args: &CompletionsArgs, mut command: Command, out: &mut Out) -> Result<u8, Failure> {
    // Written into memory first: there nothing fails, and what generates it takes no failure.
    let mut text = Vec::new();
    clap_complete::generate(args.shell, &mut command, "dotwright", &mut text);
    out.write_all(&text)?;
    Ok(0)
}

/// Writes the manual pages.
pub fn man(args: &ManArgs, command: Command, out: &mut Out) -> Result<u8, Failure> {
    if !args.folder.is_dir() {
        let name = args.folder.display();
        return Err(Failure::input(format!("there is no folder {name}; make it first")));
    }
    clap_mangen::generate_to(command.disable_help_subcommand(true), &args.folder)
        .map_err(|e| Failure::input(format!("cannot write into {}: {e}", args.folder.display())))?;
    writeln!(out, "manual pages are in {}", plain::path(&args.folder))?;
    Ok(0)
}
