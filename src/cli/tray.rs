//! `dotwright tray`: an order, a piece at each spot.

use std::collections::HashMap;
use std::io::Write;
use std::path::{Path, PathBuf};

use clap::Args;

use super::bar::Bar;
use super::failure::Failure;
use super::options::{BlankOptions, DrawingOptions};
use super::out::{Out, say};
use super::sources::Sources;
use super::target::OutOptions;
use super::terminal::{FOLLOW, MEND};
use crate::encode::sink::Sink;
use crate::findings::art as of_art;
use crate::job::{Brief, file_name};
use crate::order::{Item, Order, Outlined, Spots, TableRow, route, travel};
use crate::outputs::{self, Asked, MOST_TRAYS, OrderReport, Tray};
use crate::pipeline::SharedLayers;
use crate::pipeline::tray::{Piece, TrayPiece};
use crate::placement::Along;
use crate::progress::{Portion, Progress, Within};
use crate::screen::remembered::Remembering;
use crate::units::{Mm, MmPerS, Share, duration};
use crate::{parallel, pipeline};

/// Longest side of a piece's picture, pixels: large enough for a page of four beside each other.
const PICTURE_SIDE: usize = 560;

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
    #[arg(long, value_name = "NUMBER", default_value_t = 1, value_parser = clap::value_parser!(u32).range(1..))]
    pub from: u32,
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

/// A row that cannot be used.
#[derive(Debug, Clone)]
pub(crate) struct Bad {
    /// Its number.
    pub row: usize,
    /// Why, in a sentence.
    pub why: String,
}

/// Runs `tray`.
pub fn run(args: &TrayArgs, out: &mut Out) -> Result<u8, Failure> {
    let mut order = Order::read(&args.order)?;
    if args.grid.is_some() {
        order.tray.grid.clone_from(&args.grid);
        order.tray.spots.clear();
        order.tray.outlines = None;
    }
    order.tray.gap = args.gap.or(order.tray.gap);
    let title = title(&order);
    let mut bad = Vec::new();
    let mut items = Vec::new();
    for item in crate::order::items(&order, &args.order)? {
        match item {
            Ok(item) => items.push(item),
            Err(crate::order::OrderError::Row(row, why)) => bad.push(Bad { row, why }),
            Err(e) => return Err(e.into()),
        }
    }
    refuse(args, &bad)?;
    if let Some(first) = bad.first().filter(|_| items.is_empty()) {
        return Err(none_left(first));
    }
    let drawn = order.outlined(&args.order)?;
    let read = files(args, &order, &items);
    let read: Vec<&Path> = read.iter().map(PathBuf::as_path).collect();
    let mut output = args.out.begin(&outputs::TRAY, &read)?;

    let bar = Bar::new(args.quiet);
    let made = made(args, &items, &Portion::new(&bar, 0.8));
    let written = made.and_then(|(pieces, of_item, worse)| {
        bad.extend(worse);
        refuse(args, &bad)?;
        let skipped: Vec<String> = bad.iter().map(|b| format!("row {}: {}", b.row, b.why)).collect();
        write(
            args,
            (&order, drawn.as_ref()),
            (&title, &skipped),
            (&items, &pieces, &of_item),
            &mut output,
            &Portion::new(&bar, 0.2),
        )
    });
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
        say(
            "no scan program was written, because some pieces would go wrong; ticket.html says which and why",
        );
    }
    Ok(if stopped { 3 } else { 0 })
}

/// What an order is called.
pub(crate) fn title(order: &Order) -> String {
    let title = order.title.clone().unwrap_or_default();
    TableRow { number: 1, ..TableRow::default() }.fill(&title).unwrap_or(title)
}

/// Ends the work at a bad row, unless they are to be left out.
fn refuse(args: &TrayArgs, bad: &[Bad]) -> Result<(), Failure> {
    let Some(first) = bad.first().filter(|_| !args.skip_bad_rows) else { return Ok(()) };
    let others = match bad.len() {
        1 => String::new(),
        n => format!("; {} more rows cannot be used either", n - 1),
    };
    Err(Failure::input(format!(
        "row {} of the table: {}{others}; mend them, or say --skip-bad-rows to go on without",
        first.row, first.why
    )))
}

/// That all rows were left out, with the first of them.
fn none_left(first: &Bad) -> Failure {
    Failure::input(format!("row {} of the table: {}; no row can be used", first.row, first.why))
}

/// The files that the run reads, none of which is replaced.
fn files(args: &TrayArgs, order: &Order, items: &[Item]) -> Vec<PathBuf> {
    let named = [&order.table, &order.tray.outlines].into_iter().flatten();
    let named = named.map(|t| Order::beside(&args.order, t));
    let art = items.iter().flat_map(|i| i.job.layers.iter().map(|l| &l.file).chain([&i.job.art.file]));
    let art = art.flatten().map(|f| file_name::path(f));
    [args.order.clone()].into_iter().chain(named).chain(art).collect()
}

/// The pieces, each kind once; which of them each item is; the rows that cannot be used.
pub(crate) type Made = (Vec<Piece>, Vec<Option<usize>>, Vec<Bad>);

/// The pieces, each kind once; which of them each item is; the rows that cannot be used.
pub(crate) fn made(args: &TrayArgs, items: &[Item], progress: &dyn Progress) -> Result<Made, Failure> {
    progress.begin("pieces", 1.0)?;
    let _remembering = Remembering::begin();
    let mut kinds: Vec<&Item> = Vec::new();
    let mut known: HashMap<(String, Option<String>), usize> = HashMap::new();
    let mut of_item = Vec::with_capacity(items.len());
    for item in items {
        let key = (item.job.to_toml()?, item.blank.clone());
        let kind = *known.entry(key).or_insert_with(|| {
            kinds.push(item);
            kinds.len() - 1
        });
        of_item.push(kind);
    }
    progress.expect(kinds.len() as u64);
    let common = SharedLayers::default();
    let results = parallel::map(kinds.len(), |i| {
        let piece = piece(args, kinds[i], &common, &Within(progress));
        let go_on = progress.go_on(1);
        piece.and_then(|p| Ok(go_on.map(|()| p)?))
    });
    progress.go_on(0)?;
    let (mut pieces, mut place, mut bad) = (Vec::new(), Vec::new(), Vec::new());
    for result in results {
        place.push(result.map(|piece| {
            pieces.push(piece);
            pieces.len() - 1
        }));
    }
    let of_item = items
        .iter()
        .zip(of_item)
        .map(|(item, kind)| match &place[kind] {
            Ok(piece) => Some(*piece),
            Err(e) => {
                bad.push(Bad { row: item.row, why: e.sentence.clone() });
                None
            }
        })
        .collect();
    if pieces.is_empty()
        && let Some(first) = bad.first()
    {
        return Err(none_left(first));
    }
    Ok((pieces, of_item, bad))
}

/// One piece carried through.
fn piece(
    args: &TrayArgs,
    item: &Item,
    common: &SharedLayers,
    progress: &dyn Progress,
) -> Result<Piece, Failure> {
    let mut job = item.job.clone();
    if let Some(name) = &item.blank {
        let asked = BlankOptions { blank: Some(name.clone()), ..BlankOptions::default() }.asked()?;
        job.blank = job.blank.over(asked);
    }
    if job.art.file.is_none() && job.layers.is_empty() {
        return Err(Failure::input("there is nothing on the piece: it has no art and no layer"));
    }
    let mut brief = Brief::read(job)?;
    let (sources, plan) = Sources::settled(&mut brief, args.out.folder())?;
    if plan.machine.turned.is_some() {
        return Err(Failure::input(
            "a round piece lies on no tray: it is turned by the rotary, one piece at a time; use prepare for it",
        ));
    }
    let opened = sources.opened(&plan, &args.drawing.opening(&plan)?, Some(common))?;
    let outcome = pipeline::run_shown(&plan, opened.shown(), &opened.name(), progress)?;
    let mut piece = Piece::new(plan, outcome, PICTURE_SIDE)?;
    piece.report.findings.extend(item.unlettered.then(of_art::unlettered));
    Ok(piece)
}

/// Trays, and the way of the head between the pieces of each, mm.
pub(crate) type Trays<'a> = (Vec<Tray<'a>>, Vec<f64>);

/// Lays the pieces on trays.
pub(crate) fn laid<'a>(
    args: &TrayArgs,
    (order, drawn): (&Order, Option<&Outlined>),
    (items, pieces, of_item): (&'a [Item], &'a [Piece], &[Option<usize>]),
) -> Result<Trays<'a>, Failure> {
    let far = |f: fn(&Piece) -> f64| pieces.iter().map(f).fold(0.0, f64::max);
    let spot = (far(|p| p.sides().0), far(|p| p.sides().1));
    let count: usize = items.iter().filter_map(|i| i.copies).sum();
    let spots = Spots::new(&order.tray, drawn, spot, count)?;
    let mut wanted: Vec<(&Item, &Piece)> = Vec::new();
    for (item, piece) in items.iter().zip(of_item).filter_map(|(item, p)| Some((item, &pieces[(*p)?]))) {
        let copies = item.copies.unwrap_or(spots.spots.len());
        wanted.extend(std::iter::repeat_n((item, piece), copies));
    }
    if wanted.is_empty() {
        return Err(Failure::input("the order has no piece; every row that can be used asks for 0 copies"));
    }
    let trays = wanted.len().div_ceil(spots.spots.len());
    if trays > MOST_TRAYS {
        return Err(Failure::input(format!(
            "{} pieces on trays of {} spots make {trays} trays; it is at most {MOST_TRAYS}, so split the order or use a larger grid",
            wanted.len(),
            spots.spots.len()
        )));
    }
    if args.from as usize > wanted.len() {
        return Err(Failure::input(format!(
            "there is no piece {}: the order has {}",
            args.from,
            wanted.len()
        )));
    }
    let mut all = Vec::new();
    let mut between = Vec::new();
    let mut number = 1;
    for group in wanted.chunks(spots.spots.len()) {
        let corners: Vec<(f64, f64)> = group
            .iter()
            .enumerate()
            .map(|(i, (item, piece))| spots.corner(i, piece.sides(), &item.name))
            .collect::<Result<_, _>>()?;
        let stops = group
            .iter()
            .zip(&corners)
            .map(|((_, piece), &corner)| piece.stop(spots.tray, corner))
            .collect::<Result<Vec<_>, _>>()?;
        let order = route(&stops);
        between.push(travel(&stops, &order));
        let mut tray = Tray { sides: spots.tray, laid: Vec::new(), of: Vec::new() };
        for &i in &order {
            let (item, piece) = group[i];
            tray.laid.push(TrayPiece { number, name: &item.name, piece, corner: corners[i] });
            tray.of.push((i + 1, item.row));
            number += 1;
        }
        all.push(tray);
    }
    Ok((all, between))
}

/// Lays the pieces on trays and writes all files.
pub(crate) fn write(
    args: &TrayArgs,
    (order, drawn): (&Order, Option<&Outlined>),
    (title, skipped): (&str, &[String]),
    (items, pieces, of_item): (&[Item], &[Piece], &[Option<usize>]),
    output: &mut dyn Sink,
    progress: &dyn Progress,
) -> Result<OrderReport, Failure> {
    let (all, between) = laid(args, (order, drawn), (items, pieces, of_item))?;
    let from = args.from as usize;
    let card = match (args.jig, pieces.first()) {
        (Some((power, speed)), Some(piece)) => {
            let machine = &piece.plan.machine;
            let (x, y) = machine.axes(Along::X);
            let top = MmPerS(x.top_speed.min(y.top_speed));
            if speed.0 > top.0 {
                return Err(Failure::input(format!(
                    "the jig's speed of {speed} is out of range; {} moves at up to {top} both ways",
                    machine.name
                )));
            }
            Some(((power.0 * machine.program.full_scale_s).round().max(1.0) as u32, speed.0))
        }
        _ => None,
    };
    let asked = Asked { title, from, card, skipped, by_row: order.table.is_some() };
    Ok(outputs::write_trays(&asked, &all, &between, output, progress)?)
}

/// What was decided, what to look at, what to do.
fn summary(out: &mut Out, report: &OrderReport, args: &TrayArgs) -> Result<(), Failure> {
    let (count, trays) = (report.pieces.len(), report.trays.len());
    let plural = |n: usize| if n == 1 { "" } else { "s" };
    let time: f64 = report.trays.iter().filter_map(|t| t.time_s).sum();
    let (w, h) = report.trays.first().map_or((0.0, 0.0), |t| (t.width_mm, t.height_mm));
    let marking = if report.stopped { String::new() } else { format!("; marking takes {}", duration(time)) };
    writeln!(
        out,
        "{}: {count} piece{} on {trays} tray{} of {} x {} mm{marking}",
        report.title,
        plural(count),
        plural(trays),
        crate::units::short(w, 1),
        crate::units::short(h, 1)
    )?;
    // What is marked already need not be looked at.
    let to_mark: Vec<_> = report.pieces.iter().filter(|p| p.number >= args.from as usize).collect();
    let mut names: Vec<&str> = to_mark.iter().flat_map(|p| &p.findings).map(String::as_str).collect();
    names.sort_unstable();
    names.dedup();
    for name in names {
        let of: Vec<usize> =
            to_mark.iter().filter(|p| p.findings.iter().any(|f| f == name)).map(|p| p.number).collect();
        writeln!(out, "look at {name}: piece{} {}", plural(of.len()), crate::proof::tray::listed(&of))?;
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
