//! The command line as it is written: one command a file.

use clap::{Parser, Subcommand};

#[cfg(feature = "desk")]
use super::desk;
use super::{advise, compare, extras, kit, prepare, proof, replay, screens, tray, wedge};

/// Makes pictures and logos ready to be marked on coated blanks by a small laser
///
/// Places the art on the blank, turns its tones into dots the beam can make, forecasts how the burn will look,
/// says what would go wrong and how to mend it, and writes the files to work from.
#[derive(Debug, Parser)]
#[command(name = "dotwright", version, max_term_width = 110, after_help = AFTER_HELP)]
pub struct Line {
    /// What to do.
    #[command(subcommand)]
    pub command: Command,
}

const AFTER_HELP: &str = "\
Lasers blind, burn and make fumes. Wear eyewear made for the laser's wavelength, keep the enclosure closed (glass and \
    metal mirror the beam), never leave a burn alone, run the extraction, never mark PVC or vinyl, and follow the laser's \
    manual and the rules of your place.";

/// What to do.
#[derive(Debug, Subcommand)]
pub enum Command {
    /// Make art ready to be marked: dots, proof, ticket and job file
    Prepare(Box<prepare::PrepareArgs>),
    /// Open the desk: a page on this machine where you choose by looking
    #[cfg(feature = "desk")]
    Desk(desk::DeskArgs),
    /// Lay the pieces of an order on trays: one scan program, one ticket, a jig
    Tray(Box<tray::TrayArgs>),
    /// Compare screens and densities on a contact sheet, forecast under your process
    Compare(Box<compare::CompareArgs>),
    /// Forecast and findings of any 1-bit picture, whatever made it: proof.png, density.png, report.json
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
    /// Print all texts of the desk's page as a file, to be put into another language for `desk --texts`
    Texts,
    /// Print the completions for a shell
    Completions(extras::CompletionsArgs),
    /// Write the manual pages into a folder
    Man(extras::ManArgs),
}
