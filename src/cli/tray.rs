//! `dotwright tray`: an order, a piece at each spot.

use std::io::Write;
use std::path::{Path, PathBuf};

use clap::Args;

use super::bar::Bar;
use super::failure::Failure;
use super::options::DrawingOptions;
use super::order::{Request, Rows};
use super::out::{Out, say};
use super::target::OutOptions;
use super::terminal::{FOLLOW, MEND};
use crate::findings::{STOPS, Severity};
use crate::job::acceptance::Acceptance;
use crate::outputs::{self, Now, OrderReport};
use crate::progress::Portion;
use crate::proof::kinds::numbered;
use crate::units::{Mm, MmPerS, Share, duration};

/// Arguments of `tray`.
#[derive(Debug, Args)]
pub struct TrayArgs {
    /// The order, or a job file for copies of one piece (TOML)
    #[arg(value_name = "ORDER")]
    pub order: PathBuf,
    #[allow(missing_docs)]
    #[command(flatten)]
    pub out: OutOptions,
    /// Spots in columns and rows, as in 4x5, each from 1 to 100 [default: the order's, or one row]
    #[arg(long, value_name = "COLUMNSxROWS")]
    pub grid: Option<String>,
    /// Between the blanks and around them, 0mm to 200mm [default: the order's, or 5mm]
    #[arg(long, value_name = "MM")]
    pub gap: Option<Mm>,
    /// Begin with this piece, by its number on the ticket, 1 to the last: those before it are marked already
    #[arg(long, value_name = "NUMBER", default_value_t = 1, value_parser = parse_number)]
    pub from: u32,
    /// Mark these pieces alone, by their numbers on the ticket, 1 to the last, as in 14 or 3,14: what was spoilt is made again
    #[arg(long, value_name = "NUMBERS", value_delimiter = ',', conflicts_with = "from", value_parser = parse_number)]
    pub only: Vec<u32>,
    /// Write the programs in spite of this finding of severity stop: over-burn, under-burn, link-starved, edge-dwell, short-sighted, off-bed, coarse-power or faint; may be repeated
    ///
    /// It holds for this run alone: the order does not keep it.
    #[arg(long, value_name = "FINDING", value_parser = clap::builder::PossibleValuesParser::new(STOPS.iter().copied()))]
    pub accept: Vec<String>,
    /// Leave out rows of the table that cannot be used, and say which
    #[arg(long)]
    pub skip_bad_rows: bool,
    /// Also jig.nc, which marks the edges of the blanks on a card at this power and speed: 20%,50mm/s [default: off]
    ///
    /// The power is above 0% and at most 100%, the speed from 5mm/s to the machine's top speed.
    #[arg(long, value_name = "POWER,SPEED", value_parser = parse_card)]
    pub jig: Option<(Share, MmPerS)>,
    /// Print the report as JSON instead of the summary
    #[arg(long)]
    pub json: bool,
    /// Print nothing but errors
    #[arg(long, short)]
    pub quiet: bool,
    #[allow(missing_docs)]
    #[command(flatten)]
    pub drawing: DrawingOptions,
}

/// A piece's number, as its ticket has it.
fn parse_number(text: &str) -> Result<u32, String> {
    match text.trim().parse() {
        Ok(0) => Err("pieces are counted from 1".into()),
        Ok(number) => Ok(number),
        Err(_) => {
            Err("it is no piece's number; one is written as in 14, several after --only as in 3,14".into())
        }
    }
}

fn parse_card(text: &str) -> Result<(Share, MmPerS), String> {
    let wrong = || format!("'{text}' is no power and speed; write for example 20%,50mm/s");
    let (power, speed) = text.split_once(',').ok_or_else(wrong)?;
    let power: Share = power.trim().parse().map_err(|_| wrong())?;
    if !(power.0 > 0.0 && power.0 <= 1.0) {
        return Err(format!("a power of {power} marks no card; it is above 0% and at most 100%"));
    }
    let speed: MmPerS = speed.trim().parse().map_err(|_| wrong())?;
    if speed.0.is_nan() || speed.0 < LEAST_CARD_SPEED {
        return Err(format!(
            "a speed of {speed} would set a card on fire; it is {} or more",
            MmPerS(LEAST_CARD_SPEED)
        ));
    }
    Ok((power, speed))
}

/// A beam that moves slower than this burns through a card instead of marking it, mm/s (own judgement).
const LEAST_CARD_SPEED: f64 = 5.0;

impl TrayArgs {
    /// What is asked of the order.
    fn request(&self) -> Request {
        Request {
            order: self.order.clone(),
            folder: self.out.folder().to_path_buf(),
            grid: self.grid.clone(),
            gap: self.gap,
            now: match self.only.as_slice() {
                [] => Now::From(self.from as usize),
                these => Now::Only(these.iter().map(|n| *n as usize).collect()),
            },
            skip_bad_rows: self.skip_bad_rows,
            accept: self.accept.iter().map(Acceptance::now).collect(),
            jig: self.jig,
            drawing_time: self.drawing.drawing_time,
        }
    }
}

/// Runs `tray`.
pub fn run(args: &TrayArgs, out: &mut Out) -> Result<u8, Failure> {
    let rows = Rows::read(args.request())?.ready()?;
    let read = rows.files();
    let read: Vec<&Path> = read.iter().map(PathBuf::as_path).collect();
    let mut output = args.out.begin(&outputs::TRAY, &read)?;

    let bar = Bar::new(args.quiet);
    let carried = rows.carried(&Portion::new(&bar, 0.8));
    let written = carried.and_then(|order| order.write(&mut output, &Portion::new(&bar, 0.2)));
    drop(bar);
    let report = written?;
    output.commit()?;
    if args.json {
        writeln!(out, "{}", serde_json::to_string_pretty(&report)?)?;
    } else if !args.quiet {
        summary(out, &report, args)?;
    }
    let stopped = report.stopped;
    if stopped && !args.quiet {
        let stops = report.findings.iter().filter(|f| f.severity == Severity::Stop);
        let accept: Vec<String> = stops.map(|f| format!("--accept {}", f.name)).collect();
        say(&format!(
            "no scan program was written, because some pieces would go wrong; ticket.html says which and why; mend it, or say {}",
            accept.join(" ")
        ));
    }
    Ok(if stopped { 3 } else { 0 })
}

/// What was decided, what to look at, what to do.
fn summary(out: &mut Out, report: &OrderReport, args: &TrayArgs) -> Result<(), Failure> {
    let (count, trays) = (report.pieces.len(), report.trays.len());
    let plural = |n: usize| if n == 1 { "" } else { "s" };
    let time: f64 = report.trays.iter().filter_map(|t| t.time_s).sum();
    let (w, h) = report.trays.first().map_or((0.0, 0.0), |t| (t.width_mm, t.height_mm));
    // What is marked already need not be looked at.
    let to_mark: Vec<_> = report.pieces.iter().filter(|p| p.to_mark).collect();
    let numbers: Vec<usize> = to_mark.iter().map(|p| p.number).collect();
    let what = report.not_now.as_ref().map(|_| format!("{} ", numbered(&numbers))).unwrap_or_default();
    let marking =
        if report.stopped { String::new() } else { format!("; marking {what}takes {}", duration(time)) };
    writeln!(
        out,
        "{}: {count} piece{} on {trays} tray{} of {} x {} mm{marking}",
        report.title,
        plural(count),
        plural(trays),
        crate::units::short(w, 1),
        crate::units::short(h, 1)
    )?;
    if let Some(not_now) = &report.not_now {
        writeln!(out, "{not_now}")?;
    }
    let mut names: Vec<&str> = to_mark.iter().flat_map(|p| &p.findings).map(String::as_str).collect();
    names.sort_unstable();
    names.dedup();
    for name in names {
        let of: Vec<usize> =
            to_mark.iter().filter(|p| p.findings.iter().any(|f| f == name)).map(|p| p.number).collect();
        writeln!(out, "look at {name}: piece{} {}", plural(of.len()), crate::proof::tray::listed(&of))?;
        let found = report.findings.iter().find(|f| f.name == name && f.severity > Severity::Note);
        if let Some(remedy) = found.and_then(|f| f.remedies.first()) {
            writeln!(out, "    -> {}{}", remedy.text, if remedy.verified { " (checked)" } else { "" })?;
        }
    }
    // As 'prepare' does of the blank; what a tray assumes of its coating stands nowhere else on the terminal.
    let choices = ["the blank is", "the coating is"];
    for assumed in report.assumed.iter().filter(|a| choices.iter().any(|c| a.contains(c))) {
        writeln!(out, "{assumed}")?;
    }
    for skipped in &report.skipped {
        writeln!(out, "left out: {skipped}")?;
    }
    writeln!(out, "written to {}; {}", args.out, if report.stopped { MEND } else { FOLLOW })?;
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn pieces_are_named_by_their_numbers() {
        assert_eq!(parse_number(" 14"), Ok(14));
        assert_eq!(parse_number("0").unwrap_err(), "pieces are counted from 1");
        for text in ["3 14", "-1", "1.5", "", "two"] {
            assert!(parse_number(text).unwrap_err().contains("as in 3,14"), "{text}");
        }
    }

    #[test]
    fn a_jig_is_marked_at_a_power_and_a_speed_that_do_not_burn_the_card() {
        assert_eq!(parse_card("20%,50mm/s").unwrap(), (Share(0.2), MmPerS(50.0)));
        for (text, said) in [
            ("20%,0mm/s", "set a card on fire"),
            ("20%,0.0001mm/s", "set a card on fire"),
            ("0%,10mm/s", "marks no card"),
            ("120%,10mm/s", "no power and speed"),
            ("20%", "no power and speed"),
        ] {
            assert!(parse_card(text).unwrap_err().contains(said), "{text}");
        }
    }
}
