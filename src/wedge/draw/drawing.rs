//! Drawing: a wedge from what was asked, its dots, and its parts in the order in which they are burnt.

use super::cells::{
    Cell, CellPlan, cell_name, comb_box, combined_plan, exposure_plan, timing_plan, tone_plan,
};
use super::charred::{charred_patch, charring_dial};
use super::comb::{comb, halves};
use super::fiducials::{finder_mark, lettering};
use super::fill::fill_of;
use super::labels::Label;
use super::layout::{DotBox, TargetLayout, lay_out};
use super::parts::{BurntPart, PATCH, Way, spread_heat};
use super::request::{DrawError, Request, check, sure_dial, written};
use crate::placement::DotRect;
use crate::plane::Dots;
use crate::units::{Mm, Share};
use crate::wedge::target::{Code, Expected, FinderMark, Pattern, TestPatch, VERSION, Wedge, WedgeKind};

/// Stands for the id in labels until the id is known: as long as one.
const NO_ID: &str = "W000000";

/// A wedge with all that is needed to burn and to show it.
#[derive(Debug, Clone, PartialEq)]
pub struct Drawing {
    /// The wedge as data, sealed with its id.
    pub wedge: Wedge,
    /// All dots.
    pub dots: Dots,
    /// Where the dots lie.
    pub rect: DotRect,
    /// What is burnt one after the other.
    pub parts: Vec<BurntPart>,
}

/// Draws the wedge: settles it, lays its dots, and orders its parts (finder marks and labels last, so that a wedge
/// whose burning was broken off has none and is not read by mistake).
///
/// # Errors
/// When the lists of the request are empty, too long or out of range, or do not fit the blank.
pub fn draw(request: &Request) -> Result<Drawing, DrawError> {
    check(request)?;
    let CellPlan { mut contents, cells, combs } = match request.kind {
        WedgeKind::Exposure => exposure_plan(request),
        WedgeKind::Tone => tone_plan(request)?,
        WedgeKind::Timing => timing_plan(request),
        WedgeKind::Combined => combined_plan(request)?,
    };
    contents.footer = format!("{NO_ID} {}", contents.footer);
    let layout = lay_out(&request.blank, request.grid, &contents)?;
    let height = request.blank.shape.height();
    let mut wedge = unfilled(request, &layout);
    let mut fills = Vec::new();
    for cell in &cells {
        let Some(&place) = layout.cells.get(cell.row * contents.columns + cell.column) else { continue };
        let mut patch = patch(cell, &place, &layout.whole, height);
        let fill = fill_of(request, &patch, (place.columns, place.rows));
        patch.wanted = (patch.pattern == Pattern::Screen).then_some(patch.coverage);
        // Coverage as laid, not as wished: the screens round to whole dots.
        patch.coverage = written(Share((fill.coverage() * 1e4).round() / 1e4));
        wedge.patches.push(patch);
        fills.push((place, fill));
    }
    let mut comb_boxes = Vec::new();
    for (speed, place) in combs {
        let Some(cell) = comb_box(place, contents.columns, &layout.cells, request.grid) else { continue };
        wedge.combs.push(comb(request, speed, &cell, &layout.whole, height)?);
        comb_boxes.push(cell);
    }
    let charrable = matches!(request.kind, WedgeKind::Exposure | WedgeKind::Combined);
    if let (true, Some((place, row)), Some(dial)) = (charrable, layout.beside, charring_dial(request)) {
        let patch = charred_patch(&place, &layout.whole, height, [contents.columns, row], dial);
        fills.push((place, fill_of(request, &patch, (place.columns, place.rows))));
        wedge.patches.push(patch);
    }
    wedge.seal();
    Ok(assemble(wedge, &layout, fills, &comb_boxes))
}

fn patch(cell: &Cell, place: &DotBox, whole: &DotRect, height: f64) -> TestPatch {
    let area = place.area(whole);
    let (x, y) = area.centre();
    TestPatch {
        name: cell_name(cell.column, cell.row),
        cell: [cell.column, cell.row],
        centre: [x, height - y],
        size: [area.width, area.height],
        dial: cell.dial,
        pattern: cell.pattern,
        coverage: cell.coverage,
        screen: cell.screen.clone(),
        period: cell.period,
        wanted: None,
        charred: false,
    }
}

/// The wedge before its patches and combs.
fn unfilled(request: &Request, layout: &TargetLayout) -> Wedge {
    let height = request.blank.shape.height();
    let code = layout.code;
    Wedge {
        version: VERSION,
        id: String::new(),
        kind: request.kind,
        blank: request.blank.shape,
        margin: request.blank.margin,
        machine: request.machine.clone(),
        coating: request.coating.clone(),
        rated_power: request.rated_power,
        beam_along: request.beam.along,
        beam_across: request.beam.across,
        beam_measured: request.beam_measured,
        pitch_along: request.grid.along,
        pitch_across: request.grid.across,
        left: layout.whole.left,
        top: layout.whole.top,
        columns: layout.whole.columns,
        rows: layout.whole.rows,
        fiducials: sure_dial(request),
        carries: None,
        expected: Expected::from_response(&request.response, request.response_measured),
        code: (code.count > 0).then(|| Code {
            first: [code.first.0, height - code.first.1],
            step: code.step,
            cell: code.side,
            bits: "0".repeat(code.count),
        }),
        marks: layout
            .marks
            .iter()
            .enumerate()
            .map(|(i, &(x, y))| FinderMark {
                centre: [x, height - y],
                diameter: Mm(layout.mark_diameter),
                odd: i == 0,
            })
            .collect(),
        patches: Vec::new(),
        combs: Vec::new(),
    }
}

/// Lays all dots and orders the parts.
fn assemble(
    wedge: Wedge,
    layout: &TargetLayout,
    fills: Vec<(DotBox, Dots)>,
    comb_boxes: &[DotBox],
) -> Drawing {
    let whole = layout.whole;
    let mut dots = Dots::off(whole.columns, whole.rows);
    let mut parts = Vec::new();
    for (patch, (place, fill)) in wedge.patches.iter().zip(fills) {
        stamp(&mut dots, &fill, place.column, place.row);
        parts.push(BurntPart {
            name: format!("{PATCH} {}", patch.name),
            dial: patch.dial,
            dots: fill,
            rect: place.rect(&whole),
            // A late beam moves the lines of one way against those of the other: it would pass for a wider one, and tones
            // would be measured that no job has in which the lag is taken up.
            way: match patch.pattern {
                Pattern::LinesAcross | Pattern::Dots | Pattern::Screen => Way::Right,
                _ => Way::Both,
            },
        });
    }
    let mut parts = spread_heat(parts);
    for (comb, cell) in wedge.combs.iter().zip(comb_boxes) {
        for (place, part) in halves(comb, cell, &whole) {
            stamp(&mut dots, &part.dots, place.column, place.row);
            parts.push(part);
        }
    }
    let labels: Vec<Label> =
        layout.labels.iter().map(|l| Label { text: l.text.replace(NO_ID, &wedge.id), ..l.clone() }).collect();
    // Each mark is a part of its own: in one part the head would cross the whole piece between two of them, line by line.
    let mut signs = vec![("LABELS".to_string(), lettering(&wedge, &whole, &labels))];
    let marks = wedge.marks.iter().enumerate();
    signs.extend(marks.map(|(i, m)| (format!("FINDER MARK {}", i + 1), finder_mark(m, &wedge, &whole))));
    for (name, plane) in signs {
        let Some(place) = inked(&plane) else { continue };
        stamp(&mut dots, &plane, 0, 0);
        let dots = cut(&plane, &place);
        parts.push(BurntPart { name, dial: wedge.fiducials, dots, rect: place.rect(&whole), way: Way::Both });
    }
    Drawing { wedge, dots, rect: whole, parts }
}

/// The box that holds all dots of a plane; none for an empty one.
fn inked(plane: &Dots) -> Option<DotBox> {
    let (w, h) = (plane.width(), plane.height());
    let rows: Vec<usize> = (0..h).filter(|&y| (0..w).any(|x| plane.get(x, y))).collect();
    let (&top, &bottom) = (rows.first()?, rows.last()?);
    let left = rows.iter().filter_map(|&y| (0..w).find(|&x| plane.get(x, y))).min()?;
    let right = rows.iter().filter_map(|&y| (0..w).rfind(|&x| plane.get(x, y))).max()?;
    Some(DotBox { column: left, row: top, columns: right - left + 1, rows: bottom - top + 1 })
}

fn cut(plane: &Dots, place: &DotBox) -> Dots {
    let mut out = Dots::off(place.columns, place.rows);
    for y in 0..place.rows {
        for x in 0..place.columns {
            if plane.get(place.column + x, place.row + y) {
                out.set(x, y, true);
            }
        }
    }
    out
}

fn stamp(onto: &mut Dots, what: &Dots, left: usize, top: usize) {
    for y in 0..what.height().min(onto.height().saturating_sub(top)) {
        for x in 0..what.width().min(onto.width().saturating_sub(left)) {
            if what.get(x, y) {
                onto.set(left + x, top + y, true);
            }
        }
    }
}
