//! Trays: pieces that were carried through, each at its spot, in one scan program of parts.

use super::error::PipelineError;
use super::laid::Powers;
use super::outcome::Outcome;
use crate::blank::{Blank, Shape};
use crate::job::Plan;
use crate::order::{Sides, Stop};
use crate::placement::DotRect;
use crate::plane::Dots;
use crate::proof::canvas::{Picture, ProofError};
use crate::proof::ground;
use crate::proof::kinds::numbered;
use crate::proof::layout::Layout;
use crate::proof::picture::{self, Scene};
use crate::proof::report::Report;
use crate::proof::words;
use crate::scan::comments::comments;
use crate::scan::comments::said::full_power;
use crate::scan::contour::Contour;
use crate::scan::limits::{Limits, LimitsError};
use crate::scan::lines::ScanLines;
use crate::scan::outline::{WALK_SPEED, edge};
use crate::scan::program::{Notes, Program};
use crate::scan::raster::RasterPath;
use crate::scan::toolpath::Toolpath;
use crate::units::{Mm, counted, short};

/// A piece carried through: what a tray needs of it.
#[derive(Debug, Clone)]
pub struct Piece {
    /// Its plan.
    pub plan: Plan,
    /// Its dots.
    pub dots: Dots,
    /// The powers, where tones are made by them.
    powers: Option<Powers>,
    /// Its lines, as they lie on its own blank.
    raster: RasterPath,
    /// What its program says of itself.
    notes: Notes,
    /// Every figure, and what was found.
    pub report: Report,
    /// Whether nothing stands against burning it.
    pub burns: bool,
    /// The finished piece, small.
    pub picture: Picture,
    /// The size of its pixels, and where its edges lie.
    pub layout: Layout,
}

impl Piece {
    /// Where the program's zero lies, right of and above the lower left corner of a tray, mm.
    pub fn zero(&self) -> (f64, f64) {
        (self.raster.limits.x.zero, self.raster.limits.y.zero)
    }

    /// What a tray needs of a piece; its picture is `side` pixels along its longer side.
    ///
    /// # Errors
    /// Where the picture cannot be drawn.
    pub fn new(plan: Plan, outcome: Outcome, side: usize) -> Result<Piece, PipelineError> {
        let burns = !outcome.is_stopped(&plan);
        let Outcome { stages, report, .. } = outcome;
        let layout = Layout::to_scale(&plan.blank, side);
        let scene = Scene {
            blank: &plan.blank,
            surface: plan.surface,
            rect: &stages.placement.rect,
            y_unmarked: plan.burn.response.y_unmarked,
            y_marked: plan.burn.response.y_marked,
            footing: plan.process.footing(),
            spots: &[],
        };
        let fail = |e: ProofError| PipelineError::Picture(e.to_string());
        let mut picture = picture::plain(&scene, &layout, &stages.look).map_err(fail)?;
        ground::fade(&mut picture, &layout, &plan.blank);
        let scan = stages.program;
        Ok(Piece {
            dots: stages.dots,
            powers: scan.powers,
            raster: scan.raster,
            notes: scan.notes,
            report,
            burns,
            picture,
            layout,
            plan,
        })
    }

    /// Width and height of its blank, mm.
    pub fn sides(&self) -> Sides {
        (self.plan.blank.shape.width(), self.plan.blank.shape.height())
    }

    /// Its lines where the lower left corner of its blank lies at `corner` of a tray.
    ///
    /// # Errors
    /// A tray that does not lie on the bed.
    pub fn path(&self, tray: Sides, corner: (f64, f64)) -> Result<RasterPath, LimitsError> {
        let rect = self.rect(tray, corner);
        let (limits, scan) = (&self.raster.limits, self.raster.scan);
        let path = RasterPath::new(limits, scan, rect, flat(tray)).map_err(LimitsError::of_tray)?;
        Ok(path.ordered_as(&self.raster))
    }

    /// Its dots there.
    pub fn rect(&self, tray: Sides, corner: (f64, f64)) -> DotRect {
        let own = self.raster.rect;
        DotRect {
            left: Mm(own.left.0 + corner.0),
            top: Mm(own.top.0 + tray.1 - corner.1 - self.plan.blank.shape.height()),
            ..own
        }
    }

    /// Where the head comes to it and leaves it, mm of the tray; its corner where nothing is marked.
    ///
    /// # Errors
    /// As [`Piece::path`].
    pub fn stop(&self, tray: Sides, corner: (f64, f64)) -> Result<Stop, LimitsError> {
        let path = self.path(tray, corner)?;
        let mut lines = ScanLines::new(&path, Powers::marking(self.powers.as_ref(), &self.dots));
        let at = |along: i32, across: i32| {
            let (x, y) = path.xy(along, across);
            path.limits.to_blank((f64::from(x) / 1000.0, f64::from(y) / 1000.0))
        };
        let mut stop = Stop::at(corner);
        let mut first = true;
        while let Some(line) = lines.next_line() {
            if std::mem::take(&mut first) {
                stop.entry = at(line.start, line.across);
            }
            stop.exit = at(line.end, line.across);
        }
        Ok(stop)
    }
}

/// A tray as a blank without a margin.
pub fn flat((width, height): Sides) -> Blank {
    Blank { shape: Shape::Rect { width: Mm(width), height: Mm(height), radius: Mm(0.0) }, margin: Mm(0.0) }
}

/// A piece at a spot: its number, its name, where its blank's lower left corner lies.
#[derive(Debug, Clone)]
pub struct TrayPiece<'a> {
    /// Its number in the order of marking, over all trays.
    pub number: usize,
    /// What it is called.
    pub name: &'a str,
    /// The piece.
    pub piece: &'a Piece,
    /// The lower left corner of its blank on the tray, mm.
    pub corner: (f64, f64),
}

/// The program that marks the pieces of a tray one after the other.
///
/// # Errors
/// A tray that does not lie on the bed.
pub fn program<'a>(
    title: &str,
    tray: Sides,
    laid: &[TrayPiece<'a>],
) -> Result<Option<Program<'a>>, LimitsError> {
    let Some(first) = laid.first() else { return Ok(None) };
    let mut said = Vec::new();
    comments(&format!("order: {title}"), &mut said);
    comments(
        &format!("tray: {} x {} mm, {}", tray.0, tray.1, counted(laid.len() as u64, "piece")),
        &mut said,
    );
    comments(&full_power(&first.piece.raster.limits), &mut said);
    said.extend(remarks(laid));
    let mut parts = Vec::with_capacity(laid.len());
    for one in laid {
        let path = one.piece.path(tray, one.corner)?;
        let marking = Powers::marking(one.piece.powers.as_ref(), &one.piece.dots);
        let remark = format!("piece {}: {}, at {} x {} mm", one.number, one.name, one.corner.0, one.corner.1);
        parts.push(Toolpath { remark: plain(&remark), ..Toolpath::raster(path, marking) });
    }
    Ok(Some(Program::new(&first.piece.raster.limits, said, parts)))
}

/// What the program says of its pieces: what is not so for all of them names those for which it is.
fn remarks(laid: &[TrayPiece<'_>]) -> Vec<String> {
    let mut kinds: Vec<(&[String], Vec<usize>)> = Vec::new();
    for one in laid {
        let settings = one.piece.notes.settings.as_slice();
        match kinds.iter_mut().find(|(known, _)| *known == settings) {
            Some((_, pieces)) => pieces.push(one.number),
            None => kinds.push((settings, vec![one.number])),
        }
    }
    let settings = match kinds.as_slice() {
        [(settings, _)] => settings.to_vec(),
        all => all
            .iter()
            .map(|(settings, pieces)| format!("{}: {}", numbered(pieces), settings.join(", ")))
            .collect(),
    };
    let cautions = words::together(laid.iter().map(|one| one.piece.notes.cautions.as_slice()));
    Notes { settings, cautions, ..Notes::default() }.remarks()
}

/// The program that walks the edges of the blanks of a tray, one after the other; `burn` is the S word and the speed in
/// mm/s with which it marks them on a card, else the pointer shows them, or nothing.
pub fn edges(
    title: &str,
    limits: &Limits,
    laid: &[TrayPiece<'_>],
    burn: Option<(u32, f64)>,
) -> Program<'static> {
    let pointer = limits.pointer.map_or(0, |p| (p * f64::from(limits.full_scale_s)).round() as u32);
    let (level, speed) = burn.unwrap_or((pointer, WALK_SPEED));
    let mut said = Vec::new();
    comments(&format!("edges of the blanks of order: {title}"), &mut said);
    let caution = match (burn, level) {
        (Some(_), _) => {
            "caution: this marks the card at working power. Eyewear, enclosure, extraction; never leave it alone."
        }
        (None, 0) => "pointer power: off. Follow the head, not a beam.",
        (None, _) => "caution: wear the eyewear for this beam and do not look at the spot",
    };
    comments(caution, &mut said);
    let of = |one: &TrayPiece<'_>| {
        let points: Vec<(f64, f64)> = edge(&one.piece.plan.blank.shape)
            .iter()
            .map(|p| (p.0 + one.corner.0, p.1 + one.corner.1))
            .collect();
        Toolpath::contour(
            &plain(&format!("blank {}", one.number)),
            Contour::new(limits, &points, level, speed),
        )
    };
    Program::new(limits, said, laid.iter().map(of).collect())
}

/// The edges of the blanks of a tray as an SVG in millimetres, to cut a jig by.
pub fn jig(tray: Sides, laid: &[TrayPiece<'_>]) -> String {
    let mm = |v: f64| short(v, 3);
    let (w, h) = (mm(tray.0), mm(tray.1));
    let mut svg = format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"{w}mm\" height=\"{h}mm\" viewBox=\"0 0 {w} {h}\" fill=\"none\" stroke=\"#000\" stroke-width=\"0.1\">\n<rect width=\"{w}\" height=\"{h}\"/>\n"
    );
    for one in laid {
        let (bw, bh) = one.piece.sides();
        let (x, top) = (one.corner.0, tray.1 - one.corner.1 - bh);
        svg += &match one.piece.plan.blank.shape {
            Shape::Round { .. } => {
                let (x, y, r) = (mm(x + bw / 2.0), mm(top + bh / 2.0), mm(bw / 2.0));
                format!("<circle cx=\"{x}\" cy=\"{y}\" r=\"{r}\"/>\n")
            }
            Shape::Rect { .. } | Shape::Cylinder { .. } | Shape::Cone { .. } => {
                let radius =
                    if let Shape::Rect { radius, .. } = one.piece.plan.blank.shape { radius.0 } else { 0.0 };
                let [x, y, w, h, r] = [x, top, bw, bh, radius].map(mm);
                format!("<rect x=\"{x}\" y=\"{y}\" width=\"{w}\" height=\"{h}\" rx=\"{r}\"/>\n")
            }
        };
    }
    svg + "</svg>\n"
}

/// A remark as a comment may hold it, on one line.
fn plain(text: &str) -> String {
    let mut lines = Vec::new();
    comments(text, &mut lines);
    lines.first().map_or(String::new(), |l| l.trim_start_matches('(').trim_end_matches(')').to_string())
}
