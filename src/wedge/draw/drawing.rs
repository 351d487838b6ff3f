//! Draw: a wedge from what was asked, its dots, and its parts in the order in which they are burnt.

use super::cells::{
    cell_name, exposure_plan, fill_of, rounded, rounded_speed, sorted_speeds, timing_plan, tone_plan, written,
};
use super::fiducials::signs_of;
use super::layout::{Label, Layout, LayoutError, lay_out};
use crate::blank::Blank;
use crate::mark::{Beam, Burn, Response, Setting};
use crate::placement::{DotRect, Grid};
use crate::plane::Dots;
use crate::units::{Mm, MmPerS, Share, Watts};
use crate::wedge::target::{Code, Comb, Dial, Expected, FinderMark, Kind, Patch, Pattern, VERSION, Wedge};

/// What a wedge is drawn from. Lists hold at least one value.
#[derive(Debug, Clone, PartialEq)]
pub struct Request {
    /// What it measures.
    pub kind: Kind,
    /// The blank with its margin.
    pub blank: Blank,
    /// Machine's name.
    pub machine: String,
    /// Coating's name.
    pub coating: String,
    /// Laser's rated optical power.
    pub rated_power: Watts,
    /// The beam in force.
    pub beam: Beam,
    /// Whether it was measured.
    pub beam_measured: bool,
    /// Distances between dots.
    pub grid: Grid,
    /// Exposure wedge: powers of the rows, any order (drawn falling from the top).
    pub powers: Vec<Share>,
    /// Exposure wedge: speeds of the columns; timing wedge: speeds of the combs. Drawn rising.
    pub speeds: Vec<MmPerS>,
    /// The setting of tone patches, and the power and passes of combs; passes of exposure patches.
    pub chosen: Dial,
    /// Setting of finder marks and labels; `None` takes the one that surely marks under the expected response.
    pub signs: Option<Dial>,
    /// The expected response.
    pub response: Response,
    /// Whether it was measured.
    pub response_measured: bool,
    /// Tone wedge: names of screens, one row each.
    pub screens: Vec<String>,
    /// Tone wedge: coverages, one column each.
    pub coverages: Vec<Share>,
}

/// Why a wedge cannot be drawn.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum DrawError {
    /// It does not fit.
    #[error(transparent)]
    Layout(#[from] LayoutError),
    /// A list is empty or too long, a value out of range.
    #[error("{0}")]
    Asked(String),
}

/// `steps` values from `from` to `to`, both included, linear or in equal ratios.
pub fn steps(from: f64, to: f64, steps: usize, log: bool) -> Vec<f64> {
    if steps <= 1 {
        return vec![to];
    }
    (0..steps)
        .map(|i| {
            let t = i as f64 / (steps - 1) as f64;
            if log && from > 0.0 && to > 0.0 { from * (to / from).powf(t) } else { from + (to - from) * t }
        })
        .collect()
}

/// The setting for finder marks and labels: as a solid it gets the geometric mean of the exposure at half
/// rise and at half char, so that an expectation wrong by a factor of two either way still marks. Full power
/// at the speed that gives it, as long as no faster than was asked for; labels are long and this is the
/// shortest way through them.
pub fn sure_dial(request: &Request) -> Dial {
    let r = &request.response;
    let x_char = if r.x_char.is_finite() { r.x_char } else { 4.0 * r.x_half };
    let wanted = (r.x_half * x_char).sqrt();
    let fastest = request.speeds.iter().map(|s| s.0).fold(request.chosen.speed.0, f64::max);
    let x_at_full = |v: f64| {
        request.rated_power.0 / (v * request.grid.across.0) * (v / r.v0.0).powf(1.0 - r.schwarzschild)
    };
    let full = x_at_full(fastest);
    if full >= wanted {
        let power = rounded(Share((wanted / full).max(0.05)));
        Dial { power, speed: rounded_speed(MmPerS(fastest)), passes: 1 }
    } else {
        // X falls as v^-s: solve for the speed at full power.
        let slower = fastest * (full / wanted).powf(1.0 / r.schwarzschild.max(0.1));
        Dial { power: Share(1.0), speed: rounded_speed(MmPerS(slower.max(0.5))), passes: 1 }
    }
}

/// A wedge with all that is needed to burn and to show it.
#[derive(Debug, Clone, PartialEq)]
pub struct Drawing {
    /// The sheet, sealed with its id.
    pub wedge: Wedge,
    /// All dots.
    pub dots: Dots,
    /// Where the dots lie.
    pub rect: DotRect,
    /// What is burnt one after the other.
    pub parts: Vec<Part>,
}

/// A part of the wedge that is burnt at one setting.
#[derive(Debug, Clone, PartialEq)]
pub struct Part {
    /// Name for the program's comments.
    pub name: String,
    /// Power, speed, passes.
    pub dial: Dial,
    /// Its dots.
    pub dots: Dots,
    /// Where they lie.
    pub rect: DotRect,
    /// Which way its lines run.
    pub way: Way,
}

/// Direction of a part's lines.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Way {
    /// Both ways in turn, as the machine marks pictures.
    Both,
    /// Towards growing x only.
    Right,
    /// Towards falling x only.
    Left,
}

/// Draws the wedge: settles the sheet, lays its dots, and orders its parts (signs last, so that a wedge
/// whose burning was broken off has no finder marks and is not read by mistake).
pub fn draw(request: &Request) -> Result<Drawing, DrawError> {
    check(request)?;
    let plan = match request.kind {
        Kind::Exposure => exposure_plan(request),
        Kind::Tone => tone_plan(request)?,
        Kind::Timing => timing_plan(request),
    };
    let mut contents = plan.contents;
    contents.footer = format!("W000000 {}", contents.footer);
    let layout = lay_out(&request.blank, request.grid, &contents)?;
    let signs = request.signs.unwrap_or_else(|| sure_dial(request));
    let height = request.blank.shape.height();
    let mut wedge = blank_sheet(request, &layout, signs);
    for cell in &plan.cells {
        let Some(area) = layout.cells.get(cell.row * contents.columns + cell.column) else { continue };
        let (x, y) = area.centre();
        wedge.patches.push(Patch {
            name: cell_name(cell.column, cell.row),
            cell: [cell.column, cell.row],
            centre: [x, height - y],
            size: [area.width, area.height],
            dial: cell.dial,
            pattern: cell.pattern,
            coverage: cell.coverage,
            screen: cell.screen.clone(),
            period: cell.period,
            charred: false,
        });
    }
    if request.kind == Kind::Timing {
        for (row, &speed) in sorted_speeds(request).iter().enumerate() {
            if let (Some(area), Some(dots)) = (layout.cells.get(row), layout.cell_dots.get(row)) {
                wedge.combs.push(comb(request, speed, area, dots, height)?);
            }
        }
    }
    // Coverage as laid, not as wished: the screens round to whole dots.
    let mut fills = Vec::new();
    let mut places = Vec::new();
    for (patch, cell) in wedge.patches.iter_mut().zip(&plan.cells) {
        let Some(&place) = layout.cell_dots.get(cell.row * contents.columns + cell.column) else {
            continue;
        };
        let fill = fill_of(request, patch, place[2], place[3]);
        patch.coverage = written(Share((fill.coverage() * 1e4).round() / 1e4));
        fills.push(fill);
        places.push(place);
    }
    if let (Kind::Exposure, Some((place, row)), Some(dial)) =
        (request.kind, layout.beside, charring_dial(request))
    {
        let patch = charred_patch(request, &layout, place, [contents.columns, row], dial);
        fills.push(fill_of(request, &patch, place[2], place[3]));
        places.push(place);
        wedge.patches.push(patch);
    }
    wedge.seal();
    let labels: Vec<Label> = layout
        .labels
        .iter()
        .map(|l| Label { text: l.text.replace("W000000", &wedge.id), ..l.clone() })
        .collect();
    Ok(assemble(wedge, request, &layout, &labels, fills.into_iter().zip(places).collect()))
}

/// Times the expected exposure at half char that the charred patch gets: with a steepness of 6 and a coating that
/// chars at half as much again it is still 98 % charred.
const CHARRED: f64 = 3.0;
/// The most passes over the charred patch.
const MOST_PASSES: u32 = 20;

/// The setting that chars beyond doubt: the strongest of the wedge, as many times as it takes. None where the
/// coating is not expected to char, or where no number of passes does it.
///
/// Few patches of a good wedge are charred, and none fully: without this one a pale char that sets in early looks
/// like a black one that sets in late, and the exposure of 5 % char is known half as well.
fn charring_dial(request: &Request) -> Option<Dial> {
    let r = &request.response;
    let power = request.powers.iter().copied().max_by(|a, b| a.0.total_cmp(&b.0)).map(rounded)?;
    let speed = sorted_speeds(request).into_iter().next()?;
    let setting = Setting {
        power: Watts(request.rated_power.0 * power.0),
        speed,
        passes: 1,
        pitch_along: request.grid.along,
        pitch_across: request.grid.across,
    };
    let once = Burn::new(request.beam, setting, *r).x_solid;
    let passes = (CHARRED * r.x_char / once).ceil();
    (passes <= f64::from(MOST_PASSES)).then(|| Dial { power, speed, passes: (passes as u32).max(1) })
}

fn charred_patch(
    request: &Request,
    layout: &Layout,
    [c, r, nx, ny]: [usize; 4],
    cell: [usize; 2],
    dial: Dial,
) -> Patch {
    let (px, py) = (request.grid.along.0, request.grid.across.0);
    let size = [nx as f64 * px, ny as f64 * py];
    let (left, top) = (layout.left + c as f64 * px, layout.top + r as f64 * py);
    Patch {
        name: cell_name(cell[0], cell[1]),
        cell,
        centre: [left + size[0] / 2.0, request.blank.shape.height() - top - size[1] / 2.0],
        size,
        dial,
        pattern: Pattern::Solid,
        coverage: Share(1.0),
        screen: String::new(),
        period: 0,
        charred: true,
    }
}

fn check(request: &Request) -> Result<(), DrawError> {
    let refuse = |m: String| Err(DrawError::Asked(m));
    if request.powers.is_empty() || request.speeds.is_empty() {
        return refuse("a wedge needs at least one power and one speed".into());
    }
    if let Some(p) = request.powers.iter().find(|p| p.0 < 0.01 || p.0 > 1.0) {
        return refuse(format!("a power of {p} cannot be drawn; powers are from 1% to 100%"));
    }
    if let Some(s) = request.speeds.iter().find(|s| s.0 < 0.5 || s.0 > 1000.0) {
        return refuse(format!("a speed of {s} cannot be drawn; speeds are from 0.5mm/s to 1000mm/s"));
    }
    if request.powers.len() > 20 || request.speeds.len() > 20 {
        return refuse("a wedge has at most 20 x 20 patches; ask for fewer steps".into());
    }
    Ok(())
}

/// A comb pair in a cell: upper half marked towards the right, lower half towards the left. The lower
/// comb's step is one dot longer, so the pair that lines up, counted from the middle, gives the lag in dots.
fn comb(
    request: &Request,
    speed: MmPerS,
    area: &super::layout::Area,
    dots: &[usize; 4],
    height: f64,
) -> Result<Comb, DrawError> {
    let px = request.grid.along.0;
    let [c0, _, nx, ny] = *dots;
    let line_dots = ((0.3 / px).round() as usize).max(2);
    let step = ((1.3 / px).round() as usize).max(line_dots + 4);
    let side = (nx / 2).saturating_sub(line_dots) / (step + 1);
    if side < 3 || ny < 12 {
        return Err(DrawError::Asked(format!(
            "the combs would be {} wide and have {} lines; take a larger blank or fewer speeds",
            Mm(nx as f64 * px),
            2 * side + 1
        )));
    }
    let middle_dot = c0 + nx / 2;
    let left = (request.blank.shape.width()
        - (request.blank.printable().map_or(0.0, |p| p.width()) / px + 1e-9).floor() * px)
        / 2.0;
    let half = ny / 2;
    let py = request.grid.across.0;
    let (top, mid) = (area.top, area.top + half as f64 * py);
    Ok(Comb {
        name: speed.to_string(),
        dial: Dial { speed, ..request.chosen },
        middle: left + (middle_dot as f64 + line_dots as f64 / 2.0) * px,
        side,
        line_dots,
        step_right: step as f64 * px,
        step_left: (step + 1) as f64 * px,
        rows_right: [height - mid, height - top],
        rows_left: [height - area.top - area.height, height - mid],
    })
}

fn blank_sheet(request: &Request, layout: &Layout, signs: Dial) -> Wedge {
    let height = request.blank.shape.height();
    let (cx, cy, step, cell, bits) = layout.code;
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
        left: Mm(layout.left),
        top: Mm(layout.top),
        columns: layout.columns,
        rows: layout.rows,
        signs,
        expected: Expected::from_response(&request.response, request.response_measured),
        code: (bits > 0).then(|| Code { first: [cx, height - cy], step, cell, bits: "0".repeat(bits) }),
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

fn assemble(
    wedge: Wedge,
    request: &Request,
    layout: &Layout,
    labels: &[Label],
    fills: Vec<(Dots, [usize; 4])>,
) -> Drawing {
    let whole = DotRect {
        left: Mm(layout.left),
        top: Mm(layout.top),
        columns: layout.columns,
        rows: layout.rows,
        grid: request.grid,
    };
    let sub = |[c, r, nx, ny]: [usize; 4]| DotRect {
        left: Mm(whole.left.0 + c as f64 * whole.grid.along.0),
        top: Mm(whole.top.0 + r as f64 * whole.grid.across.0),
        columns: nx,
        rows: ny,
        grid: whole.grid,
    };
    let mut dots = Dots::off(layout.columns, layout.rows);
    let mut parts = Vec::new();
    for (patch, (fill, place)) in wedge.patches.iter().zip(fills) {
        stamp(&mut dots, &fill, place[0], place[1]);
        parts.push(Part {
            name: format!("PATCH {}", patch.name),
            dial: patch.dial,
            dots: fill,
            rect: sub(place),
            way: Way::Both,
        });
    }
    let mut parts = spread_heat(parts);
    for (c, place) in wedge.combs.iter().zip(&layout.cell_dots) {
        let [c0, r0, nx, ny] = *place;
        let half = ny / 2;
        for (way, first, rows, step) in
            [(Way::Right, r0, half, c.step_right), (Way::Left, r0 + half, ny - half, c.step_left)]
        {
            let step = (step / whole.grid.along.0).round() as usize;
            let mut d = Dots::off(nx, rows);
            for y in 0..rows {
                for k in 0..=2 * c.side {
                    let x = nx / 2 + k * step;
                    let Some(x) = x.checked_sub(c.side * step) else { continue };
                    (x..(x + c.line_dots).min(nx)).for_each(|x| d.set(x, y, true));
                }
            }
            stamp(&mut dots, &d, c0, first);
            let arrow = if way == Way::Right { "RIGHT" } else { "LEFT" };
            parts.push(Part {
                name: format!("COMB {} {arrow}", c.name),
                dial: c.dial,
                dots: d,
                rect: sub([c0, first, nx, rows]),
                way,
            });
        }
    }
    let signs = signs_of(&wedge, &whole, labels, request.blank.shape.height());
    stamp(&mut dots, &signs, 0, 0);
    parts.push(Part {
        name: "FINDER MARKS AND LABELS".into(),
        dial: wedge.signs,
        dots: signs,
        rect: whole,
        way: Way::Both,
    });
    Drawing { wedge, dots, rect: whole, parts }
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

/// Orders parts so that each is far from the last few: every patch meets a cool neighbourhood.
fn spread_heat(parts: Vec<Part>) -> Vec<Part> {
    let middle = |p: &Part| (p.rect.left.0 + p.rect.width() / 2.0, p.rect.top.0 + p.rect.height() / 2.0);
    let mut rest: Vec<Option<Part>> = parts.into_iter().map(Some).collect();
    let mut out: Vec<Part> = Vec::with_capacity(rest.len());
    while out.len() < rest.len() {
        let heat = |p: &Part| {
            let (x, y) = middle(p);
            out.iter()
                .rev()
                .take(4)
                .enumerate()
                .map(|(age, q)| {
                    let (qx, qy) = middle(q);
                    1.0 / ((x - qx).powi(2) + (y - qy).powi(2) + 1.0) / (age + 1) as f64
                })
                .sum::<f64>()
        };
        let next = rest
            .iter()
            .enumerate()
            .filter_map(|(i, p)| p.as_ref().map(|p| (i, heat(p))))
            .min_by(|a, b| a.1.total_cmp(&b.1).then(a.0.cmp(&b.0)));
        match next.and_then(|(i, _)| rest.get_mut(i).and_then(Option::take)) {
            Some(p) => out.push(p),
            None => break,
        }
    }
    out
}
