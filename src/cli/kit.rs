//! `dotwright kit list|show`: the starter machines, coatings and blanks.

use std::io::Write;

use clap::{Args, Subcommand};

use super::failure::Failure;
use super::out::Out;
use crate::job::kit::{self, ENTRIES, Entry, Sort};
use crate::job::near::did_you_mean;
use crate::job::{Coating, Machine};
use crate::texts::text;

/// Arguments of `kit`.
#[derive(Debug, Args)]
pub struct KitArgs {
    #[command(subcommand)]
    command: KitCommand,
}

#[derive(Debug, Subcommand)]
enum KitCommand {
    /// List the starter machines, coatings and blanks
    List {
        /// Print JSON
        #[arg(long)]
        json: bool,
    },
    /// Show one entry: a file to copy and make your own; of a machine every key, with its unit, range and default
    Show {
        /// Its name, as 'kit list' prints it
        name: String,
        /// Print JSON
        #[arg(long)]
        json: bool,
    },
}

/// Runs `kit`.
pub fn run(args: &KitArgs, out: &mut Out) -> Result<u8, Failure> {
    match &args.command {
        KitCommand::List { json: true } => {
            let list: Vec<_> = ENTRIES
                .iter()
                .map(|e| Ok(serde_json::json!({ "sort": e.sort, "name": e.id, "about": about(e)?, "standing": "assumed" })))
                .collect::<Result<_, Failure>>()?;
            writeln!(out, "{}", serde_json::to_string_pretty(&list)?)?;
        }
        KitCommand::List { json: false } => {
            let titles = [(Sort::Machine, "Machines"), (Sort::Coating, "Coatings"), (Sort::Blank, "Blanks")];
            for (sort, title) in titles {
                writeln!(out, "{title}")?;
                for e in ENTRIES.iter().filter(|e| e.sort == sort) {
                    writeln!(out, "  {:<26} {}", e.id, about(e)?)?;
                }
            }
            writeln!(
                out,
                "\nAll values are assumed: common practice, measured on no machine. Burn a wedge to measure yours."
            )?;
            writeln!(
                out,
                "Make one your own: dotwright kit show poster-paint > my-paint.toml, change it, use --coating my-paint.toml"
            )?;
        }
        KitCommand::Show { name, json } => {
            let entry = ENTRIES.iter().find(|e| e.id == name).ok_or_else(|| {
                let ids: Vec<&'static str> = ENTRIES.iter().map(|e| e.id).collect();
                let near = did_you_mean(name, &ids);
                Failure::input(format!(
                    "the kit has no '{name}'{near}; 'dotwright kit list' shows all entries"
                ))
            })?;
            if *json {
                let value: toml::Value =
                    toml::from_str(entry.text).map_err(|e| Failure::input(e.message().to_string()))?;
                writeln!(out, "{}", serde_json::to_string_pretty(&value)?)?;
            } else {
                writeln!(out, "{}", entry.shown().trim_end())?;
            }
        }
    }
    Ok(0)
}

/// One line about a machine.
pub(crate) fn about_machine(m: &Machine) -> String {
    let (w, h) = m.bed();
    let (power, wavelength) = (m.laser.power, m.laser.wavelength_nm);
    let (along, across) = (m.laser.beam_along, m.laser.beam_across);
    if m.rotary.is_some() {
        text!("cli.kit.machine.rotary", power, wavelength, along, across, w, h)
    } else {
        text!("cli.kit.machine", power, wavelength, along, across, w, h)
    }
}

/// One line about a coating.
pub(crate) fn about_coating(c: &Coating) -> String {
    let (used_on, power) = (kit::spoken(&c.used_on), c.start.least_power);
    if c.marks_lighter() {
        text!("cli.kit.coating.lighter", used_on, power)
    } else {
        text!("cli.kit.coating.darker", used_on, power)
    }
}

/// One line about an entry.
pub(crate) fn about(e: &Entry) -> Result<String, Failure> {
    Ok(match e.sort {
        Sort::Machine => about_machine(&kit::machine(e.id)?),
        Sort::Coating => about_coating(&kit::coating(e.id)?),
        Sort::Blank => {
            let b = kit::blank(e.id)?;
            format!("{}, {}, margin {}; takes {}", b.about, b.shape, b.margin, b.coatings.join(", "))
        }
    })
}
