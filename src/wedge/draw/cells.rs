//! Cells: what each kind of wedge puts into its grid.

use super::contents::Contents;
use super::layout::DotBox;
use super::request::{DrawError, Request, rounded, sorted_speeds};
use super::scatter::scattered;
use crate::placement::Grid;
use crate::screen;
use crate::texts::text;
use crate::units::{MmPerS, Share, short};
use crate::wedge::target::{Dial, Pattern};

/// One cell of the grid: where it lies and what fills it.
pub(super) struct Cell {
    pub column: usize,
    pub row: usize,
    pub dial: Dial,
    pub pattern: Pattern,
    pub coverage: Share,
    pub screen: String,
    pub period: usize,
}

/// What is laid out and what fills it.
pub(super) struct CellPlan {
    pub contents: Contents,
    pub cells: Vec<Cell>,
    /// The speeds of the combs, with the rectangle of cells that they share: one below the other over all columns where
    /// they have rows of their own, else beside each other.
    pub combs: Vec<(MmPerS, CombPlace)>,
}

/// Where a comb lies in the grid.
#[derive(Debug, Clone, Copy)]
pub(super) struct CombPlace {
    /// The row.
    pub row: usize,
    /// Which of how many parts of the row's width it takes.
    pub part: usize,
    /// See `part`.
    pub parts: usize,
}

/// The most that a comb pair measures, mm: 25 lines, and a height of which a photo sees twenty rows of pixels for each half.
const COMB_MM: (f64, f64) = (35.0, 2.6);

/// The powers as they are drawn: rounded, falling, none twice.
fn sorted_powers(request: &Request) -> Vec<Share> {
    let mut powers: Vec<Share> = request.powers.iter().copied().map(rounded).collect();
    powers.sort_by(|a, b| b.0.total_cmp(&a.0));
    powers.dedup();
    powers
}

fn solid(column: usize, row: usize, dial: Dial) -> Cell {
    let screen = String::new();
    Cell { column, row, dial, pattern: Pattern::Solid, coverage: Share(1.0), screen, period: 0 }
}

/// Solids of each power by each speed, in the order of the lists from the upper left corner on.
fn solids(request: &Request, powers: &[Share], speeds: &[MmPerS]) -> Vec<Cell> {
    let passes = request.chosen.passes;
    let row_of = |(row, &power): (usize, &Share)| {
        let cell =
            move |(column, &speed): (usize, &MmPerS)| solid(column, row, Dial { power, speed, passes });
        speeds.iter().enumerate().map(cell).collect::<Vec<_>>()
    };
    powers.iter().enumerate().flat_map(row_of).collect()
}

/// How the footer states the passes.
fn passes_text(passes: u32) -> String {
    if passes == 1 { String::new() } else { format!(" {passes}X") }
}

pub(super) fn exposure_plan(request: &Request) -> CellPlan {
    let (powers, speeds) = (scattered(&sorted_powers(request)), scattered(&sorted_speeds(request)));
    CellPlan {
        contents: Contents {
            rows: powers.len(),
            columns: speeds.len(),
            most: (request.patch.0, request.patch.0),
            row_labels: powers.iter().map(|p| p.to_string()).collect(),
            column_labels: speeds.iter().map(|s| short(s.0, 1)).collect(),
            footer: format!("% BY mm/s{}", passes_text(request.chosen.passes)),
        },
        cells: solids(request, &powers, &speeds),
        combs: Vec::new(),
    }
}

/// The dial of line pairs and dots: at 60 % of the power, near half the mark, their look tells the beam's width to 1 % to
/// 3 %; at a full mark's power it told 7 % across and 19 % along (covariance of the fit, 0.3 L* of error).
fn fine_dial(request: &Request) -> Dial {
    Dial { power: rounded(Share(0.6 * request.chosen.power.0)), ..request.chosen }
}

/// Periods of a combined wedge's line pairs along and across, from the first row on. The shortest tell the beam, and are there
/// more than once (standard uncertainties smaller by a quarter along and a seventh across than with periods of 1 to 5 once
/// each, for poster paint and slate); the longer ones are half mark and half bare coating whatever the beam, and so tell
/// what the camera does to tones.
const COMBINED_LINES: [&[usize]; 2] = [&[1, 1, 2, 4, 5], &[1, 1, 1, 3, 5]];

/// Periods of the eight fine patterns in each of a tone wedge's last two rows: line pairs along, then across. Sixteen patches tell
/// most of both widths when nearly all pairs are the shortest, and four patches, dots on every pitch, say what the same power
/// looks like without gaps (covariance of the fit for poster paint and slate, beams of 0.09 to 0.15 mm: standard
/// uncertainties of 4 and 7 % along where periods of 1 to 6 pitches each once, and dots 3 to 8 apart, had 6 and 11 %). One of
/// two pitches each way costs a twentieth of that, and shows where a beam is not what the fit takes it for.
const TONE_LINES: [&[usize]; 2] = [&[1, 1, 1, 2], &[1, 1, 1, 1, 1, 2]];
/// See [`TONE_LINES`].
const TONE_DOTS: [&[usize]; 2] = [&[2, 3, 1, 1], &[1, 1]];

/// Four letters of a screen's name.
fn screen_label(name: &str) -> String {
    name.chars().filter(char::is_ascii_alphanumeric).take(4).collect::<String>().to_uppercase()
}

/// The screens asked for, each of which there must be.
fn known_screens(request: &Request) -> Result<(), DrawError> {
    match request.screens.iter().find(|name| screen::find(name).is_none()) {
        Some(name) => {
            let known: Vec<&str> = screen::SCREENS.iter().map(|s| s.name).collect();
            Err(DrawError::Asked(text!("wedge.draw.screen", name, known = known.join(", "))))
        }
        None => Ok(()),
    }
}

/// Columns of the fine patterns beside the solids of a combined wedge: line pairs along, across, single dots.
const FINE_COLUMNS: usize = 3;

/// Solids with the fine patterns beside them; below, a row for each screen; below these, the combs.
pub(super) fn combined_plan(request: &Request) -> Result<CellPlan, DrawError> {
    known_screens(request)?;
    let (powers, speeds) = (scattered(&sorted_powers(request)), scattered(&sorted_speeds(request)));
    let mut cells = solids(request, &powers, &speeds);
    let columns = speeds.len() + FINE_COLUMNS;
    let fine = fine_dial(request);
    for row in 0..powers.len() {
        for (k, pattern) in [Pattern::LinesAlong, Pattern::LinesAcross].into_iter().enumerate() {
            // On taller wedges each further pair is one pitch longer.
            let period = COMBINED_LINES[k].get(row).copied().unwrap_or(row + 1);
            cells.push(Cell { pattern, period, ..solid(speeds.len() + k, row, fine) });
        }
        // Dots closer than two pitches are nearly solid.
        cells.push(Cell { pattern: Pattern::Dots, period: row + 2, ..solid(speeds.len() + 2, row, fine) });
    }
    let mut row_labels: Vec<String> = powers.iter().map(|p| p.to_string()).collect();
    for (k, name) in request.screens.iter().enumerate() {
        row_labels.push(screen_label(name));
        for column in 0..columns {
            // The last one is a solid, against which the others are read.
            let coverage = rounded(Share((column + 1) as f64 / columns as f64));
            let pattern = if column + 1 == columns { Pattern::Solid } else { Pattern::Screen };
            let cell = solid(column, powers.len() + k, request.chosen);
            cells.push(Cell { pattern, coverage, screen: name.clone(), ..cell });
        }
    }
    let row = row_labels.len();
    row_labels.push("LAG".into());
    let mut column_labels: Vec<String> = speeds.iter().map(|s| short(s.0, 1)).collect();
    column_labels.extend(["ROW", "COL", "DOT"].map(String::from));
    let comb_speeds = comb_speeds(&speeds, request.combs);
    let parts = comb_speeds.len();
    let place = |(part, speed)| (speed, CombPlace { row, part, parts });
    Ok(CellPlan {
        contents: Contents {
            rows: row + 1,
            columns,
            most: (request.patch.0, request.patch.0),
            row_labels,
            column_labels,
            footer: format!(
                "{} {} mm/s{}",
                request.chosen.power,
                short(request.chosen.speed.0, 1),
                passes_text(request.chosen.passes)
            ),
        },
        cells,
        combs: comb_speeds.into_iter().enumerate().map(place).collect(),
    })
}

/// Three of the speeds, rising, as near as they come to 10, 15 and 22 mm/s: slower combs take long, and faster ones hardly mark.
/// Of fewer the middle one is the first to go, for the outer ones tell more of what goes with the speed.
fn comb_speeds(speeds: &[MmPerS], most: usize) -> Vec<MmPerS> {
    let near = |to: f64| {
        speeds.iter().copied().min_by(|a, b| libm::log(a.0 / to).abs().total_cmp(&libm::log(b.0 / to).abs()))
    };
    let wanted: &[f64] = match most {
        0 | 1 => &[15.0],
        2 => &[10.0, 22.0],
        _ => &[10.0, 15.0, 22.0],
    };
    let mut out: Vec<MmPerS> = wanted.iter().copied().filter_map(near).collect();
    out.dedup();
    out
}

pub(super) fn tone_plan(request: &Request) -> Result<CellPlan, DrawError> {
    let mut coverages: Vec<Share> = request.coverages.iter().copied().map(rounded).collect();
    coverages.sort_by(|a, b| a.0.total_cmp(&b.0));
    coverages.dedup();
    if coverages.len() < 3 || request.screens.is_empty() {
        return Err(DrawError::Asked(text!("wedge.draw.few-coverages").into()));
    }
    known_screens(request)?;
    let columns = coverages.len().max(8);
    let mut cells = Vec::new();
    let fine = fine_dial(request);
    let mut row_labels = Vec::new();
    for (row, name) in request.screens.iter().enumerate() {
        row_labels.push(screen_label(name));
        for (column, &coverage) in coverages.iter().enumerate() {
            let pattern = if coverage.0 >= 1.0 { Pattern::Solid } else { Pattern::Screen };
            let cell = solid(column, row, request.chosen);
            cells.push(Cell { pattern, coverage, screen: name.clone(), ..cell });
        }
    }
    for (i, pattern) in [Pattern::LinesAlong, Pattern::LinesAcross].into_iter().enumerate() {
        let row = request.screens.len() + i;
        row_labels.push(if i == 0 { "ROWS".into() } else { "COLS".into() });
        // In an order in which a slope of the paint is none of the patterns.
        let lines = TONE_LINES[i].iter().map(|&period| (pattern, period));
        let fills: Vec<_> = lines.chain(TONE_DOTS[i].iter().map(|&period| (Pattern::Dots, period))).collect();
        for (column, (pattern, period)) in scattered(&fills).into_iter().enumerate() {
            cells.push(Cell { pattern, period, ..solid(column, row, fine) });
        }
    }
    Ok(CellPlan {
        contents: Contents {
            rows: request.screens.len() + 2,
            columns,
            most: (request.patch.0, request.patch.0),
            row_labels,
            column_labels: coverages.iter().map(|c| short(c.0 * 100.0, 1)).collect(),
            footer: format!("COVERAGE % AT {} {}", request.chosen.power, request.chosen.speed),
        },
        cells,
        combs: Vec::new(),
    })
}

pub(super) fn timing_plan(request: &Request) -> CellPlan {
    let speeds = sorted_speeds(request);
    CellPlan {
        contents: Contents {
            rows: speeds.len(),
            columns: 1,
            most: COMB_MM,
            row_labels: speeds.iter().map(|s| short(s.0, 1)).collect(),
            column_labels: Vec::new(),
            footer: "TIMING COMBS mm/s".into(),
        },
        cells: Vec::new(),
        combs: speeds.iter().enumerate().map(|(row, &s)| (s, CombPlace { row, part: 0, parts: 1 })).collect(),
    }
}

/// The dots of a comb pair: its part of its row, no larger than [`COMB_MM`], in the middle of it.
pub(super) fn comb_box(place: CombPlace, columns: usize, cells: &[DotBox], grid: Grid) -> Option<DotBox> {
    let first = cells.get(place.row * columns)?;
    let last = cells.get(place.row * columns + columns - 1)?;
    let whole = last.column + last.columns - first.column;
    // Between combs two lines' width is left free.
    let gap = if place.parts > 1 { (0.8 / grid.along.0).round() as usize } else { 0 };
    let room = (whole + gap) / place.parts;
    let most = |mm: f64, pitch: f64| (mm / pitch).floor() as usize;
    let wide = (room - gap.min(room)).min(most(COMB_MM.0, grid.along.0));
    let high = first.rows.min(most(COMB_MM.1, grid.across.0));
    Some(DotBox {
        column: first.column + place.part * room + (room - gap.min(room) - wide) / 2,
        row: first.row + (first.rows - high) / 2,
        columns: wide,
        rows: high,
    })
}

/// Column letter and row number.
pub(super) fn cell_name(column: usize, row: usize) -> String {
    let letter = char::from(b'A' + (column % 26) as u8);
    format!("{letter}{}", row + 1)
}
