//! Draw: a wedge from what was asked, its dots, and its parts in the order in which they are burnt.

use super::glyphs::{self, Lettering};
use super::layout::{Contents, Label, Layout, LayoutError, lay_out};
use super::sheet::{
    CENTRE, Code, Comb, Dial, Expected, FinderMark, Kind, Patch, Pattern, RING, VERSION, Wedge,
};
use crate::blank::Blank;
use crate::mark::{Beam, Response};
use crate::placement::{DotRect, Grid};
use crate::plane::{Dots, Tone};
use crate::progress::Silent;
use crate::screen::{self, Options, Wants};
use crate::units::{Mm, MmPerS, Share, Watts, short};

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

/// Rounds a share to 0.1 % and a speed to 0.01 mm/s: what a label, a file and a machine can hold alike.
fn rounded(power: Share) -> Share {
    written(Share((power.0 * 1000.0).round() / 1000.0))
}

/// The share as a file gives it back, to the last bit.
fn written(share: Share) -> Share {
    share.to_string().parse().unwrap_or(share)
}

fn rounded_speed(speed: MmPerS) -> MmPerS {
    MmPerS((speed.0 * 100.0).round() / 100.0)
}

/// The setting for finder marks and labels: as a solid it gets the geometric mean of the exposure at half
/// rise and at half char, so that an expectation wrong by a factor of two either way still marks. The
/// speed is the least of those asked for, made slower where full power would not be enough.
pub fn sure_dial(request: &Request) -> Dial {
    let r = &request.response;
    let x_char = if r.x_char.is_finite() { r.x_char } else { 4.0 * r.x_half };
    let wanted = (r.x_half * x_char).sqrt();
    let speed = request.speeds.iter().map(|s| s.0).fold(f64::INFINITY, f64::min);
    let speed = if speed.is_finite() { speed } else { request.chosen.speed.0 };
    let x_at_full = |v: f64| {
        request.rated_power.0 / (v * request.grid.across.0) * (v / r.v0.0).powf(1.0 - r.schwarzschild)
    };
    let full = x_at_full(speed);
    if full >= wanted {
        let power = rounded(Share((wanted / full).max(0.05)));
        Dial { power, speed: rounded_speed(MmPerS(speed)), passes: 1 }
    } else {
        // X falls as v^-s: solve for the speed at full power.
        let slower = speed * (full / wanted).powf(1.0 / r.schwarzschild.max(0.1));
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
    for (patch, cell) in wedge.patches.iter_mut().zip(&plan.cells) {
        let Some(&[_, _, nx, ny]) = layout.cell_dots.get(cell.row * contents.columns + cell.column) else {
            continue;
        };
        let fill = fill_of(request, patch, nx, ny);
        patch.coverage = written(Share((fill.coverage() * 1e4).round() / 1e4));
        fills.push(fill);
    }
    wedge.seal();
    let labels: Vec<Label> = layout
        .labels
        .iter()
        .map(|l| Label { text: l.text.replace("W000000", &wedge.id), ..l.clone() })
        .collect();
    Ok(assemble(wedge, request, &layout, &labels, fills))
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

struct Cell {
    column: usize,
    row: usize,
    dial: Dial,
    pattern: Pattern,
    coverage: Share,
    screen: String,
    period: usize,
}

struct CellPlan {
    contents: Contents,
    cells: Vec<Cell>,
}

fn sorted_speeds(request: &Request) -> Vec<MmPerS> {
    let mut speeds: Vec<MmPerS> = request.speeds.iter().copied().map(rounded_speed).collect();
    speeds.sort_by(|a, b| a.0.total_cmp(&b.0));
    speeds.dedup();
    speeds
}

fn exposure_plan(request: &Request) -> CellPlan {
    let mut powers: Vec<Share> = request.powers.iter().copied().map(rounded).collect();
    powers.sort_by(|a, b| b.0.total_cmp(&a.0));
    powers.dedup();
    let speeds = sorted_speeds(request);
    let mut cells = Vec::new();
    for (row, &power) in powers.iter().enumerate() {
        for (column, &speed) in speeds.iter().enumerate() {
            cells.push(Cell {
                column,
                row,
                dial: Dial { power, speed, passes: request.chosen.passes },
                pattern: Pattern::Solid,
                coverage: Share(1.0),
                screen: String::new(),
                period: 0,
            });
        }
    }
    let passes = match request.chosen.passes {
        1 => String::new(),
        n => format!(" {n}X"),
    };
    CellPlan {
        contents: Contents {
            rows: powers.len(),
            columns: speeds.len(),
            row_labels: powers.iter().map(|p| p.to_string()).collect(),
            column_labels: speeds.iter().map(|s| short(s.0, 1)).collect(),
            footer: format!("ROWS % COLUMNS mm/s{passes}"),
        },
        cells,
    }
}

fn tone_plan(request: &Request) -> Result<CellPlan, DrawError> {
    let mut coverages: Vec<Share> = request.coverages.iter().copied().map(rounded).collect();
    coverages.sort_by(|a, b| a.0.total_cmp(&b.0));
    coverages.dedup();
    if coverages.len() < 3 || request.screens.is_empty() {
        return Err(DrawError::Asked("a tone wedge needs at least one screen and three coverages".into()));
    }
    let columns = coverages.len().max(8);
    let mut cells = Vec::new();
    let base = |column, row| Cell {
        column,
        row,
        dial: request.chosen,
        pattern: Pattern::Solid,
        coverage: Share(1.0),
        screen: String::new(),
        period: 0,
    };
    let mut row_labels = Vec::new();
    for (row, name) in request.screens.iter().enumerate() {
        if screen::find(name).is_none() {
            let known: Vec<&str> = screen::SCREENS.iter().map(|s| s.name).collect();
            return Err(DrawError::Asked(format!(
                "there is no screen '{name}'; there are {}",
                known.join(", ")
            )));
        }
        row_labels.push(
            name.chars().filter(char::is_ascii_alphanumeric).take(4).collect::<String>().to_uppercase(),
        );
        for (column, &coverage) in coverages.iter().enumerate() {
            let pattern = if coverage.0 >= 1.0 { Pattern::Solid } else { Pattern::Screen };
            cells.push(Cell { pattern, coverage, screen: name.clone(), ..base(column, row) });
        }
    }
    for (i, pattern) in [Pattern::LinesAlong, Pattern::LinesAcross].into_iter().enumerate() {
        let row = request.screens.len() + i;
        row_labels.push(if i == 0 { "ROWS".into() } else { "COLS".into() });
        for period in 1..=6 {
            cells.push(Cell { pattern, period, ..base(period - 1, row) });
        }
        // Isolated dots fill the rest of the two rows: 3 and 4 pitches apart, then 6 and 8.
        for (k, period) in [[3, 4], [6, 8]][i].into_iter().enumerate() {
            cells.push(Cell { pattern: Pattern::Dots, period, ..base(6 + k, row) });
        }
    }
    Ok(CellPlan {
        contents: Contents {
            rows: request.screens.len() + 2,
            columns,
            row_labels,
            column_labels: coverages.iter().map(|c| short(c.0 * 100.0, 1)).collect(),
            footer: format!("COVERAGE % AT {} {}", request.chosen.power, request.chosen.speed),
        },
        cells,
    })
}

fn timing_plan(request: &Request) -> CellPlan {
    let speeds = sorted_speeds(request);
    CellPlan {
        contents: Contents {
            rows: speeds.len(),
            columns: 1,
            row_labels: speeds.iter().map(|s| short(s.0, 1)).collect(),
            column_labels: Vec::new(),
            footer: "TIMING COMBS mm/s".into(),
        },
        cells: Vec::new(),
    }
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

fn cell_name(column: usize, row: usize) -> String {
    let letter = char::from(b'A' + (column % 26) as u8);
    format!("{letter}{}", row + 1)
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

/// The dots of a patch.
fn fill_of(request: &Request, patch: &Patch, nx: usize, ny: usize) -> Dots {
    let by = |on: &dyn Fn(usize, usize) -> bool| {
        let mut d = Dots::off(nx, ny);
        for y in 0..ny {
            for x in 0..nx {
                if on(x, y) {
                    d.set(x, y, true);
                }
            }
        }
        d
    };
    let n = patch.period.max(1);
    match patch.pattern {
        Pattern::Solid => by(&|_, _| true),
        Pattern::LinesAlong => by(&|_, y| (y / n) % 2 == 0),
        Pattern::LinesAcross => by(&|x, _| (x / n) % 2 == 0),
        Pattern::Dots => by(&|x, y| x % n == n / 2 && y % n == n / 2),
        Pattern::Screen => {
            let setting = crate::mark::Setting {
                power: Watts(request.rated_power.0 * patch.dial.power.0),
                speed: patch.dial.speed,
                passes: patch.dial.passes,
                pitch_along: request.grid.along,
                pitch_across: request.grid.across,
            };
            let burn = crate::mark::Burn::new(request.beam, setting, request.response);
            let options = Options::new(burn, request.grid.along.0, request.grid.across.0);
            let tone = Tone::filled(nx, ny, patch.coverage.0 as f32);
            match screen::find(&patch.screen) {
                // A screen that wants the mark gets it through the same number: its patch is then a check
                // of the model (wanted against measured mark), not a step of coverage.
                Some(s) => match s.wants {
                    Wants::Coverage | Wants::Mark => (s.make)(&tone, &options, &Silent),
                },
                None => Dots::off(nx, ny),
            }
        }
    }
}

fn assemble(wedge: Wedge, request: &Request, layout: &Layout, labels: &[Label], fills: Vec<Dots>) -> Drawing {
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
    let index = |p: &Patch| p.cell[1] * (layout.cells.len() / rows_of(layout).max(1)) + p.cell[0];
    for (patch, fill) in wedge.patches.iter().zip(fills) {
        let Some(&place) = layout.cell_dots.get(index(patch)) else { continue };
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

fn rows_of(layout: &Layout) -> usize {
    let mut tops: Vec<usize> = layout.cell_dots.iter().map(|c| c[1]).collect();
    tops.dedup();
    tops.len()
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

/// Finder marks, labels and code cells as dots.
fn signs_of(wedge: &Wedge, rect: &DotRect, labels: &[Label], height: f64) -> Dots {
    let mut dots = Dots::off(rect.columns, rect.rows);
    let (px, py) = (rect.grid.along.0, rect.grid.across.0);
    // Only the dots of a box are asked, never the whole plane.
    let mut fill = |left: f64, top: f64, right: f64, bottom: f64, on: &dyn Fn(f64, f64) -> bool| {
        let cell =
            |v: f64, origin: f64, p: f64, n: usize| (((v - origin) / p).floor().max(0.0) as usize).min(n);
        let (x0, x1) =
            (cell(left, rect.left.0, px, rect.columns), cell(right, rect.left.0, px, rect.columns - 1));
        let (y0, y1) = (cell(top, rect.top.0, py, rect.rows), cell(bottom, rect.top.0, py, rect.rows - 1));
        for y in y0..=y1 {
            for x in x0..=x1 {
                let at = (rect.left.0 + (x as f64 + 0.5) * px, rect.top.0 + (y as f64 + 0.5) * py);
                if on(at.0, at.1) && x < rect.columns && y < rect.rows {
                    dots.set(x, y, true);
                }
            }
        }
    };
    for m in &wedge.marks {
        let (cx, cy, r) = (m.centre[0], height - m.centre[1], m.diameter.0 / 2.0);
        fill(cx - r, cy - r, cx + r, cy + r, &|x, y| {
            let d = (x - cx).hypot(y - cy) / r;
            if m.odd { (CENTRE..=1.0).contains(&d) } else { (RING..=1.0).contains(&d) || d <= CENTRE }
        });
    }
    for l in labels {
        let letters: Lettering = glyphs::set(&l.text, l.left, l.top, l.height);
        let (w, h) = (glyphs::width(&l.text, l.height), letters.half_width);
        fill(l.left - h, l.top - h, l.left + w + h, l.top + l.height + h, &|x, y| letters.covers(x, y));
    }
    if let Some(code) = &wedge.code {
        for (i, bit) in code.bits.chars().enumerate() {
            if bit == '1' {
                let (cx, cy) = (code.first[0] + i as f64 * code.step, height - code.first[1]);
                let h = code.cell / 2.0;
                fill(cx - h, cy - h, cx + h, cy + h, &|x, y| (x - cx).abs() <= h && (y - cy).abs() <= h);
            }
        }
    }
    dots
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
