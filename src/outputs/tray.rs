//! The files of an order: programs and pictures of its trays, one ticket, one page for approval, the jig.

mod found;

use serde::Serialize;

use super::{WriteError, write_program};
use crate::encode::sink::{Files, Sink};
use crate::findings::{Severity, motion};
use crate::job::acceptance::Acceptance;
use crate::parallel;
use crate::pipeline::tray::{TrayPiece, edges, jig, program};
use crate::progress::{Progress, Silent};
use crate::proof::canvas::Picture;
use crate::proof::kinds;
use crate::proof::report::{Report, SCHEMA_VERSION};
use crate::proof::tray::{
    Left, PieceFacts, SharedFinding, ShownPiece, TrayFacts, from_above, pieces, ticket,
};
use crate::said::Said;
use crate::texts::text;

#[cfg(feature = "desk")]
pub(crate) use found::{OfPieces, each_remedy, is_of_one_picture};

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
    /// Which pieces are not marked now and why, in a sentence; absent where all are.
    pub not_now: Option<String>,
    /// What was found at the pieces that are marked, each thing once.
    pub findings: Vec<SharedFinding>,
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

/// Which pieces of an order are marked now, by their numbers.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Now {
    /// This one and all after it; those before are marked already.
    From(usize),
    /// These alone.
    Only(Vec<usize>),
}

impl Default for Now {
    fn default() -> Now {
        Now::From(1)
    }
}

impl Now {
    /// Whether the piece of this number is marked.
    pub fn marks(&self, number: usize) -> bool {
        match self {
            Now::From(first) => number >= *first,
            Now::Only(these) => these.contains(&number),
        }
    }

    /// The highest number that it names.
    pub fn highest(&self) -> usize {
        match self {
            Now::From(first) => *first,
            Now::Only(these) => these.iter().copied().max().unwrap_or(0),
        }
    }

    /// What is said of pieces that are not marked, where there are such; `called` is what a piece is called, by its number.
    /// Numbers hang on the rows: the names tell whether the pieces that lie there burnt are meant.
    fn left(&self, count: usize, called: impl Fn(usize) -> String) -> Option<Left> {
        match self {
            Now::From(0 | 1) => None,
            Now::From(first) => {
                let last = first - 1;
                let says = match last {
                    1 => text!("outputs.left.one", name = called(1)),
                    2 => text!("outputs.left.two", first = called(1), second = called(2)),
                    _ => text!("outputs.left.many", last, first_name = called(1), last_name = called(last)),
                };
                Some(Left { says, word: text!("outputs.left.already") })
            }
            Now::Only(_) => {
                let these: Vec<usize> = (1..=count).filter(|n| self.marks(*n)).collect();
                let named: Vec<String> = these.iter().map(|n| format!("{n} ({})", called(*n))).collect();
                let says = match named.as_slice() {
                    [all @ .., last] if !all.is_empty() => {
                        text!("outputs.left.only.many", others = all.join(", "), last)
                    }
                    _ => text!("outputs.left.only.one", piece = named.concat()),
                };
                (these.len() < count).then_some(Left { says, word: text!("outputs.left.as-it-is") })
            }
        }
    }
}

/// How an order is written.
pub struct Asked<'a> {
    /// What it is called.
    pub title: &'a str,
    /// Which pieces are marked.
    pub now: &'a Now,
    /// The S word and speed, mm/s, with which the edges of the blanks are marked on a card.
    pub card: Option<(u32, f64)>,
    /// The drawing that names the spots, where the jig is there already.
    pub drawn: Option<&'a str>,
    /// Rows that were left out, and why.
    pub skipped: &'a [String],
    /// Whether a table tells the pieces apart: findings then name its row.
    pub by_row: bool,
    /// Whether its file is that of a job: keys of the piece then stand in no table `piece`.
    pub is_job: bool,
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
    let all: Vec<(&TrayPiece<'_>, usize)> =
        trays.iter().flat_map(|t| t.laid.iter().zip(t.of.iter().map(|of| of.row))).collect();
    if all.is_empty() {
        return Err(WriteError::Words(text!("outputs.why.no-pieces").into()));
    }
    progress.begin(text!("outputs.stage.tray"), 1.0)?;
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
        let (jig, on_card) = (jigs[i].clone(), asked.card.is_some());
        let done = !tray.laid.iter().any(|l| asked.now.marks(l.number));
        let (sides, seconds, drawn) = (tray.sides, seconds[i], asked.drawn.map(str::to_string));
        let zero = tray.laid.first().map_or((0.0, 0.0), |l| l.piece.zero());
        let of_tray = TrayFacts { number, sides, zero, seconds, done, jig, drawn, on_card };
        facts.push((of_tray, picture));
    }
    output.put("pieces.png", &pieces)?;
    let list: Vec<PieceFacts> = trays
        .iter()
        .enumerate()
        .flat_map(|(i, t)| t.laid.iter().zip(&t.of).map(move |(one, of)| (one, i + 1, of)))
        .map(|(one, tray, of)| piece_facts(one, tray, of, asked.now.marks(one.number)))
        .collect();
    for (i, (tray, name)) in trays.iter().zip(&jigs).enumerate() {
        if !jigs[..i].contains(name) {
            output.put(&format!("{name}.svg"), jig(tray.sides, &tray.laid).as_bytes())?;
        }
    }
    let called = |number: usize| match all.iter().find(|(one, _)| one.number == number) {
        Some((one, row)) if asked.by_row => text!("outputs.left.called", name = one.name, row),
        Some((one, _)) => format!("'{}'", one.name),
        None => String::new(),
    };
    let left = asked.now.left(all.len(), called);
    // What is marked already needs no steps and need not be looked at.
    let to_mark: Vec<(&TrayPiece<'_>, usize)> =
        all.iter().copied().filter(|(one, _)| asked.now.marks(one.number)).collect();
    let known: Vec<(usize, &Report)> =
        to_mark.iter().map(|(one, _)| (one.number, &one.piece.report)).collect();
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
        not_now: left.as_ref().map(|left| left.says.clone()),
        findings: found::shared(&to_mark, asked.by_row, asked.is_job),
        assumed: kinds::assumed(&known),
        skipped: asked.skipped.to_vec(),
    };
    let json = serde_json::to_string_pretty(&report).map_err(|e| WriteError::Words(e.to_string()))?;
    output.put("report.json", json.as_bytes())?;
    let (pieces, findings) = (&report.pieces, &report.findings);
    let page = ticket(asked.title, &known, &facts, pieces, findings, asked.skipped, left.as_ref())?;
    output.put("ticket.html", page.as_bytes())?;
    progress.go_on(1)?;
    Ok(report)
}

/// Writes the programs of the trays; how long each takes, s, where there is one.
fn write_programs(
    asked: &Asked<'_>,
    trays: &[Tray<'_>],
    jigs: &[String],
    output: &mut dyn Sink,
    progress: &dyn Progress,
) -> Result<Vec<Option<f64>>, WriteError> {
    let mut to_mark = trays.iter().flat_map(|t| &t.laid).filter(|one| asked.now.marks(one.number));
    let burns = to_mark.all(|one| one.piece.burns);
    let mut all = Vec::with_capacity(trays.len());
    let mut carded: Vec<&String> = Vec::new();
    for (i, tray) in trays.iter().enumerate() {
        let number = i + 1;
        let mut seconds = None;
        let left: Vec<TrayPiece<'_>> =
            tray.laid.iter().filter(|l| asked.now.marks(l.number)).cloned().collect();
        let to_write = if burns { program(asked.title, tray.sides, &left)? } else { None };
        if let Some(program) = to_write {
            let overhang = overhang(&left);
            let name = format!("program-{number}.nc");
            let cost = write_program(&name, &program, None, overhang, output, &Silent).map_err(off_bed)?;
            seconds = Some(cost.estimate.times.total());
            let walk = edges(asked.title, &program.limits, &left, None);
            write_program(&format!("outline-{number}.nc"), &walk, None, overhang, output, &Silent)
                .map_err(off_bed)?;
            // By the first tray that is marked now: the one that the jig is named for may be marked already.
            if asked.card.is_some() && !carded.contains(&&jigs[i]) {
                let of_jig = jigs.iter().position(|name| *name == jigs[i]).unwrap_or(i);
                let marked = edges(asked.title, &program.limits, &trays[of_jig].laid, asked.card);
                write_program(&format!("{}.nc", jigs[i]), &marked, None, overhang, output, &Silent)
                    .map_err(off_bed)?;
                carded.push(&jigs[i]);
            }
        }
        progress.go_on(1)?;
        all.push(seconds);
    }
    Ok(all)
}

/// How far a tray may leave the bed, mm: as far as one of its pieces does on its own, which was accepted; however far where
/// that is accepted of the tray.
fn overhang(laid: &[TrayPiece<'_>]) -> f64 {
    let accepted = Acceptance::now("off-bed");
    if laid.iter().all(|one| one.piece.plan.scan.accept.contains(&accepted)) {
        return f64::INFINITY;
    }
    laid.iter().map(|one| motion::overhang(&one.piece.report.findings)).fold(0.0, f64::max)
}

/// The same with what helps where a tray leaves the bed.
fn off_bed(e: WriteError) -> WriteError {
    match e {
        WriteError::Unsafe(name, stop) if stop.name == "off-bed" => {
            let why = text!("outputs.why.unsafe", name, stop = stop.message);
            let mend = text!("outputs.why.off-bed", why);
            WriteError::OffBed(Said::from(mend).line(", or say --accept off-bed"))
        }
        e => e,
    }
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
        let on_tray: Vec<ShownPiece<'_>> =
            tray.laid.iter().map(|one| as_shown(one, asked.now.marks(one.number))).collect();
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

fn as_shown<'a>(one: &TrayPiece<'a>, to_mark: bool) -> ShownPiece<'a> {
    ShownPiece {
        number: one.number,
        to_mark,
        name: one.name,
        picture: &one.piece.picture,
        layout: &one.piece.layout,
        corner: one.corner,
        sides: one.piece.sides(),
    }
}

fn piece_facts(one: &TrayPiece<'_>, tray: usize, of: &Of, to_mark: bool) -> PieceFacts {
    let report = &one.piece.report;
    let serious = report.findings.iter().filter(|f| f.severity > Severity::Note);
    PieceFacts {
        number: one.number,
        to_mark,
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

/// What the jig of each tray is called: that of the first tray that has all its blanks at the same places.
fn jigs(trays: &[Tray<'_>]) -> Vec<String> {
    let edges = |t: &Tray<'_>| -> Vec<(String, String)> {
        t.laid.iter().map(|l| (l.piece.plan.blank.shape.to_string(), format!("{:?}", l.corner))).collect()
    };
    let all: Vec<Vec<(String, String)>> = trays.iter().map(edges).collect();
    let serves = |a: &[(String, String)], b: &[(String, String)]| b.iter().all(|edge| a.contains(edge));
    (0..trays.len())
        .map(|i| match all.iter().position(|before| serves(before, &all[i])).unwrap_or(i) {
            0 => "jig".to_string(),
            first => format!("jig-{}", first + 1),
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_not_marked_now_is_named() {
        let called = |n: usize| format!("'{}'", ["Ada", "Bo", "Ida", "Una"][n - 1]);
        let says = |now: Now| now.left(4, called).map(|left| left.says);
        assert_eq!(says(Now::default()), None);
        let from = says(Now::From(2)).unwrap();
        assert!(from.starts_with("Piece 1, 'Ada', is taken as marked already."), "{from}");
        let from = says(Now::From(3)).unwrap();
        assert!(from.starts_with("Pieces 1 and 2, 'Ada' and 'Bo', are taken as marked already."), "{from}");
        let from = says(Now::From(4)).unwrap();
        assert!(from.starts_with("Pieces 1 to 3, 'Ada' to 'Ida', are taken as marked already."), "{from}");
        let only = |these: &[usize]| says(Now::Only(these.to_vec()));
        let others = "all others are left as they are.";
        assert_eq!(only(&[2]), Some(format!("Only piece 2 ('Bo') is marked; {others}")));
        assert_eq!(only(&[3, 1]), Some(format!("Only pieces 1 ('Ada') and 3 ('Ida') are marked; {others}")));
        assert_eq!(only(&[3, 1, 2, 4]), None);
        let now = Now::Only(vec![3, 1]);
        assert_eq!(([1, 2, 3].map(|n| now.marks(n)), now.highest()), ([true, false, true], 3));
    }
}
