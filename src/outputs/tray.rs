//! The files of an order: programs and pictures of its trays, one ticket, one page for approval, the jig.

use serde::Serialize;

use super::{WriteError, write_program};
use crate::encode::sink::{Files, Sink};
use crate::findings::{Severity, motion};
use crate::parallel;
use crate::pipeline::tray::{TrayPiece, edges, jig, program};
use crate::progress::{Progress, Silent};
use crate::proof::canvas::Picture;
use crate::proof::kinds;
use crate::proof::report::{Report, SCHEMA_VERSION};
use crate::proof::tray::{PieceFacts, SharedFinding, ShownPiece, TrayFacts, from_above, pieces, ticket};

/// The most trays of an order.
pub const MOST_TRAYS: usize = 12;

/// The files of an order.
pub const TRAY: Files = Files {
    names: &[
        "ticket.html",
        "pieces.png",
        "jig.svg",
        "jig.nc",
        "jig-2.svg",
        "jig-2.nc",
        "jig-3.svg",
        "jig-3.nc",
        "jig-4.svg",
        "jig-4.nc",
        "jig-5.svg",
        "jig-5.nc",
        "jig-6.svg",
        "jig-6.nc",
        "jig-7.svg",
        "jig-7.nc",
        "jig-8.svg",
        "jig-8.nc",
        "jig-9.svg",
        "jig-9.nc",
        "jig-10.svg",
        "jig-10.nc",
        "jig-11.svg",
        "jig-11.nc",
        "jig-12.svg",
        "jig-12.nc",
        "report.json",
        "program-1.nc",
        "outline-1.nc",
        "tray-1.png",
        "program-2.nc",
        "outline-2.nc",
        "tray-2.png",
        "program-3.nc",
        "outline-3.nc",
        "tray-3.png",
        "program-4.nc",
        "outline-4.nc",
        "tray-4.png",
        "program-5.nc",
        "outline-5.nc",
        "tray-5.png",
        "program-6.nc",
        "outline-6.nc",
        "tray-6.png",
        "program-7.nc",
        "outline-7.nc",
        "tray-7.png",
        "program-8.nc",
        "outline-8.nc",
        "tray-8.png",
        "program-9.nc",
        "outline-9.nc",
        "tray-9.png",
        "program-10.nc",
        "outline-10.nc",
        "tray-10.png",
        "program-11.nc",
        "outline-11.nc",
        "tray-11.png",
        "program-12.nc",
        "outline-12.nc",
        "tray-12.png",
    ],
    never_beside: &[("wedge.toml", "a wedge"), ("job.toml", "a single job")],
};

/// A tray with its pieces in the order of marking.
pub struct Tray<'a> {
    /// Width and height, mm.
    pub sides: (f64, f64),
    /// Its pieces.
    pub laid: Vec<TrayPiece<'a>>,
    /// Where each comes from.
    pub of: Vec<Of>,
    /// The way of the head between them, from the corner and back, mm.
    pub between_mm: f64,
}

/// Where a piece of a tray comes from.
#[derive(Debug, Clone, Copy)]
pub struct Of {
    /// Its spot, from 1.
    pub spot: usize,
    /// Its row of the table.
    pub row: usize,
    /// Which of the order's pieces it is.
    pub kind: usize,
}

/// What an order comes to, for other programs.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct OrderReport {
    /// The version of these fields.
    pub schema_version: u32,
    /// What the order is called.
    pub title: String,
    /// Whether some pieces would go wrong, so that no program was written.
    pub stopped: bool,
    /// Its trays.
    pub trays: Vec<TrayReport>,
    /// All pieces, in the order of marking.
    pub pieces: Vec<PieceFacts>,
    /// What was assumed because nobody said, one sentence each.
    pub assumed: Vec<String>,
    /// Rows of the table that were left out, and why.
    pub skipped: Vec<String>,
}

/// A tray of the report.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct TrayReport {
    /// Width and height, mm.
    pub width_mm: f64,
    /// See `width_mm`.
    pub height_mm: f64,
    /// How long its program takes, s; absent where none was written, because some piece would go wrong or all of the tray's
    /// are marked already.
    pub time_s: Option<f64>,
    /// The way of the head between pieces, from the corner and back, mm.
    pub between_mm: f64,
}

/// How an order is written.
pub struct Asked<'a> {
    /// What it is called.
    pub title: &'a str,
    /// The number of the piece to begin with; those before it are marked already.
    pub from: usize,
    /// The S word and speed, mm/s, with which the edges of the blanks are marked on a card.
    pub card: Option<(u32, f64)>,
    /// Rows that were left out, and why.
    pub skipped: &'a [String],
    /// Whether a table tells the pieces apart: findings then name its row.
    pub by_row: bool,
}

/// Writes the files of an order.
///
/// # Errors
/// As [`super::write`]; a tray that does not lie on the bed.
pub fn write_trays(
    asked: &Asked<'_>,
    trays: &[Tray<'_>],
    output: &mut dyn Sink,
    progress: &dyn Progress,
) -> Result<OrderReport, WriteError> {
    let all: Vec<&TrayPiece<'_>> = trays.iter().flat_map(|t| &t.laid).collect();
    if all.is_empty() {
        return Err(WriteError::Words("an order without pieces".into()));
    }
    progress.begin("programs and pictures", 1.0)?;
    progress.expect(2 * trays.len() as u64 + 1);
    let jigs = jigs(trays);
    // The pictures are drawn while the programs are written.
    let (seconds, pictures) = parallel::both(
        || write_programs(asked, trays, &jigs, output, progress),
        || pictures(asked, trays, progress),
    );
    let (seconds, Pictures { trays: from_above, pieces }) = (seconds?, pictures?);
    let mut facts = Vec::new();
    for (i, (tray, (picture, png))) in trays.iter().zip(from_above).enumerate() {
        let number = i + 1;
        output.put(&format!("tray-{number}.png"), &png)?;
        let own_jig = jigs[i].clone();
        let on_card = asked.card.is_some() && own_jig.is_some();
        let done = tray.laid.iter().all(|l| l.number < asked.from);
        let of_tray = TrayFacts { number, sides: tray.sides, seconds: seconds[i], done, own_jig, on_card };
        facts.push((of_tray, picture));
    }
    output.put("pieces.png", &pieces)?;
    let list: Vec<PieceFacts> = trays
        .iter()
        .enumerate()
        .flat_map(|(i, t)| t.laid.iter().zip(&t.of).map(move |(one, of)| piece_facts(one, i + 1, of)))
        .collect();
    for (tray, name) in trays.iter().zip(&jigs) {
        if let Some(name) = name {
            output.put(&format!("{name}.svg"), jig(tray.sides, &tray.laid).as_bytes())?;
        }
    }
    let known: Vec<(usize, &Report)> = all.iter().map(|one| (one.number, &one.piece.report)).collect();
    let report = OrderReport {
        schema_version: SCHEMA_VERSION,
        title: asked.title.to_string(),
        stopped: facts.iter().any(|(t, _)| t.seconds.is_none() && !t.done),
        trays: facts
            .iter()
            .zip(trays)
            .map(|((t, _), tray)| TrayReport {
                width_mm: t.sides.0,
                height_mm: t.sides.1,
                time_s: t.seconds,
                between_mm: tray.between_mm,
            })
            .collect(),
        pieces: list,
        assumed: kinds::assumed(&known),
        skipped: asked.skipped.to_vec(),
    };
    let json = serde_json::to_string_pretty(&report).map_err(|e| WriteError::Words(e.to_string()))?;
    output.put("report.json", json.as_bytes())?;
    let rows: Vec<usize> = trays.iter().flat_map(|t| t.of.iter().map(|of| of.row)).collect();
    let common = common(&all, asked.by_row.then_some(&rows));
    let page = ticket(asked.title, &known, &facts, &report.pieces, &common, asked.skipped)?;
    output.put("ticket.html", page.as_bytes())?;
    progress.go_on(1)?;
    Ok(report)
}

/// Writes the programs of the trays; how long each takes, s, where there is one.
fn write_programs(
    asked: &Asked<'_>,
    trays: &[Tray<'_>],
    jigs: &[Option<String>],
    output: &mut dyn Sink,
    progress: &dyn Progress,
) -> Result<Vec<Option<f64>>, WriteError> {
    let burns = trays.iter().flat_map(|t| &t.laid).all(|one| one.piece.burns);
    let mut all = Vec::with_capacity(trays.len());
    for (i, tray) in trays.iter().enumerate() {
        let number = i + 1;
        let mut seconds = None;
        let left: Vec<TrayPiece<'_>> = tray.laid.iter().filter(|l| l.number >= asked.from).cloned().collect();
        let to_write = if burns { program(asked.title, tray.sides, &left)? } else { None };
        if let Some(program) = to_write {
            // What a piece leaves the bed by on its own was accepted, and that far the tray may.
            let overhang =
                left.iter().map(|l| motion::overhang(&l.piece.report.findings)).fold(0.0, f64::max);
            let name = format!("program-{number}.nc");
            let cost = write_program(&name, &program, None, overhang, output, &Silent)?;
            seconds = Some(cost.estimate.times.total());
            let walk = edges(asked.title, &program.limits, &left, None);
            write_program(&format!("outline-{number}.nc"), &walk, None, overhang, output, &Silent)?;
            if let (Some(name), Some(_)) = (&jigs[i], asked.card) {
                let marked = edges(asked.title, &program.limits, &tray.laid, asked.card);
                write_program(&format!("{name}.nc"), &marked, None, overhang, output, &Silent)?;
            }
        }
        progress.go_on(1)?;
        all.push(seconds);
    }
    Ok(all)
}

/// The pictures of an order.
struct Pictures {
    /// Each tray from above, and as PNG.
    trays: Vec<(Picture, Vec<u8>)>,
    /// The page for approval, as PNG.
    pieces: Vec<u8>,
}

fn pictures(asked: &Asked<'_>, trays: &[Tray<'_>], progress: &dyn Progress) -> Result<Pictures, WriteError> {
    let mut drawn = Vec::with_capacity(trays.len());
    let mut shown = Vec::new();
    for tray in trays {
        let on_tray: Vec<ShownPiece<'_>> = tray.laid.iter().map(as_shown).collect();
        let picture = from_above(tray.sides, &on_tray)?;
        let png = picture.to_png(None)?;
        drawn.push((picture, png));
        shown.extend(on_tray);
        progress.go_on(1)?;
    }
    // For approval in the order of the table, in which the customer looks for them.
    let mut approval: Vec<(usize, ShownPiece<'_>)> =
        trays.iter().flat_map(|t| t.of.iter().map(|of| of.row)).zip(shown).collect();
    approval.sort_by_key(|(row, one)| (*row, one.number));
    let approval: Vec<ShownPiece<'_>> = approval.into_iter().map(|(_, one)| one).collect();
    Ok(Pictures { trays: drawn, pieces: pieces(asked.title, &approval)?.to_png(None)? })
}

fn as_shown<'a>(one: &TrayPiece<'a>) -> ShownPiece<'a> {
    ShownPiece {
        number: one.number,
        name: one.name,
        picture: &one.piece.picture,
        layout: &one.piece.layout,
        corner: one.corner,
        sides: one.piece.sides(),
    }
}

fn piece_facts(one: &TrayPiece<'_>, tray: usize, of: &Of) -> PieceFacts {
    let report = &one.piece.report;
    let serious = report.findings.iter().filter(|f| f.severity > Severity::Note);
    PieceFacts {
        number: one.number,
        tray,
        spot: of.spot,
        name: one.name.to_string(),
        row: of.row,
        blank: report.blank.shape.clone(),
        left_mm: one.corner.0,
        bottom_mm: one.corner.1,
        time_s: report.times.as_ref().map(|t| t.total_s),
        findings: serious.map(|f| f.name.to_string()).collect(),
    }
}

/// What the jig of each tray is called; `None` for a tray whose blanks all lie in the jig of an earlier one.
fn jigs(trays: &[Tray<'_>]) -> Vec<Option<String>> {
    let edges = |t: &Tray<'_>| -> Vec<(String, String)> {
        t.laid.iter().map(|l| (l.piece.plan.blank.shape.to_string(), format!("{:?}", l.corner))).collect()
    };
    let all: Vec<Vec<(String, String)>> = trays.iter().map(edges).collect();
    let serves = |a: &[(String, String)], b: &[(String, String)]| b.iter().all(|edge| a.contains(edge));
    (0..trays.len())
        .map(|i| match i {
            0 => Some("jig".to_string()),
            _ if all[..i].iter().any(|before| serves(before, &all[i])) => None,
            _ => Some(format!("jig-{}", i + 1)),
        })
        .collect()
}

/// The findings of all pieces, each name once, the most serious first. What is not to be said of all of them names the row
/// of the table, where there is one.
fn common(all: &[&TrayPiece<'_>], rows: Option<&Vec<usize>>) -> Vec<SharedFinding> {
    let mut found: Vec<SharedFinding> = Vec::new();
    for one in all {
        for f in &one.piece.report.findings {
            match found.iter_mut().find(|c| c.name == f.name && c.severity == f.severity) {
                Some(c) => c.pieces.push(one.number),
                None => found.push(SharedFinding {
                    severity: f.severity,
                    name: f.name,
                    message: f.message.to_string(),
                    pieces: vec![one.number],
                }),
            }
        }
    }
    for c in &mut found {
        c.pieces.sort_unstable();
        c.pieces.dedup();
        let first = c.pieces.first().and_then(|first| all.iter().position(|one| one.number == *first));
        if let (Some(rows), Some(first)) = (rows, first)
            && c.pieces.len() < all.len()
        {
            c.message = format!("row {}: {}", rows[first], c.message);
        }
        if c.pieces.len() > 1 && c.severity > Severity::Note {
            c.message = format!("the first of {} pieces: {}", c.pieces.len(), c.message);
        }
    }
    found.sort_by_key(|c| std::cmp::Reverse(c.severity));
    found
}
