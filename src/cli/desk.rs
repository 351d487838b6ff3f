//! `dotwright desk`: the local page.

use std::fs;
use std::io::Write;
use std::path::PathBuf;

use clap::Args;

use super::failure::Failure;
use super::out::{Out, say};
use super::plain;
use crate::cause;
use crate::desk::{self, Asked};
use crate::job::kit;
use crate::screen::remembered::Remembering;
use crate::texts;

/// Arguments of `desk`.
#[derive(Debug, Args)]
pub struct DeskArgs {
    /// The port on this machine, 1 to 65535; 0 takes any that is free [default: 4810, or any where that is taken]
    #[arg(long, value_name = "NUMBER")]
    pub port: Option<u16>,
    /// Print the page's address, and leave it to you to open it
    #[arg(long)]
    pub no_open: bool,
    /// The folder that keeps art, jobs, orders, machines, coatings and processes [default: dotwright in the platform's data folder]
    #[arg(long, value_name = "FOLDER")]
    pub home: Option<PathBuf>,
    /// Say everything by this file of texts: a translation of what `dotwright texts` prints
    #[arg(long, value_name = "FILE")]
    pub texts: Option<PathBuf>,
    /// Read the page's files from this folder each time they are asked for: for whoever works on the page
    #[arg(long, value_name = "FOLDER", hide = true)]
    pub page: Option<PathBuf>,
}

/// Runs `desk`.
pub fn run(args: &DeskArgs, out: &mut Out) -> Result<u8, Failure> {
    let _remembering = Remembering::begin();
    if let Some(file) = &args.texts {
        let name = format!("'{}'", plain::path(file));
        let read = fs::read(file).map_err(|e| format!("cannot be read ({})", cause::of(&e)));
        let not_utf8 = |_| "is not written in UTF-8; save it as UTF-8 in your editor".to_string();
        let read = read.and_then(|bytes| String::from_utf8(bytes).map_err(not_utf8));
        let taken = read.and_then(|text| texts::translate(&text, &kit::words()).map_err(|e| e.to_string()));
        taken.map_err(|why| Failure::input(format!("{name} {why}")))?;
    }
    let asked = Asked { port: args.port, home: args.home.clone(), page: args.page.clone() };
    desk::run(asked, |address, home| {
        writeln!(out, "the desk is open at {address}")?;
        writeln!(out, "its files are in {}; end it with Ctrl-C", home.display())?;
        out.flush()?;
        if !args.no_open && open::that_detached(address).is_err() {
            say(&format!("no browser could be opened; open {address} yourself"));
        }
        Ok(())
    })?;
    writeln!(out, "the desk is closed; all is kept")?;
    Ok(0)
}
